"""The life of one egg: cut at its own end, with the figures of a batch that ended then, and what its book says."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from datetime import UTC
from types import SimpleNamespace
from typing import Any

import pytest

from monitor.analysis.history.environment import BatchHistory
from monitor.analysis.history.felt import Written
from monitor.analysis.water.loss import WEIGHED_ONCE, FarOff, NoLine
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import (
    Candling,
    Dead,
    Entry,
    Found,
    Hatched,
    Laid,
    LookAgain,
    Note,
    Removed,
    Sign,
    Weighing,
    Withdrawn,
)
from monitor.domain.needs.batch import Batch, Declared, Stay, closed
from monitor.domain.needs.site import Site
from monitor.service.reports import egg as egg_module
from monitor.service.reports.batch import NoRecord, batch_history
from monitor.service.reports.egg import at_instant, egg_life
from monitor.shown.history.felt import what_words
from monitor.shown.history.files import to_csv, to_json
from monitor.shown.history.report import Header, to_html, to_text
from tests.one_egg import MOVE_D, STAGE_D, STEP_MS, WARM_C, day, hens, make_site, part_of, record, report, written


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


def wavy(days: float) -> float:
    """Air that leaves its band now and again."""
    return WARM_C + 0.7 * math.sin(days * 5.0)


def test_a_batch_as_it_stood() -> None:
    """What happened at that very instant had happened: a stage declared then, and not one declared later; where it came then it had not been yet, and it
    was open."""
    whole = Batch(
        "hen-1",
        "chicken",
        day(0),
        12,
        stays=(Stay("setter-1", day(0), day(18)), Stay("hatcher-1", day(18), day(22))),
        declared=(Declared("lockdown", day(17)), Declared("hatch", day(20))),
        closed_at=day(22),
    )
    then = at_instant(whole, day(17))
    assert (then.declared, then.closed_at) == (whole.declared[:1], None)
    assert then.stays == (Stay("setter-1", day(0), day(17)),)
    moved = at_instant(whole, day(18))
    assert moved.stays == whole.stays[:1]
    assert at_instant(whole, day(19)).stays == (whole.stays[0], Stay("hatcher-1", day(18), day(19)))
    assert at_instant(whole, day(16.9)).declared == ()


def plain(history: BatchHistory, batch: Batch) -> dict[str, Any]:
    """Every figure, without what the egg book says and without the batch's own close."""
    own = tuple(h for h in history.happenings if h.entry is None and not h.closed)
    header = Header(batch.id, batch.profile, batch.eggs, batch.set_at)
    return to_json(replace(history, happenings=own), header)


@pytest.mark.parametrize("end_d", [0.01, 4.0, 10.3717, STAGE_D, STAGE_D + 0.2, MOVE_D, MOVE_D + 1e-5, 20.5])
@pytest.mark.parametrize("closed_d", [None, 21.9])
def test_the_figures_are_those_of_a_batch_that_ended_then(site: Site, end_d: float, closed_d: float | None) -> None:
    """Stages, whole, doses, excursions, gaps, calibrations, development: all that a batch closed at the egg's death has, to the last digit."""
    book = written(EggBook(hens(closed_d)), end_d, Dead("late"), 7)
    store = record(book, wavy)
    found, charts, _ = report(store, site, book.batch, 7, day(21.95))
    before = hens()
    stays = tuple(s for s in before.stays if s.since < day(end_d))
    stays = (*stays[:-1], replace(stays[-1], until=None))
    declared = tuple(d for d in before.declared if d.at <= day(end_d))
    ended = closed(replace(before, stays=stays, declared=declared), day(end_d))
    expected = batch_history(store, site, ended, now=day(21.95))
    assert plain(found, book.batch) == plain(expected, book.batch)
    assert charts[0].until_ms == found.whole.until_ms == expected.whole.until_ms
    assert found.whole.until_ms < batch_history(store, site, book.batch, now=day(21.95)).whole.until_ms


def test_against_what_was_worked_out_by_hand(site: Site) -> None:
    """37.7 °C for two days less ten minutes, ten minutes up to 38.6 °C, and that until the egg was taken out on day 3.

    Above 38.1 °C: 24 h, and 5/9 of the ten minutes; 0.5 K over that day, and a triangle of 0.5 K over the rest; the mean
    is 37.7 and 0.9 K over 24 h and half of that over ten minutes, of 72 h.
    """
    rises = lambda days: 37.7 if days < 2.0 - 1e-9 else 38.6  # noqa: E731
    book = written(EggBook(hens()), 3.0, Removed("clear"), 5)
    store = record(book, rises)
    found, _, _ = report(store, site, book.batch, 5, day(6.0))
    dry = found.whole.dry_bulb_c
    step_h = STEP_MS / 3_600_000
    assert [p.stage for p in found.stages] == ["setter"]
    assert dry.limits[0].high == 38.1
    assert dry.hours_above == pytest.approx(24.0 + step_h * 5.0 / 9.0, abs=1e-6)
    assert dry.degree_hours_above == pytest.approx(12.0 + 0.5 * 0.5 * step_h * 5.0 / 9.0, abs=1e-6)
    assert dry.mean == pytest.approx(37.7 + (0.9 * 24.0 + 0.45 * step_h) / 72.0, abs=1e-6)
    assert dry.max == 38.6
    assert dry.hours_covered == pytest.approx(72.0)
    assert batch_history(store, site, book.batch, now=day(6.0)).whole.dry_bulb_c.hours_above > 95.0


def test_what_the_book_says_stands_among_what_was_done(site: Site) -> None:
    """In order: laid before it was set, moves, weighings with what was lost, candling, sign, outcome, and the finding after it."""
    book = EggBook(hens())
    book = written(book, 0.5, Laid(stored_days=3.0), 7)
    for at, mass_g in ((0.0, 60.00), (7.0, 57.40), (14.0, 54.80)):
        book = written(book, at, Weighing(mass_g, error_g=0.01), 7)
    book = written(book, 8.0, Candling("alive"), 7)
    book = written(book, 19.4, Sign("internal pip"), 7)
    book = written(book, 19.9, Weighing(52.0), 7)
    book = written(book, 20.5, Dead("internal pip"), 7)
    book = written(book, 21.0, Found("wet-chick"), 7)
    found, _, header = report(record(book), site, book.batch, 7, day(21.95))
    part = part_of(header)
    assert part.loss is not None
    mass_at_set_g = part.loss.line.mass_at_set_g.value
    lost = [100.0 * (1.0 - g / mass_at_set_g) for g in (57.40, 54.80)]
    words = [(h.kind, what_words(h, UTC)) for h in found.happenings if h.kind not in ("opening", "handling")]
    assert words == [
        ("laid", "stored 3 days"),
        ("move", "to setter-1"),
        ("weighing", "weighed: 60.00 g"),
        ("weighing", f"weighed: 57.40 g, {lost[0]:.1f} % lost"),
        ("candling", "candled: alive"),
        ("weighing", f"weighed: 54.80 g, {lost[1]:.1f} % lost"),
        ("stage", "lockdown"),
        ("move", "to hatcher-1"),
        ("sign", "sign: internal pip"),
        ("weighing", "weighed: 52.00 g, left out: after it was pipped"),
        ("dead", "dead (internal pip)"),
        ("finding", "finding: wet chick, excess fluid, soft or oedematous"),
    ]
    assert [h.machine for h in found.happenings if h.kind in ("laid", "candling", "dead")] == ["", "setter-1", "hatcher-1"]  # fmt: skip
    assert {h.by for h in found.happenings if h.entry is not None} == {"ada"}
    # In air that stays its loss is one line: 2.60 g in each week. The steadily warmer egg bends it a little.
    assert mass_at_set_g == pytest.approx(60.0, abs=0.06)
    assert lost == [pytest.approx(4.33, abs=0.1), pytest.approx(8.67, abs=0.1)]
    assert part.lost_by == day(19.4)
    assert part.line_pct == (11.0, 14.0)  # past pip, day 18.9, it is the target itself


def test_only_what_is_about_this_egg(site: Site) -> None:
    """Other eggs', counted ones' and a tray's entries, what was withdrawn, and notes on the batch after its end are not its own."""
    book = EggBook(hens())
    book = written(book, 0.0, Laid(stored_days=5.0))
    book = written(book, 1.0, Laid(stored_days=2.0), 7)
    book = written(book, 2.0, Note("another egg's"), 8)
    book = written(book, 3.0, Candling("clear"), count=3)
    book = written(book, 3.0, Weighing(700.0), count=12, tray="A")
    book = written(book, 4.0, Note("the water tray was cleaned"))
    book = written(book, 5.0, Note("a slip"), 7)
    book = written(book, 5.0, Withdrawn(), 7, replaces=book.entries[-1].number)
    book = written(book, 10.0, Removed("broken"), 7)
    book = written(book, 12.0, Note("after it"))
    store = record(book)
    _, _, header = report(store, site, book.batch, 7, day(21.0))
    assert [what_words(h, UTC) for h in part_of(header).done] == ["stored 2 days", "batch note: the water tray was cleaned", "removed: broken"]  # fmt: skip
    _, _, header = report(store, site, book.batch, 9, day(21.0))
    assert [what_words(h, UTC) for h in part_of(header).done] == ["batch: stored 5 days", "batch note: the water tray was cleaned", "batch note: after it"]  # fmt: skip


def test_an_egg_of_which_nothing_is_written_has_the_batchs_history(site: Site) -> None:
    """Open or closed: the same figures and the same things done, to the last."""
    for closed_d in (None, 21.0):
        book = written(EggBook(hens(closed_d)), 10.0, Removed("clear"), 7)
        store = record(book, wavy)
        found, _, header = report(store, site, book.batch, 4, day(21.5))
        assert found == batch_history(store, site, book.batch, now=day(21.5))
        part = part_of(header)
        assert (part.end, part.ended, part.entries, part.masses, part.loss) == (None, False, (), (), None)


def test_an_end_that_was_written_after_the_batch_was_closed(site: Site) -> None:
    """A death found at the break-out adds nothing to the record of a batch that was closed before."""
    book = written(EggBook(hens(21.0)), 21.5, Dead("early"), 7)
    found, _, header = report(record(book), site, book.batch, 7, day(21.9))
    part = part_of(header)
    assert (part.until, part.ended) == (day(21.0), False)
    assert part.end is not None
    assert found.whole == batch_history(record(book), site, book.batch, now=day(21.9)).whole


def test_a_chick_that_died_after_the_hatch_ended_with_the_hatch(site: Site) -> None:
    """Its record is that of the egg; the death stands behind it."""
    book = written(EggBook(hens()), 20.4, Hatched(), 7)
    book = written(book, 20.9, Dead("after hatch"), 7)
    found, _, header = report(record(book), site, book.batch, 7, day(21.9))
    assert part_of(header).until == day(20.4)
    assert [what_words(h, UTC) for h in found.happenings][-2:] == ["hatched", "dead (after hatch)"]


def test_an_end_that_is_yet_to_come_is_none(site: Site) -> None:
    """At an instant before the hatch (an archive's, say) the egg goes on, and the entry is not told."""
    book = written(EggBook(hens()), 20.4, Hatched(), 7)
    life = egg_life(record(book), site, book.batch, egg=7, now=day(20.0))
    assert (life.part.end, life.until, life.part.entries, life.batch) == (None, day(20.0), (), book.batch)


def test_the_loss_is_that_of_the_egg_book(site: Site) -> None:
    """An egg that goes on: its loss now, and the species' line now; one that was weighed once has a reason."""
    book = EggBook(Batch("hen-1", "chicken", day(0.0), 12, stays=(Stay("setter-1", day(0.0)),)))
    for at, mass_g in ((0.0, 60.00), (5.0, 58.00)):
        book = written(book, at, Weighing(mass_g, error_g=0.01), 7)
    book = written(book, 0.0, Weighing(61.0), 8)
    book = written(book, 6.0, LookAgain(day(9.0)), 8)
    store = record(book, until_d=7.0)
    part = egg_life(store, site, book.batch, egg=7, now=day(7.0)).part
    assert part.loss is not None
    assert part.lost_by == day(7.0)
    assert part.loss.now_pct.value == pytest.approx(100.0 * 2.0 / 60.0 * 7.0 / 5.0, abs=0.1)
    assert part.line_pct == pytest.approx((11.0 * 7.0 / 18.9, 14.0 * 7.0 / 18.9))
    other = egg_life(store, site, book.batch, egg=8, now=day(7.0)).part
    assert other.loss is None
    assert other.unknown == NoLine(WEIGHED_ONCE, 1)
    assert [what_words(h, UTC) for h in other.done][-1].startswith("look again ")


def test_an_egg_that_was_in_no_machine(site: Site) -> None:
    """Taken out before its batch came into a machine: one line, no figures."""
    batch = replace(hens(), stays=(Stay("setter-1", day(1.0)),))
    book = written(EggBook(batch), 0.5, Removed("broken"), 7)
    with pytest.raises(NoRecord, match=r"^egg 7 of batch hen-1: removed before it was in a machine"):
        egg_life(record(book), site, batch, egg=7, now=day(3.0))


def test_what_was_typed_moves_neither_terminal_nor_page_nor_table(site: Site) -> None:
    """A note, who wrote it and who handled hold escapes, line ends and markup: text and page have them as blanks and as words, the table
    and the values for programs give back what was typed."""
    odd = 'a\x1b[2Jb\r\nc\u202e"<b>,=1'
    book = EggBook(hens(21.5), (Entry(day(3.0), day(3.0), f"ada{odd}", Note(odd), egg=7, number=1),))
    figures, charts, header = report(record(book), site, book.batch, 7, day(22))
    text, page = to_text(figures, header, zone=UTC, unit="C"), to_html(figures, charts, header, zone=UTC, unit="C")
    assert all(line.isprintable() for line in (*text.splitlines(), *page.splitlines()))
    assert 'note: a [2Jb c "<b>,=1, by ada' in " ".join(text.split())
    assert "<b>" not in page
    data = json.loads(json.dumps(to_json(figures, header)))
    assert [(e["fact"]["text"], e["by"]) for e in data["egg"]["entries"]] == [(odd, f"ada{odd}")]
    rows = list(csv.DictReader(io.StringIO(to_csv(figures, header), newline="")))
    assert [row for row in rows if row["by"] == f"ada{odd}"]


@pytest.mark.parametrize(
    ("why", "lost_pct", "told"),
    [(None, 0.05, 0.05), (None, 0.049, None), (None, 8.0, 8.0), (None, None, None), (FarOff(), 8.0, None)],
)
def test_what_a_weighing_comes_to(
    monkeypatch: pytest.MonkeyPatch, why: FarOff | None, lost_pct: float | None, told: float | None
) -> None:
    """From a twentieth of a per cent on, and not of one that is left out, for the reason that is told instead."""
    entry: Any = SimpleNamespace()
    monkeypatch.setattr(egg_module, "left_out", lambda *_: why)
    monkeypatch.setattr(egg_module, "lost_pct", lambda *_: lost_pct)
    mass: Any = SimpleNamespace()
    batch: Any = SimpleNamespace()
    assert egg_module._written(entry, mass, None, batch=batch) == Written(entry, why, told)
    assert egg_module._written(entry, None, None, batch=batch) == Written(entry)
