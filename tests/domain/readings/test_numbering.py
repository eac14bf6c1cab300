"""Which messages of a boot have come: against a plain set of numbers."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.readings.numbering import Numbering, give_up, has, holes, take

# Written out: taken from the program, they would move with it.
HOLE_S = 600.0  # ten minutes are twenty chances of a node
MAX_STRETCHES = 64

NUMBERS = st.lists(st.integers(0, 60), max_size=80)


def taken(numbers: list[int], numbering: Numbering | None = None) -> Numbering:
    numbering = numbering or Numbering()
    for mono_s, seq in enumerate(numbers):
        numbering = take(numbering, seq, float(mono_s))
    return numbering


def held(numbering: Numbering, highest: int = 200) -> set[int]:
    return {seq for seq in range(highest) if has(numbering, seq)}


def sound(numbering: Numbering) -> None:
    """The stretches are in order, apart from each other and from the contiguous ones; time counts while there is a hole."""
    low = numbering.contiguous
    for first, last in numbering.above:
        assert low + 1 < first <= last
        low = last
    assert (numbering.hole_since_mono_s is not None) == bool(numbering.above)


@given(NUMBERS)
@settings(max_examples=300, deadline=None)
def test_it_holds_what_came_and_nothing_else(numbers: list[int]) -> None:
    """In any order, with any repeats, it holds exactly the numbers that came, and `contiguous` ends below the first missing."""
    numbering = taken(numbers)
    came = set(numbers)
    sound(numbering)
    assert held(numbering) == came
    assert numbering.contiguous == next(n for n in range(100) if n not in came) - 1


@given(NUMBERS, st.integers(0, 60))
@settings(max_examples=200, deadline=None)
def test_a_number_met_twice_changes_nothing(numbers: list[int], seq: int) -> None:
    """Taking a number that has come gives the very same numbering, the age of its hole included."""
    numbering = taken([*numbers, seq])
    assert take(numbering, seq, 9_999.0) == numbering


@given(NUMBERS)
@settings(max_examples=200, deadline=None)
def test_the_holes_are_what_is_missing(numbers: list[int]) -> None:
    """The holes are exactly the numbers below the highest that have not come."""
    numbering = taken(numbers)
    missing = {n for first, last in holes(numbering) for n in range(first, last + 1)}
    assert missing == set(range(max(numbers, default=-1) + 1)) - set(numbers)


@given(NUMBERS, st.integers(0, 5))
@settings(max_examples=200, deadline=None)
def test_giving_up_forgets_nothing_that_came(numbers: list[int], times: int) -> None:
    """Giving up moves past the lowest hole, names it exactly, and never forgets a number that came."""
    numbering = taken(numbers)
    came = set(numbers)
    for turn in range(times):
        missing = holes(numbering)
        numbering, hole = give_up(numbering, 1_000.0 + turn * HOLE_S + HOLE_S)
        sound(numbering)
        assert hole == (missing[0] if missing else None)
        lost = {n for first, last in numbering.lost for n in range(first, last + 1)}
        assert held(numbering) == came
        assert set(range(numbering.contiguous + 1)) == {n for n in came if n <= numbering.contiguous} | lost


def test_a_hole_has_its_time() -> None:
    """A hole that stands open is given up after HOLE_S and not before."""
    numbering = taken([0, 1, 5])
    since = numbering.hole_since_mono_s
    assert since == 2.0
    assert give_up(numbering, since + HOLE_S - 0.1) == (numbering, None)
    assert give_up(numbering, since + HOLE_S) == (Numbering(5, lost=((2, 4),)), (2, 4))


def test_a_second_hole_has_its_own_time() -> None:
    """When the first hole is filled or given up, the next one gets its full time from then."""
    numbering = taken([0, 2, 4])
    filled = take(numbering, 1, 500.0)
    assert filled.hole_since_mono_s == 500.0
    given_up, hole = give_up(numbering, 1_000.0)
    assert hole == (1, 1)
    assert given_up == Numbering(2, ((4, 4),), 1_000.0, ((1, 1),))


def test_a_late_filler_is_still_taken() -> None:
    """A number inside a hole that was given up is taken once when it comes after all, and then it is a repeat."""
    numbering, _ = give_up(taken([0, 5]), 1_000.0)
    assert not has(numbering, 3)
    filled = take(numbering, 3, 1_001.0)
    assert has(filled, 3)
    assert filled == Numbering(5, lost=((1, 2), (4, 4)))
    assert take(take(filled, 4, 1_002.0), 6, 1_003.0) == Numbering(6, lost=((1, 2),))


def test_more_holes_than_can_be_kept_are_given_up_at_once() -> None:
    """Beyond MAX_STRETCHES stretches the oldest hole is given up without waiting."""
    numbering = taken(list(range(1, 2 * MAX_STRETCHES + 2, 2)))
    assert len(numbering.above) == MAX_STRETCHES + 1
    later, hole = give_up(numbering, float(len(numbering.above)))
    assert hole == (0, 0)
    assert len(later.above) == MAX_STRETCHES


def test_holes_from_a_stored_numbering_wait_for_the_next_message() -> None:
    """A numbering from the record has no age for its hole; the next message gives it one, and then it ends like any other."""
    stored = Numbering(0, ((5, 6),), None)
    assert give_up(stored, 1e9) == (stored, None)
    again = take(stored, 7, 50.0)
    assert again.hole_since_mono_s == 50.0
    assert give_up(again, 50.0 + HOLE_S)[1] == (1, 4)
