"""The figures that a review asks for, from a batch's stretches: the same that its environment history is made of.

A batch's life is cut where a window begins or ends, each piece becomes figures as in `environment`, and a window's figure is put
together from its pieces, weighted by the time that is covered. A band that changes within a window counts for as long as it stood.

What the history of a batch does not hold, and is worked out here from the stretches: the thirds of the term, the hours beyond a
published temperature, and each probe's own mean. What no stretch holds, and is handed in: the water loss and the openings.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from monitor.analysis.history.dose import doses_of, joined
from monitor.analysis.history.environment import Air, Period, Readings, Stretch, history_of
from monitor.analysis.history.excursions import ABOVE, HOUR_MS
from monitor.analysis.history.figures import Figures, merged
from monitor.analysis.review.beyond import Beyond
from monitor.analysis.review.judged import Figure, Record
from monitor.domain.needs.profile import Band
from monitor.domain.published.causes import (
    CHILL,
    EARLY,
    HATCHER,
    HUMIDITY,
    LATE,
    LOSS,
    MIDDLE,
    OPENINGS,
    OVERHEAT,
    SETTER,
    SPREAD,
    SWING,
    TEMPERATURE,
    TO_MIDDLE,
    WINDOWS,
    WRITTEN,
    Key,
)
from monitor.domain.published.exposure import ABOVE as HOT
from monitor.domain.published.exposure import BELOW as COOL
from monitor.domain.published.exposure import EXPOSURE, ROUNDED_K, Exposure
from monitor.domain.readings.reading import DAY_MS

LEAST_PROBE_COVERAGE = 0.8  # of a piece: two probes are compared over the time that both saw
_SPANS: dict[str, tuple[float, float | None]] = {
    EARLY: (0.0, WINDOWS[EARLY][1]),
    MIDDLE: (WINDOWS[EARLY][1], 1.0 - WINDOWS[LATE][1]),
    TO_MIDDLE: (0.0, WINDOWS[TO_MIDDLE][1]),
    LATE: (1.0 - WINDOWS[LATE][1], None),
}
_SIDES = {OVERHEAT: HOT, CHILL: COOL}
_STAGES = {SETTER: ("setter",), HATCHER: ("lockdown", "hatch")}


@dataclass(frozen=True, slots=True)
class _Piece:
    stretch: Stretch
    period: Period


@dataclass(frozen=True, slots=True)
class _Term:
    set_at_ms: int
    days: float


@dataclass(frozen=True, slots=True)
class _Window:
    """The pieces of one window, and how much of it no piece tells about: the time from the set to the first machine."""

    pieces: tuple[_Piece, ...]
    head_h: float

    @property
    def hours(self) -> float:
        return self.head_h + sum(p.stretch.until_ms - p.stretch.since_ms for p in self.pieces) / HOUR_MS

    def days(self, set_at_ms: int) -> tuple[float, float]:
        """Of development, from where to where."""
        first, last = self.pieces[0].stretch.since_ms, self.pieces[-1].stretch.until_ms
        return (first - set_at_ms) / DAY_MS - self.head_h / 24.0, (last - set_at_ms) / DAY_MS

    @property
    def longest_gap_h(self) -> float:
        """The longest time without a temperature."""
        return max(self.head_h, merged([p.period.dry_bulb_c for p in self.pieces]).longest_gap_s / 3600.0)


def record_of(
    name: str,
    stretches: Sequence[Stretch],
    *,
    set_at_ms: int,
    term_days: float,
    wanted: Iterable[Key],
    until_ms: int | None = None,
    loss_pct: float | None = None,
    loss_band: tuple[float, float] | None = None,
    openings_ms: Sequence[int] | None = None,
) -> Record:
    """What a batch, or an egg, lived through, as a review asks for it.

    Parameters
        stretches: of the batch, or of the egg's machines, as for `history_of`.
        set_at_ms: when incubation began. term_days: of the profile; the thirds are its thirds.
        wanted: (variable, window), as `Catalogue.wanted` gives them.
        until_ms: where the record ends for this egg, as at its death; None: where the stretches end.
        loss_pct: water loss to pip, actual or projected; loss_band: the profile's target. Both None where not weighed.
        openings_ms: when its machines were opened, over the whole record; None where that was not recorded.
    Returns
        The figures there are; a window that was not reached, or a quantity without any line, has none.
    """
    last_ms = stretches[-1].until_ms if stretches else set_at_ms
    end_ms = last_ms if until_ms is None else min(until_ms, last_ms)
    spans = {w: _span(span, set_at_ms=set_at_ms, term_days=term_days, end_ms=end_ms) for w, span in _SPANS.items()}
    cuts = sorted({set_at_ms, end_ms, *(edge for span in spans.values() for edge in span)})
    pieces = tuple(_Piece(cut, history_of([cut]).whole) for stretch in stretches for cut in _cut(stretch, cuts))
    figures: dict[Key, Figure] = {}
    windows: dict[str, _Window | None] = {}
    term = _Term(set_at_ms, term_days)
    for variable, window in wanted:
        if variable in WRITTEN:  # no air tells of it
            continue
        if window not in windows:
            windows[window] = _window(window, pieces, spans, set_at_ms=set_at_ms, end_ms=end_ms)
        figure = None
        if variable == LOSS:
            if loss_pct is not None and loss_band is not None:
                figure = Figure(loss_pct, *loss_band)
        elif (within := windows[window]) is not None:
            figure = _openings(within, openings_ms) if variable == OPENINGS else _figure(variable, within, term)
            figure = None if figure is None else replace(figure, days=within.days(set_at_ms))
        if figure is not None:
            figures[variable, window] = figure
    return Record(name, figures)


def span_of(
    window: str, stretches: Sequence[Stretch], *, set_at_ms: int, term_days: float, until_ms: int | None
) -> tuple[int, int] | None:
    """From when to when a window lasted for an egg whose record ends at until_ms (None: where the stretches end); None where it was not reached."""
    last_ms = stretches[-1].until_ms if stretches else set_at_ms
    end_ms = last_ms if until_ms is None else min(until_ms, last_ms)
    if window in _STAGES:
        of_stage = [s for s in stretches if s.stage in _STAGES[window]]
        since_ms, until = (of_stage[0].since_ms, min(of_stage[-1].until_ms, end_ms)) if of_stage else (end_ms, end_ms)
    else:
        since_ms, until = _span(
            _SPANS.get(window, (0.0, None)), set_at_ms=set_at_ms, term_days=term_days, end_ms=end_ms
        )
    return (since_ms, until) if since_ms < until else None


def lived_until(stretches: Sequence[Stretch], set_at_ms: int, until_ms: int | None) -> list[Stretch]:
    """The stretches from the set to the end of a life; None: as far as they go. Of a life that ended with the set, the first of them."""
    last_ms = stretches[-1].until_ms
    end_ms = last_ms if until_ms is None else min(until_ms, last_ms)
    cuts = (max(set_at_ms, stretches[0].since_ms), end_ms)
    return [cut for stretch in stretches for cut in _cut(stretch, cuts)] or [stretches[0]]


def _span(span: tuple[float, float | None], *, set_at_ms: int, term_days: float, end_ms: int) -> tuple[int, int]:
    first, last = span
    since_ms = set_at_ms + round(first * term_days * DAY_MS)
    return since_ms, end_ms if last is None else min(end_ms, set_at_ms + round(last * term_days * DAY_MS))


def _cut(stretch: Stretch, cuts: Sequence[int]) -> Iterable[Stretch]:
    """The parts of a stretch between the first and the last cut, cut at each."""
    edges = [stretch.since_ms, *(c for c in cuts if stretch.since_ms < c < stretch.until_ms), stretch.until_ms]
    for since_ms, until_ms in pairwise(edges):
        if cuts[0] <= since_ms and until_ms <= cuts[-1]:
            yield replace(stretch, since_ms=since_ms, until_ms=until_ms)


def _window(
    name: str, pieces: Sequence[_Piece], spans: Mapping[str, tuple[int, int]], *, set_at_ms: int, end_ms: int
) -> _Window | None:
    """The pieces of a window; None where the record does not reach it."""
    since_ms, until_ms = spans.get(name, (set_at_ms, end_ms))
    within = tuple(
        p
        for p in pieces
        if since_ms <= p.stretch.since_ms
        and p.stretch.until_ms <= until_ms
        and p.stretch.stage in _STAGES.get(name, (p.stretch.stage,))
    )
    if not within:
        return None
    from_the_set = since_ms == set_at_ms and within[0] is pieces[0]
    return _Window(within, (within[0].stretch.since_ms - set_at_ms) / HOUR_MS if from_the_set else 0.0)


def _figure(variable: str, window: _Window, term: _Term) -> Figure | None:
    if variable in _SIDES:
        return _beyond(window, _SIDES[variable], term)
    if variable == TEMPERATURE:
        return _mean(window, [p.period.dry_bulb_c for p in window.pieces])
    if variable == HUMIDITY:
        return _mean(window, [p.period.rh_pct for p in window.pieces])
    if variable == SWING:
        return _swing(window)
    return _spread(window) if variable == SPREAD else _dose(window, EXPOSURE[variable])


def _mean(window: _Window, figures: Sequence[Figures]) -> Figure | None:
    """The mean and the band it is judged by, over the time in which something is judged; without any, no band."""
    parts = [f for f in figures if f.mean is not None]
    parts = [f for f in parts if f.hours_unjudged == 0.0] or parts
    covered_h = sum(f.hours_covered for f in parts)
    if not covered_h:
        return None

    def weighted(values: Sequence[float | None]) -> float | None:
        given = [value for value in values if value is not None]
        if len(given) < len(parts):
            return None
        return sum(f.hours_covered * value for f, value in zip(parts, given, strict=True)) / covered_h

    mean = weighted([f.mean for f in parts])
    low, high = weighted([f.limits[0].low for f in parts]), weighted([f.limits[0].high for f in parts])
    below, above = sum(f.hours_below for f in parts) / covered_h, sum(f.hours_above for f in parts) / covered_h
    coverage = covered_h / window.hours
    return (
        None
        if mean is None
        else Figure(
            value=mean,
            low=low,
            high=high,
            coverage=coverage,
            share_below=below,
            share_above=above,
            longest_gap_h=window.longest_gap_h,
        )
    )


def _swing(window: _Window) -> Figure | None:
    """The share of the time above the band, or below it, whichever is less: a fault that goes one way only is no swing."""
    parts = [p.period.dry_bulb_c for p in window.pieces if p.period.dry_bulb_c.hours_unjudged == 0.0]
    judged_h = sum(f.hours_covered for f in parts)
    if not judged_h:
        return None
    lesser_h = min(sum(f.hours_above for f in parts), sum(f.hours_below for f in parts))
    return Figure(lesser_h / judged_h, coverage=judged_h / window.hours, longest_gap_h=window.longest_gap_h)


def _spread(window: _Window) -> Figure | None:
    """How far apart the means of a machine's probes are, farthest from farthest; None with fewer than two probes."""
    hours, total = 0.0, 0.0
    for piece in window.pieces:
        alone = [history_of([_dry(piece.stretch, None, (air,))]).whole.dry_bulb_c for air in piece.stretch.air]
        means = [f.mean for f in alone if f.mean is not None and f.coverage >= LEAST_PROBE_COVERAGE]
        if len(means) >= 2:
            lasted_h = piece.period.dry_bulb_c.hours_covered
            hours, total = hours + lasted_h, total + lasted_h * (max(means) - min(means))
    if not hours:
        return None
    return Figure(total / hours, coverage=hours / window.hours, longest_gap_h=window.longest_gap_h)


def _dose(window: _Window, exposure: Exposure) -> Figure | None:
    """Of heat the hours at or beyond the published temperature, in all; of cold the longest stay: short ones were borne."""
    air = [p.period.dry_bulb_c for p in window.pieces]
    if exposure.temp_c is None or all(f.mean is None for f in air):
        return None
    hot = exposure.side == ABOVE
    level_c = exposure.temp_c + (-ROUNDED_K if hot else ROUNDED_K)
    hours = 0.0
    if any((f.max or -math.inf) > level_c if hot else (math.inf if f.min is None else f.min) < level_c for f in air):
        band = Band(high_alarm=level_c) if hot else Band(low_alarm=level_c)
        figures = history_of([_dry(p.stretch, band, p.stretch.air) for p in window.pieces]).whole.dry_bulb_c
        hours = figures.hours_above if hot else max((e.hours for e in figures.excursions), default=0.0)
    covered_h = sum(f.hours_covered for f in air)
    return Figure(hours, coverage=covered_h / window.hours, longest_gap_h=window.longest_gap_h)


def beyond_of(stretches: Sequence[Stretch], side: str, *, set_at_ms: int, term_days: float) -> Beyond | None:
    """The heat, or the cold, beyond the alarm limits of stretches that follow one another; None where there is no such limit."""
    doses = joined(doses_of(stretch, set_at_ms, term_days) for stretch in stretches)
    return next((Beyond(dose, set_at_ms, term_days) for dose in doses if dose.dose.side == side), None)


def _beyond(window: _Window, side: str, term: _Term) -> Figure | None:
    """The hours beyond the alarm limit, with what made them."""
    air = [p.period.dry_bulb_c for p in window.pieces]
    beyond = beyond_of([p.stretch for p in window.pieces], side, set_at_ms=term.set_at_ms, term_days=term.days)
    if beyond is None or all(f.mean is None for f in air):
        return None
    covered_h = sum(f.hours_covered for f in air)
    return Figure(beyond.hours, coverage=covered_h / window.hours, longest_gap_h=window.longest_gap_h, beyond=beyond)


def _dry(stretch: Stretch, band: Band | None, air: Sequence[Air]) -> Stretch:
    """The stretch with its temperatures alone, judged by another band: the wet bulb is what takes the time."""
    dry = tuple(Readings(a.at_ms, a.dry_bulb_c, np.full(a.at_ms.size, np.nan), a.flag, a.rh_flag) for a in air)
    return replace(stretch, dry_bulb_c=band, rh_pct=None, wet_bulb_c=None, air=dry)


def _openings(window: _Window, openings_ms: Sequence[int] | None) -> Figure | None:
    if openings_ms is None:
        return None
    since_ms, until_ms = window.pieces[0].stretch.since_ms, window.pieces[-1].stretch.until_ms
    count = sum(since_ms <= at < until_ms for at in openings_ms)
    return Figure(count * DAY_MS / (until_ms - since_ms))
