"""The water of a batch's eggs, from its record: its weighings, the pull of the air it was in, and what lies ahead of it; after pip, what
it was at pip, for which the target is.

Read through the history, so outside the engine: the air of three weeks is some hundred thousand readings. What comes of it reaches the
engine as one item, `weight_verdict`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.analysis.history.environment import Stretch
from monitor.analysis.water.ahead import Mend
from monitor.analysis.water.batch import Track
from monitor.analysis.water.loss import Interval, ScalesApart
from monitor.domain.eggs.book import EggBook, candled, outcome, sign_at, standing
from monitor.domain.eggs.entry import (
    CLEAR,
    EARLY,
    EARLY_DEAD,
    EXTERNAL_PIP,
    INTERNAL_PIP,
    MIDDLE,
    Dead,
    Hatched,
    Removed,
    Split,
    Weighing,
)
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.needs.target import pip_day
from monitor.service.ports import AirRecord, WeightVerdict
from monitor.service.reports.batch import site_at_end, stretches_of
from monitor.service.reports.weighed import NoWater, Water, Weighed, judged, mixed_scales, scales_of, water_at, when

# Of the day of pip, from which on an egg's loss is that to pip. One that died before is carried there at its own pace, for both
# its loss and the target rise in a straight line; before half the way the scale's error is too much of it (judgement).
PIP_REACHED, PACE_FROM = 0.95, 0.5


def weight_verdict(
    history: AirRecord, site: Site, batch: Batch, *, now: datetime, batches: Sequence[Batch] = ()
) -> WeightVerdict | None:
    """What the weighings of an open batch say of its loss at pip; None where there is nothing to judge by. Raises StoreFailure."""
    try:
        water = water_of(history, site, history.book(batch), now=now, batches=batches)
    except NoWater:
        return None
    return None if water.window_pct is None else WeightVerdict(water.off, water.about or "")


def water_of(history: AirRecord, site: Site, book: EggBook, *, now: datetime, batches: Sequence[Batch] = ()) -> Water:
    """The water of the batch of a book, now, or when it was closed. Raises NoWater for a batch of an unknown species.

    From the day of pip on it is judged by what it was on that day, for which the target is. batches: of the house: those in the same
    machine bound what may be set there, and it is said what that does to their eggs; and
    all of them say what one scale shows more than another.
    """
    site = site_at_end(history, site, book.batch, now=now)
    known = book.batch.profile in site.profiles
    stretches = tuple(stretches_of(history, site, book.batch, now=when(book.batch, now))) if known else ()
    beside = _beside(book.batch, batches, when(book.batch, now)) if book.batch.closed_at is None else ()
    others = [b for b in batches if b.id != book.batch.id] if known and mixed_scales(book) else []
    elsewhere = _scales(history, site, others)
    water = water_at(site, book, now, stretches=stretches, beside=beside, elsewhere=elsewhere)
    at_pip = _at_pip(book, site, now)
    if all(w.loss is None for w in (*water.eggs.values(), *water.trays.values())):
        return water
    if at_pip is book:
        if beside and any(t is not None and t.where_to.setting is not None for t in _tracks(water)):
            water = judged(water, site.unit, _wants(history, site, beside, now=now))
        lost = {egg: _lost_by_pip(book, egg, water) for egg, w in water.eggs.items() if w.until is not None}
        return replace(water, eggs={egg: replace(w, by_pip_pct=lost.get(egg)) for egg, w in water.eggs.items()})
    return _passed(book, water, water_at(site, at_pip, now, stretches=stretches, elsewhere=elsewhere))


def _scales(history: AirRecord, site: Site, batches: Iterable[Batch]) -> list[ScalesApart]:
    """What the eggs of batches say of scales, those that were weighed on several."""
    return [apart for batch in batches for apart in scales_of(history.book(batch), site)]


def _beside(batch: Batch, batches: Sequence[Batch], at: datetime) -> tuple[Batch, ...]:
    """The other batches that are in its machine."""
    stay = batch.stay_at(at)
    others = (b for b in batches if b.id != batch.id and b.closed_at is None)
    return tuple(
        b for b in others if stay is not None and (s := b.stay_at(at)) is not None and s.machine == stay.machine
    )


def _tracks(water: Water) -> list[Track | None]:
    return [water.track, *(w.track for w in (*water.eggs.values(), *water.trays.values()))]


def _wants(history: AirRecord, site: Site, beside: Sequence[Batch], *, now: datetime) -> list[Mend]:
    """What the weighed eggs of other batches want; their air is read only where something is to be set."""
    wants: list[Mend] = []
    for batch in beside:
        book = history.book(batch)
        if batch.profile not in site.profiles or not any(isinstance(e.fact, Weighing) for e in book.entries):
            continue
        stretches = tuple(stretches_of(history, site, batch, now=when(batch, now)))
        water = water_at(site, book, now, stretches=stretches)
        wants += [w.loss.mend for w in water.eggs.values() if w.until is None and w.loss is not None and w.loss.mend]
    return wants


def _passed(book: EggBook, water: Water, then: Water) -> Water:
    """The water after pip: what was lost until now, judged by what had been lost `then`."""
    going = any(w.loss is not None and w.until is None for w in (*water.eggs.values(), *water.trays.values()))
    both = water.together is not None and then.together is not None
    return replace(
        water,
        eggs={
            egg: replace(
                w,
                by_pip_pct=_lost_by_pip(book, egg, then),
                track=then.eggs[egg].track if w.until is None and egg in then.eggs else w.track,
            )
            for egg, w in water.eggs.items()
        },
        trays={
            name: replace(w, by_pip_pct=_by_pip(then.trays[name]), track=then.trays[name].track)
            if name in then.trays
            else w
            for name, w in water.trays.items()
        },
        together=replace(then.together, now_pct=water.together.now_pct) if both else water.together,  # type: ignore[type-var, union-attr]  # where `both`, both are there
        track=then.track if both else water.track,
        off=then.off if going else False,
        about=then.about if going else None,
    )


def water_to_pip(
    site: Site, book: EggBook, now: datetime, *, stretches: Sequence[Stretch]
) -> tuple[Water, dict[int, tuple[float, bool]]]:
    """The water as on the day of pip (as it is, before that day), and of each egg what it had lost to pip, %, and whether it died before and is carried there.

    book: of a batch whose species the site knows. stretches: of the batch, from `stretches_of`.
    """
    water = water_at(site, _at_pip(book, site, now), now, stretches=stretches)
    found = {egg: _lost_to_pip(book, egg, water) for egg in water.eggs}
    return water, {egg: lost for egg, lost in found.items() if lost is not None}


def _lost_to_pip(book: EggBook, egg: int, water: Water) -> tuple[float, bool] | None:
    """(loss of one egg to pip, %, whether it died before and is carried there); None for one that was not weighed, or did not come far.

    water: as on the day of pip, or as it is before that day.
    """
    weighed, end = water.eggs.get(egg, Weighed(())), outcome(book, egg)
    if weighed.loss is None:
        return None
    if end is not None and isinstance(end.fact, Dead) and end.fact.stage in (EARLY, MIDDLE):
        return None
    if end is None and candled(book, egg)[1] in (CLEAR, EARLY_DEAD):
        return None
    if end is not None and (isinstance(end.fact, Split) or (isinstance(end.fact, Removed) and end.fact.why == CLEAR)):
        return None
    pipped = any(sign_at(book, egg, sign) is not None for sign in (INTERNAL_PIP, EXTERNAL_PIP))
    hatched = end is not None and isinstance(end.fact, Hatched)
    share = 1.0 if weighed.until is None else book.batch.day(weighed.until) / water.pip_day
    loss_pct = weighed.loss.pip_pct.value
    if share >= PIP_REACHED or pipped or hatched:
        return loss_pct, False
    return (loss_pct / share, True) if share >= PACE_FROM else None


def _lost_by_pip(book: EggBook, egg: int, water: Water) -> Interval | None:
    lost = _lost_to_pip(book, egg, water)
    return None if lost is None or lost[1] else _by_pip(water.eggs[egg])


def _by_pip(weighed: Weighed) -> Interval | None:
    return None if weighed.loss is None else weighed.loss.pip_pct


def _at_pip(book: EggBook, site: Site, now: datetime) -> EggBook:
    """The book as on the day of pip, so that a loss is that to pip, and not to the hatch; as it is before that day."""
    batch = book.batch
    pip = batch.set_at + timedelta(days=pip_day(site.profiles[batch.profile]))
    if pip >= (batch.closed_at or now):
        return book
    stays = tuple(replace(s, until=min(s.until or pip, pip)) for s in batch.stays if s.since < pip)
    entries = tuple(e for e in standing(book) if not (e.ends and e.at > pip))  # no end that a later one put right
    return EggBook(replace(batch, closed_at=pip, stays=stays), entries)
