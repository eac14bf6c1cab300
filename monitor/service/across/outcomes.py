"""How batches ended, counted from their egg books: which of them went well, and in which a finding was written.

A count is made only from what is written: an egg of which no end was written has not hatched, and is told; eggs are called
fertile only where every egg of the batch is known to be clear, or not to be. An egg given away counts neither way, and one that went
on in another batch counts there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, tzinfo

from monitor.analysis.across.statistics import Outcome, ended_badly, whole_of
from monitor.domain.eggs.book import EggBook, identity, numbers, of_egg, outcome, standing, went_on
from monitor.domain.eggs.entry import (
    AFTER_HATCH,
    ALIVE,
    CLEAR,
    DEAD,
    DEATHS,
    EARLY,
    EARLY_DEAD,
    FERTILE,
    Candling,
    Dead,
    Entry,
    Found,
    Hatched,
    Removed,
    Split,
)
from monitor.domain.needs.batch import Batch
from monitor.service.ports import Books

# Of the fertile eggs; of all that were set where the clear ones were not told apart, which is harder to reach. Judgement: a
# breeder of birds that hatch worse says so with `--good`.
WENT_WELL_SHARE = 0.75
# Why a batch is not counted: how many eggs were set is not written, no outcome is, or more eggs are than were set.
NO_EGGS, NO_OUTCOME, TOO_MANY = "no eggs", "no outcome", "too many"
UNTOLD = "stage not written"
GIVEN_AWAY, ELSEWHERE, TAKEN_OUT = "given away", "in another batch", "taken out"
NO_MACHINE = "no machine"
PAIR, CLUTCH = "pair", "clutch"  # whose eggs: what parts of a batch can be told apart by
_SEEN = "seen "  # what was found at a candling, and no end was written
_FERTILE = (FERTILE, ALIVE, EARLY_DEAD, DEAD)
# The year in quarters that mean the same on both halves of the earth.
SEASONS = DEC_FEB, MAR_MAY, JUN_AUG, SEP_NOV = "dec-feb", "mar-may", "jun-aug", "sep-nov"


@dataclass(frozen=True, slots=True)
class Ended:
    """How the closed batches ended. parts: of each counted batch, by pair or clutch where that was asked for, how its eggs ended; None where
    they ended in counts, so that nobody knows whose; part_written: as `written`, by batch and part. left_out: batch id to why it is not counted. unwritten: eggs without an end, not hatched.
    written: of each counted batch, how many eggs had the finding that was asked for; None where none was. clutches: of each
    batch of one that was split, all that came of its eggs, the one that was set first; good_share: from which on one went well."""

    outcomes: tuple[Outcome, ...]
    left_out: Mapping[str, str]
    unwritten: int
    written: Mapping[str, int] | None = None
    clutches: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    good_share: float = WENT_WELL_SHARE
    parts: Mapping[str, tuple[Outcome, ...] | None] = field(default_factory=dict)
    part_written: Mapping[tuple[str, str], int] = field(default_factory=dict)

    @property
    def cases(self) -> tuple[Outcome, ...]:
        """What is compared: each clutch once, as a whole, under the batch that was set; of those of which every part can be counted. What was
        split off shares its parents and most of its days."""
        known = {o.batch: o for o in self.outcomes}
        clutches = [(id_, self.clutch_of(id_)) for id_ in known]
        return tuple(
            whole_of([known[each] for each in parts], self.good_share)
            for id_, parts in clutches
            if parts[0] == id_ and all(each in known for each in parts)
        )

    @property
    def waiting(self) -> tuple[str, ...]:
        """Batches that are counted, and compared with nothing: a part of their clutch is not counted, or still open."""
        known = {o.batch for o in self.outcomes}
        return tuple(o.batch for o in self.outcomes if not known.issuperset(self.clutch_of(o.batch)))

    def clutch_of(self, batch: str) -> tuple[str, ...]:
        """All that came of the eggs that were set with these."""
        return self.clutches.get(batch, (batch,))

    def bad(self, outcome: Outcome) -> bool:
        """The end that clutches are counted by: that the finding was written, or where none was asked for, that it ended badly."""
        if self.written is None:
            return ended_badly(outcome)
        return any(self.written.get(part, 0) > 0 for part in self.clutch_of(outcome.batch))


def clutches_of(batches: Sequence[Batch]) -> dict[str, tuple[str, ...]]:
    """Of each batch of a clutch that was split, by its id: all that came of those eggs, the one that was set first."""
    found: dict[str, list[str]] = {}
    for batch in sorted(batches, key=lambda b: b.split_from != ""):
        found.setdefault(batch.clutch, []).append(batch.id)
    return {id_: tuple(parts) for parts in found.values() if len(parts) > 1 for id_ in parts}


def ended_of(
    history: Books,
    batches: Sequence[Batch],
    zone: tzinfo,
    *,
    good_share: float = WENT_WELL_SHARE,
    finding: str | None = None,
    by: str | None = None,
) -> Ended:
    """The outcome of each closed batch that can be counted. good_share: 0 to 1, see WENT_WELL_SHARE. finding: counted as well. by: PAIR or
    CLUTCH where each of these is counted by itself."""
    outcomes, left_out, unwritten = [], {}, 0
    parts: dict[str, tuple[Outcome, ...] | None] = {}
    part_written: dict[tuple[str, str], int] = {}
    written: dict[str, int] = {}
    for batch in batches:
        if batch.closed_at is None:
            continue
        book = history.book(batch)
        found = outcome_of(book, zone, good_share)
        if isinstance(found, str):
            left_out[batch.id] = found
        else:
            counted, missing = found
            outcomes.append(counted)
            unwritten += missing
            if finding is not None:
                written[batch.id] = min(counted.eggs, _eggs_with(book, finding))
            if by in (PAIR, CLUTCH):
                books = _apart(book, by)
                parts[batch.id] = (
                    None if books is None else tuple(_outcome(each, zone, good_share)[0] for each in books.values())
                )
                for name, each in (books or {}).items() if finding is not None else ():
                    part_written[batch.id, name] = _eggs_with(each, finding or "")
    return Ended(
        outcomes=tuple(outcomes),
        left_out=left_out,
        unwritten=unwritten,
        written=None if finding is None else written,
        clutches=clutches_of(batches),
        good_share=good_share,
        parts=parts,
        part_written=part_written,
    )


def _whose(book: EggBook, by: str) -> dict[str, list[int]]:
    """The eggs of a batch by their pair or clutch; under "" those of which nobody wrote it."""
    batch, found = book.batch, dict[str, list[int]]()
    common = identity(book, None)
    for egg in batch.numbers or range(1, (batch.eggs or 0) + 1):
        who = identity(book, egg) if egg in book.of_egg else common
        found.setdefault("" if who is None else who.parents if by == PAIR else who.clutch_of, []).append(egg)
    return found


def _apart(book: EggBook, by: str) -> dict[str, EggBook] | None:
    """The book of each pair or clutch by itself; the whole where there is one. None where eggs of several ended in counts."""
    whose = _whose(book, by)
    if len(whose) < 2:
        return dict.fromkeys(whose, book)
    if any(e.ends and e.egg is None for e in standing(book)):
        return None
    return {
        name: EggBook(
            replace(book.batch, eggs=len(eggs), numbers=tuple(eggs)),
            (*book.of_all, *(e for egg in eggs for e in of_egg(book, egg))),
        )
        for name, eggs in whose.items()
    }


def outcome_of(book: EggBook, zone: tzinfo, good_share: float = WENT_WELL_SHARE) -> tuple[Outcome, int] | str:
    """(how a batch ended, its eggs without a written end), or why it cannot be counted: NO_EGGS, NO_OUTCOME or TOO_MANY."""
    batch = book.batch
    if batch.eggs is None:
        return NO_EGGS
    if not any(e.ends and not isinstance(e.fact, Split) for e in standing(book)):
        return NO_OUTCOME
    try:
        return _outcome(book, zone, good_share)
    except ValueError:
        return TOO_MANY


def _outcome(book: EggBook, zone: tzinfo, good_share: float) -> tuple[Outcome, int]:
    """(how a batch or a part of it ended, its eggs without a written end). Raises ValueError where more are written than were set."""
    batch = book.batch
    kinds = _kinds(book)
    eggs = (batch.eggs or 0) - kinds[GIVEN_AWAY]
    lost = {stage: kinds[stage] for stage in (*DEATHS, UNTOLD) if kinds[stage]}
    hatched, clear = kinds["hatched"], kinds[CLEAR]
    known = hatched + sum(lost.values()) + kinds[FERTILE] + clear
    fertile = eggs - clear if known >= eggs else None
    stay = batch.stays[0].machine if batch.stays else NO_MACHINE
    season = SEASONS[batch.set_at.astimezone(zone).month % 12 // 3]
    pairs, clutches = _whose(book, PAIR), _whose(book, CLUTCH)
    counted = Outcome(
        batch=batch.id,
        machine=stay,
        species=batch.profile,
        season=season,
        eggs=eggs,
        fertile=fertile,
        hatched=hatched,
        went_well=False,
        lost=lost,
        pair=next(iter(pairs)) if len(pairs) == 1 else "",
        clutch=next(iter(clutches)) if len(clutches) == 1 else "",
    )
    ended, share = hatched + sum(lost.values()) + clear + kinds[TAKEN_OUT], counted.share
    return replace(counted, went_well=share is not None and share >= good_share), max(0, eggs - ended)


def _eggs_with(book: EggBook, finding: str) -> int:
    """Eggs of which the finding was written, each egg with a number once; one that went on in another batch counts there."""
    found = [e for e in standing(book) if isinstance(e.fact, Found) and e.fact.finding == finding]
    named = {e.egg for e in found if e.egg is not None and went_on(book, e.egg) is None}
    return len(named) + sum(e.count or 0 for e in found if e.egg is None)


def _kinds(book: EggBook) -> Counter[str]:
    """How many eggs came to which end. What was only seen of an egg by number, and then ended in a count, is counted once."""
    numbered, counted = _numbered(book), _counted(book)
    kinds = numbered + counted
    kinds[CLEAR] = numbered[CLEAR] + max(numbered[_SEEN + CLEAR], counted[CLEAR])
    spare = sum(counted[stage] for stage in DEATHS)
    for seen, stage in ((EARLY_DEAD, EARLY), (DEAD, UNTOLD)):
        more = max(0, numbered[_SEEN + seen] - spare)
        spare -= numbered[_SEEN + seen] - more
        kinds[stage] += more
    return kinds


def _numbered(book: EggBook) -> Counter[str]:
    """How many eggs with numbers came to which end, or else how they were last seen."""
    kinds: Counter[str] = Counter()
    for egg in numbers(book):
        entries, end = of_egg(book, egg), outcome(book, egg)
        seen = [e.fact.found for e in entries if isinstance(e.fact, Candling)]
        if any(isinstance(e.fact, Hatched) for e in entries):
            kinds["hatched"] += 1
        elif end is not None and isinstance(end.fact, Split):
            kinds[ELSEWHERE] += 1
        elif end is not None and not isinstance(end.fact, Removed):
            kinds[_died(end)] += 1
        elif end is not None and isinstance(end.fact, Removed) and end.fact.why == GIVEN_AWAY:
            kinds[GIVEN_AWAY] += 1
        elif end is not None and isinstance(end.fact, Removed) and end.fact.why == CLEAR:
            kinds[CLEAR] += 1
        elif seen[-1] == CLEAR if seen else any(isinstance(e.fact, Found) and e.fact.finding == CLEAR for e in entries):
            kinds[_SEEN + CLEAR] += 1
        elif seen and seen[-1] in (EARLY_DEAD, DEAD):
            kinds[_SEEN + seen[-1]] += 1
        else:
            if end is not None:
                kinds[TAKEN_OUT] += 1
            if any(found in _FERTILE for found in seen):
                kinds[FERTILE] += 1
    return kinds


def _counted(book: EggBook) -> Counter[str]:
    """The same of eggs without numbers. What a candling found clear or alive, and what ended later, are the same eggs."""
    kinds: Counter[str] = Counter()
    candled: dict[str, Counter[datetime]] = {CLEAR: Counter(), FERTILE: Counter()}
    for e in standing(book):
        if e.egg is not None or e.count is None:
            continue
        if isinstance(e.fact, Hatched):
            kinds["hatched"] += e.count
        elif isinstance(e.fact, Dead):
            kinds[_died(e)] += 0 if e.fact.stage == AFTER_HATCH else e.count
        elif isinstance(e.fact, Split):
            kinds[ELSEWHERE] += e.count
        elif isinstance(e.fact, Removed):
            kinds[e.fact.why if e.fact.why in (CLEAR, GIVEN_AWAY) else TAKEN_OUT] += e.count
        elif isinstance(e.fact, Candling) and e.fact.found in (CLEAR, *_FERTILE):
            candled[CLEAR if e.fact.found == CLEAR else FERTILE][e.at] += e.count
    most_clear, most_fertile = (max(c.values(), default=0) for c in candled.values())
    kinds[CLEAR] = max(kinds[CLEAR], most_clear)
    ended = kinds["hatched"] + sum(kinds[stage] for stage in DEATHS)
    kinds[FERTILE] = max(0, most_fertile - ended)
    return kinds


def _died(end: Entry) -> str:
    return end.fact.stage if isinstance(end.fact, Dead) else UNTOLD
