"""The eggs' estimated temperature along the record: carried through moves, unknown after gaps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.history.environment import Stretch
from monitor.analysis.line.eggs import KNOWN_AFTER, egg_lines
from monitor.analysis.line.trace import Trace
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.needs.site import FORCED, STILL
from tests.analysis.air import HOUR, T0, readings, stretch

SETTER, HATCHER = EggModel(60.0, 21.0, FORCED), EggModel(60.0, 21.0, STILL)
MODELS = {"setter-a": SETTER, "hatcher-b": HATCHER}
DAY_S = 86_400


def line(*stretches: Stretch, set_ms: int = T0) -> list[Trace]:
    return egg_lines(stretches, MODELS, set_ms)


def at(trace: Trace, second: float) -> float:
    """The estimate so many seconds after the start of its stretch; NaN where it is not known."""
    ms = second * 1000.0
    piece = np.flatnonzero((trace.start_ms <= ms) & (ms <= trace.end_ms))
    if not piece.size:
        return float("nan")
    i = piece[0]
    share = (ms - trace.start_ms[i]) / (trace.end_ms[i] - trace.start_ms[i])
    return float(trace.first[i] + share * (trace.last[i] - trace.first[i]))


def test_steady_air_has_the_egg_that_the_model_settles_at() -> None:
    """In air that stays the same the egg stands where the model puts it for that day, from six time constants on."""
    (trace,) = line(stretch(readings(range(0, 86_401, 10), 37.5), hours=24.0), set_ms=T0 - 10 * DAY_S * 1000)
    known_s = KNOWN_AFTER * SETTER.tau_s
    assert trace.start_ms[0] == pytest.approx(known_s * 1000.0, abs=1.0)
    assert at(trace, 12 * 3600) == pytest.approx(SETTER.start(37.5, 10.5), abs=0.003)
    assert np.isnan(at(trace, known_s - 1.0))


def test_it_is_the_domain_s_model_reading_by_reading() -> None:
    """Swinging air gives what `advance` gives from one reading to the next, within a millionth of a degree."""
    at_s = np.arange(0, 8 * 3600 + 1, 10)
    air_c = 37.5 + 1.5 * np.sin(at_s / 900.0)
    (trace,) = line(stretch(readings(at_s, air_c), hours=8.0))
    egg_c = SETTER.start(float(air_c[0]), 0.0)
    for i in range(1, at_s.size):
        egg_c = SETTER.advance(egg_c, float(air_c[i - 1]), float(air_c[i]), seconds=10.0, day=float(at_s[i]) / DAY_S)
        if at_s[i] * 1000 > trace.start_ms[0]:
            assert at(trace, float(at_s[i])) == pytest.approx(egg_c, abs=1e-6)


def test_a_move_carries_the_egg() -> None:
    """From warm air into cool still air the egg begins as warm as it was, cools at the new machine's pace, and stays known throughout."""
    first = stretch(readings(range(0, 6 * 3600 + 60, 10), 38.0), hours=6.0)
    later = readings(6 * 3600 + np.arange(-60, 6 * 3600 + 61, 10), 36.0)
    second = replace(stretch(later, since_s=6 * 3600.0, hours=6.0), machine="hatcher-b")
    before, after = line(first, second)
    egg_c = at(before, 6 * 3600)
    assert egg_c == pytest.approx(SETTER.start(38.0, 0.25), abs=0.01)
    assert after.start_ms[0] == 0.0
    assert at(after, 0.0) == pytest.approx(egg_c, abs=1e-9)
    settles_c = HATCHER.start(36.0, 0.25)
    expected = settles_c + (egg_c - settles_c) * np.exp(-1.0)
    assert at(after, HATCHER.tau_s) == pytest.approx(expected, abs=0.01)


def test_after_a_gap_nobody_knows_for_six_time_constants() -> None:
    """A silence longer than allowed ends the estimate, and it is known again six time constants after the air; a shorter one does not."""
    begin = [*range(0, 6 * 3600 + 1, 10)]
    (short,) = line(stretch(readings([*begin, *range(begin[-1] + 30, 12 * 3600, 10)], 37.5), hours=12.0))
    assert short.gaps()[1:] == [(12 * HOUR - 10_000, 12 * HOUR)]
    again_s = begin[-1] + 31
    (long,) = line(stretch(readings([*begin, *range(again_s, 12 * 3600, 10)], 37.5), hours=12.0))
    (_, beginning), (gap_from, gap_to), _ = long.gaps()
    assert beginning == pytest.approx(KNOWN_AFTER * SETTER.tau_s * 1000.0, abs=1.0)
    assert gap_from == begin[-1] * 1000
    assert gap_to == pytest.approx((again_s + KNOWN_AFTER * SETTER.tau_s) * 1000.0, abs=1.0)


def test_a_gap_forgets_what_the_egg_was() -> None:
    """After a gap the estimate goes by the air alone: what it is once known does not depend on the air before the gap."""
    again = 8 * 3600 + np.arange(0, 8 * 3600, 10)
    ends = []
    for warm in (37.0, 39.0):
        head = np.arange(0, 4 * 3600, 10)
        values = np.concatenate((np.full(head.size, warm), np.full(again.size, 37.5)))
        (trace,) = line(stretch(readings(np.concatenate((head, again)), values), hours=16.0))
        ends.append(at(trace, 15 * 3600))
    assert ends[0] == ends[1]


def test_time_in_no_machine_is_unknown() -> None:
    """Between two machines nobody knows how warm the eggs were, and for a while after they came."""
    first = stretch(readings(range(0, 6 * 3600 + 60, 10), 38.0), hours=6.0)
    nowhere = replace(stretch(since_s=6 * 3600.0, hours=1.0), machine="")
    later = readings(7 * 3600 + np.arange(0, 6 * 3600 + 60, 10), 37.5)
    third = stretch(later, since_s=7 * 3600.0, hours=6.0)
    _, between, after = line(first, nowhere, third)
    assert between.empty
    assert after.start_ms[0] == pytest.approx(KNOWN_AFTER * SETTER.tau_s * 1000.0, abs=1.0)


def test_time_that_was_known_counts_on_through_a_move() -> None:
    """Half of the waiting before a move is not waited again after it."""
    half_s = round(3.0 * SETTER.tau_s, -1)
    air = readings(np.arange(-60, half_s + 61, 10), 37.5)
    first = stretch(air, hours=half_s / 3600.0)
    later = readings(half_s + np.arange(-60, 12 * 3600 + 61, 10), 37.5)
    second = replace(stretch(later, since_s=half_s, hours=12.0), machine="hatcher-b")
    before, after = line(first, second)
    assert before.empty
    waited = half_s / SETTER.tau_s
    assert after.start_ms[0] == pytest.approx((KNOWN_AFTER - waited) * HATCHER.tau_s * 1000.0, abs=1.0)


def test_two_probes_give_their_mean_and_one_that_goes_does_no_harm() -> None:
    """Of two probes the egg follows the mean; where one falls silent it follows the other, without a break."""
    both, one = np.arange(0, 4 * 3600 + 1, 10), np.arange(0, 8 * 3600 + 61, 10)
    (trace,) = line(stretch(readings(one, 38.0), readings(both, 37.0), hours=8.0))
    assert at(trace, 4 * 3600 - 60) == pytest.approx(SETTER.start(37.5, 4 / 24), abs=0.01)
    assert at(trace, 8 * 3600) == pytest.approx(SETTER.start(38.0, 8 / 24), abs=0.01)
    assert len(trace.gaps()) == 1


def test_a_machine_needs_its_model() -> None:
    """A machine with air whose egg is not known is refused in one line."""
    other = replace(stretch(readings([0, 10], 37.5)), machine="setter-b")
    with pytest.raises(ValueError, match="stretch in setter-b, stage setter: no model of its egg, expected one"):
        line(other)
