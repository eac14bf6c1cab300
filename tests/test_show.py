"""Lists for the terminal: in the zone and the unit of the site."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from monitor.adapters.profile_files import load_profiles
from monitor.domain.site import Site
from monitor.service.ports import Event
from monitor.settings import build_house, parse_settings
from monitor.show import event_table

AT = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def site(unit: str) -> Site:
    data = {
        "site": {"id": "home", "unit": unit, "zone": "Asia/Kathmandu"},
        "machine": [{"id": "setter-1", "name": "Setter 1"}],
        "probe": [{"node": "node-a", "probe": "top", "machine": "setter-1", "interval_s": 60}],
    }
    return build_house(parse_settings(data, "test"), load_profiles(None), Path("test.toml")).site


def test_an_opening_is_told_in_the_sites_unit_and_time() -> None:
    """What the record keeps in °C is shown in °F where the site is; what else happened stays as it was written."""
    events = [
        Event(AT, "opening", "setter-1", "opened for about 2 min, lowest 34.0 °C"),
        Event(AT, "batch", "site", "hen-1: 24 C eggs"),
    ]
    assert (
        event_table(events, site("C"))
        .splitlines()[0]
        .endswith("opening Setter 1: opened for about 2 min, lowest 34.0 °C")
    )
    first, other = event_table(events, site("F")).splitlines()
    assert first.endswith("opening Setter 1: opened for about 2 min, lowest 93.2 °F")
    assert first.startswith("01 Mar 23:45:00")
    assert other.endswith("batch: hen-1: 24 C eggs")
