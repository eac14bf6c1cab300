"""A probe or a machine out of service as a whole: what is judged without it, what is still told, and what is told when it comes back."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.alarm import MAX_OUT_S, SUPPRESSED, UNACKNOWLEDGED, set_out_of_service, shelve
from monitor.domain.alarms.out import Out
from monitor.domain.needs.rules import ALL_SILENT, DISAGREE, EGG_COLD, EGG_HOT, NO_DATA, NODE_OFFLINE, SENSOR_FAILED
from monitor.domain.state.happened import PutBack, TakenOut
from monitor.domain.state.record import Group
from monitor.domain.watch.due import due_mono_s
from monitor.domain.watch.evaluate import retire, settle
from monitor.domain.watch.planning import put_back, resume, take_out
from tests.domain.house import MONO0_S, T0, Air, Story, batch, probes, site

HOT: Air = (39.5, 55.0)
GOOD: Air = (37.6, 55.0)
COLD: Air = (25.0, 55.0)
DEADLY: Air = (42.0, 55.0)
FAR: Air = (33.0, 55.0)
TOO_HOT, WARM, DEADLY_HEAT = "dry-bulb-high-alarm", "dry-bulb-high-warning", "dry-bulb-lethal"
TWO = site(probes(("node-a/top", "setter-1"), ("node-b/low", "setter-1")))
AWAY = site(probes(("node-a/top", "setter-1"), ("node-b/top", "hatcher-1"), ("node-c/top", "still-1")))


def out(story: Story, subject: str, for_s: float | None = None) -> Out:
    group = Group()
    taken = take_out(story.look(group), subject, for_s=for_s, by="sam")
    story.adopt(group)
    return taken


def back(story: Story, subject: str) -> None:
    group = Group()
    put_back(story.look(group), story.state.out[subject], by="kim")
    story.adopt(group)


def quiet(story: Story, minutes: float) -> None:
    """So long nobody is told anything, but what eggs themselves feel."""
    before = len(story.notices)
    story.run(minutes=minutes)
    assert [title for title in story.titles()[before:] if "(estimate)" not in title] == []


def hot(house: bool = False) -> Story:
    story = Story(batches=(batch(),), air={"node-a/top": HOT}, site=AWAY if house else site())
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED
    return story


def test_a_machine_taken_out_while_it_is_too_hot_is_quiet_and_tells_what_stands_when_it_is_back() -> None:
    """What stood is suppressed without a word, and no reminder comes; put back while it stands, it is news, under a new number."""
    story = hot()
    number = story.alarm(TOO_HOT).number
    out(story, "setter-1")
    assert story.state_of(TOO_HOT) == SUPPRESSED
    quiet(story, 90)
    assert story.alarm(TOO_HOT).number == number
    before = len(story.notices)
    back(story, "setter-1")
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED
    assert story.alarm(TOO_HOT).number > number
    assert [n.priority for n in story.notices[before:]] == ["high"]
    assert [e.what for e in story.events if e.kind == "service"] == [TakenOut(None, "sam"), PutBack(by="kim")]


def test_what_is_well_by_then_needs_nobody() -> None:
    """Cooled down while it was out: it is normal when it is back, and wants nobody."""
    story = hot()
    out(story, "setter-1")
    story.air["node-a/top"] = GOOD
    quiet(story, 60)
    back(story, "setter-1")
    assert story.state_of(TOO_HOT) == "normal"
    quiet(story, 30)


def test_it_comes_back_by_itself() -> None:
    """At its end by the forward clock, and not before; a driver that plays a record stops there."""
    story = hot()
    out(story, "setter-1", for_s=3600.0)
    assert due_mono_s(story.look()) <= MONO0_S + story.at_s + 3600.0
    quiet(story, 59.9)
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED
    assert not story.state.out
    assert PutBack(over=True) in [e.what for e in story.events]


def test_the_end_is_a_moment_to_stop_at() -> None:
    """Also where nothing else is due for longer."""
    story = Story(batches=(batch(),), air={"node-a/top": GOOD})
    story.run(minutes=5)
    while due_mono_s(story.look()) <= MONO0_S + story.at_s + 4.0:
        story.run(seconds=1)
    out(story, "setter-1", for_s=4.0)
    assert due_mono_s(story.look()) == MONO0_S + story.at_s + 4.0


def test_deadly_heat_is_told_all_the_same() -> None:
    """With eggs in it; of the air nothing else is."""
    story = Story(batches=(batch(),), air={"node-a/top": GOOD})
    story.run(minutes=5)
    out(story, "setter-1")
    story.air["node-a/top"] = DEADLY
    story.run(minutes=5)
    assert story.state_of(DEADLY_HEAT) == UNACKNOWLEDGED
    assert [n.priority for n in story.notices] == ["critical"]
    assert story.state_of(TOO_HOT) == "normal"


@pytest.mark.parametrize(("air", "rule"), [(HOT, EGG_HOT), (COLD, EGG_COLD)])
def test_eggs_that_are_too_hot_or_too_cold_are_told_all_the_same(air: Air, rule: str) -> None:
    """What they feel by their estimate: there is no other cold that is deadly, and heat that lasts is."""
    story = Story(batches=(batch(),), air={"node-a/top": GOOD})
    story.run(minutes=5)
    out(story, "setter-1")
    story.air["node-a/top"] = air
    story.run(minutes=240)
    assert story.state_of(rule) == UNACKNOWLEDGED
    assert {a.rule for a in story.state.alarms.values() if a.condition} == {rule}


def test_deadly_heat_that_stands_goes_on_asking() -> None:
    """It is no alarm that is covered by taking the machine out."""
    story = Story(batches=(batch(),), air={"node-a/top": DEADLY})
    story.run(minutes=5)
    out(story, "setter-1")
    assert story.state_of(DEADLY_HEAT) == UNACKNOWLEDGED
    story.run(minutes=30)
    assert story.alarm(DEADLY_HEAT).asked > 1


def test_nothing_of_an_empty_machine_is_told() -> None:
    """Under repair: its node unplugged, its sensor failing, its air anything."""
    story = Story(air={"node-a/top": GOOD})
    story.run(minutes=5)
    out(story, "setter-1")
    story.air["node-a/top"] = (None, None)
    quiet(story, 60)
    story.air["node-a/top"] = None
    quiet(story, 60)
    back(story, "setter-1")
    story.run(minutes=20)
    assert story.state_of(NO_DATA, "node-a/top") == UNACKNOWLEDGED


def test_a_node_that_is_out_is_not_missed_when_all_others_are_gone() -> None:
    """All that are in service are silent: the room is; one of two alone is only itself."""
    story = Story(site=AWAY, air={"node-a/top": GOOD, "node-b/top": GOOD, "node-c/top": GOOD})
    story.run(minutes=5)
    out(story, "setter-1")
    story.air["node-b/top"] = story.air["node-c/top"] = None
    story.run(minutes=20)
    assert story.state_of(ALL_SILENT, "site") == UNACKNOWLEDGED
    assert story.state_of(NODE_OFFLINE, "node-a") == "normal"
    alone = Story(site=AWAY, air={"node-a/top": GOOD, "node-b/top": GOOD, "node-c/top": GOOD})
    alone.run(minutes=5)
    out(alone, "setter-1")
    out(alone, "node-c/top")
    alone.air["node-b/top"] = None
    alone.run(minutes=20)
    assert alone.state_of(ALL_SILENT, "site") == "normal"
    assert alone.state_of(NO_DATA, "node-b/top") == UNACKNOWLEDGED


def test_of_two_silent_nodes_one_of_which_is_taken_out_the_other_is_not_heard_again() -> None:
    """Nothing came of either: that all are silent is over without a word, and the silence of the one that is left is told, and ends as any."""
    two = site(probes(("node-a/top", "setter-1"), ("node-b/top", "hatcher-1")))
    story = Story(site=two, air={"node-a/top": GOOD, "node-b/top": GOOD})
    story.run(minutes=5)
    story.air = dict.fromkeys(story.air)
    story.run(minutes=20)
    assert {rule for rule, state in story.states() if state == UNACKNOWLEDGED} == {ALL_SILENT}
    before = len(story.notices)
    out(story, "setter-1")
    assert story.state_of(ALL_SILENT, "site") == "normal"
    story.run(minutes=10)
    told = [(n.facts.rule, n.closing) for n in story.notices[before:] if n.facts is not None and not n.facts.still]
    assert told == [(NO_DATA, False)]
    assert story.state_of(NO_DATA, "node-b/top") == UNACKNOWLEDGED
    assert story.state_of(ALL_SILENT, "site") == "normal"
    story.air["node-b/top"] = GOOD
    story.run(minutes=5)
    assert [n.closing for n in story.notices[before:] if n.facts is not None and not n.facts.still] == [False, True]


def test_of_three_silent_nodes_one_of_which_is_taken_out_the_others_are_all() -> None:
    """That all are silent is still so of the two that are left: it stands, and nobody is told anything."""
    story = Story(site=AWAY, air={"node-a/top": GOOD, "node-b/top": GOOD, "node-c/top": GOOD})
    story.run(minutes=5)
    story.air = dict.fromkeys(story.air)
    story.run(minutes=20)
    number, before = story.alarm(ALL_SILENT, "site").number, len(story.notices)
    out(story, "setter-1")
    story.run(minutes=3)
    assert story.state_of(ALL_SILENT, "site") == UNACKNOWLEDGED
    assert story.alarm(ALL_SILENT, "site").number == number
    assert len(story.notices) == before


def test_a_probe_that_is_out_is_not_judged_and_its_machine_is_by_the_other() -> None:
    """Neither its air, nor that the sensors disagree, nor that it is silent; its readings are stored as ever; heat at the other is told."""
    story = Story(site=TWO, batches=(batch(),), air={"node-a/top": GOOD, "node-b/low": GOOD})
    story.run(minutes=5)
    out(story, "node-a/top")
    story.air["node-a/top"] = FAR
    before = len(story.readings)
    quiet(story, 60)
    assert {r.probe for r in story.readings[before:]} == {"node-a/top", "node-b/low"}
    story.air["node-a/top"] = (None, None)
    quiet(story, 30)
    story.air["node-a/top"] = None
    quiet(story, 30)
    story.air["node-b/low"] = HOT
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED


def test_a_probe_that_lied_and_is_taken_out_ends_what_it_said() -> None:
    """The disagreement is over at once and without a word; what the machine's air was for it ends by the other's."""
    story = Story(site=TWO, batches=(batch(),), air={"node-a/top": GOOD, "node-b/low": GOOD})
    story.run(minutes=30)
    story.air["node-a/top"] = FAR
    story.run(minutes=60)
    assert story.state_of(DISAGREE) == UNACKNOWLEDGED
    told = len(story.notices)
    out(story, "node-a/top")
    assert story.state_of(DISAGREE) == "normal"
    story.run(minutes=30)
    assert not [a for a in story.state.alarms.values() if a.condition]
    assert len(story.notices) <= told + 1  # at most the end of what was cold
    back(story, "node-a/top")
    story.run(minutes=60)
    assert story.state_of(DISAGREE) == UNACKNOWLEDGED


def test_where_it_was_the_only_probe_nothing_of_the_air_is_judged() -> None:
    """What stood is covered, for nothing could end it; it is told afresh when the probe is back."""
    story = hot()
    out(story, "node-a/top")
    assert story.state_of(TOO_HOT) == SUPPRESSED
    story.air["node-a/top"] = DEADLY
    quiet(story, 60)
    back(story, "node-a/top")
    story.run(minutes=5)
    assert story.state_of(DEADLY_HEAT) == UNACKNOWLEDGED


@pytest.mark.parametrize("first", ["setter-1", "node-a/top"])
def test_both_a_machine_and_its_probe(first: str) -> None:
    """Each has its own end: with one of them back the other is still out."""
    second = "node-a/top" if first == "setter-1" else "setter-1"
    story = hot()
    out(story, "setter-1")
    out(story, "node-a/top")
    story.air["node-a/top"] = (None, None)
    back(story, first)
    quiet(story, 30)
    assert story.state_of(TOO_HOT) == SUPPRESSED
    back(story, second)
    story.air["node-a/top"] = HOT
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED


def test_a_failed_sensor_is_told_when_it_is_back() -> None:
    """That it failed is covered with it."""
    story = Story(batches=(batch(),), air={"node-a/top": (None, None)})
    story.run(minutes=20)
    assert story.state_of(SENSOR_FAILED, "node-a/top") == UNACKNOWLEDGED
    out(story, "node-a/top")
    quiet(story, 60)
    back(story, "node-a/top")
    story.run(minutes=20)
    assert story.state_of(SENSOR_FAILED, "node-a/top") == UNACKNOWLEDGED


def test_eggs_put_in_while_it_is_out() -> None:
    """They bring no alarm of before back, and what is wrong with the air is told when it is in service again."""
    story = hot()
    out(story, "setter-1")
    story.put(replace(batch(), id="hen-2"))
    quiet(story, 30)
    assert story.state_of(TOO_HOT) == SUPPRESSED
    story.put(*(replace(b, closed_at=story.now().utc) for b in story.state.batches.values()))
    quiet(story, 30)
    story.put(replace(batch(), id="hen-3"))
    back(story, "setter-1")
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED


def test_what_was_shelved_or_out_of_service_by_itself_goes_on_being_so() -> None:
    """The end of a shelf is no news while the machine is out, nor of what is no longer so after."""
    story = hot()
    alarm, rule = story.alarm(TOO_HOT), story.site.rules[TOO_HOT]
    settle(story.look(), alarm.key, shelve(alarm, 600.0, "sam", now=story.now(), rule=rule))
    out(story, "setter-1")
    quiet(story, 30)
    story.air["node-a/top"] = GOOD
    quiet(story, 10)
    back(story, "setter-1")
    quiet(story, 30)
    again = hot()
    alarm = again.alarm(TOO_HOT)
    settle(again.look(), alarm.key, set_out_of_service(alarm, out=True, who="sam", now=again.now()))
    out(again, "setter-1")
    back(again, "setter-1")
    told = len(again.titles())
    again.run(minutes=30)
    assert not any("too hot" in title and "(estimate)" not in title for title in again.titles()[told:])
    assert again.alarm(TOO_HOT).out_of_service


def test_what_was_shelved_and_stands_when_it_is_back_is_told() -> None:
    """A shelf over what stood is dropped with it: put back within the hour that it was shelved for, and still too hot, it is news."""
    story = hot()
    alarm, rule = story.alarm(TOO_HOT), story.site.rules[TOO_HOT]
    settle(story.look(), alarm.key, shelve(alarm, 3600.0, "sam", now=story.now(), rule=rule))
    out(story, "setter-1")
    quiet(story, 10)
    before = len(story.notices)
    back(story, "setter-1")
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED
    assert story.alarm(TOO_HOT).number > alarm.number
    assert [n.priority for n in story.notices[before:]] == ["high"]


def test_taken_out_again_it_has_another_end() -> None:
    """Shorter or longer; of the one before, the record has when it was over."""
    story = hot()
    first = out(story, "setter-1", for_s=7200.0)
    story.run(minutes=10)
    group = Group()
    take_out(story.look(group), "setter-1", for_s=600.0, by="kim")
    assert group.outs[0] == replace(first, ended=story.now().utc)
    assert story.state.out["setter-1"].by == "kim"
    story.adopt(group)
    story.run(minutes=15)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED


def test_a_clock_that_is_set_moves_its_label_and_not_its_end() -> None:
    """Taken out under a clock that nobody had set: it ends when it would have, and the record has both times as they are."""
    story = Story(batches=(batch(),), air={"node-a/top": HOT}, clock_ok=False)
    story.run(minutes=5)
    taken = out(story, "setter-1", for_s=3600.0)
    story.run(minutes=10)
    story.utc_step, story.clock_ok = timedelta(days=2), True
    group = story.tick()
    later = story.state.out["setter-1"]
    assert taken.until is not None
    assert later.until == taken.until + timedelta(days=2)
    assert later.since == taken.since + timedelta(days=2)
    assert {(o.since, o.ended is None) for o in group.outs} == {(taken.since, False), (later.since, True)}
    quiet(story, 49.5)
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED


def test_a_restart_under_a_clock_of_before_ends_at_the_label_once_it_is_set() -> None:
    """What a run finds was labelled rightly: it is counted from the label, and anew when that is set; meanwhile for 30 days at most."""
    story = Story(batches=(batch(),), air={"node-a/top": HOT}, clock_ok=False, utc_step=timedelta(days=-400))
    kept = Out("setter-1", T0 - timedelta(hours=1), T0 + timedelta(hours=2), "sam")
    resumed = resume(kept, story.now())
    story.state.out = {"setter-1": resumed}
    story.tick()
    assert story.state.out["setter-1"].until_mono_s == MONO0_S + MAX_OUT_S
    story.run(minutes=5)
    story.utc_step, story.clock_ok = timedelta(0), True
    story.tick()
    assert story.state.out["setter-1"].until_mono_s == pytest.approx(MONO0_S + 7200.0)
    assert resume(replace(kept, until=None), story.now()).until_mono_s is None
    assert resume(replace(kept, until=T0 - timedelta(days=1)), story.now()).until_mono_s == story.now().mono_s


def test_what_is_configured_no_longer_is_out_no_longer() -> None:
    """And a machine whose only probe was out is judged again where another one was configured beside it."""
    story = hot()
    out(story, "node-a/top")
    story.site = TWO
    retire(story.look())
    assert story.state_of(TOO_HOT) == "normal"
    story.air = {"node-b/low": HOT}
    story.run(minutes=5)
    assert story.state_of(TOO_HOT) == UNACKNOWLEDGED
    story.site = site(probes(("node-b/low", "setter-1")))
    retire(story.look())
    assert story.state.out == {}
