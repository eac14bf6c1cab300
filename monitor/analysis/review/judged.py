"""The review of a problem hatch: each published cause of a finding, asked of the record. A pure comparison, no diagnosis.

For a finding, every cause that sources name is judged by one figure of the record in one window:

- a mean against the band of the profile: supported from a margin beyond it, as long as the air was out there for a good part of the
  time, and would be without what went beyond the alarm limit; not supported inside it;
- a level or a dose against published numbers: supported from one, not supported up to another;
- the heat or cold beyond the alarm limits, which a mean temperature hides, against every published exposure that did harm: of a cause that
  names a temperature beside its mean; of a death, a deformity or a hatch time by itself in each third that no cause asks for;
- cannot say where the figure is missing or too little of it is covered, between those numbers, where a gap could hide what is asked
  about, where half of the batches that went well had as much of it, and where a mean or a level is no farther out than theirs by more than
  sensors and their own spread can tell;
- unlike the batches that went well where a mean keeps its band, or is beyond it by less than a sensor can tell, and is farther out than
  theirs by more than that;
- not measured where nothing in the record tells of it: those are listed, never left out.

A cause gets one verdict, however many ways it can be asked. What is measured at the egg decides: a weighed loss over the humidity that
would have made it; what was written or counted over what no air tells of. Of ways that weigh the same the one that shows most does.

A supported cause is one that the record does not contradict. What ranks them is `strength`: how many times the figure is as far out as
it takes to be supported, times the root of the window's share of the term. For one and the same fault that is greatest in the window
the fault fills, and less in one that it fills in part or that is part of it, as with a matched filter.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from monitor.analysis.review.beyond import SHORTEST_H, Beyond
from monitor.domain.published.causes import (
    BEYOND,
    BEYOND_OF,
    DOSE,
    HIGH,
    HUMIDITY,
    LEVEL,
    LOSS,
    LOW,
    MEAN,
    SETTER,
    TEMPERATURE,
    WHOLE,
    WINDOWS,
    Catalogue,
    Cause,
    Check,
    Key,
)

SUPPORTED, CANNOT_SAY, NOT_SUPPORTED, NOT_MEASURED = "supported", "cannot say", "not supported", "not measured"
UNLIKE = "unlike your good batches"
VERDICTS = (SUPPORTED, UNLIKE, CANNOT_SAY, NOT_SUPPORTED, NOT_MEASURED)  # in the order in which they are told

MISSING, COVERAGE, NO_BAND = "missing", "coverage", "no band"
NEAR, SHORT, BETWEEN, GAP, COMMON, PART, ALIKE = "near", "short", "between", "gap", "common", "part", "alike"

# Median absolute deviations by which a batch must differ from those that went well, besides what sensors err by: 3 sd of figures that
# scatter by chance (1.4826 each). Judgement.
APART = 3.0 * 1.4826


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a record in one window.

    value: °C, %RH, % (loss), share, K, a day or h, as its check says. low, high: the band it is judged by, None where there is none.
    coverage: share of the window with good data, 0 to 1. share_below, share_above: of the time judged, 0 to 1; 1 for what has no time,
    as a loss. longest_gap_h: the longest time in the window without data. at_pace: of a loss, that the egg died before pip and would
    have come to this at its pace. days: of development, where the window began and ended, as far as there is one. beyond: of a time beyond
    an alarm limit, what made it.
    """

    value: float
    low: float | None = None
    high: float | None = None
    coverage: float = 1.0
    share_below: float = 1.0
    share_above: float = 1.0
    longest_gap_h: float = 0.0
    at_pace: bool = False
    days: tuple[float, float] | None = None
    beyond: Beyond | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """What a batch, or one egg of it, lived through: its figures by (variable, window); a figure that is not there is not known."""

    name: str
    figures: Mapping[Key, Figure]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the record says to the causes that one figure in one window decides.

    causes: every row of them, one or more for each source; none where no source names what is asked. asked: the row, or what stands for it,
    whose figure decides. check: None for what nobody sees or wrote. reason: why it cannot say, empty otherwise. exposure: of what decides, 1
    is just supported; None where there is no figure. siblings, good: the same figure in this batch's other eggs, and in batches that went well.
    disputed: other sources name the opposite direction for this finding. beyond: of a temperature, the heat or cold beyond the alarm limits
    in its window; by_beyond: that this is what supports it, and not the mean. beside: what these causes could be asked by as well, and
    what was not decided by. spells: of what no source names, the sources of the causes that name one published heat or cold of its kind.
    """

    verdict: str
    causes: tuple[Cause, ...]
    asked: Cause
    check: Check | None = None
    figure: Figure | None = None
    reason: str = ""
    exposure: float | None = None
    strength: float = 0.0
    siblings: tuple[float, ...] = ()
    good: tuple[float, ...] = ()
    disputed: bool = False
    beyond: Beyond | None = None
    by_beyond: bool = False
    beside: tuple[Verdict, ...] = ()
    spells: tuple[str, ...] = ()

    @property
    def first(self) -> Cause:
        """What was asked: it stands for the rest."""
        return self.asked

    @property
    def named(self) -> bool:
        """Whether any source names this for the finding."""
        return bool(self.causes)


def review(
    catalogue: Catalogue, finding: str, record: Record, *, siblings: Sequence[Record] = (), good: Sequence[Record] = ()
) -> tuple[Verdict, ...]:
    """The verdicts for a finding, supported ones first, the strongest first.

    Parameters
        finding: an id of the catalogue.
        siblings: the records of this batch's other eggs, shown beside it.
        good: the records of batches that went well, of whatever profile: each is judged by its own band.
    Raises
        ValueError: no such finding.
    """
    if finding not in catalogue.findings:
        raise ValueError(f"finding {finding!r}, expected one of {', '.join(catalogue.findings)}")
    asking = _Asking(catalogue, record, tuple(siblings), tuple(good))
    causes = catalogue.findings[finding].causes
    named = list(_grouped(asking, causes))
    anyway = [
        replace(asking.way(cause, ()), spells=tuple(row.source for row in catalogue.spells_of(finding, cause)))
        for cause in catalogue.asked_anyway(finding)
    ]
    return tuple(
        sorted(
            (*named, *(verdict for verdict in anyway if verdict.figure is not None)),
            key=lambda v: (VERDICTS.index(v.verdict), not v.named, -v.strength, -len(v.causes)),
        )
    )


def exposure_of(cause: Cause, check: Check, figure: Figure) -> float | None:
    """How far out a figure is in the cause's direction, 1 where it is just supported; None where there is no band to tell by.

    For a mean 0 is the middle of the band, and it may be below 0; for a level or a dose 0 is none of it. It rises with the figure
    in the cause's direction.
    """
    if check.kind == BEYOND:
        return 0.0 if figure.beyond is None else figure.beyond.reach
    if check.kind != MEAN:
        return figure.value / cause.levels(check)[1]
    sign = 1.0 if cause.direction == HIGH else -1.0
    limit, other = (figure.high, figure.low) if cause.direction == HIGH else (figure.low, figure.high)
    if limit is None:
        return None
    half = check.half_band if other is None else abs(limit - other) / 2.0
    return (sign * (figure.value - limit) + half) / (half + check.margin)


def shows(catalogue: Catalogue, cause: Cause, record: Record) -> bool | None:
    """Whether a record, by itself, shows what a cause describes; None where it cannot say, or no sensor sees it."""
    figure = record.figures.get((cause.variable, cause.window))
    if not cause.check or figure is None:
        return None
    check = catalogue.checks[cause.check]
    verdict, _ = _judged(catalogue, cause, check, figure=figure, exposure=exposure_of(cause, check, figure))
    steady = _steady(record, cause, check, figure=figure, least_share=catalogue.least_share)
    if verdict == SUPPORTED and steady is not None and steady < 1.0:
        return None
    return {SUPPORTED: True, NOT_SUPPORTED: False}.get(verdict)


def asked(catalogue: Catalogue, cause: Cause, record: Record, *, good: Sequence[Record] = ()) -> Verdict:
    """What one figure of a record says to a cause that a sensor sees, whatever was found; good: as for `review`."""
    return _Asking(catalogue, record, (), tuple(good)).way(cause, ())


_OPPOSITE = {HIGH: LOW, LOW: HIGH}


def _grouped(asking: _Asking, causes: Sequence[Cause]) -> Iterator[Verdict]:
    """A verdict for each figure that decides about some cause; what nobody sees or wrote each for itself."""
    rows: dict[tuple[object, ...], list[Cause]] = {}
    for place, cause in enumerate(causes):
        apart = place if cause.unseen and not cause.written else None
        rows.setdefault((cause.words, cause.temps_c, cause.source, cause.evidence, apart), []).append(cause)
    decided: dict[tuple[object, ...], list[tuple[Verdict, ...]]] = {}
    for place, of_one in enumerate(rows.values()):
        ways = asking.ways(tuple(of_one))
        key = (
            (place,)
            if ways[0].verdict == NOT_MEASURED
            else (*ways[0].asked.way, ways[0].asked.rest, ways[0].asked.lasting)
        )
        decided.setdefault(key, []).append(ways)
    named = {(cause.check, cause.direction) for cause in causes if cause.check}
    for group in decided.values():
        first, every = group[0][0], tuple(row for ways in group for row in ways[0].causes)
        beside = {way.asked.way: way for ways in group for way in ways[1:] if way.check != first.check}
        yield replace(
            first,
            causes=every,
            beside=tuple(beside.values()),
            disputed=(first.asked.check, _OPPOSITE.get(first.asked.direction)) in named,
        )


@dataclass(frozen=True, slots=True)
class _Asking:
    """A record, and what stands beside it, to be asked."""

    catalogue: Catalogue
    record: Record
    siblings: tuple[Record, ...]
    good: tuple[Record, ...]

    def ways(self, rows: tuple[Cause, ...]) -> tuple[Verdict, ...]:
        """Every way to ask about one cause, the one that decides first."""
        asked = [*rows, *(other for row in rows if (other := self._weighed(row)) is not None)]
        ways = {cause.way: self.way(cause, rows) for cause in asked}
        return tuple(sorted(ways.values(), key=_weight))

    def _weighed(self, row: Cause) -> Cause | None:
        """The loss that stands for a humidity, where it was weighed: before the hatcher dry air is nothing to an egg but water."""
        loss = self.record.figures.get((LOSS, WHOLE))
        if row.check != HUMIDITY or row.window not in (WHOLE, SETTER) or loss is None:
            return None
        return replace(row, check=LOSS, direction=_OPPOSITE[row.direction], window=WHOLE)

    def way(self, cause: Cause, rows: tuple[Cause, ...]) -> Verdict:
        """What one figure says to a cause. rows: all of it."""
        if cause.written:
            cause = replace(cause, window=cause.way[2]) if self._figure(cause) is not None else cause
        if not cause.check and self._figure(cause) is None:
            return Verdict(NOT_MEASURED, rows, cause)
        check, figure = self.catalogue.checks[cause.written or cause.check], self._figure(cause)
        key = cause.way[0], cause.way[2]
        others = [f for r in self.good if (f := r.figures.get(key)) is not None and self._covered(check, f)]
        exposure = exposure_of(cause, check, figure) if figure is not None else None
        verdict, reason = CANNOT_SAY, MISSING
        if figure is not None:
            verdict, reason = _judged(self.catalogue, cause, check, figure=figure, exposure=exposure)
        if figure is not None and exposure is not None:
            theirs = [x for f in others if (x := exposure_of(cause, check, f)) is not None]
            verdict, reason = self._beside_good(check, figure, told=(verdict, reason), exposure=exposure, theirs=theirs)
        least_share = self.catalogue.least_share
        steady = _steady(self.record, cause, check, figure=figure, least_share=least_share)
        if verdict == SUPPORTED and steady is not None and steady < 1.0:
            verdict, reason = CANNOT_SAY, SHORT
        if verdict == NOT_SUPPORTED and cause.rest:
            verdict, reason = CANNOT_SAY, PART
        share = WINDOWS[cause.window][1] if check.kind not in (DOSE, BEYOND) and cause.window in WINDOWS else 1.0
        told = Verdict(
            verdict=verdict,
            causes=rows,
            asked=cause,
            check=check,
            figure=figure,
            reason=reason,
            exposure=exposure,
            strength=max(0.0, (exposure if steady is None else steady) or 0.0) * share**0.5,
            siblings=tuple(f.value for r in self.siblings if (f := r.figures.get(key)) is not None),
            good=tuple(f.value for f in others),
        )
        return told if cause.beyond is None else self._with_beyond(told, cause.beyond)

    def _with_beyond(self, told: Verdict, key: Key) -> Verdict:
        """A verdict by a mean temperature, with the heat or cold that the mean hides: one that did harm elsewhere supports it as well."""
        figure = self.record.figures.get(key)
        if figure is None or figure.beyond is None:
            return told
        told, reach = replace(told, beyond=figure.beyond), figure.beyond.reach
        if told.verdict == SUPPORTED or reach < _NEARLY:
            return told
        check = self.catalogue.checks[key[0]]
        others = [f for r in self.good if (f := r.figures.get(key)) is not None]
        stands = Cause("", "", "", key[1], key[0])
        if reach < 1.0:
            return (
                told
                if told.verdict in (CANNOT_SAY, UNLIKE)
                else replace(told, verdict=CANNOT_SAY, reason=BETWEEN, by_beyond=True)
            )
        if self._common(stands, check, exposure=reach, others=others):
            return replace(told, verdict=CANNOT_SAY, reason=COMMON, by_beyond=True)
        strength = WINDOWS[key[1]][1] ** 0.5  # just supported: who names the very spell comes before
        return replace(told, verdict=SUPPORTED, reason="", exposure=reach, strength=strength, by_beyond=True)

    def _beside_good(
        self, check: Check, figure: Figure, *, told: tuple[str, str], exposure: float, theirs: Sequence[float]
    ) -> tuple[str, str]:
        """(verdict, reason) once the batches that went well are beside it, each judged by its own band."""
        verdict, reason = told
        if len(theirs) < self.catalogue.least_good:
            return told
        if verdict == SUPPORTED and 2 * sum(x >= exposure for x in theirs) >= len(theirs):
            return CANNOT_SAY, COMMON
        error = _error(check, figure)
        if error is None:
            return told
        middle = median(theirs)
        apart = exposure - middle > math.hypot(error, APART * median(abs(x - middle) for x in theirs))
        if verdict == SUPPORTED:
            return told if apart else (CANNOT_SAY, ALIKE)
        kept = check.kind == MEAN and (verdict == NOT_SUPPORTED or reason == NEAR)
        return (UNLIKE, "") if apart and kept else told

    def _figure(self, cause: Cause) -> Figure | None:
        variable, _, window = cause.way
        return self.record.figures.get((variable, window))

    def _covered(self, check: Check, figure: Figure) -> bool:
        return figure.coverage >= self.catalogue.least_coverage

    def _common(self, cause: Cause, check: Check, *, exposure: float, others: Sequence[Figure]) -> bool:
        """Whether half or more of the batches that went well had as much of it."""
        theirs = [x for figure in others if (x := exposure_of(cause, check, figure)) is not None]
        as_much = sum(x >= exposure for x in theirs)
        return len(theirs) >= self.catalogue.least_good and 2 * as_much >= len(theirs)


def _steady(record: Record, cause: Cause, check: Check, *, figure: Figure | None, least_share: float) -> float | None:
    """The exposure of a mean temperature as it would be if what went beyond the alarm limit had stopped there: one that a spell alone moves is no
    standing fault, and the spell is asked about as what it is. None of anything else, where no such time is known, and where it is so long
    that it stands: least_share of the window or more."""
    if cause.check != TEMPERATURE or figure is None or figure.days is None:
        return None
    spell = record.figures.get((BEYOND_OF[cause.direction], cause.window))
    hours = 24.0 * (figure.days[1] - figure.days[0]) * figure.coverage
    if spell is None or spell.beyond is None or spell.beyond.hours >= least_share * hours:
        return None
    moved_k = spell.beyond.dose.dose.degree_h / hours
    steady = figure.value - moved_k if cause.direction == HIGH else figure.value + moved_k
    return exposure_of(cause, check, replace(figure, value=steady))


def _error(check: Check, figure: Figure) -> float | None:
    """What two figures may differ by for their sensors alone, on the scale of their exposure: the margin of a mean, half of the way from clear
    to supported of a level; None of a dose, which is published as it is."""
    if check.kind == LEVEL:
        return (check.supported_at - check.clear_at) / 2.0 / check.supported_at
    if check.kind != MEAN:
        return None
    both = figure.low is not None and figure.high is not None
    half = abs((figure.high or 0.0) - (figure.low or 0.0)) / 2.0 if both else check.half_band
    return check.margin / (half + check.margin)


def _weight(way: Verdict) -> tuple[int, int, float]:
    """What decides about a cause comes first: what there is a figure for, before what there is none for; what was weighed before the air;
    then what shows most."""
    there = 0 if way.figure is not None else 1 if way.check is not None else 2
    weighed = 0 if way.check is not None and way.check.id == LOSS else 1
    return there, weighed, VERDICTS.index(way.verdict) - min(max(way.exposure or 0.0, 0.0), 99.0) / 100.0


def _judged(
    catalogue: Catalogue, cause: Cause, check: Check, *, figure: Figure, exposure: float | None
) -> tuple[str, str]:
    """(verdict, reason) of a figure by itself."""
    if check.kind == BEYOND:
        return _beyond(figure)
    if check.kind == DOSE:
        return _dose(cause, check, figure)
    if figure.coverage < catalogue.least_coverage:
        return CANNOT_SAY, COVERAGE
    if exposure is None:
        return CANNOT_SAY, NO_BAND
    if check.kind == MEAN:
        return _mean(catalogue, cause, figure, exposure=exposure)
    clear_at, _ = cause.levels(check)
    return (SUPPORTED, "") if exposure >= 1.0 else (NOT_SUPPORTED, "") if figure.value <= clear_at else _BETWEEN


_BETWEEN = (CANNOT_SAY, BETWEEN)


def _mean(catalogue: Catalogue, cause: Cause, figure: Figure, *, exposure: float) -> tuple[str, str]:
    high = cause.direction == HIGH
    limit, share = (figure.high, figure.share_above) if high else (figure.low, figure.share_below)
    inside = limit is not None and (figure.value <= limit if high else figure.value >= limit)
    if inside:
        return NOT_SUPPORTED, ""
    if exposure < 1.0:
        return CANNOT_SAY, NEAR
    return (SUPPORTED, "") if share >= catalogue.least_share else (CANNOT_SAY, SHORT)


def _dose(cause: Cause, check: Check, figure: Figure) -> tuple[str, str]:
    """A dose that was seen was seen, whatever else is missing; one that was not seen may lie in a gap as long as itself."""
    clear_at, supported_at = cause.levels(check)
    if figure.value >= supported_at:
        return SUPPORTED, ""
    if figure.value > clear_at:
        return _BETWEEN
    return (CANNOT_SAY, GAP) if figure.longest_gap_h > clear_at else (NOT_SUPPORTED, "")


def _beyond(figure: Figure) -> tuple[str, str]:
    """As of a dose: half of what is published to have done harm is between, and a gap can hide as much."""
    if figure.beyond is None:
        return CANNOT_SAY, MISSING
    reach = figure.beyond.reach
    if reach >= 1.0:
        return SUPPORTED, ""
    if reach >= _NEARLY:
        return _BETWEEN
    hidden = figure.longest_gap_h > _NEARLY * SHORTEST_H[figure.beyond.side]
    return (CANNOT_SAY, GAP) if hidden else (NOT_SUPPORTED, "")


_NEARLY = 0.5  # of what did harm, as `Cause.levels` has it of a single exposure
