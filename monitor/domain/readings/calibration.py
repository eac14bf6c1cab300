"""Calibration of a probe: what it read beside a reference, and what follows from that for every reading.

Raw values are kept as they came; they are corrected when they are read. So a calibration added today also mends the record from
before it was made, as far back as it is said to hold. Each quantity is corrected by itself: one that a calibration says nothing
about keeps the correction it had.

A salt stirred with a little water in a closed jar keeps the air above it at a known humidity. One salt gives an offset, two give
a line.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from itertools import pairwise
from typing import NamedTuple

from monitor.domain.fixed import fixed
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.quality import RH_PCT_FAIL
from monitor.domain.refusal import Refusal

# Further off a probe is broken, or a figure mistyped.
MAX_OFFSET = {DRY_BULB: 5.0, RH: 20.0}  # K, %RH
# Of two points closer together the line would be made of their errors: 0.1 K in each, over 1 K, is 20 % of slope.
MIN_APART = {DRY_BULB: 1.0, RH: 10.0}
SLOPES = {DRY_BULB: (0.8, 1.25), RH: (0.5, 2.0)}  # a line steeper or flatter than this is no probe's
# Where a reference can be: an ice bath to a hot room; what a humidity sensor can say.
RANGE = {DRY_BULB: (-5.0, 80.0), RH: RH_PCT_FAIL}
UNITS = {DRY_BULB: "°C", RH: "%RH"}
OFFSET_UNITS = {DRY_BULB: "K", RH: "%RH"}
WORDS = {DRY_BULB: "temperature", RH: "humidity"}

TAKEN_BACK = "taken back"  # the note of what stands in the place of a calibration that was a mistake

SALT_C = (20.0, 25.0, 30.0, 35.0, 40.0)
# %RH over the saturated solution at SALT_C. L. Greenspan, "Humidity fixed points of binary saturated aqueous solutions", J. Res.
# NBS 81A (1977) 89-96: his polynomials evaluated, but for sodium bromide and magnesium nitrate, whose values are his table's from
# memory (25 °C confirmed by a published kit's table). Potassium carbonate was measured up to 30 °C.
SALTS: dict[str, tuple[float, ...]] = {
    "lithium-chloride": (11.31, 11.30, 11.29, 11.26, 11.22),
    "magnesium-chloride": (33.07, 32.79, 32.45, 32.05, 31.61),
    "potassium-carbonate": (43.16, 43.17, 43.18),
    "magnesium-nitrate": (54.38, 52.89, 51.40, 49.91, 48.42),
    "sodium-bromide": (59.14, 57.57, 56.03, 54.55, 53.17),
    "sodium-chloride": (75.48, 75.30, 75.09, 74.88, 74.69),
    "potassium-chloride": (85.11, 84.35, 83.63, 82.95, 82.32),
    "potassium-nitrate": (94.62, 93.59, 92.31, 90.79, 89.03),
    "potassium-sulfate": (97.60, 97.30, 97.01, 96.71, 96.42),
}


class CalibrationError(Refusal):
    """A calibration that cannot be; the message is one line for a person."""


class Point(NamedTuple):
    """What a probe read, what was true then, and the salt that made it true ('' where it was no salt)."""

    reading: float
    reference: float
    salt: str = ""


@fixed
class Correction:
    """Of one quantity: slope times the reading, plus offset (K or %RH). points: what it was made from, none for a plain offset."""

    slope: float
    offset: float
    points: tuple[Point, ...] = ()

    def of(self, value: float) -> float:
        """A reading, corrected."""
        return self.slope * value + self.offset


@fixed
class Calibration:
    """One calibration of one probe (`node/probe`).

    at: when it was made. since: from when on it holds; None: from the beginning of the record. due: when it should be made
    again. dry_bulb_c, rh_pct: the corrections; at least one is given.
    """

    probe: str
    at: datetime
    since: datetime | None = None
    due: datetime | None = None
    by: str = ""
    note: str = ""
    dry_bulb_c: Correction | None = None
    rh_pct: Correction | None = None

    def corrections(self) -> tuple[tuple[str, Correction], ...]:
        """(quantity, its correction) of each quantity that was calibrated."""
        return tuple((q, c) for q, c in ((DRY_BULB, self.dry_bulb_c), (RH, self.rh_pct)) if c is not None)


# --- making one


def by_offset(quantity: str, offset: float) -> Correction:
    """Reference minus reading, K or %RH. Raises CalibrationError for one that is too far off."""
    _not_too_far(quantity, offset)
    return Correction(1.0, offset)


def by_points(quantity: str, points: Sequence[Point]) -> Correction:
    """An offset through one point, a line through two. Raises CalibrationError for points that make no sense."""
    name = WORDS[quantity]
    if not 1 <= len(points) <= 2:
        raise CalibrationError(name, f"{len(points)} points", "one or two")
    low, high = RANGE[quantity]
    for point in points:
        for value in (point.reading, point.reference):
            if not low <= value <= high:
                raise CalibrationError("", f"{name} {value:g}", f"{low:g} to {high:g} {UNITS[quantity]}")
        _not_too_far(quantity, point.reference - point.reading)
    if len(points) == 1:
        return Correction(1.0, points[0].reference - points[0].reading, tuple(points))
    first, second = sorted(points)
    apart, least = second.reading - first.reading, MIN_APART[quantity]
    if not (apart >= least and abs(second.reference - first.reference) >= least):
        raise CalibrationError(name, f"points {_shown(points)} are too close together", f"{least:g} or more apart")
    slope = (second.reference - first.reference) / apart
    flat, steep = SLOPES[quantity]
    if not flat <= slope <= steep:
        expected = f"{flat:g} to {steep:g}"
        raise CalibrationError(name, f"points {_shown(points)} give a slope of {slope:.2f}", expected)
    # Through the middle: the rounding is then shared by both ends.
    middle, true = (first.reading + second.reading) / 2.0, (first.reference + second.reference) / 2.0
    return Correction(slope, true - slope * middle, (first, second))


def salt_rh_pct(salt: str, temperature_c: float) -> float:
    """Humidity over a saturated solution of the salt, %RH, straight between the five temperatures of SALT_C.

    That is within 0.04 %RH of a curve through them; their uncertainty is 0.1 to 1.2 %RH (from memory). Raises CalibrationError
    for a salt that is not in SALTS, and for a temperature out of its range.
    """
    values = SALTS.get(salt)
    if values is None:
        raise CalibrationError(f"salt {salt[:40]!r}", "not in the table", f"one of: {', '.join(SALTS)}")
    table = list(zip(SALT_C, values, strict=False))
    if not table[0][0] <= temperature_c <= table[-1][0]:
        low, high = table[0][0], table[-1][0]
        raise CalibrationError(salt, f"{temperature_c:g} °C", f"{low:g} to {high:g} °C")
    (from_c, before), (to_c, after) = next(two for two in pairwise(table) if temperature_c <= two[1][0])
    return before + (after - before) * (temperature_c - from_c) / (to_c - from_c)


def by_salts(readings: Sequence[tuple[str, float]], temperature_c: float) -> Correction:
    """The humidity's correction from (salt, what the probe read over it): one or two of them. Raises CalibrationError."""
    return by_points(RH, [Point(read, salt_rh_pct(salt, temperature_c), salt) for salt, read in readings])


def check(calibration: Calibration) -> None:
    """Raises CalibrationError for one that corrects nothing, or is due before it was made."""
    if not calibration.corrections():
        raise CalibrationError(calibration.probe, "nothing to correct", "a temperature or a humidity")
    at, due = calibration.at, calibration.due
    if due is not None and due <= at:
        raise CalibrationError(calibration.probe, ("made ", at, ", due ", due), "a later day")


def since_by_default(calibration: Calibration, earlier: Iterable[Calibration]) -> datetime | None:
    """From when on it holds if nobody says otherwise: the first of a probe from the beginning of the record, a later one from its `at`.

    The first is the first of its quantity: a probe's humidity may be calibrated long after its temperature.
    """
    known = {quantity for each in earlier for quantity, _ in each.corrections()}
    first = known.isdisjoint(quantity for quantity, _ in calibration.corrections())
    return None if first else calibration.at


def taken_back(probe: str, earlier: Sequence[Calibration], *, at: datetime, by: str) -> Calibration:
    """What takes the place of a probe's last calibration, and holds from when on that one held: what was in force before it. Nothing is struck out.

    earlier: every calibration of the probe, in the order they were added. Raises CalibrationError where there is none to take back.
    """
    if not earlier:
        raise CalibrationError(probe, "never calibrated", "a calibration to take back")
    *before, last = earlier
    if last.note == TAKEN_BACK:
        raise CalibrationError(probe, "its last calibration is taken back already")
    held = last.since or _START

    def was(quantity: str) -> Correction:
        found = in_force(before, quantity, held)
        correction: Correction | None = None if found is None else getattr(found, quantity)
        return correction or Correction(1.0, 0.0)

    return Calibration(
        probe, max(at, last.at), last.since, by=by, note=TAKEN_BACK,
        dry_bulb_c=None if last.dry_bulb_c is None else was(DRY_BULB), rh_pct=None if last.rh_pct is None else was(RH),
    )  # fmt: skip


def due_after(at: datetime, months: int) -> datetime:
    """So many calendar months later, at the end of a month that is too short for the day."""
    year, month = divmod(at.year * 12 + at.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return at.replace(year=year, month=month + 1, day=min(at.day, last))


def _not_too_far(quantity: str, offset: float) -> None:
    most = MAX_OFFSET[quantity]
    if not -most <= offset <= most:  # also not a number
        unit = OFFSET_UNITS[quantity]
        raise CalibrationError(
            f"{WORDS[quantity]}", f"{offset:+.2f} {unit} off", f"at most {most:g}: a probe so far off is broken"
        )


def _shown(points: Iterable[Point]) -> str:
    return " and ".join(f"{p.reading:g}={p.reference:g}" for p in points)


# --- what holds when


def in_force(calibrations: Iterable[Calibration], quantity: str, at: datetime) -> Calibration | None:
    """The calibration of a probe that corrects the quantity at an instant: the newest `since` not after it, of equals the newest `at`."""
    best: Calibration | None = None
    for each in calibrations:
        if getattr(each, quantity) is None or (each.since is not None and each.since > at):
            continue
        if best is None or _age(each) >= _age(best):
            best = each
    return best


def by_time(calibrations: Iterable[Calibration], quantity: str) -> list[Calibration]:
    """Those of a probe that correct the quantity, in the order in which each takes the place of the one before."""
    return sorted((c for c in calibrations if getattr(c, quantity) is not None), key=_age)


def standing(calibrations: Iterable[Calibration], at: datetime) -> tuple[Calibration, ...]:
    """The calibrations of a probe that are in force for anything at an instant: one, or one for each quantity."""
    known = tuple(calibrations)
    found = [in_force(known, quantity, at) for quantity in (DRY_BULB, RH)]
    return tuple(each for each in known if any(each is one for one in found))


def applied(calibrations: Iterable[Calibration], since: datetime, until: datetime) -> tuple[Calibration, ...]:
    """The calibrations of a probe that correct anything at any time from since to before until, in the order given."""
    known = tuple(calibrations)
    found: list[Calibration] = []
    for quantity in (DRY_BULB, RH):
        end = until
        for each in reversed(by_time(known, quantity)):
            begin = max(_age(each)[0], since)
            if begin < end:
                found.append(each)
                end = begin
    return tuple(each for each in known if any(each is one for one in found))


def overdue(calibration: Calibration, now: datetime) -> bool:
    """Whether it should have been made again by now."""
    return calibration.due is not None and calibration.due <= now


def corrected(  # noqa: PLR0917 - with each reading
    calibrations: Sequence[Calibration], at: datetime, dry_bulb_c: float, rh_pct: float | None
) -> tuple[float, float | None]:
    """One reading of a probe, corrected by its calibrations.

    The humidity stays within what a sensor may say (0 to 104 %): a little over saturation is left for whoever judges or averages
    to count as 100 %, as it is without a calibration; below nothing is nothing.
    """
    if not calibrations:
        return dry_bulb_c, rh_pct
    dry = in_force(calibrations, DRY_BULB, at)
    if dry is not None and dry.dry_bulb_c is not None:
        dry_bulb_c = dry.dry_bulb_c.of(dry_bulb_c)
    if rh_pct is not None:
        humid = in_force(calibrations, RH, at)
        if humid is not None and humid.rh_pct is not None:
            rh_pct = min(max(humid.rh_pct.of(rh_pct), RH_PCT_FAIL[0]), RH_PCT_FAIL[1])
    return dry_bulb_c, rh_pct


_START = datetime.min.replace(tzinfo=UTC)


def _age(calibration: Calibration) -> tuple[datetime, datetime]:
    return calibration.since or _START, calibration.at
