"""The environment history of a batch, or of one egg of it, as a breeder reads it, in the site's zone and unit; see `files` for JSON and CSV.

Nothing is computed here. Beside every mean stands its coverage, and every gap is counted. A page has drawings beside the same figures and
sentences: inline SVG that stretches to the width there is; words stand beside them as text, so that they stay readable. Each column of a
drawing goes from its lowest to its highest value, see `chart`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, tzinfo

from monitor.analysis.history.chart import Chart, Ribbon
from monitor.analysis.history.development import LEAST_COVERAGE
from monitor.analysis.history.egg import EggPart
from monitor.analysis.history.ended import Ended
from monitor.analysis.history.environment import BatchHistory, Period
from monitor.analysis.history.felt import Felt
from monitor.analysis.history.figures import Figures, Gap
from monitor.analysis.history.stays import Stay, by_area, stays_of
from monitor.analysis.line.doubt import RANGE, STILL, UNLIKE_AIR, Doubt
from monitor.analysis.review.facts import Rang
from monitor.domain.needs.bands import DRY_BULB, EGG, WET_BULB
from monitor.domain.needs.batch import Batch, day_words
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.reading import DAY_MS, to_ms
from monitor.domain.wall import WIDTH, printable
from monitor.shown.calibrations import said
from monitor.shown.entries import eggs_words
from monitor.shown.form import WORDS, Shown, capital, duration
from monitor.shown.history.development import development_lines
from monitor.shown.history.draw import NO_PROBES, Ticks, alarms_lane, axis, drawing, legend, strips, turns_lane
from monitor.shown.history.egg import book_section, end_line, water_section
from monitor.shown.history.egg_draw import loss_drawing
from monitor.shown.history.ended import EggsPart, eggs_section, ended_key, ended_lane, ended_line
from monitor.shown.history.felt import dose_line, dose_section, felt_lines, happening_section, openings_per_day
from monitor.shown.report import page, text
from monitor.shown.report.tree import (
    HEADED_ON_PAGE,
    INSET,
    PAGE_ONLY,
    Block,
    Drawing,
    Heading,
    Paragraph,
    Report,
    Row,
    Section,
    Table,
    plain,
)
from monitor.shown.values import per_cent, stage_words

LISTED = 20  # excursions, and gaps, told one by one; JSON and CSV have them all


@dataclass(frozen=True, slots=True)
class Header:
    """What stands over the figures: batch, profile, eggs set (None where not recorded), set time (aware); egg: of a history that is
    one egg's own; ended: how the batch did, None where nobody asks."""

    batch: str
    profile: str
    eggs: int | None
    set_at: datetime
    egg: EggPart | None = None
    ended: Ended | None = None

    @classmethod
    def of(cls, batch: Batch, egg: EggPart | None = None, ended: Ended | None = None) -> Header:
        """What stands over the figures of a batch, or of one egg of it."""
        return cls(batch.id, batch.profile, batch.eggs, batch.set_at, egg, ended)

    def first(self, shown: Shown) -> list[Paragraph]:
        """How the batch ended, as far as it did: what is asked first."""
        told = self.ended is not None and (self.ended.any or self.ended.closed)
        return [Paragraph(ended_line(self.ended, shown), look="ended")] if self.ended is not None and told else []

    @property
    def title(self) -> str:
        """`Environment history of batch hen-1`, `Environment history of egg 7 of hen-1`."""
        return f"Environment history of {f'batch {self.batch}' if self.egg is None else self.egg.name}"

    def lines(self, shown: Shown) -> list[str]:
        """What stands under the title."""
        eggs = eggs_words(self.eggs) if self.eggs is not None else "eggs not recorded"
        about = f"profile {self.profile}, {eggs}, set {shown.time(self.set_at)}"
        return [about] if self.egg is None else [about, end_line(self.egg, shown)]


def to_text(history: BatchHistory, header: Header, *, zone: tzinfo, unit: str, columns: int = WIDTH) -> str:
    """The history for people, so many columns wide: each stage, the whole, excursions and gaps longest first.

    Parameters
        zone: for every time shown; an hour that a change of summer time brings twice is shown with its
        offset.
        unit: `C` or `F`.
    Raises
        ValueError: another unit.
    """
    return text.drawn(history_report(history, header, Shown(zone, unit), answer=True), inset=False, columns=columns)


@dataclass(frozen=True, slots=True)
class Beside:
    """What a page has besides: each sensor's own line and where good batches lay, by quantity; how often eggs were turned each day; the alarms in
    their life; and its eggs, None of one egg's page."""

    probes: Mapping[str, Mapping[str, Chart]] = field(default_factory=dict)
    ribbons: Mapping[str, Ribbon] = field(default_factory=dict)
    turns: tuple[tuple[int, int], ...] = ()
    rang: tuple[Rang, ...] = ()
    eggs: EggsPart | None = None


NOTHING = Beside()


def to_html(
    history: BatchHistory,
    charts: Sequence[Chart],
    header: Header,
    *,
    zone: tzinfo,
    unit: str,
    beside: Beside = NOTHING,
) -> str:
    """The page.

    Parameters
        history, header, zone, unit: as for the text. charts, beside: of the same life.
    Raises
        ValueError: another unit.
    """
    return page.drawn(history_report(history, header, Shown(zone, unit), charts=charts, beside=beside))


def history_report(
    history: BatchHistory,
    header: Header,
    shown: Shown,
    *,
    charts: Sequence[Chart] = (),
    beside: Beside = NOTHING,
    answer: bool = False,
) -> Report:
    """The whole, with its drawings where there are charts of the same life. answer: begin with what it comes to, which drawings show by themselves."""
    figures = _figures(history, shown)
    told = (
        Section(None, plain([_times(shown)])),
        *([] if history.development is None else [Section(None, plain(development_lines(history.development, shown)))]),
        *_drawn(history, charts, header, shown=shown, beside=beside),
        *([] if beside.eggs is None else [eggs_section(beside.eggs, shown)]),
        Section(Heading("figures"), parts=tuple(figures), where=HEADED_ON_PAGE),
    )
    if history.felt:
        told += (dose_section(history.felt, shown), happening_section(history.happenings, header.set_at, shown))
    told += (
        *_excursions(history, header, shown),
        _gaps(history.whole, shown),
        _calibrations(history.calibrations, shown),
    )
    answered = (*header.first(shown), *(plain(answer_lines(history, shown)) if answer else ()))
    return Report(header.title, plain(header.lines(shown)), told, answered)


def answer_lines(history: BatchHistory, shown: Shown) -> Iterator[str]:
    """What it comes to: how much of the time it was on target, and what it was beyond its alarm limits."""
    shares: list[tuple[str, str]] = []
    few: list[str] = []
    for quantity, figures in history.whole.figures():
        judged_h = figures.hours_covered - figures.hours_unjudged
        if quantity == WET_BULB or judged_h <= 0.0:
            continue
        share = per_cent(figures.hours_in / judged_h)
        if figures.coverage >= LEAST_COVERAGE:
            shares.append((f"{WORDS[quantity]} {share}", per_cent(figures.coverage)))
        else:
            few.append(
                f"of {WORDS[quantity]} {per_cent(figures.coverage)} of the time is on record, {share} of that on target"
            )
    coverage = history.whole.dry_bulb_c.coverage
    known = coverage >= LEAST_COVERAGE
    if shares:
        if len({covered for _, covered in shares}) == 1:
            yield f"On target: {', '.join(share for share, _ in shares)} of the time; {shares[0][1]} of it is on record."
        else:
            yield f"On target: {', '.join(f'{share} of the time ({covered} on record)' for share, covered in shares)}."
    if few:
        yield (
            f"Whether it was on target cannot be said: {'; '.join(few)}."
            if not shares
            else f"{capital('; '.join(few))}."
        )
    for quantity, figures in history.whole.figures():
        if quantity != WET_BULB and figures.doubt.hours:
            yield f"{capital(doubt_words(quantity, figures.doubt, shown))}."
    if not (shares or few):
        yield f"Whether it was on target cannot be said: {per_cent(coverage)} of the time is on record."
    sides = [side for side in history.felt[-1].doses if side.dose.peak_c is not None] if history.felt else []
    yield from (f"{capital(dose_line(side, shown))}." for side in sides)
    if history.felt and not sides and known:
        yield "Never beyond an alarm limit of temperature in the time that is on record."


def _times(shown: Shown) -> str:
    return (
        f"Times are local ({shown.zone}). In, above and below refer to the warning limits of the target (to the alarm"
        " limit on a side without one). Covered is the share of time with good data; over a gap nothing is made up."
    )


def _drawn(
    history: BatchHistory, charts: Sequence[Chart], header: Header, *, shown: Shown, beside: Beside
) -> Iterator[Section]:
    """The drawings, and where the history is one egg's own, its book and its water, which text has too."""
    egg, ticks = header.egg, axis(charts[0], to_ms(header.set_at), shown) if charts else []
    if charts:
        drawn = _air(history, charts, header, ticks=ticks, shown=shown, beside=beside)
        yield Section(None, tuple(drawn), where=PAGE_ONLY)
    if egg is not None:
        if charts:
            yield book_section(egg, shown)
        yield water_section(egg, shown, loss_drawing(egg, charts[0], ticks, shown=shown) if charts else ())


def _air(
    history: BatchHistory, charts: Sequence[Chart], header: Header, *, ticks: Ticks, shown: Shown, beside: Beside
) -> Iterator[Drawing]:
    set_ms = to_ms(header.set_at)
    per_day = openings_per_day(history.happenings, header.set_at)
    days = header.ended is not None and bool(header.ended.days)
    lanes = []
    if beside.turns:
        lanes.append(("turned", turns_lane(beside.turns, charts[0], set_ms)))
    if beside.rang:
        lanes.append(("alarms", alarms_lane(beside.rang, charts[0], shown)))
    if header.ended is not None and days:
        lanes.append(("ended", ended_lane(header.ended, charts[0], set_ms)))
    yield from map(
        Drawing, strips(history, charts[0], ticks=ticks, per_day=per_day, set_ms=set_ms, shown=shown, more=lanes)
    )
    for chart in charts:
        figures = _figures_of(history, chart.quantity)
        if figures is not None:
            yield from map(
                Drawing,
                drawing(
                    chart,
                    figures,
                    done=history.happenings,
                    stages=history.stages,
                    ticks=ticks,
                    shown=shown,
                    probes=beside.probes.get(chart.quantity, NO_PROBES),
                    ribbon=beside.ribbons.get(chart.quantity),
                ),
            )
    several = any(len(lines) > 1 for lines in beside.probes.values())
    good = next((ribbon.batches for ribbon in beside.ribbons.values()), 0)
    yield Drawing(legend(header.egg is not None, probes=several, good=good, more=ended_key() if days else ""))


def _figures_of(history: BatchHistory, quantity: str) -> Figures | None:
    if quantity == EGG:
        return history.felt[-1].egg_c if history.felt else None
    figures: Figures = getattr(history.whole, quantity)
    return figures


def _figures(history: BatchHistory, shown: Shown) -> Iterator[Section]:
    """A section for each stage, and for the whole."""
    for place, period in enumerate((*history.stages, history.whole)):
        told = _period(period, history.felt[place] if place < len(history.felt) else None, shown)
        # of one stage the whole says the same, word for word
        yield replace(told, where=PAGE_ONLY) if place == len(history.stages) == 1 else told


def _period(period: Period, felt: Felt | None, shown: Shown) -> Section:
    """One stage, or the whole: a column per quantity."""
    days = (period.until_ms - period.since_ms) / DAY_MS
    columns = [column(quantity, figures, shown) for quantity, figures in period.figures()]
    rows = tuple(
        Row(row[0].label, tuple(cell for each in row for cell in each.cells), row[0].under)
        for row in zip(*columns, strict=True)
    )
    blocks: list[Block] = [
        Paragraph(f"{shown.time(period.since_ms)} to {shown.time(period.until_ms)}, {days:.1f} days"),
        Table(rows),
    ]
    for quantity, figures in period.figures():
        if len(figures.limits) > 1:
            for limits in figures.limits:
                band = shown.band(quantity, limits)
                blocks.append(Paragraph(f"{WORDS[quantity]} from {shown.time(limits.since_ms)}: {band}"))
    for quantity, figures in period.figures():
        if figures.doubt.hours and quantity != WET_BULB:  # which is made of the others
            blocks.append(Paragraph(capital(doubt_words(quantity, figures.doubt, shown))))
    if felt is not None:
        blocks += plain(felt_lines(felt, shown))
    return Section(
        Heading(stage_words(period.stage), f" in {', '.join(period.machines) or 'no machine'}"), tuple(blocks)
    )


def column(quantity: str, figures: Figures, shown: Shown) -> list[Row]:
    """The rows of one quantity's column."""
    judged = figures.hours_covered > figures.hours_unjudged
    longest = figures.longest_gap

    def value(value: float | None) -> str:
        return shown.value(quantity, value) if value is not None else "-"

    def time(at_ms: int | None) -> str:
        return shown.time(at_ms) if at_ms is not None else "-"

    def hours(hours: float) -> str:
        return f"{hours:.1f} h" if judged else "-"

    def area(area: float) -> str:
        return shown.area(quantity, area) if judged else "-"

    def row(label: str, cell: str) -> Row:
        return Row(label, (cell,))

    def under(label: str, cell: str) -> Row:
        return Row(label, (cell,), under=True)

    return [
        row("", f"{WORDS[quantity]} {shown.unit_of(quantity)}"),
        row("mean (covered)", f"{value(figures.mean)} ({per_cent(figures.coverage)})"),
        row("spread (sd)", shown.difference(quantity, figures.sd) if figures.sd is not None else "-"),
        row("lowest", value(figures.min)),
        under("at", time(figures.min_at_ms)),
        row("highest", value(figures.max)),
        under("at", time(figures.max_at_ms)),
        row("target", shown.band(quantity, figures.limits[0]) if len(figures.limits) == 1 else "changes, see below"),
        row("on target", hours(figures.hours_in)),
        row("above", hours(figures.hours_above)),
        under("area", area(figures.degree_hours_above)),
        row("below", hours(figures.hours_below)),
        under("area", area(figures.degree_hours_below)),
        row("excursions", str(len(stays_of(figures.excursions))) if judged else "-"),
        row("not judged", f"{figures.hours_unjudged:.1f} h"),
        row("gaps", str(len(figures.gaps))),
        row("longest gap", duration(longest.seconds) if longest is not None else "-"),
        under("from", time(longest.since_ms) if longest is not None else "-"),
        row("left out", f"{figures.flagged} flagged"),
    ]


_TESTS = {
    RANGE: "beyond what a machine can be",
    STILL: "the same value again and again",
    UNLIKE_AIR: "a pace that no air has",
}


def doubt_words(quantity: str, doubt: Doubt, shown: Shown) -> str:
    """`of the temperature 5.9 h were doubtful, 37.90 to 60.00 °C (beyond what a machine can be)`."""
    low, high = (shown.value(quantity, value) for value in (doubt.low, doubt.high) if value is not None)
    span = f"{low} to {high}" if low != high else high
    tests = [test for test, _ in doubt.by]
    why = "; ".join(_TESTS[test] + (f", {hours:.1f} h" if len(tests) > 1 else "") for test, hours in doubt.by)
    return f"of the {WORDS[quantity]} {_hours(doubt.hours)} are doubtful, {span} {shown.unit_of(quantity)} ({why}), and counted as they came"


def _hours(hours: float) -> str:
    return duration(hours * 3600.0) if hours < 1.0 else f"{hours:.1f} h"


def _excursions(history: BatchHistory, header: Header, shown: Shown) -> Iterator[Section]:
    """The stays of each quantity, the largest area first, as far as LISTED; of humidity and wet bulb the one that the profile gives."""
    for quantity, figures in history.whole.figures():
        if quantity not in (DRY_BULB, history.given):
            continue
        every = by_area(stays_of(figures.excursions))
        blocks: list[Block] = []
        for each in every[:LISTED]:
            limit, peak = shown.value(quantity, each.limit), shown.value(quantity, each.peak)
            day = day_words((each.since_ms - to_ms(header.set_at)) / DAY_MS)
            span = f"{shown.time(each.since_ms)} to {shown.time(each.until_ms)}"
            blocks += [
                Paragraph(
                    f"day {day}: {each.side} {limit} {shown.unit_of(quantity)}, area {shown.area(quantity, each.area)}, {lasted_words(each)}"
                ),
                Paragraph(f"{span}, {_where(each)}", INSET),
                Paragraph(f"peak {peak} at {shown.time(each.peak_at_ms)}{_caveats(each)}", INSET),
            ]
        if len(every) > LISTED:
            blocks.append(
                Paragraph(
                    f"and {len(every) - LISTED} more, none of more than {shown.area(quantity, every[LISTED].area)}"
                )
            )
        count = f": {len(every)}, the largest first" if every else ": none"
        yield Section(Heading(f"{WORDS[quantity]} off target", count), tuple(blocks))


def lasted_words(stay: Stay) -> str:
    """`20 min of 2 h 0 min, 61 times`; of one without a break how long it was."""
    lasted = duration((stay.until_ms - stay.since_ms) / 1000.0)
    if stay.times == 1:
        return lasted
    return f"{duration(stay.out_ms / 1000.0)} of {lasted}, {stay.times} times"


def _how_many(count: int) -> str:
    return f": {count}, longest first" if count else ": none"


def _where(stay: Stay) -> str:
    return f"{stage_words(stay.stage)} in {stay.machine or 'no machine'}"


def _caveats(stay: Stay) -> str:
    at_start = ", outside from the start" if stay.at_start else ""
    cut = ", cut by a gap" if stay.cut_by_gap else ""
    return at_start + cut + (", still outside at the end" if stay.open else "")


def _gaps(whole: Period, shown: Shown) -> Section:
    """The gaps, told once where several quantities miss the same time."""
    missing: dict[Gap, list[str]] = {}
    for quantity, figures in whole.figures():
        for gap in figures.gaps:
            missing.setdefault(gap, []).append(WORDS[quantity])
    every = sorted(missing, key=lambda gap: gap.since_ms - gap.until_ms)
    lines = []
    for gap in every[:LISTED]:
        span = f"{shown.time(gap.since_ms)} to {shown.time(gap.until_ms)}"
        lines.append(f"{duration(gap.seconds)}: {span}, {', '.join(missing[gap])}")
    if len(every) > LISTED:
        lines.append(f"and {len(every) - LISTED} more, none longer than {duration(every[LISTED].seconds)}")
    return Section(Heading("gaps", _how_many(len(every))), plain(lines))


def _calibrations(calibrations: Sequence[Calibration], shown: Shown) -> Section:
    """By what the figures above were corrected."""
    blocks: list[Block] = []
    for each in calibrations:
        since = "the beginning of the record" if each.since is None else shown.time(each.since)
        by = f" by {printable(each.by)}" if each.by else ""
        due = f", due again {shown.time(each.due)}" if each.due is not None else ""
        blocks += [
            Paragraph(f"{each.probe}: {said(each, 'F' if shown.unit == 'F' else 'C')}"),
            Paragraph(f"made {shown.time(each.at)}{by}, holds from {since}{due}", INSET),
        ]
    count = str(len(calibrations)) if calibrations else "none, readings are as the probes sent them"
    return Section(Heading("calibrations", f": {count}"), tuple(blocks))
