"""A batch and its egg book in an archive, as format version 1 has them.

As in `house`, these names belong to files that people keep and follow no name inside the program. Times are aware UTC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import AwareDatetime

from monitor.adapters.kept.rows import Rows
from monitor.domain.eggs.entry import Entry, fact_of, plain
from monitor.domain.needs.batch import Batch, Declared, Stay


@dataclass(frozen=True, slots=True)
class ArchivedStay:
    """The batch in a machine."""

    machine: str
    since: AwareDatetime
    until: AwareDatetime | None = None


@dataclass(frozen=True, slots=True)
class ArchivedStage:
    """A stage that the breeder declared."""

    stage: str
    at: AwareDatetime


@dataclass(frozen=True, slots=True)
class BatchMember:
    """batch.json"""

    id: str
    profile: str
    set_at: AwareDatetime
    eggs: int | None = None
    note: str = ""
    stays: Rows[ArchivedStay] = ()
    declared: Rows[ArchivedStage] = ()
    closed_at: AwareDatetime | None = None
    numbers: Rows[int] = ()
    split_from: str = ""

    @classmethod
    def of(cls, batch: Batch) -> BatchMember:
        """A batch as it is kept."""
        return cls(
            id=batch.id,
            profile=batch.profile,
            set_at=batch.set_at,
            eggs=batch.eggs,
            note=batch.note,
            stays=tuple(ArchivedStay(machine=s.machine, since=s.since, until=s.until) for s in batch.stays),
            declared=tuple(ArchivedStage(stage=d.stage, at=d.at) for d in batch.declared),
            closed_at=batch.closed_at,
            numbers=batch.numbers,
            split_from=batch.split_from,
        )

    def back(self) -> Batch:
        """The batch."""
        return Batch(
            id=self.id,
            profile=self.profile,
            set_at=self.set_at,
            eggs=self.eggs,
            note=self.note,
            stays=tuple(Stay(machine=s.machine, since=s.since, until=s.until) for s in self.stays),
            declared=tuple(Declared(stage=d.stage, at=d.at) for d in self.declared),
            closed_at=self.closed_at,
            numbers=self.numbers,
            split_from=self.split_from,
        )


@dataclass(frozen=True, slots=True)
class ArchivedEntry:
    """One of book.json. fact: what `domain.eggs.entry.plain` makes of one of that kind, the form that the record keeps it in too."""

    number: int
    at: AwareDatetime
    written_at: AwareDatetime
    who: str
    kind: str
    fact: Mapping[str, str | int | float | None]
    egg: int | None
    count: int | None
    tray: str
    replaces: int | None

    @classmethod
    def of(cls, entry: Entry) -> ArchivedEntry:
        """An entry as it is kept."""
        return cls(
            number=entry.number,
            at=entry.at,
            written_at=entry.written_at,
            who=entry.who,
            kind=entry.fact.kind,
            fact=plain(entry.fact),
            egg=entry.egg,
            count=entry.count,
            tray=entry.tray,
            replaces=entry.replaces,
        )

    def back(self) -> Entry:
        """The entry. Raises ValueError for one that cannot be."""
        return Entry(
            at=self.at,
            written_at=self.written_at,
            who=self.who,
            fact=fact_of(self.kind, self.fact),
            egg=self.egg,
            count=self.count,
            tray=self.tray,
            replaces=self.replaces,
            number=self.number,
        )
