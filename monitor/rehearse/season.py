"""A season of invented demo data: eight batches of three species in two setters and a hatcher, with readings, openings and egg books.

Two batches go wrong for a reason that is known here and not written in the record, so that the review can be tried and tested. Made
from a seed: the same seed makes the same season. Every batch has its own chance, so that a season without its faults is otherwise
the same. Machines are off by a little, air wanders, sensors miss readings and shells vary in all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from monitor.analysis.history.felt import OPENING
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, Dead, Entry, Fact, Found, Hatched, Weighing
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.target import target_of
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import PASS, to_ms
from monitor.domain.state.record import Event, Group, StoredReading
from monitor.rehearse.season_faults import FAULTS, Air, Fault, Floats

Put = Callable[[float, Fact, int], None]  # day, what is written, egg
BEGIN = datetime(2025, 1, 8, 18, 0, tzinfo=UTC)
# Between the batches of a setter; the second setter's behind the first's, so that no two hatch together.
APART_D, SECOND_D = 30.0, 10.0
STEP_S = 300.0
# The machine is watched before the eggs come; the batch is closed so long after its term.
BEFORE_D, AFTER_D = 0.125, 1.5
WARM_C, SETTER_RH, HATCHER_RH = 37.8, 55.7, 70.0  # inside the bands of all three species
PROBES = ("top", "bottom")
NODES = {"setter-1": "node-a", "setter-2": "node-b", "hatcher-1": "node-c"}
HATCHER, WHO = "hatcher-1", "sam"
GOOD, BAD = (0.85, 0.97), (0.35, 0.6)  # of the fertile eggs that hatch
WEIGHED = 6  # eggs, by number

# (name, species, setter, day set, eggs)
PLACES = tuple(
    (f"{name}-{number}", species, setter, APART_D * place + after_d, eggs)
    for setter, after_d, kinds in (
        ("setter-1", 0.0, (("hen", "chicken", 24),) * 4),
        ("setter-2", SECOND_D, (("quail", "japanese-quail", 30), ("duck", "pekin-duck", 16)) * 2),
    )
    for place, (name, species, eggs) in enumerate(kinds)
    for number in (place + 1 if name == "hen" else place // 2 + 1,)
)


@dataclass(frozen=True)
class Season:
    """What goes wrong in the season of a seed: by the name of the batch. offsets: by machine, how far off it is (K, %RH)."""

    seed: int
    faults: Mapping[str, Fault]
    offsets: Mapping[str, tuple[float, float]]


def drawn(seed: int) -> Season:
    """The season of a seed, 0 or above: two batches that go wrong, for two different reasons, and how far off the machines are."""
    rng = np.random.default_rng([seed, 1])
    names = rng.choice([name for name, *_ in PLACES], 2, replace=False)
    faults = rng.choice(len(FAULTS), 2, replace=False)
    offsets = {m: (float(rng.normal(0.0, 0.1)), float(rng.normal(0.0, 1.5))) for m in NODES}
    return Season(seed, {str(n): FAULTS[int(f)] for n, f in zip(names, faults, strict=True)}, offsets)


def group_of(season: Season, profiles: Mapping[str, Profile], *, planted: bool = True, step_s: float = STEP_S) -> Group:
    """The whole season as one transaction.

    Parameters
        profiles: the shipped ones. planted: False for the same season without its faults. step_s: between two readings.
    """
    group = Group(lines=dict(_lines()))
    for place, (name, species, setter, day, eggs) in enumerate(PLACES):
        profile = profiles[species]
        batch = _batch(name, profile, setter, set_at=BEGIN + timedelta(days=day), eggs=eggs)
        fault = season.faults.get(name) if planted else None
        air = _air(season, place, batch, profile=profile, step_s=step_s)
        if fault is not None:
            fault.plant(air, np.random.default_rng([season.seed, 3, place]))
        rng = np.random.default_rng([season.seed, 4, place])
        book = _book(batch, profile, air, fault=fault, rng=rng)
        group.batches[name] = batch
        group.entries += [(name, entry) for entry in book.entries]
        group.events += _openings(batch, air)
        group.readings += _readings(batch, air, np.random.default_rng([season.seed, 5, place]))
    return group


def _lines() -> Iterator[tuple[int, Line]]:
    for id_, node in enumerate(NODES.values(), 1):
        yield (
            id_,
            Line(
                id=id_,
                node=node,
                boot=1,
                basis=UPTIME,
                from_up_ms=0,
                offset_ms=to_ms(BEGIN - timedelta(days=1)),
                first_up_ms=0,
                last_up_ms=0,
            ),
        )


def _batch(name: str, profile: Profile, setter: str, *, set_at: datetime, eggs: int) -> Batch:
    move, end = set_at + timedelta(days=profile.lockdown_day), set_at + timedelta(days=profile.days + AFTER_D)
    stays = (Stay(setter, set_at, move), Stay(HATCHER, move, end))
    return Batch(name, profile.id, set_at, eggs, "invented", stays=stays, closed_at=end)


def _air(season: Season, place: int, batch: Batch, *, profile: Profile, step_s: float) -> Air:
    """A batch's air without a fault: two probes, the machines off by their little, the air wandering."""
    rng = np.random.default_rng([season.seed, 2, place])
    # In seconds first: whole ones, so that the move lies between two readings and not within one's rounding.
    day = np.arange(-BEFORE_D * 86_400.0, (profile.days + AFTER_D) * 86_400.0, step_s) / 86_400.0
    in_setter = day < profile.lockdown_day
    (setter_k, setter_rh), (hatcher_k, hatcher_rh) = (season.offsets[s.machine] for s in batch.stays)
    dry_bulb_c = WARM_C + np.where(in_setter, setter_k, hatcher_k) + _wander(rng, day, 0.1)
    rh_pct = np.where(in_setter, SETTER_RH + setter_rh, HATCHER_RH + hatcher_rh) + _wander(rng, day, 2.0)
    apart_k = abs(rng.normal(0.0, 0.1))
    if rng.random() < 0.3:  # a short cut, as they happen
        start = rng.uniform(1.0, profile.days - 2.0)
        dry_bulb_c[(day >= start) & (day <= start + rng.uniform(0.5, 2.0) / 24.0)] = 30.0
    lockdown, term = float(profile.lockdown_day), float(profile.days)
    openings = [*rng.uniform(0.0, lockdown, rng.poisson(1.5 * lockdown)), *rng.uniform(lockdown, term, rng.poisson(2.0 * (term - lockdown)))]  # fmt: skip
    return Air(
        day=day,
        dry_bulb_c=np.stack([dry_bulb_c + apart_k, dry_bulb_c - apart_k]),
        rh_pct=np.stack([rh_pct + 0.5, rh_pct - 0.5]),
        lockdown_day=lockdown,
        term_days=term,
        openings_day=[float(each) for each in openings],
    )


def _wander(rng: np.random.Generator, day: Floats, sd: float) -> Floats:
    """Noise that remembers about an hour."""
    hours = np.arange(day[0], day[-1] + 1.0 / 12.0, 1.0 / 24.0)
    return np.interp(day, hours, rng.normal(0.0, sd, hours.size))


def _readings(batch: Batch, air: Air, rng: np.random.Generator) -> Iterator[StoredReading]:
    """What the record holds of it: one in a hundred is missing, and once the node is not heard for up to an hour and a half."""
    up_ms = to_ms(batch.set_at) - to_ms(BEGIN - timedelta(days=1)) + np.rint(air.day * 86_400_000).astype(np.int64)
    line = {node: id_ for id_, node in enumerate(NODES.values(), 1)}
    for row, probe in enumerate(PROBES):
        start = rng.uniform(0.0, air.term_days)
        silent = (air.day > start) & (air.day < start + rng.uniform(0.0, 1.5 / 24.0))
        heard = (rng.random(air.day.size) > 0.01) & ~silent
        for stay, here in zip(batch.stays, (air.day < air.lockdown_day, air.day >= air.lockdown_day), strict=True):
            node, kept = NODES[stay.machine], heard & here
            rows = zip(up_ms[kept].tolist(), air.dry_bulb_c[row, kept].round(2).tolist(), air.rh_pct[row, kept].round(1).tolist(), strict=True)  # fmt: skip
            for at, dry_bulb_c, rh_pct in rows:
                yield StoredReading(
                    probe=f"{node}/{probe}",
                    line=line[node],
                    up_ms=at,
                    dry_bulb_c=dry_bulb_c,
                    rh_pct=rh_pct,
                    flag=PASS,
                    rh_flag=PASS,
                )


def _openings(batch: Batch, air: Air) -> Iterator[Event]:
    for day in sorted(air.openings_day):
        machine = batch.stays[0 if day < air.lockdown_day else 1].machine
        yield Event(batch.set_at + timedelta(days=day), OPENING, machine, "opened for about 2 min, lowest 34.0 °C")


def _book(batch: Batch, profile: Profile, air: Air, *, fault: Fault | None, rng: np.random.Generator) -> EggBook:
    """Weighings, a candling, how each egg ended, and what was found: a fault's findings, or one egg dead with no reason in the air."""
    assert batch.eggs is not None
    book, set_at, term = EggBook(batch), batch.set_at, air.term_days

    def put(day: float, fact: Fact, egg: int) -> None:
        nonlocal book
        at = set_at + timedelta(days=day)
        book = add(book, Entry(at, at, WHO, fact, egg=egg))

    # Shells vary whatever the ends: one draw for each egg, before anything depends on the fault.
    shells = rng.normal(1.0, 0.04) * rng.normal(1.0, 0.05, WEIGHED)
    masses = rng.uniform(*(profile.egg_mass_g or (50.0, 60.0)), WEIGHED)
    clear = int(rng.integers(1, max(2, batch.eggs // 8) + 1))
    order = [int(egg) for egg in rng.permutation(np.arange(WEIGHED + 1, batch.eggs + 1))]
    for egg, (shell, mass_g) in enumerate(zip(shells, masses, strict=True), 1):
        for day in (0.0, term / 3.0, 2.0 * term / 3.0, air.lockdown_day - 0.1):
            put(day, Weighing(round(float(mass_g * (1.0 - shell * _lost(profile, air, day) / 100.0) + rng.normal(0.0, 0.01)), 2)), egg)  # fmt: skip
    empty = order[:clear]
    weighed = list(range(1, WEIGHED + 1))
    # The eggs that are told of are the weighed ones, as far as they go: those that died come first, those that hatched last.
    fertile = [*weighed, *order[clear:]] if fault is None or not fault.alive else [*order[clear:], *weighed]
    for egg in range(1, batch.eggs + 1):
        put(7.0, Candling("clear" if egg in empty else "alive"), egg)
    hatching = round(len(fertile) * rng.uniform(*(GOOD if fault is None else BAD)))
    hatched, dead = fertile[len(fertile) - hatching :], fertile[: len(fertile) - hatching]
    for egg in hatched:
        put(term + rng.normal(0.0, 0.12) + (fault.late_d if fault else 0.0), Hatched(), egg)
    for egg in dead:
        put(term - 0.2, Dead("late" if fault is None else fault.stage), egg)
    _find(put, hatched, dead, fault=fault, air=air)
    return book


def _find(put: Put, hatched: list[int], dead: list[int], *, fault: Fault | None, air: Air) -> None:
    if fault is None:
        for egg in dead[:1]:
            put(air.term_days + 1.4, Found("dead-unpipped"), egg)
        return
    for finding in fault.findings:
        for egg in hatched[-4:] if fault.alive else dead[:4]:
            put(air.term_days + 1.4, Found(finding), egg)


def _lost(profile: Profile, air: Air, day: float) -> float:
    """Loss in per cent by a day of the setter: the middle of the target at pip in air as it should be, and as the air is dry."""
    if day <= 0.0:
        return 0.0
    target = target_of(profile)
    assert target is not None  # each species of the season has one
    low, high = target.by(day)
    so_far = (air.day >= 0.0) & (air.day <= day)
    dryness = float(np.mean(100.0 - air.rh_pct[0, so_far])) / (100.0 - SETTER_RH)
    return (low + high) / 2.0 * dryness
