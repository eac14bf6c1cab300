"""What `eggroom air` prints: everything that follows from a dry bulb and one measure of humidity."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from monitor.domain.air.psychrometrics import (
    DEW_POINT_C_LOW,
    DRY_BULB_C,
    ELEVATION_M,
    WICK_PER_K,
    absolute_humidity_g_m3,
    air_state,
    humidity_ratio,
    pressure_kpa,
    rh_from_wet_bulb_pct,
    rh_from_wick_pct,
    saturation_vapour_kpa,
    wick_wet_bulb_c,
)
from monitor.domain.air.units import celsius_to_fahrenheit
from monitor.domain.refusal import Refusal

if TYPE_CHECKING:
    from typing import TypedDict

    class AirReport(TypedDict):
        """The air, ready for JSON."""

        dry_bulb_c: float
        rh_pct: float
        wet_bulb_c: float
        wick_wet_bulb_c: float | None
        wick_coefficient_per_k: float | None
        dew_point_c: float | None
        vapour_kpa: float
        deficit_kpa: float
        humidity_ratio: float
        absolute_humidity_g_m3: float
        pressure_kpa: float
        elevation_m: float


def air_report(
    *,
    dry_bulb_c: float,
    rh_pct: float | None = None,
    wet_bulb_c: float | None = None,
    dew_point_c: float | None = None,
    elevation_m: float = 0.0,
    wick_coefficient_per_k: float | None = None,
) -> AirReport:
    """The air as a plain mapping, ready for JSON: unit in each name, None where there is nothing to give.

    Exactly one of rh_pct, wet_bulb_c and dew_point_c is given. With a wick's coefficient, wet_bulb_c is what
    that wick shows, without one it is thermodynamic; in the answer wet_bulb_c is always thermodynamic.
    Ranges are those of `psychrometrics`; ValueError outside them, in one line.
    """
    _check(dry_bulb_c, {"wet bulb": wet_bulb_c, "dew point": dew_point_c})
    for name, value, limits in (
        ("elevation {} m", elevation_m, ELEVATION_M),
        ("wick {} per K", wick_coefficient_per_k, WICK_PER_K),
        ("humidity {} %RH", rh_pct, (0.0, 100.0)),
    ):
        _within(name, value, limits)
    if dew_point_c is not None and dew_point_c < DEW_POINT_C_LOW:
        raise Refusal("air", f"dew point {dew_point_c:.1f} °C", f"{DEW_POINT_C_LOW:g} °C or more")
    pressure = pressure_kpa(elevation_m)
    if wet_bulb_c is not None:
        _check_wet_bulb(dry_bulb_c, wet_bulb_c, pressure, wick_coefficient_per_k=wick_coefficient_per_k)
    rh_pct = _rh_from_one(
        dry_bulb_c,
        rh_pct=rh_pct,
        wet_bulb_c=wet_bulb_c,
        dew_point_c=dew_point_c,
        pressure=pressure,
        wick_coefficient_per_k=wick_coefficient_per_k,
    )
    air = air_state(dry_bulb_c, rh_pct, pressure)
    wick_c = None
    if wick_coefficient_per_k is not None:
        wick_c = wick_wet_bulb_c(dry_bulb_c, rh_pct, pressure, coefficient_per_k=wick_coefficient_per_k)
    return {
        "dry_bulb_c": air.dry_bulb_c,
        "rh_pct": air.rh_pct,
        "wet_bulb_c": air.wet_bulb_c,
        "wick_wet_bulb_c": wick_c,
        "wick_coefficient_per_k": wick_coefficient_per_k,
        "dew_point_c": air.dew_point_c,
        "vapour_kpa": air.vapour_kpa,
        "deficit_kpa": air.deficit_kpa,
        "humidity_ratio": humidity_ratio(air.vapour_kpa, pressure),
        "absolute_humidity_g_m3": absolute_humidity_g_m3(dry_bulb_c, air.vapour_kpa),
        "pressure_kpa": pressure,
        "elevation_m": elevation_m,
    }


def _check(dry_bulb_c: float, below: Mapping[str, float | None]) -> None:
    """Raise Refusal for a temperature that has no wet bulb here, and what is higher than that; below: what is never higher."""
    low, high = DRY_BULB_C
    if not low <= dry_bulb_c <= high:
        raise Refusal("air", f"temperature {dry_bulb_c:.1f} °C", f"{low:g} to {high:g} °C")
    for name, value in below.items():
        if value is not None and value > dry_bulb_c:
            raise Refusal("air", f"{name} {value:.1f} °C", f"at most the temperature, {dry_bulb_c:.1f} °C")


def _within(name: str, value: float | None, limits: tuple[float, float]) -> None:
    low, high = limits
    if value is not None and not low <= value <= high:
        raise Refusal("air", name.format(f"{value:g}"), f"{low:g} to {high:g}")


def _check_wet_bulb(
    dry_bulb_c: float, wet_bulb_c: float, pressure: float, *, wick_coefficient_per_k: float | None
) -> None:
    """Raise Refusal for a wet bulb that is lower than air without any water could show."""
    if wick_coefficient_per_k is None:
        driest_c = air_state(dry_bulb_c, 0.0, pressure).wet_bulb_c
    else:
        driest_c = wick_wet_bulb_c(dry_bulb_c, 0.0, pressure, coefficient_per_k=wick_coefficient_per_k)
    if wet_bulb_c < driest_c:
        least = f"at least {math.ceil(driest_c * 100.0) / 100.0:.2f} °C, which it would be in air without any water"
        raise Refusal("air", f"wet bulb {wet_bulb_c:.2f} °C at a temperature of {dry_bulb_c:.1f} °C", least)


def _rh_from_one(
    dry_bulb_c: float,
    *,
    rh_pct: float | None,
    wet_bulb_c: float | None,
    dew_point_c: float | None,
    pressure: float,
    wick_coefficient_per_k: float | None,
) -> float:
    names = {"RH": rh_pct, "wet bulb": wet_bulb_c, "dew point": dew_point_c}
    given = [name for name, value in names.items() if value is not None]
    if len(given) != 1:
        raise ValueError(f"air: given {' and '.join(given) or 'no humidity'}, expected one of {', '.join(names)}")
    if rh_pct is not None:
        return rh_pct
    if dew_point_c is not None:
        return 100.0 * saturation_vapour_kpa(dew_point_c) / saturation_vapour_kpa(dry_bulb_c)
    assert wet_bulb_c is not None
    if wick_coefficient_per_k is not None:
        return rh_from_wick_pct(dry_bulb_c, wet_bulb_c, pressure, coefficient_per_k=wick_coefficient_per_k)
    return rh_from_wet_bulb_pct(dry_bulb_c, wet_bulb_c, pressure)


def air_text(report: AirReport) -> str:
    """The report for a person, a line each, at most 60 columns; temperatures in °C and °F."""
    over = ", over ice" if report["wet_bulb_c"] < 0.0 else ""
    wick = f"wet bulb (wick, {report['wick_coefficient_per_k'] or 0.0:.3g} per K)"
    lines = [
        _temperature("temperature", report["dry_bulb_c"]),
        _line("relative humidity", f"{report['rh_pct']:.2f}", "%"),
        _temperature(f"wet bulb (thermodynamic{over})", report["wet_bulb_c"]),
        *([] if report["wick_wet_bulb_c"] is None else [_temperature(wick, report["wick_wet_bulb_c"])]),
        _temperature("dew point", report["dew_point_c"]),
        _line("vapour pressure", f"{report['vapour_kpa']:.3f}", "kPa"),
        _line("deficit to an egg at air temperature", f"{report['deficit_kpa']:.3f}", "kPa"),
        _line("humidity ratio, per kg of dry air", f"{1000.0 * report['humidity_ratio']:.2f}", "g"),
        _line("absolute humidity", f"{report['absolute_humidity_g_m3']:.2f}", "g/m³"),
        _line(f"pressure, at {report['elevation_m']:g} m", f"{report['pressure_kpa']:.2f}", "kPa"),
    ]
    return "\n".join(lines)


def _temperature(label: str, temperature_c: float | None) -> str:
    if temperature_c is None:
        return _line(label, "none", "(too dry)")
    # No -0.00.
    celsius, fahrenheit = round(temperature_c, 2) + 0.0, round(celsius_to_fahrenheit(temperature_c), 2) + 0.0
    return f"{_line(label, f'{celsius:.2f}', '°C'):<50}{fahrenheit:>7.2f} °F"


def _line(label: str, number: str, unit: str) -> str:
    return f"{label:<37}{number:>7} {unit}"
