"""The house of an archive, as format version 1 has it: the site, its machines, probes and rules, and the species' profile.

As in `adapters/kept`, these names belong to files that people keep and follow no name inside the program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import AwareDatetime

from monitor.adapters.archive.rules import ArchivedRule
from monitor.adapters.kept.rows import Rows
from monitor.adapters.kept.site import ArchivedMachine, ArchivedProbe, ArchivedProfile, KeptSite, Numbers
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Site, grouped
from monitor.domain.needs.then import SiteThen


@dataclass(frozen=True, slots=True)
class ProfileMember:
    """profile.json; sources: what each key in the profile's sources stands for."""

    profile: ArchivedProfile
    sources: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SiteMember:
    """site.json; own_rules: what of the rules is the site's own."""

    id: str
    zone: str
    unit: Literal["C", "F"]
    pressure_kpa: float
    settle_s: float
    wick_coefficient_per_k: float | None
    machines: Rows[ArchivedMachine]
    probes: Rows[ArchivedProbe]
    rules: Rows[ArchivedRule]
    own_rules: Numbers

    @classmethod
    def of(cls, site: Site) -> SiteMember:
        """A site as it is kept: without its profiles, which have a member of their own, contacts and link."""
        return cls(
            id=site.id,
            zone=str(site.zone),
            unit=site.unit,
            pressure_kpa=site.pressure_kpa,
            settle_s=site.settle_s,
            wick_coefficient_per_k=site.wick_coefficient_per_k,
            machines=tuple(map(ArchivedMachine.of, site.machines.values())),
            probes=tuple(map(ArchivedProbe.of, site.probes.values())),
            rules=tuple(map(ArchivedRule.of, site.rules.values())),
            own_rules=site.own_rules,
        )

    def back(self, profile: Profile) -> Site:
        """The site, with the one profile. Raises ValueError, OSError for one that cannot be."""
        probes = {each.key: each.back() for each in self.probes}
        return Site(
            id=self.id,
            zone=ZoneInfo(self.zone),
            unit=self.unit,
            pressure_kpa=self.pressure_kpa,
            machines={each.id: each.back() for each in self.machines},
            probes=probes,
            profiles={profile.id: profile},
            rules={each.id: each.back() for each in self.rules},
            settle_s=self.settle_s,
            wick_coefficient_per_k=self.wick_coefficient_per_k,
            by_machine=grouped(probes, "machine"),
            by_node=grouped(probes, "node"),
            own_rules=self.own_rules,
        )


@dataclass(frozen=True, slots=True)
class SiteSince:
    """One of sites.json: what looked at which machine, from then on; since: null of the first."""

    since: AwareDatetime | None
    site: KeptSite

    @classmethod
    def of(cls, then: SiteThen) -> SiteSince:
        """A site as it is kept."""
        return cls(since=then.since, site=KeptSite.of(then))

    def back(self) -> SiteThen:
        """The site. Raises ValueError for one that cannot be."""
        return self.site.back(self.since)
