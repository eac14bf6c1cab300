"""What pydantic found wrong with a table, as every refusal has it: where (file and key), what came, what was expected.

What was expected is what the field says of itself (its description), what a check of ours says, or what pydantic says.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping, Sequence
from types import NoneType, UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from monitor.domain.needs.site import ID
from monitor.domain.refusal import Part, Refusal, sought
from monitor.domain.wall import has_controls

# Else it asks every package that is installed whether it has a say in our tables; a start waits for that.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

T = TypeVar("T", bound=BaseModel)

SHOWN = 60  # characters of what came
Place = Sequence[int | str]
_WORDED = {
    "dict_type": "a table",
    "model_type": "a table",
    "path_type": "a path",
    "string_type": "a text",
    "too_short": "at least one [[{key}]]",
    "string_too_long": "at most {max_length} characters",
    "string_pattern_mismatch": "the form {pattern}",
}
_KINDS = {dict: "a table", list: "a list"}


class Expected(ValueError):
    """What a check of a value alone expected, `a text`; what came is said by whoever reads the table. Any other ValueError says both.

    near: what was meant, perhaps, told beside what came: `, nearest high`.
    """

    def __init__(self, what: str, near: str = "") -> None:
        super().__init__(what)
        self.near = near


def _in_one_line(text: str) -> str:
    """Names stand in messages, tables and pages, as what is typed at the door does."""
    if has_controls(text):
        raise Expected("text in one line, without control characters")
    return text


Id = Annotated[str, Field(pattern=f"^{ID}$")]
Line = Annotated[str, AfterValidator(_in_one_line)]


class Table(BaseModel):
    """A table without other keys than its own, whose values are what TOML says they are: no number in a text, no truth as a number."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False, defer_build=True)


class Complaint(Refusal):
    """One thing that is wrong with a file. file: as it is called; key: what it is about, from the table down, as the file or the house calls it;
    line: on which it stands, where that is known."""

    def __init__(self, file: str, *key: str, came: Part = "", expected: Part = "", line: int | None = None) -> None:
        places = (file, "" if line is None else f"line {line}", *key)
        super().__init__(": ".join(place for place in places if place), came, expected)
        self.file, self.key, self.line = file, key, line

    def on(self, line: int) -> Complaint:
        """The same, on a line."""
        return Complaint(self.file, *self.key, came=self.came, expected=self.expected, line=line)

    @classmethod
    def of_file(cls, file: str, *key: str, error: Refusal) -> Complaint:
        """What somebody else refused, of a file."""
        own = "".join(part for part in error.where if isinstance(part, str))
        return cls(file, *key, *([own] if own else []), came=error.came, expected=error.expected)


class TableError(ValueError):
    """A table that cannot be used: all that is wrong with it."""

    def __init__(self, complaints: Sequence[Complaint]) -> None:
        super().__init__("\n".join(map(str, complaints)))
        self.complaints = tuple(complaints)


def read(model: type[T], data: object, where: str) -> T:
    """The model from a table; where: the file. Raises TableError with every complaint."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise TableError(complaints(error, where, model=model)) from None


def read_each(model: type[T], data: object, where: str) -> dict[str, T]:
    """Models by name from a table of tables. Raises TableError with every complaint."""
    try:
        return TypeAdapter(dict[str, model]).validate_python(data)  # type: ignore[valid-type]  # which model it is, is known when it runs
    except ValidationError as error:
        raise TableError(complaints(error, where, model=dict[str, model])) from None  # type: ignore[valid-type]  # the same


def one_of(choices: Collection[str]) -> BeforeValidator:
    """For a text that is one of a few."""

    def check(value: object) -> object:
        if not isinstance(value, str) or value not in choices:
            raise Expected(f"one of {', '.join(choices)}", sought(value, choices)[0] if isinstance(value, str) else "")
        return value

    return BeforeValidator(check)


def within(low: float, high: float) -> FieldInfo:
    """For a number from `low` to `high`."""
    field: FieldInfo = Field(ge=low, le=high, description=f"a number from {low:g} to {high:g}")
    return field


def complaints(error: ValidationError, where: str, *, model: object, data: object = None) -> list[Complaint]:
    """One for each thing that is wrong.

    where: the file. model: what was read. data: what came, where a table of a list is called by its name or id
    instead of its number.
    """
    problems = [dict(problem) for problem in error.errors(include_url=False)]
    return [_complaint(where, p, model=model, data=data) for p in problems if not _follows(p, problems)]


def _follows(problem: Mapping[str, Any], problems: Sequence[Mapping[str, Any]]) -> bool:
    """Whether a list is called empty only because what is in it is wrong, which is told by itself."""
    loc = problem["loc"]
    return problem["type"] == "too_short" and any(p["loc"][: len(loc)] == loc for p in problems if p is not problem)


def _complaint(where: str, problem: Mapping[str, Any], *, model: object, data: object) -> Complaint:
    loc = [part for part in problem["loc"] if not str(part).startswith("function-") and part != "[key]"]
    key = _key(loc, data)
    place = (where, key) if key else (where,)
    kind, came = problem["type"], problem.get("input")
    field = _field(model, loc)
    if kind == "extra_forbidden":
        near, known = sought(str(loc[-1]), _keys_beside(model, loc))
        return Complaint(*place, came=f"unknown setting{near}", expected=known)
    if kind == "missing":
        return Complaint(*place, came="missing", expected=(field and field.description) or "a value")
    said = problem.get("ctx", {}).get("error") if kind == "value_error" else None
    if said is not None and not isinstance(said, Expected):
        # What goes together: its check says what came.
        return Complaint.of_file(*place, error=said) if isinstance(said, Refusal) else Complaint(*place, came=str(said))
    message = str(problem["msg"]).removeprefix("Input should be ") if said is None else str(said)
    shown = repr(came)[:SHOWN] if not came or not isinstance(came, dict | list) else _KINDS[type(came)]
    if kind in _WORDED:
        message = _WORDED[kind].format(key=key, **problem.get("ctx", {}))
    elif kind != "value_error" and field is not None and field.description:
        message = field.description
    elif kind == "literal_error" and isinstance(came, str):
        shown += sought(came, [each for each in get_args(_type_at(model, loc)) if isinstance(each, str)])[0]
    elif kind == "tuple_type":  # in a file there are lists alone
        message = "a list"
    near = said.near if isinstance(said, Expected) else ""
    return Complaint(*place, came=f"{shown}{near}", expected=message)


def _key(loc: Place, data: object) -> str:
    """`check.loss.margin`, `machine[2].kind`; with the data, `finding.blood-ring.causes[2].window`."""
    key, at = "", data
    for part in loc:
        at = at[part] if _holds(at, part) else None  # type: ignore[index]  # `_holds` has seen that it can be asked so
        named = part
        if isinstance(part, int):
            own = (at.get("id") or at.get("name")) if isinstance(at, Mapping) else None
            named = own if isinstance(own, str) else f"[{part + 1}]"
        key += str(named) if not key or str(named).startswith("[") else f".{named}"
    return key


def _holds(at: object, part: int | str) -> bool:
    return (isinstance(at, Mapping) and part in at) or (
        isinstance(at, list) and isinstance(part, int) and part < len(at)
    )


def _keys_beside(model: object, loc: Place) -> list[str]:
    within = _type_at(model, loc[:-1])
    return sorted(within.model_fields) if isinstance(within, type) and issubclass(within, BaseModel) else []


def _field(model: object, loc: Place) -> FieldInfo | None:
    """What says of itself what was expected there; for what is in a list, the field that is the list."""
    while loc and isinstance(loc[-1], int):
        loc = loc[:-1]
    within = _type_at(model, loc[:-1]) if loc else None
    return within.model_fields.get(str(loc[-1])) if isinstance(within, type) and issubclass(within, BaseModel) else None


def _type_at(model: object, loc: Place) -> object:
    """What stands there: a model, or something else."""
    at = model
    for part in loc:
        if isinstance(at, type) and issubclass(at, BaseModel):
            field = at.model_fields.get(str(part))
            at = field.annotation if field is not None else None
        else:
            at = next((each for each in reversed(get_args(at)) if each is not ...), None)
        while get_origin(at) in (Annotated, Union, UnionType):
            at = next((each for each in get_args(at) if each is not NoneType), None)
    return at
