"""Doses, eggs and what was done, in words."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta, timezone

import pytest

from monitor.analysis.history.environment import BatchHistory, history_of
from monitor.analysis.history.felt import OPENING, Happening
from monitor.analysis.history.felt_figures import felt_of
from monitor.domain.wall import WIDTH
from monitor.shown.history.felt import LISTED, openings_per_day
from monitor.shown.history.report import Header, to_text
from tests.analysis.air import HOUR, T0, readings, stretch
from tests.analysis.lived import DAY_MS, HAPPENINGS, MODELS, SET_AT, TERM_DAYS, lived

ZONE = timezone(timedelta(hours=2), "north")
HEADER = Header("hen-1", "fowl", 24, SET_AT)


def told(history: BatchHistory, unit: str = "C") -> dict[str, str]:
    """The blocks of the page by their first word, each on one line."""
    text = to_text(history, HEADER, zone=ZONE, unit=unit)
    assert max(len(line) for line in text.splitlines()) <= WIDTH
    return {block.split()[0].rstrip(":"): " ".join(block.split()) for block in text.split("\n\n")}


def test_each_stage_says_dose_egg_pull_and_openings() -> None:
    """Under its figures: hours and degree-hours beyond the alarm limit with the farthest, the egg as an estimate, the pull, openings."""
    found = told(lived())
    assert (
        "heat over the alarm limit, 39.00 °C: 2 h 0 min, 4.39 K·h, in 1 stay, the farthest 41.20 °C at 2026-05-29 23:26"
        in found["INCUBATION"]
    )
    assert "cold under the alarm limit, 36.00 °C: none" in found["INCUBATION"]
    assert "egg about 37." in found["INCUBATION"]
    assert "), an estimate: it follows the air within about 17 min, known for" in found["INCUBATION"]
    assert "of the time, lowest" in found["INCUBATION"]
    assert "the air's pull on the egg's water: 3." in found["INCUBATION"]
    assert "kPa (mean vapour-pressure deficit of the egg, over 97.8 %)" in found["INCUBATION"]
    assert found["INCUBATION"].endswith("openings: 2 recognised, 1.0 a day")
    assert "within about 17 or 44 min" in found["WHOLE"]


@pytest.mark.parametrize("unit", ["C", "F"])
def test_the_egg_is_always_called_an_estimate(unit: str) -> None:
    """No sentence gives the egg a temperature without the word, and its time constant."""
    for block in told(lived(), unit).values():
        said = re.findall(
            r"egg about (\d+\.\d) °[CF] \((\d+\.\d) to (\d+\.\d)\), an estimate: it follows the air within", block
        )
        assert block.count("egg about") == len(said)
        assert all(float(low) < float(mean) < float(high) for mean, low, high in said)
        egg = block[block.index("egg about") :].split("the air's pull")[0] if said else ""
        assert re.findall(r"\d\.\d\d", egg) == []  # no second decimal


def test_what_was_published_stands_there_both_sides() -> None:
    """Reached, and what contradicts it; in the whole, which had no more, not once again; nothing is said about these eggs."""
    doses = told(lived())["DOSES"]
    assert "Other people's eggs: nothing is concluded from them about these." in doses
    assert (
        "Published (MSU-HMG, poultry eggs): 40.6 °C for 30 min: harms, or kills many. All of it here: 1.99 h at or above that."
        in doses
    )
    assert (
        "Published, and says otherwise (THOMPSON-76, hen eggs, day 16 of 21): 40.6 °C for 24 h: no large effect."
        in doses
    )
    assert doses.count("MSU-HMG") == 1
    assert "whole: heat over the alarm limit" in doses
    assert "published: as for incubation" in doses
    assert "105.1 °F for 30 min" in told(lived(), "F")["DOSES"]


def test_stays_that_were_added_up_are_told_apart() -> None:
    """Two stays of twenty minutes each reach half an hour only together, and the line says how long the longest was."""
    at = range(0, 5 * 3600 + 1, 60)
    air = readings(at, [41.0 if 60 <= s // 60 < 80 or 180 <= s // 60 < 200 else 37.5 for s in at])
    life = [stretch(air, hours=5.0, max_gap_s=180.0)]
    history = replace(history_of(life), felt=felt_of(life, MODELS, set_ms=T0, term_days=TERM_DAYS))
    doses = told(history)["DOSES"]
    assert (
        "for 30 min: harms, or kills many. All of it here: 39 min at or above that. The longest stay: 19 min." in doses
    )
    assert "whole: " in doses
    assert "incubation: " not in doses  # of one stage the whole says the same


def test_no_dose_says_so() -> None:
    """Air that was never beyond an alarm limit has no doses, and the page says for which time that holds."""
    life = [stretch(readings(range(0, 3601, 10), 37.5))]
    history = replace(history_of(life), felt=felt_of(life, MODELS, set_ms=T0, term_days=TERM_DAYS))
    found = told(history)
    assert found["DOSES"] == "DOSES: none, the air was never beyond an alarm limit in the time that is recorded"
    assert (
        "egg temperature: not known, the air's record is too short or too broken to estimate it" in found["INCUBATION"]
    )
    assert "the air's pull on the egg's water: not known" in found["INCUBATION"]
    assert found["WHAT"] == "WHAT WAS DONE: nothing recorded"


def test_what_was_done_is_listed_in_order() -> None:
    """Moves, openings, handlings and declared stages with their local times, and the openings of each day."""
    done = told(lived())["WHAT"]
    assert done.startswith(
        "WHAT WAS DONE: 8 2026-05-28 22:26 moved: to setter-a 2026-05-29 08:26 opening of setter-a: opened for about 3 min"
    )
    assert "2026-05-30 05:26 handling of setter-a until 2026-05-30 05:46, by sam <b>" in done
    assert "2026-05-30 20:26 stage declared: lockdown" in done
    assert done.endswith("openings by day of incubation: day 0: 1, day 1: 1, day 2: 1")
    assert "lowest 34.8 °C" in done
    assert "lowest 94.6 °F" in told(lived(), "F")["WHAT"]
    assert "°C" not in told(lived(), "F")["WHAT"]


def test_many_openings_are_counted_after_some() -> None:
    """The text lists so many openings and says how many more there were; every day's number stays."""
    many = tuple(Happening(T0 + n * HOUR, OPENING, "setter-a", "opened") for n in range(LISTED + 5))
    done = told(replace(lived(), happenings=many))["WHAT"]
    assert done.count("opening of setter-a") == LISTED
    assert "and 5 more openings" in done
    assert "day 0: 24, day 1: 1" in done


def test_openings_per_day_go_by_the_set_time() -> None:
    """A day of incubation begins at the hour of the set, not at midnight; before the set it is below 0."""
    early = Happening(T0 - HOUR, OPENING, "setter-a", "opened")
    assert openings_per_day((early, *HAPPENINGS), SET_AT) == [(-1, 1), (0, 1), (1, 1), (2, 1)]
    assert openings_per_day((), SET_AT) == []
    assert DAY_MS == 86_400_000
