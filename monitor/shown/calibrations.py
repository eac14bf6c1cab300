"""Calibrations for people and programs: what a new one changes, and the list of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from monitor.domain.air.units import Unit, celsius_to_fahrenheit, k_to_fahrenheit_difference
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import (
    OFFSET_UNITS,
    TAKEN_BACK,
    UNITS,
    WORDS,
    Calibration,
    Correction,
    Point,
    overdue,
    standing,
)
from monitor.domain.readings.view import calibration_view
from monitor.domain.wall import printable, sheet_time

if TYPE_CHECKING:
    from monitor.service.ports import Answer

JUST_NOW_S = 60.0  # what holds from so short a time ago has no record yet to speak of


def said(calibration: Calibration, unit: Unit = "C") -> str:
    """What it corrects, in words: `temperature +0.30 K`, `humidity 73.1 is 75.3 %RH (sodium-chloride)`."""
    return corrected_words(calibration.corrections(), unit)


def corrected_words(corrections: Iterable[tuple[str, Correction]], unit: Unit = "C") -> str:
    """The same of (quantity, its correction) of each quantity."""
    return "; ".join(_said(quantity, correction, unit) for quantity, correction in corrections)


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


def calibrated_text(answer: Answer, site: Site, now: datetime) -> str:
    """What a calibration changes, in a sentence."""
    since = None if answer["since"] is None else datetime.fromisoformat(answer["since"])
    begins = "the beginning of the record" if since is None else _time(since, site)
    if not answer["in_force"]:
        return f"{answer['probe']}: reads as before, for a later calibration holds now; this one holds from {begins} until then"
    changed = [_change(row, site) for row in answer["changes"] if row["by"]]
    reads = f"reads {', '.join(changed)} from now on" if changed else "reads as before"
    if since is None:
        record = "the record of before too"
    elif (now - since).total_seconds() < JUST_NOW_S:
        record = "the record of before stays"
    else:
        record = f"the record since {begins} too"
    return f"{answer['probe']}: {reads}; {record}"


def list_view(calibrations: Sequence[Calibration], now: datetime) -> list[dict[str, object]]:
    """Each calibration as a plain mapping, with whether it is in force, and overdue."""
    return [
        calibration_view(c, said(c)) | {"in_force": here, "overdue": here and overdue(c, now)}
        for c, here in _ranked(calibrations, now)
    ]


def list_text(calibrations: Sequence[Calibration], site: Site, probe: str | None, *, now: datetime) -> str:
    """The calibrations, probe by probe, oldest first, each that was taken back as that; and the probes that have none."""
    lines: list[str] = []
    for probe_ in sorted({each.probe for each in calibrations}):
        own = [each for each in calibrations if each.probe == probe_]
        back = _taken_back(own)
        stand = [each for each in own if each.note != TAKEN_BACK and id(each) not in back]
        here = standing(stand, now)
        for each in sorted((each for each in own if each.note != TAKEN_BACK), key=lambda c: c.at):
            lines += _listed(each, site, now, in_force=any(each is one for one in here), back=back.get(id(each)))
    have = {each.probe for each in calibrations}
    never = [key for key in site.probes if key not in have and probe in (None, key)]
    if never:
        lines.append(f"never calibrated: {', '.join(never)}")
    return "\n".join(lines)


def _taken_back(own: Sequence[Calibration]) -> dict[int, Calibration]:
    """What took back each calibration of a probe that was, by the `id` of that one. own: in the order in which they were added."""
    return {id(before): after for before, after in pairwise(own) if after.note == TAKEN_BACK}


def _listed(each: Calibration, site: Site, now: datetime, *, in_force: bool, back: Calibration | None) -> Iterator[str]:
    made = f"made {_time(each.at, site)}{_by(each)}"
    what = f"{each.probe}: {said(each, _unit(site))}"
    if back is not None:
        yield f"{what} (taken back {_time(back.at, site)}{_by(back)})"
        yield f"  {made}"
    else:
        since = "the beginning of the record" if each.since is None else _time(each.since, site)
        due = "" if each.due is None else f", due {each.due.astimezone(site.zone):%Y-%m-%d}"
        late = ": OVERDUE" if in_force and overdue(each, now) else ""
        yield f"{what}{'' if in_force else ' (no longer in force)'}"
        yield f"  {made}, holds from {since}{due}{late}"
    if each.note:
        yield f"  {printable(each.note)}"


def _by(calibration: Calibration) -> str:
    return f" by {printable(calibration.by)}" if calibration.by else ""


def in_all_words(answer: Answer, site: Site) -> str:
    """`temperature +0.40 K`: all that a calibration corrects, as it answers a request."""
    views = [(quantity, answer[quantity]) for quantity in (DRY_BULB, RH) if answer[quantity] is not None]
    return corrected_words([(quantity, _correction(view)) for quantity, view in views], _unit(site))


def _correction(view: Answer) -> Correction:
    points = [Point(point["reading"], point["reference"], point["salt"] or "") for point in view["points"]]
    return Correction(view["slope"], view["offset"], tuple(points))


def _ranked(calibrations: Sequence[Calibration], now: datetime) -> list[tuple[Calibration, bool]]:
    """(calibration, whether it is in force now), by probe, each probe's in the order they were made."""
    rows = []
    for probe in sorted({each.probe for each in calibrations}):
        own = [each for each in calibrations if each.probe == probe]
        here = standing(own, now)
        rows += [(each, any(each is one for one in here)) for each in sorted(own, key=lambda c: c.at)]
    return rows


def _change(row: Answer, site: Site) -> str:
    fahrenheit = row["quantity"] == DRY_BULB and site.unit == "F"
    by, reading = row["by"], row["reading"]
    if fahrenheit:
        by, reading = k_to_fahrenheit_difference(by), None if reading is None else celsius_to_fahrenheit(reading)
    unit = "%RH" if row["quantity"] == RH else f"°{site.unit}"
    difference = "K" if unit == "°C" else unit
    where = "" if reading is None else f" at {reading:.2f} {unit}"
    return f"{abs(by):.2f} {difference} {'higher' if by > 0 else 'lower'}{where}"


def _time(at: datetime, site: Site) -> str:
    return sheet_time(at, site.zone)


def _unit(site: Site) -> Unit:
    return "F" if site.unit == "F" else "C"
