"""A history in short, as a breeder reads it first: what it comes to, each stage in a line or two, how far and how long it was off its target.

Nothing is computed here. The whole is `report`.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo

from monitor.analysis.history.environment import BatchHistory, Period
from monitor.analysis.history.figures import Figures
from monitor.analysis.history.stays import Stay, stays_of
from monitor.domain.needs.bands import DRY_BULB, WET_BULB
from monitor.domain.wall import WIDTH
from monitor.shown.form import WORDS, Shown, duration
from monitor.shown.history.development import development_lines
from monitor.shown.history.egg import water_section
from monitor.shown.history.report import Header, answer_lines, lasted_words
from monitor.shown.report import text
from monitor.shown.report.tree import Heading, Report, Section, plain
from monitor.shown.values import per_cent, stage_words

REST = "Every figure, the largest stays off target, what was done, and what was published of it: the same with --full."


def brief_text(history: BatchHistory, header: Header, *, zone: tzinfo, unit: str, columns: int = WIDTH) -> str:
    """The history in short, so many columns wide.

    Parameters
        zone, unit: as for `report.to_text`.
    Raises
        ValueError: another unit.
    """
    shown = Shown(zone, unit)
    told = [Section(None, plain(development_lines(history.development, shown)))] if history.development else []
    told += [] if header.egg is None else [water_section(header.egg, shown)]
    told += [_stage(period, shown) for period in history.stages]
    besides = [Section(None, plain(each)) for each in (list(_besides(history)), [REST]) if each]
    told += [*_off_target(history, shown), *besides]
    return text.drawn(
        Report(
            header.title,
            plain(header.lines(shown)),
            tuple(told),
            (*header.first(shown), *plain(answer_lines(history, shown))),
        ),
        columns=columns,
    )


def _stage(period: Period, shown: Shown) -> Section:
    where = f" in {', '.join(period.machines) or 'no machine'}"
    span = f"{shown.time(period.since_ms)} to {shown.time(period.until_ms)}"
    lines = [_mean(quantity, figures, shown) for quantity, figures in _told(period)]
    return Section(Heading(stage_words(period.stage), f"{where}, {span}"), plain(lines))


def _told(period: Period) -> Iterator[tuple[str, Figures]]:
    """Temperature and humidity: a wet bulb is of the two."""
    return ((quantity, figures) for quantity, figures in period.figures() if quantity != WET_BULB)


def _mean(quantity: str, figures: Figures, shown: Shown) -> str:
    """`temperature 37.80 °C on average, 30.00 to 38.17; 99.9 % of the time on record, 99.4 % of that on target (37.50 to 38.10)`."""
    if figures.mean is None or figures.min is None or figures.max is None:
        return f"{WORDS[quantity]}: nothing on record"
    mean, low, high = (shown.value(quantity, x) for x in (figures.mean, figures.min, figures.max))
    words = f"{WORDS[quantity]} {mean} {shown.unit_of(quantity)} on average, {low} to {high}"
    words += f"; {per_cent(figures.coverage)} of the time on record"
    judged_h = figures.hours_covered - figures.hours_unjudged
    if judged_h <= 0.0:
        return words
    target = f" ({shown.band(quantity, figures.limits[0])})" if len(figures.limits) == 1 else ""
    return f"{words}, {per_cent(figures.hours_in / judged_h)} of that on target{target}"


def _off_target(history: BatchHistory, shown: Shown) -> Iterator[Section]:
    """How often it was off its target on each side, the longest and the farthest of these stays; nothing where nothing could be judged."""
    told = [
        (quantity, figures) for quantity, figures in history.whole.figures() if quantity in (DRY_BULB, history.given)
    ]
    if not any(figures.hours_covered > figures.hours_unjudged for _, figures in told):
        return
    lines = []
    for quantity, figures in told:
        for side in ("above", "below"):
            stays = [each for each in stays_of(figures.excursions) if each.side == side]
            if stays:
                lines.append(f"{WORDS[quantity]} {side}: {_stays(stays, quantity, shown)}")
    yield Section(Heading("off target", "" if lines else ": never, in the time that is on record"), plain(lines))


def _stays(stays: list[Stay], quantity: str, shown: Shown) -> str:
    longest = max(stays, key=lambda each: each.out_ms)
    farthest = max(stays, key=lambda each: abs(each.peak - each.limit))
    lasted = lasted_words(longest)
    peak = f"{shown.value(quantity, farthest.peak)} {shown.unit_of(quantity)} at {shown.time(farthest.peak_at_ms)}"
    still = "; still so at the end" if any(each.open for each in stays) else ""
    if len(stays) == 1:
        return f"once, {lasted} from {shown.time(longest.since_ms)}, to {peak}{still}"
    return f"{len(stays)} times, the longest {lasted} from {shown.time(longest.since_ms)}, the farthest {peak}{still}"


def _besides(history: BatchHistory) -> Iterator[str]:
    """Gaps, openings and calibrations, counted."""
    gaps = {gap for _, figures in _told(history.whole) for gap in figures.gaps}
    if gaps:
        longest = duration(max(gap.seconds for gap in gaps))
        yield f"Gaps in the record: {len(gaps)}, the longest {longest}."
    if history.felt:
        yield f"Openings recognised: {history.felt[-1].openings}."
    if history.calibrations:
        yield f"Corrected by calibrations: {len(history.calibrations)}."
