"""Doses, eggs and what was done, as programs read them."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest

from monitor.shown.history.files import COLUMNS, to_csv, to_json
from monitor.shown.history.report import Header
from tests.analysis.lived import SET_AT, lived

HEADER = Header("hen-1", "fowl", 24, SET_AT)


def made() -> Any:
    return json.loads(json.dumps(to_json(lived(), HEADER), allow_nan=False))


def rows(kind: str) -> list[dict[str, str]]:
    table = list(csv.DictReader(io.StringIO(to_csv(lived(), HEADER), newline=""), strict=True))
    return [row for row in table if row["kind"] == kind]


def test_the_json_has_each_dose_with_what_was_published() -> None:
    """Both sides with their limits; each published exposure with its standing, source in full, and the hours here."""
    above, below = made()["whole"]["dose"]
    felt = lived().felt[-1]
    assert (above["side"], above["limits_c"], above["stays"], above["peak_c"]) == ("above", [39.0], 1, 41.2)
    assert above["hours"] == pytest.approx(felt.doses[0].dose.hours, abs=1e-6)
    assert above["degree_hours"] == pytest.approx(felt.doses[0].dose.degree_h, abs=1e-6)
    assert (below["hours"], below["peak_c"], below["published"]) == (0.0, None, [])
    found = {each["id"]: each for each in above["published"]}
    assert set(found) == {match.exposure.id for match in felt.doses[0].published}
    kills, harmless = found["heat-30min-40.6"], found["heat-24h-40.6"]
    assert (kills["standing"], kills["harm"], harmless["standing"], harmless["harm"]) == (
        "reached",
        True,
        "contradicts",
        False,
    )
    assert kills["hours_here"] == pytest.approx(felt.doses[0].dose.hours_at(40.6), abs=1e-6)
    assert kills["longest_here"] == pytest.approx(kills["hours_here"], abs=1e-5)
    assert "Hatchery Management Guide" in kills["citation"]
    assert all(each["words"].startswith("Published") for each in above["published"])


def test_the_egg_is_marked_an_estimate() -> None:
    """With its time constants, and figures of its own."""
    egg = made()["stages"][0]["egg_c"]
    assert (egg["estimate"], egg["tau_s"]) == (True, [round(lived().felt[0].tau_s[0], 1)])
    assert egg["mean"] == pytest.approx(lived().felt[0].egg_c.mean, abs=0.05)
    for name in ("mean", "min", "max"):
        low_c, high_c = egg[f"{name}_range"]
        assert low_c < egg[name] < high_c
        assert [each for each in (egg[name], low_c, high_c) if round(each, 1) != each] == []  # no second decimal
    assert egg["gaps"] == 2


def test_the_rest_of_it() -> None:
    """Deficit, openings, what was done and the openings of each day."""
    data = made()
    assert data["stages"][0]["deficit_kpa"]["mean"] == pytest.approx(lived().felt[0].deficit_kpa, abs=1e-4)
    assert (data["stages"][0]["openings"], data["whole"]["openings_per_day"]) == (2, 1.0)
    assert [each["kind"] for each in data["happenings"]] == [
        "move", "opening", "opening", "opening", "handling", "stage", "move", "opening",
    ]  # fmt: skip
    assert data["happenings"][4]["until"] == "2026-05-30T03:46:40.000Z"
    assert data["openings_per_day"] == [{"day": n, "openings": 1} for n in range(3)]


def test_the_csv_has_rows_for_what_fits() -> None:
    """The egg and the deficit as figures, a row for each dose, and one for everything that was done; the same numbers as the JSON."""
    whole = {row["quantity"]: row for row in rows("figures") if row["stage"] == "whole"}
    assert set(whole) == {"dry_bulb_c", "rh_pct", "wet_bulb_c", "egg_c", "deficit_kpa"}
    data = made()["whole"]
    assert float(whole["egg_c"][COLUMNS["max"]]) == data["egg_c"]["max"]
    assert float(whole["deficit_kpa"][COLUMNS["mean"]]) == data["deficit_kpa"]["mean"]
    doses = [row for row in rows("dose") if row["stage"] == "whole"]
    assert [(row["side"], row[COLUMNS["limit"]], row["excursions"]) for row in doses] == [
        ("above", "39.0", "1"),
        ("below", "36.0", "0"),
    ]
    assert float(doses[0][COLUMNS["degree_hours_above"]]) == data["dose"][0]["degree_hours"]
    assert [row[COLUMNS["what"]] for row in rows("handling")] == ["declared"]
    assert [row["machine"] for row in rows("move")] == ["setter-a", "hatcher-b"]
    assert len(rows("opening")) == 4
    assert len(rows("stage")) == 1
