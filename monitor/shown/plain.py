"""Figures as plain values for programs: UTC (RFC 3339), values to 4 decimals, hours and areas to 6, None for what is not known."""

from __future__ import annotations

from typing import Protocol

from monitor.analysis.history.figures import Figures
from monitor.analysis.line.doubt import Doubt
from monitor.domain.readings.reading import from_ms
from monitor.domain.wall import utc_text

Record = dict[str, object]
FORMULA = ("=", "+", "-", "@")  # what a spreadsheet takes for the begin of a formula


class Lasting(Protocol):
    """Anything with a beginning and an end."""

    @property
    def since_ms(self) -> int: ...
    @property
    def until_ms(self) -> int: ...


def span_record(each: Lasting) -> Record:
    hours = (each.until_ms - each.since_ms) / 3_600_000.0
    return {"since": utc_ms(each.since_ms), "until": utc_ms(each.until_ms), "hours_total": exact(hours)}


def cell(value: object) -> object:
    """A value as a table has it: a text that a spreadsheet would take for a formula with an apostrophe before it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return value


def value(value: float | None) -> float | None:
    return None if value is None else round(value, 4) + 0.0  # adding zero turns -0.0 into 0.0


def exact(value: float) -> float:
    return round(value, 6) + 0.0


def utc_ms(at_ms: int | None) -> str | None:
    return None if at_ms is None else utc_text(from_ms(at_ms))


def figures_record(figures: Figures) -> Record:
    longest = figures.longest_gap
    return {
        **span_record(figures),
        "hours_covered": exact(figures.hours_covered),
        "coverage": exact(figures.coverage),
        "mean": value(figures.mean),
        "sd": value(figures.sd),
        "min": value(figures.min),
        "min_at": utc_ms(figures.min_at_ms),
        "max": value(figures.max),
        "max_at": utc_ms(figures.max_at_ms),
        "hours_in": exact(figures.hours_in),
        "hours_above": exact(figures.hours_above),
        "hours_below": exact(figures.hours_below),
        "hours_unjudged": exact(figures.hours_unjudged),
        "degree_hours_above": exact(figures.degree_hours_above),
        "degree_hours_below": exact(figures.degree_hours_below),
        "max_gap_s": figures.max_gap_s,
        "longest_gap_s": figures.longest_gap_s,
        "longest_gap_since": utc_ms(longest.since_ms if longest is not None else None),
        "gaps": len(figures.gaps),
        "excursions": len(figures.excursions),
        "samples": figures.samples,
        "flagged": figures.flagged,
    }


def doubt_record(doubt: Doubt) -> Record:
    """How much of a line rests on doubtful readings, by which test, and their extremes."""
    by = {test: exact(hours) for test, hours in doubt.by}
    return {"hours": exact(doubt.hours), "by": by, "low": value(doubt.low), "high": value(doubt.high)}
