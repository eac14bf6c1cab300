"""How often a batch's eggs were turned: as the switch of their turner says, and as somebody wrote it; and since when no more."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

from monitor.domain.eggs.book import EggBook, of_egg
from monitor.domain.eggs.entry import Entry, Turning, TurningStopped
from monitor.domain.needs.site import OF_TURNING, Site
from monitor.domain.state.happened import TURNING
from monitor.service.ports import BatchRecord
from monitor.service.reports.batch import ALL

# Without a turn for so many of its usual pauses, and so long at least, a turner has stopped (judgement).
PAUSES, STOPPED = 4.0, timedelta(hours=6)
FEWEST = 3  # turns, before any pause is usual
_NEVER = timedelta(0)


@dataclass(frozen=True, slots=True)
class BySwitch:
    """What switches counted while the eggs were in machines that have one. over: how long that was. longest: the longest time without a turn, and
    when it ended, None where it goes on; last: the last turn, None where there was none. none_before: the first turn, where that came so late that
    nobody can say whether they were turned before, or not counted; that time is in no figure."""

    times: int
    over: timedelta
    longest: timedelta
    longest_until: datetime | None
    last: datetime | None
    none_before: datetime | None = None


@dataclass(frozen=True, slots=True)
class Turned:
    """by_switch, by_hand: None where nobody counted; by_hand: (how often, in how long). stopped_at: since when they are turned no more, None where
    that is not known; stopped: the entry that says so, None where the switch does."""

    by_switch: BySwitch | None
    by_hand: tuple[int, timedelta] | None
    stopped_at: datetime | None
    stopped: Entry | None


def turned(history: BatchRecord, site: Site, book: EggBook, *, now: datetime, egg: int | None = None) -> Turned | None:
    """How often they were turned, up to the batch's end or `now`; None where nothing says anything. egg: as it is written of this one, too."""
    own = (*book.of_all, *(of_egg(book, egg) if egg is not None else ()))
    counts = [(e.fact.times, e.fact.hours) for e in own if isinstance(e.fact, Turning)]
    said = [e for e in own if isinstance(e.fact, TurningStopped)]
    by_switch, stopped_at = _by_switch(history, site, book, now=now)
    if by_switch is None and not counts and not said:
        return None
    by_hand = (int(sum(times for times, _ in counts)), timedelta(hours=sum(hours for _, hours in counts)))
    return Turned(
        by_switch=by_switch,
        by_hand=by_hand if counts else None,
        stopped_at=said[-1].at if said else stopped_at,
        stopped=said[-1] if said else None,
    )


def _by_switch(
    history: BatchRecord, site: Site, book: EggBook, *, now: datetime
) -> tuple[BySwitch | None, datetime | None]:
    """(what was counted, since when a turner that turned stands still)."""
    spans = list(_counted(history, site, book, now=now))
    if not spans:
        return None, None
    turns = [at for _, _, found in spans for at in found]
    pauses = [
        (later - earlier, later if later in found else None)
        for since, until, found in spans
        for earlier, later in pairwise((since, *found, until))
    ]
    longest, longest_until = max(pauses, key=lambda each: each[0], default=(_NEVER, None))
    over = sum((until - since for since, until, _ in spans), _NEVER)
    last = turns[-1] if turns else None
    begun = book.batch.stays[0].since if book.batch.stays else spans[0][0]
    none_before = spans[0][0] if turns and spans[0][0] == turns[0] > begun else None
    counted = BySwitch(
        times=len(turns), over=over, longest=longest, longest_until=longest_until, last=last, none_before=none_before
    )
    if last is None or len(turns) < FEWEST:
        return counted, None
    usual = median((later - earlier).total_seconds() for earlier, later in pairwise(turns))
    still = spans[-1][1] - last > max(STOPPED, timedelta(seconds=PAUSES * usual))
    return counted, last if still else None


def _counted(
    history: BatchRecord, site: Site, book: EggBook, *, now: datetime
) -> Iterator[tuple[datetime, datetime, Sequence[datetime]]]:
    """(from, until, its turns) of each time that the eggs were in a machine whose turns are counted."""
    batch = book.batch
    end = min(batch.closed_at or now, now)
    switched = {s.machine for s in site.switches.values() if s.kind == OF_TURNING}
    for stay in batch.stays:
        until = min(stay.until or end, end)
        if not stay.since < until:
            continue
        events = history.events(stay.since, ALL, until=until, subject=stay.machine)
        found = [e.at for e in events if e.kind == TURNING]
        # That it never turned is told while it can still be mended.
        if found or (batch.closed_at is None and stay.until is None and stay.machine in switched):
            late = bool(found) and found[0] - stay.since > STOPPED
            yield found[0] if late else stay.since, until, found
