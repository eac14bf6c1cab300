"""The egg book's rows, where the record is not what it should be."""

from __future__ import annotations

import logging
from datetime import UTC, datetime
from pathlib import Path

import pytest

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.store.migrations import MIGRATIONS, migrate
from monitor.adapters.store.salvage import take_over
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import TEXT_HIGH, Hatched, Note, Weighing
from monitor.domain.state.record import Group
from tests.ports import BATCH, entry

GOOD = [(BATCH.id, entry(1, Weighing(26.49))), (BATCH.id, entry(3, Hatched()))]


def filled(path: Path) -> SqliteLedger:
    ledger = SqliteLedger(open_writer(path).connection)
    ledger.commit(Group(batches={BATCH.id: BATCH}, entries=list(GOOD)))
    return ledger


@pytest.mark.parametrize(
    ("kind", "fact"),
    [("song", '{"tune": "x"}'), ("weighing", '{"gross_g": -1}'), ("weighing", "{"), ("note", '{"text": 5}')],
)
def test_an_entry_that_is_not_understood(
    tmp_path: Path, kind: str, fact: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Another version's entry, or a damaged one, is shown as a note with its number, and the run starts: no egg goes unwatched for it."""
    ledger = filled(tmp_path / "eggroom.db")
    ledger._connection.execute(
        "INSERT INTO entry VALUES (?, 2, 0, 0, '', ?, ?, 2, NULL, '', NULL)", (BATCH.id, kind, fact)
    )
    with caplog.at_level(logging.WARNING, "eggroom.store"):
        (book,) = ledger.load().books
    assert [e.number for e in book.entries] == [1, 2, 3]
    assert book.entries[1].fact == Note(f"not understood by this version: {kind} {fact}")
    assert (book.entries[0], book.entries[2]) == (GOOD[0][1], GOOD[1][1])
    assert "number=2" in caplog.text


def test_a_damaged_record_hands_its_book_on(tmp_path: Path) -> None:
    """What was written about the eggs is taken over into a new record, with or without the batches it is of."""
    old = filled(tmp_path / "old.db")
    new = SqliteLedger(open_writer(tmp_path / "new.db").connection)
    assert "entry" in take_over(old._connection, new._connection)
    assert new.load().books == (EggBook(BATCH, tuple(e for _, e in GOOD)),)
    old._connection.execute("PRAGMA foreign_keys = OFF")
    old._connection.execute("DROP TABLE batch")
    bare = SqliteLedger(open_writer(tmp_path / "bare.db").connection)
    taken = take_over(old._connection, bare._connection)
    assert "entry" in taken
    assert "batch" not in taken
    assert [e.fact for e in bare.book(BATCH).entries] == [Weighing(26.49), Hatched()]


def test_a_damaged_record_of_before_hands_its_batches_on(tmp_path: Path) -> None:
    """A record whose batches have fewer columns than they have today gives what it has."""
    import sqlite3

    old = sqlite3.connect(tmp_path / "old.db", isolation_level=None)
    migrate(old, MIGRATIONS[:3])
    old.execute("INSERT INTO batch VALUES (1, 'hen-1', 'chicken', 0, 12, '', NULL)")
    new = SqliteLedger(open_writer(tmp_path / "new.db").connection)
    assert "batch" in take_over(old, new._connection)
    assert [(b.id, b.eggs, b.numbers) for b in new.load().batches] == [("hen-1", 12, ())]


def test_a_record_of_before_the_egg_book(tmp_path: Path) -> None:
    """A record of an earlier version gets an empty book, and its batches stay."""
    import sqlite3

    path = tmp_path / "old.db"
    old = sqlite3.connect(path, isolation_level=None)
    old.execute("PRAGMA journal_mode = WAL")
    migrate(old, MIGRATIONS[:2])
    old.execute("INSERT INTO batch VALUES (1, 'hen-1', 'chicken', 0, 12, '', NULL)")
    old.close()
    ledger = SqliteLedger(open_writer(path).connection)
    assert [b.id for b in ledger.load().batches] == ["hen-1"]
    assert ledger.book(BATCH).entries == ()
    assert ledger.load().books == ()


def test_of_an_entry_that_is_not_understood_so_much_is_shown(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Who wrote it, "?" where that is gone; 120 characters in the log; and of its text as much as a note may have."""
    ledger = filled(tmp_path / "eggroom.db")
    for number, who in ((2, "Ada"), (4, "")):
        ledger._connection.execute(
            "INSERT INTO entry VALUES (?, ?, 0, 0, ?, ?, '{}', 2, NULL, '', NULL)",
            (BATCH.id, number, who, "song" + "x" * 3_000),
        )
    entries = {e.number: e for e in ledger.book(BATCH).entries}
    assert (entries[2].who, entries[4].who) == ("Ada", "?")
    assert entries[2].at == entries[2].written_at == datetime(1970, 1, 1, tzinfo=UTC)
    fact = entries[2].fact
    assert isinstance(fact, Note)
    assert fact.text == f"not understood by this version: song{'x' * 3_000} "[:TEXT_HIGH]
    (first, _) = caplog.records
    assert first.getMessage().startswith(f"entry not understood batch={BATCH.id} number=2 detail=")
    assert len(first.getMessage().partition(" detail=")[2]) == 120


def test_what_a_row_of_an_entry_holds(tmp_path: Path) -> None:
    """JSON whose keys are in order and whose letters are themselves, which any program reads."""
    ledger = SqliteLedger(open_writer(tmp_path / "eggroom.db").connection)
    entries = [(BATCH.id, entry(1, Weighing(26.49, 1.5))), (BATCH.id, entry(2, Note("é, 鳥")))]
    ledger.commit(Group(batches={BATCH.id: BATCH}, entries=entries))
    rows = ledger._connection.execute("SELECT fact FROM entry ORDER BY number").fetchall()
    assert rows == [('{"error_g": null, "gross_g": 26.49, "tare_g": 1.5}',), ('{"text": "é, 鳥"}',)]
