"""How a species or strain is incubated: days, stages, bands, target weight loss.

A profile is read once, when the daemon starts, from a table in which each value stands beside the key of
its source (`parse_profile`); from then on it only answers two questions: which stage is this day in
(`Profile.stage_at`), and when does that change (`Profile.next_change_day`). What several batches in one
machine need together is the intersection of their bands (`Band.intersect`).

Units: temperatures °C, differences of temperatures K, relative humidity %, masses g, days of incubation
counted from the set time (day 0.0 is the set time, day 18.5 is eighteen and a half times 24 h later).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, TypeGuard

from monitor.domain.needs.rules import SITE_WIDE, Rule, RuleError, changed
from monitor.domain.wall import has_controls

STAGE_NAMES = ("setter", "lockdown", "hatch")  # in the order in which an egg meets them
LIMIT_NAMES = ("low_alarm", "low_warning", "target", "high_warning", "high_alarm")

# Birds of which sources speak together; an own profile of any other bird gives none.
KINDS = ("fowl", "waterfowl", "pigeon", "ratite", "parrot", "raptor", "kingfisher", "penguin")
DRAW_DOWN, INTERNAL_PIP, EXTERNAL_PIP = "draw-down", "internal pip", "external pip"
SIGNS = (DRAW_DOWN, INTERNAL_PIP, EXTERNAL_PIP)  # of an egg, in the order in which they come
CALENDAR = "calendar"
LOCKDOWN_BY = (CALENDAR, *SIGNS)
HATCH = "hatch"
LOSS_TO = (INTERNAL_PIP, HATCH)  # or a day of incubation

Declared = tuple[tuple[str, float], ...]  # (stage name, day from which the breeder declared it)


class ProfileError(ValueError):
    """A profile that cannot be used; one line: where, which key, what came, what was expected."""


@dataclass(frozen=True, slots=True)
class Band:
    """The limits for one quantity, in that quantity's unit; None where there is no such limit.

    Raises ValueError when a limit is not a finite number or the limits do not run from low to high.
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
                raise ValueError(f"{name} {value}, expected a finite number")
        for (lower_name, lower), (upper_name, upper) in pairwise(given):
            if lower > upper:
                raise ValueError(f"{lower_name} {lower:g} above {upper_name} {upper:g}, expected low to high")

    def limits(self) -> Iterator[tuple[str, float]]:
        """(name, value) of the limits given, from low to high."""
        for name in LIMIT_NAMES:
            value: float | None = getattr(self, name)
            if value is not None:
                yield name, value

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


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of incubation with its own bands; humidity as RH, as wet bulb, or not judged at all.

    Raises ValueError for a name that is not one of STAGE_NAMES, and when both humidity bands are given.
    """

    name: str
    from_day: float
    dry_bulb_c: Band
    rh_pct: Band | None = None
    wet_bulb_c: Band | None = None

    def __post_init__(self) -> None:
        if self.name not in STAGE_NAMES:
            raise ValueError(f"name: {_shown(self.name)}, expected one of {', '.join(STAGE_NAMES)}")
        if self.rh_pct is not None and self.wet_bulb_c is not None:
            raise ValueError("both rh_pct and wet_bulb_c came, expected one humidity band or none")


@dataclass(frozen=True, slots=True)
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

    Raises ValueError when stages or days do not follow one another, and for a kind, sign or clock that is none.
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
            raise ValueError(f"kind: {_shown(self.kind)}, expected one of {', '.join(KINDS)}")
        if self.lockdown_by not in LOCKDOWN_BY:
            raise ValueError(f"lockdown_by: {_shown(self.lockdown_by)}, expected one of {', '.join(LOCKDOWN_BY)}")
        if isinstance(self.target_loss_to, str) and self.target_loss_to not in LOSS_TO:
            raise ValueError(f"target_loss_to: {_shown(self.target_loss_to)}, expected {_LOSS_TO_WORDS}")
        names = [stage.name for stage in self.stages]
        if names not in (list(STAGE_NAMES[:2]), list(STAGE_NAMES)):
            came = ", ".join(names) or "none"
            raise ValueError(f"stage: {came}, expected setter, lockdown and perhaps hatch, in this order")
        if self.stages[0].from_day != 0:
            raise ValueError(f"stage.setter.from_day: {self.stages[0].from_day:g}, expected 0")
        if self.stages[1].from_day != self.lockdown_day:
            came_day, wanted = self.stages[1].from_day, self.lockdown_day
            raise ValueError(f"stage.lockdown.from_day: {came_day:g}, expected lockdown_day, {wanted:g}")
        for earlier, later in pairwise(self.stages):
            if not earlier.from_day < later.from_day:
                raise ValueError(
                    f"stage.{later.name}.from_day: {later.from_day:g}, "
                    f"expected above {earlier.from_day:g}, where {earlier.name} starts"
                )
        if not self.stages[-1].from_day < self.hatch_day_first:
            came_day, first = self.stages[-1].from_day, self.hatch_day_first
            expected = f"expected below hatch_day_first, {first:g}"
            raise ValueError(f"stage.{names[-1]}.from_day: {came_day:g}, {expected}")
        if not self.hatch_day_first <= self.days <= self.hatch_day_last:
            span = f"hatch_day_first, {self.hatch_day_first:g}, to hatch_day_last, {self.hatch_day_last:g}"
            raise ValueError(f"days: {self.days:g}, expected from {span}")

    @property
    def lockdown_sign(self) -> str | None:
        """The sign in the egg that begins the lockdown, for birds that go by the egg; None for those that go by the calendar."""
        return None if self.lockdown_by == CALENDAR else self.lockdown_by

    def stage_at(self, day: float, declared: Declared = ()) -> Stage:
        """The stage of that day of incubation, or a later one that the breeder has declared by then.

        A declaration never takes a batch back. `hatch`, declared for a profile without such a stage, counts
        as `lockdown`. A day before 0 (eggs to be set) belongs to the first stage.
        Raises ValueError for a name that is no stage.
        """
        reached = max((place for place, stage in enumerate(self.stages) if stage.from_day <= day), default=0)
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

    def _place(self, name: str) -> int:
        if name not in STAGE_NAMES:
            raise ValueError(f"stage: {_shown(name)}, expected one of {', '.join(STAGE_NAMES)}")
        return min(STAGE_NAMES.index(name), len(self.stages) - 1)


# Widest values taken, (low, high): wide enough for any bird, narrow enough that a value in °F or a slip of
# the decimal point is refused instead of watched over.
_DAYS = (0.0, 120.0)
_MASS_G = (0.1, 3000.0)
_LOSS_PCT = (0.0, 40.0)
_OFFSET_K = (0.0, 5.0)
_LETHAL_C, _LETHAL_MIN = (37.0, 60.0), (1.0, 10_080.0)
_LOSS_TO_WORDS = f"a day from 1 to {_DAYS[1]:g}, or {' or '.join(LOSS_TO)}"
_BANDS = {"dry_bulb_c": (20.0, 45.0), "rh_pct": (0.0, 100.0), "wet_bulb_c": (5.0, 45.0)}

_DAY_KEYS = ("days", "hatch_day_first", "hatch_day_last", "lockdown_day")
_TEXT_KEYS = ("id", "name", "scientific_name")
_OTHER_KEYS = (
    "kind", "lockdown_by", "still_air_offset_k", "egg_mass_g", "target_loss_pct", "target_loss_to", "lethal_heat",
    "notes", "unknown", "rules", "stage",
)  # fmt: skip
_PROFILE_KEYS = (*_TEXT_KEYS, *_DAY_KEYS, *_OTHER_KEYS)
_STAGE_KEYS = ("name", "from_day", *_BANDS)
_ID = re.compile(r"[a-z0-9-]{1,32}")


def parse_profile(
    data: Mapping[str, object],
    where: str,
    *,
    source_keys: Collection[str] | None = None,
    plain_source: str | None = None,
    rules: Mapping[str, Rule] | None = None,
) -> Profile:
    """A profile from a table as TOML gives it: each value `[value, "source key"]`, names and notes text.

    Parameters
        data: the table; `stage` is a list of tables (name, from_day, dry_bulb_c, and rh_pct or wet_bulb_c).
        where: what the messages begin with, the file name.
        source_keys: the keys that may be named; None allows any.
        plain_source: when given, a value may come without a key, and this is its source.
        rules: the rules there are, of which `rules` may change numbers (`[rules.dry-bulb-low-alarm]`); None: of none.
    Raises
        ProfileError: one line, for anything unknown, missing, out of range or out of order.
    """
    table = _Table(data, where, "", {}, source_keys, plain_source)
    table.allow(_PROFILE_KEYS)
    profile_id, name, scientific_name = (table.text(key) for key in _TEXT_KEYS)
    if not _ID.fullmatch(profile_id):
        raise table.wrong("id", _shown(profile_id), "1 to 32 of a-z, 0-9 and -")
    days, hatch_day_first, hatch_day_last, lockdown_day = (table.number(key, _DAYS) for key in _DAY_KEYS)
    offset_k = table.number("still_air_offset_k", _OFFSET_K) if "still_air_offset_k" in data else None
    mass_g = table.pair("egg_mass_g", _MASS_G) if "egg_mass_g" in data else None
    loss_pct = table.pair("target_loss_pct", _LOSS_PCT) if "target_loss_pct" in data else None
    loss_to = _loss_to(table) if "target_loss_to" in data else INTERNAL_PIP
    kind = table.choice("kind", table.text("kind"), KINDS) if "kind" in data else None
    by = (
        table.choice("lockdown_by", table.cited("lockdown_by", "a sign"), LOCKDOWN_BY)
        if "lockdown_by" in data
        else CALENDAR
    )
    lethal_heat = _lethal_heat(table) if "lethal_heat" in data else None
    notes = table.texts("notes") if "notes" in data else ()
    unknown = table.texts("unknown") if "unknown" in data else ()
    stages = tuple(_stage(each, lockdown_day) for each in table.tables("stage"))
    own_rules = _rules(table.table("rules", "a table of rules"), rules or {}) if "rules" in data else {}
    try:
        return Profile(
            id=profile_id,
            name=name,
            scientific_name=scientific_name,
            days=days,
            hatch_day_first=hatch_day_first,
            hatch_day_last=hatch_day_last,
            lockdown_day=lockdown_day,
            stages=stages,
            still_air_offset_k=offset_k,
            egg_mass_g=mass_g,
            target_loss_pct=loss_pct,
            target_loss_to=loss_to,
            kind=kind,
            lockdown_by=by,
            lethal_heat=lethal_heat,
            notes=notes,
            unknown=unknown,
            rules=own_rules,
            sources=table.sources,
        )
    except ValueError as error:
        raise ProfileError(f"{where}: {error}") from None


def _loss_to(table: _Table) -> float | str:
    """The clock of the target loss: a day, or one of LOSS_TO."""
    value = table.cited("target_loss_to", _LOSS_TO_WORDS)
    if _is_number_in(value, (1.0, _DAYS[1])):
        return float(value)
    if isinstance(value, str) and value in LOSS_TO:
        return value
    raise table.wrong("target_loss_to", _shown(value), _LOSS_TO_WORDS)


def _lethal_heat(table: _Table) -> tuple[float, float]:
    value = table.cited("lethal_heat", "a pair [°C, minutes]")
    match value:
        case [temp_c, minutes] if _is_number_in(temp_c, _LETHAL_C) and _is_number_in(minutes, _LETHAL_MIN):
            return float(temp_c), float(minutes)
    (low_c, high_c), (low_min, high_min) = _LETHAL_C, _LETHAL_MIN
    expected = f"[°C, minutes], from {low_c:g} to {high_c:g} °C and from {low_min:g} to {high_min:g} minutes"
    raise table.wrong("lethal_heat", _shown(value), expected)


def _stage(table: _Table, lockdown_day: float) -> Stage:
    table.allow(_STAGE_KEYS)
    name = table.text("name")
    if "from_day" in table.data:
        from_day = table.number("from_day", _DAYS)
    elif name in ("setter", "lockdown"):
        from_day = 0.0 if name == "setter" else lockdown_day
        source = "definition" if name == "setter" else table.sources["lockdown_day"]
        table.sources[f"{table.path}from_day"] = source
    else:
        raise table.wrong("from_day", "missing", "the day on which this stage starts")
    given = [quantity for quantity in _BANDS if quantity in table.data]
    bands = {quantity: _band(table.table(quantity), _BANDS[quantity]) for quantity in given}
    if "dry_bulb_c" not in bands:
        raise table.wrong("dry_bulb_c", "missing", "a band")
    for limit in ("low_alarm", "target", "high_alarm"):
        # Warmth is what kills within the hour: a stage without these would be watched by nothing.
        if getattr(bands["dry_bulb_c"], limit) is None:
            raise table.wrong(f"dry_bulb_c.{limit}", "missing", "a value")
    try:
        return Stage(name, from_day, **bands)
    except ValueError as error:
        raise ProfileError(f"{table.where}: {table.path.rstrip('.')}: {error}") from None


def _band(table: _Table, span: tuple[float, float]) -> Band:
    table.allow(LIMIT_NAMES)
    if not table.data:
        raise table.wrong("", "no limits", f"one or more of {', '.join(LIMIT_NAMES)}")
    limits = {limit: table.number(limit, span) for limit in table.data}
    try:
        return Band(**limits)
    except ValueError as error:
        raise ProfileError(f"{table.where}: {table.path.rstrip('.')}: {error}") from None


def _rules(table: _Table, known: Mapping[str, Rule]) -> dict[str, dict[str, Any]]:
    """The rules' numbers that are this bird's own, each checked against its rule."""
    result = {}
    for id_ in table.data:
        if id_ not in known:
            raise table.wrong(id_, "no such rule", f"one of {', '.join(known) or 'none'}")
        if known[id_].group in SITE_WIDE:
            raise table.wrong(id_, "a rule of the whole site", f"[rules.{id_}] in the configuration")
        own = table.table(id_, "a table of numbers")
        if "limit" in own.data and known[id_].of_band:
            raise own.wrong("limit", _shown(own.data["limit"]), "it in a band of [[stage]]")
        changes = {name: own.cited(name, "a value") for name in own.data}
        try:
            changed(known[id_], changes, f"{table.where}: rules")
        except RuleError as error:
            raise ProfileError(str(error)) from None
        result[id_] = changes
    return result


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of a profile: hands out its values, notes the source of each, and words what is wrong."""

    data: Mapping[str, object]
    where: str
    path: str  # of this table: empty, or ending in a full stop
    sources: dict[str, str]  # shared by all tables of one profile
    source_keys: Collection[str] | None
    plain_source: str | None

    def wrong(self, key: str, came: str, expected: str) -> ProfileError:
        return ProfileError(f"{self.where}: {f'{self.path}{key}'.rstrip('.')}: {came}, expected {expected}")

    def allow(self, keys: Collection[str]) -> None:
        for key in self.data:
            if key not in keys:
                raise self.wrong(key, "unknown key", f"one of {', '.join(keys)}")

    def text(self, key: str) -> str:
        value = self.data.get(key)
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(key, _came(self.data, key), "text")
        if has_controls(value):
            raise self.wrong(key, _shown(value), "text in one line, without control characters")
        return value

    def choice(self, key: str, value: object, choices: Collection[str]) -> str:
        if not isinstance(value, str) or value not in choices:
            raise self.wrong(key, _shown(value), f"one of {', '.join(choices)}")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.data[key]
        if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
            raise self.wrong(key, _shown(value), "a list of texts")
        return tuple(value)

    def table(self, key: str, what: str = "a table of limits") -> _Table:
        value = self.data[key]
        if not isinstance(value, dict):
            raise self.wrong(key, _shown(value), what)
        return self._inner(value, f"{self.path}{key}.")

    def tables(self, key: str) -> Iterator[_Table]:
        value = self.data.get(key)
        if not isinstance(value, list) or not value or not all(isinstance(each, dict) for each in value):
            raise self.wrong(key, _came(self.data, key), f"one or more tables [[{key}]]")
        for place, each in enumerate(value, start=1):
            name = each.get("name")
            yield self._inner(each, f"{self.path}{key}.{name if name in STAGE_NAMES else place}.")

    def number(self, key: str, span: tuple[float, float]) -> float:
        value = self.cited(key, "a number")
        if _is_number_in(value, span):
            return float(value)
        raise self.wrong(key, _shown(value), f"a number from {span[0]:g} to {span[1]:g}")

    def pair(self, key: str, span: tuple[float, float]) -> tuple[float, float]:
        value = self.cited(key, "a pair [low, high]")
        match value:
            case [low, high] if _is_number_in(low, span) and _is_number_in(high, span) and low <= high:
                return float(low), float(high)
        raise self.wrong(key, _shown(value), f"[low, high], numbers from {span[0]:g} to {span[1]:g}")

    def cited(self, key: str, what: str) -> object:
        """The value without its source key, which goes to `sources`."""
        value = self.data.get(key)
        if isinstance(value, list) and len(value) == 2 and isinstance(value[1], str):
            value, source = value
        elif value is not None and self.plain_source is not None:
            source = self.plain_source
        else:
            expected = what if self.plain_source else f'{what} with its source, [value, "KEY"]'
            raise self.wrong(key, _came(self.data, key), expected)
        if self.source_keys is not None and source not in self.source_keys:
            raise self.wrong(key, f"unknown source key {_shown(source)}", "one of those in SOURCES.toml")
        self.sources[f"{self.path}{key}"] = source
        return value

    def _inner(self, data: Mapping[str, object], path: str) -> _Table:
        return _Table(data, self.where, path, self.sources, self.source_keys, self.plain_source)


def _is_number_in(value: object, span: tuple[float, float]) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and span[0] <= value <= span[1]


def _of_given(choose: Callable[[list[float]], float], *values: float | None) -> float | None:
    given = [value for value in values if value is not None]
    return choose(given) if given else None


def _came(data: Mapping[str, object], key: str) -> str:
    return _shown(data[key]) if key in data else "missing"


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
