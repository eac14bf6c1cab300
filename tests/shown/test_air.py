"""What `eggroom air` prints."""

from __future__ import annotations

import json
from typing import Any

import pytest

from monitor.domain.air.psychrometrics import dew_point_c, pressure_kpa, vapour_kpa, wet_bulb_c, wick_wet_bulb_c
from monitor.shown.air import air_report, air_text

WICK = 8.0e-4


@pytest.mark.parametrize("elevation_m", [0.0, 1500.0])
def test_one_air_four_ways(elevation_m: float) -> None:
    """The same air comes out whether told by humidity, wet bulb, wick or dew point."""
    pressure = pressure_kpa(elevation_m)
    told = [
        air_report(dry_bulb_c=37.5, rh_pct=55.0, elevation_m=elevation_m),
        air_report(dry_bulb_c=37.5, wet_bulb_c=wet_bulb_c(37.5, 55.0, pressure), elevation_m=elevation_m),
        air_report(dry_bulb_c=37.5, dew_point_c=dew_point_c(vapour_kpa(37.5, 55.0)), elevation_m=elevation_m),
        air_report(
            dry_bulb_c=37.5,
            wet_bulb_c=wick_wet_bulb_c(37.5, 55.0, pressure, coefficient_per_k=WICK),
            elevation_m=elevation_m,
            wick_coefficient_per_k=WICK,
        ),
    ]
    for report in told[1:]:
        for name, value in told[0].items():
            if value is not None:
                assert dict(report)[name] == pytest.approx(value, abs=1e-6), name
    assert told[0]["wick_wet_bulb_c"] is None
    assert told[3]["wick_wet_bulb_c"] == pytest.approx(wick_wet_bulb_c(37.5, 55.0, pressure, coefficient_per_k=WICK))


def test_a_report_in_numbers() -> None:
    """At 37.5 °C, 55 % and 101.325 kPa the figures are those of ASHRAE's formulas, worked out apart from this program."""
    report = air_report(dry_bulb_c=37.5, rh_pct=55.0)
    assert report["wet_bulb_c"] == pytest.approx(29.3146, abs=1e-4)  # psychrolib run to convergence
    assert report["dew_point_c"] == pytest.approx(26.916, abs=1e-3)
    assert report["vapour_kpa"] == pytest.approx(3.5498, abs=1e-4)
    assert report["deficit_kpa"] == pytest.approx(2.9044, abs=1e-4)
    assert report["humidity_ratio"] == pytest.approx(0.02258, abs=1e-5)
    assert report["absolute_humidity_g_m3"] == pytest.approx(24.76, abs=0.01)
    assert report["pressure_kpa"] == 101.325
    assert json.loads(json.dumps(report, allow_nan=False)) == report


def test_the_text() -> None:
    """A person sees every figure, °C and °F side by side, the two wet bulbs told apart."""
    report = air_report(dry_bulb_c=37.5, rh_pct=55.0, elevation_m=120.0, wick_coefficient_per_k=WICK)
    assert air_text(report).splitlines() == [
        "temperature                            37.50 °C     99.50 °F",
        "relative humidity                      55.00 %",
        "wet bulb (thermodynamic)               29.29 °C     84.72 °F",
        "wet bulb (wick, 0.0008 per K)          29.70 °C     85.46 °F",
        "dew point                              26.92 °C     80.45 °F",
        "vapour pressure                        3.550 kPa",
        "deficit to an egg at air temperature   2.904 kPa",
        "humidity ratio, per kg of dry air      22.92 g",
        "absolute humidity                      24.76 g/m³",
        "pressure, at 120 m                     99.89 kPa",
    ]


@pytest.mark.parametrize(
    "asked",
    [
        {"dry_bulb_c": -40.0, "rh_pct": 100.0, "elevation_m": -430.0, "wick_coefficient_per_k": 0.000662},
        {"dry_bulb_c": 80.0, "rh_pct": 100.0, "elevation_m": 5432.1, "wick_coefficient_per_k": 0.0012345},
        {"dry_bulb_c": 5.0, "rh_pct": 0.0},
    ],
)
def test_the_text_stays_narrow(asked: dict[str, Any]) -> None:
    """No line is wider than 60 columns, at the ends of the ranges either."""
    assert max(len(line) for line in air_text(air_report(**asked)).splitlines()) <= 60


def test_dry_frost_in_words() -> None:
    """Below freezing the text says that the wet bulb is over ice, and air without water has no dew point."""
    text = air_text(air_report(dry_bulb_c=5.0, rh_pct=0.0))
    assert "wet bulb (thermodynamic, over ice)" in text
    assert "none (too dry)" in text
    assert air_report(dry_bulb_c=5.0, rh_pct=0.0)["dew_point_c"] is None


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({}, "air: given no humidity, expected one of RH, wet bulb, dew point"),
        ({"rh_pct": 55.0, "dew_point_c": 20.0}, "air: given RH and dew point, expected one of RH, wet bulb, dew point"),
        ({"rh_pct": 170.0}, "air: humidity 170 %RH, expected 0 to 100"),
        ({"dew_point_c": 40.0}, "air: dew point 40.0 °C, expected at most the temperature, 37.5 °C"),
        ({"dew_point_c": -90.0}, "air: dew point -90.0 °C, expected -80 °C or more"),
        (
            {"wet_bulb_c": 10.0},
            "air: wet bulb 10.00 °C at a temperature of 37.5 °C, expected at least 13.63 °C, which it would be in air without any water",
        ),
        (
            {"wet_bulb_c": 10.0, "wick_coefficient_per_k": 8e-4},
            "air: wet bulb 10.00 °C at a temperature of 37.5 °C, expected at least 15.62 °C, which it would be in air without any water",
        ),
        ({"rh_pct": 55.0, "wick_coefficient_per_k": 5.0}, "air: wick 5 per K, expected 0.0004 to 0.003"),
        ({"wet_bulb_c": 40.0}, "air: wet bulb 40.0 °C, expected at most the temperature, 37.5 °C"),
        ({"dry_bulb_c": 137.5, "rh_pct": 55.0}, "air: temperature 137.5 °C, expected -40 to 80 °C"),
        ({"rh_pct": 55.0, "elevation_m": 9000.0}, "air: elevation 9000 m, expected -500 to 5500"),
    ],
)
def test_what_is_refused(asked: dict[str, float], message: str) -> None:
    """What cannot be is refused in one line."""
    with pytest.raises(ValueError, match="expected") as refusal:
        air_report(**{"dry_bulb_c": 37.5} | asked)
    assert str(refusal.value) == message
