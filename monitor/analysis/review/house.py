"""What a house's batches that went well had: of temperature, humidity and loss the middle one, beside the band that each was judged by.

Where most of them lie outside their band by more than a sensor can tell, the band is not this house's: a profile of its own is what is
missing, and no cause. Figures only; nothing takes effect by them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from monitor.analysis.review.judged import Figure, Record, exposure_of
from monitor.domain.published.causes import (
    HATCHER,
    HIGH,
    HUMIDITY,
    LOSS,
    LOW,
    SETTER,
    TEMPERATURE,
    WHOLE,
    Catalogue,
    Cause,
    Check,
    Key,
)

ASKED: tuple[Key, ...] = (
    (TEMPERATURE, SETTER),
    (TEMPERATURE, HATCHER),
    (HUMIDITY, SETTER),
    (HUMIDITY, HATCHER),
    (LOSS, WHOLE),
)


@dataclass(frozen=True, slots=True)
class Habit:
    """One quantity in one window, in the unit of its check. values: of each batch that tells it, by its id; band: the middle of their bands;
    shift: of the middle one from the middle of its own band. side: HIGH or LOW where most lie outside on that side, and their middle by
    more than a sensor can tell; empty otherwise."""

    check: Check
    window: str
    values: tuple[tuple[str, float], ...]
    band: tuple[float, float]
    shift: float
    side: str

    @property
    def middle(self) -> float:
        """Of the batches."""
        return median(value for _, value in self.values)

    @property
    def ends(self) -> tuple[float, float]:
        """The least and the most of them."""
        values = [value for _, value in self.values]
        return min(values), max(values)


def habits_of(catalogue: Catalogue, good: Sequence[Record]) -> Iterator[Habit]:
    """What the batches that went well had, of each quantity and window that enough of them tell. good: as for `review`."""
    for key in ASKED:
        check = catalogue.checks[key[0]]
        known = [(r.name, f) for r in good if (f := r.figures.get(key)) is not None]
        told = [
            (name, f) for name, f in known if f.coverage >= catalogue.least_coverage and None not in (f.low, f.high)
        ]
        if len(told) >= catalogue.least_good:
            yield _habit(check, key[1], told)


def _habit(check: Check, window: str, told: Sequence[tuple[str, Figure]]) -> Habit:
    ends = [(f.low or 0.0, f.high or 0.0) for _, f in told]
    side = ""
    for direction in (HIGH, LOW):
        cause = Cause(words="", source="", evidence="", window=window, check=check.id, direction=direction)
        out = [x for _, f in told if (x := exposure_of(cause, check, f)) is not None]
        if len(out) == len(told) and median(out) >= 1.0:
            side = direction
    return Habit(
        check=check,
        window=window,
        values=tuple((name, f.value) for name, f in told),
        band=(median(low for low, _ in ends), median(high for _, high in ends)),
        shift=median(f.value - (low + high) / 2.0 for (_, f), (low, high) in zip(told, ends, strict=True)),
        side=side,
    )
