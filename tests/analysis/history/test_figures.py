"""Figures of lines whose integrals are known in closed form, and the merging of figures.

There is no published table of such figures to compare with: the checks are algebra here, and a slow second opinion by
the second in test_environment.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from monitor.analysis.history.environment import history_of
from monitor.analysis.history.figures import Figures, Gap, Limits, limits_of, merged
from monitor.domain.needs.profile import Band
from tests.analysis.air import HOUR, T0, readings, sampled, stretch


def dry(*stretches: object) -> Figures:
    """The whole's dry-bulb figures."""
    return history_of(stretches).whole.dry_bulb_c  # type: ignore[arg-type]


def test_a_constant_has_itself_as_mean_and_no_spread() -> None:
    """An hour at 37.5 °C: mean, minimum and maximum are 37.5, all of it in the band, covered whole."""
    figures = dry(stretch(sampled(lambda t: 37.5 + 0 * t, 1.0)))
    assert (figures.mean, figures.min, figures.max) == pytest.approx((37.5, 37.5, 37.5), abs=1e-12)
    assert figures.sd == pytest.approx(0.0, abs=1e-12)
    assert (figures.hours_in, figures.hours_total, figures.coverage) == (1.0, 1.0, 1.0)
    assert (figures.gaps, figures.excursions, figures.longest_gap, figures.longest_gap_s) == ((), (), None, 0.0)


def test_a_ramp_has_the_moments_of_an_even_spread() -> None:
    """From 36 to 40 over an hour: mean 38, sd 4/sqrt(12), a quarter below 37, half above 38, triangles as areas."""
    figures = dry(stretch(sampled(lambda t: 36.0 + 4.0 * t / 3600.0, 1.0)))
    assert figures.mean == pytest.approx(38.0, abs=1e-12)
    assert figures.sd == pytest.approx(4.0 / math.sqrt(12.0), abs=1e-12)
    assert (figures.min, figures.min_at_ms) == (36.0, T0)
    assert (figures.max, figures.max_at_ms) == (40.0, T0 + HOUR)
    hours = (figures.hours_below, figures.hours_in, figures.hours_above)
    assert hours == pytest.approx((0.25, 0.25, 0.5), abs=1e-12)
    areas = (figures.degree_hours_below, figures.degree_hours_above)
    assert areas == pytest.approx((0.5 * 1.0 * 0.25, 0.5 * 2.0 * 0.5), abs=1e-12)


def test_a_triangle_needs_only_its_corners() -> None:
    """Three readings, half an hour apart and allowed to be, give the exact figures of 36 to 40 and back."""
    air = readings([0, 1800, 3600], [36.0, 40.0, 36.0])
    figures = dry(stretch(air, max_gap_s=1800.0))
    assert (figures.mean, figures.sd) == pytest.approx((38.0, 4.0 / math.sqrt(12.0)), abs=1e-12)
    (above,) = (each for each in figures.excursions if each.side == "above")
    assert (above.since_ms, above.until_ms, above.peak_at_ms) == (T0 + HOUR // 4, T0 + HOUR * 3 // 4, T0 + HOUR // 2)
    assert above.area == pytest.approx(0.5 * 2.0 * 0.5, abs=1e-12)


def test_a_sine_agrees_with_its_integral() -> None:
    """38 + sin over three periods of an hour, read each 10 s: time and area above 38.5, mean and sd.

    The line lies off the sine by at most step²/8 · (2π/period)² = 3.8e-5 K, so the mean and the sd are within that, the
    area above within that times the hours above (3.8e-5 K·h), and a crossing, where the sine rises 5.4 K/h, within
    7e-6 h of its place: 6 crossings, 4.3e-5 h.
    """
    air = sampled(lambda t: 38.0 + np.sin(2 * math.pi * t / 3600.0), 3.0)
    figures = dry(stretch(air, hours=3.0, dry_bulb_c=Band(high_warning=38.5)))
    assert figures.mean == pytest.approx(38.0, abs=3.8e-5)
    assert figures.sd == pytest.approx(math.sqrt(0.5), abs=3.8e-5)
    # Above a half of its height a sine spends a third of the time; there it integrates to (√3 - π/3)/2π of a period.
    assert figures.hours_above == pytest.approx(1.0, abs=4.3e-5)
    assert figures.degree_hours_above == pytest.approx(3 * (math.sqrt(3) - math.pi / 3) / (2 * math.pi), abs=3.8e-5)
    assert len(figures.excursions) == 3
    assert [each.peak for each in figures.excursions] == pytest.approx([39.0] * 3, abs=3.8e-5)


def test_uneven_readings_are_weighted_by_time() -> None:
    """A burst of readings counts no more than the seconds it lasts."""
    air = readings([0, *np.linspace(1790, 1800, 500), 3600], [37.0, *[37.0] * 500, 39.0])
    assert dry(stretch(air, max_gap_s=3600.0)).mean == pytest.approx(0.5 * 37.0 + 0.5 * 38.0, abs=1e-12)


@pytest.mark.parametrize(
    ("band", "limits"),
    [
        (None, (None, None)),
        (Band(36.0, 37.0, 37.5, 38.0, 39.0), (37.0, 38.0)),
        (Band(low_alarm=36.0, target=37.5, high_alarm=39.0), (36.0, 39.0)),
        (Band(low_warning=37.0, high_alarm=39.0), (37.0, 39.0)),
        (Band(target=37.5), (None, None)),
    ],
)
def test_the_limits_are_the_warning_ones_else_the_alarm_ones(
    band: Band | None, limits: tuple[float | None, float | None]
) -> None:
    """Each side has its own: a warning limit where there is one, the alarm limit where there is none."""
    assert limits_of(band) == limits


def test_without_a_band_time_is_covered_and_not_judged() -> None:
    """Nothing is in, above or below a band that does not exist; averages stand all the same."""
    figures = dry(stretch(sampled(lambda t: 50.0 + 0 * t, 1.0), dry_bulb_c=None))
    assert figures.mean == pytest.approx(50.0)
    assert (figures.hours_in, figures.hours_above, figures.hours_below, figures.hours_unjudged) == (0, 0, 0, 1.0)
    assert figures.excursions == ()


def test_without_good_data_there_is_no_mean() -> None:
    """No readings at all: no figure is made up, the whole window is one gap."""
    figures = dry(stretch())
    assert (figures.mean, figures.sd, figures.min, figures.max, figures.min_at_ms) == (None,) * 5
    assert (figures.coverage, figures.hours_covered, figures.gaps) == (0.0, 0.0, (Gap(T0, T0 + HOUR),))
    assert (figures.longest_gap_s, figures.longest_gap) == (3600.0, Gap(T0, T0 + HOUR))


def test_merging_joins_gaps_and_tells_a_limit_once() -> None:
    """A gap over a boundary is one gap, and so the longest; limits that stay the same are one span."""
    air = readings([*range(0, 3001, 10), *range(4000, 7201, 10)], 37.5)
    other = Band(36.0, 37.2, 37.5, 38.0, 39.0)
    parts = [
        dry(stretch(air, hours=0.5)),
        dry(stretch(air, hours=0.5, since_s=1800)),
        dry(stretch(air, hours=1.0, since_s=3600, dry_bulb_c=other)),
    ]
    together = merged(parts)
    assert together.gaps == (Gap(T0 + 3_000_000, T0 + 4_000_000),)
    assert together.longest_gap_s == 1000.0
    assert together.limits == (Limits(T0, T0 + HOUR, 37.0, 38.0), Limits(T0 + HOUR, T0 + 2 * HOUR, 37.2, 38.0))
    assert together.samples == sum(part.samples for part in parts) == air.at_ms.size - 1  # the last is at the end


def test_merging_a_part_without_data_changes_no_average() -> None:
    """An hour without readings lowers the coverage to a half and leaves mean, spread and extremes."""
    part = dry(stretch(sampled(lambda t: 36.0 + t / 900.0, 1.0)))
    void = dry(stretch(since_s=3600))
    for parts, first in (([part, void], part), ([void, part], part)):
        together = merged(parts)
        assert (together.mean, together.sd) == pytest.approx((first.mean, first.sd), abs=1e-12)
        assert (together.min, together.max, together.min_at_ms) == (first.min, first.max, first.min_at_ms)
    assert merged([part, void]).coverage == 0.5
