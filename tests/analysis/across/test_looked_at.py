"""What can be looked at across batches: what the shipped catalogue asks of a record, each once, with words of its own."""

from __future__ import annotations

import re

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.across.looked_at import USUAL, every_one, of_finding
from monitor.shown.outcomes import looked_at_words

CATALOGUE = shipped_causes()
EVERY = every_one(CATALOGUE)


def test_all_that_the_catalogue_asks() -> None:
    """As many as there are figures, windows and ways in it; each with an id that is easy to type, and words that no other has."""
    asked = {(c.variable, c.direction, c.window) for f in CATALOGUE.findings.values() for c in f.causes if c.check}
    assert {(e.cause.variable, e.cause.direction, e.cause.window) for e in EVERY.values()} == asked
    assert len(EVERY) == len(asked) == len({looked_at_words(each) for each in EVERY.values()})
    assert all(re.fullmatch(r"[a-z0-9.]+(-[a-z0-9.]+)+", id_) and id_ == each.id for id_, each in EVERY.items())
    assert list(EVERY) == sorted(EVERY)


def test_the_usual_ones() -> None:
    """Nine, all of them in the catalogue."""
    assert len(set(USUAL)) == len(USUAL) == 9
    assert set(USUAL) <= set(EVERY)
    assert looked_at_words(EVERY["humidity-high-setter"]) == "too humid in incubation"
    assert looked_at_words(EVERY["loss-low-whole"]) == "water loss to pip too low"


def test_of_a_finding() -> None:
    """Each of its published causes that a sensor sees, once; both ways where sources disagree; none where no sensor sees any."""
    wet = of_finding(CATALOGUE, "wet-chick")
    assert sorted(wet) == ["humidity-high-setter", "loss-low-whole", "temperature-high-whole", "temperature-low-whole"]
    rows = [c for c in CATALOGUE.findings["dead-unpipped"].causes if c.check]
    found = of_finding(CATALOGUE, "dead-unpipped")
    assert len(found) == len({(c.variable, c.direction, c.window) for c in rows}) < len(rows)
    assert {"humidity-high-whole", "humidity-low-whole"} <= set(found)
    assert of_finding(CATALOGUE, "rotten") == {}


def test_heat_and_cold_are_told_by_hours_and_temperature() -> None:
    """The hours from which the record shows it: what harmed, or twice what was borne; in the unit of the site."""
    assert looked_at_words(EVERY["heat-6h-43.3-late"]) == "6 h in all at or above 43.3 °C in the last third"
    assert looked_at_words(EVERY["heat-30min-40.6-late"]) == "30 min in all at or above 40.6 °C in the last third"
    assert looked_at_words(EVERY["cold-4h-32.2-early"]) == "8 h on end at or below 32.2 °C in the first third"
    assert looked_at_words(EVERY["heat-6h-43.3-late"], "F") == "6 h in all at or above 109.9 °F in the last third"
