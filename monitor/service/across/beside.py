"""Batches side by side: of each closed one its figures, worked out once however often it is asked for, and which of them went well.

Only the figures are kept, not the weeks of readings that they are made of. A house's reviews, or all that is told across its batches, share
one of these, and so read each batch's air once.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

from monitor.analysis.review.judged import Record
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import Key
from monitor.service.across.outcomes import WENT_WELL_SHARE, Ended, ended_of
from monitor.service.ports import SeasonRecord
from monitor.service.reports.lived import Lived, lived_of

MOST_DRAWN = 6  # of them whose air is drawn: each is weeks of readings
MOST_GOOD = 60  # batches that went well beside one, the newest: about a season of a large house


@dataclass(slots=True)
class Beside:
    """The batches of a house, to be asked for their figures. wanted: all that will be asked; good_share: from which on one went well."""

    history: SeasonRecord
    site: Site
    now: datetime
    wanted: frozenset[Key]
    good_share: float = WENT_WELL_SHARE
    _records: dict[str, Record] = field(default_factory=dict)
    _every: tuple[Batch, ...] | None = None
    _by_id: dict[str, Batch] = field(default_factory=dict)
    _ended: dict[str, Ended] = field(default_factory=dict)

    @property
    def every(self) -> tuple[Batch, ...]:
        """All batches of the house, in the order they were set."""
        if self._every is None:
            self._every = tuple(self.history.batches())
        return self._every

    def batch(self, id_: str) -> Batch:
        """The batch of that name."""
        if not self._by_id:
            self._by_id.update((b.id, b) for b in self.every)
        return self._by_id[id_]

    def record(self, batch: Batch) -> Record:
        """What a batch lived through, with what was written of its eggs. Its species is among the site's profiles."""
        if batch.id not in self._records:
            book = self.history.book(batch)
            lived = lived_of(self.history, self.site, book, now=self.now, wanted=self.wanted)
            record = lived.record(None, loss_pct=lived.middle_loss_pct)
            self._records[batch.id] = replace(record, figures={**record.figures, **lived.known(book, None)})
        return self._records[batch.id]

    def went_well(self, species: str, *, but: str = "") -> list[Batch]:
        """The batches of that species that were set and whose clutch went well as a whole, the newest first. but: not this clutch."""
        known = {b.id: b for b in self.every if b.profile == species}
        if species not in self._ended:
            batches = list(known.values())
            self._ended[species] = ended_of(self.history, batches, self.site.zone, good_share=self.good_share)
        well = [known[o.batch] for o in self._ended[species].cases if o.went_well]
        others = [b for b in well if b.clutch != but and b.stays]
        return sorted(others, key=lambda b: b.set_at, reverse=True)[:MOST_GOOD]

    def good(self, batch: Batch) -> list[Record]:
        """The figures of other clutches of a batch's species that went well."""
        return [self.record(b) for b in self.went_well(batch.profile, but=batch.clutch)]

    def lives(self, batch: Batch) -> list[Lived]:
        """The air of the newest of them, without any figures, for who draws it."""
        newest = self.went_well(batch.profile, but=batch.clutch)[:MOST_DRAWN]
        books = map(self.history.book, newest)
        return [lived_of(self.history, self.site, book, now=self.now, wanted=frozenset()) for book in books]
