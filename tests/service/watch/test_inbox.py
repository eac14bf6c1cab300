"""The queue between all that comes and the one that decides."""

from __future__ import annotations

import threading
import time

from monitor.domain.readings.reading import Now
from monitor.domain.state.happened import LOST, Broker
from monitor.service.watch.inbox import Inbox, Linked, Stop
from tests.domain.house import T0

NOW = Now(1.0, T0)


def linked(detail: str = "") -> Linked:
    return Linked(NOW, True, Broker(LOST, detail))


def test_items_are_taken_in_the_order_in_which_they_came() -> None:
    """First in, first out; nothing when there is nothing; the stop is the last."""
    inbox = Inbox()
    for name in "abc":
        inbox.put(linked(name))
    inbox.close(NOW)
    assert inbox.waiting() == 4
    assert [inbox.take(0.0) for _ in range(5)] == [linked("a"), linked("b"), linked("c"), Stop(NOW), None]
    assert inbox.waiting() == 0


def test_a_full_queue_lets_nobody_in_until_one_is_taken() -> None:
    """Who brings more than it holds waits; nothing is lost."""
    inbox = Inbox(max_items=2)
    inbox.put(linked("a"))
    inbox.put(linked("b"))
    late = threading.Thread(target=inbox.put, args=[linked("c")])
    late.start()
    late.join(0.2)
    assert late.is_alive()
    assert inbox.waiting() == 2
    assert inbox.take(0.0) == linked("a")
    late.join(30.0)
    assert [inbox.take(0.0), inbox.take(0.0)] == [linked("b"), linked("c")]


def test_a_fast_clock_waits_as_much_shorter() -> None:
    """Ten minutes of a clock that runs six thousand times as fast are a tenth of a second."""
    began = time.monotonic()
    assert Inbox(pace=6_000.0).take(600.0) is None
    assert 0.05 < time.monotonic() - began < 20.0


def test_who_waits_for_less_than_a_second_waits() -> None:
    """An item that comes within the time is taken; a wait of nothing is none."""
    inbox = Inbox()
    threading.Timer(0.1, inbox.put, [linked("a")]).start()
    assert inbox.take(0.9) == linked("a")
    began = time.monotonic()
    assert inbox.take(0.0) is None
    assert inbox.take(-5.0) is None
    assert time.monotonic() - began < 0.5


def test_a_clock_that_is_lifes_own_waits_as_long_as_it_says() -> None:
    """Unless told otherwise a second is a second."""
    began = time.monotonic()
    assert Inbox().take(0.3) is None
    assert time.monotonic() - began >= 0.29
