"""The life-cycle of one alarm, as ANSI/ISA-18.2 (2016) and IEC 62682 describe it: one pure step function over separate facts.

The facts are kept apart (condition, acknowledged, shelved until, suppressed why, out of service) and the state is
derived from them, because a single state loses on the way into a shelf what must be known on the way out. What lies over
an alarm does not stop it: under a shelf the condition goes on being followed, so lifting the shelf shows the truth.

Deadband is reset-only: an alarm comes at its limit and goes once the value is back by the deadband. The on-delay counts
forward-clock time over which every fresh judgement said "out"; passing time alone never completes it, so one old reading and
silence raise nothing here (silence is an alarm of its own).

What comes and goes is chattering (ISA-18.2): from the third time on it is one episode, under one number, until it has been well for hours;
what came a second time is over only once it was well for a while. What a person is told of it again comes in ever longer steps, and in longer
ones once it was answered.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TypeAlias

from monitor.domain.alarms.about import About
from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import CRITICAL, HIGH, LOW, MEDIUM, Rule
from monitor.domain.readings.reading import Now
from monitor.domain.refusal import Refusal

NORMAL = "normal"
UNACKNOWLEDGED = "unacknowledged"
ACKNOWLEDGED = "acknowledged"
RETURNED = "returned to normal, unacknowledged"
SHELVED = "shelved"
SUPPRESSED = "suppressed by design"
OUT_OF_SERVICE = "out of service"

# Why an alarm is suppressed, as the record has it; what is told of it is `shown/about.py`'s.
NO_EGGS, NOT_JUDGED, GONE, CLOSED = "no eggs in it", "no such limit now", "no longer configured", "the batch is closed"
TAKEN_WHOLE = "its probe or machine is out of service"

STILL_STANDING = "still standing"  # the cause of a transition, or of a reminder, that says nothing new
MORE_URGENT = "more urgent than it was"
OTHER_ABOUT = "what it is about has changed"
BEYOND, CAME_BACK, BACK = "beyond its limit", "came back before it was acknowledged", "back within its limit"
SHELF_ENDED, TAKEN_OUT, BACK_IN_SERVICE = "shelf ended", "taken out of service", "back in service"
SERVICE_TIME_OVER = "its time out of service is over"
MAX_OUT_S = 30 * 86_400.0  # then somebody says again that it is under repair (judgement)
CONFIGURED_AGAIN, JUDGED_AGAIN = "configured again", "judged again"
IN, BETWEEN, OUT = 0, 1, 2  # what one judgement can say of a limit: within, inside the deadband, beyond

# Chattering: the third time within so long of the time before, and then it is over only once it was well for as long (judgement).
CHATTER_S, CHATTERS = 7200.0, 3
AGAIN_S = (
    900.0  # what came back soon is over only once it was well for so long: it may be the beginning of that (judgement)
)
UNHEARD_S = 900.0  # the slowest probe that may be configured has spoken once more by then
# The longest that what nobody answered is not told again: asking more often was measured to make people switch it off (judgement).
LONGEST_UNANSWERED_S = {LOW: 86_400.0, MEDIUM: 14_400.0, HIGH: 3600.0, CRITICAL: 3600.0}
AT_FIRST = 2  # so often it is told again at the rule's own pace: in the first minutes most is to be saved
_MAX_DOUBLINGS = 11  # past every limit from the shortest pace on, a minute; keeps the power small
# Whoever answered knows of it, and is asked once its time to respond is over; who answered that, too, must not forget it over a night.
ANSWERED_AGAIN_S = (14_400.0, 28_800.0)  # judgement

MAX_SHELF_S = {"low": 8 * 3600.0, "medium": 2 * 3600.0, "high": 3600.0, "critical": 900.0}  # no shelf is permanent


class AlarmError(Refusal):
    """A request about an alarm that cannot be met; the message is one line for a person."""


@fixed
class Judgement:
    """What one fresh look says of one rule's limit.

    verdict: IN, BETWEEN or OUT. at: when the sample was taken. about: the quantity, or what else the alarm is about.
    """

    verdict: int
    at: datetime
    value: float | None = None
    limit: float | None = None
    about: About = ""


@fixed
class Alarm:
    """The facts of one alarm. `subject` is the machine, probe or node it is about; number is what a person types to answer it.

    episode counts this alarm's activations; number names the present episode and is never used again.
    since: when the episode's condition began (its first sample beyond the limit, before the on-delay).
    times: how often it came, each time soon after the time before; from CHATTERS on it is chattering. gone_mono_s: when it last went.
    asked: how often the episode was told again; answered: whether anybody ever acknowledged it. begun_mono_s: when it began.
    out_until: when it comes back into service by itself; None: when a person puts it back. It and a shelf end by the forward clock.
    rested: whether, since it came again, it was well for as long as ends what comes once: out once more it has come again.
    """

    subject: str
    rule: str
    number: int = 0
    episode: int = 0
    condition: bool = False
    acknowledged: bool = True
    shelved_until: datetime | None = None
    shelved_until_mono_s: float | None = None
    suppressed: str = ""
    out_of_service: bool = False
    since: datetime | None = None
    ended: datetime | None = None
    value: float | None = None
    worst: float | None = None
    limit: float | None = None
    about: About = ""
    # Whether the episode's beginning was told to anyone, and its end not yet: only then is that told.
    told: bool = False
    asked_mono_s: float | None = None
    pending_mono_s: float | None = None
    pending_at: datetime | None = None
    times: int = 0
    gone_mono_s: float | None = None
    asked: int = 0
    answered: bool = False
    begun_mono_s: float | None = None
    out_until: datetime | None = None
    out_until_mono_s: float | None = None
    rested: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """(subject, rule): the alarm's identity."""
        return (self.subject, self.rule)

    @property
    def covered(self) -> bool:
        """Whether something lies over the alarm: shelved, suppressed by design or out of service."""
        return self.out_of_service or bool(self.suppressed) or self.shelved_until is not None

    @property
    def chattering(self) -> bool:
        """Whether it comes and goes."""
        return self.times >= CHATTERS

    @property
    def came_back(self) -> bool:
        """Whether it came again soon after the time before: it is over later, and what it may hide is not hidden while it rests."""
        return self.times > 1

    @property
    def resting(self) -> bool:
        """Whether it stands, and was within its limit when it was last judged."""
        return self.condition and self.pending_mono_s is not None


@fixed
class Shelved:
    """Why a state changed: a person made it quiet for so long, s."""

    for_s: float


@fixed
class Suppressed:
    """Why a state changed: nothing is to be judged there. why: NO_EGGS, NOT_JUDGED, GONE, CLOSED or TAKEN_WHOLE."""

    why: str


@fixed
class Chattering:
    """Why a state changed: it came again, for the so manieth time."""

    times: int


Cause: TypeAlias = str | Shelved | Suppressed | Chattering  # a text: of the few that the record, and JSON, name it by


@fixed
class Transition:
    """One change of an alarm's state: an append-only row with both times, cause, value, limit and who.

    said: what the alarm is about, in the words that the record keeps beside the facts; empty until they are made, as are those of the cause.
    """

    alarm: Alarm
    state_before: str
    state: str
    cause: Cause
    at: datetime
    mono_s: float
    who: str = ""
    said: str = ""


Step = tuple[Alarm, tuple[Transition, ...]]


def state_of(alarm: Alarm) -> str:
    """The one state that the facts add up to. What an administrator did outranks what logic did, and that a person's shelf."""
    if alarm.out_of_service:
        return OUT_OF_SERVICE
    if alarm.suppressed:
        return SUPPRESSED
    if alarm.shelved_until is not None:
        return SHELVED
    if alarm.condition:
        return ACKNOWLEDGED if alarm.acknowledged else UNACKNOWLEDGED
    return NORMAL if alarm.acknowledged else RETURNED


def step(alarm: Alarm, judgement: Judgement, now: Now, *, rule: Rule, next_number: int) -> Step:
    """One fresh judgement of the alarm's limit. next_number is taken if, and only if, an episode begins."""
    alarm = _rested(alarm, now, rule)
    if judgement.verdict == OUT:
        if alarm.rested:
            again = replace(_worse(alarm, judgement), times=alarm.times + 1, rested=False)
            # An end that was told with that of what is worse.
            over = again.chattering and not (again.told or again.covered)
            return _come_again(alarm, again, now) if again.times == CHATTERS or over else (again, ())
        if alarm.condition:
            return _worse(alarm, judgement), ()
        alarm, pending_s = _pending(alarm, judgement, now)
        if pending_s < rule.on_delay_s:
            return alarm, ()
        return _begin(alarm, judgement, now, number=next_number, may_chatter=rule.may_chatter)
    if not alarm.condition:
        return (alarm if alarm.pending_mono_s is None else replace(alarm, pending_mono_s=None, pending_at=None)), ()
    if judgement.verdict == BETWEEN:
        return replace(alarm, value=judgement.value, pending_mono_s=None, pending_at=None), ()
    alarm, pending_s = _pending(alarm, judgement, now)
    if pending_s < _off_delay_s(alarm, rule):
        return alarm, ()
    ended = replace(
        alarm,
        condition=False,
        ended=alarm.pending_at,
        pending_mono_s=None,
        pending_at=None,
        value=judgement.value,
        gone_mono_s=now.mono_s,
        rested=False,
    )
    return ended, _changes(alarm, ended, BACK, now=now)


def _rested(alarm: Alarm, now: Now, rule: Rule) -> Alarm:
    """On its way out once more the air may stay for long between the limit and what is well: that it rested is known from before."""
    within_s = alarm.pending_mono_s if alarm.condition and alarm.came_back else None
    if within_s is None or alarm.rested or now.mono_s - within_s < rule.off_delay_s:
        return alarm
    return replace(alarm, rested=True)


def _come_again(before: Alarm, alarm: Alarm, now: Now) -> Step:
    """It came again before the time before was over: news, whoever answered that, under the number that it has."""
    again = replace(alarm, acknowledged=False, answered=False, asked=0, asked_mono_s=now.mono_s)
    return again, _changes(before, again, Chattering(alarm.times), now=now)


def _pending(alarm: Alarm, judgement: Judgement, now: Now) -> tuple[Alarm, float]:
    """The alarm, of which it is said that it is otherwise than it stands, and for how long that was said, s."""
    if alarm.pending_mono_s is None:
        return replace(alarm, pending_mono_s=now.mono_s, pending_at=judgement.at), 0.0
    return alarm, now.mono_s - alarm.pending_mono_s


def pass_time(alarm: Alarm, now: Now, rule: Rule) -> Step:
    """What passing time alone does: a shelf ends, and an acknowledged alarm that stands too long asks again."""
    until_s = alarm.shelved_until_mono_s
    if until_s is not None:
        # After a restart the end is told from a label: a label clock that is wrong by years must not make a shelf of years.
        latest_s = now.mono_s + MAX_SHELF_S[rule.priority]
        if until_s > latest_s:
            alarm = replace(alarm, shelved_until_mono_s=latest_s)
        elif now.mono_s >= until_s:
            return unshelve(alarm, now, cause=SHELF_ENDED)
    until_s = alarm.out_until_mono_s
    if until_s is not None:
        if until_s > now.mono_s + MAX_OUT_S:
            alarm = replace(alarm, out_until_mono_s=now.mono_s + MAX_OUT_S)
        elif now.mono_s >= until_s:
            return _uncovered(alarm, _in_service(alarm), SERVICE_TIME_OVER, now=now, who="")
    if alarm.acknowledged and _is_due(alarm, now, rule):
        return ask(alarm, now)
    return alarm, ()


def unanswered(alarm: Alarm, now: Now, rule: Rule) -> bool:
    """Whether an alarm stands that nobody has acknowledged since it was last told, for as long as that may be."""
    return not alarm.acknowledged and _is_due(alarm, now, rule)


def again_s(alarm: Alarm, rule: Rule) -> float:
    """How long after it was last told a standing alarm is told again; infinity for never.

    First after the rule's re_alarm_s, then after twice as long each time, to a limit; what comes again soon has had its first minutes. Once it
    was answered it waits for its time to respond, where that is longer; answered again, for half a night and then for a night
    (`ANSWERED_AGAIN_S`).
    """
    if rule.re_alarm_s is None:
        return math.inf
    first_s, times = rule.re_alarm_s, max(0, alarm.asked - (0 if _came_soon(alarm) else AT_FIRST))
    if not alarm.answered:
        return max(first_s, min(first_s * 2.0 ** min(times, _MAX_DOUBLINGS), LONGEST_UNANSWERED_S[rule.priority]))
    first_s = max(first_s, rule.respond_min * 60.0)
    if alarm.asked == 0:
        return first_s
    return max(first_s, ANSWERED_AGAIN_S[min(alarm.asked, len(ANSWERED_AGAIN_S)) - 1])


def _came_soon(alarm: Alarm) -> bool:
    """Whether the same had gone only a short time before this episode began."""
    begun_s, gone_s = alarm.begun_mono_s, alarm.gone_mono_s
    return begun_s is not None and gone_s is not None and 0.0 <= begun_s - gone_s <= CHATTER_S


def asks_at_s(alarm: Alarm, rule: Rule) -> float:
    """When a standing alarm is told again, on the forward clock; infinity for never.

    Not while it rests: by the time that it is to be over, it is over. Where nothing more is heard of it by then, it asks again.
    """
    if alarm.asked_mono_s is None:
        return math.inf
    asks_s = alarm.asked_mono_s + again_s(alarm, rule)
    if alarm.pending_mono_s is None:
        return asks_s
    return max(asks_s, alarm.pending_mono_s + _off_delay_s(alarm, rule) + UNHEARD_S)


def _off_delay_s(alarm: Alarm, rule: Rule) -> float:
    if not alarm.came_back:
        return rule.off_delay_s
    return max(rule.off_delay_s, CHATTER_S if alarm.chattering else AGAIN_S)


def _is_due(alarm: Alarm, now: Now, rule: Rule) -> bool:
    if not alarm.condition or alarm.covered:
        return False
    return now.mono_s >= asks_at_s(alarm, rule)


def asks_along(alarm: Alarm, now: Now, rule: Rule) -> bool:
    """Whether it may ask again with another one of its machine: more than half of its own time is over, and it is not well at the moment."""
    if not alarm.condition or alarm.covered or alarm.resting or alarm.asked_mono_s is None:
        return False
    return 2.0 * (now.mono_s - alarm.asked_mono_s) >= again_s(alarm, rule)


def ask(alarm: Alarm, now: Now) -> Step:
    """What was acknowledged and stands asks anew."""
    again = replace(alarm, acknowledged=False, asked_mono_s=now.mono_s, asked=alarm.asked + 1)
    return again, _changes(alarm, again, STILL_STANDING, now=now)


def more_urgent(alarm: Alarm, now: Now) -> Step:
    """What stands has become more urgent than it was told: it is unacknowledged, and news."""
    again = replace(alarm, acknowledged=False, answered=False, asked=0, asked_mono_s=now.mono_s)
    return again, _changes(alarm, again, MORE_URGENT, now=now)


def acknowledge(alarm: Alarm, who: str, now: Now) -> Step:
    """A person has seen it. Raises AlarmError when there is nothing to acknowledge."""
    if alarm.acknowledged or alarm.covered:
        raise AlarmError(f"alarm {alarm.number}", f"{state_of(alarm)}, nothing to acknowledge")
    asked = alarm.asked if alarm.answered else 0
    seen = replace(alarm, acknowledged=True, answered=True, asked=asked, asked_mono_s=now.mono_s)
    return seen, _changes(alarm, seen, "acknowledged", now=now, who=who)


def shelve(alarm: Alarm, for_s: float, who: str, *, now: Now, rule: Rule) -> Step:
    """Quiet for a bounded time. Raises AlarmError when the time is not within the priority's longest shelf."""
    longest = MAX_SHELF_S[rule.priority]
    if not 0 < for_s <= longest:
        raise AlarmError(
            f"alarm {alarm.number}",
            f"shelve for {for_s / 60:g} min",
            f"more than 0 and at most {longest / 60:g} min for priority {rule.priority}",
        )
    until = now.utc.fromtimestamp(now.utc.timestamp() + for_s, tz=now.utc.tzinfo)
    shelved = replace(alarm, shelved_until=until, shelved_until_mono_s=now.mono_s + for_s)
    return shelved, _changes(alarm, shelved, Shelved(for_s), now=now, who=who)


def unshelve(alarm: Alarm, now: Now, *, cause: str = "unshelved", who: str = "") -> Step:
    """The shelf comes off; a condition that stands is unacknowledged, whatever was acknowledged before.

    But by itself, of an episode that was answered, only once, and not where it is well at the moment: who makes it quiet each time that it
    asks has seen it each time, and is asked in the steps of an answer, no more often than somebody who only answered.
    """
    if alarm.shelved_until is None:
        return alarm, ()
    bare = replace(alarm, shelved_until=None, shelved_until_mono_s=None)
    if cause == SHELF_ENDED and alarm.answered and alarm.condition and not bare.covered:
        if alarm.asked > 0 or alarm.resting:
            bare = replace(bare, acknowledged=True)
            return bare, _changes(alarm, bare, cause, now=now, who=who)
        bare = replace(bare, asked=alarm.asked + 1)
    return _uncovered(alarm, bare, cause, now=now, who=who)


def suppress(alarm: Alarm, why: str, *, now: Now, over: bool = False) -> Step:
    """Quiet by design, because its premise does not hold (an empty machine); nothing happens when it is so already.

    over: its limit is gone, so nothing can say any more that its condition stands.
    """
    if alarm.suppressed == why:
        return alarm, ()
    quiet = replace(alarm, suppressed=why)
    if over:
        ended = now.utc if alarm.condition else alarm.ended
        quiet = replace(quiet, condition=False, ended=ended, pending_mono_s=None, pending_at=None, rested=False)
    return quiet, _changes(alarm, quiet, Suppressed(why), now=now)


def unsuppress(alarm: Alarm, now: Now, cause: str) -> Step:
    """The premise holds again: a condition that stands is unacknowledged."""
    if not alarm.suppressed:
        return alarm, ()
    return _uncovered(alarm, replace(alarm, suppressed=""), cause, now=now, who="")


def set_out_of_service(alarm: Alarm, *, out: bool, who: str, now: Now, for_s: float | None = None) -> Step:
    """Taken out of, or back into, service by a person. for_s: then it comes back by itself; None: only by a person. Raises AlarmError for a
    time that is none, or longer than MAX_OUT_S."""
    if for_s is not None and not 0.0 < for_s <= MAX_OUT_S:
        raise AlarmError(
            f"alarm {alarm.number}",
            f"out of service for {for_s / 3600.0:g} h",
            f"more than 0 and at most {MAX_OUT_S / 86_400.0:g} days",
        )
    until = None if for_s is None else now.utc + timedelta(seconds=for_s)
    if alarm.out_of_service == out and alarm.out_until == until:
        return alarm, ()
    if out:
        until_mono_s = None if for_s is None else now.mono_s + for_s
        other = replace(alarm, out_of_service=True, out_until=until, out_until_mono_s=until_mono_s)
        return other, _changes(alarm, other, TAKEN_OUT, now=now, who=who)
    return _uncovered(alarm, _in_service(alarm), BACK_IN_SERVICE, now=now, who=who)


def _in_service(alarm: Alarm) -> Alarm:
    return replace(alarm, out_of_service=False, out_until=None, out_until_mono_s=None)


def _begin(alarm: Alarm, judgement: Judgement, now: Now, *, number: int, may_chatter: bool) -> Step:
    soon = may_chatter and alarm.gone_mono_s is not None and now.mono_s - alarm.gone_mono_s <= CHATTER_S
    begun = replace(
        alarm,
        number=number,
        episode=alarm.episode + 1,
        condition=True,
        acknowledged=False,
        since=alarm.pending_at,
        ended=None,
        value=judgement.value,
        worst=judgement.value,
        limit=judgement.limit,
        about=judgement.about,
        told=False,
        asked_mono_s=now.mono_s,
        pending_mono_s=None,
        pending_at=None,
        times=alarm.times + 1 if soon else 1,
        asked=0,
        answered=False,
        begun_mono_s=now.mono_s,
    )
    cause: Cause = CAME_BACK if not alarm.acknowledged else BEYOND
    if begun.chattering:
        cause = Chattering(begun.times)
    return begun, _changes(alarm, begun, cause, now=now)


def _worse(alarm: Alarm, judgement: Judgement) -> Alarm:
    """A standing alarm follows its value, its limit and whom it is about; the worst is the farthest on its side of the limit, wherever that was
    before."""
    value, worst = judgement.value, alarm.worst
    if value is not None and judgement.limit is not None and worst is not None:
        worst = max(worst, value) if value > judgement.limit else min(worst, value)
    return replace(
        alarm,
        value=value,
        worst=worst,
        limit=judgement.limit,
        about=judgement.about,
        pending_mono_s=None,
        pending_at=None,
    )


def _uncovered(before: Alarm, bare: Alarm, cause: str, *, now: Now, who: str) -> Step:
    if bare.condition and not bare.covered:
        bare = replace(bare, acknowledged=False, asked_mono_s=now.mono_s)
    # Written also where something else still lies over it: what is not in the record is forgotten by the next run.
    return bare, _changes(before, bare, cause, now=now, who=who)


def _changes(before: Alarm, after: Alarm, cause: Cause, *, now: Now, who: str = "") -> tuple[Transition, ...]:
    """What is written of it, also where something lies over it and its state stays the same."""
    return (Transition(after, state_of(before), state_of(after), cause, now.utc, now.mono_s, who),)
