"""Conversions of units, and temperatures as people write and read them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.air.units import (
    celsius_to_fahrenheit,
    fahrenheit_difference_to_k,
    fahrenheit_to_celsius,
    k_to_fahrenheit_difference,
    parse_temperature,
    show_difference,
    show_temperature,
)


@pytest.mark.parametrize(
    ("temperature_c", "temperature_f"),
    [
        (0.0, 32.0),  # melting ice and boiling water define the scale
        (100.0, 212.0),
        (-40.0, -40.0),
        (37.5, 99.5),
        (37.0, 98.6),
    ],
)
def test_fixed_points(temperature_c: float, temperature_f: float) -> None:
    """The fixed points of both scales meet, both ways."""
    assert celsius_to_fahrenheit(temperature_c) == pytest.approx(temperature_f, abs=1e-12)
    assert fahrenheit_to_celsius(temperature_f) == pytest.approx(temperature_c, abs=1e-12)


def test_a_difference_is_not_a_temperature() -> None:
    """A band half a kelvin wide is 0.9 °F wide, where 0.5 °C as a temperature is 32.9 °F."""
    assert k_to_fahrenheit_difference(0.5) == pytest.approx(0.9)
    assert fahrenheit_difference_to_k(0.9) == pytest.approx(0.5)
    assert celsius_to_fahrenheit(0.5) == pytest.approx(32.9)


@given(st.floats(-100.0, 300.0))
def test_there_and_back(value: float) -> None:
    """Every conversion undoes its fellow."""
    assert fahrenheit_to_celsius(celsius_to_fahrenheit(value)) == pytest.approx(value, abs=1e-10)
    assert fahrenheit_difference_to_k(k_to_fahrenheit_difference(value)) == pytest.approx(value, abs=1e-10)


def test_arrays() -> None:
    """An array is converted value by value, NaN staying NaN."""
    converted = celsius_to_fahrenheit(np.array([37.5, np.nan, 0.0]))
    assert converted[[0, 2]].tolist() == pytest.approx([99.5, 32.0])
    assert np.isnan(converted[1])


@pytest.mark.parametrize(
    ("text", "temperature_c"),
    [
        ("37.5C", 37.5),
        ("99.5F", 37.5),
        ("37,5 C", 37.5),
        ("37.5 °C", 37.5),
        ("99.5°f", 37.5),
        ("  38c ", 38.0),
        ("38.c", 38.0),
        (",5C", 0.5),
        ("-3 C", -3.0),
        ("−3 C", -3.0),  # a typographic minus, as pasted from a page
        ("+32F", 0.0),
    ],
)
def test_parse_temperature(text: str, temperature_c: float) -> None:
    """A temperature is read as people write it, with point or comma, either unit, with or without the degree sign."""
    assert parse_temperature(text) == pytest.approx(temperature_c, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    ["37.5", "C", "", "37.5K", "nanC", "infF", "1e2C", "1,234.5C", "37.5CC", "37 .5C", "--3C", "9" * 400 + "C", "٣٧C"],
)
def test_what_is_no_temperature(text: str) -> None:
    """Without a unit, or with something that is no plain number, one short line says what was expected."""
    with pytest.raises(ValueError, match=r"expected a number and its unit, such as 37\.5C or 99\.5F") as refusal:
        parse_temperature(text)
    assert len(str(refusal.value)) < 130
    assert text[:20] in str(refusal.value)


def test_show_temperature() -> None:
    """A temperature is shown in the unit asked for, rounded, with no minus before zero."""
    assert show_temperature(37.5, "C") == "37.5 °C"
    assert show_temperature(37.5, "F") == "99.5 °F"
    assert show_temperature(37.456, "C", 2) == "37.46 °C"
    assert show_temperature(37.456, "C", 0) == "37 °C"
    assert show_temperature(-0.04, "C") == "0.0 °C"
    assert show_temperature(-40.0, "F") == "-40.0 °F"


def test_show_difference() -> None:
    """A difference is shown in the unit asked for, without the 32 of the temperatures."""
    assert show_difference(0.5, "C") == "0.5 °C"
    assert show_difference(0.5, "F") == "0.9 °F"
    assert show_difference(-1.0, "F") == "-1.8 °F"


@pytest.mark.parametrize("show", [show_temperature, show_difference])
def test_unknown_unit(show: object) -> None:
    """Any other unit is refused."""
    with pytest.raises(ValueError, match="unit 'K', expected C or F"):
        show(37.5, "K")  # type: ignore[operator]


@given(st.floats(-60.0, 120.0), st.sampled_from(["C", "F"]))
def test_what_is_shown_can_be_read(temperature_c: float, unit: str) -> None:
    """What is shown to a person is read back to the digits shown."""
    shown = show_temperature(temperature_c, unit, 3)  # type: ignore[arg-type]
    assert parse_temperature(shown) == pytest.approx(temperature_c, abs=5.1e-4)


@pytest.mark.parametrize(("length", "shown"), [(39, 39), (40, 40), (41, 43), (400, 43)])
def test_of_a_wrong_entry_forty_characters_are_repeated(length: int, shown: int) -> None:
    """A short one whole, a long one to there, and three dots."""
    with pytest.raises(ValueError, match="expected") as refusal:
        parse_temperature("x" * length)
    repeated = str(refusal.value).split("'")[1]
    assert len(repeated) == shown
    assert repeated.endswith("...") == (length > 40)


@pytest.mark.parametrize(
    ("text", "temperature_c"), [("98,6F", 37.0), ("98.6 °f", 37.0), ("0 C", 0.0), ("0F", -160.0 / 9.0)]
)
def test_either_unit_in_either_case(text: str, temperature_c: float) -> None:
    """°F is turned, °C is not; nought is a number."""
    assert parse_temperature(text) == pytest.approx(temperature_c, abs=1e-9)
