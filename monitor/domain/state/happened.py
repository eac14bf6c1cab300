"""What happened besides alarms: facts, of which words are made last (`shown/happened.py`). What was seen of a door is in `signs/seen.py`."""

from __future__ import annotations

from datetime import datetime
from typing import TypeAlias

from monitor.domain.fixed import fixed
from monitor.domain.readings.calibration import Correction
from monitor.domain.signs.seen import NotBack, Opened

# --- of nodes and clocks


@fixed
class NodeSaid:
    """A node's birth, or its last will: that it is there, or not."""

    online: bool


@fixed
class Clash:
    """A message came again under its number and boot, with other values."""

    seq: int
    boot: int


@fixed
class NeverCame:
    """Messages of a boot, from the first to the last, that were given up."""

    boot: int
    first: int
    last: int


@fixed
class ClockSet:
    """The clock of this machine was set forward by so many seconds. mended: whether the labels of this run were mended with it."""

    by_s: float
    mended: bool


AGREES, BY_ITS_COUNT, BY_OURS = "agrees", "by its count", "by ours"


@fixed
class NodeClockSet:
    """A node's own clock was set forward by so many seconds. dated: how its readings are dated, BY_ITS_COUNT, BY_OURS; or it AGREES with ours."""

    by_s: float
    dated: str


UNTRIED, CONNECTED, HEARD_AGAIN = "untried", "connected", "heard again"
NOT_THERE, NO_ENTRY, NO_EAR, LOST, UNHEARD, ENDED = "not there", "no entry", "no ear", "lost", "unheard", "ended"
TAKEN = "taken"


@fixed
class Broker:
    """How it stands with the broker at `where` (host:port): CONNECTED, and its echo of our own words HEARD_AGAIN; or NOT_THERE, or it gave us
    NO_ENTRY, or NO_EAR for the topics in `said`, or was LOST, all in the words of the system or its own; UNHEARD: connected, and no echo comes
    within `said` seconds; ENDED: what spoke with it had ended; TAKEN: it lets us in, and out again each time; UNTRIED: nobody knows."""

    what: str
    where: str = ""
    said: str = ""


# --- of the record


@fixed
class NotRecorded:
    """For so many seconds nothing could be written down; and so many readings were left out, which memory had no room for."""

    for_s: float
    left_out: int


# --- of a batch


@fixed
class SetOf:
    """It was set: eggs of a species."""

    species: str


@fixed
class MovedTo:
    """It went to a machine."""

    machine: str


@fixed
class StageSaid:
    """A stage was declared, or taken back."""

    stage: str
    back: bool = False


SIGN, NO_SIGN, HATCHER = "sign", "no sign", "hatcher"


@fixed
class Lockdown:
    """Why it is in lockdown: a SIGN was seen in its eggs, or they were brought to a HATCHER; or why no longer: there was NO_SIGN."""

    why: str


@fixed
class WentOn:
    """So many of its eggs are another batch now."""

    into: str
    eggs: int


@fixed
class OutOf:
    """It was made of eggs of another batch."""

    batch: str


@fixed
class Closed:
    """It was closed; or opened again."""

    again: bool = False


@fixed
class Removed:
    """It was a slip. eggs: None where nobody said how many."""

    species: str
    set_at: datetime
    eggs: int | None = None
    by: str = ""


# --- of a machine, a probe


@fixed
class WorkBegun:
    """Somebody works at the open machine, for so many minutes at most."""

    minutes: float
    by: str = ""


@fixed
class WorkDone:
    """Somebody has done so."""

    by: str = ""


@fixed
class CoolingSaid:
    """Eggs are cooled each day: of a batch, or in a machine; at `hours` of the house's clock, such as 08:00, 18:00; for so many minutes; to
    to_c, on the days from first_day to last_day, each None where nobody said. Or no longer."""

    of: str
    hours: str
    minutes: float
    ended: bool = False
    by: str = ""
    to_c: float | None = None
    first_day: int | None = None
    last_day: int | None = None


@fixed
class TakenOut:
    """A probe or a machine was taken out of service. until: None where a person is to put it back."""

    until: datetime | None = None
    by: str = ""


@fixed
class PutBack:
    """It is in service again. over: its time was over; else somebody did it."""

    over: bool = False
    by: str = ""


@fixed
class WorkOver:
    """The air of the machine is back after it."""


TURNING = "turning"  # kind of an event: eggs were turned once, as the switch of their turner says


@fixed
class Turned:
    """A switch turned. kind: as of a configured one; wrong: whether it says what somebody is to know (no mains, an open door, little water)."""

    kind: str
    wrong: bool


@fixed
class Calibrated:
    """A probe was held against a reference, and is corrected so."""

    dry_bulb_c: Correction | None = None
    rh_pct: Correction | None = None
    by: str = ""


@fixed
class Change:
    """One thing that is otherwise than it was. what: `machine` (its kind, "" where there was or is none), `kind`, `air`, `probe` (the machine
    that it looks at), `interval_s`, `position`, `pressure_kpa`, `zone`, `profile`; of: whose."""

    what: str
    of: str
    was: str
    now: str


@fixed
class Arranged:
    """What looks at which machine is otherwise than it was; or, without any change, is written down for the first time."""

    changes: tuple[Change, ...] = ()


OfBatch: TypeAlias = SetOf | MovedTo | StageSaid | Lockdown | WentOn | OutOf | Closed | Removed
Happened: TypeAlias = (
    Opened | NotBack | NodeSaid | Clash | NeverCame | ClockSet | NodeClockSet | Broker | NotRecorded | OfBatch
    | WorkBegun | WorkDone | WorkOver | CoolingSaid | TakenOut | PutBack | Turned | Calibrated | Arranged
)  # fmt: skip
KINDS: dict[str, type[Happened]] = {
    "opened": Opened,
    "not back": NotBack,
    "node said": NodeSaid,
    "clash": Clash,
    "never came": NeverCame,
    "clock set": ClockSet,
    "node clock set": NodeClockSet,
    "broker": Broker,
    "not recorded": NotRecorded,
    "set": SetOf,
    "moved": MovedTo,
    "stage": StageSaid,
    "lockdown": Lockdown,
    "went on": WentOn,
    "split off": OutOf,
    "closed": Closed,
    "removed": Removed,
    "work begun": WorkBegun,
    "work done": WorkDone,
    "work over": WorkOver,
    "cooling said": CoolingSaid,
    "taken out": TakenOut,
    "put back": PutBack,
    "turned": Turned,
    "calibrated": Calibrated,
    "arranged": Arranged,
}  # by the names that a record keeps
