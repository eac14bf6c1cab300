"""What the history of one egg has beside that of its batch: how it ended, what was written of it, and its own loss of water.

`service/reports/egg` finds it. Per cent are of the mass at set.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, tzinfo

from monitor.analysis.history.environment import BatchHistory
from monitor.analysis.history.felt import Happening
from monitor.analysis.water.ahead import EggLoss
from monitor.analysis.water.loss import FarOff, Interval, NoLine
from monitor.domain.eggs.book import LeftOut, Mass
from monitor.domain.eggs.entry import Entry
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.target import Target


@dataclass(frozen=True, slots=True)
class EggPart:
    """One egg of a batch.

    until: where its record ends, by its own end, the batch's, or now. end: how it ended, None so far. entries: what stands in the book
    of it, and of the whole batch while it was in it, by time; done: the same as happenings; zone: of the days and times in it. masses: its weighings. loss: None where
    `unknown` says why; of lost_by. target: what its species should lose, None where no source says; pip_day: by when it is judged;
    by_pip_pct: what it had lost by then, None while that lies ahead, and where it died before.
    """

    batch: Batch
    egg: int
    until: datetime
    end: Entry | None
    entries: tuple[Entry, ...]
    done: tuple[Happening, ...]
    masses: tuple[Mass, ...]
    loss: EggLoss | None
    unknown: NoLine | LeftOut | None
    lost_by: datetime
    target: Target | None
    pip_day: float
    zone: tzinfo
    by_pip_pct: Interval | None = None

    @property
    def name(self) -> str:
        """`egg 7 of hen-1`."""
        return f"egg {self.egg} of {self.batch.id}"

    @property
    def ended(self) -> bool:
        """Whether its record ends with its own end."""
        return self.end is not None and self.end.at <= self.until

    @property
    def line_pct(self) -> tuple[float, float] | None:
        """The species' line at lost_by: how much should have been lost by then; after pip what it should be at pip."""
        return None if self.target is None else self.target.by(min(self.batch.day(self.lost_by), self.pip_day))


def left_out(mass: Mass, loss: EggLoss | None) -> LeftOut | FarOff | None:
    """Why a weighing says nothing about the loss; None where it does."""
    return mass.left_out or (FarOff() if loss is not None and mass.entry in loss.line.left_out else None)


def lost_pct(mass: Mass, loss: EggLoss | None, batch: Batch) -> float | None:
    """What the egg had lost when it was weighed, % of its mass at set; None where that is not known, or it was not set yet."""
    if loss is None or left_out(mass, loss) or mass.at < batch.set_at:
        return None
    return 100.0 * (1.0 - mass.mass_g / loss.line.mass_at_set_g.value)


def with_egg(history: BatchHistory, part: EggPart) -> BatchHistory:
    """The history with what was written of the egg among what was done."""
    done = sorted((*history.happenings, *part.done), key=lambda each: each.at_ms)
    return replace(history, happenings=tuple(done))
