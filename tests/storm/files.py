"""Storms over the record's files: damaged by a dying card, cut off in their newest part, taken away, exchanged or emptied while a run goes on.

After each the next start must have every batch, stay and entry of the egg book, every calibration and every alarm's answer.
"""

from __future__ import annotations

import contextlib
import random
import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.late import LateLedger
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.store.second import TABLES, second_path
from monitor.domain.alarms.about import About
from monitor.domain.state.record import Group
from tests.ports import BATCH, full_group, line, reading
from tests.storm.told import Told

PAGE = 4096
READINGS, READ_BEFORE = 4_000, len(full_group().readings)
Rows = dict[str, list[str]]


def damaged(folder: Path, count: int, *, seed: int, broken: bool) -> Told:
    """A main file of which pages are zeroed or noise, or which is cut short: what stands twice is whole, and a start says that something was wrong."""
    rng, lost, silent, readings = random.Random(seed), 0, 0, 0
    whole = _written(folder / "whole")
    wanted = rows_of(whole)
    for number in range(count):
        path = _copied(whole, folder / f"damaged-{number}")
        _damage(path, rng)
        if broken:
            second_path(path).unlink()
        about, found = _started(path)
        lost += found != wanted
        silent += about is None and found != wanted
        readings += _readings(path)
        shutil.rmtree(path.parent)
    share = readings / (count * READINGS)
    return Told("damaged files", count, lost + silent, f"{share:.0%} of the readings kept")


def tails(folder: Path, count: int, *, seed: int, broken: bool) -> Told:
    """A run that was cut off, and the newest part of its log cut short or noise: nothing of what stands twice is missing."""
    rng, lost, behind = random.Random(seed), 0, 0
    for number in range(count):
        path = folder / f"running-{number}" / "eggroom.db"
        path.parent.mkdir()
        opened = open_writer(path)
        ledger = SqliteLedger(opened.connection)
        ledger.commit(full_group())
        for n in range(rng.randrange(1, 6)):
            last = {f"late-{n}": replace(BATCH, id=f"late-{n}")}
            ledger.commit(Group(batches=last, readings=[reading(50_000 + n)], lines={1: line(last_up_ms=60_000_000)}))
        wanted = _rows(opened.connection)
        cut = _copied(path, folder / f"cut-{number}")
        opened.close()
        log = Path(f"{cut}-wal")
        data = bytearray(log.read_bytes())
        at = rng.randrange(32, len(data))
        if rng.random() < 0.5:
            del data[at:]
        else:
            data[at : at + 512] = rng.randbytes(min(512, len(data) - at))
        log.write_bytes(bytes(data))
        if broken:
            second_path(cut).unlink()
        about, found = _started(cut)
        lost += found != wanted
        behind += about is not None
        shutil.rmtree(path.parent)
        shutil.rmtree(cut.parent)
    return Told("damaged newest parts of the log", count, lost, f"{behind} starts told that something came back")


def _gone(path: Path) -> None:
    path.unlink()


def _moved(path: Path) -> None:
    path.rename(path.with_name("elsewhere.db"))


def _replaced(path: Path) -> None:
    other = path.with_name("other.db")
    opened = open_writer(other)
    opened.close()
    second_path(other).unlink()
    other.replace(path)


def _emptied(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(0)


TAKEN_AWAY: dict[str, Callable[[Path], None]] = {
    "unlinked": _gone,
    "moved": _moved,
    "replaced": _replaced,
    "emptied": _emptied,
}


def taken_away(folder: Path, how: str, *, broken: bool) -> Told:
    """While a run goes on: it is to end within a minute (here a shorter look), and the next one has all that stands twice, and says so."""
    path = _written(folder / how)
    ended = threading.Event()
    ledger = LateLedger(path, another=ended.set, look_s=0.2)
    ledger.load()
    ledger.commit(Group(batches={"late": replace(BATCH, id="late")}))
    with contextlib.closing(open_reader(path)) as connection:
        wanted = _rows(connection)
    TAKEN_AWAY[how](path)
    noticed = ended.wait(20.0)
    if broken:
        second_path(path).unlink()
    ledger.close()
    if broken and path.exists():
        path.unlink()
    about, found = _started(path)
    lost = int(found != wanted) + int(not noticed) + int(about is None)
    return Told(f"{how} while running", 1, lost, f"{_readings(path)} of {READINGS + READ_BEFORE} readings kept")


def rows_of(path: Path) -> Rows:
    """Every row of what stands twice."""
    with contextlib.closing(open_reader(path)) as connection:
        return _rows(connection)


def _rows(connection: sqlite3.Connection) -> Rows:
    return {table: sorted(map(repr, connection.execute(f"SELECT * FROM main.{table}"))) for table in TABLES}


def _written(folder: Path) -> Path:
    path = folder / "eggroom.db"
    folder.mkdir()
    opened = open_writer(path)
    ledger = SqliteLedger(opened.connection)
    ledger.commit(full_group())
    ledger.commit(
        Group(
            readings=[reading(10_000 + n) for n in range(READINGS)],
            lines={1: line(last_up_ms=(10_000 + READINGS) * 1000)},
        )
    )
    opened.close()
    return path


def _copied(path: Path, folder: Path) -> Path:
    folder.mkdir()
    for each in path.parent.iterdir():
        if not each.name.endswith((".lock", "-shm")):
            shutil.copy(each, folder / each.name)
    return folder / path.name


def _damage(path: Path, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    how = rng.choice(("zeroed", "noise", "cut", "header"))
    if how == "cut":
        del data[rng.randrange(len(data)) :]
    elif how == "header":
        data[: rng.randrange(1, 100)] = bytes(rng.randrange(1, 100))
    else:
        for _ in range(rng.randrange(1, 9)):
            at = rng.randrange(len(data) // PAGE) * PAGE
            data[at : at + PAGE] = bytes(PAGE) if how == "zeroed" else rng.randbytes(PAGE)
    path.write_bytes(bytes(data))


def _started(path: Path) -> tuple[About | None, Rows]:
    """What a start says of the record, and what stands twice in it then."""
    opened = open_writer(path)
    try:
        return opened.damaged, _rows(opened.connection)
    finally:
        opened.close()


def _readings(path: Path) -> int:
    with contextlib.closing(open_reader(path)) as connection:
        (count,) = connection.execute("SELECT count(*) FROM reading").fetchone()
    return int(count)


def storms(folder: Path, *, short: bool, broken: bool, seed: int) -> Iterator[Told]:
    """Each in turn."""
    yield damaged(folder, 10 if short else 60, seed=seed, broken=broken)
    yield tails(folder, 20 if short else 600, seed=seed, broken=broken)
    for how in TAKEN_AWAY:
        yield taken_away(folder, how, broken=broken)
