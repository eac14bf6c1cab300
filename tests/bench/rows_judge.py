"""Rows 14 to 16: the judge alone, without broker, disk or clock: what a reading costs, how fast days go by, and how that grows.

The judge waits for nothing, so what counts is the time that its thread ran: another program's turn on the core is no part of it.
"""

from __future__ import annotations

import math
import random
import time
from datetime import timedelta
from functools import partial

from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.domain.needs.site import Machine
from monitor.domain.readings.reading import Now, Pack, Sample
from monitor.domain.state.known import Look, State
from monitor.domain.state.record import Group
from monitor.domain.watch.due import due_mono_s
from monitor.domain.watch.evaluate import hear, tick
from tests.bench.pairs import Goal, Result, calibrate, measure, ratio_of
from tests.domain.house import T0, batch, probes, site

NODES = 4  # of three probes each, each node in a machine of its own with a batch: the room of twelve probes
YEAR_DAYS = 365.0
# Turns of the calibration loop: a twelfth of what a year at ten seconds took of the judge of 2026-11-25 (95,000, in turns with that code), which is
# 150 s on a core where that took half an hour.
A_YEAR = 7_900.0
MONO0_S = 1_000.0


class Room:
    """Machines with their eggs in calm air, every probe alive, driven as fast as it goes."""

    def __init__(self, machines: int = NODES, each: int = 3, interval_s: float = 60.0, day: float = 1.0) -> None:
        names = [f"m-{i}" for i in range(machines)]
        keys = [(f"n-{i}/p{j}", name) for i, name in enumerate(names) for j in range(each)]
        places = {name: Machine(name, name) for name in names}
        self.site = site(probes(*keys, interval_s=interval_s), machines=places)
        self.interval_s = interval_s
        self.readings = machines * each
        self.state = State(0.0, True, MONO0_S)
        self.state.anchor_ms = T0.timestamp() * 1000.0 - MONO0_S * 1000.0
        self.state.batches = {f"b-{i}": batch(f"b-{i}", machine=name, day=day) for i, name in enumerate(names)}
        draw = random.Random(14)
        self._air = [
            tuple(Sample(f"p{j}", 37.5 + draw.gauss(0.0, 0.02), 45.0 + draw.gauss(0.0, 0.1)) for j in range(each))
            for _ in range(997)  # a prime, so that no node repeats another
        ]
        self._nodes = [f"n-{i}" for i in range(machines)]
        self.round = 0
        self.decided = 0

    def rounds(self, count: int) -> float:
        """So many readings of every probe; seconds that it ran."""
        state, house, air, nodes = self.state, self.site, self._air, self._nodes
        began = time.thread_time()
        for _ in range(count):
            self.round += 1
            passed_s = self.round * self.interval_s
            now = Now(MONO0_S + passed_s, T0 + timedelta(seconds=passed_s))
            out = Group()
            look = Look(state, house, now, out)
            if due_mono_s(look) <= now.mono_s:
                tick(look)
            for i, node in enumerate(nodes):
                samples = air[(self.round * 7 + i * 131) % 997]
                hear(look, Pack(node, samples, 7, self.round, int(passed_s)))
            self.decided += len(out.transitions)
        return time.thread_time() - began


def cost(pairs: int, rounds: int) -> list[Result]:
    """Row 14: one judged reading against one wet bulb by itself, both in plain floats."""
    room = Room()
    room.rounds(300)

    def ours() -> float:
        return room.rounds(rounds) / (rounds * room.readings)

    def theirs() -> float:
        began = time.thread_time()
        for n in range(rounds * 10):
            wet_bulb_c(37.5 + (n % 7) * 0.01, 45.0 + (n % 11) * 0.1, 101.325)
        return (time.thread_time() - began) / (rounds * 10)

    found = measure(ours, theirs, pairs)
    what = "cost of one judged reading, of twelve probes in four machines"
    shown = lambda s: f"{s * 1e6:.1f} µs"  # noqa: E731
    return [ratio_of("14", what, "one wet bulb", Goal(12.0), found, shown=shown, note=_calm(room))]


def speed(pairs: int, rounds: int) -> list[Result]:
    """Row 15: a year of the room on one core, each probe speaking every minute, in turns of the calibration loop beside it: its seconds are
    printed, and are those of this machine as it is now. Every 5 min and 10 s beside."""
    notes = []
    for interval_s in (300.0, 10.0):
        room = Room(interval_s=interval_s)
        room.rounds(200)
        least_s = min(_year_s(room, rounds) for _ in range(3))
        notes.append(f"every {interval_s:g} s: a year in {least_s:,.0f} s")
    room = Room()
    room.rounds(200)
    found = measure(lambda: _year_s(room, rounds), lambda: calibrate(time.thread_time), pairs)
    least_s = min(p.ours for p in found)
    notes.insert(
        0, f"at best {room.readings * YEAR_DAYS / least_s:,.0f} probe-days a second, a year in {least_s:,.0f} s"
    )
    what = "a year of twelve probes through the whole judge, one core, a reading every minute"
    shown = lambda s: f"{s:.3g} s"  # noqa: E731
    return [ratio_of("15", what, "the calibration loop", Goal(A_YEAR), found, shown=shown, note="; ".join(notes))]


def _year_s(room: Room, rounds: int) -> float:
    """Seconds for a year of that room."""
    return YEAR_DAYS * 86_400.0 * room.rounds(rounds) / (rounds * room.interval_s)


def growth(rounds: int, days: int) -> list[Result]:
    """Row 16: cost by the number of machines, and by how long the judge has run."""
    sizes = (2, 4, 8, 16, 32)
    times = []
    for machines in sizes:
        room = Room(machines, 1)
        room.rounds(100)
        times.append(min(room.rounds(max(20, rounds // machines)) / max(20, rounds // machines) for _ in range(3)))
    of_machines = _exponent([float(s) for s in sizes], times)
    # Ends before lockdown: from then on an alarm stands in this air, and not only the past has grown.
    room = Room(2, 1, day=0.0)
    window = partial(room.rounds, min(rounds, 250))
    room.rounds(1_440)
    early = min(window() for _ in range(5))
    room.rounds(1_440 * days)
    late = min(window() for _ in range(5))
    of_history = math.log(late / early) / math.log(1.0 + days)
    note = (
        f"exponents: machines {of_machines:.3f} (2 to 32), history {of_history:.3f} (1 to {days + 1} days of minutes)"
    )
    wrong = "" if of_history <= 0.1 else f"a judged reading costs more after {days} days: exponent {of_history:.3f}"
    if any(alarm.condition for alarm in room.state.alarms.values()):
        wrong = "an alarm stands at the end: not only the past has grown"
    what = "growth of the judge's cost with the number of machines; none with history"
    return [Result("16", what, "itself", Goal(1.1), of_machines, "exponent", note=note, wrong=wrong)]


def _calm(room: Room) -> str:
    return f"{room.decided} transitions meanwhile"


def _exponent(sizes: list[float], times: list[float]) -> float:
    """The slope of log time over log size, by least squares."""
    x, y = [math.log(s) for s in sizes], [math.log(t) for t in times]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    up = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
    return up / sum((a - mean_x) ** 2 for a in x)
