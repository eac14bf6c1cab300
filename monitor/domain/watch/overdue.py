"""What should have happened by its day: eggs moved for lockdown, a hatch that is over, an egg looked at again.

Of birds that go by the egg the day only reminds that draw-down may begin: once, and it is over when somebody has looked.

And what seems to be done each day, though nobody declared it. Eggs that are out for ten minutes at about one hour, days running, are a breeder's habit
and no fault: "too cold" waits as long as that lasted (`signs/opening.py`). A cooling that is declared is on record, and watched for its end.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from monitor.domain.alarms.about import EachDay, Overdue
from monitor.domain.alarms.alarm import IN, OUT, Judgement, acknowledge
from monitor.domain.eggs.book import EggBook, numbers
from monitor.domain.eggs.hatching import expected, looked_for, store_delay_h
from monitor.domain.needs.bands import Occupant
from monitor.domain.needs.batch import Batch, subject_of, whole_day
from monitor.domain.needs.rules import (
    COOLED_EACH_DAY,
    DRAW_DOWN_DUE,
    HATCH_OVERDUE,
    LOCKDOWN_GRACE_DAYS,
    LOCKDOWN_OVERDUE,
)
from monitor.domain.needs.site import SETTER, Machine
from monitor.domain.signs.cooling import MAX_S, SEEN_DAYS, SLACK_S, as_declared, habits_of
from monitor.domain.signs.opening import DAY_S
from monitor.domain.state.cooling import begin_coolings, machine_of
from monitor.domain.state.known import Look, MachineState, Plan
from monitor.domain.watch.deciding import judge, settle
from monitor.domain.watch.egg_alarms import remind_to_look

LOCKDOWN = "lockdown"
LOOK_EVERY_S = 60.0  # days are awaited here
STANDS_S = (
    7 * DAY_S
)  # so long after its last time it is a habit still: a week-end without makes no new question (judgement)
HATCH_GRACE_DAYS = 1.0  # after the last normal day, which is itself normal to its end


def look_for_overdue(look: Look) -> None:
    """Judge both rules for every machine with eggs that may be late, and what was to be looked at again, once a minute."""
    if look.now.mono_s - look.state.looked_mono_s < LOOK_EVERY_S:
        return
    look.state.looked_mono_s = look.now.mono_s
    alarms, utc = look.state.alarms, look.now.utc
    for machine in look.site.machines.values():
        known = look.state.machines.get(machine.id)
        if known is None or known.plan is None:
            continue
        awaits = known.awaits
        _ask_of_cooling(look, known, known.plan)
        if alarms or awaits is None or awaits[0] is not known.plan or utc >= awaits[1]:
            known.awaits = _look_into(look, machine, known.plan)
    remind_to_look(look)
    begin_coolings(look)


def _look_into(look: Look, machine: Machine, plan: Plan) -> tuple[Plan, datetime]:
    """Judge a machine's eggs by their day. The plan, and before when nothing of its eggs is overdue while it and no alarm stands."""
    batches = []
    for occupant in plan.needs.occupants:
        _remind_of_draw_down(look, occupant)
        batches.append(look.state.batches[occupant.batch])
    grace = plan.rules[LOCKDOWN_OVERDUE].limit
    lockdown_grace = LOCKDOWN_GRACE_DAYS if grace is None else grace
    if machine.kind == SETTER and look.site.has_hatcher:  # who has none locks down where the eggs are
        late = [
            batch
            for batch, occupant in zip(batches, plan.needs.occupants, strict=True)
            if _lockdown_late(look, plan, occupant, grace_days=lockdown_grace)
        ]
        _judge(look, (machine.id, LOCKDOWN_OVERDUE), late)
    elif (machine.id, LOCKDOWN_OVERDUE) in look.state.alarms:
        _judge(look, (machine.id, LOCKDOWN_OVERDUE), [])
    grace = plan.rules[HATCH_OVERDUE].limit
    hatch_grace = HATCH_GRACE_DAYS if grace is None else grace
    late = [batch for batch in batches if _hatch_late(look, batch, hatch_grace)]
    if late or look.state.alarms:
        _judge(look, (machine.id, HATCH_OVERDUE), late)
    awaited = [_awaits(look, batch, lockdown_grace=lockdown_grace, hatch_grace=hatch_grace) for batch in batches]
    return plan, min(awaited, default=look.now.utc + timedelta(days=1.0))


def _lockdown_late(look: Look, plan: Plan, occupant: Occupant, *, grace_days: float) -> bool:
    """Whether eggs should have left this setter: by their day. Those of a bird that goes by the egg since their sign was written, and only beside
    others that want it dry: else the humidity that is not raised says it."""
    batch = look.state.batches[occupant.batch]
    profile = look.site.profiles[batch.profile]
    if profile.lockdown_sign is None:
        late = batch.day(look.now.utc) > profile.lockdown_day + grace_days
        return late and not _declared_there(batch, plan.needs.machine)
    since = occupant.lockdown_since
    return since is not None and "humidity" in plan.needs.conflict and look.now.utc > since + timedelta(days=grace_days)


def _awaits(look: Look, batch: Batch, *, lockdown_grace: float, hatch_grace: float) -> datetime:
    """Before when nothing of a batch is overdue, nor its draw-down due; it may be somewhat later."""
    profile = look.site.profiles[batch.profile]
    if profile.lockdown_sign is not None:
        return look.now.utc  # its eggs are asked, each time
    days = min(profile.lockdown_day + lockdown_grace, profile.hatch_day_last + hatch_grace)
    return batch.set_at + timedelta(days=days, seconds=-1.0)


def _remind_of_draw_down(look: Look, occupant: Occupant) -> None:
    """That draw-down may begin in a batch: until a lockdown, or until somebody has looked at its eggs or said when they will."""
    profile, alarms = look.site.profiles[occupant.profile], look.state.alarms
    if profile.lockdown_sign is None and (not alarms or (subject_of(occupant.batch), DRAW_DOWN_DUE) not in alarms):
        return  # as for most birds: the calendar begins their lockdown, and nothing was ever asked
    key = (subject_of(occupant.batch), DRAW_DOWN_DUE)
    batch = look.state.batches[occupant.batch]
    due = batch.set_at + timedelta(days=profile.lockdown_day)
    book = look.state.books.get(batch.id, EggBook(batch))
    if profile.reminds(batch.day(look.now.utc), occupant.stage) and not looked_for(book, due):
        about = Overdue(((batch.id, whole_day(batch.day(look.now.utc))),))
        judge(look, key, Judgement(OUT, due, about=about))
        return
    alarm = look.state.alarms.get(key)
    if alarm is not None and alarm.condition and not alarm.acknowledged and not alarm.covered:
        who = book.entries[-1].who if book.entries else ""
        settle(look, key, acknowledge(alarm, who, look.now))  # who has looked, or declared, has answered it
    if alarm is not None:
        judge(look, key, Judgement(IN, look.now.utc))


def _hatch_late(look: Look, batch: Batch, grace_days: float) -> bool:
    """Whether the last normal day of its hatch is past, with the days in store, and the chicks that signs in its eggs lead to are due too."""
    day, profile = batch.day(look.now.utc), look.site.profiles[batch.profile]
    if day <= profile.hatch_day_last + grace_days:
        return False  # as nearly always, and then nobody's book is asked
    book = look.state.books.get(batch.id, EggBook(batch))
    signs = [found for egg in numbers(book) if (found := expected(book, egg, profile)) is not None]
    last = profile.hatch_day_last + store_delay_h(book)[1] / 24.0
    return day > max(last, *(batch.day(each.latest) for each in signs), 0.0) + grace_days


def _declared_there(batch: Batch, machine: str) -> bool:
    """Whether somebody declared its lockdown while it was in that machine: then it locks down there, as is their custom."""
    return any(
        each.stage == LOCKDOWN and (stay := batch.stay_at(each.at)) is not None and stay.machine == machine
        for each in batch.declared
    )


def _judge(look: Look, key: tuple[str, str], late: list[Batch]) -> None:
    if not (late or look.state.alarms):
        return
    about = Overdue(tuple((b.id, whole_day(b.day(look.now.utc))) for b in late)) if late else ""
    judge(look, key, Judgement(OUT if late else IN, look.now.utc, about=about))


def _ask_of_cooling(look: Look, known: MachineState, plan: Plan) -> None:
    """Ask of one machine's eggs, where it was open or too cold often enough. Not under a clock that nobody set: an hour is told."""
    key = (plan.needs.machine, COOLED_EACH_DAY)
    often = known.watch is not None and len(known.watch.visits) >= SEEN_DAYS
    if not look.now.clock_ok or not (often or key in look.state.alarms):
        return  # as nearly always
    about = _seen(look, known, plan)
    judge(look, key, Judgement(IN if about is None else OUT, look.now.utc, about=about or ""))


def _seen(look: Look, known: MachineState, plan: Plan) -> EachDay | None:
    """What is done each day with the eggs that are in there; None of eggs in lockdown, whose chicks bring people to the door, and where a cooling is
    declared. What was done while one was says nothing either."""
    machine, now = plan.needs.machine, look.now
    inside = [occupant.batch for occupant in plan.needs.occupants]
    stays = [batch.stay_at(batch.not_before(now.utc)) for batch in (look.state.batches[id_] for id_ in inside)]
    came = [stay.since for stay in stays if stay is not None]
    hatching = any(occupant.stage == LOCKDOWN for occupant in plan.needs.occupants)
    declared = any(machine_of(look, cooling) == machine for cooling in look.state.coolings.values())
    if known.watch is None or hatching or declared or not came:
        return None
    since = min(came)
    if known.cooled_at is not None:
        since = max(since, known.cooled_at + timedelta(seconds=MAX_S + SLACK_S))
    since_s = now.mono_s - (now.utc - since).total_seconds()
    habits = habits_of([visit for visit in known.watch.visits if visit[0] >= since_s])
    habits = [habit for habit in habits if now.mono_s - habit.at_s < STANDS_S]
    if not habits:
        return None
    walls = [(now.utc - timedelta(seconds=now.mono_s - each.at_s)).astimezone(look.site.zone) for each in habits]
    at_min, for_s = as_declared(habits, [60.0 * wall.hour + wall.minute for wall in walls])
    return EachDay(inside[0] if len(inside) == 1 else machine, at_min, for_s, SEEN_DAYS)
