"""`eggroom archive --closed`: an archive of each closed batch that has none with all that is written of it. Killed at any moment it leaves
whole archives alone, and the next run goes on."""

from __future__ import annotations

import multiprocessing
import shutil
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from datetime import datetime
from pathlib import Path

from monitor.adapters.archive.container import ArchiveError
from monitor.adapters.archive.folder import alone_in, kept_of, next_file
from monitor.app import archives_folder
from monitor.cli.frame import DONE, FAILED, PROGRESS, Failed, Wrong, complain, show
from monitor.cli.record import begun, opened
from monitor.settings import House
from monitor.shown.now.archives import BY_HAND, ArchivedNow, Archiving, archiving_text, archiving_view
from monitor.shown.now.health import MIN_FREE_BYTES

# (configuration, batch, file): makes the archive; (its size in bytes, why it has no review). Raises Wrong and Failed.
Make = Callable[[Path, str, Path], tuple[int, str]]


def archive_closed(house: House, make: Make, *, now: datetime, json_wanted: bool) -> int:
    """Look at every closed batch, and have those archived that are due; the exit code. Raises Failed."""
    folder = archives_folder(house)
    if not begun(house):
        return show(json_wanted, archiving_view(Archiving(folder=folder, at=now)), f"{folder}: no record yet")
    try:
        with alone_in(folder):
            found = _look(house, make, folder, now=now)
    except ArchiveError as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"{folder}: {error.strerror}, expected a folder that can be written: {BY_HAND}") from error
    show(json_wanted, archiving_view(found), archiving_text(found, house.site.zone))
    why = [f"batch {batch} not archived: {said}" for batch, said in found.failed]
    return complain("\n".join(why), FAILED) if why else DONE


def _look(house: House, make: Make, folder: Path, *, now: datetime) -> Archiving:
    with opened(house) as history, history.instant():
        batches, written, calibrations = history.batches(), history.written(), history.calibrations()
    archived, waiting, failed, there = [], [], [], 0
    for batch in batches:
        kept = kept_of(folder, batch, written.get(batch.id), calibrations=calibrations, whole=True)
        if kept.due_at is None:
            there += kept.path is not None and batch.closed_at is not None
        elif kept.due_at > now:
            waiting.append((batch.id, kept.due_at))
        else:
            file = next_file(folder, batch.id)
            try:
                size, review = _by_itself(make, house.path, batch.id, file=file)
            except (Wrong, Failed) as error:
                failed.append((batch.id, str(error)))
            else:
                again = kept.path is not None
                archived.append(ArchivedNow(batch.id, file, size, again=again, damaged=kept.damaged, review=review))
    return Archiving(folder=folder, at=now, archived=archived, waiting=waiting, there=there, failed=failed)


def _by_itself(make: Make, config: Path, batch: str, *, file: Path) -> tuple[int, str]:
    """Make one archive in a process of its own: what one batch takes in memory, or breaks, costs no other. Raises Wrong and Failed."""
    free = shutil.disk_usage(file.parent).free
    if free < MIN_FREE_BYTES:
        raise Failed(
            f"{free / 1e9:.2f} GB free at {file.parent}, expected {MIN_FREE_BYTES / 1e9:.1f}: the record needs it"
        )
    PROGRESS.stop()  # its thread must not be in the middle of a word
    try:
        with ProcessPoolExecutor(1, multiprocessing.get_context("fork")) as pool:
            return pool.submit(make, config, batch, file).result()
    except BrokenProcessPool as error:
        raise Failed("its process was ended, expected enough memory for it") from error
    except (Wrong, Failed):
        raise
    except Exception as error:
        raise Failed(f"{type(error).__name__}: {' '.join(str(error).split())[:200]}") from error
