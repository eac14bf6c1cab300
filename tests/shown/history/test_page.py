"""The page: whole in itself, the same figures as the text, and readable on a phone, in the dark and on paper, as Chromium draws it."""

from __future__ import annotations

import itertools
import json
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import timedelta, timezone
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from monitor.analysis.history.chart import charts_of
from monitor.analysis.history.environment import BatchHistory, Stretch, history_of
from monitor.analysis.history.felt import MOVE, OPENING, Happening
from monitor.analysis.history.felt_figures import felt_of
from monitor.shown.form import Shown
from monitor.shown.history.report import Header, history_report, to_html
from monitor.shown.report.text import drawn
from monitor.shown.values import stage_words
from tests.analysis.air import HOUR, T0, readings, stretch
from tests.analysis.lived import MODELS, SET_AT, TERM_DAYS, lived, stretches

ZONE = timezone(timedelta(hours=2), "north")
HEADER = Header("hen-1", "fowl", 24, SET_AT)
VOID = {"meta", "link", "br", "hr", "img", "input"}
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def page(
    history: BatchHistory | None = None, life: list[Stretch] | None = None, header: Header = HEADER, unit: str = "C"
) -> str:
    life = stretches() if life is None else life
    history = lived() if history is None else history
    return to_html(history, charts_of(life, MODELS, T0), header, zone=ZONE, unit=unit)


class Reader(HTMLParser):
    """Every element must be closed by its own end; collects words, tags and attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: Any) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def of(self, tag: str, kind: str | None = None) -> list[dict[str, str | None]]:
        return [a for t, a in self.found if t == tag and (kind is None or kind in (a.get("class") or "").split())]


def drawings(text: str) -> list[ElementTree.Element]:
    """The SVG of each quantity, as XML."""
    return [ElementTree.fromstring(svg) for svg in re.findall(r"<svg viewBox=\"0 0 900.*?</svg>", text, re.DOTALL)]


def test_it_is_well_formed_and_needs_nothing_else() -> None:
    """Every element is closed, every drawing is XML; no script, no address of anything outside, no event handler."""
    text = page()
    read = Reader(text)
    assert text.startswith("<!doctype html>\n<html lang=")
    assert len(drawings(text)) == 4
    assert not re.search(r"<script|<link|<img|<iframe|@import|url\(|https?:|javascript:", text)
    assert not [name for _, attrs in read.found for name in attrs if name.startswith("on") or name in ("src", "href")]
    assert {"charset": "utf-8"} in [attrs for tag, attrs in read.found if tag == "meta"]


def test_what_is_written_is_not_taken_for_markup() -> None:
    """Names, notes and who did it come as they were written, whatever is in them."""
    text = page(header=Header("<script>x</script>", "a&b", None, SET_AT))
    assert escape("<script>x</script>") in text
    assert "<script" not in text
    assert "by sam &lt;b&gt;" in text
    assert "a&amp;b, eggs not recorded" in text


def test_it_says_what_the_text_says() -> None:
    """Every number of the text's tables and every sentence under them stands in the page too."""
    for unit in ("C", "F"):
        text = drawn(
            history_report(lived(), HEADER, Shown(ZONE, unit)), inset=False
        )  # without the answer, which drawings give
        said = " ".join(" ".join(Reader(page(unit=unit)).words).split())
        for figure in re.findall(r"\d+\.\d+", text):
            assert figure in said, figure
        joined = re.sub(r"\n +", " ", text)
        for line in joined.splitlines():
            if line.startswith(("heat", "cold", "egg", "the air's", "openings", "Published", "2026")):
                assert " ".join(line.split()) in said, line


def test_a_drawing_has_its_line_bands_excursions_gaps_and_marks() -> None:
    """In the dry bulb: two runs of line about one gap, the band, both alarm limits, the hot stay shaded, move, stage, openings, handling."""
    (dry, *_, egg) = (
        Reader(ElementTree.tostring(svg, encoding="unicode").replace("ns0:", "")) for svg in drawings(page())
    )
    (line,) = dry.of("path", "air")
    assert (line["d"] or "").count("M") == 2
    assert len(dry.of("rect", "gap")) == 1
    assert len(dry.of("rect", "out")) == 2  # the two hours, and the reading of 38.7
    assert len(dry.of("rect", "band")) == 1
    assert len(dry.of("path", "alarm")) == 2
    assert len(dry.of("path", "move")) == 2
    assert len(dry.of("path", "stage")) == 2  # the stage's first instant, and the lockdown that was declared
    assert [(mark["d"] or "").count("M") for mark in dry.of("path", "opening")] == [3]
    assert len(dry.of("rect", "handling")) == 1
    assert len(egg.of("rect", "gap")) == 2
    assert not egg.of("rect", "band")


def test_the_peak_is_drawn_where_it_was() -> None:
    """The highest point of the dry bulb's outline lies in the column of the two hot hours, as high as the scale puts 41.1 °C."""
    svg = drawings(page())[0]
    path = next(e for e in svg.iter() if e.get("class") == "air").get("d") or ""
    points = [tuple(map(float, pair.split())) for pair in re.findall(r"[\d.]+ -?[\d.]+", path)]
    x, y = min(points, key=lambda point: point[1])
    assert 1500 / 4320 <= x / 900 <= 1620 / 4320
    alarm = next(e for e in svg.iter() if e.get("class") == "alarm").get("d") or ""
    high_y = float(alarm.split()[1].partition("H")[0])  # 39 °C
    low_y = float(
        (next(e for e in svg.iter() if e.get("class") == "alarm below").get("d") or "").split()[1].partition("H")[0]
    )
    assert (high_y - y) / (low_y - high_y) == pytest.approx((41.1 - 39.0) / (39.0 - 36.0), abs=0.01)


def busy() -> tuple[BatchHistory, list[Stretch]]:
    """Four weeks at 10 s of two probes that are never still, an opening each hour, and a hundred gaps."""
    rng = np.random.default_rng(7)
    at = np.arange(0, 28 * 86_400, 10)
    at = at[at % 24_000 > 400]
    probes = [
        readings(at, 37.5 + rng.normal(0.0, 0.6, at.size), 50.0 + rng.normal(0.0, 4.0, at.size)) for _ in range(2)
    ]
    life = [stretch(*probes, hours=28 * 24.0)]
    done = tuple(Happening(T0 + n * HOUR, OPENING, "setter-a", "opened for about 3 min") for n in range(28 * 24))
    return replace(
        history_of(life), felt=felt_of(life, MODELS, set_ms=T0, term_days=TERM_DAYS, happenings=done), happenings=done
    ), life


def test_four_weeks_at_ten_seconds_stay_small() -> None:
    """Whatever the air does, the page stays under 300 kB, and the peak of all is still in it."""
    history, life = busy()
    text = page(history, life)
    assert len(text.encode()) < 300_000
    assert len(history.whole.dry_bulb_c.excursions) > 10_000
    assert f"{history.whole.dry_bulb_c.max:.2f}" in text


def test_what_was_never_measured_has_a_page() -> None:
    """A life without any air, and one of a minute, have a page that says so."""
    for life in ([stretch(hours=1.0)], [stretch(readings([0, 10, 20], 37.5), hours=1 / 60)]):
        history = replace(history_of(life), felt=felt_of(life, MODELS, set_ms=T0, term_days=TERM_DAYS))
        read = Reader(page(history, life))
        assert any("not known" in words for words in read.words)
    assert any("nothing measured" in words for words in read.words)  # of humidity


def test_another_unit_is_refused() -> None:
    """Neither Celsius nor Fahrenheit: one line."""
    with pytest.raises(ValueError, match="unit 'K', expected C or F"):
        page(unit="K")


MEASURE = """<script>addEventListener('load',()=>{const d=document.querySelector('iframe').contentDocument,e=d.documentElement,
s=d.defaultView.getComputedStyle(d.body),r=x=>x.getBoundingClientRect(),
box=x=>[r(x).left,r(x).top,r(x).right,r(x).bottom];
document.body.dataset.found=JSON.stringify({wide:e.scrollWidth,page:e.clientWidth,paper:s.backgroundColor,ink:s.color,
svg:[...d.querySelectorAll('.plot svg')].map(x=>[r(x).left,r(x).right,r(x).height]),
over:[...d.querySelectorAll('p,td,th,h1,h2,h3,figcaption,li')].filter(x=>r(x).right>e.clientWidth+0.5||r(x).left<-0.5).length,
line:[...d.querySelectorAll('path.air')].map(x=>[r(x).width,r(x).height]),
labels:[...d.querySelectorAll('.plot')].map(p=>[...p.querySelectorAll('.x span,.y span,.name')].map(x=>[x.textContent,...box(x)])),
clipped:[...d.querySelectorAll('.name')].filter(x=>x.scrollWidth>x.clientWidth).map(x=>x.textContent),
lanes:[...d.querySelectorAll('.lane span')].map(x=>{const q=d.createRange();q.selectNodeContents(x);return [x.textContent,box(q),box(x)]}),
small:Math.min(...[...d.querySelectorAll('p,td,th,.x span,.y span,li')].map(x=>parseFloat(d.defaultView.getComputedStyle(x).fontSize)))})})</script>"""


def chromium(*options: str) -> str:
    """What headless Chromium prints; with a profile of its own, no network, and a deadline."""
    assert CHROMIUM is not None
    command = [
        CHROMIUM,
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-first-run",
        *options,
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=90)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def measured(tmp_path: Path, width: int, *options: str, text: str = "") -> Any:
    """The page, or another, in a frame of that width, as Chromium lays it out."""
    frame = tmp_path / "frame.html"
    frame.write_text(
        f'<!doctype html><iframe style="width:{width}px;height:900px;border:0" srcdoc="{escape(text or page())}"></iframe>{MEASURE}',
        encoding="utf-8",
    )
    shown = chromium(f"--user-data-dir={tmp_path}", *options, "--dump-dom", frame.as_uri())
    found = re.search(r'data-found="([^"]*)"', shown)
    assert found is not None, shown[-500:]
    return json.loads(found[1].replace("&quot;", '"'))


def faults(found: Any) -> list[str]:
    """Labels beside a drawing that touch one another or leave the page, and names in a strip of which only a part is seen."""
    told = [f"{name} is cut" for name in found["clipped"]]
    for labels in found["labels"]:
        told += [f"{name} leaves the page" for name, left, _, right, _ in labels if left < 0.0 or right > found["page"]]
        for (one, left, top, right, bottom), (other, *box) in itertools.combinations(labels, 2):
            over = top + 1.0 < box[3] and box[1] + 1.0 < bottom  # lines of type overlap by the air in them
            if over and left - APART < box[2] and box[0] < right + APART:
                told.append(f"{one} touches {other}")
    for name, (left, top, right, bottom), (first, over, last, under) in found["lanes"]:
        whole = first <= left and right <= last and over <= top + 1.0 and bottom <= under + 1.0
        if not whole and top < under - 1.0:  # else it has no room, stands below the strip and is not seen
            told.append(f"{name} is cut")
    return told


def kept_life(*stays: tuple[str, str, float, float]) -> str:
    """The page of a life in still air: of each stay its machine, stage, first and last day."""
    minute = np.arange(0, stays[-1][3] * 1440, 30)
    air = readings(minute * 60, 37.5, 50.0)
    life = [
        replace(
            stretch(air, hours=(last - first) * 24.0, since_s=first * 86_400.0, max_gap_s=3600.0),
            machine=machine,
            stage=stage,
        )
        for machine, stage, first, last in stays
    ]
    come = {machine: first for machine, _, first, _ in reversed(stays)}
    moves = [
        Happening(T0 + round(first * 24) * HOUR, MOVE, machine, f"to {machine}") for machine, first in come.items()
    ]
    moves.sort(key=lambda each: each.at_ms)
    models = dict.fromkeys(come, MODELS["setter-a"])
    history = replace(
        history_of(life),
        felt=felt_of(life, models, set_ms=T0, term_days=TERM_DAYS, happenings=moves),
        happenings=tuple(moves),
    )
    return to_html(history, charts_of(life, models, T0), HEADER, zone=ZONE, unit="C")


LIVES = {
    "hen, 22 days": (("setter-a", "setter", 0.0, 18.0), ("hatcher-b", "lockdown", 18.0, 20.0), ("hatcher-b", "hatch", 20.0, 22.0)),
    "ostrich, 42 days": (("setter-a", "setter", 0.0, 39.0), ("still-air-hatcher-in-the-barn-2", "lockdown", 39.0, 41.0), ("still-air-hatcher-in-the-barn-2", "hatch", 41.0, 42.0)),
    "3 days old": (("setter-a", "setter", 0.0, 3.0),),
    "6 hours old": (("setter-a", "setter", 0.0, 0.25),),
}  # fmt: skip
APART = 6.0  # px between two labels of a line, to be read as two


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
@pytest.mark.parametrize("name", LIVES)
def test_chromium_runs_no_labels_together(tmp_path: Path, name: str) -> None:
    """At 360 pixels no label of an axis touches another or leaves the page, and a name in a strip is seen whole or not at all; all
    names stand below the strips."""
    text = kept_life(*LIVES[name])
    found = measured(tmp_path, 360, text=text)
    assert faults(found) == []
    assert all(len([label for label in labels if label[0]]) >= 4 for labels in found["labels"])
    named = " ".join(re.findall(r'<p class="named">(.*?)</p>', text))
    for machine, stage, first, _ in LIVES[name]:
        assert f"{stage_words(stage)} from day {first:g}" in named
        assert f"{machine} from day " in named


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
def test_chromium_would_see_labels_that_run_together(tmp_path: Path) -> None:
    """The same look sees each way in which the page has been wrong: the word in each label, names cut by an ellipsis, a last hour off the page."""
    hen, hours = kept_life(*LIVES["hen, 22 days"]), kept_life(*LIVES["6 hours old"])
    worded = re.sub(r'(<span style="left:[\d.]+%">)(\d+<)', r"\1day of incubation \2", hen)
    cut = hen.replace("</style>", ".lane span{display:block;text-overflow:ellipsis}</style>")
    wide = hours.replace("</style>", ".plot{padding-right:0}body{padding-right:0}</style>")
    assert "day of incubation 5 touches day of incubation 10" in faults(measured(tmp_path, 360, text=worded))
    assert {"lockdown is cut", "hatch is cut"} <= set(faults(measured(tmp_path, 360, text=cut)))
    assert any("leaves the page" in fault for fault in faults(measured(tmp_path, 360, text=wide)))


def luminance(colour: str) -> float:
    """How light a colour is, as WCAG 2 has it: 0 to 1."""
    parts = [int(n) / 255.0 for n in re.findall(r"\d+", colour)[:3]]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 1000])
def test_chromium_lays_it_out(tmp_path: Path, width: int, dark: bool) -> None:
    """Nothing sticks out at 360 pixels; drawings fill the width and their lines have a height; words are 11 px or more; dark is dark, with contrast."""
    found = measured(tmp_path, width, *(["--blink-settings=preferredColorScheme=0"] if dark else []))
    assert found["wide"] <= width
    assert found["over"] == 0
    assert len(found["svg"]) == 5
    assert all(right - left > 0.7 * min(width, 960) - 20 and height > 20 for left, right, height in found["svg"])
    assert all(across > 0.6 * min(width, 960) for across, _ in found["line"])
    assert min(found["line"][0][1], found["line"][3][1]) > 100  # of dry bulb and egg; the humidity hardly moved
    assert found["small"] >= 11.0
    paper, ink = luminance(found["paper"]), luminance(found["ink"])
    assert (paper < ink) == dark
    assert (max(paper, ink) + 0.05) / (min(paper, ink) + 0.05) > 7.0  # WCAG 2, level AAA


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
def test_chromium_prints_it(tmp_path: Path) -> None:
    """On A4 it comes to a handful of pages, whose size is A4."""
    file, printed = tmp_path / "page.html", tmp_path / "page.pdf"
    file.write_text(page(), encoding="utf-8")
    chromium(f"--user-data-dir={tmp_path / 'p'}", "--no-pdf-header-footer", f"--print-to-pdf={printed}", file.as_uri())
    pdf = printed.read_bytes()
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert 2 <= len(boxes) <= 9
    assert all((float(w), float(h)) == pytest.approx((595, 842), abs=1) for w, h in boxes)
