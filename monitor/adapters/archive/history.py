"""The port `History` over an archive: every report of a batch runs on it as it does on the record."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from datetime import datetime

import numpy as np

from monitor.domain.alarms.alarm import Alarm
from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.batch import Batch
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.numbering import Gap
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Event, RefusedRow, Unknown
from monitor.service.ports import Latest, NoticeRow, Series, TransitionRow
from monitor.service.reports.archive import Archive


class ArchivedHistory:
    """What the record said of one batch, and of its machines while it was in them; of anything else there is nothing."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._series = {key: _joined(pieces) for key, pieces in archive.readings.items()}

    def close(self) -> None:
        """Nothing is open."""

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        """Readings of one probe with since <= label < until."""
        whole = self._series.get(probe) or _joined(())
        first, last = np.searchsorted(whole.at_ms, (_ceil_ms(since), _ceil_ms(until))).tolist()
        cut = slice(first, max(first, last))
        return Series(
            whole.at_ms[cut].copy(),
            whole.dry_bulb_c[cut].copy(),
            whole.rh_pct[cut].copy(),
            whole.flag[cut].copy(),
            whole.rh_flag[cut].copy(),
        )

    def latest(self, probes: Sequence[str]) -> list[Latest]:
        """The newest reading of each probe that has one."""
        return [_last(probe, s) for probe in probes if (s := self._series.get(probe)) is not None and s.at_ms.size]

    def batches(self) -> list[Batch]:
        """The one batch."""
        return [self._archive.batch]

    def alarms(self) -> list[Alarm]:
        """The last facts of each alarm whose last episode was in the batch's time."""
        return list(self._archive.alarms)

    def transitions(
        self, since: datetime | None = None, subject: str | None = None, *, until: datetime | None = None
    ) -> Iterator[TransitionRow]:
        """Transitions in order, with since <= at < until."""
        return (t for t in self._archive.transitions if _within(t.at, since, until) and subject in (None, t.subject))

    def notices(self, limit: int = 100, *, numbers: Collection[int] | None = None) -> list[NoticeRow]:
        """The newest notices, newest first; numbers: only those about these alarms."""
        about = [row for row in self._archive.notices if numbers is None or row.notice.alarm_number in numbers]
        return about[:limit]

    def refused(self, limit: int = 100) -> tuple[int, list[RefusedRow]]:
        """None: a message that was not understood is of no batch."""
        return 0, []

    def unknown(self) -> list[Unknown]:
        """None: a probe that nobody configured looks at no batch."""
        return []

    def gaps(self) -> list[Gap]:
        """Messages that are missing, of the nodes at its machines."""
        return list(self._archive.gaps)

    def events(
        self,
        since: datetime | None = None,
        limit: int = 1000,
        *,
        until: datetime | None = None,
        subject: str | None = None,
    ) -> list[Event]:
        """The newest `limit` events with since <= at < until, oldest first."""
        found = [e for e in self._archive.events if _within(e.at, since, until) and subject in (None, e.subject)]
        return found[max(0, len(found) - limit) :]

    def calibrations(self) -> list[Calibration]:
        """Every calibration of its probes, in the order they were added."""
        return list(self._archive.calibrations)

    def handlings(self, since: datetime | None = None, until: datetime | None = None) -> list[Handling]:
        """Every handling that ended at `since` or later and began before `until`, oldest first."""
        return [
            h
            for h in self._archive.handlings
            if (since is None or h.until >= since) and (until is None or h.since < until)
        ]

    def book(self, batch: Batch) -> EggBook:
        """What was written about the batch's eggs; of another batch nothing."""
        return EggBook(batch, self._archive.book.entries if batch.id == self._archive.batch.id else ())


def _within(at: datetime, since: datetime | None, until: datetime | None) -> bool:
    return (since is None or since <= at) and (until is None or at < until)


def _joined(pieces: Sequence[Series]) -> Series:
    none = np.empty(0, np.int64), np.empty(0, np.float64)
    return Series(
        np.concatenate([none[0], *(piece.at_ms for piece in pieces)]),
        np.concatenate([none[1], *(piece.dry_bulb_c for piece in pieces)]),
        np.concatenate([none[1], *(piece.rh_pct for piece in pieces)]),
        np.concatenate([none[0], *(piece.flag for piece in pieces)]),
        np.concatenate([none[0], *(piece.rh_flag for piece in pieces)]),
    )


def _last(probe: str, s: Series) -> Latest:
    at_ms, t, h, flag, rh_flag = (
        column[-1].item() for column in (s.at_ms, s.dry_bulb_c, s.rh_pct, s.flag, s.rh_flag)
    )  # fmt: skip
    return Latest(probe, from_ms(at_ms), None if t != t else t, None if h != h else h, flag, rh_flag)


def _ceil_ms(at: datetime) -> int:
    at_ms = to_ms(at)
    return at_ms if from_ms(at_ms) == at else at_ms + 1
