"""What a phone receives: the daemon's own engine, queue and stages in virtual time, before a phone service that always answers.

Time passes as it does for a replay: from one moment at which something may be decided to the next. An `Ear` is a judge with its phone; the
deaf and the nervous one have theirs too, so that the bars are known to be able to fail.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from typing import Any, Protocol

from monitor.adapters.requests import read_request
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.alarms.alarm import UNACKNOWLEDGED, state_of
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Message
from monitor.domain.state.happened import CONNECTED, NOT_THERE, Broker
from monitor.domain.state.record import Attempt, Group
from monitor.service.chores.due import chores_of
from monitor.service.watch.engine import answered_before
from monitor.service.watch.inbox import Asked, Attempted, CalendarDue, Elsewhere, Item, Linked, Networked
from tests.truth.floods import QueuedPhone
from tests.truth.judges import DEAF, NERVOUS, REAL, Nervous, Real, Told
from tests.truth.scenarios import MONO0_S, now_at

STEP_S = 1.0


@dataclass(frozen=True, slots=True)
class Rung:
    """One message as it reached the phone; at_s from the beginning of the story. rule, subject: of what leads it; rules: of all that it tells;
    over: whether it says that something is over.
    """

    at_s: float
    priority: str
    title: str
    text: str
    rule: str = ""
    subject: str = ""
    rules: frozenset[str] = frozenset()
    over: bool = False


class Ear(Protocol):
    """A judge and its phone. said: what was told, at_s from the beginning of the story; rang_s: when the phone had each of it (None: never);
    rung: the messages that it became.
    """

    name: str
    said: list[Told]
    rang_s: list[float | None]
    rung: list[Rung]

    def begin(self, site: Site, begin_s: float) -> None:
        """A new story, which begins so long after the clocks' own beginning."""
        ...

    def ask(self, at_s: float, request: Mapping[str, Any]) -> Mapping[str, Any]:
        """What a person says, and the answer."""
        ...

    def hear(self, at_s: float, message: Message) -> None:
        """One message of a node."""
        ...

    def link(self, at_s: float, connected: bool) -> None:
        """The daemon's own connection to the broker is lost, or back."""
        ...

    def network(self, at_s: float, up: bool) -> None:
        """The network of the daemon's own machine is gone, or back."""
        ...

    def elsewhere(self, at_s: float, node: str) -> None:
        """A node speaks, and as another site's."""
        ...

    def pass_until(self, at_s: float) -> None:
        """Time passes, and nothing comes."""
        ...

    def unanswered(self) -> list[int]:
        """The numbers of the alarms that stand and that nobody answered."""
        ...

    def cut(self) -> None:
        """The daemon loses its power."""
        ...

    def start_again(self, at_s: float) -> None:
        """The daemon has power again."""
        ...

    def end(self) -> None:
        """The story is over."""
        ...


@dataclass
class _Kept(Real):
    """The engine's ledger: what was told, and all of it in a record on disk where a run must be taken up again."""

    record: SqliteLedger | None = None

    def commit(self, group: Group) -> None:
        """See the port."""
        super().commit(group)
        if self.record is not None:
            self.record.commit(group)


@dataclass
class Daemon:
    """The real one. folder: where its record is kept, if it may lose its power."""

    folder: Path | None = None
    name: str = REAL
    said: list[Told] = field(default_factory=list)
    rang_s: list[float | None] = field(default_factory=list)
    rung: list[Rung] = field(default_factory=list)
    _real: _Kept = field(default_factory=_Kept)
    _site: Site | None = None
    _begin_s: float = 0.0
    _at_s: float = 0.0
    _phone: QueuedPhone | None = None
    _attempts: list[Attempt] = field(default_factory=list)
    _seen: int = 0
    _open: contextlib.ExitStack = field(default_factory=contextlib.ExitStack)
    _calendar_s: float = math.inf
    _off: bool = False
    _went_s: dict[int, float] = field(default_factory=dict)

    def begin(self, site: Site, begin_s: float) -> None:
        """See the port."""
        self._site, self._begin_s = site, begin_s
        if self.folder is not None:
            self.start_again(0.0)
            return
        self._connect()
        self._real.begin(site, now_at(begin_s))
        self._calendar()

    def start_again(self, at_s: float) -> None:
        """See the port."""
        assert self._site is not None
        assert self.folder is not None
        self._off, self._at_s = False, at_s
        opened = self._open.enter_context(contextlib.closing(open_writer(self.folder / "record.db")))
        self._real.record = SqliteLedger(opened.connection)
        loaded, now = self._real.record.load(), now_at(self._begin_s + at_s)
        phone = self._connect()
        self._real.take_up(self._site, now, loaded, hands_on=True)
        phone.answered(answered_before(loaded))
        self._ring(loaded.waiting)
        self._calendar()

    def _connect(self) -> QueuedPhone:
        """A queue with nothing in it."""
        assert self._site is not None
        self._phone = QueuedPhone(self._site, self._attempts.append)
        self._real.tell_answered = self._phone.answered
        return self._phone

    def _calendar(self) -> None:
        """What is due by the calendar, as at a start, and when it will be next: at each chore's time, in UTC, which is this house's zone."""
        assert self._site is not None
        now = now_at(self._begin_s + self._at_s)
        assert self._real._engine is not None
        self._real._at_s = self._begin_s + self._at_s
        self._real._engine.work(CalendarDue(now))
        self._ring(())
        times = [
            now.utc.replace(hour=c.at.hour, minute=c.at.minute, second=0, microsecond=0) for c in chores_of(self._site)
        ]
        later = [at if at > now.utc else at + timedelta(days=1) for at in times]
        self._calendar_s = min(((at - now.utc).total_seconds() + self._at_s for at in later), default=math.inf)

    def cut(self) -> None:
        """See the port."""
        self._off = True
        self._open.close()
        self._real.record = None

    def ask(self, at_s: float, request: Mapping[str, Any]) -> Mapping[str, Any]:
        """See the port."""
        answers: list[Mapping[str, Any]] = []
        self._work(Asked(now_at(self._begin_s + at_s), read_request(request), answers.append), at_s)
        return answers[0] if answers else {}

    def hear(self, at_s: float, message: Message) -> None:
        """See the port."""
        if self._off:
            return
        self.pass_until(at_s)
        self._at_s = max(self._at_s, at_s)
        self._real.hear(now_at(self._begin_s + self._at_s), message)
        self._ring(())

    def link(self, at_s: float, connected: bool) -> None:
        """See the port."""
        detail = Broker(CONNECTED) if connected else Broker(NOT_THERE, said="connection refused")
        self._work(Linked(now_at(self._begin_s + at_s), connected, detail), at_s)

    def network(self, at_s: float, up: bool) -> None:
        """See the port."""
        self._work(Networked(now_at(self._begin_s + at_s), up), at_s)

    def elsewhere(self, at_s: float, node: str) -> None:
        """See the port."""
        self._work(Elsewhere(now_at(self._begin_s + at_s), node, "other-house", True), at_s)

    def _work(self, item: Item, at_s: float) -> None:
        if self._off:
            return
        self.pass_until(at_s)
        self._at_s = max(self._at_s, at_s)
        assert self._real._engine is not None
        self._real._at_s = self._begin_s + at_s
        self._real._engine.work(item)
        self._ring(())

    def pass_until(self, at_s: float) -> None:
        """See the port."""
        engine, phone = self._real._engine, self._phone
        assert engine is not None
        assert phone is not None
        while not self._off:
            if self._at_s + STEP_S > at_s:
                return
            now = now_at(self._begin_s + self._at_s)
            due_s = engine.due_mono_s(now) - MONO0_S - self._begin_s
            ring_s = phone.due_s()
            next_s = min(due_s, self._calendar_s, math.inf if ring_s is None else ring_s - self._begin_s)
            if next_s > at_s:
                return
            self._at_s += max(STEP_S, STEP_S * math.ceil(min(next_s, at_s) - self._at_s - 1e-6))
            if self._at_s > at_s:
                self._at_s = at_s
            self._real.tick(now_at(self._begin_s + self._at_s))
            self._ring(())
            if self._at_s >= self._calendar_s:
                self._calendar()

    def unanswered(self) -> list[int]:
        """See the port."""
        if self._off:
            return []
        engine = self._real._engine
        assert engine is not None
        return [a.number for a in engine._state.alarms.values() if a.told and state_of(a) == UNACKNOWLEDGED]

    def end(self) -> None:
        """See the port."""
        if not self._off:
            self._real.end(now_at(self._begin_s + self._at_s))
            self._ring(())
        self._open.close()
        self.said = [replace(t, at_s=t.at_s - self._begin_s) for t in self._real.told]
        self.rang_s = [self._went_s.get(n.id) for n in self._real.notices]

    def _ring(self, waiting: Any) -> None:
        """Everything that may be told now, and the engine is told that it was."""
        phone, real = self._phone, self._real
        assert phone is not None
        fresh = [*waiting, *real.notices[self._seen :]]
        self._seen = len(real.notices)
        if not fresh:
            ring_s = phone.due_s()
            if ring_s is None or ring_s > self._begin_s + self._at_s:
                return
        at_s = self._begin_s + self._at_s
        for message, of in phone.ring(at_s, fresh):
            facts = message.facts
            rule, subject = ("", "") if facts is None else (facts.rule, facts.subject)
            rules = {n.facts.rule for n in of if n.facts is not None}
            rules |= {standing.facts.rule for n in of if n.today is not None for standing in n.today.standing}
            self.rung.append(
                Rung(
                    self._at_s,
                    message.priority,
                    message.title,
                    message.text,
                    rule,
                    subject,
                    frozenset(rules),
                    message.closing,
                )
            )
        while self._attempts:
            attempt = self._attempts.pop(0)
            if attempt.outcome == "sent":
                self._went_s[attempt.notice] = self._at_s
            real.answer(Attempted(now_at(at_s), attempt))


@dataclass
class Silent:
    """Deaf: nothing is ever told."""

    name: str = DEAF
    said: list[Told] = field(default_factory=list)
    rang_s: list[float | None] = field(default_factory=list)
    rung: list[Rung] = field(default_factory=list)

    def begin(self, site: Site, begin_s: float) -> None:
        """See the port."""

    def ask(self, at_s: float, request: Mapping[str, Any]) -> Mapping[str, Any]:
        """See the port."""
        return {}

    def hear(self, at_s: float, message: Message) -> None:
        """See the port."""

    def link(self, at_s: float, connected: bool) -> None:
        """See the port."""

    def network(self, at_s: float, up: bool) -> None:
        """See the port."""

    def elsewhere(self, at_s: float, node: str) -> None:
        """See the port."""

    def pass_until(self, at_s: float) -> None:
        """See the port."""

    def unanswered(self) -> list[int]:
        """See the port."""
        return []

    def cut(self) -> None:
        """See the port."""

    def start_again(self, at_s: float) -> None:
        """See the port."""

    def end(self) -> None:
        """See the port."""


@dataclass
class Shrill(Silent):
    """Nervous: a reading that departs from the target rings by itself, as too hot or as cool, as a forecast too, and of humidity as well."""

    name: str = NERVOUS
    _judge: Nervous = field(default_factory=Nervous)
    _begin_s: float = 0.0
    _rests_s: float = 0.0

    def begin(self, site: Site, begin_s: float) -> None:
        """See the port."""
        self._begin_s = begin_s
        self._judge.begin(site, now_at(begin_s))

    def ask(self, at_s: float, request: Mapping[str, Any]) -> Mapping[str, Any]:
        """See the port."""
        self._judge.ask(now_at(self._begin_s + at_s), request)
        return {}

    def hear(self, at_s: float, message: Message) -> None:
        """See the port."""
        before = len(self._judge.told)
        self._judge.hear(now_at(self._begin_s + at_s), message)
        for told in self._judge.told[before:]:
            if at_s < self._rests_s:
                continue
            self._rests_s = at_s + SHRILL_S
            for rule, priority in SHRILL:
                self.said.append(Told(at_s, told.subject, rule, priority, len(self.said) + 1))
                self.rang_s.append(at_s)
                self.rung.append(
                    Rung(at_s, priority, f"{told.subject}: off target", "", rule, told.subject, frozenset((rule,)))
                )


SHRILL_S = 600.0  # it draws breath: more would only take longer to count
SHRILL = (
    ("dry-bulb-high-alarm", "high"),
    ("dry-bulb-high-heading", "high"),
    ("dry-bulb-low-warning", "low"),
    ("humidity-low-warning", "low"),
)


def ear_of(name: str, folder: Path | None) -> Ear:
    """The judge of that name."""
    if name == REAL:
        return Daemon(folder)
    return Silent() if name == DEAF else Shrill()
