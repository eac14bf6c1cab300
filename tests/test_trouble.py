"""Every trouble has its one line that says where, what came and what was expected, its exit code, no traceback and nothing half-written."""

from __future__ import annotations

import contextlib
import json
import os
import resource
import socket
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.adapters import door
from monitor.adapters.clock import forward_s
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.tables.profiles import load_profiles
from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.alarms.notice import Notice
from monitor.domain.state.record import Group
from monitor.service.ports import StoreFailure
from monitor.shown.now.alarms import START
from tests.bench.strict_broker import StrictBroker
from tests.cli.commands import NOBODY
from tests.receivers import HttpReceiver, free_port
from tests.running import (
    QUICK,
    SITE,
    Node,
    Running,
    Voice,
    another_account,
    configure,
    eggroom,
    query,
    set_days_ago,
    typed,
    until,
)
from tests.servers import Mosquitto, publish

CANARY = "s3cret-token"
GOOD_C, HOT_C = 37.8, 39.5


@pytest.fixture
def broker() -> Iterator[Mosquitto]:
    with Mosquitto() as running:
        yield running


def one_line(text: str, *words: str) -> None:
    """One line for a person, with these words in it."""
    assert text.startswith("eggroom: "), text
    assert text.count("\n") == 1, text
    for word in (*words, "expected"):
        assert word in text


def bad(facts: str) -> dict[str, str]:
    """What `eggroom health --json` found wrong, by what it looked at."""
    return {check["what"]: check["found"] for check in json.loads(facts)["checks"] if not check["good"]}


# --- the configuration

TWICE = '[[probe]]\nnode = "node-a"\nprobe = "top"\nmachine = "setter-1"\n'
UPSIDE_DOWN = 'id = "my-hen"\nbased_on = "chicken"\n[[stage]]\nname = "setter"\n[stage.dry_bulb_c]\nlow_alarm = 39.5\n'


@pytest.mark.parametrize("command", ["check", "run"])
@pytest.mark.parametrize(
    ("site", "more", "words"),
    [
        ({"elevation": 120}, "", ["eggroom.toml: line 4: site.elevation: unknown setting", "elevation_m"]),
        ({}, TWICE, ["probe node-a/top: named twice", "each probe once"]),
        ({"profiles": "own.toml"}, "", ["own.toml", "39.5"]),
        ({"zone": "Moon/Crater"}, "", ["site.zone: 'Moon/Crater'", "tz database"]),
        ({}, "[rules.too-hot]\npriority = 'high'\n", ["rules.too-hot: no such rule", "nearest egg-too-hot"]),
        ({}, "[rules.no-data]\non_delay_s = -1\n", ["no-data.on_delay_s: -1", "0 to 604800"]),
        ({}, "[[contact]]\nid = 'me'\nurl_file = 'nowhere'\n", ["contact me: url_file nowhere", "No such file"]),
        ({}, "[[payload]]\ntopic = 'a/#/b'\nnode = 'n'\nprobe = 'p'\ndry_bulb = '/t'\n", ["a/#/b"]),
        ({}, "nonsense", ["eggroom.toml", "expected TOML"]),
    ],
    ids=[
        "unknown key",
        "probe twice",
        "band upside down",
        "zone",
        "rule",
        "rule's number",
        "url_file",
        "filter",
        "TOML",
    ],
)
def test_a_wrong_configuration(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    command: str,
    site: dict[str, object],
    more: str,
    words: list[str],
) -> None:
    """A configuration that cannot be used is one line, exit 2, for `check` and for `run` alike; nothing is begun."""
    (tmp_path / "own.toml").write_text(UPSIDE_DOWN)
    config = configure(tmp_path, 1, site=site, more=more)
    code, out, err = typed(capsys, command, config=config)
    assert (code, out) == (2, "")
    one_line(err, *words)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["eggroom.toml", "own.toml"]


def test_every_mistake_is_told_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two mistakes in one file are two lines, so that mending one does not only uncover the next."""
    config = configure(tmp_path, 1, site={"zone": "Moon/Crater"}, more=TWICE)
    code, _, err = typed(capsys, "check", config=config)
    assert code == 2
    assert [line.split(": ")[3] for line in err.splitlines()] == ["probe node-a/top", "site.zone"]


def test_a_contact_that_the_library_does_not_know(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An address of no known service: `check` says so with 2, `contact test` and `health` with 1, none of them shows the secret."""
    config = configure(tmp_path, 1, contact=f"nosuch://{CANARY}/x")
    code, out, err = typed(capsys, "check", config=config)
    assert (code, out) == (2, "")
    one_line(err, "contact sam", "nosuch://***")
    code, out, err = typed(capsys, "contact", "test", "sam", config=config)
    assert (code, out) == (1, "")
    one_line(err, "contact sam: not sent", "nosuch://***")
    code, out, err = typed(capsys, "health", "--json", config=config)
    assert (code, err) == (1, "")
    assert "nosuch://***" in bad(out)["contact sam"]
    shown = [
        typed(capsys, *c, config=config)
        for c in (["check"], ["contact", "test", "sam"], ["contact", "list"], ["health"])
    ]
    assert CANARY not in str(shown)


SECRETS = """
[[contact]]
id = "sam"
url_file = "contact-sam"

[broker]
port = {port}
username = "eggroom"
password_file = "password"
"""


def test_secrets_of_the_daemon_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """An account that may not read the address and the broker's password works with the record all the same. `check` and what
    sends say who may not read them; `health` says it too, and is content where the running daemon has read them."""
    with another_account() as (account, folder), Mosquitto() as broker:
        config = configure(folder, broker.port, site={"data": str(folder / "record")})
        config.write_text(
            config.read_text().replace(f"[broker]\nport = {broker.port}", SECRETS.format(port=broker.port))
        )
        for name, secret in (("contact-sam", f"json://127.0.0.1/{CANARY}"), ("password", CANARY)):
            (folder / name).write_text(f"{secret}\n")
        (folder / "record").mkdir()
        (folder / "record").chmod(0o777)
        with Running(config):
            (folder / "record" / "eggroom.sock").chmod(0o777)
            may = [["batch", "list"], ["room"], ["contact", "list"], ["contact", "test", "sam"], ["check"], ["health"]]
            # Modules of theirs may be root's alone.
            told = [typed(capsys, *command, config=config)[2] for command in may]
            assert not any("may not read" in err for err in told)
            for name in ("contact-sam", "password"):
                (folder / name).chmod(0o000)
            with account:
                may_not = f"{account.name} may not read it, expected an account that may; the daemon's must"
                code, _, err = typed(capsys, "batch", "list", config=config)
                assert (code, err) == (0, "")
                code, out, err = typed(capsys, "room", config=config)
                assert (code, err) == (0, "")
                assert out.startswith("No reading: Setter 1")
                code, out, err = typed(capsys, "contact", "list", config=config)
                assert (code, out.split()[:2], err) == (0, ["sam", "sam"], "")
                assert "cannot be read here" in out
                code, out, err = typed(capsys, "contact", "test", "sam", config=config)
                assert (code, out) == (1, "")
                one_line(err, "contact sam: url_file contact-sam", may_not)
                code, out, err = typed(capsys, "check", config=config)
                assert (code, out) == (2, "")
                one_line(err, "contact sam: url_file contact-sam", may_not)
                _, out, _ = typed(capsys, "health", "--json", config=config)
                checks = {check["what"]: check for check in json.loads(out)["checks"]}
        for what, secret in (("contact sam", "address"), ("broker settings", "password")):
            assert checks[what]["good"]
            assert checks[what]["found"] == f"{account.name} may not read the {secret}; the running daemon has read it"
        with account:
            _, out, _ = typed(capsys, "health", "--json", config=config)
        assert {"contact sam", "broker settings"} <= bad(out).keys()


def test_a_node_that_names_another_site(tmp_path: Path, capsys: pytest.CaptureFixture[str], broker: Mosquitto) -> None:
    """A node of ours that speaks as another site is called by name in `health` and `refused`; one that nobody expects here is
    mentioned, and nothing is wrong with it."""
    config = configure(tmp_path, broker.port)
    for node in ("node-a", "node-x"):
        publish(broker.port, f"eggroom/barn/{node}/status", b"online", retain=True)
    with Running(config) as daemon:
        until(lambda: len(daemon.facts()["elsewhere"]) == 2, "the nodes were not noticed")
        _, out, _ = typed(capsys, "health", "--json", config=config)
        checks = {check["what"]: check for check in json.loads(out)["checks"]}
        until(lambda: query(config, "SELECT count(*) FROM refused") == [(2,)], "they are not among the refused")
        _, refused, _ = typed(capsys, "refused", config=config)
    said = "speaks, but as site 'barn', expected 'home'"
    assert bad(out)["node node-a"] == f"{said}; mend SITE in the node's settings, or id in [site] here"
    assert (checks["node node-x"]["good"], checks["node node-x"]["found"]) == (True, said)
    assert f"node-a {said}" in refused


def test_a_contact_that_does_not_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`contact test` to a service that is not there is one line and 1; to somebody unknown, 2."""
    config = configure(tmp_path, 1, contact=f"json://127.0.0.1:{free_port()}/{CANARY}")
    code, out, err = typed(capsys, "contact", "test", "sam", config=config)
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert err.startswith("eggroom: contact sam: not sent: ")
    assert CANARY not in err
    code, out, err = typed(capsys, "contact", "test", "kim", config=config)
    assert code == 2
    one_line(err, "contact 'kim': no such contact", "sam")


# --- what a person asks for


@pytest.fixture
def config(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    path = configure(tmp_path, 1, machines=("setter-1", "setter-2", "room-1"))
    at = set_days_ago(3)
    assert (
        typed(
            capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--set", at, config=path
        )[0]
        == 0
    )
    assert typed(capsys, "batch", "move", "hen-1", "setter-2", "--at", set_days_ago(1), config=path)[0] == 0
    return path


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["batch", "add", "b", "--species", "dodo"], ["batch b: unknown species 'dodo'", "chicken"]),
        (
            ["batch", "add", "b", "--species", "chicken", "--set", "2999-01-01"],
            ["batch b: set time 2999-01-01", "future"],
        ),
        (
            ["batch", "add", "b", "--species", "chicken", "--set", "0001-01-01T00:00+09:00"],
            ["time '0001-01-01T00:00+09:00'"],
        ),
        (["batch", "add", "b", "--species", "chicken", "--set", "noon"], ["time 'noon'", "2026-03-01T18:00"]),
        (["batch", "add", "b", "--species", "chicken", "--eggs", "0"], ["batch b: eggs 0", "1 to"]),
        (["batch", "add", "Hen 1", "--species", "chicken"], ["'Hen 1'", "a-z, 0-9 and -"]),
        (["batch", "add", "hen-1", "--species", "chicken"], ["batch hen-1: there is one by that name"]),
        (
            ["batch", "add", "b", "--species", "chicken", "--machine", "room-1"],
            ["room-1 is a room", "setter-1, setter-2"],
        ),
        (["batch", "move", "hen-1", "cellar"], ["batch hen-1: no machine 'cellar'", "setter-1, setter-2"]),
        (["batch", "move", "hen-1", "setter-2"], ["batch hen-1: already in setter-2"]),
        (["batch", "move", "hen-1", "setter-1", "--at", "2days"], ["time '2days'"]),
        (["batch", "move", "nobody", "setter-1"], ["batch 'nobody': no such batch", "hen-1"]),
        (["batch", "show", "nobody"], ["batch 'nobody': no such batch", "hen-1"]),
        (["history", "nobody"], ["batch 'nobody': no such batch", "hen-1"]),
        (["ack", "99", "--by", "sam"], ["alarm 99: no such alarm"]),
        (["shelve", "99", "--for", "soon"], ["time 'soon'", "20m"]),
        (["air", "--dry-bulb", "37.5", "--rh", "55"], ["'37.5'", "37.5C"]),
        (["air", "--dry-bulb", "37.5C", "--rh", "155"], ["155", "0 to 100"]),
        (["profiles", "dodo"], ["profile 'dodo': no such species", "chicken"]),
        (["replay", "nowhere.jsonl"], ["nowhere.jsonl: No such file"]),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) and value[0].isalpha() else "",
)
def test_a_wrong_request(
    config: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: list[str]
) -> None:
    """A request that cannot be met is one line and exit 2, and changes nothing in the record."""
    before = query(config, "SELECT * FROM batch"), query(config, "SELECT * FROM stay")
    lone = arguments[0] in ("air", "profiles")
    code, out, err = typed(capsys, *arguments, config=None if lone else config)
    assert (code, out) == (2, "")
    said = [
        line for line in err.splitlines() if NOBODY not in line and START not in line
    ]  # that nobody watches is told beside it
    assert len(said) == 1, err
    for word in words:
        assert word in err
    assert (query(config, "SELECT * FROM batch"), query(config, "SELECT * FROM stay")) == before


def test_a_batch_is_never_in_two_machines(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A move noted at a time when the batch was not yet where it is now is refused, and says when it came there."""
    code, _, err = typed(capsys, "batch", "move", "hen-1", "setter-1", "--at", set_days_ago(2), config=config)
    assert code == 2
    one_line(err, "batch hen-1", "before it came to setter-2", "cannot be in two machines at once")
    assert query(config, "SELECT machine, until_ms IS NULL FROM stay ORDER BY since_ms") == [
        ("setter-1", 0),
        ("setter-2", 1),
    ]


def test_a_csv_that_cannot_be_written(config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`history --csv` into a folder that is not there is one line and 1; into a full place it leaves no half of a file."""
    code, out, err = typed(capsys, "history", "hen-1", "--csv", str(tmp_path / "no" / "h.csv"), config=config)
    assert (code, out) == (1, "")
    one_line(err, f"{tmp_path}/no/h.csv: No such file or directory")
    (tmp_path / "taken").mkdir()
    code, out, err = typed(capsys, "history", "hen-1", "--csv", str(tmp_path / "taken"), config=config)
    assert (code, out) == (1, "")
    one_line(err, f"{tmp_path}/taken: not a file")
    assert not list(tmp_path.rglob("*.part"))


def test_a_backup_that_cannot_be_written(config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`backup` onto the record itself, also by somebody who is sure, into no folder or onto a folder is one line and 1, and harms nothing."""
    record = tmp_path / "record" / "eggroom.db"
    for target, sure, wanted in (
        (record, (), 1),
        (record, ("--sure",), 1),
        (tmp_path / "no" / "b.db", (), 1),
        (tmp_path / "record", (), 1),
    ):
        code, out, err = typed(capsys, "backup", str(target), *sure, config=config)
        assert (code, out, err.count("\n")) == (wanted, "", 1), err
        assert err.count(str(target)) == 1, err
    assert not list(tmp_path.rglob("*.part"))
    assert query(config, "PRAGMA integrity_check") == [("ok",)]


def test_a_record_that_cannot_be_written_now(
    config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A good request that cannot be made durable is one line and 1 (not 2: it was not wrong), with a daemon and without; `health`
    says that the daemon does not answer."""

    def full(self: SqliteLedger, group: Group) -> None:
        raise StoreFailure("database or disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(SqliteLedger, "commit", full)
        code, out, err = typed(capsys, "batch", "close", "hen-1", config=config)
    record = tmp_path / "record" / "eggroom.db"
    assert (code, out, err) == (1, "", f"eggroom: {record}: cannot be written now, nothing was changed\n")
    assert query(config, "SELECT closed_ms FROM batch") == [(None,)]
    monkeypatch.setattr(door, "ANSWER_S", 0.2)
    silent = door.Door(tmp_path / "record" / "eggroom.sock", lambda request, reply: None, mono_s=forward_s)
    silent.start()
    code, out, err = typed(capsys, "batch", "close", "hen-1", config=config)
    wrong = bad(typed(capsys, "health", "--json", config=config)[1])
    silent.stop()
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert "no answer within 0.2 s" in err
    assert "no answer within 0.2 s" in wrong["daemon"]


# --- starting


def test_a_port_in_use() -> None:
    """`demo --port` on a port where somebody listens is one line and 1."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = eggroom("demo", "--for", "3", "--port", str(port))
    assert done.returncode == 1
    one_line(done.stderr, str(port))


def test_a_second_daemon(tmp_path: Path, broker: Mosquitto) -> None:
    """A second daemon on the same record says who has it and ends with 1; the first does not notice."""
    config = configure(tmp_path, broker.port)
    with Running(config) as daemon, Node(broker.port) as node:
        done = eggroom("run", config=config)
        assert done.returncode == 1
        one_line(done.stderr, f"in use by process {daemon.pid}")
        node.send(*[GOOD_C] * 20)
        until(lambda: query(config, "SELECT count(*) FROM reading") == [(20,)], "the first daemon is disturbed")
        assert daemon.log().count("broker connected=") == 1


def test_a_record_of_a_newer_version(config: Path, tmp_path: Path) -> None:
    """A record made by a newer eggroom is left as it is: one line, exit 1."""
    record = tmp_path / "record" / "eggroom.db"
    with sqlite3.connect(record) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = record.read_bytes()
    for command in (["run"], ["batch", "list"], ["alarms"], ["batch", "close", "hen-1"]):
        done = eggroom(*command, config=config)
        assert done.returncode == 1
        one_line(done.stderr, "record of version 99, made by a newer eggroom")
    assert record.read_bytes() == before


@pytest.mark.parametrize(
    ("data", "why"), [("eggroom.toml/in", "Not a directory"), ("d" * 120, "too long for a socket")]
)
def test_a_data_folder_that_cannot_be(tmp_path_factory: pytest.TempPathFactory, data: str, why: str) -> None:
    """A data folder that cannot be made, or not hold the door, is one line and 1, for the daemon and for a request without one."""
    folder = tmp_path_factory.mktemp("f")  # a short name: only the long one may be too long for a socket
    config = configure(folder, 1, site={"data": data})
    for command in (["run"], ["batch", "add", "hen-1", "--species", "chicken"]):
        done = eggroom(*command, config=config)
        assert (done.returncode, done.stdout) == (1, "")
        one_line(done.stderr, data, why)
    assert [path.name for path in folder.iterdir()] == ["eggroom.toml"]


def test_a_broker_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The daemon runs without its broker, says so once however often it tries, `health` tells it; it connects when the broker comes."""
    port = free_port()
    config = configure(tmp_path, port)
    assert "connection refused" in bad(typed(capsys, "health", "--json", config=config)[1])["broker"]
    with Running(config, ready=False) as daemon:
        until(daemon.facts, "the daemon does not answer")
        time.sleep(3.5)  # nothing to poll for: it tries again after 1 s, then 2 s
        assert daemon.facts()["broker_connected"] is False
        code, out, _ = typed(capsys, "health", "--json", config=config)
        assert code == 1
        assert f"broker 127.0.0.1:{port}: connection refused, expected an MQTT broker" in bad(out)["broker"]
        with Mosquitto(port=port):
            until(daemon.connected, "it does not come up when the broker appears", 40.0)
            assert "broker" not in bad(typed(capsys, "health", "--json", config=config)[1])
            assert daemon.log().count("connected=False") == 1
            assert daemon.log().count("connected=True") == 1


# --- what comes over the wire

T = b'{"bn":"node-a/","n":"top/t","u":"Cel","v":37.5'
BAD_PAYLOADS = {
    "too large": (b"[" + T + b',"x":"' + b"x" * 9000 + b'"}]', "bytes, expected at most 8192"),
    "not a number": (b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":NaN}]', "nan, expected -80 to 150"),
    "infinite": (b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":-Infinity}]', "-inf, expected -80 to 150"),
    "infinite by size": (b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":1e999}]', "inf, expected -80 to 150"),
    "a key twice": (b"[" + T + b',"v":99}]', "label 'v' twice"),
    "nested": (b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":[[1]]}]', "top/t an array, expected one number"),
    "nested elsewhere": (b"[" + T + b',"x":{"y":1}}]', "an object in label 'x'"),
    "nested very deep": (b"[" * 4000 + b"]" * 4000, "expected"),
    "too many records": (b"[" + b",".join([b'{"n":"node-a/top/t","u":"Cel","v":1}'] * 100) + b"]", "100 records"),
    "a boolean": (b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":true}]', "true, expected one number"),
    "bad UTF-8": (b"[" + T + b',"x":"\xff\xfe"}]', "not UTF-8 at byte"),
    "another node's id": (
        b'[{"bn":"node-b/","n":"top/t","u":"Cel","v":37.5}]',
        "expected one that begins with node-a/",
    ),
    "another unit": (b'[{"bn":"node-a/","n":"top/t","u":"K","v":310.6}]', "expected Cel"),
    "out of range": (b'[{"bn":"node-a/","n":"top/rh","u":"%RH","v":17000000}]', "17000000, expected -10 to 120"),
    "boot alone": (b"[" + T + b',"boot":7}]', "expected both or neither"),
    "a huge number": (b"[" + T + b',"boot":7,"seq":99999999999999}]', "expected a whole number from 0"),
    "not JSON": (b"t=37.5", "not JSON"),
    "nothing": (b"", "not JSON"),
    "a bare number": (b"37.5", "expected an array of records"),
    "an empty pack": (b"[]", "0 records"),
}


def test_bad_payloads_block_nothing(tmp_path: Path, broker: Mosquitto, capsys: pytest.CaptureFixture[str]) -> None:
    """Every kind of bad payload, through the broker, ends in `eggroom refused` with its reason; what comes behind is stored, and a
    restart brings none of them again."""
    config = configure(tmp_path, broker.port)
    total = len(BAD_PAYLOADS) + 2
    goods = 40 - total % 20  # what makes the last group a whole one, which nobody has to wait for
    with Running(config) as daemon, Node(broker.port) as node:
        publish(broker.port, f"eggroom/{SITE}/node-a/air", *(payload for payload, _ in BAD_PAYLOADS.values()))
        publish(broker.port, f"eggroom/{SITE}/node-a/status", b"perhaps")
        publish(broker.port, f"eggroom/{SITE}/Node A/air", b"[]")
        node.send(*[GOOD_C] * goods)
        until(lambda: query(config, "SELECT count(*) FROM reading") == [(goods,)], "what came behind is not stored")
        code, out, _ = typed(capsys, "refused", "--limit", "100", "--json", config=config)
        text = typed(capsys, "refused", config=config)[1]
        assert daemon.facts()["refused"] == total
        assert daemon.terminate() == 0
    told = json.loads(out)
    assert (code, told["refused_total"]) == (0, total)
    reasons = [row["reason"] for row in reversed(told["newest"])]
    for (kind, (_, why)), reason in zip(BAD_PAYLOADS.items(), reasons, strict=False):
        assert why in reason, kind
        assert reason.startswith("node-a: "), kind
    assert reasons[-2].startswith("node-a: status ")
    assert reasons[-2].endswith("'perhaps', expected online or offline")
    assert reasons[-1].startswith(f"topic 'eggroom/{SITE}/Node A/air', expected eggroom/{SITE}/<node>/air")
    assert "messages refused, newest first:" in text
    with Running(config), Node(broker.port, boot=8) as node:
        node.send(*[GOOD_C] * 20)
        until(lambda: query(config, "SELECT count(*) FROM reading") == [(goods + 20,)], "not stored after the restart")
    assert json.loads(typed(capsys, "refused", "--json", config=config)[1])["refused_total"] == total


def test_a_probe_nobody_configured(tmp_path: Path, broker: Mosquitto, capsys: pytest.CaptureFixture[str]) -> None:
    """Its readings are kept aside and counted; `refused` offers it by name, with lines that make it known; `health` names it."""
    config = configure(tmp_path, broker.port)
    with Running(config), Node(broker.port, "node-x") as node:
        node.send(*[GOOD_C] * 20, probe="shelf")
        until(lambda: query(config, "SELECT count FROM unknown WHERE probe = 'node-x/shelf'") == [(20,)], "not counted")
        text = typed(capsys, "refused", config=config)[1]
        assert "unknown probes: node-x/shelf" in typed(capsys, "health", config=config)[1]
    assert query(config, "SELECT count(*) FROM reading") == [(0,)]
    offered = "".join(line.strip() + "\n" for line in text.partition("# heard 20 times")[2].splitlines()[1:])
    assert offered == '[[probe]]\nnode = "node-x"\nprobe = "shelf"\nmachine = "..."\n'
    with config.open("a") as file:
        file.write(offered.replace("...", "setter-1"))
    with Running(config), Node(broker.port, "node-x", boot=8) as node:
        node.send(*[GOOD_C] * 20, probe="shelf")
        until(
            lambda: query(config, "SELECT count(*) FROM reading") == [(20,)], "the offered lines do not make it known"
        )
        assert "node-x/shelf" not in typed(capsys, "refused", config=config)[1]
        assert "unknown probes" not in typed(capsys, "health", config=config)[1]


def test_a_record_that_is_not_for_us(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Typed by somebody without rights to the data folder, each command is one line and 1, and `health` says what it may not see."""
    looks = [["alarms"], ["batch", "list"], ["refused"], ["history", "hen-1"], ["room"]]
    # The program's own files may lie where nobody else can read (root's home): what they hold is read with rights.
    rules, profiles = shipped_rules(), dict(load_profiles())
    monkeypatch.setattr("monitor.settings.shipped_rules", lambda: dict(rules))
    monkeypatch.setattr("monitor.settings.load_profiles", lambda own=None: profiles)
    with tempfile.TemporaryDirectory() as name:  # not below pytest's own folder, which nobody else may enter
        folder = Path(name)
        folder.chmod(0o755)
        config = configure(folder, 1)
        assert typed(capsys, "batch", "add", "hen-1", "--species", "chicken", config=config)[0] == 0
        for command in (*looks, ["health"]):  # once with rights: what is imported late is imported now
            typed(capsys, *command, config=config)
        (folder / "record").chmod(0o000)
        root = os.geteuid() == 0
        try:
            if root:
                os.seteuid(65534)  # nobody
            for command in (*looks, ["batch", "close", "hen-1"]):
                code, out, err = typed(capsys, *command, config=config)
                assert (code, out) == (1, "")
                one_line(err, "Permission denied")
            wrong = bad(typed(capsys, "health", "--json", config=config)[1])
        finally:
            if root:
                os.seteuid(0)
            (folder / "record").chmod(0o700)
    assert "Permission denied" in wrong["daemon"]
    assert "Permission denied" in wrong["record"]


# --- neighbours that fail while it runs


def test_a_full_outbox(tmp_path: Path, broker: Mosquitto, capsys: pytest.CaptureFixture[str]) -> None:
    """With 500 notices waiting for a dead phone service, `health` says so, a medium one is cancelled with its reason in the record, and
    a critical one goes before them all."""
    (tmp_path / "record").mkdir()
    opened = open_writer(tmp_path / "record" / "eggroom.db")
    now = datetime.now(UTC) - timedelta(hours=1)
    waiting = [Notice(i, f"{i}/sam", "sam", "medium", f"old news {i}", "text", now, 9000 + i) for i in range(1, 501)]
    SqliteLedger(opened.connection).commit(Group(notices=waiting))
    opened.close()
    rules = {"humidity-low-alarm": QUICK, "dry-bulb-high-alarm": QUICK}
    with HttpReceiver("busy") as phone:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules=rules)
        with Running(config) as daemon, Node(broker.port) as node:
            daemon.ask(do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5))
            assert "500 for sam" in bad(typed(capsys, "health", "--json", config=config)[1])["notices"]
            until(lambda: phone.got, "nothing is tried")
            node.send(GOOD_C, GOOD_C, GOOD_C, rh_pct=20.0)
            until(lambda: query(config, "SELECT 1 FROM notice WHERE id = 501"), "no alarm")
            assert query(config, "SELECT state, last_detail FROM notice WHERE id = 501") == [
                ("cancelled", "outbox full: 500 notices wait for sam, expected under 500")
            ]
            node.send(HOT_C, HOT_C)
            until(
                lambda: any(m["title"] == "Urgent: Setter 1 too hot" for m in phone.got),
                "the critical one waits behind the others",
            )
            phone.mode = "ok"
            until(
                lambda: query(config, "SELECT count(*) FROM notice WHERE state = 'waiting'") == [(0,)],
                "they never go",
                60.0,
            )


def test_a_disk_that_is_full(tmp_path: Path, broker: Mosquitto, capsys: pytest.CaptureFixture[str]) -> None:
    """While nothing can be written, readings stay in memory and with the broker and `health` says so; with room again all are
    stored. Killed meanwhile, it has acknowledged none of them: they come again."""
    config = configure(tmp_path, broker.port)
    no_limit = resource.prlimit(0, resource.RLIMIT_FSIZE)
    with Running(config) as daemon, Node(broker.port) as node:
        node.send(*[GOOD_C] * 20)
        until(lambda: query(config, "SELECT count(*) FROM reading") == [(20,)], "not stored")
        for expected in (60, 100):  # full twice: mended the first time, killed the second
            resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (4096, no_limit[1]))
            node.send(*[GOOD_C] * 40)
            until(lambda: daemon.facts()["store_failing_s"] is not None, "the failing store is not noticed")
            assert daemon.facts()["unwritten_readings"] >= 20
            assert "failing for" in bad(typed(capsys, "health", "--json", config=config)[1])["store"]
            assert query(config, "SELECT count(*) FROM reading") == [(expected - 40,)]
            if expected == 100:
                break
            resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, no_limit)
            until(lambda: query(config, "SELECT count(*) FROM reading") == [(60,)], "it does not recover")
            until(lambda: daemon.facts()["store_failing_s"] is None, "it does not see that it works again")
            assert daemon.log().count("store failing") == 1
            assert daemon.log().count("store working again") == 1
        daemon.kill()
    with Running(config):
        until(lambda: query(config, "SELECT count(*) FROM reading") == [(100,)], "acknowledged messages are lost")
    assert "Traceback" not in daemon.log()


def test_eggs_are_watched_while_the_disk_is_full(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A broker that sends twenty messages and then waits for receipts is heard on, and the phone is told of heat. With
    room again all of it is written; to nobody was said before that anything is stored."""
    rules = {"dry-bulb-high-alarm": {**QUICK, "priority": "critical"}}  # which waits for no other message
    no_limit = resource.prlimit(0, resource.RLIMIT_FSIZE)
    with StrictBroker() as broker, HttpReceiver() as phone:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules=rules)
        voice = Voice("node-a")
        topic = f"eggroom/{SITE}/node-a/air"
        with Running(config) as daemon:
            daemon.ask(do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5))
            resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (4096, no_limit[1]))
            for _ in range(70):
                broker.offer([(topic, voice.pack(GOOD_C))])
                time.sleep(0.2)
            until(lambda: daemon.facts()["messages"] == 70, "it is not heard on")
            broker.offer([(topic, voice.pack(HOT_C)) for _ in range(3)])
            until(lambda: [m["title"] for m in phone.got] == ["Urgent: Setter 1 too hot"], "not told")
            assert "not being recorded" in typed(capsys, "alarms", config=config)[1]
            assert query(config, "SELECT count(*) FROM reading") == [(0,)]
            assert "watched and told from memory" in bad(typed(capsys, "health", "--json", config=config)[1])["store"]
            resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, no_limit)
            until(lambda: query(config, "SELECT count(*) FROM reading") == [(73,)], "it is not all written")
            broker.wait_acknowledged(73)
            until(
                lambda: query(config, "SELECT count(*) FROM event WHERE kind = 'record'") == [(1,)], "it is not noted"
            )
            assert len(phone.got) == 1
            assert daemon.terminate() == 0


# A card that is full, or that does not answer at all, from before the start.
FULL = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (0, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))"
HANGS = """
import time, pathlib
from monitor.adapters.store import late
late.LateLedger.__init__.__kwdefaults__["first_s"] = 2.0
open_ = late.LateLedger.__init__.__kwdefaults__["open_"]
def hangs(path):
    while pathlib.Path({gate!r}).exists():
        time.sleep(0.1)
    return open_(path)
late.LateLedger.__init__.__kwdefaults__["open_"] = hangs
"""


@pytest.mark.parametrize("fault", ["full", "hangs"])
def test_a_start_on_a_bad_card(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], broker: Mosquitto, fault: str
) -> None:
    """It starts within ten seconds, from what can be read: the eggs are judged, and heat is told. `alarms` and `health` answer. As soon as the card
    takes it, all that came is written."""
    rules = {"dry-bulb-high-alarm": {**QUICK, "priority": "critical"}}
    no_limit = resource.prlimit(0, resource.RLIMIT_FSIZE)
    (gate := tmp_path / "gate").touch()
    with HttpReceiver() as phone:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules=rules)
        with Running(config) as before:
            before.ask(do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5))
            before.kill()
        began_s = time.monotonic()
        prelude = FULL if fault == "full" else HANGS.format(gate=str(gate))
        with Running(config, prelude=prelude) as daemon, Node(broker.port) as node:
            assert time.monotonic() - began_s < 10.0 + 5.0  # and what a process takes to start on a busy machine
            node.send(*[GOOD_C] * 30)
            node.send(HOT_C, HOT_C)
            until(
                lambda: {m["title"] for m in phone.got} == {"Urgent: Setter 1 too hot"},
                "not told",
                60.0,
            )
            out = typed(capsys, "alarms", config=config)[1]
            assert "too hot" in out
            assert "failing" in bad(typed(capsys, "health", "--json", config=config)[1])["store"]
            assert query(config, "SELECT count(*) FROM reading") == [(0,)]
            gate.unlink()
            resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, no_limit)
            until(lambda: query(config, "SELECT count(*) FROM reading") == [(32,)], "it is not written", 30.0)
            assert daemon.terminate() == 0
        assert "Traceback" not in daemon.log()


LOOKS_OFTEN = """
from monitor.adapters.store.late import LateLedger
LateLedger.__init__.__kwdefaults__["look_s"] = 0.5
"""


@pytest.mark.timeout(120)
@pytest.mark.parametrize("how", ["unlinked", "emptied"])
def test_a_record_that_goes_away_while_eggroom_runs(
    tmp_path: Path, broker: Mosquitto, capsys: pytest.CaptureFixture[str], how: str
) -> None:
    """Noticed, told as urgent, and the batch is judged on by the same process: what was unlinked is there whole, what was emptied has its eggs."""
    with HttpReceiver() as phone:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules={"dry-bulb-high-alarm": QUICK})
        path = tmp_path / "record" / "eggroom.db"
        with Running(config, prelude=LOOKS_OFTEN) as daemon, Node(broker.port) as node:
            daemon.ask(do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5))
            node.send(GOOD_C, GOOD_C, GOOD_C)
            until(lambda: daemon.facts()["unwritten_readings"] == 0, "the readings were not written")
            if how == "unlinked":
                path.unlink()
            else:
                with contextlib.closing(sqlite3.connect(path)) as other:  # what is only in the log would save it
                    until(lambda: other.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()[2] >= 0, "no checkpoint")
                with path.open("r+b") as file:
                    file.truncate(0)
            word = "the record was gone" if how == "unlinked" else "record was damaged"
            until(lambda: any(word in json.dumps(each) for each in phone.got), f"not told: {daemon.log()}", 40.0)
            until(lambda: path.exists() and path.stat().st_size > 0, "there is no record")
            node.send(HOT_C, HOT_C, HOT_C)
            hot = "SELECT 1 FROM transition WHERE rule = 'dry-bulb-high-alarm'"
            until(lambda: query(config, hot), daemon.log()[-2000:], 40.0)
            assert daemon.terminate() == 0
        assert query(config, "SELECT id FROM batch") == [("hen-1",)]
        assert (query(config, "SELECT count(*) FROM reading WHERE dry_bulb_c = ?", GOOD_C) == [(3,)]) is (
            how == "unlinked"
        )


def test_what_a_command_finds_of_a_record_stands_for_the_daemon(tmp_path: Path, broker: Mosquitto) -> None:
    """A command typed while no daemon runs opens the record first, and gets back what was gone: its daemon tells it all the same."""
    with HttpReceiver() as phone:
        config = configure(tmp_path, broker.port, contact=phone.url())
        set_by_hand = ("--species", "chicken", "--machine", "setter-1", "--set", set_days_ago(5))
        assert eggroom("batch", "add", "hen-1", *set_by_hand, config=config).returncode == 0
        (tmp_path / "record" / "eggroom.db").unlink()
        assert eggroom("egg", "note", "hen-1", "7", "quiet", config=config).returncode == 0
        with Running(config):
            until(lambda: any("the record was gone" in json.dumps(each) for each in phone.got), "not told", 30.0)
        assert query(config, "SELECT id FROM batch") == [("hen-1",)]
