"""The only place that asks the machine for the time."""

from __future__ import annotations

import ctypes
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from monitor.domain.readings.reading import Now

ASK_EVERY_S = 30.0  # how old the kernel's answer may be: a set clock is noticed within this
# This program did not exist before; a board without a battery clock wakes in 1970, or at its image's date.
EARLIEST = datetime(2025, 1, 1, tzinfo=UTC)
# A record of so much later than the label was written in a wrong future: no board's own idea of the time lies so far back and after EARLIEST.
BELIEVED = timedelta(days=3_653)
_TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised
_TIMEX_BYTES = 512  # room for the kernel's answer, which has 208 bytes on 64-bit Linux; zeros ask and change nothing


def utc_now() -> datetime:
    """The machine's label of now, whether it is right or not."""
    return datetime.now(UTC)


def forward_s() -> float:
    """The machine's forward clock, s: for how long something takes, whatever the label does."""
    return time.monotonic()


def kernel_synchronised() -> bool | None:
    """Whether the kernel's clock follows a time server; None where that cannot be asked (not Linux, a strict container)."""
    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (AttributeError, OSError):
        return None
    return None if state < 0 else bool(state != _TIME_ERROR)


class SystemClock:
    """The machine's two clocks.

    The forward clock goes on from one run to the next: a delay that ran when the program was stopped runs on. `after` is an
    instant of the run before, on both its clocks; since then as much time passed as the label says. Without one, or where the
    label has gone back behind it, it begins at the label, in seconds since 1970.

    The label is taken as right when the kernel says that it is synchronised, or else when it is neither before EARLIEST nor
    before `not_before`, the newest label in the record: a clock that went back is wrong, one that went on may be right (a
    battery clock, a container that cannot see the kernel's word). A record that is later by more than BELIEVED says nothing.
    """

    def __init__(
        self,
        not_before: datetime | None = None,
        *,
        after: tuple[float, datetime] | None = None,
        synchronised: Callable[[], bool | None] = kernel_synchronised,
        mono_s: Callable[[], float] = forward_s,
        utc: Callable[[], datetime] = utc_now,
    ) -> None:
        self._floor = EARLIEST if not_before is None else max(EARLIEST, not_before)
        self._synchronised = synchronised
        self._mono_s = mono_s
        self._utc = utc
        label = utc()
        begins_s = label.timestamp()
        if after is not None and label >= after[1]:
            begins_s = after[0] + (label - after[1]).total_seconds()
        self._ahead_s = begins_s - mono_s()
        self._told = False
        self._ask_at_s = float("-inf")

    def now(self) -> Now:
        """Both clocks, read together; any thread may ask."""
        mono_s, utc = self._mono_s() + self._ahead_s, self._utc()
        if mono_s >= self._ask_at_s:
            self._ask_at_s = mono_s + ASK_EVERY_S
            self._told = self._synchronised() is True
        floor = EARLIEST if self._floor - utc > BELIEVED else self._floor
        return Now(mono_s, utc, self._told or utc >= floor)


class PacedClock:
    """Both clocks of an invented day: `speed` times as fast as life, the label beginning at `start_utc`."""

    def __init__(self, speed: float, start_utc: datetime, *, mono_s: Callable[[], float] = forward_s) -> None:
        self.speed = speed
        self._start_utc = start_utc
        self._mono_s = mono_s
        self._began_s = mono_s()

    def now(self) -> Now:
        """Both clocks, read together; any thread may ask."""
        elapsed_s = (self._mono_s() - self._began_s) * self.speed
        return Now(self._began_s + elapsed_s, self._start_utc + timedelta(seconds=elapsed_s))
