"""`eggroom air`, as a person or a script gives it."""

from __future__ import annotations

import pytest

from tests.cli.commands import Capture, ok, told
from tests.running import typed


def test_air_in_both_units(capsys: Capture) -> None:
    """`air` prints °C and °F side by side, and takes either; from RH, wet bulb or dew point comes the same air."""
    text = ok(capsys, "air", "--dry-bulb", "37.5C", "--rh", "55", config=None)
    assert "37.50 °C     99.50 °F" in text
    assert ok(capsys, "air", "--dry-bulb", "99.5F", "--rh", "55", config=None) == text
    from_rh = told(capsys, "air", "--dry-bulb", "37.5C", "--rh", "55", "--elevation", "120", config=None)
    wet = told(
        capsys,
        "air",
        "--dry-bulb",
        "37.5C",
        "--wet-bulb",
        f"{from_rh['wet_bulb_c']}C",
        "--elevation",
        "120",
        config=None,
    )
    dew = told(
        capsys,
        "air",
        "--dry-bulb",
        "37.5C",
        "--dew-point",
        f"{from_rh['dew_point_c']}C",
        "--elevation",
        "120",
        config=None,
    )
    wick = told(capsys, "air", "--dry-bulb", "37.5C", "--rh", "55", "--wick", "8e-4", config=None)
    assert wet["rh_pct"] == pytest.approx(55.0, abs=1e-6)
    assert dew["rh_pct"] == pytest.approx(55.0, abs=1e-6)
    assert wick["wick_wet_bulb_c"] > wick["wet_bulb_c"]
    assert from_rh.keys() == wet.keys() == wick.keys() == {
        "dry_bulb_c", "rh_pct", "wet_bulb_c", "wick_wet_bulb_c", "wick_coefficient_per_k", "dew_point_c", "vapour_kpa",
        "deficit_kpa", "humidity_ratio", "absolute_humidity_g_m3", "pressure_kpa", "elevation_m",
    }  # fmt: skip


def test_a_humidity_as_people_write_it(capsys: Capture) -> None:
    """With its sign or without; more than there can be is said by its option."""
    text = ok(capsys, "air", "--dry-bulb", "37.5C", "--rh", "55", config=None)
    for written in ("55%", "55 %RH", "55,0"):
        assert ok(capsys, "air", "--dry-bulb", "37.5C", "--rh", written, config=None) == text
    for written, why in (("155", "expected 0 to 100 %RH"), ("wet", "expected a number, such as 55")):
        code, _, err = typed(capsys, "air", "--dry-bulb", "37.5C", "--rh", written)
        assert (code, f"argument --rh: {written!r}, {why}" in err) == (2, True)
