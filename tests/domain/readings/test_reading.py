"""Times as whole milliseconds, and back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.readings.reading import EPOCH, Now, ceil_ms, from_ms, to_ms

TIMES = st.integers(-(2**41) * 1000, 2**42 * 1000).map(lambda us: EPOCH + timedelta(microseconds=us))


@given(st.integers(-(2**41), 2**43))
def test_there_and_back(at_ms: int) -> None:
    """Every whole millisecond comes back as it went."""
    assert to_ms(from_ms(at_ms)) == at_ms


@given(TIMES)
def test_a_label_never_lies_in_the_future(at: datetime) -> None:
    """What is finer than a millisecond is cut, towards the past, before 1970 too."""
    assert timedelta(0) <= at - from_ms(to_ms(at)) < timedelta(milliseconds=1)


@given(TIMES)
def test_the_first_label_not_before_an_instant(at: datetime) -> None:
    """What is finer than a millisecond is rounded up, before 1970 too; a whole one is itself."""
    assert timedelta(0) <= from_ms(ceil_ms(at)) - at < timedelta(milliseconds=1)


def test_the_epoch_and_other_zones() -> None:
    """Milliseconds count from 1970 in UTC, whatever zone a time is written in."""
    assert to_ms(EPOCH) == 0
    assert to_ms(datetime(1970, 1, 1, 2, tzinfo=timezone(timedelta(hours=2)))) == 0
    assert from_ms(1_000).tzinfo is UTC


def test_a_clock_is_right_unless_somebody_says_otherwise() -> None:
    """An instant made by a driver has a label that counts."""
    assert Now(1.0, EPOCH).clock_ok
