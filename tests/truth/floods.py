"""Every machine in trouble within ten seconds: what one phone gets, from the daemon's own queue and stages, in virtual time.

The phone takes each message at once, and its service answers at once; the engine is told so. What is counted: how long after the
first notice was made the first message went, how many went in the ten minutes from then on, and whether the first message
names what was first. First is the machine of which a reading was first beyond the limit that the first notice is about; of a
power cut, all of them.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Protocol

from monitor.domain.alarms.notice import Answered, Notice
from monitor.domain.needs.site import Machine, Probe, Site
from monitor.domain.readings.reading import Pack, Presence, Sample
from monitor.domain.state.record import Attempt
from monitor.service.watch.inbox import Attempted
from monitor.service.watch.notify import pass_through, standard_stages
from monitor.service.watch.outbox import Queue
from monitor.shown.phone.joined import NoticeWords
from tests.truth.faults import profiles
from tests.truth.judges import Judge, Real
from tests.truth.scenarios import T0, now_at
from tests.truth.world import CONTACT, site_of

MACHINES = 12
INTERVAL_S = 10
FLOOD_S, WATCHED_S = 10.0, 600.0
MOVES_S = 50.0
CALM_S = 1500.0
PROFILE = "african-grey"
SOUND_C, SOUND_RH_PCT = 37.2, 47.5
HOT, COLD, CUT = "heat", "cold", "power cut"
FLOODS = (HOT, COLD, CUT)
STEP_S = 0.5


@dataclass(frozen=True, slots=True)
class Flooded:
    """What came of one flood; first_s: from the first notice to the first message, None if none went."""

    judge: str
    kind: str
    seed: int
    first_s: float | None
    messages: int
    named: bool
    titles: tuple[str, ...]


class Phone(Protocol):
    """What turns notices into messages: the daemon's queue, or none."""

    def pass_on(self, at_s: float, notices: Sequence[Notice]) -> list[Notice]:
        """The messages that go at that second."""
        ...


class QueuedPhone:
    """The daemon's own queue and stages before a phone that takes everything at once; done is told of each notice sent or called off."""

    def __init__(self, site: Site, done: Callable[[Attempt], None]) -> None:
        self._queue = Queue(lambda wait_s: wait_s)
        self._stages = standard_stages(NoticeWords(site))
        self._done = done
        self._kept: dict[int, Notice] = {}
        self._answered = False

    def answered(self, answered: Sequence[Answered]) -> None:
        """Of these episodes nobody is to be told any more."""
        self._queue.answered(answered)
        self._answered = self._answered or bool(answered)

    def due_s(self) -> float | None:
        """When something may go, or be called off, as far as was asked last; None when nothing waits."""
        return float("-inf") if self._answered else self._queue.due_s()

    def pass_on(self, at_s: float, notices: Sequence[Notice]) -> list[Notice]:
        """See the port."""
        return [message for message, _ in self.ring(at_s, notices)]

    def ring(self, at_s: float, notices: Sequence[Notice]) -> list[tuple[Notice, list[Notice]]]:
        """The messages that go at that second, each with the notices that it tells."""
        utc = T0 + timedelta(seconds=at_s)
        for notice in notices:
            self._kept[notice.id] = notice
            self._queue.offer(notice, at_s, utc)
        self._answered = False
        for id_, why in self._queue.call_off():
            self._kept.pop(id_, None)
            self._done(Attempt(id_, "cancelled", why, utc, CONTACT))
        messages = []
        while batch := self._queue.next_due(at_s):
            outgoing = pass_through(self._stages, batch, self._queue.told())
            self._queue.sent(outgoing[0].ids, at_s)
            messages.append((outgoing[0].notice, [self._kept.pop(id_) for id_ in outgoing[0].ids]))
            for id_ in outgoing[0].ids:
                self._done(Attempt(id_, "sent", "", utc, CONTACT))
        return messages


def flood(judge: Judge, kind: str, seed: int) -> Flooded:
    """Twelve machines on twelve nodes, calm until they all go within ten seconds."""
    rng = random.Random(f"flood/{kind}/{seed}")
    ids = [f"m-{i + 1:02d}" for i in range(MACHINES)]
    site = _site(ids)
    judge.begin(site, now_at(0.0))
    set_at = (T0 - timedelta(days=8)).isoformat()
    for id_ in ids:
        request = {"do": "batch-add", "batch": f"b-{id_}", "profile": PROFILE, "set_at": set_at, "machine": id_}
        judge.ask(now_at(0.0), request)
    goes_s = {id_: CALM_S + rng.uniform(0.0, FLOOD_S) for id_ in ids}
    phase_s = {id_: round(rng.uniform(0.0, INTERVAL_S - STEP_S) / STEP_S) * STEP_S for id_ in ids}
    attempts: list[Attempt] = []
    phone = QueuedPhone(site, attempts.append)
    made_s: float | None = None
    sent: list[tuple[float, Notice]] = []
    first_out: dict[str, str] = {}  # by limit, the machine that was first beyond it
    seen = 0
    band = profiles()[PROFILE].stages[0].dry_bulb_c
    for k in range(int((CALM_S + WATCHED_S + 200.0) / STEP_S)):
        at_s = k * STEP_S
        for i, id_ in enumerate(ids):
            gone = at_s >= goes_s[id_]
            if at_s >= phase_s[id_] and (at_s - phase_s[id_]) % INTERVAL_S == 0.0 and not (gone and kind == CUT):
                number = int((at_s - phase_s[id_]) // INTERVAL_S)
                value_c, rh_pct = _air(kind, at_s - goes_s[id_], rng)
                for name, limit_c in band.limits():
                    beyond = value_c > limit_c if name.startswith("high") else value_c < limit_c
                    if beyond and "_" in name:  # the target is no limit
                        first_out.setdefault(name, site.machines[id_].name)
                pack = Pack(f"node-{i + 1:02d}", (Sample("top", value_c, rh_pct),), 7, number, int(at_s))
                judge.hear(now_at(at_s), pack)
            if kind == CUT and goes_s[id_] + 47.0 <= at_s < goes_s[id_] + 47.0 + STEP_S:
                judge.hear(now_at(at_s), Presence(f"node-{i + 1:02d}", False))
        judge.tick(now_at(at_s))
        fresh = _notices(judge)[seen:]
        seen += len(fresh)
        if fresh and made_s is None:
            made_s = at_s
        sent += [(at_s, message) for message in phone.pass_on(at_s, fresh)]
        while attempts:
            _answer(judge, at_s, attempts.pop(0))
    judge.end(now_at(CALM_S + WATCHED_S + 200.0))
    watched = [message for at_s, message in sent if made_s is not None and at_s <= made_s + WATCHED_S]
    about = judge.told[0].rule.removeprefix("dry-bulb-").replace("-", "_") if judge.told else ""
    first = "All machines" if kind == CUT else first_out.get(about, "")
    return Flooded(
        judge.name,
        kind,
        seed,
        None if not sent or made_s is None else sent[0][0] - made_s,
        len(watched),
        bool(watched) and names_first(watched[0], first, [m.name for m in site.machines.values()]),
        tuple(f"{message.title} | {message.text}" for message in watched[:4]),
    )


def names_first(message: Notice, first: str, names: Sequence[str]) -> bool:
    """Whether the first machine that the message names is that one."""
    text = f"{message.title}\n{message.text}"
    places = {name: text.find(name) for name in (*names, "All machines") if name in text}
    return bool(places) and min(places, key=lambda name: places[name]) == first


def _air(kind: str, gone_s: float, rng: random.Random) -> tuple[float, float]:
    """What a probe reads so long after its machine went: 2.5 K away within a minute, as fast as air moves."""
    moved_k = {HOT: 2.5, COLD: -2.5, CUT: 0.0}[kind] * min(1.0, max(0.0, gone_s / MOVES_S))
    rh_pct = SOUND_RH_PCT * (1.0 - 0.05 * moved_k)  # its vapour stays
    return round(SOUND_C + moved_k + rng.gauss(0.0, 0.02), 2), round(rh_pct + rng.gauss(0.0, 0.1), 2)


def _site(ids: Sequence[str]) -> Site:
    assert PROFILE in profiles()
    machines = {id_: Machine(id_, f"Machine {id_[2:]}") for id_ in ids}
    keys = [f"node-{i + 1:02d}/top" for i in range(len(ids))]
    return site_of(machines, {key: Probe(key, id_, INTERVAL_S) for key, id_ in zip(keys, ids, strict=True)})


def _notices(judge: Judge) -> list[Notice]:
    if isinstance(judge, Real):
        return judge.notices
    return [
        Notice(i + 1, f"{i}", CONTACT, t.priority, f"Machine {t.subject[2:]}: off target", "", T0 + timedelta(seconds=t.at_s), t.number)
        for i, t in enumerate(judge.told)
    ]  # fmt: skip


def _answer(judge: Judge, at_s: float, attempt: Attempt) -> None:
    if isinstance(judge, Real):
        judge.answer(Attempted(now_at(at_s), attempt))
