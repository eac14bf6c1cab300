"""How batches ended, counted from their egg books, and which of them went well; and what their air goes together with.

A count is made only from what is written: an egg of which no end was written has not hatched, and is told; eggs are called
fertile only where every egg of the batch is known to be clear, or not to be. An egg given away counts neither way.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo

from monitor.analysis.review import shows
from monitor.analysis.statistics import Association, Outcome, associations, table_of
from monitor.domain.batch import Batch
from monitor.domain.causes import (
    HATCHER,
    HIGH,
    HUMIDITY,
    LOSS,
    LOW,
    SETTER,
    SWING,
    TEMPERATURE,
    WHOLE,
    Catalogue,
    Cause,
)
from monitor.domain.egg_book import EggBook, numbers, of_egg, outcome, standing
from monitor.domain.egg_entry import (
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
)
from monitor.domain.site import Site
from monitor.service.batch_lived import lived_of
from monitor.service.ports import History

# Of the fertile eggs; of all that were set where the clear ones were not told apart, which is harder to reach. Judgement: a
# breeder of birds that hatch worse says so with `--good`.
WENT_WELL_SHARE = 0.75
MOST_RECORDS = 40  # batches whose air is read for what goes together, the newest: each is weeks of readings
UNTOLD = "stage not written"
GIVEN_AWAY = "given away"
NO_MACHINE = "no machine"
_SEEN = "seen "  # what was found at a candling, and no end was written
_FERTILE = (FERTILE, ALIVE, EARLY_DEAD, DEAD)
# The year in quarters that mean the same on both halves of the earth.
_SEASONS = ("Dec to Feb", "Mar to May", "Jun to Aug", "Sep to Nov")
# Few, and chosen before any record was seen: each more that is looked at makes all the others harder to tell from chance.
LOOKED_AT = (
    ("too warm over the whole incubation", TEMPERATURE, HIGH, WHOLE),
    ("too cool over the whole incubation", TEMPERATURE, LOW, WHOLE),
    ("too humid in the setter", HUMIDITY, HIGH, SETTER),
    ("too dry in the setter", HUMIDITY, LOW, SETTER),
    ("too humid in lockdown and hatch", HUMIDITY, HIGH, HATCHER),
    ("too dry in lockdown and hatch", HUMIDITY, LOW, HATCHER),
    ("temperature swinging", SWING, HIGH, WHOLE),
    ("water loss to pip too low", LOSS, LOW, WHOLE),
    ("water loss to pip too high", LOSS, HIGH, WHOLE),
)


@dataclass(frozen=True, slots=True)
class Ended:
    """How the closed batches ended. left_out: batch id to why it is not counted. unwritten: eggs without an end, not hatched."""

    outcomes: tuple[Outcome, ...]
    left_out: Mapping[str, str]
    unwritten: int


@dataclass(frozen=True, slots=True)
class Together:
    """What was looked at across batches. found: empty where all ended alike, well or not. batches: how many were set against one
    another; left_out: older ones, which were not."""

    found: tuple[Association, ...]
    batches: int
    left_out: int


def ended_of(history: History, batches: Sequence[Batch], zone: tzinfo, good_share: float = WENT_WELL_SHARE) -> Ended:
    """The outcome of each closed batch that can be counted. good_share: 0 to 1, see WENT_WELL_SHARE."""
    outcomes, left_out, unwritten = [], {}, 0
    for batch in batches:
        if batch.closed_at is None:
            continue
        found = outcome_of(history.book(batch), zone, good_share)
        if isinstance(found, str):
            left_out[batch.id] = found
        else:
            counted, missing = found
            outcomes.append(counted)
            unwritten += missing
    return Ended(tuple(outcomes), left_out, unwritten)


def outcome_of(book: EggBook, zone: tzinfo, good_share: float = WENT_WELL_SHARE) -> tuple[Outcome, int] | str:
    """(how a batch ended, its eggs without a written end), or in words why it cannot be counted."""
    batch = book.batch
    if batch.eggs is None:
        return "how many eggs were set is not written"
    if not any(e.ends for e in standing(book)):
        return "no outcome is written"
    kinds = _kinds(book)
    eggs = batch.eggs - kinds[GIVEN_AWAY]
    lost = {stage: kinds[stage] for stage in (*DEATHS, UNTOLD) if kinds[stage]}
    hatched, clear = kinds["hatched"], kinds[CLEAR]
    known = hatched + sum(lost.values()) + kinds[FERTILE] + clear
    fertile = eggs - clear if known >= eggs else None
    stay = batch.stays[0].machine if batch.stays else NO_MACHINE
    season = _SEASONS[batch.set_at.astimezone(zone).month % 12 // 3]
    try:
        counted = Outcome(batch.id, stay, batch.profile, season, eggs, fertile, hatched, False, lost)
    except ValueError:
        return "more eggs are written than were set"
    of = eggs if fertile is None else fertile
    ended = hatched + sum(lost.values()) + clear + kinds["taken out"]
    return replace(counted, went_well=of > 0 and hatched / of >= good_share), max(0, eggs - ended)


def together_of(
    history: History, site: Site, ended: Ended, catalogue: Catalogue, now: datetime, most: int = MOST_RECORDS
) -> Together:
    """What the air of these batches goes together with: each of LOOKED_AT against how they ended."""
    batches = {b.id: b for b in history.batches()}
    known = [o for o in ended.outcomes if o.species in site.profiles and batches[o.batch].stays]
    newest = sorted(known, key=lambda o: batches[o.batch].set_at, reverse=True)[:most]
    if len({each.went_well for each in newest}) < 2:  # nothing to compare, so no need to read weeks of air
        return Together((), len(newest), len(known) - len(newest))
    causes = {words: Cause(words, "", "", window, check, way) for words, check, way, window in LOOKED_AT}
    wanted = frozenset((cause.variable, cause.window) for cause in causes.values())
    exposed: dict[str, dict[str, bool | None]] = {words: {} for words in causes}
    for each in newest:
        lived = lived_of(history, site, history.book(batches[each.batch]), now, wanted)
        record = lived.record(None, lived.middle_loss_pct)
        for words, cause in causes.items():
            exposed[words][each.batch] = shows(catalogue, cause, record)
    found = associations({words: table_of(newest, by_batch) for words, by_batch in exposed.items()})
    return Together(found, len(newest), len(known) - len(newest))


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
                kinds["taken out"] += 1
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
        elif isinstance(e.fact, Removed):
            kinds[e.fact.why if e.fact.why in (CLEAR, GIVEN_AWAY) else "taken out"] += e.count
        elif isinstance(e.fact, Candling) and e.fact.found in (CLEAR, *_FERTILE):
            candled[CLEAR if e.fact.found == CLEAR else FERTILE][e.at] += e.count
    most_clear, most_fertile = (max(c.values(), default=0) for c in candled.values())
    kinds[CLEAR] = max(kinds[CLEAR], most_clear)
    ended = kinds["hatched"] + sum(kinds[stage] for stage in DEATHS)
    kinds[FERTILE] = max(0, most_fertile - ended)
    return kinds


def _died(end: Entry) -> str:
    return end.fact.stage if isinstance(end.fact, Dead) else UNTOLD
