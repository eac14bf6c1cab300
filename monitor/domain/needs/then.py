"""What looked at which machine, and how its eggs were to be incubated, as it was then.

A batch's figures rest on it: whose probe it was, how often it spoke, what the machine's air is, how high the house lies, and what the
species' profile said. It is written down when it changes, so that a configuration of today changes nothing of what is past.
"""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Collection, Container, Iterator, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Machine, Probe, Site, grouped

Span = tuple[datetime, datetime]  # from, until


@fixed
class SiteThen:
    """The site from `since` on, until the next one.

    since: None of the first that was written down, which is taken for all that was before. machines: without their own rules. profiles:
    of the batches that were open.
    """

    since: datetime | None
    zone: str
    pressure_kpa: float
    machines: Mapping[str, Machine]
    probes: Mapping[str, Probe]
    profiles: Mapping[str, Profile]


def site_then(site: Site, profiles: Collection[str], since: datetime | None) -> SiteThen:
    """What of the site is written down. profiles: of the batches that are open; one that the site does not know is left out."""
    return SiteThen(
        since=since,
        zone=str(site.zone),
        pressure_kpa=site.pressure_kpa,
        machines={id_: replace(machine, rules={}) for id_, machine in site.machines.items()},
        probes=site.probes,
        profiles={id_: site.profiles[id_] for id_ in sorted(profiles) if id_ in site.profiles},
    )


def holds(known: SiteThen, new: SiteThen) -> bool:
    """Whether what is written down is still so: a profile of which no batch is open any more may stand there."""
    profiles = {id_: profile for id_, profile in known.profiles.items() if id_ in new.profiles}
    return replace(known, since=new.since, profiles=profiles) == new


@fixed
class Sites:
    """The site at each moment. then: what was written down, in order; now: of which the rest is, and all where nothing is written down."""

    now: Site
    then: tuple[SiteThen, ...] = ()

    def at(self, at: datetime, profile: str = "") -> Site:
        """The site as it was at that instant, with the profile as it was then, or, where it was not yet written down, as it first was."""
        known = self._known(at)
        return self.now if known is None else self._site(known, profile, at)

    def spans(self, machine: str, profile: str, span: Span) -> Iterator[tuple[datetime, datetime, Site]]:
        """(from, until, the site then) without a hole, cut where what looked at the machine, its air, the profile or the air pressure changed."""
        since, until = span
        begun, here = since, self.at(since, profile)
        for change in self.then:
            if change.since is None or not begun < change.since < until:
                continue
            there = self.at(change.since, profile)
            if _of_machine(there, machine, profile) != _of_machine(here, machine, profile):
                yield begun, change.since, here
                begun, here = change.since, there
        if begun < until:
            yield begun, until, here

    def reach(self, probe: Probe, span: Span, margin: timedelta) -> Span:
        """That time and so much beyond both its ends, as far as the probe looked at its machine: what it said elsewhere is of another air."""
        since, until = span
        low, high = since - margin, until + margin
        for before, after in pairwise(self.then):
            if after.since is None or not low < after.since < high:
                continue
            if after.since <= since and not _looks(before, probe):
                low = after.since
            if after.since >= until and not _looks(after, probe):
                high = after.since
        return low, high

    def looked_at(self, since: datetime, until: datetime, *, beside: Container[str]) -> dict[str, str]:
        """By probe: the machine that it looked at last in that time, as it was written down; without those beside."""
        found: dict[str, str] = {}
        known = self._known(since)
        for then in () if known is None else (known, *self.then):
            if then is known or (then.since is not None and since < then.since < until):
                found |= {key: probe.machine for key, probe in then.probes.items() if key not in beside}
        return found

    def _known(self, at: datetime) -> SiteThen | None:
        found = [then for then in self.then if then.since is None or then.since <= at]
        return found[-1] if found else self.then[0] if self.then else None

    def _site(self, known: SiteThen, profile: str, at: datetime) -> Site:
        said = self._profile(profile, at)
        profiles = self.now.profiles if said is None else ChainMap({profile: said}, self.now.profiles)  # type: ignore[arg-type]  # which only reads it
        return replace(
            self.now,
            pressure_kpa=known.pressure_kpa,
            machines={id_: replace(machine, rules=self._rules_of(id_)) for id_, machine in known.machines.items()},
            probes=known.probes,
            by_machine=grouped(known.probes, "machine"),
            by_node=grouped(known.probes, "node"),
            profiles=profiles,
        )

    def _rules_of(self, machine: str) -> Mapping[str, Mapping[str, object]]:
        """A machine's own numbers are those of now: only what is judged now asks for them."""
        return self.now.machines[machine].rules if machine in self.now.machines else {}

    def _profile(self, profile: str, at: datetime) -> Profile | None:
        """The last that was written down until then, or the first that ever was."""
        said = [(then.since, then.profiles[profile]) for then in self.then if profile in then.profiles]
        before = [each for since, each in said if since is None or since <= at]
        return before[-1] if before else said[0][1] if said else None


def _looks(then: SiteThen, probe: Probe) -> bool:
    return probe.key in then.probes and then.probes[probe.key].machine == probe.machine


def _of_machine(site: Site, machine: str, profile: str) -> tuple[object, ...]:
    known = site.machines.get(machine)
    return (
        None if known is None else (known.kind, known.air),
        site.by_machine.get(machine, ()),
        site.pressure_kpa,
        site.profiles.get(profile),
    )
