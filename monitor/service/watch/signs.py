"""What follows from a sign that was written: the lockdown of a batch that goes by the egg, and what an egg before the others asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry, Sign
from monitor.domain.eggs.hatching import expected_by, telling
from monitor.domain.needs.batch import LOCKDOWN, Batch, Declared
from monitor.domain.needs.places import places_of
from monitor.domain.state.known import Look
from monitor.domain.wall import utc_text


def signs_view(look: Look, book: EggBook, new: Sequence[Entry], *, began: datetime | None) -> dict[str, object] | None:
    """What the signs among new entries lead to, as a plain mapping; None where there is none among them.

    hatch: when their chicks should be out. lockdown: since when the batch is in it by them. alone: the eggs that are before the others,
    and where they would do.
    """
    batch, profile = book.batch, look.site.profiles.get(book.batch.profile)
    signs = [e for e in new if isinstance(e.fact, Sign)]
    if not signs or profile is None:
        return None
    hatch = [expected_by(e, profile) for e in signs]
    ahead = _ahead(look, batch, [e for e in signs if isinstance(e.fact, Sign) and e.fact.sign in telling(profile)])
    return {
        "hatch": {
            "sign": hatch[-1].sign,
            "earliest": utc_text(min(each.earliest for each in hatch)),
            "latest": utc_text(max(each.latest for each in hatch)),
            "source": hatch[-1].source,
            "own": hatch[-1].own,
        },
        "lockdown": None if began is None else utc_text(began),
        "alone": ahead,
    }


def _ahead(look: Look, batch: Batch, told: Sequence[Entry]) -> dict[str, object] | None:
    """Eggs that want a lockdown while their batch is not in it, and the machines in which they would do. told: the entries that say so."""
    now, profile = batch.not_before(look.now.utc), look.site.profiles[batch.profile]
    stage = profile.stage_at(batch.day(now), batch.declared_days(now))
    if stage.name != profile.stages[0].name or not told:
        return None
    own = replace(batch, id="", declared=(Declared(LOCKDOWN, now),))
    here = batch.stay_at(now)
    return {
        "eggs": [e.egg for e in told if e.egg is not None],
        "count": sum(e.eggs for e in told if e.egg is None) or None,
        "machine": None if here is None else here.machine,
        "would_do": list(places_of(own, look.state.batches.values(), look.site, at=look.now.utc)),
    }
