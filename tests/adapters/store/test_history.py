"""The read side: what it costs does not grow with the record, and what goes wrong is one line."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from monitor.adapters.store.connection import Opened, open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.readings.reading import PASS
from monitor.domain.state.record import Event, Group, StoredReading
from monitor.service.ports import StoreFailure
from tests.ports import PROBE, at, everything, full_group, line, raised, reading

NODES = 2
PROBES = [f"node-{n}/p{p}" for n in range(NODES) for p in range(2)]
PART_S = 20_000  # a new part of each line every five and a half hours: a crystal that is 50 parts per million slow


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Opened]:
    opened = open_writer(tmp_path / "eggroom.db")
    yield opened
    opened.close()


@pytest.fixture
def history(opened: Opened, tmp_path: Path) -> Iterator[SqliteHistory]:
    history = SqliteHistory(open_reader(tmp_path / "eggroom.db"))
    yield history
    history.close()


def grow(ledger: SqliteLedger, first_s: int, last_s: int) -> None:
    """Samples of every probe each 10 s, interleaved as they come, and a new part of each node's line now and then."""
    for start_s in range(first_s, last_s, PART_S):
        group = Group()
        for node in range(NODES):
            id_ = start_s // PART_S * NODES + node + 1
            group.lines[id_] = line(
                id_, f"node-{node}", from_up_ms=start_s * 1000, first_up_ms=start_s * 1000, last_up_ms=(start_s + PART_S - 10) * 1000
            )  # fmt: skip
        for second in range(start_s, start_s + PART_S, 10):
            for probe in PROBES:
                id_ = start_s // PART_S * NODES + int(probe[5]) + 1
                group.readings.append(StoredReading(probe, id_, second * 1000, 37.0 + second % 7 / 10, 52.5, PASS))
        ledger.commit(group)


def steps_of(history: SqliteHistory, work: Callable[[], object]) -> int:
    """How many instructions of SQLite's machine some work takes: its cost, without a clock."""
    count = 0

    def step() -> int:
        nonlocal count
        count += 1
        return 0

    history._connection.set_progress_handler(step, 1)
    work()
    history._connection.set_progress_handler(None, 1)
    return count


def test_cost_does_not_grow_with_the_record(opened: Opened, history: SqliteHistory) -> None:
    """A window of one probe, and the newest reading of all probes, take as many steps in a record fifteen times the size."""
    ledger = SqliteLedger(opened.connection)

    def cost(last_s: int) -> tuple[int, int, int]:
        early = steps_of(history, lambda: history.series(PROBES[3], at(5_000), at(45_000)))
        late = steps_of(history, lambda: history.series(PROBES[3], at(last_s - 45_000), at(last_s - 5_000)))
        return early, late, steps_of(history, lambda: history.latest(PROBES))

    grow(ledger, 0, 120_000)
    small = cost(120_000)
    grow(ledger, 120_000, 1_800_000)
    large = cost(1_800_000)
    (rows,) = opened.connection.execute("SELECT count(*) FROM reading").fetchone()
    assert rows == 180_000 * len(PROBES)
    # A window of 4,000 readings, and a look at the node's lines: of these there are more.
    assert large[0] < small[0] * 1.05
    assert large[1] < small[1] * 1.05
    # Up to 32 lines before the newest are looked at, more than the small record has.
    assert large[2] - small[2] < 32 * 20 * len(PROBES)
    grow(ledger, 1_800_000, 2_200_000)
    assert cost(2_200_000)[2] == large[2]


def test_no_query_walks_through_the_readings(opened: Opened, history: SqliteHistory) -> None:
    """Of all that the read side asks, nothing scans the readings or sorts them: they are always found through their key."""
    ledger = SqliteLedger(opened.connection)
    ledger.commit(full_group())
    grow(ledger, 0, 40_000)
    asked: list[str] = []
    history._connection.set_trace_callback(asked.append)
    everything(history)
    history.latest([*PROBES, PROBE])
    history.events(since=at(0))
    list(history.transitions(since=at(0), subject="setter-1"))
    history._connection.set_trace_callback(None)
    plans = {
        sql: [row[3] for row in opened.connection.execute(f"EXPLAIN QUERY PLAN {sql}")]
        for sql in asked
        if sql.startswith("SELECT")
    }
    assert len(plans) > 15
    of_readings = {sql: plan for sql, plan in plans.items() if re.search(r"\breading\b", sql)}
    assert len(of_readings) >= len(PROBES)
    for sql, plan in of_readings.items():
        steps = [step for step in plan if re.search(r"(SCAN|SEARCH) (r|reading)\b", step) and "(subquery" not in step]
        searches = [step for step in steps if step.startswith("SEARCH") and "PRIMARY KEY (probe_id=?" in step]
        # The newest row of a probe is found in a subquery of one row, over which the outer query then walks.
        assert searches, (sql, plan)
        assert len(steps) - len(searches) <= ("LIMIT 1" in sql), (sql, plan)
        assert not [step for step in plan if "TEMP B-TREE" in step], (sql, plan)


def test_series_are_ready_for_arithmetic(opened: Opened, history: SqliteHistory) -> None:
    """A series is contiguous, may be written to, and says NaN where a quantity is missing, also when it is always missing."""
    ledger = SqliteLedger(opened.connection)
    ledger.commit(Group(readings=[reading(s, rh_pct=None) for s in range(5)], lines={1: line()}))
    series = history.series(PROBE, at(0), at(100))
    for values in (series.at_ms, series.dry_bulb_c, series.rh_pct, series.flag):
        assert values.flags.c_contiguous
        assert values.flags.writeable
        assert values.shape == (5,)
    assert np.isnan(series.rh_pct).all()
    assert not np.isnan(series.dry_bulb_c).any()
    empty = history.series("node-q/none", at(0), at(100))
    assert empty.at_ms.shape == empty.rh_pct.shape == (0,)


def test_numpy_is_loaded_with_the_first_series(tmp_path: Path) -> None:
    """The store, its write side and every other query do without numpy: a daemon that shows no history never loads it."""
    code = f"""
import sys
from pathlib import Path
from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.state.record import Group
from monitor.domain.readings.reading import EPOCH
path = Path({str(tmp_path / "eggroom.db")!r})
opened = open_writer(path)
ledger = SqliteLedger(opened.connection)
ledger.load(), ledger.commit(Group())
history = SqliteHistory(open_reader(path))
history.latest(["node-a/top"]), history.batches(), history.alarms(), history.refused(), history.gaps(), history.events()
print("numpy" in sys.modules)
history.series("node-a/top", EPOCH, EPOCH)
print("numpy" in sys.modules)
"""
    root = Path(__file__).parents[3]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]


def test_transitions_hold_nothing_open(opened: Opened, history: SqliteHistory) -> None:
    """A walk through the transitions that is left half-way lets the writer empty its log all the same."""
    ledger = SqliteLedger(opened.connection)
    ledger.commit(Group(transitions=[raised(n) for n in range(50)]))
    rows = history.transitions()
    assert next(rows).number == 0
    ledger.commit(Group(events=[Event(at(0), "test", "x", "y")]))
    busy, _, _ = opened.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    assert busy == 0
    assert [row.number for row in rows] == list(range(1, 50))


def test_events_without_those_of_a_kind(opened: Opened, history: SqliteHistory) -> None:
    """The newest so many of the others: what comes each hour must not hide what happened."""
    events = [Event(at(n), "turning" if n % 2 else "node", "x", str(n)) for n in range(8)]
    SqliteLedger(opened.connection).commit(Group(events=events))
    assert [e.text for e in history.events(limit=3, without="turning")] == ["2", "4", "6"]
    assert [e.text for e in history.events(limit=1, subject="x", without="node")] == ["7"]
    assert len(history.events(without="")) == 8


def test_a_damaged_record_is_one_line(opened: Opened, tmp_path: Path) -> None:
    """What cannot be read, in any query, is a StoreFailure of one line."""
    SqliteLedger(opened.connection).commit(full_group())
    opened.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray((tmp_path / "eggroom.db").read_bytes())
    roots = dict(opened.connection.execute("SELECT name, rootpage FROM sqlite_master WHERE rootpage > 1"))
    for root in roots.values():
        data[(root - 1) * 4096 : (root - 1) * 4096 + 8] = b"\xff" * 8
    damaged = tmp_path / "damaged.db"
    damaged.write_bytes(data)
    history = SqliteHistory(open_reader(damaged))
    queries: list[Callable[[], object]] = [
        lambda: history.series(PROBE, at(0), at(1)), lambda: history.latest([PROBE]), history.batches, history.alarms,
        history.transitions, history.notices, history.refused, history.unknown, history.gaps, history.events,
    ]  # fmt: skip
    for query in queries:
        with pytest.raises(StoreFailure, match="malformed") as failure:
            query()
        assert "\n" not in str(failure.value)
    history.close()
