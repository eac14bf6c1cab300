"""What every command shares: pipes that close, files that cannot be written, a full disk."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from monitor.cli import frame
from tests.cli.commands import Capture, ok
from tests.running import ROOT, typed


@pytest.mark.parametrize("arguments", [["profiles"], ["profiles", "chicken"], ["--help"]])
def test_a_reader_that_has_seen_enough(arguments: Sequence[str]) -> None:
    """A pipe that is closed early ends the command with 0, and without a word."""
    process = subprocess.Popen(
        [sys.executable, "-m", "monitor", *arguments], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    process.stdout.close()
    assert process.wait(20) == 0
    assert process.stderr is not None
    assert process.stderr.read() == b""
    process.stderr.close()


def test_only_a_file_is_written(capsys: Capture, running: Path, tmp_path: Path) -> None:
    """A folder or a device is refused in one line and stays what it is; a link leads to the file that is written."""
    device = tmp_path / "device"
    os.mkfifo(device)
    for place in (tmp_path, device):
        code, out, err = typed(capsys, "history", "hen-1", "--csv", str(place), config=running)
        assert (code, out) == (1, "")
        assert err == f"eggroom: {place}: not a file, expected one that can be written\n"
    assert device.is_fifo()
    link, file = tmp_path / "link.csv", tmp_path / "real.csv"
    link.symlink_to(file)
    ok(capsys, "history", "hen-1", "--csv", str(link), config=running)
    assert link.is_symlink()
    assert file.stat().st_size > 1000


def test_a_full_disk_behind_the_output(running: Path) -> None:
    """What cannot be printed is one line, and no traceback."""
    with Path("/dev/full").open("w") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "monitor", "history", "hen-1", "--config", str(running)],
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (
        1,
        "eggroom: output: No space left on device, expected that it can be written\n",
    )


def test_nothing_is_written_over_unasked(capsys: Capture, running: Path, tmp_path: Path) -> None:
    """A file that is there stays as it is until somebody says that it is sure, whatever is written into it."""
    file = tmp_path / "mine"
    for arguments in (
        ["history", "hen-1", "--csv", str(file)],
        ["history", "hen-1", "--html", str(file)],
        ["history", "hen-1", "--ics", str(file)],
        ["archive", "hen-1", str(file)],
        ["backup", str(file)],
    ):
        file.write_text("mine")
        code, out, err = typed(capsys, *arguments, config=running)
        assert (code, out, err) == (2, "", f"eggroom: {file}: there already, expected --sure to write over it\n")
        assert file.read_text() == "mine"
        ok(capsys, *arguments, "--sure", config=running)
        assert file.read_bytes() != b"mine"


def test_asked_at_a_terminal(capsys: Capture, running: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever sits there is asked: yes goes on, anything else changes nothing, with 1."""
    file = tmp_path / "mine.csv"
    file.write_text("mine")
    monkeypatch.setattr(frame, "at_terminal", lambda: True)
    for said, code in (("\n", 1), ("no\n", 1), ("", 1), ("y\n", 0)):
        monkeypatch.setattr(sys, "stdin", io.StringIO(said))
        came, _, err = typed(capsys, "history", "hen-1", "--csv", str(file), config=running)
        assert came == code
        assert err.startswith(f"{file}: there already; write over it? [y/N] ")
        assert (file.read_text() == "mine") == (code == 1)


def test_standard_output_in_place_of_a_file(capsys: Capture, running: Path, tmp_path: Path) -> None:
    """`-` prints the file's own bytes and nothing beside them; it is asked of one thing."""
    file = tmp_path / "h.csv"
    for option in ("--csv", "--html", "--ics"):
        ok(capsys, "history", "hen-1", option, str(file), "--sure", config=running)
        printed, written = ok(capsys, "history", "hen-1", option, "-", config=running), file.read_text(encoding="utf-8")
        assert len(printed) > 500
        # what is worked out at another moment differs in its figures of that moment, and in nothing of its form
        assert printed.splitlines()[0] == written.splitlines()[0]
        assert printed.count("\n") == written.count("\n")
    for two in (["--csv", "-", "--html", "-"], ["--csv", "-", "--json"]):
        code, out, err = typed(capsys, "history", "hen-1", *two, config=running)
        assert (code, out, err) == (2, "", "eggroom: -: standard output for several things, expected it for one\n")
    assert not Path("-").exists()
    code, _, err = typed(capsys, "backup", "-", config=running)
    assert (code, err) == (2, "eggroom: backup: -, expected a file: it is read back before it is kept\n")


def test_a_narrow_terminal() -> None:
    """Forty columns lose no word, and what goes on in a further line is set in; a wide one changes nothing."""
    text = "LOW No. 2 Hatcher 1: cool, 37.2 °C now, for 14 s, since 05:01: seen\n\nshort"
    assert frame.fitted(text, 40).split("\n") == [
        "LOW No. 2 Hatcher 1: cool, 37.2 °C now,",
        "  for 14 s, since 05:01: seen",
        "",
        "short",
    ]
    assert frame.fitted(text, 80) == text
    assert frame.fitted(text * 3, None) == text * 3  # a program takes lines as they are


def test_what_is_wrong_is_folded_at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """No word of a complaint, or of a question, is cut there; elsewhere it stays one line."""
    monkeypatch.setenv("COLUMNS", "40")
    why = "batch hen-1: 24 eggs without an end, which counts as not hatched, expected --sure to close it"
    for at_terminal in (True, False):
        said = io.StringIO()
        monkeypatch.setattr(said, "isatty", lambda at_terminal=at_terminal: at_terminal)
        monkeypatch.setattr(sys, "stderr", said)
        assert frame.complain(why, 2) == 2
        lines = said.getvalue().splitlines()
        assert " ".join(line.strip() for line in lines) == f"eggroom: {why}"
        assert (len(lines) > 1, max(map(len, lines)) <= 40) == (at_terminal, at_terminal)
        assert all(line.startswith("  ") for line in lines[1:])


@pytest.mark.parametrize(("wide", "made"), [(1, 20), (40, 40), (80, 80), (200, 80)])
def test_how_wide_a_text_is_made(monkeypatch: pytest.MonkeyPatch, wide: int, made: int) -> None:
    """As the terminal is, from twenty columns to eighty; where there is none as COLUMNS says, else eighty."""
    monkeypatch.setenv("COLUMNS", str(wide))
    for at_terminal in (True, False):
        monkeypatch.setattr("sys.stdout.isatty", lambda at_terminal=at_terminal: at_terminal)
        assert frame.columns() == made
    for nothing in ("", "wide", "-5"):
        monkeypatch.setenv("COLUMNS", nothing)
        assert frame.columns() == 80
    monkeypatch.delenv("COLUMNS")
    assert frame.columns() == 80


def test_work_that_takes_long_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal, after its patience; its line is gone before anything is printed, and elsewhere there is none."""
    for at_terminal in (True, False):
        said = io.StringIO()
        monkeypatch.setattr(said, "isatty", lambda at_terminal=at_terminal: at_terminal)
        monkeypatch.setattr(sys, "stderr", said)
        monkeypatch.setattr(frame, "PATIENCE_S", 0.05)
        progress = frame.Progress()
        progress.start()
        time.sleep(0.3)
        progress.stop()
        assert said.getvalue() == ("\rworking, 0 s \r\x1b[K" if at_terminal else "")
        progress.start()
        progress.stop()
        assert said.getvalue().count("working") == int(at_terminal)
