"""A calibration as a plain mapping for programs."""

from __future__ import annotations

from monitor.domain.readings.calibration import WORDS, Calibration, Correction
from monitor.domain.wall import utc_text


def calibration_view(calibration: Calibration, what: str) -> dict[str, object]:
    """One calibration: °C, K and %RH whatever the site shows; RFC 3339 times; since is None from the beginning of the record. what: in words."""
    corrections = dict(calibration.corrections())
    return {
        "probe": calibration.probe,
        "at": utc_text(calibration.at),
        "since": None if calibration.since is None else utc_text(calibration.since),
        "due": None if calibration.due is None else utc_text(calibration.due),
        "by": calibration.by,
        "note": calibration.note,
        "what": what,
        **{quantity: _correction_view(corrections.get(quantity)) for quantity in WORDS},
    }


def _correction_view(correction: Correction | None) -> dict[str, object] | None:
    if correction is None:
        return None
    points = [
        {"reading": p.reading, "reference": round(p.reference, 4), "salt": p.salt or None} for p in correction.points
    ]
    return {"slope": round(correction.slope, 6), "offset": round(correction.offset, 6), "points": points}
