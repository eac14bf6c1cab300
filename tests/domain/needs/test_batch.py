"""A batch: where its eggs are at an instant, and what cannot be said of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.needs.batch import (
    Batch,
    BatchError,
    Declared,
    Stay,
    batch_of,
    closed,
    day_words,
    declared,
    moved,
    reopened,
    subject_of,
    subject_words,
    undeclared,
    whole_day,
)
from tests.domain.house import PROFILES

# Written out: taken from the program, they would move with it.
SHOWN_RUNS = 10

SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
HEN = Batch("hen-1", "hen", SET, 12, stays=(Stay("setter-1", SET),))


def day(number: float) -> datetime:
    return SET + timedelta(days=number)


@pytest.mark.parametrize("subject", ["setter-1", "node-a/top", "site", "node-a", ""])
def test_what_is_no_batch(subject: str) -> None:
    """A machine, a probe, a node or the site is never taken for a batch."""
    assert (batch_of(subject), subject_words(subject)) == ("", "")


def test_what_an_alarm_of_a_batch_is_about() -> None:
    """A batch, or an egg of it, has a subject of its own that says which, and what people call it."""
    assert (batch_of(subject_of("hen-1")), subject_words(subject_of("hen-1"))) == ("hen-1", "hen-1")
    assert (batch_of(subject_of("hen-1", 7)), subject_words(subject_of("hen-1", 7))) == ("hen-1", "hen-1 egg 7")
    assert subject_of("hen-1", 7) != subject_of("hen-1") != "hen-1"


def test_a_move() -> None:
    """At the instant of a move the eggs are in the new machine, just before it in the old one, and never in two."""
    there = moved(HEN, "hatcher-1", day(18))
    assert [s.machine for s in there.stays] == ["setter-1", "hatcher-1"]
    assert there.stay_at(day(18)) == Stay("hatcher-1", day(18))
    before = there.stay_at(day(18) - timedelta(microseconds=1))
    assert before is not None
    assert before.machine == "setter-1"
    assert there.stay_at(day(-0.1)) is None


def test_a_closed_batch_is_nowhere() -> None:
    """From its closing on a batch is in no machine; where it was stays in its record."""
    over = closed(moved(HEN, "hatcher-1", day(18)), day(22))
    assert over.stay_at(day(22)) is None
    assert over.stay_at(day(21)) == Stay("hatcher-1", day(18), day(22))
    assert over.closed_at == day(22)


def test_a_stage_counts_from_when_it_was_declared() -> None:
    """A stage declared on day 17 is not known on day 16."""
    early = declared(HEN, "lockdown", day(17))
    assert early.declared_days(day(16)) == ()
    assert early.declared_days(day(17)) == (("lockdown", 17.0),)


def test_a_day_is_24_hours_whatever_the_clocks_on_the_wall_do() -> None:
    """Through the night of a change of summer time the age goes on hour by hour."""
    zone = ZoneInfo("Europe/Berlin")
    batch = Batch("b", "hen", datetime(2026, 3, 28, 12, 0, tzinfo=zone).astimezone(UTC))
    assert batch.day(datetime(2026, 3, 29, 12, 0, tzinfo=zone).astimezone(UTC)) == pytest.approx(23 / 24)
    assert batch.day(datetime(2026, 3, 30, 12, 0, tzinfo=timezone(timedelta(hours=2)))) == pytest.approx(47 / 24)


@pytest.mark.parametrize(
    ("act", "complaint"),
    [
        (lambda: moved(HEN, "setter-1", day(2)), "batch hen-1: already in setter-1, expected another machine"),
        (
            lambda: moved(moved(HEN, "hatcher-1", day(18)), "setter-1", day(17)),
            "batch hen-1: move at 2026-03-18T18:00:00Z is before it came to hatcher-1 (2026-03-19T18:00:00Z),"
            " expected a later time (a batch cannot be in two machines at once)",
        ),
        (
            lambda: moved(closed(HEN, day(3)), "hatcher-1", day(4)),
            "batch hen-1: closed, expected an open batch to move",
        ),
        (lambda: closed(closed(HEN, day(3)), day(4)), "batch hen-1: closed already, at 2026-03-04T18:00:00Z"),
        (
            lambda: closed(moved(HEN, "hatcher-1", day(18)), day(17)),
            "batch hen-1: close at 2026-03-18T18:00:00Z is before it came to hatcher-1",
        ),
        (lambda: declared(closed(HEN, day(3)), "lockdown", day(4)), "batch hen-1: closed, expected an open batch"),
        (
            lambda: declared(declared(HEN, "lockdown", day(3)), "lockdown", day(4)),
            "batch hen-1: stage lockdown is declared already",
        ),
        (
            lambda: declared(HEN, "lockdown", day(-1)),
            "batch hen-1: stage lockdown at 2026-02-28T18:00:00Z is before it was set",
        ),
    ],
)
def test_what_cannot_be(act: object, complaint: str) -> None:
    """What cannot have happened to eggs is refused in one line."""
    with pytest.raises(BatchError) as raised:
        act()  # type: ignore[operator]
    assert str(raised.value) == complaint


@given(st.lists(st.tuples(st.sampled_from(["a", "b", "c"]), st.floats(0, 30)), max_size=12))
@settings(max_examples=200, deadline=None)
def test_never_in_two_machines(asked: list[tuple[str, float]]) -> None:
    """After any moves, refused or not, the stays follow each other without overlap, and every instant has one answer at most."""
    batch = HEN
    for machine, on in asked:
        try:
            batch = moved(batch, machine, day(on))
        except BatchError:
            continue
    for earlier, later in pairwise(batch.stays):
        assert earlier.until is not None
        assert earlier.since <= earlier.until <= later.since
    assert batch.stays[-1].until is None
    for on in range(31):
        at = day(on)
        inside = [s for s in batch.stays if s.since <= at and (s.until is None or at < s.until)]
        assert len(inside) <= 1
        assert batch.stay_at(at) == (inside[0] if inside else None)


def test_what_was_said_has_happened() -> None:
    """However wrong a clock is, it is not before the newest thing a person has spoken of; a right clock stands."""
    early = declared(moved(HEN, "hatcher-1", day(18)), "hatch", day(19))
    assert early.not_before(day(-9_000)) == day(19)
    assert early.not_before(day(20)) == day(20)
    assert closed(early, day(21)).not_before(day(0)) == day(21)
    assert Batch("b", "hen", SET, declared=(Declared("lockdown", day(3)),)).not_before(day(1)) == day(3)


def test_what_was_said_by_mistake() -> None:
    """A stage taken back and a batch opened again are as if neither had been said; what was not said cannot be unsaid."""
    both = declared(declared(HEN, "lockdown", day(18)), "hatch", day(20))
    assert undeclared(both, "hatch") == declared(HEN, "lockdown", day(18))
    assert reopened(closed(both, day(21))) == both
    out = closed(Batch("b", "hen", SET), day(21))
    assert reopened(out).stays == ()
    unsaid: tuple[Callable[[], Batch], ...] = (
        lambda: undeclared(HEN, "hatch"),
        lambda: undeclared(closed(both, day(21)), "hatch"),
        lambda: reopened(HEN),
    )
    for again in unsaid:
        with pytest.raises(BatchError):
            again()


def test_a_batch_that_left_its_machine_before_it_was_closed() -> None:
    """Opened again it is in none, as it was."""
    gone = Batch("b", "hen", SET, stays=(Stay("setter-1", SET, day(3)),))
    assert reopened(closed(gone, day(5))) == gone


@given(st.sets(st.integers(1, 40), min_size=1))
def test_the_numbers_on_its_eggs(numbers: set[int]) -> None:
    """A batch has exactly the eggs of its numbers, and the words name them, up to ten runs."""
    made = Batch("b", "hen", SET, len(numbers), numbers=tuple(sorted(numbers)))
    assert {egg for egg in range(50) if made.has(egg)} == numbers
    words, _, more = made.numbers_words.partition(" and more")
    runs = [[int(end) for end in run.split("-")] for run in words.split(", ")]
    named = {egg for run in runs for egg in range(run[0], run[-1] + 1)}
    assert len(runs) <= SHOWN_RUNS
    assert named == {egg for egg in numbers if not made.numbers_words.endswith("more") or egg <= max(named)}
    assert all(after[0] > before[-1] + 1 for before, after in pairwise(runs))
    assert not more


def test_the_words_of_many_numbers_stay_short() -> None:
    """Every second egg of 100,000 is no line of 600,000 characters."""
    made = Batch("b", "hen", SET, 50_000, numbers=tuple(range(1, 100_000, 2)))
    assert made.numbers_words == "1, 3, 5, 7, 9, 11, 13, 15, 17, 19 and more"
    assert Batch("b", "hen", SET, None).numbers_words == "1 to 100000"


def test_a_look_back_counts_a_lockdown_that_nobody_declared_by_the_day() -> None:
    """Of a closed batch that goes by the egg; of an open one, of one with a word about it, and of a hen's nothing is guessed."""
    hen, end = PROFILES["hen"], SET + timedelta(days=22)
    by_egg = replace(hen, lockdown_by="internal pip")
    over = closed(HEN, end)
    assert over.looked_back_days(end, by_egg) == (("lockdown", by_egg.lockdown_day),)
    assert HEN.looked_back_days(end, by_egg) == ()
    assert over.looked_back_days(end, hen) == ()
    said = closed(declared(HEN, "lockdown", SET + timedelta(days=18.5)), end)
    assert said.looked_back_days(end, by_egg) == (("lockdown", 18.5),)


def test_a_batch_that_is_in_no_machine_comes_to_none_before_it_left_the_last() -> None:
    """Out of its setter since day 3: to a hatcher on day 3 or later, and not on day 2."""
    gone = Batch("b", "hen", SET, stays=(Stay("setter-1", SET, day(3)),))
    assert moved(gone, "hatcher-1", day(3)).stays[-1] == Stay("hatcher-1", day(3))
    with pytest.raises(BatchError, match="is before it came to setter-1"):
        moved(gone, "hatcher-1", day(2))


def test_a_day_is_cut_off_and_not_rounded() -> None:
    """Day 17 lasts until day 18 is there, and so does 17.9; a sum of steps that lies a rounding below a whole day is that day."""
    assert [whole_day(d) for d in (0.0, 0.99, 17.999, 18.0, 18.0 - 1e-12, -0.5)] == [0, 0, 17, 18, 18, -1]
    assert [day_words(d) for d in (17.9, 17.999, 18.0, 0.3)] == ["17.9", "17.9", "18.0", "0.3"]
