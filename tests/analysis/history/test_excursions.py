"""Unbroken stays outside a band: where they start and end, how far and how much, and what hides their ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.history.excursions import ABOVE, BELOW, Excursion, Outside, Place, chained, outside, settled
from monitor.analysis.line.trace import trace_of

PLACE = Place("setter-a", "setter", 5_000)
MAX_GAP_MS = 30_000


def stays(samples: list[tuple[float, float]], limit: float, side: str, until_s: float | None = None) -> Outside:
    """What is outside the limit on the line through (seconds, value), in a window to the last sample."""
    at_s, values = (np.array(column, dtype=float) for column in zip(*samples, strict=True))
    length_ms = int((until_s if until_s is not None else at_s[-1]) * 1000)
    trace = trace_of([(at_s * 1000.0, values)], max_gap_ms=MAX_GAP_MS, length_ms=length_ms)
    found = outside(trace, limit, side, place=PLACE)
    gaps = {PLACE.since_ms + start: PLACE.since_ms + end for start, end in trace.gaps()}
    until_ms = PLACE.since_ms + length_ms
    return replace(
        found,
        excursions=settled(found.excursions, gaps, since_ms=PLACE.since_ms, until_ms=until_ms, max_gap_ms=MAX_GAP_MS),
    )


def test_a_triangle_over_the_limit_has_its_crossings_peak_and_area() -> None:
    """From 37 to 39 and back in 40 s, limit 38: outside for 20 s, area half of 1 K times that."""
    found = stays([(0, 37), (20, 39), (40, 37)], 38.0, ABOVE)
    (one,) = found.excursions
    assert (one.since_ms, one.until_ms, one.peak, one.peak_at_ms) == (15_000, 35_000, 39.0, 25_000)
    assert (one.side, one.limit, one.machine, one.stage) == (ABOVE, 38.0, "setter-a", "setter")
    assert one.area == pytest.approx(0.5 * 1.0 * 20 / 3600)
    assert one.hours == pytest.approx(20 / 3600)
    assert (one.cut_by_gap, one.open, one.at_start) == (False, False, False)
    assert (found.hours, found.area) == pytest.approx((one.hours, one.area))


def test_below_mirrors_above() -> None:
    """The same line upside down gives the same stays on the other side."""
    line = [(0.0, 37.0), (10.0, 38.6), (20.0, 38.1), (30.0, 36.0), (40.0, 39.0)]
    above, below = stays(line, 38.0, ABOVE), stays([(at, -value) for at, value in line], -38.0, BELOW)
    assert len(above.excursions) == len(below.excursions) == 2
    for up, down in zip(above.excursions, below.excursions, strict=True):
        assert (up.since_ms, up.until_ms, up.peak_at_ms, up.open) == (
            down.since_ms,
            down.until_ms,
            down.peak_at_ms,
            down.open,
        )
        assert (up.peak, up.area) == pytest.approx((-down.peak, down.area))


def test_on_the_limit_is_inside_even_when_the_last_bit_says_otherwise() -> None:
    """A flat line on the limit, exactly or by the rounding of 37.3 + 0.5, is no excursion; 0.001 over is one."""
    assert stays([(0, 38.0), (30, 38.0)], 38.0, ABOVE) == Outside()
    assert 0.1 + 0.2 > 0.3
    assert stays([(0, 0.1 + 0.2), (30, 0.1 + 0.2)], 0.3, ABOVE) == Outside()
    assert stays([(0, 38.001), (30, 38.001)], 38.0, ABOVE).hours == pytest.approx(30 / 3600)


def test_coming_back_to_the_limit_ends_a_stay() -> None:
    """A line that touches the limit between two peaks makes two excursions; one that stays clear makes one."""
    assert len(stays([(0, 37), (10, 39), (20, 38), (30, 39), (40, 37)], 38.0, ABOVE).excursions) == 2
    assert len(stays([(0, 37), (10, 39), (20, 38 + 1e-12), (30, 39), (40, 37)], 38.0, ABOVE).excursions) == 2
    assert len(stays([(0, 37), (10, 39), (20, 38.01), (30, 39), (40, 37)], 38.0, ABOVE).excursions) == 1


def test_a_gap_ends_a_stay_and_both_parts_say_so() -> None:
    """Outside before and after a gap: two excursions, neither reaching into the gap, each marked."""
    before, after = stays([(0, 37), (10, 39), (20, 39), (60, 39), (70, 39), (80, 37)], 38.0, ABOVE).excursions
    assert (before.since_ms, before.until_ms, before.cut_by_gap) == (10_000, 25_000, True)
    assert (after.since_ms, after.until_ms, after.cut_by_gap) == (65_000, 80_000, True)
    assert not before.open
    assert not after.at_start


def test_a_stay_at_the_edges_of_the_window_is_open_there() -> None:
    """Outside from the first instant to the last: at_start and open, not cut by a gap."""
    (one,) = stays([(0, 39), (30, 39)], 38.0, ABOVE).excursions
    assert (one.at_start, one.open, one.cut_by_gap) == (True, True, False)
    assert (one.peak, one.peak_at_ms) == (39.0, PLACE.since_ms)


@pytest.mark.parametrize(("until_s", "still"), [(60.0, True), (60.001, False)])
def test_the_end_counts_as_reached_within_the_allowed_silence(until_s: float, still: bool) -> None:
    """The last reading up to 30 s before the window's end: still open. Longer before it: a gap hides the end."""
    (one,) = stays([(0, 37), (20, 39), (30, 39)], 38.0, ABOVE, until_s).excursions
    assert (one.open, one.cut_by_gap) == (still, not still)


@pytest.mark.parametrize(("first_s", "already"), [(30.0, True), (30.001, False)])
def test_the_start_counts_as_reached_within_the_allowed_silence(first_s: float, already: bool) -> None:
    """The first reading up to 30 s after the window's start: outside already. Later: a gap hides the start."""
    (one,) = stays([(first_s, 39), (first_s + 20, 39), (60, 37)], 38.0, ABOVE).excursions
    assert (one.at_start, one.cut_by_gap) == (already, not already)


def test_the_peak_is_told_when_first_reached() -> None:
    """Of a flat top the start, of two equal tops the first."""
    (one,) = stays([(0, 37), (10, 39), (20, 39), (30, 38.5), (40, 39), (50, 37)], 38.0, ABOVE).excursions
    assert (one.peak, one.peak_at_ms) == (39.0, 15_000)


def test_no_limit_means_nothing_outside() -> None:
    """A band that is open on one side has no excursions there."""
    trace = trace_of([(np.array([0.0, 30_000.0]), np.array([50.0, 50.0]))], max_gap_ms=30_000, length_ms=30_000)
    assert outside(trace, None, ABOVE, place=PLACE) == Outside()


def excursion(since_ms: int, until_ms: int, **other: object) -> Excursion:
    """An excursion of 0.5 K·h above 38 with its peak at the start."""
    facts: dict[str, object] = {
        "side": ABOVE,
        "since_ms": since_ms,
        "until_ms": until_ms,
        "peak": 39.0,
        "peak_at_ms": since_ms,
        "limit": 38.0,
        "area": 0.5,
        "machine": "setter-a",
        "stage": "setter",
    }
    return Excursion(**{**facts, **other})  # type: ignore[arg-type]


def whole(
    parts: Sequence[tuple[Excursion, ...]], boundaries_ms: list[int], until_ms: int, gaps: dict[int, int] | None = None
) -> tuple[Excursion, ...]:
    """The excursions of windows in a row, from 0 to until_ms, with 30 ms of allowed silence."""
    return settled(chained(parts, boundaries_ms), gaps or {}, since_ms=0, until_ms=until_ms, max_gap_ms=30)


def test_a_stay_over_a_boundary_becomes_one() -> None:
    """Lengths and areas add up, the farther peak and its limit stand, and it is open only where its last part is."""
    parts = [
        (excursion(10, 100, open=True),),
        (excursion(100, 200, at_start=True, open=True, peak=39.5, limit=38.2),),
        (excursion(200, 250, at_start=True), excursion(300, 310)),
    ]
    joined, other = whole(parts, [100, 200], 400)
    assert (joined.since_ms, joined.until_ms, joined.area) == (10, 250, 1.5)
    assert (joined.peak, joined.peak_at_ms, joined.limit) == (39.5, 100, 38.2)
    assert (joined.open, joined.at_start, joined.cut_by_gap) == (False, False, False)
    assert other == excursion(300, 310)


@pytest.mark.parametrize("other", [{"machine": "hatcher-b"}, {"stage": "lockdown"}, {"side": BELOW}])
def test_another_machine_stage_or_side_is_another_stay(other: dict[str, object]) -> None:
    """Both stand, and neither is open or cut by a gap at the boundary: what ended it is known."""
    parts = [(excursion(10, 100, open=True),), (excursion(100, 200, at_start=True, **other),)]
    assert whole(parts, [100], 300) == (excursion(10, 100), excursion(100, 200, **other))


def test_data_missing_at_a_boundary_is_a_gap_there() -> None:
    """A stay open within the allowed silence of a boundary, but not up to it, was cut by a gap after all."""
    parts = [(excursion(10, 95, open=True),), (excursion(110, 200, at_start=True),)]
    first, second = whole(parts, [100], 300, {95: 110})
    assert first == excursion(10, 95, cut_by_gap=True)
    assert second == excursion(110, 200, cut_by_gap=True)


@pytest.mark.parametrize(("until_ms", "still"), [(130, True), (131, False)])
def test_an_empty_window_at_the_end_leaves_a_stay_open_within_the_allowed_silence(until_ms: int, still: bool) -> None:
    """A boundary after the last reading makes no difference: the silence counts from that reading on."""
    (one,) = whole([(excursion(10, 100, open=True),), ()], [100], until_ms, {100: until_ms})
    assert (one.open, one.cut_by_gap) == (still, not still)
