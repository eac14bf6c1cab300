"""How a batch ended, by its book: in numbers, and day by day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from monitor.analysis.history.ended import EndsOfDay, ended_of
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, ChickMass, Dead, Entry, Fact, Hatched, Removed, Split
from monitor.domain.needs.batch import Batch, Stay

SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
NOW = SET + timedelta(days=60)


def book(
    *entries: tuple[float, Fact, int | None, int | None], closed_d: float | None = None, eggs: int | None = 12
) -> EggBook:
    closed = None if closed_d is None else SET + timedelta(days=closed_d)
    made = EggBook(Batch("hen-1", "chicken", SET, eggs, stays=(Stay("setter-1", SET, closed),), closed_at=closed))
    for days, fact, egg, count in entries:
        at = SET + timedelta(days=days)
        made = add(made, Entry(at, at, "ada", fact, egg, count))
    return made


def test_each_end_counts_on_its_own_day() -> None:
    """Two hatched and one found dead on day 21, one hatched on day 22, two taken out on day 7; eggs without numbers count as many as they are."""
    found = ended_of(
        book(
            (7.2, Removed("clear"), None, 2),
            (21.1, Hatched(), 1, None),
            (21.9, Hatched(), 2, None),
            (21.5, Dead("late"), 3, None),
            (22.0, Hatched(), 4, None),
            closed_d=23.0,
        ),
        NOW,
    )
    assert found.days == (EndsOfDay(7, 0, 0, 2), EndsOfDay(21, 2, 1, 0), EndsOfDay(22, 1, 0, 0))
    assert (found.hatched, dict(found.dead), dict(found.removed), found.left) == (3, {"late": 1}, {"clear": 2}, 6)
    assert found.hatched_at == (SET + timedelta(days=21.1), SET + timedelta(days=22.0))
    assert (found.closed, found.any) == (True, True)


def test_a_batch_is_closed_from_its_close_on() -> None:
    """Not the day before; and an end is written from its own moment on."""
    whole = book((21.0, Hatched(), 1, None), closed_d=23.0)
    for days, closed, hatched in ((20.9, False, 0), (21.0, False, 1), (22.9, False, 1), (23.0, True, 1)):
        found = ended_of(whole, SET + timedelta(days=days))
        assert (found.closed, found.hatched, found.any) == (closed, hatched, hatched > 0)


def test_a_chick_that_died_had_hatched() -> None:
    """It is no death in the shell, and stands on no day of the hatch but its own hatch."""
    found = ended_of(
        book((21.0, Hatched(), 1, None), (21.5, ChickMass(38.0), 1, None), (25.0, Dead("after hatch"), 1, None)), NOW
    )
    assert (found.hatched, dict(found.dead), found.chicks_dead) == (1, {}, 1)
    assert found.days == (EndsOfDay(21, 1, 0, 0),)


def test_an_egg_that_was_seen_clear_is_not_missing() -> None:
    """By its last candling, as long as nothing else became of it."""
    found = ended_of(
        book(
            (7.0, Candling("clear"), 1, None),
            (9.0, Candling("clear"), 1, None),
            (7.0, Candling("clear"), 2, None),
            (9.0, Candling("alive"), 2, None),
            (7.0, Candling("clear"), 3, None),
            (8.0, Removed("clear"), 3, None),
        ),
        NOW,
    )
    assert (found.clear, dict(found.removed), found.left) == (1, {"clear": 1}, 10)


def test_what_went_on_is_no_end_of_that_kind() -> None:
    """It is counted by itself, and on no day."""
    found = ended_of(book((18.0, Split("hen-1-b"), 5, None)), NOW)
    assert (found.went_on, found.days, found.any, found.left) == (1, (), True, 11)


def test_what_is_written_of_later_is_not_known_yet() -> None:
    """Up to a moment, which may lie before the end."""
    whole = book((7.0, Removed("clear"), 9, None), (21.0, Hatched(), 1, None))
    found = ended_of(whole, SET + timedelta(days=10))
    assert (found.hatched, [each.day for each in found.days], found.closed) == (0, [7], False)
    assert not ended_of(whole, SET + timedelta(days=3)).any
    assert ended_of(book(eggs=None), NOW).left is None
