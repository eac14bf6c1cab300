"""Where a batch would do: the machines of the house whose eggs it fits; and what it says that a batch was brought to a hatcher."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import combinations

from monitor.domain.needs.bands import needs_of
from monitor.domain.needs.batch import LOCKDOWN, Batch, Stay, declared
from monitor.domain.needs.site import HATCHER, SETTER, Site

# A breeder who moves eggs to the hatcher a day before the reminder has seen as much as one who waits for it. Judgement.
BROUGHT_DAYS = 1.0
MOST_TRIED = 8  # batches of one machine, of which every group is tried: 255 of them


def brought(batch: Batch, site: Site, *, at: datetime) -> Batch:
    """The batch; of a bird that goes by the egg with its lockdown declared, where somebody brought it to a hatcher about the time of draw-down.

    Whoever did that has seen it begin, or holds with the sources that move eggs then: dry air would be wrong for it, with or without a sign.
    """
    stay = batch.stay_at(batch.not_before(at))
    if stay is None or stay == batch.stays[0]:  # where a batch was set says nothing of what was seen later
        return batch
    return _said_by_hatcher(batch, site, stay.machine, since=stay.since)


def set_there(batch: Batch, site: Site, *, at: datetime) -> Batch:
    """The same for a batch that is only now written down, in a hatcher about the time of draw-down: it is in there now, whenever it came."""
    now = batch.not_before(at)
    stay = batch.stay_at(now)
    return batch if stay is None else _said_by_hatcher(batch, site, stay.machine, since=now)


def _said_by_hatcher(batch: Batch, site: Site, machine: str, *, since: datetime) -> Batch:
    profile, place = site.profiles.get(batch.profile), site.machines.get(machine)
    if profile is None or profile.lockdown_sign is None or batch.declared or place is None or place.kind != HATCHER:
        return batch
    on_time = batch.day(since) >= profile.lockdown_day - BROUGHT_DAYS
    return declared(batch, LOCKDOWN, since) if on_time else batch


def places_of(batch: Batch, batches: Iterable[Batch], site: Site, *, at: datetime) -> tuple[str, ...]:
    """The other machines in which the batch would do, those with fewer batches first; none where its eggs need a machine of their own.

    A machine of the kind that its stage wants: a hatcher from lockdown on, where the house has one, else a setter.
    Raises KeyError for a batch whose profile is not known.
    """
    now = batch.not_before(at)
    stage = site.profiles[batch.profile].stage_at(batch.day(now), batch.declared_days(now)).name
    kinds = {machine.kind for machine in site.machines.values()}
    wanted = HATCHER if stage != "setter" and HATCHER in kinds else SETTER
    here = batch.stay_at(now)
    others = [b for b in batches if b.id != batch.id]
    found: list[tuple[int, str]] = []
    for machine in site.machines.values():
        if machine.kind != wanted or (here is not None and here.machine == machine.id):
            continue
        needs = needs_of(machine, [*others, replace(batch, stays=(Stay(machine.id, now),))], site, at=at, settled=True)
        if not needs.conflict and not needs.missing:
            found.append((len(needs.occupants), machine.id))
    return tuple(id_ for _, id_ in sorted(found, key=lambda each: each[0]))


def groups_of(machine: str, batches: Iterable[Batch], site: Site, *, at: datetime) -> tuple[tuple[str, ...], ...]:
    """Which batches of a machine could share one, the most first: each of them fits with all of its group, for its own kind of place.

    Of more than MOST_TRIED each joins the first that it fits, for there are too many ways. A batch whose profile is not known is in none.
    """
    inside = [b for b in batches if (stay := b.stay_at(b.not_before(at))) is not None and stay.machine == machine]
    left = [b for b in inside if b.profile in site.profiles]

    def fit(some: Sequence[Batch]) -> bool:
        needs = needs_of(site.machines[machine], some, site, at=at, settled=True)
        return len(some) == 1 or not needs.conflict

    found: list[list[Batch]] = []
    if len(left) > MOST_TRIED:
        for batch in left:
            joined = next((group for group in found if fit([*group, batch])), None)
            found.append([batch]) if joined is None else joined.append(batch)
        return tuple(tuple(b.id for b in group) for group in sorted(found, key=len, reverse=True))
    while left:
        group = next(list(some) for n in range(len(left), 0, -1) for some in combinations(left, n) if fit(some))
        found.append(group)
        left = [b for b in left if b not in group]
    return tuple(tuple(b.id for b in group) for group in found)
