"""The line of an egg's weighings: published examples, made-up eggs of known conductance, bad weighings, holes in the record."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2  # type: ignore[import-untyped]
from scipy.stats import t as student

from monitor.analysis.water.loss import (
    BELIEVED,
    GAP_DOUBT,
    NOT_WEIGHED,
    SCATTER_SHARE,
    TOO_CLOSE,
    WEIGHED_ONCE,
    Interval,
    LossLine,
    NoLine,
    _chance,
    _student,
    line_of,
)
from monitor.analysis.water.pull import Pull
from monitor.domain.air.psychrometrics import pressure_kpa, saturation_vapour_kpa, vapour_kpa
from monitor.domain.eggs.book import After, EggBook, FreshMass, add, hoyt, masses
from monitor.domain.eggs.entry import Entry, Weighing
from monitor.domain.needs.batch import Batch
from tests.analysis.weighed import KPA_PER_TORR, SEA_KPA, SET, SET_MS, constant, day_ms, figure, line, rows, weighed

HEN_KPA = saturation_vapour_kpa(37.5) - vapour_kpa(37.5, 55.0)


@pytest.mark.parametrize("row", rows("straight_lines.csv"), ids=lambda r: f"{r['set_g']}-{r['term_days']}")
def test_published_straight_lines(row: dict[str, str]) -> None:
    """Two weighings drawn on to the whole term give the printed loss, as far as print rounds: whole numbers, or a tenth."""
    masses = [(0.0, float(row["set_g"])), (float(row["days"]), float(row["now_g"]))]
    found = line(masses).loss_pct(float(row["term_days"]))
    printed = row["printed_pct"]
    assert found.value == pytest.approx(float(printed), abs=0.05 if "." in printed else 0.5)
    assert found.low < found.value < found.high


def amazon(up_to: float) -> list[tuple[float, float]]:
    return [
        (float(r["day"]), float(r["mass_g"])) for r in rows("amazon.csv") if r["mass_g"] and float(r["day"]) <= up_to
    ]


@pytest.mark.parametrize("up_to", [3, 4, 5, 6, 14, 16, 18, 20])
def test_an_amazon_is_foretold(up_to: int) -> None:
    """From its weights up to any of these days, the amazon's loss on day 24 (24 of it weighed: 14.0 %) lies in the interval told."""
    foretold = line(amazon(up_to), error_g=0.01).loss_pct(24.0)
    assert foretold.low < 100.0 * (26.49 - 22.78) / 26.49 < foretold.high


def test_the_amazon_s_interval_is_of_use() -> None:
    """From day 14 on the interval of its loss on day 24 is narrower than the 4 points between its guide lines, and no weight is left out."""
    for up_to in (14, 18, 24):
        found = line(amazon(up_to), error_g=0.01)
        foretold = found.loss_pct(24.0)
        assert foretold.high - foretold.low < 1.1
        assert foretold.inside(13.0, 17.0)
        assert found.left_out == ()
    assert line(amazon(24), error_g=0.01).loss_pct(25.0).value == pytest.approx(14.6, abs=0.2)  # 14.6: end to end only


def test_the_amazon_s_scatter_is_what_the_module_says() -> None:
    """Its weights lie 0.030 g about their own straight line, a thousandth of the egg: the figure behind SCATTER_SHARE."""
    day, mass_g = np.array(amazon(24)).T
    left = mass_g - np.polyval(np.polyfit(day, mass_g, 1), day)
    assert math.sqrt(float(left @ left) / (len(day) - 2)) == pytest.approx(0.030, abs=0.001)
    assert pytest.approx(0.030 / 26.49, rel=0.15) == SCATTER_SHARE


def test_conductance_of_the_worked_example() -> None:
    """60 g, 0.36 g a day at 37.5 °C and 55 %: 16.5 mg/(d torr), to the rounding of print."""
    found = line([(0.0, 60.0), (6.0, 60.0 - 6 * 0.36)], constant(HEN_KPA))
    per_kpa = found.conductance_mg_d_kpa
    assert per_kpa is not None
    assert per_kpa.value * KPA_PER_TORR == pytest.approx(figure("hen-g-mg-d-torr"), abs=0.05)


@pytest.mark.parametrize("elevation", [1500, 3000])
def test_conductance_at_sea_level(elevation: int) -> None:
    """An egg weighed high up has at sea level less conductance, by the factor of the table (to its third decimal)."""
    kpa = pressure_kpa(float(elevation))
    found = line([(0.0, 60.0), (6.0, 57.84)], constant(HEN_KPA), pressure_kpa=kpa)
    here, there = found.conductance_mg_d_kpa, found.conductance_sea_level_mg_d_kpa
    assert here is not None
    assert there is not None
    assert here.value / there.value == pytest.approx(figure(f"altitude-{elevation}-factor"), abs=0.001)


def synthetic(
    rng: np.random.Generator, n: int, deficit: float = 3.0
) -> tuple[list[tuple[float, float]], float, float, float]:
    """(weighings, true conductance mg/(d kPa), true loss % at 75 kPa·d, scale's error) of an egg weighed n times in 20 days."""
    mass_g, error_g = rng.uniform(5.0, 80.0), rng.choice([0.01, 0.05])
    g = mass_g * rng.uniform(0.001, 0.003)
    days = np.sort(rng.choice(np.arange(0, 21), n, replace=False)).astype(float)
    masses = mass_g - g * deficit * days
    seen = masses + rng.normal(0.0, np.hypot(error_g, SCATTER_SHARE * masses))
    return list(zip(days.tolist(), seen.tolist(), strict=True)), 1000.0 * g, 100.0 * g * 75.0 / mass_g, float(error_g)


@pytest.mark.parametrize("n", [2, 3, 5, 8, 12])
def test_a_known_conductance_is_recovered(n: int) -> None:
    """Of 400 made-up eggs, whose scale is as bad as said, the truth lies in the interval 93 to 99.5 times in a hundred (said: 95).

    93: the chance of 95 in 100 to fall below it in 400 is 4 %; the seed is fixed. Above: with few weighings it is a little wide.
    """
    rng = np.random.default_rng(n)
    hits_g = hits_loss = 0
    for _ in range(400):
        masses, g, loss, error_g = synthetic(rng, n)
        found = line(masses, constant(3.0), error_g)
        told = found.conductance_mg_d_kpa
        assert told is not None
        hits_g += told.low <= g <= told.high
        hits_loss += found.loss_pct(75.0).low <= loss <= found.loss_pct(75.0).high
    assert 0.93 * 400 <= hits_g <= 0.995 * 400
    assert 0.93 * 400 <= hits_loss <= 0.995 * 400


def test_more_weighings_tell_more() -> None:
    """Each weighing added to a made-up egg's regular ones narrows the interval of its loss."""
    widths = []
    for n in range(3, 12):
        at = line([(2.0 * i, 20.0 - 0.12 * 2.0 * i) for i in range(n)], constant(3.0)).loss_pct(75.0)
        widths.append(at.high - at.low)
    assert all(later < earlier for earlier, later in pairwise(widths))


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    where=st.integers(0, 7),
    wrong=st.floats(-0.6, 3.0),
    n=st.sampled_from([6, 8]),
)
def test_one_bad_weighing_moves_little(seed: int, where: int, wrong: float, n: int) -> None:
    """With six weighings in 15 days, or eight in 14, one that is wrong by any amount moves the loss at pip by less than 1.5 points.

    1.0 was the most in 800 random ones; the rest is reserve for a search by hypothesis.
    """
    rng = np.random.default_rng(seed)
    days = np.arange(n) * (3.0 if n == 6 else 2.0)
    masses = 20.0 * (1.0 - rng.uniform(0.001, 0.003) * 3.0 * days)
    masses += np.clip(rng.normal(0.0, 0.028, n), -0.06, 0.06)
    good = line(zip(days, masses, strict=True), constant(3.0)).loss_pct(75.0).value
    masses[where % n] *= 1.0 + wrong
    assert line(zip(days, masses, strict=True), constant(3.0)).loss_pct(75.0).value == pytest.approx(good, abs=1.5)


def test_the_wrong_one_is_named() -> None:
    """A tray left on the scale at the fourth of eight weighings: that one is left out by its number, the others stand."""
    masses = [(2.0 * i, 20.0 - 0.24 * i) for i in range(8)]
    masses[3] = (6.0, 25.0)
    found = line(masses, constant(3.0))
    assert found.left_out == (4,)
    assert found.used == (1, 2, 3, 5, 6, 7, 8)


def test_with_four_the_wrong_one_mostly_shows() -> None:
    """Weighed on days 0, 7, 14 and 18, one of the four a gram or three off: that one and no other is left out in 7 of 10 cases or more."""
    named = cases = 0
    for seed, wrong, off_g in itertools.product(range(20), range(4), (-3.0, -1.0, 1.0, 3.0)):
        rng = np.random.default_rng(seed)
        masses = [(float(d), 60.0 - 0.4 * d + rng.normal(0.0, SCATTER_SHARE * 60.0)) for d in (0, 7, 14, 18)]
        masses[wrong] = (masses[wrong][0], masses[wrong][1] + off_g)
        named += line(masses, constant(3.0), error_g=0.1).left_out == (wrong + 1,)
        cases += 1
    assert named >= 0.7 * cases


def test_with_three_nobody_can_say_which_is_wrong() -> None:
    """One of three weighings 5 % off: none is left out, and the interval is wide enough to hold the truth (9 %)."""
    for where in range(3):
        masses = [(0.0, 20.0), (7.0, 19.16), (15.0, 18.2)]
        masses[where] = (masses[where][0], masses[where][1] * 1.05)
        found = line(masses, constant(3.0))
        at = found.loss_pct(45.0)
        assert found.left_out == ()
        assert at.low <= 9.0 <= at.high
        assert at.high - at.low > 10.0


def test_the_mass_at_set_of_an_egg_first_weighed_late() -> None:
    """An egg first weighed on day 5 had its mass at set all the same: the line leads back to it."""
    found = line([(float(d), 20.0 - 0.12 * d) for d in (5, 8, 11, 14)], constant(3.0))
    assert found.mass_at_set_g.value == pytest.approx(20.0)
    assert found.mass_at_set_g.low < 20.0 < found.mass_at_set_g.high
    assert found.loss_pct(30.0).value == pytest.approx(6.0)


def test_length_and_breadth_stand_in_for_the_first_weighing() -> None:
    """Measured and weighed once, on day 12: there is a line, and its doubt is that of the measures, 3 % of the mass (2.2 sd either side)."""
    fresh = hoyt(40.0, 30.0)
    found = line([(12.0, fresh.mass_g * 0.93)], constant(3.0), fresh=fresh)
    at = found.loss_pct(36.0)
    assert at.value == pytest.approx(7.0, abs=0.01)
    assert (at.high - at.low) / 2.0 == pytest.approx(2.26 * 3.0 * 0.93, rel=0.1)
    alone = line_of(weighed([(12.0, 18.0)]), constant(3.0), set_ms=SET_MS, pressure_kpa=SEA_KPA)
    assert alone == NoLine(WEIGHED_ONCE, 1)


def holed(deficit: float, since_day: float, until_day: float, days: float = 40.0) -> Pull:
    """A steady record with a hole."""
    at = np.array([0.0, since_day, until_day, days])
    known = np.array([0.0, since_day, since_day, days - (until_day - since_day)])
    return Pull(SET_MS, np.array([day_ms(d) for d in at]), deficit * known, known)


def test_a_hole_in_the_record_widens_the_interval() -> None:
    """Air that no one recorded counts as the rest did, to a quarter (1 sd): the line stays, its interval grows, the share is told."""
    masses = [(float(d), 20.0 - 0.12 * d) for d in (0, 4, 8, 12, 16)]
    whole, gap = line(masses, constant(3.0)), line(masses, holed(3.0, 5.0, 11.0))
    assert gap.recorded == pytest.approx(10.0 / 16.0)
    assert whole.recorded == 1.0
    assert gap.loss_pct(60.0).value == pytest.approx(whole.loss_pct(60.0).value)
    assert gap.loss_pct(60.0).high - gap.loss_pct(60.0).low > 1.1 * (
        whole.loss_pct(60.0).high - whole.loss_pct(60.0).low
    )


@pytest.mark.parametrize("since_day", [0.0, 5.0])
def test_a_hole_is_known_to_a_quarter_of_its_mean_loss(since_day: float) -> None:
    """Two weighings and six days without record between them: the conductance is as uncertain (1 sd) as both weighings, and a quarter of what six
    such days take (0.04 g/(kPa d) x 3 kPa), over the 48 kPa d."""
    found = line([(0.0, 20.0), (16.0, 20.0 - 0.04 * 48.0)], holed(3.0, since_day, since_day + 6.0), 0.02)
    told = found.conductance_mg_d_kpa
    assert told is not None
    weighing_g = math.hypot(0.02, SCATTER_SHARE * 19.0)
    expected_g = math.hypot(math.sqrt(2.0) * weighing_g, 0.25 * 0.04 * 3.0 * 6.0)
    assert (told.high - told.value) / found.reach == pytest.approx(1000.0 * expected_g / 48.0, rel=0.01)


def test_a_dry_room_in_the_hole_does_not_bend_the_conductance() -> None:
    """While unrecorded, the egg lost twice as fast: the weighings round the hole say so, and the conductance stays near the truth."""
    truth = 0.04
    lost = [truth * 3.0 * (d + max(0.0, min(d, 11.0) - 7.0) * 0.5) for d in (0, 2, 4, 6, 12, 14, 16, 18)]
    masses = list(zip((0.0, 2.0, 4.0, 6.0, 12.0, 14.0, 16.0, 18.0), (20.0 - g for g in lost), strict=True))
    found = line(masses, holed(3.0, 7.0, 11.0)).conductance_mg_d_kpa
    per_day, _ = np.polyfit([day for day, _ in masses], [g for _, g in masses], 1)
    naive = -1000.0 * float(per_day) / 3.0  # one straight line through all
    assert found is not None
    assert abs(found.value - 1000 * truth) < 0.5 * abs(naive - 1000 * truth)
    assert found.low < 1000 * truth < found.high
    assert 0.0 < GAP_DOUBT < 0.5


def test_an_egg_brought_in_half_way() -> None:
    """Ten days under the parents, then weighed in a machine: with length and breadth, loss so far is told with a doubt of points, not tenths."""
    fresh = FreshMass(20.0, 0.6)
    masses = [(float(d), 20.0 - 0.12 * d) for d in (10, 13, 16, 19)]
    found = line(masses, holed(3.0, 0.0, 10.0), fresh=fresh)
    at = found.loss_pct(57.0)
    assert at.low < 11.4 < at.high
    assert 1.0 < at.high - at.low < 8.0
    assert found.conductance_mg_d_kpa is not None
    assert found.conductance_mg_d_kpa.value == pytest.approx(40.0, rel=0.02)


def test_without_humidity_it_is_days() -> None:
    """With no record of humidity the line runs over days, and no conductance is told."""
    dry = Pull(SET_MS, np.array([SET_MS, day_ms(30)]), np.zeros(2), np.zeros(2))
    for pull in (None, dry):
        found = line([(0.0, 20.0), (10.0, 19.0)], pull)
        assert found.by_days
        assert found.conductance_mg_d_kpa is None
        assert found.conductance_sea_level_mg_d_kpa is None
        assert found.loss_pct(20.0).value == pytest.approx(10.0)


def test_an_egg_weighed_in_store() -> None:
    """A weighing two days before the set time is brought to it with the slow loss of a store, not taken as day 0 nor as a machine's."""
    before = line([(-2.0, 20.0), (10.0, 20.0 - 0.04 * (0.8 + 30.0))], constant(3.0))
    assert before.mass_at_set_g.value == pytest.approx(20.0 - 0.04 * 0.8, abs=0.002)


def test_what_makes_no_line() -> None:
    """No weighing, one, two within hours, or none that counts: NoLine says which, and nothing raises."""
    assert line_of([], constant(3.0), set_ms=SET_MS, pressure_kpa=SEA_KPA) == NoLine(NOT_WEIGHED, 0)
    assert isinstance(line_of(weighed([(3.0, 20.0)]), constant(3.0), set_ms=SET_MS, pressure_kpa=SEA_KPA), NoLine)
    close = line_of(weighed([(3.0, 20.0), (3.1, 19.99)]), constant(3.0), set_ms=SET_MS, pressure_kpa=SEA_KPA)
    assert close == NoLine(TOO_CLOSE, 2)
    hatched = [replace(m, left_out=After("hatched")) for m in weighed([(0.0, 20.0), (9.0, 19.0)])]
    assert isinstance(line_of(hatched, constant(3.0), set_ms=SET_MS, pressure_kpa=SEA_KPA), NoLine)


def test_an_egg_that_does_not_lose() -> None:
    """An egg that gained on the scale has no humidity that brings it anywhere: the pull for a loss is infinite, the conductance not below 0."""
    found = line([(0.0, 20.0), (10.0, 20.05)], constant(3.0))
    assert found.pull_for(14.0) == math.inf
    told = found.conductance_mg_d_kpa
    assert told is not None
    assert told.low == 0.0


def test_pull_for_a_loss_is_the_way_back() -> None:
    """The pull that a loss takes, put in again, gives that loss; with a hole in the record too."""
    masses = [(float(d), 20.0 - 0.12 * d - 0.02 * (d % 3)) for d in (0, 4, 8, 12, 16)]
    for found in (line(masses, constant(3.0)), line(masses, holed(3.0, 5.0, 7.0))):
        assert found.loss_pct(found.pull_for(14.0)).value == pytest.approx(14.0)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_units_and_order_do_not_matter(data: st.DataObject) -> None:
    """Eggs ten times as heavy on a scale ten times as coarse lose the same per cent, and the order of weighings is nothing."""
    days = sorted(data.draw(st.sets(st.integers(0, 20), min_size=2, max_size=8)))
    if days[-1] - days[0] < 2:
        days[-1] = days[0] + 5
    masses = [(float(d), 20.0 - 0.1 * d + data.draw(st.floats(-0.05, 0.05))) for d in days]
    small = line(masses, constant(3.0), 0.02)
    large = line(reversed([(d, 10.0 * g) for d, g in masses]), constant(3.0), 0.2)
    one, other = small.loss_pct(75.0), large.loss_pct(75.0)
    assert other.value == pytest.approx(one.value, abs=1e-6)
    assert other.low == pytest.approx(one.low, abs=1e-6)


@pytest.mark.parametrize("days", [(0, 4, 8, 12), (0, 2, 4, 6, 8, 10, 12, 14)])
def test_a_stated_error_is_known_until_the_weighings_speak_against_it(days: tuple[int, ...]) -> None:
    """Of 300 eggs on a scale of the house the loss by pip lies in the interval 92 to 98 times in a hundred, and the interval is the normal one and
    narrower than of a scale that nobody named; masses that scatter three times as much widen it."""
    rng = np.random.default_rng(2)
    hits, error_g = 0, float(np.hypot(0.01, SCATTER_SHARE * 20.0))
    for _ in range(300):
        masses = [(float(d), 20.0 * (1.0 - 0.0055 * d) + float(rng.normal(0.0, error_g))) for d in days]
        named, unnamed = line(masses, constant(3.0), 0.01, scale="fine"), line(masses, constant(3.0), 0.01)
        told = named.loss_pct(3.0 * 24.0)
        hits += told.low <= 13.2 <= told.high
        assert named.reach <= unnamed.reach
    assert 0.92 * 300 <= hits <= 0.98 * 300
    rough = [(float(d), 20.0 * (1.0 - 0.0055 * d) + 3.0 * error_g * (-1) ** i) for i, d in enumerate(days)]
    even = [(float(d), 20.0 * (1.0 - 0.0055 * d) + 0.3 * error_g * (-1) ** i) for i, d in enumerate(days)]
    wide, narrow = (line(masses, constant(3.0), 0.01, scale="fine") for masses in (rough, even))
    assert narrow.reach == pytest.approx(1.96, abs=0.01)
    assert wide.reach > 2.0
    assert wide.mass_at_set_g.high - wide.mass_at_set_g.low > 1.2 * (
        narrow.mass_at_set_g.high - narrow.mass_at_set_g.low
    )


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 10, 30])
def test_what_chance_passes_once_in_twenty_times(freedom: int) -> None:
    """Chi-squared, beside the exact one."""
    assert _chance(freedom) == pytest.approx(float(chi2.ppf(BELIEVED, freedom)), rel=0.03)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 8, 9, 20, 100])
def test_student_s_t(freedom: int) -> None:
    """The quantile agrees with scipy's: exact for 1 and 2, within 0.03 at 3, within 0.001 from 8."""
    assert _student(freedom) == pytest.approx(
        float(student.ppf(0.975, freedom)), abs=1e-9 if freedom < 3 else 0.03 if freedom < 8 else 0.001
    )


def test_inside_and_outside() -> None:
    """An interval across an edge is neither inside nor outside."""
    assert Interval(14.0, 13.5, 14.5).inside(13.0, 16.0)
    assert Interval(11.0, 10.0, 12.0).outside(13.0, 16.0)
    across = Interval(12.5, 11.0, 14.0)
    assert not across.inside(13.0, 16.0)
    assert not across.outside(13.0, 16.0)


def test_a_budgerigar_s_egg_on_a_fine_scale() -> None:
    """2.4 g, weighed on a scale of 0.01 g that nobody named: the loss by pip is told to some tenths, and not -0.2 to 29.4."""
    shown = [(d, round(2.40 * (1.0 - 0.146 * d / 16.2), 2)) for d in (0.0, 4.0, 8.0)]
    book = EggBook(Batch("b", "budgerigar", SET))
    for d, g in shown:
        at = SET + timedelta(days=d)
        book = add(book, Entry(at, at, "ada", Weighing(g), egg=1))
    found = line_of(masses(book, 1), constant(3.0), set_ms=SET_MS, pressure_kpa=SEA_KPA)
    assert isinstance(found, LossLine)
    at_pip = found.loss_pct(3.0 * 16.2)
    assert at_pip.value == pytest.approx(14.6, abs=1.0)
    assert 0.5 < at_pip.high - at_pip.low < 4.0


@pytest.mark.parametrize("n", [2, 3, 5, 8])
def test_the_digit_stands_for_the_scale(n: int) -> None:
    """Of 400 small eggs on scales that scatter by half a digit and show whole ones, the truth lies in the interval 93 to 99.8 times in a hundred."""
    rng = np.random.default_rng(40 + n)
    hits = 0
    for _ in range(400):
        mass_g, digit_g = rng.uniform(2.0, 30.0), float(rng.choice([0.01, 0.1]))
        share = rng.uniform(0.001, 0.003)
        days = np.sort(rng.choice(np.arange(0, 21), n, replace=False)).astype(float)
        true_g = mass_g * (1.0 - share * 3.0 * days)
        seen = true_g + rng.normal(0.0, np.hypot(0.4 * digit_g, SCATTER_SHARE * true_g))
        shown = np.round(seen / digit_g) * digit_g
        found = line(zip(days.tolist(), shown.tolist(), strict=True), constant(3.0), 0.5 * digit_g).loss_pct(75.0)
        hits += found.low <= 100.0 * share * 75.0 <= found.high
    assert 0.93 * 400 <= hits <= 0.998 * 400
