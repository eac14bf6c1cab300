"""The page of one egg: its marks, its list and its loss, as Chromium draws them."""

from __future__ import annotations

import re
from datetime import UTC
from html import escape
from pathlib import Path
from xml.etree import ElementTree

import pytest

from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Candling, Hatched, Note, Weighing
from monitor.service.reports.batch import batch_charts
from monitor.shown.history.egg_draw import HEIGHT
from monitor.shown.history.report import to_html
from tests.one_egg import day, hens, make_site, record, report, written
from tests.shown.history.test_page import CHROMIUM, Reader, chromium, measured

SITE = make_site()


def page(weighings: int = 3, unit: str = "C") -> str:
    """Egg 7: weighed, candled, a note with markup, hatched on day 20.5."""
    book = EggBook(hens(21.5))
    for at, mass_g in ((0.0, 60.00), (7.0, 57.40), (14.0, 54.80))[:weighings]:
        book = written(book, at, Weighing(mass_g, error_g=0.01), 7)
    book = written(book, 7.0, Candling("alive"), 7)
    book = written(book, 9.0, Note("<b>odd</b>"), 7)
    book = written(book, 20.5, Hatched(), 7)
    book = written(book, 21.0, Note("ringed"), 7)
    figures, charts, header = report(record(book), SITE, book.batch, 7, day(22))
    return to_html(figures, charts, header, zone=UTC, unit=unit)


def loss_of(text: str) -> ElementTree.Element:
    """The drawing of the loss."""
    (drawn,) = re.findall(r'<svg class="losses".*?</svg>', text, re.DOTALL)
    return ElementTree.fromstring(drawn)


def test_each_drawing_has_small_marks_of_the_book() -> None:
    """At the head of each of four drawings: weighings, candling, note, hatch, none of after its end; each says what it is, and nothing is markup."""
    text = page()
    read = Reader(text)
    assert "<h1>Environment history of egg 7 of hen-1</h1>" in text
    marks = read.of("path", "entry")
    assert len(marks) == 4 * 6 + 1  # and one in the key
    assert all(re.fullmatch(r"M[\d.]+ 0V9", mark["d"] or "") for mark in marks)
    assert f"note: {escape('<b>odd</b>')}, by ada" in text
    assert "<b>" not in text
    assert "in the egg's book" in text
    assert "closed" not in text


def test_the_book_is_listed_below_the_drawings() -> None:
    """Every entry, also that of after its end, stands under a heading of its own, before the figures."""
    text = page()
    listed = text[text.index("<h2>In its book: 7") : text.index("<h2>Figures")]
    for words in (
        "weighed: 60.00 g",
        "weighed: 57.40 g, 4.3 % lost",
        "candled: alive",
        "hatched, by ada",
        "note: ringed",
    ):
        assert words in listed


def test_the_loss_is_drawn_beside_the_species_line() -> None:
    """Three dots where its weighings were, as high as their loss; the wedge from nothing at the set time to 11 and 14 % at pip, day 18.9 of 20.5."""
    drawn = loss_of(page())
    dots = [tuple(map(float, (e.get("d") or "")[1:-2].split())) for e in drawn.iter() if e.get("class") == "dot"]
    assert [x for x, _ in dots] == [pytest.approx(900.0 * d / 20.5, abs=0.1) for d in (0.0, 7.0, 14.0)]
    (band,) = [e.get("d") or "" for e in drawn.iter() if e.get("class") == "band"]
    corners = [tuple(map(float, pair.split())) for pair in band[1:-1].split("L")]
    (x0, zero_y), (pip_x, high_y), (_, low_y), (x1, also_zero_y) = corners
    assert (x0, x1, also_zero_y) == (0.0, 0.0, zero_y)
    assert pip_x == pytest.approx(900.0 * 18.9 / 20.5, abs=0.1)
    per_pct = (zero_y - high_y) / 14.0
    assert (zero_y - low_y) / per_pct == pytest.approx(11.0, abs=0.03)
    lost = [(zero_y - y) / per_pct for _, y in dots]
    assert lost == [pytest.approx(pct, abs=0.12) for pct in (0.0, 100.0 * 2.6 / 60.0, 100.0 * 5.2 / 60.0)]
    assert 0.0 < high_y < zero_y < HEIGHT


def test_one_weighing_is_no_line() -> None:
    """With one weighing, or none, there is no drawing of the loss, and the page has all the rest."""
    for weighings in (0, 1):
        text = page(weighings)
        assert 'class="losses"' not in text
        assert len(Reader(text).of("path", "entry")) == 4 * (3 + weighings) + 1


def test_the_page_of_a_batch_has_none_of_it() -> None:
    """Nothing of an egg stands in the history of the whole batch."""
    book = EggBook(hens(21.5))
    store = record(written(book, 7.0, Candling("alive"), 7))
    figures, charts = batch_charts(store, SITE, book.batch, now=day(22))
    from monitor.shown.history.report import Header

    text = to_html(figures, charts, Header("hen-1", "chicken", 12, book.batch.set_at), zone=UTC, unit="C")
    assert 'class="entry"' not in text
    assert "book" not in text


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_chromium_lays_it_out_on_a_phone(tmp_path: Path, dark: bool) -> None:
    """At 360 pixels nothing sticks out, the drawing of the loss is as wide as the others and as high as it should be."""
    dark_option = ["--blink-settings=preferredColorScheme=0"] if dark else []
    found = measured(tmp_path, 360, *dark_option, text=page())
    assert (found["wide"] <= 360, found["over"]) == (True, 0)
    assert len(found["svg"]) == 6
    assert {round(right - left) for left, right, _ in found["svg"]} == {round(found["svg"][0][1] - found["svg"][0][0])}
    assert found["svg"][5][2] == HEIGHT
    assert found["small"] >= 11.0


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
def test_chromium_prints_it(tmp_path: Path) -> None:
    """On A4 it comes to a handful of pages."""
    file, printed = tmp_path / "page.html", tmp_path / "page.pdf"
    file.write_text(page(unit="F"), encoding="utf-8")
    chromium(f"--user-data-dir={tmp_path / 'p'}", "--no-pdf-header-footer", f"--print-to-pdf={printed}", file.as_uri())
    assert 3 <= len(re.findall(rb"/MediaBox", printed.read_bytes())) <= 9
