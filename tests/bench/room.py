"""What the rows start, and stop: a folder, a broker, the processes to be measured; and the readings of twelve probes.

Invented throughout: twelve setters, a node with one probe in each, hens' eggs in all of them, the air as it should be.
"""

from __future__ import annotations

import contextlib
import os
import queue
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests.receivers import free_port

ROOT = Path(__file__).resolve().parents[2]
SITE = "bench"
NODES = tuple(f"node-{letter}" for letter in "abcdefghijkl")
DRY_BULB_C, RH_PCT = 37.8, 57.0  # what hens' eggs need before lockdown: within every limit of the shipped profile
ANSWER_S = 60.0  # for a process to answer; a slow machine is slow, a hung one is an error


class Missing(Exception):
    """Something the row needs is not installed; one line."""


@contextlib.contextmanager
def folder() -> Iterator[Path]:
    """A new folder on the disk that TMPDIR names, removed at the end."""
    path = Path(tempfile.mkdtemp(prefix="eggroom-bench-"))
    try:
        yield path
    finally:
        shutil.rmtree(path, ignore_errors=True)


def wait_until(true: Any, what: str, within_s: float = ANSWER_S) -> None:
    """Poll until it is true; RuntimeError, with what was waited for, when it does not become so."""
    deadline = time.monotonic() + within_s
    while not true():
        if time.monotonic() > deadline:
            raise RuntimeError(f"waited {within_s:g} s for {what}")
        time.sleep(0.005)


@contextlib.contextmanager
def mosquitto(path: Path, max_inflight: int = 20) -> Iterator[int]:
    """The real broker, silent and without limits but this one, on a free port; yields the port."""
    program = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    if program is None:
        raise Missing("mosquitto is not installed (apt install mosquitto)")
    port = free_port()
    config = path / "mosquitto.conf"
    config.write_text(
        f"user root\nlistener {port} 127.0.0.1\nallow_anonymous true\nlog_type none\n"
        f"set_tcp_nodelay true\nmax_queued_messages 0\nmax_inflight_messages {max_inflight}\n"
    )
    with running([program, "-c", str(config)], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL):  # fmt: skip
        wait_until(lambda: _answers(port), "mosquitto")
        yield port


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@contextlib.contextmanager
def running(command: Sequence[str], **more: Any) -> Iterator[subprocess.Popen[str]]:
    """A process, ended as a service manager would, and killed if that does not help."""
    process = subprocess.Popen(command, text=True, **more)
    try:
        yield process
    finally:
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdout is not None:
            process.stdout.close()


def environment(path: Path) -> dict[str, str]:
    """For our processes: compiled files are kept in a folder of the bench's own, so that all start from compiled files alike."""
    found = {k: v for k, v in os.environ.items() if k not in ("PYTHONDONTWRITEBYTECODE", "EGGROOM_CONFIG")}
    return {**found, "PYTHONPYCACHEPREFIX": str(path / "pyc"), "PYTHONPATH": str(ROOT)}


class Receiver:
    """A process under measurement, asked by lines on its standard input; see `watch` for what it answers."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.pid = process.pid
        self._process = process
        self._lines: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._read, name="bench-reader", daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        with contextlib.suppress(ValueError):  # closed under our hands, at the end
            for line in self._process.stdout:
                self._lines.put(line)

    def say(self, words: str) -> None:
        """One line in."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{words}\n")
        self._process.stdin.flush()

    def answer(self, within_s: float = ANSWER_S) -> str:
        """The next line out."""
        try:
            return self._lines.get(timeout=within_s).strip()
        except queue.Empty:
            raise RuntimeError(f"no answer within {within_s:g} s (exit code {self._process.poll()})") from None

    def ask(self, words: str) -> str:
        """One line in, one line out."""
        self.say(words)
        return self.answer()


def cpu_s(pid: int) -> float:
    """Processor time that a process has used, all its threads, to the nanosecond (the kernel's clock of it: clock_getres(2))."""
    return time.clock_gettime((~pid << 3) | 2)


@contextlib.contextmanager
def receiver(path: Path, module: str, *arguments: str) -> Iterator[Receiver]:
    """A module of the bench as a process of its own; it has said that it is ready. stderr is kept in a file beside."""
    name = module.rpartition(".")[2]
    with (path / f"{name}.log").open("a") as log:
        command = [sys.executable, "-m", module, *arguments]
        pipe = subprocess.PIPE
        with running(command, stdin=pipe, stdout=pipe, stderr=log, env=environment(path), cwd=path) as process:
            started = Receiver(process)
            try:
                if (said := started.answer()) != "ready":
                    raise RuntimeError(f"{name} said {said!r}, expected ready")
            except RuntimeError as error:
                raise RuntimeError(f"{error}: {(path / f'{name}.log').read_text()[-800:]}") from error
            yield started


def write_house(path: Path, port: int, *, contact_url: str = "", rules: str = "") -> Path:
    """The configuration of the room, its record beside it; the eggs are set ten days ago."""
    lines = ["[site]", f'id = "{SITE}"', f'data = "{path / "data"}"', "[broker]", f"port = {port}"]
    for number, node in enumerate(NODES, start=1):
        lines += ["[[machine]]", f'id = "setter-{number}"', f'name = "Setter {number}"', 'kind = "setter"']
        lines += ["[[probe]]", f'node = "{node}"', 'probe = "top"', f'machine = "setter-{number}"', "interval_s = 10"]
    if contact_url:
        lines += ["[[contact]]", 'id = "phone"', f'url = "{contact_url}"']
    config = path / "eggroom.toml"
    config.write_text("\n".join([*lines, rules, ""]))
    _set_eggs(config)
    return config


def _set_eggs(config: Path) -> None:
    from monitor.app import Offline
    from monitor.settings import load_house

    set_at = (datetime.now(UTC) - timedelta(days=10)).isoformat(timespec="seconds")
    with Offline(load_house(config)) as offline:
        for number in range(1, len(NODES) + 1):
            request = {"do": "batch-add", "batch": f"hen-{number}", "profile": "chicken", "set_at": set_at}
            answer = offline.ask({**request, "machine": f"setter-{number}"})
            if "error" in answer:
                raise RuntimeError(answer["error"])


def settled(config: Path) -> None:
    """Wait until the daemon listens to its broker, and have it write what it began, so that its next group begins with our readings."""
    from monitor.adapters.door import DoorClosed, ask_door
    from monitor.app import door_path
    from monitor.settings import load_house

    door = door_path(load_house(config))

    def asked(words: str) -> dict[str, Any]:
        with contextlib.suppress(DoorClosed):
            return ask_door(door, {"do": words})
        return {}

    wait_until(lambda: asked("facts").get("broker_connected"), "the daemon to be connected")
    asked("room")


class Stream:
    """Readings of the twelve nodes in turn, each message once: distinct values, one start of each node, numbers that go on.

    In a flood `up` goes on by a second with each message of a node. Such a node looks like one whose count runs fast, which the
    dating takes as fresh as long as it gains less than a second a message; so every reading is judged, as in life.
    """

    def __init__(self, root: str) -> None:
        self._prefix = f"{root}/{SITE}"
        self._boot = random.randrange(2**30)
        self._count = 0
        self._seqs, self._ups = [-1] * len(NODES), [0] * len(NODES)

    def next(self, count: int, step_s: int = 1) -> list[tuple[str, bytes, tuple[str, int]]]:
        """The next messages, all nodes in turn: topic, payload and (node, seq). step_s: by how much `up` goes on."""
        found = []
        for number in range(self._count, self._count + count):
            dry, rh = DRY_BULB_C + (number % 7 - 3) * 0.01, RH_PCT + (number % 11 - 5) * 0.1
            place = number % len(NODES)
            topic, payload = self.one(place, dry, rh, step_s)
            found.append((topic, payload, (NODES[place], self._seqs[place])))
        self._count += count
        return found

    def one(self, place: int, dry_bulb_c: float, rh_pct: float, step_s: int = 1) -> tuple[str, bytes]:
        """The next message of one node: topic and payload."""
        self._seqs[place] += 1
        self._ups[place] += step_s
        node, seq, up = NODES[place], self._seqs[place], self._ups[place]
        payload = (
            f'[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{dry_bulb_c:.2f},"boot":{self._boot},"seq":{seq},"up":{up}}},'
            f'{{"n":"top/rh","u":"%RH","v":{rh_pct:.1f}}}]'
        )
        return f"{self._prefix}/{node}/air", payload.encode()
