"""Where a batch would do, and what it says that one was brought to a hatcher."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.domain.needs.batch import Batch
from monitor.domain.needs.places import brought, places_of
from monitor.domain.needs.site import Machine
from tests.domain.house import MACHINES, PROFILES, T0, batch, site

BY_EGG = replace(PROFILES["hen"], id="parrot", lockdown_by="internal pip")
MORE = {**MACHINES, "hatcher-2": Machine("hatcher-2", "Hatcher 2", "hatcher")}
HOUSE = site(profiles={**PROFILES, "parrot": BY_EGG}, machines=MORE)


def places(mine: Batch, *others: Batch) -> tuple[str, ...]:
    return places_of(mine, (mine, *others), HOUSE, at=T0)


def test_eggs_in_lockdown_would_do_in_a_hatcher() -> None:
    """An empty one before one with others that it suits; one whose eggs want other air is none."""
    mine = batch(day=19.0)
    assert places(mine) == ("hatcher-1", "hatcher-2")
    assert places(mine, batch("hen-2", machine="hatcher-1", day=19.0)) == ("hatcher-2", "hatcher-1")
    assert places(mine, batch("desert-1", "desert-bird", "hatcher-1", day=4.0)) == ("hatcher-2",)


def test_a_machine_in_which_it_would_only_settle_is_none() -> None:
    """Without a hatcher: another setter whose eggs want it dry would take eggs in lockdown for as long as the air settles, and no longer."""
    alone = replace(HOUSE, machines={id_: MORE[id_] for id_ in ("setter-1", "still-1")})
    mine, dry = batch(day=19.0), batch("young", machine="still-1", day=4.0)
    assert places_of(mine, (mine,), alone, at=T0) == ("still-1",)
    assert places_of(mine, (mine, dry), alone, at=T0) == ()


def test_eggs_that_are_turned_would_do_in_a_setter() -> None:
    """Not in a hatcher, and not where they are."""
    assert places(batch(day=4.0)) == ("still-1",)
    assert places(batch(day=4.0), batch("desert-1", "desert-bird", "still-1")) == ()


@pytest.mark.parametrize(
    ("came_day", "now_day", "stage"), [(17.2, 17.5, True), (16.5, 19.0, False), (18.5, 19.0, True), (0.0, 19.0, False)]
)
def test_a_batch_that_was_brought_to_a_hatcher(came_day: float, now_day: float, stage: bool) -> None:
    """From a day before its reminder on, that is as good as saying so; before, and of eggs set there, it says nothing."""
    mine = batch("p-1", "parrot", "hatcher-1", day=now_day, came=came_day)
    if came_day:
        before = replace(mine.stays[0], machine="setter-1", since=mine.set_at, until=mine.stays[0].since)
        mine = replace(mine, stays=(before, *mine.stays))
    found = brought(mine, HOUSE, at=T0)
    assert [(d.stage, d.at) for d in found.declared] == ([("lockdown", mine.stays[-1].since)] if stage else [])
    of_a_hen = replace(mine, profile="hen")
    assert brought(of_a_hen, HOUSE, at=T0) is of_a_hen
