"""Which spans of a record belong to a batch, at their edges."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Brooded, ChickMass, Entry, Hatched, SignedOff
from monitor.domain.needs.batch import Batch, Stay
from monitor.service.reports import archive as module
from monitor.service.reports import batch as batch_module
from monitor.service.reports.belonging import stays_in, with_chicks
from tests.seasons import make_site

T0 = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
MARGIN_H = 1.0  # twice the silence of a probe that is read every ten minutes: half an hour


def at(hours: float) -> datetime:
    return T0 + timedelta(hours=hours)


HEN = Batch("hen-1", "chicken", at(0), 12, stays=(Stay("setter-1", at(0), at(10)), Stay("setter-1", at(20))))


@pytest.mark.parametrize(
    ("span", "meets"),
    [((8.0, 9.0), False), ((8.0, 10.0), True), ((15.0, 16.0), True), ((20.0, 21.0), True), ((20.1, 21.0), False), ((5.0, 30.0), True)],
)  # fmt: skip
def test_what_meets_a_stay(span: tuple[float, float], meets: bool) -> None:
    """A handling that touches it at an instant is the batch's too."""
    since, until = span
    assert module._meets((at(since), at(until)), [(at(10), at(20))]) is meets
    assert not module._meets((at(since), at(until)), [])


@pytest.mark.parametrize(
    ("spans", "windows"),
    [
        ([(0, 10)], [(-1, 11)]),
        ([(0, 10), (12, 20)], [(-1, 21)]),  # their margins meet
        ([(0, 10), (12.1, 20)], [(-1, 11), (11.1, 21)]),
        ([(12, 20), (0, 10)], [(-1, 21)]),
        ([(0, 30), (5, 10)], [(-1, 31)]),
        ([], []),
    ],
)
def test_the_readings_of_two_stays_come_once(
    spans: list[tuple[float, float]], windows: list[tuple[float, float]]
) -> None:
    """Each stay with the margin that reports read beyond it; joined where they meet or lie in one another."""
    margin = batch_module.margin_of(make_site().by_machine["setter-1"])
    found = module._windows([((at(since), at(until)), margin) for since, until in spans])
    assert found == [(at(since), at(until)) for since, until in windows]


def test_until_when_a_stay_goes() -> None:
    """To its end, or to the last instant that a report looks at: now, or when the batch was closed."""
    assert stays_in(HEN, at(30)) == {"setter-1": [(at(0), at(10)), (at(20), at(30))]}
    assert stays_in(replace(HEN, closed_at=at(25)), at(30)) == {"setter-1": [(at(0), at(10)), (at(20), at(25))]}


def test_a_chick_brings_its_brooder() -> None:
    """As long as anything is written of it: to its end, or its last weighing."""
    book = EggBook(replace(HEN, closed_at=at(500), eggs=3))
    for hours, fact, egg in (
        (490, Hatched(), 1), (492, Brooded("brooder-1"), 1), (494, Brooded("brooder-2"), 1), (520, SignedOff(), 1),
        (490, Hatched(), 2), (493, Brooded("brooder-1"), 2), (510, ChickMass(40.0), 2), (490, Hatched(), 3), (530, Brooded("brooder-3"), 3),
    ):  # fmt: skip
        book = add(book, Entry(at(hours), at(hours), "ada", fact, egg))
    found = with_chicks(stays_in(book.batch, at(500)), book)
    assert found.pop("setter-1")
    assert found == {"brooder-1": [(at(492), at(494)), (at(493), at(510))], "brooder-2": [(at(494), at(520))]}


def test_where_a_batch_was_when() -> None:
    """Without a hole: in no machine between two stays; each place from its begin until just before its end."""
    places = list(batch_module._places(HEN, at(30)))
    assert places == [("setter-1", at(0), at(10)), ("", at(10), at(20)), ("setter-1", at(20), at(30))]
    asked = [(-0.1, ""), (0, "setter-1"), (9.9, "setter-1"), (10, ""), (20, "setter-1"), (30, "")]
    assert [batch_module._place_at(places, at(hour)) for hour, _ in asked] == [place for _, place in asked]
    apart = replace(HEN, stays=(Stay("setter-1", at(0), at(10)), Stay("hatcher-1", at(10))), closed_at=at(25))
    assert [place for place, *_ in batch_module._places(apart, at(30))] == ["setter-1", "hatcher-1"]
    assert list(batch_module._places(apart, at(30)))[-1][2] == at(25)
    assert next(batch_module._places(HEN, at(5)))[2] == at(5)


def test_the_margin_is_twice_the_longest_silence() -> None:
    """Of ten minutes' readings an hour; of a place without a probe a minute."""
    assert batch_module.margin_of(make_site().by_machine["setter-1"]) == timedelta(hours=MARGIN_H)
    assert batch_module.margin_of(()) == timedelta(seconds=60)
