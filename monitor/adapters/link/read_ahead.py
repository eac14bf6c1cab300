"""paho's client, which takes in one read all that has come, and in one turn of its loop all the messages in it.

By itself it reads a byte, a byte, a byte and the rest of each message, and between two messages waits anew and sends what there is to be
sent. Each of these gives Python's lock away, over which the engine's thread then wakes for nothing.
"""

from __future__ import annotations

import socket
from collections.abc import Callable

import paho.mqtt.client as mqtt
from paho.mqtt.enums import MQTTErrorCode

READ_BYTES = 16_384  # a hundred messages of a node, and a whole record of TLS
TURN_MESSAGES = 200  # then what there is to be sent has its turn


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

    def pending(self) -> int:
        """How many bytes can be had without a wait for the network. paho's loop asks this, made for TLS, before it waits."""
        return len(self._read) - self._taken or self._held()


class Client(mqtt.Client):
    """See the module."""

    # Of paho's own making, which is pinned. Where it is no longer asked for, messages come as before, only slower.
    def _create_socket(self) -> ReadAhead:
        connected = super()._create_socket()
        assert isinstance(connected, socket.socket)  # as TLS's is; of web sockets there are none here
        return ReadAhead(connected)

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Take what has been read, message by message; max_packets is paho's, which does not look at it."""
        for _ in range(TURN_MESSAGES):
            code = super().loop_read()
            connected = self.socket()  # None once it is lost or left
            if code or not isinstance(connected, ReadAhead) or not connected.pending():
                break
        return code
