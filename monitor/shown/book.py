"""The egg book as one table for a spreadsheet: each entry that was ever written a line, with every field that any kind has."""

from __future__ import annotations

import csv
import io
from dataclasses import fields
from datetime import tzinfo

from monitor.domain.eggs.book import EggBook, standing
from monitor.domain.eggs.entry import FACTS
from monitor.domain.eggs.view import entry_view
from monitor.shown.entries import said
from monitor.shown.plain import cell

_TRAY = "weighed_tray"  # the tray of eggs without numbers; `tray` is where an egg lies
_FIRST = ("batch", "number", "at", "written_at", "by", "egg", "count", _TRAY, "kind")
_LAST = ("words", "replaces", "stands")
COLUMNS = (*_FIRST, *dict.fromkeys(each.name for fact in FACTS.values() for each in fields(fact)), *_LAST)


def book_csv(book: EggBook, zone: tzinfo, egg: int | None = None) -> str:
    """The entries of the batch, or of one egg, its lines ended by CRLF. Times are RFC 3339 in UTC; `stands` says whether an entry still counts."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    counts = {e.number for e in standing(book)}
    for entry in book.entries:
        if egg not in (None, entry.egg):
            continue
        view = entry_view(entry)
        row = {name: view[name] for name in (*_FIRST, *_LAST) if name in view} | dict(view["fact"])  # type: ignore[call-overload]  # a mapping, as the view has it
        row |= {
            "batch": book.batch.id,
            _TRAY: view["tray"],
            "words": said(entry, zone),
            "stands": entry.number in counts,
        }
        writer.writerow({name: cell(value) for name, value in row.items()})
    return text.getvalue()
