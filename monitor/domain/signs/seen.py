"""What was seen of a machine's door: that it was opened, or that the air does not come back after it. Facts; `shown/happened.py` words them."""

from __future__ import annotations

import re
from typing import TypeAlias

from monitor.domain.fixed import fixed


@fixed
class Opened:
    """The machine was open for about so many minutes, and its air came down to so many °C; as precise as it is told."""

    minutes: float
    lowest_c: float


LATE, NOT_TURNED, NOT_CLIMBING = "late", "not turned", "not climbing"


@fixed
class NotBack:
    """More about an opening, and none of its own: the air does not come back. why: LATE, NOT_TURNED or NOT_CLIMBING."""

    why: str


Seen: TypeAlias = Opened | NotBack

_OPENED = re.compile(r"opened for about (\d+) min, lowest (-?\d+\.\d) °C")
_NOT_BACK = re.compile(r"not coming back after an opening: (.+)")
_WHY = {
    "not back in time": LATE,
    "not back within 10 min": LATE,  # for as long as that was the time
    "the temperature has not turned": NOT_TURNED,
    "the temperature does not come back": NOT_CLIMBING,
}


def seen_of_words(text: str) -> Seen | None:
    """What the words of an event say. None where they are no such words.

    Two read them: a record of before it kept facts, and every archive, for its form, which stays, has the event's words alone. Nothing
    else reads our own words: what is seen travels as facts.
    """
    if opened := _OPENED.fullmatch(text):
        return Opened(float(opened[1]), float(opened[2]))
    if not_back := _NOT_BACK.fullmatch(text):
        return NotBack(why_of_words(not_back[1]))
    return None


def why_of_words(words: str) -> str:
    """Why the air does not come back, of which the first rows with facts had the words."""
    return _WHY.get(words, words)
