"""The numbered steps: each in one transaction with the record of itself."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.adapters.store.migrations import APPLICATION_ID, MIGRATIONS, VERSION, migrate


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
    assert connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    (applied_ms,) = connection.execute("SELECT applied_ms FROM migration").fetchone()
    assert applied_ms > 1_577_836_800_000  # 2020: a time of the machine, not a placeholder


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
    migrate(connection, (*MIGRATIONS, ("half", lambda c: c.execute("CREATE TABLE half (a)"))))
    assert state(connection)[0] == VERSION + 1


def test_every_table_is_strict(connection: sqlite3.Connection) -> None:
    """A value of the wrong kind is refused by every table, so that what is read back needs no second look."""
    migrate(connection)
    lists = connection.execute("PRAGMA table_list").fetchall()
    ours = {name: strict for _, name, kind, _, _, strict in lists if kind == "table" and not name.startswith("sqlite_")}
    assert len(ours) > 10
    assert set(ours.values()) == {1}
