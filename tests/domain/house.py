"""A small house for tests of the decision: a site of invented birds, packs, and a story that lets time pass.

The figures are round ones made up for these tests, not advice for any bird. Times are minutes or seconds of the story.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TypeVar

from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.air.units import Unit
from monitor.domain.alarms.alarm import Alarm, Transition, state_of
from monitor.domain.alarms.notice import Notice
from monitor.domain.needs.batch import Batch, Declared, Stay
from monitor.domain.needs.profile import Band, Profile, Stage
from monitor.domain.needs.rules import Rule
from monitor.domain.needs.site import Machine, Probe, Site, Switch, grouped
from monitor.domain.readings.reading import Now, Other, Pack, Presence, Refused, Sample, to_ms
from monitor.domain.state.known import Look, State
from monitor.domain.state.record import Event, Group, RefusedRow, StoredReading
from monitor.domain.watch.evaluate import hear, plan, tick
from monitor.shown.about import about_words
from monitor.shown.phone.joined import NoticeWords

T0 = datetime(2026, 3, 10, 8, 0, tzinfo=UTC)
MONO0_S = 5_000.0  # any number: nothing may depend on where the forward clock starts
RULES = shipped_rules()

Known = TypeVar("Known")

WARM = Band(36.0, 37.0, 37.5, 38.0, 39.0)
DRY_RH, MOIST_RH = Band(30.0, 40.0, 45.0, 50.0, 60.0), Band(50.0, 60.0, 65.0, 80.0, 90.0)
DRY_WET, MOIST_WET = Band(25.0, 27.0, 28.0, 29.0, 31.0), Band(28.0, 30.0, 31.0, 33.0, 35.0)


def there(value: Known | None) -> Known:
    """What must be known at this place of a test."""
    assert value is not None
    return value


def profile(
    id_: str, setter: Band, lockdown: Band, *, wet: bool = False, warm: Band = WARM, **changes: object
) -> Profile:
    """A bird of 21 days, locked down from day 18; humidity as RH or, if wet, as wet bulb."""
    name = "wet_bulb_c" if wet else "rh_pct"
    stages = (Stage("setter", 0.0, warm, **{name: setter}), Stage("lockdown", 18.0, warm, **{name: lockdown}))
    whole = Profile(id_, id_.title(), "Avis probata", 21.0, 20.0, 22.0, 18.0, stages, still_air_offset_k=1.0)
    return replace(whole, **changes)  # type: ignore[arg-type]


PROFILES = {
    p.id: p
    for p in (
        profile("hen", DRY_RH, MOIST_RH),
        profile("wet-hen", DRY_WET, MOIST_WET, wet=True),
        # Cooler by so much that no temperature suits it and a hen; its air would be the same.
        profile("cold-bird", DRY_RH, MOIST_RH, warm=Band(33.0, 35.0, 35.5, 36.0, 38.5)),
        # Drier by so much that no humidity suits it and a hen.
        profile("desert-bird", Band(10.0, 20.0, 25.0, 30.0, 35.0), Band(30.0, 40.0, 45.0, 50.0, 60.0)),
    )
}
MACHINES = {
    m.id: m
    for m in (
        Machine("setter-1", "Setter 1"),
        Machine("hatcher-1", "Hatcher", "hatcher"),
        Machine("still-1", "Still 1", "setter", "still"),
        Machine("room", "Room", "room"),
    )
}


def probes(*keys_and_machines: tuple[str, str], interval_s: float = 10.0) -> dict[str, Probe]:
    """Probes by key: `probes(("node-a/top", "setter-1"))`."""
    return {key: Probe(key, machine, interval_s) for key, machine in keys_and_machines}


def site(
    probe_map: Mapping[str, Probe] | None = None,
    *,
    profiles: Mapping[str, Profile] = PROFILES,
    machines: Mapping[str, Machine] = MACHINES,
    rules: Mapping[str, Rule] = RULES,
    unit: Unit = "C",
    contacts: tuple[str, ...] = ("sam",),
    switches: tuple[Switch, ...] = (),
) -> Site:
    """A site with one probe in setter-1, unless others are given."""
    watched = dict(probes(("node-a/top", "setter-1")) if probe_map is None else probe_map)
    return Site(
        id="home",
        zone=UTC,
        unit=unit,
        pressure_kpa=101.325,
        machines=machines,
        probes=watched,
        profiles=profiles,
        rules=rules,
        contacts=contacts,
        switches={switch.key: switch for switch in switches},
        by_machine=grouped(watched, "machine"),
        by_node=grouped(watched, "node"),
    )


def batch(
    id_: str = "hen-1",
    profile_id: str = "hen",
    machine: str | None = "setter-1",
    *,
    day: float = 5.0,
    came: float | None = None,
    declared: Iterable[tuple[str, float]] = (),
) -> Batch:
    """A batch on its `day` at T0, in `machine` since day `came` (the start, unless said); declared: (stage, day)."""
    set_at = T0 - timedelta(days=day)
    stays = () if machine is None else (Stay(machine, set_at + timedelta(days=came or 0.0)),)
    said = tuple(Declared(stage, set_at + timedelta(days=on)) for stage, on in declared)
    return Batch(id_, profile_id, set_at, 12, stays=stays, declared=said)


def pack(node: str, seq: int, up_s: int | None, *samples: Sample, boot: int = 7, retained: bool = False) -> Pack:
    """One message of a node of ours."""
    return Pack(node, samples, boot, seq, up_s, retained)


Air = tuple[float | None, float | None]
RIPPLE_K, RIPPLE_PCT = 0.003, 0.02
STRANGE_C, STRANGE_PCT = (85.0, 127.9375), (0.0, 100.0)  # what means something else than a value


@dataclass
class Story:
    """Time that passes in a house, second by second: `air` is what each probe sends every interval_s; None is silence.

    Everything that was decided is written down, the notices with their words: `transitions`, `notices`, `events`, `readings`.
    """

    site: Site = field(default_factory=site)
    batches: tuple[Batch, ...] = ()
    at_s: float = 0.0  # of the story
    interval_s: float = 10.0
    utc_step: timedelta = timedelta(0)  # what the label clock was set by so far
    clock_ok: bool = True
    air: dict[str, Air | None] = field(default_factory=dict)
    switches: dict[str, bool] = field(default_factory=dict)  # what each switch sends, with its node's air
    boots: dict[str, int] = field(default_factory=dict)
    seqs: dict[str, int] = field(default_factory=dict)
    transitions: list[Transition] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    readings: list[StoredReading] = field(default_factory=list)
    refused: list[RefusedRow] = field(default_factory=list)
    state: State = field(init=False)

    def __post_init__(self) -> None:
        now = self.now()
        self.state = State(to_ms(now.utc) - now.mono_s * 1000.0, self.clock_ok, now.mono_s)
        self.state.batches = {b.id: b for b in self.batches}

    def now(self) -> Now:
        """Both clocks at this second of the story."""
        return Now(MONO0_S + self.at_s, T0 + timedelta(seconds=self.at_s) + self.utc_step, self.clock_ok)

    def look(self, out: Group | None = None) -> Look:
        """A look at the house at this second."""
        return Look(self.state, self.site, self.now(), Group() if out is None else out)

    def adopt(self, out: Group) -> Group:
        """Write down what was decided."""
        self.transitions += out.transitions
        self.notices += map(NoticeWords(self.site).word, out.notices)
        self.events += out.events
        self.readings += out.readings
        self.refused += out.refused
        return out

    def tick(self) -> Group:
        """One look at passing time."""
        out = Group()
        tick(self.look(out))
        return self.adopt(out)

    def hear(self, message: Pack | Presence | Refused) -> Group:
        """One message, now."""
        out = Group()
        hear(self.look(out), message)
        return self.adopt(out)

    def send(self, node: str, *samples: Sample, up_s: int | None = None, seq: int | None = None) -> Group:
        """The next message of a node: its counted time is the story's, its number the next, unless said."""
        number = self.seqs.get(node, -1) + 1 if seq is None else seq
        self.seqs[node] = max(number, self.seqs.get(node, -1))
        counted = int(self.at_s) + 100 if up_s is None else up_s
        said = pack(node, number, counted, *samples, boot=self.boots.get(node, 7))
        others = tuple(Other(k.partition("/")[2], v) for k, v in self.switches.items() if k.startswith(f"{node}/"))
        return self.hear(replace(said, others=others) if others else said)

    def run(self, minutes: float = 0.0, seconds: float = 0.0) -> None:
        """Let time pass: a tick each second; each probe with air speaks every interval_s."""
        for _ in range(round(minutes * 60 + seconds)):
            self.at_s += 1.0
            self.tick()
            if self.at_s % self.interval_s == 0:
                self.speak()

    def speak(self) -> None:
        """Every node with air in one of its probes sends it, one message a node."""
        by_node: dict[str, list[Sample]] = {}
        for key, air in self.air.items():
            if air is not None:
                node, _, probe = key.partition("/")
                by_node.setdefault(node, []).append(Sample(probe, *self.alive(air)))
        for node, samples in by_node.items():
            self.send(node, *samples)

    def alive(self, air: Air) -> Air:
        """That air as a live sensor gives it: a little to and fro, for what stands still is taken for broken."""
        way = round(self.at_s / self.interval_s) * 7919 % 5 - 2
        dry_bulb_c = air[0] if air[0] is None or air[0] in STRANGE_C else air[0] + way * RIPPLE_K
        return dry_bulb_c, None if air[1] is None or air[1] in STRANGE_PCT else air[1] + way * RIPPLE_PCT

    def put(self, *changed: Batch) -> None:
        """A batch set, moved, declared or closed by a person, as a request does it."""
        self.state.batches |= {b.id: b for b in changed}
        self.state.plan_anew()
        out = Group()
        for machine in self.site.machines:
            plan(self.look(out), machine)
        self.adopt(out)

    def states(self, rule: str | None = None) -> list[tuple[str, str]]:
        """(rule, state) of each transition so far, or (subject, state) of those of one rule."""
        if rule is None:
            return [(t.alarm.rule, t.state) for t in self.transitions]
        return [(t.alarm.subject, t.state) for t in self.transitions if t.alarm.rule == rule]

    def state_of(self, rule: str, subject: str = "setter-1") -> str:
        """The present state of one alarm."""
        alarm = self.state.alarms.get((subject, rule))
        return "normal" if alarm is None else state_of(alarm)

    def about(self, rule: str, subject: str = "setter-1") -> str:
        """What that alarm is about, in words."""
        return about_words(self.alarm(rule, subject).about, self.site)

    def alarm(self, rule: str, subject: str = "setter-1") -> Alarm:
        """One alarm's facts."""
        return self.state.alarms[(subject, rule)]

    def titles(self) -> list[str]:
        """Titles of the notices so far."""
        return [n.title for n in self.notices]
