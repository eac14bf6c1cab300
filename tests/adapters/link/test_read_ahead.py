"""Reading ahead: the same messages in the same order however the bytes come, and nothing left lying."""

from __future__ import annotations

import random
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from monitor.adapters.link.read_ahead import READ_BYTES, TURN_MESSAGES, Client, Message, ReadAhead
from tests.bench.publisher import remaining_length

CONNACK = b"\x20\x02\x00\x00"


@pytest.fixture
def ends() -> Iterator[tuple[ReadAhead, socket.socket]]:
    """A socket that reads ahead, and the other end of it."""
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    with ours, theirs:
        yield ReadAhead(ours), theirs


def packet(mid: int, payload: bytes, *, topic: bytes = b"t", first: int = 0x32, of_topic: int | None = None) -> bytes:
    """A PUBLISH of MQTT 3.1.1, of QoS 1 unless `first` says otherwise. of_topic: how long its topic is said to be, where that is a lie."""
    body = struct.pack("!H", len(topic) if of_topic is None else of_topic) + topic
    body += (b"" if first & 0x06 == 0 else struct.pack("!H", mid)) + payload
    return bytes([first]) + remaining_length(len(body)) + body


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


def test_the_rest_of_a_message_is_no_message_whatever_it_looks_like() -> None:
    """A message may hold bytes that would be one, and come in two pieces of which the second begins with them."""
    inner = packet(9, b"not a message of its own")
    outer = packet(1, b"x" * 20 + inner + b"y" * 20)
    cut = outer.index(inner)
    got: list[tuple[int, bytes]] = []
    client = Client(CallbackAPIVersion.VERSION2, "x", manual_ack=True)
    client.on_message = lambda client, userdata, message: got.append((message.mid, bytes(message.payload)))
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect("127.0.0.1", server.getsockname()[1])
        connection, _ = server.accept()
        with connection:
            for piece in (CONNACK + outer[:cut], outer[cut:] + packet(2, b"")):
                connection.sendall(piece)
                assert not client.loop(timeout=5.0)
            client.disconnect()
    assert got == [(1, outer[-len(inner) - 40 :]), (2, b"")]


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


@pytest.mark.parametrize("seed", range(4))
def test_whatever_a_message_is_it_is_heard_as_by_paho(seed: int) -> None:
    """QoS, what was stored, a repeat, topics and sizes around those where one more byte says how long, and in between what is no message."""
    chance = random.Random(seed)
    sizes = [0, 1, 2, 119, 120, 121, 122, 123, 124, 125, 16_370, 16_376, 16_377, 16_378, 16_379, 16_380, 16_381, 16_390]
    made = []
    for mid in range(1, 61):
        topic = chance.choice([b"t", b"eggroom/home/node-a/air", b"\xff", "überall".encode(), b"x" * 300])
        first = chance.choice([0x30, 0x31, 0x32, 0x33, 0x38, 0x3A, 0x3B])
        made.append(packet(mid * 1_000, chance.randbytes(chance.choice(sizes)), topic=topic, first=first))
        made.append(chance.choice([b"", b"", b"\xd0\x00"]))  # the broker's answer to a ping
    kinds: tuple[Callable[..., mqtt.Client], ...] = (Client, mqtt.Client)
    ours, plain = (whole(kind, b"".join(made)) for kind in kinds)
    assert ours == plain
    assert len(ours) == 61  # with what the loop said at the end


BAD = {
    "the topic is longer than the message": packet(2, b"", of_topic=9),
    "the topic ends within the id": packet(2, b"", of_topic=2),
    "no topic": packet(2, b"abc", topic=b""),
    "nothing in it": b"\x32\x00",
    "nothing in it, QoS 0": b"\x30\x00",
    "one byte": b"\x32\x01\x00",
    "a size of five bytes": b"\x32\xff\xff\xff\xff\x01",
    "QoS 3": b"\x36" + packet(2, b"")[1:],
}


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD)
def test_what_is_wrong_with_a_message_is_left_to_paho(bad: bytes) -> None:
    """It ends with the same words, and nothing behind it is heard."""
    stream = packet(1, b"first") + bad + packet(3, b"behind") * 3
    kinds: tuple[Callable[..., mqtt.Client], ...] = (Client, mqtt.Client)
    ours, plain = (whole(kind, stream) for kind in kinds)
    assert ours == plain
    assert len(ours) == 2


def whole(kind: Callable[..., mqtt.Client], stream: bytes) -> list[object]:
    """What a client hears of a stream, each message in full; last what its loop said when it ended."""
    client = kind(CallbackAPIVersion.VERSION2, "x", manual_ack=True)
    got: list[object] = []

    def note(client: mqtt.Client, userdata: object, message: mqtt.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError as error:
            topic = repr(error.object)
        got.append((topic, bytes(message.payload), message.mid, message.qos, message.retain))

    client.on_message = note
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect("127.0.0.1", server.getsockname()[1])
        connection, _ = server.accept()
        with connection:
            connection.recv(100)  # its CONNECT: unread, it would take what was sent along when the connection is closed

            def send() -> None:
                connection.sendall(CONNACK + stream)
                connection.shutdown(socket.SHUT_WR)

            sending = threading.Thread(target=send)
            sending.start()
            while not (code := client.loop(timeout=5.0)):
                pass
            sending.join(20)
    return [*got, code]


@pytest.mark.parametrize("protocol", [MQTTProtocolVersion.MQTTv311, MQTTProtocolVersion.MQTTv5])
def test_a_plain_message_is_taken_apart_at_once(protocol: MQTTProtocolVersion) -> None:
    """That is what makes it quick; a message of MQTT 5 may have properties, and is paho's."""
    client = Client(CallbackAPIVersion.VERSION2, "x", manual_ack=True, protocol=protocol)
    got: list[mqtt.MQTTMessage] = []
    client.on_message = lambda client, userdata, message: got.append(message)
    v5 = protocol == MQTTProtocolVersion.MQTTv5
    none = b"\x00" if v5 else b""  # properties
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect("127.0.0.1", server.getsockname()[1])
        connection, _ = server.accept()
        with connection:
            answer = b"\x20\x03\x00\x00\x00" if v5 else CONNACK
            connection.sendall(answer + packet(7, none + b"abc") + packet(8, none, first=0x31))
            while len(got) < 2:
                assert not client.loop(timeout=5.0)
            client.disconnect()
    assert [isinstance(message, Message) for message in got] == [not v5, not v5]
    assert [(m.topic, bytes(m.payload), m.mid, m.qos, m.retain) for m in got] == [
        ("t", b"abc", 7, 1, False),
        ("t", b"", 0, 0, True),
    ]


def test_messages_show_that_the_broker_lives() -> None:
    """Where they come all the time nothing need be asked: paho's count of silence begins anew with each."""
    client = Client(CallbackAPIVersion.VERSION2, "x", manual_ack=True)
    client.on_message = lambda client, userdata, message: None
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect("127.0.0.1", server.getsockname()[1], keepalive=1)
        connection, _ = server.accept()
        with connection:
            connection.sendall(CONNACK)
            connection.settimeout(0.0)
            client.loop(timeout=5.0)
            connection.recv(100)  # its CONNECT
            client._last_msg_out = float("inf")  # what we sent keeps a connection too, and is not asked about here
            for _ in range(8):  # twice the time
                time.sleep(0.25)
                connection.sendall(packet(1, b""))
                assert not client.loop(timeout=5.0)
            with pytest.raises(BlockingIOError):
                connection.recv(100)
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
