"""What switches say: mains, a door, water; and the switch that is not believed."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.domain.alarms.about import CHATTERING, CONTRADICTED, MAINS, SILENT, Disbelieved, Switched, Unheard
from monitor.domain.alarms.alarm import NORMAL, SUPPRESSED, UNACKNOWLEDGED, Alarm
from monitor.domain.needs.rules import (
    ALL_SILENT,
    DOOR_OPEN,
    EGG_COLD,
    HIGH,
    LOW,
    MAINS_LOST,
    MEDIUM,
    OF_SWITCHES,
    SWITCH_DOUBTFUL,
    WATER_LOW,
)
from monitor.domain.needs.site import OF_DOOR, OF_MAINS, OF_TURNING, OF_WATER, Switch
from monitor.domain.readings.reading import Other, Pack, Sample
from monitor.domain.signs.opening import FALL_K, holds
from monitor.domain.signs.seen import Opened
from monitor.domain.signs.switch import Contact
from monitor.domain.state.happened import TURNING, Turned
from monitor.domain.state.known import rule_of
from monitor.domain.state.memory import Heard
from monitor.domain.state.record import Group
from monitor.domain.state.remembering import remember, take_up
from monitor.domain.watch.evaluate import retire
from monitor.domain.watch.sensors import RULE_OF, judge_switches
from monitor.domain.watch.view import machine_view
from monitor.shown.about import about_words
from monitor.shown.now.room import machine_lines
from tests.asking import perform
from tests.domain.house import PROFILES, RULES, T0, Story, batch, probes, site, there

TOP = "node-a/top"
MAINS_THERE = Switch("node-a/mains", OF_MAINS)
DOOR = Switch("node-a/door", OF_DOOR, "setter-1")
WATER = Switch("node-a/water", OF_WATER, "setter-1")
TURNER = Switch("node-a/turner", OF_TURNING, "setter-1")
COLD = "dry-bulb-low-alarm"


def begun(*switches: Switch, minutes: float = 2.0, **said: bool) -> Story:
    """A setter with eggs, heard for two minutes, with these switches."""
    story = Story(site(switches=switches), (batch(),), air={TOP: (37.5, 45.0)})
    story.switches = {f"node-a/{name}": value for name, value in said.items()}
    story.run(minutes=minutes)
    assert story.transitions == []
    return story


def test_mains_that_fail_are_told_at_once_and_what_was_felt_since() -> None:
    """The first word of it is urgent, names the first act, and the end says how long it was and how cold it came."""
    story = begun(MAINS_THERE, mains=True)
    story.switches["node-a/mains"] = False
    story.run(seconds=10)
    assert story.states() == [(MAINS_LOST, UNACKNOWLEDGED)]
    first = story.notices[0]
    assert (first.priority, first.title) == (HIGH, "Urgent: All machines no mains")
    assert "keep every machine shut" in first.text
    story.air[TOP] = (34.2, 40.0)
    story.run(minutes=4)
    story.switches["node-a/mains"] = True
    story.run(minutes=2)
    assert story.state_of(MAINS_LOST, "site") == "returned to normal, unacknowledged"
    over = story.notices[-1]
    assert over.closing
    assert over.title == "Over: All machines mains back"
    assert "Lasted 4 min" in over.text
    assert "Setter 1: air 34.2 °C" in over.text
    assert [(e.subject, e.what) for e in story.events if e.kind == "switch"] == [
        ("site", Turned(OF_MAINS, wrong=True)),
        ("site", Turned(OF_MAINS, wrong=False)),
    ]


def test_cold_that_comes_of_no_mains_is_not_told_beside_it_at_first() -> None:
    """One cause is one alarm; but nothing is hidden for longer than a third of its time to respond."""
    story = begun(MAINS_THERE, mains=True)
    story.switches["node-a/mains"] = False
    story.air[TOP] = (35.0, 45.0)
    story.run(minutes=14)
    assert story.state_of(COLD) == NORMAL
    wait_min = story.site.rules[COLD].respond_min / 3.0
    story.run(minutes=wait_min + 7.0)
    assert story.state_of(COLD) == UNACKNOWLEDGED


def test_mains_that_are_said_to_fail_while_machines_stay_warm_ask_nobody_any_more() -> None:
    """After half an hour in its band something else feeds the machine, or the contact is wrong: that is what is said, low; and urgent once it cools."""
    story = begun(MAINS_THERE, mains=True)
    story.switches["node-a/mains"] = False
    story.run(minutes=29)
    assert rule_of(story.look(), "site", MAINS_LOST).priority == HIGH
    story.run(minutes=3)
    assert rule_of(story.look(), "site", MAINS_LOST).priority == LOW
    assert story.about(MAINS_LOST, "site") == "node-a/mains says so, yet it is warm: other power, or a wrong contact"
    told = len(story.notices)
    story.run(minutes=90)
    assert len(story.notices) == told
    story.air[TOP] = (36.4, 45.0)
    story.run(seconds=30)
    assert story.notices[-1].priority == HIGH
    assert rule_of(story.look(), "site", MAINS_LOST).priority == HIGH


@pytest.mark.parametrize(
    ("top_c", "low_c", "age_s", "warm"),
    [
        (37.5, 37.5, 0.0, True),
        (37.0, 37.5, 0.0, True),  # where the low warning of this hen is, it is warm still
        (36.99, 37.5, 0.0, False),
        (37.5, 36.0, 0.0, False),  # each of its probes
        (37.5, 36.0, 30.0, False),  # which is heard for three of its intervals
        (37.5, 36.0, 30.1, True),
        (37.5, None, 0.0, True),  # what was never heard says nothing
        (None, None, 0.0, False),  # and where nothing is heard nobody knows
    ],
)
def test_what_is_warm_although_its_mains_are_said_to_be_gone(
    top_c: float | None, low_c: float | None, age_s: float, warm: bool
) -> None:
    """After half an hour without mains: every probe that is heard, of every machine with eggs, is no colder than the trouble with cold begins."""
    story = Story(site(probes((TOP, "setter-1"), ("node-b/low", "setter-1")), switches=(MAINS_THERE,)), (batch(),))
    story.at_s = 3600.0
    story.tick()
    now = story.now()
    for key, dry_bulb_c, heard_s in ((TOP, top_c, now.mono_s), ("node-b/low", low_c, now.mono_s - age_s)):
        if dry_bulb_c is not None:
            story.state.probe(key).heard = Heard(heard_s, now.utc, dry_bulb_c, 45.0)
    for off_s, expected in ((1800.0, warm), (1799.0, False)):
        turned_s = now.mono_s - off_s
        since = now.utc - timedelta(seconds=off_s)
        story.state.contacts[MAINS_THERE.key] = Contact(True, now.utc, since, (1, 0), now.mono_s, turned_s)
        stands = Alarm("site", MAINS_LOST, 1, 1, condition=True, acknowledged=False)
        story.state.alarms[stands.key] = stands
        judge_switches(story.look(), "node-a")
        about = story.alarm(MAINS_LOST, "site").about
        assert isinstance(about, Switched)
        assert about.warm is expected


def test_whether_an_open_machine_is_warm_is_asked_of_it_alone() -> None:
    """A hatcher that is cold says nothing of a setter's door."""
    watched = probes((TOP, "setter-1"), ("node-b/top", "hatcher-1"))
    story = Story(site(watched, switches=(DOOR,)), (batch(), batch("hen-2", machine="hatcher-1")), at_s=3600.0)
    story.tick()
    now = story.now()
    for key, dry_bulb_c in ((TOP, 37.5), ("node-b/top", 30.0)):
        story.state.probe(key).heard = Heard(now.mono_s, now.utc, dry_bulb_c, 45.0)
    since_s, since = now.mono_s - 1800.0, now.utc - timedelta(seconds=1800)
    story.state.contacts[DOOR.key] = Contact(True, now.utc, since, (1, 0), now.mono_s, since_s)
    stands = Alarm("setter-1", DOOR_OPEN, 1, 1, condition=True, acknowledged=False)
    story.state.alarms[stands.key] = stands
    judge_switches(story.look(), "node-a")
    assert story.alarm(DOOR_OPEN).about == Switched(DOOR.key, OF_DOOR, (), warm=True)


def test_nodes_that_fall_silent_after_their_mains_failed_are_told_as_that() -> None:
    """The last word of a node on a battery says what all silence comes of."""
    story = begun(MAINS_THERE, mains=True)
    story.site = site(probes((TOP, "setter-1"), ("node-b/top", "hatcher-1")), switches=(MAINS_THERE,))
    story.air["node-b/top"] = (37.5, 45.0)
    story.run(minutes=2)
    story.switches["node-a/mains"] = False
    story.run(seconds=10)
    story.air = {}
    story.run(minutes=2)
    assert story.alarm(ALL_SILENT, "site").about == Unheard(2, MAINS)


def test_a_door_left_open_is_told_and_one_that_is_shut_in_time_is_not() -> None:
    """Candling asks nobody; what stands open after five minutes is asked about, with the machine's name."""
    story = begun(DOOR, door=False)
    story.switches["node-a/door"] = True
    story.air[TOP] = (35.2, 38.0)
    story.run(minutes=4)
    story.switches["node-a/door"] = False
    story.air[TOP] = (37.5, 45.0)
    story.run(minutes=8)
    assert story.notices == []
    assert [(e.subject, e.what) for e in story.events if e.kind == "opening"] == [("setter-1", Opened(4, 35.2))]
    story.switches["node-a/door"] = True
    story.run(minutes=6)
    assert story.states() == [(DOOR_OPEN, UNACKNOWLEDGED)]
    assert (story.notices[0].priority, story.notices[0].title) == (MEDIUM, "Soon: Setter 1 door left open")


def test_the_contact_of_a_door_replaces_what_the_air_lets_guess() -> None:
    """With the door said open cold waits, half an hour at most; with the door said shut it does not, whatever the air looks like."""
    opened, shut = begun(DOOR, door=False, minutes=15), begun(DOOR, door=False, minutes=15)
    opened.switches["node-a/door"] = True
    for story in (opened, shut):
        story.air[TOP] = (33.0, 28.0)
        story.run(minutes=11)
    assert opened.state_of(COLD) == NORMAL
    assert shut.state_of(COLD) == UNACKNOWLEDGED
    opened.run(minutes=17)
    assert opened.state_of(COLD) == NORMAL
    opened.run(minutes=3)
    assert opened.state_of(COLD) == UNACKNOWLEDGED


def turning(
    story: Story, pattern: tuple[int, int], to_c: float, *, tau_min: float, minutes: int, since_c: float = 36.0
) -> float:
    """The heater dies and the air cools towards to_c; the door is open for pattern[0] minutes and shut for pattern[1], again and again.
    Minutes from when the air was below since_c until "too cold" was told; inf where nobody was told."""
    open_min, shut_min = pattern
    cold_min = told_min = math.inf
    for minute in range(minutes):
        air_c = to_c + (37.5 - to_c) * math.exp(-minute / tau_min)
        story.air[TOP] = (air_c, 45.0)
        story.switches["node-a/door"] = minute % (open_min + shut_min) < open_min
        story.run(minutes=1)
        if air_c < since_c:
            cold_min = min(cold_min, minute)
        if told_min == math.inf and (COLD, UNACKNOWLEDGED) in story.states():
            told_min = minute
    return told_min - cold_min


@pytest.mark.parametrize("every_s", [10.0, 60.0, 300.0])
@pytest.mark.parametrize("tau_min", [40.0, 120.0])
@pytest.mark.parametrize("pattern", [(4, 4), (20, 20), (1, 28), (2, 13), (1, 4)])
def test_a_door_that_is_opened_again_and_again_hides_no_dead_heater(
    pattern: tuple[int, int], tau_min: float, every_s: float
) -> None:
    """However its contact turns, air that makes no steps home is told half an hour after it first fell, by as much as any opening has to, and
    the two readings and six minutes that the way home has."""
    story = begun(DOOR, door=False, minutes=20)
    story.site = site(probes((TOP, "setter-1"), interval_s=every_s), switches=(DOOR,))
    story.interval_s = every_s
    story.run(minutes=60)
    told_min = turning(story, pattern, 22.0, tau_min=tau_min, minutes=90, since_c=37.5 - FALL_K)
    assert told_min <= 30.0 + 6.0 + 2 * every_s / 60.0


@pytest.mark.parametrize("pattern", [(4, 4), (1, 28)])
def test_a_door_that_is_opened_again_and_again_hides_no_cold_eggs(pattern: tuple[int, int]) -> None:
    """Where the house's own limits let the air go to 20 °C, the eggs' alarm is what tells."""
    own = {COLD: 20.0, "dry-bulb-low-warning": 21.0}
    rules = {**RULES, **{name: replace(RULES[name], limit=limit) for name, limit in own.items()}}
    hen = replace(PROFILES["hen"], egg_mass_g=(55.0, 65.0))
    story = Story(site(profiles={"hen": hen}, rules=rules, switches=(DOOR,)), (batch(),), air={TOP: (37.5, 45.0)})
    story.switches = {"node-a/door": False}
    story.run(minutes=30)
    turning(story, pattern, 30.0, tau_min=20.0, minutes=180)
    assert story.state.eggs["hen-1"].egg_c < 32.0
    assert story.state_of(EGG_COLD) == UNACKNOWLEDGED


def test_what_was_usual_is_learnt_anew_with_a_humidity_that_is_well_again() -> None:
    """Nothing is usual yet of a machine whose humidity failed before it had eggs, and came back two minutes ago: its door holds nothing in the
    ten minutes in which that is learnt, and then no longer than the half hour of any."""
    story = Story(site(switches=(DOOR,)), (), air={TOP: (37.5, 45.0)})
    story.switches = {"node-a/door": False}
    story.run(minutes=30)
    story.air[TOP] = (37.5, 120.0)
    story.run(minutes=5)
    set_at = (story.now().utc - timedelta(days=5)).isoformat()
    out = Group()
    request = {"do": "batch-add", "batch": "hen-1", "profile": "hen", "machine": "setter-1", "set_at": set_at}
    perform(story.state, story.site, request, story.now(), out)
    story.adopt(out)
    story.run(minutes=40)
    story.air[TOP] = (37.5, 45.0)
    story.run(minutes=2)
    story.switches["node-a/door"] = True
    story.air[TOP] = (33.5, 30.0)
    story.run(minutes=7)
    assert not holds(there(story.state.machine("setter-1").watch), story.now().mono_s)
    story.run(minutes=24)
    assert story.state_of(COLD) == UNACKNOWLEDGED


def test_a_heater_that_dies_after_the_door_was_shut_is_told_as_always() -> None:
    """Air that did not fall while the door was open, or just after, has nothing that an opening explains."""
    story = begun(DOOR, door=False, minutes=20)
    story.switches["node-a/door"] = True
    story.run(minutes=1)
    story.switches["node-a/door"] = False
    story.run(minutes=4)
    assert turning(story, (0, 1), 22.0, tau_min=120.0, minutes=40) <= 11.0


def test_a_door_said_open_explains_a_fall_of_any_shape() -> None:
    """Slow, in a damp room or of a probe whose humidity fails: it is the contact that says so, and the air that comes back."""
    for rh_pct, steps in ((45.0, 20), (60.0, 1), (None, 1)):
        story = begun(DOOR, door=False, minutes=30)
        story.switches["node-a/door"] = True
        for step in range(1, steps + 1):
            story.air[TOP] = (37.5 - 4.0 * step / steps, rh_pct)
            story.run(seconds=30)
        story.run(minutes=20 - steps / 2.0)
        story.switches["node-a/door"] = False
        for step in range(1, 11):
            story.air[TOP] = (33.5 + 0.4 * step, 45.0)
            story.run(minutes=1)
        assert COLD not in {t.alarm.rule for t in story.transitions}


def test_of_two_doors_the_one_that_stayed_shut_has_missed_nothing() -> None:
    """What the air shows was told by the other."""
    back = Switch("node-a/back", OF_DOOR, "setter-1")
    story = begun(DOOR, back, door=False, back=False, minutes=30)
    for _ in range(4):
        story.switches["node-a/door"] = True
        story.air[TOP] = (34.0, 30.0)
        story.run(minutes=2)
        story.switches["node-a/door"] = False
        for share in (0.5, 0.8, 1.0):
            story.air[TOP] = (34.0 + 3.5 * share, 30.0 + 15.0 * share)
            story.run(minutes=1)
        story.run(minutes=15)
    assert story.state.contacts[back.key].missed == 0
    assert (back.key, SWITCH_DOUBTFUL) not in story.state.alarms


@pytest.mark.parametrize(
    ("said", "turns_s", "missed", "lowest_c", "noted_c", "written"),
    [
        (True, (-120.0,), 0, None, 34.0, None),  # open: how cold it is
        (True, (-120.0,), 0, 33.0, 33.0, None),  # and how cold it was
        (True, (-120.0,), 3, 33.0, None, None),  # the air has shown that it is wrong
        (False, (-300.0, -120.0), 0, 33.04, None, Opened(3, 33.0)),  # shut: from the one turn to the other
        (False, (-900.0, -300.0, -120.0), 0, 33.0, None, Opened(3, 33.0)),
        (False, (-120.0,), 0, 33.0, None, None),  # open from its first word on: nobody knows since when
        (False, (-300.0, -120.0), 3, 33.0, None, None),
        (False, (-300.0, -120.0), 0, math.inf, None, None),  # nothing was fit to be told meanwhile
        (False, (-300.0, -120.0), 0, None, None, None),  # it was written when it was shut
    ],
)
def test_what_is_written_of_a_door_by_its_contact(
    said: bool, turns_s: tuple[float, ...], missed: int, lowest_c: float | None, noted_c: float | None, written: Any
) -> None:
    """For how long it was open and how cold it came, once it is shut; nothing by a contact that is not believed."""
    story = Story(site(switches=(DOOR,)), (batch(),), air={TOP: (34.0, 45.0)})
    story.run(seconds=30)
    known, mono_s = story.state.machine("setter-1"), story.now().mono_s
    turns = tuple(mono_s + s for s in turns_s)
    since = story.now().utc + timedelta(seconds=turns_s[-1])
    contact = Contact(said, story.now().utc, since, (1, 0), mono_s, turns[-1], turns, kept=said, missed=missed)
    story.state.contacts[DOOR.key] = contact
    known.door_lowest_c = lowest_c
    story.run(seconds=10)
    assert known.door_lowest_c == (pytest.approx(noted_c, abs=0.01) if noted_c is not None else None)
    events = [(e.what, e.at) for e in story.events if e.kind == "opening"]
    assert events == ([] if written is None else [(written, since - timedelta(minutes=3))])


def test_low_water_is_told_before_the_air_is_dry() -> None:
    """Soon, with its machine; and once the air is far too dry, that speaks for it."""
    story = begun(WATER, water=False)
    story.switches["node-a/water"] = True
    story.run(minutes=2)
    assert (story.notices[0].priority, story.notices[0].title) == (MEDIUM, "Soon: Setter 1 water low")
    assert "Fill the water." in story.notices[0].text
    story.switches["node-a/water"] = False
    story.run(minutes=3)
    assert story.state_of(WATER_LOW) == "returned to normal, unacknowledged"


def test_of_two_contacts_the_first_says_since_when_and_the_last_until_when() -> None:
    """Of a machine with two doors: open since the first was opened, shut when both are; while one is open nothing is over."""
    back = Switch("node-a/back", OF_DOOR, "setter-1")
    story = begun(DOOR, back, door=False, back=False, minutes=30)
    opened_s = story.at_s
    story.switches["node-a/back"] = True
    story.run(minutes=2)
    story.switches["node-a/door"] = True
    story.run(minutes=20)
    alarm = story.alarm(DOOR_OPEN)
    assert (there(alarm.since) - T0).total_seconds() == opened_s + 10.0
    assert isinstance(alarm.about, Switched)
    assert (alarm.about.switch, alarm.about.felt) == (back.key, ())  # what the eggs feel is told of the mains
    story.switches["node-a/back"] = False
    story.run(minutes=5)
    assert story.alarm(DOOR_OPEN).condition
    shut_s = story.at_s
    story.switches["node-a/door"] = False
    story.run(minutes=5)
    assert (there(story.alarm(DOOR_OPEN).ended) - T0).total_seconds() == shut_s + 10.0


@pytest.mark.parametrize("switch", [DOOR, WATER, MAINS_THERE], ids=lambda s: s.kind)
def test_a_contact_the_other_way_round(switch: Switch) -> None:
    """Where true means the opposite, the configuration says so."""
    turned = Switch(switch.key, switch.kind, switch.machine, true_means=False)
    assert [turned.wrong(value) for value in (True, False)] == [switch.wrong(value) for value in (False, True)]


def test_a_contact_that_chatters_is_not_believed_and_fills_no_record() -> None:
    """What turns with each message is doubted once, the door is guessed from the air again, and the record keeps the first few turns."""
    story = begun(DOOR, door=False)
    for _ in range(180):
        story.switches["node-a/door"] = not story.switches["node-a/door"]
        story.run(seconds=10)
    assert story.alarm(SWITCH_DOUBTFUL, DOOR.key).about == Disbelieved(DOOR.key, OF_DOOR, CHATTERING)
    assert [t.alarm.rule for t in story.transitions] == [SWITCH_DOUBTFUL]
    assert len([e for e in story.events if e.kind == "switch"]) < 10
    story.switches["node-a/door"] = True
    story.run(minutes=12)
    assert story.state_of(SWITCH_DOUBTFUL, DOOR.key) == "returned to normal, unacknowledged"
    assert story.state_of(DOOR_OPEN) == UNACKNOWLEDGED


def test_a_switch_of_which_nothing_comes_is_doubtful_while_its_node_speaks() -> None:
    """A wire that is off is told, low; that the whole node is silent is the node's own alarm."""
    story = begun(DOOR, door=False)
    story.switches = {}
    story.run(minutes=4)
    assert story.alarm(SWITCH_DOUBTFUL, DOOR.key).about == Disbelieved(DOOR.key, OF_DOOR, SILENT)
    gone = begun(DOOR, door=False)
    gone.air = {}
    gone.run(minutes=4)
    assert (DOOR.key, SWITCH_DOUBTFUL) not in gone.state.alarms


def test_a_contact_that_says_shut_while_the_air_shows_doors_is_given_up() -> None:
    """By the third opening that it missed the air is believed, as without a contact."""
    story = begun(DOOR, door=False, minutes=30)
    for missed in (1, 2, 3):
        story.air[TOP] = (34.0, 30.0)
        story.run(seconds=60)
        for dry_bulb_c, rh_pct in ((35.5, 36.0), (36.6, 41.0), (37.2, 43.5), (37.4, 44.6), (37.5, 45.0)):
            story.air[TOP] = (dry_bulb_c, rh_pct)
            story.run(seconds=60)
        story.run(minutes=15)
        assert story.state.contacts[DOOR.key].missed == missed
    assert story.alarm(SWITCH_DOUBTFUL, DOOR.key).about == Disbelieved(DOOR.key, OF_DOOR, CONTRADICTED)


def test_what_is_old_or_kept_by_the_broker_turns_nothing() -> None:
    """A retained message, a backlog and a message that comes out of order say how it was, not how it is."""
    story = begun(DOOR, door=False)
    wet = Other("door", True)
    old = Sample("top", 37.5, 45.0)
    story.hear(Pack("node-a", (old,), 7, 500, int(story.at_s) + 100, retained=True, others=(wet,)))
    story.hear(Pack("node-a", (old,), 7, 501, int(story.at_s) + 100 - 3000, others=(wet,)))
    story.hear(Pack("node-a", (old,), 7, 502, int(story.at_s) + 100 - 15, others=(wet,)))
    assert not story.state.contacts[DOOR.key].said
    story.hear(Pack("node-a", (old,), 7, 503, int(story.at_s) + 100, others=(wet,)))
    assert story.state.contacts[DOOR.key].said


def test_what_is_no_boolean_turns_nothing() -> None:
    """A number under the name of a switch is what a node says besides, and the switch is silent."""
    story = begun(DOOR, door=False)
    story.hear(
        Pack("node-a", (Sample("top", 37.5, 45.0),), 7, 500, int(story.at_s) + 100, others=(Other("door", 1.0),))
    )
    assert not story.state.contacts[DOOR.key].said


def test_what_switches_say_is_remembered_over_a_restart() -> None:
    """Since when a door is open is not lost, and it is not written twice."""
    story = begun(DOOR, door=False)
    story.switches["node-a/door"] = True
    story.run(minutes=3)
    memory = remember(story.look(), final=True)
    after = Story(story.site, story.batches, at_s=story.at_s + 30.0)
    take_up(after.look(), memory)
    assert after.state.contacts == story.state.contacts


def test_a_switch_that_is_no_longer_configured_leaves_no_alarm() -> None:
    """Nobody would judge it again."""
    story = begun(DOOR, door=True, minutes=0)
    story.run(minutes=7)
    assert story.state_of(DOOR_OPEN) == UNACKNOWLEDGED
    story.site = site()
    retire(story.look())
    assert story.state_of(DOOR_OPEN) == SUPPRESSED


def test_a_room_says_what_its_switches_say() -> None:
    """Since when a door is open stands with its machine."""
    story = begun(MAINS_THERE, DOOR, WATER, mains=True, door=False, water=False)
    story.switches["node-a/door"] = True
    story.run(minutes=1)
    lines = machine_lines(
        machine_view(story.look(), "setter-1", lambda about: about_words(about, story.site)), story.site
    )
    assert "  door open since 08:02" in lines
    assert "  mains there" in lines
    assert "  water enough" in lines


def test_each_turn_is_written_once_and_wakes_nobody() -> None:
    """By its begin, whether the contact is closed for long or opens at once; a machine that is being turned is calm."""
    story = begun(TURNER, turner=False)
    begins = []
    for minutes in (1, 5):
        story.switches["node-a/turner"] = True
        begins.append(story.now().utc)
        story.run(minutes=minutes)
        story.switches["node-a/turner"] = False
        story.run(minutes=30)
    turns = [e for e in story.events if e.kind == TURNING]
    assert [(e.subject, e.what) for e in turns] == [("setter-1", Turned(OF_TURNING, True))] * 2
    assert all(abs(e.at - begin) <= timedelta(seconds=30) for e, begin in zip(turns, begins, strict=True))
    assert [e for e in story.events if e.kind == "switch"] == []
    assert story.transitions == []
    view = machine_view(story.look(), "setter-1", lambda about: about_words(about, story.site))
    assert any(line.startswith("  at rest since 08:") for line in machine_lines(view, story.site))


def test_a_turner_of_which_nothing_comes_is_doubtful() -> None:
    """As any switch: its turns are not counted meanwhile."""
    story = begun(TURNER, turner=False)
    del story.switches["node-a/turner"]
    story.run(minutes=20)
    assert story.state_of(SWITCH_DOUBTFUL, "node-a/turner") == UNACKNOWLEDGED
    retire(story.look())
    assert story.state_of(SWITCH_DOUBTFUL, "node-a/turner") == UNACKNOWLEDGED


def test_every_rule_of_a_switch_is_judged() -> None:
    """No rule of a switch is without a kind."""
    assert set(RULE_OF.values()) == set(OF_SWITCHES)
