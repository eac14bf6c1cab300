"""What a contact hears, and when."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.needs.hearing import EVERYTHING, Hearing
from monitor.domain.needs.rules import PRIORITIES

ZONE = ZoneInfo("Europe/Berlin")
CHANGES = (date(2026, 3, 29), date(2026, 10, 25))  # of the clocks: an hour named then may be missing
DAY = Hearing(hours=(time(7), time(22)))
NIGHT_SHIFT = Hearing(hours=(time(16), time(6)))


def _from(year: int) -> datetime:
    return datetime(year, 1, 1)  # noqa: DTZ001 - the bounds of a strategy, which puts the zone to what it draws


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


@pytest.mark.parametrize("lowest", range(4))
def test_from_a_priority_on(lowest: int) -> None:
    """A contact hears its priority and what is more urgent, and nothing milder."""
    heard = [Hearing(PRIORITIES[lowest]).hears(priority) for priority in PRIORITIES]
    assert heard == [n >= lowest for n in range(4)]


@pytest.mark.parametrize(
    ("hearing", "inside", "outside"),
    [
        (EVERYTHING, ["00:00", "03:00", "23:59"], []),
        (DAY, ["07:00", "21:59"], ["06:59", "22:00", "00:00"]),
        (NIGHT_SHIFT, ["16:00", "23:59", "00:00", "05:59"], ["06:00", "15:59"]),
    ],
)
def test_hours(hearing: Hearing, inside: list[str], outside: list[str]) -> None:
    """They begin with their first minute and end before their last, over midnight too."""
    assert [hearing.within(time.fromisoformat(t)) for t in inside] == [True] * len(inside)
    assert [hearing.within(time.fromisoformat(t)) for t in outside] == [False] * len(outside)


@pytest.mark.parametrize(
    ("wall", "respond_min", "waits_min"),
    [
        ("2026-05-04T12:00", 720, 0),
        ("2026-05-04T06:59", 720, 1),
        ("2026-05-04T03:00", 720, 240),  # a third of 12 hours
        ("2026-05-04T02:59", 720, 0),
        ("2026-05-04T05:40", 240, 80),
        ("2026-05-04T05:39", 240, 0),
        ("2026-05-04T22:00", 1440, 0),
        ("2026-05-04T23:00", 1440, 480),  # the next day's
        ("2026-03-29T01:59", 1440, 241),  # an hour is missing before 7: from 2 it is 3 at once
        ("2026-10-25T01:00", 1440, 420),  # and here one comes twice
    ],
)
def test_medium_waits_for_the_hours_where_they_come_in_time(wall: str, respond_min: float, waits_min: float) -> None:
    """It waits until they begin, if that is within a third of its time to respond; else it is told at once."""
    assert DAY.waits_s("medium", respond_min, at(wall)) == waits_min * 60.0


@pytest.mark.parametrize("priority", ["low", "high", "critical"])
def test_nothing_else_waits(priority: str) -> None:
    """What is high or critical comes at any hour; what is low has its summary."""
    assert DAY.waits_s(priority, 10_080, at("2026-05-04T06:00")) == 0.0
    assert EVERYTHING.waits_s("medium", 10_080, at("2026-05-04T06:00")) == 0.0


@given(st.datetimes(_from(2026), _from(2027), timezones=st.just(ZONE)), st.floats(1, 10_080), st.times(), st.times())
def test_never_past_a_third_of_the_time_and_always_into_the_hours(
    wall: datetime, respond_min: float, since: time, until: time
) -> None:
    """Whatever the hours and the night: a wait ends when they begin, and leaves two thirds of the time."""
    since, until = since.replace(second=0, microsecond=0), until.replace(second=0, microsecond=0)
    if since == until:
        return
    hearing = Hearing(hours=(since, until))
    waits_s = hearing.waits_s("medium", respond_min, wall)
    assert 0.0 <= waits_s <= respond_min * 20.0 + 1e-6
    if waits_s:
        assert not hearing.within(wall.time())
        then = (wall.astimezone(UTC) + timedelta(seconds=waits_s)).astimezone(ZONE)
        assert hearing.within(then.time()) or then.date() in CHANGES
