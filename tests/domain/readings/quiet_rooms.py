"""Rooms in which nothing happens for hours, as sensors of several makes tell of them, and sensors that got stuck there.

`python -m tests.domain.readings.quiet_rooms` prints how often a healthy sensor is called doubtful, and how soon a stuck one is. What is
known of such rooms: at one reading a minute an office stood at one value for up to 37 min, and moved by at most 0.155 K and 1.5 %RH from
one minute to the next (seen: the occupancy data of the UCI repository, one sensor, two weeks; its figures, not its readings). The rest is
judgement: a cellar, a well-insulated brooder, a store, with the steps that chips and nodes are met with.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from monitor.domain.needs.rules import SENSOR_FAILED, SENSOR_SUSPECT
from monitor.domain.readings.quality import Trail, assess
from monitor.domain.readings.reading import FAIL, SUSPECT
from tests.domain.house import RULES

DAY_S, HOUR_S = 86_400.0, 3600.0
Air = Callable[[float, random.Random], tuple[float, float]]


@dataclass
class Drift:
    """What goes to and fro without aim and comes back: its spread, and for how long it remembers."""

    spread: float
    memory_s: float
    value: float = 0.0

    def step(self, dt_s: float, rng: random.Random) -> float:
        """A step later."""
        keep = math.exp(-dt_s / self.memory_s)
        self.value = keep * self.value + self.spread * math.sqrt(1.0 - keep * keep) * rng.gauss(0.0, 1.0)
        return self.value


@dataclass(frozen=True)
class Sensor:
    """A make: how often it tells, its own noise, its steps, and over how many samples a node takes the mean."""

    interval_s: float
    noise_k: float = 0.003
    step_k: float = 0.1
    noise_pct: float = 0.02
    step_pct: float | None = 0.1
    mean_of: int = 1


SENSORS = {
    "tenths, 1 min": Sensor(60.0),
    "tenths, 10 s": Sensor(10.0),
    "tenths, 5 min": Sensor(300.0),
    "mean of four tenths, 1 min": Sensor(60.0, mean_of=4, step_pct=0.05),
    "sixteenths, 10 s": Sensor(10.0, step_k=0.0625, step_pct=None),
    "sixteenths, 1 min": Sensor(60.0, step_k=0.0625, step_pct=None),
    "sixteenths, 5 min": Sensor(300.0, step_k=0.0625, step_pct=None),
    "tenths without humidity, 1 min": Sensor(60.0, step_pct=None),
    "hundredths, 1 min": Sensor(60.0, step_k=0.01, step_pct=0.01, noise_k=0.002, noise_pct=0.004),
    "hundredths, 10 s": Sensor(10.0, step_k=0.01, step_pct=0.01, noise_k=0.001, noise_pct=0.002),
    "whole percents, 30 s": Sensor(30.0, step_pct=1.0),
    "halves and whole percents, 5 min": Sensor(300.0, step_k=0.5, step_pct=1.0, noise_k=0.02, noise_pct=0.1),
}


def _office(days: float) -> Iterator[tuple[float, float, float]]:
    """(level °C, fluctuation K, %RH fluctuation) of each ten seconds: people by day, nobody at night and at the week's end."""
    for tens in range(int(days * 8640)):
        day, hour = divmod(tens / 360.0, 24.0)
        busy = 8.0 <= hour < 18.0 and day % 7 < 5
        level = 20.0 + (
            2.0 * (1.0 - math.exp(-(hour - 8.0) / 1.5)) if busy else 2.0 * math.exp(-((hour - 18.0) % 24.0) / 5.0)
        )
        yield level, 0.12 if busy else 0.006, 0.8 if busy else 0.03


def _opened(days: float) -> Iterator[tuple[float, float, float]]:
    """A machine that keeps its air within some hundredths, opened at eight and at seven."""
    for tens in range(int(days * 8640)):
        since_s = min((tens * 10.0 - hour * HOUR_S) % DAY_S for hour in (8.0, 19.0))
        yield 37.5 - 1.5 * math.exp(-since_s / 240.0), 0.012, 0.3


def _constant(
    level: float, swing_k: float, spread_k: float, spread_pct: float
) -> Callable[[float], Iterator[tuple[float, float, float]]]:
    def room(days: float) -> Iterator[tuple[float, float, float]]:
        for tens in range(int(days * 8640)):
            yield level + swing_k * math.sin(2.0 * math.pi * tens / 8640.0), spread_k, spread_pct

    return room


ROOMS = {
    "office": _office,
    "cellar": _constant(14.0, 0.15, 0.008, 0.05),
    "brooder": _constant(35.0, 0.05, 0.01, 0.1),
    "machine": _opened,
    "thermostat": _constant(37.5, 0.0, 0.007, 0.05),
    "store": _constant(18.0, 1.0, 0.02, 0.2),
}

Reading = tuple[float, float, float | None]


def record(room: str, sensor: Sensor, days: float = 14.0, *, seed: int = 0) -> list[Reading]:
    """What a healthy sensor tells there; other air of the same room with each seed."""
    rng = random.Random(f"{seed}/{room}/{sensor}" if seed else f"{room}/{sensor}")
    slow, damp = Drift(1.0, 1200.0), Drift(1.0, 1800.0)
    result: list[Reading] = []
    sums: list[tuple[float, float]] = []
    every = max(1, round(sensor.interval_s / 10.0 / sensor.mean_of))
    for tens, (level, spread_k, spread_pct) in enumerate(ROOMS[room](days), start=1):
        dry_bulb_c = level + spread_k * slow.step(10.0, rng)
        rh_pct = 45.0 - 2.0 * (level - 20.0) + spread_pct * damp.step(10.0, rng)
        if tens % every:
            continue
        step_pct = sensor.step_pct or 1.0
        sums.append(
            (
                round((dry_bulb_c + rng.gauss(0.0, sensor.noise_k)) / sensor.step_k) * sensor.step_k,
                round((rh_pct + rng.gauss(0.0, sensor.noise_pct)) / step_pct) * step_pct,
            )
        )
        if len(sums) == sensor.mean_of:
            t, h = (sum(s[i] for s in sums) / len(sums) for i in (0, 1))
            result.append((tens * 10.0, round(t, 4), None if sensor.step_pct is None else round(h, 4)))
            sums.clear()
    return result


def doubts(readings: list[Reading], interval_s: float, trail: Trail | None = None) -> list[tuple[str, float]]:
    """(rule, when it began) of each alarm about the sensor, with the delays of the rules."""
    found: list[tuple[str, float]] = []
    standing = dict.fromkeys((SENSOR_SUSPECT, SENSOR_FAILED), False)
    since: dict[str, float | None] = dict.fromkeys(standing)
    trail = Trail() if trail is None else trail
    for at_s, dry_bulb_c, rh_pct in readings:
        trail, seen = assess(trail, at_s, dry_bulb_c, rh_pct, interval_s=interval_s)
        bad = {
            SENSOR_SUSPECT: any(flag == SUSPECT for _, flag in seen.tests),
            SENSOR_FAILED: seen.dry_bulb_flag == FAIL,
        }
        for rule, stands in standing.items():
            if bad[rule] == stands:
                since[rule] = None
                continue
            began_s = since[rule] = at_s if since[rule] is None else since[rule]
            assert began_s is not None
            delay_s = RULES[rule].off_delay_s if stands else RULES[rule].on_delay_s
            if at_s - began_s >= delay_s:
                standing[rule], since[rule] = not stands, None
                if not stands:
                    found.append((rule, at_s))
    return found


def stuck_after(readings: list[Reading], interval_s: float, at_s: float) -> float | None:
    """Seconds until a sensor that goes on saying what it said at that time is called doubtful or failed; None: never."""
    i = next(n for n, r in enumerate(readings) if r[0] >= at_s)
    spoilt = [*readings[:i], *((at, *readings[i][1:]) for at, *_ in readings[i:])]
    return next((when - at_s for _, when in doubts(spoilt, interval_s) if when > at_s), None)


OFFICE = "tenths, 1 min"  # which of all stands still the most often there, for little longer than it may


def weeks_of(found: list[tuple[str, float]]) -> list[int]:
    """How many words began in the first week, and in the second."""
    return [sum(7 * DAY_S * w < at <= 7 * DAY_S * (w + 1) for _, at in found) for w in (0, 1)]


def main() -> None:
    """Print the figures."""
    many = [doubts(record("office", SENSORS[OFFICE], seed=seed), SENSORS[OFFICE].interval_s) for seed in range(1, 41)]
    more = sum(words > 1 for found in many for words in weeks_of(found))
    print(f"forty offices, {OFFICE}: more than one word in {more} of {2 * len(many)} weeks", flush=True)
    for room in ROOMS:
        for name, sensor in SENSORS.items():
            readings = record(room, sensor)
            found = doubts(readings, sensor.interval_s)
            weeks = weeks_of(found)
            stuck = [stuck_after(readings, sensor.interval_s, d * DAY_S) for d in (3.55, 10.1)]
            hours = [None if s is None else round(s / HOUR_S, 2) for s in stuck]
            failed = sum(rule == SENSOR_FAILED for rule, _ in found)
            print(f"{room:8} {name:28} doubtful {weeks} failed {failed}   stuck found after {hours} h", flush=True)


if __name__ == "__main__":
    main()
