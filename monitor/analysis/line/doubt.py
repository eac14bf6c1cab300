"""Which readings make the line, and which of them are doubtful: when, how far, and by which test of the judge.

What is suspect is judged as it comes, for a flag must not silence danger; so it is in the record of what the eggs felt, too, and told as
doubtful. Only what cannot be is left out: a reading that failed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.analysis.line.trace import Floats, Integers, Mask
from monitor.domain.readings.quality import DRY_BULB_C_SUSPECT
from monitor.domain.readings.reading import FAIL, NOT_EVALUATED, PASS, SUSPECT

RANGE, STILL, UNLIKE_AIR = "range", "still", "unlike air"
HOUR_MS = 3_600_000.0


@dataclass(frozen=True, slots=True)
class Doubt:
    """Of the hours that have a line, those in which a reading was doubtful.

    by: (test, hours) of each test that was met: RANGE, so warm or cold as a machine is only when something is badly wrong; STILL, the same
    value again and again; UNLIKE_AIR, a pace or an unrest that no air has. A time may be doubtful by two of them. low, high: the extremes
    of the doubtful readings; None without any.
    """

    hours: float = 0.0
    by: tuple[tuple[str, float], ...] = ()
    low: float | None = None
    high: float | None = None


NO_DOUBT = Doubt()


def taken(flag: Integers) -> Mask:
    """The readings that make the line: good, not evaluated, and suspect ones."""
    used: Mask = (flag == PASS) | (flag == NOT_EVALUATED) | (flag == SUSPECT)
    return used


def failed(flag: Integers) -> Mask:
    """What cannot be, and is left out."""
    out: Mask = flag == FAIL
    return out


def tests_of(values: Floats, suspect: Mask, *, warm: bool) -> dict[str, Mask]:
    """By which test each suspect reading of one probe, in order, is doubtful. warm: whether it is a dry bulb, °C, else a humidity.

    The record keeps the flag and not the test, which is told from the values: beyond what a machine can be; else the same as a neighbour;
    else its pace.
    """
    low, high = DRY_BULB_C_SUSPECT if warm else (-math.inf, math.inf)
    beyond = suspect & ((values < low) | (values > high))
    same = np.diff(values) == 0.0
    still = suspect & ~beyond & (np.append(same, False) | np.append(False, same))
    return {RANGE: beyond, STILL: still, UNLIKE_AIR: suspect & ~beyond & ~still}


def doubt_of(
    probes: Sequence[tuple[Floats, Floats, Mapping[str, Mask]]], *, max_gap_ms: float, length_ms: float
) -> Doubt:
    """The doubt of a window. probes: of each, the times of its line's readings in milliseconds from the start, their values, and by which
    test each is doubtful. A reading stands for half of the way to each of its neighbours, as far as the line goes there."""
    spans: dict[str, list[Floats]] = {}
    extremes: list[float] = []
    for at_ms, values, tests in probes:
        if not at_ms.size:
            continue
        apart = np.diff(at_ms)
        half = np.where(apart <= max_gap_ms, apart / 2.0, 0.0)
        begin, end = at_ms - np.append(0.0, half), at_ms + np.append(half, 0.0)
        begin, end = np.clip(begin, 0.0, length_ms), np.clip(end, 0.0, length_ms)
        for test, doubtful in tests.items():
            here = doubtful & (end > begin)
            if here.any():
                spans.setdefault(test, []).append(np.column_stack((begin[here], end[here])))
                extremes += [float(values[here].min()), float(values[here].max())]
    if not spans:
        return NO_DOUBT
    every = [each for test in spans.values() for each in test]
    by = tuple((test, _hours(spans[test])) for test in (RANGE, STILL, UNLIKE_AIR) if test in spans)
    return Doubt(_hours(every), by, min(extremes), max(extremes))


def together(doubts: Iterable[Doubt]) -> Doubt:
    """That of windows that follow one another."""
    known = [doubt for doubt in doubts if doubt.hours > 0.0]
    if not known:
        return NO_DOUBT
    by: dict[str, float] = {}
    for doubt in known:
        for test, hours in doubt.by:
            by[test] = by.get(test, 0.0) + hours
    return Doubt(
        math.fsum(doubt.hours for doubt in known),
        tuple((test, by[test]) for test in (RANGE, STILL, UNLIKE_AIR) if test in by),
        min(doubt.low for doubt in known if doubt.low is not None),
        max(doubt.high for doubt in known if doubt.high is not None),
    )


def _hours(spans: Sequence[Floats]) -> float:
    """How long they are together, what lies in several counted once."""
    every = np.concatenate(spans)
    every = every[np.argsort(every[:, 0])]
    reached = np.maximum.accumulate(every[:, 1])
    begin = np.maximum(every[1:, 0], reached[:-1])
    lasts = (every[0, 1] - every[0, 0]) + np.maximum(every[1:, 1] - begin, 0.0).sum()
    return float(lasts) / HOUR_MS
