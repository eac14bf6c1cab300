"""The reference for the daemon: a bare loop of the same parts, and nothing else.

paho on its own thread with manual acknowledgement; there, each message is decoded (json.loads), its ranges are checked, its wet bulb
is found, three bands are compared, with what was said last kept for each. The main thread writes: executemany, WAL, synchronous
FULL, a group at 20 unacknowledged messages or at 5 s, and acknowledges in order after the commit.

What it lacks is what the daemon is for: numbering and repeats, dating, late messages, profiles by day, alarms with delays,
notices, unknown and refused messages, states, answers to the nodes.

    python -m tests.bench.bare PORT FILE
"""

from __future__ import annotations

import json
import math
import queue
import sqlite3
import sys
import threading
import time
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.bench.watch import Watch, say

TOPICS = "bare/+/+/air"
GROUP_MESSAGES, GROUP_AGE_S = 20, 5.0
PRESSURE_KPA = 101.325
BANDS = ((37.5, 38.1), (40.0, 70.0), (29.44, 30.56))  # dry bulb, relative humidity, wet bulb


def saturation_kpa(dry_bulb_c: float) -> float:
    """Over water; Hyland and Wexler 1983, ASHRAE Handbook - Fundamentals (SI), 2021, chapter 1, eq. 6."""
    k = dry_bulb_c + 273.15
    powers = k * (-4.8640239e-2 + k * (4.1764768e-5 - k * 1.4452093e-8))
    return 0.001 * math.exp(-5.8002206e3 / k + 1.3914993 + powers + 6.5459673 * math.log(k))


def wet_bulb_c(dry_bulb_c: float, rh_pct: float) -> float:
    """Above 0 °C: Stull's estimate (2011, doi:10.1175/JAMC-D-11-0143.1), and three of Newton's steps to the balance of eq. 33."""
    t, h = dry_bulb_c, rh_pct
    w = t * math.atan(0.151977 * math.sqrt(h + 8.313659)) + math.atan(t + h) - math.atan(h - 1.676331)
    w += 0.00391838 * h**1.5 * math.atan(0.023101 * h) - 4.686035
    vapour = 0.01 * h * saturation_kpa(t)
    ratio = 0.621945 * vapour / (PRESSURE_KPA - vapour)
    heat, fall = 1.006 * t + ratio * (2501.0 + 1.86 * t), 1.006 + 4.186 * ratio
    a, b = 0.621945 * 2501.0 + heat, -(0.621945 * 2.326 + fall)
    for _ in range(3):
        k = w + 273.15
        p = saturation_kpa(w)
        slope = (6.5459673 + 5.8002206e3 / k) / k - 4.8640239e-2 + k * (8.3529536e-5 - k * 4.3356279e-8)
        left = p * (a + b * w)
        w -= (left - PRESSURE_KPA * (heat - fall * w)) / (left * slope + p * b + PRESSURE_KPA * fall)
    return float(w)


class Bare:
    """The loop."""

    def __init__(self, port: int, file: str, watch: Watch) -> None:
        self._watch = watch
        self._said: dict[tuple[str, int], bool] = {}
        self.changes = 0
        self._queue: queue.SimpleQueue[tuple[tuple[Any, ...], int] | None] = queue.SimpleQueue()
        self._db = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")
        self._db.execute(
            "CREATE TABLE IF NOT EXISTS reading (probe TEXT, boot INTEGER, seq INTEGER, dry_bulb_c REAL, rh_pct REAL,"
            " wet_bulb_c REAL, PRIMARY KEY (probe, boot, seq)) WITHOUT ROWID"
        )
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, "bench-bare", clean_session=False, manual_ack=True)
        self._client.on_connect = lambda client, *_: client.subscribe(TOPICS, 1)
        self._client.on_subscribe = lambda *_: say("ready")
        self._client.on_message = self._on_message
        self._client.connect_async("127.0.0.1", port, 30)

    def start(self) -> None:
        """Connect, and begin to read."""
        self._client.loop_start()

    def stop(self) -> None:
        """Have the writer end."""
        self._queue.put(None)

    def _on_message(self, client: mqtt.Client, userdata: Any, message: mqtt.MQTTMessage) -> None:
        first, second = json.loads(message.payload)
        dry, rh, boot, seq = first["v"], second["v"], first["boot"], first["seq"]
        if not (-40.0 <= dry <= 80.0 and 0.0 <= rh <= 100.0 and seq >= 0):
            return
        probe = first["bn"]
        wet = wet_bulb_c(dry, rh)
        for band, value in enumerate((dry, rh, wet)):
            low, high = BANDS[band]
            within = low <= value <= high
            if self._said.get((probe, band), True) != within:
                self._said[probe, band] = within
                self.changes += 1
        self._watch.decided(probe[:-1], seq)
        self._queue.put(((probe, boot, seq, dry, rh, wet), message.mid))

    def write(self) -> None:
        """The main thread's work, until the end."""
        rows: list[tuple[Any, ...]] = []
        mids: list[int] = []
        since = time.monotonic()
        while True:
            try:
                item = self._queue.get(timeout=max(0.0, since + GROUP_AGE_S - time.monotonic()) if rows else 1.0)
            except queue.Empty:
                item = ((), 0)
            if item is None:
                break
            if item[0]:
                if not rows:
                    since = time.monotonic()
                rows.append(item[0])
                mids.append(item[1])
            if rows and (len(rows) >= GROUP_MESSAGES or time.monotonic() - since >= GROUP_AGE_S):
                self._db.execute("BEGIN IMMEDIATE")
                self._db.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?, ?, ?)", rows)
                self._db.execute("COMMIT")
                for mid in mids:
                    self._client.ack(mid, 1)
                self._watch.acknowledged(len(mids))
                rows, mids = [], []
        self._client.disconnect()
        self._client.loop_stop()
        self._db.close()


def main() -> None:
    """See the module."""
    watch = Watch()
    bare = Bare(int(sys.argv[1]), sys.argv[2], watch)

    def serve() -> None:
        watch.serve()
        bare.stop()

    threading.Thread(target=serve, daemon=True).start()
    bare.start()
    bare.write()


if __name__ == "__main__":
    main()
