"""Row 5: from a reading beyond its limit to the message at the phone service, beside one plain request of the same size."""

from __future__ import annotations

import json
import queue
import sys
import threading
import time
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from statistics import median
from typing import Any

from tests.bench.pairs import Goal, Result, measure, percentile
from tests.bench.publisher import Publisher, packets, publisher
from tests.bench.room import (
    DRY_BULB_C,
    NODES,
    RH_PCT,
    Stream,
    environment,
    folder,
    mosquitto,
    running,
    settled,
    write_house,
)

# What kills hens' eggs (40.6 °C), with the wet bulb where it was: it is told each time that it comes, and its end too.
HOT_C, HOT_RH_PCT = 41.5, 44.0
ANSWER_S = 30.0
# Each alarm is measured as if it were the first in ten minutes: no message waits to be joined with the next of a flood.
AT_ONCE = "import sys; from monitor.service.watch import outbox; outbox.WINDOW_S = 0.0; from monitor.cli.main import main; sys.exit(main(sys.argv[1:]))"
RULES = "[rules.dry-bulb-lethal]\non_delay_s = 0\noff_delay_s = 0\n"


class Phone:
    """A phone service: takes a message, notes when it was there whole, and answers as a service does."""

    def __init__(self) -> None:
        self.got: queue.Queue[tuple[float, bytes]] = queue.Queue()
        got = self.got

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                got.put((time.monotonic(), body))
                self.send_response(200)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", "2")
                self.end_headers()
                self.wfile.write(b"{}")

            def log_message(self, format: str, *args: Any) -> None:
                """Stay quiet."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.port = self._server.server_port

    def __enter__(self) -> Phone:
        threading.Thread(target=self._server.serve_forever, args=(0.05,), name="bench-phone", daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()

    def wait(self) -> tuple[float, bytes]:
        """The next message: when it was there, and its body."""
        try:
            return self.got.get(timeout=ANSWER_S)
        except queue.Empty:
            raise RuntimeError(f"no message at the phone within {ANSWER_S:g} s") from None

    def post_ms(self, body: bytes) -> float:
        """A plain request with this body, from the call to its being there."""
        url = f"http://127.0.0.1:{self.port}/"
        request = urllib.request.Request(url, body, {"Content-Type": "application/json"})
        began = time.monotonic()
        with urllib.request.urlopen(request, timeout=ANSWER_S) as answer:
            answer.read()
        return 1000.0 * (self.wait()[0] - began)


def alarms(pairs: int, in_each: int) -> list[Result]:
    """Row 5. in_each: alarms in a slice; pairs times in_each should be 100 or more."""
    with folder() as path, mosquitto(path) as port, Phone() as phone:
        config = write_house(path, port, contact_url=f"json://127.0.0.1:{phone.port}/", rules=RULES)
        command = [sys.executable, "-c", AT_ONCE, "run", "--config", str(config)]
        with (path / "daemon.log").open("w") as log, running(command, stderr=log, env=environment(path)) as _, publisher(port) as writer:  # fmt: skip
            settled(config)
            room = _Room(writer, phone)
            first_ms = room.alarm_ms()
            body = room.last
            found = measure(
                lambda: [room.alarm_ms() for _ in range(in_each)],
                lambda: [phone.post_ms(body) for _ in range(in_each)],
                pairs,
            )
    chosen = [p for p in found if p.trusted] or found
    ours = [wait for pair in chosen for wait in pair.ours]
    theirs = [wait for pair in chosen for wait in pair.theirs]
    theirs_p99 = percentile(theirs, 0.99)
    each = [percentile(p.ours, 0.99) - theirs_p99 for p in chosen]
    return [
        Result(
            "5",
            f"publish to the message at a local phone service, p99 of {len(ours)} alarms",
            "one plain request of the same size",
            Goal(500.0),
            percentile(ours, 0.99) - theirs_p99,
            "ms over it",
            min(each),
            max(each),
            f"{percentile(ours, 0.99):.1f} ms",
            f"{theirs_p99:.1f} ms",
            sum(p.trusted for p in found),
            len(found),
            f"p50 {median(ours):.1f} ms; a run's first alarm, which loads the notification library, {first_ms:.0f} ms, is not among them",
        )
    ]


class _Room:
    """Makes one machine too hot, and cool again, at a time."""

    def __init__(self, writer: Publisher, phone: Phone) -> None:
        self._writer, self._phone = writer, phone
        self._stream = Stream("eggroom")
        self._turn = 0
        self.last = b""
        for place in range(len(NODES)):
            for _ in range(2):  # a start's first message is judged by nobody
                self._send(place, DRY_BULB_C, RH_PCT)

    def alarm_ms(self) -> float:
        """From the reading that confirms the heat to its message; then the machine cools, and the closing message is waited for."""
        place = self._turn % len(NODES)
        self._turn += 1
        self._send(place, HOT_C, HOT_RH_PCT)  # a jump waits for the next reading
        began = self._send(place, HOT_C, HOT_RH_PCT)
        arrived, self.last = self._phone.wait()
        self._expect(self.last, place, "deadly heat")
        for _ in range(2):
            self._send(place, DRY_BULB_C, RH_PCT)
        self._expect(self._phone.wait()[1], place, "no longer deadly heat")
        return 1000.0 * (arrived - began)

    def _send(self, place: int, dry_bulb_c: float, rh_pct: float) -> float:
        topic, payload = self._stream.one(place, dry_bulb_c, rh_pct)
        return self._writer.paced(packets([(topic, payload, None)]), 1.0)[0]

    def _expect(self, body: bytes, place: int, words: str) -> None:
        message = json.loads(body)
        text = f"{message['title']} {message['message']}"
        if f"Setter {place + 1}" not in text or words not in text:
            raise RuntimeError(f"the phone got {text[:120]!r}, expected Setter {place + 1} and {words!r}")
