"""Exact tests, as far as they are asked for here: of a two by two table (Fisher), and of two groups of figures by their ranks (Wilcoxon,
Mann and Whitney). Standard library and numpy, for a library with all tests takes 140 MB of a card; it is what the tests compare with.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby
from statistics import NormalDist, median

import numpy as np
import numpy.typing as npt

EXACT_MOST = 100  # cases whose splits are counted, all of them; of more the normal form is as good
_LOG_ODDS = 60.0  # beyond this an odds ratio is told as 0 or without end: e^60
_HALVINGS = 80


def fisher(counts: tuple[int, int, int, int], confidence: float = 0.95) -> tuple[float, float, float, float]:
    """(conditional odds ratio, low, high, two-sided p) of a table a, b, c, d without an empty margin.

    The estimate is the conditional one, which differs from the cross product; ends may be 0 or infinity. The p-value adds up all tables
    no likelier than this one. Raises ValueError for an empty margin.
    Reference
        Fisher (1935), J. R. Stat. Soc. 98:39-82; the interval inverts the two one-sided tests (Cornfield 1956, exact form).
    """
    a, b, c, d = counts
    if 0 in (a + b, c + d, a + c, b + d):
        raise ValueError(f"table {counts}, expected cases with and without the exposure, and of both ends")
    first = max(0, a - d)
    span = range(first, min(a + b, a + c) + 1)
    ways = [math.comb(a + b, k) * math.comb(c + d, a + c - k) for k in span]
    p = sum(w for w in ways if w <= ways[a - first]) / sum(ways)
    logs, each = np.array([math.log(w) for w in ways]), np.arange(span.start, span.stop, dtype=float)

    def chances(log_odds: float) -> npt.NDArray[np.float64]:
        scaled = logs + log_odds * each
        weights: npt.NDArray[np.float64] = np.exp(scaled - scaled.max())
        return weights / float(weights.sum())

    def mean(log_odds: float) -> float:
        return float(chances(log_odds) @ each)

    def as_many(log_odds: float) -> float:
        return float(chances(log_odds)[each >= a].sum())

    def as_few(log_odds: float) -> float:
        return -float(chances(log_odds)[each <= a].sum())

    tail = (1.0 - confidence) / 2.0
    least, most = a == span.start, a == span.stop - 1
    ratio = 0.0 if least else math.inf if most else math.exp(_where(mean, float(a)))
    low = 0.0 if least else math.exp(_where(as_many, tail))
    high = math.inf if most else math.exp(_where(as_few, -tail))
    return ratio, low, high, p


def _where(rising: Callable[[float], float], reaches: float) -> float:
    """At which logarithm of the odds a rising function comes to a value, by halving."""
    low, high = -_LOG_ODDS, _LOG_ODDS
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if rising(middle) < reaches else (low, middle)
    return (low + high) / 2.0


@dataclass(frozen=True, slots=True)
class Ranked:
    """Two groups of figures, compared by their ranks.

    middle, other_middle: the median of each. p: how often chance alone would set the ranks of two such groups as far apart, or farther, in
    either direction. least_p: the smallest that these figures could give, however they fell into two groups of that size.
    """

    middle: float
    other_middle: float
    p: float
    least_p: float


def ranked(one: Sequence[float], other: Sequence[float]) -> Ranked | None:
    """The rank-sum test of two groups; None where one of them is empty. Figures that are equal share their ranks.

    Every split is counted up to EXACT_MOST figures; of more the normal form with its correction for ties and for steps is taken.
    Reference
        Wilcoxon (1945), Biometrics Bulletin 1:80-83; Mann, Whitney (1947), Ann. Math. Stat. 18:50-60. Two-sided: twice the smaller tail.
    """
    if not one or not other:
        return None
    ranks = _doubled_ranks([*one, *other])
    came = sum(ranks[: len(one)])
    tails = _counted if len(ranks) <= EXACT_MOST else _normal
    p = tails(ranks, len(one), came)
    falling = sorted(ranks)
    ends = sum(falling[: len(one)]), sum(falling[-len(one) :])
    return Ranked(median(one), median(other), p, min(tails(ranks, len(one), end) for end in ends))


def _doubled_ranks(figures: Sequence[float]) -> list[int]:
    """Twice the rank of each, so that one that is shared is whole too."""
    order = sorted(range(len(figures)), key=figures.__getitem__)
    ranks = [0] * len(figures)
    before = 0
    for _, alike in groupby(order, key=figures.__getitem__):
        places = list(alike)
        for place in places:
            ranks[place] = 2 * before + len(places) + 1
        before += len(places)
    return ranks


def _counted(ranks: Sequence[int], size: int, came: int) -> float:
    """Twice the share of all groups of that size whose ranks come to so much or less, or to so much or more, whichever is fewer."""
    most = sum(ranks)
    ways = np.zeros((size + 1, most + 1))
    ways[0, 0] = 1.0
    for seen, (rank, reached) in enumerate(zip(ranks, accumulate(ranks), strict=True)):
        for taken in range(min(seen + 1, size), 0, -1):
            ways[taken, rank : reached + 1] += ways[taken - 1, : reached - rank + 1]
    of_size = ways[size] / ways[size].sum()
    return min(1.0, 2.0 * float(min(of_size[: came + 1].sum(), of_size[came:].sum())))


def _normal(ranks: Sequence[int], size: int, came: int) -> float:
    cases = len(ranks)
    mean = size * (cases + 1)  # of doubled ranks
    spread = sum((rank - cases - 1) ** 2 for rank in ranks) * size * (cases - size) / (cases * (cases - 1))
    if spread == 0.0:
        return 1.0
    z = max(0.0, abs(came - mean) - 1.0) / math.sqrt(spread)
    return min(1.0, 2.0 * NormalDist().cdf(-z))
