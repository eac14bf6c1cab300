"""Until when a machine's limits hold, and what becomes of its alarms when they change."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.about import Unmet
from monitor.domain.alarms.alarm import NORMAL, RETURNED, SUPPRESSED, UNACKNOWLEDGED, Alarm
from monitor.domain.needs.batch import closed
from monitor.domain.needs.rules import CONFLICT, DISAGREE, MISSING
from monitor.domain.watch.planning import plan
from tests.domain.house import Air, Story, batch, there

TOP = "node-a/top"
GOOD: Air = (37.5, 45.0)
LOW_ALARM, HIGH_ALARM = "dry-bulb-low-alarm", "dry-bulb-high-alarm"


def standing(rule: str, machine: str = "setter-1") -> Alarm:
    """An alarm that somebody was told of."""
    return Alarm(machine, rule, 1, 1, condition=True, acknowledged=False, told=True)


def test_limits_are_made_anew_at_the_very_instant_at_which_a_stage_begins() -> None:
    """A hen's lockdown begins an hour after the story: until then the limits are the same object, so that nothing is worked out
    twice; at the full hour, to the second, they are the lockdown's."""
    story = Story(batches=(batch(day=18.0 - 1.0 / 24.0),))
    first = plan(story.look(), "setter-1")
    assert there(first.needs.valid_until) == story.now().utc + timedelta(hours=1)
    story.at_s = 3599.0
    assert plan(story.look(), "setter-1") is first
    story.at_s = 3600.0
    second = plan(story.look(), "setter-1")
    assert [o.stage for o in second.needs.occupants] == ["lockdown"]
    assert plan(story.look(), "setter-1") is second


def test_limits_that_nothing_will_change_hold() -> None:
    """Of an empty machine there is no instant at which they change by themselves."""
    story = Story()
    first = plan(story.look(), "setter-1")
    assert first.needs.valid_until is None
    story.at_s = 1e7
    assert plan(story.look(), "setter-1") is first


def test_a_humidity_that_was_reached_is_forgotten_with_the_batch() -> None:
    """Whoever reached the lockdown humidity need not again, as long as it is in the machine and locked down; a batch that left is no
    longer among them, and one that is not due was never."""
    story = Story(batches=(batch("old", day=18.5), batch("young", day=5.0)))
    known = story.state.machine("setter-1")
    known.reached = frozenset({"old", "young", "gone"})
    assert plan(story.look(), "setter-1").awaited == ()
    assert known.reached == {"old"}


def test_a_delay_that_runs_ends_with_its_limit() -> None:
    """Too cold for nine minutes of the ten that are asked for, then the eggs leave and come back: the ten begin anew."""
    story = Story(batches=(batch(),), air={TOP: GOOD})
    story.run(minutes=1)
    story.air[TOP] = (35.0, 45.0)
    story.run(minutes=9)
    assert story.alarm(LOW_ALARM).pending_mono_s is not None
    hens = story.state.batches["hen-1"]
    story.put(closed(hens, story.now().utc))
    waits = story.alarm(LOW_ALARM)
    assert (waits.pending_mono_s, waits.pending_at) == (None, None)
    story.put(replace(hens, id="hen-2"))
    story.run(minutes=9.5)
    assert story.state_of(LOW_ALARM) == NORMAL
    story.run(minutes=1)
    assert story.state_of(LOW_ALARM) == UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("alarm", "state"),
    [
        (standing(HIGH_ALARM), SUPPRESSED),  # of this machine's air: no such limit now
        (standing("egg-too-hot"), SUPPRESSED),
        (standing(HIGH_ALARM, "hatcher-1"), UNACKNOWLEDGED),  # of another machine's
        (standing(DISAGREE), UNACKNOWLEDGED),  # of the sensors, which hang there still
    ],
)
def test_only_what_is_of_this_machines_air_ends_with_its_limits(alarm: Alarm, state: str) -> None:
    """A machine that was emptied quiets what stood for its air, and says that it is empty."""
    story = Story()
    story.state.alarms[alarm.key] = alarm
    plan(story.look(), "setter-1")
    assert story.state_of(alarm.rule, alarm.subject) == state
    assert story.state.alarms[alarm.key].suppressed == ("no eggs in it" if state == SUPPRESSED else "")


@pytest.mark.parametrize(("machine", "state"), [("setter-1", RETURNED), ("hatcher-1", SUPPRESSED)])
def test_a_limit_that_is_back_is_judged_again(machine: str, state: str) -> None:
    """What was quiet by design for want of eggs is open again once there are some; another machine's stays as it is."""
    story = Story(batches=(batch(),))
    quiet = replace(standing(HIGH_ALARM, machine), condition=False, suppressed="no eggs in it")
    story.state.alarms[quiet.key] = quiet
    plan(story.look(), "setter-1")
    assert story.state_of(HIGH_ALARM, machine) == state


def test_a_limit_that_is_gone_though_there_are_eggs_says_so() -> None:
    """Eggs of a bird of which nothing is judged by temperature do not make the machine an empty one."""
    story = Story(batches=(batch(),))
    plan(story.look(), "setter-1")
    story.state.alarms["setter-1", "humidity-not-raised"] = standing("humidity-not-raised")
    story.state.plan_anew()
    plan(story.look(), "setter-1")
    assert story.alarm("humidity-not-raised").suppressed == "no such limit now"


def test_what_no_limit_can_be_made_for_is_told_by_whom_it_is_about() -> None:
    """Eggs that cannot share their machine, and eggs whose profile is gone: which quantity, who is inside, and who is not judged."""
    story = Story(batches=(batch(), batch("cold-1", "cold-bird"), batch("dodo-1", "dodo")))
    plan(story.look(), "setter-1")
    inside = (("hen-1", 5, "setter"), ("cold-1", 5, "setter"))
    elsewhere = (("hen-1", ("still-1",)), ("cold-1", ("still-1",)))  # in the other empty setter each would do by itself
    assert story.alarm(CONFLICT).about == Unmet(
        ("temperature",), inside, ("dodo-1",), elsewhere, (("hen-1",), ("cold-1",))
    )
    assert story.alarm(MISSING).about == Unmet(("dodo-1",), inside, ("dodo-1",))
    assert {story.state_of(rule) for rule in (CONFLICT, MISSING)} == {UNACKNOWLEDGED}
