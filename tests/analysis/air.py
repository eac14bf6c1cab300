"""Made-up readings and stretches for the tests of this floor, and a slow second opinion on the figures."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from monitor.analysis.history.environment import Air, Stretch
from monitor.domain.needs.profile import Band

T0 = 1_780_000_000_000  # a whole second in 2026
HOUR = 3_600_000
WARM = Band(36.0, 37.0, 37.5, 38.0, 39.0)
HUMID = Band(40.0, 45.0, 50.0, 55.0, 60.0)
WET = Band(27.0, 28.0, 29.0, 30.0, 31.0)


@dataclass(frozen=True)
class Readings:
    """The readings of one probe, as the record gives them."""

    at_ms: Any
    dry_bulb_c: Any
    rh_pct: Any
    flag: Any
    rh_flag: Any


def readings(
    at_s: Any,
    dry_bulb_c: Any,
    rh_pct: Any = math.nan,
    flag: Any = 1,
    rh_flag: Any = None,
) -> Readings:
    """Readings at seconds after T0; a single value stands for all. rh_flag: that of the dry bulb, unless given."""
    at_ms = T0 + np.rint(np.asarray(at_s, dtype=float) * 1000.0).astype(np.int64)

    def column(values: Any, kind: type) -> Any:
        return np.broadcast_to(np.asarray(values, dtype=kind), at_ms.shape).copy()

    flags = column(flag, np.int64), column(flag if rh_flag is None else rh_flag, np.int64)
    return Readings(at_ms, column(dry_bulb_c, float), column(rh_pct, float), *flags)


def sampled(curve: Callable[[Any], Any], hours: float, step_s: float = 10.0) -> Readings:
    """Readings of a dry bulb that follows a curve of the seconds, from 0 to the end of the hours."""
    at_s = np.arange(0.0, hours * 3600.0 + step_s / 2, step_s)
    return readings(at_s, curve(at_s))


def stretch(*air: Air, hours: float = 1.0, since_s: float = 0.0, **other: Any) -> Stretch:
    """A stretch from since_s after T0, judged by WARM, HUMID and WET, with 30 s of allowed silence."""
    since_ms = T0 + round(since_s * 1000)
    whole = Stretch(
        "setter-a", "setter", since_ms, since_ms + round(hours * HOUR), WARM, HUMID, WET, air, 30.0, 101.325
    )
    return replace(whole, **other)


@dataclass
class Slow:
    """Figures by looking at every second, in plain Python."""

    hours_covered: float
    mean: float
    sd: float
    hours_above: float
    hours_below: float
    area_above: float
    area_below: float


def second_by_second(
    probes: Sequence[Sequence[tuple[int, float]]], max_gap_ms: float, length_ms: int, low: float, high: float
) -> Slow | None:
    """Dry-bulb figures from the middle of each second; probes are (ms in the window, value), rising, flags done.

    With several probes the machine's air is, at each time any of them spoke, the median of those whose readings
    bridge that moment, and straight in between. All times must be whole seconds.
    """
    turns = sorted({at for probe in probes for at, _ in probe})
    seen: list[float] = []
    for begin, end in itertools.pairwise(turns):
        pairs = [
            (_line(a, b, begin), _line(a, b, end))
            for probe in probes
            for a, b in itertools.pairwise(probe)
            if a[0] <= begin and end <= b[0] and b[0] - a[0] <= max_gap_ms
        ]
        if not pairs:
            continue
        first, last = (statistics.median(ends) for ends in zip(*pairs, strict=True))
        for second in range(begin, end, 1000):
            if 0 <= second < length_ms:
                seen.append(first + (last - first) * (second + 500 - begin) / (end - begin))
    if not seen:
        return None
    mean = math.fsum(seen) / len(seen)
    return Slow(
        len(seen) / 3600.0,
        mean,
        math.sqrt(math.fsum((value - mean) ** 2 for value in seen) / len(seen)),
        sum(value > high for value in seen) / 3600.0,
        sum(value < low for value in seen) / 3600.0,
        math.fsum(max(0.0, value - high) for value in seen) / 3600.0,
        math.fsum(max(0.0, low - value) for value in seen) / 3600.0,
    )


def _line(a: tuple[int, float], b: tuple[int, float], at: int) -> float:
    return a[1] + (b[1] - a[1]) * (at - a[0]) / (b[0] - a[0])
