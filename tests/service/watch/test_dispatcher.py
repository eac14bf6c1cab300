"""The dispatcher's workers, with a fake and with real receivers."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest

from monitor.adapters.delivery import AppriseDelivery
from monitor.domain.alarms.notice import Answered, Notice
from monitor.domain.state.record import Attempt
from monitor.service.ports import Contact, Delivery, GiveUp, TryLater
from monitor.service.watch.dispatcher import Dispatcher
from monitor.service.watch.notify import standard_stages
from tests.delivery_port import CANARY, notice
from tests.fake_delivery import FakeDelivery
from tests.receivers import HttpReceiver, eventually
from tests.told import WORDS

# Written out: taken from the program, they would move with it.
MAX_TRIES = 20  # half an hour, on average

FAST = 600.0  # a clock on which a flood's half minute is a twentieth of a second
UTC_NOW = datetime(2026, 5, 4, 1, 30, tzinfo=UTC)
OWNER, NEIGHBOUR = Contact("owner", "Owner", "fake://a"), Contact("neighbour", "Neighbour", "fake://b")


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
    speed: float = 1.0,
) -> Iterator[Dispatcher]:
    dispatcher = Dispatcher(
        contacts=contacts,
        delivery=delivery,
        stages=standard_stages(WORDS),
        report=report,
        utc=lambda: UTC_NOW,
        monotonic=lambda: speed * time.monotonic(),
        jitter=jitter,
        pace=speed,
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
    """What the outbox held at the start is sent: the critical one first, then the rest as one message, each row marked."""
    delivery, reports = FakeDelivery(), Reports()
    waiting = [notice(1, "medium"), notice(2, "high"), notice(3, "critical")]
    with running(delivery, reports, waiting, speed=FAST):
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
    """A mild notice that fails twenty times is reported as failed once, with the last reason, and tried no more."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.fail("owner", 50)
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1, "medium")])
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
    with running(delivery, report, speed=FAST) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: seen == [1])
        dispatcher.tell([notice(2)])
        assert eventually(lambda: seen == [1, 2])
    assert [n.id for _, n in delivery.sent] == [1, 2]


def test_stop_leaves_what_is_not_due_unreported() -> None:
    """A notice that rests after a failure is neither sent nor given up by a stop: nothing more is said of it, and stop is quick."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.fail("owner", 1)
    with running(delivery, reports, jitter=lambda wait_s: wait_s) as dispatcher:
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
        stages=standard_stages(WORDS),
        report=Reports(),
        utc=lambda: UTC_NOW,
        monotonic=time.monotonic,
        jitter=no_wait,
    )
    assert dispatcher.stop(0.1)
    assert dispatcher.stop(0.1)


def test_a_worker_wakes_for_what_it_held_back() -> None:
    """A flood is two messages: the first at once, the rest when its half minute is over, with nothing else to wake the worker."""
    delivery, reports = FakeDelivery(), Reports()
    with running(delivery, reports, speed=FAST) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: reports.of("sent") == [1])
        dispatcher.tell([notice(n) for n in range(2, 7)])
        assert eventually(lambda: len(reports.all) == 6)
    assert [n.title for _, n in delivery.sent] == [
        "Machine 1: too hot",
        "Urgent: 6 machines too hot",
    ]
    assert [(a.notice, a.detail) for a in reports.all[2:]] == [(n, "joined with #2") for n in range(3, 7)]


def test_a_flood_is_delivered_once_each() -> None:
    """Two hundred notices told from four threads, over a service that fails now and then, are each reported as sent exactly once."""
    reports = Reports()
    delivery = FakeDelivery({"owner": [TryLater("HTTP 503")] * 7, "neighbour": [ValueError(), TryLater("x")]})
    with running(delivery, reports, speed=FAST) as dispatcher:

        def tell(first: int) -> None:
            for id_ in range(first, first + 50):
                priority = ("medium", "high", "critical")[id_ % 3]
                dispatcher.tell([notice(id_, priority) if id_ % 2 else for_neighbour(id_, priority)])

        threads = [threading.Thread(target=tell, args=(first,)) for first in (1, 51, 101, 151)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert eventually(lambda: len(reports.of("sent")) >= 200)
    assert sorted(reports.of("sent")) == list(range(1, 201))
    assert reports.of("failed") == []


def test_where_nobody_is_configured_that_is_said() -> None:
    """A notice for a contact in a house of none."""
    reports = Reports()
    with running(FakeDelivery(), reports, [notice(1, contact="former")], contacts=[]):
        (failed,) = reports.all
    assert failed.detail == "contact 'former' is not configured, expected one of: none"


def test_a_notice_for_a_stranger_stays_where_it_is(caplog: pytest.LogCaptureFixture) -> None:
    """It is an error in the log and nothing else; those beside it are sent."""
    delivery, reports = FakeDelivery(), Reports()
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1, contact="former"), notice(2)])
        assert eventually(lambda: reports.all)
    assert [a.notice for a in reports.all] == [2]
    assert [r.getMessage() for r in caplog.records if r.levelno == logging.ERROR] == [
        "notice id=1 contact=former is not configured, it stays in the outbox"
    ]


def test_what_came_of_it_is_in_the_log(caplog: pytest.LogCaptureFixture) -> None:
    """What was sent as news, anything else as a warning."""
    caplog.set_level(logging.INFO)
    delivery, reports = (
        FakeDelivery({"owner": [TryLater("HTTP 503")], "neighbour": [GiveUp("no such service")]}),
        Reports(),
    )
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1), for_neighbour(2)])
        assert eventually(lambda: len(reports.all) == 3)
    said = {(r.levelno, r.getMessage().partition(" outcome=")[2].partition(" ")[0]) for r in caplog.records}
    assert said == {(logging.INFO, "sent"), (logging.WARNING, "later"), (logging.WARNING, "failed")}


def test_on_a_fast_clock_a_stop_has_as_many_of_its_seconds() -> None:
    """The seconds of a stop are life's: an attempt that ends within them is reported, one that hangs is left behind in time."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.hold("owner")
    with running(delivery, reports, speed=FAST) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: delivery.tried)
        threading.Timer(0.2, delivery.release, ["owner"]).start()
        assert dispatcher.stop(5.0)
    assert reports.of("sent") == [1]
    delivery.hold("owner")
    with running(delivery, reports, speed=FAST) as dispatcher:
        dispatcher.tell([notice(2)])
        assert eventually(lambda: len(delivery.tried) == 2)
        started = time.monotonic()
        assert not dispatcher.stop(0.3)
        assert 0.2 < time.monotonic() - started < 2.0
        delivery.release("owner")


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


def test_what_was_answered_is_told_to_nobody() -> None:
    """While a service fails a person answers: what waits of it is cancelled and never tried again; the end of another is told."""
    delivery, reports = FakeDelivery(), Reports()
    delivery.hold("owner")
    with running(delivery, reports) as dispatcher:
        dispatcher.tell([notice(1)])
        assert eventually(lambda: delivery.tried)
        dispatcher.tell([notice(2), notice(3)])
        dispatcher.answered([Answered(2, 3, True), Answered(1, 3, True)])
        delivery.fail("owner", 1)
        delivery.release("owner")
        assert eventually(lambda: len(reports.all) >= 4)
    assert sorted((a.notice, a.outcome) for a in reports.all) == [
        (1, "cancelled"), (1, "later"), (2, "cancelled"), (3, "sent"),
    ]  # fmt: skip
    assert [n.id for _, n in delivery.sent] == [3]


def test_a_start_leaves_out_what_was_answered_since() -> None:
    """What the outbox held of an alarm that somebody answered meanwhile is cancelled."""
    delivery, reports = FakeDelivery(), Reports()
    with running(delivery, reports) as dispatcher:
        dispatcher.answered([Answered(1, 1, True)])
        dispatcher.tell([notice(2)])
        assert eventually(lambda: reports.of("sent") == [2])
    dispatcher = Dispatcher(
        contacts=[OWNER], delivery=delivery, stages=standard_stages(WORDS), report=reports, utc=lambda: UTC_NOW,
        monotonic=time.monotonic, jitter=lambda wait_s: 0.0,
    )  # fmt: skip
    dispatcher.start([notice(7)], [Answered(7, 7, True)])
    try:
        assert eventually(lambda: reports.of("cancelled") == [7])
    finally:
        dispatcher.stop(5.0)
    assert [n.id for _, n in delivery.sent] == [2]
