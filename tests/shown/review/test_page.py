"""The page of a review: one file that needs nothing else, well formed, with every sentence of the text, and readable on a phone, in the
dark and on paper, as Chromium draws it."""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Mapping
from dataclasses import replace
from html import escape, unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.review.judged import Figure, Record, review
from monitor.analysis.review.whole import Reviewed, Subject
from monitor.shown.review.whole import review_report, whole_html
from tests.analysis.review.test_judged import first_of
from tests.shown.history.test_page import CHROMIUM, chromium, luminance
from tests.shown.review.test_whole import SHOWN, whole

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
    html = whole_html(whole(*findings), CATALOGUE, SHOWN)
    page = Page(html)
    assert page.open == []
    assert page.outside == []
    assert {"script", "link", "img", "iframe"}.isdisjoint(page.tags)
    assert "url(" not in html
    assert "http" not in re.sub(r"<style>.*?</style>", "", html)
    text = unescape(re.sub(r"<[^>]+>", "", html))
    for words in review_report(whole(*findings), CATALOGUE, SHOWN).words():
        assert words in text
    assert page.tags.count("h1") == 1


def test_a_cause_stays_with_what_is_said_of_it() -> None:
    """Each group of causes and the lines that answer it lie in one block, which no sheet of paper cuts; the caution is framed."""
    html = whole_html(whole("early-hatch"), CATALOGUE, SHOWN)
    blocks = re.findall(r"<div>(.*?)</div>", html, re.S)
    assert all(block.strip().startswith('<p class="cause">') for block in blocks)
    assert any("The record shows mean temperature over the incubation stage" in block for block in blocks)
    assert html.count('<p class="caution">') == 1
    assert "div{break-inside:avoid}" in html


def test_names_are_escaped() -> None:
    """What people typed is text on the page, and no markup."""
    html = whole_html(replace(whole("wet-chick"), profile="<b>my line</b>"), CATALOGUE, SHOWN)
    assert "&lt;b&gt;my line&lt;/b&gt;" in html
    assert "<b>" not in html


def test_a_figure_is_drawn_in_its_band() -> None:
    """One strip for each figure with a band: above it the thick line lies right of the shading, and a good batch's within."""
    one = first_of("wet-chick", "humidity", "high")
    record, good = Record("b", {one.key: Figure(66.0, 52.0, 59.0)}), Record("g", {one.key: Figure(55.0, 52.0, 59.0)})
    verdicts = review(CATALOGUE, "wet-chick", record, siblings=(), good=(good,))
    drawn = whole_html(replace(whole(), reviewed=(Reviewed("wet-chick", Subject((7,)), verdicts),)), CATALOGUE, SHOWN)
    (svg,) = re.findall(r"<svg.*?</svg>", drawn, re.S)
    band = re.search(r'<rect class="band" x="([\d.]+)" y="0" width="([\d.]+)"', svg)
    assert band is not None
    left, right = float(band[1]), float(band[1]) + float(band[2])
    here, went_well = (float(re.search(rf'class="{name}" x1="([\d.]+)"', svg)[1]) for name in ("here", "good"))  # type: ignore[index]
    assert left < went_well < right < here
    assert (left, here) == (10.0, 90.0)
    assert right == pytest.approx(10.0 + 80.0 * 7.0 / 14.0)


# --- as Chromium draws it

NARROW, WIDE = 360, 1000
LEAST_PX = 11.0  # as on the page of a history
LEAST_CONTRAST, LEAST_MARK = 7.0, 3.0  # WCAG 2: text at level AAA (1.4.6), what is drawn (1.4.11)

# Of each frame: every run of words by its own box, type size, ink and the paper under it; every drawing; what was asked for from outside.
MEASURE = """<script>addEventListener('load',()=>{const seen={};for(const f of document.querySelectorAll('iframe')){
const d=f.contentDocument,w=d.defaultView,e=d.documentElement,words=[],paper=x=>{for(;x;x=x.parentElement){
const c=w.getComputedStyle(x).backgroundColor;if(!/, 0\\)$|^transparent$/.test(c))return c}return ''};
for(const walk=d.createTreeWalker(d.body,4);walk.nextNode();){const n=walk.currentNode,x=n.parentElement,s=w.getComputedStyle(x);
if(!n.data.trim())continue;const r=d.createRange();r.selectNodeContents(n);const b=[...r.getClientRects()];
const y=x.getBoundingClientRect();words.push({text:n.data.slice(0,40),left:Math.min(...b.map(q=>q.left)),right:Math.max(...b.map(q=>q.right)),
px:parseFloat(s.fontSize),ink:s.color,paper:paper(x),shown:x.checkVisibility({opacityProperty:true,visibilityProperty:true})&&b.length>0,
cut:b.some(q=>q.bottom>y.bottom+q.height)})}
seen[f.title]={wide:e.scrollWidth,words,paper:w.getComputedStyle(d.body).backgroundColor,
loaded:w.performance.getEntriesByType('resource').map(x=>x.name),framed:[...d.querySelectorAll('p.caution')].map(x=>w.getComputedStyle(x).borderTopWidth),
strips:[...d.querySelectorAll('svg.strip')].map(x=>{const q=x.getBoundingClientRect(),h=x.querySelector('.here').getBoundingClientRect();
return{left:q.left,right:q.right,height:q.height,at:h.left,ink:w.getComputedStyle(x.querySelector('.here')).stroke}})}}
document.body.dataset.found=JSON.stringify(seen)})</script>"""

# What a later hand may do to the page, each with a word of the fault that must be told of it.
BROKEN = {
    "no wrapping": ("p{white-space:nowrap}", "sideways"),
    "a long word": ("body{overflow-wrap:normal}", "sideways"),
    "words off the left": ("p.in{margin-left:-60px}", "off the page"),
    "words cut off": ("p.cause{height:0;overflow:hidden}", "cut off"),
    "small words": ("p.in{font-size:10px}", "10 px"),
    "hidden words": ("p.caution{opacity:0}", "not to be seen"),
    "faint words": (":root{--ink:#888}", "contrast"),
    "always light": ("body{background:#fff!important;color:#1d1d1b!important}", "dark"),
    "always dark": ("body{background:#161614!important;color:#e8e8e2!important}", "light"),
    "no frame": ("p.caution{border:0}", "caution"),
    "flat drawings": ("svg.strip{height:0!important}", "drawing"),
    "a faint mark": (".here{stroke:#88888840!important;stroke:var(--paper)!important}", "mark"),
    "loads a picture": ("h1{background-image:url(http://127.0.0.1:9/x.png)}", "loads"),
    "loads a font": ("@font-face{font-family:x;src:url(http://127.0.0.1:9/x.woff)}p{font-family:x}", "loads"),
}


def full_page() -> str:
    """Every finding at once, of a batch with the longest id that there is, beside batches with such ids."""
    good = tuple(f"hen-{n}-{'w' * 26}" for n in range(3))
    return whole_html(replace(whole(*CATALOGUE.findings, good=good), batch="w" * 32), CATALOGUE, SHOWN)


def damaged(html: str, css: str) -> str:
    assert html.count("</style>") == 1
    return html.replace("</style>", f"{css}</style>")


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def faults(found: Mapping[str, Any], width: int, dark: bool) -> list[str]:
    """What a reader would complain of, in the page as it was laid out."""
    told = [f"goes sideways: {found['wide']} px wide, expected {width}"] if found["wide"] > width else []
    told += [f"loads {name}" for name in found["loaded"]]
    paper = luminance(found["paper"])
    if (paper < 0.2) != dark:
        told.append(f"paper {found['paper']}, expected it {'dark' if dark else 'light'}")
    for word in found["words"]:
        said = f": {word['text']!r}"
        if not word["shown"]:
            told.append(f"not to be seen{said}")
            continue
        if word["left"] < -0.5 or word["right"] > width + 0.5:
            told.append(f"off the page, {word['left']:.0f} to {word['right']:.0f} px{said}")
        if word["cut"]:
            told.append(f"cut off{said}")
        if word["px"] < LEAST_PX:
            told.append(f"{word['px']:g} px{said}")
        if contrast(word["ink"], word["paper"]) < LEAST_CONTRAST:
            told.append(f"contrast {contrast(word['ink'], word['paper']):.1f}{said}")
    told += [f"a caution without its frame, {x}" for x in found["framed"] if x == "0px"]
    for strip in found["strips"]:
        if not (strip["height"] > 8 and strip["left"] >= 0 and 0.7 * width < strip["right"] <= width):
            told.append(f"a drawing from {strip['left']:.0f} to {strip['right']:.0f}, {strip['height']:.0f} px high")
        if (
            not strip["left"] - 3 <= strip["at"] <= strip["right"] + 3
            or contrast(strip["ink"], found["paper"]) < LEAST_MARK
        ):
            told.append(f"a mark at {strip['at']:.0f}, {strip['ink']}")
    return told


def laid_out(tmp_path: Path, pages: Mapping[str, tuple[int, str]], dark: bool) -> dict[str, Any]:
    """Each page, by its name, in a frame of its width, as Chromium lays it out; one run for all."""
    frames = "".join(
        f'<iframe title="{name}" style="width:{width}px;height:900px;border:0" srcdoc="{escape(html)}"></iframe>'
        for name, (width, html) in pages.items()
    )
    file = tmp_path / "frames.html"
    file.write_text(f"<!doctype html>{frames}{MEASURE}", encoding="utf-8")
    options = [f"--user-data-dir={tmp_path / 'profile'}", f"--blink-settings=preferredColorScheme={0 if dark else 1}"]
    shown = chromium(*options, "--dump-dom", file.as_uri())
    found = re.search(r'data-found="([^"]*)"', shown)
    assert found is not None, shown[-500:]
    seen: dict[str, Any] = json.loads(unescape(found[1]))
    assert list(seen) == list(pages)
    return seen


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_chromium_lays_it_out(tmp_path: Path, dark: bool) -> None:
    """On a phone's 360 pixels and on a screen every word is seen whole, 11 px or more, with a contrast of 7; nothing scrolls sideways,
    nothing is asked for from outside; and the same look sees each of the ways in which the page was broken on purpose."""
    html = full_page()
    narrow, wide, nothing = "narrow", "wide", "nothing written"
    pages = {narrow: (NARROW, html), wide: (WIDE, html), nothing: (NARROW, whole_html(whole(), CATALOGUE, SHOWN))}
    small = whole_html(replace(whole("wet-chick"), batch="w" * 32), CATALOGUE, SHOWN)
    mild = {name for name in BROKEN if name == ("always dark" if dark else "always light")}  # no fault in that light
    pages |= {name: (NARROW, damaged(small, css)) for name, (css, _) in BROKEN.items() if name not in mild}
    seen = laid_out(tmp_path, pages, dark)
    for name in (narrow, wide, nothing):
        assert faults(seen[name], pages[name][0], dark) == [], name
    assert len(seen[narrow]["strips"]) == html.count('<svg class="strip"') > 20
    assert len(seen[narrow]["framed"]) == len(CATALOGUE.findings)
    assert len(seen[narrow]["words"]) == len(re.findall(r"<(?:p|h[1-3])[ >]", html))
    for name in BROKEN.keys() - mild:
        assert any(BROKEN[name][1] in fault for fault in faults(seen[name], NARROW, dark)), name


def printed(tmp_path: Path, html: str) -> bytes:
    file, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    file.write_text(html, encoding="utf-8")
    options = ["--no-pdf-header-footer", f"--print-to-pdf={pdf}", "--blink-settings=preferredColorScheme=0"]
    chromium(f"--user-data-dir={tmp_path / 'profile'}", *options, file.as_uri())
    return pdf.read_bytes()


def drawn_in(pdf: bytes) -> tuple[set[str], set[str]]:
    """The colours that words are printed in, and those that lines are drawn in, as rgb(...)."""
    drawn = b""
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            drawn += zlib.decompress(stream) + b"\n"
        except zlib.error:  # a font that is kept as it is
            continue
    words: set[str] = set()
    lines: set[str] = set()
    ink = "rgb(0, 0, 0)"
    for part in re.finditer(rb"([\d.]+) ([\d.]+) ([\d.]+) (rg|RG)\b|\bT[jJ]\b", drawn):
        if part[4] is None:
            words.add(ink)
            continue
        colour = f"rgb({', '.join(str(round(255 * float(part[n]))) for n in (1, 2, 3))})"
        if part[4] == b"rg":
            ink = colour
        else:
            lines.add(colour)
    return words, lines


def print_faults(pdf: bytes) -> list[str]:
    """What is wrong with the page on paper."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    told = [] if 2 <= len(boxes) <= 4 else [f"{len(boxes)} sheets, expected 2 to 4"]
    a4 = pytest.approx((595, 842), abs=1)
    told += [f"sheet of {w!r} by {h!r}, expected A4" for w, h in boxes if (float(w), float(h)) != a4]
    words, lines = drawn_in(pdf)
    told += [] if words else ["no words"]
    told += [f"words in {ink}" for ink in words if contrast(ink, "rgb(255, 255, 255)") < LEAST_CONTRAST]
    told += [] if "rgb(26, 79, 139)" in lines else ["no mark of this record in its band"]  # --line, where it is light
    return told


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
def test_chromium_prints_it(tmp_path: Path) -> None:
    """On A4, two to four sheets for one finding, in dark ink even where the screen is dark, with its drawings; and a page that would
    print pale, on another sheet, or without them is told of."""
    html = whole_html(whole("wet-chick"), CATALOGUE, SHOWN)
    assert print_faults(printed(tmp_path, html)) == []
    pale = print_faults(printed(tmp_path, damaged(html, "@media print{:root{--ink:#e8e8e2}}")))
    assert pale
    assert all("words in rgb(232, 232, 226)" in fault for fault in pale)
    other = print_faults(printed(tmp_path, damaged(html, "@page{size:A5}@media print{svg.strip{display:none}}")))
    assert any("expected A4" in fault for fault in other)
    assert any("no mark" in fault for fault in other)
