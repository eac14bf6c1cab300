"""Brokers for tests: the real Mosquitto on a free port of this machine, and one that says by hand what a test wants said.

with Mosquitto() as broker:
    publish(broker.port, "eggroom/home/node-a/status", b"online", retain=True)
    broker.kill(); broker.start()      # a power cut: it keeps nothing, unless the config text says so
"""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import struct
import subprocess
import tempfile
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt import publish as paho_publish
from paho.mqtt.enums import CallbackAPIVersion

from tests.bench.publisher import remaining_length
from tests.receivers import eventually, free_port

START_S = 10.0


def program(name: str, package: str) -> str:
    """A program's path; the test is skipped, saying what to install, where it is missing."""
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    if found is None:
        pytest.skip(f"{name} is not installed (apt install {package})")
    return found


class Mosquitto:
    """The real broker. `config` is text for its configuration file, beside the listener; `tls` is text that stands within it."""

    def __init__(self, config: str = "allow_anonymous true", *, port: int | None = None, tls: str = "") -> None:
        self.port = free_port() if port is None else port
        self.folder = Path(tempfile.mkdtemp(prefix="mosquitto-"))
        self.log = self.folder / "log"
        self._text = "\n".join(
            (
                "user root",  # under root it would change to a user who cannot read a test's files; else ignored
                "per_listener_settings false",
                f"listener {self.port} 127.0.0.1",
                tls,
                "max_queued_messages 0",
                config,
                "",
            )
        )
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Mosquitto:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)

    def start(self) -> None:
        """Start it, and wait until it answers."""
        file = self.folder / "mosquitto.conf"
        file.write_text(self._text)
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [program("mosquitto", "mosquitto"), "-v", "-c", str(file)], stdout=log, stderr=subprocess.STDOUT
            )
        if not eventually(lambda: self._process_ended() or answers(self.port), START_S) or self._process_ended():
            pytest.fail(f"mosquitto did not start: {self.log.read_text(errors='replace')[-500:]}")

    def stop(self) -> None:
        """End it as an orderly shutdown would."""
        self._end(kill=False)

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(kill=True)

    def restart(self) -> None:
        """A power cut, and the power back."""
        self.kill()
        self.start()

    def _process_ended(self) -> bool:
        return self._process is not None and self._process.poll() is not None

    def _end(self, *, kill: bool) -> None:
        if self._process is not None:
            self._process.kill() if kill else self._process.terminate()
            try:
                self._process.wait(10)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait(10)
            self._process = None


def answers(port: int) -> bool:
    """Whether anybody listens there."""
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def publish(port: int, topic: str, *payloads: bytes, qos: int = 1, retain: bool = False, **more: Any) -> None:
    """Publish messages, and return when the broker has them. more: as for paho.mqtt.publish.multiple."""
    paho_publish.multiple(
        [{"topic": topic, "payload": payload, "qos": qos, "retain": retain} for payload in payloads],
        hostname="127.0.0.1",
        port=port,
        **more,
    )


@contextlib.contextmanager
def listener(port: int, topic_filter: str) -> Any:
    """What a client of its own hears there, as a growing list of (topic, payload, retained)."""
    heard: list[tuple[str, bytes, bool]] = []
    ready = threading.Event()
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.on_connect = lambda client, *_: client.subscribe(topic_filter, 1)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = lambda _client, _data, m: heard.append((m.topic, bytes(m.payload), m.retain))
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert ready.wait(START_S)
    try:
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()


class ScriptedBroker:
    """The broker's side of MQTT 3.1.1, by hand, for one client at a time: what a real one cannot be made to say.

    connack: the code that answers CONNECT. suback: the codes that answer SUBSCRIBE, the last for all further filters. echo: whether
    what is published on a subscribed topic comes back. acked: packet ids acknowledged on each connection. got: (topic, payload).
    """

    def __init__(self, *, connack: int = 0, suback: Sequence[int] = (1,), echo: bool = True) -> None:
        self.connack, self.suback, self.echo = connack, list(suback), echo
        self.acked: list[list[int]] = []
        self.got: list[tuple[str, bytes]] = []
        self.subscribed = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._caller: socket.socket | None = None
        self._thread = threading.Thread(target=self._serve, name="scripted-broker", daemon=True)

    def __enter__(self) -> ScriptedBroker:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.cut()
        self._thread.join(5)

    def cut(self) -> None:
        """End the connection without a word."""
        self.subscribed.clear()
        if self._caller is not None:
            with contextlib.suppress(OSError):
                self._caller.shutdown(socket.SHUT_RDWR)

    def send(self, topic: bytes, payload: bytes, mid: int) -> None:
        """Deliver a message at QoS 1 under this packet id."""
        assert self._caller is not None
        body = struct.pack("!H", len(topic)) + topic + struct.pack("!H", mid) + payload
        self._caller.sendall(b"\x32" + remaining_length(len(body)) + body)

    def _serve(self) -> None:
        while True:
            try:
                caller, _ = self._listener.accept()
            except OSError:
                return
            self._caller = caller
            self.acked.append([])
            with caller, contextlib.suppress(OSError, EOFError):
                stream = caller.makefile("rb")
                while True:
                    self._answer(caller, *_packet(stream.read))

    def _answer(self, caller: socket.socket, head: int, body: bytes) -> None:
        kind = head >> 4
        if kind == 1:
            caller.sendall(bytes((0x20, 2, 0, self.connack)))
            if self.connack:
                raise EOFError
        elif kind == 8:
            count = body[2:].count(b"eggroom/")  # every filter of these tests begins so, and none holds it twice
            codes = [self.suback[min(i, len(self.suback) - 1)] for i in range(count)]
            caller.sendall(bytes((0x90, 2 + count)) + body[:2] + bytes(codes))
            self.subscribed.set()
        elif kind == 3:
            length = int.from_bytes(body[:2], "big")
            self.got.append((body[2 : 2 + length].decode(), body[2 + length :]))
            if self.echo and body[2 : 2 + length].endswith(b"/ping"):
                caller.sendall(b"\x30" + remaining_length(len(body)) + body)
        elif kind == 4:
            self.acked[-1].append(int.from_bytes(body[:2], "big"))
        elif kind == 12:
            caller.sendall(b"\xd0\x00")
        elif kind == 14:
            raise EOFError


def _packet(read: Callable[[int], bytes]) -> tuple[int, bytes]:
    head = _exactly(read, 1)[0]
    length, shift = 0, 0
    while True:
        byte = _exactly(read, 1)[0]
        length |= (byte & 0x7F) << shift
        shift += 7
        if not byte & 0x80:
            return head, _exactly(read, length)


def _exactly(read: Callable[[int], bytes], count: int) -> bytes:
    data = read(count) if count else b""
    if len(data) < count:
        raise EOFError
    return data
