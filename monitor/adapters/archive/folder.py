"""The folder in which closed batches are kept, each in archives of its own: `hen-1.zip`, and `hen-1.2.zip` and so on for newer ones.

The folder is its own memory: which batch has its archive is read out of the archives. A file comes under its name whole, flushed and
read back, and none is ever written over; what a power cut leaves half-made has another name, and is gone with the next run.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from monitor.adapters.archive.container import BOOK, MANIFEST, PART, READINGS, RECORD, ArchiveError, unpack
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.readings.calibration import Calibration
from monitor.service.keeping import Held, due_at
from monitor.service.ports import Written

_ZIP = ".zip"
MAX_DIGITS = 6  # of an archive's number


@fixed
class Kept:
    """What the folder has of a batch. path: its newest archive, None where it has none; damaged: that one is, so that it counts for nothing;
    due_at: from when on the next is to be made, None where it has all."""

    path: Path | None
    damaged: bool
    due_at: datetime | None


def kept_of(
    folder: Path, batch: Batch, written: Written | None, *, calibrations: Sequence[Calibration], whole: bool
) -> Kept:
    """What the folder has of a batch, and what it lacks of what is written. whole: read every part of an archive, and see to its checksum;
    without it, of those alone that this asks for. Raises OSError for a folder that cannot be looked into."""
    path, held = _newest(folder, batch.id), None
    if path is not None:
        with contextlib.suppress(ArchiveError):
            held = _held_in(path, whole=whole)
    due = due_at(batch, written, calibrations, held=held)
    return Kept(path, damaged=path is not None and held is None, due_at=due)


def next_file(folder: Path, batch: str) -> Path:
    """Where its next archive goes: a name that no file has. Raises OSError."""
    last = max((number for number, _ in _files(folder, batch)), default=0)
    return folder / (f"{batch}{_ZIP}" if not last else f"{batch}.{last + 1}{_ZIP}")


def _held_in(path: Path, *, whole: bool) -> Held:
    """What an archive holds. Raises ArchiveError."""
    manifest, members = unpack(path, None if whole else (BOOK, RECORD))
    try:
        as_of = datetime.fromisoformat(str(manifest["as_of"])).astimezone(UTC)
        entries = [int(entry["number"]) for entry in json.loads(members[BOOK])]
        record = json.loads(members[RECORD])["calibrations"]
        listed = manifest["members"]
        assert isinstance(listed, dict)
        probes = {n.removeprefix(READINGS).removesuffix(".csv") for n in listed if n.startswith(READINGS)}
        holding = [c for c in record if c["probe"] in probes and (c["since"] is None or _at(c["since"]) < as_of)]
    except (KeyError, TypeError, ValueError, ArithmeticError, RecursionError) as error:
        raise ArchiveError(f"{path}: {MANIFEST}", "not of a batch", "what `eggroom archive` writes") from error
    return Held(as_of=as_of, entries=max(entries, default=0), probes=probes, calibrations=len(holding))


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """The folder, made if it is not there, for one process at a time; what an earlier one left half-made is gone. Raises ArchiveError for
    one that another has, OSError for one that cannot be used."""
    folder.mkdir(exist_ok=True)
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise ArchiveError(str(folder), "another `eggroom archive --closed` is at it", "one at a time") from error
        except OSError:
            pass  # a folder of another computer may know no locks
        for path in list(folder.iterdir()):
            if path.name.endswith(PART):
                path.unlink(missing_ok=True)
        yield
    finally:
        os.close(descriptor)


def _newest(folder: Path, batch: str) -> Path | None:
    return max(_files(folder, batch), default=(0, None), key=lambda found: found[0])[1]


def _files(folder: Path, batch: str) -> list[tuple[int, Path]]:
    """(number, file) of its archives, 1 for the first."""
    try:
        names = os.listdir(folder)
    except FileNotFoundError:
        return []
    return [(number, folder / name) for name in names if (number := _number(name, batch)) is not None]


def _number(name: str, batch: str) -> int | None:
    """Which archive of the batch a file of that name is: 1 of `hen-1.zip`, 2 of `hen-1.2.zip`; None where it is none of it. No batch has a dot."""
    of, dot, number = name.removesuffix(_ZIP).partition(".")
    if of != batch or not name.endswith(_ZIP):
        return None
    if not dot:
        return 1
    return int(number) if number.isascii() and number.isdigit() and len(number) <= MAX_DIGITS else None


def _at(text: str) -> datetime:
    """A moment as an archive has it."""
    return datetime.fromisoformat(text)
