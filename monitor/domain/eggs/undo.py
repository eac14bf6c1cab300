"""What was written last about a batch's eggs, and is not taken back yet: as often as it is undone, what was written before that."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry, Withdrawn
from monitor.domain.fixed import fixed


@fixed
class Undoing:
    """One entry to take back. stands: the entry that counts now, and goes. again: what counts again in its place, None where nothing does."""

    stands: Entry
    again: Entry | None


@fixed
class _Writing:
    """What a person wrote. root: the first entry of all that replaced one another."""

    entry: Entry
    root: int


def last_writing(book: EggBook) -> tuple[Undoing, ...]:
    """What was written last and stands, of several eggs at once all of it; () where nothing is left.

    A correction that says again what stood before the one it replaces has taken that one back: by itself it is nothing to undo. What was
    withdrawn has nothing left to undo either.
    """
    left: list[_Writing] = []
    root: dict[int, int] = {}  # of each entry
    heads: dict[int, Entry] = {}  # what counts, by its root
    for entry in book.entries:
        own = root[entry.number] = entry.number if entry.replaces is None else root.get(entry.replaces, entry.replaces)
        same = [each for each in left if each.root == own]
        if isinstance(entry.fact, Withdrawn):
            left = [each for each in left if each.root != own]
            continue
        heads[own] = entry
        if len(same) > 1 and _says_the_same(entry, same[-2].entry):
            left.remove(same[-1])
        else:
            left.append(_Writing(entry, own))
    last = [each for each in left if each.entry.written_at == left[-1].entry.written_at] if left else []
    return tuple(Undoing(heads[each.root], _before(left, each)) for each in last)


def _before(left: Sequence[_Writing], last: _Writing) -> Entry | None:
    same = [each.entry for each in left if each.root == last.root and each is not last]
    return same[-1] if same else None


def _says_the_same(one: Entry, other: Entry) -> bool:
    return (one.fact, one.at, one.egg, one.count, one.tray) == (
        other.fact,
        other.at,
        other.egg,
        other.count,
        other.tray,
    )
