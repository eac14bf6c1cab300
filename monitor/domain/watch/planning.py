"""Which limits a machine has now, and what becomes of its alarms when they change."""

from __future__ import annotations

from dataclasses import replace

from monitor.domain.alarms.about import Unmet
from monitor.domain.alarms.alarm import IN, JUDGED_AGAIN, NO_EGGS, NOT_JUDGED, OUT, Judgement, suppress, unsuppress
from monitor.domain.needs.bands import needs_of
from monitor.domain.needs.batch import whole_day
from monitor.domain.needs.places import groups_of
from monitor.domain.needs.rules import CONFLICT, MISSING
from monitor.domain.state.known import Look, Plan
from monitor.domain.watch.deciding import judge, settle
from monitor.domain.watch.plan import places, plan_of


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
