"""The drawings of a history's page: each quantity over time, and strips that say what was done."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from monitor.analysis.history.chart import Chart, Ribbon, columns_of, runs
from monitor.analysis.history.environment import BatchHistory, Period
from monitor.analysis.history.excursions import ABOVE, BELOW
from monitor.analysis.history.felt import DECLARED, HANDLING, MOVE, OPENING, Happening
from monitor.analysis.history.figures import Figures, limits_of
from monitor.analysis.history.stays import stays_of
from monitor.analysis.line.trace import Mask
from monitor.analysis.review.facts import Rang
from monitor.domain.air.units import celsius_to_fahrenheit
from monitor.domain.needs.bands import DRY_BULB, EGG, RH
from monitor.domain.needs.batch import counted
from monitor.domain.needs.rules import LOW, MEDIUM
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.wall import day_month, wall_clock
from monitor.shown.form import WORDS, Shown
from monitor.shown.history.felt import happening_words
from monitor.shown.report.page import safe
from monitor.shown.values import stage_words

HEIGHT = 170.0
HOUR_MS = 3_600_000
DAY_H = 24
STEPS_H = (1, 2, 3, 6, 12, 24, 48, 72, 120, 168, 240, 480)  # between two marks of the time axis
CLOCK_H = 48  # longer than that the hour alone no longer says which day it is of
MARKS = 6  # so many fit on a phone
ENTRY = 9.0  # the height of a mark of the egg book, at the head of a drawing
LASTED_MS = 2 * HOUR_MS  # what is shaded of humidity: shorter is a door, or a swing about the limit (judgement)
TOLD_K = (
    0.1  # beyond the limit by less, on average, no calibrated sensor can tell; the margin of a review's temperature
)
OUT_SHARE = 0.5  # of a stay; with less of it beyond the limit it is a swing about it
MARGIN = 0.06  # of the height, above and below all that is drawn

DATE_WIDE, DATES_TO = 0.17, 0.93  # of the width: what a date takes on a phone, and the last place for one
THIN = 20.0  # the height of a lane
LEAST_BAR = 2.0  # columns: what is shorter could not be seen
NO_PROBES: Mapping[str, Chart] = {}

Ticks = list[tuple[float, str]]  # (share of the width, words)


def axis(chart: Chart, set_ms: int, shown: Shown) -> Ticks:
    """Marks of time: days of incubation, only the first with that word; or hours on the clock where the whole is short."""
    length_ms = chart.until_ms - chart.since_ms
    steps = [step for step in STEPS_H if step >= DAY_H or length_ms <= CLOCK_H * HOUR_MS]
    step_h = next((step for step in steps if length_ms / (step * HOUR_MS) <= MARKS), STEPS_H[-1])
    step_ms = step_h * HOUR_MS
    ticks: Ticks = []
    for number in range(math.ceil((chart.since_ms - set_ms) / step_ms), (chart.until_ms - set_ms) // step_ms + 1):
        at_ms = set_ms + number * step_ms
        if step_h >= DAY_H:
            words = f"{'' if ticks else 'day '}{number * step_h // DAY_H}"
        else:
            words = wall_clock(from_ms(at_ms), shown.zone)
        ticks.append(((at_ms - chart.since_ms) / length_ms, words))
    return ticks


def dates_of(ticks: Ticks, chart: Chart, shown: Shown) -> Ticks:
    """The dates of such marks, so that a day of incubation is found in a calendar: each once, as many as have room on a phone."""
    length_ms, told = chart.until_ms - chart.since_ms, Ticks()
    for x, _ in ticks:
        words = day_month(from_ms(chart.since_ms + round(x * length_ms)), shown.zone)
        if x <= DATES_TO and not (told and (x - told[-1][0] < DATE_WIDE or words == told[-1][1])):
            told.append((x, words))
    return told


def drawing(
    chart: Chart,
    figures: Figures,
    *,
    done: Sequence[Happening],
    stages: Sequence[Period],
    ticks: Ticks,
    shown: Shown,
    probes: Mapping[str, Chart] = NO_PROBES,
    ribbon: Ribbon | None = None,
) -> Iterator[str]:
    """One quantity over time: band, excursions, gaps, the line, good batches, each sensor, and marks of what was done."""
    name, unit = WORDS[chart.quantity], shown.unit_of(chart.quantity)
    own = probes if len(probes) > 1 else NO_PROBES
    scale = YScale(chart, shown, tuple(own.values()))
    yield f"<figure><figcaption>{safe(name.capitalize())} {unit} <small>{safe(_extremes(figures, chart, shown))}</small></figcaption>"
    yield '<div class="plot"><div class="y">'
    yield "".join(f'<span style="top:{100.0 * scale.y(v) / HEIGHT:.1f}%">{v:g}</span>' for v in scale.ticks)
    yield f"</div>{svg(chart, HEIGHT)}<title>{safe(name)}</title>"
    yield from bands(chart, scale)
    for side in (ABOVE, BELOW):
        for first, last in columns_of(chart, lasting(figures, chart.quantity, side)):
            yield rect(f"out {side}", first, last, top=0.0, height=HEIGHT)
    for first, last in columns_of(chart, [(gap.since_ms, gap.until_ms) for gap in figures.gaps]):
        yield rect("gap", first, last, top=0.0, height=HEIGHT)
    yield from (f'<path class="grid" d="M{x * chart.low.size:.1f} 0V{HEIGHT:g}"/>' for x, _ in ticks)
    yield from (f'<path class="grid" d="M0 {scale.y(v):.1f}H{chart.low.size}"/>' for v in scale.ticks)
    yield from beside(chart, scale, own, ribbon=ribbon)
    yield from _marks(chart, done, stages, shown=shown)
    yield f"{rect('frame', 0, chart.low.size, top=0.0, height=HEIGHT)}</svg>{times(ticks)}</div></figure>"


def strips(
    history: BatchHistory,
    chart: Chart,
    *,
    ticks: Ticks,
    per_day: Sequence[tuple[int, int]],
    set_ms: int,
    shown: Shown,
    more: Sequence[tuple[str, str]] = (),
) -> Iterator[str]:
    """Stages, machines, and the openings of each day. more: other lanes, (name, drawing)."""
    most = max((count for _, count in per_day), default=0)
    most_words = f" <small>up to {most} a day</small>" if most else " <small>none recognised</small>"
    yield f'<figure><figcaption>Stages, machines and openings{most_words}</figcaption><div class="plot">'
    stages = [(p.since_ms, p.until_ms, stage_words(p.stage)) for p in history.stages]
    moves = [each for each in history.happenings if each.kind == MOVE]
    ends = [*(each.at_ms for each in moves[1:]), chart.until_ms]
    stays = [(m.at_ms, end, m.machine or "no machine") for m, end in zip(moves, ends, strict=False) if m.at_ms < end]
    yield from (lane("stage", stages, chart), lane("machine", stays, chart))
    yield f'<div class="name">opened</div>{svg(chart, 44.0, "bars")}'
    yield f"<title>openings of each day of incubation</title>{rect('frame', 0, chart.low.size, top=0.0, height=44.0)}"
    for day, count in per_day:
        since_ms, height = set_ms + day * 24 * HOUR_MS, 44.0 * count / most
        left = max(chart.column(since_ms), 0.0)
        right = min(chart.column(since_ms + 24 * HOUR_MS), float(chart.low.size))
        yield (
            f'<rect class="bar" x="{left:.1f}" y="{44.0 - height:.1f}" width="{max(right - left, 0.5):.1f}" height="{height:.1f}">'
            f"<title>day {day}: {count}</title></rect>"
        )
    lanes = "".join(f'<div class="name">{safe(name)}</div>{drawn}' for name, drawn in more)
    dates = times(dates_of(ticks, chart, shown))
    yield f"</svg>{lanes}{times(ticks)}{dates}</div>{_named('Stage', stages, set_ms)}{_named('Machine', stays, set_ms)}</figure>"


def alarms_lane(rang: Sequence[Rang], chart: Chart, shown: Shown, *, behind: str = "") -> str:
    """From when to when each alarm stood, a short one over a long one. behind: markup that lies under it."""
    edge = float(chart.low.size)
    spans = [
        (
            min(max(chart.column(to_ms(each.since)), 0.0), edge),
            edge if each.until is None else min(max(chart.column(to_ms(each.until)), 0.0), edge),
            each,
        )
        for each in rang
    ]
    bars = []
    for first, last, each in sorted(spans, key=lambda span: span[0] - span[1]):
        look = "rang mild" if each.priority in (LOW, MEDIUM) else "rang"
        words = f"No. {each.number} {each.words or each.rule}, {shown.time(each.since)}"
        bars.append(rect(look, first, max(last, first + LEAST_BAR), top=5.0, height=THIN - 10.0, words=words))
    frame = rect("frame", 0, chart.low.size, top=0.0, height=THIN)
    return f"{svg(chart, THIN, 'thin')}<title>alarms</title>{behind}{''.join(bars)}{frame}</svg>"


def turns_lane(turns: Sequence[tuple[int, int]], chart: Chart, set_ms: int, *, behind: str = "") -> str:
    """How often eggs were turned on each day. turns: (day of development, how often), one or more."""
    most, bars = max(count for _, count in turns), []
    for day, count in turns:
        first, last = (chart.column(set_ms + (day + n) * DAY_H * HOUR_MS) for n in (0, 1))
        first, last, height = max(first, 0.0), min(last, float(chart.low.size)), (THIN - 2.0) * count / most
        words = f"day {day}: {count}"
        bars.append(rect("bar", first, max(last, first), top=THIN - height, height=height, words=words))
    frame = rect("frame", 0, chart.low.size, top=0.0, height=THIN)
    return f"{svg(chart, THIN, 'thin')}<title>turns of each day</title>{behind}{''.join(bars)}{frame}</svg>"


def legend(egg: bool = False, *, probes: bool = False, good: int = 0, more: str = "") -> str:
    """What colours and marks mean. egg: of one, whose book is marked too; probes: whether sensors are drawn by themselves; good: how many batches
    the ribbon is of; more: items besides."""
    shapes = [
        ('<rect class="band" width="22" height="12"/>', "the target, to its warning limits"),
        ('<path class="alarm" d="M0 6H22"/>', "high alarm limit"),
        ('<path class="alarm below" d="M0 6H22"/>', "low alarm limit"),
        ('<rect class="out" width="22" height="12"/>', "above the target, for some time"),
        ('<rect class="out below" width="22" height="12"/>', "below it, for some time"),
        ('<rect class="gap" width="22" height="12"/>', "gap: no good data, or egg not known"),
        ('<path class="move" d="M11 0V12"/>', "move"),
        ('<path class="stage" d="M11 0V12"/>', "stage begins"),
        ('<path class="opening" d="M11 0V12"/>', "opening (foot of the drawing)"),
        ('<rect class="handling" width="22" height="12"/>', "handling (foot of the drawing)"),
    ]
    if egg:
        shapes.append((f'<path class="entry" d="M11 0V{ENTRY:g}"/>', "in the egg's book (head of the drawing)"))
    if probes:
        shapes.append(('<path class="probe" d="M0 6H22"/>', "each sensor by itself"))
    if good:
        shapes.append(
            ('<rect class="ribbon" width="22" height="12"/>', f"where {good} batches of yours lay that went well")
        )
    items = "".join(f'<li><svg viewBox="0 0 22 12">{shape}</svg>{words}</li>' for shape, words in shapes)
    return f'<ul class="key">{items}{more}</ul>'


def lasting(figures: Figures, quantity: str, side: str) -> list[tuple[int, int]]:
    """From when to when it stayed off target: of humidity, which eggs feel over days, for LASTED_MS or more; of temperature by more than a sensor
    can tell; and no swing that only touches the limit."""
    stays = stays_of(each for each in figures.excursions if each.side == side)
    warm = quantity in (DRY_BULB, EGG)
    return [
        (stay.since_ms, stay.until_ms)
        for stay in stays
        if stay.out_ms >= max(0 if warm else LASTED_MS, OUT_SHARE * (stay.until_ms - stay.since_ms))
        and (not warm or stay.area * HOUR_MS >= TOLD_K * stay.out_ms)
    ]


class YScale:
    """Where a value of a chart lies, and the values beside it: from the lowest to the highest of line and limits. more: lines beside it."""

    def __init__(self, chart: Chart, shown: Shown, more: Sequence[Chart] = ()) -> None:
        self._fahrenheit = shown.unit == "F" and chart.quantity != RH
        limits = [value for span in chart.bands if span.band is not None for _, value in span.band.limits()]
        every = [side for each in (chart, *more) for side in (each.low, each.high)]
        values = np.concatenate((*every, np.array(limits, dtype=float)))
        values = values[np.isfinite(values)]
        least, most = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
        least, most = self.shown(least), self.shown(most)
        margin = MARGIN * max(most - least, 0.2)
        self.bottom, self.top = least - margin, most + margin
        step = round_step((self.top - self.bottom) / 4.0)
        first, last = math.ceil(self.bottom / step), math.floor(self.top / step)
        self.ticks = [round(number * step, 6) for number in range(first, last + 1)]

    def shown(self, value: float) -> float:
        """In the unit that people are shown."""
        return celsius_to_fahrenheit(value) if self._fahrenheit else value

    def y(self, shown_value: float) -> float:
        """From the top of the drawing."""
        return HEIGHT * (self.top - shown_value) / (self.top - self.bottom)

    def at(self, value: float) -> float:
        """The same, of a value as it is kept."""
        return self.y(self.shown(value))


def round_step(about: float) -> float:
    """A round step of 1, 2 or 5 that is no smaller."""
    power: float = 10.0 ** math.floor(math.log10(about))
    return next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= about * 0.999)


def _extremes(figures: Figures, chart: Chart, shown: Shown) -> str:
    if figures.min is None or figures.max is None:
        return "nothing measured" if chart.quantity != EGG else "not known"
    estimate = ", an estimate" if chart.quantity == EGG else ""
    return f"{shown.value(chart.quantity, figures.min)} to {shown.value(chart.quantity, figures.max)}{estimate}"


def bands(chart: Chart, scale: YScale) -> Iterator[str]:
    """What was needed, to the warning limits, and the alarm limits."""
    for span in chart.bands:
        first, last = chart.column(span.since_ms), chart.column(span.until_ms)
        low, high = limits_of(span.band)
        if low is not None or high is not None:
            top = 0.0 if high is None else scale.at(high)
            bottom = HEIGHT if low is None else scale.at(low)
            yield rect("band", first, last, top=top, height=bottom - top)
        if span.band is not None:
            for value, kind in ((span.band.high_alarm, "alarm"), (span.band.low_alarm, "alarm below")):
                if value is not None:
                    yield f'<path class="{kind}" d="M{first:.1f} {scale.at(value):.1f}H{last:.1f}"/>'


def envelope(chart: Chart, scale: YScale) -> str:
    """The line as the outline of its lowest and highest values, one for each run of columns without a gap."""
    drawn = []
    for first, last in runs(np.isfinite(chart.low)):
        over = [f"{x + 0.5:g} {scale.at(float(chart.high[x])):.1f}" for x in range(first, last)]
        under = [f"{x + 0.5:g} {scale.at(float(chart.low[x])):.1f}" for x in range(last - 1, first - 1, -1)]
        drawn.append(f"M{'L'.join((*over, *under))}Z")
    return "".join(drawn)


def beside(chart: Chart, scale: YScale, probes: Mapping[str, Chart], *, ribbon: Ribbon | None) -> Iterator[str]:
    """The line that was used, over where good batches lay, and under what each sensor says by itself, as long as there is another beside it."""
    if ribbon is not None:
        yield f'<path class="ribbon" d="{_ribbon(ribbon, chart, scale)}"/>'
    yield f'<path class="air" d="{envelope(chart, scale)}"/>'
    several = sum((np.isfinite(line.low).astype(int) for line in probes.values()), np.zeros(chart.low.size, int)) > 1
    for place, (key, line) in enumerate(probes.items()):
        look, drawn = "probe b" if place % 2 else "probe", _middle(line, scale, shown=several)
        if drawn:
            yield f'<path class="{look}" d="{drawn}"><title>{safe(key)}</title></path>'


def _ribbon(ribbon: Ribbon, chart: Chart, scale: YScale) -> str:
    """An outline for each run of parts that are known, cut at the edges of the drawing: it is this batch that it is as high as."""
    width = chart.low.size / ribbon.low.size

    def y(value: float) -> float:
        return min(max(scale.at(value), 0.0), HEIGHT)

    drawn = []
    for first, last in runs(np.isfinite(ribbon.low)):
        over = [f"{(n + 0.5) * width:.1f} {y(float(ribbon.high[n])):.1f}" for n in range(first, last)]
        under = [f"{(n + 0.5) * width:.1f} {y(float(ribbon.low[n])):.1f}" for n in range(last - 1, first - 1, -1)]
        drawn.append(f"M{'L'.join((*over, *under))}Z")
    return "".join(drawn)


def _middle(line: Chart, scale: YScale, *, shown: Mask, every: int = 3) -> str:
    """A sensor's line where it is shown, by the middle of each three columns: thin, for the one that was used lies under it."""
    points, gone = [], True
    for first in range(0, line.low.size, every):
        part = slice(first, first + every)
        known = np.isfinite(line.low[part]) & shown[part]
        if known.any():
            value = float((line.low[part][known] + line.high[part][known]).mean() / 2.0)
            points.append(f"{'M' if gone else 'L'}{first + every / 2.0:g} {scale.at(value):.1f}")
        gone = not known.any()
    return "".join(points)


def _marks(chart: Chart, done: Sequence[Happening], stages: Sequence[Period], *, shown: Shown) -> Iterator[str]:
    for stage in stages[1:]:
        yield _mark(
            "stage", chart.column(stage.since_ms), f"{stage_words(stage.stage)} from {shown.time(stage.since_ms)}"
        )
    inside = [each for each in done if 0.0 <= chart.column(each.at_ms) <= chart.low.size]
    for each in inside:
        x, words = chart.column(each.at_ms), f"{shown.time(each.at_ms)} {happening_words(each, shown)}"
        if each.kind == HANDLING:
            last = chart.column(each.until_ms if each.until_ms is not None else each.at_ms)
            yield rect("handling", x, max(last, x + 1.0), top=HEIGHT - 10.0, height=10.0, words=words)
        elif each.entry is not None:
            yield _mark("entry", x, words, length=ENTRY)
        elif each.kind != OPENING:
            yield _mark("stage" if each.kind == DECLARED else "move", x, words)
    # There may be hundreds: one path for all, one mark for those that fall on the same pixel.
    opened = sorted({round(chart.column(each.at_ms)) for each in inside if each.kind == OPENING and each.counts})
    if opened:
        yield f'<path class="opening" d="{"".join(f"M{x} {HEIGHT - 16.0:g}V{HEIGHT:g}" for x in opened)}"/>'


def _mark(kind: str, x: float, words: str, *, length: float = HEIGHT) -> str:
    return f'<path class="{kind}" d="M{x:.1f} 0V{length:g}"><title>{safe(words)}</title></path>'


def lane(name: str, spans: Sequence[tuple[int, int, str]], chart: Chart) -> str:
    """A row of stretches of time, each with its name where that fits (see `.lane` in the style); `_named` tells them all."""
    parts = []
    for since_ms, until_ms, words in spans:
        left = 100.0 * chart.column(since_ms) / chart.low.size
        width = 100.0 * chart.column(until_ms) / chart.low.size - left
        parts.append(f'<span style="left:{left:.2f}%;width:{width:.2f}%" title="{safe(words)}">{safe(words)}</span>')
    return f'<div class="name">{name}</div><div class="lane">{"".join(parts)}</div>'


def _named(name: str, spans: Sequence[tuple[int, int, str]], set_ms: int) -> str:
    """The same in words, for a name that has no room in its stretch: `Stage: incubation from day 0, lockdown from day 18`."""
    told = [f"{words} from day {counted((since_ms - set_ms) / (DAY_H * HOUR_MS), 1):g}" for since_ms, _, words in spans]
    return f'<p class="named">{name}: {safe(", ".join(told))}</p>' if told else ""


def times(ticks: Ticks) -> str:
    """The words of the time axis."""
    return f'<div class="x">{"".join(f"""<span style="left:{100.0 * x:.1f}%">{safe(words)}</span>""" for x, words in ticks)}</div>'


def svg(chart: Chart, height: float, kind: str = "") -> str:
    """The beginning of a drawing as wide as the chart's columns."""
    named = f' class="{kind}"' if kind else ""
    return f'<svg{named} viewBox="0 0 {chart.low.size} {height:g}" preserveAspectRatio="none" role="img">'


def rect(kind: str, first: float, last: float, *, top: float, height: float, words: str = "") -> str:
    """Columns, and heights from the top; words: what it is, where it has a name."""
    drawn = f'<rect class="{kind}" x="{first:.4g}" y="{top:.1f}" width="{last - first:.4g}" height="{height:.1f}"'
    return f"{drawn}><title>{safe(words)}</title></rect>" if words else f"{drawn}/>"
