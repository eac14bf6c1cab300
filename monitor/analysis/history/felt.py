"""What stands beside the figures of the air: its dose of heat and cold, the eggs as they are estimated, and what was done.

Values only; `dose` and `line/eggs` work them out, `shown/history` shows them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.analysis.history.figures import Figures
from monitor.analysis.water.loss import FarOff
from monitor.domain.eggs.book import LeftOut
from monitor.domain.eggs.entry import Entry
from monitor.domain.published.exposure import Dose, Match
from monitor.domain.readings.reading import DAY_MS
from monitor.domain.signs.seen import NotBack, Seen

OPENING, HANDLING, MOVE, DECLARED, SPLIT = "opening", "handling", "move", "stage", "split"


@dataclass(frozen=True, slots=True)
class SideDose:
    """All of the heat, or of the cold, beyond the alarm limits of the dry bulb in one window.

    dose: hours and degree-hours beyond the limit that stood at each time; its limit_c is the first of limits_c, which are
    those there were, in order. stays: how many unbroken stays made it. peak_at_ms: when the farthest value was first
    reached; share_of_term: how far the incubation was then, 0 to 1. spans: the stays, (since_ms, until_ms), those that meet as one.
    levels: by published temperature the unbroken stays at or beyond it. published: what `nearest` finds for the whole of it.
    """

    dose: Dose
    limits_c: tuple[float, ...]
    stays: int = 0
    peak_at_ms: int | None = None
    share_of_term: float | None = None
    spans: tuple[tuple[int, int], ...] = ()
    levels: Mapping[float, tuple[tuple[int, int], ...]] = field(default_factory=dict)
    published: tuple[Match, ...] = ()

    def longest_h(self, temp_c: float) -> float:
        """The longest unbroken stay at or beyond a published temperature, in hours; 0 without any."""
        return max((until - since for since, until in self.levels.get(temp_c, ())), default=0) / 3_600_000.0


Doubt = tuple[float, float]  # K down, K up
NO_DOUBT: Doubt = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Felt:
    """One stage, or the whole, as its eggs had it.

    doses: above and below, where there is an alarm limit. egg_c: figures of the estimated egg temperature, whose coverage is
    the share of time for which it is known; doubts_k: by how much its mean, lowest and highest may be too high and too low; tau_s: the time constants of the egg in each machine, in the order they were met.
    deficit_kpa: mean vapour-pressure deficit between egg and air, over deficit_hours; None where it is not known. openings:
    how many were recognised.
    """

    stage: str
    since_ms: int
    until_ms: int
    doses: tuple[SideDose, ...]
    egg_c: Figures
    tau_s: tuple[float, ...]
    deficit_kpa: float | None
    deficit_hours: float
    openings: int
    doubts_k: tuple[Doubt, Doubt, Doubt] = (NO_DOUBT, NO_DOUBT, NO_DOUBT)

    @property
    def openings_per_day(self) -> float:
        """Recognised openings for each day of the window."""
        return self.openings * DAY_MS / (self.until_ms - self.since_ms)


@dataclass(frozen=True, slots=True)
class Written:
    """What was written of an egg, or of its whole batch. left_out: why a weighing is left out of the loss; lost_pct: what the egg had lost by
    then, None where that is not told."""

    entry: Entry
    left_out: LeftOut | FarOff | None = None
    lost_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that was done, or that showed in the air. kind: OPENING, HANDLING, MOVE, DECLARED or SPLIT; of an egg's book that of its entry.

    machine: where, empty in none. text: what the record says of it, an opening's words or a stage's name. until_ms: of a handling. seen: of an opening, what it was; None where only words of it are left. closed: of a
    move, that it is the last. split: how many eggs went on, and as which batch. entry: its number in the egg book, of what was `written`
    there.
    """

    at_ms: int
    kind: str
    machine: str
    text: str = ""
    until_ms: int | None = None
    by: str = ""
    seen: Seen | None = None
    entry: int | None = None
    written: Written | None = None
    split: tuple[int, str] | None = None
    closed: bool = False

    @property
    def counts(self) -> bool:
        """Whether it is an opening of its own, and not more about one."""
        return not isinstance(self.seen, NotBack)
