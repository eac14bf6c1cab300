"""Openings, and what is none, on the cabinet model: how many are recognised, and what a phone would have heard.

    python -m tests.domain.signs.opening_figures

Every machine keeps the conditions of chicken's setter stage and is judged by the shipped rules at that stage's shipped
limits. Alarms go through the real life-cycle twice: as a hold leaves them ("rung"), and as if there were no holds ("bare").
Heaters give 0.75 W and humidifiers up to 0.6 g/h for each litre; a machine with more comes back sooner. Seeds are fixed.
"""

from __future__ import annotations

import copy
import math
import random
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cache

from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.air.psychrometrics import vapour_kpa, wet_bulb_c
from monitor.domain.alarms.alarm import BETWEEN, IN, OUT, Alarm, Judgement, step
from monitor.domain.readings.reading import Now, from_ms
from monitor.domain.signs.opening import ENDED, MAX_HOLD_S, Opening, Watch, holds, watch
from monitor.domain.signs.seen import LATE
from monitor.rehearse.cabinet import DEAD, HYSTERESIS, PROPORTIONAL, Air, Cabinet, CabinetSpec, Probe, ProbeSpec

SIZES_L = (40.0, 60.0, 150.0, 500.0)
ROOMS = (Air(15.0, vapour_kpa(15.0, 45.0)), Air(21.0, vapour_kpa(21.0, 50.0)), Air(28.0, vapour_kpa(28.0, 55.0)))
EGGS_L = (0.05, 0.6)  # few and many, per litre
OPEN_S = (10.0, 30.0, 60.0, 120.0, 180.0, 300.0)
INTERVALS_S = (10, 30, 60)
SAMPLE_S = 10
SETTLE_S = 3 * 3600.0
START_S = 1800.0  # the watch has learnt by then
APART_S = 2700.0
DAY_S = 86_400.0
KPA = 101.325
RULES = shipped_rules()
ALARM, WARNING = "dry-bulb-low-alarm", "dry-bulb-low-warning"
# The low limits of chicken's setter stage as shipped, °C of dry bulb (0) and wet bulb (1), and the width of the warning band.
LIMITS = (
    (RULES[ALARM], 0, 36.7, 0.6),
    (RULES[WARNING], 0, 37.5, 0.6),
    (RULES["humidity-low-alarm"], 1, 27.94, 1.12),
    (RULES["humidity-low-warning"], 1, 29.44, 1.12),
)
BAND_LOW_C = 37.5

Happening = tuple[float, Callable[[Cabinet], None]]
Reading = tuple[float, float, float]  # s, °C, %RH
Ring = tuple[str, float]  # rule, s


def built(volume_l: float, per_l: float, control: str, heater_w_l: float = 0.75) -> CabinetSpec:
    """A cabinet of that size, its heater, humidifier and eggs in proportion."""
    return CabinetSpec(
        volume_l,
        heater_w=heater_w_l * volume_l,
        humidifier_g_h=0.6 * volume_l,
        rh_pct=57.4,
        control=control,
        eggs=round(per_l * volume_l),
        age_days=8.0,
    )


def fleet(sizes_l: Iterable[float] = SIZES_L) -> list[tuple[CabinetSpec, Air]]:
    """Every size, with few and many eggs, with both controls, in every room."""
    return [
        (built(volume_l, per_l, control), room)
        for volume_l in sizes_l
        for per_l in EGGS_L
        for control in (HYSTERESIS, PROPORTIONAL)
        for room in ROOMS
    ]


@cache
def _settled(spec: CabinetSpec, room: Air) -> Cabinet:
    cabinet = Cabinet(spec)
    cabinet.step(SETTLE_S, room)
    return cabinet


def record(
    spec: CabinetSpec,
    room: Air,
    script: Iterable[Happening],
    until_s: float,
    seed: int,
    room_at: Callable[[float], Air] | None = None,
) -> Iterator[Reading]:
    """What a probe in the upper half reads every SAMPLE_S from 0 on; the machine has run in before, in that room."""
    probe = Probe(ProbeSpec(height=0.5), random.Random(seed))
    cabinet = copy.deepcopy(_settled(spec, room))
    cabinet.probes = (probe,)
    coming = sorted(script, key=lambda happening: happening[0])
    now_s = 0.0
    for k in range(int(until_s // SAMPLE_S) + 1):
        if room_at is not None:
            room = room_at(now_s)
        while coming and coming[0][0] <= k * SAMPLE_S:
            at_s, act = coming.pop(0)
            cabinet.step(at_s - now_s, room)
            now_s = at_s
            act(cabinet)
        cabinet.step(k * SAMPLE_S - now_s, room)
        now_s = float(k * SAMPLE_S)
        if k == 0:
            probe.follow(0.0, *cabinet.air_at(probe.spec.height))
        reading = probe.read()
        assert reading is not None
        assert reading[1] is not None
        yield now_s, reading[0], reading[1]


def set_to(at_s: float, **switches: float | str | bool) -> Happening:
    """Switches of the cabinet moved at an instant."""

    def act(cabinet: Cabinet) -> None:
        for name, value in switches.items():
            setattr(cabinet, name, value)

    return at_s, act


def opened(at_s: float, for_s: float) -> tuple[Happening, Happening]:
    """The door opened and shut again."""
    return set_to(at_s, door_open=True), set_to(at_s + for_s, door_open=False)


@dataclass(slots=True)
class Heard:
    """What came of a stream: openings recorded, spans held, why holds were given up, and each alarm that began."""

    openings: list[Opening] = field(default_factory=list)
    spans: list[tuple[float, float, float]] = field(default_factory=list)  # the first fall, held from, until
    whys: list[str] = field(default_factory=list)
    rung: list[Ring] = field(default_factory=list)
    bare: list[Ring] = field(default_factory=list)

    @property
    def longest_s(self) -> float:
        """The longest from a first fall to the end of its hold."""
        return max((until_s - fall_s for fall_s, _, until_s in self.spans), default=0.0)


def first(rings: Iterable[Ring], after_s: float = 0.0, rule: str = ALARM) -> float:
    """When that rule rang first after an instant, from that instant; infinite when never."""
    return min((at_s - after_s for id_, at_s in rings if id_ == rule and at_s >= after_s), default=math.inf)


def hear(readings: Iterable[Reading], interval_s: int, judged: bool = True) -> Heard:
    """A machine watched at that interval, out of readings every SAMPLE_S; judged: its low limits are, too."""
    heard = Heard()
    state = Watch()
    held = [Alarm("machine", rule.id) for rule, *_ in LIMITS]
    bare = list(held)
    span: tuple[float, float] | None = None
    at_s = 0.0
    for k, (at_s, dry_bulb_c, rh_pct) in enumerate(readings):
        if k % (interval_s // SAMPLE_S):
            continue
        kpa = vapour_kpa(dry_bulb_c, min(rh_pct, 100.0))
        state, verdict = watch(state, at_s, dry_bulb_c, kpa, interval_s=interval_s, band_low_c=BAND_LOW_C)
        if verdict.opening is not None:
            assert verdict.kind == ENDED
            heard.openings.append(verdict.opening)
        if verdict.why:
            heard.whys.append(verdict.why)
        holding = holds(state, at_s)
        if holding and span is None and state.episode is not None:
            span = (state.episode.since_s, at_s)
        elif not holding and span is not None:
            heard.spans.append((*span, at_s))
            span = None
        if judged:
            _judge(held, at_s, dry_bulb_c, rh_pct, holding, heard.rung)
            _judge(bare, at_s, dry_bulb_c, rh_pct, False, heard.bare)
    if span is not None:
        heard.spans.append((*span, at_s))
    return heard


def _judge(alarms: list[Alarm], at_s: float, dry_bulb_c: float, rh_pct: float, held: bool, rings: list[Ring]) -> None:
    """One look at each low limit; while it is held back an on-delay goes on, and is not completed."""
    away = dry_bulb_c < 37.6 or rh_pct < 56.0 or any(a.condition or a.pending_mono_s is not None for a in alarms)
    if not away:
        return
    values = (dry_bulb_c, wet_bulb_c(dry_bulb_c, min(rh_pct, 100.0), KPA))
    now = Now(at_s, from_ms(round(at_s * 1000)))
    for i, (rule, quantity, limit, width) in enumerate(LIMITS):
        alarm, value = alarms[i], values[quantity]
        back = limit + min(rule.deadband, 0.25 * width)
        verdict = OUT if value < limit else BETWEEN if value < back else IN
        waits = replace(rule, on_delay_s=math.inf) if held else rule
        alarms[i], _ = step(alarm, Judgement(verdict, now.utc, value, limit), now, rule=waits, next_number=1)
        if alarms[i].condition and not alarm.condition:
            rings.append((rule.id, at_s))


@dataclass(frozen=True, slots=True)
class Candling:
    """One opening of one machine, as it was seen at one interval."""

    spec: CabinetSpec
    room: Air
    open_s: float
    interval_s: int
    seen: bool
    hold_s: float  # from the first fall
    rung: frozenset[str]
    bare: frozenset[str]
    whys: int  # of the whole stream: holds given up before their time


def candled(
    machines: Iterable[tuple[CabinetSpec, Air]],
    intervals_s: Iterable[int] = INTERVALS_S,
    open_s: Iterable[float] = OPEN_S,
) -> list[Candling]:
    """Each machine opened once for each time."""
    rows = []
    for n, (spec, room) in enumerate(machines):
        rng = random.Random(n)
        starts = [(START_S + i * APART_S + rng.uniform(0.0, 60.0), for_s) for i, for_s in enumerate(open_s)]
        script = [happening for at_s, for_s in starts for happening in opened(at_s, for_s)]
        readings = list(record(spec, room, script, START_S + len(starts) * APART_S, n))
        for interval_s in intervals_s:
            heard = hear(readings, interval_s)
            early = sum(why != LATE for why in heard.whys)
            for at_s, for_s in starts:
                spans = [s for s in heard.spans if at_s - 180.0 <= s[0] <= at_s + for_s]
                rung, bare = (
                    frozenset(rule for rule, t in rings if at_s <= t < at_s + APART_S)
                    for rings in (heard.rung, heard.bare)
                )
                hold_s = max((until_s - fall_s for fall_s, _, until_s in spans), default=0.0)
                rows.append(Candling(spec, room, for_s, interval_s, bool(spans), hold_s, rung, bare, early))
    return rows


@dataclass(frozen=True, slots=True)
class Failure:
    """What went wrong at one machine, as it was told at one interval: s from its beginning to the alarm.

    taken: whether it was held back, or recorded, as an opening. late_s: by how much the alarm came after both the alarm without holds, and the longest hold from the last first fall.
    """

    interval_s: int
    taken: bool
    longest_s: float
    rung_s: float
    bare_s: float
    late_s: float
    whys: tuple[str, ...]


def failed(
    machines: Iterable[tuple[CabinetSpec, Air]],
    script: Callable[[float], Iterable[Happening]],
    spoil: Callable[[Reading, float], Reading] | None = None,
    intervals_s: Iterable[int] = INTERVALS_S,
    for_s: float = 3000.0,
    judged: bool = True,
) -> list[Failure]:
    """Something happens to each machine, by a script of an instant; or to its probe, by spoiling readings."""
    rows = []
    for n, (spec, room) in enumerate(machines):
        at_s = START_S + random.Random(n).uniform(0.0, 60.0)
        readings = list(record(spec, room, script(at_s), at_s + for_s, n))
        if spoil is not None:
            readings = [spoil(reading, reading[0] - at_s) for reading in readings]
        for interval_s in intervals_s:
            heard = hear(readings, interval_s, judged)
            rung_s, bare_s = first(heard.rung, at_s), first(heard.bare, at_s)
            fall_s = max((fall - at_s for fall, held_s, _ in heard.spans if held_s - at_s < rung_s), default=-math.inf)
            late_s = 0.0 if bare_s == math.inf else rung_s - max(bare_s, fall_s + MAX_HOLD_S)
            whys = tuple(heard.whys)
            taken = bool(heard.spans or heard.openings)
            rows.append(Failure(interval_s, taken, heard.longest_s, rung_s, bare_s, late_s, whys))
    return rows


def never(_: float) -> tuple[Happening, ...]:
    """Nothing happens to the machine."""
    return ()


def jumped(k: float = 0.0, pct: float = 0.0, for_s: float = math.inf) -> Callable[[Reading, float], Reading]:
    """A probe that reads wrong by so much for a while."""

    def spoil(reading: Reading, since_s: float) -> Reading:
        if not 0.0 <= since_s < for_s:
            return reading
        return reading[0], reading[1] + k, reading[2] + pct

    return spoil


def dies_at_shutting(open_s: float) -> Callable[[float], tuple[Happening, ...]]:
    """A heater that dies when the door is shut."""
    return lambda at_s: (*opened(at_s, open_s), set_to(at_s + open_s, heater=DEAD))


# What people do to doors, for which a hold must still end in time.
MISUSES: tuple[tuple[str, Callable[[float], tuple[Happening, ...]]], ...] = (
    ("door left open", lambda t: opened(t, 2400.0)),
    ("eight openings of 25 s in 11 min", lambda t: tuple(h for i in range(8) for h in opened(t + 90.0 * i, 25.0))),
    (
        "heater dead, and opened every 4 min",
        lambda t: (set_to(t, heater=DEAD), *(h for i in range(10) for h in opened(t + 240.0 * i, 30.0))),
    ),
)

# What is no opening: name, script, and what is wrong with the readings. None of these may be taken for one.
NO_OPENINGS: tuple[
    tuple[str, Callable[[float], Iterable[Happening]], Callable[[Reading, float], Reading] | None], ...
] = (
    ("heater dead", lambda t: (set_to(t, heater=DEAD),), None),
    ("humidifier dry", lambda t: (set_to(t, water_share=0.0),), None),
    ("heater dead and humidifier dry, fan on", lambda t: (set_to(t, heater=DEAD, water_share=0.0),), None),
    ("power cut, probe alive", lambda t: (set_to(t, powered=False),), None),
    ("fan dead", lambda t: (set_to(t, fan_on=False),), None),
    ("set points lowered, 1.5 K and 15 %RH", lambda t: (set_to(t, dry_bulb_set_c=36.3, rh_set_pct=42.0),), None),
    ("temperature reads 5 K low from now on", never, jumped(k=-5.0)),
    ("temperature spike, one reading", never, jumped(k=-8.0, for_s=10.0)),
    ("temperature spike, one minute", never, jumped(k=-8.0, for_s=60.0)),
    ("humidity reads 25 % low from now on", never, jumped(pct=-25.0)),
    ("humidity spike, one minute", never, jumped(pct=-30.0, for_s=60.0)),
    ("both spike, one reading", never, jumped(k=-8.0, pct=-30.0, for_s=10.0)),
)


def vented() -> list[tuple[CabinetSpec, Air]]:
    """Machines with ten changes of air an hour, in a very dry room and a usual one: vapour goes fastest there without a door."""
    return [
        (replace(built(v, 0.2, PROPORTIONAL), vent_per_h=10.0, humidifier_g_h=2.0 * v), room)
        for v in (40.0, 500.0)
        for room in (Air(20.0, 0.5), ROOMS[1])
    ]


def swinging(at_s: float) -> Air:
    """A room between 17 and 25 °C over each day."""
    dry_bulb_c = 21.0 + 4.0 * math.sin(2.0 * math.pi * at_s / DAY_S)
    return Air(dry_bulb_c, ROOMS[1].vapour_kpa)


def month(
    days: int, openings: int, intervals_s: Iterable[int] = (10,), longest_s: float = 120.0
) -> tuple[list[Heard], list[float]]:
    """A 60 l machine with 24 eggs, so many days long, opened so often between 8 and 22 h for 10 s to longest_s."""
    rng = random.Random(days)
    each_s = 14 * 3600.0 / max(1, openings)
    starts = [
        day * DAY_S + 8 * 3600.0 + (i + 0.4 * rng.random()) * each_s for day in range(days) for i in range(openings)
    ]
    script = [happening for at_s in starts for happening in opened(at_s, rng.uniform(10.0, longest_s))]
    spec = built(60.0, 0.4, HYSTERESIS)
    readings = list(record(spec, ROOMS[1], script, days * DAY_S, days, swinging))
    return [hear(readings, interval_s) for interval_s in intervals_s], starts


def strays(heard: Heard, starts: Iterable[float]) -> int:
    """Holds that no opening explains."""
    known = list(starts)
    return sum(not any(fall_s - 120.0 <= at_s <= from_s for at_s in known) for fall_s, from_s, _ in heard.spans)


def _worst(rows: Iterable[float]) -> str:
    told = sorted(row for row in rows if row < math.inf)
    return f"median {told[len(told) // 2]:.0f} s, last {told[-1]:.0f} s" if told else "none"


def main() -> None:
    """Print every figure."""
    began_s = time.perf_counter()
    machines = fleet()
    print(
        f"openings of {len(machines)} machines: 40 to 500 l, few and many eggs, both controls, rooms of 15, 21 and 28 °C"
    )
    print("  open s  every s  recognised  longest hold s   alarms rung (bare)  warnings  humidity")
    rows = candled(machines)
    for open_s in OPEN_S:
        for interval_s in INTERVALS_S:
            of = [row for row in rows if (row.open_s, row.interval_s) == (open_s, interval_s)]
            counts = [
                f"{sum(bool(names & row.rung) for row in of):2d} ({sum(bool(names & row.bare) for row in of):2d})"
                for names in ({ALARM}, {WARNING}, {"humidity-low-alarm", "humidity-low-warning"})
            ]
            seen = f"{sum(row.seen for row in of)}/{len(of)}"
            longest_s = max(row.hold_s for row in of)
            print(f"  {open_s:6.0f}  {interval_s:7d}  {seen:>10}  {longest_s:14.0f}   {'   '.join(counts)}")
    print(f"  holds given up before their time: {sum(row.whys for row in rows)}")
    weak = candled([(built(v, 0.6, HYSTERESIS, 0.55), ROOMS[0]) for v in (60.0, 250.0)])
    print(f"  of weak heaters (0.55 W/l) in a room of 15 °C: {sum(row.whys for row in weak)} of {len(weak)}")

    some = machines[::5] + machines[1::7]
    print(f"failures during an opening, {len(some)} machines: s from the door's opening to the alarm")
    for open_s in (10.0, 60.0, 180.0):
        died = failed(some, dies_at_shutting(open_s))
        bare, late = _worst(row.bare_s for row in died), sum(row.late_s > 0.0 for row in died)
        print(
            f"  heater dead after {open_s:.0f} s open: {_worst(row.rung_s for row in died)}; bare {bare}; too late {late}"
        )
    for name, script in MISUSES:
        misused = failed(some, script)
        longest_s, late = max(row.longest_s for row in misused), sum(row.late_s > 0.0 for row in misused)
        print(f"  {name}: {_worst(row.rung_s for row in misused)}; longest hold {longest_s:.0f} s; too late {late}")

    for name, happenings, spoil in NO_OPENINGS:
        rows_ = failed(some[::2] + vented(), happenings, spoil, for_s=1800.0, judged=False)
        print(f"no opening, {name}: taken for one {sum(row.taken for row in rows_)} of {len(rows_)}")

    busy, starts = month(30, 20, INTERVALS_S)
    for interval_s, heard in zip(INTERVALS_S, busy, strict=True):
        print(
            f"30 days of 20 openings, 10 s to 2 min, every {interval_s} s: recognised {len(heard.openings)}/{len(starts)},"
            f" rung {len(heard.rung)} (bare {len(heard.bare)}), longest hold {heard.longest_s:.0f} s,"
            f" strays {strays(heard, starts)}"
        )
    for interval_s, heard in zip(INTERVALS_S, month(30, 0, INTERVALS_S)[0], strict=True):
        print(f"a calm month, every {interval_s} s: held {len(heard.spans)}, rung {len(heard.rung)}")
    print(f"({time.perf_counter() - began_s:.0f} s)")


if __name__ == "__main__":
    main()
