"""The environment history of a batch: what its eggs lived through, by stage and as a whole, in figures.

A batch's life is a row of stretches: one machine, one stage, constant bands. For each stretch the readings
become one line per quantity (`trace`), the line becomes figures (`figures`, `excursions`), and the figures of
stretches that follow one another are merged into those of the stage and of the whole, without another look at
the readings.

The rules:
- Readings with flag 1 (pass), 2 (not evaluated) and 3 (suspect) make the line, and how much of it rests on suspect ones is
  told; failed ones (4), which cannot be, are counted and stay out. Each quantity goes by its own flag, so a broken humidity sensor takes no temperature
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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from monitor.analysis.history.development import Development
from monitor.analysis.history.excursions import Place
from monitor.analysis.history.felt import Felt, Happening
from monitor.analysis.history.figures import Figures, figures_of, merged
from monitor.analysis.line.stretch import QUANTITIES as QUANTITIES
from monitor.analysis.line.stretch import WET_BULB_FROM_C as WET_BULB_FROM_C
from monitor.analysis.line.stretch import WET_BULB_TO_C as WET_BULB_TO_C
from monitor.analysis.line.stretch import Air as Air
from monitor.analysis.line.stretch import Line, lines_of, parts_of
from monitor.analysis.line.stretch import Readings as Readings
from monitor.analysis.line.stretch import Stretch as Stretch
from monitor.domain.needs.bands import DRY_BULB, RH, WET_BULB
from monitor.domain.needs.profile import Band
from monitor.domain.readings.calibration import Calibration

WHOLE = "whole"


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
    """What a batch lived through: one period per stage, and the whole.

    calibrations: those by which its figures were corrected. felt: doses, estimated eggs and openings, for each stage and at last
    the whole; empty where they were not worked out. happenings: what was done, in order. development: how far the embryos should be,
    None where it was not worked out. given: RH or WET_BULB, whichever of the two the profile gives; the other is derived.
    """

    stages: tuple[Period, ...]
    whole: Period
    calibrations: tuple[Calibration, ...] = ()
    felt: tuple[Felt, ...] = ()
    happenings: tuple[Happening, ...] = ()
    development: Development | None = None
    given: str = RH


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
        _merged(stage, [_period(part) for stretch in run for part in parts_of(stretch)])
        for stage, run in groupby(stretches, key=lambda stretch: stretch.stage)
    )
    return BatchHistory(stages, _merged(WHOLE, stages))


def _merged(stage: str, periods: Sequence[Period]) -> Period:
    return Period(
        stage=stage,
        machines=tuple(dict.fromkeys(machine for period in periods for machine in period.machines)),
        since_ms=periods[0].since_ms,
        until_ms=periods[-1].until_ms,
        dry_bulb_c=merged([period.dry_bulb_c for period in periods]),
        rh_pct=merged([period.rh_pct for period in periods]),
        wet_bulb_c=merged([period.wet_bulb_c for period in periods]),
    )


def _period(stretch: Stretch) -> Period:
    lines = lines_of(stretch)
    machines = (stretch.machine,) if stretch.machine else ()
    return Period(
        stage=stretch.stage,
        machines=machines,
        since_ms=stretch.since_ms,
        until_ms=stretch.until_ms,
        dry_bulb_c=_figures(stretch, lines[DRY_BULB], stretch.dry_bulb_c),
        rh_pct=_figures(stretch, lines[RH], stretch.rh_pct),
        wet_bulb_c=_figures(stretch, lines[WET_BULB], stretch.wet_bulb_c),
    )


def _figures(stretch: Stretch, line: Line, band: Band | None) -> Figures:
    place = Place(stretch.machine, stretch.stage, stretch.since_ms)
    return figures_of(
        line.trace,
        band,
        place,
        max_gap_s=stretch.max_gap_s,
        samples=line.samples,
        flagged=line.flagged,
        doubt=line.doubt,
    )
