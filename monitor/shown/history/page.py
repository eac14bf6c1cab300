"""The environment history of a batch, or of one egg of it, as one HTML page: drawings, and the same figures and sentences as the text.

The page needs nothing beside itself: no script, no font, no picture, no network. It is read on a phone (360 pixels), in the dark, and on
paper (A4). Drawings are inline SVG that stretches to the width there is; words stand beside them as text, so that they stay readable.
Each column of a drawing goes from its lowest to its highest value, see `chart`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import tzinfo
from html import escape

from monitor.analysis.history.chart import Chart
from monitor.analysis.history.environment import BatchHistory, Period
from monitor.analysis.history.figures import Figures
from monitor.domain.needs.bands import EGG
from monitor.domain.readings.reading import to_ms
from monitor.shown.form import WORDS, Shown
from monitor.shown.history.development import development_lines
from monitor.shown.history.draw import axis, drawing, legend, strips
from monitor.shown.history.egg import book_lines, water_lines
from monitor.shown.history.egg_draw import loss_drawing
from monitor.shown.history.felt import dose_lines, felt_lines, happening_lines, openings_per_day
from monitor.shown.history.text import Header, calibration_lines, column, excursion_lines, gap_lines
from monitor.shown.style import STYLE


def to_html(history: BatchHistory, charts: Sequence[Chart], header: Header, zone: tzinfo, unit: str) -> str:
    """The page.

    Parameters
        history, header: as for the text. charts: of the same life. zone: for every time shown. unit: `C` or `F`.
    Raises
        ValueError: another unit.
    """
    shown = Shown(zone, unit)
    title = header.title
    body = [
        f"<h1>{escape(title)}</h1>",
        *(_paragraph(line) for line in header.lines(shown)),
        _paragraph(
            f"Times are local ({zone}). In, above and below refer to the warning limits of the band (to the alarm limit"
            " on a side without one). Covered is the share of time with good data; over a gap nothing is made up."
        ),
        *(_paragraph(line) for line in _development(history, shown)),
        *_drawings(history, charts, header, shown),
        "<h2>Figures</h2>",
    ]
    for place, period in enumerate((*history.stages, history.whole)):
        body += _table(period, shown)
        if place < len(history.felt):
            body += [_paragraph(line) for line in felt_lines(history.felt[place], shown)]
    if history.felt:
        body += _section(dose_lines(history.felt, shown))
        body += _section(happening_lines(history.happenings, header.set_at, shown))
    body += _section(excursion_lines(history.whole, shown))
    body += _section(gap_lines(history.whole, shown))
    body += _section(calibration_lines(history.calibrations, shown))
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


def _development(history: BatchHistory, shown: Shown) -> Iterable[str]:
    return () if history.development is None else development_lines(history.development, shown)


def _drawings(history: BatchHistory, charts: Sequence[Chart], header: Header, shown: Shown) -> Iterator[str]:
    if not charts:
        return
    set_ms = to_ms(header.set_at)
    ticks = axis(charts[0], set_ms, shown)
    yield from strips(history, charts[0], ticks, openings_per_day(history.happenings, header.set_at), set_ms, shown)
    for chart in charts:
        figures = _figures_of(history, chart.quantity)
        if figures is not None:
            yield from drawing(chart, figures, history.happenings, history.stages, ticks, shown)
    yield legend(header.egg is not None)
    if header.egg is not None:
        yield from _section(book_lines(header.egg, shown))
        yield from _section(water_lines(header.egg, shown))
        yield from loss_drawing(header.egg, charts[0], ticks, shown)


def _figures_of(history: BatchHistory, quantity: str) -> Figures | None:
    if quantity == EGG:
        return history.felt[-1].egg_c if history.felt else None
    figures: Figures = getattr(history.whole, quantity)
    return figures


def _table(period: Period, shown: Shown) -> Iterator[str]:
    """One stage, or the whole: a column per quantity."""
    machines = ", ".join(period.machines) or "no machine"
    days = (period.until_ms - period.since_ms) / 86_400_000
    yield f"<h3>{escape(period.stage.capitalize())} in {escape(machines)}</h3>"
    yield _paragraph(f"{shown.time(period.since_ms)} to {shown.time(period.until_ms)}, {days:.1f} days")
    columns = [column(quantity, figures, shown) for quantity, figures in period.figures()]
    yield "<table>"
    for number, row in enumerate(zip(*columns, strict=True)):
        tag = "td" if number else "th"
        cells = "".join(f"<{tag}>{escape(cell)}</{tag}>" for _, cell in row)
        yield f'<tr><th scope="row">{escape(row[0][0].strip())}</th>{cells}</tr>'
    yield "</table>"
    for quantity, figures in period.figures():
        if len(figures.limits) > 1:
            for limits in figures.limits:
                yield _paragraph(
                    f"{WORDS[quantity]} from {shown.time(limits.since_ms)}: {shown.band(quantity, limits)}"
                )


def _section(lines: Iterable[str]) -> Iterator[str]:
    """A heading and its lines; one that is set in belongs to the one before."""
    head, *rest = lines
    yield f"<h2>{escape(head.capitalize() if head.isupper() else head)}</h2>"
    for line in rest:
        inset = ' class="in"' if line.startswith("  ") else ""
        yield f"<p{inset}>{escape(line.strip())}</p>"


def _paragraph(line: str) -> str:
    return f"<p>{escape(line)}</p>"
