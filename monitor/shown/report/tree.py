"""A report as a tree of sections: built once from values, drawn as text by `text` and as a page by `page`.

What a line is stands in its kind, and never in how it begins or is spelled.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

# Kinds of a paragraph: of its own; belonging to the one before; either of them folded with its later lines set in further; what warns; and
# what explains drawings, so on the page alone.
PLAIN, INSET, CAUTION, OF_DRAWINGS = "plain", "inset", "caution", "of drawings"
HANGING, INSET_HANGING = "hanging", "inset hanging"
# Where a section stands: everywhere; on the page alone; on the page with its heading, in text without.
EVERYWHERE, PAGE_ONLY, HEADED_ON_PAGE = "everywhere", "page only", "headed on the page"


@dataclass(frozen=True, slots=True)
class Heading:
    """The words over a section. loud: those that stand in capitals in text; rest: what follows them as it is."""

    loud: str
    rest: str = ""

    @property
    def capitals(self) -> str:
        """As text has it: `GAPS: 3, longest first`."""
        return self.loud.upper() + self.rest

    @property
    def sentence(self) -> str:
        """As a page has it: `Gaps: 3, longest first`."""
        words = self.loud + self.rest
        return words[:1].upper() + words[1:]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A line or more of words. look: the name by which the style of a page sets it apart from its kind; text has none."""

    words: str
    kind: str = PLAIN
    look: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A line of a table: its label, and a cell for each column. under: belongs to the row above."""

    label: str
    cells: tuple[str, ...]
    under: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows, the first of them the head."""

    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Labelled:
    """A figure, or a sentence, under the word for it."""

    label: str
    words: str


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a listing. width: of its cells in text, 0 of the last; right: whether they end alike there; gap: blanks before it."""

    head: str
    width: int = 0
    right: bool = False
    gap: int = 2


@dataclass(frozen=True, slots=True)
class Listing:
    """Rows of many short cells, the last one of words. folds: whether these may be long, and are then folded under themselves."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    folds: bool = True


@dataclass(frozen=True, slots=True)
class Scale:
    """A figure in its band, beside others of its kind. low, high: None where the band has no such end; not both."""

    low: float | None
    high: float | None
    here: float
    beside: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """What is asked, in a point or several, with what is said to it. scale: drawn between the two, on a page."""

    points: tuple[str, ...]
    notes: tuple[str, ...] = ()
    scale: Scale | None = None


@dataclass(frozen=True, slots=True)
class Drawing:
    """Markup that a page takes as it is, its words through `page.safe`; text has none of it."""

    markup: str


Block = Paragraph | Table | Labelled | Listing | Item | Drawing


@dataclass(frozen=True, slots=True)
class Section:
    """A heading, what stands under it, and the sections within. head: None for what stands apart without one."""

    head: Heading | None
    blocks: tuple[Block, ...] = ()
    parts: tuple[Section, ...] = ()
    where: str = EVERYWHERE


@dataclass(frozen=True, slots=True)
class Report:
    """All of it. title: empty where the first section says it; about: what stands under the title; answer: what it comes to, first of all in
    text, and after both on a page."""

    title: str
    about: tuple[Paragraph, ...] = ()
    sections: tuple[Section, ...] = field(default=())
    answer: tuple[Paragraph, ...] = ()

    def words(self) -> Iterator[str]:
        """Every sentence that text has, as it was written: headings, paragraphs, points and notes."""
        yield from (each for each in (self.title, *(p.words for p in (*self.about, *self.answer))) if each)
        yield from _words(self.sections)


def plain(lines: Iterable[str]) -> tuple[Paragraph, ...]:
    """Each a paragraph of its own."""
    return tuple(Paragraph(line) for line in lines)


def _words(sections: Iterable[Section]) -> Iterator[str]:
    for section in sections:
        if section.where == PAGE_ONLY:
            continue
        if section.head is not None and section.where == EVERYWHERE:
            yield section.head.sentence
        for block in section.blocks:
            if isinstance(block, Paragraph) and block.kind != OF_DRAWINGS:
                yield block.words
            elif isinstance(block, Labelled):
                yield f"{block.label}: {block.words}"
            elif isinstance(block, Item):
                yield from (*block.points, *block.notes)
        yield from _words(section.parts)
