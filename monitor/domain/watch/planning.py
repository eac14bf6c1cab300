"""Which limits a machine has now, and what becomes of its alarms when they change; or when it, or one of its probes, goes out of service as a whole,
and comes back."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from monitor.domain.alarms.about import Apart, Unmet
from monitor.domain.alarms.alarm import (
    BACK_IN_SERVICE,
    IN,
    JUDGED_AGAIN,
    MAX_OUT_S,
    NO_EGGS,
    NOT_JUDGED,
    OUT,
    SERVICE_TIME_OVER,
    TAKEN_OUT,
    TAKEN_WHOLE,
    Alarm,
    Judgement,
    suppress,
    unsuppress,
)
from monitor.domain.alarms.out import Out
from monitor.domain.needs.bands import needs_of
from monitor.domain.needs.batch import whole_day
from monitor.domain.needs.places import groups_of
from monitor.domain.needs.rules import ALL_SILENT, CONFLICT, DISAGREE, DRIFTING, MISSING
from monitor.domain.readings.agreement import forget
from monitor.domain.readings.reading import Now
from monitor.domain.state.happened import PutBack, TakenOut
from monitor.domain.state.known import Key, Look, Plan
from monitor.domain.state.record import Event
from monitor.domain.state.service import is_out, nodes_in_service
from monitor.domain.watch.deciding import judge, settle
from monitor.domain.watch.plan import SITE_SUBJECT, places, plan_of


def plan(look: Look, machine: str) -> Plan:
    """The machine's limits at this instant, made anew when they no longer hold."""
    known = look.state.machine(machine)
    standing = known.plan
    if standing is not None and (standing.needs.valid_until is None or look.now.utc < standing.needs.valid_until):
        return standing
    needs = needs_of(look.site.machines[machine], look.state.batches.values(), look.site, at=look.now.utc)
    present = frozenset(o.batch for o in needs.occupants if o.lockdown_since is not None)
    known.reached &= present
    fresh = known.plan = plan_of(needs, look.site, known.reached)
    _refit(look, fresh)
    return fresh


def _refit(look: Look, plan_: Plan) -> None:
    """A machine's limits are new: alarms whose limit is gone are quiet by design, those whose limit is back are judged again."""
    machine = plan_.needs.machine
    for key, alarm in list(look.state.alarms.items()):
        if key[0] != machine or not look.site.rules[key[1]].of_the_air:
            continue
        if alarm.suppressed == TAKEN_WHOLE:
            continue  # until its machine is back in service, whatever is put into it
        if key in plan_.keys:
            settle(look, key, unsuppress(alarm, look.now, JUDGED_AGAIN))
        elif alarm.condition:
            why = NO_EGGS if not plan_.needs.occupants else NOT_JUDGED
            settle(look, key, suppress(alarm, why, now=look.now, over=True))
        elif alarm.pending_mono_s is not None:
            look.state.alarms[key] = replace(alarm, pending_mono_s=None, pending_at=None)
    needs = plan_.needs
    inside = tuple((o.batch, whole_day(o.day), o.stage) for o in needs.occupants)
    for rule, standing in ((CONFLICT, needs.conflict), (MISSING, needs.missing)):
        about = Unmet(standing, inside, needs.missing) if standing else None
        if rule == CONFLICT and about is not None:
            found = tuple((o.batch, places(look, o.batch)) for o in needs.occupants)
            groups = groups_of(machine, look.state.batches.values(), look.site, at=look.now.utc)
            about = replace(about, places=found, groups=groups)
        judge(look, (machine, rule), Judgement(OUT if standing else IN, look.now.utc, about=about or ""))


# --- out of service as a whole


def resume(out: Out, now: Now) -> Out:
    """As a new run finds it: its end by the label, for the forward clock began anew."""
    if out.until is None:
        return out
    return replace(out, until_mono_s=now.mono_s + max(0.0, (out.until - now.utc).total_seconds()))


def take_out(look: Look, subject: str, *, for_s: float | None, by: str) -> Out:
    """From now on nothing of it is judged, and what stood of it is suppressed, without a word: who took it out knows. Taken out again, it has
    another end. for_s: more than 0, at most MAX_OUT_S; None: until a person puts it back."""
    now, before = look.now, look.state.out.get(subject)
    until = None if for_s is None else now.utc + timedelta(seconds=for_s)
    out = Out(subject, now.utc, until, by, None if for_s is None else now.mono_s + for_s)
    if before is not None:
        look.out.outs.append(replace(before, ended=now.utc))
    look.state.out[subject] = out
    look.out.outs.append(out)
    look.out.events.append(Event(now.utc, "service", subject, what=TakenOut(until, by)))
    for key, alarm in list(look.state.alarms.items()):
        if not is_out(look, key):
            continue
        if alarm.condition:
            _cover(look, alarm)
        elif alarm.pending_mono_s is not None:
            look.state.alarms[key] = replace(alarm, pending_mono_s=None, pending_at=None)
    for key in (
        (look.site.probes[subject].machine, rule) for rule in (DISAGREE, DRIFTING) if subject in look.site.probes
    ):
        _end_of(look, key, subject)
    _end_of_all_silent(look)
    _judge_anew(look, subject)
    return out


def _end_of(look: Look, key: Key, probe: str) -> None:
    """That a probe differs from the others of its machine is over without a word: these are judged on, without it."""
    alarm = look.state.alarms.get(key)
    if alarm is None or not alarm.condition or not isinstance(alarm.about, Apart) or probe not in alarm.about.probes:
        return
    _cover(look, alarm)
    settle(look, key, unsuppress(look.state.alarms[key], look.now, TAKEN_OUT))


def _end_of_all_silent(look: Look) -> None:
    """That no node is heard is no longer so where one alone is left: that one's own silence is told, and nothing was heard again."""
    alarm = look.state.alarms.get((SITE_SUBJECT, ALL_SILENT))
    left = len(nodes_in_service(look))
    if alarm is None or not alarm.condition or left > 1 or (left and look.state.lost):
        return
    _cover(look, alarm)
    settle(look, alarm.key, unsuppress(look.state.alarms[alarm.key], look.now, TAKEN_OUT))


def _cover(look: Look, alarm: Alarm) -> None:
    """What stood is over, and nobody is told: who took its subject out has answered it."""
    # What stands when it is back is news, also where it was shelved.
    bare = replace(alarm, told=False, shelved_until=None, shelved_until_mono_s=None)
    quiet, changes = suppress(bare, TAKEN_WHOLE, now=look.now, over=True)
    quiet = replace(quiet, acknowledged=True)
    settle(look, alarm.key, (quiet, tuple(replace(change, alarm=quiet) for change in changes)))


def unsuppress_rest(look: Look, cause: str) -> None:
    """What is suppressed for something that is out of service no longer is judged again."""
    for key, alarm in list(look.state.alarms.items()):
        if alarm.suppressed == TAKEN_WHOLE and not is_out(look, key):
            settle(look, key, unsuppress(alarm, look.now, cause))


def put_back(look: Look, out: Out, *, by: str = "", over: bool = False) -> None:
    """It is judged afresh: what stands then is told as news. over: its time is over, and nobody did it."""
    del look.state.out[out.subject]
    look.out.outs.append(replace(out, ended=look.now.utc))
    look.out.events.append(Event(look.now.utc, "service", out.subject, what=PutBack(over, by)))
    unsuppress_rest(look, SERVICE_TIME_OVER if over else BACK_IN_SERVICE)
    _judge_anew(look, out.subject)


def end_outs(look: Look) -> None:
    """Passing time: what is out of service for a time comes back."""
    for out in list(look.state.out.values()) if look.state.out else ():
        until_s = out.until_mono_s
        if until_s is None:
            continue
        # After a restart the end is told from a label: a clock that is wrong by years must not make a silence of years.
        if until_s > look.now.mono_s + MAX_OUT_S:
            look.state.out[out.subject] = replace(out, until_mono_s=look.now.mono_s + MAX_OUT_S)
        elif look.now.mono_s >= until_s:
            put_back(look, out, over=True)


def _judge_anew(look: Look, subject: str) -> None:
    """Its machine's air of before, under repair or by other probes, says nothing of now."""
    probe = look.site.probes.get(subject)
    machine = subject if probe is None else probe.machine
    if machine not in look.site.machines:
        return  # configured no longer
    known = look.state.machine(machine)
    known.means, known.windows, known.plan = (), None, None
    if probe is not None and known.pairs is not None:
        known.pairs = forget(known.pairs, probe.key)
    plan(look, machine)
