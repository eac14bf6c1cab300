"""The flag of one reading, from its own values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.psychrometrics import air_state, pressure_kpa, wet_bulb_c, wick_wet_bulb_c
from monitor.domain.quality import DRY_BULB_C_FAIL, DRY_BULB_C_SUSPECT, RH_PCT_FAIL, SENTINELS_C, flag_of
from monitor.domain.reading import FAIL, MISSING, PASS, SUSPECT
from monitor.settings import SiteSettings

ANY = st.floats(allow_nan=True, allow_infinity=True)


@pytest.mark.parametrize(
    ("dry_bulb_c", "rh_pct", "flag"),
    [
        (37.5, 50.0, PASS),
        (37.5, None, PASS),
        (None, 50.0, MISSING),
        (None, None, MISSING),
        (37.5, 0.0, PASS),
        (37.5, 104.0, PASS),
        (37.5, 104.01, FAIL),
        (37.5, -0.01, FAIL),
        (5.0, 50.0, PASS),
        (4.99, 50.0, SUSPECT),
        (50.0, 50.0, PASS),
        (50.01, 50.0, SUSPECT),
        (-20.0, 50.0, SUSPECT),
        (-20.01, 50.0, FAIL),
        (80.0, 50.0, SUSPECT),
        (80.01, 50.0, FAIL),
    ],
)
def test_the_gross_range(dry_bulb_c: float | None, rh_pct: float | None, flag: int) -> None:
    """Each border belongs to its range, and one step beyond does not."""
    assert flag_of(dry_bulb_c, rh_pct) == flag


@pytest.mark.parametrize("sentinel", SENTINELS_C)
def test_what_a_chip_gives_in_place_of_a_reading(sentinel: float) -> None:
    """A chip's power-up value or its word for a weak supply is no temperature."""
    assert flag_of(sentinel, 50.0) == FAIL


@pytest.mark.parametrize("odd", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_never_passes(odd: float) -> None:
    """NaN and the infinities fail, as a temperature and as a humidity."""
    assert flag_of(odd, 50.0) == FAIL
    assert flag_of(37.5, odd) == FAIL


@given(ANY, ANY)
@settings(max_examples=500, deadline=None)
def test_only_what_lies_in_a_range_passes(dry_bulb_c: float, rh_pct: float) -> None:
    """Whatever comes, PASS means both within their ranges, and below FAIL means finite."""
    flag = flag_of(dry_bulb_c, rh_pct)
    if flag < FAIL:
        assert math.isfinite(dry_bulb_c)
        assert math.isfinite(rh_pct)
        assert RH_PCT_FAIL[0] <= rh_pct <= RH_PCT_FAIL[1]
    if flag == PASS:
        assert DRY_BULB_C_SUSPECT[0] <= dry_bulb_c <= DRY_BULB_C_SUSPECT[1]


@given(st.floats(*DRY_BULB_C_FAIL), st.floats(0.0, 100.0), st.sampled_from([-430.0, 0.0, 1500.0, 5500.0]))
@settings(max_examples=300, deadline=None)
def test_what_is_judged_can_be_computed(dry_bulb_c: float, rh_pct: float, elevation_m: float) -> None:
    """No reading that may be judged, at any elevation a site may have, is one that the physics cannot answer: an exception there
    would end the engine."""
    kpa = float(pressure_kpa(elevation_m))
    state = air_state(dry_bulb_c, rh_pct, kpa)
    assert math.isfinite(state.wet_bulb_c)
    assert math.isfinite(wet_bulb_c(dry_bulb_c, rh_pct, kpa))
    limits = SiteSettings.model_fields["wick_coefficient_per_k"].metadata
    lowest = next(m.ge for m in limits if hasattr(m, "ge"))
    assert math.isfinite(wick_wet_bulb_c(dry_bulb_c, rh_pct, kpa, lowest))
    assert math.isfinite(wick_wet_bulb_c(dry_bulb_c, rh_pct, kpa, 2e-3))
