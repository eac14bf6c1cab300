"""A life: machines of the second model in a room, their nodes, what happens to them and what people do, before one judge and its phone.

The truth is taken down beside it (`Trail`): the air where the probes hang, at its extremes within each minute, the humidity, the eggs, and
which probe or node is not to be believed. The judge sees none of it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field

from monitor.domain.needs.site import Machine, Site
from monitor.domain.readings.reading import Pack, Presence, Sample
from tests.truth.cabin import Cabin, RoomAir, Sensor
from tests.truth.ear import Ear
from tests.truth.faults import MINUTE_S
from tests.truth.harm import Limits
from tests.truth.machines import LEFT_K, LEFT_S, Bands, Calm, outside

LOOK_S = 15.0
RING = 512  # samples that a node keeps while nobody takes them
WILL_S = (45.0, 50.0)  # from a node's last word to its last will


@dataclass(slots=True)
class Node:
    """A microcontroller: samples every interval_s, numbers what it sends, keeps what it cannot deliver."""

    id: str
    sensors: dict[str, Sensor]
    rng: random.Random
    interval_s: float
    next_s: float
    powered: bool = True
    linked: bool = True
    lost: bool = False  # set up for another site: what it says is not heard
    restarts_s: float | None = None  # how often it restarts by itself
    boot: int = 1
    boot_s: float = 0.0
    seq: int = 0
    offline_s: float | None = None  # when the broker will tell its will
    online: bool = False
    ring: list[Pack] = field(default_factory=list)

    def start(self, at_s: float) -> None:
        """A new boot, numbered from 0, with nothing kept."""
        self.boot = self.rng.randrange(1, 2**31)
        self.boot_s, self.seq, self.ring = at_s, 0, []
        self.next_s = math.ceil(at_s) + 3.0

    def pack(self, at_s: float) -> Pack:
        """A sample of all its probes."""
        samples = []
        for name, sensor in self.sensors.items():
            value = sensor.read()
            samples.append(Sample(name, None, None, fault="absent") if value is None else Sample(name, *value))
        self.seq += 1
        return Pack(self.id, tuple(samples), self.boot, self.seq - 1, int(at_s - self.boot_s))


@dataclass(frozen=True, slots=True)
class Person:
    """Who answers: so long after a message that wakes or asks, everything that stands. repairs_s: then mends it, so long after."""

    after_s: float
    repairs_s: float | None = None
    shelves_s: float | None = None


@dataclass(slots=True)
class Trail:
    """The truth, each minute: s, coldest and hottest true air at any probe, middle, %RH, coldest and hottest egg, K from bottom to top."""

    rows: list[tuple[float, float, float, float, float, float, float, float]] = field(default_factory=list)
    left_s: float | None = None
    _since: float | None = None

    def look(self, at_s: float, bands: Bands, cabin: Cabin, *, after_s: float) -> None:
        """Take it down."""
        spans = [s.extremes() for s in cabin.sensors]
        low_c, high_c = min(s[0] for s in spans), max(s[1] for s in spans)
        egg_k = abs(cabin.egg_spread_k)
        self.rows.append(
            (
                at_s,
                low_c,
                high_c,
                cabin.air_c,
                cabin.rh_pct,
                cabin.egg_c - egg_k,
                cabin.egg_c + egg_k,
                2.0 * abs(cabin.spread_k),
            )
        )
        if at_s <= after_s or self.left_s is not None:
            return
        out = outside(bands.dry, low_c, LEFT_K) or outside(bands.dry, high_c, LEFT_K)
        self._since = (at_s if self._since is None else self._since) if out else None
        if out and self._since is not None and at_s - self._since >= LEFT_S:
            self.left_s = self._since

    def between(self, from_s: float, to_s: float) -> list[tuple[float, ...]]:
        """The rows of a span."""
        return [row for row in self.rows if from_s <= row[0] <= to_s]


Happening = tuple[float, Callable[["World"], None]]


@dataclass
class World:
    """Everything there is, and the judge that is told of it by its nodes alone."""

    site: Site
    machine: Machine
    cabins: dict[str, Cabin]
    room: RoomAir
    nodes: dict[str, Node]
    bands: Bands
    ear: Ear
    rng: random.Random
    begin_s: float
    lasts_s: float
    onset_s: float
    happenings: list[Happening]
    person: Person | None = None
    mends: Callable[[World], None] | None = None
    broker_up: bool = True
    at_s: float = 0.0
    said_s: float = 0.0
    trail: Trail = field(default_factory=Trail)
    calm: Calm | None = None
    limits: Limits = field(default_factory=lambda: Limits(37.8))
    refused: list[str] = field(default_factory=list)
    back_s: float | None = None  # when the daemon came back from a cut
    blind: bool = False  # whether a probe, a node or the way to them failed at some time
    _heard: int = 0
    _answers_s: float | None = None
    _mends_s: float | None = None
    _look_s: float = 0.0

    @property
    def cabin(self) -> Cabin:
        """The machine that the story is about."""
        return self.cabins[self.machine.id]

    def sensor(self, key: str) -> Sensor:
        """A probe by `node/probe`."""
        node, _, name = key.partition("/")
        return self.nodes[node].sensors[name]

    def ask(self, request: dict[str, object]) -> None:
        """Somebody tells the judge something."""
        self.said_s = max(self.at_s, self.said_s)
        answer = self.ear.ask(self.said_s, request)
        if "error" in answer:
            self.refused.append(f"{request['do']}: {answer['error']}")

    def live(self) -> None:
        """To the end. The judge begins with the batches that the first happenings tell it of."""
        self.ear.begin(self.site, self.begin_s)
        self.happenings.sort(key=lambda h: h[0])
        self.limits = Limits(self.cabin.egg_c)
        for node in self.nodes.values():
            self._join(node)
        minute = 0.0
        while self.at_s < self.lasts_s:
            next_s = min(self.lasts_s, self._next_s())
            self._pass(next_s - self.at_s)
            self.at_s = next_s
            while self.happenings and self.happenings[0][0] <= self.at_s:
                self.happenings.pop(0)[1](self)
            self._person()
            for node in self.nodes.values():
                self._work(node)
            if self.at_s >= self._look_s:
                minute += LOOK_S
                self._look(minute >= MINUTE_S)
                minute = 0.0 if minute >= MINUTE_S else minute
                self._look_s = self.at_s + LOOK_S
        self.ear.pass_until(max(self.at_s, self.said_s))
        self.ear.end()

    def _next_s(self) -> float:
        nexts = [self._look_s] + [h[0] for h in self.happenings[:1]]
        for node in self.nodes.values():
            nexts += [node.next_s] if node.powered else []
            nexts += [node.offline_s] if node.offline_s is not None else []
        nexts += [at_s for at_s in (self._answers_s, self._mends_s) if at_s is not None]
        return max(self.at_s, min(nexts))

    def _pass(self, seconds: float) -> None:
        if seconds <= 0.0:
            return
        for cabin in self.cabins.values():
            cabin.run(seconds, self.room, self.begin_s + self.at_s)

    def _work(self, node: Node) -> None:
        if node.offline_s is not None and node.offline_s <= self.at_s:
            node.offline_s, node.online = None, False
            self._tell(Presence(node.id, False))
        if not node.powered or node.next_s > self.at_s:
            return
        if node.restarts_s is not None and self.at_s - node.boot_s > node.restarts_s:
            node.start(self.at_s)
            return
        node.next_s += node.interval_s
        pack = node.pack(self.at_s)
        if node.lost:
            return
        if node.linked and self.broker_up:
            self._tell(pack)
        else:
            node.ring = [*node.ring[-(RING - 1) :], pack]

    def _tell(self, message: Pack | Presence) -> None:
        self.said_s = max(self.said_s + 0.04, self.at_s + self.rng.uniform(0.15, 0.9))
        if self.broker_up:
            self.ear.hear(self.said_s, message)

    def _join(self, node: Node) -> None:
        node.linked, node.offline_s = True, None
        if not self.broker_up:
            return
        if not node.online:
            node.online = True
            self._tell(Presence(node.id, True))
        kept, node.ring = node.ring, []
        for pack in kept:
            self._tell(pack)

    # --- what can happen

    def lose_link(self, id_: str) -> None:
        """A node is out of reach; the broker tells its will a little later."""
        node = self.nodes[id_]
        node.linked, self.blind = False, True
        if node.online and node.offline_s is None:
            node.offline_s = self.at_s + self.rng.uniform(*WILL_S)

    def find_link(self, id_: str) -> None:
        """And is back, with what it kept."""
        self._join(self.nodes[id_])

    def unplug(self, id_: str) -> None:
        """A node loses its power."""
        self.lose_link(id_)
        self.nodes[id_].powered = False

    def plug(self, id_: str) -> None:
        """And has it again."""
        node = self.nodes[id_]
        node.powered = True
        node.start(self.at_s)
        self._join(node)

    def power(self, on: bool) -> None:
        """Every machine and node."""
        for cabin in self.cabins.values():
            cabin.powered = on
        for id_ in self.nodes:
            if on:
                self.plug(id_)
            else:
                self.unplug(id_)

    def broker(self, up: bool) -> None:
        """The broker on this Pi stops, or runs again."""
        self.broker_up, self.blind = up, True
        self.ear.link(max(self.at_s, self.said_s), up)
        if up:
            for node in self.nodes.values():
                if node.linked:
                    self._join(node)

    def daemon(self, on: bool) -> None:
        """The Pi itself, and its broker with it."""
        if on:
            self.broker_up, self.back_s = True, self.at_s
            self.said_s = max(self.at_s, self.said_s)
            self.ear.start_again(self.said_s)
        else:
            self.ear.pass_until(self.at_s)
            self.ear.cut()
            self.broker_up = False

    def door(self, is_open: bool, *, share: float = 1.0, machine: str = "") -> None:
        """Opened so far, or shut."""
        cabin = self.cabins[machine or self.machine.id]
        cabin.door_open, cabin.door_share = is_open, share

    # --- people and the truth

    def _person(self) -> None:
        person = self.person
        if person is None:
            return
        fresh = self.ear.rung[self._heard :]
        self._heard = len(self.ear.rung)
        if self._answers_s is None and any(r.priority != "low" for r in fresh):
            self._answers_s = self.at_s + person.after_s
        if self._answers_s is not None and self.at_s >= self._answers_s:
            self._answers_s = None
            for number in self.ear.unanswered():
                self.ask({"do": "acknowledge", "alarm": number, "by": "sam"})
                if person.shelves_s is not None:
                    self.ask({"do": "shelve", "alarm": number, "for_s": person.shelves_s, "by": "sam"})
            if person.repairs_s is not None and self._mends_s is None:
                self._mends_s = self.at_s + person.repairs_s
        if self._mends_s is not None and self.at_s >= self._mends_s:
            self._mends_s = math.inf  # once
            if self.mends is not None:
                self.mends(self)

    def _look(self, whole: bool) -> None:
        cabin = self.cabin
        if self.calm is not None:
            first = cabin.sensors[0]
            self.calm.look(first, cabin.local_c(first.height), cabin.rh_pct)
        elif whole:
            self.trail.look(self.at_s, self.bands, cabin, after_s=self.onset_s)
        if self.at_s <= self.onset_s:
            self.limits.normal_c = max(self.limits.normal_c, cabin.egg_c)
        spread_k = abs(cabin.egg_spread_k)
        hottest_air_c = cabin.air_c + abs(cabin.spread_k)
        if cabin.build.eggs:
            self.limits.look(self.at_s, LOOK_S, cabin.egg_c + spread_k, cabin.egg_c - spread_k, hottest_air_c)
