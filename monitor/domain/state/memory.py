"""What a run knows besides the record: how each probe and machine was just now. Written down now and then, so that the next run goes on
where this one stopped. Times are those of the forward clock, which goes on over a restart as long as the label clock was right.
"""

from __future__ import annotations

import math
from datetime import datetime

from monitor.domain.fixed import fixed
from monitor.domain.readings.agreement import Given, Pair
from monitor.domain.readings.quality import Trail
from monitor.domain.signs.heading import Window
from monitor.domain.signs.lately import Mean
from monitor.domain.signs.opening import Watch
from monitor.domain.signs.switch import Contact


@fixed
class Heard:
    """A probe's newest reading that was fit to be judged, corrected by its calibration. humid_mono_s: when its last humidity came."""

    mono_s: float
    at: datetime
    dry_bulb_c: float
    rh_pct: float | None
    humid_mono_s: float | None = None


@fixed
class Held:
    """A stored reading that waits for the next: when it was taken, its temperature as sent, the row's key, its flags but for the
    jump, and which quantity jumped."""

    at: datetime
    dry_bulb_c: float
    line: int
    up_ms: int
    flag: int
    rh_flag: int
    dry_bulb_held: bool
    rh_held: bool


@fixed
class EggFelt:
    """A batch's egg as the model has it, and the air it was last moved by."""

    mono_s: float
    egg_c: float
    air_c: float


@fixed
class NodeFact:
    """What a node says besides its air: the newest value of one name, and how many came."""

    name: str
    value: float | str | bool
    unit: str
    at: datetime
    count: int


@fixed
class NodeMemory:
    """One node: what it says besides its air, and how many of its messages bore the number of another."""

    node: str
    facts: tuple[NodeFact, ...]
    clashes: int


@fixed
class ProbeMemory:
    """One probe: what its next reading is compared with."""

    probe: str
    heard: Heard | None
    life_mono_s: float | None  # the last sign of life, fit or not
    trail: Trail | None
    held: Held | None


@fixed
class MachineMemory:
    """One machine: how its air was, how its probes stood to one another, and what was being done at it (see `MachineState`)."""

    machine: str
    watch: Watch | None
    windows: tuple[Window, Window] | None  # towards cold, towards heat
    seen_by: tuple[str, ...] | None
    pairs: tuple[tuple[str, str, Pair], ...]
    lately: tuple[tuple[str, Given], ...]
    reached: tuple[str, ...]
    means: tuple[Mean | None, ...] = ()
    put_in_s: float = -math.inf
    cooled_at: datetime | None = None
    cool_to_c: float | None = None
    door_lowest_c: float | None = None


@fixed
class AlarmMemory:
    """What of an alarm is no transition: a delay that runs, when and how often it was told, how often it came. episode, condition: which alarm
    that was."""

    subject: str
    rule: str
    episode: int
    condition: bool
    pending_mono_s: float | None
    pending_at: datetime | None
    asked_mono_s: float | None
    shelved_until: datetime | None
    shelved_until_mono_s: float | None
    times: int = 0
    gone_mono_s: float | None = None
    asked: int = 0
    answered: bool = False
    begun_mono_s: float | None = None
    out_until: datetime | None = None
    out_until_mono_s: float | None = None
    rested: bool = False


@fixed
class Memory:
    """See the module. final: written when the run stopped; else that run may have gone on, and been cut off. last_watched: since when nobody had
    watched before that run, where it did not come to say so. starts: when runs began lately of which each went on from one that was cut off, and the first of them."""

    mono_s: float
    at: datetime
    final: bool = False
    probes: tuple[ProbeMemory, ...] = ()
    machines: tuple[MachineMemory, ...] = ()
    eggs: tuple[tuple[str, EggFelt], ...] = ()
    alarms: tuple[AlarmMemory, ...] = ()
    nodes: tuple[NodeMemory, ...] = ()
    last_watched: datetime | None = None
    contacts: tuple[tuple[str, Contact], ...] = ()  # by switch
    starts: tuple[float, ...] = ()
