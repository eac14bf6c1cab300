"""The egg book's rows: every entry ever written, each once. A correction is a row of its own, so none is ever changed."""

from __future__ import annotations

import json
import logging
import sqlite3
from collections import defaultdict
from collections.abc import Iterable

from monitor.adapters.store.rows import Row, Value, read_batches
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import TEXT_HIGH, EggError, Entry, Note, fact_of, plain
from monitor.domain.needs.batch import Batch
from monitor.domain.readings.reading import from_ms, to_ms

ENTRY_COLUMNS = "batch, number, at_ms, written_ms, who, kind, fact, egg, count, tray, replaces"
# The same entry again is a repeat; another one under its number must fail loudly, or it would be lost.
_INSERT = f"""INSERT INTO entry ({ENTRY_COLUMNS}) SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11
    WHERE NOT EXISTS (SELECT 1 FROM entry WHERE ({ENTRY_COLUMNS}) IS (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11))"""
_log = logging.getLogger("eggroom.store")


def write_entries(connection: sqlite3.Connection, entries: Iterable[tuple[str, Entry]]) -> None:
    """Entries, each with the batch that it is of."""
    connection.executemany(_INSERT, [_row(batch, entry) for batch, entry in entries])


def read_book(connection: sqlite3.Connection, batch: Batch) -> EggBook:
    """One batch's book."""
    rows = connection.execute(f"SELECT {ENTRY_COLUMNS} FROM entry WHERE batch = ? ORDER BY number", (batch.id,))
    return EggBook(batch, tuple(_entry(row) for row in rows))


def read_books(connection: sqlite3.Connection) -> list[EggBook]:
    """The books of the open batches in which anything is written, in the order in which they were set."""
    found: dict[str, list[Entry]] = defaultdict(list)
    for row in connection.execute(
        f"SELECT {ENTRY_COLUMNS} FROM entry WHERE batch IN (SELECT id FROM batch WHERE closed_ms IS NULL) ORDER BY batch, number"
    ):
        found[row[0]].append(_entry(row))
    return [EggBook(b, tuple(found[b.id])) for b in read_batches(connection) if b.id in found]


def _row(batch: str, entry: Entry) -> tuple[Value, ...]:
    fact = json.dumps(plain(entry.fact), ensure_ascii=False, sort_keys=True)
    times = to_ms(entry.at), to_ms(entry.written_at)
    e = entry
    return batch, e.number, *times, e.who, e.fact.kind, fact, e.egg, e.count, e.tray, e.replaces


def _entry(row: Row) -> Entry:
    batch, number, at_ms, written_ms, who, kind, text, egg, count, tray, replaces = row
    at, written = from_ms(at_ms), from_ms(written_ms)
    try:
        return Entry(
            at=at,
            written_at=written,
            who=who,
            fact=fact_of(kind, json.loads(text)),
            egg=egg,
            count=count,
            tray=tray,
            replaces=replaces,
            number=number,
        )
    except (EggError, ValueError, TypeError) as error:
        # Another version's, or a damaged one: the book goes on, and a person sees what is left of it. Watching eggs must not end for it.
        _log.warning("entry not understood batch=%s number=%d detail=%s", batch, number, str(error)[:120])
        note = Note(f"not understood by this version: {kind} {text}"[:TEXT_HIGH])
        return Entry(at, written, who or "?", note, number=number)
