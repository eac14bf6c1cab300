"""Values that are frozen for whoever reads or checks the code, and quick to make; and what is kept and changed, made likewise.

A frozen dataclass sets each field through a call of `object.__setattr__`, and a judged reading makes values of many fields. Its class
takes longer to put together as well, for each of its methods is written and compiled anew, and a start puts many
together. So these are plain at run time, the type checker refuses to change one, and only `__init__` is written for each class: when its
first value is made, for a start makes values of few. Each has a docstring: to one without, the library writes its signature, which takes
as long again as the class.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, dataclass, field, fields
from operator import attrgetter
from typing import TypeVar, dataclass_transform, overload

_Class = TypeVar("_Class")


@overload
def fixed(cls: type[_Class], /) -> type[_Class]: ...
@overload
def fixed(*, kw_only: bool) -> Callable[[type[_Class]], type[_Class]]: ...
@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def fixed(
    cls: type[_Class] | None = None, /, *, kw_only: bool = False
) -> type[_Class] | Callable[[type[_Class]], type[_Class]]:
    """A dataclass with slots that is never changed, only replaced: equal and hashed by its fields."""

    def made(plain: type[_Class]) -> type[_Class]:
        found = dataclass(slots=True, init=False, eq=False, repr=False, kw_only=kw_only)(plain)
        return _init_later(_by_fields(found))

    return made if cls is None else made(cls)


@dataclass_transform(field_specifiers=(field,))
def kept(cls: type[_Class], /) -> type[_Class]:
    """A dataclass with slots whose fields are set as time goes by: equal by its fields, and not hashed."""
    found = _init_later(_by_fields(dataclass(slots=True, init=False, eq=False, repr=False)(cls)))
    setattr(found, "__hash__", None)  # noqa: B010 - as a dataclass has it that is equal by its fields
    return found


def _init_later(cls: type[_Class]) -> type[_Class]:
    """The class, of which the first value that is made has `__init__` written."""

    def first(self: object, *values: object, **named: object) -> None:
        init = _init_of(cls)
        setattr(cls, "__init__", init)  # noqa: B010 - mypy would not have it in plain words
        init(self, *values, **named)

    setattr(cls, "__init__", first)  # noqa: B010
    return cls


def _init_of(cls: type[object]) -> Callable[..., None]:
    """`__init__` as a dataclass has it."""
    given: dict[str, object] = {"_MISSING": MISSING}
    by_place, by_name, body = ["self"], ["*"], []
    for f in fields(cls):  # type: ignore[arg-type]  # it is a dataclass, which no type says
        value, parameter = f.name, f.name
        if f.default is not MISSING:
            given[f"_{f.name}"] = f.default
            parameter += f"=_{f.name}"
            value = f.name if f.init else f"_{f.name}"
        elif f.default_factory is not MISSING:
            given[f"_{f.name}"] = f.default_factory
            parameter += "=_MISSING"
            value = f"_{f.name}() if {f.name} is _MISSING else {f.name}" if f.init else f"_{f.name}()"
        elif not f.init:
            continue  # `__post_init__` sets it
        body.append(f"self.{f.name} = {value}")
        if f.init:
            (by_name if f.kw_only else by_place).append(parameter)
    body += ["self.__post_init__()"] if hasattr(cls, "__post_init__") else []
    taken = by_place + (by_name if len(by_name) > 1 else [])
    exec(f"def __init__({', '.join(taken)}):\n    " + ("\n    ".join(body) or "pass"), given)
    init: Callable[..., None] = given["__init__"]  # type: ignore[assignment]  # by what was just written
    init.__qualname__ = f"{cls.__qualname__}.__init__"
    return init


def _by_fields(cls: type[_Class]) -> type[_Class]:
    """The class, equal, hashed and shown by its fields as a dataclass is."""
    each = fields(cls)  # type: ignore[arg-type]  # it is a dataclass, which no type says
    shown = [f.name for f in each if f.repr]
    compared = _values([f.name for f in each if f.compare])
    hashed = _values([f.name for f in each if (f.compare if f.hash is None else f.hash)])

    def equal(self: object, other: object) -> bool:
        return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

    def hash_(self: object) -> int:
        return hash(hashed(self))

    def text(self: object) -> str:
        return f"{type(self).__qualname__}({', '.join(f'{name}={getattr(self, name)!r}' for name in shown)})"

    for name, method in (("__eq__", equal), ("__hash__", hash_), ("__repr__", text)):
        setattr(cls, name, method)
    return cls


def _values(names: list[str]) -> Callable[[object], tuple[object, ...]]:
    """What reads these fields of a value, always as a tuple: attrgetter gives the value of one field by itself."""
    return attrgetter(*names) if len(names) > 1 else lambda value: tuple(getattr(value, name) for name in names)
