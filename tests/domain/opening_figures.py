"""Openings and what is none, on the cabinet model: how many are recognised, and what a phone would have heard.

    python -m tests.domain.opening_figures

Every machine keeps chicken's setter conditions and is judged by the shipped rules and chicken's shipped limits. Alarms go
through the real life-cycle; an alarm "rings" when its condition stands and nothing is held back. Seeds are fixed.
"""

from __future__ import annotations

import math
import random
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace

from monitor.domain.alarm import BETWEEN, IN, OUT, Alarm, Judgement, step
from monitor.domain.opening import ENDED, Opening, Watch, holds, watch
from monitor.domain.psychrometrics import vapour_kpa, wet_bulb_c
from monitor.domain.reading import Now, from_ms
from monitor.domain.rules import Rule
from monitor.settings import shipped_rules
from monitor.simulation.cabinet import DEAD, HYSTERESIS, PROPORTIONAL, Air, Cabinet, CabinetSpec, Probe, ProbeSpec

SIZES_L = (40.0, 60.0, 120.0, 250.0, 500.0)
ROOMS = (Air(15.0, vapour_kpa(15.0, 45.0)), Air(21.0, vapour_kpa(21.0, 50.0)), Air(28.0, vapour_kpa(28.0, 55.0)))
EGGS_L = (0.05, 0.6)  # few and many, per litre
OPEN_S = (10.0, 30.0, 60.0, 120.0, 180.0, 300.0)
INTERVALS_S = (10, 30, 60)
SAMPLE_S = 10
SETTLE_S = 4 * 3600.0
RULES = shipped_rules()
KPA = 101.325
# The low limits of chicken's setter stage, as shipped: dry bulb and wet bulb, °C.
LIMITS = (
    (RULES["dry-bulb-low-alarm"], 0, 36.7),
    (RULES["dry-bulb-low-warning"], 0, 37.5),
    (RULES["humidity-low-alarm"], 1, 27.94),
    (RULES["humidity-low-warning"], 1, 29.44),
)
BAND_LOW_C = 37.5

Happening = tuple[float, Callable[[Cabinet], None]]
Reading = tuple[float, float, float]  # s, °C, %RH


def built(volume_l: float, per_l: float, control: str, **changes: float) -> CabinetSpec:
    """A cabinet of that size with a heater and a humidifier that fit it."""
    spec = CabinetSpec(
        volume_l,
        heater_w=0.75 * volume_l,
        humidifier_g_h=0.6 * volume_l,
        rh_pct=57.4,
        control=control,
        eggs=round(per_l * volume_l),
        age_days=8.0,
    )
    return replace(spec, **changes)  # type: ignore[arg-type]


def fleet() -> Iterator[tuple[CabinetSpec, Air]]:
    """Every size, with few and many eggs, with both controls, in every room."""
    for volume_l in SIZES_L:
        for per_l in EGGS_L:
            for control in (HYSTERESIS, PROPORTIONAL):
                for room in ROOMS:
                    yield built(volume_l, per_l, control), room


def record(
    spec: CabinetSpec, room: Air | Callable[[float], Air], script: Iterable[Happening], until_s: float, seed: int
) -> list[Reading]:
    """What a probe in the upper half reads every SAMPLE_S from 0 on; the machine has run in before."""
    probe = Probe(ProbeSpec(height=0.5), random.Random(seed))
    cabinet = Cabinet(spec, (probe,))
    air = room if callable(room) else lambda _: room
    cabinet.step(SETTLE_S, air(0.0))
    coming = sorted(script, key=lambda happening: happening[0])
    readings: list[Reading] = []
    now_s = 0.0
    for k in range(int(until_s // SAMPLE_S) + 1):
        while coming and coming[0][0] <= k * SAMPLE_S:
            at_s, act = coming.pop(0)
            cabinet.step(at_s - now_s, air(now_s))
            now_s = at_s
            act(cabinet)
        cabinet.step(k * SAMPLE_S - now_s, air(now_s))
        now_s = float(k * SAMPLE_S)
        reading = probe.read()
        assert reading is not None
        assert reading[1] is not None
        readings.append((now_s, reading[0], reading[1]))
    return readings


def opened(at_s: float, for_s: float) -> tuple[Happening, Happening]:
    """The door opened and shut again."""
    return (at_s, lambda c: setattr(c, "door_open", True)), (at_s + for_s, lambda c: setattr(c, "door_open", False))


def set_to(at_s: float, **switches: float | str | bool) -> Happening:
    """Switches of the cabinet moved."""

    def act(cabinet: Cabinet) -> None:
        for name, value in switches.items():
            setattr(cabinet, name, value)

    return at_s, act


@dataclass(slots=True)
class Heard:
    """What came of a stream: openings recorded, spans held, and (rule id, when) of each alarm that rang, with and without holds."""

    openings: list[Opening] = field(default_factory=list)
    spans: list[tuple[float, float]] = field(default_factory=list)
    rung: list[tuple[str, float]] = field(default_factory=list)
    bare: list[tuple[str, float]] = field(default_factory=list)
    whys: list[str] = field(default_factory=list)

    def first(self, rung: list[tuple[str, float]], after_s: float = 0.0) -> float | None:
        """When the dry-bulb alarm rang first after an instant."""
        return min((at for rule, at in rung if rule == "dry-bulb-low-alarm" and at >= after_s), default=None)


def hear(readings: Iterable[Reading], interval_s: int, *, phase: int = 0, judged: bool = True) -> Heard:
    """A machine watched at that interval, out of readings every SAMPLE_S; judged: alarms are followed too."""
    heard = Heard()
    state = Watch()
    held = [Alarm("machine", rule.id) for rule, _, _ in LIMITS]
    bare = list(held)
    from_s: float | None = None
    for k, (at_s, dry_bulb_c, rh_pct) in enumerate(readings):
        if (k - phase) % (interval_s // SAMPLE_S):
            continue
        kpa = vapour_kpa(dry_bulb_c, min(rh_pct, 100.0))
        state, verdict = watch(state, at_s, dry_bulb_c, kpa, interval_s=interval_s, band_low_c=BAND_LOW_C)
        if verdict.opening is not None:
            assert verdict.kind == ENDED
            heard.openings.append(verdict.opening)
        if verdict.why:
            heard.whys.append(verdict.why)
        holding = holds(state, at_s)
        if holding and from_s is None:
            from_s = at_s
        elif not holding and from_s is not None:
            heard.spans.append((from_s, at_s))
            from_s = None
        if judged:
            _judge(held, at_s, dry_bulb_c, rh_pct, holding, heard.rung)
            _judge(bare, at_s, dry_bulb_c, rh_pct, False, heard.bare)
    return heard


def _judge(
    alarms: list[Alarm], at_s: float, dry_bulb_c: float, rh_pct: float, held: bool, rung: list[tuple[str, float]]
) -> None:
    """One look at each low limit; while held back an on-delay goes on, and is not completed."""
    values = [dry_bulb_c, 99.0]
    if rh_pct < 60.0 and (dry_bulb_c < 37.6 or rh_pct < 56.0 or any(a.condition or a.pending_mono_s for a in alarms)):
        values[1] = wet_bulb_c(dry_bulb_c, rh_pct, KPA)
    now = Now(at_s, from_ms(round(at_s * 1000)))
    for i, (rule, quantity, limit) in enumerate(LIMITS):
        alarm, value = alarms[i], values[quantity]
        verdict = OUT if value < limit else BETWEEN if value < limit + _deadband(rule, i) else IN
        if verdict != OUT and not alarm.condition and alarm.pending_mono_s is None:
            continue
        waits = replace(rule, on_delay_s=math.inf) if held else rule
        after, _ = step(alarm, Judgement(verdict, now.utc, value, limit), now, waits, 1)
        alarms[i] = after
        if after.condition and not alarm.condition:
            rung.append((rule.id, at_s))


def _deadband(rule: Rule, i: int) -> float:
    return min(rule.deadband, 0.25 * (0.6 if i < 2 else 1.12))  # a quarter of the warning band, as in the plan


def candled(intervals_s: Iterable[int] = INTERVALS_S, machines: Iterable[tuple[CabinetSpec, Air]] | None = None) -> list[tuple[float, float, float, int, bool, float, list[str], list[str]]]:
    """Each machine of the fleet opened for each time: (litres, room °C, open s, interval s, recognised, hold s, rung, bare)."""
    rows = []
    for n, (spec, room) in enumerate(fleet() if machines is None else machines):
        rng = random.Random(n)
        starts = [(3000.0 * (i + 1) + rng.uniform(0, 60), for_s) for i, for_s in enumerate(OPEN_S)]
        script = [happening for at_s, for_s in starts for happening in opened(at_s, for_s)]
        readings = record(spec, room, script, 3000.0 * (len(OPEN_S) + 1), n)
        for interval_s in intervals_s:
            heard = hear(readings, interval_s)
            for at_s, for_s in starts:
                seen = [o for o in heard.openings if at_s - 120.0 <= o.since_s <= at_s + for_s]
                hold_s = max((b - o.since_s for o in seen for a, b in heard.spans if a >= o.since_s and a <= o.until_s), default=0.0)
                rung = [rule for rule, t in heard.rung if at_s <= t < at_s + 2900.0]
                bare = [rule for rule, t in heard.bare if at_s <= t < at_s + 2900.0]
                rows.append((spec.volume_l, room.dry_bulb_c, for_s, interval_s, bool(seen), hold_s, rung, bare))
    return rows

if __name__ == "__main__":
    t0 = time.perf_counter()
    rows = candled()
    print(len(rows), time.perf_counter() - t0)
    for interval in INTERVALS_S:
        for for_s in OPEN_S:
            r = [x for x in rows if x[3] == interval and x[2] == for_s]
            print(interval, for_s, f"recognised {sum(x[4] for x in r)}/{len(r)} hold max {max(x[5] for x in r):.0f}",
                  "rung alarm", sum("dry-bulb-low-alarm" in x[6] for x in r), "warn", sum("dry-bulb-low-warning" in x[6] for x in r), "hum", sum(any(y.startswith("hum") for y in x[6]) for x in r),
                  "| bare alarm", sum("dry-bulb-low-alarm" in x[7] for x in r), "warn", sum("dry-bulb-low-warning" in x[7] for x in r), "hum", sum(any(y.startswith("hum") for y in x[7]) for x in r))
