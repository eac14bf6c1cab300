"""The truth about the eggs: when published harm begins."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from monitor.domain.air.psychrometrics import vapour_kpa
from monitor.rehearse.cabinet import PROPORTIONAL, Air, Cabinet, CabinetSpec
from tests.truth.harm import Corners, Limits, egg_tau_s, own_heat_k

ROOM = Air(20.0, vapour_kpa(20.0, 50.0))
SPEC = CabinetSpec(60.0, heater_w=45.0, humidifier_g_h=40.0, control=PROPORTIONAL, eggs=24, age_days=3.0)


def watched(limits: Limits, minutes: float, *, egg_c: float = 37.8, air_c: float = 37.8, from_s: float = 0.0) -> float:
    """Let minutes pass at that; the second they ended."""
    at_s = from_s
    for _ in range(round(minutes * 4)):
        at_s += 15.0
        limits.look(at_s, 15.0, egg_c, egg_c, air_c)
    return at_s


def harmed(limits: Limits) -> tuple[float | None, str]:
    """When, and by what."""
    return limits.harm_s, limits.why


def test_sound_eggs_are_not_harmed() -> None:
    """A day at 37.8 °C is no harm."""
    limits = Limits(37.8)
    watched(limits, 1440)
    assert limits.harm_s is None


def test_an_egg_of_39_5_is_harmed_at_once() -> None:
    """The published limit, and not a tenth below it."""
    limits = Limits(37.8)
    at_s = watched(limits, 60, egg_c=39.4)
    assert limits.harm_s is None
    watched(limits, 0.25, egg_c=39.5, from_s=at_s)
    assert harmed(limits) == (at_s + 15.0, "egg too hot")


def test_an_egg_that_is_warm_by_itself_is_harmed_above_its_normal() -> None:
    """An egg that stands at 39.6 °C late in the term is sound there, and harmed 1.1 K above."""
    limits = Limits(39.6)
    at_s = watched(limits, 60, egg_c=40.6)
    assert limits.harm_s is None
    watched(limits, 0.25, egg_c=40.7, from_s=at_s)
    assert limits.why == "egg too hot"


def test_half_an_hour_of_hot_air_harms() -> None:
    """40.6 °C for 30 min, unbroken; 29 min twice with a break do not."""
    limits = Limits(37.8)
    at_s = watched(limits, 29, air_c=40.6)
    at_s = watched(limits, 5, from_s=at_s)
    at_s = watched(limits, 29, air_c=40.6, from_s=at_s)
    assert limits.harm_s is None
    watched(limits, 1, air_c=40.6, from_s=at_s)
    assert limits.why == "hot air for half an hour"


def test_three_hours_of_a_cold_egg_harm() -> None:
    """Below 32.2 °C for 3 h, and not at 32.2 °C."""
    limits = Limits(37.8)
    at_s = watched(limits, 300, egg_c=32.2)
    assert limits.harm_s is None
    watched(limits, 180, egg_c=32.1, from_s=at_s)
    assert harmed(limits) == (at_s + 180 * 60.0, "egg cold for 3 h")


def test_the_first_harm_is_kept() -> None:
    """What comes after it changes nothing."""
    limits = Limits(37.8)
    at_s = watched(limits, 1, egg_c=39.5)
    first_s = limits.harm_s
    watched(limits, 200, egg_c=30.0, from_s=at_s)
    assert limits.harm_s == first_s


def test_eggs_in_mixed_air_are_all_alike() -> None:
    """With the fan on the corners differ by hundredths."""
    cabinet, corners = Cabinet(SPEC), Corners()
    for _ in range(480):
        cabinet.step(15.0, ROOM)
        corners.follow(15.0, cabinet)
    hottest_c, coldest_c = corners.eggs_c(cabinet)
    assert 0.0 < hottest_c - coldest_c < 0.1


def test_eggs_on_a_warm_side_follow_their_air_as_the_closed_form_has_it() -> None:
    """A side that stands 3 K above: after 2 h its eggs stand above the middle by the response of two lags in series."""
    cabinet, corners = Cabinet(SPEC), Corners()
    cabinet.step(7200.0, ROOM)
    cabinet.side_k = 3.0
    for _ in range(480):
        cabinet.step(15.0, ROOM)
        corners.follow(15.0, cabinet)
    hottest_c, _ = corners.eggs_c(cabinet)
    a_s, b_s, t_s = 1200.0, egg_tau_s(cabinet), 7200.0
    share = 1.0 - (a_s * math.exp(-t_s / a_s) - b_s * math.exp(-t_s / b_s)) / (a_s - b_s)
    layers_k = 0.8 * 0.003 * (cabinet.air_c - ROOM.dry_bulb_c)  # the top of the cabinet besides
    assert hottest_c - cabinet.egg_c == pytest.approx(0.8 * 3.0 * share + layers_k, abs=0.05)


def test_the_time_constant_is_that_of_the_published_warming_curve() -> None:
    """52 min for a 60 g egg in an incubator's air (90 % of the heat in nearly 2 h: Am. J. Physiol. 1978); longer without the fan."""
    cabinet = Cabinet(SPEC)
    assert egg_tau_s(cabinet) / 60.0 == pytest.approx(52.0, abs=1.0)
    cabinet.fan_on = False
    assert egg_tau_s(cabinet) / 60.0 == pytest.approx(52.0 / 0.6, abs=2.0)


def test_an_eggs_own_heat_is_what_the_cabinet_settles_at() -> None:
    """The lone egg's rise above its air agrees with the cabinet's own balance, evaporation apart; half the share, half the rise."""
    rises = []
    for share in (0.0, 0.5, 1.0):
        cabinet = Cabinet(replace(SPEC, age_days=16.0, embryo_share=share))
        cabinet.step(8 * 3600.0, ROOM)
        rises.append((cabinet.egg_c - cabinet.air_c, own_heat_k(cabinet)))
    for rise_k, own_k in rises[1:]:
        assert rise_k - rises[0][0] == pytest.approx(own_k, abs=0.08)
    assert rises[1][1] == pytest.approx(rises[2][1] / 2.0)
