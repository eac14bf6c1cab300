"""Cooling of each day: what can be declared, and when it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.domain.signs.cooling import Cooling, CoolingError, declared_cooling, held_on, hours_of, on_day, window_of

T0 = datetime(2026, 3, 10, 8, 0, tzinfo=UTC)
COOLING = Cooling("goose-1", (480, 1080), 1800.0, 30.0, (8, 26), T0, "sam")
NEW_YORK = ZoneInfo("America/New_York")


def test_hours_are_put_in_order() -> None:
    """Whoever names the evening first means the same."""
    said = declared_cooling(replace(COOLING, at_min=(1080, 480, 480)))
    assert said == COOLING
    assert hours_of(said) == "08:00, 18:00"


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"at_min": ()}, "0 times, expected 1 to 6"),
        ({"at_min": (1440,)}, "1 times, expected 1 to 6, each from 00:00 to 23:59"),
        ({"at_min": (480, 539)}, "times that are too near, expected 60 min and more"),
        ({"at_min": (10, 1430)}, "times that are too near"),
        ({"for_s": 30.0}, "0.5 min, expected 1 to 60 min"),
        ({"for_s": 3601.0}, "expected 1 to 60 min"),
        ({"for_s": float("nan")}, "expected 1 to 60 min"),
        ({"to_c": 38.0}, "to 38 °C, expected 15 to 37 °C"),
        ({"days": (9, 8)}, "days 9 to 8, expected rising, from 0 to 120"),
        ({"days": (-1, 8)}, "days -1 to 8"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(change: dict[str, object], complaint: str) -> None:
    """What came, and what was expected."""
    with pytest.raises(CoolingError) as refused:
        declared_cooling(replace(COOLING, **change))  # type: ignore[arg-type]
    assert str(refused.value).startswith("cooling goose-1: ")
    assert complaint in str(refused.value)


def test_hours_are_of_the_house_also_on_days_when_summer_time_turns() -> None:
    """At eight on the wall, whatever UTC is then; an hour that is left out is one later, one that comes twice the first."""
    assert next(on_day(COOLING, date(2026, 3, 7), NEW_YORK)) == datetime(2026, 3, 7, 13, 0, tzinfo=UTC)
    assert next(on_day(COOLING, date(2026, 3, 8), NEW_YORK)) == datetime(2026, 3, 8, 12, 0, tzinfo=UTC)
    early = replace(COOLING, at_min=(150,))
    assert list(on_day(early, date(2026, 3, 8), NEW_YORK)) == [datetime(2026, 3, 8, 7, 30, tzinfo=UTC)]
    twice = replace(COOLING, at_min=(90,))
    assert list(on_day(twice, date(2026, 11, 1), NEW_YORK)) == [datetime(2026, 11, 1, 5, 30, tzinfo=UTC)]


def test_a_window_is_a_quarter_of_an_hour_wider() -> None:
    """People are not exact to the minute."""
    quarter = timedelta(minutes=15)
    assert window_of(COOLING, T0) == (T0 - quarter, T0 + timedelta(minutes=30) + quarter)


@pytest.mark.parametrize(("day", "held"), [(7.99, False), (8.0, True), (26.99, True), (27.0, False), (None, True)])
def test_only_on_its_days(day: float | None, held: bool) -> None:
    """From the first of its days to the end of the last; of a machine each."""
    assert held_on(COOLING, day) is held
    assert held_on(replace(COOLING, days=None), day)


@pytest.mark.parametrize(
    "change",
    [
        {"at_min": (0, 1380)},
        {"at_min": (480, 540)},
        {"at_min": tuple(range(0, 1440, 240))},
        {"for_s": 60.0},
        {"for_s": 3600.0},
        {"to_c": 15.0},
        {"to_c": 37.0},
        {"to_c": None},
        {"days": (0, 120)},
        {"days": (8, 8)},
        {"days": None},
    ],
)
def test_the_ends_of_what_may_be_can_be_declared(change: dict[str, object]) -> None:
    """Midnight, six times a day, half an hour from one window to the next, a minute, an hour, one day: nothing of it is refused."""
    said = replace(COOLING, **change)  # type: ignore[arg-type]
    assert declared_cooling(said) == said


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"at_min": tuple(range(0, 1440, 200))[:7]}, "7 times, expected 1 to 6"),
        ({"at_min": (-1,)}, "each from 00:00 to 23:59"),
        ({"at_min": (0, 1381)}, "times that are too near, expected 60 min and more"),
        ({"at_min": (480, 569), "for_s": 3600.0}, "expected 90 min and more"),
        ({"to_c": 14.9}, "to 14.9 °C, expected 15 to 37 °C"),
        ({"days": (1, 121)}, "days 1 to 121"),
    ],
)
def test_what_lies_just_beyond_is_refused(change: dict[str, object], complaint: str) -> None:
    """Over midnight, too: from 23:01 to 00:00 it is less than an hour."""
    with pytest.raises(CoolingError) as refused:
        declared_cooling(replace(COOLING, **change))  # type: ignore[arg-type]
    assert complaint in str(refused.value)
