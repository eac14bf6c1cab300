"""The whole decision: what one message, one tick or one change of plan means.

Everything follows from the values handed in: the state, the site, the item and its instant. The state is changed in place and
what must be written is put into `out`; nothing is written, sent or asked here, so the same items give the same decisions.
"""

from __future__ import annotations

from monitor.domain.alarms.alarm import IN, OUT, Judgement, pass_time, suppress, unanswered, unsuppress
from monitor.domain.needs.batch import batch_of
from monitor.domain.needs.rules import MISSING
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now, Pack, Presence, Refused
from monitor.domain.state.known import State, rule_of
from monitor.domain.state.record import Group, RefusedRow
from monitor.domain.watch.deciding import judge as judge
from monitor.domain.watch.deciding import settle as settle
from monitor.domain.watch.intake import follow_clock, give_up_holes, take_in
from monitor.domain.watch.machine_air import judge_readings
from monitor.domain.watch.overdue import look_for_overdue
from monitor.domain.watch.plan import SITE_SUBJECT
from monitor.domain.watch.planning import plan as plan
from monitor.domain.watch.silence import judge_silence, take_presence
from monitor.domain.watch.telling import remind

GONE = "no longer configured"


def hear(state: State, site: Site, message: Pack | Presence | Refused, now: Now, out: Group) -> None:
    """One message: stored, and what is news in it judged."""
    follow_clock(state, now, out)
    if isinstance(message, Pack):
        fresh = take_in(state, site, message, now, out)
        if fresh:
            judge_readings(state, site, fresh, now, out)
    elif isinstance(message, Presence):
        take_presence(state, site, message, now, out)
    else:
        out.refused.append(RefusedRow(now.utc, message))


def tick(state: State, site: Site, now: Now, out: Group) -> None:
    """Passing time: stages that begin, silence, shelves that end, alarms that ask again, what is overdue, gaps given up."""
    follow_clock(state, now, out)
    for machine in site.machines:
        plan(state, site, machine, now, out)
    judge_silence(state, site, now, out)
    look_for_overdue(state, site, now, out)
    for key, alarm in list(state.alarms.items()):
        if alarm.condition or alarm.shelved_until is not None:
            rule = rule_of(state, site, *key)
            settle(state, site, key, pass_time(alarm, now, rule), now, out)
            if unanswered(state.alarms[key], now, rule):
                state.alarms[key] = remind(state, site, state.alarms[key], now, out)
    give_up_holes(state, now, out)


def retire(state: State, site: Site, now: Now, out: Group) -> None:
    """Alarms of a run before this one about what is no longer configured: nobody will judge them again, so they end here.

    What is configured again is judged again.
    """
    subjects = {SITE_SUBJECT, *site.machines, *site.probes, *site.by_node}
    for key, alarm in list(state.alarms.items()):
        known = alarm.subject in subjects or batch_of(alarm.subject) in state.batches
        if alarm.rule not in site.rules:
            del state.alarms[key]
        elif not known and alarm.suppressed != GONE:
            settle(state, site, key, suppress(alarm, GONE, now, over=True), now, out)
        elif known and alarm.suppressed == GONE:
            settle(state, site, key, unsuppress(alarm, now, "configured again"), now, out)
    judge_strays(state, site, now, out)


def judge_strays(state: State, site: Site, now: Now, out: Group) -> None:
    """Eggs in a machine that the configuration no longer has (its id was changed, say) are watched by nobody: that is told."""
    places = {b.id: b.stay_at(b.not_before(now.utc)) for b in state.batches.values() if b.closed_at is None}
    strays = [f"{id_} in {stay.machine}" for id_, stay in places.items() if stay and stay.machine not in site.machines]
    about = f"{', '.join(strays)}: no such machine" if strays else ""
    judge(state, site, (SITE_SUBJECT, MISSING), Judgement(OUT if strays else IN, now.utc, about=about), now, out)
