"""A simulated room: machines with eggs in them, nodes that publish, and things that go wrong.

`Room.step` lets time pass; `Room.do` makes something happen now, and a script makes it happen at its time;
`Room.packs` hands over what was delivered since it was last asked, in the form that is on the wire. A node
behaves as ours does: it numbers each sample (`boot`, `seq`), says how long it had run when it took it (`up`),
keeps what it cannot deliver, and delivers that later, oldest first and unchanged. Its last will is the
broker's affair: `offline` appears when the broker has missed the node for one and a half times its keep-alive.

Time is whole milliseconds since the room began, so that the same script and seed give the same bytes.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from heapq import heappop, heappush
from inspect import signature
from typing import TypeVar

from monitor.domain.air.psychrometrics import vapour_kpa
from monitor.domain.needs.site import OF_DOOR, OF_MAINS
from monitor.domain.refusal import Refusal
from monitor.rehearse.cabinet import DEAD, OK, STUCK_ON, Air, Cabinet, CabinetSpec, Probe, ProbeSpec

RING = 512  # samples that a node keeps while it cannot deliver
KEEPALIVE_MS = 30_000
WILL_MS = KEEPALIVE_MS * 3 // 2  # then the broker says "offline" for the node (MQTT 3.1.1, 3.1.2.10)
WILL_SPREAD_MS = 5_000  # brokers look only every so often
START_MS = (3_000, 8_000)  # from power to the first sample
JOIN_MS = (1_200, 2_400)  # from the network's return to "online"
PUBLISH_MS = (100, 700)  # from the sample to its sending
NETWORK_MS = (50, 400)  # from the sending to its arrival
LOW_WATER = 0.2  # of a full pan: where a float says so
BACKLOG_MS = 40  # between two messages of a backlog

Kind = TypeVar("Kind")
Happening = tuple[float, str, Mapping[str, object]]  # at_s, action, arguments

# What an action does to a machine's cabinet: one switch, one position.
_SWITCHES: dict[str, tuple[str, object]] = {
    "heater_stuck_on": ("heater", STUCK_ON),
    "heater_dead": ("heater", DEAD),
    "heater_ok": ("heater", OK),
    "fan_dead": ("fan_on", False),
    "fan_ok": ("fan_on", True),
    "door_open": ("door_open", True),
    "door_close": ("door_open", False),
    "machine_off": ("powered", False),
    "machine_on": ("powered", True),
}


class ActionError(Refusal):
    """An action that this room cannot do."""


@dataclass(frozen=True, slots=True)
class MachineSpec:
    """A machine: its cabinet (None: the room itself is watched), its probes by `node/probe`, and its switches by `node/name`: of its mains, its door or its water."""

    id: str
    kind: str
    cabinet: CabinetSpec | None
    probes: Mapping[str, ProbeSpec]
    switches: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Message:
    """A message, and when it is delivered (s since the room began). retain: as the node publishes it."""

    at_s: float
    topic: str
    payload: str
    retain: bool = False


@dataclass(slots=True)
class Node:
    """A microcontroller with its probes, in the order in which it reports them."""

    id: str
    probes: dict[str, Probe]
    rng: random.Random
    boot: int = 0
    boot_ms: int = 0  # when it started: `up` counts from here
    seq: int = 0
    sample_ms: int | None = None  # next sample; None without power
    linked: bool = False
    session: bool = False  # the broker holds it to be connected
    will_ms: int | None = None  # when the broker will say "offline"
    free_ms: int = 0  # the earliest that it can send again
    arrived_ms: int = 0  # one connection delivers in order
    switches: dict[str, Callable[[], bool]] = field(default_factory=dict)
    ring: deque[str] = field(default_factory=lambda: deque(maxlen=RING))

    def between(self, span: tuple[int, int]) -> int:
        """A random whole number of milliseconds of that span."""
        return span[0] + int(self.rng.random() * (span[1] - span[0]))

    def start(self, at_ms: int) -> None:
        """Get power: a new boot, numbered from 0, with nothing kept."""
        self.boot = 1 + int(self.rng.random() * 999_999)
        self.boot_ms = self.sample_ms = at_ms
        self.seq = 0
        self.ring.clear()

    def lose_link(self, now_ms: int) -> None:
        """The network is gone, without a word to the broker."""
        self.linked = False
        if self.session and self.will_ms is None:
            self.will_ms = now_ms + WILL_MS + self.between((0, WILL_SPREAD_MS))

    def pack(self, now_ms: int) -> str:
        """A sample of all probes now, as SenML (RFC 8428). A silent probe is reported as a fault."""
        entries = []
        for name, probe in self.probes.items():
            reading = probe.read()
            if reading is None:
                entries.append(f'"n":"{name}/fault","vs":"absent"')
                continue
            entries.append(f'"n":"{name}/t","u":"Cel","v":{reading[0]:.2f}')
            if reading[1] is not None:
                entries.append(f'"n":"{name}/rh","u":"%RH","v":{reading[1]:.2f}')
        entries += [f'"n":"{name}","vb":{"true" if read() else "false"}' for name, read in self.switches.items()]
        up = (now_ms - self.boot_ms) // 1000
        first = f'"bn":"{self.id}/",{entries[0]},"boot":{self.boot},"seq":{self.seq},"up":{up}'
        self.seq += 1
        return "[{" + "},{".join([first, *entries[1:]]) + "}]"


class Room:
    """The room. Raises ActionError for an action, machine, probe or node that it does not have.

    The same seed gives the same noise, delays and boots: a live room that feeds a lasting record needs a new one each time.
    """

    def __init__(
        self,
        machines: Iterable[MachineSpec],
        *,
        site: str = "demo",
        root: str = "eggroom",
        seed: int | str = 1,
        interval_s: float = 10.0,
        dry_bulb_c: float = 20.0,
        rh_pct: float = 50.0,
        script: Iterable[Happening] = (),
    ) -> None:
        self.machines = tuple(machines)
        self.now_ms = 0
        self.cabinets: dict[str, Cabinet] = {}
        self.probes: dict[str, Probe] = {}
        self.nodes: dict[str, Node] = {}
        self._topics = f"{root}/{site}"
        self._interval_ms = round(interval_s * 1000)
        self._vapour_kpa = vapour_kpa(dry_bulb_c, rh_pct)
        self._ramp = (0, 0, dry_bulb_c, dry_bulb_c)  # from_ms, until_ms, from °C, to °C
        self._loose: list[Probe] = []  # probes in the room's own air
        self._script = sorted(script, key=lambda happening: happening[0])
        self._delivered: list[tuple[int, int, Message]] = []
        self._count = 0
        self._build(seed)

    def _build(self, seed: int | str) -> None:
        by_node: dict[str, dict[str, Probe]] = {}
        for machine in self.machines:
            own = []
            for key, spec in machine.probes.items():
                probe = self.probes[key] = Probe(spec, random.Random(f"{seed} {key}"))
                node, _, name = key.partition("/")
                by_node.setdefault(node, {})[name] = probe
                own.append(probe)
            if machine.cabinet is None:
                self._loose += own
            else:
                self.cabinets[machine.id] = Cabinet(machine.cabinet, tuple(own))
        for i, (id_, probes) in enumerate(by_node.items()):
            node_ = self.nodes[id_] = Node(id_, probes, random.Random(f"{seed} {id_}"))
            # Spread over the interval, since in a real room no two nodes start together.
            node_.start((2 * i + 1) * self._interval_ms // (2 * len(by_node)) + node_.between((0, 1000)))
            self._join(node_, node_.boot_ms)
        for machine in self.machines:
            for key, of in machine.switches.items():
                node, _, name = key.partition("/")
                self._node(node).switches[name] = _read(self._cabinet(machine.id), of)

    @property
    def now_s(self) -> float:
        """Seconds since the room began."""
        return self.now_ms / 1000.0

    @property
    def air(self) -> Air:
        """The room's own air now."""
        from_ms, until_ms, from_c, to_c = self._ramp
        share = 1.0 if self.now_ms >= until_ms else (self.now_ms - from_ms) / (until_ms - from_ms)
        return Air(from_c + share * (to_c - from_c), self._vapour_kpa)

    def settle(self, seconds: float) -> None:
        """Let the machines run in before anything is watched; the room's time does not count it."""
        self._pass(round(seconds * 1000))

    def step(self, dt_s: float) -> None:
        """Let dt_s seconds pass, to the millisecond, stopping at every sample, last will and happening.

        Raises ValueError when time would go back.
        """
        if dt_s < 0.0:
            raise ValueError(f"dt_s {dt_s}, expected 0 or more")
        target_ms = self.now_ms + round(dt_s * 1000)
        while True:
            next_ms = min([target_ms, *self._due_ms()])
            self._pass(next_ms - self.now_ms)
            self.now_ms = next_ms
            while self._script and round(self._script[0][0] * 1000) <= self.now_ms:
                _, action, args = self._script.pop(0)
                self.do(action, **args)
            for node in self.nodes.values():
                if node.will_ms is not None and node.will_ms <= self.now_ms:
                    self._offline(node, self.now_ms)
                if node.sample_ms is not None and node.sample_ms <= self.now_ms:
                    node.sample_ms += self._interval_ms
                    self._sample(node)
            if self.now_ms >= target_ms:
                return

    def packs(self, now_s: float) -> Iterator[Message]:
        """Every message delivered up to now_s and not yet handed over, in the order of arrival."""
        while self._delivered and self._delivered[0][0] <= round(now_s * 1000):
            yield heappop(self._delivered)[2]

    def do(self, action: str, **args: object) -> None:
        """Make something happen now.

        With machine=: heater_stuck_on, heater_dead, heater_ok, fan_dead, fan_ok, door_open, door_close, machine_off,
        machine_on, water_dry, water_ok, water_low (share= 0 to 1), water_overfilled, humidity_setpoint (rh_pct=),
        dry_bulb_setpoint (dry_bulb_c=), thermostat_drift (k_h=), brown_out (share= of the volts), side_warm (k=).
        With probe=: probe_stuck, probe_silent, probe_spike (k=), probe_drift (k_h=), probe_off (k=), probe_noise
        (times=), probe_says (dry_bulb_c=), probe_ok. With node=: node_silent, node_back. With nothing: power_cut, power_back.
        room_temperature (dry_bulb_c=, over_s=). move_eggs (source=, target=: machines). new_eggs (machine=, age_days=): as
        many, as warm as the air.
        """
        if action in _SWITCHES:
            _fits(action, lambda machine: None, args)
            setattr(self._cabinet(str(args["machine"])), *_SWITCHES[action])
            return
        act = getattr(self, f"_do_{action}", None)
        if act is None:
            raise ActionError("", f"action {action!r}", "one that a room can do")
        _fits(action, act, args)
        act(**args)

    def _cabinet(self, machine: str) -> Cabinet:
        return _of(self.cabinets, machine, "machine with a cabinet")

    def _probe(self, probe: str) -> Probe:
        return _of(self.probes, probe, "probe")

    def _node(self, node: str) -> Node:
        return _of(self.nodes, node, "node")

    def _do_water_dry(self, machine: str) -> None:
        self._water(machine, 0.0)

    def _do_water_low(self, machine: str, share: float) -> None:
        self._water(machine, share)

    def _do_water_ok(self, machine: str) -> None:
        self._water(machine, 1.0)

    def _do_water_overfilled(self, machine: str) -> None:
        self._water(machine, 1.0, overfilled=True)

    def _water(self, machine: str, share: float, overfilled: bool = False) -> None:
        cabinet = self._cabinet(machine)
        cabinet.water_share, cabinet.overfilled = share, overfilled

    def _do_humidity_setpoint(self, machine: str, rh_pct: float) -> None:
        self._cabinet(machine).rh_set_pct = rh_pct

    def _do_dry_bulb_setpoint(self, machine: str, dry_bulb_c: float) -> None:
        self._cabinet(machine).dry_bulb_set_c = dry_bulb_c

    def _do_thermostat_drift(self, machine: str, k_h: float) -> None:
        self._cabinet(machine).drift_k_h = k_h

    def _do_brown_out(self, machine: str, share: float) -> None:
        self._cabinet(machine).volts_share = share

    def _do_side_warm(self, machine: str, k: float) -> None:
        self._cabinet(machine).side_k = k

    def _do_move_eggs(self, source: str, target: str) -> None:
        old, new = self._cabinet(source), self._cabinet(target)
        new.load(old.eggs, old.egg_mass_g, old.age_days, egg_c=old.egg_c)
        old.load(0, old.egg_mass_g, 0.0, egg_c=old.air_c)

    def _do_new_eggs(self, machine: str, age_days: float) -> None:
        cabinet = self._cabinet(machine)
        cabinet.load(cabinet.eggs, cabinet.egg_mass_g, age_days, egg_c=cabinet.air_c)

    def _do_probe_stuck(self, probe: str) -> None:
        self._probe(probe).stuck = True

    def _do_probe_silent(self, probe: str) -> None:
        self._probe(probe).silent = True

    def _do_probe_spike(self, probe: str, k: float) -> None:
        self._probe(probe).spike_k = k

    def _do_probe_drift(self, probe: str, k_h: float) -> None:
        self._probe(probe).drift_k_h = k_h

    def _do_probe_off(self, probe: str, k: float) -> None:
        self._probe(probe).off_k = k

    def _do_probe_noise(self, probe: str, times: float) -> None:
        self._probe(probe).noise_times = times

    def _do_probe_says(self, probe: str, dry_bulb_c: float) -> None:
        self._probe(probe).says_c = dry_bulb_c

    def _do_probe_ok(self, probe: str) -> None:
        self._probe(probe).repair()

    def _do_node_silent(self, node: str) -> None:
        self._node(node).lose_link(self.now_ms)

    def _do_node_back(self, node: str) -> None:
        if self._node(node).sample_ms is not None:  # without power it cannot come back
            self._join(self._node(node), self.now_ms)

    def _do_power_cut(self) -> None:
        for cabinet in self.cabinets.values():
            cabinet.powered = False
        for node in self.nodes.values():
            node.lose_link(self.now_ms)
            node.sample_ms = None
            node.ring.clear()

    def _do_power_back(self) -> None:
        for cabinet in self.cabinets.values():
            cabinet.powered = True
        for node in self.nodes.values():
            if node.sample_ms is None:
                if node.session:  # a new start takes the old connection over; then the broker tells the will
                    self._offline(node, self.now_ms)
                node.start(self.now_ms + node.between(START_MS))
                self._join(node, node.boot_ms)

    def _do_room_temperature(self, dry_bulb_c: float, over_s: float = 0.0) -> None:
        self._ramp = (self.now_ms, self.now_ms + round(over_s * 1000), self.air.dry_bulb_c, dry_bulb_c)

    def _due_ms(self) -> Iterator[int]:
        if self._script:
            yield max(self.now_ms, round(self._script[0][0] * 1000))
        for node in self.nodes.values():
            if node.sample_ms is not None:
                yield node.sample_ms
            if node.will_ms is not None:
                yield node.will_ms

    def _pass(self, ms: int) -> None:
        if ms <= 0:
            return
        air = self.air
        for cabinet in self.cabinets.values():
            cabinet.step(ms / 1000.0, air)
        for probe in self._loose:
            probe.follow(ms / 1000.0, air.dry_bulb_c, air.vapour_kpa)

    def _sample(self, node: Node) -> None:
        pack = node.pack(self.now_ms)
        if node.linked:
            self._send(node, self.now_ms + node.between(PUBLISH_MS), kind="air", payload=pack)
        else:
            node.ring.append(pack)

    def _join(self, node: Node, from_ms: int) -> None:
        """Connect, say "online" unless the broker never missed it, and bring what was kept."""
        node.linked = True
        node.will_ms = None
        if not node.session:
            node.session = True
            node.free_ms = from_ms + node.between(JOIN_MS)
            self._send(node, node.free_ms, kind="status", payload="online", retain=True)
        while node.ring:
            self._send(node, from_ms, kind="air", payload=node.ring.popleft())

    def _offline(self, node: Node, at_ms: int) -> None:
        node.session = False
        node.will_ms = None
        self._deliver(at_ms, Message(at_ms / 1000.0, f"{self._topics}/{node.id}/status", "offline", True))

    def _send(self, node: Node, from_ms: int, *, kind: str, payload: str, retain: bool = False) -> None:
        sent_ms = max(from_ms, node.free_ms)
        node.free_ms = sent_ms + BACKLOG_MS
        node.arrived_ms = max(sent_ms + node.between(NETWORK_MS), node.arrived_ms + 1)
        topic = f"{self._topics}/{node.id}/{kind}"
        self._deliver(node.arrived_ms, Message(node.arrived_ms / 1000.0, topic, payload, retain))

    def _deliver(self, at_ms: int, message: Message) -> None:
        self._count += 1
        heappush(self._delivered, (at_ms, self._count, message))


def _read(cabinet: Cabinet, of: str) -> Callable[[], bool]:
    """What a switch of a cabinet says: mains there, door open, water low."""
    if of == OF_MAINS:
        return lambda: cabinet.powered
    return (lambda: cabinet.door_open) if of == OF_DOOR else (lambda: cabinet.water_share < LOW_WATER)


def _of(known: Mapping[str, Kind], id_: str, what: str) -> Kind:
    if id_ not in known:
        raise ActionError("", f"{what} {id_!r}", f"one of {', '.join(known)}")
    return known[id_]


def _fits(action: str, act: Callable[..., None], args: Mapping[str, object]) -> None:
    wanted = signature(act)
    try:
        wanted.bind(**args)
    except TypeError:
        raise ActionError(action, f"given {', '.join(args) or 'nothing'}", str(wanted)) from None
