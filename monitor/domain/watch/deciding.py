"""One alarm's next facts: judged, adopted, written and told. What every judgement ends in."""

from __future__ import annotations

import math
from dataclasses import replace

from monitor.domain.alarms.alarm import BETWEEN, OUT, Alarm, Judgement, Step, step
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import Key, State, rule_of
from monitor.domain.state.record import Group
from monitor.domain.watch.telling import said_already, tell


def settle(state: State, site: Site, key: Key, stepped: Step, now: Now, out: Group) -> None:
    """Adopt an alarm's next facts, and write and tell what changed."""
    alarm, transitions = stepped
    if transitions and alarm.number > state.last_number:
        state.last_number = alarm.number
    for transition in transitions:
        alarm = tell(state, site, transition, now, out)
        out.transitions.append(replace(transition, alarm=alarm))
    state.alarms[key] = alarm


def judge(state: State, site: Site, key: Key, judgement: Judgement, now: Now, out: Group, held: bool = False) -> None:
    """One fresh look at one alarm's limit. held: it does not begin now, though its delay counts, so that it begins at once after."""
    alarm = state.alarms.get(key)
    if alarm is None:
        if judgement.verdict != OUT:
            return
        alarm = Alarm(*key)
    if judgement.verdict == OUT and not alarm.condition and said_already(state, site, *key):
        judgement = replace(judgement, verdict=BETWEEN)
    elif judgement.verdict != OUT and not alarm.condition and alarm.pending_mono_s is None:
        return
    rule = rule_of(state, site, *key)
    if held and not alarm.condition:
        rule = replace(rule, on_delay_s=math.inf)
    settle(state, site, key, step(alarm, judgement, now, rule, state.last_number + 1), now, out)
