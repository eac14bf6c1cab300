"""The sheet of one egg, before anything of it is put into words."""

from __future__ import annotations

from pathlib import Path

from monitor.adapters.tables.causes import shipped_causes
from monitor.service.across.sheet import sheet_of
from tests.fakes import MemoryStore
from tests.shown.sheet.accident import day, house_in, made


def test_each_sensor_has_its_own_calibrations() -> None:
    """One of the two was held against a thermometer, and only that one is told so."""
    store = MemoryStore()
    store.commit(made())
    (batch,) = [each for each in store.batches() if each.id == "attic-4"]
    sheet = sheet_of(store, house_in(Path()).site, batch, egg=7, now=day(60.0), catalogue=shipped_causes())
    assert {s.key: [c.probe for c in s.calibrations] for s in sheet.sensors} == {
        "node-k/high": ["node-k/high"],
        "node-k/low": [],
    }
