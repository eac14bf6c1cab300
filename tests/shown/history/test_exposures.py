"""The reference table of published exposures, both sides of every disagreement."""

from __future__ import annotations

import re

import pytest

from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.published.exposure import EXPOSURES, SOURCES, disagreeing
from monitor.domain.wall import WIDTH
from monitor.shown.history.exposures import exposure_text, exposure_view
from monitor.shown.values import show_figure


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize("days", [17.0, 21.0, 42.0])
def test_every_exposure_and_every_source_is_there(unit: str, days: float) -> None:
    """No line is wider than 80 columns; every result, temperature in the asked unit, and every citation stands in it."""
    text = exposure_text("Bird", days, unit)
    assert max(len(line) for line in text.splitlines()) <= WIDTH
    flat = " ".join(text.split())
    for each in EXPOSURES:
        assert each.told(unit) in flat
        assert each.temp_c is None or show_figure(DRY_BULB, each.temp_c, unit) in flat
        assert f"({each.source}, {each.eggs} eggs" in flat
    for key, citation in SOURCES.items():
        assert f"{key}: {citation}" in flat
    ours = re.split("Sources|SOURCES", flat)[0]
    assert ("°C" in ours, "°F" in ours) == (unit == "C", unit == "F")


def test_both_sides_stand_together() -> None:
    """Under each exposure stands what says otherwise, whichever of the two was entered as the one that disagrees."""
    text = exposure_text("Hen", 21.0, "C")
    entries = re.split(r"\n(?=\S)", text)
    for each in EXPOSURES:
        heads = (f": {each.told('C')} ({each.source}, ", f"{each.told('C')} ({each.source}, ")
        flat = [" ".join(e.split()) for e in entries]
        entry = next(e for e in flat if heads[0] in e or e.startswith(heads[1]))
        assert entry.count(" but ") == len(disagreeing(each))
        for other in disagreeing(each):
            assert other.told("C") in entry
            assert each in disagreeing(other)
    assert sum(len(disagreeing(each)) for each in EXPOSURES) > 10


def test_ages_are_the_same_share_of_the_term() -> None:
    """Day 16 of a hen's 21 is day 32 of 42; for 21 days nothing is added."""
    assert "day 16 of 21, here 32)" in " ".join(exposure_text("Emu", 42.0, "C").split())
    assert "of 21, here" not in exposure_text("Hen", 21.0, "C")


def test_as_values() -> None:
    """What is not given is null, the source is in full, and who disagrees is named."""
    views = {view["id"]: view for view in (exposure_view(each, 42.0) for each in EXPOSURES)}
    assert views["heat-24h-40.6"]["day"] == [32.0, 32.0]
    assert views["heat-24h-40.6"]["hen_day"] == [16.0, 16.0]
    assert "heat-30min-40.6" in views["heat-24h-40.6"]["disagrees_with"]  # type: ignore[operator]
    assert (views["cold-cut"]["temp_c"], views["cold-cut"]["hours"], views["cold-cut"]["day"]) == (None, None, None)
    assert views["heat-3h-46.1"]["citation"] == SOURCES["THOMPSON-76"]
