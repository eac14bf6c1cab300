"""Unbroken stays outside a band: start, end, peak, area, from the line of one quantity and one limit.

A value equal to the limit is inside the band; equal within 1e-9, since 37.3 + 0.5 need not be 37.8 to the
last bit. There is no deadband and no delay here (those belong to alarms): every moment the line is outside
counts, so the areas of the excursions are all of the degree-hours, and their lengths all of the time outside.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitor.analysis.line.trace import Floats, Integers, Mask, Trace

ABOVE, BELOW = "above", "below"
HOUR_MS = 3_600_000.0
ON_THE_LIMIT = 1e-9  # K or %RH: rounding of a mean or a calibration, far below any sensor's step


@dataclass(frozen=True, slots=True)
class Excursion:
    """One unbroken stay outside a band, in one machine and one stage.

    since_ms, until_ms: where the line crosses the limit, to the millisecond. peak: the value farthest out,
    first reached at peak_at_ms; limit: the limit that stood there. area: the integral of the distance from
    the limit, K·h or %RH·h. cut_by_gap: data are missing just before or just after, so the stay may have been
    longer. open: still outside where the window ends (at its last reading, when that is within the allowed
    silence of the end). at_start: likewise outside already where it starts. An excursion that is none of
    these began and ended in sight, or where the eggs came to another machine or stage, or the band changed.
    """

    side: str
    since_ms: int
    until_ms: int
    peak: float
    peak_at_ms: int
    limit: float
    area: float
    machine: str
    stage: str
    cut_by_gap: bool = False
    open: bool = False
    at_start: bool = False

    @property
    def hours(self) -> float:
        """How long it lasted."""
        return (self.until_ms - self.since_ms) / HOUR_MS


@dataclass(frozen=True, slots=True)
class Outside:
    """All of a trace beyond one limit: hours, area (K·h or %RH·h), and the excursions that make them up."""

    hours: float = 0.0
    area: float = 0.0
    excursions: tuple[Excursion, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """What the excursions of one trace share: where the eggs were, and when the window starts."""

    machine: str
    stage: str
    since_ms: int


def outside(trace: Trace, limit: float | None, side: str, *, place: Place) -> Outside:
    """The part of the trace above, or below, a limit; nothing where there is no limit.

    Exact up to rounding: a crossing is where the straight piece meets the limit. The excursions are still to
    be `settled`: open and at_start tell only where the line breaks off.
    """
    if limit is None or trace.empty:
        return Outside()
    sign = 1.0 if side == ABOVE else -1.0
    first, last = sign * (trace.first - limit), sign * (trace.last - limit)
    out = np.flatnonzero((first > ON_THE_LIMIT) | (last > ON_THE_LIMIT))
    if not out.size:
        return Outside()
    first, last = _beyond(first[out]), _beyond(last[out])
    start, end = trace.start_ms[out], trace.end_ms[out]
    crosses = (first <= 0) | (last <= 0)
    crossing = start + first / np.where(crosses, first - last, 1.0) * (end - start)
    since, until = np.where(first > 0, start, crossing), np.where(last > 0, end, crossing)
    lasting = until - since
    areas = 0.5 * (np.maximum(first, 0.0) + np.maximum(last, 0.0)) * lasting

    unbroken = (first[1:] > 0) & (last[:-1] > 0) & (start[1:] == end[:-1])
    heads = np.flatnonzero(np.concatenate(([True], ~unbroken)))
    tails = np.concatenate((heads[1:], [out.size])) - 1
    area = np.add.reduceat(areas, heads) / HOUR_MS
    highest = _highest(np.maximum(first, last), heads)
    early = first[highest] >= last[highest]
    peak = np.where(early, trace.first[out[highest]], trace.last[out[highest]])
    peak_at = np.where(early, start[highest], end[highest])

    reached = (first[heads] > 0) & _breaks(trace.start_ms[out[heads]], trace.end_ms, out[heads] - 1)
    left = (last[tails] > 0) & _breaks(trace.end_ms[out[tails]], trace.start_ms, out[tails] + 1)
    columns = (
        _whole_ms(since[heads], place), _whole_ms(until[tails], place), peak.tolist(),
        _whole_ms(peak_at, place), area.tolist(), left.tolist(), reached.tolist(),
    )  # fmt: skip
    return Outside(
        float(lasting.sum()) / HOUR_MS,
        float(area.sum()),
        tuple(
            Excursion(
                side=side,
                since_ms=s,
                until_ms=u,
                peak=p,
                peak_at_ms=at,
                limit=limit,
                area=a,
                machine=place.machine,
                stage=place.stage,
                cut_by_gap=False,
                open=o,
                at_start=b,
            )
            for s, u, p, at, a, o, b in zip(*columns, strict=True)
        ),
    )


def chained(parts: Sequence[Sequence[Excursion]], boundaries_ms: Sequence[int]) -> list[Excursion]:
    """The excursions of windows that follow one another, one list; those of two that are one stay are joined.

    Parameters
        parts: for each window its excursions in time order.
        boundaries_ms: where each window but the last meets the next.
    Returns
        Excursions to be `settled` in the window they make together.
    """
    chain = list(parts[0])
    for part, boundary_ms in zip(parts[1:], boundaries_ms, strict=True):
        if chain and part and _one_stay(chain[-1], part[0], boundary_ms):
            chain[-1] = _joined(chain[-1], part[0])
            chain.extend(part[1:])
        else:
            chain.extend(part)
    return chain


def settled(
    excursions: Iterable[Excursion], gaps: Mapping[int, int], *, since_ms: int, until_ms: int, max_gap_ms: float
) -> tuple[Excursion, ...]:
    """The excursions of a window with open, at_start and cut_by_gap as they are there.

    Parameters
        excursions: with open and at_start where the line breaks off, or broke off before windows were joined.
        gaps: end by start of every gap in the window, which runs from since_ms to until_ms.
        max_gap_ms: the allowed silence.
    """
    starts = {end: start for start, end in gaps.items()}

    def settle(each: Excursion) -> Excursion:
        if not (each.open or each.at_start):
            return each
        before = starts.get(each.since_ms, each.since_ms) if each.at_start else each.since_ms
        after = gaps.get(each.until_ms, each.until_ms) if each.open else each.until_ms
        at_start = each.at_start and before == since_ms and each.since_ms - before <= max_gap_ms
        still = each.open and after == until_ms and after - each.until_ms <= max_gap_ms
        cut = (before < each.since_ms and not at_start) or (after > each.until_ms and not still)
        return replace(each, at_start=at_start, open=still, cut_by_gap=each.cut_by_gap or cut)

    return tuple(settle(each) for each in excursions)


def _one_stay(before: Excursion, after: Excursion, boundary_ms: int) -> bool:
    same = (before.machine, before.stage, before.side) == (after.machine, after.stage, after.side)
    unbroken = before.open and after.at_start and before.until_ms == boundary_ms == after.since_ms
    return same and unbroken


def _joined(before: Excursion, after: Excursion) -> Excursion:
    sign = 1.0 if before.side == ABOVE else -1.0
    farther = after if sign * after.peak > sign * before.peak else before
    return replace(
        before,
        until_ms=after.until_ms,
        peak=farther.peak,
        peak_at_ms=farther.peak_at_ms,
        limit=farther.limit,
        area=before.area + after.area,
        cut_by_gap=before.cut_by_gap or after.cut_by_gap,
        open=after.open,
    )


def _beyond(height: Floats) -> Floats:
    """The height over the limit, 0 where it is on it."""
    snapped: Floats = np.where(np.abs(height) <= ON_THE_LIMIT, 0.0, height)
    return snapped


def _highest(height: Floats, heads: Integers) -> Integers:
    """For each group, which starts at its head, the place of the greatest height, the first of equals."""
    greatest = np.maximum.reduceat(height, heads)
    group = np.repeat(np.arange(heads.size), np.diff(np.concatenate((heads, [height.size]))))
    equals = np.flatnonzero(height == greatest[group])
    return equals[np.searchsorted(group[equals], np.arange(heads.size))]


def _breaks(edge: Floats, other: Floats, beside: Integers) -> Mask:
    """Whether the line breaks off here: the piece beside this edge does not exist, or lies across a gap."""
    exists = (beside >= 0) & (beside < other.size)
    broken: Mask = ~exists | (other[np.where(exists, beside, 0)] != edge)
    return broken


def _whole_ms(relative_ms: Floats, place: Place) -> list[int]:
    rounded: list[int] = (np.rint(relative_ms).astype(np.int64) + place.since_ms).tolist()
    return rounded
