"""What should have happened by its day: eggs moved for lockdown, a hatch that is over, an egg looked at again."""

from __future__ import annotations

from monitor.domain.alarms.about import Overdue
from monitor.domain.alarms.alarm import IN, OUT, Judgement
from monitor.domain.needs.batch import Batch, whole_day
from monitor.domain.needs.rules import HATCH_OVERDUE, LOCKDOWN_OVERDUE
from monitor.domain.needs.site import HATCHER, SETTER
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import Look, rule_of
from monitor.domain.watch.deciding import judge
from monitor.domain.watch.egg_alarms import remind_to_look

LOOK_EVERY_S = 60.0  # days are awaited here
LOCKDOWN_GRACE_DAYS = 0.5  # a day's work is done when there is time for it
HATCH_GRACE_DAYS = 1.5  # after the term: late and drawn-out hatches are common, a batch forgotten open is too


def look_for_overdue(look: Look) -> None:
    """Judge both rules for every machine with eggs, and what was to be looked at again, once a minute."""
    if look.now.mono_s - look.state.looked_mono_s < LOOK_EVERY_S:
        return
    look.state.looked_mono_s = look.now.mono_s
    a_hatcher = any(m.kind == HATCHER for m in look.site.machines.values())
    for machine in look.site.machines.values():
        plan = look.state.plan_of(machine.id)
        if plan is None:
            continue
        batches = [look.state.batches[o.batch] for o in plan.needs.occupants]
        if machine.kind == SETTER and a_hatcher:  # who has none locks down where the eggs are
            grace = rule_of(look, machine.id, LOCKDOWN_OVERDUE).limit
            late = [
                b
                for b in batches
                if _late(
                    b,
                    due_day=look.site.profiles[b.profile].lockdown_day,
                    grace_days=grace,
                    usual_days=LOCKDOWN_GRACE_DAYS,
                    now=look.now,
                )
            ]
            _judge(look, (machine.id, LOCKDOWN_OVERDUE), late)
        elif (machine.id, LOCKDOWN_OVERDUE) in look.state.alarms:
            _judge(look, (machine.id, LOCKDOWN_OVERDUE), [])
        grace = rule_of(look, machine.id, HATCH_OVERDUE).limit
        late = [
            b
            for b in batches
            if _late(
                b,
                due_day=look.site.profiles[b.profile].days,
                grace_days=grace,
                usual_days=HATCH_GRACE_DAYS,
                now=look.now,
            )
        ]
        _judge(look, (machine.id, HATCH_OVERDUE), late)
    remind_to_look(look)


def _late(batch: Batch, *, due_day: float, grace_days: float | None, usual_days: float, now: Now) -> bool:
    return batch.day(now.utc) > due_day + (usual_days if grace_days is None else grace_days)


def _judge(look: Look, key: tuple[str, str], late: list[Batch]) -> None:
    about = Overdue(tuple((b.id, whole_day(b.day(look.now.utc))) for b in late)) if late else ""
    judge(look, key, Judgement(OUT if late else IN, look.now.utc, about=about))
