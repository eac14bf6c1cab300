"""What the history of one egg has beside that of its batch: how it ended, what was written of it, and its own loss of water.

Values, and how they are said in words and to programs; `service/reports/egg` finds them, `egg_draw` draws the loss. Per cent
are of the mass at set.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import UTC

from monitor.analysis.history.egg import EggPart, left_out, lost_pct
from monitor.analysis.history.felt import Happening
from monitor.analysis.water.loss import Interval
from monitor.domain.eggs.book import Mass
from monitor.domain.eggs.entry import Dead, Entry
from monitor.domain.eggs.view import entry_view
from monitor.domain.needs.batch import day_words
from monitor.domain.wall import utc_text
from monitor.shown.entries import said
from monitor.shown.form import Shown
from monitor.shown.history.felt import happening_words
from monitor.shown.history.felt_files import happening_record
from monitor.shown.plain import Record, exact, value
from monitor.shown.report.tree import PAGE_ONLY, Drawing, Heading, Section, plain
from monitor.shown.values import show_interval, show_window, target_view, target_words
from monitor.shown.weighings import left_out_words, unknown_words

# Columns that the CSV of one egg has after those of every history, by their key in a record.
COLUMNS = {
    "egg": "egg",
    "entry": "entry in the book",
    "mass_g": "mass (g)",
    "lost_pct": "lost (% of the mass at set)",
    "left_out": "left out of the loss because",
    "value": "value (unit in its quantity)",
    "value_low": "value low (95 %)",
    "value_high": "value high (95 %)",
}


# --- in words


def end_line(part: EggPart, shown: Shown) -> str:
    """How it ended, and so why its record ends where it does."""
    if part.end is not None:
        words = f"{said(part.end, shown.zone)} {shown.time(part.end.at)}, day {day_words(part.batch.day(part.end.at))}"
        if not part.ended:
            return f"{words}, after the batch was closed: the record ends there, {shown.time(part.until)}"
        found = "; a death is dated when it was found, perhaps at the break-out" if _dead(part.end) else ""
        return f"{words}: its record ends there{found}"
    written = "" if part.entries else "nothing is written of it, so this is its batch's history; "
    if part.batch.closed_at is not None and part.batch.closed_at <= part.until:
        return f"{written}no end was written: up to the batch's, {shown.time(part.until)}"
    return f"{written}not ended, up to {shown.time(part.until)}, day {day_words(part.batch.day(part.until))}"


def water_section(part: EggPart, shown: Shown, drawing: Iterable[str] = ()) -> Section:
    """The egg's own water line, in words and as it is drawn."""
    weighed = f"{len(part.masses)} weighing{'s' if len(part.masses) > 1 else ''}"
    head = f" of egg {part.egg}: {weighed if part.masses else 'never weighed by itself'}"
    return Section(Heading("water", head), (*plain(_water_lines(part, shown)), *map(Drawing, drawing)))


def _water_lines(part: EggPart, shown: Shown) -> Iterator[str]:
    loss, line_pct = part.loss, part.line_pct
    if loss is None:
        if part.masses:
            yield f"loss not known: {_unknown(part)}"
        return
    yield f"mass at set {show_interval(loss.line.mass_at_set_g, 'g', 2)}"
    yield f"lost {show_interval(loss.now_pct)} by {shown.time(part.lost_by)}, day {day_words(part.batch.day(part.lost_by))}"
    if line_pct is None or part.target is None:
        yield "no line to follow: no source gives a target for this species"
    else:
        window = show_window(part.target.by_pip_pct)
        if part.by_pip_pct is None:
            yield (
                f"the species' line on that day: {line_pct[0]:.1f} to {line_pct[1]:.1f} %;"
                f" by pip, day {part.pip_day:.1f}: {window} %"
            )
        else:
            yield f"lost by pip {show_interval(part.by_pip_pct)}; the species' line at pip: {window} %"
        yield f"its target: {target_words(part.target)}"
    conductance = loss.line.conductance_mg_d_kpa
    if conductance is None:
        yield "conductance not known: no humidity was recorded"
    else:
        share = f"{100.0 * loss.line.recorded:.0f} % of the time up to the last weighing is on record"
        yield f"conductance {show_interval(conductance, 'mg a day and kPa', 1)}; {share}"


def book_section(part: EggPart, shown: Shown) -> Section:
    """What was written, in order; a page has it beside the drawings, and text among what was done."""
    lines = [f"{shown.time(each.at_ms)} {happening_words(each, shown)}" for each in part.done]
    return Section(Heading("in its book", f": {len(part.done) or 'nothing'}"), plain(lines), where=PAGE_ONLY)


def _dead(end: Entry) -> bool:
    return isinstance(end.fact, Dead)


# --- to programs


def egg_record(part: EggPart) -> Record:
    """What the JSON of one egg has beside the rest."""
    return {
        "number": part.egg,
        "until": utc_text(part.until),
        "end": None if part.end is None else entry_view(part.end),
        "ended_in_record": part.ended,
        "entries": [entry_view(each) for each in part.entries],
        "water": _water(part),
    }


def done_record(each: Happening, part: EggPart | None) -> Record:
    """One thing that was done, in JSON and CSV alike; of a weighing also what the egg had lost."""
    record = happening_record(each, UTC if part is None else part.zone)
    if part is None or each.entry is None:
        return record
    record["entry"] = each.entry
    mass = next((m for m in part.masses if m.entry == each.entry), None)
    return record if mass is None else record | _mass(mass, part)


def egg_rows(part: EggPart) -> Iterator[Record]:
    """The rows of the egg's water in the CSV; its weighings stand among what was done."""
    if part.loss is None:
        return
    for quantity, found, at in (
        ("mass_at_set_g", part.loss.line.mass_at_set_g, part.batch.set_at),
        ("lost_pct", part.loss.now_pct, part.lost_by),
        ("by_pip_pct", part.by_pip_pct, None),
        ("conductance_mg_d_kpa", part.loss.line.conductance_mg_d_kpa, None),
    ):
        if found is not None:
            bounds = {f"value_{side}": bound for side, bound in _bounds(found).items() if side != "value"}
            when = {} if at is None else {"since": utc_text(at)}
            yield {"kind": "water", "quantity": quantity, **when, "value": value(found.value), **bounds}


def _water(part: EggPart) -> Record:
    loss = part.loss
    known: Record = {
        "weighings": [{"entry": m.entry, "at": utc_text(m.at), **_mass(m, part)} for m in part.masses],
        "window_pct": None if part.target is None else [value(each) for each in part.target.by_pip_pct],
        "target": target_view(part.target),
        "pip_day": value(part.pip_day),
        "reason": _unknown(part) or None,
        "loss": None,
    }
    if loss is not None:
        conductance = loss.line.conductance_mg_d_kpa
        known["loss"] = {
            "lost_pct": _bounds(loss.now_pct),
            "lost_by": utc_text(part.lost_by),
            "by_pip_pct": None if part.by_pip_pct is None else _bounds(part.by_pip_pct),
            "line_pct": None if part.line_pct is None else [value(each) for each in part.line_pct],
            "mass_at_set_g": _bounds(loss.line.mass_at_set_g),
            "conductance_mg_d_kpa": None if conductance is None else _bounds(conductance),
            "recorded": exact(loss.line.recorded),
        }
    return known


def _unknown(part: EggPart) -> str:
    return "" if part.unknown is None else unknown_words(part.unknown)


def _mass(mass: Mass, part: EggPart) -> Record:
    why = left_out(mass, part.loss)
    return {
        "mass_g": value(mass.mass_g),
        "lost_pct": value(lost_pct(mass, part.loss, part.batch)),
        "left_out": None if why is None else left_out_words(why),
    }


def _bounds(found: Interval) -> Record:
    """What no bound is known for is null."""
    sides = {"value": found.value, "low": found.low, "high": found.high}
    return {side: value(each) if math.isfinite(each) else None for side, each in sides.items()}
