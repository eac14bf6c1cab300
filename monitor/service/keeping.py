"""Which closed batch is to be archived, and from when on: pure, asked of what is written of it and of its newest archive alone.

An archive is of one closing. It has all that its figures need once what nodes kept back has come, and what people saw as they cleaned
the machine is written; so it is made a day after the batch was closed. What is written later, such as a chick's weight, calls for a
newer one; but not for one each day, or a card would fill with them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime, timedelta

from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.readings.calibration import Calibration
from monitor.service.ports import Written

SETTLED = timedelta(days=1)  # after its closing, for its first archive (judgement)
QUIET = timedelta(days=7)  # without a further word, for a newer one (judgement)


@fixed
class Held:
    """What an archive holds. as_of: the instant that it speaks of; entries: of the book; probes: those that looked at its machines;
    calibrations: of theirs, those that hold of a time before `as_of`."""

    as_of: datetime
    entries: int
    probes: Collection[str]
    calibrations: int


def of_before(calibrations: Iterable[Calibration], probes: Collection[str], as_of: datetime) -> list[Calibration]:
    """Those of the probes that hold of a time before an instant. None is ever taken away, so that their number says whether one was added."""
    return [c for c in calibrations if c.probe in probes and (c.since is None or c.since < as_of)]


def due_at(
    batch: Batch, written: Written | None, calibrations: Iterable[Calibration], *, held: Held | None
) -> datetime | None:
    """From when on the next archive of a closed batch is to be made; None where the newest has all, of a batch that is open, and of one that
    was in no machine, which has no figures.

    written: None where nothing is; calibrations: every one there is; held: its newest archive, None where it has none.
    """
    if batch.closed_at is None or all(stay.since == stay.until for stay in batch.stays):
        return None
    if held is None or held.as_of != batch.closed_at:
        return batch.closed_at + SETTLED
    known = of_before(calibrations, held.probes, held.as_of)
    newest = [each.at for each in known[held.calibrations :]]
    if written is not None and written.entries > held.entries:
        newest.append(written.at)
    return max(newest) + QUIET if newest else None
