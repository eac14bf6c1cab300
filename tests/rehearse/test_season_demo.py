"""`eggroom demo --season` as a person types it: what it writes, what it keeps to itself, and what it refuses."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from monitor.rehearse.season import PLACES, drawn
from monitor.rehearse.season_faults import FAULTS
from tests.running import typed

Capture = pytest.CaptureFixture[str]


def ok(capsys: Capture, *arguments: str) -> str:
    code, out, err = typed(capsys, *arguments)
    assert (code, err) == (0, ""), err
    return out


def wrong(capsys: Capture, *arguments: str) -> tuple[int, str]:
    code, out, err = typed(capsys, *arguments)
    assert (out, err.count("\n")) == ("", 1)
    return code, err


def test_a_season_is_written_tried_and_told(capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new folder holds it; every command that is printed runs on it; the causes are told when asked for, and nowhere before."""
    monkeypatch.chdir(tmp_path)
    out = ok(capsys, "demo", "--season", "--seed", "7")
    folder = Path("eggroom-season", "seed-7")
    assert out.startswith("An invented season: ")
    assert sorted(p.name for p in folder.iterdir()) == ["eggroom.toml", "record", "seed"]
    commands = [shlex.split(line)[1:] for line in out.splitlines() if line.startswith("  eggroom ")]
    assert [c[0] for c in commands] == ["outcomes", "review", "egg", "history", "archive", "demo"]
    *before, tell = commands
    said = out + (folder / "eggroom.toml").read_text() + "".join(ok(capsys, *command) for command in before)
    assert not [f.words for f in FAULTS if f.words in said]
    assert Path("hen-1.html").stat().st_size > 10_000
    assert len(list((folder / "record" / "archives").glob("*.zip"))) == len(PLACES)
    told = ok(capsys, *tell)
    assert told == ok(capsys, "demo", "--season", "--seed", "7", "--tell")
    for batch, fault in drawn(7).faults.items():
        assert f"  {batch}: {fault.words}." in told
    assert sum(f"  {name}: " in told for name, *_ in PLACES) == 2


@pytest.mark.parametrize("kept", [b"", b"seven\n", b"-1\n", b"4294967296\n", b"\xff\n", None])
def test_a_season_whose_seed_is_lost(capsys: Capture, tmp_path: Path, kept: bytes | None) -> None:
    """What it was drawn from stands in a file of its own; a configuration alone, or another number in it, tells nothing."""
    (tmp_path / "eggroom.toml").write_text("# Invented season, seed 7. Nothing in it is real.\n")
    if kept is not None:
        (tmp_path / "seed").write_bytes(kept)
    code, err = wrong(capsys, "demo", "--season", str(tmp_path), "--tell")
    assert (code, "eggroom.toml: no invented season there, expected one that" in err) == (1, True)


def test_a_folder_that_holds_something_is_left_alone(capsys: Capture, tmp_path: Path) -> None:
    """What is there already is not written over, a file neither."""
    (tmp_path / "mine").write_text("mine")
    told = "is there and not empty, expected a new folder or an empty one\n"
    for place in (tmp_path, tmp_path / "mine"):
        assert wrong(capsys, "demo", "--season", str(place)) == (1, f"eggroom: {place}: {told}")
    assert [p.name for p in tmp_path.iterdir()] == ["mine"]


def test_what_it_refuses(capsys: Capture, tmp_path: Path) -> None:
    """Options that do not go together, a seed that cannot be, a folder without a season: one line each, nothing written."""
    assert wrong(capsys, "demo", "--seed", "3")[0] == 2
    assert wrong(capsys, "demo", "--tell")[0] == 2
    assert wrong(capsys, "demo", "--season", str(tmp_path / "a"), "--speed", "60")[0] == 2
    code, err = wrong(capsys, "demo", "--season", str(tmp_path / "a"), "--seed", "-1")
    assert (code, err) == (1, "eggroom: --seed -1, expected 0 to 4294967295\n")
    code, err = wrong(capsys, "demo", "--season", str(tmp_path / "a"), "--tell")
    assert (code, "no invented season there" in err) == (1, True)
    assert list(tmp_path.iterdir()) == []
