"""Skipping the ticks at which nothing is due changes no decision."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.about import ABSENT, Unusable
from monitor.domain.alarms.alarm import UNACKNOWLEDGED, Alarm, acknowledge, shelve
from monitor.domain.needs.rules import ALL_SILENT, NO_DATA, SWITCH_DOUBTFUL
from monitor.domain.needs.site import OF_DOOR, OF_WATER, Switch
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.reading import Now, Pack, Presence, Refused
from monitor.domain.signs.switch import Contact
from monitor.domain.state.known import Trouble
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


@pytest.mark.slow
@settings(max_examples=30, deadline=None, derandomize=True)
@given(STEPS)
def test_skipped_ticks_decide_nothing(steps: list[tuple[str, float, int]]) -> None:
    """The same transitions at the same instants, and the same messages, with a fraction of the ticks."""
    each, skipping = played(Story, steps), played(Skipping, steps)
    assert skipping.transitions == each.transitions
    assert skipping.notices == each.notices
    assert [e.what for e in skipping.events] == [e.what for e in each.events]


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


def due_s(story: Story) -> float:
    """When something is due next, in seconds of the story."""
    return due_mono_s(story.look()) - MONO0_S


def heard(air: Air = (37.5, 45.0)) -> Story:
    """A house whose one probe spoke at second 10, and told a humidity at second 15, after which each look found nothing."""
    story = Story(batches=(batch(),), air={TOP: air})
    story.run(seconds=40)
    story.at_s = 10.0
    story.state.looked_mono_s = MONO0_S + 1_000.0  # what is looked for each minute is another story
    known = story.state.probe(TOP)
    known.life_mono_s = MONO0_S + 10.0
    known.trouble = story.state.node("node-a").spoke_mono_s = None  # what is wrong with messages: see test_silence
    known.heard = replace(there(known.heard), humid_mono_s=MONO0_S + 15.0)
    return story


def test_the_silence_of_a_probe_is_due_thirty_seconds_after_it_was_heard() -> None:
    """Or after the run began, where it was not heard in it; at the very second, for there it may be decided."""
    story = Story(batches=(batch(),), air={TOP: None})
    story.tick()
    assert due_s(story) == 30.0
    story = heard()
    assert due_s(story) == 40.0
    for at_s, due in ((40.0, 40.0), (41.0, 45.0), (45.0, 45.0), (46.0, 1_060.0)):
        story.at_s = at_s
        assert due_s(story) == due
    story = heard()
    story.state.probes.clear()  # nobody asked for it yet
    assert due_s(story) == 30.0
    story = heard()
    story.state.probe(TOP).life_mono_s = MONO0_S - 100.0  # of the run before
    story.state.probe(TOP).heard = None
    assert due_s(story) == 30.0


def test_a_switch_that_falls_silent_is_due() -> None:
    """Its node goes on telling of the air, and no longer of its door: doubted at the same second, whether or not idle ticks are skipped."""
    door, told = Switch("node-a/door", OF_DOOR, "setter-1"), []
    for kind in (Story, Skipping):
        story = kind(site(switches=(door,)), (batch(),), air={TOP: (37.5, 45.0)})
        story.switches = {door.key: False}
        story.run(minutes=2)
        story.switches = {}
        story.run(minutes=8)
        told.append([(t.alarm.rule, t.mono_s) for t in story.transitions])
    assert [rule for rule, _ in told[0]] == [SWITCH_DOUBTFUL]
    assert told[0] == told[1]


def test_a_switch_is_due_a_minute_after_it_was_heard() -> None:
    """Or after this run began to listen, whichever is later; and of several the first, once it is not past."""
    door, water = Switch("node-a/door", OF_DOOR, "setter-1"), Switch("node-a/water", OF_WATER, "setter-1")
    story = Story(site({}, switches=(door, water)))
    story.at_s = 20.0
    story.state.looked_mono_s = story.now().mono_s  # the days are looked at a minute from now
    assert due_s(story) == 60.0
    story.at_s = 61.0
    story.state.looked_mono_s = story.now().mono_s
    assert due_s(story) == 121.0
    for switch, heard_s in ((door, 50.0), (water, 40.0)):
        heard_mono_s, at = MONO0_S + heard_s, story.now().utc
        story.state.contacts[switch.key] = Contact(False, at, at, (1, 0), heard_mono_s, heard_mono_s)
    assert due_s(story) == 100.0


def test_a_lost_humidity_is_due_thirty_seconds_after_it_was_heard() -> None:
    """Of a probe that goes on without it, or that told one only to the run before."""
    story = heard()
    known = story.state.probe(TOP)
    known.life_mono_s = MONO0_S + 500.0
    assert due_s(story) == 45.0
    known.heard = replace(there(known.heard), humid_mono_s=MONO0_S - 100.0)
    assert due_s(story) == 30.0
    known.heard = replace(there(known.heard), humid_mono_s=None)
    known.humid_from_s = MONO0_S - 80.0  # one that could not be used
    assert due_s(story) == 30.0
    known.humid_from_s = None
    assert due_s(story) == 530.0


def test_the_days_are_looked_at_each_minute() -> None:
    """What is overdue is looked for a minute after the last time."""
    story = heard()
    story.state.looked_mono_s = MONO0_S + 5.0 - 60.0
    assert due_s(story) == 5.0


HOT = ("setter-1", "dry-bulb-high-alarm")


def test_what_is_due_of_an_alarm() -> None:
    """The end of its shelf, the next time it is told while it stands, and the end of a delay that time alone completes."""
    re_alarm_s = there(site().rules[HOT[1]].re_alarm_s)
    begun_s = MONO0_S - 0.25
    stands = Alarm(*HOT, number=1, condition=True, asked_mono_s=begun_s - re_alarm_s + 20.0)
    story = heard()
    story.state.alarms = {HOT: stands}
    assert due_s(story) == 19.75
    story.state.alarms = {HOT: replace(stands, condition=False)}
    assert due_s(story) > 30.0
    story.state.alarms = {HOT: replace(stands, condition=False, shelved_until_mono_s=MONO0_S + 15.0)}
    assert due_s(story) == 15.0
    story.state.alarms = {HOT: replace(stands, shelved_until_mono_s=MONO0_S + 25.0)}
    assert due_s(story) == 19.75
    never_again = {**story.site.rules, HOT[1]: replace(story.site.rules[HOT[1]], re_alarm_s=None)}
    story.site = replace(story.site, rules=never_again)
    story.state.plan_anew()
    story.state.alarms = {HOT: stands}
    assert due_s(story) > 30.0
    silent = (TOP, NO_DATA)
    delay_s = site().rules[NO_DATA].on_delay_s
    waits = Alarm(*silent, pending_mono_s=MONO0_S + 12.0 - delay_s)
    story.state.alarms = {silent: waits}
    assert due_s(story) == 12.0
    story.state.alarms = {silent: replace(waits, condition=True, asked_mono_s=None)}
    assert due_s(story) > 30.0
    story.state.alarms = {HOT: replace(stands, condition=False, pending_mono_s=MONO0_S - 100.0)}
    assert due_s(story) > 30.0  # of the air, which the next reading completes


def test_a_hole_in_the_numbering_is_due_after_ten_minutes() -> None:
    """When it is given up; not where nothing came above it."""
    story = heard()
    numbering = Numbering(contiguous=3, above=((5, 5),), hole_since_mono_s=MONO0_S + 20.0 - 600.0)
    story.state.node("node-a").numberings = {7: numbering}
    assert due_s(story) == 20.0
    story.state.node("node-a").numberings = {7: replace(numbering, above=())}
    assert due_s(story) > 30.0


def test_what_a_node_said_is_due_to_be_forgotten_thirty_seconds_after() -> None:
    """That a node spoke, or what was wrong with a message of it or of its probe, is news for as long as a silence is allowed; while
    every node is known to be silent any of it may end that at once."""
    for what in ("node", "probe", "spoke"):
        story = heard()
        node, at_s = story.state.node("node-a"), MONO0_S + 8.0
        if what == "spoke":
            node.spoke_mono_s = at_s
        elif what == "node":
            node.trouble = Trouble(at_s, Unusable(ABSENT), at_s)
        else:
            story.state.probe(TOP).trouble = Trouble(at_s, Unusable(ABSENT), at_s)
        assert due_s(story) == 38.0
        silent = Alarm("site", ALL_SILENT, 1, 1, condition=True)
        story.state.alarms[silent.key] = silent
        assert due_s(story) == 10.0
        story.state.alarms[silent.key] = replace(silent, condition=False)
        assert due_s(story) == 38.0
