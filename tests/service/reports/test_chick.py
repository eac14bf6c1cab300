"""A chick as it grew, and the air of its brooder, from a record whose air is known."""

from __future__ import annotations

from datetime import timedelta

import pytest

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Brooded, ChickMass, Entry, Fact, Hatched, SignedOff
from monitor.domain.needs.bands import DRY_BULB
from monitor.service.reports.chick import raised
from monitor.shown.eggs import raised_view
from tests.fakes import MemoryStore
from tests.seasons import HATCHER_RH, SETTER_RH, WARM_C, batch_of, group, make_site


def entry(days: float, fact: Fact) -> Entry:
    at = batch_of(0).set_at + timedelta(days=days)
    return Entry(at, at, "ada", fact, 1)


def test_the_air_between_two_weighings_is_that_of_where_it_was() -> None:
    """Setter-1 stands in for a brooder, drier than the hatcher; each line has the time since the one before, in each machine its share."""
    book = EggBook(batch_of(0))
    for each in (
        entry(16.0, Hatched()), entry(16.0, ChickMass(40.0)), entry(16.5, Brooded("setter-1")), entry(17.0, ChickMass(42.0)),
        entry(18.5, Brooded("hatcher-1")), entry(19.0, ChickMass(46.2)), entry(20.0, SignedOff("out")),
    ):  # fmt: skip
        book = add(book, each)
    store = MemoryStore()
    store.commit(group([book]))
    found = raised(store, make_site(), book, egg=1)
    assert found is not None
    first, second, third, end = found.lines
    assert (first.days, first.gain_pct_d, first.air, first.machines) == (0.0, None, None, ())
    assert (second.days, second.machines) == (1.0, ("setter-1",))
    assert second.gain_pct_d == pytest.approx(5.0)
    assert second.air is not None
    assert second.air.until_ms - second.air.since_ms == 12 * 3_600_000
    assert second.air.dry_bulb_c.mean == pytest.approx(WARM_C)
    assert second.air.rh_pct.mean == pytest.approx(SETTER_RH)
    assert third.machines == ("setter-1", "hatcher-1")
    assert third.gain_pct_d == pytest.approx(5.0)
    assert third.air is not None
    # A day of the setter's is on record until day 18, half a day of the hatcher's: what is missing is not made up.
    assert third.air.rh_pct.mean == pytest.approx((SETTER_RH * 1.0 + HATCHER_RH * 0.5) / 1.5, abs=0.2)
    assert third.air.dry_bulb_c.hours_unjudged == third.air.dry_bulb_c.hours_covered  # what eggs need judges no chick
    assert (end.mass_g, end.machines) == (None, ("hatcher-1",))
    lines = raised_view(found)["chick"]["lines"]  # type: ignore[index]  # a mapping, as its maker has it
    assert (lines[1]["mass_g"], lines[1]["air"][DRY_BULB]["mean"], lines[3]["kind"]) == (42.0, WARM_C, "signed-off")
    assert lines[2]["air"][DRY_BULB]["coverage"] == pytest.approx(0.75, abs=0.01)


def test_no_chick() -> None:
    """Of an egg that only hatched nothing is told."""
    store, book = MemoryStore(), add(EggBook(batch_of(0)), entry(16.0, Hatched()))
    store.commit(group([book]))
    assert raised(store, make_site(), book, egg=1) is None
    assert raised_view(None) == {}
