"""The review of one finding as people read it, and as plain values for JSON. Nothing is judged here.

The words say what the record shows, and what other people published. They name no cause of what happened to an egg, and tell
nobody to open one or to treat a chick: where one would be handled, there stand a caution and the veterinarian.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterator, Sequence

from monitor.analysis.review.beyond import Beyond
from monitor.analysis.review.judged import (
    ALIKE,
    BETWEEN,
    CANNOT_SAY,
    COMMON,
    COVERAGE,
    GAP,
    MISSING,
    NEAR,
    NO_BAND,
    NOT_MEASURED,
    NOT_SUPPORTED,
    PART,
    SHORT,
    SUPPORTED,
    UNLIKE,
    VERDICTS,
    Figure,
    Verdict,
)
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.published.causes import (
    ALTITUDE,
    BEFORE_SET,
    BEYOND,
    CHILL,
    COLD,
    CRACKED,
    DOSE,
    HEAT,
    HIGH,
    HUMIDITY,
    LEVEL,
    LOSS,
    LOW,
    MEAN,
    OVERHEAT,
    TEMPERATURE,
    TURNS,
    WINDOWS,
    Catalogue,
)
from monitor.domain.published.exposure import EXPOSURES
from monitor.domain.published.exposure import SOURCES as EXPOSURE_SOURCES
from monitor.shown.report.tree import CAUTION, Heading, Item, Paragraph, Scale, Section
from monitor.shown.review.beyond import LIMIT, beyond_json, beyond_words
from monitor.shown.values import per_cent, show_checked, show_figure

MEANS = {
    SUPPORTED: "the record shows what these sources describe",
    UNLIKE: "its target is kept, and it is farther out than your batches that went well",
    CANNOT_SAY: "",
    NOT_SUPPORTED: "what was asked of the record shows none of it",
    NOT_MEASURED: "published too; nothing in this record tells of them",
}
MEANS_UNNAMED = {SUPPORTED: "as much is published to have done harm, though no source names it for this"}
NONE = "none of the published causes"
WHY = {
    MISSING: "the record has no such figure",
    COVERAGE: "too little of the time has good data",
    NO_BAND: "the profile has no target to tell by",
    NEAR: "beyond the target by less than a sensor can tell",
    SHORT: "the mean is carried by short stays outside the target",
    BETWEEN: "more than is said to be harmless, less than is said to harm",
    GAP: "a gap in the record is long enough to hide it",
    COMMON: "half or more of the batches that went well had as much of it",
    ALIKE: "no farther out than the batches that went well, by more than sensors and their own spread can tell",
    PART: "what is written shows none of it, and the rest of what the source names is seen nowhere",
}
SUPPORTED_MEANS = (
    "Supported means that the record shows what the source describes, not that this is why: several can be supported at once,"
    " and what nothing here tells of may matter more."
)
PREAMBLE = (
    "Each published cause of this finding, asked of the record, and of a death, a deformity or a hatch time the heat and cold of each third"
    f" of the term that no source names. A cause has one verdict; what was weighed, counted or written decides before the air. {SUPPORTED_MEANS}"
)
TEMPERATURES_OF = "The published temperatures are those of other people's machines and mostly of hens' eggs."
CLOSING = (
    "This page informs; it is no diagnosis. Ask an avian veterinarian where an egg or a chick is in doubt, and keep to the"
    " welfare code of your place."
)


def finding_sections(
    catalogue: Catalogue, finding: str, verdicts: Sequence[Verdict], *, unit: str
) -> Iterator[Section]:
    """What is told of one finding: a section for each verdict that there can be (of `UNLIKE` where there is one), and the caution.

    Parameters
        unit: `C` or `F`; ValueError for another.
    """
    if unit not in ("C", "F"):
        raise ValueError(f"unit {unit!r}, expected C or F")
    for name in VERDICTS:
        told = [verdict for verdict in verdicts if verdict.verdict == name]
        if name == UNLIKE and not told:  # of most batches it is nothing
            continue
        means = MEANS[name] if any(v.named for v in told) else MEANS_UNNAMED.get(name, MEANS[name]) if told else NONE
        head = Heading("", f"{name.upper()}{f': {means}' if means else ''}")
        if name == NOT_MEASURED:  # nothing is said to these
            items = [Item(tuple(_unseen(verdict, unit) for verdict in told))] if told else []
        else:
            items = [cause_item(v, unit) for v in told]
        yield Section(head, tuple(items))
    yield Section(Heading("", "CAUTION"), (Paragraph(catalogue.findings[finding].caution, CAUTION),))


def cause_item(verdict: Verdict, unit: str) -> Item:
    """Each source's words, what the record shows, and what else was published."""
    return Item(tuple(_points(verdict, unit)), tuple(_notes(verdict, unit)), scale_of(verdict))


def to_json(catalogue: Catalogue, finding: str, subject: str, *, verdicts: Sequence[Verdict]) -> dict[str, object]:
    """The review as plain values for `json.dumps`, in the units of the record: °C, K, %RH, %, h; what is not known is null."""
    published = catalogue.findings[finding]
    return {
        "subject": subject,
        "finding": finding,
        "words": published.words,
        "verdicts": [_row(verdict) for verdict in verdicts],
        "caution": published.caution,
        "closing": CLOSING,
        "sources": _cited(catalogue, verdicts),
    }


def _row(verdict: Verdict) -> dict[str, object]:
    first, figure, check = verdict.first, verdict.figure, verdict.check
    clear_at, supported_at = first.levels(check) if check is not None and check.kind in (LEVEL, DOSE) else (None, None)
    return {
        "verdict": verdict.verdict,
        "reason": WHY.get(verdict.reason),
        "causes": [{"words": c.as_published, "source": c.source, "evidence": c.evidence} for c in verdict.causes],
        "check": first.written if check is not None and first.written else first.check or None,
        "asked": first.words if not verdict.named else None,
        "named": verdict.named,
        "direction": first.direction or None,
        "exposure": first.exposure or None,
        "window": first.window,
        "days": None if figure is None or figure.days is None else [_round(day) for day in figure.days],
        "unseen": first.unseen or None,
        "unit": check.unit if check is not None else None,
        "value": _round(figure.value) if figure is not None else None,
        "low": _round(figure.low) if figure is not None else None,
        "high": _round(figure.high) if figure is not None else None,
        "share_outside": _round(_outside(verdict)),
        "not_supported_up_to": clear_at,
        "supported_from": supported_at,
        "coverage": _round(figure.coverage) if figure is not None else None,
        "longest_gap_h": _round(figure.longest_gap_h) if figure is not None else None,
        "at_pace": figure.at_pace if figure is not None else None,
        "siblings": [_round(v) for v in verdict.siblings],
        "went_well": [_round(v) for v in verdict.good],
        "strength": _round(verdict.strength),
        "disputed": verdict.disputed,
        "beyond": None if (beyond := _beyond_of(verdict)) is None else beyond_json(beyond),
        "by_beyond": verdict.by_beyond,
        "beside": [_row(other) for other in verdict.beside],
    }


def _beyond_of(verdict: Verdict) -> Beyond | None:
    return verdict.beyond if verdict.figure is None else verdict.figure.beyond or verdict.beyond


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _points(verdict: Verdict, unit: str) -> Iterator[str]:
    """Each source's words; of what no source names what was asked."""
    if not verdict.named:
        beside = f", but for one spell ({', '.join(verdict.spells)})" if verdict.spells else ""
        yield f"{verdict.asked.words} (no source names this{beside})"
    for words, source, evidence in dict.fromkeys((c.told(unit), c.source, c.evidence) for c in verdict.causes):
        yield f"{words} ({_source(source, evidence)})"


def _notes(verdict: Verdict, unit: str) -> Iterator[str]:
    """What the record shows, the others' figures, and what else was published."""
    if verdict.reason:
        yield f"Cannot say: {WHY[verdict.reason]}."
    if verdict.verdict == UNLIKE:
        yield f"Unlike your good batches: {MEANS[UNLIKE]}, by more than sensors and their own spread can tell."
    yield from _lay(verdict, unit)
    if verdict.figure is not None:
        asked = {HIGH: "Too high? ", LOW: "Too low? "}.get(verdict.first.direction, "") if _of_a_band(verdict) else ""
        yield f"{asked}The record shows {_figure(verdict, verdict.figure, unit)}."
        yield from _others(verdict, unit)
    elif verdict.check is not None:
        yield f"Asked for: {_asked(verdict, unit)}."
    yield from _beside(verdict, unit)
    published = verdict.first.published
    if published is not None:
        yield f"Published: {published.told(unit)} ({published.source}, {published.eggs} eggs)."
        for other in EXPOSURES:
            if other.id in published.against:
                yield f"Published, and says otherwise: {_exposure(other.id, unit)}."
    if verdict.disputed:
        yield "Sources name the opposite direction too."


def _lay(verdict: Verdict, unit: str) -> Iterator[str]:
    """What was asked, and what came of it: `The mean of days 0 to 7 lay inside the band; 4.0 h beyond the alarm limit on day 3, up to 43.5 °C.`"""
    figure, check, asked = verdict.figure, verdict.check, verdict.asked
    if figure is None or check is None or asked.check not in (TEMPERATURE, HUMIDITY):
        return
    when = WINDOWS[asked.window][0] if figure.days is None else f"days {_days(figure.days)}"
    if figure.low is None and figure.high is None:
        where = "has no band to lie in"
    elif figure.high is not None and figure.value > figure.high:
        where = f"lay above the band by {_apart(figure.value - figure.high, check.unit, unit)}"
    elif figure.low is not None and figure.value < figure.low:
        where = f"lay below the band by {_apart(figure.low - figure.value, check.unit, unit)}"
    else:
        where = "lay inside the band"
    words = f"The mean of {when} {where}"
    if verdict.beyond is not None:
        words += f"; {beyond_words(verdict.beyond, unit, LIMIT)}"
    yield f"{words}{': that supports it' if verdict.by_beyond and verdict.verdict == SUPPORTED else ''}."


def _days(days: tuple[float, float]) -> str:
    first, last = (f"{round(day, 1):g}" for day in days)
    return f"{first} to {last}"


def _apart(by: float, of: str, unit: str) -> str:
    return show_checked("K" if of == "C" else of, by, unit)


def _beside(verdict: Verdict, unit: str) -> Iterator[str]:
    """What the same could be asked by as well."""
    for other in verdict.beside:
        if other.figure is not None:
            decides = ": the loss, which was weighed, decides" if verdict.asked.check == LOSS else ""
            yield f"Beside it: {_figure(other, other.figure, unit)}{decides}."
        elif other.asked.check == LOSS:
            yield "No loss of water was weighed, which would decide."


def scale_of(verdict: Verdict) -> Scale | None:
    """The figure in its band (or what is said to be harmless), and the batches that went well; None where it has no figure or band."""
    figure, check = verdict.figure, verdict.check
    if figure is None or check is None or check.kind == BEYOND:
        return None
    low, high = (figure.low, figure.high) if check.kind == MEAN else (0.0, verdict.first.levels(check)[0])
    return None if low is None and high is None else Scale(low, high, figure.value, tuple(verdict.good))


def _of_a_band(verdict: Verdict) -> bool:
    return verdict.check is not None and verdict.check.kind == MEAN


def _unseen(verdict: Verdict, unit: str) -> str:
    """One cause that nothing tells of: what it is about, and when."""
    cause = verdict.first
    when = "before the eggs were set" if cause.window == BEFORE_SET else f"in {WINDOWS[cause.window][0]}"
    about = "" if cause.unseen == BEFORE_SET else f"{cause.unseen}, "
    return f"{cause.told(unit)} ({_source(cause.source, cause.evidence)}): {about}{when}"


def _source(key: str, evidence: str) -> str:
    if key == "MEMORY":
        return "from memory"
    return f"{key}, {'from memory' if evidence == 'memory' else evidence}"


def _asked(verdict: Verdict, unit: str) -> str:
    """`mean humidity over the setter stage`: the figure by its name."""
    check, cause, published = verdict.check, verdict.first, verdict.first.published
    if check is None:
        return ""
    temp_c = None if published is None else published.temp_c
    temperature = "the published temperature" if temp_c is None else show_figure(DRY_BULB, temp_c, unit)
    words = check.words.format(temperature=temperature)
    timeless = cause.check == LOSS or cause.written in (CRACKED, ALTITUDE) or cause.window not in WINDOWS
    return words if timeless else f"{words} over {WINDOWS[cause.window][0]}"


def _figure(verdict: Verdict, figure: Figure, unit: str) -> str:
    check, cause = verdict.check, verdict.first
    if check is None:
        return ""
    shown = _shown(check.unit, unit)
    pace = " (dead before pip: at the pace until then)" if figure.at_pace else ""
    if check.kind == BEYOND:
        spell = "never" if figure.beyond is None else beyond_words(figure.beyond, unit)
        text = f"{_asked(verdict, unit)}: {spell}"
    else:
        text = f"{_asked(verdict, unit)}: {shown(figure.value)}{pace}"
    if check.kind == MEAN:
        text += f", target {_band(figure, shown)}"
        outside = _outside(verdict)
        if outside is not None and cause.check in (TEMPERATURE, HUMIDITY):
            text += f", {'above' if cause.direction == HIGH else 'below'} it {100.0 * outside:.0f} % of the time"
    elif check.kind != BEYOND:
        clear_at, supported_at = cause.levels(check)
        text += f", not supported up to {shown(clear_at)}, supported from {shown(supported_at)}"
    if cause.check == LOSS or not figure.coverage < 1.0:
        return text
    gap = f", longest gap {figure.longest_gap_h:.1f} h" if check.kind in (DOSE, BEYOND) else ""
    return f"{text}; {'counted' if cause.written in TURNS else 'covered'} {per_cent(figure.coverage)}{gap}"


def _outside(verdict: Verdict) -> float | None:
    """The share of the time beyond the limit of the cause's direction."""
    figure, check = verdict.figure, verdict.check
    if figure is None or check is None or check.kind != MEAN or verdict.exposure is None:
        return None
    return figure.share_above if verdict.first.direction == HIGH else figure.share_below


def _others(verdict: Verdict, unit: str) -> Iterator[str]:
    check = verdict.check
    if check is None or verdict.figure is None:
        return
    shown = _shown(check.unit, unit)
    if verdict.siblings:
        same = {shown(v) for v in verdict.siblings} == {shown(verdict.figure.value)}
        yield f"This batch's other eggs: {'the same' if same else _range(verdict.siblings, shown)}."
    if verdict.good:
        yield f"Batches that went well: {_range(verdict.good, shown)}."


def _range(values: Sequence[float], shown: Callable[[float], str]) -> str:
    if len(values) == 1:
        return f"{shown(values[0])} (1)"
    low, high, middle = shown(min(values)), shown(max(values)), shown(statistics.median(values))
    return f"{low} ({len(values)})" if low == high else f"{low} to {high}, middle {middle} ({len(values)})"


def _band(figure: Figure, shown: Callable[[float], str]) -> str:
    if figure.low is not None and figure.high is not None:
        return f"{shown(figure.low)} to {shown(figure.high)}"
    if figure.high is not None:
        return f"up to {shown(figure.high)}"
    return f"from {shown(figure.low)}" if figure.low is not None else "none"


def _shown(of: str, unit: str) -> Callable[[float], str]:
    """How a value of that unit is written."""
    return lambda value: show_checked(of, value, unit)


def _exposure(id_: str, unit: str) -> str:
    each = next(e for e in EXPOSURES if e.id == id_)
    what = "" if each.temp_c is None else f"{show_figure(DRY_BULB, each.temp_c, unit)} "
    hours = "" if each.hours is None else f"for {each.hours:g} h, "
    return f"{what}{hours}{each.told(unit)} ({each.source}, {each.eggs} eggs)"


def _cited(catalogue: Catalogue, verdicts: Sequence[Verdict]) -> dict[str, str]:
    """Full citation by key of every source that the review names."""
    keys = {cause.source for verdict in verdicts for cause in verdict.causes}
    cited = {key: catalogue.sources[key] for key in sorted(keys)}
    for verdict in verdicts:
        published = verdict.first.published
        if published is not None:
            for each in EXPOSURES:
                if each is published or each.id in published.against:
                    cited.setdefault(each.source, EXPOSURE_SOURCES[each.source])
    return dict(sorted(cited.items()))


def source_lines(catalogue: Catalogue, verdicts: Sequence[Verdict]) -> Iterator[str]:
    """Every source that is named, in full."""
    yield from (f"{key}: {text}" for key, text in _cited(catalogue, verdicts).items())
    if any(v.first.check in (HEAT, COLD, OVERHEAT, CHILL) for v in verdicts):
        yield TEMPERATURES_OF
