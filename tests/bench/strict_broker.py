"""A broker as strict as the standard lets one be: so many messages in flight, and the next one only when one was acknowledged.

Debian 12's Mosquitto 2.0.11 sends up to a whole window for each acknowledgement (mended in 2.0.13), so with it a receiver that
waits too long before it acknowledges still looks quick. This one speaks as much of MQTT 3.1.1 as one subscriber needs, and
what it delivers is handed in by `offer`.

    with StrictBroker() as broker:
        ...                                  # a receiver connects to broker.port and subscribes
        broker.offer([("a/topic", b"payload")])
        broker.wait_acknowledged(1)
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Sequence

from tests.bench.publisher import remaining_length

WINDOW = 20  # Mosquitto's default (max_inflight_messages)
_MIDS = 65_535


class StrictBroker:
    """See the module. subscribed: set while a receiver has subscribed; subscribed_at, acknowledged_at: monotonic times of the last."""

    def __init__(self, window: int = WINDOW) -> None:
        self.window = window
        self.subscribed = threading.Event()
        self.subscribed_at = self.acknowledged_at = 0.0
        self.acknowledged = 0
        self.most_in_flight = 0
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._socket.getsockname()[1])
        self._waiting: deque[tuple[str, bytes]] = deque()
        self._in_flight: dict[int, tuple[str, bytes]] = {}
        self._mid = 0
        self._writer: asyncio.StreamWriter | None = None
        self._changed = threading.Condition()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, name="strict-broker", daemon=True)

    def __enter__(self) -> StrictBroker:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5)

    def offer(self, messages: Sequence[tuple[str, bytes]]) -> None:
        """Deliver these, in order, at QoS 1. From any thread."""

        def take() -> None:
            self._waiting.extend(messages)
            self._release()

        self._loop.call_soon_threadsafe(take)

    def wait_acknowledged(self, count: int, within_s: float = 60.0) -> float:
        """Wait until so many were acknowledged since the broker began; the monotonic time of the last of them."""
        with self._changed:
            if not self._changed.wait_for(lambda: self.acknowledged >= count, within_s):
                raise RuntimeError(f"{self.acknowledged} of {count} messages acknowledged within {within_s:g} s")
            return self.acknowledged_at

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        server = self._loop.run_until_complete(asyncio.start_server(self._serve, sock=self._socket))
        self._loop.run_forever()
        server.close()
        for task in asyncio.all_tasks(self._loop):
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                self._loop.run_until_complete(task)
        self._loop.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        # As `set_tcp_nodelay true` does in Mosquitto: else TCP itself waits up to 40 ms for what a silent receiver has not acknowledged.
        writer.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            while True:
                self._answer(writer, *await _packet(reader))
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            if self._writer is writer:
                self._writer = None
                self.subscribed.clear()
                self._waiting.extendleft(
                    reversed(self._in_flight.values())
                )  # its session: what it did not acknowledge comes again
                self._in_flight.clear()
            writer.close()

    def _answer(self, writer: asyncio.StreamWriter, head: int, body: bytes) -> None:
        kind = head >> 4
        if kind == 1:
            writer.write(b"\x20\x02\x00\x00")
        elif kind == 3:
            self._published(writer, head, body)
        elif kind == 4:
            self._in_flight.pop(
                int.from_bytes(body[:2], "big")
            )  # one that is not in flight would be the receiver's mistake
            with self._changed:
                self.acknowledged += 1
                self.acknowledged_at = time.monotonic()
                self._changed.notify_all()
            self._release()
        elif kind == 8:
            writer.write(b"\x90" + remaining_length(2 + _filters(body)) + body[:2] + b"\x01" * _filters(body))
            self._writer = writer
            self.subscribed_at = time.monotonic()
            self.subscribed.set()
            self._release()
        elif kind == 12:
            writer.write(b"\xd0\x00")

    def _published(self, writer: asyncio.StreamWriter, head: int, body: bytes) -> None:
        """What the receiver itself says: its own ping comes back to it, the rest is taken and forgotten."""
        length = int.from_bytes(body[:2], "big")
        if head >> 1 & 3:
            writer.write(b"\x40\x02" + body[2 + length : 4 + length])
        elif body[2 : 2 + length].endswith(b"/service/ping"):
            writer.write(b"\x30" + remaining_length(len(body)) + body)

    def _release(self) -> None:
        while self._writer is not None and self._waiting and len(self._in_flight) < self.window:
            topic, payload = self._waiting.popleft()
            self._mid = self._mid % _MIDS + 1
            self._in_flight[self._mid] = (topic, payload)
            self.most_in_flight = max(self.most_in_flight, len(self._in_flight))
            name = topic.encode()
            body = struct.pack("!H", len(name)) + name + struct.pack("!H", self._mid) + payload
            self._writer.write(b"\x32" + remaining_length(len(body)) + body)


def _filters(body: bytes) -> int:
    count, place = 0, 2
    while place < len(body):
        place += 2 + int.from_bytes(body[place : place + 2], "big") + 1
        count += 1
    return count


async def _packet(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    head = (await reader.readexactly(1))[0]
    length, shift = 0, 0
    while True:
        byte = (await reader.readexactly(1))[0]
        length |= (byte & 0x7F) << shift
        shift += 7
        if not byte & 0x80:
            return head, await reader.readexactly(length)
