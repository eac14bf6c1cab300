"""How the air was lately: fading means, what they leave out, and when they begin anew."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from monitor.domain.signs.lately import EVERY_SHARE, Mean, Span, Sway, changed, follow

TEN_MIN = Span(0, 600.0, 37.0, 38.0, (37.0, 38.0))
HOURS = Span(1, 21600.0, 37.5, 52.5, (37.5, 52.5), 40.0, 50.0)


def fed(
    span: Span, *stretches: tuple[float, float], every_s: float = 60.0, means: tuple[Mean | None, ...] = ()
) -> Mean:
    """The mean after so many seconds of each value, from 1000 s on."""
    at_s = 1000.0 if not means or means[0] is None else means[0].at_s
    for value, for_s in stretches:
        for _ in range(round(for_s / every_s)):
            at_s += every_s
            values = (value, value, None, None) if span.quantity == 0 else (None, None, value, value)
            means = follow(means, (span,), at_s, values, every_s)
    found = means[0]
    assert found is not None
    return found


@pytest.mark.parametrize("every_s", [2.0, 10.0, 60.0, 300.0])
def test_a_step_is_followed_at_the_same_pace_at_any_interval(every_s: float) -> None:
    """After half the span, one time constant, 63 % of a step is in the mean; a little less in long steps of time."""
    span = Span(0, 7200.0, 37.0, 38.0, (37.0, 38.0))
    found = fed(span, (37.5, 7200.0), (38.5, 3600.0), every_s=every_s)
    assert found.high == pytest.approx(37.5 + 1.0 - math.exp(-1.0), abs=0.025)
    assert found.low == found.high


def test_a_mean_is_judged_once_it_holds_half_its_span() -> None:
    """Before, it is a plain mean of what there is."""
    young = fed(TEN_MIN, (37.0, 120.0), (38.0, 120.0))
    assert not young.judged(TEN_MIN)
    assert 37.3 < young.low < 37.7
    assert fed(TEN_MIN, (37.5, 360.0)).judged(TEN_MIN)


def test_a_swing_is_its_middle() -> None:
    """Of a swing of ±0.6 K each four minutes a tenth is left."""
    means: tuple[Mean | None, ...] = ()
    seen = []
    for n in range(600):
        value = 37.5 + 0.6 * math.sin(2.0 * math.pi * n * 10.0 / 240.0)
        means = follow(means, (TEN_MIN,), n * 10.0, (value, value, None, None), 10.0)
        assert means[0] is not None
        seen.append(means[0].high)
    assert max(abs(each - 37.5) for each in seen[120:]) < 0.09


@pytest.mark.parametrize("period_s", [130.0, 200.0, 361.0])
@pytest.mark.parametrize("several", [False, True])
def test_how_far_a_swing_goes_is_learnt_of_every_reading(period_s: float, several: bool) -> None:
    """Of a sine the mean distance is 2 / pi of its peak, however many of its periods lie between two points of a line."""
    span = replace(TEN_MIN, over_s=1200.0)
    means: tuple[Mean | None, ...] = ()
    for n in range(360):
        value = 37.5 + 0.5 * math.sin(2.0 * math.pi * n * 30.0 / period_s)
        means = follow(
            means, (span,), 30.0 * n, (value, value, None, None), 30.0, ([value, value], []) if several else ()
        )
    found = means[0]
    assert found is not None
    assert (found.away_low, found.away_high) == pytest.approx((2.0 / math.pi * 0.5,) * 2, abs=0.03)


def of_several(*swings_k: float, edges: tuple[float, float] = (math.inf, -math.inf), hours: float = 3.0) -> Mean:
    """Probes of one machine about 37.5 °C, each at its own phase of a swing of two and a half minutes, once a minute."""
    span = replace(TEN_MIN, edge_low=edges[0], edge_high=edges[1])
    means: tuple[Mean | None, ...] = ()
    for n in range(round(hours * 60.0)):
        each = [
            37.5 + 0.1 * i + swing_k * math.sin(2.0 * math.pi * (n / 2.5 + i / 3.0))
            for i, swing_k in enumerate(swings_k)
        ]
        values = (min(each), max(each), None, None)
        means = follow(means, (span,), 60.0 * n, values, 60.0, (each, []))
    found = means[0]
    assert found is not None
    return found


def test_of_two_probes_the_worse_mean_counts_and_not_the_mean_of_the_worse() -> None:
    """Two that swing by 0.5 K at two phases are 37.5 and 37.6 on average, and not half a kelvin apart."""
    found = of_several(0.5, 0.5)
    assert (found.low, found.high) == pytest.approx((37.5, 37.6), abs=0.06)
    assert len(found.lows) == 2


def test_of_three_probes_the_middle_mean_counts() -> None:
    """That of the second."""
    found = of_several(0.5, 0.5, 0.5)
    assert found.low == found.high == pytest.approx(37.6, abs=0.06)


def test_what_was_well_within_counts_as_its_edge_of_each_probe() -> None:
    """Towards the low limit nothing counts for more than its edge, towards the high one for no less."""
    found = of_several(0.0, 0.0, edges=(37.55, 37.45))
    assert found.lows == pytest.approx((37.5, 37.55))
    assert found.highs == pytest.approx((37.5, 37.6))


def test_a_probe_that_speaks_for_the_first_time_begins_where_the_machine_was() -> None:
    """As one whose humidity is fit again."""
    alone = follow((), (TEN_MIN,), 0.0, (37.5, 37.5, None, None), 60.0)
    both = follow(alone, (TEN_MIN,), 60.0, (37.5, 38.5, None, None), 60.0, ([37.5, 38.5], []))[0]
    assert both is not None
    assert both.lows == (37.5, 38.5)  # a plain mean at first: of the first minute it was all
    later = follow((replace(both, held_s=300.0),), (TEN_MIN,), 120.0, (37.5, 37.5, None, None), 60.0, ([37.5], []))[0]
    assert later is not None
    assert (later.lows, later.low) == ((), 37.5)


def test_what_was_well_within_hides_nothing() -> None:
    """Air that stood at 49 % for a day and at 40 % for another falls to 33 %: an hour and a half later both means say the same."""
    from_49 = fed(HOURS, (49.0, 86400.0), (33.0, 5400.0))
    from_40 = fed(HOURS, (40.0, 86400.0), (33.0, 5400.0))
    assert from_49.low == pytest.approx(from_40.low)
    assert from_49.low < HOURS.least
    assert from_49.high == pytest.approx(50.0)  # of damp air it says nothing


def test_silence_teaches_nothing_and_a_long_one_begins_anew() -> None:
    """One reading after five minutes of silence counts for three intervals; after more than the span it stands alone."""
    calm = fed(TEN_MIN, (37.5, 3600.0))
    (after,) = follow((calm,), (TEN_MIN,), calm.at_s + 300.0, (38.5, 38.5, None, None), 10.0)
    assert after is not None
    assert after.high == pytest.approx(37.5 + 30.0 / 330.0)
    (anew,) = follow((calm,), (TEN_MIN,), calm.at_s + 601.0, (38.5, 38.5, None, None), 10.0)
    assert anew == Mean(38.5, 38.5, 0.0, calm.at_s + 601.0, TEN_MIN.limits)


def test_other_limits_begin_anew_and_the_same_ones_do_not() -> None:
    """At a new band the mean is another; a plan that was only made again changes nothing."""
    calm = fed(TEN_MIN, (37.5, 3600.0))
    again = Span(0, 600.0, 37.0, 38.0, (37.0, 38.0))
    (same,) = follow((calm,), (again,), calm.at_s + 10.0, (37.5, 37.5, None, None), 10.0)
    assert same is not None
    assert same.held_s == 300.0
    other = Span(0, 600.0, 36.5, 37.5, (36.5, 37.5))
    (anew,) = follow((calm,), (other,), calm.at_s + 10.0, (37.2, 37.2, None, None), 10.0)
    assert anew is not None
    assert (anew.held_s, anew.low) == (0.0, 37.2)


def test_what_is_not_known_leaves_the_mean_as_it_was() -> None:
    """A reading without humidity moves the temperature's mean alone."""
    dry, humid = fed(TEN_MIN, (37.5, 600.0)), fed(HOURS, (45.0, 600.0))
    means = follow((dry, humid), (TEN_MIN, HOURS), dry.at_s + 10.0, (37.6, 37.6, None, None), 10.0)
    assert means[1] is humid
    assert means[0] is not dry


SIX_H = replace(HOURS, change=6.0, brief=1)
BRIEF = Span(1, 1800.0, 37.5, 52.5, HOURS.limits)
USUAL = Span(1, 86_400.0, 37.5, 52.5, HOURS.limits, usual=True)
SUDDEN = (SIX_H, BRIEF, USUAL)


def moved(*stretches: tuple[float, float], side: int = -1, every_s: float = 60.0) -> float | None:
    """What is judged in place of the hours after so many seconds of each value."""
    at_s = 0.0
    means: tuple[Mean | None, ...] = ()
    for value, for_s in stretches:
        for _ in range(round(for_s / every_s)):
            at_s += every_s
            means = follow(means, SUDDEN, at_s, (None, None, value, value), every_s)
    return changed(means, SUDDEN, 0, side=side)


@pytest.mark.parametrize("every_s", [10.0, 60.0, 300.0])
def test_air_that_left_what_its_machine_held_is_judged_by_half_an_hour(every_s: float) -> None:
    """A fall of ten is a change within the half hour, and is that mean; on the other side it is none."""
    line = ((46.0, 10_800.0), (36.0, 1500.0))
    now = moved(*line, every_s=every_s)
    assert now is not None
    assert 36.0 < now < 39.5
    assert moved(*line, side=1, every_s=every_s) is None
    up = moved((46.0, 10_800.0), (56.0, 1500.0), side=1, every_s=every_s)
    assert up is not None
    assert 52.5 < up < 56.0


def test_what_a_machine_always_held_is_no_change() -> None:
    """It stands at 36 % since it was switched on, or five lower than it was: that is judged over hours."""
    assert moved((36.0, 86_400.0)) is None
    assert moved((42.0, 10_800.0), (37.0, 7200.0)) is None


def test_a_change_needs_an_hour_to_change_from() -> None:
    """After half an hour nobody knows what the machine usually holds."""
    assert moved((46.0, 1800.0), (30.0, 1800.0)) is None
    assert moved((46.0, 3700.0), (30.0, 1800.0)) is not None


def test_what_is_beyond_the_limits_is_not_what_is_usual() -> None:
    """A pan that has been dry for a day and a half is dry: its machine holds nothing else by now only once it is within again."""
    assert moved((46.0, 10_800.0), (36.0, 129_600.0)) == pytest.approx(36.0, abs=0.1)


def test_a_record_of_before_there_was_such_a_mean_is_read() -> None:
    """What an older run handed on has one mean of them: nothing is a change yet."""
    assert changed((fed(HOURS, (36.0, 21_600.0)),), SUDDEN, 0, side=-1) is None


def after(mean: Mean, span: Span, passed_s: float, value: float, *, every_s: float = 10.0) -> Mean:
    """The mean after one reading more, so long after the last that it took."""
    (found,) = follow((mean,), (span,), mean.at_s + passed_s, (value, value, None, None), every_s)
    assert found is not None
    return found


CALM = Mean(37.5, 37.5, 300.0, 1000.0, TEN_MIN.limits)  # of ten minutes of which it holds the half that it can


def test_a_mean_holds_enough_at_half_its_span_exactly() -> None:
    """Five minutes of ten, and not a moment less; it never holds more, however long the air is watched."""
    assert CALM.judged(TEN_MIN)
    assert not replace(CALM, held_s=299.9).judged(TEN_MIN)
    assert after(CALM, TEN_MIN, 10.0, 37.5).held_s == 300.0
    assert after(replace(CALM, held_s=100.0), TEN_MIN, 10.0, 37.5).held_s == 110.0


def test_a_reading_counts_for_the_time_since_the_last() -> None:
    """Of ten seconds beside five minutes 10/310 of the way is gone, up and down alike, of either end by itself."""
    share = 10.0 / 310.0
    (found,) = follow((CALM,), (TEN_MIN,), 1010.0, (36.5, 38.5, None, None), 10.0)
    assert found is not None
    assert (found.low, found.high) == pytest.approx((37.5 - share, 37.5 + share))
    assert (found.at_s, found.limits) == (1010.0, TEN_MIN.limits)


def test_silence_begins_with_the_fourth_interval_and_the_mean_anew_after_its_span() -> None:
    """Three intervals count as they are; ten minutes of silence are still three, a moment more and nothing is known."""
    assert after(CALM, TEN_MIN, 30.0, 38.5).high == pytest.approx(37.5 + 30.0 / 330.0)
    assert after(CALM, TEN_MIN, 31.0, 38.5).high == pytest.approx(37.5 + 30.0 / 330.0)
    assert after(CALM, TEN_MIN, 600.0, 38.5).high == pytest.approx(37.5 + 30.0 / 330.0)
    assert after(CALM, TEN_MIN, 600.1, 38.5) == Mean(38.5, 38.5, 0.0, 1600.1, TEN_MIN.limits)


def test_a_mean_over_hours_takes_a_value_now_and_then() -> None:
    """Each three minutes of six hours, say: what comes sooner is left out unless the limits are others; and that it waited is no silence."""
    hours = Span(0, 21_600.0, 37.0, 38.0, (37.0, 38.0), every_s=180.0)
    known = Mean(37.5, 37.5, 10_800.0, 1000.0, hours.limits)
    means = (known,)
    assert follow(means, (hours,), 1179.9, (38.5, 38.5, None, None), 10.0) is means
    for passed_s, counts_s in ((180.0, 180.0), (190.0, 190.0), (190.1, 30.0)):
        assert after(known, hours, passed_s, 38.5).high == pytest.approx(37.5 + counts_s / (10_800.0 + counts_s))
    assert after(known, replace(hours, limits=(36.0, 38.0)), 10.0, 38.5).high == 38.5


def test_unless_it_is_said_each_reading_is_taken() -> None:
    """However soon it comes: half a second counts for half a second."""
    assert after(CALM, TEN_MIN, 0.5, 38.5, every_s=0.5).high == pytest.approx(37.5 + 0.5 / 300.5)


def test_a_span_takes_a_value_a_hundred_and_twenty_times() -> None:
    """A mean over two hours each minute, one over six each three: more often would change nothing that can be seen."""
    assert (EVERY_SHARE * 7200.0, EVERY_SHARE * 21_600.0) == (60.0, 180.0)


def test_only_what_is_known_at_both_ends_is_taken() -> None:
    """Air of which one end is not known leaves the very means that were."""
    means = (CALM,)
    for values in ((None, 38.5, None, None), (36.5, None, None, None), (None, None, 45.0, 45.0)):
        assert follow(means, (TEN_MIN,), 1010.0, values, 10.0) is means


def test_each_span_keeps_its_own_mean() -> None:
    """Of a plan with fewer spans what is over is dropped; of one with more what is new begins."""
    values = (37.5, 37.5, 45.0, 45.0)
    (dry, humid) = follow((CALM,), (TEN_MIN, HOURS), 1010.0, values, 10.0)
    assert dry is not None
    assert (dry.held_s, humid) == (300.0, Mean(40.0, 50.0, 0.0, 1010.0, HOURS.limits))  # well within
    assert len(follow((CALM, humid), (TEN_MIN,), 1010.0, values, 10.0)) == 1


def usual_after(brief: float, value: float) -> Mean | None:
    """What a machine usually holds after one reading more, where its last half hour was of that."""
    held = Mean(45.0, 45.0, 7200.0, 1000.0, HOURS.limits)
    means = (held, Mean(brief, brief, 900.0, 1000.0, HOURS.limits), held)
    return follow(means, SUDDEN, 1060.0, (None, None, value, value), 60.0)[2]


def test_air_at_its_limit_is_still_what_a_machine_holds() -> None:
    """At 37.5 and at 52.5 % no limit is passed, so it is learnt; beyond them it is not, on either side."""
    for brief, learnt in ((37.5, True), (37.4, False), (52.5, True), (52.6, False)):
        found = usual_after(brief, 50.0)
        assert found is not None
        assert (found.high > 45.0) is learnt


def test_what_is_usual_is_learnt_where_an_older_run_left_none() -> None:
    """Of its half hour beyond the limits it is not."""
    held = Mean(45.0, 45.0, 900.0, 1000.0, HOURS.limits)
    for brief, learnt in ((45.0, True), (30.0, False)):
        found = follow((held, replace(held, low=brief)), SUDDEN, 1060.0, (None, None, 45.0, 45.0), 60.0)
        assert (found[2] is not None) is learnt


@pytest.mark.parametrize(
    ("usual", "held_s", "brief", "brief_held_s", "side", "now"),
    [
        (46.0, 3600.0, 39.9, 900.0, -1, 39.9),
        (46.0, 3600.0, 40.0, 900.0, -1, None),  # by six exactly
        (46.0, 3599.9, 39.9, 900.0, -1, None),  # for less than an hour
        (46.0, 3600.0, 39.9, 899.9, -1, None),  # of less than a quarter of an hour
        (46.0, 3600.0, 39.9, 900.0, 1, None),
        (44.0, 3600.0, 50.1, 900.0, 1, 50.1),
        (44.0, 3600.0, 50.0, 900.0, 1, None),
        (44.0, 3600.0, 50.1, 900.0, -1, None),
    ],
)
def test_a_change_is_more_than_six_from_what_was_held_for_an_hour(
    usual: float, held_s: float, brief: float, brief_held_s: float, side: int, now: float | None
) -> None:
    """On the side that is asked about, and once both are known; a span without a change has none."""
    means = (None, Mean(brief, brief, brief_held_s, 0.0, ()), Mean(usual, usual, held_s, 0.0, ()))
    assert changed(means, SUDDEN, 0, side=side) == now
    assert changed(means, (replace(SIX_H, change=0.0), BRIEF, USUAL), 0, side=side) is None
    for unknown in ((None, None, means[2]), (None, means[1], None), means[:2]):
        assert changed(unknown, SUDDEN, 0, side=side) is None


def test_a_change_is_told_by_the_end_that_its_limit_judges() -> None:
    """Low limits by the lowest probe's mean, high ones by the highest's."""
    means = (None, Mean(30.0, 60.0, 900.0, 0.0, ()), Mean(44.0, 46.0, 3600.0, 0.0, ()))
    assert (changed(means, SUDDEN, 0, side=-1), changed(means, SUDDEN, 0, side=1)) == (30.0, 60.0)


def swayed(*values: float, every_s: float = 600.0) -> Sway:
    """After so many means."""
    found = Sway(values[0])
    for value in values[1:]:
        found = found.seen(value, every_s)
    return found


def test_a_mean_that_wanders_to_both_sides_may_do_so_again() -> None:
    """Of a sine's wandering of 0.3 K in five hours the peaks are within reach, and 0.4 K is not."""
    found = swayed(*(37.5 + 0.3 * math.sin(2.0 * math.pi * n / 30.0) for n in range(300)))
    assert found.middle == pytest.approx(37.5, abs=0.05)
    assert found.reach == pytest.approx(0.3, abs=0.05)


def test_what_goes_to_one_side_alone_wanders_nowhere() -> None:
    """As slow heat goes: it may not take its own rise for what it always did."""
    assert swayed(*(37.5 + 0.01 * n for n in range(100))).reach == 0.0
    calm = swayed(*(37.5 + 0.02 * (-1.0) ** n for n in range(100)), *(37.5 + 0.01 * n for n in range(60)))
    assert calm.reach < 0.04


def test_a_sway_is_of_a_day() -> None:
    """What it was before has faded after three, but for a twentieth."""
    wild = [37.5 + 0.5 * (-1.0) ** n for n in range(144)]
    assert swayed(*wild).reach > 0.7
    assert swayed(*wild, *[37.5] * 432).reach < 0.05 * swayed(*wild).reach + 0.01


def test_only_of_a_temperature_a_sway_is_known() -> None:
    """Once its mean is one; a humidity is judged over hours as it is."""
    young = fed(TEN_MIN, (37.5, 240.0))
    assert young.sway is None
    assert there_sway(fed(TEN_MIN, (37.5, 3600.0))) == pytest.approx((37.5, 0.0))
    assert fed(HOURS, (45.0, 86_400.0)).sway is None


def there_sway(mean: Mean) -> tuple[float, float]:
    """Its middle and its reach."""
    assert mean.sway is not None
    return mean.sway.middle, mean.sway.reach
