"""Where a batch would do, and what it says that one was brought to a hatcher."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.domain.needs.batch import Batch
from monitor.domain.needs.places import brought, groups_of, places_of, set_there
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


@pytest.mark.parametrize("many", [3, 8, 9, 11])
def test_which_of_a_machine_s_batches_could_share_one(many: int) -> None:
    """Hens and cold birds set in turn are two groups, the greater first, however many there are; one elsewhere, and one that nobody knows, is in none."""
    inside = [batch(f"b-{n}", "cold-bird" if n % 2 else "hen", day=5.0) for n in range(many)]
    others = [batch("away", machine="still-1"), batch("lost", "dodo"), batch("gone", machine=None)]
    found = groups_of("setter-1", [*others, *inside], HOUSE, at=T0)
    hens, cold = (tuple(f"b-{n}" for n in range(first, many, 2)) for first in (0, 1))
    assert found == ((hens, cold) if len(hens) >= len(cold) else (cold, hens))


def test_each_joins_the_first_group_of_many_that_it_fits() -> None:
    """One cold bird before nine hens is the smaller group, and told last."""
    inside = [batch("b-0", "cold-bird"), *(batch(f"b-{n}") for n in range(1, 10))]
    assert [len(group) for group in groups_of("setter-1", inside, HOUSE, at=T0)] == [9, 1]


@pytest.mark.parametrize(("day", "stage"), [(16.99, False), (17.0, True), (19.0, True)])
def test_a_batch_that_is_written_down_in_a_hatcher(day: float, stage: bool) -> None:
    """From a day before its reminder on (day 18), its lockdown is taken to have begun now, whenever it came there; in a setter, or in no machine, not."""
    late = batch("p-1", "parrot", "hatcher-1", day=day, came=2.0)
    assert [(d.stage, d.at) for d in set_there(late, HOUSE, at=T0).declared] == ([("lockdown", T0)] if stage else [])
    for other in (
        batch("p-1", "parrot", day=day),
        batch("p-1", "parrot", None, day=day),
        batch("p-1", "dodo", "hatcher-1", day=day),
    ):
        assert set_there(other, HOUSE, at=T0) is other
    said = batch("p-1", "parrot", "hatcher-1", day=day, declared=[("lockdown", 1.0)])
    assert set_there(said, HOUSE, at=T0) is said


def test_where_a_batch_came_first_says_nothing() -> None:
    """Set on paper and put into a hatcher on day 18, or in no machine at all: nobody brought it there for what was seen."""
    for mine in (batch("p-1", "parrot", "hatcher-1", day=19.0, came=18.0), batch("p-1", "parrot", None, day=19.0)):
        assert brought(mine, HOUSE, at=T0) is mine


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
