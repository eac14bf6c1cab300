"""A writer to a broker that is no bottleneck: packets made beforehand, one socket, QoS 1, each acknowledgement counted.

A client library spends more on a message than the daemon does. Here a flood is one long write, and the answers are counted by
their length, so the writer's own rate is the broker's.
"""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
import time
from collections.abc import Iterator, Sequence

_PUBACK_BYTES = 4
_ANSWER_S = 60.0


def packets(messages: Sequence[tuple[str, bytes, object]]) -> list[bytes]:
    """QoS 1 PUBLISH packets of MQTT 3.1.1. Packet ids go round: the broker acknowledges long before one comes again."""
    found = []
    for number, (topic, payload, *_) in enumerate(messages):
        name = topic.encode()
        body = struct.pack("!H", len(name)) + name + struct.pack("!H", number % 65_535 + 1) + payload
        found.append(b"\x32" + remaining_length(len(body)) + body)
    return found


def remaining_length(count: int) -> bytes:
    """A packet's length as MQTT writes it: seven bits a byte."""
    out = bytearray()
    while True:
        count, byte = count >> 7, count & 0x7F
        out.append(byte | (0x80 if count else 0))
        if not count:
            return bytes(out)


class Publisher:
    """One connection that publishes."""

    def __init__(self, connection: socket.socket) -> None:
        self._socket = connection
        self._answered = 0  # bytes
        self._changed = threading.Condition()
        self._sent = 0
        threading.Thread(target=self._count, name="bench-pubacks", daemon=True).start()

    def _count(self) -> None:
        with contextlib.suppress(OSError):
            while data := self._socket.recv(65_536):
                with self._changed:
                    self._answered += len(data)
                    self._changed.notify()

    def flood(self, made: Sequence[bytes]) -> tuple[float, float]:
        """Send all of it as fast as the broker takes it; when it began, and messages a second until all were acknowledged."""
        whole = b"".join(made)
        began = time.monotonic()
        self._socket.sendall(whole)
        self._sent += len(made)
        self._wait()
        return began, len(made) / (time.monotonic() - began)

    def paced(self, made: Sequence[bytes], rate: float) -> list[float]:
        """Send `rate` a second; the monotonic times at which each was handed to the socket."""
        times: list[float] = []
        send, clock, sleep = self._socket.sendall, time.monotonic, time.sleep
        began = clock()
        for number, packet in enumerate(made):
            due = began + number / rate
            while (now := clock()) < due:
                sleep(due - now)
            times.append(now)
            send(packet)
        self._sent += len(made)
        self._wait()
        return times

    def _wait(self) -> None:
        with self._changed:
            if not self._changed.wait_for(lambda: self._answered >= self._sent * _PUBACK_BYTES, _ANSWER_S):
                raise RuntimeError(
                    f"the broker acknowledged {self._answered // _PUBACK_BYTES} of {self._sent} messages"
                )


@contextlib.contextmanager
def publisher(port: int) -> Iterator[Publisher]:
    """A writer to the broker there."""
    with socket.create_connection(("127.0.0.1", port), timeout=_ANSWER_S) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        name = b"bench-publisher"
        body = b"\x00\x04MQTT\x04\x02\x00\x00" + struct.pack("!H", len(name)) + name
        connection.sendall(b"\x10" + remaining_length(len(body)) + body)
        if connection.recv(4) != b"\x20\x02\x00\x00":
            raise RuntimeError("the broker did not take the bench's writer")
        connection.settimeout(None)
        yield Publisher(connection)
        connection.sendall(b"\xe0\x00")
        with contextlib.suppress(OSError):
            connection.shutdown(socket.SHUT_RDWR)
