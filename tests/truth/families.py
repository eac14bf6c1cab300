"""The families of lives: what is built, what happens, and what a judge should make of it.

Groups of family:

    clean    nothing is wrong, however the thermostat swings: no word is needed
    work     openings, candlings, declared work and other things that people do with eggs: nobody need be woken
    hatch    a hatch with its doors and wet chicks: the same, and few words
    fault    something fails; followed for FOLLOWED_S, with nobody who answers
    answered the same, and somebody answers

Every number is drawn from the seed: see `drawn`.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import FORCED, STILL, Machine, Probe
from tests.truth.cabin import SPRAY, Cabin, RoomAir, saturation_kpa
from tests.truth.ear import Ear
from tests.truth.faults import DAY_S, HOUR_S, MINUTE_S, SEASONS, SPECIES, profiles
from tests.truth.lives import Happening, Node, Person, World
from tests.truth.machines import (
    HUNTING,
    KINDS,
    STEADY_PI,
    SWITCHING,
    Calm,
    Misfit,
    Unfit,
    drawn_build,
    drawn_sensor,
    log_uniform,
    trimmed,
)
from tests.truth.world import bands_of, batch_set, site_of

CLEAN, WORK, HATCH, FAULT, ANSWERED = "clean", "work", "hatch", "fault", "answered"
HOME, SECOND = "m-1", "m-2"
TOP, LOW, FAR = "node-a/top", "node-b/low", "node-c/top"
FOLLOWED_S = 12.0 * HOUR_S
ATTEMPTS = 40
STILL_BIRDS = ("chicken", "japanese-quail", "pheasant", "pekin-duck", "goose", "ostrich")
CALENDAR_BIRDS = ("chicken", "japanese-quail", "pheasant", "pekin-duck", "muscovy-duck")
WATERFOWL = ("pekin-duck", "goose", "muscovy-duck")
COOLED_DAYS = (7, 25)  # of incubation (common practice)
ANY_S = (10, 20, 30, 60)


@dataclass(slots=True)
class Draft:
    """A life while it is drawn; what begins a family changes it."""

    rng: random.Random
    profile: Profile
    day: float
    kind: str
    interval_s: int
    begin_s: float
    lasts_s: float
    onset_s: float
    season: str
    probes: int = 1
    still: bool = False
    second: bool = False
    beside: bool = True  # whether eggs are in the second machine
    same_node: bool = False
    hatcher: bool = False
    humid: bool = True
    heights: tuple[float, float] = (0.3, -0.5)
    person: Person | None = None
    mends: Callable[[World], None] | None = None
    happenings: list[Happening] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    wants: tuple[tuple[str, ...], ...] = ()  # of each, one rule has to be told
    suits: Callable[[World], None] | None = None  # last, of the machine that came out; raises Misfit

    def happen(self, after_s: float, what: Callable[[World], None]) -> None:
        """Something, so long after the onset."""
        self.happenings.append((self.onset_s + after_s, what))

    def note(self, text: str) -> None:
        """A word for whoever looks at it."""
        self.notes.append(text)


@dataclass(frozen=True, slots=True)
class Family:
    """wanted: rules of which one has to be told within allowed_s of the onset, where no danger of temperature decides. sensor: what fails is a
    probe or a node, so that a word about the air has the wrong cause. slow: heat that comes over hours and should be foreseen. named: a word
    that the first waking message must name before the others of LINKS. says: a pattern that one message must have, within allowed_s of the onset, or of the
    daemon's return. full, quick: how many seeds.
    """

    group: str
    begin: Callable[[Draft], None]
    lasts_s: float = FOLLOWED_S
    lead_s: float = 1.5 * HOUR_S
    wanted: tuple[str, ...] = ()
    allowed_s: float = HOUR_S
    sensor: bool = False
    slow: bool = False
    named: str = ""
    says: str = ""
    from_onset: bool = (
        False  # of humidity: whether it has to be told from the onset, and not from when the air was dry for an hour
    )
    full: int = 10
    quick: int = 1


@dataclass(frozen=True, slots=True)
class Story:
    """A family's life, ready to be lived."""

    family: str
    seed: int
    world: World
    text: str
    wants: tuple[tuple[str, ...], ...] = ()


def drawn(name: str, seed: int, ear: Ear) -> Story:
    """The life of a family and a seed. Raises Unfit."""
    why = ""
    for attempt in range(ATTEMPTS):
        try:
            return _drawn(name, seed, ear, attempt=attempt)
        except Misfit as misfit:
            why = str(misfit)
    raise Unfit(f"{name} #{seed}: no machine of {ATTEMPTS} keeps its band ({why})")


def _drawn(name: str, seed: int, ear: Ear, *, attempt: int) -> Story:
    family = FAMILIES[name]
    rng = random.Random(f"{name}/{seed}/{attempt}")
    profile = profiles()[rng.choice(SPECIES)]
    lead_s = family.lead_s + (rng.uniform(0.0, 1800.0) if family.lead_s else 0.0)
    draft = Draft(
        rng,
        profile,
        rng.uniform(1.0, profile.lockdown_day - 1.0 - family.lasts_s / DAY_S if family.lasts_s < 4 * DAY_S else 2.0),
        rng.choice(KINDS),
        rng.choice(ANY_S),
        rng.uniform(0.0, DAY_S),
        lead_s + family.lasts_s,
        lead_s,
        rng.choice([*SEASONS]),
    )
    family.begin(draft)
    world = _built(draft, ear, seed=f"{name}/{seed}")
    if family.group == CLEAN:
        world.calm = Calm(world.bands, 15.0)
    build = world.cabin.build
    notes = f", {'; '.join(draft.notes)}" if draft.notes else ""
    text = (
        f"{name} #{seed}: {draft.profile.id} day {draft.day:.1f}, {build.volume_l:.0f} l {draft.kind}{' still' if draft.still else ''},"
        f" {build.eggs} x {build.egg_g:.0f} g, {draft.season}, every {draft.interval_s} s, {draft.probes} probes{notes}"
    )
    wants = draft.wants or ((family.wanted,) if family.wanted else ())
    return Story(name, seed, world, text, wants)


def _built(draft: Draft, ear: Ear, *, seed: str) -> World:
    rng = draft.rng
    mean_c, room_rh_pct = SEASONS[draft.season]
    mean_c += rng.uniform(-2.0, 2.0)
    room = RoomAir(
        mean_c, log_uniform(rng, 0.2, 3.0), room_rh_pct / 100.0 * saturation_kpa(mean_c) * rng.uniform(0.7, 1.2),
        vapour_swing=rng.uniform(0.0, 0.08),
    )  # fmt: skip
    low_g, high_g = draft.profile.egg_mass_g or (28.0, 28.0)
    machine = Machine(HOME, "Machine 1", "hatcher" if draft.hatcher else "setter", STILL if draft.still else FORCED)
    machines, keys = {HOME: machine}, {}
    build = drawn_build(
        rng,
        draft.kind,
        egg_g=rng.uniform(low_g, high_g),
        term_days=draft.profile.days,
        room_c=mean_c,
        fan=not draft.still,
    )
    sensors = {TOP: drawn_sensor(rng, draft.heights[0], humid=draft.humid)}
    if draft.probes == 2:
        second = "node-a/low" if draft.same_node else LOW
        sensors[second] = drawn_sensor(rng, draft.heights[1])
    keys.update({key: Probe(key, HOME, draft.interval_s) for key in sensors})
    others = {}
    if draft.second:
        machines[SECOND] = Machine(
            SECOND, "Machine 2", "hatcher" if draft.profile.lockdown_day - draft.day < 2.0 else "setter"
        )
        others[FAR] = drawn_sensor(rng, 0.2)
        keys[FAR] = Probe(FAR, SECOND, draft.interval_s)
    site = site_of(machines, keys)
    bands = bands_of(draft.profile.id, draft.day, machine, site)
    cabin = Cabin(build, [*sensors.values()], 37.5, 50.0, draft.day)
    trimmed(cabin, bands, room)
    cabins = {HOME: cabin}
    if draft.second:
        beside = drawn_build(
            rng, SWITCHING, egg_g=rng.uniform(low_g, high_g), term_days=draft.profile.days, room_c=mean_c
        )
        beside = replace(beside, band_k=0.04, element_s=5.0, thermostat_s=8.0)
        cabins[SECOND] = Cabin(beside, [*others.values()], 37.5, 50.0, draft.day)
        trimmed(cabins[SECOND], bands, room)
    nodes: dict[str, Node] = {}
    for key, sensor in {**sensors, **others}.items():
        id_, _, name = key.partition("/")
        if id_ not in nodes:
            phase_s = float(rng.randrange(0, draft.interval_s))
            nodes[id_] = Node(
                id_, {}, random.Random(rng.random()), float(draft.interval_s), phase_s, boot=rng.randrange(1, 2**31)
            )
        nodes[id_].sensors[name] = sensor
    world = World(
        site, machine, cabins, room, nodes, bands, ear, random.Random(f"{seed}/wire"), draft.begin_s, draft.lasts_s, draft.onset_s,
        [(0.0, partial(_set, id_="first", profile=draft.profile.id, day=draft.day, eggs=build.eggs)), *draft.happenings],
        draft.person, draft.mends,
    )  # fmt: skip
    if draft.second and draft.beside:
        world.happenings.insert(
            1, (0.0, partial(_set, id_="beside", profile=draft.profile.id, day=draft.day, eggs=12, machine=SECOND))
        )
    if draft.suits is not None:
        draft.suits(world)
    return world


def _set(world: World, *, id_: str, profile: str, day: float, eggs: int, machine: str = HOME) -> None:
    world.ask(batch_set(id_, profile, day, machine=machine, eggs=eggs, at_s=world.begin_s + world.at_s))


def _with(**changes: Any) -> Callable[[World], None]:
    """Attributes of the machine."""

    def change(world: World) -> None:
        for name, value in changes.items():
            setattr(world.cabin, name, value)

    return change


def _probe(key: str, **changes: Any) -> Callable[[World], None]:
    def change(world: World) -> None:
        world.blind = True
        for name, value in changes.items():
            setattr(world.sensor(key), name, value)

    return change


# --- clean


def _clean(kind: str, interval_s: int, d: Draft) -> None:
    d.kind, d.interval_s = kind, interval_s
    if interval_s == 2:
        d.lasts_s = DAY_S
    if d.rng.random() < 0.25:
        d.probes, d.same_node = 2, d.rng.random() < 0.5


def _aliased(d: Draft) -> None:
    """A switching machine that is sampled about as often as it switches, or half or a third as often."""
    d.kind = SWITCHING
    d.suits = _sampled_at_its_period


def _sampled_at_its_period(world: World) -> None:
    cabin, turns, span_s = world.cabin, 0, 3600.0
    was = cabin.heating
    for _ in range(round(span_s / 2.0)):
        cabin.run(2.0, world.room, 0.0)
        turns += cabin.heating and not was
        was = cabin.heating
    if turns < 10:
        raise Misfit("it switches too slowly to be aliased")
    period_s = span_s / turns
    every_s = round(55.0 / period_s) * period_s * world.rng.uniform(0.98, 1.02)
    if not 48.0 <= every_s <= 62.0:
        raise Misfit("no interval of about a minute is near its period")
    for node in world.nodes.values():
        node.interval_s = float(round(every_s))
    probes = {key: replace(p, interval_s=round(every_s)) for key, p in world.site.probes.items()}
    world.site = site_of(dict(world.site.machines), probes)


def _still_air(d: Draft) -> None:
    d.still, d.kind = True, d.rng.choice((SWITCHING, HUNTING))
    d.profile = profiles()[d.rng.choice(STILL_BIRDS)]
    d.day = d.rng.uniform(1.0, d.profile.lockdown_day - 3.5)
    d.heights = (d.rng.uniform(-0.2, 0.4), -0.5)


def _one_wire(d: Draft) -> None:
    d.humid = False
    d.probes = 1


# --- work


def _opened(d: Draft, at_s: float, for_s: float, share: float) -> None:
    d.happenings += [
        (at_s, partial(World.door, is_open=True, share=share)),
        (at_s + for_s, partial(World.door, is_open=False)),
    ]


def _days(d: Draft) -> list[float]:
    """Where each of its days begins, at 0 h of the clock."""
    clock = (d.begin_s + 6.0 * HOUR_S) % DAY_S
    return [k * DAY_S - clock for k in range(math.ceil(d.lasts_s / DAY_S) + 1)]


def _look_in(d: Draft) -> None:
    """Twelve to twenty-five short openings a day between 7 and 22 h."""
    for day_s in _days(d):
        for _ in range(d.rng.randrange(12, 26)):
            at_s = day_s + d.rng.uniform(7.0, 22.0) * HOUR_S
            if 0.0 < at_s < d.lasts_s:
                _opened(d, at_s, d.rng.uniform(8.0, 120.0), d.rng.uniform(0.4, 1.0))


def _candled(d: Draft) -> None:
    """Once or twice a day the eggs are taken out, tray by tray, the door open or ajar for some minutes each time; nobody says so."""
    for day_s in _days(d):
        for _ in range(d.rng.choice((1, 1, 2))):
            at_s = day_s + d.rng.uniform(8.0, 21.0) * HOUR_S
            if 0.0 < at_s < d.lasts_s - 2 * HOUR_S:
                for tray in range(d.rng.randrange(1, 4)):
                    from_s = at_s + tray * d.rng.uniform(400.0, 700.0)
                    _opened(d, from_s, d.rng.uniform(60.0, 360.0), d.rng.uniform(0.3, 1.0))


def _declared(d: Draft) -> None:
    """Work that was said before: up to half an hour at an open machine, sometimes with its eggs out, done in time."""
    for day_s in _days(d):
        at_s = day_s + d.rng.uniform(8.0, 20.0) * HOUR_S
        if 0.0 < at_s < d.lasts_s - 2 * HOUR_S:
            for_s = d.rng.uniform(300.0, 1800.0)
            out = d.rng.random() < 0.5
            d.happenings.append(
                (at_s - d.rng.uniform(5.0, 120.0), partial(_says_work, for_s=for_s + d.rng.uniform(300.0, 900.0)))
            )
            _opened(d, at_s, for_s, d.rng.uniform(0.3, 1.0))
            d.happenings += [(at_s, _with(eggs_out=out)), (at_s + for_s, _with(eggs_out=False))]
            if d.rng.random() < 0.5:
                d.happenings.append((at_s + for_s + 30.0, _says_done))


def _says_work(world: World, *, for_s: float) -> None:
    world.ask({"do": "handling", "machine": HOME, "for_s": round(for_s), "by": "sam"})


def _says_done(world: World) -> None:
    world.ask({"do": "handling", "machine": HOME, "done": True, "by": "sam"})


def _cooled(declared: bool, d: Draft) -> None:
    """A month of waterfowl, from the day they are set to the day before lockdown: from day 7 to 25 the machine stands open each day at about the same
    hour for a quarter to three quarters of an hour, and mostly its eggs are sprayed.

    declared: once and for all, at a quarter of the hour and for the longest that it takes, as a person says it.
    """
    d.profile = profiles()[d.rng.choice(WATERFOWL)]
    d.day, d.interval_s = 0.5, d.rng.choice((30, 60))
    d.lasts_s = min(30.0, d.profile.lockdown_day - 1.0 - d.day) * DAY_S
    hour, share, wet = d.rng.uniform(7.0, 19.0), d.rng.uniform(0.5, 1.0), d.rng.random() < 0.7
    if declared:
        d.happenings.append((60.0, partial(_says_cooling, at_min=15 * round(4.0 * hour), days=COOLED_DAYS)))
    for day_s in _days(d):
        at_s = day_s + (hour + d.rng.gauss(0.0, 0.2)) * HOUR_S
        first, last = COOLED_DAYS
        if not (first <= d.day + at_s / DAY_S < last + 1.0 and at_s < d.lasts_s - 3.0 * HOUR_S):
            continue
        for_s = d.rng.uniform(15.0, 40.0) * MINUTE_S
        _opened(d, at_s, for_s, share)
        if wet:
            d.happenings.append((at_s + for_s / 2.0, _sprayed))


def _says_cooling(world: World, *, at_min: int, days: tuple[int, int]) -> None:
    first, last = days
    asked = {
        "do": "cooling",
        "of": "first",
        "at_min": [at_min],
        "for_s": 2400.0,
        "first_day": first,
        "last_day": last,
        "by": "sam",
    }
    world.ask(asked)


def _sprayed(world: World) -> None:
    build = world.cabin.build
    world.cabin.wet_g += 0.008 * build.eggs * build.egg_g
    world.cabin.wet_m2 = 1e-4 * 4.8 * build.egg_g**0.66 * build.eggs


def _fresh(d: Draft) -> None:
    """Cold eggs are set in a machine that is warm, and the judge is told of them."""
    cold_c = d.rng.uniform(12.0, 20.0)
    d.note(f"eggs of {cold_c:.0f} °C")
    at_s = d.rng.uniform(2.0, 6.0) * HOUR_S
    _opened(d, at_s - 240.0, 240.0, 1.0)
    d.happenings.append((at_s, partial(_set_cold, cold_c=cold_c, profile=d.profile.id)))


def _set_cold(world: World, *, cold_c: float, profile: str) -> None:
    share = world.rng.uniform(0.2, 0.6)
    world.cabin.egg_c = share * cold_c + (1.0 - share) * world.cabin.egg_c
    _set(world, id_="fresh", profile=profile, day=0.0, eggs=max(1, round(share * world.cabin.build.eggs)))


def _moved(d: Draft) -> None:
    """On the day of lockdown the eggs go from their setter to a hatcher that stands ready, as moist as they will need it."""
    d.profile = profiles()[d.rng.choice(CALENDAR_BIRDS)]
    d.day = d.profile.lockdown_day - 0.3
    d.second, d.beside = True, False
    at_s = d.rng.uniform(4.0, 10.0) * HOUR_S
    for_s = d.rng.uniform(120.0, 420.0)
    _opened(d, at_s, for_s, 1.0)
    d.happenings += [
        (at_s, partial(World.door, is_open=True, machine=SECOND)),
        (at_s + for_s, partial(World.door, is_open=False, machine=SECOND)),
        (at_s + for_s, _moves),
    ]
    d.suits = partial(_made_ready, d)


def _made_ready(d: Draft, world: World) -> None:
    """The hatcher, trimmed to what the eggs need from lockdown on. Raises Misfit."""
    late = replace(d, day=d.profile.lockdown_day + 0.5)
    hatcher = world.cabins[SECOND]
    hatcher.build = replace(hatcher.build, water=SPRAY, spray_g_h=4.0 * hatcher.build.volume_l, spray_band_pct=1.0)
    trimmed(hatcher, bands_of(late.profile.id, late.day, world.site.machines[SECOND], world.site), world.room)


def _moves(world: World) -> None:
    old, new = world.cabins[HOME], world.cabins[SECOND]
    new.egg_c, new.age_days = old.egg_c, old.age_days
    world.ask({"do": "move", "batch": "first", "machine": SECOND})


def _hatch(d: Draft) -> None:
    """Two days and a half around a hatch: chicks wet the air for hours, and the door is opened to take them out."""
    d.profile = profiles()[d.rng.choice(CALENDAR_BIRDS)]
    d.hatcher = True
    d.day = d.profile.days - 1.4
    begins_s, over_s = d.rng.uniform(0.3, 0.9) * DAY_S, d.rng.uniform(12.0, 30.0) * HOUR_S
    steps = 30
    for k in range(steps):
        at_s = begins_s + over_s * (0.5 + 0.5 * math.erf((k / steps - 0.5) * 2.4))
        d.happenings.append((at_s, partial(_pips, share=1.0 / steps)))
    for k in range(d.rng.randrange(3, 8)):
        at_s = begins_s + (0.3 + 0.15 * k + 0.1 * d.rng.random()) * over_s
        _opened(d, at_s, d.rng.uniform(30.0, 240.0), d.rng.uniform(0.5, 1.0))
        d.happenings.append((at_s + 20.0, _with(wet_g=0.0, chick_w=0.0)))


def _pips(world: World, *, share: float) -> None:
    build = world.cabin.build
    world.cabin.wet_g += 0.07 * build.egg_g * build.eggs * share
    world.cabin.wet_m2 = 2e-4 * 4.8 * build.egg_g**0.66 * build.eggs
    world.cabin.chick_w += 0.002 * build.egg_g * build.eggs * share


# --- faults


def _heater_on(d: Draft) -> None:
    d.happen(0.0, _with(heater="on"))
    d.mends = _with(heater="ok")


def _heater_dead(d: Draft) -> None:
    d.happen(0.0, _with(heater="dead"))
    d.mends = _with(heater="ok")


def _fan_dead(d: Draft) -> None:
    d.probes, d.heights = 2, (d.rng.uniform(0.4, 0.8), -d.rng.uniform(0.4, 0.8))
    d.happen(0.0, _with(fan_on=False))
    d.mends = _with(fan_on=True)


def _slow_room(d: Draft) -> None:
    """A room that gets hot over hours, as under a roof in summer."""
    d.season = "summer"
    to_c, over_s = d.rng.uniform(37.0, 43.0), d.rng.uniform(3.0, 10.0) * HOUR_S
    d.interval_s = d.rng.choice((10, 30, 60, 60, 120, 300))
    d.note(f"room to {to_c:.0f} °C in {over_s / HOUR_S:.1f} h")
    d.happen(0.0, lambda w: w.room.walks.append((w.begin_s + w.at_s, over_s, to_c - w.room.mean_c)))
    d.mends = lambda w: w.room.walks.append((w.begin_s + w.at_s, 1800.0, w.room.mean_c - to_c))


def _slow_set(d: Draft) -> None:
    k_h = log_uniform(d.rng, 0.12, 0.8)
    d.interval_s = d.rng.choice((10, 30, 60, 60, 120, 300))
    d.note(f"+{k_h:.2f} K/h")
    d.happen(0.0, _with(set_drift_k_h=k_h))


def _cool_set(d: Draft) -> None:
    k_h = log_uniform(d.rng, 0.12, 0.8)
    d.note(f"-{k_h:.2f} K/h")
    d.happen(0.0, _with(set_drift_k_h=-k_h))


def _ajar(d: Draft) -> None:
    share = d.rng.uniform(0.3, 1.0)
    d.happen(0.0, partial(World.door, is_open=True, share=share))
    d.mends = partial(World.door, is_open=False)


def _machine_off(d: Draft) -> None:
    d.happen(0.0, _with(powered=False))
    d.mends = _with(powered=True)


def _dry(d: Draft) -> None:
    d.happen(0.0, _with(water_share=0.0))
    d.mends = _with(water_share=1.0)


def _valve(d: Draft) -> None:
    """The water runs: a film of it on the floor, whatever the hygrostat says."""
    share = d.rng.uniform(0.4, 1.0)
    d.happen(0.0, lambda w: setattr(w.cabin, "free_water_m2", share * w.cabin.wall_m2 / 3.0))
    d.mends = _with(free_water_m2=0.0)


def _not_raised(d: Draft) -> None:
    """Lockdown was declared, and nobody raised the humidity."""
    d.profile = profiles()[d.rng.choice(CALENDAR_BIRDS)]
    d.day = d.profile.lockdown_day - d.onset_s / DAY_S - 0.2
    d.happen(0.0, lambda w: w.ask({"do": "stage", "batch": "first", "stage": "lockdown"}))


def _two(d: Draft) -> None:
    d.probes, d.same_node = 2, d.rng.random() < 0.5


def _off(d: Draft) -> None:
    _two(d)
    key = d.rng.choice((TOP, "node-a/low" if d.same_node else LOW))
    k = d.rng.choice((-1.0, 1.0)) * d.rng.uniform(1.0, 3.0)
    d.note(f"{key} {k:+.1f} K")
    d.happen(0.0, _probe(key, off_k=k))
    d.mends = _probe(key, off_k=0.0)


def _stuck(d: Draft) -> None:
    d.happen(0.0, _probe(TOP, stuck=True))
    d.mends = _probe(TOP, stuck=False)


def _drift(d: Draft) -> None:
    _two(d)
    k_day = d.rng.choice((-1.0, 1.0)) * d.rng.uniform(0.5, 1.5)
    d.note(f"{k_day:+.1f} K a day")
    d.happen(0.0, _probe(TOP, drift_k_h=k_day / 24.0))


def _hides(d: Draft) -> None:
    """One probe reads 1.8 K too hot while the air, by its pan that is empty, becomes far too dry."""
    _two(d)
    d.happen(0.0, _probe(TOP, off_k=1.8))
    d.happen(0.0, _with(water_share=0.0))


def _probe_silent(d: Draft) -> None:
    d.happen(0.0, _probe(TOP, silent=True))
    d.mends = _probe(TOP, silent=False)


def _node_silent(d: Draft) -> None:
    d.second = True
    d.happen(0.0, lambda w: w.lose_link("node-a"))
    d.mends = lambda w: w.find_link("node-a")


def _restarts(d: Draft) -> None:
    d.second = d.rng.random() < 0.5
    every_s = d.rng.uniform(1.5, 6.0) * max(30.0, d.interval_s)
    d.note(f"each {every_s:.0f} s")

    def restarts(world: World) -> None:
        world.blind, world.nodes["node-a"].restarts_s = True, every_s

    d.happen(0.0, restarts)


def _broker(d: Draft) -> None:
    d.second = True
    d.happen(0.0, lambda w: w.broker(False))


def _network(d: Draft) -> None:
    """The access point fails, to which this Pi itself is joined: every node is out of reach, and the machines go on."""
    d.second = True

    def gone(world: World) -> None:
        for id_ in world.nodes:
            world.lose_link(id_)
        world.ear.network(max(world.at_s, world.said_s), False)

    d.happen(0.0, gone)


def _mains(d: Draft) -> None:
    """The mains fail: machines and nodes, while this Pi goes on from a battery."""
    d.second = True
    d.happen(0.0, lambda w: w.power(False))
    d.mends = lambda w: w.power(True)


def _wrong_site(d: Draft) -> None:
    """A node was set up anew, for another site."""
    d.second = True

    def moved(world: World) -> None:
        node = world.nodes["node-a"]
        world.lose_link("node-a")
        node.lost = True
        world.ear.elsewhere(max(world.at_s, world.said_s), "node-a")

    d.happen(0.0, moved)


def _cut(d: Draft) -> None:
    """A power cut that takes the daemon too, for minutes to hours."""
    d.second = True
    d.humid = True
    for_s = log_uniform(d.rng, 600.0, 5.0 * HOUR_S)
    d.note(f"for {for_s / MINUTE_S:.0f} min")

    def gone(world: World) -> None:
        world.daemon(False)
        world.power(False)

    def back(world: World) -> None:
        world.daemon(True)
        world.power(True)

    d.happen(0.0, gone)
    d.happen(for_s, back)


HOT_WORDS = ("dry-bulb-lethal", "dry-bulb-high-alarm", "dry-bulb-high-warning", "dry-bulb-high-heading")
COLD_WORDS = ("dry-bulb-low-alarm", "dry-bulb-low-warning", "dry-bulb-low-heading")
SENSOR_WORDS = (
    "sensor-failed",
    "sensor-suspect",
    "no-data",
    "no-humidity",
    "node-offline",
    "all-silent",
    "probes-disagree",
    "sensor-drift",
)
DRY_WORDS = ("humidity-low-warning", "humidity-low-alarm", "humidity-not-raised")
DAMP_WORDS = ("humidity-high-warning", "humidity-high-alarm")
LINKS = {"mains": r"mains|power", "network": r"network|wi-?fi", "broker": r"broker", "site": r"\bsite\b"}


def _beside_silent(d: Draft) -> None:
    d.second = True
    d.happen(0.0, lambda w: w.lose_link("node-c"))


# Two faults, and the words of which one has to be told for each.
PAIRS: tuple[
    tuple[str, Callable[[Draft], None], Callable[[Draft], None], tuple[tuple[str, ...], tuple[str, ...]]], ...
] = (
    ("probe off, dry", _off, _dry, (SENSOR_WORDS, DRY_WORDS)),
    ("probe off, heater dead", _off, _heater_dead, (SENSOR_WORDS, COLD_WORDS)),
    ("probe off, heater on", _off, _heater_on, (SENSOR_WORDS, HOT_WORDS)),
    ("heater on, node beside silent", _heater_on, _beside_silent, (HOT_WORDS, SENSOR_WORDS)),
    ("heater dead, node beside silent", _heater_dead, _beside_silent, (COLD_WORDS, SENSOR_WORDS)),
    ("fan dead, dry", _fan_dead, _dry, (("probes-disagree", *HOT_WORDS, *COLD_WORDS), DRY_WORDS)),
)


def _two_at_once(d: Draft) -> None:
    words, first, second, wants = d.rng.choice(PAIRS)
    d.note(words)
    first(d)
    onset_s = d.onset_s
    d.onset_s += d.rng.choice((0.0, d.rng.uniform(60.0, 1200.0)))
    second(d)
    d.onset_s, d.wants = onset_s, wants


def _returns(d: Draft) -> None:
    """A fault that heals by itself and comes again, four times."""
    name, bad, good = d.rng.choice(
        (
            ("heater dead", _with(heater="dead"), _with(heater="ok")),
            ("heater on", _with(heater="on"), _with(heater="ok")),
            ("machine off", _with(powered=False), _with(powered=True)),
            ("node silent", lambda w: w.lose_link("node-a"), lambda w: w.find_link("node-a")),
        )
    )
    d.note(name)
    at_s = 0.0
    for _ in range(4):
        d.happen(at_s, bad)
        d.happen(at_s + d.rng.uniform(15.0, 45.0) * MINUTE_S, good)
        at_s += d.rng.uniform(1.5, 3.0) * HOUR_S


def _comes_and_goes(d: Draft) -> None:
    """A loose plug: the node is gone for a minute or three, every ten or so."""
    d.second = True
    at_s = 0.0
    while at_s < FOLLOWED_S - HOUR_S:
        d.happen(at_s, lambda w: w.lose_link("node-a"))
        at_s += d.rng.uniform(120.0, 240.0)
        d.happen(at_s, lambda w: w.find_link("node-a"))
        at_s += d.rng.uniform(300.0, 900.0)


def _answered(begin: Callable[[Draft], None], d: Draft) -> None:
    begin(d)
    after_s = log_uniform(d.rng, 120.0, 2400.0)
    repairs_s = d.rng.uniform(600.0, 3600.0) if d.mends is not None and d.rng.random() < 0.4 else None
    shelves_s = d.rng.uniform(0.5, 1.0) * HOUR_S if d.rng.random() < 0.25 else None
    d.person = Person(after_s, repairs_s, shelves_s)
    d.note(
        f"answered after {after_s / MINUTE_S:.0f} min"
        + (f", shelved for {shelves_s / MINUTE_S:.0f} min" if shelves_s else "")
        + (f", mended after {repairs_s / MINUTE_S:.0f} more" if repairs_s else "")
    )


# That the daemon was away, in any of the words that a person would use of it.
AWAY = r"\baway\b|was off|were off|without power|power (was|cut|fail)|not watch|nobody watch|was down|not run"

_CLEAN_FULL = {2: 3, 10: 12, 30: 16, 60: 22}
_CLEAN_QUICK = {2: 0, 10: 0, 30: 1, 60: 2}
_OUR = {
    "heater on": (_heater_on, 12),
    "heater dead": (_heater_dead, 10),
    "fan dead": (_fan_dead, 14),
    "door ajar": (_ajar, 10),
    "machine off": (_machine_off, 8),
    "probe off": (_off, 14),
    "probe stuck": (_stuck, 8),
    "node silent": (_node_silent, 8),
}

FAMILIES: dict[str, Family] = {
    **{
        f"{kind} every {every_s} s": Family(
            CLEAN, partial(_clean, kind, every_s), 2.0 * DAY_S, 0.0, full=_CLEAN_FULL[every_s], quick=_CLEAN_QUICK[every_s]
        )
        for kind in (SWITCHING, HUNTING, STEADY_PI)
        for every_s in (2, 10, 30, 60)
    },
    "aliased": Family(CLEAN, _aliased, 2.0 * DAY_S, 0.0, full=24, quick=2),
    "still air": Family(CLEAN, _still_air, 2.0 * DAY_S, 0.0, full=16, quick=1),
    "one-wire": Family(CLEAN, _one_wire, 2.0 * DAY_S, 0.0, full=14, quick=1),
    "looks": Family(WORK, _look_in, 2.0 * DAY_S, 0.0, full=60, quick=2),
    "candlings": Family(WORK, _candled, 3.0 * DAY_S, 0.0, full=50, quick=2),
    "declared work": Family(WORK, _declared, 3.0 * DAY_S, 0.0, full=30, quick=2),
    "daily cooling, declared": Family(WORK, partial(_cooled, True), 30.0 * DAY_S, 0.0, full=5, quick=0),
    "daily cooling, not declared": Family(WORK, partial(_cooled, False), 30.0 * DAY_S, 0.0, full=5, quick=0),
    "fresh cold eggs": Family(WORK, _fresh, DAY_S, 0.0, full=16, quick=1),
    "batch moved": Family(WORK, _moved, DAY_S, 0.0, full=16, quick=1),
    "hatch": Family(HATCH, _hatch, 2.4 * DAY_S, 0.0, full=40, quick=1),
    "heater on": Family(FAULT, _heater_on, full=20),
    "heater dead": Family(FAULT, _heater_dead, full=16),
    "fan dead": Family(FAULT, _fan_dead, lead_s=2 * HOUR_S, full=29),
    "slow heat of the room": Family(FAULT, _slow_room, lead_s=2 * HOUR_S, slow=True, full=24, quick=2),
    "slow heat of the thermostat": Family(FAULT, _slow_set, lead_s=2 * HOUR_S, slow=True, full=20),
    "slow cold of the thermostat": Family(FAULT, _cool_set, lead_s=2 * HOUR_S, full=10, quick=0),
    "door ajar": Family(FAULT, _ajar, full=16),
    "machine off": Family(FAULT, _machine_off, full=12, quick=0),
    "dry pan": Family(FAULT, _dry, wanted=DRY_WORDS, allowed_s=0.5 * HOUR_S, full=20),
    "stuck valve": Family(FAULT, _valve, wanted=DAMP_WORDS, allowed_s=0.5 * HOUR_S, full=16),
    "lockdown not raised": Family(FAULT, _not_raised, wanted=("humidity-not-raised",), allowed_s=1.25 * HOUR_S, from_onset=True, full=12),
    "probe off": Family(FAULT, _off, wanted=SENSOR_WORDS, sensor=True, full=24),
    "probe stuck": Family(FAULT, _stuck, wanted=SENSOR_WORDS, allowed_s=3 * HOUR_S, sensor=True, full=12, quick=0),
    "probe drifting": Family(FAULT, _drift, 30 * HOUR_S, DAY_S, wanted=SENSOR_WORDS, allowed_s=15 * HOUR_S, sensor=True, full=12, quick=0),
    "hot probe, dry air": Family(FAULT, _hides, wanted=DRY_WORDS, allowed_s=3 * HOUR_S, sensor=True, full=16),
    "probe silent": Family(FAULT, _probe_silent, wanted=SENSOR_WORDS, allowed_s=1200.0, sensor=True, full=12),
    "node silent": Family(FAULT, _node_silent, wanted=SENSOR_WORDS, allowed_s=1200.0, sensor=True, full=12),
    "node restarts": Family(FAULT, _restarts, sensor=True, says=r"restart", full=12),
    "node comes and goes": Family(FAULT, _comes_and_goes, sensor=True, full=8, quick=0),
    "broker stopped": Family(FAULT, _broker, wanted=SENSOR_WORDS, allowed_s=900.0, sensor=True, named="broker", full=8),
    "network gone": Family(FAULT, _network, wanted=SENSOR_WORDS, allowed_s=900.0, sensor=True, named="network", full=8),
    "mains failed": Family(FAULT, _mains, wanted=SENSOR_WORDS, allowed_s=900.0, named="mains", full=8),
    "node in the wrong site": Family(FAULT, _wrong_site, wanted=SENSOR_WORDS, allowed_s=1200.0, sensor=True, named="site", full=8),
    "cut with the daemon": Family(FAULT, _cut, allowed_s=900.0, says=AWAY, full=12),
    "two at once": Family(FAULT, _two_at_once, full=24),
    "heals and returns": Family(FAULT, _returns, full=16),
    **{
        f"answered: {name}": Family(ANSWERED, partial(_answered, begin), lead_s=2 * HOUR_S, sensor=begin in (_off, _stuck, _node_silent), full=full, quick=int(name == "probe off"))
        for name, (begin, full) in _OUR.items()
    },
    "answered: slow heat of the room": Family(ANSWERED, partial(_answered, _slow_room), lead_s=2 * HOUR_S, full=8, quick=0),
    "answered: dry pan": Family(ANSWERED, partial(_answered, _dry), lead_s=2 * HOUR_S, full=10, quick=0),
    "answered: node comes and goes": Family(ANSWERED, partial(_answered, _comes_and_goes), sensor=True, full=8, quick=0),
}  # fmt: skip
