"""The drawing of one egg's loss of water: its weighings over time, beside the line that its species should follow."""

from __future__ import annotations

import math
from collections.abc import Iterator

from monitor.analysis.history.chart import Chart
from monitor.analysis.history.egg import EggPart, lost_pct
from monitor.domain.readings.reading import DAY_MS, from_ms, to_ms
from monitor.shown.form import Shown
from monitor.shown.history.draw import Ticks, rect, round_step, svg, times
from monitor.shown.report.page import safe

HEIGHT = 120.0
FEWEST = 2  # one weighing is no line
MARGIN = 0.08  # of the height, above and below all that is drawn


def loss_drawing(part: EggPart, chart: Chart, ticks: Ticks, *, shown: Shown) -> Iterator[str]:
    """The loss over the same time as the other drawings; nothing with fewer than FEWEST weighings that count in it.

    Parameters
        chart: any of the life; its columns are taken. ticks: of its time axis.
    """
    found = loss_plot(part, chart, ticks, shown=shown)
    if found is None:
        return
    beside = "" if not _window(part, chart) else " <small>shaded: the line its species should follow, up to pip</small>"
    yield f'<figure><figcaption>Lost, % of the mass at set{beside}</figcaption><div class="plot">'
    yield f"{''.join(found)}{times(ticks)}</div></figure>"


def loss_plot(part: EggPart, chart: Chart, ticks: Ticks, *, shown: Shown, behind: str = "") -> tuple[str, str] | None:
    """(the values beside it, the drawing) alone. behind: markup that lies under it."""
    weighed = [(mass, lost_pct(mass, part.loss, part.batch)) for mass in part.masses]
    dots = [(chart.column(to_ms(mass.at)), pct, mass) for mass, pct in weighed if pct is not None]
    dots = [dot for dot in dots if 0.0 <= dot[0] <= chart.low.size]
    if len(dots) < FEWEST:
        return None
    window = _window(part, chart)
    drawn = [pct for _, pct, _ in dots] + [pct for _, *both in window for pct in both]
    margin = MARGIN * max(max(drawn) - min(drawn), 0.5)
    least, most = min(drawn) - margin, max(drawn) + margin

    def y(pct: float) -> float:
        return HEIGHT * (most - pct) / (most - least)

    step = round_step((most - least) / 4.0)
    values = [round(n * step, 6) for n in range(math.ceil(least / step), math.floor(most / step) + 1)]
    beside = "".join(f'<span style="top:{100.0 * y(v) / HEIGHT:.1f}%">{v:g}</span>' for v in values)
    told = [f"{svg(chart, HEIGHT, 'losses')}<title>loss of water</title>{behind}"]
    if window:
        over = [f"{x:.1f} {y(high):.1f}" for x, _, high in window]
        under = [f"{x:.1f} {y(low):.1f}" for x, low, _ in reversed(window)]
        told.append(f'<path class="band" d="M{"L".join((*over, *under))}Z"/>')
    told += [f'<path class="grid" d="M{x * chart.low.size:.1f} 0V{HEIGHT:g}"/>' for x, _ in ticks]
    told += [f'<path class="grid" d="M0 {y(v):.1f}H{chart.low.size}"/>' for v in values]
    told.append(f'<path class="loss" d="M{"L".join(f"{x:.1f} {y(pct):.1f}" for x, pct, _ in dots)}"/>')
    for x, pct, mass in dots:
        words = f"{shown.time(mass.at)} {mass.mass_g:.2f} g, {pct:.1f} % lost"
        told.append(f'<path class="dot" d="M{x:.1f} {y(pct):.1f}h0"><title>{safe(words)}</title></path>')
    told.append(f"{rect('frame', 0, chart.low.size, top=0.0, height=HEIGHT)}</svg>")
    return f'<div class="y">{beside}</div>', "".join(told)


def _window(part: EggPart, chart: Chart) -> list[tuple[float, float, float]]:
    """(column, low, high) of the species' line where it bends or ends: at the beginning, at pip, at the end."""
    if part.target is None:
        return []
    set_ms = to_ms(part.batch.set_at)
    begin_ms = max(chart.since_ms, set_ms)
    end_ms = min(chart.until_ms, set_ms + round(part.pip_day * DAY_MS))
    found = []
    for at_ms in (begin_ms, end_ms) if begin_ms < end_ms else ():
        low, high = part.target.by(min(part.batch.day(from_ms(at_ms)), part.pip_day))
        found.append((chart.column(at_ms), low, high))
    return found
