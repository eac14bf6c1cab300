"""Opening the record: one writer, readers that only read, and a damaged file that never keeps monitoring from coming up."""

from __future__ import annotations

import fcntl
import os
import random
import shutil
import sqlite3
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.store import connection as connection_module
from monitor.adapters.store import salvage
from monitor.adapters.store.check import interrupted_after, quick_check
from monitor.adapters.store.connection import Opened, StoreInUse, open_reader, open_writer, suspect_mark
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.store.migrations import VERSION
from monitor.adapters.store.salvage import TABLES
from monitor.adapters.store.second import second_path
from monitor.domain.alarms.about import Damaged
from monitor.domain.readings.numbering import Gap
from monitor.domain.state.record import Event, Group
from monitor.service.ports import StoreFailure
from tests.ports import at, everything, full_group, labels, line, reading
from tests.running import ROOT
from tests.told import WORDS


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "a folder, 100% of ours?" / "eggroom.db"


@pytest.fixture(autouse=True)
def _folder(path: Path) -> None:
    path.parent.mkdir()


def write(path: Path, *groups: Group) -> None:
    opened = open_writer(path)
    for group in groups:
        SqliteLedger(opened.connection).commit(group)
    opened.close()


def everything_of(path: Path) -> dict[str, Any]:
    reader = SqliteHistory(open_reader(path))
    try:
        return everything(reader)
    finally:
        reader.close()


def many_readings(count: int = 5000) -> Group:
    return Group(readings=[reading(s) for s in range(count)], lines={1: line(last_up_ms=count * 1000)})


def told(opened: Opened) -> str:
    """What a person reads of a damaged record."""
    return "" if opened.damaged is None else WORDS.about(opened.damaged)


def comes_up(path: Path) -> str:
    """The note with which a writer comes up; it starts a run, takes a group, and a reader finds it."""
    opened = open_writer(path)
    ledger = SqliteLedger(opened.connection)
    ledger.load()
    ledger.commit(Group(readings=[reading(9_000, probe="node-z/new", line=99)], lines={99: line(99, "node-z")}))
    opened.close()
    reader = SqliteHistory(open_reader(path))
    assert labels(reader, "node-z/new") == [9_000_000]
    reader.close()
    return told(opened)


def test_a_writer_is_set_up_for_durability(path: Path) -> None:
    """The writer has a write-ahead log, waits for the disk at each commit, holds to foreign keys, and keeps its log small."""
    opened = open_writer(path)
    expected = {
        "journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 5000, "wal_autocheckpoint": 1000,
        "journal_size_limit": 8 * 1024 * 1024, "user_version": VERSION,
    }  # fmt: skip
    found = {name: opened.connection.execute(f"PRAGMA {name}").fetchone()[0] for name in expected}
    opened.close()
    assert found == expected


@pytest.mark.parametrize("umask", [0, 0o022, 0o077])
def test_a_record_is_for_its_own_account_and_group(path: Path, umask: int) -> None:
    """Whoever starts it, and however loose the umask, which stays what it was; one that everybody could read is put right when it is opened."""
    usual = os.umask(umask)
    try:
        open_writer(path).close()
        for _ in range(2):
            opened = open_writer(path)
            SqliteLedger(opened.connection).commit(Group(readings=[reading(1)], lines={1: line()}))
            modes = {each.name: stat.S_IMODE(each.stat().st_mode) for each in path.parent.iterdir()}
            opened.close()
            assert set(modes) == {"eggroom.db.lock"} | {
                f"eggroom.db{second}{suffix}" for second in ("", ".second") for suffix in ("", "-wal", "-shm")
            }
            assert not [name for name, mode in modes.items() if mode & 0o007], modes
            path.chmod(path.stat().st_mode | 0o004)
        assert os.umask(umask) == umask
    finally:
        os.umask(usual)


def test_a_second_writer_is_refused(path: Path) -> None:
    """While one writes, another is refused with one line that names the process; once it is closed, the next is let in."""
    first = open_writer(path)
    with pytest.raises(StoreInUse, match=f"in use by process {os.getpid()}, expected") as raised:
        open_writer(path)
    assert "\n" not in str(raised.value)
    assert (raised.value.where, raised.value.expected) == ((str(path),), ("to be its only writer",))
    first.close()
    open_writer(path).close()


def test_the_lock_names_its_holder_alone(path: Path) -> None:
    """What an earlier process with a longer number left in the lock is not read as part of this one's."""
    Path(f"{path}.lock").write_text("4194304123\n", encoding="ascii")
    first = open_writer(path)
    assert Path(f"{path}.lock").read_text(encoding="ascii") == f"{os.getpid()}\n"
    with pytest.raises(StoreInUse) as raised:
        open_writer(path)
    assert "\n" not in str(raised.value)
    first.close()


def test_a_file_system_without_a_write_ahead_log(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where SQLite cannot keep its log beside the record, as on some network shares, the daemon says so and does not run on without."""
    real = sqlite3.connect

    def elsewhere(database: object, **more: Any) -> sqlite3.Connection:
        connection: sqlite3.Connection = real(":memory:", **more)
        return connection

    monkeypatch.setattr(sqlite3, "connect", elsewhere)
    with pytest.raises(StoreFailure, match="journal mode memory, expected a file system that allows a write-ahead log"):
        open_writer(path)


def test_an_empty_log_beside_an_empty_file(path: Path) -> None:
    """A start that was cut off before its first word leaves two empty files: nothing is lost, and nothing is set aside."""
    path.touch()
    Path(f"{path}-wal").touch()
    assert comes_up(path) == ""


def test_a_refused_writer_leaves_nothing_held(path: Path) -> None:
    """Opening that fails lets the lock go, so that it can be tried again."""
    path.mkdir()
    for _ in range(2):
        with pytest.raises(StoreFailure) as raised:
            open_writer(path)
        assert not isinstance(raised.value, StoreInUse)
    path.rmdir()
    assert comes_up(path) == ""


def held(path: Path) -> list[str]:
    """What this process has open of the record and the files beside it."""
    links = (
        os.readlink(f"/proc/self/fd/{name}")
        for name in os.listdir("/proc/self/fd")
        if os.path.exists(f"/proc/self/fd/{name}")
    )
    return [link for link in links if link.startswith(str(path))]


def test_whatever_is_refused_leaves_no_file_open(path: Path) -> None:
    """A record that is too new, or another program's, is let go by writer and reader alike."""
    write(path, full_group())
    for spoil in ("PRAGMA user_version = 99", "PRAGMA application_id = 7"):
        connection = sqlite3.connect(path, isolation_level=None)
        connection.execute(spoil)
        connection.close()
        for open_ in (open_writer, open_reader):
            with pytest.raises(StoreFailure):
                open_(path)
            assert held(path) == []


def test_a_record_that_cannot_be_brought_up_to_date_is_let_go(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a step fails the writer is not left half open."""

    def fail(connection: sqlite3.Connection) -> None:
        raise RuntimeError("a step that fails")

    monkeypatch.setattr(connection_module, "migrate", fail)
    with pytest.raises(RuntimeError, match="a step that fails"):
        open_writer(path)
    assert held(path) == []


def test_another_thread_may_use_what_was_opened(path: Path) -> None:
    """The daemon opens the record in one thread and works on it in another; so does a report with a reader."""
    opened = open_writer(path)
    reader = open_reader(path)
    done: list[int] = []

    def work() -> None:
        SqliteLedger(opened.connection).commit(Group(readings=[reading(1)], lines={1: line()}))
        done.extend(labels(SqliteHistory(reader)))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done == [1000]
    reader.close()
    opened.close()


def test_no_folder(path: Path) -> None:
    """A folder that is not there is told in one line, by writer and reader alike."""
    nowhere = path.parent / "none" / "eggroom.db"
    with pytest.raises(StoreFailure, match="expected a folder that can be written"):
        open_writer(nowhere)
    with pytest.raises(StoreFailure, match="no record yet"):
        open_reader(nowhere)


def test_a_reader_needs_a_record(path: Path) -> None:
    """A reader of nothing, or of an empty file, is told that there is no record; it makes none."""
    with pytest.raises(StoreFailure, match="no record yet"):
        open_reader(path)
    assert not path.exists()
    path.touch()
    with pytest.raises(StoreFailure, match="no record yet"):
        open_reader(path)


def test_a_reader_cannot_write(path: Path) -> None:
    """A reader's connection refuses to change anything."""
    write(path, full_group())
    reader = open_reader(path)
    assert reader.execute("PRAGMA query_only").fetchone() == (1,)
    for sql in ("DELETE FROM reading", "CREATE TABLE mine (a)", "PRAGMA user_version = 9"):
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            reader.execute(sql)
    reader.close()


def test_a_reader_sees_what_is_committed_while_the_writer_goes_on(path: Path) -> None:
    """Each commit is seen at once, an open transaction never, and a reader in the middle of reading holds up no commit."""
    opened = open_writer(path, busy_timeout_ms=0)
    ledger = SqliteLedger(opened.connection)
    ledger.commit(many_readings())
    connection = open_reader(path)
    history = SqliteHistory(connection)
    walk = open_reader(path)
    cursor = walk.execute("SELECT up_ms FROM reading")
    cursor.fetchone()  # a reader that is half-way through a table
    for second in (5_000, 5_001):
        ledger.commit(Group(readings=[reading(second)]))
        assert labels(history)[-1] == second * 1000
    opened.connection.execute("BEGIN IMMEDIATE")
    opened.connection.execute("DELETE FROM reading")
    assert len(labels(history)) == 5002
    opened.connection.execute("ROLLBACK")
    assert len(cursor.fetchall()) == 4999
    walk.close()
    history.close()
    opened.close()


def test_a_reader_never_checkpoints(path: Path, tmp_path: Path) -> None:
    """Readers come and go on a record that was left by a killed writer, and neither the file nor its log changes by a byte."""
    opened = open_writer(path)
    ledger = SqliteLedger(opened.connection)
    for second in range(50):
        ledger.commit(Group(readings=[reading(second)], lines={1: line()}))
    left = tmp_path / "left.db"
    for suffix in ("", "-wal"):  # as a kill would leave them: no one has the copies open
        shutil.copy(f"{path}{suffix}", f"{left}{suffix}")
    opened.close()
    files = [left, Path(f"{left}-wal")]
    before = [file.read_bytes() for file in files]
    assert len(before[1]) > 50 * 4096
    for _ in range(3):
        history = SqliteHistory(open_reader(left))
        assert len(labels(history)) == 50
        history.close()
    assert [file.read_bytes() for file in files] == before


def test_closing_leaves_one_file(path: Path) -> None:
    """A writer that is closed leaves its log empty or gone: all is in the one file."""
    write(path, full_group())
    assert not Path(f"{path}-wal").exists()
    assert comes_up(path) == ""


def test_a_newer_record_is_refused(path: Path) -> None:
    """A record of a version to come is refused by writer and reader in one line, and stays as it is."""
    write(path)
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.close()
    before = path.read_bytes()
    for opening in (open_writer, open_reader):
        with pytest.raises(StoreFailure, match=f"version {VERSION + 1}, made by a newer eggroom") as raised:
            opening(path)
        assert "\n" not in str(raised.value)
    assert path.read_bytes() == before


def test_an_older_record_waits_for_the_daemon(path: Path) -> None:
    """A reader does not read a record that was not brought up to date yet, for it can change nothing in it."""
    write(path)
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 0")
    connection.close()
    with pytest.raises(StoreFailure, match="record of version 0, expected"):
        open_reader(path)


@pytest.mark.parametrize("application_id", [0, 0x1234])
def test_another_programs_database_is_refused(path: Path, application_id: int) -> None:
    """A database that is not ours is refused by writer and reader, and stays as it is."""
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE theirs (a)")
    connection.execute(f"PRAGMA application_id = {application_id}")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    for opening in (open_writer, open_reader):
        with pytest.raises(StoreFailure, match="a database of another program"):
            opening(path)
    assert path.read_bytes() == before


def test_begun_and_broken_off(path: Path) -> None:
    """A file whose making was broken off before its first table is taken up, not refused."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    assert path.stat().st_size > 0
    assert comes_up(path) == ""


def _text(path: Path) -> None:
    path.write_text("this is not a database\n" * 400)


def _short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:60])


def _half(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _holes(path: Path) -> None:
    """Damage in the later half, where a record that was made by many_readings has only readings."""
    data = bytearray(path.read_bytes())
    pages = len(data) // 4096
    for page in range(pages // 2, pages, 3):
        data[page * 4096 : page * 4096 + 512] = random.Random(page).randbytes(512)
    path.write_bytes(data)


def _schema(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"CREATE TABLE line", b"CREATE TALBE line", 1))


def _emptied(path: Path) -> None:
    opened = open_writer(path)
    SqliteLedger(opened.connection).commit(full_group())
    wal = Path(f"{path}-wal").read_bytes()
    opened.close()
    path.write_bytes(b"")
    Path(f"{path}-wal").write_bytes(wal)


def _unreadable_text(path: Path) -> None:
    """A flipped bit inside a text, which no check of SQLite sees."""
    _replace(path, b"[[2, 3], [7, 9]]", b"[[2,\xb33], [7, 9]]")


def _senseless_text(path: Path) -> None:
    """A flipped bit that leaves a text which can be read, and makes no sense."""
    _replace(path, b"[[2, 3], [7, 9]]", b"[[2, 3}, [7, 9]]")


def _replace(path: Path, old: bytes, new: bytes) -> None:
    data = path.read_bytes()
    assert data.count(old) == 1
    path.write_bytes(data.replace(old, new))


@pytest.mark.parametrize("damage", [_text, _short, _half, _holes, _schema, _emptied, _unreadable_text, _senseless_text])
def test_a_damaged_record_is_set_aside(path: Path, damage: Callable[[Path], None]) -> None:
    """A damaged record is kept under another name, the note says so in one line, and a new one takes readings."""
    write(path, full_group(), many_readings())
    damage(path)
    left = path.read_bytes()
    note = comes_up(path)
    aside = Path(f"{path}.damaged-1")
    assert note.startswith(f"{path}: damaged (")
    assert f"set aside as {aside.name}; a new record was begun, taken over: " in note
    assert "\n" not in note
    assert aside.read_bytes() == left
    assert comes_up(path) == ""
    if damage is _emptied:
        assert Path(f"{aside}-wal").stat().st_size > 0


def test_damaged_readings_cost_only_readings(path: Path) -> None:
    """When the damage lies among the readings, the new record has all the rest: batches, alarms, notices and their numbers."""
    write(path, full_group(), many_readings(30_000))
    before = everything_of(path)
    _holes(path)
    assert "taken over: batch, stay, declared, transition, alarm, notice, attempt, probe, line, " in comes_up(path)
    after = everything_of(path)
    assert {k for k in before if after[k] != before[k]} == {"series", "latest"}
    assert not any(after["series"].values())


@pytest.mark.parametrize("damage", [_unreadable_text, _senseless_text])
def test_an_unreadable_table_costs_only_itself(path: Path, damage: Callable[[Path], None]) -> None:
    """When one table cannot be read, the new record has the others."""
    write(path, full_group(), many_readings())
    before = everything_of(path)
    damage(path)
    note = comes_up(path)
    assert "line, gap, unknown" in note  # numbering, which stands between, was not
    after = everything_of(path)
    assert {k for k in before if after[k] != before[k]} == {"series", "latest", "gaps"}
    assert after["gaps"] == [Gap("node-a", 76, 5, 8, True)]


def _full_disk(patched: pytest.MonkeyPatch, left: list[Path]) -> None:
    """The take-over of each start meets a full disk, as SQLite tells it."""

    def take_over(old: sqlite3.Connection, new: sqlite3.Connection) -> tuple[str, ...]:
        (page_count,) = new.execute("PRAGMA page_count").fetchone()
        new.execute(f"PRAGMA max_page_count = {page_count}")
        try:
            return salvage.take_over(old, new)
        finally:
            left.append(Path(new.execute("PRAGMA database_list").fetchone()[2]))

    patched.setattr(connection_module, "take_over", take_over)


def test_a_full_disk_leaves_the_damaged_record_in_its_place(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the new record cannot be written the damaged one stays, so that the next start sees it, says so, and takes it over."""
    write(path, full_group(), Group(events=[Event(at(n), "node", "node-a", "online " * 9) for n in range(500)]))
    before = everything_of(path)["batches"]
    _unreadable_text(path)
    damaged = path.read_bytes()
    written: list[Path] = []
    with monkeypatch.context() as patched:
        _full_disk(patched, written)
        for _ in range(2):
            with pytest.raises(StoreFailure, match="full"):
                open_writer(path)
            assert path.read_bytes() == damaged
            assert [p.name for p in path.parent.iterdir() if ".damaged" in p.name or ".half" in p.name] == []
    assert len(written) == 2
    note = comes_up(path)
    assert "set aside as eggroom.db.damaged-1; a new record was begun, taken over: batch" in note
    assert everything_of(path)["batches"] == before
    assert Path(f"{path}.damaged-1").read_bytes() == damaged


@pytest.mark.parametrize("stop", ["before", "between", "after"])
def test_a_take_over_that_is_cut_off_is_ended_by_the_next_start(path: Path, monkeypatch: pytest.MonkeyPatch, stop: str) -> None:  # fmt: skip
    """A power cut before, while or after the damaged record is set aside: the next start says so and has what was taken over."""
    write(path, full_group(), many_readings())
    before = everything_of(path)["batches"]
    _holes(path)
    log = Path(f"{path}-wal")
    log.write_bytes(b"its log")
    damaged, move = path.read_bytes(), os.replace

    def replace(source: str | Path, target: str | Path) -> None:
        if (stop, str(source)) in {("before", str(path)), ("between", str(log)), ("after", f"{path}.begun")}:
            raise KeyboardInterrupt
        move(source, target)

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", replace)
        with pytest.raises(KeyboardInterrupt):
            open_writer(path)
    assert path.exists() == (stop == "before")
    assert "set aside as eggroom.db.damaged-1; a new record was begun" in comes_up(path)
    assert everything_of(path)["batches"] == before
    aside = Path(f"{path}.damaged-1")
    assert (aside.read_bytes(), Path(f"{aside}-wal").read_bytes()) == (damaged, b"its log")
    assert not Path(f"{path}.begun").exists()


def test_set_aside_again_and_again(path: Path) -> None:
    """Each damaged record is kept under a number of its own; after five, the last is replaced, for a dying card is not to be filled."""
    for n in range(1, 8):
        path.write_text(f"{n} damaged\n" * 100)
        note = comes_up(path)
        assert f".damaged-{min(n, 5)};" in note
        assert note.endswith("taken over: nothing")
        path.unlink()
    kept = sorted(path.parent.glob("*.damaged-?"))
    assert [p.read_text()[0] for p in kept] == ["1", "2", "3", "4", "7"]


def test_damage_anywhere(path: Path, tmp_path: Path) -> None:
    """Whatever 90 random overwrites do to a record, a writer comes up, starts a run and takes readings.

    Not promised: a flipped bit in the name of a column, which only the statement that needs it would find.
    """
    write(path, full_group(), many_readings(400))
    whole = path.read_bytes()
    draw = random.Random(11)
    aside = 0
    for n in range(90):
        folder = tmp_path / f"damage-{n}"
        folder.mkdir()
        data = bytearray(whole)
        # From 100 on: the first bytes hold whose file it is, and another's is refused rather than set aside.
        start, length = draw.randrange(100, len(data)), draw.choice((1, 8, 64, 512, 4096))
        data[start : start + length] = draw.randbytes(min(length, len(data) - start))
        (folder / "eggroom.db").write_bytes(data)
        aside += bool(comes_up(folder / "eggroom.db"))
    assert 20 < aside < 90  # the rest hit values of readings, or room that holds nothing


def test_a_check_that_takes_too_long_ends(path: Path) -> None:
    """A check past its limit is broken off and counts as sound, so that a huge record does not hold up the start."""
    write(path, many_readings(30_000))
    opened = open_writer(path, check_s=0.0)
    assert opened.damaged is None
    opened.close()
    _holes(path)
    connection = open_reader(path)
    assert quick_check(connection, 0.0) == ""
    assert quick_check(connection) != ""
    connection.close()


def test_what_runs_too_long_is_interrupted(path: Path) -> None:
    """A statement of many seconds is ended by the limit; without one, or within it, nothing is interrupted."""
    write(path)
    connection = open_reader(path)
    counting = "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n LIMIT {}) SELECT count(*) FROM n"
    with interrupted_after(connection, 0.01) as expired, pytest.raises(sqlite3.OperationalError, match="interrupted"):
        connection.execute(counting.format(20_000_000)).fetchone()
    assert expired.is_set()
    for limit_s in (None, 60.0):
        with interrupted_after(connection, limit_s) as expired:
            assert connection.execute(counting.format(10_000)).fetchone() == (10_000,)
        assert not expired.is_set()
    connection.close()


def test_what_a_start_needs_is_checked_first(path: Path) -> None:
    """The small tables are checked one by one before the whole, so that a check which is broken off has seen them."""
    write(path)
    connection = open_reader(path)
    asked: list[str] = []
    connection.set_trace_callback(asked.append)
    assert quick_check(connection) == ""
    connection.close()
    checks = [sql for sql in asked if "quick_check" in sql]
    assert checks[-1] == "PRAGMA quick_check(1)"
    assert {f"PRAGMA quick_check('{table}')" for table in TABLES} < set(checks[:-1])
    assert "PRAGMA quick_check('reading')" not in checks


def test_damage_met_in_use_is_checked_for_at_the_next_start(path: Path) -> None:
    """A record found damaged by a commit is marked; the next start takes its time, sets it aside, and takes the mark away."""
    write(path, many_readings(30_000))
    _holes(path)
    opened = open_writer(path, check_s=0.0)
    ledger = SqliteLedger(opened.connection)
    assert not suspect_mark(path).exists()
    group = Group(readings=[reading(s + 0.5) for s in range(0, 30_000, 50)])
    with pytest.raises(StoreFailure, match="malformed"):
        ledger.commit(group)
    opened.close()
    assert suspect_mark(path).exists()
    opened = open_writer(path, check_s=0.0)
    assert "set aside" in told(opened)
    SqliteLedger(opened.connection).commit(group)
    opened.close()
    assert not suspect_mark(path).exists()


def test_a_suspicion_that_was_wrong(path: Path) -> None:
    """A sound record that was marked is kept, and the mark goes."""
    write(path, full_group())
    suspect_mark(path).touch()
    opened = open_writer(path)
    assert opened.damaged is None
    opened.close()
    assert not suspect_mark(path).exists()
    assert everything_of(path)["batches"] == list(full_group().batches.values())


def test_what_is_made_is_not_for_everyone(path: Path) -> None:
    """The lock can be written by nobody but its owner."""
    write(path)
    assert stat.S_IMODE(Path(f"{path}.lock").stat().st_mode) & 0o022 == 0


def test_a_damaged_record_that_cannot_be_moved_is_not_replaced(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the damaged record cannot be set aside it stays as it is, and the start ends with one line that says so."""
    path.write_text("damaged\n" * 100)
    damaged, move = path.read_bytes(), os.replace

    def replace(source: str | Path, target: str | Path) -> None:
        if ".damaged-" in str(target):
            raise PermissionError(13, "Permission denied")
        move(source, target)

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(StoreFailure, match=r"damaged \(.*\), and cannot be set aside: Permission denied"):
        open_writer(path)
    assert path.read_bytes() == damaged


def test_a_left_log_goes_with_the_record_that_was_set_aside_last(path: Path) -> None:
    """Of several damaged records a log that was left behind belongs to the one that was moved last, whatever its number."""
    write(path, full_group())
    whole = path.read_bytes()
    path.unlink()
    for n in (2, 1, 3):  # each later than the one before
        Path(f"{path}.damaged-{n}").write_text("damaged\n")
        time.sleep(0.02)
    os.utime(f"{path}.damaged-1")
    Path(f"{path}.begun").write_bytes(whole)
    Path(f"{path}-wal").write_bytes(b"its log")
    assert "set aside as eggroom.db.damaged-1;" in comes_up(path)
    assert Path(f"{path}.damaged-1-wal").read_bytes() == b"its log"
    assert not Path(f"{path}.damaged-2-wal").exists()


def test_a_record_that_is_only_locked_is_not_set_aside(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program that holds the record is no damage: the start says so, and the record stays where it is."""
    write(path, full_group())
    monkeypatch.setattr(connection_module, "BUSY_TIMEOUT_MS", 20)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(StoreFailure, match="locked"):
        open_writer(path, busy_timeout_ms=20)
    other.close()
    assert list(path.parent.glob("*.damaged-*")) == []
    assert comes_up(path) == ""


def test_nothing_is_interrupted_after_the_limit_was_left(path: Path) -> None:
    """Whoever watched the time is gone when the block ends, so that it cannot interrupt the next statement."""
    write(path)
    connection = open_reader(path)
    for limit_s in (0.0, 60.0) * 10:
        with interrupted_after(connection, limit_s):
            pass
        assert [t.name for t in threading.enumerate() if t.name == "check-limit"] == []
    connection.close()


def test_a_reader_waits_as_long_as_a_writer(path: Path) -> None:
    """A reader waits five seconds for a lock, or what it was told."""
    write(path)
    for told, waits_ms in (({}, 5000), ({"busy_timeout_ms": 700}, 700)):
        connection = open_reader(path, **told)
        assert connection.execute("PRAGMA busy_timeout").fetchone() == (waits_ms,)
        connection.close()


def test_a_new_record_is_whole_before_it_takes_a_damaged_ones_place(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing of it is left in a log when it gets its name: what the disk refuses is told before the damaged one is moved."""
    write(path, full_group())
    _unreadable_text(path)
    statements: list[str] = []

    def take_over(old: sqlite3.Connection, new: sqlite3.Connection) -> tuple[str, ...]:
        taken = salvage.take_over(old, new)
        new.set_trace_callback(statements.append)
        return taken

    monkeypatch.setattr(connection_module, "take_over", take_over)
    open_writer(path).close()
    assert statements == ["PRAGMA wal_checkpoint(TRUNCATE)"]


def test_how_long_a_start_looks_for_damage(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten seconds, which is some 400 MB from a card; ten minutes where damage was met in use."""
    write(path)
    limits: list[float] = []

    def check(connection: sqlite3.Connection, limit_s: float) -> str:
        limits.append(limit_s)
        return ""

    monkeypatch.setattr(connection_module, "quick_check", check)
    open_writer(path).close()
    suspect_mark(path).touch()
    open_writer(path).close()
    assert limits == [10.0, 10 * 60.0]


def test_durability_does_not_rest_on_how_sqlite_was_built(path: Path) -> None:
    """Whatever a connection comes with, the writer waits for the disk, holds to foreign keys, and keeps its log small."""
    connection = sqlite3.connect(path, isolation_level=None)
    for other in ("synchronous = OFF", "foreign_keys = OFF", "wal_autocheckpoint = 7", "journal_size_limit = 7"):
        connection.execute(f"PRAGMA {other}")
    connection_module._configure(connection, path)
    names = ("journal_mode", "synchronous", "foreign_keys", "wal_autocheckpoint", "journal_size_limit")
    found = [connection.execute(f"PRAGMA {name}").fetchone()[0] for name in names]
    connection.close()
    assert found == ["wal", 2, 1, 1000, 8 * 1024 * 1024]


def test_nothing_of_the_damaged_record_stays_beside_the_new_one(path: Path) -> None:
    """Log, journal and the log's index of the record that was set aside go before the new one has its name."""
    write(path, full_group())
    path.rename(f"{path}.begun")
    for suffix in ("-wal", "-journal", "-shm"):
        Path(f"{path}{suffix}").write_bytes(b"of the damaged one")
    Path(f"{path}.damaged-1").write_bytes(b"damaged")
    assert connection_module._put_in_place(path) == Damaged(str(path), "eggroom.db.damaged-1")
    assert sorted(p.name for p in path.parent.iterdir()) == [
        "eggroom.db",
        "eggroom.db.damaged-1",
        "eggroom.db.damaged-1-journal",
        "eggroom.db.damaged-1-wal",
        "eggroom.db.lock",
        "eggroom.db.second",
    ]


def test_who_holds_the_lock_may_be_unknown(path: Path) -> None:
    """A holder that could not write its number, on a full disk, is told as unknown."""
    with Path(f"{path}.lock").open("w") as held_by:
        fcntl.flock(held_by, fcntl.LOCK_EX)
        with pytest.raises(StoreInUse, match="in use by process unknown, expected"):
            open_writer(path)


def fails_once(monkeypatch: pytest.MonkeyPatch, name: str, error: Exception) -> None:
    """That step of opening raises the first time, and works from then on."""
    real = getattr(connection_module, name)
    left = [error]

    def step(*given: Any) -> Any:
        if left:
            raise left.pop()
        return real(*given)

    monkeypatch.setattr(connection_module, name, step)


def complaint(code: int) -> sqlite3.OperationalError:
    error = sqlite3.OperationalError("as SQLite tells it")
    error.sqlite_errorcode, error.sqlite_errorname = code, "SQLITE_NAME"
    return error


@pytest.mark.parametrize("step", ["migrate", "load"])
@pytest.mark.parametrize("code", [sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_IOERR])
def test_what_is_no_damage_sets_nothing_aside(
    path: Path, monkeypatch: pytest.MonkeyPatch, step: str, code: int
) -> None:
    """A full disk, a lock or a failing disk at any step of the start: one line, and the record stays in its place."""
    write(path, full_group())
    with monkeypatch.context() as patched:
        fails_once(patched, step, complaint(code))
        with pytest.raises(StoreFailure, match="as SQLite tells it"):
            open_writer(path)
    assert list(path.parent.glob("*.damaged-*")) == []
    assert held(path) == []
    assert comes_up(path) == ""


@pytest.mark.parametrize(
    ("step", "error"),
    [
        ("migrate", complaint(sqlite3.SQLITE_CORRUPT)),
        ("load", complaint(sqlite3.SQLITE_CORRUPT)),
        ("load", ValueError("as SQLite tells it")),
    ],
)
def test_damage_that_only_the_start_meets(
    path: Path, monkeypatch: pytest.MonkeyPatch, step: str, error: Exception
) -> None:
    """A record that the check found sound and that cannot start a run is set aside like any other damaged one."""
    write(path, full_group())
    fails_once(monkeypatch, step, error)
    opened = open_writer(path)
    opened.close()
    assert told(opened).startswith(f"{path}: damaged (as SQLite tells it), set aside as eggroom.db.damaged-1; ")
    assert "taken over: batch, stay" in told(opened)


def test_a_refused_second_writer_keeps_nothing_open(path: Path) -> None:
    """However often it asks, of the lock there is the one descriptor of who has it."""
    first = open_writer(path)
    for _ in range(3):
        with pytest.raises(StoreInUse):
            open_writer(path)
    assert held(path).count(f"{path}.lock") == 1
    first.close()
    assert held(path) == []


def test_the_lock_is_its_owners_and_its_groups_to_read(path: Path) -> None:
    """rw-r-----, whatever the process would allow."""
    before = os.umask(0)
    try:
        write(path)
    finally:
        os.umask(before)
    assert stat.S_IMODE(Path(f"{path}.lock").stat().st_mode) == 0o640


def test_a_database_that_another_program_has_begun(path: Path) -> None:
    """One with another program's number in its header is refused though it has no table yet."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA application_id = 4660")
    connection.execute("PRAGMA user_version = 1")
    connection.close()
    with pytest.raises(StoreFailure, match="a database of another program"):
        open_writer(path)


def test_one_byte_of_a_log_beside_an_empty_file(path: Path) -> None:
    """Whatever is left of a log is set aside with the file that was emptied, for it may be all there is."""
    path.touch()
    Path(f"{path}-wal").write_bytes(b"x")
    assert comes_up(path).startswith(f"{path}: damaged (empty, but its log is not), set aside as eggroom.db.damaged-1")
    assert Path(f"{path}.damaged-1-wal").read_bytes() == b"x"


def test_a_half_record_of_a_start_that_was_cut_off_is_in_nobodys_way(path: Path) -> None:
    """Whatever a take-over left half done is put away by the next."""
    write(path, full_group())
    before = everything_of(path)["batches"]
    _unreadable_text(path)
    for suffix in ("", "-wal", "-journal"):
        Path(f"{path}.half{suffix}").write_bytes(b"half of something" * 500)
    assert "set aside as eggroom.db.damaged-1" in comes_up(path)
    assert everything_of(path)["batches"] == before
    assert list(path.parent.glob("*.half*")) == []


def test_what_a_cut_off_start_had_begun_never_comes_back_as_the_record(path: Path) -> None:
    """A record that opens rightly after all, as one put back from a backup does, leaves nothing that a later start would put in its place."""
    write(path, full_group())
    shutil.copy(path, f"{path}.begun")
    open_writer(path).close()
    assert not Path(f"{path}.begun").exists()
    for each in (path, second_path(path)):  # by somebody who begins anew
        each.unlink()
    assert comes_up(path) == ""
    assert everything_of(path)["batches"] == []


def test_a_new_record_is_closed_before_it_gets_its_name(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the half record nor the damaged one is open when the first is renamed."""
    write(path, full_group())
    _unreadable_text(path)
    move = os.replace
    open_then: list[list[str]] = []

    def replace(source: str | Path, target: str | Path) -> None:
        open_then.append([name for name in held(path) if not name.endswith(".lock")])
        move(source, target)

    monkeypatch.setattr(os, "replace", replace)
    open_writer(path).close()
    assert len(open_then) > 1
    assert not any(open_then)


def test_the_log_of_the_one_that_was_replaced_goes_too(path: Path) -> None:
    """Where the fifth damaged record takes the place of another, no log of that one is left beside it."""
    for n in range(1, 6):
        Path(f"{path}.damaged-{n}").write_text("damaged\n")
    Path(f"{path}.damaged-5-wal").write_bytes(b"of another one")
    path.write_text("damaged\n" * 100)
    assert "set aside as eggroom.db.damaged-5;" in comes_up(path)
    assert not Path(f"{path}.damaged-5-wal").exists()


@pytest.mark.parametrize(("asides", "to"), [((), 1), ((1,), 1), ((1, 2, 3, 4, 5), 5)])
def test_a_left_log_with_few_or_many_damaged_records(path: Path, asides: tuple[int, ...], to: int) -> None:
    """It goes with the only one, with the fifth, or waits as that of the first where somebody has taken them away."""
    write(path, full_group())
    path.rename(f"{path}.begun")
    for n in asides:
        Path(f"{path}.damaged-{n}").write_text("damaged\n")
        time.sleep(0.02)
    Path(f"{path}-wal").write_bytes(b"its log")
    assert f"set aside as eggroom.db.damaged-{to};" in comes_up(path)
    assert Path(f"{path}.damaged-{to}-wal").read_bytes() == b"its log"


@pytest.mark.parametrize(
    ("step", "error"),
    [
        ("_version", ValueError("what was\n  found")),
        ("load", ValueError("what was\n  found")),
        ("load", sqlite3.DatabaseError("what was\n  found")),
    ],
)
def test_what_was_found_is_told_in_one_line(
    path: Path, monkeypatch: pytest.MonkeyPatch, step: str, error: Exception
) -> None:
    """Whatever a damaged record makes a library say, the note has it without line breaks."""
    write(path, full_group())
    fails_once(monkeypatch, step, error)
    opened = open_writer(path)
    opened.close()
    assert told(opened).startswith(f"{path}: damaged (what was found), set aside as eggroom.db.damaged-1; ")


def test_a_record_that_cannot_be_looked_at_says_why(path: Path) -> None:
    """A file where its folder should be, as of a slip in the configuration: one line with the path, and what was expected of it."""
    path.touch()
    with pytest.raises(StoreFailure) as caught:
        open_reader(path / "eggroom.db")
    assert str(caught.value) == f"{path / 'eggroom.db'}: Not a directory, expected a file that can be read"


CUT_OFF = """
import os
from pathlib import Path
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from tests.ports import full_group
SqliteLedger(open_writer(Path({path!r})).connection).commit(full_group())
os.kill(os.getpid(), 9)
"""
FULL_CARD = """
import resource, sys
from pathlib import Path
from monitor.adapters.store.connection import open_reader
resource.setrlimit(resource.RLIMIT_FSIZE, (0, -1))
reader = open_reader(Path({path!r}))
found = reader.execute("SELECT id FROM batch").fetchall()
reader.close()
assert found == [("spring-1",)], found
"""


@pytest.mark.parametrize("index", [True, False])
def test_after_a_cut_it_is_read_from_a_card_that_takes_nothing(path: Path, index: bool) -> None:
    """What was committed last lies in the log alone, of which the index is made in memory; and nothing of it is changed."""
    subprocess.run([sys.executable, "-c", CUT_OFF.format(path=str(path))], cwd=ROOT)
    if not index:
        Path(f"{path}-shm").unlink()

    def content() -> list[bytes]:
        return [path.read_bytes(), Path(f"{path}-wal").read_bytes()]

    before = content()
    assert before[1]
    subprocess.run([sys.executable, "-c", FULL_CARD.format(path=str(path))], cwd=ROOT, check=True, capture_output=True)
    assert content() == before
    assert everything_of(path)["batches"]
