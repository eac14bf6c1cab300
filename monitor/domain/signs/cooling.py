"""Cooling of eggs that is done each day, as waterfowl leave the nest: declared once, with its hours. What is expected then is no alarm.

Sources: half an hour three times a week helped larger muscovy eggs (HARUN-01); daily misting mallard eggs (STUBB-93). Short cooling is
common practice with waterfowl; when, and for how long, is the breeder's, and nothing here begins unasked.

Hours are of the house's own clock. A window around each is what nobody is told in: people are not exact to the minute.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, tzinfo

from monitor.domain.fixed import fixed
from monitor.domain.refusal import Refusal
from monitor.domain.signs.opening import COOLED_NEAR_S, DAY_S

SLACK_S = 900.0  # so much earlier, and later, than declared (judgement)
MAX_S = 3600.0  # 3 to 4 h at 32.2 °C only slow growth (MSU-HMG); an hour leaves the way home
TIMES = 6  # a day
DAYS = (0, 120)  # of incubation
SEEN_DAYS = 3  # one after the other: a candling is not done on three of them (judgement)
ROUND_S = 300.0  # to which a habit is told
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


@fixed
class Habit:
    """What was seen about the same hour on SEEN_DAYS days running: when that is by the newest of them, on the forward clock; the longest that it lasted."""

    at_s: float
    lasted_s: float


def habits_of(visits: Sequence[tuple[float, float]]) -> list[Habit]:
    """What is done each day, the newest first. visits: when a machine was open or too cold, on the forward clock, and for how long, s, the oldest first.

    No two of them are nearer than may be declared.
    """
    found: list[Habit] = []
    for newest_s, _ in reversed(visits):
        days = [_nearest(visits, newest_s - back * DAY_S) for back in range(SEEN_DAYS)]
        seen = [(day[0] + back * DAY_S, day[1]) for back, day in enumerate(days) if day is not None]
        habit = Habit(sorted(at_s for at_s, _ in seen)[len(seen) // 2], max(lasted_s for _, lasted_s in seen))
        if len(seen) == SEEN_DAYS and all(_apart_s(habit.at_s, other.at_s) > MAX_S + 2 * SLACK_S for other in found):
            found.append(habit)
    return found


def _nearest(visits: Sequence[tuple[float, float]], at_s: float) -> tuple[float, float] | None:
    """What was there about then, if anything was."""
    near = [visit for visit in visits if abs(visit[0] - at_s) <= COOLED_NEAR_S]
    return min(near, key=lambda visit: abs(visit[0] - at_s), default=None)


def _apart_s(one_s: float, other_s: float) -> float:
    """How far apart two hours of the day are."""
    apart_s = abs(one_s - other_s) % DAY_S
    return min(apart_s, DAY_S - apart_s)


def as_declared(habits: Sequence[Habit], at_min: Sequence[float]) -> tuple[tuple[int, ...], float]:
    """As it would be declared: the hours, and for how long, s, to five minutes. at_min: of each habit, minutes after midnight."""
    step_min = ROUND_S / 60.0
    hours = sorted({int(step_min * round(minute / step_min)) % (24 * 60) for minute in at_min})
    longest_s = max(habit.lasted_s for habit in habits)
    return tuple(hours[:TIMES]), min(ROUND_S * math.ceil(longest_s / ROUND_S), MAX_S)


def held_on(cooling: Cooling, day: float | None) -> bool:
    """Whether eggs on that day of incubation are cooled. day: None of a machine, which asks no day."""
    return cooling.days is None or day is None or cooling.days[0] <= int(day) <= cooling.days[1]
