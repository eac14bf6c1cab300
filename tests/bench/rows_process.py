"""Rows 12 and 13: the daemon's process as it stands on a small board: how soon it is there, and what it takes when nothing happens."""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

from tests.bench.pairs import Goal, Result, measure, ratio_of
from tests.bench.publisher import Publisher, packets, publisher
from tests.bench.room import (
    NODES,
    Receiver,
    Stream,
    cpu_s,
    environment,
    folder,
    mosquitto,
    receiver,
    running,
    settled,
    write_house,
)
from tests.bench.strict_broker import StrictBroker

# Since version 2 `import pydantic` alone loads next to nothing; BaseModel, which every program that uses it needs, loads the rest.
IMPORTS = "import paho.mqtt.client, sqlite3; from pydantic import BaseModel"
LAZY_IMPORTS = "import paho.mqtt.client, sqlite3, pydantic"
REFERENCE = "importing paho, sqlite3 and pydantic's BaseModel"
HEAVY = ("apprise", "numpy", "matplotlib", "amqtt", "scipy")
HEAVY_FILES = re.compile(rb"/(numpy|matplotlib|scipy|PIL|CoolProp)[/.][^\n]*\.so")
INTERVAL_S = 10.0
FLAT_KB = 1_024  # a leak of 26 bytes a reading shows as this much over 40,000 of them
BURST = 20_000
BURSTS, FILLING = 8, 5  # the first ones fill SQLite's own cache (2 MB); over the rest nothing may grow


def start(pairs: int) -> list[Result]:
    """Row 12, its time: from the command to its SUBSCRIBE at the broker, a restart on a record that is there already."""
    with folder() as path, StrictBroker() as broker:
        config = write_house(path, broker.port)
        command = _command(config)

        def ours() -> tuple[float, float]:
            broker.subscribed.clear()
            began = time.monotonic()
            with (path / "daemon.log").open("a") as log, running(command, stderr=log, env=environment(path)):
                if not broker.subscribed.wait(60):
                    raise RuntimeError(f"not ready: {(path / 'daemon.log').read_text()[-800:]}")
                return (broker.subscribed_at - began,) * 2

        def theirs() -> tuple[float, float]:
            return _import_s(path, IMPORTS), _import_s(path, LAZY_IMPORTS)

        ours(), theirs()  # compiled files are there now
        found = measure(ours, theirs, pairs)
    shown = lambda s: f"{s * 1e3:.0f} ms"  # noqa: E731
    what = "from the command `eggroom run` to being subscribed"
    note = f"{median(p.ours[1] / p.theirs[1] for p in found):.3g} x with `import pydantic` alone, which loads next to nothing"
    return [ratio_of("12", what, REFERENCE, Goal(1.8), found, lambda s: s[0], shown, note)]


def _import_s(path: Path, code: str) -> float:
    began = time.monotonic()
    subprocess.run([sys.executable, "-c", code], env=environment(path), check=True)
    return time.monotonic() - began


def rest(seconds: float, burst: int, rows: frozenset[str]) -> list[Result]:
    """Row 12, its memory and modules, and row 13: twelve probes each ten seconds; then, for flatness, thousands of readings at once."""
    with folder() as path, mosquitto(path) as port:
        config = write_house(path, port)
        with (
            (path / "daemon.log").open("w") as log,
            running(_command(config), stderr=log, env=environment(path)) as daemon,
            publisher(port) as writer,
        ):
            settled(config)
            stream = Stream("eggroom")
            with _nodes(writer, stream):
                time.sleep(min(5.0, seconds / 2))
                began, before = time.monotonic(), cpu_s(daemon.pid)
                time.sleep(seconds)
                share = (cpu_s(daemon.pid) - before) / (time.monotonic() - began)
                resting_kb = _rss_kb(daemon.pid)
            maps = Path(f"/proc/{daemon.pid}/maps").read_bytes()
            heavy = sorted({m.group().decode() for m in HEAVY_FILES.finditer(maps)})
            levels = [_after_burst(path, daemon.pid, writer, stream, burst, number) for number in range(1, BURSTS + 1)]
        bare_kb, lazy_kb = (_bare_rss_kb(path, code) for code in (IMPORTS, LAZY_IMPORTS))
        loaded = _modules(path, config)
    heavy += sorted(set(HEAVY) & loaded)
    grown_kb = levels[-1] - levels[FILLING - 1]
    results = []
    if "12" in rows:
        troubles = [f"loaded at rest: {', '.join(heavy)}"] if heavy else []
        if grown_kb > FLAT_KB:
            troubles.append(f"grew by {grown_kb} kB from {FILLING * burst:,} to {BURSTS * burst:,} readings")
        mb = [f"{kb / 1024:.1f}" for kb in (resting_kb, bare_kb, *levels)]
        note = (
            f"then {burst:,} readings at once, {BURSTS} times: {', '.join(mb[2:])} MB; not loaded: {', '.join(HEAVY)};"
            f" {resting_kb / lazy_kb:.3g} x with `import pydantic` alone"
        )
        what = f"memory (RSS) of `eggroom run` after {seconds:g} s at rest, 12 probes every 10 s"
        goal, wrong = Goal(1.8), "; ".join(troubles)
        ours, theirs = f"{mb[0]} MB", f"{mb[1]} MB"
        results.append(Result("12", what, REFERENCE, goal, resting_kb / bare_kb, ours=ours, theirs=theirs, note=note, wrong=wrong))  # fmt: skip
    if "13" in rows:
        what = f"CPU at rest, 12 probes every 10 s, over {seconds:g} s"
        results.append(Result("13", what, "none", Goal(2.0), 100.0 * share, "% of a core"))
    return results


def _command(config: Path) -> list[str]:
    return [sys.executable, "-m", "monitor", "run", "--config", str(config)]


@contextlib.contextmanager
def _nodes(writer: Publisher, stream: Stream) -> Iterator[None]:
    """Twelve nodes that speak in turn, each every ten seconds."""
    ended = threading.Event()

    def speak() -> None:
        while not ended.wait(INTERVAL_S / len(NODES)):
            writer.flood(packets(stream.next(1, step_s=int(INTERVAL_S))))

    thread = threading.Thread(target=speak, name="bench-nodes", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _after_burst(path: Path, pid: int, writer: Publisher, stream: Stream, burst: int, number: int) -> int:
    """Memory once so many readings have been written."""
    writer.flood(packets(stream.next(burst)))
    deadline = time.monotonic() + 120
    with contextlib.closing(sqlite3.connect(f"file:{path / 'data' / 'eggroom.db'}?mode=ro", uri=True)) as record:
        while record.execute("SELECT count(*) FROM reading").fetchone()[0] < number * burst:
            if time.monotonic() > deadline:
                raise RuntimeError(f"burst {number} of {burst} readings was not written within 120 s")
            time.sleep(0.2)
    time.sleep(0.5)
    return _rss_kb(pid)


def _rss_kb(pid: int) -> int:
    found = re.search(r"^VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text(), re.MULTILINE)
    assert found is not None
    return int(found.group(1))


def _bare_rss_kb(path: Path, imports: str) -> int:
    code = f"{imports}; print('ready', flush=True); input()"
    pipe = subprocess.PIPE
    with running([sys.executable, "-c", code], stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, env=environment(path)) as process:  # fmt: skip
        Receiver(process).answer()
        return _rss_kb(process.pid)


def _modules(path: Path, config: Path) -> set[str]:
    """What a daemon has loaded once it works, by the first part of the name. Asked of the bench's worker, which imports nothing more."""
    with receiver(path, "tests.bench.worker", str(config)) as worker:
        settled(config)
        return {name.partition(".")[0] for name in json.loads(worker.ask("modules"))}
