"""Excursions that a person would call one: a thermostat that swings about a limit crosses it a thousand times in a night that was too warm once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from monitor.analysis.history.excursions import ABOVE, Excursion

DEAD_MS = 600_000  # ten minutes inside, and it was another time (judgement): a swing's half is shorter, and eggs have felt no change by then


@dataclass(frozen=True, slots=True)
class Stay:
    """Excursions of one side, machine and stage that are nearer to each other than DEAD_MS, as one.

    since_ms, until_ms: from the first to the last. out_ms: of it beyond the limit. times: how many they are. limit: where it was farthest out.
    cut_by_gap, open, at_start: whether that is so of any, of the last, and of the first.
    """

    side: str
    since_ms: int
    until_ms: int
    out_ms: int
    times: int
    peak: float
    peak_at_ms: int
    limit: float
    area: float
    machine: str
    stage: str
    cut_by_gap: bool
    open: bool
    at_start: bool


def stays_of(excursions: Iterable[Excursion]) -> tuple[Stay, ...]:
    """The stays, in the order in which they begin. excursions: of one quantity, in any order."""
    found: list[Stay] = []
    last: dict[tuple[str, str, str], int] = {}
    for each in sorted(excursions, key=lambda e: e.since_ms):
        key = each.side, each.machine, each.stage
        place = last.get(key)
        if place is not None and each.since_ms - found[place].until_ms < DEAD_MS:
            found[place] = _with(found[place], each)
            continue
        last[key] = len(found)
        found.append(
            Stay(
                side=each.side,
                since_ms=each.since_ms,
                until_ms=each.until_ms,
                out_ms=each.until_ms - each.since_ms,
                times=1,
                peak=each.peak,
                peak_at_ms=each.peak_at_ms,
                limit=each.limit,
                area=each.area,
                machine=each.machine,
                stage=each.stage,
                cut_by_gap=each.cut_by_gap,
                open=each.open,
                at_start=each.at_start,
            )
        )
    return tuple(found)


def by_area(stays: Sequence[Stay]) -> list[Stay]:
    """The largest area first, for that is what eggs felt of it."""
    return sorted(stays, key=lambda stay: (-stay.area, stay.since_ms))


def _with(stay: Stay, each: Excursion) -> Stay:
    sign = 1.0 if each.side == ABOVE else -1.0
    farther = sign * (each.peak - each.limit) > sign * (stay.peak - stay.limit)
    return replace(
        stay,
        until_ms=each.until_ms,
        out_ms=stay.out_ms + each.until_ms - each.since_ms,
        times=stay.times + 1,
        peak=each.peak if farther else stay.peak,
        peak_at_ms=each.peak_at_ms if farther else stay.peak_at_ms,
        limit=each.limit if farther else stay.limit,
        area=stay.area + each.area,
        cut_by_gap=stay.cut_by_gap or each.cut_by_gap,
        open=each.open,
    )
