"""The whole decision: what one message, one tick or one change of plan means.

Everything follows from the values handed in: the state, the site, the item and its instant. The state is changed in place and
what must be written is put into `out`; nothing is written, sent or asked here, so the same items give the same decisions.
"""

from __future__ import annotations

from dataclasses import replace

from monitor.domain.alarms.about import REFUSED, Astray, Unusable
from monitor.domain.alarms.alarm import (
    CONFIGURED_AGAIN,
    GONE,
    IN,
    JUDGED_AGAIN,
    OUT,
    STILL_STANDING,
    Judgement,
    pass_time,
    suppress,
    unsuppress,
)
from monitor.domain.needs.batch import batch_of
from monitor.domain.needs.places import brought
from monitor.domain.needs.rules import MISSING, OF_SWITCHES
from monitor.domain.readings.reading import Pack, Presence, Refused
from monitor.domain.state.happened import HATCHER, Lockdown
from monitor.domain.state.known import Look, rule_of, troubled
from monitor.domain.state.record import Event, RefusedRow
from monitor.domain.watch.deciding import judge as judge
from monitor.domain.watch.deciding import settle as settle
from monitor.domain.watch.intake import follow_clock, give_up_holes, take_in
from monitor.domain.watch.machine_air import judge_readings
from monitor.domain.watch.overdue import look_for_overdue
from monitor.domain.watch.plan import SITE_SUBJECT
from monitor.domain.watch.planning import end_outs, put_back, unsuppress_rest
from monitor.domain.watch.planning import plan as plan
from monitor.domain.watch.sensors import RULE_OF, judge_faults, judge_silent_switches, judge_switches, subject_of
from monitor.domain.watch.silence import judge_away, judge_itself, judge_restarts, judge_silence, take_presence
from monitor.domain.watch.telling import ask_again


def hear(look: Look, message: Pack | Presence | Refused) -> None:
    """One message: stored, and what is news in it judged."""
    follow_clock(look)
    if isinstance(message, Pack):
        fresh = take_in(look, message)
        if message.node in look.site.by_node:
            judge_restarts(look, message.node)
        judge_faults(look, message)
        if look.site.switches:
            judge_switches(look, message.node)
        if fresh:
            judge_readings(look, fresh)
    elif isinstance(message, Presence):
        take_presence(look, message)
    else:
        look.out.refused.append(RefusedRow(look.now.utc, message))
        if message.node in look.site.by_node:
            node = look.state.node(message.node)
            allowed_s = max(p.silence_s for p in look.site.by_node[message.node])
            about = Unusable(REFUSED, words=message.reason)
            node.trouble = troubled(node.trouble, look.now.mono_s, about, within_s=allowed_s)


def tick(look: Look) -> None:
    """Passing time: stages that begin, silence, shelves that end, alarms that ask again, what is overdue, gaps given up."""
    follow_clock(look)
    end_outs(look)
    for machine in look.site.machines:
        plan(look, machine)
    judge_silence(look)
    judge_away(look)
    judge_itself(look)
    judge_silent_switches(look)
    look_for_overdue(look)
    if look.state.alarms:
        _pass_time(look)
    give_up_holes(look)


def _pass_time(look: Look) -> None:
    """What passing time alone does to alarms that stand, are shelved, or whose subject is out of service."""
    anew = []
    for key, alarm in list(look.state.alarms.items()):
        if alarm.condition or alarm.shelved_until is not None or alarm.out_until_mono_s is not None:
            stepped = pass_time(alarm, look.now, rule_of(look, *key))
            settle(look, key, stepped)
            anew += [key for transition in stepped[1] if transition.cause == STILL_STANDING]
    ask_again(look, anew)


def retire(look: Look) -> None:
    """Alarms of a run before this one about what is no longer configured: nobody will judge them again, so they end here.

    What is configured again is judged again.
    """
    subjects = {SITE_SUBJECT, *look.site.machines, *look.site.probes, *look.site.by_node, *look.site.switches}
    switched = {
        (subject_of(switch), RULE_OF[switch.kind]) for switch in look.site.switches.values() if switch.kind in RULE_OF
    }
    for out in list(look.state.out.values()):
        if out.subject not in look.site.probes and out.subject not in look.site.machines:
            put_back(look, out)
    unsuppress_rest(look, JUDGED_AGAIN)  # as where another probe was configured beside the only one
    for key, alarm in list(look.state.alarms.items()):
        known = alarm.subject in subjects or batch_of(alarm.subject) in look.state.batches
        known = key in switched if alarm.rule in OF_SWITCHES else known
        if alarm.rule not in look.site.rules:
            del look.state.alarms[key]
        elif not known and alarm.suppressed != GONE:
            settle(look, key, suppress(alarm, GONE, now=look.now, over=True))
        elif known and alarm.suppressed == GONE:
            settle(look, key, unsuppress(alarm, look.now, CONFIGURED_AGAIN))
    judge_strays(look)
    _keep_lockdowns(look)


def _keep_lockdowns(look: Look) -> None:
    """Eggs that were brought to a hatcher before birds went by the egg stay in the lockdown that their day had begun."""
    for batch in list(look.state.batches.values()):
        kept = batch if batch.closed_at is not None else brought(batch, look.site, at=look.now.utc)
        if kept is not batch:
            look.state.batches[batch.id] = look.out.batches[batch.id] = kept
            if (book := look.state.books.get(batch.id)) is not None:
                look.state.books[batch.id] = replace(book, batch=kept)
            look.out.events.append(Event(look.now.utc, "batch", batch.id, what=Lockdown(HATCHER)))
            look.state.plan_anew()


def judge_strays(look: Look) -> None:
    """Eggs in a machine that the configuration no longer has (its id was changed, say) are watched by nobody: that is told."""
    places = {b.id: b.stay_at(b.not_before(look.now.utc)) for b in look.state.batches.values() if b.closed_at is None}
    strays = [(id_, stay.machine) for id_, stay in places.items() if stay and stay.machine not in look.site.machines]
    about = Astray(tuple(strays)) if strays else ""
    judge(look, (SITE_SUBJECT, MISSING), Judgement(OUT if strays else IN, look.now.utc, about=about))
