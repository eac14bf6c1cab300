"""What the eggs of a batch lived through, as a review asks for it: the batch's air is read once, each egg has its own end and loss."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from statistics import median

from monitor.analysis.environment import Stretch
from monitor.analysis.felt import OPENING
from monitor.analysis.review import Figure, Record
from monitor.analysis.review_record import DAY_MS, record_of
from monitor.analysis.water_ahead import pip_day
from monitor.domain.batch import Batch
from monitor.domain.causes import LOSS, TO_MIDDLE, WHOLE, WINDOWS, Key
from monitor.domain.egg_book import EggBook, outcome, sign_at, standing
from monitor.domain.egg_entry import (
    AFTER_HATCH,
    CLEAR,
    EARLY,
    EXTERNAL_PIP,
    INTERNAL_PIP,
    MIDDLE,
    Dead,
    Hatched,
    Removed,
    Split,
    Weighing,
)
from monitor.domain.reading import to_ms
from monitor.domain.site import Site
from monitor.service.batch_report import happenings_of, stretches_of
from monitor.service.egg_water import NoWater, Water, Weighed, water_of
from monitor.service.ports import History

# Of the day of pip, from which on an egg's loss is that to pip. One that died before is carried there at its own pace, for both
# its loss and the target rise in a straight line; before half the way the scale's error is too much of it (judgement).
PIP_REACHED, PACE_FROM = 0.95, 0.5
# Share of the term that an egg can have lived at most, by the stage in which it died; its date may be that of the break-out.
_LIVED = {EARLY: 1.0 / 3.0, MIDDLE: WINDOWS[TO_MIDDLE][1]}


@dataclass(frozen=True, slots=True)
class Lived:
    """The record of a batch, ready to be asked. loss_pct: water loss to pip by egg, actual or projected; at_pace: those of them that
    died before pip, whose loss would have come to that; middle_loss_pct: of the others (of the trays, where no egg was weighed by
    itself), None where nothing was weighed. hatched_ms: when the last chick that was
    written had hatched, where its record ends: what the machine does afterwards, until the batch is closed, is nothing to its eggs."""

    batch: Batch
    stretches: tuple[Stretch, ...]
    term_days: float
    wanted: frozenset[Key]
    openings_ms: tuple[int, ...] | None
    loss_band: tuple[float, float] | None
    hatched_ms: int | None
    loss_pct: Mapping[int, float]
    middle_loss_pct: float | None
    at_pace: frozenset[int] = frozenset()
    _done: dict[int | None, Record] = field(default_factory=dict)

    def record(self, until_ms: int | None, loss_pct: float | None, name: str = "", at_pace: bool = False) -> Record:
        """The record up to an egg's end (None: the batch's), with its loss; at_pace: as far as it came, carried to pip."""
        until_ms = self.hatched_ms if until_ms is None else until_ms
        if until_ms not in self._done:
            self._done[until_ms] = record_of(
                self.batch.id,
                self.stretches,
                to_ms(self.batch.set_at),
                self.term_days,
                self.wanted,
                until_ms=until_ms,
                openings_ms=self.openings_ms,
            )
        record = replace(self._done[until_ms], name=name or self.batch.id)
        if loss_pct is None or self.loss_band is None or (LOSS, WHOLE) not in self.wanted:
            return record
        loss = Figure(loss_pct, *self.loss_band, at_pace=at_pace)
        return replace(record, figures={**record.figures, (LOSS, WHOLE): loss})

    def until_ms(self, book: EggBook, egg: int) -> int | None:
        """When an egg's own record ends: at its death, or when it left; None where it lasted as long as the batch's.

        To the end of that day of incubation, so that eggs of one day share their figures.
        """
        end = outcome(book, egg)
        if end is None or not isinstance(end.fact, Dead | Removed | Split):
            return None
        if isinstance(end.fact, Dead) and end.fact.stage == AFTER_HATCH:
            return None
        set_ms = to_ms(self.batch.set_at)
        days = -(-max(to_ms(end.at) - set_ms, 1) // DAY_MS)
        most = _LIVED.get(end.fact.stage, 1e9) if isinstance(end.fact, Dead) else 1e9
        return set_ms + round(min(float(days), most * self.term_days) * DAY_MS)


def lived_of(history: History, site: Site, book: EggBook, now: datetime, wanted: frozenset[Key]) -> Lived:
    """A batch's record for these figures, up to its end or `now`. Its species is among the site's profiles."""
    batch = book.batch
    profile = site.profiles[batch.profile]
    stretches = tuple(stretches_of(history, site, batch, now))
    heard = any(air.at_ms.size for stretch in stretches for air in stretch.air)
    openings = (
        tuple(h.at_ms for h in happenings_of(history, batch, now) if h.kind == OPENING and h.counts) if heard else None
    )
    losses: dict[int, float] = {}
    middle, at_pace = None, frozenset[int]()
    if (LOSS, WHOLE) in wanted and any(isinstance(e.fact, Weighing) for e in book.entries):
        losses, at_pace, middle = _losses(history, site, book, now)
    hatched = max((to_ms(e.at) for e in standing(book) if isinstance(e.fact, Hatched)), default=None)
    return Lived(
        batch, stretches, profile.days, wanted, openings, profile.target_loss_pct, hatched, losses, middle, at_pace
    )


def _losses(
    history: History, site: Site, book: EggBook, now: datetime
) -> tuple[dict[int, float], frozenset[int], float | None]:
    """(loss to pip by egg, those of them that are carried there, the middle one)."""
    try:
        water = water_of(history, site, _at_pip(book, site, now), now)
    except NoWater:
        return {}, frozenset(), None
    found = {egg: _to_pip(book, egg, w, water) for egg, w in water.eggs.items()}
    losses = {egg: loss for egg, (loss, _) in found.items() if loss is not None}
    at_pace = frozenset(egg for egg in losses if found[egg][1])
    own = [loss for egg, loss in losses.items() if egg not in at_pace]
    of_trays = [w.loss.pip_pct.value for w in water.trays.values() if w.loss is not None]
    return losses, at_pace, median(own or of_trays) if own or of_trays else None


def _at_pip(book: EggBook, site: Site, now: datetime) -> EggBook:
    """The book as on the day of pip, so that a loss is that to pip, and not to the hatch; as it is before that day."""
    batch = book.batch
    pip = batch.set_at + timedelta(days=pip_day(site.profiles[batch.profile]))
    if pip >= (batch.closed_at or now):
        return book
    stays = tuple(replace(s, until=min(s.until or pip, pip)) for s in batch.stays if s.since < pip)
    entries = tuple(e for e in book.entries if not (e.ends and e.at > pip))
    return EggBook(replace(batch, closed_at=pip, stays=stays), entries)


def _to_pip(book: EggBook, egg: int, weighed: Weighed, water: Water) -> tuple[float | None, bool]:
    """(loss of one egg to pip, whether it is carried there); (None, False) for one that was not weighed, or did not come far."""
    end, nothing = outcome(book, egg), (None, False)
    if weighed.loss is None:
        return nothing
    if end is not None and isinstance(end.fact, Dead) and end.fact.stage in (EARLY, MIDDLE):
        return nothing
    if end is not None and (isinstance(end.fact, Split) or (isinstance(end.fact, Removed) and end.fact.why == CLEAR)):
        return nothing
    pipped = any(sign_at(book, egg, sign) is not None for sign in (INTERNAL_PIP, EXTERNAL_PIP))
    hatched = end is not None and isinstance(end.fact, Hatched)
    share = 1.0 if weighed.until is None else book.batch.day(weighed.until) / water.pip_day
    loss_pct = weighed.loss.pip_pct.value
    if share >= PIP_REACHED or pipped or hatched:
        return loss_pct, False
    return (loss_pct / share, True) if share >= PACE_FROM else nothing


def shared_ends(lived: Lived, book: EggBook, eggs: Sequence[int]) -> int | None:
    """The end of a record that is to cover all of these eggs: the latest of theirs, None where one of them has none."""
    ends = [lived.until_ms(book, egg) for egg in eggs]
    known = [end for end in ends if end is not None]
    return max(known) if known and len(known) == len(ends) else None
