"""What every command shares: pipes that close, files that cannot be written, a full disk."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

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
