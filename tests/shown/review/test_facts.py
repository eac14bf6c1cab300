"""The words of what the record shows: what went beyond first, with its day and what was published of as much, and nothing that names a cause."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, timedelta

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.review.facts import Facts, Rang
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Laid
from monitor.shown.form import Shown
from monitor.shown.review.beyond import beyond_words, days_words
from monitor.shown.review.facts import answer_words, facts_json
from monitor.shown.review.whole import brief_text, whole_html, whole_json, whole_text
from tests.seasons import air, batch_of, ended, make_site, put, set_at, with_spell
from tests.service.reports.test_facts import died, kept, reviewed
from tests.service.reports.test_lived import weighed
from tests.shown.review.test_finding import FORBIDDEN
from tests.shown.review.test_whole import words

CATALOGUE, SITE = shipped_causes(), make_site()
SHOWN = Shown(UTC, "C")
HOT = with_spell(air(0), 0, 3.3, hours=4.0, to_c=43.5)
COOL = with_spell(air(0), 0, 12.1, hours=30.0, to_c=24.0)


def facts(spell: list[object] | None = None, book: EggBook | None = None) -> Facts:
    found = reviewed(kept(book or died(0, "blood-ring", "early", 7.0), spell), SITE).facts  # type: ignore[arg-type]
    assert found is not None
    return found


def test_heat_with_blood_rings_is_the_first_line() -> None:
    """With its hours, day and peak, and what harm was published of less; before any finding, in short and in full, on paper and in columns."""
    whole = reviewed(kept(died(0, "blood-ring", "early", 7.0), HOT), SITE)
    for columns in (80, 40):
        for told in (brief_text, whole_text):
            text = told(whole, CATALOGUE, SHOWN, columns=columns)
            assert max(map(len, text.splitlines())) <= columns
            assert words(text).startswith(
                "Heat: 4.1 h beyond the alarm limit on day 3, up to 43.5 °C; as much, or less, did harm elsewhere:"
                " 40.6 °C for 30 min (MSU-HMG, poultry eggs). blood ring, death in days 2 to 4: the record shows"
            )
            assert text.index("WHAT THE RECORD SHOWS OF THESE EGGS") < text.index("BLOOD RING")
            assert "less than a sensor can tell" not in words(text)
            assert (
                "The mean of days 0 to 7 lay inside the band; 4.1 h beyond the alarm limit on day 3, up to 43.5 °C: that supports it."
                in words(text)
            )
    full = words(whole_text(whole, CATALOGUE, SHOWN))
    assert "The mean of days 0 to 7 lay inside the band; never beyond the alarm limit." in full  # too cold
    assert "THOMPSON-76: Heat stress of 16-day embryos." in full  # each source that the facts name stands below
    assert "110.3 °F" in words(brief_text(whole, CATALOGUE, Shown(UTC, "F")))
    html = whole_html(whole, CATALOGUE, SHOWN)
    assert "4.1 h beyond the alarm limit on day 3" in html


def test_cold_that_no_source_names_is_the_first_line() -> None:
    """And under its finding it says that no source names it."""
    whole = reviewed(kept(died(0, "dead-middle-third", "middle", 18.0), COOL), SITE)
    text = words(brief_text(whole, CATALOGUE, SHOWN))
    assert text.startswith(
        "Cold: 30.1 h beyond the alarm limit on days 12 and 13, down to 24.0 °C; as much, or less, did harm"
    )
    assert "published causes that can be asked. Also, named by no source: cold in the middle third." in text
    assert "- cold in the middle third (no source names this) The record shows time below the alarm limit" in text
    full = words(whole_text(whole, CATALOGUE, SHOWN))
    assert "SUPPORTED: as much is published to have done harm, though no source names it for this" in full
    assert "cold in the first third (no source names this)" in full


def test_what_a_source_names_one_spell_of_says_so() -> None:
    """Dead in the first third: of cold one source names one spell; all of it is asked beside that."""
    whole = reviewed(kept(died(0, "dead-first-third", "early", 7.0)), SITE)
    full = words(whole_text(whole, CATALOGUE, SHOWN))
    assert "cold in the first third (no source names this, but for one spell (UIUC-TS))" in full
    assert "heat in the first third (no source names this)" in full


def test_calm_eggs() -> None:
    """Never beyond a limit, in how much of the time; nobody weighed, wrote days in store, or was rung for."""
    whole = reviewed(kept(died(0, "blood-ring", "early", 7.0)), SITE)
    text = words(brief_text(whole, CATALOGUE, SHOWN))
    assert text.startswith("Never beyond an alarm limit of temperature in the 100.0 % of the time that is on record.")
    for line in (
        "ended: 5 hatched, day 21; 3 dead (early), written on day 7",
        "heat beyond the alarm limit, 38.9 °C: never",
        "alarms in their life: none",
        "loss of water to pip: not weighed",
        "days in store: not written",
    ):
        assert line in text
    assert "Other people's eggs" not in text


def test_alarms_with_who_answered() -> None:
    """The most urgent first, five in short and all in full; how many nobody answered."""
    begin = set_at(0) + timedelta(days=3)
    rang = tuple(
        Rang(
            n,
            "setter-1",
            "x",
            f"rule {n}",
            priority,
            begin,
            begin + timedelta(hours=2),
            ("ada", begin + timedelta(minutes=12)) if n % 2 else None,
        )
        for n, priority in enumerate(["medium", "high", "critical", "medium", "high", "medium", "low", ""])
    )
    whole = reviewed(kept(died(0, "blood-ring", "early", 7.0)), SITE)
    whole = replace(whole, facts=replace(whole.facts, rang=rang))  # type: ignore[type-var]
    short, full = (words(told(whole, CATALOGUE, SHOWN)) for told in (brief_text, whole_text))
    assert (
        "alarms in their life: 8, 4 of them answered by nobody day 3, No. 2 setter-1: rule 2, for 2 h 0 min, answered by nobody"
        in short
    )
    assert "day 3, No. 1 setter-1: rule 1, for 2 h 0 min, answered by ada after 12 min" in short
    assert "and 3 more" in short
    assert all(f"rule {n}" in full for n in range(8))
    assert "and 3 more" not in full


def test_loss_and_store() -> None:
    """Between what the eggs lost, against the target, and of how many; days in store as they differ."""
    book = put(put(died(0, "blood-ring", "early", 7.0), 0.0, Laid(stored_days=2.0), 1), 0.0, Laid(stored_days=9.0), 2)
    for egg, by_pip in ((1, 8.0), (2, 12.5)):
        book = weighed(book, egg, by_pip)
    text = words(brief_text(reviewed(kept(book), SITE), CATALOGUE, SHOWN))
    assert "2 eggs weighed; target 11 to 14 %, 1 below it" in text
    assert "days in store: 2.0 to 9.0, middle 5.5" in text


def test_where_nothing_was_found_the_record_is_told() -> None:
    """After the line that there is nothing to review."""
    whole = reviewed(kept(ended(EggBook(batch_of(0)), 12), HOT), SITE)
    text = words(brief_text(whole, CATALOGUE, SHOWN))
    assert text.startswith(
        "Nothing found is written, so there is nothing to review. Heat: 4.1 h beyond the alarm limit on day 3"
    )


@pytest.mark.parametrize("spell", [None, HOT, COOL])
def test_it_informs_and_no_more(spell: list[object] | None) -> None:
    """No word names a cause, or tells anyone to act on an egg."""
    whole = reviewed(kept(died(0, "unexplained", "late", 20.0), spell), SITE)  # type: ignore[arg-type]
    text = words(whole_text(whole, CATALOGUE, SHOWN))
    assert FORBIDDEN.search(text[: text.index("SOURCES")]) is None


@pytest.mark.parametrize(
    ("by_day", "told"),
    [
        ([(3, 4.0)], "on day 3"),
        ([(12, 13.2), (13, 16.8)], "on days 12 and 13"),
        ([(1, 1.0), (5, 1.0), (9, 0.2)], "on days 1, 5 and 9"),
        ([(1, 1.0), (5, 3.5), (9, 0.2), (10, 0.1)], "on 4 days, most of it on day 5 (3.5 h)"),
    ],
)
def test_on_which_days(by_day: list[tuple[int, float]], told: str) -> None:
    """Up to three by name, of more the worst."""
    assert days_words(by_day) == told


def test_as_values() -> None:
    """Plain values for a program, with each day's hours and the published exposures by id; null where they were in no machine."""
    whole = reviewed(kept(died(0, "blood-ring", "early", 7.0), HOT), SITE)
    data = json.loads(json.dumps(whole_json(whole, CATALOGUE), allow_nan=False))
    hot, cold = data["facts"]["beyond"]
    assert (hot["side"], hot["by_day"][0]["day"], hot["peak_c"]) == ("above", 3, 43.5)
    assert hot["reach"] > 1.0
    assert {each["source"] for each in hot["published"]} >= {"MSU-HMG", "THOMPSON-76"}
    assert (cold["hours"], cold["by_day"], cold["peak_at"]) == (0.0, [], None)
    assert data["facts"]["ended"][1] == {
        "what": "dead",
        "detail": "early",
        "eggs": 3,
        "first_day": 7.0,
        "last_day": 7.0,
    }
    verdict = data["reviews"][0]["verdicts"][0]
    assert (verdict["by_beyond"], verdict["named"], verdict["days"]) == (True, True, [0.0, 7.0])
    assert verdict["beyond"]["hours"] == hot["hours"]
    assert json.loads(json.dumps(facts_json(facts()), allow_nan=False))["on_record"]["dry_bulb_c"]["coverage"] == 1.0
    assert list(answer_words(facts(), SHOWN)) != list(answer_words(facts(HOT), SHOWN))  # type: ignore[arg-type]
    (calm, _) = facts().beyond
    assert beyond_words(calm, "C") == "never"
