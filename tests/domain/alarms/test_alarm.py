"""The life-cycle of an alarm: every arrow, as stories of (second, what happens, state then); and a machine of random stories
against a small model of its own."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    BETWEEN,
    IN,
    MAX_SHELF_S,
    NO_EGGS,
    NORMAL,
    OUT,
    OUT_OF_SERVICE,
    RETURNED,
    SHELVED,
    SUPPRESSED,
    UNACKNOWLEDGED,
    Alarm,
    AlarmError,
    Chattering,
    Judgement,
    Shelved,
    Step,
    Suppressed,
    Transition,
    acknowledge,
    again_s,
    more_urgent,
    pass_time,
    set_out_of_service,
    shelve,
    state_of,
    step,
    suppress,
    unanswered,
    unshelve,
    unsuppress,
)
from monitor.domain.needs.rules import PRIORITIES, SPANS, Rule
from monitor.domain.readings.reading import Now
from tests.domain.house import MONO0_S, RULES, T0

STATES = {
    NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, SHELVED, SUPPRESSED, OUT_OF_SERVICE,
}  # fmt: skip
# On-delay 20 s, off-delay 60 s, asks again after 300 s: round numbers of these tests.
RULE = replace(RULES["dry-bulb-high-alarm"], on_delay_s=20.0, off_delay_s=60.0, re_alarm_s=300.0, priority="high")
AT_ONCE = replace(RULE, on_delay_s=0.0, off_delay_s=0.0)
LIMIT = 39.0


def at(second: float) -> Now:
    return Now(MONO0_S + second, T0 + timedelta(seconds=second))


@dataclass
class Case:
    """One alarm and everything that became of it."""

    rule: Rule = RULE
    alarm: Alarm = field(default_factory=lambda: Alarm("setter-1", "dry-bulb-high-alarm"))
    number: int = 0
    told: list[Transition] = field(default_factory=list)

    def _adopt(self, stepped: Step) -> str:
        self.alarm, transitions = stepped
        if any(transition.state == UNACKNOWLEDGED for transition in transitions):
            self.alarm = replace(self.alarm, told=True)  # as whoever tells it marks it
        self.number = max(self.number, self.alarm.number)
        self.told += transitions
        return state_of(self.alarm)

    def judge(self, second: float, verdict: int, value: float | None = None) -> str:
        shown = value if value is not None else {IN: 37.5, BETWEEN: 38.9, OUT: 39.5}[verdict]
        judgement = Judgement(verdict, at(second).utc, shown, LIMIT, "dry_bulb_c")
        return self._adopt(step(self.alarm, judgement, at(second), rule=self.rule, next_number=self.number + 1))

    def hot(self, second: float, value: float = 39.5) -> str:
        return self.judge(second, OUT, value)

    def good(self, second: float) -> str:
        return self.judge(second, IN)

    def between(self, second: float) -> str:
        return self.judge(second, BETWEEN)

    def wait(self, second: float) -> str:
        return self._adopt(pass_time(self.alarm, at(second), self.rule))

    def ack(self, second: float) -> str:
        return self._adopt(acknowledge(self.alarm, "sam", at(second)))

    def shelve(self, second: float, for_s: float = 600.0) -> str:
        return self._adopt(shelve(self.alarm, for_s, "sam", now=at(second), rule=self.rule))

    def unshelve(self, second: float) -> str:
        return self._adopt(unshelve(self.alarm, at(second), who="sam"))

    def suppress(self, second: float) -> str:
        return self._adopt(suppress(self.alarm, "no eggs in it", now=at(second)))

    def unsuppress(self, second: float) -> str:
        return self._adopt(unsuppress(self.alarm, at(second), "judged again"))

    def service(self, second: float, out: bool) -> str:
        return self._adopt(set_out_of_service(self.alarm, out=out, who="sam", now=at(second)))

    def arrows(self) -> list[tuple[str, str]]:
        return [(t.state_before, t.state) for t in self.told]


def standing(rule: Rule = AT_ONCE) -> Case:
    """A case whose alarm came at second 0, on a rule without an on-delay."""
    case = Case(rule)
    assert case.hot(0) == UNACKNOWLEDGED
    return case


# The arrows of the state table: ANSI/ISA-18.2-2016, states A to I (letters from memory).


def test_a_to_b_when_the_condition_lasts() -> None:
    """Normal to unacknowledged once every reading for the on-delay was out; the episode gets its number and its beginning."""
    case = Case()
    assert [case.hot(0), case.hot(10), case.hot(20)] == [NORMAL, NORMAL, UNACKNOWLEDGED]
    assert case.arrows() == [(NORMAL, UNACKNOWLEDGED)]
    assert (case.alarm.number, case.alarm.episode) == (1, 1)
    assert case.alarm.since == at(0).utc
    assert case.told[0].at == at(20).utc
    assert case.told[0].mono_s == MONO0_S + 20
    assert case.told[0].cause == "beyond its limit"


def test_an_alarm_follows_what_has_no_value_and_keeps_its_worst() -> None:
    """A standing alarm is told again without a value, without a limit, or with the first value that it ever had: it follows what it is
    told, nothing breaks, and the worst stays what was measured furthest from a limit."""
    case = standing()

    def told(second: float, value: float | None, limit: float | None) -> tuple[float | None, float | None]:
        judgement = Judgement(OUT, at(second).utc, value, limit, "dry_bulb_c")
        case._adopt(step(case.alarm, judgement, at(second), rule=case.rule, next_number=case.number + 1))
        assert state_of(case.alarm) == UNACKNOWLEDGED
        return case.alarm.value, case.alarm.worst

    assert told(10, None, LIMIT) == (None, 39.5)
    assert told(20, 45.0, None) == (45.0, 39.5)
    assert told(30, 41.0, LIMIT) == (41.0, 41.0)
    case.alarm = replace(case.alarm, value=None, worst=None)  # as of a sensor, which has no value
    assert told(40, 40.0, LIMIT) == (40.0, None)


def test_b_to_c_when_a_person_has_seen_it() -> None:
    """Unacknowledged to acknowledged, with who did it."""
    case = standing()
    assert case.ack(5) == ACKNOWLEDGED
    assert case.told[-1].who == "sam"
    assert case.arrows()[-1] == (UNACKNOWLEDGED, ACKNOWLEDGED)


def test_b_to_d_when_it_ends_unseen() -> None:
    """What came and went at night stays to be seen: returned to normal, unacknowledged, however long it takes."""
    case = standing()
    assert case.good(60) == RETURNED
    assert case.wait(30 * 86_400) == RETURNED
    assert case.good(30 * 86_400) == RETURNED
    assert case.arrows()[-1] == (UNACKNOWLEDGED, RETURNED)


def test_c_to_a_when_it_ends_seen() -> None:
    """An acknowledged alarm that ends is over."""
    case = standing()
    case.ack(5)
    assert case.good(60) == NORMAL
    assert case.arrows()[-1] == (ACKNOWLEDGED, NORMAL)
    assert case.alarm.ended == at(60).utc


def test_c_to_b_when_it_stands_too_long() -> None:
    """An acknowledged alarm that still stands asks again after its time to respond, and once more acknowledged after twice as long."""
    case = standing()
    case.ack(10)
    assert RULE.respond_min == 180
    assert case.wait(10 + 10_799) == ACKNOWLEDGED
    assert case.wait(10 + 10_800) == UNACKNOWLEDGED
    assert case.told[-1].cause == "still standing"
    assert case.alarm.number == 1
    case.ack(11_000)
    assert case.wait(11_000 + 14_399) == ACKNOWLEDGED  # twice as long would be longer than anything is left
    assert case.wait(11_000 + 14_400) == UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("priority", "re_alarm_s", "answered", "minutes"),
    [
        ("critical", 300.0, False, [5, 5, 5, 10, 20, 40, 60, 60]),
        ("high", 600.0, False, [10, 10, 10, 20, 40, 60, 60, 60]),
        ("medium", 900.0, False, [15, 15, 15, 30, 60, 120, 240, 240]),
        ("low", 43_200.0, False, [720, 720, 720, 1440, 1440, 1440, 1440, 1440]),
        ("high", 7_200.0, False, [120] * 8),  # a house's own, longer than the longest
        ("critical", 300.0, True, [30, 240, 480, 480, 480, 480, 480, 480]),
        ("high", 600.0, True, [30, 240, 480, 480, 480, 480, 480, 480]),
    ],
)
def test_what_stands_is_told_in_ever_longer_steps(
    priority: str, re_alarm_s: float, answered: bool, minutes: list[int]
) -> None:
    """Each time it waits longer, and from the answer on it begins with the time to respond. The steps are written out here."""
    rule_ = replace(RULE, priority=priority, re_alarm_s=re_alarm_s, respond_min=30.0)
    assert [again_s(open_alarm(asked=n, answered=answered), rule_) / 60.0 for n in range(8)] == minutes


def comes_and_goes(each_s: int = 1200) -> Case:
    """Three times out for a minute, the last from second 600 on."""
    case = Case()
    for start in (600 - 2 * each_s, 600 - each_s, 600):
        for second in range(0, 60, 10):
            case.hot(start + second)
        for second in range(60, each_s, 10) if start < 600 else ():
            case.good(start + second)
    return case


def test_what_came_a_second_time_is_over_a_quarter_of_an_hour_later() -> None:
    """What comes back ten minutes after it went the second time is news, whoever answered that; and the same episode, with its number."""
    case = standing(AT_ONCE)
    assert case.good(100) == case.good(160) == RETURNED
    case.hot(700)
    assert (case.alarm.number, case.alarm.times) == (2, 2)
    case.ack(710)
    case.good(800)
    assert case.good(1_500) == ACKNOWLEDGED
    assert case.hot(1_510) == UNACKNOWLEDGED
    assert (case.told[-1].cause, case.alarm.asked, case.alarm.answered) == (Chattering(3), 0, False)
    assert (case.alarm.number, case.alarm.times, case.alarm.chattering) == (2, 3, True)
    rows = len(case.told)
    case.ack(1_520)
    case.good(1_600)
    assert case.hot(2_000) == ACKNOWLEDGED
    assert (case.alarm.times, len(case.told)) == (4, rows + 1)
    second = standing(AT_ONCE)
    second.good(60)
    second.good(160)
    second.hot(700)
    second.ack(710)
    second.good(800)
    assert second.good(1_699.9) == ACKNOWLEDGED
    assert second.good(1_700) == NORMAL
    assert second.alarm.ended == at(800).utc


def test_the_third_time_it_is_chattering() -> None:
    """What came three times within the hour is one episode from then on: one number, one answer, over only when it was well for two hours."""
    case = comes_and_goes()
    assert (case.alarm.number, case.alarm.times, case.alarm.chattering) == (3, 3, True)
    assert case.told[-1].cause == Chattering(3)
    assert case.ack(670) == ACKNOWLEDGED
    for again in range(1, 6):  # comes and goes on
        for second in range(680 + again * 300, 680 + again * 300 + 200, 10):
            assert case.good(second) == ACKNOWLEDGED
        assert case.alarm.resting
        for second in range(880 + again * 300, 880 + again * 300 + 100, 10):
            assert case.hot(second) == ACKNOWLEDGED
        assert case.alarm.times == 3 + again
    assert (case.alarm.number, case.alarm.episode) == (3, 3)
    end = 2_480
    case.good(end)
    assert case.good(end + 7_199) == ACKNOWLEDGED
    assert case.good(end + 7_200) == NORMAL
    assert case.alarm.ended == at(end).utc


def test_what_comes_seldom_is_news_each_time() -> None:
    """More than two hours apart, each time is an episode of its own."""
    case = comes_and_goes(7_400)
    assert (case.alarm.number, case.alarm.times, case.alarm.chattering) == (3, 1, False)


@pytest.mark.parametrize(("after_s", "times"), [(7_200.0, 3), (7_200.1, 1)])
def test_what_comes_back_within_two_hours_comes_again(after_s: float, times: int) -> None:
    """From the moment that it was over; later it is the first time once more."""
    gone = open_alarm(condition=False, acknowledged=True, gone_mono_s=MONO0_S, times=2, asked=4, answered=True)
    case = Case(AT_ONCE, gone)
    case.hot(after_s)
    assert case.alarm.times == times
    assert (case.alarm.asked, case.alarm.answered) == (0, False)  # it is told as anything new is


def test_what_comes_again_soon_has_had_its_first_minutes() -> None:
    """It asks after its time, twice that, four times: only what is new asks at one pace first. Two hours later it is new."""
    for gone_s, paces in (
        (2_800.0, (1, 2, 4, 8)),
        (2_799.0, (1, 1, 1, 2)),
        (None, (1, 1, 1, 2)),
        (10_000.1, (1, 1, 1, 2)),
    ):
        alarm = replace(standing().alarm, begun_mono_s=10_000.0, gone_mono_s=gone_s)
        waits = [again_s(replace(alarm, asked=asked), replace(RULE, re_alarm_s=300.0)) for asked in range(4)]
        assert waits == [300.0 * pace for pace in paces]


def test_what_is_gone_just_now_is_not_told_again() -> None:
    """While what is chattering is within its limit nobody is told that it stands; as soon as it is out again, the time counts."""
    case = comes_and_goes()
    case.good(670)
    assert not unanswered(case.alarm, at(5_000), RULE)
    case.hot(5_010)
    assert unanswered(case.alarm, at(5_010), RULE)


@pytest.mark.parametrize(("within_s", "times"), [(59.9, 3), (60.0, 4)])
def test_what_rested_shorter_than_its_off_delay_did_not_come_again(within_s: float, times: int) -> None:
    """One reading within the limit is no coming and going: it counts once it was well for the minute that the rule asks for."""
    case = comes_and_goes()
    case.good(670)
    case.hot(670 + within_s)
    assert case.alarm.times == times
    case.hot(4_000)  # it stood all the while
    assert case.alarm.times == times


def test_air_that_passes_the_deadband_slowly_has_come_again() -> None:
    """It climbs by 0.05 K in ten seconds, and is for a minute between what is well and the limit, where no delay runs: that it was well before is
    known, and the third time is told with its first reading beyond the limit."""
    case = standing()
    case.good(100)
    case.hot(700)
    case.ack(710)
    for second in range(800, 1_000, 10):
        case.good(second)
    second, centi_c = 1_000, 3_850
    while centi_c <= 3_900:
        between = centi_c > 3_870
        state = case.judge(second, BETWEEN if between else IN, centi_c / 100.0)
        assert (state, case.alarm.resting, case.alarm.rested) == (ACKNOWLEDGED, not between, True)
        second, centi_c = second + 10, centi_c + 5
    assert second < 1_120
    rows = len(case.told)
    assert case.hot(second, centi_c / 100.0) == UNACKNOWLEDGED
    assert [t.cause for t in case.told[rows:]] == [Chattering(3)]
    assert (case.alarm.number, case.alarm.times, case.alarm.rested) == (2, 3, False)


@pytest.mark.parametrize(("well_s", "times"), [(50, 2), (60, 3)])
def test_air_that_passes_the_deadband_slowly_counts_from_when_it_was_well(well_s: int, times: int) -> None:
    """For the minute that the rule asks for; however long it stayed in the deadband afterwards, that is no rest."""
    case = Case(replace(RULE, on_delay_s=0.0), open_alarm(times=2))
    case.good(0)
    for second in range(well_s, 600, 10):
        case.between(second)
    case.hot(600)
    assert case.alarm.times == times


def test_a_rest_is_over_with_the_alarm() -> None:
    """What rested and went, or of which the limit is gone, begins its next time without it; what is only covered has it still."""
    case = standing()
    case.good(60)
    case.good(160)
    case.hot(700)
    case.good(800)
    case.good(900)
    rested = case.alarm
    assert (rested.times, rested.rested) == (2, True)
    assert case.good(1_700) == RETURNED
    assert not case.alarm.rested
    quiet, _ = suppress(rested, NO_EGGS, now=at(900), over=True)
    assert (quiet.condition, quiet.rested) == (False, False)
    covered, _ = suppress(rested, NO_EGGS, now=at(900))
    assert (covered.condition, covered.rested) == (True, True)


def test_what_comes_and_goes_is_news_again_once_its_end_was_told() -> None:
    """Who heard that it is over, with what was worse, hears of it as soon as it is out again: under the number that it has, and whoever answered
    it before."""
    case = comes_and_goes()
    case.ack(670)
    for second in range(680, 880, 10):
        case.good(second)
    case.alarm = replace(case.alarm, told=False)
    rows = len(case.told)
    assert case.hot(880) == UNACKNOWLEDGED
    assert [t.cause for t in case.told[rows:]] == [Chattering(4)]
    assert (case.alarm.number, case.alarm.answered, case.alarm.asked) == (3, False, 0)
    assert case.hot(890) == UNACKNOWLEDGED
    assert len(case.told) == rows + 1  # once


def test_what_comes_and_goes_under_a_shelf_is_news_when_that_ends() -> None:
    """Nobody heard of it since its end was told; while it is shelved that is no news, and is counted all the same."""
    case = comes_and_goes()
    for second in range(680, 880, 10):
        case.good(second)
    case.alarm = replace(case.alarm, told=False)
    case.shelve(875)
    rows = len(case.told)
    assert case.hot(880) == SHELVED
    assert (case.alarm.times, len(case.told)) == (4, rows)
    assert case.wait(1_475) == UNACKNOWLEDGED


def test_what_is_not_there_yet_does_not_rest() -> None:
    """A delay that runs before the alarm is another than one that runs out of it."""
    case = Case()
    case.hot(0)
    assert not case.alarm.resting
    case.hot(20)
    assert not case.alarm.resting
    case.good(30)
    assert case.alarm.resting


def test_what_people_do_is_never_chattering() -> None:
    """An egg to be looked at again three times within the hour is three reminders."""
    case = Case(replace(AT_ONCE, id="look-again", quantity=None, level=None, off_delay_s=0.0))
    for second in (0.0, 600.0, 1200.0):
        case.hot(second)
        case.good(second + 300.0)
    assert case.alarm.times == 1
    assert [t.cause for t in case.told if isinstance(t.cause, Chattering)] == []


def test_what_kills_is_news_each_time() -> None:
    """Half an hour of deadly heat kills (MSU-HMG): one that comes again after it was answered is no rest of the one before."""
    case = Case(replace(AT_ONCE, level="lethal"))
    for start in (0.0, 1_200.0, 2_400.0, 3_600.0):
        case.hot(start)
        if start:
            assert case.told[-1].state == UNACKNOWLEDGED
        case.ack(start + 60.0)
        for second in range(120, 600, 60):
            said = case.good(start + second)
        assert said == NORMAL
    assert (case.alarm.episode, case.alarm.chattering) == (4, False)


def test_what_became_more_urgent_is_news() -> None:
    """Whoever had answered it is asked anew."""
    case = standing()
    case.ack(10)
    worse, (transition,) = more_urgent(case.alarm, at(20))
    assert (worse.acknowledged, worse.answered, worse.asked_mono_s) == (False, False, at(20).mono_s)
    assert (transition.state_before, transition.state) == (ACKNOWLEDGED, UNACKNOWLEDGED)
    assert worse.asked == 0  # and told again as at the beginning, at the quick pace


def test_each_answer_is_good_for_longer() -> None:
    """Somebody who answers each time is asked after the half hour that the rule leaves, then after half a night, then after a night."""
    case = Case(replace(AT_ONCE, respond_min=30.0))
    case.hot(0)
    second = 60.0
    for hours in (0.5, 4.0, 8.0, 8.0):
        case.ack(second)
        assert case.wait(second + 3600.0 * hours - 1.0) == ACKNOWLEDGED
        second += 3600.0 * hours
        assert case.wait(second) == UNACKNOWLEDGED


def test_the_first_answer_begins_the_steps_anew() -> None:
    """However often nobody answered: who has just heard of it is asked after the half hour that the rule leaves."""
    rule_ = replace(AT_ONCE, respond_min=30.0)
    seen, _ = acknowledge(open_alarm(asked=5), "sam", at(0))
    assert again_s(seen, rule_) == 1800.0


@pytest.mark.parametrize(("priority", "longest_h"), [("critical", 1), ("high", 1), ("medium", 4), ("low", 24)])
def test_the_quickest_pace_ends_at_the_longest_too(priority: str, longest_h: int) -> None:
    """A house may have its alarms told again each minute, which is the shortest that it may set: that, too, gets seldom in the end."""
    assert SPANS["re_alarm_s"][0] == 60.0
    rule_ = replace(RULE, priority=priority, re_alarm_s=60.0)
    assert again_s(open_alarm(asked=1_000), rule_) == 3600.0 * longest_h


def test_a_rule_without_re_alarm_never_asks_again() -> None:
    """With re_alarm_s None an acknowledged alarm rests."""
    case = Case(replace(AT_ONCE, re_alarm_s=None))
    case.hot(0)
    case.ack(1)
    assert case.wait(1e7) == ACKNOWLEDGED


def test_d_to_a_when_it_is_seen_afterwards() -> None:
    """Acknowledging what is over ends it."""
    case = standing()
    case.good(60)
    assert case.ack(100) == NORMAL
    assert case.arrows()[-1] == (RETURNED, NORMAL)


def test_d_to_b_under_a_new_number_when_it_recurs() -> None:
    """What comes back before it was seen is a new episode with a number of its own, and says so."""
    case = standing()
    case.good(60)
    assert case.hot(100) == UNACKNOWLEDGED
    assert (case.alarm.number, case.alarm.episode, case.alarm.since) == (2, 2, at(100).utc)
    assert case.told[-1].cause == "came back before it was acknowledged"
    assert case.arrows()[-1] == (RETURNED, UNACKNOWLEDGED)


@pytest.mark.parametrize("seen", [False, True])
def test_into_a_shelf_and_out_by_time(seen: bool) -> None:
    """Out of a shelf a condition that stands is unacknowledged, whatever was acknowledged before."""
    case = standing()
    if seen:
        case.ack(5)
    assert case.shelve(10, 600) == SHELVED
    shelved = case.told[-1]
    assert case.wait(609.9) == SHELVED
    assert case.wait(610) == UNACKNOWLEDGED
    assert (shelved.cause, case.told[-1].cause) == (Shelved(600.0), "shelf ended")
    assert case.alarm.shelved_until is None


@pytest.mark.parametrize("answers", [True, False])
def test_a_second_shelf_over_what_was_answered_asks_in_the_steps_of_an_answer(answers: bool) -> None:
    """Who answered, and makes it quiet each time that it asks, hears it at the end of the first shelf, and from then on as seldom as who
    only answers; whether or not each shelf comes with another answer."""
    rule = replace(AT_ONCE, re_alarm_s=600.0, respond_min=30.0)
    case, told_s = standing(rule), []
    second = 10.0
    case.ack(second)
    case.shelve(second, 900)
    while second < 14 * 3600:
        second += 10.0
        case.hot(second)
        if case.wait(second) == UNACKNOWLEDGED:
            told_s.append(second)
            if answers:
                case.ack(second)
            case.shelve(second, 900)
    assert told_s == [910.0, 910.0 + 14_400, 910.0 + 14_400 + 28_800]


def test_a_shelf_over_what_nobody_answered_ends_as_news_each_time() -> None:
    """To make it quiet is to be told when that is over, as long as nobody has said that it is seen."""
    case = standing()
    for n in range(3):
        case.shelve(10 + 1000 * n, 600)
        assert case.wait(610 + 1000 * n) == UNACKNOWLEDGED


def test_a_shelf_over_what_was_answered_and_is_well_asks_nothing() -> None:
    """It comes and goes, and is gone at the end of the shelf: nothing is asked, and what is back is asked about in its own time."""
    case = standing(replace(AT_ONCE, off_delay_s=3600.0, re_alarm_s=600.0, respond_min=30.0))
    case.ack(5)
    case.shelve(10, 600)
    case.good(500)
    assert case.wait(610) == ACKNOWLEDGED
    assert case.told[-1].cause == "shelf ended"
    case.hot(700)
    assert case.wait(5 + 30 * 60 - 1) == ACKNOWLEDGED
    assert case.wait(5 + 30 * 60) == UNACKNOWLEDGED


def test_out_of_a_shelf_by_hand() -> None:
    """A shelf that a person takes off is judged the same way, and says who did it."""
    case = standing()
    case.ack(5)
    case.shelve(10)
    assert case.unshelve(20) == UNACKNOWLEDGED
    assert (case.told[-1].cause, case.told[-1].who) == ("unshelved", "sam")
    assert case.unshelve(21) == UNACKNOWLEDGED  # there is none any more
    assert len(case.told) == 4


def test_under_a_shelf_the_condition_is_followed() -> None:
    """What ends under a shelf is over when the shelf ends: normal when it was seen, returned when not; and the record has its end."""
    for seen, after in ((True, NORMAL), (False, RETURNED)):
        case = standing()
        if seen:
            case.ack(5)
        case.shelve(10)
        assert case.good(100) == SHELVED
        assert case.told[-1].cause == "back within its limit"
        assert case.told[-1].alarm.ended == at(100).utc
        assert case.wait(610) == after


def test_what_begins_under_a_shelf_is_news_when_it_ends() -> None:
    """An episode that begins under a shelf is recorded then, and unacknowledged when the shelf ends."""
    case = Case(AT_ONCE)
    assert case.shelve(0) == SHELVED
    assert case.hot(100) == SHELVED
    assert case.told[-1].cause == "beyond its limit"
    assert case.wait(600) == UNACKNOWLEDGED
    assert (case.alarm.number, case.alarm.since) == (1, at(100).utc)


def test_a_calm_shelf_ends_quietly() -> None:
    """A shelf over nothing ends in normal."""
    case = Case(AT_ONCE)
    case.shelve(0)
    assert case.wait(600) == NORMAL


def test_suppressed_by_design_and_back() -> None:
    """Suppression covers an alarm until its premise holds again; then what stands is unacknowledged."""
    case = standing()
    case.ack(5)
    assert case.suppress(10) == SUPPRESSED
    assert case.told[-1].cause == Suppressed(NO_EGGS)
    assert case.suppress(11) == SUPPRESSED
    assert case.hot(12) == SUPPRESSED
    assert case.unsuppress(20) == UNACKNOWLEDGED
    assert case.unsuppress(21) == UNACKNOWLEDGED
    assert [t.state for t in case.told] == [UNACKNOWLEDGED, ACKNOWLEDGED, SUPPRESSED, UNACKNOWLEDGED]


def test_out_of_service_and_back() -> None:
    """Out of service is a person's word, and coming back judges anew."""
    case = standing()
    case.ack(5)
    assert case.service(10, True) == OUT_OF_SERVICE
    assert case.service(11, True) == OUT_OF_SERVICE
    assert case.service(20, False) == UNACKNOWLEDGED
    assert [(t.cause, t.who) for t in case.told[-2:]] == [("taken out of service", "sam"), ("back in service", "sam")]


def test_out_of_service_for_a_time() -> None:
    """It comes back by itself, whether or not the clock is set, and what stands then is news; another end replaces the one before."""
    case = standing()
    case.ack(5)
    case._adopt(set_out_of_service(case.alarm, out=True, who="sam", now=at(10), for_s=3600.0))
    assert case.wait(3600) == OUT_OF_SERVICE
    case._adopt(set_out_of_service(case.alarm, out=True, who="kim", now=at(20), for_s=7200.0))
    assert (case.told[-1].cause, case.told[-1].who) == (
        "taken out of service",
        "kim",
    )  # else the record has the old end
    assert case.wait(7219.9) == OUT_OF_SERVICE
    assert state_of(pass_time(case.alarm, at(7220), case.rule)[0]) == UNACKNOWLEDGED
    unsure = replace(at(7221), clock_ok=False, utc=T0 - timedelta(days=20_000))
    assert state_of(pass_time(case.alarm, unsure, case.rule)[0]) == UNACKNOWLEDGED
    assert case.wait(7221) == UNACKNOWLEDGED
    assert (case.alarm.out_until, case.told[-1].cause) == (None, "its time out of service is over")


def test_an_end_that_a_wrong_clock_made_far_too_late() -> None:
    """A start under a clock of years ago finds an end years from now: thirty days at most."""
    case = standing()
    case._adopt(set_out_of_service(case.alarm, out=True, who="sam", now=at(0), for_s=3600.0))
    case.alarm = replace(case.alarm, out_until_mono_s=MONO0_S + 1e9)
    assert case.wait(10) == OUT_OF_SERVICE
    assert case.alarm.out_until_mono_s == MONO0_S + 10 + 30 * 86_400.0


@pytest.mark.parametrize("answered", [False, True])
def test_what_is_well_just_now_is_not_asked_about(answered: bool) -> None:
    """It waits until it is beyond its limit again, and asks at once then; where nothing more is heard of it, it asks all the same."""
    rule = replace(RULE, off_delay_s=900.0, respond_min=5.0)
    case = Case(rule)
    for second in (0, 10, 20):
        case.hot(second)
    if answered:
        case.ack(30)

    def asks(second: float) -> bool:
        return unanswered(case.alarm, at(second), rule) or case.wait(second) != (
            ACKNOWLEDGED if answered else UNACKNOWLEDGED
        )

    case.good(100)
    assert not any(asks(second) for second in (400, 999, 1000, 1899))
    heard, case.alarm = (
        case.alarm,
        step(case.alarm, Judgement(OUT, at(950).utc, 39.5, LIMIT), at(950), rule=rule, next_number=2)[0],
    )
    assert asks(950)
    case.alarm = heard
    assert asks(1900)  # nothing came after the reading that was well: the slowest probe would have spoken by now


def test_the_longest_time_out_of_service() -> None:
    """Thirty days, and not a moment more."""
    longest_s = 30 * 86_400.0
    out, _ = set_out_of_service(open_alarm(), out=True, who="sam", now=at(0), for_s=longest_s)
    assert out.out_until == at(longest_s).utc
    with pytest.raises(AlarmError, match="out of service for 721 h, expected more than 0 and at most 30 days"):
        set_out_of_service(open_alarm(), out=True, who="sam", now=at(0), for_s=longest_s + 3600.0)
    with pytest.raises(AlarmError, match="expected more than 0 and at most 30 days"):
        set_out_of_service(open_alarm(), out=True, who="sam", now=at(0), for_s=longest_s + 1.0)


@pytest.mark.parametrize("for_s", [0.0, -5.0, math.inf, math.nan, 31 * 86_400.0])
def test_out_of_service_for_no_time(for_s: float) -> None:
    """No end that is none, and none that nobody would remember."""
    with pytest.raises(AlarmError, match="more than 0 and at most 30 days"):
        set_out_of_service(standing().alarm, out=True, who="sam", now=at(10), for_s=for_s)
    out, _ = set_out_of_service(standing().alarm, out=True, who="sam", now=at(10), for_s=0.5)
    assert out.out_until_mono_s == MONO0_S + 10.5


def test_covers_lie_over_each_other() -> None:
    """Out of service outranks suppression, and that a shelf; an alarm under two covers is judged when the last is lifted."""
    case = standing()
    case.ack(1)
    case.shelve(2, 600)
    case.suppress(3)
    assert case.service(4, True) == OUT_OF_SERVICE
    assert case.service(5, False) == SUPPRESSED
    assert case.unsuppress(6) == SHELVED
    assert case.alarm.acknowledged  # nothing was judged yet
    assert case.unshelve(7) == UNACKNOWLEDGED


def test_what_changes_under_a_cover_is_written() -> None:
    """An alarm out of service whose machine is emptied, or that is shelved: its state stays, and the record has the row, or a restart would
    forget what lies under."""
    case = standing()
    case.service(1, True)
    changes: list[Callable[[], str]] = [
        lambda: case.suppress(2),
        lambda: case.unsuppress(3),
        lambda: case.shelve(4, 600),
        lambda: case.unshelve(5),
    ]
    for change in changes:
        rows = len(case.told)
        assert change() == OUT_OF_SERVICE
        assert [(t.state_before, t.state) for t in case.told[rows:]] == [(OUT_OF_SERVICE, OUT_OF_SERVICE)]


def test_a_shelf_that_ends_under_another_cover_is_gone() -> None:
    """A shelf's time runs under a cover too."""
    case = standing()
    case.shelve(0, 600)
    case.service(1, True)
    assert case.wait(600) == OUT_OF_SERVICE
    assert case.alarm.shelved_until is None
    assert case.service(700, False) == UNACKNOWLEDGED


def test_nothing_to_acknowledge() -> None:
    """Acknowledging what is normal, seen or covered is refused in one line."""
    for prepare, state in (
        (lambda c: None, "normal"),
        (lambda c: (c.hot(0), c.ack(1)), "acknowledged"),
        (lambda c: (c.hot(0), c.shelve(1)), "shelved"),
        (lambda c: (c.hot(0), c.suppress(1)), "suppressed by design"),
        (lambda c: (c.hot(0), c.service(1, True)), "out of service"),
    ):
        case = Case(AT_ONCE)
        prepare(case)
        with pytest.raises(AlarmError, match=rf"^alarm {case.alarm.number}: {state}, nothing to acknowledge$"):
            case.ack(2)


@pytest.mark.parametrize("priority", PRIORITIES)
def test_the_longest_shelf_of_a_priority(priority: str) -> None:
    """No shelf is longer than its priority allows, none is of no length, and none is permanent."""
    longest = MAX_SHELF_S[priority]
    case = Case(replace(AT_ONCE, priority=priority))
    case.hot(0)
    for wrong in (0.0, -1.0, longest + 0.001, float("inf"), float("nan")):
        with pytest.raises(
            AlarmError, match=rf"expected more than 0 and at most {longest / 60:g} min for priority {priority}"
        ):
            case.shelve(1, wrong)
    assert case.shelve(1, longest) == SHELVED
    assert case.wait(1 + longest) == UNACKNOWLEDGED


@pytest.mark.parametrize("for_s", [0.0, -60.0, math.nan])
def test_a_shelf_for_no_time(for_s: float) -> None:
    """It must be for some time, however short."""
    with pytest.raises(AlarmError, match="expected more than 0 and at most 60 min"):
        shelve(open_alarm(), for_s, "sam", now=at(0), rule=RULE)
    assert shelve(open_alarm(), 0.5, "sam", now=at(0), rule=RULE)[0].shelved_until_mono_s == MONO0_S + 0.5


def test_a_shelf_set_anew_is_recorded() -> None:
    """Shelving what is shelved moves its end, within the priority's longest from now, and leaves a row: after a restart the record
    would otherwise know the old end."""
    case = standing()
    case.shelve(0, 600)
    assert case.shelve(300, 60) == SHELVED
    assert case.told[-1].cause == Shelved(60.0)
    assert case.told[-1].alarm.shelved_until == at(360).utc
    assert case.wait(360) == UNACKNOWLEDGED


def test_a_shelf_resumed_under_a_wrong_clock_is_not_for_years() -> None:
    """A shelf whose end a new run tells from a label, under a clock that is decades behind, still ends within its priority's longest."""
    case = standing()
    case.shelve(0, 600)
    case.alarm = replace(case.alarm, shelved_until_mono_s=MONO0_S + 50 * 365 * 86_400.0)
    assert case.wait(100) == SHELVED
    assert case.wait(100 + MAX_SHELF_S["high"] - 1) == SHELVED
    assert case.wait(100 + MAX_SHELF_S["high"]) == UNACKNOWLEDGED


# Delays and the deadband.


def test_one_old_reading_and_passing_time_raise_nothing() -> None:
    """After a single reading beyond the limit, hours without another raise nothing here."""
    case = Case()
    case.hot(0)
    for second in range(1, 7_200, 60):
        assert case.wait(second) == NORMAL
    assert case.told == []


def test_the_on_delay_begins_anew_when_a_reading_is_not_out() -> None:
    """Any reading that is not beyond the limit, in the deadband too, begins the on-delay anew."""
    for other in (IN, BETWEEN):
        case = Case()
        case.hot(0)
        case.hot(10)
        assert case.judge(15, other) == NORMAL
        assert case.hot(20) == NORMAL
        assert case.hot(39) == NORMAL
        assert case.hot(40) == UNACKNOWLEDGED
        assert case.alarm.since == at(20).utc


def test_the_off_delay_begins_anew_when_a_reading_is_not_in() -> None:
    """An alarm goes once every reading for the off-delay was back by the deadband."""
    for other in (OUT, BETWEEN):
        case = Case()
        for second in (0, 10, 20):
            case.hot(second)
        case.good(30)
        case.good(80)
        assert case.judge(85, other) == UNACKNOWLEDGED
        assert case.good(90) == UNACKNOWLEDGED
        assert case.good(149) == UNACKNOWLEDGED
        assert case.good(150) == RETURNED
        assert case.alarm.ended == at(90).utc


def test_the_deadband_is_for_going_only() -> None:
    """Between the limit and the way back nothing begins, and nothing that stands ends."""
    case = Case(AT_ONCE)
    for second in range(0, 1_000, 10):
        assert case.between(second) == NORMAL
    assert case.hot(1_000) == UNACKNOWLEDGED
    for second in range(1_010, 5_000, 10):
        assert case.between(second) == UNACKNOWLEDGED
    assert case.good(5_000) == RETURNED


def test_time_goes_on_by_the_forward_clock_alone() -> None:
    """A label clock that is set by hours neither completes a delay nor ends a shelf."""
    case = Case()
    case.hot(0)
    jumped = Now(MONO0_S + 10, T0 + timedelta(hours=9))
    case.alarm, told = step(case.alarm, Judgement(OUT, jumped.utc, 39.5, LIMIT), jumped, rule=RULE, next_number=1)
    assert told == ()
    case = standing()
    case.shelve(0, 600)
    assert pass_time(case.alarm, Now(MONO0_S + 10, T0 + timedelta(hours=9)), RULE)[1] == ()


def test_a_standing_alarm_shows_the_value_of_now_and_the_worst() -> None:
    """The value follows every reading, down as well as up; the worst stays the furthest from the limit."""
    case = standing()
    case.hot(10, 41.0)
    case.hot(20, 39.2)
    assert (case.alarm.value, case.alarm.worst) == (39.2, 41.0)
    case.between(30)
    assert (case.alarm.value, case.alarm.worst) == (38.9, 41.0)
    case.ack(40)
    case.wait(340)
    assert case.told[-1].alarm.value == 38.9


def test_the_worst_of_a_low_alarm_is_the_lowest() -> None:
    """Below a low limit the worst is the lowest value."""
    case = Case(AT_ONCE)
    for second, value in enumerate((35.0, 33.0, 34.5)):
        case.judge(second, OUT, value)
    assert case.alarm.worst == 33.0


@pytest.mark.parametrize(("values", "limits"), [((62.0, 77.0), (60.0, 75.0)), ((43.0, 29.0), (45.0, 31.0))])
def test_the_worst_is_the_farthest_also_where_the_limit_moved(
    values: tuple[float, float], limits: tuple[float, float]
) -> None:
    """Another stage has other limits: as far beyond its own as the one before was beyond its own is no less bad."""
    case = Case(AT_ONCE)
    for second, (value, limit) in enumerate(zip(values, limits, strict=True)):
        case.alarm, _ = step(
            case.alarm, Judgement(OUT, at(second).utc, value, limit), at(second), rule=AT_ONCE, next_number=1
        )
    assert (case.alarm.value, case.alarm.worst) == (values[1], values[1])


def test_an_episode_begins_with_its_own_facts() -> None:
    """A second episode has nothing of the first one's worst value, end or telling."""
    case = standing()
    case.hot(1, 45.0)
    case.ack(2)
    case.good(100)
    case.alarm = replace(case.alarm, told=True)
    hot = Judgement(OUT, at(200).utc, 39.1, LIMIT, "dry_bulb_c")
    again, _ = step(case.alarm, hot, at(200), rule=case.rule, next_number=2)
    assert (again.worst, again.ended, again.told) == (39.1, None, False)


# Random stories.


class Model:
    """The same life-cycle, written another way: a list of verdict spans instead of pending times."""

    def __init__(self, rule_: Rule) -> None:
        self.rule = rule_
        self.on = self.seen = False
        self.returned = False
        self.covers: dict[str, float] = {}  # name: when it ends (for the shelf), else infinity
        self.run: tuple[str, float] | None = None  # (verdict since, second): an unbroken run of one verdict
        self.episodes = 0
        self.asked = 0.0
        self.again, self.known, self.bouts, self.gone = 0, False, 0, -1e18
        self.rested = False  # since it came again

    def reading(self, second: float, verdict: str) -> None:
        if self.run is None or self.run[0] != verdict:
            was = self.run
            if (
                self.on and self.bouts >= 2 and was is not None and was[0] == "in"
            ):  # and perhaps between the two, before it is out
                self.rested = self.rested or second - was[1] >= self.rule.off_delay_s
            if self.on and verdict == "out" and self.rested:
                self.bouts, self.rested = self.bouts + 1, False
                if self.bouts == 3:
                    self.seen, self.known, self.again, self.asked = False, False, 0, second
            self.run = (verdict, second)
        lasted = second - self.run[1]
        if not self.on and verdict == "out" and lasted >= self.rule.on_delay_s:
            self.on, self.seen, self.returned, self.asked = True, False, False, second
            self.episodes += 1
            self.again, self.known, self.rested = 0, False, False
            self.bouts = self.bouts + 1 if second - self.gone <= 7200.0 else 1
        elif self.on and verdict == "in" and lasted >= self.over_after_s():
            self.on, self.returned, self.gone = False, not self.seen, second

    def time(self, second: float) -> None:
        if self.covers.get("shelf", second + 1) <= second:
            self.shelf_over(second)
        elif self.on and self.seen and not self.covers and second - self.asked >= self.quiet_s():
            self.seen, self.asked = False, second
            self.again += 1

    def quiet_s(self) -> float:
        """How long whoever has seen it is left in peace: 3 h, then 4, then 8; and as long as it is well, and a quarter of an hour."""
        steps = (10_800.0, 14_400.0, 28_800.0)
        quiet = steps[min(self.again, 2)]
        if self.run is None or self.run[0] != "in":
            return quiet
        return max(quiet, self.run[1] + self.over_after_s() + 900.0 - self.asked)

    def over_after_s(self) -> float:
        """How long it must have been well, to be over."""
        soon = {0: 0.0, 1: 0.0, 2: 900.0}.get(self.bouts, 7200.0)
        return max(self.rule.off_delay_s, soon)

    def shelf_over(self, second: float) -> None:
        """By itself: what was answered asks once at the end of a shelf, and then, or while it is well, in the steps of an answer."""
        if len(self.covers) == 1 and self.on and self.known:
            well = self.run is not None and self.run[0] == "in"
            if self.again > 0 or well:
                del self.covers["shelf"]
                self.seen = True  # by whoever made it quiet
                return
            self.again += 1
        self.lift("shelf", second)

    def lift(self, cover: str, second: float) -> None:
        if self.covers.pop(cover, None) is not None and not self.covers and self.on:
            self.seen, self.asked = False, second

    def acknowledge(self, second: float) -> bool:
        if self.covers or not ((self.on and not self.seen) or self.returned):
            return False
        self.seen, self.returned, self.asked = True, False, second
        self.again = self.again if self.known else 0
        self.known = True
        return True

    def state(self) -> str:
        for cover, name in (("service", OUT_OF_SERVICE), ("premise", SUPPRESSED), ("shelf", SHELVED)):
            if cover in self.covers:
                return name
        if self.on:
            return ACKNOWLEDGED if self.seen else UNACKNOWLEDGED
        return RETURNED if self.returned else NORMAL


class RandomStories(RuleBasedStateMachine):
    """Readings, a person's acts and passing time in any order, a second or more apart."""

    def __init__(self) -> None:
        super().__init__()
        self.second = 0.0
        self.shelf_ends: float | None = None
        self.case = Case()
        self.model = Model(RULE)

    @initialize(
        on_delay_s=st.sampled_from([0.0, 20.0]),
        off_delay_s=st.sampled_from([0.0, 60.0]),
        priority=st.sampled_from(PRIORITIES),
    )
    def begin(self, on_delay_s: float, off_delay_s: float, priority: str) -> None:
        rule_ = replace(RULE, on_delay_s=on_delay_s, off_delay_s=off_delay_s, priority=priority)
        self.case, self.model = Case(rule_), Model(rule_)

    def _tick(self) -> None:
        """The engine ticks before every item."""
        self.case.wait(self.second)
        self.model.time(self.second)
        if self.shelf_ends is not None and self.second >= self.shelf_ends:
            assert self.case.alarm.shelved_until is None, "the shelf outlived its end"
            self.shelf_ends = None

    @rule(verdict=st.sampled_from(["in", "between", "out"]), after_s=st.integers(1, 90))
    def reading(self, verdict: str, after_s: int) -> None:
        self.second += after_s
        self._tick()
        self.case.judge(self.second, {"in": IN, "between": BETWEEN, "out": OUT}[verdict])
        self.model.reading(self.second, verdict)

    @rule(after_s=st.sampled_from([1, 60, 299, 300, 900, 3_600, 30_000]))
    def silence(self, after_s: int) -> None:
        self.second += after_s
        self._tick()

    @rule()
    def acknowledge(self) -> None:
        expected = self.model.acknowledge(self.second)
        try:
            self.case.ack(self.second)
        except AlarmError:
            assert not expected, "refused what could be acknowledged"
        else:
            assert expected, "acknowledged what could not be"

    @rule(share=st.floats(0.01, 1.5))
    def shelve(self, share: float) -> None:
        longest = MAX_SHELF_S[self.case.rule.priority]
        try:
            self.case.shelve(self.second, share * longest)
        except AlarmError:
            assert share > 1.0
            return
        assert share <= 1.0
        self.shelf_ends = self.second + share * longest
        self.model.covers["shelf"] = self.shelf_ends

    @precondition(lambda self: self.shelf_ends is not None)
    @rule()
    def unshelve(self) -> None:
        self.case.unshelve(self.second)
        self.model.lift("shelf", self.second)
        self.shelf_ends = None

    @rule(covered=st.booleans())
    def premise(self, covered: bool) -> None:
        if covered:
            self.case.suppress(self.second)
            self.model.covers["premise"] = float("inf")
        else:
            self.case.unsuppress(self.second)
            self.model.lift("premise", self.second)

    @rule(out=st.booleans())
    def service(self, out: bool) -> None:
        self.case.service(self.second, out)
        if out:
            self.model.covers["service"] = float("inf")
        else:
            self.model.lift("service", self.second)

    @invariant()
    def one_state_and_the_models(self) -> None:
        assert state_of(self.case.alarm) in STATES
        assert state_of(self.case.alarm) == self.model.state()

    @invariant()
    def episodes_are_the_models(self) -> None:
        assert self.case.alarm.episode == self.model.episodes == self.case.alarm.number
        begun = {
            t.alarm.episode
            for t in self.case.told
            if isinstance(t.cause, Chattering) or str(t.cause).startswith(("beyond", "came back"))
        }
        assert len(begun) == self.model.episodes

    @invariant()
    def transitions_join(self) -> None:
        """Each transition starts where the last one ended, and the last one ends in the present state."""
        states = [NORMAL]
        for told in self.case.told:
            assert told.state_before == states[-1]
            states.append(told.state)
        assert states[-1] == state_of(self.case.alarm)

    @invariant()
    def what_stands_uncovered_and_unseen_was_told(self) -> None:
        """A standing condition that nobody acknowledged and nothing covers shows as unacknowledged: nothing else hides it."""
        alarm = self.case.alarm
        if alarm.condition and not alarm.covered and not alarm.acknowledged:
            assert state_of(alarm) == UNACKNOWLEDGED


TestRandomStories: Any = RandomStories.TestCase
TestRandomStories.settings = settings(max_examples=100, stateful_step_count=50, deadline=None)


def test_no_act_changes_the_condition() -> None:
    """What a person or the plan does lies over an alarm or notes that it was seen; whether it is too hot, only readings tell."""
    base = standing().alarm
    now = at(10)
    for after, _ in (
        acknowledge(base, "sam", now),
        shelve(base, 60.0, "sam", now=now, rule=RULE),
        unshelve(base, now),
        suppress(base, "why", now=now),
        unsuppress(base, now, "why"),
        set_out_of_service(base, out=True, who="sam", now=now),
    ):
        assert after.condition == base.condition
        assert after.number == base.number


@pytest.mark.parametrize(
    ("priority", "longest_min"), [("low", 480), ("medium", 120), ("high", 60), ("critical", 15)]
)  # written out here, so that the test does not move with the program
def test_how_long_a_shelf_may_be(priority: str, longest_min: int) -> None:
    """The longest shelf is taken; a second more is refused with the limit in minutes."""
    case = standing()
    rule = replace(RULE, priority=priority)
    shelved, (transition,) = shelve(case.alarm, longest_min * 60.0, "sam", now=at(30), rule=rule)
    assert (shelved.shelved_until, transition.cause) == (
        at(30 + longest_min * 60).utc,
        Shelved(longest_min * 60.0),
    )
    with pytest.raises(
        AlarmError, match=rf"expected more than 0 and at most {longest_min} min for priority {priority}$"
    ):
        shelve(case.alarm, longest_min * 60.0 + 1.0, "sam", now=at(30), rule=rule)


def test_an_alarm_that_never_began_says_nothing() -> None:
    """No episode, nothing over it, nothing told, nothing to acknowledge, no delay that runs."""
    new = Alarm("setter-1", "dry-bulb-high-alarm")
    assert state_of(new) == NORMAL
    assert (new.number, new.episode, new.condition, new.acknowledged, new.told) == (0, 0, False, True, False)
    assert not new.covered
    assert (new.since, new.ended, new.value, new.worst, new.limit, new.about) == (None, None, None, None, None, "")
    assert (new.asked_mono_s, new.pending_mono_s, new.pending_at, new.shelved_until_mono_s) == (None, None, None, None)
    assert (new.times, new.asked, new.answered, new.suppressed, new.out_of_service) == (0, 0, False, "", False)


def test_what_asks_again_under_a_cover_changes_nothing() -> None:
    """An acknowledged alarm that stands too long while something lies over it has no new state, and so no row."""
    begun = Alarm("setter-1", "dry-bulb-high-alarm", number=1, condition=True, asked_mono_s=at(0).mono_s)
    for over in ({"out_of_service": True}, {"suppressed": "empty"}):
        stepped, transitions = pass_time(replace(begun, **over), at(301), RULE)
        assert transitions == ()
        assert state_of(stepped) == state_of(replace(begun, **over))


# Edges: a moment before and the moment itself.


def open_alarm(**facts: object) -> Alarm:
    """An alarm that stands, and was last told at second 0."""
    alarm = Alarm("setter-1", "dry-bulb-high-alarm", 3, 1, condition=True, acknowledged=False, asked_mono_s=MONO0_S)
    return replace(alarm, **facts)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("facts", "second", "re_alarm_s", "told"),
    [
        ({}, 10_800.0, 10_800.0, True),
        ({}, 10_799.9, 10_800.0, False),
        ({}, 1e6, None, False),
        ({"condition": False}, 1e6, 300.0, False),
        ({"asked_mono_s": None}, 1e6, 300.0, False),
        ({"suppressed": "no eggs in it"}, 1e6, 300.0, False),
        ({"out_of_service": True}, 1e6, 300.0, False),
        ({"shelved_until": T0 + timedelta(days=99)}, 1e6, 300.0, False),
    ],
)
def test_when_what_stands_is_told_again(
    facts: dict[str, object], second: float, re_alarm_s: float | None, told: bool
) -> None:
    """After re_alarm_s, while it stands and nothing lies over it: what nobody answered is told again, what was acknowledged asks anew;
    neither of the two is taken for the other."""
    rule_ = replace(RULE, re_alarm_s=re_alarm_s)
    unseen, seen = open_alarm(**facts), open_alarm(**facts, acknowledged=True)
    assert unanswered(unseen, at(second), rule_) is told
    assert not unanswered(seen, at(second), rule_)
    assert pass_time(unseen, at(second), rule_) == (unseen, ())
    again, transitions = pass_time(seen, at(second), rule_)
    assert (again.acknowledged, again.asked_mono_s == at(second).mono_s) == (not told, told)
    assert [(t.state_before, t.state, t.cause) for t in transitions] == (
        [(ACKNOWLEDGED, UNACKNOWLEDGED, "still standing")] if told else []
    )


@pytest.mark.parametrize(("second", "state"), [(599.9, SHELVED), (600.0, UNACKNOWLEDGED)])
def test_a_shelf_ends_at_its_second(second: float, state: str) -> None:
    """By passing time, and says so; who is told is told from then on."""
    shelved, _ = shelve(open_alarm(acknowledged=True), 600.0, "sam", now=at(0), rule=RULE)
    assert (shelved.shelved_until, shelved.shelved_until_mono_s) == (T0 + timedelta(seconds=600), MONO0_S + 600.0)
    alarm, transitions = pass_time(shelved, at(second), RULE)
    assert state_of(alarm) == state
    assert [t.cause for t in transitions] == ([] if state == SHELVED else ["shelf ended"])
    if state == UNACKNOWLEDGED:
        assert (alarm.shelved_until_mono_s, alarm.asked_mono_s) == (None, at(second).mono_s)


@pytest.mark.parametrize(("ahead_s", "until_s"), [(3600.0, 3600.0), (3601.0, 3600.0), (3599.0, 3599.0)])
def test_no_shelf_lasts_longer_than_one_may(ahead_s: float, until_s: float) -> None:
    """An hour for what is high, however far ahead a wrong label had put its end."""
    shelved = open_alarm(shelved_until=T0, shelved_until_mono_s=MONO0_S + ahead_s)
    assert pass_time(shelved, at(0), RULE)[0].shelved_until_mono_s == MONO0_S + until_s


@pytest.mark.parametrize(("second", "state"), [(19.9, NORMAL), (20.0, UNACKNOWLEDGED)])
def test_the_on_delay_to_the_moment(second: float, state: str) -> None:
    """Twenty seconds from the first look that found it; what begins then is since the first sample."""
    case = Case()
    case.hot(0)
    assert case.hot(second) == state
    assert case.alarm.since == (None if state == NORMAL else T0)
    assert (case.alarm.pending_at is None) is (state == UNACKNOWLEDGED)


@pytest.mark.parametrize(("second", "state"), [(159.9, UNACKNOWLEDGED), (160.0, RETURNED)])
def test_the_off_delay_to_the_moment(second: float, state: str) -> None:
    """A minute from the first look that found it within; it ended with the first sample within."""
    case = Case()
    case.hot(0)
    case.hot(20)
    case.good(100)
    assert case.good(second) == state
    assert case.alarm.ended == (None if state == UNACKNOWLEDGED else at(100).utc)


@pytest.mark.parametrize(
    ("limit", "values", "worst"),
    [
        (39.0, (39.5, 39.4), 39.5),
        (39.0, (39.5, 39.6), 39.6),
        (36.0, (35.5, 35.4), 35.4),
        (36.0, (35.5, 35.6), 35.5),
    ],
)
def test_the_worst_is_furthest_from_the_limit(limit: float, values: tuple[float, float], worst: float) -> None:
    """Above a high limit and below a low one."""
    alarm = Alarm("setter-1", "dry-bulb-high-alarm")
    for second, value in enumerate(values):
        looked = Judgement(OUT, at(second).utc, value, limit, "dry_bulb_c")
        alarm, _ = step(alarm, looked, at(second), rule=AT_ONCE, next_number=1)
    assert (alarm.value, alarm.worst, alarm.limit) == (values[1], worst, limit)


@pytest.mark.parametrize("condition", [True, False])
def test_what_is_over_with_its_limit_ended_now(condition: bool) -> None:
    """Where it stood; what had ended before ended then. No delay goes on."""
    alarm = open_alarm(
        condition=condition, acknowledged=True, ended=None if condition else T0, pending_mono_s=1.0, pending_at=T0
    )
    quiet, transitions = suppress(alarm, "no eggs in it", now=at(50), over=True)
    assert (quiet.condition, quiet.pending_mono_s, quiet.pending_at) == (False, None, None)
    assert quiet.ended == (at(50).utc if condition else T0)
    assert [(t.state, t.cause) for t in transitions] == [(SUPPRESSED, Suppressed(NO_EGGS))]
    still_, _ = suppress(alarm, "no eggs in it", now=at(50))
    assert (still_.condition, still_.pending_mono_s) == (condition, 1.0)
