"""What may stand any number of times in a form that is kept."""

from __future__ import annotations

from typing import Annotated, TypeVar

from pydantic import FailFast

_V = TypeVar("_V")
# The first that is wrong ends the reading: a complaint about each of millions would take gigabytes, and one is told.
Rows = Annotated[tuple[_V, ...], FailFast()]
