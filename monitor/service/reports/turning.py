"""How often a batch's eggs were turned: as the switch of their turner says, and as somebody wrote it; and since when no more. Told as it was
counted, and, for a review, as the pauses between turns in one window."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

from monitor.analysis.review.judged import Figure
from monitor.domain.eggs.book import EggBook, of_egg
from monitor.domain.eggs.entry import Entry, Turning, TurningStopped
from monitor.domain.needs.batch import Batch, whole_day
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


Counted = tuple[datetime, datetime, Sequence[datetime]]  # from, until, its turns


def turns_of(history: BatchRecord, site: Site, book: EggBook, *, now: datetime) -> tuple[Counted, ...]:
    """What switches counted of a batch's turns, up to its end or `now`."""
    return tuple(_counted(history, site, book, now=now))


def turns_by_day(by_switch: Sequence[Counted], batch: Batch) -> tuple[tuple[int, int], ...]:
    """(day of development, turns) of each day that has any, in order."""
    return tuple(Counter(whole_day(batch.day(at)) for _, _, found in by_switch for at in found).items())


def pauses(
    by_switch: Sequence[Counted], book: EggBook, egg: int | None, *, within: tuple[datetime, datetime]
) -> tuple[Figure, Figure] | None:
    """(the time between two turns on average, the longest without one) from one moment to another, in h; None where nobody counted.

    A time in which a switch counted is its own. What was written by hand is taken as evenly spread over its hours, and from the word that they
    are turned no more there is no turn.
    """
    since, until = within
    if not since < until:
        return None
    own = (*book.of_all, *(of_egg(book, egg) if egg is not None else ()))
    stopped = [e.at for e in own if isinstance(e.fact, TurningStopped)]
    turning_until = min(stopped[-1], until) if stopped else until
    known = [_cut(each, (since, turning_until)) for each in by_switch]
    known += [_cut((turning_until, until, []), within)]
    for each in _by_hand(own):
        known += [_cut(each, piece) for piece in _left((max(each[0], since), min(each[1], until)), known)]
    known = sorted((each for each in known if each[0] < each[1]), key=lambda each: each[0])
    if not known:
        return None
    turns = sum(len(found) for _, _, found in known)
    over_h = sum(_hours(till - begun) for begun, till, _ in known)
    coverage = min(over_h / _hours(until - since), 1.0)
    gap_h = max(_hours(till - begun) for begun, till in [(since, since), *_left(within, known)])
    longest_h = max(_hours(later - earlier) for run in _runs(known) for earlier, later in pairwise(run))
    mean = Figure(over_h / max(turns, 1), coverage=coverage, longest_gap_h=gap_h)
    return mean, Figure(longest_h, coverage=coverage, longest_gap_h=gap_h)


def _by_hand(own: Sequence[Entry]) -> Iterator[Counted]:
    """What was written, each as so many turns at even steps; the newest first, for it was written with the others in mind."""
    counts = sorted((e for e in own if isinstance(e.fact, Turning)), key=lambda e: (e.at, e.number), reverse=True)
    for entry in counts:
        if isinstance(entry.fact, Turning):
            over, times = timedelta(hours=entry.fact.hours), int(entry.fact.times)
            begun = entry.at - over
            yield begun, entry.at, [begun + over * ((n + 0.5) / times) for n in range(times)]


def _cut(each: Counted, within: tuple[datetime, datetime]) -> Counted:
    since, until = max(each[0], within[0]), min(each[1], within[1])
    return since, until, [at for at in each[2] if since <= at < until]


def _left(within: tuple[datetime, datetime], known: Sequence[Counted]) -> list[tuple[datetime, datetime]]:
    """The parts of a time in which nobody counted; the last may be of no length, or less."""
    left, at = [], within[0]
    for since, until, _ in sorted(known, key=lambda each: each[0]):
        if at < min(since, within[1]):
            left.append((at, min(since, within[1])))
        at = max(at, until)
    return [*left, (at, within[1])]


def _runs(known: Sequence[Counted]) -> Iterator[list[datetime]]:
    """The turns of each time without a hole, between its ends."""
    run: list[datetime] = []
    ended: datetime | None = None
    for since, until, found in known:
        if since != ended:
            if ended is not None:
                yield [*run, ended]
            run = [since]
        run, ended = [*run, *found], until
    if ended is not None:
        yield [*run, ended]


def _hours(span: timedelta) -> float:
    return span / timedelta(hours=1)


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


def _counted(history: BatchRecord, site: Site, book: EggBook, *, now: datetime) -> Iterator[Counted]:
    """Each time that the eggs were in a machine whose turns are counted."""
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
