"""Records that were made by each version of the tables: they open, are brought up to date, tell what was written, and can be written on.

What they hold is said here in plain values, so that a field which is renamed inside changes no expectation.
"""

from __future__ import annotations

import gzip
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.store.migrations import VERSION, migrate
from monitor.domain.alarms.about import Unheard
from monitor.domain.eggs.entry import plain
from monitor.domain.readings.calibration import Correction
from monitor.domain.signs.seen import Opened
from monitor.domain.state.record import Group
from tests.ports import COOLING, FILE, OUT, SITE_THEN, reading

KEPT = Path(__file__).parents[2] / "reference" / "kept"
VERSIONS = range(1, VERSION + 1)
START = datetime(2026, 3, 1, 6, 0, 0, 250_000, tzinfo=UTC)
NODE_B_BOOT = 2**31 + 5


def s(at: datetime | None) -> float | None:
    """Seconds after START."""
    return None if at is None else (at - START) / timedelta(seconds=1)


def corrected(correction: Correction | None) -> Any:
    return None if correction is None else (correction.slope, correction.offset, tuple(map(tuple, correction.points)))


def told(history: SqliteHistory) -> dict[str, Any]:
    """All that a record tells, in plain values."""
    wide = timedelta(days=365)
    total, refused = history.refused()
    return {
        "readings": {
            probe: [
                tuple(None if v != v else v for v in row)
                for row in zip(*(c.tolist() for c in (r.dry_bulb_c, r.rh_pct, r.flag, r.rh_flag)), strict=True)
            ]
            for probe in ("node-a/top", "node-a/low")
            for r in [history.series(probe, START - wide, START + wide)]
        },
        "latest": [(x.probe, s(x.at), x.dry_bulb_c, x.flag) for x in history.latest(["node-a/top", "node-a/low", "x/y"])],
        "batches": [
            (b.id, b.profile, s(b.set_at), b.eggs, b.note, s(b.closed_at), b.numbers, b.split_from)
            for b in history.batches()
        ],
        "stays": [(b.id, x.machine, s(x.since), s(x.until)) for b in history.batches() for x in b.stays],
        "declared": [(b.id, d.stage, s(d.at)) for b in history.batches() for d in b.declared],
        "alarms": [
            (a.subject, a.rule, a.number, a.episode, a.condition, a.acknowledged, s(a.shelved_until), a.suppressed, s(a.since),
             s(a.ended), a.value, a.worst, a.limit, a.about, a.told, a.asked_mono_s, s(a.out_until))
            for a in history.alarms()
        ],
        "transitions": [
            (t.id, s(t.at), t.subject, t.rule, t.number, t.episode, t.state_before, t.state, t.cause, t.who)
            for t in history.transitions()
        ],
        "notices": [
            (n.notice.id, n.notice.dedupe, n.notice.contact, n.notice.priority, n.notice.title, n.notice.text,
             s(n.notice.created), n.notice.alarm_number, n.notice.closing, n.notice.link, n.state, n.attempts, n.last_detail,
             s(n.last_at))
            for n in history.notices()
        ],
        "facts": [
            (n.notice.id, f.subject, f.rule, f.still, f.over, f.unjudged, f.quantity, f.value, f.worst, f.limit, f.band and tuple(f.band.limits()),
             s(f.since), s(f.ended), f.about, [(b.batch, b.day, b.stage) for b in f.batches], f.place, f.doubtful)
            for n in history.notices()
            if (f := n.notice.facts) is not None
        ],
        "refused": (total, [(s(r.at), r.refused.topic, r.refused.payload, r.refused.reason) for r in refused]),
        "unknown": [(u.probe, s(u.first_at), s(u.last_at), u.count, u.dry_bulb_c, u.rh_pct) for u in history.unknown()],
        "gaps": [(g.node, g.boot, g.first, g.last, g.lost) for g in history.gaps()],
        "events": [(s(e.at), e.kind, e.subject, e.text, e.what) for e in history.events()],
        "calibrations": [
            (c.probe, s(c.at), s(c.since), s(c.due), c.by, c.note, corrected(c.dry_bulb_c), corrected(c.rh_pct))
            for c in history.calibrations()
        ],
        "handlings": [(h.machine, s(h.since), s(h.until), h.by) for h in history.handlings()],
        "entries": [
            (b.id, e.number, s(e.at), s(e.written_at), e.who, e.fact.kind, plain(e.fact), e.egg, e.count, e.tray, e.replaces)
            for b in history.batches()
            for e in history.book(b).entries
        ],
    }  # fmt: skip


NOTE = "pair 7, second clutch; é, 鳥"
TOO_HOT = "Setter one: 39.4 °C, band 37.5 to 38.1. No. 12"
FACTS: list[tuple[str, dict[str, Any]]] = [
    ("laid", {"laid_at": "2026-02-28T05:00:00.250000+00:00", "stored_days": 4.5}),
    ("laid", {"laid_at": None, "stored_days": 3}),
    ("size", {"length_mm": 40.25, "breadth_mm": 30.5}),
    ("weighing", {"gross_g": 26.49, "tare_g": 0.0, "error_g": None}),
    ("weighing", {"gross_g": 2310.5, "tare_g": 120.25, "error_g": 0.5}),
    ("candling", {"found": "not sure"}),
    ("sign", {"sign": "internal pip"}),
    ("helped", {"text": "shell chipped by itself"}),
    ("hatched", {}),
    ("dead", {"stage": "after hatch"}),
    ("removed", {"why": "given away"}),
    ("sealed", {"text": "wax"}),
    ("split", {"into": "hen-1-b"}),  # from version 4 on
    ("finding", {"finding": "blood-ring"}),
    ("note", {"text": 'é, 鳥, "quoted"; ½'}),
    ("look-again", {"look_at": "2026-03-01T09:00:00.250000+00:00", "text": "weak"}),
    ("withdrawn", {"text": "typed twice"}),
    (
        "identity",
        {
            "pair": "P3", "cock": "A12", "hen": "B7", "clutch": "2", "label": "x7", "taken_at": "2026-02-28T05:00:00.250000+00:00",
            "tray": "B", "place": "3", "ring": "17",
        },
    ),
    ("air-cell", {"near_mm": 9.0, "far_mm": 14.5, "across_mm": 26.0}),
    ("turned", {"times": 5, "hours": 12.0}),
    ("turning-stopped", {"text": "broken"}),
    ("chick-mass", {"mass_g": 38.2, "error_g": 0.05, "scale": "fine"}),
    ("brooder", {"machine": "brooder-1"}),
    ("signed-off", {"text": "aviary"}),
    ("file", {"name": "photo.jpg", "sha256": FILE, "size": 9, "text": "blood ring", "beside": 12}),
]  # fmt: skip
LATEST = (
    "identity",
    "air-cell",
    "turned",
    "turning-stopped",
    "chick-mass",
    "brooder",
    "signed-off",
    "file",
)  # from version 13 on


def weighed(gross_g: float, tare_g: float = 0.0) -> dict[str, float | None]:
    return {"gross_g": gross_g, "tare_g": tare_g, "error_g": None}


def expected(version: int) -> dict[str, Any]:
    """What was written into the record of a version: what its tables had room for."""
    low = [("node-a/low", 10.0, -3.25, 1)]
    top = [(37.52, 52.4, 1, 1), (None, None, 9, 9), (37.52, None, 1, 9), (85.0, 52.4, 4, 1), (37.52, 52.4, 3, 4)]
    batches: list[Any] = [("spring-1", "galah", -86_400.0, 4, NOTE, None, (), "")]
    stays: list[Any] = [("setter-1", -86_400.0, -3600.0), ("hatcher-1", -3600.0, None)]
    declared: list[Any] = [("lockdown", -3500.0), ("hatch", -10.0)]
    facts = [
        f
        for f in FACTS
        if (version > 12 or f[0] not in LATEST)
        and (version > 3 or f[0] != "split")
        and (version > 7 or f[0] != "sealed")
    ]
    weighings: list[Any] = [
        ("spring-1", 1, 1.0, 61.0, "Ada", "weighing", weighed(26.49), 2, None, "", None),
        ("spring-1", 2, 2.0, 62.0, "Ada", "weighing", weighed(99.5, 10.0), None, 4, "A", None),
        ("spring-1", 3, 3.0, 63.0, "Ada", "weighing", weighed(26.45), 2, None, "", 1),
    ]
    entries = [("other", n, float(n), n + 60.0, "Ada", *fact, 2, None, "", None) for n, fact in enumerate(facts, 1)]
    if version == 3:
        batches.append(("other", *batches[0][1:]))
    if version > 3:
        batches.append(("other", "galah", -86_400.0, 3, NOTE, None, (3, 4, 7), "spring-1"))
    salts = ((34.0, 32.7016, "magnesium-chloride"), (73.1, 75.2454, "sodium-chloride"))
    names = [batch[0] for batch in batches]
    band = (("low_alarm", 36.0), ("low_warning", 37.5), ("target", 37.8), ("high_warning", 38.1), ("high_alarm", 39.0))
    found = {
        "readings": {"node-a/top": top, "node-a/low": [(-3.25, 0.0, 1, 1)]},
        "latest": [("node-a/top", 40.0, 37.52, 3), *low],
        "batches": batches,
        "stays": [(name, *stay) for name in names for stay in stays],
        "declared": [(name, *each) for name in names for each in declared],
        "alarms": [
            ("node-b/low", "no-data", 13, 1, False, True, 1200.0, "no eggs in it", -600.0, -5.0, None, None, None, Unheard(3) if version > 5 else "setter one", False, None, 90_000.0 if version > 8 else None),
            ("setter-1", "dry-bulb-high-alarm", 12, 3, True, False, None, "", -60.0, None, 39.4, 39.6, 38.6, "dry_bulb_c", True, 1000.5, None),
        ],
        "transitions": [
            (1, 0.0, "setter-1", "dry-bulb-high-alarm", 12, 3, "normal", "unacknowledged", "beyond its limit", ""),
            (2, 2.0, "node-b/low", "no-data", 13, 1, "unacknowledged", "shelved", "shelved for 20 min", "Ada"),
        ],
        "notices": [
            (2, "12/2/helper", "helper", "critical", "Setter one: too hot", f"{TOO_HOT} (2)", 0.0, 12, True, "http://eggroom.example/12", "waiting", 0, "", None),
            (1, "12/1/owner", "owner", "high", "Setter one: too hot", f"{TOO_HOT} (1)", 0.0, 12, False, "", "sent", 1, "accepted", 3.0),
        ],
        "facts": [
            (2, "setter-1", "dry-bulb-high-alarm", False, True, "", "dry_bulb_c", 37.75, 39.4, 39.0, band, -60.0, -1.0, "",
             [("batch-a", 17, "setter")], "", True),
        ] if version > 4 else [],
        "refused": (1, [(1.0, "eggroom/home/node-x/air", b"\x00\xff{", "not UTF-8, expected JSON")]),
        "unknown": [("node-c/p", 0.0, 9.0, 3, 21.5, None)],
        "gaps": [("node-a", 76, 5, 8, True), ("node-b", NODE_B_BOOT, 0, 1, False), ("node-b", NODE_B_BOOT, 4, 6, False)],
        "events": [
            (0.0, "node", "node-a", "came online", None), (4.0, "clock", "site", "the clock was set", None),
            *([(5.0, "opening", "setter-1", "opened for about 2 min, lowest 34.5 °C", Opened(2.0, 34.5))] if version > 6 else []),
        ],
        "calibrations": [
            ("node-a/top", -10.0, -3600.0, 86_400 * 365.0, "Ada", "bath; é, 鳥", (1.0, 0.3, ()), (1.0880767263427114, -4.2930086956521905, salts)),
            ("node-a/low", 0.0, None, None, "", "", None, (1.0, 2.200000000000003, ((73.1, 75.3, "sodium-chloride"),))),
        ],
        "handlings": [("setter-1", -30.0, 1170.0, "Ada")],
        "entries": (weighings if version > 2 else []) + (entries if version > 2 else []),
    }  # fmt: skip
    if version == 1:  # one flag for both quantities; no settled readings, calibrations or handlings
        found["readings"] = {"node-a/top": [*top[:3], (85.0, 52.4, 4, 4)], "node-a/low": [(-3.25, 0.0, 1, 1)]}
        found["latest"] = [("node-a/top", 30.0, 85.0, 4), *low]
        found["calibrations"] = found["handlings"] = []
    return found


@pytest.fixture(params=VERSIONS)
def kept(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[int, Path]:
    path = tmp_path / "eggroom.db"
    path.write_bytes(gzip.decompress((KEPT / f"record-{request.param}.db.gz").read_bytes()))
    return request.param, path


def test_it_opens_and_tells_what_was_written(kept: tuple[int, Path]) -> None:
    """A record of each version is brought up to date without a word, tells every value that went into it, and takes new ones."""
    version, path = kept
    plainly = sqlite3.connect(path)
    assert plainly.execute("PRAGMA user_version").fetchone() == (version,)
    plainly.close()
    opened = open_writer(path)
    assert opened.damaged is None
    history = SqliteHistory(open_reader(path))
    assert told(history) == expected(version)
    ledger = SqliteLedger(opened.connection)
    loaded = ledger.load()
    assert [(li.id, li.node, li.boot) for li in loaded.lines] == [(1, "node-a", 77), (2, "node-b", NODE_B_BOOT)]
    assert [n.id for n in loaded.waiting] == [2]
    assert (loaded.last_line, loaded.last_alarm_number, loaded.last_notice) == (2, 13, 2)
    assert (loaded.memory is None) == (version == 1)
    assert loaded.coolings == ((COOLING,) if version > 9 else ())
    assert loaded.outs == ((OUT,) if version > 11 else ())
    assert loaded.files == ({FILE: 9} if version > 12 else {})
    assert history.file(FILE) == (b"\x00\xffpicture" if version > 12 else None)
    assert ledger.last_site() == (SITE_THEN if version > 10 else None)
    ledger.commit(Group(readings=[reading(50, dry_bulb_c=36.5)]))
    assert history.latest(["node-a/top"])[0].dry_bulb_c == 36.5
    history.close()
    opened.close()


def test_its_tables_become_those_of_a_new_record(kept: tuple[int, Path]) -> None:
    """Brought up to date, the tables and indexes of an old record are word for word those of a record begun today."""
    _, path = kept
    old, new = sqlite3.connect(path, isolation_level=None), sqlite3.connect(":memory:", isolation_level=None)
    migrate(old)
    migrate(new)
    query = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name"
    assert old.execute(query).fetchall() == new.execute(query).fetchall()
    assert old.execute("PRAGMA user_version").fetchone() == (VERSION,)
    old.close()
    new.close()


def test_each_version_has_a_record_kept() -> None:
    """A new step comes with a record of its own version: `python -m tests.adapters.store.keep_record` makes it."""
    assert {path.name for path in KEPT.glob("record-*.db.gz")} == {f"record-{n}.db.gz" for n in VERSIONS}
