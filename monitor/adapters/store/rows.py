"""Values to rows and back: what the write side and the read side both need. Times become whole milliseconds, and back."""

from __future__ import annotations

import json
import logging
import sqlite3
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from monitor.adapters.store.facts import about_of_text, about_text, facts_text, today_text, told_of_text
from monitor.domain.alarms.alarm import Alarm, Transition
from monitor.domain.alarms.notice import Facts, Notice, Today
from monitor.domain.alarms.out import Out
from monitor.domain.needs.batch import Batch, Declared, Stay
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration, Correction, Point
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.signs.cooling import Cooling
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Unknown

TRANSITION_COLUMNS = (
    "at_ms, mono_ms, subject, rule, number, episode, state_before, state, cause, who, condition, acknowledged, latched,"
    ' shelved_until_ms, shelved_until_mono_s, suppressed, out_of_service, since_ms, ended_ms, value, worst, "limit", about, told,'
    " asked_mono_s, about_facts, out_until_ms"
)
Value = str | int | float | bytes | None  # what a column holds
Row = tuple[Any, ...]  # as SQLite hands it over: the tables are strict, so each column is of its own kind
NOT_LATCHED = False  # no alarm latches; the column stands since the first version of the record
FIRST_MS, LAST_MS = -(2**63), 2**63 - 1  # before and after every time: all that SQLite's integers hold
_log = logging.getLogger("eggroom.store")
CALIBRATION_COLUMNS = "probe, at_ms, since_ms, due_ms, who, note, dry_bulb, humidity"
NOTICE_COLUMNS = "id, dedupe, contact, priority, title, text, created_ms, alarm_number, closing, link, facts"
_ALARM_COLUMNS = (
    "t.subject, t.rule, t.number, t.episode, t.condition, t.acknowledged, t.shelved_until_ms, t.shelved_until_mono_s,"
    ' t.suppressed, t.out_of_service, t.since_ms, t.ended_ms, t.value, t.worst, t."limit", t.about, t.told, t.asked_mono_s,'
    " t.about_facts, t.out_until_ms"
)


def ms_or_none(at: datetime | None) -> int | None:
    """`to_ms`, for a time that may be missing."""
    return None if at is None else to_ms(at)


def time_or_none(at_ms: int | None) -> datetime | None:
    """`from_ms`, for a time that may be missing."""
    return None if at_ms is None else from_ms(at_ms)


def transition_row(transition: Transition) -> tuple[Value, ...]:
    """The row of one transition, in the order of TRANSITION_COLUMNS."""
    alarm = transition.alarm
    said = alarm.about if isinstance(alarm.about, str) else transition.said
    assert isinstance(transition.cause, str), "the words of a cause are made before it is written"
    return (
        to_ms(transition.at), round(transition.mono_s * 1000), alarm.subject, alarm.rule, alarm.number, alarm.episode,
        transition.state_before, transition.state, transition.cause, transition.who, alarm.condition, alarm.acknowledged,
        NOT_LATCHED, ms_or_none(alarm.shelved_until), alarm.shelved_until_mono_s, alarm.suppressed, alarm.out_of_service,
        ms_or_none(alarm.since), ms_or_none(alarm.ended), alarm.value, alarm.worst, alarm.limit, said, alarm.told,
        alarm.asked_mono_s, about_text(alarm.about), ms_or_none(alarm.out_until),
    )  # fmt: skip


def read_alarms(connection: sqlite3.Connection) -> list[Alarm]:
    """The last facts of each alarm, by subject and rule."""
    rows = connection.execute(
        f"SELECT {_ALARM_COLUMNS} FROM alarm a JOIN transition t ON t.id = a.transition_id ORDER BY a.subject, a.rule"
    )
    return [_alarm(row) for row in rows]


def _alarm(row: Row) -> Alarm:
    (
        subject, rule, number, episode, condition, acknowledged, shelved_until_ms, shelved_until_mono_s, suppressed,
        out_of_service, since_ms, ended_ms, value, worst, limit, said, told, asked_mono_s, about,
        out_until_ms,
    ) = row  # fmt: skip
    return Alarm(
        subject=subject,
        rule=rule,
        number=number,
        episode=episode,
        condition=bool(condition),
        acknowledged=bool(acknowledged),
        shelved_until=time_or_none(shelved_until_ms),
        shelved_until_mono_s=shelved_until_mono_s,
        suppressed=suppressed,
        out_of_service=bool(out_of_service),
        since=time_or_none(since_ms),
        ended=time_or_none(ended_ms),
        value=value,
        worst=worst,
        limit=limit,
        about=about_of_text(about, said),
        told=bool(told),
        asked_mono_s=asked_mono_s,
        out_until=time_or_none(out_until_ms),
    )


def notice_row(notice: Notice) -> tuple[Value, ...]:
    """The row of one notice, in the order of NOTICE_COLUMNS."""
    return (
        notice.id, notice.dedupe, notice.contact, notice.priority, notice.title, notice.text, to_ms(notice.created),
        notice.alarm_number, notice.closing, notice.link, facts_text(notice.facts) or today_text(notice.today),
    )  # fmt: skip


def notice_of(row: Iterable[Any]) -> Notice:
    """The notice of a row in the order of NOTICE_COLUMNS."""
    id_, dedupe, contact, priority, title, text, created_ms, alarm_number, closing, link, facts = row
    told = told_of_text(facts)
    return Notice(
        id=id_,
        dedupe=dedupe,
        contact=contact,
        priority=priority,
        title=title,
        text=text,
        created=from_ms(created_ms),
        alarm_number=alarm_number,
        closing=bool(closing),
        link=link,
        facts=told if isinstance(told, Facts) else None,
        today=told if isinstance(told, Today) else None,
    )


def read_batches(connection: sqlite3.Connection) -> list[Batch]:
    """Every batch with its stays and declared stages, in the order they were set."""
    stays: dict[str, list[Stay]] = defaultdict(list)
    for batch, machine, since_ms, until_ms in connection.execute(
        "SELECT batch, machine, since_ms, until_ms FROM stay ORDER BY batch, place"
    ):
        stays[batch].append(Stay(machine, from_ms(since_ms), time_or_none(until_ms)))
    declared: dict[str, list[Declared]] = defaultdict(list)
    for batch, stage, at_ms in connection.execute("SELECT batch, stage, at_ms FROM declared ORDER BY batch, place"):
        declared[batch].append(Declared(stage, from_ms(at_ms)))
    rows = connection.execute(
        "SELECT id, profile, set_ms, eggs, note, closed_ms, numbers, split_from FROM batch ORDER BY set_ms, number"
    )
    return [
        Batch(
            id=id_, profile=profile, set_at=from_ms(set_ms), eggs=eggs, note=note, stays=tuple(stays[id_]), declared=tuple(declared[id_]),
            closed_at=time_or_none(closed_ms), numbers=tuple(json.loads(numbers or "[]")), split_from=split_from or "",
        )
        for id_, profile, set_ms, eggs, note, closed_ms, numbers, split_from in rows
    ]  # fmt: skip


def read_unknown(connection: sqlite3.Connection) -> list[Unknown]:
    """Probes that nobody configured, by name."""
    rows = connection.execute("SELECT probe, first_ms, last_ms, count, dry_bulb_c, rh_pct FROM unknown ORDER BY probe")
    return [
        Unknown(probe=p, first_at=from_ms(first), last_at=from_ms(last), count=n, dry_bulb_c=dry, rh_pct=rh)
        for p, first, last, n, dry, rh in rows
    ]


def calibration_row(calibration: Calibration) -> tuple[Value, ...]:
    """The row of one calibration, in the order of CALIBRATION_COLUMNS."""
    c = calibration
    corrections = (_correction_text(c.dry_bulb_c), _correction_text(c.rh_pct))
    return c.probe, to_ms(c.at), ms_or_none(c.since), ms_or_none(c.due), c.by, c.note, *corrections


def read_calibrations(connection: sqlite3.Connection) -> list[Calibration]:
    """Every calibration, in the order they were added."""
    rows = connection.execute(f"SELECT {CALIBRATION_COLUMNS} FROM calibration ORDER BY id")
    return [
        Calibration(
            probe=probe,
            at=from_ms(at),
            since=time_or_none(since),
            due=time_or_none(due),
            by=who,
            note=note,
            dry_bulb_c=_correction(dry),
            rh_pct=_correction(humid),
        )
        for probe, at, since, due, who, note, dry, humid in rows
    ]


def _correction_text(correction: Correction | None) -> str | None:
    if correction is None:
        return None
    return json.dumps([correction.slope, correction.offset, correction.points])


def _correction(text: str | None) -> Correction | None:
    if text is None:
        return None
    slope, offset, points = json.loads(text)
    return Correction(slope, offset, tuple(Point(*point) for point in points))


def cooling_row(cooling: Cooling) -> Row:
    """A cooling of each day as a row."""
    first, last = (None, None) if cooling.days is None else cooling.days
    until_ms = None if cooling.until is None else to_ms(cooling.until)
    hours = json.dumps(cooling.at_min)
    return cooling.of, to_ms(cooling.since), hours, cooling.for_s, cooling.to_c, first, last, cooling.by, until_ms


def read_coolings(connection: sqlite3.Connection) -> list[Cooling]:
    """Those that stand, by what they are of."""
    rows = connection.execute(
        "SELECT subject, since_ms, at_min, for_s, to_c, first_day, last_day, who FROM cooling WHERE until_ms IS NULL ORDER BY subject"
    )
    return [
        Cooling(
            of=of,
            at_min=tuple(json.loads(at_min)),
            for_s=for_s,
            to_c=to_c,
            days=None if first is None else (first, last),
            since=from_ms(since_ms),
            by=who,
        )
        for of, since_ms, at_min, for_s, to_c, first, last, who in rows
    ]


def out_row(out: Out) -> Row:
    """What is out of service, or was, as a row."""
    return out.subject, to_ms(out.since), ms_or_none(out.until), out.by, ms_or_none(out.ended)


def read_outs(connection: sqlite3.Connection) -> list[Out]:
    """What is out of service."""
    rows = connection.execute(
        "SELECT subject, since_ms, until_ms, who FROM out WHERE ended_ms IS NULL ORDER BY since_ms"
    )
    return [Out(subject, from_ms(since), time_or_none(until), who) for subject, since, until, who in rows]


def read_handlings(
    connection: sqlite3.Connection, *, standing: bool, since_ms: int = FIRST_MS, until_ms: int = LAST_MS
) -> list[Handling]:
    """Handlings, oldest first: those that stand, or every one there was; that ended at since_ms or later and began before until_ms."""
    condition = "AND stands" if standing else ""
    rows = connection.execute(
        f"SELECT machine, since_ms, until_ms, who FROM handling WHERE until_ms >= ? AND since_ms < ? {condition}"
        " ORDER BY since_ms, machine",
        (since_ms, until_ms),
    )
    return [Handling(machine, from_ms(since), from_ms(until), 0.0, who) for machine, since, until, who in rows]


def read_sites(connection: sqlite3.Connection, *, last: bool = False) -> list[SiteThen]:
    """What looked at which machine, in order. last: the newest alone. What is not understood is left out, and told in the log."""
    from monitor.adapters.kept.site import site_of_text  # with the first row: a start pays for the library only then

    order = "DESC LIMIT 1" if last else ""
    found = []
    for since_ms, text in connection.execute(f"SELECT since_ms, json FROM site ORDER BY id {order}"):
        try:
            found.append(site_of_text(text, time_or_none(since_ms)))
        except ValueError as error:
            _log.warning("site as it was not understood detail=%s", str(error)[:120])
    return found
