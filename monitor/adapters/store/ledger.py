"""The write side of the record: what a run starts from, one transaction for each group, and a whole copy."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from monitor.adapters.store.check import quick_check
from monitor.adapters.store.connection import open_reader, suspect_mark
from monitor.adapters.store.egg_rows import read_book, write_entries
from monitor.adapters.store.facts import happened_text
from monitor.adapters.store.failures import is_damage, store_failures
from monitor.adapters.store.loading import load
from monitor.adapters.store.memory import encode, read_memory
from monitor.adapters.store.rows import (
    CALIBRATION_COLUMNS,
    NOTICE_COLUMNS,
    TRANSITION_COLUMNS,
    Value,
    calibration_row,
    cooling_row,
    ms_or_none,
    notice_row,
    out_row,
    read_sites,
    transition_row,
)
from monitor.adapters.store.second import let_go
from monitor.domain.alarms.alarm import Transition
from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.dating import Line
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.reading import to_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Attempt, Group, RefusedRow, StoredReading
from monitor.service.ports import Loaded, StoreFailure

REFUSED_KEPT = 10_000
PAYLOAD_BYTES = 8 * 1024
TEXT_KEPT = 1_000  # characters of a refused message's topic and reason: both may come from outside
BACKUP_PAGES = 1_024  # 4 MB a step

_LINE = """INSERT INTO line (id, node, boot, basis, from_up_ms, offset_ms, first_up_ms, last_up_ms, trusted)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET trusted = excluded.trusted,
    from_up_ms = excluded.from_up_ms, offset_ms = excluded.offset_ms,
    first_up_ms = min(first_up_ms, excluded.first_up_ms), last_up_ms = max(last_up_ms, excluded.last_up_ms)"""
_WIDEN = "UPDATE line SET first_up_ms = min(first_up_ms, ?1), last_up_ms = max(last_up_ms, ?1) WHERE id = ?2"
# An update that changes nothing, for an id to come back also when the probe is there already.
_PROBE = "INSERT INTO probe (key) VALUES (?) ON CONFLICT (key) DO UPDATE SET key = key RETURNING id"
# Only the same instant of the same probe makes it a repeat, and the first value stands; OR IGNORE would lose a faulty row in silence.
_READING = """INSERT INTO reading (probe_id, line_id, up_ms, dry_bulb_c, rh_pct, flag, rh_flag) VALUES (?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (probe_id, line_id, up_ms) DO NOTHING"""
_REFLAG = "UPDATE reading SET flag = ?, rh_flag = ? WHERE probe_id = ? AND line_id = ? AND up_ms = ?"
_NUMBERING = """INSERT INTO numbering (node, boot, contiguous, above, lost) VALUES (?, ?, ?, ?, ?)
    ON CONFLICT (node, boot) DO UPDATE SET contiguous = excluded.contiguous, above = excluded.above, lost = excluded.lost"""
_GAP = """INSERT INTO gap (node, boot, first_seq, last_seq, lost) VALUES (?, ?, ?, ?, ?)
    ON CONFLICT (node, boot, first_seq) DO UPDATE SET last_seq = excluded.last_seq, lost = excluded.lost"""
_UNKNOWN = """INSERT INTO unknown (probe, first_ms, last_ms, count, dry_bulb_c, rh_pct) VALUES (?, ?, ?, ?, ?, ?)
    ON CONFLICT (probe) DO UPDATE SET first_ms = excluded.first_ms, last_ms = excluded.last_ms, count = excluded.count,
    dry_bulb_c = excluded.dry_bulb_c, rh_pct = excluded.rh_pct"""
_BATCH = """INSERT INTO batch (id, profile, set_ms, eggs, note, closed_ms, numbers, split_from) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (id) DO UPDATE SET profile = excluded.profile, set_ms = excluded.set_ms, eggs = excluded.eggs,
    note = excluded.note, closed_ms = excluded.closed_ms, numbers = excluded.numbers,
    split_from = excluded.split_from"""
_ALARM = """INSERT INTO alarm (subject, rule, transition_id) VALUES (?, ?, ?)
    ON CONFLICT (subject, rule) DO UPDATE SET transition_id = excluded.transition_id"""
# Only a known dedupe makes it a repeat. Two different notices under one id must fail loudly, or the second would be lost.
_NOTICE = f"""INSERT INTO notice ({NOTICE_COLUMNS}) SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11
    WHERE NOT EXISTS (SELECT 1 FROM notice WHERE dedupe = ?2)"""
_CALIBRATION = f"""INSERT INTO calibration ({CALIBRATION_COLUMNS}) SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8
    WHERE NOT EXISTS (SELECT 1 FROM calibration WHERE ({CALIBRATION_COLUMNS}) IS (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8))"""
_HANDLING = """INSERT INTO handling (machine, since_ms, until_ms, who, stands) VALUES (?1, ?2, ?3, ?4, TRUE)
    ON CONFLICT (machine, since_ms) DO UPDATE SET until_ms = excluded.until_ms, who = excluded.who, stands = TRUE"""
# One that another takes the place of was over when that began.
_HANDLING_OVER = """UPDATE handling SET stands = FALSE, until_ms = min(until_ms, ifnull(?2, until_ms))
    WHERE machine = ?1 AND stands AND since_ms IS NOT ?2"""
_COOLING = """INSERT INTO cooling (subject, since_ms, at_min, for_s, to_c, first_day, last_day, who, until_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (subject, since_ms) DO UPDATE SET until_ms = excluded.until_ms"""
_OUT = """INSERT INTO out (subject, since_ms, until_ms, who, ended_ms) VALUES (?, ?, ?, ?, ?)
    ON CONFLICT (subject, since_ms) DO UPDATE SET until_ms = excluded.until_ms, who = excluded.who, ended_ms = excluded.ended_ms"""
_CHORE = "INSERT INTO chore (name, local_date, at_ms) VALUES (?, ?, ?) ON CONFLICT (name, local_date) DO NOTHING"
_SITE = "INSERT INTO site (since_ms, json) SELECT ?1, ?2 WHERE NOT EXISTS (SELECT 1 FROM site WHERE since_ms IS ?1 AND json = ?2)"
_MEMORY = "INSERT INTO memory (id, json) VALUES (1, ?) ON CONFLICT (id) DO UPDATE SET json = excluded.json"
# Sent is final: an attempt that was under way when another run ended must not make the notice go out again.
_OUTCOME = """UPDATE notice SET
    state = CASE WHEN state = 'sent' THEN 'sent' WHEN ?1 = 'later' THEN 'waiting' ELSE ?1 END,
    attempts = attempts + (?1 <> 'cancelled'), last_detail = ?2, last_ms = ?3 WHERE id = ?4"""


class SqliteLedger:
    """The port `Ledger` on one writing connection; one owner, one thread at a time."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        (_, _, self._path) = connection.execute("PRAGMA database_list").fetchone()
        with store_failures(self._path):
            self._probes: dict[str, int] = dict(connection.execute("SELECT key, id FROM probe").fetchall())

    def load(self) -> Loaded:
        """The state to start from. Raises StoreFailure."""
        with store_failures(self._path):
            return replace(load(self._connection), memory=read_memory(self._connection))

    def last_site(self) -> SiteThen | None:
        """What was written down last of what looks at which machine. Raises StoreFailure."""
        with store_failures(self._path):
            return next(iter(read_sites(self._connection, last=True)), None)

    def book(self, batch: Batch) -> EggBook:
        """What was written about a batch's eggs. Raises StoreFailure."""
        with store_failures(self._path):
            return read_book(self._connection, batch)

    def commit(self, group: Group) -> None:
        """Write the group in one durable transaction. Raises StoreFailure; then nothing of it is written.

        Repeating a group adds no reading, label, batch, alarm or notice, and wakes no notice that is done with.
        """
        with store_failures(self._path):
            self._roll_back()
            try:
                probes = self._write_whole(group)
            except BaseException as error:
                self._roll_back()
                if not is_damage(error):
                    raise
                if let_go(self._connection):  # it was the second file's
                    probes = self._write_whole(group)
                else:
                    if self._path:
                        with contextlib.suppress(OSError):
                            suspect_mark(self._path).touch()
                    raise
        self._probes = probes  # only now: ids given in a transaction that was rolled back are nobody's

    def _write_whole(self, group: Group) -> dict[str, int]:
        self._connection.execute("BEGIN IMMEDIATE")
        probes = self._write(group)
        self._connection.execute("COMMIT")
        return probes

    def _write(self, group: Group) -> dict[str, int]:
        many = self._many
        many(_LINE, [_line_row(line) for line in group.lines.values()])
        probes = self._probe_ids(group.readings)
        many(
            _READING,
            [(probes[r.probe], r.line, r.up_ms, r.dry_bulb_c, r.rh_pct, r.flag, r.rh_flag) for r in group.readings],
        )
        many(_WIDEN, _outside(group.readings, group.lines))
        # After the readings: what is settled may be in this very group.
        known = [r for r in group.reflags if r.probe in probes]
        many(_REFLAG, [(r.flag, r.rh_flag, probes[r.probe], r.line, r.up_ms) for r in known])
        many(_NUMBERING, [_numbering_row(*key, value) for key, value in group.numberings.items()])
        many(_GAP, [(gap.node, gap.boot, gap.first, gap.last, gap.lost) for gap in group.gaps])
        if group.refused:
            self._write_refused(group.refused)
        many(
            _UNKNOWN,
            [
                (u.probe, to_ms(u.first_at), to_ms(u.last_at), u.count, u.dry_bulb_c, u.rh_pct)
                for u in group.unknown.values()
            ],
        )
        for name in group.removed:
            for table, key in (("declared", "batch"), ("stay", "batch"), ("batch", "id")):
                self._connection.execute(f"DELETE FROM {table} WHERE {key} = ?", (name,))
        for batch in group.batches.values():
            self._write_batch(batch)
        for transition in group.transitions:
            self._write_transition(transition)
        many(_NOTICE, [notice_row(notice) for notice in group.notices])
        self._write_attempts(group.attempts)
        many(
            "INSERT INTO event (at_ms, kind, subject, text, seen) VALUES (?, ?, ?, ?, ?)",
            [
                (to_ms(event.at), event.kind, event.subject, event.text, happened_text(event.what))
                for event in group.events
            ],
        )
        many(_CALIBRATION, [calibration_row(calibration) for calibration in group.calibrations])
        self._write_handlings(group.handlings)
        many(_COOLING, [cooling_row(cooling) for cooling in group.coolings])
        many(_OUT, [out_row(out) for out in group.outs])
        many(_CHORE, [(chore.name, chore.day.isoformat(), to_ms(chore.at)) for chore in group.chores])
        if group.sites:
            from monitor.adapters.kept.site import site_text  # with the first of them, as in `rows`

            many(_SITE, [(ms_or_none(then.since), site_text(then)) for then in group.sites])
        if group.entries:
            write_entries(self._connection, group.entries)
        many("INSERT OR IGNORE INTO file (sha256, content) VALUES (?, ?)", list(group.files.items()))
        if group.memory is not None:
            self._connection.execute(_MEMORY, (encode(group.memory),))
        return probes

    def _many(self, statement: str, rows: Sequence[tuple[Value, ...]]) -> None:
        """The statement for each row. Of most kinds a group holds nothing, and even that would cost a call of the library."""
        if rows:
            self._connection.executemany(statement, rows)

    def _probe_ids(self, readings: Sequence[StoredReading]) -> dict[str, int]:
        """The ids of all probes, with those that the readings bring for the first time."""
        new = {reading.probe for reading in readings} - self._probes.keys()
        if not new:
            return self._probes
        probes = dict(self._probes)
        for key in sorted(new):
            (probes[key],) = self._connection.execute(_PROBE, (key,)).fetchone()
        return probes

    def _write_refused(self, rows: Sequence[RefusedRow]) -> None:
        self._connection.executemany(
            "INSERT INTO refused (at_ms, topic, payload, reason) VALUES (?, ?, ?, ?)",
            [
                (to_ms(r.at), _kept(r.refused.topic), r.refused.payload[:PAYLOAD_BYTES], _kept(r.refused.reason))
                for r in rows
            ],
        )
        self._connection.execute("DELETE FROM refused WHERE id <= (SELECT max(id) FROM refused) - ?", (REFUSED_KEPT,))

    def _write_batch(self, batch: Batch) -> None:
        execute, many = self._connection.execute, self._connection.executemany
        numbers = json.dumps(batch.numbers) if batch.numbers else None
        row = (batch.id, batch.profile, to_ms(batch.set_at), batch.eggs, batch.note, ms_or_none(batch.closed_at))
        execute(_BATCH, (*row, numbers, batch.split_from or None))
        execute("DELETE FROM stay WHERE batch = ?", (batch.id,))
        execute("DELETE FROM declared WHERE batch = ?", (batch.id,))
        many(
            "INSERT INTO stay (batch, place, machine, since_ms, until_ms) VALUES (?, ?, ?, ?, ?)",
            [(batch.id, i, s.machine, to_ms(s.since), ms_or_none(s.until)) for i, s in enumerate(batch.stays)],
        )
        many(
            "INSERT INTO declared (batch, place, stage, at_ms) VALUES (?, ?, ?, ?)",
            [(batch.id, i, d.stage, to_ms(d.at)) for i, d in enumerate(batch.declared)],
        )

    def _write_handlings(self, handlings: Mapping[str, Handling | None]) -> None:
        for machine, handling in handlings.items():
            since_ms = None if handling is None else to_ms(handling.since)
            self._connection.execute(_HANDLING_OVER, (machine, since_ms))
            if handling is not None:
                self._connection.execute(_HANDLING, (machine, since_ms, to_ms(handling.until), handling.by))

    def _write_transition(self, transition: Transition) -> None:
        row = transition_row(transition)
        places = ", ".join("?" * len(row))
        id_ = self._connection.execute(
            f"INSERT INTO transition ({TRANSITION_COLUMNS}) VALUES ({places})", row
        ).lastrowid
        self._connection.execute(_ALARM, (transition.alarm.subject, transition.alarm.rule, id_))

    def _write_attempts(self, attempts: Sequence[Attempt]) -> None:
        rows = [(a.outcome, a.detail, to_ms(a.at), a.notice) for a in attempts]
        self._many(_OUTCOME, rows)
        self._many(
            "INSERT INTO attempt (outcome, detail, at_ms, notice, contact) VALUES (?, ?, ?, ?, ?)",
            [(*row, a.contact) for row, a in zip(rows, attempts, strict=True)],
        )

    def _roll_back(self) -> None:
        # SQLite has rolled back by itself after some failures; a roll-back that fails is tried again before the next group.
        if self._connection.in_transaction:
            with contextlib.suppress(sqlite3.DatabaseError):
                self._connection.execute("ROLLBACK")


def backup(path: Path, target: Path) -> int:
    """A whole, checked copy of the record at `path`, as one plain file; its size in bytes. The daemon may go on writing.

    The copy is of one instant. It is made beside the target, checked, made durable, and only then given its name. Raises
    StoreFailure or OSError; then a former target is as it was.
    """
    if target.resolve() in {Path(f"{path.resolve()}{suffix}") for suffix in ("", "-wal", "-shm", ".lock")}:
        raise StoreFailure(str(target), "is the record itself", "another file")
    source = open_reader(path)
    part = Path(f"{target}.part")
    try:
        part.unlink(missing_ok=True)
        with store_failures(target):
            _copy(source, part)
        size = part.stat().st_size
        os.replace(part, target)
        _sync(target.absolute().parent)
    finally:
        source.close()
        for suffix in ("", "-journal", "-wal", "-shm"):
            Path(f"{part}{suffix}").unlink(missing_ok=True)
    return size


def _copy(source: sqlite3.Connection, part: Path) -> None:
    copy = sqlite3.connect(part, isolation_level=None)
    try:
        # A read transaction holds one instant for all the steps; without it each commit of the daemon would begin the copy anew.
        source.execute("BEGIN")
        source.execute("SELECT count(*) FROM sqlite_master").fetchone()
        source.backup(copy, pages=BACKUP_PAGES)
        source.execute("ROLLBACK")
        copy.execute("PRAGMA journal_mode = DELETE").fetchone()  # one file, without a log that could be left behind
        wrong = quick_check(copy)
    finally:
        copy.close()
    if wrong:
        raise StoreFailure(str(part), f"the copy is damaged ({wrong})", "a sound one")
    _sync(part)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _numbering_row(node: str, boot: int, numbering: Numbering) -> tuple[Value, ...]:
    # Nearly always both are empty, and this is done for each node in each group.
    above, lost = (json.dumps(found) if found else "[]" for found in (numbering.above, numbering.lost))
    return node, boot, numbering.contiguous, above, lost


def _line_row(line: Line) -> tuple[Value, ...]:
    return (
        line.id, line.node, line.boot, line.basis, line.from_up_ms, line.offset_ms, line.first_up_ms, line.last_up_ms,
        line.trusted,
    )  # fmt: skip


def _outside(readings: Iterable[StoredReading], lines: dict[int, Line]) -> list[tuple[int, int]]:
    """(up_ms, line) of the readings that the lines' own ranges do not hold: a late one of an earlier part, an older one of a pack.

    The ranges in the record must hold them, for a window looks only at the lines that reach into it.
    """
    return [
        (reading.up_ms, reading.line)
        for reading in readings
        if (line := lines.get(reading.line)) is None or not line.first_up_ms <= reading.up_ms <= line.last_up_ms
    ]


def _kept(text: str) -> str:
    """Text from outside as it can be stored: cut, and without the lone surrogates that UTF-8 has no bytes for."""
    return text[:TEXT_KEPT].encode("utf-8", "backslashreplace").decode()
