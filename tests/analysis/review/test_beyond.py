"""Heat and cold beyond the alarm limits beside what was published: by day, by age, and more of it never counts for less."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.analysis.review.beyond import by_day
from monitor.domain.published.exposure import ABOVE, BELOW
from monitor.domain.readings.reading import DAY_MS
from tests.analysis.review.test_judged import spell

SIDES = ((ABOVE, 38.9), (BELOW, 36.7))


def test_the_days_of_a_stay() -> None:
    """The first 24 hours are day 0; a stay over the end of a day is split there, and two on one day are added."""
    set_ms = 5_000
    assert by_day([], set_ms) == ()
    (one,) = by_day([stay(set_ms, 3.25, 3.5)], set_ms)
    assert one == (3, 6.0)
    long = by_day([stay(set_ms, 11.5, 13.25), stay(set_ms, 13.5, 13.75)], set_ms)
    assert long == ((11, 12.0), (12, 24.0), (13, 12.0))


def stay(set_ms: int, since_d: float, until_d: float) -> tuple[int, int]:
    return set_ms + round(since_d * DAY_MS), set_ms + round(until_d * DAY_MS)


@pytest.mark.parametrize(
    ("side", "temp_c", "hours", "day", "reach", "harm"),
    [
        (ABOVE, 43.5, 4.0, 3.0, 8.0, "heat-30min-40.6"),  # of any age
        (ABOVE, 40.6, 0.25, 3.0, 0.5, "heat-30min-40.6"),
        (ABOVE, 39.6, 3.0, 3.0, 0.0, None),  # 39.5 °C for 3 h was of days 7 to 18
        (ABOVE, 39.6, 3.0, 10.0, 1.0, "heat-3h-39.5"),
        (BELOW, 24.0, 30.0, 12.0, 2.5, "cold-12h-24"),
        (BELOW, 24.0, 30.0, 1.0, 30.0 / 18.0, "cold-18h-32.2"),
        (BELOW, 35.0, 30.0, 12.0, 0.0, None),
        (BELOW, 5.0, 12.0, 21.2, 1.0, "cold-12h-5.2"),  # after the term it is the last third still
    ],
)
def test_what_it_came_near_of_what_did_harm(
    side: str, temp_c: float, hours: float, day: float, reach: float, harm: str | None
) -> None:
    """By the hours at or beyond each published temperature, of eggs of that age or of no age that is given."""
    beyond = spell(side, temp_c, hours, day).beyond
    assert beyond is not None
    assert beyond.reach == pytest.approx(reach)
    assert (None if beyond.nearest_harm is None else beyond.nearest_harm.id) == harm


@given(st.sampled_from(SIDES), st.floats(0.0, 10.0), st.floats(0.0, 48.0), st.floats(0.0, 10.0), st.floats(0.0, 48.0))
def test_hotter_colder_or_longer_never_comes_less_far(
    of: tuple[str, float], far: float, hours: float, farther: float, longer: float
) -> None:
    """With all else equal, more of it reaches as far or farther towards what did harm."""
    side, limit_c = of
    sign = 1.0 if side == ABOVE else -1.0
    less = spell(side, limit_c + sign * far, hours, 2.0).beyond
    more = spell(side, limit_c + sign * (far + farther), hours, 2.0).beyond
    assert less is not None
    assert more is not None
    assert more.reach >= less.reach
    # within one day, so that no other age is met
    longer_h = min(hours + longer, 100.0)
    lasting = spell(side, limit_c + sign * far, longer_h, 2.0).beyond
    assert lasting is not None
    assert lasting.reach >= less.reach
