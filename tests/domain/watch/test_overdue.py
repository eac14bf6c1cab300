"""What should have happened by its day is told when that day is well past, and no sooner."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.needs.batch import closed, moved
from monitor.domain.needs.rules import HATCH_OVERDUE, LOCKDOWN_OVERDUE
from tests.domain.house import MACHINES, RULES, Air, Story, batch, probes, site

TOP = "node-a/top"
GOOD: Air = (37.5, 45.0)
MOIST: Air = (37.5, 65.0)
LOCKDOWN_DAY, TERM = 18.0, 21.0  # of the hen in these tests


def on_day(day: float, machine: str = "setter-1", **changes: Any) -> Story:
    """A hen's eggs on that day in a machine with good air, for two minutes."""
    story = Story(
        batches=(batch(machine=machine, day=day),), air={TOP: MOIST if day > LOCKDOWN_DAY else GOOD}, **changes
    )
    story.run(minutes=2)
    return story


@pytest.mark.parametrize(("day", "told"), [(17.0, False), (18.4, False), (18.55, True)])
def test_lockdown_is_overdue_half_a_day_after_its_day(day: float, told: bool) -> None:
    """Eggs still in a setter half a day after their lockdown day are told, by batch and day; before that there is time to do it."""
    story = on_day(day)
    assert (story.state_of(LOCKDOWN_OVERDUE) == UNACKNOWLEDGED) is told
    if told:
        assert story.about(LOCKDOWN_OVERDUE) == "hen-1 is on day 18"


def test_eggs_that_are_moved_are_no_longer_overdue() -> None:
    """The move to the hatcher ends it within a minute."""
    story = on_day(18.6)
    assert story.state_of(LOCKDOWN_OVERDUE) == UNACKNOWLEDGED
    story.put(moved(story.state.batches["hen-1"], "hatcher-1", story.now().utc))
    story.run(minutes=2)
    assert story.state_of(LOCKDOWN_OVERDUE) != UNACKNOWLEDGED
    assert story.state_of(LOCKDOWN_OVERDUE, "hatcher-1") == "normal"


def test_who_has_no_hatcher_locks_down_where_the_eggs_are() -> None:
    """Without a hatcher at the site nothing is asked."""
    alone = {name: machine for name, machine in MACHINES.items() if name != "hatcher-1"}
    story = on_day(19.0, site=site(machines=alone))
    assert (("setter-1", LOCKDOWN_OVERDUE)) not in story.state.alarms


@pytest.mark.parametrize(("day", "told"), [(20.5, False), (22.4, False), (22.6, True)])
def test_a_hatch_is_overdue_a_day_and_a_half_after_its_term(day: float, told: bool) -> None:
    """A batch that is still open then is asked about; late and drawn-out hatches have their time."""
    watched = probes((TOP, "hatcher-1"))
    story = on_day(day, "hatcher-1", site=site(watched))
    assert (story.state_of(HATCH_OVERDUE, "hatcher-1") == UNACKNOWLEDGED) is told


def test_a_closed_batch_is_not_overdue() -> None:
    """Closing it ends the alarm."""
    story = on_day(23.0)
    assert story.state_of(HATCH_OVERDUE) == UNACKNOWLEDGED
    story.put(closed(story.state.batches["hen-1"], story.now().utc))
    story.run(minutes=2)
    assert story.state_of(HATCH_OVERDUE) != UNACKNOWLEDGED


def test_a_breeder_gives_more_time() -> None:
    """The rule's own limit, in days, stands in place of the usual ones."""
    patient = {**RULES, HATCH_OVERDUE: replace(RULES[HATCH_OVERDUE], limit=5.0)}
    story = on_day(23.0, site=site(rules=patient))
    assert story.state_of(HATCH_OVERDUE) == "normal"
