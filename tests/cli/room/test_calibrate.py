"""`eggroom calibrate` as a person types it: with a daemon and without, in °C and °F; the list; each wrong line."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.cli.commands import asleep
from tests.running import Node, Running, configure, query, set_days_ago, typed, until
from tests.servers import Mosquitto

Capture = pytest.CaptureFixture[str]
PROBE = "node-a/top"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return configure(tmp_path, 1, site={"zone": "UTC"})


@pytest.fixture
def fahrenheit(tmp_path: Path) -> Path:
    return configure(tmp_path, 1, site={"zone": "UTC", "unit": "F"})


def ok(capsys: Capture, *arguments: str, config: Path) -> str:
    code, out, err = asleep(capsys, "calibrate", *arguments, config=config)
    assert (code, err) == (0, ""), err
    return out


def wrong(capsys: Capture, *arguments: str, config: Path) -> str:
    """The line of a wrong request; it ends with 2 and prints nothing else."""
    code, out, err = asleep(capsys, "calibrate", *arguments, config=config)
    assert (code, out, err.count("\n")) == (2, "", 1)
    return err.strip()


def rows(capsys: Capture, *arguments: str, config: Path) -> list[dict[str, Any]]:
    found = json.loads(ok(capsys, *arguments, "--json", config=config))
    assert isinstance(found, list)
    return found


def test_an_offset(capsys: Capture, config: Path) -> None:
    """It says what changes, from now on and before; it is in the record and in the list."""
    said = ok(capsys, PROBE, "--offset", "0.3K", "--by", "Ada", "--note", "bath", config=config)
    assert said == f"{PROBE}: reads 0.30 K higher from now on; the record of before too\n"
    assert query(config, "SELECT probe, who, note, since_ms FROM calibration") == [(PROBE, "Ada", "bath", None)]
    listed = ok(capsys, config=config)
    assert listed.splitlines()[0] == f"{PROBE}: temperature +0.30 K"
    assert listed.splitlines()[1].endswith(" by Ada, holds from the beginning of the record")
    assert listed.splitlines()[2:] == ["  bath", "never calibrated: node-b/top"]


@pytest.mark.parametrize(
    ("typed_", "k"),
    [("-0.3K", -0.3), ("-.3", -0.3), ("+0,3C", 0.3), ("0.3 K", 0.3), ("−0.3", -0.3), ("0.54F", 0.3), ("-0.54f", -0.3)],
)
def test_an_offset_as_people_write_it(capsys: Capture, config: Path, typed_: str, k: float) -> None:
    """With a minus in front, with a comma, in °F: the same difference in K."""
    answer = json.loads(ok(capsys, PROBE, "--offset", typed_, "--json", config=config))
    assert answer["dry_bulb_c"]["offset"] == pytest.approx(k, abs=1e-6)


def test_points(capsys: Capture, config: Path) -> None:
    """Two points are a line; bare numbers are °C where the site shows °C, and an ice bath may read below nothing."""
    said = ok(capsys, PROBE, "--points", "30=30.5", "104F=104.18F", config=config)
    assert said == (
        f"{PROBE}: reads 0.50 K higher at 30.00 °C, 0.10 K higher at 40.00 °C from now on; the record of before too\n"
    )
    said = ok(capsys, "node-b/top", "--points", "-0.2=0.0", config=config)
    assert said == "node-b/top: reads 0.20 K higher from now on; the record of before too\n"


def test_in_fahrenheit(capsys: Capture, fahrenheit: Path) -> None:
    """A site in °F is told in °F, differences without the 32; a bare number could be either and is refused."""
    said = ok(capsys, PROBE, "--points", "98.2F=98.6F", config=fahrenheit)
    assert said == f"{PROBE}: reads 0.40 °F higher from now on; the record of before too\n"
    assert ok(capsys, config=fahrenheit).startswith(f"{PROBE}: temperature 98.20 is 98.60 °F\n")
    line = wrong(capsys, PROBE, "--points", "98.2=98.6", config=fahrenheit)
    assert line == "eggroom: temperature '98.2', expected a number and its unit, such as 37.5C or 99.5F"
    line = wrong(capsys, PROBE, "--offset", "0.5", config=fahrenheit)
    assert line == "eggroom: calibrate: --offset '0.5', expected a number and its unit, such as 0.5F or 0.3K"


def test_salts(capsys: Capture, config: Path) -> None:
    """One salt is an offset, two are a line; names as people write them."""
    said = ok(capsys, PROBE, "--salt", "Sodium chloride=73.1", "--at-temperature", "25C", config=config)
    assert said == f"{PROBE}: reads 2.20 %RH higher from now on; the record of before too\n"
    two = ("--salt", "sodium-chloride=73.1", "--salt", "magnesium-chloride=34.0")
    said = ok(capsys, "node-b/top", *two, "--at-temperature", "77F", "--due", "12mo", config=config)
    assert "reads 1.21 %RH lower at 34.00 %RH, 2.20 %RH higher at 73.10 %RH from now on" in said
    (row,) = rows(capsys, "node-b/top", "--list", config=config)
    assert [p["salt"] for p in row["rh_pct"]["points"]] == ["magnesium-chloride", "sodium-chloride"]
    due = datetime.fromisoformat(row["due"])
    assert timedelta(days=364) < due - datetime.now(UTC) < timedelta(days=367)
    assert (row["in_force"], row["overdue"]) == (True, False)


def test_a_reference_from_before_a_calibration_counts_from_what_was_shown_then(capsys: Capture, config: Path) -> None:
    """The first one corrects the whole record, but nobody had seen it so: what was noted before it was made is not on top of it."""
    ok(capsys, PROBE, "--offset", "0.3", "--at", "2026-01-05", "--since", "start", config=config)
    said = ok(capsys, PROBE, "--offset", "0.4", "--at", "2026-01-03", config=config)
    assert "counted from" not in said
    assert "temperature +0.40 K" in [row["what"] for row in rows(capsys, PROBE, "--list", config=config)]
    said = ok(capsys, PROBE, "--offset", "0.1", "--at", "2026-01-04", config=config)
    assert said.endswith("counted from what the screen showed, temperature +0.50 K in all\n")


def test_from_when_it_holds(capsys: Capture, config: Path) -> None:
    """The second from when it was made, unless a person says otherwise; the answer says what becomes of the record."""
    ok(capsys, PROBE, "--offset", "0.3", "--at", "2026-01-05", config=config)
    said = ok(capsys, PROBE, "--offset", "0.2", config=config)
    assert said == (
        f"{PROBE}: reads 0.20 K higher from now on; the record of before stays; "
        "counted from what the screen showed, temperature +0.50 K in all\n"
    )
    said = ok(capsys, PROBE, "--offset", "-0.1", "--since", "2026-01-10T12:00", config=config)
    assert said.startswith(
        f"{PROBE}: reads as before, for a later calibration holds now; this one holds from 2026-01-10 12:00 "
    )
    said = ok(capsys, "node-b/top", "--rh-offset", "-1.5", "--since", "2026-01-10T12:00", config=config)
    assert said == "node-b/top: reads 1.50 %RH lower from now on; the record since 2026-01-10 12:00 too\n"
    said = ok(capsys, "node-b/top", "--rh-offset", "0", "--since", "start", config=config)
    assert "reads as before" in said
    found = rows(capsys, PROBE, "--list", config=config)
    assert [(r["what"], r["in_force"]) for r in found] == [
        ("temperature +0.30 K", False),
        ("temperature +0.50 K", True),
        ("temperature +0.40 K", False),
    ]
    assert ok(capsys, PROBE, "--list", config=config).count("(no longer in force)") == 2


def test_overdue_is_marked(capsys: Capture, config: Path) -> None:
    """One in force whose due date has passed is marked; one that another took the place of is not."""
    ok(capsys, PROBE, "--offset", "0.3", "--at", "2025-01-05", "--due", "2025-06-01", config=config)
    (row,) = rows(capsys, config=config)
    assert (row["due"], row["overdue"]) == ("2025-06-01T00:00:00.000Z", True)
    assert ", due 2025-06-01: OVERDUE" in ok(capsys, config=config)
    ok(capsys, PROBE, "--offset", "0.3", config=config)
    assert [row["overdue"] for row in rows(capsys, config=config)] == [False, False]
    assert "OVERDUE" not in ok(capsys, config=config)


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        ([PROBE], "calibrate: nothing measured, expected --offset, --points, --rh-offset or --salt (or --list)"),
        (["--offset", "0.3K"], "calibrate: which probe, expected one of: node-a/top, node-b/top"),
        (["node-z/x", "--offset", "0.3K"], "probe 'node-z/x': no such probe, expected one of: node-a/top, node-b/top"),
        ([PROBE, "--offset", "0.3K", "--points", "36.8=37"], "calibrate: --offset and --points, expected one of them"),
        ([PROBE, "--rh-offset", "1", "--salt", "sodium-chloride=70"], "calibrate: --rh-offset and --salt, expected one of them"),
        ([PROBE, "--salt", "sodium-chloride=70"], "calibrate: --salt, expected --at-temperature with it, such as 25C"),
        ([PROBE, "--salt", "sodium-chloride", "--at-temperature", "25C"], "calibrate: 'sodium-chloride', expected such as sodium-chloride=73.1"),
        ([PROBE, "--salt", "sodium-chloride=wet", "--at-temperature", "25C"], "calibrate: sodium-chloride 'wet', expected a number, such as 73.1"),
        ([PROBE, "--salt", "sodium-chloride=70", "--at-temperature", "45C"], "sodium-chloride: 45 °C, expected 20 to 40 °C"),
        ([PROBE, "--points", "36.8"], "calibrate: '36.8', expected such as 36.8=37.0"),
        ([PROBE, "--points", "36.8=warm"], "temperature 'warm', expected a number and its unit, such as 37.5C or 99.5F"),
        ([PROBE, "--points", "36.8=37", "37=37.2"], "temperature: points 36.8=37 and 37=37.2 are too close together, expected 1 or more apart"),
        ([PROBE, "--offset", "much"], "calibrate: --offset 'much', expected a number, such as 0.3K"),
        ([PROBE, "--offset", "nan"], "calibrate: --offset 'nan', expected a number, such as 0.3K"),
        ([PROBE, "--offset", "6K"], "temperature: +6.00 K off, expected at most 5: a probe so far off is broken"),
        ([PROBE, "--rh-offset", "-21"], "humidity: -21.00 %RH off, expected at most 20: a probe so far off is broken"),
        ([PROBE, "--offset", "0.3K", "--at", "soon"], "time 'soon': expected now, 22:00, yesterday 22:00, -2h, 9.11., 2026-03-01 or 2026-03-01T18:00"),
        ([PROBE, "--offset", "0.3K", "--since", "2999-01-01"], "since: 2999-01-01 00:00 is in the future, expected now or before"),
        ([PROBE, "--offset", "0.3K", "--due", "2026-01-01", "--at", "2026-01-02"], f"{PROBE}: made 2026-01-02 00:00, due 2026-01-01 00:00, expected a later day"),
        ([PROBE, "--offset", "0.3K", "--due", "0mo"], "calibrate: --due '0mo', expected 1mo to 120mo"),
        ([PROBE, "--offset", "0.3K", "--due", "999mo"], "calibrate: --due '999mo', expected 1mo to 120mo"),
    ],
)  # fmt: skip
def test_each_wrong_line(capsys: Capture, config: Path, arguments: list[str], line: str) -> None:
    """One line says where, what came and what was expected; nothing gets into the record."""
    assert wrong(capsys, *arguments, config=config) == f"eggroom: {line}"
    assert query(config, "SELECT count(*) FROM sqlite_master WHERE name = 'calibration'") in ([], [(1,)])
    if query(config, "SELECT 1 FROM sqlite_master WHERE name = 'calibration'"):
        assert query(config, "SELECT * FROM calibration") == []


@pytest.mark.parametrize("zone", ["Europe/Berlin", "Pacific/Kiritimati", "America/Los_Angeles"])
def test_a_day_is_said_as_it_was_typed(capsys: Capture, tmp_path: Path, zone: str) -> None:
    """Who typed a day by his own wall reads that day in the refusal, also where at UTC it was the day before or is still the same."""
    config = configure(tmp_path, 1, site={"zone": zone})
    line = wrong(capsys, PROBE, "--offset", "0.3K", "--at", "2026-03-02", "--due", "2026-03-01", config=config)
    assert line == f"eggroom: {PROBE}: made 2026-03-02 00:00, due 2026-03-01 00:00, expected a later day"


def test_the_list_of_a_probe_that_is_none(capsys: Capture, config: Path) -> None:
    """A name that is in neither the configuration nor the record is refused; a known one without any says so."""
    ok(capsys, PROBE, "--offset", "0.3", config=config)
    line = wrong(capsys, "node-z/x", "--list", config=config)
    assert line == "eggroom: probe 'node-z/x': no such probe, expected one of: node-a/top, node-b/top"
    assert ok(capsys, "node-b/top", "--list", config=config) == "never calibrated: node-b/top\n"
    assert rows(capsys, "node-b/top", "--list", config=config) == []


def test_through_the_daemon(capsys: Capture, tmp_path: Path) -> None:
    """While the daemon runs its next readings are corrected, room and history agree, raw values stay raw; another run goes on so."""
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port)
        batch = ("hen-1", "--species", "chicken", "--machine", "setter-1", "--set", set_days_ago(5))
        code, _, err = asleep(capsys, "batch", "add", *batch, config=config)
        assert (code, err) == (0, "")
        with Running(config), Node(broker.port) as node:
            node.send(*[37.5] * 6, rh_pct=52.0)
            until(lambda: query(config, "SELECT count(*) FROM reading") == [(6,)], "not stored")
            before = history(capsys, config)
            assert ok(capsys, PROBE, "--offset", "0.3K", config=config).startswith(f"{PROBE}: reads 0.30 K higher")
            node.send(37.5, rh_pct=52.0)
            until(lambda: shown(capsys, config) == pytest.approx(37.8), "not shown corrected")
            after = history(capsys, config)
        for name in ("mean", "min", "max"):
            assert after["whole"]["dry_bulb_c"][name] - before["whole"]["dry_bulb_c"][name] == pytest.approx(0.3)
        assert after["whole"]["rh_pct"]["mean"] == pytest.approx(before["whole"]["rh_pct"]["mean"])
        assert (before["calibrations"], [c["what"] for c in after["calibrations"]]) == ([], ["temperature +0.30 K"])
        assert query(config, "SELECT DISTINCT dry_bulb_c FROM reading") == [(37.5,)]
        with Running(config), Node(broker.port, boot=8) as node:
            node.send(37.5, 37.5, 37.5, rh_pct=52.0)
            until(lambda: shown(capsys, config) == pytest.approx(37.8), "not corrected by another run")


def shown(capsys: Capture, config: Path) -> float | None:
    """What `eggroom room` shows of the setter's probe."""
    _, out, _ = typed(capsys, "room", "--json", config=config)
    value = json.loads(out)["machines"][0]["probes"][0]["dry_bulb_c"]
    return None if value is None else float(value)


def history(capsys: Capture, config: Path) -> dict[str, Any]:
    code, out, err = typed(capsys, "history", "hen-1", "--json", config=config)
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(
    ("measured", "by"),
    [
        (["--offset", "1.01K"], "temperature +1.01 K, more than 1 K"),
        (["--offset", "-2F"], "temperature -1.11 K, more than 1 K"),
        (["--points", "36=37.5", "39=40.2"], "temperature +1.50 K, more than 1 K"),
        (["--rh-offset", "-5.1"], "humidity -5.10 %RH, more than 5 %RH"),
        (["--salt", "sodium-chloride=68", "--at-temperature", "25C"], "humidity +7.30 %RH, more than 5 %RH"),
    ],
)
def test_a_large_correction_is_asked_about(capsys: Capture, config: Path, measured: list[str], by: str) -> None:
    """A slip of a kelvin would hide what kills; the same is done where it is said to be sure."""
    code, out, err = typed(capsys, "calibrate", PROBE, *measured, config=config)
    assert (code, out, err) == (2, "", f"eggroom: {PROBE}: {by}, expected --sure to calibrate by so much\n")
    ok(capsys, PROBE, *measured, "--sure", config=config)
    ok(capsys, "node-b/top", "--offset", "1.0K", "--rh-offset", "5", config=config)


def test_a_calibration_is_taken_back(capsys: Capture, config: Path) -> None:
    """The probe reads as before it, in the record too; nothing is struck out, and once is enough."""
    for offset in ("0.3K", "0.6K"):
        ok(capsys, PROBE, "--offset", offset, "--rh-offset", "2", config=config)
    said = ok(capsys, PROBE, "--take-back", "--by", "sam", config=config)
    assert said.startswith(f"taken back: {PROBE}: reads 0.60 K lower, 2.00 %RH lower from now on; ")
    listed = rows(capsys, "--list", config=config)
    assert [row["in_force"] for row in listed] == [False, False, True]
    assert listed[-1]["dry_bulb_c"]["offset"] == pytest.approx(0.3)
    assert listed[-1]["since"] == listed[-2]["since"]
    shown_ = ok(capsys, config=config).splitlines()
    assert shown_[0] == f"{PROBE}: temperature +0.30 K; humidity +2.00 %RH"
    assert shown_[2].startswith(f"{PROBE}: temperature +0.90 K; humidity +4.00 %RH (taken back ")
    assert shown_[2].endswith(" by sam)")
    assert shown_[4:] == ["never calibrated: node-b/top"]
    code, _, err = typed(capsys, "calibrate", PROBE, "--take-back", config=config)
    assert (code, err) == (2, f"eggroom: {PROBE}: its last calibration is taken back already\n")
    code, _, err = typed(capsys, "calibrate", PROBE, "--take-back", "--note", "slip", config=config)
    assert (code, "expected it alone" in err) == (2, True)
    other = "node-b/top"
    code, _, err = typed(capsys, "calibrate", other, "--take-back", config=config)
    assert (code, err) == (2, f"eggroom: {other}: never calibrated, expected a calibration to take back\n")
    ok(capsys, other, "--offset", "0.5K", config=config)
    assert "reads 0.50 K lower from now on; the record of before too" in ok(capsys, other, "--take-back", config=config)


def test_a_second_calibration_counts_from_the_screen(capsys: Capture, config: Path) -> None:
    """What a person holds against the reference is what is shown, which is corrected already: offsets, points and salts alike."""
    ok(capsys, PROBE, "--offset", "0.3K", "--rh-offset", "2", config=config)
    said = ok(capsys, PROBE, "--points", "37.0=37.2", config=config)
    assert said.startswith(f"{PROBE}: reads 0.20 K higher from now on; ")
    said = ok(capsys, PROBE, "--salt", "sodium-chloride=74.3", "--at-temperature", "25C", config=config)
    assert said.startswith(f"{PROBE}: reads 1.00 %RH higher from now on; ")
    assert said.endswith("counted from what the screen showed, humidity 72.3 is 75.3 %RH (sodium-chloride) in all\n")
    line = ok(capsys, "node-b/top", "--points", "30=30.5", "40=40.1", config=config)
    assert "counted from" not in line
    said = ok(capsys, "node-b/top", "--offset", "0.1", config=config)
    assert said.startswith("node-b/top: reads 0.10 K higher from now on; ")
    for wide in ("0.9K", "-1.7K"):  # in all more than a sensor is off as a rule
        code, _, err = typed(capsys, "calibrate", PROBE, "--offset", wide, config=config)
        assert (code, "more than 1 K, expected --sure" in err) == (2, True)
