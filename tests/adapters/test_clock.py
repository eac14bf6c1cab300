"""The machine's time, and the invented time of a demo."""

from __future__ import annotations

import time
import timeit
from datetime import UTC, datetime, timedelta

import pytest

from monitor.adapters.clock import ASK_EVERY_S, PacedClock, SystemClock, kernel_synchronised


class Machine:
    """A machine whose time is moved by hand, and which counts how often its kernel is asked."""

    def __init__(self, utc: datetime, synchronised: bool | None) -> None:
        self.mono_s, self.utc, self.synchronised, self.asked = 100.0, utc, synchronised, 0

    def ask(self) -> bool | None:
        self.asked += 1
        return self.synchronised

    def clock(self, not_before: datetime | None = None) -> SystemClock:
        return SystemClock(not_before, synchronised=self.ask, mono_s=lambda: self.mono_s, utc=lambda: self.utc)


EPOCH = datetime(1970, 1, 1, 0, 2, tzinfo=UTC)
TODAY = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("utc", "synchronised", "not_before", "good"),
    [
        (TODAY, True, None, True),
        (TODAY, False, None, True),  # a battery clock, or a container that cannot see its host's
        (TODAY, None, None, True),
        (TODAY, False, TODAY, True),
        (TODAY, False, TODAY + timedelta(seconds=1), False),  # the record has a later label: time does not go back
        (TODAY, True, TODAY + timedelta(days=400), True),  # the kernel's word outweighs a record from a wrong future
        (TODAY, False, TODAY + timedelta(days=3_653), False),
        (TODAY, False, TODAY + timedelta(days=3_654), True),  # ten years on: the record was written in a wrong future
        (TODAY, False, datetime(2100, 1, 1, tzinfo=UTC), True),
        (EPOCH, False, datetime(2100, 1, 1, tzinfo=UTC), False),
        (EPOCH, False, None, False),
        (EPOCH, None, None, False),
        (datetime(2024, 12, 31, 23, 59, 59, tzinfo=UTC), False, None, False),
        (datetime(2025, 1, 1, tzinfo=UTC), False, None, True),
        (datetime(2024, 6, 1, tzinfo=UTC), False, datetime(2023, 1, 1, tzinfo=UTC), False),
    ],
)
def test_whether_the_label_is_right(
    utc: datetime, synchronised: bool | None, not_before: datetime | None, good: bool
) -> None:
    """The kernel's word, else a label neither before 2025 nor before the record, unless that is of a future beyond belief, makes the label good."""
    now = Machine(utc, synchronised).clock(not_before).now()
    assert (now.mono_s, now.utc, now.clock_ok) == (utc.timestamp(), utc, good)


def test_a_clock_that_is_set_becomes_good() -> None:
    """A board that woke in 1970 has a good label as soon as a reading of the clock is plausible, or the kernel says so."""
    machine = Machine(EPOCH, False)
    clock = machine.clock()
    assert not clock.now().clock_ok
    machine.synchronised, machine.mono_s = True, 100.0 + ASK_EVERY_S
    assert clock.now().clock_ok
    machine.synchronised, machine.mono_s, machine.utc = False, 100.0 + 2 * ASK_EVERY_S, TODAY
    assert clock.now().clock_ok


def test_the_kernel_is_asked_at_most_every_half_minute() -> None:
    """A thousand questions in one interval cost one question to the kernel, whatever the label does meanwhile."""
    machine = Machine(TODAY, True)
    clock = machine.clock()
    for _ in range(1000):
        clock.now()
        machine.utc -= timedelta(days=1)
        machine.mono_s += ASK_EVERY_S / 1001
    assert machine.asked == 1
    machine.mono_s = 100.0 + ASK_EVERY_S
    clock.now()
    assert machine.asked == 2


def test_the_real_kernel_answers_or_cannot_be_asked() -> None:
    """Asking this machine's kernel changes nothing and gives one of the three answers."""
    before = time.clock_gettime(time.CLOCK_REALTIME) - time.monotonic()
    assert kernel_synchronised() in (True, False, None)
    assert time.clock_gettime(time.CLOCK_REALTIME) - time.monotonic() == pytest.approx(before, abs=0.5)


def test_the_real_clock() -> None:
    """Both clocks are those of the machine, the forward one begun at the label's seconds; the label is aware and in UTC."""
    early = time.time()
    clock = SystemClock()
    first, began, now, passed = clock.now(), time.monotonic(), clock.now(), time.monotonic()
    assert early - 1.0 <= first.mono_s <= time.time() + 1.0
    assert first.mono_s <= now.mono_s <= first.mono_s + (passed - began) + 0.5
    assert now.utc.utcoffset() == timedelta(0)
    assert abs(now.utc.timestamp() - time.time()) < 5


def test_reading_the_clock_is_cheap() -> None:
    """The clock is read for every message: a reading takes less than 2 µs at this machine's best, 10 with a busy neighbour."""
    best_s = min(timeit.repeat(SystemClock().now, number=5_000, repeat=9)) / 5_000
    assert best_s < 10e-6


def test_paced_time_runs_as_fast_as_it_is_told() -> None:
    """Both clocks of a demo run `speed` times as fast, from its own beginning, and are never in doubt."""
    machine = Machine(TODAY, None)
    clock = PacedClock(120.0, TODAY, mono_s=lambda: machine.mono_s)
    first = clock.now()
    machine.mono_s += 2.5
    later = clock.now()
    assert (first.utc, later.utc) == (TODAY, TODAY + timedelta(minutes=5))
    assert later.mono_s - first.mono_s == pytest.approx(300.0)
    assert first.clock_ok
    assert later.clock_ok
