"""What can be read of a damaged record, taken over into the new one: all but the readings, which are nearly all of the size.

Without its batches a machine counts as empty and nothing in it is judged; without its numbers an old message could answer a new
alarm. So whatever can still be read is worth having.
"""

from __future__ import annotations

import sqlite3

from monitor.adapters.store.check import MISREAD
from monitor.adapters.store.failures import error_code
from monitor.adapters.store.loading import load

# A table stands after those it refers to.
TABLES = (
    "batch", "stay", "declared", "transition", "alarm", "notice", "attempt", "probe", "line", "numbering", "gap", "unknown",
    "refused", "event", "calibration", "handling", "memory", "entry", "chore", "cooling", "site", "out", "file",
)  # fmt: skip


def take_over(old: sqlite3.Connection, new: sqlite3.Connection) -> tuple[str, ...]:
    """Copy the tables of the damaged record that can be read whole into the new one; their names.

    Raises sqlite3.DatabaseError when the new record cannot be written.
    """
    new.execute("BEGIN IMMEDIATE")
    try:
        taken = tuple(table for table in TABLES if _take(old, new, table))
        new.execute("COMMIT")
    finally:
        if new.in_transaction:
            new.execute("ROLLBACK")
    return taken


def _take(old: sqlite3.Connection, new: sqlite3.Connection, table: str) -> bool:
    new.execute("SAVEPOINT one")
    try:
        rows = old.execute(f"SELECT * FROM {table}")
        # By name: a record of before may lack the newest columns.
        names = [f'"{column[0]}"' for column in rows.description]
        places = ", ".join("?" * len(names))
        new.executemany(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({places})", rows)
        load(new)  # a table that cannot start a run is not taken
    except MISREAD as error:
        if isinstance(error, sqlite3.Error) and error_code(error) == sqlite3.SQLITE_FULL:
            raise  # of the new record's disk: it says nothing of what can be read of the old one
        new.execute("ROLLBACK TO one")
        new.execute("RELEASE one")
        return False
    new.execute("RELEASE one")
    return True
