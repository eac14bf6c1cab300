"""What is looked at across batches: one figure of the record, in one window, one way, with its id.

A breeder chooses from all that the catalogue of published causes asks of a record. The usual ones are few, and were chosen
before any record was seen: each more that is looked at makes all the others harder to tell from chance.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.domain.published.causes import COLD, HEAT, Catalogue, Cause

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


@dataclass(frozen=True, slots=True)
class LookedAt:
    """One thing to look at.

    id: what people type. cause: a row of the catalogue that asks for it; its source plays no part here. hours: of heat in all, or of cold
    on end, from which on the record shows it, at or beyond `temp_c`; None of what is no dose.
    """

    id: str
    cause: Cause
    hours: float | None = None
    temp_c: float | None = None


def every_one(catalogue: Catalogue) -> dict[str, LookedAt]:
    """All that can be looked at, by id, in the order of the ids."""
    found = _of((c for finding in catalogue.findings.values() for c in finding.causes), catalogue)
    return dict(sorted(found.items()))


def of_finding(catalogue: Catalogue, finding: str) -> dict[str, LookedAt]:
    """What the published causes of a finding name and a sensor sees, each once, by id: both ways where sources disagree."""
    return _of(catalogue.findings[finding].causes, catalogue)


def _of(causes: Iterable[Cause], catalogue: Catalogue) -> dict[str, LookedAt]:
    found: dict[str, LookedAt] = {}
    for cause in causes:
        if cause.check:
            id_ = "-".join(part for part in (cause.variable, cause.direction, cause.window) if part)
            found.setdefault(id_, LookedAt(id_, cause, *_dose(cause, catalogue)))
    return found


def _dose(cause: Cause, catalogue: Catalogue) -> tuple[float | None, float | None]:
    """(from how many hours on the record shows it, at which temperature); None of what is no dose."""
    published = cause.published
    if cause.check not in (HEAT, COLD) or published is None or published.temp_c is None:
        return None, None
    return cause.levels(catalogue.checks[cause.check])[1], published.temp_c
