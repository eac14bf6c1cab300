"""Ways in which the life-cycle could be wrong, patched into the daemon's own functions: the sequences must notice each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from monitor.domain.alarms import alarm
from monitor.domain.alarms.alarm import OUT, Alarm, Judgement, Step
from monitor.domain.needs.rules import Rule
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import Look
from monitor.domain.watch import deciding, evaluate, intake, plan, planning, silence, telling
from monitor.service.watch import commands, engine

Mutant = Callable[[pytest.MonkeyPatch], None]
MUTANTS: dict[str, Mutant] = {}


def mutant(name: str) -> Callable[[Mutant], Mutant]:
    def keep(patch: Mutant) -> Mutant:
        MUTANTS[name] = patch
        return patch

    return keep


def _same(it: Alarm, *_: Any, **__: Any) -> Step:
    """Nothing happens."""
    return it, ()


@mutant("a shelf never ends")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(alarm, "unshelve", _same)


@mutant("a shelf ends by the label clock")
def _(patch: pytest.MonkeyPatch) -> None:
    def pass_time(it: Alarm, now: Now, rule: Rule) -> Step:
        if it.shelved_until is not None and now.utc >= it.shelved_until:
            return alarm.unshelve(it, now, cause="shelf ended")
        return alarm.pass_time(it, now, rule)

    patch.setattr(evaluate, "pass_time", pass_time)


@mutant("a shelf is shut for a little longer")
def _(patch: pytest.MonkeyPatch) -> None:
    def pass_time(it: Alarm, now: Now, rule: Rule) -> Step:
        late = it.shelved_until_mono_s is not None and now.mono_s < it.shelved_until_mono_s + 30
        return _same(it) if late else alarm.pass_time(it, now, rule)

    patch.setattr(evaluate, "pass_time", pass_time)


@mutant("an acknowledgement carries over what lay over the alarm")
def _(patch: pytest.MonkeyPatch) -> None:
    def uncovered(before: Alarm, bare: Alarm, cause: str, *, now: Now, who: str) -> Step:
        return bare, alarm._changes(before, bare, cause, now=now, who=who)

    patch.setattr(alarm, "_uncovered", uncovered)


@mutant("an acknowledgement ends the alarm")
def _(patch: pytest.MonkeyPatch) -> None:
    def acknowledge(it: Alarm, who: str, now: Now) -> Step:
        seen, rows = alarm.acknowledge(it, who, now)
        over = replace(seen, condition=False)
        return over, tuple(replace(row, alarm=over, state=alarm.state_of(over)) for row in rows)

    patch.setattr(commands, "acknowledge", acknowledge)


@mutant("the next episode inherits the acknowledgement")
def _(patch: pytest.MonkeyPatch) -> None:
    _rule_or_step(patch, after=lambda before, after: replace(after, acknowledged=before.acknowledged))


@mutant("the off-delay is ignored")
def _(patch: pytest.MonkeyPatch) -> None:
    _rule_or_step(patch, changed=lambda rule: replace(rule, off_delay_s=0))


@mutant("the on-delay is ignored")
def _(patch: pytest.MonkeyPatch) -> None:
    _rule_or_step(patch, changed=lambda rule: replace(rule, on_delay_s=0))


@mutant("a look that is well within does not begin the on-delay anew")
def _(patch: pytest.MonkeyPatch) -> None:
    def step(it: Alarm, judgement: Judgement, now: Now, *, rule: Rule, next_number: int) -> Step:
        kept = judgement.verdict != OUT and not it.condition
        return _same(it) if kept else alarm.step(it, judgement, now, rule=rule, next_number=next_number)

    patch.setattr(deciding, "step", step)


@mutant("the deadband is forgotten")
def _(patch: pytest.MonkeyPatch) -> None:
    limit = plan._limit
    patch.setattr(plan, "_limit", lambda *a, **named: replace(it := limit(*a, **named), back=it.limit))


@mutant("the deadband may be as wide as the rule says")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(plan, "BAND_SHARE", 1.0)


@mutant("reminders are dropped")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(evaluate, "ask_again", lambda *_: None)


@mutant("what is acknowledged never asks again")
def _(patch: pytest.MonkeyPatch) -> None:
    def pass_time(it: Alarm, now: Now, rule: Rule) -> Step:
        return alarm.pass_time(it, now, replace(rule, re_alarm_s=None))

    patch.setattr(evaluate, "pass_time", pass_time)


@mutant("suppression is never lifted")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(planning, "unsuppress", _same)


@mutant("an emptied machine stays in alarm")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(planning, "suppress", _same)


@mutant("out of service is not taken down")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(commands, "set_out_of_service", _same)


@mutant("what is out of service is told")
def _(patch: pytest.MonkeyPatch) -> None:
    state_of = alarm.state_of
    patch.setattr(alarm, "state_of", lambda it: state_of(replace(it, out_of_service=False)))


@mutant("one cause is two alarms")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(deciding, "said_already", lambda *_: False)


@mutant("the end of an episode is not told")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(telling, "_closes", lambda _: False)


@mutant("a number is given twice")
def _(patch: pytest.MonkeyPatch) -> None:
    def step(it: Alarm, judgement: Judgement, now: Now, *, rule: Rule, next_number: int) -> Step:
        return alarm.step(it, judgement, now, rule=rule, next_number=max(1, next_number - 1))

    patch.setattr(deciding, "step", step)


@mutant("silence is forgiven at once")
def _(patch: pytest.MonkeyPatch) -> None:
    heard_again = silence.heard_again
    from monitor.domain.watch import machine_air

    patch.setattr(machine_air, "heard_again", lambda look, reading, steady: heard_again(look, reading, True))


@mutant("a clock step begins every delay anew")
def _(patch: pytest.MonkeyPatch) -> None:
    follow_clock = intake.follow_clock

    def follow(look: Look) -> None:
        state = look.state
        before = state.anchor_ms
        follow_clock(look)
        if state.anchor_ms != before:
            state.alarms = {key: replace(it, pending_mono_s=None) for key, it in state.alarms.items()}

    patch.setattr(evaluate, "follow_clock", follow)


@mutant("a restart acknowledges")
def _(patch: pytest.MonkeyPatch) -> None:
    resumed = engine._resumed
    patch.setattr(engine, "_resumed", lambda *a: replace(resumed(*a), acknowledged=True))


@mutant("a restart takes the shelf away")
def _(patch: pytest.MonkeyPatch) -> None:
    resumed = engine._resumed
    patch.setattr(engine, "_resumed", lambda *a: replace(resumed(*a), shelved_until=None, shelved_until_mono_s=None))


@mutant("a restart forgets delays and reminders")
def _(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(engine, "take_up", lambda *_, **__: None)


@mutant("while the daemon was stopped every probe was silent")
def _(patch: pytest.MonkeyPatch) -> None:
    def silent_s(look: Look, probe: str) -> float:
        return look.now.mono_s - (look.state.probe(probe).life_mono_s or look.state.started_mono_s)

    patch.setattr(silence, "silent_s", silent_s)


def _rule_or_step(
    patch: pytest.MonkeyPatch,
    changed: Callable[[Rule], Rule] = lambda rule: rule,
    after: Callable[[Alarm, Alarm], Alarm] = lambda _, after: after,
) -> None:
    """Another rule handed to the step, or what comes of it changed where an episode begins."""

    def step(it: Alarm, judgement: Judgement, now: Now, *, rule: Rule, next_number: int) -> Step:
        stepped, rows = alarm.step(it, judgement, now, rule=changed(rule), next_number=next_number)
        if stepped.episode != it.episode:
            stepped = after(it, stepped)
            rows = tuple(replace(row, alarm=stepped, state=alarm.state_of(stepped)) for row in rows)
        return stepped, rows

    patch.setattr(deciding, "step", step)
