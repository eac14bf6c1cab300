"""The moist-air formulas against published tables, two other libraries, a bisection of their own equations, and themselves.

The tables and their sources are in tests/reference/psychrometrics/ (README.md there). psychrolib and CoolProp are
test dependencies: without them these tests fail. psychrolib shares our equations, so it is met to rounding; CoolProp is
a real gas, so it is met to what a perfect gas may err.
"""

from __future__ import annotations

import csv
import math
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monitor.domain.air import psychrometrics
from monitor.domain.air.psychrometrics import (
    AirState,
    absolute_humidity_g_m3,
    air_state,
    deficit_kpa,
    dew_point_c,
    elevation_m,
    humidity_ratio,
    over_water_per_k,
    pressure_kpa,
    rh_from_wet_bulb_pct,
    rh_from_wick_pct,
    saturation_vapour_kpa,
    vapour_kpa,
    wet_bulb_c,
    wick_wet_bulb_c,
)
from monitor.domain.air.units import celsius_to_fahrenheit, fahrenheit_to_celsius

REFERENCE = Path(__file__).parents[2] / "reference"
Floats = NDArray[np.float64]
SEA_LEVEL_KPA = 101.325


def _rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(autouse=True)
def _psychrolib_exact(monkeypatch: pytest.MonkeyPatch) -> None:
    """psychrolib in SI units and run to convergence, instead of stopping at 0.001 °C."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    monkeypatch.setattr(psychrolib, "PSYCHROLIB_TOLERANCE", 1e-10)


# --- Published values -------------------------------------------------------------------------------------------------

CHECKS = _rows("psychrometrics/check_values.csv")


def _rh(row: dict[str, str]) -> float:
    if row["rh_pct"]:
        return float(row["rh_pct"])
    if row["t_wb_c"]:
        return rh_from_wet_bulb_pct(float(row["t_c"]), float(row["t_wb_c"]), float(row["p_pa"]) / 1000.0)
    if row["t_dp_c"]:
        return 100.0 * saturation_vapour_kpa(float(row["t_dp_c"])) / saturation_vapour_kpa(float(row["t_c"]))
    ratio, pressure = float(row["w_kg_kg"]), float(row["p_pa"]) / 1000.0
    vapour = pressure * ratio / (0.621945 + ratio)  # humidity_ratio (eq. 20) turned round
    return 100.0 * vapour / saturation_vapour_kpa(float(row["t_c"]))


def _vapour(row: dict[str, str]) -> float:
    return vapour_kpa(float(row["t_c"]), _rh(row))


def _ratio(row: dict[str, str]) -> float:
    if row["w_kg_kg"]:
        return float(row["w_kg_kg"])
    vapour = float(row["e_pa"]) / 1000.0 if row["e_pa"] else _vapour(row)
    return humidity_ratio(vapour, float(row["p_pa"]) / 1000.0)


def _enthalpy(dry_bulb_c: float, ratio: float) -> float:
    return 1.006 * dry_bulb_c + ratio * (2501.0 + 1.86 * dry_bulb_c)  # eq. 30


def _dew_or_frost_point(row: dict[str, str]) -> float:
    # The sources print the frost point where it is below 0 °C; ours is over water (see the README of the tables).
    if float(row["expected"]) < 0.0:
        return float(psychrolib.GetTDewPointFromVapPres(float(row["t_c"]), 1000.0 * _vapour(row)))
    return dew_point_c(_vapour(row))


def _m_star(row: dict[str, str]) -> float:
    wet_bulb = float(row["t_wb_c"])
    saturated = humidity_ratio(saturation_vapour_kpa(wet_bulb), float(row["p_pa"]) / 1000.0)
    return _enthalpy(wet_bulb, saturated) - saturated * 4.186 * wet_bulb


def _wick_vapour_pa(row: dict[str, str]) -> float:
    dry_bulb, wick = float(row["t_c"]), float(row["t_wb_c"])
    rh = rh_from_wick_pct(
        dry_bulb, wick, float(row["p_pa"]) / 1000.0, coefficient_per_k=float(row["psychro_coef_per_k"])
    )
    return 1000.0 * vapour_kpa(dry_bulb, rh)


OURS: dict[str, Callable[[dict[str, str]], float]] = {
    "p_ws": lambda row: 1000.0 * saturation_vapour_kpa(float(row["t_c"])),
    "w_sat": _ratio,
    "w": _ratio,
    "rh": _rh,
    "t_wb": lambda row: wet_bulb_c(float(row["t_c"]), _rh(row), float(row["p_pa"]) / 1000.0),
    "t_dp": _dew_or_frost_point,
    "h_moist": lambda row: _enthalpy(float(row["t_c"]), _ratio(row)),
    "v_moist": lambda row: (  # eq. 26, from our humidity ratio
        287.042 * (float(row["t_c"]) + 273.15) * (1.0 + 1.607858 * _ratio(row)) / float(row["p_pa"])
    ),
    "m_star": _m_star,
    "e": _wick_vapour_pa,
    "abs_hum": lambda row: absolute_humidity_g_m3(float(row["t_c"]), _vapour(row)),
    "p_std_atm": lambda row: 1000.0 * pressure_kpa(float(row["altitude_m"])),
}


@pytest.mark.parametrize("row", CHECKS, ids=lambda row: f"{row['id']}-{row['quantity']}-{row['source_key']}")
def test_published_value(row: dict[str, str]) -> None:
    """Each published value is met within its own tolerance (0.7 % of W and h where the source is a real gas)."""
    assert OURS[row["quantity"]](row) == pytest.approx(float(row["expected"]), abs=float(row["tol_abs"]), rel=0)


@pytest.mark.parametrize("row", [r for r in CHECKS if r["quantity"] == "p_std_atm"], ids=lambda row: row["id"])
def test_the_elevation_of_a_published_pressure(row: dict[str, str]) -> None:
    """The way back from the same table, as exact as its pressures are printed: 1 Pa is 0.1 m."""
    found_m = elevation_m(float(row["expected"]) / 1000.0)
    assert found_m == pytest.approx(float(row["altitude_m"]), abs=max(float(row["tol_abs"]), 1.0))


def test_no_published_row_is_left_out() -> None:
    """All 193 rows are checked: none needs more than a perfect gas once its tolerance allows for one."""
    assert len(CHECKS) == 193
    assert {row["quantity"] for row in CHECKS} == set(OURS)


def test_real_gas_rows_do_lie_beyond_a_perfect_gas() -> None:
    """ASHRAE table 2 shows 0.3 to 0.7 % more water than we do: the tolerance is spent on physics, not on an error."""
    short = [1.0 - _ratio(row) / float(row["expected"]) for row in CHECKS if row["quantity"] == "w_sat"]
    assert len(short) == 14
    assert 0.003 < min(short) <= max(short) < 0.007


def test_supercooled_water_follows_sonntag() -> None:
    """Carried on below 0 °C, Hyland and Wexler's curve keeps within 0.1 % of Sonntag (1990) down to -40 °C."""
    below_c = np.arange(-40.0, 0.1, 1.0)
    kelvin = below_c + 273.15
    sonntag_kpa = 0.1 * np.exp(
        -6096.9385 / kelvin + 16.635794 - 2.711193e-2 * kelvin + 1.673952e-5 * kelvin**2 + 2.433502 * np.log(kelvin)
    )
    assert saturation_vapour_kpa(below_c) == pytest.approx(sonntag_kpa, rel=1e-3)


# --- Other libraries --------------------------------------------------------------------------------------------------

LIBRARY = _rows("psychrometrics/library_values.csv")


def _column(name: str) -> Floats:
    return np.array([float(row[name]) for row in LIBRARY])


def test_stored_library_values() -> None:
    """1311 stored states: the exact root to its rounding, CoolProp's real gas within 0.025 K."""
    dry_bulb, rh, pressure = _column("t_c"), _column("rh_pct"), _column("p_pa") / 1000.0
    wet_bulb = wet_bulb_c(dry_bulb, rh, pressure)
    assert len(LIBRARY) == 1311
    assert np.abs(wet_bulb - _column("twb_eq33_exact_c")).max() < 5.1e-5  # four decimals, half of the last
    assert np.abs(wet_bulb - _column("twb_coolprop_c")).max() < 0.025
    near_eggs = (dry_bulb >= 36) & (dry_bulb <= 39) & (rh >= 40) & (rh <= 90)
    assert np.abs(wet_bulb - _column("twb_coolprop_c"))[near_eggs].max() < 0.0038


def test_stored_dew_points() -> None:
    """The stored dew points are met: above 0 °C directly, below it as the frost points that they are."""
    dry_bulb, stored = _column("t_c"), _column("tdp_psychrolib_c")
    vapour = vapour_kpa(dry_bulb, _column("rh_pct"))
    dew_point = dew_point_c(vapour)
    above = stored >= 0.01
    assert np.abs(dew_point - stored)[above].max() < 5.1e-5
    assert np.abs(dew_point - _column("tdp_coolprop_c"))[above].max() < 0.015
    assert (~above).sum() == 99
    assert (dew_point < stored)[~above].all()  # over water a dew point lies below the frost point
    states = zip(dry_bulb[~above], vapour[~above], stored[~above], strict=True)
    for dry, vapour_, frost_point in states:
        assert psychrolib.GetTDewPointFromVapPres(dry, 1000.0 * vapour_) == pytest.approx(frost_point, abs=5.1e-5)


def test_psychrolib_live() -> None:
    """Run to convergence, psychrolib agrees to 1e-9 K in wet bulb and to rounding in what leads there."""
    for dry_bulb in np.arange(15.0, 46.0, 5.0):
        for rh in (5.0, 20.0, 45.0, 55.0, 70.0, 95.0, 100.0):
            vapour_pa = psychrolib.GetVapPresFromRelHum(dry_bulb, rh / 100.0)
            assert 1000.0 * vapour_kpa(dry_bulb, rh) == pytest.approx(vapour_pa, rel=1e-12)
            if psychrolib.GetSatVapPres(0.01) <= vapour_pa:
                psychrolib_dew = psychrolib.GetTDewPointFromVapPres(dry_bulb, vapour_pa)
                assert dew_point_c(vapour_pa / 1000.0) == pytest.approx(psychrolib_dew, abs=1e-8)
            for pressure in (70.0, 85.0, 101.325, 105.0):
                exact = psychrolib.GetTWetBulbFromRelHum(dry_bulb, rh / 100.0, 1000.0 * pressure)
                assert wet_bulb_c(dry_bulb, rh, pressure) == pytest.approx(exact, abs=1e-9)
                ratio = psychrolib.GetHumRatioFromRelHum(dry_bulb, rh / 100.0, 1000.0 * pressure)
                assert humidity_ratio(vapour_pa / 1000.0, pressure) == pytest.approx(ratio, rel=1e-12)


def test_psychrolib_live_over_ice() -> None:
    """Where only ice has a root psychrolib agrees, given the humidity ratio (its RH is over ice below 0 °C)."""
    checked = 0
    for dry_bulb in np.arange(-40.0, 9.0, 1.0):
        for rh in (1.0, 10.0, 30.0, 60.0):
            ours = wet_bulb_c(dry_bulb, rh, 90.0)
            if ours < -1.0:  # nearer 0 °C water may have a root as well, and a bisection may end at either
                ratio = humidity_ratio(vapour_kpa(dry_bulb, rh), 90.0)
                assert ours == pytest.approx(psychrolib.GetTWetBulbFromHumRatio(dry_bulb, ratio, 90000.0), abs=1e-8)
                checked += 1
    assert checked > 150


def test_coolprop_live() -> None:
    """CoolProp's real gas stays within 0.025 K of our wet bulb and 0.015 K of our dew point."""
    from CoolProp.HumidAirProp import (
        HAPropsSI,  # a second's work to load, which whoever only collects the tests need not wait for
    )

    for dry_bulb in (20.0, 30.0, 37.5, 42.0):
        for rh in (20.0, 55.0, 90.0):
            for pressure in (80.0, 101.325):
                state = ("T", dry_bulb + 273.15, "P", 1000.0 * pressure, "R", rh / 100.0)
                theirs = HAPropsSI("Twb", *state) - 273.15
                assert wet_bulb_c(dry_bulb, rh, pressure) == pytest.approx(theirs, abs=0.025)
                theirs = HAPropsSI("D", *state) - 273.15
                if theirs > 0.0:
                    assert dew_point_c(vapour_kpa(dry_bulb, rh)) == pytest.approx(theirs, abs=0.015)


# --- The exact root, by bisection -------------------------------------------------------------------------------------
# The equations of the handbook as printed, with coefficients typed again: nothing here comes from the module.

WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)


def _printed_saturation_kpa(surface_c: Floats, over: tuple[float, ...]) -> Floats:
    kelvin = surface_c + 273.15
    powers = sum(c * kelvin**n for c, n in zip(over[1:6], range(5), strict=True))
    return np.exp(over[0] / kelvin + powers + over[6] * np.log(kelvin)) / 1000.0


def _printed_ratio(dry: Floats, wet: Floats, pressure: Floats, over: tuple[float, ...]) -> Floats:
    saturated = _printed_saturation_kpa(wet, over)
    saturated = 0.621945 * saturated / (pressure - saturated)
    if over is WATER:
        return ((2501 - 2.326 * wet) * saturated - 1.006 * (dry - wet)) / (2501 + 1.86 * dry - 4.186 * wet)
    return ((2830 - 0.24 * wet) * saturated - 1.006 * (dry - wet)) / (2830 + 1.86 * dry - 2.1 * wet)


def _bisected(dry: Floats, rh: Floats, pressure: Floats, over: tuple[float, ...]) -> Floats:
    vapour = rh / 100.0 * _printed_saturation_kpa(dry, WATER)
    ratio = 0.621945 * vapour / (pressure - vapour)
    low, high = np.full_like(dry, -60.0), dry + 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        too_damp = _printed_ratio(dry, middle, pressure, over) > ratio
        low, high = np.where(too_damp, low, middle), np.where(too_damp, middle, high)
    return (low + high) / 2.0


def _exact(dry: Floats, rh: Floats, pressure: Floats) -> Floats:
    over_water = _bisected(dry, rh, pressure, WATER)
    root = np.where(over_water >= 0.0, over_water, _bisected(dry, rh, pressure, ICE))
    return np.minimum(root, dry)


def _grid(*axes: tuple[float, float, int]) -> tuple[np.ndarray, ...]:
    return tuple(axis.ravel() for axis in np.meshgrid(*(np.linspace(*axis) for axis in axes)))


@pytest.mark.parametrize(
    ("axes", "error_k", "iced"),
    [
        (((15, 45, 61), (5, 100, 39), (70, 105, 8)), 1e-10, 0),  # the room, where the water never freezes
        (((0.25, 50, 200), (5, 100, 39), (70, 105, 6)), 1e-9, 1000),
        (((-40, 80, 241), (0, 100, 51), (50, 110, 5)), 1e-9, 10000),  # everything that is accepted
    ],
)
def test_wet_bulb_is_the_exact_root(axes: tuple[tuple[float, float, int], ...], error_k: float, iced: int) -> None:
    """On a dense grid the wet bulb is the root found by bisection, over water and over ice."""
    dry, rh, pressure = _grid(*axes)
    exact = _exact(dry, rh, pressure)
    ours = wet_bulb_c(dry, rh, pressure)
    # At exactly 0 °C and 100 % rounding alone says on which side of 0 the root over water lies.
    plain = ~((dry == 0.0) & (rh == 100.0))
    assert np.abs(ours - exact)[plain].max() < error_k
    assert (exact < 0.0).sum() >= iced


def test_five_steps_are_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """No accepted reading needs more than five steps of the eight allowed, and some do need five."""
    dry, rh, pressure = _grid((-40, 80, 121), (0, 100, 51), (50, 110, 4))
    monkeypatch.setattr(psychrometrics, "STEPS_HIGH", 5)
    wet_bulb_c(dry, rh, pressure)
    dew_point_c(vapour_kpa(dry, rh))
    for coefficient in (4e-4, 6.62e-4, 3e-3):
        wick_wet_bulb_c(dry, rh, pressure, coefficient_per_k=coefficient)
    monkeypatch.setattr(psychrometrics, "STEPS_HIGH", 3)
    with pytest.raises(ArithmeticError, match="no balance within 3 steps"):
        wet_bulb_c(dry, rh, pressure)


# --- Near 0 °C --------------------------------------------------------------------------------------------------------


def test_water_counts_where_both_have_a_root() -> None:
    """At 5 °C water and ice both balance in a narrow band of humidity: there the wet bulb is the one over water."""
    dry, pressure = np.array([5.0]), np.array([SEA_LEVEL_KPA])
    at_zero = np.array([0.0])
    both = [_printed_ratio(dry, at_zero, pressure, over)[0] for over in (WATER, ICE)]
    assert both[0] < both[1]
    ratio = sum(both) / 2.0
    rh = 100.0 * SEA_LEVEL_KPA * ratio / (0.621945 + ratio) / saturation_vapour_kpa(5.0)
    over_water, over_ice = (_bisected(dry, np.array([rh]), pressure, over)[0] for over in (WATER, ICE))
    assert over_ice < -0.1 < 0.1 < over_water
    assert wet_bulb_c(5.0, rh, SEA_LEVEL_KPA) == pytest.approx(over_water, abs=1e-9)


@pytest.mark.parametrize(("dry_bulb", "pressure"), [(2.0, 101.325), (5.0, 101.325), (9.0, 101.325), (14.0, 60.0)])
def test_the_wet_bulb_drops_once_as_water_freezes(dry_bulb: float, pressure: float) -> None:
    """As air dries the wet bulb falls to 0 °C, drops by less than 0.8 K, and falls on; it never rises."""
    rh = np.linspace(100.0, 0.0, 20001)
    wet_bulb = wet_bulb_c(np.full_like(rh, dry_bulb), rh, pressure)
    falls = -np.diff(wet_bulb)
    drop = falls.argmax()
    assert falls.min() > 0.0
    assert wet_bulb[drop] == pytest.approx(0.0, abs=0.01)
    assert 0.05 < falls[drop] < 0.8
    assert np.delete(falls, drop).max() < 0.01


def test_frost_cannot_be_damper_than_the_air() -> None:
    """Below 0 °C, air saturated over water is more than saturated over ice: its wet bulb is its dry bulb."""
    assert wet_bulb_c(-10.0, 100.0, SEA_LEVEL_KPA) == -10.0
    assert wet_bulb_c(-10.0, 95.0, SEA_LEVEL_KPA) == -10.0
    assert wet_bulb_c(-10.0, 85.0, SEA_LEVEL_KPA) < -10.0
    # Saturated over ice at -10 °C: 259.90 Pa, over water 286.5 Pa (Hyland and Wexler, by way of psychrolib).
    over_ice_pct = 0.1 * psychrolib.GetSatVapPres(-10.0) / saturation_vapour_kpa(-10.0)
    assert rh_from_wet_bulb_pct(-10.0, -10.0, SEA_LEVEL_KPA) == pytest.approx(over_ice_pct, rel=1e-9)


# --- What holds everywhere --------------------------------------------------------------------------------------------

dry_bulbs = st.floats(-40.0, 80.0)
humidities = st.floats(0.0, 100.0)
pressures = st.floats(50.0, 110.0)
coefficients = st.floats(4e-4, 3e-3)
ROUNDING_K = 1e-9
unhurried = settings(deadline=None)  # a shared machine may stall any one example


@unhurried
@given(st.floats(0.0, 50.0), st.floats(5.0, 100.0), st.floats(70.0, 105.0))
def test_any_wet_bulb_is_the_exact_root(dry_bulb: float, rh: float, pressure: float) -> None:
    """Any reading of 0 to 50 °C and 5 to 100 % has a wet bulb within 1e-9 K of the root bisected."""
    over_water = _bisected(np.array([dry_bulb]), np.array([rh]), np.array([pressure]), WATER)[0]
    if abs(over_water) > 1e-9:  # at 0 °C itself rounding decides between water and ice
        exact = _exact(np.array([dry_bulb]), np.array([rh]), np.array([pressure]))[0]
        assert abs(wet_bulb_c(dry_bulb, rh, pressure) - exact) < 1e-9


@unhurried
@given(dry_bulbs, humidities, pressures)
def test_dew_point_wet_bulb_dry_bulb_in_order(dry_bulb: float, rh: float, pressure: float) -> None:
    """Dew point is at most the wet bulb, which is at most the dry bulb."""
    wet_bulb, dew_point = wet_bulb_c(dry_bulb, rh, pressure), dew_point_c(vapour_kpa(dry_bulb, rh))
    assert math.isnan(dew_point) or dew_point <= wet_bulb + ROUNDING_K
    assert wet_bulb <= dry_bulb


@unhurried
@given(dry_bulbs, pressures, coefficients)
def test_all_are_equal_in_saturated_air(dry_bulb: float, pressure: float, coefficient: float) -> None:
    """At 100 % dew point, wet bulb, wick and dry bulb are one."""
    assert wet_bulb_c(dry_bulb, 100.0, pressure) == pytest.approx(dry_bulb, abs=ROUNDING_K)
    assert wick_wet_bulb_c(dry_bulb, 100.0, pressure, coefficient_per_k=coefficient) == pytest.approx(
        dry_bulb, abs=ROUNDING_K
    )
    assert dew_point_c(vapour_kpa(dry_bulb, 100.0)) == pytest.approx(dry_bulb, abs=ROUNDING_K)


@unhurried
@given(dry_bulbs, humidities, pressures)
def test_wet_bulb_there_and_back(dry_bulb: float, rh: float, pressure: float) -> None:
    """Humidity comes back from the wet bulb, but for frosty air damper than ice, which all shares one wet bulb."""
    wet_bulb = wet_bulb_c(dry_bulb, rh, pressure)
    back = rh_from_wet_bulb_pct(dry_bulb, wet_bulb, pressure)
    if wet_bulb == dry_bulb < 0.0:
        assert back <= rh + 1e-7
    else:
        assert back == pytest.approx(rh, abs=1e-7)


@unhurried
@given(dry_bulbs, humidities, pressures, coefficients)
def test_wick_there_and_back(dry_bulb: float, rh: float, pressure: float, coefficient: float) -> None:
    """Humidity comes back from what a wick shows, whatever the wick."""
    wick = wick_wet_bulb_c(dry_bulb, rh, pressure, coefficient_per_k=coefficient)
    assert rh_from_wick_pct(dry_bulb, wick, pressure, coefficient_per_k=coefficient) == pytest.approx(rh, abs=1e-7)


@unhurried
@given(st.floats(-79.9, 80.0))
def test_dew_point_there_and_back(surface_c: float) -> None:
    """The dew point of air saturated at any temperature is that temperature."""
    assert dew_point_c(saturation_vapour_kpa(surface_c)) == pytest.approx(surface_c, abs=1e-9)


@unhurried
@given(dry_bulbs, st.floats(0.0, 99.0), pressures)
def test_damper_air_has_a_higher_wet_bulb(dry_bulb: float, rh: float, pressure: float) -> None:
    """One per cent more humidity never lowers the wet bulb, and a little more pressure never does above freezing."""
    wet_bulb = wet_bulb_c(dry_bulb, rh, pressure)
    assert wet_bulb_c(dry_bulb, rh + 1.0, pressure) >= wet_bulb
    if wet_bulb > 0.0 and pressure < 109.0:
        assert wet_bulb_c(dry_bulb, rh, pressure + 1.0) >= wet_bulb - ROUNDING_K


# --- What a wick shows, and breeders' tables --------------------------------------------------------------------------

# At 37.5 °C and 101.325 kPa, by bisection with Hyland and Wexler's curve (Assmann: the Magnus curve and enhancement
# factor of WMO-No. 8); computed, not published. Stull: his formula.
WICKS = """
rh,thermodynamic,assmann,6.62e-4,8.0e-4,1.2e-3,stull
40,25.879,25.992,25.962,26.533,27.867,26.547
50,28.220,28.313,28.284,28.704,29.706,28.745
55,29.315,29.398,29.371,29.727,30.585,29.761
60,30.365,30.438,30.413,30.712,31.439,30.735
65,31.373,31.437,31.415,31.662,32.269,31.673
70,32.344,32.398,32.379,32.580,33.076,32.582
80,34.181,34.217,34.203,34.324,34.627,34.330
"""
WICK_ROWS = [{name: float(v) for name, v in row.items()} for row in csv.DictReader(WICKS.strip().splitlines())]


@pytest.mark.parametrize("row", WICK_ROWS, ids=lambda row: f"{row['rh']:g}")
def test_what_a_wick_shows(row: dict[str, float]) -> None:
    """Wicks of three coefficients show the stored values, to their rounding, and all more than the thermodynamic."""
    assert wet_bulb_c(37.5, row["rh"], SEA_LEVEL_KPA) == pytest.approx(row["thermodynamic"], abs=6e-4)
    for coefficient in ("6.62e-4", "8.0e-4", "1.2e-3"):
        wick = wick_wet_bulb_c(37.5, row["rh"], SEA_LEVEL_KPA, coefficient_per_k=float(coefficient))
        assert wick == pytest.approx(row[coefficient], abs=6e-4)
        assert wick > row["thermodynamic"]
    # WMO's own curve and enhancement factor differ from ours: 0.02 K is what they move the wick here.
    assmann = 6.53e-4 * (1.0 + 0.000944 * row["assmann"])
    assert wick_wet_bulb_c(37.5, row["rh"], SEA_LEVEL_KPA, coefficient_per_k=assmann) == pytest.approx(
        row["assmann"], abs=0.02
    )


def _stull_c(dry_bulb_c: Floats, rh_pct: Floats) -> Floats:
    return (
        dry_bulb_c * np.arctan(0.151977 * np.sqrt(rh_pct + 8.313659))
        + np.arctan(dry_bulb_c + rh_pct)
        - np.arctan(rh_pct - 1.676331)
        + 0.00391838 * rh_pct**1.5 * np.arctan(0.023101 * rh_pct)
        - 4.686035
    )


def test_it_is_not_stulls_formula() -> None:
    """Stull (2011) reads 0.15 to 0.67 K high at 37.5 °C, and errs by -0.64 to +0.90 K from 20 to 42 °C: we must differ."""
    for row in WICK_ROWS:
        stull = _stull_c(np.array([37.5]), np.array([row["rh"]]))[0]
        assert stull == pytest.approx(row["stull"], abs=6e-4)
        ours = wet_bulb_c(37.5, row["rh"], SEA_LEVEL_KPA)
        assert stull - ours == pytest.approx(row["stull"] - row["thermodynamic"], abs=2e-3)
        assert stull - ours > 0.14
    dry, rh = _grid((20, 42, 23), (10, 95, 18))
    excess = _stull_c(dry, rh) - wet_bulb_c(dry, rh, SEA_LEVEL_KPA)
    assert excess.min() == pytest.approx(-0.64, abs=0.01)
    assert excess.max() == pytest.approx(0.90, abs=0.01)
    assert np.abs(excess).mean() == pytest.approx(0.26, abs=0.01)


BREEDERS = _rows("wet_bulb_tables.csv")


def _classic(wet_bulb_c: float) -> float:
    return 0.00066 * (1.0 + 0.00115 * wet_bulb_c)  # AMS Glossary, "Psychrometric formula"


def _wick_rh(row: dict[str, str]) -> float:
    dry, wet = (fahrenheit_to_celsius(float(row[name])) for name in ("dry_bulb_f", "wet_bulb_f"))
    return rh_from_wick_pct(dry, wet, SEA_LEVEL_KPA, coefficient_per_k=_classic(wet))


@pytest.mark.parametrize(
    "row",
    [row for row in BREEDERS if row["source_key"] in ("EXT-TABLE", "MSU-HMG")],
    ids=lambda row: f"{row['source_key']}-{row['dry_bulb_f']}F-{row['rh_percent']}",
)
def test_extension_table(row: dict[str, str]) -> None:
    """The extension table is met by a ventilated wick within 0.2 °F, by the thermodynamic bulb within 0.3 °F.

    The table is rounded to about 0.1 °F, was recalled rather than read, and its instrument is a ventilated wick: that one
    stands 0.1 to 0.3 °F above the thermodynamic bulb between 45 and 70 %.
    """
    dry, rh, table_f = (
        fahrenheit_to_celsius(float(row["dry_bulb_f"])),
        float(row["rh_percent"]),
        float(row["wet_bulb_f"]),
    )
    wick = wick_wet_bulb_c(dry, rh, SEA_LEVEL_KPA, coefficient_per_k=_classic(fahrenheit_to_celsius(table_f)))
    thermodynamic = wet_bulb_c(dry, rh, SEA_LEVEL_KPA)
    assert celsius_to_fahrenheit(wick) == pytest.approx(table_f, abs=0.2)
    assert celsius_to_fahrenheit(thermodynamic) == pytest.approx(table_f, abs=0.3)
    assert 0.1 < celsius_to_fahrenheit(wick) - celsius_to_fahrenheit(thermodynamic) < 0.3


def test_computed_rows_of_the_breeders_table() -> None:
    """The rows worked out from the classic formula come out again, to their 0.1 °F."""
    rows = [row for row in BREEDERS if row["source_key"] == "WB-FORMULA"]
    assert len(rows) == 45
    for row in rows:
        wet = fahrenheit_to_celsius(float(row["wet_bulb_f"]))
        dry = fahrenheit_to_celsius(float(row["dry_bulb_f"]))
        wick = wick_wet_bulb_c(dry, float(row["rh_percent"]), SEA_LEVEL_KPA, coefficient_per_k=_classic(wet))
        assert celsius_to_fahrenheit(wick) == pytest.approx(float(row["wet_bulb_f"]), abs=0.055)


def test_printed_ranges_contradict_themselves() -> None:
    """The 11 rows that print a range or no humidity cannot be met by any formula; we make of each what its note says."""
    rows = [row for row in BREEDERS if row["source_key"] in ("MSU-IIF", "MSU-4H", "NSW-SP", "EPV")]
    assert len(rows) == 11
    assert len(rows) + 45 + 25 == len(BREEDERS)
    for row in rows:
        noted = float(row["note"].rsplit(" %", 1)[0].rsplit(" ", 1)[1])
        assert _wick_rh(row) == pytest.approx(noted, abs=0.15)
    printed = [row for row in rows if row["rh_percent"]]
    astray = [abs(_wick_rh(row) - float(row["rh_percent"])) for row in printed]
    assert max(astray) > 10.0


# --- Floats, arrays, and what is refused ------------------------------------------------------------------------------


def test_floats_and_arrays_agree() -> None:
    """A float and an array give the same answer, to the last rounding of exp and log; a float gives a float."""
    dry, rh, pressure = _grid((-40, 80, 13), (0, 100, 11), (50, 110, 3))
    wet = wet_bulb_c(dry, rh, pressure)
    vapour = vapour_kpa(dry, rh)
    dew = dew_point_c(vapour)
    wick = wick_wet_bulb_c(dry, rh, pressure, coefficient_per_k=8e-4)
    back = rh_from_wet_bulb_pct(dry, wet, pressure)
    deficit = deficit_kpa(37.5, vapour)
    for i, (t, r, p) in enumerate(zip(dry.tolist(), rh.tolist(), pressure.tolist(), strict=True)):
        single = wet_bulb_c(t, r, p)
        assert type(single) is float
        assert single == pytest.approx(wet[i], abs=1e-9)
        assert vapour_kpa(t, r) == pytest.approx(vapour[i], rel=1e-13)
        assert dew_point_c(vapour_kpa(t, r)) == pytest.approx(dew[i], abs=1e-9, nan_ok=True)
        assert wick_wet_bulb_c(t, r, p, coefficient_per_k=8e-4) == pytest.approx(wick[i], abs=1e-9)
        assert rh_from_wet_bulb_pct(t, single, p) == pytest.approx(back[i], abs=1e-7)
        assert deficit_kpa(37.5, vapour_kpa(t, r)) == pytest.approx(deficit[i], abs=1e-12)


def test_a_float_and_a_whole_number_give_the_same() -> None:
    """What a float is answered by a shorter way is the same, to the last bit, as what a whole number is by the long one."""
    for t in range(-40, 81):
        assert saturation_vapour_kpa(float(t)) == saturation_vapour_kpa(t)
        for r in (0, 1, 37, 50, 99, 100):
            assert vapour_kpa(float(t), float(r)) == vapour_kpa(t, r)


def test_saturation_rises_with_each_kelvin_by_the_share_that_is_said() -> None:
    """Against the middle difference of the logarithm of what the tables were checked with; 6.7 % at 10 °C."""
    for c in (5.0, 10.0, 37.5, 45.0, 80.0):
        rise = math.log(saturation_vapour_kpa(c + 0.01) / saturation_vapour_kpa(c - 0.01)) / 0.02
        assert over_water_per_k(c) == pytest.approx(rise, rel=1e-7)
    assert over_water_per_k(10.0) == pytest.approx(0.067, abs=0.001)


def test_arrays_broadcast_and_keep_their_shape() -> None:
    """Shapes broadcast as numpy's do, over block borders, and an empty array gives an empty one."""
    dry = np.linspace(20.0, 40.0, 3 * 4001).reshape(3, 4001)
    wet = wet_bulb_c(dry, np.array([[40.0], [50.0], [60.0]]), SEA_LEVEL_KPA)
    assert wet.shape == (3, 4001)
    assert wet[2, 4000] == pytest.approx(wet_bulb_c(40.0, 60.0, SEA_LEVEL_KPA), abs=1e-12)
    assert wet[0, 0] == pytest.approx(wet_bulb_c(20.0, 40.0, SEA_LEVEL_KPA), abs=1e-12)
    assert wet_bulb_c(np.array([]), np.array([]), SEA_LEVEL_KPA).shape == (0,)
    assert wet_bulb_c(np.array(37.5), np.array(55.0), SEA_LEVEL_KPA).shape == ()
    assert wet_bulb_c(np.array([37], dtype=int), np.array([55], dtype=int), 101.0)[0] == pytest.approx(
        wet_bulb_c(37.0, 55.0, 101.0), abs=1e-12
    )


def test_nan_in_an_array_gives_nan_there_only() -> None:
    """A gap in a year of readings stays a gap, with no warning, and spoils nothing beside it."""
    dry, rh = np.array([37.5, np.nan, 37.5, -5.0]), np.array([55.0, 55.0, np.nan, 20.0])
    with np.errstate(all="raise"):
        wet = wet_bulb_c(dry, rh, SEA_LEVEL_KPA)
        back = rh_from_wet_bulb_pct(dry, wet, SEA_LEVEL_KPA)
        dew = dew_point_c(vapour_kpa(dry, rh))
    for values in (wet, back, dew):
        assert np.isnan(values).tolist() == [False, True, True, False]
    assert wet[0] == pytest.approx(wet_bulb_c(37.5, 55.0, SEA_LEVEL_KPA), abs=1e-12)
    assert wet[3] == pytest.approx(wet_bulb_c(-5.0, 20.0, SEA_LEVEL_KPA), abs=1e-9)
    assert np.isnan(wet_bulb_c(np.full(5, np.nan), np.full(5, 50.0), SEA_LEVEL_KPA)).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: wet_bulb_c(37.5, 170.0, 101.0), "wet_bulb_c: rh_pct 170, expected 0 to 100"),
        (lambda: wet_bulb_c(85.0, 50.0, 101.0), "wet_bulb_c: dry_bulb_c 85, expected -40 to 80"),
        (lambda: wet_bulb_c(37.5, 50.0, 101325.0), "wet_bulb_c: pressure_kpa 101325, expected 50 to 110"),
        (lambda: wet_bulb_c(math.nan, 50.0, 101.0), "wet_bulb_c: dry_bulb_c nan, expected -40 to 80"),
        (lambda: vapour_kpa(37.5, -0.1), "vapour_kpa: rh_pct -0.1, expected 0 to 100"),
        (lambda: saturation_vapour_kpa(math.inf), "saturation_vapour_kpa: dry_bulb_c inf, expected -80 to 200"),
        (lambda: dew_point_c(-1.0), "dew_point_c: vapour_kpa -1, expected 0 to 47.5"),
        (lambda: humidity_ratio(50.0, 101.0), "humidity_ratio: vapour_kpa 50, expected 0 to 47.5"),
        (lambda: absolute_humidity_g_m3(99.0, 1.0), "absolute_humidity_g_m3: dry_bulb_c 99, expected -40 to 80"),
        (lambda: deficit_kpa(99.5, 3.0), "deficit_kpa: egg_c 99.5, expected -40 to 80"),
        (lambda: pressure_kpa(9000.0), "pressure_kpa: elevation_m 9000, expected -500 to 5500"),
        (lambda: wick_wet_bulb_c(37.5, 50.0, 101.0, coefficient_per_k=0.8), "wick_wet_bulb_c: coefficient_per_k 0.8, expected 0.0004 to 0.003"),
        (lambda: rh_from_wet_bulb_pct(37.5, 38.0, 101.0), "rh_from_wet_bulb_pct: dry_bulb_c less wet_bulb_c -0.5, expected 0 to 140"),
        (lambda: rh_from_wet_bulb_pct(37.5, 5.0, 101.325), "rh_from_wet_bulb_pct: at this wet bulb rh_pct -19.2883, expected 0 to 100"),
        (lambda: rh_from_wick_pct(37.5, 5.0, 101.0, coefficient_per_k=8e-4), "rh_from_wick_pct: at this wet bulb rh_pct -27.1687, expected 0 to 100"),
        (lambda: wet_bulb_c(np.array([37.5, 99.0]), np.array([50.0, 50.0]), 101.0), "wet_bulb_c: dry_bulb_c 99, expected -40 to 80"),
        (lambda: wet_bulb_c(np.array([np.nan, -41.0]), np.array([50.0, 50.0]), 101.0), "wet_bulb_c: dry_bulb_c -41, expected -40 to 80"),
        (lambda: vapour_kpa(np.array([[30.0]]), np.array([[np.inf]])), "vapour_kpa: rh_pct inf, expected 0 to 100"),
    ],
)  # fmt: skip
def test_what_is_refused(call: Callable[[], object], message: str) -> None:
    """A value out of range, or a float that is NaN, is refused in one line: where, what came, what was expected."""
    with pytest.raises(ValueError, match="expected") as refusal:
        call()
    assert str(refusal.value) == message


@pytest.mark.parametrize(
    "call",
    [
        lambda x: wet_bulb_c(x(-40.0), x(0.0), x(50.0)),
        lambda x: wet_bulb_c(x(80.0), x(100.0), x(110.0)),
        lambda x: vapour_kpa(x(-40.0), x(0.0)),
        lambda x: saturation_vapour_kpa(x(-80.0)),
        lambda x: saturation_vapour_kpa(x(200.0)),
        lambda x: dew_point_c(x(47.5)),
        lambda x: pressure_kpa(x(-500.0)),
        lambda x: pressure_kpa(x(5500.0)),
        lambda x: wick_wet_bulb_c(x(37.5), x(50.0), x(101.0), coefficient_per_k=4e-4),
        lambda x: wick_wet_bulb_c(x(37.5), x(50.0), x(101.0), coefficient_per_k=3e-3),
    ],
)
def test_the_edge_of_a_range_belongs_to_it(call: Callable[[Callable[[float], Any]], Any]) -> None:
    """Each range is given with its ends in the docstrings: there is an answer at either end, the same for a float and for an array."""
    alone = call(float)
    assert math.isfinite(alone)
    assert np.asarray(call(lambda value: np.array([value, value]))) == pytest.approx([alone, alone], rel=1e-9)


def test_air_without_water() -> None:
    """At 0 %RH there is a wet bulb and a deficit but no dew point: NaN from the function, None in the air state."""
    assert math.isnan(dew_point_c(0.0))
    assert np.isnan(dew_point_c(np.array([0.0, 2.0]))).tolist() == [True, False]
    state = air_state(37.5, 0.0, SEA_LEVEL_KPA)
    assert state.dew_point_c is None
    assert state.vapour_kpa == 0.0
    assert state.deficit_kpa == saturation_vapour_kpa(37.5)
    assert state.wet_bulb_c == pytest.approx(_exact(*(np.array([v]) for v in (37.5, 0.0, SEA_LEVEL_KPA)))[0], abs=1e-9)


def test_air_state() -> None:
    """An air state holds what the functions give, its deficit to an egg as warm as the air unless told otherwise."""
    vapour = vapour_kpa(37.5, 55.0)
    assert air_state(37.5, 55.0, 84.556) == AirState(
        dry_bulb_c=37.5,
        rh_pct=55.0,
        wet_bulb_c=wet_bulb_c(37.5, 55.0, 84.556),
        dew_point_c=dew_point_c(vapour),
        vapour_kpa=vapour,
        deficit_kpa=saturation_vapour_kpa(37.5) - vapour,
    )
    warm_egg = air_state(37.5, 55.0, 84.556, egg_c=38.5)
    assert warm_egg.deficit_kpa == pytest.approx(saturation_vapour_kpa(38.5) - vapour, rel=1e-12)
    cold_egg = air_state(37.5, 55.0, 84.556, egg_c=15.0)
    assert cold_egg.deficit_kpa < 0.0  # it sweats


def test_numpy_is_loaded_only_for_arrays() -> None:
    """Importing the module and asking about one reading loads no numpy: a bare daemon stays small."""
    program = (
        "import sys; from monitor.domain.air.psychrometrics import air_state; "
        "air_state(37.5, 55.0, 101.325); sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False, timeout=60).returncode == 0


# --- Speed ------------------------------------------------------------------------------------------------------------
# Ratios of processor time to a yardstick run in turn with ours, slice by slice, and their median: times by themselves
# mean nothing on a shared machine.


def _median_ratio(ours: Callable[[], object], yardstick: Callable[[], object], pairs: int) -> float:
    ratios = []
    for _ in range(pairs):
        start = time.process_time()
        ours()
        between = time.process_time()
        yardstick()
        ratios.append((between - start) / (time.process_time() - between))
    return statistics.median(ratios)


def test_one_reading_is_fast(monkeypatch: pytest.MonkeyPatch) -> None:
    """One wet bulb costs at most 0.2 of psychrolib's in pure Python at its own tolerance, at 37.5 °C and 55 %."""
    assert not psychrolib.has_numba, "psychrolib compiled by numba is no yardstick: run this without numba"
    monkeypatch.setattr(psychrolib, "PSYCHROLIB_TOLERANCE", 0.001)

    def ours() -> None:
        for _ in range(1000):
            wet_bulb_c(37.5, 55.0, SEA_LEVEL_KPA)

    def theirs() -> None:
        for _ in range(200):
            psychrolib.GetTWetBulbFromRelHum(37.5, 0.55, 101325.0)

    assert _median_ratio(ours, theirs, 21) / 5.0 <= 0.2


def test_a_year_of_readings_is_fast() -> None:
    """A wet bulb in an array costs at most six times two plain saturation pressures over the same array, in blocks."""
    random = np.random.default_rng(1)
    dry, rh = random.uniform(15.0, 45.0, 200_000), random.uniform(5.0, 100.0, 200_000)

    def two_saturations() -> None:
        out = np.empty_like(dry)
        for _ in range(2):
            for start in range(0, dry.size, 4096):
                kelvin = dry[start : start + 4096] + 273.15
                powers = WATER[1] + kelvin * (WATER[2] + kelvin * (WATER[3] + kelvin * WATER[4]))
                out[start : start + 4096] = 0.001 * np.exp(WATER[0] / kelvin + powers + WATER[6] * np.log(kelvin))

    wet_bulb_c(dry, rh, SEA_LEVEL_KPA)
    assert _median_ratio(lambda: wet_bulb_c(dry, rh, SEA_LEVEL_KPA), two_saturations, 15) <= 6.0


@pytest.mark.parametrize(
    ("function", "good", "bad"),
    [
        (saturation_vapour_kpa, (-80.0,), (-80.1,)),
        (saturation_vapour_kpa, (200.0,), (200.1,)),
        (vapour_kpa, (-40.0, 0.0), (-40.1, 0.0)),
        (vapour_kpa, (80.0, 100.0), (80.1, 100.0)),
        (vapour_kpa, (37.5, 0.0), (37.5, -0.1)),
        (vapour_kpa, (37.5, 100.0), (37.5, 100.1)),
    ],
)
def test_a_plain_number_is_refused_like_an_array(
    function: Callable[..., Any], good: tuple[float, ...], bad: tuple[float, ...]
) -> None:
    """The short way for one reading takes what the long way takes, and refuses what it refuses, with the same value in between."""
    assert function(*good) == pytest.approx(float(function(*(np.array([value]) for value in good))[0]))
    for refused in (bad, tuple(np.array([value]) for value in bad)):
        with pytest.raises(ValueError, match="expected"):
            function(*refused)


def test_air_at_its_wet_bulb_is_saturated_and_no_more() -> None:
    """Where wet and dry bulb are the same the humidity is 100 % at any temperature, never a hair above."""
    temps_c = np.linspace(-30.0, 75.0, 211)
    found = rh_from_wet_bulb_pct(temps_c, temps_c, 101.325)
    warm = temps_c >= 0.0
    assert float(np.max(found)) <= 100.0
    assert found[warm] == pytest.approx(100.0, abs=1e-9)
    assert all(99.999 < float(rh_from_wet_bulb_pct(float(c), float(c), 101.325)) <= 100.0 for c in temps_c[warm])


def _with_wick(function: Callable[..., Any]) -> Callable[..., Any]:
    return lambda dry, other, pressure, coefficient: function(dry, other, pressure, coefficient_per_k=coefficient)


# (function, its name, a state that it takes, the range of each value: its name, least and greatest as the docstring gives them)
RANGES: list[tuple[Callable[..., Any], str, tuple[float, ...], tuple[tuple[str, float, float], ...]]] = [
    (wet_bulb_c, "wet_bulb_c", (37.5, 55.0, 101.0), (("dry_bulb_c", -40, 80), ("rh_pct", 0, 100), ("pressure_kpa", 50, 110))),
    (vapour_kpa, "vapour_kpa", (37.5, 55.0), (("dry_bulb_c", -40, 80), ("rh_pct", 0, 100))),
    (saturation_vapour_kpa, "saturation_vapour_kpa", (37.5,), (("dry_bulb_c", -80, 200),)),
    (dew_point_c, "dew_point_c", (3.0,), (("vapour_kpa", 0, 47.5),)),
    (humidity_ratio, "humidity_ratio", (3.0, 101.0), (("vapour_kpa", 0, 47.5), ("pressure_kpa", 50, 110))),
    (absolute_humidity_g_m3, "absolute_humidity_g_m3", (37.5, 3.0), (("dry_bulb_c", -40, 80), ("vapour_kpa", 0, 47.5))),
    (deficit_kpa, "deficit_kpa", (37.5, 3.0), (("egg_c", -40, 80), ("vapour_kpa", 0, 47.5))),
    (pressure_kpa, "pressure_kpa", (100.0,), (("elevation_m", -500, 5500),)),
    (
        _with_wick(wick_wet_bulb_c), "wick_wet_bulb_c", (37.5, 55.0, 101.0, 8e-4),
        (("dry_bulb_c", -40, 80), ("rh_pct", 0, 100), ("pressure_kpa", 50, 110), ("coefficient_per_k", 4e-4, 3e-3)),
    ),
    (
        rh_from_wet_bulb_pct, "rh_from_wet_bulb_pct", (37.5, 30.0, 101.0),
        (("dry_bulb_c", -40, 80), ("wet_bulb_c", -60, 80), ("pressure_kpa", 50, 110)),
    ),
    (
        _with_wick(rh_from_wick_pct), "rh_from_wick_pct", (37.5, 30.0, 101.0, 8e-4),
        (("dry_bulb_c", -40, 80), ("wet_bulb_c", -60, 80), ("pressure_kpa", 50, 110), ("coefficient_per_k", 4e-4, 3e-3)),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("function", "where", "state", "ranges"), RANGES, ids=[row[1] for row in RANGES])
def test_each_value_has_its_range(
    function: Callable[..., Any], where: str, state: tuple[float, ...], ranges: tuple[tuple[str, float, float], ...]
) -> None:
    """Of each value a thousandth beyond either end is refused with both ends named, alone or in an array; what lies at an end is not."""
    for place, (name, low, high) in enumerate(ranges):
        beyond = 0.001 * (high - low)
        for end, out in ((low, low - beyond), (high, high + beyond)):
            message = f"{where}: {name} {out:g}, expected {low:g} to {high:g}"
            for made in (float, lambda x: np.array([state[place], end, x, low, high])):  # noqa: B023
                with pytest.raises(ValueError, match="expected") as refusal:
                    function(*state[:place], made(out), *state[place + 1 :])
                assert str(refusal.value) == message
            for made in (float, lambda x: np.array([x])):
                try:
                    function(*state[:place], made(float(end)), *state[place + 1 :])
                except ValueError as refused:  # a wet bulb that this dry bulb cannot have is refused as that
                    assert f"{name} " not in str(refused).partition(":")[2].partition(" less ")[0]  # noqa: PT017
                    assert where.startswith("rh_from")


def test_humidity_found_from_a_wet_bulb_is_rounded_by_a_millionth() -> None:
    """What rounding leaves beyond 0 or 100 % by less than 1e-6 is brought back; what lies farther is told as it is."""
    plain, arrays = psychrometrics._PLAIN, psychrometrics._array_library()
    for found, expected in (
        (-0.9e-6, 0.0), (-1e-6, -1e-6), (-1.1e-6, -1.1e-6), (0.0, 0.0), (0.5e-6, 0.5e-6), (0.5, 0.5), (55.0, 55.0),
        (99.5, 99.5), (100.0, 100.0), (100.0 + 0.9e-6, 100.0), (100.0 + 1e-6, 100.0 + 1e-6), (100.0 + 1.1e-6, 100.0 + 1.1e-6),
        (100.5, 100.5), (-1.5, -1.5),
    ):  # fmt: skip
        assert psychrometrics._rounded(plain, found) == expected
        assert psychrometrics._rounded(arrays, np.array([found]))[0] == expected  # type: ignore[index]


def test_the_driest_air_that_has_a_dew_point() -> None:
    """Air saturated at -80 °C has one, that temperature; drier air has none."""
    driest = saturation_vapour_kpa(-80.0)
    assert dew_point_c(driest) == pytest.approx(-80.0, abs=1e-6)
    assert dew_point_c(np.array([driest, driest])) == pytest.approx(-80.0, abs=1e-6)
    assert math.isnan(dew_point_c(0.999 * driest))


def test_the_first_guess_of_a_dew_point(monkeypatch: pytest.MonkeyPatch) -> None:
    """By the Magnus curve, within 0.1 K above 0 °C, so that few steps are left."""
    starts: list[float] = []

    def settle(library: object, phase: object, start_c: float, *more: object) -> float:
        starts.append(start_c)
        return start_c

    monkeypatch.setattr(psychrometrics, "_settle", settle)
    temperatures_c = [float(c) for c in range(0, 61, 5)]
    for c in temperatures_c:
        dew_point_c(saturation_vapour_kpa(c))
    assert starts == pytest.approx(temperatures_c, abs=0.1)


def test_a_wet_bulb_of_0_is_one_over_water() -> None:
    """At 0 °C the wick is not taken as iced: the humidity is that of eq. 33, in an array as alone."""
    dry, zero, pressure = np.array([5.0]), np.array([0.0]), np.array([SEA_LEVEL_KPA])
    found = []
    for over in (WATER, ICE):
        ratio = _printed_ratio(dry, zero, pressure, over)[0]
        vapour = SEA_LEVEL_KPA * ratio / (0.621945 + ratio)
        found.append(100.0 * vapour / saturation_vapour_kpa(5.0))
    assert found[1] - found[0] > 1.0
    assert rh_from_wet_bulb_pct(5.0, 0.0, SEA_LEVEL_KPA) == pytest.approx(found[0], abs=1e-6)
    assert rh_from_wet_bulb_pct(np.array([5.0, 5.0]), np.zeros(2), SEA_LEVEL_KPA) == pytest.approx(found[0], abs=1e-6)


@pytest.mark.parametrize(("dry", "rh"), [(37.5, 55.0), (-5.0, 20.0), (3.0, 10.0), (-10.0, 100.0)])
def test_an_array_of_no_dimension(dry: float, rh: float) -> None:
    """One number as numpy holds it is answered as one, also where the wick freezes."""
    wet = wet_bulb_c(np.array(dry), np.array(rh), np.array(101.0))
    assert wet.shape == ()
    assert float(wet) == pytest.approx(wet_bulb_c(dry, rh, 101.0), abs=1e-9)


def test_few_of_an_array_that_freeze_or_go_on_alone() -> None:
    """One in a hundred that needs more, of a matrix with one pressure for all: each answer is that of its own state, in its place."""
    rng = np.random.default_rng(5)
    dry, rh = rng.uniform(15.0, 45.0, (20, 50)), rng.uniform(20.0, 100.0, (20, 50))
    dry[7, ::9], rh[7, ::9] = -30.0, 3.0
    dry[11, 3], rh[11, 3] = 80.0, 0.0
    wet = wet_bulb_c(dry, rh, SEA_LEVEL_KPA)
    assert wet == pytest.approx(_exact(dry, rh, np.full_like(dry, SEA_LEVEL_KPA)), abs=1e-9)


@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_array_beside_numbers(place: int) -> None:
    """Any one of the three may be an array: the answer is one, of the same values as alone."""
    state: list[Any] = [37.5, 55.0, 101.0]
    state[place] = np.array([0.9 * state[place], state[place]])
    alone = [wet_bulb_c(*[s if isinstance(s, float) else float(s[n]) for s in state]) for n in (0, 1)]
    assert wet_bulb_c(*state) == pytest.approx(alone, abs=1e-9)
    if place < 2:
        alone = [vapour_kpa(*[s if isinstance(s, float) else float(s[n]) for s in state[:2]]) for n in (0, 1)]
        assert vapour_kpa(state[0], state[1]) == pytest.approx(alone, rel=1e-12)
