"""`eggroom replace`: what took the place of a probe, a node or a machine."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.record import Hangs
from tests.cli.commands import Capture
from tests.running import Node, Running, configure, query, set_days_ago, typed, until
from tests.servers import Mosquitto


@pytest.fixture
def broker() -> Iterator[Mosquitto]:
    """A real broker."""
    with Mosquitto() as server:
        yield server


def probes(config: Path) -> list[tuple[str, str]]:
    """(node, machine) as the file has them."""
    return [(p["node"], p["machine"]) for p in tomllib.loads(config.read_text())["probe"]]


def sites(config: Path) -> list[Any]:
    return query(config, "SELECT since_ms, json FROM site ORDER BY id")


def test_while_the_daemon_watches(tmp_path: Path, broker: Mosquitto, capsys: Capture) -> None:
    """The new sensor is heard at once, the machine's batch is its own, and nothing of the house of before is lost."""
    config = configure(tmp_path, broker.port)
    config.write_text("# mine\n" + config.read_text())
    with Running(config) as daemon, Node(broker.port, "node-c") as node:
        daemon.ask(do="batch-add", batch="hen-1", profile="chicken", set_at=set_days_ago(3), machine="setter-1")
        code, out, err = typed(capsys, "replace", "node-a/top", "node-c/top", config=config)
        assert (code, err) == (0, "")
        assert out.splitlines()[0] == (
            f"node-c/top is in the place of node-a/top, in {config} too; as it was before: {config}.before"
        )
        assert "node-c/top: not calibrated here" in out
        node.send(39.0)
        until(lambda: query(config, "SELECT 1 FROM reading"), "the new sensor is not heard")
        code, out, err = typed(capsys, "replace", "setter-1", "setter-9", "--air", "still", config=config)
        assert (code, err) == (0, "")
        assert "moved with it: hen-1" in out
        until(daemon.connected, "not again at the broker")
        room = daemon.ask(do="room")
        assert [(m["machine"], [b["batch"] for b in m["batches"]]) for m in room["machines"]] == [
            ("setter-9", ["hen-1"]),
            ("hatcher-1", []),
        ]
        assert "Traceback" not in daemon.log()
    assert probes(config) == [("node-c", "setter-9"), ("node-b", "hatcher-1")]
    assert config.read_text().startswith("# mine\n")
    assert probes(Path(f"{config}.before")) == [("node-c", "setter-1"), ("node-b", "hatcher-1")]
    assert [since is None for since, _ in sites(config)] == [True, False, False]


def test_without_a_daemon(config: Path, capsys: Capture) -> None:
    """The record is written all the same, as of when it was said to be; and it is said that nobody watches."""
    assert typed(capsys, "batch", "add", "hen-1", "--species", "chicken", "--set", "-3d", "--machine", "setter-1", config=config)[0] == 0  # fmt: skip
    code, out, err = typed(capsys, "replace", "node-a", "node-b", "--at", "-2h", config=config)
    assert code == 0
    assert out.startswith("node-a and node-b changed places")
    assert "NOBODY IS WATCHING" in err
    assert probes(config) == [("node-b", "setter-1"), ("node-a", "hatcher-1")]
    assert [since is None for since, _ in sites(config)] == [True, False]
    code, out, _ = typed(capsys, "replace", "node-a", "node-b", "--at", "-1h", "--json", config=config)
    assert code == 0
    told = json.loads(out)
    assert (told["was"], told["now"], told["moved"]) == ("node-a", "node-b", [])
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", told["since"])
    assert probes(config) == [("node-a", "setter-1"), ("node-b", "hatcher-1")]


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (["node-x/top", "node-c/top"], "not in the configuration"),
        (["setter-1", "hatcher-1"], "hatcher-1 is there already: eggroom batch move BATCH hatcher-1"),
        (["node-a/top", "node-c"], "expected a probe such as node-a/top"),
        (["node-a/top", "Node C/top"], "Node C"),
        (["setter-1", "Setter 9"], "Setter 9"),
        (["node-a", "node-c", "--air", "still"], "--air is a machine's"),
        (["setter-1", "setter-1"], "it is setter-1 already"),
        (["node-a", "node-c", "--at", "+2h"], "future"),
        (["setter-1", "setter-9", "--at", "-300d"], "is before it came to setter-1"),
    ],
)
def test_what_cannot_be_changes_nothing(config: Path, capsys: Capture, given: list[str], why: str) -> None:
    """The file and the record stay as they were; one line says why."""
    assert typed(capsys, "batch", "add", "hen-1", "--species", "chicken", "--set", "-3d", "--machine", "setter-1", config=config)[0] == 0  # fmt: skip
    before = config.read_text()
    code, out, err = typed(capsys, "replace", *given, config=config)
    assert (code, out) == (2, "")
    assert why in err
    assert config.read_text() == before
    assert sites(config) == []


def test_where_nobody_knows_whether_it_was_written(
    config: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A daemon that hangs may have done it: the file stays as it is to be, so that the next start finds no other house than the record has."""

    def hangs(*_: object) -> None:
        raise Hangs("it hangs")

    monkeypatch.setattr("monitor.cli.house.replace.ask", hangs)
    code, _, err = typed(capsys, "replace", "node-a", "node-c", config=config)
    assert (code, err) == (1, "eggroom: it hangs\n")
    assert probes(config) == [("node-c", "setter-1"), ("node-b", "hatcher-1")]


def test_a_file_that_is_not_ours_to_change(config: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """It says how it can be."""

    def refused(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("monitor.cli.house.replace.write_whole", refused)
    code, _, err = typed(capsys, "replace", "node-a", "node-c", config=config)
    assert code == 1
    assert "Permission denied, nothing was changed: sudo eggroom replace node-a node-c" in err
