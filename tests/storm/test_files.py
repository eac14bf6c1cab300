"""The storms over the record's files in their short form, and that each fails where the second file is not kept."""

from __future__ import annotations

from pathlib import Path

from tests.storm.files import storms


def test_nothing_that_cannot_be_had_again_is_lost(tmp_path: Path) -> None:
    """Over damaged files, damaged newest parts of the log, and a record that is unlinked, moved, replaced or emptied while a run goes on."""
    assert [told.line() for told in storms(tmp_path, short=True, broken=False, seed=1) if not told.met] == []


def test_without_the_second_file_it_is_noticed(tmp_path: Path) -> None:
    """Each storm says that something was lost."""
    assert [told.what for told in storms(tmp_path, short=True, broken=True, seed=1) if told.met] == []
