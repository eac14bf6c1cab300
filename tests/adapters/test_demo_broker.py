"""The demo's broker inside the process."""

from __future__ import annotations

import builtins
import subprocess
import sys
import threading
from typing import Any

import pytest

from monitor.adapters.demo_broker import BrokerError, DemoBroker
from monitor.domain.readings.reading import Presence
from tests.adapters.link.test_mqtt import AIR, STATUS, Ear, air, linked_to
from tests.receivers import eventually, free_port
from tests.servers import answers, listener, publish


def test_the_link_works_with_it() -> None:
    """Messages, retained ones and our own ping go through it as through a real broker, and its end is noticed."""
    broker = DemoBroker(free_port())
    broker.start()
    try:
        publish(broker._port, STATUS, b"online", retain=True)
        ear = Ear()
        with linked_to(broker._port, ear) as link, listener(broker._port, "eggroom/home/machine/#") as heard:
            publish(broker._port, AIR, air(1), air(2))
            assert eventually(lambda: ear.seqs == [1, 2])
            link.acknowledge(ear.receipts())
            assert Presence("node-a", True, retained=True) in [message for message, _ in ear.messages]
            assert link.publish("eggroom/home/machine/setter-1/state", b"{}", retain=True)
            assert eventually(lambda: heard)
            link._ping_heard_s = link._next_ping_s = 0.0
            link.supervise()
            assert eventually(lambda: link._ping_heard_s > 0.0)
            broker.stop()
            assert eventually(lambda: not ear.connected)
    finally:
        broker.stop()
    assert not answers(broker._port)
    assert "demo-broker" not in [thread.name for thread in threading.enumerate()]


def test_a_taken_port_is_one_clear_line() -> None:
    """A port that somebody has is named, and nothing is left running."""
    first = DemoBroker(free_port())
    first.start()
    try:
        second = DemoBroker(first._port)
        with pytest.raises(BrokerError) as caught:
            second.start()
        assert f"broker 127.0.0.1:{first._port}: " in str(caught.value)
        assert "address already in use" in str(caught.value).lower()
        assert "\n" not in str(caught.value)
        assert eventually(lambda: not second._thread.is_alive())
        second.stop()
    finally:
        first.stop()


def test_without_its_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where amqtt is not installed, the one line tells how to get it."""
    real = builtins.__import__

    def without(name: str, *more: Any, **named: Any) -> Any:
        if name.startswith("amqtt"):
            raise ImportError(name)
        return real(name, *more, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(BrokerError, match=r"pip install 'eggroom\[demo\]'"):
        DemoBroker(1).start()


def test_nothing_of_it_is_loaded_before_it_is_started() -> None:
    """Importing the module, or building the broker, does not load amqtt."""
    code = "import sys; from monitor.adapters.demo_broker import DemoBroker; DemoBroker(1); sys.exit('amqtt' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
