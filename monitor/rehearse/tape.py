"""The record of a replay: the story that it tells and, where weights come into it, the air that they are judged by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from monitor.domain.alarms.alarm import Transition
from monitor.domain.alarms.notice import Notice
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.dating import Line
from monitor.domain.readings.reading import to_ms
from monitor.domain.state.record import Group, StoredReading
from monitor.service.ports import Loaded, Series


@dataclass(slots=True)
class Timeline:
    """What a recording gave."""

    about: str = ""
    transitions: list[Transition] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    answers: list[tuple[datetime, Mapping[str, object], Mapping[str, object]]] = field(default_factory=list)
    readings: int = 0
    refused: int = 0
    entries: list[Transition | Notice] = field(default_factory=list)
    span: timedelta = timedelta(0)  # from the recording's first line to its last
    cut_off: int | None = None  # the last line, where it is a part of one: whatever recorded it lost its power


class Tape:
    """A ledger that keeps the story; and, with keeps_air, every reading, to be read back like a record (`ports.AirRecord`)."""

    def __init__(self, timeline: Timeline, *, keeps_air: bool = False) -> None:
        self._timeline = timeline
        self._told = 0
        self._keeps_air = keeps_air
        self._lines: dict[int, Line] = {}
        self._readings: dict[str, dict[tuple[int, int], StoredReading]] = {}  # by probe, then (line, up_ms)
        self.batches: dict[str, Batch] = {}
        self._entries: dict[str, list[Entry]] = {}  # by batch
        self._calibrations: list[Calibration] = []

    def untold(self) -> list[Notice]:
        """The notices since this was asked last."""
        told, self._told = self._told, len(self._timeline.notices)
        return self._timeline.notices[told:]

    # --- as a ledger

    def load(self) -> Loaded:
        """Nothing: a recording begins with an empty record."""
        return Loaded(
            lines=(),
            numberings={},
            batches=(),
            alarms=(),
            unknown=(),
            waiting=(),
            last_line=0,
            last_alarm_number=0,
            last_notice=0,
            newest=None,
        )

    def last_site(self) -> SiteThen | None:
        """None, likewise."""
        return None

    def book(self, batch: Batch) -> EggBook:
        """What was written about a batch's eggs."""
        return EggBook(batch, tuple(self._entries.get(batch.id, ())))

    def commit(self, group: Group) -> None:
        """Keep what a group tells."""
        line = self._timeline
        line.readings += len(group.readings)
        line.refused += len(group.refused)
        line.transitions += group.transitions
        line.notices += group.notices
        told: dict[int, list[Notice]] = {}
        for notice in group.notices:
            told.setdefault(notice.alarm_number, []).append(notice)
        for transition in group.transitions:
            line.entries.append(transition)
            line.entries += told.pop(transition.alarm.number, [])
        for rest in told.values():
            line.entries += rest
        if self._keeps_air:
            self._keep(group)

    def _keep(self, group: Group) -> None:
        self._lines.update(group.lines)
        for reading in group.readings:
            own = self._readings.setdefault(reading.probe, {})
            own.setdefault((reading.line, reading.up_ms), reading)
        for settled in group.reflags:
            own = self._readings.setdefault(settled.probe, {})
            if (before := own.get((settled.line, settled.up_ms))) is not None:
                own[settled.line, settled.up_ms] = replace(before, flag=settled.flag, rh_flag=settled.rh_flag)
        self.batches.update(group.batches)
        self._calibrations += group.calibrations
        for id_, entry in group.entries:
            self._entries.setdefault(id_, []).append(entry)

    # --- as a record

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        """Readings of one probe with since <= label < until."""
        import numpy as np  # with the first series: the daemon loads it no sooner

        first_ms, end_ms = to_ms(since), to_ms(until)
        own = self._readings.get(probe, {}).values()
        labelled = ((self._lines[each.line].at_ms(each.up_ms), each) for each in own)
        rows = sorted((row for row in labelled if first_ms <= row[0] < end_ms), key=lambda row: row[0])
        return Series(
            np.array([at_ms for at_ms, _ in rows], dtype=np.int64),
            np.array([each.dry_bulb_c for _, each in rows], dtype=np.float64),  # None becomes NaN
            np.array([each.rh_pct for _, each in rows], dtype=np.float64),
            np.array([each.flag for _, each in rows], dtype=np.int64),
            np.array([each.rh_flag for _, each in rows], dtype=np.int64),
        )

    def calibrations(self) -> list[Calibration]:
        """Every calibration, in the order they were added."""
        return self._calibrations

    def sites(self) -> list[SiteThen]:
        """Of what looked at which machine a recording says nothing: it is as configured."""
        return []
