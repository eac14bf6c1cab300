"""How far a batch should be and when it should hatch, in a line or two for people, and as plain values."""

from __future__ import annotations

from collections.abc import Iterator

from monitor.analysis.history.development import ZERO_C, Development, Expected, Lag, Spell
from monitor.domain.air.units import Unit, show_difference, show_temperature
from monitor.shown.form import Shown
from monitor.shown.plain import Record, utc_ms, value


def development_lines(found: Development, shown: Shown) -> Iterator[str]:
    """The hatch window that the record leads to, with its doubt, and what shifts it; the calendar's own is told of a page, not beside what is now,
    where it stands already."""
    first, last = found.hatch.earliest, found.hatch.latest
    if found.by_calendar:
        if shown.now is None:
            yield f"Hatch by the calendar: {shown.time(first.at_ms)} to {shown.time(last.at_ms)}"
        yield f"Embryos: {development_words(found)}"
        return
    yield (
        f"Hatch by the record (estimate): {shown.time(first.at_ms)} to {shown.time(last.at_ms)},"
        f" with its doubt {shown.time(first.low_ms)} to {shown.time(last.high_ms)}"
    )
    yield f"Embryos, by the air's temperature: {development_words(found, 'F' if shown.unit == 'F' else 'C')}"


def development_words(found: Development, unit: Unit = "C") -> str:
    """`about 7 h behind (2 to 11): the record shows 150 h at about 36.7 °C, eggs 1.1 °C below normal`."""
    if found.by_calendar:
        recorded = f"{_h(found.hours_recorded)} of {_h(found.hours)} are" if found.hours_recorded else "nothing is"
        return f"not known: {recorded} on record, so the profile's own days stand"
    shown = [_spell_words(found.spell, unit)] if found.spell is not None else []
    if round(found.hours_stopped):
        zero = show_temperature(ZERO_C, unit)
        shown.append(f"{_h(found.hours_stopped)} with the eggs at or below {zero}, where nothing grows")
    if round(found.hours_beyond):
        shown.append(f"{_h(found.hours_beyond)} too warm for any speed-up to be claimed")
    told = lag_words(found.lag) + (f": the record shows {' and '.join(shown)}" if shown else "")
    missing = found.hours - found.hours_recorded
    return told + (
        f"; {_h(missing)} of {_h(found.hours)} without a record, counted as normal" if round(missing) else ""
    )


def lag_words(lag: Lag) -> str:
    """`about 7 h behind (2 to 12)`, `about 2 h ahead (4 h ahead to 1 h behind)`, `about on time (...)`."""
    span = f"{_side(lag.low)} to {_side(lag.high)}"
    if not round(lag.hours):
        return f"about on time ({span})"
    if lag.low * lag.high > 0.0:
        near, far = sorted((abs(lag.low), abs(lag.high)))
        span = f"{near:.0f} to {far:.0f}"
    return f"about {_side(lag.hours)} ({span})"


def _spell_words(spell: Spell, unit: Unit) -> str:
    """`150 h at about 36.7 °C, eggs 1.1 °C below normal`."""
    off = f"{show_difference(abs(spell.off_k), unit)} {'above' if spell.off_k > 0.0 else 'below'} normal"
    return f"{_h(spell.hours)} at about {show_temperature(spell.air_c, unit)}, eggs {off}"


def _side(hours: float) -> str:
    return f"{_h(abs(hours))} {'behind' if hours > 0.0 else 'ahead'}" if round(hours) else "on time"


def _h(hours: float) -> str:
    return f"{hours:.0f} h"


def development_record(found: Development) -> Record:
    """Hours; times in UTC. lag_h: behind the profile, below 0 ahead, None where too little is on record and the hatch is the calendar's;
    `earliest` and `latest` of each time are its doubt."""
    lag = None if found.by_calendar else found.lag
    return {
        "hours": value(found.hours),
        "hours_recorded": value(found.hours_recorded),
        "hours_stopped": value(found.hours_stopped),
        "hours_beyond": value(found.hours_beyond),
        "lag_h": value(None if lag is None else lag.hours),
        "lag_low_h": value(None if lag is None else lag.low),
        "lag_high_h": value(None if lag is None else lag.high),
        "hatch": {
            "first": _expected(found.hatch.earliest),
            "usual": _expected(found.hatch.usual),
            "last": _expected(found.hatch.latest),
        },
        "words": development_words(found),
    }


def _expected(each: Expected) -> Record:
    return {"at": utc_ms(each.at_ms), "earliest": utc_ms(each.low_ms), "latest": utc_ms(each.high_ms)}
