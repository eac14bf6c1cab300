"""One profile from its table as TOML gives it: each value stands beside the key of its source, `[value, "KEY"]`; names and notes alone.

Widest values taken: wide enough for any bird, narrow enough that a value in °F or a slip of the decimal point is refused instead of
watched over.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Annotated, Any, TypeGuard

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    ValidationError,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    model_validator,
)
from pydantic.fields import FieldInfo

from monitor.adapters.tables.refused import SHOWN, Expected, Id, Line, Table, complaints, one_of, within
from monitor.adapters.tables.rules import Numbers, given
from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import (
    CALENDAR,
    INTERNAL_PIP,
    KINDS,
    LAST_DAY,
    LIMIT_NAMES,
    LOCKDOWN_BY,
    LOSS_TO,
    LOSS_TO_WORDS,
    STAGE_NAMES,
    Band,
    Profile,
    ProfileError,
    Stage,
    check_numbers,
)
from monitor.domain.needs.rules import Rule
from monitor.domain.refusal import Refusal

SETTER, _, HATCH = STAGE_NAMES
DEFINITION = "definition"  # the source of the day on which incubation begins


@fixed
class _Known:
    """What a profile is read against. sources: the keys that may be named; None allows any. plain: the source of a value that stands alone,
    where one may.
    """

    sources: Collection[str] | None
    plain: str | None
    rules: Mapping[str, Rule]

    def alone(self, value: object) -> object:
        """The value without its source. Raises Refusal for one that has none, or an unknown one."""
        if not _is_cited(value):
            if self.plain is None:
                raise Refusal("", repr(value)[:SHOWN], 'it with its source, [value, "KEY"]')
            return value
        if self.sources is not None and value[1] not in self.sources:
            raise Refusal("", f"unknown source key {repr(value[1])[:SHOWN]}", "one of those in SOURCES.toml")
        return value[0]


def _is_cited(value: object) -> TypeGuard[list[Any]]:
    return isinstance(value, list) and len(value) == 2 and isinstance(value[1], str)


def _known(info: ValidationInfo[_Known]) -> _Known:
    assert info.context is not None  # `read_profile` gives it
    return info.context


def _without_source(value: object, check: ValidatorFunctionWrapHandler, info: ValidationInfo[_Known]) -> object:
    return check(_known(info).alone(value))


_CITED = WrapValidator(_without_source)


def _numbers_without_sources(value: object, info: ValidationInfo[_Known]) -> object:
    if not isinstance(value, dict):
        return value
    alone = {}
    for name, each in value.items():
        try:
            alone[name] = _known(info).alone(each)
        except Refusal as error:
            raise Refusal(name, error.came, error.expected) from None
    return alone


def _not_blank(text: str) -> str:
    if not text.strip():
        raise Expected("a text")
    return text


def _as_list(words: str) -> FieldInfo:
    # TOML has no tuples; what is in the list is held to its kind all the same.
    field: FieldInfo = Field(strict=False, description=words)
    return field


def _clock(value: object) -> object:
    """A day of incubation, or one of LOSS_TO."""
    is_day = isinstance(value, int | float) and not isinstance(value, bool) and 1 <= value <= LAST_DAY
    if not is_day and value not in LOSS_TO:
        raise Expected(LOSS_TO_WORDS)
    return value


_Text = Annotated[Line, AfterValidator(_not_blank), Field(description="a text")]
_Texts = Annotated[tuple[str, ...], _as_list("a list of texts")]
_Day = Annotated[float, within(0, LAST_DAY), _CITED]
_DryBulb = Annotated[float, within(20, 45), _CITED]
_DryBulbOrNone = Annotated[float | None, within(20, 45), _CITED]
_RhOrNone = Annotated[float | None, within(0, 100), _CITED]
_WetBulbOrNone = Annotated[float | None, within(5, 45), _CITED]
_Grams = Annotated[float, within(0.1, 3000)]
_Percent = Annotated[float, within(0, 40)]
_LethalC = Annotated[float, within(37, 60)]
_LethalMin = Annotated[float, within(1, 10_080)]


class _Band(Table):
    """The limits of one quantity."""

    def value(self) -> Band:
        return Band(**{name: getattr(self, name) for name in LIMIT_NAMES})

    @model_validator(mode="after")
    def _hangs_together(self) -> _Band:
        if not self.model_fields_set:
            raise Refusal("", "no limits", f"one or more of {', '.join(LIMIT_NAMES)}")
        self.value()
        return self


class _DryBulbBand(_Band):
    """Warmth is what kills within the hour: without alarms and a target a stage would be watched by nothing."""

    low_alarm: _DryBulb
    low_warning: _DryBulbOrNone = None
    target: _DryBulb
    high_warning: _DryBulbOrNone = None
    high_alarm: _DryBulb


class _RhBand(_Band):
    """%RH"""

    low_alarm: _RhOrNone = None
    low_warning: _RhOrNone = None
    target: _RhOrNone = None
    high_warning: _RhOrNone = None
    high_alarm: _RhOrNone = None


class _WetBulbBand(_Band):
    """°C"""

    low_alarm: _WetBulbOrNone = None
    low_warning: _WetBulbOrNone = None
    target: _WetBulbOrNone = None
    high_warning: _WetBulbOrNone = None
    high_alarm: _WetBulbOrNone = None


class _Stage(Table):
    """[[stage]]; incubation starts with the first, and lockdown on its day."""

    name: Annotated[str, one_of(STAGE_NAMES), Field(description=f"one of {', '.join(STAGE_NAMES)}")]
    from_day: Annotated[float | None, within(0, LAST_DAY), _CITED] = None
    dry_bulb_c: Annotated[_DryBulbBand, Field(description="a band")]
    rh_pct: _RhBand | None = None
    wet_bulb_c: _WetBulbBand | None = None

    def value(self, lockdown_day: float) -> Stage:
        start = 0.0 if self.name == SETTER else lockdown_day
        return Stage(
            name=self.name,
            from_day=start if self.from_day is None else self.from_day,
            dry_bulb_c=self.dry_bulb_c.value(),
            rh_pct=None if self.rh_pct is None else self.rh_pct.value(),
            wet_bulb_c=None if self.wet_bulb_c is None else self.wet_bulb_c.value(),
        )

    @model_validator(mode="after")
    def _hangs_together(self) -> _Stage:
        if self.name == HATCH and self.from_day is None:
            raise Refusal("from_day", "missing", "the day on which this stage starts")
        self.value(0.0)
        return self


class _Profile(Table):
    """The whole table. The sources are noted in the order of its fields."""

    id: Annotated[Id, Field(description="a text")]
    name: _Text
    scientific_name: _Text
    days: _Day
    hatch_day_first: _Day
    hatch_day_last: _Day
    lockdown_day: _Day
    still_air_offset_k: Annotated[float | None, within(0, 5), _CITED] = None
    egg_mass_g: Annotated[tuple[_Grams, _Grams] | None, _as_list("[low, high], numbers from 0.1 to 3000"), _CITED] = (
        None
    )
    target_loss_pct: Annotated[
        tuple[_Percent, _Percent] | None, _as_list("[low, high], numbers from 0 to 40"), _CITED
    ] = None
    target_loss_to: Annotated[float | str, BeforeValidator(_clock), _CITED] = INTERNAL_PIP
    kind: Annotated[str, one_of(KINDS)] | None = None
    lockdown_by: Annotated[str, one_of(LOCKDOWN_BY), _CITED] = CALENDAR
    lethal_heat: Annotated[
        tuple[_LethalC, _LethalMin] | None,
        _as_list("[°C, minutes], from 37 to 60 °C and from 1 to 10080 minutes"),
        _CITED,
    ] = None
    notes: _Texts = ()
    unknown: _Texts = ()
    stage: Annotated[list[_Stage], Field(min_length=1, description="one or more tables [[stage]]")]
    rules: dict[str, Annotated[Numbers, BeforeValidator(_numbers_without_sources)]] = Field(default_factory=dict)

    def value(self, sources: Mapping[str, str]) -> Profile:
        return Profile(
            id=self.id,
            name=self.name,
            scientific_name=self.scientific_name,
            days=self.days,
            hatch_day_first=self.hatch_day_first,
            hatch_day_last=self.hatch_day_last,
            lockdown_day=self.lockdown_day,
            stages=tuple(stage.value(self.lockdown_day) for stage in self.stage),
            still_air_offset_k=self.still_air_offset_k,
            egg_mass_g=self.egg_mass_g,
            target_loss_pct=self.target_loss_pct,
            target_loss_to=self.target_loss_to,
            kind=self.kind,
            lockdown_by=self.lockdown_by,
            lethal_heat=self.lethal_heat,
            notes=self.notes,
            unknown=self.unknown,
            rules=given(self.rules),
            sources=sources,
        )

    @model_validator(mode="after")
    def _hangs_together(self, info: ValidationInfo[_Known]) -> _Profile:
        check_numbers(given(self.rules), _known(info).rules)
        self.value({})
        return self


def read_profile(
    data: Mapping[str, Any],
    where: str,
    *,
    source_keys: Collection[str] | None = None,
    plain_source: str | None = None,
    rules: Mapping[str, Rule] | None = None,
) -> Profile:
    """A profile from a table.

    Parameters
        data: the table; `stage` is a list of tables (name, from_day, dry_bulb_c, and rh_pct or wet_bulb_c).
        where: what the messages begin with, the file name.
        source_keys: the keys that may be named; None allows any.
        plain_source: when given, a value may come without a key, and this is its source.
        rules: the rules there are, of which `rules` may change numbers (`[rules.dry-bulb-low-alarm]`); None: of none.
    Raises
        ProfileError: one line, for the first thing that is unknown, missing, out of range or out of order.
    """
    try:
        read = _Profile.model_validate(data, context=_Known(source_keys, plain_source, rules or {}))
    except ValidationError as error:
        found = complaints(error, where, model=_Profile, data=data)[0]
        raise ProfileError.of(found) from None
    return read.value(dict(_sources(read, data, "", plain=plain_source or "")))


def _sources(read: Table, table: Mapping[str, Any], path: str, *, plain: str) -> Iterator[tuple[str, str]]:
    """(dotted path, key of its source) of each value. table: what was read; path: of the table, empty or ending in a full stop."""
    for name, field in type(read).model_fields.items():
        value, came = getattr(read, name), table.get(name)
        if isinstance(value, Table) and came is not None:
            yield from _sources(value, came, f"{path}{name}.", plain=plain)
        elif _CITED in field.metadata and came is not None:
            yield f"{path}{name}", _source(came, plain)
    if isinstance(read, _Profile):
        for stage, each in zip(read.stage, table["stage"], strict=True):
            within = f"stage.{stage.name}."
            if stage.from_day is None:
                yield f"{within}from_day", DEFINITION if stage.name == SETTER else _source(table["lockdown_day"], plain)
            yield from _sources(stage, each, within, plain=plain)
        for id_, numbers in table.get("rules", {}).items():
            for name, each in numbers.items():
                yield f"rules.{id_}.{name}", _source(each, plain)


def _source(came: object, plain: str) -> str:
    return str(came[1]) if _is_cited(came) else plain
