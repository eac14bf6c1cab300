"""Plain classes that keep the ports, for tests: a record in memory, and a clock that moves when it is moved."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TypeVar

import numpy as np

from monitor.domain.alarms.alarm import Alarm
from monitor.domain.alarms.notice import Notice, Reach
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.dating import ARRIVAL, Line
from monitor.domain.readings.numbering import Gap, Numbering, holes
from monitor.domain.readings.reading import Now, from_ms, to_ms
from monitor.domain.signs.cooling import Cooling
from monitor.domain.signs.opening import Handling
from monitor.domain.state.memory import Memory
from monitor.domain.state.record import Attempt, ChoreDone, Event, Group, RefusedRow, StoredReading, Unknown
from monitor.service.ports import (
    Labelled,
    LastAlive,
    Latest,
    Loaded,
    NoticeRow,
    Series,
    StoreFailure,
    TransitionRow,
    Written,
)

_V = TypeVar("_V")


class FakeClock:
    """A clock that stands until it is told to move. Not one of its methods asks the machine."""

    def __init__(
        self, utc: datetime = datetime(2026, 3, 1, 6, 0, tzinfo=UTC), mono_s: float = 1000.0, clock_ok: bool = True
    ) -> None:
        self._now = Now(mono_s, utc, clock_ok)

    def now(self) -> Now:
        """Both clocks, as they stand."""
        return self._now

    def advance(self, seconds: float) -> Now:
        """Let time pass: both clocks go on together."""
        self._now = replace(
            self._now, mono_s=self._now.mono_s + seconds, utc=self._now.utc + timedelta(seconds=seconds)
        )
        return self._now

    def step_utc(self, delta: timedelta, clock_ok: bool = True) -> Now:
        """Set the label clock by so much; the forward clock does not notice."""
        self._now = replace(self._now, utc=self._now.utc + delta, clock_ok=clock_ok)
        return self._now


class MemoryStore:
    """`Ledger` and `Record` in plain dictionaries and lists. While `failing` is a text, every commit raises StoreFailure."""

    def __init__(self) -> None:
        self.failing: str = ""
        self.commits = 0
        self._readings: dict[tuple[str, int, int], StoredReading] = {}
        self._lines: dict[int, Line] = {}
        self._numberings: dict[tuple[str, int], Numbering] = {}
        self._gaps: dict[tuple[str, int, int], Gap] = {}
        self._refused: list[RefusedRow] = []
        self._unknown: dict[str, Unknown] = {}
        self._batches: dict[str, Batch] = {}
        self._alarms: dict[tuple[str, str], Alarm] = {}
        self._transitions: list[TransitionRow] = []
        self._notices: dict[int, NoticeRow] = {}
        self._events: list[Event] = []
        self._handlings: dict[tuple[str, datetime], Handling] = {}
        self._standing: dict[str, Handling] = {}
        self._memory: Memory | None = None
        self._calibrations: list[Calibration] = []
        self._entries: dict[tuple[str, int], Entry] = {}
        self._chores: list[ChoreDone] = []
        self._coolings: dict[tuple[str, datetime], Cooling] = {}
        self._files: dict[str, bytes] = {}
        self._outs: dict[tuple[str, datetime], Out] = {}
        self._sites: list[SiteThen] = []

    # --- Ledger

    def load(self) -> Loaded:
        numberings: dict[tuple[str, int], Numbering] = {}
        for key, numbering in _newest_of_each_node(self._numberings, 64):
            numberings[key] = replace(numbering, hole_since_mono_s=None)
        return Loaded(
            lines=self._open_lines(),
            numberings=numberings,
            batches=tuple(self.batches()),
            alarms=tuple(self.alarms()),
            unknown=tuple(self.unknown()),
            waiting=tuple(row.notice for _, row in sorted(self._notices.items()) if row.state == "waiting"),
            last_line=max(self._lines, default=0),
            last_alarm_number=max((alarm.number for alarm in self._alarms.values()), default=0),
            last_notice=max(self._notices, default=0),
            newest=max((from_ms(line.at_ms(line.last_up_ms)) for line in self._lines.values()), default=None),
            handlings=tuple(sorted(self._standing.values(), key=lambda h: (h.since, h.machine))),
            memory=self._memory,
            calibrations=tuple(self._calibrations),
            books=tuple(b for b in map(self.book, self.batches()) if b.entries and b.batch.closed_at is None),
            reached=self._reached(),
            chores=tuple(self._chores[-256:][::-1]),
            files={sha256: len(content) for sha256, content in self._files.items()},
            outs=tuple(
                replace(out, until_mono_s=None)
                for out in sorted(self._outs.values(), key=lambda out: out.since)
                if out.ended is None
            ),
            coolings=tuple(c for _, c in sorted(self._coolings.items()) if c.until is None),
        )

    def _reached(self) -> tuple[tuple[int, Reach], ...]:
        standing = {alarm.number for alarm in self._alarms.values() if alarm.condition}
        found: dict[tuple[int, str], Reach] = {}
        for _, row in sorted(self._notices.items()):
            notice, key = row.notice, (row.notice.alarm_number, row.notice.contact)
            known = found.get(key, Reach(notice.contact))
            if notice.closing or notice.alarm_number not in standing:
                continue
            if row.state == "sent" and row.last_at is not None:
                found[key] = replace(known, told=max(row.last_at, known.told or row.last_at))
            elif row.state == "waiting" and row.attempts > 0:
                found[key] = replace(known, unheard_since=known.unheard_since or notice.created)
        return tuple((number, found[number, contact]) for number, contact in sorted(found))

    def last_site(self) -> SiteThen | None:
        return self._sites[-1] if self._sites else None

    def book(self, batch: Batch) -> EggBook:
        own = sorted(number for id_, number in self._entries if id_ == batch.id)
        return EggBook(batch, tuple(self._entries[batch.id, number] for number in own))

    def commit(self, group: Group) -> None:
        if self.failing:
            raise StoreFailure(self.failing)
        self.commits += 1
        for line in group.lines.values():
            kept = replace(line, mono_offset_ms=None, seen_mono_ms=0.0, set_mono_ms=0.0)
            before = self._lines.get(line.id, kept)
            self._lines[line.id] = _holding(kept, before.first_up_ms, before.last_up_ms)
        for reading in group.readings:
            self._readings.setdefault((reading.probe, reading.line, reading.up_ms), reading)
            if reading.line in self._lines:
                self._lines[reading.line] = _holding(self._lines[reading.line], reading.up_ms, reading.up_ms)
        for each in group.reflags:
            key = (each.probe, each.line, each.up_ms)
            if key in self._readings:
                self._readings[key] = replace(self._readings[key], flag=each.flag, rh_flag=each.rh_flag)
        self._numberings.update(group.numberings)
        self._gaps.update({(gap.node, gap.boot, gap.first): gap for gap in group.gaps})
        for row in group.refused:
            cut = replace(row.refused, payload=row.refused.payload[:8192])
            self._refused.append(replace(row, refused=cut))
        self._unknown.update(group.unknown)
        for name in group.removed:
            self._batches.pop(name, None)
        self._batches.update(group.batches)
        for t in group.transitions:
            a = t.alarm
            self._alarms[a.key] = replace(a, pending_mono_s=None, pending_at=None)
            self._transitions.append(
                TransitionRow(
                    len(self._transitions) + 1, t.at, a.subject, a.rule, a.number, a.episode, t.state_before, t.state,
                    str(t.cause), a.value, a.worst, a.limit, a.since, t.who,
                )
            )  # fmt: skip
        for notice in group.notices:
            self._add_notice(notice)
        for attempt in group.attempts:
            self._add_attempt(attempt)
        self._events.extend(group.events)
        self._calibrations.extend(c for c in group.calibrations if c not in self._calibrations)
        for machine, handling in group.handlings.items():
            self._handle(machine, handling)
        for id_, entry in group.entries:
            known = self._entries.setdefault((id_, entry.number), entry)
            assert known == entry, f"two entries under the number {entry.number}"
        self._sites += [then for then in group.sites if then not in self._sites]
        self._files = {**group.files, **self._files}
        self._outs |= {(out.subject, out.since): out for out in group.outs}
        self._coolings |= {(c.of, c.since): c for c in group.coolings}
        done = {(chore.name, chore.day) for chore in self._chores}
        self._chores.extend(chore for chore in group.chores if (chore.name, chore.day) not in done)
        self._memory = group.memory or self._memory

    def _open_lines(self) -> tuple[Line, ...]:
        last: dict[tuple[str, int], int] = {}
        for line in self._lines.values():
            if line.basis != ARRIVAL:
                key = (line.node, line.boot)
                last[key] = max(last.get(key, -(2**63)), line.at_ms(line.last_up_ms))
        by_age = dict(sorted(last.items(), key=lambda item: item[1]))
        kept = {key for key, _ in _newest_of_each_node(by_age, 4)}
        lines = [li for li in self._lines.values() if li.basis != ARRIVAL and (li.node, li.boot) in kept]
        return tuple(sorted(lines, key=lambda li: li.id))

    def _handle(self, machine: str, handling: Handling | None) -> None:
        before = self._standing.pop(machine, None)
        if handling is None:
            return
        if before is not None and before.since != handling.since:
            ended = replace(before, until=min(before.until, handling.since))
            self._handlings[machine, before.since] = ended
        kept = replace(handling, until_mono_s=0.0)
        self._handlings[machine, handling.since] = self._standing[machine] = kept

    def _add_notice(self, notice: Notice) -> None:
        if any(row.notice.dedupe == notice.dedupe for row in self._notices.values()):
            return
        assert notice.id not in self._notices, f"two notices under the number {notice.id}"
        self._notices[notice.id] = NoticeRow(notice, "waiting", 0, "", None)

    def _add_attempt(self, attempt: Attempt) -> None:
        row = self._notices[attempt.notice]
        state = "waiting" if attempt.outcome == "later" else attempt.outcome
        self._notices[attempt.notice] = replace(
            row,
            state="sent" if row.state == "sent" else state,
            attempts=row.attempts + (attempt.outcome != "cancelled"),
            last_detail=attempt.detail,
            last_at=attempt.at,
        )

    # --- Record

    def _labelled(self, probe: str) -> list[tuple[int, StoredReading]]:
        own = [r for r in self._readings.values() if r.probe == probe]
        return sorted(((self._lines[r.line].at_ms(r.up_ms), r) for r in own), key=lambda pair: pair[0])

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        rows = [(at_ms, r) for at_ms, r in self._labelled(probe) if since <= from_ms(at_ms) < until]
        return Series(
            np.array([at_ms for at_ms, _ in rows], dtype=np.int64),
            np.array([r.dry_bulb_c for _, r in rows], dtype=np.float64),  # None becomes NaN
            np.array([r.rh_pct for _, r in rows], dtype=np.float64),
            np.array([r.flag for _, r in rows], dtype=np.int64),
            np.array([r.rh_flag for _, r in rows], dtype=np.int64),
        )

    def latest(self, probes: Sequence[str]) -> list[Latest]:
        newest = [(probe, rows[-1]) for probe in probes if (rows := self._labelled(probe))]
        return [
            Latest(probe, from_ms(at_ms), r.dry_bulb_c, r.rh_pct, r.flag, r.rh_flag) for probe, (at_ms, r) in newest
        ]

    def batches(self) -> list[Batch]:
        return sorted(self._batches.values(), key=lambda batch: batch.set_at)

    def alarms(self) -> list[Alarm]:
        return [alarm for _, alarm in sorted(self._alarms.items())]

    def transitions(
        self, since: datetime | None = None, subject: str | None = None, *, until: datetime | None = None
    ) -> Iterator[TransitionRow]:
        return iter(
            [row for row in self._transitions if _within(row.at, since, until) and subject in (None, row.subject)]
        )

    def notices(self, limit: int = 100, *, numbers: Collection[int] | None = None) -> list[NoticeRow]:
        rows = [row for _, row in sorted(self._notices.items(), reverse=True)]
        return [row for row in rows if numbers is None or row.notice.alarm_number in numbers][:limit]

    def refused(self, limit: int = 100) -> tuple[int, list[RefusedRow]]:
        return len(self._refused), self._refused[: -limit - 1 : -1]

    def unknown(self) -> list[Unknown]:
        return [unknown for _, unknown in sorted(self._unknown.items())]

    def last_alive(self) -> LastAlive | None:
        return None if self._memory is None else LastAlive(self._memory.at, stopped=self._memory.final)

    def gaps(self) -> list[Gap]:
        found = {
            (node, boot, first): Gap(node, boot, first, last, False)
            for (node, boot), numbering in self._numberings.items()
            for first, last in holes(numbering)
        }
        return [gap for _, gap in sorted((found | self._gaps).items())]

    def file(self, sha256: str) -> bytes | None:
        return self._files.get(sha256)

    def written(self) -> dict[str, Written]:
        found: dict[str, Written] = {}
        for (id_, number), entry in sorted(self._entries.items()):
            before = found.get(id_)
            found[id_] = Written(number, entry.written_at if before is None else max(before.at, entry.written_at))
        return found

    def events(
        self,
        since: datetime | None = None,
        limit: int = 1000,
        *,
        until: datetime | None = None,
        subject: str | None = None,
    ) -> list[Event]:
        found = [e for e in self._events if _within(e.at, since, until) and subject in (None, e.subject)]
        kept = sorted(found, key=lambda event: to_ms(event.at))
        return kept[max(0, len(kept) - limit) :]

    def labelled(self, node: str, since: datetime, until: datetime) -> list[Labelled]:
        since_ms, until_ms = to_ms(since), to_ms(until)
        found = {
            (line.basis, line.trusted)
            for line in self._lines.values()
            if line.node == node
            and line.offset_ms + line.last_up_ms >= since_ms
            and line.offset_ms + line.first_up_ms < until_ms
        }
        return [Labelled(basis, trusted) for basis, trusted in sorted(found, key=lambda each: (each[0], not each[1]))]

    def calibrations(self) -> list[Calibration]:
        return list(self._calibrations)

    def sites(self) -> list[SiteThen]:
        return list(self._sites)

    def handlings(self, since: datetime | None = None, until: datetime | None = None) -> list[Handling]:
        found = [
            h
            for h in self._handlings.values()
            if (since is None or h.until >= since) and (until is None or h.since < until)
        ]
        return sorted(found, key=lambda h: (h.since, h.machine))


def _within(at: datetime, since: datetime | None, until: datetime | None) -> bool:
    return (since is None or since <= at) and (until is None or at < until)


def _holding(line: Line, first_up_ms: int, last_up_ms: int) -> Line:
    return replace(line, first_up_ms=min(line.first_up_ms, first_up_ms), last_up_ms=max(line.last_up_ms, last_up_ms))


def _newest_of_each_node(by_boot: dict[tuple[str, int], _V], count: int) -> list[tuple[tuple[str, int], _V]]:
    """The last `count` boots of each node in the order of the mapping."""
    kept = []
    seen: dict[str, int] = {}
    for key, value in reversed(by_boot.items()):
        seen[key[0]] = seen.get(key[0], 0) + 1
        if seen[key[0]] <= count:
            kept.append((key, value))
    return kept[::-1]
