"""The command line itself: what it says of its commands, and what each says before there is a record."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from monitor.adapters.clock import forward_s
from monitor.adapters.door import Door
from monitor.app import door_path, store_path
from monitor.cli import main
from monitor.settings import load_house
from tests.cli.commands import COMMANDS, Capture, ok
from tests.running import ROOT, typed


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


def test_eggroom_alone(capsys: Capture, config: Path) -> None:
    """What needs attention and what is due next, as `eggroom now`."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--set", "-10d", config=config)
    code, out, err = typed(capsys, "now", config=config)
    assert (code, err) == (1, "")
    assert out.startswith("NOBODY IS WATCHING: ")
    assert "\n\nNothing stood.\n\nhen-1: candle and weigh, " in out
    done = subprocess.run(
        [sys.executable, "-m", "monitor"], cwd=ROOT, env=os.environ | {"EGGROOM_CONFIG": str(config)}, capture_output=True, text=True, timeout=20, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (1, out, "")
    data = json.loads(typed(capsys, "now", "--json", config=config)[1])
    assert data["alarms"] == []
    assert [due["what"] for due in data["due"]] == ["hen-1: candle and weigh"]


def test_a_look_again_is_due_too(capsys: Capture, config: Path) -> None:
    """What somebody asked to be reminded of stands among what comes, in order of time; what was answered does not."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--set", "-10d", config=config)
    for egg, hours in (("7", "3h"), ("9", "2h")):
        ok(capsys, "egg", "look-again", "hen-1", egg, "--in", hours, "weak", config=config)
    ok(capsys, "egg", "outcome", "hen-1", "7", "removed", "--why", "clear", config=config)
    data = json.loads(typed(capsys, "now", "--json", config=config)[1])
    assert [due["what"] for due in data["due"]] == ["hen-1 egg 9: look again", "hen-1: candle and weigh"]
    assert "\nhen-1 egg 9: look again, " in typed(capsys, "now", config=config)[1]


def test_what_has_begun_is_not_told_as_to_come(capsys: Capture, config: Path) -> None:
    """A hatch goes on for days: since when, and to when; a weighing that falls due now has its hour alone."""
    for name, set_ in (("hen-1", "-21d"), ("hen-2", "-10m")):
        ok(capsys, "batch", "add", name, "--species", "chicken", "--machine", "setter-1", "--set", set_, config=config)
    out = " ".join(typed(capsys, "now", config=config)[1].split())
    assert re.search(
        r"hen-1: hatch, since \d\d \w{3} \d\d:\d\d, to \d\d \w{3} \d\d:\d\d hen-2: weigh, since [^,]*$", out
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ["hatch"],
        ["batch"],
        ["ack"],
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


@pytest.mark.parametrize("arguments", [["--help"], ["--help", "run"]])
def test_all_commands_are_named(capsys: Capture, arguments: list[str]) -> None:
    """Where no command comes first, each there is is named, whatever noun is loaded."""
    code, out, _ = typed(capsys, *arguments)
    assert code == 0
    assert {words[0] for line in out.splitlines() if (words := line.split())} >= main.COMMANDS.keys()


@pytest.mark.parametrize("arguments", [["hatch"], ["hatch", "run"]])
def test_a_word_that_is_no_command(capsys: Capture, arguments: list[str]) -> None:
    """The nearest one is told, even before a word that is one; where none is near, all of them."""
    code, _, err = typed(capsys, *arguments)
    assert (code, err) == (
        2,
        f"eggroom: argument COMMAND: 'hatch', nearest batch or health, expected one of {len(main.COMMANDS)} (see eggroom --help)\n",
    )
    _, _, err = typed(capsys, "sing", *arguments[1:])
    assert err.startswith(f"eggroom: argument COMMAND: 'sing', expected one of: {', '.join(main.COMMANDS)} (see")


def test_its_version(capsys: Capture) -> None:
    """`--version` prints the one in the package."""
    import monitor

    assert ok(capsys, "--version", config=None) == f"eggroom {monitor.__version__}\n"


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


def test_ctrl_c_while_it_is_loaded(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Ended without a word, as later on."""

    def interrupted(noun: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(main, "_loaded", interrupted)
    assert typed(capsys, "alarms") == (130, "", "")


def test_a_daemon_of_before_an_upgrade_is_asked_for_nothing(capsys: Capture, config: Path) -> None:
    """It would write, and what it wrote could not be read: the first thing said is to restart it. Without one the record is brought up to date."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--eggs", "6", config=config)
    house = load_house(config)
    connection = sqlite3.connect(store_path(house))
    connection.execute("PRAGMA user_version = 10")
    connection.commit()
    connection.close()
    asked: list[object] = []

    def answer(request: Mapping[str, object], reply: Callable[[Mapping[str, object]], None]) -> None:
        asked.append(request)
        reply({})

    door = Door(door_path(house), answer, mono_s=forward_s)
    door.start()
    try:
        code, out, err = typed(capsys, "egg", "weigh", "hen-1", "1", "58.3", config=config)
    finally:
        door.stop()
    assert (code, out, asked) == (1, "", [])
    assert "The daemon that runs is of before the upgrade: sudo systemctl restart eggroom. Nothing was written." in err
