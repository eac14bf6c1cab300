"""What is known at this moment: the one thing that changes, owned by the engine and by nobody else.

Its values are frozen; what changes is which value stands under a key. Everything here is either in the record, or known anew
within a few readings of a restart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from monitor.domain.alarm import Alarm
from monitor.domain.bands import Needs
from monitor.domain.batch import Batch
from monitor.domain.dating import Line
from monitor.domain.numbering import Numbering
from monitor.domain.opening import Watch
from monitor.domain.record import Unknown
from monitor.domain.rules import Rule

Key = tuple[str, str]  # (subject, rule id)


@dataclass(frozen=True, slots=True)
class Heard:
    """A probe's newest fresh reading; humid_mono_s is when its last humidity came, None when none came in this run."""

    mono_s: float
    at: datetime
    dry_bulb_c: float
    rh_pct: float | None
    humid_mono_s: float | None = None


@dataclass(frozen=True, slots=True)
class NodeState:
    """What a node's birth and will last said, and when; data outranks it."""

    online: bool
    mono_s: float


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a machine, ready to be compared: quantity 0 is dry bulb, 1 humidity; side +1 high, -1 low.

    back is where the alarm goes: the limit less the deadband.
    """

    key: Key
    rule: Rule
    quantity: int
    side: int
    limit: float
    back: float


@dataclass(frozen=True, slots=True)
class Plan:
    """A machine's needs, as limits; humid names the humidity quantity ('rh_pct', 'wet_bulb_c' or '').

    awaited: the batches whose lockdown humidity has not been reached since it became due. low_dry_bulb_c: the highest low limit.
    """

    needs: Needs
    limits: tuple[Limit, ...]
    humid: str
    awaited: tuple[str, ...]
    low_dry_bulb_c: float | None = None


@dataclass(slots=True)
class State:
    """See the module."""

    anchor_ms: float  # utc minus mono: what turns the forward clock into labels
    clock_ok: bool
    started_mono_s: float
    lines: dict[tuple[str, int], tuple[Line, ...]] = field(default_factory=dict)
    numberings: dict[tuple[str, int], Numbering] = field(default_factory=dict)
    batches: dict[str, Batch] = field(default_factory=dict)
    alarms: dict[Key, Alarm] = field(default_factory=dict)
    unknown: dict[str, Unknown] = field(default_factory=dict)
    heard: dict[str, Heard] = field(default_factory=dict)
    nodes: dict[str, NodeState] = field(default_factory=dict)
    plans: dict[str, Plan] = field(default_factory=dict)
    watches: dict[str, Watch] = field(default_factory=dict)  # machine: whether someone has just opened it
    reached: dict[str, frozenset[str]] = field(default_factory=dict)  # machine: batches whose lockdown humidity was
    waiting: dict[str, int] = field(default_factory=dict)  # contact: notices not yet sent
    split: set[tuple[str, int]] = field(default_factory=set)  # lines whose next reading begins a new part
    last_line: int = 0
    last_number: int = 0
    last_notice: int = 0
