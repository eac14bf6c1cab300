"""What the product says of the invented houses: which cause of a finding comes first, whether a heat is shown, what goes together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.across.statistics import CHANCE as BY_CHANCE
from monitor.analysis.across.statistics import Outcome, associations, shares_of, table_of
from monitor.analysis.history.environment import Readings, Stretch
from monitor.analysis.review.facts import air_of
from monitor.analysis.review.judged import SUPPORTED, Record, Verdict, review
from monitor.analysis.review.record import record_of
from monitor.domain.needs.profile import Band
from monitor.domain.published.causes import Key
from tests.planted.houses import (
    CHANCE,
    CURVED,
    HOUSES,
    LOCKDOWN_DAY,
    OTHERS,
    SPELLS,
    STEP_S,
    TERM_DAYS,
    UNSEEN,
    WINDOWS,
    Fault,
    Hatch,
    House,
    Life,
    Offsets,
    born,
    hatches,
    offsets_of,
    said,
)

CATALOGUE = shipped_causes()
DAY_MS, T0 = 86_400_000, 1_780_000_000_000
# The shape of a hen's profile: 0.3 K either way, about 3.5 %RH either way, higher from lockdown on, and 11 to 14 % to pip.
WARM = Band(36.7, 37.5, 37.8, 38.1, 38.9)
DRY, MOIST, LOSS = Band(45.0, 51.5, 55.0, 58.5, 65.0), Band(58.0, 65.0, 70.0, 75.0, 85.0), (11.0, 14.0)
GOOD = 10  # batches that went well in each house
SIZES = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0)  # of a curve, in errors of the sensor


@dataclass(frozen=True)
class Home:
    """One house with its batches that went well."""

    house: House
    number: int
    offsets: Offsets
    good: tuple[Record, ...]


@dataclass
class Share:
    """So many of so many."""

    count: int = 0
    of: int = 0

    def add(self, hit: bool) -> None:
        self.count, self.of = self.count + hit, self.of + 1

    @property
    def share(self) -> float:
        return self.count / self.of if self.of else 0.0

    def __str__(self) -> str:
        return f"{self.count} of {self.of} ({100.0 * self.share:.1f} %)"


@dataclass
class Room:
    """What came of one kind of house. first: the planted cause first among the supported, where it is beyond its band and its house's usual by
    twice the sensors' error; wrongly: findings with anything supported where nothing showed, of unseen causes and of chance; shown: heat and
    cold beyond what is published. curve: by fault and size, in errors; missed: what did not come first, by name."""

    first: Share = field(default_factory=Share)
    unseen: Share = field(default_factory=Share)
    chance: Share = field(default_factory=Share)
    shown: Share = field(default_factory=Share)
    curve: dict[tuple[str, float], Share] = field(default_factory=dict)
    missed: dict[str, Share] = field(default_factory=dict)

    @property
    def wrongly(self) -> Share:
        return Share(self.unseen.count + self.chance.count, self.unseen.of + self.chance.of)


@cache
def home(house: House, number: int) -> Home:
    """The house of that number; its good batches are the same whenever it is asked for."""
    place = HOUSES.index(house)
    offsets = offsets_of(house, np.random.default_rng([11, place, number]))
    lives = [born(house, offsets, np.random.default_rng([12, place, number, n])) for n in range(GOOD)]
    good = tuple(record(life, offsets, CATALOGUE.wanted(), f"good-{n}") for n, life in enumerate(lives))
    return Home(house, number, offsets, good)


def stretches(life: Life, offsets: Offsets) -> list[Stretch]:
    """The life as the record has it."""
    at_ms = T0 + np.rint(life.day * DAY_MS).astype(np.int64)
    ones = np.ones(at_ms.size, dtype=np.int64)
    air = tuple(
        Readings(at_ms[on], c[on].round(2), rh[on].round(1), ones[on], ones[on])
        for c, rh, on in zip(*said(life, offsets), life.heard, strict=True)
    )
    turn, end = T0 + round(LOCKDOWN_DAY * DAY_MS), T0 + round(TERM_DAYS * DAY_MS)
    return [
        Stretch("setter-a", "setter", T0, turn, WARM, DRY, None, air, 2.5 * STEP_S, 101.325),
        Stretch("hatcher-a", "lockdown", turn, end, WARM, MOIST, None, air, 2.5 * STEP_S, 101.325),
    ]


def record(life: Life, offsets: Offsets, wanted: frozenset[Key], name: str, weighed: bool = True) -> Record:
    """Its figures. weighed: whether its eggs were."""
    return record_of(
        name,
        stretches(life, offsets),
        set_at_ms=T0,
        term_days=TERM_DAYS,
        wanted=wanted,
        loss_pct=life.loss_pct if weighed else None,
        loss_band=LOSS,
        openings_ms=[T0 + round(day * DAY_MS) for day in life.openings_day],
    )


def played(house: House, homes: int, *, every: bool = True) -> Room:
    """All faults in so many houses of a kind. every: False for a third of the sizes, as among the tests."""
    room = Room()
    sizes = SIZES if every else SIZES[1::3]
    for number in range(homes):
        at = home(house, number)
        for place, fault in enumerate((*CURVED, *OTHERS, *SPELLS)):
            for size in sizes if fault.quantity else (0.0,):
                _planted(room, at, fault, errors=size, seed=[place, round(size)])
        for place, finding in enumerate((*UNSEEN, *CHANCE)):
            rng = np.random.default_rng([14, HOUSES.index(house), number, place])
            verdicts = _asked(at, born(house, at.offsets, rng), finding, weighed=bool(rng.random() < 0.5))
            tally = room.unseen if place < len(UNSEEN) else room.chance
            tally.add(any(v.verdict == SUPPORTED for v in verdicts))
    return room


def _planted(room: Room, at: Home, fault: Fault, *, errors: float, seed: Sequence[int]) -> None:
    house = at.house
    rng = np.random.default_rng([13, HOUSES.index(house), at.number, *seed])
    life = born(house, at.offsets, rng)
    size = errors * _error(house, fault) if fault.quantity else rng.uniform(*fault.sizes)
    usual = _true(life, fault)
    fault.plant(life, size, rng)
    # Where eggs were weighed their loss decides about a setter's humidity; a house that steers by weight always has it.
    verdicts = _asked(at, life, fault.finding, weighed=house.by_weight or fault.check != "humidity")
    told = [v for v in verdicts if v.check is not None]
    first = bool(told) and told[0].verdict == SUPPORTED and _names(told[0], fault)
    if fault.quantity:
        room.curve.setdefault((fault.name, errors), Share()).add(first)
    if _shows(house, fault, usual, _true(life, fault)):
        room.first.add(first)
        room.missed.setdefault(fault.name, Share()).add(not first)
    if fault in SPELLS:
        _, _, beyond = air_of(stretches(life, at.offsets), set_ms=T0, term_days=TERM_DAYS, until_ms=None)
        supported = any(v.verdict == SUPPORTED and (_names(v, fault) or v.by_beyond or v.beyond) for v in verdicts)
        room.shown.add(any(b.reach >= 1.0 for b in beyond) and supported)


def _asked(at: Home, life: Life, finding: str, *, weighed: bool) -> tuple[Verdict, ...]:
    marred = record(life, at.offsets, CATALOGUE.wanted([finding]), "marred", weighed)
    return review(CATALOGUE, finding, marred, good=at.good)


def _names(verdict: Verdict, fault: Fault) -> bool:
    """Whether what was planted is among the causes that a verdict is about."""
    return (fault.check, fault.direction, fault.window) in {(c.check, c.direction, c.window) for c in verdict.causes}


def _error(house: House, fault: Fault) -> float:
    return {"c": house.error_k, "rh": house.error_rh, "loss": house.error_loss}[fault.quantity]


def _true(life: Life, fault: Fault) -> float:
    """What really was, of what a curve is about."""
    since, until = WINDOWS.get(fault.window, WINDOWS["whole"])
    if fault.quantity == "loss":
        return life.loss_pct
    return life.mean_rh(since, until) if fault.quantity == "rh" else life.mean_c(since, until)


def _shows(house: House, fault: Fault, usual: float, value: float) -> bool:
    """Whether it is beyond its band, and beyond what that batch would have had, by twice the sensors' error; a setter's humidity that is made good
    by nothing is, where eggs are weighed, as far out as their loss."""
    if not fault.quantity:
        return True
    bands = {"c": (37.5, 38.1), "loss": LOSS, "rh": (51.5, 58.5) if fault.window == "setter" else (65.0, 75.0)}
    low, high = bands[fault.quantity]
    up = fault.direction == "high"
    out = value - high if up else low - value
    return min(out, abs(value - usual)) >= 2.0 * _error(house, fault)


@dataclass
class Null:
    """Seasons of hatches: how many had anything said to go together, by ranks and by the cut; found: of those in which one thing costs so many of
    a hundred, how many had that said, by what it costs."""

    by_ranks: Share = field(default_factory=Share)
    by_cut: Share = field(default_factory=Share)
    found: dict[float, tuple[Share, Share]] = field(default_factory=dict)


def null(seasons: int, batches: int = 20, things: int = 9, costs: Sequence[float] = (10.0, 20.0, 30.0)) -> Null:
    """So many seasons in which nothing costs anything, and as many for each cost."""
    told = Null()
    for cost in (0.0, *costs):
        for number in range(seasons):
            season = hatches(np.random.default_rng([15, round(cost), number]), batches, things, costs=cost)
            for tally, together in zip(_of(told, cost), _together(season), strict=True):
                tally.add(bool(together) if not cost else 0 in together)
    return told


def _of(told: Null, cost: float) -> tuple[Share, Share]:
    return (told.by_ranks, told.by_cut) if not cost else told.found.setdefault(cost, (Share(), Share()))


def _together(season: Sequence[Hatch]) -> Iterator[list[int]]:
    """Which things are said to go together with the hatch: by ranks, then by the cut at 75 %."""
    outcomes = [
        Outcome(str(n), "m", "hen", "s", h.fertile, h.fertile, h.hatched, h.hatched / h.fertile >= 0.75)
        for n, h in enumerate(season)
    ]
    exposed = [{str(n): h.exposed[k] for n, h in enumerate(season)} for k in range(len(season[0].exposed))]
    tables = {k: table_of(outcomes, of) for k, of in enumerate(exposed)}
    for shares in ({k: shares_of(outcomes, of) for k, of in enumerate(exposed)}, None):
        yield [a.exposure for a in associations(tables, shares) if not a.too_few and a.p_corrected <= BY_CHANCE]
