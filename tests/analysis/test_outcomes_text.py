"""How outcomes are told: every rate with its count and interval, and what goes together with its counts, or that it is too few."""

from __future__ import annotations

import json

from monitor.analysis.outcomes_text import outcomes_json, outcomes_text
from monitor.analysis.statistics import Outcome, Table, associations, rates, rates_by, wilson
from tests.analysis.test_review_text import FORBIDDEN

HENS = [
    Outcome("hen-1", "setter-1", "chicken", "Mar to May", 20, 18, 16, True, {"late": 2}),
    Outcome("hen-2", "setter-2", "chicken", "Mar to May", 20, 16, 8, False, {"early": 3, "late": 5}),
    Outcome("hen-3", "setter-1", "chicken", "Jun to Aug", 10, None, 6, False),
]
CLEAR_SPLIT, NO_SPLIT, FEW, ALIKE, UNSEEN = (
    Table(6, 0, 0, 6), Table(3, 3, 3, 3), Table(1, 0, 0, 2), Table(0, 0, 5, 7), Table(0, 0, 0, 0),
)  # fmt: skip


def told(tables: dict[str, Table], read: int = 12, older: int = 0, by: bool = False) -> str:
    groups = rates_by(HENS, lambda o: o.machine) if by else {}
    return outcomes_text(
        rates(HENS), groups, associations(tables), {"hen-9": "no outcome is written"}, 2, read, 0.75, older
    )


def words(text: str) -> str:
    return " ".join(text.split())


def test_the_rates() -> None:
    """Each as count of count, per cent and interval; what rests on fertile eggs leaves out the batch that did not tell them apart."""
    text = told({})
    assert "HOW 3 BATCHES ENDED" in text
    assert "  fertile            34 of 40, 85 % (95 % interval 71 to 93 %)\n" in text
    assert "  hatched of set     30 of 50, 60 % (95 % interval 46 to 72 %)\n" in text
    assert "  hatched of fertile 24 of 34, 71 % (95 % interval 54 to 83 %)\n" in text
    assert "  lost, late         7 of 34, 21 % " in text
    assert "  2 eggs without a written end count as not hatched.\n" in text
    assert "NOT COUNTED\n  hen-9: no outcome is written\n" in text
    assert max(map(len, text.splitlines())) <= 80


def test_by_group() -> None:
    """The same for each machine, below the whole; a group that cannot say what was fertile says so."""
    text = told({}, by=True)
    assert "setter-1: 2 batches\n" in text
    assert "setter-2: 1 batch\n" in text
    bare = outcomes_text(rates(HENS[2:]), {}, (), {}, 0, 1, 0.75)
    assert "hatched of fertile not known: the clear eggs were not told apart" in bare


def test_what_goes_together() -> None:
    """A clear split of twelve batches is told with odds, interval and corrected p; no split as chance; and never as a cause."""
    text = words(told({"too humid": CLEAR_SPLIT, "too warm": NO_SPLIT, "odd": FEW, "swinging": ALIKE, "loss": UNSEEN}))
    assert (
        "too humid: of 6 batches with it 6 ended badly, of 6 without it 0. Odds of a bad end without limit times"
        in text
    )
    assert "They go together (p 0.0043, corrected of 2 things looked at); that names no cause." in text
    assert "too warm: of 6 batches with it 3 ended badly, of 6 without it 3." in text
    assert "Not told from chance (p 1, corrected" in text
    assert (
        "Too few to tell, even by the clearest split (ended badly, of all): odd: with it 1 of 1, without 0 of 2" in text
    )
    assert "Nothing to compare, for the batches are alike in it or all ended alike: swinging." in text
    assert "No batch's record can say: loss." in text
    assert "Together is not because of" in text
    assert FORBIDDEN.search(text.replace("not because of", "")) is None


def test_too_few() -> None:
    """With three batches it says so in plain words, and shows the counts so far; no odds, no p."""
    text = words(told({"odd": FEW}, read=3))
    assert "are too few: even the clearest split of them could be chance. So far (ended badly, of all): odd" in text
    assert "Odds" not in text
    assert "(p " not in text


def test_all_alike() -> None:
    """Where every batch went well there is nothing to compare, and it says so."""
    assert "They all ended alike, well or not: there is nothing to compare." in words(told({}))


def test_older_ones_are_said() -> None:
    """Where not all were looked at, how many were not."""
    assert "Only the newest 12 batches were looked at; 5 older ones were not." in words(told({"odd": FEW}, older=5))


def test_none_yet() -> None:
    """Before any outcome: what to write when a hatch is over, and nothing of what goes together."""
    text = outcomes_text(rates([]), {}, (), {}, 0, 0, 0.75)
    assert "eggroom egg outcome hen-1 1-18 hatched" in text
    assert "GOES TOGETHER" not in text


def test_as_values() -> None:
    """Plain values: counts, shares, intervals; an odds ratio without limit is null, as JSON has no infinity."""
    found = associations({"too humid": CLEAR_SPLIT, "loss": UNSEEN})
    data = outcomes_json(rates(HENS), rates_by(HENS, lambda o: o.season), found, {}, 2, 12, 0.75)
    read = json.loads(json.dumps(data, allow_nan=False))
    low, high = wilson(30, 50)
    assert read["all"]["hatch_of_set"] == {
        "count": 30,
        "of": 50,
        "share": 0.6,
        "low": round(low, 6),
        "high": round(high, 6),
    }
    assert list(read["groups"]) == ["Jun to Aug", "Mar to May"]
    first = read["together"][0]
    assert [first[k] for k in ("exposed_bad", "exposed_good", "other_bad", "other_good")] == [6, 0, 0, 6]
    assert (first["odds_ratio"], first["high"], first["too_few"]) == (None, None, False)
    assert first["low"] > 1.0
    assert read["groups"]["Jun to Aug"]["fertility"]["share"] is None
