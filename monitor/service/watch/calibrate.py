"""The request `calibrate`: from what a person measured to a calibration, and what it changes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.calibration import (
    Calibration,
    Correction,
    Point,
    by_offset,
    by_points,
    by_salts,
    in_force,
)
from monitor.service.watch.requests import ByOffset, ByPoints, BySalts

USUAL = {DRY_BULB: 37.5, RH: 55.0}  # where a change is told that differs from place to place, if no point says another


def correction_of(quantity: str, asked: ByOffset | ByPoints | BySalts | None) -> Correction | None:
    """The correction that a request asks for; None where it asks for none. Raises CalibrationError."""
    match asked:
        case None:
            return None
        case ByOffset():
            return by_offset(quantity, asked.offset)
        case ByPoints():
            return by_points(quantity, [Point(reading, reference) for reading, reference in asked.points])
        case BySalts():
            return by_salts(asked.salts, asked.temperature_c)


def changes(
    earlier: Sequence[Calibration], later: Sequence[Calibration], calibration: Calibration, *, at: datetime
) -> list[dict[str, object]]:
    """By how much what the probe says at an instant is higher with the later calibrations than with the earlier, for people.

    One row for each point of the calibration; `reading` is None where the change is the same for every reading.
    """
    rows: list[dict[str, object]] = []
    for quantity, correction in calibration.corrections():
        before, after = _at(earlier, quantity, at), _at(later, quantity, at)
        same = before.slope == after.slope
        readings = [None] if same else [p.reading for p in correction.points] or [USUAL[quantity]]
        for reading in readings:
            value = USUAL[quantity] if reading is None else reading
            by = round(after.of(value) - before.of(value), 4)
            rows.append({"quantity": quantity, "reading": reading, "by": by})
    return rows


def _at(calibrations: Sequence[Calibration], quantity: str, at: datetime) -> Correction:
    found = in_force(calibrations, quantity, at)
    correction: Correction | None = None if found is None else getattr(found, quantity)
    return correction if correction is not None else Correction(1.0, 0.0)
