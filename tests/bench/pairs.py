"""A fair comparison on a machine whose speed moves: slices of ours and of the reference in turn, and the median of their ratios.

A machine may run the same work at half its speed for seconds on end, so two figures taken a minute apart compare nothing. Each
pair is one slice of ours and one of the reference, in changing order, with a fixed piece of work timed before, between and
after them; a pair within which that time moved by more than MOVED is not trusted, and another is run in its place.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

PAIRS = 9
MOVED = 1.3
TRIES = 2  # so many times the pairs asked for are run at most, to find enough that can be trusted
_WORK = 1_000_000  # some 30 ms: long enough for other work on this machine to show


def calibrate(clock_s: Callable[[], float] = time.perf_counter) -> float:
    """Seconds that a fixed piece of Python work takes now: slower on a machine that runs slower, or that has other work. clock_s: another clock
    to take them by."""
    began = clock_s()
    total = 0
    for number in range(_WORK):
        total += number & 7
    return clock_s() - began


@dataclass(frozen=True, slots=True)
class Pair:
    """One slice of each, whatever a slice measures; moved: how far the calibration loop moved within the pair."""

    ours: Any
    theirs: Any
    moved: float

    @property
    def trusted(self) -> bool:
        """Whether the machine ran at one speed meanwhile."""
        return self.moved <= MOVED


def measure(ours: Callable[[], Any], theirs: Callable[[], Any], count: int) -> list[Pair]:
    """Pairs until `count` of them can be trusted, at most TRIES times as many."""
    pairs: list[Pair] = []
    while sum(p.trusted for p in pairs) < count and len(pairs) < TRIES * count:
        order = (ours, theirs) if len(pairs) % 2 else (theirs, ours)
        speeds, found = [calibrate()], {}
        for slice_ in order:
            found[slice_] = slice_()
            speeds.append(calibrate())
        pairs.append(Pair(found[ours], found[theirs], max(speeds) / min(speeds)))
    return pairs


@dataclass(frozen=True, slots=True)
class Goal:
    """A bound that must be kept, and one to reach later."""

    bound: float
    later: float | None = None
    at_least: bool = False

    def met(self, value: float) -> bool:
        """Whether a figure keeps the bound."""
        return value >= self.bound if self.at_least else value <= self.bound

    def met_later(self, value: float) -> bool:
        """Whether it keeps the later one too."""
        return self.later is not None and (value >= self.later if self.at_least else value <= self.later)

    def __str__(self) -> str:
        text = f"{'>=' if self.at_least else '<='} {self.bound:g}"
        return text if self.later is None else f"{text}, then {self.later:g}"


@dataclass(frozen=True, slots=True)
class Result:
    """One line of the table. value is what is judged, None when it could not be measured; low and high its range over the pairs."""

    row: str
    what: str
    reference: str
    goal: Goal
    value: float | None
    unit: str = "x"  # of value, low, high and the goal; x is a ratio
    low: float | None = None
    high: float | None = None
    ours: str = ""  # what the two sides were, for people
    theirs: str = ""
    trusted: int = 0
    pairs: int = 0  # 0: not a matter of speed, so nothing to distrust
    note: str = ""
    wrong: str = ""  # a condition of the row that does not hold: it fails whatever the value

    @property
    def resolved(self) -> bool:
        """Whether enough pairs can be trusted: at least half of those that are asked for."""
        return self.value is not None and (self.pairs == 0 or 2 * self.trusted >= min(self.pairs, PAIRS))

    @property
    def verdict(self) -> str:
        """In one word or a few."""
        if self.wrong:
            return f"FAIL: {self.wrong}"
        if self.value is None:
            return "not run"
        if not self.resolved:
            return "not resolved"
        if not self.goal.met(self.value):
            return "FAIL"
        return "pass, later goal too" if self.goal.met_later(self.value) else "pass"


def ratio_of(
    row: str,
    what: str,
    reference: str,
    goal: Goal,
    pairs: Sequence[Pair],
    figure: Callable[[Any], float] = float,
    shown: Callable[[float], str] = "{:.3g}".format,
    note: str = "",
    wrong: str = "",
) -> Result:
    """A row from its pairs: the median of ours over theirs among the trusted ones, and the range of it."""
    chosen = [p for p in pairs if p.trusted] or list(pairs)
    ratios = [figure(p.ours) / figure(p.theirs) for p in chosen]
    return Result(
        row,
        what,
        reference,
        goal,
        median(ratios),
        low=min(ratios),
        high=max(ratios),
        ours=shown(median(figure(p.ours) for p in chosen)),
        theirs=shown(median(figure(p.theirs) for p in chosen)),
        trusted=sum(p.trusted for p in pairs),
        pairs=len(pairs),
        note=note,
        wrong=wrong,
    )


def percentile(values: Sequence[float], share: float) -> float:
    """The value that `share` of them do not exceed: of a hundred, the 99th for 0.99."""
    return sorted(values)[math.ceil(share * len(values)) - 1]
