"""Reading ahead: the same messages in the same order however the bytes come, and nothing left lying."""

from __future__ import annotations

import random
import socket
import struct
import threading
from collections.abc import Callable, Iterator

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from monitor.adapters.link.read_ahead import READ_BYTES, TURN_MESSAGES, Client, ReadAhead
from tests.bench.publisher import remaining_length

CONNACK = b"\x20\x02\x00\x00"


@pytest.fixture
def ends() -> Iterator[tuple[ReadAhead, socket.socket]]:
    """A socket that reads ahead, and the other end of it."""
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    with ours, theirs:
        yield ReadAhead(ours), theirs


def packet(mid: int, payload: bytes) -> bytes:
    """A PUBLISH of MQTT 3.1.1, QoS 1."""
    body = struct.pack("!H", 1) + b"t" + struct.pack("!H", mid) + payload
    return b"\x32" + remaining_length(len(body)) + body


def test_bytes_come_in_order_and_no_more_than_asked(ends: tuple[ReadAhead, socket.socket]) -> None:
    """What was read ahead is given first, at most so much as asked; then the socket speaks for itself."""
    ahead, other = ends
    assert ahead.pending() == 0
    with pytest.raises(BlockingIOError):
        ahead.recv(1)
    other.sendall(b"abcdef")
    assert (ahead.recv(1), ahead.pending()) == (b"a", 5)
    other.sendall(b"gh")
    assert (ahead.recv(4), ahead.recv(4), ahead.pending()) == (b"bcde", b"f", 0)
    assert ahead.recv(4) == b"gh"
    with pytest.raises(BlockingIOError):
        ahead.recv(1)
    other.close()
    assert (ahead.recv(1), ahead.recv(1), ahead.pending()) == (b"", b"", 0)


def test_what_tls_holds_is_pending_too() -> None:
    """TLS takes a record at a time and may hold the next one, which no wait for the network would show."""

    class Tls(socket.socket):
        held = 7

        def pending(self) -> int:
            return self.held

    with Tls() as connected:
        ahead = ReadAhead(connected)
        assert ahead.pending() == 7
        connected.held = 0
        assert ahead.pending() == 0


def heard(client: mqtt.Client, pieces: list[bytes], count: int) -> list[tuple[int, bytes]]:
    """The (id, payload) that a client hears when a broker sends these pieces, one write each, and leaves."""
    messages: list[tuple[int, bytes]] = []
    whole = threading.Event()

    def note(client: mqtt.Client, userdata: object, message: mqtt.MQTTMessage) -> None:
        messages.append((message.mid, bytes(message.payload)))
        if len(messages) >= count:
            whole.set()

    client.on_message = note
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect_async("127.0.0.1", server.getsockname()[1])
        client.loop_start()
        connection, _ = server.accept()
        with connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            connection.recv(1_000)
            for piece in pieces:
                connection.sendall(piece)
            assert whole.wait(20), f"{len(messages)} of {count} messages"
            client.disconnect()
            client.loop_stop()
    return messages


@pytest.mark.parametrize("seed", range(4))
def test_the_same_messages_however_the_bytes_are_cut(seed: int) -> None:
    """Whole, byte by byte, cut anywhere, longer than one read: as paho's own client hears them."""
    chance = random.Random(seed)
    longest = (0, 200, 3 * READ_BYTES, 300)[seed]
    packets = [packet(mid, chance.randbytes(chance.randint(0, longest))) for mid in range(1, 41)]
    stream = CONNACK + b"".join(packets)
    cuts = sorted(chance.sample(range(1, len(stream)), (len(stream) - 1, 30, 10, 0)[seed]))
    pieces = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
    kinds: tuple[Callable[..., mqtt.Client], ...] = (Client, mqtt.Client)
    ours, plain = (heard(kind(CallbackAPIVersion.VERSION2, "x", manual_ack=True), pieces, 40) for kind in kinds)
    assert ours == plain
    assert [mid for mid, _ in ours] == list(range(1, 41))


def test_one_turn_takes_all_that_was_read_but_lets_the_rest_wait() -> None:
    """One call handles what one read brought, up to a bound, so that acknowledgements go out between; and then there is no wait."""
    client = Client(CallbackAPIVersion.VERSION2, "x", manual_ack=True)
    got: list[int] = []
    client.on_message = lambda client, userdata, message: got.append(message.mid)
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect("127.0.0.1", server.getsockname()[1])
        connection, _ = server.accept()
        with connection:
            made = [packet(mid, b"") for mid in range(1, TURN_MESSAGES + 12)]
            connection.sendall(CONNACK + b"".join(made))
            ahead = client.socket()
            assert isinstance(ahead, ReadAhead)  # paho still asks us for its socket
            client.loop_read()
            assert len(got) == TURN_MESSAGES - 1  # the broker's answer came first
            assert ahead.pending() == len(b"".join(made[TURN_MESSAGES - 1 :]))
            client.loop_read()
            assert len(got) == len(made)
            assert ahead.pending() == 0
            client.disconnect()


def test_nothing_is_taken_after_what_ended_the_connection() -> None:
    """What no broker may say ends the connection, and what was read behind it with it; the broker sends that again."""
    client = Client(CallbackAPIVersion.VERSION2, "x", manual_ack=True)
    got: list[int] = []
    client.on_message = lambda client, userdata, message: got.append(message.mid)
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect("127.0.0.1", server.getsockname()[1])
        connection, _ = server.accept()
        with connection:
            of_qos_3 = b"\x36" + packet(2, b"")[1:]
            connection.sendall(CONNACK + packet(1, b"") + of_qos_3 + packet(3, b""))
            assert client.loop_read() == MQTTErrorCode.MQTT_ERR_PROTOCOL
    assert got == [1]
    assert client.socket() is None
