"""The review of a batch, from its record: what was found in its eggs, and for each finding what those eggs lived through, beside it
the batch's other eggs, and batches of the same species that went well. Read through the history, outside the engine.

Bounded: a batch's air is read once and cut once for each day on which eggs died; of the others that went well each is read once, up to
`beside.MOST_GOOD` of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from statistics import median
from typing import NamedTuple

from monitor.analysis.review.house import ASKED, habits_of
from monitor.analysis.review.judged import Record, review
from monitor.analysis.review.whole import BatchReview, Reviewed, Subject
from monitor.domain.eggs.book import EggBook, numbers, of_egg, standing, went_on
from monitor.domain.eggs.entry import CLEAR, Candling, Found, Removed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import LOSS, WHOLE, Catalogue
from monitor.service.across.beside import Beside
from monitor.service.across.outcomes import WENT_WELL_SHARE
from monitor.service.ports import ReviewRecord
from monitor.service.reports.batch import NoRecord
from monitor.service.reports.facts import OF_FACTS, facts_of
from monitor.service.reports.lived import Lived, lived_of, shared_ends

MOST_SIBLINGS = 200


class _Subject(NamedTuple):
    """A finding, and the eggs of a batch in which it was found."""

    finding: str
    eggs: tuple[int, ...]  # by number
    unnumbered: int
    written: bool


def batch_review(
    history: ReviewRecord,
    site: Site,
    batch: Batch,
    *,
    now: datetime,
    catalogue: Catalogue,
    finding: str | None = None,
    egg: int | None = None,
    good_share: float = WENT_WELL_SHARE,
    shared: Beside | None = None,
) -> BatchReview:
    """The review of everything that was found in a batch.

    Parameters
        finding: only this one, which need not have been written. egg: only what was found in this one.
        good_share: of the fertile eggs, from which on a batch went well, 0 to 1.
        shared: by all reviews of a house, with all figures that are asked for, and the same share; None for this one alone.
    Raises
        NoRecord: the batch was in no machine yet.
    """
    book = history.book(batch)
    found = list(_found(book, finding, egg))
    wanted = catalogue.wanted(each.finding for each in found) | {(LOSS, WHOLE)}
    lived = lived_of(history, site, book, now=now, wanted=wanted | OF_FACTS)
    if found and not lived.stretches:
        raise NoRecord(f"batch {batch.id}", "in no machine yet", f"`eggroom batch move {batch.id} MACHINE` first")
    if shared is None:
        shared = Beside(history, site, now, wanted | frozenset(ASKED), good_share)
    good = shared.good(batch) if found else []
    others = _found(book, None, None) if egg is not None and not found else ()
    return BatchReview(
        batch=batch.id,
        profile=batch.profile,
        eggs=batch.eggs,
        set_at=batch.set_at,
        closed_at=batch.closed_at,
        reviewed=tuple(_reviewed(catalogue, lived, book, of=each, good=good) for each in found),
        good=tuple(record.name for record in good),
        good_share=good_share,
        egg=egg,
        others=tuple((id_, Subject(eggs, count)) for id_, eggs, count, _ in others),
        habits=tuple(habit for habit in habits_of(catalogue, good) if habit.side),
        facts=facts_of(history, site, book, lived=lived, now=now, egg=egg) if lived.stretches else None,
    )


def _found(book: EggBook, finding: str | None, egg: int | None) -> Iterator[_Subject]:
    """In the order in which they were found. What was found in an egg that went on in another batch is that batch's."""
    eggs: dict[str, list[int]] = {}
    counts: dict[str, int] = {}
    for e in standing(book):
        if e.egg is not None and went_on(book, e.egg) is not None:
            continue
        if isinstance(e.fact, Found) and (egg is None or e.egg == egg) and finding in (None, e.fact.finding):
            here = eggs.setdefault(e.fact.finding, [])
            if e.egg is None:
                counts[e.fact.finding] = counts.get(e.fact.finding, 0) + (e.count or 0)
            elif e.egg not in here:
                here.append(e.egg)
    for id_, named in eggs.items():
        yield _Subject(id_, tuple(sorted(named)), counts.get(id_, 0), True)
    if finding is not None and not eggs:
        yield _Subject(finding, () if egg is None else (egg,), 0, False)


def _reviewed(catalogue: Catalogue, lived: Lived, book: EggBook, *, of: _Subject, good: Sequence[Record]) -> Reviewed:
    finding, eggs, count, written = of
    losses = [lived.loss_pct[e] for e in eggs if e in lived.loss_pct]
    by_number = bool(eggs) and not count
    loss = (median(losses) if losses else None) if by_number else lived.middle_loss_pct
    at_pace = by_number and any(e in lived.at_pace for e in eggs)
    record = _with_written(
        lived.record(shared_ends(lived, book, eggs) if by_number else None, loss_pct=loss, at_pace=at_pace),
        lived,
        book,
        eggs=eggs if by_number else None,
    )
    known = numbers(book)
    siblings = [
        _with_written(
            lived.record(
                lived.until_ms(book, other) if other in known else None,
                loss_pct=lived.loss_pct.get(other),
                name=f"egg {other}",
            ),
            lived,
            book,
            eggs=(other,),
        )
        for other in (_siblings(book, eggs) if by_number else ())
    ]
    verdicts = review(catalogue, finding, record, siblings=siblings, good=good)
    return Reviewed(finding, Subject(eggs, count), verdicts, written)


def _with_written(record: Record, lived: Lived, book: EggBook, *, eggs: tuple[int, ...] | None) -> Record:
    """With what was written, counted or is known of these eggs (None: of all) besides their air."""
    return replace(record, figures={**record.figures, **lived.known(book, eggs)})


def _siblings(book: EggBook, eggs: Sequence[int]) -> list[int]:
    """The batch's other eggs, but those that never held an embryo."""
    written = numbers(book)
    every = book.batch.numbers or (range(1, book.batch.eggs + 1) if book.batch.eggs is not None else written)
    return [e for e in every[:MOST_SIBLINGS] if e not in eggs and not (e in written and _clear(book, e))]


def _clear(book: EggBook, egg: int) -> bool:
    entries = of_egg(book, egg)
    candled = [e.fact.found for e in entries if isinstance(e.fact, Candling)]
    taken = any(isinstance(e.fact, Removed) and e.fact.why == CLEAR for e in entries)
    return taken or (bool(candled) and candled[-1] == CLEAR)
