"""How hard the air has pulled on the eggs' water: the deficit that the record shows, added up over time.

The deficit is the vapour pressure saturated at the egg's temperature (estimated by `domain/eggs/temperature`) less that of the air around
it. Its sum over time, in kPa·d, is the pull. An egg loses water in proportion to it, and the factor is the egg's conductance.

The rules are those of the environment history: good readings only, nothing made up over a silence longer than allowed, the
median of the probes. How much of the time was recorded is added up beside the pull; what to assume of the rest is for
`loss` to say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.analysis.line.doubt import taken
from monitor.analysis.line.stretch import WET_BULB_FROM_C, WET_BULB_TO_C, Air, Stretch
from monitor.analysis.line.trace import Floats, Integers, Samples, trace_of
from monitor.domain.air.psychrometrics import deficit_kpa, vapour_kpa
from monitor.domain.eggs.temperature import EggModel, run
from monitor.domain.readings.reading import DAY_MS

# The pull is kept at each quarter of an hour: between two, an egg loses a thousandth of its whole loss.
BIN_MS = 900_000


@dataclass(frozen=True, slots=True)
class Pull:
    """The pull on the eggs of a batch, added up from set_ms.

    at_ms rises; pull_kpa_d and recorded_d are the sums up to each time: of the deficit while it is known, and of that time
    in days. Neither falls behind at_ms: where the record has a hole, both stand still. Between two times they run straight.
    """

    set_ms: int
    at_ms: Integers
    pull_kpa_d: Floats
    recorded_d: Floats

    def until(self, at_ms: int) -> tuple[float, float]:
        """(pull in kPa·d, days recorded) from the first time up to at_ms; nothing is known outside the times."""
        return (
            float(np.interp(at_ms, self.at_ms, self.pull_kpa_d)),
            float(np.interp(at_ms, self.at_ms, self.recorded_d)),
        )

    @property
    def mean_kpa(self) -> float | None:
        """The mean deficit of the time that is recorded; None where none is."""
        days = float(self.recorded_d[-1])
        return float(self.pull_kpa_d[-1]) / days if days > 0.0 else None


def pull_of(stretches: Sequence[Stretch], models: Mapping[str, EggModel], set_ms: int) -> Pull:
    """The pull on the eggs of a batch over its life.

    Parameters
        stretches: of the batch, one after another, as for the environment history; those in no machine, or in one without
            humidity, leave a hole. models: the egg in each machine, by `Stretch.egg_in`. set_ms: day 0 of the embryo's heat.
    Returns
        The sums from set_ms to the end of the last stretch, at every BIN_MS.
    Raises
        ValueError: no stretches, or a machine with air and no model.
    """
    if not stretches:
        raise ValueError("water pull: no stretches, expected one or more")
    at_ms, pull, recorded = [np.array([stretches[0].since_ms])], [np.zeros(1)], [np.zeros(1)]
    for stretch in stretches:
        edges_ms = _edges(stretch)
        in_bins, covered = _sums(stretch, models, set_ms=set_ms, edges_ms=edges_ms)
        at_ms.append(edges_ms[1:])
        pull.append(pull[-1][-1] + np.cumsum(in_bins))
        recorded.append(recorded[-1][-1] + np.cumsum(covered))
    return Pull(set_ms, np.concatenate(at_ms), np.concatenate(pull), np.concatenate(recorded))


def mean_air(stretches: Sequence[Stretch], since_ms: int) -> tuple[float | None, float | None]:
    """(dry bulb, °C; RH, %) of all good readings from since_ms on; None where there is none.

    Each reading counts alike, for a probe sends at a steady pace. RH above 100 % counts as 100 %.
    """
    dry, humid = [np.empty(0)], [np.empty(0)]
    for stretch in stretches:
        for air in stretch.air:
            inside = (air.at_ms >= max(since_ms, stretch.since_ms)) & (air.at_ms < stretch.until_ms)
            for values, flag, kept in ((air.dry_bulb_c, air.flag, dry), (air.rh_pct, air.rh_flag, humid)):
                kept.append(values[inside & taken(flag) & np.isfinite(values)])
    dry_bulb_c, rh_pct = np.concatenate(dry), np.minimum(np.concatenate(humid), 100.0)
    return (
        float(dry_bulb_c.mean()) if dry_bulb_c.size else None,
        float(rh_pct.mean()) if rh_pct.size else None,
    )


def _edges(stretch: Stretch) -> Integers:
    return np.append(np.arange(stretch.since_ms, stretch.until_ms, BIN_MS, dtype=np.int64), stretch.until_ms)


def _sums(
    stretch: Stretch, models: Mapping[str, EggModel], *, set_ms: int, edges_ms: Integers
) -> tuple[Floats, Floats]:
    """Pull (kPa·d) and days recorded, in each bin of a stretch."""
    if stretch.air and stretch.egg_in not in models:
        raise ValueError(f"{stretch.where}: no model of its egg, expected one")
    probes = [_deficits(stretch, air, models[stretch.egg_in], set_ms=set_ms) for air in stretch.air]
    length_ms = stretch.until_ms - stretch.since_ms
    trace = trace_of(probes, max_gap_ms=stretch.max_gap_s * 1000.0, length_ms=length_ms)
    bins = len(edges_ms) - 1
    if trace.empty:
        return np.zeros(bins), np.zeros(bins)
    lasts = trace.end_ms - trace.start_ms
    edges = (edges_ms - stretch.since_ms).astype(np.float64)
    piece = np.clip(np.searchsorted(trace.start_ms, edges, side="right") - 1, 0, None)
    into = np.clip(edges - trace.start_ms[piece], 0.0, lasts[piece])
    slope = (trace.last[piece] - trace.first[piece]) / lasts[piece]
    before_ms = np.concatenate(([0.0], np.cumsum(lasts)))[piece]
    before = np.concatenate(([0.0], np.cumsum((trace.first + trace.last) * 0.5 * lasts)))[piece]
    covered = np.diff(before_ms + into) / DAY_MS
    return np.diff(before + (trace.first[piece] + 0.5 * slope * into) * into) / DAY_MS, covered


def _deficits(stretch: Stretch, air: Air, model: EggModel, *, set_ms: int) -> Samples:
    """The deficit at each good reading of a probe, with times from the start of the stretch."""
    with np.errstate(invalid="ignore"):
        warm = (air.dry_bulb_c >= WET_BULB_FROM_C) & (air.dry_bulb_c <= WET_BULB_TO_C)
        good = warm & (air.rh_pct >= 0.0)
    for flag in (air.flag, air.rh_flag):  # the deficit needs both quantities
        good &= taken(flag)
    # Each time once, of equal ones the last given: np.unique keeps the first of the reversed.
    at_ms, newest = np.unique(air.at_ms[good][::-1], return_index=True)
    dry_bulb_c = air.dry_bulb_c[good][::-1][newest]
    rh_pct = np.minimum(air.rh_pct[good][::-1][newest], 100.0)
    if not at_ms.size:
        return np.empty(0), np.empty(0)
    egg_c = run(model, (at_ms - at_ms[0]) / 1000.0, dry_bulb_c, day0=(int(at_ms[0]) - set_ms) / DAY_MS)
    return (at_ms - stretch.since_ms).astype(np.float64), deficit_kpa(egg_c, vapour_kpa(dry_bulb_c, rh_pct))
