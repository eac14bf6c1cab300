"""The heat and cold beyond the alarm limits, against the domain's own sum, piece by piece."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.analysis.history.dose import doses_of, joined
from monitor.analysis.history.felt import SideDose
from monitor.domain.published.exposure import ABOVE, BELOW, CONTRADICTS, LEVELS_C, REACHED, WITHIN, Dose, nearest
from tests.analysis.air import HOUR, T0, readings, stretch

TERM = 21.0
HOT, COLD = 39.0, 36.0  # the alarm limits of the made-up band


def both(*air: object, **other: object) -> tuple[SideDose, SideDose]:
    """The dose above and below of one stretch."""
    above, below = joined([doses_of(stretch(*air, **other), T0, TERM)])  # type: ignore[arg-type]
    return above, below


def test_beyond_the_alarm_limit_by_hand() -> None:
    """Two hours at 41 °C with straight ways up and down: hours and degree-hours count from 39 °C, where the alarm stands, not from 38."""
    above, below = both(
        readings([0, 1200, 1200 + 7200, 9600, 10800], [37.0, 41.0, 41.0, 37.0, 37.0]), hours=3.0, max_gap_s=7200.0
    )
    assert above.limits_c == (HOT,)
    assert above.dose.hours == pytest.approx(2.0 + 2 * 10 / 60)
    assert above.dose.degree_h == pytest.approx(2.0 * 2.0 + 2 * 10 / 60 * 1.0)
    assert (above.dose.peak_c, above.stays, above.peak_at_ms) == (41.0, 1, T0 + 1_200_000)
    assert above.share_of_term == pytest.approx(1200 / 86_400 / TERM)
    assert (below.dose.hours, below.dose.peak_c, below.stays, below.published) == (0.0, None, 0, ())


def test_nothing_is_made_up_over_a_gap() -> None:
    """A minute of heat before a gap of an hour and a minute after it are two minutes in two stays."""
    at = [*range(0, 61, 10), *range(3660, 3721, 10)]
    above, _ = both(readings(at, 40.7), hours=3720 / 3600)
    assert above.dose.hours * 60.0 == pytest.approx(2.0)
    assert above.stays == 2
    assert above.longest_h(40.6) * 60.0 == pytest.approx(1.0)
    assert above.dose.hours_at(40.6) * 60.0 == pytest.approx(2.0)


def test_of_two_probes_the_worse_counts_and_of_three_the_median() -> None:
    """One probe of two at 40 °C is heat, one at 35 °C is cold; beside a third in between neither is."""
    at = range(0, 3601, 10)
    one, other, middle = readings(at, 40.0), readings(at, 35.0), readings(at, 37.5)
    above, below = both(one, other)
    assert (above.dose.peak_c, below.dose.peak_c) == (40.0, 35.0)
    assert (above.dose.hours, below.dose.hours, below.dose.degree_h) == pytest.approx((1.0, 1.0, 1.0))
    above, below = both(one, other, middle)
    assert (above.dose.hours, below.dose.hours) == (0.0, 0.0)


def test_flagged_readings_are_no_heat() -> None:
    """A sensor that failed at 45 °C has heated nothing."""
    above, _ = both(readings(range(0, 3601, 10), 45.0, flag=4))
    assert above.dose.peak_c is None


def test_without_a_band_there_is_no_dose() -> None:
    """Where nothing is judged nothing is beyond its limit."""
    assert doses_of(stretch(readings(range(0, 3601, 10), 45.0), dry_bulb_c=None), T0, TERM) == ()


def test_what_was_published_stands_beside_it() -> None:
    """Two days at 40.6 °C on day 16: the source that says half an hour kills was reached, a day of it that did nothing contradicts."""
    since_s = 16 * 86_400
    air = readings(since_s + np.arange(0, 48 * 3600 + 1, 60), 40.6)
    above, _ = both(air, since_s=since_s, hours=48.0, max_gap_s=180.0)
    found = {match.exposure.id: match for match in above.published}
    assert above.share_of_term == pytest.approx(16 / 21)
    assert found["heat-30min-40.6"].standing == REACHED
    assert found["heat-24h-40.6"].standing == CONTRADICTS
    assert found["heat-7d-40.6"].standing == WITHIN
    assert above.published == nearest(above.dose, 16 / 21)


def test_parts_in_a_row_add_up() -> None:
    """Cut in two, with another limit in the second part: sums add, a stay through the cut is one, and both limits are told."""
    at = np.arange(0, 7201, 10)
    air = readings(at, 40.7)
    first = doses_of(stretch(air, hours=1.0), T0, TERM)
    second = doses_of(stretch(air, hours=1.0, since_s=3600.0), T0, TERM)
    above, _ = joined([first, second])
    assert (above.dose.hours, above.dose.degree_h) == pytest.approx((2.0, 2.0 * 1.7))
    assert above.longest_h(40.6) == pytest.approx(2.0)
    assert above.levels[40.6] == ((T0, T0 + 2 * HOUR),)
    assert joined([first, ()]) == joined([first])
    lower = SideDose(Dose(ABOVE, 38.5), (38.5,))
    assert joined([first, (lower,)])[0].limits_c == (HOT, 38.5)


@settings(deadline=None, max_examples=200)
@given(
    st.lists(st.floats(0.0, 50.0).map(lambda c: round(c, 2)), min_size=2, max_size=60),
    st.lists(st.integers(1, 30), min_size=60, max_size=60),
)
def test_it_is_the_sum_of_the_domain(values: list[float], steps: list[int]) -> None:
    """Whatever the air does, the hours, degree-hours, peak and hours at each published temperature are those that Dose.add sums."""
    at_s = np.cumsum([0, *steps[: len(values) - 1]])
    found = both(readings(at_s, values), hours=float(at_s[-1]) / 3600.0)
    for side, mine, limit_c in ((ABOVE, found[0], HOT), (BELOW, found[1], COLD)):
        slow = Dose(side, limit_c)
        for (before, after), seconds in zip(pairwise(values), np.diff(at_s).tolist(), strict=True):
            slow = slow.add(before, after, seconds)
        assert mine.dose.hours == pytest.approx(slow.hours, abs=1e-9)
        assert mine.dose.degree_h == pytest.approx(slow.degree_h, abs=1e-9)
        assert mine.dose.peak_c == slow.peak_c
        for level_c in LEVELS_C[side]:
            assert mine.dose.hours_at(level_c) == pytest.approx(slow.hours_at(level_c), abs=1e-9)
        assert mine.published == (() if slow.peak_c is None else nearest(mine.dose, mine.share_of_term or 0.0))
