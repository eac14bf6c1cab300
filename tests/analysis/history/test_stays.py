"""Excursions that a person would call one."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest

from monitor.analysis.history.excursions import ABOVE, BELOW, Excursion
from monitor.analysis.history.stays import by_area, stays_of

MIN = 60_000
ONE = Excursion(ABOVE, 0, 2 * MIN, 38.5, MIN, 38.0, 0.02, "setter-1", "setter")


def at(minute: float, peak: float = 38.5, **other: object) -> Excursion:
    """Two minutes above 38 °C from that minute on."""
    begin = round(minute * MIN)
    return replace(ONE, since_ms=begin, until_ms=begin + 2 * MIN, peak=peak, peak_at_ms=begin + MIN, **other)  # type: ignore[arg-type]


@pytest.mark.parametrize(("minute", "stays"), [(11.9, 1), (12.0, 2)])
def test_ten_minutes_inside_part_them(minute: float, stays: int) -> None:
    """Nearer they are one, with the times outside, the areas and the crossings added, and the farthest of their peaks."""
    found = stays_of([at(minute, 39.0), at(0)])
    assert len(found) == stays
    if stays == 1:
        (one,) = found
        assert (one.since_ms, one.until_ms, one.out_ms, one.times) == (0, round(13.9 * MIN), 4 * MIN, 2)
        assert (one.peak, one.peak_at_ms) == (39.0, round(12.9 * MIN))
        assert one.area == pytest.approx(0.04)


def test_the_other_side_another_machine_and_another_stage_are_their_own() -> None:
    """Each is followed by itself, also where they take turns."""
    below = replace(at(3), side=BELOW, peak=36.0, limit=37.0)
    every = [at(0), below, at(6), replace(below, since_ms=9 * MIN, until_ms=10 * MIN)]
    assert [(s.side, s.times, s.peak) for s in stays_of(every)] == [(ABOVE, 2, 38.5), (BELOW, 2, 36.0)]
    assert len(stays_of([at(0), at(3, machine="hatcher-1"), at(6, stage="lockdown")])) == 3


def test_what_is_so_of_the_first_the_last_or_any() -> None:
    """Outside from the start is the first's, still outside the last's, cut by a gap any's; the limit is that of the peak."""
    (stay,) = stays_of([at(0, at_start=True), at(3, peak=38.9, limit=38.6, cut_by_gap=True), at(6, open=True)])
    assert (stay.at_start, stay.cut_by_gap, stay.open) == (True, True, True)
    assert (stay.peak, stay.limit) == (38.5, 38.0)  # by 0.5 K, where 38.9 is beyond by 0.3
    (over,) = stays_of([at(0, open=True), at(3)])
    assert not over.open


def test_nothing_is_lost() -> None:
    """Whatever the order: areas, times outside and crossings of the stays are those of the excursions, and stays of one kind are ten minutes apart."""
    rng = random.Random(5)
    for _ in range(50):
        minutes = sorted(rng.sample(range(0, 600, 3), 30))
        every = [at(m, 38.0 + rng.random(), side=ABOVE) for m in minutes]
        rng.shuffle(every)
        found = stays_of(every)
        assert sum(s.times for s in found) == 30
        assert sum(s.out_ms for s in found) == 60 * MIN
        assert sum(s.area for s in found) == pytest.approx(30 * 0.02)
        assert max(s.peak for s in found) == max(e.peak for e in every)
        assert all(b.since_ms - a.until_ms >= 10 * MIN for a, b in pairwise(found))
        assert [s.area for s in by_area(found)] == sorted((s.area for s in found), reverse=True)
