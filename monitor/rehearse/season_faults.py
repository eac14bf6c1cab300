"""The faults of an invented season: what goes wrong with a batch's air, what is found in its eggs, and which cause should come out.

Sizes are drawn about published ones, named beside each. Each finding names the planted cause among its own: a test asks for it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from monitor.domain.published.causes import (
    COLD,
    EARLY,
    HATCHER,
    HEAT,
    HIGH,
    HUMIDITY,
    LATE,
    LOW,
    OPENINGS,
    SETTER,
    SPREAD,
    SWING,
    TEMPERATURE,
    WHOLE,
)

Floats = npt.NDArray[np.float64]


@dataclass
class Air:
    """A batch's air as two probes of its machine feel it: day from the set time; rows are probes. openings_day: when it was opened."""

    day: Floats
    dry_bulb_c: Floats
    rh_pct: Floats
    lockdown_day: float
    term_days: float
    openings_day: list[float]

    def within(self, window: str) -> npt.NDArray[np.bool_]:
        """Which of the times lie in a window of the incubation."""
        first, last = {
            SETTER: (-1.0, self.lockdown_day),
            HATCHER: (self.lockdown_day, 99.0),
            EARLY: (0.0, self.term_days / 3.0),
            LATE: (2.0 * self.term_days / 3.0, 99.0),
        }.get(window, (-1.0, 99.0))
        return (self.day >= first) & (self.day < last)


Plant = Callable[[Air, np.random.Generator], None]


@dataclass(frozen=True)
class Fault:
    """check, direction, window: the cause that should come out. findings: what is written, the telling one first.

    late_d: how much later than others its chicks hatch. stage: in which most of its dead eggs died. alive: whether the findings are of chicks that hatched, or of eggs that died.
    """

    words: str
    check: str
    direction: str
    window: str
    findings: tuple[str, ...]
    plant: Plant = field(compare=False)
    alive: bool = True
    late_d: float = 0.0
    stage: str = "late"


def _warmer(window: str, sign: float) -> Plant:
    """0.6 to 1.2 K: from the 1 F that an extension text calls real harm to the 1.1 K of the eggshell experiments."""

    def plant(air: Air, rng: np.random.Generator) -> None:
        air.dry_bulb_c[:, air.within(window)] += sign * rng.uniform(0.6, 1.2)

    return plant


def _damper(window: str, sign: float, *, least: float = 10.0, most: float = 16.0) -> Plant:
    """10 to 16 %RH: the 10 between the humidities of BRUZUAL-00, and more. A hatcher takes 15 to 20: its band alone is 15 wide, and a
    hatcher that was not raised is as dry as a setter."""

    def plant(air: Air, rng: np.random.Generator) -> None:
        air.rh_pct[:, air.within(window)] += sign * rng.uniform(least, most)

    return plant


def _held(to_c: tuple[float, float], hours: tuple[float, float], shares: tuple[float, float]) -> Plant:
    """One stay at a temperature, begun at a share of the term."""

    def plant(air: Air, rng: np.random.Generator) -> None:
        start = rng.uniform(*shares) * air.term_days
        held = (air.day >= start) & (air.day <= start + rng.uniform(*hours) / 24.0)
        air.dry_bulb_c[:, held] = rng.uniform(*to_c)

    return plant


def _swinging(air: Air, rng: np.random.Generator) -> None:
    """To and fro by 0.5 to 0.9 K every few hours."""
    air.dry_bulb_c += rng.uniform(0.5, 0.9) * np.sin(2.0 * np.pi * air.day * 24.0 / rng.uniform(2.0, 6.0))


def _uneven(air: Air, rng: np.random.Generator) -> None:
    """1.4 to 2 K between two places of the machine, as VANBRECHT-01 found 1.9 K between eggs."""
    by_k = rng.uniform(1.4, 2.0) / 2.0
    air.dry_bulb_c[0] += by_k
    air.dry_bulb_c[1] -= by_k


def _opened(air: Air, rng: np.random.Generator) -> None:
    """The hatcher opened 12 to 16 times a day; 8 a day is what the review calls often."""
    days = air.term_days + 1.0 - air.lockdown_day
    air.openings_day.extend(rng.uniform(air.lockdown_day, air.term_days + 1.0, round(days * rng.uniform(12.0, 16.0))))


FAULTS = (
    Fault("the setter was too humid all through", HUMIDITY, HIGH, SETTER, ("wet-chick", "large-soft-chick"), _damper(SETTER, 1.0)),
    Fault("the setter was too dry all through", HUMIDITY, LOW, SETTER, ("large-air-cell", "small-chick"), _damper(SETTER, -1.0), alive=False),
    Fault("the humidity was not raised for lockdown and hatch", HUMIDITY, LOW, HATCHER, ("shrink-wrapped", "pipped-dead"),
          _damper(HATCHER, -1.0, least=15.0, most=20.0), alive=False, stage="external pip"),
    Fault("the hatcher was too humid", HUMIDITY, HIGH, HATCHER, ("rough-navel", "large-navel"), _damper(HATCHER, 1.0, least=15.0, most=20.0)),
    Fault("the heat was off for one to two days", COLD, "", SETTER, ("late-hatch",), _held((19.0, 23.0), (24.0, 48.0), (0.2, 0.65)), late_d=0.8),
    Fault("the air was too warm all through", TEMPERATURE, HIGH, WHOLE, ("early-hatch", "early-bloody-navels"), _warmer(WHOLE, 1.0), late_d=-0.8),
    Fault("the air was too cool all through", TEMPERATURE, LOW, WHOLE, ("sticky-chick", "late-hatch"), _warmer(WHOLE, -1.0), late_d=0.8),
    Fault("the first third was too warm", TEMPERATURE, HIGH, EARLY, ("malformed",), _warmer(EARLY, 1.0), alive=False),
    Fault("the last third was too cool", TEMPERATURE, LOW, LATE, ("late-hatch",), _warmer(LATE, -1.0), late_d=0.6),
    Fault("it was at 43 C for some hours, late", HEAT, "", LATE, ("dead-unpipped",), _held((43.3, 44.0), (5.3, 8.0), (0.7, 0.9)), alive=False),
    Fault("the temperature swung to and fro", SWING, HIGH, WHOLE, ("rough-navel", "weak-legs"), _swinging),
    Fault("one side of the machine was warmer than the other", SPREAD, HIGH, SETTER, ("drawn-out-hatch",), _uneven),
    Fault("the hatcher was opened again and again", OPENINGS, HIGH, HATCHER, ("shrink-wrapped",), _opened, alive=False, stage="external pip"),
)  # fmt: skip
