"""Rows 1 to 4: readings through a broker to a durable record, beside a bare loop of the same parts."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

from tests.bench.pairs import Goal, Pair, Result, measure, percentile, ratio_of
from tests.bench.publisher import Publisher, packets, publisher
from tests.bench.room import Receiver, Stream, cpu_s, folder, mosquitto, receiver, settled, write_house
from tests.bench.strict_broker import WINDOW, StrictBroker

R2 = "bare loop of the same parts"
MAX_INFLIGHT = 20_000  # the broker's window in rows 1 to 3: so that the receivers are measured, and not the window
RATE = 1_000.0
FLUSH_S, BESIDE_FLUSH_S = 0.020, 0.005
GROUP = 20


@dataclass(slots=True)
class _Side:
    """One receiver, what is sent to it, and how much was."""

    receiver: Receiver
    stream: Stream
    sent: int = 0
    rates: list[float] = field(default_factory=list)  # the writer's own, in each flood


@contextlib.contextmanager
def _both() -> Iterator[tuple[_Side, _Side, Publisher, Path]]:
    """The daemon and the reference behind one broker, both ready, and a writer."""
    with folder() as path, mosquitto(path, MAX_INFLIGHT) as port:
        config = write_house(path, port)
        with (
            receiver(path, "tests.bench.worker", str(config)) as daemon,
            receiver(path, "tests.bench.bare", str(port), str(path / "bare.db")) as bare,
            publisher(port) as writer,
        ):
            settled(config)
            yield _Side(daemon, Stream("eggroom")), _Side(bare, Stream("bare")), writer, path


def flood(pairs: int, count: int) -> list[Result]:
    """Row 1. count: messages in a slice, a multiple of 20."""
    with _both() as (ours, theirs, writer, path):
        for side in (ours, theirs):
            _flood(side, writer, count)
        found = measure(lambda: _flood(ours, writer, count), lambda: _flood(theirs, writer, count), pairs)
        for side in (ours, theirs):  # what is left over is written when it is old
            side.receiver.ask(f"expect {side.sent}")
            side.receiver.answer()
        kept = (_count(path / "data" / "eggroom.db"), _count(path / "bare.db"))
    wrong = "" if kept == (ours.sent, theirs.sent) else f"{kept} rows of {(ours.sent, theirs.sent)} messages"
    note = f"the writer alone: {median(ours.rates):,.0f} and {median(theirs.rates):,.0f} a second"
    what = "QoS 1 readings a second: received, judged, durable, acknowledged"
    return [ratio_of("1", what, R2, Goal(0.6, at_least=True), found, shown="{:,.0f}/s".format, note=note, wrong=wrong)]


def _flood(side: _Side, writer: Publisher, count: int) -> float:
    """Messages a second from the first byte written to the last acknowledgement. A group more is sent than is counted: what is
    left over of a group waits for its age, which is no matter of speed."""
    made = packets(side.stream.next(count + GROUP))
    side.receiver.ask(f"expect {side.sent + count}")
    began, rate = writer.flood(made)
    reached = float(side.receiver.answer().removeprefix("reached "))
    side.rates.append(rate)
    side.sent += len(made)
    return count / (reached - began)


def paced(pairs: int, seconds: float, rows: frozenset[str]) -> list[Result]:
    """Rows 2 and 3, from the same slices."""
    with _both() as (ours, theirs, writer, _):
        for side in (ours, theirs):
            _paced(side, writer, 1.0)
        found = measure(lambda: _paced(ours, writer, seconds), lambda: _paced(theirs, writer, seconds), pairs)
    results = []
    if "2" in rows:
        what = "CPU for a million readings at 1,000 a second"
        results.append(ratio_of("2", what, R2, Goal(1.7, 1.5), found, lambda s: s.cpu_s_per_million, "{:.0f} s".format))
    if "3" in rows:
        note = f"p50 {_p50(found, True):.2f} ms, reference {_p50(found, False):.2f} ms"
        what = "publish to decision at 1,000 a second, p99"
        results.append(ratio_of("3", what, R2, Goal(3.0, 2.0), found, lambda s: s.p99_ms, "{:.2f} ms".format, note))
    return results


@dataclass(frozen=True, slots=True)
class _Slice:
    cpu_s_per_million: float
    p50_ms: float
    p99_ms: float


def _p50(pairs: list[Pair], ours: bool) -> float:
    return float(median((p.ours if ours else p.theirs).p50_ms for p in pairs))


def _paced(side: _Side, writer: Publisher, seconds: float) -> _Slice:
    messages = side.stream.next(round(RATE * seconds / GROUP) * GROUP)
    made = packets(messages)
    side.receiver.ask(f"expect {side.sent + len(made)}")
    side.sent += len(made)
    before = cpu_s(side.receiver.pid)
    published = writer.paced(made, RATE)
    side.receiver.answer()
    used_s = cpu_s(side.receiver.pid) - before
    decided = json.loads(side.receiver.ask("times"))
    waits = [
        1000.0 * (decided[f"{node} {seq}"] - at) for (_, _, (node, seq)), at in zip(messages, published, strict=True)
    ]
    return _Slice(1e6 * used_s / len(made), percentile(waits, 0.5), percentile(waits, 0.99))


def strict(pairs: int, count: int) -> list[Result]:
    """Row 4. count: messages in a slice, a multiple of 20."""
    with folder() as path, StrictBroker() as broker:
        config = write_house(path, broker.port)
        with receiver(path, "tests.bench.worker", str(config), str(FLUSH_S)):
            settled(config)
            stream = Stream("eggroom")

            def ours() -> float:
                before = broker.acknowledged
                began = time.monotonic()
                broker.offer([(topic, payload) for topic, payload, _ in stream.next(count)])
                return count / (broker.wait_acknowledged(before + count) - began)

            ours()
            found = measure(ours, lambda: WINDOW / (FLUSH_S + _flush_s(path) + BESIDE_FLUSH_S), pairs)
    wrong = (
        ""
        if broker.most_in_flight <= WINDOW
        else f"{broker.most_in_flight} in flight, the bench's broker is not strict"
    )
    what = "messages a second behind a strict broker, window 20, flush slowed by 20 ms"
    reference = "20 / (flush + 5 ms)"
    note = "the flush is slowed by a wait before each commit"
    return [
        ratio_of("4", what, reference, Goal(0.6, at_least=True), found, shown="{:.0f}/s".format, note=note, wrong=wrong)
    ]


def _flush_s(path: Path) -> float:
    """What a flush of 4 KiB takes on this disk."""
    times = []
    with (path / "flush").open("wb", buffering=0) as file:
        for _ in range(21):
            file.seek(0)
            file.write(os.urandom(4096))
            began = time.perf_counter()
            os.fdatasync(file.fileno())
            times.append(time.perf_counter() - began)
    return median(times)


def _count(path: Path) -> int:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("SELECT count(*) FROM reading").fetchone()[0])
