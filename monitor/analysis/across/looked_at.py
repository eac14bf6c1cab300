"""What is looked at across batches: one figure of the record, in one window, one way, with its id and a breeder's words for it.

A breeder chooses from all that the catalogue of published causes asks of a record. The usual ones are few, and were chosen
before any record was seen: each more that is looked at makes all the others harder to tell from chance.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.domain.published.causes import (
    COLD,
    EARLY,
    HATCHER,
    HEAT,
    HIGH,
    HUMIDITY,
    LATE,
    LOSS,
    LOW,
    OPENINGS,
    SETTER,
    SPREAD,
    SWING,
    TEMPERATURE,
    TO_MIDDLE,
    WHOLE,
    Catalogue,
    Cause,
)
from monitor.domain.published.exposure import shown_c

USUAL = (
    "temperature-high-whole",
    "temperature-low-whole",
    "humidity-high-setter",
    "humidity-low-setter",
    "humidity-high-hatcher",
    "humidity-low-hatcher",
    "swing-high-whole",
    "loss-low-whole",
    "loss-high-whole",
)
_WORDS = {
    (TEMPERATURE, HIGH): "too warm",
    (TEMPERATURE, LOW): "too cool",
    (HUMIDITY, HIGH): "too humid",
    (HUMIDITY, LOW): "too dry",
    (SWING, HIGH): "temperature swinging",
    (SPREAD, HIGH): "unevenly warm",
    (OPENINGS, HIGH): "opened often",
    (LOSS, HIGH): "water loss to pip too high",
    (LOSS, LOW): "water loss to pip too low",
}
_WHEN = {
    WHOLE: "over the whole incubation",
    SETTER: "in the setter",
    HATCHER: "in lockdown and hatch",
    EARLY: "in the first third",
    TO_MIDDLE: "up to the end of the middle third",
    LATE: "in the last third",
}


@dataclass(frozen=True, slots=True)
class LookedAt:
    """One thing to look at. id: what people type. cause: a row of the catalogue that asks for it; its source plays no part here."""

    id: str
    words: str
    cause: Cause


def every_one(catalogue: Catalogue, unit: str = "C") -> dict[str, LookedAt]:
    """All that can be looked at, by id, in the order of the ids. unit: C or F, of temperatures in the words."""
    found = _of((c for finding in catalogue.findings.values() for c in finding.causes), catalogue, unit)
    return dict(sorted(found.items()))


def of_finding(catalogue: Catalogue, finding: str, unit: str = "C") -> dict[str, LookedAt]:
    """What the published causes of a finding name and a sensor sees, each once, by id: both ways where sources disagree."""
    return _of(catalogue.findings[finding].causes, catalogue, unit)


def _of(causes: Iterable[Cause], catalogue: Catalogue, unit: str) -> dict[str, LookedAt]:
    found: dict[str, LookedAt] = {}
    for cause in causes:
        if cause.check:
            id_ = "-".join(part for part in (cause.variable, cause.direction, cause.window) if part)
            found.setdefault(id_, LookedAt(id_, _words(cause, catalogue, unit), cause))
    return found


def _words(cause: Cause, catalogue: Catalogue, unit: str) -> str:
    if cause.window == WHOLE and cause.check in (SWING, LOSS):  # there is no other time to confuse it with
        return _WORDS[cause.check, cause.direction]
    return f"{_dose(cause, catalogue, unit) or _WORDS[cause.check, cause.direction]} {_WHEN[cause.window]}"


def _dose(cause: Cause, catalogue: Catalogue, unit: str) -> str:
    """`6 h in all at or above 43.3 °C`: from how many hours on the record shows it. Cold is counted on end, heat in all."""
    published = cause.published
    if cause.check not in (HEAT, COLD) or published is None or published.temp_c is None:
        return ""
    _, hours = cause.levels(catalogue.checks[cause.check])
    long = f"{hours:g} h" if hours >= 1.0 else f"{60.0 * hours:g} min"
    side, kind = ("above", "in all") if cause.check == HEAT else ("below", "on end")
    return f"{long} {kind} at or {side} {shown_c(published.temp_c, unit)}"
