"""A calibration for people, and as a plain mapping for programs."""

from __future__ import annotations

from monitor.domain.air.units import Unit, celsius_to_fahrenheit, k_to_fahrenheit_difference
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.readings.calibration import OFFSET_UNITS, UNITS, WORDS, Calibration, Correction
from monitor.domain.wall import utc_text


def calibration_view(calibration: Calibration) -> dict[str, object]:
    """One calibration: °C, K and %RH whatever the site shows; RFC 3339 times; since is None from the beginning of the record."""
    corrections = dict(calibration.corrections())
    return {
        "probe": calibration.probe,
        "at": utc_text(calibration.at),
        "since": None if calibration.since is None else utc_text(calibration.since),
        "due": None if calibration.due is None else utc_text(calibration.due),
        "by": calibration.by,
        "note": calibration.note,
        "what": said(calibration, "C"),
        **{quantity: _correction_view(corrections.get(quantity)) for quantity in WORDS},
    }


def _correction_view(correction: Correction | None) -> dict[str, object] | None:
    if correction is None:
        return None
    points = [
        {"reading": p.reading, "reference": round(p.reference, 4), "salt": p.salt or None} for p in correction.points
    ]
    return {"slope": round(correction.slope, 6), "offset": round(correction.offset, 6), "points": points}


def said(calibration: Calibration, unit: Unit) -> str:
    """What it corrects, in words: `temperature +0.30 K`, `humidity 73.1 is 75.3 %RH (sodium-chloride)`."""
    return "; ".join(_said(quantity, correction, unit) for quantity, correction in calibration.corrections())


def _said(quantity: str, correction: Correction, unit: Unit) -> str:
    name, points, fahrenheit = WORDS[quantity], correction.points, quantity == DRY_BULB and unit == "F"
    if not points:
        offset = k_to_fahrenheit_difference(correction.offset) if fahrenheit else correction.offset
        return f"{name} {offset:+.2f} {'°F' if fahrenheit else OFFSET_UNITS[quantity]}"
    digits = 2 if quantity == DRY_BULB else 1
    rows = [
        f"{celsius_to_fahrenheit(p.reading) if fahrenheit else p.reading:.{digits}f} is "
        f"{celsius_to_fahrenheit(p.reference) if fahrenheit else p.reference:.{digits}f} "
        f"{'°F' if fahrenheit else UNITS[quantity]}{f' ({p.salt})' if p.salt else ''}"
        for p in points
    ]
    return f"{name} {', '.join(rows)}"
