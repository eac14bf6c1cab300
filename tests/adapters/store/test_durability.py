"""What makes a commit and a backup last: one transaction, waits that are long enough, a log that stays small, and the disk asked to
hold what was written before it gets its name."""

from __future__ import annotations

import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.adapters.store.connection import Opened, open_reader, open_writer, suspect_mark
from monitor.adapters.store.ledger import SqliteLedger, backup
from monitor.adapters.store.migrations import migrate
from monitor.adapters.store.salvage import take_over
from monitor.domain.state.record import Event, Group
from monitor.service.ports import StoreFailure
from tests.ports import at, full_group, line, reading

ENDS = ("BEGIN", "COMMIT", "ROLLBACK", "SAVEPOINT", "RELEASE")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "eggroom.db"


@pytest.fixture
def opened(path: Path) -> Iterator[Opened]:
    opened = open_writer(path)
    yield opened
    opened.close()


def test_a_group_is_one_transaction(opened: Opened) -> None:
    """A group is begun with the right to write, so that it cannot fail for that half-way, and ends once, after its last row."""
    ledger = SqliteLedger(opened.connection)
    said: list[str] = []
    opened.connection.set_trace_callback(said.append)
    ledger.commit(full_group())
    opened.connection.set_trace_callback(None)
    words = [statement.split()[0].upper() for statement in said]
    assert said[0] == "BEGIN IMMEDIATE"
    assert [word for word in words if word in ENDS] == ["BEGIN", "COMMIT"]
    assert words[-1] == "COMMIT"
    assert set(words[1:-1]) <= {"INSERT", "UPDATE", "DELETE", "SELECT"}
    assert words.count("INSERT") > 20


def test_a_group_that_fails_is_rolled_back_at_once(opened: Opened) -> None:
    """After a failure no transaction stays open: readers and the next group are not held up by the rest of a broken one."""
    ledger = SqliteLedger(opened.connection)
    with pytest.raises(sqlite3.IntegrityError):
        ledger.commit(Group(readings=[reading(0), reading(1, flag=None)], lines={1: line()}))
    assert not opened.connection.in_transaction


def let_go(other: sqlite3.Connection) -> threading.Thread:
    """The other connection is closed after a moment."""

    def wait() -> None:
        time.sleep(0.4)
        other.close()

    thread = threading.Thread(target=wait)
    thread.start()
    return thread


def test_a_writer_waits_for_a_short_lock(path: Path, opened: Opened) -> None:
    """As it is opened by default, a writer waits for a lock that is held for a moment, and goes on."""
    other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    other.execute("BEGIN IMMEDIATE")
    began, thread = time.monotonic(), let_go(other)
    SqliteLedger(opened.connection).commit(Group(events=[Event(at(0), "test", "node-a", "waited")]))
    assert time.monotonic() - began > 0.3
    thread.join()


def test_a_reader_waits_for_a_short_lock(path: Path) -> None:
    """A reader waits likewise for one who has the file for itself, as a last checkpoint has."""
    opened = open_writer(path)
    SqliteLedger(opened.connection).commit(full_group())
    opened.close()
    other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    other.execute("PRAGMA journal_mode = DELETE").fetchone()
    other.execute("BEGIN EXCLUSIVE")
    began, thread = time.monotonic(), let_go(other)
    reader = open_reader(path)
    assert reader.execute("SELECT count(*) FROM reading").fetchone() == (6,)
    assert time.monotonic() - began > 0.3
    reader.close()
    thread.join()


def test_the_log_stays_small(path: Path, opened: Opened) -> None:
    """The log is emptied into the record again and again while the daemon runs, and after a long transaction it is cut back."""
    ledger = SqliteLedger(opened.connection)
    log = Path(f"{path}-wal")
    for second in range(1500):
        ledger.commit(Group(readings=[reading(second)], lines={1: line()}))
    assert log.stat().st_size < 5_000_000  # 1,500 commits of two pages or more would be some 15 MB
    ledger.commit(Group(events=[Event(at(n), "test", "node-a", "x" * 3000) for n in range(5000)]))
    assert log.stat().st_size > 12_000_000
    for second in range(1500, 1520):
        ledger.commit(Group(readings=[reading(second)], lines={1: line()}))
    assert log.stat().st_size < 9_000_000


def test_damage_that_a_commit_meets_is_marked(path: Path, opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    """A commit that finds the file damaged leaves the mark for which the next start takes its time; another failure leaves none."""
    ledger = SqliteLedger(opened.connection)
    for code, marked in ((sqlite3.SQLITE_FULL, False), (sqlite3.SQLITE_CORRUPT, True)):
        error = sqlite3.DatabaseError("found")
        error.sqlite_errorcode, error.sqlite_errorname = code, "NAME"

        def fail(group: Group, error: sqlite3.DatabaseError = error) -> dict[str, int]:
            raise error

        monkeypatch.setattr(ledger, "_write", fail)
        with pytest.raises(StoreFailure):
            ledger.commit(Group())
        assert suspect_mark(path).exists() == marked


def test_a_backup_is_on_the_disk_before_it_has_its_name(
    path: Path, opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copy's bytes are flushed, then it is renamed, then the folder is flushed: at no moment could a cut leave a name without them."""
    SqliteLedger(opened.connection).commit(full_group())
    done: list[tuple[str, str]] = []
    real_fsync, real_replace = os.fsync, os.replace

    def fsync(descriptor: int) -> None:
        done.append(("flush", os.readlink(f"/proc/self/fd/{descriptor}")))
        real_fsync(descriptor)

    def replace(source: Path, target: Path) -> None:
        done.append(("rename", str(target)))
        real_replace(source, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(os, "replace", replace)
    target = tmp_path / "copies" / "copy.db"
    target.parent.mkdir()
    size = backup(path, target)
    assert done == [("flush", f"{target}.part"), ("rename", str(target)), ("flush", str(target.parent))]
    assert target.stat().st_size == size
    assert [p.name for p in target.parent.iterdir()] == ["copy.db"]


def test_a_backup_is_one_file_without_a_log(path: Path, opened: Opened, tmp_path: Path) -> None:
    """The copy needs nothing beside it: it is in the journal mode of one file, and still the writer's own stays in its log's."""
    SqliteLedger(opened.connection).commit(full_group())
    backup(path, tmp_path / "copy.db")
    copy = sqlite3.connect(tmp_path / "copy.db")
    assert copy.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    copy.close()
    assert opened.connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_backup_takes_no_notice_of_one_that_was_cut_off(path: Path, opened: Opened, tmp_path: Path) -> None:
    """What a backup before left behind when the plug was pulled is in nobody's way, whatever it holds."""
    SqliteLedger(opened.connection).commit(full_group())
    target = tmp_path / "copies" / "copy.db"
    target.parent.mkdir()
    for rest in (b"half a page of something", b""):
        Path(f"{target}.part").write_bytes(rest * 4096)
        Path(f"{target}.part-journal").write_bytes(rest * 4096)
        assert backup(path, target) == target.stat().st_size > 100_000
        assert [p.name for p in target.parent.iterdir()] == ["copy.db"]


def test_a_backup_lets_go_of_the_record(path: Path, tmp_path: Path) -> None:
    """A program that makes many backups has none of them open afterwards."""
    opened = open_writer(path)
    SqliteLedger(opened.connection).commit(full_group())
    opened.close()
    before = sorted(os.listdir("/proc/self/fd"))
    kept = [backup(path, tmp_path / f"copy-{n}.db") for n in range(3)]
    assert len(set(kept)) == 1
    assert sorted(os.listdir("/proc/self/fd")) == before


def test_a_backup_that_fails_leaves_nothing_beside(
    path: Path, opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the last step fails the former copy stays as it was, and no part of the new one is left."""
    SqliteLedger(opened.connection).commit(full_group())
    target = tmp_path / "copies" / "copy.db"
    target.parent.mkdir()
    target.write_bytes(b"the former")

    def fail(source: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OSError, match="No space left"):
        backup(path, target)
    assert target.read_bytes() == b"the former"
    assert [p.name for p in target.parent.iterdir()] == ["copy.db"]


def test_a_take_over_that_cannot_be_kept_leaves_nothing(path: Path, opened: Opened) -> None:
    """Where what was read of a damaged record cannot be committed, nothing of it is in the new one, and nothing is left open in it."""
    SqliteLedger(opened.connection).commit(full_group())
    new = sqlite3.connect(":memory:", isolation_level=None)
    migrate(new)

    def deny(action: int, what: str | None, *_: object) -> int:
        return sqlite3.SQLITE_DENY if (action, what) == (sqlite3.SQLITE_TRANSACTION, "COMMIT") else sqlite3.SQLITE_OK

    new.set_authorizer(deny)
    with pytest.raises(sqlite3.DatabaseError, match="not authorized"):
        take_over(opened.connection, new)
    assert not new.in_transaction
    assert new.execute("SELECT count(*) FROM batch").fetchone() == (0,)
    new.set_authorizer(None)
    assert "batch" in take_over(opened.connection, new)
    assert new.execute("SELECT count(*) FROM batch").fetchone() == (1,)
    new.close()
