"""One drawing of an egg's life: every lane over the same days, so that what happened at one time stands under one another."""

from __future__ import annotations

import math
from collections.abc import Iterator

from monitor.analysis.history.chart import Chart, columns_of
from monitor.analysis.history.excursions import ABOVE, BELOW
from monitor.analysis.history.felt import MOVE, OPENING
from monitor.analysis.history.figures import Figures
from monitor.analysis.review.judged import SUPPORTED, UNLIKE
from monitor.domain.eggs.entry import ALIVE, DEAD, EARLY_DEAD, FERTILE, Candling, Dead, Entry, Hatched, Sign, Weighing
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.published.causes import WINDOWS
from monitor.domain.readings.reading import DAY_MS, to_ms
from monitor.service.across.sheet import Sheet
from monitor.shown.entries import said
from monitor.shown.form import WORDS, Shown
from monitor.shown.history.draw import (
    HEIGHT,
    LEAST_BAR,
    THIN,
    Ticks,
    YScale,
    alarms_lane,
    bands,
    beside,
    dates_of,
    lasting,
    rect,
    svg,
    times,
    turns_lane,
)
from monitor.shown.history.egg_draw import loss_plot
from monitor.shown.report.page import safe
from monitor.shown.values import stage_words

MARKS = 8  # of the time axis, at most
STEPS_D = (1, 2, 3, 7, 14, 28)
CAUSES = 4  # windows that are drawn
MARK_WIDE = 1.5  # per cent of the width
RANKS = ("dead", "hatched", "sign", "alive", "weighed", "written")
GLYPHS = {"alive": "○", "dead": "✕", "sign": "△", "hatched": "☆", "weighed": "•", "written": "▏"}


def life_drawing(sheet: Sheet, shown: Shown) -> Iterator[str]:
    """The whole figure."""
    chart = sheet.charts[0]
    days, dates = _axis(sheet, chart, shown)
    yield '<figure class="life"><figcaption>Its life <small>by day of development, and by date</small></figcaption>'
    yield _row("day", times(days).replace('class="x"', 'class="x top"'))
    yield _row("looks", _seen(sheet, chart, shown))
    for quantity in (DRY_BULB, RH):
        yield "".join(_air(sheet, quantity, days, shown=shown))
    loss = loss_plot(sheet.life.part, chart, days, shown=shown, behind=_death(sheet, chart, 120.0))
    if loss is not None:
        yield f'<div class="plot"><div class="y">{loss[0].removeprefix("""<div class="y">""")}{loss[1]}</div>'
        yield _row("", '<p class="named">water lost, % of the mass at set; shaded, what its species should lose</p>')
    yield from _lanes(sheet, chart, shown)
    yield _row("", times(dates))
    yield "</figure>"
    yield legend(sheet)


def _axis(sheet: Sheet, chart: Chart, shown: Shown) -> tuple[Ticks, Ticks]:
    """Days of development, and the dates on which they begin."""
    set_ms, length_ms = to_ms(sheet.life.batch.set_at), chart.until_ms - chart.since_ms
    step = next((step for step in STEPS_D if length_ms / (step * DAY_MS) <= MARKS), STEPS_D[-1])
    first, last = math.ceil((chart.since_ms - set_ms) / DAY_MS / step), (chart.until_ms - set_ms) // (DAY_MS * step)
    numbers = [n * step for n in range(first, last + 1)]
    days = [((set_ms + n * DAY_MS - chart.since_ms) / length_ms, str(n)) for n in numbers]
    return days, dates_of(days, chart, shown)


def _row(name: str, what: str) -> str:
    return f'<div class="plot"><div class="name">{safe(name)}</div><div>{what}</div></div>'


def _death(sheet: Sheet, chart: Chart, height: float) -> str:
    """When it can have died, behind a lane."""
    if sheet.death is None:
        return ""
    first, last = (
        min(max(chart.column(to_ms(at)), 0.0), float(chart.low.size)) for at in (sheet.death.since, sheet.death.until)
    )
    found = min(chart.column(to_ms(sheet.death.dead.at)), chart.low.size - 1.0)
    return (
        rect("when", first, max(last, first + LEAST_BAR), top=0.0, height=height, words="it died in this time")
        + f'<path class="found" d="M{found:.1f} 0V{height:g}"/>'
    )


def _seen(sheet: Sheet, chart: Chart, shown: Shown) -> str:
    """What was looked for and found; of what stands nearer than a mark is wide, one mark that names all."""
    told: list[tuple[float, str, list[str]]] = []
    for entry in sheet.life.part.entries:
        kind = _glyph(entry)
        x = 100.0 * chart.column(to_ms(entry.at)) / chart.low.size
        if not kind or not 0.0 <= x <= 100.0:
            continue
        words = f"{shown.time(entry.at)} {said(entry, shown.zone)}"
        if told and x - told[-1][0] < MARK_WIDE:
            at, before, every = told[-1]
            told[-1] = (at, min(before, kind, key=RANKS.index), [*every, words])
        else:
            told.append((x, kind, [words]))
    marks = [
        f'<i class="{kind}" style="left:{x:.2f}%" title="{safe("; ".join(words))}">{GLYPHS[kind]}</i>'
        for x, kind, words in told
    ]
    return f'<div class="seen">{"".join(marks)}</div>'


def _glyph(entry: Entry) -> str:
    fact = entry.fact
    if isinstance(fact, Candling) and fact.found in (ALIVE, FERTILE):
        return "alive"
    if isinstance(fact, Dead) or (isinstance(fact, Candling) and fact.found in (DEAD, EARLY_DEAD)):
        return "dead"
    if isinstance(fact, Sign | Hatched):
        return "sign" if isinstance(fact, Sign) else "hatched"
    return "weighed" if isinstance(fact, Weighing) else "written" if entry.egg is not None else ""


def _air(sheet: Sheet, quantity: str, ticks: Ticks, *, shown: Shown) -> Iterator[str]:
    """One quantity: what was needed, where good batches lay, the line used, and each probe's own."""
    chart = next(each for each in sheet.charts if each.quantity == quantity)
    figures: Figures = getattr(sheet.history.whole, quantity)
    own = sheet.probes[quantity] if len(sheet.probes[quantity]) > 1 else {}
    scale = YScale(chart, shown, tuple(own.values()))
    size = "big" if quantity == DRY_BULB else "mid"
    yield '<div class="plot"><div class="y">'
    yield "".join(f'<span style="top:{100.0 * scale.y(v) / HEIGHT:.1f}%">{v:g}</span>' for v in scale.ticks)
    yield f"</div>{svg(chart, HEIGHT, size)}<title>{safe(WORDS[quantity])}</title>{_death(sheet, chart, HEIGHT)}"
    yield from bands(chart, scale)
    for side in (ABOVE, BELOW):
        for first, last in columns_of(chart, lasting(figures, quantity, side)):
            yield rect(f"out {side}", first, last, top=0.0, height=HEIGHT)
    for first, last in columns_of(chart, [(gap.since_ms, gap.until_ms) for gap in figures.gaps]):
        yield rect("gap", first, last, top=0.0, height=HEIGHT)
    yield from (f'<path class="grid" d="M{x * chart.low.size:.1f} 0V{HEIGHT:g}"/>' for x, _ in ticks)
    yield from beside(chart, scale, own, ribbon=sheet.ribbons.get(quantity))
    yield f"{rect('frame', 0, chart.low.size, top=0.0, height=HEIGHT)}</svg></div>"
    words = f"{WORDS[quantity]} {shown.unit_of(quantity)}"
    if own:
        words += f"; broken lines, each sensor by itself: {', '.join(own)}"
    yield _row("", f'<p class="named">{safe(words)}</p>')


def _lanes(sheet: Sheet, chart: Chart, shown: Shown) -> Iterator[str]:
    behind = _death(sheet, chart, THIN)
    if sheet.turns:
        yield _row("turned", turns_lane(sheet.turns, chart, to_ms(sheet.life.batch.set_at), behind=behind))
    facts = sheet.review.facts
    if facts is not None:
        yield _row("alarms", alarms_lane(facts.rang, chart, shown, behind=behind))
    opened = sorted({round(chart.column(h.at_ms)) for h in sheet.history.happenings if h.kind == OPENING and h.counts})
    moved = [chart.column(h.at_ms) for h in sheet.history.happenings if h.kind == MOVE and h.machine]
    done = "".join(f"M{x} 6V{THIN:g}" for x in opened if 0 <= x <= chart.low.size)
    lanes = "opened" if done else "moved"
    moves = "".join(f'<path class="move" d="M{x:.1f} 0V{THIN:g}"/>' for x in moved[1:])
    stages = "".join(
        f'<path class="stage" d="M{chart.column(p.since_ms):.1f} 0V{THIN:g}"><title>{safe(stage_words(p.stage))}</title></path>'
        for p in sheet.history.stages[1:]
    )
    if done or moves or stages:
        frame = rect("frame", 0, chart.low.size, top=0.0, height=THIN)
        opening = f'<path class="opening" d="{done}"/>'
        yield _row(
            lanes, f"{svg(chart, THIN, 'thin')}{_death(sheet, chart, THIN)}{opening}{moves}{stages}{frame}</svg>"
        )
    windows = list(_windows(sheet, shown))
    for window, (since_ms, until_ms), words in windows[:CAUSES]:
        left = max(0.0, 100.0 * chart.column(since_ms) / chart.low.size)
        width = min(100.0, 100.0 * chart.column(until_ms) / chart.low.size) - left
        span = f'<span style="left:{left:.2f}%;width:{width:.2f}%" title="{safe(words)}">{safe(words)}</span>'
        yield _row("asked" if window == windows[0][0] else "", f'<div class="asked">{span}</div>')


def _windows(sheet: Sheet, shown: Shown) -> Iterator[tuple[str, tuple[int, int], str]]:
    """Where the review looked at what it found: (window, from and until in ms, whose words), each window once."""
    set_ms = to_ms(sheet.life.batch.set_at)
    told: dict[str, tuple[tuple[int, int], list[str]]] = {}
    for each in sheet.review.reviewed:
        for verdict in each.verdicts:
            figure = verdict.figure
            if verdict.verdict in (SUPPORTED, UNLIKE) and figure is not None and figure.days is not None:
                first, last = (set_ms + round(day * DAY_MS) for day in figure.days)
                words = verdict.causes[0].told(shown.unit) if verdict.causes else verdict.asked.words
                told.setdefault(verdict.asked.window, ((first, last), []))[1].append(words)
    for window, (span, every) in told.items():
        yield window, span, f"{WINDOWS[window][0]}: {'; '.join(dict.fromkeys(every))}"


def legend(sheet: Sheet) -> str:
    """What colours and marks mean, as far as they are there."""
    shapes = [
        ('<rect class="band" width="22" height="12"/>', "what it needed, to its warning limits"),
        ('<path class="alarm" d="M0 6H22"/>', "alarm limit"),
        ('<path class="air" d="M0 4H22V8H0Z"/>', "its air, as it was judged"),
        ('<rect class="out" width="22" height="12"/>', "above, for some time"),
        ('<rect class="out below" width="22" height="12"/>', "below"),
    ]
    if sheet.history.whole.dry_bulb_c.gaps or sheet.history.whole.rh_pct.gaps:
        shapes.append(('<rect class="gap" width="22" height="12"/>', "nothing on record"))
    if sheet.ribbons:
        many = next(iter(sheet.ribbons.values())).batches
        shapes.append(
            ('<rect class="ribbon" width="22" height="12"/>', f"where {many} batches of yours lay that went well")
        )
    if sheet.death is not None:
        shapes.append(
            (
                '<rect class="when" width="22" height="12"/><path class="found" d="M21 0V12"/>',
                "it died in this time; found dead",
            )
        )
    items = "".join(f'<li><svg viewBox="0 0 22 12">{shape}</svg>{safe(words)}</li>' for shape, words in shapes)
    marks = "○ seen alive&emsp;✕ dead&emsp;△ sign of the hatch&emsp;☆ hatched&emsp;• weighed&emsp;▏written"
    return f'<ul class="key">{items}<li>{marks}</li></ul>'
