"""A batch's environment history as programs read it: JSON and CSV, with the same numbers under the same names.

Both are in UTC (RFC 3339), °C, K and %RH whatever the site shows, so that files of several sites can be laid
together. Values and spreads are rounded to 4 decimals (a sensor's step is 0.01); hours, coverage and areas to
6 (0.004 s in a time), so that many small excursions still add up.

JSON: `stages` and `whole` hold the figures; `limits`, `excursions` and `gaps` are listed once, for the whole, and so are the
`calibrations` that corrected the readings.
What is not known is null.

CSV: one table. Its first column says what a row is: `figures` (one row per stage and quantity, then the
whole), `limits`, `excursion`, `gap` or `calibration`. A cell that does not apply, or is not known, is empty; the header
tells the units. RFC 4180: commas, CRLF, quotes where needed. A text that a spreadsheet would take for a
formula gets an apostrophe in front.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import UTC, datetime

from monitor.analysis.environment import BatchHistory, Period
from monitor.analysis.excursions import Excursion
from monitor.analysis.figures import Figures, Gap, Limits
from monitor.analysis.history_text import Header
from monitor.domain.calibration_words import calibration_view
from monitor.domain.reading import from_ms

Record = dict[str, object]

# Each column of the CSV by its key in a record: the header, with the unit, in the order of the columns.
COLUMNS = {
    "kind": "kind",
    "batch": "batch",
    "profile": "profile",
    "eggs": "eggs",
    "set_at": "set at (UTC)",
    "stage": "stage",
    "machine": "machine",
    "quantity": "quantity",
    "since": "since (UTC)",
    "until": "until (UTC)",
    "hours_total": "length (h)",
    "hours_covered": "covered (h)",
    "coverage": "coverage (0 to 1)",
    "mean": "mean (C or %RH)",
    "sd": "sd (K or %RH)",
    "min": "min (C or %RH)",
    "min_at": "min at (UTC)",
    "max": "max (C or %RH)",
    "max_at": "max at (UTC)",
    "hours_in": "in band (h)",
    "hours_above": "above (h)",
    "hours_below": "below (h)",
    "hours_unjudged": "not judged (h)",
    "degree_hours_above": "area above (K h or %RH h)",
    "degree_hours_below": "area below (K h or %RH h)",
    "max_gap_s": "allowed silence (s)",
    "longest_gap_s": "longest gap (s)",
    "longest_gap_since": "longest gap since (UTC)",
    "gaps": "gaps",
    "excursions": "excursions",
    "samples": "good readings",
    "flagged": "flagged readings",
    "low": "low limit (C or %RH)",
    "high": "high limit (C or %RH)",
    "side": "side",
    "limit": "limit (C or %RH)",
    "peak": "peak (C or %RH)",
    "peak_at": "peak at (UTC)",
    "area": "area (K h or %RH h)",
    "cut_by_gap": "cut by a gap",
    "at_start": "outside from the start",
    "open": "open",
    "probe": "probe",
    "at": "calibrated at (UTC)",
    "what": "correction",
    "due": "due again (UTC)",
    "by": "by",
}
FORMULA = ("=", "+", "-", "@")


def to_json(history: BatchHistory, header: Header) -> Record:
    """The history as plain values for `json.dumps`: strings, finite numbers, booleans, None, lists and dictionaries."""
    return {
        **_header(header),
        "units": {"temperature": "°C", "difference": "K", "humidity": "%RH", "area": "K·h or %RH·h"},
        "judged_by": "warning limits; alarm limit on a side without one",
        "stages": [_period(period) for period in history.stages],
        "whole": _period(history.whole),
        "limits": list(_limits(history.whole)),
        "excursions": list(_excursions(history.whole)),
        "gaps": list(_gaps(history.whole)),
        "calibrations": [calibration_view(each) for each in history.calibrations],
    }


def to_csv(history: BatchHistory, header: Header) -> str:
    """The history as one table, its lines ended by CRLF; write it to a file opened with newline=""."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(COLUMNS), restval="", lineterminator="\r\n")
    writer.writerow(COLUMNS)
    about = _header(header)
    for record in _rows(history):
        writer.writerow({key: _cell(value) for key, value in {**about, **record}.items()})
    return text.getvalue()


def _rows(history: BatchHistory) -> Iterator[Record]:
    for period in (*history.stages, history.whole):
        for quantity, figures in period.figures():
            where = {"stage": period.stage, "machine": " ".join(period.machines), "quantity": quantity}
            yield {"kind": "figures", **where, **_figures(figures)}
    for kind, records in (
        ("limits", _limits(history.whole)),
        ("excursion", _excursions(history.whole)),
        ("gap", _gaps(history.whole)),
    ):
        for record in records:
            yield {"kind": kind, **record}
    for each in history.calibrations:
        view = calibration_view(each)
        yield {"kind": "calibration", **{key: view[key] for key in ("probe", "at", "since", "what", "due", "by")}}


def _header(header: Header) -> Record:
    return {
        "batch": header.batch,
        "profile": header.profile,
        "eggs": header.eggs,
        "set_at": _utc(header.set_at),
    }


def _period(period: Period) -> Record:
    return {
        "stage": period.stage,
        "machines": list(period.machines),
        **{quantity: _figures(figures) for quantity, figures in period.figures()},
    }


def _figures(figures: Figures) -> Record:
    longest = figures.longest_gap
    return {
        **_span(figures),
        "hours_covered": _exact(figures.hours_covered),
        "coverage": _exact(figures.coverage),
        "mean": _value(figures.mean),
        "sd": _value(figures.sd),
        "min": _value(figures.min),
        "min_at": _time(figures.min_at_ms),
        "max": _value(figures.max),
        "max_at": _time(figures.max_at_ms),
        "hours_in": _exact(figures.hours_in),
        "hours_above": _exact(figures.hours_above),
        "hours_below": _exact(figures.hours_below),
        "hours_unjudged": _exact(figures.hours_unjudged),
        "degree_hours_above": _exact(figures.degree_hours_above),
        "degree_hours_below": _exact(figures.degree_hours_below),
        "max_gap_s": figures.max_gap_s,
        "longest_gap_s": figures.longest_gap_s,
        "longest_gap_since": _time(longest.since_ms if longest is not None else None),
        "gaps": len(figures.gaps),
        "excursions": len(figures.excursions),
        "samples": figures.samples,
        "flagged": figures.flagged,
    }


def _limits(whole: Period) -> Iterator[Record]:
    for quantity, figures in whole.figures():
        for each in figures.limits:
            yield {"quantity": quantity, **_span(each), "low": _value(each.low), "high": _value(each.high)}


def _excursions(whole: Period) -> Iterator[Record]:
    for quantity, figures in whole.figures():
        for each in figures.excursions:
            yield {
                "stage": each.stage,
                "machine": each.machine,
                "quantity": quantity,
                **_span(each),
                "side": each.side,
                "limit": _value(each.limit),
                "peak": _value(each.peak),
                "peak_at": _time(each.peak_at_ms),
                "area": _exact(each.area),
                "cut_by_gap": each.cut_by_gap,
                "at_start": each.at_start,
                "open": each.open,
            }


def _gaps(whole: Period) -> Iterator[Record]:
    for quantity, figures in whole.figures():
        for each in figures.gaps:
            yield {"quantity": quantity, **_span(each)}


def _span(each: Figures | Limits | Excursion | Gap) -> Record:
    hours = (each.until_ms - each.since_ms) / 3_600_000.0
    return {"since": _time(each.since_ms), "until": _time(each.until_ms), "hours_total": _exact(hours)}


def _value(value: float | None) -> float | None:
    return None if value is None else round(value, 4) + 0.0  # adding zero turns -0.0 into 0.0


def _exact(value: float) -> float:
    return round(value, 6) + 0.0


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else _utc(from_ms(at_ms))


def _utc(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return value
