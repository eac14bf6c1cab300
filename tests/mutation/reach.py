"""Which tests come to which function: a plugin for one run of a room's tests where nothing is wrong, and what it wrote down."""

from __future__ import annotations

import cProfile
import json
import os
import threading
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from types import CodeType, FrameType

import pytest


@dataclass(frozen=True, slots=True)
class Reach:
    """took_s: how long each test took; comes: "path::function" below the package -> the tests that come there; failed: tests that
    fail though nothing is wrong."""

    took_s: dict[str, float]
    comes: dict[str, list[str]]
    failed: list[str]


class Follow:
    """Notes the functions of the package that each test calls, and its seconds."""

    def __init__(self, package: Path, out: Path) -> None:
        self.below, self.out = str(package) + os.sep, out
        self.now: set[CodeType] = set()
        self.took_s: dict[str, float] = {}
        self.comes: dict[str, list[str]] = {}
        self.failed: list[str] = []

    def _called(self, frame: FrameType, event: str, argument: object) -> None:
        if event == "call":
            self.now.add(frame.f_code)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Follow one test with its fixtures: this thread by the profiler, which costs little, those it starts call by call."""
        self.now = set()
        calls = cProfile.Profile(subcalls=False, builtins=False)
        threading.setprofile(self._called)
        began = time.perf_counter()
        calls.enable()
        try:
            return (yield)
        finally:
            calls.disable()
            threading.setprofile(None)  # which is how it is turned off
            self.took_s[item.nodeid] = round(time.perf_counter() - began, 4)
            self.now.update(entry.code for entry in calls.getstats() if isinstance(entry.code, CodeType))
            for code in self.now:
                if code.co_filename.startswith(self.below):
                    where = code.co_qualname.replace(".<locals>", "")
                    where = ".".join(part for part in where.split(".") if not part.startswith("<"))
                    key = f"{code.co_filename[len(self.below) :]}::{where}"
                    tests = self.comes.setdefault(key, [])
                    if item.nodeid not in tests[-1:]:  # two pieces of one function
                        tests.append(item.nodeid)

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
        self.out.write_text(json.dumps(asdict(Reach(self.took_s, self.comes, self.failed))))


def reaching(reach: Reach, path: str, where: str) -> dict[str, float]:
    """The tests that come to a function, with their seconds; to a module's or class's own lines, which run once for all: every test."""
    comes = reach.comes.get(f"{path}::{where}") if where else None
    return {test: reach.took_s[test] for test in (reach.took_s if comes is None else comes)}
