"""What of the record is about one batch: its stays, the probes that looked at its machines then, and when each subject of an alarm or an
event was about it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta

from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.chicks import chicks
from monitor.domain.needs.batch import Batch, batch_of
from monitor.domain.needs.then import Sites, Span
from monitor.service.reports.batch import margin_of


def stays_in(batch: Batch, as_of: datetime) -> dict[str, list[Span]]:
    """When it was in each machine. What goes on ends at the last instant that any report of it looks at."""
    last = batch.closed_at or batch.not_before(as_of)
    found: dict[str, list[Span]] = {}
    for stay in batch.stays:
        found.setdefault(stay.machine, []).append((stay.since, stay.until or last))
    return found


def with_chicks(stays: Mapping[str, Sequence[Span]], book: EggBook) -> dict[str, list[Span]]:
    """Those, and where its chicks were: each in its brooders as long as anything is written of it."""
    found = {machine: list(spans) for machine, spans in stays.items()}
    for chick in chicks(book):
        known_until = chick.known_until
        if known_until is not None:
            for stay in chick.within(book.batch.set_at, known_until):
                found.setdefault(stay.machine, []).append((stay.since, stay.until or known_until))
    return found


def looked_at(
    sites: Sites, batch: Batch, stays: Mapping[str, Sequence[Span]]
) -> dict[str, list[tuple[Span, timedelta]]]:
    """When each probe looked at a machine that the batch was in, and how far beyond its ends reports read it."""
    found: dict[str, list[tuple[Span, timedelta]]] = {}
    for machine, spans in stays.items():
        for span in spans:
            for since, until, then in sites.spans(machine, batch.profile, span):
                probes = then.by_machine.get(machine, ())
                for probe in probes:
                    found.setdefault(probe.key, []).append(((since, until), margin_of(probes)))
    return found


def belongs_to(
    batch: Batch, stays: Mapping[str, Sequence[Span]], looked: Mapping[str, Sequence[tuple[Span, timedelta]]]
) -> Callable[[str, datetime], bool]:
    """Whether a subject of an alarm or an event was about this batch at a moment: itself, a machine, its probes, their nodes, the room."""
    about = _about(stays, looked)

    def belongs(subject: str, at: datetime) -> bool:
        return batch_of(subject) == batch.id or any(since <= at <= until for since, until in about.get(subject, ()))

    return belongs


def _about(
    stays: Mapping[str, Sequence[Span]], looked: Mapping[str, Sequence[tuple[Span, timedelta]]]
) -> dict[str, list[Span]]:
    found = {machine: list(spans) for machine, spans in stays.items()}
    for key, times in looked.items():
        spans = [span for span, _ in times]
        found.setdefault(key, []).extend(spans)
        found.setdefault(key.partition("/")[0], []).extend(spans)
    found["site"] = [span for spans in stays.values() for span in spans]
    return found
