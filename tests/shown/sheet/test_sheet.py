"""The sheet of one egg, of a house whose one accident is known: what a reader takes from it is what was planted."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.history.chart import at_once
from monitor.cli.main import main
from monitor.domain.eggs.entry import Attached
from monitor.domain.readings.dating import ARRIVAL
from monitor.domain.state.record import Group
from monitor.service.across import sheet as sheet_module
from monitor.service.across.sheet import Sheet, sheet_of
from monitor.service.ports import Labelled
from monitor.shown.form import Shown
from monitor.shown.sheet.draw import life_drawing
from monitor.shown.sheet.report import Made, sheet_html, sheet_json, sheet_report, sheet_text
from monitor.shown.sheet.words import answer, sensor_words
from tests.fakes import MemoryStore
from tests.shown.history.test_page import CHROMIUM, faults, measured
from tests.shown.sheet.accident import PROBES, STOOD_D, STUCK_D, STUCK_H, day, house_in, made, write_house

CATALOGUE = shipped_causes()
MADE = Made("eggroom 9.9", "2026-03-01 12:00")


@pytest.fixture(scope="module")
def store() -> MemoryStore:
    found = MemoryStore()
    found.commit(made())
    return found


@pytest.fixture(scope="module")
def shown() -> Shown:
    return Shown(house_in(Path()).site.zone, "C")


def sheet(store: MemoryStore, egg: int, batch: str = "attic-4") -> Sheet:
    site = house_in(Path()).site
    (found,) = [b for b in store.batches() if b.id == batch]
    return sheet_of(store, site, found, egg=egg, now=day(60.0), catalogue=CATALOGUE)


@pytest.fixture(scope="module")
def seven(store: MemoryStore) -> Sheet:
    return sheet(store, 7)


def test_the_first_line_says_when_it_died(seven: Sheet, shown: Shown) -> None:
    """Seen alive on day 10 and found dead on day 14: an interval, with its dates, and no single moment."""
    first, second, *_ = answer(seven, shown)
    assert first == "Egg 7 of attic-4 died between day 10.0 and day 14.0, 12 Feb 2026 to 16 Feb 2026."
    assert "last seen alive on day 10.0 (12 Feb 2026 08:30, candled alive)" in second
    assert "found dead on day 14.0 (16 Feb 2026 08:30, candled dead)" in second


def test_what_was_planted_is_read_off_the_first_lines(seven: Sheet, shown: Shown) -> None:
    """Written down before the page was seen: on day 12 it was far too hot for about four hours, while the egg may have died; the turner stood still
    for a day and a half; it lost too little water; one sensor of two was never held against a thermometer. Nothing else stands out."""
    lines = list(answer(seven, shown))
    (heat,) = [line for line in lines if line.startswith("Heat:")]
    hours = float(re.findall(r"([0-9.]+) h beyond the alarm limit on day 12", heat)[0])
    assert STUCK_H <= hours <= STUCK_H + 1.0
    assert heat.endswith("That was in the time in which it died.")
    (turning,) = [line for line in lines if line.startswith("Turning:")]
    stood_h = 24.0 * (STOOD_D[1] - STOOD_D[0])
    assert stood_h <= float(re.findall(r"was ([0-9.]+) h", turning)[0]) <= stood_h + 4.0
    (water,) = [line for line in lines if line.startswith("Water:")]
    assert "less than its species should" in water
    (sure,) = [line for line in lines if line.startswith("How sure:")]
    assert (
        "100.0 % of its life, by 2 sensors; node-k/low never held against a thermometer; none of it is doubtful" in sure
    )
    assert not any(line.startswith("Cold") for line in lines)


def test_who_it_was_and_what_happened_in_order(seven: Sheet, shown: Shown) -> None:
    """Pair, label, place, air cells and file; looks, the heat and the alarm with who answered, by time."""
    told = sheet_text(seven, CATALOGUE, shown, made=MADE)
    for words in (
        "pair P3, clutch 2, label A7, tray B place 7",
        "day 5.0: 8 mm; day 10.0: 11 to 13 mm; day 14.0: 12 to 16 mm",
        "egg-7.png",
        "58.1 x 43.2 mm",
    ):
        assert words in told
    order = ["candled: alive", "heat beyond the alarm limit for", "alarm No. 41", "candled: dead", "dead (middle)"]
    places = [told.index(words, told.index("WHAT HAPPENED")) for words in order]
    assert places == sorted(places)
    assert "answered by kim" in told


def test_the_sheet_says_how_it_was_made_and_decides_nothing(seven: Sheet, shown: Shown) -> None:
    """Version, moment, zone, rules, and whom to ask."""
    told = " ".join(sheet_text(seven, CATALOGUE, shown, made=MADE).split())
    assert "By eggroom 9.9, 2026-03-01 12:00" in told
    assert "informs and decides nothing" in told
    assert "avian veterinarian" in told
    assert "attic-3, attic-2, attic-1" in told


def test_each_sensor_says_how_far_it_lay_from_the_line(seven: Sheet, shown: Shown) -> None:
    """Half of what the two differ by, to either side; which was calibrated and which never."""
    apart_k = (PROBES["high"] - PROBES["low"]) / 2.0
    low, high = seven.sensors
    assert (low.key, high.key) == ("node-k/low", "node-k/high")
    assert high.apart["dry_bulb_c"] == pytest.approx(apart_k, abs=0.02)
    assert low.apart["dry_bulb_c"] == pytest.approx(-apart_k, abs=0.02)
    assert "never calibrated" in sensor_words(low, seven, shown)
    assert "calibrated 21 Jan 2026" in sensor_words(high, seven, shown)


def test_times_that_rest_on_a_wrong_clock_are_told(seven: Sheet, shown: Shown) -> None:
    """In the first lines, and beside the sensor."""
    doubted = replace(seven.sensors[0], labelled=(Labelled(ARRIVAL, False),))
    found = replace(seven, sensors=(doubted, seven.sensors[1]))
    assert any("a clock that was not right" in line for line in answer(found, shown))
    assert "while our own clock was not right" in sensor_words(doubted, found, shown)


class Page(HTMLParser):
    """What a page asks for from elsewhere, and whether its elements close."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.asked: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.asked += [value or "" for name, value in attrs if name in {"src", "href", "xlink:href", "srcset"}]
        if tag not in {"meta", "img", "path", "rect", "line"}:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in {"path", "rect", "line"}:
            assert self.open.pop() == tag


def test_the_page_is_one_file(seven: Sheet, shown: Shown) -> None:
    """Nothing from elsewhere, no script; its picture is inside; every element closes."""
    text = sheet_html(seven, CATALOGUE, shown, made=MADE)
    page = Page(text)
    assert page.open == []
    assert [each[:22] for each in page.asked] == ["data:image/png;base64,"]
    assert "<script" not in text
    assert "@import" not in text
    assert "url(" not in text
    assert len(text) < 250_000


def test_a_picture_beyond_the_bound_is_only_named(
    store: MemoryStore, shown: Shown, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It stays in the list of files."""
    monkeypatch.setattr(sheet_module, "PHOTOGRAPH_BYTES", 10)
    text = sheet_html(sheet(store, 7), CATALOGUE, shown, made=MADE)
    assert "<img" not in text
    assert "egg-7.png" in text


def test_what_is_no_picture_is_not_shown_as_one(seven: Sheet) -> None:
    """It is known by how it begins, whatever it is called."""
    assert seven.photograph is not None
    entry, content = seven.photograph
    assert isinstance(entry.fact, Attached)
    assert content.startswith(sheet_module.PICTURES)
    assert not b"<svg onload=x>".startswith(sheet_module.PICTURES)


def rects(markup: str, look: str) -> list[tuple[float, float]]:
    return [
        (float(x), float(x) + float(width))
        for x, width in re.findall(rf'<rect class="{look}" x="([0-9.e+-]+)" y="[0-9.-]+" width="([0-9.e+-]+)"', markup)
    ]


def test_what_happened_at_one_time_stands_under_one_another(seven: Sheet, shown: Shown) -> None:
    """The time in which it died lies behind each lane at the same place, the heat and the alarm within it, and the turner's pause before."""
    markup = "".join(life_drawing(seven, shown))
    markup = markup[: markup.index('<ul class="key"')]
    chart = seven.charts[0]

    def column(days: float) -> float:
        return chart.column(day(days).timestamp() * 1000.0)

    whens = rects(markup, "when")
    assert len(whens) >= 4
    for first, last in whens:
        assert [first, last] == pytest.approx([column(10.0), column(14.0)], abs=2.0)
    (hot,) = rects(markup, "out above")
    assert hot[0] == pytest.approx(column(STUCK_D), abs=3.0)
    (rang,) = rects(markup, "rang")
    assert column(10.0) < rang[0] < rang[1] < column(14.0)
    titles = re.findall(r"<title>day (\d+): (\d+)</title>", markup)
    counts = {int(d): int(n) for d, n in titles}
    assert counts[3] == 12
    assert counts.get(9, 0) == 0


def test_two_sensors_have_a_line_each_and_one_has_none(seven: Sheet, shown: Shown, store: MemoryStore) -> None:
    """One sensor's own line would be the one that is used."""
    markup = "".join(life_drawing(seven, shown))
    assert len(re.findall(r'<path class="probe[ b]*" d="M', markup)) == 4
    alone = {quantity: dict(list(lines.items())[:1]) for quantity, lines in seven.probes.items()}
    assert 'class="probe' not in "".join(life_drawing(replace(seven, probes=alone), shown))


def test_good_batches_lie_beside_it(seven: Sheet, shown: Shown, store: MemoryStore) -> None:
    """Three of them: their means within a tenth of what they were made of; without two of them there is no ribbon."""
    ribbon = seven.ribbons["dry_bulb_c"]
    assert ribbon.batches == 3
    assert (ribbon.high - ribbon.low).max() < 0.4
    assert 37.5 < float(ribbon.low.mean()) < 37.9
    lonely = MemoryStore()
    whole = made()
    lonely.commit(
        Group(
            lines=whole.lines,
            readings=[r for r in whole.readings if r.up_ms > 95 * 86_400_000],
            batches={"attic-4": whole.batches["attic-4"]},
            entries=[(name, e) for name, e in whole.entries if name == "attic-4"],
            files=whole.files,
        )
    )
    found = sheet(lonely, 7)
    assert found.ribbons == {}
    assert "none is drawn beside it" in " ".join(sheet_text(found, CATALOGUE, shown, made=MADE).split())
    assert 'class="ribbon"' not in "".join(life_drawing(found, shown))


def test_an_egg_that_hatched_has_its_chick(store: MemoryStore, shown: Shown) -> None:
    """No death is drawn or told; its masses stand there."""
    eight = sheet(store, 8)
    assert next(iter(answer(eight, shown))).startswith("Egg 8 of attic-4 hatched on day 21.")
    assert eight.death is None
    told = sheet_text(eight, CATALOGUE, shown, made=MADE)
    assert "ITS CHICK" in told
    assert "39.10" in told
    assert 'class="when"' not in "".join(life_drawing(eight, shown))


def test_without_a_finding_the_class_is_asked_for(store: MemoryStore, shown: Shown) -> None:
    """Egg 3 died alike, and nobody wrote what it showed: the review asks what its class is called, and says so."""
    three = sheet(store, 3)
    assert [(each.finding, each.written) for each in three.review.reviewed] == [("dead-middle-third", False)]
    assert "nobody wrote a finding" in " ".join(sheet_text(three, CATALOGUE, shown, made=MADE).split())


def test_nothing_that_was_typed_acts_on_the_page(seven: Sheet, shown: Shown) -> None:
    """Neither a label nor the name of a file is markup."""
    assert seven.who is not None
    wicked = replace(seven, who=replace(seven.who, label="<b>A7</b>"))
    text = sheet_html(wicked, CATALOGUE, shown, made=MADE)
    assert "&lt;b&gt;A7&lt;/b&gt;" in text
    assert "<b>A7</b>" not in text


def test_every_sentence_of_the_text_stands_on_the_page(seven: Sheet, shown: Shown) -> None:
    """One tree, two drawers."""
    text = re.sub(r"<[^>]+>", " ", sheet_html(seven, CATALOGUE, shown, made=MADE))
    for words in sheet_report(seven, CATALOGUE, shown, made=MADE).words():
        label, _, rest = words.partition(": ")
        assert words in text.replace("&#x27;", "'") or rest in text.replace("&#x27;", "'"), label


def test_values_for_programs(seven: Sheet, shown: Shown) -> None:
    """The death with its bounds, the sensors, and the review in full."""
    values: dict[str, Any] = sheet_json(seven, CATALOGUE, shown)
    assert values["death"]["since"] == "2026-02-12T07:30:00.000Z"
    assert values["death"]["until"] == "2026-02-16T07:30:00.000Z"
    assert [each["probe"] for each in values["sensors"]] == ["node-k/low", "node-k/high"]
    assert values["review"]["facts"]["turned"]["longest_h"] == pytest.approx(36.0, abs=4.1)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On a record in a file: as text, as a page, and in one line what cannot be."""
    write_house(tmp_path)
    config = ["--config", str(tmp_path / "eggroom.toml")]
    assert main(["egg", "sheet", "attic-4", "7", *config]) == 0
    assert capsys.readouterr().out.startswith("Egg 7 of attic-4 died between day 10.0 and day 14.0")
    page = tmp_path / "7.html"
    assert main(["egg", "sheet", "attic-4", "7", "--html", str(page), *config]) == 0
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    capsys.readouterr()
    assert main(["egg", "sheet", "attic-4", "44", *config]) == 2
    assert capsys.readouterr().err == "eggroom: batch attic-4: egg 44, expected 1 to 10\n"


@pytest.mark.parametrize(("warmer_k", "told"), [(0.8, True), (0.15, False)])
def test_what_was_a_little_and_long_is_told_beside_what_was_much_and_short(
    shown: Shown, warmer_k: float, told: bool
) -> None:
    """Five days at 38.55 °C, under the alarm limit: half a kelvin beyond 38.1. A tenth and a half more stays within what it needed."""
    store = MemoryStore()
    store.commit(made(warmer_k))
    lines = [line for line in answer(sheet(store, 7), shown) if line.startswith("Too warm")]
    assert bool(lines) == told
    if told:
        ((span, hours, days, by),) = re.findall(
            r"Too warm: (\d) d (\d+) h off what it needed, on days ([0-9, -]+), by ([0-9.]+) °C", lines[0]
        )
        assert 4.9 <= int(span) + int(hours) / 24.0 <= 5.3
        assert days == "1-5, 12"
        assert float(by) == pytest.approx(37.75 + warmer_k - 38.1, abs=0.25)


def test_two_sensors_at_a_time_are_two(seven: Sheet, shown: Shown) -> None:
    """And one that took the other's place is one."""
    lines = seven.probes["dry_bulb_c"]
    half = len(seven.charts[0].low) // 2
    first, second = lines.values()
    early = replace(first, low=np.where(np.arange(first.low.size) < half, first.low, np.nan))
    late = replace(second, low=np.where(np.arange(first.low.size) >= half - 1, second.low, np.nan))
    assert (at_once([first, second]), at_once([early, late]), at_once([])) == (2, 1, 0)


def test_a_good_batch_with_a_power_cut_stays_within_the_drawing(seven: Sheet, shown: Shown) -> None:
    """Its ribbon is cut at the edge: the drawing is as high as this egg's own life."""
    ribbon = seven.ribbons["dry_bulb_c"]
    low = np.where(np.arange(ribbon.low.size) == 30, 12.0, ribbon.low)
    markup = "".join(life_drawing(replace(seven, ribbons={"dry_bulb_c": replace(ribbon, low=low)}), shown))
    (path,) = re.findall(r'<path class="ribbon" d="([^"]*)"', markup[: markup.index('<ul class="key"')])
    heights = [float(y) for y in re.findall(r"[0-9.]+ ([0-9.-]+)", path)]
    assert max(heights) == 170.0
    assert min(heights) >= 0.0


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
def test_chromium_runs_no_labels_of_a_sheet_together(tmp_path: Path, seven: Sheet, shown: Shown) -> None:
    """On a phone neither days nor dates touch each other or leave the page."""
    assert faults(measured(tmp_path, 360, text=sheet_html(seven, CATALOGUE, shown, made=MADE))) == []


def test_in_fahrenheit_nothing_is_left_in_celsius(seven: Sheet, shown: Shown) -> None:
    """Neither in the first lines nor on the drawing; but for what a table of the house was written in, there is none here."""
    fahrenheit = Shown(shown.zone, "F")
    text = sheet_text(seven, CATALOGUE, fahrenheit, made=MADE)
    assert "up to 110.8 °F" in " ".join(text.split())
    assert "°C" not in text
    assert "°C" not in sheet_html(seven, CATALOGUE, fahrenheit, made=MADE)
