"""The day of a batch is counted in one way: whatever says it says the same at the same minute."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from monitor.analysis.history.egg import EggPart
from monitor.analysis.history.felt import OPENING, Happening
from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.batch import Batch, Stay, closed, counted, day_words, declared, whole_day
from monitor.domain.readings.reading import to_ms
from monitor.domain.watch.view import machine_view
from monitor.service.reports.weighed import water_at
from monitor.service.watch.commands import batch_view
from monitor.shown.calendar import due_of
from monitor.shown.eggs import book_text, water_view
from monitor.shown.form import Shown
from monitor.shown.history.egg import end_line
from monitor.shown.history.felt import openings_per_day
from monitor.shown.needs.rules import rules_text, rules_view
from monitor.shown.now.room import room_text
from monitor.shown.terminal import batch_table, batch_text
from tests.domain.house import T0, Story, site

if TYPE_CHECKING:
    from monitor.domain.watch.view import RoomView

ZONE = ZoneInfo("CET")
SITE = replace(site(), zone=ZONE)
SAID = re.compile(r"\bday (-?\d+(?:\.\d)?)\b")
IN_LIST = re.compile(r"^hen-1 +hen +(-?\d+\.\d) ", re.MULTILINE)


def hens(set_at: datetime) -> Batch:
    return Batch("hen-1", "hen", set_at, 12, stays=(Stay("setter-1", set_at),))


def told(batch: Batch, at: datetime) -> Iterator[tuple[str, str]]:
    """(where, day) of everything that says on which day the batch is."""
    story = Story(SITE)
    story.at_s = (at - T0).total_seconds()
    story.put(batch)
    views = [batch_view(batch, at)]
    machine = SITE.machines["setter-1"]
    room: RoomView = {"machines": [machine_view(story.look(), "setter-1", str)], "others": []}
    book = EggBook(batch)
    water = water_at(SITE, book, at, stretches=[])
    part = EggPart(batch, 1, at, None, (), (), (), None, None, at, None, 19.5, SITE.zone)
    due = next(each for each in due_of(declared(batch, "lockdown", at), SITE.profiles["hen"]) if each.key == "lockdown")
    for where, text in {
        "a batch": batch_text(batch, SITE, at),
        "a batch that is closed": batch_text(closed(batch, at), SITE, at + timedelta(days=3)),
        "the room": room_text(room, SITE),
        "the rules in force": rules_text(rules_view(SITE, [batch], at, machines=[machine]), SITE),
        "the egg book": book_text(book, water, SITE, now=at),
        "one egg": end_line(part, Shown(ZONE, "C")),
        "the calendar": due.about,
    }.items():
        days = SAID.findall(text)
        assert days, where
        yield from ((where, day) for day in days)
    yield from (("the list of batches", day) for day in IN_LIST.findall(batch_table(views, SITE, at)))
    yield from ((where, f"{value:.3f}") for where, value in (("a program", views[0]["day"]), ("its water", water_view(water, SITE)["day"])))  # fmt: skip
    if at >= batch.set_at:
        ((day, _),) = openings_per_day([Happening(to_ms(at), OPENING, "setter-1", "opened")], batch.set_at)
        yield "the openings of a day", str(day)


SETS = {
    "in the morning": datetime(2026, 3, 2, 9, 0, tzinfo=ZONE),
    "ten minutes before midnight": datetime(2026, 3, 12, 23, 50, tzinfo=ZONE),
    "at midnight": datetime(2026, 3, 12, tzinfo=ZONE),
    "before the clocks go forward": datetime(2026, 3, 28, 23, 50, tzinfo=ZONE),
    "before the clocks go back": datetime(2026, 10, 24, 23, 50, tzinfo=ZONE),
}
MINUTES = (0, 1, 9, 10, 11, 129, 143, 144, 1296, 1367, 1368, 1436, 1437, 1438, 1439, 1440, 1441, 1450)


@pytest.mark.parametrize("set_at", SETS.values(), ids=SETS)
@pytest.mark.parametrize("days", [0, 1, 2, 16, 17])
def test_every_list_says_the_same_day(set_at: datetime, days: int) -> None:
    """Across midnight, a change of the clocks and the end of each day: each says the minutes that have passed, cut off to what it shows."""
    batch = hens(set_at.astimezone(UTC))
    for minutes in MINUTES:
        passed = days * 1440 + minutes
        said = list(told(batch, batch.set_at + timedelta(minutes=passed)))
        assert len(said) >= 11
        expected = {0: f"{passed // 1440}", 1: f"{passed // 144 / 10:.1f}", 3: f"{passed * 1000 // 1440 / 1000:.3f}"}
        wrong = {(where, day) for where, day in said if day != expected[len(day.partition(".")[2])]}
        assert wrong == set(), passed


def test_a_day_is_never_said_before_it_has_begun() -> None:
    """A second before day 18 is day 17 in whole days and 17.9 in tenths; at it both are 18; a second before the set is below 0."""
    set_at = datetime(2026, 3, 1, 22, 50, tzinfo=UTC)
    batch, begins = hens(set_at), set_at + timedelta(days=18)
    second = timedelta(seconds=1)
    assert [(whole_day(d), day_words(d), counted(d, 3)) for d in (batch.day(begins - second), batch.day(begins))] == [
        (17, "17.9", 17.999),
        (18, "18.0", 18.0),
    ]
    assert (whole_day(batch.day(set_at - second)), day_words(batch.day(set_at - second))) == (-1, "-0.1")


def test_what_a_program_was_given_says_the_same_day_again() -> None:
    """The words made from a day that was cut off for a program are those of the day itself, at every minute of a term."""
    for minutes in range(0, 22 * 1440, 7):
        day = minutes / 1440.0
        given = counted(day, 3)
        assert (whole_day(given), day_words(given)) == (minutes // 1440, f"{minutes // 144 / 10:.1f}")
