"""The sequences: what a house, its people, its clock and its power do to the alarms, in any order."""

from __future__ import annotations

import tempfile
import traceback
from collections import Counter
from datetime import timedelta
from pathlib import Path
from typing import ClassVar

from hypothesis import HealthCheck, Phase, settings
from hypothesis import seed as seeded
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from monitor.adapters.store.connection import Opened, open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.service.ports import Ledger
from tests.fakes import MemoryStore
from tests.lifecycle.known import in_the_way
from tests.lifecycle.room import PROBES, Room

STEPS_EACH = 80

MACHINES = st.sampled_from(sorted(PROBES))
ANY = st.integers(0, 11)
# Each on its own side of a limit of either stage, and none on a limit or at the end of a deadband.
DRY_BULBS_C = st.sampled_from([35.2, 35.7, 36.2, 36.4, 36.8, 37.07, 37.3, 37.5, 37.7, 37.93, 38.2, 38.4, 38.83, 39.3])
# Beyond an alarm's limit, and back: well within where the deadband is cut, and still not where it is not.
HUNTS_C = st.sampled_from([(35.7, 36.2), (39.3, 38.83)])
HUMIDITIES_PCT = st.sampled_from([25.0, 31.0, 36.0, 41.0, 50.0, 59.0, 65.0, 69.0, 75.0, 85.0, 93.0])
SPANS = st.sampled_from([(10, 10), (30, 10), (60, 10), (120, 10), (300, 10), (600, 20), (960, 20), (3900, 26)])
SILENCES_S = st.sampled_from([20, 40, 60, 120, 400])
SHELVES_S = st.sampled_from([45, 300, 900, 1800, 3600, 7200, 30_000])
PAUSES_S = st.sampled_from([0, 3, 25, 70, 600])
STEPS = st.sampled_from(
    [timedelta(**by) for by in ({"seconds": 3}, {"minutes": 7}, {"hours": 2}, {"days": 1}, {"days": 3})]
)
SIGNS = st.sampled_from([1, -1])
FURTHEST = timedelta(days=6)  # further ahead, a batch could come to its lockdown by itself


class Lifecycle(RuleBasedStateMachine):
    """Engine and model side by side; `seen` counts over all sequences."""

    seen: ClassVar[Counter[str]] = Counter()

    def __init__(self) -> None:
        super().__init__()
        self.room = Room(self.ledger())
        self.steps = 0

    def ledger(self) -> Ledger:
        return MemoryStore()

    @initialize(machine=MACHINES, locked_down=st.booleans())
    def first_eggs(self, machine: str, locked_down: bool) -> None:
        self.room.set_eggs(machine)
        if locked_down:
            self.room.declare_lockdown(self.room.batches["b0"])

    # --- air and time

    @rule(machine=MACHINES, to_c=DRY_BULBS_C, span=SPANS)
    def dry_bulb(self, machine: str, to_c: float, span: tuple[int, int]) -> None:
        self.room.air[machine].wanted_c = to_c
        self.room.pass_time(*span)

    @rule(machine=MACHINES, out_and_back_c=HUNTS_C, span=SPANS)
    def hunt(self, machine: str, out_and_back_c: tuple[float, float], span: tuple[int, int]) -> None:
        for to_c in out_and_back_c:
            self.dry_bulb(machine, to_c, span)

    @rule(machine=MACHINES, to_pct=HUMIDITIES_PCT, span=SPANS)
    def humidity(self, machine: str, to_pct: float, span: tuple[int, int]) -> None:
        self.room.air[machine].wanted_pct = to_pct
        self.room.pass_time(*span)

    @rule(span=SPANS)
    def wait(self, span: tuple[int, int]) -> None:
        self.room.pass_time(*span)

    @rule(mute=st.sampled_from([("setter-1",), ("hatcher-1",), ("hatcher-1", "setter-1")]), for_s=SILENCES_S)
    def silence(self, mute: tuple[str, ...], for_s: int) -> None:
        for machine in mute:
            self.room.speaks[machine] = False
        self.room.pass_time(for_s)

    @precondition(lambda self: not all(self.room.speaks.values()))
    @rule(machine=MACHINES, span=SPANS)
    def speak_again(self, machine: str, span: tuple[int, int]) -> None:
        self.room.speaks[machine] = True
        self.room.pass_time(*span)

    # --- people

    @rule(which=ANY)
    def acknowledge(self, which: int) -> None:
        alarm = self.room.pick(which)
        if alarm is not None:
            self.room.ask(lambda: self.room.model.acknowledge(alarm), do="acknowledge", alarm=alarm.number, by="Sam")

    @rule(which=ANY, for_s=SHELVES_S)
    def shelve(self, which: int, for_s: int) -> None:
        alarm = self.room.pick(which)
        if alarm is not None:
            self.room.ask(lambda: self.room.model.shelve(alarm, for_s), do="shelve", alarm=alarm.number, for_s=for_s)

    @rule(which=ANY)
    def unshelve(self, which: int) -> None:
        alarm = self.room.pick(which)
        if alarm is not None:
            self.room.ask(lambda: self.room.model.unshelve(alarm), do="unshelve", alarm=alarm.number)

    @rule(which=ANY, out=st.booleans())
    def service(self, which: int, out: bool) -> None:
        alarm = self.room.pick(which)
        if alarm is not None:
            request = {"do": "out-of-service", "alarm": alarm.number, "out": out}
            self.room.ask(lambda: self.room.model.service(alarm, out), **request)

    @rule(up=st.booleans())
    def phone(self, up: bool) -> None:
        self.room.set_phone(up)

    # --- eggs

    @precondition(lambda self: sum(bool(b.machine) for b in self.room.batches.values()) < 3)
    @rule(machine=MACHINES)
    def set_eggs(self, machine: str) -> None:
        self.room.set_eggs(machine)

    @rule(which=ANY, machine=MACHINES)
    def move(self, which: int, machine: str) -> None:
        batches = list(self.room.batches.values())
        self.room.move(batches[which % len(batches)], machine)

    @rule(which=ANY)
    def lockdown(self, which: int) -> None:
        batches = list(self.room.batches.values())
        self.room.declare_lockdown(batches[which % len(batches)])

    @rule(which=ANY)
    def close(self, which: int) -> None:
        batches = list(self.room.batches.values())
        self.room.close(batches[which % len(batches)])

    # --- clock and power

    @rule(by=STEPS, sign=SIGNS)
    def clock_step(self, by: timedelta, sign: int) -> None:
        if abs(self.room.label_ahead + sign * by) <= FURTHEST:
            self.room.step_clock(sign * by)

    @precondition(lambda self: not in_the_way(self.room, crash=False))
    @rule(pause_s=PAUSES_S)
    def restart(self, pause_s: int) -> None:
        self.room.restart(pause_s)

    @precondition(lambda self: not in_the_way(self.room, crash=True))
    @rule(pause_s=PAUSES_S)
    def crash(self, pause_s: int) -> None:
        self.room.crash(pause_s)

    # --- what holds

    @invariant()
    def model_and_engine_agree(self) -> None:
        self.steps += 1
        self.room.check()
        self.seen.update(alarm.state for alarm in self.room.model.alarms.values())

    def teardown(self) -> None:
        self.seen["sequences"] += 1
        self.seen["full sequences"] += self.steps >= STEPS_EACH
        self.seen["steps"] += self.steps
        self.seen["episodes"] += sum(len(a.episodes) for a in self.room.model.alarms.values())
        self.seen.update({key[1]: len(a.episodes) for key, a in self.room.model.alarms.items() if a.episodes})
        self.seen.update(self.room.happened)


class LifecycleOnDisk(Lifecycle):
    """The same, on a record in a file."""

    _folder: tempfile.TemporaryDirectory[str]
    _opened: Opened

    def ledger(self) -> Ledger:
        self._folder = tempfile.TemporaryDirectory()
        self._opened = open_writer(Path(self._folder.name) / "record.db")
        return SqliteLedger(self._opened.connection)

    def teardown(self) -> None:
        super().teardown()
        self._opened.close()
        self._folder.cleanup()


def counted(machine: type[Lifecycle]) -> type[Lifecycle]:
    """The machine with a count of its own."""
    return type(machine.__name__, (machine,), {"seen": Counter()})


def run(machine: type[Lifecycle], sequences: int, *, seed: int | None = None, shrink: bool = True) -> None:
    """Play so many sequences, always the same ones where no seed is given. A counterexample is raised, as short as it could be made."""
    wanted = settings(
        max_examples=sequences,
        stateful_step_count=STEPS_EACH,
        deadline=None,
        derandomize=seed is None,
        database=None,
        phases=[Phase.generate, Phase.shrink] if shrink else [Phase.generate],
        report_multiple_bugs=False,
        print_blob=False,
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(machine if seed is None else seeded(seed)(machine), settings=wanted)


def search(kind: str, sequences: int, seed: int) -> tuple[Counter[str], str]:
    """Run until so many full sequences have been seen; what was seen, and the counterexample or ''."""
    machine = counted(LifecycleOnDisk if kind == "on disk" else Lifecycle)
    while machine.seen["full sequences"] < sequences:
        try:
            run(machine, min(100, sequences - machine.seen["full sequences"] + 5), seed=seed)
        except Exception as error:  # noqa: BLE001 - whatever a sequence brings out is its finding
            shown = "".join(traceback.format_exception_only(error))
            return machine.seen, f"seed {seed}, {kind}: {shown}"
        seed += 1
    return machine.seen, ""
