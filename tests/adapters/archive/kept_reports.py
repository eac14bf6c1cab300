"""`python -m tests.adapters.archive.kept_reports`: write the reports out of the kept archives anew, where their words changed on
purpose. The archives themselves are never made again."""

from __future__ import annotations

import contextlib
import io
import tempfile
from collections.abc import Callable
from pathlib import Path

from monitor.adapters.archive.container import unpack
from monitor.cli.main import main

KEPT = Path(__file__).parents[2] / "reference" / "kept"
# What each report is asked for with; {out} is the file that it writes, where it does not print.
REPORTS: dict[str, tuple[str, ...]] = {
    "history.txt": ("history", "--full"),
    "history.json": ("history", "--json"),
    "history.csv": ("history", "--csv", "{out}"),
    "history.html": ("history", "--html", "{out}"),
    "egg-3.txt": ("history", "--full", "--egg", "3"),
    "eggs.txt": ("egg", "show"),
    "eggs.json": ("egg", "show", "--json"),
    "review.txt": ("review", "--full"),
    "review.json": ("review", "--json"),
    "review.html": ("review", "--html", "{out}"),
}
# Of REPORTS, those that the archive brings itself.
INSIDE = ("history.json", "review.txt", "review.json", "review.html")
Run = Callable[[list[str]], str]  # what the program prints for a line that is typed


def archives() -> list[Path]:
    """The kept archives, one of each format version."""
    return sorted(KEPT.glob("archive-*.zip"))


def report(archive: Path, name: str, run: Run) -> bytes:
    """The bytes of one report of REPORTS out of an archive."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / name
        printed = run([*(word.format(out=out) for word in REPORTS[name]), "--archive", str(archive)])
        return out.read_bytes() if out.exists() else printed.encode()


def expected(archive: Path, name: str) -> bytes:
    """The bytes that it should have: those kept beside the archive; where there are none, those that the archive brings itself."""
    beside = archive.with_suffix("") / name
    return beside.read_bytes() if beside.exists() else unpack(archive)[1][name]


def _run(line: list[str]) -> str:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        if code := main(line):
            raise SystemExit(code)
    return printed.getvalue()


def write_all() -> None:
    for archive in archives():
        for name in REPORTS:
            made = report(archive, name, _run)
            if made != unpack(archive)[1].get(name):
                (archive.with_suffix("") / name).write_bytes(made)


if __name__ == "__main__":
    write_all()
