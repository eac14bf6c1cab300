"""A quantity over time as straight pieces: how the readings of probes become the line that is integrated.

Between two good readings of a probe, no farther apart than its allowed silence, the quantity is taken to run
straight from one to the other. Wider apart, there is no line: nothing is made up over a gap. Everything here
is in whole arrays; the cost grows with the number of readings, and no step walks through them one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
Integers = np.ndarray[tuple[int, ...], np.dtype[np.int64]]
Mask = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
Samples = tuple[Floats, Floats]  # (at_ms rising strictly, values), both finite
OfTwo = Literal["mean", "lower", "higher"]


@dataclass(frozen=True, slots=True)
class Trace:
    """Straight pieces in time order, none over another: from start_ms to end_ms the value goes first to last.

    Times are whole milliseconds from the start of the window, which is length_ms long; every piece lasts
    longer than 0. Where one piece ends and the next starts at another time, there is a gap; where they meet
    with two values, a probe came or went.
    """

    start_ms: Floats
    end_ms: Floats
    first: Floats
    last: Floats
    length_ms: int

    @property
    def empty(self) -> bool:
        """Whether there is no line at all."""
        return not self.start_ms.size

    @property
    def covered_ms(self) -> float:
        """How much of the window has a line."""
        return float((self.end_ms - self.start_ms).sum())

    def mean_and_sd(self) -> tuple[float, float] | None:
        """Mean and standard deviation, weighted by time; None without any line.

        Over a piece from a to b (both taken from the mean) the square integrates to (a² + ab + b²)/3 of its
        length.
        """
        if self.empty:
            return None
        length = self.end_ms - self.start_ms
        total = length.sum()
        mean = ((self.first + self.last) * length).sum() * 0.5 / total
        a, b = self.first - mean, self.last - mean
        return float(mean), float(np.sqrt(((a * a + a * b + b * b) * length).sum() / (3.0 * total)))

    def lowest(self) -> tuple[float, int] | None:
        """(value, milliseconds from the start) where the minimum is first reached; None without any line."""
        if self.empty:
            return None
        piece = int(np.minimum(self.first, self.last).argmin())
        return self._ends(piece)[int(self.last[piece] < self.first[piece])]

    def highest(self) -> tuple[float, int] | None:
        """(value, milliseconds from the start) where the maximum is first reached; None without any line."""
        if self.empty:
            return None
        piece = int(np.maximum(self.first, self.last).argmax())
        return self._ends(piece)[int(self.last[piece] > self.first[piece])]

    def _ends(self, piece: int) -> tuple[tuple[float, int], tuple[float, int]]:
        start, end = int(self.start_ms[piece]), int(self.end_ms[piece])
        return (float(self.first[piece]), start), (float(self.last[piece]), end)

    def gaps(self) -> list[tuple[int, int]]:
        """(start, end) of each part of the window without a line, in milliseconds from its start."""
        starts = np.concatenate(([0.0], self.end_ms))
        ends = np.concatenate((self.start_ms, [float(self.length_ms)]))
        void = ends > starts
        return [(int(start), int(end)) for start, end in zip(starts[void], ends[void], strict=True)]


def trace_of(probes: Sequence[Samples], *, max_gap_ms: float, length_ms: int, of_two: OfTwo = "mean") -> Trace:
    """The line of one quantity in a window, from the samples of each probe that measures it.

    Parameters
        probes: for each probe its good samples, times in milliseconds from the start of the window (samples
            before 0 and after length_ms let the line be cut at the edges of the window instead of stopping
            short of them).
        max_gap_ms: the longest time between two samples of a probe that is still bridged.
        length_ms: the window, above 0.
        of_two: what counts where two probes have a line: their mean, or always the lower or the higher.
    Returns
        With one probe, its own line. With several, on the union of their times, the median of those probes
        whose own line exists there (of two: see of_two), straight between; then the part inside the window.
        So a probe in a gap neither holds up nor pulls the rest, and cutting a window in two changes nothing.
    """
    held = [_linked(at, values, max_gap_ms) for at, values in probes]
    held = [(at, values) for at, values in held if at.size]
    if not held:
        none = np.empty(0)
        return Trace(none, none, none, none, length_ms)
    times = _union([at for at, _ in held])
    values = np.empty((len(held), times.size))
    live = np.zeros((len(held), times.size - 1), dtype=bool)
    for row, (at, measured) in enumerate(held):
        bridged = np.diff(at) <= max_gap_ms
        if at.size == times.size:  # then they are the same times: the union holds each of them
            values[row], live[row] = measured, bridged
        else:
            values[row] = np.interp(times, at, measured)
            place = np.searchsorted(times, at)
            live[row, place[0] : place[-1]] = np.repeat(bridged, np.diff(place))
    first, last = _median(values[:, :-1], live, of_two), _median(values[:, 1:], live, of_two)
    return _cut(times, first, last, live=np.logical_or.reduce(live), length_ms=length_ms)


def _linked(at_ms: Floats, values: Floats, max_gap_ms: float) -> Samples:
    """The samples that a line meets: one alone between two gaps must not bend the line of the others."""
    bridged = np.diff(at_ms) <= max_gap_ms
    if at_ms.size > 1 and bridged.all():
        return at_ms, values
    linked = np.append(bridged, False) | np.append(False, bridged) if at_ms.size else np.empty(0, dtype=bool)
    return at_ms[linked], values[linked]


def _union(times: Sequence[Floats]) -> Floats:
    if all(np.array_equal(times[0], other) for other in times[1:]):
        return times[0]
    every = np.sort(np.concatenate(times), kind="stable")  # which merges runs already sorted, in one pass
    rising: Floats = every[np.concatenate(([True], np.diff(every) > 0))]
    return rising


def _median(values: Floats, live: Mask, of_two: OfTwo = "mean") -> Floats:
    """Per column the median of the live values, of two as asked; anything where none is."""
    if len(values) == 1:
        only: Floats = values[0]
        return only
    if len(values) == 2:  # the usual case, many times faster than sorting columns of two
        both = live[0] & live[1]
        one: Floats = np.where(live[0], values[0], values[1])
        return np.where(both, _one_of_two(values[0], values[1], of_two), one)
    ranked = np.sort(np.where(live, values, np.nan), axis=0)  # NaN comes last
    count = np.maximum(live.sum(axis=0), 1)
    low = np.take_along_axis(ranked, ((count - 1) // 2)[None], axis=0)[0]
    high = np.take_along_axis(ranked, (count // 2)[None], axis=0)[0]
    middle: Floats = _one_of_two(low, high, of_two)
    return middle if of_two == "mean" else np.where(count == 2, middle, (low + high) * 0.5)


def _one_of_two(one: Floats, other: Floats, of_two: OfTwo) -> Floats:
    if of_two == "mean":
        return (one + other) * 0.5
    return np.minimum(one, other) if of_two == "lower" else np.maximum(one, other)


def _cut(times: Floats, first: Floats, last: Floats, *, live: Mask, length_ms: int) -> Trace:
    """The live pieces between 0 and length_ms; a piece across an edge keeps its inner part."""
    kept = np.flatnonzero(live & (times[1:] > 0) & (times[:-1] < length_ms))
    start, end, first, last = times[kept], times[kept + 1], first[kept], last[kept]
    if start.size:
        slope_first = (last[0] - first[0]) / (end[0] - start[0])
        slope_last = (last[-1] - first[-1]) / (end[-1] - start[-1])
        if start[0] < 0:
            first[0] -= slope_first * start[0]
            start[0] = 0.0
        if end[-1] > length_ms:
            last[-1] -= slope_last * (end[-1] - length_ms)
            end[-1] = length_ms
    return Trace(start, end, first, last, length_ms)
