"""All the reviews of a batch together: in order, within 80 columns, what is common said once, and how to begin where nothing was written."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.review.judged import SUPPORTED, UNLIKE, VERDICTS, Figure, Record, review
from monitor.analysis.review.whole import BatchReview, Reviewed, Subject
from monitor.domain.published.findings import FINDINGS
from monitor.shown.form import Shown
from monitor.shown.review.finding import CLOSING, PREAMBLE, SUPPORTED_MEANS, TEMPERATURES_OF
from monitor.shown.review.whole import brief_text, whole_json, whole_text
from tests.analysis.review.test_judged import first_of
from tests.shown.review.test_finding import CLEAR, FORBIDDEN, FULL

CATALOGUE = shipped_causes()
SHOWN = Shown(UTC, "C")
SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def whole(*findings: str, record: Record = FULL, good: tuple[str, ...] = ("hen-1", "hen-2", "hen-4")) -> BatchReview:
    others = [replace(CLEAR, name=name) for name in good]
    reviewed = tuple(
        Reviewed(f, Subject((3, 7)), review(CATALOGUE, f, record, siblings=(FULL, CLEAR), good=others))
        for f in findings
    )
    return BatchReview("hen-3", "chicken", 20, SET, None, reviewed, good, 0.75)


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("unit", ["C", "F"])
def test_every_finding_at_once(unit: str) -> None:
    """All of the list in one text: no line wider than 80, what supported means and the sources once, a caution for each, and no claim."""
    text = whole_text(whole(*CATALOGUE.findings), CATALOGUE, Shown(UTC, unit))
    assert max(map(len, text.splitlines())) <= 80
    assert words(text).count(words(PREAMBLE)) == words(text).count(words(CLOSING)) == 1
    assert text.count("\nCAUTION\n") == len(CATALOGUE.findings)
    assert text.count("\nSOURCES\n") == 1
    assert words(text).endswith(TEMPERATURES_OF)
    assert text.count("\n  HARI: ") == 1
    assert FORBIDDEN.search(words(text[: text.index("\nSOURCES\n")])) is None


def test_where_the_record_knows_nothing_it_says_that_first() -> None:
    """Not that it shows nothing: with what is missing, and how much there is. Where it can tell of some, of how many it cannot."""
    few = replace(FULL, figures={key: replace(figure, coverage=0.001) for key, figure in FULL.figures.items()})
    for record, asked, why in (
        (few, 2, "too little of the time has good data (0.1 % at most)"),
        (replace(FULL, figures={}), 3, "the record has no such figure"),
    ):
        told = words(whole_text(whole("wet-chick", record=record, good=()), CATALOGUE, SHOWN))
        assert (
            f"wet chick, excess fluid, soft or oedematous: cannot say of {asked} published causes that can be asked: {why}."
            in told
        )
        assert "the record shows none" not in told
    some = replace(FULL, figures=dict([*few.figures.items()][:1]) | dict([*FULL.figures.items()][1:]))
    told = words(whole_text(whole(*CATALOGUE.findings, record=some, good=()), CATALOGUE, SHOWN))
    assert re.search(
        r"the record shows (none|\d+) of \d+ published causes that can be asked[^.]*\. Of \d+ it cannot say: \w", told
    )


def test_in_order() -> None:
    """What was found, then finding by finding: supported first with figure, band and the others, what no sensor sees last."""
    text = whole_text(whole("wet-chick", "late-hatch"), CATALOGUE, SHOWN)
    heads = [line for line in text.splitlines() if line and not line.startswith(" ")]
    answers = heads[:2]
    assert heads[2] == "Review of batch hen-3"
    assert heads[3] == "profile chicken, 20 eggs, set 2026-03-01 18:00, still open"
    assert answers[0].startswith("wet chick, excess fluid, soft or oedematous: the record shows 1 of 2 published")
    assert answers[1].startswith("late hatch: the record shows ")
    heads = heads[2:]
    assert heads[2:4] == ["FOUND", "HOW TO READ THIS"]
    assert heads[4].startswith("WET CHICK, EXCESS FLUID")
    assert [h.split(":")[0] for h in heads[5:10]] == [
        "SUPPORTED",
        "CANNOT SAY",
        "NOT SUPPORTED",
        "NOT MEASURED",
        "CAUTION",
    ]
    assert heads[10] == "LATE HATCH: 2 OF 20 EGGS (3, 7)"
    assert (
        "  wet chick, excess fluid, soft or oedematous: 2 of 20 eggs (3, 7)\n  late hatch: 2 of 20 eggs (3, 7)\n"
        in text
    )


def test_in_short() -> None:
    """The answer first; what the record shows in full, the rest counted; each caution once, and where the rest is."""
    findings = ("wet-chick", "late-hatch", "sticky-chick")
    for columns in (80, 40):
        text = brief_text(whole(*findings), CATALOGUE, SHOWN, columns=columns)
        assert max(map(len, text.splitlines())) <= columns
        assert words(text).startswith("wet chick, excess fluid, soft or oedematous: the record shows 1 of 2 published")
        assert text.index("Review of batch hen-3") < text.index("WET CHICK") < text.index("LATE HATCH")
        assert words(text).count(words(SUPPORTED_MEANS)) == words(text).count(words(CLOSING)) == 1
        assert "Too low? The record shows mean temperature" in words(text)
        assert text.count("published causes: ") == len(findings)
        assert words(text).endswith("Every cause with its figures and its source: the same with --full.")
        assert not any(head in text for head in ("NOT SUPPORTED", "NOT MEASURED", "SOURCES", "HOW TO READ"))
        cautions = {words(CATALOGUE.findings[each].caution) for each in findings}
        assert all(words(text).count(each) == 1 for each in cautions)


def test_counts_in_short_are_those_of_the_whole() -> None:
    """Of each verdict as many as stand in the whole; where none is supported nothing is said of what that means."""
    for finding in CATALOGUE.findings:
        one = whole(finding)
        counts = Counter(verdict.verdict for verdict in one.reviewed[0].verdicts)
        told = words(brief_text(one, CATALOGUE, SHOWN))
        assert (
            "published causes: "
            + ", ".join(f"{name} {counts[name] or 'none'}" for name in VERDICTS if name != UNLIKE or counts[name])
            in told
        )
        assert (words(SUPPORTED_MEANS) in told) is (counts[SUPPORTED] > 0)


def test_unlike_your_good_batches() -> None:
    """Within its target and far from those that went well: told in the first line, shown in short, and in a section of its own in full."""
    one = first_of("wet-chick", "humidity", "high")
    good = [Record(f"g-{i}", {one.key: Figure(v, 50.0, 60.0)}) for i, v in enumerate((51.0, 51.2, 50.9))]
    verdicts = review(CATALOGUE, "wet-chick", Record("x", {one.key: Figure(59.0, 50.0, 60.0)}), good=good)
    given = replace(whole(), reviewed=(Reviewed("wet-chick", Subject((7,)), verdicts),))
    short, full = (words(told(given, CATALOGUE, SHOWN)) for told in (brief_text, whole_text))
    assert "Within its target, but unlike your good batches: humidity too high, egg lost too little." in short
    assert "Too high? The record shows mean humidity over the incubation stage: 59.0 %RH" in short
    assert "Batches that went well: 50.9 %RH to 51.2 %RH, middle 51.0 %RH (3)." in short
    assert "published causes: supported none, unlike your good batches 1, cannot say" in short
    assert "UNLIKE YOUR GOOD BATCHES: its target is kept, and it is farther out" in full
    assert words(SUPPORTED_MEANS) not in short


def test_the_batches_beside_it() -> None:
    """Named, with what went well means; of too few it is said, and of none."""
    assert "went well (75 % or more of the fertile eggs hatched): hen-1, hen-2, hen-4." in words(
        whole_text(whole("runt"), CATALOGUE, SHOWN)
    )
    assert "hen-1; fewer than 3 set nothing apart." in words(
        whole_text(whole("runt", good=("hen-1",)), CATALOGUE, SHOWN)
    )
    many = tuple(f"h-{n}" for n in range(20))
    assert "h-10, h-11 and 8 more." in words(whole_text(whole("runt", good=many), CATALOGUE, SHOWN))
    assert "No other batch of chicken that went well (75 %" in words(
        whole_text(whole("runt", good=()), CATALOGUE, SHOWN)
    )


def test_nothing_written() -> None:
    """It says how to write a finding, and lists the trade's whole list by the words one types."""
    text = whole_text(whole(), CATALOGUE, SHOWN)
    assert text.startswith("Nothing found is written, so there is nothing to review.\n")
    assert "  eggroom egg finding hen-3 7 sticky-chick\n" in text
    assert all(f"\n  {each.id} " in text for each in FINDINGS)
    short = brief_text(whole(), CATALOGUE, SHOWN)
    assert "The list: eggroom egg finding list\n" in short
    assert "blood-ring" not in short
    assert "SUPPORTED" not in text
    assert max(map(len, text.splitlines())) <= 80


def test_asked_about_is_not_found() -> None:
    """A finding that nobody wrote is told as asked about."""
    given = whole("runt")
    given = replace(given, reviewed=(replace(given.reviewed[0], written=False),))
    assert "(asked about, not written)" in words(whole_text(given, CATALOGUE, SHOWN))


def test_as_values() -> None:
    """Plain values for a program: the batch, the batches beside it, each finding with its eggs, verdicts and caution."""
    data = json.loads(json.dumps(whole_json(whole("wet-chick"), CATALOGUE), allow_nan=False))
    assert (data["batch"], data["eggs"], data["closed_at"], data["set_at"]) == (
        "hen-3",
        20,
        None,
        "2026-03-01T18:00:00.000Z",
    )
    assert (data["went_well"], data["went_well_share"]) == (["hen-1", "hen-2", "hen-4"], 0.75)
    (one,) = data["reviews"]
    assert (one["finding"], one["eggs"], one["count"], one["written"]) == ("wet-chick", [3, 7], 0, True)
    assert one["verdicts"][0]["verdict"] == "supported"
    assert one["caution"] == CATALOGUE.findings["wet-chick"].caution
