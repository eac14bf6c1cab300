"""Empties the outbox: one worker per contact, so that a dead service holds up no other, and one attempt at a time in each.

`Queue` decides, without thread or clock, which notice is next and when; `Dispatcher` lends it threads. Nothing is kept here that
the outbox does not hold: whatever was not reported as sent or failed is still waiting there when the daemon starts again, so a
stop in the middle of an attempt can tell a notice twice, and never loses one.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.domain.notice import Notice
from monitor.domain.record import Attempt
from monitor.domain.rules import CRITICAL, HIGH, PRIORITIES
from monitor.service.notify import Outgoing, Stage, episode, pass_through
from monitor.service.ports import Contact, Delivered, Delivery, GiveUp, Outcome, TryLater

BASE_WAIT_S = 2.0  # a passing fault is over in seconds
MAX_WAIT_URGENT_S = 60.0  # while something high or critical waits: what it is about may kill within the hour
# low and medium: minutes do not matter to them, and a service that limits its callers is left in peace
MAX_WAIT_S = 300.0
MAX_TRIES = 20  # low and medium only: on average half an hour without a phone service, then their news is old
_MAX_DOUBLINGS = 10  # past both limits; keeps the power small
_REMEMBERED = 1000  # ids already dealt with: meeting one again changes nothing

_log = logging.getLogger("eggroom.dispatcher")


@dataclass(slots=True)
class _Waiting:
    notice: Notice
    tries: int = 0
    with_others: bool = False  # whether the last attempt told other episodes too

    @property
    def urgent(self) -> bool:
        return self.notice.priority in (HIGH, CRITICAL)


class Queue:
    """One contact's unsent notices: which is next, and when. Pure but for its own state; time is handed in, seconds, forward only.

    After a failure the contact rests, for it is the service that fails, not the notice: full jitter, U(0, w), with w from 2 s doubling to
    60 s while anything urgent waits, else to 300 s. A high or critical notice that was never tried does not wait for that.
    Order: least tried, then most urgent, then oldest. "Least tried" comes first so that a notice which the service will never
    take cannot stand in the way of the others for ever; it costs the urgent little, for after a success the rest follows at once.

    jitter: called with w, gives the wait, from 0 to w.
    """

    def __init__(self, jitter: Callable[[float], float]) -> None:
        self._jitter = jitter
        self._waiting: dict[int, _Waiting] = {}
        self._done: deque[int] = deque(maxlen=_REMEMBERED)
        self._failures = 0
        self._rest_until_s = float("-inf")

    def __len__(self) -> int:
        return len(self._waiting)

    def offer(self, notice: Notice) -> None:
        """Take a notice in; one that waits or was dealt with already changes nothing."""
        if notice.id not in self._waiting and notice.id not in self._done:
            self._waiting[notice.id] = _Waiting(notice)

    def due_s(self) -> float | None:
        """When the next attempt may be made; None when nothing waits."""
        if not self._waiting:
            return None
        untried = any(tries == 0 and self._waiting[id_].urgent for tries, _, id_ in self._ranks())
        return float("-inf") if untried else self._rest_until_s

    def next_due(self, now_s: float) -> list[Notice]:
        """What may be told now, the one whose turn it is first; empty when nothing is due.

        While the service fails, what was refused as one message with others is next offered by itself (all of its episode).
        """
        due_s = self.due_s()
        if due_s is None or now_s < due_s:
            return []
        ordered = [self._waiting[id_] for _, _, id_ in self._ranks()]
        first = ordered[0]
        alone = self._failures > 0 and first.with_others
        return [w.notice for w in ordered if not alone or episode(w.notice) == episode(first.notice)]

    def sent(self, ids: Iterable[int]) -> None:
        """These got through: the service works, so the rest may follow at once."""
        self.dropped(ids)
        self._failures = 0
        self._rest_until_s = float("-inf")

    def failed(self, ids: Sequence[int], now_s: float) -> list[int]:
        """These did not get through now. Returns those that have been tried often enough, and are not urgent: they are dropped."""
        tried = [self._waiting[id_] for id_ in ids]
        with_others = len({episode(w.notice) for w in tried}) > 1
        for waiting in tried:
            waiting.tries += 1
            waiting.with_others = with_others
        over: list[int] = []
        if not any(w.urgent for w in tried):
            over = [w.notice.id for w in tried if w.tries >= MAX_TRIES]
            self.dropped(over)
        limit_s = MAX_WAIT_URGENT_S if any(w.urgent for w in self._waiting.values()) else MAX_WAIT_S
        wait_s = min(limit_s, BASE_WAIT_S * 2.0 ** min(self._failures, _MAX_DOUBLINGS))
        self._failures += 1
        self._rest_until_s = now_s + self._jitter(wait_s)
        return over

    def dropped(self, ids: Iterable[int]) -> None:
        """These are done with."""
        for id_ in ids:
            del self._waiting[id_]
            self._done.append(id_)

    def _ranks(self) -> list[tuple[int, int, int]]:
        """(tries, urgency, id) of everything that waits, in order. A notice counts at least the tries of the earlier ones of its
        episode: "no longer too hot" must not overtake the "too hot" that would then read as new.
        """
        most: dict[int, int] = {}
        ranks = []
        for waiting in sorted(self._waiting.values(), key=lambda w: w.notice.id):
            notice = waiting.notice
            tries = most[episode(notice)] = max(most.get(episode(notice), 0), waiting.tries)
            ranks.append((tries, -PRIORITIES.index(notice.priority), notice.id))
        return sorted(ranks)


class Dispatcher:
    """A worker thread for each contact, started by `start` and ended by `stop`; `tell` may be called from any thread.

    report is called from the workers, with one Attempt for each notice that was sent or failed for good, and with one 'later'
    for a message that must be tried again (its leading notice).
    """

    def __init__(
        self,
        *,
        contacts: Sequence[Contact],
        delivery: Delivery,
        stages: Sequence[Stage],
        report: Callable[[Attempt], None],
        utc: Callable[[], datetime],
        monotonic: Callable[[], float],
        jitter: Callable[[float], float],
    ) -> None:
        self._report = report
        self._utc = utc
        self._monotonic = monotonic
        self._workers = {
            contact.id: _Worker(contact, delivery, stages, report, utc, monotonic, Queue(jitter))
            for contact in contacts
        }

    def start(self, waiting: Sequence[Notice] = ()) -> None:
        """Resume what the outbox held, and begin. Notices to contacts that are no longer configured are reported as failed."""
        known = ", ".join(self._workers) or "none"
        for notice in waiting:
            if notice.contact not in self._workers:
                detail = f"contact {notice.contact!r} is not configured, expected one of: {known}"
                self._report(Attempt(notice.id, "failed", detail, self._utc(), notice.contact))
        self.tell([n for n in waiting if n.contact in self._workers])
        for worker in self._workers.values():
            worker.start()

    def tell(self, notices: Sequence[Notice]) -> None:
        """Take in notices that are now durable. Returns at once."""
        for notice in notices:
            worker = self._workers.get(notice.contact)
            if worker is None:
                _log.error(
                    "notice id=%d contact=%s is not configured, it stays in the outbox", notice.id, notice.contact
                )
            else:
                worker.offer(notice)

    def stop(self, timeout_s: float) -> bool:
        """End the workers; an attempt under way may finish within timeout_s. Whether all of them did.

        What had not been reported by then is not reported later either: it stays waiting in the outbox.
        """
        for worker in self._workers.values():
            worker.stop()
        until_s = self._monotonic() + timeout_s
        ended = [worker.join(until_s - self._monotonic()) for worker in self._workers.values()]
        return all(ended)


class _Worker:
    """One contact's thread."""

    def __init__(
        self,
        contact: Contact,
        delivery: Delivery,
        stages: Sequence[Stage],
        report: Callable[[Attempt], None],
        utc: Callable[[], datetime],
        monotonic: Callable[[], float],
        queue: Queue,
    ) -> None:
        self._contact = contact
        self._delivery = delivery
        self._stages = stages
        self._report = report
        self._utc = utc
        self._monotonic = monotonic
        self._queue = queue
        self._changed = threading.Condition()
        self._stopping = False
        self._abandoned = False
        # A daemon thread: a service that never answers must not keep the process from ending.
        self._thread = threading.Thread(target=self._run, name=f"notices-{contact.id}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def offer(self, notice: Notice) -> None:
        with self._changed:
            self._queue.offer(notice)
            self._changed.notify()

    def stop(self) -> None:
        """Begin no further attempt."""
        with self._changed:
            self._stopping = True
            self._changed.notify()

    def join(self, timeout_s: float) -> bool:
        """Whether the thread ended in time; if not, whatever it still does is reported to nobody."""
        if self._thread.ident is not None:
            self._thread.join(max(0.0, timeout_s))
        with self._changed:
            self._abandoned = self._thread.is_alive()
        return not self._abandoned

    def _run(self) -> None:
        while batch := self._next():
            try:
                self._conclude(*self._attempt(batch))
            except Exception as error:  # noqa: BLE001
                # Our own mistake, then; but this thread is the only way to wake this contact, so it goes on.
                _log.error("worker contact=%s error=%s", self._contact.id, type(error).__name__)

    def _attempt(self, batch: list[Notice]) -> tuple[Outgoing, Outcome]:
        outgoing = Outgoing(batch[0])
        try:
            outgoing = pass_through(self._stages, batch, self._utc())[0]
            return outgoing, self._delivery.send(outgoing.notice, self._contact)
        except Exception as error:  # noqa: BLE001
            # A library that breaks its word must not silence a contact. The type alone is told: the text may hold the address.
            return outgoing, TryLater(type(error).__name__)

    def _next(self) -> list[Notice]:
        """Wait for what is due; empty when it is time to end."""
        with self._changed:
            while not self._stopping:
                now_s = self._monotonic()
                batch = self._queue.next_due(now_s)
                if batch:
                    return batch
                due_s = self._queue.due_s()
                self._changed.wait(None if due_s is None else due_s - now_s)
            return []

    def _conclude(self, outgoing: Outgoing, outcome: Outcome) -> None:
        """Settle the queue first, then report: a report that fails must not make the notice go out again in this run."""
        with self._changed:
            if self._abandoned:
                return
            attempts = self._settle(outgoing, outcome)
        for attempt in attempts:
            _log.log(
                logging.INFO if attempt.outcome == "sent" else logging.WARNING,
                "notice id=%d contact=%s outcome=%s detail=%s",
                attempt.notice, attempt.contact, attempt.outcome, attempt.detail,
            )  # fmt: skip
            self._report(attempt)

    def _settle(self, outgoing: Outgoing, outcome: Outcome) -> list[Attempt]:
        """What the queue makes of the outcome, and what is to be reported."""
        at, head, ids, contact = self._utc(), outgoing.notice.id, outgoing.ids, self._contact.id
        if isinstance(outcome, Delivered):
            self._queue.sent(ids)
            joined = [Attempt(id_, "sent", f"joined with #{head}", at, contact) for id_ in outgoing.joined]
            return [Attempt(head, "sent", outcome.detail, at, contact), *joined]
        if isinstance(outcome, GiveUp):
            self._queue.dropped(ids)
            return [Attempt(id_, "failed", outcome.detail, at, contact) for id_ in ids]
        over = self._queue.failed(ids, self._monotonic())
        later = [] if head in over else [Attempt(head, "later", outcome.detail, at, contact)]
        detail = f"given up after {MAX_TRIES} attempts: {outcome.detail}"
        return later + [Attempt(id_, "failed", detail, at, contact) for id_ in over]
