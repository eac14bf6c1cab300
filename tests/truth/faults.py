"""The faults: what each does to a room, how long it is followed, and what has to be told of it.

Kinds of fault:

    machine   of a cabinet or the room: a danger when the true egg passes a published limit, else judged by the true air
    plan      of what is asked for: mixed batches, a lockdown that nobody prepared
    sensor    of a probe or node: one of `wanted` must be told within `allowed_s`
    spike     of one reading: it must be flagged, and nobody woken
    quiet     nothing is wrong: nobody may be woken
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.needs.profile import Profile
from monitor.rehearse.cabinet import ProbeSpec
from monitor.rehearse.room import Happening

MACHINE, OTHER = "m-1", "m-2"
TOP, LOW, THIRD, OTHER_PROBE = "node-a/top", "node-b/low", "node-c/mid", "node-z/top"
SECOND = "node-a/low"  # of a node with two probes, whose values come in one message
MACHINE_FAULT, PLAN, SENSOR, SPIKE, QUIET = "machine", "plan", "sensor", "spike", "quiet"
MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86_400.0
HEN_DAYS = 21.0  # the cabinet model counts age by the hen's term


SPECIES = (
    "chicken", "japanese-quail", "budgerigar", "cockatiel", "african-grey", "peregrine-falcon", "pheasant",
    "pekin-duck", "goose", "muscovy-duck", "ostrich",
)  # fmt: skip
# Pairs that no temperature suits: the warnings of one end where those of the other begin.
APART = (("chicken", "ostrich"), ("pekin-duck", "ostrich"), ("pheasant", "emu"), ("japanese-quail", "rhea"))
SEASONS = {"winter": (15.5, 45.0), "spring": (20.5, 50.0), "summer": (26.5, 45.0)}  # room: °C, %RH
# In place of a temperature: datasheets, see quality_figures.
CHIPS_SAY_C = (85.0, 127.94, -46.85, 130.0, -127.0, 0.0, -45.0)

Request = tuple[float, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of fault and how it is scored. cap_s: how long after its onset the truth is followed at the most.

    wanted: rules of which one must be told, when no danger decides. allowed_s: how soon, from the onset, or from when
    the true air has left its band. gradual: it comes so slowly that time counts from when the air has left its band.
    one_node: its two probes hang on one node.
    """

    kind: str
    lead_s: float
    cap_s: float
    begin: Callable[[Draw], None]
    wanted: tuple[str, ...] = ()
    allowed_s: float = HOUR_S
    gradual: bool = False
    probes: int = 1
    one_node: bool = False
    full: int = 25
    quick: int = 1


@dataclass(slots=True)
class Draw:
    """A scenario while it is drawn: chance, and what the fault writes into it. failed: the probe of two that fails, and when."""

    rng: random.Random
    profile: Profile
    season: str
    onset_s: float
    day: float
    probes: dict[str, ProbeSpec]
    script: list[Happening] = field(default_factory=list)
    requests: list[Request] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    other: bool = False
    kind: str = "setter"
    failed: tuple[str, float] | None = None

    def happen(self, action: str, after_s: float = 0.0, **args: Any) -> None:
        """Something in the room, after the onset."""
        self.script.append((self.onset_s + after_s, action, args))

    def note(self, text: str) -> None:
        """A word on what was drawn, for whoever looks at a miss."""
        self.notes.append(text)


@cache
def profiles() -> Mapping[str, Profile]:
    """Those shipped."""
    return load_profiles()


def opened(at_s: float, for_s: float) -> list[Happening]:
    """The door opened and shut again."""
    return [(at_s, "door_open", {"machine": MACHINE}), (at_s + for_s, "door_close", {"machine": MACHINE})]


def probes_for(rng: random.Random, count: int, *, one_node: bool = False) -> dict[str, ProbeSpec]:
    """Chips with a fine step and their own noise, lag and small error, as after a calibration."""
    made = {}
    keys = (TOP, SECOND) if one_node else (TOP, LOW, THIRD)[:count]
    for key, height in zip(keys, (0.5, -0.5, 0.0), strict=False):
        made[key] = ProbeSpec(
            height=height,
            offset_k=rng.gauss(0.0, 0.04),
            rh_offset_pct=rng.gauss(0.0, 0.4),
            lag_s=rng.uniform(8.0, 40.0),
            noise_k=rng.uniform(0.01, 0.03),
        )
    return made


def _sign(draw_: Draw) -> float:
    return draw_.rng.choice((-1.0, 1.0))


def _simply(action: str) -> Callable[[Draw], None]:
    return lambda d: d.happen(action, machine=MACHINE)


def _fan_dead(d: Draw) -> None:
    d.probes = {k: _placed(p, height=h) for (k, p), h in zip(d.probes.items(), (0.7, -0.7), strict=True)}
    d.happen("fan_dead", machine=MACHINE)


def _placed(probe: ProbeSpec, **place: float) -> ProbeSpec:
    return replace(probe, **place)  # type: ignore[arg-type]


def _thermostat_drift(d: Draw) -> None:
    k_h = _sign(d) * d.rng.uniform(0.3, 1.5)
    d.note(f"{k_h:+.2f} K/h")
    d.happen("thermostat_drift", machine=MACHINE, k_h=k_h)


def _turner_jam(d: Draw) -> None:
    k = d.rng.uniform(2.0, 5.0)
    sides = (0.7, -0.7) if d.rng.random() < 0.5 else (-0.7, 0.7)
    d.probes = {key: _placed(p, height=0.0, side=s) for (key, p), s in zip(d.probes.items(), sides, strict=True)}
    d.note(f"{k:.1f} K")
    d.happen("side_warm", machine=MACHINE, k=k)


def _brown_out(d: Draw) -> None:
    d.season = "winter"
    share = d.rng.uniform(0.4, 0.65)
    d.note(f"{100 * share:.0f} % of the volts")
    d.happen("brown_out", machine=MACHINE, share=share)


def _heat_wave(d: Draw) -> None:
    to_c, over_s = d.rng.uniform(37.5, 42.0), d.rng.uniform(1.5, 4.0) * HOUR_S
    d.season = "summer"
    d.note(f"room to {to_c:.1f} °C in {over_s / HOUR_S:.1f} h")
    d.happen("room_temperature", dry_bulb_c=to_c, over_s=over_s)


def _power_cut(d: Draw) -> None:
    d.other = True
    if d.rng.random() < 0.3:
        d.note("only the machine is without power")
        d.happen("machine_off", machine=MACHINE)
    else:
        d.happen("power_cut")


def _candling(d: Draw) -> None:
    first_s = 1800.0
    each_s = (14.0 * HOUR_S - first_s) / 20.0
    d.onset_s = 0.0
    for i in range(20):
        at_s = first_s + (i + 0.5 * d.rng.random()) * each_s
        d.script += opened(at_s, d.rng.uniform(10.0, 120.0))


def _stuck(d: Draw) -> None:
    d.happen("probe_stuck", probe=d.rng.choice([*d.probes]))


def _drift(d: Draw) -> None:
    if d.rng.random() < 0.4:
        d.probes = probes_for(d.rng, 3)
    bad, k_day = d.rng.choice([*d.probes]), 0.5 * _sign(d)
    d.note(f"{bad} {k_day:+.1f} K a day")
    d.happen("probe_drift", probe=bad, k_h=k_day / 24.0)


def _spike(d: Draw) -> None:
    k = _sign(d) * d.rng.choice((1.0, 2.0, 5.0, 20.0))
    d.note(f"{k:+.0f} K")
    d.happen("probe_spike", probe=TOP, k=k)


def _noise(d: Draw) -> None:
    d.happen("probe_noise", probe=TOP, times=2.0)


def _says(d: Draw) -> None:
    value = d.rng.choice(CHIPS_SAY_C)
    d.note(f"{value:g} °C")
    d.happen("probe_says", probe=TOP, dry_bulb_c=value)


def _apart(d: Draw) -> None:
    if d.rng.random() < 0.4:
        d.probes = probes_for(d.rng, 3)
    bad, k = d.rng.choice([*d.probes]), _sign(d) * d.rng.uniform(0.8, 2.0)
    d.note(f"{bad} {k:+.1f} K")
    d.happen("probe_off", probe=bad, k=k)


def _node_silent(d: Draw) -> None:
    d.other = True
    d.happen("node_silent", node="node-a")


def _wrong_lockdown(d: Draw) -> None:
    wet = [id_ for id_ in SPECIES if _raised(profiles()[id_])]
    d.profile = profiles()[d.rng.choice(wet)]
    d.kind = d.rng.choice(("setter", "hatcher"))
    d.day = d.profile.lockdown_day - d.onset_s / DAY_S
    d.other = False
    if (
        d.profile.lockdown_sign is not None
    ):  # no day begins it: somebody has seen the sign, in a setter, for in a hatcher it has begun
        d.kind = "setter"
        d.requests.append((d.onset_s, {"do": "stage", "batch": "first", "stage": "lockdown"}))


def _raised(profile: Profile) -> bool:
    """Whether its lockdown asks for moister air than any that its setter stage is content with."""
    setter, lockdown = profile.stages[0], profile.stages[1]
    for before, after in ((setter.rh_pct, lockdown.rh_pct), (setter.wet_bulb_c, lockdown.wet_bulb_c)):
        if (
            before is not None
            and after is not None
            and before.high_warning is not None
            and after.low_warning is not None
        ):
            return after.low_warning > before.high_warning
    return False


def _mixed(d: Draw) -> None:
    first, second = d.rng.choice(APART)
    d.profile = profiles()[first]
    d.day = d.rng.uniform(1.0, d.profile.lockdown_day - 1.0)
    d.note(f"{second} joins")
    d.requests.append((d.onset_s, {"do": "batch-add", "batch": "second", "profile": second, "day": 3.0, "eggs": 2}))


def _one_fails(d: Draw, after_s: float = 0.0, *, ways: tuple[str, ...] = ("says", "silent")) -> None:
    """One of the two probes of a node fails; the other goes on in the same messages."""
    probe, way = d.rng.choice([*d.probes]), d.rng.choice(ways)
    d.failed = (probe, d.onset_s + after_s)
    d.note(f"{probe} {way}")
    if way == "says":
        d.happen("probe_says", after_s, probe=probe, dry_bulb_c=d.rng.choice(CHIPS_SAY_C))
    else:
        d.happen(f"probe_{way}", after_s, probe=probe)


def _beside_a_failed_one(action: str) -> Callable[[Draw], None]:
    def begin(d: Draw) -> None:
        _one_fails(d, -d.rng.uniform(0.0, 1500.0), ways=("says", "silent", "stuck"))
        d.happen(action, machine=MACHINE)

    return begin


def _month(d: Draw, days: int = 30) -> None:
    """Days of rooms that warm and cool, 20 openings between 8 and 22 h, and new eggs before each lockdown."""
    d.onset_s, d.other = 0.0, False
    d.day = 0.3
    room_c = SEASONS[d.season][0]
    for k in range(days * 12):
        at_s = (k + 0.5) * 2.0 * HOUR_S
        to_c = room_c + 2.0 * math.sin(2.0 * math.pi * (at_s / DAY_S - 0.1))
        d.script.append((at_s, "room_temperature", {"dry_bulb_c": to_c, "over_s": 2.0 * HOUR_S}))
    each_s = 14.0 * HOUR_S / 20.0
    for day in range(days):
        for i in range(20):
            at_s = day * DAY_S + 2.0 * HOUR_S + (i + 0.4 * d.rng.random()) * each_s  # the story begins at 6 h
            d.script += opened(at_s, d.rng.uniform(10.0, 120.0))
    at_s, n = 0.0, 0
    while (at_s := at_s + (d.profile.lockdown_day - 0.8) * DAY_S) < days * DAY_S:
        n += 1
        d.script.append((at_s, "new_eggs", {"machine": MACHINE, "age_days": 0.3 * HEN_DAYS / d.profile.days}))
        d.requests.append((at_s, {"do": "close", "batch": "first" if n == 1 else f"batch-{n - 1}"}))
        d.requests.append(
            (at_s, {"do": "batch-add", "batch": f"batch-{n}", "profile": d.profile.id, "day": 0.3, "eggs": 10})
        )


SENSOR_RULES = ("sensor-failed", "sensor-suspect", "no-data", "no-humidity", "node-offline", "all-silent")
PAIR_RULES = ("probes-disagree", "sensor-drift", "sensor-failed", "sensor-suspect")
LOCKDOWN_RULES = ("humidity-not-raised", "lockdown-overdue")
_LEAD_S = 0.75 * HOUR_S
# A node with two probes: both sound, and one that fails beside one that does not.
HOT_BESIDE, COLD_BESIDE = "heater stuck on beside a failed probe", "heater dead beside a failed probe"
ONE_FAILED, ONE_STUCK = "one of two probes failed", "one of two probes stuck"
TWO_WEEK, TWO_CANDLING = "clean week with two probes", "candling with two probes"

FAULTS: dict[str, Fault] = {
    "heater stuck on": Fault(MACHINE_FAULT, _LEAD_S, 5 * HOUR_S, _simply("heater_stuck_on"), full=50, quick=4),
    "heater dead": Fault(MACHINE_FAULT, _LEAD_S, 10 * HOUR_S, _simply("heater_dead"), full=40, quick=3),
    "fan dead": Fault(MACHINE_FAULT, _LEAD_S, 6 * HOUR_S, _fan_dead, probes=2, full=25, quick=1),
    "thermostat drift": Fault(MACHINE_FAULT, _LEAD_S, 18 * HOUR_S, _thermostat_drift, gradual=True, full=30, quick=2),
    "humidifier dry": Fault(MACHINE_FAULT, _LEAD_S, 6 * HOUR_S, _simply("water_dry"), full=25, quick=2),
    "water overfilled": Fault(MACHINE_FAULT, _LEAD_S, 6 * HOUR_S, _simply("water_overfilled"), full=20, quick=1),
    "door left open": Fault(MACHINE_FAULT, _LEAD_S, 8 * HOUR_S, _simply("door_open"), full=30, quick=2),
    "turner jam": Fault(MACHINE_FAULT, _LEAD_S, 6 * HOUR_S, _turner_jam, probes=2, full=25, quick=2),
    "power cut": Fault(MACHINE_FAULT, _LEAD_S, 10 * HOUR_S, _power_cut, full=30, quick=2),
    "brown-out": Fault(MACHINE_FAULT, _LEAD_S, 14 * HOUR_S, _brown_out, full=25, quick=1),
    "room heat wave": Fault(MACHINE_FAULT, _LEAD_S, 12 * HOUR_S, _heat_wave, gradual=True, full=30, quick=2),
    "wrong lockdown": Fault(PLAN, _LEAD_S, 3 * HOUR_S, _wrong_lockdown, LOCKDOWN_RULES, 1.5 * HOUR_S, full=20, quick=1),
    "mixed batches": Fault(PLAN, _LEAD_S, 0.25 * HOUR_S, _mixed, ("bands-in-conflict",), MINUTE_S, full=15, quick=1),
    "candling 20 times a day": Fault(QUIET, _LEAD_S, DAY_S, _candling, full=20, quick=1),
    "clean month": Fault(QUIET, _LEAD_S, 30 * DAY_S, _month, full=8, quick=0),
    "probe noise doubled": Fault(QUIET, 3 * HOUR_S, 3 * HOUR_S, _noise, full=15, quick=1),
    "probe stuck": Fault(SENSOR, 2.5 * HOUR_S, 1.5 * HOUR_S, _stuck, SENSOR_RULES, 1.5 * HOUR_S, full=40, quick=3),
    "probe silent": Fault(
        SENSOR, _LEAD_S, 0.5 * HOUR_S,
        lambda d: d.happen("probe_silent", probe=TOP), SENSOR_RULES, 600.0, full=30, quick=2,
    ),
    "probe out of range": Fault(SENSOR, _LEAD_S, 0.5 * HOUR_S, _says, SENSOR_RULES, 600.0, full=30, quick=2),
    "probe spike": Fault(SPIKE, 2 * HOUR_S, 0.25 * HOUR_S, _spike, full=40, quick=3),
    "two probes apart": Fault(SENSOR, 1.5 * HOUR_S, HOUR_S, _apart, PAIR_RULES, HOUR_S, probes=2, full=40, quick=3),
    "probe drifting": Fault(SENSOR, DAY_S, DAY_S, _drift, PAIR_RULES, DAY_S, probes=2, full=30, quick=1),
    HOT_BESIDE: Fault(
        MACHINE_FAULT, _LEAD_S, 5 * HOUR_S, _beside_a_failed_one("heater_stuck_on"),
        probes=2, one_node=True, full=25, quick=2,
    ),
    COLD_BESIDE: Fault(
        MACHINE_FAULT, _LEAD_S, 10 * HOUR_S, _beside_a_failed_one("heater_dead"),
        probes=2, one_node=True, full=20, quick=1,
    ),
    ONE_FAILED: Fault(
        SENSOR, _LEAD_S, 1.5 * HOUR_S, _one_fails, SENSOR_RULES, 600.0, probes=2, one_node=True, full=30, quick=2,
    ),
    ONE_STUCK: Fault(
        SENSOR, 2.5 * HOUR_S, 1.5 * HOUR_S, lambda d: _one_fails(d, ways=("stuck",)),
        (*SENSOR_RULES, *PAIR_RULES), 1.5 * HOUR_S, probes=2, one_node=True, full=30, quick=1,
    ),
    TWO_CANDLING: Fault(QUIET, _LEAD_S, DAY_S, _candling, probes=2, one_node=True, full=10, quick=1),
    TWO_WEEK: Fault(QUIET, _LEAD_S, 7 * DAY_S, lambda d: _month(d, 7), probes=2, one_node=True, full=8, quick=0),
    "node silent": Fault(SENSOR, _LEAD_S, 0.25 * HOUR_S, _node_silent, SENSOR_RULES, 300.0, full=25, quick=2),
}  # fmt: skip
