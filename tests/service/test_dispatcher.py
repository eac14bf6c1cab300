"""The dispatcher: first the queue, with a clock that is moved by hand; then the workers, with a fake and with real receivers."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.adapters.delivery import AppriseDelivery
from monitor.domain.notice import Notice
from monitor.domain.record import Attempt
from monitor.service.dispatcher import MAX_TRIES, Dispatcher, Queue
from monitor.service.notify import standard_stages
from monitor.service.ports import Contact, Delivery, GiveUp, TryLater
from tests.delivery_port import CANARY, notice
from tests.fake_delivery import FakeDelivery
from tests.receivers import HttpReceiver, eventually

UTC_NOW = datetime(2026, 5, 4, 1, 30, tzinfo=UTC)
OWNER, NEIGHBOUR = Contact("owner", "Owner", "fake://a"), Contact("neighbour", "Neighbour", "fake://b")


def longest(wait_s: float) -> float:
    """The jitter that always draws the upper end: shows the limits."""
    return wait_s


def queue_of(*notices: Notice) -> Queue:
    queue = Queue(longest)
    for one in notices:
        queue.offer(one)
    return queue


def due_ids(queue: Queue, now_s: float = 0.0) -> list[int]:
    return [n.id for n in queue.next_due(now_s)]


# The queue.


def test_critical_first_then_age() -> None:
    """Of notices that were never tried the most urgent comes first, of equals the oldest."""
    queue = queue_of(
        notice(1, "low"), notice(2, "high"), notice(3, "critical"), notice(4, "medium"), notice(5, "critical")
    )
    assert due_ids(queue) == [3, 5, 2, 4, 1]


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
        ("low", [2, 4, 8, 16, 32, 64, 128, 256, 300, 300]),
    ],
)
def test_waits_double_to_their_limit(priority: str, waits: list[float]) -> None:
    """Waits grow from 2 s, doubling, to 60 s for high and critical and 300 s for low and medium."""
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
    queue.offer(notice(1))
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


@pytest.mark.parametrize("priority", ["low", "medium"])
def test_mild_notices_end_after_twenty_tries(priority: str) -> None:
    """The twentieth failure ends a low or medium notice, and no earlier one does."""
    queue, ended = queue_of(notice(1, priority)), []
    for attempt in range(1, MAX_TRIES + 1):
        ended.append((attempt, queue.failed([1], 0.0)))
    assert [e for e in ended if e[1]] == [(20, [1])]
    assert queue.due_s() is None


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
    queue.offer(notice(2, "low"))
    assert queue.next_due(100.5) == []
    queue.offer(notice(3, "high"))
    assert due_ids(queue, 100.5)[0] == 3


def test_an_urgent_notice_shortens_the_rest_of_a_mild_one() -> None:
    """Once something urgent waits, the limit is its own 60 s."""
    queue = queue_of(notice(1, "low"))
    for _ in range(9):
        queue.failed([1], 0.0)
    assert queue.due_s() == 300.0
    queue.offer(notice(2))
    assert due_ids(queue, 1.0)[0] == 2
    queue.failed([2], 1.0)
    assert queue.due_s() == 61.0


def test_after_a_success_the_rest_follows_at_once() -> None:
    """One that gets through shows that the service works: nothing rests any more, and waits begin at 2 s again."""
    queue = queue_of(notice(1), notice(2))
    for _ in range(6):
        queue.failed([1, 2], 0.0)
    queue.sent([1])
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
            queue.sent(ids)
            through += ids
        if set(through) == {2, 3, 5, 6}:
            break
        now_s += 60.0
    assert sorted(through) == [2, 3, 5, 6]


def test_after_a_refusal_an_episode_is_tried_by_itself() -> None:
    """After a joined message failed each episode is offered alone, with all its notices; then everything together again."""
    queue = queue_of(notice(1), notice(2), notice(3, alarm_number=1, closing=True))
    assert due_ids(queue) == [1, 2, 3]
    queue.failed([1, 2, 3], 0.0)
    assert due_ids(queue, 60.0) == [1, 3]
    queue.failed([1, 3], 60.0)
    assert due_ids(queue, 120.0) == [2]
    queue.failed([2], 120.0)
    assert due_ids(queue, 180.0) == [1, 2, 3]


def test_when_the_service_is_back_the_rest_is_joined_again() -> None:
    """Once one that was tried by itself got through, what is left goes together: an outage does not end in a rattle of messages."""
    queue = queue_of(*(notice(n) for n in range(1, 9)))
    queue.failed(list(range(1, 9)), 0.0)
    assert due_ids(queue, 60.0) == [1]
    queue.sent([1])
    assert due_ids(queue, 60.0) == list(range(2, 9))


def test_the_end_does_not_overtake_the_beginning() -> None:
    """A fresh closing notice stands behind the much-tried opening of its episode, and does not cut its rest short."""
    queue = queue_of(notice(1))
    queue.failed([1], 0.0)
    queue.failed([1], 2.0)
    queue.offer(notice(2, alarm_number=1, closing=True))
    assert queue.next_due(5.0) == []
    assert due_ids(queue, 6.0) == [1, 2]


def test_meeting_a_notice_again_changes_nothing() -> None:
    """A notice that waits, or was dealt with, is not taken in again."""
    queue = queue_of(notice(1), notice(1))
    assert len(queue) == 1
    queue.sent([1])
    queue.offer(notice(1))
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
    """Whatever happens in whatever order, a high or critical notice leaves only by being sent, and is due within 60 s."""
    queue, now_s, offered, sent = Queue(longest), 0.0, 0, set()
    urgent: set[int] = set()
    for what, priority in steps:
        batch = due_ids(queue, now_s)
        if what == "offer":
            offered += 1
            queue.offer(notice(offered, priority))
            if priority in ("high", "critical"):
                urgent.add(offered)
        elif what == "wait":
            now_s += 30.0
        elif batch and what == "sent":
            queue.sent(batch[:1])
            sent.add(batch[0])
        elif batch:
            assert not urgent & set(queue.failed(batch[:1], now_s))
        if urgent - sent:
            assert set(due_ids(queue, now_s + 60.0))
    assert urgent - sent <= set(_all_ids(queue))


def _all_ids(queue: Queue) -> list[int]:
    """Every id still in the queue, found by sending until it is empty."""
    ids = []
    while batch := due_ids(queue, 1e12):
        ids.append(batch[0])
        queue.sent(batch[:1])
    return ids


# The workers.


class Reports:
    """Takes the attempts; many threads write, one reads."""

    def __init__(self) -> None:
        self.all: list[Attempt] = []

    def __call__(self, attempt: Attempt) -> None:
        self.all.append(attempt)

    def of(self, outcome: str, contact: str | None = None) -> list[int]:
        return [a.notice for a in list(self.all) if a.outcome == outcome and contact in (None, a.contact)]


def no_wait(_: float) -> float:
    return 0.0


@contextmanager
def running(
    delivery: Delivery,
    report: Callable[[Attempt], None],
    waiting: Sequence[Notice] = (),
    contacts: Sequence[Contact] = (OWNER, NEIGHBOUR),
    jitter: Callable[[float], float] = no_wait,
) -> Iterator[Dispatcher]:
    dispatcher = Dispatcher(
        contacts=contacts,
        delivery=delivery,
        stages=standard_stages(),
        report=report,
        utc=lambda: UTC_NOW,
        monotonic=time.monotonic,
        jitter=jitter,
    )
    dispatcher.start(waiting)
    try:
        yield dispatcher
    finally:
        dispatcher.stop(0.5)


def for_neighbour(id_: int, priority: str = "high") -> Notice:
    return notice(id_, priority, contact="neighbour")


def test_a_notice_is_sent_and_reported() -> None:
    """What is told goes to its contact once, and is reported as sent, with time and contact."""
    delivery, reports = FakeDelivery(), Reports()
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: reports.all)
    assert reports.all == [Attempt(1, "sent", "HTTP 200", UTC_NOW, "owner")]
    assert delivery.sent == [("owner", notice(1))]


def test_the_outbox_is_resumed_in_order() -> None:
    """What the outbox held at the start is sent: the critical one first, the rest as one message, each row marked."""
    delivery, reports = FakeDelivery(), Reports()
    waiting = [notice(1, "low"), notice(2, "high"), notice(3, "critical")]
    with running(delivery, reports, waiting):
        assert eventually(lambda: len(reports.all) == 3)
    assert [n.id for _, n in delivery.sent] == [3, 2]
    assert [(a.notice, a.outcome, a.detail) for a in reports.all] == [
        (3, "sent", "HTTP 200"),
        (2, "sent", "HTTP 200"),
        (1, "sent", "joined with #2"),
    ]


def test_a_failure_is_reported_and_tried_again() -> None:
    """Each failed attempt is reported as 'later' with its reason, and the success after it as 'sent'."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.fail("owner", 3)
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: reports.of("sent"))
    assert [(a.outcome, a.detail) for a in reports.all] == [("later", "HTTP 503")] * 3 + [("sent", "HTTP 200")]


def test_mild_news_ends_as_failed() -> None:
    """A low notice that fails twenty times is reported as failed once, with the last reason, and tried no more."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.fail("owner", 50)
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1, "low")])
        assert eventually(lambda: reports.of("failed"))
    assert len(reports.of("later")) == MAX_TRIES - 1
    assert reports.all[-1].detail == "given up after 20 attempts: HTTP 503"
    assert len(delivery.tried) == MAX_TRIES


def test_a_useless_address_fails_at_once() -> None:
    """A contact whose address can never work has its notices reported as failed, every joined one too, without a second try."""
    reports = Reports()
    delivery = FakeDelivery({"owner": [GiveUp("address json://***: no such service")]})
    with running(delivery, reports, [notice(1), notice(2)]):
        assert eventually(lambda: len(reports.all) == 2)
    assert [(a.notice, a.outcome, a.detail) for a in reports.all] == [
        (1, "failed", "address json://***: no such service"),
        (2, "failed", "address json://***: no such service"),
    ]
    assert len(delivery.tried) == 1


def test_a_contact_that_is_gone_is_reported() -> None:
    """A notice in the outbox for a contact that was taken out of the configuration fails, and says so."""
    reports = Reports()
    with running(FakeDelivery(), reports, [notice(1, contact="former")]):
        assert reports.all == [
            Attempt(
                1, "failed", "contact 'former' is not configured, expected one of: owner, neighbour", UTC_NOW, "former"
            )
        ]


def test_a_dead_contact_holds_up_no_other() -> None:
    """While one contact's attempt hangs, and another notice waits behind it, the other contact has its notice."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.hold("owner")
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1), for_neighbour(2), notice(3)])
        assert eventually(lambda: reports.of("sent", "neighbour") == [2])
        assert reports.of("sent", "owner") == []
        assert len([1 for contact, _ in delivery.tried if contact == "owner"]) == 1
        delivery.release("owner")
        assert eventually(lambda: sorted(reports.of("sent", "owner")) == [1, 3])


def test_a_library_that_raises_does_not_end_the_worker(caplog: pytest.LogCaptureFixture) -> None:
    """An exception counts as 'later' with its type's name; its text, which may hold the address, is nowhere; the notice gets through."""
    caplog.set_level(logging.DEBUG)
    reports = Reports()
    delivery = FakeDelivery({"owner": [ValueError(f"bad url json://{CANARY}"), TimeoutError(CANARY)]})
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: reports.of("sent"))
    assert [a.detail for a in reports.all] == ["ValueError", "TimeoutError", "HTTP 200"]
    assert CANARY not in caplog.text + repr(reports.all)
    assert "outcome=later detail=ValueError" in caplog.text


def test_a_report_that_raises_does_not_end_the_worker() -> None:
    """If the report of one notice fails, it is not sent again in this run, and the next one is sent."""
    seen: list[int] = []

    def report(attempt: Attempt) -> None:
        seen.append(attempt.notice)
        if attempt.notice == 1:
            raise RuntimeError("nobody takes it")

    delivery = FakeDelivery()
    with running(delivery, report) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: seen == [1])
        dispatcher.tell([notice(2)])
        assert eventually(lambda: seen == [1, 2])
    assert [n.id for _, n in delivery.sent] == [1, 2]


def test_stop_leaves_what_is_not_due_unreported() -> None:
    """A notice that rests after a failure is neither sent nor given up by a stop: nothing more is said of it, and stop is quick."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.fail("owner", 1)
    with running(delivery, reports, jitter=longest) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: reports.of("later"))
        started = time.monotonic()
        assert dispatcher.stop(5.0)
        assert time.monotonic() - started < 1.0
    assert [a.outcome for a in reports.all] == ["later"]


def test_stop_lets_the_attempt_under_way_finish() -> None:
    """An attempt that ends within the time of the stop is reported; what waited behind it is not begun."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.hold("owner")
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: delivery.tried)
        dispatcher.tell([notice(2)])
        release = threading.Timer(0.2, delivery.release, ["owner"])
        release.start()
        assert dispatcher.stop(5.0)
    assert reports.of("sent") == [1]
    assert len(delivery.tried) == 1


def test_stop_does_not_wait_for_ever() -> None:
    """An attempt that hangs past the time of the stop is left behind, without keeping the process, and reported to nobody: the outbox still has it."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.hold("owner")
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1), for_neighbour(2)])
        assert eventually(lambda: reports.of("sent") == [2])
        assert all(t.daemon for t in threading.enumerate() if t.name.startswith("notices-"))
        started = time.monotonic()
        assert not dispatcher.stop(0.3)
        assert time.monotonic() - started < 1.0
        delivery.release("owner")
        assert eventually(lambda: delivery.sent[-1] == ("owner", notice(1)))
        assert eventually(lambda: not [t for t in threading.enumerate() if t.name == "notices-owner"])
    assert reports.of("sent") == [2]


def test_a_dispatcher_that_was_never_started_can_be_stopped() -> None:
    """Stop before start, and stop twice, do no harm."""
    dispatcher = Dispatcher(
        contacts=[OWNER],
        delivery=FakeDelivery(),
        stages=standard_stages(),
        report=Reports(),
        utc=lambda: UTC_NOW,
        monotonic=time.monotonic,
        jitter=no_wait,
    )
    assert dispatcher.stop(0.1)
    assert dispatcher.stop(0.1)


def test_a_flood_is_delivered_once_each() -> None:
    """Two hundred notices told from four threads, over a service that fails now and then, are each reported as sent exactly once."""
    reports = Reports()
    delivery = FakeDelivery({"owner": [TryLater("HTTP 503")] * 7, "neighbour": [ValueError(), TryLater("x")]})
    with running(delivery, reports) as dispatcher:

        def tell(first: int) -> None:
            for id_ in range(first, first + 50):
                priority = ("low", "medium", "high", "critical")[id_ % 4]
                dispatcher.tell([notice(id_, priority) if id_ % 2 else for_neighbour(id_, priority)])

        threads = [threading.Thread(target=tell, args=(first,)) for first in (1, 51, 101, 151)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert eventually(lambda: len(reports.of("sent")) >= 200)
    assert sorted(reports.of("sent")) == list(range(1, 201))
    assert reports.of("failed") == []


# The workers, before real receivers.


def test_a_slow_drip_delays_neither_another_contact_nor_the_stop() -> None:
    """With one service sending its answer a header at a time, the other contact has its notice and stop keeps to its time."""
    with HttpReceiver("drip") as dead, HttpReceiver() as healthy:
        contacts = [Contact("owner", "Owner", dead.url()), Contact("neighbour", "Neighbour", healthy.url())]
        reports = Reports()
        delivery = AppriseDelivery(timeout_s=30.0)
        delivery.problem(dead.url())
        with running(delivery, reports, contacts=contacts) as dispatcher:
            dispatcher.tell([notice(1), for_neighbour(2)])
            assert eventually(lambda: dead.got and reports.of("sent") == [2], within_s=5.0)
            started = time.monotonic()
            assert not dispatcher.stop(0.5)
            assert time.monotonic() - started < 1.0
    assert [a.notice for a in reports.all] == [2]


def test_through_every_fault_to_the_phone() -> None:
    """One notice meets a busy, a cut, a portal's and a silent answer in turn, then gets through; each fault is named, no secret shown."""
    with HttpReceiver("busy") as phone:
        reports = Reports()
        faults = iter(["cut", "portal", "slow", "ok"])

        def report(attempt: Attempt) -> None:
            reports(attempt)
            phone.mode = next(faults, "ok")

        owner = Contact("owner", "Owner", phone.url(CANARY, "rto=0.4"))
        with running(AppriseDelivery(timeout_s=5.0), report, contacts=[owner]) as dispatcher:
            dispatcher.tell([notice(1)])
            assert eventually(lambda: reports.of("sent") == [1])
    assert [(a.outcome, a.detail) for a in reports.all] == [
        ("later", "failure: HTTP 503"),
        ("later", "failure: ConnectionError"),
        ("later", "a web page, not the service's own answer"),
        ("later", "failure: ReadTimeout"),
        ("sent", "HTTP 200"),
    ]
    assert CANARY in phone.paths[0]
    assert CANARY not in repr(reports.all)
