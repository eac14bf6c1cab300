"""Which tests come to which function: a plugin for one run of the fast tests, and what it wrote down."""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FrameType

import pytest

Reach = dict[str, dict[str, float]]  # "path::function" below the package -> {test: how long it took, s}


class Follow:
    """Notes the functions of the package that each test calls, and its seconds."""

    def __init__(self, package: Path, out: Path) -> None:
        self.below, self.out = str(package) + os.sep, out
        self.now: set[CodeType] = set()
        self.reach: Reach = {}
        self.failed: set[str] = set()

    def _called(self, frame: FrameType, event: str, argument: object) -> None:
        self.now.add(frame.f_code)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Follow one test with its fixtures."""
        self.now = set()
        began = time.perf_counter()
        sys.settrace(self._called)  # what it gives back is None: no lines are followed
        threading.settrace(self._called)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            threading.settrace(None)
            took_s = round(time.perf_counter() - began, 4)
            for code in self.now:
                if code.co_filename.startswith(self.below):
                    where = code.co_qualname.replace(".<locals>", "")
                    where = ".".join(part for part in where.split(".") if not part.startswith("<"))
                    key = f"{code.co_filename[len(self.below) :]}::{where}"
                    self.reach.setdefault(key, {})[item.nodeid] = took_s

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """What fails by itself can notice nothing."""
        if not report.passed:
            self.failed.add(report.nodeid)

    def pytest_sessionfinish(self) -> None:
        """Write it down."""
        sound = {key: {t: s for t, s in tests.items() if t not in self.failed} for key, tests in self.reach.items()}
        self.out.write_text(json.dumps(sound))


def reaching(reach: Reach, path: str, where: str) -> dict[str, float]:
    """The tests that come to a function; for a module's own lines, all that come to the module."""
    if where:
        outermost = {key: tests for key, tests in reach.items() if key == f"{path}::{where}"}
        if outermost:
            return outermost[f"{path}::{where}"]
    found: dict[str, float] = {}
    for key, tests in reach.items():
        of, _, function = key.partition("::")
        if of == path and (not where or function.startswith(where) or where.startswith(function or "-")):
            found |= tests
    return found
