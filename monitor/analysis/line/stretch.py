"""A stretch of a batch's life: its readings, and the line that they make of each quantity.

The rules are those of the environment history; see there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from monitor.analysis.line.doubt import Doubt, doubt_of, failed, taken, tests_of
from monitor.analysis.line.trace import Floats, Integers, Mask, Samples, Trace, trace_of
from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.domain.needs.bands import DRY_BULB, RH, WET_BULB
from monitor.domain.needs.profile import Band
from monitor.domain.readings.reading import DAY_MS, SUSPECT

QUANTITIES = (DRY_BULB, RH, WET_BULB)
# Long stretches are worked through in parts of this length, and merged: months of readings then need no more memory
# than days, and the arrays in between stay in the processor's cache.
PART_MS = 2 * DAY_MS
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
    allowed silence of a probe. pressure_kpa: the site's. cabinet: what its egg's model is asked for by, such as
    the kind of the machine's air; "" for its id. probes: whose air it is, in the same order; none where nobody asks. Raises ValueError for a stretch that does not last,
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
    cabinet: str = ""
    probes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.since_ms < self.until_ms:
            raise ValueError(f"{self.where}: until_ms {self.until_ms}, expected above {self.since_ms}")
        if not self.max_gap_s > 0:
            raise ValueError(f"{self.where}: max_gap_s {self.max_gap_s:g}, expected above 0")

    @property
    def egg_in(self) -> str:
        """What its egg's model is asked for by."""
        return self.cabinet or self.machine

    @property
    def where(self) -> str:
        """What messages begin with."""
        return f"stretch in {self.machine or 'no machine'}, stage {self.stage}"


def parts_of(stretch: Stretch) -> Iterator[Stretch]:
    """The stretch in parts of no more than PART_MS, with its readings in order."""
    air = tuple(_in_order(each) for each in stretch.air)
    for since_ms in range(stretch.since_ms, stretch.until_ms, PART_MS):
        until_ms = min(since_ms + PART_MS, stretch.until_ms)
        yield replace(stretch, since_ms=since_ms, until_ms=until_ms, air=air)


@dataclass(frozen=True, slots=True)
class Line:
    """One quantity in one stretch: its line, how many readings of all probes made it, how many failed, and what of it is doubtful."""

    trace: Trace
    samples: int
    flagged: int
    doubt: Doubt


def lines_of(stretch: Stretch) -> Mapping[str, Line]:
    """The line of each quantity in a stretch whose readings are in order, as `parts_of` gives them."""
    length_ms, max_gap_ms = stretch.until_ms - stretch.since_ms, stretch.max_gap_s * 1000.0
    probes = [_readings(stretch, air) for air in stretch.air]

    def line(quantity: str) -> Line:
        measured = [probe[quantity] for probe in probes]
        trace = trace_of([each.line for each in measured], max_gap_ms=max_gap_ms, length_ms=length_ms)
        doubt = doubt_of(
            [(*each.line, each.tests) for each in measured if each.tests], max_gap_ms=max_gap_ms, length_ms=length_ms
        )
        return Line(trace, sum(each.samples for each in measured), sum(each.flagged for each in measured), doubt)

    return {quantity: line(quantity) for quantity in QUANTITIES}


def dry_bulb_samples(stretch: Stretch) -> list[Samples]:
    """For each probe of a stretch the dry bulbs about it that make the line, for `trace_of`."""
    return samples_of(stretch, DRY_BULB)


def samples_of(stretch: Stretch, quantity: str) -> list[Samples]:
    """The same of DRY_BULB or RH, without the wet bulb, which takes most of the time."""
    near = [_near(stretch, air) for air in stretch.air]
    if quantity == DRY_BULB:
        return [_measured(each, each.dry_bulb_c, taken(each.flag)) for each in near]
    return [_measured(each, each.rh_pct, taken(each.rh_flag)) for each in near]


@dataclass(frozen=True, slots=True)
class _Measured:
    """One quantity of one probe about one stretch: the samples of its line, and counts inside the stretch. tests: by which test each of
    these is doubtful; empty where none is."""

    line: Samples
    samples: int
    flagged: int
    tests: Mapping[str, Mask]


@dataclass(frozen=True, slots=True)
class _Near:
    """The readings of one probe near enough to a stretch to bear on its line, and their times from its start."""

    relative_ms: Floats
    within: Mask
    dry_bulb_c: Floats
    rh_pct: Floats
    flag: Integers
    rh_flag: Integers


def _near(stretch: Stretch, air: Air) -> _Near:
    air = _in_order(air)
    reach_ms = int(stretch.max_gap_s * 2000.0) + 1  # twice: what lies beyond the edge has a neighbour too
    first, last = np.searchsorted(air.at_ms, (stretch.since_ms - reach_ms, stretch.until_ms + reach_ms))
    near = slice(int(first), int(last))
    at_ms = air.at_ms[near]
    return _Near(
        relative_ms=(at_ms - stretch.since_ms).astype(np.float64),
        within=(at_ms >= stretch.since_ms) & (at_ms < stretch.until_ms),
        dry_bulb_c=air.dry_bulb_c[near],
        rh_pct=np.minimum(air.rh_pct[near], 100.0),
        flag=air.flag[near],
        rh_flag=air.rh_flag[near],
    )


def _measured(near: _Near, values: Floats, good: Mask) -> Samples:
    used = good & np.isfinite(values)
    return near.relative_ms[used], values[used]


def _readings(stretch: Stretch, air: Air) -> Mapping[str, _Measured]:
    """What one probe says about a stretch, by quantity."""
    near = _near(stretch, air)
    dry_bulb_c, rh_pct = near.dry_bulb_c, near.rh_pct

    def measured(values: Floats, *, good: Mask, flagged: Mask, tests: Mapping[str, Mask]) -> _Measured:
        used = good & np.isfinite(values)
        return _Measured(
            line=(near.relative_ms[used], values[used]),
            samples=int((used & near.within).sum()),
            flagged=int((flagged & near.within).sum()),
            tests={name: doubtful[used] for name, doubtful in tests.items()},
        )

    good, good_rh = taken(near.flag), taken(near.rh_flag)
    flagged, flagged_rh = failed(near.flag), failed(near.rh_flag)
    doubts, doubts_rh = _tests(dry_bulb_c, near.flag, warm=True), _tests(rh_pct, near.rh_flag, warm=False)
    warm, humid = np.isfinite(dry_bulb_c), np.isfinite(rh_pct)
    both = warm & humid & (dry_bulb_c >= WET_BULB_FROM_C) & (dry_bulb_c <= WET_BULB_TO_C) & (rh_pct >= 0.0)
    wet = np.full(dry_bulb_c.size, np.nan)
    pairs = good & good_rh & both
    wet[pairs] = wet_bulb_c(dry_bulb_c[pairs], rh_pct[pairs], stretch.pressure_kpa)
    of_both = {
        name: doubts.get(name, _NONE) | doubts_rh.get(name, _NONE) for name in dict.fromkeys((*doubts, *doubts_rh))
    }
    return {
        DRY_BULB: measured(dry_bulb_c, good=good, flagged=flagged & warm, tests=doubts),
        RH: measured(rh_pct, good=good_rh, flagged=flagged_rh & humid, tests=doubts_rh),
        WET_BULB: measured(wet, good=good & good_rh, flagged=(flagged | flagged_rh) & both, tests=of_both),
    }


_NONE = np.zeros(1, dtype=np.bool_)


def _tests(values: Floats, flag: Integers, *, warm: bool) -> Mapping[str, Mask]:
    """By which test each is doubtful; empty where none is, as nearly always."""
    suspect: Mask = flag == SUSPECT
    return tests_of(values, suspect, warm=warm) if suspect.any() else {}


def _in_order(air: Air) -> Air:
    """The readings by time, each time once: of equal ones the last given."""
    if (np.diff(air.at_ms) > 0).all():
        return air
    order = np.argsort(air.at_ms, kind="stable")
    rows = order[np.append(np.diff(air.at_ms[order]) > 0, True)]
    return Readings(air.at_ms[rows], air.dry_bulb_c[rows], air.rh_pct[rows], air.flag[rows], air.rh_flag[rows])
