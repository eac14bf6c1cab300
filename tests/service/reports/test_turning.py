"""How often eggs were turned, by a switch whose turns are known and as it was written."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Entry, Fact, Turning, TurningStopped
from monitor.domain.needs.site import OF_TURNING, Site, Switch
from monitor.domain.state.happened import TURNING
from monitor.domain.state.happened import Turned as SwitchTurned
from monitor.domain.state.record import Event
from monitor.service.reports.turning import turned
from monitor.shown.eggs import turned_view
from tests.fakes import MemoryStore
from tests.seasons import batch_of, group, make_site

BATCH = batch_of(0)  # 18 days in setter-1, four in hatcher-1


def day(number: float) -> datetime:
    return BATCH.set_at + timedelta(days=number)


def store(book: EggBook, turns: list[float]) -> MemoryStore:
    made = MemoryStore()
    made.commit(group([book]))
    what = SwitchTurned(OF_TURNING, True)
    extra = replace(group([book]), events=[Event(day(d), TURNING, "setter-1", what=what) for d in turns])
    extra.events += [Event(day(2.0), "switch", "setter-1", what=what), Event(day(2.0), TURNING, "setter-2", what=what)]
    extra.readings, extra.lines = [], {}
    made.commit(extra)
    return made


def entry(days: float, fact: Fact, egg: int | None = None) -> Entry:
    return Entry(day(days), day(days), "ada", fact, egg)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


def test_a_turner_that_goes_to_the_end(site: Site) -> None:
    """Eight times a day for eighteen days, but for nine hours; what another machine's turner did, or another switch, is nothing."""
    turns = [n / 8 for n in range(1, 144) if n not in (41, 42)]
    found = turned(store(EggBook(BATCH), turns), site, EggBook(BATCH), now=day(40))
    assert found is not None
    assert found.by_switch is not None
    assert (found.by_switch.times, found.by_switch.over, found.by_switch.last) == (
        141,
        timedelta(days=18),
        day(143 / 8),
    )
    assert (found.by_switch.longest, found.by_switch.longest_until) == (timedelta(hours=9), day(43 / 8))
    assert (found.stopped_at, found.stopped, found.by_hand) == (None, None, None)


def test_a_turner_that_stops(site: Site) -> None:
    """Since its last turn, once it stands still for four of its usual pauses; not before."""
    turns = [n / 8 for n in range(1, 100)]
    found = turned(store(EggBook(BATCH), turns), site, EggBook(BATCH), now=day(40))
    assert found is not None
    assert found.stopped_at == day(99 / 8)
    assert found.by_switch is not None
    assert (found.by_switch.longest, found.by_switch.longest_until) == (timedelta(days=18 - 99 / 8), None)
    going = replace(BATCH, closed_at=None)
    for hours, stopped in ((12.0, None), (12.1, day(99 / 8))):
        now = day(99 / 8) + timedelta(hours=hours)
        found = turned(store(EggBook(going), turns), site, EggBook(going), now=now)
        assert found is not None
        assert found.stopped_at == stopped


def test_before_the_first_turn_nobody_knows(site: Site) -> None:
    """A switch that came on day 5 counts from then on, and says so; a first turn within six hours of the set counts from the set."""
    for first, before in ((5.0, day(5.0)), (0.25, None)):
        turns = [first + n / 8 for n in range(round((17.9 - first) * 8))]
        found = turned(store(EggBook(BATCH), turns), site, EggBook(BATCH), now=day(40))
        assert found is not None
        assert found.by_switch is not None
        assert (found.by_switch.over, found.by_switch.none_before) == (
            timedelta(days=18.0 - (first if before else 0.0)),
            before,
        )
        assert found.by_switch.longest == timedelta(hours=6)


def test_what_is_written_beside_a_switch(site: Site) -> None:
    """Counts by hand stand beside those of the switch; that turning stopped, as somebody wrote it, before what the switch lets guess."""
    book = EggBook(BATCH)
    for each in (
        entry(2, Turning(5)),
        entry(3, Turning(4, 12.0)),
        entry(15, TurningStopped("lockdown")),
        entry(4, Turning(3), 7),
    ):
        book = add(book, each)
    found = turned(store(book, [n / 8 for n in range(1, 80)]), site, book, now=day(40))
    assert found is not None
    assert (found.by_hand, found.stopped_at) == ((9, timedelta(hours=36)), day(15))
    assert found.stopped is not None
    one = turned(store(book, []), site, book, now=day(40), egg=7)
    assert one is not None
    assert (one.by_switch, one.by_hand) == (None, (12, timedelta(hours=60)))
    view = turned_view(one)["turning"]
    assert view["by_hand"] == {"times": 12, "hours": 60.0}  # type: ignore[index]  # a mapping, as its maker has it


def test_nobody_counts(site: Site) -> None:
    """Then nothing is told; but of a turner that has a switch, and never turned, while its eggs are in it."""
    assert turned(store(EggBook(BATCH), []), site, EggBook(BATCH), now=day(40)) is None
    assert turned_view(None) == {}
    going = replace(BATCH, closed_at=None, stays=(replace(BATCH.stays[0], until=None),))
    switched = replace(site, switches={"node-a/turner": Switch("node-a/turner", OF_TURNING, "setter-1")})
    found = turned(store(EggBook(going), []), switched, EggBook(going), now=day(3))
    assert found is not None
    assert found.by_switch is not None
    assert (found.by_switch.times, found.by_switch.over, found.by_switch.last) == (0, timedelta(days=3), None)
    assert found.stopped_at is None
