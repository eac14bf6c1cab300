"""The environment history of a batch: what its eggs lived through, by stage and as a whole, in figures.

A batch's life is a row of stretches: one machine, one stage, constant bands. For each stretch the readings
become one line per quantity (`trace`), the line becomes figures (`figures`, `excursions`), and the figures of
stretches that follow one another are merged into those of the stage and of the whole, without another look at
the readings.

The rules:
- Only readings with flag 1 (pass) or 2 (not evaluated) make the line. Suspect and failed ones (3, 4) are
  counted and stay out. Each quantity goes by its own flag, so a broken humidity sensor takes no temperature
  away; the wet bulb needs both.
- Readings may come in any order; of those with equal times the last one given stands.
- Between good readings of a probe no farther apart than max_gap_s the quantity runs straight; wider apart is
  a gap, over which nothing is made up. A reading alone between two gaps is counted, and has no share of time.
- Mean and spread are weighted by time. Minimum, maximum, crossings and areas are those of the line: exact,
  not sampled.
- Several probes in a machine: the median of their lines (of two, the mean), see `trace_of`.
- Relative humidity above 100 % counts as 100 %: a sensor may say a little more than saturation. Wet bulb is
  the thermodynamic one, from each probe's own pair of values.
- In, above and below refer to the warning limits of the band; to its alarm limit on a side that has no
  warning limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import Protocol

import numpy as np

from monitor.analysis.excursions import Place
from monitor.analysis.figures import Figures, figures_of, merged
from monitor.analysis.trace import Floats, Integers, Mask, Samples, trace_of
from monitor.domain.bands import DRY_BULB, RH, WET_BULB
from monitor.domain.calibration import Calibration
from monitor.domain.profile import Band
from monitor.domain.psychrometrics import wet_bulb_c
from monitor.domain.reading import FAIL, NOT_EVALUATED, PASS, SUSPECT

QUANTITIES = (DRY_BULB, RH, WET_BULB)
WHOLE = "whole"
# Long stretches are worked through in parts of this length, and merged: months of readings then need no more memory
# than days, and the arrays in between stay in the processor's cache.
PART_MS = 2 * 86_400_000
WET_BULB_FROM_C, WET_BULB_TO_C = -40.0, 80.0  # dry bulbs that have one: the range of `psychrometrics`


class Air(Protocol):
    """The readings of one probe: at_ms int64; dry_bulb_c, rh_pct float64 (NaN where missing); flag (of the dry bulb), rh_flag int64."""

    @property
    def at_ms(self) -> Integers: ...
    @property
    def dry_bulb_c(self) -> Floats: ...
    @property
    def rh_pct(self) -> Floats: ...
    @property
    def flag(self) -> Integers: ...
    @property
    def rh_flag(self) -> Integers: ...


@dataclass(frozen=True, slots=True)
class Readings:
    """The readings of one probe, put in order or corrected."""

    at_ms: Integers
    dry_bulb_c: Floats
    rh_pct: Floats
    flag: Integers
    rh_flag: Integers


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a batch's life in one machine and one stage, with constant bands: since_ms <= t < until_ms.

    dry_bulb_c, rh_pct, wet_bulb_c: the bands; None where nothing is judged. air: the readings of each probe
    in the machine, none for a time in no machine (which then is a gap). They should reach twice max_gap_s
    beyond both ends, so that the line is cut there and does not stop short; more does no harm. max_gap_s: the
    allowed silence of a probe. pressure_kpa: the site's. Raises ValueError for a stretch that does not last,
    or a max_gap_s that is not above 0.
    """

    machine: str
    stage: str
    since_ms: int
    until_ms: int
    dry_bulb_c: Band | None
    rh_pct: Band | None
    wet_bulb_c: Band | None
    air: tuple[Air, ...]
    max_gap_s: float
    pressure_kpa: float

    def __post_init__(self) -> None:
        if not self.since_ms < self.until_ms:
            raise ValueError(f"{self.where}: until_ms {self.until_ms}, expected above {self.since_ms}")
        if not self.max_gap_s > 0:
            raise ValueError(f"{self.where}: max_gap_s {self.max_gap_s:g}, expected above 0")

    @property
    def where(self) -> str:
        """What messages begin with."""
        return f"stretch in {self.machine or 'no machine'}, stage {self.stage}"


@dataclass(frozen=True, slots=True)
class Period:
    """The figures of one stage, or of the whole (stage `whole`); machines in the order the eggs met them."""

    stage: str
    machines: tuple[str, ...]
    since_ms: int
    until_ms: int
    dry_bulb_c: Figures
    rh_pct: Figures
    wet_bulb_c: Figures

    def figures(self) -> Iterator[tuple[str, Figures]]:
        """(quantity, its figures), in the order of QUANTITIES."""
        for quantity in QUANTITIES:
            yield quantity, getattr(self, quantity)


@dataclass(frozen=True, slots=True)
class BatchHistory:
    """What a batch lived through: one period per stage, and the whole. calibrations: those by which its figures were corrected."""

    stages: tuple[Period, ...]
    whole: Period
    calibrations: tuple[Calibration, ...] = ()


def history_of(stretches: Sequence[Stretch]) -> BatchHistory:
    """The figures of a batch's life.

    Parameters
        stretches: one or more, each starting where the one before ends; time in no machine is a stretch
        without air.
    Returns
        One period per unbroken run of stretches with the same stage, and the whole, merged from them.
    Raises
        ValueError: no stretches, or stretches that do not follow one another.
    """
    if not stretches:
        raise ValueError("environment history: no stretches, expected one or more")
    for before, after in pairwise(stretches):
        if before.until_ms != after.since_ms:
            expected = f"{before.until_ms}, where the one before ends"
            raise ValueError(f"{after.where}: since_ms {after.since_ms}, expected {expected}")
    stages = tuple(
        _merged(stage, [_period(part) for stretch in run for part in _parts(stretch)])
        for stage, run in groupby(stretches, key=lambda stretch: stretch.stage)
    )
    return BatchHistory(stages, _merged(WHOLE, stages))


def _merged(stage: str, periods: Sequence[Period]) -> Period:
    return Period(
        stage,
        tuple(dict.fromkeys(machine for period in periods for machine in period.machines)),
        periods[0].since_ms,
        periods[-1].until_ms,
        merged([period.dry_bulb_c for period in periods]),
        merged([period.rh_pct for period in periods]),
        merged([period.wet_bulb_c for period in periods]),
    )


def _parts(stretch: Stretch) -> Iterator[Stretch]:
    """The stretch in parts of no more than PART_MS, with its readings in order."""
    air = tuple(_in_order(each) for each in stretch.air)
    for since_ms in range(stretch.since_ms, stretch.until_ms, PART_MS):
        until_ms = min(since_ms + PART_MS, stretch.until_ms)
        yield replace(stretch, since_ms=since_ms, until_ms=until_ms, air=air)


def _period(stretch: Stretch) -> Period:
    probes = [_readings(stretch, air) for air in stretch.air]
    machines = (stretch.machine,) if stretch.machine else ()
    return Period(
        stretch.stage,
        machines,
        stretch.since_ms,
        stretch.until_ms,
        _figures(stretch, [probe[DRY_BULB] for probe in probes], stretch.dry_bulb_c),
        _figures(stretch, [probe[RH] for probe in probes], stretch.rh_pct),
        _figures(stretch, [probe[WET_BULB] for probe in probes], stretch.wet_bulb_c),
    )


@dataclass(frozen=True, slots=True)
class _Measured:
    """One quantity of one probe about one stretch: the samples of its line, and counts inside the stretch."""

    line: Samples
    samples: int
    flagged: int


def _figures(stretch: Stretch, probes: Sequence[_Measured], band: Band | None) -> Figures:
    length_ms, max_gap_ms = stretch.until_ms - stretch.since_ms, stretch.max_gap_s * 1000.0
    trace = trace_of([probe.line for probe in probes], max_gap_ms, length_ms)
    place = Place(stretch.machine, stretch.stage, stretch.since_ms)
    samples, flagged = sum(probe.samples for probe in probes), sum(probe.flagged for probe in probes)
    return figures_of(trace, band, place, stretch.max_gap_s, samples, flagged)


def _readings(stretch: Stretch, air: Air) -> Mapping[str, _Measured]:
    """What one probe says about a stretch, by quantity, without readings too far off to bear on its line."""
    reach_ms = int(stretch.max_gap_s * 2000.0) + 1  # twice: what lies beyond the edge has a neighbour too
    first, last = np.searchsorted(air.at_ms, (stretch.since_ms - reach_ms, stretch.until_ms + reach_ms))
    near = slice(int(first), int(last))
    at_ms, dry_bulb_c, flag, rh_flag = air.at_ms[near], air.dry_bulb_c[near], air.flag[near], air.rh_flag[near]
    rh_pct = np.minimum(air.rh_pct[near], 100.0)
    within = (at_ms >= stretch.since_ms) & (at_ms < stretch.until_ms)
    relative_ms = (at_ms - stretch.since_ms).astype(np.float64)

    def measured(values: Floats, given: Mask, good: Mask, flagged: Mask) -> _Measured:
        used = good & given
        counts = int((used & within).sum()), int((flagged & given & within).sum())
        return _Measured((relative_ms[used], values[used]), *counts)

    good, good_rh = _good(flag), _good(rh_flag)
    flagged, flagged_rh = _flagged(flag), _flagged(rh_flag)
    good_both, flagged_any = good & good_rh, flagged | flagged_rh
    warm, humid = np.isfinite(dry_bulb_c), np.isfinite(rh_pct)
    both = warm & humid & (dry_bulb_c >= WET_BULB_FROM_C) & (dry_bulb_c <= WET_BULB_TO_C) & (rh_pct >= 0.0)
    wet = np.full(at_ms.size, np.nan)
    pairs = good_both & both
    wet[pairs] = wet_bulb_c(dry_bulb_c[pairs], rh_pct[pairs], stretch.pressure_kpa)
    return {
        DRY_BULB: measured(dry_bulb_c, warm, good, flagged),
        RH: measured(rh_pct, humid, good_rh, flagged_rh),
        WET_BULB: measured(wet, both, good_both, flagged_any),
    }


def _good(flag: Integers) -> Mask:
    good: Mask = (flag == PASS) | (flag == NOT_EVALUATED)
    return good


def _flagged(flag: Integers) -> Mask:
    flagged: Mask = (flag == SUSPECT) | (flag == FAIL)
    return flagged


def _in_order(air: Air) -> Air:
    """The readings by time, each time once: of equal ones the last given."""
    if (np.diff(air.at_ms) > 0).all():
        return air
    order = np.argsort(air.at_ms, kind="stable")
    rows = order[np.append(np.diff(air.at_ms[order]) > 0, True)]
    return Readings(air.at_ms[rows], air.dry_bulb_c[rows], air.rh_pct[rows], air.flag[rows], air.rh_flag[rows])
