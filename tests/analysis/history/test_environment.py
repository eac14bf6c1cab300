"""From readings to a batch's history: what counts, what stays out, and what no cutting or shifting may change."""

from __future__ import annotations

import gc
import itertools
import math
import random
import sys
from dataclasses import replace
from typing import Any
from unittest import mock

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.analysis.history.environment import BatchHistory, Stretch, history_of
from monitor.analysis.history.figures import Figures, merged
from monitor.analysis.line import stretch as stretches_room
from monitor.analysis.line.doubt import NO_DOUBT, RANGE, STILL, UNLIKE_AIR, Doubt
from monitor.domain.needs.profile import Band
from monitor.service.ports import Series
from tests.analysis.air import HOUR, T0, WARM, Readings, readings, sampled, second_by_second, stretch

SLOW_OK = settings(deadline=None)  # a busy machine is no failure

SUMS = (
    *("hours_in", "hours_above", "hours_below", "hours_unjudged"),
    *("degree_hours_above", "degree_hours_below", "hours_covered"),
)


# --- stretches made up by Hypothesis -------------------------------------------------------------------------------


@st.composite
def probes(draw: st.DrawFn) -> Readings:
    """Up to 60 readings of one probe, whole seconds apart, some too far apart, some flagged, some without humidity."""
    steps = draw(st.lists(st.sampled_from([1, 5, 10, 10, 10, 20, 30, 31, 90]), min_size=0, max_size=60))
    start = draw(st.integers(-100, 300))
    at_s = start + np.cumsum([0, *steps])
    rows = at_s.size

    def column(values: st.SearchStrategy[Any]) -> list[Any]:
        return draw(st.lists(values, min_size=rows, max_size=rows))

    # Hundredths, while the limits are at half hundredths: a reading is never on a limit.
    dry_bulb = column(st.one_of(st.integers(3600, 3900), st.sampled_from([3750, 3751])).map(lambda n: n / 100))
    humidity = column(st.one_of(st.integers(3000, 7000).map(lambda n: n / 100), st.just(math.nan)))
    return readings(at_s, dry_bulb, humidity, column(st.sampled_from([1, 1, 1, 1, 1, 2, 3, 4, 9])))


BANDS = st.sampled_from(
    [None, Band(low_warning=37.005, high_warning=38.005), Band(high_alarm=37.505), Band(low_alarm=37.505)]
)
HUMID_BANDS = st.sampled_from([None, Band(low_warning=45.005, high_warning=55.005)])


@st.composite
def stretches(draw: st.DrawFn, most_probes: int = 4) -> Stretch:
    """A stretch of up to ten minutes with none to four probes."""
    air = tuple(draw(st.lists(probes(), min_size=0, max_size=most_probes)))
    length_s = draw(st.integers(1, 600))
    return stretch(*air, hours=length_s / 3600, dry_bulb_c=draw(BANDS), rh_pct=draw(HUMID_BANDS), wet_bulb_c=None)


def every(history: BatchHistory) -> list[Figures]:
    """The figures of each stage and the whole, all quantities."""
    return [figures for period in (*history.stages, history.whole) for _, figures in period.figures()]


def assert_same(one: Figures, other: Figures) -> None:
    """Equal up to rounding: sums and averages to a billionth, times to the millisecond that rounds them."""
    assert (one.since_ms, one.until_ms, one.gaps) == (other.since_ms, other.until_ms, other.gaps)
    assert (one.samples, one.flagged, one.limits) == (other.samples, other.flagged, other.limits)
    assert [getattr(one, name) for name in SUMS] == pytest.approx([getattr(other, name) for name in SUMS], abs=1e-9)
    assert (one.mean is None) == (other.mean is None)
    if one.mean is not None:
        assert (one.mean, one.min, one.max) == pytest.approx((other.mean, other.min, other.max), abs=1e-9)
        # A spread of 0 is a root of rounding: the mean's 1e-14 about it, seldom more.
        assert one.sd == pytest.approx(other.sd, abs=1e-7)
    assert len(one.excursions) == len(other.excursions)
    for a, b in zip(one.excursions, other.excursions, strict=True):
        facts = ("side", "limit", "machine", "stage", "cut_by_gap", "open", "at_start")
        assert [getattr(a, name) for name in facts] == [getattr(b, name) for name in facts]
        assert (a.peak, a.area) == pytest.approx((b.peak, b.area), abs=1e-9)
        assert (a.since_ms, a.until_ms) == pytest.approx((b.since_ms, b.until_ms), abs=1)


# --- what always holds -------------------------------------------------------------------------------------------


@SLOW_OK
@given(stretches())
def test_hours_in_above_below_and_unjudged_are_the_hours_covered(one: Stretch) -> None:
    """For every quantity, with any band, and none of them is negative."""
    for figures in every(history_of([one])):
        parts = (figures.hours_in, figures.hours_above, figures.hours_below, figures.hours_unjudged)
        assert math.fsum(parts) == pytest.approx(figures.hours_covered, abs=1e-12)
        assert min(parts) >= 0.0


@SLOW_OK
@given(stretches())
def test_what_is_covered_and_the_gaps_are_the_total(one: Stretch) -> None:
    """Coverage is a share from 0 to 1, and gaps lie in order, apart, inside the window, each lasting a while."""
    for figures in every(history_of([one])):
        gaps = math.fsum(gap.seconds / 3600 for gap in figures.gaps)
        assert figures.hours_covered + gaps == pytest.approx(figures.hours_total, abs=1e-12)
        assert 0.0 <= figures.coverage <= 1.0
        edges = [edge for gap in figures.gaps for edge in (gap.since_ms, gap.until_ms)]
        assert edges == sorted(set(edges))
        assert all(one.since_ms <= edge <= one.until_ms for edge in edges)


@SLOW_OK
@given(stretches())
def test_excursions_make_up_the_time_and_the_area_outside(one: Stretch) -> None:
    """Their areas sum to the degree-hours and their lengths to the hours, each side for itself."""
    for figures in every(history_of([one])):
        for side, hours, area in (
            ("above", figures.hours_above, figures.degree_hours_above),
            ("below", figures.hours_below, figures.degree_hours_below),
        ):
            found = [each for each in figures.excursions if each.side == side]
            assert math.fsum(each.area for each in found) == pytest.approx(area, abs=1e-12)
            rounding_h = len(found) * 1.0 / HOUR  # half a millisecond at each end
            assert math.fsum(each.hours for each in found) == pytest.approx(hours, abs=rounding_h + 1e-12)
            extreme = figures.max if side == "above" else figures.min
            if found:
                assert (max if side == "above" else min)(each.peak for each in found) == extreme


@SLOW_OK
@given(stretches(), st.integers(-(10**12), 10**12))
def test_shifting_time_changes_nothing(one: Stretch, by_ms: int) -> None:
    """The same air at another time has the same figures to the last bit, and its times moved by as much."""
    air = tuple(replace(probe, at_ms=probe.at_ms + by_ms) for probe in one.air if isinstance(probe, Readings))
    assert len(air) == len(one.air)
    moved = replace(one, air=air, since_ms=one.since_ms + by_ms, until_ms=one.until_ms + by_ms)
    for before, after in zip(every(history_of([one])), every(history_of([moved])), strict=True):
        names = (*SUMS, "mean", "sd", "min", "max", "samples", "flagged", "coverage", "longest_gap_s")
        assert [getattr(before, name) for name in names] == [getattr(after, name) for name in names]
        assert [gap.since_ms + by_ms for gap in before.gaps] == [gap.since_ms for gap in after.gaps]
        assert [(e.since_ms + by_ms, e.until_ms + by_ms, e.peak, e.area) for e in before.excursions] == [
            (e.since_ms, e.until_ms, e.peak, e.area) for e in after.excursions
        ]
        if before.min_at_ms is not None and before.max_at_ms is not None:
            assert (before.min_at_ms + by_ms, before.max_at_ms + by_ms) == (after.min_at_ms, after.max_at_ms)


@SLOW_OK
@given(stretches(), st.lists(st.floats(0.0, 1.0), min_size=1, max_size=4))
def test_cutting_a_stretch_changes_the_whole_by_no_more_than_rounding(one: Stretch, cuts: list[float]) -> None:
    """However a stretch is cut, to the millisecond, sums, averages, gaps and excursions of the whole stay."""
    length_ms = one.until_ms - one.since_ms
    edges = sorted({0, length_ms, *(int(cut * length_ms) for cut in cuts)})
    parts = [
        replace(one, since_ms=one.since_ms + begin, until_ms=one.since_ms + end)
        for begin, end in itertools.pairwise(edges)
    ]
    whole = history_of(parts).whole
    for (_, in_parts), (_, at_once) in zip(whole.figures(), history_of([one]).whole.figures(), strict=True):
        assert_same(in_parts, at_once)


@SLOW_OK
@given(stretches(), st.integers(1_000, 400_000))
def test_working_in_parts_changes_no_more_than_rounding(one: Stretch, part_ms: int) -> None:
    """The length of the parts that long stretches are worked through in is a matter of memory, and of nothing else."""
    at_once = history_of([one]).whole
    with mock.patch.object(stretches_room, "PART_MS", part_ms):
        in_parts = history_of([one]).whole
    for (_, figures), (_, other) in zip(in_parts.figures(), at_once.figures(), strict=True):
        assert_same(figures, other)


def test_a_cut_sees_what_bends_the_line_beyond_it() -> None:
    """A fourth probe that begins after the cut is a turn of the others' median: a line across the cut still bends there."""
    three = [readings([0, 30], values) for values in ([36.0, 36.9], [36.3, 36.3], [37.0, 37.0])]
    late = readings([20, 45, 60], 37.0)
    one = stretch(*three, late, hours=60 / 3600)
    parts = [replace(one, until_ms=T0 + 10_000), replace(one, since_ms=T0 + 10_000)]
    assert_same(history_of(parts).whole.dry_bulb_c, history_of([one]).whole.dry_bulb_c)
    # From 36.3, the median at 0 s, to 36.6, that at 20 s: half way at the cut.
    assert history_of(parts[:1]).whole.dry_bulb_c.max == pytest.approx(36.45, abs=1e-12)


@SLOW_OK
@given(stretches(), st.floats(0.1, 0.9))
def test_the_whole_from_stages_is_the_whole_at_once(one: Stretch, cut: float) -> None:
    """Merging stages that were merged from stretches gives what merging all stretches at one go gives."""
    length_ms = one.until_ms - one.since_ms
    edges = [one.since_ms, *(one.since_ms + max(i, int(length_ms * cut * i / 3)) for i in (1, 2, 3)), one.until_ms]
    stages = ("setter", "setter", "lockdown", "hatch")
    parts = [
        replace(one, since_ms=begin, until_ms=end, stage=stage)
        for begin, end, stage in zip(edges, edges[1:], stages, strict=False)
    ]
    history = history_of(parts)
    assert [period.stage for period in history.stages] == ["setter", "lockdown", "hatch"]
    for quantity, figures in history.whole.figures():
        assert_same(figures, merged([getattr(history_of([part]).whole, quantity) for part in parts]))


@SLOW_OK
@given(stretches(), st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter_and_of_equal_times_the_last_stands(one: Stretch, random: Any) -> None:
    """Readings shuffled, and each preceded somewhere by another one of the same time, give the same figures."""
    air = []
    for probe in one.air:
        order = list(range(probe.at_ms.size))
        random.shuffle(order)
        stale = Readings(probe.at_ms, probe.dry_bulb_c + 5.0, probe.rh_pct * 0.5, *[np.full_like(probe.flag, 1)] * 2)
        columns = (
            np.concatenate([getattr(stale, name)[order[::-1]], getattr(probe, name)[order]])
            for name in ("at_ms", "dry_bulb_c", "rh_pct", "flag", "rh_flag")
        )
        air.append(Readings(*columns))
    assert every(history_of([replace(one, air=tuple(air))])) == every(history_of([one]))


@settings(max_examples=60, deadline=None)
@given(stretches(most_probes=3))
def test_a_second_opinion_by_the_second_agrees(one: Stretch) -> None:
    """Plain Python that looks at the middle of each second finds the same figures.

    All readings are whole seconds apart, so within a second the line is straight and its middle is its mean: means agree
    to rounding. Within one second it moves by at most 3 K (steps of 1 s): its square, from the middle, adds up to 3²/12 to the
    variance; a crossing falls up to half a second off; an area is off by at most 3/8 K·s in a second with a crossing.
    """
    band = Band(low_warning=37.005, high_warning=38.005)
    figures = history_of([replace(one, dry_bulb_c=band)]).whole.dry_bulb_c
    good = [
        [
            (int(at - one.since_ms), float(value))
            for at, value, flag in zip(probe.at_ms, probe.dry_bulb_c, probe.flag, strict=True)
            if flag in (1, 2, 3)
        ]
        for probe in one.air
    ]
    # A reading alone between gaps bends no line (see trace_of); with up to three probes it could not matter but as a turn.
    linked = [
        [
            sample
            for place, sample in enumerate(probe)
            if any(
                abs(sample[0] - other[0]) <= 30_000 for other in probe[max(0, place - 1) : place + 2] if other != sample
            )
        ]
        for probe in good
    ]
    slow = second_by_second(linked, 30_000, one.until_ms - one.since_ms, 37.005, 38.005)
    if slow is None:
        assert figures.mean is None
        assert figures.hours_covered == 0.0
        return
    assert figures.mean is not None
    assert figures.sd is not None
    assert figures.hours_covered == pytest.approx(slow.hours_covered, abs=1e-12)
    assert figures.mean == pytest.approx(slow.mean, abs=1e-9)
    assert slow.sd - 1e-6 <= figures.sd
    assert figures.sd**2 <= slow.sd**2 + 3.0**2 / 12 + 1e-9
    crossings = 2 * len(figures.excursions)
    assert figures.hours_above == pytest.approx(slow.hours_above, abs=crossings * 0.5 / 3600 + 1e-9)
    assert figures.hours_below == pytest.approx(slow.hours_below, abs=crossings * 0.5 / 3600 + 1e-9)
    assert figures.degree_hours_above == pytest.approx(slow.area_above, abs=crossings * 0.375 / 3600 + 1e-9)
    assert figures.degree_hours_below == pytest.approx(slow.area_below, abs=crossings * 0.375 / 3600 + 1e-9)


# --- what counts and what does not ---------------------------------------------------------------------------------


def test_a_smooth_day_by_the_second_agrees_closely() -> None:
    """Two probes out of step, a long gap in one, six hours of waves: a second opinion within tight bounds.

    Waves of 0.9 K in half an hour move at most 0.003 K in a second, so 1e-6 K² in the variance and 1e-6 K·h in the areas
    are generous; crossings, a few dozen, each within half a second.
    """
    at = np.arange(-20.0, 6 * 3600 + 20, 10.0)
    there = at[(at < 7000) | (at > 9000)]
    one = readings(there, 37.5 + 0.9 * np.sin(2 * math.pi * there / 1800))
    two = readings(at + 4.0, 37.6 + 0.9 * np.sin(2 * math.pi * at / 1800 + 0.3))
    figures = history_of([stretch(one, two, hours=6.0)]).whole.dry_bulb_c
    probes_seen = [
        [(int(ms - T0), float(value)) for ms, value in zip(air.at_ms, air.dry_bulb_c, strict=True)]
        for air in (one, two)
    ]
    slow = second_by_second(probes_seen, 30_000, 6 * HOUR, 37.0, 38.0)
    assert slow is not None
    assert figures.coverage == 1.0
    assert figures.mean == pytest.approx(slow.mean, abs=1e-9)
    assert figures.sd == pytest.approx(slow.sd, abs=1e-6)
    assert (figures.degree_hours_above, figures.degree_hours_below) == pytest.approx(
        (slow.area_above, slow.area_below), abs=1e-6
    )
    bound = 2 * len(figures.excursions) * 0.5 / 3600
    assert (figures.hours_above, figures.hours_below) == pytest.approx((slow.hours_above, slow.hours_below), abs=bound)
    assert slow.area_above > 0.1
    assert slow.area_below > 0.1


def test_failed_readings_are_counted_and_stay_out() -> None:
    """A failed reading of 60 °C changes no figure but its count; not-evaluated ones count as good."""
    calm = sampled(lambda t: 37.5 + 0 * t, 1.0)
    dry_bulb, flag = calm.dry_bulb_c.copy(), calm.flag.copy()
    dry_bulb[[20, 40]], flag[20], flag[40], flag[60], flag[80] = 60.0, 4, 4, 2, 9
    figures = history_of([stretch(Readings(calm.at_ms, dry_bulb, calm.rh_pct, flag, calm.rh_flag))]).whole.dry_bulb_c
    assert (figures.mean, figures.max) == pytest.approx((37.5, 37.5))
    assert (figures.flagged, figures.samples) == (2, 357)  # 360 in the hour, less two failed and one missing
    assert figures.coverage == 1.0  # the good neighbours are 20 s apart, within the allowed silence
    assert figures.doubt == NO_DOUBT


def doubt(seconds: float, test: str, low: float, high: float) -> Any:
    hours: Any = pytest.approx(seconds / 3600)
    return Doubt(hours, ((test, hours),), low, high)


def test_suspect_readings_are_in_and_told_as_doubtful() -> None:
    """Ten minutes at 60 °C, over what a machine can be: their area counts, and for how long, how warm, and by which test is told."""
    calm = readings(range(0, 3600, 10), 37.5, 50.0)
    dry_bulb, flag = calm.dry_bulb_c.copy(), calm.flag.copy()
    dry_bulb[100:161], flag[100:161] = 60.0, 3
    found = history_of(
        [stretch(Readings(calm.at_ms, dry_bulb, calm.rh_pct, flag, calm.rh_flag), dry_bulb_c=Band(high_warning=38.0))]
    )
    figures = found.whole.dry_bulb_c
    assert (figures.max, figures.flagged, figures.samples) == (60.0, 0, 360)
    assert figures.degree_hours_above == pytest.approx(22.0 * 600 / 3600 + 22.0 * (22.0 / 22.5) * 10 / 3600, rel=1e-3)
    assert figures.doubt == doubt(610, RANGE, 60.0, 60.0)
    assert found.whole.wet_bulb_c.doubt.hours == pytest.approx(610 / 3600)  # it rests on the same readings
    assert found.whole.rh_pct.doubt == NO_DOUBT


@pytest.mark.parametrize(
    ("values", "test"),
    [
        ([3.0, 4.0, 3.5], RANGE),
        ([51.0, 51.0, 51.0], RANGE),
        ([37.0, 37.0, 37.0], STILL),
        ([37.0, 41.0, 45.0], UNLIKE_AIR),
    ],
)
def test_by_which_test_a_reading_is_doubtful_is_told_from_its_value(values: list[float], test: str) -> None:
    """Beyond what a machine can be; the same again and again; else a pace that no air has."""
    air = readings([0, 10, 20, 30, 40], [36.0, *values, 36.5], flag=np.array([1, 3, 3, 3, 1]))
    found = history_of([stretch(air, hours=60 / 3600)]).whole.dry_bulb_c.doubt
    assert found == doubt(30, test, min(values), max(values))


def test_doubt_of_several_probes_counts_a_time_once_and_parts_add_up() -> None:
    """Two probes doubtful in overlapping times; the same cut in two stretches is the same."""
    at = np.arange(0, 3600, 10)
    flags = [np.where((at >= low) & (at < high), 3, 1) for low, high in ((600, 1200), (900, 1800))]
    air = [readings(at, 51.0 + n, flag=flag) for n, flag in enumerate(flags)]
    whole = history_of([stretch(*air)]).whole.dry_bulb_c.doubt
    assert whole == doubt(1200, RANGE, 51.0, 52.0)
    halves = history_of([stretch(*air, hours=0.3), stretch(*air, since_s=1080.0, hours=0.7)]).whole.dry_bulb_c.doubt
    assert halves == doubt(1200, RANGE, 51.0, 52.0)


@pytest.mark.parametrize("hot", [True, False])
@pytest.mark.parametrize("seed", range(10))
def test_a_worse_accident_never_gives_a_smaller_figure(seed: int, hot: bool) -> None:
    """Hotter or colder and longer, through what is suspect and flagged so: no area, no hours and no extreme beyond the limits is smaller."""
    rng, at = random.Random(seed), np.arange(0, 6 * 3600, 10)
    calm = 37.5 + 0.1 * np.sin(at / 300.0)
    begin = rng.randrange(100, 800)
    worse_by = sorted(rng.uniform(1.0, 40.0) for _ in range(12))
    lasting = sorted(rng.randrange(2, 1000) for _ in range(12))
    before = (0.0, 0.0, 0.0)
    for by_k, lasts in zip(worse_by, lasting, strict=True):
        dry = calm.copy()
        dry[begin : begin + lasts] += by_k if hot else -by_k
        flag = np.where((dry > 50.0) | (dry < 5.0), 3, 1)
        found = history_of([stretch(readings(at, dry, flag=flag), hours=6.0, dry_bulb_c=BOTH)]).whole.dry_bulb_c
        assert found.max is not None
        assert found.min is not None
        told = (
            (found.degree_hours_above, found.hours_above, found.max)
            if hot
            else (found.degree_hours_below, found.hours_below, 37.5 - found.min)
        )
        assert all(now >= then - 1e-9 for now, then in zip(told, before, strict=True))
        before = told
    assert before[0] > 0.0


BOTH = Band(low_warning=37.0, high_warning=38.0)


def test_each_quantity_goes_by_its_own_flag() -> None:
    """A humidity sensor that fails for half of an hour costs the humidity that half, and the temperature nothing; and the other way.

    Wet bulb needs both: what one of them loses it loses too, and each reading that was flagged in either is counted once.
    """
    at_s, late, early = range(0, 3600, 10), slice(180, 360), slice(0, 90)
    flag, rh_flag = np.ones(360, dtype=np.int64), np.ones(360, dtype=np.int64)
    rh_flag[late], flag[early] = 4, 4
    whole = history_of([stretch(readings(at_s, 37.5, 50.0, flag, rh_flag))]).whole
    assert (whole.dry_bulb_c.samples, whole.dry_bulb_c.flagged) == (270, 90)
    assert (whole.rh_pct.samples, whole.rh_pct.flagged) == (180, 180)
    assert (whole.wet_bulb_c.samples, whole.wet_bulb_c.flagged) == (90, 270)
    assert whole.dry_bulb_c.hours_covered == pytest.approx(2690 / 3600)  # from 900 s to the last reading at 3590 s
    assert whole.rh_pct.hours_covered == pytest.approx(1790 / 3600)
    assert whole.wet_bulb_c.hours_covered == pytest.approx(890 / 3600)


def test_a_gap_is_shown_and_lowers_coverage() -> None:
    """Ten minutes of silence in an hour: one gap from the last reading to the next, coverage five sixths."""
    at = [*range(0, 1801, 10), *range(2400, 3601, 10)]
    figures = history_of([stretch(readings(at, 37.5))]).whole.dry_bulb_c
    (gap,) = figures.gaps
    assert (gap.since_ms, gap.until_ms, figures.longest_gap_s) == (T0 + 1_800_000, T0 + 2_400_000, 600.0)
    assert figures.coverage == pytest.approx(5 / 6)


def test_a_missing_humidity_costs_humidity_only() -> None:
    """Half an hour without humidity: the dry bulb is covered whole, humidity and wet bulb by a half."""
    at = np.arange(0, 3601, 10)
    air = readings(at, 37.5, np.where(at <= 1800, 50.0, math.nan))
    whole = history_of([stretch(air)]).whole
    assert (whole.dry_bulb_c.coverage, whole.rh_pct.coverage, whole.wet_bulb_c.coverage) == (1.0, 0.5, 0.5)
    assert (whole.dry_bulb_c.samples, whole.rh_pct.samples, whole.wet_bulb_c.samples) == (360, 181, 181)
    assert whole.rh_pct.mean == pytest.approx(50.0)


def test_a_humidity_beyond_saturation_counts_as_saturation() -> None:
    """A sensor's 103 % is 100 %, and the wet bulb then equals the dry bulb."""
    whole = history_of([stretch(readings(range(0, 3601, 10), 37.5, 103.0))]).whole
    assert whole.rh_pct.max == 100.0
    assert whole.wet_bulb_c.mean == pytest.approx(37.5, abs=1e-6)


def test_values_without_a_wet_bulb_leave_it_out() -> None:
    """An unchecked 120 °C, or a humidity below 0, has no wet bulb: it is left out there and nothing fails."""
    at = np.arange(0, 3601, 10)
    air = readings(at, np.where(at == 600, 120.0, 37.5), np.where(at == 1200, -1.0, 50.0), 2)
    whole = history_of([stretch(air)]).whole
    assert (whole.dry_bulb_c.max, whole.rh_pct.min) == (120.0, -1.0)
    assert whole.wet_bulb_c.samples == 358
    assert whole.wet_bulb_c.sd == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("pressure_kpa", [101.325, 84.0])
def test_the_wet_bulb_is_that_of_each_probes_own_pair(pressure_kpa: float) -> None:
    """Two probes, warm and dry, cooler and damp: the mean of their wet bulbs, as PsychroLib has them (to its 1e-3 K)."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    pairs = ((38.5, 40.0), (36.5, 70.0))
    air = [readings(range(0, 3601, 10), *pair) for pair in pairs]
    found = history_of([stretch(*air, pressure_kpa=pressure_kpa)]).whole.wet_bulb_c.mean
    expected = [psychrolib.GetTWetBulbFromRelHum(t, rh / 100, pressure_kpa * 1000) for t, rh in pairs]
    assert found == pytest.approx(sum(expected) / 2, abs=1e-3)


def test_a_stretch_takes_the_same_from_the_record_as_from_a_slice_of_it() -> None:
    """Readings far from the stretch change nothing, so the caller may hand over what it has."""
    air = sampled(lambda t: 37.5 + np.sin(t / 500), 8.0)
    one = stretch(air, since_s=3 * 3600 + 5)
    near = slice(3 * 360 - 10, 4 * 360 + 10)
    cut = Readings(air.at_ms[near], air.dry_bulb_c[near], air.rh_pct[near], air.flag[near], air.rh_flag[near])
    assert history_of([one]) == history_of([replace(one, air=(cut,))])


def test_the_series_of_the_store_is_air() -> None:
    """What the history port hands out fits as it is."""
    made = sampled(lambda t: 37.5 + 0 * t, 1.0)
    series = Series(made.at_ms, made.dry_bulb_c, made.rh_pct, made.flag, made.rh_flag)
    assert history_of([stretch(series)]) == history_of([stretch(made)])


# --- stretches, stages, machines -----------------------------------------------------------------------------------


def test_a_life_in_two_machines_has_a_period_per_stage() -> None:
    """Setter, half an hour nowhere, hatcher: stages, machines, and the time between as a gap of the stage it was in."""
    warm, hot = sampled(lambda t: 37.5 + 0 * t, 3.0), sampled(lambda t: 38.5 + 0 * t, 3.0)
    history = history_of(
        [
            stretch(warm),
            stretch(hours=0.5, since_s=3600, machine=""),
            stretch(hot, hours=0.5, since_s=5400, machine="hatcher-b"),
            stretch(hot, since_s=7200, machine="hatcher-b", stage="lockdown"),
        ]
    )
    setter, lockdown = history.stages
    assert (setter.stage, setter.machines) == ("setter", ("setter-a", "hatcher-b"))
    assert (lockdown.stage, lockdown.machines, lockdown.since_ms) == ("lockdown", ("hatcher-b",), T0 + 2 * HOUR)
    assert (history.whole.stage, history.whole.machines) == ("whole", ("setter-a", "hatcher-b"))
    assert (setter.dry_bulb_c.mean, setter.dry_bulb_c.coverage) == pytest.approx(((37.5 + 38.5 / 2) / 1.5, 0.75))
    assert setter.dry_bulb_c.longest_gap_s == 1800.0
    first, second = history.whole.dry_bulb_c.excursions
    assert (first.stage, first.until_ms, first.open) == ("setter", T0 + 2 * HOUR, False)
    assert (second.stage, second.since_ms, second.open) == ("lockdown", T0 + 2 * HOUR, True)
    assert setter.dry_bulb_c.excursions[-1].open  # still outside when the stage ended


def test_a_band_that_changes_within_a_stage_does_not_break_a_stay() -> None:
    """Below 45 and then below 48: one stay, its lowest point judged by the limit that stood there."""
    air = readings([0, 1800, 3600, 5400, 7200], 37.5, [44.0, 43.0, 47.0, 46.0, 47.0])
    wide = {"max_gap_s": 1800.0}
    history = history_of([stretch(air, **wide), stretch(air, since_s=3600, rh_pct=Band(low_warning=48.0), **wide)])
    first, second = history.whole.rh_pct.excursions
    assert (first.until_ms, first.peak, first.limit) == (T0 + 2_700_000, 43.0, 45.0)
    assert (second.since_ms, second.peak, second.limit) == (T0 + HOUR, 46.0, 48.0)
    steady = replace(air, rh_pct=np.full(5, 44.0))
    (one,) = history_of(
        [stretch(steady, **wide), stretch(steady, since_s=3600, rh_pct=Band(low_warning=48.0), **wide)]
    ).whole.rh_pct.excursions
    assert (one.since_ms, one.until_ms) == (T0, T0 + 2 * HOUR)
    assert one.area == pytest.approx(1.0 + 4.0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"until_ms": T0}, "stretch in setter-a, stage setter: until_ms"),
        ({"max_gap_s": 0.0}, "stretch in setter-a, stage setter: max_gap_s 0, expected above 0"),
        ({"max_gap_s": math.nan}, "max_gap_s nan"),
    ],
)
def test_a_stretch_that_makes_no_sense_is_refused(change: dict[str, Any], message: str) -> None:
    """It must last, and so must its allowed silence."""
    with pytest.raises(ValueError, match=message):
        replace(stretch(), **change)


def test_stretches_must_follow_one_another() -> None:
    """None at all, a hole between two, or one before the end of the last, is refused in one line."""
    with pytest.raises(ValueError, match="no stretches, expected one or more"):
        history_of([])
    for since_s in (3601, 3599):
        with pytest.raises(ValueError, match=f"since_ms {T0 + since_s * 1000}, expected {T0 + HOUR}, where the one"):
            history_of([stretch(), stretch(since_s=since_s)])


# --- cost ------------------------------------------------------------------------------------------------------------


def lines_run(step_s: float) -> int:
    """How many lines of Python the history of a day from two probes takes, outside the wet bulb."""
    air = [sampled(lambda t, k=k: 37.5 + 0.3 * np.sin(t / 900 + k), 24.0, step_s) for k in (0.0, 1.0)]  # type: ignore[misc]
    air[1] = replace(air[1], at_ms=air[1].at_ms + 300)
    one = stretch(*air, hours=24.0)
    count = 0

    def trace(frame: Any, event: str, _: Any) -> Any:
        nonlocal count
        if frame.f_code.co_filename.endswith("psychrometrics.py"):
            return None
        count += event == "line"
        return trace

    before = sys.gettrace()
    gc.disable()  # what a library does after a collection is none of ours
    sys.settrace(trace)
    try:
        history_of([one])
    finally:
        sys.settrace(before)
        gc.enable()
    return count


def test_no_step_walks_through_the_readings() -> None:
    """Ten times as many readings in a day (172,802 of them) take not one line of Python more."""
    assert lines_run(10.0) == lines_run(1.0)


def test_an_hour_and_a_month_have_the_same_mean() -> None:
    """Rounding does not grow with the record: 28 days at 10 s from two probes, to a billionth."""
    month = [sampled(lambda t: 37.5 + 0.2 * np.sin(2 * math.pi * t / 3600), 28 * 24.0) for _ in range(2)]
    at_once = history_of([stretch(*month, hours=28 * 24.0, dry_bulb_c=WARM)]).whole.dry_bulb_c
    hour = history_of([stretch(*month)]).whole.dry_bulb_c
    assert at_once.samples == 483_840
    assert (at_once.mean, at_once.sd) == pytest.approx((hour.mean, hour.sd), abs=1e-9)
