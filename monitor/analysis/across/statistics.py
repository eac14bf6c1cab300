"""Across batches: rates with their intervals, and how an exposure goes together with an outcome. Together is not because of.

Rates have Wilson intervals. How well batches hatched is a proportion, and is compared by its ranks: to cut it at a share first throws
away how far above or below each was. Beside that stands the table that the cut makes, with its odds ratio and exact interval (Fisher's
conditional one); of a finding, which is there or not, the table alone decides. What p becomes when many things were looked at is Holm's.
A clutch is one case, whatever it was split into, and not each of its eggs: eggs of a batch share their machine and their days, and
counted one by one they would make a single bad week look like a law. Where so few cases could show nothing, that is told apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist
from typing import Generic, TypeVar

from monitor.analysis.across.exact import Ranked, fisher, ranked

What = TypeVar("What", bound=Hashable)

CONFIDENCE = 0.95
Shares = tuple[list[float], list[float]]  # the hatch of the exposed, and of the others
CHANCE = 0.05  # above this, after the correction, a table is not told from chance


@dataclass(frozen=True, slots=True)
class Rate:
    """`count` of `of`, with its Wilson interval as shares; None where there is nothing to count."""

    count: int
    of: int
    low: float | None
    high: float | None

    @property
    def share(self) -> float | None:
        """The rate, 0 to 1."""
        return self.count / self.of if self.of else None


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one batch ended, or a part of it. fertile: None where the clear eggs were not told apart. lost: dead embryos by stage. season: as the
    caller divides the year. went_well: as the breeder says, or a rule of the caller's. pair, clutch: whose eggs all of them are; empty where
    nobody wrote it, or they are of several."""

    batch: str
    machine: str
    species: str
    season: str
    eggs: int
    fertile: int | None
    hatched: int
    went_well: bool
    lost: Mapping[str, int] = field(default_factory=dict)
    pair: str = ""
    clutch: str = ""

    def __post_init__(self) -> None:
        fertile = self.eggs if self.fertile is None else self.fertile
        counts = (self.eggs, fertile, self.hatched, *self.lost.values())
        if min(counts) < 0 or not self.hatched + sum(self.lost.values()) <= fertile <= self.eggs:
            came = f"{self.hatched} hatched, {sum(self.lost.values())} lost, {fertile} fertile, {self.eggs} eggs"
            raise ValueError(f"batch {self.batch}: {came}, expected hatched and lost within fertile within eggs")

    @property
    def share(self) -> float | None:
        """Hatched of the fertile, 0 to 1; of all that were set, where the clear eggs were not told apart. None where none were fertile."""
        of = self.eggs if self.fertile is None else self.fertile
        return self.hatched / of if of else None


def whole_of(parts: Sequence[Outcome], good_share: float) -> Outcome:
    """A clutch that was split, as one outcome. parts: the batch that was set first, one or more; good_share: from which on it went well."""
    first, known = parts[0], [o.fertile for o in parts if o.fertile is not None]
    stages = dict.fromkeys(stage for o in parts for stage in o.lost)
    whole = replace(
        first,
        eggs=sum(o.eggs for o in parts),
        fertile=sum(known) if len(known) == len(parts) else None,
        hatched=sum(o.hatched for o in parts),
        lost={stage: sum(o.lost.get(stage, 0) for o in parts) for stage in stages},
        pair=first.pair if len({o.pair for o in parts}) == 1 else "",
        clutch=first.clutch if len({o.clutch for o in parts}) == 1 else "",
    )
    return whole if len(parts) == 1 else replace(whole, went_well=whole.share is not None and whole.share >= good_share)


@dataclass(frozen=True, slots=True)
class Rates:
    """The rates of some batches. Batches whose clear eggs were not told apart are left out of what rests on fertile eggs."""

    batches: int
    fertility: Rate
    hatch_of_set: Rate
    hatch_of_fertile: Rate
    lost: Mapping[str, Rate]


@dataclass(frozen=True, slots=True)
class Table:
    """Cases by exposure and outcome, each 0 or more: a bad end and a good one, with the exposure and without."""

    exposed_bad: int
    exposed_good: int
    other_bad: int
    other_good: int

    def __post_init__(self) -> None:
        if min(self.counts) < 0:
            raise ValueError(f"table {self.counts}, expected counts of 0 or more")

    @property
    def counts(self) -> tuple[int, int, int, int]:
        """In the order of the fields."""
        return self.exposed_bad, self.exposed_good, self.other_bad, self.other_good

    @property
    def total(self) -> int:
        """All cases."""
        return sum(self.counts)

    def least_p(self) -> float:
        """The smallest p-value that cases with these margins can give, however they fall: 1 where a margin is empty."""
        bad, exposed, total = self.exposed_bad + self.other_bad, self.exposed_bad + self.exposed_good, self.total
        fewest, most = max(0, bad + exposed - total), min(bad, exposed)
        ways = [math.comb(exposed, k) * math.comb(total - exposed, bad - k) for k in range(fewest, most + 1)]
        least = min(ways)
        return sum(w for w in ways if w == least) / sum(ways) if len(ways) > 1 else 1.0


@dataclass(frozen=True, slots=True)
class Association(Generic[What]):
    """How an exposure goes together with a bad end: odds ratio above 1 when they go together.

    exposure: what the batches were told apart by, as the caller names it. odds_ratio, low, high: conditional estimate and exact interval, 0 to infinity; None where a margin is empty. ranks: their hatch, compared as a proportion; None where it is not that they are counted by.
    p: two-sided, of the ranks where there are any, else of the table; p_corrected: for `looked_at` things looked at. too_few: no split of so many could have shown anything.
    """

    exposure: What
    table: Table
    odds_ratio: float | None
    low: float | None
    high: float | None
    p: float
    p_corrected: float
    looked_at: int
    too_few: bool
    ranks: Ranked | None = None


def wilson(count: int, of: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """The score interval of a rate, as shares.

    Parameters
        count: 0 to `of`; of: 1 or more; confidence: between 0 and 1.
    Raises
        ValueError: outside of these.
    Reference
        Wilson (1927), J. Am. Stat. Assoc. 22:209-212; method 3 of Newcombe (1998), Statistics in Medicine 17:857-872.
    """
    if not (0 <= count <= of and of >= 1 and 0.0 < confidence < 1.0):
        raise ValueError(f"rate {count} of {of} at {confidence:g}, expected 0 to {of}, 1 or more, between 0 and 1")
    z = NormalDist().inv_cdf(0.5 + confidence / 2.0)
    share, zz = count / of, z * z / of
    middle, half = share + zz / 2.0, math.sqrt(share * (1.0 - share) * zz + zz * zz / 4.0)
    low, high = (middle - half) / (1.0 + zz), (middle + half) / (1.0 + zz)
    return (0.0 if count == 0 else low), (1.0 if count == of else high)


def rate(count: int, of: int) -> Rate:
    """A rate with its interval; without one when there is nothing to count."""
    low, high = wilson(count, of) if of else (None, None)
    return Rate(count, of, low, high)


def rates(outcomes: Sequence[Outcome]) -> Rates:
    """Fertility, hatch of set, hatch of fertile, and losses by stage of the fertile, over all these batches."""
    eggs, hatched = sum(o.eggs for o in outcomes), sum(o.hatched for o in outcomes)
    known = [(o, o.fertile) for o in outcomes if o.fertile is not None]
    fertile = sum(n for _, n in known)
    stages = dict.fromkeys(stage for o, _ in known for stage in o.lost)
    return Rates(
        len(outcomes),
        rate(fertile, sum(o.eggs for o, _ in known)),
        rate(hatched, eggs),
        rate(sum(o.hatched for o, _ in known), fertile),
        {stage: rate(sum(o.lost.get(stage, 0) for o, _ in known), fertile) for stage in stages},
    )


def rates_by(outcomes: Iterable[Outcome], key: Callable[[Outcome], str]) -> dict[str, Rates]:
    """The rates of each group: `rates_by(outcomes, lambda o: o.machine)`, by species, by season."""
    groups: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        groups.setdefault(key(outcome), []).append(outcome)
    return {name: rates(group) for name, group in sorted(groups.items())}


def ended_badly(outcome: Outcome) -> bool:
    """The end that batches are counted by where no other is asked for."""
    return not outcome.went_well


def table_of(
    outcomes: Iterable[Outcome], exposed: Mapping[str, bool | None], bad: Callable[[Outcome], bool] = ended_badly
) -> Table:
    """Batches by exposure and end. exposed: by batch id; None, or no entry, leaves a batch out: it cannot be said. bad: which end
    is counted, as `ended_badly`, or that a finding was written."""
    counts = {(True, True): 0, (True, False): 0, (False, True): 0, (False, False): 0}
    for outcome in outcomes:
        had = exposed.get(outcome.batch)
        if had is not None:
            counts[had, bad(outcome)] += 1
    return Table(*counts.values())


def against_others(outcomes: Sequence[Outcome], key: Callable[[Outcome], str]) -> dict[str, dict[str, bool]]:
    """Each group against all the others: by its name, of each batch whether it is in it; none where there is one group. Of two groups
    only the first: the other's is the same one turned round, and would be corrected for twice."""
    groups = sorted({key(outcome) for outcome in outcomes})
    told = groups[: 1 if len(groups) == 2 else len(groups)] if len(groups) > 1 else []
    return {group: {o.batch: key(o) == group for o in outcomes} for group in told}


def shares_of(outcomes: Iterable[Outcome], exposed: Mapping[str, bool | None]) -> Shares:
    """The hatch of the exposed, and of the others, as `table_of` tells them apart; of batches of which some eggs were fertile."""
    found: dict[bool, list[float]] = {True: [], False: []}
    for outcome in outcomes:
        had, share = exposed.get(outcome.batch), outcome.share
        if had is not None and share is not None:
            found[had].append(share)
    return found[True], found[False]


def associations(
    tables: Mapping[What, Table], shares: Mapping[What, Shares] | None = None
) -> tuple[Association[What], ...]:
    """All of these exposures at once, the smallest p first, each corrected for all that could have shown anything.

    shares: the hatch of the exposed and of the others, where it decides. What is too few for any result is told, and is not counted as
    looked at: it had no chance to mislead.
    """
    found = [_association(name, table, None if shares is None else shares[name]) for name, table in tables.items()]
    telling = [a for a in found if not a.too_few]
    corrected = dict(zip((a.exposure for a in telling), holm([a.p for a in telling]), strict=True))
    done = [replace(a, p_corrected=corrected.get(a.exposure, a.p), looked_at=len(telling)) for a in found]
    return tuple(sorted(done, key=lambda a: (a.too_few, a.p)))


def holm(p_values: Sequence[float]) -> list[float]:
    """Each p-value corrected for all of them (Holm 1979, Scand. J. Stat. 6:65-70): right however they depend on one another."""
    order = sorted(range(len(p_values)), key=lambda i: p_values[i])
    corrected, largest = [0.0] * len(p_values), 0.0
    for rank, i in enumerate(order):
        largest = max(largest, min(1.0, (len(p_values) - rank) * p_values[i]))
        corrected[i] = largest
    return corrected


def exact(table: Table) -> tuple[float, float, float, float]:
    """(conditional odds ratio, low, high, two-sided p) of a table without an empty margin, at CONFIDENCE: see `exact.fisher`."""
    return fisher(table.counts, CONFIDENCE)


def _association(name: What, table: Table, shares: Shares | None) -> Association[What]:
    a, b, c, d = table.counts
    whole = 0 not in (a + b, c + d, a + c, b + d)
    ratio, low, high, p = exact(table) if whole else (None, None, None, 1.0)
    ranks = None if shares is None else ranked(*shares)
    least = table.least_p() if shares is None else 1.0 if ranks is None else ranks.least_p
    return Association(
        exposure=name,
        table=table,
        odds_ratio=ratio,
        low=low,
        high=high,
        p=p if shares is None else 1.0 if ranks is None else ranks.p,
        p_corrected=1.0,
        looked_at=1,
        too_few=least > CHANCE,
        ranks=ranks,
    )
