"""A target loss by each clock: published lines that are one line, what is said of it, and when internal pip is expected."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.needs.target import PIP_SHARE, Target, lockdown_day, pip_day, target_of
from monitor.shown.values import target_view, target_words
from tests.analysis.weighed import bird, figure, rows


@pytest.mark.parametrize(("pct", "column"), [(13.0, "line_13_g"), (17.0, "line_17_g")])
def test_guide_lines_of_the_amazon(pct: float, column: str) -> None:
    """The straight line to 13 or 17 % in 25 days gives each printed weight, to the rounding of print."""
    target = Target((pct, pct), 25.0, 22.5, 25.0)
    for row in rows("amazon.csv"):
        if row[column]:
            low, high = target.by(float(row["day"]))
            assert low == high
            assert 26.49 * (1.0 - low / 100.0) == pytest.approx(float(row[column]), abs=0.0051)


def test_a_hawk_s_daily_loss() -> None:
    """16 % over 32 days is 0.3 g a day for a 60 g egg; fresh mass over 6.25 is 16 %."""
    low, _ = Target((16.0, 16.0), "hatch", 28.8, 32.0).by(1.0)
    assert 60.0 * low / 100.0 == pytest.approx(figure("hawk-loss-g-d"))
    assert 100.0 / figure("mass-over-loss") == pytest.approx(16.0)


def test_the_day_of_pip() -> None:
    """Pip is expected at 0.9 of the term; never before lockdown (an ostrich: day 39 of 42)."""
    assert pip_day(bird(27.0, 23.0)) == pytest.approx(27.0 * PIP_SHARE)
    assert pip_day(bird(42.0, 39.0)) == 39.0


def test_one_line_by_three_clocks() -> None:
    """12 % by day 18 of 21 and 14 % by the hatch are the same line (12 / 18 x 21), whichever of them the source gives."""
    hen = bird(21.0, 18.0)
    by_day = target_of(replace(hen, target_loss_pct=(12.0, 13.0), target_loss_to=18.0))
    by_hatch = target_of(replace(hen, target_loss_pct=(14.0, 13.0 / 18.0 * 21.0), target_loss_to="hatch"))
    assert by_day is not None
    assert by_hatch is not None
    assert by_day.by_hatch_pct == pytest.approx(by_hatch.by_hatch_pct)
    assert by_day.by_pip_pct == pytest.approx(by_hatch.by_pip_pct)
    assert by_hatch.by(18.0) == pytest.approx((12.0, 13.0))
    by_pip = target_of(replace(hen, target_loss_pct=by_day.by_pip_pct))
    assert by_pip is not None
    assert by_pip.by(18.0) == pytest.approx((12.0, 13.0))
    assert by_day.by(-1.0) == (0.0, 0.0)
    assert target_of(replace(hen, target_loss_pct=None)) is None


def test_both_ways_are_said() -> None:
    """Beside the source's own clock stand the others, which a breeder may go by."""
    hen = Target((12.0, 13.0), 18.0, 18.9, 21.0)
    assert target_words(hen) == "12 to 13 % by day 18, which is 12.6 to 13.6 by pip (day 18.9) and 14 to 15.2 by hatch"
    assert target_words(replace(hen, to="hatch")) == "12 to 13 % by hatch, which is 10.8 to 11.7 by pip (day 18.9)"
    assert (
        target_words(replace(hen, to="internal pip")) == "12 to 13 % by pip (day 18.9), which is 13.3 to 14.4 by hatch"
    )
    assert target_view(hen) == {
        "given_pct": [12.0, 13.0],
        "to": 18.0,
        "by_pip_pct": [12.6, 13.65],
        "pip_day": 18.9,
        "by_hatch_pct": [14.0, 15.167],
        "hatch_day": 21.0,
    }
    assert target_view(None) is None


def test_when_a_lockdown_is_expected() -> None:
    """On its day by the calendar; of a bird that goes by a pip, on the day of internal pip: until then its humidity can be chosen."""
    shipped = load_profiles(None)
    assert lockdown_day(shipped["chicken"]) == 18.0
    grey = shipped["african-grey"]
    assert lockdown_day(grey) == pip_day(grey) > grey.lockdown_day
    assert lockdown_day(replace(grey, lockdown_by="draw-down")) == grey.lockdown_day
