"""One copy of the sources each, and in it one mistake after another: what the tests say of it."""

from __future__ import annotations

import importlib
import os
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.mutation.operators import Mistake, mistaken
from tests.mutation.reach import Follow, Reach, reaching
from tests.mutation.rooms import PACKAGE, ROOT

SLOW_TEST_S = 2.0  # a test that takes longer is asked only of what all others let pass
BUDGET_S = 20.0  # of tests, by what they took when nothing was wrong; half of it of the mirroring file, for whose some are slow
REST_S = 120.0  # of tests that came too late for that, asked of what is still alive then
NOTICED, HUNG, ALIVE, UNREACHED = "noticed", "hung", "alive", "unreached"
# What every child would import again; never anything of the package itself.
BEFORE = (
    "numpy",
    "pydantic",
    "hypothesis",
    "zoneinfo",
    "sqlite3",
    "paho.mqtt.client",
    "_pytest.assertion.rewrite",
    "tomllib",
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a mistake. tests: how many were to be asked; left: how many more come there and were not (slow, or too many)."""

    mistake: Mistake
    verdict: str
    tests: int
    left: int


class Bench:
    """A copy of package and tests in a folder of its own; the tree itself is never touched."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        leave = shutil.ignore_patterns("__pycache__", "*.pyc")
        for name in (PACKAGE, "tests", "deploy", "demo_streams", "firmware_stub"):
            shutil.copytree(ROOT / name, folder / name, ignore=leave)
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md"):
            shutil.copy(ROOT / name, folder / name)

    def run(self, arguments: Sequence[str], timeout_s: float, plugins: Sequence[object] = ()) -> int | None:
        """pytest's exit code in a child of its own, which is stopped at the first failure; None if it did not end in time."""
        child = os.fork()
        if child == 0:
            try:
                os.setsid()
                os._exit(self._child(arguments, plugins))
            finally:
                os._exit(70)
        return _waited(child, timeout_s)

    def _child(self, arguments: Sequence[str], plugins: Sequence[object]) -> int:
        sys.stdout = sys.stderr = open(os.devnull, "w")  # noqa: SIM115  # until the child ends
        os.chdir(self.folder)
        sys.path.insert(0, str(self.folder))
        os.environ["PYTHONPATH"] = str(self.folder)  # the commands that tests start
        for name in [name for name in sys.modules if name.partition(".")[0] in ("tests", PACKAGE)]:
            del sys.modules[name]
        from hypothesis import HealthCheck, settings

        # The same examples in every run, no clock, no memory of failures: else one mistake would colour the next.
        settings.register_profile(
            "planted",
            deadline=None,
            derandomize=True,
            database=None,
            max_examples=60,
            suppress_health_check=[HealthCheck.too_slow],
        )
        settings.load_profile("planted")
        return int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--no-header", *arguments], [*plugins]))

    def plant(self, mistake: Mistake) -> None:
        """Into the copy."""
        target = self.folder / PACKAGE / mistake.path
        source = (ROOT / PACKAGE / mistake.path).read_text(encoding="utf-8")
        target.write_text(mistaken(source, mistake), encoding="utf-8")
        _forget(target)

    def mend(self, mistake: Mistake) -> None:
        """As it is in the tree."""
        target = self.folder / PACKAGE / mistake.path
        target.write_bytes((ROOT / PACKAGE / mistake.path).read_bytes())
        _forget(target)


def _forget(target: Path) -> None:
    """A module's compiled form, which is known by second and size only and would outlive a change within the second."""
    for compiled in (target.parent / "__pycache__").glob(f"{target.stem}.*.pyc"):
        compiled.unlink()


def _waited(child: int, timeout_s: float) -> int | None:
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.01)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def warm() -> None:
    """Import once what every child needs."""
    for name in BEFORE:
        importlib.import_module(name)


def collect(out: Path, tests: Sequence[str], timeout_s: float = 1800.0) -> None:
    """Run the tests once in a copy where nothing is wrong, and write down who comes where."""
    with tempfile.TemporaryDirectory(prefix="planted-") as folder:
        bench = Bench(Path(folder))
        bench.run(["--maxfail=0", "--timeout=0", *tests], timeout_s, [Follow(bench.folder / PACKAGE, out)])


def chosen(reach: Reach, mistake: Mistake) -> tuple[list[str], int, float]:
    """(the tests to ask, quick ones of the mirroring file first, then of each file in turn, those beside it first; how many more there are;
    seconds they took)."""
    found = reaching(reach, mistake.path, mistake.where)
    stem = mistake.path.rpartition("/")[2].removesuffix(".py")
    home = f"tests/{mistake.path.rpartition('/')[0]}/"
    turn: dict[str, int] = {}
    of_file: Counter[str] = Counter()
    for test in sorted(found, key=lambda t: found[t]):
        file = test.partition("::")[0]
        turn[test] = of_file[file]
        of_file[file] += 1
    mirror = [test for test in turn if test.startswith(f"{home}test_{stem}.py")]
    others = sorted(turn, key=lambda t: (turn[t], not t.startswith(home)))
    asked: dict[str, None] = {}
    took_s = 0.0
    for tests, until_s in ((mirror, BUDGET_S / 2.0), (others, BUDGET_S)):
        for test in tests:
            quick = found[test] <= SLOW_TEST_S and took_s + found[test] <= until_s
            if test not in asked and quick:
                asked[test] = None
                took_s += found[test]
    return [*asked], len(found) - len(asked), took_s


def rest(reach: Reach, mistake: Mistake, asked: Sequence[str]) -> tuple[list[str], float]:
    """(the tests that come there and were not asked, those beside it first and the quickest of them, as far as their time goes; seconds
    they took)."""
    found = reaching(reach, mistake.path, mistake.where)
    home = f"tests/{mistake.path.rpartition('/')[0]}/"
    later: list[str] = []
    took_s = 0.0
    for test in sorted(found.keys() - {*asked}, key=lambda t: (not t.startswith(home), found[t])):
        if took_s + found[test] <= REST_S:
            later.append(test)
            took_s += found[test]
    return later, took_s


def tried(bench: Bench, mistake: Mistake, reach: Reach, *, slow: bool = True) -> Outcome:
    """Plant one, ask the tests that come there, those that take long (slow) only if no other noticed it, mend."""
    asked, left, took_s = chosen(reach, mistake)
    code: int | None = 0
    bench.plant(mistake)
    try:
        if asked:
            code = bench.run(["--timeout=0", *asked], 60.0 + 10.0 * took_s)
        if code == 0 and left and slow:
            later, took_s = rest(reach, mistake, asked)
            asked, left = [*asked, *later], left - len(later)
            if later:
                code = bench.run(["--timeout=0", *later], 60.0 + 10.0 * took_s)
    finally:
        bench.mend(mistake)
    verdict = UNREACHED if not asked else HUNG if code is None else ALIVE if code == 0 else NOTICED
    return Outcome(mistake, verdict, len(asked), left)
