"""Entries of the egg book for people and for programs."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.domain.alarms.alarm import NO_EGGS, Chattering, Shelved, Suppressed
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
    Sign,
    SignedOff,
    Size,
    Split,
    Turning,
    TurningStopped,
    Weighing,
    Withdrawn,
    fact_of,
)
from monitor.domain.eggs.view import entry_view
from monitor.domain.state.happened import WentOn
from monitor.shown.entries import said, went_on_words
from monitor.shown.phone.joined import NoticeWords
from tests.told import HOUSE

AT = datetime(2026, 3, 10, 23, 30, tzinfo=UTC)
BERLIN = ZoneInfo("Europe/Berlin")


def entry(fact: Fact, **subject: object) -> Entry:
    return Entry(AT, AT + timedelta(minutes=5), "Ada", fact, number=3, **({"egg": 7} | subject))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        (Laid(AT), "laid 11 Mar 2026"),
        (Laid(AT, 4), "laid 11 Mar 2026, stored 4 days"),
        (Laid(None, 2.5), "stored 2.5 days"),
        (
            Identity("P3", "A12", "B7", "2", "x7", AT, "B", "3", "17"),
            "pair P3, cock A12, hen B7, clutch 2, label x7, under a bird until 11 Mar 2026 00:30, tray B place 3, ring 17",
        ),
        (Identity(place="3"), "place 3"),
        (Attached("p.jpg", "0f" * 32, 840), "file p.jpg, 840 bytes"),
        (Attached("p.jpg", "0f" * 32, 12_400, "", 31), "file p.jpg, 12 kB, beside entry 31"),
        (Attached("p\x1b[2J.jpg", "0f" * 32, 2_450_000, "ring"), "file p [2J.jpg, 2.5 MB: ring"),
        (AirCell(4.5), "air cell 4.5 mm"),
        (AirCell(9.0, 14.0, 26.0), "air cell 9 to 14 mm, 26 mm across"),
        (Turning(5, 12.0), "turned 5 times in 12 h"),
        (Turning(1), "turned once in 24 h"),
        (TurningStopped("lockdown"), "stopped turning: lockdown"),
        (ChickMass(38.2), "chick 38.20 g"),
        (Brooded("brooder-1"), "chick in brooder-1"),
        (SignedOff(), "chick signed off"),
        (SignedOff("aviary 2"), "chick signed off: aviary 2"),
        (Identity(label="a\x1b[2J"), "label a [2J"),
        (Size(40.25, 30), "40.25 x 30 mm"),
        (Weighing(26.5), "26.50 g"),
        (Weighing(30.0, 3.5), "26.50 g (30 less 3.5 of the tray)"),
        (Candling("early dead"), "candled: early dead"),
        (Sign("internal pip"), "internal pip"),
        (Helped(), "assisted"),
        (Helped("by hand"), "assisted: by hand"),
        (Hatched(), "hatched"),
        (Dead("late"), "dead (late)"),
        (Removed("broken"), "removed: broken"),
        (Split("hen-1-b"), "went on as batch hen-1-b"),
        (Found("blood-ring"), "blood ring, death in days 2 to 4"),
        (Note("quiet"), "quiet"),
        (Note("a\x1b[2Jb\nc"), "a [2Jb c"),
        (Helped("a\tb"), "assisted: a b"),
        (LookAgain(AT, "a\x07b"), "look again 11 Mar 2026 00:30: a b"),
        (LookAgain(AT), "look again 11 Mar 2026 00:30"),
        (LookAgain(AT, "weak"), "look again 11 Mar 2026 00:30: weak"),
        (Withdrawn("typed twice"), "withdrawn: typed twice"),
    ],
)
def test_each_fact_in_words(fact: Fact, words: str) -> None:
    """What was found, with times on the wall clock of the site; and every fact comes back from its plain form."""
    assert said(entry(fact), BERLIN) == words
    view = json.loads(json.dumps(entry_view(entry(fact))))
    assert fact_of(view["kind"], view["fact"]) == fact


def test_several_eggs() -> None:
    """Of eggs without numbers it says how many, of a weighing what each weighs."""
    assert (
        said(entry(Weighing(231.5, 1.5), egg=None, count=4, tray="A"), UTC)
        == "4 eggs, 57.50 g each (231.5 less 1.5 of the tray)"
    )
    assert said(entry(Dead("early"), egg=None, count=3), UTC) == "3 eggs dead (early)"


def test_for_programs() -> None:
    """A plain mapping with RFC 3339 times, the same names as a request has, and nothing left out."""
    assert entry_view(entry(Candling("clear"), egg=None, count=2)) == {
        "number": 3,
        "at": "2026-03-10T23:30:00.000Z",
        "written_at": "2026-03-10T23:35:00.000Z",
        "by": "Ada",
        "egg": None,
        "count": 2,
        "tray": None,
        "kind": "candling",
        "fact": {"found": "clear"},
        "replaces": None,
    }


def test_why_an_alarm_changed_has_the_words_that_were_always_kept() -> None:
    """A text stands as it is; what has figures is put into words."""
    causes = ("beyond its limit", Shelved(90.0), Suppressed(NO_EGGS), Chattering(3))
    words = ["beyond its limit", "shelved for 1.5 min", "suppressed: no eggs in it", "chattering: 3 times"]
    assert [NoticeWords(HOUSE).cause(cause) for cause in causes] == words


def test_eggs_that_went_on_are_told_alike() -> None:
    """One by itself, of the batch that it left so many, and the same to the record."""
    assert said(entry(Split("hen-1-b")), BERLIN) == "went on as batch hen-1-b"
    assert went_on_words("hen-1-b", 1) == "1 egg went on as batch hen-1-b"
    assert NoticeWords(HOUSE).happened(WentOn("hen-1-b", 3)) == "3 eggs went on as batch hen-1-b"
