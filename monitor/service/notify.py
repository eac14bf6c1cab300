"""The notification stages, and the order they stand in: what one contact's unsent notices become before the next one is sent.

A stage is a small class with one method: notices in, those that go on out. It does one thing and knows no other stage. The
list `standard_stages` is their order.

    DropSuperseded   a mild episode that is over before it was told is told once, by its closing notice
    GroupRest        what waits at the same moment is joined into one message; what is critical goes by itself

A notice that a stage folds into another is not lost: its id travels along in `Outgoing.joined`, and is marked sent with the message.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from monitor.domain.notice import Notice
from monitor.domain.rules import CRITICAL, LOW, MEDIUM, PRIORITIES

MAX_LINES = 3  # what a phone shows without opening the message
# Each joined notice is one row to mark, so one write to the card, when the message got through.
MAX_JOINED = 20
OVER = "It happened and is over; this is the first you hear of it. "


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message: the notice as it will be sent (a stage may have rewritten it), and the ids of the others it also tells."""

    notice: Notice
    joined: tuple[int, ...] = ()

    @property
    def ids(self) -> tuple[int, ...]:
        """Every notice that is told when this message gets through; its own comes first."""
        return (self.notice.id, *self.joined)


class Stage(Protocol):
    """One step between the outbox and the phone. Pure: the same notices and time give the same answer."""

    def pass_on(self, notices: Sequence[Outgoing], now: datetime) -> list[Outgoing]:
        """Those that go on, in the order they should be sent."""
        ...


def standard_stages() -> tuple[Stage, ...]:
    """The stages in the order they stand."""
    return (DropSuperseded(), GroupRest())


def pass_through(stages: Sequence[Stage], notices: Sequence[Notice], now: datetime) -> list[Outgoing]:
    """What one contact's notices become, in the order they should be sent; at least one for at least one."""
    outgoing = [Outgoing(notice) for notice in notices]
    for stage in stages:
        outgoing = stage.pass_on(outgoing, now)
    return outgoing


def episode(notice: Notice) -> int:
    """What belongs together: an alarm's number names one episode; a notice about no alarm stands for itself."""
    return notice.alarm_number or -notice.id


class DropSuperseded:
    """Low and medium: an unsent opening is folded into its closing notice. What is urgent is always told in full first."""

    def pass_on(self, notices: Sequence[Outgoing], now: datetime) -> list[Outgoing]:
        """See the class."""
        closings = {episode(o.notice): o.notice for o in notices if o.notice.closing}
        folded: dict[int, list[int]] = {}
        kept = []
        for outgoing in notices:
            closing = closings.get(episode(outgoing.notice))
            if closing is not None and superseded(outgoing.notice, closing):
                folded.setdefault(closing.id, []).extend(outgoing.ids)
            else:
                kept.append(outgoing)
        return [_told_late(o, folded[o.notice.id]) if o.notice.id in folded else o for o in kept]


def superseded(notice: Notice, closing: Notice) -> bool:
    """Whether the closing notice of the same episode makes this unsent one needless."""
    return not notice.closing and notice.id < closing.id and notice.priority in (LOW, MEDIUM)


def _told_late(closing: Outgoing, openings: Sequence[int]) -> Outgoing:
    notice = replace(closing.notice, text=OVER + closing.notice.text)
    return Outgoing(notice, (*closing.joined, *openings))


class GroupRest:
    """Whatever is not critical and waits at the same moment goes as one message, led by the most urgent thing that still stands."""

    def pass_on(self, notices: Sequence[Outgoing], now: datetime) -> list[Outgoing]:
        """See the class. The message stands where the first of its members stood."""
        group = [o for o in notices if o.notice.priority != CRITICAL][:MAX_JOINED]
        if len(group) < 2:
            return list(notices)
        first, members = group[0].notice.id, {o.notice.id for o in group}
        message = _one_message(group)
        return [
            message if o.notice.id == first else o
            for o in notices
            if o.notice.id == first or o.notice.id not in members
        ]


def _one_message(group: Sequence[Outgoing]) -> Outgoing:
    """The leader in full, for whoever was woken must know what to do; a line for each of the next; a count of what is left."""
    ordered = sorted(group, key=lambda o: (o.notice.closing, -PRIORITIES.index(o.notice.priority), o.notice.id))
    head, rest = ordered[0].notice, ordered[1:]
    lines = [head.text, *(_line(o.notice) for o in rest[: MAX_LINES - 1])]
    more = len(rest) - (MAX_LINES - 1)
    if more > 0:
        lines.append(f"and {more} more")
    notice = replace(head, title=f"{head.title} ({len(ordered)} notices)", text="\n".join(lines))
    joined = (*ordered[0].joined, *(id_ for o in rest for id_ in o.ids))
    return Outgoing(notice, joined)


def _line(notice: Notice) -> str:
    return f"{notice.title}. No. {notice.alarm_number}" if notice.alarm_number else notice.title
