"""What counts as damage in a record that is looked through, and how long one looks."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable

import pytest

from monitor.adapters.store.check import interrupted_after, one_line, quick_check, shows_damage
from monitor.adapters.store.failures import error_code, is_damage, store_failures
from monitor.service.ports import StoreFailure


def complaint(code: int | None, text: str = "what SQLite says") -> sqlite3.DatabaseError:
    """Of that code, or of none, as the Python module's own are."""
    error = sqlite3.OperationalError(text)
    if code is not None:
        error.sqlite_errorcode = code
        error.sqlite_errorname = "SQLITE_" + str(code)
    return error


class Complaining:
    """A connection of which every statement ends in a complaint, after `first` is done."""

    def __init__(self, error: Exception, first: Callable[[], object] = lambda: None) -> None:
        self.error, self.first = error, first

    def execute(self, _: str) -> None:
        self.first()
        raise self.error

    def interrupt(self) -> None:
        """Nothing runs."""


@pytest.mark.parametrize(
    ("error", "shows"),
    [
        (ValueError("no JSON"), True),
        (TypeError("a list where a number was"), True),
        (OverflowError("a time of no year"), True),
        (complaint(None), True),  # "Could not decode to UTF-8", which the module says by itself
        (complaint(sqlite3.SQLITE_ERROR), True),  # "no such column": its name is damaged
        (complaint(sqlite3.SQLITE_CORRUPT), True),
        (complaint(sqlite3.SQLITE_NOTADB), True),
        (complaint(sqlite3.SQLITE_CORRUPT | 2 << 8), True),  # with where it was found above the lowest byte
        (complaint(sqlite3.SQLITE_BUSY), False),
        (complaint(sqlite3.SQLITE_IOERR), False),
        (complaint(sqlite3.SQLITE_FULL), False),
        (complaint(sqlite3.SQLITE_INTERRUPT), False),
    ],
)
def test_what_shows_damage(error: Exception, shows: bool) -> None:
    """What cannot be read is damaged; what is held, or on a disk that fails, is not: it must not be set aside."""
    assert shows_damage(error) is shows
    looked_through = Complaining(error)
    if shows:
        assert quick_check(looked_through) == one_line(error)  # type: ignore[arg-type]
    else:
        with pytest.raises(type(error)):
            quick_check(looked_through)  # type: ignore[arg-type]


def test_what_was_broken_off_counts_as_nothing_found() -> None:
    """The interruption itself is no finding; damage that was met in the last moment is one, and an interruption before the limit a fault."""
    for code, found in (
        (sqlite3.SQLITE_INTERRUPT, ""),
        (sqlite3.SQLITE_CORRUPT, "what SQLite says"),
        (None, "what SQLite says"),
    ):
        waited = threading.Event()
        late = Complaining(complaint(code), lambda waited=waited: waited.wait(0.1))  # type: ignore[misc]
        assert quick_check(late, 0.01) == found  # type: ignore[arg-type]
    with pytest.raises(sqlite3.OperationalError):
        quick_check(Complaining(complaint(sqlite3.SQLITE_INTERRUPT)), 60.0)  # type: ignore[arg-type]


def test_who_watches_the_time_keeps_no_process_from_ending() -> None:
    """A check that hangs in the disk must not be waited for at the end."""
    with interrupted_after(sqlite3.connect(":memory:"), 60.0):
        (watcher,) = (thread for thread in threading.enumerate() if thread.name == "check-limit")
        assert watcher.daemon


@pytest.mark.parametrize(
    ("code", "ours", "damage"),
    [
        *((code, False, False) for code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY)),
        *((code, False, False) for code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_CANTOPEN)),
        *((code, False, False) for code in (sqlite3.SQLITE_PERM, sqlite3.SQLITE_PROTOCOL, sqlite3.SQLITE_INTERRUPT)),
        *((code, False, True) for code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)),
        *((code, True, False) for code in (sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISUSE, sqlite3.SQLITE_ERROR, None)),
    ],
)  # fmt: skip
def test_whose_mistake_a_complaint_is(code: int | None, ours: bool, damage: bool) -> None:
    """What disk or another process did is one line with the place; our own mistakes pass as they are. So also where it says more exactly."""
    for said in (code, None if code is None else code | 3 << 8):
        error = complaint(said)
        assert error_code(error) == (code or 0)
        assert is_damage(error) is damage
        with pytest.raises(sqlite3.OperationalError if ours else StoreFailure) as raised, store_failures("the record"):
            raise error
        if not ours:
            assert str(raised.value) == f"the record: what SQLite says (SQLITE_{said})"
    assert not is_damage(ValueError("no complaint of SQLite's"))
