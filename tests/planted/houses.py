"""Invented houses and batches, some with a fault whose size is known: what really was, and what sensors said of it.

Nothing here knows the product: no import of it, no band, no threshold. A batch is air every ten minutes as each of two probes says it, its loss
of water and the days on which its machine was opened. Sizes of faults are given in the units of the quantity.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

STEP_S, TERM_DAYS, LOCKDOWN_DAY = 600, 21.0, 18.0
USUAL_LOSS, USUAL_RH = 12.5, 55.0  # a shell of 1 loses so much to pip in air as moist as that


@dataclass(frozen=True)
class House:
    """A room. set_c, set_rh, hatch_rh: what is set. by_weight: the humidity of each batch is set so that its eggs lose what they should.
    probe_k, probe_rh: how far its sensors are off, the same in all batches, up or down by machine; error_k, error_rh: what such sensors err by."""

    name: str
    set_c: float
    set_rh: float
    hatch_rh: float
    by_weight: bool = False
    probe_k: float = 0.0
    probe_rh: float = 0.0
    error_k: float = 0.2  # SHT4x, typical
    error_rh: float = 1.8
    error_loss: float = 1.0  # the printed target is 12 +/- 1 %


HOUSES = (
    House("set inside the band", 37.8, 55.0, 70.0),
    House("37.5 °C and 50 %RH", 37.5, 50.0, 68.0),
    House("steered by weight", 37.8, 55.0, 70.0, by_weight=True),
    House("probes off by 0.25 K and 3 %RH", 37.8, 55.0, 70.0, probe_k=0.25, probe_rh=3.0, error_k=0.25, error_rh=3.0),
)


@dataclass(frozen=True)
class Offsets:
    """What is the same in all batches of one house: of setter and hatcher, how the machine is off what is set, and what its sensors say beside it."""

    machine_k: tuple[float, float]
    machine_rh: tuple[float, float]
    sensor_k: tuple[float, float]
    sensor_rh: tuple[float, float]


@dataclass
class Life:
    """One batch. dry_bulb_c, rh_pct: what really was, for each probe; heard: which samples came through; shell: 1 is usual."""

    day: Any
    dry_bulb_c: list[Any]
    rh_pct: list[Any]
    heard: list[Any]
    shell: float
    openings_day: list[float] = field(default_factory=list)

    def within(self, since: float, until: float) -> Any:
        """Which samples lie there, days."""
        return (self.day >= since) & (self.day < until)

    @property
    def loss_pct(self) -> float:
        """Goes as the dryness of the air, and as the shell."""
        dryness = 100.0 - float(np.mean(self.rh_pct[0][self.within(0.0, LOCKDOWN_DAY)]))
        return USUAL_LOSS * self.shell * dryness / (100.0 - USUAL_RH)

    def mean_c(self, since: float, until: float) -> float:
        """What really was, over both places."""
        return float(np.mean([c[self.within(since, until)] for c in self.dry_bulb_c]))

    def mean_rh(self, since: float, until: float) -> float:
        """The same of the humidity."""
        return float(np.mean([rh[self.within(since, until)] for rh in self.rh_pct]))


def offsets_of(house: House, rng: np.random.Generator) -> Offsets:
    """One house of that kind."""
    up = rng.choice([-1.0, 1.0], 4)
    return Offsets(
        machine_k=(rng.normal(0.0, 0.07), rng.normal(0.0, 0.07)),
        machine_rh=(rng.normal(0.0, 1.0), rng.normal(0.0, 1.5)),
        sensor_k=(up[0] * house.probe_k + rng.normal(0.0, 0.05), up[1] * house.probe_k + rng.normal(0.0, 0.05)),
        sensor_rh=(up[2] * house.probe_rh + rng.normal(0.0, 0.7), up[3] * house.probe_rh + rng.normal(0.0, 0.7)),
    )


def born(house: House, offsets: Offsets, rng: np.random.Generator) -> Life:
    """A batch without a fault: its set points differ from batch to batch by a little, the air wanders, cuts and gaps happen."""
    day = np.arange(-3, TERM_DAYS * 86_400 / STEP_S + 4) * STEP_S / 86_400
    setter = day < LOCKDOWN_DAY
    shell = rng.normal(1.0, 0.06)
    set_rh = house.set_rh
    if house.by_weight:
        set_rh = 100.0 - (100.0 - USUAL_RH) / shell
    warm = house.set_c + np.where(setter, offsets.machine_k[0], offsets.machine_k[1]) + rng.normal(0.0, 0.05)
    humid = np.where(setter, set_rh + offsets.machine_rh[0], house.hatch_rh + offsets.machine_rh[1])
    air_c, air_rh = warm + wander(rng, day, 0.1), humid + rng.normal(0.0, 1.0) + wander(rng, day, 2.0)
    if rng.random() < 0.3:  # a short cut, as they happen
        start = rng.uniform(1.0, 19.0)
        air_c[(day >= start) & (day <= start + rng.uniform(0.5, 2.0) / 24.0)] = 30.0
    heard = []
    for _ in range(2):
        start = rng.uniform(0.0, 20.0)
        heard.append((rng.random(day.size) > 0.01) & ~((day > start) & (day < start + rng.uniform(0.0, 1.5 / 24.0))))
    apart = abs(rng.normal(0.0, 0.1))
    openings = [*rng.uniform(0.0, LOCKDOWN_DAY, rng.poisson(30)), *rng.uniform(LOCKDOWN_DAY, TERM_DAYS, rng.poisson(6))]
    return Life(day, [air_c + apart, air_c - apart], [air_rh + 0.5, air_rh - 0.5], heard, shell, openings)


def said(life: Life, offsets: Offsets) -> tuple[list[Any], list[Any]]:
    """(temperatures, humidities) as each probe says them."""
    setter = life.day < LOCKDOWN_DAY
    by_k, by_rh = (np.where(setter, *each) for each in (offsets.sensor_k, offsets.sensor_rh))
    return [c + by_k for c in life.dry_bulb_c], [rh + by_rh for rh in life.rh_pct]


def wander(rng: np.random.Generator, day: Any, sd: float) -> Any:
    """Noise that remembers about an hour."""
    hours = np.arange(day[0], day[-1] + 1.0 / 12.0, 1.0 / 24.0)
    return np.interp(day, hours, rng.normal(0.0, sd, hours.size))


WINDOWS = {
    "whole": (0.0, 99.0),
    "setter": (0.0, LOCKDOWN_DAY),
    "hatcher": (LOCKDOWN_DAY, 99.0),
    "early": (0.0, 7.0),
    "late": (14.0, 99.0),
}
Plant = Callable[[Life, float, np.random.Generator], None]


def warmer(window: str, sign: float) -> Plant:
    """By so many K."""

    def plant(life: Life, size: float, _: np.random.Generator) -> None:
        for air_c in life.dry_bulb_c:
            air_c[life.within(*WINDOWS[window])] += sign * size

    return plant


def damper(window: str, sign: float) -> Plant:
    """By so many %RH."""

    def plant(life: Life, size: float, _: np.random.Generator) -> None:
        for rh in life.rh_pct:
            rh[life.within(*WINDOWS[window])] += sign * size

    return plant


def shells(sign: float) -> Plant:
    """Shells that let so many points more through, or less, of what is usual."""

    def plant(life: Life, size: float, _: np.random.Generator) -> None:
        life.shell *= 1.0 + sign * size / USUAL_LOSS

    return plant


def spell(temp_c: tuple[float, float], hours: tuple[float, float], days: tuple[float, float]) -> Plant:
    """One stay at a temperature, each drawn between two ends; size plays no part."""

    def plant(life: Life, _: float, rng: np.random.Generator) -> None:
        start, lasting, to_c = rng.uniform(*days), rng.uniform(*hours), rng.uniform(*temp_c)
        for air_c in life.dry_bulb_c:
            air_c[(life.day >= start) & (life.day <= start + lasting / 24.0)] = to_c

    return plant


def swinging(life: Life, size: float, rng: np.random.Generator) -> None:
    """To and fro by so many K every few hours."""
    by = size * np.sin(2.0 * np.pi * life.day * 24.0 / rng.uniform(2.0, 6.0))
    for air_c in life.dry_bulb_c:
        air_c += by


def uneven(life: Life, size: float, _: np.random.Generator) -> None:
    """So many K between two places of the machine."""
    life.dry_bulb_c[0] += size / 2.0
    life.dry_bulb_c[1] -= size / 2.0


def opened(life: Life, size: float, rng: np.random.Generator) -> None:
    """The hatcher opened so often in its three days."""
    life.openings_day.extend(rng.uniform(LOCKDOWN_DAY, TERM_DAYS, int(size)))


@dataclass(frozen=True)
class Fault:
    """What is planted: the finding under which it is asked, and check, direction and window as the published causes name it. sizes: from which one
    is drawn. quantity: of which the size is told in a curve; empty of what has none."""

    name: str
    finding: str
    check: str
    direction: str
    window: str
    plant: Plant = field(compare=False)
    sizes: tuple[float, float] = (1.0, 1.0)
    quantity: str = ""


CURVED = (
    Fault("too warm throughout", "early-hatch", "temperature", "high", "whole", warmer("whole", 1.0), quantity="c"),
    Fault("too cool throughout", "sticky-chick", "temperature", "low", "whole", warmer("whole", -1.0), quantity="c"),
    Fault("setter too humid", "wet-chick", "humidity", "high", "setter", damper("setter", 1.0), quantity="rh"),
    Fault("setter too dry", "shrink-wrapped", "humidity", "low", "setter", damper("setter", -1.0), quantity="rh"),
    Fault("hatcher too humid", "large-navel", "humidity", "high", "hatcher", damper("hatcher", 1.0), quantity="rh"),
    Fault("hatcher too dry", "shrink-wrapped", "humidity", "low", "hatcher", damper("hatcher", -1.0), quantity="rh"),
    Fault("thin shells", "large-air-cell", "loss", "high", "whole", shells(1.0), quantity="loss"),
    Fault("dense shells", "small-air-cell", "loss", "low", "whole", shells(-1.0), quantity="loss"),
)
# Beyond what is published of hens by more than sensors err by.
SPELLS = (
    Fault("5.5 to 8 h at 43.8 °C, late", "dead-unpipped", "heat", "", "late", spell((43.8, 44.3), (5.6, 8.0), (15.0, 20.0))),
    Fault("4.5 to 7 h at 43.8 °C, day 5 to 8", "dead-middle-third", "heat", "", "to-middle", spell((43.8, 44.3), (4.6, 7.0), (5.0, 8.0))),
    Fault("one or two hours at 41.2 °C, late", "pipped-dead", "heat", "", "late", spell((41.1, 41.6), (0.8, 2.0), (15.0, 20.0))),
    Fault("40 to 60 h without heat", "dead-unpipped", "cold", "", "setter", spell((19.0, 23.0), (40.0, 60.0), (3.0, 14.0))),
    Fault("14 to 30 h without heat", "late-hatch", "cold", "", "setter", spell((19.0, 23.0), (14.0, 30.0), (8.5, 16.0))),
)  # fmt: skip
OTHERS = (
    Fault("last week too warm", "large-navel", "temperature", "high", "late", warmer("late", 1.0), (0.9, 1.3)),
    Fault("last week too cool", "late-hatch", "temperature", "low", "late", warmer("late", -1.0), (0.9, 1.3)),
    Fault("first days too warm", "malformed", "temperature", "high", "early", warmer("early", 1.0), (0.9, 1.3)),
    Fault("swinging", "rough-navel", "swing", "high", "whole", swinging, (0.7, 1.0)),
    Fault("hot and cold spots", "drawn-out-hatch", "spread", "high", "setter", uneven, (1.6, 2.2)),
    Fault("hatcher opened often", "shrink-wrapped", "openings", "high", "hatcher", opened, (30.0, 50.0)),
)
# Causes that no sensor sees, and what is found of them: turning, and what the hens were fed.
UNSEEN = (
    "malposition",
    "dead-middle-third",
    "dead-first-third",
    "weak-legs",
    "malformed",
    "sticky-chick",
    "dead-unpipped",
    "small-chick",
)
# What is found by chance, in one egg of many batches.
CHANCE = ("dead-unpipped", "pipped-dead", "dead-first-third", "dead-middle-third", "wet-chick", "late-hatch", "early-hatch", "rough-navel", "shrink-wrapped")  # fmt: skip


@dataclass(frozen=True)
class Hatch:
    """One batch as it ended: hatched of fertile, and of each thing that was looked at whether it was so."""

    fertile: int
    hatched: int
    exposed: tuple[bool, ...]


def hatches(rng: np.random.Generator, batches: int, things: int, *, costs: float = 0.0) -> list[Hatch]:
    """A season: shares of fertile eggs that hatch are drawn about 85 % and scatter from batch to batch by more than chance (a beta); the
    first thing costs so many of a hundred, the others nothing. Each thing is so in three of ten batches."""
    found = []
    for _ in range(batches):
        exposed = tuple(bool(x) for x in rng.random(things) < 0.3)
        mean = 0.85 - (costs / 100.0 if exposed[0] else 0.0)
        share = rng.beta(12.0 * mean, 12.0 * (1.0 - mean))
        fertile = int(rng.integers(8, 40))
        found.append(Hatch(fertile, int(rng.binomial(fertile, share)), exposed))
    return found
