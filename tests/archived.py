"""A record with a batch worth an archive, for the tests of the archive."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.alarm import NORMAL, UNACKNOWLEDGED, Alarm, Transition
from monitor.domain.alarms.notice import Notice
from monitor.domain.eggs.entry import Candling, Dead, Entry, Fact, Found, Hatched, Note, Size, Weighing, Withdrawn
from monitor.domain.needs.batch import Batch, closed, declared, moved
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import Calibration, by_offset, by_salts
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.numbering import Gap
from monitor.domain.readings.reading import FAIL, MISSING, PASS, SUSPECT, to_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Attempt, Event, Group, StoredReading
from monitor.service.ports import Ledger
from monitor.settings import build_house, parse_settings

SET = datetime(2026, 3, 1, 18, 0, 0, 250_000, tzinfo=UTC)
PROFILES = load_profiles(None)
SECRET = "tgram://123456:s3cr3t/42"


def day(days: float) -> datetime:
    """So many days after the set time."""
    return SET + timedelta(days=days)


CONFIG = f"""
machine = [
  {{ id = "setter-1", rules = {{ dry-bulb-low-alarm = {{ on_delay_s = 120 }} }} }},
  {{ id = "setter-2", air = "still" }},
  {{ id = "hatcher-1", kind = "hatcher" }},
  {{ id = "setter-9" }},
]
probe = [
  {{ node = "node-a", probe = "top", machine = "setter-1", interval_s = 600 }},
  {{ node = "node-a", probe = "low", machine = "setter-1", interval_s = 900 }},
  {{ node = "node-b", probe = "top", machine = "setter-2", interval_s = 600 }},
  {{ node = "node-c", probe = "top", machine = "hatcher-1", interval_s = 600 }},
  {{ node = "node-z", probe = "top", machine = "setter-9", interval_s = 600 }},
]
contact = [{{ id = "sam", url = "{SECRET}" }}]
rules = {{ hatch-overdue = {{ limit = 2.5 }} }}

[site]
id = "home"
zone = "Europe/Berlin"
elevation_m = 820
unit = "F"
link = "https://x.example/s3cr3t"
data = "record"
"""


def make_site() -> Site:
    """Three machines that the batch was in, one that it was not, numbers of the site's and of a machine's own, a contact."""
    return build_house(parse_settings(tomllib.loads(CONFIG), "test"), PROFILES, Path("test.toml")).site


def open_batch() -> Batch:
    """setter-1, then the still-air setter-2, setter-1 again, and the hatcher; lockdown declared early."""
    batch = moved(Batch("hen-1", "chicken", SET, 24, "été, 鳥"), "setter-1", SET)
    batch = moved(batch, "setter-2", day(6.3))
    batch = moved(batch, "setter-1", day(6.31))
    return declared(moved(batch, "hatcher-1", day(17.6)), "lockdown", day(17.55))


def fill(ledger: Ledger, batch: Batch) -> None:
    """Weeks of air with a gap, odd floats and bad readings, a calibration, work at the machine, alarms, messages, and an egg book."""
    nodes = {"node-a": ("top", "low"), "node-b": ("top",), "node-c": ("top",), "node-z": ("top",)}
    group = Group(batches={batch.id: batch, "other": replace(batch, id="other", note="not ours")})
    for id_, (node, probes) in enumerate(nodes.items(), 1):
        group.lines[id_] = Line(id_, node, 7, UPTIME, 0, to_ms(day(-2)), 0, 86_400_000 * 25)
        for probe in probes:
            group.readings += [r for n in range(24 * 6 * 25) if (r := _reading(f"{node}/{probe}", id_, n)) is not None]
    group.calibrations = [
        Calibration("node-a/top", day(9), day(3), day(400), "Ada", "bath", by_offset("dry_bulb_c", 0.3)),
        Calibration("node-z/top", day(9), dry_bulb_c=by_offset("dry_bulb_c", 1.0)),
        Calibration(
            "node-a/low", day(10), rh_pct=by_salts([("sodium-chloride", 73.1), ("magnesium-chloride", 34.0)], 26.3)
        ),
    ]
    group.handlings = {"setter-1": Handling("setter-1", day(4), day(4.01), 5.0, "Ada"), "setter-9": Handling("setter-9", day(4), day(4.01), 5.0, "Ada")}  # fmt: skip
    group.events = [
        Event(day(-1), "opening", "setter-1", "before the batch"),
        Event(SET, "batch", "hen-1", "set"),
        Event(SET, "batch", "other", "set"),
        Event(day(5), "opening", "setter-1", "opened, 3 min"),
        Event(day(5), "opening", "setter-9", "another machine"),
        Event(day(8), "opening", "setter-2", "after it was there"),
        Event(day(9), "node", "node-a", "came online"),
    ]
    group.gaps = [Gap("node-a", 7, 5, 8, True), Gap("node-z", 7, 1, 2, True)]
    group.transitions = [
        _raised("setter-1", 12, day(2.5)), _raised("setter-9", 13, day(2.6)), _raised("batch hen-1", 14, day(12)), _raised("batch other", 15, day(12)),
    ]  # fmt: skip
    group.notices = [
        Notice(n, f"{n}", "sam", "high", "Setter: too hot", f"39.4 °C. No. {n}", day(2.5), n, link="https://x.example/s3cr3t")
        for n in (12, 13, 14)
    ]  # fmt: skip
    group.attempts = [Attempt(12, "sent", f"accepted by {SECRET}", day(2.51), "sam")]
    group.entries = [("hen-1", e) for e in _book()] + [("other", _entry(1, 1, Note("not ours")))]
    ledger.commit(group)


def _reading(probe: str, line: int, n: int) -> StoredReading | None:
    if 800 < n < 840 or (probe == "node-a/low" and n % 3):
        return None
    dry, rh = 37.5 + 0.8 * math.sin(n / 17.0), 52.0 + 9.0 * math.sin(n / 40.0) / 3.0
    row = StoredReading(probe, line, n * 600_000 + 137, dry, rh, PASS, PASS)
    if n % 97 == 0:
        return replace(row, dry_bulb_c=None, rh_pct=None, flag=MISSING, rh_flag=MISSING)
    if n % 89 == 0:
        return replace(row, rh_pct=None, rh_flag=MISSING)
    return replace(row, dry_bulb_c=85.0, flag=FAIL, rh_flag=SUSPECT) if n % 83 == 0 else row


def _raised(subject: str, number: int, at: datetime) -> Transition:
    alarm = Alarm(
        subject, "dry-bulb-high-alarm", number, 1, condition=True, acknowledged=False, since=at, value=39.4, limit=38.9
    )
    return Transition(alarm, NORMAL, UNACKNOWLEDGED, "beyond its limit", at, 1000.5, "")


def _entry(number: int, days: float, fact: Fact, egg: int | None = 2, **more: object) -> Entry:
    return Entry(day(days), day(days + 0.001), "Ada", fact, egg=egg, number=number, **more)  # type: ignore[arg-type]


def _book() -> list[Entry]:
    facts: list[tuple[float, Fact, int | None]] = [(0.1, Size(56.25, 42.5), 2)]
    facts += [(d, Weighing(60.0 - e / 10.0 - 0.36 * d), e) for e in (1, 2, 3, 4) for d in (0.2, 7.0, 14.0)]
    facts += [
        (10.0, Candling("alive"), 2),
        (21.0, Hatched(), 1),
        (20.5, Dead("late"), 2),
        (22.0, Found("blood-ring"), 3),
    ]
    facts += [(22.5, Note('é, 鳥, "quoted"; ½'), None)]
    book = [_entry(n, d, fact, egg) for n, (d, fact, egg) in enumerate(facts, 1)]
    last = len(book) + 1
    return [
        *book,
        _entry(last, 7.0, Weighing(57.25), 2, replaces=6),
        _entry(last + 1, 22.6, Withdrawn("typed twice"), None, replaces=last - 1),
    ]


def closed_batch() -> Batch:
    """The same batch, closed."""
    return closed(open_batch(), day(22))
