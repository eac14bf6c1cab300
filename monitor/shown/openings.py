"""What was seen of a machine's door, in words."""

from __future__ import annotations

from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.signs.seen import Opened, Seen
from monitor.shown.values import show_figure


def opening_words(seen: Seen, unit: str = "C") -> str:
    """`opened for about 2 min, lowest 34.0 °C`, `not coming back after an opening: the temperature has not turned`."""
    if isinstance(seen, Opened):
        return f"opened for about {seen.minutes:.0f} min, lowest {show_figure(DRY_BULB, seen.lowest_c, unit)}"
    return f"not coming back after an opening: {seen.why}"
