"""What looks at which machine, written down where it is no longer as it was: a start reads a configuration that somebody may have changed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from monitor.domain.needs.site import Site
from monitor.domain.needs.then import SiteThen, holds, site_then
from monitor.domain.readings.reading import from_ms
from monitor.domain.state.happened import Arranged, Change
from monitor.domain.state.known import Look
from monitor.domain.state.record import Event


def keep_site(look: Look) -> None:
    """Write it down, and say what changed, once in a run and with each profile that comes to the open batches. Not under a clock that nobody set.

    A change is of the run's begin: when it really was, in the time before, nobody knows.
    """
    state, now = look.state, look.now
    profiles = frozenset(batch.profile for batch in state.batches.values() if batch.closed_at is None)
    if not now.clock_ok or profiles == state.site_kept_of:
        return
    first, known = state.site_kept_of is None, state.site_kept
    state.site_kept_of = profiles
    begun = from_ms(round(state.anchor_ms + state.started_mono_s * 1000.0))
    then = site_then(look.site, profiles, None if known is None else begun if first else now.utc)
    if known is not None and holds(known, then):
        return
    state.site_kept = then
    look.out.sites.append(then)
    if known is None and not state.had_record:
        return  # a record that begins has nothing to say of before
    changes = () if known is None else tuple(changes_of(known, then))
    if changes or known is None:
        look.out.events.append(Event(now.utc, "site", "site", what=Arranged(changes)))


def keep_change(look: Look, site: Site, since: datetime) -> None:
    """Write down, and say, that the site is as `site` has it since then, which is not before what was written last (see `keep_site`)."""
    state = look.state
    known = state.site_kept
    assert known is not None
    assert state.site_kept_of is not None
    then = site_then(site, state.site_kept_of, since)
    if holds(known, then):
        return
    state.site_kept = then
    look.out.sites.append(then)
    if changes := tuple(changes_of(known, then)):
        look.out.events.append(Event(look.now.utc, "site", "site", what=Arranged(changes)))


def changes_of(known: SiteThen, new: SiteThen) -> Iterator[Change]:
    """What is otherwise: machines, probes, the house. A profile that came with a batch is none, one that was changed is."""
    for id_, machine in new.machines.items():
        old = known.machines.get(id_)
        if old is None:
            yield Change("machine", id_, "", machine.kind)
            continue
        yield from _changed(Change("kind", id_, old.kind, machine.kind))
        yield from _changed(Change("air", id_, old.air, machine.air))
    yield from (Change("machine", id_, old.kind, "") for id_, old in known.machines.items() if id_ not in new.machines)
    for key, probe in new.probes.items():
        before = known.probes.get(key)
        yield from _changed(Change("probe", key, "" if before is None else before.machine, probe.machine))
        if before is not None:
            yield from _changed(Change("interval_s", key, f"{before.interval_s:g}", f"{probe.interval_s:g}"))
            yield from _changed(Change("position", key, before.position, probe.position))
    yield from (Change("probe", key, old.machine, "") for key, old in known.probes.items() if key not in new.probes)
    yield from _changed(Change("pressure_kpa", "", f"{known.pressure_kpa:.2f}", f"{new.pressure_kpa:.2f}"))
    yield from _changed(Change("zone", "", known.zone, new.zone))
    for id_, profile in new.profiles.items():
        if id_ in known.profiles and known.profiles[id_] != profile:
            yield Change("profile", id_, "", "")


def _changed(change: Change) -> Iterator[Change]:
    if change.was != change.now:
        yield change
