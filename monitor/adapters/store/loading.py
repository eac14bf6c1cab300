"""What a run starts from, read from the record."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from datetime import date

from monitor.adapters.store.egg_rows import read_books
from monitor.adapters.store.rows import (
    NOTICE_COLUMNS,
    notice_of,
    read_alarms,
    read_batches,
    read_calibrations,
    read_coolings,
    read_handlings,
    read_outs,
    read_unknown,
    time_or_none,
)
from monitor.domain.alarms.notice import Reach
from monitor.domain.readings.dating import ARRIVAL, Line
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.reading import from_ms
from monitor.domain.state.record import ChoreDone
from monitor.service.ports import Loaded

BOOTS_OF_LINES = 4  # of each node: its present start, and what a broker may still hold of the ones before
CHORES = 256  # weeks of a house with several contacts: only the newest dates can come again, when a clock is set back
BOOTS_OF_NUMBERS = 64  # of each node: a node that restarts all the time must not fill the memory with its past

_LINES = f"""WITH
    boots AS (SELECT node, boot, max(offset_ms + last_up_ms) AS newest_ms FROM line WHERE basis <> '{ARRIVAL}' GROUP BY node, boot),
    ranked AS (SELECT node, boot, row_number() OVER (PARTITION BY node ORDER BY newest_ms DESC) AS place FROM boots)
    SELECT id, node, boot, basis, from_up_ms, offset_ms, first_up_ms, last_up_ms, trusted FROM line JOIN ranked USING (node, boot)
    WHERE place <= {BOOTS_OF_LINES} AND basis <> '{ARRIVAL}' ORDER BY id"""
_NUMBERINGS = f"""SELECT node, boot, contiguous, above, lost FROM
    (SELECT *, row_number() OVER (PARTITION BY node ORDER BY id DESC) AS place FROM numbering)
    WHERE place <= {BOOTS_OF_NUMBERS} ORDER BY id"""
# An end is no beginning that was heard; what was given up, or cancelled, waits no longer and was told to nobody.
_REACHED = """SELECT alarm_number, contact, max(CASE state WHEN 'sent' THEN last_ms END), min(CASE WHEN state = 'waiting' AND attempts > 0 THEN created_ms END)
    FROM notice WHERE NOT closing AND alarm_number IN
    (SELECT t.number FROM alarm a JOIN transition t ON t.id = a.transition_id WHERE t.condition)
    GROUP BY alarm_number, contact ORDER BY alarm_number, contact"""


def load(connection: sqlite3.Connection) -> Loaded:
    """The state to start from.

    Lines: every part of each node's BOOTS_OF_LINES newest boots, but for those dated by arrival, which no later message can
    join. Numberings: of each node's BOOTS_OF_NUMBERS newest boots; how long a hole stood open is counted anew, for the
    clock it was counted on may be gone. Without the memory, which a run can start without: see `memory`.
    """
    execute = connection.execute
    newest_ms = _number(connection, "SELECT max(offset_ms + last_up_ms) FROM line")
    return Loaded(
        lines=tuple(replace(Line(*row[:-1]), trusted=bool(row[-1])) for row in execute(_LINES)),
        numberings={
            (node, boot): Numbering(contiguous, _stretches(above), None, _stretches(lost))
            for node, boot, contiguous, above, lost in execute(_NUMBERINGS)
        },
        batches=tuple(read_batches(connection)),
        alarms=tuple(read_alarms(connection)),
        unknown=tuple(read_unknown(connection)),
        waiting=tuple(
            notice_of(row)
            for row in execute(f"SELECT {NOTICE_COLUMNS} FROM notice WHERE state = 'waiting' ORDER BY id")
        ),
        last_line=_number(connection, "SELECT max(id) FROM line") or 0,
        last_alarm_number=_number(
            connection, "SELECT max(t.number) FROM alarm a JOIN transition t ON t.id = a.transition_id"
        )
        or 0,
        last_notice=_number(connection, "SELECT max(id) FROM notice") or 0,
        newest=None if newest_ms is None else from_ms(newest_ms),
        handlings=tuple(read_handlings(connection, standing=True)),
        coolings=tuple(read_coolings(connection)),
        files=dict(execute("SELECT sha256, length(content) FROM file")),
        outs=tuple(read_outs(connection)),
        calibrations=tuple(read_calibrations(connection)),
        books=tuple(read_books(connection)),
        chores=tuple(
            ChoreDone(name, date.fromisoformat(day), from_ms(at_ms))
            for name, day, at_ms in execute(
                f"SELECT name, local_date, at_ms FROM chore ORDER BY id DESC LIMIT {CHORES}"
            )
        ),
        reached=tuple(
            (number, Reach(contact, time_or_none(told_ms), time_or_none(since_ms)))
            for number, contact, told_ms, since_ms in execute(_REACHED)
            if told_ms is not None or since_ms is not None
        ),
    )


def _stretches(text: str) -> tuple[tuple[int, int], ...]:
    return tuple((first, last) for first, last in json.loads(text))


def _number(connection: sqlite3.Connection, sql: str) -> int | None:
    (number,) = connection.execute(sql).fetchone()
    return None if number is None else int(number)
