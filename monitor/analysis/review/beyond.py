"""Heat or cold beyond the alarm limits, as a review tells and judges it: how much, on which days, and beside what was published of as much.

A mean hides it: four hours at 43 °C move that of a week by a tenth of a degree. So it is asked by itself, by the time at or beyond each
published temperature: of heat in all, for it adds up; of cold the longest stay, for short ones were borne.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.analysis.history.felt import SideDose
from monitor.domain.published.exposure import ABOVE, EXPOSURES, HEN_TERM_DAYS, Exposure
from monitor.domain.readings.reading import DAY_MS

HOUR_MS = 3_600_000.0
_THIRDS = 3


@dataclass(frozen=True, slots=True)
class Beyond:
    """All that one side's alarm limit was passed by in one window. dose: with the published exposures nearest to it.

    set_ms: day 0; term_days: of the profile.
    """

    dose: SideDose
    set_ms: int
    term_days: float

    @property
    def side(self) -> str:
        """Above or below."""
        return self.dose.dose.side

    @property
    def hours(self) -> float:
        """Beyond the limit, in all."""
        return self.dose.dose.hours

    @property
    def by_day(self) -> tuple[tuple[int, float], ...]:
        """(day of development, hours) of each day that has any, in order."""
        return by_day(self.dose.spans, self.set_ms)

    @property
    def reach(self) -> float:
        """How far it came towards what is published to have done harm, at that age or at any: 1 where it reached it, 0 without any."""
        return max(map(self._share_of, _HARMFUL), default=0.0)

    @property
    def nearest_harm(self) -> Exposure | None:
        """The published harm that it came nearest to, or passed by most; None where it came near none."""
        nearest = max(_HARMFUL, key=self._share_of)
        return nearest if self._share_of(nearest) > 0.0 else None

    def _share_of(self, each: Exposure) -> float:
        return self._hours_at(each) / (each.hours or 1.0) if self._of_its_age(each) else 0.0

    def _hours_at(self, each: Exposure) -> float:
        temp_c = each.temp_c or 0.0  # each of _HARMFUL has one
        if each.side != self.side or self.dose.dose.peak_c is None:
            return 0.0
        return self.dose.dose.hours_at(temp_c) if each.side == ABOVE else self.dose.longest_h(temp_c)

    def _of_its_age(self, each: Exposure) -> bool:
        """Whether it was published of no age, or of eggs in a third of their term in which these were as warm or cold."""
        if each.day is None:
            return True
        theirs = {_third(day / HEN_TERM_DAYS) for day in each.day}
        of_all = range(min(theirs), max(theirs) + 1)
        edges = [at for stay in self.dose.levels.get(each.temp_c or 0.0, ()) for at in stay]
        return any(_third((at - self.set_ms) / DAY_MS / self.term_days) in of_all for at in edges)


_HARMFUL = tuple(each for each in EXPOSURES if each.harm and each.temp_c is not None and each.hours is not None)
SHORTEST_H = {
    side: min(each.hours or math.inf for each in _HARMFUL if each.side == side) for side in {e.side for e in _HARMFUL}
}


def by_day(spans: Sequence[tuple[int, int]], set_ms: int) -> tuple[tuple[int, float], ...]:
    """(day of development, hours) of each day that has any of these times, in order; the first 24 hours are day 0."""
    found: dict[int, float] = {}
    for since_ms, until_ms in spans:
        at_ms = since_ms
        while at_ms < until_ms:
            day = (at_ms - set_ms) // DAY_MS
            end_ms = min(until_ms, set_ms + (day + 1) * DAY_MS)
            found[day] = found.get(day, 0.0) + (end_ms - at_ms) / HOUR_MS
            at_ms = end_ms
    return tuple(sorted(found.items()))


def _third(share: float) -> int:
    return min(max(math.floor(share * _THIRDS), 0), _THIRDS - 1)
