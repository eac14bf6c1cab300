"""Power loss: the daemon's process is killed between any two steps while messages flow; what was acknowledged must be there.

The broker stays up, as a node keeps its messages: what the daemon had not acknowledged comes again. The last test shows that these
can fail: the same kill, with receipts given before the commit, loses messages.
"""

from __future__ import annotations

import random
import re
import string
import time
from pathlib import Path

import pytest

from monitor.app import Offline
from monitor.domain.needs.rules import KEEPS_STOPPING
from monitor.settings import load_house
from tests.receivers import HttpReceiver
from tests.running import QUICK, Node, Running, configure, query, set_days_ago, until, wait_published
from tests.servers import Mosquitto

HOT_C, GOOD_C = 39.5, 37.8
KILLS, MESSAGES = 8, 1500
MACHINES = [f"setter-{letter}" for letter in string.ascii_lowercase[:12]]
NODES = [f"node-{letter}" for letter in string.ascii_lowercase[:12]]
RULES = {"dry-bulb-high-alarm": QUICK, "dry-bulb-high-warning": {"on_delay_s": 3600}}


def set_eggs(config: Path, machines: list[str]) -> None:
    """A batch in each machine, set while no daemon runs."""
    with Offline(load_house(config)) as offline:
        for machine in machines:
            at = set_days_ago(5)
            done = offline.ask(
                {"do": "batch-add", "batch": f"in-{machine}", "profile": "chicken", "machine": machine, "set_at": at}
            )
            assert "error" not in done


def readings(config: Path) -> int:
    rows = query(config, "SELECT count(*) FROM reading")
    return int(rows[0][0]) if rows else 0


# No message is held back to be joined with the next of a flood: what is to be seen here is that each gets through.
AT_ONCE = "from monitor.service.watch import outbox\noutbox.WINDOW_S = 0.0\n"


def told_in(text: str) -> tuple[set[int], int]:
    """The numbers to answer with that a message names, and how many things more it only counts."""
    counted = re.search(r"And (\d+) more\.", text)
    named = {int(n) for several in re.findall(r"No\. (\d+(?:, \d+)*)", text) for n in several.split(", ")}
    return named, int(counted[1]) if counted else 0


@pytest.mark.timeout(150)
def test_kill_at_random_moments(tmp_path: Path) -> None:
    """Eight kills while 1,500 messages flow: every message is stored once, every alarm is there once and reached the phone;
    at most the notice in flight is told again."""
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")  # shown when the test fails
    chance = random.Random(seed)
    hot_from = {node: chance.randrange(20, MESSAGES // len(NODES) - 10) for node in NODES}
    with Mosquitto() as broker, HttpReceiver() as phone:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules=RULES, machines=MACHINES)
        set_eggs(config, MACHINES)
        daemon = Running(config, prelude=AT_ONCE)
        daemon.start()
        nodes = {node: Node(broker.port, node, boot=place) for place, node in enumerate(NODES)}
        infos = []
        kills_at = sorted(chance.sample(range(100, MESSAGES - 100), KILLS))
        for number in range(MESSAGES):
            node = NODES[number % len(NODES)]
            infos.append(nodes[node].begin(HOT_C if nodes[node].seq >= hot_from[node] else GOOD_C))
            time.sleep(0.004)
            if number in kills_at:
                time.sleep(chance.uniform(0.0, 0.6))  # the daemon may still be starting from the last kill
                daemon.kill()
                daemon = Running(config, prelude=AT_ONCE, ready=False)
                daemon.start()
        for info in infos:
            wait_published(info)
        until(lambda: readings(config) >= MESSAGES, f"seed {seed}: messages are missing", 40.0)
        until(
            lambda: query(config, "SELECT count(*) FROM notice WHERE state <> 'sent'") == [(0,)], f"seed {seed}: unsent"
        )
        assert daemon.terminate() == 0
        for each in nodes.values():
            each.__exit__()
    assert readings(config) == MESSAGES
    numberings = {(node, nodes[node].seq - 1, "[]") for node in NODES}
    assert set(query(config, "SELECT node, contiguous, above FROM numbering")) == numberings
    begun = query(config, "SELECT subject, rule, number FROM transition WHERE state = 'unacknowledged'")
    assert sorted(subject for subject, rule, _ in begun if rule != KEEPS_STOPPING) == MACHINES, f"seed {seed}"
    every = {number for _, _, number in begun}  # with that it keeps stopping, where three starts fell into five minutes
    sent = query(config, "SELECT DISTINCT alarm_number FROM notice WHERE state = 'sent' AND NOT closing")
    assert {number for (number,) in sent} == every, f"seed {seed}"
    told = [told_in(message["message"]) for message in phone.got]
    named = set().union(*(names for names, _ in told))
    assert named <= every, f"seed {seed}: {[m['message'] for m in phone.got]}"
    assert len(every - named) <= sum(counted for _, counted in told), f"seed {seed}: never told {every - named}"
    assert sum(len(names) + counted for names, counted in told) <= len(begun) + KILLS, f"seed {seed}: told {told}"


# Pulls the plug when the third group is to be written, with time enough for whatever was said before to be on its way. Groups are
# of twenty, as behind a strict broker, however many messages wait.
PLUG = """
import os, signal, time
from monitor.service.watch import engine
engine.GROUP_BACKLOG = engine.GROUP_MESSAGES
from monitor.adapters.store.ledger import SqliteLedger
commit, written = SqliteLedger.commit, []
def unplugged(self, group):
    if len(written) == 2:
        time.sleep(0.5)
        os.kill(os.getpid(), signal.SIGKILL)
    commit(self, group)
    if group.readings:
        written.append(group)
SqliteLedger.commit = unplugged
"""
RECEIPTS_FIRST = """
from monitor.service.watch.engine import Engine
arrived, commit_if_due = Engine._arrived, Engine._commit_if_due
def too_early(self, item):
    arrived(self, item)
    self._give_receipts(self._receipts)
    self._receipts = []
Engine._arrived = too_early
Engine._commit_if_due = lambda self, now, full: commit_if_due(self, now, full or len(self._group.readings) >= 20)
"""


@pytest.mark.parametrize(("fault", "lost"), [("", 0), (RECEIPTS_FIRST, 20)], ids=["as it is", "receipts first"])
def test_receipts_before_the_commit_would_lose(tmp_path: Path, fault: str, lost: int) -> None:
    """Unplugged before its third group is written, the daemon loses nothing; one that acknowledges first loses that group."""
    with Mosquitto() as broker, Node(broker.port) as node:
        config = configure(tmp_path, broker.port)
        with Running(config, prelude=PLUG + fault) as daemon:
            node.send(*[GOOD_C] * 60)
            assert daemon.wait() == -9
        assert readings(config) == 40
        node.send(*[GOOD_C] * 20)
        with Running(config):
            heard = "SELECT 1 FROM numbering WHERE contiguous = 79 OR above LIKE '%79%'"
            until(lambda: query(config, heard), "what came last was not heard")
    assert readings(config) == 80 - lost


@pytest.mark.parametrize("step", ["before the commit", "after the commit", "after the sending"])
def test_an_alarm_outlives_the_plug(tmp_path: Path, step: str) -> None:
    """Unplugged before or after an alarm's commit, or after its sending but before that is noted: after the restart there is one
    alarm, and the phone has it; only the notice in flight comes twice."""
    where = {
        "before the commit": (
            "SqliteLedger",
            "commit",
            "any(t.state == 'unacknowledged' for t in a[1].transitions)",
            "before",
        ),
        "after the commit": (
            "SqliteLedger",
            "commit",
            "any(t.state == 'unacknowledged' for t in a[1].transitions)",
            "after",
        ),
        "after the sending": ("AppriseDelivery", "send", "True", "after"),
    }[step]
    owner, name, condition, order = where
    plug = f"""
import os, signal
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.delivery import AppriseDelivery
done = {owner}.{name}
def unplugged(*a):
    pull = {condition}
    result = done(*a) if {order == "after"} or not pull else None
    if pull:
        os.kill(os.getpid(), signal.SIGKILL)
    return result
{owner}.{name} = unplugged
"""
    with Mosquitto() as broker, HttpReceiver() as phone, Node(broker.port) as node:
        config = configure(tmp_path, broker.port, contact=phone.url(), rules=RULES, machines=["setter-1"])
        set_eggs(config, ["setter-1"])
        with Running(config, prelude=plug) as daemon:
            node.send(GOOD_C, GOOD_C, HOT_C, HOT_C)  # one that jumps waits for the next
            assert daemon.wait() == -9
        with Running(config):
            until(lambda: query(config, "SELECT 1 FROM notice WHERE state = 'sent'"), "the alarm was not told")
    begun = query(config, "SELECT number FROM transition WHERE state = 'unacknowledged'")
    assert begun == [(1,)]
    assert [message["title"] for message in phone.got] == ["Urgent: Setter 1 too hot"] * (
        2 if step == "after the sending" else 1
    )
    assert readings(config) == 4
