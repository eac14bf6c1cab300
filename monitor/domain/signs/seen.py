"""What was seen of a machine's door: that it was opened, or that the air does not come back after it. Facts; `shown/openings.py` words them."""

from __future__ import annotations

import re
from typing import TypeAlias

from monitor.domain.fixed import fixed


@fixed
class Opened:
    """The machine was open for about so many minutes, and its air came down to so many °C; as precise as it is told."""

    minutes: float
    lowest_c: float


@fixed
class NotBack:
    """More about an opening, and none of its own: the air does not come back. why: as `opening.watch` says it."""

    why: str


Seen: TypeAlias = Opened | NotBack

_OPENED = re.compile(r"opened for about (\d+) min, lowest (-?\d+\.\d) °C")
_NOT_BACK = re.compile(r"not coming back after an opening: (.+)")


def seen_of_words(text: str) -> Seen | None:
    """What the words of an event say. None where they are no such words.

    Two read them: a record of before it kept facts, and every archive, for its form, which stays, has the event's words alone. Nothing
    else reads our own words: what is seen travels as facts.
    """
    if opened := _OPENED.fullmatch(text):
        return Opened(float(opened[1]), float(opened[2]))
    if not_back := _NOT_BACK.fullmatch(text):
        return NotBack(not_back[1])
    return None
