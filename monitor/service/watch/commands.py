"""What a person can ask: set, move, declare, close, acknowledge, shelve. Each changes the state and says what it did.

The requests themselves are in `requests.py`, and are typed before they come here. What is judged here is what they say beside the rest:
that a batch is there, that a time is past.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, assert_never

from monitor.domain.alarms.about import Say
from monitor.domain.alarms.alarm import (
    MAX_OUT_S,
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
from monitor.domain.eggs.doubts import early_stage
from monitor.domain.eggs.entry import EggError
from monitor.domain.eggs.hatching import followed
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
from monitor.domain.needs.places import brought, set_there
from monitor.domain.needs.profile import STAGE_NAMES, ProfileError
from monitor.domain.needs.rules import EGG_HOT, HANDLING_OVER
from monitor.domain.needs.site import ID
from monitor.domain.readings.agreement import Pairs, forget
from monitor.domain.readings.calibration import (
    Calibration,
    CalibrationError,
    check,
    since_by_default,
    standing,
    taken_back,
)
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.readings.view import calibration_view
from monitor.domain.refusal import Sure, Words, sought
from monitor.domain.signs.cooling import Cooling, CoolingError, declared_cooling, hours_of
from monitor.domain.signs.opening import HandlingError, declare, finish
from monitor.domain.state.happened import (
    NO_SIGN,
    SIGN,
    Calibrated,
    Closed,
    CoolingSaid,
    Happened,
    Lockdown,
    MovedTo,
    OfBatch,
    OutOf,
    PutBack,
    Removed,
    SetOf,
    StageSaid,
    TakenOut,
    WentOn,
    WorkBegun,
    WorkDone,
)
from monitor.domain.state.known import Look, rule_of
from monitor.domain.state.record import Event
from monitor.domain.state.remembering import remember
from monitor.domain.state.service import judging, watched_less
from monitor.domain.wall import utc_text
from monitor.domain.watch.egg_alarms import close_book, reopen_book, take_book
from monitor.domain.watch.evaluate import judge_strays, plan, settle
from monitor.domain.watch.machine_air import dangerous_heat, put_in
from monitor.domain.watch.planning import put_back, take_out
from monitor.domain.watch.view import alarm_view, cooling_view, machine_view, out_view
from monitor.service import ports
from monitor.service.watch.calibrate import changes, correction_of
from monitor.service.watch.egg_requests import (
    attach,
    split_books,
    write_beyond_pip,
    write_entry,
    write_split,
    write_table,
    write_weighings,
)
from monitor.service.watch.requests import (
    Acknowledge,
    Attach,
    BatchAdd,
    Calibrate,
    Close,
    Cool,
    LookRoom,
    Move,
    OutOfService,
    Performed,
    Remove,
    Reopen,
    RequestError,
    Shelve,
    SplitOff,
    Stage,
    TakeOut,
    Unshelve,
    Work,
    Write,
    WriteBeyondPip,
    WriteTable,
    WriteWeighings,
)
from monitor.service.watch.signs import signs_view

if TYPE_CHECKING:
    from monitor.domain.watch.view import BatchView, RoomView

_ID = re.compile(ID)
Writing = Attach | Write | WriteBeyondPip | WriteTable | WriteWeighings
# A move noted a little after it was made is still noted at its true time; more than this is a slip of the finger.
MAX_BACKDATE = timedelta(days=200)
MAX_SECONDS = 1e9
HELD_NOW = timedelta(hours=1)  # a reference that was read within it says how the probe hangs now


def perform(look: Look, request: Performed, words: ports.Words) -> Mapping[str, object]:
    """Do what is asked; return the answer. Raises RequestError, and then nothing was changed."""
    try:
        answer = _performed(look, request, words)
    except (
        BatchError,
        AlarmError,
        HandlingError,
        CoolingError,
        CalibrationError,
        EggError,
        ProfileError,
        RequestError,
    ) as error:
        dated = isinstance(request, BatchAdd | Move | Stage | Close | SplitOff | Calibrate | Writing)
        unset = dated and not look.now.clock_ok
        hint: Words = (" (the clock here is not set, it says ", look.now.utc, ")") if unset else ()
        raise RequestError.of(error, hint) from error
    what = answer.get("did")
    return {**answer, "did": words.happened(what)} if isinstance(what, Happened) else answer


def _performed(look: Look, request: Performed, words: ports.Words) -> Mapping[str, object]:  # noqa: C901 - one case for each request; a table would hide them
    match request:
        case BatchAdd():
            return _batch_add(look, request)
        case Move():
            return _move(look, request)
        case Stage():
            return _stage(look, request)
        case Close():
            return _close(look, request)
        case Reopen():
            return _reopen(look, request)
        case Remove():
            return _remove(look, request)
        case SplitOff():
            return _split(look, request, words)
        case Acknowledge():
            return alarm_view(_acknowledge(look, request), words.about)
        case Shelve():
            return alarm_view(_shelve(look, request), words.about)
        case Unshelve():
            return alarm_view(_unshelve(look, request), words.about)
        case OutOfService():
            return alarm_view(_out_of_service(look, request), words.about)
        case TakeOut():
            return _take_out(look, request)
        case Work():
            return _handling(look, request)
        case Cool():
            return _cooling(look, request)
        case Calibrate():
            return _calibrate(look, request, words)
        case Write() | WriteBeyondPip():
            return _write(look, request)
        case Attach():
            return _written(look, request.batch, lambda batch: attach(look, request, batch))
        case WriteTable():
            return _written(look, request.batch, lambda batch: write_table(look, request, batch))
        case WriteWeighings():
            return write_weighings(look, request, _batch(look, request.batch))
        case LookRoom():
            return _room(look, words.about)
        case _:
            assert_never(request)


def _write(look: Look, request: Write | WriteBeyondPip) -> Mapping[str, object]:
    return _written(
        look,
        request.batch,
        lambda batch: (
            write_entry(look, request, batch) if isinstance(request, Write) else write_beyond_pip(look, request, batch)
        ),
    )


def _written(look: Look, name: str, write: Callable[[Batch], Mapping[str, object]]) -> Mapping[str, object]:
    """What `write` writes about the batch of that name, and what follows from the signs among it."""
    batch = _batch(look, name)
    before = look.state.books.get(batch.id, EggBook(batch))
    answer = write(batch)
    began = _follow_signs(look, before)
    book = look.state.books[batch.id]
    signs = signs_view(look, book, book.entries[len(before.entries) :], began=began)
    return answer if signs is None else {**answer, "signs": signs}


def _follow_signs(look: Look, before: EggBook) -> datetime | None:
    """Let a batch's stage follow the signs in its book. Since when it is in lockdown by them, where that is news; before: its book before."""
    book = look.state.books.get(before.batch.id)
    profile = look.site.profiles.get(before.batch.profile)
    if book is None or profile is None:
        return None
    batch = followed(before, book, profile)
    if batch == book.batch:
        return None
    began = next((d.at for d in batch.declared if d not in book.batch.declared), None)
    _adopt(look, batch, Lockdown(SIGN if began else NO_SIGN))
    return began


def _batch_add(look: Look, request: BatchAdd) -> Mapping[str, object]:
    id_ = _new_id(look, "batch", request.batch)
    if request.profile not in look.site.profiles:
        near, known = sought(request.profile, sorted(look.site.profiles))
        raise RequestError(f"batch {id_}", f"unknown species {request.profile!r}{near}", known)
    if not look.now.clock_ok:  # else it would be on day 20,000 once the clock is right
        raise RequestError(f"batch {id_}", "the day it was set cannot be known", "the time of day: `timedatectl`")
    if request.set_at > look.now.utc:
        raise RequestError(f"batch {id_}", ("set time ", request.set_at, " is in the future"), "now or before")
    if request.set_at < look.now.utc - MAX_BACKDATE:
        raise RequestError(f"batch {id_}", ("set time ", request.set_at, f" is more than {MAX_BACKDATE.days} days ago"))
    if request.eggs is not None and not 1 <= request.eggs <= MAX_EGGS:
        raise RequestError(f"batch {id_}", f"eggs {request.eggs}", f"a whole number from 1 to {MAX_EGGS}")
    stays: tuple[Stay, ...] = ()
    if request.machine is not None:
        stays = (Stay(_machine(look, request.machine, id_), request.set_at),)
    made = Batch(
        id=id_, profile=request.profile, set_at=request.set_at, eggs=request.eggs, note=request.note, stays=stays
    )
    answer = _adopt(look, set_there(made, look.site, at=look.now.utc), SetOf(request.profile))
    _end_cooling(look, id_)  # one that a removed batch of that name has left in an older record
    return answer


def _move(look: Look, request: Move) -> Mapping[str, object]:
    batch = _batch(look, request.batch)
    machine = _machine(look, request.machine, batch.id)
    at = _past_of(look, batch.id, request.at)
    there = moved(batch, machine, at)
    return _adopt(look, brought(there, look.site, at=look.now.utc), MovedTo(machine))


def _stage(look: Look, request: Stage) -> Mapping[str, object]:
    batch = _batch(look, request.batch)
    stage = _stage_name(request.stage, batch.id)
    if request.back:
        taken = undeclared(batch, stage)
        if (
            brought(taken, look.site, at=look.now.utc) is not taken
        ):  # or the next start would take the hatcher for a word
            taken = declared(taken, STAGE_NAMES[0], _past_of(look, batch.id, None))
        return _adopt(look, taken, StageSaid(stage, back=True))
    at = _past_of(look, batch.id, request.at)
    later = declared(batch, stage, at)
    _ask_if_early(look, batch, stage, at=at, sure=request.sure)
    return _adopt(look, later, StageSaid(stage))


def _ask_if_early(look: Look, batch: Batch, stage: str, *, at: datetime, sure: bool) -> None:
    profile = look.site.profiles.get(batch.profile)
    if sure or profile is None:
        return
    if odd := early_stage(batch, stage, at, profile=profile):
        raise BatchError(f"batch {batch.id}", (*odd, Sure("declare")))


def _stage_name(stage: str, batch: str) -> str:
    if stage not in STAGE_NAMES[1:]:
        raise RequestError(f"batch {batch}", f"stage {stage!r}", f"one of {', '.join(STAGE_NAMES[1:])}")
    return stage


def _split(look: Look, request: SplitOff, words: ports.Words) -> Mapping[str, object]:
    """Some eggs of a batch become one of their own, in another machine or with another stage."""
    batch = _batch(look, request.batch)
    into = _new_id(look, "into", request.into or _free_name(look, batch.id))
    at = _whole_ms(_past_of(look, batch.id, request.at))
    before = look.state.books.get(batch.id, EggBook(batch))
    old, new = split_books(look, replace(request, into=into), batch, at=at)
    split_off = replace(new.batch, note=words.happened(OutOf(batch.id)))
    if request.machine is not None:
        machine = _machine(look, request.machine, into)
        if machine != _place(split_off, at):
            split_off = brought(moved(split_off, machine, at), look.site, at=look.now.utc)
        elif request.stage is None:
            raise BatchError(f"batch {batch.id}", f"in {machine} already", "another machine or a stage")
    if request.stage is not None:
        stage = _stage_name(request.stage, into)
        if all(d.stage != stage for d in split_off.declared):  # it may have been, for all of them
            split_off = declared(split_off, stage, at)
            _ask_if_early(look, batch, stage, at=at, sure=request.sure)
    write_split(look, old, EggBook(split_off, new.entries))
    if (felt := look.state.eggs.get(batch.id)) is not None:
        look.state.eggs[into] = felt  # they were as warm as the others until now
    _adopt(look, old.batch, WentOn(into, split_off.eggs or 0))
    _adopt(look, split_off, OutOf(batch.id))
    # Those that had shown a sign are in lockdown by themselves now; and so may be those that they leave.
    _follow_signs(look, EggBook(split_off))
    _follow_signs(look, before)
    view = batch_view(look.state.batches[into], look.now.utc)
    answer = {
        "batch": into,
        "did": OutOf(batch.id),
        **view,
        **_out_there(look, into),
        "from": batch.id,
        "stay": old.batch.eggs,
    }
    if batch.id in look.state.coolings:
        return {**answer, "cooling_ended": True}  # of them nobody said so, and where they are now there may be others
    return answer


def _free_name(look: Look, batch: str) -> str:
    names = (f"{batch[:30]}-{letter}" for letter in "bcdefghijklmnopqrstuvwxyz")
    free = next((name for name in names if name not in look.state.batches and name not in look.site.machines), None)
    if free is None:
        raise RequestError(f"batch {batch}", "split so often that no name is left", "--name")
    return free


def _place(batch: Batch, at: datetime) -> str | None:
    stay = batch.stay_at(batch.not_before(at))
    return None if stay is None else stay.machine


def _close(look: Look, request: Close) -> Mapping[str, object]:
    batch = _batch(look, request.batch)
    answer = _adopt(look, closed(batch, _past_of(look, batch.id, request.at)), Closed())
    return answer if _end_cooling(look, batch.id) is None else {**answer, "cooling_ended": True}


def _reopen(look: Look, request: Reopen) -> Mapping[str, object]:
    batch = reopened(_batch(look, request.batch))
    answer = _adopt(look, batch, Closed(again=True))
    reopen_book(look, batch)
    return answer


def _remove(look: Look, request: Remove) -> Mapping[str, object]:
    """A slip goes; that it was there stays among the events. What is more than a slip stays, and may be closed."""
    batch = _batch(look, request.batch)
    split = batch.split_from or any(other.split_from == batch.id for other in look.state.batches.values())
    written = look.state.books.get(batch.id, EggBook(batch)).entries
    if batch.closed_at is not None or split or written or batch.declared or len(batch.stays) > 1:
        why = (
            "closed"
            if batch.closed_at
            else "split"
            if split
            else "something is written about its eggs"
            if written
            else "it went on"
        )
        raise BatchError(f"batch {batch.id}", why, "one that was set by mistake and no more; it can be closed")
    what = Removed(batch.profile, batch.set_at, batch.eggs, by=request.by)
    answer = _adopt(look, closed(batch, max(look.now.utc, batch.set_at)), what)
    del look.state.batches[batch.id], look.out.batches[batch.id]
    look.state.books.pop(batch.id, None)
    look.state.eggs.pop(batch.id, None)
    look.out.removed.append(batch.id)
    _end_cooling(look, batch.id, by=request.by)  # or the next of its name is cooled unasked
    return {**answer, "did": "removed"}


def _acknowledge(look: Look, request: Acknowledge) -> Alarm:
    alarm = _alarm(look, request.alarm)
    return _adopt_alarm(look, alarm, acknowledge(alarm, request.by, look.now))


def _shelve(look: Look, request: Shelve) -> Alarm:
    alarm = _alarm(look, request.alarm)
    for_s = _seconds(request.for_s, f"alarm {alarm.number}")
    rule = rule_of(look, *alarm.key)
    return _adopt_alarm(look, alarm, shelve(alarm, for_s, request.by, now=look.now, rule=rule))


def _unshelve(look: Look, request: Unshelve) -> Alarm:
    alarm = _alarm(look, request.alarm)
    if alarm.shelved_until is None:
        raise RequestError(f"alarm {alarm.number}", "not quiet", "one that was shelved")
    return _adopt_alarm(look, alarm, unshelve(alarm, look.now, who=request.by))


def _out_of_service(look: Look, request: OutOfService) -> Alarm:
    alarm = _alarm(look, request.alarm)
    for_s = None if request.for_s is None else _seconds(request.for_s, f"alarm {alarm.number}")
    out = set_out_of_service(alarm, out=request.out, who=request.by, now=look.now, for_s=for_s)
    return _adopt_alarm(look, alarm, out)


def _take_out(look: Look, request: TakeOut) -> Mapping[str, object]:
    """A probe or a machine goes out of service as a whole, or comes back; where eggs are watched less for it, only for who is sure."""
    of, site, standing = request.of, look.site, look.state.out.get(request.of)
    if of not in site.machines and of not in site.probes:
        near, known = sought(of, [*site.machines, *site.probes])
        raise RequestError(f"out of service {of!r}", f"no such probe or machine{near}", known)
    if not request.out:
        if standing is None:
            near, known = sought(of, [*look.state.out], "none")
            raise RequestError(f"{of}", f"not out of service{near}", known)
        if request.for_s is not None:
            raise RequestError(of, "put back for a time", "one of them")
        put_back(look, standing, by=request.by)
        return {"subject": of, "did": PutBack(), "batches": list(watched_less(look, of))}
    for_s = None if request.for_s is None else _seconds(request.for_s, of)
    if for_s is not None and not 0.0 < for_s <= MAX_OUT_S:
        most = f"more than 0 and at most {MAX_OUT_S / 86_400.0:g} days"
        raise RequestError(of, f"out of service for {for_s / 3600.0:g} h", most)
    plan(look, site.probes[of].machine if of in site.probes else of)
    eggs = watched_less(look, of)
    if eggs and standing is None and not request.sure:
        told = (
            "of them only deadly heat, or eggs too hot or too cold, is still told"
            if of in site.machines and judging(look, of)
            else "nobody watches them then"
        )
        raise RequestError(of, (f"eggs of {', '.join(eggs)} are in there, and {told}", Sure("do")))
    out = take_out(look, of, for_s=for_s, by=request.by)
    return {"did": TakenOut(out.until), **out_view(look, out)}


def _handling(look: Look, request: Work) -> Mapping[str, object]:
    """Someone works at an open machine: its air alarms wait, dangerous heat apart, and for a bounded time."""
    machine, by = _known_machine(look, request.machine), request.by
    standing = look.state.machines[machine].handling if machine in look.state.machines else None
    if request.done:
        if standing is None:
            raise RequestError(f"handling {machine}", "none is declared")
        handling = finish(standing, look.now)
        what: WorkBegun | WorkDone = WorkDone(by)
    else:
        handling = declare(machine, for_s=_seconds(request.for_s, f"handling {machine}"), by=by, now=look.now)
        what = WorkBegun((handling.until_mono_s - look.now.mono_s) / 60.0, by)
    known = look.state.machine(machine)
    known.handling = look.out.handlings[machine] = handling
    known.cool_to_c = known.cool_to_c if request.done else None
    look.out.events.append(Event(look.now.utc, "handling", machine, what=what))
    shelved = []
    for alarm in [] if request.done else list(look.state.alarms.values()):
        about = look.site.rules[alarm.rule]
        quiet = about.of_the_air or alarm.rule == HANDLING_OVER
        if (
            alarm.subject == machine
            and quiet
            and not dangerous_heat(about)
            and alarm.rule != EGG_HOT
            and alarm.condition
            and not alarm.covered
        ):
            rule = rule_of(look, *alarm.key)
            for_s = min(handling.until_mono_s - look.now.mono_s, MAX_SHELF_S[rule.priority])
            _adopt_alarm(look, alarm, shelve(alarm, for_s, by, now=look.now, rule=rule))
            shelved.append(alarm.number)
    return {"machine": machine, "did": replace(what, by=""), "until": utc_text(handling.until), "shelved": shelved}


def _cooling(look: Look, request: Cool) -> Mapping[str, object]:
    """A cooling of each day is declared, in the place of one that stood; or it is over."""
    of, by = request.of, request.by
    if request.end:
        ended = _end_cooling(look, of, by=by)
        if ended is None:
            near, known = sought(of, sorted(look.state.coolings)) if look.state.coolings else ("", "")
            raise RequestError(f"cooling {of!r}", f"none is declared{near}", known)
        return {"of": of, "did": ended}
    batch = look.state.batches.get(of)
    if batch is None and of not in look.site.machines:
        open_ = sorted(each.id for each in look.state.batches.values() if each.closed_at is None)
        near, known = sought(of, [*open_, *look.site.machines])
        raise RequestError(f"cooling {of!r}", f"no such batch or machine{near}", known)
    if batch is not None and batch.closed_at is not None:
        raise RequestError(f"cooling {of}", "closed", "a batch that is set")
    days = None
    if request.first_day is not None and request.last_day is not None:
        if batch is None:
            raise RequestError(f"cooling {of}", "days of a machine", "no days: those are of a batch")
        days = request.first_day, request.last_day
    for_s = _seconds(request.for_s, f"cooling {of}")
    said = Cooling(of=of, at_min=request.at_min, for_s=for_s, to_c=request.to_c, days=days, since=look.now.utc, by=by)
    cooling = declared_cooling(said)
    return {"did": _declare(look, cooling), **cooling_view(look, cooling)}


def _declare(look: Look, cooling: Cooling) -> CoolingSaid:
    """It stands from now on, in the place of one that stood."""
    if (standing := look.state.coolings.get(cooling.of)) is not None:
        look.out.coolings.append(replace(standing, until=look.now.utc))
    look.state.coolings[cooling.of] = cooling
    look.out.coolings.append(cooling)
    what = _cooling_said(cooling)
    look.out.events.append(Event(look.now.utc, "cooling", cooling.of, what=what))
    return what


def _end_cooling(look: Look, of: str, *, by: str = "") -> CoolingSaid | None:
    """It is no longer done; None where none stands."""
    standing = look.state.coolings.pop(of, None)
    if standing is None:
        return None
    look.out.coolings.append(replace(standing, until=look.now.utc))
    what = replace(_cooling_said(standing), ended=True, by=by)
    look.out.events.append(Event(look.now.utc, "cooling", of, what=what))
    return what


def _cooling_said(cooling: Cooling) -> CoolingSaid:
    first, last = cooling.days or (None, None)
    return CoolingSaid(
        cooling.of,
        hours_of(cooling),
        cooling.for_s / 60.0,
        by=cooling.by,
        to_c=cooling.to_c,
        first_day=first,
        last_day=last,
    )


def _calibrate(look: Look, request: Calibrate, words: ports.Words) -> Mapping[str, object]:
    """A probe was held against a reference: its readings are corrected from now on, and those in the record as far back as it holds."""
    name = request.probe
    probe = look.site.probes.get(name)
    if probe is None:
        near, known = sought(name, look.site.probes)
        raise RequestError(f"probe {name!r}", f"no such probe{near}", known)
    at, due = _past(look, "at", request.at or look.now.utc), request.due
    earlier = look.state.probes[name].calibrations if name in look.state.probes else ()
    calibration = taken_back(name, earlier, at=at, by=request.by) if request.back else Calibration(
        probe=name, at=at, since=None, due=due, by=request.by, note=request.note,
        dry_bulb_c=correction_of(DRY_BULB, request.dry_bulb_c), rh_pct=correction_of(RH, request.rh_pct),
    )  # fmt: skip
    check(calibration)
    if not request.back and request.since != "start":  # since when one holds that is taken back goes by that one
        given = request.since
        since = since_by_default(calibration, earlier) if given is None else _past(look, "since", given)
        calibration = replace(calibration, since=since)
    later = look.state.probe(name).calibrations = (*earlier, calibration)
    look.out.calibrations.append(calibration)
    changed = changes(earlier, later, calibration, at=look.now.utc)
    machine, steps = look.state.machine(probe.machine), any(row["by"] for row in changed)
    if steps:
        # Its readings step now, and that is no change of the air: what was learnt of them begins anew.
        machine.watch = machine.windows = None
        machine.means = ()
    if steps or (not request.back and look.now.utc - at <= HELD_NOW):
        # So does what was usual of it and its neighbours: also where it was found right just now, as one that was hung elsewhere is.
        machine.pairs = forget(machine.pairs or Pairs(), name)
        # Also for the next run, where this is asked while none goes on.
        look.out.memory = remember(look)
    calibrated = Calibrated(calibration.dry_bulb_c, calibration.rh_pct, calibration.by)
    look.out.events.append(Event(look.now.utc, "calibration", name, what=calibrated))
    in_force = calibration in standing(later, look.now.utc)
    return {
        **calibration_view(calibration, words.calibration(calibration)),
        "did": "calibrated",
        "in_force": in_force,
        "changes": changed,
    }


def _room(look: Look, say: Say) -> RoomView:
    for machine in look.site.machines:
        plan(look, machine)
    views = [machine_view(look, m, say) for m in look.site.machines]
    shown = {alarm["number"] for view in views for alarm in view["alarms"]}
    others = [a for a in look.state.alarms.values() if a.number not in shown and state_of(a) != "normal"]
    room: RoomView = {"machines": views, "others": [alarm_view(a, say) for a in others]}
    if look.state.out:
        room["out_of_service"] = [out_view(look, out) for out in look.state.out.values()]
    if look.state.coolings:
        room["coolings"] = [cooling_view(look, cooling) for _, cooling in sorted(look.state.coolings.items())]
    return room


def of_book(request: Performed) -> str | None:
    """The batch into whose egg book a request writes; None for any other request."""
    return request.batch if isinstance(request, Writing | SplitOff | Reopen) else None


def _adopt(look: Look, batch: Batch, what: OfBatch) -> Mapping[str, object]:
    put_in(look, look.state.batches.get(batch.id), batch)
    look.state.batches[batch.id] = look.out.batches[batch.id] = batch
    if (book := look.state.books.get(batch.id)) is not None:
        take_book(look.state, EggBook(batch, book.entries))
    look.out.events.append(Event(look.now.utc, "batch", batch.id, what=what))
    look.state.plan_anew()
    for machine in look.site.machines:
        plan(look, machine)
    judge_strays(look)
    if batch.closed_at is not None:
        close_book(look, batch)
    answer = {"batch": batch.id, "did": what, **batch_view(batch, look.now.utc)}
    return {**answer, **_out_there(look, batch.id)}


def _out_there(look: Look, batch: str) -> dict[str, object]:
    """What is out of service where a batch is, so that it is watched less, or by nobody."""
    out = [out_view(look, each) for each in look.state.out.values() if batch in watched_less(look, each.subject)]
    return {"out_of_service": out} if out else {}


def _adopt_alarm(look: Look, alarm: Alarm, stepped: Step) -> Alarm:
    settle(look, alarm.key, stepped)
    return look.state.alarms[alarm.key]


def batch_view(batch: Batch, at: datetime) -> BatchView:
    """One batch as a plain mapping."""
    stay = batch.stay_at(batch.not_before(at))
    return {
        "id": batch.id,
        "profile": batch.profile,
        "set_at": utc_text(batch.set_at),
        "day": counted(batch.day(batch.closed_at or at), 3),
        "eggs": batch.eggs,
        "numbers": list(batch.numbers) or None,
        "split_from": batch.split_from or None,
        "note": batch.note,
        "machine": None if stay is None else stay.machine,
        "stays": [
            {"machine": s.machine, "since": utc_text(s.since), "until": None if s.until is None else utc_text(s.until)}
            for s in batch.stays
        ],
        "declared": [{"stage": d.stage, "at": utc_text(d.at)} for d in batch.declared],
        "closed_at": None if batch.closed_at is None else utc_text(batch.closed_at),
    }


def _alarm(look: Look, number: int) -> Alarm:
    if number < 1:  # one that has not begun has no number yet
        raise RequestError(f"alarm {str(number)[:40]}", "", "the number in the message")
    for alarm in look.state.alarms.values():
        if alarm.number == number:
            return alarm
    last = look.state.last_number
    if number <= last:
        raise RequestError(f"alarm {number}", "over, and come again under another number since; see `eggroom alarms`")
    raise RequestError(f"alarm {str(number)[:40]}", f"no such alarm, the newest is {last}")


def _batch(look: Look, name: str) -> Batch:
    batch = look.state.batches.get(name)
    if batch is None:
        near, known = sought(name, sorted(look.state.batches))
        raise RequestError(f"batch {name!r}", f"no such batch{near}", known)
    return batch


def _machine(look: Look, name: str, batch: str) -> str:
    machine = look.site.machines.get(name)
    holding = [m.id for m in look.site.machines.values() if m.holds_eggs]
    if machine is None:
        near, known = sought(name, holding)
        raise RequestError(f"batch {batch}", f"no machine {name!r}{near}", known)
    if not machine.holds_eggs:
        raise RequestError(f"batch {batch}", f"{name} is a {machine.kind}", f"one of: {', '.join(holding)}")
    return name


def _known_machine(look: Look, name: str) -> str:
    if name not in look.site.machines:
        near, known = sought(name, look.site.machines)
        raise RequestError(f"machine {name!r}", f"no such machine{near}", known)
    return name


def _seconds(for_s: float | None, about: str) -> float:
    if for_s is None or not math.fabs(for_s) < MAX_SECONDS:
        raise RequestError(about, f"for_s {repr(for_s)[:40]}", "seconds")
    return for_s


def _new_id(look: Look, key: str, name: str) -> str:
    """The name of a batch to be."""
    if not _ID.fullmatch(name):
        raise RequestError(f"{key} {name!r}", "", "1 to 32 of a-z, 0-9 and -")
    if name in look.state.batches:
        raise RequestError(f"batch {name}", "there is one by that name already", "a new name")
    if name in look.site.machines:  # what is said of the one would be taken for the other
        raise RequestError(f"batch {name}", "a machine has that name", "a new name")
    return name


def _past(look: Look, key: str, at: datetime) -> datetime:
    at = _whole_ms(at)
    if at > look.now.utc:
        raise RequestError(key, (at, " is in the future"), "now or before")
    return at


def _whole_ms(at: datetime) -> datetime:
    """As the record keeps it."""
    return from_ms(to_ms(at))


def _past_of(look: Look, batch: str, at: datetime | None) -> datetime:
    """When something was done to a batch; now where it is not said."""
    at = look.now.utc if at is None else at
    if at > look.now.utc:
        raise RequestError(f"batch {batch}", (at, " is in the future"), "now or before")
    if at < look.now.utc - MAX_BACKDATE:
        raise RequestError(f"batch {batch}", (at, f" is more than {MAX_BACKDATE.days} days ago"))
    return at
