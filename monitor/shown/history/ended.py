"""How a batch ended in a line, its ends by day as they are drawn, and who its eggs were."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from monitor.analysis.history.chart import Chart
from monitor.analysis.history.ended import Ended
from monitor.domain.eggs.book import EggBook, identity, numbers, of_egg, outcome
from monitor.domain.eggs.chicks import chicks
from monitor.domain.eggs.entry import AirCell, ChickMass, Identity, fields_of
from monitor.domain.needs.batch import day_words
from monitor.domain.readings.reading import DAY_MS
from monitor.domain.wall import day_month
from monitor.service.reports.turning import Turned
from monitor.shown.eggs import turned_lines
from monitor.shown.entries import eggs_words, identity_words, said
from monitor.shown.form import Shown, listed
from monitor.shown.history.draw import rect, svg
from monitor.shown.report.page import safe
from monitor.shown.report.tree import PAGE_ONLY, Block, Column, Heading, Listing, Section, plain

HEIGHT = 44.0
ENDS = {"hatched": "hatched", "died": "found dead", "gone": "taken out"}  # by how they look
LISTED = 60  # eggs, one by one
GAP = 0.15  # of a day, between two bars


@dataclass(frozen=True, slots=True)
class EggsPart:
    """What the page of a batch has of its eggs besides their air. turned: None where nobody counted."""

    book: EggBook
    ended: Ended
    turned: Turned | None


def ended_line(ended: Ended, shown: Shown) -> str:
    """`17 of 24 eggs hatched, 20 Mar to 22 Mar; 5 died (3 late, 2 early); 2 were taken out (2 clear).`"""
    if not ended.any:
        return "How it ended is not written." if ended.closed else "None of its eggs has an end yet."
    of = "" if ended.eggs is None else f" of {eggs_words(ended.eggs)}"
    told = [f"{ended.hatched or 'None'}{of or ' '}{'' if of else 'eggs'} hatched{_when(ended, shown)}"]
    if ended.dead:
        told.append(f"{sum(ended.dead.values())} died{_parts(ended.dead)}")
    if ended.removed:
        told.append(f"{sum(ended.removed.values())} taken out{_parts(ended.removed)}")
    if ended.clear:
        told.append(f"{ended.clear} seen clear")
    if ended.went_on:
        told.append(f"{ended.went_on} went on in other batches")
    if ended.chicks_dead:
        told.append(f"{ended.chicks_dead} of the chicks died")
    if ended.left:
        told.append(f"of {ended.left} no end is written" if ended.closed else f"{ended.left} go on")
    return f"{'; '.join(told)}."


def _when(ended: Ended, shown: Shown) -> str:
    if ended.hatched_at is None:
        return ""
    first, last = (day_month(at, shown.zone) for at in ended.hatched_at)
    return f", {first}" if first == last else f", {first} to {last}"


def _parts(counts: Mapping[str, int]) -> str:
    return f" ({listed([f'{count} {name}' for name, count in sorted(counts.items(), key=lambda each: -each[1])])})"


def ended_lane(ended: Ended, chart: Chart, set_ms: int) -> str:
    """Hatches, deaths and what was taken out, of each day, one over the other."""
    most = max(each.eggs for each in ended.days)
    drawn = []
    for each in ended.days:
        first, last = (chart.column(set_ms + (each.day + n) * DAY_MS) for n in (GAP, 1.0 - GAP))
        last = max(last, first + 1.0)
        parts = tuple(zip(ENDS, (each.hatched, each.dead, each.removed), strict=True))
        words = f"day {each.day}: {', '.join(f'{count} {ENDS[look]}' for look, count in parts if count)}"
        floor = HEIGHT
        for look, count in parts:
            height = (HEIGHT - 2.0) * count / most
            floor -= height
            if count:
                drawn.append(rect(look, first, last, top=floor, height=height, words=words))
    frame = rect("frame", 0, chart.low.size, top=0.0, height=HEIGHT)
    return f"{svg(chart, HEIGHT, 'bars')}<title>how eggs ended, by day</title>{''.join(drawn)}{frame}</svg>"


def eggs_section(part: EggsPart, shown: Shown) -> Section:
    """Who they are, their air cells, how they were turned, their chicks; nothing where nothing of it is written."""
    told: list[Block] = []
    whole = identity(part.book, None)
    if whole is not None:
        told += plain([f"All of them: {identity_words(whole, shown.zone)}"])
    told += plain(turned_lines(part.turned, part.book.batch, shown.zone))
    rows = [row for row in _rows(part, whole, shown) if any(row[1:])]
    columns = [
        Column("egg", 4, right=True, gap=0),
        Column("who it is"),
        Column("air cell"),
        Column("ended"),
        Column("chick"),
    ]
    kept = [n for n in range(len(columns)) if n == 0 or any(row[n] for row in rows)]
    if len(kept) > 1:
        cells = tuple(tuple(row[n] for n in kept) for row in rows[:LISTED])
        told.append(Listing(tuple(columns[n] for n in kept), cells))
        told += plain([f"and {len(rows) - LISTED} more"] if len(rows) > LISTED else [])
    return Section(Heading("the eggs", ", one by one"), tuple(told), where=PAGE_ONLY)


def _rows(part: EggsPart, whole: Identity | None, shown: Shown) -> Iterator[tuple[str, ...]]:
    grown = {each.egg: each for each in chicks(part.book)}
    batch = part.book.batch
    for egg in numbers(part.book):
        own = of_egg(part.book, egg)
        cells = [e for e in own if isinstance(e.fact, AirCell)]
        cell = (
            f"{said(cells[-1], shown.zone).removeprefix('air cell ')}, day {day_words(batch.day(cells[-1].at))}"
            if cells
            else ""
        )
        end = outcome(part.book, egg)
        ended = "" if end is None else f"{said(end, shown.zone)}, day {day_words(batch.day(end.at))}"
        masses = (
            [f"{e.fact.mass_g:.1f}" for e in grown[egg].weighed if isinstance(e.fact, ChickMass)]
            if egg in grown
            else []
        )
        chick = f"{', '.join(masses)} g" if masses else ""
        yield str(egg), _own(identity(part.book, egg), whole, shown), cell, ended, chick


def _own(who: Identity | None, whole: Identity | None, shown: Shown) -> str:
    """What is said of this egg alone."""
    if who is None:
        return ""
    common = {} if whole is None else fields_of(whole)
    own = {name: value for name, value in fields_of(who).items() if value is not None and common.get(name) != value}
    return identity_words(Identity(**own), shown.zone) if own else ""  # type: ignore[arg-type]  # fields of one


def ended_key() -> str:
    """What its colours mean."""
    return "".join(
        f'<li><svg viewBox="0 0 22 12"><rect class="{look}" width="22" height="12"/></svg>{safe(words)}</li>'
        for look, words in ENDS.items()
    )
