"""What stands beside the figures of each stage and the whole: dose, eggs, pull on their water, openings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.analysis.history.dose import doses_of, joined
from monitor.analysis.history.felt_figures import felt_of
from monitor.analysis.line.eggs import KNOWN_AFTER
from monitor.analysis.water.pull import pull_of
from tests.analysis.air import HOUR, T0, stretch
from tests.analysis.lived import DAY_MS, HAPPENINGS, MODELS, TERM_DAYS, lived, stretches


def test_a_row_for_each_stage_and_the_whole() -> None:
    """In the order and with the times of the history's own periods."""
    history = lived()
    told = [(f.stage, f.since_ms, f.until_ms) for f in history.felt]
    assert told == [(p.stage, p.since_ms, p.until_ms) for p in (*history.stages, history.whole)]


def test_the_dose_of_the_whole_is_that_of_its_stages() -> None:
    """Two hours at 41 °C (41.2 by the worse probe) all lie in the setter: there and in the whole alike, and none in the hatcher."""
    setter, lockdown, whole = lived().felt
    above = setter.doses[0]
    # Up from 37.7 and down again, a minute each: beyond 39 °C for 2.2 of 3.5 K of it.
    assert above.dose.hours == pytest.approx((119 + 2 * 2.2 / 3.5) / 60)
    assert above.dose.peak_c == pytest.approx(41.2)
    assert whole.doses[0].dose.hours == above.dose.hours
    assert [side.dose.hours for side in lockdown.doses] == [0.0, 0.0]
    life = stretches()
    assert whole.doses == joined([doses_of(s, T0, TERM_DAYS) for s in life])


def test_the_egg_is_cooler_than_the_air_s_peak_and_its_gaps_are_told() -> None:
    """The egg comes near 41 °C in two hours (tau under 20 min), later than the air; unknown at first and after the hour's silence."""
    setter, lockdown, whole = lived().felt
    egg = setter.egg_c
    tau_ms = MODELS["setter-a"].tau_s * 1000.0
    assert egg.max == pytest.approx(41.0, abs=0.2)
    assert egg.max_at_ms is not None
    assert egg.max_at_ms >= T0 + 1619 * 60_000
    waits = [(gap.since_ms - T0, gap.until_ms - T0) for gap in egg.gaps]
    first, later = waits
    assert (first[0], later[0]) == (0, 2399 * 60_000)
    assert first[1] == pytest.approx(KNOWN_AFTER * tau_ms, abs=1.0)
    assert later[1] == pytest.approx(2460 * 60_000 + KNOWN_AFTER * tau_ms, abs=1.0)
    assert lockdown.egg_c.gaps == ()
    assert whole.egg_c.coverage == pytest.approx((setter.egg_c.hours_covered + 24.0) / 72.0)
    assert (setter.tau_s, lockdown.tau_s) == ((MODELS["setter-a"].tau_s,), (MODELS["hatcher-b"].tau_s,))
    assert whole.tau_s == (*setter.tau_s, *lockdown.tau_s)


def test_the_deficit_is_the_pull_of_its_time() -> None:
    """Mean deficit times recorded time of the stages adds up to that of the whole, and to the pull itself."""
    setter, lockdown, whole = lived().felt
    total, days = pull_of(stretches(), MODELS, T0).until(T0 + 3 * DAY_MS)
    assert whole.deficit_kpa == pytest.approx(total / days)
    assert whole.deficit_hours == pytest.approx(days * 24.0)
    assert setter.deficit_kpa is not None
    assert lockdown.deficit_kpa is not None
    parts = setter.deficit_kpa * setter.deficit_hours + lockdown.deficit_kpa * lockdown.deficit_hours
    assert parts == pytest.approx(total * 24.0)
    assert setter.deficit_hours == pytest.approx(48.0 - 61 / 60)
    # 37.6 °C and 50.5 % pull with about 3.2 kPa.
    assert 3.0 < setter.deficit_kpa < 3.5


def test_openings_are_counted_once_and_where_they_were() -> None:
    """Two in the setter, one in the hatcher; that one was not coming back is no opening of its own."""
    setter, lockdown, whole = lived().felt
    assert (setter.openings, lockdown.openings, whole.openings) == (2, 1, 3)
    assert (setter.openings_per_day, whole.openings_per_day) == (1.0, 1.0)


def test_without_any_air_nothing_is_known() -> None:
    """A machine that was never heard: no dose, no egg, no deficit; what was done is still counted."""
    (felt, whole) = felt_of([stretch(hours=48.0)], MODELS, set_ms=T0, term_days=TERM_DAYS, happenings=HAPPENINGS)
    assert (felt.deficit_kpa, felt.deficit_hours, felt.openings) == (None, 0.0, 2)
    assert felt.egg_c.mean is None
    assert [side.dose.peak_c for side in whole.doses] == [None, None]
    nowhere = replace(stretch(hours=1.0), machine="")
    assert felt_of([nowhere], MODELS, set_ms=T0, term_days=TERM_DAYS)[0].tau_s == ()
    assert felt_of([nowhere], MODELS, set_ms=T0, term_days=TERM_DAYS)[0].egg_c.hours_total * HOUR == HOUR
