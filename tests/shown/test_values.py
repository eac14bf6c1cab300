"""What values, bands and subjects are called."""

from __future__ import annotations

import pytest

from monitor.analysis.water.loss import Interval
from monitor.domain.needs.bands import DRY_BULB, RH, WET_BULB
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Probe
from monitor.shown.values import finer_beside, probe_words, show_band, show_interval, show_value, subject_name
from tests.domain.house import probes, site


@pytest.mark.parametrize(
    ("of", "value", "unit", "shown"),
    [
        (DRY_BULB, 37.84, "C", "37.8 °C"),
        (DRY_BULB, 37.777777, "F", "100.0 °F"),
        (WET_BULB, 29.4, "C", "wet bulb 29.4 °C"),
        (RH, 54.6, "F", "55 %RH"),
    ],
)
def test_values_are_as_precise_as_they_are_worth(of: str, value: float, unit: str, shown: str) -> None:
    """A tenth of a degree, a whole per cent, and always the unit."""
    assert show_value(of, value, unit) == shown


@pytest.mark.parametrize(
    ("band", "shown"),
    [
        (Band(36.0, 37.0, 37.5, 38.0, 39.0), "37.0 to 38.0"),
        (Band(low_alarm=36.0, high_alarm=39.0), "36.0 to 39.0"),
        (Band(low_alarm=36.0), "over 36.0"),
        (Band(high_warning=38.0, high_alarm=39.0), "under 38.0"),
        (Band(target=37.5), "none"),
    ],
)
def test_a_band_is_what_to_aim_for(band: Band, shown: str) -> None:
    """The warning limits, or the alarm limits where there are none."""
    assert show_band(DRY_BULB, band, "C") == shown


@pytest.mark.parametrize(
    ("of", "value", "band", "unit", "shown"),
    [
        (DRY_BULB, 37.24, Band(low_warning=37.0, high_warning=37.2), "C", "37.24 °C, 37.0 to 37.2"),
        (DRY_BULB, 37.204, Band(low_warning=37.0, high_warning=37.2), "C", "37.204 °C, 37.0 to 37.2"),
        (DRY_BULB, 37.26, Band(low_warning=37.0, high_warning=37.2), "C", "37.3 °C, 37.0 to 37.2"),
        (DRY_BULB, 37.2, Band(low_warning=37.0, high_warning=37.2), "C", "37.2 °C, 37.0 to 37.2"),
        (DRY_BULB, 36.98, Band(low_warning=37.0), "F", "98.56 °F, over 98.6"),
        (RH, 59.6, Band(low_warning=60.0, high_warning=70.0), "C", "59.6 %RH, 60 to 70"),
        (RH, 59.3, Band(low_warning=59.4, high_warning=70.0), "C", "59.3 %RH, 59.4 to 70"),
        (WET_BULB, 29.04, Band(high_warning=29.0), "C", "wet bulb 29.04 °C, under 29.0"),
    ],
)
def test_a_value_beside_its_band(of: str, value: float, band: Band, unit: str, shown: str) -> None:
    """As many decimals as show on which side of its limit it is; a limit that has no more keeps its own."""
    finer = finer_beside(of, value, band, unit=unit)
    assert f"{show_value(of, value, unit, finer=finer)}, {show_band(of, band, unit, finer=finer)}" == shown


def test_what_people_call_it() -> None:
    """A machine by its name, a probe by its place in it where that is short and no other's, a node by the machines it looks at, the site as the whole room."""
    house = site(probes(("node-a/top", "setter-1"), ("node-a/low", "hatcher-1")))
    assert subject_name("setter-1", house) == "Setter 1"
    assert subject_name("node-a/top", house) == "Setter 1 (node-a/top)"
    hung = [Probe(f"node-a/{each}", "setter-1", position=place) for each, place in (("top", "top tray"), ("low", "low"), ("b", "low"), ("c", "x" * 17))]  # fmt: skip
    placed = site({probe.key: probe for probe in hung})
    names = [subject_name(probe.key, placed) for probe in hung]
    assert names == ["Setter 1 top tray", "Setter 1 (node-a/low)", "Setter 1 (node-a/b)", "Setter 1 (node-a/c)"]
    assert [probe_words(f"node-a/{each}", placed) for each in ("top", "low")] == [
        "Setter 1 top tray (node-a/top)",
        "Setter 1 (node-a/low)",
    ]
    assert subject_name("node-a", house) == "Hatcher, Setter 1 (node-a)"
    assert subject_name("site", house) == "All machines"
    assert subject_name("gone", house) == "gone"


def test_nothing_has_no_sign() -> None:
    """What rounds to nothing is 0.0, never less."""
    assert show_interval(Interval(-0.01, -0.04, 0.2)) == "0.0 % (0.0 to 0.2)"
