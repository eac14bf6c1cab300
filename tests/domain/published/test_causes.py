"""The published causes as they ship: every row of the reference list is there, and nothing that is not."""

from __future__ import annotations

import copy
import csv
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.tables.causes import CauseError, read_causes
from monitor.domain.published.causes import (
    BEFORE_SET,
    DOSE,
    HIGH,
    KINDS,
    LEVEL,
    LOW,
    MEAN,
    WINDOWS,
    Catalogue,
    Check,
    Published,
)
from monitor.domain.published.findings import FINDING

ROOT = Path(__file__).resolve().parents[3]
# Collected from extension services, books and journals named in `source_key`; evidence says whether the line stood in text that
# could be read ("seen") or was recalled ("memory").
ROWS = list(csv.DictReader((ROOT / "tests" / "reference" / "hatch_problems.csv").open(encoding="utf-8")))
DATA: dict[str, Any] = tomllib.loads((ROOT / "monitor" / "data" / "causes.toml").read_text(encoding="utf-8"))
CATALOGUE: Catalogue = read_causes(DATA, "causes.toml")
# The reference list and the trade list name the findings in the same order.
NAMES = dict(zip(dict.fromkeys(row["finding"] for row in ROWS), FINDING, strict=True))
# A variable of the reference list: the checks that may ask for it.
ASKED = {
    "temperature": {"temperature", "heat", "swing", "spread"},
    "humidity": {"humidity", "loss", "openings"},
    "power": {"cold"},
}


def test_every_published_row_is_there_and_no_other() -> None:
    """Each (finding, words, source, evidence) of the reference list stands in the catalogue, and the other way round."""
    published = {(NAMES[r["finding"]], r["candidate_cause"], r["source_key"], r["evidence"]) for r in ROWS}
    shipped = {(f.id, c.as_published, c.source, c.evidence) for f in CATALOGUE.findings.values() for c in f.causes}
    assert shipped == published
    assert len(ROWS) == 169


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['finding'][:20]}/{r['candidate_cause'][:30]}")
def test_each_row_is_asked_as_published(row: dict[str, str]) -> None:
    """A sensor-visible row is asked in its published direction, both where both are named, and in its window; the rest is unseen."""
    causes = [
        c
        for c in CATALOGUE.findings[NAMES[row["finding"]]].causes
        if (c.as_published, c.source) == (row["candidate_cause"], row["source_key"])
    ]
    asked = ASKED.get(row["environmental_variable"])
    if asked is None or row["window"] == BEFORE_SET:
        assert causes
        assert {c.check for c in causes} == {""}
        assert len(causes) == max(
            1, sum(bool(c.written) for c in causes)
        )  # once, or once for each thing that may be written of it
        assert causes[0].unseen
        assert causes[0].window == row["window"]
        return
    assert {c.check for c in causes} <= asked
    wide = {"setter": {"setter", "to-middle"}}.get(row["window"], {row["window"]})
    assert {c.window for c in causes if c.check != "loss"} <= wide
    ways = {c.direction for c in causes if c.check in ("temperature", "humidity", "loss")}
    if ways:
        published = set(row["direction"].split(" or "))
        flipped = {HIGH: LOW, LOW: HIGH}  # air too humid is a loss too low
        of_air = {flipped[c.direction] if c.check == "loss" else c.direction for c in causes if c.direction in flipped}
        assert published <= of_air | (
            {HIGH} if any(c.check in ("swing", "spread", "openings") for c in causes) else set()
        )
        assert len(of_air) <= len(published) or any(c.check in ("swing", "openings") for c in causes)
    for cause in causes:
        if KINDS[cause.check] == DOSE:
            assert cause.published is not None
            assert cause.published.side == ("below" if cause.check == "cold" else "above")


@pytest.mark.parametrize("finding", CATALOGUE.findings.values(), ids=lambda f: f.id)
def test_a_finding_has_a_caution_and_its_sources_are_spelled_out(finding: Published) -> None:
    """Where a chick or an egg is at hand the veterinarian is named, and every source key has its citation."""
    assert len(finding.caution) > 40
    if FINDING[finding.id].seen_at in (("hatcher",), ("after hatch",)) and finding.id != "early-hatch":
        assert "avian veterinarian" in finding.caution
    for cause in finding.causes:
        assert len(CATALOGUE.sources[cause.source]) > 20
        assert cause.unseen or cause.window in WINDOWS


BOTH_WAYS = {  # finding: the check whose two directions its sources name
    "dead-unpipped": ("temperature", "humidity", "loss"),
    "large-navel": ("temperature", "humidity"),
    "sticky-chick": ("humidity",),
    "dead-internal-pip": ("humidity",),
    "wet-chick": ("temperature",),
    "drawn-out-hatch": ("temperature",),
    "malposition": ("temperature", "humidity"),
    "malformed": ("temperature",),
    "blood-ring": ("temperature",),
    "pipped-dead": (),
    "early-hatch": (),
}


@pytest.mark.parametrize("finding", BOTH_WAYS)
def test_both_directions_stand_where_sources_disagree(finding: str) -> None:
    """Where the reference list has both, the catalogue has both; where it has one, one."""
    found = {
        check
        for check in ("temperature", "humidity", "loss")
        if {c.direction for c in CATALOGUE.findings[finding].causes if c.check == check} == {HIGH, LOW}
    }
    assert found == set(BOTH_WAYS[finding])


@pytest.mark.parametrize(
    ("id_", "levels"),
    [("heat-5h-43.3", (2.5, 5.0)), ("cold-4h-32.2", (4.0, 8.0)), ("cold-36h-24", (18.0, 36.0))],
)
def test_a_dose_has_its_levels_from_the_published_exposure(id_: str, levels: tuple[float, float]) -> None:
    """Supported from what harmed, not up to half of it; what was borne is not supported, twice as much is."""
    cause = next(c for f in CATALOGUE.findings.values() for c in f.causes if c.exposure == id_)
    assert cause.levels(CATALOGUE.checks[cause.check]) == levels


def wrong(*path: Any, to: Any = None, drop: str = "") -> dict[str, Any]:
    """The shipped table with one place changed, or one key dropped."""
    data: Any = copy.deepcopy(DATA)
    place = data
    for key in path[:-1] if not drop else path:
        place = place[key]
    if drop:
        del place[drop]
    else:
        place[path[-1]] = to
    return dict(data)


def unpipped(key: str, value: str, cause: int = 0) -> dict[str, Any]:
    place = list(FINDING).index("dead-unpipped")
    return wrong("finding", place, "causes", cause, key, to=value)


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (wrong(drop="least_share"), "least_share: missing, expected a number from 0 to 1"),
        (wrong("least_coverage", to=1.5), "least_coverage: 1.5, expected a number from 0 to 1"),
        (wrong("least_good", to=0), "least_good: 0, expected a whole number"),
        (wrong("check", drop="spread"), "check.spread: missing, expected a value"),
        (wrong("check", "loss", "kind", to="level"), "check.loss.kind: 'level', expected 'mean'"),
        (wrong("check", "loss", "margin", to=float("nan")), "check.loss.margin: nan, expected a number above 0 to 100"),
        (wrong("check", "spread", "clear_at", to=2.0), "expected below supported_at"),
        (
            wrong("finding", 0, "id", to="sad-chick"),
            "finding.sad-chick.id: 'sad-chick', nearest small-chick or weak-chick, expected one of clear",
        ),
        (wrong("finding", 1, "id", to="clear"), "finding: clear twice, expected each finding once"),
        (wrong("finding", 0, "caution", to="none"), "finding.clear.caution: 'none', expected one of egg"),
        (wrong("finding", to=DATA["finding"][1:]), "none for clear"),
        (unpipped("source", "NOBODY"), "finding.dead-unpipped.causes[1].source: 'NOBODY', expected one of "),
        (unpipped("window", "tomorrow"), "causes[1].window: 'tomorrow', expected one of whole"),
        (unpipped("window", BEFORE_SET), "expected a check in a window after the set"),
        (unpipped("check", "smell"), "causes[1].check: 'smell', expected one of temperature"),
        (unpipped("direction", "sideways"), "direction 'sideways', expected high or low"),
        (unpipped("exposure", "heat-5h-43.3"), "and no exposure"),
        (unpipped("unseen", "turning"), "expected one of the two"),
        (unpipped("guess", "yes"), "causes[1].guess: unknown setting, expected one of: check"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(data: dict[str, Any], told: str) -> None:
    """A slip in the table is refused with where, what came and what was expected."""
    with pytest.raises(CauseError) as error:
        read_causes(data, "causes.toml")
    assert told in str(error.value)
    assert str(error.value).startswith("causes.toml: ")
    assert "\n" not in str(error.value)


def test_a_dose_needs_a_published_exposure_of_its_side() -> None:
    """Heat is not measured by a cold exposure, nor by one without hours."""
    place = list(FINDING).index("pipped-dead")
    causes = DATA["finding"][place]["causes"]
    heat = next(i for i, c in enumerate(causes) if c.get("check") == "heat")
    for exposure in ("cold-4h-32.2", "heat-40", "made-up"):
        with pytest.raises(CauseError, match="expected a published one above"):
            read_causes(wrong("finding", place, "causes", heat, "exposure", to=exposure), "causes.toml")


def test_every_temperature_in_a_cause_is_a_value() -> None:
    """No cause is written with a unit in it, so that none is told in °C to who reads °F; and each place has its temperature."""
    for cause in (c for f in CATALOGUE.findings.values() for c in f.causes):
        assert not re.search(r"\d ?°?C\b", cause.words)
        assert cause.words.count("{}") == len(cause.temps_c)
        assert "{" not in cause.told("F")


def test_a_check_is_exact_unless_its_table_gives_room() -> None:
    """Without a margin a figure is supported from the band's very edge; a level that names no numbers is no level."""
    check = Check("x", MEAN, "words", "unit", "SOURCE")
    assert (check.margin, check.half_band, check.clear_at, check.supported_at) == (0.0, 0.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="clear_at 0, expected below supported_at, 0"):
        replace(check, kind=LEVEL)
