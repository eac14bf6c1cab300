"""Skipping the ticks at which nothing is due changes no decision."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.alarm import UNACKNOWLEDGED, acknowledge, shelve
from monitor.domain.readings.reading import Now, Pack, Presence, Refused
from monitor.domain.state.record import Group
from monitor.domain.watch.due import due_mono_s
from monitor.domain.watch.evaluate import settle
from tests.domain.house import MONO0_S, Air, Story, batch, probes, site, there

TOP, OTHER = "node-a/top", "node-b/top"
STEPS = st.lists(
    st.tuples(
        st.sampled_from(["air", "silent", "gone", "back", "acknowledge", "shelve", "hole"]),
        st.floats(34.0, 41.0),
        st.integers(1, 12),
    ),
    min_size=1,
    max_size=12,
)


class Skipping(Story):
    """A story that ticks only at the seconds at which something may be due."""

    ticks = 0
    settled = False

    def tick(self) -> Group:
        """As the driver of a record does it: not before it is due, unless the last tick or message decided something."""
        if self.settled and due_mono_s(replace(self.look(), now=self.before())) > self.now().mono_s:
            return Group()
        self.ticks += 1
        out = super().tick()
        self.settled = not (out.transitions or out.events)
        return out

    def hear(self, message: Pack | Presence | Refused) -> Group:
        out = super().hear(message)
        if out.transitions or isinstance(message, Presence):
            self.settled = False
        return out

    def before(self) -> Now:
        """The second before this one."""
        self.at_s -= 1.0
        now = self.now()
        self.at_s += 1.0
        return now


def played(kind: type[Story], steps: list[tuple[str, float, int]]) -> Story:
    """The same story, ticked by this kind."""
    watched = probes((TOP, "setter-1"), (OTHER, "setter-1"))
    story = kind(site=site(watched), batches=(batch(day=17.98),), air={TOP: (37.5, 45.0), OTHER: (37.5, 45.0)})
    for act, value, minutes in steps:
        air: Air = (value, 45.0)
        if act == "air":
            story.air[TOP] = air
        elif act == "silent":
            story.air[TOP] = None
        elif act in ("gone", "back"):
            story.air[OTHER] = (37.5, 45.0) if act == "back" else None
            story.hear(Presence("node-b", act == "back"))
        elif act == "hole":
            story.seqs["node-a"] = story.seqs.get("node-a", 0) + 2
        else:
            for key, alarm in list(story.state.alarms.items()):
                rule = story.site.rules[alarm.rule]
                if story.state_of(alarm.rule, alarm.subject) == UNACKNOWLEDGED:
                    stepped = (
                        acknowledge(alarm, "sam", story.now())
                        if act == "acknowledge"
                        else shelve(alarm, 300.0, "sam", now=story.now(), rule=rule)
                    )
                    out = Group()
                    settle(story.look(out), key, stepped)
                    story.adopt(out)
            story.__dict__["settled"] = False
        story.run(minutes=minutes)
    return story


@settings(max_examples=30, deadline=None, derandomize=True)
@given(STEPS)
def test_skipped_ticks_decide_nothing(steps: list[tuple[str, float, int]]) -> None:
    """The same transitions at the same instants, and the same messages, with a fraction of the ticks."""
    each, skipping = played(Story, steps), played(Skipping, steps)
    assert skipping.transitions == each.transitions
    assert skipping.notices == each.notices
    assert [e.text for e in skipping.events] == [e.text for e in each.events]


def test_a_calm_hour_needs_few_ticks() -> None:
    """A machine in good air is looked at once a minute, not once a second."""
    story = played(Skipping, [("air", 37.5, 12)] * 5)
    assert isinstance(story, Skipping)
    assert story.transitions == []
    assert story.ticks <= 65


@pytest.mark.parametrize("minutes", [30, 90])
def test_a_stage_that_begins_is_due_at_its_instant(minutes: int) -> None:
    """The next change of a machine's needs is never skipped over."""
    story = Story(batches=(batch(day=18.0 - minutes / 1440.0),), air={TOP: (37.5, 45.0)})
    story.tick()
    seen = due_mono_s(story.look())
    assert seen <= MONO0_S + minutes * 60.0
    assert not math.isinf(seen)
    until = there(there(story.state.machine("setter-1").plan).needs.valid_until)
    assert until - story.now().utc <= timedelta(minutes=minutes)
