"""Many eggs at once come to the same as one after the other."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.doubts import doubts
from monitor.domain.eggs.entry import Candling, Dead, EggError, Entry, Fact, Hatched, Laid, Weighing
from monitor.domain.eggs.many import Wrong, add_each, alone
from monitor.domain.refusal import Refusal, Words
from tests.domain.eggs.test_book import BATCH, book, entry

FACTS: tuple[Fact, ...] = (Candling("alive"), Weighing(20.0), Hatched(), Dead("late"), Laid(stored_days=1.0))


@st.composite
def stories(draw: st.DrawFn) -> tuple[EggBook, list[Entry]]:
    """A book of a batch of ten, and entries about several of its eggs, some of which cannot be."""
    before = EggBook(BATCH)
    for _ in range(draw(st.integers(0, 6))):
        egg = draw(st.one_of(st.none(), st.integers(1, 10)))
        count = draw(st.integers(1, 8)) if egg is None else None
        one = entry(draw(st.sampled_from((-0.5, 5, 21))), draw(st.sampled_from(FACTS[:4])), egg, count=count)
        try:
            before = add(before, one)
        except EggError:
            continue
    fact, at = draw(st.sampled_from(FACTS)), draw(st.sampled_from((-2, 7, 21)))
    eggs = draw(st.lists(st.integers(0, 12), min_size=1, max_size=10, unique=True))
    return before, [entry(at, fact, egg) for egg in eggs]


@settings(max_examples=300, deadline=None)
@given(stories())
def test_the_same_as_one_after_the_other(story: tuple[EggBook, list[Entry]]) -> None:
    """Either all are taken, and the book is the one that `add` gives; or some are not, and `add` refuses one of them too."""
    before, entries = story
    many, wrong = add_each(before, entries)
    one, refused = before, []
    for each in entries:
        try:
            one = add(one, each)
        except EggError as error:
            refused.append(str(error))
    assert bool(wrong) == bool(refused)
    if not wrong:
        assert many == one
    else:
        assert {said(each) for each in wrong} <= set(refused) or said(wrong[0]).endswith("expected at most 10")


def said(wrong: Wrong) -> str:
    """Its words, with their moments as programs read them."""
    return str(Refusal("", wrong.words))


def test_all_that_ended_are_counted() -> None:
    """Eight hatched without numbers, and three by number, are one more than were set."""
    before = book(entry(21, Hatched(), count=8))
    _, wrong = add_each(before, [entry(21, Dead("late"), egg) for egg in (1, 2, 3)])
    words = [said(each) for each in wrong]
    assert words == ["batch b-1: egg 3 dead: makes 11 eggs that ended, expected at most 10"] or words == [
        "egg 3 dead: makes 11 eggs that ended, expected at most 10"
    ]


def test_the_same_twice_is_asked_whatever_was_corrected_before() -> None:
    """Of two rows about one egg the second is odd, also where its first weighing was put right after a later one was written."""
    before = book(entry(9, Weighing(19.0), 3), entry(0, Weighing(10.0), 3), entry(0, Weighing(20.0), 3, replaces=2))
    rows = [entry(12, Weighing(18.5), 3), entry(12, Weighing(18.5), 3)]
    _, wrong = add_each(before, rows, doubts)
    assert [said(each) for each in wrong] == ["egg 3 weighing: written already"]
    assert wrong[0].only_odd


def test_what_is_odd_is_asked_of_each() -> None:
    """The doubts are asked beside the egg's own book, with its number given."""
    seen: list[tuple[int, int]] = []

    def odd(own: EggBook, one: Entry) -> tuple[Words, ...]:
        seen.append((len(own.entries), one.egg or 0))
        return (("odd",),) if one.egg == 4 else ()

    before = book(entry(0, Weighing(20.0), 3), entry(0, Laid(stored_days=1.0)))
    _, wrong = add_each(before, [entry(5, Weighing(19.0), egg) for egg in (3, 4)], odd)
    assert seen == [(2, 3), (1, 4)]
    assert [(each.entry.egg, said(each)) for each in wrong] == [(4, "odd")]
    assert alone(replace(before, entries=before.entries[:1]))[None].entries == ()
