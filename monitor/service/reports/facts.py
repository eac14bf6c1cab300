"""What the record shows of a batch's eggs, whatever was found in them: out of its book, its air and its alarms."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from monitor.analysis.review.facts import EndOf, Facts, Lost, Pauses, Rang, air_of
from monitor.domain.alarms.alarm import NORMAL, RETURNED
from monitor.domain.eggs.book import (
    EggBook,
    of_egg,
    standing,
)
from monitor.domain.eggs.entry import AFTER_HATCH, Dead, Entry, Fact, Weighing
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import SETTER, TURNS, Key
from monitor.domain.readings.reading import to_ms
from monitor.service.ports import ReviewRecord, RungRecord, TransitionRow
from monitor.service.reports.batch import sites_of
from monitor.service.reports.belonging import belongs_to, looked_at, stays_in
from monitor.service.reports.lived import Lived
from monitor.service.reports.written import stored_days

OF_FACTS: frozenset[Key] = frozenset((variable, SETTER) for variable in TURNS)  # what they ask of a life besides


def facts_of(
    history: ReviewRecord, site: Site, book: EggBook, *, lived: Lived, now: datetime, egg: int | None
) -> Facts:
    """The facts of a batch, or of one egg of it up to its end. lived: with one stretch or more, and its loss."""
    batch = book.batch
    until_ms = lived.hatched_ms if egg is None else lived.until_ms(book, egg) or lived.hatched_ms
    set_ms = to_ms(batch.set_at)
    warm, humid, beyond = air_of(lived.stretches, set_ms=set_ms, term_days=lived.term_days, until_ms=until_ms)
    return Facts(
        set_ms=set_ms,
        ended=tuple(_ended(book, egg)),
        beyond=beyond,
        rang=tuple(rang_of(history, site, batch, now=now, until_ms=warm.until_ms)),
        warm=warm,
        humid=humid,
        lost=_lost(lived, egg),
        stored_days=stored_days(book, None if egg is None else (egg,)),
        turned=_turned(lived, book, egg),
        weighed=any(isinstance(e.fact, Weighing) for e in (standing(book) if egg is None else of_egg(book, egg))),
    )


def _turned(lived: Lived, book: EggBook, egg: int | None) -> Pauses | None:
    found = lived.known(book, None if egg is None else (egg,))
    mean, longest = (found.get((variable, SETTER)) for variable in TURNS)
    if mean is None or longest is None:
        return None
    return Pauses(mean_h=mean.value, longest_h=longest.value, counted=mean.coverage)


def _ended(book: EggBook, egg: int | None) -> Iterator[EndOf]:
    """Every end that stands in the book, alike ones together, the most first; of a chick that died later only that."""
    found: dict[Fact, list[Entry]] = {}
    for entry in standing(book):
        after = isinstance(entry.fact, Dead) and entry.fact.stage == AFTER_HATCH
        if entry.ends and (egg is None or entry.egg == egg) and (not after or egg is not None):
            found.setdefault(entry.fact, []).append(entry)
    for fact, entries in sorted(found.items(), key=lambda each: -sum(e.eggs for e in each[1])):
        days = [book.batch.day(entry.at) for entry in entries]
        yield EndOf(fact, sum(entry.eggs for entry in entries), min(days), max(days))


def rang_of(history: RungRecord, site: Site, batch: Batch, *, now: datetime, until_ms: int) -> Iterator[Rang]:
    """The alarms that began in its life about it and what it was in, as they came."""
    stays = stays_in(batch, now)
    belongs = belongs_to(batch, stays, looked_at(sites_of(history, site), batch, stays))
    episodes: dict[int, list[TransitionRow]] = {}
    begin = min([batch.set_at, *(since for spans in stays.values() for since, _ in spans)])
    end = max([batch.set_at, *(until for spans in stays.values() for _, until in spans)])
    for row in history.transitions(begin, until=end + timedelta(milliseconds=1)):
        if row.number and (row.number in episodes or belongs(row.subject, row.at)):
            episodes.setdefault(row.number, []).append(row)
    for number, rows in episodes.items():
        first, rule = rows[0], site.rules.get(rows[0].rule)
        since = first.since or first.at
        if to_ms(since) >= until_ms:
            continue
        last = rows[-1]
        yield Rang(
            number=number,
            subject=first.subject,
            rule=first.rule,
            words="" if rule is None else rule.words,
            priority="" if rule is None else rule.priority,
            since=since,
            until=last.at if last.state in (NORMAL, RETURNED) else None,
            answered=next(((row.who, row.at) for row in rows if row.who), None),
        )


def _lost(lived: Lived, egg: int | None) -> Lost | None:
    if egg is not None:
        own = lived.loss_pct.get(egg)
        return None if own is None else Lost((own,), int(egg in lived.at_pace), False, lived.loss_band)
    if lived.loss_pct:
        return Lost(tuple(lived.loss_pct.values()), len(lived.at_pace), False, lived.loss_band)
    middle = lived.middle_loss_pct
    return None if middle is None else Lost((middle,), 0, True, lived.loss_band)
