"""Values of the hot path: frozen for whoever reads or checks the code, and quick to make.

A frozen dataclass sets each field through `object.__setattr__`, which costs three times a plain one; of a judged reading a dozen
values are made. So these are plain at run time, and the type checker refuses to change one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar, dataclass_transform

_Class = TypeVar("_Class")


@dataclass_transform(frozen_default=True)
def fixed(cls: type[_Class]) -> type[_Class]:
    """A dataclass with slots that is never changed, only replaced: equal and hashed by its fields."""
    return dataclass(slots=True, unsafe_hash=True)(cls)
