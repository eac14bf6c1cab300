"""Whatever somebody typed, or a machine or a source is called, is words in a page and nothing else: seen by a parser, beside the same
page with names that nobody could mistake."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser

import pytest

from monitor.analysis.history.chart import charts_of
from monitor.analysis.history.environment import BatchHistory, Stretch, history_of
from monitor.analysis.history.felt import DECLARED, HANDLING, MOVE, OPENING, SPLIT, Happening
from monitor.analysis.history.felt_figures import felt_of
from monitor.analysis.review.judged import Verdict
from monitor.analysis.review.whole import BatchReview, Reviewed, Subject
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, Dead, Entry, Helped, LookAgain, Note, Weighing
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.published.causes import Catalogue, Published
from monitor.domain.readings.calibration import Calibration, by_offset
from monitor.domain.wall import printable
from monitor.shown.form import Shown
from monitor.shown.history.report import Header, history_report
from monitor.shown.report import page, text
from monitor.shown.report.tree import (
    CAUTION,
    HANGING,
    INSET,
    INSET_HANGING,
    OF_DRAWINGS,
    PLAIN,
    Column,
    Heading,
    Item,
    Labelled,
    Listing,
    Paragraph,
    Report,
    Row,
    Scale,
    Section,
    Table,
)
from monitor.shown.review.whole import review_report
from tests.analysis.air import HOUR, T0
from tests.analysis.lived import SET_AT, TERM_DAYS, stretches
from tests.one_egg import day, hens, make_site, record, report
from tests.shown.review.test_whole import CATALOGUE, whole

SHOWN = Shown(UTC, "C")
Named = Callable[[str], str]
ODD = "<b onclick='x'>&amp;\"'</b></title></svg></style><!--\x1b[2J\x00\x07\x7f\u202e\u2028-->"


def innocent(name: str) -> str:
    """A name that is found again: `Qstage`."""
    return f"Q{name}"


def odd(name: str) -> str:
    """The same, with everything after it that a page could take for its own."""
    return f"Q{name}{ODD}"


def lived(named: Named) -> tuple[BatchHistory, list[Stretch], dict[str, EggModel]]:
    """Three days in two machines, with everything in them that has a name or was typed."""
    setter, hatcher = named("setter"), named("hatcher")
    models = {setter: EggModel(60.0, TERM_DAYS), hatcher: EggModel(60.0, TERM_DAYS, "still")}
    first, then = stretches()
    life = [replace(first, machine=setter, stage=named("stage")), replace(then, machine=hatcher, stage=named("later"))]
    done = (
        Happening(T0, MOVE, setter, f"to {setter}"),
        Happening(T0 + 10 * HOUR, OPENING, setter, named("opening")),
        Happening(T0 + 20 * HOUR, SPLIT, setter, named("split")),
        Happening(T0 + 31 * HOUR, HANDLING, setter, "declared", T0 + 32 * HOUR, named("by")),
        Happening(T0 + 46 * HOUR, DECLARED, setter, named("declared")),
        Happening(T0 + 47 * HOUR, "note", setter, named("note"), by=named("writer"), entry=3),
        Happening(T0 + 48 * HOUR, MOVE, hatcher, f"to {hatcher}"),
    )
    at = SET_AT - timedelta(days=1)
    calibrations = (Calibration(named("probe"), at, by=named("calibrator"), dry_bulb_c=by_offset("dry_bulb_c", 0.1)),)
    history = replace(
        history_of(life),
        felt=felt_of(life, models, set_ms=T0, term_days=TERM_DAYS, happenings=done),
        happenings=done,
        calibrations=calibrations,
    )
    return history, life, models


def of_batch(named: Named) -> Report:
    history, life, models = lived(named)
    header = Header(named("batch"), named("profile"), 24, SET_AT)
    return history_report(history, header, SHOWN, charts=charts_of(life, models, T0))


def of_egg(named: Named) -> Report:
    book = EggBook(hens(22.0))
    for on, fact in (
        (0.0, Weighing(60.0, error_g=0.01)),
        (7.0, Weighing(57.4, error_g=0.01)),
        (8.0, Note(named("note"))),
        (9.0, LookAgain(day(10.0), named("look"))),
        (10.0, Helped(named("help"))),
        (11.0, Candling("alive")),
        (14.0, Weighing(54.8, error_g=0.01)),
        (20.0, Dead("late")),
    ):
        book = add(book, Entry(day(on), day(on), named("writer"), fact, egg=7))
    figures, charts, header = report(record(book), make_site(), book.batch, 7, day(22))
    return history_report(figures, header, SHOWN, charts=charts)


def catalogue(named: Named) -> Catalogue:
    """The shipped one, each of its words marked."""

    def marked(id_: str) -> Published:
        finding = CATALOGUE.findings[id_]
        causes = tuple(replace(c, words=f"{c.words} {named('cause')}") for c in finding.causes)
        return replace(finding, causes=causes, caution=f"{finding.caution} {named('caution')}")

    findings = {id_: marked(id_) for id_ in CATALOGUE.findings}
    sources = {key: f"{words} {named('source')}" for key, words in CATALOGUE.sources.items()}
    return replace(CATALOGUE, findings=findings, sources=sources)


def of_review(named: Named) -> Report:
    marked = catalogue(named)

    def verdict(each: Verdict) -> Verdict:
        return replace(each, causes=tuple(replace(c, words=f"{c.words} {named('cause')}") for c in each.causes))

    given = whole("wet-chick", "pipped-dead", good=(named("first"), named("second")))
    reviewed = tuple(Reviewed(r.finding, r.subject, tuple(map(verdict, r.verdicts))) for r in given.reviewed)
    batch = replace(given, batch=named("batch"), profile=named("profile"), reviewed=reviewed)
    return review_report(batch, marked, SHOWN)


def of_nothing(named: Named) -> Report:
    set_at = datetime(2026, 3, 1, tzinfo=UTC)
    batch = BatchReview(
        named("batch"), named("profile"), 20, set_at, None, (), (), 0.75, 7, (("wet-chick", Subject((3,))),)
    )
    return review_report(batch, CATALOGUE, SHOWN)


def of_every_kind(named: Named) -> Report:
    """A report with a block of each kind, whoever may come to write one."""
    table = Table(tuple(Row(named("label"), (named("cell"),), under) for under in (False, True)))
    item = Item((named("point"),), (named("answer"),), Scale(1.0, None, 2.0))
    kinds = tuple(
        Paragraph(named("words"), kind) for kind in (PLAIN, INSET, HANGING, INSET_HANGING, CAUTION, OF_DRAWINGS)
    )
    part = Section(
        Heading(named("loud"), named("rest")),
        (*kinds, table, Labelled(named("mark"), named("figure")), _listing(named), item),
    )
    return Report(named("title"), (Paragraph(named("about")),), (Section(Heading(named("over")), parts=(part,)),))


def _listing(named: Named) -> Listing:
    columns = Column(named("head"), 3), Column(named("last"))
    return Listing(columns, ((named("short"), named("long")),))


REPORTS = {
    "every kind": of_every_kind,
    "a batch": of_batch,
    "an egg": of_egg,
    "a review": of_review,
    "nothing found": of_nothing,
}


class Seen(HTMLParser):
    """The elements with their attributes, in order, and the words between them and in titles."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.shape: list[tuple[str, ...]] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = (value or "" for name, value in attrs if name != "title")
        self.shape.append((tag, *(name for name, _ in attrs), *given))
        self.words += [value or "" for name, value in attrs if name == "title"]

    def handle_endtag(self, tag: str) -> None:
        self.shape.append(("/", tag))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def handle_comment(self, data: str) -> None:
        self.shape.append(("comment", data))

    def unknown_decl(self, data: str) -> None:
        self.shape.append(("declaration", data))


def controls(html: str) -> set[str]:
    return {char for char in html if not char.isprintable() and char != "\n"}


def marked(words: str) -> str:
    """What the innocent words are when each name in them is odd."""
    return re.sub(r"Q[a-z]+", lambda found: f"{found[0]}{printable(ODD)}", words)


def blanks_aside(words: str) -> str:
    return " ".join(words.split())


@pytest.mark.parametrize("kind", REPORTS)
def test_names_are_words_and_nothing_else(kind: str) -> None:
    """The elements and attributes are those of the page with innocent names, and the words are the typed ones."""
    plain, hostile = (page.drawn(REPORTS[kind](named)) for named in (innocent, odd))
    assert controls(hostile) == set()
    seen, expected = Seen(hostile), Seen(plain)
    assert seen.shape == expected.shape
    assert [blanks_aside(words) for words in seen.words] == [blanks_aside(marked(words)) for words in expected.words]
    found = set(re.findall(r"Q([a-z]+)", plain))
    assert found >= NAMES[kind], NAMES[kind] - found


NAMES = {
    "every kind": {"title", "about", "over", "loud", "rest", "words", "label", "cell", "point", "answer"},
    "a batch": {"batch", "profile", "stage", "later", "setter", "hatcher", "opening", "split", "by", "declared", "note", "writer", "probe", "calibrator"},
    "an egg": {"note", "writer", "look", "help"},
    "a review": {"batch", "profile", "cause", "caution", "source", "first", "second"},
    "nothing found": {"batch"},
}  # fmt: skip


@pytest.mark.parametrize("kind", REPORTS)
def test_no_terminal_is_told_to_do_anything(kind: str) -> None:
    """The text of the same has no control character either."""
    assert controls(text.drawn(REPORTS[kind](odd))) == set()


def test_a_page_that_forgets_it_is_told() -> None:
    """The parser sees an element, an attribute and a comment that came with a name."""
    title, body = (page.drawn(Report("Qname")).replace("Qname", f"Qname{ODD}", count) for count in (1, -1))
    for broken in (title, body):
        assert Seen(broken).shape != Seen(page.drawn(Report("Qname"))).shape
        assert controls(broken) == {"\x1b", "\x00", "\x07", "\x7f", "\u202e", "\u2028"}
