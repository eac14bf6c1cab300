"""Each command as a person, or a script, gives it: text and --json, exit codes, with and without a running daemon."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest

from monitor.cli.main import _parser, _when
from monitor.domain.needs.batch import Batch, declared
from monitor.service.watch.commands import batch_view
from monitor.settings import load_house
from monitor.shown.terminal import batch_table
from tests.receivers import HttpReceiver
from tests.running import (
    QUICK,
    ROOT,
    Node,
    Running,
    configure,
    eggroom,
    query,
    sample_configuration,
    set_days_ago,
    typed,
    until,
)
from tests.servers import Mosquitto

GOOD_C, HOT_C = 37.8, 39.5
Capture = pytest.CaptureFixture[str]


def commands() -> dict[str, Any]:
    """The parser of each command by its words, such as `batch add`."""

    def below(parser: Any) -> Any:
        return next((a.choices for a in parser._actions if a.__class__.__name__ == "_SubParsersAction"), None)

    found: dict[str, set[str]] = {}
    for name, parser in below(_parser()).items():
        verbs = below(parser)
        found |= {name: parser} if verbs is None else {f"{name} {verb}": sub for verb, sub in verbs.items()}
    return found


COMMANDS = commands()


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return configure(tmp_path, 1, site={"zone": "Europe/Berlin"})


def ok(capsys: Capture, *arguments: str, config: Path | None) -> str:
    """What a command prints; it must end with 0 and complain of nothing."""
    code, out, err = typed(capsys, *arguments, config=config)
    assert (code, err) == (0, ""), err
    return out


def told(capsys: Capture, *arguments: str, config: Path | None) -> Any:
    """The same as plain values, from --json."""
    return json.loads(ok(capsys, *arguments, "--json", config=config))


# --- the command line itself


@pytest.mark.parametrize("command", ["", "batch", "contact", *COMMANDS])
def test_each_command_explains_itself(capsys: Capture, command: str) -> None:
    """`--help` prints every option of the command and ends with 0."""
    code, out, err = typed(capsys, *command.split(), "--help")
    assert (code, err) == (0, "")
    assert f"usage: eggroom {command}".strip() in out
    if command in COMMANDS:
        for action in COMMANDS[command]._actions:
            assert all(option in out for option in action.option_strings)


def test_each_command_that_prints_data_takes_json() -> None:
    """Every command but the two that stay in the foreground takes --json."""
    without = {name for name, parser in COMMANDS.items() if "--json" not in parser._option_string_actions}
    assert without == {"demo", "run"}


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["hatch"],
        ["batch"],
        ["ack", "1"],
        ["ack", "one", "--by", "sam"],
        ["air", "--dry-bulb", "37C"],
        ["--verbose"],
    ],
)
def test_a_command_that_is_none(capsys: Capture, arguments: list[str]) -> None:
    """A command line that makes no sense is one line on standard error and exit 2."""
    code, out, err = typed(capsys, *arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("eggroom")
    assert "--help)" in err


def test_its_version(capsys: Capture) -> None:
    """`--version` prints the one in the package."""
    import monitor

    assert ok(capsys, "--version", config=None) == f"eggroom {monitor.__version__}\n"


@pytest.mark.parametrize("arguments", [["profiles"], ["profiles", "chicken"], ["--help"]])
def test_a_reader_that_has_seen_enough(arguments: Sequence[str]) -> None:
    """A pipe that is closed early ends the command with 0, and without a word."""
    process = subprocess.Popen(
        [sys.executable, "-m", "monitor", *arguments], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    process.stdout.close()
    assert process.wait(20) == 0
    assert process.stderr is not None
    assert process.stderr.read() == b""
    process.stderr.close()


def test_the_configuration_can_come_from_the_environment(config: Path, tmp_path: Path) -> None:
    """Without --config the file that EGGROOM_CONFIG names is read."""
    environment = os.environ | {"EGGROOM_CONFIG": str(config)}
    done = subprocess.run(
        [sys.executable, "-m", "monitor", "check"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=20,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith(f"{config}: good: 2 machines, 2 probes, 0 contacts, ")


# --- without a daemon, and without a record


@pytest.mark.parametrize(
    "arguments",
    [
        ["alarms"],
        ["batch", "list"],
        ["refused"],
        ["events"],
        ["history", "x"],
        ["rules"],
        ["batch", "show", "x"],
        ["backup", "b.db"],
    ],
)
def test_before_there_is_a_record(capsys: Capture, config: Path, arguments: list[str]) -> None:
    """What looks at the record says that there is none yet, with 1, and makes none."""
    code, out, err = typed(capsys, *arguments, config=config)
    assert (code, out) == (1, "")
    assert "no record yet, expected" in err
    assert not (config.parent / "record").exists()


def test_room_needs_the_daemon(capsys: Capture, config: Path) -> None:
    """`room` shows what is now, so it says that no daemon runs, with 1."""
    code, out, err = typed(capsys, "room", config=config)
    assert (code, out) == (1, "")
    assert "no daemon runs here" in err
    assert "expected `eggroom run`" in err


def test_check(capsys: Capture, config: Path) -> None:
    """`check` counts what it found good, and says when nobody is told."""
    assert "nobody is told: no [[contact]] yet" in ok(capsys, "check", config=config)
    found = told(capsys, "check", config=config)
    assert {key: found[key] for key in ("ok", "machines", "probes", "contacts")} == {
        "ok": True,
        "machines": 2,
        "probes": 2,
        "contacts": 0,
    }


def test_the_sample_configuration_is_good(capsys: Capture, tmp_path: Path) -> None:
    """The sample in deploy/ passes `check`, once the broker's password is where it says."""
    assert "good: 4 machines, 4 probes" in ok(capsys, "check", config=sample_configuration(tmp_path))


def test_air_in_both_units(capsys: Capture) -> None:
    """`air` prints °C and °F side by side, and takes either; from RH, wet bulb or dew point comes the same air."""
    text = ok(capsys, "air", "--dry-bulb", "37.5C", "--rh", "55", config=None)
    assert "37.50 °C     99.50 °F" in text
    assert ok(capsys, "air", "--dry-bulb", "99.5F", "--rh", "55", config=None) == text
    from_rh = told(capsys, "air", "--dry-bulb", "37.5C", "--rh", "55", "--elevation", "120", config=None)
    wet = told(
        capsys,
        "air",
        "--dry-bulb",
        "37.5C",
        "--wet-bulb",
        f"{from_rh['wet_bulb_c']}C",
        "--elevation",
        "120",
        config=None,
    )
    dew = told(
        capsys,
        "air",
        "--dry-bulb",
        "37.5C",
        "--dew-point",
        f"{from_rh['dew_point_c']}C",
        "--elevation",
        "120",
        config=None,
    )
    wick = told(capsys, "air", "--dry-bulb", "37.5C", "--rh", "55", "--wick", "8e-4", config=None)
    assert wet["rh_pct"] == pytest.approx(55.0, abs=1e-6)
    assert dew["rh_pct"] == pytest.approx(55.0, abs=1e-6)
    assert wick["wick_wet_bulb_c"] > wick["wet_bulb_c"]
    assert from_rh.keys() == wet.keys() == wick.keys() == {
        "dry_bulb_c", "rh_pct", "wet_bulb_c", "wick_wet_bulb_c", "wick_coefficient_per_k", "dew_point_c", "vapour_kpa",
        "deficit_kpa", "humidity_ratio", "absolute_humidity_g_m3", "pressure_kpa", "elevation_m",
    }  # fmt: skip


def test_profiles(capsys: Capture, tmp_path: Path) -> None:
    """`profiles` lists the species, one of them with its sources; --own adds the breeder's."""
    assert "chicken " in ok(capsys, "profiles", config=None)
    one = told(capsys, "profiles", "chicken", config=None)
    assert one["lockdown_day"] == 18
    assert [stage["name"] for stage in one["stages"]] == ["setter", "lockdown"]
    assert one["sources"]["stage.setter.dry_bulb_c.high_alarm"] == "MSU-HMG"
    assert "MSU-HMG" in ok(capsys, "profiles", "chicken", config=None)
    own = tmp_path / "own.toml"
    own.write_text('id = "my-line"\nbased_on = "chicken"\nlockdown_day = 17.5\n')
    assert told(capsys, "profiles", "my-line", "--own", str(own), config=None)["lockdown_day"] == 17.5


def test_rules(capsys: Capture, tmp_path: Path) -> None:
    """`rules` shows what is in force for each machine, or for one, with the eggs in it, and whose number each is."""
    own = {"dry-bulb-low-alarm": {"on_delay_s": 120}, "node-offline": {"re_alarm_s": 600}}
    config = configure(tmp_path, 1, rules=own, site={"profiles": "own.toml"})
    line = 'id = "my-line"\nbased_on = "chicken"\n[rules.dry-bulb-low-alarm]\ndeadband = 0.1\n'
    (tmp_path / "own.toml").write_text(line, encoding="utf-8")
    add = ["batch", "add", "hen-1", "--species", "my-line", "--machine", "setter-1", "--set", set_days_ago(5)]
    ok(capsys, *add, config=config)
    view = told(capsys, "rules", config=config)
    assert [machine["machine"] for machine in view["machines"]] == ["setter-1", "hatcher-1"]
    rules = {row["rule"]: row for row in view["machines"][0]["rules"]}
    heat, cold = rules["dry-bulb-high-alarm"], rules["dry-bulb-low-alarm"]
    assert (heat["priority"], heat["limit"], heat["limit_from"]) == ("critical", 38.9, ["hen-1"])
    assert (cold["origins"]["on_delay_s"], cold["origins"]["deadband"]) == ("site", "profile my-line")
    assert {row["rule"] for row in view["site"]} == {"node-offline", "all-silent", "record-damaged"}
    text = ok(capsys, "rules", "setter-1", config=config)
    assert "Setter 1 (hen-1)" in text
    assert "Hatcher 1" not in text
    assert "on: site" in text
    assert "dead: profile my-line" in text
    code, out, err = typed(capsys, "rules", "cellar", config=config)
    assert (code, out) == (2, "")
    assert err == "eggroom: machine 'cellar': no such machine, expected one of: setter-1, hatcher-1\n"
    shown = ok(capsys, "profiles", "my-line", "--own", str(tmp_path / "own.toml"), config=None)
    assert "dry-bulb-low-alarm       deadband         0.1      own" in shown


def test_a_batch_from_setting_to_closing(capsys: Capture, config: Path) -> None:
    """Without a daemon a batch is set, moved, declared, listed, shown and closed on the record itself."""
    add = [
        "batch",
        "add",
        "hen-1",
        "--species",
        "chicken",
        "--machine",
        "setter-1",
        "--set",
        set_days_ago(17),
        "--eggs",
        "24",
    ]
    assert (
        ok(capsys, *add, "--note", "from the old hens", config=config)
        == "batch hen-1: chicken, day 17.0, in setter-1\n"
    )
    moved = told(capsys, "batch", "move", "hen-1", "hatcher-1", config=config)
    assert (moved["machine"], len(moved["stays"])) == ("hatcher-1", 2)
    assert (
        ok(capsys, "batch", "stage", "hen-1", "lockdown", config=config) == "batch hen-1: lockdown declared, day 17.0\n"
    )
    rows = told(capsys, "batch", "list", config=config)
    assert [row.keys() for row in rows] == [
        {
            "id",
            "profile",
            "set_at",
            "day",
            "eggs",
            "numbers",
            "split_from",
            "note",
            "machine",
            "stays",
            "declared",
            "closed_at",
        }
    ]
    assert "hen-1            chicken             17.0  lockdown     24  hatcher-1" in ok(
        capsys, "batch", "list", config=config
    )
    shown = ok(capsys, "batch", "show", "hen-1", config=config)
    assert "from the old hens" in shown
    assert shown.count("lockdown") == 1  # that it was declared; the day that the profile gives is past
    assert "  lockdown declared" in shown
    one = told(capsys, "batch", "show", "hen-1", config=config)
    assert one.pop("development")["hours_recorded"] == 0.0
    assert one | {"day": 0} == rows[0] | {"day": 0}
    assert ok(capsys, "batch", "close", "hen-1", config=config) == "batch hen-1: closed on day 17.0; its record stays\n"
    assert "no open batch" in ok(capsys, "batch", "list", config=config)
    assert [row["id"] for row in told(capsys, "batch", "list", "--all", config=config)] == ["hen-1"]
    assert ok(capsys, "alarms", config=config) == "nothing: every alarm is normal\n"
    assert told(capsys, "alarms", config=config) == []


@pytest.mark.parametrize("second", [0, 1, 20, 41, 42, 43])
def test_a_stage_shows_as_soon_as_it_is_declared(second: int) -> None:
    """`batch list` shows a declared stage from its very second on, at whatever fraction of a day that is."""
    at = datetime(2026, 3, 18, 6, 0, second, tzinfo=UTC)
    batch = declared(Batch("hen-1", "chicken", datetime(2026, 3, 1, 6, 0, tzinfo=UTC)), "lockdown", at)
    site = load_house(ROOT / "deploy" / "eggroom.toml").site
    assert " lockdown " in batch_table([batch_view(batch, at)], site, at)


@pytest.mark.parametrize(
    ("given", "utc"),
    [
        ("2026-07-01T18:00Z", "2026-07-01T18:00:00Z"),
        ("2026-07-01T18:00+09:30", "2026-07-01T08:30:00Z"),
        ("2026-07-01T18:00", "2026-07-01T16:00:00Z"),  # summer time in Berlin
        ("2026-01-15T18:00", "2026-01-15T17:00:00Z"),  # winter time
        ("2026-01-15 18:00:30", "2026-01-15T17:00:30Z"),
        ("2026-01-15", "2026-01-14T23:00:00Z"),
    ],
)
def test_times_as_people_write_them(given: str, utc: str) -> None:
    """A time with an offset is that instant; without one it is the wall clock of the site; a date is its midnight."""
    assert datetime.fromisoformat(_when(given, ZoneInfo("Europe/Berlin"))) == datetime.fromisoformat(utc)


def test_the_wall_clock_is_that_of_the_site(capsys: Capture, config: Path) -> None:
    """What a person reads off the wall in the house's zone is what `batch add` takes and `batch show` shows."""
    wall = (datetime.now(ZoneInfo("Europe/Berlin")) - timedelta(days=3)).replace(second=0, microsecond=0)
    set_at = wall.replace(tzinfo=None).isoformat(timespec="minutes")
    batch = told(capsys, "batch", "add", "b", "--species", "chicken", "--set", set_at, config=config)
    assert datetime.fromisoformat(batch["set_at"]) == wall
    assert f"set {wall:%d %b %H:%M}, day 3.0" in ok(capsys, "batch", "show", "b", config=config)


def test_a_closed_batch_is_as_old_as_it_became(capsys: Capture, config: Path) -> None:
    """`batch show` tells on which day a batch was closed, not how old it would be today."""
    now = datetime.now(UTC)
    at, end = (f"{now - timedelta(days=days):%Y-%m-%dT%H:%MZ}" for days in (9, 5))
    told(capsys, "batch", "add", "b", "--species", "chicken", "--set", at, config=config)
    told(capsys, "batch", "close", "b", "--at", end, config=config)
    assert "closed on day 4.0" in ok(capsys, "batch", "show", "b", config=config).splitlines()[0]


def test_what_was_said_by_mistake(capsys: Capture, config: Path) -> None:
    """A stage is taken back, a closed batch opened again, each in one line; what there is nothing of to unsay is refused."""
    told(capsys, "batch", "add", "b", "--species", "chicken", "--machine", "setter-1", config=config)
    ok(capsys, "batch", "stage", "b", "lockdown", config=config)
    assert (
        ok(capsys, "batch", "stage", "b", "lockdown", "--take-back", config=config)
        == "batch b: lockdown taken back, day 0.0\n"
    )
    ok(capsys, "batch", "close", "b", config=config)
    assert ok(capsys, "batch", "reopen", "b", config=config) == "batch b: open again, day 0.0, in setter-1\n"
    code, _, err = typed(capsys, "batch", "reopen", "b", config=config)
    assert (code, err) == (2, "eggroom: batch b: open, expected a closed batch\n")


def test_now_is_now(capsys: Capture, config: Path) -> None:
    """Without --set, and with `--set now`, incubation begins now."""
    for name, more in (("a", []), ("b", ["--set", "now"])):
        set_at = told(capsys, "batch", "add", name, "--species", "chicken", *more, config=config)["set_at"]
        assert abs(datetime.now(UTC) - datetime.fromisoformat(set_at)) < timedelta(seconds=10)


def test_contacts_are_masked(capsys: Capture, tmp_path: Path) -> None:
    """`contact list` shows who is told and by which kind of service, not the address."""
    config = configure(tmp_path, 1, contact="ntfys://s3cret-topic")
    assert ok(capsys, "contact", "list", config=config).split() == ["sam", "Sam", "ntfys://…"]
    assert told(capsys, "contact", "list", config=config) == [{"id": "sam", "name": "Sam", "service": "ntfys"}]


def test_contact_test_reaches_the_phone(capsys: Capture, tmp_path: Path) -> None:
    """`contact test` sends one message at once, with or without a daemon, and says that accepted is not heard."""
    with HttpReceiver() as phone:
        config = configure(tmp_path, 1, contact=phone.url())
        assert "Accepted is not heard" in ok(capsys, "contact", "test", "sam", config=config)
        assert told(capsys, "contact", "test", "sam", config=config) == {"contact": "sam", "accepted": True}
        assert [message["title"] for message in phone.got] == ["eggroom: test"] * 2


def test_replay(capsys: Capture) -> None:
    """`replay` prints the timeline of a recording, the same each time, as text or JSON."""
    config = ROOT / "demo_streams" / "power-cut.toml"
    file = str(ROOT / "demo_streams" / "power-cut.jsonl")
    assert ok(capsys, "replay", file, config=config) == (ROOT / "demo_streams" / "power-cut.timeline").read_text()
    assert told(capsys, "replay", file, config=config).keys() == {
        "about",
        "readings",
        "refused",
        "transitions",
        "notices",
    }


def test_replay_under_other_rules(capsys: Capture, tmp_path: Path) -> None:
    """`replay --rules` sets what would have rung against what rang, as text within 80 columns or JSON; a bad file is one line, exit 2."""
    config = ROOT / "demo_streams" / "power-cut.toml"
    file = str(ROOT / "demo_streams" / "power-cut.jsonl")
    rules = tmp_path / "rules.toml"
    rules.write_text("[rules.all-silent]\non_delay_s = 86400\n")
    text = ok(capsys, "replay", file, "--rules", str(rules), config=config)
    assert max(map(len, text.splitlines())) <= 80
    assert text.splitlines()[-1].startswith("With the new rules 1 alarm would not have rung")
    plain = told(capsys, "replay", file, "--rules", str(rules), config=config)
    assert plain.keys() == {"span_s", "episodes", "old", "new", "words"}
    assert plain["words"] == text.splitlines()[-1]
    rules.write_text("[rules.all-silent]\non_delay_s = 'long'\n")
    code, out, err = typed(capsys, "replay", file, "--rules", str(rules), config=config)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "rules: all-silent.on_delay_s: 'long', expected a number" in err


def test_replay_reads_nodes_of_other_makes(capsys: Capture, tmp_path: Path) -> None:
    """A recording is decoded as live messages are, by the configuration's [[payload]] rules too."""
    rule = '[[payload]]\ntopic = "shed/+/climate"\nnode = "{2}"\nprobe = "top"\ndry_bulb = "/t"\nunit = "F"\n'
    config = configure(tmp_path, 1, more=rule)
    lines: list[dict[str, Any]] = [{"recording": "x", "site": "elsewhere"}]
    lines += [
        {"at": f"2026-03-01T06:00:{s}Z", "topic": "shed/node-a/climate", "payload": '{"t":99.5}'} for s in (10, 20)
    ]
    lines += [{"at": "2026-03-01T06:01:00Z", "topic": "eggroom/elsewhere/node-a/status", "payload": "\ud800"}]
    recording = tmp_path / "r.jsonl"
    recording.write_text("".join(json.dumps(line) + "\n" for line in lines))
    timeline = told(capsys, "replay", str(recording), config=config)
    assert (timeline["readings"], timeline["refused"]) == (2, 1)


def test_a_slip_of_years_in_a_recording(capsys: Capture, tmp_path: Path, config: Path) -> None:
    """A time years after the line above is a mistake of the recording, exit 2, and not hours of silence to play."""
    recording = tmp_path / "r.jsonl"
    recording.write_text(
        '{"recording":"x"}\n{"at":"2026-03-01T06:00:00Z","do":"room"}\n{"at":"2062-03-01T06:00:00Z","do":"end"}\n'
    )
    code, _, err = typed(capsys, "replay", str(recording), config=config)
    assert code == 2
    assert "line 3: at 2062-03-01T06:00:00Z, expected within 120 days" in err


# --- with a daemon


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The configuration of a running daemon: hen-1 in setter-1 is too hot, setter-1 was right before."""
    folder = tmp_path_factory.mktemp("house")
    rules = {"dry-bulb-high-alarm": QUICK, "dry-bulb-high-warning": {"on_delay_s": 3600}}
    with Mosquitto() as broker, HttpReceiver() as phone:
        config = configure(folder, broker.port, contact=phone.url(), rules=rules, site={"unit": "F"})
        with Running(config) as daemon, Node(broker.port) as node:
            daemon.ask(
                do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5), eggs=24
            )
            node.send(*[GOOD_C] * 10, *[HOT_C] * 10, rh_pct=55.0)
            until(lambda: query(config, "SELECT count(*) FROM reading") == [(20,)], "not stored")
            until(lambda: query(config, "SELECT count(*) FROM notice WHERE state = 'sent'") == [(1,)], "not told")
            yield config


def test_room(capsys: Capture, house: Path) -> None:
    """`room` shows each machine against what its eggs need, in the site's unit, and what is wrong."""
    text = ok(capsys, "room", config=house)
    assert "Setter 1 (hen-1 day 5 setter)" in text
    assert "103.1 °F   2.5 over, band 99.5 to 100.6" in text
    assert "! No. 1 Setter 1: too hot, 103.1 °F," in text
    assert "Hatcher 1 (empty)" in text
    room = told(capsys, "room", config=house)
    assert room.keys() == {"machines", "others"}
    assert room["machines"][0].keys() == {
        "machine", "name", "kind", "at", "probes", "batches", "bands", "eggs", "handling_until", "settling_until", "alarms",
    }  # fmt: skip


def test_closed_batches_are_not_said_to_be_missing(capsys: Capture, config: Path) -> None:
    """Where every batch is closed `batch list` says so, and how to see them."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", config=config)
    ok(capsys, "batch", "close", "hen-1", config=config)
    assert "no open batch; 1 closed: eggroom batch list --all" in ok(capsys, "batch", "list", config=config)
    assert "hen-1" in ok(capsys, "batch", "list", "--all", config=config)


def test_handling(capsys: Capture, config: Path) -> None:
    """`handling` says until when a machine is worked at, and ends it; without a time, or for too long, it says what was expected."""
    said = ok(capsys, "handling", "setter-1", "--for", "20m", "--by", "sam", config=config)
    assert said == "setter-1: handling declared for 20 min\n"
    found = told(capsys, "handling", "setter-1", "--done", config=config)
    assert found.keys() == {"machine", "did", "until", "shelved"}
    assert found["did"] == "done"
    for arguments, expected in (
        ((), "expected either --for TIME or --done"),
        (("--for", "20m", "--done"), "expected either --for TIME or --done"),
        (("--for", "3h"), "180 min, expected more than 0 and at most 60 min"),
    ):
        code, out, err = typed(capsys, "handling", "setter-1", *arguments, config=config)
        assert (code, out) == (2, "")
        assert expected in err


def test_events(capsys: Capture, house: Path) -> None:
    """`events` tells what else happened, oldest first, as text and as values; before there is a record it says so."""
    text = ok(capsys, "events", config=house)
    assert "batch hen-1: set: chicken" in text
    assert "connected" in text
    newest = told(capsys, "events", "--limit", "1", config=house)
    assert [event.keys() for event in newest] == [{"at", "kind", "subject", "text"}]


def test_alarms(capsys: Capture, house: Path) -> None:
    """`alarms` shows what stands with the first act and how to answer; --all every transition; --json the same as values."""
    text = ok(capsys, "alarms", config=house)
    assert text.startswith("[critical] No. 1 Setter 1: too hot, 103.1 °F,")
    assert "Open the machine, switch its heater off." in text
    assert "eggroom ack NUMBER --by NAME" in text
    assert told(capsys, "alarms", config=house)[0].keys() == {
        "number", "subject", "rule", "state", "since", "ended", "quantity", "about", "value", "worst", "limit",
        "shelved_until", "suppressed",
    }  # fmt: skip
    assert "No. 1 Setter 1: too hot: unacknowledged (beyond its limit)" in ok(capsys, "alarms", "--all", config=house)
    assert told(capsys, "alarms", "--all", config=house)[0].keys() == {
        "at", "number", "subject", "rule", "from", "to", "cause", "value", "worst", "limit", "who",
    }  # fmt: skip


def test_a_shelf_is_bounded(capsys: Capture, house: Path) -> None:
    """A critical alarm is shelved for at most 15 min; off the shelf it is unacknowledged again; one not shelved says so."""
    code, _, err = typed(capsys, "shelve", "1", "--for", "2h", config=house)
    assert code == 2
    assert (
        err == "eggroom: alarm 1: shelve for 120 min, expected more than 0 and at most 15 min for priority critical\n"
    )
    assert "shelved until" in ok(capsys, "shelve", "1", "--for", "10m", "--by", "sam", config=house)
    assert told(capsys, "alarms", config=house)[0]["state"] == "shelved"
    assert ok(capsys, "unshelve", "1", config=house) == "alarm 1: unacknowledged\n"
    code, _, err = typed(capsys, "unshelve", "1", config=house)
    assert (code, err) == (2, "eggroom: alarm 1: unacknowledged, not shelved\n")


def test_history(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """`history` gives the same figures as text, as JSON and in a file for a spreadsheet."""
    assert "Environment history of batch hen-1" in ok(capsys, "history", "hen-1", config=house)
    file = tmp_path / "hen-1.csv"
    history = told(capsys, "history", "hen-1", "--csv", str(file), config=house)
    whole = history["whole"]["dry_bulb_c"]
    assert (whole["samples"], whole["max"], whole["min"]) == (20, HOT_C, GOOD_C)
    rows = [
        row
        for row in csv.DictReader(file.open(newline=""))
        if (row["kind"], row["stage"], row["quantity"]) == ("figures", "whole", "dry_bulb_c")
    ]
    assert [(row["good readings"], float(row["max (C or %RH)"])) for row in rows] == [("20", HOT_C)]


def test_history_as_a_page_and_a_calendar(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """`history --html` writes the page, `--ics` what is due, and both say so; neither leaves anything half written."""
    page, due = tmp_path / "hen-1.html", tmp_path / "hen-1.ics"
    said = ok(capsys, "history", "hen-1", "--html", str(page), "--ics", str(due), config=house)
    assert said.splitlines() == [f"{due}: written", f"{page}: written"]
    html = page.read_text(encoding="utf-8")
    assert html.startswith("<!doctype html>")
    assert "<h1>Environment history of batch hen-1</h1>" in html
    assert html.count("<svg") >= 5
    assert "DOSES" in ok(capsys, "history", "hen-1", config=house)
    events = icalendar.Calendar.from_ical(due.read_bytes()).walk("VEVENT")
    assert [str(event["SUMMARY"]) for event in events] == [
        "hen-1: weigh",
        "hen-1: candle and weigh",
        "hen-1: candle and weigh",
        "hen-1: weigh",
        "hen-1: lockdown",
        "hen-1: hatch",
    ]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["hen-1.html", "hen-1.ics"]


def test_a_calendar_before_there_is_any_air(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """Eggs that are in no machine yet have no history, and a calendar all the same."""
    ok(capsys, "batch", "add", "later-1", "--species", "chicken", config=config)
    due = tmp_path / "later-1.ics"
    assert ok(capsys, "history", "later-1", "--ics", str(due), config=config) == f"{due}: written\n"
    assert len(icalendar.Calendar.from_ical(due.read_bytes()).walk("VEVENT")) == 6
    code, _, err = typed(capsys, "history", "later-1", config=config)
    assert code == 1
    assert "in no machine yet" in err


def test_only_a_file_is_written(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """A folder or a device is refused in one line and stays what it is; a link leads to the file that is written."""
    device = tmp_path / "device"
    os.mkfifo(device)
    for place in (tmp_path, device):
        code, out, err = typed(capsys, "history", "hen-1", "--csv", str(place), config=house)
        assert (code, out) == (1, "")
        assert err == f"eggroom: {place}: not a file, expected one that can be written\n"
    assert device.is_fifo()
    link, file = tmp_path / "link.csv", tmp_path / "real.csv"
    link.symlink_to(file)
    ok(capsys, "history", "hen-1", "--csv", str(link), config=house)
    assert link.is_symlink()
    assert file.stat().st_size > 1000


def test_a_full_disk_behind_the_output(house: Path) -> None:
    """What cannot be printed is one line, and no traceback."""
    with Path("/dev/full").open("w") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "monitor", "history", "hen-1", "--config", str(house)],
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (
        1,
        "eggroom: output: No space left on device, expected that it can be written\n",
    )


def test_history_exposures(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """`history --exposures` prints the published table for the species, with both sides; as values with --json; not into a file."""
    text = ok(capsys, "history", "hen-1", "--exposures", config=house)
    assert text.startswith("Published exposures of eggs to heat and cold, for Chicken (21 days)\n")
    assert "\n    but " in text
    views = told(capsys, "history", "hen-1", "--exposures", config=house)
    assert {"id", "temp_c", "hours", "day", "harm", "citation", "disagrees_with"} <= set(views[0])
    code, _, err = typed(capsys, "history", "hen-1", "--exposures", "--csv", str(tmp_path / "x"), config=house)
    assert (code, err) == (
        2,
        "eggroom: history: --exposures is a table of its own, expected it without --csv and --html\n",
    )


def test_a_backup_while_it_runs(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """`backup` gives one file that opens by itself, is sound and holds the rows; a second one replaces it."""
    file = tmp_path / "copy.db"
    for _ in range(2):
        said = told(capsys, "backup", str(file), config=house)
        assert said == {"file": str(file), "bytes": file.stat().st_size}
        connection = sqlite3.connect(file)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("SELECT count(*) FROM reading").fetchone() == (20,)
        assert connection.execute("SELECT count(*) FROM batch").fetchone() == (1,)
        connection.close()
    assert [path.name for path in tmp_path.iterdir()] == ["copy.db"]
    (tmp_path / "again" / "record").mkdir(parents=True)
    shutil.copy(file, tmp_path / "again" / "record" / "eggroom.db")
    again = configure(tmp_path / "again", 1)
    assert [row["id"] for row in told(capsys, "batch", "list", config=again)] == ["hen-1"]


def test_refused(capsys: Capture, house: Path) -> None:
    """`refused` says so when there was nothing that was not understood."""
    assert ok(capsys, "refused", config=house) == "0 messages refused\n"
    assert told(capsys, "refused", config=house) == {"refused_total": 0, "newest": [], "unknown_probes": []}


def test_doctor(capsys: Capture, house: Path) -> None:
    """`doctor` looks at everything, one line each, and ends with 1 when something is bad: here a hatcher nobody has heard."""
    code, out, err = typed(capsys, "doctor", config=house)
    assert (code, err) == (1, "")
    assert "BAD probes: silent: node-b/top\n" in out
    assert out.endswith("1 to look at\n")
    assert re.search(r"^(ok |BAD) clock: \d\d [A-Z][a-z]{2} \d{4} \d\d:\d\d: ", out, re.MULTILINE)
    code, out, _ = typed(capsys, "doctor", "--json", config=house)
    facts = json.loads(out)
    assert [check["what"] for check in facts["checks"]] == [
        "eggroom", "configuration", "clock", "daemon", "broker", "store", "probes", "notices", "record", "disk", "contact sam",
    ]  # fmt: skip
    assert facts["daemon"]["messages"] == 20


def test_answering(house: Path) -> None:
    """`ack` in a process of its own: answered once, a second time there is nothing to acknowledge; the record says who."""
    assert eggroom("ack", "1", "--by", "sam", config=house).stdout == "alarm 1: acknowledged by sam; now acknowledged\n"
    again = eggroom("ack", "1", "--by", "kim", config=house)
    assert (again.returncode, again.stderr) == (2, "eggroom: alarm 1: acknowledged, nothing to acknowledge\n")
    who = query(house, "SELECT who FROM transition WHERE state = 'acknowledged'")
    assert who == [("sam",)]
