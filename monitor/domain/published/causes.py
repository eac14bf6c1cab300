"""The published causes of a problem hatch: the trade's findings, and for each what sources name, with how a record is asked.

They ship as data (`monitor/data/causes.toml`). A cause is one row of one source. It is tested by one figure of the record
in one window of the incubation, or no sensor sees it, and then it is listed and never left out. Where sources name both
directions, both stand. Nothing here says what happened to an egg: see `analysis/review/judged.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.domain.published.exposure import ABOVE, BELOW, EXPOSURE, Exposure, quoted
from monitor.domain.published.findings import FINDING
from monitor.domain.refusal import Refusal

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
    SETTER: ("the incubation stage", 6.0 / 7.0),
    HATCHER: ("lockdown and hatch", 1.0 / 7.0),
    EARLY: ("the first third", 1.0 / 3.0),
    TO_MIDDLE: ("the days up to the end of the middle third", 16.0 / 21.0),  # hen day 16, as the finding has it
    LATE: ("the last third", 1.0 / 3.0),
}

Key = tuple[str, str]  # (variable, window)


@dataclass(frozen=True, slots=True)
class Check:
    """How one figure is judged.

    kind: MEAN against the profile's band, supported from `margin` beyond it; LEVEL, not supported up to clear_at and supported
    from supported_at; DOSE, with both from the published exposure. half_band: for a band with one limit. source: of the numbers.

    Raises Refusal when a LEVEL is not clear before it is supported.
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

    def __post_init__(self) -> None:
        if self.kind == LEVEL and not self.clear_at < self.supported_at:
            raise Refusal("", f"clear_at {self.clear_at:g}", f"below supported_at, {self.supported_at:g}")


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause as one source names it.

    words: with `{}` for each temperature in them, which are temps_c, and `{unit}` for its unit. unseen: what no sensor sees, in place of
    check, direction and exposure.

    Raises Refusal when these do not go together.
    """

    words: str
    source: str
    evidence: str
    window: str
    check: str = ""
    direction: str = ""
    exposure: str = ""
    unseen: str = ""
    temps_c: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if bool(self.check) == bool(self.unseen):
            raise Refusal("", f"check {self.check!r}, unseen {self.unseen!r}", "one of the two")
        if self.unseen:
            if self.direction or self.exposure:
                raise Refusal("", "a direction or an exposure", "none for what no sensor sees")
        elif self.window == BEFORE_SET:
            raise Refusal("", f"check {self.check!r} in {self.window!r}", "a check in a window after the set")
        elif KINDS[self.check] == DOSE:
            each = self.published
            side = ABOVE if self.check == HEAT else BELOW
            if self.direction or each is None or each.side != side or each.hours is None or each.temp_c is None:
                raise Refusal("", f"exposure {self.exposure!r}", f"a published one {side}, with its hours")
        elif self.exposure or self.direction not in ((HIGH, LOW) if KINDS[self.check] == MEAN else (HIGH,)):
            raise Refusal("", f"direction {self.direction!r}", "high or low, and no exposure")

    def told(self, unit: str) -> str:
        """The words with their temperatures in the unit of who reads, C or F."""
        return quoted(self.words, self.temps_c, unit)

    @property
    def as_published(self) -> str:
        """The words as the reference list has them: in °C, without its degree."""
        return quoted(self.words, self.temps_c, "C", degree="")

    @property
    def variable(self) -> str:
        """The figure that it is tested by; empty for what no sensor sees."""
        return self.exposure or self.check

    @property
    def published(self) -> Exposure | None:
        """The published exposure it is measured against."""
        return EXPOSURE.get(self.exposure)

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
