"""A batch's lines cut down to what a drawing can show: for each column of pixels the lowest and the highest value in it.

So a drawing of four weeks is as small as one of a day, and no peak is lost, however short. A column without any line is a gap.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypedDict

import numpy as np

from monitor.analysis.line.eggs import egg_lines
from monitor.analysis.line.stretch import QUANTITIES, Stretch, lines_of, parts_of, samples_of
from monitor.analysis.line.trace import Floats, Mask, Trace, trace_of
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.needs.bands import EGG
from monitor.domain.needs.profile import Band

COLUMNS = 900  # five to a millimetre of A4
BINS = 90  # of a ribbon: about six hours of a hen's term, over which a thermostat's swing is gone
_FEWEST = 2  # batches, between which there is a ribbon


class _Span(TypedDict):
    max_gap_ms: float
    length_ms: int


@dataclass(frozen=True, slots=True)
class Span:
    """The band of a quantity for a while; None where it is not judged."""

    since_ms: int
    until_ms: int
    band: Band | None


@dataclass(frozen=True, slots=True)
class Chart:
    """One quantity from since_ms to until_ms: its lowest and highest value in each column (NaN: no line), and its bands."""

    quantity: str
    since_ms: int
    until_ms: int
    low: Floats
    high: Floats
    bands: tuple[Span, ...] = ()

    @property
    def coverage(self) -> float:
        """The share of its columns that have a line."""
        return float(np.isfinite(self.low).mean())

    def above(self, other: Chart) -> float | None:
        """How far it lies above another of the same time, on average over the columns that both have; None without any."""
        apart = (self.low + self.high - other.low - other.high) / 2.0
        known = apart[np.isfinite(apart)]
        return float(known.mean()) if known.size else None

    def column(self, at_ms: float) -> float:
        """Where a time lies, in columns from the left."""
        return (at_ms - self.since_ms) / (self.until_ms - self.since_ms) * self.low.size


def charts_of(
    stretches: Sequence[Stretch], models: Mapping[str, EggModel], set_ms: int, *, columns: int = COLUMNS
) -> tuple[Chart, ...]:
    """Dry bulb, humidity, wet bulb and the estimated egg temperature of a batch's life.

    Parameters
        stretches: one or more, as for the environment history. models, set_ms: as for `egg_lines`. columns: of the drawing.
    """
    since_ms, until_ms = stretches[0].since_ms, stretches[-1].until_ms
    found: dict[str, list[tuple[int, Trace]]] = {quantity: [] for quantity in (*QUANTITIES, EGG)}
    for stretch, egg in zip(stretches, egg_lines(stretches, models, set_ms), strict=True):
        found[EGG].append((stretch.since_ms, egg))
        for part in parts_of(stretch):
            for quantity, line in lines_of(part).items():
                found[quantity].append((part.since_ms, line.trace))
    charts = []
    for quantity, traces in found.items():
        low, high = extremes(traces, since_ms, until_ms, columns=columns)
        bands = [Span(s.since_ms, s.until_ms, getattr(s, quantity)) for s in stretches] if quantity != EGG else []
        charts.append(
            Chart(quantity=quantity, since_ms=since_ms, until_ms=until_ms, low=low, high=high, bands=_spans(bands))
        )
    return tuple(charts)


def at_once(charts: Iterable[Chart]) -> int:
    """How many of some lines of one time there are at once, where there is any: mostly, for two machines meet in one column."""
    counts = np.sum([np.isfinite(chart.low) for chart in charts], axis=0)
    return int(np.median(counts[counts > 0])) if np.any(counts) else 0


@dataclass(frozen=True, slots=True)
class Ribbon:
    """Where other batches' means lay on the same days of development, lowest and highest in each part of a chart's time; NaN where fewer than two
    of them have any. batches: how many."""

    low: Floats
    high: Floats
    batches: int


def probe_charts(stretches: Sequence[Stretch], quantity: str, *, columns: int = COLUMNS) -> dict[str, Chart]:
    """DRY_BULB or RH of each probe by itself, by its key, over the same time as `charts_of`."""
    since_ms, until_ms = stretches[0].since_ms, stretches[-1].until_ms
    traces: dict[str, list[tuple[int, Trace]]] = {}
    for stretch in stretches:
        for key, samples in zip(stretch.probes, samples_of(stretch, quantity), strict=True):
            trace = trace_of([samples], **_span(stretch))
            traces.setdefault(key, []).append((stretch.since_ms, trace))
    charts = {}
    for key, own in traces.items():
        low, high = extremes(own, since_ms, until_ms, columns=columns)
        charts[key] = Chart(quantity=quantity, since_ms=since_ms, until_ms=until_ms, low=low, high=high)
    return charts


def ribbon_of(
    lives: Sequence[tuple[Sequence[Stretch], int]], quantity: str, chart: Chart, *, set_ms: int
) -> Ribbon | None:
    """Other batches beside a chart of this one's. lives: the stretches of each, and its day 0; set_ms: of this one. None with fewer than two of them."""
    middles = []
    for stretches, day_0_ms in lives:
        traces = [(s.since_ms, trace_of(samples_of(s, quantity), **_span(s))) for s in stretches]
        since_ms, until_ms = (at - set_ms + day_0_ms for at in (chart.since_ms, chart.until_ms))
        inside = [(at, trace) for at, trace in traces if at < until_ms and at + trace.length_ms > since_ms]
        low, high = extremes(inside, since_ms, until_ms, columns=BINS)
        middles.append((low + high) / 2.0)
    if len(middles) < _FEWEST:
        return None
    every = np.array(middles)
    known = np.isfinite(every).sum(axis=0) >= _FEWEST
    low, high = (
        np.where(known, of(np.where(np.isfinite(every), every, worst), axis=0), np.nan)
        for of, worst in ((np.min, np.inf), (np.max, -np.inf))
    )
    return Ribbon(low, high, len(middles))


def _span(stretch: Stretch) -> _Span:
    return {"max_gap_ms": stretch.max_gap_s * 1000.0, "length_ms": stretch.until_ms - stretch.since_ms}


def extremes(
    traces: Sequence[tuple[int, Trace]], since_ms: int, until_ms: int, *, columns: int
) -> tuple[Floats, Floats]:
    """(lowest, highest) of a line in each of `columns` equal parts of a time; NaN where it has none.

    traces: each with the time that it counts from. A piece that runs through several columns counts in each with what it is there.
    """
    low, high = np.full(columns, np.inf), np.full(columns, -np.inf)
    width_ms = (until_ms - since_ms) / columns
    edges = np.arange(1, columns) * width_ms

    def count(at_ms: Floats, value: Floats, to_the_left: bool | Mask) -> None:
        # A value on an edge belongs to the column of its piece: the one before for an end, the one after for a start.
        place = at_ms / width_ms
        column = np.where(to_the_left, np.ceil(place) - 1.0, np.floor(place)).astype(np.int64)
        column = np.clip(column, 0, columns - 1)
        np.minimum.at(low, column, value)
        np.maximum.at(high, column, value)

    for begins_ms, trace in traces:
        if trace.empty:
            continue
        start, end = trace.start_ms + (begins_ms - since_ms), trace.end_ms + (begins_ms - since_ms)
        count(start, trace.first, False)
        count(end, trace.last, True)
        piece = np.clip(np.searchsorted(start, edges, side="right") - 1, 0, None)
        inside = (start[piece] < edges) & (edges < end[piece])
        at, piece = edges[inside], piece[inside]
        share = (at - start[piece]) / (end[piece] - start[piece])
        value = trace.first[piece] + share * (trace.last[piece] - trace.first[piece])
        column = np.flatnonzero(inside)
        for beside in (column, column + 1):
            low[beside] = np.minimum(low[beside], value)
            high[beside] = np.maximum(high[beside], value)
    void = low > high
    low[void], high[void] = np.nan, np.nan
    return low, high


def columns_of(chart: Chart, times: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Times as runs of columns (first, one past the last) that they touch; those that touch the same become one."""
    touched = np.zeros(chart.low.size + 1, dtype=np.int64)
    for since_ms, until_ms in times:
        first = min(max(int(chart.column(since_ms)), 0), chart.low.size - 1)
        last = min(max(int(np.ceil(chart.column(until_ms))), first + 1), chart.low.size)
        touched[first] += 1
        touched[last] -= 1
    return runs(np.cumsum(touched[:-1]) > 0)


def runs(mask: Mask) -> list[tuple[int, int]]:
    """(first, one past the last) of each unbroken run of what is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _spans(every: Sequence[Span]) -> tuple[Span, ...]:
    """Bands that go on unchanged, told once."""
    told: list[Span] = []
    for span in every:
        if told and told[-1].band == span.band and told[-1].until_ms == span.since_ms:
            told[-1] = Span(told[-1].since_ms, span.until_ms, span.band)
        else:
            told.append(span)
    return tuple(told)
