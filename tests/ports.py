"""The suites of the record's ports. RecordSuite, of Ledger and Record: passed by the record in memory and by the SQLite store alike.
BatchRecordSuite, of what the reports of one batch ask for: passed by these two and by an archive.

A test class inherits a suite and gives it its fixture. Readings, lines and groups for other tests of the store are made here too.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, get_args

import numpy as np
import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.about import Unheard
from monitor.domain.alarms.alarm import NORMAL, SHELVED, UNACKNOWLEDGED, Alarm, Transition
from monitor.domain.alarms.notice import Facts, Notice, Told
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import (
    AirCell,
    Attached,
    Brooded,
    Candling,
    ChickMass,
    Dead,
    Entry,
    Fact,
    Found,
    Hatched,
    Helped,
    Identity,
    Laid,
    LookAgain,
    Note,
    Removed,
    Sealed,
    Sign,
    SignedOff,
    Size,
    Split,
    Turning,
    TurningStopped,
    Weighing,
    Withdrawn,
)
from monitor.domain.needs.batch import Batch, Declared, Stay
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Machine, Probe
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration, by_offset, by_salts
from monitor.domain.readings.dating import ARRIVAL, ARRIVAL_BOOT, CLOCK, CLOCK_BOOT, UPTIME, Line
from monitor.domain.readings.numbering import Gap, Numbering
from monitor.domain.readings.reading import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT, Refused, from_ms, to_ms
from monitor.domain.signs.cooling import Cooling
from monitor.domain.signs.opening import Handling
from monitor.domain.signs.seen import Opened
from monitor.domain.state.memory import Memory, ProbeMemory
from monitor.domain.state.record import Attempt, Event, Group, Reflag, RefusedRow, StoredReading, Unknown
from monitor.service import ports
from monitor.service.ports import (
    BatchRecord,
    Labelled,
    Latest,
    Ledger,
    NoticeRow,
    TransitionRow,
    Written,
)

START = datetime(2026, 3, 1, 6, 0, 0, 250_000, tzinfo=UTC)
START_MS = to_ms(START)
PROBE = "node-a/top"
YEARS = timedelta(days=3650)


@dataclass(slots=True)
class Record:
    """A ledger and a history on one record; `again` ends them and opens both anew on what was kept."""

    ledger: Ledger
    history: ports.Record
    again: Callable[[], Record]


def at(seconds: float) -> datetime:
    """So many seconds after START."""
    return START + timedelta(seconds=seconds)


def line(id_: int = 1, node: str = "node-a", boot: int = 77, basis: str = UPTIME, **changes: Any) -> Line:
    """A line whose counted time 0 lies at START, as a store gives it back."""
    return replace(Line(id_, node, boot, basis, 0, START_MS, 0, 1_000_000), **changes)


def reading(up_s: float, probe: str = PROBE, line: int = 1, **changes: Any) -> StoredReading:
    """A good reading."""
    return replace(StoredReading(probe, line, round(up_s * 1000), 37.52, 52.4, PASS, PASS), **changes)


# Of one that is waiting when the daemon stops; the next run joins it with others by these.
NOTICE_FACTS = Facts(
    "setter-1", "dry-bulb-high-alarm", over=True, quantity="dry_bulb_c", value=37.75, worst=39.4, limit=39.0,
    band=Band(36.0, 37.5, 37.8, 38.1, 39.0), since=at(-60), ended=at(-1), batches=(Told("batch-a", 17, "setter"),), doubtful=True,
)  # fmt: skip


def notice(id_: int, contact: str = "owner", **changes: Any) -> Notice:
    """A notice about alarm 12."""
    text = f"Setter one: 39.4 °C, band 37.5 to 38.1. No. 12 ({id_})"
    return replace(
        Notice(id_, f"12/{id_}/{contact}", contact, "high", "Setter one: too hot", text, at(0), 12), **changes
    )


def raised(
    number: int = 12, subject: str = "setter-1", rule: str = "dry-bulb-high-alarm", **changes: Any
) -> Transition:
    """An alarm's beginning, with every fact of it away from its default."""
    alarm = Alarm(
        subject=subject, rule=rule, number=number, episode=3, condition=True, acknowledged=False, since=at(-60),
        ended=None, value=39.4, worst=39.6, limit=38.6, about="dry_bulb_c", told=True, asked_mono_s=1000.5,
    )  # fmt: skip
    return Transition(replace(alarm, **changes), NORMAL, UNACKNOWLEDGED, "beyond its limit", at(0), 1000.5, "")


BATCH = Batch(
    id="spring-1",
    profile="galah",
    set_at=at(-86_400),
    eggs=4,
    note="pair 7, second clutch; é, 鳥",
    stays=(Stay("setter-1", at(-86_400), at(-3600)), Stay("hatcher-1", at(-3600))),
    declared=(Declared("lockdown", at(-3500)), Declared("hatch", at(-10))),
)

_HENS = load_profiles(None)["chicken"]
AS_FOUND = SiteThen(
    None,
    "UTC",
    101.325,
    {"setter-1": Machine("setter-1", "Setter one")},
    {PROBE: Probe(PROBE, "setter-1", 60.0, "top left")},
    {},
)
SITE_THEN = SiteThen(
    at(30), "Europe/Berlin", 95.5, {"setter-2": Machine("setter-2", "Two", "hatcher", "still")}, {PROBE: Probe(PROBE, "setter-2")},
    {"chicken": _HENS},
)  # fmt: skip
OUT = Out("node-a/low", at(0), at(3600), "ada")
COOLING = Cooling("spring-1", (480, 1080), 1800.0, 30.5, (8, 26), at(-20), "Ada")
HANDLING = Handling("setter-1", at(-30), at(1170), 2170.5, "Ada")
CALIBRATION = Calibration(
    PROBE,
    at(-10),
    at(-3600),
    at(86_400 * 365),
    "Ada",
    "bath; é, 鳥",
    by_offset("dry_bulb_c", 0.3),
    by_salts([("sodium-chloride", 73.1), ("magnesium-chloride", 34.0)], 26.3),
)


FILE = "0123456789abcdef" * 4  # what a file is called
FACTS: tuple[Fact, ...] = (
    Laid(at(-90_000), 4.5),
    Laid(None, 3),
    Size(40.25, 30.5),
    Weighing(26.49),
    Weighing(2310.5, 120.25, 0.5),
    Candling("not sure"),
    Sign("internal pip"),
    Helped("shell chipped by itself"),
    Hatched(),
    Dead("after hatch"),
    Removed("given away"),
    Sealed("wax"),
    Split("hen-1-b"),
    Found("blood-ring"),
    Note('é, 鳥, "quoted"; ½'),
    LookAgain(at(10_800), "weak"),
    Withdrawn("typed twice"),
    Identity("P3", "A12", "B7", "2", "x7", at(-90_000), "B", "3", "17"),
    AirCell(9.0, 14.5, 26.0),
    Turning(5, 12.0),
    TurningStopped("broken"),
    ChickMass(38.2, 0.05, "fine"),
    Brooded("brooder-1"),
    SignedOff("aviary"),
    Attached("photo.jpg", FILE, 9, "blood ring", 12),
)


def entry(number: int, fact: Fact, **changes: Any) -> Entry:
    """An entry of egg 2, as a store gives it back."""
    return replace(Entry(at(number), at(number + 60), "Ada", fact, egg=2, number=number), **changes)


def full_group() -> Group:
    """A group with something of everything in it, and every field away from its default somewhere."""
    shelved = Alarm(
        subject="node-b/low", rule="no-data", number=13, episode=1, condition=False, acknowledged=True,
        shelved_until=at(1200), shelved_until_mono_s=2200.5, suppressed="no eggs in it", out_of_service=True, since=at(-600),
        ended=at(-5), value=None, worst=None, limit=None, about=Unheard(3), told=False, asked_mono_s=None, out_until=at(90_000),
    )  # fmt: skip
    return Group(
        readings=[
            reading(0),
            reading(10, dry_bulb_c=None, rh_pct=None, flag=MISSING, rh_flag=MISSING),
            reading(20, rh_pct=None, rh_flag=MISSING),
            reading(30, dry_bulb_c=85.0, flag=FAIL),
            reading(40, flag=NOT_EVALUATED),
            reading(10, probe="node-a/low", dry_bulb_c=-3.25, rh_pct=0.0),
        ],
        lines={
            1: line(1),
            2: line(2, "node-b", 2**31 + 5, from_up_ms=500, first_up_ms=500, last_up_ms=700, offset_ms=START_MS - 9),
        },
        numberings={
            ("node-a", 77): Numbering(4),
            ("node-b", 2**31 + 5): Numbering(-1, ((2, 3), (7, 9)), 1000.0),
        },
        gaps=[Gap("node-a", 76, 5, 8, True)],
        refused=[RefusedRow(at(1), Refused("eggroom/home/node-x/air", b"\x00\xff{", "not UTF-8, expected JSON"))],
        unknown={"node-c/p": Unknown("node-c/p", at(0), at(9), 3, 21.5, None)},
        batches={BATCH.id: BATCH},
        transitions=[
            raised(),
            Transition(shelved, UNACKNOWLEDGED, SHELVED, "shelved for 20 min", at(2), 1002.0, "Ada", "setter one"),
        ],
        notices=[
            notice(1),
            notice(
                2, "helper", closing=True, link="http://eggroom.example/12", priority="critical", facts=NOTICE_FACTS
            ),
        ],
        attempts=[Attempt(1, "sent", "accepted", at(3), "owner")],
        events=[
            Event(at(0), "node", "node-a", "came online"),
            Event(at(4), "clock", "site", "the clock was set"),
            Event(at(5), "opening", "setter-1", "opened for about 2 min, lowest 34.5 °C", Opened(2.0, 34.5)),
        ],
        reflags=[Reflag(PROBE, 1, 40_000, SUSPECT, FAIL)],
        handlings={"setter-1": HANDLING, "hatcher-1": None},
        coolings=[COOLING, Cooling("setter-2", (0,), 60.0, None, None, at(-10), until=at(0))],
        files={FILE: b"\x00\xffpicture"},
        outs=[OUT, Out("setter-1", at(-10), ended=at(0))],
        sites=[AS_FOUND, SITE_THEN],
        memory=Memory(1000.5, at(5), probes=(ProbeMemory(PROBE, None, 990.25, None, None),)),
        calibrations=[
            CALIBRATION,
            Calibration("node-a/low", at(0), rh_pct=by_salts([("sodium-chloride", 73.1)], 25.0)),
        ],
        entries=[
            (BATCH.id, entry(1, Weighing(26.49))),
            (BATCH.id, entry(2, Weighing(99.5, 10.0), egg=None, count=4, tray="A")),
            (BATCH.id, entry(3, Weighing(26.45), replaces=1)),
        ],
    )


def everything(history: ports.Record) -> dict[str, Any]:
    """All that the read side can tell, as values that compare."""
    probes = [PROBE, "node-a/low", "node-b/low"]
    return {
        "series": {p: series_rows(history, p) for p in probes},
        "latest": history.latest(probes),
        "batches": history.batches(),
        "alarms": history.alarms(),
        "transitions": list(history.transitions()),
        "notices": history.notices(),
        "refused": history.refused(),
        "sites": history.sites(),
        "unknown": history.unknown(),
        "gaps": history.gaps(),
        "events": history.events(),
        "calibrations": history.calibrations(),
        "handlings": history.handlings(),
        "book": history.book(BATCH),
    }


def series_rows(history: BatchRecord, probe: str = PROBE, since: datetime = START - YEARS, until: datetime = START + YEARS) -> list[tuple[int, float | None, float | None, int, int]]:  # fmt: skip
    """A series as rows, with None for what is missing."""
    series = history.series(probe, since, until)
    assert series.at_ms.dtype == series.flag.dtype == series.rh_flag.dtype == np.dtype(np.int64)
    assert series.dry_bulb_c.dtype == series.rh_pct.dtype == np.dtype(np.float64)
    columns = [
        series.at_ms.tolist(),
        series.dry_bulb_c.tolist(),
        series.rh_pct.tolist(),
        series.flag.tolist(),
        series.rh_flag.tolist(),
    ]
    return [tuple(None if v != v else v for v in row) for row in zip(*columns, strict=True)]  # type: ignore[misc]


def labels(history: BatchRecord, probe: str = PROBE) -> list[int]:
    """The labels of a probe's readings, in ms after START."""
    return [row[0] - START_MS for row in series_rows(history, probe)]


class RecordSuite:
    """What every record does. The fixture `record` gives an empty one."""

    def test_an_empty_record(self, record: Record) -> None:
        """A new record starts a run from nothing, and tells of nothing."""
        loaded = record.ledger.load()
        for kept in (
            "lines",
            "numberings",
            "batches",
            "alarms",
            "unknown",
            "waiting",
            "handlings",
            "coolings",
            "outs",
            "files",
            "calibrations",
        ):
            assert not getattr(loaded, kept), kept
        assert loaded.newest is None
        assert loaded.memory is None
        assert record.ledger.last_site() is None
        assert (loaded.last_line, loaded.last_alarm_number, loaded.last_notice) == (0, 0, 0)
        assert record.history.refused() == (0, [])
        assert [v for k, v in everything(record.history).items() if k not in ("series", "refused", "book")] == [[]] * 11
        assert record.history.book(BATCH) == EggBook(BATCH)

    def test_everything_comes_back(self, record: Record) -> None:
        """What a group holds is read back as it was written, by a record that was closed and opened since."""
        group = full_group()
        record.ledger.commit(group)
        history = record.again().history
        assert series_rows(history) == [
            (START_MS, 37.52, 52.4, PASS, PASS),
            (START_MS + 10_000, None, None, MISSING, MISSING),
            (START_MS + 20_000, 37.52, None, PASS, MISSING),
            (START_MS + 30_000, 85.0, 52.4, FAIL, PASS),
            (START_MS + 40_000, 37.52, 52.4, SUSPECT, FAIL),
        ]
        assert series_rows(history, "node-a/low") == [(START_MS + 10_000, -3.25, 0.0, PASS, PASS)]
        assert series_rows(history, "node-b/low") == []
        assert history.latest([PROBE, "node-b/low", "node-a/low"]) == [
            Latest(PROBE, at(40), 37.52, 52.4, SUSPECT, FAIL),
            Latest("node-a/low", at(10), -3.25, 0.0, PASS, PASS),
        ]
        assert history.batches() == [BATCH]
        assert history.alarms() == [group.transitions[1].alarm, group.transitions[0].alarm]
        assert list(history.transitions()) == [
            TransitionRow(1, at(0), "setter-1", "dry-bulb-high-alarm", 12, 3, NORMAL, UNACKNOWLEDGED, "beyond its limit", 39.4, 39.6, 38.6, at(-60), ""),
            TransitionRow(2, at(2), "node-b/low", "no-data", 13, 1, UNACKNOWLEDGED, SHELVED, "shelved for 20 min", None, None, None, at(-600), "Ada"),
        ]  # fmt: skip
        assert history.notices() == [
            NoticeRow(group.notices[1], "waiting", 0, "", None),
            NoticeRow(group.notices[0], "sent", 1, "accepted", at(3)),
        ]
        assert history.refused() == (1, group.refused)
        assert history.unknown() == list(group.unknown.values())
        assert history.gaps() == [
            Gap("node-a", 76, 5, 8, True),
            Gap("node-b", 2**31 + 5, 0, 1, False),
            Gap("node-b", 2**31 + 5, 4, 6, False),
        ]
        assert history.events() == group.events
        assert history.calibrations() == group.calibrations
        assert history.handlings() == [replace(HANDLING, until_mono_s=0.0)]

    def test_a_run_starts_from_what_was_kept(self, record: Record) -> None:
        """A new run gets its lines, numberings, batches, alarms, unknown probes, waiting notices and counters back."""
        group = full_group()
        record.ledger.commit(group)
        ledger = record.again().ledger
        loaded = ledger.load()
        assert loaded.lines == tuple(group.lines.values())
        assert loaded.numberings == {
            ("node-a", 77): Numbering(4),
            ("node-b", 2**31 + 5): Numbering(-1, ((2, 3), (7, 9))),
        }
        assert loaded.batches == (BATCH,)
        assert loaded.alarms == (group.transitions[1].alarm, group.transitions[0].alarm)
        assert loaded.unknown == tuple(group.unknown.values())
        assert loaded.waiting == (group.notices[1],)
        assert (loaded.last_line, loaded.last_alarm_number, loaded.last_notice) == (2, 13, 2)
        assert loaded.newest == at(1000)
        assert loaded.handlings == (replace(HANDLING, until_mono_s=0.0),)
        assert loaded.coolings == (COOLING,)
        assert loaded.outs == (OUT,)
        assert loaded.files == {FILE: 9}
        assert ledger.last_site() == SITE_THEN
        assert loaded.memory == group.memory
        assert loaded.calibrations == tuple(group.calibrations)
        assert loaded.books == (EggBook(BATCH, tuple(e for _, e in group.entries)),)

    def test_the_same_group_twice(self, record: Record) -> None:
        """Meeting a group again adds no reading, gap, batch, alarm or notice, and wakes no notice that was sent."""
        group = full_group()
        record.ledger.commit(group)
        first, loaded = everything(record.history), record.ledger.load()
        record.ledger.commit(group)
        second = everything(record.history)
        for kept in ("series", "latest", "batches", "alarms", "unknown", "gaps", "calibrations", "handlings", "book"):
            assert second[kept] == first[kept]
        assert [(row.notice, row.state) for row in second["notices"]] == [
            (row.notice, row.state) for row in first["notices"]
        ]
        assert record.ledger.load() == loaded

    def test_the_first_value_of_a_reading_stands(self, record: Record) -> None:
        """A second reading of the same probe, line and counted time changes nothing."""
        record.ledger.commit(Group(readings=[reading(5)], lines={1: line()}))
        record.ledger.commit(Group(readings=[reading(5, dry_bulb_c=20.0), reading(6, dry_bulb_c=36.0)]))
        assert [row[1] for row in series_rows(record.history)] == [37.52, 36.0]

    def test_a_flag_is_settled_later(self, record: Record) -> None:
        """A reflag changes both flags of its own reading and nothing else; one of a reading that is not there changes nothing."""
        held: dict[str, Any] = {"flag": NOT_EVALUATED, "rh_flag": NOT_EVALUATED}
        record.ledger.commit(Group(readings=[reading(5, **held), reading(6, **held)], lines={1: line()}))
        settled = Group(readings=[reading(7, **held)], reflags=[Reflag(PROBE, 1, 5_000, PASS, SUSPECT)])
        settled.reflags += [Reflag(PROBE, 1, 7_000, FAIL, PASS), Reflag(PROBE, 1, 8_000, FAIL, FAIL)]
        settled.reflags += [Reflag("node-a/nobody", 1, 5_000, FAIL, FAIL), Reflag(PROBE, 2, 5_000, FAIL, FAIL)]
        record.ledger.commit(settled)
        record.ledger.commit(Group(readings=[reading(5, **held)]))
        assert [(row[1], row[2], *row[3:]) for row in series_rows(record.again().history)] == [
            (37.52, 52.4, PASS, SUSPECT),
            (37.52, 52.4, NOT_EVALUATED, NOT_EVALUATED),
            (37.52, 52.4, FAIL, PASS),
        ]

    def test_handlings_stand_until_they_are_over(self, record: Record) -> None:
        """A machine has one handling that stands; a later form of it, one after it and its end are all in the history."""
        first = Handling("setter-1", at(0), at(1200), 2200.0, "Ada")
        other = Handling("setter-2", at(5), at(600), 1600.0, "")
        again = Handling("setter-1", at(900), at(2700), 3700.0, "Ben")
        early = replace(again, until=at(1000), until_mono_s=2000.0)

        def kept(*handlings: Handling) -> list[Handling]:
            return [replace(h, until_mono_s=0.0) for h in handlings]

        record.ledger.commit(Group(handlings={"setter-1": first, "setter-2": other}))
        record = record.again()
        assert record.ledger.load().handlings == tuple(kept(first, other))
        record.ledger.commit(Group(handlings={"setter-1": again, "setter-2": None, "hatcher-1": None}))
        record = record.again()
        assert record.ledger.load().handlings == tuple(kept(again))
        assert record.history.handlings() == kept(replace(first, until=at(900)), other, again)
        record.ledger.commit(Group(handlings={"setter-1": early}))
        record.ledger.commit(Group(handlings={"setter-1": None}))
        record = record.again()
        assert record.ledger.load().handlings == ()
        assert record.history.handlings() == kept(replace(first, until=at(900)), other, early)

    def test_what_is_out_of_service_is_so_until_it_is_put_back(self, record: Record) -> None:
        """A probe or a machine is out of service at the next start, with its end, until it is put back; its end may be another one meanwhile."""
        assert record.ledger.load().outs == ()
        record.ledger.commit(Group(outs=[OUT, replace(OUT, subject="setter-1", until=None)]))
        record.ledger.commit(Group(outs=[replace(OUT, until=at(7200))]))
        record = record.again()
        kept = {out.subject: out for out in record.ledger.load().outs}
        assert kept == {
            OUT.subject: replace(OUT, until=at(7200)),
            "setter-1": replace(OUT, subject="setter-1", until=None),
        }
        record.ledger.commit(Group(outs=[replace(OUT, ended=at(200))]))
        assert [out.subject for out in record.again().ledger.load().outs] == ["setter-1"]

    def test_a_file_is_kept_once(self, record: Record) -> None:
        """By what is in it: what comes again under the same name changes nothing, and what never came is not there."""
        record.ledger.commit(Group(files={FILE: b"first"}))
        record.ledger.commit(Group(files={FILE: b"other", FILE[::-1]: b""}))
        record = record.again()
        assert record.history.file(FILE) == b"first"
        assert record.ledger.load().files == {FILE: 5, FILE[::-1]: 0}
        assert record.history.file("a" * 64) is None

    def test_coolings_stand_until_they_are_ended(self, record: Record) -> None:
        """A cooling of each day is there at the next start until one takes its place, or it is ended."""
        again = replace(COOLING, at_min=(600,), to_c=None, days=None, since=at(100))
        record.ledger.commit(Group(coolings=[COOLING]))
        record.ledger.commit(Group(coolings=[replace(COOLING, until=at(100)), again]))
        record = record.again()
        assert record.ledger.load().coolings == (again,)
        record.ledger.commit(Group(coolings=[replace(again, until=at(200))]))
        assert record.again().ledger.load().coolings == ()

    def test_what_looked_at_which_machine_comes_back_as_it_was(self, record: Record) -> None:
        """In order, each with the instant from which it held; written twice it is there once."""
        for group in (Group(sites=[AS_FOUND]), Group(sites=[SITE_THEN]), Group(sites=[SITE_THEN])):
            record.ledger.commit(group)
        record = record.again()
        assert record.history.sites() == [AS_FOUND, SITE_THEN]
        assert record.ledger.last_site() == SITE_THEN

    def test_handlings_by_time(self, record: Record) -> None:
        """Handlings can be asked for by a time that they touch: from their end on, and before their beginning none."""
        every = [Handling("setter-1", at(n * 100), at(n * 100 + 60), 0.0, "Ada") for n in range(4)]
        for handling in every:
            record.ledger.commit(Group(handlings={"setter-1": handling}))
        assert record.history.handlings(at(160), at(300)) == every[1:3]
        assert record.history.handlings(at(161), at(301)) == every[2:]
        assert record.history.handlings(until=at(100)) == every[:1]
        assert record.history.handlings(at(360)) == every[3:]
        assert record.history.handlings(at(361)) == []

    def test_the_last_memory_stands(self, record: Record) -> None:
        """A memory takes the place of the one before; a group without one leaves it."""
        memories = [Memory(float(n), at(n), probes=(ProbeMemory(PROBE, None, float(n), None, None),)) for n in range(3)]
        for memory in memories:
            record.ledger.commit(Group(memory=memory))
        record.ledger.commit(Group(events=[Event(at(9), "node", "node-a", "came online")]))
        assert record.again().ledger.load().memory == memories[-1]

    def test_calibrations_in_the_order_they_were_added(self, record: Record) -> None:
        """Calibrations stay, each once, in the order in which they were added, whenever they were made."""
        later = Calibration(PROBE, at(60), dry_bulb_c=by_offset("dry_bulb_c", -0.125))
        same_day = Calibration(PROBE, at(-10), at(-3600), rh_pct=by_offset("rh_pct", 1.5))
        for calibration in (later, CALIBRATION, later, same_day, CALIBRATION):
            record.ledger.commit(Group(calibrations=[calibration]))
        assert record.history.calibrations() == [later, CALIBRATION, same_day]
        assert record.again().ledger.load().calibrations == (later, CALIBRATION, same_day)

    def test_a_mended_line_moves_every_label(self, record: Record) -> None:
        """A better offset of one line moves all its readings, and those of no other line."""
        record.ledger.commit(
            Group(
                readings=[reading(0), reading(10), reading(500, line=2)],
                lines={1: line(), 2: line(2, boot=78)},
            )
        )
        assert labels(record.history) == [0, 10_000, 500_000]
        record.ledger.commit(Group(lines={1: line(offset_ms=START_MS - 250)}))
        assert labels(record.history) == [-250, 9_750, 500_000]
        record.ledger.commit(Group(lines={1: line(offset_ms=START_MS + 1_000_000)}))
        assert labels(record.history) == [500_000, 1_000_000, 1_010_000]
        assert record.history.latest([PROBE])[0].at == at(1010)
        assert [row[0] for row in series_rows(record.history, PROBE, at(999), at(1005))] == [START_MS + 1_000_000]

    def test_a_window_has_its_first_instant_and_not_its_last(self, record: Record) -> None:
        """since <= label < until, to the millisecond, also for instants between milliseconds."""
        record.ledger.commit(Group(readings=[reading(s) for s in (1, 2, 3)], lines={1: line()}))
        little = timedelta(microseconds=1)

        def found(since: datetime, until: datetime) -> list[int]:
            return [(row[0] - START_MS) // 1000 for row in series_rows(record.history, PROBE, since, until)]

        assert found(at(1), at(3)) == [1, 2]
        assert found(at(1) + little, at(3) + little) == [2, 3]
        assert found(at(1) - little, at(3) - little) == [1, 2]
        assert found(at(2), at(2)) == []

    def test_readings_beyond_their_lines_range_are_found(self, record: Record) -> None:
        """A late sample outside the range that its line names is in the window of its own label."""
        part = line(from_up_ms=5_000, first_up_ms=5_000, last_up_ms=6_000)
        record.ledger.commit(Group(readings=[reading(1), reading(5), reading(60)], lines={1: part}))
        record.ledger.commit(Group(readings=[reading(90)]))
        heard = replace(part, mono_offset_ms=-500.0, seen_mono_ms=1000.0, set_mono_ms=900.0)
        record.ledger.commit(Group(lines={1: heard}))
        assert [row[0] - START_MS for row in series_rows(record.history, PROBE, at(0), at(2))] == [1_000]
        assert [row[0] - START_MS for row in series_rows(record.history, PROBE, at(59), at(91))] == [60_000, 90_000]
        (kept,) = record.ledger.load().lines
        assert kept == replace(part, first_up_ms=1_000, last_up_ms=90_000)  # and nothing of an earlier run's clock

    def test_series_and_latest_agree_with_the_readings(self, record: Record) -> None:
        """Over many lines that overlap, every window holds exactly the readings that lie in it, in order; the newest is the newest."""
        draw = random.Random(4)
        truth: dict[str, dict[int, float]] = {f"node-a/p{i}": {} for i in range(3)}
        for id_ in range(1, 25):
            offset_ms = START_MS + draw.randrange(0, 200_000) * 7
            group = Group(lines={id_: line(id_, boot=id_ // 3, offset_ms=offset_ms, first_up_ms=0, last_up_ms=0)})
            for probe, values in truth.items():
                for _ in range(draw.randrange(0, 12)):
                    up_ms, value = draw.randrange(0, 100_000), draw.uniform(20, 40)
                    if offset_ms + up_ms not in values:  # one reading an instant, so that there is one right answer
                        values[offset_ms + up_ms] = value
                        group.readings.append(StoredReading(probe, id_, up_ms, value, None, PASS))
            record.ledger.commit(group)
        assert min(len(values) for values in truth.values()) > 50
        for _ in range(60):
            low, high = sorted(START_MS + draw.randrange(0, 1_600_000) for _ in range(2))
            for probe, values in truth.items():
                rows = series_rows(record.history, probe, from_ms(low), from_ms(high))
                assert [(row[0], row[1]) for row in rows] == sorted(
                    (k, v) for k, v in values.items() if low <= k < high
                )
        for probe, values in truth.items():
            (latest,) = record.history.latest([probe])
            assert (to_ms(latest.at), latest.dry_bulb_c) == max(values.items())

    def test_the_newest_reading_on_a_line_begun_earlier(self, record: Record) -> None:
        """The newest reading is told though its line was begun long before others of its node: one that sends its own clock."""
        clock = line(1, boot=CLOCK_BOOT, basis=CLOCK, last_up_ms=0)
        record.ledger.commit(Group(readings=[reading(0, dry_bulb_c=30.0)], lines={1: clock}))
        for id_ in range(2, 42):
            restart = line(id_, boot=id_, first_up_ms=id_ * 1000, last_up_ms=id_ * 1000)
            record.ledger.commit(Group(readings=[reading(id_, line=id_)], lines={id_: restart}))
        record.ledger.commit(Group(readings=[reading(900, dry_bulb_c=31.0)]))
        assert record.history.latest([PROBE]) == [Latest(PROBE, at(900), 31.0, 52.4, PASS, PASS)]

    def test_the_newest_reading_on_the_later_of_two_lines_of_a_clock(self, record: Record) -> None:
        """Where a node's own clock was set, its later line is looked at, and not its first."""
        first = line(1, boot=CLOCK_BOOT, basis=CLOCK, last_up_ms=5_000)
        later = line(2, boot=CLOCK_BOOT, basis=CLOCK, from_up_ms=6_000, first_up_ms=6_000, last_up_ms=6_000)
        record.ledger.commit(Group(readings=[reading(5, dry_bulb_c=30.0)], lines={1: first}))
        record.ledger.commit(Group(readings=[reading(6, line=2)], lines={2: later}))
        for id_ in range(3, 43):
            restart = line(id_, boot=id_, first_up_ms=id_ * 1000, last_up_ms=id_ * 1000)
            record.ledger.commit(Group(readings=[reading(id_, line=id_)], lines={id_: restart}))
        record.ledger.commit(Group(readings=[reading(900, line=2, dry_bulb_c=31.0)]))
        assert record.history.latest([PROBE]) == [Latest(PROBE, at(900), 31.0, 52.4, PASS, PASS)]

    def test_a_handling_that_is_over_stays_as_it_was(self, record: Record) -> None:
        """One that is over keeps its end, also where the clock was set back and the next one begins before it."""
        over, next_ = replace(HANDLING, since=at(10), until=at(20)), replace(HANDLING, since=at(5), until=at(8))
        for standing in (over, None, next_):
            record.ledger.commit(Group(handlings={"setter-1": standing}))
        ends = [(h.since, h.until) for h in record.history.handlings()]
        assert ends == [(at(5), at(8)), (at(10), at(20))]
        assert [h.since for h in record.ledger.load().handlings] == [at(5)]

    def test_whether_a_line_was_dated_under_a_right_clock(self, record: Record) -> None:
        """A line that was labelled while our clock was wrong is known as such by the next run, until it is labelled anew."""
        for trusted in (False, True, False):
            record.ledger.commit(Group(lines={1: line(trusted=trusted), 2: line(2, "node-b")}))
            record = record.again()
            assert [(li.id, li.trusted) for li in record.ledger.load().lines] == [(1, trusted), (2, True)]

    def test_a_line_that_was_dated_anew(self, record: Record) -> None:
        """A better label mends every reading of the line; the range of what it holds only ever grows."""
        record.ledger.commit(Group(readings=[reading(2)], lines={1: line(first_up_ms=2_000, last_up_ms=9_000)}))
        mended = line(offset_ms=START_MS + 500, from_up_ms=1_000, first_up_ms=5_000, last_up_ms=6_000)
        record.ledger.commit(Group(lines={1: mended}))
        record = record.again()
        assert labels(record.history) == [2_500]
        assert record.ledger.load().lines == (replace(mended, first_up_ms=2_000, last_up_ms=9_000),)

    def test_a_handling_that_is_declared_anew(self, record: Record) -> None:
        """One that begins with the same moment takes the place of the former, with its end and its name; one that is over can come again."""
        longer = replace(HANDLING, until=at(2000), by="Ben")
        for standing in (HANDLING, longer, None, replace(HANDLING, by="Eve")):
            record.ledger.commit(Group(handlings={"setter-1": standing}))
            record = record.again()
            kept = () if standing is None else (replace(standing, until_mono_s=0.0),)
            assert record.ledger.load().handlings == kept
            if standing is not None:
                assert record.history.handlings() == list(kept)

    def test_only_the_newest_boots_are_open_to_messages(self, record: Record) -> None:
        """A run gets all parts of each node's four newest boots by label; none that was dated by arrival."""
        lines = [
            line(i, boot=i, offset_ms=START_MS + shift * 1_000)
            for i, shift in enumerate((90_000, 1_000, 2_000, 3_000, 4_000), 1)
        ]
        parts = [line(6, boot=1, from_up_ms=1_000_001, last_up_ms=1_000_001), line(7, "node-b", boot=1)]
        arrival = line(8, boot=ARRIVAL_BOOT, basis=ARRIVAL, offset_ms=START_MS + 10**9)
        for each in [*lines, *parts, arrival]:
            record.ledger.commit(Group(lines={each.id: each}))
        loaded = record.again().ledger.load()
        assert [li.id for li in loaded.lines] == [1, 3, 4, 5, 6, 7]
        assert loaded.last_line == 8
        assert loaded.newest == from_ms(arrival.at_ms(arrival.last_up_ms))

    def test_only_so_many_numberings_of_a_node(self, record: Record) -> None:
        """A node that restarted a thousand times costs a new run no more than its newest 64 boots; other nodes keep theirs."""
        record.ledger.commit(Group(numberings={("node-b", 5): Numbering(9)}))
        for boot in range(100):
            record.ledger.commit(Group(numberings={("node-a", 1000 - boot): Numbering(boot)}))
        record.ledger.commit(Group(numberings={("node-a", 950): Numbering(51)}))
        loaded = record.again().ledger.load().numberings
        assert loaded.pop(("node-b", 5)) == Numbering(9)
        kept = {("node-a", 1000 - boot): Numbering(boot + (boot == 50)) for boot in range(36, 100)}
        assert list(loaded.items()) == list(
            kept.items()
        )  # in the order in which they began: a run forgets the first of them

    def test_the_numbers_on_eggs_that_were_split_off(self, record: Record) -> None:
        """A batch whose eggs are not numbered from 1 keeps their numbers, and which batch they were set in."""
        off = replace(BATCH, id="off", eggs=3, numbers=(3, 4, 7), split_from=BATCH.id)
        record.ledger.commit(Group(batches={BATCH.id: BATCH, "off": off}))
        assert {b.id: b for b in record.again().history.batches()} == {BATCH.id: BATCH, "off": off}

    def test_how_readings_were_dated(self, record: Record) -> None:
        """Each way once, of that node and that time: both ends of a line count as its readings do."""
        lines = [
            line(1),
            line(2, boot=12),
            line(3, boot=13, basis=CLOCK),
            line(4, boot=14, trusted=False),
            line(5, node="node-z", basis=ARRIVAL),
        ]
        record.ledger.commit(Group(lines={each.id: each for each in lines}))
        told = record.history.labelled("node-a", at(0.0), at(10.0))
        assert told == [Labelled(CLOCK, True), Labelled(UPTIME, True), Labelled(UPTIME, False)]
        first, last = from_ms(START_MS), from_ms(START_MS + 1_000_000)
        step = timedelta(milliseconds=1)
        assert record.history.labelled("node-z", last, last + step) == [Labelled(ARRIVAL, True)]
        assert record.history.labelled("node-z", last + step, last + 2 * step) == []
        assert record.history.labelled("node-z", first - step, first) == []

    def test_a_batch_that_moves_on(self, record: Record) -> None:
        """A batch's later form takes the place of the former, with fewer or more stays and stages; order is by set time."""
        earlier = Batch("autumn-1", "emu", at(-10 * 86_400))
        record.ledger.commit(Group(batches={BATCH.id: BATCH}))
        record.ledger.commit(Group(batches={earlier.id: earlier}))
        later = replace(BATCH, stays=(Stay("setter-2", at(-86_400), at(0)),), declared=(), closed_at=at(0), eggs=None)
        record.ledger.commit(Group(batches={BATCH.id: later}))
        assert record.history.batches() == [earlier, later]
        assert record.again().ledger.load().batches == (earlier, later)

    def test_the_last_transition_is_the_alarm(self, record: Record) -> None:
        """An alarm is as its newest transition left it, but for a pending delay; each transition stays on its own."""
        begun, other = raised(), raised(14, subject="setter-2")
        seen = Transition(
            replace(begun.alarm, acknowledged=True, pending_mono_s=1010.0, pending_at=at(5)),
            UNACKNOWLEDGED, "acknowledged", "acknowledged", at(9), 1009.0, "Ada",
        )  # fmt: skip
        record.ledger.commit(Group(transitions=[begun, other]))
        record.ledger.commit(Group(transitions=[seen]))
        kept = replace(begun.alarm, acknowledged=True)
        assert record.history.alarms() == [kept, other.alarm]
        assert record.again().ledger.load().alarms == (kept, other.alarm)

    def test_transitions_by_time_and_subject(self, record: Record) -> None:
        """Transitions can be asked for from an instant on, and of one subject, and come in the order they were written."""
        record.ledger.commit(Group(transitions=[replace(raised(n, f"setter-{n % 2}"), at=at(n)) for n in range(6)]))
        record = record.again()

        def numbers(**asked: Any) -> list[int]:
            return [row.number for row in record.history.transitions(**asked)]

        assert numbers() == [0, 1, 2, 3, 4, 5]
        assert numbers(since=at(3)) == [3, 4, 5]
        assert numbers(subject="setter-1") == [1, 3, 5]
        assert numbers(since=at(2), subject="setter-0") == [2, 4]
        assert numbers(until=at(2)) == [0, 1]
        assert numbers(since=at(1), until=at(4), subject="setter-1") == [1, 3]
        assert numbers(since=at(6)) == numbers(subject="nobody") == numbers(since=at(3), until=at(3)) == []

    def test_what_became_of_a_notice(self, record: Record) -> None:
        """Later keeps a notice waiting, failed and cancelled end it, sent is final; each try is counted, a cancelling is none."""
        record.ledger.commit(Group(notices=[notice(n) for n in (1, 2, 3, 4)]))
        record.ledger.commit(Group(attempts=[Attempt(n, "later", "no network", at(1), "owner") for n in (1, 2, 3)]))
        assert [n.id for n in record.ledger.load().waiting] == [1, 2, 3, 4]
        record.ledger.commit(
            Group(
                attempts=[
                    Attempt(1, "sent", "accepted", at(2), "owner"),
                    Attempt(2, "failed", "no such service", at(2), "owner"),
                    Attempt(4, "cancelled", "outbox full", at(2), "owner"),
                    Attempt(1, "later", "no network", at(3), "owner"),
                ]
            )
        )
        record = record.again()
        rows = record.history.notices()
        assert [(r.notice.id, r.state, r.attempts, r.last_detail, r.last_at) for r in rows] == [
            (4, "cancelled", 0, "outbox full", at(2)),
            (3, "waiting", 1, "no network", at(1)),
            (2, "failed", 2, "no such service", at(2)),
            (1, "sent", 3, "no network", at(3)),
        ]
        assert [r.notice.id for r in record.history.notices(limit=2)] == [4, 3]

    def test_notices_about_some_alarms(self, record: Record) -> None:
        """Notices can be asked for by the numbers of their alarms; the newest of those, and none where no number is given."""
        record.ledger.commit(Group(notices=[notice(n, alarm_number=n % 3) for n in range(1, 8)]))

        def ids(**asked: Any) -> list[int]:
            return [row.notice.id for row in record.history.notices(**asked)]

        assert ids(numbers={1}) == [7, 4, 1]
        assert ids(numbers=[2, 0, 99], limit=3) == [6, 5, 3]
        assert ids(numbers=()) == []

    def test_a_notice_met_twice(self, record: Record) -> None:
        """A notice whose dedupe is known already changes nothing, whatever its number."""
        record.ledger.commit(Group(notices=[notice(1)], attempts=[Attempt(1, "sent", "", at(1), "owner")]))
        record.ledger.commit(Group(notices=[notice(1, text="other"), notice(2, dedupe=notice(1).dedupe)]))
        assert [(r.notice, r.state) for r in record.history.notices()] == [(notice(1), "sent")]

    def test_a_gap_that_is_given_up_and_a_hole_that_is_filled(self, record: Record) -> None:
        """A hole is a gap until it is filled; one that was given up stays, as lost."""
        record.ledger.commit(Group(numberings={("node-a", 1): Numbering(3, ((6, 6), (9, 9)), 1.0)}))
        assert record.history.gaps() == [Gap("node-a", 1, 4, 5, False), Gap("node-a", 1, 7, 8, False)]
        given_up = Group(numberings={("node-a", 1): Numbering(6, ((9, 9),), 2.0)}, gaps=[Gap("node-a", 1, 4, 5, True)])
        record.ledger.commit(given_up)
        assert record.history.gaps() == [Gap("node-a", 1, 4, 5, True), Gap("node-a", 1, 7, 8, False)]
        record.ledger.commit(Group(numberings={("node-a", 1): Numbering(9)}))
        assert record.history.gaps() == [Gap("node-a", 1, 4, 5, True)]

    def test_refused_newest_first(self, record: Record) -> None:
        """Refused messages are counted for ever and shown newest first; of a huge payload 8 KiB are kept."""
        for n in range(5):
            rows = [RefusedRow(at(n), Refused(f"t/{n}", bytes([n]) * 9000, f"reason {n}"))]
            record.ledger.commit(Group(refused=rows))
        record = record.again()
        total, rows = record.history.refused(limit=2)
        assert total == 5
        assert [(r.at, r.refused.topic, r.refused.payload, r.refused.reason) for r in rows] == [
            (at(4), "t/4", b"\x04" * 8192, "reason 4"),
            (at(3), "t/3", b"\x03" * 8192, "reason 3"),
        ]
        assert record.history.refused(limit=0) == (5, [])

    def test_an_unknown_probe_is_kept_once(self, record: Record) -> None:
        """An unknown probe has one row, its newest."""
        record.ledger.commit(Group(unknown={"n/p": Unknown("n/p", at(0), at(0), 1, 20.0, 50.0)}))
        record.ledger.commit(Group(unknown={"n/p": Unknown("n/p", at(0), at(8), 2, None, 51.0)}))
        assert record.history.unknown() == [Unknown("n/p", at(0), at(8), 2, None, 51.0)]

    def test_events_the_newest_oldest_first(self, record: Record) -> None:
        """Of many events the newest are given, oldest first; or those from an instant on."""
        record.ledger.commit(Group(events=[Event(at(n), "node", "node-a", str(n)) for n in range(10)]))
        assert [e.text for e in record.history.events(limit=3)] == ["7", "8", "9"]
        assert [e.text for e in record.history.events(since=at(8))] == ["8", "9"]
        assert [e.text for e in record.history.events(since=at(2), limit=2)] == ["8", "9"]
        assert record.history.events(since=at(10)) == record.history.events(since=at(4), until=at(4)) == []
        assert [e.text for e in record.history.events(until=at(3))] == ["0", "1", "2"]
        assert [e.text for e in record.history.events(at(2), 3, until=at(7))] == ["4", "5", "6"]
        record.ledger.commit(Group(events=[Event(at(5), "node", "node-b", "other")]))
        assert [e.text for e in record.history.events(subject="node-b")] == ["other"]
        assert [e.text for e in record.history.events(at(4), until=at(6), subject="node-a")] == ["4", "5"]

    def test_rows_come_in_the_order_they_were_written(self, record: Record) -> None:
        """What has one time, or one that was set back in between, comes in the order of its writing; names come in theirs."""
        later = replace(raised(13, "setter-2"), at=at(-5))
        first, second = replace(BATCH, id="z-first"), replace(BATCH, id="a-second")
        record.ledger.commit(Group(transitions=[raised(12, "setter-9"), later], batches={"z-first": first}))
        record.ledger.commit(
            Group(
                batches={"a-second": second},
                events=[Event(at(0), "node", "node-a", text) for text in ("one", "two", "three")],
                unknown={probe: Unknown(probe, at(0), at(0), 1, 20.0, 50.0) for probe in ("z/p", "a/p")},
                gaps=[Gap("node-b", 1, 5, 8, True), Gap("node-a", 2, 9, 9, True), Gap("node-a", 2, 1, 2, True)],
                calibrations=[replace(CALIBRATION, at=at(n)) for n in (3, 1, 2)],
                handlings={"setter-2": replace(HANDLING, machine="setter-2"), "setter-1": HANDLING},
                notices=[notice(2), notice(1)],
            )
        )
        record.ledger.commit(Group(entries=[(first.id, entry(n, Note(str(n)))) for n in (3, 1, 2)]))
        again = record.again()
        history, loaded = again.history, again.ledger.load()
        assert [t.number for t in history.transitions()] == [12, 13]
        assert [b.id for b in history.batches()] == [b.id for b in loaded.batches] == ["z-first", "a-second"]
        assert [e.text for e in history.events()] == ["one", "two", "three"]
        assert [e.text for e in history.events(limit=2)] == ["two", "three"]
        assert [u.probe for u in history.unknown()] == [u.probe for u in loaded.unknown] == ["a/p", "z/p"]
        assert [(g.node, g.boot, g.first) for g in history.gaps()] == [
            ("node-a", 2, 1),
            ("node-a", 2, 9),
            ("node-b", 1, 5),
        ]
        assert [c.at for c in history.calibrations()] == [c.at for c in loaded.calibrations] == [at(3), at(1), at(2)]
        assert (
            [h.machine for h in history.handlings()]
            == [h.machine for h in loaded.handlings]
            == ["setter-1", "setter-2"]
        )
        assert [a.subject for a in history.alarms()] == [a.subject for a in loaded.alarms] == ["setter-2", "setter-9"]
        assert [n.notice.id for n in history.notices()] == [2, 1]
        assert [n.id for n in loaded.waiting] == [1, 2]
        assert [e.number for e in history.book(first).entries] == [1, 2, 3]
        assert [[e.number for e in book.entries] for book in loaded.books] == [[1, 2, 3]]

    def test_every_fact_of_an_egg_comes_back(self, record: Record) -> None:
        """Each kind of entry is read back as it was written, in the order of its numbers, of its own batch only."""
        other = replace(BATCH, id="other")
        entries = [entry(number, fact) for number, fact in enumerate(FACTS, 1)]
        assert {type(e.fact) for e in entries} == set(get_args(Fact))
        both = Group(batches={BATCH.id: BATCH, "other": other}, entries=[(BATCH.id, e) for e in entries])
        both.entries.append(("other", entry(1, Note("of another batch"), egg=None)))
        record.ledger.commit(both)
        again = record.again()
        assert again.history.book(BATCH) == again.ledger.book(BATCH) == EggBook(BATCH, tuple(entries))
        assert [e.fact for e in again.history.book(other).entries] == [Note("of another batch")]
        assert again.history.book(replace(BATCH, id="nobody")).entries == ()

    def test_how_much_is_written_of_each_batch(self, record: Record) -> None:
        """The number of the newest entry, and the latest at which any was written, whatever time it speaks of; of a batch without a word nothing."""
        first, last = entry(1, Hatched(), written_at=at(90)), entry(2, Note("x"), written_at=at(60), egg=None)
        other = ("other", entry(1, Note("of another"), written_at=at(30), egg=None))
        record.ledger.commit(Group(batches={BATCH.id: BATCH}, entries=[(BATCH.id, first), (BATCH.id, last), other]))
        assert record.again().history.written() == {BATCH.id: Written(2, at(90)), "other": Written(1, at(30))}

    def test_a_run_starts_with_the_books_of_open_batches(self, record: Record) -> None:
        """The book of a closed batch is not loaded, and can be asked for; a batch without a word has none to load."""
        shut, empty = replace(BATCH, id="shut", closed_at=at(0)), replace(BATCH, id="empty")
        group = Group(batches={b.id: b for b in (BATCH, shut, empty)})
        group.entries += [(BATCH.id, entry(1, Hatched())), ("shut", entry(1, Dead("late")))]
        record.ledger.commit(group)
        assert [book.batch.id for book in record.ledger.load().books] == [BATCH.id]
        assert [e.fact for e in record.ledger.book(shut).entries] == [Dead("late")]

    def test_two_entries_under_one_number_fail_loudly(self, record: Record) -> None:
        """The same entry again is a repeat; another one under its number raises, and not as a failure of the store."""
        first = Group(batches={BATCH.id: BATCH}, entries=[(BATCH.id, entry(1, Hatched()))])
        record.ledger.commit(first)
        record.ledger.commit(first)
        with pytest.raises(Exception, match=r"UNIQUE|two entries") as raised_:
            record.ledger.commit(Group(entries=[(BATCH.id, entry(1, Dead("late")))]))
        assert type(raised_.value).__name__ != "StoreFailure"
        assert [e.fact for e in record.history.book(BATCH).entries] == [Hatched()]

    def test_two_notices_under_one_number_fail_loudly(self, record: Record) -> None:
        """A mistake in numbering must not swallow a notice: it raises, and not as a failure of the store."""
        record.ledger.commit(Group(notices=[notice(1)]))
        with pytest.raises(Exception, match=r"UNIQUE|two notices") as raised_:
            record.ledger.commit(Group(notices=[notice(1, dedupe="13/1/owner")]))
        assert type(raised_.value).__name__ != "StoreFailure"


# The batch of BatchRecordSuite: in one machine, until UNTIL.
STAYING = replace(BATCH, stays=(Stay("setter-1", BATCH.set_at),))
UNTIL = at(3600)
Telling = Callable[..., BatchRecord]  # of groups, written one after another


class BatchRecordSuite:
    """What the reports of a batch are told, whatever tells it. The fixture `told` gives the port on groups, beside STAYING, whose
    probes are PROBE, node-a/low and node-b/low at setter-1."""

    def test_readings_are_cut_to_the_millisecond(self, told: Telling) -> None:
        """A reading counts from since on, and no more at until; raw, with what is missing, in the order of time, of its probe alone."""
        rows = [reading(n, dry_bulb_c=30.0 + n) for n in (3, 1, 2)]
        odd = [
            reading(4, dry_bulb_c=None, flag=MISSING),
            reading(5, rh_pct=None, rh_flag=MISSING),
            reading(6, flag=FAIL),
        ]
        other = reading(2, probe="node-a/low", dry_bulb_c=-3.25)
        history = told(Group(readings=[*rows, *odd, other], lines={1: line(last_up_ms=7000)}))
        assert series_rows(history) == [
            (START_MS + 1000, 31.0, 52.4, PASS, PASS),
            (START_MS + 2000, 32.0, 52.4, PASS, PASS),
            (START_MS + 3000, 33.0, 52.4, PASS, PASS),
            (START_MS + 4000, None, 52.4, MISSING, PASS),
            (START_MS + 5000, 37.52, None, PASS, MISSING),
            (START_MS + 6000, 37.52, 52.4, FAIL, PASS),
        ]
        assert series_rows(history, "node-a/low") == [(START_MS + 2000, -3.25, 52.4, PASS, PASS)]
        assert series_rows(history, "node-b/low") == series_rows(history, "nobody/top") == []
        hair = timedelta(microseconds=1)
        for since, until, seconds in (
            (at(2), at(4), [2, 3]),
            (at(2) + hair, at(4) + hair, [3, 4]),
            (at(2) - hair, at(4) - hair, [2, 3]),
            (at(3), at(3), []),
            (at(4), at(2), []),
        ):
            cut = series_rows(history, PROBE, since, until)
            assert [(row[0] - START_MS) / 1000 for row in cut] == seconds, (since, until)

    def test_events_of_a_time_and_of_one_subject(self, told: Telling) -> None:
        """Events come oldest first; of many the newest; from since on, before until; of one subject where it is asked for."""
        events = [Event(at(n), "opening", "setter-1", str(n)) for n in range(6)] + [Event(at(6), "node", "node-a", "6")]
        history = told(Group(events=events))

        def texts(*asked: Any, **more: Any) -> str:
            return "".join(e.text for e in history.events(*asked, **more))

        assert texts() == "0123456"
        assert texts(limit=2) == "56"
        assert texts(limit=0) == ""
        assert texts(at(2), until=at(4)) == "23"
        assert texts(at(1), 2, until=at(5)) == "34"
        assert texts(subject="node-a") == "6"
        assert texts(at(3), subject="setter-1") == "345"
        assert history.events()[1] == events[1]

    def test_handlings_that_reach_into_a_time(self, told: Telling) -> None:
        """A handling counts where it ended at since or later and began before until; oldest first."""
        first, second = replace(HANDLING, since=at(10), until=at(20)), replace(HANDLING, since=at(40), until=at(60))
        history = told(Group(handlings={"setter-1": first}), Group(handlings={"setter-1": second}))
        first, second = (replace(h, until_mono_s=0.0) for h in (first, second))
        assert history.handlings() == [first, second]
        assert history.handlings(at(20), at(40)) == [first]
        assert history.handlings(at(20.001), at(40.001)) == [second]
        assert history.handlings(until=at(10)) == history.handlings(at(60.001)) == []

    def test_calibrations_as_they_were_added(self, told: Telling) -> None:
        """Every calibration comes, whole, in the order in which they were added, not in that of their times."""
        made = [
            CALIBRATION,
            replace(CALIBRATION, at=at(-500)),
            Calibration("node-a/low", at(0), rh_pct=by_offset("rh_pct", 2.0)),
        ]
        assert told(Group(calibrations=made)).calibrations() == made

    def test_the_book_of_the_batch_and_of_no_other(self, told: Telling) -> None:
        """Each kind of entry comes back in the order of its numbers; a batch that nothing was written about has an empty book."""
        entries = [entry(number, fact) for number, fact in enumerate(FACTS, 1)]
        history = told(Group(entries=[(STAYING.id, e) for e in entries]))
        assert history.book(STAYING) == EggBook(STAYING, tuple(entries))
        assert history.book(replace(STAYING, id="nobody")).entries == ()
