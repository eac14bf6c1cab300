"""Which transitions are worth waking someone for, and the notices they become.

One cause is one alarm: a warning does not begin while the alarm of its side stands, nor a humidity alarm while the machine is far
too hot or cold, nor a silent probe's while its node, or the whole
room, is known to be silent, nor that the humidity of a failed sensor is gone, nor that a lockdown's humidity was not raised while its eggs are to be moved, and it is told
that they are late for that; nor that a limit lies ahead, or that the eggs feel it, while it is passed; nor one probe's warning while it was told that the probes disagree. It
begins if it outlasts the other. Nothing hides another thing when it is itself in doubt, nor for longer than a third of what there
is of time to respond to that. What was never told needs no closing message.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.domain.alarms.about import OFF_SCALE, RESTARTS, Apart, Overdue, Unfit, Unusable
from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    NORMAL,
    RETURNED,
    SHELF_ENDED,
    SHELVED,
    STILL_STANDING,
    SUPPRESSED,
    UNACKNOWLEDGED,
    Alarm,
    Transition,
    ask,
    asks_along,
    unanswered,
)
from monitor.domain.alarms.notice import Facts, Live, Notice, Today, facts_of
from monitor.domain.needs.bands import RH, WET_BULB, Needs
from monitor.domain.needs.batch import batch_of
from monitor.domain.needs.hearing import WAIT_SHARE
from monitor.domain.needs.rules import (
    ABOVE,
    ALARM,
    ALL_SILENT,
    BELOW,
    CRITICAL,
    DISAGREE,
    DOOR_OPEN,
    DRAW_DOWN_DUE,
    DRY_BULB,
    EGG,
    HANDLING_OVER,
    HIGH,
    HUMIDITY,
    LETHAL,
    LOCKDOWN_OVERDUE,
    LOOK_AGAIN,
    LOW,
    MAINS_LOST,
    MEDIUM,
    NO_DATA,
    NO_HUMIDITY,
    NODE_OFFLINE,
    NODE_RESTARTS,
    NOT_RAISED,
    PRIORITIES,
    SENSOR_FAILED,
    SENSOR_SUSPECT,
    SWITCH_DOUBTFUL,
    WARNING,
    WAS_AWAY,
    WATER_LOW,
    Rule,
)
from monitor.domain.readings.quality import DRY_BULB_C_FAIL
from monitor.domain.state.known import Key, Look, doubt_of, plan_with, rule_of
from monitor.domain.state.record import Attempt
from monitor.domain.state.service import in_service
from monitor.domain.watch.plan import SITE_SUBJECT, moving, occupants, sets_limit

NEAR_THE_END_K = (
    10.0  # of what a sensor can tell: from there heat alone takes it beyond that, a break rarely (judgement)
)
MAX_WAITING = 500  # unsent notices per contact: a phone service dead for days must not fill the card


def tell(look: Look, transition: Transition) -> Alarm:
    """Put the notices of one transition into `out`; the alarm, with whether its episode was told."""
    alarm = transition.alarm
    closing = _closes(transition)
    if closing and not alarm.told:
        return alarm
    if not closing and transition.state != UNACKNOWLEDGED:
        return alarm
    if transition.cause in (STILL_STANDING, SHELF_ENDED) and _beside(look, alarm):
        return alarm
    if closing and alarm.rule in (LOOK_AGAIN, DRAW_DOWN_DUE, WAS_AWAY):
        return replace(alarm, told=False)  # who wrote down what was seen needs no message that it was
    if closing and (said_already(look, *alarm.key) or _disputed(look, alarm, look.site.rules[alarm.rule])):
        # What is worse stands, and was told: "no longer" would be read as all is well.
        return replace(alarm, told=False)
    rule = rule_of(look, *alarm.key)
    if closing and rule.priority not in (HIGH, CRITICAL):
        return replace(alarm, told=False)  # it woke nobody: that it is over is no message (a list shows it)
    facts = _facts(look, transition)
    priority = LOW if closing else rule.priority  # good news wakes nobody
    hear = [contact for contact in look.site.contacts if look.site.hearing_of(contact).hears(rule.priority)]
    if closing and rule.level == LETHAL:
        told = _told_of_the_end(look, alarm, rule)
        hear = [contact for contact in hear if contact not in told]
    elif not closing and _runs_off_the_scale(look, alarm):
        return alarm
    elif not closing and _was_deadly(look, alarm, rule):
        return replace(
            alarm, told=True
        )  # by what is worse; its end is that one's too, and it asks where it outlasts that
    _put(look, alarm, hear, priority=priority, facts=facts, closing=closing)
    return replace(alarm, told=not closing)


def _told_of_the_end(look: Look, alarm: Alarm, rule: Rule) -> set[str]:
    """Who need not be told that what was deadly is over, for one heat has one end: who is told just now that the air is no longer too hot at
    all, or will be, for it was told and stands. Where that comes and goes, is well, and will be over hours later, this is the end of both."""
    milder = look.state.alarms.get((alarm.subject, look.site.beside(rule, ALARM)))
    if milder is None:
        return set()
    if milder.condition and milder.told and not milder.covered:
        if milder.chattering and milder.resting:
            look.state.alarms[milder.key] = replace(milder, told=False)
            return set()
        priority = rule_of(look, *milder.key).priority
        return {contact for contact in look.site.contacts if look.site.hearing_of(contact).hears(priority)}
    return {n.contact for n in look.out.notices if n.closing and n.alarm_number == milder.number}


def _runs_off_the_scale(look: Look, alarm: Alarm) -> bool:
    """Whether a sensor gives no sensible value because of the deadly heat that it told of, and that was told: that asks by itself."""
    if alarm.rule != SENSOR_FAILED or not isinstance(alarm.about, Unfit) or alarm.about.test != OFF_SCALE:
        return False
    probe = look.site.probes.get(alarm.subject)
    heard = look.state.probe(alarm.subject).heard
    if probe is None or heard is None or heard.dry_bulb_c < DRY_BULB_C_FAIL[1] - NEAR_THE_END_K:
        return False
    deadly = look.state.alarms.get((probe.machine, look.site.by_limit.get((DRY_BULB, ABOVE, LETHAL), "")))
    above = alarm.about.sent is None or alarm.about.sent > heard.dry_bulb_c
    return above and deadly is not None and deadly.told and _stands(look, *deadly.key)


def remind(look: Look, alarm: Alarm) -> Alarm:
    """Tell a standing alarm again that nobody has answered; a contact that has not yet got its last message is not sent another."""
    rule = rule_of(look, *alarm.key)
    if not _beside(look, alarm) and rule.priority != LOW:  # what is low stands in each day's summary till then
        facts = _facts_reached(look, alarm)
        unheard = set(look.state.unsent.values())
        reached = [
            contact
            for contact in look.site.contacts
            if (contact, alarm.number) not in unheard and look.site.hearing_of(contact).hears(rule.priority)
        ]
        _put(look, alarm, reached, priority=rule.priority, facts=facts)
        alarm = replace(alarm, told=alarm.told or bool(reached))
    return replace(alarm, asked_mono_s=look.now.mono_s, asked=alarm.asked + 1)


def ask_again(look: Look, anew: Iterable[Key]) -> None:
    """What stands and nobody answered for as long as that may be is told again. anew: what was answered, stands, and asks just now.

    With it goes what else of its machine would ask before long: a machine with several alarms is one message to somebody who is asleep, or
    who knows, and not one for each.
    """
    known = [key for key in anew if not _beside(look, look.state.alarms[key])]
    asking = [
        key
        for key, alarm in look.state.alarms.items()
        if alarm.condition and unanswered(alarm, look.now, rule_of(look, *key))
    ]
    aloud = [key for key in asking if not _beside(look, look.state.alarms[key])]
    for key in asking:
        look.state.alarms[key] = remind(look, look.state.alarms[key])
    _ask_along(look, {_machine_of(look, key[0]) for key in known}, seen=True)
    _ask_along(look, {_machine_of(look, key[0]) for key in (*known, *aloud)}, seen=False)


def _ask_along(look: Look, machines: set[str], *, seen: bool) -> None:
    """What is urgent, stands in one of these machines, and is in the second half of its own time asks now. seen: what somebody has answered, or what nobody has."""
    for key, alarm in list(look.state.alarms.items()) if machines - {""} else ():
        rule = rule_of(look, *key)
        if alarm.acknowledged is not seen or rule.priority not in (HIGH, CRITICAL) or _beside(look, alarm):
            continue
        if _machine_of(look, key[0]) not in machines - {""} or not asks_along(alarm, look.now, rule):
            continue
        if not seen:
            look.state.alarms[key] = remind(look, alarm)
            continue
        _, (transition,) = ask(alarm, look.now)
        look.state.alarms[key] = told = tell(look, transition)
        look.out.transitions.append(replace(transition, alarm=told))


def _machine_of(look: Look, subject: str) -> str:
    """The machine that an alarm is about; empty for what is about none, or about several."""
    if subject in look.site.machines:
        return subject
    if subject in look.site.probes:
        return look.site.probes[subject].machine
    if subject in look.site.by_node:
        machines = {probe.machine for probe in look.site.by_node[subject]}
        return machines.pop() if len(machines) == 1 else ""
    plan = plan_with(look.state, batch_of(subject))
    return "" if plan is None else plan.needs.machine


def _beside(look: Look, alarm: Alarm) -> bool:
    """Whether what is worse, or what it comes of, asks again by itself."""
    judged = look.site.rules[alarm.rule]
    if _disputed(look, alarm, judged) or _was_deadly(look, alarm, judged) or _runs_off_the_scale(look, alarm):
        return True
    return (judged.of_the_air or alarm.rule in (NO_DATA, MAINS_LOST, WATER_LOW, NODE_RESTARTS)) and said_already(
        look, *alarm.key
    )


def _disputed(look: Look, alarm: Alarm, rule: Rule) -> bool:
    """Whether one sensor says it, and it was told, as urgently, that they disagree: it is told once, and that asks again."""
    if rule.quantity not in (DRY_BULB, EGG) or rule.level == LETHAL:
        return False
    machine, apart = alarm.subject, _apart(look, alarm.subject)
    if apart is None or not apart.outside:
        return False
    return _told_as_urgently(look, (machine, DISAGREE), rule, of=machine, share=math.inf) and _alone(
        look, machine, rule
    )


def live(look: Look) -> list[Live]:
    """Of what stands, and somebody is still to be told of, what there is to say now: what waited must not tell an old value as that of now."""
    numbers = {number for _, number in look.state.unsent.values()} - {0}
    # Of what is well at the moment there is no bad value of now.
    stands = (a for a in look.state.alarms.values() if a.condition and not (a.covered or a.resting))
    standing = [a for a in stands if a.number in numbers]
    return [Live(alarm.number, _facts_reached(look, alarm), look.now.utc) for alarm in standing]


def _facts_reached(look: Look, alarm: Alarm) -> Facts:
    """What stands, as it is now, and who was told of it, or could not be."""
    known = (look.state.reached.get((alarm.number, contact)) for contact in look.site.contacts)
    return replace(facts_now(look, alarm), reached=tuple(reach for reach in known if reach is not None))


def facts_now(look: Look, alarm: Alarm) -> Facts:
    """What stands, as it is now: of what was told, or should have been."""
    again = Transition(alarm, UNACKNOWLEDGED, UNACKNOWLEDGED, STILL_STANDING, look.now.utc, look.now.mono_s)
    return _facts(look, again)


def _facts(look: Look, transition: Transition) -> Facts:
    alarm = transition.alarm
    facts = facts_of(transition, _concerned(look, alarm), _doubtful(look, alarm))
    if alarm.rule == NOT_RAISED and not (facts.over or facts.unjudged):
        facts = replace(facts, move=moving(look, alarm.subject))
    rule = rule_of(look, *alarm.key)
    respond_min = rule.respond_min if rule.priority == MEDIUM and not facts.over else None
    range_c = doubt_of(look, alarm)
    if respond_min is None and range_c is None:
        return facts
    return replace(facts, range_c=range_c, respond_min=respond_min)


def _put(
    look: Look, alarm: Alarm, contacts: Iterable[str], *, priority: str, facts: Facts, closing: bool = False
) -> None:
    """One notice for each contact into `out`, as long as the outbox has room for it."""
    for contact in contacts:
        put(look, contact, priority, facts, about=str(alarm.number), number=alarm.number, closing=closing)


def put(  # noqa: PLR0917 - what every notice has
    look: Look, contact: str, priority: str, what: Facts | Today, *, about: str, number: int = 0, closing: bool = False
) -> None:
    """One notice for one contact into `out`, as long as the outbox has room for it. about: what its dedupe begins with; number: of the alarm."""
    look.state.last_notice += 1
    notice = Notice(
        id=look.state.last_notice,
        dedupe=f"{about}/{look.state.last_notice}/{contact}",
        contact=contact,
        priority=priority,
        title="",
        text="",
        created=look.now.utc,
        alarm_number=number,
        closing=closing,
        link=look.site.link,
        facts=what if isinstance(what, Facts) else None,
        today=what if isinstance(what, Today) else None,
    )
    look.out.notices.append(notice)
    waiting = look.state.waiting.get(contact, 0)
    if waiting >= MAX_WAITING and priority not in (HIGH, CRITICAL):
        detail = f"outbox full: {waiting} notices wait for {contact}, expected under {MAX_WAITING}"
        look.out.attempts.append(Attempt(notice.id, "cancelled", detail, look.now.utc, contact))
    else:
        look.state.waiting[contact] = waiting + 1
        look.state.unsent[notice.id] = (contact, number)


def _closes(transition: Transition) -> bool:
    """Whether an episode that may have been told is over; one that went under a shelf is closed when the shelf ends."""
    before, state = transition.state_before, transition.state
    if state in (NORMAL, RETURNED):
        return before in (UNACKNOWLEDGED, ACKNOWLEDGED, SHELVED)
    return state == SUPPRESSED and before in (UNACKNOWLEDGED, ACKNOWLEDGED)


def _concerned(look: Look, alarm: Alarm) -> Needs | None:
    """The needs of the machine that an alarm is about, with the batches that it is about: first those whose own band has its limit."""
    plan, batch = look.state.plan_of(alarm.subject), batch_of(alarm.subject)
    whose: Collection[str] | None = plan.awaited if plan is not None and alarm.rule == NOT_RAISED else None
    if plan is None and (plan := plan_with(look.state, batch)) is not None:
        whose = (batch,)
    if plan is None:
        return None
    inside = [o for o in occupants(look, plan.needs) if not whose or o.batch in whose]
    limit = alarm.limit
    if len(inside) > 1 and limit is not None and alarm.subject in look.site.machines:
        inside.sort(key=lambda o: not sets_limit(look, alarm.subject, o.batch, limit=limit))
    return replace(plan.needs, occupants=tuple(inside))


def said_already(look: Look, subject: str, rule: str) -> bool:
    """Whether another standing alarm says it, so that this one need not begin."""
    if rule == HANDLING_OVER:
        return _too_hot_or_cold(look, subject)
    if rule == LOCKDOWN_OVERDUE:
        return _stands(look, subject, NOT_RAISED) and moving(look, subject) is not None  # which says: move these
    if rule == MAINS_LOST:
        return _stands(look, SITE_SUBJECT, ALL_SILENT)  # which says that it is the mains
    if rule == WATER_LOW:
        return _limit_stands(look, subject, (HUMIDITY, BELOW, ALARM))
    if rule == NODE_RESTARTS:
        return any(_restarts(look, p.key) for p in look.site.by_node.get(subject, ()))
    if rule == SWITCH_DOUBTFUL:
        node = look.site.switches[subject].node if subject in look.site.switches else ""
        return _stands(look, SITE_SUBJECT, ALL_SILENT) or _stands(look, node, NODE_OFFLINE)
    judged = look.site.rules[rule]
    if rule == NOT_RAISED:
        return _late_for_moving(look, subject)
    if judged.of_the_air:
        return _said_of_the_air(look, subject, judged)
    if rule == NO_DATA:
        node = look.site.probes[subject].node if subject in look.site.probes else ""
        return _stands(look, SITE_SUBJECT, ALL_SILENT) or _stands(look, node, NODE_OFFLINE)
    if rule in (NO_HUMIDITY, SENSOR_SUSPECT):
        return _stands(look, subject, SENSOR_FAILED)  # which says more of the same sensor
    if rule == NODE_OFFLINE:
        probes = look.site.by_node.get(subject, ())
        each = bool(probes) and all(_stands(look, p.key, NO_DATA) for p in probes)
        return each or _stands(look, SITE_SUBJECT, ALL_SILENT)
    return False


def _restarts(look: Look, probe: str) -> bool:
    """Whether it was told that nothing of a probe can be judged, for its node keeps restarting."""
    alarm = look.state.alarms.get((probe, NO_DATA))
    told = alarm is not None and isinstance(alarm.about, Unusable) and alarm.about.why == RESTARTS
    return told and _stands(look, probe, NO_DATA)


def _said_of_the_air(look: Look, subject: str, rule: Rule) -> bool:
    """Whether the alarm stands that this rule comes before or beside; or it was told why the air is too low."""
    if _told_apart(look, subject, rule):
        return True
    beside = HUMIDITY if rule.quantity == HUMIDITY else DRY_BULB  # of what the eggs feel, the air's
    if rule.level not in (ALARM, LETHAL) and _alarm_stands(look, subject, quantity=beside, side=rule.side):
        return True
    if rule.level == ALARM and _outdone(look, subject, rule):
        return True
    if rule.side == BELOW and (_not_back(look, subject, rule) or _switch_says(look, subject, rule)):
        return True
    if rule.quantity != HUMIDITY:
        return False
    # Air that is far too hot or cold has another humidity too, by that alone, and the temperature is the more urgent.
    dry = rule.side == BELOW and (_stands(look, subject, NOT_RAISED) or _late_for_moving(look, subject))
    return dry or any(_hides(look, (subject, id_), rule) for id_ in _too_hot_or_cold_rules(look))


def _late_for_moving(look: Look, subject: str) -> bool:
    """Whether it was told that the batches which await their lockdown's humidity are late to be moved: one act, told once."""
    if not _stands(look, subject, LOCKDOWN_OVERDUE):
        return False
    about, plan = look.state.alarms[subject, LOCKDOWN_OVERDUE].about, look.state.plan_of(subject)
    late = {batch for batch, _ in about.batches} if isinstance(about, Overdue) else set()
    return plan is not None and bool(plan.awaited) and late.issuperset(plan.awaited)


def _told_apart(look: Look, subject: str, rule: Rule) -> bool:
    """Whether it was told that the sensors disagree in this quantity, which says why one of them is warm while the other is cool.

    Not where each of them says it; and of danger only that is left out which is the opposite of a danger that was told, or, for all its time to
    respond, what a probe alone says that jumped, as urgently told as that, while the others are well. What is only warned of in the temperature
    waits for all its time to respond, too; what one alone would reach is not told at all: what stands behind it is, when it is there.
    """
    key, about = (subject, DISAGREE), _apart(look, subject)
    if about is None:
        return False
    if rule.level == ALARM and rule.quantity == DRY_BULB and about.jumped and about.outside:
        # Among more than two the middle of all is judged, whatever one of them says.
        of_two = len(_speaking(look, subject, rule)) == 2
        return of_two and _told_as_urgently(look, key, rule, of=subject, share=1.0) and _alone(look, subject, rule)
    if rule.foretells and about.outside and about.quantity != RH:
        # What one of them would reach is told when it is there; that they disagree is the news, and asks by itself.
        return _told_as_urgently(look, key, rule, of=subject, share=math.inf) and _alone(look, subject, rule)
    share = 1.0 if rule.level == WARNING and rule.quantity == DRY_BULB else WAIT_SHARE
    if not _fresh(look, look.state.alarms[key], rule, share=share):
        return False
    if (about.quantity == RH) is not (rule.quantity == HUMIDITY):
        return False
    if rule.level in (ALARM, LETHAL):
        opposite = rule.side == BELOW and _alarm_stands(look, subject, quantity=rule.quantity or "", side=ABOVE)
        return opposite and not _all_beyond(look, subject, rule)
    return not _all_beyond(look, subject, rule)


def _all_beyond(look: Look, machine: str, rule: Rule) -> bool:
    """Whether every probe of a machine is beyond the limit of a rule."""
    plan = look.state.plan_of(machine)
    limits = () if plan is None else (*plan.limits, *plan.headings)
    limit = next((each for each in limits if each.key[1] == rule.id), None)
    speaking = _speaking(look, machine, rule)
    return limit is not None and bool(speaking) and all((v - limit.limit) * limit.side > 0.0 for v, _ in speaking)


def _apart(look: Look, machine: str) -> Apart | None:
    """How the sensors of a machine disagree; None where they do not, or never did."""
    alarm = look.state.alarms.get((machine, DISAGREE))
    return alarm.about if alarm is not None and isinstance(alarm.about, Apart) else None


def _alone(look: Look, machine: str, rule: Rule) -> bool:
    """Whether a sensor says by itself what a rule of temperature would tell: another is well."""
    warning = look.site.rules.get(look.site.by_limit.get((DRY_BULB, rule.side or "", WARNING), ""), rule)
    return not _all_beyond(look, machine, warning)


def _hides(look: Look, key: tuple[str, str], rule: Rule) -> bool:
    """Whether an alarm hides what this rule would say: what is itself in doubt hides nothing.

    Deadly heat does that another probe does not deny: heat that comes so fast is doubted for its speed alone.
    """
    other = look.state.alarms.get(key)
    if other is None or not _fresh(look, other, rule):
        return False
    if look.site.rules[other.rule].level == LETHAL:
        return not _doubted(look, (other.subject, DISAGREE), look.site.rules[other.rule])
    return not _doubtful(look, other)


def _fresh(look: Look, other: Alarm, rule: Rule, *, share: float = WAIT_SHARE) -> bool:
    """Whether an alarm stands, and not yet for so much of this rule's time to respond that hiding it longer would cost what it is for."""
    if not _stands(look, *other.key):
        return False
    return other.begun_mono_s is None or look.now.mono_s - other.begun_mono_s <= rule.respond_min * 60.0 * share


def _told_as_urgently(look: Look, key: tuple[str, str], rule: Rule, *, of: str, share: float = WAIT_SHARE) -> bool:
    """Whether an alarm stands, for no longer than `_fresh` allows, and is as urgent as this rule would be of its subject."""
    other = look.state.alarms.get(key)
    if other is None or not _fresh(look, other, rule, share=share):
        return False
    told, this = (PRIORITIES.index(rule_of(look, *each).priority) for each in (key, (of, rule.id)))
    return told >= this


def _too_hot_or_cold_rules(look: Look) -> Iterator[str]:
    """The rules of far too hot and far too cold."""
    for side in (ABOVE, BELOW):
        for level in (LETHAL, ALARM):
            yield look.site.by_limit.get((DRY_BULB, side, level), "")


def _too_hot_or_cold(look: Look, subject: str) -> bool:
    return any(_alarm_stands(look, subject, quantity=DRY_BULB, side=side) for side in (ABOVE, BELOW))


def _alarm_stands(look: Look, subject: str, *, quantity: str, side: str | None) -> bool:
    """Whether the alarm of a side stands, or what is worse."""
    return any(_limit_stands(look, subject, (quantity, side or "", level)) for level in (LETHAL, ALARM))


def _outdone(look: Look, subject: str, rule: Rule) -> bool:
    """Whether it is not only too much of the same, but deadly: not while it is that no more, for then nobody asks about that."""
    deadly = look.site.beside(rule, LETHAL)
    return _stands(look, subject, deadly) and not look.state.alarms[subject, deadly].resting


def _was_deadly(look: Look, alarm: Alarm, rule: Rule) -> bool:
    """Whether it was deadly until just now, which was told, and may be so again: not for longer than that takes to be over."""
    key = (alarm.subject, look.site.beside(rule, LETHAL))
    deadly = look.state.alarms.get(key)
    if rule.level != ALARM or deadly is None or deadly.pending_mono_s is None:
        return False
    if not deadly.told or not _stands(look, *key):
        return False
    return look.now.mono_s - deadly.pending_mono_s <= rule_of(look, *key).off_delay_s


def _limit_stands(look: Look, subject: str, limit: tuple[str, str, str]) -> bool:
    return _stands(look, subject, look.site.by_limit.get(limit, ""))


def _not_back(look: Look, subject: str, rule: Rule) -> bool:
    """Whether it was told that the machine did not come back from handling, as urgently as this would be."""
    return _told_as_urgently(look, (subject, HANDLING_OVER), rule, of=subject)


def _switch_says(look: Look, subject: str, rule: Rule) -> bool:
    """Whether it was told what the air is low for: that there are no mains, that the door is open, that the water is low."""
    if rule.quantity == HUMIDITY and rule.level == WARNING and _stands(look, subject, WATER_LOW):
        return True
    causes = ((SITE_SUBJECT, MAINS_LOST), (subject, MAINS_LOST), (subject, DOOR_OPEN))
    return any(_told_as_urgently(look, key, rule, of=subject) for key in causes)


def _doubtful(look: Look, alarm: Alarm) -> bool:
    """Whether a sensor behind an alarm about air is itself in doubt. It is told all the same: a doubt silences no danger.

    Asked of the probes whose value is told, and of the quantity that is: a sound probe is not doubtful for a failed one beside it.
    """
    machine, rule = alarm.subject, rule_of(look, *alarm.key)
    if alarm.value is None or machine not in look.site.by_machine:
        return False
    speaking = _speaking(look, machine, rule)
    # What disagrees with a probe that is heard no more says nothing of the others. Where none is, the value is an old one, of any.
    if len(speaking) != 1 and _doubted(look, (machine, DISAGREE), rule):
        return True
    probes = _told_of(speaking, rule) if speaking else [p.key for p in in_service(look, machine)]
    return any(_doubted(look, (p, r), rule) for p in probes for r in (SENSOR_SUSPECT, SENSOR_FAILED))


def _speaking(look: Look, machine: str, rule: Rule) -> list[tuple[float, str]]:
    """(value, probe) of each probe of a machine that its air is judged by now, of the rule's quantity."""
    found: list[tuple[float, str]] = []
    plan = look.state.plan_of(machine)
    for probe in in_service(look, machine):
        heard = look.state.probe(probe.key).heard
        if heard is None or look.now.mono_s - heard.mono_s > probe.silence_s:
            continue
        value: float | None = heard.dry_bulb_c
        if rule.quantity == HUMIDITY and (value := heard.rh_pct) is not None and plan is not None:
            wet = plan.humid == WET_BULB
            value = wet_bulb_c(heard.dry_bulb_c, min(max(value, 0.0), 100.0), look.site.pressure_kpa) if wet else value
        if value is not None:
            found.append((value, probe.key))
    return sorted(found)


def _told_of(speaking: list[tuple[float, str]], rule: Rule) -> list[str]:
    """Whose value of them is told: of two the worse, of more the middle; all where the rule has no side, or what is judged is of them all."""
    keys = [key for _, key in speaking]
    if rule.quantity not in (DRY_BULB, HUMIDITY) or rule.side is None:
        return keys
    if len(keys) == 2:
        return keys[-1:] if rule.side == ABOVE else keys[:1]
    return keys[(len(keys) - 1) // 2 : len(keys) // 2 + 1]


def _doubted(look: Look, key: tuple[str, str], rule: Rule) -> bool:
    """Whether a doubt stands that is about the quantity which the rule judges."""
    doubt = look.state.alarms.get(key)
    if doubt is None or not doubt.condition:
        return False
    if rule.quantity not in (DRY_BULB, EGG):
        return True  # a wet bulb is made of both
    about = doubt.about
    of_humidity = isinstance(about, Unfit) and about.test.endswith("-H")
    return not (of_humidity or (isinstance(about, Apart) and about.quantity == RH))


def _stands(look: Look, subject: str, rule: str) -> bool:
    other = look.state.alarms.get((subject, rule))
    # A person who shelved it has heard of it; what is suppressed or out of service has nobody who did. What comes and goes hides
    # nothing while it is gone.
    if other is None or not other.condition or (other.came_back and other.resting):
        return False
    return not other.suppressed and not other.out_of_service
