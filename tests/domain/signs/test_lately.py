"""How the air was lately: fading means, what they leave out, and when they begin anew."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from monitor.domain.signs.lately import Mean, Span, changed, follow

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
