"""Real receivers with faults on demand: an HTTP server and an SMTP server on free ports of this machine."""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import random
import socket
import threading
import time
from collections.abc import Callable
from email import message_from_bytes
from email.policy import default as email_policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qsl

PORTAL = b"""<!DOCTYPE html>
<html><head><title>Guest network</title></head><body><form action="/login">Please accept the terms</form></body></html>"""


def eventually(true: Callable[[], object], within_s: float = 10.0) -> bool:
    """Poll until it is true; False when the deadline passes first."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        if true():
            return True
        time.sleep(0.01)
    return bool(true())


def free_port() -> int:
    """A port nobody listens on just now.

    Each worker has a thousand of its own, below those that the system hands to clients, and goes round in them: between the answer
    and the listening neither another worker nor a connection that is made meanwhile can take it.
    """
    while True:
        port = next(_PORTS)
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", port))
            return port


_FIRST = 20_000 + 1_000 * (int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")) % 12)
_START = random.SystemRandom().randrange(1_000)  # another run on this machine begins elsewhere
_PORTS = itertools.cycle([_FIRST + (_START + n) % 1_000 for n in range(1_000)])


class HttpReceiver:
    """mode, changeable at any time: what it does with a complete request it has received (and recorded in `got`).

    ok 200 with JSON; busy 503; cut closes without an answer; slow answers 200 after `delay_s`; drip sends a header each
    0.2 s until told to stop; portal 200 with a page; redirect 302 to /portal, which is that page; plain 200 with the
    bare text OK declared as text/html; endless 200 and a body that does not stop.
    """

    def __init__(self, mode: str = "ok", delay_s: float = 3.0) -> None:
        self.mode = mode
        self.delay_s = delay_s
        self.got: list[dict[str, Any]] = []  # each message, as JSON or as a form
        self.paths: list[str] = []
        self.headers: list[dict[str, str]] = []
        self._closing = threading.Event()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _http_handler(self))
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)

    @property
    def port(self) -> int:
        return self._server.server_port

    def url(self, path: str = "", query: str = "") -> str:
        """Its json:// address."""
        return f"json://127.0.0.1:{self.port}/{path}{'?' if query else ''}{query}"

    def __enter__(self) -> HttpReceiver:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._closing.set()
        self._server.shutdown()
        self._server.server_close()

    def wait_s(self, seconds: float) -> bool:
        """Whether the receiver is being closed meanwhile."""
        return self._closing.wait(seconds)


def _http_handler(receiver: HttpReceiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
            receiver.paths.append(self.path)
            receiver.headers.append(dict(self.headers.items()))
            receiver.got.append(json.loads(body) if body.startswith(b"{") else dict(parse_qsl(body.decode())))
            getattr(self, f"_{receiver.mode}")()

        def do_GET(self) -> None:  # where a followed redirect ends
            receiver.paths.append(self.path)
            self._portal()

        def _answer(self, status: int, body: bytes, kind: str) -> None:
            self.send_response(status)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def _ok(self) -> None:
            self._answer(200, b'{"id": "1"}', "application/json")

        def _busy(self) -> None:
            self._answer(503, b'{"error": "busy"}', "application/json")

        def _cut(self) -> None:
            self.connection.shutdown(socket.SHUT_RDWR)
            self.close_connection = True

        def _slow(self) -> None:
            if not receiver.wait_s(receiver.delay_s):
                self._ok()

        def _drip(self) -> None:
            try:
                self.connection.sendall(b"HTTP/1.1 200 OK\r\n")
                while not receiver.wait_s(0.2):
                    self.connection.sendall(b"X-Wait: a\r\n")
            except OSError:
                self.close_connection = True

        def _endless(self) -> None:
            try:
                self.connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Type: video/x-motion-jpeg\r\n\r\n")
                while not receiver.wait_s(0):
                    self.connection.sendall(b"\xff\xd8" * 32768)
            except OSError:
                self.close_connection = True

        def _portal(self) -> None:
            self._answer(200, PORTAL, "text/html; charset=utf-8")

        def _redirect(self) -> None:
            self.send_response(302)
            self.send_header("Location", f"http://127.0.0.1:{receiver.port}/portal")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def _plain(self) -> None:
            self._answer(200, b"OK", "text/html; charset=utf-8")

        def log_message(self, format: str, *args: object) -> None:
            """Stay quiet."""

    return Handler


class SmtpReceiver:
    """A real SMTP server. mode: ok; busy answers 451 to every message."""

    def __init__(self, mode: str = "ok") -> None:
        from aiosmtpd.controller import Controller

        self.mode = mode
        self.got: list[tuple[str, str]] = []  # (subject, text)
        self.importance: list[str | None] = []
        self.pages: list[str] = []  # the same text as HTML
        self.port = free_port()
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)

    def url(self, user: str = "node", password: str = "") -> str:
        """Its mailto:// address; the mail is sent from and to example.org."""
        login = f"{user}:{password}@" if password else ""
        return f"mailto://{login}127.0.0.1:{self.port}/?from=house@example.org&to=breeder@example.org"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        """What aiosmtpd calls for each message."""
        if self.mode == "busy":
            return "451 try again later"
        message = message_from_bytes(envelope.content, policy=email_policy)
        self.importance.append(message["Importance"])
        plain, page = message.get_body(("plain",)), message.get_body(("html",))
        self.got.append((str(message["Subject"]), plain.get_content() if plain is not None else ""))
        self.pages.append(page.get_content() if page is not None else "")
        return "250 OK"

    def __enter__(self) -> SmtpReceiver:
        self._controller.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._controller.stop()
