"""Which transitions are worth waking someone for, and the notices they become.

One cause is one alarm: a warning does not begin while the alarm of its side stands, nor a humidity alarm while the machine is far
too hot or cold, nor a silent probe's while its node, or the whole
room, is known to be silent; nor that a limit lies ahead, or that the eggs feel it, while it is passed; it begins if it outlasts
the other. What was never told needs no closing message.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    NORMAL,
    RETURNED,
    SHELVED,
    STILL_STANDING,
    SUPPRESSED,
    UNACKNOWLEDGED,
    Alarm,
    Transition,
)
from monitor.domain.alarms.notice import Facts, Notice, facts_of
from monitor.domain.needs.bands import Needs
from monitor.domain.needs.batch import batch_of
from monitor.domain.needs.rules import (
    ABOVE,
    ALARM,
    ALL_SILENT,
    BELOW,
    CRITICAL,
    DISAGREE,
    DRY_BULB,
    HANDLING_OVER,
    HIGH,
    HUMIDITY,
    LOOK_AGAIN,
    LOW,
    NO_DATA,
    NODE_OFFLINE,
    NOT_RAISED,
    PRIORITIES,
    SENSOR_FAILED,
    SENSOR_SUSPECT,
    Rule,
)
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import State, plan_with, rule_of
from monitor.domain.state.record import Attempt, Group
from monitor.domain.watch.plan import SITE_SUBJECT

MILD_AGAIN_S = (
    12 * 3600.0
)  # what is low is told again twice a day at most: it can wait, and must not be forgotten for ever
MAX_WAITING = 500  # unsent notices per contact: a phone service dead for days must not fill the card


def tell(state: State, site: Site, transition: Transition, now: Now, out: Group) -> Alarm:
    """Put the notices of one transition into `out`; the alarm, with whether its episode was told."""
    alarm = transition.alarm
    closing = _closes(transition)
    if closing and not alarm.told:
        return alarm
    if not closing and transition.state != UNACKNOWLEDGED:
        return alarm
    if closing and alarm.rule == LOOK_AGAIN:
        return replace(alarm, told=False)  # who wrote down what was seen needs no message that it was
    if closing and said_already(state, site, alarm.subject, alarm.rule):
        return replace(
            alarm, told=False
        )  # what is worse stands, and was told: "no longer" would be read as all is well
    rule = rule_of(state, site, *alarm.key)
    facts = facts_of(transition, _concerned(state, alarm), _doubtful(state, site, alarm))
    priority = LOW if closing else rule.priority  # good news wakes nobody
    _put(state, site, site.contacts, alarm, priority, facts, closing, now, out)
    return replace(alarm, told=not closing)


def remind(state: State, site: Site, alarm: Alarm, now: Now, out: Group) -> Alarm:
    """Tell a standing alarm again that nobody has answered; a contact that has not yet got its last message is not sent another."""
    rule = rule_of(state, site, *alarm.key)
    if rule.priority != LOW or (rule.re_alarm_s or 0.0) >= MILD_AGAIN_S:
        again = Transition(alarm, UNACKNOWLEDGED, UNACKNOWLEDGED, STILL_STANDING, now.utc, now.mono_s)
        facts = facts_of(again, _concerned(state, alarm), _doubtful(state, site, alarm))
        unheard = set(state.unsent.values())
        reached = [contact for contact in site.contacts if (contact, alarm.number) not in unheard]
        _put(state, site, reached, alarm, rule.priority, facts, False, now, out)
    return replace(alarm, asked_mono_s=now.mono_s)


def _put(
    state: State, site: Site, contacts: Iterable[str], alarm: Alarm, priority: str, facts: Facts,
    closing: bool, now: Now, out: Group,
) -> None:  # fmt: skip
    """One notice for each contact into `out`, as long as the outbox has room for it."""
    for contact in contacts:
        state.last_notice += 1
        notice = Notice(
            id=state.last_notice,
            dedupe=f"{alarm.number}/{state.last_notice}/{contact}",
            contact=contact,
            priority=priority,
            title="",
            text="",
            created=now.utc,
            alarm_number=alarm.number,
            closing=closing,
            link=site.link,
            facts=facts,
        )
        out.notices.append(notice)
        waiting = state.waiting.get(contact, 0)
        if waiting >= MAX_WAITING and priority not in (HIGH, CRITICAL):
            detail = f"outbox full: {waiting} notices wait for {contact}, expected under {MAX_WAITING}"
            out.attempts.append(Attempt(notice.id, "cancelled", detail, now.utc, contact))
        else:
            state.waiting[contact] = waiting + 1
            state.unsent[notice.id] = (contact, alarm.number)


def _closes(transition: Transition) -> bool:
    """Whether an episode that may have been told is over; one that went under a shelf is closed when the shelf ends."""
    before, state = transition.state_before, transition.state
    if state in (NORMAL, RETURNED):
        return before in (UNACKNOWLEDGED, ACKNOWLEDGED, SHELVED)
    return state == SUPPRESSED and before in (UNACKNOWLEDGED, ACKNOWLEDGED)


def _concerned(state: State, alarm: Alarm) -> Needs | None:
    """The needs of the machine that an alarm is about, with the batches that it is about."""
    plan, batch = state.plans.get(alarm.subject), batch_of(alarm.subject)
    if plan is None and (plan := plan_with(state, batch)) is not None:
        return replace(plan.needs, occupants=tuple(o for o in plan.needs.occupants if o.batch == batch))
    if plan is None:
        return None
    if alarm.rule != NOT_RAISED or not plan.awaited:
        return plan.needs
    return replace(plan.needs, occupants=tuple(o for o in plan.needs.occupants if o.batch in plan.awaited))


def said_already(state: State, site: Site, subject: str, rule: str) -> bool:
    """Whether another standing alarm says it, so that this one need not begin."""
    if rule == HANDLING_OVER:
        return _too_hot_or_cold(state, site, subject)
    judged = site.rules[rule]
    if judged.of_the_air and rule != NOT_RAISED:
        return _said_of_the_air(state, site, subject, judged)
    if rule == NO_DATA:
        node = site.probes[subject].node if subject in site.probes else ""
        return _stands(state, SITE_SUBJECT, ALL_SILENT) or _stands(state, node, NODE_OFFLINE)
    if rule == NODE_OFFLINE:
        probes = site.by_node.get(subject, ())
        each = bool(probes) and all(_stands(state, p.key, NO_DATA) for p in probes)
        return each or _stands(state, SITE_SUBJECT, ALL_SILENT)
    return False


def _said_of_the_air(state: State, site: Site, subject: str, rule: Rule) -> bool:
    """Whether the alarm stands that this rule comes before or beside; or it was told why the air is too low."""
    beside = HUMIDITY if rule.quantity == HUMIDITY else DRY_BULB  # of what the eggs feel, the air's
    if rule.level != ALARM and _alarm_stands(state, site, subject, beside, rule.side):
        return True
    if rule.side == BELOW and _not_back(state, site, subject, rule.id):
        return True
    if rule.quantity != HUMIDITY:
        return False
    # Air that is far too hot or cold has another humidity too, by that alone, and the temperature is the more urgent.
    return _too_hot_or_cold(state, site, subject) or (rule.side == BELOW and _stands(state, subject, NOT_RAISED))


def _too_hot_or_cold(state: State, site: Site, subject: str) -> bool:
    return any(_alarm_stands(state, site, subject, DRY_BULB, side) for side in (ABOVE, BELOW))


def _alarm_stands(state: State, site: Site, subject: str, quantity: str, side: str | None) -> bool:
    return _stands(state, subject, site.by_limit.get((quantity, side or "", ALARM), ""))


def _not_back(state: State, site: Site, subject: str, rule: str) -> bool:
    """Whether it was told that the machine did not come back from handling, as urgently as this would be."""
    if not _stands(state, subject, HANDLING_OVER):
        return False
    told, this = (PRIORITIES.index(rule_of(state, site, subject, r).priority) for r in (HANDLING_OVER, rule))
    return told >= this


def _doubtful(state: State, site: Site, alarm: Alarm) -> bool:
    """Whether a sensor behind an alarm about air is itself in doubt. It is told all the same: a doubt silences no danger."""
    machine = alarm.subject
    if alarm.value is None or machine not in site.by_machine:
        return False
    probes = [p.key for p in site.by_machine[machine]]
    keys = [(machine, DISAGREE), *((p, r) for p in probes for r in (SENSOR_SUSPECT, SENSOR_FAILED))]
    return any((doubt := state.alarms.get(key)) is not None and doubt.condition for key in keys)


def _stands(state: State, subject: str, rule: str) -> bool:
    other = state.alarms.get((subject, rule))
    # A person who shelved it has heard of it; what is suppressed or out of service has nobody who did.
    return other is not None and other.condition and not other.suppressed and not other.out_of_service
