"""Eggs that go another way: both batches' records are whole, and nothing can be written into the wrong one."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add, knows, laid_at, looks, masses, outcome, standing
from monitor.domain.eggs.entry import (
    Candling,
    Dead,
    EggError,
    Entry,
    Hatched,
    Laid,
    LookAgain,
    Note,
    Split,
    Weighing,
    Withdrawn,
)
from monitor.domain.eggs.split import split
from monitor.domain.needs.batch import Batch, BatchError, Declared, Stay
from tests.domain.eggs.test_book import BATCH, SET, book, day, entry

HERE = replace(BATCH, stays=(Stay("setter-1", SET, day(6)), Stay("setter-2", day(6))))


def parted(
    made: EggBook, eggs: tuple[int, ...] = (), count: int | None = None, at: float = 10.0
) -> tuple[EggBook, EggBook]:
    return split(made, eggs, count=count, into="b-2", at=day(at), written_at=day(at), who="Mo")


def book_of(batch: Batch) -> EggBook:
    """Nothing is written in it."""
    return EggBook(batch)


def full() -> EggBook:
    """Two eggs weighed, one of them corrected, all laid on one day, one to be looked at again."""
    made = book(
        entry(0, Laid(stored_days=3.0)),
        entry(0, Weighing(20.0), 3),
        entry(5, Weighing(15.9), 3),
        entry(5, Weighing(19.5), 3, replaces=3),
        entry(0, Weighing(21.0), 4),
        entry(7, LookAgain(day(11), "weak"), 3),
        entry(7, Candling("alive"), count=10),
    )
    return replace(made, batch=HERE)


def test_the_eggs_take_their_record_along() -> None:
    """What stands about them, and when the batch was laid, is in their own book with its times and its writer, numbered anew."""
    old, new = parted(full(), (3,))
    assert [e.number for e in new.entries] == [1, 2, 3, 4]
    assert [type(e.fact) for e in new.entries] == [Laid, Weighing, Weighing, LookAgain]
    assert [m.mass_g for m in masses(new, 3)] == [20.0, 19.5]
    assert laid_at(new, 3) == laid_at(old, 3) == SET - timedelta(days=3)
    assert {e.who for e in new.entries} == {"Mo"}
    assert [e.written_at for e in new.entries] == [day(0), day(0), day(5), day(7)]


@pytest.mark.parametrize(("eggs", "count"), [((3,), None), ((), 4)])
def test_what_was_written_about_all_goes_along(eggs: tuple[int, ...], count: int | None) -> None:
    """A reminder to look at the whole batch stands for those that left too; one that was answered does not begin anew."""
    made = book(
        entry(1, LookAgain(day(2), "all")),
        entry(3, Note("all well")),
        entry(7, LookAgain(day(11), "air cells")),
        entry(7, Candling("alive"), count=5),
    )
    old, new = parted(replace(made, batch=HERE), eggs, count)
    assert [e.fact for e in looks(old)] == [e.fact for e in looks(new)] == [LookAgain(day(11), "air cells")]
    assert [e.fact.kind for e in new.entries] == ["look-again", "note", "look-again"]


def test_the_batch_they_become() -> None:
    """Set when the others were, where they were up to then, with the numbers that stand on the shells."""
    made = replace(full(), batch=replace(HERE, declared=(Declared("lockdown", day(9)), Declared("hatch", day(11)))))
    _, new = parted(made, (7, 3, 4))
    assert new.batch == Batch(
        "b-2",
        "bird",
        SET,
        3,
        "",
        HERE.stays,
        (Declared("lockdown", day(9)),),
        numbers=(3, 4, 7),
        split_from="b-1",
    )
    assert new.batch.numbers_words == "3-4, 7"
    assert [new.batch.has(egg) for egg in (1, 3, 4, 7)] == [False, True, True, True]
    _, earlier = parted(full(), (3,), at=5.0)
    assert earlier.batch.stays == (Stay("setter-1", SET),)
    for at, stays in ((6.0, HERE.stays), (0.0, (Stay("setter-1", SET),))):  # split as they were moved, or set
        assert parted(book_of(HERE), (3,), at=at)[1].batch.stays == stays
    declared_then = replace(HERE, declared=(Declared("lockdown", day(9)),))
    assert parted(book_of(declared_then), (3,), at=9.0)[1].batch.declared == declared_then.declared


def test_what_was_split_off_twice_is_of_the_first_clutch() -> None:
    """However often it is split: what was set as one batch is one clutch."""
    _, new = parted(full(), (3, 4))
    _, newer = split(new, (4,), count=None, into="b-3", at=day(11), written_at=day(11), who="Mo")
    assert [b.clutch for b in (HERE, new.batch, newer.batch)] == ["b-1"] * 3
    assert newer.batch.split_from == "b-1"


def test_the_batch_they_leave() -> None:
    """It has fewer eggs, keeps what was written of those that left, says where they went, and takes nothing more about them."""
    old, new = parted(full(), (3,))
    assert old.batch == replace(HERE, eggs=9, numbers=(1, 2, 4, 5, 6, 7, 8, 9, 10))
    assert (knows(old, 3), knows(old, 4), knows(old, 9), knows(old, 11)) == (True, True, True, False)
    end = outcome(old, 3)
    assert end is not None
    assert (end.fact, end.at, end.ends) == (Split("b-2"), day(10), True)
    assert [m.mass_g for m in masses(old, 3)] == [20.0, 19.5]
    assert looks(old) == ()
    assert [e.egg for e in looks(new)] == [3]
    with pytest.raises(EggError, match="batch b-1: egg 3 went on as batch b-2, expected that batch"):
        add(old, entry(21, Hatched(), 3))
    with pytest.raises(EggError, match="batch b-1: egg 3 went on as batch b-2, expected that batch"):
        add(old, entry(8, Weighing(19.0), 3))  # of before, found on a slip of paper
    assert add(new, entry(21, Hatched(), 3)).entries[-1].fact == Hatched()


def test_a_split_stands() -> None:
    """It cannot be withdrawn or put right: the egg would be in two batches."""
    old, _ = parted(full(), (3,))
    with pytest.raises(EggError, match="replaces a split, expected it to stand"):
        add(old, entry(12, Withdrawn(), 3, replaces=old.entries[-1].number))


def test_eggs_without_numbers() -> None:
    """So many of a batch whose eggs have no numbers: counted out of the one, and 1 to so many of the other."""
    old, new = parted(replace(book(), batch=HERE), count=4)
    assert (new.batch.eggs, new.batch.numbers, new.entries) == (4, (), ())
    assert [(e.fact, e.count) for e in standing(old)] == [(Split("b-2"), 4)]
    assert (old.batch.eggs, old.batch.numbers) == (6, ())
    with pytest.raises(EggError, match="7 eggs hatched: 7 eggs, expected 1 to 6"):
        add(old, Entry(day(21), day(21), "Mo", Hatched(), count=7))
    ended = add(old, Entry(day(21), day(21), "Mo", Hatched(), count=6))
    with pytest.raises(EggError, match="makes 7 eggs that ended, expected at most 6"):
        add(ended, Entry(day(21), day(21), "Mo", Dead("late"), count=1))


@pytest.mark.parametrize(
    ("eggs", "count", "at", "complaint"),
    [
        ((), None, 10, "batch b-1: neither eggs nor count came, expected one of them"),
        (
            tuple(range(1, 11)),
            None,
            10,
            "batch b-1: 10 of 10 eggs, expected fewer; to move all of them, move the batch",
        ),
        ((), 10, 10, "batch b-1: 10 of 10 eggs, expected fewer; to move all of them, move the batch"),
        ((3,), None, -1, "batch b-1: split at 2026-02-28T08:00:00Z is before it was set"),
        ((11,), None, 10, "batch b-1: egg 11, expected 1 to 10"),
    ],
)
def test_what_cannot_be_split(eggs: tuple[int, ...], count: int | None, at: float, complaint: str) -> None:
    """One line that says where, what came and what was expected."""
    with pytest.raises((BatchError, EggError)) as raised:
        parted(replace(book(), batch=HERE), eggs, count, at)
    assert str(raised.value) == complaint


def test_eggs_that_are_not_there_any_more() -> None:
    """Neither one that ended, nor one that went before; nor eggs of a closed batch."""
    ended = add(full(), entry(9, Hatched(), 5))
    with pytest.raises(EggError, match="egg 5 split: hatched already, expected eggs that have not ended"):
        parted(ended, (5,))
    last = add(replace(ended, batch=replace(HERE, eggs=6)), Entry(day(9), day(9), "Mo", Hatched(), count=5))
    with pytest.raises(EggError, match="egg 5 split: hatched already"):
        parted(last, (5,))
    old, _ = parted(full(), (3,))
    with pytest.raises(EggError, match="batch b-1: egg 3 went on as batch b-2"):
        split(old, (3,), count=None, into="b-3", at=day(11), written_at=day(11), who="Mo")
    with pytest.raises(BatchError, match="closed, expected an open batch"):
        parted(replace(full(), batch=replace(HERE, closed_at=day(22))), (3,))


def test_a_count_of_eggs_with_numbers() -> None:
    """Of eggs that are in the book by number nobody could tell which went: their numbers are asked for."""
    with pytest.raises(BatchError, match="batch b-1: 2 eggs, expected their numbers"):
        parted(full(), count=2)
    old, _ = parted(full(), (3, 4))
    assert split(old, (), count=2, into="b-3", at=day(11), written_at=day(11), who="Mo")[0].batch.eggs == 6


def test_a_chick_that_died_after_hatching_is_one_egg() -> None:
    """Of ten eggs four hatched, one of them died, and six may still go or stay."""
    made = replace(book(entry(20, Hatched(), count=4), entry(20.5, Dead("after hatch"), count=1)), batch=HERE)
    assert parted(made, count=5, at=21)[1].batch.eggs == 5
    with pytest.raises(BatchError, match="6 of 6 eggs"):
        parted(made, count=6, at=21)


def test_eggs_that_left_before_what_was_written_of_them() -> None:
    """A split that is written late ends a reminder all the same; and what was written of the egg meanwhile is not undone here."""
    old, new = parted(full(), (3,), at=6.0)
    assert (looks(old), len(looks(new))) == ((), 1)
    with pytest.raises(EggError, match="egg 3 went on as batch b-2, expected that batch"):
        add(old, entry(12, Withdrawn(), 3, replaces=4))


def test_a_batch_without_a_count() -> None:
    """Where nobody wrote how many were set, any of them can go."""
    made = EggBook(replace(HERE, eggs=None))
    _, new = parted(made, (3, 9))
    assert new.batch.eggs == 2


def test_eggs_with_numbers_of_their_own_are_split_again() -> None:
    """Who stays of eggs that had left another batch keeps the numbers on the shells, and no egg that was never among them."""
    _, new = parted(replace(book(), batch=HERE), (3, 5, 9))
    stay, left = split(new, (5,), count=None, into="b-3", at=day(11), written_at=day(11), who="Mo")
    assert stay.batch.numbers == (3, 9)
    assert left.batch.numbers == (5,)
