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
from monitor.service.reports.turning import pauses, turned, turns_of
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


FIRST_WEEK = (day(0.0), day(7.0))


def test_pauses_of_a_turner_that_stopped(site: Site) -> None:
    """Three-hourly until day 3: the week's longest time without a turn is its other four days, the mean counts them too."""
    book = EggBook(BATCH)
    by_switch = turns_of(store(book, [n / 8 for n in range(1, 25)]), site, book, now=day(40))
    found = pauses(by_switch, book, None, within=FIRST_WEEK)
    assert found is not None
    mean, longest = found
    assert (mean.value, longest.value) == (7.0, 96.0)
    assert (longest.coverage, longest.longest_gap_h) == (1.0, 0.0)


def test_pauses_written_by_hand() -> None:
    """Four times in each of two days, evenly; the day between is not known, and nothing is made up for it; a hole is as long as it is."""
    book = EggBook(BATCH)
    for each in (entry(1, Turning(4)), entry(3, Turning(4))):
        book = add(book, each)
    found = pauses((), book, None, within=(day(0.0), day(4.0)))
    assert found is not None
    mean, longest = found
    assert (mean.value, longest.value) == (6.0, 6.0)
    assert (mean.coverage, mean.longest_gap_h) == (0.5, 24.0)
    assert pauses((), book, None, within=(day(5.0), day(7.0))) is None
    assert pauses((), EggBook(BATCH), None, within=FIRST_WEEK) is None
    assert pauses((), book, None, within=(day(4.0), day(4.0))) is None


def test_a_turn_that_was_written_lies_in_the_middle_of_its_time() -> None:
    """Once in a day: half a day before it and half a day after it, for nobody wrote when."""
    found = pauses((), add(EggBook(BATCH), entry(1, Turning(1))), None, within=(day(0.0), day(1.0)))
    assert found is not None
    assert (found[0].value, found[1].value) == (24.0, 12.0)


def test_a_time_is_counted_once_and_the_newest_word_counts() -> None:
    """Five a day, put right to three of the same day, is three; of what a switch counted nothing by hand is added."""
    book = EggBook(BATCH)
    for each in (entry(1, Turning(5)), entry(1, Turning(3))):
        book = add(book, each)
    found = pauses((), book, None, within=(day(0.0), day(1.0)))
    assert found is not None
    assert found[0].value == 8.0
    found = pauses([(day(0.0), day(1.0), [day(0.5)])], book, None, within=(day(0.0), day(1.0)))
    assert found is not None
    assert (found[0].value, found[1].value) == (24.0, 12.0)


@pytest.mark.parametrize(("egg", "longest_h"), [(None, 3.0), (7, 51.0), (8, 3.0)])
def test_that_an_egg_is_turned_no_more_is_known_of_it_alone(egg: int | None, longest_h: float) -> None:
    """Though its machine's turner goes on."""
    book = add(EggBook(BATCH), entry(5, TurningStopped("pipped"), 7))
    by_switch = [(day(0.0), day(18.0), [day(n / 8) for n in range(1, 144)])]
    found = pauses(by_switch, book, egg, within=FIRST_WEEK)
    assert found is not None
    assert found[1].value == longest_h
