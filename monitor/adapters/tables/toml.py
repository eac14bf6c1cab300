"""A TOML file as it lies there; where it cannot be read, one line says why."""

from __future__ import annotations

import tomllib
from importlib.resources.abc import Traversable
from typing import Any

from monitor.adapters.tables.refused import TableError


def read_toml(file: Traversable, where: str, expected: str) -> dict[str, Any]:
    """The table in a file; expected: what a file that is not there should have been. Raises TableError, one line, which begins with `where`."""
    try:
        return tomllib.loads(file.read_bytes().decode())
    except OSError as error:
        raise TableError([f"{where}: {error.strerror}, expected {expected}"]) from None
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise TableError([f"{where}: line {line}: bytes that are not UTF-8, expected text"]) from None
    except tomllib.TOMLDecodeError as error:
        raise TableError([f"{where}: {error}, expected TOML"]) from None
