"""What reaches the ear, on a few lives, before the same bars as the whole run (`python -m tests.truth --bars`)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.truth.bars import BAD_HEAR, Found, bars, jobs, misses, run
from tests.truth.families import FAMILIES
from tests.truth.judges import DEAF, NERVOUS, REAL
from tests.truth.marks import Forecast, Lived
from tests.truth.not_yet import NOT_YET, QUICK_NOT_YET, Known, complaints, key_of
from tests.truth.report import Bar
from tests.truth.scenarios import HELD_OUT, TUNING

# A minute of work on a quiet machine, and no time is judged: the limit is there for what hangs.
pytestmark = pytest.mark.timeout(900)


@pytest.fixture(scope="module")
def found() -> list[Found]:
    """Every quick life lived, on the seeds that may be looked at."""
    return run(jobs(TUNING[0], quick=True), 2)


def test_each_bar_is_met_or_no_worse_than_known(found: list[Found]) -> None:
    """Every bar that the sample allows: within its limit, or within the worst figure that is known of it, and then truly not met."""
    assert complaints(bars(found), QUICK_NOT_YET) == []


@pytest.mark.parametrize(("at_least", "better", "worst", "worse"), [(True, 0.6, 0.5, 0.4), (False, 4.0, 5.0, 6.0)])
def test_what_is_not_yet_may_get_no_worse(at_least: bool, better: float, worst: float, worse: float) -> None:
    """At its figure or better it waits; beyond it, met, or without a bar of that name somebody is told."""
    known = {"a bar": Known(worst, "three of six")}
    bar = Bar("a bar (3 in 6)", worst, 0.7 if at_least else 3.0, at_least, 6)
    assert complaints([bar], known) == complaints([replace(bar, figure=better)], known) == []
    assert "worse than" in complaints([replace(bar, figure=worse)], known)[0]
    assert "met, to be taken off" in complaints([replace(bar, figure=bar.limit)], known)[0]
    assert len(complaints([bar, replace(bar, name="another bar")], known)) == 1
    assert complaints([bar], {**known, "no bar": Known(0.0, "")}) == [
        "no bar: stands in what is not yet, and no bar has that name"
    ]


def test_every_life_was_lived(found: list[Found]) -> None:
    """Each has its row, its machine kept its band, and nothing that people said was refused."""
    rows = [row for row in found if isinstance(row, Lived) and row.judge == REAL]
    assert {row.family for row in rows} == {name for name in FAMILIES if FAMILIES[name].quick}
    assert [row.text for row in rows if row.refused] == []
    assert sum(row.fit for row in rows) >= 0.9 * len(rows)


def test_the_bad_judges_fail(found: list[Found]) -> None:
    """The deaf one misses what has to be told, the nervous one what has to be quiet."""
    assert misses(found, DEAF) == []
    assert misses(found, NERVOUS) == []


def test_every_bar_in_the_list_can_be_printed() -> None:
    """A name that no bar of the whole run has would excuse nothing, and hide that it does."""
    one = Lived(
        REAL,
        "",
        0,
        "",
        "",
        days=1.0,
        fit=True,
        share=0.5,
        right=True,
        crossed=True,
        forecasts=[Forecast("", "high", True)],
    )
    rows = [
        replace(
            one,
            family=name,
            group=family.group,
            found_s=[1.0] if family.wanted or family.says or name == "two at once" else [],
        )
        for name, family in FAMILIES.items()
    ]
    names = {key_of(bar) for bar in bars(rows)} | {
        "season: humidity messages a week, in the worst batch that went well"
    }
    assert set(NOT_YET) <= names
    assert set(QUICK_NOT_YET) <= names
    assert set(BAD_HEAR) <= set(FAMILIES)


def test_the_whole_run_keeps_to_its_seeds() -> None:
    """No seed is looked at and judged by."""
    assert all(job.seed in HELD_OUT for job in jobs(HELD_OUT[0]))
    assert {job.family for job in jobs(HELD_OUT[0])} - {"season"} == set(FAMILIES)
