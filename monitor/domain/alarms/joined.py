"""Several notices in one message: what is the matter with how many, which came first, which else. Facts only; for the words see
`shown/phone/joined.py`.

A flood of alarms mostly has one cause, and the alarm that came first points at it (the first-out of a group: OPC UA Part 9,
FirstInGroup). So the message is led by the worst, and names the first: "6 machines too hot: first Setter 1 at 02:14". A first that was
told by itself a moment ago is named, and counted, all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import timedelta

from monitor.domain.alarms.notice import Notice
from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import PRIORITIES

# Alarms closer than this are one flood: a room warms its machines one after the other (judgement).
RUN_GAP = timedelta(minutes=2)

# Over, the rule (empty: no longer judged), and the episode of what can be told with no other.
Matter = tuple[bool, str, int]


@fixed
class Alike:
    """Episodes of which the same is said, at least one; the first to come first."""

    notices: tuple[Notice, ...]

    @property
    def head(self) -> Notice:
        """The most urgent, of equals what is new, of these the first."""
        return max(self.notices, key=lambda n: (urgency(n), not reminds(n), -n.id))

    @property
    def closing(self) -> bool:
        """Whether all of it is over."""
        return self.head.closing

    @property
    def still(self) -> bool:
        """Whether nothing of it is new."""
        return all(map(reminds, self.notices))


@fixed
class Joined:
    """What one message tells: the worst that stands (or, where nothing does, that is over), and what else.

    fellows: of the same flood as the worst, told already, and still so. others: what stands before what is over, the most urgent before
    the mild, of equals what is new before what was told already, of these the one that came first. began: the first of the flood that the worst belongs to, told now or before; None where
    the worst is over. numbers: those to answer with, rising.
    """

    lead: Alike
    fellows: tuple[Notice, ...]
    others: tuple[Alike, ...]
    began: Notice | None
    numbers: tuple[int, ...]

    @property
    def more(self) -> int:
        """How many other things stand."""
        return sum(len(group.notices) for group in self.others if not group.closing)

    @property
    def first(self) -> Notice | None:
        """What it all began with; None where there is no other that it could have begun with."""
        alone = len(self.lead.notices) + len(self.fellows) + self.more == 1
        return None if alone else self.began

    @property
    def began_alike(self) -> bool:
        """Whether the flood began with the same as is now the worst."""
        return self.began is not None and matter(self.began) == matter(self.lead.head)


def episode(notice: Notice) -> int:
    """What belongs together: an alarm's number names one episode; a notice about no alarm stands for itself."""
    return notice.alarm_number or -notice.id


def reminds(notice: Notice) -> bool:
    """Whether it only says again what stands."""
    return notice.facts is not None and notice.facts.still


def told_late(closing: Notice) -> Notice:
    """The closing notice of an episode whose beginning was never told."""
    return replace(closing, late=True)


def matter(notice: Notice) -> Matter:
    """What is the matter: notices with the same can be told in one breath. One that has its words alone is like no other."""
    facts = notice.facts
    if facts is None:
        return notice.closing, "", episode(notice)
    return notice.closing, "" if facts.unjudged else facts.rule, 0


def gather(notices: Sequence[Notice], told: Sequence[Notice] = ()) -> Notice | Joined:
    """What one message tells, for all of them (at least one); of a single episode its last word.

    told: what the contact was told in the last minutes; of it only that counts which belongs to the same flood.
    """
    newest = {episode(n): n for n in sorted(notices, key=lambda n: n.id)}
    if len(newest) == 1:
        (last,) = newest.values()
        began_unheard = last.closing and any(not n.closing for n in notices)
        return told_late(last) if began_unheard else last
    lead, *others = _groups(newest.values())
    run = [] if lead.closing else _run(lead, (*told, *notices))
    return Joined(
        lead=lead,
        fellows=_fellows(lead, run, told, newest=newest),
        others=tuple(others),
        began=run[0] if run else None,
        numbers=tuple(sorted({n.alarm_number for n in newest.values()} - {0})),
    )


def urgency(notice: Notice) -> int:
    """Higher is more urgent."""
    return PRIORITIES.index(notice.priority)


def _groups(notices: Iterable[Notice]) -> list[Alike]:
    """What still stands before what is over, the most urgent before the mild, of equals what is new, of these the one that came first."""
    alike: dict[Matter, list[Notice]] = {}
    for notice in sorted(notices, key=_came):
        alike.setdefault(matter(notice), []).append(notice)
    groups = [Alike(tuple(found)) for found in alike.values()]
    return sorted(groups, key=lambda g: (g.closing, -urgency(g.head), reminds(g.head), _came(g.notices[0])))


def _run(lead: Alike, known: Iterable[Notice]) -> list[Notice]:
    """The beginnings of the flood that the worst belongs to, the first first: each came within RUN_GAP of the one before."""
    began: dict[int, Notice] = {}
    for notice in sorted((n for n in known if not n.closing and n.alarm_number), key=lambda n: n.id):
        began.setdefault(episode(notice), notice)
    mine = episode(lead.notices[0])
    run: list[Notice] = []
    for notice in sorted(began.values(), key=_came):
        if run and notice.created - run[-1].created > RUN_GAP:
            if any(episode(n) == mine for n in run):
                break
            run = []
        run.append(notice)
    return run if any(episode(n) == mine for n in run) else []


def _fellows(
    lead: Alike, run: Iterable[Notice], told: Iterable[Notice], *, newest: dict[int, Notice]
) -> tuple[Notice, ...]:
    """Those of the same flood of which the same was told already, and which were not told to be over."""
    over = {episode(n) for n in told if n.closing}
    return tuple(
        n for n in run if matter(n) == matter(lead.head) and episode(n) not in newest and episode(n) not in over
    )


def _came(notice: Notice) -> tuple[float, int]:
    """Alarms are numbered in the order in which they begin; what is about no alarm comes last."""
    return (notice.alarm_number or float("inf"), notice.id)
