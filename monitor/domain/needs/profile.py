"""How a species or strain is incubated: days, stages, bands, target weight loss.

A profile is read once, from a table (`adapters/tables/profiles.py`); from then on it only answers two
questions: which stage is this day in (`Profile.stage_at`), and when does that change
(`Profile.next_change_day`). What several batches in one machine need together is the intersection of their
bands (`Band.intersect`). What makes sense together is said here, and nowhere else.

Units: temperatures °C, differences of temperatures K, relative humidity %, masses g, days of incubation
counted from the set time (day 0.0 is the set time, day 18.5 is eighteen and a half times 24 h later).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import field
from itertools import pairwise
from typing import Any

from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import SITE_WIDE, Rule, changed
from monitor.domain.published.timings import DRAW_DOWN as DRAW_DOWN
from monitor.domain.published.timings import EXTERNAL_PIP as EXTERNAL_PIP
from monitor.domain.published.timings import INTERNAL_PIP as INTERNAL_PIP
from monitor.domain.refusal import Refusal, sought

STAGE_NAMES = ("setter", "lockdown", "hatch")  # in the order in which an egg meets them
LIMIT_NAMES = ("low_alarm", "low_warning", "target", "high_warning", "high_alarm")

# Birds of which sources speak together; an own profile of any other bird gives none.
KINDS = ("fowl", "waterfowl", "pigeon", "ratite", "parrot", "raptor", "kingfisher", "penguin")
SIGNS = (DRAW_DOWN, INTERNAL_PIP, EXTERNAL_PIP)  # of an egg, in the order in which they come
CALENDAR = "calendar"
LOCKDOWN_BY = (CALENDAR, *SIGNS)
HATCH = "hatch"
LAST_DAY = 120.0  # longer than any bird's eggs take
LOSS_TO = (INTERNAL_PIP, HATCH)  # or a day of incubation
LOSS_TO_WORDS = f"a day from 1 to {LAST_DAY:g}, or {' or '.join(LOSS_TO)}"

Declared = tuple[tuple[str, float], ...]  # (stage name, day from which the breeder declared it)


class ProfileError(Refusal):
    """A profile that cannot be used; one line: where, which key, what came, what was expected."""


@fixed
class Band:
    """The limits for one quantity, in that quantity's unit; None where there is no such limit.

    Raises Refusal when a limit is not a finite number or the limits do not run from low to high.
    """

    low_alarm: float | None = None
    low_warning: float | None = None
    target: float | None = None
    high_warning: float | None = None
    high_alarm: float | None = None

    def __post_init__(self) -> None:
        given = list(self.limits())
        for name, value in given:
            if not math.isfinite(value):
                raise Refusal("", f"{name} {value}", "a finite number")
        for (lower_name, lower), (upper_name, upper) in pairwise(given):
            if lower > upper:
                raise Refusal("", f"{lower_name} {lower:g} above {upper_name} {upper:g}", "low to high")

    def limits(self) -> Iterator[tuple[str, float]]:
        """(name, value) of the limits given, from low to high."""
        for name in LIMIT_NAMES:
            value: float | None = getattr(self, name)
            if value is not None:
                yield name, value

    @property
    def calm(self) -> tuple[float | None, float | None]:
        """(low, high) within which nothing is said: the warning of each side, else its alarm; None where a side has no limit."""
        low = self.low_alarm if self.low_warning is None else self.low_warning
        high = self.high_alarm if self.high_warning is None else self.high_warning
        return low, high

    @property
    def width(self) -> float:
        """From the lowest value of which nothing is said to the highest; inf where a side has no limit."""
        low, high = self.calm
        return math.inf if low is None or high is None else high - low

    def shifted(self, k: float) -> Band:
        """The same band, every limit higher by k (in the unit of the band)."""
        return Band(**{name: value + k for name, value in self.limits()})

    def intersect(self, other: Band) -> Band | None:
        """The band that satisfies both, or None when no value does.

        Each low limit is the higher of the two, each high limit the lower; a warning never lies outside an
        alarm that the other band brought in. None when the lowest value free of a warning (of an alarm,
        where there is no warning) lies above the highest. The target is the lower of the two, moved into
        the band where it has to be: the lower one because eggs bear a little cold better than a little
        heat, and because the answer must not depend on the order in which batches are taken, as a midpoint
        would.
        """
        low_alarm = _of_given(max, self.low_alarm, other.low_alarm)
        high_alarm = _of_given(min, self.high_alarm, other.high_alarm)
        low_warning = _of_given(max, self.low_warning, other.low_warning)
        high_warning = _of_given(min, self.high_warning, other.high_warning)
        if low_warning is not None:
            low_warning = _of_given(max, low_warning, low_alarm)
        if high_warning is not None:
            high_warning = _of_given(min, high_warning, high_alarm)
        floor = low_alarm if low_warning is None else low_warning
        ceiling = high_alarm if high_warning is None else high_warning
        if floor is not None and ceiling is not None and floor > ceiling:
            return None
        target = _of_given(min, self.target, other.target)
        if target is not None:
            target = _of_given(min, _of_given(max, target, floor), ceiling)
        return Band(low_alarm, low_warning, target, high_warning, high_alarm)


@fixed
class Stage:
    """A stretch of incubation with its own bands; humidity as RH, as wet bulb, or not judged at all.

    Raises Refusal for a name that is not one of STAGE_NAMES, and when both humidity bands are given.
    """

    name: str
    from_day: float
    dry_bulb_c: Band
    rh_pct: Band | None = None
    wet_bulb_c: Band | None = None

    def __post_init__(self) -> None:
        if self.name not in STAGE_NAMES:
            raise Refusal("name", _shown(self.name), f"one of {', '.join(STAGE_NAMES)}")
        if self.rh_pct is not None and self.wet_bulb_c is not None:
            raise Refusal("", "both rh_pct and wet_bulb_c came", "one humidity band or none")


@fixed
class Profile:
    """How one species or strain is incubated.

    kind: one of KINDS, by which published limits are chosen; None when not said.
    days: length of incubation; the first and last normal hatch days lie round it.
    lockdown_by: what begins the lockdown: CALENDAR, or the sign in the egg from which the source counts it, one of SIGNS; a
        later sign says that the earlier ones have been.
    lockdown_day: by the calendar, when the eggs go to the hatcher unless the breeder declares it earlier; by a sign, the day
        from which the calendar reminds that draw-down may begin.
    still_air_offset_k: how much higher the dry-bulb band lies in a still-air machine measured at egg top;
        None when no source says.
    egg_mass_g: fresh mass, (low, high). target_loss_pct: loss of fresh mass, (low, high), by target_loss_to: a day of
        incubation, INTERNAL_PIP, or HATCH for the whole term.
    lethal_heat: (°C of the air, minutes) at which a source says that eggs of this bird die or are badly harmed; None where
        none says, and what is published of hens' eggs must serve.
    notes: in plain words, where sources disagree and what was chosen here. unknown: what nobody was found to say of this bird.
    rules: this bird's own numbers, by rule and name; a limit of its air is no rule's number but a band's.
    sources: dotted path of each value ("days", "stage.setter.dry_bulb_c.target") to the key of its source.

    Raises Refusal when stages or days do not follow one another, and for a kind, sign or clock that is none.
    """

    id: str
    name: str
    scientific_name: str
    days: float
    hatch_day_first: float
    hatch_day_last: float
    lockdown_day: float
    stages: tuple[Stage, ...]
    still_air_offset_k: float | None = None
    egg_mass_g: tuple[float, float] | None = None
    target_loss_pct: tuple[float, float] | None = None
    target_loss_to: float | str = INTERNAL_PIP
    kind: str | None = None
    lockdown_by: str = CALENDAR
    lethal_heat: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    rules: Mapping[str, Mapping[str, Any]] = field(default_factory=dict, hash=False)
    sources: Mapping[str, str] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        if self.kind is not None and self.kind not in KINDS:
            raise Refusal("kind", _shown(self.kind), f"one of {', '.join(KINDS)}")
        if self.lockdown_by not in LOCKDOWN_BY:
            raise Refusal("lockdown_by", _shown(self.lockdown_by), f"one of {', '.join(LOCKDOWN_BY)}")
        if isinstance(self.target_loss_to, str) and self.target_loss_to not in LOSS_TO:
            raise Refusal("target_loss_to", _shown(self.target_loss_to), LOSS_TO_WORDS)
        if not isinstance(self.target_loss_to, str) and not 0.0 < self.target_loss_to <= self.days:
            raise Refusal("target_loss_to", f"day {self.target_loss_to:g}", f"a day of its term, at most {self.days:g}")
        names = [stage.name for stage in self.stages]
        if names not in (list(STAGE_NAMES[:2]), list(STAGE_NAMES)):
            came = ", ".join(names) or "none"
            raise Refusal("stage", came, "setter, lockdown and perhaps hatch, in this order")
        if self.stages[0].from_day != 0:
            raise Refusal("stage.setter.from_day", f"{self.stages[0].from_day:g}", "0")
        if self.stages[1].from_day != self.lockdown_day:
            came_day, wanted = self.stages[1].from_day, self.lockdown_day
            raise Refusal("stage.lockdown.from_day", f"{came_day:g}", f"lockdown_day, {wanted:g}")
        for earlier, later in pairwise(self.stages):
            if not earlier.from_day < later.from_day:
                raise Refusal(
                    f"stage.{later.name}.from_day",
                    f"{later.from_day:g}",
                    f"above {earlier.from_day:g}, where {earlier.name} starts",
                )
        if not self.stages[-1].from_day < self.hatch_day_first:
            came_day, first = self.stages[-1].from_day, self.hatch_day_first
            raise Refusal(f"stage.{names[-1]}.from_day", f"{came_day:g}", f"below hatch_day_first, {first:g}")
        if not self.hatch_day_first <= self.days <= self.hatch_day_last:
            span = f"hatch_day_first, {self.hatch_day_first:g}, to hatch_day_last, {self.hatch_day_last:g}"
            raise Refusal("days", f"{self.days:g}", f"from {span}")
        for name in ("egg_mass_g", "target_loss_pct"):
            low, high = getattr(self, name) or (0.0, 0.0)
            if low > high:
                raise Refusal(name, f"{low:g} above {high:g}", "low to high")

    def reminds(self, day: float, stage: str) -> bool:
        """Whether that day of incubation says that draw-down may begin: of a bird that goes by the egg, until a sign begins its lockdown."""
        return self.lockdown_sign is not None and stage == STAGE_NAMES[0] and day >= self.lockdown_day

    @property
    def lockdown_sign(self) -> str | None:
        """The sign in the egg that begins the lockdown, for birds that go by the egg; None for those that go by the calendar."""
        return None if self.lockdown_by == CALENDAR else self.lockdown_by

    def stage_at(self, day: float, declared: Declared = ()) -> Stage:
        """The stage of that day of incubation, or a later one that the breeder has declared by then.

        Of birds that go by the egg no day begins a stage: what is declared does, as signs in the eggs are (`domain/eggs/hatching.py`).
        A declaration never takes a batch back. `hatch`, declared for a profile without such a stage, counts
        as `lockdown`. A day before 0 (eggs to be set) belongs to the first stage.
        Raises Refusal for a name that is no stage.
        """
        by_day = () if self.lockdown_sign else self.stages
        reached = max((place for place, stage in enumerate(by_day) if stage.from_day <= day), default=0)
        for name, from_day in declared:
            place = self._place(name)
            if from_day <= day:
                reached = max(reached, place)
        return self.stages[reached]

    def next_change_day(self, day: float, declared: Declared = ()) -> float | None:
        """The first day after `day` on which the stage is another one; None when it stays to the end."""
        now = self.stage_at(day, declared)
        turns = sorted({stage.from_day for stage in self.stages} | {from_day for _, from_day in declared})
        return next((turn for turn in turns if turn > day and self.stage_at(turn, declared) is not now), None)

    def begins_day(self, stage: str) -> float:
        """The day on which that stage begins by the calendar, or that reminds of it. Raises Refusal for a name that is no stage."""
        return self.stages[self._place(stage)].from_day

    def _place(self, name: str) -> int:
        if name not in STAGE_NAMES:
            raise Refusal("stage", _shown(name), f"one of {', '.join(STAGE_NAMES)}")
        return min(STAGE_NAMES.index(name), len(self.stages) - 1)


def check_numbers(own: Mapping[str, Mapping[str, Any]], known: Mapping[str, Rule]) -> None:
    """See that a bird may have these numbers of rules. own: by rule and name; known: the rules there are. Raises Refusal or RuleError."""
    for id_, numbers in own.items():
        if id_ not in known:
            near, every = sought(id_, known, "none")
            raise Refusal(f"rules.{id_}", f"no such rule{near}", every)
        if known[id_].group in SITE_WIDE:
            raise Refusal(f"rules.{id_}", "a rule of the whole site", f"[rules.{id_}] in the configuration")
        if "limit" in numbers and known[id_].of_band:
            raise Refusal(f"rules.{id_}.limit", _shown(numbers["limit"]), "it in a band of [[stage]]")
        changed(known[id_], numbers, "rules")


def _of_given(choose: Callable[[list[float]], float], *values: float | None) -> float | None:
    given = [value for value in values if value is not None]
    return choose(given) if given else None


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
