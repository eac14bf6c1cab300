"""What became of an egg after its hatch: where its chick was until when, and what is asked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.chicks import chick, chicks
from monitor.domain.eggs.doubts import doubts
from monitor.domain.eggs.entry import (
    Brooded,
    ChickMass,
    Dead,
    EggError,
    Entry,
    Fact,
    Hatched,
    Note,
    Removed,
    SignedOff,
    Weighing,
    Withdrawn,
)
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.refusal import Refusal

SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def day(number: float) -> datetime:
    return SET + timedelta(days=number)


def entry(at: float, fact: Fact, egg: int | None = 1, replaces: int | None = None) -> Entry:
    return Entry(day(at), day(at), "Mo", fact, egg, replaces=replaces)


def book(*entries: Entry) -> EggBook:
    made = EggBook(Batch("b-1", "chicken", SET, 10))
    for each in entries:
        made = add(made, each)
    return made


HATCHED = entry(21, Hatched())


def test_where_a_chick_was() -> None:
    """From one machine into the next, to its end; what was written afterwards moves nothing."""
    made = book(
        HATCHED,
        entry(21, ChickMass(40.0)),
        entry(22, Brooded("a")),
        entry(23, Brooded("b")),
        entry(25, SignedOff("out")),
    )
    found = chick(made, 1)
    assert found is not None
    assert found.hatched_at == day(21)
    assert found.stays == (Stay("a", day(22), day(23)), Stay("b", day(23), day(25)))
    assert found.within(day(22.5), day(23.5)) == (Stay("a", day(22.5), day(23)), Stay("b", day(23), day(23.5)))
    assert found.within(day(20), day(22)) == ()
    assert found.known_until == day(25)
    late = chick(add(made, entry(26, Brooded("c"))), 1)
    assert late is not None
    assert late.stays == found.stays


def test_a_chick_goes_on_until_its_end() -> None:
    """In its last machine; a death ends it as well; where only the hatch is written, or another egg's chick, there is none."""
    open_ = chick(book(HATCHED, entry(22, Brooded("a"))), 1)
    assert open_ is not None
    assert (open_.stays, open_.end) == ((Stay("a", day(22)),), None)
    dead = chick(book(HATCHED, entry(22, Brooded("a")), entry(24, Dead("after hatch"))), 1)
    assert dead is not None
    assert dead.stays == (Stay("a", day(22), day(24)),)
    only = book(HATCHED, entry(21, Hatched(), 2), entry(22, ChickMass(40.0), 2))
    assert chick(only, 1) is None
    assert [each.egg for each in chicks(only)] == [2]
    assert chicks(add(only, entry(22, Withdrawn(), 2, replaces=3))) == ()


@pytest.mark.parametrize(
    ("new", "line"),
    [
        (entry(22, ChickMass(40.0), None), "batch b-1: batch chick-mass: no egg, expected the number of one"),
        (
            Entry(day(22), day(22), "Mo", SignedOff(), count=3),
            "batch b-1: 3 eggs signed-off: no egg, expected the number of one",
        ),
        (entry(-1, Brooded("a")), "batch b-1: egg 1 brooder: 2026-02-28T08:00:00Z, before it was set"),
    ],
)
def test_what_cannot_be(new: Entry, line: str) -> None:
    """A chick is one egg's, and not older than its batch."""
    with pytest.raises(EggError) as raised:
        add(book(), new)
    assert str(raised.value).startswith(line)


WEIGHED, EGG = entry(22, ChickMass(40.0)), entry(20, Weighing(50.0))


@pytest.mark.parametrize(
    ("before", "new", "lines"),
    [
        ((HATCHED,), WEIGHED, []),
        ((), WEIGHED, ["egg 1 chick-mass: no hatch of it is written"]),
        ((HATCHED,), entry(20.5, Brooded("a")), ["egg 1 brooder: before it hatched (2026-03-22T08:00:00Z)"]),
        ((entry(20.5, Brooded("a")),), HATCHED, ["egg 1 hatched: and its chick was in a brooder before (2026-03-21T20:00:00Z)"]),
        ((WEIGHED,), HATCHED, []),
        ((HATCHED, entry(21.5, SignedOff())), WEIGHED, ["egg 1 chick-mass: after it was signed off (2026-03-22T20:00:00Z)"]),
        ((HATCHED, WEIGHED), entry(21.5, SignedOff()), ["egg 1 signed-off: and its chick was weighed after that (2026-03-23T08:00:00Z)"]),
        ((HATCHED, entry(21.5, Dead("after hatch"))), WEIGHED, ["egg 1 chick-mass: after it was dead (2026-03-22T20:00:00Z)"]),
        ((HATCHED, WEIGHED), entry(21.5, Dead("after hatch")), ["egg 1 dead: and its chick was weighed after that (2026-03-23T08:00:00Z)"]),
        ((WEIGHED,), entry(21, Dead("late")), ["egg 1 dead: and has a chick in the book"]),
        ((WEIGHED,), entry(21, Removed("broken")), ["egg 1 removed: and has a chick in the book"]),
        ((HATCHED, WEIGHED), entry(23, ChickMass(100.0)), []),
        ((HATCHED, WEIGHED), entry(23, ChickMass(105.0)), ["egg 1 chick-mass: 105 g at 2026-03-24T08:00:00Z, 40 g at 2026-03-23T08:00:00Z"]),
        ((HATCHED, WEIGHED), entry(23, ChickMass(27.9)), ["egg 1 chick-mass: 27.9 g at 2026-03-24T08:00:00Z, 40 g at 2026-03-23T08:00:00Z"]),
        ((HATCHED, WEIGHED), entry(23, ChickMass(28.1)), []),
        ((HATCHED, WEIGHED), entry(21, ChickMass(90.0)), ["egg 1 chick-mass: 40 g at 2026-03-23T08:00:00Z, 90 g at 2026-03-22T08:00:00Z"]),
        ((EGG, HATCHED), entry(21, ChickMass(51.0)), ["egg 1 chick-mass: the chick 51 g, its egg 50 g at 2026-03-21T08:00:00Z"]),
        ((EGG, HATCHED), entry(21, ChickMass(19.0)), ["egg 1 chick-mass: the chick 19 g, its egg 50 g at 2026-03-21T08:00:00Z"]),
        ((EGG, HATCHED), entry(21, ChickMass(36.0)), []),
        ((EGG, HATCHED), entry(24, ChickMass(60.0)), []),
        ((entry(21, Hatched()), entry(21.5, ChickMass(51.0))), EGG, ["egg 1 weighing: the chick 51 g, its egg 50 g at 2026-03-21T08:00:00Z"]),
    ],
)  # fmt: skip
def test_what_is_asked(before: tuple[Entry, ...], new: Entry, lines: list[str]) -> None:
    """A chick before its hatch or after its end, and a mass that is not like its others or its egg's; whichever is written first."""
    found = [str(Refusal("", words)) for words in doubts(book(*before), new)]
    assert found == lines


def test_a_note_is_asked_nothing() -> None:
    """Of a chick anything may be noted, whenever."""
    assert doubts(book(HATCHED, WEIGHED, entry(23, SignedOff())), entry(24, Note("flew"))) == ()
