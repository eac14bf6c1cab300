"""The published causes of a problem hatch: the trade's findings, and for each what sources name, with how a record is asked.

They ship as data (`monitor/data/causes.toml`). A cause is one row of one source. It is tested by one figure of the record
in one window of the incubation, or no sensor sees it, and then it is listed and never left out. Where sources name both
directions, both stand. Nothing here says what happened to an egg: see `analysis/review.py`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from monitor.domain.published.exposure import ABOVE, BELOW, EXPOSURES, Exposure
from monitor.domain.published.findings import FINDING

HIGH, LOW = "high", "low"
MEAN, LEVEL, DOSE = "mean", "level", "dose"
TEMPERATURE, HUMIDITY, LOSS = "temperature", "humidity", "loss"
SWING, SPREAD, OPENINGS, HEAT, COLD = "swing", "spread", "openings", "heat", "cold"
KINDS = {
    TEMPERATURE: MEAN, HUMIDITY: MEAN, LOSS: MEAN, SWING: LEVEL, SPREAD: LEVEL, OPENINGS: LEVEL, HEAT: DOSE, COLD: DOSE,
}  # fmt: skip
EVIDENCE = ("seen", "memory", "seen (unattributed copy)")

WHOLE, SETTER, HATCHER = "whole", "setter", "hatcher"
EARLY, TO_MIDDLE, LATE, BEFORE_SET = "early", "to-middle", "late", "before set"
# What each window is called, and its usual share of the term: a fault counts for more the more of its window it fills.
WINDOWS = {
    WHOLE: ("the whole incubation", 1.0),
    SETTER: ("the setter stage", 6.0 / 7.0),
    HATCHER: ("lockdown and hatch", 1.0 / 7.0),
    EARLY: ("the first third", 1.0 / 3.0),
    TO_MIDDLE: ("the days up to the end of the middle third", 16.0 / 21.0),  # hen day 16, as the finding has it
    LATE: ("the last third", 1.0 / 3.0),
}

Key = tuple[str, str]  # (variable, window)
_EXPOSURES = {each.id: each for each in EXPOSURES}


class CauseError(ValueError):
    """Causes that cannot be used; one line: where, what came, what was expected."""


@dataclass(frozen=True, slots=True)
class Check:
    """How one figure is judged.

    kind: MEAN against the profile's band, supported from `margin` beyond it; LEVEL, not supported up to clear_at and supported
    from supported_at; DOSE, with both from the published exposure. half_band: for a band with one limit. source: of the numbers.
    """

    id: str
    kind: str
    words: str
    unit: str
    source: str
    margin: float = 0.0
    half_band: float = 0.0
    clear_at: float = 0.0
    supported_at: float = 0.0


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause as one source names it. unseen: what no sensor sees, in place of check, direction and exposure."""

    words: str
    source: str
    evidence: str
    window: str
    check: str = ""
    direction: str = ""
    exposure: str = ""
    unseen: str = ""

    @property
    def variable(self) -> str:
        """The figure that it is tested by; empty for what no sensor sees."""
        return self.exposure or self.check

    @property
    def published(self) -> Exposure | None:
        """The published exposure it is measured against."""
        return _EXPOSURES.get(self.exposure)

    def levels(self, check: Check) -> tuple[float, float]:
        """(not supported up to, supported from) of a LEVEL or a DOSE: half of what harmed, or twice what was borne."""
        each = self.published
        if each is None or each.hours is None:
            return check.clear_at, check.supported_at
        return (each.hours / 2.0, each.hours) if each.harm else (each.hours, 2.0 * each.hours)


@dataclass(frozen=True, slots=True)
class Published:
    """What is published for one finding of the trade list. caution: what is said beside it."""

    id: str
    caution: str
    causes: tuple[Cause, ...]

    @property
    def words(self) -> str:
        """The finding, as the trade calls it."""
        return FINDING[self.id].words


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All findings by id, the checks by id, full citations by source key, and the numbers that all checks share."""

    findings: Mapping[str, Published]
    checks: Mapping[str, Check]
    sources: Mapping[str, str]
    least_coverage: float
    least_share: float
    least_good: int

    def wanted(self) -> frozenset[Key]:
        """Every (variable, window) that some cause is tested by."""
        causes = (cause for finding in self.findings.values() for cause in finding.causes)
        return frozenset((cause.variable, cause.window) for cause in causes if cause.check)


def parse_causes(data: Mapping[str, Any], where: str) -> Catalogue:
    """The catalogue from the shipped table. Raises CauseError with one line for anything missing, unknown or wrong."""
    _exactly(
        data, {"least_coverage", "least_share", "least_good", "check", "caution", "source", "finding"}, set(), where
    )
    checks = {id_: _check(id_, given, f"{where}: check.{id_}") for id_, given in data["check"].items()}
    if set(checks) != set(KINDS):
        raise CauseError(f"{where}: check: {', '.join(checks)}, expected {', '.join(KINDS)}")
    findings: dict[str, Published] = {}
    for given in data["finding"]:
        name = f"{where}: finding {given.get('id', '?')}"
        _exactly(given, {f.name for f in fields(Published)}, set(), name)
        if given["id"] in findings or not given["causes"]:
            raise CauseError(f"{name}: twice, or without causes, expected each finding once with its causes")
        if given["id"] not in FINDING:
            raise CauseError(f"{name}: expected one of {', '.join(FINDING)}")
        if given["caution"] not in data["caution"]:
            raise CauseError(f"{name}: caution {given['caution']!r}, expected one of {', '.join(data['caution'])}")
        causes = tuple(_cause(each, data["source"], f"{name}: {each.get('words', '?')}") for each in given["causes"])
        findings[given["id"]] = Published(**{**given, "caution": data["caution"][given["caution"]], "causes": causes})
    left = [id_ for id_ in FINDING if id_ not in findings]
    if left:
        raise CauseError(f"{where}: finding: none for {', '.join(left)}, expected every one of the trade list")
    for name in ("least_coverage", "least_share"):
        if not _number(data[name], 0.0, 1.0):
            raise CauseError(f"{where}: {name}: {data[name]!r}, expected a number from 0 to 1")
    if not (isinstance(data["least_good"], int) and data["least_good"] >= 1):
        raise CauseError(f"{where}: least_good: {data['least_good']!r}, expected a whole number, 1 or more")
    return Catalogue(
        findings, checks, dict(data["source"]), data["least_coverage"], data["least_share"], data["least_good"]
    )


def _check(id_: str, given: Mapping[str, Any], where: str) -> Check:
    numbers = {MEAN: {"margin", "half_band"}, LEVEL: {"clear_at", "supported_at"}, DOSE: set[str]()}
    kind = given.get("kind")
    if kind not in numbers or kind != KINDS.get(id_, kind):
        raise CauseError(f"{where}: kind {kind!r}, expected {KINDS.get(id_, 'a check of the list')}")
    _exactly(given, {"kind", "words", "unit", "source"} | numbers[kind], set(), where)
    for name in numbers[kind]:
        if not _number(given[name], 0.0, 100.0) or given[name] == 0.0:
            raise CauseError(f"{where}.{name}: {given[name]!r}, expected a number above 0 to 100")
    check = Check(id=id_, **given)
    if kind == LEVEL and not check.clear_at < check.supported_at:
        raise CauseError(f"{where}: clear_at {check.clear_at:g}, expected below supported_at, {check.supported_at:g}")
    return check


def _cause(given: Mapping[str, Any], sources: Mapping[str, str], where: str) -> Cause:
    _exactly(given, {"words", "source", "evidence", "window"}, {"check", "direction", "exposure", "unseen"}, where)
    cause = Cause(**given)
    if cause.source not in sources or cause.evidence not in EVIDENCE:
        raise CauseError(f"{where}: {cause.source!r}, {cause.evidence!r}, expected a source key and how it was seen")
    if cause.window not in (*WINDOWS, BEFORE_SET):
        raise CauseError(f"{where}: window {cause.window!r}, expected one of {', '.join((*WINDOWS, BEFORE_SET))}")
    if bool(cause.check) == bool(cause.unseen):
        raise CauseError(f"{where}: check {cause.check!r}, unseen {cause.unseen!r}, expected one of the two")
    if cause.unseen:
        if cause.direction or cause.exposure:
            raise CauseError(f"{where}: a direction or an exposure, expected none for what no sensor sees")
        return cause
    if cause.window == BEFORE_SET or cause.check not in KINDS:
        raise CauseError(
            f"{where}: check {cause.check!r} in {cause.window!r}, expected a check in a window after the set"
        )
    if KINDS[cause.check] == DOSE:
        each = cause.published
        side = ABOVE if cause.check == HEAT else BELOW
        if cause.direction or each is None or each.side != side or each.hours is None or each.temp_c is None:
            raise CauseError(f"{where}: exposure {cause.exposure!r}, expected a published one {side}, with its hours")
    elif cause.exposure or cause.direction not in ((HIGH, LOW) if KINDS[cause.check] == MEAN else (HIGH,)):
        raise CauseError(f"{where}: direction {cause.direction!r}, expected high or low, and no exposure")
    return cause


def _exactly(given: Mapping[str, Any], needed: set[str], optional: set[str], where: str) -> None:
    unknown, missing = sorted(set(given) - needed - optional), sorted(needed - set(given))
    if unknown or missing:
        raise CauseError(f"{where}: unknown {unknown}, missing {missing}, expected exactly its fields")


def _number(value: object, low: float, high: float) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return math.isfinite(value) and low <= value <= high
