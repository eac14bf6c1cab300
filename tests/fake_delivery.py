"""A delivery port without a network: says what it is told to say, and keeps what it was given."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping

from monitor.domain.alarms.notice import Notice
from monitor.domain.refusal import Refusal
from monitor.service.ports import Contact, Delivered, GiveUp, Outcome, TryLater

KNOWN = ("json", "jsons", "mailto", "mailtos", "ntfy", "ntfys", "fake")


class FakeDelivery:
    """Keeps the Delivery port.

    outcomes: contact id -> what its next attempts come to, in turn; an exception among them is raised; when they are used up,
    or there are none, every attempt is delivered. An address of unknown scheme is given up, as the real one does.
    """

    def __init__(self, outcomes: Mapping[str, Iterable[Outcome | Exception]] | None = None) -> None:
        self._outcomes = {contact: list(given) for contact, given in (outcomes or {}).items()}
        self._held: dict[str, threading.Event] = {}
        self.tried: list[tuple[str, Notice]] = []  # (contact id, notice as sent), every attempt
        self.sent: list[tuple[str, Notice]] = []  # those that were delivered

    def send(self, notice: Notice, contact: Contact) -> Outcome:
        """One attempt."""
        self.tried.append((contact.id, notice))
        if contact.id in self._held:
            self._held[contact.id].wait()
        problem = self.problem(contact.url)
        if problem is not None:
            return GiveUp(str(problem))
        left = self._outcomes.get(contact.id)
        outcome = left.pop(0) if left else Delivered("HTTP 200")
        if isinstance(outcome, Exception):
            raise outcome
        if isinstance(outcome, Delivered):
            self.sent.append((contact.id, notice))
        return outcome

    def problem(self, url: str) -> Refusal | None:
        """Why the address is of no use; shows its scheme only."""
        scheme, found, _ = url.partition("://")
        if scheme in KNOWN and found:
            return None
        return Refusal(f"address {scheme}://***", "unknown") if found else Refusal("address ***", "no scheme")

    def fail(self, contact: str, times: int, detail: str = "HTTP 503") -> None:
        """The next `times` attempts to this contact come to nothing."""
        self._outcomes.setdefault(contact, []).extend([TryLater(detail)] * times)

    def hold(self, contact: str) -> None:
        """Attempts to this contact hang until `release`."""
        self._held[contact] = threading.Event()

    def release(self, contact: str) -> None:
        """Let what hangs go on, and hang no more."""
        self._held.pop(contact).set()
