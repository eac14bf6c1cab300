"""Empties the outbox: one worker per contact, so that a dead service holds up no other, and one attempt at a time in each.

`Queue` (outbox.py) decides, without thread or clock, which notice is next and when; `Dispatcher` lends it threads. Nothing is kept
here that the outbox does not hold: whatever was not reported as sent or failed is still waiting there when the daemon starts again,
so a stop in the middle of an attempt can tell a notice twice, and never loses one.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from datetime import datetime

from monitor.domain.alarms.notice import Answered, Live, Notice
from monitor.domain.state.record import Attempt
from monitor.service.ports import Contact, Delivered, Delivery, GiveUp, Outcome, TryLater
from monitor.service.watch.notify import Outgoing, Stage, pass_through
from monitor.service.watch.outbox import MAX_TRIES, Queue

_log = logging.getLogger("eggroom.dispatcher")


class Dispatcher:
    """A worker thread for each contact, started by `start` and ended by `stop`; `tell` may be called from any thread.

    report is called from the workers, with one Attempt for each notice that was sent or failed for good, and with one 'later'
    for a message that must be tried again (its leading notice). wall: now on the wall clock of the house, None while that is not known. pace: how many of the clock's seconds pass in one of life's.
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
        wall: Callable[[], datetime | None] = lambda: None,
        pace: float = 1.0,
    ) -> None:
        self._report = report
        self._utc = utc
        self._monotonic = monotonic
        self._pace = pace
        self._workers = {
            contact.id: _Worker(
                contact,
                Queue(jitter, contact.hearing),
                delivery=delivery,
                stages=stages,
                report=report,
                utc=utc,
                monotonic=monotonic,
                wall=wall,
                pace=pace,
            )
            for contact in contacts
        }

    def start(self, waiting: Sequence[Notice] = (), answered: Sequence[Answered] = ()) -> None:
        """Resume what the outbox held, but for what was answered since, and begin. Notices to contacts that are no longer configured are
        reported as failed.
        """
        known = ", ".join(self._workers) or "none"
        for notice in waiting:
            if notice.contact not in self._workers:
                detail = f"contact {notice.contact!r} is not configured, expected one of: {known}"
                self._report(Attempt(notice.id, "failed", detail, self._utc(), notice.contact))
        self.tell([n for n in waiting if n.contact in self._workers])
        self.answered(answered)
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

    def answered(self, answered: Sequence[Answered]) -> None:
        """Of these episodes nobody is to be told any more: what waits of them is reported as cancelled. Returns at once."""
        for worker in self._workers.values() if answered else ():
            worker.answered(answered)

    def renew(self, live: Sequence[Live]) -> None:
        """What stands now of what waits: it is told as it is when it is told. Returns at once."""
        for worker in self._workers.values() if live else ():
            worker.renew(live)

    def stand_still(self, for_s: float) -> list[str]:
        """The contacts whose worker has ended by itself, or has been at one attempt for that long. Waits for no lock."""
        return [contact for contact, worker in self._workers.items() if worker.stands_still(for_s)]

    def stop(self, timeout_s: float) -> bool:
        """End the workers; an attempt under way may finish within timeout_s. Whether all of them did.

        What had not been reported by then is not reported later either: it stays waiting in the outbox.
        """
        for worker in self._workers.values():
            worker.stop()
        until_s = self._monotonic() + timeout_s * self._pace
        ended = [worker.join((until_s - self._monotonic()) / self._pace) for worker in self._workers.values()]
        return all(ended)


class _Worker:
    """One contact's thread."""

    def __init__(
        self,
        contact: Contact,
        queue: Queue,
        *,
        delivery: Delivery,
        stages: Sequence[Stage],
        report: Callable[[Attempt], None],
        utc: Callable[[], datetime],
        monotonic: Callable[[], float],
        wall: Callable[[], datetime | None],
        pace: float,
    ) -> None:
        self._wall = wall
        self._contact = contact
        self._delivery = delivery
        self._stages = stages
        self._report = report
        self._utc = utc
        self._monotonic = monotonic
        self._pace = pace
        self._queue = queue
        self._changed = threading.Condition()
        self._stopping = False
        self._abandoned = False
        self._busy_since_s: float | None = None
        # A daemon thread: a service that never answers must not keep the process from ending.
        self._thread = threading.Thread(target=self._run, name=f"notices-{contact.id}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def offer(self, notice: Notice) -> None:
        with self._changed:
            self._queue.offer(notice, self._monotonic(), self._wall())
            self._changed.notify()

    def answered(self, answered: Sequence[Answered]) -> None:
        with self._changed:
            self._queue.answered(answered)
            self._changed.notify()

    def renew(self, live: Sequence[Live]) -> None:
        with self._changed:
            self._queue.renew(live)

    def stands_still(self, for_s: float) -> bool:
        """Whether it has ended by itself, or has been at one attempt for that long."""
        since_s = self._busy_since_s
        ended = self._thread.ident is not None and not self._thread.is_alive() and not self._stopping
        return ended or (since_s is not None and self._monotonic() - since_s >= for_s)

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
        while (following := self._next()) is not None:
            needless, batch = following
            self._busy_since_s = self._monotonic()
            try:
                for attempt in needless:
                    self._said(attempt)
                if batch:
                    self._conclude(*self._attempt(batch))
            except Exception as error:  # noqa: BLE001 - the thread goes on
                # Our own mistake, then; but this thread is the only way to wake this contact, so it goes on.
                _log.error("worker contact=%s error=%s", self._contact.id, type(error).__name__)
            self._busy_since_s = None

    def _attempt(self, batch: list[Notice]) -> tuple[Outgoing, Outcome]:
        outgoing = Outgoing(batch[0])
        try:
            with self._changed:
                told = self._queue.told()
            outgoing = pass_through(self._stages, batch, told)[0]
            return outgoing, self._delivery.send(outgoing.notice, self._contact)
        except Exception as error:  # noqa: BLE001 - whatever a library raises
            # A library that breaks its word must not silence a contact. The type alone is told: the text may hold the address.
            return outgoing, TryLater(type(error).__name__)

    def _next(self) -> tuple[list[Attempt], list[Notice]] | None:
        """Wait for what is due, and for what needs no telling any more; None when it is time to end.

        No attempt is under way meanwhile, so that nothing is called off that is being sent.
        """
        with self._changed:
            while not self._stopping:
                now_s = self._monotonic()
                needless, batch = self._queue.call_off(), self._queue.next_due(now_s)
                if needless or batch:
                    at = self._utc()
                    return [Attempt(id_, "cancelled", why, at, self._contact.id) for id_, why in needless], batch
                due_s = self._queue.due_s()
                self._changed.wait(None if due_s is None else (due_s - now_s) / self._pace)
            return None

    def _conclude(self, outgoing: Outgoing, outcome: Outcome) -> None:
        """Settle the queue first, then report: a report that fails must not make the notice go out again in this run."""
        with self._changed:
            if self._abandoned:
                return
            attempts = self._settle(outgoing, outcome)
        for attempt in attempts:
            self._said(attempt)

    def _said(self, attempt: Attempt) -> None:
        _log.log(
            logging.INFO if attempt.outcome in ("sent", "cancelled") else logging.WARNING,
            "notice id=%d contact=%s outcome=%s detail=%s",
            attempt.notice, attempt.contact, attempt.outcome, attempt.detail,
        )  # fmt: skip
        self._report(attempt)

    def _settle(self, outgoing: Outgoing, outcome: Outcome) -> list[Attempt]:
        """What the queue makes of the outcome, and what is to be reported."""
        at, head, ids, contact = self._utc(), outgoing.notice.id, outgoing.ids, self._contact.id
        if isinstance(outcome, Delivered):
            self._queue.sent(ids, self._monotonic())
            joined = [Attempt(id_, "sent", f"joined with #{head}", at, contact) for id_ in outgoing.joined]
            return [Attempt(head, "sent", outcome.detail, at, contact), *joined]
        if isinstance(outcome, GiveUp):
            self._queue.dropped(ids)
            return [Attempt(id_, "failed", outcome.detail, at, contact) for id_ in ids]
        over = self._queue.failed(ids, self._monotonic())
        later = [] if head in over else [Attempt(head, "later", outcome.detail, at, contact)]
        detail = f"given up after {MAX_TRIES} attempts: {outcome.detail}"
        return later + [Attempt(id_, "failed", detail, at, contact) for id_ in over]
