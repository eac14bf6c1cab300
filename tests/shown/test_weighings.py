"""Why weighings say nothing of a loss, in words."""

from __future__ import annotations

import pytest

from monitor.analysis.water.loss import NOT_WEIGHED, TOO_CLOSE, WEIGHED_ONCE, FarOff, NoLine
from monitor.domain.eggs.book import After, LeftOut, OtherEggs
from monitor.shown.weighings import left_out_words, unknown_words


@pytest.mark.parametrize(
    ("why", "words", "too_late"),
    [
        (
            NoLine(NOT_WEIGHED, 0),
            "not weighed yet, expected two weighings, or one with length and breadth",
            "not weighed",
        ),
        (
            NoLine(WEIGHED_ONCE, 1),
            "weighed once, expected again some days later, or length and breadth",
            "weighed once",
        ),
        (
            NoLine(TOO_CLOSE, 2),
            "2 weighings too close together, expected some days between two",
            "2 weighings too close together",
        ),
        (NoLine(TOO_CLOSE, 1), "one weighing too close together, expected some days between two", None),
        (After("pipped"), "weighed only after it was pipped", "weighed only after it was pipped"),
        (OtherEggs(9, 10), "weighed only 9 eggs, first 10", None),
    ],
)
def test_why_nothing_can_be_said(why: NoLine | LeftOut, words: str, too_late: str | None) -> None:
    """What there is, and what would do; of an egg that has ended only the first, for it is too late for more."""
    assert unknown_words(why) == words
    assert unknown_words(why, too_late=True) == (too_late or words.partition(", expected")[0])


def test_why_one_is_left_out() -> None:
    """After its shell was whole no more, with other eggs than the first time, or off the line."""
    assert left_out_words(After("hatched")) == "after it was hatched"
    assert left_out_words(OtherEggs(11, 12)) == "11 eggs, first 12"
    assert left_out_words(FarOff()) == "far off the line of the others"
