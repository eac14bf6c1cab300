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
from monitor.domain.needs.site import HATCHER
from monitor.domain.state.known import Look
from monitor.domain.wall import utc_text


def signs_view(look: Look, book: EggBook, new: Sequence[Entry], *, began: datetime | None) -> dict[str, object] | None:
    """What the signs among new entries lead to, as a plain mapping; None where there is none among them.

    hatch: when their chicks should be out. lockdown: since when the batch is in it by them; move_to: then the machines in which it would do,
    if it is to be moved before the air is made moister. alone: the eggs that are before the others, and where they would do.
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
        "move_to": None if began is None else _moves(look, batch, began),
        "alone": ahead,
    }


def _moves(look: Look, batch: Batch, began: datetime) -> list[str] | None:
    """Where a batch in lockdown would do, the best first; None where it may stay: in a hatcher, or alone in a house without one."""
    here = batch.stay_at(look.now.utc)
    machines = look.site.machines
    if here is None or here.machine not in machines or machines[here.machine].kind == HATCHER:
        return None
    beside = [
        other
        for other in look.state.batches.values()
        if other.id != batch.id
        and other.closed_at is None
        and (stay := other.stay_at(look.now.utc)) is not None
        and stay.machine == here.machine
    ]
    if not beside and all(m.kind != HATCHER for m in machines.values()):
        return None
    own = replace(batch, id="", declared=(Declared(LOCKDOWN, began),))
    return list(
        places_of(own, [b for b in look.state.batches.values() if b.id != batch.id], look.site, at=look.now.utc)
    )


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
