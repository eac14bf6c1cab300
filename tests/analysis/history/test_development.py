"""How far the embryos should be: against the published effects of temperature on the hour of the hatch, and by hand."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.history.development import (
    LEVEL_K,
    LIMIT_K,
    LINEAR_BELOW_K,
    PER_K_ABOVE,
    PER_K_BELOW,
    PER_K_HIGH,
    PER_K_LOW,
    STUDY_K,
    ZERO_C,
    Development,
    Expected,
    Lag,
    development_of,
)
from monitor.domain.eggs.temperature import EggModel, model_of
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import FORCED, STILL
from monitor.shown.form import Shown
from monitor.shown.history.development import development_lines, development_record, development_words, lag_words
from tests.analysis.air import HOUR, T0, Readings, readings, sampled, stretch

REFERENCE = Path(__file__).parents[2] / "reference" / "temperature" / "development.csv"
PROFILES = load_profiles()
HEN = PROFILES["chicken"]
# In still air too the readings of these tests are those of the air about the egg, as the published temperatures are.
LEVEL_HEN = replace(HEN, still_air_offset_k=None)
NORMAL_C = 37.8
DAY_H = 24.0

with REFERENCE.open(encoding="utf-8", newline="") as _file:
    FIGURES = {row["id"]: row for row in csv.DictReader(_file)}


def developed(air: Readings | None, hours: float, profile: Profile = LEVEL_HEN, kind: str = FORCED) -> Development:
    """Eggs in one machine from the set to `hours`, a reading a minute or so."""
    probes = () if air is None else (air,)
    band = profile.stages[0].dry_bulb_c
    lived = stretch(*probes, hours=hours, dry_bulb_c=band, max_gap_s=120.0)
    return development_of(
        [lived], profile, {"setter-a": model_of(profile, kind)}, set_ms=T0, now_ms=T0 + round(hours * HOUR)
    )


def at(temp_c: float, from_h: float, until_h: float, otherwise_c: float = NORMAL_C) -> Callable[[Any], Any]:
    """Air that stands at a temperature between two hours, and else at another."""
    return lambda at_s: np.where((at_s >= from_h * 3600.0) & (at_s < until_h * 3600.0), temp_c, otherwise_c)


def exposed(temp_c: float, from_h: float, until_h: float, hours: float, kind: str = FORCED) -> Development:
    return developed(sampled(at(temp_c, from_h, until_h), hours, 60.0), hours, kind=kind)


def figure(id_: str) -> tuple[float, float, float]:
    """(temperature, from, until in hours) of a published exposure."""
    row = FIGURES[id_]
    return float(row["temp_c"]), float(row["day_from"]) * DAY_H, float(row["day_until"] or 501.0 / DAY_H) * DAY_H


def published(id_: str, kind: str = FORCED) -> tuple[Development, float, float]:
    """What the program makes of an exposure, and the hours later that were published, low and high."""
    temp_c, from_h, until_h = figure(id_)
    row = FIGURES[id_]
    found = exposed(temp_c, from_h, until_h, max(until_h, 18.0 * DAY_H), kind)
    return found, float(row["low_h"]), float(row["high_h"] or math.inf)


# --- the published figures


@pytest.mark.parametrize("kind", [FORCED, STILL])
@pytest.mark.parametrize("id_", ["warm-week-2", "cool-week-3"])
def test_a_week_off_the_best_shell(id_: str, kind: str) -> None:
    """1.1 K for a week moves the hatch by the hours published, within the rounding of a difference of two whole hours."""
    found, low_h, high_h = published(id_, kind)
    assert found.lag.hours == pytest.approx(low_h, abs=1.0)
    assert low_h == high_h
    assert found.lag.low < low_h < found.lag.high


def test_the_span_between_groups() -> None:
    """From the earliest group to the latest 12 h are published, of four rounded hours: met within 2 h."""
    span_h = published("cool-week-3")[0].lag.hours - published("warm-week-2")[0].lag.hours
    assert span_h == pytest.approx(float(FIGURES["groups"]["low_h"]), abs=2.0)


@pytest.mark.parametrize("kind", [FORCED, STILL])
@pytest.mark.parametrize("id_", [id_ for id_ in FIGURES if id_.startswith("cold-")])
def test_a_cold_spell_delays_about_as_long_as_it_lasts(id_: str, kind: str) -> None:
    """Hours at 18 or 24 °C make the hatch late by about that time: a fifth is about, and an hour for cooling and warming."""
    found, hours, _ = published(id_, kind)
    assert found.lag.hours == pytest.approx(hours, abs=0.2 * hours + 1.0)
    assert found.lag.low <= hours <= found.lag.high


@pytest.mark.parametrize("kind", [FORCED, STILL])
@pytest.mark.parametrize("id_", ["cool-3h", "cool-4h"])
def test_90_fahrenheit_only_slows(id_: str, kind: str) -> None:
    """Hours at 32.2 °C make the hatch later, and by less than the time."""
    found, none_h, all_h = published(id_, kind)
    assert none_h + 0.1 < found.lag.hours < all_h - 0.1


def test_a_week_too_hot_claims_no_lead() -> None:
    """After a week at 40.6 °C embryos weighed less than normal ones: the program has none ahead, and doubts either way.

    A twentieth of an hour is allowed, in which the egg passes through the range where warmer is faster.
    """
    found, low_h, _ = published("hot-week")
    assert found.lag.hours == pytest.approx(low_h, abs=0.05)
    assert found.lag.low < -6.0
    assert found.lag.high > 6.0
    assert found.hours_beyond == pytest.approx(168.0, abs=1.0)


def test_where_growth_stops() -> None:
    """At 21 °C none is left, at 27 °C a little; that it stops at 27 °C already lies within the doubt."""
    stopped, _, day_h = published("zero-21")
    assert stopped.lag.hours == pytest.approx(day_h, abs=0.5)
    slow, none_h, all_h = published("zero-27")
    assert none_h + 12.0 < slow.lag.hours < all_h - 2.0
    suspended, _, day_h = published("suspended-27")
    assert suspended.lag.low < day_h <= suspended.lag.high


def test_the_constants_are_those_of_the_table() -> None:
    """The sensitivities follow from the published hours, and their spread holds both with the rounding of their hours."""
    warm_c, from_h, until_h = figure("warm-week-2")
    cool_c, since_h, hatch_h = figure("cool-week-3")
    lead_h, lag_h = -float(FIGURES["warm-week-2"]["low_h"]), float(FIGURES["cool-week-3"]["low_h"])
    assert [warm_c - NORMAL_C, NORMAL_C - cool_c] == pytest.approx([STUDY_K, STUDY_K])
    assert pytest.approx(lead_h / (STUDY_K * (until_h - from_h))) == PER_K_ABOVE
    assert pytest.approx(lag_h / (STUDY_K * (hatch_h - since_h))) == PER_K_BELOW
    assert (lead_h - 1.0) / (STUDY_K * (until_h - from_h)) > PER_K_LOW
    assert (lag_h + 1.0) / (STUDY_K * (hatch_h - since_h)) < PER_K_HIGH


# --- normal, and the profile's own window


@pytest.mark.parametrize("id_", sorted(PROFILES))
def test_a_machine_on_its_target_is_on_time(id_: str) -> None:
    """Whatever the bird, air at its target in each stage leaves the profile's days as they are, within two minutes.

    Two minutes, for eggs that come to a hatcher a little cooler bring their warmth with them.
    """
    bird = PROFILES[id_]
    stages, set_ms = bird.stages, T0
    turns = [stage.from_day * DAY_H for stage in stages] + [bird.days * DAY_H]
    lived = [
        stretch(
            readings(np.arange(since * 3600.0, until * 3600.0 + 61.0, 60.0), stage.dry_bulb_c.target),
            hours=until - since,
            since_s=since * 3600.0,
            machine=f"machine-{stage.name}",
            dry_bulb_c=stage.dry_bulb_c,
            max_gap_s=120.0,
        )
        for stage, since, until in zip(stages, turns, turns[1:], strict=False)
    ]
    models = {each.machine: model_of(bird, FORCED) for each in lived}
    found = development_of(lived, bird, models, set_ms=set_ms, now_ms=lived[-1].until_ms)
    assert found.lag.hours == pytest.approx(0.0, abs=1.0 / 30.0)
    assert found.coverage == pytest.approx(1.0)
    assert found.day == pytest.approx(bird.days, abs=0.01)
    assert found.hatch.usual.at_ms == pytest.approx(set_ms + bird.days * 24 * HOUR, abs=HOUR / 30)
    assert development_words(found).startswith("about on time (")


def test_still_air_is_normal_where_its_band_is() -> None:
    """In a still-air machine normal is the band shifted by the profile's offset, as the stretch has it."""
    band = HEN.stages[0].dry_bulb_c.shifted(HEN.still_air_offset_k or math.nan)
    air = sampled(at(38.9, 0.0, 500.0), 240.0, 60.0)
    lived = stretch(air, hours=240.0, dry_bulb_c=band, max_gap_s=120.0)
    found = development_of([lived], HEN, {"setter-a": model_of(HEN, STILL)}, set_ms=T0, now_ms=lived.until_ms)
    assert found.lag.hours == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("stays", ["a machine without probes", "no stretches", "no machine", "only bad readings"])
def test_without_air_the_window_is_the_profiles_own(stays: str) -> None:
    """Nothing recorded: the profile's own days, and the doubt of every hour, from nothing grown to all as warm as in the study."""
    hours = 240.0
    bad = replace(sampled(at(30.0, 0.0, 500.0), hours, 60.0), flag=np.full(int(hours * 60) + 1, 4))
    lived = {
        "a machine without probes": [stretch(hours=hours)],
        "no stretches": [],
        "no machine": [stretch(hours=hours, machine="", dry_bulb_c=None)],
        "only bad readings": [stretch(bad, hours=hours, max_gap_s=120.0)],
    }[stays]
    models = {"setter-a": model_of(HEN, FORCED)}
    found = development_of(lived, HEN, models, set_ms=T0, now_ms=T0 + round(hours * HOUR))
    assert found.lag.hours == pytest.approx(0.0, abs=0.2)  # the band of `stretch` is 0.3 K off the hen's
    assert found.lag.high == pytest.approx(hours)
    assert found.lag.low == pytest.approx(-hours * PER_K_ABOVE * STUDY_K, rel=0.01)
    assert (found.hours, found.hours_recorded, found.coverage, found.spell) == (hours, 0.0, 0.0, None)
    window = found.hatch
    days = [(each.at_ms - T0) / (24 * HOUR) for each in (window.earliest, window.usual, window.latest)]
    assert days == pytest.approx([HEN.hatch_day_first, HEN.days, HEN.hatch_day_last], abs=0.01)
    assert development_words(found) == "not known: nothing is on record, so the profile's own days stand"


# --- by hand, and by a slow second opinion


def test_the_window_moves_with_the_lag() -> None:
    """Each of the three days is shifted by the lag, and its doubt reaches from there to the bounds of the lag."""
    found = exposed(36.8, 0.0, 500.0, 240.0)
    assert found.lag.hours == pytest.approx(240.0 * PER_K_BELOW, rel=1e-6)
    for day, expected in zip(
        (HEN.hatch_day_first, HEN.days, HEN.hatch_day_last),
        (found.hatch.earliest, found.hatch.usual, found.hatch.latest),
        strict=True,
    ):
        due_h = [(ms - T0) / HOUR - day * DAY_H for ms in (expected.at_ms, expected.low_ms, expected.high_ms)]
        assert due_h == pytest.approx([found.lag.hours, found.lag.low, found.lag.high], abs=1e-5)
    assert found.day == pytest.approx((240.0 - found.lag.hours) / 24.0)


def test_the_doubt_by_hand() -> None:
    """1 K below throughout: the spread of the sensitivity and the level, as the root of their squares, to either side."""
    found = exposed(36.8, 0.0, 500.0, 240.0)
    level_h = 240.0 * LEVEL_K * PER_K_BELOW
    assert found.lag.high - found.lag.hours == pytest.approx(math.hypot(240.0 * (PER_K_HIGH - PER_K_BELOW), level_h))
    assert found.lag.hours - found.lag.low == pytest.approx(math.hypot(240.0 * (PER_K_BELOW - PER_K_LOW), level_h))


@pytest.mark.parametrize("temp_c", [5.0, 10.0])
def test_how_fast_the_egg_follows_is_in_doubt(temp_c: float) -> None:
    """After an hour in the cold the lag of the same egg in the other kind of air lies within the bounds, whichever is taken.

    Below the linear range it matters how cold the egg became.
    """
    as_forced, as_still = (exposed(temp_c, 5.0, 6.0, 12.0, kind).lag for kind in (FORCED, STILL))
    assert abs(as_forced.hours - as_still.hours) > 0.3
    assert as_forced.low <= as_still.hours <= as_forced.high
    assert as_still.low <= as_forced.hours <= as_still.high


def slowly(model: EggModel, air_c: list[float], target_c: float, minutes: int) -> float:
    """The lag of readings a minute apart, step by step in plain Python."""
    egg_c, normal_c, lag_h = model.start(air_c[0], 0.0), model.start(target_c, 0.0), 0.0
    for minute in range(minutes):
        before = _rate(egg_c, normal_c)
        day = (minute + 1) / 1440.0
        egg_c = model.advance(egg_c, air_c[minute], air_c[minute + 1], seconds=60.0, day=day)
        normal_c = model.advance(normal_c, target_c, target_c, seconds=60.0, day=day)
        lag_h += (1.0 - (before + _rate(egg_c, normal_c)) / 2.0) / 60.0
    return lag_h


def _rate(egg_c: float, normal_c: float) -> float:
    off_k = egg_c - normal_c
    if off_k > LIMIT_K:
        return 1.0
    if off_k >= 0.0:
        return 1.0 + PER_K_ABOVE * off_k
    if off_k >= -LINEAR_BELOW_K:
        return 1.0 + PER_K_BELOW * off_k
    edge = 1.0 - PER_K_BELOW * LINEAR_BELOW_K
    return max(0.0, edge * (egg_c - ZERO_C) / (normal_c - LINEAR_BELOW_K - ZERO_C))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([FORCED, STILL]))
def test_a_slow_second_opinion(seed: int, kind: str) -> None:
    """Air that wanders between a cold room and a hot machine gives the lag that plain steps give.

    Within 1 % and a tenth of an hour: the means of a step differ where it crosses a bend of the rate.
    """
    random = np.random.default_rng(seed)
    hours = 48
    knots = random.uniform(15.0, 41.0, hours // 4 + 1)
    air_c = np.interp(np.arange(hours * 60 + 1), np.arange(knots.size) * 240.0, knots)
    found = developed(readings(np.arange(air_c.size) * 60.0, air_c), hours, kind=kind)
    slow_h = slowly(model_of(LEVEL_HEN, kind), list(air_c), NORMAL_C, hours * 60)
    assert found.lag.hours == pytest.approx(slow_h, rel=0.01, abs=0.1)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(-2.7, 1.2), min_size=2, max_size=12),
    st.floats(0.0, 2.0),
    st.sampled_from([FORCED, STILL]),
)
def test_warmer_is_never_later_in_the_linear_range(off_k: list[float], warmer_k: float, kind: str) -> None:
    """Air that is nowhere cooler, and nowhere out of the linear range, never makes the hatch later."""
    hours = 4.0 * len(off_k)

    def lag_h(offs: list[float]) -> float:
        knots = np.arange(len(offs)) * 4.0 * 3600.0
        return developed(
            sampled(lambda at_s: NORMAL_C + np.interp(at_s, knots, offs), hours, 60.0), hours, kind=kind
        ).lag.hours

    assert lag_h([min(off + warmer_k, 1.2) for off in off_k]) <= lag_h(off_k) + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.floats(15.0, 38.9), st.floats(0.0, 10.0), st.floats(0.5, 30.0))
def test_warmer_is_never_later_below_the_limit(temp_c: float, warmer_k: float, hours: float) -> None:
    """The same of any spell from a cold room up to the limit; and the value always lies within its bounds."""
    cooler = exposed(temp_c, 24.0, 24.0 + hours, 72.0)
    warmer = exposed(min(temp_c + warmer_k, 38.9), 24.0, 24.0 + hours, 72.0)
    assert warmer.lag.hours <= cooler.lag.hours + 1e-9
    for lag in (cooler.lag, warmer.lag):
        assert lag.low <= lag.hours <= lag.high
    assert 0.0 <= warmer.hours_stopped <= cooler.hours_stopped <= cooler.hours_recorded


# --- gaps, and times in no machine


def test_a_gap_is_not_bridged() -> None:
    """Ten silent hours between readings of 37.8 and of 20 °C count as normal, and as ten hours' doubt; nothing is drawn over them."""
    before, after = np.arange(0.0, 24 * 3600.0, 60.0), np.arange(34 * 3600.0, 36 * 3600.0 + 1.0, 60.0)
    air = readings(
        np.concatenate((before, after)), np.concatenate((np.full(before.size, 37.8), np.full(after.size, 20.0)))
    )
    found = developed(air, 36.0)
    assert found.hours_recorded == pytest.approx(26.0, abs=0.05)
    assert found.lag.hours == pytest.approx(
        2.0, abs=0.5
    )  # the two recorded cold hours, with the egg cooling in the first
    assert 9.0 < found.lag.high - found.lag.hours < 12.0
    assert development_words(found).endswith("; 10 h of 36 h without a record, counted as normal")


def test_what_a_gap_hides_is_added_whole() -> None:
    """The doubt of a gap is a bound of its own: it is added to that of the record, not averaged into it."""
    at_s = np.arange(0.0, 300 * 3600.0 + 1.0, 60.0)
    cool = developed(readings(at_s, 36.8), 300.0).lag
    holed = developed(readings(at_s[(at_s < 50 * 3600.0) | (at_s > 70 * 3600.0)], 36.8), 300.0).lag
    lost_h = 20.0 * PER_K_BELOW  # what the twenty hours would have been behind, had they been recorded
    assert holed.hours == pytest.approx(cool.hours - lost_h, abs=0.1)
    recorded_h = (cool.high - cool.hours) * 280.0 / 300.0
    assert holed.high - holed.hours == pytest.approx(recorded_h + 20.0, abs=1.0)


def test_a_short_gap_hides_little() -> None:
    """Five silent minutes in a day cannot hide more than a few: an egg does not cool at once."""
    at_s = np.arange(0.0, 24 * 3600.0 + 1.0, 60.0)
    whole = developed(readings(at_s, 37.8), 24.0)
    holed = developed(readings(at_s[(at_s < 36000.0) | (at_s >= 36300.0)], 37.8), 24.0)
    assert holed.hours_recorded == pytest.approx(24.0 - 6.0 / 60.0, abs=1e-6)
    assert 0.0 < holed.lag.high - whole.lag.high < 6.0 / 60.0


@settings(max_examples=25, deadline=None)
@given(st.floats(1.0, 30.0), st.floats(0.0, 20.0))
def test_a_longer_gap_is_more_doubt(hours: float, more: float) -> None:
    """The longer nothing is recorded, the wider the bounds."""

    def gap(length: float) -> Lag:
        at_s = np.arange(0.0, 72 * 3600.0 + 1.0, 60.0)
        kept = (at_s < 10 * 3600.0) | (at_s > (10 + length) * 3600.0)
        return developed(readings(at_s[kept], 37.8), 72.0).lag

    short, long = gap(hours), gap(hours + more)
    assert long.high >= short.high - 1e-6
    # The level is no doubt of hours that are not recorded: what it gives back is allowed for.
    assert long.low <= short.low + LEVEL_K * PER_K_ABOVE * more + 1e-6


def test_hours_before_the_move_count() -> None:
    """Eggs set twelve hours before they came to a machine: a hole is the same as a stretch in no machine."""
    air = readings(np.arange(12 * 3600.0, 48 * 3600.0 + 1.0, 60.0), 37.8)
    band = HEN.stages[0].dry_bulb_c
    inside = stretch(air, hours=36.0, since_s=12 * 3600.0, dry_bulb_c=band, max_gap_s=120.0)
    bench = stretch(hours=12.0, machine="", dry_bulb_c=band)
    models = {"setter-a": model_of(HEN, FORCED)}
    found = development_of([inside], HEN, models, set_ms=T0, now_ms=inside.until_ms)
    assert found == development_of([bench, inside], HEN, models, set_ms=T0, now_ms=inside.until_ms)
    assert (found.hours, found.hours_recorded) == pytest.approx((48.0, 36.0))


@settings(max_examples=25, deadline=None)
@given(st.floats(1.0, 71.0))
def test_cutting_a_stay_in_two_changes_nothing(cut_h: float) -> None:
    """Eggs keep their temperature from one stretch to the next: cut anywhere, even in a cold spell, the lag is the same.

    Within a minute, for the minutes in which the egg is taken as straight lie differently.
    """
    air = sampled(at(20.0, 30.0, 40.0), 72.0, 60.0)
    band, cut_ms = HEN.stages[0].dry_bulb_c, T0 + round(cut_h * HOUR)
    whole = stretch(air, hours=72.0, dry_bulb_c=band, max_gap_s=120.0)
    parts = [replace(whole, until_ms=cut_ms), replace(whole, since_ms=cut_ms, machine="setter-b")]
    models = {name: model_of(HEN, FORCED) for name in ("setter-a", "setter-b")}
    one = development_of([whole], HEN, models, set_ms=T0, now_ms=whole.until_ms).lag
    two = development_of(parts, HEN, models, set_ms=T0, now_ms=whole.until_ms).lag
    assert (two.hours, two.low, two.high) == pytest.approx((one.hours, one.low, one.high), abs=1.0 / 60.0)


def test_only_the_time_from_the_set_to_now_counts() -> None:
    """What a stretch shows before the set and after now is left out."""
    air = sampled(at(20.0, 0.0, 10.0), 60.0, 60.0)
    lived = stretch(air, hours=60.0, dry_bulb_c=HEN.stages[0].dry_bulb_c, max_gap_s=120.0)
    found = development_of(
        [lived], HEN, {"setter-a": model_of(HEN, FORCED)}, set_ms=T0 + 20 * HOUR, now_ms=T0 + 50 * HOUR
    )
    assert found.hours == found.hours_recorded == pytest.approx(30.0)
    assert found.lag.hours == pytest.approx(0.0, abs=1e-9)


def test_at_the_set_nothing_is_known() -> None:
    """With no time gone, there is no lag and no doubt but the profile's own."""
    found = development_of([], HEN, {}, set_ms=T0, now_ms=T0)
    assert (found.hours, found.coverage, found.lag) == (0.0, 0.0, Lag(0.0, 0.0, 0.0))
    assert found.hatch.usual.high_ms == T0 + 21 * 24 * HOUR


# --- what people read, and what is refused


def test_the_words_say_where_it_came_from() -> None:
    """A cool spell is told by its hours, its air and how far the eggs were off; in the site's unit."""
    found = exposed(36.7, 48.0, 208.0, 240.0)
    words = development_words(found)
    assert words == "about 8 h behind (3 to 11): the record shows 160 h at about 36.7 °C, eggs 1.1 °C below normal"
    assert "at about 98.1 °F, eggs 2.0 °F below normal" in development_words(found, "F")


def test_the_words_of_a_cut() -> None:
    """Hours at which nothing grows are told apart from those that only slowed."""
    assert development_words(exposed(18.0, 240.0, 264.0, 288.0)) == (
        "about 24 h behind (23 to 27): the record shows 1 h at about 33.1 °C, eggs 4.7 °C below normal "
        "and 24 h with the eggs at or below 24.0 °C, where nothing grows"
    )


def test_the_words_of_warmth() -> None:
    """A lead is told as one; heat beyond the limit is told, and no lead with it."""
    warm = development_words(exposed(38.9, 168.0, 336.0, 400.0))
    assert warm.startswith("about 5 h ahead (2 to 11): the record shows 168 h at about 38.9 °C, eggs 1.1 °C above")
    hot = development_words(exposed(40.0, 168.0, 188.0, 240.0))
    assert hot.startswith("about on time (")
    assert hot.endswith(": the record shows 20 h too warm for any speed-up to be claimed")


def test_the_words_of_a_slight_lag() -> None:
    """Air off by less than the swing allowed, but for long, is told as such."""
    found = exposed(37.6, 0.0, 500.0, 400.0)
    assert "400 h at about 37.6 °C, eggs 0.2 °C below normal" in development_words(found)


@pytest.mark.parametrize(
    ("lag", "words"),
    [
        (Lag(7.0, 3.0, 12.0), "about 7 h behind (3 to 12)"),
        (Lag(-7.0, -12.0, -3.0), "about 7 h ahead (3 to 12)"),
        (Lag(2.0, -1.0, 4.0), "about 2 h behind (1 h ahead to 4 h behind)"),
        (Lag(1.0, -0.3, 4.0), "about 1 h behind (on time to 4 h behind)"),
        (Lag(0.4, -3.0, 4.0), "about on time (3 h ahead to 4 h behind)"),
    ],
)
def test_lags_in_words(lag: Lag, words: str) -> None:
    """The side is said once where all of the doubt lies on it."""
    assert lag_words(lag) == words


def test_what_is_refused() -> None:
    """A now before the set, stretches that overlap and air without a model are said in one line."""
    lived = stretch(sampled(at(30.0, 0.0, 1.0), 2.0), hours=2.0)
    models = {"setter-a": model_of(HEN, FORCED)}
    with pytest.raises(ValueError, match=rf"^development: now_ms {T0 - 1}, expected {T0} or later, the set$"):
        development_of([lived], HEN, models, set_ms=T0, now_ms=T0 - 1)
    with pytest.raises(ValueError, match=r"^stretch in setter-a, stage setter: since_ms \d+, expected \d+ or later$"):
        development_of([lived, lived], HEN, models, set_ms=T0, now_ms=T0 + HOUR)
    with pytest.raises(ValueError, match=r"^stretch in setter-a, stage setter: no model of its egg, expected one$"):
        development_of([lived], HEN, {}, set_ms=T0, now_ms=T0 + HOUR)


@pytest.mark.parametrize(("recorded_h", "by_calendar"), [(0.0, True), (119.0, True), (121.0, False), (240.0, False)])
def test_with_less_than_half_on_record_the_hatch_is_the_calendars(recorded_h: float, by_calendar: bool) -> None:
    """What 200 hours without a record may hide is no lag: the profile's own days are told, without a doubt that says nothing."""
    air = sampled(at(36.7, 0.0, 500.0), recorded_h, 60.0)
    here = [stretch(air, hours=recorded_h, dry_bulb_c=HEN.stages[0].dry_bulb_c, max_gap_s=120.0)] if recorded_h else []
    found = development_of(here, HEN, {"setter-a": model_of(HEN, FORCED)}, set_ms=T0, now_ms=T0 + round(240 * HOUR))
    assert found.by_calendar is by_calendar
    lines = list(development_lines(found, Shown(UTC, "C")))
    record = development_record(found)
    usual = found.hatch.usual
    if by_calendar:
        assert usual == Expected(*[T0 + round(HEN.days * 24 * HOUR)] * 3)
        assert lines[0].startswith("Hatch by the calendar: ")
        assert "behind" not in " ".join(lines)
        assert record["lag_h"] is record["lag_low_h"] is record["lag_high_h"] is None
    else:
        assert usual.low_ms < usual.at_ms < usual.high_ms
        assert "Hatch by the record (estimate)" in lines[0]
        assert record["lag_h"] is not None


def test_days_in_store_shift_the_window() -> None:
    """The first of those that were there the shortest, the last of the longest, the usual between them."""
    now_ms = T0 + round(240 * HOUR)
    plain = development_of([], HEN, {}, set_ms=T0, now_ms=now_ms).hatch
    found = development_of([], HEN, {}, set_ms=T0, now_ms=now_ms, store_h=(2.0, 10.0)).hatch
    shifted = [
        (getattr(found, name).at_ms - getattr(plain, name).at_ms) / HOUR for name in ("earliest", "usual", "latest")
    ]
    assert shifted == pytest.approx([2.0, 6.0, 10.0], abs=1e-5)
