"""A table about eggs out of a spreadsheet: which columns it has, and each cell as it was typed. What it means says the verb that reads it."""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from monitor.cli.frame import Wrong
from monitor.domain.fixed import fixed

EGG = "egg"
SHOWN = 10  # lines that are wrong; more are the same again
_BETWEEN = ("\t", ";", ",")  # what stands between cells: the first of these that is in the head


@fixed
class Table:
    """rows: each with its line and the cells that have something in them, by column. left_out: columns that nobody asks for."""

    rows: Sequence[tuple[int, Mapping[str, str]]]
    left_out: Sequence[str]


def read_table(path: Path, known: Collection[str], *, least: Collection[str] = ()) -> Table:
    """A table with a head, as spreadsheets write it: tabs, semicolons or commas; blank cells and empty ends; a head in any case. `-` is standard
    input. Raises Wrong.

    known: the columns that are asked for; least: those that it must have, beside the egg.
    """
    such = ",".join((EGG, *(name for name in known if name != EGG)))
    try:
        text = sys.stdin.read().removeprefix("\ufeff") if path == Path("-") else path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not text in UTF-8"
        raise Wrong(f"{path}: {reason}, expected a table with columns of {such}") from error
    between = next((each for each in _BETWEEN if each in text.partition("\n")[0]), ",")
    reader = csv.reader(io.StringIO(text), delimiter=between, skipinitialspace=True)
    try:
        lines = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    except csv.Error as error:
        raise Wrong(f"{path}: line {reader.line_num}: {error}, expected a table") from error
    if not lines:
        raise Wrong(f"{path}: empty, expected a table with columns of {such}")
    head = ["_".join(name.lower().split()) for name in lines[0][1]]
    named = [name for name in head if name]
    twice = next((name for name in named if named.count(name) > 1), None)
    if twice is not None:
        raise Wrong(f"{path}: line 1: column {twice[:40]!r} twice, expected each once")
    missing = next((name for name in (EGG, *least) if name not in named), None)
    if missing is not None:
        raise Wrong(f"{path}: line 1: columns {','.join(named)[:60]!r}, expected {missing} among them, of {such}")
    rows: list[tuple[int, Mapping[str, str]]] = []
    wrong: list[str] = []
    for line, cells in lines[1:]:
        beyond = next((cell for cell in cells[len(head) :] if cell), None)
        row = {name: cell for name, cell in zip(head, cells, strict=False) if name and cell}
        if beyond is not None:
            wrong.append(f"line {line}: {beyond[:40]!r} beyond the last column, expected {len(head)} columns")
        elif row and EGG not in row:
            wrong.append(f"line {line}: no egg, expected its number")
        elif row:
            rows.append((line, row))
    refuse(path, wrong)
    if not rows:
        raise Wrong(f"{path}: no line under its head, expected one for each egg")
    return Table(rows, [name for name in named if name not in {EGG, *known}])


def refuse(path: Path, wrong: Sequence[str]) -> None:
    """Raises Wrong with each line that cannot be read, where there are any."""
    if wrong:
        lines = "1 line" if len(wrong) == 1 else f"{len(wrong)} lines"
        more = [f"{path}: and {len(wrong) - SHOWN} more"] if len(wrong) > SHOWN else []
        told = [f"{path}: {each}" for each in wrong[:SHOWN]]
        raise Wrong("\n".join([f"{path}: {lines} that cannot be read, nothing was written", *told, *more]))
