"""Who an egg is: what of it counts, what cannot be, and what is asked beside the other eggs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add, identity, looks
from monitor.domain.eggs.doubts import doubts, shared
from monitor.domain.eggs.entry import (
    Dead,
    EggError,
    Entry,
    Fact,
    Hatched,
    Identity,
    Laid,
    LookAgain,
    Note,
    Removed,
    Withdrawn,
)
from monitor.domain.needs.batch import Batch
from monitor.domain.refusal import Refusal

SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def day(number: float) -> datetime:
    return SET + timedelta(days=number)


def entry(at: float, fact: Fact, egg: int | None = None, replaces: int | None = None) -> Entry:
    return Entry(day(at), day(at), "Mo", fact, egg, replaces=replaces)


def book(*entries: Entry) -> EggBook:
    made = EggBook(Batch("b-1", "chicken", SET, 10))
    for each in entries:
        made = add(made, each)
    return made


def asked(before: EggBook, new: Entry) -> list[str]:
    """What is asked of an entry, by itself and beside the other eggs."""
    after = add(before, new)
    written = after.entries[-1]
    return [str(Refusal("", words)) for words in (*doubts(before, written), *shared(after, [written]))]


def test_each_field_counts_as_it_was_said_last() -> None:
    """Of the egg itself before what all have in common, whichever was written first; what is not said stays as it was."""
    made = book(
        entry(0, Identity(pair="P1", label="a", tray="A", place="1"), 3),
        entry(1, Identity(pair="P9", clutch="2")),
        entry(2, Identity(tray="B"), 3),
    )
    assert identity(made, 3) == Identity(pair="P1", clutch="2", label="a", tray="B", place="1")
    assert identity(made, 4) == identity(made, None) == Identity(pair="P9", clutch="2")
    assert identity(book(), 3) is None
    gone = add(made, entry(3, Withdrawn(), 3, replaces=1))
    assert identity(gone, 3) == Identity(pair="P9", clutch="2", tray="B")


@pytest.mark.parametrize(
    ("before", "new", "line"),
    [
        ((), entry(0, Identity(label="a")), "batch b-1: batch identity: label and no egg, expected the number of one"),
        (
            (),
            entry(0, Identity(ring="a", pair="P1")),
            "batch b-1: batch identity: ring and no egg, expected the number of one",
        ),
        (
            (),
            Entry(day(0), day(0), "Mo", Identity(pair="P1"), count=3),
            "batch b-1: 3 eggs identity: a count came, expected",
        ),
        (
            (entry(0, Laid(day(-3)), 1),),
            entry(0, Identity(taken_at=day(-4)), 1),
            "batch b-1: egg 1 identity: under a bird until 2026-02-25T08:00:00Z, before it was laid (2026-02-26T08:00:00Z)",
        ),
        (
            (entry(0, Identity(taken_at=day(-4)), 1),),
            entry(0, Laid(day(-3)), 1),
            "batch b-1: egg 1 laid: laid 2026-02-26T08:00:00Z, after it was taken from under the bird (2026-02-25T08:00:00Z)",
        ),
        (
            (entry(0, Identity(taken_at=day(-4)), 1),),
            entry(0, Laid(stored_days=2)),
            "batch b-1: batch laid: laid 2026-02-27T08:00:00Z, after it was taken from under the bird (2026-02-25T08:00:00Z)",
        ),
    ],
)
def test_what_cannot_be(before: tuple[Entry, ...], new: Entry, line: str) -> None:
    """Nobody labels a whole batch as one egg, and no bird sat on an egg that was not laid; whichever is written first."""
    with pytest.raises(EggError) as raised:
        add(book(*before), new)
    assert str(raised.value).startswith(line)


RINGED = entry(22, Identity(ring="17"), 1)


@pytest.mark.parametrize(
    ("before", "new", "lines"),
    [
        ((), RINGED, ["egg 1 identity: ring 17, and no hatch of it is written"]),
        ((entry(21, Hatched(), 1),), RINGED, []),
        ((entry(22.5, Hatched(), 1),), RINGED, ["egg 1 identity: ring 17, before it hatched (2026-03-23T20:00:00Z)"]),
        ((RINGED,), entry(22.5, Hatched(), 1), ["egg 1 hatched: and had ring 17 before (2026-03-23T08:00:00Z)"]),
        ((RINGED,), entry(21, Hatched(), 1), []),
        ((RINGED,), entry(21, Dead("late"), 1), ["egg 1 dead: and has ring 17 (2026-03-23T08:00:00Z)"]),
        ((RINGED,), entry(21, Removed("broken"), 1), ["egg 1 removed: and has ring 17 (2026-03-23T08:00:00Z)"]),
        ((entry(21, Hatched(), 1), RINGED), entry(24, Dead("after hatch"), 1), []),
        ((), entry(1, Identity(taken_at=day(2)), 1), ["egg 1 identity: under a bird until 2026-03-03T08:00:00Z, which is still to come"]),
        ((entry(0, Identity(label="a"), 2),), entry(1, Identity(label="a"), 1), ["egg 1 identity: label a, which egg 2 has"]),
        ((entry(0, Identity(label="a"), 1),), entry(1, Identity(label="a", tray="B"), 1), []),
        ((entry(0, Identity(label="a"), 2),), entry(1, Identity(label="b"), 1), []),
        ((entry(0, Identity(pair="P 1"), 2),), entry(1, Identity(pair="p1"), 1), ["egg 1 identity: pair p1, and pair P 1 is written before"]),
        ((entry(0, Identity(pair="P1"), 2),), entry(1, Identity(cock="p1"), 1), []),
        (
            (entry(0, Identity(tray="A", place="3"), 2), entry(0, Identity(tray="A"), 1)),
            entry(1, Identity(place="3"), 1),
            ["egg 1 identity: tray A place 3, where egg 2 lies"],
        ),
        (
            (entry(0, Identity(tray="A", place="3"), 2), entry(7, Removed("clear"), 2)),
            entry(8, Identity(tray="A", place="3"), 1),
            [],
        ),
    ],
)  # fmt: skip
def test_what_is_asked(before: tuple[Entry, ...], new: Entry, lines: list[str]) -> None:
    """A ring without a chick, in whichever order it is written; one label, ring or place on two eggs; one name in two spellings."""
    assert asked(book(*before), new) == lines


def test_nobody_looked_at_an_egg_for_its_name() -> None:
    """A reminder to look again stays, where a note answers it."""
    made = book(entry(1, LookAgain(day(2)), 1), Entry(day(3), day(3), "Mo", Identity(tray="B"), 1))
    assert len(looks(made)) == 1
    assert looks(add(made, Entry(day(3), day(3), "Mo", Note("quiet"), 1))) == ()
