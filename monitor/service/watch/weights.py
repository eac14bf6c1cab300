"""Weights that are judged beside the engine: the projection of a loss needs weeks of the record, and nothing may wait for that.

The engine asks after each entry that bears on a batch's loss, at its start, and once a day, for the air goes on changing where a loss leads.
One thread works it out, from a reader's connection of its own; what comes of it goes into the inbox like any item. It is written nowhere that
a batch waits to be judged, and need not be: a process that dies in between asks again when it starts.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from datetime import datetime

from monitor.domain.eggs.entry import (
    OF_CHICK,
    AirCell,
    Attached,
    Found,
    Helped,
    Identity,
    LookAgain,
    Note,
    Turning,
    TurningStopped,
    Weighing,
)
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import Look, State
from monitor.service.ports import StoreFailure, WeightAsked, WeightVerdict
from monitor.service.watch.inbox import Item, WeightJudged

RETRY_S = 30.0  # a record that cannot be read now: the alarm is about days, and the card has its own trouble
_BESIDE = (
    Note,
    LookAgain,
    Found,
    Helped,
    Identity,
    Turning,
    TurningStopped,
    AirCell,
    Attached,
    *OF_CHICK,
)  # entries that say nothing of what an egg weighs, or of how long it goes on

Judge = Callable[[str, datetime], WeightVerdict | None]  # a batch by its name, at an instant; raises StoreFailure

_log = logging.getLogger("eggroom.weights")


def weighed(state: State) -> list[str]:
    """The open batches of which anything was ever weighed; a weighing that was withdrawn ends an alarm, too."""
    return [
        id_
        for id_, book in state.books.items()
        if book.batch.closed_at is None and any(isinstance(entry.fact, Weighing) for entry in book.entries)
    ]


def bearing(look: Look) -> list[str]:
    """The batches of `weighed` whose loss, or where it leads, is another by what is to be written."""
    state, site, out = look.state, look.site, look.out
    if not (out.entries or out.batches or out.calibrations):
        return []
    told = {id_ for id_, entry in out.entries if not isinstance(entry.fact, _BESIDE)} | out.batches.keys()
    corrected = {site.probes[each.probe].machine for each in out.calibrations if each.probe in site.probes}

    def was_there(batch: str) -> bool:
        return any(stay.machine in corrected for stay in state.batches[batch].stays)

    return [id_ for id_ in weighed(state) if id_ in told or was_there(id_)]


def judge_at_once(
    work: Callable[[Item], None],
    asked: list[WeightAsked],
    now: Now,
    *,
    judge: Judge,
) -> None:
    """The same in line, for a driver without threads: what was asked is judged now, and handed to the engine. Raises StoreFailure."""
    while asked:
        question = asked.pop(0)
        verdict = judge(question.batch, now.utc)
        if verdict is not None:
            work(WeightJudged(now, question, verdict))


class Weights:
    """Judges what is asked, one batch after another; of each only what was asked last. `run` is its thread's work."""

    def __init__(
        self,
        *,
        judge: Callable[[str], WeightVerdict | None],
        report: Callable[[WeightAsked, WeightVerdict], None],
        pace: float = 1.0,
    ) -> None:
        """judge: works out a batch by its name; raises StoreFailure. pace: how many of the clock's seconds pass in one of life's."""
        self._judge = judge
        self._report = report
        self._retry_s = RETRY_S / pace
        self._waiting: dict[str, WeightAsked] = {}
        self._wake = threading.Condition()
        self._stopping = threading.Event()
        self._failing = False

    def ask(self, asked: Sequence[WeightAsked]) -> None:
        """Have them judged; returns at once."""
        with self._wake:
            for each in asked:
                self._waiting[each.batch] = each
            self._wake.notify()

    def stop(self) -> None:
        """End `run` after what it is at."""
        with self._wake:
            self._stopping.set()
            self._wake.notify()

    def run(self) -> None:
        """Judge what is asked until `stop`."""
        while (asked := self._next()) is not None:
            try:
                verdict = self._judge(asked.batch)
            except StoreFailure as failure:
                self._try_again(asked, failure)
                continue
            except Exception:  # noqa: BLE001 - the thread's outermost place
                # Our own mistake in a figure must not end the watch over the air: asked again within a day.
                _log.exception("weights not judged batch=%s", asked.batch)
                continue
            if self._failing:
                _log.warning("record can be read again")
                self._failing = False
            if verdict is not None:
                self._report(asked, verdict)

    def _next(self) -> WeightAsked | None:
        with self._wake:
            while not self._waiting and not self._stopping.is_set():
                self._wake.wait()
            if self._stopping.is_set():
                return None
            return self._waiting.pop(next(iter(self._waiting)))

    def _try_again(self, asked: WeightAsked, failure: StoreFailure) -> None:
        if not self._failing:
            self._failing = True
            _log.warning("weights not judged, trying again batch=%s detail=%s", asked.batch, failure)
        with self._wake:
            self._waiting.setdefault(asked.batch, asked)
        self._stopping.wait(self._retry_s)
