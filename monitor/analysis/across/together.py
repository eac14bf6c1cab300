"""What is told across batches, as values: the text and the JSON of `eggroom outcomes` are made of it (`outcomes_text.py`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.analysis.across.statistics import BADLY, Association, Ending, Rate, Rates
from monitor.domain.published.findings import FINDING

# Why these were looked at and no others.
SET_BEFORE, PUBLISHED, CHOSEN = "set before", "published", "chosen"


@dataclass(frozen=True, slots=True)
class Written:
    """How often a finding was written: eggs of all eggs, batches of all batches, in each group as well. names: those batches."""

    finding: str
    eggs: Rate
    batches: Rate
    names: tuple[str, ...]
    groups: Mapping[str, tuple[Rate, Rate]]

    @property
    def words(self) -> str:
        """The finding, as the trade calls it."""
        return FINDING[self.finding].words

    @property
    def ending(self) -> Ending:
        """How it is said of a batch."""
        return Ending(f"had {self.finding} written", self.finding, ("written", "not_written"))


@dataclass(frozen=True, slots=True)
class Across:
    """All that is told of the closed batches.

    every, groups: rates of all and of each group. left_out: batch id to why it is not counted. unwritten: eggs without a written end.
    looked_at: id to words; why: SET_BEFORE, PUBLISHED or CHOSEN. found: each of these over all batches; members: each group against the
    others; within: each of these in each group alone. read: batches whose air could be looked at; older: those beyond the newest, which
    were not. by: what the groups are. finding: where batches are counted by it, and not by how they ended. split_off: batches that were
    split off another, which are counted in the rates and compared with nothing.
    """

    every: Rates
    groups: Mapping[str, Rates]
    left_out: Mapping[str, str]
    unwritten: int
    good_share: float
    looked_at: Mapping[str, str]
    why: str
    found: tuple[Association, ...]
    members: tuple[Association, ...]
    within: tuple[Association, ...]
    read: int
    older: int
    by: str | None = None
    finding: Written | None = None
    split_off: int = 0

    @property
    def ending(self) -> Ending:
        """The end that batches are counted by."""
        return BADLY if self.finding is None else self.finding.ending

    @property
    def compared(self) -> tuple[Association, ...]:
        """All that was compared, and corrected together."""
        return self.found + self.members + self.within
