"""The history of one egg in words, as JSON and as CSV."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC

import pytest

from monitor.analysis.history.egg import EggPart
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Candling, Dead, Hatched, Note, Removed, Weighing
from monitor.domain.wall import WIDTH
from monitor.shown.form import Shown
from monitor.shown.history.egg import COLUMNS, end_line, water_section
from monitor.shown.history.files import to_csv, to_json
from monitor.shown.history.report import Header, to_text
from monitor.shown.report import text
from monitor.shown.report.tree import Report
from tests.fakes import MemoryStore
from tests.one_egg import day, hens, make_site, part_of, record, report, written

SHOWN = Shown(UTC, "C")
SITE = make_site()
WEIGHED = ((0.0, 60.00), (7.0, 57.40), (14.0, 54.80))


def water_lines(part: EggPart) -> list[str]:
    """The water of an egg as text has it."""
    return text.drawn(Report("", sections=(water_section(part, SHOWN),)), inset=False).splitlines()


def hatched() -> tuple[MemoryStore, EggBook]:
    """Egg 7 weighed three times and hatched, egg 8 dead, egg 9 taken out, egg 10 weighed once."""
    book = EggBook(hens(21.5))
    for at, mass_g in WEIGHED:
        book = written(book, at, Weighing(mass_g, error_g=0.01), 7)
    book = written(book, 8.0, Note('=1+1, "odd"\nand more'), 7)
    book = written(book, 7.0, Candling("alive"), 7)
    book = written(book, 20.75, Hatched(), 7)
    book = written(book, 19.5, Dead("late"), 8)
    book = written(book, 9.25, Removed("clear"), 9)
    book = written(book, 0.0, Weighing(61.0), 10)
    return record(book), book


def test_the_text_says_whose_it_is_and_how_it_ended() -> None:
    """The title names the egg, the lines under it its end; the water, and what was written among what was done; no line is too wide."""
    store, book = hatched()
    figures, _, header = report(store, SITE, book.batch, 7, day(22))
    text = to_text(figures, header, zone=UTC, unit="C")
    lines = text.splitlines()
    at = lines.index("Environment history of egg 7 of hen-1")
    assert lines[0].startswith("On target: temperature ")
    assert lines[at : at + 3] == [
        "Environment history of egg 7 of hen-1",
        "profile chicken, 12 eggs, set 2026-03-01 18:00",
        "hatched 2026-03-22 12:00, day 20.7: its record ends there",
    ]
    assert "WATER of egg 7: 3 weighings" in lines
    done = lines[lines.index(next(line for line in lines if line.startswith("WHAT WAS DONE"))) :]
    order = [
        next(n for n, line in enumerate(done) if words in line)
        for words in ("moved: to setter-1", "weighed: 60.00 g", "opening of setter-1", "handling of setter-1", "weighed: 57.40 g, 4.3 % lost, by ada", "weighed: 54.80 g", "moved: to hatcher-1", "hatched, by ada")
    ]  # fmt: skip
    assert order == sorted(order)
    assert "closed" not in text
    assert max(len(line) for line in lines) <= WIDTH


def test_how_it_ended() -> None:
    """Hatched, dead (dated when it was found), taken out, not ended, not written of, and ended after the batch was closed: a line each."""
    store, book = hatched()

    def line(egg: int, book: EggBook = book, store: MemoryStore = store, now: float = 22.0) -> str:
        return end_line(part_of(report(store, SITE, book.batch, egg, day(now))[2]), SHOWN)

    assert line(8) == (
        "dead (late) 2026-03-21 06:00, day 19.5: its record ends there; a death is dated when it was found, perhaps at the break-out"
    )
    assert line(9) == "removed: clear 2026-03-11 00:00, day 9.2: its record ends there"
    assert line(10) == "no end was written: up to the batch's, 2026-03-23 06:00"
    assert line(11) == (
        "nothing is written of it, so this is its batch's history; no end was written: up to the batch's, 2026-03-23 06:00"
    )
    late = written(book, 21.75, Dead("early"), 12)
    assert line(12, late, record(late)) == (
        "dead (early) 2026-03-23 12:00, day 21.7, after the batch was closed: the record ends there, 2026-03-23 06:00"
    )
    going = replace(book, batch=hens())
    assert line(10, going, record(going), 20.0) == "not ended, up to 2026-03-21 18:00, day 20.0"


def test_the_water_line() -> None:
    """Mass at set, loss by its end and by pip, the species' line, conductance, each with its interval; a reason where there is none."""
    store, book = hatched()
    part = part_of(report(store, SITE, book.batch, 7, day(22))[2])
    assert part.loss is not None
    lines = water_lines(part)
    mass, lost, conductance = part.loss.line.mass_at_set_g, part.loss.now_pct, part.loss.line.conductance_mg_d_kpa
    by_pip = part.by_pip_pct
    assert conductance is not None
    assert by_pip is not None
    assert lines[1:4] == [
        f"mass at set {mass.value:.2f} g ({mass.low:.2f} to {mass.high:.2f})",
        f"lost {lost.value:.1f} % ({lost.low:.1f} to {lost.high:.1f}) by 2026-03-22 12:00, day 20.7",
        f"lost by pip {by_pip.value:.1f} % ({by_pip.low:.1f} to {by_pip.high:.1f}); the species' line at pip: 11 to 14 %",
    ]
    assert lines[4] == "its target: 11 to 14 % by pip (day 18.9), which is 12.2 to 15.6 by hatch"
    assert lines[5].startswith(f"conductance {conductance.value:.1f} mg a day and kPa (")
    assert mass.low < 60.0 < mass.high
    # 2.60 g a week, of the 60 g that it weighed: by day 20.75 7.7 g, 12.8 %, and a little more, for it gets warmer.
    assert lost.value == pytest.approx(12.85, abs=0.3)
    once = water_lines(part_of(report(store, SITE, book.batch, 10, day(22))[2]))
    assert once[0] == "WATER of egg 10: 1 weighing"
    assert once[1].startswith("loss not known: weighed once")
    assert water_lines(part_of(report(store, SITE, book.batch, 9, day(22))[2])) == [
        "WATER of egg 9: never weighed by itself"
    ]


def test_json() -> None:
    """`egg` holds its end, its entries and its water; what was done names the entry, and of a weighing the mass and the loss; plain JSON."""
    store, book = hatched()
    figures, _, header = report(store, SITE, book.batch, 7, day(22))
    data = json.loads(json.dumps(to_json(figures, header), allow_nan=False))
    egg = data["egg"]
    assert (egg["number"], egg["until"], egg["end"]["kind"], egg["ended_in_record"]) == (7, "2026-03-22T12:00:00.000Z", "hatched", True)  # fmt: skip
    assert [e["kind"] for e in egg["entries"]] == ["weighing", "weighing", "candling", "note", "weighing", "hatched"]
    part = part_of(header)
    assert part.loss is not None
    mass_g = part.loss.line.mass_at_set_g.value
    expected = [round(100.0 * (1.0 - g / mass_g), 4) for _, g in WEIGHED]
    weighings = [d for d in data["happenings"] if d["kind"] == "weighing"]
    assert [(d["mass_g"], d["lost_pct"], d["left_out"]) for d in weighings] == [
        (g, lost, None) for (_, g), lost in zip(WEIGHED, expected, strict=True)
    ]
    assert [d["entry"] for d in weighings] == [e["number"] for e in egg["entries"] if e["kind"] == "weighing"]
    assert [w["lost_pct"] for w in egg["water"]["weighings"]] == expected
    assert egg["water"]["loss"]["lost_by"] == egg["until"]
    assert egg["water"]["loss"]["line_pct"] == [11.0, 14.0]
    assert "egg" not in to_json(figures, replace(header, egg=None))


def test_csv() -> None:
    """One table by RFC 4180: one header, CRLF, as many cells in each row; the further columns stand last, and the batch's own table has none."""
    store, book = hatched()
    figures, _, header = report(store, SITE, book.batch, 7, day(22))
    text = to_csv(figures, header)
    assert text.count("\r\n") == text.count("\n") == len(text.splitlines())
    rows = list(csv.reader(io.StringIO(text, newline="")))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert rows[0][-len(COLUMNS) :] == list(COLUMNS.values())
    assert sum(row[0] == "kind" for row in rows) == 1
    table = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert {row["egg"] for row in table} == {"7"}
    weighed = [(row["mass (g)"], row["since (UTC)"]) for row in table if row["kind"] == "weighing"]
    assert weighed == [
        ("60.0", "2026-03-01T18:00:00.000Z"),
        ("57.4", "2026-03-08T18:00:00.000Z"),
        ("54.8", "2026-03-15T18:00:00.000Z"),
    ]
    assert [row["correction, or what was done"] for row in table if row["kind"] == "note"] == ['note: =1+1, "odd" and more']  # fmt: skip
    water = {row["quantity"]: row for row in table if row["kind"] == "water"}
    assert list(water) == ["mass_at_set_g", "lost_pct", "by_pip_pct", "conductance_mg_d_kpa"]
    for row in water.values():
        low, mid, high = (float(row[name]) for name in ("value low (95 %)", "value (unit in its quantity)", "value high (95 %)"))  # fmt: skip
        assert low < mid < high
    plain = Header(header.batch, header.profile, header.eggs, header.set_at)
    assert not set(COLUMNS.values()) & set(next(csv.reader(io.StringIO(to_csv(figures, plain)))))
