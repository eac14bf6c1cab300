"""The pull on the eggs' water, from the readings of a batch's life."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.history.environment import Stretch
from monitor.analysis.water.pull import mean_air, pull_of
from monitor.domain.air.psychrometrics import saturation_vapour_kpa, vapour_kpa
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.readings.reading import DAY_MS
from tests.analysis.air import HOUR, T0, Readings, readings, sampled, stretch
from tests.analysis.weighed import steady

EGG = EggModel(60.0, 21.0)
MODELS = {"setter-a": EGG, "hatcher-a": EGG}


def humid(
    hours: float, dry_bulb_c: float = 37.5, rh_pct: float = 50.0, since_s: float = 0.0, **other: float
) -> Readings:
    at_s = since_s + np.arange(0.0, hours * 3600.0 + 5.0, 10.0)
    return readings(at_s, dry_bulb_c, rh_pct, **other)


def expected_kpa(dry_bulb_c: float, rh_pct: float, day: float) -> float:
    egg_c = dry_bulb_c + EGG.offset_k(day)
    return saturation_vapour_kpa(egg_c) - vapour_kpa(dry_bulb_c, rh_pct)


def test_a_day_of_steady_air() -> None:
    """A day at 37.5 °C and 50 % pulls with the deficit between that air and an egg as warm as the model has it, and is recorded throughout."""
    pull = pull_of([stretch(humid(24.0), hours=24.0)], MODELS, T0)
    total, days = pull.until(T0 + DAY_MS)
    assert days == pytest.approx(1.0)
    assert total == pytest.approx(expected_kpa(37.5, 50.0, 0.5), rel=1e-4)
    assert pull.mean_kpa == pytest.approx(total)


def test_the_egg_s_warmth_counts() -> None:
    """Late in the term the same air pulls harder, because the egg is warmer than early; day 18 against day 1."""
    late = pull_of([stretch(humid(24.0), hours=24.0)], MODELS, T0 - 18 * DAY_MS)
    early = pull_of([stretch(humid(24.0), hours=24.0)], MODELS, T0 - DAY_MS)
    assert late.mean_kpa == pytest.approx(expected_kpa(37.5, 50.0, 18.5), rel=2e-3)
    assert late.mean_kpa is not None
    assert early.mean_kpa is not None
    assert late.mean_kpa > early.mean_kpa + 0.2


def test_a_hole_is_not_filled() -> None:
    """Six silent hours of a day are not recorded, and no pull is made up for them."""
    first, second = humid(10.0), humid(8.0, since_s=16 * 3600.0)
    both = Readings(*(np.concatenate(pair) for pair in zip(vars(first).values(), vars(second).values(), strict=True)))
    pull = pull_of([stretch(both, hours=24.0)], MODELS, T0)
    total, days = pull.until(T0 + DAY_MS)
    assert days == pytest.approx(18.0 / 24.0, abs=0.001)
    assert total == pytest.approx(expected_kpa(37.5, 50.0, 0.5) * days, rel=1e-3)
    assert pull.until(T0 + 12 * HOUR) == pytest.approx(pull.until(T0 + 15 * HOUR))


def test_what_does_not_count() -> None:
    """Readings of which either quantity failed, and those without humidity, are as if they had not come; humidity above 100 % is 100 %."""
    for air in (
        humid(24.0, flag=4),
        humid(24.0, rh_flag=4),
        humid(24.0, flag=4, rh_flag=1),
        sampled(lambda s: 37.5 + 0 * s, 24.0),
        humid(24.0, rh_pct=-3.0),
        humid(24.0, dry_bulb_c=80.1),  # air whose vapour nobody can tell: `psychrometrics` goes from -40 to 80 °C
        humid(24.0, dry_bulb_c=-40.1),
    ):
        pull = pull_of([stretch(air, hours=24.0)], MODELS, T0)
        assert pull.until(T0 + DAY_MS) == (0.0, 0.0)
        assert pull.mean_kpa is None
    soaked = pull_of([stretch(humid(24.0, rh_pct=103.0), hours=24.0)], MODELS, T0)
    assert soaked.mean_kpa == pytest.approx(expected_kpa(37.5, 100.0, 0.5), abs=1e-3)


def test_a_life_in_two_machines_and_a_hole_between() -> None:
    """The sums run on through a move; the time in no machine is not recorded."""
    rest = {"hours": 24.0, "max_gap_s": 30.0}
    stretches = [
        stretch(humid(24.0), **rest),
        replace(stretch(hours=24.0, since_s=86_400.0), machine=""),
        replace(
            stretch(humid(24.0, rh_pct=70.0, since_s=172_800.0), since_s=172_800.0, hours=24.0), machine="hatcher-a"
        ),
    ]
    pull = pull_of(stretches, MODELS, T0)
    total, days = pull.until(T0 + 3 * DAY_MS)
    assert days == pytest.approx(2.0, abs=1e-6)
    assert total == pytest.approx(expected_kpa(37.5, 50.0, 0.5) + expected_kpa(37.5, 70.0, 2.5), rel=1e-3)
    assert (np.diff(pull.at_ms) > 0).all()


def test_two_probes_and_readings_out_of_order() -> None:
    """Of two probes the mean deficit counts; the order in which readings come changes nothing."""
    one, other = humid(24.0, rh_pct=45.0), humid(24.0, rh_pct=55.0)
    shuffled = np.random.default_rng(1).permutation(one.at_ms.size)
    mixed = Readings(*(column[shuffled] for column in vars(one).values()))
    pull = pull_of([stretch(mixed, other, hours=24.0)], MODELS, T0)
    assert pull.until(T0 + DAY_MS)[0] == pytest.approx(expected_kpa(37.5, 50.0, 0.5), rel=1e-3)


def test_swings_add_up_to_the_second_opinion() -> None:
    """A swinging humidity gives the sum that summing each reading gives, to one in ten thousand, at any quarter of an hour."""
    at_s = np.arange(0.0, 86_405.0, 10.0)
    rh_pct = 50.0 + 15.0 * np.sin(at_s / 3000.0)
    pull = pull_of([stretch(readings(at_s, 37.5, rh_pct), hours=24.0)], MODELS, T0)
    egg_c = 37.5 + np.array([EGG.offset_k(s / 86_400.0) for s in at_s])
    deficit = saturation_vapour_kpa(egg_c) - vapour_kpa(np.full_like(at_s, 37.5), rh_pct)
    for hours in (1.0, 7.25, 24.0):
        n = int(hours * 360) + 1
        slow = math.fsum(((deficit[: n - 1] + deficit[1:n]) / 2.0 * 10.0).tolist()) / 86_400.0
        assert pull.until(T0 + int(hours * HOUR))[0] == pytest.approx(slow, rel=1e-4)


def test_steady_is_the_same() -> None:
    """The pull of one steady deficit is that deficit times the days, and stands still before and after."""
    pull = steady(3.0, T0, T0 + 20 * DAY_MS)
    assert pull.until(T0 + 5 * DAY_MS) == pytest.approx((15.0, 5.0))
    assert pull.until(T0 + 30 * DAY_MS) == pytest.approx((60.0, 20.0))
    assert pull.mean_kpa == pytest.approx(3.0)


def test_what_is_refused() -> None:
    """No stretches, or a machine without a model of its egg, are refused in one line."""
    with pytest.raises(ValueError, match="no stretches, expected one or more"):
        pull_of([], MODELS, T0)
    other: Stretch = replace(stretch(humid(1.0)), machine="setter-b")
    with pytest.raises(ValueError, match="stretch in setter-b, stage setter: no model of its egg"):
        pull_of([other], MODELS, T0)


def test_inside_a_long_straight_piece() -> None:
    """Two readings a long way apart, and allowed to be: each quarter of an hour between has the pull of its own part of the slope."""
    rising = readings([-10.0, 0.0, 4 * 3600.0], 37.5, [40.0, 40.0, 80.0])
    pull = pull_of([stretch(rising, hours=4.0, max_gap_s=20_000.0)], MODELS, T0)
    first = pull.until(T0 + 900_000)[0]
    last = pull.until(T0 + 4 * HOUR)[0] - pull.until(T0 + 4 * HOUR - 900_000)[0]
    assert first == pytest.approx(expected_kpa(37.5, 41.25, 0.0) / 96.0, rel=1e-3)
    assert last == pytest.approx(expected_kpa(37.5, 78.75, 0.16) / 96.0, rel=1e-3)


def test_the_air_of_late() -> None:
    """Of readings from a time on, of every probe; those that failed, lie outside the stretch or before it do not count, each quantity by itself."""
    one = readings([0, 3_600, 7_200, 10_800, 14_400], [30.0, 37.0, 38.0, 39.0, 50.0], [10.0, 50.0, 120.0, 60.0, 99.0])
    other = replace(readings([7_200], 36.0, 40.0), rh_flag=np.array([4]))
    found = mean_air([stretch(one, other, hours=4.0)], T0 + HOUR)
    assert found == pytest.approx(((37.0 + 38.0 + 39.0 + 36.0) / 4, (50.0 + 100.0 + 60.0) / 3))
    assert mean_air([stretch(one, hours=4.0)], T0 + 5 * HOUR) == (None, None)
    assert mean_air([stretch(readings([60], 37.0), hours=4.0)], T0) == (37.0, None)
    assert mean_air([], T0) == (None, None)
