"""What became of an egg after its hatch, as far as the house looks after it: what its chick weighed, and in which machine it was, until it was signed
off or died. What it is fed, and what is done for it, is not kept here."""

from __future__ import annotations

from datetime import datetime
from itertools import zip_longest

from monitor.domain.eggs.book import EggBook, numbers, of_egg
from monitor.domain.eggs.entry import OF_CHICK, Brooded, ChickMass, Dead, Entry, Hatched, SignedOff
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Stay


@fixed
class Chick:
    """One chick, by the number of its egg. hatched_at: None where nobody wrote it. weighed: by time. stays: the machines that it was in, the last
    without an end while it goes on. end: signed off or dead, None before."""

    egg: int
    hatched_at: datetime | None
    weighed: tuple[Entry, ...]
    stays: tuple[Stay, ...]
    end: Entry | None

    def within(self, since: datetime, until: datetime) -> tuple[Stay, ...]:
        """Where it was between two moments; nothing for a time in no machine."""
        cut = [Stay(s.machine, max(s.since, since), min(s.until or until, until)) for s in self.stays]
        return tuple(s for s in cut if s.until is not None and s.since < s.until)

    @property
    def known_until(self) -> datetime | None:
        """The last moment that anything is written of; None where nothing is."""
        told = [e.at for e in (*self.weighed, self.end) if e is not None] + [s.since for s in self.stays]
        return max(told, default=None)


def chick(book: EggBook, egg: int) -> Chick | None:
    """The chick of an egg; None where nothing is written of one but that it hatched."""
    own = of_egg(book, egg)
    said = [e for e in own if isinstance(e.fact, OF_CHICK)]
    if not said:
        return None
    hatched_at = next((e.at for e in own if isinstance(e.fact, Hatched)), None)
    ends = (e for e in own if isinstance(e.fact, SignedOff) or (isinstance(e.fact, Dead) and e.at >= said[0].at))
    end = next(ends, None)
    placed = [(e.at, e.fact.machine) for e in said if isinstance(e.fact, Brooded)]
    stays: list[Stay] = []
    for (since, machine), until in zip_longest(placed, (at for at, _ in placed[1:])):
        over = until if end is None or (until is not None and until < end.at) else end.at
        if over is None or since < over:
            stays.append(Stay(machine, since, over))
    return Chick(egg, hatched_at, tuple(e for e in said if isinstance(e.fact, ChickMass)), tuple(stays), end)


def chicks(book: EggBook) -> tuple[Chick, ...]:
    """Every chick of a batch of which anything is written, by number."""
    return tuple(found for egg in numbers(book) if (found := chick(book, egg)) is not None)
