"""The request `calibrate`: from what a person measured to a calibration, and what it changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.calibration import (
    WORDS,
    Calibration,
    CalibrationError,
    Correction,
    Point,
    by_offset,
    by_points,
    by_salts,
    in_force,
)

USUAL = {DRY_BULB: 37.5, RH: 55.0}  # where a change is told that differs from place to place, if no point says another


def correction_of(quantity: str, asked: Any) -> Correction | None:
    """The correction that a request asks for; None where it asks for none. Raises CalibrationError.

    asked: {"offset": K or %RH}, {"points": [[reading, reference], ...]} in °C or %RH, or, for humidity,
    {"salts": [[name, reading], ...], "temperature_c": ...}.
    """
    if asked is None:
        return None
    keys = set(asked) if isinstance(asked, Mapping) else set()
    if keys == {"offset"}:
        return by_offset(quantity, _number(quantity, asked["offset"]))
    if keys == {"points"}:
        rows = _rows(quantity, asked["points"])
        return by_points(quantity, [Point(_number(quantity, a), _number(quantity, b)) for a, b in rows])
    if quantity == RH and keys == {"salts", "temperature_c"}:
        salts = [(str(name), _number(quantity, read)) for name, read in _rows(quantity, asked["salts"])]
        return by_salts(salts, _number("temperature_c", asked["temperature_c"]))
    salts_too = " or salts and temperature_c" if quantity == RH else ""
    raise CalibrationError(f"{quantity}: {repr(asked)[:60]}, expected an offset or points{salts_too}")


def changes(
    earlier: Sequence[Calibration], later: Sequence[Calibration], calibration: Calibration, at: datetime
) -> list[dict[str, Any]]:
    """By how much what the probe says at an instant is higher with the later calibrations than with the earlier, for people.

    One row for each point of the calibration; `reading` is None where the change is the same for every reading.
    """
    rows: list[dict[str, Any]] = []
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


def _rows(quantity: str, asked: Any) -> list[tuple[Any, Any]]:
    if not isinstance(asked, Sequence) or isinstance(asked, str):
        raise CalibrationError(f"{quantity}: {repr(asked)[:60]}, expected a list of pairs")
    rows = []
    for row in asked:
        if not isinstance(row, Sequence) or isinstance(row, str) or len(row) != 2:
            raise CalibrationError(f"{quantity}: {repr(row)[:60]}, expected a pair")
        rows.append((row[0], row[1]))
    return rows


def _number(about: str, asked: Any) -> float:
    if isinstance(asked, bool) or not isinstance(asked, (int, float)) or not -1e6 < asked < 1e6:
        raise CalibrationError(f"{WORDS.get(about, about)}: {repr(asked)[:40]}, expected a number")
    return float(asked)
