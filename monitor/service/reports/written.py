"""What was written of eggs that no air tells of: their days in store, their mass, their cracks, as figures that a review asks for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from statistics import median

from monitor.analysis.review.judged import Figure
from monitor.domain.eggs.book import (
    EggBook,
    fresh_mass,
    laid_at,
    masses,
    numbers,
    standing,
    tray_masses,
    trays,
    went_on,
)
from monitor.domain.eggs.entry import CRACKED, Candling, Sealed
from monitor.domain.needs.batch import DAY_S
from monitor.domain.published.causes import BEFORE_SET, MASS, MASS_APART, STORED, STORED_APART, Key

WEIGHED_BY = timedelta(days=1)  # of the set: what an egg loses until then is less than what a mass at set is judged by


def written_of(book: EggBook, usual_g: tuple[float, float] | None, eggs: tuple[int, ...] | None) -> dict[Key, Figure]:
    """What was written of eggs (None: of all of them) as they were set: their days in store and mass, and how far the batch's are apart.

    usual_g: of the species, as its profile has it; a mass is told as a share of its middle, %.
    """
    found: dict[Key, Figure] = {}
    if stored := stored_days(book, eggs):
        found[STORED, BEFORE_SET] = Figure(median(stored))
    if len(every := stored_days(book, None)) > 1:
        found[STORED_APART, BEFORE_SET] = Figure(max(every) - min(every))
    if usual_g is None:
        return found
    middle_g = sum(usual_g) / 2.0
    low, high = (100.0 * each / middle_g for each in usual_g)
    if own := _masses_g(book, eggs):
        found[MASS, BEFORE_SET] = Figure(100.0 * median(own) / middle_g, low, high)
    if len(all_g := _masses_g(book, None, one_by_one=True)) > 1:
        found[MASS_APART, BEFORE_SET] = Figure(100.0 * (max(all_g) - min(all_g)) / median(all_g))
    return found


def cracked(book: EggBook, eggs: tuple[int, ...] | None) -> Figure | None:
    """The share of eggs (None: of all of them) in which somebody saw a crack, or sealed one; None where nobody looked."""
    found = [e for e in standing(book) if eggs is None or e.egg in eggs]
    numbered = set(eggs if eggs is not None else _numbered(book))
    broken = [
        e for e in found if isinstance(e.fact, Sealed) or (isinstance(e.fact, Candling) and e.fact.found == CRACKED)
    ]
    seen = {e.egg for e in broken if e.egg in numbered}
    counted = sum(e.count or 0 for e in broken)
    if not broken and not any(isinstance(e.fact, Candling) for e in found):
        return None
    every = max(len(numbered), book.batch.eggs or 0 if eggs is None else 0, 1)
    return Figure(min((len(seen) + counted) / every, 1.0))


def stored_days(book: EggBook, eggs: tuple[int, ...] | None) -> tuple[float, ...]:
    """Days in store of each egg of which they are known by its number; else one value for the batch, where that is."""
    batch = book.batch
    own = [laid_at(book, egg) for egg in (eggs or _numbered(book))]
    days = tuple((batch.set_at - at).total_seconds() / DAY_S for at in own if at is not None)
    if days or eggs is not None:
        return days
    of_all = laid_at(book, None)
    return () if of_all is None else ((batch.set_at - of_all).total_seconds() / DAY_S,)


def _masses_g(book: EggBook, eggs: tuple[int, ...] | None, *, one_by_one: bool = False) -> list[float]:
    """Mass at set of each egg that was weighed by then, or measured; of all also that of the trays, where no egg was by itself."""
    by = book.batch.set_at + WEIGHED_BY
    own = [mass for egg in (eggs or _numbered(book)) if (mass := _mass_g(book, egg, by)) is not None]
    if own or eggs is not None or one_by_one:
        return own
    first = (next(iter(tray_masses(book, tray)), None) for tray in trays(book))
    return [mass.mass_g for mass in first if mass is not None and mass.at <= by]


def _mass_g(book: EggBook, egg: int, by: datetime) -> float | None:
    weighed = next((mass.mass_g for mass in masses(book, egg) if mass.at <= by), None)
    fresh = fresh_mass(book, egg)
    return weighed if weighed is not None else None if fresh is None else fresh.mass_g


def _numbered(book: EggBook) -> Sequence[int]:
    """The eggs of which anything was written, but those that went on in another batch."""
    return [egg for egg in numbers(book) if went_on(book, egg) is None]
