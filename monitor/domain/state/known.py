"""What is known at this moment: the one thing that changes, owned by the engine and by nobody else.

Its values are frozen; what changes is which value stands under a key. Everything here is either in the record, or known anew
within a few readings of a restart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field, replace
from datetime import date, datetime

from monitor.domain.alarms.about import Apart, Fault, Switched, Unusable
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.alarms.notice import Reach
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.fixed import fixed, kept
from monitor.domain.needs.bands import Needs
from monitor.domain.needs.batch import Batch, batch_of
from monitor.domain.needs.rules import (
    ALARM,
    DISAGREE,
    DRY_BULB,
    EGG,
    HIGH,
    LETHAL,
    LOW,
    OF_SWITCHES,
    PRIORITIES,
    SENSOR_FAILED,
    Rule,
)
from monitor.domain.needs.site import Site
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.agreement import Pairs
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.dating import Line
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.quality import Trail
from monitor.domain.readings.reading import Now
from monitor.domain.signs.cooling import Cooling
from monitor.domain.signs.heading import Window
from monitor.domain.signs.lately import Mean, Span
from monitor.domain.signs.opening import Handling, Watch
from monitor.domain.signs.switch import Contact
from monitor.domain.state.memory import EggFelt, Heard, Held, NodeFact
from monitor.domain.state.record import Group, Unknown

Key = tuple[str, str]  # (subject, rule id)
# Disagreeing sensors, one of them out of the band, stand for what either says: nobody else asks again.
URGENT_AGAIN_S = 1800.0
# Of two that are each good to 0.3 K in a machine whose air has layers of 0.2 K (judgement).
SOUND_APART_K = 0.8
MAX_REACHED = 1_000  # of episodes and contacts: those that stand are fewer by far


@fixed
class Limit:
    """One limit of a machine, ready to be compared: quantity 0 is dry bulb, 1 humidity; side +1 high, -1 low.

    back is where the alarm goes: the limit less the deadband. edge: the band's own value, without what a sensor may be off. span: which of the plan's spans its value is the mean over; -1: none, it is
    each reading's.
    """

    key: Key
    rule: Rule
    quantity: int
    side: int
    limit: float
    back: float
    edge: float
    span: int = -1


@fixed
class Eggs:
    """The eggs of one batch in a machine, as their temperature is reckoned; target_c: what the machine should read."""

    batch: str
    model: EggModel
    target_c: float
    judged: bool


@fixed
class Plan:
    """A machine's needs, as limits; humid names the humidity quantity ('rh_pct', 'wet_bulb_c' or '').

    awaited: the batches whose lockdown humidity has not been reached since it became due. low_dry_bulb_c: the highest low limit.
    rules: those in force here, for these species. headings: the limits that the air may be heading for. keys: every alarm that
    readings of this machine's air are judged for.
    within: the dry bulb judged by low limits is at least this, by high limits at most this, and humidity likewise, while no limit is
    passed. off_target_c: between these the air is heading for none of `headings`. spans: over which the rest of the limits are judged. cold_c: below it the air is too cold.
    """

    needs: Needs
    limits: tuple[Limit, ...]
    humid: str
    awaited: tuple[str, ...]
    rules: Mapping[str, Rule]
    low_dry_bulb_c: float | None = None
    eggs: tuple[Eggs, ...] = ()
    headings: tuple[Limit, ...] = ()
    keys: frozenset[Key] = frozenset()
    within: tuple[float, float, float, float] = (-math.inf, math.inf, -math.inf, math.inf)
    off_target_c: tuple[float, float] = (-math.inf, math.inf)
    spans: tuple[Span, ...] = ()
    cold_c: float | None = None


@fixed
class Said:
    """What a node's birth or last will said, and when; data outranks it."""

    online: bool
    mono_s: float


@fixed
class Trouble:
    """What was wrong with the newest message of which nothing could be judged, when it came, and since when they have come like that."""

    mono_s: float
    about: Fault | Unusable
    since_s: float


def troubled(before: Trouble | None, now_s: float, about: Fault | Unusable, *, within_s: float) -> Trouble:
    """One more message of which nothing can be judged. within_s: so soon after another it goes on from that."""
    goes_on = before is not None and now_s - before.mono_s <= within_s
    return Trouble(now_s, about, before.since_s if goes_on and before is not None else now_s)


@kept
class ProbeState:
    """What is known of one probe. life_mono_s: its last sign of life, a fit reading or not; held: a reading whose flag waits for the next.
    trouble: what was wrong with the newest that was no reading. humid_from_s: when the first humidity of this run came, fit or not.
    jumped_mono_s: when its temperature last moved all at once, and stayed there; jumped_k: by how much,
    jumped_from_s: when the first reading of it came."""

    heard: Heard | None = None
    life_mono_s: float | None = None
    trail: Trail | None = None
    held: Held | None = None
    calibrations: tuple[Calibration, ...] = ()
    trouble: Trouble | None = None
    humid_from_s: float | None = None
    jumped_mono_s: float | None = None
    jumped_k: float = 0.0
    jumped_from_s: float = -math.inf

    def humid_at_s(self) -> float | None:
        """Since when nothing is known of its humidity: its last that was fit, or else the first that came at all; None where none did."""
        heard = self.heard
        last_s = None if heard is None else heard.humid_mono_s
        return self.humid_from_s if last_s is None else last_s


@kept
class MachineState:
    """What is known of one machine.

    watch: whether someone has just opened it; handling: work at it that someone declared; put_in_s: when eggs were last put in, or taken out;
    cooled_at: which cooling of the day was last begun, cool_to_c: what its eggs are cooled to, while it lasts. means: how its air was lately, over each span
    of the plan; windows: its air, as judged low and high; seen_by: the probes that both are of. pairs: how its probes stand to one another. reached: the batches whose lockdown humidity was.
    door_lowest_c: how cold its air came while its door's contact says that it is open. awaits: before when nothing of its eggs is overdue, under
    which plan.
    """

    plan: Plan | None = None
    watch: Watch | None = None
    handling: Handling | None = None
    put_in_s: float = -math.inf
    cooled_at: datetime | None = None
    cool_to_c: float | None = None
    means: tuple[Mean | None, ...] = ()
    windows: tuple[Window, Window] | None = None
    seen_by: tuple[str, ...] | None = None
    pairs: Pairs | None = None
    unmixed: bool = False
    reached: frozenset[str] = frozenset()
    door_lowest_c: float | None = None
    awaits: tuple[Plan, datetime] | None = None


@kept
class NodeState:
    """What is known of one node, by boot: the lines that date it, in parts, and which messages came. split: a new part begins next.
    spoke_mono_s: when anything of it was last taken in; trouble: what was wrong with the newest message that told of no probe. facts: what it
    says besides its air, by name; said_in: what the newest messages hold, by (boot, number); clashes: those that came again with another.
    starts: when it lately started. clock_off_ms, clock_odd_ms: of a node that counts and has a clock besides, how far that is ahead of our forward clock, and what its newest
    message has instead."""

    said: Said | None = None
    lines: dict[int, tuple[Line, ...]] = field(default_factory=dict)
    numberings: dict[int, Numbering] = field(default_factory=dict)
    split: set[int] = field(default_factory=set)
    spoke_mono_s: float | None = None
    trouble: Trouble | None = None
    facts: dict[str, NodeFact] = field(default_factory=dict)
    said_in: dict[tuple[int, int], int] = field(default_factory=dict)
    clashes: int = 0
    clock_off_ms: float | None = None
    clock_odd_ms: float | None = None
    starts: tuple[float, ...] = ()


@kept
class State:
    """See the module. What there is of a machine, a probe or a node begins when it is first asked for."""

    anchor_ms: float  # utc minus mono: what turns the forward clock into labels
    clock_ok: bool
    started_mono_s: float
    stood_until_mono_s: float = -math.inf  # up to when this run last stood still and heard nothing
    machines: dict[str, MachineState] = field(default_factory=dict)
    probes: dict[str, ProbeState] = field(default_factory=dict)
    nodes: dict[str, NodeState] = field(default_factory=dict)
    contacts: dict[str, Contact] = field(default_factory=dict)  # by switch
    batches: dict[str, Batch] = field(default_factory=dict)
    coolings: dict[str, Cooling] = field(default_factory=dict)  # by what they are of: declared for each day
    out: dict[str, Out] = field(default_factory=dict)  # by probe or machine: what is out of service
    books: dict[str, EggBook] = field(default_factory=dict)  # of open batches, and of closed ones that were asked for
    files: dict[str, int] = field(default_factory=dict)  # bytes of each that the record keeps, by what is in it
    looks: dict[str, tuple[Entry, ...]] = field(default_factory=dict)  # batch: what is to be looked at again
    eggs: dict[str, EggFelt] = field(default_factory=dict)  # batch: what its eggs feel
    alarms: dict[Key, Alarm] = field(default_factory=dict)
    unknown: dict[str, Unknown] = field(default_factory=dict)
    last_watched: datetime | None = None  # when the run before last did, where it was cut off and that is not told yet
    # when what this run took up was written, on both clocks, and whether at a stop
    handed_on: tuple[float, datetime, bool] | None = None
    # When this run began, and those before it, on the forward clock: as far back as each but the first went on from one that was cut off.
    starts: tuple[float, ...] = ()
    lost: str = ""  # why no node can be heard, as far as this machine knows by itself: its BROKER or NETWORK is gone
    # node: the other site as which it speaks, and since when
    elsewhere: dict[str, tuple[str, float]] = field(default_factory=dict)
    looked_mono_s: float = -math.inf  # when what is overdue was last looked for
    waiting: dict[str, int] = field(default_factory=dict)  # contact: notices not yet sent
    unsent: dict[int, tuple[str, int]] = field(default_factory=dict)  # of each such notice: (contact, alarm number)
    reached: dict[tuple[int, str], Reach] = field(default_factory=dict)  # by alarm number and contact
    # by name: the local dates on which each was done lately
    chores: dict[str, frozenset[date]] = field(default_factory=dict)
    site_kept: SiteThen | None = None  # what was written down last of what looks at which machine
    site_kept_of: frozenset[str] | None = None  # the profiles for which this run has seen to that; None: not yet
    had_record: bool = False  # whether this run goes on with a record in which there is something
    last_line: int = 0
    last_number: int = 0
    last_notice: int = 0

    @property
    def listens_mono_s(self) -> float:
        """Since when this run listens: before it nobody could be heard, so nobody was silent."""
        started_s, stood_until_s = self.started_mono_s, self.stood_until_mono_s
        return started_s if started_s > stood_until_s else stood_until_s

    def machine(self, id_: str) -> MachineState:
        """What is known of a machine."""
        found = self.machines.get(id_)
        if found is None:
            found = self.machines[id_] = MachineState()
        return found

    def probe(self, key: str) -> ProbeState:
        """What is known of a probe."""
        found = self.probes.get(key)
        if found is None:
            found = self.probes[key] = ProbeState()
        return found

    def node(self, id_: str) -> NodeState:
        """What is known of a node."""
        found = self.nodes.get(id_)
        if found is None:
            found = self.nodes[id_] = NodeState()
        return found

    def plan_of(self, machine: str) -> Plan | None:
        """A machine's limits as they stand; None for what is none, and until they are worked out."""
        found = self.machines.get(machine)
        return None if found is None else found.plan

    def plan_anew(self) -> None:
        """What is in the machines, or the label clock, has changed: all limits are to be worked out again."""
        for machine in self.machines.values():
            machine.plan = None


@kept
class Look:
    """One look at the house: what is known, what stands in it, the instant, and what of the decision must be written."""

    state: State
    site: Site
    now: Now
    out: Group = field(default_factory=Group)


def did_not_get_through(state: State, number: int, contact: str, *, since: datetime) -> None:
    """The service of a contact did not take a notice of an episode: since then it is unheard, unless for longer. What only waits for its turn is not."""
    known = state.reached.get((number, contact), Reach(contact))
    if known.unheard_since is None:
        _reach(state, number, replace(known, unheard_since=since))


def got_through(state: State, number: int, contact: str, *, at: datetime) -> None:
    """A notice of an episode reached a contact."""
    _reach(state, number, Reach(contact, at))


def waits_no_more(state: State, number: int, contact: str) -> None:
    """What waited was called off: where nothing else of the episode waits for the contact, it is owed nothing."""
    known = state.reached.get((number, contact))
    if known is not None and (contact, number) not in state.unsent.values():
        _reach(state, number, replace(known, unheard_since=None))


def _reach(state: State, number: int, reach: Reach) -> None:
    """Note it; what is known of episodes that are over is given up now and then."""
    state.reached[number, reach.contact] = reach
    if len(state.reached) > MAX_REACHED:
        standing = {alarm.number for alarm in state.alarms.values() if alarm.condition}
        state.reached = {key: known for key, known in state.reached.items() if key[0] in standing}


def plan_with(state: State, batch: str) -> Plan | None:
    """The plan of the machine that a batch is in; None while it is in none."""
    plans = [m.plan for m in state.machines.values() if m.plan is not None] if batch else []
    return next((p for p in plans if any(o.batch == batch for o in p.needs.occupants)), None)


def rule_of(look: Look, subject: str, rule_id: str) -> Rule:
    """The rule as it stands for a subject now: a machine's for what is in it, a probe's as its machine's, else the site's.

    Two are as urgent as what they come together with. A sensor that fails while its machine is in danger: nobody can follow that
    danger any more. Probes that disagree while the air at one of them is out of its band: either may be right, and where the fan has
    stopped both are. That is told by the disagreement alone: what is only warned of stays as mild as it is. Probes that within minutes came
    to differ otherwise than they do are as urgent, for eggs get hot by their own heat in air that only looks well; asked again as any.
    """
    probe = look.site.probes.get(subject)
    plan = look.state.plan_of(subject if probe is None else probe.machine) or plan_with(look.state, batch_of(subject))
    rule = look.site.rules[rule_id] if plan is None else plan.rules[rule_id]
    if rule_id == SENSOR_FAILED and probe is not None:
        standing = [
            rule_of(look, *key).priority
            for key, alarm in look.state.alarms.items()
            if key[0] == probe.machine and alarm.condition and look.site.rules[key[1]].quantity in (DRY_BULB, EGG)
        ]
        return _raised(rule, max(standing, key=PRIORITIES.index, default=rule.priority))
    if rule_id == DISAGREE and apart_outside(look, subject):
        urgent = _raised(rule, HIGH)
        return replace(urgent, re_alarm_s=min(urgent.re_alarm_s or math.inf, URGENT_AGAIN_S))
    if rule_id == DISAGREE and (look.state.machine(subject).unmixed or _was_unmixed(look.state, subject)):
        return _raised(rule, HIGH)
    if rule_id in OF_SWITCHES and _is_warm(look.state, (subject, rule_id)):
        return replace(rule, priority=LOW)
    return rule


def _is_warm(state: State, key: Key) -> bool:
    """Whether what a switch says has lasted for long, and harmed nothing."""
    alarm = state.alarms.get(key)
    return alarm is not None and isinstance(alarm.about, Switched) and alarm.about.warm


def apart_outside(look: Look, machine: str) -> bool:
    """Whether the air at any of its probes is out of the band, or was since the disagreement of its probes began."""
    return _outside(look, machine) or _was_outside(look.state, machine)


def _outside(look: Look, machine: str) -> bool:
    """Whether the air at any probe is beyond an alarm limit of temperature, or beyond what is warned of while they differ by more than sound
    sensors do: two of these differ by as much as a band is wide."""
    plan = look.state.plan_of(machine)
    if plan is None:
        return False
    heard_c = []
    for probe in look.site.by_machine.get(machine, ()):
        known = look.state.probes.get(probe.key)
        heard = None if known is None or probe.key in look.state.out else known.heard
        if heard is not None and look.now.mono_s - heard.mono_s <= probe.silence_s:
            heard_c.append(heard.dry_bulb_c)
    if not heard_c:
        return False
    urgent = [each for each in plan.limits if each.quantity == 0 and each.rule.level in (ALARM, LETHAL)]
    coldest_c, hottest_c = min(heard_c), max(heard_c)
    if any((hottest_c if each.side > 0 else -coldest_c) > each.side * each.limit for each in urgent):
        return True
    least_c, most_c = plan.within[:2]
    return hottest_c - coldest_c >= SOUND_APART_K and (coldest_c < least_c or hottest_c > most_c)


def _was_outside(state: State, machine: str) -> bool:
    """Whether that was so since the disagreement began."""
    alarm = state.alarms.get((machine, DISAGREE))
    return alarm is not None and alarm.condition and isinstance(alarm.about, Apart) and alarm.about.outside


def _was_unmixed(state: State, machine: str) -> bool:
    """Whether the disagreement that stands says that the air does not mix."""
    alarm = state.alarms.get((machine, DISAGREE))
    return alarm is not None and alarm.condition and isinstance(alarm.about, Apart) and alarm.about.unmixed


def egg_range_c(look: Look, eggs: Eggs, egg_c: float) -> tuple[float, float]:
    """(lowest, highest) that a batch's eggs estimated at egg_c may have now, °C."""
    day = look.state.batches[eggs.batch].day(look.now.utc)
    down_k, up_k = eggs.model.doubt_k(eggs.model.offset_k(day))
    return egg_c - down_k, egg_c + up_k


def doubt_of(look: Look, alarm: Alarm) -> tuple[float, float] | None:
    """The same, of the eggs that an alarm of an estimate tells; None of any other, and where they are no longer followed."""
    plan = look.state.plan_of(alarm.subject)
    if plan is None or alarm.about != EGG or alarm.value is None:
        return None
    felt, value_c = look.state.eggs, alarm.value
    followed = [eggs for eggs in plan.eggs if eggs.judged and eggs.batch in felt]
    nearest = min(followed, key=lambda eggs: abs(felt[eggs.batch].egg_c - value_c), default=None)
    return None if nearest is None else egg_range_c(look, nearest, value_c)


def _raised(rule: Rule, priority: str) -> Rule:
    return rule if PRIORITIES.index(priority) <= PRIORITIES.index(rule.priority) else replace(rule, priority=priority)
