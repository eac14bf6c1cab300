"""What the signs in the eggs say: when the lockdown of a batch began that goes by the egg, and when a chick should be out.

Draw-down, internal pip and external pip come in this order (Hand-Rearing Birds), so a later sign says that the earlier ones have been, and a
hatched egg that all have.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.domain.eggs.book import EggBook, laid_at, numbers, of_egg, outcome, standing
from monitor.domain.eggs.entry import AFTER_HATCH, Dead, Entry, Hatched, Laid, Sign, Split
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import DAY_S, LOCKDOWN, Batch, declared
from monitor.domain.needs.profile import INTERNAL_PIP, SIGNS, Profile
from monitor.domain.published.timings import until_hatch

# About an hour for each day in store after the first week. Common practice; no figure of a source was found.
STORE_FREE_DAYS, STORE_H_PER_DAY = 7.0, 1.0


@fixed
class Expected:
    """When a chick should be out, by a sign in its egg. source: of the hours; own: False where nobody says them of this kind of bird."""

    sign: str
    at: datetime
    earliest: datetime
    latest: datetime
    source: str
    own: bool


def telling(profile: Profile) -> tuple[str, ...]:
    """The signs that say that an egg wants what a lockdown has: of birds that go by the egg from the profile's on; of others each pip."""
    return SIGNS[SIGNS.index(profile.lockdown_sign or INTERNAL_PIP) :]


def lockdown_seen(book: EggBook, profile: Profile) -> datetime | None:
    """Since when each egg still in the batch has shown the sign of its lockdown; None before that, and of birds that go by the calendar.

    One that has ended waits for nothing. Where nobody wrote how many were set nothing is known of the others.
    """
    return None if profile.lockdown_sign is None else _all_show(book, telling(profile))


def draw_down_seen(book: EggBook) -> bool:
    """Whether each egg still in the batch has shown draw-down, or what comes after it; False where nobody wrote how many were set."""
    return _all_show(book, SIGNS) is not None


def _all_show(book: EggBook, told: Sequence[str]) -> datetime | None:
    """Since when each egg still in the batch has shown one of the signs told; None before that."""
    if book.batch.eggs is None:
        return None
    numbered, ended, seen = set[int](), 0, False
    counted: Counter[str] = Counter()  # by sign, for the same eggs show one after the other
    for entry in standing(book):
        fact = entry.fact
        if entry.egg is not None and not book.batch.has(entry.egg):
            continue  # it went on in another batch
        if isinstance(fact, Split):  # of eggs without numbers those go that have shown something
            counted = Counter({sign: max(0, eggs - entry.eggs) for sign, eggs in counted.items()})
            continue
        if isinstance(fact, Dead) and fact.stage == AFTER_HATCH:
            continue
        shows = isinstance(fact, Hatched) or (isinstance(fact, Sign) and fact.sign in told)
        if not shows and not entry.ends:
            continue
        seen = seen or shows
        if entry.egg is not None:
            numbered.add(entry.egg)
        elif shows:
            counted[fact.sign if isinstance(fact, Sign) else fact.kind] += entry.eggs
        else:
            ended += entry.eggs
        if seen and len(numbered) + ended + max(counted.values(), default=0) >= book.batch.eggs:
            return entry.at
    return None


def followed(before: EggBook, book: EggBook, profile: Profile) -> Batch:
    """The batch as the signs have it after something was written: its lockdown declared since they say it, or no longer.

    before: its book without what was written. What a person declared stays.
    """
    was, is_, batch = lockdown_seen(before, profile), lockdown_seen(book, profile), book.batch
    if was == is_ or batch.closed_at is not None:
        return batch
    batch = replace(batch, declared=tuple(d for d in batch.declared if (d.stage, d.at) != (LOCKDOWN, was)))
    if is_ is None or any(d.stage == LOCKDOWN for d in batch.declared):
        return batch
    return declared(batch, LOCKDOWN, is_)


def still_in(book: EggBook) -> tuple[tuple[int, ...], int | None]:
    """(numbers, count) of the eggs that have not ended: by number, or, where some without numbers ended, only how many; None: not known."""
    batch = book.batch
    if batch.eggs is None:
        return (), None
    counted = sum(e.eggs for e in standing(book) if e.egg is None and _ended(e))
    mine = batch.numbers or range(1, batch.eggs + 1)
    ended = {egg for egg in numbers(book) if outcome(book, egg) is not None}
    left = tuple(egg for egg in mine if egg not in ended)
    return ((), len(left) - counted) if counted else (left, len(left))


def expected(book: EggBook, egg: int, profile: Profile) -> Expected | None:
    """When an egg should hatch, by the last sign seen in it; None without one, and once it has ended."""
    seen = [e for e in of_egg(book, egg) if isinstance(e.fact, Sign)]
    if not seen or outcome(book, egg) is not None:
        return None
    return expected_by(max(seen, key=_order), profile)


def expected_by(entry: Entry, profile: Profile) -> Expected:
    """When an egg should hatch, by a sign in it."""
    assert isinstance(entry.fact, Sign)
    span = until_hatch(profile.kind, entry.fact.sign)
    earliest, latest = (entry.at + timedelta(hours=hours) for hours in (span.low_h, span.high_h))
    return Expected(
        sign=entry.fact.sign, at=entry.at, earliest=earliest, latest=latest, source=span.source, own=span.own
    )


def store_delay_h(book: EggBook) -> tuple[float, float]:
    """How much later eggs hatch for their days in store, hours: those that were there the shortest, and the longest; 0 of what nobody wrote."""
    batch, own = book.batch, [egg for egg in numbers(book) if any(isinstance(e.fact, Laid) for e in of_egg(book, egg))]
    whole = batch.eggs is not None and len(own) >= batch.eggs
    laid = [laid_at(book, egg) for egg in own] + ([] if whole else [laid_at(book, None)])
    stored_days = [0.0 if at is None else (batch.set_at - at).total_seconds() / DAY_S for at in laid]
    delays_h = [max(0.0, days - STORE_FREE_DAYS) * STORE_H_PER_DAY for days in stored_days]
    return min(delays_h), max(delays_h)


def looked_for(book: EggBook, since: datetime) -> bool:
    """Whether somebody has looked at a batch's eggs since, or said when they will: what the calendar reminds of."""
    return any(e.at >= since and e.fact.kind in ("look-again", "candling", "sign", "hatched") for e in standing(book))


def _order(entry: Entry) -> int:
    assert isinstance(entry.fact, Sign)
    return SIGNS.index(entry.fact.sign)


def _ended(entry: Entry) -> bool:
    """Whether eggs without numbers that are still counted as the batch's ended; a chick that died was written as hatched before."""
    after = isinstance(entry.fact, Dead) and entry.fact.stage == AFTER_HATCH
    return entry.ends and not isinstance(entry.fact, Split) and not after
