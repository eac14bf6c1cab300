"""Which limits a machine has now, and what becomes of its alarms when they change."""

from __future__ import annotations

from dataclasses import replace

from monitor.domain.alarms.alarm import IN, OUT, Judgement, suppress, unsuppress
from monitor.domain.needs.bands import needs_of, occupants_text
from monitor.domain.needs.rules import CONFLICT, MISSING
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import Plan, State
from monitor.domain.state.record import Group
from monitor.domain.watch.deciding import judge, settle
from monitor.domain.watch.plan import plan_of

EMPTY = "no eggs in it"
NOT_JUDGED = "no such limit now"


def plan(state: State, site: Site, machine: str, now: Now, out: Group) -> Plan:
    """The machine's limits at this instant, made anew when they no longer hold."""
    standing = state.plans.get(machine)
    if standing is not None and (standing.needs.valid_until is None or now.utc < standing.needs.valid_until):
        return standing
    needs = needs_of(site.machines[machine], state.batches.values(), site, now.utc)
    present = frozenset(o.batch for o in needs.occupants if o.lockdown_since is not None)
    reached = state.reached[machine] = state.reached.get(machine, frozenset()) & present
    fresh = state.plans[machine] = plan_of(needs, site, reached)
    _refit(state, site, fresh, now, out)
    return fresh


def _refit(state: State, site: Site, plan_: Plan, now: Now, out: Group) -> None:
    """A machine's limits are new: alarms whose limit is gone are quiet by design, those whose limit is back are judged again."""
    machine = plan_.needs.machine
    for key, alarm in list(state.alarms.items()):
        if key[0] != machine or not site.rules[key[1]].of_the_air:
            continue
        if key in plan_.keys:
            settle(state, site, key, unsuppress(alarm, now, "judged again"), now, out)
        elif alarm.condition:
            why = EMPTY if not plan_.needs.occupants else NOT_JUDGED
            settle(state, site, key, suppress(alarm, why, now, over=True), now, out)
        elif alarm.pending_mono_s is not None:
            state.alarms[key] = replace(alarm, pending_mono_s=None, pending_at=None)
    who = occupants_text(plan_.needs)
    for rule, standing in ((CONFLICT, plan_.needs.conflict), (MISSING, plan_.needs.missing)):
        about = f"{' and '.join(standing)}: {who}" if standing else ""
        judge(state, site, (machine, rule), Judgement(OUT if standing else IN, now.utc, about=about), now, out)
