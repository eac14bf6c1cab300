"""The notification stages, and the order they stand in: what the notices that are due for one contact become as one message.

A stage is a small class with one method: notices in, those that go on out. It does one thing and knows no other stage. The
list `standard_stages` is their order. When a notice is due is not theirs to say (outbox.py).

    DropSuperseded   a mild episode that is over before it was told is told once, by its closing notice
    GroupRest        what goes at the same moment goes as one message, which names the worst, and what came first; here the
                     words of what is sent are made

A notice that a stage folds into another is not lost: its id travels along in `Outgoing.joined`, and is marked sent with the message.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from monitor.domain.alarms.joined import episode, told_late
from monitor.domain.alarms.notice import Notice
from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import LOW, MEDIUM
from monitor.service.ports import Words


@fixed
class Outgoing:
    """One message: the notice as it will be sent (a stage may have rewritten it), and the ids of the others it also tells."""

    notice: Notice
    joined: tuple[int, ...] = ()

    @property
    def ids(self) -> tuple[int, ...]:
        """Every notice that is told when this message gets through; its own comes first."""
        return (self.notice.id, *self.joined)


class Stage(Protocol):
    """One step between the outbox and the phone. Pure: the same notices give the same answer."""

    def pass_on(self, notices: Sequence[Outgoing], told: Sequence[Notice]) -> list[Outgoing]:
        """Those that go on, in the order they should be sent. told: what this contact was told lately, oldest first."""
        ...


def standard_stages(words: Words) -> tuple[Stage, ...]:
    """The stages in the order they stand."""
    return (DropSuperseded(), GroupRest(words))


def pass_through(stages: Sequence[Stage], notices: Sequence[Notice], told: Sequence[Notice] = ()) -> list[Outgoing]:
    """What one contact's notices become, in the order they should be sent; at least one for at least one."""
    outgoing = [Outgoing(notice) for notice in notices]
    for stage in stages:
        outgoing = stage.pass_on(outgoing, told)
    return outgoing


class DropSuperseded:
    """Low and medium: an unsent opening is folded into its closing notice."""

    def pass_on(self, notices: Sequence[Outgoing], told: Sequence[Notice]) -> list[Outgoing]:
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
        return [_folded(o, folded[o.notice.id]) if o.notice.id in folded else o for o in kept]


def superseded(notice: Notice, closing: Notice) -> bool:
    """Whether the closing notice of the same episode makes this unsent one needless."""
    return not notice.closing and notice.id < closing.id and notice.priority in (LOW, MEDIUM)


def _folded(closing: Outgoing, openings: Sequence[int]) -> Outgoing:
    return Outgoing(told_late(closing.notice), (*closing.joined, *openings))


class GroupRest:
    """Whatever goes at the same moment goes as one message, led by the most urgent thing that still stands."""

    def __init__(self, words: Words) -> None:
        self._words = words

    def pass_on(self, notices: Sequence[Outgoing], told: Sequence[Notice]) -> list[Outgoing]:
        """See the class."""
        if not notices:
            return []
        notice = self._words.join([o.notice for o in notices], told)
        return [Outgoing(notice, tuple(id_ for o in notices for id_ in o.ids if id_ != notice.id))]
