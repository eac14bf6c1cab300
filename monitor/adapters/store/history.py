"""The read side of the record. Each query is a few seeks, whatever the size of the record; none can hold up the writer."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Collection, Iterator, Sequence
from datetime import datetime, timedelta

from monitor.adapters.store.egg_rows import read_book
from monitor.adapters.store.facts import happened_of_text
from monitor.adapters.store.failures import store_failures
from monitor.adapters.store.memory import read_alive
from monitor.adapters.store.rows import (
    FIRST_MS,
    LAST_MS,
    NOTICE_COLUMNS,
    Row,
    Value,
    notice_of,
    read_alarms,
    read_batches,
    read_calibrations,
    read_handlings,
    read_sites,
    read_unknown,
    time_or_none,
)
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.numbering import Gap, Numbering, holes
from monitor.domain.readings.reading import MISSING, Refused, ceil_ms, from_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Event, RefusedRow, Unknown
from monitor.service.ports import (
    Labelled,
    LastAlive,
    Latest,
    NoticeRow,
    Series,
    TransitionRow,
    Written,
)

# A row of before humidity had its own flag has one for both: where there is a humidity, it was in or out as that said.
RH_FLAG = f"ifnull(r.rh_flag, CASE WHEN r.rh_pct IS NULL THEN {MISSING} ELSE r.flag END)"
# One range seek in the readings for each line of the node that reaches into the window. A missing quantity comes as an
# infinity, which no reading is: NULL would come as None, and numpy would have to be handed every row by a Python loop. Both flags
# come in one number, for each value of a row costs as much as the next; 15 stands for a flag that the row does not have.
_SERIES = """SELECT l.offset_ms + r.up_ms, ifnull(r.dry_bulb_c, 9e999), ifnull(r.rh_pct, 9e999), r.flag * 16 + ifnull(r.rh_flag, 15)
    FROM line l CROSS JOIN reading r
    WHERE l.node = :node AND l.offset_ms + l.last_up_ms >= :since AND l.offset_ms + l.first_up_ms < :until
        AND r.probe_id = :probe AND r.line_id = l.id
        AND r.up_ms >= :since - l.offset_ms AND r.up_ms < :until - l.offset_ms"""
_NEWEST = f"""SELECT r.line_id, l.offset_ms + r.up_ms, r.dry_bulb_c, r.rh_pct, r.flag, {RH_FLAG}
    FROM (SELECT * FROM reading WHERE probe_id = ? ORDER BY line_id DESC, up_ms DESC LIMIT 1) r JOIN line l ON l.id = r.line_id"""
# Lines of a node begun earlier and still being written: of a boot whose first message came late (it is among the last ones), or
# the one line of a node that sends its own clock. To look at every line would make the cost grow with the years.
LOOK_BACK = 32
# A reading's label may lie a little after the instant at which it was written: a node's clock is not the daemon's.
AFTER_ITS_STOP = timedelta(seconds=60)
_OLDER_LINES = f"""SELECT id FROM (
    SELECT * FROM (SELECT id, offset_ms + last_up_ms AS last_ms FROM line
                   WHERE node = ?1 AND id < ?2 ORDER BY id DESC LIMIT {LOOK_BACK})
    UNION
    SELECT * FROM (SELECT id, offset_ms + last_up_ms FROM line
                   WHERE node = ?1 AND id < ?2 AND basis = 'clock' ORDER BY id DESC LIMIT 1)
    ) WHERE last_ms > ?3"""
_NEWEST_OF_LINE = f"""SELECT l.id, l.offset_ms + r.up_ms, r.dry_bulb_c, r.rh_pct, r.flag, {RH_FLAG}
    FROM (SELECT * FROM reading WHERE probe_id = ? AND line_id = ? ORDER BY up_ms DESC LIMIT 1) r JOIN line l ON l.id = r.line_id"""
_TRANSITIONS = (
    "SELECT id, at_ms, subject, rule, number, episode, state_before, state, cause, value, worst,"
    ' "limit", since_ms, who FROM transition'
)


class SqliteHistory:
    """The port `Record` on a reader's connection; one thread at a time. Every method raises StoreFailure."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        """Readings of one probe with since <= label < until."""
        import numpy as np  # with the first series: the daemon loads it no sooner

        at = {"probe": self._probe_id(probe), "node": _node(probe), "since": ceil_ms(since), "until": ceil_ms(until)}
        columns = [
            ("at_ms", np.int64), ("dry_bulb_c", np.float64), ("rh_pct", np.float64), ("flags", np.int64),
        ]  # fmt: skip
        with store_failures("record"):
            rows = np.fromiter(self._connection.execute(_SERIES, at), dtype=columns)
        if np.any(rows["at_ms"][1:] < rows["at_ms"][:-1]):  # lines that overlap: late messages, a clock that was set
            rows = rows[np.argsort(rows["at_ms"], kind="stable")]
        at_ms, dry_bulb_c, rh_pct, flags = (np.ascontiguousarray(rows[name]) for name, _ in columns)
        for values in (dry_bulb_c, rh_pct):
            values[np.isinf(values)] = np.nan
        flag, rh_flag = flags >> 4, flags & 15
        older = rh_flag == 15
        if older.any():
            rh_flag = np.where(older, np.where(np.isnan(rh_pct), MISSING, flag), rh_flag)
        return Series(at_ms, dry_bulb_c, rh_pct, flag, rh_flag)

    def latest(self, probes: Sequence[str]) -> list[Latest]:
        """The newest reading of each probe that has one: one seek a probe.

        Lines are numbered as they begin, so the newest reading is on the highest line that has any; or on a lower one of the
        node that was still being written, and its last label says so.
        """
        result = []
        for probe in probes:
            id_ = self._probe_id(probe)
            newest = self._rows(_NEWEST, id_)
            if newest:
                line, at_ms = newest[0][:2]
                for (older,) in self._rows(_OLDER_LINES, _node(probe), line, at_ms):
                    newest += self._rows(_NEWEST_OF_LINE, id_, older)
                _, at_ms, dry_bulb_c, rh_pct, flag, rh_flag = max(newest, key=lambda row: row[1])
                result.append(
                    Latest(
                        probe=probe, at=from_ms(at_ms), dry_bulb_c=dry_bulb_c, rh_pct=rh_pct, flag=flag, rh_flag=rh_flag
                    )
                )
        return result

    def batches(self) -> list[Batch]:
        """Every batch, in the order they were set."""
        with self.instant():
            return read_batches(self._connection)

    def alarms(self) -> list[Alarm]:
        """The last facts of each alarm that ever was, by subject and rule."""
        with store_failures("record"):
            return read_alarms(self._connection)

    def transitions(
        self, since: datetime | None = None, subject: str | None = None, *, until: datetime | None = None
    ) -> Iterator[TransitionRow]:
        """Transitions in the order they were written. Read at once: a walk that is left half-way holds nothing open."""
        where: list[str] = []
        values: list[Value] = []
        if subject is not None:
            where.append("subject = ?")
            values.append(subject)
        if since is not None:
            where.append("at_ms >= ?")
            values.append(ceil_ms(since))
        if until is not None:
            where.append("at_ms < ?")
            values.append(ceil_ms(until))
        condition = f" WHERE {' AND '.join(where)}" if where else ""
        return map(_transition, self._rows(f"{_TRANSITIONS}{condition} ORDER BY id", *values))

    def notices(self, limit: int = 100, *, numbers: Collection[int] | None = None) -> list[NoticeRow]:
        """The newest notices, newest first; numbers: only those about these alarms."""
        about, values = "", [] if numbers is None else [json.dumps(sorted(numbers))]
        if numbers is not None:
            about = "WHERE alarm_number IN (SELECT value FROM json_each(?))"
        rows = self._rows(
            f"SELECT {NOTICE_COLUMNS}, state, attempts, last_detail, last_ms FROM notice {about} ORDER BY id DESC LIMIT ?",
            *values,
            limit,
        )
        return [
            NoticeRow(notice_of(row), state, attempts, detail, time_or_none(last_ms))
            for *row, state, attempts, detail, last_ms in rows
        ]

    def last_alive(self) -> LastAlive | None:
        """When a daemon last wrote what only a running one writes: its memory, each five minutes and at its stop, and readings."""
        with self.instant():
            memory = read_alive(self._connection)
            ((newest_ms,),) = self._rows("SELECT max(offset_ms + last_up_ms) FROM line")
        newest = None if newest_ms is None else from_ms(newest_ms)
        if memory is None or (newest is not None and newest > memory.at + AFTER_ITS_STOP):
            return None if newest is None else LastAlive(newest, stopped=False)
        return memory

    def refused(self, limit: int = 100) -> tuple[int, list[RefusedRow]]:
        """How many were ever refused, and the newest that are kept, newest first."""
        with self.instant():
            ((total,),) = self._rows("SELECT ifnull(max(id), 0) FROM refused")
            rows = self._rows("SELECT at_ms, topic, payload, reason FROM refused ORDER BY id DESC LIMIT ?", limit)
        return total, [RefusedRow(from_ms(at_ms), Refused(topic, load, why)) for at_ms, topic, load, why in rows]

    def unknown(self) -> list[Unknown]:
        """Probes that nobody configured, by name."""
        with store_failures("record"):
            return read_unknown(self._connection)

    def gaps(self) -> list[Gap]:
        """Messages that are missing (not lost yet) or given up (lost), by node and boot."""
        found: dict[tuple[str, int, int], Gap] = {}
        with self.instant():
            for node, boot, contiguous, above in self._rows(
                "SELECT node, boot, contiguous, above FROM numbering WHERE above <> '[]'"
            ):
                numbering = Numbering(contiguous, tuple((first, last) for first, last in json.loads(above)))
                for first, last in holes(numbering):
                    found[node, boot, first] = Gap(node, boot, first, last, False)
            for node, boot, first, last, lost in self._rows("SELECT node, boot, first_seq, last_seq, lost FROM gap"):
                found[node, boot, first] = Gap(node, boot, first, last, bool(lost))
        return [found[key] for key in sorted(found)]

    def file(self, sha256: str) -> bytes | None:
        """What is in a file that was put beside an entry; None where it is not there."""
        rows = self._rows("SELECT content FROM file WHERE sha256 = ?", sha256)
        return bytes(rows[0][0]) if rows and isinstance(rows[0][0], bytes) else None

    def events(
        self,
        since: datetime | None = None,
        limit: int = 1000,
        *,
        until: datetime | None = None,
        subject: str | None = None,
        without: str = "",
    ) -> list[Event]:
        """The newest `limit` events, oldest first; without those of that kind."""
        values = [FIRST_MS if since is None else ceil_ms(since), LAST_MS if until is None else ceil_ms(until)]
        about = ("" if subject is None else "AND subject = ?") + ("AND kind <> ?" if without else "")
        rows = self._rows(
            f"SELECT at_ms, kind, subject, text, seen FROM event WHERE at_ms >= ? AND at_ms < ? {about}"
            " ORDER BY at_ms DESC, id DESC LIMIT ?",
            *values,
            *([] if subject is None else [subject]),
            *([without] if without else []),
            limit,
        )
        return [
            Event(from_ms(at_ms), kind, subject, text, happened_of_text(what, kind, said=text))
            for at_ms, kind, subject, text, what in reversed(rows)
        ]

    def calibrations(self) -> list[Calibration]:
        """Every calibration, in the order they were added."""
        with store_failures("record"):
            return read_calibrations(self._connection)

    def sites(self) -> list[SiteThen]:
        """What looked at which machine, each time it was written down, in order."""
        with store_failures("record"):
            return read_sites(self._connection)

    def handlings(self, since: datetime | None = None, until: datetime | None = None) -> list[Handling]:
        """Every handling that ended at `since` or later and began before `until`, oldest first."""
        since_ms = FIRST_MS if since is None else ceil_ms(since)
        until_ms = LAST_MS if until is None else ceil_ms(until)
        with store_failures("record"):
            return read_handlings(self._connection, standing=False, since_ms=since_ms, until_ms=until_ms)

    def labelled(self, node: str, since: datetime, until: datetime) -> list[Labelled]:
        """How a node's readings in a time were dated, each way once."""
        rows = self._rows(
            "SELECT DISTINCT basis, trusted FROM line"
            " WHERE node = ? AND offset_ms + last_up_ms >= ? AND offset_ms + first_up_ms < ? ORDER BY basis, trusted DESC",
            node,
            ceil_ms(since),
            ceil_ms(until),
        )
        return [Labelled(basis, bool(trusted)) for basis, trusted in rows]

    def book(self, batch: Batch) -> EggBook:
        """What was written about a batch's eggs."""
        with store_failures("record"):
            return read_book(self._connection, batch)

    def written(self) -> dict[str, Written]:
        """How much is written about each batch's eggs, by batch; nothing of one of which nothing is."""
        rows = self._rows("SELECT batch, max(number), max(written_ms) FROM entry GROUP BY batch")
        return {batch: Written(entries, from_ms(written_ms)) for batch, entries, written_ms in rows}

    def _probe_id(self, probe: str) -> int | None:
        rows = self._rows("SELECT id FROM probe WHERE key = ?", probe)
        return rows[0][0] if rows else None

    def _rows(self, sql: str, *values: Value) -> list[Row]:
        with store_failures("record"):
            return self._connection.execute(sql, values).fetchall()

    @contextlib.contextmanager
    def instant(self) -> Iterator[None]:
        """Several queries that see the record as it was at one instant, also within one another."""
        if self._connection.in_transaction:
            yield
            return
        with store_failures("record"):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                self._connection.execute("ROLLBACK")


def _node(probe: str) -> str:
    return probe.partition("/")[0]


def _transition(row: Row) -> TransitionRow:
    id_, at_ms, subject, rule, number, episode, before, state, cause, value, worst, limit, since_ms, who = row
    return TransitionRow(
        id=id_, at=from_ms(at_ms), subject=subject, rule=rule, number=number, episode=episode, state_before=before, state=state, cause=cause,
        value=value, worst=worst, limit=limit, since=time_or_none(since_ms), who=who,
    )  # fmt: skip
