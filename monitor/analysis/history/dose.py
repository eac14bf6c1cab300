"""The heat and the cold that a batch has had beyond its alarm limits, added up, and what has been published about as much.

Degree-hours in the history's figures lie beyond the warning limits, where eggs grow worse; a dose lies beyond the alarm
limits, where the published experiments begin. It goes by the dry bulb as alarms do: of two probes by the worse, of more by the
median. Only good readings count, and nothing is made up over a gap, so a dose with gaps is the least there was.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from monitor.analysis.history.excursions import Outside, Place, outside
from monitor.analysis.history.felt import SideDose
from monitor.analysis.line.stretch import Stretch, dry_bulb_samples
from monitor.analysis.line.trace import Samples, Trace, trace_of
from monitor.domain.needs.profile import Band
from monitor.domain.published.exposure import ABOVE, BELOW, LEVELS_C, ROUNDED_K, Dose, nearest
from monitor.domain.readings.reading import DAY_MS


def doses_of(stretch: Stretch, set_ms: int, term_days: float) -> tuple[SideDose, ...]:
    """The dose above and the dose below in one stretch, for each side that has an alarm limit; its `published` still empty."""
    band = stretch.dry_bulb_c
    if band is None:
        return ()
    samples = dry_bulb_samples(stretch)
    if _calm(samples, band):
        return tuple(
            SideDose(Dose(side, limit_c), (limit_c,))
            for side, limit_c in ((ABOVE, band.high_alarm), (BELOW, band.low_alarm))
            if limit_c is not None
        )
    length_ms, max_gap_ms = stretch.until_ms - stretch.since_ms, stretch.max_gap_s * 1000.0
    high = trace_of(samples, max_gap_ms=max_gap_ms, length_ms=length_ms, of_two="higher")
    low = high if len(samples) < 2 else trace_of(samples, max_gap_ms=max_gap_ms, length_ms=length_ms, of_two="lower")
    place = Place(stretch.machine, stretch.stage, stretch.since_ms)
    return tuple(
        _side(trace, side, limit_c=limit_c, place=place, set_ms=set_ms, term_days=term_days)
        for side, limit_c, trace in ((ABOVE, band.high_alarm, high), (BELOW, band.low_alarm, low))
        if limit_c is not None
    )


def _calm(samples: Sequence[Samples], band: Band) -> bool:
    """Whether no reading is beyond an alarm limit, so that no line between them can be: most stretches, in a moment."""
    low_c = -math.inf if band.low_alarm is None else band.low_alarm
    high_c = math.inf if band.high_alarm is None else band.high_alarm
    return all(not c.size or bool(low_c <= c.min() and c.max() <= high_c) for _, c in samples)


def joined(parts: Iterable[Sequence[SideDose]]) -> tuple[SideDose, ...]:
    """The doses of windows that follow one another as those of the window they make together, with what was published."""
    every = [each for part in parts for each in part]
    sides = ([each for each in every if each.dose.side == side] for side in (ABOVE, BELOW))
    return tuple(_published(_sum(side)) for side in sides if side)


def _side(trace: Trace, side: str, *, limit_c: float, place: Place, set_ms: int, term_days: float) -> SideDose:
    found, empty = outside(trace, limit_c, side, place=place), SideDose(Dose(side, limit_c), (limit_c,))
    if not found.excursions:
        return empty
    sign = 1.0 if side == ABOVE else -1.0
    worst = max(found.excursions, key=lambda each: sign * each.peak)
    beyond = {
        level: _beyond(trace, level, sign=sign, limit_c=limit_c, peak_c=worst.peak, place=place)
        for level in LEVELS_C[side]
    }
    dose = Dose(
        side=side,
        limit_c=limit_c,
        hours=found.hours,
        degree_h=found.area,
        peak_c=worst.peak,
        at_levels=tuple(o.hours for o in beyond.values()),
    )
    return SideDose(
        dose=dose,
        limits_c=(limit_c,),
        stays=len(found.excursions),
        peak_at_ms=worst.peak_at_ms,
        spans=tuple((e.since_ms, e.until_ms) for e in found.excursions),
        share_of_term=min(max((worst.peak_at_ms - set_ms) / DAY_MS / term_days, 0.0), 1.0),
        levels={c: tuple((e.since_ms, e.until_ms) for e in o.excursions) for c, o in beyond.items() if o.excursions},
    )


def _beyond(trace: Trace, level_c: float, *, sign: float, limit_c: float, peak_c: float, place: Place) -> Outside:
    """The time at or beyond a published temperature, which counts only beyond the limit."""
    edge_c = sign * max(sign * level_c - ROUNDED_K, sign * limit_c)
    if sign * (peak_c - edge_c) <= 0.0:
        return Outside()
    return outside(trace, edge_c, ABOVE if sign > 0.0 else BELOW, place=place)


def _sum(parts: Sequence[SideDose]) -> SideDose:
    side = parts[0].dose.side
    sign = 1.0 if side == ABOVE else -1.0
    given = [part for part in parts if part.dose.peak_c is not None]
    limits_c = tuple(dict.fromkeys(c for part in parts for c in part.limits_c))
    if not given:
        return SideDose(Dose(side, limits_c[0]), limits_c)
    worst = max(given, key=lambda part: sign * (part.dose.peak_c or 0.0))
    dose = Dose(
        side=side,
        limit_c=limits_c[0],
        hours=sum(part.dose.hours for part in given),
        degree_h=sum(part.dose.degree_h for part in given),
        peak_c=worst.dose.peak_c,
        at_levels=tuple(sum(hours) for hours in zip(*(part.dose.at_levels for part in given), strict=True)),
    )
    levels = {c: _chained(part.levels.get(c, ()) for part in given) for c in LEVELS_C[side]}
    stays = sum(part.stays for part in given)
    return SideDose(
        dose=dose,
        limits_c=limits_c,
        stays=stays,
        peak_at_ms=worst.peak_at_ms,
        share_of_term=worst.share_of_term,
        spans=_chained(part.spans for part in given),
        levels={c: s for c, s in levels.items() if s},
    )


def _chained(parts: Iterable[Sequence[tuple[int, int]]]) -> tuple[tuple[int, int], ...]:
    """Stays in a row, those that meet joined to one."""
    chain: list[tuple[int, int]] = []
    for since_ms, until_ms in (stay for part in parts for stay in part):
        if chain and chain[-1][1] == since_ms:
            chain[-1] = (chain[-1][0], until_ms)
        else:
            chain.append((since_ms, until_ms))
    return tuple(chain)


def _published(side: SideDose) -> SideDose:
    if side.share_of_term is None:
        return side
    return replace(side, published=nearest(side.dose, side.share_of_term))
