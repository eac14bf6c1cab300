"""The review of a problem hatch: each published cause of a finding, asked of the record. A pure comparison, no diagnosis.

For a finding, every cause that sources name is judged by one figure of the record in one window:

- a mean against the band of the profile: supported from a margin beyond it, as long as the air was out there for a good part of the
  time; not supported inside it;
- a level or a dose against published numbers: supported from one, not supported up to another;
- cannot say where the figure is missing or too little of it is covered, between those numbers, where a gap could hide what is asked
  about, and where half of the batches that went well had as much of it;
- not measured where no sensor sees it: those are listed, never left out.

A supported cause is one that the record does not contradict. What ranks them is `strength`: how many times the figure is as far out as
it takes to be supported, times the root of the window's share of the term. For one and the same fault that is greatest in the window
the fault fills, and less in one that it fills in part or that is part of it, as with a matched filter.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from monitor.domain.published.causes import DOSE, HIGH, LOW, MEAN, WINDOWS, Catalogue, Cause, Check, Key

SUPPORTED, CANNOT_SAY, NOT_SUPPORTED, NOT_MEASURED = "supported", "cannot say", "not supported", "not measured"
VERDICTS = (SUPPORTED, CANNOT_SAY, NOT_SUPPORTED, NOT_MEASURED)  # in the order in which they are told

MISSING, COVERAGE, NO_BAND = "missing", "coverage", "no band"
NEAR, SHORT, BETWEEN, GAP, COMMON = "near", "short", "between", "gap", "common"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a record in one window.

    value: °C, %RH, % (loss), share, K, a day or h, as its check says. low, high: the band it is judged by, None where there is none.
    coverage: share of the window with good data, 0 to 1. share_below, share_above: of the time judged, 0 to 1; 1 for what has no time,
    as a loss. longest_gap_h: the longest time in the window without data. at_pace: of a loss, that the egg died before pip and would
    have come to this at its pace.
    """

    value: float
    low: float | None = None
    high: float | None = None
    coverage: float = 1.0
    share_below: float = 1.0
    share_above: float = 1.0
    longest_gap_h: float = 0.0
    at_pace: bool = False


@dataclass(frozen=True, slots=True)
class Record:
    """What a batch, or one egg of it, lived through: its figures by (variable, window); a figure that is not there is not known."""

    name: str
    figures: Mapping[Key, Figure]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the record says to the causes that ask for the same figure in the same window.

    causes: one row for each source. check: None for what no sensor sees. reason: why it cannot say, empty otherwise. exposure: 1 is just
    supported; None where there is no figure. siblings, good: the same figure in this batch's other eggs, and in batches that went well.
    disputed: other sources name the opposite direction for this finding.
    """

    verdict: str
    causes: tuple[Cause, ...]
    check: Check | None = None
    figure: Figure | None = None
    reason: str = ""
    exposure: float | None = None
    strength: float = 0.0
    siblings: tuple[float, ...] = ()
    good: tuple[float, ...] = ()
    disputed: bool = False

    @property
    def first(self) -> Cause:
        """The row that stands for the rest: they ask for the same."""
        return self.causes[0]


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
    groups = list(_groups(catalogue.findings[finding].causes))
    ways = {(group[0].check, group[0].direction) for group in groups}
    verdicts = [
        _verdict(
            catalogue,
            group,
            disputed=(group[0].check, _OPPOSITE.get(group[0].direction)) in ways,
            record=record,
            siblings=siblings,
            good=good,
        )
        for group in groups
    ]
    return tuple(sorted(verdicts, key=lambda v: (VERDICTS.index(v.verdict), -v.strength, -len(v.causes))))


def exposure_of(cause: Cause, check: Check, figure: Figure) -> float | None:
    """How far out a figure is in the cause's direction, 1 where it is just supported; None where there is no band to tell by.

    For a mean 0 is the middle of the band, and it may be below 0; for a level or a dose 0 is none of it. It rises with the figure
    in the cause's direction.
    """
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
    return {SUPPORTED: True, NOT_SUPPORTED: False}.get(verdict)


_OPPOSITE = {HIGH: LOW, LOW: HIGH}


def _groups(causes: Sequence[Cause]) -> Iterator[tuple[Cause, ...]]:
    """Causes that ask for the same, together; what no sensor sees each for itself."""
    groups: dict[tuple[str, ...], list[Cause]] = {}
    for place, cause in enumerate(causes):
        same = (cause.variable, cause.direction, cause.window) if cause.check else (str(place),)
        groups.setdefault(same, []).append(cause)
    return (tuple(group) for group in groups.values())


def _verdict(
    catalogue: Catalogue,
    causes: tuple[Cause, ...],
    *,
    disputed: bool,
    record: Record,
    siblings: Sequence[Record],
    good: Sequence[Record],
) -> Verdict:
    cause = causes[0]
    if not cause.check:
        return Verdict(NOT_MEASURED, causes)
    check, key = catalogue.checks[cause.check], (cause.variable, cause.window)
    figure = record.figures.get(key)
    others = [f for r in good if (f := r.figures.get(key)) is not None and f.coverage >= catalogue.least_coverage]
    exposure = exposure_of(cause, check, figure) if figure is not None else None
    verdict, reason = CANNOT_SAY, MISSING
    if figure is not None:
        verdict, reason = _judged(catalogue, cause, check, figure=figure, exposure=exposure)
    if (
        verdict == SUPPORTED
        and exposure is not None
        and _common(catalogue, cause, check, exposure=exposure, others=others)
    ):
        verdict, reason = CANNOT_SAY, COMMON
    share = 1.0 if check.kind == DOSE else WINDOWS[cause.window][1]
    return Verdict(
        verdict=verdict,
        causes=causes,
        check=check,
        figure=figure,
        reason=reason,
        exposure=exposure,
        strength=max(0.0, exposure or 0.0) * share**0.5,
        siblings=tuple(f.value for r in siblings if (f := r.figures.get(key)) is not None),
        good=tuple(f.value for f in others),
        disputed=disputed,
    )


def _judged(
    catalogue: Catalogue, cause: Cause, check: Check, *, figure: Figure, exposure: float | None
) -> tuple[str, str]:
    """(verdict, reason) of a figure by itself."""
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


def _common(catalogue: Catalogue, cause: Cause, check: Check, *, exposure: float, others: Sequence[Figure]) -> bool:
    """Whether half or more of the batches that went well had as much of it."""
    theirs = [x for figure in others if (x := exposure_of(cause, check, figure)) is not None]
    as_much = sum(x >= exposure for x in theirs)
    return len(theirs) >= catalogue.least_good and 2 * as_much >= len(theirs)
