"""What `eggroom archive --closed` did, and which closed batch waits for its archive, in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

from monitor.domain.fixed import fixed
from monitor.domain.wall import local_time, utc_text
from monitor.shown.form import listed

OVERDUE = timedelta(days=2)  # after it was due: the timer looks once a day
BY_HAND = "sudo -u eggroom eggroom archive --closed"


@fixed
class ArchivedNow:
    """A batch that was archived. again: a newer archive beside an older one; damaged: that one is; review: why there is none in it, or ''."""

    batch: str
    file: Path
    bytes: int
    again: bool
    damaged: bool
    review: str


@fixed(kw_only=True)
class Archiving:
    """One look at all closed batches. waiting: (batch, from when on); there: those whose archive has all; failed: (batch, why)."""

    folder: Path
    at: datetime
    archived: Sequence[ArchivedNow] = ()
    waiting: Sequence[tuple[str, datetime]] = ()
    there: int = 0
    failed: Sequence[tuple[str, str]] = ()


def archiving_view(found: Archiving) -> dict[str, object]:
    """Plain values for --json."""
    return {
        "folder": str(found.folder),
        "archived": [
            {"batch": a.batch, "file": str(a.file), "bytes": a.bytes, "again": a.again, "damaged": a.damaged}
            | ({"review": a.review} if a.review else {})
            for a in found.archived
        ],
        "waiting": [{"batch": batch, "from": utc_text(at)} for batch, at in found.waiting],
        "there": found.there,
        "failed": [{"batch": batch, "why": why} for batch, why in found.failed],
    }


def archiving_text(found: Archiving, zone: tzinfo) -> str:
    """One line: what was archived, what waits, how many have theirs."""
    parts = []
    if new := [a.batch for a in found.archived if not a.again]:
        parts.append(f"archived {listed(new)}")
    if again := [f"{a.batch} ({a.file.name})" for a in found.archived if a.again and not a.damaged]:
        parts.append(f"archived anew, with what came since, {listed(again)}")
    if damaged := [f"{a.batch} ({a.file.name})" for a in found.archived if a.damaged]:
        parts.append(f"archived anew, beside a damaged archive, {listed(damaged)}")
    if odd := [f"{a.batch}: {a.review}" for a in found.archived if a.review]:
        parts.append("; ".join(odd))
    if found.failed:
        parts.append(f"NOT archived {listed([batch for batch, _ in found.failed])}")
    if found.waiting:
        when = [f"{batch} from {local_time(at, zone, found.at)} on" for batch, at in found.waiting]
        parts.append(f"to come {listed(when)}")
    if found.there:
        parts.append(f"{found.there} {'has its' if found.there == 1 else 'have their'} archive")
    return f"{found.folder}: {'; '.join(parts) or 'no batch is closed'}"
