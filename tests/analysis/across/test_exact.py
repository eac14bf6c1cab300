"""The rank-sum test, against published examples, against an independent implementation, and against counting every split."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]

from monitor.analysis.across.exact import EXACT_MOST, ranked

# Hollander and Wolfe (1973), Nonparametric Statistical Methods, pages 69 to 71: permeability of the human chorioamnion at term and at 12 to 26
# weeks, as the help page of R's wilcox.test has them; the one-sided p of 0.1272 that it prints is from memory.
AT_TERM = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
BEFORE = [1.15, 0.88, 0.90, 0.74, 1.21]

shares = st.integers(0, 8).map(lambda n: n / 8)  # many of them alike, as the hatch of small batches is
some = st.lists(shares, min_size=2, max_size=6)


def test_the_published_example() -> None:
    """Twice the printed one-sided p."""
    found = ranked(AT_TERM, BEFORE)
    assert found is not None
    assert found.p == pytest.approx(2 * 0.1272, abs=1e-4)


@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=40, unique=True), st.integers(1, 39))
def test_without_ties_it_is_scipys_exact_one(figures: list[float], size: int) -> None:
    """All different: the exact two-sided p."""
    one, other = figures[: min(size, len(figures) - 1)], figures[min(size, len(figures) - 1) :]
    found = ranked(one, other)
    assert found is not None
    assert found.p == pytest.approx(stats.mannwhitneyu(one, other, method="exact").pvalue, abs=1e-12)


@given(some, some)
@settings(deadline=None, max_examples=60)
def test_with_ties_it_is_every_split_counted(one: list[float], other: list[float]) -> None:
    """Of all ways to deal these figures into two groups of that size, as many as are as far out in the same direction, twice; and SciPy's
    permutation of the same statistic."""
    found = ranked(one, other)
    assert found is not None
    ranks = stats.rankdata([*one, *other])
    came = sum(ranks[: len(one)])
    sums = [sum(ranks[place] for place in group) for group in combinations(range(len(ranks)), len(one))]
    tails = [sum(s <= came + 1e-9 for s in sums), sum(s >= came - 1e-9 for s in sums)]
    assert found.p == pytest.approx(min(1.0, 2 * min(tails) / len(sums)))
    theirs = stats.mannwhitneyu(one, other, method=stats.PermutationMethod(n_resamples=math.inf)).pvalue
    assert found.p == pytest.approx(theirs)
    least = min(min(1.0, 2 * sums.count(end) / len(sums)) for end in (min(sums), max(sums)))
    assert found.least_p == pytest.approx(least)


@given(st.lists(shares, min_size=60, max_size=80), st.lists(shares, min_size=60, max_size=80))
@settings(max_examples=30)
def test_of_many_the_normal_form_is_scipys(one: list[float], other: list[float]) -> None:
    """With its corrections for ties and for steps."""
    assert len(one) + len(other) > EXACT_MOST
    found = ranked(one, other)
    assert found is not None
    theirs = stats.mannwhitneyu(one, other, method="asymptotic").pvalue
    assert found.p == pytest.approx(1.0 if math.isnan(theirs) else theirs)


def test_the_two_forms_meet() -> None:
    """Where counting ends the normal form says the same to a thousandth."""
    one, other = [n / 97 for n in range(50)], [n / 89 for n in range(8, 58)]
    found = ranked(one, other)
    assert found is not None
    assert len(one) + len(other) == EXACT_MOST
    assert found.p == pytest.approx(stats.mannwhitneyu(one, other, method="asymptotic").pvalue, abs=1e-3)


def test_what_can_tell_nothing() -> None:
    """No group, no comparison; where all are alike even the clearest split is none; seven cases are too few for ranks, eight are not."""
    assert ranked([], [0.5]) is None
    alike = ranked([0.5, 0.5, 0.5, 0.5], [0.5, 0.5, 0.5, 0.5])
    assert alike is not None
    assert (alike.p, alike.least_p) == (1.0, 1.0)
    seven, eight = ranked([0.1, 0.2, 0.3], [0.4, 0.5, 0.6, 0.7]), ranked([0.1, 0.2, 0.3, 0.35], [0.4, 0.5, 0.6, 0.7])
    assert seven is not None
    assert eight is not None
    assert (seven.least_p, eight.least_p) == pytest.approx((2 / 35, 2 / 70))
