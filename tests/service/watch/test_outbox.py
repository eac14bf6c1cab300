"""One contact's queue, with a clock that is moved by hand."""

from __future__ import annotations

import itertools
import math
from collections import deque
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.notice import Answered, Live, Notice, Reach, Standing, Today
from monitor.domain.needs.hearing import Hearing
from monitor.service.watch import outbox
from monitor.service.watch.notify import pass_through, standard_stages
from monitor.service.watch.outbox import Pace, Queue
from monitor.shown.phone.notices import OVER
from tests.delivery_port import notice
from tests.told import WORDS, about, facts

# Written out: taken from the program, they would move with it.
MAX_TRIES = 20  # half an hour, on average
WINDOW_S = 600.0


def longest(wait_s: float) -> float:
    """The jitter that always draws the upper end: shows the limits."""
    return wait_s


def queue_of(*notices: Notice) -> Queue:
    queue = Queue(longest)
    for one in notices:
        queue.offer(one, 0.0)
    return queue


def due_ids(queue: Queue, now_s: float = 0.0) -> list[int]:
    return [n.id for n in queue.next_due(now_s)]


def test_critical_goes_by_itself_then_the_most_urgent_first() -> None:
    """What is critical goes before the rest, which follows half a minute later: the most urgent first, of equals the oldest; low waits for its day."""
    queue = queue_of(
        notice(1, "low"), notice(2, "high"), notice(3, "critical"), notice(4, "medium"), notice(5, "critical")
    )
    assert due_ids(queue) == [3, 5]
    queue.sent([3, 5], 0.0)
    assert (due_ids(queue, 29.9), due_ids(queue, 30.0)) == ([], [2, 4])


def test_an_empty_queue_is_never_due() -> None:
    """Nothing waits, nothing is due, and there is no time to wake for."""
    queue = queue_of()
    assert queue.due_s() is None
    assert queue.next_due(1e9) == []


@pytest.mark.parametrize(
    ("priority", "waits"),
    [
        ("critical", [2, 4, 8, 16, 32, 60, 60]),
        ("high", [2, 4, 8, 16, 32, 60, 60]),
        ("medium", [2, 4, 8, 16, 32, 64, 128, 256, 300, 300]),
    ],
)
def test_waits_double_to_their_limit(priority: str, waits: list[float]) -> None:
    """Waits grow from 2 s, doubling, to 60 s for high and critical and 300 s for what is milder."""
    queue, now_s, seen = queue_of(notice(1, priority)), 1000.0, []
    for _ in waits:
        assert due_ids(queue, now_s) == [1]
        queue.failed([1], now_s)
        due_s = queue.due_s()
        assert due_s is not None
        assert queue.next_due(due_s - 0.001) == []
        seen.append(due_s - now_s)
        now_s = due_s
    assert seen == waits


def test_the_jitter_is_asked_for_each_wait() -> None:
    """The wait is what the jitter makes of the limit: full jitter may make it anything down to nothing."""
    asked: list[float] = []

    def jitter(wait_s: float) -> float:
        asked.append(wait_s)
        return wait_s / 4

    queue = Queue(jitter)
    queue.offer(notice(1), 0.0)
    queue.failed([1], 100.0)
    assert (asked, queue.due_s()) == ([2.0], 100.5)


@pytest.mark.parametrize("priority", ["high", "critical"])
def test_urgent_notices_are_never_given_up(priority: str) -> None:
    """After a thousand failures a high or critical notice still waits, a minute at most."""
    queue, now_s = queue_of(notice(1, priority)), 0.0
    for _ in range(1000):
        assert queue.failed([1], now_s) == []
        now_s += 60.0
        assert due_ids(queue, now_s) == [1]


@pytest.mark.parametrize(("priority", "now_s"), [("medium", 0.0), ("low", 26 * 3600.0)])
def test_mild_notices_end_after_twenty_tries(priority: str, now_s: float) -> None:
    """The twentieth failure ends a medium notice, and no earlier one does; of what is low only once the day of its summary is over."""
    queue, ended = queue_of(notice(1, priority)), []
    for attempt in range(1, MAX_TRIES + 1):
        ended.append((attempt, queue.failed([1], now_s)))
    assert [e for e in ended if e[1]] == [(20, [1])]
    assert queue.due_s() is None


def test_what_is_low_waits_for_the_next_day_whatever_the_service_does() -> None:
    """A service that is down for a morning loses nothing that is told once a day: twenty tries are over long before."""
    queue = queue_of(notice(1, "low"), summary(2, 1))
    for attempt in range(3 * MAX_TRIES):
        assert queue.failed([1, 2], attempt * 300.0) == []
    assert len(queue) == 2


def test_a_summary_and_what_it_says_are_one_message_after_a_failure_too() -> None:
    """What is low is not sent alone first, and then once more by the summary."""
    queue = queue_of(notice(1, "low"), summary(2, 1))
    assert sorted(due_ids(queue, 0.0)) == [1, 2]
    queue.failed([1, 2], 0.0)
    assert sorted(due_ids(queue, 1e4)) == [1, 2]


def test_a_mild_notice_is_not_ended_by_a_message_it_only_rides_along_in() -> None:
    """What was joined with something urgent shares its patience."""
    queue = queue_of(notice(1, "high"), notice(2, "low"))
    for _ in range(MAX_TRIES + 5):
        assert queue.failed([1, 2], 0.0) == []
    assert len(queue) == 2


def test_a_new_urgent_notice_does_not_wait_for_the_rest() -> None:
    """While the contact rests, a high notice that was never tried is due at once; a low one is not."""
    queue = queue_of(notice(1))
    queue.failed([1], 100.0)
    queue.offer(notice(2, "low"), 0.0)
    assert queue.next_due(100.5) == []
    queue.offer(notice(3, "high"), 0.0)
    assert due_ids(queue, 100.5)[0] == 3


def test_an_urgent_notice_shortens_the_rest_of_a_mild_one() -> None:
    """Once something urgent waits, the limit is its own 60 s."""
    queue = queue_of(notice(1, "low"))
    for _ in range(9):
        queue.failed([1], 0.0)
    assert queue.due_s() == 300.0
    queue.offer(notice(2), 0.0)
    assert due_ids(queue, 1.0)[0] == 2
    queue.failed([2], 1.0)
    assert queue.due_s() == 61.0


def test_after_a_success_what_was_tried_follows_at_once() -> None:
    """One that gets through shows that the service works: nothing rests any more, and waits begin at 2 s again."""
    queue = queue_of(notice(1), notice(2))
    for _ in range(6):
        queue.failed([1, 2], 0.0)
    queue.sent([1], 0.0)
    assert due_ids(queue, 0.0) == [2]
    queue.failed([2], 0.0)
    assert queue.due_s() == 2.0


def test_what_the_service_will_never_take_holds_up_no_other() -> None:
    """A critical notice that the service refuses for ever, and joined ones too, do not keep a single good one from getting through."""
    poison, joined = {1, 4}, {2, 3, 4, 5, 6}
    queue, now_s, through = queue_of(*(notice(n, "critical" if n == 1 else "high") for n in range(1, 7))), 0.0, []
    for _ in range(40):
        batch = due_ids(queue, now_s)
        ids = [batch[0]] if batch[0] not in joined else [i for i in batch if i in joined]
        if poison & set(ids):
            queue.failed(ids, now_s)
        else:
            queue.sent(ids, now_s)
            through += ids
        if set(through) == {2, 3, 5, 6}:
            break
        now_s += 60.0
    assert sorted(through) == [2, 3, 5, 6]


def test_after_a_refusal_an_episode_is_tried_by_itself() -> None:
    """After a joined message failed each episode is offered alone, with all its notices; then everything together again."""
    queue = queue_of(notice(1), notice(2), notice(3, alarm_number=1))
    assert due_ids(queue) == [1, 2, 3]
    queue.failed([1, 2, 3], 0.0)
    assert due_ids(queue, 60.0) == [1, 3]
    queue.failed([1, 3], 60.0)
    assert due_ids(queue, 120.0) == [2]
    queue.failed([2], 120.0)
    assert due_ids(queue, 180.0) == [1, 2, 3]
    queue.offer(notice(4, "low", alarm_number=1, closing=True), 180.0)
    assert due_ids(queue, 180.0) == [2]  # what is over is told by itself, after what stands


def test_when_the_service_is_back_the_rest_is_joined_again() -> None:
    """Once one that was tried by itself got through, what is left goes together: an outage does not end in a rattle of messages."""
    queue = queue_of(*(notice(n) for n in range(1, 9)))
    queue.failed(list(range(1, 9)), 0.0)
    assert due_ids(queue, 60.0) == [1]
    queue.sent([1], 60.0)
    assert due_ids(queue, 60.0) == list(range(2, 9))


def test_the_end_does_not_overtake_the_beginning() -> None:
    """A fresh closing notice stands behind the much-tried opening of its episode, and does not cut its rest short."""
    queue = queue_of(notice(1))
    queue.failed([1], 0.0)
    queue.failed([1], 2.0)
    queue.offer(notice(2, alarm_number=1, closing=True), 0.0)
    assert queue.next_due(5.0) == []
    assert due_ids(queue, 6.0) == [1, 2]


def test_meeting_a_notice_again_changes_nothing() -> None:
    """A notice that waits, or was dealt with, is not taken in again."""
    queue = queue_of(notice(1), notice(1))
    assert len(queue) == 1
    queue.sent([1], 0.0)
    queue.offer(notice(1), 0.0)
    assert len(queue) == 0


@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("offer"), st.sampled_from(["low", "medium", "high", "critical"])),
            st.tuples(st.sampled_from(["sent", "failed"]), st.just("")),
            st.tuples(st.just("wait"), st.just("")),
        ),
        max_size=80,
    )
)
def test_nothing_urgent_leaves_the_queue_unsent(steps: list[tuple[str, str]]) -> None:
    """Whatever happens in whatever order, a high or critical notice leaves only by being sent; with a critical one waiting something
    is due within two minutes, with a high one within the window of a flood."""
    queue, now_s, offered, sent = Queue(longest), 0.0, 0, set()
    urgent: set[int] = set()
    critical: set[int] = set()
    for what, priority in steps:
        batch = due_ids(queue, now_s)
        if what == "offer":
            offered += 1
            queue.offer(notice(offered, priority), now_s)
            if priority in ("high", "critical"):
                urgent.add(offered)
            if priority == "critical":
                critical.add(offered)
        elif what == "wait":
            now_s += 30.0
        elif batch and what == "sent":
            queue.sent(batch[:1], now_s)
            sent.add(batch[0])
        elif batch:
            assert not urgent & set(queue.failed(batch[:1], now_s))
        if urgent - sent:
            due_s = queue.due_s()
            assert due_s is not None
            assert due_s <= now_s + (120.0 if critical - sent else WINDOW_S)
    assert urgent - sent <= set(_all_ids(queue))


def _all_ids(queue: Queue) -> list[int]:
    """Every id still in the queue, found by sending until it is empty."""
    ids, now_s = [], 1e12
    while batch := due_ids(queue, now_s):
        ids.append(batch[0])
        queue.sent(batch[:1], now_s)
        now_s += WINDOW_S
    return ids


DAYTIME = Hearing(hours=(time(7), time(22)))
SIX = datetime(2026, 5, 4, 6, 0, tzinfo=UTC)


def at_night(*given: tuple[str, float | None]) -> Queue:
    """The queue of somebody who wishes medium by day, at six in the morning: notices 1, 2 ... of (priority, minutes to respond)."""
    queue = Queue(longest, DAYTIME)
    for n, (priority, respond_min) in enumerate(given, start=1):
        queue.offer(alarm(n, 0, priority, created=SIX, respond_min=respond_min), 0.0, SIX)
    return queue


def test_medium_waits_for_the_hours() -> None:
    """An hour before they begin it waits where three hours are left to respond, and is told at once where there is less."""
    queue = at_night(("medium", 180.0))
    assert (due_ids(queue, 3599.0), due_ids(queue, 3600.0)) == ([], [1])
    assert queue.due_s() == 3600.0
    assert due_ids(at_night(("medium", 179.0))) == [1]
    assert due_ids(at_night(("medium", None))) == [1]


def test_what_waits_for_the_hours_does_not_ride_along() -> None:
    """What is high goes at once, by itself; with the hours the rest follows."""
    queue = at_night(("medium", 720.0), ("high", None))
    assert due_ids(queue) == [2]
    queue.sent([2], 0.0)
    assert due_ids(queue, 3600.0) == [1]


def test_without_a_clock_nothing_waits_for_hours() -> None:
    """While nobody knows what the wall clock says, medium is told at once."""
    queue = Queue(longest, DAYTIME)
    queue.offer(alarm(1, 0, "medium", respond_min=720.0), 0.0, None)
    assert due_ids(queue) == [1]


def test_a_restart_does_not_wait_anew() -> None:
    """What another run held back for two hours has these behind it."""
    for minutes, held in (
        (0, True),
        (60, True),
        (61, False),
        (120, False),
    ):  # an hour before seven, of two that it may wait
        queue = Queue(longest, DAYTIME)
        made = alarm(1, 0, "medium", created=SIX - timedelta(minutes=minutes), respond_min=360.0)
        queue.offer(made, 0.0, SIX)
        assert (due_ids(queue) == []) == held


def summary(id_: int, *numbers: int) -> Notice:
    """A day's summary, of what is low under these numbers."""
    standing = tuple(Standing(n, facts(f"Setter {n}", "dry")) for n in numbers)
    return notice(id_, "low", alarm_number=0, facts=None, today=Today((), standing))


def test_low_waits_for_the_days_summary() -> None:
    """It takes along what is low and came before it, and nothing else; what came after it waits for the next."""
    queue = queue_of(alarm(1, 0, "low", "dry"), alarm(2, 0, "low", "dry"))
    assert due_ids(queue, 3600.0) == []
    queue.offer(summary(3, 1, 2), 7200.0)
    queue.offer(alarm(4, 7200, "low", "dry"), 7200.0)
    assert due_ids(queue, 7200.0) == [1, 2, 3]
    (message,) = pass_through(standard_stages(WORDS), queue.next_due(7200.0), ())
    assert (message.notice.id, sorted(message.ids)) == (3, [1, 2, 3])
    queue.sent(message.ids, 7200.0)
    assert len(queue) == 1


def test_without_a_summary_low_goes_after_a_day_and_two_hours() -> None:
    """No clock, or a chore that fails, keeps nothing back for ever: what waits goes together, when the first has waited so long."""
    queue = queue_of(alarm(1, 0, "low", "dry"), alarm(2, 0, "low", "dry"))
    queue.offer(alarm(3, 0, "low", "dry"), 100.0)
    assert due_ids(queue, 26 * 3600.0 - 1.0) == []
    assert due_ids(queue, 26 * 3600.0) == [1, 2, 3]


def test_a_summary_takes_no_place_and_lets_the_urgent_by() -> None:
    """A high alarm goes before it, by itself; after it the next goes at once, as if nothing had been told."""
    queue = queue_of(alarm(1, 0, "low", "dry"), summary(2, 1), alarm(3, 0, "high"))
    assert due_ids(queue) == [3]
    queue.sent([3], 0.0)
    assert sorted(due_ids(queue, 30.0)) == [1, 2]
    queue.sent([1, 2], 30.0)
    queue.offer(alarm(4, 31, "high"), 31.0)
    assert due_ids(queue, 31.0) == [4]


def test_what_is_not_low_goes_together_while_a_summary_waits() -> None:
    """Two machines that are warm are one message, and the summary is none of it."""
    queue = queue_of(summary(1, 7), alarm(2, 0, "medium"), alarm(3, 0, "medium"))
    assert due_ids(queue) == [2, 3]


@pytest.mark.parametrize(("seen", "why"), [(True, "answered"), (False, "over")])
def test_what_is_answered_or_over_leaves_a_summary_that_waits(seen: bool, why: str) -> None:
    """While the phone service is down: what needs nobody is taken out, and with the last of it the summary itself, which says why."""
    queue = queue_of(summary(1, 5, 7))
    queue.failed([1], 0.0)
    queue.answered([Answered(5, 1, True)])
    assert queue.call_off() == []
    (left,) = queue.next_due(60.0)
    assert left.today is not None
    assert [each.number for each in left.today.standing] == [7]
    queue.answered([Answered(7, 1, seen)])
    assert queue.call_off() == [(1, f"{why} before it was told")]
    assert len(queue) == 0


# A flood, on a clock of its own.


@dataclass(frozen=True)
class Sent:
    """One message that got through."""

    at_s: float
    ids: tuple[int, ...]
    notice: Notice


def alarm(
    id_: int, at_s: float, priority: str = "critical", what: str = "too hot", name: str = "", **changes: object
) -> Notice:
    """The notice of machine id_, or of the one of that name, told at at_s."""
    return about(id_, name or f"Setter {id_}", what, priority, at_s, **changes)


def over(id_: int, alarm_number: int, at_s: float) -> Notice:
    """The closing notice of an alarm."""
    return alarm(id_, at_s, "low", "no longer too hot", f"Setter {alarm_number}", alarm_number=alarm_number)


def still(id_: int, alarm_number: int, at_s: float, priority: str = "critical") -> Notice:
    """A reminder of an alarm."""
    return alarm(id_, at_s, priority, "STILL too hot", f"Setter {alarm_number}", alarm_number=alarm_number)


def played(*arrivals: tuple[float, Notice]) -> list[Sent]:
    """What a phone gets whose service always works, to the moment: the worker sleeps until what arrives next, or is due."""
    queue, sent, now_s = Queue(longest), [], 0.0
    coming = deque(sorted(arrivals, key=lambda a: (a[0], a[1].id)))
    while coming or len(queue):
        due_s = queue.due_s()
        next_s = min(coming[0][0] if coming else math.inf, math.inf if due_s is None else due_s)
        now_s = max(now_s, next_s)
        while coming and coming[0][0] <= now_s:
            queue.offer(coming.popleft()[1], now_s)
        batch = queue.next_due(now_s)
        if batch:
            (message,) = pass_through(standard_stages(WORDS), batch, queue.told())
            queue.sent(message.ids, now_s)
            sent.append(Sent(now_s, message.ids, message.notice))
    return sent


def most_in_a_window(sent: list[Sent]) -> int:
    """The most messages in any ten minutes."""
    return max(sum(a.at_s <= b.at_s < a.at_s + 600.0 for b in sent) for a in sent)


def test_six_machines_within_ten_seconds() -> None:
    """The first at once and in full; half a minute later one message for the rest, that counts and names the first: no more."""
    sent = played(*((1.5 * n, alarm(n, 1.5 * n)) for n in range(1, 7)))
    assert [(s.at_s, s.ids) for s in sent] == [(1.5, (1,)), (31.5, (2, 3, 4, 5, 6))]
    assert sent[0].notice == alarm(1, 1.5)
    assert sent[1].notice.title == "Urgent: 6 machines too hot"
    assert sent[1].notice.text.startswith("Setter 2: 39.5 °C")
    assert (sent[1].notice.priority, len(sent[1].notice.text) <= 178) == ("critical", True)


def test_six_machines_with_their_reminders_and_ends() -> None:
    """A flood that nobody answers is three messages in its ten minutes, and its ends one more: the reminders are one, so are the ends."""
    hot = [(float(n), alarm(n, n)) for n in range(1, 7)]
    reminders = [(300.0 + n, still(10 + n, n, 300 + n)) for n in range(1, 7)]
    ends = [(500.0 + 8 * n, over(20 + n, n, 500 + 8 * n)) for n in range(1, 7)]
    sent = played(*hot, *reminders, *ends)
    assert [(s.at_s, len(s.ids)) for s in sent] == [(1.0, 1), (31.0, 5), (331.0, 6), (601.0, 6)]
    assert sent[2].notice.title == "Urgent: 6 machines STILL too hot"
    assert sent[3].notice.title == "Over: 6 machines no longer too hot"
    assert most_in_a_window(sent) == 3


def test_twelve_machines_over_a_minute() -> None:
    """A flood that takes a minute is three messages, none of its alarms waits longer than a minute, and the first stays the first."""
    sent = played(*((5.0 * n, alarm(n, 5 * n)) for n in range(1, 13)))
    assert [(s.at_s, len(s.ids)) for s in sent] == [(5.0, 1), (35.0, 6), (95.0, 5)]
    assert [s.notice.title for s in sent[1:]] == [
        "Urgent: 7 machines too hot",
        "Urgent: 12 machines too hot",
    ]


def test_every_alarm_of_a_room() -> None:
    """All that six machines can say at once, mild and critical: the first at once, the first critical one at once, the rest together."""
    arrivals = []
    for n in range(1, 31):
        what, priority = [("humid", "medium"), ("warm", "medium"), ("too hot", "critical"), ("no reading", "high")][
            n % 4
        ]
        arrivals.append((n * 0.3, alarm(n, n * 0.3, priority, what, f"Setter {n % 6}")))
    sent = played(*arrivals)
    assert sent[0].at_s == 0.3
    assert sorted(i for s in sent for i in s.ids) == list(range(1, 31))
    assert [len(s.ids) for s in sent] == [1, 1, 28]
    assert sent[1].notice.title == "Urgent: Setter 2 too hot"
    assert sent[2].at_s < 40.0
    assert len(sent[2].notice.text) <= 178


def test_a_critical_alarm_breaks_into_a_mild_flood() -> None:
    """While mild alarms wait for their like, a critical one goes at once, by itself, in full; they follow later and lose nothing."""
    mild = [(float(n), alarm(n, n, "medium", "dry")) for n in range(1, 6)]
    sent = played(*mild, (5.5, alarm(6, 5.5)), (7.0, alarm(7, 7, "medium", "dry")))
    assert [(s.at_s, s.ids) for s in sent] == [(1.0, (1,)), (5.5, (6,)), (65.5, (2, 3, 4, 5, 7))]
    assert sent[1].notice == alarm(6, 5.5)
    assert sent[2].notice.title == "Soon: 6 machines dry, first Setter 1 at 02:14"


def test_a_second_critical_alarm_waits_half_a_minute_at_most() -> None:
    """A critical alarm right after another waits 30 s, and takes along all that waits."""
    sent = played((0.0, alarm(1, 0)), (4.0, alarm(2, 4, "medium", "dry")), (9.0, alarm(3, 9)))
    assert [(s.at_s, sorted(s.ids)) for s in sent] == [(0.0, [1]), (30.0, [2, 3])]
    assert sent[1].notice.title == "Urgent: 2 machines too hot, 1 more"


def test_critical_alarms_that_keep_coming_wait_two_minutes_at_most() -> None:
    """However many messages there were, a new critical alarm is told within two minutes; what is mild waits for its place."""
    hot = [(40.0 * n, alarm(n, 40 * n)) for n in range(1, 40)]
    sent = played(*hot)
    told_at = {id_: s.at_s for s in sent for id_ in s.ids}
    assert max(told_at[n.id] - at_s for at_s, n in hot) <= 120.0
    assert most_in_a_window(sent) <= 7


def test_a_lone_alarm_is_never_held() -> None:
    """A single alarm, its reminders each five minutes and its end go at the moment they are made."""
    story = [
        (0.0, alarm(1, 0)),
        *((300.0 * n, still(1 + n, 1, 300 * n)) for n in range(1, 9)),
        (2500.0, over(10, 1, 2500)),
    ]
    assert [(s.at_s, s.notice) for s in played(*story)] == story


def test_alarms_minutes_apart_are_strangers() -> None:
    """Two unrelated alarms minutes apart, and the end of the first, are each told at once, as they were written."""
    story = [(0.0, alarm(1, 0, "high")), (120.0, alarm(2, 120, "high", "far too dry")), (300.0, over(3, 1, 300))]
    assert [(s.at_s, s.notice) for s in played(*story)] == story


def test_a_new_alarm_is_not_held_by_milder_news() -> None:
    """Three messages of good news do not keep a high alarm waiting for their window to pass."""
    story = [(100.0 * n, over(n, 90 + n, 100 * n)) for n in range(1, 4)]
    sent = played(*story, (350.0, alarm(7, 350, "high")), (360.0, over(8, 99, 360)))
    assert [(s.at_s, s.ids) for s in sent] == [
        (100.0, (1,)),
        (200.0, (2,)),
        (300.0, (3,)),
        (350.0, (7,)),
        (800.0, (8,)),
    ]


def test_an_alternating_alarm_is_three_messages() -> None:
    """An alarm that comes and goes each ten seconds for ten minutes is told three times, and each of its notices is settled."""
    story = []
    for n in range(60):
        id_ = n + 1
        made = alarm(id_, 10 * n, "medium", "warm", "Setter 1", alarm_number=n // 2 + 1)
        story.append((10.0 * n, over(id_, n // 2 + 1, 10 * n) if n % 2 else made))
    sent = played(*story)
    assert most_in_a_window([s for s in sent if s.at_s < 600.0]) == 3
    assert sorted(i for s in sent for i in s.ids) == list(range(1, 61))


def test_what_is_over_while_it_waits_is_told_once() -> None:
    """Held back in a flood, an urgent alarm that ends is told by its end alone, with the word that it was."""
    sent = played((0.0, alarm(1, 0)), (2.0, alarm(2, 2)), (20.0, over(3, 2, 20)))
    assert [(s.at_s, sorted(s.ids)) for s in sent] == [(0.0, [1]), (30.0, [2, 3])]
    assert sent[1].notice.title == "Over: Setter 2 no longer too hot"
    assert sent[1].notice.text == OVER + over(3, 2, 20).text


def test_what_is_over_stands_beside_nothing_that_is_not() -> None:
    """The end of one goes after what began, by itself."""
    sent = played(
        (0.0, alarm(1, 0)), (2.0, alarm(2, 2, "high")), (20.0, over(3, 1, 20)), (21.0, alarm(4, 21, "medium"))
    )
    assert [(s.at_s, s.ids) for s in sent] == [(0.0, (1,)), (30.0, (2, 4)), (90.0, (3,))]


@pytest.mark.parametrize(
    ("priority", "seen", "why"),
    [
        ("low", False, "over"),
        ("medium", False, "over"),
        ("high", False, ""),
        ("critical", False, ""),
        ("low", True, "answered"),
        ("critical", True, "answered"),
    ],
)
def test_what_needs_nobody_is_called_off(priority: str, seen: bool, why: str) -> None:
    """What a person answered, and what was mild and is over, is told to nobody; what was urgent and is over is, with its end. A second episode,
    what came after the answer, and an end stay."""
    queue = queue_of(
        notice(1, priority),
        notice(2, priority, alarm_number=7),
        notice(4, priority, alarm_number=1),
        notice(3, alarm_number=1, closing=True),
    )
    queue.answered([Answered(1, 3, seen)])
    assert queue.call_off() == ([(1, f"{why} before it was told")] if why else [])
    assert len(queue) == (3 if why else 4)
    assert queue.call_off() == []


def test_what_waits_is_told_as_it_is_when_it_is_told() -> None:
    """The value of when it is sent, and since when the service did not take it; what it is, news or a reminder, stays. An end is told as it ended."""
    made = [alarm(1, 0.0, "high"), still(2, 2, 0.0), over(3, 3, 0.0), alarm(4, 0.0, "high"), alarm(5, 100.0, "high")]
    queue = queue_of(*made)
    at = made[0].created + timedelta(seconds=110)
    reached = tuple(Reach(who, unheard_since=made[0].created) for who in ("owner", "sam"))
    now = {n: Live(n, facts(f"Setter {n}", "STILL too hot", value=40.4, reached=reached), at) for n in (1, 2, 3, 5)}
    queue.renew(now.values())
    waits = {n.id: n for n in queue.next_due(1e4)}
    new, again = waits[1], waits[2]
    assert new.facts is not None
    assert again.facts is not None
    assert (new.facts.value, new.facts.still, new.as_of, [r.contact for r in new.facts.reached]) == (
        40.4,
        False,
        at,
        ["owner"],
    )
    assert (again.facts.value, again.facts.still, again.facts.reached) == (40.4, True, reached)
    assert waits[4] == made[3]
    assert waits[5] == made[4]  # it was made just now
    queue.sent([n for n in waits if n != 3], 0.0)
    assert queue.next_due(1e5) == [made[2]]


def test_an_end_is_called_off_when_the_same_has_come_again() -> None:
    """ "No longer too hot" that waits for its place is untrue once it is too hot again; another machine's end stands."""
    queue = queue_of(alarm(1, 0.0, "high"))
    queue.sent([1], 0.0)
    for end in (over(2, 2, 10.0), over(3, 3, 10.0)):
        queue.offer(end, 10.0)
    assert queue.call_off() == []
    queue.offer(alarm(4, 20.0, "high", name="Setter 2"), 20.0)
    assert queue.call_off() == [(2, "come again before it was told")]
    assert queue.call_off() == []
    assert due_ids(queue, 1_000.0) == [4]
    queue.sent([4], 1_000.0)
    queue.offer(over(5, 2, 1_001.0), 1_001.0)
    assert queue.call_off() == []  # its own end, which comes after it


@pytest.mark.parametrize("told", [False, True])
def test_an_end_that_is_offered_after_what_came_again_is_called_off(told: bool) -> None:
    """What is news may be offered before the end that was written before it, and may be told by then; the end is untrue all the same."""
    queue = queue_of(alarm(4, 20.0, "high", name="Setter 2"))
    if told:
        queue.sent([4], 20.0)
    queue.offer(over(2, 2, 10.0), 30.0)
    queue.offer(over(3, 3, 10.0), 30.0)  # another machine's
    assert queue.call_off() == [(2, "come again before it was told")]
    queue.offer(replace(over(5, 2, 40.0), alarm_number=4), 40.0)  # its own
    assert queue.call_off() == []
    own = queue_of(over(2, 1, 10.0), alarm(1, 0.0, "high"))  # this too, though it was offered first
    assert own.call_off() == []


@pytest.mark.parametrize("order", list(itertools.permutations([1, 2, 3])))
def test_of_what_came_again_before_anything_was_told_only_that_is_told(order: tuple[int, ...]) -> None:
    """A beginning, its end and the next beginning, in whatever order they were offered: without its end, the first would be read as what stands now."""
    made = {1: alarm(1, 0.0, "high"), 2: over(2, 1, 10.0), 3: alarm(3, 20.0, "high", name="Setter 1")}
    queue = queue_of(*(made[id_] for id_ in order))
    assert sorted(queue.call_off()) == [(id_, "come again before it was told") for id_ in (1, 2)]
    assert due_ids(queue, 1e4) == [3]


def test_an_end_without_facts_is_told() -> None:
    """Nobody can say which alarm it is of: it calls nothing off, and nothing does it."""
    end, bare = notice(2, alarm_number=1, closing=True, facts=None), notice(3, facts=None)
    for made in ([end, bare], [bare, end], [end, alarm(3, 0.0)], [alarm(3, 0.0), end], [bare, over(2, 1, 0.0)]):
        queue = queue_of(*made)
        assert queue.call_off() == []
        assert len(queue) == len(made)


def test_a_restart_tells_what_waits_at_once() -> None:
    """What the outbox held goes as one message at the start; nothing is held back because of what another run told."""
    sent = played(*((0.0, alarm(n, n, "high")) for n in range(1, 7)))
    assert [(s.at_s, len(s.ids)) for s in sent] == [(0.0, 6)]


def test_messages_that_did_not_get_through_hold_nothing_back() -> None:
    """While the service fails nothing was told: the next alarm is tried at once, and together with what failed."""
    queue = queue_of(alarm(1, 0))
    queue.failed([1], 0.0)
    queue.offer(alarm(2, 1), 1.0)
    assert due_ids(queue, 1.0) == [2]


def test_what_comes_while_the_service_fails_is_tried_with_all_that_waits() -> None:
    """A high alarm that was never tried goes at once, and takes along what was refused by itself."""
    queue = queue_of(alarm(1, 0, "high"))
    queue.failed([1], 0.0)
    queue.offer(alarm(2, 1, "high"), 1.0)
    assert due_ids(queue, 1.0) == [2, 1]


def test_reminders_after_a_message_of_two_wait_for_their_like() -> None:
    """Two alarms in one message are a flood: what then says nothing new waits half a minute, and goes as one."""
    flood = [(0.0, alarm(1, 0)), (1.0, alarm(2, 1)), (2.0, alarm(3, 2))]
    sent = played(*flood, (300.0, still(4, 2, 300)), (310.0, still(5, 3, 310)))
    assert [(s.at_s, s.ids) for s in sent] == [(0.0, (1,)), (30.0, (2, 3)), (330.0, (4, 5))]


def test_the_waits_are_seconds_to_minutes() -> None:
    """Refused again and again, a mild notice waits 2 s, twice as long each time, five minutes at most; an urgent one a minute at most."""
    for priority, waits in (("low", [2, 4, 8, 16, 32, 64, 128, 256, 300, 300]), ("high", [2, 4, 8, 16, 32, 60, 60])):
        queue, now_s, seen = queue_of(notice(1, priority)), 0.0, []
        for _ in waits:
            queue.failed([1], now_s)
            due_s = queue.due_s()
            assert due_s is not None
            seen.append(due_s - now_s)
            now_s = due_s
        assert seen == waits


PRIORITY = st.sampled_from(["low", "medium", "high", "critical"])


@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 10.0),
            st.sampled_from(["medium", "high", "critical"]),
            st.sampled_from(["dry", "too hot", "no reading"]),
        ),
        min_size=1,
        max_size=60,
    )
)
@settings(deadline=None)
def test_any_burst_is_three_messages(drawn: list[tuple[float, str, str]]) -> None:
    """Whatever begins within ten seconds: the first at the moment it comes, all of it told within 75 s (the critical within 40 s), in at most three
    messages, each once, in texts that a phone shows."""
    arrivals = [(at_s, alarm(n, at_s, p, what)) for n, (at_s, p, what) in enumerate(sorted(drawn), start=1)]
    sent = played(*arrivals)
    told_at = {id_: s.at_s for s in sent for id_ in s.ids}
    assert sent[0].at_s == arrivals[0][0]
    assert len(sent) <= 3
    assert sorted(i for s in sent for i in s.ids) == [n.id for _, n in arrivals]
    assert max(told_at.values()) <= 75.0
    assert all(told_at[n.id] <= 40.0 for _, n in arrivals if n.priority == "critical")
    assert all(len(s.notice.text) <= 178 and len(s.notice.title) <= 50 for s in sent if len(s.ids) > 1)


@given(
    st.lists(
        st.tuples(st.floats(0.0, 3000.0), PRIORITY, st.integers(1, 12), st.sampled_from(["begins", "ends", "stands"])),
        min_size=1,
        max_size=60,
    )
)
@settings(deadline=None)
def test_whatever_comes_is_told_once_and_in_few_messages(drawn: list[tuple[float, str, int, str]]) -> None:
    """Notices of every kind at any times: each is told exactly once; and without new alarms more urgent than what was told there are never
    more than three messages in ten minutes."""
    arrivals = []
    for id_, (at_s, priority, number, kind) in enumerate(sorted(drawn), start=1):
        made = {
            "begins": alarm(id_, at_s, priority),
            "ends": over(id_, number, at_s),
            "stands": still(id_, number, at_s, priority),
        }
        arrivals.append((at_s, made[kind]))
    sent = played(*arrivals)
    assert sorted(i for s in sent for i in s.ids) == [n.id for _, n in arrivals]
    if not any(n.title.endswith(" too hot") and "STILL" not in n.title for _, n in arrivals):
        assert most_in_a_window(sent) <= 3


@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 3000.0),
            PRIORITY,
            st.lists(st.floats(60.0, 900.0), max_size=3),
            st.none() | st.floats(0.0, 900.0),
        ),
        min_size=1,
        max_size=20,
    )
)
@settings(deadline=None)
def test_what_stands_is_told_within_ten_minutes(drawn: list[tuple[float, str, list[float], float | None]]) -> None:
    """Alarms that begin at any times, with their reminders and ends: as long as one stands, none of its words waits longer than ten minutes,
    of itself or after what is critical and went before it; a new critical one's first two, what is low 26 h. What is over waits for what
    stands, and then ten minutes too."""
    told_of = []
    for number, (began_s, priority, gaps_s, end_s) in enumerate(drawn, start=1):
        at_s = began_s
        told_of.append((at_s, number, priority, "begins"))
        for gap_s in gaps_s:
            at_s += gap_s
            told_of.append((at_s, number, priority, "stands"))
        if end_s is not None:
            told_of.append((at_s + end_s, number, priority, "ends"))
    arrivals: list[tuple[float, Notice]] = []
    ended_s: dict[int | None, float] = {}
    for id_, (at_s, number, priority, kind) in enumerate(sorted(told_of), start=1):
        if kind == "begins":
            arrivals.append((at_s, alarm(id_, at_s, priority, name=f"Setter {number}", alarm_number=number)))
        elif kind == "stands":
            arrivals.append((at_s, still(id_, number, at_s, priority)))
        else:
            ended_s[number] = at_s
            arrivals.append((at_s, over(id_, number, at_s)))
    sent = played(*arrivals)
    told_at = {id_: s.at_s for s in sent for id_ in s.ids}
    first_of = {n.id for _, n in arrivals if n.priority == "critical" and n.facts is not None and not n.facts.still}
    standing = [
        (at_s, n)
        for at_s, n in arrivals
        if not n.closing and (n.alarm_number not in ended_s or ended_s[n.alarm_number] > told_at[n.id])
    ]
    for at_s, n in standing:
        new = n.facts is not None and not n.facts.still
        most_s = 26 * 3600.0 if n.priority == "low" else 120.0 if new and n.priority == "critical" else 600.0
        before = [s.at_s for s in sent if s.at_s < told_at[n.id] and first_of & set(s.ids)]
        since_s = at_s if new and n.priority == "critical" else max([at_s, *before])
        assert told_at[n.id] - since_s <= most_s
    last_s = max((told_at[n.id] for _, n in standing if n.priority != "low"), default=0.0)
    for at_s, n in arrivals:
        if n.closing:
            assert told_at[n.id] - max(at_s, last_s) <= 600.0


def test_after_ten_minutes_nothing_counts_as_told() -> None:
    """What got through is remembered for the words of the next message for ten minutes, and then it is not."""
    queue = queue_of(notice(1, "high"))
    assert due_ids(queue) == [1]
    queue.sent([1], 0.0)
    assert due_ids(queue, 599.9) == []
    assert [n.id for n in queue.told()] == [1]
    assert due_ids(queue, 600.0) == []
    assert queue.told() == []


# --- when one contact may be told of what


def told_at(*messages: tuple[float, tuple[int, ...], str]) -> Pace:
    """A contact who was told at these seconds: of these alarms, so urgently."""
    pace = Pace()
    for at_s, numbers, priority in messages:
        pace.went([replace(notice(n, priority), alarm_number=n) for n in numbers], at_s)
    return pace


@pytest.mark.parametrize(
    ("messages", "priority", "closing", "free_s"),
    [
        ([], "critical", False, -math.inf),
        ([], "low", True, -math.inf),
        ([(100.0, (1,), "high")], "critical", False, -math.inf),  # more urgent than anything told
        ([(100.0, (1,), "critical")], "critical", False, 130.0),
        ([(100.0, (1,), "critical"), (130.0, (2,), "critical")], "critical", False, 190.0),
        ([(100.0, (1,), "critical"), (130.0, (2,), "critical"), (190.0, (3,), "critical")], "critical", False, 310.0),
        ([(100.0 + n, (n,), "critical") for n in range(1, 6)], "critical", False, 225.0),
        ([(100.0, (1,), "critical"), (150.0, (2,), "low")], "critical", False, 130.0),
        ([(100.0, (1,), "low")], "high", False, -math.inf),  # what is low takes no place
        ([(100.0, (1,), "medium")], "high", False, 130.0),
        ([(100.0, (1,), "medium"), (110.0, (2,), "medium"), (120.0, (3,), "medium")], "high", False, 150.0),  # more urgent than all
        ([(100.0, (1,), "high")], "high", False, 130.0),
        ([(100.0, (1,), "high"), (130.0, (2,), "low")], "high", False, 130.0),
        ([(100.0, (1,), "high"), (130.0, (2,), "medium")], "high", False, 160.0),  # what is milder takes no place from it
        ([(100.0, (1,), "high"), (130.0, (2,), "medium"), (190.0, (3,), "medium")], "high", False, 220.0),
        ([(100.0, (1,), "high"), (130.0, (2,), "medium"), (190.0, (3,), "medium")], "medium", False, 700.0),  # three in the window
        ([(100.0, (1,), "high"), (130.0, (2,), "high")], "high", False, 190.0),
        ([(100.0 + n, (n,), "high") for n in range(1, 5)], "high", False, 702.0),
        ([(100.0, (1,), "high")], "low", True, 130.0),  # what is over waits for no more
        ([(100.0, (1, 2), "high")], "low", True, 330.0),  # but in a flood for its like
        ([(100.0, (1, 2), "high")], "low", False, 130.0),
        ([(100.0, (1,), "medium"), (110.0, (2,), "medium"), (120.0, (3,), "medium")], "critical", True, 700.0),
    ],
)  # fmt: skip
def test_when_a_contact_may_be_told(
    messages: list[tuple[float, tuple[int, ...], str]], priority: str, closing: bool, free_s: float
) -> None:
    """Of a notice that arrived at second 300: gaps of 30 and 60 s, of 120 s between what is critical, three messages in ten minutes."""
    assert told_at(*messages).free_s(replace(notice(99, priority), closing=closing), 300.0) == free_s


def test_a_reminder_keeps_no_news_back() -> None:
    """Three reminders of what was told an hour ago, and another machine gets too cold: half a minute after the last."""
    pace, told = Pace(), alarm(1, 0, "high", "too hot")
    assert told.facts is not None
    again = replace(told, facts=replace(told.facts, still=True))
    for at_s in (100.0, 130.0, 190.0):
        pace.went([again], at_s)
    assert pace.free_s(notice(99, "high"), 300.0) == 220.0
    assert pace.free_s(again, 300.0) == 700.0


def test_after_an_outage_what_stands_comes_before_what_is_over() -> None:
    """However often it was tried, and though something ended meanwhile; one that the service never takes keeps the other back for some tries."""
    queue, now_s = queue_of(notice(1, "high")), 0.0
    led = []
    for attempt in range(28):
        if attempt == 8:
            queue.offer(replace(notice(2, "high", alarm_number=7), closing=True), now_s)
        led.append(due_ids(queue, now_s)[0])
        queue.failed([led[-1]], now_s)
        now_s += 61.0
    assert led[:11] == [1] * 11
    assert led[8:].count(2) == 4


def test_that_something_is_over_keeps_no_news_back() -> None:
    """Three ends of what was urgent, and then a machine gets too hot: half a minute after the last; a critical one at once."""
    pace = Pace()
    for number, at_s in enumerate((100.0, 130.0, 190.0), 1):
        pace.went([replace(notice(number, "critical"), closing=True)], at_s)
    assert pace.free_s(notice(99, "high"), 300.0) == 220.0
    assert pace.free_s(notice(99, "critical"), 300.0) == -math.inf


def test_what_was_told_counts_for_ten_minutes() -> None:
    """To the second; as a message, and for the words of the next."""
    for now_s, counts in ((699.0, True), (700.0, False)):
        pace = told_at((100.0, (1, 2), "high"))
        pace.forget(now_s)
        assert (pace.free_s(notice(9, "high"), now_s) == 130.0) is counts
        assert [n.id for n in pace.told()] == ([1, 2] if counts else [])


def test_so_many_notices_are_kept_for_the_words() -> None:
    """The newest two hundred."""
    pace = told_at(*((float(n), (n,), "low") for n in range(1, 302)))
    assert [n.id for n in pace.told()] == list(range(102, 302))


def test_the_numbers_of_a_queue() -> None:
    """How it tries again, and how much one contact is told (judgement; see the module): none moves unseen."""
    assert (outbox.BASE_WAIT_S, outbox.MAX_WAIT_URGENT_S, outbox.MAX_WAIT_S, outbox.MAX_TRIES) == (2.0, 60.0, 300.0, 20)
    assert (outbox.WINDOW_S, outbox.MAX_MESSAGES, outbox.GAPS_S, outbox.GATHER_S) == (600.0, 3, (30.0, 60.0), 30.0)
    assert outbox.CRITICAL_GAPS_S == (30.0, 60.0, 120.0)


def test_so_many_that_were_dealt_with_are_remembered() -> None:
    """The newest thousand: of these, meeting one again changes nothing."""
    queue = Queue(longest)
    for n in range(1, 1002):
        queue.offer(notice(n, "low"), 0.0)
        queue.dropped([n])
    for n, waits in ((2, 0), (1001, 0), (1, 1)):
        queue.offer(notice(n, "low"), 0.0)
        assert len(queue) == waits


def test_the_end_does_not_overtake_a_beginning_that_came_later() -> None:
    """Whatever was offered first, an episode is tried in the order of its notices' numbers."""
    queue = Queue(longest)
    queue.offer(notice(2, alarm_number=1, closing=True), 0.0)
    queue.offer(notice(1), 0.0)
    queue.failed([1], 0.0)
    assert due_ids(queue, 1.0) == []
    assert due_ids(queue, 2.0) == [1, 2]


def test_several_episodes_in_a_message_make_a_flood_and_one_does_not() -> None:
    """A reminder after them waits for its like; two notices of one alarm are one episode."""
    for numbers, free_s in (((1, 1), 130.0), ((1, 2), 330.0), ((1, 2, 1), 330.0)):
        pace = told_at((100.0, numbers, "high"))
        assert pace.free_s(replace(notice(99, "low"), closing=True), 300.0) == free_s
    pace = told_at((100.0, (1, 2), "high"), (150.0, (3,), "high"))
    assert pace.free_s(replace(notice(99, "low"), closing=True), 300.0) == 330.0
    assert pace.free_s(replace(notice(99, "low"), closing=True), 100.0) == 210.0


def test_a_message_is_as_urgent_as_the_most_urgent_in_it() -> None:
    """A critical alarm told beside a mild one has been told."""
    pace = Pace()
    pace.went([notice(1, "low"), notice(2, "critical"), notice(3, "medium")], 100.0)
    assert not pace.breaks_in(notice(4, "critical"))
    assert pace.free_s(notice(4, "critical"), 110.0) == 130.0
    assert not pace.breaks_in(notice(5, "high"))


def test_only_what_is_new_and_critical_breaks_in() -> None:
    """Neither its end, nor its reminder, nor what is less urgent."""
    pace = told_at((100.0, (1,), "high"))
    assert pace.breaks_in(notice(4, "critical"))
    for other in (replace(notice(4, "critical"), closing=True), still(4, 2, 100), notice(4, "high")):
        assert not pace.breaks_in(other)


def test_a_tried_critical_one_takes_all_along() -> None:
    """What breaks in is told by itself only at its first try; after that it goes with all that waits."""
    queue = queue_of(notice(1, "critical"), notice(2, "medium"))
    assert due_ids(queue, 0.0) == [1]
    queue.failed([1], 0.0)
    assert due_ids(queue, 1.0) == []
    assert due_ids(queue, 2.0) == [2, 1]
