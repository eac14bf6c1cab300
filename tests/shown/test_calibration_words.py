"""A calibration in words and as plain values."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.calibration import Calibration, Point, by_offset, by_points, by_salts
from monitor.domain.readings.view import calibration_view
from monitor.shown.calibrations import said
from monitor.shown.phone.joined import NoticeWords
from tests.told import HOUSE

AT = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
OFFSETS = Calibration("node-a/top", AT, dry_bulb_c=by_offset(DRY_BULB, -0.25), rh_pct=by_offset(RH, 1.5))
LINE = Calibration(
    "node-a/top",
    AT,
    AT,
    AT,
    "Ada",
    "bath",
    by_points(DRY_BULB, [Point(36.8, 37.0), Point(38.9, 39.1)]),
    by_salts([("sodium-chloride", 73.1)], 25.0),
)


@pytest.mark.parametrize(
    ("calibration", "unit", "words"),
    [
        (OFFSETS, "C", "temperature -0.25 K; humidity +1.50 %RH"),
        (OFFSETS, "F", "temperature -0.45 °F; humidity +1.50 %RH"),
        (LINE, "C", "temperature 36.80 is 37.00 °C, 38.90 is 39.10 °C; humidity 73.1 is 75.3 %RH (sodium-chloride)"),
        (LINE, "F", "temperature 98.24 is 98.60 °F, 102.02 is 102.38 °F; humidity 73.1 is 75.3 %RH (sodium-chloride)"),
    ],
)
def test_in_words(calibration: Calibration, unit: str, words: str) -> None:
    """An offset by its size, points by what they are; differences of temperatures in °F have no 32 in them."""
    assert said(calibration, unit) == words  # type: ignore[arg-type]


def test_as_plain_values() -> None:
    """Units and names as everywhere, RFC 3339 times, None for what is not said; ready for JSON."""
    view: Any = calibration_view(LINE, said(LINE))
    assert json.loads(json.dumps(view, allow_nan=False)) == view
    assert (view["at"], view["since"], view["due"]) == ("2026-03-01T18:00:00.000Z",) * 3
    assert view["dry_bulb_c"]["points"][0] == {"reading": 36.8, "reference": 37.0, "salt": None}
    assert view["rh_pct"] == {
        "slope": 1.0,
        "offset": 2.2,
        "points": [{"reading": 73.1, "reference": 75.3, "salt": "sodium-chloride"}],
    }
    assert (calibration_view(OFFSETS, "")["since"], calibration_view(OFFSETS, "")["due"]) == (None, None)


def test_what_the_record_keeps_of_it() -> None:
    """The port tells the same, in °C, whatever the house shows."""
    assert NoticeWords(HOUSE).calibration(LINE) == said(LINE, "C")
