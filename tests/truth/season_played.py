"""The invented season (`eggroom demo --season`) played through the judge under the shipped rules: what a phone would have had of it.

Each stay of each batch is played by itself, from the batch's own readings: before and after it nothing hangs in that machine. Openings of
that season are rows of its record, and leave no trace in its air.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.rules import HUMIDITY, NOT_RAISED
from monitor.domain.needs.site import Machine, Probe
from monitor.domain.readings.dating import Line
from monitor.domain.readings.reading import Pack, Sample, from_ms
from monitor.domain.state.record import Group, StoredReading
from monitor.rehearse.season import NODES, PLACES, PROBES, STEP_S, drawn, group_of
from tests.truth.ear import Ear, Rung, ear_of
from tests.truth.faults import profiles
from tests.truth.judges import REAL
from tests.truth.scenarios import T0, by_night
from tests.truth.world import rules, site_of


@dataclass(slots=True)
class PlayedBatch:
    """One batch of a season. well: nothing was planted in it. rung: messages by priority and 'day' or 'night'."""

    judge: str
    season: int
    batch: str
    well: bool
    fault: str
    weeks: float
    hatched: int
    eggs: int
    rung: Counter[tuple[str, str]] = field(default_factory=Counter)
    humid: int = 0
    humid_by_night: int = 0

    @property
    def humid_a_week(self) -> float:
        """Messages about humidity, by day and night."""
        return self.humid / self.weeks

    def line(self) -> str:
        """In one line."""
        a_week = ", ".join(
            f"{priority} {self._a_week(priority, 'day'):.1f} + {self._a_week(priority, 'night'):.1f}"
            for priority in ("critical", "high", "medium", "low")
        )
        what = "went well" if self.well else self.fault
        return (
            f"season {self.season} {self.batch:8} ({self.hatched} of {self.eggs}; {what}): {a_week} a week by day + night;"
            f" of humidity {self.humid_a_week:.1f}, {self.humid_by_night / self.weeks:.1f} by night"
        )

    def _a_week(self, priority: str, when: str) -> float:
        return self.rung[priority, when] / self.weeks


def played(seed: int, judge: str = REAL, *, most: int = len(PLACES)) -> Iterator[PlayedBatch]:
    """The batches of the season of that seed; most: so many of those that went well, and none of the others, if not all."""
    season = drawn(seed)
    group = group_of(season, profiles())
    lines = dict(group.lines)
    names = [*group.batches]
    if most < len(names):
        names = [name for name in names if name not in season.faults][:most]
    for name in names:
        batch, fault = group.batches[name], season.faults.get(name)
        facts = [entry.fact for id_, entry in group.entries if id_ == name]
        hatched = sum(type(fact).__name__ == "Hatched" for fact in facts)
        begin, end = batch.stays[0].since, batch.stays[-1].until
        assert end is not None
        weeks = (end - begin) / timedelta(days=7)
        out = PlayedBatch(
            judge, seed, name, fault is None, fault.words if fault else "", weeks, hatched, batch.eggs or 0
        )
        for stay in batch.stays:
            for rung in _stay(group, lines, batch, stay=stay, ear=ear_of(judge, None)):
                _count(out, rung)
        yield out


def _count(out: PlayedBatch, rung: Rung) -> None:
    when = "night" if by_night(rung.at_s) else "day"
    out.rung[rung.priority, when] += 1
    told = [rules()[rule] for rule in rung.rules if rule in rules()]
    if any(rule.quantity == HUMIDITY or rule.id == NOT_RAISED for rule in told):
        out.humid += 1
        out.humid_by_night += when == "night"


def _stay(group: Group, lines: dict[int, Line], batch: Batch, *, stay: Stay, ear: Ear) -> Sequence[Rung]:
    """One stay before the daemon. rung.at_s counts from T0, on the season's own clock."""
    node = NODES[stay.machine]
    machine = Machine(stay.machine, stay.machine.replace("-", " ").capitalize(), stay.machine.split("-")[0])
    keys = [f"{node}/{probe}" for probe in PROBES]
    site = site_of({machine.id: machine}, {key: Probe(key, machine.id, STEP_S) for key in keys})
    rows: dict[datetime, list[StoredReading]] = {}
    for reading in group.readings:
        if reading.probe in keys:
            at = from_ms(lines[reading.line].at_ms(reading.up_ms))
            if stay.since <= at and (stay.until is None or at < stay.until):
                rows.setdefault(at, []).append(reading)
    times = sorted(rows)
    begin_s = (times[0] - T0).total_seconds()
    ear.begin(site, begin_s)
    ear.ask(
        0.0,
        {
            "do": "batch-add", "batch": batch.id, "profile": batch.profile, "set_at": batch.set_at.isoformat(),
            "machine": machine.id, "eggs": batch.eggs,
        },
    )  # fmt: skip
    for seq, at in enumerate(times):
        at_s = (at - times[0]).total_seconds() + 0.4
        samples = tuple(Sample(r.probe.partition("/")[2], r.dry_bulb_c, r.rh_pct) for r in rows[at])
        ear.hear(at_s, Pack(node, samples, 7, seq, int(at_s)))
    ear.end()
    return [replace(rung, at_s=rung.at_s + begin_s) for rung in ear.rung]


def summed(batches: Sequence[PlayedBatch]) -> str:
    """Those that went well together: messages a week in a batch, by day and night."""
    well = [b for b in batches if b.well]
    weeks = sum(b.weeks for b in well)
    if not weeks:
        return "no batch went well"
    a_week = ", ".join(
        f"{priority} {sum(b.rung[priority, 'day'] for b in well) / weeks:.1f} + {sum(b.rung[priority, 'night'] for b in well) / weeks:.1f}"
        for priority in ("critical", "high", "medium", "low")
    )
    return f"{len(well)} batches that went well: {a_week} messages a week by day + night; of humidity {sum(b.humid for b in well) / weeks:.1f}"
