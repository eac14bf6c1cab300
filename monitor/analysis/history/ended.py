"""How a batch's eggs ended, in numbers and day by day, as its book says it by some moment."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from monitor.domain.eggs.book import EggBook, numbers, of_egg, standing
from monitor.domain.eggs.entry import AFTER_HATCH, CLEAR, Candling, Dead, Hatched, Removed, Split
from monitor.domain.needs.batch import whole_day


@dataclass(frozen=True, slots=True)
class EndsOfDay:
    """On one day of development: how many hatched, were found dead in the shell, and were taken out."""

    day: int
    hatched: int
    dead: int
    removed: int

    @property
    def eggs(self) -> int:
        """All of them."""
        return self.hatched + self.dead + self.removed


@dataclass(frozen=True, slots=True)
class Ended:
    """eggs: that were set, None where nobody wrote it. dead: in the shell, by class; removed: by why; chicks_dead: after their hatch; went_on: in
    other batches; clear: by number, seen so at their last candling, without an end. hatched_at: the first and the last hatch, None without any. days: those on which any ended, in order. closed: whether the batch is."""

    eggs: int | None
    hatched: int
    dead: Mapping[str, int]
    removed: Mapping[str, int]
    chicks_dead: int
    went_on: int
    hatched_at: tuple[datetime, datetime] | None
    days: tuple[EndsOfDay, ...]
    closed: bool
    clear: int = 0

    @property
    def left(self) -> int | None:
        """Of which no end is written; None where nobody wrote how many were set."""
        if self.eggs is None:
            return None
        ended = self.hatched + sum(self.dead.values()) + sum(self.removed.values()) + self.went_on
        return max(self.eggs - ended - self.clear, 0)

    @property
    def any(self) -> bool:
        """Whether any end is written."""
        return bool(self.days or self.went_on)


def ended_of(book: EggBook, now: datetime) -> Ended:
    """What the book says by then."""
    batch = book.batch
    every = [e for e in standing(book) if e.ends and e.at <= now]
    in_shell = [e for e in every if not (isinstance(e.fact, Dead) and e.fact.stage == AFTER_HATCH)]
    by_day: dict[int, Counter[str]] = {}
    for entry in in_shell:
        if not isinstance(entry.fact, Split):
            by_day.setdefault(whole_day(max(batch.day(entry.at), 0.0)), Counter())[entry.fact.kind] += entry.eggs
    hatches = [e.at for e in every if isinstance(e.fact, Hatched)]
    dead, removed = Counter[str](), Counter[str]()
    for entry in in_shell:
        if isinstance(entry.fact, Dead):
            dead[entry.fact.stage] += entry.eggs
        elif isinstance(entry.fact, Removed):
            removed[entry.fact.why] += entry.eggs
    return Ended(
        eggs=batch.eggs,
        hatched=sum(e.eggs for e in every if isinstance(e.fact, Hatched)),
        dead=dead,
        removed=removed,
        chicks_dead=sum(e.eggs for e in every) - sum(e.eggs for e in in_shell),
        went_on=sum(e.eggs for e in every if isinstance(e.fact, Split)),
        hatched_at=(min(hatches), max(hatches)) if hatches else None,
        days=tuple(EndsOfDay(day, n[Hatched.kind], n[Dead.kind], n[Removed.kind]) for day, n in sorted(by_day.items())),
        closed=batch.closed_at is not None and batch.closed_at <= now,
        clear=sum(_clear(book, egg, now) for egg in numbers(book)),
    )


def _clear(book: EggBook, egg: int, now: datetime) -> bool:
    own = [e for e in of_egg(book, egg) if e.at <= now]
    looks = [e.fact.found for e in own if isinstance(e.fact, Candling)]
    return looks[-1:] == [CLEAR] and not any(e.ends for e in own)
