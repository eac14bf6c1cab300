"""The sheet of one egg as a tree: the answer, the drawing, who it was, what happened in order, what is published, how sure; as text, page and values."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from typing import NamedTuple

from monitor.analysis.review.judged import SUPPORTED, UNLIKE
from monitor.domain.eggs.entry import AirCell, Attached, Candling, Entry, Identity, Laid, Size, Weighing
from monitor.domain.eggs.view import entry_view
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.batch import day_words
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import Catalogue
from monitor.domain.published.findings import FINDING
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.wall import WIDTH, printable, utc_text, wall_time
from monitor.service.across.sheet import Sheet
from monitor.service.reports.chick import Raised
from monitor.shown.eggs import growth_blocks, raised_view, turned_lines, turned_view
from monitor.shown.entries import identity_words, said, size_words
from monitor.shown.form import Shown, capital, duration
from monitor.shown.history.development import development_words
from monitor.shown.history.egg import water_section
from monitor.shown.history.felt import happening_words
from monitor.shown.history.report import doubt_words
from monitor.shown.report import page, text
from monitor.shown.report.page import safe
from monitor.shown.report.tree import (
    PAGE_ONLY,
    Block,
    Column,
    Drawing,
    Heading,
    Labelled,
    Listing,
    Paragraph,
    Report,
    Section,
    plain,
)
from monitor.shown.review.facts import NAMES, facts_section
from monitor.shown.review.finding import CLOSING, SUPPORTED_MEANS, cause_item, source_lines
from monitor.shown.review.whole import whole_json
from monitor.shown.sheet.draw import life_drawing
from monitor.shown.sheet.style import SHEET
from monitor.shown.sheet.words import INFORMS, answer, sensor_words


class Made(NamedTuple):
    """By which program, with its version, and when, in words."""

    program: str
    at: str


LISTED = 60  # lines of what happened
_NOT_TOLD = (Identity, Laid, Size)  # who it is stands by itself


def sheet_report(sheet: Sheet, catalogue: Catalogue, shown: Shown, *, made: Made) -> Report:
    """All of it."""
    lines = list(answer(sheet, shown))
    batch, part = sheet.life.batch, sheet.life.part
    about = f"{sheet.profile.name}, set {shown.time(batch.set_at)}; batch {batch.id}{_called(sheet)}"
    answered = tuple(Paragraph(line, look="answer" if n else "answer first") for n, line in enumerate(lines))
    return Report(
        f"Egg {part.egg} of {batch.id}",
        (Paragraph(about, look="about"),),
        (
            Section(None, tuple(map(Drawing, ["".join(life_drawing(sheet, shown))])), where=PAGE_ONLY),
            _who(sheet, shown),
            _sure(sheet, shown),
            *([] if sheet.raised is None else [_chick(sheet.raised, sheet.site)]),
            _happened(sheet, shown),
            *([] if sheet.review.facts is None else [facts_section(sheet.review.facts, shown, short=True)]),
            water_section(part, shown),
            *_published(sheet, catalogue, shown),
            _method(sheet, shown, made=made),
        ),
        answered,
    )


def sheet_text(sheet: Sheet, catalogue: Catalogue, shown: Shown, *, made: Made, columns: int = WIDTH) -> str:
    """The sheet for people, so many columns wide."""
    return text.drawn(sheet_report(sheet, catalogue, shown, made=made), columns=columns)


def sheet_html(sheet: Sheet, catalogue: Catalogue, shown: Shown, *, made: Made) -> str:
    """The page: one file, with the drawing and a small photograph in it."""
    return page.drawn(sheet_report(sheet, catalogue, shown, made=made), SHEET)


def sheet_json(sheet: Sheet, catalogue: Catalogue, shown: Shown) -> dict[str, object]:
    """The sheet as plain values."""
    death, part = sheet.death, sheet.life.part
    return {
        "batch": part.batch.id,
        "egg": part.egg,
        "answer": list(answer(sheet, shown)),
        "end": None if part.end is None else entry_view(part.end),
        "death": None
        if death is None
        else {
            "stage": death.stage,
            "last_alive": None if death.alive is None else utc_text(death.alive.at),
            "found_dead": utc_text(death.dead.at),
            "since": utc_text(death.since),
            "until": utc_text(death.until),
            "by_stage": death.by_stage,
        },
        "entries": [entry_view(each) for each in part.entries],
        "sensors": [
            {
                "probe": each.key,
                "coverage": round(each.coverage, 4),
                "apart": {quantity: round(off, 4) for quantity, off in each.apart.items()},
                "calibrated": [utc_text(c.at) for c in each.calibrations],
                "labelled": [{"basis": one.basis, "trusted": one.trusted} for one in each.labelled],
            }
            for each in sheet.sensors
        ],
        **turned_view(sheet.turned),
        **raised_view(sheet.raised),
        "review": whole_json(sheet.review, catalogue),
    }


def _called(sheet: Sheet) -> str:
    return "" if sheet.who is None or sheet.who.label is None else f", label {printable(sheet.who.label)}"


def _who(sheet: Sheet, shown: Shown) -> Section:
    part = sheet.life.part
    told: list[Block] = []

    def say(label: str, words: str) -> None:
        if words:
            told.append(Labelled(label, words))

    say("it is", "" if sheet.who is None else identity_words(sheet.who, shown.zone))
    laid = [e for e in part.entries if isinstance(e.fact, Laid)]
    say("laid", said(laid[-1], shown.zone) if laid else "")
    say("days in store", f"{sheet.stored_days[0]:.1f}" if sheet.stored_days else "")
    size = "" if sheet.size is None else f"{sheet.size.length_mm:g} x {sheet.size.breadth_mm:g} mm"
    fresh = "" if sheet.fresh is None else f", about {sheet.fresh.mass_g:.1f} g when it was laid, by its size"
    say("size", f"{size}{fresh}")
    say(
        "weighed first",
        f"{part.masses[0].mass_g:.2f} g, {wall_time(part.masses[0].at, shown.zone)}" if part.masses else "",
    )
    cells = [
        f"day {day_words(part.batch.day(e.at))}: {said(e, shown.zone).removeprefix('air cell ')}"
        for e in part.entries
        if isinstance(e.fact, AirCell)
    ]
    say("air cell", "; ".join(cells))
    say("turned", "; ".join(turned_lines(sheet.turned, part.batch, shown.zone)) or "nobody counted")
    files = [e for e in part.entries if isinstance(e.fact, Attached)]
    say("files", "; ".join(_file(e) for e in files))
    if sheet.photograph is not None:
        entry, content = sheet.photograph
        assert isinstance(entry.fact, Attached)
        kind = "png" if content.startswith(b"\x89PNG") else "jpeg"
        words = f"{entry.fact.name}, {shown.time(entry.at)}"
        told.append(
            Drawing(
                f'<img alt="{safe(words)}" title="{safe(words)}" src="data:image/{kind};base64,{base64.b64encode(content).decode()}">'
            )
        )
    if not told:
        told += plain(["Nothing is written of who it was."])
    return Section(Heading("who it was"), tuple(told))


def _file(entry: Entry) -> str:
    fact = entry.fact
    assert isinstance(fact, Attached)
    text = f": {printable(fact.text)}" if fact.text else ""
    return f"{printable(fact.name)} ({size_words(fact.size)}, entry {entry.number}){text}"


def _chick(raised: Raised, site: Site) -> Section:
    return Section(Heading("its chick"), tuple(growth_blocks(raised, site)))


def _happened(sheet: Sheet, shown: Shown) -> Section:
    """Looks, weighings, moves, alarms and stays beyond an alarm limit, by time; what was only opened is drawn."""
    rows = sorted(_rows(sheet, shown), key=lambda row: row[0])
    batch = sheet.life.batch
    cells = tuple(
        (day_words(batch.day(from_ms(at_ms))), wall_time(from_ms(at_ms), shown.zone), words) for at_ms, words in rows
    )
    more = plain([f"and {len(cells) - LISTED} more"] if len(cells) > LISTED else [])
    columns = (Column("day", 6, gap=0), Column("when", 18), Column("what"))
    return Section(
        Heading("what happened", ", in order"),
        (Listing(columns, cells[:LISTED]), *more) if cells else plain(["Nothing."]),
    )


def _rows(sheet: Sheet, shown: Shown) -> Iterator[tuple[int, str]]:
    for each in sheet.history.happenings:
        if each.kind == "opening" or (each.written is not None and isinstance(each.written.entry.fact, _NOT_TOLD)):
            continue
        yield each.at_ms, happening_words(each, shown)
    facts = sheet.review.facts
    if facts is None:
        return
    for rang in facts.rang:
        lasted = (
            "still standing at its end"
            if rang.until is None
            else f"for {duration((rang.until - rang.since).total_seconds())}"
        )
        who = (
            "answered by nobody"
            if rang.answered is None
            else f"answered by {printable(rang.answered[0])}, {wall_time(rang.answered[1], shown.zone)}"
        )
        yield (
            to_ms(rang.since),
            f"alarm No. {rang.number}, {printable(rang.subject)}: {rang.words or rang.rule}, {lasted}; {who}",
        )
    for beyond in facts.met:
        for since_ms, until_ms in beyond.dose.spans:
            yield (
                since_ms,
                f"{NAMES[beyond.side]} beyond the alarm limit for {duration((until_ms - since_ms) / 1000.0)}",
            )


def _published(sheet: Sheet, catalogue: Catalogue, shown: Shown) -> Iterator[Section]:
    """What the review says, in short, with its sources."""
    cited: list[str] = []
    for each in sheet.review.reviewed:
        told = [v for v in each.verdicts if v.verdict in (SUPPORTED, UNLIKE)]
        asked = "" if each.written else " (asked for, as it died then; nobody wrote a finding)"
        head = Heading("what is published", f" of: {FINDING[each.finding].words}{asked}")
        nothing = plain(["The record shows none of the published causes."] if not told else [])
        yield Section(
            head,
            (
                *(cause_item(v, shown.unit) for v in told),
                *nothing,
                *plain([SUPPORTED_MEANS, catalogue.findings[each.finding].caution]),
            ),
        )
        cited += source_lines(catalogue, told)
    if cited:
        yield Section(Heading("sources"), plain(sorted(set(cited))))


def _sure(sheet: Sheet, shown: Shown) -> Section:
    told: list[Block] = [Labelled(each.key, sensor_words(each, sheet, shown)) for each in sheet.sensors]
    whole = sheet.history.whole
    for quantity, figures in ((DRY_BULB, whole.dry_bulb_c), (RH, whole.rh_pct)):
        if figures.doubt.hours:
            told += plain([f"{capital(doubt_words(quantity, figures.doubt, shown))}."])
        gap = figures.longest_gap
        if gap is not None:
            name = "temperature" if quantity == DRY_BULB else "humidity"
            told += plain(
                [
                    f"Of {name} {len(figures.gaps)} gaps, the longest {duration(gap.seconds)} from {shown.time(gap.since_ms)}: nothing is made up over it."
                ]
            )
    if sheet.history.development is not None:
        words = development_words(sheet.history.development, "F" if shown.unit == "F" else "C")
        told += plain([f"How far it should have been, by the air: {words}."])
    return Section(Heading("how sure"), tuple(told) or plain(["No sensor looked at it."]))


def _method(sheet: Sheet, shown: Shown, *, made: Made) -> Section:
    looks = sum(isinstance(e.fact, Candling) for e in sheet.life.part.entries)
    weighed = sum(isinstance(e.fact, Weighing) for e in sheet.life.part.entries)
    good = sheet.review.good
    beside = (
        f"The ribbon is where the means of {len(good)} batches of this house lay on the same days that went well ({', '.join(good)})."
        if sheet.ribbons
        else "Fewer than two batches of this species went well here before, so none is drawn beside it."
    )
    return Section(
        Heading("how this was made"),
        plain(
            [
                f"By {made.program}, {made.at}, from readings, alarms and {looks} looks and {weighed} weighings in the egg book; times are local ({shown.zone}). A day is 24 hours from the set.",
                "The line is each sensor's readings, corrected by its calibrations, joined where they are no farther apart than its allowed silence; of two sensors the mean, of more the median. Heat and cold beyond the alarm limits go by the worse of two.",
                "That it died lies between two looks, for nobody was there; the class that was written can narrow it: early is the first third of the term, middle up to day 16 of 21.",
                beside,
                INFORMS,
                CLOSING,
            ]
        ),
    )
