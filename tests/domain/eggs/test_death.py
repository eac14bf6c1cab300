"""When an egg died: between two looks, and as its class narrows that."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.death import FINDING_OF, death_of
from monitor.domain.eggs.entry import DEATHS, Candling, ChickMass, Dead, Entry, Fact, Hatched, Removed, Sign, Weighing
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.published.findings import FINDING

SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
TERM_D = 21.0


def day(days: float) -> datetime:
    return SET + timedelta(days=days)


def book(*entries: tuple[float, Fact]) -> EggBook:
    made = EggBook(Batch("hen-1", "chicken", SET, 12, stays=(Stay("setter-1", SET),)))
    for days, fact in entries:
        made = add(made, Entry(day(days), day(days), "ada", fact, 7))
    return made


def span(*entries: tuple[float, Fact]) -> tuple[float, float, bool | None]:
    found = death_of(book(*entries), 7, TERM_D)
    assert found is not None
    since, until = (round((at - SET) / timedelta(days=1), 2) for at in (found.since, found.until))
    return since, until, found.by_stage


@pytest.mark.parametrize(
    ("entries", "expected"),
    [
        # seen alive on day 10, dead on day 14, which lies within the middle of the term as it is: nothing narrower
        ([(5.0, Candling("alive")), (10.0, Candling("alive")), (14.0, Candling("dead")), (22.0, Dead("middle"))], (10.0, 14.0, False)),
        # nobody looked before the break-out: the class alone
        ([(22.0, Dead("middle"))], (7.0, 16.0, True)),
        ([(22.0, Dead("early"))], (0.0, 7.0, True)),
        ([(22.0, Dead("late"))], (16.0, 22.0, True)),
        # a look that saw it alive in the class, and one that found it
        ([(18.0, Candling("fertile")), (22.0, Dead("late"))], (18.0, 22.0, False)),
        # a pip is a look, too; a weighing is none
        ([(19.5, Sign("internal pip")), (20.0, Weighing(50.0)), (21.0, Dead("internal pip"))], (19.5, 21.0, False)),
        # alive on day 12, written as dead in the first third: the two do not agree, so the looks alone count
        ([(12.0, Candling("alive")), (22.0, Dead("early"))], (12.0, 22.0, None)),
        # what was seen dead before it was seen alive was a slip of the eye
        ([(8.0, Candling("dead")), (10.0, Candling("alive")), (22.0, Dead("late"))], (16.0, 22.0, True)),
        # a look that saw neither is none
        ([(10.0, Candling("alive")), (12.0, Candling("not sure")), (14.0, Dead("middle"))], (10.0, 14.0, False)),
        # a chick
        ([(21.0, Hatched()), (22.0, ChickMass(38.0)), (24.0, Dead("after hatch"))], (22.0, 24.0, False)),
    ],
)  # fmt: skip
def test_between_two_looks_and_by_its_class(
    entries: list[tuple[float, Fact]], expected: tuple[float, float, bool | None]
) -> None:
    """Thirds of the term of a hen: 7 days, and 16 of 21, as the trade divides them."""
    assert span(*entries) == expected


def test_an_egg_that_did_not_die_has_no_death() -> None:
    """Hatched, taken out, or of which nothing is written."""
    for entries in ([], [(21.0, Hatched())], [(7.0, Removed("clear"))]):
        assert death_of(book(*entries), 7, TERM_D) is None


def test_what_happened_in_that_time() -> None:
    """A heat within it, one that reaches into it, and one that was over before."""
    found = death_of(book((10.0, Candling("alive")), (14.0, Candling("dead")), (22.0, Dead("middle"))), 7, TERM_D)
    assert found is not None
    assert found.holds(day(12.4), day(12.6))
    assert found.holds(day(9.0), day(10.1))
    assert not found.holds(day(9.0), day(10.0))
    assert not found.holds(day(14.0), day(15.0))


def test_each_class_that_is_in_the_egg_has_its_finding() -> None:
    """What a review is asked for where nobody wrote one; of a chick the trade's list has none."""
    assert set(FINDING_OF) == set(DEATHS) - {"after hatch"}
    assert set(FINDING_OF.values()) <= set(FINDING)
