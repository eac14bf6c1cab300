"""How readings become a line: bridges, gaps, the edges of the window, and the median of several probes."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.analysis.line.trace import Samples, Trace, trace_of


def probe(*samples: tuple[float, float]) -> Samples:
    """Samples as (seconds in the window, value)."""
    at_s, values = zip(*samples, strict=True)
    return np.array(at_s, dtype=float) * 1000.0, np.array(values, dtype=float)


def pieces(trace: Trace) -> list[tuple[float, float, float, float]]:
    """(start, end, first, last) of each piece, times in seconds."""
    columns = (trace.start_ms / 1000.0, trace.end_ms / 1000.0, trace.first, trace.last)
    return list(zip(*(column.tolist() for column in columns), strict=True))


def test_a_bridge_is_as_long_as_the_allowed_silence_and_no_longer() -> None:
    """Samples exactly max_gap apart are joined; a millisecond more is a gap."""
    assert pieces(trace_of([probe((0, 1), (30, 2))], max_gap_ms=30_000, length_ms=30_000)) == [(0, 30, 1, 2)]
    wide = trace_of([probe((0, 1), (30.001, 2), (40, 2))], max_gap_ms=30_000, length_ms=40_000)
    assert pieces(wide) == [(30.001, 40, 2, 2)]
    assert wide.gaps() == [(0, 30_001)]


def test_the_line_is_cut_at_both_edges_of_the_window() -> None:
    """Samples outside the window give the line its value at the edge, even when one piece crosses both edges."""
    assert pieces(trace_of([probe((-10, 0), (10, 2), (30, 6))], max_gap_ms=30_000, length_ms=20_000)) == [
        (0, 10, 1, 2),
        (10, 20, 2, 4),
    ]
    assert pieces(trace_of([probe((-10, 0), (20, 3))], max_gap_ms=30_000, length_ms=10_000)) == [(0, 10, 1, 2)]


def test_without_a_neighbour_beyond_the_edge_the_line_stops_short_of_it() -> None:
    """The time between the edge and the nearest sample is then a gap, before and after."""
    trace = trace_of([probe((2, 5), (7, 5))], max_gap_ms=30_000, length_ms=10_000)
    assert trace.gaps() == [(0, 2_000), (7_000, 10_000)]
    assert trace.covered_ms == 5_000


@pytest.mark.parametrize("samples", [[], [probe((5, 1))], [probe((-50, 1), (-40, 1))], [probe((0, 1), (31, 1))]])
def test_no_bridge_in_the_window_means_no_line(samples: list[Samples]) -> None:
    """No probe, one sample, samples elsewhere, or samples too far apart: all of the window is one gap."""
    trace = trace_of(samples, max_gap_ms=30_000, length_ms=10_000)
    assert trace.empty
    assert trace.gaps() == [(0, 10_000)]
    assert trace.mean_and_sd() is None
    assert trace.lowest() is None
    assert trace.highest() is None


def test_two_probes_give_their_mean_where_both_have_a_line() -> None:
    """On the union of their times, whether they speak together or in turn; alone, each stands for itself."""
    together = trace_of([probe((0, 1), (10, 1)), probe((0, 2), (10, 4))], max_gap_ms=30_000, length_ms=10_000)
    assert pieces(together) == [(0, 10, 1.5, 2.5)]
    in_turn = trace_of([probe((0, 0), (20, 2)), probe((10, 5), (30, 5))], max_gap_ms=30_000, length_ms=30_000)
    assert pieces(in_turn) == [(0, 10, 0, 1), (10, 20, 3, 3.5), (20, 30, 5, 5)]


def test_a_probe_in_a_gap_neither_stops_nor_pulls_the_others() -> None:
    """While one of two probes is silent for too long the other one's line stands, with no value made up."""
    trace = trace_of(
        [probe((0, 1), (10, 1), (20, 1), (30, 1), (40, 1)), probe((0, 3), (10, 3), (40, 9))],
        max_gap_ms=10_000,
        length_ms=40_000,
    )
    assert pieces(trace) == [(0, 10, 2, 2), (10, 20, 1, 1), (20, 30, 1, 1), (30, 40, 1, 1)]


def test_of_three_probes_the_middle_one_counts_and_of_four_the_mean_of_the_middle_two() -> None:
    """One probe that is far off leaves the air where the others see it."""
    wild = probe((0, 99), (10, -99))
    assert pieces(
        trace_of([probe((0, 1), (10, 2)), wild, probe((0, 3), (10, 4))], max_gap_ms=30_000, length_ms=10_000)
    ) == [(0, 10, 3, 2)]
    four = [probe((0, 1), (10, 1)), wild, probe((0, 2), (10, 2)), probe((0, 4), (10, 4))]
    assert pieces(trace_of(four, max_gap_ms=30_000, length_ms=10_000)) == [(0, 10, 3, 1.5)]


def test_of_three_probes_one_of_them_silent_the_other_two_are_averaged() -> None:
    """The median is taken over the probes that have a line there."""
    silent = probe((0, 100), (10, 100), (50, 100))
    trace = trace_of(
        [probe((0, 1), (10, 1), (20, 1)), silent, probe((0, 2), (10, 2), (20, 2))], max_gap_ms=10_000, length_ms=20_000
    )
    assert pieces(trace) == [(0, 10, 2, 2), (10, 20, 1.5, 1.5)]


def test_a_sample_alone_between_two_gaps_does_not_bend_the_others() -> None:
    """A fourth probe with one lone sample leaves the line of three as it was."""
    three = [probe((0, 0), (10, 4)), probe((0, 1), (10, 1)), probe((0, 4), (10, 0))]
    lone = probe((-100, 7), (5, 7), (100, 7))
    assert (
        pieces(trace_of([*three, lone], max_gap_ms=30_000, length_ms=10_000))
        == pieces(trace_of(three, max_gap_ms=30_000, length_ms=10_000))
        == [(0, 10, 1, 1)]
    )


def test_extremes_are_those_of_the_line_and_told_when_first_reached() -> None:
    """A flat top counts from its start, and an end of the line can be the extreme."""
    trace = trace_of([probe((0, 2), (10, 5), (20, 5), (30, 1))], max_gap_ms=30_000, length_ms=30_000)
    assert trace.highest() == (5.0, 10_000)
    assert trace.lowest() == (1.0, 30_000)
    flat = trace_of([probe((0, 5), (10, 5), (20, 5))], max_gap_ms=30_000, length_ms=20_000)
    assert flat.lowest() == flat.highest() == (5.0, 0)


def test_of_two_probes_the_lower_or_the_higher_if_asked() -> None:
    """Of two, also of three of which one is silent, always that one; of three or one nothing changes."""
    one, other, third = probe((0, 1), (30, 1)), probe((0, 3), (30, 3)), probe((0, 8), (10, 8))
    assert pieces(trace_of([one, other], max_gap_ms=30_000, length_ms=30_000, of_two="lower")) == [(0, 30, 1, 1)]
    assert pieces(trace_of([one, other], max_gap_ms=30_000, length_ms=30_000, of_two="higher")) == [(0, 30, 3, 3)]
    three = [one, other, third]
    assert pieces(trace_of(three, max_gap_ms=30_000, length_ms=30_000, of_two="lower")) == [
        (0, 10, 3, 3),
        (10, 30, 1, 1),
    ]
    assert pieces(trace_of(three, max_gap_ms=30_000, length_ms=30_000, of_two="higher")) == [
        (0, 10, 3, 3),
        (10, 30, 3, 3),
    ]
    assert pieces(trace_of([one], max_gap_ms=30_000, length_ms=30_000, of_two="higher")) == [(0, 30, 1, 1)]
