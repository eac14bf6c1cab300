"""A part of the daemon that stands still ends the process, for it can be started anew, and whoever hangs tells nobody; what only waits does not.

The daemon is the real process, on a real broker; a prelude puts the fault where a real one would be. The times are shorter than in a house.
"""

from __future__ import annotations

import os
import signal
import socket
import time
from pathlib import Path

import pytest

from monitor.adapters.supervised import say
from tests.receivers import HttpReceiver, eventually
from tests.running import QUICK, Node, Running, configure, set_days_ago
from tests.servers import Mosquitto, listener, publish

HOT_C, HANGS_C = 40.0, 41.25
SHORT = """
import threading, time
import monitor.app as app
app.STILL_S, app.TIMEOUT_S = 4.0, 1.0
"""
# Each hangs for ever, or ends its thread, from the message of 41.25 degrees on.
FAULTS = {
    "engine": """
from monitor.adapters.store.ledger import SqliteLedger
commit = SqliteLedger.commit
def hangs(self, group):
    if any(r.dry_bulb_c == 41.25 for r in group.readings):
        threading.Event().wait()
    return commit(self, group)
SqliteLedger.commit = hangs
""",
    "link": """
decode = app.decode
def hangs(topic, payload, **more):
    if b"41.25" in payload:
        threading.Event().wait()
    return decode(topic, payload, **more)
app.decode = hangs
""",
    "contact sam": """
from monitor.adapters.delivery import AppriseDelivery
def hangs(self, notice, contact):
    threading.Event().wait()
AppriseDelivery.send = hangs
""",
    "keeper": """
from monitor.adapters.link.mqtt import MqttLink
supervise, began = MqttLink.supervise, time.monotonic()
def hangs(self):
    if time.monotonic() > began + 5.0:
        threading.Event().wait()
    return supervise(self)
MqttLink.supervise = hangs
""",
}
ENDED = """
from monitor.adapters.delivery import AppriseDelivery
def ends(self, notice, contact):
    raise SystemExit
AppriseDelivery.send = ends
"""


def _with_eggs(daemon: Running) -> None:
    daemon.ask(do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5))


@pytest.mark.timeout(120)
@pytest.mark.parametrize("part", FAULTS)
def test_what_hangs_ends_the_process(tmp_path: Path, part: str) -> None:
    """The engine in a commit, the network thread in a message, a sender in its service, the keeper in the link: each within its time, with
    its name in the log; killed, for which systemd starts it anew."""
    with Mosquitto() as broker, HttpReceiver() as phone:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules={"dry-bulb-high-alarm": QUICK})
        with Running(config, prelude=SHORT + FAULTS[part]) as daemon, Node(broker.port) as node:
            _with_eggs(daemon)
            for value in (37.8, 37.8, HOT_C, HOT_C, HANGS_C, HANGS_C):
                node.begin(value)
                time.sleep(0.2)
            assert daemon.wait(60.0) == -signal.SIGKILL
            assert f"ending, stands still: {part}" in daemon.log()
            assert "Traceback" not in daemon.log()


@pytest.mark.timeout(120)
def test_a_sender_that_has_ended_ends_the_process(tmp_path: Path) -> None:
    """By what no thread outlives: its contact would never be told anything again."""
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port, contact="json://127.0.0.1:9", rules={"dry-bulb-high-alarm": QUICK})
        with Running(config, prelude=SHORT + ENDED) as daemon, Node(broker.port) as node:
            _with_eggs(daemon)
            for value in (37.8, 37.8, HOT_C, HOT_C):
                node.begin(value)
                time.sleep(0.2)
            assert daemon.wait(60.0) == -signal.SIGKILL
            assert "ending, stands still: contact sam" in daemon.log()


@pytest.mark.timeout(120)
def test_what_only_waits_goes_on(tmp_path: Path) -> None:
    """Nothing to do for thrice the time; the process stopped for twice the time, as a board that sleeps; a broker that is gone for as long."""
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port, contact="json://127.0.0.1:9", rules={"dry-bulb-high-alarm": QUICK})
        with Running(config, prelude=SHORT) as daemon, Node(broker.port) as node:
            _with_eggs(daemon)
            time.sleep(12.0)
            os.kill(daemon.pid, signal.SIGSTOP)
            time.sleep(8.0)
            os.kill(daemon.pid, signal.SIGCONT)
            time.sleep(6.0)
            node.send(37.8, HOT_C, HOT_C)
            broker.stop()
            time.sleep(10.0)
            assert daemon.facts()["broker_connected"] is False
            assert daemon.terminate() == 0
            assert "stands still" not in daemon.log()


BACKED_UP = """
from monitor.adapters.store.ledger import SqliteLedger
from monitor.service.ports import StoreFailure
from monitor.service.watch import engine, inbox
engine.MAX_KEPT = 5
made = inbox.Inbox.__init__
inbox.Inbox.__init__ = lambda self, max_items=3, pace=1.0: made(self, 3, pace)
commit = SqliteLedger.commit
def fails(self, group):
    if group.readings:
        raise StoreFailure("disk full")
    return commit(self, group)
SqliteLedger.commit = fails
"""


@pytest.mark.timeout(90)
def test_who_waits_for_a_store_that_fails_is_not_ended(tmp_path: Path) -> None:
    """More than may be kept in memory: the engine takes nothing more, and whoever hands something over waits, for thrice the time of a part."""
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port)
        with Running(config, prelude=SHORT + BACKED_UP) as daemon, Node(broker.port) as node:
            # At most once, which no window of the broker's holds back; after the first commit has failed.
            node.begin(37.8)
            time.sleep(6.0)
            publish(broker.port, "eggroom/home/node-a/air", *[node.pack(37.8) for _ in range(60)], qos=0)
            time.sleep(12.0)
            os.kill(daemon.pid, 0)
            assert "store failing" in daemon.log()
            assert "stands still" not in daemon.log()


@pytest.mark.timeout(60)
def test_the_counter_that_nodes_listen_for_stands_while_nobody_judges(tmp_path: Path) -> None:
    """The engine hangs: within its ten seconds the counter stops, so that a node's buzzer sounds, long before the process would end."""
    prelude = "import threading, time\nimport monitor.app as app\napp.ALIVE_EVERY_S = 1.0\n" + FAULTS["engine"]
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port)
        with (
            Running(config, prelude=prelude) as daemon,
            Node(broker.port) as node,
            listener(broker.port, "eggroom/home/service/alive") as counted,
        ):
            _with_eggs(daemon)
            assert eventually(lambda: len(counted) >= 3, 15.0)
            for value in (37.8, HANGS_C, HANGS_C):
                node.begin(value)
            time.sleep(5.0)
            stood = len(counted)
            time.sleep(4.0)
            assert len(counted) == stood


def test_the_supervisor_is_told_in_its_own_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One datagram a word, to a path or to a name in the abstract space; nobody there, or no name, is no trouble."""
    for name in (str(tmp_path / "notify"), f"@eggroom-test-{os.getpid()}"):
        address = f"\0{name[1:]}" if name.startswith("@") else name
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as supervisor:
            supervisor.bind(address)
            supervisor.settimeout(5.0)
            monkeypatch.setenv("NOTIFY_SOCKET", name)
            say("WATCHDOG=1")
            assert supervisor.recv(100) == b"WATCHDOG=1"
        say("WATCHDOG=1")
    monkeypatch.delenv("NOTIFY_SOCKET")
    say("WATCHDOG=1")
