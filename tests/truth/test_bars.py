"""What reaches the ear, on a few lives, before the same bars as the whole run (`python -m tests.truth --bars`)."""

from __future__ import annotations

import pytest

from tests.truth.bars import BAD_HEAR, NOT_YET, Found, bars, jobs, key_of, misses, run
from tests.truth.families import FAMILIES
from tests.truth.judges import DEAF, NERVOUS, REAL
from tests.truth.marks import Lived
from tests.truth.scenarios import HELD_OUT, TUNING

# A minute of work on a quiet machine, and no time is judged: the limit is there for what hangs.
pytestmark = pytest.mark.timeout(900)


@pytest.fixture(scope="module")
def found() -> list[Found]:
    """Every quick life lived, on the seeds that may be looked at."""
    return run(jobs(TUNING[0], quick=True), 2)


def test_no_bar_is_missed_that_was_met(found: list[Found]) -> None:
    """Every bar that the sample allows is met, but those that are known not to be."""
    missed = [f"{bar.line()} {bar.worst[:3]}" for bar in bars(found) if not bar.met and key_of(bar) not in NOT_YET]
    assert missed == []


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
    """A name in NOT_YET that no bar has would excuse nothing, and hide that it does."""
    families = [name for name in FAMILIES if FAMILIES[name].wanted or FAMILIES[name].says or name == "two at once"]
    told = {f"{name}: told within {FAMILIES[name].allowed_s / 60.0:.0f} min" for name in families}
    assert {name for name in NOT_YET if ": told within" in name} <= told
    assert set(BAD_HEAR) <= set(FAMILIES)


def test_the_whole_run_keeps_to_its_seeds() -> None:
    """No seed is looked at and judged by."""
    assert all(job.seed in HELD_OUT for job in jobs(HELD_OUT[0]))
    assert {job.family for job in jobs(HELD_OUT[0])} - {"season"} == set(FAMILIES)
