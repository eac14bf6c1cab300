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


BY_POSITION = {  # where a value may be made of six and more without their names, and why
    "adapters/link": "with each message",
    "domain/air": "with each reading",
    "domain/alarms": "with each reading",
    "domain/readings": "with each reading",
    "domain/signs": "with each reading",
    "domain/state": "with each reading",
    "domain/watch": "with each reading",
    "domain/published/exposure.py": "a table",
    "rehearse/season_faults.py": "a table",
}
MOST_BY_POSITION = 5


def made_by_position(path: Path) -> Iterator[tuple[int, str]]:
    """(line, class) of each value that is made of more than MOST_BY_POSITION others without their names."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute):
            made = node.func.id if isinstance(node.func, ast.Name) else node.func.attr
            given = [each for each in node.args if not isinstance(each, ast.Starred)]
            if made.lstrip("_")[:1].isupper() and len(given) > MOST_BY_POSITION:
                yield node.lineno, made


def test_what_is_made_of_many_says_which_is_which() -> None:
    """A value of six and more is made by their names, but for tables, and where it is made with each reading; each exception is used."""
    found, used = [], set()
    for path in modules("."):
        within = path.relative_to(ROOT / "monitor")
        for line, made in made_by_position(path):
            if not (why := {str(within), str(within.parent)} & BY_POSITION.keys()):
                found.append(f"{within}:{line}: {made}")
            used |= why
    assert found == []
    assert used == set(BY_POSITION)


def test_a_value_made_of_many_is_seen(tmp_path: Path) -> None:
    """Six by position are found, in a class of a module too; five, names, and what is unpacked are not."""
    path = tmp_path / "m.py"
    path.write_text(
        "A(1, 2, 3, 4, 5)\n_B(1, 2, 3, 4, 5, 6)\nm.C(1, 2, 3, 4, 5, 6)\nA(*x, 2, 3, 4, 5, d=6)\nf(1, 2, 3, 4, 5, 6)\n"
    )
    assert list(made_by_position(path)) == [(2, "_B"), (3, "C")]


def test_these_tests_see_what_they_look_for(tmp_path: Path) -> None:
    """A module that prints and asks the time in each of the ways is found out."""
    path = tmp_path / "m.py"
    path.write_text(
        "import datetime as d, time\nfrom datetime import datetime\nfrom time import monotonic\n"
        "print(1)\ndatetime.now()\nd.datetime.now()\ntime.time()\nx = time.monotonic\n"
    )
    found = {(line, name) for line, owner, name in calls(path) if name in CLOCKS.get(owner, ()) or name == "print"}
    assert found == {(3, "monotonic"), (4, "print"), (5, "now"), (6, "now"), (7, "time"), (8, "monotonic")}
