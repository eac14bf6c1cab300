"""The calendar's alarm clock on the real library, its label clock moved by hand: nights when the clocks are changed, 1970, and steps."""

from __future__ import annotations

import subprocess
import sys
import time as clock
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo

import pytest
from apscheduler.schedulers import base

from monitor.adapters.chores import Calendar
from monitor.domain.readings.reading import Now
from monitor.service.chores.due import Chore, is_due
from tests.receivers import eventually

ZONE = ZoneInfo("Europe/Berlin")


class Label:
    """Both clocks of a machine, moved by hand; the library asks this one for the label."""

    def __init__(self, utc: datetime, clock_ok: bool = True) -> None:
        self.utc, self.mono_s, self.clock_ok = utc, 1000.0, clock_ok

    def now(self) -> Now:
        return Now(self.mono_s, self.utc, self.clock_ok)

    def passes(self, seconds: float) -> Now:
        """Time passes: both go on."""
        self.utc, self.mono_s = self.utc + timedelta(seconds=seconds), self.mono_s + seconds
        return self.now()

    def set(self, by: timedelta, clock_ok: bool = True) -> Now:
        """Somebody, or the network, sets the label; a second passes."""
        self.utc, self.clock_ok = self.utc + by, clock_ok
        return self.passes(1.0)


class House:
    """The calendar with its one chore, done once a local date as the engine does it; looks: at which labels it was asked to look."""

    def __init__(self, label: Label, at: time, zone: ZoneInfo = ZONE) -> None:
        self.label, self.zone = label, zone
        self.chore = Chore("summary sam", at, time(23, 59), "sam")
        self.looks: list[datetime] = []
        self.done: list[datetime] = []
        self.calendar = Calendar([at], zone, self.look)

    def look(self) -> None:
        self.looks.append(self.label.utc)
        wall = self.label.utc.astimezone(self.zone)
        if self.label.clock_ok and is_due(self.chore, wall, {d.date() for d in self.done}):
            self.done.append(wall)

    def pass_time(self, hours: float, step_min: float = 30.0) -> None:
        """Time passes, and the library is woken as its own sleep would wake it."""
        for _ in range(int(hours * 60 / step_min)):
            self.calendar.watch(self.label.passes(step_min * 60.0))
            self.settle()

    def settle(self) -> None:
        """Let the library's threads do what is due at this label."""
        scheduler = self.calendar._scheduler
        if scheduler is None:
            return
        scheduler.wakeup()
        assert eventually(lambda: scheduler._event is None or not scheduler._event.is_set(), 5.0)
        clock.sleep(0.01)


@pytest.fixture
def label(monkeypatch: pytest.MonkeyPatch) -> Label:
    moved = Label(datetime(2026, 5, 4, 4, 0, tzinfo=UTC))  # six on the wall

    class Moved(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
            return moved.utc.astimezone(tz)

    monkeypatch.setattr(base, "datetime", Moved)
    return moved


@pytest.fixture
def house(label: Label) -> Iterator[House]:
    made = House(label, time(8))
    yield made
    made.calendar.stop()


def days(house: House) -> list[tuple[int, int, int]]:
    return [(d.day, d.hour, d.minute) for d in house.done]


@pytest.mark.slow
def test_each_morning_once(house: House) -> None:
    """At eight on the wall, each day, once."""
    house.calendar.watch(house.label.now())
    house.pass_time(72)
    assert days(house) == [(4, 8, 0), (5, 8, 0), (6, 8, 0)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("start", "at", "zone"),
    [
        (datetime(2026, 3, 28, 18, 0, tzinfo=UTC), time(2, 30), "Europe/Berlin"),
        (datetime(2026, 10, 24, 18, 0, tzinfo=UTC), time(2, 30), "Europe/Berlin"),
        (datetime(2026, 3, 28, 18, 0, tzinfo=UTC), time(8), "Europe/Berlin"),
        (datetime(2026, 10, 24, 18, 0, tzinfo=UTC), time(8), "Europe/Berlin"),
        (datetime(2026, 3, 7, 18, 0, tzinfo=UTC), time(0, 30), "America/Havana"),
        (datetime(2026, 10, 31, 18, 0, tzinfo=UTC), time(0, 30), "America/Havana"),
    ],
)
def test_nights_when_the_clocks_are_changed(label: Label, start: datetime, at: time, zone: str) -> None:
    """In the missing hour, in the one that comes twice, and beside them: each local date has it once, the latest by noon."""
    label.utc = start
    made = House(label, at, ZoneInfo(zone))
    try:
        made.calendar.watch(label.now())
        made.pass_time(72)
    finally:
        made.calendar.stop()
    first = start.astimezone(made.zone).date()
    dates = [d.date() for d in made.done]
    assert len(dates) == len(set(dates))
    assert {first + timedelta(days=n) for n in (1, 2)} <= set(dates)
    assert all(d.time() <= time(12, 0) for d in made.done if d.date() != first)


def test_a_start_in_1970(house: House) -> None:
    """While the label is wrong nothing is loaded or looked for; once it is right, what was missed is done, once, and the next day again."""
    house.label.utc, house.label.clock_ok = datetime(1970, 1, 1, tzinfo=UTC), False
    for _ in range(5):
        house.calendar.watch(house.label.passes(1.0))
    assert (house.looks, house.calendar._scheduler) == ([], None)
    house.calendar.watch(house.label.set(datetime(2026, 5, 4, 8, 0, tzinfo=UTC) - house.label.utc))
    house.settle()
    assert days(house) == [(4, 10, 0)]
    house.pass_time(23)
    assert days(house) == [(4, 10, 0), (5, 8, 0)]


@pytest.mark.slow
@pytest.mark.parametrize("by", [timedelta(hours=1), timedelta(days=1), timedelta(days=3652)])
@pytest.mark.parametrize("back", [False, True])
def test_steps_of_the_clock(house: House, by: timedelta, back: bool) -> None:
    """Set forward, or back, after the day's was done: what is due by the new label is done once at once or at its time, and the clock goes on from
    there; set right again, no date has it twice. It takes no time worth the name, however far."""
    house.calendar.watch(house.label.now())
    house.pass_time(3)
    assert days(house) == [(4, 8, 0)]
    began_s = clock.monotonic()
    house.calendar.watch(house.label.set(-by if back else by))
    house.settle()
    house.pass_time(26)
    house.calendar.watch(house.label.set(by if back else -by))
    house.settle()
    house.pass_time(26)
    assert clock.monotonic() - began_s < 20.0
    dates = [d.date() for d in house.done]
    assert len(dates) == len(set(dates))
    today = house.label.utc.astimezone(ZONE).date()
    assert {today, today - timedelta(days=1)} <= set(dates)


def test_a_clock_that_is_slewed_is_not_set(house: House) -> None:
    """A label that drifts by half a second a minute has nobody look anew."""
    house.calendar.watch(house.label.now())
    looked = len(house.looks)
    for _ in range(100):
        house.label.utc += timedelta(seconds=0.5)
        house.calendar.watch(house.label.passes(1.0))
    assert len(house.looks) == looked


def test_the_label_is_no_longer_right_and_right_again(house: House) -> None:
    """While nobody knows what time it is nothing is done; when it is known again, what is due is."""
    house.calendar.watch(house.label.now())
    house.calendar.watch(house.label.set(timedelta(hours=3), clock_ok=False))
    house.pass_time(1)
    assert house.done == []
    house.calendar.watch(house.label.set(timedelta(0)))
    assert len(house.done) == 1


def test_it_is_loaded_when_it_is_started(label: Label) -> None:
    """Neither the import nor the making of a calendar loads the library, so that a start does not wait for it."""
    program = (
        "import sys; from datetime import time, UTC; from monitor.adapters.chores import Calendar;"
        "Calendar([time(8)], UTC, print).stop(); print('apscheduler' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
