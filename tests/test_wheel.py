"""What is installed is whole: the wheel holds its data files, and works on each Python it claims, away from the source tree."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.running import sample_configuration

ROOT = Path(__file__).resolve().parents[1]
PYTHONS = ("3.11", "3.12", "3.13")
INSTALL_S = 110.0
CLEAN = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "VIRTUAL_ENV", "EGGROOM_CONFIG")}


def run(*command: str | Path, cwd: Path, timeout_s: float = 60.0) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=CLEAN,
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )


def python_of(version: str, folder: Path) -> str | None:
    """An interpreter of that version which can make environments; None where there is none."""
    candidates = [
        shutil.which(f"python{version}"),
        *map(str, (Path.home() / ".pyenv/versions").glob(f"{version}.*/bin/python")),
    ]
    ask = f"import sys, venv, ensurepip; sys.exit(sys.version_info[:2] != tuple(map(int, '{version}'.split('.'))))"
    return next((c for c in candidates if c and run(c, "-c", ask, cwd=folder).returncode == 0), None)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from a copy: nothing is left behind in the source tree."""
    folder = tmp_path_factory.mktemp("wheel")
    source = folder / "source"
    leave = shutil.ignore_patterns(".git", ".venv", ".*_cache", ".hypothesis", "__pycache__", "tests")
    shutil.copytree(ROOT, source, ignore=leave)
    done = run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, source, cwd=folder)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    (built,) = folder.glob("eggroom-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Future[Path | None]]:
    """The folder of commands of a fresh environment for each Python, made side by side; None where that Python is missing."""
    folder = tmp_path_factory.mktemp("environments")

    def install(version: str) -> Path | None:
        python = python_of(version, folder)
        if python is None:
            return None
        place = folder / version
        steps: tuple[tuple[str | Path, ...], ...] = (
            (python, "-m", "venv", place),
            (place / "bin/python", "-m", "pip", "install", "--quiet", "--no-compile", wheel),
        )
        for step in steps:
            done = run(*step, cwd=folder, timeout_s=INSTALL_S)
            assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
        return place / "bin"

    with ThreadPoolExecutor(len(PYTHONS)) as pool:
        return {version: pool.submit(install, version) for version in PYTHONS}


def test_the_wheel_holds_its_data(wheel: Path) -> None:
    """Profiles with their sources, and the rules, are in the wheel, and the word that it is typed; tests and firmware are not; `eggroom` is its command."""
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        entry = next(archive.read(name).decode() for name in names if name.endswith("entry_points.txt"))
    data = {str(path.relative_to(ROOT)) for path in (ROOT / "monitor").rglob("*.toml")}
    assert len(data) > 40
    assert data <= names
    assert {str(path.relative_to(ROOT)) for path in (ROOT / "monitor").rglob("*.py")} <= names
    assert "monitor/py.typed" in names  # else whoever imports it sees none of its types
    assert {name.split("/")[0].split("-")[0] for name in names} == {"monitor", "eggroom"}
    assert "eggroom = monitor.cli.main:main" in entry


@pytest.mark.timeout(180)
@pytest.mark.parametrize("version", PYTHONS)
def test_it_works_where_it_is_installed(
    installed: dict[str, Future[Path | None]], version: str, tmp_path: Path
) -> None:
    """In a fresh environment, with what the wheel itself asks for and nothing else, the commands work outside the source tree."""
    commands = installed[version].result()
    if commands is None:
        pytest.skip(f"no Python {version} with venv on this machine (looked in PATH and ~/.pyenv/versions)")

    def eggroom(*arguments: str) -> str:
        done = run(commands / "eggroom", *arguments, cwd=tmp_path)
        assert (done.returncode, done.stderr) == (0, ""), done.stderr
        return done.stdout

    def imported(module: str) -> str:
        return run(commands / "python", "-c", f"import {module}; print({module}.__file__)", cwd=tmp_path).stdout

    assert str(commands.parent) in imported("monitor")
    assert json.loads(eggroom("air", "--dry-bulb", "37.5C", "--rh", "55", "--json"))["wet_bulb_c"] == pytest.approx(
        29.3146, abs=1e-4
    )
    assert "japanese-quail" in eggroom("profiles")
    sample = sample_configuration(tmp_path)
    assert "good: 4 machines, 4 probes" in eggroom("check", "--config", str(sample))
    told = tmp_path / "told.toml"
    told.write_text(sample.read_text() + '\n[[contact]]\nid = "me"\nurl = "json://127.0.0.1/"\n')
    assert "1 contact," in eggroom(
        "check", "--config", str(told)
    )  # the notification library is there, and knows the address
    assert run(commands / "python", "-m", "pip", "check", cwd=tmp_path).stdout == "No broken requirements found.\n"


def test_what_it_asks_for(wheel: Path) -> None:
    """The wheel asks for the Python that the README promises, and for none of the tests' tools."""
    with zipfile.ZipFile(wheel) as archive:
        metadata = next(archive.read(name).decode() for name in archive.namelist() if name.endswith("METADATA"))
    plain = [line for line in metadata.splitlines() if line.startswith("Requires-Dist:") and "extra ==" not in line]
    assert "Requires-Python: >=3.11" in metadata
    assert _names(plain) == ["apprise", "apscheduler", "numpy", "paho-mqtt", "pydantic", "tzdata"]


def _names(lines: Sequence[str]) -> list[str]:
    return sorted(line.split()[1].partition("<")[0].partition(">")[0].partition("=")[0] for line in lines)
