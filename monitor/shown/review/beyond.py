"""Heat and cold beyond the alarm limits in a line of words, and as values."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.analysis.review.beyond import Beyond
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.published.exposure import ABOVE, Exposure
from monitor.shown.form import duration, listed
from monitor.shown.history.exposures import span
from monitor.shown.plain import utc_ms
from monitor.shown.values import show_figure

LIMIT = "beyond the alarm limit"
FEW_DAYS = 3  # that are named one by one


def beyond_words(beyond: Beyond, unit: str, of: str = "") -> str:
    """`4.0 h on day 3, up to 43.5 °C`; unit: C or F. of: what stands between the two, as LIMIT."""
    dose = beyond.dose.dose
    if dose.peak_c is None:
        return f"never{of and f' {of}'}"
    peak = show_figure(DRY_BULB, dose.peak_c, unit)
    return f"{hours_words(beyond.hours)}{of and f' {of}'} {days_words(beyond.by_day)}, {'up' if beyond.side == ABOVE else 'down'} to {peak}"


def days_words(by_day: Sequence[tuple[int, float]]) -> str:
    """`on day 3`, `on days 12 and 13`, `on 7 days, most of it on day 3 (4.0 h)`."""
    days = [str(day) for day, _ in by_day]
    if len(days) == 1:
        return f"on day {days[0]}"
    if len(days) <= FEW_DAYS:
        return f"on days {listed(days)}"
    day, hours = max(by_day, key=lambda each: each[1])
    return f"on {len(days)} days, most of it on day {day} ({hours_words(hours)})"


def hours_words(hours: float) -> str:
    """`25 min`, `4.0 h`."""
    return duration(hours * 3600.0) if hours < 1.0 else f"{hours:.1f} h"


def exposure_words(each: Exposure, unit: str) -> str:
    """`40.6 °C for 30 min (MSU-HMG, poultry eggs)`."""
    temp = "" if each.temp_c is None else f"{show_figure(DRY_BULB, each.temp_c, unit)} "
    hours = "" if each.hours is None else f"for {span(each.hours)} "
    return f"{temp}{hours}({each.source}, {each.eggs} eggs)"


def beyond_json(beyond: Beyond) -> dict[str, object]:
    """Heat or cold beyond the alarm limits as plain values."""
    dose = beyond.dose.dose
    return {
        "side": beyond.side,
        "limits_c": [round(c, 4) for c in beyond.dose.limits_c],
        "hours": round(beyond.hours, 4),
        "degree_hours": round(dose.degree_h, 4),
        "stays": beyond.dose.stays,
        "peak_c": None if dose.peak_c is None else round(dose.peak_c, 4),
        "peak_at": None if beyond.dose.peak_at_ms is None else utc_ms(beyond.dose.peak_at_ms),
        "by_day": [{"day": day, "hours": round(hours, 4)} for day, hours in beyond.by_day],
        "reach": round(beyond.reach, 4),
        "published": [
            {"id": m.exposure.id, "standing": m.standing, "source": m.exposure.source} for m in beyond.dose.published
        ],
    }
