"""Which transitions are told, to whom, how urgently, and what is told already by another alarm."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.about import Apart, Fault, Unfit
from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    NORMAL,
    OUT_OF_SERVICE,
    RETURNED,
    SHELVED,
    SUPPRESSED,
    UNACKNOWLEDGED,
    Alarm,
    Step,
    Transition,
    acknowledge,
    set_out_of_service,
    shelve,
    unshelve,
)
from monitor.domain.alarms.notice import Reach
from monitor.domain.needs.bands import RH
from monitor.domain.needs.hearing import Hearing
from monitor.domain.needs.rules import (
    ALL_SILENT,
    DISAGREE,
    DRY_BULB,
    EGG_COLD,
    EGG_HOT,
    HANDLING_OVER,
    LETHAL,
    MAINS_LOST,
    NO_DATA,
    NODE_OFFLINE,
    NOT_RAISED,
    WATER_LOW,
)
from monitor.domain.state.known import URGENT_AGAIN_S, rule_of
from monitor.domain.state.memory import Heard
from monitor.domain.state.record import Group
from monitor.domain.watch.evaluate import settle
from monitor.domain.watch.plan import SITE_SUBJECT
from monitor.domain.watch.planning import plan
from monitor.domain.watch.telling import ask_again, live, remind, said_already, tell
from tests.domain.house import MONO0_S, RULES, T0, Air, Story, batch, probes, site, there

# Written out: taken from the program, they would move with it.
MAX_WAITING = 500

TOP, LOW = "node-a/top", "node-a/low"
GOOD: Air = (37.5, 45.0)
HOT: Air = (39.5, 45.0)
KEY = ("setter-1", "dry-bulb-high-alarm")
(LETHAL_ID,) = (rule.id for rule in RULES.values() if rule.level == LETHAL)
OPEN = {"condition": True, "acknowledged": False}
ALARM = Alarm(*KEY, number=3, episode=1, condition=True, acknowledged=False, since=T0, value=39.5, worst=39.9, limit=39.0, about="dry_bulb_c")  # fmt: skip


def told(state_before: str, state: str, *, was_told: bool = True, contacts: tuple[str, ...] = ("sam",)) -> Group:
    """What one transition comes to in a quiet house."""
    story = Story(site=site(contacts=contacts))
    out = Group()
    facts = {"condition": state not in (NORMAL, RETURNED), "acknowledged": state != UNACKNOWLEDGED, "told": was_told}
    alarm = replace(ALARM, **facts, suppressed="why" if state == SUPPRESSED else "")  # type: ignore[arg-type]
    tell(story.look(out), Transition(alarm, state_before, state, "because", T0, 1.0))
    return out


@pytest.mark.parametrize("before", [NORMAL, RETURNED, ACKNOWLEDGED, SHELVED, SUPPRESSED, OUT_OF_SERVICE])
def test_whatever_becomes_unacknowledged_is_told(before: str) -> None:
    """A beginning, a return, a second asking, the end of a shelf: all are told, with the rule's priority."""
    (notice,) = told(before, UNACKNOWLEDGED).notices
    assert (notice.priority, notice.closing, notice.alarm_number) == ("high", False, 3)


@pytest.mark.parametrize(
    ("before", "state"),
    [
        (UNACKNOWLEDGED, RETURNED),
        (ACKNOWLEDGED, NORMAL),
        (UNACKNOWLEDGED, SUPPRESSED),
        (ACKNOWLEDGED, SUPPRESSED),
        (SHELVED, NORMAL),
        (SHELVED, RETURNED),
    ],
)
def test_an_end_is_told_if_its_beginning_was(before: str, state: str) -> None:
    """A closing message goes out with low priority (good news wakes nobody), and only where somebody heard of the beginning."""
    (notice,) = told(before, state).notices
    assert (notice.priority, notice.closing) == ("low", True)
    assert told(before, state, was_told=False).notices == []


def test_an_end_that_is_not_told_is_done_with() -> None:
    """Where who wrote down what was seen needs no message, or what is worse stands, nothing is told, and nothing is left to be told later."""
    for rule, stands in (
        ("look-again", None),
        ("dry-bulb-high-warning", "dry-bulb-high-alarm"),
        ("dry-bulb-high-alarm", LETHAL_ID),  # both urgent
    ):
        story = Story()
        if stands is not None:
            standing(story, ("setter-1", stands))
        out = Group()
        ended = replace(ALARM, rule=rule, condition=False, told=True)
        after = tell(story.look(out), Transition(ended, ACKNOWLEDGED, NORMAL, "", T0, 1.0))
        assert (out.notices, after.told) == ([], False)


@pytest.mark.parametrize(
    ("before", "state"),
    [
        (UNACKNOWLEDGED, ACKNOWLEDGED),
        (RETURNED, NORMAL),
        (UNACKNOWLEDGED, SHELVED),
        (SHELVED, SHELVED),
        (SUPPRESSED, RETURNED),
        (SUPPRESSED, NORMAL),
        (SHELVED, SUPPRESSED),
        (OUT_OF_SERVICE, NORMAL),
        (UNACKNOWLEDGED, OUT_OF_SERVICE),
    ],
)
def test_what_a_person_did_is_not_told_back(before: str, state: str) -> None:
    """Acknowledging, shelving and taking out of service are no news, and neither is what happens under a cover."""
    assert told(before, state).notices == []


def test_every_contact_has_a_notice_of_its_own() -> None:
    """One row for each contact, each with its own number and its own key; nobody to tell is no row."""
    notices = told(NORMAL, UNACKNOWLEDGED, contacts=("sam", "kim")).notices
    assert [n.contact for n in notices] == ["sam", "kim"]
    assert [n.id for n in notices] == [1, 2]
    assert len({n.dedupe for n in notices}) == 2
    assert told(NORMAL, UNACKNOWLEDGED, contacts=()).notices == []


def test_a_contact_is_told_from_its_priority_on() -> None:
    """What is milder than a contact hears is not told to it: neither the beginning, nor a reminder, nor the end of what it never heard of."""
    base = replace(site(contacts=("sam", "kim")), hearing={"kim": Hearing("critical")})
    story = Story(site=base)
    for before, state in ((NORMAL, UNACKNOWLEDGED), (ACKNOWLEDGED, NORMAL)):
        out = Group()
        alarm = replace(ALARM, condition=state != NORMAL, told=True)
        tell(story.look(out), Transition(alarm, before, state, "because", T0, 1.0))
        assert [n.contact for n in out.notices] == ["sam"]
    out = Group()
    remind(story.look(out), replace(ALARM, number=4))
    assert [n.contact for n in out.notices] == ["sam"]


def test_what_is_medium_says_how_long_there_is_to_respond() -> None:
    """For it may wait for a contact's hours; what is more urgent, or over, does not wait and does not say so."""
    story, out = Story(), Group()
    for key in (KEY, ("setter-1", "humidity-low-alarm")):
        alarm = replace(ALARM, subject=key[0], rule=key[1], told=True)
        tell(story.look(out), Transition(alarm, NORMAL, UNACKNOWLEDGED, "because", T0, 1.0))
        tell(story.look(out), Transition(replace(alarm, condition=False), ACKNOWLEDGED, NORMAL, "over", T0, 1.0))
    assert [n.facts.respond_min for n in out.notices if n.facts is not None] == [None, None, 720.0]


def hot_story() -> Story:
    story = Story(batches=(batch(),), air={TOP: HOT})
    story.run(minutes=1)
    assert story.titles() == ["Urgent: Setter 1 too hot"]
    return story


def adopt(story: Story, stepped: Step) -> None:
    out = Group()
    settle(story.look(out), KEY, stepped)
    story.adopt(out)


def test_a_shelf_over_an_alarm_that_ends_is_closed_when_it_ends() -> None:
    """Who was told and shelved it hears, when the shelf ends, that it is over; once."""
    story = hot_story()
    adopt(story, shelve(story.state.alarms[KEY], 600.0, "sam", now=story.now(), rule=story.site.rules[KEY[1]]))
    story.air[TOP] = GOOD
    story.run(minutes=9)
    assert len(story.notices) == 1
    story.run(minutes=2)
    assert story.titles() == ["Urgent: Setter 1 too hot", "Over: Setter 1 no longer too hot"]
    adopt(story, shelve(story.state.alarms[KEY], 60.0, "sam", now=story.now(), rule=story.site.rules[KEY[1]]))
    adopt(story, unshelve(story.state.alarms[KEY], story.now()))
    assert len(story.notices) == 2


def test_a_shelved_alarm_is_not_told_as_its_warning() -> None:
    """While 'too hot' is shelved, 'warm' does not begin in its place; it begins if it outlasts the other."""
    story = hot_story()
    adopt(story, shelve(story.state.alarms[KEY], 600.0, "sam", now=story.now(), rule=story.site.rules[KEY[1]]))
    story.run(minutes=9)
    assert len(story.notices) == 1
    story.air[TOP] = (38.5, 45.0)
    story.run(minutes=14)
    assert story.state_of("dry-bulb-high-warning") == UNACKNOWLEDGED


def test_an_alarm_out_of_service_does_not_hide_its_warning() -> None:
    """Taking 'too hot' out of service leaves 'warm' to be told."""
    story = hot_story()
    adopt(story, set_out_of_service(story.state.alarms[KEY], out=True, who="sam", now=story.now()))
    story.run(minutes=22)
    assert story.state_of("dry-bulb-high-warning") == UNACKNOWLEDGED


def test_a_warning_is_not_told_while_its_alarm_stands() -> None:
    """Too hot at once: one message. Cooler than the alarm but still warm: the warning, after its delay. Good: both are over."""
    story = hot_story()
    story.run(minutes=10)
    assert len(story.notices) == 1
    adopt(story, acknowledge(story.state.alarms[KEY], "sam", story.now()))
    story.air[TOP] = (38.5, 45.0)
    story.run(minutes=14)
    assert story.titles() == [
        "Urgent: Setter 1 too hot",
        "Over: Setter 1 no longer too hot",
        "When you can: Setter 1 warm",
    ]
    story.air[TOP] = GOOD
    story.run(minutes=40)
    assert story.titles()[-1] == "When you can: Setter 1 warm"  # what is low says no end


def test_a_warning_that_stood_before_its_alarm_goes_on() -> None:
    """A slow rise is told twice, at the warning and at the alarm; each the end is told of what was urgent."""
    story = Story(batches=(batch(),), air={TOP: (38.5, 45.0)})
    story.run(minutes=22)
    story.air[TOP] = HOT
    story.run(minutes=2)
    story.air[TOP] = GOOD
    story.run(minutes=40)
    assert story.titles() == [
        "When you can: Setter 1 warm",
        "Urgent: Setter 1 too hot",
        "Over: Setter 1 no longer too hot",
    ]


def standing(story: Story, *keys: tuple[str, str], **facts: object) -> None:
    for subject, rule in keys:
        story.state.alarms[(subject, rule)] = Alarm(subject, rule, 1, 1, **{**OPEN, **facts})  # type: ignore[arg-type]


SAYS = [
    # what stands, what need not begin
    ((TOP, "sensor-failed"), (TOP, "no-humidity")),
    (("setter-1", "dry-bulb-high-alarm"), ("setter-1", "dry-bulb-high-warning")),
    (("setter-1", "dry-bulb-low-alarm"), ("setter-1", "dry-bulb-low-warning")),
    (("setter-1", "humidity-high-alarm"), ("setter-1", "humidity-high-warning")),
    (("setter-1", "humidity-low-alarm"), ("setter-1", "humidity-low-warning")),
    (("setter-1", NOT_RAISED), ("setter-1", "humidity-low-warning")),
    (("setter-1", NOT_RAISED), ("setter-1", "humidity-low-alarm")),
    (("setter-1", "dry-bulb-high-alarm"), ("setter-1", "humidity-low-alarm")),
    (("setter-1", "dry-bulb-low-alarm"), ("setter-1", "humidity-high-alarm")),
    (("node-a", NODE_OFFLINE), (TOP, NO_DATA)),
    ((SITE_SUBJECT, ALL_SILENT), (TOP, NO_DATA)),
    ((SITE_SUBJECT, ALL_SILENT), ("node-a", NODE_OFFLINE)),
    ((TOP, NO_DATA), ("node-a", NODE_OFFLINE)),
    (("setter-1", "dry-bulb-high-alarm"), ("setter-1", "dry-bulb-high-heading")),
    (("setter-1", "dry-bulb-low-alarm"), ("setter-1", "dry-bulb-low-heading")),
    (("setter-1", "dry-bulb-high-alarm"), ("setter-1", EGG_HOT)),
    (("setter-1", "dry-bulb-low-alarm"), ("setter-1", EGG_COLD)),
    (("setter-1", "dry-bulb-high-alarm"), ("setter-1", HANDLING_OVER)),
    (("setter-1", "dry-bulb-low-alarm"), ("setter-1", HANDLING_OVER)),
    *[
        (("setter-1", "dry-bulb-lethal"), ("setter-1", rule))
        for rule in (
            "dry-bulb-high-alarm",
            "dry-bulb-high-warning",
            "dry-bulb-high-heading",
            EGG_HOT,
            HANDLING_OVER,
            "humidity-low-alarm",
        )
    ],
    (("setter-1", HANDLING_OVER), ("setter-1", "dry-bulb-low-warning")),
    (("setter-1", HANDLING_OVER), ("setter-1", "humidity-low-alarm")),  # as urgent
    (("setter-1", HANDLING_OVER), ("setter-1", EGG_COLD)),
    (("setter-1", WATER_LOW), ("setter-1", "humidity-low-warning")),
    (("setter-1", "humidity-low-alarm"), ("setter-1", WATER_LOW)),
]


@pytest.mark.parametrize(("says", "said"), SAYS)
def test_one_cause_is_one_alarm(says: tuple[str, str], said: tuple[str, str]) -> None:
    """What stands says it for the other; when it is over, suppressed or out of service, it says nothing."""
    story = Story()
    assert not said_already(story.look(), *said)
    standing(story, says)
    assert said_already(story.look(), *said)
    for facts in ({"condition": False}, {"suppressed": "why"}, {"out_of_service": True}):
        standing(story, says, **facts)
        assert not said_already(story.look(), *said), facts


NEVER = [
    "dry-bulb-lethal", "dry-bulb-low-alarm", NOT_RAISED, ALL_SILENT, "bands-in-conflict", "bands-missing", "record-damaged",
]  # fmt: skip


@pytest.mark.parametrize("rule", NEVER)
def test_what_kills_is_never_said_already(rule: str) -> None:
    """Whatever else stands, dangerous heat and cold, missing lockdown humidity and a silent room begin all the same; cold alone not where it was
    told, as urgently, that there are no mains."""
    story = Story()
    left_out = (rule, MAINS_LOST) if rule == "dry-bulb-low-alarm" else (rule,)
    rules = [other for other in story.site.rules if other not in left_out]
    for subject in (SITE_SUBJECT, "setter-1", "node-a", TOP):
        standing(story, *((subject, other) for other in rules))
    for subject in (SITE_SUBJECT, "setter-1", TOP):
        assert not said_already(story.look(), subject, rule)


NOT_SAID = [
    # what stands, what begins all the same
    (("setter-1", "dry-bulb-high-alarm"), ("setter-1", "dry-bulb-lethal")),  # worse
    (("setter-1", "dry-bulb-lethal"), ("setter-1", "dry-bulb-low-alarm")),
    (("setter-1", HANDLING_OVER), ("setter-1", "dry-bulb-low-alarm")),  # more urgent
    (("setter-1", HANDLING_OVER), ("setter-1", "dry-bulb-high-warning")),
    (("setter-1", HANDLING_OVER), ("setter-1", "humidity-high-alarm")),
    (("setter-1", HANDLING_OVER), ("setter-1", EGG_HOT)),
    (("setter-1", "dry-bulb-high-warning"), ("setter-1", "dry-bulb-high-heading")),
    (("setter-1", "dry-bulb-high-alarm"), ("setter-1", EGG_COLD)),
    (("setter-1", "dry-bulb-low-alarm"), ("setter-1", EGG_HOT)),
    (("setter-1", "humidity-low-alarm"), ("setter-1", EGG_COLD)),
    (("setter-1", NOT_RAISED), ("setter-1", "humidity-high-alarm")),
    (("setter-1", NOT_RAISED), ("setter-1", "dry-bulb-low-warning")),
    (("setter-1", "humidity-high-alarm"), ("setter-1", "humidity-low-warning")),
    (("node-b", NODE_OFFLINE), (TOP, NO_DATA)),
    (("node-b/top", "sensor-failed"), (TOP, "no-humidity")),
    (("setter-1", WATER_LOW), ("setter-1", "humidity-low-alarm")),
    (("setter-1", WATER_LOW), ("setter-1", "humidity-high-warning")),
    (("setter-1", WATER_LOW), ("setter-1", "dry-bulb-low-warning")),
]


@pytest.mark.parametrize(("stands", "begins"), NOT_SAID)
def test_another_cause_is_another_alarm(stands: tuple[str, str], begins: tuple[str, str]) -> None:
    """What is more urgent, of the other side, or of another thing, is told although something else stands."""
    story = Story()
    standing(story, stands)
    assert not said_already(story.look(), *begins)


def test_who_shelved_it_has_heard_of_it() -> None:
    """A shelved alarm says what it says."""
    story = Story()
    standing(story, KEY, shelved_until=T0)
    assert said_already(story.look(), "setter-1", "dry-bulb-high-warning")


def reminded(
    rule: str, contacts: tuple[str, ...] = ("sam", "kim"), unsent: tuple[str, ...] = (), **numbers: object
) -> Group:
    """What a standing alarm of a rule with these numbers comes to when it is told again; unsent: who has not got its last message."""
    base = site(contacts=contacts)
    story = Story(site=replace(base, rules={**base.rules, rule: replace(base.rules[rule], **numbers)}))  # type: ignore[arg-type]
    story.state.unsent = {n: (contact, ALARM.number) for n, contact in enumerate(unsent)} | {9: ("kim", 99)}
    out = Group()
    again = remind(story.look(out), replace(ALARM, rule=rule, asked_mono_s=1.0))
    assert again.asked_mono_s == story.now().mono_s
    return out


def test_a_reminder_goes_to_whoever_got_the_last_message() -> None:
    """With the rule's own priority, as what still stands, to each contact but those who still wait for the message before."""
    for unsent, reached in (((), ["sam", "kim"]), (("sam",), ["kim"]), (("kim",), ["sam"]), (("sam", "kim"), [])):
        notices = reminded("dry-bulb-lethal", unsent=unsent).notices
        assert [n.contact for n in notices] == reached
        assert all(
            n.priority == "critical" and not n.closing and n.facts is not None and n.facts.still for n in notices
        )


def test_what_somebody_is_still_to_be_told_of_is_known_as_it_is_now() -> None:
    """While a phone service is down: of what stands the newest value, and who could not be told; of nothing else."""
    story = Story()
    story.state.alarms = {
        a.key: a for a in (replace(ALARM, value=40.4), replace(ALARM, rule="sensor-failed", number=4))
    }
    assert live(story.look()) == []
    story.state.unsent = {7: ("sam", ALARM.number), 8: ("sam", 0)}
    story.state.reached = {(ALARM.number, "sam"): Reach("sam", unheard_since=T0)}
    (one,) = live(story.look())
    assert (one.number, one.facts.value, one.facts.reached, one.at) == (
        3,
        40.4,
        (Reach("sam", None, T0),),
        story.now().utc,
    )
    for quiet in ({"condition": False}, {"shelved_until": T0}, {"out_of_service": True}):
        story.state.alarms[KEY] = replace(ALARM, **quiet)
        assert live(story.look()) == []


def test_of_what_rests_there_is_nothing_bad_to_tell_now() -> None:
    """It stands, and its air is well at the moment: what waits of it is told as it was, for the value of now would be that of good air."""
    story = Story()
    story.state.unsent = {7: ("sam", ALARM.number)}
    for rests, known in ((None, 1), (story.now().mono_s, 0)):
        story.state.alarms[KEY] = replace(ALARM, times=2, pending_mono_s=rests)
        assert len(live(story.look())) == known


FAILED, COLD = ("node-a/top", "sensor-failed"), ("setter-1", "dry-bulb-low-alarm")


def asked_again(*alarms: Alarm, seen: tuple[str, ...] = ()) -> list[tuple[str, str]]:
    """(subject, rule) of what is told, in a house where these alarms stand, when it is looked at what asks again. seen: the rules that ask
    anew after an answer."""
    story = Story(site(probes((TOP, "setter-1"), ("node-b/top", "setter-2"))))
    story.state.alarms.update({alarm.key: alarm for alarm in alarms})
    out = Group()
    ask_again(story.look(out), [alarm.key for alarm in alarms if alarm.rule in seen])
    return [(there(n.facts).subject, there(n.facts).rule) for n in out.notices]


def unseen(key: tuple[str, str], minutes: float, **changes: Any) -> Alarm:
    """A high alarm that was told again three times, the last time so many minutes ago: it asks each half hour now."""
    number = {FAILED: 4, COLD: 5}.get(key, 6)
    alarm = replace(ALARM, subject=key[0], rule=key[1], number=number, asked=3, told=True, about="", value=None)
    return replace(alarm, asked_mono_s=MONO0_S - 60.0 * minutes, **changes)


@pytest.mark.parametrize(
    ("other", "along"),
    [
        (unseen(FAILED, 15.0), True),  # the second half of its own half hour
        (unseen(FAILED, 14.9), False),
        (unseen(("node-b/top", "sensor-failed"), 29.0), False),  # another machine's
        (unseen(FAILED, 29.0, acknowledged=True), False),  # somebody has answered that
        (unseen(FAILED, 29.0, pending_mono_s=MONO0_S - 60.0), False),  # it is well at the moment
        (unseen(FAILED, 29.0, shelved_until=T0), False),
        (unseen(("setter-1", "humidity-low-alarm"), 239.0), False),  # not urgent
        (unseen(("node-a", "node-offline"), 29.0), True),  # the machine's only node
    ],
)
def test_a_machine_asks_again_in_one_breath(other: Alarm, along: bool) -> None:
    """What would ask before long asks with what is due: the same count of reminders for one alarm is fewer messages for two."""
    assert asked_again(unseen(COLD, 30.0), other) == [COLD, *([other.key] if along else [])]
    assert asked_again(unseen(COLD, 29.9), other) == []


def test_what_was_answered_asks_along_with_what_was_answered() -> None:
    """Two that somebody knows of are one question, and what is new to her is asked with either."""
    known = {"acknowledged": True, "answered": True}
    again = unseen(COLD, 0.0, answered=True)  # which asks just now
    later, fresh = unseen(FAILED, 239.0, **known, asked=1), unseen(("node-a", "node-offline"), 29.0)
    assert asked_again(again, later, fresh, seen=(COLD[1],)) == [FAILED, fresh.key]
    assert asked_again(again, replace(later, asked_mono_s=MONO0_S - 7_000.0), seen=(COLD[1],)) == []


@pytest.mark.parametrize(
    ("rule", "again_s", "told"),
    [
        ("dry-bulb-low-warning", 43_200.0, False),
        ("dry-bulb-low-warning", None, False),
        ("humidity-low-alarm", 60.0, True),
    ],
)
def test_what_is_low_is_not_told_again(rule: str, again_s: float | None, told: bool) -> None:
    """It stands in each day's summary; any other is told as often as it asks."""
    assert bool(reminded(rule, re_alarm_s=again_s).notices) == told


def test_a_message_is_about_the_batches_that_it_concerns() -> None:
    """An alarm of the air names all that are in the machine, one of the lockdown humidity those that wait for it, one of a batch it alone."""
    story = Story(batches=(batch("due", day=19.0), batch("early", day=5.0)))
    story.tick()
    machine = story.state.machine("setter-1")
    plan = there(machine.plan)
    machine.plan = replace(plan, awaited=("due",))

    def named(subject: str, rule: str) -> list[str]:
        out = Group()
        alarm = replace(ALARM, subject=subject, rule=rule)
        tell(story.look(out), Transition(alarm, NORMAL, UNACKNOWLEDGED, "", T0, 1.0))
        (notice,) = out.notices
        assert notice.facts is not None
        return [b.batch for b in notice.facts.batches]

    assert sorted(named("setter-1", "dry-bulb-high-alarm")) == ["due", "early"]
    assert named("setter-1", NOT_RAISED) == ["due"]
    assert named("batch early", "weight-off-track") == ["early"]
    assert named("batch gone", "weight-off-track") == named(TOP, NO_DATA) == []
    assert named("setter-9", NOT_RAISED) == []  # a machine that the configuration has no more
    machine.plan = replace(plan, awaited=())
    assert sorted(named("setter-1", NOT_RAISED)) == ["due", "early"]


@pytest.mark.parametrize(
    ("doubt", "doubtful"),
    [
        (("setter-1", "probes-disagree"), True),
        ((TOP, "sensor-suspect"), True),
        ((TOP, "sensor-failed"), True),
        ((TOP, NO_DATA), False),
        (("node-b/top", "sensor-failed"), False),
    ],
)
def test_a_sensor_in_doubt_is_told_with_the_air(doubt: tuple[str, str], doubtful: bool) -> None:
    """Of the machine's own sensors, while the doubt stands, and only where a value is told."""

    def told_of(standing_: bool, **changes: object) -> bool:
        story = Story(site=site(probes((TOP, "setter-1"), ("node-b/top", "hatcher-1"))))
        standing(story, doubt, condition=standing_)
        out = Group()
        alarm = replace(ALARM, **changes)  # type: ignore[arg-type]
        tell(story.look(out), Transition(alarm, NORMAL, UNACKNOWLEDGED, "", T0, 1.0))
        facts = out.notices[0].facts
        assert facts is not None
        return facts.doubtful

    assert told_of(True) == doubtful
    assert not told_of(False)
    assert not told_of(True, value=None)
    assert not told_of(True, subject=TOP)


PLACES = ["node-a/top", "node-a/low", "node-a/third", "node-a/back"]
STANDS_STILL, DAMP_STILL = Unfit("FLAT-T"), Unfit("FLAT-H")
DOUBTS = [
    # dry bulbs and humidities heard, None: no more; what stands, of which place, about what; the alarm; whether its value is in doubt
    ((39.6, None), (55, None), ("sensor-failed", 1, Unfit("RNG-T", -127.0)), "dry-bulb-high-alarm", False),
    ((39.6, None), (55, None), ("sensor-failed", 1, Fault("top/t nothing")), "dry-bulb-high-alarm", False),
    ((39.6, None), (55, None), ("sensor-suspect", 0, STANDS_STILL), "dry-bulb-high-alarm", True),
    ((39.6, 37.5), (55, 55), ("sensor-suspect", 1, STANDS_STILL), "dry-bulb-high-alarm", False),
    ((39.6, 37.5), (55, 55), ("sensor-suspect", 0, STANDS_STILL), "dry-bulb-high-alarm", True),
    ((39.6, 37.5), (55, 55), ("sensor-suspect", 0, DAMP_STILL), "dry-bulb-high-alarm", False),
    ((37.5, 34.0), (55, 55), ("sensor-suspect", 1, STANDS_STILL), "dry-bulb-low-alarm", True),
    ((37.5, 34.0), (55, 55), ("sensor-suspect", 0, STANDS_STILL), "dry-bulb-low-alarm", False),
    ((37.5, 37.5), (20, 55), ("sensor-suspect", 0, DAMP_STILL), "humidity-low-alarm", True),
    ((37.5, 37.5), (20, 55), ("sensor-suspect", 1, DAMP_STILL), "humidity-low-alarm", False),
    ((37.5, 37.5), (20, None), ("sensor-suspect", 1, DAMP_STILL), "humidity-low-alarm", False),
    ((39.6, 45.0, 37.5), (55, 55, 55), ("sensor-suspect", 1, STANDS_STILL), "dry-bulb-high-alarm", False),
    ((39.6, 45.0, 37.5), (55, 55, 55), ("sensor-suspect", 0, STANDS_STILL), "dry-bulb-high-alarm", True),
    ((39.6, 45.0, 37.5, 39.8), (55, 55, 55, 55), ("sensor-suspect", 0, STANDS_STILL), "dry-bulb-high-alarm", True),
    ((39.6, 45.0, 37.5, 39.8), (55, 55, 55, 55), ("sensor-suspect", 3, STANDS_STILL), "dry-bulb-high-alarm", True),
    ((39.6, 45.0, 37.5, 39.8), (55, 55, 55, 55), ("sensor-suspect", 1, STANDS_STILL), "dry-bulb-high-alarm", False),
    ((39.6, 37.5), (55, 55), ("sensor-suspect", 1, STANDS_STILL), HANDLING_OVER, True),
    ((39.6, 37.5), (55, 55), ("sensor-suspect", 1, STANDS_STILL), EGG_HOT, True),
]


@pytest.mark.parametrize(("dry", "humid", "doubt", "rule", "doubtful"), DOUBTS)
def test_a_sound_probe_is_not_doubtful_for_the_one_beside_it(
    dry: tuple[float | None, ...],
    humid: tuple[float | None, ...],
    doubt: tuple[str, int, Unfit | Fault],
    rule: str,
    doubtful: bool,
) -> None:
    """Of one that speaks it is that one, of two the worse, of more the middle; and a humidity that stands still is no doubt about heat."""
    keys = PLACES[: len(dry)]
    story = Story(site=site(probes(*((key, "setter-1") for key in keys))), batches=(batch(),))
    story.tick()
    plan(story.look(), "setter-1")
    now = story.now()
    for key, c, pct in zip(keys, dry, humid, strict=True):
        stale_s = 0.0 if c is not None else 600.0
        story.state.probe(key).heard = Heard(now.mono_s - stale_s, now.utc, c or 37.4, pct, now.mono_s)
    of, place, about = doubt
    standing(story, (keys[place], of), about=about)
    out = Group()
    alarm = replace(ALARM, rule=rule)
    tell(story.look(out), Transition(alarm, NORMAL, UNACKNOWLEDGED, "", T0, 1.0))
    assert there(out.notices[0].facts).doubtful == doubtful


@pytest.mark.parametrize(("place", "doubtful"), [(0, False), (1, True)])
def test_of_a_bird_by_wet_bulb_the_worse_humidity_is_the_lower_wet_bulb(place: int, doubtful: bool) -> None:
    """50 % at 39.0 °C are a wet bulb of 29.6 °C, 55 % at 36.0 °C one of 28.2: too dry is told of the second, though its humidity is higher."""
    story = Story(site=site(probes(*((key, "setter-1") for key in PLACES[:2]))), batches=(batch(profile_id="wet-hen"),))
    story.tick()
    plan(story.look(), "setter-1")
    now = story.now()
    for key, c, pct in zip(PLACES, (39.0, 36.0), (50.0, 55.0), strict=False):
        story.state.probe(key).heard = Heard(now.mono_s, now.utc, c, pct, now.mono_s)
    standing(story, (PLACES[place], "sensor-suspect"), about=DAMP_STILL)
    out = Group()
    tell(story.look(out), Transition(replace(ALARM, rule="humidity-low-alarm"), NORMAL, UNACKNOWLEDGED, "", T0, 1.0))
    assert there(out.notices[0].facts).doubtful is doubtful


@pytest.mark.parametrize(("quantity", "doubtful"), [(DRY_BULB, True), (RH, False)])
def test_probes_that_disagree_are_in_doubt_while_they_speak(quantity: str, doubtful: bool) -> None:
    """Of two, nobody knows which; once one is silent, nothing is known against the other. And of the quantity that they disagree in."""
    story = Story(site=site(probes(*((key, "setter-1") for key in PLACES[:2]))), batches=(batch(),))
    story.tick()
    now = story.now()
    standing(story, ("setter-1", "probes-disagree"), about=Apart((TOP,), quantity, 2.0))
    for other_s, told in ((0.0, doubtful), (600.0, False)):
        for key, c, ago_s in ((TOP, 39.6, 0.0), (PLACES[1], 37.5, other_s)):
            story.state.probe(key).heard = Heard(now.mono_s - ago_s, now.utc, c, 55.0, now.mono_s)
        out = Group()
        tell(story.look(out), Transition(ALARM, NORMAL, UNACKNOWLEDGED, "", T0, 1.0))
        assert there(out.notices[0].facts).doubtful == told


def test_the_other_side_says_nothing() -> None:
    """'Too cold' does not hide 'warm', nor one machine another."""
    story = Story()
    standing(story, ("setter-1", "dry-bulb-low-alarm"), ("hatcher-1", "dry-bulb-high-alarm"))
    assert not said_already(story.look(), "setter-1", "dry-bulb-high-warning")


def test_a_node_with_one_speaking_probe_is_not_said_by_the_silent_one() -> None:
    """Only when every probe of a node is known as silent need the node not be told as gone."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-a/low", "setter-1"))))
    standing(story, (TOP, NO_DATA))
    assert not said_already(story.look(), "node-a", NODE_OFFLINE)
    standing(story, ("node-a/low", NO_DATA))
    assert said_already(story.look(), "node-a", NODE_OFFLINE)


def test_a_full_outbox_keeps_what_is_urgent() -> None:
    """With MAX_WAITING unsent, a mild notice is written and cancelled with its reason; an urgent one goes all the same, and another
    contact is not touched."""
    story = Story(site=site(contacts=("sam", "kim")))
    assert MAX_WAITING == 500
    story.state.waiting["sam"] = MAX_WAITING
    for rule, cancelled in (("dry-bulb-low-warning", 1), ("dry-bulb-high-alarm", 0)):
        out = Group()
        alarm = replace(ALARM, rule=rule)
        tell(story.look(out), Transition(alarm, NORMAL, UNACKNOWLEDGED, "", T0, 1.0))
        assert len(out.notices) == 2
        assert [(a.contact, a.outcome) for a in out.attempts] == [("sam", "cancelled")] * cancelled
    assert story.state.waiting == {"sam": MAX_WAITING + 1, "kim": 2}


TOO_HOT, TOO_DRY = ("setter-1", "dry-bulb-high-alarm"), ("setter-1", "humidity-low-alarm")


@pytest.mark.parametrize(
    ("hides", "hidden"),
    [
        (TOO_HOT, TOO_DRY),
        (("setter-1", "dry-bulb-low-alarm"), ("setter-1", "humidity-high-warning")),
        (("setter-1", HANDLING_OVER), TOO_DRY),
        (("setter-1", HANDLING_OVER), ("setter-1", EGG_COLD)),
    ],
)
def test_nothing_is_hidden_for_long(hides: tuple[str, str], hidden: tuple[str, str]) -> None:
    """Another thing is hidden for a third of what there is of time to respond to it, and not longer."""
    story = Story()
    third_s = RULES[hidden[1]].respond_min * 20.0
    standing(story, hides, begun_mono_s=story.now().mono_s)
    story.at_s += third_s
    assert said_already(story.look(), *hidden)
    story.at_s += 1.0
    assert not said_already(story.look(), *hidden)


def test_what_is_the_same_but_worse_goes_on_saying_it() -> None:
    """A warning is no other thing than the alarm of its side."""
    story = Story()
    standing(story, TOO_HOT, begun_mono_s=story.now().mono_s)
    story.at_s += 5 * 86_400.0
    assert said_already(story.look(), "setter-1", "dry-bulb-high-warning")


@pytest.mark.parametrize("doubt", [("setter-1", DISAGREE), (LOW, "sensor-suspect"), (LOW, "sensor-failed")])
def test_what_is_disputed_hides_nothing(doubt: tuple[str, str]) -> None:
    """Heat that only a sensor in doubt tells of hides no dry air."""
    story = apart(37.5, 37.6)
    standing(story, ("setter-1", DISAGREE), condition=False)
    standing(story, TOO_HOT, value=39.5)
    assert said_already(story.look(), *TOO_DRY)
    standing(story, doubt)
    assert not said_already(story.look(), *TOO_DRY)


def test_what_comes_and_goes_hides_nothing_while_it_is_gone() -> None:
    """Chattering heat that is within its limit just now says nothing of the humidity."""
    story = Story()
    standing(story, TOO_HOT, times=3)
    assert said_already(story.look(), *TOO_DRY)
    standing(story, TOO_HOT, times=3, pending_mono_s=story.now().mono_s)
    assert not said_already(story.look(), *TOO_DRY)


def apart(top_c: float, low_c: float, told: Apart | None = None) -> Story:
    """Two probes of one machine, of which it was told that they disagree."""
    story = Story(
        site=site(probes((TOP, "setter-1"), (LOW, "setter-1"))),
        batches=(batch(),),
        air={TOP: (top_c, 45.0), LOW: (low_c, 45.0)},
    )
    story.run(minutes=2)
    about = told or Apart((LOW, TOP), "dry_bulb_c", abs(top_c - low_c))
    standing(story, ("setter-1", DISAGREE), about=about, begun_mono_s=story.now().mono_s)
    return story


@pytest.mark.parametrize("rule", ["dry-bulb-high-warning", "dry-bulb-low-warning", "dry-bulb-high-heading"])
def test_sensors_that_disagree_are_not_warm_and_cool_as_well(rule: str) -> None:
    """One of two says so, the other not: that they disagree was told. Where both say it, it is the air."""
    story = apart(38.3, 36.7)
    assert said_already(story.look(), "setter-1", rule)
    if rule.endswith("warning"):
        both_c = 38.3 if "high" in rule else 36.7
        assert not said_already(apart(both_c, both_c + 0.1).look(), "setter-1", rule)
    of_humidity = apart(38.3, 36.7, Apart((LOW, TOP), "rh_pct", 9.0))
    assert not said_already(of_humidity.look(), "setter-1", rule)


@pytest.mark.parametrize(
    ("rule", "hours", "said"),
    [
        ("dry-bulb-low-warning", 5.9, True),
        ("dry-bulb-low-warning", 6.1, False),  # its time to respond is over: it is told beside
        ("dry-bulb-high-heading", 0.6, True),
        ("dry-bulb-high-heading", 20.0, True),  # a probe that drifts is on its way for a day, and the other is well
    ],
)
def test_how_long_one_of_two_sensors_is_told_by_their_disagreement_alone(rule: str, hours: float, said: bool) -> None:
    """A warning for its time to respond, 6 h of "cool"; a forecast for as long as it was told as urgently, and the other is well."""
    story = apart(38.6, 36.7, Apart((LOW, TOP), "dry_bulb_c", 1.9, outside=True))
    since_s = story.now().mono_s - hours * 3600.0
    standing(
        story, ("setter-1", DISAGREE), about=Apart((LOW, TOP), "dry_bulb_c", 1.9, outside=True), begun_mono_s=since_s
    )
    assert said_already(story.look(), "setter-1", rule) is said


@pytest.mark.parametrize(
    ("low_c", "about"),
    [
        (38.4, Apart((LOW, TOP), "dry_bulb_c", 0.6, outside=True)),  # the other is warm, too: it is the air
        (37.5, Apart((LOW, TOP), "rh_pct", 9.0, outside=True)),  # of the humidity alone
        (37.5, Apart((LOW, TOP), "dry_bulb_c", 0.6)),  # told as mild
    ],
)
def test_a_forecast_that_is_more_than_one_sensors_is_told(low_c: float, about: Apart) -> None:
    """Sensors that have disagreed for a day hide no heat that comes."""
    story = apart(38.6, low_c, about)
    standing(story, ("setter-1", DISAGREE), about=about, begun_mono_s=story.now().mono_s - 86_400.0)
    assert not said_already(story.look(), "setter-1", "dry-bulb-high-heading")


def test_one_machine_is_not_too_hot_and_too_cold_at_once() -> None:
    """Sensors that disagree by so much that both alarms are passed: heat is told, and the cold is the disagreement."""
    story = apart(39.5, 35.5)
    assert story.state_of("dry-bulb-high-alarm") == UNACKNOWLEDGED
    assert said_already(story.look(), "setter-1", "dry-bulb-low-alarm")
    standing(story, ("setter-1", DISAGREE), condition=False)
    assert not said_already(story.look(), "setter-1", "dry-bulb-low-alarm")


def test_the_batch_whose_limit_it_is_comes_first() -> None:
    """Hens and an ostrich's eggs in one machine, at the hens' temperature: it is too hot for the ostrich, and she is the one to be named."""
    house = site(profiles=load_profiles())
    hens, ostrich = batch(id_="hen-1", profile_id="chicken"), batch(id_="ost-1", profile_id="ostrich")
    story = Story(site=house, batches=(hens, ostrich), air={TOP: (37.7, 45.0)})
    story.run(minutes=5)
    hot = next(n for n in story.notices if n.facts is not None and n.facts.rule == "dry-bulb-high-alarm")
    assert [b.batch for b in there(hot.facts).batches] == ["ost-1", "hen-1"]
    assert hot.facts is not None
    assert there(hot.facts.limit) < 37.7


def test_what_one_of_two_sensors_says_is_told_once_while_that_they_disagree_asks() -> None:
    """Too hot at one of them is told when its time is over, and then the disagreement alone asks again, at the pace of what is urgent."""
    story = Story(site(probes(("node-a/top", "setter-1"), ("node-b/top", "setter-1"))), (batch(),))
    story.air = {"node-a/top": (37.5, 45.0), "node-b/top": (37.5, 45.0)}
    story.run(minutes=30)
    story.air["node-b/top"] = (39.6, 45.0)
    story.run(minutes=60 * 6)
    titles = [n.title for n in story.notices]
    assert [t for t in titles if "too hot" in t] == ["Urgent: Setter 1 too hot"]
    assert rule_of(story.look(), "setter-1", DISAGREE).re_alarm_s == URGENT_AGAIN_S


PAIR = probes((TOP, "setter-1"), ("node-b/low", "setter-1"))


def jumped(story: Story, top_c: float) -> None:
    """Two probes in a calm machine, of which the upper one jumps."""
    story.air = {TOP: GOOD, "node-b/low": (37.4, 45.0)}
    story.run(minutes=120)
    story.air[TOP] = (top_c, 45.0)
    story.run(minutes=25)


def hot_at(story: Story) -> list[str]:
    return [n.priority for n in story.notices if n.facts is not None and n.facts.rule == KEY[1]]


def test_a_probe_that_jumped_hides_no_heat_that_another_has_as_well() -> None:
    """One jumps, and the disagreement is told and answered; then the whole machine gets warm: that is told, though one alone is beyond the limit."""
    story = Story(site=site(PAIR), batches=(batch(),))
    jumped(story, 38.7)
    assert hot_at(story) == []
    story.state.alarms["setter-1", DISAGREE] = acknowledge(story.alarm(DISAGREE), "sam", story.now())[0]
    story.air = {TOP: HOT, "node-b/low": (38.8, 45.0)}
    story.run(minutes=5)
    assert hot_at(story) == ["high"]


@pytest.mark.parametrize(("priority", "told"), [("high", []), ("critical", ["critical"])])
def test_what_is_told_of_a_probe_that_jumped_hides_nothing_more_urgent(priority: str, told: list[str]) -> None:
    """A house that made "too hot" critical hears it: the disagreement is high, and a contact may hear only what is critical."""
    rules = RULES | {KEY[1]: replace(RULES[KEY[1]], priority=priority)}
    story = Story(site=site(PAIR, rules=rules), batches=(batch(),))
    jumped(story, 39.6)
    assert hot_at(story)[:1] == told


@pytest.mark.parametrize(
    ("rule", "changes", "hidden"),
    [
        (KEY[1], {}, True),
        (KEY[1], {"jumped": ""}, False),
        (KEY[1], {"outside": False}, False),
        (KEY[1], {"low_c": 38.0}, True),  # where the warning begins the other is well still
        (KEY[1], {"low_c": 38.01}, False),  # the machine is warm
        (KEY[1], {"stood_s": RULES[KEY[1]].respond_min * 60.0}, True),  # for all its time to respond
        (KEY[1], {"stood_s": RULES[KEY[1]].respond_min * 60.0 + 1.0}, False),
        ("dry-bulb-low-alarm", {}, True),
        (LETHAL_ID, {}, False),
        ("humidity-low-alarm", {}, False),  # which is another thing
        ("humidity-low-warning", {}, False),
        ("dry-bulb-high-warning", {}, True),
        ("dry-bulb-high-warning", {"jumped": "", "outside": False}, True),
        ("dry-bulb-high-warning", {"low_c": 38.01}, False),
        ("dry-bulb-high-warning", {"stood_s": RULES["dry-bulb-high-warning"].respond_min * 60.0}, True),  # all of it
        ("dry-bulb-high-warning", {"stood_s": RULES["dry-bulb-high-warning"].respond_min * 60.0 + 1.0}, False),
        ("dry-bulb-low-warning", {"quantity": RH}, False),
        ("humidity-low-warning", {"quantity": RH}, True),
    ],
)
def test_what_is_not_told_beside_that_the_sensors_disagree(rule: str, changes: dict[str, Any], hidden: bool) -> None:
    """One of two has jumped to 39.6 °C, and the other stands at 37.4: of temperature that says it; not of humidity, not of what kills, not where
    both are warm, and not for longer than there is time."""
    case = {"quantity": DRY_BULB, "jumped": TOP, "outside": True, "low_c": 37.4, "stood_s": 60.0, **changes}
    story = Story(site=site(PAIR), batches=(batch(),), at_s=86_400.0)
    story.tick()
    now = story.now()
    for probe, dry_bulb_c in ((TOP, 39.6), ("node-b/low", case["low_c"])):
        story.state.probe(probe).heard = Heard(now.mono_s, now.utc, dry_bulb_c, 45.0)
    about = Apart((TOP, "node-b/low"), case["quantity"], 2.2, outside=case["outside"], jumped=case["jumped"])
    begun_s = now.mono_s - case["stood_s"]
    apart = Alarm("setter-1", DISAGREE, 1, 1, condition=True, acknowledged=False, about=about, begun_mono_s=begun_s)
    story.state.alarms[apart.key] = apart
    assert said_already(story.look(), "setter-1", rule) is hidden


@pytest.mark.parametrize("rule", sorted(RULES))
def test_what_is_no_longer_configured_is_said_by_nothing_else(rule: str) -> None:
    """Its end is told as any other, by a start that finds neither its machine, nor its node, probe or switch."""
    for gone in ("machine-9", "node-9", "node-9/top", "batch hen-9"):
        assert not said_already(Story().look(), gone, rule)
