"""How a machine's air was lately: fading means over minutes or hours, by which what can wait is judged.

One sample a minute of a switching thermostat is a draw from its swing, and a humidity harms by its mean over days. So a rule says over
which span its value is judged (`over_s` in rules.toml); what kills within the hour is judged by single readings and has none.

The mean is exponential, with a time constant of half the span: a value counts as old, on average, as in a plain mean over the span. Until
so much was seen it is a plain mean, and is not judged by. What came in while a door was open, or somebody worked at the machine, is left
out by the caller. Silence teaches nothing, and after one longer than the span the mean begins anew; so it does with other probes and
with other limits, for what the air was before says nothing of what the eggs need now.

Of several probes each has its own mean, and these are judged like single readings: of two the worse, of more the middle one. The mean of the
worse at each instant would be half a swing off, for two nodes sample a swing at two of its phases. Two that are no farther apart than the
sensors' own error say the same of the same air, and the worse of them is only the one whose error happens to be on that side: there the mean of
the two is judged, and beyond that the worse, nearer to the other by half that error.

Where a machine switches about as often as it is sampled, no mean over minutes is one of its swing: it wanders for hours from one side of the
true middle to the other. So it is known how far the means of a temperature went to both sides over a day (`Sway`), and what goes no farther
is no news. What goes to one side alone, as slow heat does, is no such wandering.

Hours are long for a pan that ran dry or a valve that stuck. What tells these from a machine that stands a little off is that the machine
held something else before: where the mean of half an hour is a `change` away from what the machine held over the last day, it is judged in
place of the hours. The sensor's own error is in both, and falls out. What is beyond the limits is no part of what a machine usually holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from monitor.domain.fixed import fixed

MOST_INTERVALS = 3.0  # that one reading may stand for
EVERY_SHARE = 1.0 / 120.0  # of the span: so often a mean takes a value
LEAST_READINGS = 20  # that a warning's mean is of: ten of a slow thermostat's swing, drawn each two minutes, are still off by half of it
BRIEF_S, USUAL_S = 1800.0, 86_400.0  # what a change is seen in, and against
USUAL_LEAST_S = 3600.0  # twice as long a machine must have held what it changes from
SWAY_LEAST_S = 21_600.0  # what waits for nobody, as a forecast of heat, asks for so much of it
SWAYS = math.pi  # a sine is so many times as far from its middle at its peak as it is, on average over all of the time, on either side
Pair = tuple[float, float]  # as judged by low limits, and by high ones


@fixed
class Span:
    """Over how long a quantity is judged. quantity: 0 dry bulb, 1 humidity. least, most: while the mean is within these no limit is passed.

    every_s: so often the mean takes a value; more often would change nothing that can be seen.
    limits: what it is compared with; a mean under other limits is another one. edge_low, edge_high: beyond these inwards, towards the target,
    a value counts as if it lay there: what was well within for hours must not hide what is now beyond for as long. Infinite where each value
    counts as it is, as that of a thermostat's swing.
    error: so far apart two sound sensors may be.
    change: so far from what the machine usually holds the brief mean is judged, too; 0: never. brief: the place of that mean among the
    plan's spans; the usual one stands behind it. usual: whether it is one of these.
    """

    quantity: int
    over_s: float
    least: float
    most: float
    limits: tuple[float, ...]
    edge_low: float = math.inf
    edge_high: float = -math.inf
    every_s: float = 0.0
    change: float = 0.0
    brief: int = -1
    usual: bool = False
    error: float = 0.0


@fixed
class Sway:
    """How means went to and fro over a day: their middle; how far they were below it and above it, each over all of the time; and how much of it that holds."""

    middle: float
    below: float = 0.0
    above: float = 0.0
    held_s: float = 0.0

    def seen(self, value: float, passed_s: float) -> Sway:
        """After one mean more."""
        held_s = self.held_s + passed_s
        held_s = held_s if held_s < USUAL_S else USUAL_S
        weight = passed_s / held_s if held_s else 0.0
        away = value - self.middle
        below = self.below + weight * ((-away if away < 0.0 else 0.0) - self.below)
        above = self.above + weight * ((away if away > 0.0 else 0.0) - self.above)
        return Sway(self.middle + weight * away, below, above, held_s)

    @property
    def reach(self) -> float:
        """How far they may go from their middle and be what they were before."""
        return SWAYS * min(self.below, self.above)


@fixed
class Mean:
    """One fading mean. held_s: how much time it holds, up to half its span; at_s: when it last took a value. limits: as the span's.

    lows, highs: of each probe, where there are several; low and high are what is judged of them. Of a temperature also
    away_low, away_high: how far a value is from the mean, on average: a swing that is seldom looked at would seem as wide as its samples
    happen to be; and sway: how this mean itself went to and fro.
    """

    low: float
    high: float
    held_s: float
    at_s: float
    limits: tuple[float, ...]
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    away_low: float = 0.0
    away_high: float = 0.0
    sway: Sway | None = None

    def judged(self, span: Span) -> bool:
        """Whether it holds enough to be judged by."""
        return self.held_s >= span.over_s / 2.0


def follow(means: tuple[Mean | None, ...], spans: Sequence[Span], mono_s: float, values: Sequence[float | None], interval_s: float, each: Sequence[Sequence[float]] = ()) -> tuple[Mean | None, ...]:  # fmt: skip  # noqa: PLR0917 - with each reading
    """The means after one reading of the machine more.

    Parameters
        means: one for each span; fewer, or None, where nothing is known. values: the machine's air now: dry bulb as judged low and high,
        then humidity; None where it is not known. interval_s: how often such readings come. each: where there are several probes,
        the dry bulb of each, then the humidity.
    """
    result: list[Mean | None] | None = None
    so_far = means if len(means) >= len(spans) else (*means, *[None] * (len(spans) - len(means)))
    for i, span in enumerate(spans):
        before, limits = so_far[i], span.limits
        if before is None:
            passed_s, anew = math.inf, True
        else:
            passed_s = mono_s - before.at_s
            anew = before.limits is not limits and before.limits != limits
            if passed_s < span.every_s and not anew:  # as of most spans
                continue
        if span.usual and _beyond(so_far[i - 1], spans[i - 1]):
            continue
        place = span.quantity * 2
        low, high = values[place], values[place + 1]
        if low is None or high is None:
            continue
        here = low, high
        if low > span.edge_low:
            low = span.edge_low
        if high < span.edge_high:
            high = span.edge_high
        if result is None:
            result = [*so_far]
        if before is None or anew or passed_s > span.over_s:
            before, held_s, weight = Mean(low, high, 0.0, mono_s, limits), 0.0, 1.0
        else:
            most_s = MOST_INTERVALS * interval_s
            if passed_s > most_s and passed_s > span.every_s + interval_s:
                passed_s = most_s
            held_s = before.held_s
            weight = passed_s / (passed_s + held_s)
            held_s += passed_s
            if held_s > span.over_s / 2.0:
                held_s = span.over_s / 2.0
        several = each[span.quantity] if each else ()
        if len(several) > 1:
            result[i] = _of_several(before, several, span, weight, held_s, mono_s, here)
            continue
        off_low, off_high = low - before.low, high - before.high
        low, high = before.low + weight * off_low, before.high + weight * off_high
        if span.quantity:
            result[i] = Mean(low, high, held_s, mono_s, limits)
            continue
        away_low, away_high = before.away_low, before.away_high
        away_low += weight * ((off_low if off_low >= 0.0 else -off_low) - away_low)
        away_high += weight * ((off_high if off_high >= 0.0 else -off_high) - away_high)
        sway = _sway(before, (low + high) / 2.0, span, held_s, mono_s)
        result[i] = Mean(low, high, held_s, mono_s, limits, (), (), away_low, away_high, sway)
    return means if result is None else tuple(result[: len(spans)])


def _of_several(  # noqa: PLR0917 - with each reading
    before: Mean, values: Sequence[float], span: Span, weight: float, held_s: float, at_s: float, here: Pair
) -> Mean:
    """The mean of a machine with several probes; of one that spoke for the first time it begins where the machine's was. here: the machine's air
    now."""
    of = len(values)
    lows = before.lows if len(before.lows) == of else (before.low,) * of
    highs = before.highs if len(before.highs) == of else (before.high,) * of
    edge_low, edge_high = span.edge_low, span.edge_high
    if (lows is highs or lows == highs) and edge_low == math.inf and edge_high == -math.inf:
        # As long as each counts as it is, the mean that low limits judge is the one that high limits do.
        lows = highs = _nearer(lows, values, weight)
    else:
        lows = _nearer(lows, [edge_low if value > edge_low else value for value in values], weight)
        highs = _nearer(highs, [edge_high if value < edge_high else value for value in values], weight)
    if of == 2:
        low, high = _worse(lows[0], lows[1], span.error), -_worse(-highs[0], -highs[1], span.error)
    else:
        low = middle(lows)
        high = low if lows is highs else middle(highs)
    if span.quantity:
        return Mean(low, high, held_s, at_s, span.limits, lows, highs)
    away_low = before.away_low + weight * (abs(here[0] - before.low) - before.away_low)
    away_high = before.away_high + weight * (abs(here[1] - before.high) - before.away_high)
    sway = _sway(before, (low + high) / 2.0, span, held_s, at_s)
    return Mean(low, high, held_s, at_s, span.limits, lows, highs, away_low, away_high, sway)


def _worse(one: float, other: float, error: float) -> float:
    """The lower of two means, as far as it is not their sensors' own error."""
    low, high = (one, other) if one <= other else (other, one)
    apart = high - low
    return low + (apart if apart < error else error) / 2.0


def _nearer(means: tuple[float, ...], values: Sequence[float], weight: float) -> tuple[float, ...]:
    """Each mean, with its value of that weight."""
    found = []
    for i, value in enumerate(values):
        was = means[i]
        found.append(was + weight * (value - was))
    return tuple(found)


def middle(values: Sequence[float]) -> float:
    """The median, as `statistics` has it, with each reading."""
    if len(values) == 3:  # as of most machines with several: without putting them in order
        one, two, three = values
        if one > two:
            one, two = two, one
        return two if two <= three else three if three > one else one
    ranked, of = sorted(values), len(values)
    return ranked[of // 2] if of % 2 else (ranked[of // 2 - 1] + ranked[of // 2]) / 2


def _sway(before: Mean, middle: float, span: Span, held_s: float, at_s: float) -> Sway | None:  # noqa: PLR0917 - with each reading
    """How the mean of a machine went to and fro, once it is one."""
    if before.sway is None:
        return Sway(middle) if held_s >= span.over_s / 2.0 else None
    passed_s = at_s - before.at_s
    return before.sway.seen(middle, passed_s if passed_s < span.over_s else span.over_s)


def _beyond(mean: Mean | None, span: Span) -> bool:
    return mean is not None and (mean.low < span.least or mean.high > span.most)


def changed(means: Sequence[Mean | None], spans: Sequence[Span], place: int, *, side: int) -> float | None:
    """The brief mean, where it has moved to that side of what the machine usually holds by the change of the span in that place; else None.

    None, too, while either is not known for long enough. side: 1 high, -1 low.
    """
    span = spans[place]
    if not span.change or len(means) <= span.brief + 1:
        return None
    brief, usual = means[span.brief], means[span.brief + 1]
    if brief is None or usual is None or not brief.judged(spans[span.brief]) or usual.held_s < USUAL_LEAST_S:
        return None
    now, before = (brief.high, usual.high) if side > 0 else (brief.low, usual.low)
    return now if (now - before) * side > span.change else None
