"""Rows 9 to 11: the record's size, and what reading it costs as it grows."""

from __future__ import annotations

import contextlib
import math
import sqlite3
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np

from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.reading import PASS, from_ms
from monitor.domain.state.record import Group, StoredReading
from tests.bench.pairs import Goal, Result, measure, ratio_of
from tests.bench.room import NODES, folder

DAY_MS, STEP_MS = 86_400_000, 10_000
BEGAN_MS = 1_767_225_600_000  # 2026-01-01
BOOT_DAYS = 7  # a node is started anew so often, for some reason or other
PART_MS = 20_000_000  # a crystal that is 50 ppm slow has a new part of its line begun each 5.6 h
ROUNDS_IN_GROUP = 80
PROBES = tuple(f"{node}/top" for node in NODES)


def days(pairs: int, length: int, rows: frozenset[str]) -> list[Result]:
    """Rows 9 and 11, of a record of so many days that was written through the store itself."""
    with folder() as path:
        file = path / "record.db"
        count = _write_days(file, length)
        size = file.stat().st_size / count
        results: list[Result] = []
        if "9" in rows:
            results.append(_series(file, pairs, length))
        if "11" in rows:
            what = f"bytes per reading on disk, {len(PROBES)} probes interleaved, {count:,} readings"
            results.append(Result("11", what, "none", Goal(46.0), size, "bytes"))
        return results


def _write_days(file: Path, length: int) -> int:
    opened = open_writer(file)
    ledger = SqliteLedger(opened.connection)
    per_day = DAY_MS // STEP_MS
    total = per_day * length
    try:
        for first in range(0, total, ROUNDS_IN_GROUP):
            group = Group()
            last = min(first + ROUNDS_IN_GROUP, total)
            for number in range(first, last):
                for place, probe in enumerate(PROBES):
                    line = _line_of(place, number * STEP_MS)
                    up_ms = number * STEP_MS - _boot_of(number * STEP_MS) * BOOT_DAYS * DAY_MS
                    group.readings.append(StoredReading(probe, line, up_ms, *_air(number * 7 + place * 3), PASS))
                    group.lines[line] = Line(line, NODES[place], _boot_of(number * STEP_MS) + 1, UPTIME, 0, *_range(group, line, number, up_ms))  # fmt: skip
            for place, node in enumerate(NODES):
                group.numberings[node, _boot_of((last - 1) * STEP_MS) + 1] = Numbering(last + place)
            ledger.commit(group)
    finally:
        opened.close()
    return total * len(PROBES)


def _range(group: Group, line: int, number: int, up_ms: int) -> tuple[int, int, int]:
    """offset_ms, first_up_ms and last_up_ms of a line after one more reading."""
    before = group.lines.get(line)
    return BEGAN_MS + number * STEP_MS - up_ms, before.first_up_ms if before else up_ms, up_ms


def _boot_of(elapsed_ms: int) -> int:
    return elapsed_ms // (BOOT_DAYS * DAY_MS)


def _line_of(place: int, elapsed_ms: int) -> int:
    """Lines are numbered as they begin: a part each PART_MS, the twelve nodes in turn."""
    return (elapsed_ms // PART_MS) * len(NODES) + place + 1


def _air(number: int) -> tuple[float, float]:
    """A temperature and a humidity as a sensor says them, to a hundredth."""
    return round(37.5 + 0.01 * (number * 7919 % 61), 2), round(50.0 + 0.01 * (number * 104_729 % 1_499), 2)


def _series(file: Path, pairs: int, length: int) -> Result:
    probe = PROBES[len(PROBES) // 2]
    since, until = from_ms(BEGAN_MS), from_ms(BEGAN_MS) + timedelta(days=length)
    columns = [
        ("up_ms", np.int64),
        ("dry_bulb_c", np.float64),
        ("rh_pct", np.float64),
        ("flag", np.int64),
        ("rh_flag", np.int64),
    ]
    lengths = set()
    with contextlib.closing(SqliteHistory(open_reader(file))) as history, contextlib.closing(sqlite3.connect(file)) as bare:  # fmt: skip
        (id_,) = bare.execute("SELECT id FROM probe WHERE key = ?", (probe,)).fetchone()

        def ours() -> float:
            began = time.perf_counter()
            lengths.add(len(history.series(probe, since, until).at_ms))
            return time.perf_counter() - began

        def theirs() -> float:
            began = time.perf_counter()
            rows = bare.execute(
                "SELECT up_ms, dry_bulb_c, rh_pct, flag, rh_flag FROM reading WHERE probe_id = ?", (id_,)
            )
            lengths.add(len(np.fromiter(rows, dtype=columns)))
            return time.perf_counter() - began

        ours(), theirs()
        found = measure(ours, theirs, pairs)
    expected = length * DAY_MS // STEP_MS
    wrong = "" if lengths == {expected} else f"{sorted(lengths)} readings came, expected {expected}"
    what = f"{length} days of one probe at 10 s to arrays"
    shown = lambda s: f"{s * 1e3:.0f} ms"  # noqa: E731
    return ratio_of("9", what, "np.fromiter over the bare query", Goal(1.2), found, shown=shown, wrong=wrong)


def growth(sizes: tuple[int, ...], repeats: int) -> list[Result]:
    """Row 10. sizes: rows of each record, rising."""
    with folder() as path, contextlib.ExitStack() as stack:
        histories = [stack.enter_context(_grown(path / f"{size}.db", size)) for size in sizes]
        window: list[list[float]] = [[] for _ in sizes]
        overview: list[list[float]] = [[] for _ in sizes]
        lengths = set()
        for _ in range(repeats):
            for place, (history, end_ms) in enumerate(histories):
                until = from_ms(end_ms)
                began = time.perf_counter()
                lengths.add(len(history.series(PROBES[5], until - timedelta(days=1), until).at_ms))
                window[place].append(time.perf_counter() - began)
                began = time.perf_counter()
                lengths.add(DAY_MS // STEP_MS - len(PROBES) + len(history.latest(PROBES)))
                overview[place].append(time.perf_counter() - began)
    day, all_ = (_exponent(sizes, [min(times) for times in found]) for found in (window, overview))
    wrong = "" if lengths == {DAY_MS // STEP_MS} else "not every reading came"
    least = [f"{min(window[i]) * 1e3:.2f} and {min(overview[i]) * 1e3:.2f}" for i in (0, -1)]
    note = f"exponents: a day of one probe {day:.3f}, all {len(PROBES)} machines {all_:.3f}; least ms {least[0]}, then {least[1]}"
    what = f"growth of a day's window and of the overview, {sizes[0] / 1e6:g} to {sizes[-1] / 1e6:g} million rows"
    return [Result("10", what, "itself", Goal(0.1), max(day, all_), "exponent", min(day, all_), max(day, all_), note=note, wrong=wrong)]  # fmt: skip


def _exponent(sizes: tuple[int, ...], times: list[float]) -> float:
    """The slope of log time over log size, by least squares."""
    x, y = [math.log(s) for s in sizes], [math.log(t) for t in times]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    up = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
    return up / sum((a - mean_x) ** 2 for a in x)


@contextlib.contextmanager
def _grown(file: Path, size: int) -> Iterator[tuple[SqliteHistory, int]]:
    """A record of so many readings of the twelve probes, and the end of it: the tables filled directly, lines as in life."""
    each = size // len(PROBES)
    end_ms = each * STEP_MS
    opened = open_writer(file)
    try:
        ledger = SqliteLedger(opened.connection)
        lines = {line.id: line for place in range(len(PROBES)) for line in _lines(place, end_ms)}
        ledger.commit(Group(lines=lines, readings=[StoredReading(p, 0, 0, None, None, PASS) for p in PROBES]))
    finally:
        opened.close()
    with contextlib.closing(sqlite3.connect(file, isolation_level=None)) as bare:
        for pragma in ("journal_mode = OFF", "synchronous = OFF", "cache_size = -100000"):
            bare.execute(f"PRAGMA {pragma}")
        bare.execute("BEGIN")
        bare.execute("DELETE FROM reading")
        ids = dict(bare.execute("SELECT key, id FROM probe"))
        insert = "INSERT INTO reading (probe_id, line_id, up_ms, dry_bulb_c, rh_pct, flag) VALUES (?, ?, ?, ?, ?, ?)"
        for place, probe in enumerate(PROBES):
            bare.executemany(insert, _readings(ids[probe], place, end_ms))
        bare.execute("COMMIT")
        bare.execute("PRAGMA journal_mode = WAL")
    history = SqliteHistory(open_reader(file))
    try:
        yield history, BEGAN_MS + end_ms
    finally:
        history.close()


def _lines(place: int, end_ms: int) -> Iterator[Line]:
    for began_ms in range(0, end_ms, PART_MS):
        last_ms = min(end_ms, began_ms + PART_MS) - STEP_MS
        yield Line(_line_of(place, began_ms), NODES[place], 1, UPTIME, began_ms, BEGAN_MS, began_ms, last_ms)


def _readings(probe: int, place: int, end_ms: int) -> Iterator[tuple[int, int, int, float, float, int]]:
    air = [_air(number) for number in range(7_919)]
    for up_ms in range(0, end_ms, STEP_MS):
        yield probe, _line_of(place, up_ms), up_ms, *air[up_ms // STEP_MS % 7_919], PASS
