"""Which tests come to which function: a plugin for one run of a room's tests where nothing is wrong, and what it wrote down."""

from __future__ import annotations

import contextlib
import cProfile
import json
import os
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from types import CodeType, FrameType

import pytest


@dataclass(frozen=True, slots=True)
class Reach:
    """took_s: how long each test took; comes: "path::function" below the package -> the tests that come there; early: what is called
    while files are read in, as for a constant, and bears on any test; failed: tests that fail though nothing is wrong."""

    took_s: dict[str, float]
    comes: dict[str, list[str]]
    early: list[str]
    failed: list[str]


def together(reaches: Sequence[Reach]) -> Reach:
    """Those of several runs as one."""
    comes: dict[str, list[str]] = {}
    for reach in reaches:
        for key, tests in reach.comes.items():
            comes.setdefault(key, []).extend(tests)
    early = sorted({key for reach in reaches for key in reach.early})
    took_s = {test: s for reach in reaches for test, s in reach.took_s.items()}
    return Reach(took_s, comes, early, [test for reach in reaches for test in reach.failed])


class Follow:
    """Notes the functions of the package that each test calls, and its seconds of a core, which other programs do not lengthen."""

    def __init__(self, package: Path, out: Path) -> None:
        self.below, self.out = str(package) + os.sep, out
        self.now: set[CodeType] = set()
        self.took_s: dict[str, float] = {}
        self.comes: dict[str, list[str]] = {}
        self.failed: list[str] = []
        self.early: set[str] = set()

    def _called(self, frame: FrameType, event: str, argument: object) -> None:
        if event == "call":
            self.now.add(frame.f_code)

    @contextlib.contextmanager
    def _followed(self) -> Iterator[None]:
        """This thread by the profiler, which costs little, those it starts call by call."""
        self.now = set()
        calls = cProfile.Profile(subcalls=False, builtins=False)
        threading.setprofile(self._called)
        calls.enable()
        try:
            yield
        finally:
            calls.disable()
            threading.setprofile(None)  # which is how it is turned off
            self.now.update(entry.code for entry in calls.getstats() if isinstance(entry.code, CodeType))

    def _functions(self) -> set[str]:
        """What was called, as "path::function"."""
        found = set()
        for code in self.now:
            if code.co_filename.startswith(self.below):
                parts = code.co_qualname.replace(".<locals>", "").split(".")
                where = ".".join(part for part in parts if not part.startswith("<"))
                found.add(f"{code.co_filename[len(self.below) :]}::{where}")
        return found

    @pytest.hookimpl(wrapper=True)
    def pytest_collection(self, session: pytest.Session) -> Iterator[None]:
        """Follow the reading of the files."""
        with self._followed():
            result = yield
        self.early = self._functions()
        return result

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Follow one test with its fixtures."""
        began_s = time.process_time()
        with self._followed():
            result = yield
        self.took_s[item.nodeid] = round(time.process_time() - began_s, 4)
        for key in self._functions():
            self.comes.setdefault(key, []).append(item.nodeid)
        return result

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """A file that cannot be read is asked nothing."""
        if report.failed:
            self.failed.append(report.nodeid)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """What fails by itself can notice nothing."""
        if report.failed:
            self.failed.append(report.nodeid)

    def pytest_sessionfinish(self) -> None:
        """Write it down."""
        self.out.write_text(json.dumps(asdict(Reach(self.took_s, self.comes, sorted(self.early), self.failed))))


def reaching(reach: Reach, path: str, where: str) -> dict[str, float]:
    """The tests that come to a function, with their seconds; to a module's or class's own lines, which run once for all, and to what they
    call: every test."""
    key = f"{path}::{where}"
    comes = None if not where or key in reach.early else reach.comes.get(key)
    return {test: reach.took_s[test] for test in (reach.took_s if comes is None else comes)}
