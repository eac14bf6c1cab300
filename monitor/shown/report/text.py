"""A report drawn as text, as wide as it is asked for: a blank line before each section, nothing that a terminal acts on.

Tables take 80 columns. Narrower, each of their columns is told by itself, line under line.
"""

from __future__ import annotations

from collections.abc import Iterator

from monitor.domain.wall import WIDTH, filled, folded, printable
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
# By how much a line that is folded under itself stays under the width, and its later ones are set in.
_SPARE, _HANG = 3, 4
_EMPTY = ("", "-")  # cells with nothing in them


def drawn(report: Report, inset: bool = True, columns: int = WIDTH) -> str:
    """The whole, each line ended.

    Parameters
        inset: what stands under a heading is set in; as it is not where tables take the whole width.
        columns: how wide at most, 20 or more.
    """
    lines = [each.words for each in report.answer]
    if report.title:
        lines += ["", report.title]
    lines += [each.words for each in report.about]
    for section in report.sections:
        lines += _section(section, STEP if inset else "", columns)
    return "\n".join(filled(printable(line), columns) for line in (lines if report.answer else lines[1:])) + "\n"


def _section(section: Section, step: str, columns: int) -> Iterator[str]:
    if section.where == PAGE_ONLY:
        return
    if section.where == EVERYWHERE:
        yield ""
        if section.head is not None:
            yield section.head.capitals
    for block in section.blocks:
        for line in block_lines(block, columns):
            yield line if section.head is None else f"{step}{line}"
    for part in section.parts:
        yield from _section(part, step, columns)


def block_lines(block: Block, columns: int = WIDTH) -> Iterator[str]:
    """What one block comes to, for what is told without a report about it."""
    if isinstance(block, Drawing):
        return
    if isinstance(block, Labelled):
        yield from _folded(f"{block.label:<{_LABEL}}", block.words, columns)
    elif isinstance(block, Listing):
        if columns >= WIDTH:
            yield "".join(_cell(column, column.head) for column in block.columns)[block.columns[0].gap :]
        yield from (line for row in block.rows for line in _listed(block, row, columns))
    if isinstance(block, Table):
        yield from (_row(row) for row in block.rows) if columns >= WIDTH else _by_column(block)
    elif isinstance(block, Item):
        yield from (f"- {point}" for point in block.points)
        yield from (f"{STEP}{note}" for note in block.notes)
    elif isinstance(block, Paragraph) and block.kind in (HANGING, INSET_HANGING):
        lead = STEP if block.kind == INSET_HANGING else ""
        yield from folded(lead + block.words, columns - _SPARE, " " * _HANG)
    elif isinstance(block, Paragraph) and block.kind != OF_DRAWINGS:
        yield f"{STEP if block.kind == INSET else ''}{block.words}"


def _listed(listing: Listing, row: tuple[str, ...], wide: int) -> list[str]:
    """One row, in a line or more."""
    columns = listing.columns
    if wide < WIDTH:
        first, *others = zip((column.head for column in columns), row, strict=False)
        words = "; ".join(" ".join(filter(None, pair)) for pair in others if pair[1] not in _EMPTY)
        return folded(f"{' '.join(filter(None, first))}: {words}".removesuffix(": "), wide - len(STEP), " " * _HANG)
    lead = "".join(_cell(column, cell) for column, cell in zip(columns, row[:-1], strict=False))[columns[0].gap :]
    lead += " " * columns[-1].gap
    return _folded(lead, row[-1], wide) if listing.folds else [f"{lead}{row[-1]}".rstrip()]


def _cell(column: Column, cell: str) -> str:
    return " " * column.gap + (cell.rjust(column.width) if column.right else cell.ljust(column.width))


def _folded(lead: str, words: str, wide: int) -> list[str]:
    """What leads, and words that are folded under themselves; where there is little room beside it, under it."""
    if len(lead) > wide // 2 and wide < WIDTH:
        return folded(f"{lead.rstrip()} {words}".rstrip(), wide - _SPARE, " " * _HANG)
    return folded(lead + words, max(wide - _SPARE, len(lead) + 1), " " * len(lead)) or [""]


def _row(row: Row) -> str:
    label = f"{STEP if row.under else ''}{row.label}"
    return label.ljust(_LABEL) + "".join(cell.rjust(_COLUMN) for cell in row.cells)


def _by_column(table: Table) -> Iterator[str]:
    """Each column with its head, and every row of it that has something in it."""
    head, *rows = table.rows
    for place, name in enumerate(head.cells):
        yield name
        for row in rows:
            if row.cells[place] not in _EMPTY:
                yield f"{STEP * (2 if row.under else 1)}{row.label}: {row.cells[place]}"
