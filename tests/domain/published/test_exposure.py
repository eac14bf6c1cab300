"""How much heat or cold an excursion was, and which published exposures stand beside it."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.analysis.history.excursions import Place, outside
from monitor.analysis.line.trace import Trace
from monitor.domain.published import exposure as exposure_module
from monitor.domain.published.exposure import (
    ABOVE,
    BELOW,
    CONTRADICTS,
    EXPOSURES,
    LEVELS_C,
    REACHED,
    SHORT,
    SOURCES,
    WITHIN,
    Dose,
    Match,
    nearest,
    quoted,
)
from monitor.shown.history.exposures import match_words

FOLDER = Path(__file__).parents[2] / "reference" / "temperature"
BY_ID = {each.id: each for each in EXPOSURES}
HOUR_S = 3600.0

Line = list[tuple[float, float]]  # (hours from the one before, °C)


def dose(side: str, limit_c: float, first_c: float, line: Line) -> Dose:
    """The dose of straight pieces of air."""
    result, before_c = Dose(side, limit_c), first_c
    for hours, air_c in line:
        result = result.add(before_c, air_c, hours * HOUR_S)
        before_c = air_c
    return result


def hot(air_c: float, hours: float) -> Dose:
    """Air that jumps to a temperature, stays, and jumps back."""
    return dose(ABOVE, 38.9, 37.8, [(0.0, air_c), (hours, air_c), (0.0, 37.8)])


def cold(air_c: float, hours: float) -> Dose:
    """The same on the cold side."""
    return dose(BELOW, 36.7, 37.8, [(0.0, air_c), (hours, air_c), (0.0, 37.8)])


def ids(matches: tuple[Match, ...], standing: str) -> list[str]:
    return [m.exposure.id for m in matches if m.standing == standing]


def test_a_triangle_by_hand() -> None:
    """Up to 2 K above the limit and down again in 2 h: 2 h, 2 K·h, a peak of 2 K; what lies below it adds nothing."""
    result = dose(ABOVE, 38.0, 37.0, [(0.5, 38.0), (1.0, 40.0), (1.0, 38.0), (0.5, 37.0)])
    assert (result.hours, result.degree_h, result.peak_c) == pytest.approx((2.0, 2.0, 40.0))
    # 39.5 less the rounding of a tenth is passed a quarter of an hour and a bit before the top, and after it.
    assert result.hours_at(39.5) == pytest.approx(2.0 * (40.0 - 39.45) / 2.0)
    assert result.hours_at(40.6) == 0.0


def test_a_crossing_is_exact() -> None:
    """A piece that crosses the limit counts from where it crosses."""
    result = Dose(BELOW, 36.0).add(37.0, 33.0, HOUR_S)
    assert (result.hours, result.degree_h, result.peak_c) == pytest.approx((0.75, 0.75 * 1.5, 33.0))


def test_a_value_on_the_limit_is_inside() -> None:
    """Air at the limit itself is no dose, and leaves the same object."""
    empty = Dose(ABOVE, 37.3 + 0.5)
    assert empty.add(37.8, 37.8, HOUR_S) is empty


@given(
    st.sampled_from((ABOVE, BELOW)),
    st.lists(st.tuples(st.floats(1.0, 5000.0), st.floats(0.0, 50.0)), min_size=1, max_size=30),
)
@settings(max_examples=200, deadline=None)
def test_the_dose_is_the_area_of_the_record(side: str, line: list[tuple[float, float]]) -> None:
    """Summed as it comes, a dose is what the history of the batch computes from the whole record."""
    at_ms = np.round(np.cumsum([0.0] + [seconds * 1000.0 for seconds, _ in line]))
    air_c = np.array([37.8] + [value for _, value in line])
    result = Dose(side, 37.5)
    for i in range(1, at_ms.size):
        result = result.add(float(air_c[i - 1]), float(air_c[i]), float(at_ms[i] - at_ms[i - 1]) / 1000.0)
    trace = Trace(at_ms[:-1], at_ms[1:], air_c[:-1], air_c[1:], int(at_ms[-1]))
    whole = outside(trace, 37.5, side, place=Place("m", "setter", 0))
    assert result.hours == pytest.approx(whole.hours, abs=1e-9)
    assert result.degree_h == pytest.approx(whole.area, abs=1e-7)
    if whole.excursions:
        best = max(whole.excursions, key=lambda e: abs(e.peak - 37.5))
        assert result.peak_c == pytest.approx(best.peak, abs=1e-12)


@given(st.sampled_from((ABOVE, BELOW)), st.floats(0.0, 50.0), st.floats(0.0, 50.0), st.floats(0.0, 1e5))
@settings(max_examples=200, deadline=None)
def test_one_piece_or_two(side: str, before_c: float, after_c: float, seconds: float) -> None:
    """A straight piece is the same dose whole and in halves; hours at a level never rise with its distance."""
    whole = Dose(side, 37.8).add(before_c, after_c, seconds)
    middle_c = (before_c + after_c) / 2.0
    halves = Dose(side, 37.8).add(before_c, middle_c, seconds / 2.0).add(middle_c, after_c, seconds / 2.0)
    for name in ("hours", "degree_h"):
        assert getattr(whole, name) == pytest.approx(getattr(halves, name), rel=1e-6, abs=1e-5)
    spent = [whole.hours_at(level) for level in LEVELS_C[side]]
    ordered = spent if side == ABOVE else spent[::-1]
    assert ordered == sorted(ordered, reverse=True)
    assert all(hours <= whole.hours + 1e-9 for hours in spent)


def test_what_a_dose_refuses() -> None:
    """A side that is none, time that goes back, what is no number, a level that is not published."""
    with pytest.raises(ValueError, match=r"^dose: side 'left', expected"):
        Dose("left", 37.0)
    for after_c, seconds in ((39.0, -1.0), (39.0, math.nan), (math.nan, 10.0), (math.inf, 10.0)):
        with pytest.raises(ValueError, match=r"^dose: .* s, expected finite values"):
            Dose(ABOVE, 37.0).add(37.0, after_c, seconds)
    with pytest.raises(ValueError, match="not in"):
        hot(41.0, 1.0).hours_at(41.0)


def test_the_table_is_what_was_published() -> None:
    """Every row has the temperature, hours, age and source of the table transcribed apart, and there are no others."""
    with (FOLDER / "exposures.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert sorted(row["id"] for row in rows) == sorted(BY_ID)
    for row in rows:
        each = BY_ID[row["id"]]
        numbers = [float(row[k]) if row[k] else None for k in ("temp_c", "hours", "day_first", "day_last")]
        assert [each.temp_c, each.hours, *(each.day or (None, None))] == numbers, row["id"]
        assert (each.side, each.source) == (row["side"], row["source"]), row["id"]


def test_the_temperatures_in_a_result_are_those_of_its_source() -> None:
    """What is told of 18 or 24 °C, or of 37.6 °C, is what the transcribed results of that source name."""
    with (FOLDER / "exposures.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for each in EXPOSURES:
        if each.temps_c:
            told = " ".join(row["result"] for row in rows if row["source"] == each.source)
            named = {float(c) for c in re.findall(r"([\d.]+)(?= °C| or [\d.]+ °C)", told)}
            assert each.temps_c == tuple(sorted(named)), each.id


BORNE = re.compile(r"\bno (large|clear|significant|more)\b|\b0 % dead|only slows|not a big|: survived")


def test_what_was_borne_is_what_its_source_calls_so() -> None:
    """An exposure counts as borne where its transcribed result says that nothing much came of it, and as harmful everywhere else."""
    with (FOLDER / "exposures.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            assert BY_ID[row["id"]].harm is (BORNE.search(row["result"]) is None), row["id"]


def test_the_table_is_whole() -> None:
    """Each id is one row's, each source has a citation and is used, a contradiction names a row of the same side."""
    assert len(BY_ID) == len(EXPOSURES)
    assert {each.source for each in EXPOSURES} == set(SOURCES)
    for each in EXPOSURES:
        assert all(BY_ID[other].side == each.side and other != each.id for other in each.against), each.id


def test_both_sides_of_a_disagreement() -> None:
    """What harmed contradicts what was borne, never what harmed too; the two that matter most are there."""
    pairs = {frozenset((e.id, other)) for e in EXPOSURES for other in e.against}
    for pair in pairs:
        first, second = (BY_ID[id_] for id_ in pair)
        assert first.harm != second.harm, pair
    assert frozenset(("heat-30min-40.6", "heat-24h-40.6")) in pairs
    assert frozenset(("cold-cut", "cold-24h-21.2")) in pairs


def test_three_quarters_of_an_hour_of_40_6() -> None:
    """The extension guides' half hour is reached, the experiments' day is not passed, and both are told."""
    found = nearest(hot(40.6, 0.75), 16.0 / 21.0)
    assert ids(found, REACHED) == ["heat-30min-40.6"]
    assert ids(found, WITHIN) == ["heat-24h-40.6", "heat-7d-40.6"]
    assert ids(found, SHORT) == ["heat-3h-39.5"]
    assert ids(found, CONTRADICTS) == ["heat-40", "heat-40.5"]


def test_a_deadly_heat() -> None:
    """Four hours at 46.2 °C on day 16: the exposure in which all died leads, nothing borne is offered as comfort."""
    found = nearest(hot(46.2, 4.0), 16.0 / 21.0)
    assert ids(found, REACHED) == ["heat-3h-46.1", "heat-3h-39.5", "heat-4h-43.3", "heat-30min-40.6"]
    assert ids(found, WITHIN) == []
    assert ids(found, SHORT) == ["heat-5h-43.3"]
    assert "heat-24h-40.6" in ids(found, CONTRADICTS)


def test_of_one_age_the_farther_temperature_comes_first() -> None:
    """Ten hours at 46.2 °C on day 16: that all died of 46.1 °C is told before what 43.3 and 39.5 °C did to eggs of the same age."""
    reached = ids(nearest(hot(46.2, 10.0), 16.0 / 21.0), REACHED)
    of_that_age = [BY_ID[id_].temp_c for id_ in reached if (BY_ID[id_].day or (0.0, 0.0))[1] >= 16.0][:5]
    assert of_that_age == [46.1, 43.3, 43.3, 43.3, 39.5]


def test_what_was_borne_at_their_age_comes_before_what_was_borne_at_any() -> None:
    """A short mild chill on day 17: first what eggs of that day bore, the colder one leading, then what is said of no age."""
    assert ids(nearest(cold(33.0, 0.2), 17.0 / 21.0), WITHIN) == ["cold-24h-21.2", "cold-6h-24", "cold-4h-32.2"]


@pytest.mark.parametrize(
    ("day", "first"), [(3.0, "heat-12h-43.3"), (7.0, "heat-4h-43.3"), (13.0, "heat-7h-43.3"), (19.0, "heat-5h-43.3")]
)
def test_the_nearest_age_comes_first(day: float, first: str) -> None:
    """Of one temperature published at several ages, the one nearest to these eggs' share of the term leads."""
    reached = [each for each in ids(nearest(hot(43.4, 13.0), day / 21.0), REACHED) if "43.3" in each]
    assert reached[0] == first


def test_a_power_cut_late_in_the_term() -> None:
    """Eight hours at 22 °C on day 17: borne in an experiment, half lost in an extension text; both are told."""
    found = nearest(cold(22.0, 8.0), 17.0 / 21.0)
    assert ids(found, REACHED) == []
    assert ids(found, WITHIN) == ["cold-24h-21.2"]
    assert ids(found, SHORT) == ["cold-12h-24"]
    assert set(ids(found, CONTRADICTS)) == {"cold-18h-32.2", "cold-cut"}


@pytest.mark.parametrize(
    ("day", "hours", "of_that_age"),
    [(3.3, 4.0, "heat-12h-43.3"), (11.0, 5.0, "heat-7h-43.3"), (16.5, 6.5, "heat-6h-43.3")],
)
def test_what_is_published_of_eggs_as_old_is_told_though_it_was_not_reached(
    day: float, hours: float, of_that_age: str
) -> None:
    """Of 43.4 °C four hours on day 3: beside what harmed others sooner, that eggs of day 3 took twelve; marked as of their age."""
    found = nearest(hot(43.4, hours), day / 21.0)
    (own,) = [match for match in found if match.exposure.id == of_that_age]
    assert own.as_old
    assert len(ids(found, SHORT)) <= 2
    assert not any(match.as_old for match in found if match.exposure.day in (None, (19.0, 19.0)))


def test_what_was_borne_is_only_said_of_less() -> None:
    """A degree beyond, or an hour more, and what was borne is no longer offered."""
    assert "cold-4h-32.2" in ids(nearest(cold(32.2, 4.0), 0.5), WITHIN)
    assert "cold-4h-32.2" not in ids(nearest(cold(31.2, 4.0), 0.5), WITHIN)
    assert "cold-4h-32.2" not in ids(nearest(cold(32.2, 5.0), 0.5), WITHIN)


def test_105_fahrenheit_is_the_published_40_6() -> None:
    """Published temperatures are rounded to a tenth: 105 °F, 40.56 °C, reaches what was published as 40.6 °C."""
    assert "heat-30min-40.6" in ids(nearest(hot(40.56, 0.5), 0.5), REACHED)
    assert "heat-30min-40.6" not in ids(nearest(hot(40.5, 0.5), 0.5), REACHED)


@pytest.mark.parametrize(
    "each", [e for e in EXPOSURES if e.temp_c is not None and e.hours is not None], ids=lambda e: e.id
)
def test_every_exposure_finds_itself(each: object) -> None:
    """The very exposure that was published is found: reached if it harmed, within if it was borne."""
    exposure = BY_ID[each.id]  # type: ignore[attr-defined]
    assert exposure.temp_c is not None
    assert exposure.hours is not None
    make = hot if exposure.side == ABOVE else cold
    found = nearest(make(exposure.temp_c, exposure.hours), 0.5)
    assert exposure.id in ids(found, REACHED if exposure.harm else WITHIN)


def test_nothing_is_said_of_nothing() -> None:
    """A dose that never passed its limit has no published neighbours."""
    assert nearest(Dose(ABOVE, 38.9), 0.5) == ()
    assert nearest(Dose(ABOVE, 38.9).add(37.0, 38.9, HOUR_S), 0.5) == ()


VERDICTS = re.compile(r"\b(your|these eggs|will|should|safe|dead eggs|expect|therefore)\b", re.IGNORECASE)


@pytest.mark.parametrize("unit", ["C", "F"])
def test_every_line_is_a_publication_and_no_verdict(unit: str) -> None:
    """Each line begins with "Published", names its source, and says nothing about the eggs in the machine."""
    doses = [hot(c, h) for c in (39.2, 40.6, 43.3, 49.0) for h in (0.2, 2.0, 30.0, 200.0)]
    doses += [cold(c, h) for c in (33.0, 24.0, 21.0, 5.0) for h in (0.2, 2.0, 30.0, 100.0)]
    lines = {match_words(m, unit): m for d in doses for m in nearest(d, 0.5)}
    assert {m.exposure.id for m in lines.values()} >= {e.id for e in EXPOSURES} - {"cold-11.3", "cold-21", "cold-few-h"}
    for line, match in lines.items():
        assert line.startswith("Published")
        assert f"({match.exposure.source}, " in line
        assert not VERDICTS.search(line), line
        assert len(line) < 200, line


def test_words() -> None:
    """Source, whose eggs, age, temperature, time, result; and how much of it this excursion was."""
    found = {m.exposure.id: m for m in nearest(hot(43.4, 7.25), 16.0 / 21.0)}
    assert match_words(found["heat-7h-43.3"]) == (
        "Published (ANDE-81, hen eggs, day 11 to 16 of 21): 43.3 °C for 7 h: about half the usual hatch."
        " This excursion: 7.25 h at or above that."
    )
    assert match_words(found["heat-7h-43.3"], whose="All of it here").endswith(
        ". All of it here: 7.25 h at or above that."
    )
    assert match_words(found["heat-6h-43.3"], "F").startswith(
        "Published (THOMPSON-76, hen eggs, day 16 of 21): 109.9 °F for 6 h: hatch falls."
    )
    assert match_words(found["heat-24h-40.6"]) == (
        "Published, and says otherwise (THOMPSON-76, hen eggs, day 16 of 21): 40.6 °C for 24 h: no large effect."
    )
    mild = {m.exposure.id: m for m in nearest(cold(33.0, 0.2), 0.1)}
    assert match_words(mild["cold-4h-32.2"]) == (
        "Published (MSU-HMG, poultry eggs): 32.2 °C for 4 h: growth only slows, few deaths."
        " This excursion was milder and no longer."
    )
    assert match_words(mild["cold-cut"]) == (
        "Published, and says otherwise (PSU-PO, poultry eggs):"
        " a power cut of ordinary length: some days late, 40 to 50 % hatch."
    )


@pytest.mark.parametrize(
    ("words", "temps_c", "in_c", "in_f"),
    [
        ("half lost after 5 h at {} {unit}", (43.3,), "half lost after 5 h at 43.3 °C", "half lost after 5 h at 109.9 °F"),
        ("every 48 h at {} or {} {unit}: none", (18.0, 24.0), "every 48 h at 18 or 24 °C: none", "every 48 h at 64.4 or 75.2 °F: none"),
        ("{} {unit}, 3.5 %", (-5.0,), "-5 °C, 3.5 %", "23.0 °F, 3.5 %"),
        ("30-35 %, 36 h, 3 CO2, {odd}", (), *["30-35 %, 36 h, 3 CO2, {odd}"] * 2),
    ],
)  # fmt: skip
def test_words_that_were_published_in_celsius(words: str, temps_c: tuple[float, ...], in_c: str, in_f: str) -> None:
    """Each temperature in them is shown in the unit asked for, as exact as it was given; what has none stays as it is."""
    assert (quoted(words, temps_c, "C"), quoted(words, temps_c, "F")) == (in_c, in_f)


def test_every_temperature_in_published_words_is_a_value() -> None:
    """No result is written with a unit in it, so that none is told in °C to who reads °F; and each place has its temperature."""
    for each in EXPOSURES:
        assert "°" not in each.result
        assert each.result.count("{}") == len(each.temps_c)


@pytest.mark.parametrize(
    ("first", "last", "share", "height"),
    [
        (0.0, 0.0, 0.0, 0.0),
        (-1.0, 0.0, 0.0, 0.0),
        (0.0, -1.0, 0.0, 0.0),
        (0.0, 2.0, 1.0, 1.0),
        (2.0, 0.0, 1.0, 1.0),
        (-1.0, 3.0, 0.75, 1.5),
        (3.0, -1.0, 0.75, 1.5),
        (1.0, 2.0, 1.0, 1.5),
        (-2.0, -1.0, 0.0, 0.0),
    ],
)
def test_a_straight_piece_beyond_a_limit(first: float, last: float, share: float, height: float) -> None:
    """What only touches the limit is not beyond it; of what crosses it the part beyond is a triangle."""
    assert exposure_module._beyond(first, last) == pytest.approx((share, height))
