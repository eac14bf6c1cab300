"""A site's machines and probes, and how a species is incubated, as archives and rows of the record have them.

These names and shapes are those of files that people keep, so they are said here once more and follow no name inside the program: what
is renamed there is mapped here. A field may be added, with a default for the files that lack it; none is renamed or dropped.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from functools import cache

from pydantic import SerializerFunctionWrapHandler, TypeAdapter, model_serializer

from monitor.adapters.kept.rows import Rows
from monitor.domain.needs.profile import Band, Profile, Stage
from monitor.domain.needs.site import Machine, Probe
from monitor.domain.needs.then import SiteThen

Number = int | float  # not float alone: a number that was given as 300 must not come back as 300.0
Numbers = Mapping[str, Mapping[str, str | Number | None]]  # a rule's own numbers, by its id and their name


@dataclass(frozen=True, slots=True)
class ArchivedBand:
    """The limits of one quantity, in its unit."""

    low_alarm: float | None = None
    low_warning: float | None = None
    target: float | None = None
    high_warning: float | None = None
    high_alarm: float | None = None

    @classmethod
    def of(cls, band: Band | None) -> ArchivedBand | None:
        """A band as it is kept."""
        if band is None:
            return None
        return cls(
            low_alarm=band.low_alarm,
            low_warning=band.low_warning,
            target=band.target,
            high_warning=band.high_warning,
            high_alarm=band.high_alarm,
        )

    def back(self) -> Band:
        """The band. Raises ValueError for one that cannot be."""
        return Band(
            low_alarm=self.low_alarm,
            low_warning=self.low_warning,
            target=self.target,
            high_warning=self.high_warning,
            high_alarm=self.high_alarm,
        )


@dataclass(frozen=True, slots=True)
class ArchivedStage:
    """A stretch of incubation with its bands."""

    name: str
    from_day: float
    dry_bulb_c: ArchivedBand
    rh_pct: ArchivedBand | None = None
    wet_bulb_c: ArchivedBand | None = None

    @classmethod
    def of(cls, stage: Stage) -> ArchivedStage:
        """A stage as it is kept."""
        dry_bulb_c = ArchivedBand.of(stage.dry_bulb_c)
        assert dry_bulb_c is not None
        return cls(
            name=stage.name,
            from_day=stage.from_day,
            dry_bulb_c=dry_bulb_c,
            rh_pct=ArchivedBand.of(stage.rh_pct),
            wet_bulb_c=ArchivedBand.of(stage.wet_bulb_c),
        )

    def back(self) -> Stage:
        """The stage. Raises ValueError for one that cannot be."""
        return Stage(
            name=self.name,
            from_day=self.from_day,
            dry_bulb_c=self.dry_bulb_c.back(),
            rh_pct=None if self.rh_pct is None else self.rh_pct.back(),
            wet_bulb_c=None if self.wet_bulb_c is None else self.wet_bulb_c.back(),
        )


_ADDED = ("target_loss_to", "kind", "lockdown_by", "lethal_heat", "unknown")  # to a profile since the first files


@dataclass(frozen=True, slots=True)
class ArchivedProfile:
    """How the species was incubated. Masses in g, losses in %, days of incubation.

    What was added since the first files is written only where it says something, so that a profile without it is kept as it was.
    """

    id: str
    name: str
    scientific_name: str
    days: float
    hatch_day_first: float
    hatch_day_last: float
    lockdown_day: float
    stages: Rows[ArchivedStage]
    still_air_offset_k: float | None = None
    egg_mass_g: tuple[float, float] | None = None
    target_loss_pct: tuple[float, float] | None = None
    target_loss_to: float | str = "internal pip"
    kind: str | None = None
    lockdown_by: str = "calendar"
    lethal_heat: tuple[float, float] | None = None
    notes: Rows[str] = ()
    unknown: Rows[str] = ()
    rules: Numbers = field(default_factory=dict)
    sources: Mapping[str, str] = field(default_factory=dict)

    @model_serializer(mode="wrap")
    def _said(self, write: SerializerFunctionWrapHandler) -> dict[str, object]:
        unsaid = {
            each.name for each in fields(self) if each.name in _ADDED and getattr(self, each.name) == each.default
        }
        return {name: value for name, value in write(self).items() if name not in unsaid}

    @classmethod
    def of(cls, profile: Profile) -> ArchivedProfile:
        """A profile as it is kept."""
        return cls(
            id=profile.id,
            name=profile.name,
            scientific_name=profile.scientific_name,
            days=profile.days,
            hatch_day_first=profile.hatch_day_first,
            hatch_day_last=profile.hatch_day_last,
            lockdown_day=profile.lockdown_day,
            stages=tuple(map(ArchivedStage.of, profile.stages)),
            still_air_offset_k=profile.still_air_offset_k,
            egg_mass_g=profile.egg_mass_g,
            target_loss_pct=profile.target_loss_pct,
            target_loss_to=profile.target_loss_to,
            kind=profile.kind,
            lockdown_by=profile.lockdown_by,
            lethal_heat=profile.lethal_heat,
            notes=profile.notes,
            unknown=profile.unknown,
            rules=profile.rules,
            sources=profile.sources,
        )

    def back(self) -> Profile:
        """The profile. Raises ValueError for one that cannot be."""
        return Profile(
            id=self.id,
            name=self.name,
            scientific_name=self.scientific_name,
            days=self.days,
            hatch_day_first=self.hatch_day_first,
            hatch_day_last=self.hatch_day_last,
            lockdown_day=self.lockdown_day,
            stages=tuple(stage.back() for stage in self.stages),
            still_air_offset_k=self.still_air_offset_k,
            egg_mass_g=self.egg_mass_g,
            target_loss_pct=self.target_loss_pct,
            target_loss_to=self.target_loss_to,
            kind=self.kind,
            lockdown_by=self.lockdown_by,
            lethal_heat=self.lethal_heat,
            notes=self.notes,
            unknown=self.unknown,
            rules=self.rules,
            sources=self.sources,
        )


@dataclass(frozen=True, slots=True)
class ArchivedMachine:
    """A machine that the batch was in."""

    id: str
    name: str
    kind: str = "setter"
    air: str = "forced"
    rules: Numbers = field(default_factory=dict)

    @classmethod
    def of(cls, machine: Machine) -> ArchivedMachine:
        """A machine as it is kept."""
        return cls(id=machine.id, name=machine.name, kind=machine.kind, air=machine.air, rules=machine.rules)

    def back(self) -> Machine:
        """The machine."""
        return Machine(id=self.id, name=self.name, kind=self.kind, air=self.air, rules=self.rules)


@dataclass(frozen=True, slots=True)
class ArchivedProbe:
    """A probe of these machines; key is `<node>/<probe>`."""

    key: str
    machine: str
    interval_s: float = 10.0
    position: str = ""

    @classmethod
    def of(cls, probe: Probe) -> ArchivedProbe:
        """A probe as it is kept."""
        return cls(key=probe.key, machine=probe.machine, interval_s=probe.interval_s, position=probe.position)

    def back(self) -> Probe:
        """The probe."""
        return Probe(key=self.key, machine=self.machine, interval_s=self.interval_s, position=self.position)


@dataclass(frozen=True, slots=True)
class KeptSite:
    """What looked at which machine, and how the species were incubated whose eggs were in them."""

    zone: str
    pressure_kpa: float
    machines: tuple[ArchivedMachine, ...]
    probes: tuple[ArchivedProbe, ...]
    profiles: tuple[ArchivedProfile, ...]

    @classmethod
    def of(cls, then: SiteThen) -> KeptSite:
        """A site as it is kept."""
        return cls(
            zone=then.zone,
            pressure_kpa=then.pressure_kpa,
            machines=tuple(map(ArchivedMachine.of, then.machines.values())),
            probes=tuple(map(ArchivedProbe.of, then.probes.values())),
            profiles=tuple(map(ArchivedProfile.of, then.profiles.values())),
        )

    def back(self, since: datetime | None) -> SiteThen:
        """The site. Raises ValueError for one that cannot be."""
        return SiteThen(
            since=since,
            zone=self.zone,
            pressure_kpa=self.pressure_kpa,
            machines={each.id: each.back() for each in self.machines},
            probes={each.key: each.back() for each in self.probes},
            profiles={each.id: each.back() for each in self.profiles},
        )


@cache
def _form() -> TypeAdapter[KeptSite]:
    return TypeAdapter(KeptSite)


def site_text(then: SiteThen) -> str:
    """A site as a row has it: JSON, without the instant, which has a column of its own."""
    return json.dumps(_form().dump_python(KeptSite.of(then), mode="json"), ensure_ascii=False, allow_nan=False)


def site_of_text(text: str, since: datetime | None) -> SiteThen:
    """What `site_text` was given. Raises ValueError for what is not its form."""
    return _form().validate_json(text).back(since)
