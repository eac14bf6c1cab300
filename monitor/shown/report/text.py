"""A report drawn as text: at most 80 columns, a blank line before each section, nothing that a terminal acts on."""

from __future__ import annotations

from collections.abc import Iterator

from monitor.domain.wall import filled, printable
from monitor.shown.report.tree import (
    EVERYWHERE,
    INSET,
    OF_DRAWINGS,
    PAGE_ONLY,
    Block,
    Drawing,
    Item,
    Paragraph,
    Report,
    Row,
    Section,
    Table,
)

STEP = "  "  # by which what belongs to something is set in
_LABEL, _COLUMN = 14, 22  # one label and three columns fill the width


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
        for line in _block(block):
            yield line if section.head is None else f"{step}{line}"
    for part in section.parts:
        yield from _section(part, step)


def _block(block: Block) -> Iterator[str]:
    if isinstance(block, Drawing):
        return
    if isinstance(block, Table):
        yield from (_row(row) for row in block.rows)
    elif isinstance(block, Item):
        yield from (f"- {point}" for point in block.points)
        yield from (f"{STEP}{note}" for note in block.notes)
    elif isinstance(block, Paragraph) and block.kind != OF_DRAWINGS:
        yield f"{STEP if block.kind == INSET else ''}{block.words}"


def _row(row: Row) -> str:
    label = f"{STEP if row.under else ''}{row.label}"
    return label.ljust(_LABEL) + "".join(cell.rjust(_COLUMN) for cell in row.cells)
