"""Records with whole incubations in them, for the rows about reports: invented batches of ducks, and years of everything else around them.

A batch is in a setter, and for the last three twenty-eighths of its time in a hatcher; each has one node with two probes. The air swings
with the heater and the day, sensors say hundredths, one message in two hundred never came, and the machine is opened twenty times a day.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.analysis.history.felt import OPENING
from monitor.domain.alarms.alarm import NORMAL, UNACKNOWLEDGED, Alarm, Transition
from monitor.domain.alarms.notice import Notice
from monitor.domain.needs.batch import Batch, Declared, Stay
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import Calibration, by_offset
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import PASS, from_ms, to_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Event, Group, StoredReading
from monitor.rehearse.season import NODES, PROBES
from monitor.rehearse.season_demo import configuration, house_of

BEGAN_MS = 1_767_225_600_000  # 2026-01-01
DAY_MS = 86_400_000
STEP_MS = 10_000
PART_MS = 20_000_000  # a crystal that is 50 ppm slow has a new part of its line begun each 5.6 h
ROUNDS_IN_GROUP = 80
OPENED_A_DAY = 20
EGGS = 24
SPECIES, TERM_D, SETTER_D = "pekin-duck", 28.0, 25.0
SETTER, HATCHER = "setter-1", "hatcher-1"
_LINE_OF = {machine: place for place, machine in enumerate(NODES)}


def site_of(step_ms: int = STEP_MS) -> Site:
    """Two setters and a hatcher, two probes in each, on which a reading is expected each step_ms."""
    return house_of(configuration(0, step_ms / 1000.0), Path()).site


def batch_of(name: str, set_ms: int, days: float = TERM_D) -> Batch:
    """A closed batch of so many days."""
    at, move, end = (from_ms(set_ms + round(d * DAY_MS)) for d in (0.0, days * SETTER_D / TERM_D, days))
    stays = (Stay(SETTER, at, move), Stay(HATCHER, move, end))
    return Batch(
        name, SPECIES, at, EGGS, "invented", stays=stays, declared=(Declared("lockdown", move),), closed_at=end
    )


def write_batch(ledger: SqliteLedger, batch: Batch, step_ms: int = STEP_MS) -> None:
    """The batch, its readings and its openings, in groups as the daemon writes them."""
    ledger.commit(Group(batches={batch.id: batch}, events=list(openings(batch.stays))))
    for stay in batch.stays:
        assert stay.until is not None
        write_air(ledger, stay.machine, to_ms(stay.since), to_ms(stay.until), step_ms)


def write_air(ledger: SqliteLedger, machine: str, since_ms: int, until_ms: int, step_ms: int) -> None:
    """What both probes of a machine say from since_ms to until_ms."""
    rng = np.random.default_rng([since_ms // 1000, _LINE_OF[machine]])
    at_ms = np.arange(since_ms, until_ms, step_ms)
    at_ms = at_ms[rng.random(at_ms.size) > 0.005]
    air = [_air(at_ms, rng, 70.0 if machine == HATCHER else 55.7) for _ in PROBES]
    for first in range(0, at_ms.size, ROUNDS_IN_GROUP):
        group, cut = Group(), slice(first, first + ROUNDS_IN_GROUP)
        ups = (at_ms[cut] - BEGAN_MS).tolist()
        for probe, (dry_bulb_c, rh_pct) in zip(PROBES, air, strict=True):
            for up_ms, dry, rh in zip(ups, dry_bulb_c[cut].tolist(), rh_pct[cut].tolist(), strict=True):
                line = _line(machine, up_ms, group.lines)
                group.lines[line.id] = line
                group.readings.append(StoredReading(f"{NODES[machine]}/{probe}", line.id, up_ms, dry, rh, PASS, PASS))
        ledger.commit(group)


def _line(machine: str, up_ms: int, known: dict[int, Line]) -> Line:
    """The part of the node's line that a reading is on, as it is after that reading."""
    id_ = (up_ms // PART_MS) * len(NODES) + _LINE_OF[machine] + 1
    first_ms = known[id_].first_up_ms if id_ in known else up_ms
    return Line(id_, NODES[machine], 1, UPTIME, up_ms // PART_MS * PART_MS, BEGAN_MS, first_ms, up_ms)


def _air(at_ms: np.ndarray, rng: np.random.Generator, humid: float) -> tuple[np.ndarray, np.ndarray]:
    day = (at_ms - BEGAN_MS) / DAY_MS
    dry = 37.6 + 0.1 * np.sin(day * 2.0 * np.pi) + 0.08 * np.sin(day * 2.0 * np.pi * 144.0)
    rh = humid + 2.0 * np.sin(day * 2.0 * np.pi)
    since_min = (day * OPENED_A_DAY % 1.0) * 1440.0 / OPENED_A_DAY
    dip = np.where(since_min < 2.0, since_min / 2.0, np.exp(-(since_min - 2.0) / 3.0))
    dry, rh = dry - 2.5 * dip + rng.normal(0.0, 0.02, day.size), rh - 15.0 * dip + rng.normal(0.0, 0.2, day.size)
    return dry.round(2), rh.round(1)


def openings(stays: Sequence[Stay]) -> Iterator[Event]:
    """Twenty openings a day of the machine of each stay, which ends."""
    for stay in stays:
        at = stay.since
        assert stay.until is not None
        while at < stay.until:
            yield Event(at, OPENING, stay.machine, "opened for about 2 min, lowest 35.2 °C")
            at += timedelta(days=1.0 / OPENED_A_DAY)


def write_years(ledger: SqliteLedger, since_ms: int, days: int) -> None:
    """So many days of another life: a reading an hour of each probe, and for each day twenty openings, as many transitions each with
    its notice, two handlings, four parts of each node's line; each thirty days a batch, and each half year a calibration of each probe."""
    for first in range(0, days, 30):
        last = min(first + 30, days)
        since, until = (from_ms(since_ms + d * DAY_MS) for d in (first, last))
        for machine in NODES:
            write_air(ledger, machine, to_ms(since), to_ms(until), 3_600_000)
        group = Group(events=list(openings((Stay(SETTER, since, until),))))
        group.batches = {f"b-{to_ms(since)}": batch_of(f"b-{to_ms(since)}", to_ms(since))}
        if first % 180 == 0:
            group.calibrations = [
                Calibration(f"{node}/{probe}", since, since, None, "sam", "bath", by_offset("dry_bulb_c", 0.001 * (1 + first % 7)))
                for node in NODES.values() for probe in PROBES
            ]  # fmt: skip
        for place, event in enumerate(group.events):
            number = to_ms(since) // 1_000_000 + place
            alarm = Alarm(SETTER, "dry-bulb-low-alarm", number, number, condition=True, since=event.at, value=35.2, worst=35.2, limit=36.4)  # fmt: skip
            group.transitions.append(
                Transition(alarm, NORMAL, UNACKNOWLEDGED, "beyond its limit", event.at, place * 1.0, "")
            )
            words = f"Setter 1: 35.2 °C, band 36.4 to 38.4. No. {number}"
            group.notices.append(
                Notice(number, f"{number}/1/phone", "phone", "medium", "Setter 1: too cold", words, event.at, number)
            )
        ledger.commit(group)
        for day in range(first, last):
            for machine in (SETTER, HATCHER):
                at = from_ms(since_ms + day * DAY_MS + 36_000_000)
                ledger.commit(Group(handlings={machine: Handling(machine, at, at + timedelta(minutes=20), 0.0, "sam")}))


@contextlib.contextmanager
def writing(file: Path) -> Iterator[SqliteLedger]:
    """The write side of a new record, without the waits for the disk that matter only where power can fail."""
    opened = open_writer(file)
    opened.connection.execute("PRAGMA synchronous = OFF")
    try:
        yield SqliteLedger(opened.connection)
    finally:
        opened.close()


@contextlib.contextmanager
def reading(file: Path) -> Iterator[SqliteHistory]:
    """The read side of a record."""
    history = SqliteHistory(open_reader(file))
    try:
        yield history
    finally:
        history.close()


_BARE = """SELECT up_ms, dry_bulb_c, rh_pct, flag, rh_flag FROM reading
    WHERE probe_id = ? AND line_id = ? AND up_ms BETWEEN ? AND ?"""
_COLUMNS = [("up_ms", np.int64), ("dry_bulb_c", np.float64), ("rh_pct", np.float64), ("flag", np.int64), ("rh_flag", np.int64)]  # fmt: skip


class Bare:
    """The bare cost of a batch's rows: each once, out of one query for each probe and part of a line, into an array; nothing else."""

    def __init__(self, file: Path) -> None:
        self._connection = sqlite3.connect(file)

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def plan(self, batch: Batch) -> list[tuple[int, int, int, int]]:
        """(probe, line, from, to) of every query that it takes: what a report has to find out, and this does not."""
        probes = dict(self._connection.execute("SELECT key, id FROM probe"))
        found = []
        for stay in batch.stays:
            assert stay.until is not None
            since, until = to_ms(stay.since) - BEGAN_MS, to_ms(stay.until) - BEGAN_MS - 1
            for probe in PROBES:
                for part in range(since // PART_MS, until // PART_MS + 1):
                    line = part * len(NODES) + _LINE_OF[stay.machine] + 1
                    found.append((probes[f"{NODES[stay.machine]}/{probe}"], line, since, until))
        return found

    def read(self, plan: Sequence[tuple[int, int, int, int]]) -> int:
        """Read them all; how many rows there were."""
        return sum(np.fromiter(self._connection.execute(_BARE, each), dtype=_COLUMNS).size for each in plan)


def long_after(days: float = 5_000.0) -> datetime:
    """A time at which every batch is long closed."""
    return from_ms(BEGAN_MS + round(days * DAY_MS))
