"""Why weighings say nothing of a loss, in words."""

from __future__ import annotations

from monitor.analysis.water.loss import NOT_WEIGHED, TOO_CLOSE, WEIGHED_ONCE, FarOff, NoLine
from monitor.domain.eggs.book import After, LeftOut, OtherEggs


def left_out_words(why: LeftOut | FarOff) -> str:
    """Why a weighing says nothing of the loss: `after it was hatched`, `11 eggs, first 12`."""
    if isinstance(why, After):
        return f"after it was {why.end}"
    if isinstance(why, OtherEggs):
        return f"{why.eggs} eggs, first {why.first}"
    return "far off the line of the others"


def unknown_words(why: NoLine | LeftOut, *, too_late: bool = False) -> str:
    """Why nothing can be said of a loss, and what would do; too_late: for that."""
    if isinstance(why, After | OtherEggs):
        return f"weighed only {left_out_words(why)}"
    found, yet, expected = {
        NOT_WEIGHED: ("not weighed", " yet", "two weighings, or one with length and breadth"),
        WEIGHED_ONCE: ("weighed once", "", "again some days later, or length and breadth"),
        TOO_CLOSE: (f"{_weighings(why.weighings)} too close together", "", "some days between two"),
    }[why.why]
    return found if too_late else f"{found}{yet}, expected {expected}"


def _weighings(weighings: int) -> str:
    return "one weighing" if weighings == 1 else f"{weighings} weighings"
