"""The words of a review: 80 columns, what the record shows, and nothing that names a cause or tells anyone to act on an egg."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.review.judged import (
    CANNOT_SAY,
    NOT_MEASURED,
    SUPPORTED,
    Figure,
    Record,
    Verdict,
    review,
)
from monitor.domain.published.causes import LOSS, WHOLE
from monitor.shown.report import text as as_text
from monitor.shown.report.tree import Heading, Report, Section, plain
from monitor.shown.review.finding import CLOSING, MEANS, WHY, finding_sections, source_lines, to_json
from tests.analysis.review.test_judged import EVERY, first_of

CATALOGUE = shipped_causes()
FULL = Record("hen-3", {a.key: a.figure(1.5) for a in EVERY})
CLEAR = Record("hen-3", {a.key: a.figure(0.0) for a in EVERY})
POOR = Record("hen-3", {a.key: Figure(a.figure(1.5).value, 30.0, 60.0, 0.3, 0.5, 0.5, 40.0) for a in EVERY})
RECORDS = {"full": FULL, "clear": CLEAR, "poor": POOR, "empty": Record("hen-3", {})}
# Words that would claim to know, or would tell someone to open, help or treat.
FORBIDDEN = re.compile(
    r"\bcause was\b|\bcaused by\b|\bbecause of\b|\bopen the\b|\bopen it\b|\bpeel\b|\bassist\b|\bhelp the\b|\bpull\b|\bcut the\b"
    r"|\bgive it\b|\byou should\b|\bmust have\b|\bdiagnosed\b|\bapply\b|\brub\b",
    re.IGNORECASE,
)


def review_text(finding: str, verdicts: Sequence[Verdict], unit: str) -> str:
    """One finding alone, with what a review says once for all of them below it."""
    told = (
        *finding_sections(CATALOGUE, finding, verdicts, unit=unit),
        Section(Heading("whom to ask"), plain([CLOSING])),
        Section(Heading("sources"), plain(source_lines(CATALOGUE, verdicts))),
    )
    return as_text.drawn(Report("Review", sections=told))


def text(finding: str, record: Record, unit: str = "C") -> str:
    good = (FULL, CLEAR, CLEAR, CLEAR)
    verdicts = review(CATALOGUE, finding, record, siblings=(FULL, CLEAR), good=good)
    return review_text(finding, verdicts, unit)


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize("record", RECORDS)
@pytest.mark.parametrize("finding", CATALOGUE.findings)
def test_it_informs_and_no_more(finding: str, record: str, unit: str) -> None:
    """Every finding, whatever the record: lines of 80 columns, the veterinarian, the caution, and no claim or instruction."""
    page = text(finding, RECORDS[record], unit)
    assert max(map(len, page.splitlines())) <= 80
    assert "avian veterinarian" in " ".join(page.split())
    assert "Ask an avian veterinarian" in " ".join(page.split())
    assert " ".join(CATALOGUE.findings[finding].caution.split()) in " ".join(page.split())
    ours = " ".join(page[: page.index("SOURCES")].split())
    for cause in CATALOGUE.findings[finding].causes:
        assert cause.told(unit) in ours
    assert re.search(r"\d ?°?C\b" if unit == "F" else r"°F|\d C\b", ours) is None
    assert FORBIDDEN.search(ours) is None, FORBIDDEN.search(ours)
    assert "nan" not in ours.split()


def test_every_shipped_word_keeps_to_it_too() -> None:
    """The words that a record of another shape would bring out are looked at as well."""
    for words in (*WHY.values(), *MEANS.values()):
        assert FORBIDDEN.search(words) is None


def test_a_supported_cause_is_told_with_figure_band_and_the_others() -> None:
    """Each with its sources, what the record shows, the band, the share outside, and the same in the other eggs and batches."""
    one = first_of("wet-chick", "humidity", "high")
    record = Record("x", {one.key: Figure(66.04, 52.0, 59.0, 0.953, 0.0, 0.97)})
    good = [Record(f"g-{i}", {one.key: Figure(v, 52.0, 59.0)}) for i, v in enumerate((53.0, 55.5, 57.0))]
    verdicts = review(CATALOGUE, "wet-chick", record, siblings=[record, record], good=good)
    page = " ".join(review_text("wet-chick", verdicts, "C").split())
    assert (
        "Too high? The record shows mean humidity over the incubation stage: 66.0 %RH, target 52.0 %RH to 59.0 %RH"
        in page
    )
    assert "above it 97 % of the time; covered 95.3 %." in page
    assert "This batch's other eggs: the same." in page
    assert "Batches that went well: 53.0 %RH to 57.0 %RH, middle 55.5 %RH (3)." in page
    assert "humidity too high, egg lost too little (WILDPRO, seen)" in page
    assert "HARI: M. Hagen." in page


def test_a_dose_is_told_with_what_contradicts_it() -> None:
    """The published exposure, its result, and the results of others that say otherwise, in the site's unit."""
    one = first_of("pipped-dead", "heat")
    record = Record("x", {one.key: Figure(1.5)})
    page = " ".join(review_text("pipped-dead", review(CATALOGUE, "pipped-dead", record), "F").split())
    assert "hours at or above 105.1 °F over the last third: 1.5 h" in page
    assert "supported from 0.5 h" in page
    assert "Published, and says otherwise: 105.1 °F for 24 h, no large effect (THOMPSON-76, hen eggs)." in page
    assert "THOMPSON-76: Heat stress of 16-day embryos." in page


def test_temperatures_are_shown_in_the_sites_unit() -> None:
    """37.8 °C is 100.04 °F, and a difference of 1.1 K is 1.98 °F, without the 32."""
    one = first_of("early-hatch", "temperature", "high")
    record = Record("x", {one.key: Figure(38.9, 37.5, 38.1)})
    page = " ".join(review_text("early-hatch", review(CATALOGUE, "early-hatch", record), "F").split())
    assert "102.02 °F, target 99.50 °F to 100.58 °F" in page
    spread = Record("x", {first_of("drawn-out-hatch", "spread", "high").key: Figure(1.5)})
    page = " ".join(review_text("drawn-out-hatch", review(CATALOGUE, "drawn-out-hatch", spread), "F").split())
    assert "2.70 °F, not supported up to 1.01 °F, supported from 1.98 °F" in page
    with pytest.raises(ValueError, match="unit 'K', expected C or F"):
        review_text("early-hatch", (), "K")


def test_a_loss_that_was_carried_to_pip_says_so() -> None:
    """The loss of an egg that died before pip is told as its pace until then, in the text and as a value."""
    record = Record("egg 4", {(LOSS, WHOLE): Figure(17.0, 11.0, 14.0, at_pace=True)})
    verdicts = review(CATALOGUE, "dead-unpipped", record)
    page = " ".join(review_text("dead-unpipped", verdicts, "C").split())
    assert "water loss to pip: 17.0 % (dead before pip: at the pace until then), target 11.0 % to 14.0 %" in page
    rows = to_json(CATALOGUE, "dead-unpipped", "egg 4", verdicts=verdicts)["verdicts"]
    assert isinstance(rows, list)
    assert [row["at_pace"] for row in rows if row["value"] is not None] == [True, True]


@pytest.mark.parametrize("record", RECORDS)
@pytest.mark.parametrize("finding", CATALOGUE.findings)
def test_json_holds_the_same(finding: str, record: str) -> None:
    """Plain finite values, every published row once under its verdict, and the same order as the text."""
    verdicts = review(CATALOGUE, finding, RECORDS[record], siblings=(), good=(CLEAR,))
    page = json.loads(json.dumps(to_json(CATALOGUE, finding, "batch hen-3", verdicts=verdicts), allow_nan=False))
    rows = page["verdicts"]
    assert [row["verdict"] for row in rows] == [v.verdict for v in verdicts]
    told = sorted((c["words"], c["source"]) for row in rows for c in row["causes"])
    assert told == sorted((c.as_published, c.source) for c in CATALOGUE.findings[finding].causes)
    for row in rows:
        assert {c["source"] for c in row["causes"]} <= set(page["sources"])
        assert (row["unseen"] is not None) == (row["verdict"] == NOT_MEASURED)
        if row["verdict"] == SUPPORTED:
            assert row["value"] is not None
        if row["verdict"] == CANNOT_SAY:
            assert row["reason"] in WHY.values()
    assert "veterinarian" in page["closing"]
