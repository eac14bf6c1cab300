"""The node's MQTT client, under real MicroPython, against a broker made of bytes that can misbehave in every way."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any, NamedTuple

import pytest

from tests.firmware.port import start_node, wait_until

CONNECT, PUBLISH, PUBACK, SUBSCRIBE, PINGREQ = 1, 3, 4, 8, 12
CONNACK = b"\x20\x02\x00\x00"
SETTINGS: dict[str, Any] = {
    "INTERVAL_MS": 200,
    "KEEPALIVE_S": 2,
    "TIMEOUT_MS": 1000,
    "RETRY_MS": 100,
    "RETRY_MAX_MS": 200,
}


class Packet(NamedTuple):
    kind: int
    flags: int
    body: bytes


class Line:
    """One connection of the node: packets in, bytes out."""

    def __init__(self, connection: socket.socket) -> None:
        self.connection = connection
        self.packets: list[Packet] = []
        self.at_s: list[float] = []

    def send(self, data: bytes) -> None:
        self.connection.sendall(data)

    def take(self) -> Packet:
        """The next packet, or ConnectionError when the node has gone."""
        head = self._exactly(1)[0]
        length = shift = 0
        while True:
            byte = self._exactly(1)[0]
            length |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                break
        packet = Packet(head >> 4, head & 0x0F, self._exactly(length))
        self.packets.append(packet)
        self.at_s.append(time.monotonic())
        return packet

    def welcome(self) -> None:
        assert self.take().kind == CONNECT
        self.send(CONNACK)

    def answer(self, packet: Packet) -> None:
        """What a well-behaved broker answers."""
        if packet.kind == SUBSCRIBE:
            self.send(b"\x90\x03" + packet.body[:2] + b"\x00")
        elif packet.kind == PUBLISH:
            start = 2 + int.from_bytes(packet.body[:2], "big")
            self.send(b"\x40\x02" + packet.body[start : start + 2])
        elif packet.kind == PINGREQ:
            self.send(b"\xd0\x00")

    def serve(self, count: int) -> None:
        """Be well-behaved for so many packets after the CONNECT."""
        self.welcome()
        for _ in range(count):
            self.answer(self.take())

    def hold(self, seconds: float) -> None:
        """Listen and say nothing, until the node has gone or has been quiet for so long."""
        self.connection.settimeout(seconds)
        while True:
            self.take()

    def _exactly(self, count: int) -> bytes:
        data = b""
        while len(data) < count:
            more = self.connection.recv(count - len(data))
            if not more:
                raise ConnectionError
            data += more
        return data


class FakeBroker:
    """Gives each connection of the node to the next behaviour, and the last behaviour to all that follow."""

    def __init__(self, *behaviours: Callable[[Line], None]) -> None:
        self._behaviours = list(behaviours)
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self.lines: list[Line] = []
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            behave = self._behaviours[min(len(self.lines), len(self._behaviours) - 1)]
            line = Line(connection)
            self.lines.append(line)
            with connection:
                connection.settimeout(20)
                try:
                    behave(line)
                except OSError:
                    continue

    def close(self) -> None:
        # Woken first: a thread left in accept() takes the callers of whichever socket is given this one's number next.
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join(5)


@pytest.fixture
def play() -> Iterator[Callable[..., FakeBroker]]:
    opened: list[FakeBroker] = []

    def open_one(*behaviours: Callable[[Line], None]) -> FakeBroker:
        opened.append(FakeBroker(*behaviours))
        return opened[-1]

    yield open_one
    for broker in opened:
        broker.close()


def well_behaved(line: Line) -> None:
    line.serve(10**9)


def publish(topic: str, payload: bytes, flags: int = 0, packet_id: bytes = b"") -> bytes:
    body = len(topic).to_bytes(2, "big") + topic.encode() + packet_id + payload
    length, head = len(body), bytearray([0x30 | flags])
    while True:
        head.append(length & 0x7F | (0x80 if length > 0x7F else 0))
        length >>= 7
        if not length:
            return bytes(head) + body


def airs(line: Line) -> list[bytes]:
    return [packet.body for packet in line.packets if packet.kind == PUBLISH and b"/air" in packet.body]


def seqs(line: Line) -> list[int]:
    return [int(re.search(rb'"seq":(\d+)', body)[1]) for body in airs(line)]  # type: ignore[index]


def test_the_connect_packet(play: Callable[..., FakeBroker]) -> None:
    """CONNECT is MQTT 3.1.1 with clean session, the keepalive, a retained will at QoS 1, user and password."""
    broker = play(well_behaved)
    login: dict[str, Any] = {"BROKER_USER": "node-a", "BROKER_PASSWORD": "secret"}
    with start_node(broker.port, "barn", "node-a", **SETTINGS, **login) as node:
        wait_until(lambda: broker.lines and airs(broker.lines[0]), 10, node.log())
        fields = (b"barn-node-a", b"eggroom/barn/node-a/status", b"offline", b"node-a", b"secret")
        packet = broker.lines[0].packets[0]
        assert packet.kind == CONNECT
        assert packet.body == b"\x00\x04MQTT\x04\xee\x00\x02" + b"".join(
            len(field).to_bytes(2, "big") + field for field in fields
        )
        assert "secret" not in node.log()


def test_the_order_after_joining(play: Callable[..., FakeBroker]) -> None:
    """CONNECT, two SUBSCRIBE, the birth (QoS 1, retained), then readings (QoS 1, not retained)."""
    broker = play(well_behaved)
    with start_node(broker.port, "barn", "node-a", **SETTINGS) as node:
        wait_until(lambda: broker.lines and len(airs(broker.lines[0])) > 2, 10, node.log())
    first = broker.lines[0].packets[:6]
    assert [(packet.kind, packet.flags) for packet in first] == [
        (CONNECT, 0), (SUBSCRIBE, 2), (SUBSCRIBE, 2), (PUBLISH, 3), (PUBLISH, 2), (PUBLISH, 2)
    ]  # fmt: skip
    assert first[3].body.endswith(b"online")


def close_at_once(line: Line) -> None:
    pass


def answer_nothing(line: Line) -> None:
    line.hold(10)


def refuse(line: Line) -> None:
    line.take()
    line.send(b"\x20\x02\x00\x05")
    line.hold(10)


def half_an_answer(line: Line) -> None:
    line.take()
    line.send(CONNACK[:3])
    line.hold(10)


def drip(line: Line) -> None:
    """One byte now and then: each read succeeds, and the packet never ends."""
    line.take()
    line.send(b"\x20\x7f")
    for _ in range(30):
        line.send(b"\x00")
        time.sleep(0.3)


def noise(line: Line) -> None:
    line.take()
    line.send(b"HTTP/1.1 400 Bad Request\r\n\r\n" + bytes(range(256)) * 8)
    line.hold(10)


def endless_length(line: Line) -> None:
    line.welcome()
    line.send(b"\x30\xff\xff\xff\xff\xff")
    line.hold(10)


def huge_promise(line: Line) -> None:
    """256 MB announced, a few bytes sent."""
    line.welcome()
    line.send(b"\x30\xff\xff\xff\x7f" + b"x" * 1000)
    line.hold(10)


def empty_bodies(line: Line) -> None:
    line.welcome()
    line.send(b"\x30\x00" + b"\x30\x01\x00" + b"\x90\x00" + b"\x40\x00")
    line.hold(10)


def topic_is_not_text(line: Line) -> None:
    line.welcome()
    line.send(b"\x30\x05\x00\x02\xff\xfe!")
    line.hold(10)


def refuse_to_listen(line: Line) -> None:
    line.welcome()
    while True:
        packet = line.take()
        if packet.kind == SUBSCRIBE:
            line.send(b"\x90\x03" + packet.body[:2] + b"\x80")
        else:
            line.answer(packet)


def no_receipt(line: Line) -> None:
    line.serve(3)
    line.hold(10)


def wrong_receipt(line: Line) -> None:
    line.serve(3)
    line.take()
    line.send(b"\x40\x02\xff\xff")
    line.hold(10)


def close_in_mid_message(line: Line) -> None:
    line.serve(6)
    line.send(publish("eggroom/barn/node-a/stored", b"{}")[:9])


BAD = (
    close_at_once, answer_nothing, refuse, half_an_answer, drip, noise, endless_length, huge_promise, empty_bodies,
    topic_is_not_text, refuse_to_listen, no_receipt, wrong_receipt, close_in_mid_message,
)  # fmt: skip

# How many messages the node may have sent before it gave up: none without a subscription, one without a receipt
# after the birth.
PUBLISHED = {refuse_to_listen: 0, no_receipt: 2, wrong_receipt: 2}


@pytest.mark.parametrize("behave", BAD, ids=lambda behave: behave.__name__)
def test_a_broker_that_misbehaves(play: Callable[..., FakeBroker], behave: Callable[[Line], None]) -> None:
    """However the broker misbehaves, the node gives up in time, connects again and sends all its samples."""
    broker = play(behave, well_behaved)
    with start_node(broker.port, "barn", "node-a", **SETTINGS) as node:
        wait_until(lambda: len(broker.lines) > 1 and len(airs(broker.lines[-1])) > 3, 10, node.log())
        assert node.poll() is None
        assert "Traceback" not in node.log()
    assert seqs(broker.lines[-1])[:4] == [0, 1, 2, 3]
    assert len(broker.lines) == 2
    if behave in PUBLISHED:
        assert [packet.kind for packet in broker.lines[0].packets].count(PUBLISH) == PUBLISHED[behave]
    ups = [int(re.search(rb'"up":(\d+)', body)[1]) for body in airs(broker.lines[-1])]  # type: ignore[index]
    assert ups == [seq * 200 // 1000 for seq in seqs(broker.lines[-1])]  # measured on the rhythm all the while


def test_a_message_too_long_to_hold_is_read_past(play: Callable[..., FakeBroker]) -> None:
    """A message of 70 000 bytes is skipped on the same connection, and the short one behind it is understood."""

    def behave(line: Line) -> None:
        line.serve(6)
        line.send(publish("eggroom/barn/service/alive", b"9" * 70000))
        line.send(publish("eggroom/barn/service/alive", b"1"))
        while True:
            line.answer(line.take())

    broker = play(behave)
    with start_node(broker.port, "barn", "node-a", **SETTINGS, ALIVE_MS=300) as node:
        wait_until(lambda: "buzzer on=1" in node.log(), 10, node.log())
        wait_until(lambda: "buzzer on=0" in node.log(), 10, node.log())
        assert len(broker.lines) == 1


def test_a_message_at_qos_1_is_answered(play: Callable[..., FakeBroker]) -> None:
    """A message that comes at QoS 1, though not asked for, gets its PUBACK and is read without the packet id."""

    def behave(line: Line) -> None:
        line.serve(6)
        line.send(publish("eggroom/barn/service/alive", b"1", flags=2, packet_id=b"\x12\x34"))
        while True:
            line.answer(line.take())

    broker = play(behave)
    with start_node(broker.port, "barn", "node-a", **SETTINGS, ALIVE_MS=300) as node:
        wait_until(lambda: "buzzer on=0" in node.log(), 10, node.log())
        wait_until(lambda: Packet(PUBACK, 0, b"\x12\x34") in broker.lines[0].packets, 5, "no PUBACK")


def test_a_quiet_node_pings_and_notices_silence(play: Callable[..., FakeBroker]) -> None:
    """With nothing to send, a ping goes out within the keepalive; when pings stay unanswered the node connects again."""

    def deaf_after_a_while(line: Line) -> None:
        line.serve(7)
        line.hold(20)

    broker = play(deaf_after_a_while, well_behaved)
    with start_node(broker.port, "barn", "node-a", **(SETTINGS | {"INTERVAL_MS": 60000})) as node:
        wait_until(lambda: len(broker.lines) == 2, 15, node.log())
        assert "no answer to a ping" in node.log()
    pings = [
        at for packet, at in zip(broker.lines[0].packets, broker.lines[0].at_s, strict=True) if packet.kind == PINGREQ
    ]
    assert len(pings) >= 2
    assert all(0.8 <= later - earlier <= 2.0 for earlier, later in pairwise(pings))
