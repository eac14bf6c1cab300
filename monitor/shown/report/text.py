"""A report drawn as text: at most 80 columns, a blank line before each section, nothing that a terminal acts on."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from monitor.domain.wall import filled, printable
from monitor.shown.report.tree import (
    EVERYWHERE,
    HANGING,
    INSET,
    INSET_HANGING,
    OF_DRAWINGS,
    PAGE_ONLY,
    Block,
    Column,
    Drawing,
    Item,
    Labelled,
    Listing,
    Paragraph,
    Report,
    Row,
    Section,
    Table,
)

STEP = "  "  # by which what belongs to something is set in
_LABEL, _COLUMN = 14, 22  # one label and three columns fill the width
_FOLDED, _HANG = 77, 4  # characters of a line that is folded under itself, and by how much its later ones are set in


def drawn(report: Report, inset: bool = True) -> str:
    """The whole, each line ended.

    Parameters
        inset: what stands under a heading is set in; as it is not where tables take the whole width.
    """
    lines = [report.title] if report.title else []
    lines += [each.words for each in report.about]
    for section in report.sections:
        lines += _section(section, STEP if inset else "")
    return "\n".join(filled(printable(line)) for line in (lines if report.title else lines[1:])) + "\n"


def _section(section: Section, step: str) -> Iterator[str]:
    if section.where == PAGE_ONLY:
        return
    if section.where == EVERYWHERE:
        yield ""
        if section.head is not None:
            yield section.head.capitals
    for block in section.blocks:
        for line in block_lines(block):
            yield line if section.head is None else f"{step}{line}"
    for part in section.parts:
        yield from _section(part, step)


def block_lines(block: Block) -> Iterator[str]:
    """What one block comes to, for what is told without a report about it."""
    if isinstance(block, Drawing):
        return
    if isinstance(block, Labelled):
        yield from _folded(f"{block.label:<{_LABEL}}", block.words)
    elif isinstance(block, Listing):
        yield "".join(_cell(column, column.head) for column in block.columns)[block.columns[0].gap :]
        yield from (line for row in block.rows for line in _listed(block, row))
    if isinstance(block, Table):
        yield from (_row(row) for row in block.rows)
    elif isinstance(block, Item):
        yield from (f"- {point}" for point in block.points)
        yield from (f"{STEP}{note}" for note in block.notes)
    elif isinstance(block, Paragraph) and block.kind in (HANGING, INSET_HANGING):
        lead = STEP if block.kind == INSET_HANGING else ""
        yield from textwrap.wrap(lead + block.words, _FOLDED, subsequent_indent=" " * _HANG)
    elif isinstance(block, Paragraph) and block.kind != OF_DRAWINGS:
        yield f"{STEP if block.kind == INSET else ''}{block.words}"


def _listed(listing: Listing, row: tuple[str, ...]) -> list[str]:
    """One row, in a line or more."""
    columns = listing.columns
    lead = "".join(_cell(column, cell) for column, cell in zip(columns, row[:-1], strict=False))[columns[0].gap :]
    lead += " " * columns[-1].gap
    return _folded(lead, row[-1]) if listing.folds else [f"{lead}{row[-1]}".rstrip()]


def _cell(column: Column, cell: str) -> str:
    return " " * column.gap + (cell.rjust(column.width) if column.right else cell.ljust(column.width))


def _folded(lead: str, words: str) -> list[str]:
    """What leads, and words that are folded under themselves."""
    return textwrap.wrap(lead + words, max(_FOLDED, len(lead) + 1), subsequent_indent=" " * len(lead)) or [""]


def _row(row: Row) -> str:
    label = f"{STEP if row.under else ''}{row.label}"
    return label.ljust(_LABEL) + "".join(cell.rjust(_COLUMN) for cell in row.cells)
