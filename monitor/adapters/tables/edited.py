"""A configuration file changed by the program: only what is meant, line by line, and all else, comments and order too, as it stood."""

from __future__ import annotations

import contextlib
import json
import os
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from monitor.adapters.tables.toml import lines_of
from monitor.domain.refusal import Refusal

_VALUE = re.compile(r"""(\s*[\w-]+\s*=\s*)("[^"]*"|'[^']*')(.*)""", re.DOTALL)
_Wanted = dict[
    tuple[str, str], str | None
]  # by table, as `lines_of` has it, and key: the text there; None: not the key


class EditError(Refusal):
    """A file that cannot be changed so."""


def with_other_probe(text: str, was: str, now: str) -> str:
    """The text of a configuration in which a probe, `<node>/<probe>`, took the place of another; where both are in it they change places.
    Raises EditError."""
    names = {was: now, now: was}

    def changed(kind: str, table: dict[str, Any]) -> dict[str, str | None]:
        there = names.get(f"{table.get('node')}/{table.get('probe')}") if kind == "probe" else None
        return {} if there is None else dict(zip(("node", "probe"), there.split("/", 1), strict=True))

    return _edited(text, was, changed)


def with_other_node(text: str, was: str, now: str) -> str:
    """The same of a node with all its probes and switches. Raises EditError."""
    names = {was: now, now: was}

    def changed(kind: str, table: dict[str, Any]) -> dict[str, str | None]:
        there = names.get(str(table.get("node"))) if kind != "machine" else None
        return {} if there is None else {"node": there}

    return _edited(text, was, changed)


def with_other_machine(text: str, was: str, now: str, **said: str) -> str:
    """The text in which another machine took the place of one, with its probes and switches. said: its name, kind or air. Raises EditError."""

    def changed(kind: str, table: dict[str, Any]) -> dict[str, str | None]:
        if kind != "machine":
            return {"machine": now} if table.get("machine") == was else {}
        if table.get("id") != was:
            return {}
        return {**({} if was == now else {"id": now, "name": None}), **said}  # the name is the other's

    return _edited(text, was, changed)


def _edited(text: str, was: str, changed: Callable[[str, dict[str, Any]], dict[str, str | None]]) -> str:
    """changed: what of a table is to be otherwise. Raises EditError."""
    data = tomllib.loads(text)
    if was not in _named(data):
        raise EditError(was, "not in the configuration")
    wanted: _Wanted = {}
    for kind in ("machine", "probe", "switch"):
        for number, table in enumerate(data.get(kind, []), 1):
            for key, value in changed(kind, table).items():
                wanted[f"{kind}[{number}]", key] = value
                if value is None:
                    table.pop(key, None)
                else:
                    table[key] = value
    edited = _with(text, wanted)
    with contextlib.suppress(tomllib.TOMLDecodeError):
        if tomllib.loads(edited) == data:
            return edited
    raise EditError(
        was,
        "written in a way that this command does not change",
        "a line for each setting; or do it by hand, then `sudo systemctl reload eggroom`",
    )


def _named(data: dict[str, Any]) -> Iterator[object]:
    for table in (*data.get("machine", []), *data.get("probe", [])):
        yield from (table.get("id"), table.get("node"), f"{table.get('node')}/{table.get('probe')}")


def _with(text: str, wanted: _Wanted) -> str:
    """The same text where these values stand; what has no line of its own yet comes below the first of its table."""
    lines, places = text.splitlines(keepends=True), lines_of(text)
    for (table, key), value in sorted(
        wanted.items(), key=lambda each: -places.get(".".join(each[0]), places.get(each[0][0], 0))
    ):
        at = places.get(f"{table}.{key}")
        if at is None and value is not None and table in places:
            head = lines[places[table] - 1]
            lines.insert(places[table], f"{key} = {_text(value)}{head[len(head.rstrip()) :] or chr(10)}")
        elif at is not None and (found := _VALUE.fullmatch(lines[at - 1])):
            lines[at - 1] = "" if value is None else f"{found[1]}{_text(value)}{found[3]}"
    return "".join(lines)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False)


def write_whole(path: Path, text: str) -> Path:
    """Write it in one step, with the owner and mode that the file has; the file of before stays beside it, and its path is returned. Raises OSError."""
    path = path.resolve()
    before, part = path.with_name(f"{path.name}.before"), path.with_name(f"{path.name}.part")
    as_it_was = path.stat()
    try:
        for target, content in ((part, text.encode()), (before, path.read_bytes())):
            with open(target, "wb") as file:
                os.fchmod(file.fileno(), as_it_was.st_mode & 0o7777)
                with contextlib.suppress(PermissionError):  # only root may give a file away
                    os.fchown(file.fileno(), as_it_was.st_uid, as_it_was.st_gid)
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
    return before


def put_back(path: Path) -> None:
    """As it was before `write_whole`. Raises OSError."""
    path = path.resolve()
    os.replace(path.with_name(f"{path.name}.before"), path)
