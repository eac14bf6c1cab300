"""A start that the card holds up: what is started from, when what is committed is durable, and when the run is to end for another record."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.adapters.store import late as late_module
from monitor.adapters.store.connection import NotOurs, Opened, StoreInUse, open_reader, open_writer, suspect_mark
from monitor.adapters.store.late import FIRST_S, NOTHING, READ_SHARE, LateLedger
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.alarms.about import (
    CARD_FAILING,
    CARD_FULL,
    RECORD_EXCHANGED,
    RECORD_GONE,
    Damaged,
    Regained,
    Unrecorded,
)
from monitor.domain.state.record import Group
from monitor.service.ports import Loaded, StoreFailure
from tests.ports import BATCH, full_group
from tests.receivers import eventually


class Card:
    """What stands between us and the record: it fails as long as it is said to, or hangs."""

    def __init__(self) -> None:
        self.why = ""
        self.hangs = False
        self.goes_on = threading.Event()

    def open(self, path: Path) -> Opened:
        if self.hangs:
            self.goes_on.wait(20.0)
        if self.why:
            raise StoreFailure(str(path), "no", why=self.why)
        return open_writer(path)


@pytest.fixture
def card() -> Card:
    return Card()


@contextlib.contextmanager
def late(path: Path, card: Card, first_s: float = 5.0) -> Iterator[tuple[LateLedger, threading.Event]]:
    another = threading.Event()
    ledger = LateLedger(path, another=another.set, open_=card.open, first_s=first_s, again_s=0.05)
    try:
        yield ledger, another
    finally:
        card.goes_on.set()
        ledger.close()


def write(path: Path, group: Group) -> Loaded:
    """A record with that in it, and what a run would start from."""
    opened = open_writer(path)
    ledger = SqliteLedger(opened.connection)
    ledger.commit(group)
    loaded = ledger.load()
    opened.close()
    return loaded


def batches(path: Path) -> list[str]:
    with contextlib.closing(open_reader(path)) as connection:
        return [name for (name,) in connection.execute("SELECT id FROM batch ORDER BY id")]


def comes(ledger: LateLedger) -> bool:
    return eventually(lambda: ledger.writable, 10.0)


def test_a_card_that_answers(tmp_path: Path, card: Card) -> None:
    """As the ledger itself: what is in the record is started from, and what is committed is in it."""
    path = tmp_path / "e.db"
    before = write(path, full_group())
    with late(path, card) as (ledger, another):
        assert ledger.load() == before
        assert (ledger.trouble, ledger.writable, another.is_set()) == (None, True, False)
        assert ledger.last_site() is not None
        ledger.commit(Group(removed=[BATCH.id]))
    assert batches(path) == []
    open_writer(path).close()  # the lock is gone


@pytest.mark.parametrize("hangs", [False, True])
def test_a_card_that_can_only_be_read(tmp_path: Path, card: Card, hangs: bool) -> None:
    """What can be read is started from, soon; nothing is durable, and why is said; as soon as it can be written, it is."""
    path = tmp_path / "e.db"
    before = write(path, full_group())
    card.why, card.hangs = ("" if hangs else CARD_FULL), hangs
    with late(path, card, first_s=0.5) as (ledger, another):
        began_s = time.monotonic()
        assert ledger.load() == before
        assert time.monotonic() - began_s < 5.0
        assert ledger.trouble is None
        site = ledger.last_site()
        assert site is not None
        with pytest.raises(StoreFailure) as failure:
            ledger.commit(Group(removed=[BATCH.id]))
        assert failure.value.why == (CARD_FAILING if hangs else CARD_FULL)
        card.why = ""
        card.goes_on.set()
        assert comes(ledger)
        ledger.commit(Group(removed=[BATCH.id]))
        assert ledger.last_site() == site
        assert not another.is_set()
    assert batches(path) == []


def test_a_record_that_cannot_be_read_either(tmp_path: Path, card: Card) -> None:
    """There is one, and nobody knows what is in it: that is said. What turns out to be in it is not what the run began with: it is to end,
    has written nothing there, and keeps it from nobody."""
    path = tmp_path / "e.db"
    write(path, full_group())
    content = path.read_bytes()
    path.write_bytes(b"x" * len(content))  # as a card gives back that fails
    card.why = CARD_FAILING
    with late(path, card) as (ledger, another):
        assert ledger.load() == NOTHING
        assert ledger.trouble == Unrecorded(CARD_FAILING, unread=True)
        path.write_bytes(content)
        card.why = ""
        assert another.wait(10.0)
        with pytest.raises(StoreFailure, match="another record"):
            ledger.commit(Group(removed=[BATCH.id]))
        assert not ledger.writable
        open_writer(path).close()
    assert batches(path) == [BATCH.id]


def test_a_record_that_was_changed_in_between(tmp_path: Path, card: Card) -> None:
    """Read at the start, and written by somebody else before it could be opened: the run is to end."""
    path = tmp_path / "e.db"
    write(path, full_group())
    card.why = CARD_FULL
    with late(path, card) as (ledger, another):
        ledger.load()
        write(path, Group(removed=[BATCH.id]))
        card.why = ""
        assert another.wait(10.0)


def test_a_damaged_one_that_was_opened_late(tmp_path: Path, card: Card) -> None:
    """What could be taken over is another record than what was read; opened at once, the damage is told."""
    path = tmp_path / "e.db"
    write(path, full_group())
    with path.open("r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\xff" * 4096 * 4)
    with late(path, card) as (ledger, another):
        ledger.load()
        assert isinstance(ledger.trouble, Damaged)
        assert not another.is_set()


def test_no_record_yet(tmp_path: Path, card: Card) -> None:
    """On a card that is full from the beginning nothing is missing; the record is begun when there is room."""
    path = tmp_path / "e.db"
    card.why = CARD_FULL
    with late(path, card) as (ledger, another):
        assert (ledger.load(), ledger.trouble, ledger.last_site()) == (NOTHING, None, None)
        card.why = ""
        assert comes(ledger)
        ledger.commit(Group(batches={BATCH.id: BATCH}))
        assert not another.is_set()
    assert batches(path) == [BATCH.id]


def test_what_no_waiting_mends_is_told_at_once(tmp_path: Path, card: Card) -> None:
    """Another process has it; another program made it."""
    path = tmp_path / "e.db"
    opened = open_writer(path)
    with late(path, card) as (ledger, _), pytest.raises(StoreInUse):
        ledger.load()
    opened.close()
    theirs = tmp_path / "theirs.db"
    with contextlib.closing(sqlite3.connect(theirs)) as connection:
        connection.execute("CREATE TABLE birds (name)")
    with late(theirs, card) as (ledger, _), pytest.raises(NotOurs):
        ledger.load()


def test_what_is_opened_while_it_is_read_is_what_the_run_starts_from(
    tmp_path: Path, card: Card, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The card answers just when the first try was given up, and the reader found nothing: the run's numbers go on from the record's."""
    path = tmp_path / "e.db"
    before = write(path, full_group())
    card.hangs = True
    with late(path, card, first_s=0.2) as (ledger, another):

        def too_late() -> None:
            card.goes_on.set()
            assert comes(ledger)

        monkeypatch.setattr(ledger, "_read", too_late)
        assert ledger.load() == before
        ledger.commit(Group(removed=[BATCH.id]))
        assert not another.is_set()


def test_a_command_that_has_it_for_a_moment_is_waited_for(tmp_path: Path, card: Card) -> None:
    """A full card at the start; then somebody's command writes just when there is room: it is tried again."""
    path = tmp_path / "e.db"
    before = write(path, full_group())
    card.why = CARD_FULL
    with late(path, card) as (ledger, another):
        assert ledger.load() == before
        opened = open_writer(path)
        card.why = ""
        time.sleep(0.3)
        assert not ledger.writable
        opened.close()
        assert comes(ledger)
        assert not another.is_set()


def test_a_start_waits_no_longer_than_that(tmp_path: Path, card: Card, monkeypatch: pytest.MonkeyPatch) -> None:
    """A card that answers neither who writes nor who reads: the run begins all the same, and in a house within ten seconds."""
    path = tmp_path / "e.db"
    write(path, full_group())
    card.hangs = True
    monkeypatch.setattr(late_module, "open_reader", lambda path: card.goes_on.wait(20.0))
    with late(path, card, first_s=0.8) as (ledger, _):
        began_s = time.monotonic()
        assert ledger.load() == NOTHING
        assert 0.9 < time.monotonic() - began_s < 3.0
        assert ledger.trouble == Unrecorded(CARD_FAILING, unread=True)
        monkeypatch.undo()
    assert FIRST_S * (1.0 + READ_SHARE) <= 10.0


def test_a_mistake_of_our_own_is_not_taken_for_a_card(tmp_path: Path, card: Card) -> None:
    """It ends the start with what it was; found later, it ends the run, and the next one's start."""
    path = tmp_path / "e.db"

    def broken(path: Path) -> Opened:
        raise ZeroDivisionError

    ledger = LateLedger(path, another=lambda: None, open_=broken, first_s=5.0)
    with pytest.raises(ZeroDivisionError):
        ledger.load()
    ledger.close()
    card.why = CARD_FULL
    with late(path, card) as (later, another):
        later.load()
        later._open = broken
        assert another.wait(10.0)
        with pytest.raises(StoreFailure):
            later.commit(Group(batches={BATCH.id: BATCH}))


@pytest.mark.parametrize("again", [False, True], ids=["gone", "another in its place"])
def test_a_record_that_is_taken_away_is_noticed_and_put_back_whole(tmp_path: Path, again: bool) -> None:
    """The run is to end; as it is closed, all that was written, to the last commit, is where it was, and the next start says so."""
    path, ended = tmp_path / "e.db", threading.Event()
    ledger = LateLedger(path, another=ended.set, look_s=0.05)
    ledger.load()
    ledger.commit(full_group())
    path.rename(tmp_path / "elsewhere.db")
    if again:
        path.write_bytes(b"a note that somebody keeps here")
    assert ended.wait(10.0)
    ledger.commit(Group(batches={"last": replace(BATCH, id="last")}))
    ledger.close()
    opened = open_writer(path)
    how, aside = (RECORD_EXCHANGED, "e.db.found-1") if again else (RECORD_GONE, "")
    assert opened.damaged == Regained(str(path), how, aside, whole=True)
    opened.close()
    assert batches(path) == ["last", BATCH.id]
    assert everything_is_there(path)
    if again:
        assert (tmp_path / "e.db.found-1").read_bytes() == b"a note that somebody keeps here"


def everything_is_there(path: Path) -> bool:
    """Whether the readings are as well."""
    with contextlib.closing(open_reader(path)) as connection:
        (count,) = connection.execute("SELECT count(*) FROM reading").fetchone()
    return bool(count == len(full_group().readings))


def test_what_was_taken_away_before_a_stop_is_put_back_too(tmp_path: Path) -> None:
    """Though nobody had looked since."""
    path = tmp_path / "e.db"
    ledger = LateLedger(path, another=lambda: None)
    ledger.load()
    ledger.commit(full_group())
    path.unlink()
    ledger.close()
    assert batches(path) == [BATCH.id]
    assert everything_is_there(path)


def test_a_record_that_cannot_be_read_back_is_checked_by_the_next_start(tmp_path: Path) -> None:
    """One that was emptied under a run: the run is to end, and the mark for a thorough look lies beside it."""
    path, ended = tmp_path / "e.db", threading.Event()
    write(path, full_group())
    ledger = LateLedger(path, another=ended.set, look_s=0.05)
    ledger.load()
    with path.open("r+b") as file:
        file.truncate(0)
    assert ended.wait(10.0)
    assert suspect_mark(path).exists()
    ledger.close()


def test_a_record_that_is_there_disturbs_nobody(tmp_path: Path) -> None:
    """However often it is looked at."""
    path, ended = tmp_path / "e.db", threading.Event()
    ledger = LateLedger(path, another=ended.set, look_s=0.01)
    ledger.load()
    for _ in range(20):
        ledger.commit(full_group())
    assert not ended.wait(0.5)
    ledger.close()
    assert not list(tmp_path.glob("*.put-back"))
