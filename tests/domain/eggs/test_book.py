"""The egg book: entries stay, corrections replace, and what cannot be true beside the rest is refused."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.eggs.book import (
    After,
    EggBook,
    OtherEggs,
    add,
    candled,
    fresh_mass,
    history,
    hoyt,
    laid_at,
    looks,
    masses,
    numbers,
    of_egg,
    outcome,
    sign_at,
    standing,
    tray_masses,
    trays,
)
from monitor.domain.eggs.entry import (
    Candling,
    Dead,
    EggError,
    Entry,
    Fact,
    Found,
    Hatched,
    Laid,
    LookAgain,
    Note,
    Removed,
    Sign,
    Size,
    Weighing,
    Withdrawn,
)
from monitor.domain.needs.batch import Batch

SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
BATCH = Batch("b-1", "bird", SET, 10)
EMPTY = EggBook(BATCH)


def day(number: float) -> datetime:
    return SET + timedelta(days=number)


def entry(at: float, fact: Fact, egg: int | None = None, **other: object) -> Entry:
    return Entry(day(at), day(at), "Mo", fact, egg, **other)  # type: ignore[arg-type]


def due(made: EggBook, now: datetime) -> tuple[Entry, ...]:
    """What was to be looked at again by now, and has not been."""
    return tuple(e for e in looks(made) if isinstance(e.fact, LookAgain) and e.fact.look_at <= now)


def book(*entries: Entry) -> EggBook:
    made = EMPTY
    for each in entries:
        made = add(made, each)
    return made


def test_entries_are_kept_and_numbered() -> None:
    """Entries are numbered as they are written, and read in the order of the times of which they speak."""
    made = book(entry(5, Weighing(19.5), 1), entry(0, Weighing(20.0), 1), entry(7, Note("cold night")))
    assert [e.number for e in made.entries] == [1, 2, 3]
    assert [e.number for e in standing(made)] == [2, 1, 3]
    assert EMPTY.entries == ()
    assert [e.number for e in of_egg(made, 1)] == [2, 1]
    assert numbers(made) == (1,)


def test_a_correction_names_what_it_replaces() -> None:
    """A corrected weighing counts once; the first, who wrote it and when, can still be read."""
    made = book(entry(0, Weighing(20.0), 1), entry(5, Weighing(15.9), 1), entry(5, Weighing(19.5), 1, replaces=2))
    assert [m.mass_g for m in masses(made, 1)] == [20.0, 19.5]
    assert len(made.entries) == 3
    newest = standing(made)[-1]
    assert [e.number for e in history(made, newest)] == [3, 2]
    again = add(made, entry(5, Weighing(19.4), 1, replaces=3))
    assert [m.mass_g for m in masses(again, 1)] == [20.0, 19.4]


def test_a_correction_may_name_the_right_egg() -> None:
    """A hatch written on the wrong egg is moved to the right one, and the wrong one has not hatched any more."""
    made = book(entry(20, Hatched(), 1), entry(20, Hatched(), 2, replaces=1))
    assert outcome(made, 1) is None
    found = outcome(made, 2)
    assert found is not None
    assert found.number == 2


def test_an_entry_can_be_withdrawn() -> None:
    """What was a mistake altogether counts no more, and stays readable."""
    made = book(entry(3, Candling("clear"), 1), entry(4, Withdrawn("wrong egg"), 1, replaces=1))
    assert standing(made) == ()
    assert len(made.entries) == 2


@pytest.mark.parametrize(
    ("before", "wrong", "complaint"),
    [
        ([], entry(3, Candling("alive"), 11), "batch b-1: egg 11, expected 1 to 10"),
        ([], entry(3, Candling("alive"), 0), "batch b-1: egg 0, expected 1 to 10"),
        ([], entry(3, Candling("clear"), count=12), "12 eggs, expected 1 to 10"),
        (
            [],
            entry(3, Candling("clear")),
            "of which eggs is not said, expected their numbers, such as 7 or 1-6, or --count",
        ),
        ([], entry(3, Size(38.0, 29.0)), "no egg, expected the number of one"),
        ([], entry(3, Note("x"), count=2), "a count came, expected the number of one egg, or none for the batch"),
        ([], entry(-1, Candling("alive"), 1), "before it was set (2026-03-01T08:00:00Z)"),
        ([], entry(-1, Hatched(), 1), "before it was set"),
        ([], entry(3, Laid(day(1)), 1), "after it was set"),
        ([entry(0, Laid(day(-3)), 1)], entry(-4, Weighing(20.0), 1), "before it was laid"),
        ([entry(0, Laid(stored_days=3.0))], entry(-4, Weighing(20.0), 1), "before it was laid"),
        ([entry(-4, Weighing(20.0), 1)], entry(0, Laid(day(-3)), 1), "after egg 1 weighing"),
        ([entry(-4, Weighing(20.0), 1)], entry(0, Laid(stored_days=2.0)), "after egg 1 weighing"),
        ([], entry(3, Weighing(9000.0), 1), "9000 g an egg, expected 0.1 to 3000"),
        (
            [entry(20, Hatched(), 1)],
            entry(21, Hatched(), 1),
            "hatched already, expected a correction that names entry 1",
        ),
        ([entry(20, Hatched(), 1)], entry(21, Dead("late"), 1), "hatched already, expected a correction"),
        ([entry(20, Hatched(), count=9)], entry(20, Dead("late"), count=2), "makes 11 eggs that ended"),
        ([], entry(20, Dead("after hatch"), 1), "expected an egg that has hatched"),
        ([entry(20, Hatched(), 1)], entry(19, Dead("after hatch"), 1), "expected an egg that has hatched"),
        (
            [entry(20, Hatched(), 1), entry(21, Dead("after hatch"), 1)],
            entry(22, Dead("after hatch"), 1),
            "dead already",
        ),
        ([], entry(3, Note("x"), replaces=1), "replaces entry 1, expected one that is in the book"),
        ([], entry(3, Withdrawn()), "no entry named, expected the number of the one that is withdrawn"),
        (
            [entry(3, Note("x")), entry(3, Note("y"), replaces=1)],
            entry(3, Note("z"), replaces=1),
            "replaces entry 1, which entry 2 replaced, expected 2",
        ),
        ([entry(3, Note("x"))], entry(3, Hatched(), 1, replaces=1), "replaces a note, expected a note again"),
    ],
)
def test_what_cannot_be_true(before: list[Entry], wrong: Entry, complaint: str) -> None:
    """What contradicts the batch or an entry that stands is refused in one line, and the book stays as it was."""
    made = book(*before)
    with pytest.raises(EggError) as raised:
        add(made, wrong)
    assert complaint in str(raised.value)
    assert str(raised.value).startswith("batch b-1: ")
    assert "\n" not in str(raised.value)


def test_a_correction_frees_what_it_replaces() -> None:
    """An outcome may be corrected to another time, and a laid date that stood in the way may be corrected away."""
    made = book(entry(20, Hatched(), 1), entry(21, Hatched(), 1, replaces=1))
    found = outcome(made, 1)
    assert found is not None
    assert found.at == day(21)
    late = book(entry(0, Laid(day(-1)), 1), entry(0, Laid(day(-5)), 1, replaces=1), entry(-4, Weighing(20.0), 1))
    assert laid_at(late, 1) == day(-5)


def test_an_egg_s_own_date_stands_over_the_batch_s() -> None:
    """An egg is as old as was written of it, else as the batch; days in store count back from the set time."""
    made = book(entry(0, Laid(stored_days=4.0)), entry(0, Laid(day(-7)), 3))
    assert laid_at(made, 3) == day(-7)
    assert laid_at(made, 1) == day(-4)
    assert laid_at(EMPTY, 1) is None
    weighed = add(made, entry(-6, Weighing(20.0), 3))
    assert weighed.entries[-1].number == 3
    # A correction of the batch's date does not judge the egg that has its own.
    assert laid_at(add(weighed, entry(0, Laid(stored_days=3.0), replaces=1)), 1) == day(-3)


def test_a_batch_of_unknown_size() -> None:
    """Where nobody said how many eggs were set, any number up to the most a batch holds is taken."""
    made = add(EggBook(Batch("b-2", "bird", SET)), entry(3, Candling("alive"), 250))
    assert numbers(made) == (250,)


def test_masses_of_one_egg() -> None:
    """Mass and the scale's error, own or by the finest digit written; after pip, hatch or death a weighing stays and is marked as left out."""
    made = book(
        entry(0, Weighing(20.0, error_g=0.01), 1),
        entry(9, Weighing(318.8, 300.0, scale="kitchen"), 1),
        entry(20, Sign("internal pip"), 1),
        entry(21, Weighing(16.0), 1),
    )
    found = masses(made, 1)
    assert [(m.mass_g, m.error_g) for m in found] == [(20.0, 0.01), (pytest.approx(18.8), 0.05), (16.0, 0.05)]
    assert [m.left_out for m in found] == [None, None, After("pipped")]
    assert [m.scale for m in found] == ["", "kitchen", ""]
    assert sign_at(made, 1, "internal pip") == day(20)
    assert sign_at(made, 1, "draw-down") is None
    assert masses(made, 2) == ()


def test_masses_of_a_tray() -> None:
    """A tray gives the mean mass of its eggs without the tray; once it holds another number of eggs, they are other eggs."""
    made = book(
        entry(0, Weighing(900.0, 300.0, 1.0), count=10, tray="A"),
        entry(7, Weighing(860.0, 300.0, 1.0), count=10, tray="A"),
        entry(9, Weighing(800.0, 300.0, 1.0), count=9, tray="A"),
        entry(9, Weighing(500.0), count=8),
    )
    found = tray_masses(made, "A")
    assert [m.mass_g for m in found] == pytest.approx([60.0, 56.0, 500.0 / 9.0])
    assert found[0].error_g == pytest.approx(0.1)
    assert [m.left_out for m in found] == [None, None, OtherEggs(9, 10)]
    assert trays(made) == ("", "A")
    assert [m.eggs for m in tray_masses(made, "")] == [8]


def test_fresh_mass_by_the_published_formula() -> None:
    """The upper size of a muscovy duck's egg leads to its upper mass (84.52 g) within 0.05 g; the doubt told is 3 %."""
    path = Path(__file__).parents[2] / "reference" / "water_loss" / "arithmetic.csv"
    with path.open(encoding="utf-8") as file:
        figure = {row["id"]: float(row["value"]) for row in csv.DictReader(file)}
    found = hoyt(figure["muscovy-length-mm"], figure["muscovy-breadth-mm"])
    assert found.mass_g == pytest.approx(figure["muscovy-mass-g"], abs=0.05)
    assert found.doubt_g == pytest.approx(0.03 * found.mass_g)
    made = book(entry(0, Size(66.4, 48.2), 1))
    assert fresh_mass(made, 1) == found
    assert fresh_mass(made, 2) is None


@pytest.mark.parametrize("some", [Removed("clear"), Hatched(), Dead("early")])
def test_some_that_ended_are_not_all(some: Fact) -> None:
    """A reminder of the whole batch stands although some of its eggs, told by their count, ended before its time."""
    made = book(entry(1, LookAgain(day(11), "air cells")), entry(7, some, count=1))
    assert [e.number for e in looks(made)] == [1]
    assert looks(add(made, entry(11, Candling("alive"), count=5))) == ()


def test_look_again() -> None:
    """What was to be looked at is due from its time on, until something is written about that egg.

    A note of before its time does not cost the reminder; a new time to look does, and an end.
    """
    made = book(entry(5, LookAgain(day(7), "vessels"), 1), entry(5, LookAgain(day(6))), entry(6.5, Note("x"), 2))
    assert due(made, day(5.9)) == ()
    assert [e.egg for e in due(made, day(6))] == [None]
    assert [e.egg for e in due(made, day(8))] == [1, None]
    seen = add(made, entry(7.5, Candling("alive"), 1))
    assert [e.egg for e in due(seen, day(8))] == [None]
    between = add(made, entry(6.8, Note("moves"), 1))
    assert [e.egg for e in due(between, day(8))] == [1, None]
    ended = add(made, entry(6.8, Dead("late"), 1))
    assert [e.egg for e in looks(ended)] == [None]
    again = add(made, entry(7.5, LookAgain(day(9)), 1))
    assert [e.egg for e in due(again, day(8))] == [None]
    assert [e.egg for e in due(again, day(9))] == [None, 1]


def test_when_an_egg_was_candled_last() -> None:
    """The last candling counts, whenever it was written; before the first, nothing was found."""
    made = book(entry(7, Candling("alive"), 1), entry(3, Candling("not sure"), 1), entry(8, Note("x"), 1))
    assert candled(made, 1) == (day(7), "alive")
    assert candled(made, 2) == candled(EMPTY, 1) == (None, "")


@pytest.mark.parametrize(
    ("before", "just"),
    [
        ([], entry(0, Candling("alive"), 1)),  # as it was set
        ([], entry(0, Laid(day(0)), 1)),
        ([entry(0, Laid(day(-3)), 1)], entry(-3, Weighing(20.0), 1)),  # as it was laid
        ([entry(-3, Weighing(20.0), 1)], entry(0, Laid(day(-3)), 1)),
        ([entry(-4, Note("a find"), 1)], entry(0, Laid(day(-3)), 1)),  # words may speak of anything
        ([entry(0, Laid(day(-3)), 1)], entry(-4, Note("a find"), 1)),
        ([], entry(3, Candling("clear"), count=10)),
        ([], entry(3, Candling("clear"), count=1)),
        ([], entry(3, Weighing(3000.0), 1)),
        ([], entry(3, Weighing(0.1), 1)),
        ([], entry(3, Weighing(1.0), count=10)),
        ([entry(20, Hatched(), count=9)], entry(20, Dead("late"), count=1)),
        ([entry(20, Hatched(), 1)], entry(20, Dead("after hatch"), 1)),  # in the same minute
        ([entry(20, Hatched(), count=10)], entry(21, Dead("after hatch"), count=2)),
        ([entry(20, Hatched(), count=10), entry(21, Dead("after hatch"), count=2)], entry(22, Dead("after hatch"), count=1)),
    ],
)  # fmt: skip
def test_what_can_just_be_true(before: list[Entry], just: Entry) -> None:
    """At the very time, of all eggs, of the lightest and the heaviest: what does not contradict is written."""
    assert len(add(book(*before), just).entries) == len(before) + 1


def test_a_look_at_the_very_time_answers() -> None:
    """What is written at the minute that was named is an answer, and so is what was so then and is written later; a slip of paper from before is none."""
    asked = entry(5, LookAgain(day(7)), 1)
    assert looks(book(asked, entry(7, Note("moves"), 1))) == ()
    late = Entry(day(6), day(7), "Mo", Note("moved"), 1)
    early = Entry(day(4), day(8), "Mo", Note("moved"), 1)
    assert looks(book(asked, late)) == ()
    assert [e.number for e in looks(book(asked, early))] == [1]
    assert [e.number for e in looks(book(asked, entry(8, Note("x"), 2)))] == [1]


def test_findings_and_removals() -> None:
    """A finding may be of one egg or of a count; an egg taken out has that as its end."""
    made = book(
        entry(21, Found("wet-chick"), 1), entry(21, Found("dead-unpipped"), count=3), entry(8, Removed("clear"), 2)
    )
    found = outcome(made, 2)
    assert found is not None
    assert isinstance(found.fact, Removed)


@settings(max_examples=100)
@given(st.lists(st.tuples(st.integers(1, 10), st.floats(0.0, 20.0), st.booleans()), max_size=12))
def test_nothing_written_is_ever_lost(rows: list[tuple[int, float, bool]]) -> None:
    """However one writes and corrects, each entry is still in the book, and as many stand as were written and not replaced."""
    made, corrected = EMPTY, 0
    for egg, at, correct in rows:
        last = standing(made)[-1].number if correct and standing(made) else None
        made = add(made, entry(at, Weighing(20.0), egg, replaces=last))
        corrected += last is not None
    assert [e.number for e in made.entries] == list(range(1, len(rows) + 1))
    assert len(standing(made)) == len(rows) - corrected


def test_the_scale_that_nobody_named_is_known_by_its_digits() -> None:
    """Half the last digit of the finest of all (common practice), for a zero at the end is not kept: 2.41, 2.4 and 2.38 are of one scale; trays of another."""
    fine = book(
        *(entry(at, Weighing(g), egg) for at, (egg, g) in enumerate([(1, 2.41), (1, 2.4), (2, 2.38), (2, 2.0)]))
    )
    assert {m.error_g for egg in (1, 2) for m in masses(fine, egg)} == {0.005}
    assert [m.error_g for m in masses(book(entry(0, Weighing(58.0), 1), entry(7, Weighing(56.0), 1)), 1)] == [0.5, 0.5]
    coarse = add(fine, entry(9, Weighing(231.0), None, count=4, tray="A"))
    assert [m.error_g for m in tray_masses(coarse, "A")] == [0.5 / 4]
    assert masses(coarse, 1)[0].error_g == 0.005
    assert masses(book(entry(0, Weighing(2.4000001), 1)), 1)[0].error_g == 0.0005  # out of a table's arithmetic
