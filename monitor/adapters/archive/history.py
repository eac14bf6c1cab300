"""The port `BatchRecord` over an archive: every report of a batch runs on it as it does on the record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.reading import FAIL, SUSPECT, ceil_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Event
from monitor.service.ports import Series, TransitionRow
from monitor.service.reports.archive import Archive


class ArchivedHistory:
    """What the record said of one batch, and of its machines while it was in them; of anything else there is nothing."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._series = {key: _joined(pieces) for key, pieces in archive.readings.items()}
        if not archive.suspect_counts:  # its figures stay what they were
            self._series = {key: _without_suspect(series) for key, series in self._series.items()}

    def close(self) -> None:
        """Nothing is open."""

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        """Readings of one probe with since <= label < until."""
        whole = self._series.get(probe) or _joined(())
        first, last = np.searchsorted(whole.at_ms, (ceil_ms(since), ceil_ms(until))).tolist()
        cut = slice(first, max(first, last))
        return Series(
            whole.at_ms[cut].copy(),
            whole.dry_bulb_c[cut].copy(),
            whole.rh_pct[cut].copy(),
            whole.flag[cut].copy(),
            whole.rh_flag[cut].copy(),
        )

    def file(self, sha256: str) -> bytes | None:
        """What is in a file that was put beside an entry; None where the archive has it not."""
        return self._archive.files.get(sha256)

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

    def transitions(
        self, since: datetime | None = None, subject: str | None = None, *, until: datetime | None = None
    ) -> Iterator[TransitionRow]:
        """Transitions of alarms about it, in order, with since <= at < until."""
        return (t for t in self._archive.transitions if _within(t.at, since, until) and subject in (None, t.subject))

    def calibrations(self) -> list[Calibration]:
        """Every calibration of its probes, in the order they were added."""
        return list(self._archive.calibrations)

    def sites(self) -> list[SiteThen]:
        """What looked at its machines, each time it was written down, in order."""
        return list(self._archive.sites)

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


def _without_suspect(series: Series) -> Series:
    """As if what is suspect had failed, which no figure rests on."""
    flag, rh_flag = (np.where(each == SUSPECT, FAIL, each) for each in (series.flag, series.rh_flag))
    return replace(series, flag=flag, rh_flag=rh_flag)


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
