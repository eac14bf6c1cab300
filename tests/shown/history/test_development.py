"""How far a batch should be, as it is told: the shifted window with its doubt, and in Fahrenheit where that is the unit."""

from __future__ import annotations

import json
from datetime import UTC

import numpy as np
import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.history.development import HOUR_MS, Development, development_of
from monitor.domain.eggs.temperature import model_of
from monitor.domain.needs.profile import Band
from monitor.shown.form import Shown
from monitor.shown.history.development import development_lines, development_record
from monitor.shown.plain import utc_ms
from tests.analysis.air import T0, readings, stretch

CHICKEN = load_profiles(None)["chicken"]
DAY_MS = 24 * HOUR_MS


def cool(days: float = 10.0, by_k: float = 1.0) -> Development:
    """Ten days at a degree under the target."""
    at_s = np.arange(0.0, days * 86_400.0 + 1.0, 600.0)
    life = stretch(
        readings(at_s, 37.8 - by_k), hours=24.0 * days, max_gap_s=1800.0, dry_bulb_c=Band(37.0, 37.5, 37.8, 38.1, 39.0)
    )
    return development_of(
        [life], CHICKEN, {life.machine: model_of(CHICKEN, "forced")}, set_ms=T0, now_ms=T0 + round(days * DAY_MS)
    )


def test_two_lines() -> None:
    """The window is later than the profile's by the lag, its doubt wider, and the second line says what the record shows."""
    found = cool()
    assert found.lag.hours > 5.0
    window, why = development_lines(found, Shown(UTC, "C"))
    shown = Shown(UTC, "C")
    first = T0 + round(CHICKEN.hatch_day_first * DAY_MS + found.lag.hours * HOUR_MS)
    assert window.startswith(f"Hatch by the record (estimate): {shown.time(first)} to ")
    assert (
        f"with its doubt {shown.time(found.hatch.earliest.low_ms)} to {shown.time(found.hatch.latest.high_ms)}"
        in window
    )
    assert "h behind" in why
    assert "°C below normal" in why


def test_in_fahrenheit() -> None:
    """The house's unit, in the words as well."""
    assert "°F below normal" in list(development_lines(cool(), Shown(UTC, "F")))[1]


@pytest.mark.parametrize("by_k", [0.0, 1.0])
def test_as_values(by_k: float) -> None:
    """Hours and times as plain values: a batch right on its target is not shifted."""
    found = cool(by_k=by_k)
    data = json.loads(json.dumps(development_record(found), allow_nan=False))
    assert data["hours"] == data["hours_recorded"] == 240.0
    assert data["lag_low_h"] <= data["lag_h"] <= data["lag_high_h"]
    hatch = data["hatch"]
    assert [hatch[name]["at"] for name in hatch] == sorted(hatch[name]["at"] for name in hatch)
    if not by_k:
        assert data["lag_h"] == pytest.approx(0.0, abs=0.1)
        assert hatch["usual"]["at"][:15] == str(utc_ms(T0 + round(CHICKEN.days * DAY_MS)))[:15]
