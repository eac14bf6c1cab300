"""A switch that a node reads (mains, a door, water), as it was lately.

A contact chatters when it wears out or its wire is loose: what turns so often in so short a time is nobody's hand, and is not believed
until it has been calm. What was said before what is known already, a backlog or a retained message, changes nothing.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from monitor.domain.fixed import fixed

# Somebody who candles tray by tray turns a door's contact twice a minute at most (judgement).
CHATTERS, CHATTER_S = 8, 180.0
CALM_S = 300.0


@fixed
class Contact:
    """What one switch says. said: whether it says what somebody is to know (no mains, an open door, little water).

    at: when its newest word was taken, since: when the first of those that say the same was; order: (line, counted time) of the newest.
    mono_s, turned_mono_s: when these two came, on the forward clock. turns: when it turned, the last few times. kept: what the record was
    last told. missed: how often, since it last turned, the air said that a door was opened of which no contact of its machine told.
    """

    said: bool
    at: datetime
    since: datetime
    order: tuple[int, int]
    mono_s: float
    turned_mono_s: float
    turns: tuple[float, ...] = ()
    kept: bool = False
    missed: int = 0


def follow(before: Contact | None, said: bool, *, at: datetime, order: tuple[int, int], mono_s: float) -> Contact:
    """One more word of a switch, that came at mono_s; what was taken before the newest changes nothing."""
    if before is None:
        return Contact(said, at, at, order, mono_s, mono_s)
    line, before_line = order[0], before.order[0]
    if order < before.order if line == before_line else at < before.at:
        return before
    if said is before.said:
        return replace(before, at=at, order=order, mono_s=mono_s)
    turns = (*before.turns, mono_s)[-CHATTERS:]
    return replace(
        before, said=said, at=at, since=at, order=order, mono_s=mono_s, turned_mono_s=mono_s, turns=turns, missed=0
    )


def chatters(contact: Contact, mono_s: float) -> bool:
    """Whether it turned so often lately that nothing it says is believed."""
    turns = contact.turns
    return len(turns) == CHATTERS and turns[-1] - turns[0] <= CHATTER_S and mono_s - turns[-1] <= CALM_S
