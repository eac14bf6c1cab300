"""The numbered steps: each in one transaction with the record of itself."""

from __future__ import annotations

import ast
import gzip
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.adapters.store import migrations
from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.store.migrations import APPLICATION_ID, MIGRATIONS, VERSION, migrate
from monitor.domain.readings.reading import FAIL, MISSING, PASS, SUSPECT
from monitor.domain.state.record import Group, Reflag
from tests.adapters.store.test_kept_records import KEPT
from tests.ports import CALIBRATION, PROBE, START_MS, reading, series_rows


@pytest.fixture
def connection(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(tmp_path / "eggroom.db", isolation_level=None)
    yield connection
    connection.close()


def state(connection: sqlite3.Connection) -> tuple[int, list[tuple[int, str]], set[str]]:
    """Version, the steps recorded, the tables."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    steps = connection.execute("SELECT number, name FROM migration").fetchall() if "migration" in tables else []
    return version, steps, tables


def test_from_nothing_to_the_newest(connection: sqlite3.Connection) -> None:
    """A new file gets every step, each recorded with its number, name and time, and is marked as ours."""
    migrate(connection)
    version, steps, tables = state(connection)
    assert version == VERSION == len(MIGRATIONS)
    assert steps == [(number, name) for number, (name, _) in enumerate(MIGRATIONS, start=1)]
    assert {"reading", "line", "batch", "alarm", "transition", "notice", "attempt", "event"} <= tables
    assert {"calibration", "handling", "memory", "entry"} <= tables
    assert connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    (applied_ms,) = connection.execute("SELECT max(applied_ms) FROM migration").fetchone()
    assert applied_ms > 1_577_836_800_000  # 2020: a time of the machine, not a placeholder


@pytest.mark.parametrize("version", range(1, VERSION + 1))
def test_a_released_step_makes_what_it_made(connection: sqlite3.Connection, version: int, tmp_path: Path) -> None:
    """The steps up to each version make, word for word, the tables of a record that was made when it was the newest."""
    kept = tmp_path / "kept.db"
    kept.write_bytes(gzip.decompress((KEPT / f"record-{version}.db.gz").read_bytes()))
    then = sqlite3.connect(kept)
    migrate(connection, MIGRATIONS[:version])
    query = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name"
    assert connection.execute(query).fetchall() == then.execute(query).fetchall()
    assert state(connection) == state(then)
    assert connection.execute("PRAGMA application_id").fetchone() == then.execute("PRAGMA application_id").fetchone()
    then.close()


def test_the_steps_take_nothing_from_the_program() -> None:
    """The words of a step are its own: what it would take from elsewhere could be changed after it was released."""
    tree = ast.parse(Path(migrations.__file__).read_text(encoding="utf-8"))
    modules = {
        name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in ([a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or "."])
    }
    assert modules == {"__future__", "collections", "sqlite3"}


def test_twice_is_once(connection: sqlite3.Connection) -> None:
    """A record that is up to date is not touched."""
    migrate(connection)
    before = state(connection)
    migrate(connection)
    assert state(connection) == before


def test_a_later_step_keeps_what_is_there(connection: sqlite3.Connection) -> None:
    """A step added later is applied to a record of before, once, and its rows stay."""
    migrate(connection)
    connection.execute("INSERT INTO probe (key) VALUES ('node-a/top')")
    steps = (*MIGRATIONS, ("a place for each probe", lambda c: c.execute("ALTER TABLE probe ADD COLUMN place TEXT")))
    migrate(connection, steps)
    migrate(connection, steps)
    assert connection.execute("SELECT key, place FROM probe").fetchall() == [("node-a/top", None)]
    assert state(connection)[:2] == (
        VERSION + 1,
        [*((n, name) for n, (name, _) in enumerate(MIGRATIONS, start=1)), (VERSION + 1, "a place for each probe")],
    )


def test_a_record_of_before_quality(tmp_path: Path) -> None:
    """The rows of a first record keep their values and flags; their humidity's flag is the one they had where there is a humidity.

    It can be read and written on, and a flag of before can still be settled.
    """
    path = tmp_path / "old.db"
    old = sqlite3.connect(path, isolation_level=None)
    old.execute("PRAGMA journal_mode = WAL")
    migrate(old, MIGRATIONS[:1])
    old.execute("INSERT INTO probe VALUES (5, ?)", (PROBE,))
    old.execute("INSERT INTO line VALUES (1, 'node-a', 77, 'uptime', 0, ?, 0, 90000, 1)", (START_MS,))
    values = [(37.5, 52.0, PASS), (37.5, None, PASS), (85.0, 52.0, FAIL), (3.0, 52.0, SUSPECT), (None, None, MISSING)]
    rows = [(5, 1, n * 1000, *row) for n, row in enumerate(values)]
    old.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)", rows)
    old.execute("INSERT INTO event VALUES (1, ?, 'node', 'node-a', 'came online')", (START_MS,))
    old.close()

    opened = open_writer(path)
    assert opened.damaged is None
    history = SqliteHistory(open_reader(path))
    before = [
        (START_MS, 37.5, 52.0, PASS, PASS),
        (START_MS + 1000, 37.5, None, PASS, MISSING),
        (START_MS + 2000, 85.0, 52.0, FAIL, FAIL),
        (START_MS + 3000, 3.0, 52.0, SUSPECT, SUSPECT),
        (START_MS + 4000, None, None, MISSING, MISSING),
    ]
    assert series_rows(history) == before
    assert (history.latest([PROBE])[0].flag, history.latest([PROBE])[0].rh_flag) == (MISSING, MISSING)
    assert [e.text for e in history.events()] == ["came online"]
    ledger = SqliteLedger(opened.connection)
    loaded = ledger.load()
    assert (loaded.calibrations, loaded.handlings, loaded.memory, len(loaded.lines)) == ((), (), None, 1)
    new = Group(readings=[reading(9, rh_flag=FAIL)], reflags=[Reflag(PROBE, 1, 3000, SUSPECT, PASS)])
    new.calibrations.append(CALIBRATION)
    ledger.commit(new)
    after = [*before, (START_MS + 9000, 37.52, 52.4, PASS, FAIL)]
    after[3] = (START_MS + 3000, 3.0, 52.0, SUSPECT, PASS)
    assert series_rows(history) == after
    assert history.calibrations() == [CALIBRATION]
    history.close()
    opened.close()


def test_the_step_takes_no_longer_for_more_rows(connection: sqlite3.Connection) -> None:
    """A record of years does not hold up a start: the step writes no row of readings, so it changes as many pages as for an empty one."""
    migrate(connection, MIGRATIONS[:1])
    many = ((1, 1, up_ms, 37.5, 52.0, PASS) for up_ms in range(200_000))
    connection.execute("BEGIN")
    connection.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)", many)
    connection.execute("COMMIT")
    steps = 0

    def count() -> int:
        nonlocal steps
        steps += 1
        return 0

    connection.set_progress_handler(count, 100)
    migrate(connection)
    assert steps < 200  # a look at each row would take some 20 000


def test_a_step_that_fails_leaves_nothing(connection: sqlite3.Connection) -> None:
    """A step that fails half-way leaves the record at the version before, with nothing of the step, and can be tried again."""

    def half(c: sqlite3.Connection) -> None:
        c.execute("CREATE TABLE half (a) ")
        c.execute("DROP TABLE event")
        raise RuntimeError("cut")

    migrate(connection)
    before = state(connection)
    with pytest.raises(RuntimeError, match="cut"):
        migrate(connection, (*MIGRATIONS, ("half", half)))
    assert not connection.in_transaction
    assert state(connection) == before

    def whole(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE half (a)")

    migrate(connection, (*MIGRATIONS, ("half", whole)))
    assert state(connection)[0] == VERSION + 1


def test_every_table_is_strict(connection: sqlite3.Connection) -> None:
    """A value of the wrong kind is refused by every table, so that what is read back needs no second look."""
    migrate(connection)
    lists = connection.execute("PRAGMA table_list").fetchall()
    ours = {name: strict for _, name, kind, _, _, strict in lists if kind == "table" and not name.startswith("sqlite_")}
    assert len(ours) > 10
    assert set(ours.values()) == {1}
