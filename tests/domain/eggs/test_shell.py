"""The air cell and the turning of an egg: what cannot be, and what is asked in whichever order it is written."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add, looks
from monitor.domain.eggs.doubts import doubts
from monitor.domain.eggs.entry import (
    AirCell,
    EggError,
    Entry,
    Fact,
    Hatched,
    LookAgain,
    Size,
    Turning,
    TurningStopped,
)
from monitor.domain.needs.batch import Batch
from monitor.domain.refusal import Refusal

SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def day(number: float) -> datetime:
    return SET + timedelta(days=number)


def entry(at: float, fact: Fact, egg: int | None = 1) -> Entry:
    return Entry(day(at), day(at), "Mo", fact, egg)


def book(*entries: Entry) -> EggBook:
    made = EggBook(Batch("b-1", "chicken", SET, 10))
    for each in entries:
        made = add(made, each)
    return made


@pytest.mark.parametrize(
    ("new", "line"),
    [
        (entry(5, AirCell(5.0), None), "batch b-1: batch air-cell: no egg, expected the number of one"),
        (
            Entry(day(5), day(5), "Mo", Turning(5), count=3),
            "batch b-1: 3 eggs turned: a count came, expected the number of one egg, or",
        ),
        (
            Entry(day(5), day(5), "Mo", TurningStopped(), count=3),
            "batch b-1: 3 eggs turning-stopped: a count came, expected",
        ),
    ],
)
def test_what_cannot_be(new: Entry, line: str) -> None:
    """An air cell is one egg's; eggs are turned by number, or all of them."""
    with pytest.raises(EggError) as raised:
        add(book(), new)
    assert str(raised.value).startswith(line)


CELL, SIZE, STOPPED = entry(10, AirCell(8.0)), entry(1, Size(57.0, 43.0)), entry(10, TurningStopped(), None)


@pytest.mark.parametrize(
    ("before", "new", "lines"),
    [
        ((CELL,), entry(14, AirCell(6.5)), []),
        ((CELL,), entry(14, AirCell(6.4)), ["egg 1 air-cell: 6.4 mm at 2026-03-15T08:00:00Z, 8 mm at 2026-03-11T08:00:00Z"]),
        ((CELL,), entry(7, AirCell(9.6)), ["egg 1 air-cell: 8 mm at 2026-03-11T08:00:00Z, 9.6 mm at 2026-03-08T08:00:00Z"]),
        ((CELL,), entry(14, AirCell(6.4, 12.0)), []),
        ((CELL,), entry(14, AirCell(3.0), 2), []),
        ((SIZE,), entry(18, AirCell(9.0, 57.5)), ["egg 1 air-cell: an air cell to 57.5 mm, in an egg 57 mm long"]),
        ((SIZE,), entry(18, AirCell(9.0, across_mm=43.5)), ["egg 1 air-cell: an air cell 43.5 mm across, in an egg 43 mm broad"]),
        ((entry(18, AirCell(9.0, 57.5, 30.0)),), SIZE, ["egg 1 size: an air cell to 57.5 mm, in an egg 57 mm long"]),
        ((SIZE,), entry(18, AirCell(9.0, 14.0, 26.0)), []),
        ((entry(21, Hatched()),), entry(22, AirCell(9.0)), ["egg 1 air-cell: seen after it was hatched (2026-03-22T08:00:00Z)"]),
        ((entry(22, AirCell(9.0)),), entry(21, Hatched()), ["egg 1 hatched: and its air cell was drawn after that (2026-03-23T08:00:00Z)"]),
        ((STOPPED,), entry(12, Turning(5), None), ["batch turned: turned after turning had stopped (2026-03-11T08:00:00Z)"]),
        ((STOPPED,), entry(12, Turning(0), None), []),
        ((STOPPED,), entry(9, Turning(5), None), []),
        ((entry(12, Turning(5), None),), STOPPED, ["batch turning-stopped: and turned after that (2026-03-13T08:00:00Z)"]),
        ((entry(9, Turning(5), None),), STOPPED, []),
        ((entry(9, Turning(5), None),), entry(9.95, Turning(4), None), []),
        ((entry(9, Turning(5), None),), entry(9.9, Turning(4), None), ["batch turned: counted already, 5 times in the 24 h to 2026-03-10T08:00:00Z"]),
        ((entry(9, Turning(5), None),), entry(8.1, Turning(4, 12.0), None), ["batch turned: counted already, 5 times in the 24 h to 2026-03-10T08:00:00Z"]),
        ((entry(9, Turning(5), None),), entry(9.4, Turning(4, 8.0), None), []),
    ],
)  # fmt: skip
def test_what_is_asked(before: tuple[Entry, ...], new: Entry, lines: list[str]) -> None:
    """An air cell that shrinks or has no room in its egg, turning that had stopped, a time counted twice; whichever is written first."""
    assert [str(Refusal("", words)) for words in doubts(book(*before), new)] == lines


def test_a_count_of_turns_looks_at_no_egg() -> None:
    """A reminder to look again stays, where an outline of the air cell answers it."""
    made = book(entry(1, LookAgain(day(2)), None), entry(3, Turning(5), None))
    assert len(looks(made)) == 1
    seen = book(entry(1, LookAgain(day(2))), entry(3, AirCell(5.0)))
    assert looks(seen) == ()
