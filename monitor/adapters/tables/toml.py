"""A TOML file as it lies there; where it cannot be read, one line says why."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from importlib.resources.abc import Traversable
from typing import Any

from monitor.adapters.tables.refused import Complaint, TableError

_TABLES = re.compile(r"\s*\[\[\s*([\w.-]+)\s*\]\]")
_TABLE = re.compile(r"\s*\[\s*([\w.-]+)\s*\]")
_NAMED = re.compile(r"\s*([\w-]+)\s*=")
_KEY = re.compile(r"\s*([\w-]+)\s*=\s*[\"']?([^\"'#]*?)[\"']?\s*(?:#.*)?$")

_AT = re.compile(r"(.*) \(at line (\d+), column \d+\)", re.DOTALL)
# What the parser says -> what came, and what was expected. TOML decides on the first letter of a value what it is to be.
_SLIPS = {
    "Illegal character '\\n'": (
        "a quote without the one that ends it",
        'a text between two quotes, such as "setter-1"',
    ),
    "Expected newline or end of document after a statement": (
        "more behind the value",
        "one value; a number with a point, such as 10.5",
    ),
    "Expected '=' after a key in a key/value pair": ("words without a value", 'such as name = "setter-1"'),
    "Cannot overwrite a value": ("what stands above already", "each once"),
    "Cannot declare": ("a table that stands above already", "each once"),
    "Invalid value": ("no value", 'a number, true, false, or a text between two quotes, such as "setter-1"'),
    "Invalid statement": ("no setting", 'such as name = "setter-1", or a table, such as [site]'),
}


def read_toml(file: Traversable, where: str, expected: str) -> dict[str, Any]:
    """The table in a file; expected: what a file that is not there should have been. Raises TableError with one complaint."""
    try:
        return tomllib.loads(file.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise TableError([Complaint(where, came=str(error.strerror), expected=expected)]) from None
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise TableError([Complaint(where, came="bytes that are not UTF-8", expected="text", line=line)]) from None
    except tomllib.TOMLDecodeError as error:
        raise TableError([_plain(where, str(error))]) from None


def _plain(where: str, said: str) -> Complaint:
    """What is wrong with the writing of a file: in plain words where it is one of the slips that people make, else as the parser says it."""
    found = _AT.fullmatch(said)
    if found is None:
        return Complaint(where, came=said, expected="TOML")
    came, expected = _SLIPS.get(found[1].partition(" (")[0], (found[1], "TOML"))
    return Complaint(where, came=came, expected=expected, line=int(found[2]))


def lines_of(text: str) -> dict[str, int]:
    """The line of each table and key of a TOML text, by the name that a complaint has for it: `site.zone`, `machine[2].kind`, and by what the
    house calls them, `machine setter-2`, `probe node-a/top`. What is written in another way than a line for each key is not found."""
    found: dict[str, int] = {}
    counted: dict[str, int] = {}
    ids: dict[str, dict[str, str]] = {}
    table = ""
    for number, line in enumerate(text.splitlines(), 1):
        if several := _TABLES.match(line):
            counted[several[1]] = counted.get(several[1], 0) + 1
            table = f"{several[1]}[{counted[several[1]]}]"
            found[table] = number
        elif one := _TABLE.match(line):
            first, _, rest = one[1].partition(".")
            table = ".".join(
                part for part in (f"{first}[{counted[first]}]" if first in counted else first, rest) if part
            )
            found[table] = number
        elif named := _NAMED.match(line):
            found[f"{table}.{named[1]}" if table else named[1]] = number
            key = _KEY.match(line)
            if key is not None and key[1] in ("id", "node", "probe", "name") and table.endswith("]"):
                ids.setdefault(table, {})[key[1]] = key[2]
    for table, own in ids.items():
        kind = table.partition("[")[0]
        name = own.get("id") or "/".join(own.get(key, "") for key in ("node", "probe"))
        called = f"stage.{own.get('name', '')}" if kind == "stage" else f"{kind} {name}"
        within = {place: at for place, at in found.items() if place == table or place.startswith(f"{table}.")}
        found |= {f"{called}{place.removeprefix(table)}": at for place, at in within.items()}
    return found


def numbered(complaint: Complaint, lines: Mapping[str, int]) -> Complaint:
    """A complaint with the line that it is about, where that is known."""
    name = ".".join(complaint.key)
    while name and complaint.line is None:
        within = [at for place, at in lines.items() if place == name or place.startswith((f"{name}[", f"{name}."))]
        if within:  # of a table that is written several times, or only in its parts, where it begins
            return complaint.on(lines.get(name, min(within)))
        name = name.rpartition(".")[0]
    return complaint
