"""What is installed side by side fits together: the node's settings, the sample configuration, the broker's files, the unit, README."""

from __future__ import annotations

import configparser
import re
import runpy
import tomllib
from pathlib import Path
from typing import Any

from monitor.app import DOOR_NAME
from monitor.cli.frame import DEFAULT_CONFIG
from monitor.settings import Settings
from monitor.shown.now.health import TIMER
from tests.walk import FOUND_IN, commands

ROOT = Path(__file__).resolve().parents[1]
DEPLOY = ROOT / "deploy"
SETTINGS: dict[str, Any] = runpy.run_path(str(ROOT / "firmware_stub" / "settings.py"))
SAMPLE = Settings.model_validate(tomllib.loads((DEPLOY / "eggroom.toml").read_text(encoding="utf-8")))
CONF = dict(
    line.split(maxsplit=1)
    for line in (DEPLOY / "mosquitto.conf").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
)
README = (ROOT / "README.md").read_text(encoding="utf-8")
STEPS = [line for block in commands(README) for line in block]


def unit(name: str = "eggroom.service", section: str = "Service") -> configparser.SectionProxy:
    """[Service], or another section, of a unit file."""
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read(DEPLOY / name)
    return parser[section]


def test_a_node_as_shipped_is_heard_by_the_sample() -> None:
    """Site, root, port, node, probes and interval of the node's settings are those that the sample configuration expects."""
    assert SETTINGS["SITE"] == SAMPLE.site.id
    assert SETTINGS["ROOT"] == SAMPLE.broker.root
    assert SETTINGS["BROKER_PORT"] == SAMPLE.broker.port
    watched = {(p.node, p.probe): p.interval_s for p in SAMPLE.probe}
    for name, *_ in SETTINGS["PROBES"]:
        assert watched[SETTINGS["NODE"], name] == SETTINGS["INTERVAL_MS"] / 1000


def test_the_broker_as_shipped_lets_both_in() -> None:
    """It asks for accounts: eggroom's by name and password file, a node's under its own name; both find their topics' root there."""
    assert CONF["allow_anonymous"] == "false"
    assert int(CONF["listener"]) == SAMPLE.broker.port
    access = (DEPLOY / "mosquitto.acl").read_text(encoding="utf-8").splitlines()
    assert f"user {SAMPLE.broker.username}" in access
    assert SAMPLE.broker.password_file is not None
    assert SETTINGS["BROKER_USER"] == SETTINGS["NODE"]
    rights = [line.split()[-1] for line in access if line.startswith(("topic", "pattern"))]
    assert rights
    assert {right.split("/")[0] for right in rights} == {SETTINGS["ROOT"]}
    assert int(CONF["max_keepalive"]) >= SETTINGS["KEEPALIVE_S"]


def test_the_unit_runs_what_the_steps_install() -> None:
    """Program, configuration, account and folder of the unit are those of README's steps and of the program's own defaults."""
    service = unit()
    program, *arguments = service["ExecStart"].split()
    assert arguments == ["run", "--config", DEFAULT_CONFIG]
    assert f"sudo ln -sf {program} /usr/local/bin/eggroom" in STEPS
    assert f"sudo cp deploy/eggroom.toml {DEFAULT_CONFIG}" in STEPS
    account = service["User"]
    assert service["Group"] == account
    (made,) = [line for line in STEPS if "useradd" in line]
    assert made.split()[-1] == account
    assert f'sudo usermod -aG {account} "$USER"' in STEPS
    folder = Path("/var/lib") / service["StateDirectory"]
    assert SAMPLE.site.data == folder
    assert f"--home-dir {folder} " in made
    assert len(str(folder / DOOR_NAME)) < 100


def test_archives_are_made_beside_the_daemon_and_not_in_it() -> None:
    """Once a day, as the same account, with the same configuration, in a unit with memory of its own that gives way to whoever watches."""
    daemon, archives = unit(), unit("eggroom-archive.service")
    program, *arguments = archives["ExecStart"].split()
    assert [program, arguments[-1]] == [daemon["ExecStart"].split()[0], DEFAULT_CONFIG]
    assert arguments[:-1] == ["archive", "--closed", "--config"]
    for same in ("User", "Group", "StateDirectory", "StateDirectoryMode", "UMask"):
        assert archives[same] == daemon[same]
    assert archives["Type"] == "oneshot"
    assert (archives["MemoryMax"], archives["MemorySwapMax"]) == ("400M", "0")
    assert int(archives["OOMScoreAdjust"]) > 0 > int(daemon["OOMScoreAdjust"])
    assert archives["OOMPolicy"] == "continue"  # the batches after one that needs too much are archived all the same
    timer = unit("eggroom-archive.timer", "Timer")
    assert (timer["OnCalendar"], timer["Persistent"]) == ("*-*-* 12:30", "true")
    assert unit("eggroom-archive.timer", "Install")["WantedBy"] == "timers.target"
    copied = [line for line in STEPS if line.startswith("sudo cp deploy/") and line.endswith(" /etc/systemd/system/")]
    assert len(copied) == 2  # at the set-up, and for a newer version
    for line in copied:
        for name in ("eggroom.service", "eggroom-archive.service", TIMER):
            assert f" deploy/{name} " in line
    assert STEPS.count(f"sudo systemctl enable --now {TIMER}") == 2


def test_the_steps_put_files_where_they_are_looked_for() -> None:
    """Each file that the broker's or our own configuration names is made by README's steps."""
    made = " ".join(STEPS)
    named = [CONF["password_file"], CONF["acl_file"], str(SAMPLE.broker.password_file)]
    named += re.findall(r'url_file = "(.*)"', (DEPLOY / "eggroom.toml").read_text(encoding="utf-8"))
    assert len(named) == 4
    for path in named:
        assert re.search(rf"sudo install .* {re.escape(path)}( |$)", made), path


def test_the_steps_come_whole_from_the_page() -> None:
    """The walk finds README's blocks of commands, as many as there are; one for another computer is none of the Pi's."""
    assert len(commands(README)) == README.count("\n```sh\n") >= 7
    assert FOUND_IN in README
    assert not any(line.startswith("scp") for line in STEPS)
    text = f"{FOUND_IN}\n```sh\none\ntwo\n```\n```sh on the other computer\nfour\n```\n## Next\n```sh\nfive\n```\n"
    assert commands(text) == [["one", "two"]]
