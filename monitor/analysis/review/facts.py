"""What the record shows of a batch's eggs, whatever any source names of what was found in them: how they ended, the heat and cold beyond
their alarm limits, the alarms in their life, what is not on record or doubtful, their loss of water, their days in store, their turns. Values only;
`shown/review/facts` says them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.analysis.history.environment import Stretch, history_of
from monitor.analysis.history.figures import Figures
from monitor.analysis.review.beyond import Beyond
from monitor.analysis.review.record import beyond_of, lived_until
from monitor.domain.eggs.entry import Fact
from monitor.domain.published.exposure import ABOVE, BELOW
from monitor.domain.readings.reading import DAY_MS


@dataclass(frozen=True, slots=True)
class EndOf:
    """Eggs that ended alike. fact: hatched, dead, removed or split. first_day, last_day: of development, by what was written."""

    fact: Fact
    eggs: int
    first_day: float
    last_day: float


@dataclass(frozen=True, slots=True)
class Rang:
    """An alarm in the eggs' life. words: what its rule calls it, as the house has it now; empty where it has no such rule any more.

    until: when it was over, None while it stood at the end of what is told. answered: who did something about it first, and when.
    """

    number: int
    subject: str
    rule: str
    words: str
    priority: str
    since: datetime
    until: datetime | None
    answered: tuple[str, datetime] | None


@dataclass(frozen=True, slots=True)
class Lost:
    """Loss of water to pip, %, of the eggs that were weighed. by_tray: of eggs together, not one by one. band: the target, None without one."""

    values_pct: tuple[float, ...]
    at_pace: int
    by_tray: bool
    band: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Pauses:
    """Between turns, h, up to lockdown: on average, and the longest. counted: the share of that time in which somebody counted, 0 to 1."""

    mean_h: float
    longest_h: float
    counted: float


@dataclass(frozen=True, slots=True)
class Facts:
    """All of it. turned: None where nobody counted. weighed: whether anybody weighed them, though the loss may not be known. set_ms: day 0. warm, humid: figures of the air to the end of their life. beyond: heat and cold, of each side that has an
    alarm limit. stored_days: of each egg that it is known of, or one for the batch."""

    set_ms: int
    ended: tuple[EndOf, ...]
    beyond: tuple[Beyond, ...]
    rang: tuple[Rang, ...]
    warm: Figures
    humid: Figures
    lost: Lost | None
    stored_days: tuple[float, ...]
    turned: Pauses | None = None
    weighed: bool = False

    def day(self, at_ms: float) -> float:
        """Of development."""
        return (at_ms - self.set_ms) / DAY_MS

    @property
    def met(self) -> tuple[Beyond, ...]:
        """The sides on which an alarm limit was passed, what reached farthest towards published harm first."""
        return tuple(sorted((b for b in self.beyond if b.hours > 0.0), key=lambda b: -b.reach))


def air_of(
    stretches: Sequence[Stretch], *, set_ms: int, term_days: float, until_ms: int | None
) -> tuple[Figures, Figures, tuple[Beyond, ...]]:
    """(temperature, humidity, heat and cold beyond the alarm limits) from the set to the end of a life. stretches: one or more."""
    lived = lived_until(stretches, set_ms, until_ms)
    whole = history_of(lived).whole
    sides = (beyond_of(lived, side, set_at_ms=set_ms, term_days=term_days) for side in (ABOVE, BELOW))
    return whole.dry_bulb_c, whole.rh_pct, tuple(side for side in sides if side is not None)
