"""The write side: a group is written in one piece or not at all, whatever fails, and what was committed outlives the process."""

from __future__ import annotations

import bisect
import contextlib
import os
import random
import re
import resource
import select
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from monitor.adapters.store.connection import Opened, open_reader, open_writer, suspect_mark
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import BACKUP_PAGES, SqliteLedger, backup
from monitor.adapters.store.migrations import migrate
from monitor.adapters.store.salvage import TABLES, take_over
from monitor.domain.alarms.alarm import Alarm, Transition
from monitor.domain.alarms.notice import Notice, Reach
from monitor.domain.readings.reading import Refused, from_ms
from monitor.domain.state.record import Attempt, Event, Group, RefusedRow
from monitor.service.ports import ChoreDone, StoreFailure
from tests.adapters.store.writer import PROBES, numbered_group
from tests.ports import START_MS, at, everything, full_group, labels, line, reading, series_rows

ROOT = Path(__file__).parents[3]


@dataclass(slots=True)
class Store:
    """A writer and a reader of one file."""

    path: Path
    opened: Opened
    ledger: SqliteLedger
    history: SqliteHistory

    @property
    def connection(self) -> sqlite3.Connection:
        return self.opened.connection


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    path = tmp_path / "eggroom.db"
    opened = open_writer(path, busy_timeout_ms=50)
    store = Store(path, opened, SqliteLedger(opened.connection), SqliteHistory(open_reader(path)))
    yield store
    store.history.close()
    opened.close()


def large_group(rows: int = 400) -> Group:
    """A full group with more events than a page or ten can hold."""
    group = full_group()
    group.events += [Event(at(n), "test", "node-a", "x" * 500) for n in range(rows)]
    return group


def test_an_interruption_at_any_step_leaves_nothing(store: Store) -> None:
    """Wherever the writing of a group is broken off, nothing of it is in the record; afterwards the same group goes in whole."""
    store.ledger.commit(Group(readings=[reading(0, probe="node-q/p", line=9)], lines={9: line(9, "node-q")}))
    before = everything(store.history)
    steps = 0

    def count() -> int:
        nonlocal steps
        steps += 1
        return 0

    trial = sqlite3.connect(":memory:", isolation_level=None)
    store.connection.backup(trial)
    trial.execute("PRAGMA foreign_keys = ON")
    ledger = SqliteLedger(trial)
    trial.set_progress_handler(count, 1)
    ledger.commit(full_group())
    trial.close()
    assert steps > 500
    # But for the last steps, which are those of COMMIT itself: SQLite may call an interruption what it has just made durable.
    for stop in sorted(random.Random(3).sample(range(steps - 10), 150)):
        left = stop

        def cut() -> bool:
            nonlocal left
            left -= 1
            return left < 0

        store.connection.set_progress_handler(cut, 1)
        with pytest.raises(StoreFailure, match="interrupted"):
            store.ledger.commit(full_group())
        store.connection.set_progress_handler(None, 1)
        assert everything(store.history) == before
    store.ledger.commit(full_group())
    assert store.history.notices()[0].notice == full_group().notices[1]
    assert store.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert store.connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_no_row_goes_in_by_position(tmp_path: Path) -> None:
    """Each INSERT of a new record, of a full group and of taking over names its columns: a step that adds one moves no value."""
    connection = sqlite3.connect(tmp_path / "eggroom.db", isolation_level=None)
    said: list[str] = []
    connection.set_trace_callback(said.append)
    migrate(connection)
    group = full_group()
    group.chores.append(ChoreDone("summary sam", date(2026, 3, 1), at(0)))
    SqliteLedger(connection).commit(group)
    new = sqlite3.connect(":memory:", isolation_level=None)
    migrate(new)
    new.set_trace_callback(said.append)
    assert len(take_over(connection, new)) == len(TABLES)
    inserts = [" ".join(line.split()) for line in said if line.lstrip().startswith("INSERT")]
    assert {match[1] for line in inserts if (match := re.search(r"INTO (\w+)", line))} >= {
        "migration",
        "reading",
        *TABLES,
    }
    assert [line for line in inserts if not re.search(r"INTO \w+ \(\"?\w+\"?(, \"?\w+\"?)*\)", line)] == []
    connection.close()
    new.close()


def test_of_a_damaged_record_every_table_is_taken_but_the_readings(tmp_path: Path) -> None:
    """What a later step adds as well: the chores that were done once were not, and their message was told twice on the day of a mishap."""
    connection = sqlite3.connect(tmp_path / "eggroom.db", isolation_level=None)
    migrate(connection)
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    connection.close()
    assert tables - set(TABLES) == {"migration", "reading", "revision"}
    assert set(TABLES) <= tables


def test_a_row_that_cannot_be_is_not_taken_for_a_repeat(store: Store) -> None:
    """A reading without a flag is our own mistake: it raises, where an insert that ignores would lose the reading in silence."""
    with pytest.raises(sqlite3.IntegrityError, match=r"reading\.flag"):
        store.ledger.commit(Group(readings=[reading(0), reading(1, flag=None)], lines={1: line()}))
    assert labels(store.history) == []


def test_a_full_disk(store: Store) -> None:
    """A full disk is a StoreFailure of one line and nothing is written; when there is room again, the same group goes in."""
    before = everything(store.history)
    (pages,) = store.connection.execute("PRAGMA page_count").fetchone()
    for more in range(0, 50, 7):
        store.connection.execute(f"PRAGMA max_page_count = {pages + more}")
        with pytest.raises(StoreFailure, match="database or disk is full") as raised:
            store.ledger.commit(large_group())
        assert "\n" not in str(raised.value)
        assert str(store.path) in str(raised.value)
        assert everything(store.history) == before
    store.connection.execute("PRAGMA max_page_count = 100000")
    store.ledger.commit(large_group())
    assert len(store.history.events()) == 403


@contextlib.contextmanager
def no_file_beyond(size: int) -> Iterator[None]:
    """The system refuses to let any file of this process grow beyond so many bytes: a write that really fails."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_write_that_really_fails(store: Store) -> None:
    """When the system cuts a write short, at any byte, nothing of the group is seen; when it lets go, the same group goes in."""
    wal = Path(f"{store.path}-wal")
    draw = random.Random(8)
    for round_ in range(20):
        before = everything(store.history)
        group = replace(large_group(60), notices=[], attempts=[], transitions=[])
        group.readings.append(reading(1_000 + round_))
        with no_file_beyond(wal.stat().st_size + draw.randrange(0, 30_000)), pytest.raises(StoreFailure):
            store.ledger.commit(group)
        assert everything(store.history) == before
        store.ledger.commit(group)
        assert labels(store.history)[-1] == (1_000 + round_) * 1000
    assert store.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_a_record_that_is_locked(store: Store) -> None:
    """Another process that holds the write lock is a StoreFailure; when it lets go, the same group goes in."""
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreFailure, match="locked"):
        store.ledger.commit(full_group())
    other.execute("ROLLBACK")
    other.close()
    store.ledger.commit(full_group())
    assert len(store.history.events()) == 3


def test_our_own_mistakes_are_not_store_failures(store: Store) -> None:
    """What the code got wrong raises as it is, after a roll-back, and the next group goes in."""
    wrong = [
        Group(readings=[reading(0)], attempts=full_group().attempts),  # an attempt at a notice that is not there
        Group(readings=[reading(0, dry_bulb_c="warm")], lines={1: line()}),
    ]
    for group in wrong:
        with pytest.raises(sqlite3.IntegrityError):
            store.ledger.commit(group)
        assert not store.connection.in_transaction
    assert series_rows(store.history) == []
    store.ledger.commit(Group(readings=[reading(0)], lines={1: line()}))
    assert labels(store.history) == [0]


def test_the_ids_of_a_group_that_failed_are_nobodys(store: Store) -> None:
    """Probes that a failed group would have brought are numbered anew, so no later reading goes to another probe."""
    (pages,) = store.connection.execute("PRAGMA page_count").fetchone()
    store.connection.execute(f"PRAGMA max_page_count = {pages}")
    failing = replace(large_group(), readings=[reading(0, probe="node-a/one"), reading(0, probe="node-a/two")])
    with pytest.raises(StoreFailure):
        store.ledger.commit(failing)
    store.connection.execute("PRAGMA max_page_count = 100000")
    store.ledger.commit(Group(readings=[reading(1, probe="node-a/three")], lines={1: line()}))
    store.ledger.commit(failing)
    assert labels(store.history, "node-a/one") == labels(store.history, "node-a/two") == [0]
    assert labels(store.history, "node-a/three") == [1_000]


def test_new_probes_are_numbered_by_name(store: Store) -> None:
    """The same group makes the same rows in every run: what it brings for the first time is numbered in the order of the names."""
    names = [f"node-a/p{n:02}" for n in range(20)]
    store.ledger.commit(Group(readings=[reading(0, probe=name) for name in reversed(names)], lines={1: line()}))
    found = store.connection.execute("SELECT key FROM probe ORDER BY id").fetchall()
    assert [name for (name,) in found] == names


def test_refused_is_bounded(store: Store) -> None:
    """Of the refused the newest 10,000 are kept, and all are counted."""
    for start in range(0, 10_500, 1_500):
        rows = [RefusedRow(at(n), Refused("t", b"x", str(n))) for n in range(start, start + 1_500)]
        store.ledger.commit(Group(refused=rows))
    total, kept = store.history.refused(limit=20_000)
    assert (total, len(kept)) == (10_500, 10_000)
    assert (kept[0].refused.reason, kept[-1].refused.reason) == ("10499", "500")


def test_of_a_refused_message_so_much_is_kept(store: Store) -> None:
    """8 KiB of what came, and a thousand characters of its topic and of the reason: whoever floods us shall not fill the card."""
    store.ledger.commit(Group(refused=[RefusedRow(at(0), Refused("t" * 1_500, b"x" * 9_000, "r" * 1_500))]))
    row = store.connection.execute("SELECT length(topic), length(payload), length(reason) FROM refused").fetchone()
    assert row == (1_000, 8_192, 1_000)


def test_a_poison_message_can_be_refused(store: Store) -> None:
    """Text that has no UTF-8, or is as long as a topic can be, goes into the record all the same."""
    refused = Refused("t\ud800" + "x" * 65_535, b"\x00\xff" * 40_000, "got '\udfff\x00'")
    store.ledger.commit(Group(refused=[RefusedRow(at(0), refused)]))
    _, (row,) = store.history.refused()
    assert row.refused.topic == "t\\ud800" + "x" * 998  # 1,000 characters, the half one written out
    assert row.refused.payload == (b"\x00\xff" * 40_000)[:8192]
    assert row.refused.reason == "got '\\udfff\x00'"


def groups_in(path: Path) -> int:
    """How many numbered groups the record holds, each whole and none missing before the last."""
    history = SqliteHistory(open_reader(path))
    numbers = [int(event.text) for event in history.events(limit=10**6)]
    assert numbers == list(range(1, len(numbers) + 1))
    for probe in PROBES:
        assert labels(history, probe) == [number * 1000 for number in numbers]
    assert [row.notice.id for row in history.notices(limit=10**6)] == numbers[::-1]
    assert [row.number for row in history.transitions()] == numbers
    assert [alarm.number for alarm in history.alarms()] == numbers[-1:]
    history.close()
    return len(numbers)


def test_a_process_that_is_killed(tmp_path: Path) -> None:
    """Killed at ten random moments, a writer loses no group whose commit had returned, and none is there in part."""
    path = tmp_path / "eggroom.db"
    draw = random.Random()
    said = 0
    for _ in range(10):
        with subprocess.Popen(
            [sys.executable, "-m", "tests.adapters.store.writer", str(path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
        ) as writer:  # fmt: skip
            assert writer.stdout is not None
            try:
                said = int(writer.stdout.readline())
                # Kill it some random time after its first word, whatever it is at.
                select.select([], [], [], draw.uniform(0.0, 0.15))
            finally:
                writer.send_signal(signal.SIGKILL)
            for word in writer.stdout.read().split("\n")[:-1]:
                said = int(word)
        there = groups_in(path)
        assert there in (said, said + 1), f"said {said}, found {there}"
    assert said > 10
    opened = open_writer(path)
    assert opened.damaged is None
    assert opened.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    opened.close()


def _cut(log: bytes, place: int) -> bytes:
    return log[:place]


def _flip(log: bytes, place: int) -> bytes:
    return log[:place] + bytes([log[place] ^ 0x10]) + log[place + 1 :]


def _lost_page(log: bytes, place: int) -> bytes:
    return log[:place] + bytes(min(4096, len(log) - place)) + log[place + 4096 :]


@pytest.mark.parametrize("harm", [_cut, _flip, _lost_page])
def test_a_log_that_lost_its_end(store: Store, tmp_path: Path, harm: Callable[[bytes, int], bytes]) -> None:
    """What a power cut can do to the log: whatever came before the damaged place is there, in whole groups, and nothing is corrupt."""
    store.connection.execute("PRAGMA wal_autocheckpoint = 0")
    wal = Path(f"{store.path}-wal")
    ends = []  # where each group's commit ends in the log
    store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    for number in range(1, 41):
        store.ledger.commit(numbered_group(number))
        ends.append(wal.stat().st_size)
    main, log = store.path.read_bytes(), wal.read_bytes()
    draw = random.Random(5)
    counts = set()
    for n in range(50):
        folder = tmp_path / str(n)
        folder.mkdir()
        path = folder / "eggroom.db"
        place = draw.randrange(32, len(log))
        path.write_bytes(main)
        harmed = harm(log, place)
        Path(f"{path}-wal").write_bytes(harmed)
        opened = open_writer(path)
        assert opened.damaged is None
        assert opened.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        there = groups_in(path)
        assert there == (bisect.bisect_right(ends, place) if harmed != log else 40)
        counts.add(there)
        SqliteLedger(opened.connection).commit(numbered_group(there + 1))
        assert groups_in(path) == there + 1
        opened.close()
        shutil.rmtree(folder)
    assert len(counts) > 15


def test_a_backup_is_whole_and_of_one_instant(store: Store, tmp_path: Path) -> None:
    """A copy made while the daemon writes is one file that says what the record said at one instant, and can take its place."""
    for number in range(1, 300):
        store.ledger.commit(numbered_group(number))
    target = tmp_path / "copy.db"
    target.write_text("a former copy")
    size = backup(store.path, target)
    store.ledger.commit(numbered_group(300))
    assert size == target.stat().st_size
    assert (
        target.read_bytes()[18:20] == b"\x01\x01"
    )  # "legacy" in SQLite's file format: no write-ahead log belongs to it
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith("copy")) == ["copy.db"]
    opened = open_writer(target)
    assert opened.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert groups_in(target) == 299
    SqliteLedger(opened.connection).commit(numbered_group(300))
    opened.close()
    assert groups_in(target) == groups_in(store.path) == 300


def test_a_backup_goes_on_while_the_record_grows(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Commits between the steps of a copy neither begin it anew nor get into it."""
    monkeypatch.setattr("monitor.adapters.store.ledger.BACKUP_PAGES", 2)
    for number in range(1, 100):
        store.ledger.commit(numbered_group(number))
    steps = 0

    class Source:
        """A reader that lets the writer commit at each step of a copy."""

        def __init__(self, connection: sqlite3.Connection) -> None:
            self._connection = connection

        def execute(self, sql: str) -> sqlite3.Cursor:
            return self._connection.execute(sql)

        def close(self) -> None:
            self._connection.close()

        def backup(self, target: sqlite3.Connection, *, pages: int) -> None:
            def step(*_: int) -> None:
                nonlocal steps
                steps += 1
                store.ledger.commit(numbered_group(99 + steps))

            self._connection.backup(target, pages=pages, progress=step)

    monkeypatch.setattr("monitor.adapters.store.ledger.open_reader", lambda path: Source(open_reader(path)))
    backup(store.path, tmp_path / "copy.db")
    assert 10 < steps < 100
    open_writer(tmp_path / "copy.db").close()
    assert groups_in(tmp_path / "copy.db") == 99
    assert groups_in(store.path) == 99 + steps


def test_a_backup_that_cannot_be_made(store: Store, tmp_path: Path) -> None:
    """A copy onto the record itself, without a folder, without a record, or that fails on the way, leaves everything as it was."""
    store.ledger.commit(large_group())
    target = tmp_path / "copy.db"
    target.write_text("a former copy")
    for itself in (store.path, Path(f"{store.path}-wal"), tmp_path / "x" / ".." / "eggroom.db"):
        with pytest.raises(StoreFailure, match="is the record itself"):
            backup(store.path, itself)
    with pytest.raises(StoreFailure, match="unable to open"):
        backup(store.path, tmp_path / "none" / "copy.db")
    with pytest.raises(StoreFailure, match="no record yet"):
        backup(tmp_path / "none.db", target)
    with no_file_beyond(100_000), pytest.raises(StoreFailure):
        backup(store.path, target)
    assert target.read_text() == "a former copy"
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith("copy")) == ["copy.db"]
    assert len(store.history.events()) == 403


def test_what_an_interrupted_backup_left_is_in_nobodys_way(store: Store, tmp_path: Path) -> None:
    """A half copy of a process that was killed, whatever is in it, is put away by the next backup, which is whole."""
    store.ledger.commit(large_group())
    target, part = tmp_path / "copy.db", tmp_path / "copy.db.part"
    part.write_bytes(b"half of something" * 5_000)
    assert backup(store.path, target) == target.stat().st_size
    assert not part.exists()
    copied = SqliteHistory(open_reader(target))
    assert everything(copied) == everything(store.history)
    copied.close()


def test_a_damaged_record_gives_no_backup(store: Store, tmp_path: Path) -> None:
    """A copy that does not pass its check never gets the name of a backup."""
    store.ledger.commit(large_group())
    store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray(store.path.read_bytes())
    for page in range(40, len(data) // 4096, 2):
        data[page * 4096 : page * 4096 + 64] = b"\xff" * 64
    damaged = tmp_path / "damaged.db"
    damaged.write_bytes(data)
    with pytest.raises(StoreFailure, match="the copy is damaged"):
        backup(damaged, tmp_path / "copy.db")
    assert not list(tmp_path.glob("copy*"))


def test_a_commit_that_held_though_it_was_said_to_have_failed(store: Store) -> None:
    """A group that is committed again by a ledger that does not know it went in changes nothing: new probes are found, not made."""
    unaware = SqliteLedger(store.connection)
    store.ledger.commit(full_group())
    before = everything(store.history)
    unaware.commit(full_group())
    after = everything(store.history)
    for kept in ("series", "latest", "batches", "alarms", "unknown", "gaps"):
        assert after[kept] == before[kept]


def test_labels_are_exact(store: Store) -> None:
    """Times outside the usual survive: a counted time of centuries, an offset before the epoch, a node's own clock."""
    lines = {1: line(1, offset_ms=-(10**12)), 2: line(2, boot=2**40, offset_ms=0)}
    readings = [replace(reading(0), up_ms=10**13 + 1), replace(reading(0, line=2), up_ms=START_MS)]
    store.ledger.commit(Group(readings=readings, lines=lines))
    assert labels(store.history) == [0]
    far = from_ms(9 * 10**12 + 1)
    assert [row[0] for row in series_rows(store.history, until=far + timedelta(1))] == [START_MS, 9 * 10**12 + 1]
    assert [row.at for row in store.history.latest(["node-a/top"])] == [far]
    assert [li.boot for li in store.ledger.load().lines] == [77, 2**40]


def statements(store: Store, group: Group) -> list[str]:
    """What the record is asked for one group."""
    asked: list[str] = []
    store.connection.set_trace_callback(asked.append)
    store.ledger.commit(group)
    store.connection.set_trace_callback(None)
    return asked


def test_a_probe_is_asked_for_once(store: Store) -> None:
    """From the second group on its id is known, and so it is in the next run."""
    first, second = (Group(readings=[reading(s)], lines={1: line()}) for s in (1, 2))
    assert sum("INSERT INTO probe" in sql for sql in statements(store, first)) == 1
    assert not [sql for sql in statements(store, second) if "probe (" in sql]
    again = replace(store, ledger=SqliteLedger(store.connection))
    assert not [sql for sql in statements(again, Group(readings=[reading(3)])) if "probe (" in sql]


def test_what_a_row_of_a_transition_holds_beside_its_alarm(store: Store) -> None:
    """The forward clock in whole milliseconds, and that no alarm latches."""
    given = full_group()
    store.ledger.commit(given)
    rows = store.connection.execute("SELECT mono_ms, latched FROM transition ORDER BY id").fetchall()
    assert rows == [(round(1000 * t.mono_s), 0) for t in given.transitions]
    assert any(mono_ms > 1000 for mono_ms, _ in rows)


def test_how_far_the_messages_of_what_stands_came_is_known_to_the_next_run(store: Store) -> None:
    """Told, refused by the service, or both; not by an end, nor of what was given up, is over, or only waits for its turn."""
    alarms = [Alarm("setter-1", f"rule-{n}", n, 1, condition=n != 4, acknowledged=False) for n in range(1, 5)]
    group = Group(transitions=[Transition(a, "normal", "unacknowledged", "", at(0), 0.0) for a in alarms])

    def waiting(id_: int, number: int, contact: str, closing: bool = False) -> Notice:
        return Notice(id_, f"{number}/{id_}", contact, "high", "t", "x", at(id_), number, closing)

    group.notices = [
        waiting(1, 1, "sam"),
        waiting(2, 2, "sam"),
        waiting(3, 3, "sam"),
        waiting(4, 3, "sam"),
        waiting(5, 3, "kim"),
        waiting(6, 1, "kim", closing=True),
        waiting(7, 4, "sam"),
        waiting(8, 2, "kim"),
    ]
    store.ledger.commit(group)
    outcomes = [(1, "sent"), (2, "later"), (3, "sent"), (4, "later"), (5, "failed"), (7, "sent")]
    store.ledger.commit(Group(attempts=[Attempt(n, outcome, "", at(20 + n)) for n, outcome in outcomes]))
    assert store.ledger.load().reached == (
        (1, Reach("sam", at(21), None)),
        (2, Reach("sam", None, at(2))),
        (3, Reach("sam", at(23), at(4))),
    )


def test_a_batch_that_was_not_split_off_has_no_origin_in_its_row(store: Store) -> None:
    """NULL, as in the rows from before there was that column; numbers likewise where eggs are 1 to as many as were set."""
    store.ledger.commit(full_group())
    rows = {id_: rest for id_, *rest in store.connection.execute("SELECT id, numbers, split_from FROM batch")}
    batches = full_group().batches
    assert {id_: (numbers is None, origin is None) for id_, (numbers, origin) in rows.items()} == {
        id_: (not batch.numbers, not batch.split_from) for id_, batch in batches.items()
    }


def test_only_damage_makes_a_record_suspect(store: Store) -> None:
    """A full disk says nothing of what is written already: no next start is held up for it. So does a record without a file."""
    (pages,) = store.connection.execute("PRAGMA page_count").fetchone()
    store.connection.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreFailure, match="full"):
        store.ledger.commit(large_group())
    assert not suspect_mark(store.path).exists()


def test_a_record_in_memory_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Damage that is met in a record without a file marks nothing."""
    monkeypatch.chdir(tmp_path)
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection)
    ledger = SqliteLedger(connection)

    def damaged(_: Group) -> dict[str, int]:
        error = sqlite3.DatabaseError("database disk image is malformed")
        error.sqlite_errorcode, error.sqlite_errorname = sqlite3.SQLITE_CORRUPT, "SQLITE_CORRUPT"
        raise error

    monkeypatch.setattr(ledger, "_write", damaged)
    with pytest.raises(StoreFailure, match="malformed"):
        ledger.commit(full_group())
    connection.close()
    assert list(tmp_path.iterdir()) == []


def test_what_was_left_open_is_rolled_back_before_the_next_group(store: Store) -> None:
    """Where a roll-back failed itself, what it would have undone is not committed with the next group."""
    store.connection.execute("BEGIN IMMEDIATE")
    store.connection.execute(
        "INSERT INTO event (at_ms, kind, subject, text) VALUES (0, 'node', 'of the failed group', '')"
    )
    store.ledger.commit(Group(events=[Event(at(1), "node", "node-a", "online")]))
    assert [event.subject for event in store.history.events()] == ["node-a"]


def test_a_backup_is_on_the_disk_before_it_has_its_name(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copy is flushed, then named, then its folder is flushed: a power cut leaves the former copy, or the whole new one."""
    store.ledger.commit(full_group())
    done: list[str] = []
    flush, name = os.fsync, os.replace

    def fsync(descriptor: int) -> None:
        done.append("flush " + os.readlink(f"/proc/self/fd/{descriptor}").removeprefix(f"{tmp_path}"))
        flush(descriptor)

    def replace_(source: Path, target: Path) -> None:
        done.append("name")
        name(source, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(os, "replace", replace_)
    backup(store.path, tmp_path / "copy.db")
    assert done == ["flush /copy.db.part", "name", "flush "]


def test_a_backup_is_copied_in_steps_of_four_megabytes() -> None:
    """In pages of SQLite's 4 KiB: the daemon's commits come in between."""
    assert BACKUP_PAGES * 4096 == 4 * 1024 * 1024


@pytest.mark.parametrize("up_ms", [999, 1_000, 5_000, 9_000, 9_001])
def test_a_lines_range_holds_all_its_readings(store: Store, up_ms: int) -> None:
    """Whatever a reading's counted time, on the range's edge or past either, with its line in the group or without."""
    given = line(1, first_up_ms=1_000, last_up_ms=9_000)
    for lines in ({1: given}, {}):
        store.ledger.commit(Group(readings=[replace(reading(0), up_ms=up_ms)], lines=lines))
        (found,) = store.connection.execute("SELECT first_up_ms, last_up_ms FROM line").fetchall()
        assert found == (min(1_000, up_ms), max(9_000, up_ms))
