"""The demo's phone: a small web server on this machine that takes what the notification library sends, keeps it and says it on.

It stands in for a phone service, so that the demo shows the whole way, over a real connection, without an account anywhere.
"""

from __future__ import annotations

import json
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

MAX_BYTES = 16 * 1024  # of one message; ours are under 1,000 characters
MAX_KEPT = 1000
_READ_TIMEOUT_S = 5.0


@dataclass(frozen=True, slots=True)
class Heard:
    """One message as it reached the phone. kind: the library's word for its weight (info, warning, failure, success)."""

    title: str
    text: str
    kind: str


class Phone:
    """Listens on this machine only, on a free port unless one is given. Use it as a context, or start() and stop() it.

    on_message is called with each message, from the server's own threads, before the sender gets its answer.
    """

    def __init__(self, on_message: Callable[[Heard], None] | None = None, port: int = 0) -> None:
        self._on_message = on_message
        self._heard: deque[Heard] = deque(maxlen=MAX_KEPT)
        self._server = ThreadingHTTPServer(("127.0.0.1", port), _handler(self._take))
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.1,), name="phone", daemon=True)

    @property
    def url(self) -> str:
        """The address to give a contact."""
        return f"json://127.0.0.1:{self._server.server_port}/"

    @property
    def messages(self) -> list[Heard]:
        """The newest messages, oldest first."""
        return list(self._heard)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Stop listening and free the port."""
        if self._thread.ident is not None:
            self._server.shutdown()
            self._thread.join()
        self._server.server_close()

    def __enter__(self) -> Phone:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _take(self, message: Heard) -> None:
        self._heard.append(message)
        if self._on_message is not None:
            self._on_message(message)


def parse(body: bytes) -> Heard | None:
    """A message out of the library's JSON; None when it is not one."""
    try:
        data = json.loads(body)
    except (ValueError, RecursionError):
        return None
    if not isinstance(data, dict):
        return None
    title, text, kind = data.get("title"), data.get("message"), data.get("type")
    if isinstance(title, str) and isinstance(text, str) and isinstance(kind, str):
        return Heard(title, text, kind)
    return None


def _handler(take: Callable[[Heard], None]) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        timeout = _READ_TIMEOUT_S

        def do_POST(self) -> None:
            given = self.headers.get("Content-Length", "")
            size = int(given) if given.isdecimal() and len(given) < 9 else -1
            message = parse(self.rfile.read(size)) if 0 <= size <= MAX_BYTES else None
            if message is not None:
                take(message)
            answer = json.dumps({"ok": message is not None}).encode()
            self.send_response(200 if message is not None else 400)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing: each message is said by whoever asked to hear it."""

    return Handler
