"""How often a planted fault comes out of the review, and how often an innocent one does, over made-up seasons.

    python -m tests.planted --innocent

Each season has one batch with one fault planted in it and five that went well. Machines differ, air wanders, sensors fall silent,
doors open and shells vary in all of them; nothing is planted in the others. The air goes through the whole path: readings, line,
figures, record, verdict. A cause is innocent when planting the fault left its figure as it was: the same batch, with the same
chance, is made without the fault, and its figures are laid beside. Sizes of faults are drawn about published ones. Seeds are fixed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.history.environment import Readings, Stretch
from monitor.analysis.review.judged import SUPPORTED, Record, Verdict, exposure_of, review
from monitor.analysis.review.record import record_of
from monitor.domain.needs.profile import Band

CATALOGUE = shipped_causes()
DAY_MS, STEP_S, TERM_DAYS, LOCKDOWN_DAY = 86_400_000, 600, 21.0, 18.0
T0 = 1_780_000_000_000
# The shape of a hen's profile: 0.3 K either way, about 3.5 %RH either way, higher from lockdown on, and 11 to 14 % to pip.
WARM = Band(36.7, 37.5, 37.8, 38.1, 38.9)
DRY, MOIST, LOSS = Band(45.0, 51.5, 55.0, 58.5, 65.0), Band(58.0, 65.0, 70.0, 75.0, 85.0), (11.0, 14.0)
GOOD = 5

Columns = dict[str, Any]


@dataclass
class Life:
    """One batch as it is made up: each probe's air every ten minutes, and what is no air."""

    day: Any
    dry_bulb_c: list[Any]
    rh_pct: list[Any]
    heard: list[Any]
    shell: float
    openings_day: list[float]


@dataclass(frozen=True)
class Fault:
    """What is planted: where it should come out (finding; check, direction, window), and how it is put into a life."""

    name: str
    finding: str
    check: str
    direction: str
    window: str
    plant: Callable[[Life, np.random.Generator], None] = field(compare=False)

    @property
    def weighed(self) -> bool:
        """Whether the eggs of its batch were: of those a loss decides, and no humidity before the hatcher."""
        return self.check != "humidity"


def born(rng: np.random.Generator, slack: float = 1.0) -> Life:
    """A batch without a fault: two probes in each of two machines, which are off by a little times `slack`, and wander."""
    day = np.arange(-3, TERM_DAYS * 86_400 / STEP_S + 4) * STEP_S / 86_400
    setter = day < LOCKDOWN_DAY
    air_c = 37.8 + slack * np.where(setter, rng.normal(0.0, 0.1), rng.normal(0.0, 0.1)) + wander(rng, day.size, 0.1)
    humid = np.where(setter, 55.0 + slack * rng.normal(0.0, 1.5), 70.0 + slack * rng.normal(0.0, 2.0)) + wander(
        rng, day.size, 2.0
    )
    if rng.random() < 0.3:  # a short cut, as they happen
        dip(air_c, day, rng.uniform(1.0, 19.0), rng.uniform(0.5, 2.0), 30.0)
    heard = []
    for _ in range(2):
        on = rng.random(day.size) > 0.01
        start = rng.uniform(0.0, 20.0)
        on &= ~((day > start) & (day < start + rng.uniform(0.0, 1.5 / 24.0)))
        heard.append(on)
    openings = [*rng.uniform(0.0, LOCKDOWN_DAY, rng.poisson(30)), *rng.uniform(LOCKDOWN_DAY, TERM_DAYS, rng.poisson(6))]
    offset = abs(rng.normal(0.0, 0.1))
    return Life(
        day, [air_c + offset, air_c - offset], [humid + 0.5, humid - 0.5], heard, rng.normal(1.0, 0.06), openings
    )


def wander(rng: np.random.Generator, size: int, sd: float) -> Any:
    """Noise that remembers an hour."""
    keep = np.exp(-STEP_S / 3600.0)
    steps = rng.normal(0.0, sd * np.sqrt(1.0 - keep * keep), size)
    out = np.empty(size)
    value = rng.normal(0.0, sd)
    for i, step in enumerate(steps):
        value = keep * value + step
        out[i] = value
    return out


def dip(air_c: Any, day: Any, start: float, hours: float, to_c: float) -> None:
    """The air held at one temperature for so long."""
    air_c[(day >= start) & (day <= start + hours / 24.0)] = to_c


def record(life: Life, name: str, weighed: bool = True) -> Record:
    """The life as the daemon would have it. weighed: whether its eggs were."""
    at_ms = T0 + np.rint(life.day * DAY_MS).astype(np.int64)
    ones = np.ones(at_ms.size, dtype=np.int64)
    air = tuple(
        Readings(at_ms[on], c[on], rh[on], ones[on], ones[on])
        for c, rh, on in zip(life.dry_bulb_c, life.rh_pct, life.heard, strict=True)
    )
    turn, end = T0 + round(LOCKDOWN_DAY * DAY_MS), T0 + round(TERM_DAYS * DAY_MS)
    stretches = [
        Stretch("setter-a", "setter", T0, turn, WARM, DRY, None, air, 2.5 * STEP_S, 101.325),
        Stretch("hatcher-a", "lockdown", turn, end, WARM, MOIST, None, air, 2.5 * STEP_S, 101.325),
    ]
    setter = (life.day >= 0) & (life.day < LOCKDOWN_DAY)
    # Loss goes as the dryness of the air, and as the shell: 12.5 % at the target.
    loss_pct = 12.5 * life.shell * (100.0 - float(np.mean(life.rh_pct[0][setter]))) / 45.0
    openings_ms = [T0 + round(day * DAY_MS) for day in life.openings_day]
    return record_of(
        name,
        stretches,
        set_at_ms=T0,
        term_days=TERM_DAYS,
        wanted=CATALOGUE.wanted(),
        loss_pct=loss_pct if weighed else None,
        loss_band=LOSS,
        openings_ms=openings_ms,
    )


def _within(life: Life, window: str) -> Any:
    first, last = {
        "whole": (0.0, 99.0),
        "setter": (0.0, LOCKDOWN_DAY),
        "hatcher": (LOCKDOWN_DAY, 99.0),
        "early": (0.0, 7.0),
        "late": (14.0, 99.0),
    }[window]
    return (life.day >= first) & (life.day < last)


def warmer(window: str, sign: float) -> Callable[[Life, np.random.Generator], None]:
    """0.6 to 1.2 K: from the 1 F that an extension text calls real harm to the 1.1 K of the eggshell experiments."""

    def plant(life: Life, rng: np.random.Generator) -> None:
        by = sign * rng.uniform(0.6, 1.2)
        for air_c in life.dry_bulb_c:
            air_c[_within(life, window)] += by

    return plant


def damper(window: str, sign: float) -> Callable[[Life, np.random.Generator], None]:
    """10 to 16 %RH: the 10 between the humidities of BRUZUAL-00, and more."""

    def plant(life: Life, rng: np.random.Generator) -> None:
        by = sign * rng.uniform(10.0, 16.0)
        for rh in life.rh_pct:
            rh[_within(life, window)] += by

    return plant


def spell(temp_c: tuple[float, float], hours: tuple[float, float], days: tuple[float, float]) -> Any:
    """One stay at a temperature."""

    def plant(life: Life, rng: np.random.Generator) -> None:
        start, lasting, to_c = rng.uniform(*days), rng.uniform(*hours), rng.uniform(*temp_c)
        for air_c in life.dry_bulb_c:
            dip(air_c, life.day, start, lasting, to_c)

    return plant


def swinging(life: Life, rng: np.random.Generator) -> None:
    """To and fro by 0.5 to 0.9 K every few hours."""
    by = rng.uniform(0.5, 0.9) * np.sin(2.0 * np.pi * life.day * 24.0 / rng.uniform(2.0, 6.0))
    for air_c in life.dry_bulb_c:
        air_c += by


def uneven(life: Life, rng: np.random.Generator) -> None:
    """1.4 to 2 K between two places of the machine, as VANBRECHT-01 found 1.9 K between eggs."""
    by = rng.uniform(1.4, 2.0) / 2.0
    life.dry_bulb_c[0] += by
    life.dry_bulb_c[1] -= by


def shells(factors: tuple[float, float]) -> Callable[[Life, np.random.Generator], None]:
    """Shells that let more water through, or less."""

    def plant(life: Life, rng: np.random.Generator) -> None:
        life.shell *= rng.uniform(*factors)

    return plant


def opened(life: Life, rng: np.random.Generator) -> None:
    """The hatcher opened 30 to 50 times in its three days."""
    life.openings_day.extend(rng.uniform(LOCKDOWN_DAY, TERM_DAYS, int(rng.integers(30, 50))))


FAULTS = (
    Fault("setter too humid", "wet-chick", "humidity", "high", "setter", damper("setter", 1.0)),
    Fault("setter too dry", "shrink-wrapped", "humidity", "low", "setter", damper("setter", -1.0)),
    Fault("hatcher too dry", "shrink-wrapped", "humidity", "low", "hatcher", damper("hatcher", -1.0)),
    Fault("too dry throughout", "dead-unpipped", "humidity", "low", "whole", damper("whole", -1.0)),
    Fault("hatcher too humid", "large-navel", "humidity", "high", "hatcher", damper("hatcher", 1.0)),
    Fault("too humid throughout", "late-hatch", "humidity", "high", "whole", damper("whole", 1.0)),
    Fault("too warm throughout", "early-hatch", "temperature", "high", "whole", warmer("whole", 1.0)),
    Fault("too cool throughout", "sticky-chick", "temperature", "low", "whole", warmer("whole", -1.0)),
    Fault("setter too warm", "rough-navel", "temperature", "high", "setter", warmer("setter", 1.0)),
    Fault("first days too warm", "malformed", "temperature", "high", "early", warmer("early", 1.0)),
    Fault("last week too warm", "large-navel", "temperature", "high", "late", warmer("late", 1.0)),
    Fault("last week too cool", "late-hatch", "temperature", "low", "late", warmer("late", -1.0)),
    Fault("hatcher too cool", "large-navel", "temperature", "low", "hatcher", warmer("hatcher", -1.0)),
    Fault(
        "5 to 8 h at 43.4 °C late", "dead-unpipped", "heat", "", "late", spell((43.3, 44.0), (5.1, 8.0), (15.0, 20.0))
    ),
    Fault(
        "4 to 7 h at 43.4 °C", "dead-middle-third", "heat", "", "to-middle", spell((43.3, 44.0), (4.1, 7.0), (5.0, 15.0))
    ),
    Fault("an hour or two at 41 °C", "pipped-dead", "heat", "", "late", spell((40.7, 41.5), (0.8, 2.0), (15.0, 20.0))),
    Fault("36 to 60 h without heat", "dead-unpipped", "cold", "", "setter", spell((19.0, 23.0), (37.0, 60.0), (3.0, 15.0))),
    Fault("12 to 30 h without heat", "late-hatch", "cold", "", "setter", spell((19.0, 23.0), (12.5, 30.0), (3.0, 16.0))),
    Fault("8 to 14 h without heat, early", "dead-first-third", "cold", "", "early", spell((19.0, 25.0), (8.2, 14.0), (0.5, 6.0))),
    Fault("swinging", "rough-navel", "swing", "high", "whole", swinging),
    Fault("hot and cold spots", "drawn-out-hatch", "spread", "high", "setter", uneven),
    Fault("thin shells", "large-air-cell", "loss", "high", "whole", shells((1.3, 1.6))),
    Fault("dense shells", "small-air-cell", "loss", "low", "whole", shells((0.5, 0.72))),
    Fault("hatcher opened often", "shrink-wrapped", "openings", "high", "hatcher", opened),
)  # fmt: skip


@dataclass
class Tally:
    """What came of one fault's seasons. alike: the first is the same check and direction, though of another window or dose."""

    seasons: int = 0
    supported: int = 0
    first: int = 0
    alike: int = 0
    innocent: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    wrongly: Counter[tuple[str, str, str]] = field(default_factory=Counter)


@cache
def good_pool(slack: float = 1.0, size: int = 60) -> tuple[Record, ...]:
    """Batches without a fault, from which each season's five are drawn."""
    return tuple(record(born(np.random.default_rng([7, i]), slack), f"good-{i}") for i in range(size))


def seasons(fault: Fault, count: int, slack: float = 1.0) -> Tally:
    """So many seasons with that fault."""
    tally = Tally()
    for i in range(count):
        seed = [FAULTS.index(fault), i]
        rng = np.random.default_rng([99, *seed])
        life = born(np.random.default_rng([5, *seed]), slack)
        clean = record(life, "clean", fault.weighed)
        fault.plant(life, rng)
        marred = record(life, "marred", fault.weighed)
        pool = good_pool(slack)
        good = [pool[k] for k in rng.choice(len(pool), GOOD, replace=False)]
        judge(fault, marred, clean, good, tally)
    return tally


def judge(fault: Fault, marred: Record, clean: Record, good: Sequence[Record], tally: Tally) -> None:
    """One season into the tally."""
    told = [v for v in review(CATALOGUE, fault.finding, marred, siblings=(), good=good) if v.check is not None]
    right = [v for v in told if _is(v, fault) and v.first.window == fault.window]
    top = told[0]
    tally.seasons += 1
    tally.supported += any(v.verdict == SUPPORTED for v in right)
    tally.first += top.verdict == SUPPORTED and _is(top, fault) and top.first.window == fault.window
    tally.alike += top.verdict == SUPPORTED and _is(top, fault)
    for verdict in innocents(marred, clean, good):
        question = (verdict.first.variable, verdict.first.direction, verdict.first.window)
        tally.innocent[question] += 1
        tally.wrongly[question] += verdict.verdict == SUPPORTED


def _is(verdict: Verdict, fault: Fault) -> bool:
    return (verdict.first.check, verdict.first.direction) == (fault.check, fault.direction)


def innocents(marred: Record, clean: Record, good: Sequence[Record]) -> Iterator[Verdict]:
    """The verdicts on all findings, each question once, whose figure the fault left within a tenth of what supports it."""
    seen: set[tuple[str, str, str]] = set()
    for finding in CATALOGUE.findings:
        for verdict in review(CATALOGUE, finding, marred, siblings=(), good=good):
            first, check = verdict.first, verdict.check
            question = (first.variable, first.direction, first.window)
            if check is None or question in seen:
                continue
            seen.add(question)
            before = clean.figures.get((first.variable, first.window))
            was = exposure_of(first, check, before) if before is not None else None
            if was is not None and verdict.exposure is not None and abs(verdict.exposure - was) < 0.1:
                yield verdict


def total_of(tallies: Sequence[Tally]) -> Tally:
    """All of them together."""
    total = Tally()
    for t in tallies:
        total.seasons, total.supported = total.seasons + t.seasons, total.supported + t.supported
        total.first, total.alike = total.first + t.first, total.alike + t.alike
        total.innocent += t.innocent
        total.wrongly += t.wrongly
    return total


def worst(tally: Tally) -> tuple[float, tuple[str, str, str]]:
    """The innocent question that is most often called supported, and its share."""
    return max((tally.wrongly[q] / asked, q) for q, asked in tally.innocent.items())


def tell() -> None:
    """A line for each fault, and the sums; then the sums in a room whose machines are twice as far off, planted or not."""
    for slack in (1.0, 2.0):
        print(f"machines off by {0.1 * slack:g} K and {1.5 * slack:g} %RH (1 sd) in every batch")
        print(f"{'planted':32}{'seasons':>8}{'supported':>10}{'first':>7}{'alike':>7}{'innocent':>10}{'wrongly':>9}")
        tallies = []
        for fault in FAULTS:
            t = seasons(fault, 40, slack)
            tallies.append(t)
            counts = f"{t.innocent.total():10}{t.wrongly.total():9}"
            print(f"{fault.name:32}{t.seasons:8}{t.supported:10}{t.first:7}{t.alike:7}{counts}")
        total = total_of(tallies)
        shares = [100.0 * n / total.seasons for n in (total.supported, total.first, total.alike)]
        print(
            f"supported {shares[0]:.1f} %, first {shares[1]:.1f} %, first or alike {shares[2]:.1f} % of {total.seasons}"
        )
        wrongly, innocent = total.wrongly.total(), total.innocent.total()
        share, question = worst(total)
        print(f"innocent called supported: {wrongly} of {innocent}, {100.0 * wrongly / innocent:.2f} %", end="; ")
        print(f"the worst, {' '.join(question)}: {100.0 * share:.1f} % of {total.innocent[question]}\n")
