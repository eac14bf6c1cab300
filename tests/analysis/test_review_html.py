"""The page of a review: one file that needs nothing else, well formed, with every sentence of the text."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import pytest

from monitor.analysis.review import Figure, Record, review, shipped_causes
from monitor.analysis.review_html import review_html
from monitor.analysis.review_whole import Reviewed, sections
from tests.analysis.test_review import first_of
from tests.analysis.test_review_whole import SHOWN, whole

CATALOGUE = shipped_causes()
VOID = {"meta"}


class Page(HTMLParser):
    """Whether tags close in order, and what leads out of the page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.outside: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.outside += [name for name, _ in attrs if name in ("src", "href", "onload", "onclick")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("findings", [(), ("wet-chick",), tuple(CATALOGUE.findings)], ids=["none", "one", "all"])
def test_it_is_whole(findings: tuple[str, ...]) -> None:
    """Every tag is closed in its order; no script, nothing loaded from anywhere; every line of the text stands in it."""
    html = review_html(whole(*findings), CATALOGUE, SHOWN)
    page = Page(html)
    assert page.open == []
    assert page.outside == []
    assert {"script", "link", "img", "iframe"}.isdisjoint(page.tags)
    assert "url(" not in html
    assert "http" not in re.sub(r"<style>.*?</style>", "", html)
    text = unescape(re.sub(r"<[^>]+>", "", html))
    for section in sections(whole(*findings), CATALOGUE, SHOWN):
        for line in section.lines:
            assert line.removeprefix("- ").strip() in text
    assert page.tags.count("h1") == 1


def test_a_cause_stays_with_what_is_said_of_it() -> None:
    """Each group of causes and the lines that answer it lie in one block, which no sheet of paper cuts; the caution is framed."""
    html = review_html(whole("wet-chick"), CATALOGUE, SHOWN)
    blocks = re.findall(r"<div>(.*?)</div>", html, re.S)
    assert all(block.strip().startswith('<p class="cause">') for block in blocks)
    assert any("The record shows mean humidity over the setter stage" in block for block in blocks)
    assert html.count('<p class="caution">') == 1
    assert "div{break-inside:avoid}" in html


def test_names_are_escaped() -> None:
    """What people typed is text on the page, and no markup."""
    html = review_html(replace(whole("wet-chick"), profile="<b>my line</b>"), CATALOGUE, SHOWN)
    assert "&lt;b&gt;my line&lt;/b&gt;" in html
    assert "<b>" not in html


def test_a_figure_is_drawn_in_its_band() -> None:
    """One strip for each figure with a band: above it the thick line lies right of the shading, and a good batch's within."""
    one = first_of("wet-chick", "humidity", "high")
    record, good = Record("b", {one.key: Figure(66.0, 52.0, 59.0)}), Record("g", {one.key: Figure(55.0, 52.0, 59.0)})
    verdicts = review(CATALOGUE, "wet-chick", record, (), (good,))
    drawn = review_html(
        replace(whole(), reviewed=(Reviewed("wet-chick", "egg 7", (7,), 0, verdicts),)), CATALOGUE, SHOWN
    )
    (svg,) = re.findall(r"<svg.*?</svg>", drawn, re.S)
    band = re.search(r'<rect class="band" x="([\d.]+)" y="0" width="([\d.]+)"', svg)
    assert band is not None
    left, right = float(band[1]), float(band[1]) + float(band[2])
    here, went_well = (float(re.search(rf'class="{name}" x1="([\d.]+)"', svg)[1]) for name in ("here", "good"))  # type: ignore[index]
    assert left < went_well < right < here
    assert (left, here) == (10.0, 90.0)
    assert right == pytest.approx(10.0 + 80.0 * 7.0 / 14.0)
