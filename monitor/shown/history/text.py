"""The environment history of a batch, or of one egg of it, as a breeder reads it: a page of text, in the site's zone and unit.

Nothing is computed here. Beside every mean stands its coverage, and every gap is counted; see `files`
for JSON and CSV.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from monitor.analysis.history.egg import EggPart
from monitor.analysis.history.environment import BatchHistory, Period
from monitor.analysis.history.excursions import Excursion
from monitor.analysis.history.felt import Felt
from monitor.analysis.history.figures import Figures, Gap
from monitor.domain.eggs.words import eggs_words
from monitor.domain.needs.batch import Batch
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.calibration_words import said
from monitor.domain.wall import WIDTH as WIDTH
from monitor.domain.wall import filled, printable
from monitor.shown.form import WORDS, Shown, duration, per_cent
from monitor.shown.history.development import development_lines
from monitor.shown.history.egg import end_line, water_lines
from monitor.shown.history.felt import dose_lines, felt_lines, happening_lines

LISTED = 20  # excursions, and gaps, told one by one in the text; JSON and CSV have them all
_LABEL, _COLUMN = 14, 22  # one label and three columns fill the width


@dataclass(frozen=True, slots=True)
class Header:
    """What stands over the figures: batch, profile, eggs set (None where not recorded), set time (aware); egg: of a history that is
    one egg's own."""

    batch: str
    profile: str
    eggs: int | None
    set_at: datetime
    egg: EggPart | None = None

    @classmethod
    def of(cls, batch: Batch, egg: EggPart | None = None) -> Header:
        """What stands over the figures of a batch, or of one egg of it."""
        return cls(batch.id, batch.profile, batch.eggs, batch.set_at, egg)

    @property
    def title(self) -> str:
        """`Environment history of batch hen-1`, `Environment history of egg 7 of hen-1`."""
        return f"Environment history of {f'batch {self.batch}' if self.egg is None else self.egg.name}"

    def lines(self, shown: Shown) -> list[str]:
        """What stands under the title."""
        eggs = eggs_words(self.eggs) if self.eggs is not None else "eggs not recorded"
        about = f"profile {self.profile}, {eggs}, set {shown.time(self.set_at)}"
        return [about] if self.egg is None else [about, end_line(self.egg, shown)]


def to_text(history: BatchHistory, header: Header, zone: tzinfo, unit: str) -> str:
    """The history for people, at most 80 columns: each stage, the whole, excursions and gaps longest first.

    Parameters
        zone: for every time shown; an hour that a change of summer time brings twice is shown with its
        offset.
        unit: `C` or `F`.
    Raises
        ValueError: another unit.
    """
    shown = Shown(zone, unit)
    whole = history.whole
    lines = [
        header.title,
        *header.lines(shown),
        "",
        f"Times are local ({zone}). In, above and below refer to the warning limits of the band (to the alarm"
        " limit on a side without one). Covered is the share of time with good data; over a gap nothing is made up.",
    ]
    if history.development is not None:
        lines += ["", *development_lines(history.development, shown)]
    if header.egg is not None:
        lines += ["", *water_lines(header.egg, shown)]
    beside: dict[int, Felt] = dict(enumerate(history.felt))
    for place, period in enumerate((*history.stages, whole)):
        lines += ["", *_block(period, shown)]
        if place in beside:
            lines += felt_lines(beside[place], shown)
    if history.felt:
        lines += ["", *dose_lines(history.felt, shown), "", *happening_lines(history.happenings, header.set_at, shown)]
    lines += ["", *excursion_lines(whole, shown), "", *gap_lines(whole, shown)]
    lines += ["", *calibration_lines(history.calibrations, shown)]
    return "\n".join(filled(line) for line in lines) + "\n"


def _block(period: Period, shown: Shown) -> Iterator[str]:
    """One stage, or the whole: a column per quantity."""
    days = (period.until_ms - period.since_ms) / 86_400_000
    yield f"{period.stage.upper()} in {', '.join(period.machines) or 'no machine'}"
    yield f"{shown.time(period.since_ms)} to {shown.time(period.until_ms)}, {days:.1f} days"
    columns = [column(quantity, figures, shown) for quantity, figures in period.figures()]
    for row in zip(*columns, strict=True):
        yield row[0][0].ljust(_LABEL) + "".join(cell.rjust(_COLUMN) for _, cell in row)
    for quantity, figures in period.figures():
        if len(figures.limits) > 1:
            for limits in figures.limits:
                band = shown.band(quantity, limits)
                yield f"{WORDS[quantity]} from {shown.time(limits.since_ms)}: {band}"


def column(quantity: str, figures: Figures, shown: Shown) -> list[tuple[str, str]]:
    """(label, cell) of each row of one quantity's column."""
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

    return [
        ("", f"{WORDS[quantity]} {shown.unit_of(quantity)}"),
        ("mean (covered)", f"{value(figures.mean)} ({per_cent(figures.coverage)})"),
        ("spread (sd)", shown.difference(quantity, figures.sd) if figures.sd is not None else "-"),
        ("lowest", value(figures.min)),
        ("  at", time(figures.min_at_ms)),
        ("highest", value(figures.max)),
        ("  at", time(figures.max_at_ms)),
        ("band", shown.band(quantity, figures.limits[0]) if len(figures.limits) == 1 else "changes, see below"),
        ("in band", hours(figures.hours_in)),
        ("above", hours(figures.hours_above)),
        ("  area", area(figures.degree_hours_above)),
        ("below", hours(figures.hours_below)),
        ("  area", area(figures.degree_hours_below)),
        ("excursions", str(len(figures.excursions)) if judged else "-"),
        ("not judged", f"{figures.hours_unjudged:.1f} h"),
        ("gaps", str(len(figures.gaps))),
        ("longest gap", duration(longest.seconds) if longest is not None else "-"),
        ("  from", time(longest.since_ms) if longest is not None else "-"),
        ("left out", f"{figures.flagged} flagged"),
    ]


def excursion_lines(whole: Period, shown: Shown) -> Iterator[str]:
    """Every excursion, longest first, as far as LISTED."""
    every = [(quantity, each) for quantity, figures in whole.figures() for each in figures.excursions]
    every.sort(key=lambda pair: pair[1].since_ms - pair[1].until_ms)
    yield f"EXCURSIONS: {len(every) or 'none'}{', longest first' if every else ''}"
    for quantity, each in every[:LISTED]:
        limit, peak = shown.value(quantity, each.limit), shown.value(quantity, each.peak)
        lasted = duration((each.until_ms - each.since_ms) / 1000.0)
        bound = f"{each.side} {limit} {shown.unit_of(quantity)}"
        yield f"{lasted}: {WORDS[quantity]} {bound}, area {shown.area(quantity, each.area)}"
        yield f"  {shown.time(each.since_ms)} to {shown.time(each.until_ms)}, {_where(each)}"
        yield f"  peak {peak} at {shown.time(each.peak_at_ms)}{_caveats(each)}"
    if len(every) > LISTED:
        longest = every[LISTED][1]
        lasted = duration((longest.until_ms - longest.since_ms) / 1000.0)
        yield f"and {len(every) - LISTED} more, none longer than {lasted}"


def _where(excursion: Excursion) -> str:
    return f"{excursion.stage} in {excursion.machine or 'no machine'}"


def _caveats(excursion: Excursion) -> str:
    at_start = ", outside from the start" if excursion.at_start else ""
    cut = ", cut by a gap" if excursion.cut_by_gap else ""
    return at_start + cut + (", still outside at the end" if excursion.open else "")


def gap_lines(whole: Period, shown: Shown) -> Iterator[str]:
    """The gaps, told once where several quantities miss the same time."""
    missing: dict[Gap, list[str]] = {}
    for quantity, figures in whole.figures():
        for gap in figures.gaps:
            missing.setdefault(gap, []).append(WORDS[quantity])
    every = sorted(missing, key=lambda gap: gap.since_ms - gap.until_ms)
    yield f"GAPS: {len(every) or 'none'}{', longest first' if every else ''}"
    for gap in every[:LISTED]:
        span = f"{shown.time(gap.since_ms)} to {shown.time(gap.until_ms)}"
        yield f"{duration(gap.seconds)}: {span}, {', '.join(missing[gap])}"
    if len(every) > LISTED:
        yield f"and {len(every) - LISTED} more, none longer than {duration(every[LISTED].seconds)}"


def calibration_lines(calibrations: Sequence[Calibration], shown: Shown) -> Iterator[str]:
    """By what the figures above were corrected."""
    yield f"CALIBRATIONS: {len(calibrations) or 'none, readings are as the probes sent them'}"
    for each in calibrations:
        since = "the beginning of the record" if each.since is None else shown.time(each.since)
        by = f" by {printable(each.by)}" if each.by else ""
        due = f", due again {shown.time(each.due)}" if each.due is not None else ""
        yield f"{each.probe}: {said(each, 'F' if shown.unit == 'F' else 'C')}"
        yield f"  made {shown.time(each.at)}{by}, holds from {since}{due}"
