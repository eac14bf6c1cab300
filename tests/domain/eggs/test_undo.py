"""What is undone, and in which order: the last writing that is not undone yet."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, Entry, Fact, Weighing, Withdrawn
from monitor.domain.eggs.undo import last_writing
from monitor.domain.needs.batch import Batch

SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def written(book: EggBook, fact: Fact, egg: int, *, second: int, replaces: int | None = None) -> EggBook:
    """The book with one more entry, written in that second after it was so."""
    at = SET + timedelta(days=1)
    wrote = at + timedelta(seconds=second)
    return add(book, Entry(at, wrote, "sam", fact, egg=egg, replaces=replaces))


def numbers(book: EggBook) -> list[tuple[int, int | None]]:
    return [(each.stands.number, each.again.number if each.again else None) for each in last_writing(book)]


def test_the_last_writing_is_not_that_of_the_last_entry() -> None:
    """A correction of an early entry, taken back, leaves what was written between as the last; then the early one, as it stands now."""
    assert numbers(EggBook(Batch("b-1", "bird", SET, 10))) == []
    book = written(EggBook(Batch("b-1", "bird", SET, 10)), Weighing(58.1, 0.0, None), 1, second=1)
    book = written(book, Candling("fertile"), 2, second=2)
    book = written(book, Candling("fertile"), 3, second=2)
    book = written(book, Weighing(58.2, 0.0, None), 1, second=3, replaces=1)
    assert numbers(book) == [(4, 1)]
    book = written(book, Weighing(58.1, 0.0, None), 1, second=4, replaces=4)
    assert numbers(book) == [(2, None), (3, None)]
    for second, entry in enumerate((2, 3), start=5):
        book = written(book, Withdrawn("undone"), entry, second=second, replaces=entry)
    assert numbers(book) == [(5, None)]
    book = written(book, Weighing(58.3, 0.0, None), 1, second=7, replaces=5)
    assert numbers(book) == [(8, 1)]


def test_what_was_withdrawn_has_nothing_to_undo() -> None:
    book = written(EggBook(Batch("b-1", "bird", SET, 10)), Weighing(58.1, 0.0, None), 1, second=1)
    book = written(book, Weighing(58.2, 0.0, None), 1, second=2, replaces=1)
    assert numbers(written(book, Withdrawn("slip"), 1, second=3, replaces=2)) == []
