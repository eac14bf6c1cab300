"""Heading out: the slope against published and library values, and stories of cabinets that leave their band or not."""

from __future__ import annotations

import csv
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.air.psychrometrics import vapour_kpa
from monitor.domain.signs.heading import CALM_S, Heading, Slope, Window, calm_until, leaves, slope_of
from monitor.domain.signs.lately import Mean, Span, follow
from monitor.rehearse.cabinet import (
    DEAD,
    HYSTERESIS,
    PROPORTIONAL,
    STUCK_ON,
    Air,
    Cabinet,
    CabinetSpec,
    Probe,
    ProbeSpec,
)

# Written out: taken from the program, they would move with it.
SPAN_S = 10_800.0  # three hours
POINTS = 60
LATE_S = 2400.0
TAIL_S = 900.0
STALE_S = 1200.0
MEAN = Span(0, 1200.0, 37.5, 38.1, (37.5, 38.1))  # what the window's points are means over

SLOPES = Path(__file__).parents[2] / "reference" / "temperature" / "slopes.csv"
ROOM = Air(20.0, vapour_kpa(20.0, 50.0))
SMALL = CabinetSpec(45.0, heater_w=30.0, humidifier_g_h=25.0, eggs=12, age_days=10.0)
LARGE = CabinetSpec(400.0, heater_w=400.0, humidifier_g_h=250.0, control=PROPORTIONAL, eggs=300, age_days=16.0)
BUILDS = {
    "small": SMALL,
    "small, proportional": replace(SMALL, control=PROPORTIONAL),
    "large": LARGE,
    "large, hysteresis": replace(LARGE, control=HYSTERESIS),
}
LOW_C, TARGET_C, HIGH_C = 36.7, 37.8, 38.9  # alarm limits of a published guide for hen eggs
WITHIN_S = 14_400.0  # twice what a message would look ahead, so that the stories below are the stricter
STEP_S = 10.0
CALM_FOR_S = 10_800.0

with SLOPES.open(encoding="utf-8", newline="") as _file:
    CASES = list(csv.DictReader(_file))

Told = tuple[float, float, float, Heading]  # s since the change, °C shown, limit, heading


def points(row: dict[str, str]) -> list[tuple[float, float]]:
    return [(float(t), float(v)) for t, v in zip(row["at_s"].split(), row["value"].split(), strict=True)]


def headings(line: Iterator[float], within_s: float = WITHIN_S, step_s: float = STEP_S) -> Iterator[Told]:
    """What is told of a line of readings, at any of them; s since the first."""
    window = Window()
    means: tuple[Mean | None, ...] = ()
    for i, value in enumerate(line):
        at_s = i * step_s
        means = follow(means, (MEAN,), at_s, (value, value, None, None), step_s)
        assert means[0] is not None
        if means[0].judged(MEAN):
            window = window.seen(at_s, means[0].low, abs(value - means[0].low))
        for limit in (LOW_C, HIGH_C):
            heading = leaves(window, limit, at_s, TARGET_C, within_s)
            side = 1.0 if limit > TARGET_C else -1.0
            if (
                heading is not None and (value - TARGET_C) * side > 0.0 and (value - limit) * side <= 0.0
            ):  # as the judge asks
                yield at_s, value, limit, heading


def readings(
    spec: CabinetSpec, hours: float, change: Callable[[Cabinet, float], None] = lambda cabinet, since_s: None
) -> Iterator[float]:
    """A probe in a cabinet that has run in: three hours of calm, then `hours` in which change(cabinet, s since) acts."""
    cabinet = Cabinet(spec, probes=(Probe(ProbeSpec(), random.Random(1)),))
    cabinet.step(2 * 3600.0, ROOM)
    for i in range(round((CALM_FOR_S + hours * 3600.0) / STEP_S)):
        since_s = i * STEP_S - CALM_FOR_S
        if since_s >= 0.0:
            change(cabinet, since_s)
        cabinet.step(STEP_S, ROOM)
        reading = cabinet.probes[0].read()
        assert reading is not None
        yield reading[0]


def story(
    spec: CabinetSpec, hours: float, change: Callable[[Cabinet, float], None], within_s: float = WITHIN_S
) -> tuple[list[Told], dict[float, float]]:
    """What was told, by s since the change; and when each limit was first passed."""
    line = list(readings(spec, hours, change))
    told = [(at_s - CALM_FOR_S, value, limit, each) for at_s, value, limit, each in headings(iter(line), within_s)]
    passed: dict[float, float] = {}
    for i, value in enumerate(line):
        for limit in (LOW_C, HIGH_C):
            if (value - limit) * (limit - TARGET_C) > 0.0:
                passed.setdefault(limit, i * STEP_S - CALM_FOR_S)
    return told, passed


def mean_heater_w(spec: CabinetSpec) -> float:
    """What the heater of a cabinet gives on average once it has run in."""
    cabinet = Cabinet(spec)
    cabinet.step(2 * 3600.0, ROOM)
    before_j = cabinet.ledger.heater_j
    cabinet.step(3600.0, ROOM)
    return (cabinet.ledger.heater_j - before_j) / 3600.0


def heater(state: str) -> Callable[[Cabinet, float], None]:
    def change(cabinet: Cabinet, since_s: float) -> None:
        cabinet.heater = state

    return change


def weak(spec: CabinetSpec, share: float) -> Callable[[Cabinet, float], None]:
    """The heater gives at most this share of what the cabinet needs."""
    most_w = share * mean_heater_w(spec)

    def change(cabinet: Cabinet, since_s: float) -> None:
        cabinet.spec = replace(spec, heater_w=most_w)

    return change


@pytest.mark.parametrize("row", CASES, ids=lambda row: row["case"])
def test_the_slope_and_its_interval(row: dict[str, str]) -> None:
    """Slope and interval are Sen's own example's and the library's: with ties, with a spike, at uneven times."""
    slope = slope_of(points(row), float(row["confidence"]))
    # The same picks of the same quotients: only their rounding can differ.
    assert (slope.per_s, slope.low_per_s, slope.high_per_s) == pytest.approx(
        tuple(float(row[name]) for name in ("slope", "low", "high")), abs=1e-12
    )


def test_the_slope_against_the_library() -> None:
    """On 200 random lines of 3 to 60 readings the three figures are those of scipy, where scipy is installed."""
    stats = pytest.importorskip("scipy.stats")
    rng = random.Random(11)
    for k in range(200):
        at_s, line = 0.0, []
        for _ in range(rng.randint(3, 60)):
            at_s += rng.uniform(0.5, 40.0)
            line.append((at_s, round(37.8 + at_s * 1e-4 * k / 100.0 + rng.gauss(0.0, 0.05), 2 + 4 * (k % 2))))
        result = stats.theilslopes([v for _, v in line], [t for t, _ in line], alpha=0.95)
        slope = slope_of(line)
        assert (slope.per_s, slope.low_per_s, slope.high_per_s) == pytest.approx((result[0], *result[2:4]), abs=1e-12)


@given(st.lists(st.floats(-50.0, 80.0), min_size=2, max_size=25), st.floats(-1.0, 1.0))
@settings(max_examples=100, deadline=None)
def test_a_slope_added_is_a_slope_more(values: list[float], extra: float) -> None:
    """The interval holds the slope, and a line of that slope added to the readings moves all three by it."""
    line = [(30.0 * i, v) for i, v in enumerate(values)]
    slope, steeper = slope_of(line), slope_of([(t, v + extra * t) for t, v in line])
    assert slope.low_per_s <= slope.per_s <= slope.high_per_s
    # Ties may be made or broken, which moves the interval: the slope itself is the median either way.
    assert steeper.per_s == pytest.approx(slope.per_s + extra, abs=1e-9)


def test_of_four_readings_the_interval_reaches_from_the_least_slope_to_the_greatest() -> None:
    """Chance alone gives any of them: six slopes, and 1.96 times a deviation of 2.9 ranks."""
    assert slope_of([(0.0, 0.0), (10.0, 1.0), (20.0, 4.0), (30.0, 9.0)]) == Slope(0.3, 0.1, 0.5)


def test_values_that_come_twice_narrow_the_interval() -> None:
    """Three pairs of six: the variance is (6 * 5 * 17 - 3 * 2 * 1 * 9) / 18 = 25.3, so that the third and the thirteenth of fifteen slopes
    are its ends. Without them it would be 28.3, and the second."""
    line = [(0.0, 0.0), (10.0, 0.0), (21.0, -2.0), (33.0, -2.0), (46.0, 5.0), (60.0, 5.0)]
    slopes = sorted((y - v) / (t - s) for n, (t, y) in enumerate(line) for s, v in line[:n])
    assert slopes[1] < slopes[2]
    assert slope_of(line) == Slope(slopes[7], slopes[2], slopes[12])


def test_too_few_times_for_a_slope() -> None:
    """One reading, or two of one time, have no slope."""
    for line in ([(0.0, 1.0)], [(5.0, 1.0), (5.0, 2.0)]):
        with pytest.raises(ValueError, match=r"^slope: .* expected two or more at different times"):
            slope_of(line)
    assert slope_of([(0.0, 1.0), (10.0, 2.0)]) == Slope(0.1, 0.1, 0.1)


def test_a_window_is_bounded() -> None:
    """A day of readings each second leaves at most 60 over three hours, the newest no older than the thinning."""
    window = Window()
    for second in range(86_400):
        window = window.seen(float(second), 37.8)
    assert len(window.points) == POINTS
    assert 86_399.0 - window.points[0][0] <= SPAN_S
    assert 86_399.0 - window.points[-1][0] < SPAN_S / POINTS
    assert window.seen(86_400.0, math.nan) is window


def plain(line: Iterator[float], within_s: float = WITHIN_S) -> Iterator[Told]:
    """What is told of a line of values, one a minute, that are taken as they are."""
    window = Window()
    for i, value in enumerate(line):
        window = window.seen(60.0 * i, value)
        for limit in (LOW_C, HIGH_C):
            heading = leaves(window, limit, 60.0 * i, TARGET_C, within_s)
            if heading is not None:
                yield 60.0 * i, value, limit, heading


def test_a_straight_fall_by_hand() -> None:
    """After calm, 0.6 K an hour down: 31 min later the limit 0.79 K away is 4740 s ahead, and so say both ends."""
    line = [37.8 if i < 200 else 37.8 - 0.01 * (i - 199) for i in range(231)]
    told = list(plain(iter(line)))
    at_s, value, limit, heading = told[-1]
    assert (at_s, limit) == (13_800.0, LOW_C)
    assert value == pytest.approx(37.49)
    assert heading.slope_per_h == pytest.approx(-0.6)
    assert heading.seconds_until == pytest.approx(4740.0)
    assert heading.earliest_s == pytest.approx(4740.0)
    assert heading.latest_s == pytest.approx(4740.0)


def test_a_straight_rise_is_its_mirror() -> None:
    """What is told of a rise is what is told of the same fall, with the slope the other way."""
    line = [37.8 if i < 200 else 37.8 - 0.01 * (i - 199) for i in range(240)]
    falls = list(plain(iter(line)))
    rises = list(plain(2.0 * TARGET_C - value for value in line))
    assert falls
    assert [t for t, *_ in falls] == [t for t, *_ in rises]
    for (_, _, low, fall), (_, _, high, rise) in zip(falls, rises, strict=True):
        assert (low, high) == (LOW_C, HIGH_C)
        assert rise.seconds_until == pytest.approx(fall.seconds_until, abs=0.1)
        assert rise.slope_per_h == pytest.approx(-fall.slope_per_h)


def test_the_interval_holds_what_comes() -> None:
    """Of 100 straight falls with noise, 85 and more pass the limit between earliest and latest."""
    held = 0
    for seed in range(100):
        rng = random.Random(seed)
        line = [37.8 - 0.01 * max(0, i - 199) + rng.gauss(0.0, 0.02) for i in range(241)]
        at_s, _, _, heading = list(plain(iter(line)))[-1]
        assert heading.earliest_s < heading.seconds_until <= heading.latest_s
        held += heading.earliest_s <= (199.0 + 110.0) * 60.0 - at_s <= heading.latest_s
    # Not 95: the interval is the slope's, and where the fall stands now is not known exactly either.
    assert held >= 85


def fallen(minutes: float = 36.0) -> Window:
    """A window with a straight fall of that length after three hours of calm."""
    window = Window()
    for i in range(round((180.0 + minutes) / 3.0) + 1):
        window = window.seen(180.0 * i, 37.8 - 0.03 * max(0, i - 60))
    return window


def test_when_nothing_is_said() -> None:
    """Not when it lies farther ahead than asked, when readings are stale, when the limit is passed or is the target."""
    window, now_s = fallen(), 216.0 * 60.0
    heading = leaves(window, LOW_C, now_s, TARGET_C, 14_400.0)
    assert heading is not None
    assert leaves(window, LOW_C, now_s, TARGET_C, heading.seconds_until + 1.0) is not None
    assert leaves(window, LOW_C, now_s, TARGET_C, heading.seconds_until - 1.0) is None
    assert leaves(window, LOW_C, now_s + STALE_S, TARGET_C, 14_400.0) is not None
    assert leaves(window, LOW_C, now_s + STALE_S + 1.0, TARGET_C, 14_400.0) is None
    assert leaves(window, 37.5, now_s, TARGET_C, 14_400.0) is None
    assert leaves(window, TARGET_C, now_s, TARGET_C, 14_400.0) is None
    assert leaves(Window(), LOW_C, now_s, TARGET_C, 14_400.0) is None


def test_too_little_is_known() -> None:
    """A tail shorter than 15 min, or a calm shorter than an hour, is not enough to go by."""
    steep = Window()
    for i in range(67):
        steep = steep.seen(180.0 * i, 37.8 - 0.09 * max(0, i - 60))
        told = leaves(steep, LOW_C, 180.0 * i, TARGET_C, 1e9)
        assert (told is not None) == (180.0 * (i - 61) >= TAIL_S)
    window = fallen()
    assert leaves(window, LOW_C, 216.0 * 60.0, TARGET_C, 1e9) is not None
    short = Window(tuple(p for p in window.points if 216.0 * 60.0 - p[0] < LATE_S + CALM_S))
    assert leaves(short, LOW_C, 216.0 * 60.0, TARGET_C, 1e9) is None


@pytest.mark.parametrize("swing_k", [0.2, 0.4, 0.6])
def test_what_swings_is_told_by_what_its_readings_will_reach(swing_k: float) -> None:
    """A thermostat that drifts by 0.3 K an hour, swinging to and fro each ten minutes or so: its readings pass the limit a swing before their mean
    does. It is told before they do, the less before the wider it swings; the same swing without the drift is never told."""
    every_s, drift_k_s = 60.0, 0.3 / 3600.0

    def reading(i: int, drift: float) -> float:
        swung_k = swing_k * math.sin(2.0 * math.pi * i * every_s / 690.0)
        return TARGET_C + swung_k + drift * max(0.0, i * every_s - CALM_FOR_S)

    count = round((CALM_FOR_S + 5.0 * 3600.0) / every_s)
    line = [reading(i, drift_k_s) for i in range(count)]
    passed_s = next((i * every_s for i, value in enumerate(line) if value > HIGH_C), math.inf)
    told = list(headings(iter(line), 7200.0, every_s))
    assert told
    assert {limit for _, _, limit, _ in told} == {HIGH_C}
    assert passed_s - 5400.0 < CALM_FOR_S + (HIGH_C - TARGET_C - swing_k) / drift_k_s < passed_s + 5400.0
    assert told[0][0] < passed_s - 600.0
    assert list(headings((reading(i, 0.0) for i in range(count)), 7200.0, every_s)) == []


def test_what_was_cold_is_on_its_way_home() -> None:
    """A machine that was as far below its target as would count above it is on its way home for as long as that is in the window."""
    line = [36.9 if i < 200 else min(38.6, 36.9 + 0.02 * (i - 199)) for i in range(320)]
    assert list(plain(iter(line))) == []


def test_a_rise_counts_from_the_target_on() -> None:
    """A machine that was a little cool heads for "too hot" only once it has been past its target for 15 min."""
    line = [37.6 if i < 200 else 37.6 + 0.015 * (i - 199) for i in range(280)]
    crossed_s = next(i * 60.0 for i, value in enumerate(line) if value > TARGET_C)
    first_s = next(at_s for at_s, *_ in plain(iter(line)))
    assert TAIL_S <= first_s - crossed_s <= TAIL_S + 360.0


@pytest.mark.parametrize("every_s", [100.0, 300.0, 600.0])
def test_a_slow_probe_is_enough(every_s: float) -> None:
    """Of a probe that speaks as seldom as a configuration may say, heat of 0.5 K an hour is told an hour before its limit."""
    line = [37.8 + 0.5 * max(0.0, i * every_s - CALM_FOR_S) / 3600.0 for i in range(round(5.2 * 3600.0 / every_s))]
    told = list(headings(iter(line), 7200.0, every_s))
    assert told
    assert told[0][0] <= CALM_FOR_S + 1.2 * 3600.0


def test_an_interval_that_holds_no_slope() -> None:
    """Air that stepped to another level and only scatters there has a slope, but none that chance would not give."""
    scatter_k = (0.03, -0.03, 0.02, -0.02, 0.04, -0.04, 0.03, -0.03, 0.02, -0.04, 0.01, -0.03)
    window = Window()
    for i, value in enumerate([37.8] * 60 + [37.3 + k for k in scatter_k]):
        window = window.seen(180.0 * i, value)
    tail = list(window.points)[-12:]
    slope, newer = slope_of(tail), slope_of(tail[6:])
    assert slope.low_per_s < slope.per_s < 0.0 < slope.high_per_s
    assert newer.per_s < 0.0
    assert leaves(window, LOW_C, 71 * 180.0, TARGET_C, math.inf) is None


def hunting(period_min: float, k_per_h: float, hours: float) -> list[float]:
    """A reading a minute of a machine that hunts by 0.65 K about its target, and after three hours warms besides."""
    warmed_k = (k_per_h * max(0.0, minute - CALM_FOR_S / 60.0) / 60.0 for minute in range(round(60.0 * hours)))
    return [TARGET_C + k + 0.65 * math.sin(2.0 * math.pi * minute / period_min) for minute, k in enumerate(warmed_k)]


@pytest.mark.parametrize("k_per_h", [0.2, 0.25])
@pytest.mark.parametrize("period_min", [7.0, 8.0, 10.0, 11.0, 12.0, 13.0])
def test_slow_heat_of_a_machine_that_hunts_is_foreseen(period_min: float, k_per_h: float) -> None:
    """Its means come back into what was calm with each swing, so there is no tail; the half hour as a whole has left it. Told at least
    half an hour before its swing first passes the limit, and never while it only hunts."""
    assert list(headings(iter(hunting(period_min, 0.0, 24.0)), 7200.0, 60.0)) == []
    line = hunting(period_min, k_per_h, 7.0)
    passed_s = next(60.0 * i for i, value in enumerate(line) if value > HIGH_C)
    told = [at_s for at_s, _, limit, _ in headings(iter(line), 7200.0, 60.0) if limit == HIGH_C]
    assert CALM_FOR_S < told[0] <= passed_s - 1800.0


@pytest.mark.parametrize("period_min", [2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 20.0])
def test_ripple_is_no_heading(period_min: float) -> None:
    """A thermostat's sawtooth, small or nearly as wide as the band, slow or fast on either flank, is no heading."""
    for width_k in (0.1, 0.3, 1.0, 1.8):
        for rising in (0.05, 0.3, 0.5, 0.8, 0.95):
            rng = random.Random(3)

            def saw(i: int, width_k: float = width_k, rising: float = rising, rng: random.Random = rng) -> float:
                phase = (i * STEP_S / 60.0 / period_min) % 1.0
                height = phase / rising if phase < rising else (1.0 - phase) / (1.0 - rising)
                return round(TARGET_C + width_k * (height - 0.5) + rng.gauss(0.0, 0.015), 2)

            told = list(headings((saw(i) for i in range(1440)), within_s=math.inf))
            assert told == [], (width_k, rising)


def test_this_ripple_would_deceive_the_slope_alone() -> None:
    """Half a cycle of such a ripple passes the test of chance by far: the calm range tells it from a trend."""
    half = [(30.0 * i, TARGET_C - 0.03 * i) for i in range(10)]
    assert slope_of(half, 0.999).high_per_s < 0.0


@pytest.mark.parametrize("build", ["small", "large"])
def test_thirty_calm_days(build: str) -> None:
    """Fifteen days with the door shut, under either control, through the last two weeks of a term: not one heading."""
    spec = replace(BUILDS[build], age_days=6.0)
    told = list(headings(readings(spec, 15 * 24.0), within_s=math.inf))
    assert told == []


@pytest.mark.parametrize("build", BUILDS)
@pytest.mark.parametrize("minutes", [0.5, 1.0, 3.0, 8.0])
def test_an_opening_is_no_heading(build: str, minutes: float) -> None:
    """A door open for half a minute to eight, while it falls, while it recovers, two hours on: nothing is told."""

    def door(cabinet: Cabinet, since_s: float) -> None:
        cabinet.door_open = since_s < minutes * 60.0

    told, _ = story(BUILDS[build], 2.0, door)
    assert told == []


@pytest.mark.parametrize("build", BUILDS)
def test_coming_back_is_no_heading(build: str) -> None:
    """After an hour without power the machine warms through its target: that it rises towards "too hot" is not told."""

    def cut(cabinet: Cabinet, since_s: float) -> None:
        cabinet.powered = since_s >= 3600.0

    told, _ = story(BUILDS[build], 5.0, cut)
    assert [each for each in told if each[0] >= 3600.0] == []


ALARM_DELAY_S = 300.0  # the low alarm waits so long after its limit is passed, for a door to be shut
HEADING_DELAY_S = 120.0  # what a rule would wait before it tells a heading


def standing(told: list[Told], limit: float, for_s: float) -> float | None:
    """When a heading for that limit first had stood for so long."""
    since: float | None = None
    last = -math.inf
    for at_s, _, of, _ in told:
        if of != limit:
            continue
        if since is None or at_s - last > STEP_S:
            since = at_s
        last = at_s
        if at_s - since >= for_s:
            return at_s
    return None


@pytest.mark.parametrize("build", ["small", "small, proportional", "large", "large, hysteresis"])
def test_a_heater_that_fails_over_hours(build: str) -> None:
    """One whose power sinks by a tenth an hour is told of, delay and all, ten minutes and more before its limit is passed; no rise is."""
    spec = BUILDS[build]
    need_w = mean_heater_w(spec)

    def fading(cabinet: Cabinet, since_s: float) -> None:
        cabinet.spec = replace(spec, heater_w=need_w * (1.0 - 0.1 * since_s / 3600.0))

    told, passed = story(spec, 5.0, fading, within_s=7200.0)
    first_s = standing(told, LOW_C, HEADING_DELAY_S)
    assert first_s is not None
    assert passed[LOW_C] - first_s >= 600.0
    assert {limit for _, _, limit, _ in told} == {LOW_C}
    for _, _, _, each in told:
        assert 0.0 < each.earliest_s < each.seconds_until <= each.latest_s
        assert each.slope_per_h < 0.0


@pytest.mark.parametrize(
    ("build", "share", "lead_s"),
    [
        ("small", 0.8, 600.0),
        ("small", 0.86, 2400.0),
        ("small, proportional", 0.86, 1500.0),
        ("large", 0.5, 1500.0),
        ("large", 0.6, 3000.0),
        ("large, hysteresis", 0.5, 1800.0),
    ],
)
def test_a_weak_heater(build: str, share: float, lead_s: float) -> None:
    """One that from now on gives only part of what is needed is told of, delay and all, that long before the limit is passed, where that takes
    more than half an hour: once the tail is there."""
    spec = BUILDS[build]
    told, passed = story(spec, 2.0, weak(spec, share), within_s=7200.0)
    first_s = standing(told, LOW_C, HEADING_DELAY_S)
    assert first_s is not None
    assert passed[LOW_C] > TAIL_S + STEP_S
    assert passed[LOW_C] - first_s >= lead_s


def test_a_heater_that_nearly_holds() -> None:
    """Where the air sinks a little, slows down and stays inside, no heading outlasts its delay."""
    for build, share in (("large", 0.9), ("large, hysteresis", 0.9), ("small", 0.95), ("small, proportional", 0.95)):
        spec = BUILDS[build]
        told, passed = story(spec, 1.5, weak(spec, share), within_s=1800.0)
        assert passed == {}, build
        assert standing(told, LOW_C, HEADING_DELAY_S) is None, build


@pytest.mark.parametrize("build", ["large", "large, hysteresis"])
@pytest.mark.parametrize("hours", [2.0, 5.0])
def test_a_room_that_warms_over_hours(build: str, hours: float) -> None:
    """In a room that goes from 20 to 40 °C a cabinet of late eggs is told to head for "too hot" 10 min and more before it is."""
    cabinet = Cabinet(BUILDS[build], probes=(Probe(ProbeSpec(), random.Random(1)),))
    cabinet.step(2 * 3600.0, ROOM)
    line = []
    for i in range(round((CALM_FOR_S + (hours + 3.0) * 3600.0) / STEP_S)):
        gone = min(1.0, max(0.0, (i * STEP_S - CALM_FOR_S) / (hours * 3600.0)))
        cabinet.step(STEP_S, Air(20.0 + 20.0 * gone, vapour_kpa(20.0, 50.0)))
        reading = cabinet.probes[0].read()
        assert reading is not None
        line.append(reading[0])
    told = list(headings(iter(line), within_s=7200.0))
    first_s = standing(told, HIGH_C, HEADING_DELAY_S)
    passed_s = next(i * STEP_S for i, value in enumerate(line) if value > HIGH_C)
    assert first_s is not None
    assert passed_s - first_s >= 600.0


@pytest.mark.parametrize(
    ("build", "state", "limit", "within_s"),
    [
        ("small", DEAD, LOW_C, 120.0),
        ("small", STUCK_ON, HIGH_C, 120.0),
        ("large", STUCK_ON, HIGH_C, 120.0),
        ("large", DEAD, LOW_C, 900.0),
        ("large, hysteresis", DEAD, LOW_C, 900.0),
    ],
)
def test_what_is_too_fast_to_foresee(build: str, state: str, limit: float, within_s: float) -> None:
    """A small cabinet's dead heater, and any that is stuck on, pass the limit within 2 min, a large one's dead heater within 15: nothing is
    told before, the alarm itself is the news."""
    told, passed = story(BUILDS[build], 0.5, heater(state))
    assert passed[limit] < within_s <= TAIL_S
    assert told == []


def test_a_window_reaches_back_three_hours_and_no_farther() -> None:
    """The value of exactly three hours ago is still in it, an older one is not; one that comes within three minutes is left out."""
    window = Window().seen(0.0, 37.5).seen(5400.0, 37.6)
    assert window.seen(10_800.0, 37.7).points == ((0.0, 37.5), (5400.0, 37.6), (10_800.0, 37.7))
    assert window.seen(10_800.1, 37.7).points == ((5400.0, 37.6), (10_800.1, 37.7))
    assert window.seen(5579.9, 37.7) is window
    assert window.seen(5580.0, 37.7).points[-1] == (5580.0, 37.7)
    for odd in (math.nan, math.inf):
        assert window.seen(6000.0, odd) is window


# By hand, in round figures: eggs at 38 °C whose air is too cold at 36 °C, half a kelvin of which is a quarter of the way.
AT_C, COLD_C = 38.0, 36.0


def seen(*values: float, every_s: float = 300.0, swing: float = 0.0) -> Window:
    """A window of these means, the last of them at 20,000 s."""
    first_s = 20_000.0 - every_s * (len(values) - 1)
    return Window(tuple((first_s + every_s * i, value) for i, value in enumerate(values)), swing)


def asked(window: Window, *, after_s: float = 0.0, within_s: float = math.inf, limit: float = COLD_C) -> Heading | None:
    """What is told of it so long after its last mean."""
    return leaves(window, limit, 20_000.0 + after_s, AT_C, within_s)


CALM = [AT_C] * 24  # two hours


def test_a_quarter_of_the_way_must_be_gone() -> None:
    """At 37.5 °C it is, a little above not; at the limit itself it is no heading any more. The quick question lies within that."""
    assert asked(seen(*CALM, 37.8, 37.7, 37.6, 37.5)) is not None
    assert asked(seen(*CALM, 37.8, 37.7, 37.6, 37.51)) is None
    assert asked(seen(*CALM, 37.4, 36.8, 36.2, 36.01)) is not None
    assert asked(seen(*CALM, 37.4, 36.8, 36.2, 36.0)) is None
    assert asked(seen(*CALM, 37.5, 37.3, 37.1, 36.01)) is not None  # a last one that leapt ahead of its line
    assert asked(seen(*CALM, 37.5, 37.3, 37.1, 36.0)) is None
    assert 37.5 < calm_until(COLD_C, AT_C) < 37.51
    assert 38.49 < calm_until(40.0, AT_C) < 38.5


def test_a_tail_is_of_four_means_and_a_quarter_of_an_hour() -> None:
    """Of a probe that speaks each five minutes both are the same; of a slower one four are asked for, of a quicker one the time."""
    assert asked(seen(*CALM, 37.6, 37.4, 37.2, 37.0)) is not None
    assert asked(seen(*CALM, 37.4, 37.2, 37.0)) is None
    assert asked(seen(*CALM, 37.4, 37.2, 37.0, every_s=450.0)) is None
    assert asked(seen(*CALM * 2, 37.6, 37.4, 37.2, 37.0, every_s=299.0)) is None


def test_a_tail_ends_where_it_touches_what_was_calm() -> None:
    """At the edge of the calm range it is no tail, nor at the target itself."""
    assert asked(seen(*[37.7] * 24, 37.7, 37.6, 37.3, 37.1)) is None
    assert asked(seen(*[37.7] * 24, 37.69, 37.6, 37.3, 37.1)) is not None
    assert asked(seen(*[38.2] * 24, 38.0, 37.8, 37.6, 37.4)) is None
    assert asked(seen(*[38.2] * 24, 37.99, 37.8, 37.6, 37.4)) is not None


def test_a_calm_is_of_seven_means_and_an_hour_before_the_last_forty_minutes() -> None:
    """What may be the fall itself, the last forty minutes, tells no range."""
    fall = [37.8, 37.7, 37.6, 37.5, 37.4]  # the first of them exactly forty minutes old
    assert asked(seen(*[AT_C] * 7, *fall, every_s=600.0)) is not None
    assert asked(seen(*[AT_C] * 6, *fall, every_s=600.0)) is None  # an hour, but six
    brief = [37.9, 37.8, 37.7, 37.65, 37.6, 37.55, 37.5, 37.45, 37.4]
    assert asked(seen(*[AT_C] * 12, *brief)) is not None  # from an hour and forty minutes ago
    assert asked(seen(*[AT_C] * 11, *brief)) is None


def test_a_tenth_of_the_calm_may_be_odd_on_either_side() -> None:
    """A glimpse through the door, or a spike: two of 24 do not count, three do."""
    fall = [AT_C] * 5 + [37.6, 37.4, 37.2, 37.0]  # of which the first are too new for the calm
    for odd_c in (36.5, 39.0):
        assert asked(seen(*[odd_c] * 2, *[AT_C] * 22, *fall)) is not None
        assert asked(seen(*[odd_c] * 3, *[AT_C] * 21, *fall)) is None


def test_what_was_as_far_on_the_other_side_is_on_its_way_home() -> None:
    """A quarter of the way above, half a kelvin, is not yet that; more is."""
    fall = [AT_C] * 5 + [37.6, 37.4, 37.2, 37.0]
    assert asked(seen(*[38.5] * 3, *[AT_C] * 17, *fall)) is not None
    assert asked(seen(*[38.51] * 3, *[AT_C] * 17, *fall)) is None


def test_the_other_side_is_a_quarter_of_the_whole_way() -> None:
    """A wide swing shortens the way out to its limit, and not the way that it was on the other side."""
    fall = [AT_C] * 5 + [37.8, 37.6, 37.4, 37.2]
    assert asked(seen(*[38.49] * 3, *[AT_C] * 17, *fall, swing=0.6)) is not None
    assert asked(seen(*[38.51] * 3, *[AT_C] * 17, *fall, swing=0.6)) is None


def test_what_is_twice_as_far_out_as_it_was_on_the_other_side_is_no_way_home() -> None:
    """A room that warms slowly lets a machine stand a little cool for hours, and then makes it too hot."""
    fall = [AT_C] * 5 + [37.6, 37.4, 37.2]
    assert asked(seen(*[38.6] * 3, *[AT_C] * 17, *fall, 36.81)) is None
    assert asked(seen(*[38.6] * 3, *[AT_C] * 17, *fall, 36.79)) is not None


def test_air_that_stands_still_for_one_step_of_four_may_stand_still() -> None:
    """The interval then holds a slope of none."""
    assert asked(seen(*CALM, 37.4, 37.2, 37.2, 37.0)) is None
    assert asked(seen(*CALM, 37.4, 37.2, 37.19, 37.0)) is not None


def test_a_fall_that_has_come_to_a_stand_heads_nowhere() -> None:
    """Its newer half decides how fast it goes on: at 37 °C for half an hour, or rising again, nothing is told."""
    down = [37.5, 37.4, 37.3, 37.2, 37.1]
    assert asked(seen(*CALM, *down, *[37.05 - 0.001 * n for n in range(5)])) is not None
    assert asked(seen(*CALM, *down, *[37.05] * 5)) is None
    assert asked(seen(*CALM, *down, *[37.05 + 0.005 * n for n in range(5)])) is None


def test_a_fall_that_slows_down_is_told_by_its_newer_half() -> None:
    """A kelvin an hour at first, half of it since: at 37 °C a kelvin is left, and two hours, which is the latest, too, for nothing was slower.
    The earliest lies between that and the hour that the faster half alone would leave."""
    line = [AT_C - n / 20.0 for n in range(1, 7)] + [AT_C - 0.3 - n / 40.0 for n in range(1, 8)]
    line = [37.0 + each - line[-1] for each in line]
    heading = asked(seen(*CALM, *line, every_s=180.0))
    assert heading is not None
    assert heading.slope_per_h == pytest.approx(-0.5)
    assert heading.seconds_until == pytest.approx(7200.0)
    assert heading.latest_s == pytest.approx(7200.0)
    assert 3600.0 < heading.earliest_s < 7200.0


def test_what_is_told_counts_from_now() -> None:
    """A fall of a kelvin an hour at 36.75 °C is 45 min away; asked ten minutes later 35; never where the limit must be passed by now."""
    window = seen(*CALM, *[38.0 - n / 12.0 for n in range(1, 16)])
    heading, later = asked(window), asked(window, after_s=600.0)
    assert heading is not None
    assert later is not None
    assert (heading.seconds_until, later.seconds_until) == pytest.approx((2700.0, 2100.0))
    assert asked(window, within_s=2701.0) is not None
    assert asked(window, within_s=2699.0) is None
    near = seen(*CALM, *[38.0 - n / 12.0 for n in range(1, 22)])  # 15 min away
    assert asked(near, after_s=890.0) is not None
    assert asked(near, after_s=910.0) is None


def test_a_limit_within_the_swing_is_not_foretold() -> None:
    """Readings that swing by as much as the limit is away pass it all the time; by less, it is as much nearer to their mean."""
    fall = [AT_C] * 5 + [37.8, 37.6, 37.4, 37.2]
    assert asked(seen(*CALM, *fall, swing=2.0)) is None
    heading, calm = asked(seen(*CALM, *fall, swing=0.4)), asked(seen(*CALM, *fall))
    assert heading is not None
    assert calm is not None
    assert calm.seconds_until - heading.seconds_until == pytest.approx(0.4 / 0.2 * 300.0)


def test_how_far_readings_swing_is_a_mean_over_an_hour() -> None:
    """As a sine's, which reaches half pi of its mean distance: plain over the first twenty means, fading since."""
    window = Window().seen(0.0, 37.8, 0.2)
    assert window.swing == pytest.approx(0.1 * math.pi)
    assert window.seen(180.0, 37.8).swing == pytest.approx(0.05 * math.pi)
    for n in range(1, 20):
        window = window.seen(180.0 * n, 37.8, 0.2)
    full = window.swing
    assert full == pytest.approx(0.1 * math.pi)
    for n in range(20, 22):
        window = window.seen(180.0 * n, 37.8)
    assert window.swing == pytest.approx(full * 0.95**2)
