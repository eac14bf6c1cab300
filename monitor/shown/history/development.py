"""How far a batch should be and when it should hatch, in a line or two for people, and as plain values."""

from __future__ import annotations

from collections.abc import Iterator

from monitor.analysis.history.development import Development, Expected
from monitor.shown.form import Shown
from monitor.shown.plain import Record, utc_ms, value


def development_lines(found: Development, shown: Shown) -> Iterator[str]:
    """The hatch window that the record leads to, with its doubt, and what shifts it."""
    first, last = found.hatch.earliest, found.hatch.latest
    yield (
        f"Hatch by the record (estimate): {shown.time(first.at_ms)} to {shown.time(last.at_ms)},"
        f" with its doubt {shown.time(first.low_ms)} to {shown.time(last.high_ms)}"
    )
    yield f"Embryos, by the air's temperature: {found.words('F' if shown.unit == 'F' else 'C')}"


def development_record(found: Development) -> Record:
    """Hours; times in UTC. lag_h: behind the profile, below 0 ahead; `earliest` and `latest` of each time are its doubt."""
    return {
        "hours": value(found.hours),
        "hours_recorded": value(found.hours_recorded),
        "hours_stopped": value(found.hours_stopped),
        "hours_beyond": value(found.hours_beyond),
        "lag_h": value(found.lag.hours),
        "lag_low_h": value(found.lag.low),
        "lag_high_h": value(found.lag.high),
        "hatch": {
            "first": _expected(found.hatch.earliest),
            "usual": _expected(found.hatch.usual),
            "last": _expected(found.hatch.latest),
        },
        "words": found.words(),
    }


def _expected(each: Expected) -> Record:
    return {"at": utc_ms(each.at_ms), "earliest": utc_ms(each.low_ms), "latest": utc_ms(each.high_ms)}
