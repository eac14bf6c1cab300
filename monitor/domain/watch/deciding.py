"""One alarm's next facts: judged, adopted, written and told. What every judgement ends in."""

from __future__ import annotations

import math
from dataclasses import replace

from monitor.domain.alarms.alarm import BETWEEN, OUT, Alarm, Judgement, Step, step
from monitor.domain.needs.rules import ALARM, LETHAL
from monitor.domain.state.known import Key, Look, rule_of
from monitor.domain.state.service import is_out
from monitor.domain.watch.telling import said_already, tell


def settle(look: Look, key: Key, stepped: Step) -> None:
    """Adopt an alarm's next facts, and write and tell what changed."""
    alarm, transitions = stepped
    if transitions and alarm.number > look.state.last_number:
        look.state.last_number = alarm.number
    for transition in transitions:
        alarm = tell(look, transition)
        look.out.transitions.append(replace(transition, alarm=alarm))
    look.state.alarms[key] = alarm


def judge(look: Look, key: Key, judgement: Judgement, held: bool = False, lasted_s: float = 0.0) -> None:  # noqa: PLR0917 - with each reading
    """One fresh look at one alarm's limit. held: it does not begin now, though its delay counts, so that it begins at once after.
    lasted_s: how long readings before this one, which could not be judged then, show that it has lasted."""
    if is_out(look, key):
        return
    alarm = look.state.alarms.get(key)
    if alarm is None:
        if judgement.verdict != OUT:
            return
        alarm = Alarm(*key)
    if judgement.verdict == OUT and not alarm.condition and said_already(look, *key):
        judgement = replace(judgement, verdict=BETWEEN)
    elif judgement.verdict != OUT and not alarm.condition and alarm.pending_mono_s is None:
        return
    rule = rule_of(look, *key)
    if held and not alarm.condition:
        rule = replace(rule, on_delay_s=math.inf)
    elif lasted_s > 0.0 and lasted_s >= rule.on_delay_s:
        rule = replace(rule, on_delay_s=0.0)
    settle(look, key, step(alarm, judgement, look.now, rule=rule, next_number=look.state.last_number + 1))
    if alarm.condition and not look.state.alarms[key].condition and rule.level == ALARM:
        _end_worse(look, key, judgement)


def _end_worse(look: Look, key: Key, judgement: Judgement) -> None:
    """What was deadly is over with what was too much of the same: whoever hears that it is no longer too hot would else not hear, for the
    rest of a quarter of an hour, that it is deadly again."""
    rule = look.site.rules[key[1]]
    deadly = (key[0], look.site.beside(rule, LETHAL))
    alarm = look.state.alarms.get(deadly)
    if alarm is None or not alarm.resting:
        return
    at_once = replace(rule_of(look, *deadly), off_delay_s=0.0)
    over = replace(judgement, limit=alarm.limit)
    settle(look, deadly, step(alarm, over, look.now, rule=at_once, next_number=look.state.last_number + 1))
