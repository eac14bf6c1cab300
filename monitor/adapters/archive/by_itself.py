"""Closed batches are archived by themselves, one after another, each by `eggroom archive` in a process of its own: weeks of readings are no part
of what the watch over the air should hold in its memory, and a mistake in a report ends that process alone."""

from __future__ import annotations

import json
import logging
import subprocess
import threading
import zipfile
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from monitor.adapters.archive.container import MANIFEST, MAX_MANIFEST
from monitor.domain.needs.batch import Batch
from monitor.service.ports import StoreFailure

PATIENCE_S = 1800.0  # of a Pi with a slow card for its longest batch (judgement)
AGAIN = 288  # looks, a day of them, before one that failed is tried again
STEP_S = 0.2  # so soon a stop is heeded

_log = logging.getLogger("eggroom.archives")


def as_of(path: Path) -> datetime | None:
    """The instant that an archive speaks of; None where there is none, or what is there is no archive."""
    try:
        with zipfile.ZipFile(path) as file, file.open(MANIFEST) as manifest:
            return datetime.fromisoformat(json.loads(manifest.read(MAX_MANIFEST))["as_of"])
    except (OSError, zipfile.BadZipFile, KeyError, ValueError, TypeError, NotImplementedError, RuntimeError):
        return None


class Archivist:
    """Sees to it that each closed batch has its archive, of the instant at which it was closed."""

    def __init__(
        self, *, closed: Callable[[], Sequence[Batch]], folder: Path, command: Sequence[str], stopping: threading.Event
    ) -> None:
        """closed: the batches that are closed; raises StoreFailure. folder: of the archives, made when the first comes. command: what archives a
        batch, given its name and the file behind it. stopping: set where what is under way is to end."""
        self._closed = closed
        self._folder = folder
        self._command = tuple(command)
        self._stopping = stopping
        self._failed: dict[tuple[str, datetime | None], int] = {}

    def look(self) -> Path | None:
        """Archive the first closed batch that has no archive of its end; the archive, None where there is none to make, or it failed."""
        try:
            closed = self._closed()
        except StoreFailure:
            return None  # it is told by whom it concerns
        for batch in closed:
            path, key = self._folder / f"{batch.id}.zip", (batch.id, batch.closed_at)
            if self._failed.get(key, 0) > 0:
                self._failed[key] -= 1
            elif as_of(path) != batch.closed_at:
                return self._made(batch, path)
        return None

    def _made(self, batch: Batch, path: Path) -> Path | None:
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            why = self._run(batch, path)
        except OSError as error:
            why = str(error)
        if not why:
            _log.info("archived batch=%s file=%s", batch.id, path)
            return path
        if not self._stopping.is_set():
            _log.warning("not archived batch=%s detail=%s", batch.id, why)
            self._failed[batch.id, batch.closed_at] = AGAIN
        return None

    def _run(self, batch: Batch, path: Path) -> str:
        """Why it failed; "" where it did not."""
        done = subprocess.Popen(
            [*self._command, batch.id, str(path)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
        )
        left_s = PATIENCE_S
        try:
            while True:
                try:
                    _, said = done.communicate(timeout=STEP_S)
                    break
                except subprocess.TimeoutExpired:
                    left_s -= STEP_S
                    if self._stopping.is_set() or left_s <= 0.0:
                        return f"not done within {PATIENCE_S:.0f} s"
        finally:
            if done.poll() is None:
                done.kill()
                done.communicate()
        words = " ".join(said.decode(errors="replace").split())[:200]
        return "" if done.returncode == 0 else words or f"ended with {done.returncode}"
