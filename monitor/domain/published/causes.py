"""The published causes of a problem hatch: the trade's findings, and for each what sources name, with how a record is asked.

They ship as data (`monitor/data/causes.toml`). A row is one way to ask a record about a cause of one source: by one figure in one
window of the incubation; by what may be written or counted (days in store, mass, turns, cracks, how high the place lies); or nothing tells
of it, and then it is listed and never left out. Where sources name both directions, both stand. What no source names, and is asked of every death, deformity
and hatch time all the same, is `asked_anyway`. Nothing here says what happened to an egg: see `analysis/review/judged.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from monitor.domain.published.exposure import ABOVE, BELOW, EXPOSURE, Exposure, quoted
from monitor.domain.published.findings import ASKED_OF_HEAT, FINDING
from monitor.domain.refusal import Refusal

HIGH, LOW = "high", "low"
MEAN, LEVEL, DOSE, BEYOND = "mean", "level", "dose", "beyond"
TEMPERATURE, HUMIDITY, LOSS = "temperature", "humidity", "loss"
SWING, SPREAD, OPENINGS, HEAT, COLD = "swing", "spread", "openings", "heat", "cold"
OVERHEAT, CHILL = "overheat", "chill"  # all of the heat, or of the cold, beyond the alarm limits
STORED, STORED_APART, MASS, MASS_APART = "stored", "stored-apart", "mass", "mass-apart"
TURNED, UNTURNED, CRACKED, ALTITUDE = "turned", "unturned", "cracked", "altitude"
KINDS = {
    TEMPERATURE: MEAN, HUMIDITY: MEAN, LOSS: MEAN, SWING: LEVEL, SPREAD: LEVEL, OPENINGS: LEVEL, HEAT: DOSE, COLD: DOSE,
    OVERHEAT: BEYOND, CHILL: BEYOND, STORED: LEVEL, STORED_APART: LEVEL, MASS: MEAN, MASS_APART: LEVEL,
    TURNED: LEVEL, UNTURNED: DOSE, CRACKED: LEVEL, ALTITUDE: LEVEL,
}  # fmt: skip
OF_THE_SET = (STORED, STORED_APART, MASS, MASS_APART)
TURNS = (TURNED, UNTURNED)
# What no air tells of, and somebody may have written, a switch may have counted, or the configuration may say.
WRITTEN = (*OF_THE_SET, *TURNS, CRACKED, ALTITUDE)
BEYOND_OF = {HIGH: OVERHEAT, LOW: CHILL}  # the heat or cold that a mean hides, by the direction in which it is asked
EVIDENCE = ("seen", "memory", "seen (unattributed copy)")

WHOLE, SETTER, HATCHER = "whole", "setter", "hatcher"
EARLY, MIDDLE, TO_MIDDLE, LATE, BEFORE_SET = "early", "middle", "to-middle", "late", "before set"
# What each window is called, and its usual share of the term: a fault counts for more the more of its window it fills.
WINDOWS = {
    WHOLE: ("the whole incubation", 1.0),
    SETTER: ("the incubation stage", 6.0 / 7.0),
    HATCHER: ("lockdown and hatch", 1.0 / 7.0),
    EARLY: ("the first third", 1.0 / 3.0),
    MIDDLE: ("the middle third", 1.0 / 3.0),
    TO_MIDDLE: ("the days up to the end of the middle third", 16.0 / 21.0),  # hen day 16, as the finding has it
    LATE: ("the last third", 1.0 / 3.0),
}
THIRDS = (EARLY, MIDDLE, LATE)
# Which thirds of the term lie wholly within a window.
_HOLDS = {
    WHOLE: THIRDS,
    SETTER: (EARLY, MIDDLE),
    TO_MIDDLE: (EARLY, MIDDLE),
    EARLY: (EARLY,),
    MIDDLE: (MIDDLE,),
    LATE: (LATE,),
}

Key = tuple[str, str]  # (variable, window)


@dataclass(frozen=True, slots=True)
class Check:
    """How one figure is judged.

    kind: MEAN against the profile's band, supported from `margin` beyond it; LEVEL, not supported up to clear_at and supported
    from supported_at; DOSE, likewise, of a heat or cold with both from the published exposure, and one that was not seen may lie in a gap; BEYOND, from every published exposure that did harm. half_band: for a band with one limit. source: of the numbers.

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
    check, direction and exposure; written: the check of it where it was written (one of WRITTEN), with its direction; rest: of what the source
    names, what is seen nowhere even then. lasting: of a temperature, that the source speaks of an average or of a long time, so that a
    short heat is not what it describes. source: empty for what no source names.

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
    written: str = ""
    rest: str = ""
    lasting: bool = False

    def __post_init__(self) -> None:
        if bool(self.check) == bool(self.unseen):
            raise Refusal("", f"check {self.check!r}, unseen {self.unseen!r}", "one of the two")
        if self.lasting and self.check != TEMPERATURE:
            raise Refusal("", f"lasting, with check {self.check!r}", f"check {TEMPERATURE!r}")
        if self.unseen:
            self._check_unseen()
            return
        kind, each = KINDS[self.check], self.published
        if self.written or self.rest or self.check in WRITTEN:
            raise Refusal(
                "", f"check {self.check!r}, written {self.written!r}", "what is written beside what no sensor sees"
            )
        if self.window == BEFORE_SET:
            raise Refusal("", f"check {self.check!r} in {self.window!r}", "a check in a window after the set")
        if kind == BEYOND:
            if self.source or self.direction or self.exposure:
                raise Refusal("", f"check {self.check!r} in a row", f"{TEMPERATURE}, with its direction")
        elif kind == DOSE:
            side = ABOVE if self.check == HEAT else BELOW
            if self.direction or each is None or each.side != side or each.hours is None or each.temp_c is None:
                raise Refusal("", f"exposure {self.exposure!r}", f"a published one {side}, with its hours")
        elif self.exposure or self.direction not in ((HIGH, LOW) if kind == MEAN else (HIGH,)):
            raise Refusal("", f"direction {self.direction!r}", "high or low, and no exposure")

    def _check_unseen(self) -> None:
        ways = (HIGH, LOW) if KINDS.get(self.written) == MEAN else (HIGH,) if self.written else ("",)
        if self.exposure or self.direction not in ways:
            raise Refusal(
                "", "a direction or an exposure", "none for what no sensor sees, and of what is written its direction"
            )
        if self.written and self.written not in WRITTEN:
            raise Refusal("", f"written {self.written!r}", f"one of {', '.join(WRITTEN)}")
        if self.rest and not self.written:
            raise Refusal("", f"rest {self.rest!r}", "written beside it")

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
    def way(self) -> tuple[str, str, str]:
        """(variable, direction, window): rows with the same ask for the same. What is written of eggs as they were set is asked before the set."""
        window = BEFORE_SET if self.written in OF_THE_SET else self.window
        return self.written or self.variable, self.direction, window

    @property
    def beyond(self) -> Key | None:
        """The heat or cold beyond the alarm limits that a mean temperature hides; None of anything else."""
        return (BEYOND_OF[self.direction], self.window) if self.check == TEMPERATURE and not self.lasting else None

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

    def wanted(self, findings: Iterable[str] | None = None) -> frozenset[Key]:
        """Every (variable, window) that is asked for these findings; None: for all."""
        return frozenset(key for id_ in (self.findings if findings is None else findings) for key in self._asked(id_))

    def asked_anyway(self, finding: str) -> tuple[Cause, ...]:
        """The heat and the cold of each third of the term that no cause of a death, a deformity or a hatch time asks for."""
        if finding not in ASKED_OF_HEAT:
            return ()
        named = {
            (cause.direction, third)
            for cause in self.findings[finding].causes
            if cause.beyond is not None
            for third in _HOLDS.get(cause.window, ())
        }
        return tuple(
            Cause(f"{word} in {WINDOWS[third][0]}", "", "", third, check)
            for third in THIRDS
            for direction, check, word in ((HIGH, OVERHEAT, "heat"), (LOW, CHILL, "cold"))
            if (direction, third) not in named
        )

    def spells_of(self, finding: str, asked: Cause) -> tuple[Cause, ...]:
        """The causes of a finding that name one published heat, or cold, in a window that holds the third that is `asked_anyway`."""
        check = HEAT if asked.check == OVERHEAT else COLD
        rows = self.findings[finding].causes
        return tuple(row for row in rows if row.check == check and asked.window in _HOLDS.get(row.window, ()))

    def _asked(self, finding: str) -> Iterator[Key]:
        for cause in self.findings[finding].causes:
            if cause.check:
                yield cause.variable, cause.window
            if cause.beyond is not None:
                yield cause.beyond
            if cause.written:
                variable, _, window = cause.way
                yield variable, window
            if cause.check == HUMIDITY:
                yield LOSS, WHOLE
        yield from ((cause.variable, cause.window) for cause in self.asked_anyway(finding))
