"""The site and what stands in it: machines, and the probes that look at them. Fixed while the daemon runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from datetime import tzinfo
from typing import Any

from monitor.domain.air.units import Unit
from monitor.domain.fixed import fixed
from monitor.domain.needs.hearing import EVERYTHING, Hearing
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.rules import Judged, Rule, by_limit

SETTER, HATCHER, BROODER, ROOM = "setter", "hatcher", "brooder", "room"
ID = "[a-z0-9-]{1,32}"  # the form of the id of a site, machine, node, probe, batch or contact, as typed and on the wire
HOLDS_EGGS = (SETTER, HATCHER)
FORCED, GENTLE, STILL = "forced", "gentle", "still"
AIRS = (FORCED, GENTLE, STILL)  # how strongly a machine moves its air
OF_MAINS, OF_DOOR, OF_WATER, OF_TURNING = "mains", "door", "water", "turning"
SWITCHES = (OF_MAINS, OF_DOOR, OF_WATER, OF_TURNING)  # what a switch can be of


@fixed
class Machine:
    """A cabinet, or a place that is only watched. air: one of AIRS; gentle is a fan that leaves layers standing, as a slow or a small one does.
    rules: this machine's own rule numbers, by rule id."""

    id: str
    name: str
    kind: str = SETTER
    air: str = FORCED
    rules: Mapping[str, Mapping[str, Any]] = field(default_factory=dict, hash=False)

    @property
    def holds_eggs(self) -> bool:
        """Whether eggs can be put in it."""
        return self.kind in HOLDS_EGGS


SLOW_S = 60.0  # a probe that speaks more seldom tells heat later than in two minutes
# And of one more seldom than this slow heat is hardly ever foretold: the mean of twenty readings, which a forecast goes by, is then hours old.
FORETELLS_S = 600.0


@fixed
class Probe:
    """One sensing point. key is `<node>/<probe>`; interval_s how often it should speak; position where it hangs.

    node: that publishes it. silence_s: the allowed silence, three missed readings, and never under 30 s, for one lost message is not
    news. fresh_s: how old a reading may be and still be judged: older ones are history. hot_within_s: how long after the air passed its
    alarm limit "too hot" may come: it passed between two readings, the first of which beyond it may be a jump, that the next one confirms.
    """

    key: str
    machine: str
    interval_s: float = 10.0
    position: str = ""
    node: str = field(init=False, repr=False, compare=False)
    silence_s: float = field(init=False, repr=False, compare=False)
    fresh_s: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "node", self.key.partition("/")[0])
        object.__setattr__(self, "silence_s", max(3.0 * self.interval_s, 30.0))
        object.__setattr__(self, "fresh_s", max(3.0 * self.interval_s, 60.0))

    @property
    def hot_within_s(self) -> float:
        """See the class."""
        return 2.0 * self.interval_s

    @property
    def slow(self) -> bool:
        """Whether that is longer than a heater that sticks leaves in a small machine: it is past its limit in 2 min, and deadly in ten."""
        return self.interval_s > SLOW_S

    @property
    def foretells(self) -> bool:
        """Whether heat that comes over hours can be foretold from it."""
        return self.interval_s <= FORETELLS_S


@fixed
class Switch:
    """A switch that a node reads. key is `<node>/<name>`, name as its records bear it; kind one of SWITCHES; machine: whose, "" for the house's mains.

    true_means: whether true says that there are mains, that the door is open, that the water is low, that the eggs are being turned; else that it
    is not so.
    node, silence_s: as of a probe. subject: what its alarm is about.
    """

    key: str
    kind: str
    machine: str = ""
    true_means: bool = True
    interval_s: float = 10.0
    node: str = field(init=False, repr=False, compare=False)
    silence_s: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "node", self.key.partition("/")[0])
        object.__setattr__(self, "silence_s", max(3.0 * self.interval_s, 60.0))

    def wrong(self, value: bool) -> bool:
        """Whether what it sends is what somebody is to know: no mains, an open door, little water; of turning, that it goes on."""
        so = value is self.true_means
        return not so if self.kind == OF_MAINS else so


@fixed
class Site:
    """Everything a decision needs that does not change while the daemon runs."""

    id: str
    zone: tzinfo
    unit: Unit  # what people are shown
    pressure_kpa: float
    machines: Mapping[str, Machine]
    probes: Mapping[str, Probe]
    profiles: Mapping[str, Profile]
    rules: Mapping[str, Rule]
    contacts: tuple[str, ...] = ()
    settle_s: float = 3600.0  # after lockdown begins, how long low humidity is expected
    link: str = ""
    wick_coefficient_per_k: float | None = None
    by_machine: Mapping[str, tuple[Probe, ...]] = field(default_factory=dict)
    by_node: Mapping[str, tuple[Probe, ...]] = field(default_factory=dict)
    own_rules: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)  # what of `rules` is the site's own
    # Error (1 sd), g, by id; the first is used unless another is named.
    scales: Mapping[str, float] = field(default_factory=dict)
    switches: Mapping[str, Switch] = field(default_factory=dict)
    hearing: Mapping[str, Hearing] = field(default_factory=dict)  # by contact; one that is not in it hears everything
    by_limit: Mapping[Judged, str] = field(init=False, repr=False, compare=False)  # the id of each band limit's rule
    doors: Mapping[str, tuple[Switch, ...]] = field(init=False, repr=False, compare=False)  # by machine
    named: Mapping[str, Mapping[str, Probe]] = field(
        init=False, repr=False, compare=False
    )  # by node, and what it calls them
    has_hatcher: bool = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        doors: dict[str, tuple[Switch, ...]] = {}
        for switch in self.switches.values():
            if switch.kind == OF_DOOR:
                doors[switch.machine] = (*doors.get(switch.machine, ()), switch)
        named: dict[str, dict[str, Probe]] = {}
        for probe in self.probes.values():
            named.setdefault(probe.node, {})[probe.key.partition("/")[2]] = probe
        object.__setattr__(self, "doors", doors)
        object.__setattr__(self, "named", named)
        object.__setattr__(self, "has_hatcher", any(m.kind == HATCHER for m in self.machines.values()))
        object.__setattr__(self, "by_limit", by_limit(self.rules))

    def hearing_of(self, contact: str) -> Hearing:
        """What a contact is told, and when."""
        return self.hearing.get(contact, EVERYTHING)

    def beside(self, rule: Rule, level: str) -> str:
        """The rule that judges the same quantity, on the same side, at another level; '' where none does."""
        return self.by_limit.get((rule.quantity or "", rule.side or "", level), "")


def grouped(probes: Mapping[str, Probe], key: str) -> dict[str, tuple[Probe, ...]]:
    """The probes by their 'machine' or 'node'."""
    result: dict[str, tuple[Probe, ...]] = {}
    for probe in probes.values():
        name = getattr(probe, key)
        result[name] = (*result.get(name, ()), probe)
    return result
