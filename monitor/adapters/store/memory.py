"""A run's memory as bytes, and back. What another version wrote, or a card damaged, is dropped: a run learns it anew in minutes."""

from __future__ import annotations

import json
import logging
import sqlite3
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from monitor.domain.state.memory import Memory
from monitor.service.ports import LastAlive

if TYPE_CHECKING:
    from pydantic import TypeAdapter

_log = logging.getLogger("eggroom.store")


def encode(memory: Memory) -> bytes:
    """JSON, with the infinities and NaN that a memory may hold by their names."""
    return _adapter().dump_json((memory,))


def decode(text: bytes) -> Memory | None:
    """The memory that `encode` made; None for anything else, with one line in the log."""
    try:
        return _adapter().validate_json(text)[0]
    except ValueError as error:  # pydantic's errors are of this kind
        first = next((line.strip() for line in str(error).splitlines()[1:] if line.strip()), str(error))
        _log.warning("memory dropped bytes=%d at=%s", len(text), first[:80])
        return None


def read_memory(connection: sqlite3.Connection) -> Memory | None:
    """The memory in the record; None where there is none that this version understands."""
    row = connection.execute("SELECT json FROM memory").fetchone()
    return None if row is None else decode(row[0])


def read_alive(connection: sqlite3.Connection) -> LastAlive | None:
    """When the memory in the record was written, and whether at a stop: of any version's, without the rest of it."""
    row = connection.execute("SELECT json FROM memory").fetchone()
    if row is None:
        return None
    try:
        (memory,) = json.loads(row[0])
        return LastAlive(datetime.fromisoformat(memory["at"]), stopped=memory["final"] is True)
    except (ValueError, TypeError, KeyError):
        return None


@cache
def _adapter() -> TypeAdapter[tuple[Memory]]:
    """Built when the first memory comes, for it takes longer than all else here. In a tuple, which can be given a configuration: a
    dataclass by itself cannot. An unknown key is another version's."""
    from pydantic import ConfigDict, TypeAdapter

    return TypeAdapter(tuple[Memory], config=ConfigDict(ser_json_inf_nan="constants", extra="forbid"))
