"""What a person can ask: set, move, declare, close, acknowledge, shelve. Each changes the state and says what it did.

A request is a plain mapping with a verb under "do"; the command line, a recorded stream and later pages all speak it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from monitor.domain.alarms.alarm import (
    MAX_SHELF_S,
    Alarm,
    AlarmError,
    Step,
    acknowledge,
    set_out_of_service,
    shelve,
    state_of,
    unshelve,
)
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import EggError
from monitor.domain.eggs.words import eggs_words
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.batch import (
    MAX_EGGS,
    Batch,
    BatchError,
    Stay,
    closed,
    counted,
    declared,
    moved,
    reopened,
    undeclared,
)
from monitor.domain.needs.profile import STAGE_NAMES
from monitor.domain.needs.rules import EGG_HOT, HANDLING_OVER
from monitor.domain.needs.site import Site
from monitor.domain.readings.agreement import Pairs, forget
from monitor.domain.readings.calibration import Calibration, CalibrationError, check, since_by_default, standing
from monitor.domain.readings.calibration_words import calibration_view, said
from monitor.domain.readings.reading import Now, from_ms, to_ms
from monitor.domain.signs.opening import HandlingError, declare, finish
from monitor.domain.state.known import Look, State, rule_of
from monitor.domain.state.record import Event, Group
from monitor.domain.state.remembering import remember
from monitor.domain.wall import utc_text
from monitor.domain.watch.egg_alarms import close_book, reopen_book, take_book
from monitor.domain.watch.evaluate import judge_strays, plan, settle
from monitor.domain.watch.machine_air import dangerous_heat
from monitor.domain.watch.view import alarm_view, machine_view
from monitor.service.watch.calibrate import changes, correction_of
from monitor.service.watch.egg_requests import (
    plain_text,
    split_books,
    write_entry,
    write_split,
    write_weighings,
)

_ID = re.compile(r"[a-z0-9-]{1,32}")
# A move noted a little after it was made is still noted at its true time; more than this is a slip of the finger.
MAX_BACKDATE = timedelta(days=200)
MAX_SECONDS = 1e9
MAX_TEXT = 500  # characters of a note or a name


class RequestError(ValueError):
    """A request that cannot be met; the message is one line: where, what came, what was expected."""


@dataclass(slots=True)
class _Work:
    state: State
    site: Site
    request: Mapping[str, Any]
    now: Now
    out: Group

    @property
    def look(self) -> Look:
        """The same, as the decision takes it."""
        return Look(self.state, self.site, self.now, self.out)


def perform(state: State, site: Site, request: Mapping[str, Any], now: Now, out: Group) -> dict[str, Any]:
    """Do what is asked; return the answer. Raises RequestError, and then nothing was changed."""
    verb = request.get("do")
    action = _ACTIONS.get(verb) if isinstance(verb, str) else None
    if action is None:
        raise RequestError(f"request: {verb!r}, expected one of {', '.join(sorted(_ACTIONS))}")
    try:
        return action(_Work(state, site, request, now, out))
    except (BatchError, AlarmError, HandlingError, CalibrationError, EggError, RequestError) as error:
        dated = (_batch_add, _move, _stage, _close, _split, _calibrate, _entry, _weighings)
        wrong_clock = not now.clock_ok and action in dated
        hint = f" (the clock here is not set, it says {_shown(now.utc)})" if wrong_clock else ""
        raise RequestError(f"{error}{hint}") from error


def _batch_add(work: _Work) -> dict[str, Any]:
    id_ = _id(work, "batch")
    if id_ in work.state.batches:
        raise RequestError(f"batch {id_}: there is one by that name already, expected a new name")
    profile = _text(work, "profile")
    if profile not in work.site.profiles:
        known = ", ".join(sorted(work.site.profiles))
        raise RequestError(f"batch {id_}: unknown species {profile!r}, expected one of: {known}")
    set_at = _time(work, "set_at")
    if set_at > work.now.utc:
        raise RequestError(f"batch {id_}: set time {_shown(set_at)} is in the future, expected now or before")
    if set_at < work.now.utc - MAX_BACKDATE:
        raise RequestError(f"batch {id_}: set time {_shown(set_at)} is more than {MAX_BACKDATE.days} days ago")
    eggs = work.request.get("eggs")
    if eggs is not None and (isinstance(eggs, bool) or not isinstance(eggs, int) or not 1 <= eggs <= MAX_EGGS):
        raise RequestError(f"batch {id_}: eggs {eggs!r}, expected a whole number from 1 to {MAX_EGGS}")
    stays: tuple[Stay, ...] = ()
    if work.request.get("machine") is not None:
        stays = (Stay(_machine(work, id_), set_at),)
    note = _text(work, "note", "")
    return _adopt(work, Batch(id_, profile, set_at, eggs, note, stays), f"set: {profile}")


def _move(work: _Work) -> dict[str, Any]:
    batch = _batch(work)
    machine = _machine(work, batch.id)
    at = _time(work, "at", work.now.utc)
    _not_future(batch.id, at, work.now)
    return _adopt(work, moved(batch, machine, at), f"moved to {machine}")


def _stage(work: _Work) -> dict[str, Any]:
    batch = _batch(work)
    stage = _stage_name(work, batch.id)
    if work.request.get("back") is True:
        return _adopt(work, undeclared(batch, stage), f"stage {stage} taken back")
    at = _time(work, "at", work.now.utc)
    _not_future(batch.id, at, work.now)
    return _adopt(work, declared(batch, stage, at), f"stage {stage} declared")


def _stage_name(work: _Work, batch: str) -> str:
    stage = _text(work, "stage")
    if stage not in STAGE_NAMES[1:]:
        raise RequestError(f"batch {batch}: stage {stage!r}, expected one of {', '.join(STAGE_NAMES[1:])}")
    return stage


def _split(work: _Work) -> dict[str, Any]:
    """Some eggs of a batch become one of their own, in another machine or with another stage."""
    batch, into = _batch(work), _text(work, "into", "")
    into = _id(work, "into") if into else _free_name(work.state, batch.id)
    if into in work.state.batches:
        raise RequestError(f"batch {into}: there is one by that name already, expected a new name")
    at = _whole_ms(_time(work, "at", work.now.utc))
    _not_future(batch.id, at, work.now)
    old, new = split_books(work.state, batch, into, work.request, at, work.now)
    split_off = new.batch
    if work.request.get("machine") is not None:
        machine = _machine(work, into)
        if machine != _place(split_off, at):
            split_off = moved(split_off, machine, at)
        elif work.request.get("stage") is None:
            raise BatchError(f"batch {batch.id}: in {machine} already, expected another machine or a stage")
    if work.request.get("stage") is not None:
        stage = _stage_name(work, into)
        if all(d.stage != stage for d in split_off.declared):  # it may have been, for all of them
            split_off = declared(split_off, stage, at)
    write_split(work.state, work.site, old, EggBook(split_off, new.entries), work.now, work.out)
    if (felt := work.state.eggs.get(batch.id)) is not None:
        work.state.eggs[into] = felt  # they were as warm as the others until now
    _adopt(work, old.batch, f"{eggs_words(split_off.eggs or 0)} went on as batch {into}")
    return _adopt(work, split_off, f"split off {batch.id}") | {"from": batch.id, "stay": old.batch.eggs}


def _free_name(state: State, batch: str) -> str:
    names = (f"{batch[:30]}-{letter}" for letter in "bcdefghijklmnopqrstuvwxyz")
    free = next((name for name in names if name not in state.batches), None)
    if free is None:
        raise RequestError(f"batch {batch}: split so often that no name is left, expected --name")
    return free


def _place(batch: Batch, at: datetime) -> str | None:
    stay = batch.stay_at(batch.not_before(at))
    return None if stay is None else stay.machine


def _close(work: _Work) -> dict[str, Any]:
    batch = _batch(work)
    at = _time(work, "at", work.now.utc)
    _not_future(batch.id, at, work.now)
    return _adopt(work, closed(batch, at), "closed")


def _reopen(work: _Work) -> dict[str, Any]:
    batch = reopened(_batch(work))
    answer = _adopt(work, batch, "opened again")
    reopen_book(work.look, batch)
    return answer


def _acknowledge(work: _Work) -> dict[str, Any]:
    alarm = _alarm(work)
    return _adopt_alarm(work, alarm, acknowledge(alarm, _text(work, "by"), work.now))


def _shelve(work: _Work) -> dict[str, Any]:
    alarm = _alarm(work)
    for_s = _seconds(work, f"alarm {alarm.number}")
    rule = rule_of(work.look, *alarm.key)
    return _adopt_alarm(work, alarm, shelve(alarm, for_s, _text(work, "by", ""), work.now, rule))


def _unshelve(work: _Work) -> dict[str, Any]:
    alarm = _alarm(work)
    if alarm.shelved_until is None:
        raise RequestError(f"alarm {alarm.number}: {state_of(alarm)}, not shelved")
    return _adopt_alarm(work, alarm, unshelve(alarm, work.now, who=_text(work, "by", "")))


def _out_of_service(work: _Work) -> dict[str, Any]:
    alarm = _alarm(work)
    out = work.request.get("out", True)
    if not isinstance(out, bool):
        raise RequestError(f"alarm {alarm.number}: out {out!r}, expected true or false")
    return _adopt_alarm(work, alarm, set_out_of_service(alarm, out, _text(work, "by", ""), work.now))


def _handling(work: _Work) -> dict[str, Any]:
    """Someone works at an open machine: its air alarms wait, dangerous heat apart, and for a bounded time."""
    machine, by = _known_machine(work), _text(work, "by", "")
    standing = work.state.machines[machine].handling if machine in work.state.machines else None
    if work.request.get("done", False):
        if standing is None:
            raise RequestError(f"handling {machine}: none is declared")
        handling, did = finish(standing, work.now), "done"
    else:
        handling = declare(machine, _seconds(work, f"handling {machine}"), by, work.now)
        did = f"declared for {(handling.until_mono_s - work.now.mono_s) / 60.0:g} min"
    work.state.machine(machine).handling = work.out.handlings[machine] = handling
    work.out.events.append(Event(work.now.utc, "handling", machine, did + (f" by {by}" if by else "")))
    shelved = []
    for alarm in list(work.state.alarms.values()) if did != "done" else []:
        about = work.site.rules[alarm.rule]
        quiet = about.of_the_air or alarm.rule == HANDLING_OVER
        if (
            alarm.subject == machine
            and quiet
            and not dangerous_heat(about)
            and alarm.rule != EGG_HOT
            and alarm.condition
            and not alarm.covered
        ):
            rule = rule_of(work.look, *alarm.key)
            for_s = min(handling.until_mono_s - work.now.mono_s, MAX_SHELF_S[rule.priority])
            _adopt_alarm(work, alarm, shelve(alarm, for_s, by, work.now, rule))
            shelved.append(alarm.number)
    return {"machine": machine, "did": did, "until": _shown(handling.until), "shelved": shelved}


def _calibrate(work: _Work) -> dict[str, Any]:
    """A probe was held against a reference: its readings are corrected from now on, and those in the record as far back as it holds."""
    name = _text(work, "probe")
    probe = work.site.probes.get(name)
    if probe is None:
        raise RequestError(f"probe {name!r}: no such probe, expected one of: {', '.join(work.site.probes)}")
    at, due = _past(work, "at", work.now.utc), None
    if work.request.get("due") is not None:
        due = _whole_ms(_time(work, "due"))
    earlier = work.state.probes[name].calibrations if name in work.state.probes else ()
    calibration = Calibration(
        name, at, None, due, _text(work, "by", ""), _text(work, "note", ""),
        correction_of(DRY_BULB, work.request.get(DRY_BULB)), correction_of(RH, work.request.get(RH)),
    )  # fmt: skip
    check(calibration)
    if work.request.get("since") is None:
        calibration = replace(calibration, since=since_by_default(calibration, earlier))
    elif work.request["since"] != "start":
        calibration = replace(calibration, since=_past(work, "since", at))
    later = work.state.probe(name).calibrations = (*earlier, calibration)
    work.out.calibrations.append(calibration)
    changed = changes(earlier, later, calibration, work.now.utc)
    if any(row["by"] for row in changed):
        # Its readings step now, and that is no change of the air: what was learnt of them begins anew.
        machine = work.state.machine(probe.machine)
        machine.pairs = forget(machine.pairs or Pairs(), name)
        machine.watch = machine.windows = None
        # Also for the next run, where this is asked while none goes on.
        work.out.memory = remember(work.look)
    by = f" by {calibration.by}" if calibration.by else ""
    work.out.events.append(Event(work.now.utc, "calibration", name, f"{said(calibration, 'C')}{by}"))
    in_force = calibration in standing(later, work.now.utc)
    return {**calibration_view(calibration), "did": "calibrated", "in_force": in_force, "changes": changed}


def _entry(work: _Work) -> dict[str, Any]:
    return write_entry(work.state, work.site, _batch(work), work.request, work.now, work.out)


def _weighings(work: _Work) -> dict[str, Any]:
    return write_weighings(work.state, work.site, _batch(work), work.request, work.now, work.out)


def _room(work: _Work) -> dict[str, Any]:
    for machine in work.site.machines:
        plan(work.look, machine)
    views = [machine_view(work.look, m) for m in work.site.machines]
    shown = {alarm["number"] for view in views for alarm in view["alarms"]}
    others = [a for a in work.state.alarms.values() if a.number not in shown and state_of(a) != "normal"]
    return {"machines": views, "others": [alarm_view(a) for a in others]}


OF_A_BOOK = ("entry", "weighings", "split", "reopen")  # requests that write into a batch's egg book
LOOKS_ON = ("room",)  # requests that change nothing, so that their answer need not wait until anything is durable

_ACTIONS: dict[str, Callable[[_Work], dict[str, Any]]] = {
    "batch-add": _batch_add,
    "move": _move,
    "stage": _stage,
    "close": _close,
    "reopen": _reopen,
    "split": _split,
    "acknowledge": _acknowledge,
    "shelve": _shelve,
    "unshelve": _unshelve,
    "out-of-service": _out_of_service,
    "handling": _handling,
    "calibrate": _calibrate,
    "entry": _entry,
    "weighings": _weighings,
    "room": _room,
}


def _adopt(work: _Work, batch: Batch, did: str) -> dict[str, Any]:
    work.state.batches[batch.id] = work.out.batches[batch.id] = batch
    if (book := work.state.books.get(batch.id)) is not None:
        take_book(work.state, EggBook(batch, book.entries))
    work.out.events.append(Event(work.now.utc, "batch", batch.id, did))
    work.state.plan_anew()
    for machine in work.site.machines:
        plan(work.look, machine)
    judge_strays(work.look)
    if batch.closed_at is not None:
        close_book(work.look, batch)
    return {"batch": batch.id, "did": did, **batch_view(batch, work.now.utc)}


def _adopt_alarm(work: _Work, alarm: Alarm, stepped: Step) -> dict[str, Any]:
    settle(work.look, alarm.key, stepped)
    return alarm_view(work.state.alarms[alarm.key])


def batch_view(batch: Batch, at: datetime) -> dict[str, Any]:
    """One batch as a plain mapping."""
    stay = batch.stay_at(batch.not_before(at))
    return {
        "id": batch.id,
        "profile": batch.profile,
        "set_at": _shown(batch.set_at),
        "day": counted(batch.day(batch.closed_at or at), 3),
        "eggs": batch.eggs,
        "numbers": list(batch.numbers) or None,
        "split_from": batch.split_from or None,
        "note": batch.note,
        "machine": None if stay is None else stay.machine,
        "stays": [
            {"machine": s.machine, "since": _shown(s.since), "until": None if s.until is None else _shown(s.until)}
            for s in batch.stays
        ],
        "declared": [{"stage": d.stage, "at": _shown(d.at)} for d in batch.declared],
        "closed_at": None if batch.closed_at is None else _shown(batch.closed_at),
    }


def _alarm(work: _Work) -> Alarm:
    number = work.request.get("alarm")
    if (
        isinstance(number, bool) or not isinstance(number, int) or number < 1
    ):  # one that has not begun has no number yet
        raise RequestError(f"alarm {repr(number)[:40]}: expected the number in the message")
    for alarm in work.state.alarms.values():
        if alarm.number == number:
            return alarm
    last = work.state.last_number
    if 1 <= number <= last:
        raise RequestError(f"alarm {number}: over, and come again under another number since; see `eggroom alarms`")
    raise RequestError(f"alarm {str(number)[:40]}: no such alarm, the newest is {last}")


def _batch(work: _Work) -> Batch:
    name = _text(work, "batch")
    batch = work.state.batches.get(name)
    if batch is None:
        known = ", ".join(sorted(work.state.batches)) or "none yet"
        raise RequestError(f"batch {name!r}: no such batch, expected one of: {known}")
    return batch


def _machine(work: _Work, batch: str) -> str:
    name = _text(work, "machine")
    machine = work.site.machines.get(name)
    holding = [m.id for m in work.site.machines.values() if m.holds_eggs]
    if machine is None:
        raise RequestError(f"batch {batch}: no machine {name!r}, expected one of: {', '.join(holding)}")
    if not machine.holds_eggs:
        raise RequestError(f"batch {batch}: {name} is a {machine.kind}, expected one of: {', '.join(holding)}")
    return name


def _known_machine(work: _Work) -> str:
    name = _text(work, "machine")
    if name not in work.site.machines:
        raise RequestError(f"machine {name!r}: no such machine, expected one of: {', '.join(work.site.machines)}")
    return name


def _seconds(work: _Work, about: str) -> float:
    for_s = work.request.get("for_s")
    if isinstance(for_s, bool) or not isinstance(for_s, (int, float)) or not -MAX_SECONDS < for_s < MAX_SECONDS:
        raise RequestError(f"{about}: for_s {repr(for_s)[:40]}, expected seconds")
    return float(for_s)


def _id(work: _Work, key: str) -> str:
    value = _text(work, key)
    if not _ID.fullmatch(value):
        raise RequestError(f"{key} {value!r}: expected 1 to 32 of a-z, 0-9 and -")
    return value


def _text(work: _Work, key: str, default: str | None = None) -> str:
    value = work.request.get(key, default)
    if not isinstance(value, str) or (not value and default is None) or len(value) > MAX_TEXT:
        raise RequestError(f"{key}: {repr(value)[:60]}, expected a text of at most {MAX_TEXT} characters")
    return plain_text(value, key)


def _time(work: _Work, key: str, default: datetime | None = None) -> datetime:
    value = work.request.get(key)
    if value is None and default is not None:
        return default
    try:
        at = datetime.fromisoformat(value) if isinstance(value, str) else None
        if at is not None and at.tzinfo is not None:
            return at.astimezone(UTC)
    except (ValueError, OverflowError):  # no time, or one at the edge of the calendar in another zone
        pass
    raise RequestError(f"{key}: {repr(value)[:60]}, expected a time such as 2026-03-01T18:00:00Z")


def _past(work: _Work, key: str, default: datetime) -> datetime:
    at = _whole_ms(_time(work, key, default))
    if at > work.now.utc:
        raise RequestError(f"{key}: {_shown(at)} is in the future, expected now or before")
    return at


def _whole_ms(at: datetime) -> datetime:
    """As the record keeps it."""
    return from_ms(to_ms(at))


def _not_future(batch: str, at: datetime, now: Now) -> None:
    if at > now.utc:
        raise RequestError(f"batch {batch}: {_shown(at)} is in the future, expected now or before")
    if at < now.utc - MAX_BACKDATE:
        raise RequestError(f"batch {batch}: {_shown(at)} is more than {MAX_BACKDATE.days} days ago")


def _shown(at: datetime) -> str:
    return utc_text(at, "seconds")
