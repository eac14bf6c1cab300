"""The published exposures in words: one beside a dose, and all of them as a table for a species' term, each beside the results that
say otherwise.

Ages are given for the hen, whose eggs most of these were; beside them stands the same share of the species' own term. That is
arithmetic, not a result: nobody has tried those eggs.
"""

from __future__ import annotations

from collections.abc import Iterator

from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.published.exposure import (
    ABOVE,
    BELOW,
    CONTRADICTS,
    EXPOSURES,
    HEN_TERM_DAYS,
    SOURCES,
    WITHIN,
    Exposure,
    Match,
    disagreeing,
)
from monitor.domain.wall import WIDTH, filled
from monitor.shown.values import show_figure

TITLES = {ABOVE: "HEAT", BELOW: "COLD"}


def match_words(match: Match, unit: str = "C", whose: str = "This excursion") -> str:
    """One line that begins with "Published" and names the source; unit 'C' or 'F'. whose: what the hours are of."""
    each = match.exposure
    day = "" if each.day is None else f", day {_span(each.day)} of {HEN_TERM_DAYS:g}"
    head = "Published, and says otherwise" if match.standing == CONTRADICTS else "Published"
    line = f"{head} ({each.source}, {each.eggs} eggs{day}): {_what(each, unit)}."
    beyond = f"{span(match.hours)} at or {'above' if each.side == ABOVE else 'below'} that"
    if match.standing == WITHIN:
        return f"{line} {whose} was milder and no longer."
    return line if match.standing == CONTRADICTS else f"{line} {whose}: {beyond}."


def span(hours: float) -> str:
    """`12 min`, `7.2 h`, `7 days`: as exact as it is worth."""
    if hours < 1.0:
        return f"{hours * 60.0:.0f} min"
    return f"{hours / 24.0:.3g} days" if hours >= 48.0 else f"{hours:.3g} h"


def exposure_view(each: Exposure, term_days: float) -> dict[str, object]:
    """One published exposure as plain values; None where the source gives none."""
    day = each.day
    return {
        "id": each.id,
        "side": each.side,
        "temp_c": each.temp_c,
        "hours": each.hours,
        "hen_day": None if day is None else list(day),
        "day": None if day is None else [round(d * term_days / HEN_TERM_DAYS, 1) for d in day],
        "eggs": each.eggs,
        "harm": each.harm,
        "result": each.told("C"),
        "source": each.source,
        "citation": SOURCES[each.source],
        "disagrees_with": [other.id for other in disagreeing(each)],
    }


def exposure_text(name: str, term_days: float, unit: str, *, columns: int = WIDTH) -> str:
    """The whole table for people, so many columns wide: each exposure, under it what contradicts it, at the end the sources.

    Parameters
        name: of the species; term_days: its days of incubation, above 0. unit: 'C' or 'F', of the air.
    """
    lines = [
        f"Published exposures of eggs to heat and cold, for {name} ({term_days:g} days)",
        f"Other people's eggs, most of them hens' in experiments. Temperatures are of the air. A day \"here\" is"
        f" the same share of {term_days:g} days as the hen's day of {HEN_TERM_DAYS:g}: arithmetic, and no result. Where sources disagree,"
        " both are shown.",
    ]
    for side, title in TITLES.items():
        lines += ["", title]
        for each in sorted((e for e in EXPOSURES if e.side == side), key=_order):
            lines += _lines(each, term_days, unit)
    lines += ["", "SOURCES", *(f"{key}: {citation}" for key, citation in SOURCES.items())]
    return "\n".join(filled(line, columns) for line in lines)


def _order(each: Exposure) -> tuple[float, float]:
    """From the mildest on: the temperature nearer to normal first, then the shorter time; without either last."""
    farther = 1.0 if each.side == ABOVE else -1.0
    return (999.0 if each.temp_c is None else farther * each.temp_c), each.hours or 9e9


def _lines(each: Exposure, term_days: float, unit: str) -> Iterator[str]:
    yield _one(each, term_days, unit)
    for other in disagreeing(each):
        yield f"    but {_what(other, unit)} ({other.source})"


def _one(each: Exposure, term_days: float, unit: str) -> str:
    age = "" if each.day is None else f", day {_days(each.day)} of {HEN_TERM_DAYS:g}"
    if each.day is not None and term_days != HEN_TERM_DAYS:
        age += f", here {_days(tuple(d * term_days / HEN_TERM_DAYS for d in each.day))}"
    return f"{_what(each, unit)} ({each.source}, {each.eggs} eggs{age})"


def _what(each: Exposure, unit: str) -> str:
    head = show_figure(DRY_BULB, each.temp_c, unit) if each.temp_c is not None else ""
    if each.hours is not None:
        head += f" for {span(each.hours)}"
    return f"{head}{': ' if head else ''}{each.told(unit)}"


def _span(day: tuple[float, float]) -> str:
    first, last = day
    return f"{first:g}" if first == last else f"{first:g} to {last:g}"


def _days(days: tuple[float, ...]) -> str:
    first, last = (f"{round(day, 1):g}" for day in days)
    return first if first == last else f"{first} to {last}"
