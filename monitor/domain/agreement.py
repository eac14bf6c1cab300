"""Whether the probes of one machine agree with one another, from a state of fixed size: one `Pair` for any two of them.

XDIS: two probes that differ by too much for minutes. DRIFT: a difference that is not what it was, over hours. Temperatures are
compared as they are, humidities as vapour pressure: air that is mixed has one vapour pressure, while its relative humidity changes
with each tenth of a degree. Of three probes and more the odd one out is named, of two the pair: either may be the wrong one.

Probes in moving air differ because they lag, not because they are wrong: while either moves, a pair is not compared. Probes also
differ when the fan has stopped and the air no longer mixes; what a person is told says so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations
from statistics import median

from monitor.domain.psychrometrics import saturation_vapour_kpa
from monitor.domain.reading import FAIL, SUSPECT

DRY_BULB, HUMIDITY = "dry bulb", "humidity"
XDIS, DRIFT = "XDIS", "DRIFT"

Given = tuple[float, float, float | None]  # when on the forward clock, °C, %RH: corrected by calibration, fit to be judged
Two = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Limits:
    """Every number that the comparison turns on: pairs are suspect and fail; K for temperatures, %RH for humidities."""

    apart_k: tuple[float, float] = (0.5, 1.0)  # twice the fault of two checked probes (judgement)
    apart_pct: tuple[float, float] = (5.0, 10.0)
    apart_s: float = 600.0  # longer than an opened door keeps them apart
    drift_k: tuple[float, float] = (0.3, 0.6)
    drift_pct: tuple[float, float] = (3.0, 6.0)
    paired_s: float = 15.0  # readings at most so far apart, or by so much of an interval, are of the same air
    paired_intervals: float = 0.55  # nodes do not speak in step
    smooth_s: float = 120.0  # over which a difference is smoothed: noise must not start its time anew
    moving_k: float = 0.3  # a probe this far from its own last minutes is in moving air
    moving_pct: float = 3.0
    base_s: float = 43_200.0  # how long a pair's usual difference is learnt: a day with its night would be better and come too late
    drift_s: float = 21_600.0  # of the smoothing; 12 h would show but 0.28 K of 0.5 K a day after that day
    gap_intervals: float = 3.0  # without readings for longer, nothing is known of the time between


LIMITS = Limits()
