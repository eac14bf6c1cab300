"""The figures a review asks for, against air whose answer is known beforehand, and against the batch's own history."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.history.environment import Readings, Stretch, history_of
from monitor.analysis.review.judged import SUPPORTED, Figure, Record, review
from monitor.analysis.review.record import record_of
from monitor.domain.needs.profile import Band
from monitor.domain.published.exposure import ROUNDED_K

CATALOGUE = shipped_causes()
WANTED = CATALOGUE.wanted()
T0, DAY_MS, STEP_S = 1_780_000_000_000, 86_400_000, 300
WARM, DRY, MOIST = Band(36.5, 37.5, 37.8, 38.1, 39.0), Band(40.0, 50.0, 55.0, 60.0, 70.0), Band(55.0, 65.0, 70.0, 75.0)
Curve = Callable[[Any], Any]


def at_day(day: float) -> int:
    return T0 + round(day * DAY_MS)


def air(dry_bulb_c: Curve, rh_pct: Curve, silent: tuple[float, float] = (99.0, 99.0)) -> Readings:
    """A reading every five minutes from a day before the set to a day after the term, but for one silence."""
    at_ms = np.arange(at_day(-1.0), at_day(22.0), STEP_S * 1000)
    day = (at_ms - T0) / DAY_MS
    heard = (day < silent[0]) | (day >= silent[1])
    at_ms, day = at_ms[heard], day[heard]
    ones = np.ones(at_ms.size, dtype=np.int64)
    return Readings(at_ms, dry_bulb_c(day), rh_pct(day), ones, ones)


def steady(value: float) -> Curve:
    return lambda day: np.full(day.shape, value)


def stepped(*steps: tuple[float, float]) -> Curve:
    """(from day, value): constant in between."""
    days, values = zip(*steps, strict=True)
    return lambda day: np.asarray(values)[np.maximum(np.searchsorted(days, day, side="right") - 1, 0)]


def life(*probes: Readings, since: float = 0.0) -> list[Stretch]:
    """Eighteen days in a setter and three in a hatcher; probes stand in both."""
    setter = Stretch("setter-a", "setter", at_day(since), at_day(18.0), WARM, DRY, None, probes, 2.0 * STEP_S, 101.325)
    lockdown = replace(
        setter, machine="hatcher-a", stage="lockdown", since_ms=at_day(18.0), until_ms=at_day(20.0), rh_pct=MOIST
    )
    hatch = replace(lockdown, stage="hatch", since_ms=at_day(20.0), until_ms=at_day(21.0))
    return [setter, lockdown, hatch]


def figures(*probes: Readings, since: float = 0.0, **other: Any) -> dict[tuple[str, str], Figure]:
    return dict(
        record_of("x", life(*probes, since=since), set_at_ms=T0, term_days=21.0, wanted=WANTED, **other).figures
    )


def test_each_window_has_its_own_days() -> None:
    """A temperature that differs by stretch of days is found in each window as its mean over those days."""
    one = air(stepped((-2.0, 37.0), (7.0, 38.0), (14.0, 39.0), (18.0, 40.0)), steady(55.0))
    found = figures(one)
    means = {window: found["temperature", window].value for window in ("early", "late", "hatcher", "setter", "whole")}
    days = {"early": [(37.0, 7)], "late": [(39.0, 4), (40.0, 3)], "hatcher": [(40.0, 3)]}
    days["setter"] = [(37.0, 7), (38.0, 7), (39.0, 4)]
    days["whole"] = [*days["setter"], (40.0, 3)]
    for window, parts in days.items():
        expected = sum(c * n for c, n in parts) / sum(n for _, n in parts)
        assert means[window] == pytest.approx(expected, abs=1e-3), window
    assert found["temperature", "to-middle"].value == pytest.approx((37.0 * 7 + 38.0 * 7 + 39.0 * 2) / 16, abs=1e-3)


def test_the_means_are_those_of_the_history() -> None:
    """A stage's mean, the whole's, and the time outside, are the same numbers that `eggroom history` shows."""
    rng = np.random.default_rng(3)
    one = air(lambda day: 37.8 + rng.normal(0.0, 0.3, day.shape), lambda day: 58.0 + rng.normal(0.0, 3.0, day.shape))
    two = air(lambda day: 37.7 + rng.normal(0.0, 0.2, day.shape), steady(57.0), silent=(4.0, 4.3))
    history, found = history_of(life(one, two)), figures(one, two)
    setter = history.stages[0]
    for name, period in (("setter", setter), ("whole", history.whole)):
        for variable, theirs in (("temperature", period.dry_bulb_c), ("humidity", period.rh_pct)):
            mine = found[variable, name]
            assert mine.value == pytest.approx(theirs.mean, abs=1e-9)
            assert mine.coverage == pytest.approx(theirs.coverage, abs=1e-9)
            assert mine.share_above == pytest.approx(theirs.hours_above / theirs.hours_covered, abs=1e-9)
            assert mine.share_below == pytest.approx(theirs.hours_below / theirs.hours_covered, abs=1e-9)


def test_a_band_that_changes_counts_for_as_long_as_it_stood() -> None:
    """Over the whole, the humidity band is that of the setter for 18 days of 21 and that of the hatcher for three."""
    figure = figures(air(steady(37.8), steady(58.0)))["humidity", "whole"]
    assert (figure.low, figure.high) == pytest.approx(((50.0 * 18 + 65.0 * 3) / 21, (60.0 * 18 + 75.0 * 3) / 21))
    assert figure.share_below == pytest.approx(3 / 21)


def test_a_stage_that_is_not_judged_has_no_band() -> None:
    """Humidity without a band is told as a figure without one; part of a window without one is left out."""
    one = air(steady(37.8), stepped((-2.0, 55.0), (18.0, 70.0)))
    bare = [replace(s, rh_pct=None) for s in life(one)]
    figure = record_of("x", bare, set_at_ms=T0, term_days=21.0, wanted=WANTED).figures["humidity", "whole"]
    assert figure.value == pytest.approx((55.0 * 18 + 70.0 * 3) / 21, abs=0.01)
    assert (figure.low, figure.high) == (None, None)
    part = [s if s.stage == "setter" else replace(s, rh_pct=None) for s in life(one)]
    figure = record_of("x", part, set_at_ms=T0, term_days=21.0, wanted=WANTED).figures["humidity", "whole"]
    assert figure.value == pytest.approx(55.0, abs=0.01)
    assert (figure.low, figure.high) == (50.0, 60.0)
    assert figure.coverage == pytest.approx(18 / 21)


def test_a_gap_lowers_coverage_and_its_length_is_known() -> None:
    """Three silent days in the first week: four of seven are covered, and the gap is three days long."""
    found = figures(air(steady(37.8), steady(55.0), silent=(2.0, 5.0)))
    early, late = found["temperature", "early"], found["temperature", "late"]
    assert early.coverage == pytest.approx(4 / 7, abs=0.01)
    assert early.longest_gap_h == pytest.approx(72.0, abs=0.2)
    assert late.coverage == pytest.approx(1.0)
    assert late.longest_gap_h == 0.0


def test_the_time_before_the_first_machine_is_a_gap() -> None:
    """Eggs set two days before they came to a watched machine: two days of their first week are not known."""
    found = figures(air(steady(37.8), steady(55.0)), since=2.0)
    for window, days in (("early", 7), ("setter", 18), ("whole", 21)):
        assert found["temperature", window].coverage == pytest.approx((days - 2) / days)
        assert found["temperature", window].longest_gap_h == pytest.approx(48.0)
    assert found["temperature", "late"].coverage == pytest.approx(1.0)


def test_time_before_the_set_is_no_part_of_it() -> None:
    """A machine warmed up with the eggs in it before the set time leaves no trace in the figures."""
    found = figures(air(stepped((-2.0, 30.0), (0.0, 37.8)), steady(55.0)), since=-1.0)
    assert found["temperature", "early"].value == pytest.approx(37.8, abs=0.01)
    assert found["cold-4h-32.2", "early"].value < 0.1


def test_heat_is_the_hours_at_or_above_the_published_temperature() -> None:
    """Five hours and a bit at 43.3 °C, as published, in two spells: all of it counts, in its window only."""
    spells = stepped((-2.0, 37.8), (15.0, 43.3), (15.125, 37.8), (17.0, 43.3), (17.125, 37.8))
    found = figures(air(spells, steady(55.0)))
    assert found["heat-5h-43.3", "late"].value == pytest.approx(6.0, abs=0.2)
    assert found["heat-4h-43.3", "to-middle"].value == pytest.approx(3.0, abs=0.1)
    assert found["heat-30min-40.6", "late"].value == pytest.approx(6.0, abs=0.2)
    cooler = figures(air(stepped((-2.0, 37.8), (15.0, 43.2), (15.5, 37.8)), steady(55.0)))
    assert cooler["heat-5h-43.3", "late"].value == 0.0


def test_cold_is_the_longest_stay() -> None:
    """Two stays of six and ten hours at 20 °C are ten hours, joined across the end of the first third."""
    spells = stepped((-2.0, 37.8), (3.0, 20.0), (3.25, 37.8), (6.8, 20.0), (6.8 + 10 / 24, 37.8))
    found = figures(air(spells, steady(55.0)))
    assert found["cold-12h-24", "setter"].value == pytest.approx(10.0, abs=0.2)
    assert found["cold-4h-32.2", "early"].value == pytest.approx(6.0, abs=0.2)


def test_cold_that_touches_a_published_level_but_for_rounding_is_no_stay() -> None:
    """One reading that lies a last bit below what counts as 24 °C: it lasts no time, and the review is made."""
    edge = np.nextafter(24.0 + ROUNDED_K, 0.0)
    found = figures(air(stepped((-2.0, 37.8), (3.0, edge), (3.0 + STEP_S / 86_400, 37.8)), steady(55.0)))
    assert found["cold-12h-24", "setter"].value == 0.0


def test_what_lies_beyond_an_alarm_limit_is_in_its_window() -> None:
    """Four hours at 43.5 °C on day 3: in the first third, of the worse of two probes, with the day and as exact as a dose is; no cold."""
    spell = air(stepped((-2.0, 37.8), (3.1, 43.5), (3.1 + 4 / 24, 37.8)), steady(55.0))
    found = figures(spell, air(steady(37.8), steady(55.0)))
    early = found["overheat", "early"]
    assert early.beyond is not None
    assert early.value == pytest.approx(4.0, abs=0.1)
    assert [day for day, _ in early.beyond.by_day] == [3]
    assert early.beyond.dose.dose.peak_c == 43.5
    assert early.days == pytest.approx((0.0, 7.0))
    assert found["overheat", "middle"].value == found["overheat", "late"].value == found["chill", "early"].value == 0.0
    assert found["overheat", "whole"].value == pytest.approx(early.value)
    cold = figures(air(stepped((-2.0, 37.8), (12.1, 24.0), (12.1 + 30 / 24, 37.8)), steady(55.0)))
    assert cold["chill", "middle"].value == pytest.approx(30.0, abs=0.2)
    assert cold["chill", "early"].value == 0.0


def test_a_third_that_was_not_lived_to_has_no_heat() -> None:
    """An egg dead on day 5 is asked of nothing later."""
    found = figures(air(steady(45.0), steady(55.0)), until_ms=at_day(5.0))
    assert found["overheat", "early"].value == pytest.approx(5.0 * 24.0, abs=0.1)
    assert ("overheat", "middle") not in found


def test_a_swing_goes_both_ways() -> None:
    """A third of the time too warm and a third too cool is a third; too warm all the time is none."""

    def thirds(day: Any) -> Any:
        return np.asarray([36.8, 37.8, 38.8])[(np.floor(day * 24.0) % 3).astype(int)]

    assert figures(air(thirds, steady(55.0)))["swing", "whole"].value == pytest.approx(1 / 3, abs=0.03)
    assert figures(air(steady(39.0), steady(55.0)))["swing", "whole"].value == 0.0


def test_the_spread_needs_two_probes_and_is_between_their_means() -> None:
    """Two places 1.2 K apart; with a third between them the same; with one probe nothing is known."""
    low, middle, high = (air(steady(c), steady(55.0)) for c in (37.2, 37.9, 38.4))
    assert figures(low, high)["spread", "setter"].value == pytest.approx(1.2)
    assert figures(low, middle, high)["spread", "late"].value == pytest.approx(1.2)
    assert ("spread", "setter") not in figures(low)
    mute = air(steady(30.0), steady(55.0), silent=(1.0, 17.0))
    assert ("spread", "setter") not in figures(low, mute)


def test_openings_and_loss_are_handed_in() -> None:
    """Openings are counted by day in the window; not recorded is not none. A loss stands with its target."""
    one = air(steady(37.8), steady(55.0))
    openings = [at_day(day) for day in (1.0, 18.0, 18.5, 19.0, 20.9, 21.0)]
    assert figures(one, openings_ms=openings)["openings", "hatcher"].value == pytest.approx(4 / 3)
    assert figures(one, openings_ms=[])["openings", "hatcher"].value == 0.0
    found = figures(one)
    assert ("openings", "hatcher") not in found
    assert ("loss", "whole") not in found
    assert figures(one, loss_pct=9.5, loss_band=(11.0, 14.0))["loss", "whole"] == Figure(9.5, 11.0, 14.0)


def test_an_egg_that_died_has_a_record_up_to_then() -> None:
    """What came after the death of an egg is no part of its record; windows it did not reach have no figures."""
    one = air(stepped((-2.0, 37.8), (6.0, 45.0)), steady(55.0))
    found = figures(one, until_ms=at_day(5.0))
    assert found["temperature", "early"].value == pytest.approx(37.8)
    assert found["temperature", "whole"].value == pytest.approx(37.8)
    assert not [key for key in found if key[1] in ("late", "hatcher")]


def test_nothing_is_made_of_nothing() -> None:
    """A batch in no machine, or in one without a probe, has no figures but what was handed in."""
    assert record_of("x", [], set_at_ms=T0, term_days=21.0, wanted=WANTED).figures == {}
    assert record_of(
        "x", life(), set_at_ms=T0, term_days=21.0, wanted=WANTED, loss_pct=9.0, loss_band=(11.0, 14.0)
    ).figures == {("loss", "whole"): Figure(9.0, 11.0, 14.0)}
    thermometer = figures(air(steady(37.8), steady(np.nan)))
    assert ("humidity", "setter") not in thermometer
    assert ("temperature", "setter") in thermometer


def test_a_setter_that_was_too_damp_speaks_for_a_wet_chick() -> None:
    """From readings to verdict: air of 68 %RH for eighteen days supports the published cause, at the top of the list."""
    record = record_of(
        "x", life(air(steady(37.8), stepped((-2.0, 68.0), (18.0, 70.0)))), set_at_ms=T0, term_days=21.0, wanted=WANTED
    )
    verdicts = review(CATALOGUE, "wet-chick", record, siblings=(), good=(Record("good", {}),))
    assert verdicts[0].verdict == SUPPORTED
    assert (verdicts[0].first.check, verdicts[0].first.direction, verdicts[0].first.window) == (
        "humidity",
        "high",
        "setter",
    )
