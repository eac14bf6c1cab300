"""Closed batches are archived by themselves."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.adapters.archive.by_itself import Archivist, as_of
from monitor.domain.needs.batch import Batch
from monitor.service.ports import StoreFailure

END = datetime(2026, 3, 22, 6, tzinfo=UTC)
HEN = Batch("hen-1", "chicken", END - timedelta(days=21), 12, closed_at=END)
WRITES = """
import json, sys, zipfile
*_, name, path = sys.argv
as_of = {as_of!r}[name]
with zipfile.ZipFile(path, "w") as file:
    file.writestr("manifest.json", json.dumps({{"as_of": as_of}}))
"""


def archivist(folder: Path, closed: Sequence[Batch], script: str, stopping: threading.Event | None = None) -> Archivist:
    return Archivist(
        closed=lambda: closed,
        folder=folder,
        command=(sys.executable, "-c", script),
        stopping=stopping or threading.Event(),
    )


def writing(*batches: Batch) -> str:
    """A command that writes what an archive says of its end."""
    ends = {batch.id: batch.closed_at.isoformat() for batch in batches if batch.closed_at is not None}
    return WRITES.format(as_of=ends)


def test_each_closed_batch_once(tmp_path: Path) -> None:
    """One a look, in their order; then there is nothing to do, until one is opened and closed again."""
    other = replace(HEN, id="hen-2", closed_at=END + timedelta(days=1))
    made = archivist(tmp_path / "archives", [HEN, other], writing(HEN, other))
    assert [made.look() for _ in range(3)] == [
        tmp_path / "archives" / "hen-1.zip",
        tmp_path / "archives" / "hen-2.zip",
        None,
    ]
    again = replace(HEN, closed_at=END + timedelta(hours=3))
    later = archivist(tmp_path / "archives", [again, other], writing(again, other))
    assert later.look() == tmp_path / "archives" / "hen-1.zip"
    assert as_of(tmp_path / "archives" / "hen-1.zip") == again.closed_at
    assert later.look() is None


def test_one_that_fails_holds_up_no_other(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """It is told in the log with what the command said, and tried again after a day of looks."""
    other = replace(HEN, id="hen-2")
    script = f"import sys\nif sys.argv[-2] == 'hen-1': sys.exit('eggroom: no such profile')\n{writing(HEN, other)}"
    made = archivist(tmp_path, [HEN, other], script)
    assert made.look() is None
    assert "not archived batch=hen-1 detail=eggroom: no such profile" in caplog.text
    assert made.look() == tmp_path / "hen-2.zip"
    caplog.clear()
    assert [made.look() for _ in range(287)] == [None] * 287
    assert "hen-1" not in caplog.text
    assert made.look() is None
    assert "hen-1" in caplog.text


def test_a_record_that_cannot_be_read_and_a_folder_that_cannot_be_made(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Neither ends the thread."""

    def fails() -> Sequence[Batch]:
        raise StoreFailure("record", "disk", "one that can be read")

    assert Archivist(closed=fails, folder=tmp_path, command=(), stopping=threading.Event()).look() is None
    (tmp_path / "archives").write_text("a file")
    assert archivist(tmp_path / "archives", [HEN], writing(HEN)).look() is None
    assert "not archived batch=hen-1" in caplog.text


def test_a_stop_ends_what_is_under_way(tmp_path: Path) -> None:
    """At once, and it is no failure."""
    stopping = threading.Event()
    threading.Timer(0.3, stopping.set).start()
    began = time.monotonic()
    assert archivist(tmp_path, [HEN], "import time\ntime.sleep(60)", stopping).look() is None
    assert time.monotonic() - began < 20.0


@pytest.mark.parametrize("text", [b"", b"PK\x03\x04 and no more", b"{}"])
def test_what_is_no_archive_is_made_anew(tmp_path: Path, text: bytes) -> None:
    """A file that a power cut left."""
    (tmp_path / "hen-1.zip").write_bytes(text)
    assert as_of(tmp_path / "hen-1.zip") is None
    assert archivist(tmp_path, [HEN], writing(HEN)).look() == tmp_path / "hen-1.zip"
