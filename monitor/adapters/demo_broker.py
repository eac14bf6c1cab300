"""A broker inside the process, for the demo alone: amqtt on a thread of its own.

It forgets what was delivered and not acknowledged when a connection ends, and gives up on an acknowledgement after five seconds, so
a real room needs a real broker. amqtt is an extra: it is loaded when a broker is started, not before.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from typing import TYPE_CHECKING

from monitor.domain.refusal import Failure

if TYPE_CHECKING:
    from amqtt.broker import Broker

START_S = 10.0
STOP_S = 5.0
_CHATTY = ("amqtt", "transitions")  # loggers; each connection and its end would be lines on the demo's screen


class BrokerError(Failure):
    """The broker cannot run."""


class DemoBroker:
    """Listens on one port of this machine; anybody may publish and listen. Speaks MQTT 3.1.1."""

    def __init__(self, port: int, host: str = "127.0.0.1") -> None:
        self._port, self._host = port, host
        self._loop: asyncio.AbstractEventLoop | None = None
        self._end: asyncio.Event | None = None
        self._ready = threading.Event()
        self._failure: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="demo-broker", daemon=True)

    def start(self) -> None:
        """Listen; returns when clients may come. Raises BrokerError."""
        _amqtt()
        for name in _CHATTY:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        self._thread.start()
        if not self._ready.wait(START_S):
            raise BrokerError(f"broker {self._host}:{self._port}", f"not up within {START_S:g} s")
        if self._failure is not None:
            raise BrokerError(f"broker {self._host}:{self._port}", str(self._failure), "a free port")

    def stop(self) -> None:
        """End every connection, and the thread."""
        if self._loop is not None and self._end is not None and self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._end.set)
            self._thread.join(STOP_S)

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception as error:  # noqa: BLE001 - the thread's outermost place
            self._failure = error  # whoever waits for the start is told
        finally:
            self._ready.set()

    async def _serve(self) -> None:
        self._loop, self._end = asyncio.get_running_loop(), asyncio.Event()
        broker = _amqtt()(
            {
                "listeners": {"default": {"type": "tcp", "bind": f"{self._host}:{self._port}"}},
                "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
            }
        )
        await broker.start()
        self._ready.set()
        await self._end.wait()
        await broker.shutdown()


def _amqtt() -> type[Broker]:
    try:
        from amqtt.broker import Broker
    except ImportError:
        raise BrokerError("", "the demo's broker is not installed", "pip install 'eggroom[demo]' first") from None
    return Broker
