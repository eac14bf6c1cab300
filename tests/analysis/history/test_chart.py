"""A life cut down to columns: nothing that peaks is lost, and a gap stays a gap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.analysis.history.chart import BINS, Chart, charts_of, columns_of, extremes, probe_charts, ribbon_of, runs
from monitor.analysis.line.stretch import Readings, Stretch
from monitor.analysis.line.trace import Trace, trace_of
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB
from tests.analysis.air import HOUR, T0, WARM, stretch
from tests.analysis.lived import MODELS, lived, stretches


def charts(columns: int = 300) -> dict[str, Chart]:
    return {chart.quantity: chart for chart in charts_of(stretches(), MODELS, T0, columns=columns)}


def test_no_peak_is_lost() -> None:
    """The one reading of 38.7 °C in three days stands in its own column, and the lowest and highest are those of the figures."""
    found = charts()
    spike = found[DRY_BULB]
    column = int(spike.column(T0 + 600 * 60_000))
    assert spike.high[column] == pytest.approx(38.8)  # the mean of two probes that lie 0.2 K apart
    assert spike.high[column - 2] == pytest.approx(37.6)
    history = lived()
    for quantity in (DRY_BULB, RH, WET_BULB):
        figures = getattr(history.whole, quantity)
        assert np.nanmin(found[quantity].low) == pytest.approx(figures.min, abs=1e-12)
        assert np.nanmax(found[quantity].high) == pytest.approx(figures.max, abs=1e-12)
    egg = history.felt[-1].egg_c
    assert np.nanmin(found[EGG].low) == pytest.approx(egg.min)
    assert np.nanmax(found[EGG].high) == pytest.approx(egg.max)


def test_a_gap_is_a_gap() -> None:
    """The hour of silence leaves columns empty, in the egg for longer; every other column has a value."""
    found = charts(432)  # ten minutes each
    silent = runs(~np.isfinite(found[DRY_BULB].low))
    assert silent == [(240, 246)]
    egg = runs(~np.isfinite(found[EGG].low))
    assert egg[0][0] == 0
    assert egg[1][0] == 240
    assert egg[1][1] > 246 + 6 * MODELS["setter-a"].tau_s / 600 - 1


def test_bands_are_steps() -> None:
    """The band of a life changes where the stage does; one that stays the same is one step; the egg has none."""
    found = charts()
    assert [(s.since_ms, s.until_ms, s.band) for s in found[DRY_BULB].bands] == [(T0, T0 + 72 * HOUR, WARM)]
    assert found[EGG].bands == ()
    changed = [stretch(hours=1.0), stretch(hours=1.0, since_s=3600.0, dry_bulb_c=None)]
    bands = next(iter(charts_of(changed, MODELS, T0))).bands
    assert [(s.until_ms - s.since_ms, s.band) for s in bands] == [(HOUR, WARM), (HOUR, None)]


def test_nothing_measured_is_all_gap() -> None:
    """A life without any air has charts without any line."""
    for chart in charts_of([stretch(hours=1.0)], MODELS, T0):
        assert not np.isfinite(chart.low).any()


def test_columns_touched() -> None:
    """Times become the columns they touch, at least one, those that touch the same one joined; what lies outside sticks to the edge."""
    chart = Chart("x", 0, 100, np.zeros(10), np.zeros(10))
    assert columns_of(chart, [(0, 5), (12, 13), (19, 31)]) == [(0, 4)]
    assert columns_of(chart, [(0, 5), (35, 36)]) == [(0, 1), (3, 4)]
    assert columns_of(chart, [(40, 60), (50, 55), (90, 100)]) == [(4, 6), (9, 10)]
    assert columns_of(chart, [(-20, 3), (99, 300)]) == [(0, 1), (9, 10)]
    assert columns_of(chart, []) == []


Pairs = st.lists(st.tuples(st.integers(1, 400), st.floats(-20.0, 20.0)), min_size=2, max_size=40)


@settings(deadline=None, max_examples=200)
@given(Pairs, st.integers(1, 30))
def test_each_column_has_the_extremes_of_its_time(pairs: list[tuple[int, float]], columns: int) -> None:
    """Against a line sampled finely: no column leaves out what the line does in it, and none takes in what it does beside it."""
    at = np.cumsum([step * 100.0 for step, _ in pairs]) - pairs[0][0] * 100.0
    values = np.array([value for _, value in pairs])
    length = int(at[-1])
    trace: Trace = trace_of([(at, values)], max_gap_ms=20_000.0, length_ms=length)
    low, high = extremes([(T0, trace)], T0, T0 + length, columns=columns)
    fine = np.linspace(0.0, length, columns * 40 + 1)
    line = np.full(fine.size, np.nan)
    for start, end, first, last in zip(trace.start_ms, trace.end_ms, trace.first, trace.last, strict=True):
        inside = (fine >= start) & (fine <= end)
        line[inside] = first + (fine[inside] - start) / (end - start) * (last - first)
    steepest = max(float(np.max(np.abs(np.diff(values)) / np.diff(at))), 0.0) * length / columns / 40.0
    for column in range(columns):
        from_ms, to_ms = column * length / columns, (column + 1) * length / columns
        corners = [
            value
            for at_ms, value in zip([*trace.start_ms, *trace.end_ms], [*trace.first, *trace.last], strict=True)
            if from_ms <= at_ms <= to_ms  # a piece between two gaps may be shorter than the sampling
        ]
        seen = np.append(line[column * 40 : column * 40 + 41], corners)
        seen = seen[np.isfinite(seen)]
        if not seen.size:
            continue
        inner = line[column * 40 + 1 : column * 40 + 40]
        if np.isfinite(inner).any():
            assert low[column] <= np.nanmin(inner) + 1e-9
            assert high[column] >= np.nanmax(inner) - 1e-9
        if np.isfinite(low[column]):
            assert low[column] >= seen.min() - steepest - 1e-9
            assert high[column] <= seen.max() + steepest + 1e-9


def test_runs() -> None:
    """The unbroken runs of what is true."""
    assert runs(np.array([True, True, False, True])) == [(0, 2), (3, 4)]
    assert runs(np.zeros(3, dtype=bool)) == []


def named(probes: tuple[str, ...] = ("node-a/top", "node-a/low")) -> list[Stretch]:
    """The life with the names of its probes, each time as many as there are."""
    return [replace(each, probes=probes[: len(each.air)]) for each in stretches()]


def test_each_probe_has_a_line_of_its_own() -> None:
    """Two that lie 0.2 K apart: each by a tenth from the mean of both, which is the line that is used."""
    used, own = charts()[DRY_BULB], probe_charts(named(), DRY_BULB, columns=300)
    apart = [line.above(used) for line in own.values()]
    assert len(own) == 2
    assert sorted(round(each or 0.0, 2) for each in apart) == pytest.approx([-0.1, 0.1], abs=0.03)
    assert next(iter(own.values())).coverage == pytest.approx(float(np.isfinite(used.low).mean()), abs=0.02)
    void = replace(used, low=np.full(300, np.nan), high=np.full(300, np.nan))
    assert used.above(void) is None


def moved(by_ms: int, warmer_k: float) -> tuple[list[Stretch], int]:
    """The same life at another time, in air that is so much warmer."""
    air = [
        tuple(Readings(a.at_ms + by_ms, a.dry_bulb_c + warmer_k, a.rh_pct, a.flag, a.rh_flag) for a in each.air)
        for each in stretches()
    ]
    lives = [
        replace(each, since_ms=each.since_ms + by_ms, until_ms=each.until_ms + by_ms, air=corrected)
        for each, corrected in zip(stretches(), air, strict=True)
    ]
    return lives, T0 + by_ms


def test_a_ribbon_lies_between_other_batches_on_the_same_days() -> None:
    """Two lives, half a kelvin apart and weeks later: from the one to the other, where both have a line; one alone makes none."""
    chart = charts()[DRY_BULB]
    lives = [moved(40 * 86_400_000, 0.1), moved(90 * 86_400_000, 0.6)]
    ribbon = ribbon_of(lives, DRY_BULB, chart, set_ms=T0)
    assert ribbon is not None
    assert (ribbon.batches, ribbon.low.size) == (2, BINS)
    known = np.isfinite(ribbon.low)
    assert known.mean() > 0.8
    assert (ribbon.high - ribbon.low)[known] == pytest.approx(0.5, abs=1e-9)
    itself = ribbon_of([moved(0, 0.0), moved(0, 0.0)], DRY_BULB, chart, set_ms=T0)
    assert itself is not None
    assert ribbon.low[known] - itself.low[known] == pytest.approx(0.1, abs=1e-9)
    assert ribbon_of(lives[:1], DRY_BULB, chart, set_ms=T0) is None
