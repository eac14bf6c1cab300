"""A batch: eggs set together, the machines they stay in, and what the breeder declared about them."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from itertools import islice

from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import STAGE_NAMES, Profile
from monitor.domain.refusal import Refusal

DAY_S = 86_400.0
MAX_EGGS = 100_000
SHOWN_RUNS = 10  # of numbers that follow one another: a line has room for so many
LOCKDOWN = STAGE_NAMES[1]
_SUBJECT = "batch "


_EXACT = 1e-9  # by which a product of two numbers may lie below the whole number that it is


def counted(day: float, decimals: int = 0) -> float:
    """A day of incubation as it is said: cut off, never rounded up, so that day 18 begins in every list at the same instant.

    The first 24 hours are day 0; 17.9 is said from 17 days and 21.6 hours on until day 18 is there. Before the set time it is below 0.
    """
    parts = 10.0**decimals
    return math.floor(day * parts + _EXACT) / parts


def whole_day(day: float) -> int:
    """`17`: in a line that tells many things."""
    return int(counted(day))


def day_words(day: float) -> str:
    """`17.9`: where a batch is told by itself."""
    return f"{counted(day, 1):.1f}"


class BatchError(Refusal):
    """A request about a batch that cannot be met; the message is one line for a person."""


def subject_of(batch: str, egg: int | None = None) -> str:
    """What an alarm about a batch, or one egg of it, is about: `batch hen-1 egg 7`. No machine, node or probe can be called so."""
    return f"{_SUBJECT}{batch}" if egg is None else f"{_SUBJECT}{batch} egg {egg}"


def subject_words(subject: str) -> str:
    """The same for people, `hen-1 egg 7`; empty for a subject that is no batch."""
    return subject.removeprefix(_SUBJECT) if subject.startswith(_SUBJECT) else ""


def batch_of(subject: str) -> str:
    """The batch that a subject is about; empty for a subject that is no batch."""
    return subject_words(subject).partition(" ")[0]


@fixed
class Stay:
    """A batch in a machine, from until; until is None while it is there. Times are aware UTC."""

    machine: str
    since: datetime
    until: datetime | None = None


@fixed
class Declared:
    """A stage that began by what was seen and not by the day: as the breeder said, or as the signs written of the eggs say."""

    stage: str
    at: datetime


@fixed
class Batch:
    """Eggs set together. `set_at` is when incubation began; age is time elapsed since, so no change of summer time moves it.

    numbers: what stands on its eggs, rising, where that is not 1 to `eggs`: some of them, or they, were split off.
    split_from: the batch that was set, where these eggs were split off it, or off one that was.
    """

    id: str
    profile: str
    set_at: datetime
    eggs: int | None = None
    note: str = ""
    stays: tuple[Stay, ...] = ()
    declared: tuple[Declared, ...] = ()
    closed_at: datetime | None = None
    numbers: tuple[int, ...] = ()
    split_from: str = ""

    @property
    def clutch(self) -> str:
        """What all have in common that were set as one batch: its name."""
        return self.split_from or self.id

    def has(self, egg: int) -> bool:
        """Whether an egg of the batch can have that number."""
        if not self.numbers:
            return 1 <= egg <= (MAX_EGGS if self.eggs is None else self.eggs)
        place = bisect_left(self.numbers, egg)
        return place < len(self.numbers) and self.numbers[place] == egg

    @property
    def numbers_words(self) -> str:
        """Which numbers there are: `1 to 12`, `3, 7-9`; of many runs the first SHOWN_RUNS."""
        if not self.numbers:
            return f"1 to {MAX_EGGS if self.eggs is None else self.eggs}"
        runs = list(islice(_runs(self.numbers), SHOWN_RUNS + 1))
        words = [f"{first}-{last}" if first < last else f"{first}" for first, last in runs[:SHOWN_RUNS]]
        return ", ".join(words) + (" and more" if len(runs) > SHOWN_RUNS else "")

    def day(self, at: datetime) -> float:
        """Days of incubation at an instant: 0 at the set time, negative before it."""
        return (at - self.set_at).total_seconds() / DAY_S

    def stay_at(self, at: datetime) -> Stay | None:
        """Where the eggs are at an instant; None before the first stay, between stays and after the last."""
        for stay in self.stays:
            if stay.since <= at and (stay.until is None or at < stay.until):
                return stay
        return None

    def not_before(self, at: datetime) -> datetime:
        """`at`, or the newest instant that a person has spoken of: what was said has happened, whatever a clock says now.

        A board without a battery clock may wake years ago; the eggs that were put into a machine are in it all the same.
        """
        said = [self.set_at, *(d.at for d in self.declared), *(s.since for s in self.stays)]
        return max(at, *said, *(s.until for s in self.stays if s.until is not None))

    def declared_days(self, at: datetime) -> tuple[tuple[str, float], ...]:
        """The stages declared up to an instant, each with its day."""
        return tuple((d.stage, self.day(d.at)) for d in self.declared if d.at <= at)

    def looked_back_days(self, at: datetime, profile: Profile) -> tuple[tuple[str, float], ...]:
        """The same for a look back: a closed batch that goes by the egg, and of which nobody said when, counts its lockdown by the day.

        That is as it was judged before birds went by the egg, and the best guess of any other.
        """
        said = self.declared_days(at)
        guessed = self.closed_at is not None and profile.lockdown_sign is not None and not self.declared
        return ((LOCKDOWN, profile.lockdown_day), *said) if guessed else said


def moved(batch: Batch, machine: str, at: datetime) -> Batch:
    """The batch in another machine from `at` on.

    Raises BatchError when the batch is closed, is in that machine already, or was moved after `at`: a batch is never in two
    machines at once.
    """
    if batch.closed_at is not None:
        raise BatchError(f"batch {batch.id}", "closed", "an open batch to move")
    last = batch.stays[-1] if batch.stays else None
    if last is not None and last.until is None and last.machine == machine:
        raise BatchError(f"batch {batch.id}", f"already in {machine}", "another machine")
    if last is not None and at < (last.until or last.since):
        raise BatchError(
            f"batch {batch.id}",
            ("move at ", at, f" is before it came to {last.machine} (", last.since, ")"),
            "a later time (a batch cannot be in two machines at once)",
        )
    stays = list(batch.stays)
    if last is not None and last.until is None:
        stays[-1] = replace(last, until=at)
    stays.append(Stay(machine, at))
    return replace(batch, stays=tuple(stays))


def declared(batch: Batch, stage: str, at: datetime) -> Batch:
    """The batch with a stage declared from `at` on. Raises BatchError when it is closed or declared already."""
    if batch.closed_at is not None:
        raise BatchError(f"batch {batch.id}", "closed", "an open batch")
    if any(d.stage == stage for d in batch.declared):
        raise BatchError(f"batch {batch.id}", f"stage {stage} is declared already")
    if at < batch.set_at:
        raise BatchError(f"batch {batch.id}", (f"stage {stage} at ", at, " is before it was set"))
    return replace(batch, declared=(*batch.declared, Declared(stage, at)))


def closed(batch: Batch, at: datetime) -> Batch:
    """The batch closed at `at`: it leaves its machine, its record stays. Raises BatchError when closed already."""
    if batch.closed_at is not None:
        raise BatchError(f"batch {batch.id}", ("closed already, at ", batch.closed_at))
    stays = list(batch.stays)
    if stays and stays[-1].until is None:
        if at < stays[-1].since:
            raise BatchError(f"batch {batch.id}", ("close at ", at, f" is before it came to {stays[-1].machine}"))
        stays[-1] = replace(stays[-1], until=at)
    return replace(batch, stays=tuple(stays), closed_at=at)


def _runs(numbers: tuple[int, ...]) -> Iterator[tuple[int, int]]:
    """First and last of those that follow one another. Each end is searched for: there may be 100,000, and the engine waits."""
    start = 0
    while start < len(numbers):
        end = bisect_right(range(len(numbers)), numbers[start] - start, lo=start, key=lambda i: numbers[i] - i)
        yield numbers[start], numbers[end - 1]
        start = end


def undeclared(batch: Batch, stage: str) -> Batch:
    """The batch as if a stage had not been declared: it comes on its day. Raises BatchError when it is closed, or not declared."""
    if batch.closed_at is not None:
        raise BatchError(f"batch {batch.id}", "closed", "an open batch")
    if all(d.stage != stage for d in batch.declared):
        raise BatchError(f"batch {batch.id}", f"stage {stage} is not declared")
    return replace(batch, declared=tuple(d for d in batch.declared if d.stage != stage))


def reopened(batch: Batch) -> Batch:
    """A batch that was closed by mistake, back where it was, as if it had never left. Raises BatchError when it is open."""
    if batch.closed_at is None:
        raise BatchError(f"batch {batch.id}", "open", "a closed batch")
    stays = list(batch.stays)
    if stays and stays[-1].until == batch.closed_at:
        stays[-1] = replace(stays[-1], until=None)
    return replace(batch, stays=tuple(stays), closed_at=None)
