"""Opening the record: one writer, which also does every checkpoint, and readers that can write nothing.

SQLite before 3.51.3 can lose a commit when one connection commits and resets the write-ahead log while another begins a
checkpoint. So there is one writing connection, guarded by a lock file, and readers are opened in a way that cannot checkpoint.

Monitoring must come up in every case: a damaged record is set aside, never mended in place, and a new one begun with what could
be read of it.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import sqlite3
import stat
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from monitor.adapters.store.check import MISREAD, one_line, quick_check, shows_damage
from monitor.adapters.store.failures import error_code, file_failure, is_damage, store_failures
from monitor.adapters.store.loading import load
from monitor.adapters.store.migrations import APPLICATION_ID, VERSION, migrate
from monitor.adapters.store.salvage import TABLES, take_over
from monitor.adapters.store.second import Back, keep_second
from monitor.domain.alarms.about import RECORD_BEHIND, RECORD_EXCHANGED, RECORD_GONE, Damaged, Regained
from monitor.domain.fixed import fixed
from monitor.service.ports import StoreFailure

BUSY_TIMEOUT_MS = 5_000
CHECKPOINT_PAGES = 1_000  # SQLite's own default, 4 MB: a checkpoint is short, and the log stays small
JOURNAL_LIMIT_BYTES = 8 * 1024 * 1024  # what a log that once grew is cut back to
CHECK_S = 10.0  # how long a start may be held up by looking for damage; about 400 MB from a card of 40 MB/s
SUSPECT_CHECK_S = 600.0  # the same for a record that was found damaged while it was in use
MAX_SET_ASIDE = 5  # damaged records kept: a dying card must not be filled with them; the last one is replaced
_NO_INDEX = frozenset({sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL})
_FOLDER = "a folder that can be written"


class StoreInUse(StoreFailure):
    """Another process writes this record."""


class NotOurs(StoreFailure):
    """Another program's file, or one of a newer eggroom: nothing that waiting mends."""


class _Unreadable(Exception):
    """What is wrong with a record, in one line."""


@fixed
class Opened:
    """The one writing connection, and the lock that makes it the one. damaged: what was wrong with the record that was here."""

    connection: sqlite3.Connection
    damaged: Damaged | Regained | None
    lock: int

    def close(self) -> None:
        """Close the connection (which checkpoints), then let the lock go."""
        try:
            self.connection.close()
        finally:
            os.close(self.lock)


def open_writer(path: Path, *, busy_timeout_ms: int = BUSY_TIMEOUT_MS, check_s: float = CHECK_S) -> Opened:
    """The record at `path`, made or migrated as needed; usable from any one thread at a time.

    Raises StoreInUse when another process has it, StoreFailure when it cannot be opened, is another program's, or was made
    by a newer eggroom. A damaged one is set aside, and a new one begun with what could be read of it.
    """
    lock = _lock(path)
    try:
        with store_failures(path), _file_failures(path), _kept_from_others(path):
            damaged: Damaged | Regained | None = _put_in_place(path)
            why, was_there = _damage(path, check_s), not _is_new(path)
            if not why:
                try:
                    connection = _connect_writer(path, busy_timeout_ms)
                except _Unreadable as unreadable:
                    why = str(unreadable)
            if why:
                taken = _begin_anew(path)
                aside = _set_aside(path, why)
                os.replace(_begun(path), path)
                connection = _connect_writer(path, busy_timeout_ms)
                damaged = Damaged(str(path), aside.name, why, taken)
            # Of a start that was cut off while this record was still here: left, it would one day come back in the record's place.
            _begun(path).unlink(missing_ok=True)
            suspect_mark(path).unlink(missing_ok=True)
            try:
                damaged = _with_second(damaged, keep_second(connection, path), path, was_there=was_there)
            except BaseException:
                connection.close()
                raise
    except BaseException:
        os.close(lock)
        raise
    return Opened(connection, damaged, lock)


def _with_second(
    damaged: Damaged | Regained | None, back: Back, path: Path, *, was_there: bool
) -> Damaged | Regained | None:
    """What is told of the record, now that what cannot be had again is in it. was_there: there was one, and none that is empty."""
    note = put_back_mark(path)
    if damaged is None and note.exists():
        with contextlib.suppress(ValueError):
            how, aside = json.loads(note.read_text(encoding="utf-8"))
            damaged = Regained(str(path), how, aside, whole=True)
    note.unlink(missing_ok=True)
    if not back:
        return damaged
    if damaged is None:
        return Regained(str(path), RECORD_BEHIND if was_there else RECORD_GONE, back=back)
    if isinstance(damaged, Regained):
        return replace(damaged, back=back)
    came = {table for table, _ in back}.union(damaged.taken or ())
    return replace(damaged, taken=tuple(table for table in TABLES if table in came))


def put_back(connection: sqlite3.Connection, path: Path) -> Path:
    """Write all that the open record holds, from the file that nobody finds any more, into one beside `path`, whole and on the disk; which. Raises
    sqlite3.DatabaseError or OSError: then there is none."""
    half = Path(f"{path}.half")
    _remove(half)
    try:
        copy = sqlite3.connect(half, isolation_level=None)
        try:
            connection.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE").fetchone()
        finally:
            copy.close()
        with half.open("rb") as written:
            os.fsync(written.fileno())
    except BaseException:
        _remove(half)
        raise
    return half


def take_its_place(half: Path, path: Path, how: str) -> None:
    """Give that file the record's name; what lies there goes aside. how: as `lost` has it. Raises OSError."""
    aside = ""
    if path.exists():
        aside = next(name for n in range(1, 1_000) if not path.with_name(name := f"{path.name}.found-{n}").exists())
        os.replace(path, path.with_name(aside))
    for suffix in ("-wal", "-shm"):  # of neither: all that ours held is in the copy
        Path(f"{path}{suffix}").unlink(missing_ok=True)
    put_back_mark(path).write_text(json.dumps([how, aside]), encoding="utf-8")
    os.replace(half, path)


def identity(path: Path) -> tuple[int, int]:
    """Which file that is. Raises OSError."""
    found = path.stat()
    return found.st_dev, found.st_ino


def lost(path: Path, was: tuple[int, int]) -> str:
    """How the file that is open is no longer the record at `path`: RECORD_GONE, RECORD_EXCHANGED; '' where it is, or where the card does not say."""
    try:
        return "" if identity(path) == was else RECORD_EXCHANGED
    except FileNotFoundError:
        return RECORD_GONE
    except OSError:
        return ""


def unreadable(path: Path) -> bool:
    """Whether what is written of the record cannot be read back: its file was emptied or written over, or holds damage where it is used most."""
    try:
        if path.stat().st_size == 0:
            return True
        connection = _connect_reader(path, BUSY_TIMEOUT_MS)
        try:
            connection.execute("SELECT number FROM revision").fetchone()
            connection.execute("SELECT max(offset_ms + last_up_ms) FROM line").fetchone()
        finally:
            connection.close()
    except MISREAD as error:
        return shows_damage(error)
    except OSError:
        return False
    return False


def put_back_mark(path: Path) -> Path:
    """The file that says: this record was put back from the one that was open, how that had been lost, and what lay there."""
    return Path(f"{path}.put-back")


class OlderRecord(StoreFailure):
    """A record that the daemon of this version has not brought up to date yet."""


def open_reader(path: Path, *, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> sqlite3.Connection:
    """A connection that can only read; it never checkpoints, not even on closing. Usable from any one thread at a time.

    Raises StoreFailure when there is no record yet, or it is not one that this version can read.
    """
    with store_failures(path):
        if _is_new(path):
            raise StoreFailure(str(path), "no record yet", "the daemon to have run once")
        connection = _connect_reader(path, busy_timeout_ms)
        try:
            try:
                version = _version(connection, path)
            except sqlite3.DatabaseError as error:
                connection.close()
                if error_code(error) not in _NO_INDEX:
                    raise
                connection = _connect_alone(path)
                version = _version(connection, path)
            if version < VERSION:
                expected = f"{VERSION}: the daemon brings it up to date when it starts"
                raise OlderRecord(str(path), f"record of version {version}", expected)
        except BaseException:
            connection.close()
            raise
    return connection


def suspect_mark(path: str | Path) -> Path:
    """The file that says: damage was met in use, take the time to check at the next start."""
    return Path(f"{path}.suspect")


def _lock(path: Path) -> int:
    lock_path = Path(f"{path}.lock")
    try:
        lock = os.open(lock_path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError as error:
        raise file_failure(lock_path, error, _FOLDER) from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        holder = os.read(lock, 20).decode("ascii", "replace").strip() or "unknown"
        os.close(lock)
        raise StoreInUse(str(path), f"in use by process {holder}", "to be its only writer") from error
    with contextlib.suppress(OSError):  # who holds it is a courtesy; a full disk must not stop us here
        os.ftruncate(lock, 0)
        os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)
    return lock


def _is_new(path: Path) -> bool:
    try:
        return path.stat().st_size == 0
    except FileNotFoundError:
        return True
    except OSError as error:
        raise StoreFailure(str(path), str(error.strerror), "a file that can be read") from error


def _set_aside(path: Path, why: str) -> Path:
    aside = next(
        (p for n in range(1, MAX_SET_ASIDE) if not (p := Path(f"{path}.damaged-{n}")).exists()),
        Path(f"{path}.damaged-{MAX_SET_ASIDE}"),
    )
    try:
        # The log goes with it: what was committed last may be nowhere else. The index of the log is made anew when needed.
        for suffix in ("", "-wal", "-journal"):
            Path(f"{aside}{suffix}").unlink(missing_ok=True)
            with contextlib.suppress(FileNotFoundError):
                os.replace(f"{path}{suffix}", f"{aside}{suffix}")
        Path(f"{path}-shm").unlink(missing_ok=True)
    except OSError as error:
        raise StoreFailure(str(path), f"damaged ({why}), and cannot be set aside: {error.strerror}") from error
    return aside


@contextlib.contextmanager
def _kept_from_others(path: Path) -> Iterator[None]:
    """Whoever starts it, and with whatever umask: a record holds the names of people and when nobody is at home. SQLite gives the files beside
    one its own mode; one of before is put right, where it is ours."""
    with contextlib.suppress(OSError):
        if (mode := path.stat().st_mode) & stat.S_IRWXO:
            path.chmod(mode & ~stat.S_IRWXO & 0o7777)
            for suffix in ("-wal", "-shm"):
                with contextlib.suppress(OSError):
                    Path(f"{path}{suffix}").chmod(mode & ~stat.S_IRWXO & 0o7777)
    usual = os.umask(stat.S_IRWXO)
    os.umask(usual | stat.S_IRWXO)
    try:
        yield
    finally:
        os.umask(usual)


@contextlib.contextmanager
def _file_failures(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise file_failure(path, error, _FOLDER) from error


def _begun(path: Path) -> Path:
    """The new record, whole and on the disk, that takes the damaged one's place once that is out of the way."""
    return Path(f"{path}.begun")


def _put_in_place(path: Path) -> Damaged | None:
    """End a take-over that was cut off between its last two steps; None where there was none."""
    begun = _begun(path)
    if path.exists() or not begun.exists():
        return None
    # The log of the damaged one may still be here: played into the new one it would ruin that.
    asides = [p for n in range(1, MAX_SET_ASIDE + 1) if (p := Path(f"{path}.damaged-{n}")).exists()]
    aside = max(asides, key=lambda p: p.stat().st_ctime_ns, default=Path(f"{path}.damaged-1"))  # renamed last
    for suffix in ("-wal", "-journal"):
        with contextlib.suppress(FileNotFoundError):
            os.replace(f"{path}{suffix}", f"{aside}{suffix}")
    Path(f"{path}-shm").unlink(missing_ok=True)
    os.replace(begun, path)
    return Damaged(str(path), aside.name)


def _begin_anew(path: Path) -> tuple[str, ...]:
    """Write a new record beside the damaged one, with what can be read of it; the tables taken over.

    The damaged one stays where it is until this is whole: were it set aside first, a full disk or a power cut in between would leave a
    sound, empty record in its place, and the next start would find nothing wrong.
    """
    half = Path(f"{path}.half")
    _remove(half)
    try:
        new = _connect_writer(half, BUSY_TIMEOUT_MS)
        try:
            taken = () if _is_new(path) else _take_over(path, new)  # of an empty file the log is left alone
            new.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()  # here a full disk is told, on closing it is not
        finally:
            new.close()
        os.replace(half, _begun(path))
    finally:
        _remove(half)
    return taken


def _take_over(path: Path, new: sqlite3.Connection) -> tuple[str, ...]:
    old = _connect_reader(path, BUSY_TIMEOUT_MS)
    try:
        return take_over(old, new)
    finally:
        old.close()


def _remove(path: Path) -> None:
    for suffix in ("", "-wal", "-shm", "-journal"):
        Path(f"{path}{suffix}").unlink(missing_ok=True)


def _damage(path: Path, check_s: float) -> str:
    """What is wrong with the file; '' for a sound one, or none yet. Looked at through a reader, which leaves it as it is."""
    wal = Path(f"{path}-wal")
    if _is_new(path):
        # SQLite would delete the log of an empty file, and with it all that is left.
        return "empty, but its log is not" if wal.exists() and wal.stat().st_size > 0 else ""
    connection = _connect_reader(path, BUSY_TIMEOUT_MS)
    try:
        _version(connection, path)
        return quick_check(connection, SUSPECT_CHECK_S if suspect_mark(path).exists() else check_s)
    except MISREAD as error:
        if not shows_damage(error):
            raise
        return one_line(error)
    finally:
        connection.close()


def _version(connection: sqlite3.Connection, path: Path) -> int:
    """The version of the record, 0 for one without tables. Raises StoreFailure for one that is not ours, or too new."""
    (application_id,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if application_id != APPLICATION_ID and (tables or application_id):
        raise NotOurs(str(path), "a database of another program", "eggroom's record or no file")
    if version > VERSION:
        raise NotOurs(str(path), f"record of version {version}, made by a newer eggroom", f"at most {VERSION}")
    return int(version)


def _connect_reader(path: Path, busy_timeout_ms: int) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode=ro",
        uri=True,
        timeout=busy_timeout_ms / 1000.0,
        isolation_level=None,
        check_same_thread=False,
    )
    connection.execute("PRAGMA query_only = ON")
    return connection


def _connect_alone(path: Path) -> sqlite3.Connection:
    """A reader for a card that takes nothing: after a cut the index of the log is made anew in a file beside it, and here in memory. It locks
    nothing, so that what is written meanwhile may break what it reads: it is for a record that nobody can write. The file itself is opened to be
    read, so that nothing can change it."""
    uri = f"{path.resolve().as_uri()}?mode=ro&vfs=unix-none"
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA locking_mode = EXCLUSIVE")
    connection.execute("PRAGMA query_only = ON")
    return connection


def _connect_writer(path: Path, busy_timeout_ms: int) -> sqlite3.Connection:
    """Raises _Unreadable for a file that the check found sound, and that still cannot start a run."""
    connection = sqlite3.connect(path, timeout=busy_timeout_ms / 1000.0, isolation_level=None, check_same_thread=False)
    try:
        _configure(connection, path)
        migrate(connection)
        _try_to_load(connection)
    except BaseException as error:
        connection.close()
        if isinstance(error, sqlite3.DatabaseError) and is_damage(error):
            raise _Unreadable(one_line(error)) from error
        raise
    return connection


def _try_to_load(connection: sqlite3.Connection) -> None:
    try:
        load(connection)
    except MISREAD as error:
        if not shows_damage(error):
            raise
        raise _Unreadable(one_line(error)) from error


def _configure(connection: sqlite3.Connection, path: Path) -> None:
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        raise StoreFailure(str(path), f"journal mode {mode}", "a file system that allows a write-ahead log")
    # FULL: a message is acknowledged because its row is durable, so a commit waits for the disk.
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
    connection.execute(f"PRAGMA journal_size_limit = {JOURNAL_LIMIT_BYTES}")
