"""The environment history of a batch, or of one egg of it, as programs read it: JSON and CSV, with the same numbers under the same names.

Both are in UTC (RFC 3339), °C, K and %RH whatever the site shows, so that files of several sites can be laid
together. Values and spreads are rounded to 4 decimals (a sensor's step is 0.01); hours, coverage and areas to
6 (0.004 s in a time), so that many small excursions still add up.

JSON: `stages` and `whole` hold the figures; `limits`, `excursions` and `gaps` are listed once, for the whole, and so are the
`calibrations` that corrected the readings, and the `happenings`. A stage also has its `dose` beyond the alarm limits with the published
exposures nearest to it, `egg_c`, an estimate, `deficit_kpa` and `openings`. `development` is how far
the embryos should be and when they should hatch, an estimate. What is not known is null.

CSV: one table. Its first column says what a row is: `figures` (one row per stage and quantity, then the
whole), `dose` (without what was published), `limits`, `excursion`, `gap`, `calibration`, or what was done: `move`, `stage`, `opening`,
`handling`. A cell that does not apply, or is not known, is empty; the header
tells the units. RFC 4180: commas, CRLF, quotes where needed. A text that a spreadsheet would take for a
formula gets an apostrophe in front.

Of one egg: what its book says of it stands among the `happenings`, each with the number of its `entry`; the JSON has `egg` beside the
rest, the CSV further columns at the end, rows of the kinds of the book (`weighing`, `candling`, `hatched`, ...), and `water`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from monitor.analysis.history.egg import EggPart
from monitor.analysis.history.environment import BatchHistory, Period
from monitor.analysis.history.felt import Felt
from monitor.domain.readings.view import calibration_view
from monitor.domain.wall import utc_text
from monitor.shown.calibrations import said
from monitor.shown.history.development import development_record
from monitor.shown.history.egg import COLUMNS as EGG_COLUMNS
from monitor.shown.history.egg import done_record, egg_record, egg_rows
from monitor.shown.history.felt import openings_per_day
from monitor.shown.history.felt_files import felt_record, felt_rows
from monitor.shown.history.report import Header
from monitor.shown.plain import Record, cell, doubt_record, exact, figures_record, span_record, utc_ms, value

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
    "mean": "mean (C, %RH or kPa)",
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
    "at": "done at (UTC)",
    "what": "correction, or what was done",
    "due": "due again (UTC)",
    "by": "by",
}


def to_json(history: BatchHistory, header: Header) -> Record:
    """The history as plain values for `json.dumps`: strings, finite numbers, booleans, None, lists and dictionaries."""
    periods = _periods(history)
    return {
        **_header(header),
        **({} if header.egg is None else {"egg": egg_record(header.egg)}),
        "units": {"temperature": "°C", "difference": "K", "humidity": "%RH", "area": "K·h or %RH·h", "deficit": "kPa"},
        "judged_by": "warning limits; alarm limit on a side without one",
        "dose_by": "alarm limits of the dry bulb; of two probes the worse, of more the median",
        "stages": [_period(period, felt) for period, felt in periods[:-1]],
        "whole": _period(*periods[-1]),
        "limits": list(_limits(history.whole)),
        "excursions": list(_excursions(history.whole)),
        "gaps": list(_gaps(history.whole)),
        "calibrations": [calibration_view(each, said(each)) for each in history.calibrations],
        "happenings": [done_record(each, header.egg) for each in history.happenings],
        "openings_per_day": [
            {"day": day, "openings": count} for day, count in openings_per_day(history.happenings, header.set_at)
        ],
        "development": None if history.development is None else development_record(history.development),
    }


def to_csv(history: BatchHistory, header: Header) -> str:
    """The history as one table, its lines ended by CRLF; write it to a file opened with newline=""."""
    text = io.StringIO()
    columns = COLUMNS if header.egg is None else COLUMNS | EGG_COLUMNS
    writer = csv.DictWriter(text, list(columns), restval="", lineterminator="\r\n")
    writer.writerow(columns)
    about = _header(header) | ({} if header.egg is None else {"egg": header.egg.egg})
    for record in _rows(history, header.egg):
        writer.writerow({key: cell(each) for key, each in {**about, **record}.items()})
    return text.getvalue()


def _periods(history: BatchHistory) -> list[tuple[Period, Felt | None]]:
    """Each stage, and at last the whole, with what stands beside its figures."""
    periods = (*history.stages, history.whole)
    return list(zip(periods, history.felt or (None,) * len(periods), strict=True))


def _rows(history: BatchHistory, egg: EggPart | None) -> Iterator[Record]:
    for period, felt in _periods(history):
        where = {"stage": period.stage, "machine": " ".join(period.machines)}
        for quantity, figures in period.figures():
            yield {"kind": "figures", **where, "quantity": quantity, **figures_record(figures)}
            for test, hours in figures.doubt.by:
                extremes = {"min": value(figures.doubt.low), "max": value(figures.doubt.high)}
                yield {
                    "kind": "doubtful",
                    **where,
                    "quantity": quantity,
                    **extremes,
                    "hours_total": exact(hours),
                    "what": test,
                }
        if felt is not None:
            yield from ({**where, **row} for row in felt_rows(felt))
    for kind, records in (
        ("limits", _limits(history.whole)),
        ("excursion", _excursions(history.whole)),
        ("gap", _gaps(history.whole)),
    ):
        for record in records:
            yield {"kind": kind, **record}
    for each in history.calibrations:
        view = calibration_view(each, said(each))
        yield {"kind": "calibration", **{key: view[key] for key in ("probe", "at", "since", "what", "due", "by")}}
    for happening in history.happenings:
        yield done_record(happening, egg)
    if egg is not None:
        yield from egg_rows(egg)


def _header(header: Header) -> Record:
    return {
        "batch": header.batch,
        "profile": header.profile,
        "eggs": header.eggs,
        "set_at": utc_text(header.set_at),
    }


def _period(period: Period, felt: Felt | None) -> Record:
    record: Record = {
        "stage": period.stage,
        "machines": list(period.machines),
        **{
            quantity: figures_record(figures)
            | ({"doubtful": doubt_record(figures.doubt)} if figures.doubt.hours else {})
            for quantity, figures in period.figures()
        },
    }
    return record if felt is None else record | felt_record(felt)


def _limits(whole: Period) -> Iterator[Record]:
    for quantity, figures in whole.figures():
        for each in figures.limits:
            yield {"quantity": quantity, **span_record(each), "low": value(each.low), "high": value(each.high)}


def _excursions(whole: Period) -> Iterator[Record]:
    for quantity, figures in whole.figures():
        for each in figures.excursions:
            yield {
                "stage": each.stage,
                "machine": each.machine,
                "quantity": quantity,
                **span_record(each),
                "side": each.side,
                "limit": value(each.limit),
                "peak": value(each.peak),
                "peak_at": utc_ms(each.peak_at_ms),
                "area": exact(each.area),
                "cut_by_gap": each.cut_by_gap,
                "at_start": each.at_start,
                "open": each.open,
            }


def _gaps(whole: Period) -> Iterator[Record]:
    for quantity, figures in whole.figures():
        for each in figures.gaps:
            yield {"quantity": quantity, **span_record(each)}
