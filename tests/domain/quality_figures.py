"""How well the tests of a reading find faults, and how seldom they see one where there is none, on the cabinet model.

`python -m tests.domain.quality_figures` prints the figures; the tests assert a short form of them. Everything is drawn from fixed
seeds. A recording is a list of (s, °C, %RH) of one probe; a fault is put into a copy of it, so that the truth is known.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from monitor.domain.psychrometrics import vapour_kpa
from monitor.domain.quality import Trail, assess
from monitor.domain.reading import FAIL, SUSPECT
from monitor.simulation.cabinet import PROPORTIONAL, Air, Cabinet, CabinetSpec, Probe, ProbeSpec

SMALL = CabinetSpec(45.0, heater_w=30.0, humidifier_g_h=25.0, eggs=12, age_days=4.0)  # hysteresis
LARGE = CabinetSpec(400.0, heater_w=400.0, humidifier_g_h=250.0, control=PROPORTIONAL, eggs=300, age_days=4.0)
HOUR_S, DAY_S, WEEK_S = 3600, 86_400, 604_800
FINEST_S = 10  # recordings are made so often, and thinned for longer intervals
INTERVALS_S = (10, 20, 30, 60)
OPENINGS_S = (10, 20, 30, 60, 120, 300)

Reading = tuple[float, float, float | None]
Recording = list[Reading]


def room_air(at_s: float) -> Air:
    """A room between 16 and 24 °C over the day."""
    dry_bulb_c = 20.0 + 4.0 * math.sin(2.0 * math.pi * at_s / DAY_S)
    return Air(dry_bulb_c, vapour_kpa(20.0, 50.0))


def openings(rng: random.Random, hours: float, a_day: float) -> list[tuple[int, int]]:
    """(opened, shut) in seconds, at odd times, of 10 s to 5 min, none within 2 min of another."""
    result: list[tuple[int, int]] = []
    at_s = 0.0
    while a_day > 0:
        at_s += 120.0 + rng.expovariate(a_day / DAY_S)
        lasts_s = rng.choice(OPENINGS_S)
        if at_s + lasts_s > hours * HOUR_S:
            break
        result.append((int(at_s), int(at_s) + lasts_s))
        at_s += lasts_s
    return result


def record(
    spec: CabinetSpec,
    probes: Sequence[ProbeSpec],
    hours: float,
    *,
    seed: int = 1,
    openings_a_day: float = 20.0,
    doors: Iterable[tuple[int, int]] | None = None,
) -> list[Recording]:
    """What each probe of one cabinet says every 10 s, once the machine has run in."""
    rng = random.Random(seed)
    made = tuple(Probe(p, random.Random(f"{seed}/{i}")) for i, p in enumerate(probes))
    cabinet = Cabinet(spec, made)
    cabinet.step(6.0 * HOUR_S, room_air(0.0))
    moves: dict[int, bool] = {}
    for opened, shut in openings(rng, hours, openings_a_day) if doors is None else doors:
        moves[opened], moves[shut] = True, False
    result: list[Recording] = [[] for _ in probes]
    for at_s in range(0, int(hours * HOUR_S), FINEST_S):
        room = room_air(at_s)
        done_s = at_s
        for second in range(at_s, at_s + FINEST_S):
            if second in moves:
                cabinet.step(second - done_s, room)
                done_s = second
                cabinet.door_open = moves[second]
        cabinet.step(at_s + FINEST_S - done_s, room)
        for recording, probe in zip(result, made, strict=True):
            reading = probe.read()
            assert reading is not None
            recording.append((float(at_s + FINEST_S), *reading))
    return result


def thinned(recording: Recording, interval_s: int, first: int = 0) -> Recording:
    """The readings of a probe that speaks less often."""
    return recording[first :: interval_s // FINEST_S]


@dataclass
class Flags:
    """The final flag of each reading, and its tests; held: which readings waited."""

    flags: list[int] = field(default_factory=list)
    tests: list[tuple[tuple[str, int], ...]] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    trail: Trail = field(default_factory=Trail)

    def named(self, prefix: str) -> int:
        """How many readings a test had something against."""
        return sum(any(name.startswith(prefix) and flag >= SUSPECT for name, flag in tests) for tests in self.tests)

    @property
    def false(self) -> int:
        """Readings with a fault flag."""
        return sum(flag in (SUSPECT, FAIL) for flag in self.flags)


def flags_of(recording: Recording, interval_s: float, trail: Trail | None = None) -> Flags:
    """Every reading assessed in its turn; a held one gets the flag that the next one gave it."""
    result = Flags(trail=Trail() if trail is None else trail)
    waiting = None
    for at_s, dry_bulb_c, rh_pct in recording:
        found = assess(result.trail, at_s, dry_bulb_c, rh_pct, interval_s=interval_s)
        if found.before is not None and waiting is not None:
            result.flags[waiting] = found.before
            if found.before == FAIL:
                result.tests[waiting] = (*result.tests[waiting], ("SPK", FAIL))
        result.trail = found.trail
        result.flags.append(found.flag)
        result.tests.append(found.tests)
        result.held.append(found.held)
        waiting = len(result.flags) - 1 if found.held else None
    return result


def with_spike(recording: Recording, at: int, k: float) -> Recording:
    """One reading off by k."""
    at_s, dry_bulb_c, rh_pct = recording[at]
    return [*recording[:at], (at_s, dry_bulb_c + k, rh_pct), *recording[at + 1 :]]
