"""An entry of the egg book as a plain mapping for programs."""

from __future__ import annotations

from datetime import datetime

from monitor.domain.eggs.entry import Entry, fields_of
from monitor.domain.wall import utc_text


def entry_view(entry: Entry) -> dict[str, object]:
    """One entry: g, mm and days as they were written; RFC 3339 times."""
    return {
        "number": entry.number,
        "at": utc_text(entry.at),
        "written_at": utc_text(entry.written_at),
        "by": entry.who,
        "egg": entry.egg,
        "count": entry.count,
        "tray": entry.tray or None,
        "kind": entry.fact.kind,
        "fact": {k: utc_text(v) if isinstance(v, datetime) else v for k, v in fields_of(entry.fact).items()},
        "replaces": entry.replaces,
    }
