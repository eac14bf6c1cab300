"""Heading out: when the air will leave its band, if it goes on as it does now.

The slope is that of Theil and Sen, the median over all pairs of readings, with Sen's (1968) interval from the ranks of
Kendall's tau. That interval takes the readings' scatter for chance. A thermostat's ripple is not: half a cycle of it is
a trend by every test of chance. So the slope is only asked for once the readings have left the range that they kept
before:

    |<-------------- calm: its range, ripple and all -------------->|<-- late: up to 40 min -->|
                                                                      the tail: 15 min and more, every point beyond it

A ripple keeps to its own range, so it has no tail, whatever its size, as long as its period is well under the calm
part. A machine that hunts widely comes back into that range with each swing while it warms, and has none either: there
the mean of the newest half hour is asked for, whether it is beyond what was calm an hour ago, and has left the half
hour before it by more than both scatter.

The points are means (`lately`), so that neither a ripple that a slow sampling draws out nor a short overshoot
makes one. But what rings when the limit is passed are single readings, and a swinging thermostat's pass it while their mean is
still half a swing away: so the means are asked when they will be as far from the limit as the readings go beyond them.
A machine that comes back from elsewhere is not heading out: where it was as far on the other side of its
target within the window, nothing is said before it is twice as far out.

What this cannot do: foresee what is over within the hour. A small cabinet whose heater dies is past its limit in 2 min,
one whose heater sticks in ten; there the alarm itself is the news. This is for what comes over hours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist, fmean, median

from monitor.domain.fixed import fixed

SPAN_S = 10_800.0  # how far back a window reaches
POINTS = 60  # that a window keeps at most: 1770 pairs
STEP_S = SPAN_S / POINTS  # between two of them: 3 min
LATE_S = 2400.0
TAIL_S = 900.0  # in means over 20 min, longer than a recovery from a door and its overshoot
TAIL_POINTS = 4  # with fewer, the interval says little; of a probe that speaks each 5 min they are 15 min
# Where a swing is so wide, as a share of the way from target to limit, its means make no tail, and two half hours are compared. Asked of
# narrower ones as well that foretold doors and overshoots, too.
WIDE, HALF_S = 0.3, 1800.0
SWING_POINTS = 20  # over so many points the distance of readings from their mean fades: an hour
SWING = 0.5 * math.pi  # what a swing reaches, in mean distances from its middle, as a sine's
CALM_S, CALM_POINTS = 3600.0, 7  # the least that tells a range; of a probe that speaks each 10 min, too
OUTLIERS = 0.1  # share of the calm that does not count as its range: spikes, a glimpse through the door
BEYOND = 2.0  # times as far as it was on the other side is no way home any more
GONE = 0.25  # share of the way from target to limit that must be gone: an overshoot after an opening stays under it
STALE_S = 1200.0  # without a reading for so long there is nothing to go by
CONFIDENCE = 0.95

Point = tuple[float, float]  # s on the clock that only goes forward, value


@fixed
class Slope:
    """A robust slope, in the value's unit per second, and the interval that holds it at the confidence asked for."""

    per_s: float
    low_per_s: float
    high_per_s: float


@fixed
class Heading:
    """When a limit will be reached, in seconds from now: the estimate, and by the ends of the slope's interval.

    Each is a straight line's. Air that nears a new balance slows down and comes later than that: in simulated cabinets
    with a dead heater about twice as late as said. So it is the least time that is left, not the time.
    """

    seconds_until: float
    earliest_s: float
    latest_s: float
    slope_per_h: float


@fixed
class Window:
    """The recent means of one quantity, thinned: at most POINTS over SPAN_S, in order of time; and how far readings swing beyond them."""

    points: tuple[Point, ...] = ()
    swing: float = 0.0

    def seen(self, at_s: float, value: float, away: float = 0.0) -> Window:
        """The window with one mean more; itself when the last one kept is too recent, or it is not a number.

        away: how far the reading of that instant is from the mean, on either side.
        """
        if not math.isfinite(value) or (self.points and at_s - self.points[-1][0] < STEP_S):
            return self
        points = self.points
        old = max(0, len(points) - (POINTS - 1))
        while old < len(points) and at_s - points[old][0] > SPAN_S:
            old += 1
        swing = self.swing + (SWING * away - self.swing) / min(len(points) - old + 1, SWING_POINTS)
        return Window((*points[old:], (at_s, value)), swing)


def calm_until(limit: float, target: float) -> float:
    """Up to which value, from the target towards the limit, `leaves` has nothing to say of air without a swing; a little less far than
    GONE, for rounding. With a swing, by GONE of it less."""
    return target + 0.99 * GONE * (limit - target)


def slope_of(points: Sequence[Point], confidence: float = CONFIDENCE) -> Slope:
    """The Theil-Sen slope with Sen's interval.

    Parameters
        points: two or more, at different times. confidence: above 0 and under 1; the normal approximation to Kendall's
        tau.
    Raises
        ValueError: fewer than two times.
    Reference
        P. K. Sen. Estimates of the regression coefficient based on Kendall's tau. J. Am. Stat. Assoc. 63:1379-1389,
        1968; the variance with ties there, eq. 2.6.
    """
    slopes = sorted((y - v) / (t - s) for i, (t, y) in enumerate(points) for s, v in points[:i] if t != s)
    if not slopes:
        raise ValueError(f"slope: {len(points)} points, expected two or more at different times")
    count = len(slopes)
    variance = (_ties(len(points)) - _tied([t for t, _ in points]) - _tied([y for _, y in points])) / 18.0
    reach = NormalDist().inv_cdf(0.5 + confidence / 2.0) * math.sqrt(max(variance, 0.0))
    low = max(round((count - reach) / 2.0) - 1, 0)
    high = min(round((count + reach) / 2.0), count - 1)
    return Slope(median(slopes), slopes[low], slopes[high])


def leaves(window: Window, limit: float, now_s: float, target: float, within_s: float) -> Heading | None:  # noqa: PLR0917 - with each reading
    """When the value will reach a limit, if it goes on as it does.

    Parameters
        window: means up to now. limit: the one that is asked about, above or below target; both in the value's unit.
        now_s: on the clock of the readings. within_s: what lies farther ahead is not told.
    Returns
        None when nothing says that it will: too little seen, neither a tail nor a half hour (see the module), less than a quarter of the way
        gone, an interval that holds a slope of none or the other way; and when the limit is passed already, or within the swing of the target.
    """
    if not window.points or now_s - window.points[-1][0] > STALE_S or limit == target:
        return None
    side, newest = 1.0 if limit > target else -1.0, window.points[-1][1]
    if (limit - target) * side <= window.swing:
        return None
    wide = window.swing >= WIDE * (limit - target) * side
    limit -= side * window.swing
    if not GONE <= (newest - target) / (limit - target) < 1.0:  # so a calm machine costs next to nothing
        return None
    # From here on out is up, and the limit lies at 0.
    points = [(t, side * (value - limit)) for t, value in window.points]
    target = side * (target - limit)
    back = target - GONE * (window.swing - target)  # as far on the other side, of the whole way
    found = _of_tail(points, now_s, target, back=back) or (
        _of_halves(points, now_s, target, back=back) if wide else None
    )
    if found is None:
        return None
    slope, level = found
    if level >= 0.0 or -level / slope.per_s > within_s:
        return None
    latest_s = -level / slope.low_per_s
    return Heading(-level / slope.per_s, -level / slope.high_per_s, latest_s, side * slope.per_s * 3600.0)


def _of_tail(points: Sequence[Point], now_s: float, target: float, *, back: float) -> tuple[Slope, float] | None:
    """How fast the tail goes out, and where it is now; None where there is none, or no slope for sure."""
    tail = _tail(points, now_s, target, back=back)
    if len(tail) < TAIL_POINTS or tail[-1][0] - tail[0][0] < TAIL_S:
        return None
    slope = slope_of(tail)
    if slope.low_per_s <= 0.0:
        return None
    newer = tail[len(tail) // 2 :]
    per_s = min(slope.per_s, slope_of(newer).per_s)  # air that nears a new balance slows down
    if per_s <= 0.0:
        return None
    level = median(y - per_s * (t - now_s) for t, y in newer)
    return Slope(per_s, min(slope.low_per_s, per_s), slope.high_per_s), level


def _of_halves(points: Sequence[Point], now_s: float, target: float, *, back: float) -> tuple[Slope, float] | None:
    """The same by the means of the newest half hour and of the one before; None where their difference is no more than the scatter about
    them, or the newest is within the calm range, or the one before was on its way back into it, as after a door."""
    calm = _calm(points, now_s, target, back=back, late_s=2.0 * HALF_S)
    newer = [y for t, y in points if now_s - t < HALF_S]
    older = [y for t, y in points if HALF_S <= now_s - t < 2.0 * HALF_S]
    if calm is None or min(len(newer), len(older)) < TAIL_POINTS:
        return None
    now, before = fmean(newer), fmean(older)
    scatter = math.sqrt(fmean([*((y - now) ** 2 for y in newer), *((y - before) ** 2 for y in older)]))
    if now <= calm[1] or before < calm[0] or now - before <= scatter:
        return None
    per_s, doubt_per_s = (now - before) / HALF_S, scatter / HALF_S
    return Slope(per_s, per_s - doubt_per_s, per_s + doubt_per_s), now + per_s * HALF_S / 2.0


def _calm(
    points: Sequence[Point], now_s: float, target: float, *, back: float, late_s: float
) -> tuple[float, float] | None:
    """Where the air was while it was calm, before late_s: its middle, and how far out it went; None where little calm is known, or where it
    was as far on the other side: beyond `back`."""
    calm = sorted(y for t, y in points if now_s - t > late_s)
    if len(calm) < CALM_POINTS or now_s - late_s - points[0][0] < CALM_S:
        return None
    inmost = calm[int(OUTLIERS * len(calm))]
    # It was as far on the other side, and is not yet far beyond what a way home goes too far.
    if inmost < back and points[-1][1] - target < BEYOND * (target - inmost):
        return None
    return median(calm), calm[len(calm) - 1 - int(OUTLIERS * len(calm))]


def _tail(points: Sequence[Point], now_s: float, target: float, *, back: float) -> list[Point]:
    """The newest readings, as far back as all are beyond target and calm range; empty where little calm is known."""
    calm = _calm(points, now_s, target, back=back, late_s=LATE_S)
    if calm is None:
        return []
    edge = max(calm[1], target)
    tail: list[Point] = []
    for t, y in reversed(points):
        if y <= edge:
            break
        tail.append((t, y))
    return tail[::-1]


def _ties(count: int) -> float:
    return float(count * (count - 1) * (2 * count + 5))


def _tied(values: Sequence[float]) -> float:
    """What values that occur more than once take off the variance."""
    counts: dict[float, int] = {}
    for value in values:
        counts[value] = counts.get(value, 0) + 1
    return sum(_ties(count) for count in counts.values() if count > 1)
