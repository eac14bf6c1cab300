"""What bash completes: the script as bash runs it, and the names that it asks for."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.cli.house import completion
from tests.cli.commands import COMMANDS, Capture, ok, told
from tests.running import ROOT, typed


@pytest.fixture(scope="module")
def script(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file with what `eggroom completion` says."""
    file = tmp_path_factory.mktemp("completion") / "script"
    with file.open("wb") as out:
        subprocess.run([sys.executable, "-m", "monitor", "completion"], cwd=ROOT, stdout=out, timeout=60, check=True)
    return file


def completed(config: Path, script: Path, folder: Path, *words: str) -> list[str]:
    """What bash offers behind these words; `eggroom` is this program."""
    program = folder / "eggroom"
    program.write_text(f'#!/bin/sh\ncd {ROOT} && exec {sys.executable} -m monitor "$@"\n')
    program.chmod(0o755)
    line = " ".join(f"'{word}'" for word in ("eggroom", *words))
    asked = f'eval "$(cat {script})"\nCOMP_WORDS=({line}); COMP_CWORD={len(words)}; _eggroom; printf "%s\\n" "${{COMPREPLY[@]}}"'
    environment = os.environ | {"EGGROOM_CONFIG": str(config), "PATH": f"{folder}:{os.environ['PATH']}"}
    done = subprocess.run(
        ["bash", "-c", asked], env=environment, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stderr == ""
    return done.stdout.split()


def test_the_script_knows_every_command_and_verb() -> None:
    """What stands in it is what there is."""
    assert completion.COMMANDS.split() == sorted(main.COMMANDS)
    for noun, verbs in (("batch", completion.BATCH), ("egg", completion.EGG), ("contact", completion.CONTACT)):
        assert verbs.split() == sorted(name.partition(" ")[2] for name in COMMANDS if name.startswith(f"{noun} "))


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["al"], ["alarms"]),
        (["batch", "re"], ["remove", "reopen"]),
        (["batch", "show", ""], ["hen-1"]),
        (["egg", "weigh", "h"], ["hen-1"]),
        (["history", "hen"], ["hen-1"]),
        (["batch", "move", "hen-1", "ha"], ["hatcher-1"]),
        (["batch", "add", "x", "--machine", ""], ["setter-1", "hatcher-1"]),
        (["batch", "add", "x", "--species", "chick"], ["chicken"]),
        (["rules", "set"], ["setter-1"]),
        (["backup", ""], []),
    ],
)
def test_bash_completes(
    capsys: Capture, config: Path, script: Path, tmp_path: Path, words: list[str], offered: list[str]
) -> None:
    """Commands and verbs, batches, machines and species, each where it can stand."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", config=config)
    assert completed(config, script, tmp_path, *words) == offered


def test_the_names(capsys: Capture, config: Path) -> None:
    """One a line, or as values; without a record there are no batches, and nothing for bash to show."""
    assert ok(capsys, "completion", "--names", "machines", config=config) == "setter-1\nhatcher-1\n"
    assert "chicken" in told(capsys, "completion", "--names", "species", config=config)
    assert typed(capsys, "completion", "--names", "batches", config=config)[:2] == (1, "")
    assert typed(capsys, "completion", "--json", config=config)[0] == 2
