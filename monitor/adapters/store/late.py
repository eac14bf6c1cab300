"""The record, as soon as it can be written: a start waits for it no longer than FIRST_S, whatever the card does.

A thread of its own opens it, and tries again as long as that fails or hangs. Until then a run starts from what can be read, and nothing
that is committed is durable: `commit` says so each time. What was opened late is taken only if it holds what the run started from.
Else the run knows nothing of it, and its numbers would be those of other rows: it is to end, and the next one starts from it.

The same thread then looks every LOOK_S whether the file that is open is still the record. Where somebody took that away, or put another in
its place, the run is to end too: as it is closed, all that is in the open file is written down anew, and the next run starts from that. A record that
cannot be read back is checked, and mended, by the next start.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

from monitor.adapters.store.connection import (
    NotOurs,
    Opened,
    StoreInUse,
    identity,
    lost,
    open_reader,
    open_writer,
    put_back,
    suspect_mark,
    take_its_place,
    unreadable,
)
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.alarms.about import CARD_FAILING, Damaged, Regained, Unrecorded
from monitor.domain.eggs.book import EggBook
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.then import SiteThen
from monitor.domain.state.record import Group
from monitor.service.ports import Loaded, StoreFailure

FIRST_S = 8.0  # for the first try, checking for damage and all: eggs must not wait longer for a card
READ_SHARE = 0.25  # of that again for reading, where it cannot be written
AGAIN_S = 2.0
LOOK_S = 20.0
NOTHING = Loaded(
    lines=(), numberings={}, batches=(), alarms=(), unknown=(), waiting=(),
    last_line=0, last_alarm_number=0, last_notice=0, newest=None,
)  # fmt: skip


@fixed
class _Found:
    """A record, opened."""

    opened: Opened
    ledger: SqliteLedger
    loaded: Loaded
    file: tuple[int, int]


class LateLedger:
    """The port `Ledger`; see the module. another: called once, from the thread that opens, when the record turns out to be another one, or is lost."""

    def __init__(
        self, path: Path, *, another: Callable[[], None], open_: Callable[[Path], Opened] = open_writer,
        first_s: float = FIRST_S, again_s: float = AGAIN_S, look_s: float = LOOK_S,
    ) -> None:  # fmt: skip
        self._path, self._another, self._open = path, another, open_
        self._first_s, self._again_s, self._look_s = first_s, again_s, look_s
        self._failure = StoreFailure(str(path), "the card does not answer", why=CARD_FAILING)
        self._wrong: Exception | None = None
        self._found: _Found | None = None
        self._started_from: Loaded | None = None
        self._site: SiteThen | None = None
        self._lock, self._tried, self._stopping = threading.Lock(), threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._work, name="record", daemon=True)
        self.trouble: Damaged | Regained | Unrecorded | None = None

    def load(self) -> Loaded:
        """What to start from, within FIRST_S; once. `trouble`: what is wrong with it, where batches may be missing from that.

        Raises StoreFailure for what no waiting mends: another process has it, another program made it, or a newer eggroom.
        """
        self._thread.start()
        self._tried.wait(self._first_s)
        with self._lock:
            read = None if self._found is None else self._found.loaded
        if read is None and self._wrong is None:
            read = self._read()
        with self._lock:
            if self._wrong is not None:
                raise self._wrong
            if self._found is not None:  # perhaps while it was read
                self.trouble = self._found.opened.damaged
                self._started_from = self._found.loaded
            else:
                self._started_from = NOTHING if read is None else read
                if read is None and _is_there(self._path):
                    self.trouble = Unrecorded(self._failure.why, unread=True)
            return self._started_from

    @property
    def writable(self) -> bool:
        """Whether the record is open by now."""
        with self._lock:
            return self._found is not None

    def last_site(self) -> SiteThen | None:
        """As the port has it; what could be read, while it cannot be written."""
        with self._lock:
            found = self._found
        return self._site if found is None else found.ledger.last_site()

    def book(self, batch: Batch) -> EggBook:
        """As the port has it. Raises StoreFailure."""
        return self._ledger().book(batch)

    def commit(self, group: Group) -> None:
        """As the port has it. Raises StoreFailure, as long as there is no record that this run may write."""
        self._ledger().commit(group)

    def close(self) -> None:
        """Try no longer; close what was opened. A try that hangs is left to the end of the process."""
        self._stopping.set()
        self._thread.join(self._again_s)
        with self._lock:
            found, self._found = self._found, None
        if found is not None:
            _close(found, self._path)

    def _ledger(self) -> SqliteLedger:
        with self._lock:
            if self._found is None:
                raise self._failure
            return self._found.ledger

    def _work(self) -> None:
        try:
            self._open_in_time()
            self._watch()
        except Exception as error:  # noqa: BLE001 - the thread's outermost place
            # What no waiting mends, or a mistake of our own: whoever starts is told, now, or as the next run.
            started = self._tried.is_set()
            self._wrong = error
            self._tried.set()
            if started and not self._stopping.is_set():
                self._another()

    def _open_in_time(self) -> None:
        while not self._stopping.is_set():
            try:
                found = self._try()
            except StoreFailure as failure:
                self._failure = failure
                if isinstance(failure, StoreInUse | NotOurs) and not self._tried.is_set():
                    raise
                self._tried.set()
                self._stopping.wait(self._again_s)
                continue
            self._take(found)
            self._tried.set()
            return

    def _watch(self) -> None:
        while not self._stopping.wait(self._look_s):
            with self._lock:
                found = self._found
            if found is None:
                return  # the run is to end
            if unread := unreadable(self._path):
                with contextlib.suppress(OSError):
                    suspect_mark(self._path).touch()
            if unread or lost(self._path, found.file):
                self._another()
                return

    def _try(self) -> _Found:
        with contextlib.ExitStack() as undone:
            opened = self._open(self._path)
            undone.callback(opened.close)
            ledger = SqliteLedger(opened.connection)
            found = _Found(opened, ledger, ledger.load(), identity(self._path))
            undone.pop_all()
        return found

    def _take(self, found: _Found) -> None:
        with self._lock:
            if self._stopping.is_set() or (self._started_from is not None and self._started_from != found.loaded):
                found.opened.close()
                self._failure = StoreFailure(str(self._path), "another record than this run began with")
            else:
                self._found = found
                return
        if not self._stopping.is_set():
            self._another()

    def _read(self) -> Loaded | None:
        """What can be read of a record that cannot be written; None where nothing can."""
        read: list[Loaded] = []

        def look() -> None:
            with contextlib.suppress(StoreFailure), contextlib.closing(open_reader(self._path)) as connection:
                ledger = SqliteLedger(connection)
                self._site = ledger.last_site()
                read.append(ledger.load())

        looking = threading.Thread(target=look, name="record-read", daemon=True)
        looking.start()
        looking.join(self._first_s * READ_SHARE)
        return read[0] if read else None


def _close(found: _Found, path: Path) -> None:
    """Close it; where its file is no longer the record at `path`, all that it holds is put there first."""
    half, how = None, lost(path, found.file)
    if how:
        # Where it cannot be written, what stands twice comes back with the next start.
        with contextlib.suppress(sqlite3.Error, OSError):
            half = put_back(found.opened.connection, path)
    found.opened.close()
    if half is not None:
        with contextlib.suppress(OSError):
            take_its_place(half, path, how)


def _is_there(path: Path) -> bool:
    try:
        return path.stat().st_size > 0
    except FileNotFoundError:
        return False
    except OSError:
        return True
