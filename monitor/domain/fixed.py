"""Values that are frozen for whoever reads or checks the code, and quick to make.

A frozen dataclass sets each field through a call of `object.__setattr__`, and a judged reading makes values of many fields; its class
takes longer to put together as well, and a start puts a hundred and more together. So these are plain at run time, and the type checker
refuses to change one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
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
    made = dataclass(slots=True, unsafe_hash=True, kw_only=kw_only)
    return made if cls is None else made(cls)
