"""What cannot be had again, a second time: batches, stays, the egg book, calibrations, who answered which alarm, in a small file beside the record.

Triggers of the one writing connection bring each change of these tables into the second file, within the same transaction, so that no
other part knows of it. A count goes up with each change, in both files: each file's transaction is whole by itself, and a cut may
fall between the two, so whichever counts higher is right. A record that is gone, was damaged, or is an older one than it was gets
them back from there; the second file is made anew wherever it is the one that is behind, missing or damaged.

What is large is not in it: readings, and the files beside entries.
"""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from monitor.adapters.store.failures import is_damage
from monitor.adapters.store.migrations import APPLICATION_ID, VERSION

TABLES = (
    "batch", "stay", "declared", "transition", "alarm", "calibration", "handling", "entry", "chore", "cooling", "site", "out",
)  # fmt: skip
LIMIT_BYTES = 1024 * 1024  # what its log is cut back to
Back = tuple[tuple[str, int], ...]  # how many rows of which table came back


def second_path(path: str | Path) -> Path:
    """Where the second file of a record lies."""
    return Path(f"{path}.second")


def keep_second(connection: sqlite3.Connection, path: Path) -> Back:
    """Bring the record and its second file to one state, and keep them there for as long as this connection writes.

    The rows that came back into the record, by table. Raises sqlite3.DatabaseError where neither can be written.
    """
    place = second_path(path)
    try:
        _attach(connection, place)
        back = (
            _bring_back(connection) if _number(connection, "second_revision") > _number(connection, "revision") else ()
        )
    except sqlite3.DatabaseError as error:
        if not is_damage(error):
            raise
        _detach(connection)
        _remove(place)
        _attach(connection, place)
        back = ()
    (version,) = connection.execute("PRAGMA second.user_version").fetchone()
    if version != VERSION or _number(connection, "second_revision") != _number(connection, "revision"):
        _copy(connection)
    for table in TABLES:
        for trigger in _triggers(connection, table):
            connection.execute(trigger)
    return back


def let_go(connection: sqlite3.Connection) -> bool:
    """After damage was met: whether it was the second file's, which is then kept no longer, until a start makes it anew. Outside a transaction."""
    place = _place(connection)
    if not place:
        return False
    with contextlib.suppress(sqlite3.DatabaseError):
        if connection.execute("PRAGMA second.quick_check(1)").fetchone() == ("ok",):
            return False
    _detach(connection)
    _remove(Path(place))
    return True


def _attach(connection: sqlite3.Connection, place: Path) -> None:
    connection.execute("ATTACH ? AS second", (str(place),))
    connection.execute("PRAGMA second.journal_mode = WAL").fetchone()
    connection.execute("PRAGMA second.synchronous = FULL")
    connection.execute(f"PRAGMA second.journal_size_limit = {LIMIT_BYTES}").fetchone()
    found = connection.execute("PRAGMA second.quick_check(1)").fetchone()
    if found != ("ok",):
        wrong = sqlite3.DatabaseError(str(found))
        wrong.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
        raise wrong


def _detach(connection: sqlite3.Connection) -> None:
    triggers = connection.execute("SELECT name FROM sqlite_temp_master WHERE type = 'trigger'").fetchall()
    for (name,) in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    if _place(connection):
        connection.execute("DETACH second")


def _place(connection: sqlite3.Connection) -> str:
    """Where the second file lies that is attached; empty where none is."""
    return next((file for _, name, file in connection.execute("PRAGMA database_list") if name == "second"), "")


def _remove(place: Path) -> None:
    for suffix in ("", "-wal", "-shm", "-journal"):
        Path(f"{place}{suffix}").unlink(missing_ok=True)


def _number(connection: sqlite3.Connection, table: str) -> int:
    """How many changes a file has seen; 0 of one without the table."""
    if (
        table == "second_revision"
        and not connection.execute("SELECT 1 FROM second.sqlite_master WHERE name = 'second_revision'").fetchone()
    ):
        return 0
    (number,) = connection.execute(f"SELECT number FROM {table}").fetchone() or (0,)
    return int(number)


def _columns(connection: sqlite3.Connection, schema: str, table: str) -> list[tuple[str, str, int]]:
    """(name, type, place in the key) of each."""
    return [
        (name, kind, place)
        for _, name, kind, _, _, place in connection.execute(f"PRAGMA {schema}.table_info({table})").fetchall()
    ]


def _bring_back(connection: sqlite3.Connection) -> Back:
    """Make the record's tables what the second file has of them; an older one may lack the newest columns."""
    back = []
    connection.execute("PRAGMA foreign_keys = OFF")  # a notice may outlive its alarm's row for a moment
    connection.execute("BEGIN IMMEDIATE")
    try:
        for table in TABLES:
            kept = {name for name, _, _ in _columns(connection, "second", f"second_{table}")}
            names = ", ".join(f'"{name}"' for name, _, _ in _columns(connection, "main", table) if name in kept)
            if not names:
                continue
            ours, theirs = f"SELECT {names} FROM main.{table}", f"SELECT {names} FROM second.second_{table}"
            (more,) = connection.execute(f"SELECT count(*) FROM ({theirs} EXCEPT {ours})").fetchone()
            (less,) = connection.execute(f"SELECT count(*) FROM ({ours} EXCEPT {theirs})").fetchone()
            if more or less:
                connection.execute(f"DELETE FROM main.{table}")
                connection.execute(f"INSERT INTO main.{table} ({names}) {theirs}")
            if more:
                back.append((table, more))
        connection.execute("UPDATE main.revision SET number = (SELECT number FROM second.second_revision)")
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        connection.execute("PRAGMA foreign_keys = ON")
    return tuple(back)


def _copy(connection: sqlite3.Connection) -> None:
    """Make the second file what the record has of these tables."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        for table in TABLES:
            columns = _columns(connection, "main", table)
            key = ", ".join(f'"{name}"' for name, _, place in sorted(columns, key=lambda each: each[2]) if place)
            typed = ", ".join(f'"{name}" {kind}' for name, kind, _ in columns)
            names = ", ".join(f'"{name}"' for name, _, _ in columns)
            connection.execute(f"DROP TABLE IF EXISTS second.second_{table}")
            connection.execute(f"CREATE TABLE second.second_{table} ({typed}, PRIMARY KEY ({key})) STRICT")
            connection.execute(f"INSERT INTO second.second_{table} ({names}) SELECT {names} FROM main.{table}")
        connection.execute("DROP TABLE IF EXISTS second.second_revision")
        connection.execute(
            "CREATE TABLE second.second_revision (id INTEGER PRIMARY KEY, number INTEGER NOT NULL) STRICT"
        )
        connection.execute("INSERT INTO second.second_revision (id, number) SELECT id, number FROM main.revision")
        connection.execute(f"PRAGMA second.application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA second.user_version = {VERSION}")
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def _triggers(connection: sqlite3.Connection, table: str) -> tuple[str, ...]:
    columns = _columns(connection, "main", table)
    names = ", ".join(f'"{name}"' for name, _, _ in columns)
    new = ", ".join(f'NEW."{name}"' for name, _, _ in columns)
    old = " AND ".join(f'"{name}" IS OLD."{name}"' for name, _, place in columns if place)
    put = f"INSERT OR REPLACE INTO second_{table} ({names}) VALUES ({new});"
    away = f"DELETE FROM second_{table} WHERE {old};"
    count = (
        "UPDATE revision SET number = number + 1; UPDATE second_revision SET number = (SELECT number FROM revision);"
    )
    does = {"INSERT": put, "UPDATE": f"{away} {put}", "DELETE": away}
    return tuple(
        f"CREATE TEMP TRIGGER second_{table}_{act.lower()} AFTER {act} ON main.{table} BEGIN {what} {count} END"
        for act, what in does.items()
    )
