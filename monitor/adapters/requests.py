"""Requests as they come over the wire, through the door, from a recording and from the command line: JSON into the values of
`service/watch/requests.py`, by pydantic. What cannot be one is refused in one sentence: where, what came, what was expected.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import MISSING, fields
from datetime import UTC, datetime
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Annotated, TypeAlias, Union, get_args, get_origin, get_type_hints

from monitor.domain.eggs.entry import EggError, fact_of
from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.wall import has_controls
from monitor.service.watch.requests import (
    ByFields,
    ByOffset,
    ByPoints,
    BySalts,
    FactRow,
    LookFacts,
    OfEntry,
    OfTable,
    Rearrange,
    Request,
    RequestError,
    Row,
    Write,
    WriteTable,
)

if TYPE_CHECKING:
    from pydantic import TypeAdapter

MAX_TEXT = 500  # characters of a name or a note
MAX_ROWS = 1000  # of one table: a large tray, and several; more is another file
_Fields: TypeAlias = dict[str, str | int | float | None]
# Line, egg, kind of the fact and its fields, when (None: as the table).
_FactRow: TypeAlias = tuple[int | str, int, str, _Fields, datetime | None]
_DEEPEST = 4  # a table's row, or a calibration's pair; a text of a thousand brackets is no request
SHOWN = 10  # rows that are no entry; more are the same again
_SHOWN = 60  # characters of what came
TIME = "a time such as 2026-03-01T18:00:00Z"
_WORDS: dict[object, str] = {
    str: f"a text of at most {MAX_TEXT} characters",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    datetime: TIME,
    tuple[int, ...]: f"a list of at most {MAX_ROWS} whole numbers",
    tuple[Row, ...]: f"a list of 1 to {MAX_ROWS} rows of line, egg, gross_g and a time or null",
    tuple[_FactRow, ...]: f"a list of 1 to {MAX_ROWS} rows of line, egg, kind, fact and a time or null",
    tuple[tuple[float, float], ...]: "pairs of reading and reference",
    tuple[tuple[str, float], ...]: "pairs of salt and reading",
    ByOffset: "an offset",
    ByPoints: "points",
    BySalts: "salts and temperature_c",
    _Fields: "fields that are each a text, a number or null",
}
_OF_FIELD = {
    "alarm": "the number in the message",
    "for_s": "seconds",
    "content": "a file in base64",
}  # where that says more than what it is made of
_CONTENT = "content"  # of a file, in base64: no text that anybody reads
_ROWS: Mapping[object, tuple[str, ...]] = {
    Row: ("line", "egg", "gross_g", "at"),
    _FactRow: ("line", "egg", "kind", "fact", "at"),
}


class BadRequest(RequestError):
    """What is no request."""


@fixed(kw_only=True)
class _Entry(OfEntry):
    """`Write` as it comes: the kind of the fact, and its fields beside it."""

    kind: str
    fact: _Fields

    def request(self) -> Write:
        """With the fact that the fields are. Raises BadRequest."""
        try:
            fact = fact_of(self.kind, self.fact)
        except EggError as error:
            raise BadRequest.of(error) from error
        return Write(fact=fact, **{each.name: getattr(self, each.name) for each in fields(OfEntry)})


@fixed(kw_only=True)
class _Table(OfTable):
    """`WriteTable` as it comes."""

    rows: tuple[_FactRow, ...]

    def request(self) -> WriteTable:
        """With the facts that the fields are. Raises BadRequest with a line for each that is none."""
        rows: list[FactRow] = []
        wrong: list[str] = []
        for line, egg, kind, given, at in self.rows:
            try:
                rows.append((line, egg, fact_of(kind, given), at))
            except EggError as error:
                wrong.append(f"line {line}: {error}")
        if wrong:
            more = [f"and {len(wrong) - SHOWN} more"] if len(wrong) > SHOWN else []
            raise BadRequest("\n".join([*wrong[:SHOWN], *more]))
        return WriteTable(rows=tuple(rows), **{each.name: getattr(self, each.name) for each in fields(OfTable)})


_Wire: TypeAlias = ByFields | Rearrange | LookFacts | _Entry | _Table


@functools.cache
def _adapter() -> TypeAdapter[_Wire]:
    # With the first request: pydantic is loaded for the settings, but so many kinds take a while to be put together.
    from pydantic import ConfigDict, Field, TypeAdapter

    return TypeAdapter(
        Annotated[_Wire, Field(discriminator="do")],
        config=ConfigDict(extra="forbid", strict=True, allow_inf_nan=False),
    )


def read_request(asked: Mapping[str, object]) -> Request:
    """The request that a JSON object is. Raises BadRequest, with a line for each row of a table that is wrong."""
    from pydantic import ValidationError  # with the first request, as above

    kind = _kind(asked.get("do"))
    _check_texts(asked)
    hints = get_type_hints(kind)
    for key in asked:
        if key not in hints:
            import difflib  # for a slip alone

            near = difflib.get_close_matches(key, hints, 1)
            known = near[0] if near else ", ".join(name for name in hints if name != "do") or "none"
            raise BadRequest(f"{asked['do']}", f"no key {key[:_SHOWN]!r}", known)
    for each in fields(kind):
        given = asked.get(each.name)
        if each.default is MISSING and hints[each.name] is str and isinstance(given, str) and not given.strip():
            raise BadRequest(each.name, repr(given)[:_SHOWN], _words(each.name, str))
    if isinstance(rows := asked.get("rows"), list) and not 1 <= len(rows) <= MAX_ROWS:
        raise BadRequest("rows", f"{len(rows)} of them", f"1 to {MAX_ROWS}")
    if isinstance(eggs := asked.get("eggs"), list) and len(eggs) > MAX_ROWS:
        raise BadRequest("eggs", f"{len(eggs)} of them", f"at most {MAX_ROWS}")
    moments = {key: _with_moments(hints[key], value) for key, value in asked.items()}
    try:
        read = _adapter().validate_json(json.dumps(moments))
    except ValidationError as error:
        raise _refusal(asked, hints, [each["loc"][1:] for each in error.errors(include_url=False)]) from None
    return read.request() if isinstance(read, _Entry | _Table) else read


@functools.cache
def _kinds() -> dict[str, type[_Wire]]:
    return {get_args(get_type_hints(kind)["do"])[0]: kind for kind in get_args(_Wire)}


def _kind(do: object) -> type[_Wire]:
    kinds = _kinds()
    kind = kinds.get(do) if isinstance(do, str) else None
    if kind is None:
        raise BadRequest("request", repr(do)[:_SHOWN], f"one of {', '.join(sorted(kinds))}")
    return kind


def _check_texts(asked: Mapping[str, object]) -> None:
    """Every text is in one line, without anything that a terminal or a table would act on."""
    for where, text in _texts("", {key: value for key, value in asked.items() if key != _CONTENT}, 0):
        try:
            text.encode()
        except UnicodeEncodeError:  # half a character, as from a terminal in another encoding: no table can hold it
            raise BadRequest(where, repr(text[:40]), "text in UTF-8") from None
        if has_controls(text):
            raise BadRequest(where, repr(text[:40]), "text in one line, without control characters")
    for key, value in asked.items():
        if isinstance(value, str) and len(value) > MAX_TEXT and key != _CONTENT:
            raise BadRequest(key, repr(value)[:_SHOWN], _WORDS[str])


def _texts(where: str, value: object, depth: int) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield where, value
    elif isinstance(value, Mapping | list | tuple):
        if depth == _DEEPEST:
            raise BadRequest(where, "a value nested deeper", f"at most {_DEEPEST} levels")
        rows: Iterable[tuple[object, object]] = value.items() if isinstance(value, Mapping) else enumerate(value)
        for key, each in rows:
            if isinstance(key, str):
                yield f"{where}: {key!r:.40}" if where else "key", key
            yield from _texts(f"{where}: {key}" if where else str(key), each, depth + 1)


def _with_moments(hint: object, value: object) -> object:
    """The same with each text that stands for a moment in one form, aware UTC to the millisecond, as the record keeps it."""
    choices = _choices(hint)
    if isinstance(value, str) and datetime in choices:
        return _moment(value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        for choice in choices:
            inner = get_args(choice) if get_origin(choice) is tuple else ()
            if inner[1:] == (...,):
                return [_with_moments(inner[0], each) for each in value]
            if inner and len(inner) == len(value):
                return [_with_moments(part, each) for part, each in zip(inner, value, strict=True)]
    return value


def _moment(text: str) -> str:
    """RFC 3339; where it is no moment with its zone, something that is refused: pydantic would take bare digits, too."""
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is not None:
            return from_ms(to_ms(at.astimezone(UTC))).isoformat()
    except (ValueError, OverflowError):  # no time, or one at the edge of the calendar in another zone
        pass
    return text if text.isalpha() else "no moment"


def _refusal(
    asked: Mapping[str, object], hints: Mapping[str, object], wrong: list[tuple[int | str, ...]]
) -> BadRequest:
    where = next((loc for loc in wrong if loc), ())
    if not where:
        return BadRequest("request", repr(dict(asked))[:_SHOWN], "JSON")
    key = str(where[0])
    came = asked.get(key)
    if key == "rows" and len(where) > 1 and isinstance(came, list):
        return _row_refusal(came, where, get_args(hints[key])[0])
    hint = hints[key]
    if isinstance(came, Mapping) and hint == _Fields and len(where) > 1:
        name = str(where[1])
        return BadRequest(f"{key}: {name:.40}", repr(came.get(name))[:_SHOWN], "a text, a number or null")
    given = came if isinstance(came, Mapping) else {}
    for choice in _choices(hint) if given else ():
        inside = next((str(loc[2]) for loc in wrong if loc[1:2] == (getattr(choice, "__name__", ""),) and loc[2:]), "")
        if isinstance(choice, type) and inside in given and set(given) == set(get_type_hints(choice)):
            words = _words(inside, get_type_hints(choice)[inside])
            return BadRequest(f"{key}: {inside}", repr(given[inside])[:_SHOWN], words)
    return BadRequest(key, repr(came)[:_SHOWN], _words(key, hint))


def _row_refusal(rows: Sequence[object], where: tuple[int | str, ...], kind: object) -> BadRequest:
    """kind: of the rows, one of those in _ROWS."""
    names = _ROWS[kind]
    place, row = int(where[1]), rows[int(where[1])]
    column = int(where[2]) if len(where) > 2 else len(names)
    if not isinstance(row, list | tuple) or len(row) != len(names) or column >= len(names):
        return BadRequest(f"rows: row {place + 1}", repr(row)[:_SHOWN], f"{', '.join(names)} (a time or null)")
    return BadRequest(
        f"line {row[0]}: {names[column]}", repr(row[column])[:_SHOWN], _words(names[column], get_args(kind)[column])
    )


def _choices(hint: object) -> tuple[object, ...]:
    """What a field may be, but for null."""
    whole = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
    return tuple(each for each in whole if each is not NoneType)


def _words(name: str, hint: object) -> str:
    """What a field takes, in words."""
    said = [_WORDS[each] if each in _WORDS else repr(get_args(each)[0]) for each in _choices(hint)]
    return _OF_FIELD.get(name) or " or ".join(said)
