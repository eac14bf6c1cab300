"""A batch's environment history as a breeder reads it, and as programs read it: text, JSON, CSV. Nothing is computed here.

The text is in the site's zone and unit; JSON and CSV are in UTC (RFC 3339), °C and K whatever the site shows, so that files of
several sites can be laid together.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from monitor.analysis.environment import BatchHistory, Period
from monitor.analysis.excursions import Excursion
from monitor.analysis.figures import Figures, Gap, Limits
from monitor.domain.bands import DRY_BULB, RH, WET_BULB
from monitor.domain.reading import from_ms
from monitor.domain.units import celsius_to_fahrenheit, k_to_fahrenheit_difference

WORDS = {DRY_BULB: "dry bulb", RH: "humidity", WET_BULB: "wet bulb"}
UNITS = {DRY_BULB: "°C", RH: "%RH", WET_BULB: "°C"}
AREA_UNITS = {DRY_BULB: "K·h", RH: "%RH·h", WET_BULB: "K·h"}
LISTED = 20  # excursions and gaps told one by one in the text; JSON and CSV have them all


@dataclass(frozen=True, slots=True)
class Header:
    """What stands over the figures: the batch, its profile, how many eggs were set (None: not recorded), and when."""

    batch: str
    profile: str
    eggs: int | None
    set_at: datetime


@dataclass(frozen=True, slots=True)
class _Shown:
    """How values are shown to this site's people: in its zone, and in C or F."""

    zone: tzinfo
    unit: str

    def time(self, at_ms: int) -> str:
        """Local time to the minute; with its offset in the hour that a change of summer time brings twice."""
        at = from_ms(at_ms).astimezone(self.zone)
        twice = at.utcoffset() != at.replace(fold=1 - at.fold).utcoffset()
        return at.strftime("%Y-%m-%d %H:%M") + (at.strftime("%z") if twice else "")

    def units(self, quantity: str) -> str:
        """Unit of a value."""
        return "°F" if self._in_f(quantity) else UNITS[quantity]

    def area_units(self, quantity: str) -> str:
        """Unit of an area."""
        return "°F·h" if self._in_f(quantity) else AREA_UNITS[quantity]

    def value(self, quantity: str, value: float | None) -> str:
        """A value: hundredths of a degree, tenths of a per cent."""
        if value is None:
            return "-"
        if quantity == RH:
            return f"{value:.1f}"
        return f"{celsius_to_fahrenheit(value) if self.unit == 'F' else value:.2f}"

    def difference(self, quantity: str, value: float | None) -> str:
        """A spread or an area: in °F a K is 1.8, and 32 has no part in it."""
        if value is None:
            return "-"
        return f"{k_to_fahrenheit_difference(value) if self._in_f(quantity) else value:.2f}"

    def _in_f(self, quantity: str) -> bool:
        return self.unit == "F" and quantity != RH


def to_text(history: BatchHistory, header: Header, zone: tzinfo, unit: str) -> str:
    """The history in lines of at most 80 characters: each stage, the whole, excursions longest first, gaps.

    Parameters
        zone, unit: the site's; unit `C` or `F`.
    Raises
        ValueError: another unit.
    """
    if unit not in ("C", "F"):
        raise ValueError(f"unit {unit!r}, expected C or F")
    shown = _Shown(zone, unit)
    lines = [*_heading(history, header, shown)]
    for period in (*history.stages, history.whole):
        lines += ["", *_block(period, shown)]
    lines += ["", *_excursions(history.whole, shown), "", *_gaps(history.whole, shown)]
    return "\n".join(lines) + "\n"
