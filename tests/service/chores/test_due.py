"""Which chore is due, over nights when the clocks are changed and clocks that were wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.domain.needs.hearing import Hearing
from monitor.service.chores.due import Chore, chores_of, is_due
from tests.domain.house import site

ZONE = ZoneInfo("Europe/Berlin")
MORNING = Chore("summary sam", time(8), time(21), "sam")


def done_over(chore: Chore, instants: list[datetime], zone: ZoneInfo = ZONE) -> list[datetime]:
    """When it is done, asked at each of these instants in turn."""
    done: set[date] = set()
    when = []
    for at in instants:
        wall = at.astimezone(zone)
        if is_due(chore, wall, done):
            done.add(wall.date())
            when.append(at)
    return when


def every(minutes: float, since: datetime, hours: float) -> list[datetime]:
    return [since + timedelta(minutes=minutes * n) for n in range(int(hours * 60 / minutes))]


def test_once_a_day_at_its_time() -> None:
    """At its minute, and not again that day, however often it is asked."""
    days = done_over(MORNING, every(10, datetime(2026, 5, 1, tzinfo=UTC), 72))
    assert [(d.day, d.hour) for d in days] == [(1, 6), (2, 6), (3, 6)]


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/Havana", "Australia/Lord_Howe", "Pacific/Apia", "UTC"])
@pytest.mark.parametrize("at", ["00:00", "00:30", "02:30", "02:59", "08:00", "20:59"])
def test_a_year_has_each_date_once(zone: str, at: str) -> None:
    """Over both changes of the clocks, whatever hour is missing or comes twice, each local date has it exactly once."""
    chore = replace(MORNING, at=time.fromisoformat(at))
    where = ZoneInfo(zone)
    when = done_over(chore, every(10, datetime(2026, 1, 1, tzinfo=UTC), 24 * 365), where)
    dates = [w.astimezone(where).date() for w in when]
    assert len(dates) == len(set(dates))
    first = datetime(2026, 1, 2, tzinfo=UTC).date()
    assert {first + timedelta(days=n) for n in range(360)} <= set(dates)


def test_what_was_missed_is_done_when_the_clock_is_right_and_not_at_night() -> None:
    """Off since yesterday: once, as soon as it is asked by day; after nine at night it waits for its next time."""
    assert is_due(MORNING, datetime(2026, 5, 4, 14, 0, tzinfo=ZONE), {date(2026, 5, 2)})
    assert not is_due(MORNING, datetime(2026, 5, 4, 21, 1, tzinfo=ZONE), {date(2026, 5, 2)})
    assert not is_due(MORNING, datetime(2026, 5, 5, 3, 0, tzinfo=ZONE), {date(2026, 5, 2)})


@pytest.mark.parametrize("away", [timedelta(hours=1), timedelta(days=1), timedelta(days=3652)])
def test_steps_of_the_clock(away: timedelta) -> None:
    """Set forward and back again, and back and forward: each date that the label shows has it once, and today's is not lost to a later one."""
    start = datetime(2026, 5, 4, 6, 0, tzinfo=UTC)  # eight on the wall
    for first, then in ((start, start + away), (start + away, start)):
        labels = [first, first + timedelta(minutes=1), then, then + timedelta(minutes=1), first + timedelta(minutes=2)]
        when = done_over(MORNING, labels)
        dates = {label.astimezone(ZONE).date() for label in labels}
        assert {w.astimezone(ZONE).date() for w in when} == dates
        assert len(when) == len(dates)


def test_whom_a_summary_is_for() -> None:
    """Each contact that hears what is low, at its own time; a late one is still told until its own hour is over."""
    house = replace(
        site(contacts=("sam", "kim", "night")),
        hearing={"kim": Hearing("medium"), "night": Hearing(summary=time(22, 15))},
    )
    assert chores_of(house) == [
        Chore("summary sam", time(8), time(21), "sam"),
        Chore("summary night", time(22, 15), time(22, 59, 59, 999999), "night"),
    ]
    latest = chores_of(replace(house, hearing={"night": Hearing(summary=time(22, 59))}))[-1]
    asked = [datetime(2026, 5, 4, 22, minute, 40, tzinfo=ZONE) for minute in (58, 59)]
    assert [is_due(latest, at, set()) for at in asked] == [False, True]
