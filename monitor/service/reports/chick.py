"""A chick as it grew, with the air of its brooder between any two weighings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from monitor.analysis.history.environment import Period, history_of
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.chicks import Chick, chick
from monitor.domain.eggs.entry import ChickMass, Entry
from monitor.domain.needs.batch import DAY_S
from monitor.domain.needs.site import Site
from monitor.service.ports import AirRecord
from monitor.service.reports.batch import stretches_of


@dataclass(frozen=True, slots=True)
class Grown:
    """One line of a chick's record: a weighing, or (mass_g None) its end. days: since its hatch, None where nobody wrote that. gain_pct_d: since
    the weighing before, per cent of that a day. air: of where it was since the line before; None where it was in no machine. machines: their ids."""

    entry: Entry
    days: float | None
    mass_g: float | None
    gain_pct_d: float | None
    machines: tuple[str, ...]
    air: Period | None


@dataclass(frozen=True, slots=True)
class Raised:
    """A chick with its lines, by time."""

    chick: Chick
    lines: tuple[Grown, ...]


def raised(history: AirRecord, site: Site, book: EggBook, *, egg: int) -> Raised | None:
    """What became of the chick of an egg; None where nothing is written of one. Of a batch whose species the site knows."""
    found = chick(book, egg)
    if found is None:
        return None
    lines: list[Grown] = []
    since = found.hatched_at or min((s.since for s in found.stays), default=None)
    before: tuple[datetime, float] | None = None
    for entry in (*found.weighed, *((found.end,) if found.end is not None else ())):
        mass_g = entry.fact.mass_g if isinstance(entry.fact, ChickMass) else None
        stays = found.within(since, entry.at) if since is not None and since < entry.at else ()
        air = None
        if stays:
            there = replace(book.batch, stays=stays, closed_at=None)
            stretches = stretches_of(history, site, there, now=entry.at)
            # What eggs need judges no chick.
            air = history_of([replace(s, dry_bulb_c=None, rh_pct=None, wet_bulb_c=None) for s in stretches]).whole
        lines.append(
            Grown(
                entry=entry,
                days=None if found.hatched_at is None else (entry.at - found.hatched_at) / timedelta(days=1),
                mass_g=mass_g,
                gain_pct_d=None if mass_g is None or before is None else _gain_pct_d(before, (entry.at, mass_g)),
                machines=tuple(dict.fromkeys(s.machine for s in stays)),
                air=air,
            )
        )
        since = entry.at
        before = before if mass_g is None else (entry.at, mass_g)
    return Raised(found, tuple(lines))


def _gain_pct_d(before: tuple[datetime, float], now: tuple[datetime, float]) -> float | None:
    """None of two weighings at one moment."""
    days = (now[0] - before[0]).total_seconds() / DAY_S
    return None if days <= 0.0 else 100.0 * (now[1] - before[1]) / before[1] / days
