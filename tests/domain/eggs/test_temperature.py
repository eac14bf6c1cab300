"""What an egg feels: the model against closed forms and published figures, and what it says of two excursions."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.temperature import (
    COLD_C,
    EMBRYO_DAYS,
    EMBRYO_MW,
    FALLBACK_MASS_G,
    HOT_ABOVE_NORMAL_K,
    HOT_C,
    EggModel,
    model_of,
    run,
)
from monitor.domain.needs.site import FORCED, GENTLE, STILL
from monitor.rehearse import cabinet

REFERENCE = Path(__file__).parents[2] / "reference" / "temperature" / "egg_figures.csv"
MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86_400.0
HEN_STILL, HEN_FORCED = EggModel(60.0, 21.0, STILL), EggModel(60.0, 21.0, FORCED)
NEUTRAL_DAY = 7.0  # the embryo's heat is what evaporation takes: the egg settles at the air's own temperature
# The published figures for still air lead to conductances from 61 to 93 mW/K, the model has 73 (README of the tables):
# times and offsets in still air can be met within this factor and no better.
STILL_FACTOR = 1.3

with REFERENCE.open(encoding="utf-8", newline="") as _file:
    FIGURES = {row["id"]: (float(row["low"]), float(row["high"])) for row in csv.DictReader(_file)}


def after(model: EggModel, egg_c: float, air_c: float, minutes: float) -> float:
    """The egg after that time in steady air, about the neutral day."""
    return model.advance(egg_c, air_c, air_c, seconds=minutes * MINUTE_S, day=NEUTRAL_DAY)


def with_tau(minutes: float) -> EggModel:
    """A still-air egg of the mass that has that time constant: it goes with mass to the power 1 - 0.662."""
    return EggModel(60.0 * (minutes * MINUTE_S / HEN_STILL.tau_s) ** (1.0 / 0.338), 21.0, STILL)


def peak(model: EggModel, minutes: list[float], air_c: list[float]) -> float:
    """The hottest that the egg gets along straight pieces of air."""
    at = np.arange(minutes[0], minutes[-1], 0.5)
    return float(run(model, at * MINUTE_S, np.interp(at, minutes, air_c), day0=NEUTRAL_DAY).max())


@pytest.mark.parametrize(("model", "name"), [(HEN_STILL, "still"), (HEN_FORCED, "forced")])
def test_conductance_and_time_constant_of_a_hen_egg(model: EggModel, name: str) -> None:
    """K meets the published figure to its digit, tau within the 4 % between the two heat capacities in use."""
    assert model.k_mw_k == pytest.approx(FIGURES[f"{name}-k-60g"][0], abs=0.5)
    low, high = FIGURES["heat-capacity"]
    assert model.tau_s / MINUTE_S == pytest.approx(FIGURES[f"{name}-tau-60g"][0], rel=high / low - 1.0)
    assert 1000.0 * 60.0 * low / model.k_mw_k == pytest.approx(model.tau_s)


def test_warming_in_an_incubator() -> None:
    """A cold egg has 90 % of its warmth back after nearly 2 h, within the factor that still air is known to."""
    published_min = FIGURES["warm-90-pct"][0] * 60.0
    assert published_min / math.log(10.0) == pytest.approx(FIGURES["warm-tau"][0], abs=0.5)
    share = [(after(HEN_STILL, 25.0, 38.0, minutes) - 25.0) / 13.0 for minutes in range(240)]
    taken_min = next(minute for minute, each in enumerate(share) if each >= 0.9)
    assert published_min / STILL_FACTOR < taken_min < published_min * STILL_FACTOR


def test_an_egg_is_a_low_pass_filter() -> None:
    """A swing of the period 2 pi tau, near 100 min in moving air, comes through at 0.71; a faster one at less."""
    cut_off_s = 2.0 * math.pi * HEN_FORCED.tau_s
    # "Near 100 min" is of an egg warmed by a bird from one side: a fifth more in moving air is as near as can be asked.
    assert cut_off_s / MINUTE_S == pytest.approx(FIGURES["cut-off-period"][0], rel=0.2)
    at_s = np.arange(0.0, 10.0 * cut_off_s, 10.0)
    for period_s, gain in ((cut_off_s, math.sqrt(0.5)), (cut_off_s / 10.0, 1.0 / math.sqrt(101.0))):
        egg_c = run(HEN_FORCED, at_s, 37.8 + np.sin(2.0 * math.pi * at_s / period_s), day0=-10.0)
        settled_c = egg_c[at_s > 5.0 * cut_off_s]
        # Straight pieces of 10 s cut the tops of the swing by less than 1e-3; a second of phase costs less again.
        assert (settled_c.max() - settled_c.min()) / 2.0 == pytest.approx(gain, rel=2e-3)


@pytest.mark.parametrize(("figure", "reached_c"), [("open-air-to-32.2", 32.2), ("open-air-to-27", 27.0)])
def test_cooling_in_open_air(figure: str, reached_c: float) -> None:
    """From 37.5 °C in a room of 20 °C with 52 min, the published temperature is passed in the published minute."""
    model, minute = with_tau(52.0), FIGURES[figure][0]
    assert after(model, 37.5, 20.0, minute - 0.5) > reached_c - 0.05
    assert after(model, 37.5, 20.0, minute + 0.5) < reached_c


def test_the_shell_in_still_air_until_day_9() -> None:
    """To day 9 the egg stands about 0.1 K below the air."""
    # The embryo's heat is known to about 10 mW there, which is 0.14 K: below that the tenth published cannot be met.
    for day in np.arange(0.0, 9.01, 0.5):
        assert HEN_STILL.offset_k(float(day)) == pytest.approx(FIGURES["still-shell-to-day-9"][0], abs=0.28)
    early = [HEN_STILL.offset_k(float(day)) for day in np.arange(0.0, 6.0, 0.5)]
    assert early == pytest.approx([FIGURES["still-shell-to-day-9"][0]] * 12, abs=0.1)


def test_the_shell_in_still_air_on_day_18() -> None:
    """On day 18 the egg stands 1.3 to 1.5 K above the air, within the factor that still air is known to."""
    low_k, high_k = FIGURES["still-shell-day-18"]
    assert low_k / STILL_FACTOR < HEN_STILL.offset_k(18.0) < high_k * STILL_FACTOR
    mean_mw = HEN_STILL.heat_mw(18.0)
    assert mean_mw / (STILL_FACTOR * HEN_STILL.k_mw_k) < high_k  # a conductance at the factor's end meets it


def test_the_shell_in_moving_air_on_day_17() -> None:
    """In moving air the offset of day 17 lies inside what was measured over the eggs of one machine."""
    low_k, high_k = FIGURES["forced-shell-day-17"]
    assert low_k < HEN_FORCED.offset_k(17.0) < high_k
    assert (
        HEN_FORCED.offset_k(17.0) > (low_k + high_k) / 2.0
    )  # and above its middle: a living egg is warmer than the air


def test_evaporation_cools_as_published() -> None:
    """Without an embryo a 60 g egg stands below still air by the published 0.17 K, within the factor of still air."""
    cooled_k = -HEN_STILL.offset_k(0.0)
    published_k = FIGURES["evaporation-60g"][0]
    assert published_k / STILL_FACTOR < cooled_k < published_k * STILL_FACTOR


def test_a_quail_egg_warms_towards_its_hatch() -> None:
    """From day 10 to 14 a quail egg in still air rises against the air by the published 0.7 K."""
    # Only the rise: the level published is a degree lower, and why is not known (README of the tables).
    quail = EggModel(9.85, 17.0, STILL)
    rise_k = quail.offset_k(14.0) - quail.offset_k(10.0)
    assert rise_k == pytest.approx(FIGURES["quail-shell-rise"][0], rel=STILL_FACTOR - 1.0)


def test_a_long_shallow_and_a_short_sharp_excursion() -> None:
    """Ten minutes at 42 °C move the egg less than six hours at 39.2 °C, though the air was four times as far out."""
    sharp_c = peak(HEN_STILL, [0, 60, 61, 71, 72, 240], [37.8, 37.8, 42.0, 42.0, 37.8, 37.8])
    shallow_c = peak(HEN_STILL, [0, 60, 61, 421, 422, 540], [37.8, 37.8, 39.2, 39.2, 37.8, 37.8])
    # By hand: 4.2 K over 11 min of 43.7 min is 0.93 K; 1.4 K over 6 h is all of it.
    assert sharp_c - 37.8 == pytest.approx(4.2 * (1.0 - math.exp(-11.0 / 43.7)), abs=0.05)
    assert shallow_c - 37.8 == pytest.approx(1.4, abs=0.05)
    assert sharp_c < shallow_c < HOT_C
    # In an air that moves, the egg follows more closely, and the sharp one is the worse.
    assert peak(HEN_FORCED, [0, 60, 61, 71, 72, 240], [37.8, 37.8, 42.0, 42.0, 37.8, 37.8]) > shallow_c


def test_the_same_air_is_hotter_for_an_older_egg() -> None:
    """Air at 38.9 °C brings an egg of day 18 past the hot limit, and an egg of day 5 not even near it."""
    assert HEN_FORCED.start(38.9, 18.0) > HEN_FORCED.hot_limit_c(37.8, HEN_FORCED.offset_k(18.0), 18.0)
    assert HEN_FORCED.start(38.9, 5.0) < HEN_FORCED.hot_limit_c(37.8, HEN_FORCED.offset_k(5.0), 5.0) - 0.5


def test_an_egg_at_its_target_is_never_too_hot_or_cold() -> None:
    """Each shipped profile, in still and moving air, on each day: normal is 1 K and more inside the limits."""
    for profile in load_profiles().values():
        for air in (STILL, FORCED):
            model = model_of(profile, air)
            for day in np.arange(0.0, profile.hatch_day_last, 0.5):
                band = profile.stage_at(float(day)).dry_bulb_c
                band = band.shifted(model.layer_k)
                assert band.target is not None
                normal_c = model.start(band.target, float(day))
                assert (
                    normal_c + HOT_ABOVE_NORMAL_K
                    <= model.hot_limit_c(band.target, model.offset_k(float(day)), float(day)) + 1e-9
                )
                assert normal_c > COLD_C + 1.0


def test_a_kind_of_bird_has_a_limit_of_its_own() -> None:
    """Hens 39.5 °C (TAINIKA-22), which is 1.7 K above the best shell (37.8 °C, LOURENS-05); another as far above its own setting: judgement."""
    shipped = load_profiles()
    assert model_of(shipped["chicken"], FORCED).hot_c == HOT_C == pytest.approx(37.8 + 1.7)
    for profile in shipped.values():
        target_c = profile.stages[0].dry_bulb_c.target
        assert target_c is not None
        for air in (FORCED, STILL):
            assert model_of(profile, air).hot_c == pytest.approx(target_c + 1.7)
    for cool in ("ostrich", "emu", "african-grey"):
        assert model_of(shipped[cool], FORCED).hot_c < HOT_C - 0.3
    mute = replace(shipped["emu"], stages=tuple(replace(s, dry_bulb_c=replace(s.dry_bulb_c, target=None)) for s in shipped["emu"].stages))  # fmt: skip
    assert model_of(mute, FORCED).hot_c == HOT_C


def test_the_doubt_holds_what_was_published() -> None:
    """On day 18 in still air 1.3 to 1.5 K above it (LOURENS-TH), on day 17 in one machine up to 1.36 (VANBRECHT-01): both within it.

    The middle in still air lies above what was measured, which is said where the model is.
    """
    low_k, high_k = FIGURES["still-shell-day-18"]
    middle_k = HEN_STILL.offset_k(18.0)
    down_k, up_k = HEN_STILL.doubt_k(middle_k)
    assert middle_k - down_k <= low_k < high_k <= middle_k + up_k
    assert middle_k > high_k
    forced_k = HEN_FORCED.offset_k(17.0)
    assert FIGURES["forced-shell-day-17"][1] <= forced_k + HEN_FORCED.doubt_k(forced_k)[1]
    for model in (HEN_STILL, HEN_FORCED):  # early on evaporation has the egg below the air, and the doubt is there too
        for day in (0.0, 7.0, 12.0, 20.0):
            assert min(model.doubt_k(model.offset_k(day))) >= 0.2
    # At its target a still-air egg of day 20 reads 40.3 °C: the doubt reaches well under what is called lost (40 °C, HATSIG).
    day_20 = 38.9 - 1.1 + HEN_STILL.offset_k(20.0)
    assert day_20 == pytest.approx(40.3, abs=0.05)
    assert day_20 - HEN_STILL.doubt_k(HEN_STILL.offset_k(20.0))[0] < 39.6


def test_air_that_is_hardly_stirred_is_doubted_as_far_as_both_others() -> None:
    """An egg in it stands between those of still and of moving air, and its doubt holds both."""
    gentle = EggModel(60.0, 21.0, GENTLE)
    for day in (10.0, 14.0, 18.0, 20.0):
        offset_k = gentle.offset_k(day)
        low_k, high_k = gentle.doubt_k(offset_k)
        assert HEN_FORCED.offset_k(day) < offset_k < HEN_STILL.offset_k(day)
        assert offset_k - low_k <= HEN_FORCED.offset_k(day)
        assert offset_k + high_k >= HEN_STILL.offset_k(day)


def test_the_limit_is_the_published_one_where_normal_lies_well_below_it() -> None:
    """In moving air hen eggs have 39.5 °C nearly to the end; late in still air it is the egg's own normal and 1 K."""
    assert {HEN_FORCED.hot_limit_c(37.8, HEN_FORCED.offset_k(day), day) for day in (0.0, 10.0, 17.0)} == {HOT_C}
    assert HEN_STILL.hot_limit_c(37.8, HEN_STILL.offset_k(18.0), 18.0) == pytest.approx(
        37.8 + HEN_STILL.offset_k(18.0) + 1.0
    )


@pytest.mark.parametrize(
    ("id_", "late"),
    [
        ("chicken", True),
        ("goose", True),
        ("turkey", True),
        ("african-grey", False),
        ("ostrich", False),
        ("pigeon", False),
    ],
)
def test_in_the_last_third_a_kelvin_above_normal_is_too_hot_for_what_is_like_a_hen(id_: str, late: bool) -> None:
    """A shell 1.1 K above the best hurt in week 3 (LOURENS-05): before that 1.7 K above the setting is the limit, and of other birds throughout."""
    profile = load_profiles()[id_]
    model, target = model_of(profile, FORCED), profile.stage_at(0.0).dry_bulb_c.target
    assert target is not None
    begins = 2.0 / 3.0 * profile.days
    for day, kelvin in ((begins - 0.01, False), (begins, late), (profile.lockdown_day, late)):
        offset_k = model.offset_k(day)
        above_k = model.hot_limit_c(target, offset_k, day) - (target + offset_k)
        assert above_k == pytest.approx(1.0 if kelvin else max(1.0, 1.7 - offset_k), abs=0.01), day


@given(
    st.floats(0.5, 1700.0),
    st.floats(10.0, 60.0),
    st.sampled_from((STILL, FORCED)),
    st.floats(15.0, 45.0),
    st.lists(st.tuples(st.floats(0.0, 20_000.0), st.floats(10.0, 45.0)), min_size=1, max_size=6),
)
@settings(max_examples=200, deadline=None)
def test_one_step_or_many(
    mass_g: float, term_days: float, air: str, first_c: float, pieces: list[tuple[float, float]]
) -> None:
    """A straight piece of air moves the egg the same in one step and in five; and never out of what it has met."""
    model, day0 = EggModel(mass_g, term_days, air), 0.1 * term_days
    egg_c = parts_c = model.start(first_c, day0)
    met, before_c, at_s = [egg_c], first_c, 0.0
    for seconds, air_c in pieces:
        met += [model.start(before_c, day0 + at_s / DAY_S)]
        egg_c = model.advance(egg_c, before_c, air_c, seconds=seconds, day=day0 + (at_s + seconds) / DAY_S)
        for part in range(5):
            a, b = (before_c + (air_c - before_c) * share / 5.0 for share in (part, part + 1))
            day = day0 + (at_s + seconds * (part + 1) / 5.0) / DAY_S
            parts_c = model.advance(parts_c, a, b, seconds=seconds / 5.0, day=day)
        before_c, at_s = air_c, at_s + seconds
        met += [model.start(air_c, day0 + at_s / DAY_S)]
        # A step may cross a corner of the heat table, once: its slopes differ by at most 40 mW a day, 0.03 K.
        assert egg_c == pytest.approx(parts_c, abs=0.03 * max(1.0, mass_g / 60.0))
        assert min(met) - 0.03 <= egg_c <= max(met) + 0.03


def test_one_step_or_many_where_the_heat_is_straight() -> None:
    """Between two corners of the heat table the steps agree to rounding, and a step of no time changes nothing."""
    whole_c = HEN_STILL.advance(30.0, 20.0, 38.0, seconds=7200.0, day=12.5)
    parts_c = 30.0
    for part in range(720):
        a, b = 20.0 + 18.0 * part / 720.0, 20.0 + 18.0 * (part + 1) / 720.0
        parts_c = HEN_STILL.advance(parts_c, a, b, seconds=10.0, day=12.5 - (7190.0 - 10.0 * part) / DAY_S)
    assert whole_c == pytest.approx(parts_c, abs=1e-9)
    assert HEN_STILL.advance(30.0, 37.0, 37.0, seconds=0.0, day=5.0) == 30.0


def test_a_straight_line_of_air_leaves_the_egg_behind_by_its_time_constant() -> None:
    """After hours of air that rises 1 K an hour, the egg lags by 1 K/h times tau."""
    egg_c = HEN_STILL.start(20.0, 6.0)
    egg_c = HEN_STILL.advance(egg_c, 20.0, 30.0, seconds=10.0 * HOUR_S, day=NEUTRAL_DAY - 0.2)
    behind_k = HEN_STILL.start(30.0, NEUTRAL_DAY - 0.2) - egg_c
    # The embryo's own rise, 3.5 mW a day, adds 0.002 K/h.
    assert behind_k == pytest.approx(HEN_STILL.tau_s / HOUR_S, rel=0.005)


@pytest.mark.parametrize("seconds", [1e5, 1e7])
def test_any_step_is_stable(seconds: float) -> None:
    """A step of days, or of months, ends where the egg settles."""
    # The embryo's heat, which rises all the while, is a time constant behind: 1 K in 116 days is 1e-4 K in 18 min.
    assert HEN_FORCED.advance(10.0, 37.8, 37.8, seconds=seconds, day=25.0) == pytest.approx(
        HEN_FORCED.start(37.8, 25.0), abs=2e-4
    )


@pytest.mark.parametrize(
    "model", [HEN_STILL, HEN_FORCED, EggModel(2.4, 18.0, FORCED), EggModel(1500.0, 42.0, STILL, 2.0)]
)
def test_a_run_is_its_steps(model: EggModel) -> None:
    """A line of readings at uneven times, with gaps of days, gives what stepping from one to the next gives."""
    rng = np.random.default_rng(3)
    steps_s = rng.exponential(10.0, 4000) * rng.choice([1.0, 0.0, 1e3, 3e4], 4000, p=[0.97, 0.01, 0.015, 0.005])
    at_s = 1.7e9 + np.concatenate(([0.0], np.cumsum(steps_s)))
    air_c = 37.8 + rng.normal(0.0, 0.5, at_s.size)
    egg_c = run(model, at_s, air_c, day0=1.0)
    stepped = [model.start(air_c[0], 1.0)]
    for i in range(1, at_s.size):
        day = 1.0 + (at_s[i] - at_s[0]) / DAY_S
        stepped.append(model.advance(stepped[-1], air_c[i - 1], air_c[i], seconds=at_s[i] - at_s[i - 1], day=day))
    # Equal but for rounding: times of 1.7e9 s are known to 2e-7 s, the air changes by up to a kelvin in 10 s of them.
    assert np.abs(egg_c - np.array(stepped)).max() < 1e-6
    assert at_s[-1] - at_s[0] > 300.0 * model.tau_s  # more than one block of the sum


def test_a_run_of_nothing_or_one() -> None:
    """No readings give no temperatures; one gives that of an egg which has been there for long."""
    assert run(HEN_STILL, np.array([]), np.array([]), day0=3.0).size == 0
    assert run(HEN_STILL, np.array([5.0]), np.array([37.8]), day0=3.0).tolist() == [HEN_STILL.start(37.8, 3.0)]


@pytest.mark.parametrize(
    ("at_s", "air_c"),
    [
        ([0.0, 10.0], [37.8]),
        ([10.0, 0.0], [37.8, 37.8]),
        ([0.0, 10.0], [37.8, math.nan]),
        ([0.0, math.inf], [37.8, 37.8]),
    ],
)
def test_a_run_that_cannot_be(at_s: list[float], air_c: list[float]) -> None:
    """Rows of two lengths, time that goes back and what is no number are refused."""
    with pytest.raises(ValueError, match=r"^egg: .*expected"):
        run(HEN_STILL, np.array(at_s), np.array(air_c), day0=0.0)


@pytest.mark.parametrize("bad", [(math.nan, 37.8, 37.8, 10.0), (37.8, math.inf, 37.8, 10.0), (37.8, 37.8, 37.8, -1.0)])
def test_a_step_that_cannot_be(bad: tuple[float, float, float, float]) -> None:
    """A value that is no number, or a step back in time, is refused."""
    with pytest.raises(ValueError, match=r"^egg: .*expected finite"):
        HEN_STILL.advance(*bad[:3], seconds=bad[3], day=5.0)


@pytest.mark.parametrize(
    "kwargs", [{"mass_g": 0.0}, {"mass_g": math.nan}, {"term_days": 0.0}, {"air": "gale"}, {"layer_k": -1.0}]
)
def test_an_egg_that_cannot_be(kwargs: dict[str, object]) -> None:
    """Mass, term, air and layer have their ranges."""
    given_: dict[str, object] = {"mass_g": 60.0, "term_days": 21.0} | kwargs
    with pytest.raises(ValueError, match=r"^egg: .*expected"):
        EggModel(**given_)  # type: ignore[arg-type]


def test_heat_goes_with_mass_over_term() -> None:
    """Twice the mass in the same term is twice the heat; twice the term is half the heat, twice as late."""
    assert EggModel(120.0, 21.0).heat_mw(15.0) == pytest.approx(2.0 * HEN_STILL.heat_mw(15.0))
    assert EggModel(60.0, 42.0).heat_mw(30.0) == pytest.approx(0.5 * HEN_STILL.heat_mw(15.0))


def test_the_heat_table_is_held_beyond_its_ends() -> None:
    """Before day 0 there is only evaporation, and after the last day the last value."""
    assert HEN_STILL.heat_mw(-3.0) == HEN_STILL.heat_mw(0.0) == -10.0
    assert HEN_STILL.heat_mw(24.0) == HEN_STILL.heat_mw(20.0) == 180.0
    assert HEN_STILL.heat_mw(14.0) == pytest.approx((75.0 + 115.0) / 2.0 - 10.0)


def test_the_cabinet_that_is_simulated_has_the_same_embryos() -> None:
    """The simulated cabinet's table of embryo heat is this one."""
    assert (cabinet.EMBRYO_DAYS, cabinet.EMBRYO_MW) == (EMBRYO_DAYS, EMBRYO_MW)


def test_the_egg_of_a_profile() -> None:
    """It has the middle mass, the term, and in still air the reading at egg top brought down to the air at the egg."""
    hen = load_profiles()["chicken"]
    still, forced = model_of(hen, STILL), model_of(hen, FORCED)
    assert (still.mass_g, still.term_days, still.layer_k) == (60.0, hen.days, hen.still_air_offset_k)
    assert forced.layer_k == 0.0
    assert still.start(37.8 + still.layer_k, NEUTRAL_DAY) == pytest.approx(37.8)


def test_a_profile_without_a_mass() -> None:
    """It has the shipped profiles' middle mass, by ratio; a tenth or ten times of it moves the time constant by 2.2."""
    profiles = load_profiles().values()
    masses = [sum(p.egg_mass_g) / 2.0 for p in profiles if p.egg_mass_g is not None]
    assert math.exp(sum(map(math.log, masses)) / len(masses)) == pytest.approx(FALLBACK_MASS_G, rel=0.1)
    unknown = model_of(replace(load_profiles()["chicken"], egg_mass_g=None), FORCED)
    assert unknown.mass_g == FALLBACK_MASS_G
    assert EggModel(10.0 * FALLBACK_MASS_G, 21.0).tau_s / unknown.tau_s == pytest.approx(2.18, abs=0.01)
