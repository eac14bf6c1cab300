"""What `eggroom calibrate` reads and prints: a person's figures as a request, its answer and the list of calibrations in words."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from monitor.domain.air.units import (
    Unit,
    celsius_to_fahrenheit,
    fahrenheit_difference_to_k,
    k_to_fahrenheit_difference,
    parse_temperature,
)
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import Calibration, due_after, overdue, standing
from monitor.domain.readings.calibration_words import calibration_view, said
from monitor.domain.wall import printable

_NUMBER = re.compile(r"[+−-]?(?:[0-9]{1,6}(?:[.,][0-9]*)?|[.,][0-9]+)")
_MONTHS = re.compile(r"([0-9]{1,3})mo")
MAX_MONTHS = 120
JUST_NOW_S = 60.0  # what holds from so short a time ago has no record yet to speak of


def corrections_asked(options: Any, unit: Unit) -> dict[str, Any]:
    """The request's own part: what was measured, in °C, K and %RH. Raises ValueError with one line.

    options: offset, points, salt, at_temperature, rh_offset as typed, None where not given.
    """
    if options.offset is not None and options.points is not None:
        raise ValueError("calibrate: --offset and --points, expected one of them")
    if options.rh_offset is not None and options.salt is not None:
        raise ValueError("calibrate: --rh-offset and --salt, expected one of them")
    if options.salt is not None and options.at_temperature is None:
        raise ValueError("calibrate: --salt, expected --at-temperature with it, such as 25C")
    asked: dict[str, Any] = {}
    if options.offset is not None:
        asked[DRY_BULB] = {"offset": _difference_k(options.offset, unit)}
    if options.points is not None:
        pairs = [_pair(text, "36.8=37.0") for text in options.points]
        asked[DRY_BULB] = {"points": [[_temperature_c(a, unit), _temperature_c(b, unit)] for a, b in pairs]}
    if options.rh_offset is not None:
        asked[RH] = {"offset": _number(options.rh_offset, "--rh-offset", "1.5")}
    if options.salt is not None:
        rows = [_pair(text, "sodium-chloride=73.1") for text in options.salt]
        salts = [[name.strip().lower().replace(" ", "-"), _number(read, name, "73.1")] for name, read in rows]
        asked[RH] = {"salts": salts, "temperature_c": _temperature_c(options.at_temperature, unit)}
    if not asked:
        raise ValueError("calibrate: nothing measured, expected --offset, --points, --rh-offset or --salt (or --list)")
    return asked


def due_asked(text: str, at: datetime) -> datetime | None:
    """The time so many months (`12mo`) after `at`; None for a text that is no number of months. Raises ValueError with one line."""
    match = _MONTHS.fullmatch(text.strip())
    if match is None:
        return None
    if not 1 <= int(match[1]) <= MAX_MONTHS:
        raise ValueError(f"calibrate: --due {text[:40]!r}, expected 1mo to {MAX_MONTHS}mo")
    return due_after(at, int(match[1]))


def calibrated_text(answer: Mapping[str, Any], site: Site, now: datetime) -> str:
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


def list_view(calibrations: Sequence[Calibration], now: datetime) -> list[dict[str, Any]]:
    """Each calibration as a plain mapping, with whether it is in force, and overdue."""
    return [
        calibration_view(c) | {"in_force": here, "overdue": here and overdue(c, now)}
        for c, here in _ranked(calibrations, now)
    ]


def list_text(calibrations: Sequence[Calibration], site: Site, probe: str | None, now: datetime) -> str:
    """The calibrations, probe by probe, oldest first; and the probes that have none."""
    lines: list[str] = []
    for each, here in _ranked(calibrations, now):
        by = f" by {printable(each.by)}" if each.by else ""
        since = "the beginning of the record" if each.since is None else _time(each.since, site)
        due = "" if each.due is None else f", due {each.due.astimezone(site.zone):%Y-%m-%d}"
        late = ": OVERDUE" if here and overdue(each, now) else ""
        lines.append(f"{each.probe}: {said(each, _unit(site))}{'' if here else ' (no longer in force)'}")
        lines.append(f"  made {_time(each.at, site)}{by}, holds from {since}{due}{late}")
        if each.note:
            lines.append(f"  {printable(each.note)}")
    have = {each.probe for each in calibrations}
    never = [key for key in site.probes if key not in have and probe in (None, key)]
    if never:
        lines.append(f"never calibrated: {', '.join(never)}")
    return "\n".join(lines)


def _ranked(calibrations: Sequence[Calibration], now: datetime) -> list[tuple[Calibration, bool]]:
    """(calibration, whether it is in force now), by probe, each probe's in the order they were made."""
    rows = []
    for probe in sorted({each.probe for each in calibrations}):
        own = [each for each in calibrations if each.probe == probe]
        here = standing(own, now)
        rows += [(each, any(each is one for one in here)) for each in sorted(own, key=lambda c: c.at)]
    return rows


def _change(row: Mapping[str, Any], site: Site) -> str:
    fahrenheit = row["quantity"] == DRY_BULB and site.unit == "F"
    by, reading = row["by"], row["reading"]
    if fahrenheit:
        by, reading = k_to_fahrenheit_difference(by), None if reading is None else celsius_to_fahrenheit(reading)
    unit = "%RH" if row["quantity"] == RH else f"°{site.unit}"
    difference = "K" if unit == "°C" else unit
    where = "" if reading is None else f" at {reading:.2f} {unit}"
    return f"{abs(by):.2f} {difference} {'higher' if by > 0 else 'lower'}{where}"


def _time(at: datetime, site: Site) -> str:
    return f"{at.astimezone(site.zone):%Y-%m-%d %H:%M}"


def _unit(site: Site) -> Unit:
    return "F" if site.unit == "F" else "C"


def _pair(text: str, such_as: str) -> tuple[str, str]:
    reading, equals, reference = text.partition("=")
    if not (reading.strip() and equals and reference.strip()):
        raise ValueError(f"calibrate: {text[:40]!r}, expected such as {such_as}")
    return reading, reference


def _temperature_c(text: str, unit: Unit) -> float:
    """With its unit; a bare number is °C where the site shows °C. Where it shows °F nobody can know which was meant."""
    bare = _NUMBER.fullmatch(text.strip()) is not None
    return parse_temperature(f"{text}C" if bare and unit == "C" else text)


def _difference_k(text: str, unit: Unit) -> float:
    number, letter = text.strip(), ""
    if number[-1:].upper() in ("K", "C", "F"):
        number, letter = number[:-1].rstrip(" °º"), number[-1].upper()
    if not letter and unit == "F":
        raise ValueError(f"calibrate: --offset {text[:40]!r}, expected a number and its unit, such as 0.5F or 0.3K")
    value = _number(number, "--offset", "0.3K")
    return fahrenheit_difference_to_k(value) if letter == "F" else value


def _number(text: str, about: str, such_as: str) -> float:
    if not _NUMBER.fullmatch(text.strip()):
        raise ValueError(f"calibrate: {about[:40]} {text[:40]!r}, expected a number, such as {such_as}")
    return float(text.strip().replace(",", ".").replace("−", "-"))
