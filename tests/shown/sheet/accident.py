"""An invented house with one known accident, made apart from the demo's season: other machines, another rhythm, another kind of thermostat.

Four batches of hens in one cabinet. Three went well. In the fourth the relay of the heater stuck on the evening of day 12 for three and a
half hours; the turner stood still for a day and a half before that; egg 7 was seen alive on day 10 and found dead on day 14, egg 8 hatched. The lower
sensor reads a tenth too low and was never held against anything. Every bird, egg and reading is made up.
"""

from __future__ import annotations

import contextlib
import hashlib
import math
import struct
import tomllib
import zlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.tables.profiles import load_profiles
from monitor.app import store_path
from monitor.domain.alarms.alarm import ACKNOWLEDGED, BACK, BEYOND, NORMAL, UNACKNOWLEDGED, Alarm, Transition
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import (
    AirCell,
    Attached,
    Brooded,
    Candling,
    ChickMass,
    Dead,
    Entry,
    Fact,
    Found,
    Hatched,
    Identity,
    Laid,
    Size,
    Weighing,
)
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import OF_TURNING
from monitor.domain.readings.calibration import Calibration, by_offset
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import PASS, to_ms
from monitor.domain.state.happened import TURNING, Turned
from monitor.domain.state.record import Event, Group, StoredReading
from monitor.settings import House, build_house, parse_settings

STEP_S = 420
SET = datetime(2026, 2, 2, 7, 30, tzinfo=UTC)  # of the fourth batch
DAYS, AFTER_D = 21.0, 1.2
STUCK_D, STUCK_H = 12.4, 3.5
STOOD_D = (8.9, 10.4)
PROBES = {"low": -0.1, "high": 0.05}  # K off, about the middle
TEXT = """
[site]
id = "attic"
name = "Invented attic"
zone = "Europe/Berlin"
elevation_m = 640
data = "record"
[[machine]]
id = "cabinet"
name = "Cabinet"
kind = "setter"
[[machine]]
id = "box"
name = "Box"
kind = "brooder"
[[probe]]
node = "node-k"
probe = "low"
machine = "cabinet"
position = "low"
interval_s = 420
[[probe]]
node = "node-k"
probe = "high"
machine = "cabinet"
position = "high"
interval_s = 420
[[probe]]
node = "node-m"
probe = "in"
machine = "box"
interval_s = 420
"""


def house_in(folder: Path) -> House:
    """The house, as its configuration says."""
    return build_house(
        parse_settings(tomllib.loads(TEXT), "eggroom.toml"), load_profiles(None), folder / "eggroom.toml"
    )


def write_house(folder: Path) -> House:
    """The house with its record, in an empty folder."""
    (folder / "eggroom.toml").write_text(TEXT, encoding="utf-8")
    house = house_in(folder)
    store_path(house).parent.mkdir()
    with contextlib.closing(open_writer(store_path(house))) as opened:
        SqliteLedger(opened.connection).commit(made())
    return house


def day(days: float) -> datetime:
    """So many days after the set of the fourth batch."""
    return SET + timedelta(days=days)


def made(warmer_k: float = 0.0) -> Group:
    """The whole record. warmer_k: by how much the fourth batch was warmer on its days 1 to 6, within its alarm limits."""
    begin = SET - timedelta(days=100)
    group = Group(lines={1: Line(1, "node-k", 5, UPTIME, 0, to_ms(begin), 0, 0)})
    for place in range(4):
        set_at = SET - timedelta(days=30 * (3 - place))
        batch = Batch(
            f"attic-{place + 1}",
            "chicken",
            set_at,
            10,
            "invented",
            stays=(Stay("cabinet", set_at, set_at + timedelta(days=DAYS + AFTER_D)),),
            closed_at=set_at + timedelta(days=DAYS + AFTER_D),
        )
        book = _last(EggBook(batch), group) if place == 3 else _well(EggBook(batch))
        group.batches[batch.id] = batch
        group.entries += [(batch.id, entry) for entry in book.entries]
        group.readings += _readings(batch, begin, accident=place == 3, warmer_k=warmer_k if place == 3 else 0.0)
    group.calibrations.append(
        Calibration("node-k/high", day(-12.0), day(-12.0), None, "kim", dry_bulb_c=by_offset("dry_bulb_c", 0.0))
    )
    what = Turned(OF_TURNING, True)
    turns = [n / 12.0 for n in range(1, 18 * 12) if not STOOD_D[0] < n / 12.0 < STOOD_D[1]]
    group.events += [Event(day(d), TURNING, "cabinet", what=what) for d in turns]
    group.transitions += _rang()
    return group


def _readings(batch: Batch, begin: datetime, *, accident: bool, warmer_k: float) -> list[StoredReading]:
    """A hunting thermostat; damper after lockdown; in the accident nearly six kelvin too warm, and drier for it."""
    rng = np.random.default_rng(to_ms(batch.set_at) // 86_400_000)
    found = []
    for n in range(int((DAYS + AFTER_D) * 86_400 / STEP_S)):
        at_d = n * STEP_S / 86_400.0
        off_target_k = warmer_k if 1.0 <= at_d < 6.0 else 0.0
        swing_k = off_target_k + 0.22 * math.sin(n * 1.7) + 0.08 * math.sin(at_d * 2.0 * math.pi)
        stuck_k = 0.0
        if accident and at_d >= STUCK_D:
            gone_h = (at_d - STUCK_D) * 24.0
            stuck_k = 5.8 * (1.0 - math.exp(-min(gone_h, STUCK_H) / 0.5))
            stuck_k *= math.exp(-max(gone_h - STUCK_H, 0.0) / 0.4)
        rh_pct = (54.5 if at_d < 18.0 else 69.0) + 1.5 * math.sin(at_d * 2.1) - 2.6 * stuck_k + rng.normal(0.0, 0.4)
        up_ms = to_ms(batch.set_at) - to_ms(begin) + n * STEP_S * 1000
        for place, (probe, off_k) in enumerate(PROBES.items()):
            dry_bulb_c = 37.75 + swing_k + stuck_k * (0.93 if place == 0 else 1.0) + off_k + rng.normal(0.0, 0.02)
            found.append(StoredReading(f"node-k/{probe}", 1, up_ms, round(dry_bulb_c, 3), round(rh_pct, 2), PASS, PASS))
    return found


def _well(book: EggBook) -> EggBook:
    for egg in range(1, 11):
        book = _put(book, 7.0, Candling("alive"), egg)
        book = _put(book, 21.0 + egg / 40.0, Hatched() if egg > 1 else Dead("late"), egg)
    return book


def _last(book: EggBook, group: Group) -> EggBook:
    book = _put(book, 0.0, Identity(pair="P3", clutch="2"))
    book = _put(book, 0.0, Laid(stored_days=4.0))
    for egg in range(1, 11):
        book = _put(book, 0.0, Identity(label=f"A{egg}", tray="B", place=str(egg)), egg)
        for on_d in (5.0, 10.0):
            book = _put(book, on_d, Candling("alive"), egg)
    book = _put(book, 0.0, Size(58.1, 43.2), 7)
    for on_d, mass_g in ((0.1, 60.2), (5.0, 58.6), (10.0, 57.0), (14.0, 55.6)):
        book = _put(book, on_d, Weighing(mass_g), 7)
    for on_d, near, far in ((5.0, 8.0, None), (10.0, 11.0, 13.0), (14.0, 12.0, 16.0)):
        book = _put(book, on_d, AirCell(near, far), 7)
    for egg in (3, 7, 9):
        book = _put(book, 14.0, Candling("dead"), egg)
        book = _put(book, 14.1, Dead("middle"), egg)
    book = _put(book, 14.1, Found("dead-middle-third"), 7)
    picture = _picture()
    sha256 = hashlib.sha256(picture).hexdigest()
    group.files[sha256] = picture
    book = _put(book, 14.1, Attached("egg-7.png", sha256, float(len(picture)), "under the lamp"), 7)
    for egg in (1, 2, 4, 5, 6, 8, 10):
        book = _put(book, 21.2 + egg / 50.0, Hatched(), egg)
    for on_d, mass_g in ((21.6, 39.1), (22.0, 40.3)):
        book = _put(book, on_d, ChickMass(mass_g), 8)
    return _put(book, 21.7, Brooded("box"), 8)


def _put(book: EggBook, days: float, fact: Fact, egg: int | None = None) -> EggBook:
    at = book.batch.set_at + timedelta(days=days)
    return add(book, Entry(at, at, "kim", fact, egg))


def _rang() -> list[Transition]:
    since, answered, over = day(STUCK_D + 0.02), day(STUCK_D + 0.13), day(STUCK_D + 0.19)
    alarm = Alarm("cabinet", "dry-bulb-high-alarm", number=41, episode=1, condition=True, since=since)
    return [
        Transition(alarm, NORMAL, UNACKNOWLEDGED, BEYOND, since, 0.0),
        Transition(alarm, UNACKNOWLEDGED, ACKNOWLEDGED, ACKNOWLEDGED, answered, 0.0, "kim"),
        Transition(alarm, ACKNOWLEDGED, NORMAL, BACK, over, 0.0),
    ]


def _picture(size: int = 48) -> bytes:
    """A light disc on dark, as PNG."""
    rows = b""
    for y in range(size):
        row = [
            200 - abs(x - size // 2) * 3 if (x - size / 2) ** 2 + (y - size / 2) ** 2 < size * 7 else 25
            for x in range(size)
        ]
        rows += b"\0" + bytes(max(v, 0) for v in row)

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", size, size, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
