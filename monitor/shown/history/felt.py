"""In words: a batch's dose of heat and cold with what was published about as much, its eggs as estimated, and what was done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import datetime, tzinfo

from monitor.analysis.history.felt import DECLARED, HANDLING, MOVE, OPENING, Felt, Happening, SideDose, Written
from monitor.domain.eggs.entry import Found, Note, Sign, Size, Weighing
from monitor.domain.needs.bands import DRY_BULB, EGG
from monitor.domain.needs.batch import whole_day
from monitor.domain.published.exposure import ABOVE, REACHED, SHORT
from monitor.domain.readings.reading import DAY_MS, to_ms
from monitor.domain.wall import printable
from monitor.shown.entries import said, went_on_words
from monitor.shown.form import Shown, duration
from monitor.shown.happened import opening_words
from monitor.shown.history.exposures import match_words
from monitor.shown.report.tree import INSET, Heading, Paragraph, Section, plain
from monitor.shown.values import per_cent, stage_words
from monitor.shown.weighings import left_out_words

LISTED = 20  # openings told one by one in words; JSON and CSV have them all
# What the words of an entry do not say by themselves, among moves and openings.
_NAMED = {Weighing: "weighed", Size: "size", Sign: "sign", Found: "finding", Note: "note"}
SIDES = {ABOVE: ("heat", "over"), "below": ("cold", "under")}
KINDS = {OPENING: "opening", HANDLING: "handling", DECLARED: "stage declared", "move": "moved", "split": "split"}


def felt_lines(felt: Felt, shown: Shown) -> Iterator[str]:
    """What stands under the figures of one stage, or of the whole."""
    for side in felt.doses:
        yield dose_line(side, shown)
    yield from egg_lines(felt, shown)
    if felt.deficit_kpa is None:
        yield "the air's pull on the egg's water: not known"
    else:
        share = per_cent(felt.deficit_hours * 3_600_000.0 / (felt.until_ms - felt.since_ms))
        yield f"the air's pull on the egg's water: {felt.deficit_kpa:.2f} kPa (mean vapour-pressure deficit of the egg, over {share})"
    yield f"openings: {felt.openings} recognised, {felt.openings_per_day:.1f} a day"


def dose_line(side: SideDose, shown: Shown) -> str:
    """`heat over the alarm limit, 38.90 °C: 0.8 h, 1.23 K·h, in 2 stays, the farthest 41.20 °C at ...`."""
    word, where = SIDES[side.dose.side]
    limits = " and ".join(f"{shown.value(DRY_BULB, c)} °{shown.unit}" for c in side.limits_c)
    head = f"{word} {where} the alarm limit{'s' if len(side.limits_c) > 1 else ''}, {limits}"
    if side.dose.peak_c is None or side.peak_at_ms is None:
        return f"{head}: none"
    stays = "1 stay" if side.stays == 1 else f"{side.stays} stays"
    much = f"{duration(side.dose.hours * 3600.0)}, {shown.area(DRY_BULB, side.dose.degree_h)}, in {stays}"
    farthest = f"{shown.value(DRY_BULB, side.dose.peak_c)} °{shown.unit} at {shown.time(side.peak_at_ms)}"
    return f"{head}: {much}, the farthest {farthest}"


def egg_lines(felt: Felt, shown: Shown) -> Iterator[str]:
    """The eggs' temperature, always called an estimate, with how fast it follows the air."""
    egg = felt.egg_c
    if egg.mean is None or egg.min is None or egg.max is None or egg.min_at_ms is None or egg.max_at_ms is None:
        yield "egg temperature: not known, the air's record is too short or too broken to estimate it"
        return
    within = " or ".join(f"{tau_s / 60.0:.0f}" for tau_s in felt.tau_s)
    unit = f"°{shown.unit}"
    mean, lowest, highest = (
        f"{shown.value(EGG, c)} {unit} ({shown.value(EGG, c - down_k)} to {shown.value(EGG, c + up_k)})"
        for c, (down_k, up_k) in zip((egg.mean, egg.min, egg.max), felt.doubts_k, strict=True)
    )
    yield (
        f"egg about {mean}, an estimate: it follows the air within about {within} min,"
        f" known for {per_cent(egg.coverage)} of the time, lowest {lowest} at"
        f" {shown.time(egg.min_at_ms)}, highest {highest} at {shown.time(egg.max_at_ms)}"
    )


def dose_section(felt: Sequence[Felt], shown: Shown) -> Section:
    """For each stage and the whole, the published exposures that stand nearest to its doses, both sides of each."""
    periods = felt if len(felt) > 2 else felt[-1:]  # of one stage the whole says the same
    found = [(each, side) for each in periods for side in each.doses if side.published]
    if not found:
        none = ": none, the air was never beyond an alarm limit in the time that is recorded"
        return Section(Heading("doses", none))
    about = Paragraph(
        "Other people's eggs: nothing is concluded from them about these. All stays of a stage are added up, which a"
        " published exposure mostly is not. See --exposures for the whole table."
    )
    blocks = [about]
    told: dict[tuple[tuple[str, str], ...], str] = {}
    for each, side in found:
        blocks.append(Paragraph(f"{stage_words(each.stage)}: {dose_line(side, shown)}"))
        key = tuple((match.exposure.id, match.standing) for match in side.published)
        if key in told:
            blocks.append(Paragraph(f"published: as for {told[key]}", INSET))
            continue
        told[key] = stage_words(each.stage)
        for match in side.published:
            longest = _longest(match.standing, match.exposure.temp_c, side)
            blocks.append(Paragraph(f"{match_words(match, shown.unit, 'All of it here')}{longest}", INSET))
    head = " beyond the alarm limits (of two probes the worse), and what was published of as much or nearly"
    return Section(Heading("doses", head), tuple(blocks))


def _longest(standing: str, temp_c: float | None, side: SideDose) -> str:
    if standing not in (REACHED, SHORT) or temp_c is None or len(side.levels.get(temp_c, ())) < 2:
        return ""
    return f" The longest stay: {duration(side.longest_h(temp_c) * 3600.0)}."


def happening_section(every: Sequence[Happening], set_at: datetime, shown: Shown) -> Section:
    """What was done, in order, openings as far as LISTED; and the openings of each day."""
    openings = [each for each in every if each.kind == OPENING]
    told = [each for each in every if each.kind != OPENING] + openings[:LISTED]
    lines = [
        f"{shown.time(each.at_ms)} {happening_words(each, shown)}" for each in sorted(told, key=lambda one: one.at_ms)
    ]
    if len(openings) > LISTED:
        lines.append(f"and {len(openings) - LISTED} more openings")
    per_day = openings_per_day(every, set_at)
    if per_day:
        days = ", ".join(f"day {day}: {count}" for day, count in per_day)
        lines.append(f"openings by day of incubation: {days}")
    return Section(Heading("what was done", f": {len(every) or 'nothing recorded'}"), plain(lines))


def happening_words(each: Happening, shown: Shown) -> str:
    """`handling of setter-1 to 14:40, by sam`, on one line."""
    return printable(_happening_words(each, shown))


def what_words(each: Happening, zone: tzinfo) -> str:
    """What it was: `to setter-1`, `3 eggs went on as batch hen-1-b`, `weighed: 26.49 g, 4.2 % lost`."""
    if each.written is not None:
        return _written_words(each.written, zone)
    if each.split is not None:
        count, into = each.split
        return went_on_words(into, count)
    if each.kind == MOVE:
        return "closed" if each.closed else f"to {each.machine}" if each.machine else "in no machine"
    return each.text


def _written_words(written: Written, zone: tzinfo) -> str:
    entry = written.entry
    name = _NAMED.get(type(entry.fact))
    words = " ".join(said(entry, zone).split())  # a note may have several lines; here it is one
    about = "" if entry.egg is not None else "batch " if name else "batch: "
    told = f"{about}{name}: {words}" if name else f"{about}{words}"
    if written.left_out:
        return f"{told}, left out: {left_out_words(written.left_out)}"
    return told if written.lost_pct is None else f"{told}, {written.lost_pct:.1f} % lost"


def _happening_words(each: Happening, shown: Shown) -> str:
    if each.kind == HANDLING:
        until = f" until {shown.time(each.until_ms)}" if each.until_ms is not None else ""
        return f"handling of {each.machine}{until}{f', by {each.by}' if each.by else ''}"
    if each.kind == OPENING:
        told = each.text if each.seen is None else opening_words(each.seen, shown.unit)
        return f"opening of {each.machine}: {told}"
    if each.entry is not None:
        return f"{what_words(each, shown.zone)}{f', by {each.by}' if each.by else ''}"
    return f"{KINDS[each.kind]}: {what_words(each, shown.zone)}"


def openings_per_day(every: Sequence[Happening], set_at: datetime) -> list[tuple[int, int]]:
    """(day of incubation, openings) of each day that has any."""
    set_ms = to_ms(set_at)
    opened = [each.at_ms for each in every if each.kind == OPENING and each.counts]
    counts = Counter(whole_day((at_ms - set_ms) / DAY_MS) for at_ms in opened)
    return sorted(counts.items())
