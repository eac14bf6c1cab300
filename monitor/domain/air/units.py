"""The only conversions of units: °F and torr become °C and kPa at the edge, once, and turn back for people.

Temperatures and differences of temperatures are told apart by name: a difference of 1 K is one of 1.8 °F,
while 37.5 °C is 99.5 °F. The plain conversions take floats or numpy arrays.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Literal, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Values = TypeVar("Values", float, "NDArray[np.float64]")
Unit = Literal["C", "F"]


_TEMPERATURE = re.compile(r"([+−-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+))\s*[°º]?\s*([CF])", re.IGNORECASE)
_SHOWN_HIGH = 40  # characters of a wrong entry that an error repeats


def fahrenheit_to_celsius(temperature_f: Values) -> Values:
    """°F to °C."""
    return (temperature_f - 32.0) / 1.8


def celsius_to_fahrenheit(temperature_c: Values) -> Values:
    """°C to °F."""
    return temperature_c * 1.8 + 32.0


def fahrenheit_difference_to_k(difference_f: Values) -> Values:
    """A difference in °F to one in K."""
    return difference_f / 1.8


def k_to_fahrenheit_difference(difference_k: Values) -> Values:
    """A difference in K to one in °F."""
    return difference_k * 1.8


def parse_temperature(text: str) -> float:
    """°C from a temperature as a person writes it: "37.5C", "99.5 °F", "37,5 C".

    A decimal comma is as good as a point. ValueError where there is no number or no known unit.
    """
    match = _TEMPERATURE.fullmatch(text.strip())
    number = float(match[1].replace(",", ".").replace("−", "-")) if match else math.nan
    if match is None or not math.isfinite(number):
        shown = text if len(text) <= _SHOWN_HIGH else text[:_SHOWN_HIGH] + "..."
        raise ValueError(f"temperature {shown!r}, expected a number and its unit, such as 37.5C or 99.5F")
    return fahrenheit_to_celsius(number) if match[2] in "Ff" else number


def show_temperature(temperature_c: float, unit: Unit, decimals: int = 1) -> str:
    """A temperature for people, in their unit: "37.5 °C" or "99.5 °F"."""
    return _show(temperature_c if _checked(unit) == "C" else celsius_to_fahrenheit(temperature_c), unit, decimals)


def show_difference(difference_k: float, unit: Unit, decimals: int = 1) -> str:
    """A difference of temperatures for people, in their unit: "0.5 °C" or "0.9 °F"."""
    return _show(difference_k if _checked(unit) == "C" else k_to_fahrenheit_difference(difference_k), unit, decimals)


def _checked(unit: Unit) -> Unit:
    if unit not in ("C", "F"):
        raise ValueError(f"unit {unit!r}, expected C or F")
    return unit


def _show(value: float, unit: Unit, decimals: int) -> str:
    rounded = round(value, decimals) + 0.0  # adding zero turns -0.0 into 0.0
    return f"{rounded:.{decimals}f} °{unit}"
