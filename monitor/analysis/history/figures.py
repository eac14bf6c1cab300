"""The figures of one quantity over one window: from its line, or merged from those of windows in a row."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from monitor.analysis.history.excursions import ABOVE, BELOW, HOUR_MS, Excursion, Place, chained, outside, settled
from monitor.analysis.line.doubt import NO_DOUBT, Doubt, together
from monitor.analysis.line.trace import Trace
from monitor.domain.needs.profile import Band


@dataclass(frozen=True, slots=True)
class Gap:
    """A time without good data."""

    since_ms: int
    until_ms: int

    @property
    def seconds(self) -> float:
        """How long it lasted."""
        return (self.until_ms - self.since_ms) / 1000.0


@dataclass(frozen=True, slots=True)
class Limits:
    """What in, above and below refer to from since_ms to until_ms; None on a side without a limit."""

    since_ms: int
    until_ms: int
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """One quantity from since_ms to until_ms: °C or %RH, sd in K or %RH, degree-hours in K·h or %RH·h.

    mean, sd, min and max are None without any line; min_at_ms and max_at_ms say when they were first reached.
    The hours in, above and below, and those covered while nothing was judged (hours_unjudged), make up
    hours_covered; with the gaps they make up hours_total. max_gap_s: the allowed silence, the longest in the
    window. samples: readings of all probes that make the line; flagged: failed ones, left out of everything
    else; doubt: how much of the line rests on suspect ones.
    """

    since_ms: int
    until_ms: int
    mean: float | None
    sd: float | None
    min: float | None
    min_at_ms: int | None
    max: float | None
    max_at_ms: int | None
    hours_in: float
    hours_above: float
    hours_below: float
    hours_unjudged: float
    degree_hours_above: float
    degree_hours_below: float
    hours_covered: float
    max_gap_s: float
    samples: int
    flagged: int
    limits: tuple[Limits, ...]
    gaps: tuple[Gap, ...]
    excursions: tuple[Excursion, ...]
    doubt: Doubt = NO_DOUBT

    @property
    def hours_total(self) -> float:
        """Length of the window."""
        return (self.until_ms - self.since_ms) / HOUR_MS

    @property
    def coverage(self) -> float:
        """Share of the window with good data, 0 to 1."""
        return self.hours_covered / self.hours_total

    @property
    def longest_gap(self) -> Gap | None:
        """The longest time without good data, the first of equals."""
        return max(self.gaps, key=lambda gap: gap.until_ms - gap.since_ms, default=None)

    @property
    def longest_gap_s(self) -> float:
        """Its length; 0 without any gap."""
        gap = self.longest_gap
        return gap.seconds if gap is not None else 0.0


def limits_of(band: Band | None) -> tuple[float | None, float | None]:
    """(low, high) that in, above and below refer to: the warning limit, else the alarm limit of that side."""
    if band is None:
        return None, None
    return band.calm


def figures_of(
    trace: Trace,
    band: Band | None,
    place: Place,
    *,
    max_gap_s: float,
    samples: int,
    flagged: int,
    doubt: Doubt = NO_DOUBT,
) -> Figures:
    """The figures of one line against one band: integrals, extremes and crossings of its straight pieces."""
    low, high = limits_of(band)
    above, below = outside(trace, high, ABOVE, place=place), outside(trace, low, BELOW, place=place)
    covered = trace.covered_ms / HOUR_MS
    judged = low is not None or high is not None
    least, most = trace.lowest(), trace.highest()
    spread = trace.mean_and_sd()
    since_ms, until_ms = place.since_ms, place.since_ms + trace.length_ms
    gaps = tuple(Gap(since_ms + start, since_ms + end) for start, end in trace.gaps())
    excursions = sorted((*above.excursions, *below.excursions), key=lambda each: each.since_ms)
    return Figures(
        since_ms=since_ms,
        until_ms=until_ms,
        mean=spread[0] if spread else None,
        sd=spread[1] if spread else None,
        min=least[0] if least else None,
        min_at_ms=since_ms + least[1] if least else None,
        max=most[0] if most else None,
        max_at_ms=since_ms + most[1] if most else None,
        hours_in=max(0.0, covered - above.hours - below.hours) if judged else 0.0,
        hours_above=above.hours,
        hours_below=below.hours,
        hours_unjudged=0.0 if judged else covered,
        degree_hours_above=above.area,
        degree_hours_below=below.area,
        hours_covered=covered,
        max_gap_s=max_gap_s,
        samples=samples,
        flagged=flagged,
        limits=(Limits(since_ms, until_ms, low, high),),
        gaps=gaps,
        excursions=settled(
            excursions, _by_start(gaps), since_ms=since_ms, until_ms=until_ms, max_gap_ms=max_gap_s * 1000.0
        ),
        doubt=doubt,
    )


def merged(parts: Sequence[Figures]) -> Figures:
    """The figures of windows that follow one another, as figures of the window they make together.

    Exact up to rounding: sums are added, means weighted by time, the spread is taken about the common mean
    (the pairwise update of Chan, Golub and LeVeque 1979), and gaps and excursions that meet at a boundary
    become one.
    """
    covered = math.fsum(part.hours_covered for part in parts)
    lines = [part for part in parts if part.mean is not None]
    mean = sd = None
    if lines:
        mean = math.fsum(part.hours_covered * _given(part.mean) for part in lines) / covered
        squares = ((p.hours_covered, _given(p.sd) ** 2 + (_given(p.mean) - mean) ** 2) for p in lines)
        sd = math.sqrt(math.fsum(hours * square for hours, square in squares) / covered)
    least = min(lines, key=lambda part: _given(part.min), default=parts[0])
    most = max(lines, key=lambda part: _given(part.max), default=parts[0])
    since_ms, until_ms = parts[0].since_ms, parts[-1].until_ms
    max_gap_s = max(part.max_gap_s for part in parts)
    gaps = _joined_gaps(gap for part in parts for gap in part.gaps)
    excursions = chained([part.excursions for part in parts], [part.until_ms for part in parts[:-1]])
    return Figures(
        since_ms=since_ms,
        until_ms=until_ms,
        mean=mean,
        sd=sd,
        min=least.min,
        min_at_ms=least.min_at_ms,
        max=most.max,
        max_at_ms=most.max_at_ms,
        hours_in=math.fsum(part.hours_in for part in parts),
        hours_above=math.fsum(part.hours_above for part in parts),
        hours_below=math.fsum(part.hours_below for part in parts),
        hours_unjudged=math.fsum(part.hours_unjudged for part in parts),
        degree_hours_above=math.fsum(part.degree_hours_above for part in parts),
        degree_hours_below=math.fsum(part.degree_hours_below for part in parts),
        hours_covered=covered,
        max_gap_s=max_gap_s,
        samples=sum(part.samples for part in parts),
        flagged=sum(part.flagged for part in parts),
        limits=_one_after_another(limits for part in parts for limits in part.limits),
        gaps=gaps,
        excursions=settled(
            excursions, _by_start(gaps), since_ms=since_ms, until_ms=until_ms, max_gap_ms=max_gap_s * 1000.0
        ),
        doubt=together(part.doubt for part in parts),
    )


def _given(value: float | None) -> float:
    assert value is not None  # a part with a line has all of its figures
    return value


def _by_start(gaps: Iterable[Gap]) -> dict[int, int]:
    return {gap.since_ms: gap.until_ms for gap in gaps}


def _one_after_another(every: Iterable[Limits]) -> tuple[Limits, ...]:
    """Limits that stay the same from one window to the next, told once."""
    told: list[Limits] = []
    for limits in every:
        if told and (told[-1].low, told[-1].high) == (limits.low, limits.high):
            told[-1] = Limits(told[-1].since_ms, limits.until_ms, limits.low, limits.high)
        else:
            told.append(limits)
    return tuple(told)


def _joined_gaps(every: Iterable[Gap]) -> tuple[Gap, ...]:
    joined: list[Gap] = []
    for gap in every:
        if joined and joined[-1].until_ms == gap.since_ms:
            joined[-1] = Gap(joined[-1].since_ms, gap.until_ms)
        else:
            joined.append(gap)
    return tuple(joined)
