"""What is told across batches, as values: the text and the JSON of `eggroom outcomes` are made of it (`shown/outcomes.py`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.analysis.across.looked_at import LookedAt
from monitor.analysis.across.season import Line
from monitor.analysis.across.statistics import Association, Rate, Rates

# Why these were looked at and no others.
SET_BEFORE, PUBLISHED, CHOSEN = "set before", "published", "chosen"


@dataclass(frozen=True, slots=True)
class Exposed:
    """What batches were told apart by. id: of what was looked at in their air, empty where only their group was; group: a machine, a
    species or a season, empty over all; rather_than: the other one, of two groups."""

    id: str = ""
    group: str = ""
    rather_than: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """How often a finding was written: eggs of all eggs, batches of all batches, in each group as well. names: those batches."""

    finding: str
    eggs: Rate
    batches: Rate
    names: tuple[str, ...]
    groups: Mapping[str, tuple[Rate, Rate]]


@dataclass(frozen=True, slots=True)
class Across:
    """All that is told of the closed batches.

    every, groups: rates of all and of each group. left_out: batch id to why it is not counted. unwritten: eggs without a written end.
    lines: every closed batch, in the order they were set. looked_at: by id; why: SET_BEFORE, PUBLISHED or CHOSEN. found: each of these over
    all clutches; members: each group against the others; within: each of these in each group alone. read: clutches whose air could be looked
    at. by: what the groups are. finding: where batches are counted by it, and not by how they ended. split_off: batches that were split off
    another, and are judged with it. waiting: batches that are counted and compared with nothing, for a part of their clutch is not counted
    yet. mixed: batches of several pairs or clutches, where that is
    what the groups are: their eggs count in the rates of each, and they are compared with nothing either; untold: those of them whose
    eggs ended in counts, so that nobody knows whose.
    """

    every: Rates
    groups: Mapping[str, Rates]
    left_out: Mapping[str, str]
    unwritten: int
    good_share: float
    looked_at: Mapping[str, LookedAt]
    why: str
    found: tuple[Association[Exposed], ...]
    members: tuple[Association[Exposed], ...]
    within: tuple[Association[Exposed], ...]
    read: int
    by: str | None = None
    finding: Written | None = None
    lines: tuple[Line, ...] = ()
    split_off: int = 0
    waiting: tuple[str, ...] = ()
    mixed: int = 0
    untold: tuple[str, ...] = ()

    @property
    def compared(self) -> tuple[Association[Exposed], ...]:
        """All that was compared, and corrected together."""
        return self.found + self.members + self.within
