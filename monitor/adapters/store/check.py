"""Looking for damage in a record, within a bounded time."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections.abc import Iterator

from monitor.adapters.store.failures import error_code, is_damage

MISREAD = (sqlite3.DatabaseError, ValueError, TypeError, OverflowError)  # what reading a damaged record can raise


def quick_check(connection: sqlite3.Connection, limit_s: float | None = None) -> str:
    """What is wrong with the database, '' when nothing was found. Past limit_s the check ends, and counts as nothing found.

    The small tables come first: a start depends on them, and readings are nearly all of the size.
    """
    with interrupted_after(connection, limit_s) as expired:
        try:
            small = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name <> 'reading'")
            for check in (*(f"quick_check('{name}')" for (name,) in small.fetchall()), "quick_check(1)"):
                (found,) = connection.execute(f"PRAGMA {check}").fetchone()
                if expired.is_set():
                    return ""
                if found != "ok":
                    return " ".join(str(found).split())
        except MISREAD as error:
            if expired.is_set() and getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_INTERRUPT:
                return ""
            if not shows_damage(error):
                raise
            return one_line(error)
    return ""


def shows_damage(error: Exception) -> bool:
    """Whether a record that was looked through is damaged.

    SQLite has no checksums: a flipped bit inside a text, a time or the words of a table shows only as something that cannot
    be read.
    """
    return (
        not isinstance(error, sqlite3.DatabaseError)
        or is_damage(error)
        or error_code(error) in (0, sqlite3.SQLITE_ERROR)
    )


def one_line(error: Exception) -> str:
    """What an exception says, without line breaks."""
    return " ".join(str(error).split())


@contextlib.contextmanager
def interrupted_after(connection: sqlite3.Connection, limit_s: float | None) -> Iterator[threading.Event]:
    """Interrupt what runs on the connection once limit_s has passed; the event says that it has."""
    expired, done = threading.Event(), threading.Event()

    def watch() -> None:
        if not done.wait(limit_s):
            expired.set()
            # Again and again, for an interrupt between two statements is forgotten.
            while not done.wait(0.05):
                connection.interrupt()

    watcher = threading.Thread(target=watch, name="check-limit", daemon=True)
    watcher.start()
    try:
        yield expired
    finally:
        done.set()
        watcher.join()
