"""JSON and CSV: the figures under stable names, times in UTC, nothing a parser or a spreadsheet could trip over."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from monitor.analysis.history.environment import history_of
from monitor.domain.needs.profile import Band
from monitor.shown.history.files import COLUMNS, to_csv, to_json
from monitor.shown.history.report import Header
from tests.analysis.air import readings, stretch
from tests.shown.history.test_report import CALIBRATIONS, HEADER, history

RFC_3339 = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")


def table(text: str) -> list[dict[str, str]]:
    """The rows of a CSV by the header of each column."""
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_json_is_plain_and_finite() -> None:
    """It goes through json without help and without NaN, and comes back the same."""
    for record in (history(), history_of([stretch()])):
        made = to_json(record, HEADER)
        assert json.loads(json.dumps(made, allow_nan=False)) == made


def test_json_holds_the_header_and_every_figure() -> None:
    """Batch, profile, eggs, set time; stages and whole; the same numbers as the history, rounded as documented."""
    record = history()
    made = json.loads(json.dumps(to_json(record, HEADER)))
    assert [made[key] for key in ("batch", "profile", "eggs")] == ["hen-1", "fowl", 24]
    assert made["set_at"] == "2026-05-01T06:00:00.000Z"
    assert [stage["stage"] for stage in made["stages"]] == ["setter", "lockdown"]
    assert made["whole"]["machines"] == ["setter-a", "hatcher-b"]
    for period, shown in zip((*record.stages, record.whole), (*made["stages"], made["whole"]), strict=True):
        for quantity, figures in period.figures():
            found = shown[quantity]
            assert found["since"] == datetime.fromtimestamp(figures.since_ms / 1000, UTC).isoformat(
                timespec="milliseconds"
            ).replace("+00:00", "Z")
            for name in ("mean", "sd", "min", "max"):
                assert found[name] == pytest.approx(getattr(figures, name), abs=0.5e-4)
            for name in ("hours_in", "hours_above", "hours_below", "hours_unjudged", "hours_covered", "hours_total"):
                assert found[name] == pytest.approx(getattr(figures, name), abs=0.5e-6)
            for name in ("degree_hours_above", "degree_hours_below", "coverage"):
                assert found[name] == pytest.approx(getattr(figures, name), abs=0.5e-6)
            assert found["gaps"] == len(figures.gaps)
            assert found["excursions"] == len(figures.excursions)
            assert (found["samples"], found["flagged"]) == (figures.samples, figures.flagged)


def test_json_times_are_utc_whatever_the_offset_they_came_with() -> None:
    """A set time given at +02:00 is the same instant in UTC, and every time has the RFC 3339 form."""
    local = HEADER.set_at.astimezone(timezone(timedelta(hours=2)))
    made = to_json(history(), replace(HEADER, set_at=local))
    assert made == to_json(history(), HEADER)
    flat = json.dumps(made)
    times = re.findall(r'"(\d{4}-[^"]*)"', flat)
    assert len(times) > 40
    assert all(RFC_3339.fullmatch(time) for time in times)


def test_json_lists_excursions_and_gaps_once() -> None:
    """For the whole, each with its quantity and its caveats."""
    made = json.loads(json.dumps(to_json(history(), HEADER)))
    hot, dry = made["excursions"]
    assert (hot["quantity"], hot["side"], hot["stage"], hot["machine"]) == ("dry_bulb_c", "above", "setter", "setter-a")
    assert (hot["peak"], hot["limit"]) == (38.6, 38.0)
    assert hot["area"] == pytest.approx(0.6 * (590 + 6 / 1.1) / 3600, abs=0.5e-6)
    assert hot["hours_total"] == pytest.approx((590 + 12 / 1.1) / 3600, abs=1e-6)  # its ends are whole milliseconds
    assert (hot["open"], hot["at_start"], hot["cut_by_gap"]) == (False, False, False)
    assert (dry["quantity"], dry["area"], dry["open"]) == ("rh_pct", 15.0, True)
    assert [gap["quantity"] for gap in made["gaps"]] == ["dry_bulb_c", "rh_pct", "wet_bulb_c"]
    assert made["gaps"][0]["since"] == "2026-05-28T21:16:40.000Z"


def test_the_calibrations_that_corrected_it_are_in_both() -> None:
    """JSON lists them with their figures, CSV has a row for each; the same words and times in both, and none where there are none."""
    record = replace(history(), calibrations=CALIBRATIONS)
    made = json.loads(json.dumps(to_json(record, HEADER), allow_nan=False))["calibrations"]
    assert made[0] == {
        "probe": "node-a/top",
        "at": "2026-05-01T05:00:00.000Z",
        "since": None,
        "due": None,
        "by": "",
        "note": "",
        "what": "temperature +0.30 K",
        "dry_bulb_c": {"slope": 1.0, "offset": 0.3, "points": []},
        "rh_pct": None,
    }
    assert made[1]["rh_pct"]["slope"] == pytest.approx(42.51 / 39.1, abs=1e-6)
    assert [p["salt"] for p in made[1]["rh_pct"]["points"]] == ["magnesium-chloride", "sodium-chloride"]
    rows = [row for row in table(to_csv(record, HEADER)) if row["kind"] == "calibration"]
    for row, each in zip(rows, made, strict=True):
        for key in ("probe", "at", "since", "what", "due", "by"):
            assert row[COLUMNS[key]] == (each[key] or "")
    assert to_json(history(), HEADER)["calibrations"] == []
    assert not [row for row in table(to_csv(history(), HEADER)) if row["kind"] == "calibration"]


def test_csv_is_rfc_4180() -> None:
    """Every line ends with CRLF, every row has a cell for each column, the header names the units."""
    text = to_csv(history(), HEADER)
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r\n") == len(text.splitlines())
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert {len(row) for row in rows} == {len(COLUMNS)}
    assert rows[0][:2] == ["kind", "batch"]
    assert {"mean (C, %RH or kPa)", "sd (K or %RH)", "above (h)", "area above (K h or %RH h)"} <= set(rows[0])


def test_csv_has_a_row_per_stage_and_quantity_and_one_per_excursion_and_gap() -> None:
    """Three quantities in two stages and the whole; then limits, excursions and gaps, each told by its kind."""
    rows = table(to_csv(history(), HEADER))
    figures = [row for row in rows if row["kind"] == "figures"]
    assert [(row["stage"], row["quantity"]) for row in figures] == [
        (stage, quantity)
        for stage in ("setter", "lockdown", "whole")
        for quantity in ("dry_bulb_c", "rh_pct", "wet_bulb_c")
    ]
    kinds = [row["kind"] for row in rows]
    # Limits: humidity's change once, the others never.
    assert [kinds.count(kind) for kind in ("limits", "excursion", "gap")] == [4, 2, 3]
    assert {row["batch"] for row in rows} == {"hen-1"}


def test_csv_and_json_say_the_same() -> None:
    """The numbers of one are those of the other, to the last digit."""
    made = json.loads(json.dumps(to_json(history(), HEADER)))
    rows = table(to_csv(history(), HEADER))
    whole = next(row for row in rows if row["stage"] == "whole" and row["quantity"] == "dry_bulb_c")
    for key in ("mean", "sd", "min", "max", "hours_in", "degree_hours_above", "coverage", "longest_gap_s", "gaps"):
        assert float(whole[COLUMNS[key]]) == made["whole"]["dry_bulb_c"][key]
    hot = next(row for row in rows if row["kind"] == "excursion")
    for key in ("peak", "area", "limit", "hours_total"):
        assert float(hot[COLUMNS[key]]) == made["excursions"][0][key]
    assert (hot[COLUMNS["since"]], hot[COLUMNS["open"]]) == (made["excursions"][0]["since"], "no")


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_csv_text_that_looks_like_a_formula_gets_an_apostrophe(start: str) -> None:
    """Any text cell: batch, profile, machine, stage."""
    risky = f"{start}cmd()"
    air = readings(range(0, 3601, 10), 39.0)
    record = history_of([stretch(air, machine=risky, stage=risky)])
    rows = table(to_csv(record, Header(risky, risky, None, HEADER.set_at)))
    assert {row["batch"] for row in rows} == {row["profile"] for row in rows} == {f"'{risky}"}
    (hot,) = (row for row in rows if row["kind"] == "excursion")
    assert (hot["machine"], hot["stage"]) == (f"'{risky}", f"'{risky}")


def test_csv_numbers_below_zero_stay_numbers() -> None:
    """A minus in front of a number is no formula, and no minus stands before a zero."""
    cold = history_of([stretch(readings(range(0, 3601, 10), -5.0), dry_bulb_c=Band(low_alarm=-10.0))])
    row = table(to_csv(cold, HEADER))[0]
    assert row["mean (C, %RH or kPa)"] == "-5.0"
    assert row["area below (K h or %RH h)"] == "0.0"
    nearly = history_of([stretch(readings(range(0, 3601, 10), -0.00001), dry_bulb_c=None)])
    assert table(to_csv(nearly, HEADER))[0]["mean (C, %RH or kPa)"] == "0.0"


def test_csv_quotes_what_would_break_a_row() -> None:
    """A comma, a quote and a line break in a name come back as they were; unknown numbers are empty cells."""
    odd = 'hens, "best"\r\nof May'
    rows = table(to_csv(history_of([stretch()]), Header(odd, "fowl", None, HEADER.set_at)))
    assert {row["batch"] for row in rows} == {odd}
    assert (rows[0]["eggs"], rows[0]["mean (C, %RH or kPa)"], rows[0]["coverage (0 to 1)"]) == ("", "", "0.0")
