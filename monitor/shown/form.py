"""How a site's people are shown times, values and lengths: in its zone and unit, lines no wider than a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING

from monitor.domain.air.units import celsius_to_fahrenheit, k_to_fahrenheit_difference
from monitor.domain.fixed import fixed
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB
from monitor.domain.readings.reading import from_ms
from monitor.domain.wall import sheet_time, wall_time

if TYPE_CHECKING:  # messages are put into words without numpy
    from monitor.analysis.history.figures import Limits

WORDS = {DRY_BULB: "temperature", RH: "humidity", WET_BULB: "wet bulb", EGG: "egg (estimate)"}


@fixed
class Shown:
    """How this site's people are shown times and values. unit: C or F; ValueError for another. now: of a list of what is now, where times are
    as people say them; None for a page that is kept."""

    zone: tzinfo
    unit: str
    now: datetime | None = None

    def __post_init__(self) -> None:
        if self.unit not in ("C", "F"):
            raise ValueError(f"unit {self.unit!r}, expected C or F")

    def time(self, at: datetime | int) -> str:
        moment = from_ms(at) if isinstance(at, int) else at
        return sheet_time(moment, self.zone) if self.now is None else wall_time(moment, self.zone, self.now)

    def unit_of(self, quantity: str) -> str:
        return "%RH" if quantity == RH else f"°{self.unit}"

    def value(self, quantity: str, value: float) -> str:
        if quantity == RH:
            return f"{value:.1f}"
        return f"{celsius_to_fahrenheit(value) if self.unit == 'F' else value:.{_digits(quantity)}f}"

    def difference(self, quantity: str, value: float) -> str:
        """A spread or an area: a difference of temperatures, so the 32 of the Fahrenheit scale has no part in it."""
        shown = k_to_fahrenheit_difference(value) if quantity != RH and self.unit == "F" else value
        return f"{shown:.{_digits(quantity)}f}"

    def area(self, quantity: str, area: float) -> str:
        per = "%RH" if quantity == RH else "K" if self.unit == "C" else "°F"
        return f"{self.difference(quantity, area)} {per}·h"

    def band(self, quantity: str, limits: Limits) -> str:
        low, high = (None if x is None else self.value(quantity, x) for x in (limits.low, limits.high))
        if low is None or high is None:
            return f"under {high}" if high is not None else f"over {low}" if low is not None else "not judged"
        return f"{low} to {high}"


def _digits(quantity: str) -> int:
    return 1 if quantity == EGG else 2  # an estimate is not worth more


def until_by(until: str | None, by: str) -> str:
    """`until 18:00 by sam`, `until it is put back, by sam`: of what is out of service. until: how its end is said; None without one."""
    who = f" by {by}" if by else ""
    return f"until it is put back{',' * bool(who)}{who}" if until is None else f"until {until}{who}"


def capital(words: str) -> str:
    """The words as a sentence begins: the first letter large, the others as they are."""
    return words[:1].upper() + words[1:]


def listed(names: Sequence[str]) -> str:
    """`sam`, `sam and kim`, `sam, kim and ada`."""
    return " and ".join([*([", ".join(names[:-1])] if len(names) > 1 else []), *names[-1:]])


def duration(seconds: float) -> str:
    """How long, as people say it: 40 s, 25 min, 1 h 12 min, 3 d 4 h."""
    if seconds < 59.5:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h {minutes % 60} min"
    hours = round(seconds / 3600.0)
    return f"{hours // 24} d {hours % 24} h"


def rough_span(seconds: float) -> str:
    """The same where there is little room for it: 25 min, 2.3 h; 0 for less than none."""
    minutes = max(0.0, seconds / 60.0)
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60.0:.1f} h"


def short_span(seconds: float | None) -> str:
    """As short as it can be said: 20s, 5m, 1.5h, 1d; `-` for none."""
    if seconds is None:
        return "-"
    for size, name in ((86_400, "d"), (3600, "h"), (60, "m")):
        if seconds >= size and seconds * 2 % size == 0:
            return f"{seconds / size:g}{name}"
    return f"{seconds:g}s"
