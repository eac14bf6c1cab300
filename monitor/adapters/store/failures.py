"""SQLite's complaints sorted: what the disk or another process did to us, and what is our own mistake."""

from __future__ import annotations

import contextlib
import errno
import sqlite3
from collections.abc import Iterator

from monitor.domain.alarms.about import CARD_FAILING, CARD_FULL, READ_ONLY
from monitor.service.ports import StoreFailure

# What the disk or another process can do to us; anything else SQLite complains of is our own mistake.
_NOT_OURS = frozenset(
    {
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_PROTOCOL,
        sqlite3.SQLITE_INTERRUPT,
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_NOTADB,
    }
)
_WHY = {sqlite3.SQLITE_FULL: CARD_FULL, sqlite3.SQLITE_READONLY: READ_ONLY, sqlite3.SQLITE_PERM: READ_ONLY}
_WHY_OF_FILES = {
    errno.ENOSPC: CARD_FULL,
    errno.EDQUOT: CARD_FULL,
    errno.EROFS: READ_ONLY,
    errno.EACCES: READ_ONLY,
    errno.EPERM: READ_ONLY,
}
_DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})


@contextlib.contextmanager
def store_failures(where: object) -> Iterator[None]:
    """Turn what the disk, or another process, did to SQLite into a StoreFailure of one line; our own mistakes pass."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        if error_code(error) not in _NOT_OURS:
            raise
        why = _WHY.get(error_code(error), CARD_FAILING)
        raise StoreFailure(str(where), f"{error} ({error.sqlite_errorname})", why=why) from error


def file_failure(where: object, error: OSError, expected: str = "") -> StoreFailure:
    """The same of what the file system did to us."""
    return StoreFailure(
        str(where), str(error.strerror), expected, why=_WHY_OF_FILES.get(error.errno or 0, CARD_FAILING)
    )


def is_damage(error: BaseException) -> bool:
    """Whether SQLite found the file itself damaged."""
    return isinstance(error, sqlite3.DatabaseError) and error_code(error) in _DAMAGE


def error_code(error: sqlite3.Error) -> int:
    """The kind of a complaint, 0 when it is the Python module's own. The bytes above the lowest say more exactly where."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF
