"""`eggroom archive --closed`: which batches it archives and when, that it writes over nothing, and what is left of it when it is killed."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.archive.container import PART
from monitor.adapters.archive.contents import read_archive
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.cli.batch import archive as archive_commands
from monitor.cli.batch import closed
from monitor.cli.main import main
from monitor.domain.eggs.entry import Note
from monitor.domain.needs.batch import Batch
from monitor.domain.state.record import Group
from tests.archived import CONFIG, closed_batch, day, fill, open_batch
from tests.cli.commands import Capture
from tests.running import ROOT

CLOSED_AT = day(22)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with hen-1 and its like, `other`, both closed on day 22; one that goes on, and one that was never in a machine."""
    folder = tmp_path_factory.mktemp("filled")
    (folder / "eggroom.toml").write_text(CONFIG, encoding="utf-8")
    (folder / "record").mkdir()
    opened = open_writer(folder / "record" / "eggroom.db")
    ledger = SqliteLedger(opened.connection)
    fill(ledger, closed_batch())
    nowhere = Batch("nowhere", "chicken", day(0), closed_at=day(1))
    ledger.commit(
        Group(batches={"nowhere": nowhere, "hen-2": Batch("hen-2", "chicken", day(1), stays=open_batch().stays)})
    )
    opened.close()
    return folder


@pytest.fixture
def house(filled: Path, tmp_path: Path) -> Path:
    shutil.copytree(filled, tmp_path / "house")
    return tmp_path / "house"


def run(house: Path, capsys: Capture, days: float, *arguments: str) -> tuple[int, Any, str]:
    """The command, so many days after the set: exit code, what --json says, complaints."""
    code = main([*arguments, "--json", "--config", str(house / "eggroom.toml")], utc=lambda: day(days))
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else None, err


def archive(house: Path, capsys: Capture, days: float) -> Any:
    code, said, err = run(house, capsys, days, "archive", "--closed")
    assert (code, err) == (0, "")
    return said


def files(house: Path) -> list[str]:
    return sorted(path.name for path in (house / "record" / "archives").iterdir())


def written(house: Path) -> dict[str, tuple[int, int]]:
    """Of each file which it is, and when it was written."""
    found = {name: (house / "record" / "archives" / name).stat() for name in files(house)}
    return {name: (each.st_ino, each.st_mtime_ns) for name, each in found.items()}


def write(house: Path, capsys: Capture, days: float, *words: str) -> None:
    assert main([*words, "--config", str(house / "eggroom.toml")], utc=lambda: day(days)) == 0
    capsys.readouterr()


def test_each_closed_batch_is_archived_once_a_day_after_it_was_closed(house: Path, capsys: Capture) -> None:
    """Not sooner, nothing of what goes on or was nowhere, and not again: the archives are those that are made by hand."""
    early = archive(house, capsys, 22.9)
    assert early["archived"] == []
    assert [(w["batch"], w["from"]) for w in early["waiting"]] == [
        (name, f"{day(23):%Y-%m-%dT%H:%M:%S}.250Z") for name in ("hen-1", "other")
    ]
    said = archive(house, capsys, 23.1)
    assert [(a["batch"], a["again"], a["damaged"]) for a in said["archived"]] == [("hen-1", False, False), ("other", False, False)]  # fmt: skip
    assert files(house) == ["hen-1.zip", "other.zip"]
    before = written(house)
    again = archive(house, capsys, 40)
    assert (again["archived"], again["waiting"], again["there"]) == ([], [], 2)
    assert written(house) == before
    write(house, capsys, 40, "archive", "hen-1", str(house / "by-hand.zip"))
    assert (house / "by-hand.zip").read_bytes() == (house / "record/archives/hen-1.zip").read_bytes()


def test_what_is_written_later_makes_a_newer_one_beside_it(house: Path, capsys: Capture) -> None:
    """An entry, a calibration that holds of its time, and another closing; the older archive stays as it was, byte for byte."""
    archive(house, capsys, 30)
    first = (house / "record/archives/hen-1.zip").read_bytes()
    now = (datetime.now(UTC) - day(0)).total_seconds() / 86_400.0  # what is written is written now

    def made(days: float) -> list[str]:
        return [Path(a["file"]).name for a in archive(house, capsys, days)["archived"]]

    write(house, capsys, now, "egg", "note", "hen-1", "2", "kept shell")
    assert [w["batch"] for w in archive(house, capsys, now + 6.9)["waiting"]] == ["hen-1"]
    assert made(now + 7.1) == ["hen-1.2.zip"]
    newer = read_archive(house / "record/archives/hen-1.2.zip").archive
    assert newer.book.entries[-1].fact == Note("kept shell")
    write(
        house, capsys, now, "calibrate", "node-c/top", "--offset", "0.3K"
    )  # its first: from the beginning of the record on
    assert made(now + 7.1) == ["hen-1.3.zip", "other.2.zip"]
    write(house, capsys, now, "calibrate", "node-c/top", "--offset", "0.1K")  # from now on
    assert archive(house, capsys, now + 60)["there"] == 2
    write(house, capsys, now, "batch", "reopen", "hen-1")
    assert archive(house, capsys, now + 60)["there"] == 1
    write(house, capsys, now, "batch", "close", "hen-1", "--sure")
    assert [w["batch"] for w in archive(house, capsys, now + 0.9)["waiting"]] == ["hen-1"]
    assert made(now + 1.1) == ["hen-1.4.zip"]
    assert (house / "record/archives/hen-1.zip").read_bytes() == first


def test_a_damaged_archive_is_made_anew_beside_it(house: Path, capsys: Capture) -> None:
    """A byte that the card lost, wherever it is, and a folder of that name; nothing of them is touched."""
    archive(house, capsys, 30)
    path = house / "record/archives/hen-1.zip"
    damaged = bytearray(path.read_bytes())
    damaged[len(damaged) // 2] ^= 0x55
    path.write_bytes(damaged)
    (house / "record/archives/other.zip").unlink()
    (house / "record/archives/other.zip").mkdir()
    said = archive(house, capsys, 31)
    assert [(Path(a["file"]).name, a["damaged"]) for a in said["archived"]] == [
        ("hen-1.2.zip", True),
        ("other.2.zip", True),
    ]
    assert path.read_bytes() == damaged
    assert archive(house, capsys, 32)["there"] == 2


def test_one_that_fails_keeps_no_other_from_its_archive(
    house: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mistake, a full disk, a process that is ended for its memory: each is told in a line, with exit 1, and made the next time."""
    real = archive_commands._figures

    def fails(what: BaseException | None) -> None:
        def figures(*given: Any, **named: Any) -> str:
            if given[2].id == "hen-1":
                if what is None:
                    os.kill(os.getpid(), signal.SIGKILL)
                else:
                    raise what
            return real(*given, **named)

        monkeypatch.setattr(archive_commands, "_figures", figures)

    for number, (what, words) in enumerate(((KeyError("x"), "KeyError: 'x'"), (OSError(28, "No space left on device"), "No space left on device"), (None, "its process was ended"))):  # fmt: skip
        fails(what)
        code, said, err = run(house, capsys, 30, "archive", "--closed")
        assert (code, err.count("\n")) == (1, 1)
        assert err.startswith("eggroom: batch hen-1 not archived: ")
        assert words in err
        assert [a["batch"] for a in said["archived"]] == ([] if number else ["other"])
        assert [f["batch"] for f in said["failed"]] == ["hen-1"]
        assert "hen-1.zip" not in files(house)
    monkeypatch.setattr(archive_commands, "_figures", real)
    assert [a["batch"] for a in archive(house, capsys, 30)["archived"]] == ["hen-1"]
    assert files(house) == ["hen-1.zip", "other.zip"]


def test_the_record_keeps_its_place_on_the_disk(house: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where hardly any is left nothing is archived, for readings need it."""
    monkeypatch.setattr(closed, "MIN_FREE_BYTES", 10**18)
    code, said, err = run(house, capsys, 30, "archive", "--closed")
    assert (code, said["archived"], files(house)) == (1, [], [])
    assert "GB free at" in err


def test_killed_at_any_moment_it_leaves_whole_archives_alone(house: Path, capsys: Capture) -> None:
    """Ended hard after any time, whatever has an archive's name is one, and the next run makes the rest and clears away what was half-made."""
    folder = house / "record" / "archives"
    command = [sys.executable, "-m", "monitor", "archive", "--closed", "--config", str(house / "eggroom.toml")]
    whole: list[str] = []
    for tenths in range(3, 200, 4):  # as long as it takes on a busy machine until both are there
        process = subprocess.Popen(
            command, cwd=ROOT, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(tenths / 10.0)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        names = files(house) if folder.exists() else []
        whole = [name for name in names if not name.endswith(PART)]
        for name in whole:
            assert read_archive(folder / name).archive.as_of == CLOSED_AT
        if len(whole) == 2:
            break
    assert whole == ["hen-1.zip", "other.zip"]
    (folder / f"hen-1.zip{PART}").write_bytes(b"half")
    archive(house, capsys, 30)
    assert files(house) == ["hen-1.zip", "other.zip"]


def test_two_at_once_are_one(house: Path, capsys: Capture) -> None:
    """While one is at it, another says so and does nothing."""
    (house / "record" / "archives").mkdir()
    descriptor = os.open(house / "record" / "archives", os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        code, _, err = run(house, capsys, 30, "archive", "--closed")
    finally:
        os.close(descriptor)
    assert code == 1
    assert "another `eggroom archive --closed` is at it" in err
    assert files(house) == []


def test_where_they_go_is_the_houses_word(house: Path, capsys: Capture) -> None:
    """`archives` of [site], beside the configuration; a folder whose own folder is not there is told, and not made up: a stick that is not in."""
    config = house / "eggroom.toml"
    text = config.read_text(encoding="utf-8")
    config.write_text(text.replace('data = "record"', 'data = "record"\narchives = "kept"'), encoding="utf-8")
    assert len(archive(house, capsys, 30)["archived"]) == 2
    assert sorted(path.name for path in (house / "kept").iterdir()) == ["hen-1.zip", "other.zip"]
    config.write_text(text.replace('data = "record"', 'data = "record"\narchives = "stick/kept"'), encoding="utf-8")
    code, _, err = run(house, capsys, 30, "archive", "--closed")
    assert (code, err.count("\n")) == (1, 1)
    assert "expected a folder that can be written: sudo -u eggroom eggroom archive --closed" in err
    assert not (house / "stick").exists()


def test_it_says_in_one_line_what_it_did(house: Path, capsys: Capture) -> None:
    """Before, at, and after; and where there is no record yet, that is no failure."""
    config = ["--config", str(house / "eggroom.toml")]

    def line(days: float) -> str:
        assert main(["archive", "--closed", *config], utc=lambda: day(days)) == 0
        return capsys.readouterr().out.replace(f"{house / 'record' / 'archives'}: ", "")

    assert line(22.5) == "to come hen-1 from 19:00 on and other from 19:00 on\n"
    assert line(23.5) == "archived hen-1 and other\n"
    assert line(24) == "2 have their archive\n"
    shutil.rmtree(house / "record")
    assert line(24) == "no record yet\n"


def test_what_is_refused(house: Path, capsys: Capture) -> None:
    """A batch, a file or --sure beside it; and neither it nor a batch with a file."""
    for words in (
        ["archive", "hen-1", "x.zip", "--closed"],
        ["archive", "--closed", "--sure"],
        ["archive"],
        ["archive", "hen-1"],
    ):
        code, said, err = run(house, capsys, 30, *words)
        assert (code, said, err.count("\n")) == (2, None, 1)
        assert "--closed" in err


def test_health_says_what_waits(house: Path, capsys: Capture) -> None:
    """Good until two days after it was due; then bad, since when, and with what to type."""

    def check(days: float) -> Any:
        _, said, _ = run(house, capsys, days, "health")
        return next(c for c in said["checks"] if c["what"] == "archives")

    folder = house / "record" / "archives"
    assert check(24.9) == {"what": "archives", "good": True, "found": f"{folder}: 1 of 3 closed batches, 2 to come"}
    late = check(25.1)
    assert not late["good"]
    assert late["found"].startswith("NOT ARCHIVED: hen-1 since ")
    assert "sudo -u eggroom eggroom archive --closed" in late["found"]
    archive(house, capsys, 25.2)
    assert check(60) == {"what": "archives", "good": True, "found": f"{folder}: 3 of 3 closed batches"}
