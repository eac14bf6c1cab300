"""`eggroom calibrate`: a probe held against a reference; a person's figures as a request, and the list of calibrations."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime

from monitor.cli.frame import Asked, Parsers, Wrong, command, go_on, show
from monitor.cli.record import ask, begun, house_of, opened
from monitor.cli.typed import add_by, typed_by, typed_temperature, typed_when
from monitor.domain.air.units import fahrenheit_difference_to_k
from monitor.domain.fixed import fixed
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.calibration import (
    MAX_OFFSET,
    OFFSET_UNITS,
    WORDS,
    Calibration,
    CalibrationError,
    Correction,
    due_after,
    in_force,
    salt_rh_pct,
)
from monitor.domain.refusal import one_of
from monitor.settings import House
from monitor.shown.calibrations import calibrated_text, in_all_words, list_text, list_view

_NUMBER = re.compile(r"[+−-]?(?:[0-9]{1,6}(?:[.,][0-9]*)?|[.,][0-9]+)")
_MONTHS = re.compile(r"([0-9]{1,3})mo")
MAX_MONTHS = 120
LARGE = {DRY_BULB: 1.0, RH: 5.0}  # K, %RH: beyond what the makers of the probes in README allow them (judgement)


@fixed(kw_only=True)
class Calibrate(Asked):
    """calibrate"""

    probe: str | None
    listed: bool
    offset: str | None
    points: Sequence[str] | None
    rh_offset: str | None
    salt: Sequence[str] | None
    at_temperature: str | None
    at: str
    since: str | None
    due: str | None
    by: str
    note: str
    take_back: bool
    sure: bool


def add(parsers: Parsers) -> None:
    """Say what `calibrate` takes."""
    calibrate = command(parsers["calibrate"], _calibrate, Calibrate)
    calibrate.add_argument("probe", nargs="?", metavar="PROBE", help="such as node-a/top")
    calibrate.add_argument(
        "--list", dest="listed", action="store_true", help="the calibrations of the probe, or of all"
    )
    calibrate.add_argument(
        "--offset", default=None, metavar="K", help="reference minus what the screen shows, such as 0.3K or 0.5F"
    )
    help_ = "one or two, such as 36.8=37.0 38.9=39.1"
    calibrate.add_argument("--points", nargs="+", default=None, metavar="READ=TRUE", help=help_)
    calibrate.add_argument(
        "--rh-offset", default=None, metavar="PERCENT", help="reference minus what the screen shows, in %%RH"
    )
    help_ = "such as sodium-chloride=73.1; once or twice"
    calibrate.add_argument("--salt", action="append", default=None, metavar="SALT=READ", help=help_)
    calibrate.add_argument("--at-temperature", default=None, metavar="T", help="of the jar with the salt, such as 25C")
    calibrate.add_argument("--at", default="now", metavar="TIME", help="when it was made (default: now)")
    since = "from when on it holds: start, or a time (default: the first from the start, a later one from --at)"
    calibrate.add_argument("--since", default=None, metavar="TIME", help=since)
    calibrate.add_argument("--due", default=None, metavar="TIME", help="when to make it again: a date, or 12mo")
    add_by(calibrate)
    calibrate.add_argument("--note", default="")
    calibrate.add_argument(
        "--take-back", action="store_true", help="the last one of the probe was a mistake: it reads as before it"
    )
    calibrate.add_argument(
        "--sure", action="store_true", help="also where it changes more than probes are off as a rule"
    )


def _calibrate(options: Calibrate) -> int:
    if options.probe is None or options.listed:
        return _list(options)
    house = house_of(options.config)
    if options.take_back:
        return _take_back(options, house)
    zone, at = house.site.zone, typed_when(options.at, house.site.zone, options.utc)
    try:
        request = {"do": "calibrate", "probe": options.probe, **corrections_asked(options, house.site.unit)}
        due = None if options.due is None else due_asked(options.due, at)
    except ValueError as error:
        raise Wrong(str(error)) from error
    if options.due is not None:
        request["due"] = (typed_when(options.due, zone, options.utc, ahead=True) if due is None else due).isoformat()
    if options.since is not None:
        since = options.since
        request["since"] = "start" if since == "start" else typed_when(since, zone, options.utc).isoformat()
    if options.at != "now":  # the daemon's own now lies a moment later than ours, or on another clock
        request["at"] = at.isoformat()
    earlier: list[Calibration] = []
    if begun(house):
        with opened(house) as history:
            earlier = [c for c in history.calibrations() if c.probe == options.probe]
    corrected = _as_shown(earlier, at)
    for quantity, correction in corrected.items():
        if quantity in request:
            request[quantity] = _beyond(request[quantity], correction)
    _ask_if_large(options, request)
    answer = ask(house, {**request, "by": typed_by(options.by, house.settings.site.by), "note": options.note})
    text = calibrated_text(answer, house.site, options.utc())
    if any(quantity in request for quantity in corrected):
        text += f"; counted from what the screen showed, {in_all_words(answer, house.site)} in all"
    return show(options.json, answer, text)


def _as_shown(earlier: Sequence[Calibration], at: datetime) -> dict[str, Correction]:
    """How what was shown at that time differs from what the sensor sent, by quantity: a reference is held against what one sees. What was made
    later corrects that time too, but only since."""
    made = [calibration for calibration in earlier if calibration.at <= at]
    found = {quantity: in_force(made, quantity, at) for quantity in (DRY_BULB, RH)}
    corrections = {quantity: dict(c.corrections())[quantity] for quantity, c in found.items() if c is not None}
    return {quantity: c for quantity, c in corrections.items() if (c.slope, c.offset) != (1.0, 0.0)}


def _beyond(asked: object, shown: Correction) -> dict[str, object]:
    """What was measured against the shown value, as it is against what the sensor sends."""
    assert isinstance(asked, dict)

    def sent(value: float) -> float:
        return round((value - shown.offset) / shown.slope, 6)

    if "points" in asked:
        return {"points": [[sent(read), true] for read, true in asked["points"]]}
    if "salts" in asked:
        return {**asked, "salts": [[salt, sent(read)] for salt, read in asked["salts"]]}
    by = float(asked["offset"])
    if shown.slope == 1.0:
        return {"offset": round(shown.offset + by, 6)}
    return {"points": [[point.reading, round(shown.of(point.reading) + by, 6)] for point in shown.points]}


def _take_back(options: Calibrate, house: House) -> int:
    measured = (options.offset, options.points, options.salt, options.rh_offset, options.at_temperature)
    if (
        any(given is not None for given in (*measured, options.since, options.due))
        or options.at != "now"
        or options.note
    ):
        raise Wrong("calibrate: --take-back, expected it alone, with --by at most: it undoes what was said before")
    by = typed_by(options.by, house.settings.site.by)
    answer = ask(house, {"do": "calibrate", "probe": options.probe, "back": True, "by": by})
    return show(options.json, answer, f"taken back: {calibrated_text(answer, house.site, options.utc())}")


def _ask_if_large(options: Calibrate, request: Mapping[str, object]) -> None:
    """Ask before a correction that is larger than sensors are off as a rule: a slip of it would hide a danger. Raises Wrong, or Failed for a no."""
    for quantity, most in LARGE.items():
        by = _largest(request.get(quantity))
        if by is not None and most < abs(by) <= MAX_OFFSET[quantity]:  # what is beyond that is refused, however sure
            unit = OFFSET_UNITS[quantity]
            go_on(
                f"{options.probe}: {WORDS[quantity]} {by:+.2f} {unit}, more than {most:g} {unit}",
                "calibrate by so much",
                sure=options.sure,
            )


def _largest(asked: object) -> float | None:
    """By how much a correction moves a reading where it moves it most, K or %RH; None where nothing is asked."""
    if not isinstance(asked, dict):
        return None
    if "offset" in asked:
        return float(asked["offset"])
    try:
        salts = [(read, salt_rh_pct(salt, asked["temperature_c"])) for salt, read in asked.get("salts", ())]
    except CalibrationError:  # refused where it is asked for
        return None
    pairs = [*asked.get("points", ()), *salts]
    return max((float(true) - float(read) for read, true in pairs), key=abs)


def _list(options: Calibrate) -> int:
    house = house_of(options.config)
    probe, now = options.probe, options.utc()
    measured = (options.offset, options.points, options.salt, options.rh_offset)
    if probe is None and any(given is not None for given in measured):
        raise Wrong(f"calibrate: which probe, expected one of: {', '.join(house.site.probes)}")
    with opened(house) as history:
        found = [c for c in history.calibrations() if probe in (None, c.probe)]
    if probe is not None and not found and probe not in house.site.probes:
        raise Wrong(f"probe {probe!r}: no such probe, {one_of(probe, house.site.probes)}")
    return show(options.json, list_view(found, now), list_text(found, house.site, probe, now=now))


def corrections_asked(options: Calibrate, unit: str) -> dict[str, object]:
    """The request's own part: what was measured, in °C, K and %RH. Raises ValueError with one line."""
    if options.offset is not None and options.points is not None:
        raise ValueError("calibrate: --offset and --points, expected one of them")
    if options.rh_offset is not None and options.salt is not None:
        raise ValueError("calibrate: --rh-offset and --salt, expected one of them")
    if options.salt is not None and options.at_temperature is None:
        raise ValueError("calibrate: --salt, expected --at-temperature with it, such as 25C")
    asked: dict[str, object] = {}
    if options.offset is not None:
        asked[DRY_BULB] = {"offset": _difference_k(options.offset, unit)}
    if options.points is not None:
        pairs = [_pair(text, "36.8=37.0") for text in options.points]
        asked[DRY_BULB] = {"points": [[typed_temperature(a, unit), typed_temperature(b, unit)] for a, b in pairs]}
    if options.rh_offset is not None:
        asked[RH] = {"offset": _number(options.rh_offset, "--rh-offset", "1.5")}
    if options.salt is not None and options.at_temperature is not None:
        rows = [_pair(text, "sodium-chloride=73.1") for text in options.salt]
        salts = [[name.strip().lower().replace(" ", "-"), _number(read, name, "73.1")] for name, read in rows]
        asked[RH] = {"salts": salts, "temperature_c": typed_temperature(options.at_temperature, unit)}
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


def _pair(text: str, such_as: str) -> tuple[str, str]:
    reading, equals, reference = text.partition("=")
    if not (reading.strip() and equals and reference.strip()):
        raise ValueError(f"calibrate: {text[:40]!r}, expected such as {such_as}")
    return reading, reference


def _difference_k(text: str, unit: str) -> float:
    number, letter = text.strip(), ""
    if number[-1:].upper() in ("K", "C", "F"):
        number, letter = number[:-1].rstrip(" °º"), number[-1].upper()
    if not letter and unit == "F":
        raise ValueError(f"calibrate: --offset {text[:40]!r}, expected a number and its unit, such as 0.5F or 0.3K")
    value = _number(number, "--offset", "0.3K")
    return fahrenheit_difference_to_k(value) if letter == "F" else value


def _number(text: str, about: str, such_as: str) -> float:
    figure = re.sub(r" ?%(?:RH)?$", "", text.strip(), flags=re.IGNORECASE)
    if not _NUMBER.fullmatch(figure):
        raise ValueError(f"calibrate: {about[:40]} {text[:40]!r}, expected a number, such as {such_as}")
    return float(figure.replace(",", ".").replace("−", "-"))
