"""A report drawn as one HTML page that needs nothing beside itself: no script, no font, no picture, no network.

It is read on a phone (360 pixels), in the dark, and on paper (A4). Every word goes through `safe`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from monitor.domain.wall import printable
from monitor.shown.report.style import STYLE
from monitor.shown.report.tree import (
    CAUTION,
    HEADED_ON_PAGE,
    INSET,
    INSET_HANGING,
    Block,
    Item,
    Labelled,
    Listing,
    Paragraph,
    Report,
    Scale,
    Section,
    Table,
)

_LOOKS = {INSET: "in", INSET_HANGING: "in", CAUTION: "caution"}


def safe(words: str) -> str:
    """Words as a page may hold them, as text and as the value of an attribute: nothing in them is markup or acts on who reads it."""
    return escape(printable(words))


def drawn(report: Report, style: str = STYLE) -> str:
    """The page."""
    body = [f"<h1>{safe(report.title)}</h1>", *(_paragraph(p.words, p.look) for p in (*report.about, *report.answer))]
    for section in report.sections:
        body += _section(section, 2)
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{safe(report.title)}</title>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>{style}</style>\n</head>\n<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


def _section(section: Section, level: int) -> Iterator[str]:
    if section.head is not None:
        over_others = section.parts and not section.blocks and section.where != HEADED_ON_PAGE
        look = ' class="one"' if over_others else ""
        yield f"<h{level}{look}>{safe(section.head.sentence)}</h{level}>"
    yield from _blocks(section.blocks)
    for part in section.parts:
        yield from _section(part, level + 1)


def _blocks(blocks: Sequence[Block]) -> Iterator[str]:
    """Each block; an item and what is said of it lie in a division, which no sheet of paper cuts."""
    open_ = False
    for block in blocks:
        if isinstance(block, Item):
            yield "</div><div>" if open_ else "<div>"
            open_ = True
            yield from _item(block)
            continue
        if open_:
            yield "</div>"
            open_ = False
        if isinstance(block, Paragraph):
            yield _paragraph(block.words, block.look or _LOOKS.get(block.kind, ""))
        elif isinstance(block, Table):
            yield from _table(block)
        elif isinstance(block, Labelled):
            yield f'<p class="lab"><b>{safe(block.label)}</b> {safe(block.words)}</p>'
        elif isinstance(block, Listing):
            yield from _listing(block)
        else:
            yield block.markup
    if open_:
        yield "</div>"


def _item(item: Item) -> Iterator[str]:
    yield from (_paragraph(point, "cause") for point in item.points)
    if item.scale is not None:
        yield from _scale(item.scale)
    yield from (_paragraph(note, "in") for note in item.notes)


def _paragraph(words: str, look: str = "") -> str:
    named = f' class="{look}"' if look else ""
    return f"<p{named}>{safe(words)}</p>"


def _table(table: Table) -> Iterator[str]:
    yield "<table>"
    for number, row in enumerate(table.rows):
        tag = "td" if number else "th"
        cells = "".join(f"<{tag}>{safe(cell)}</{tag}>" for cell in row.cells)
        yield f'<tr><th scope="row">{safe(row.label)}</th>{cells}</tr>'
    yield "</table>"


def _listing(listing: Listing) -> Iterator[str]:
    looks = ["" if column.right else ' class="words"' for column in listing.columns]
    heads = (f"<th{look}>{safe(column.head)}</th>" for look, column in zip(looks, listing.columns, strict=True))
    yield f"<table><tr>{''.join(heads)}</tr>"
    for row in listing.rows:
        yield f"<tr>{''.join(f'<td{look}>{safe(cell)}</td>' for look, cell in zip(looks, row, strict=False))}</tr>"
    yield "</table>"


def _scale(scale: Scale) -> Iterator[str]:
    """The band, the figure in it, and where the others lie."""
    marks = [x for x in (scale.low, scale.high, scale.here, *scale.beside) if x is not None]
    first, width = min(marks), max(max(marks) - min(marks), 1e-9)

    def x(value: float) -> str:
        return f"{10.0 + 80.0 * (value - first) / width:.1f}"

    left, right = "0" if scale.low is None else x(scale.low), "100" if scale.high is None else x(scale.high)
    yield '<svg class="strip" viewBox="0 0 100 10" preserveAspectRatio="none" role="img" aria-hidden="true">'
    yield f'<rect class="band" x="{left}" y="0" width="{float(right) - float(left):.1f}" height="10"/>'
    yield f'<line class="here" x1="{x(scale.here)}" y1="0" x2="{x(scale.here)}" y2="10"/>'
    yield from (f'<line class="good" x1="{x(v)}" y1="3" x2="{x(v)}" y2="10"/>' for v in scale.beside)
    yield "</svg>"
