"""While a door is open nothing is foretold of the air and no mean takes it in; the same temperatures from a shut machine are told."""

from __future__ import annotations

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.signs.opening import holds
from tests.domain.house import Story, batch, there

TOP = "node-a/top"
LOW_HEADING, LOW_WARNING = "dry-bulb-low-heading", "dry-bulb-low-warning"
SHUT_PCT, OPEN_PCT = 45.0, 36.0


def watched(at_c: float = 37.5) -> Story:
    """A hen's egg on day 5 after three hours in good air."""
    story = Story(batches=(batch(),), air={TOP: (at_c, SHUT_PCT)})
    story.run(minutes=180)
    return story


def go(story: Story, to_c: float, minutes: float, rh_pct: float = SHUT_PCT) -> None:
    """The air goes straight to another temperature, in steps of ten seconds; its humidity is there at once."""
    from_c = there(there(story.air[TOP])[0])
    steps = round(minutes * 6)
    for n in range(1, steps + 1):
        story.air[TOP] = (from_c + (to_c - from_c) * n / steps, rh_pct)
        story.run(seconds=10)


def told(story: Story) -> set[str]:
    """The rules that somebody was told of."""
    return {t.alarm.rule for t in story.transitions if t.state == UNACKNOWLEDGED}


def door_shows(story: Story) -> bool:
    """Whether the air is taken for that of an open door now."""
    return holds(there(story.state.machine("setter-1").watch), story.now().mono_s)


@pytest.mark.parametrize("opened", [False, True])
def test_nothing_is_foretold_of_an_opening_that_nobody_declared(opened: bool) -> None:
    """A machine cools by 0.8 K an hour and is about to be told as heading for too cold, when a door lets it fall by a degree; it then
    comes back a little. As long as the air shows the door nothing is foretold; the same temperatures at a humidity that stays where it
    was, which no door does, are foretold."""
    story = watched()
    go(story, 37.0, 36.0)
    assert told(story) == set()
    go(story, 36.1, 0.5, OPEN_PCT if opened else SHUT_PCT)
    go(story, 36.5, 8.0, OPEN_PCT if opened else SHUT_PCT)
    assert door_shows(story) is opened
    assert (LOW_HEADING in told(story)) is not opened


@pytest.mark.parametrize("opened", [False, True])
def test_the_air_of_an_open_door_is_in_no_mean(opened: bool) -> None:
    """A machine at 37.1 °C falls to 36.1 °C at a door, and is then 0.1 K under its warning of 37.0 °C. Its half hour of being cool begins
    with what came after the door, and not with the door's own air; of the same temperatures in a machine that stayed shut, with those."""
    story = watched(37.1)
    go(story, 36.1, 0.5, OPEN_PCT if opened else SHUT_PCT)
    go(story, 36.3, 6.0, OPEN_PCT if opened else SHUT_PCT)
    go(story, 36.9, 0.5)
    story.run(minutes=29)  # 36 since it fell
    assert not door_shows(story)
    assert (LOW_WARNING in told(story)) is not opened
    story.run(minutes=15)
    assert LOW_WARNING in told(story)
