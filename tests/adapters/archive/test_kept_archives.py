"""Archives that were made by each version of the format: every report out of them gives the bytes that it gave then."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.adapters.archive.container import FORMAT_VERSION, unpack
from tests.adapters.archive.kept_reports import KEPT, REPORTS, archives, expected, report
from tests.running import typed

Capture = pytest.CaptureFixture[str]


@pytest.mark.parametrize("archive", archives(), ids=lambda path: path.stem)
@pytest.mark.parametrize("name", REPORTS)
def test_a_report_gives_the_bytes_it_gave(archive: Path, name: str, capsys: Capture) -> None:
    """Text, JSON, table and page out of an archive of before are what they were, and figures that differ from its own are told."""
    complaints = []

    def run(line: list[str]) -> str:
        code, out, err = typed(capsys, *line)
        assert code == 0
        complaints.append(err)
        return out

    made, then = report(archive, name, run), expected(archive, name)
    assert made.splitlines() == then.splitlines()
    assert made == then
    same = expected(archive, "history.json") == unpack(archive)[1]["history.json"]
    assert complaints[0] == "" or not same


def test_each_format_version_has_an_archive_kept() -> None:
    """A new format version comes with an archive of its own, and those of before stay."""
    assert [path.name for path in archives()] == [f"archive-{n}.zip" for n in range(1, FORMAT_VERSION + 1)]
    for number, path in enumerate(archives(), 1):
        manifest, members = unpack(path)
        assert manifest["format_version"] == number
        assert len(json.loads(members["book.json"])) > 20
    assert (KEPT / "README.md").exists()
