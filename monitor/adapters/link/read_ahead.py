"""paho's client, which takes in one read all that has come, and in one turn of its loop all the messages in it.

By itself it reads a byte, a byte, a byte and the rest of each message, and between two messages waits anew and sends what there is to be
sent. Each of these gives Python's lock away, over which the engine's thread then wakes for nothing.

A whole message is taken apart here too, for paho prepares each for being sent as well, with a lock of its own. What is
not plain (a piece of a message, MQTT 5, QoS 2, whatever is wrong) is left to paho, byte for byte.
"""

from __future__ import annotations

import math
import socket
import struct
from collections.abc import Callable, Sequence

import paho.mqtt.client as mqtt
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion

READ_BYTES = 16_384  # a hundred messages of a node, and a whole record of TLS
TURN_MESSAGES = 200  # then what there is to be sent has its turn
# The first byte of a message, but for the bits of a repeat and of what was stored (MQTT 3.1.1, 3.3.1).
_QOS_0, _QOS_1, _BUT_FOR, _STORED = 0x30, 0x32, 0xF6, 0x01
_PLAIN = (_QOS_0, _QOS_1)
_FRONT = struct.Struct("5B").unpack_from  # that byte, the size in one or two, and the length of the topic in two
_LEAST_BYTES = 5
_PUBACK, _ACK = 0x40, struct.Struct("!BBH").pack


class Message(mqtt.MQTTMessage):
    """What is asked of a message that came; nothing is there of what paho keeps for one that goes."""

    __slots__ = ()

    def __init__(self, topic: bytes, payload: bytes, mid: int, *, qos: int, stored: bool) -> None:
        self._topic, self.payload, self.mid, self.qos, self.retain = topic, payload, mid, qos, stored


class ReadAhead:
    """A connected socket of which more may have been read than was asked for."""

    def __init__(self, connected: socket.socket) -> None:
        self._recv = connected.recv
        self._held: Callable[[], int] = getattr(connected, "pending", int)  # by TLS: read, and not given to us yet
        self._read = b""
        self._taken = 0  # of these bytes
        self.send, self.close, self.fileno = connected.send, connected.close, connected.fileno
        self.setblocking, self.shutdown = connected.setblocking, connected.shutdown

    def recv(self, size: int) -> bytes:
        """At most so many bytes, and none at the end. Raises what the socket raises, BlockingIOError where nothing is there yet."""
        begin = self._taken
        if begin == len(self._read):
            self._read, begin = self._recv(READ_BYTES), 0
        found = self._read[begin : begin + size]
        self._taken = begin + len(found)
        return found

    def message(self) -> Message | None:
        """The next message, taken whole; None, and nothing taken, where it is not all read, not plain, or not at all as it should be."""
        if self._taken == len(self._read):
            try:
                self._read, self._taken = self._recv(READ_BYTES), 0
            except OSError:
                return None  # whoever asks next meets it too
        read, at = self._read, self._taken
        if len(read) - at < _LEAST_BYTES:
            return None
        first, size, *rest = _FRONT(read, at)
        if size < 128:
            topic_at, topic_bytes = at + 4, 256 * rest[0] + rest[1]
        else:  # of two bytes, seven bits each (MQTT 3.1.1, 2.2.3); a size of three is more than is read at once
            size += 128 * (rest[0] - 1)
            topic_at, topic_bytes = at + 5, 256 * rest[1] + rest[2]
        topic_end, stop = topic_at + topic_bytes, topic_at - 2 + size
        kind = first & _BUT_FOR
        begin = topic_end + 2 if kind == _QOS_1 else topic_end
        if kind not in _PLAIN or begin > stop or stop > len(read) or not topic_bytes:
            return None
        self._taken = stop
        qos, mid = (1, 256 * read[topic_end] + read[topic_end + 1]) if kind == _QOS_1 else (0, 0)
        return Message(read[topic_at:topic_end], read[begin:stop], mid, qos=qos, stored=first & _STORED != 0)

    def pending(self) -> int:
        """How many bytes can be had without a wait for the network. paho's loop asks this, made for TLS, before it waits."""
        return len(self._read) - self._taken or self._held()


class Client(mqtt.Client):
    """See the module."""

    moved_s = -math.inf  # when its loop last went round: any thread may look

    def loop_misc(self) -> MQTTErrorCode:
        """What paho does at the end of each round of its loop, of which one takes a second at most."""
        self.moved_s = mqtt.time_func()
        return super().loop_misc()

    # Of paho's own making, which is pinned. Where it is no longer asked for, messages come as before, only slower.
    def _create_socket(self) -> ReadAhead:
        connected = super()._create_socket()
        assert isinstance(connected, socket.socket)  # as TLS's is; of web sockets there are none here
        return ReadAhead(connected)

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Take what has been read, message by message; max_packets is paho's, which does not look at it."""
        connected = self.socket()
        for _ in range(TURN_MESSAGES):
            code, message = MQTTErrorCode.MQTT_ERR_SUCCESS, None
            if isinstance(connected, ReadAhead) and not self._in_packet["command"] and self._plain:
                message = connected.message()
            if message is None:
                code = super().loop_read()
            else:
                self._last_bytes_received = mqtt.time_func()  # the broker lives
                if (heard := self.on_message) is not None:
                    heard(self, self._userdata, message)
            connected = self.socket()  # None once it is lost or left
            if code or not isinstance(connected, ReadAhead) or not connected.pending():
                break
        return code

    def ack_all(self, mids: Sequence[int]) -> None:
        """Acknowledge messages of QoS 1, in their order and in one write: paho by itself wakes its thread, and writes, for each."""
        if mids:
            self._packet_queue(_PUBACK, b"".join(_ACK(_PUBACK, 2, mid) for mid in mids), mids[-1], 1)

    @property
    def _plain(self) -> bool:
        return self._protocol != MQTTProtocolVersion.MQTTv5  # of which each message may have properties
