"""What cannot be had again stands twice: see monitor/adapters/store/second.py. The storms over it are in tests/storm."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.adapters.store.connection import Opened, open_reader, open_writer
from monitor.adapters.store.ledger import SqliteLedger, backup
from monitor.adapters.store.migrations import MIGRATIONS, VERSION, migrate
from monitor.adapters.store.second import TABLES, second_path
from monitor.domain.alarms.about import RECORD_BEHIND, RECORD_GONE, Damaged, Regained
from monitor.domain.state.record import Group
from monitor.shown.about import about_words
from tests.domain.house import site
from tests.ports import BATCH, full_group


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "eggroom.db"


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Opened]:
    found = open_writer(path)
    try:
        yield found
    finally:
        found.close()


def write(path: Path, *groups: Group) -> None:
    with opened(path) as found:
        for group in groups:
            SqliteLedger(found.connection).commit(group)


def twice(connection: sqlite3.Connection) -> list[str]:
    """The tables that the second file has otherwise."""
    return [
        table
        for table in TABLES
        if sorted(connection.execute(f"SELECT * FROM main.{table}").fetchall(), key=repr)
        != sorted(connection.execute(f"SELECT * FROM second.second_{table}").fetchall(), key=repr)
    ]


def batches(path: Path) -> list[str]:
    with contextlib.closing(open_reader(path)) as connection:
        return [name for (name,) in connection.execute("SELECT id FROM batch ORDER BY id")]


def another(name: str) -> Group:
    return Group(batches={name: replace(BATCH, id=name)})


def test_each_change_is_in_both(path: Path) -> None:
    """What is new, what changes, and what is taken out; all of a group or nothing, as in the record itself."""
    with opened(path) as found:
        ledger = SqliteLedger(found.connection)
        ledger.commit(full_group())
        assert twice(found.connection) == []
        assert found.connection.execute("SELECT count(*) FROM second.second_entry").fetchone()[0] > 0
        ledger.commit(Group(batches={BATCH.id: replace(BATCH, note="moved up", closed_at=BATCH.set_at)}))
        ledger.commit(another("slip"))
        ledger.commit(Group(removed=["slip"]))
        assert twice(found.connection) == []
        with pytest.raises(sqlite3.IntegrityError):
            ledger.commit(replace_reading_without_flag())
        assert twice(found.connection) == []
        assert found.connection.execute("SELECT id, note FROM second.second_batch").fetchall() == [
            (BATCH.id, "moved up")
        ]


def replace_reading_without_flag() -> Group:
    """A batch, and a row that cannot be written."""
    group = full_group()
    wrong = replace(group.readings[0], flag=None)  # type: ignore[arg-type]
    return Group(batches={"never": replace(BATCH, id="never")}, readings=[wrong], lines=group.lines)


def test_a_record_that_is_gone_comes_back(path: Path) -> None:
    """With what stands twice; how much of what is said, and that it was gone."""
    write(path, full_group())
    path.unlink()
    with opened(path) as found:
        assert isinstance(found.damaged, Regained)
        assert (found.damaged.how, found.damaged.whole) == (RECORD_GONE, False)
        assert dict(found.damaged.back)["batch"] == 1
        assert "was gone; back from its second file: 1 of batch, 2 of stay" in about_words(found.damaged, site())
        assert twice(found.connection) == []
    with opened(path) as found:
        assert found.damaged is None  # told once


def test_an_older_record_in_its_place_gets_what_is_newer(path: Path, tmp_path: Path) -> None:
    """As where somebody copies a backup over it while eggroom is stopped."""
    write(path, full_group())
    backup(path, tmp_path / "copy.db")
    write(path, another("newer"))
    shutil.copy(tmp_path / "copy.db", path)
    with opened(path) as found:
        assert found.damaged == Regained(str(path), RECORD_BEHIND, back=(("batch", 1), ("stay", 2), ("declared", 2)))
    assert batches(path) == ["newer", BATCH.id]


def test_a_cut_between_the_two_leaves_the_record_right(path: Path) -> None:
    """Each file's transaction is whole by itself: the second one lacks the last, is made anew, and nobody is told."""
    write(path, full_group())
    second = second_path(path)
    before = second.read_bytes()
    write(path, another("newer"))
    second.write_bytes(before)
    with opened(path) as found:
        assert found.damaged is None
        assert twice(found.connection) == []
    assert batches(path) == ["newer", BATCH.id]


@pytest.mark.parametrize("spoilt", [None, b"", b"no database at all" * 999])
def test_a_second_file_that_is_lost_is_made_anew(path: Path, spoilt: bytes | None) -> None:
    """Missing, empty or damaged: by the next start, and the record is as it was."""
    write(path, full_group())
    second_path(path).unlink()
    if spoilt is not None:
        second_path(path).write_bytes(spoilt)
    with opened(path) as found:
        assert found.damaged is None
        assert twice(found.connection) == []
        assert found.connection.execute("SELECT count(*) FROM second.second_batch").fetchone() == (1,)


def test_a_second_file_that_is_damaged_in_use_stops_nothing(path: Path) -> None:
    """What is committed is committed, to the record alone; the next start makes the second file anew."""
    write(path, full_group())
    with opened(path) as found:
        ledger = SqliteLedger(found.connection)
        second = second_path(path)
        with second.open("r+b") as file:
            file.write(b"\xff" * second.stat().st_size)
        Path(f"{second}-wal").write_bytes(b"")
        ledger.commit(another("newer"))
        ledger.commit(another("newest"))
    assert batches(path) == ["newer", "newest", BATCH.id]
    with opened(path) as found:
        assert twice(found.connection) == []


def test_a_damaged_record_gets_all_of_it(path: Path) -> None:
    """Where nothing of the file can be read, the tables are named as taken over."""
    write(path, full_group())
    path.write_bytes(b"\x00" * path.stat().st_size)
    with opened(path) as found:
        assert isinstance(found.damaged, Damaged)
        assert {"batch", "stay", "entry", "calibration"} <= set(found.damaged.taken or ())
    assert batches(path) == [BATCH.id]


def test_a_record_of_before_gets_its_second_file(path: Path) -> None:
    """With the step to this version, and without a word."""
    connection = sqlite3.connect(path, isolation_level=None)
    migrate(connection, MIGRATIONS[:-1])
    connection.execute("INSERT INTO batch (id, profile, set_ms, eggs, note) VALUES ('old', 'chicken', 0, 12, '')")
    connection.close()
    with opened(path) as found:
        assert found.damaged is None
        assert twice(found.connection) == []
        assert found.connection.execute("PRAGMA second.user_version").fetchone() == (VERSION,)


def test_a_second_file_of_before_brings_back_what_it_has(path: Path) -> None:
    """Columns that it does not know are left as the tables have them."""
    write(path, full_group())
    with contextlib.closing(sqlite3.connect(second_path(path), isolation_level=None)) as second:
        second.execute("ALTER TABLE second_batch DROP COLUMN split_from")
        second.execute(f"PRAGMA user_version = {VERSION - 1}")
    path.unlink()
    with opened(path) as found:
        assert isinstance(found.damaged, Regained)
        assert twice(found.connection) == []
    assert batches(path) == [BATCH.id]


def test_every_table_of_it_has_a_key(path: Path) -> None:
    """By which a change finds its row."""
    with opened(path) as found:
        for table in TABLES:
            assert [row for row in found.connection.execute(f"PRAGMA main.table_info({table})") if row[5]], table
