"""What was done and rang round a batch in an archive, as format version 1 has it: calibrations, handlings, events, gaps, alarms,
messages.

As in `house`, these names belong to files that people keep and follow no name inside the program. Times are aware UTC.
"""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import AwareDatetime

from monitor.adapters.kept.rows import Rows
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.alarms.notice import Notice
from monitor.domain.readings.calibration import Calibration, Correction, Point
from monitor.domain.readings.numbering import Gap
from monitor.domain.signs.opening import Handling
from monitor.domain.signs.seen import seen_of_words
from monitor.domain.state.record import Event
from monitor.service.ports import NoticeRow, TransitionRow
from monitor.service.reports.archive import Archive


@dataclass(frozen=True, slots=True)
class ArchivedCorrection:
    """Of one quantity: slope, offset, and the points it was made from, each [reading, reference, salt]."""

    slope: float
    offset: float
    points: Rows[tuple[float, float, str]] = ()

    @classmethod
    def of(cls, correction: Correction | None) -> ArchivedCorrection | None:
        """A correction as it is kept."""
        if correction is None:
            return None
        points = tuple((p.reading, p.reference, p.salt) for p in correction.points)
        return cls(slope=correction.slope, offset=correction.offset, points=points)

    def back(self) -> Correction:
        """The correction."""
        points = tuple(Point(reading=r, reference=reference, salt=salt) for r, reference, salt in self.points)
        return Correction(slope=self.slope, offset=self.offset, points=points)


@dataclass(frozen=True, slots=True)
class ArchivedCalibration:
    """One calibration of one probe."""

    probe: str
    at: AwareDatetime
    since: AwareDatetime | None = None
    due: AwareDatetime | None = None
    by: str = ""
    note: str = ""
    dry_bulb_c: ArchivedCorrection | None = None
    rh_pct: ArchivedCorrection | None = None

    @classmethod
    def of(cls, calibration: Calibration) -> ArchivedCalibration:
        """A calibration as it is kept."""
        return cls(
            probe=calibration.probe,
            at=calibration.at,
            since=calibration.since,
            due=calibration.due,
            by=calibration.by,
            note=calibration.note,
            dry_bulb_c=ArchivedCorrection.of(calibration.dry_bulb_c),
            rh_pct=ArchivedCorrection.of(calibration.rh_pct),
        )

    def back(self) -> Calibration:
        """The calibration."""
        return Calibration(
            probe=self.probe,
            at=self.at,
            since=self.since,
            due=self.due,
            by=self.by,
            note=self.note,
            dry_bulb_c=None if self.dry_bulb_c is None else self.dry_bulb_c.back(),
            rh_pct=None if self.rh_pct is None else self.rh_pct.back(),
        )


@dataclass(frozen=True, slots=True)
class ArchivedHandling:
    """A declared stretch of work at an open machine. until_mono_s: 0, for the clock it counted on is gone."""

    machine: str
    since: AwareDatetime
    until: AwareDatetime
    until_mono_s: float
    by: str

    @classmethod
    def of(cls, handling: Handling) -> ArchivedHandling:
        """A handling as it is kept."""
        return cls(
            machine=handling.machine,
            since=handling.since,
            until=handling.until,
            until_mono_s=handling.until_mono_s,
            by=handling.by,
        )

    def back(self) -> Handling:
        """The handling."""
        return Handling(
            machine=self.machine, since=self.since, until=self.until, until_mono_s=self.until_mono_s, by=self.by
        )


@dataclass(frozen=True, slots=True)
class ArchivedEvent:
    """Something worth a line that is no alarm."""

    at: AwareDatetime
    kind: str
    subject: str
    text: str

    @classmethod
    def of(cls, event: Event) -> ArchivedEvent:
        """An event as it is kept."""
        return cls(at=event.at, kind=event.kind, subject=event.subject, text=event.text)

    def back(self) -> Event:
        """The event; of an opening an archive has the words alone, which are read for what was seen."""
        seen = seen_of_words(self.text) if self.kind == "opening" else None
        return Event(at=self.at, kind=self.kind, subject=self.subject, text=self.text, what=seen)


@dataclass(frozen=True, slots=True)
class ArchivedGap:
    """Messages of a node that are missing."""

    node: str
    boot: int
    first: int
    last: int
    lost: bool

    @classmethod
    def of(cls, gap: Gap) -> ArchivedGap:
        """A gap as it is kept."""
        return cls(node=gap.node, boot=gap.boot, first=gap.first, last=gap.last, lost=gap.lost)

    def back(self) -> Gap:
        """The gap."""
        return Gap(node=self.node, boot=self.boot, first=self.first, last=self.last, lost=self.lost)


@dataclass(frozen=True, slots=True)
class ArchivedAlarm:
    """The last facts of an alarm. Seconds are of the forward clock of the run that wrote them."""

    subject: str
    rule: str
    number: int = 0
    episode: int = 0
    condition: bool = False
    acknowledged: bool = True
    latched: bool = False  # no alarm latches: the key belongs to the version, its value is not looked at
    shelved_until: AwareDatetime | None = None
    shelved_until_mono_s: float | None = None
    suppressed: str = ""
    out_of_service: bool = False
    since: AwareDatetime | None = None
    ended: AwareDatetime | None = None
    value: float | None = None
    worst: float | None = None
    limit: float | None = None
    about: str = ""
    told: bool = False
    asked_mono_s: float | None = None
    pending_mono_s: float | None = None
    pending_at: AwareDatetime | None = None

    @classmethod
    def of(cls, alarm: Alarm) -> ArchivedAlarm:
        """An alarm as it is kept: what it is about in words, as `archive_of` says it."""
        assert isinstance(alarm.about, str)
        return cls(
            subject=alarm.subject,
            rule=alarm.rule,
            number=alarm.number,
            episode=alarm.episode,
            condition=alarm.condition,
            acknowledged=alarm.acknowledged,
            shelved_until=alarm.shelved_until,
            shelved_until_mono_s=alarm.shelved_until_mono_s,
            suppressed=alarm.suppressed,
            out_of_service=alarm.out_of_service,
            since=alarm.since,
            ended=alarm.ended,
            value=alarm.value,
            worst=alarm.worst,
            limit=alarm.limit,
            about=alarm.about,
            told=alarm.told,
            asked_mono_s=alarm.asked_mono_s,
            pending_mono_s=alarm.pending_mono_s,
            pending_at=alarm.pending_at,
        )

    def back(self) -> Alarm:
        """The alarm."""
        return Alarm(
            subject=self.subject,
            rule=self.rule,
            number=self.number,
            episode=self.episode,
            condition=self.condition,
            acknowledged=self.acknowledged,
            shelved_until=self.shelved_until,
            shelved_until_mono_s=self.shelved_until_mono_s,
            suppressed=self.suppressed,
            out_of_service=self.out_of_service,
            since=self.since,
            ended=self.ended,
            value=self.value,
            worst=self.worst,
            limit=self.limit,
            about=self.about,
            told=self.told,
            asked_mono_s=self.asked_mono_s,
            pending_mono_s=self.pending_mono_s,
            pending_at=self.pending_at,
        )


@dataclass(frozen=True, slots=True)
class ArchivedTransition:
    """One change of an alarm's state."""

    id: int
    at: AwareDatetime
    subject: str
    rule: str
    number: int
    episode: int
    state_before: str
    state: str
    cause: str
    value: float | None
    worst: float | None
    limit: float | None
    since: AwareDatetime | None
    who: str

    @classmethod
    def of(cls, row: TransitionRow) -> ArchivedTransition:
        """A transition as it is kept."""
        return cls(
            id=row.id,
            at=row.at,
            subject=row.subject,
            rule=row.rule,
            number=row.number,
            episode=row.episode,
            state_before=row.state_before,
            state=row.state,
            cause=row.cause,
            value=row.value,
            worst=row.worst,
            limit=row.limit,
            since=row.since,
            who=row.who,
        )

    def back(self) -> TransitionRow:
        """The transition."""
        return TransitionRow(
            id=self.id,
            at=self.at,
            subject=self.subject,
            rule=self.rule,
            number=self.number,
            episode=self.episode,
            state_before=self.state_before,
            state=self.state,
            cause=self.cause,
            value=self.value,
            worst=self.worst,
            limit=self.limit,
            since=self.since,
            who=self.who,
        )


@dataclass(frozen=True, slots=True)
class ArchivedMessage:
    """What a contact was told."""

    id: int
    dedupe: str
    contact: str
    priority: str
    title: str
    text: str
    created: AwareDatetime
    alarm_number: int
    closing: bool = False
    link: str = ""


@dataclass(frozen=True, slots=True)
class ArchivedNotice:
    """One message and what became of it."""

    notice: ArchivedMessage
    state: str
    attempts: int
    last_detail: str
    last_at: AwareDatetime | None

    @classmethod
    def of(cls, row: NoticeRow) -> ArchivedNotice:
        """A notice as it is kept."""
        notice = row.notice
        message = ArchivedMessage(
            id=notice.id,
            dedupe=notice.dedupe,
            contact=notice.contact,
            priority=notice.priority,
            title=notice.title,
            text=notice.text,
            created=notice.created,
            alarm_number=notice.alarm_number,
            closing=notice.closing,
            link=notice.link,
        )
        return cls(
            notice=message,
            state=row.state,
            attempts=row.attempts,
            last_detail=row.last_detail,
            last_at=row.last_at,
        )

    def back(self) -> NoticeRow:
        """The notice."""
        notice = self.notice
        message = Notice(
            id=notice.id,
            dedupe=notice.dedupe,
            contact=notice.contact,
            priority=notice.priority,
            title=notice.title,
            text=notice.text,
            created=notice.created,
            alarm_number=notice.alarm_number,
            closing=notice.closing,
            link=notice.link,
        )
        return NoticeRow(
            notice=message,
            state=self.state,
            attempts=self.attempts,
            last_detail=self.last_detail,
            last_at=self.last_at,
        )


@dataclass(frozen=True, slots=True)
class RecordMember:
    """record.json"""

    calibrations: Rows[ArchivedCalibration]
    handlings: Rows[ArchivedHandling]
    events: Rows[ArchivedEvent]
    gaps: Rows[ArchivedGap]
    alarms: Rows[ArchivedAlarm]
    transitions: Rows[ArchivedTransition]
    notices: Rows[ArchivedNotice]

    @classmethod
    def of(cls, archive: Archive) -> RecordMember:
        """All of them, of one batch."""
        return cls(
            calibrations=tuple(map(ArchivedCalibration.of, archive.calibrations)),
            handlings=tuple(map(ArchivedHandling.of, archive.handlings)),
            events=tuple(map(ArchivedEvent.of, archive.events)),
            gaps=tuple(map(ArchivedGap.of, archive.gaps)),
            alarms=tuple(map(ArchivedAlarm.of, archive.alarms)),
            transitions=tuple(map(ArchivedTransition.of, archive.transitions)),
            notices=tuple(map(ArchivedNotice.of, archive.notices)),
        )
