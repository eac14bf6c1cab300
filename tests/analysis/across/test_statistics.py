"""Rates and tables across batches, against published and documented figures, and against counting by hand."""

from __future__ import annotations

import math
import subprocess
import sys
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]

from monitor.analysis.across.statistics import (
    Association,
    Outcome,
    Table,
    What,
    against_others,
    associations,
    exact,
    holm,
    rate,
    rates,
    rates_by,
    shares_of,
    table_of,
    whole_of,
    wilson,
)
from monitor.shown.outcomes import BADLY, Ending, association_words, ending_of, rate_words

# Newcombe (1998), Statistics in Medicine 17:857-872, table I, method 3 (score, without continuity correction), 95 %; from memory.
NEWCOMBE = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
# The 15 p-values of Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57:289-300, as SciPy's documentation of
# false_discovery_control prints them; it says that control of the family-wise error rate rejects the first three at 5 %.
BH_1995 = [
    *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
    *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.000),
]


@pytest.mark.parametrize(("count", "of", "low", "high"), NEWCOMBE)
def test_wilson_gives_the_published_intervals(count: int, of: int, low: float, high: float) -> None:
    """To the four places of the table."""
    assert wilson(count, of) == pytest.approx((low, high), abs=5.1e-5)


@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.floats(0.5, 0.999))
def test_wilson_is_scipys(pair: tuple[int, int], confidence: float) -> None:
    """For any count and confidence the interval is that of an independent implementation, and holds the rate."""
    count, of = pair
    theirs = stats.binomtest(count, of).proportion_ci(confidence, method="wilson")
    assert wilson(count, of, confidence) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    low, high = wilson(count, of, confidence)
    assert 0.0 <= low <= count / of <= high <= 1.0


@pytest.mark.parametrize("wrong", [(-1, 5, 0.95), (6, 5, 0.95), (0, 0, 0.95), (1, 5, 1.0), (1, 5, math.nan)])
def test_a_rate_that_is_none_is_refused(wrong: tuple[int, int, float]) -> None:
    """More than all, none of none, or a confidence that is none."""
    with pytest.raises(ValueError, match="expected 0 to"):
        wilson(*wrong)


def said(found: Association[What], ending: Ending = BADLY) -> str:
    """In words, under the name that its table was given."""
    return association_words(found, str(found.exposure), ending)


def test_a_rate_is_told_with_its_count() -> None:
    """Three of five is 60 %, and as good as nothing; none of none is no percentage."""
    assert rate_words(rate(3, 5)) == "3 of 5, 60 % (95 % interval 23 to 88 %)"
    assert rate_words(rate(0, 0)) == "0 of 0"
    assert rate(0, 0).share is None


@pytest.mark.parametrize(
    ("table", "odds_ratio", "low", "high", "p", "near"),
    [
        # SciPy's documentation: odds_ratio (7, 15, 58, 472) and fisher_exact (8, 2, 1, 5).
        (Table(7, 15, 58, 472), 3.7836687705553493, 1.2514829132266785, 10.363493716701269, None, 1e-6),
        (Table(8, 2, 1, 5), None, None, None, 0.034965034965034975, 1e-9),
        # R, help page of fisher.test: Fisher's tea drinker (its p of 0.2429 is one-sided) and the convictions of twins
        # (Fisher 1962); the values that R prints are from memory, and its limits are solved to about 1 %.
        (Table(3, 1, 1, 3), 6.408309, 0.2117329, 621.9337505, 0.4857, 1e-2),
        (Table(2, 15, 10, 3), 0.04693661, 0.003325764, 0.363182271, 0.0005367, 1e-2),
    ],
)
def test_tables_give_the_documented_values(
    table: Table, odds_ratio: float | None, low: float | None, high: float | None, p: float | None, near: float
) -> None:
    """Conditional odds ratio, exact interval and two-sided p, as far as each source prints them."""
    for mine, theirs in zip(exact(table), (odds_ratio, low, high, p), strict=True):
        if theirs is not None:
            assert mine == pytest.approx(theirs, rel=near)


def tail(table: Table, odds: float, upper: bool) -> float:
    """P(as many exposed and bad, or more; or fewer) when the odds ratio is that, margins given: counted term by term."""
    a, b, c, d = table.counts
    exposed, bad, total = a + b, a + c, a + b + c + d
    span = range(max(0, bad + exposed - total), min(bad, exposed) + 1)
    logs = {k: math.log(math.comb(exposed, k) * math.comb(total - exposed, bad - k)) + k * math.log(odds) for k in span}
    most = max(logs.values())
    weights = {k: math.exp(v - most) for k, v in logs.items()}
    kept = sum(w for k, w in weights.items() if (k >= a if upper else k <= a))
    return kept / sum(weights.values())


counts = st.integers(0, 12)


@given(st.builds(Table, counts, counts, counts, counts))
def test_the_interval_is_exact(table: Table) -> None:
    """At each end of the interval the table as seen, or one farther out, has a chance of 2.5 %, counted term by term."""
    a, b, c, d = table.counts
    if 0 in (a + b, c + d, a + c, b + d):
        with pytest.raises(ValueError, match="expected cases with and without"):
            exact(table)
        return
    odds_ratio, low, high, p = exact(table)
    assert low <= odds_ratio <= high
    if low > 0.0:
        assert tail(table, low, upper=True) == pytest.approx(0.025, rel=1e-3)
    if math.isfinite(high):
        assert tail(table, high, upper=False) == pytest.approx(0.025, rel=1e-3)
    assert p >= table.least_p() - 1e-12


@given(st.builds(Table, counts, counts, counts, counts))
def test_the_least_p_is_that_of_the_clearest_split(table: Table) -> None:
    """Of all tables with these margins none has a smaller p, and one has that."""
    a, b, c, d = table.counts
    if 0 in (a + b, c + d, a + c, b + d):
        assert table.least_p() == 1.0
        return
    span = range(max(0, (a + c) - (c + d)), min(a + b, a + c) + 1)
    every = [stats.fisher_exact([[k, a + b - k], [a + c - k, d - a + k]])[1] for k in span]
    assert table.least_p() == pytest.approx(min(every), rel=1e-6)


def test_holm_corrects_the_published_p_values() -> None:
    """Of the fifteen, three stay below 5 %; each is what the definition gives, in the order they came in."""
    corrected = holm(BH_1995)
    assert sum(p < 0.05 for p in corrected) == 3
    assert corrected[:3] == pytest.approx([15 * 0.0001, 14 * 0.0004, 13 * 0.0019])
    assert corrected[3] == pytest.approx(12 * 0.0095)
    assert corrected == sorted(corrected)
    assert holm([0.04, 0.01, 0.03]) == pytest.approx([0.06, 0.03, 0.06])
    assert holm([]) == []


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=8))
def test_holm_is_its_definition(ps: list[float]) -> None:
    """The largest of (n - j + 1) p(j) over all p(j) up to it, at most 1; never below p itself."""
    ordered = sorted(ps)
    for p, corrected in zip(ps, holm(ps), strict=True):
        steps = [min(1.0, (len(ps) - j) * q) for j, q in enumerate(ordered) if q <= p]
        assert p <= corrected
        assert corrected == pytest.approx(max(steps)) or ps.count(p) > 1


def outcome(batch: str, went_well: bool, machine: str = "setter-a", **other: object) -> Outcome:
    given = {"species": "chicken", "season": "spring", "eggs": 20, "fertile": 16, "hatched": 12, **other}
    return Outcome(batch, machine, went_well=went_well, **given)  # type: ignore[arg-type]


def test_the_three_rates_and_the_losses() -> None:
    """20 set, 16 fertile, 12 hatched: 80 %, 60 % and 75 %; 3 early dead of 150 set of which 75 fertile are 4 %, both counts shown."""
    found = rates([outcome("a", True, lost={"early": 1, "late": 3})])
    assert [r.share for r in (found.fertility, found.hatch_of_set, found.hatch_of_fertile)] == [0.8, 0.6, 0.75]
    assert {stage: rate_words(r).split(" (")[0] for stage, r in found.lost.items()} == {
        "early": "1 of 16, 6 %",
        "late": "3 of 16, 19 %",
    }
    found = rates([outcome("b", False, eggs=150, fertile=75, hatched=60, lost={"early": 3})])
    assert (found.lost["early"].count, found.lost["early"].of, found.lost["early"].share) == (3, 75, 0.04)


def test_batches_whose_clear_eggs_were_not_told_apart_stay_out_of_the_fertile() -> None:
    """They count in the hatch of set, and in nothing that divides by fertile eggs."""
    found = rates([outcome("a", True), outcome("b", True, fertile=None, hatched=2)])
    assert (found.hatch_of_set.count, found.hatch_of_set.of) == (14, 40)
    assert (found.hatch_of_fertile.count, found.hatch_of_fertile.of) == (12, 16)
    assert (found.fertility.count, found.fertility.of) == (16, 20)
    assert found.batches == 2


def test_rates_by_machine_add_up() -> None:
    """Each group has its own, and together they are all."""
    all_ = [outcome(f"{m}{i}", True, machine=m, hatched=i) for m, i in product(("setter-a", "setter-b"), range(4))]
    groups = rates_by(all_, lambda o: o.machine)
    assert list(groups) == ["setter-a", "setter-b"]
    assert sum(g.hatch_of_set.count for g in groups.values()) == rates(all_).hatch_of_set.count


@pytest.mark.parametrize("wrong", [{"hatched": 17}, {"fertile": 21}, {"eggs": -1}, {"lost": {"early": 5}}])
def test_an_outcome_that_does_not_add_up_is_refused(wrong: dict[str, Any]) -> None:
    """Hatched and lost lie within the fertile, and these within the eggs."""
    with pytest.raises(ValueError, match=r"batch a: .* expected hatched and lost within fertile"):
        outcome("a", True, **wrong)


def test_a_table_counts_batches_and_leaves_out_what_cannot_be_said() -> None:
    """Exposed or not, well or not; a batch whose record cannot say is in no cell."""
    outcomes = [outcome("a", False), outcome("b", True), outcome("c", False), outcome("d", True), outcome("e", True)]
    table = table_of(outcomes, {"a": True, "b": True, "c": False, "d": False, "e": None, "z": True})
    assert table == Table(exposed_bad=1, exposed_good=1, other_bad=1, other_good=1)


def test_too_few_is_said_in_plain_words() -> None:
    """Two against two cannot be told from chance however they fall, and the words say that and no odds."""
    (found,) = associations({"air too dry": Table(2, 0, 0, 2)})
    assert found.too_few
    words = said(found)
    assert "air too dry: 2 of 2 batches ended badly, otherwise 0 of 2." in words
    assert "too few to tell" in words
    assert "Odds" not in words
    (found,) = associations({"air too dry": Table(3, 4, 0, 0)})
    assert found.odds_ratio is None
    assert "nothing to compare it with" in said(found)


def test_what_goes_together_is_told_with_effect_interval_and_count() -> None:
    """Nine of ten against one of ten: the odds, their interval, the corrected p; and that it names no cause."""
    found = associations(
        {"air too dry": Table(9, 1, 1, 9), "air too warm": Table(5, 5, 5, 5), "few": Table(1, 0, 0, 1)}
    )
    assert [a.exposure for a in found] == ["air too dry", "air too warm", "few"]
    strong, none, few = found
    assert strong.looked_at == none.looked_at == 2
    assert strong.p_corrected == pytest.approx(2 * strong.p)
    assert "air too dry: 9 of 10 batches ended badly, otherwise 1 of 10. Odds of a bad end " in said(strong)
    assert "They go together (p 0.0022, corrected for 2 that could tell); that names no cause." in said(strong)
    assert "Not told from chance" in said(none)
    assert few.too_few


def test_odds_without_an_end_are_told_by_the_other() -> None:
    """Where every batch with it ended badly the odds have no upper end; turned round, they begin at nothing."""
    (up,), (down,) = associations({"x": Table(6, 0, 1, 7)}), associations({"x": Table(0, 6, 7, 1)})
    assert math.isinf(up.odds_ratio or 0.0)
    assert f"Odds of a bad end at least {up.low:.2g} times as high (95 % interval, without an upper end)." in said(up)
    assert down.odds_ratio == 0.0
    assert f"Odds of a bad end at most {down.high:.2g} times as high (95 % interval, from 0)." in said(down)


def test_another_end_than_a_bad_one() -> None:
    """Counted by what is asked for, in the same tables, and told in its own words."""
    outcomes = [outcome("a", False), outcome("b", True), outcome("c", False), outcome("d", True)]
    wet = {"a", "b"}.__contains__
    exposed = {"a": True, "b": True, "c": False, "d": None}
    table = table_of(outcomes, exposed, lambda o: wet(o.batch))
    assert table == Table(exposed_bad=2, exposed_good=0, other_bad=0, other_good=1)
    ending = ending_of("wet-chick")
    words = said(associations({"too dry": Table(9, 1, 1, 9)})[0], ending)
    assert words.startswith("too dry: 9 of 10 batches had wet-chick written, otherwise 1 of 10. Odds of wet-chick ")
    assert "bad" not in words


def test_each_group_against_the_others() -> None:
    """A table for each of three; of two only one, for the other is the same turned round; of one none."""
    outcomes = [outcome(f"{m}{i}", i > 1, machine=m) for m in "abc" for i in range(2 + (m == "c"))]

    def tables(of: list[Outcome]) -> dict[str, Table]:
        return {name: table_of(of, in_it) for name, in_it in against_others(of, lambda o: o.machine).items()}

    assert tables(outcomes) == {"a": Table(2, 0, 4, 1), "b": Table(2, 0, 4, 1), "c": Table(2, 1, 4, 0)}
    assert tables(outcomes[2:]) == {"b": Table(2, 0, 2, 1)}
    assert tables(outcomes[:2]) == {}


# Charig and others (1986), BMJ 292:879-882, as Julious and Mullee (1994), BMJ 309:1480, retell it: kidney stones removed, of all, by open
# surgery and through the skin; for stones under 2 cm, and of 2 cm and more.
STONES = {("small", "open"): (81, 87), ("small", "skin"): (234, 270), ("large", "open"): (192, 263), ("large", "skin"): (55, 80)}  # fmt: skip


def test_within_groups_it_can_be_the_other_way_round() -> None:
    """The published example: open surgery fails more often in all (77 of 350, 61 of 350), and less often for stones of either size."""
    outcomes = [
        outcome(f"{size}-{way}-{i}", i < well, machine=way, species=size)
        for (size, way), (well, of) in STONES.items()
        for i in range(of)
    ]
    exposed = {"open": {o.batch: o.machine == "open" for o in outcomes}}
    tables = {(name, ""): table_of(outcomes, of) for name, of in against_others(outcomes, lambda o: o.machine).items()}
    tables |= {
        ("open", size): table_of([o for o in outcomes if o.species == size], exposed["open"])
        for size in ("large", "small")
    }
    assert tables == {("open", ""): Table(77, 273, 61, 289), ("open", "large"): Table(71, 192, 25, 55), ("open", "small"): Table(6, 81, 36, 234)}  # fmt: skip
    found = {a.exposure: a for a in associations(tables)}

    def crossed(a: Association[tuple[str, str]]) -> float:
        t = a.table
        return (t.exposed_bad * t.other_good) / (t.exposed_good * t.other_bad)

    for name, above in ((("open", ""), True), (("open", "large"), False), (("open", "small"), False)):
        ratio = found[name].odds_ratio
        assert ratio is not None
        assert (ratio > 1.0) is above
        assert ratio == pytest.approx(crossed(found[name]), rel=0.02)  # so many that the two estimates hardly differ
    assert all(a.looked_at == 3 for a in found.values())
    assert all("Not told from chance" in said(a) for a in found.values())


@pytest.mark.slow
def test_chance_alone_is_seldom_called_together() -> None:
    """Twelve batches, ten exposures that have nothing to do with their ends: in at most one season of twenty is any called together."""
    import random

    chance = random.Random(5)
    called = 0
    for _ in range(80):
        ends = [outcome(str(i), chance.random() < 0.5) for i in range(12)]
        tables = {f"exposure {k}": table_of(ends, {o.batch: chance.random() < 0.5 for o in ends}) for k in range(10)}
        called += any(not a.too_few and a.p_corrected <= 0.05 for a in associations(tables))
    assert called <= 0.05 * 80


def test_a_table_is_told_without_the_library_that_it_is_checked_with() -> None:
    """Exact tests load nothing of 140 MB."""
    code = (
        "import sys; from monitor.analysis.across.statistics import Table, exact; exact(Table(3, 1, 1, 3));"
        "assert 'scipy' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


@given(st.builds(Table, counts, counts, counts, counts))
def test_tables_are_scipys(table: Table) -> None:
    """Estimate, interval and p of any table are those of an independent implementation, as near as that solves them."""
    a, b, c, d = table.counts
    if 0 in (a + b, c + d, a + c, b + d):
        return
    rows = [[a, b], [c, d]]
    theirs = stats.contingency.odds_ratio(rows, kind="conditional")
    interval = theirs.confidence_interval(0.95)
    expected = theirs.statistic, interval.low, interval.high, stats.fisher_exact(rows)[1]
    assert exact(table) == pytest.approx(expected, rel=1e-4)


def test_the_hatch_is_compared_as_it_is_and_the_cut_beside_it() -> None:
    """Eight batches, of which all hatched above the cut: the table has nothing to tell, and the ranks have."""
    outcomes = [outcome(str(n), True, hatched=12 + n % 2 * 2) for n in range(8)]
    exposed = {o.batch: o.hatched == 12 for o in outcomes}
    tables, shares = {"dry": table_of(outcomes, exposed)}, {"dry": shares_of(outcomes, exposed)}
    (by_cut,), (by_share,) = associations(tables), associations(tables, shares)
    assert (by_cut.too_few, by_share.too_few) == (True, False)
    assert by_share.p == pytest.approx(2 / 70)  # the two clearest of 8 over 4
    assert by_share.ranks is not None
    assert (by_share.ranks.middle, by_share.ranks.other_middle) == (0.75, 0.875)
    words = said(by_share)
    assert (
        "dry: 0 of 4 batches ended badly, otherwise 0 of 4. Of the fertile eggs hatched 75 % in the middle one of the 4, otherwise 88 %."
        in words
    )
    assert "They go together (p 0.029); that names no cause." in words


def test_a_batch_without_a_fertile_egg_has_no_hatch_to_rank() -> None:
    """It stands in the counts, and in no rank; one whose clear eggs nobody told apart hatched of all that were set."""
    outcomes = [
        outcome("a", True, fertile=0, hatched=0),
        outcome("b", True, fertile=None, hatched=5),
        outcome("c", True),
    ]
    assert shares_of(outcomes, {"a": True, "b": True, "c": False}) == ([0.25], [0.75])
    assert table_of(outcomes, {"a": True, "b": True, "c": False}).total == 3


def test_a_split_clutch_is_judged_whole() -> None:
    """Ten of twenty hatched here and all ten there: 20 of 24 fertile, under the batch that was set; what one does not know the whole does not."""
    parts = [
        outcome("a", False, fertile=14, hatched=10, lost={"late": 4}),
        outcome("a2", True, machine="setter-b", eggs=10, fertile=10, hatched=10),
    ]
    whole = whole_of(parts, 0.75)
    assert (whole.batch, whole.machine, whole.eggs, whole.fertile, whole.hatched) == ("a", "setter-a", 30, 24, 20)
    assert (whole.lost, whole.went_well, whole_of(parts, 0.9).went_well) == ({"late": 4}, True, False)
    assert whole_of([parts[0], outcome("a2", True, fertile=None)], 0.75).fertile is None
    assert whole_of(parts[:1], 0.75) == parts[0]
