"""Many eggs of one batch written about at once, in a time that grows with what is written, and not also with all that was before."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from monitor.domain.eggs.book import EggBook, add, standing
from monitor.domain.eggs.entry import EggError, Entry, Identity, Laid
from monitor.domain.fixed import fixed
from monitor.domain.refusal import Words, joined

Odd = Callable[[EggBook, Entry], Sequence[Words]]


@fixed
class Wrong:
    """An entry that was not written, and why: it cannot be, or it is only odd and nobody said that it is sure."""

    entry: Entry
    words: Words
    only_odd: bool = False


def alone(book: EggBook) -> dict[int | None, EggBook]:
    """What bears on an entry about each egg: its own entries, when the batch was laid, and whose eggs they are; under None of an egg that has none."""
    laid: list[Entry] = []
    own: dict[int, list[Entry]] = {}
    # By number, or the next would be given one that a correction replaces, and not count.
    for entry in sorted(standing(book), key=lambda e: e.number):
        if entry.egg is not None:
            own.setdefault(entry.egg, []).append(entry)
        elif entry.count is None and isinstance(entry.fact, Laid | Identity):
            laid.append(entry)
    found: dict[int | None, EggBook] = {
        egg: EggBook(book.batch, tuple(sorted((*laid, *entries), key=lambda e: e.number)))
        for egg, entries in own.items()
    }
    return found | {None: EggBook(book.batch, tuple(laid))}


def add_each(book: EggBook, entries: Iterable[Entry], odd: Odd | None = None) -> tuple[EggBook, list[Wrong]]:
    """(the book with all of these in it, those that cannot be, each with why); where any cannot, the book is not to be used.

    Parameters
        entries: each about an egg by number, and none a correction. odd: what should be asked about one, beside its egg's own book.
    """
    own, number = alone(book), book.entries[-1].number if book.entries else 0
    new: list[Entry] = []
    wrong: list[Wrong] = []
    for entry in entries:
        before = own.get(entry.egg, own[None])
        try:
            longer = add(before, entry)
        except EggError as error:
            wrong.append(Wrong(entry, error.words))
            continue
        if asked := () if odd is None else odd(before, longer.entries[-1]):
            wrong.append(Wrong(entry, joined(list(asked), "; "), only_odd=True))
            continue
        own[entry.egg] = longer
        new.append(replace(entry, number=number + len(new) + 1))
    if new and not wrong and new[-1].ends:
        try:  # how many ended in all, counted ones too, is asked once
            add(EggBook(book.batch, (*book.entries, *new[:-1])), new[-1])
        except EggError as error:
            wrong.append(Wrong(new[-1], error.words))
    return EggBook(book.batch, (*book.entries, *new)), wrong
