"""Some eggs of a batch go another way: into a drier machine, or to the hatcher before the others. They become a batch of their own,
which takes along where they have been and what was written about them; the batch they leave keeps it too, up to then.

So a batch is always eggs that share a machine, and the record of each egg is whole: nobody has to write anything twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from monitor.domain.eggs.book import EggBook, add, numbers, standing, went_on
from monitor.domain.eggs.entry import Attached, EggError, Entry, Fact, Split
from monitor.domain.eggs.hatching import still_in
from monitor.domain.eggs.many import add_each
from monitor.domain.needs.batch import Batch, BatchError, Stay


def split(
    book: EggBook, eggs: Sequence[int], *, count: int | None, into: str, at: datetime, written_at: datetime, who: str
) -> tuple[EggBook, EggBook]:
    """(the book of the batch they leave, that of the batch they become), from `at` on.

    Parameters
        eggs: by number, or none and `count` of them without numbers. into: the name of the batch that they become.
    Raises
        BatchError, EggError: a closed batch, a time before it was set, eggs that are not there any more, or all that there are.
    """
    batch = book.batch
    if batch.closed_at is not None:
        raise BatchError(f"batch {batch.id}", "closed", "an open batch to split")
    if at < batch.set_at:
        raise BatchError(f"batch {batch.id}", ("split at ", at, " is before it was set"))
    if not eggs and count is None:
        raise BatchError(f"batch {batch.id}", "neither eggs nor count came", "one of them")
    if not eggs and any(went_on(book, egg) is None for egg in numbers(book)):
        # So many of them could be any: neither the eggs that stay nor what was written about those that go would be known.
        raise BatchError(
            f"batch {batch.id}", f"{count} eggs", "their numbers, for eggs of it are in the book by number"
        )
    if eggs:
        own, wrong = add_each(book, [Entry(at, written_at, who, Split(into), egg=egg) for egg in sorted(eggs)])
        if wrong:
            raise EggError("", wrong[0].words)
    else:
        own = add(book, Entry(at, written_at, who, Split(into), count=count))
    _, left = still_in(book)
    leave = len(eggs) or count or 0
    if left is not None and leave >= left:
        raise BatchError(f"batch {batch.id}", f"{leave} of {left} eggs", "fewer; to move all of them, move the batch")
    stay = replace(batch, eggs=None if batch.eggs is None else batch.eggs - leave, numbers=_others(batch, eggs))
    new = _batch(batch, into, numbers=tuple(sorted(eggs)), eggs=leave, at=at)
    return EggBook(stay, own.entries), EggBook(new, tuple(_taken(book, new)))


def _others(batch: Batch, eggs: Sequence[int]) -> tuple[int, ...]:
    """The numbers on the eggs that stay; none where they have none, or nobody wrote how many were set."""
    if not eggs or batch.eggs is None:
        return batch.numbers
    gone = frozenset(eggs)
    return tuple(egg for egg in batch.numbers or range(1, batch.eggs + 1) if egg not in gone)


def _batch(batch: Batch, into: str, *, numbers: tuple[int, ...], eggs: int, at: datetime) -> Batch:
    stays = [s if s.until is None or s.until <= at else Stay(s.machine, s.since) for s in batch.stays if s.since <= at]
    declared = tuple(d for d in batch.declared if d.at <= at)
    return replace(
        batch,
        id=into,
        eggs=eggs,
        numbers=numbers,
        note="",
        stays=tuple(stays),
        declared=declared,
        split_from=batch.clutch,
    )


def _taken(book: EggBook, new: Batch) -> list[Entry]:
    """What stands about these eggs, and about the whole batch, numbered anew: when it was laid, when to look at all of it again."""
    eggs = frozenset(new.numbers)
    found = [e for e in standing(book) if (e.egg in eggs if e.egg is not None else e.count is None)]
    found.sort(key=lambda e: e.number)
    numbers = {e.number: i for i, e in enumerate(found, start=1)}
    return [replace(e, number=numbers[e.number], replaces=None, fact=_beside(e.fact, numbers)) for e in found]


def _beside(fact: Fact, numbers: Mapping[int, int]) -> Fact:
    """A file lies beside its entry under that one's new number."""
    if not isinstance(fact, Attached) or fact.beside is None:
        return fact
    return replace(fact, beside=numbers.get(int(fact.beside)))
