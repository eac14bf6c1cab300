"""What the record takes in: the rows that one decision, and one transaction, consist of."""

from __future__ import annotations

from dataclasses import field
from datetime import date, datetime

from monitor.domain.alarms.alarm import Transition
from monitor.domain.alarms.notice import Notice
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.entry import Entry
from monitor.domain.fixed import fixed, kept
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.dating import Line
from monitor.domain.readings.numbering import Gap, Numbering
from monitor.domain.readings.reading import MISSING, Refused
from monitor.domain.signs.cooling import Cooling
from monitor.domain.signs.opening import Handling
from monitor.domain.state.happened import Happened
from monitor.domain.state.memory import Memory


@fixed
class StoredReading:
    """One row of the record: values as sent (raw), the line and counted time that date it, and a quality flag for each quantity."""

    probe: str
    line: int
    up_ms: int
    dry_bulb_c: float | None
    rh_pct: float | None
    flag: int
    rh_flag: int = MISSING


@fixed
class Reflag:
    """The settled flags of a reading that is in the record already, by its key."""

    probe: str
    line: int
    up_ms: int
    flag: int
    rh_flag: int


@fixed
class RefusedRow:
    """A refused message as it is kept."""

    at: datetime
    refused: Refused


@fixed
class Unknown:
    """A probe that nobody configured: kept aside by name, counted, offered."""

    probe: str
    first_at: datetime
    last_at: datetime
    count: int
    dry_bulb_c: float | None
    rh_pct: float | None


@fixed
class Attempt:
    """What came of sending one notice once. outcome: 'sent', 'later', 'failed' or 'cancelled'."""

    notice: int
    outcome: str
    detail: str
    at: datetime
    contact: str = ""


@fixed
class Event:
    """Something worth a line in the record that is no alarm: a node came or went, a gap, the clock was set.

    what: as facts; None of one that an older program wrote, or an archive, which has its words alone. text: as the record keeps it, in °C and
    UTC; made last, and empty until then.
    """

    at: datetime
    kind: str
    subject: str
    text: str = ""
    what: Happened | None = None


@fixed
class ChoreDone:
    """A chore was done on a local date."""

    name: str
    day: date
    at: datetime


@kept
class Group:
    """Everything one transaction writes. Kept in the order it was decided; written in one piece or not at all."""

    readings: list[StoredReading] = field(default_factory=list)
    lines: dict[int, Line] = field(default_factory=dict)
    numberings: dict[tuple[str, int], Numbering] = field(default_factory=dict)
    gaps: list[Gap] = field(default_factory=list)
    refused: list[RefusedRow] = field(default_factory=list)
    unknown: dict[str, Unknown] = field(default_factory=dict)
    batches: dict[str, Batch] = field(default_factory=dict)
    removed: list[str] = field(default_factory=list)  # batches that were slips
    transitions: list[Transition] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    attempts: list[Attempt] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    reflags: list[Reflag] = field(default_factory=list)
    handlings: dict[str, Handling | None] = field(default_factory=dict)  # by machine; None: over
    coolings: list[Cooling] = field(default_factory=list)  # declared, or ended
    outs: list[Out] = field(default_factory=list)  # taken out of service, or put back
    memory: Memory | None = None
    calibrations: list[Calibration] = field(default_factory=list)
    entries: list[tuple[str, Entry]] = field(default_factory=list)  # with the batch that each is of
    files: dict[str, bytes] = field(default_factory=dict)  # put beside entries, by what is in them (SHA-256)
    chores: list[ChoreDone] = field(default_factory=list)
    sites: list[SiteThen] = field(default_factory=list)  # what looks at which machine, from when on

    def empty(self) -> bool:
        """Whether there is nothing to write."""
        return not (
            self.readings
            or self.lines
            or self.numberings
            or self.gaps
            or self.refused
            or self.unknown
            or self.batches
            or self.removed
            or self.transitions
            or self.notices
            or self.attempts
            or self.events
            or self.reflags
            or self.handlings
            or self.coolings
            or self.outs
            or self.memory
            or self.calibrations
            or self.entries
            or self.files
            or self.chores
            or self.sites
        )
