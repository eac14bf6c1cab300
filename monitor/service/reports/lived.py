"""What the eggs of a batch lived through, as a review asks for it: the batch's air is read once, each egg has its own end and loss."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from statistics import median

from monitor.analysis.history.environment import Stretch
from monitor.analysis.history.felt import OPENING
from monitor.analysis.review.judged import Figure, Record
from monitor.analysis.review.record import record_of, span_of
from monitor.domain.air.psychrometrics import SEA_LEVEL_KPA, elevation_m
from monitor.domain.eggs.book import EggBook, of_egg, outcome, standing
from monitor.domain.eggs.entry import (
    AFTER_HATCH,
    EARLY,
    MIDDLE,
    Dead,
    Hatched,
    Removed,
    Split,
    Turning,
    TurningStopped,
    Weighing,
)
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.needs.target import target_of
from monitor.domain.published.causes import ALTITUDE, CRACKED, LOSS, TO_MIDDLE, TURNS, WHOLE, WINDOWS, Key
from monitor.domain.readings.reading import DAY_MS, from_ms, to_ms
from monitor.service.ports import BatchRecord
from monitor.service.reports.batch import happenings_of, site_at_end, stretches_of
from monitor.service.reports.turning import Counted, pauses, turns_of
from monitor.service.reports.water import water_to_pip
from monitor.service.reports.written import cracked, written_of

# Share of the term that an egg can have lived at most, by the stage in which it died; its date may be that of the break-out.
_LIVED = {EARLY: 1.0 / 3.0, MIDDLE: WINDOWS[TO_MIDDLE][1]}


@dataclass(frozen=True, slots=True)
class Lived:
    """The record of a batch, ready to be asked. loss_pct: water loss to pip by egg, actual or projected; at_pace: those of them that
    died before pip, whose loss would have come to that; middle_loss_pct: of the others (of the trays, where no egg was weighed by
    itself), None where nothing was weighed. egg_mass_g: usual of the species. hatched_ms: when the last chick that was
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
    egg_mass_g: tuple[float, float] | None = None
    turns: tuple[Counted, ...] = ()
    elevation_km: float | None = None
    _done: dict[int | None, Record] = field(default_factory=dict)
    _counted: dict[tuple[object, ...], dict[Key, Figure]] = field(default_factory=dict)

    def record(self, until_ms: int | None, *, loss_pct: float | None, name: str = "", at_pace: bool = False) -> Record:
        """The record up to an egg's end (None: the batch's), with its loss; at_pace: as far as it came, carried to pip."""
        until_ms = self.hatched_ms if until_ms is None else until_ms
        if until_ms not in self._done:
            self._done[until_ms] = record_of(
                self.batch.id,
                self.stretches,
                set_at_ms=to_ms(self.batch.set_at),
                term_days=self.term_days,
                wanted=self.wanted,
                until_ms=until_ms,
                openings_ms=self.openings_ms,
            )
        record = replace(self._done[until_ms], name=name or self.batch.id)
        if loss_pct is None or self.loss_band is None or (LOSS, WHOLE) not in self.wanted:
            return record
        loss = Figure(loss_pct, *self.loss_band, at_pace=at_pace)
        return replace(record, figures={**record.figures, (LOSS, WHOLE): loss})

    def known(self, book: EggBook, eggs: tuple[int, ...] | None) -> dict[Key, Figure]:
        """What no air tells of, of these eggs (None: of all): what was written as they were set, cracks, turns, and how high the place lies."""
        found = written_of(book, self.egg_mass_g, eggs)
        asked = {key for key in self.wanted if key[0] in (CRACKED, ALTITUDE)}
        broken = cracked(book, eggs) if any(variable == CRACKED for variable, _ in asked) else None
        height = None if self.elevation_km is None else Figure(self.elevation_km)
        for variable, window in asked:
            figure = broken if variable == CRACKED else height
            if figure is not None:
                found[variable, window] = figure
        found |= self._turned(book, eggs)
        return {key: figure for key, figure in found.items() if key in self.wanted}

    def _turned(self, book: EggBook, eggs: tuple[int, ...] | None) -> dict[Key, Figure]:
        """Of several eggs as it is written of all, to the last of their ends."""
        windows = {window for variable, window in self.wanted if variable in TURNS}
        if not windows:
            return {}
        egg = eggs[0] if eggs is not None and len(eggs) == 1 else None
        until_ms = self.hatched_ms if eggs is None else shared_ends(self, book, eggs) or self.hatched_ms
        own = tuple(e.number for e in of_egg(book, egg) if isinstance(e.fact, Turning | TurningStopped)) if egg else ()
        if (until_ms, own) not in self._counted:
            self._counted[until_ms, own] = dict(self._turned_in(book, egg, windows, until_ms=until_ms))
        return self._counted[until_ms, own]

    def _turned_in(
        self, book: EggBook, egg: int | None, windows: Collection[str], *, until_ms: int | None
    ) -> Iterator[tuple[Key, Figure]]:
        for window in windows:
            set_ms = to_ms(self.batch.set_at)
            span = span_of(window, self.stretches, set_at_ms=set_ms, term_days=self.term_days, until_ms=until_ms)
            if span is None:
                continue
            found = pauses(self.turns, book, egg, within=(from_ms(span[0]), from_ms(span[1])))
            if found is not None:
                yield from zip(((variable, window) for variable in TURNS), found, strict=True)

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


def lived_of(history: BatchRecord, site: Site, book: EggBook, *, now: datetime, wanted: frozenset[Key]) -> Lived:
    """A batch's record for these figures, up to its end or `now`. Its species is among the site's profiles."""
    batch = book.batch
    site = site_at_end(history, site, batch, now=now)
    profile = site.profiles[batch.profile]
    stretches = tuple(stretches_of(history, site, batch, now=now))
    heard = any(air.at_ms.size for stretch in stretches for air in stretch.air)
    openings = (
        tuple(h.at_ms for h in happenings_of(history, batch, now) if h.kind == OPENING and h.counts) if heard else None
    )
    losses: dict[int, float] = {}
    middle, at_pace = None, frozenset[int]()
    if (LOSS, WHOLE) in wanted and any(isinstance(e.fact, Weighing) for e in book.entries):
        losses, at_pace, middle = _losses(site, book, now, stretches=stretches)
    hatched = max((to_ms(e.at) for e in standing(book) if isinstance(e.fact, Hatched)), default=None)
    turned = any(variable in TURNS for variable, _ in wanted)
    target = target_of(profile)
    band = None if target is None else target.by_pip_pct
    return Lived(
        batch=batch,
        stretches=stretches,
        term_days=profile.days,
        wanted=wanted,
        openings_ms=openings,
        loss_band=band,
        hatched_ms=hatched,
        loss_pct=losses,
        middle_loss_pct=middle,
        at_pace=at_pace,
        egg_mass_g=profile.egg_mass_g,
        turns=turns_of(history, site, book, now=now) if turned else (),
        # No elevation written is 0 m, which says nothing.
        elevation_km=None if site.pressure_kpa == SEA_LEVEL_KPA else elevation_m(site.pressure_kpa) / 1000.0,
    )


def _losses(
    site: Site, book: EggBook, now: datetime, *, stretches: Sequence[Stretch]
) -> tuple[dict[int, float], frozenset[int], float | None]:
    """(loss to pip by egg, those of them that are carried there, the middle one)."""
    water, found = water_to_pip(site, book, now, stretches=stretches)
    losses = {egg: loss for egg, (loss, _) in found.items()}
    at_pace = frozenset(egg for egg, (_, carried) in found.items() if carried)
    own = [loss for egg, loss in losses.items() if egg not in at_pace]
    of_trays = [w.loss.pip_pct.value for w in water.trays.values() if w.loss is not None]
    return losses, at_pace, median(own or of_trays) if own or of_trays else None


def shared_ends(lived: Lived, book: EggBook, eggs: Sequence[int]) -> int | None:
    """The end of a record that is to cover all of these eggs: the latest of theirs, None where one of them has none."""
    ends = [lived.until_ms(book, egg) for egg in eggs]
    known = [end for end in ends if end is not None]
    return max(known) if known and len(known) == len(ends) else None
