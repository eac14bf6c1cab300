"""The habits that a program can check: lint, format and types; who may print; who may ask the time."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TOP = {"__main__.py", "app.py", "settings.py", "cli", "rehearse"}
CLOCKS = {
    "datetime": {"now", "utcnow", "today"},
    "date": {"today"},
    "time": {"time", "time_ns", "monotonic", "monotonic_ns", "perf_counter", "perf_counter_ns", "localtime", "gmtime"},
}


@pytest.mark.parametrize(
    "arguments", [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]], ids=["lint", "format", "types"]
)
def test_the_tools_are_content(arguments: list[str]) -> None:
    """ruff and mypy --strict, with the settings in pyproject.toml, have nothing to say."""
    done = subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, capture_output=True, text=True, timeout=110)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr


def calls(path: Path) -> Iterator[tuple[int, str, str]]:
    """(line, owner, name) of each call in a module: `datetime.now()` is ("datetime", "now"), `print()` is ("", "print")."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute):
            owner = node.value
            yield node.lineno, owner.attr if isinstance(owner, ast.Attribute) else getattr(owner, "id", "?"), node.attr
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            yield node.lineno, "", node.func.id
        elif isinstance(node, ast.ImportFrom) and node.module in CLOCKS:
            yield from ((node.lineno, node.module, alias.name) for alias in node.names)


def modules(*floors: str) -> list[Path]:
    found = sorted(path for floor in floors for path in (ROOT / "monitor" / floor).rglob("*.py"))
    assert found
    return found


def test_only_the_top_floor_prints() -> None:
    """Below the top floor nothing is printed: what there is to say goes up as a value, or into the log."""
    found = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in modules(".")
        if path.relative_to(ROOT / "monitor").parts[0] not in TOP
        for line, owner, name in calls(path)
        if (owner, name) in {("", "print"), ("sys", "stdout"), ("sys", "stderr")}
    ]
    assert found == []


def test_the_clock_is_handed_in() -> None:
    """One module asks the machine for the time; everybody else is handed the clock."""
    found = [
        f"{path.relative_to(ROOT)}:{line}: {owner}.{name}"
        for path in modules(".")
        if path != ROOT / "monitor" / "adapters" / "clock.py"
        for line, owner, name in calls(path)
        if name in CLOCKS.get(owner, ())
    ]
    assert found == []


def test_these_tests_see_what_they_look_for(tmp_path: Path) -> None:
    """A module that prints and asks the time in each of the ways is found out."""
    path = tmp_path / "m.py"
    path.write_text(
        "import datetime as d, time\nfrom datetime import datetime\nfrom time import monotonic\n"
        "print(1)\ndatetime.now()\nd.datetime.now()\ntime.time()\nx = time.monotonic\n"
    )
    found = {(line, name) for line, owner, name in calls(path) if name in CLOCKS.get(owner, ()) or name == "print"}
    assert found == {(3, "monotonic"), (4, "print"), (5, "now"), (6, "now"), (7, "time"), (8, "monotonic")}
