"""Who judges a scenario: the real judge, and two that must come out badly, so that the scorer is known to be able to fail.

Each hears the same messages at the same times and keeps what it told. The real one is the daemon's own engine, with a
ledger that keeps only notices and flags.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from monitor.adapters.requests import read_request
from monitor.domain.alarms.notice import Notice
from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.bands import needs_of
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import Site
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.reading import FAIL, SUSPECT, Message, Now, Pack
from monitor.domain.state.record import Group
from monitor.service.ports import Loaded, TellAnswered
from monitor.service.watch.engine import Engine, start_state
from monitor.service.watch.inbox import Arrived, Asked, Attempted, Stop
from monitor.shown.phone.joined import NoticeWords
from tests.truth.scenarios import MONO0_S, T0

REAL, DEAF, NERVOUS = "real", "deaf", "nervous"


@dataclass(frozen=True, slots=True)
class Told:
    """One notice as the scorer sees it. number: of the alarm's episode; again: it says what was said already."""

    at_s: float
    subject: str
    rule: str
    priority: str
    number: int
    closing: bool = False
    again: bool = False


class Judge(Protocol):
    """What the world asks of a judge. told and flagged (s, probe) are what it is scored by."""

    name: str
    told: list[Told]

    @property
    def flagged(self) -> list[tuple[float, str]]:
        """The readings that it flagged."""
        ...

    def begin(self, site: Site, now: Now) -> None:
        """A new story in that site."""
        ...

    def ask(self, now: Now, request: Mapping[str, Any]) -> None:
        """What the breeder says."""
        ...

    def hear(self, now: Now, message: Message) -> None:
        """One message."""
        ...

    def tick(self, now: Now) -> None:
        """Time passes."""
        ...

    def end(self, now: Now) -> None:
        """The story is over."""
        ...


class RefusedRequest(AssertionError):
    """A request of a scenario that the judge would not take: the scenario is not what it says it is."""


@dataclass
class Real:
    """The daemon's engine."""

    name: str = REAL
    told: list[Told] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    bad: dict[tuple[str, int, int], tuple[float, int]] = field(default_factory=dict)
    tell_answered: TellAnswered | None = None
    _about: dict[int, tuple[str, str]] = field(default_factory=dict)
    _said: set[int] = field(default_factory=set)
    _at_s: float = 0.0
    _engine: Engine | None = None

    @property
    def flagged(self) -> list[tuple[float, str]]:
        """Every reading whose last flag says suspect or failed: when it was flagged so, and its probe."""
        return [(at_s, key[0]) for key, (at_s, _) in self.bad.items()]

    def begin(self, site: Site, now: Now) -> None:
        """See the port."""
        self.take_up(site, now, Loaded((), {}, (), (), (), (), 0, 0, 0, None))

    def take_up(self, site: Site, now: Now, loaded: Loaded, *, hands_on: bool = False) -> None:
        """A run that goes on from what is known. hands_on: whether its memory is handed on to a next one."""
        self._engine = Engine(
            site=site,
            ledger=self,
            state=start_state(loaded, site, now),
            words=NoticeWords(site),
            give_receipts=lambda receipts: None,
            tell_stored=lambda rows: None,
            tell_notices=lambda notices: None,
            show_machine=lambda machine, view: None,
            tell_answered=self.tell_answered,
            hands_on=hands_on,
        )

    def ask(self, now: Now, request: Mapping[str, Any]) -> None:
        """See the port."""
        answers: list[Mapping[str, Any]] = []
        self._work(now).work(Asked(now, read_request(request), answers.append))
        if not answers or "error" in answers[0]:
            raise RefusedRequest(f"{request}: {answers}")

    def hear(self, now: Now, message: Message) -> None:
        """See the port."""
        self._work(now).work(Arrived(now, message))

    def tick(self, now: Now) -> None:
        """See the port."""
        self._work(now).idle(now)

    def end(self, now: Now) -> None:
        """See the port."""
        self._work(now).work(Stop(now))

    def answer(self, item: Attempted) -> None:
        """What came of sending a notice."""
        self._work(item.now).work(item)

    def _work(self, now: Now) -> Engine:
        assert self._engine is not None
        self._at_s = now.mono_s - MONO0_S
        return self._engine

    # --- the ledger

    def load(self) -> Loaded:
        """Nothing."""
        raise NotImplementedError

    def last_site(self) -> SiteThen | None:
        """None, likewise."""
        raise NotImplementedError

    def book(self, batch: Batch) -> EggBook:
        """Nothing: no batch of a story was closed before it."""
        raise NotImplementedError

    def commit(self, group: Group) -> None:
        """Keep notices and bad flags."""
        for transition in group.transitions:
            self._about[transition.alarm.number] = transition.alarm.key
        for notice in group.notices:
            self.notices.append(notice)
            subject, rule = self._about.get(notice.alarm_number, ("", ""))
            again = notice.alarm_number in self._said and not notice.closing
            self._said.add(notice.alarm_number)
            at_s = (notice.created - T0).total_seconds()
            self.told.append(Told(at_s, subject, rule, notice.priority, notice.alarm_number, notice.closing, again))
        for row in group.readings:
            self._flag((row.probe, row.line, row.up_ms), (row.flag, row.rh_flag))
        for change in group.reflags:
            self._flag((change.probe, change.line, change.up_ms), (change.flag, change.rh_flag))

    def _flag(self, key: tuple[str, int, int], flags: tuple[int, int]) -> None:
        faults = [flag for flag in flags if flag in (SUSPECT, FAIL)]
        if faults:
            self.bad.setdefault(key, (self._at_s, max(faults)))
            self.bad[key] = (self.bad[key][0], max(faults))
        else:
            self.bad.pop(key, None)


@dataclass
class Deaf:
    """Never tells anything."""

    name: str = DEAF
    told: list[Told] = field(default_factory=list)
    flagged: list[tuple[float, str]] = field(default_factory=list)

    def begin(self, site: Site, now: Now) -> None:
        """See the port."""

    def ask(self, now: Now, request: Mapping[str, Any]) -> None:
        """See the port."""

    def hear(self, now: Now, message: Message) -> None:
        """See the port."""

    def tick(self, now: Now) -> None:
        """See the port."""

    def end(self, now: Now) -> None:
        """See the port."""


@dataclass
class Nervous:
    """Wakes someone at every departure from the target, and flags every reading that departs."""

    name: str = NERVOUS
    told: list[Told] = field(default_factory=list)
    flagged: list[tuple[float, str]] = field(default_factory=list)
    _site: Site | None = None
    _target_c: dict[str, float] = field(default_factory=dict)

    STEP_K = 0.05

    def begin(self, site: Site, now: Now) -> None:
        """See the port."""
        self._site = site

    def ask(self, now: Now, request: Mapping[str, Any]) -> None:
        """See the port."""
        assert self._site is not None
        if request["do"] == "batch-add":
            machine = self._site.machines[request["machine"]]
            since = now.utc
            batch = Batch("b", request["profile"], since, stays=(Stay(machine.id, since),))
            band = needs_of(machine, [batch], self._site, at=since).dry_bulb_c
            if band is not None and band.target is not None:
                self._target_c[machine.id] = band.target

    def hear(self, now: Now, message: Message) -> None:
        """See the port."""
        assert self._site is not None
        if not isinstance(message, Pack):
            return
        at_s = now.mono_s - MONO0_S
        for sample in message.samples:
            key = f"{message.node}/{sample.probe}"
            machine = self._site.probes[key].machine
            target_c = self._target_c.get(machine)
            if sample.dry_bulb_c is None or target_c is None or abs(sample.dry_bulb_c - target_c) > self.STEP_K:
                number = len(self.told) + 1
                self.told.append(Told(at_s, machine, "dry-bulb-high-alarm", "high", number))
                self.flagged.append((at_s, key))

    def tick(self, now: Now) -> None:
        """See the port."""

    def end(self, now: Now) -> None:
        """See the port."""
