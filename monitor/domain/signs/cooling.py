"""Cooling of eggs that is done each day, as waterfowl leave the nest: declared once, with its hours. What is expected then is no alarm.

Sources: half an hour three times a week helped larger muscovy eggs (HARUN-01); daily misting mallard eggs (STUBB-93). Short cooling is
common practice with waterfowl; when, and for how long, is the breeder's, and nothing here begins unasked.

Hours are of the house's own clock. A window around each is what nobody is told in: people are not exact to the minute.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, tzinfo

from monitor.domain.fixed import fixed
from monitor.domain.refusal import Refusal

SLACK_S = 900.0  # so much earlier, and later, than declared (judgement)
MAX_S = 3600.0  # 3 to 4 h at 32.2 °C only slow growth (MSU-HMG); an hour leaves the way home
TIMES = 6  # a day
DAYS = (0, 120)  # of incubation
TO_C = (15.0, 37.0)  # what eggs are cooled to: above the air of a cool room, below an incubating egg


class CoolingError(Refusal):
    """A cooling that cannot be declared; the message is one line for a person."""


@fixed
class Cooling:
    """of: a batch, or a machine with whatever is in it. at_min: when it begins, minutes after midnight of the house's clock, rising.

    for_s: how long. to_c: what the eggs are cooled to; None where nobody said. days: of the batch's incubation, first and last, both of them
    with cooling; None: every day. since, by: when and by whom it was declared; until: when it was ended, None while it stands.
    """

    of: str
    at_min: tuple[int, ...]
    for_s: float
    to_c: float | None
    days: tuple[int, int] | None
    since: datetime
    by: str = ""
    until: datetime | None = None


def declared_cooling(cooling: Cooling) -> Cooling:
    """The same, its hours in order. Raises CoolingError for what cannot be."""
    where, of_the_day = f"cooling {cooling.of}", 24 * 60
    if not 1 <= len(cooling.at_min) <= TIMES or not all(0 <= minute < of_the_day for minute in cooling.at_min):
        raise CoolingError(where, f"{len(cooling.at_min)} times", f"1 to {TIMES}, each from 00:00 to 23:59")
    if not 60.0 <= cooling.for_s <= MAX_S:
        raise CoolingError(where, f"{cooling.for_s / 60.0:g} min", f"1 to {MAX_S / 60.0:g} min")
    at_min = tuple(sorted(set(cooling.at_min)))
    apart_min = (cooling.for_s + 2 * SLACK_S) / 60.0
    if any(later - at < apart_min for at, later in zip(at_min, (*at_min[1:], at_min[0] + of_the_day), strict=True)):
        raise CoolingError(where, "times that are too near", f"{apart_min:g} min and more from one to the next")
    if cooling.to_c is not None and not TO_C[0] <= cooling.to_c <= TO_C[1]:
        raise CoolingError(where, f"to {cooling.to_c:g} °C", f"{TO_C[0]:g} to {TO_C[1]:g} °C")
    if cooling.days is not None and not DAYS[0] <= cooling.days[0] <= cooling.days[1] <= DAYS[1]:
        came = f"days {cooling.days[0]} to {cooling.days[1]}"
        raise CoolingError(where, came, f"rising, from {DAYS[0]} to {DAYS[1]}")
    return replace(cooling, at_min=at_min)


def on_day(cooling: Cooling, day: date, zone: tzinfo) -> Iterator[datetime]:
    """When it begins on a local date, UTC. An hour that summer time brings twice is the first; one that it leaves out is an hour later."""
    for minute in cooling.at_min:
        yield datetime(day.year, day.month, day.day, *divmod(minute, 60), tzinfo=zone).astimezone(UTC)


def hours_of(cooling: Cooling) -> str:
    """`08:00, 18:00`."""
    return ", ".join(f"{minute // 60:02}:{minute % 60:02}" for minute in cooling.at_min)


def window_of(cooling: Cooling, begins: datetime) -> tuple[datetime, datetime]:
    """From when to when a machine may be open for a cooling."""
    slack = timedelta(seconds=SLACK_S)
    return begins - slack, begins + timedelta(seconds=cooling.for_s) + slack


def held_on(cooling: Cooling, day: float | None) -> bool:
    """Whether eggs on that day of incubation are cooled. day: None of a machine, which asks no day."""
    return cooling.days is None or day is None or cooling.days[0] <= int(day) <= cooling.days[1]
