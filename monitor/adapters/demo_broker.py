"""A broker inside the process, for the demo alone: amqtt speaks MQTT 3.1.1 over TCP, and can lose what it has acknowledged when a
client leaves at once after publishing. A real room has Mosquitto.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import threading
from typing import Any

START_S = 10.0
HOW = "pip install 'eggroom[demo]'"


class BrokerError(Exception):
    """The demo's broker cannot start; one line."""


class DemoBroker:
    """Listens on this machine only; in a thread of its own, with its own event loop."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ending: asyncio.Event | None = None
        self._ready = threading.Event()
        self._failure: str | None = None
        self._thread = threading.Thread(target=self._run, name="demo-broker", daemon=True)

    def start(self) -> None:
        """Listen. Raises BrokerError when amqtt is not installed or the port is taken."""
        try:
            import amqtt.broker  # noqa: F401
        except ImportError as error:
            raise BrokerError(f"amqtt: not installed, expected the demo's broker: {HOW}") from error
        with contextlib.closing(socket.socket()) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", self._port))
            except OSError as error:
                reason = (error.strerror or str(error)).lower()
                raise BrokerError(f"port {self._port}: {reason}, expected a free port; choose another with --port") from error
        self._thread.start()
        if not self._ready.wait(START_S) or self._failure is not None:
            raise BrokerError(f"port {self._port}: {self._failure or 'no start in time'}, expected the demo's broker to start")

    def stop(self) -> None:
        """Stop listening."""
        loop, ending = self._loop, self._ending
        if loop is not None and ending is not None:
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(ending.set)
        if self._thread.ident is not None:
            self._thread.join(timeout=5.0)

    def _run(self) -> None:
        # The library logs every client that leaves as an error; in a demo that is noise.
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        try:
            asyncio.run(self._serve())
        except Exception as error:  # noqa: BLE001
            # The thread's outermost place: whatever the library raised, the one who waits is told.
            self._failure = f"{type(error).__name__}: {error}"
        self._ready.set()

    async def _serve(self) -> None:
        from amqtt.broker import Broker

        self._loop = asyncio.get_running_loop()
        self._ending = asyncio.Event()
        config: dict[str, Any] = {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{self._port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
        broker = Broker(config)
        await broker.start()
        self._ready.set()
        await self._ending.wait()
        await broker.shutdown()
