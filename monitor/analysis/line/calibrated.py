"""Readings of one probe as its calibrations correct them: the same figures as `calibration.corrected` gives one by one, in whole arrays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.analysis.line.stretch import Air, Readings
from monitor.analysis.line.trace import Floats, Integers
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.calibration import Calibration, by_time
from monitor.domain.readings.quality import RH_PCT_FAIL
from monitor.domain.readings.reading import to_ms

_BEGINNING = -(2**62)  # before every label


def corrected_air(air: Air, calibrations: Sequence[Calibration]) -> Air:
    """The readings, each by the calibration of its probe that is in force at its time.

    air: raw, as `Readings`. Flags stay: they are of what the probe said. NaN stays NaN. Without a calibration it is `air` itself. The
    humidity stays within 0 to 104 %, see `calibration.corrected`.
    """
    if not calibrations:
        return air
    dry_bulb_c = _corrected(air.at_ms, air.dry_bulb_c, calibrations, quantity=DRY_BULB)
    rh_pct = _corrected(air.at_ms, air.rh_pct, calibrations, quantity=RH)
    if rh_pct is not air.rh_pct:
        rh_pct = np.clip(rh_pct, *RH_PCT_FAIL)
    return Readings(air.at_ms, dry_bulb_c, rh_pct, air.flag, air.rh_flag)


def _corrected(at_ms: Integers, values: Floats, calibrations: Sequence[Calibration], *, quantity: str) -> Floats:
    steps = by_time(calibrations, quantity)
    if not steps:
        return values
    since_ms = np.array([_BEGINNING if c.since is None else to_ms(c.since) for c in steps], dtype=np.int64)
    corrections = [getattr(c, quantity) for c in steps]
    # Place 0 is before the first of them, where nothing is corrected.
    slope = np.array([1.0, *(c.slope for c in corrections)])
    offset = np.array([0.0, *(c.offset for c in corrections)])
    place = np.searchsorted(since_ms, at_ms, side="right")
    right: Floats = slope[place] * values + offset[place]
    return right
