"""All the reviews of one batch together, as values; `shown/review/whole` says them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from monitor.analysis.review.facts import Facts
from monitor.analysis.review.house import Habit
from monitor.analysis.review.judged import Verdict


@dataclass(frozen=True, slots=True)
class Subject:
    """In which eggs of a batch something was found: by number, and so many without; of neither, it is of the whole batch."""

    eggs: tuple[int, ...] = ()
    count: int = 0


@dataclass(frozen=True, slots=True)
class Reviewed:
    """One finding, reviewed. subject: whose. written: False where it was only asked about."""

    finding: str
    subject: Subject
    verdicts: tuple[Verdict, ...]
    written: bool = True


@dataclass(frozen=True, slots=True)
class BatchReview:
    """The reviews of a batch. good: the batches that went well beside it, by id; good_share: from which share of the fertile on.

    habits: what those batches had outside of the band that they were judged by. facts: what the record shows of them in any case; None where they were in no machine. egg: the one that was asked about; others: what was found in the batch's other eggs, and in which, where in that one nothing was.
    """

    batch: str
    profile: str
    eggs: int | None
    set_at: datetime
    closed_at: datetime | None
    reviewed: tuple[Reviewed, ...]
    good: tuple[str, ...]
    good_share: float
    egg: int | None = None
    others: tuple[tuple[str, Subject], ...] = ()
    facts: Facts | None = None
    habits: tuple[Habit, ...] = ()
