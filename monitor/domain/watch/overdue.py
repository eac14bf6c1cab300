"""What should have happened by its day: eggs moved for lockdown, a hatch that is over, an egg looked at again."""

from __future__ import annotations

from monitor.domain.alarms.alarm import IN, OUT, Judgement
from monitor.domain.needs.batch import Batch, whole_day
from monitor.domain.needs.rules import HATCH_OVERDUE, LOCKDOWN_OVERDUE
from monitor.domain.needs.site import HATCHER, SETTER, Site
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import State, rule_of
from monitor.domain.state.record import Group
from monitor.domain.watch.deciding import judge
from monitor.domain.watch.egg_alarms import remind_to_look

LOOK_EVERY_S = 60.0  # days are awaited here
LOCKDOWN_GRACE_DAYS = 0.5  # a day's work is done when there is time for it
HATCH_GRACE_DAYS = 1.5  # after the term: late and drawn-out hatches are common, a batch forgotten open is too


def look_for_overdue(state: State, site: Site, now: Now, out: Group) -> None:
    """Judge both rules for every machine with eggs, and what was to be looked at again, once a minute."""
    if now.mono_s - state.looked_mono_s < LOOK_EVERY_S:
        return
    state.looked_mono_s = now.mono_s
    a_hatcher = any(m.kind == HATCHER for m in site.machines.values())
    for machine in site.machines.values():
        plan = state.plans.get(machine.id)
        if plan is None:
            continue
        batches = [state.batches[o.batch] for o in plan.needs.occupants]
        if machine.kind == SETTER and a_hatcher:  # who has none locks down where the eggs are
            grace = rule_of(state, site, machine.id, LOCKDOWN_OVERDUE).limit
            late = [
                b for b in batches if _late(b, site.profiles[b.profile].lockdown_day, grace, LOCKDOWN_GRACE_DAYS, now)
            ]
            _judge(state, site, (machine.id, LOCKDOWN_OVERDUE), late, now, out)
        elif (machine.id, LOCKDOWN_OVERDUE) in state.alarms:
            _judge(state, site, (machine.id, LOCKDOWN_OVERDUE), [], now, out)
        grace = rule_of(state, site, machine.id, HATCH_OVERDUE).limit
        late = [b for b in batches if _late(b, site.profiles[b.profile].days, grace, HATCH_GRACE_DAYS, now)]
        _judge(state, site, (machine.id, HATCH_OVERDUE), late, now, out)
    remind_to_look(state, site, now, out)


def _late(batch: Batch, due_day: float, grace_days: float | None, usual_days: float, now: Now) -> bool:
    return batch.day(now.utc) > due_day + (usual_days if grace_days is None else grace_days)


def _judge(state: State, site: Site, key: tuple[str, str], late: list[Batch], now: Now, out: Group) -> None:
    about = ", ".join(f"{b.id} is on day {whole_day(b.day(now.utc))}" for b in late)
    judge(state, site, key, Judgement(OUT if late else IN, now.utc, about=about), now, out)
