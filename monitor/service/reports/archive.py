"""What belongs to one batch, out of the whole record: everything that its reports are made of, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Protocol

from monitor.domain.alarms.about import Say
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.eggs.book import EggBook, files
from monitor.domain.needs.batch import Batch, batch_of
from monitor.domain.needs.site import Site, grouped
from monitor.domain.needs.then import Sites, SiteThen, Span
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.numbering import Gap
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Event
from monitor.service.ports import BatchRecord, Kept, NoticeRow, Series, TransitionRow, Watched
from monitor.service.reports.batch import ALL, sites_of
from monitor.service.reports.belonging import belongs_to, looked_at, stays_in, with_chicks


@dataclass(frozen=True, slots=True)
class Archive:
    """One batch with all that its reports are made of.

    as_of: the instant that its reports speak of. site: with the machines that it was in, their probes and its own profile alone, and
    with no contact and no link. gaps: of its nodes; a gap has no time, so those of before and after are among them. readings: by probe,
    raw, in pieces that follow one another.
    """

    as_of: datetime
    site: Site
    book: EggBook
    calibrations: tuple[Calibration, ...]
    handlings: tuple[Handling, ...]
    events: tuple[Event, ...]
    gaps: tuple[Gap, ...]
    alarms: tuple[Alarm, ...]
    transitions: tuple[TransitionRow, ...]
    notices: tuple[NoticeRow, ...]
    readings: Mapping[str, tuple[Series, ...]]
    files: Mapping[str, bytes] = field(default_factory=dict)  # those beside its entries, by what is in them
    sites: tuple[SiteThen, ...] = ()  # what looked at which machine in its time
    suspect_counts: bool = (
        True  # whether its figures rest on suspect readings, too; those of the first archives never did
    )

    @property
    def batch(self) -> Batch:
        """The batch."""
        return self.book.batch


class Archivable(BatchRecord, Watched, Kept, Protocol):
    """What an archive is made from."""


def archive_of(history: Archivable, site: Site, batch: Batch, *, now: datetime, say: Say) -> Archive:
    """The archive of a batch as it is at `now`; of a closed one as it was when it was closed, whenever it is made.

    say: words of what an alarm is about, for in an archive it has its words alone. Raises KeyError for a batch
    of a species that the site does not know.
    """
    as_of = now if batch.closed_at is None else min(batch.closed_at, now)
    book = history.book(batch)
    stays = with_chicks(stays_in(batch, as_of), book)
    sites = sites_of(history, site)
    mine, looked = _site_of(sites, batch, stays, as_of=as_of), looked_at(sites, batch, stays)
    belongs, nodes = belongs_to(batch, stays, looked), {key.partition("/")[0] for key in looked}

    begin = min([batch.set_at, *(stay.since for stay in batch.stays)])
    end = max([begin, *(until for spans in stays.values() for _, until in spans)]) + timedelta(milliseconds=1)
    transitions = _transitions(history, batch, begin=begin, end=end, belongs=belongs)
    episodes = {(t.subject, t.rule, t.number) for t in transitions}
    numbers = {t.number for t in transitions} - {0}  # which no notice carries
    return Archive(
        as_of=as_of,
        site=mine,
        book=book,
        calibrations=tuple(c for c in history.calibrations() if c.probe in looked),
        handlings=tuple(
            h for h in history.handlings(begin, end) if _meets((h.since, h.until), stays.get(h.machine, ()))
        ),
        events=tuple(
            e
            for e in [*history.events(begin, ALL, until=end), *history.events(end, ALL, subject=batch.id)]
            if belongs(e.subject, e.at) or (e.kind, e.subject) == ("batch", batch.id)
        ),
        gaps=tuple(g for g in history.gaps() if g.node in nodes),
        alarms=tuple(
            replace(a, about=say(a.about)) for a in history.alarms() if (a.subject, a.rule, a.number) in episodes
        ),
        transitions=transitions,
        notices=tuple(_unlinked(n) for n in history.notices(ALL, numbers=numbers)),
        readings={
            key: tuple(history.series(key, *span) for span in _windows(looked[key]))
            for key in (*(key for key in mine.probes if key in looked), *sorted(looked.keys() - mine.probes.keys()))
        },
        files={name: content for name in sorted(files(book)) if (content := history.file(name)) is not None},
        sites=_then_of(sites, batch, stays, until=end),
    )


def _transitions(
    history: Watched, batch: Batch, *, begin: datetime, end: datetime, belongs: Callable[[str, datetime], bool]
) -> tuple[TransitionRow, ...]:
    """Those of its machines in its time, and those about the batch itself whenever they were; not all that came since."""
    found = {t.id: t for t in history.transitions(begin, until=end) if belongs(t.subject, t.at)}
    for subject in {alarm.subject for alarm in history.alarms() if batch_of(alarm.subject) == batch.id}:
        found.update((t.id, t) for t in history.transitions(begin, subject))
    return tuple(found[id_] for id_ in sorted(found))


def _site_of(sites: Sites, batch: Batch, stays: Mapping[str, Sequence[Span]], *, as_of: datetime) -> Site:
    """The site at the end: the machines that the batch was in, their probes and its profile alone."""
    site = sites.at(as_of, batch.profile)
    probes = {key: probe for key, probe in site.probes.items() if probe.machine in stays}
    return replace(
        site,
        machines={id_: machine for id_, machine in site.machines.items() if id_ in stays},
        probes=probes,
        profiles={batch.profile: site.profiles[batch.profile]},
        contacts=(),
        link="",
        by_machine=grouped(probes, "machine"),
        by_node=grouped(probes, "node"),
    )


def _then_of(
    sites: Sites, batch: Batch, stays: Mapping[str, Sequence[Span]], *, until: datetime
) -> tuple[SiteThen, ...]:
    """What looked at its machines, each time that this, or its profile, was otherwise; nothing where it was the same all the time."""
    found: list[SiteThen] = []
    for then in sites.then:
        if then.since is not None and then.since >= until:
            continue
        at = batch.set_at if then.since is None else then.since
        mine = replace(
            then,
            machines={id_: machine for id_, machine in then.machines.items() if id_ in stays},
            probes={key: probe for key, probe in then.probes.items() if probe.machine in stays},
            profiles={batch.profile: sites.at(at, batch.profile).profiles[batch.profile]},
        )
        if not found or replace(mine, since=found[-1].since) != found[-1]:
            found.append(mine)
    return tuple(found) if len(found) > 1 else ()


def _windows(times: Sequence[tuple[Span, timedelta]]) -> list[Span]:
    """The times of a probe with what reports read beyond their ends, joined where they meet, so that no reading comes twice."""
    return _joined((since - margin, until + margin) for (since, until), margin in times)


def _joined(spans: Iterable[Span]) -> list[Span]:
    found: list[Span] = []
    for since, until in sorted(spans):
        if found and since <= found[-1][1]:
            found[-1] = (found[-1][0], max(until, found[-1][1]))
        else:
            found.append((since, until))
    return found


def _meets(span: Span, spans: Iterable[Span]) -> bool:
    return any(since <= span[1] and span[0] <= until for since, until in spans)


def _unlinked(row: NoticeRow) -> NoticeRow:
    """A notice in its words alone: without its link and without what the phone's service answered, in which an address might stand."""
    return replace(row, notice=replace(row.notice, link="", facts=None), last_detail="")
