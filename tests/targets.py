"""What eggs should lose, as published: the rows of tests/reference/target_losses.csv, and how their cells are read."""

from __future__ import annotations

import csv
import re
from pathlib import Path

TARGETS = list(
    csv.DictReader((Path(__file__).parent / "reference" / "target_losses.csv").read_text(encoding="utf-8").splitlines())
)


def span(cell: str) -> tuple[float, float]:
    """The first range of a cell (one figure: a range of no width)."""
    figure = re.match(r"(?:about )?([\d.]+)(?: ?(-|\+/-) ?([\d.]+))?", cell)
    assert figure is not None, cell
    first, sign, second = figure.groups()
    if sign == "+/-":
        return float(first) - float(second), float(first) + float(second)
    return float(first), float(second or first)


def clock_of(row: dict[str, str]) -> float | str:
    """The clock of a published target, as profiles write it."""
    words = {"term": "hatch", "to pip": "internal pip"}
    return words[row["by"]] if row["by"] in words else float(row["by"].removeprefix("day "))
