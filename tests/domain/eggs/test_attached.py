"""A file beside an entry: beside which, what is asked, and what becomes of it where eggs go on in another batch."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add, files
from monitor.domain.eggs.doubts import doubts
from monitor.domain.eggs.entry import Attached, Candling, EggError, Entry, Fact, Laid, Note, Withdrawn
from monitor.domain.eggs.split import split
from monitor.domain.needs.batch import Batch
from monitor.domain.refusal import Refusal

SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
ONE, TWO = "0f" * 32, "1e" * 32


def day(number: float) -> datetime:
    return SET + timedelta(days=number)


def entry(at: float, fact: Fact, egg: int | None = 1, replaces: int | None = None) -> Entry:
    return Entry(day(at), day(at), "Mo", fact, egg, replaces=replaces)


def book(*entries: Entry) -> EggBook:
    made = EggBook(Batch("b-1", "chicken", SET, 10))
    for each in entries:
        made = add(made, each)
    return made


@pytest.mark.parametrize(
    ("new", "line"),
    [
        (
            entry(5, Attached("p", ONE, 9, beside=2)),
            "batch b-1: egg 1 file: beside entry 2, expected one that is in the book",
        ),
        (
            entry(5, Attached("p", ONE, 9, beside=1), 2),
            "batch b-1: egg 2 file: beside entry 1, egg 1 candling, expected one about the same egg",
        ),
        (
            entry(5, Attached("p", ONE, 9, beside=1), None),
            "batch b-1: batch file: beside entry 1, egg 1 candling, expected one about the",
        ),
        (
            Entry(day(5), day(5), "Mo", Attached("p", ONE, 9), count=3),
            "batch b-1: 3 eggs file: a count came, expected the number",
        ),
    ],
)
def test_what_cannot_be(new: Entry, line: str) -> None:
    """Beside an entry that is there, about the same egg."""
    with pytest.raises(EggError) as raised:
        add(book(entry(4, Candling("dead"))), new)
    assert str(raised.value).startswith(line)


def test_what_is_asked() -> None:
    """The same picture of the same egg twice, whatever it is called; of another egg, or another picture, nothing."""
    made = book(entry(4, Attached("p", ONE, 9)))
    found = [str(Refusal("", words)) for words in doubts(made, entry(5, Attached("q", ONE, 9)))]
    assert found == ["egg 1 file: the same file is entry 1 already"]
    assert doubts(made, entry(5, Attached("p", ONE, 9), 2)) == doubts(made, entry(5, Attached("p", TWO, 9))) == ()


def test_what_a_batch_keeps() -> None:
    """Each content once; what is withdrawn is kept as well. A picture of the parents may be older than the egg."""
    made = book(
        entry(0, Laid(day(-2)), None), entry(-5, Attached("pair", TWO, 7), None), entry(4, Attached("p", ONE, 9)),
        entry(5, Attached("q", ONE, 9), 2), entry(6, Withdrawn(), None, replaces=2),
    )  # fmt: skip
    assert files(made) == {TWO: 7, ONE: 9}


def test_in_another_batch_it_lies_beside_the_same_entry() -> None:
    """Which has another number there."""
    made = book(
        entry(1, Note("x"), 2), entry(2, Note("y"), 2), entry(3, Candling("dead"), 1), entry(3, Attached("p", ONE, 9, beside=3), 1),
        entry(4, Note("whole"), None), entry(4, Attached("q", TWO, 9, beside=5), None),
    )  # fmt: skip
    _, went = split(made, [1], count=None, into="b-2", at=day(5), written_at=day(5), who="Mo")
    lies = {e.fact.name: e.fact.beside for e in went.entries if isinstance(e.fact, Attached)}
    kinds = {e.number: e.fact.kind for e in went.entries}
    assert {name: kinds[int(beside or 0)] for name, beside in lies.items()} == {"p": "candling", "q": "note"}
