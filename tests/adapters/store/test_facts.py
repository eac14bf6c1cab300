"""The facts of a notice in a row, and back."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, get_args
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.adapters.store import facts as facts_module
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.facts import (
    about_of_text,
    about_text,
    facts_text,
    happened_of_text,
    happened_text,
    today_text,
    told_of_text,
)
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.alarms.about import (
    ABSENT,
    KINDS,
    LATE,
    REFUSED,
    Apart,
    Astray,
    Away,
    Damaged,
    Disbelieved,
    EachDay,
    Fault,
    Heading,
    Losing,
    Moving,
    Overdue,
    Projection,
    Regained,
    Restarting,
    Seen,
    Setting,
    Switched,
    Unfit,
    Unheard,
    Unmet,
    Unrecorded,
    Unusable,
    Weighed,
)
from monitor.domain.alarms.about import Facts as AboutFacts
from monitor.domain.alarms.notice import Facts, Notice, Reach, Standing, Task, Today, Told
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.entry import Entry, Weighing
from monitor.domain.needs.profile import Band
from monitor.domain.readings.calibration import Correction, Point
from monitor.domain.readings.reading import from_ms
from monitor.domain.signs import seen as door
from monitor.domain.signs.seen import NotBack, Opened
from monitor.domain.signs.seen import Seen as SeenOfDoor
from monitor.domain.state import happened
from monitor.domain.state.record import Group
from monitor.shown.happened import happened_words, opening_words
from tests.told import WORDS, about

T0 = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
WHOLE = Facts(
    "batch hen-1 egg 7", "dry-bulb-low-alarm", still=True, over=True, unjudged="no eggs in it", quantity="dry_bulb_c",
    value=0.0, worst=-1.5, limit=36.25, band=Band(low_alarm=36.0, target=37.5), since=T0, ended=T0 + timedelta(minutes=3),
    about="weak, put back “in”", batches=(Told("hen-1", 0, "setter"), Told("hen-2", 18, "lockdown")), place="setter-1", doubtful=True, of_hens=True, range_c=(38.9, 40.1), respond_min=720.0,
)  # fmt: skip


@pytest.mark.parametrize("facts", [WHOLE, Facts("site", "all-silent"), None])
def test_facts_come_back_as_they_were(facts: Facts | None) -> None:
    """Every field, full or empty, a nought as a nought; none as none."""
    assert told_of_text(facts_text(facts)) == facts


@given(st.floats(-100, 100), st.integers(0, 4 * 10**12))
def test_figures_keep_every_bit_and_times_their_millisecond(value: float, at_ms: int) -> None:
    """Values come back exactly; times are those of the record, whole milliseconds."""
    facts = Facts("setter-1", "dry-bulb-high-alarm", quantity="dry_bulb_c", value=value, since=from_ms(at_ms))
    assert told_of_text(facts_text(facts)) == facts


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "7",
        "{}",
        "not json",
        '{"version": 3, "subject": "setter-1", "rule": "no-data"}',
        '{"version": 2, "subject": "setter-1", "rule": "no-data", "about": {"kind": "smell"}}',
        '{"version": 2, "subject": "setter-1", "rule": "no-data", "about": {"kind": "unheard"}}',
        '{"subject": "setter-1", "rule": "no-data"}',
        '{"version": 1, "rule": "no-data"}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "smell": "odd"}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "since": "yesterday"}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "since": 1e30}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "band": {"top": 3}}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "batches": [3]}',
    ],
)
def test_what_is_not_understood_is_none(text: str) -> None:
    """Another version's, a damaged one, one with something that is not known: none of it may keep the notice from being sent."""
    assert told_of_text(text) is None


def test_the_form_is_held() -> None:
    """What was written once is read for ever: the names and units of version 1."""
    assert json.loads(facts_text(WHOLE) or "") == {
        "version": 1, "subject": "batch hen-1 egg 7", "rule": "dry-bulb-low-alarm", "still": True, "over": True,
        "unjudged": "no eggs in it", "quantity": "dry_bulb_c", "value": 0.0, "worst": -1.5, "limit": 36.25,
        "band": {"low_alarm": 36.0, "low_warning": None, "target": 37.5, "high_warning": None, "high_alarm": None},
        "since": 1772344800000, "ended": 1772344980000, "about": "weak, put back “in”",
        "batches": [{"batch": "hen-1", "day": 0, "stage": "setter"}, {"batch": "hen-2", "day": 18, "stage": "lockdown"}],
        "place": "setter-1", "doubtful": True, "of_hens": True, "range_c": [38.9, 40.1], "respond_min": 720.0,
    }  # fmt: skip


MENDED = Projection(18.0, 16.6, 19.4, (11.0, 14.0), False, Setting(63.0, 30.9, 41.0, loss_pct=14.5))
SERVED = Projection(18.0, 16.6, 19.4, (11.0, 14.0), False, Setting(63.0, 30.9, served=6, eggs=7))
ENTRY = Entry(T0, T0 + timedelta(minutes=1), "Ada", Weighing(26.49, 1.5), egg=7, number=3)
BOUNDED = replace(
    SERVED, setting=Setting(45.0, 28.1, 52.0, loss_pct=13.2, do_pct=(31.0, 46.0), others=3, others_now=2, others_then=1)
)
ABOUT: dict[str, tuple[AboutFacts, ...]] = {
    "unfit": (Unfit("FLAT-T"),),
    "fault": (Fault("crc"), Fault("")),
    "unusable": (Unusable(LATE, 7200.5), Unusable(REFUSED, words="not JSON “{”"), Unusable(ABSENT)),
    "apart": (Apart(("node-a/top",), "dry_bulb_c", 0.8), Apart(("node-a/top", "node-a/low"), "rh_pct", 9.25, moved=True), Apart(("node-a/top", "node-a/low"), "dry_bulb_c", 0.3, outside=True, jumped="node-a/top", unmixed=True)),
    "restarting": (Restarting(4, 620.0),),
    "heading": (Heading(38.4, 39.0, 1800.5),),
    "unheard": (Unheard(3), Unheard(2, "broker")),
    "away": (Away(T0, 22_200.0), Away(T0, 22_200.0, (("setter-1", 24.1, 27.3), ("hatcher-1", None, None)))),
    "unrecorded": (Unrecorded("full"), Unrecorded("failing", unread=True)),
    "damaged": (Damaged("/data/eggroom.db", "eggroom.db.damaged-1"), Damaged("/d/e.db", "e.db.damaged-2", "malformed", ("batch", "stay")), Damaged("/d/e.db", "e.db.damaged-2", "malformed", ())),
    "regained": (
        Regained("/d/e.db", "record-gone", back=(("batch", 1), ("entry", 40))), Regained("/d/e.db", "record-exchanged", "e.db.found-1", whole=True),
    ),
    "switched": (
        Switched("node-a/door", "door"), Switched("node-a/mains", "mains", (("setter-1", 37.1, 37.4), ("hatcher-1", None, None)), warm=True),
    ),
    "disbelieved": (Disbelieved("node-a/door", "door", "silent"),),
    "overdue": (Overdue((("hen-1", 18), ("hen-2", 19))),),
    "each-day": (EachDay("goose-1", (485, 1080), 1800.0, 3),),
    "astray": (Astray((("hen-1", "setter-9"),)),),
    "unmet": (Unmet(("temperature", "humidity"), (("hen-1", 5, "setter"),), ("lost-1",)), Unmet(("lost-1",), (), ("lost-1",)),
              Unmet(("humidity",), (("a", 3, "setter"), ("b", 9, "lockdown")), (), (("a", ()), ("b", ("hatcher-1", "hatcher-2"))))),
    "seen": (Seen("weak “é”", ENTRY, T0), Seen("", None, T0)),
    "losing": (
        Losing(Weighed(egg=7), MENDED, (Weighed(egg=9), Weighed(tray="A"))), Losing(Weighed(), SERVED),
        Losing(Weighed(tray=""), replace(SERVED, setting=None)), Losing(Weighed(egg=7), BOUNDED),
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_what_an_alarm_is_about_comes_back_as_it_was(kind: str) -> None:
    """Each kind of fact, in a row of its own and in a notice; words need no facts, and stay what they are."""
    for told in ABOUT[kind]:
        assert about_of_text(about_text(told), "words") == told
        facts = Facts("setter-1", "no-data", about=told)
        assert told_of_text(facts_text(facts)) == facts
    assert (about_text("3 nodes"), about_of_text(None, "3 nodes")) == (None, "3 nodes")


@pytest.mark.parametrize(
    "text", ["", "{}", '{"version": 3, "about": {"kind": "unheard", "nodes": 3}}', '{"version": 2, "about": {"kind": "unheard", "ears": 3}}', '{"version": 2, "about": {"kind": "smell"}}', '{"version": 2, "about": {"kind": "seen", "why": "", "last": {}, "at": 0}}']
)  # fmt: skip
def test_facts_of_an_alarm_that_are_not_understood_leave_its_words(text: str) -> None:
    """Another version's, or a damaged one: the alarm stands, and is told in the words that stand beside."""
    assert about_of_text(text, "the words") == "the words"


SEEN: dict[str, SeenOfDoor] = {
    "opened for about 2 min, lowest 34.5 °C": Opened(2.0, 34.5),
    "opened for about 12 min, lowest -0.5 °C": Opened(12.0, -0.5),
    "not coming back after an opening: the temperature has not turned": NotBack(door.NOT_TURNED),
}


T = datetime(2026, 11, 24, 1, 14, tzinfo=UTC)
HAPPENED: dict[str, happened.Happened] = {
    "opened for about 2 min, lowest 34.5 °C": Opened(2.0, 34.5),
    "not coming back after an opening: not back in time": NotBack(door.LATE),
    "came online": happened.NodeSaid(True),
    "went offline (last will)": happened.NodeSaid(False),
    "message 5 of boot 7 came again with other values: two nodes of one name, or a boot number used again": happened.Clash(
        5, 7
    ),
    "boot 7: messages 6 to 8 never came": happened.NeverCame(7, 6, 8),
    "the clock was set by -3600.0 s": happened.ClockSet(-3600.0, mended=False),
    "the clock was set by +0.3 s, labels of this run mended": happened.ClockSet(0.3, mended=True),
    "the node's clock was set by +60 s, its readings are dated by its own count": happened.NodeClockSet(
        60.0, happened.BY_ITS_COUNT
    ),
    "the node's clock was set by +60 s, its readings are dated by ours": happened.NodeClockSet(60.0, happened.BY_OURS),
    "the node's clock was set by -60 s and agrees with ours": happened.NodeClockSet(-60.0, happened.AGREES),
    "nothing could be written down for 17 min; 1,204 readings were left out": happened.NotRecorded(1040.0, 1204),
    "nothing could be written down for 40 s": happened.NotRecorded(40.0, 0),
    "not tried yet": happened.Broker(happened.UNTRIED),
    "broker b:1: connected": happened.Broker(happened.CONNECTED, "b:1"),
    "broker b:1: connected; our own ping comes back again": happened.Broker(happened.HEARD_AGAIN, "b:1"),
    "broker b:1: connection refused, expected an MQTT broker; trying again": happened.Broker(
        happened.NOT_THERE, "b:1", "connection refused"
    ),
    "broker b:1: not authorized, expected a broker that lets us in; trying again": happened.Broker(
        happened.NO_ENTRY, "b:1", "not authorized"
    ),
    "broker b:1: may not listen to a/#, b, expected an account that may": happened.Broker(
        happened.NO_EAR, "b:1", "a/#, b"
    ),
    "broker b:1: connection lost (keep alive timeout), expected it to stay; trying again": happened.Broker(
        happened.LOST, "b:1", "keep alive timeout"
    ),
    "broker b:1: connected, but nothing comes back, expected our own ping within 30 s": happened.Broker(
        happened.UNHEARD, "b:1", "30"
    ),
    "broker b:1: connected, and put out again each time, expected to be alone under this name: eggroom runs twice for this site": happened.Broker(
        happened.TAKEN, "b:1"
    ),
    "broker b:1: the network thread had ended, expected it to run; started again": happened.Broker(
        happened.ENDED, "b:1"
    ),
    "what looks at which machine is written down from now on; all that was before is taken as it stands": happened.Arranged(),
    "node-a/top looks at setter-2 (before: setter-1); node-b/top looks at setter-1; node-c/top looks at hatcher-1 no longer": (
        happened.Arranged(
            (
                happened.Change("probe", "node-a/top", "setter-1", "setter-2"),
                happened.Change("probe", "node-b/top", "", "setter-1"),
                happened.Change("probe", "node-c/top", "hatcher-1", ""),
            )
        )
    ),
    "setter-3 is new, a setter; setter-1 is configured no longer; setter-2 is a hatcher (before: setter); the air of setter-2 is still"
    " (before: forced)": happened.Arranged(
        (
            happened.Change("machine", "setter-3", "", "setter"),
            happened.Change("machine", "setter-1", "setter", ""),
            happened.Change("kind", "setter-2", "setter", "hatcher"),
            happened.Change("air", "setter-2", "forced", "still"),
        )
    ),
    "node-a/top speaks each 10 s (before: 60 s); node-a/top hangs at low (before: not said); air pressure 95.50 kPa (before: 101.32 kPa);"
    " zone UTC (before: Europe/Berlin); the profile chicken has changed": happened.Arranged(
        (
            happened.Change("interval_s", "node-a/top", "60", "10"),
            happened.Change("position", "node-a/top", "", "low"),
            happened.Change("pressure_kpa", "", "101.32", "95.50"),
            happened.Change("zone", "", "Europe/Berlin", "UTC"),
            happened.Change("profile", "chicken", "", ""),
        )
    ),
    "set: hen": happened.SetOf("hen"),
    "moved to hatcher-1": happened.MovedTo("hatcher-1"),
    "stage lockdown declared": happened.StageSaid("lockdown"),
    "stage lockdown taken back": happened.StageSaid("lockdown", back=True),
    "lockdown began: the sign was seen": happened.Lockdown(happened.SIGN),
    "no lockdown: the sign was not seen": happened.Lockdown(happened.NO_SIGN),
    "lockdown declared: it was brought to a hatcher": happened.Lockdown(happened.HATCHER),
    "1 egg went on as batch hen-1-b": happened.WentOn("hen-1-b", 1),
    "split off hen-1": happened.OutOf("hen-1"),
    "closed": happened.Closed(),
    "opened again": happened.Closed(again=True),
    "removed by sam: hen, 24 eggs, set 2026-11-24T01:14Z": happened.Removed("hen", T, 24, by="sam"),
    "removed: hen, set 2026-11-24T01:14Z": happened.Removed("hen", T),
    "declared for 12.5 min by sam": happened.WorkBegun(12.5, "sam"),
    "declared for 30 min": happened.WorkBegun(30.0),
    "done by sam": happened.WorkDone("sam"),
    "cooled daily at 08:00 and 18:00 for 30 min by sam": happened.CoolingSaid(
        "goose-1", "08:00, 18:00", 30.0, by="sam"
    ),
    "cooled daily at 08:00 for 30 min, ended": happened.CoolingSaid("goose-1", "08:00", 30.0, ended=True),
    "cooled daily at 08:00 for 30 min to 30.0 °C, day 8 to 26, ended": happened.CoolingSaid(
        "goose-1", "08:00", 30.0, ended=True, to_c=30.0, first_day=8, last_day=26
    ),
    "done": happened.WorkDone(),
    "over, the air is back": happened.WorkOver(),
    "out of service until it is put back": happened.TakenOut(),
    "out of service until 2026-11-24T01:14Z by sam": happened.TakenOut(T, "sam"),
    "back in service by kim": happened.PutBack(by="kim"),
    "back in service, its time is over": happened.PutBack(over=True),
    "door open": happened.Turned("door", wrong=True),
    "mains back": happened.Turned("mains", wrong=False),
    "temperature +0.30 K by kim": happened.Calibrated(Correction(1.0, 0.3), by="kim"),
    "humidity 73.1 is 75.3 %RH (sodium-chloride)": happened.Calibrated(
        rh_pct=Correction(1.0, 2.2, (Point(73.1, 75.3, "sodium-chloride"),))
    ),
}


def test_all_that_can_happen_is_told_here() -> None:
    """Each kind of fact, so that none is without its words and its row."""
    assert (
        {type(what) for what in HAPPENED.values()} == set(happened.KINDS.values()) == set(get_args(happened.Happened))
    )


@pytest.mark.parametrize("words", HAPPENED)
def test_what_happened_comes_back_from_its_row_and_has_these_words(words: str) -> None:
    """As it was; and the words that are kept beside it, in °C and UTC, are those that were always kept."""
    what = HAPPENED[words]
    assert happened_of_text(happened_text(what), "any", said="whatever") == what
    assert happened_words(what) == words


def test_a_cooling_of_an_older_row_has_neither_days_nor_temperature() -> None:
    """As the first rows had it: what was not kept is not known, and the rest is."""
    row = '{"version": 2, "kind": "cooling said", "of": "goose-1", "hours": "08:00", "minutes": 30.0, "ended": false, "by": "sam"}'
    assert happened_of_text(row, "cooling", said="") == happened.CoolingSaid("goose-1", "08:00", 30.0, by="sam")


def test_what_happened_is_told_in_the_houses_unit_and_zone() -> None:
    """To people; the record and programs have °C and UTC."""
    berlin = ZoneInfo("Europe/Berlin")
    assert happened_words(happened.Removed("hen", T), "C", berlin) == "removed: hen, set 24 Nov 2026 02:14"
    assert happened_words(Opened(2.0, 34.5), "F", berlin) == "opened for about 2 min, lowest 94.1 °F"
    assert happened_words(happened.Calibrated(Correction(1.0, 0.3)), "F", berlin) == "temperature +0.54 °F"
    cooled = "cooled daily at 08:00 for 30 min to 86.0 °F"
    assert happened_words(happened.CoolingSaid("goose-1", "08:00", 30.0, to_c=30.0), "F", berlin) == cooled


def test_the_first_rows_of_a_door_that_was_seen_are_read() -> None:
    """They have no version, and the words of why."""
    row = '{"kind": "not back", "why": "the temperature has not turned"}'
    assert happened_of_text(row, "opening", said="") == NotBack(door.NOT_TURNED)
    assert happened_of_text('{"kind": "opened", "minutes": 2.0, "lowest_c": 34.5}', "opening", said="") == Opened(
        2.0, 34.5
    )
    ten = '{"kind": "not back", "why": "not back within 10 min"}'  # the time that a hold had then
    assert happened_of_text(ten, "opening", said="") == NotBack(door.LATE)


@pytest.mark.parametrize("words", SEEN)
def test_what_was_seen_of_a_door_comes_back_from_facts_and_from_words(words: str) -> None:
    """As facts it comes back as it was; of a row that has its words alone, they say the same; and the words made of it are these."""
    seen = SEEN[words]
    assert happened_of_text(happened_text(seen), "opening", said="whatever") == seen
    assert happened_of_text(None, "opening", said=words) == seen
    assert happened_of_text("{}", "opening", said=words) == seen
    assert opening_words(seen) == words
    assert (happened_text(None), happened_of_text(None, "opening", said="opened, 3 min")) == (None, None)
    assert happened_of_text(None, "note", said=words) is None


def test_the_form_of_what_an_alarm_is_about_is_held() -> None:
    """What was written once is read for ever: names and units of version 2."""
    losing = ABOUT["losing"][0]
    assert json.loads(about_text(losing) or "") == {
        "version": 2,
        "about": {
            "kind": "losing", "who": {"egg": 7, "tray": None}, "also": [{"egg": 9, "tray": None}, {"egg": None, "tray": "A"}],
            "where_to": {
                "pip_pct": 18.0, "low_pct": 16.6, "high_pct": 19.4, "window_pct": [11.0, 14.0], "on_track": False,
                "setting": {
                    "rh_pct": 63.0, "wet_bulb_c": 30.9, "now_pct": 41.0, "loss_pct": 14.5, "reachable": True, "served": None,
                    "eggs": None,
                },
            },
        },
    }  # fmt: skip
    assert json.loads(about_text(ABOUT["seen"][0]) or "")["about"] == {
        "kind": "seen", "why": "weak “é”", "at": 1772344800000,
        "last": {
            "at": 1772344800000, "written_at": 1772344860000, "who": "Ada", "kind": "weighing", "egg": 7, "count": None,
            "fact": {"gross_g": 26.49, "tare_g": 1.5, "error_g": None}, "tray": "", "replaces": None, "number": 3,
        },
    }  # fmt: skip


def test_what_a_restart_finds_unsent_is_joined_like_any_other(tmp_path: Path) -> None:
    """Six alarms that no phone has heard of are, for the next run, the same one message: its count, its first, its advice."""
    six = [about(n, f"Setter {n}", after_s=n) for n in range(1, 7)]
    opened = open_writer(tmp_path / "eggroom.db")
    SqliteLedger(opened.connection).commit(Group(notices=six))
    opened.close()
    opened = open_writer(tmp_path / "eggroom.db")
    waiting = SqliteLedger(opened.connection).load().waiting
    opened.close()
    assert list(waiting) == six
    told = WORDS.join(waiting)
    assert told == WORDS.join(six)
    assert told.title == "Urgent: 6 machines too hot"


def test_what_is_empty_is_left_out() -> None:
    """Neither none nor nought of words nor False is written; a value of 0 °C is."""
    bare = Facts("site", "all-silent")
    assert json.loads(facts_text(bare) or "") == {"version": 1, "subject": "site", "rule": "all-silent"}
    cold = replace(bare, value=0.0, limit=0.0)
    assert json.loads(facts_text(cold) or "") == {
        "version": 1, "subject": "site", "rule": "all-silent", "value": 0.0, "limit": 0.0,
    }  # fmt: skip


@pytest.mark.parametrize("kind", facts_module._COLUMNS, ids=lambda kind: kind.__name__)
def test_each_field_has_a_name_in_rows(kind: type[Any]) -> None:
    """A field without one would be lost on the way into a row, and two of one name on the way out."""
    columns = facts_module._COLUMNS[kind]
    assert list(columns.values()) == [field.name for field in fields(kind)]
    assert set(get_args(AboutFacts)) <= facts_module._COLUMNS.keys()


def test_a_notice_that_has_every_fact_comes_back() -> None:
    """Not a field is left at its default."""
    every = replace(
        WHOLE,
        move=Moving(("hen-1", "hen-2"), "hatcher-1"),
        of_hens=True,
        respond_min=240.0,
        times=3,
        reached=(Reach("sam", T0, None),),
        out=True,
        out_until=T0,
    )
    assert all(getattr(every, field.name) != field.default for field in fields(Facts))
    assert told_of_text(facts_text(every)) == every


@pytest.mark.parametrize(
    ("read", "text", "logged"),
    [
        (told_of_text, {"version": 1, "subject": "a", "rule": "b", "about": {"kind": "x" * 300}}, "facts of a notice"),
        (lambda text: about_of_text(text, "words"), {"version": 2, "about": {"kind": "x" * 300}}, "facts of an alarm"),
        (
            lambda text: happened_of_text(text, "opening", said="words"),
            {"kind": "opened", "x" * 300: 1},
            "facts of an event",
        ),
    ],
)
def test_what_is_not_understood_is_logged_in_one_short_line(
    read: Callable[[str], object], text: dict[str, object], logged: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Whose facts, and the first 120 characters of why: a damaged text must not fill the log."""
    read(json.dumps(text))
    (record,) = caplog.records
    assert (record.levelname, record.name) == ("WARNING", "eggroom.store")
    said, _, detail = record.getMessage().partition(" not understood detail=")
    assert said == logged
    assert len(detail) == 120


def test_letters_are_kept_as_they_are() -> None:
    """In all three forms, so that any program that looks into the record reads them."""
    for text in (facts_text(WHOLE), about_text(ABOUT["seen"][0]), happened_text(NotBack("“weak” é"))):
        assert text is not None
        assert "\\u" not in text
        assert "“" in text


TODAY = Today(
    (Task("candle", "hen-1", T0), Task("look", "hen-2", T0 + timedelta(hours=2), 7)),
    (Standing(5, WHOLE), Standing(6, Facts("setter-1", "humidity-high-warning", reached=(Reach("sam", T0, T0),)))),
)


def test_a_summary_comes_back_as_it_was() -> None:
    """What is to do and what stands, each with its facts; empty too."""
    out = (Out("setter-1", T0, T0 + timedelta(hours=2), "sam"), Out("node-a/top", T0))
    for what in (TODAY, Today(), Today(out=out), replace(TODAY, out=out), Today(standing=TODAY.standing)):
        assert told_of_text(today_text(what)) == what
    assert today_text(None) is None
    assert told_of_text(None) is None


def test_a_summary_that_waits_is_found_whole_by_the_next_run(tmp_path: Path) -> None:
    """What it says can then still be left out where it was answered meanwhile, and a notice of one alarm keeps its own facts."""
    summary = Notice(
        1, "0/1/sam", "sam", "low", "When you can: candle hen-1", "Today: candle hen-1.", T0, 0, today=TODAY
    )
    single = Notice(2, "5/2/sam", "sam", "high", "Urgent: Setter 1 dry", "44 %RH.", T0, 5, facts=WHOLE)
    with contextlib.closing(open_writer(tmp_path / "record.db")) as opened:
        ledger = SqliteLedger(opened.connection)
        ledger.commit(Group(notices=[summary, single]))
        assert ledger.load().waiting == (summary, single)


@pytest.mark.parametrize(
    "text", ['{"version": 2, "today": {}}', '{"version": 2, "today": {"tasks": [{"kind": 1}], "standing": []}}']
)
def test_a_summary_that_is_not_understood_has_its_words(text: str) -> None:
    """A damaged one, or another version's, keeps no message from being sent."""
    assert told_of_text(text) is None
