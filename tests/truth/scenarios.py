"""What is drawn: a fault, the birds, the room, the cabinet, its probes and when it begins, all from one seed.

Seeds for tuning and seeds for the verdict come from disjoint ranges, so that a rule cannot have been fitted to what
judges it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from monitor.domain.needs.profile import Profile
from monitor.domain.readings.reading import Now
from monitor.rehearse.cabinet import HYSTERESIS, PROPORTIONAL, CabinetSpec, ProbeSpec
from monitor.rehearse.room import Happening
from tests.truth.faults import (
    DAY_S,
    FAULTS,
    HEN_DAYS,
    MACHINE_FAULT,
    SEASONS,
    SPECIES,
    Draw,
    Fault,
    Request,
    opened,
    probes_for,
    profiles,
)

TUNING, HELD_OUT = range(100_000), range(100_000, 1_000_000)
T0, MONO0_S = datetime(2026, 3, 1, 6, 0, tzinfo=UTC), 1000.0  # where both clocks stand when a story begins
NIGHT = (22, 7)  # hours of the clock
SIZES_L = (45.0, 60.0, 90.0, 150.0, 400.0)
INTERVALS_S = (10, 20, 30, 60)


@dataclass(frozen=True, slots=True)
class Scenario:
    """One story with its truth still to be lived: see `world.play`. Times in s from its beginning. failed: a probe that fails beside
    a sound one of its node, and when."""

    name: str
    seed: int
    fault: Fault
    profile: str
    day: float
    season: str
    room_c: float
    room_rh_pct: float
    interval_s: int
    cabinet: CabinetSpec
    kind: str
    probes: Mapping[str, ProbeSpec]
    other: bool
    onset_s: float
    until_s: float
    script: tuple[Happening, ...]
    requests: tuple[Request, ...]
    notes: str
    failed: tuple[str, float] | None = None
    tick_s: float = 5.0
    look_s: float = 15.0

    def __str__(self) -> str:
        eggs = f"{self.cabinet.eggs} x {self.cabinet.egg_mass_g:.0f} g"
        return (
            f"{self.name} #{self.seed}: {self.profile} day {self.day:.1f}, {self.cabinet.volume_l:.0f} l {self.cabinet.control},"
            f" {eggs}, {self.season}, every {self.interval_s} s, {len(self.probes)} probes{', ' + self.notes if self.notes else ''}"
        )


def by_night(at_s: float) -> bool:
    """Whether people sleep, so long after T0."""
    hour = (T0 + timedelta(seconds=at_s)).hour
    return hour >= NIGHT[0] or hour < NIGHT[1]


def now_at(at_s: float) -> Now:
    """Both clocks at a second of the story."""
    return Now(MONO0_S + at_s, T0 + timedelta(seconds=at_s))


def draw(name: str, seed: int, attempt: int = 0) -> Scenario:
    """The scenario of a fault and a seed. attempt: once more, where the machine could not keep its band in that room."""
    fault = FAULTS[name]
    rng = random.Random(f"{name}/{seed}/{attempt}")
    profile = profiles()[rng.choice(SPECIES)]
    season = rng.choice([*SEASONS])
    drawn = Draw(
        rng,
        profile,
        season,
        fault.lead_s + rng.uniform(0.0, 1200.0),
        rng.uniform(1.0, profile.lockdown_day - 1.0),
        probes_for(rng, fault.probes, one_node=fault.one_node),
        other=rng.random() < 0.3,
    )
    if fault.kind == MACHINE_FAULT and rng.random() < 0.5:  # someone looks in before
        at_s = rng.uniform(1200.0, drawn.onset_s - 1200.0)
        drawn.script += opened(at_s, rng.uniform(10.0, 60.0))
    fault.begin(drawn)
    room_c, rh_pct = SEASONS[drawn.season]
    room_c += rng.uniform(-1.5, 1.5)
    return Scenario(
        name,
        seed,
        fault,
        drawn.profile.id,
        drawn.day,
        drawn.season,
        room_c,
        rh_pct,
        rng.choice(INTERVALS_S),
        cabinet_for(rng, drawn.profile, drawn.day),
        drawn.kind,
        drawn.probes,
        drawn.other,
        drawn.onset_s,
        drawn.onset_s + fault.cap_s,
        tuple(drawn.script),
        tuple(drawn.requests),
        "; ".join(drawn.notes),
        failed=drawn.failed,
        tick_s=30.0 if fault.cap_s >= DAY_S else 5.0,
        look_s=30.0 if fault.cap_s >= DAY_S else 15.0,
    )


def cabinet_for(rng: random.Random, profile: Profile, day: float) -> CabinetSpec:
    """A cabinet with a sound load of that bird's eggs; its set points are trimmed later, as a breeder does."""
    low_g, high_g = profile.egg_mass_g or (28.0, 28.0)
    mass_g = rng.uniform(low_g, high_g)
    volume_l = rng.choice([v for v in SIZES_L if v >= min(90.0, mass_g / 5.0)])
    load_g = volume_l * math.exp(rng.uniform(math.log(2.0), math.log(35.0)))
    return CabinetSpec(
        volume_l,
        heater_w=volume_l * rng.uniform(0.6, 0.9),
        humidifier_g_h=0.6 * volume_l,
        dry_bulb_c=profile.stages[0].dry_bulb_c.target or 37.5,
        control=rng.choice((HYSTERESIS, PROPORTIONAL)),
        vent_per_h=rng.uniform(3.0, 6.0),
        eggs=max(2, round(load_g / mass_g)),
        egg_mass_g=mass_g,
        age_days=day * HEN_DAYS / profile.days,
        # An embryo costs about the same energy a gram, whether it has 17 days for it or 42: see domain/eggs/temperature.py.
        embryo_share=HEN_DAYS / profile.days,
    )
