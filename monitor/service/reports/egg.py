"""What one egg of a batch lived through: the batch as it stood when that egg's own life ended, and what was written of the egg.

The figures are those of the batch up to that instant, by the same way: nothing is worked out otherwise for one egg.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from monitor.analysis.history.egg import EggPart, left_out, lost_pct
from monitor.analysis.history.felt import Happening, Written
from monitor.analysis.water.ahead import EggLoss
from monitor.domain.eggs.book import (
    EggBook,
    Mass,
    laid_at,
    of_egg,
    standing,
)
from monitor.domain.eggs.entry import Entry, Laid, Weighing
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.needs.target import pip_day, target_of
from monitor.domain.readings.reading import to_ms
from monitor.service.ports import BatchRecord
from monitor.service.reports.batch import NoRecord, site_at_end
from monitor.service.reports.water import water_of
from monitor.service.reports.weighed import Weighed


@dataclass(frozen=True, slots=True)
class EggLife:
    """The batch cut at the egg's own end, ready for `batch_history` and `batch_charts` with `until` as now; and the egg's own part."""

    batch: Batch
    until: datetime
    part: EggPart


def egg_life(history: BatchRecord, site: Site, batch: Batch, *, egg: int, now: datetime) -> EggLife:
    """The life of one egg that the batch has, up to its own end, the batch's or `now`.

    Its end is the first that was written of it: a chick that died after the hatch had left the shell. Raises NoRecord for one that
    was never in a machine.
    """
    book, until = history.book(batch), min(batch.closed_at or now, now)
    own = [e for e in of_egg(book, egg) if e.at <= now]
    end = next((e for e in own if e.ends), None)
    cut = batch
    if end is not None and end.at < until:
        until, cut = end.at, at_instant(batch, end.at)
        if batch.stays and not cut.stays:
            raise NoRecord(f"egg {egg} of batch {batch.id}", f"{end.word} before it was in a machine", "one that was")
    profile = site_at_end(history, site, batch, now=now).profiles[batch.profile]
    weighed, lost_by = Weighed(()), until
    if any(isinstance(e.fact, Weighing) for e in own):
        water = water_of(history, site, book, now=now)
        weighed = water.eggs.get(egg, weighed)
        lost_by = water.at if weighed.until is None else weighed.until
    entries = tuple(sorted(_entries(book, egg, own, until=until), key=lambda e: (_at(book, e, egg), e.number)))
    part = EggPart(
        batch=batch,
        egg=egg,
        until=until,
        end=end,
        entries=entries,
        done=_done(book, egg, entries, weighed=weighed),
        zone=site.zone,
        masses=weighed.masses,
        loss=weighed.loss,
        unknown=weighed.unknown,
        lost_by=lost_by,
        target=target_of(profile),
        pip_day=pip_day(profile),
        by_pip_pct=weighed.by_pip_pct,
    )
    return EggLife(cut, until, part)


def at_instant(batch: Batch, at: datetime) -> Batch:
    """The batch as it stood at an instant: not closed yet, and nothing known of later moves and stages."""
    stays = tuple(replace(s, until=min(s.until or at, at)) for s in batch.stays if s.since < at)
    return replace(batch, stays=stays, declared=tuple(d for d in batch.declared if d.at <= at), closed_at=None)


def _entries(book: EggBook, egg: int, own: Sequence[Entry], *, until: datetime) -> list[Entry]:
    """What stands of the egg, also after its end, and of the whole batch until then; of the day it was laid the egg's own counts."""
    laid = any(isinstance(e.fact, Laid) for e in own)
    whole = [e for e in standing(book) if e.egg is None and e.count is None and not (laid and isinstance(e.fact, Laid))]
    return [*own, *(e for e in whole if _at(book, e, egg) <= until)]


def _at(book: EggBook, entry: Entry, egg: int) -> datetime:
    """When it was so; an egg was laid before anybody wrote it down."""
    return (laid_at(book, egg) or entry.at) if isinstance(entry.fact, Laid) else entry.at


def _done(book: EggBook, egg: int, entries: Sequence[Entry], *, weighed: Weighed) -> tuple[Happening, ...]:
    masses, batch = {m.entry: m for m in weighed.masses}, book.batch
    done = []
    for entry in entries:
        at = _at(book, entry, egg)
        stay = batch.stay_at(at)
        machine = "" if stay is None else stay.machine
        written = _written(entry, masses.get(entry.number), weighed.loss, batch=batch)
        done.append(Happening(to_ms(at), entry.fact.kind, machine, by=entry.who, entry=entry.number, written=written))
    return tuple(done)


def _written(entry: Entry, mass: Mass | None, loss: EggLoss | None, *, batch: Batch) -> Written:
    """With what a weighing comes to."""
    if mass is None:
        return Written(entry)
    why, lost = left_out(mass, loss), lost_pct(mass, loss, batch)
    told = lost is not None and lost >= 0.05 and not why
    return Written(entry, why, lost if told else None)
