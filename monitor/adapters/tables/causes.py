"""The published causes from `monitor/data/causes.toml`."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, ValidationError, ValidationInfo, model_validator

from monitor.adapters.tables.refused import Expected, Table, complaints, one_of
from monitor.adapters.tables.toml import read_toml
from monitor.domain.published.causes import BEFORE_SET, EVIDENCE, KINDS, WINDOWS, Catalogue, Cause, Check, Published
from monitor.domain.published.findings import FINDING
from monitor.domain.refusal import Refusal


class CauseError(Refusal):
    """Causes that cannot be used; one line: where, what came, what was expected."""


def _key_of(table: str) -> AfterValidator:
    """For a text that is a key of another table of the file."""

    def check(value: str, info: ValidationInfo) -> str:
        keys = (info.context or {}).get(table, ())
        if value not in keys:
            raise Expected(f"one of {', '.join(keys)}")
        return value

    return AfterValidator(check)


_Text = Annotated[str, Field(min_length=1, description="a text")]
_Share = Annotated[float, Field(ge=0, le=1, description="a number from 0 to 1")]
_Size = Annotated[float, Field(gt=0, le=100, description="a number above 0 to 100")]


class _Check(Table):
    """[check.ID]; which numbers it has depends on its kind."""

    words: _Text
    unit: _Text
    source: _Text

    def value(self, id_: str) -> Check:
        return Check(id=id_, **self.model_dump())

    @model_validator(mode="after")
    def _hangs_together(self) -> _Check:
        self.value("")
        return self


class _Mean(_Check):
    kind: Literal["mean"]
    margin: _Size
    half_band: _Size


class _Level(_Check):
    kind: Literal["level"]
    clear_at: _Size
    supported_at: _Size


class _Dose(_Check):
    kind: Literal["dose"]


class _Counted(_Dose):
    """A dose of which no exposure was published."""

    clear_at: _Size
    supported_at: _Size


class _Beyond(_Check):
    kind: Literal["beyond"]


class _Checks(Table):
    """One for each of KINDS."""

    temperature: _Mean
    humidity: _Mean
    loss: _Mean
    swing: _Level
    spread: _Level
    openings: _Level
    heat: _Dose
    cold: _Dose
    overheat: _Beyond
    chill: _Beyond
    stored: _Level
    stored_apart: Annotated[_Level, Field(alias="stored-apart")]
    mass: _Mean
    mass_apart: Annotated[_Level, Field(alias="mass-apart")]
    turned: _Level
    unturned: _Counted
    cracked: _Level
    altitude: _Level


class _Cause(Table):
    """One row of one source."""

    words: _Text
    temps_c: list[float] = Field(default_factory=list)
    source: Annotated[str, _key_of("source")]
    evidence: Annotated[str, one_of(EVIDENCE)]
    window: Annotated[str, one_of((*WINDOWS, BEFORE_SET))]
    check: Annotated[str, one_of(KINDS)] = ""
    direction: str = ""
    exposure: str = ""
    unseen: str = ""
    written: str = ""
    rest: str = ""
    lasting: bool = False

    def value(self) -> Cause:
        return Cause(**self.model_dump() | {"temps_c": tuple(self.temps_c)})

    @model_validator(mode="after")
    def _hangs_together(self) -> _Cause:
        self.value()
        return self


class _Finding(Table):
    """[[finding]]"""

    id: Annotated[str, one_of(FINDING)]
    caution: Annotated[str, _key_of("caution")]
    causes: Annotated[list[_Cause], Field(min_length=1, description="its causes")]


class _Causes(Table):
    """The whole file."""

    least_coverage: _Share
    least_share: _Share
    least_good: Annotated[int, Field(ge=1, description="a whole number, 1 or more")]
    check: _Checks
    caution: dict[str, _Text]
    source: dict[str, _Text]
    finding: list[_Finding]

    @model_validator(mode="after")
    def _each_once(self) -> _Causes:
        came = [each.id for each in self.finding]
        twice = [id_ for id_ in FINDING if came.count(id_) > 1]
        if twice:
            raise Refusal("finding", f"{', '.join(twice)} twice", "each finding once")
        left = [id_ for id_ in FINDING if id_ not in came]
        if left:
            raise Refusal("finding", f"none for {', '.join(left)}", "every one of the trade list")
        return self


def shipped_causes() -> Catalogue:
    """The causes that come with the package."""
    file = resources.files("monitor").joinpath("data", "causes.toml")
    return read_causes(read_toml(file, file.name, "the shipped causes"), file.name)


def read_causes(data: Mapping[str, object], where: str) -> Catalogue:
    """The catalogue from a table. Raises CauseError with one line for the first thing that is missing, unknown or wrong."""
    try:
        read = _Causes.model_validate(data, context=data)
    except ValidationError as error:
        found = complaints(error, where, model=_Causes, data=data)[0]
        raise CauseError.of(found) from None
    return Catalogue(
        findings={
            each.id: Published(each.id, read.caution[each.caution], tuple(cause.value() for cause in each.causes))
            for each in read.finding
        },
        checks={id_: getattr(read.check, id_.replace("-", "_")).value(id_) for id_ in KINDS},
        sources=read.source,
        least_coverage=read.least_coverage,
        least_share=read.least_share,
        least_good=read.least_good,
    )
