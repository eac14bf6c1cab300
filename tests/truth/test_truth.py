"""The judge on a few dozen scenarios with known truth, before the same bars as the whole run (`python -m tests.truth`)."""

from __future__ import annotations

import pytest

from tests.truth.judges import DEAF, NERVOUS, REAL
from tests.truth.report import bars, told_of
from tests.truth.run import Results, jobs, run
from tests.truth.scenarios import TUNING

# Minutes of work on a slow or busy machine, and no time is judged: the limit is there for what hangs.
pytestmark = pytest.mark.timeout(600)


@pytest.fixture(scope="module")
def results() -> Results:
    """Every quick job played, on the seeds that may be looked at."""
    return run(jobs(TUNING[0], quick=True), 2)


def test_every_bar_that_the_sample_allows_is_met(results: Results) -> None:
    """The real judge tells what it should, in time, and nothing else."""
    real = results.of(REAL)
    assert results.unfit == []
    missed = [f"{bar.line()} {bar.worst[:3]}" for bar in bars(real) if not bar.met]
    assert missed == []


def test_every_fault_has_a_row(results: Results) -> None:
    """Nothing was left out on the way: each scenario was scored for each judge."""
    of = {judge: {(r.fault, r.seed) for r in results.of(judge).rows} for judge in (REAL, DEAF, NERVOUS)}
    assert of[REAL] == of[DEAF] == of[NERVOUS]
    assert len(of[REAL]) >= 40


def test_the_deaf_judge_fails(results: Results) -> None:
    """It tells nothing, so it misses every danger and every sensor fault."""
    rows = results.of(DEAF).rows
    assert [told_of(row) for row in rows if row.verdict == "found"] == []
    missed = {bar.name for bar in bars(results.of(DEAF)) if not bar.met}
    assert len(missed) >= 8
    assert "dangers told by the sound probe beside a failed one" in missed
    assert "sensor faults found, one of two on a node" in missed


def test_the_nervous_judge_fails(results: Results) -> None:
    """It cries at everything, so the quiet bars are lost, whatever it finds."""
    missed = [bar.name for bar in bars(results.of(NERVOUS)) if not bar.met]
    for needed in (
        "clean month: high alarms",
        "candling 20 times a day: high alarms",
        "candling with two probes: high alarms",
        "false words beside a failed probe",
        "flood: messages in ten minutes",
    ):
        assert needed in missed
