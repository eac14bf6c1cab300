"""How outcomes are told: every rate with its count and interval, and what goes together with its counts, or that it is too few."""

from __future__ import annotations

import json
from typing import Any

from monitor.analysis.across.statistics import Association, Outcome, Table, associations, rate, rates, rates_by, wilson
from monitor.analysis.across.together import CHOSEN, PUBLISHED, SET_BEFORE, Across, Exposed, Written
from monitor.service.across.outcomes import NO_EGGS, NO_OUTCOME, TOO_MANY
from monitor.shown.outcomes import Told, outcomes_json, outcomes_text
from tests.shown.review.test_finding import FORBIDDEN

HENS = [
    Outcome("hen-1", "setter-1", "chicken", "mar-may", 20, 18, 16, True, {"late": 2}),
    Outcome("hen-2", "setter-2", "chicken", "mar-may", 20, 16, 8, False, {"early": 3, "late": 5}),
    Outcome("hen-3", "setter-1", "chicken", "jun-aug", 10, None, 6, False),
]
CLEAR_SPLIT, NO_SPLIT, FEW, ALIKE, UNSEEN = (
    Table(6, 0, 0, 6), Table(3, 3, 3, 3), Table(1, 0, 0, 2), Table(0, 0, 5, 7), Table(0, 0, 0, 0),
)  # fmt: skip


WET = Written("wet-chick", rate(4, 50), rate(2, 3), ("hen-1", "hen-2"), {"setter-1": (rate(3, 30), rate(1, 2)), "setter-2": (rate(1, 20), rate(1, 1))})  # fmt: skip


def across(tables: dict[str, Table], **other: Any) -> Across:
    """Of three batches; their tables are made up, and so many are said to have been read."""
    groups = rates_by(HENS, lambda o: o.machine) if other.get("by") else {}
    given: dict[str, Any] = {
        "every": rates(HENS), "groups": groups, "left_out": {"hen-9": NO_OUTCOME}, "unwritten": 2, "good_share": 0.75,
        "looked_at": {name.replace(" ", "-"): None for name in tables}, "why": SET_BEFORE, "found": together(**tables),
        "members": (), "within": (), "read": 3,
    }  # fmt: skip
    return Across(**(given | other))


def said(tables: dict[str, Table], **other: Any) -> Told:
    """The same with its words, which here are the names that the tables were given."""
    made = across(tables, **other)
    ids = {a.exposure.id for a in made.compared if a.exposure.id} | set(made.looked_at)
    return Told(made, {id_: id_.replace("-", " ") for id_ in sorted(ids, key=[*made.looked_at, *sorted(ids)].index)})


def told(tables: dict[str, Table], **other: Any) -> str:
    text = outcomes_text(said(tables, **other))
    assert max(map(len, text.splitlines())) <= 80
    assert FORBIDDEN.search(text.replace("not because of", "")) is None
    return text


def together(**tables: Table) -> tuple[Association[Exposed], ...]:
    ids = {name: name.replace(" ", "-").replace("_", "-") for name in tables}
    return associations({Exposed(ids[name]): table for name, table in tables.items()})


def of_groups(**tables: Table) -> tuple[Association[Exposed], ...]:
    return associations({Exposed(group=name.replace("_", " ")): table for name, table in tables.items()})


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
    assert "  2 eggs without a written end: not hatched, as far as is known.\n" in text
    assert "  1 egg without a written end: " in told({}, unwritten=1)
    assert "NOT COUNTED\n  hen-9: no outcome is written\n" in text


def test_the_share_from_which_on_a_batch_went_well() -> None:
    """It is told as it was asked for, halves too."""
    for share, said in ((0.75, "75 %"), (0.625, "62.5 %"), (0.57, "57 %")):
        assert f"when {said} or more of its fertile eggs hatched" in words(told({}, good_share=share))


def test_by_group() -> None:
    """The same for each machine, below the whole; a group that cannot say what was fertile says so."""
    text = told({}, by="machine")
    assert "setter-1: 2 batches\n" in text
    assert "setter-2: 1 batch\n" in text
    bare = told({}, every=rates(HENS[2:]))
    assert "hatched of fertile not known: the clear eggs were not told apart" in bare


def test_what_goes_together() -> None:
    """A clear split of twelve batches is told with odds, interval and corrected p; no split as chance; and never as a cause."""
    text = words(told({"too humid": CLEAR_SPLIT, "too warm": NO_SPLIT, "odd": FEW, "swinging": ALIKE, "loss": UNSEEN}))
    assert "Looked at: 5 things, the same for everyone, set before any record was seen. Each more" in text
    assert "too humid: 6 of 6 batches ended badly, otherwise 0 of 6. Odds of a bad end at least " in text
    assert "They go together (p 0.0043, corrected for 2 that could tell); that names no cause." in text
    assert "too warm: 3 of 6 batches ended badly, otherwise 3 of 6. Odds of a bad end 1 times as high" in text
    assert "Not told from chance (p 1, corrected" in text
    assert "Too few to tell, even by the clearest split (ended badly, of all): odd: 1 of 1, otherwise 0 of 2" in text
    assert "5 comparisons were made; 2 could tell something: each p is corrected for so many" in text
    assert "Nothing to compare, for the batches are alike in it or all ended alike: swinging." in text
    assert "No batch's record can say: loss." in text
    assert "Together is not because of" in text


def test_too_few() -> None:
    """With three batches it says so in plain words, and shows the counts so far; no odds, no p."""
    text = words(told({"odd": FEW}))
    assert "So few batches cannot tell anything: even the clearest split of them could be chance." in text
    assert "So far (ended badly, of all): odd: 1 of 1, otherwise 0 of 2" in text
    assert "Odds" not in text
    assert "(p " not in text


def test_all_alike() -> None:
    """Where every batch went well there is nothing to compare, and it says so."""
    alike = {"looked_at": {"odd": "odd"}}
    assert "They all ended alike, well or not: there is nothing to compare." in words(told({}, **alike))
    text = words(told({}, **alike, finding=WET))
    assert "It was written for all of them or for none: there is nothing to compare." in text


def test_what_is_judged_whole_or_waits_is_said() -> None:
    """Batches split off another, those of which a part is not counted yet, and those without air."""
    text = words(told({"odd": FEW}, read=1, split_off=1, waiting=("hen-3",)))
    assert "Judged with the clutch that they were set with, as one: 1 batch split off another." in text
    assert "Not compared, for a part of their clutch is not counted yet: hen-3." in text
    assert "without air to ask" not in text
    assert "Without a machine or a profile that is known, so without air to ask: 2 batches." in words(
        told({"odd": FEW}, read=1)
    )


def test_none_yet() -> None:
    """Before any outcome: what to write when a hatch is over, and nothing of what goes together."""
    text = told({}, every=rates([]), left_out={}, read=0, finding=WET)
    assert "eggroom egg outcome hen-1 1-18 hatched" in text
    assert "GOES TOGETHER" not in text


def test_as_values() -> None:
    """Plain values: counts, shares, intervals; an odds ratio without limit is null, as JSON has no infinity."""
    data = outcomes_json(
        said({"too humid": CLEAR_SPLIT, "loss": UNSEEN}, groups=rates_by(HENS, lambda o: o.season), by="season")
    )
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
    assert (first["id"], first["exposure"]) == ("too-humid", "too humid")
    assert (read["finding"], read["by"], read["went_well_share"], read["compared"]) == (None, "season", 0.75, 2)
    assert read["looked_at"] == [{"id": "too-humid", "words": "too humid"}, {"id": "loss", "words": "loss"}]
    assert (first["odds_ratio"], first["high"], first["too_few"]) == (None, None, False)
    assert first["low"] > 1.0
    assert read["groups"]["Jun to Aug"]["fertility"]["share"] is None


def test_a_finding_in_place_of_a_bad_end() -> None:
    """How many eggs of how many batches had it, in all and in each group; what goes together with it is told without good or bad."""
    text = told({"too humid": CLEAR_SPLIT, "odd": FEW}, finding=WET, by="machine", why=PUBLISHED)
    head, _, tail = text.partition("WHAT GOES TOGETHER WITH wet-chick\n")
    assert "HOW OFTEN wet-chick WAS WRITTEN\n  Wet chick, excess fluid, soft or oedematous.\n" in head
    assert "  eggs with it       4 of 50, 8 % (" in head
    assert "  batches with it    2 of 3, 67 % (" in head
    assert "  In hen-1, hen-2.\n  Of the batches above, whose eggs were looked at" in head
    assert "  eggs with it       3 of 30, 10 % (" in head[head.index("setter-1: 2 batches") :]
    tail = words(tail)
    assert "Looked at: 2 things, all that its published causes name and a sensor sees." in tail
    assert "too humid: 6 of 6 batches had wet-chick written, otherwise 0 of 6. Odds of wet-chick at least " in tail
    assert "clearest split (had wet-chick written, of all): odd: 1 of 1, otherwise 0 of 2" in tail
    assert "Odds: batches with it written to those without." in tail
    assert "went well" not in tail
    assert "bad" not in tail
    data: Any = outcomes_json(said({"too humid": CLEAR_SPLIT}, finding=WET, by="machine"))
    assert (data["finding"]["id"], data["finding"]["batches"]) == ("wet-chick", ["hen-1", "hen-2"])
    assert (data["finding"]["eggs_with_it"]["count"], data["finding"]["batches_with_it"]["of"]) == (4, 3)
    assert data["groups"]["setter-2"]["batches_with_it"]["count"] == 1
    (row,) = data["together"]
    assert [row[k] for k in ("exposed_written", "exposed_not_written", "other_written", "other_not_written")] == [
        6,
        0,
        0,
        6,
    ]
    assert "had wet-chick written" in row["words"]
    assert data["went_well_share"] is None


def test_a_finding_that_no_sensor_can_say_anything_about() -> None:
    """It says that nothing was looked at, and how to choose something; nothing of batches that are alike."""
    text = words(told({}, finding=WET, why=PUBLISHED))
    assert "No sensor sees anything that its published causes name" in text
    assert "you choose with --exposure." in text
    assert "nothing to compare" not in text


def test_what_was_chosen() -> None:
    """How many, and when choosing is fair; one that can tell is not corrected."""
    text = words(told({"too humid": CLEAR_SPLIT}, why=CHOSEN))
    assert "Looked at: 1 thing that you chose. That is fair when chosen beforehand;" in text
    assert "1 comparison was made; 1 could tell something, so nothing is to be corrected." in text
    assert "(p 0.0022); that names no cause." in text


def test_groups_against_one_another_and_alone() -> None:
    """What can tell is told in full; within groups all the others in one line, with their number; of one group nothing."""
    within = together(too_humid_alone=CLEAR_SPLIT, **{f"odd_{n}": FEW for n in range(29)}, dry=UNSEEN)
    text = told({"odd": FEW}, by="machine", members=of_groups(setter_1=CLEAR_SPLIT, setter_2=FEW), within=within)
    text = words(text)
    assert "ONE MACHINE AGAINST THE OTHERS All counted batches, whatever their air. - set in setter 1: 6 of 6" in text
    assert "set in setter 2: 1 of 1, otherwise 0 of 2" in text
    assert "THE SAME WITHIN ONE MACHINE ALONE - too humid alone: 6 of 6" in text
    assert "30 more have too few batches to tell, even by the clearest split." in text
    assert "odd 7" not in text
    assert "34 comparisons were made" in text
    text = words(told({"odd": FEW}, by="machine", within=together(odd=FEW, dry=UNSEEN)))
    assert "All counted batches are of one machine: nothing to compare." in text
    assert "2 comparisons, and for none are there enough batches to tell, even by the clearest split." in text
    assert "ONE MACHINE" not in told({"odd": FEW})
    data: Any = outcomes_json(said({}, by="machine", members=of_groups(setter_1=CLEAR_SPLIT), within=within))
    assert ([r["exposure"] for r in data["against_others"]], len(data["within"])) == (["set in setter 1"], 31)


def test_why_a_batch_is_not_counted() -> None:
    """Each reason in words, the same for people and for programs."""
    made = said({}, left_out={"hen-7": NO_EGGS, "hen-8": NO_OUTCOME, "hen-9": TOO_MANY})
    lines = {
        "hen-7": "how many eggs were set is not written",
        "hen-8": "no outcome is written",
        "hen-9": "more eggs are written than were set",
    }
    assert outcomes_json(made)["not_counted"] == lines
    text = outcomes_text(made)
    assert all(f"{batch}: {why}" in text for batch, why in lines.items())
