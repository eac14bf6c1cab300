"""The whole house: the daemon as a process, a real broker, real nodes, a real receiver for the phone."""

from __future__ import annotations

import json
import os
import re
import resource
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.firmware.port import start_node
from tests.receivers import HttpReceiver, eventually
from tests.running import QUICK, SITE, Node, Running, configure, eggroom, query, set_days_ago, until
from tests.servers import Mosquitto, listener

HOT_C, GOOD_C = 39.5, 37.8  # chicken, setter: high alarm 38.9, band 37.5 to 38.1
HOT = {"dry-bulb-high-alarm": QUICK}

# Time runs 30 times as fast for the daemon, so that a minute of its rules passes in two seconds.
FAST = """
from datetime import UTC, datetime
import monitor.app
from monitor.adapters.clock import PacedClock
monitor.app.SystemClock = lambda not_before=None, after=None: PacedClock(30.0, datetime.now(UTC))
"""
# A commit waits for a file to be there: what is said before it, is said before it is durable.
HELD = """
import pathlib, time
from monitor.adapters.store.ledger import SqliteLedger
commit = SqliteLedger.commit
def held(self, group):
    while group.readings and not pathlib.Path({go!r}).exists():
        time.sleep(0.02)
    commit(self, group)
SqliteLedger.commit = held
"""


@pytest.fixture
def broker() -> Iterator[Mosquitto]:
    with Mosquitto() as running:
        yield running


@pytest.fixture
def phone() -> Iterator[HttpReceiver]:
    with HttpReceiver() as running:
        yield running


def add_hen_1(daemon: Running) -> None:
    daemon.ask(do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5))


def titles(phone: HttpReceiver) -> list[str]:
    return [message["title"] for message in phone.got]


def test_a_reading_travels_to_the_phone(tmp_path: Path, broker: Mosquitto, phone: HttpReceiver) -> None:
    """Heat in a machine reaches the phone with machine, value, band, batch and number; its notice is marked sent."""
    config = configure(tmp_path, broker.port, contact=phone.url(), rules=HOT)
    with Running(config) as daemon, Node(broker.port) as node:
        add_hen_1(daemon)
        node.send(GOOD_C, HOT_C, HOT_C)
        until(lambda: phone.got, "nothing came to the phone")
        until(lambda: query(config, "SELECT 1 FROM notice WHERE state = 'sent'"), "the notice is not marked sent")
        rows = query(config, "SELECT subject, rule, number, state FROM transition")
        readings = query(config, "SELECT dry_bulb_c FROM reading ORDER BY up_ms")
    message = phone.got[0]
    assert message["title"] == "Urgent: Setter 1 too hot"
    assert re.match(r"39\.5 °C, target 37\.5 to 38\.1, since \d\d:\d\d\. Look now: ", message["message"])
    assert "No. 1" in message["message"]
    assert rows == [("setter-1", "dry-bulb-high-alarm", 1, "unacknowledged")]
    assert readings[:2] == [(GOOD_C,), (HOT_C,)]


def test_what_is_answered_stops_ringing(tmp_path: Path, broker: Mosquitto, phone: HttpReceiver) -> None:
    """`eggroom ack` quiets the alarm and `eggroom alarms` says so; standing on past its time to respond it asks again, and not before."""
    numbers = QUICK | {"re_alarm_s": 120, "respond_min": 4, "priority": "high"}
    config = configure(tmp_path, broker.port, contact=phone.url(), rules={"dry-bulb-high-alarm": numbers})
    with Running(config, prelude=FAST) as daemon, Node(broker.port) as node:
        add_hen_1(daemon)
        payload = json.dumps([{"bn": "node-a/top/", "n": "t", "u": "Cel", "v": HOT_C}])
        node._client.publish(f"eggroom/{SITE}/node-a/air", payload, qos=1)
        until(lambda: phone.got, "nothing came to the phone")
        told = len(phone.got)
        assert eggroom("ack", "1", "--by", "sam", config=config).stdout == "No. 1: seen by sam; it still stands\n"
        answered_s = time.monotonic()
        alarms = json.loads(eggroom("alarms", "--json", config=config).stdout)
        every = eggroom("alarms", "--all", config=config).stdout
        until(lambda: len(phone.got) > told, "an acknowledged alarm that stands never asks again")
        waited_s = (time.monotonic() - answered_s) * 30
    assert [(a["number"], a["state"]) for a in alarms] == [(1, "acknowledged")]
    assert "too hot: seen by sam" in every
    assert phone.got[told]["title"] == "Urgent: Setter 1 STILL too hot"
    assert waited_s > 180  # less what an answer takes to come back


def test_stored_is_said_after_the_commit(tmp_path: Path, broker: Mosquitto) -> None:
    """While the transaction is held up no node is told `stored`; once it is durable, each is, up to its highest number."""
    go = tmp_path / "go"
    config = configure(tmp_path, broker.port)
    with (
        Running(config, prelude=HELD.format(go=str(go))),
        listener(broker.port, f"eggroom/{SITE}/+/stored") as heard,
        Node(broker.port) as node,
    ):
        node.send(*[GOOD_C] * 20)  # as many as a group holds
        assert not eventually(lambda: heard, 1.5)
        assert query(config, "SELECT count(*) FROM reading") == [(0,)]
        go.touch()
        until(lambda: heard, "stored was not said")
        assert query(config, "SELECT count(*) FROM reading") == [(20,)]
    assert heard == [(f"eggroom/{SITE}/node-a/stored", b'{"boot":7,"seq":19}', False)]


def test_who_comes_later_finds_the_machine(tmp_path: Path, broker: Mosquitto) -> None:
    """The state of each machine is retained: a program that comes later reads air, band, batch and alarm at once."""
    config = configure(tmp_path, broker.port, rules=HOT)
    with Running(config) as daemon, Node(broker.port) as node:
        add_hen_1(daemon)
        node.send(HOT_C, HOT_C)
        until(lambda: query(config, "SELECT 1 FROM transition"), "no alarm")
        topic = f"eggroom/{SITE}/machine/setter-1/state"
        state: dict[str, Any] = {}

        def found() -> bool:
            with listener(broker.port, topic) as heard:
                assert eventually(lambda: heard, 5.0)
                assert heard[0][2], "not retained"
                state.update(json.loads(heard[0][1]))
            return bool(state["alarms"])

        until(found, "the alarm is not in the retained state")
    assert state["probes"][0]["dry_bulb_c"] == HOT_C
    assert state["bands"]["dry_bulb_c"]["high_alarm"] == 38.9
    assert [(b["batch"], b["stage"]) for b in state["batches"]] == [("hen-1", "setter")]
    assert [(a["rule"], a["state"]) for a in state["alarms"]] == [("dry-bulb-high-alarm", "unacknowledged")]


def test_the_sign_of_life_counts(tmp_path: Path, broker: Mosquitto) -> None:
    """`service/alive` is a counter that moves; a process that is killed is declared stopped by its last will."""
    config = configure(tmp_path, broker.port)
    often = "import monitor.app\nmonitor.app.ALIVE_EVERY_S = 0.5"
    with listener(broker.port, f"eggroom/{SITE}/service/alive") as heard, Running(config, prelude=often) as daemon:
        until(lambda: len(heard) >= 3, "the counter does not move")
        counts = [int(payload) for _, payload, _ in heard]
        daemon.kill()
        until(lambda: heard[-1][1] == b"stopped", "no last will")
    assert counts == list(range(counts[0], counts[0] + len(counts)))
    assert not any(retained for _, _, retained in heard)


def test_memory_that_only_the_start_needed_goes_back(tmp_path: Path, broker: Mosquitto) -> None:
    """The C library keeps what is freed below what is still in use; ten seconds in the system has it back."""
    needed = "made = [b'x' * 100_000 for _ in range(1_000)]\nin_use = made.pop()\ndel made"
    with Running(configure(tmp_path, broker.port), prelude=f"{FAST}\n{needed}") as daemon:
        until(lambda: resident_mb(daemon.pid) < 100.0, "100 MB that nobody uses are kept")


def resident_mb(pid: int) -> float:
    """What a process has of the board's memory."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def test_a_real_node_and_a_broker_that_restarts(tmp_path: Path) -> None:
    """The firmware's messages reach the record: none is missing after the broker lost all it held, each within 2 s of its true time."""
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port)
        quick: dict[str, Any] = {
            "INTERVAL_MS": 1000,
            "KEEPALIVE_S": 5,
            "TIMEOUT_MS": 1000,
            "RETRY_MS": 200,
            "RETRY_MAX_MS": 500,
            "RESEND_MS": 2000,
        }
        with Running(config) as daemon:
            began_s = time.time()
            with start_node(broker.port, SITE, "node-a", **quick):
                until(lambda: last_stored(config) >= 3, "the node was not heard")
                broker.kill()
                cut = last_stored(config)
                time.sleep(4.0)  # nothing to poll for: the node fills its ring meanwhile
                broker.start()
                until(lambda: last_stored(config) >= cut + 7, f"the backlog did not come: {daemon.log()[-500:]}", 40.0)
            assert daemon.terminate() == 0
    rows = query(config, "SELECT l.offset_ms + r.up_ms, r.up_ms FROM reading r JOIN line l ON l.id = r.line_id")
    assert query(config, "SELECT contiguous, above FROM numbering") == [(len(rows) - 1, "[]")]
    assert max(abs(at_ms / 1000.0 - began_s - up_ms / 1000.0) for at_ms, up_ms in rows) < 2.0


def last_stored(config: Path) -> int:
    """The highest number of the node below which nothing is missing."""
    rows = query(config, "SELECT contiguous FROM numbering")
    return int(rows[0][0]) if rows else -1


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_stop_writes_what_is_left(tmp_path: Path, broker: Mosquitto, number: int) -> None:
    """SIGTERM ends the process with 0 within 10 s; what had come but was not yet due is written first, the door is gone."""
    config = configure(tmp_path, broker.port)
    with Running(config) as daemon, Node(broker.port) as node:
        node.send(GOOD_C, GOOD_C, GOOD_C)
        until(lambda: daemon.facts()["unwritten_readings"] == 3, "the readings did not come")
        assert daemon.terminate(number) == 0
    assert query(config, "SELECT count(*) FROM reading") == [(3,)]
    assert not (tmp_path / "record" / "eggroom.sock").exists()
    assert "Traceback" not in daemon.log()


def test_what_looks_at_which_machine_is_written_once(tmp_path: Path, broker: Mosquitto) -> None:
    """A start on a record that has it already adds nothing; one after the configuration was changed adds how it is since."""
    soon = "from monitor.service.watch import engine\nengine.SITE_KEPT_S = 0.0"
    config = configure(tmp_path, broker.port)

    def rows() -> list[bool]:
        with Running(config, prelude=soon) as daemon, Node(broker.port) as node:
            node.send(GOOD_C)
            until(lambda: daemon.facts()["unwritten_readings"] == 1 or last_stored(config) >= 0, "nothing came")
            assert daemon.terminate() == 0
        return [since is None for (since,) in query(config, "SELECT since_ms FROM site ORDER BY id")]

    assert rows() == [True]
    assert rows() == [True]
    configure(tmp_path, broker.port, site={"elevation_m": 800.0})
    assert rows() == [True, False]


def test_a_configuration_read_anew(tmp_path: Path, broker: Mosquitto) -> None:
    """SIGHUP: one process goes on with the machines that the file has now; what cannot be used is told in the log, and changes nothing."""
    config = configure(tmp_path, broker.port)
    with Running(config) as daemon, Node(broker.port, "node-c") as node:
        first = daemon.pid
        configure(tmp_path, broker.port, machines=("setter-1", "hatcher-1", "brooder-1"))
        os.kill(daemon.pid, signal.SIGHUP)
        until(lambda: daemon.log().count("INFO eggroom running") == 2, "not read anew")
        until(daemon.connected, "not again at the broker")
        node.send(GOOD_C)
        until(lambda: query(config, "SELECT 1 FROM reading"), "the new machine's node is not heard")
        good = config.read_text()
        for bad in (
            good.replace("[site]", "[sight]"),
            f"{good}[[payload]]\ntopic = 'a/#/b'\nnode = 'n'\nprobe = 'p'\ndry_bulb = '/t'\n",
        ):
            config.write_text(bad)
            told = daemon.log().count("configuration not taken, what was goes on")
            os.kill(daemon.pid, signal.SIGHUP)
            until(lambda: daemon.log().count("configuration not taken") == told + 1, "nothing is said of it")  # noqa: B023 - asked at once
        assert len(daemon.ask(do="room")["machines"]) == 3
        assert daemon.log().count("INFO eggroom running") == 2
        assert daemon.pid == first
        assert daemon.terminate() == 0
    assert "Traceback" not in daemon.log()


def test_often_read_anew_is_not_kept_stopping(tmp_path: Path, broker: Mosquitto, phone: HttpReceiver) -> None:
    """Each time it stops in order: a delay that runs goes on, and nobody is told of a daemon that keeps dying."""
    config = configure(tmp_path, broker.port, contact=phone.url(), rules={"dry-bulb-high-alarm": {"on_delay_s": 6}})
    with Running(config) as daemon, Node(broker.port) as node:
        add_hen_1(daemon)
        began = time.monotonic()
        for count in range(2, 7):
            node.send(HOT_C)
            os.kill(daemon.pid, signal.SIGHUP)
            until(lambda: daemon.log().count("INFO eggroom running") == count, "not read anew")  # noqa: B023 - asked at once
            until(daemon.connected, "not again at the broker")
        while not titles(phone):
            assert time.monotonic() - began < 60.0, "nothing came to the phone"
            node.send(HOT_C)
            time.sleep(0.5)
        time.sleep(2.0)
    assert not any("stopping" in title for title in titles(phone)), titles(phone)


def test_a_stop_waits_for_no_neighbour(tmp_path: Path, phone: HttpReceiver) -> None:
    """With a phone service that hangs and no broker at all, SIGTERM still ends the process with 0 within 10 s; the notice waits."""
    phone.mode, phone.delay_s = "slow", 60.0
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules=HOT)
        with Running(config) as daemon, Node(broker.port) as node:
            add_hen_1(daemon)
            node.send(HOT_C, HOT_C)
            until(lambda: phone.got, "nothing came to the phone")
            broker.kill()
            assert daemon.terminate() == 0
    assert query(config, "SELECT state FROM notice") == [("waiting",)]


def test_a_fault_of_the_keeper_ends_the_process(tmp_path: Path, broker: Mosquitto) -> None:
    """The thread that watches the link and counts the sign of life cannot end unnoticed: the process ends with 1."""
    broken = "import monitor.app\ndef fault(*_): raise ZeroDivisionError\nmonitor.app.MqttLink.supervise = fault"
    with Running(configure(tmp_path, broker.port), prelude=broken, ready=False) as daemon:
        assert daemon.wait() == 1
    assert "keeper ended" in daemon.log()


def test_a_fault_of_the_calendar_ends_nothing(tmp_path: Path, broker: Mosquitto) -> None:
    """Chores of the day are not worth the watch over eggs: without the calendar the daemon judges and writes on."""
    broken = "import monitor.app\ndef fault(*_): raise ZeroDivisionError\nmonitor.app.Calendar.watch = fault"
    with Running(configure(tmp_path, broker.port), prelude=broken) as daemon, Node(broker.port) as node:
        until(lambda: "calendar ended" in daemon.log(), "the fault was not met")
        node.send(*[GOOD_C] * 20)
        until(lambda: last_stored(daemon.config) >= 19, "nothing was written after it")
        assert daemon.terminate() == 0


@pytest.mark.parametrize("where", ["tick", "hear"])
def test_its_own_fault_ends_the_process(tmp_path: Path, broker: Mosquitto, where: str) -> None:
    """A decision that raises, at the first tick or at a message, ends the process with 1, so that what supervises it starts a new one."""
    broken = f"import monitor.service.watch.engine\ndef fault(*_): raise ZeroDivisionError\nmonitor.service.watch.engine.{where} = fault"
    config = configure(tmp_path, broker.port)
    with Running(config, prelude=broken, ready=False) as daemon:
        if where == "hear":
            until(daemon.connected, "the daemon did not come up")
            with Node(broker.port) as node:
                node.send(*[GOOD_C] * 20)
                assert daemon.wait() == 1
        assert daemon.wait() == 1
    assert "engine ended" in daemon.log()
    with Running(config):
        expected = [(20 if where == "hear" else 0,)]
        until(lambda: query(config, "SELECT count(*) FROM reading") == expected, "messages are lost")
