"""What stands in an archive's members: JSON for what was set, said and done, a table for each probe's readings.

Names are those that the program uses inside, units in them; times are RFC 3339 in UTC, those of readings milliseconds since 1970.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter

from monitor.adapters.archive.container import MANIFEST, ArchiveError, pack, unpack
from monitor.adapters.archive.readings import of_csv, to_csv
from monitor.adapters.archive.rules import plain_rule, rule_from
from monitor.domain.air.units import Unit
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry, fact_of, plain
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Machine, Probe, Site, grouped
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.numbering import Gap
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Event
from monitor.service.ports import NoticeRow, TransitionRow
from monitor.service.reports.archive import Archive

ABOUT, BATCH, PROFILE, SITE, RECORD, BOOK = (
    "README.txt", "batch.json", "profile.json", "site.json", "record.json", "book.json",
)  # fmt: skip
FIGURES, REVIEW, REVIEW_TEXT, REVIEW_PAGE = "history.json", "review.json", "review.txt", "review.html"
KEPT = (FIGURES, REVIEW, REVIEW_TEXT, REVIEW_PAGE)  # reports as they were printed when the archive was made
READINGS = "readings/"
_TEXT = f"""One batch of eggs, as eggroom kept it. Everything is text in UTF-8; the units stand in the names.

{MANIFEST:<16} what made this, of when it speaks (as_of), and the size and SHA-256 of every other file here
{BATCH:<16} the batch: species, set time, the machines it was in (stays), declared stages
{PROFILE:<16} how its species was incubated then: stages and bands, each value's source, and the sources in full
{SITE:<16} the machines it was in, their probes, the air pressure, and the rules of the alarms
{BOOK:<16} the egg book: weighings, candlings, signs, outcomes, findings; "replaces" names the entry that one corrects
{RECORD:<16} calibrations, handlings, events, alarms with their transitions, and the messages that were sent
{FIGURES:<16} its environment history, as it was worked out when this was made
{REVIEW:<16} what was found in its eggs and the published causes of it, as it was told then, beside other batches that went
                 well, which are not in here; the same for people in {REVIEW_TEXT} and {REVIEW_PAGE}
{READINGS:<16} a table for each probe, raw, before any calibration: at_ms (milliseconds since 1970-01-01 UTC), dry_bulb_c,
                 rh_pct (empty: missing), and their flags after IOOS QARTOD: 1 good, 2 not evaluated, 3 suspect, 4 bad, 9 missing
"""


@dataclass(frozen=True, slots=True)
class _Kept:
    """profile.json"""

    profile: Profile
    sources: dict[str, str]  # what each key in the profile's sources stands for


@dataclass(frozen=True, slots=True)
class _Site:
    """site.json"""

    id: str
    zone: str
    unit: Unit
    pressure_kpa: float
    settle_s: float
    wick_coefficient_per_k: float | None
    machines: tuple[Machine, ...]
    probes: tuple[Probe, ...]
    rules: tuple[dict[str, Any], ...]  # not as Rule: a number that was given as 300 must not come back as 300.0
    own_rules: dict[str, dict[str, Any]]


@dataclass(frozen=True, slots=True)
class _Record:
    """record.json"""

    calibrations: tuple[Calibration, ...]
    handlings: tuple[Handling, ...]
    events: tuple[Event, ...]
    gaps: tuple[Gap, ...]
    alarms: tuple[Alarm, ...]
    transitions: tuple[TransitionRow, ...]
    notices: tuple[NoticeRow, ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    """One of book.json"""

    number: int
    at: datetime
    written_at: datetime
    who: str
    kind: str
    fact: dict[str, Any]
    egg: int | None
    count: int | None
    tray: str
    replaces: int | None


@dataclass(frozen=True, slots=True)
class ReadBack:
    """An archive out of its file. program: what wrote it. kept: the reports of KEPT as they were printed then, by name."""

    archive: Archive
    program: str
    kept: Mapping[str, str]


def write_archive(
    path: Path, archive: Archive, *, program: str, kept: Mapping[str, str], sources: Mapping[str, str]
) -> int:
    """Write the file, whole or not at all. Returns its size in bytes.

    kept: the reports of KEPT, printed. sources: what each source key of the profile stands for.

    Raises ArchiveError for a batch that is too big, and for one that does not come back from the file as it went in; OSError.
    """
    head = {"program": program, "batch": archive.batch.id, "as_of": archive.as_of.isoformat()}
    members = members_of(archive, kept, sources)
    if path.exists() and not path.is_file():  # a folder; or a device, which would be replaced by the archive
        raise ArchiveError(f"{path}: not a file, expected one that can be written")
    part = path.with_name(path.name + ".part")
    try:
        size = pack(part, head, members)
        again = read_archive(part)
        if members_of(again.archive, again.kept, sources) != members:
            raise ArchiveError(f"{path}: what was written does not come back the same; it was not kept")
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
    return size


def read_archive(path: Path) -> ReadBack:
    """An archive that `write_archive` wrote. Raises ArchiveError."""
    head, members = unpack(path)
    where = ABOUT
    try:
        where = MANIFEST
        as_of = datetime.fromisoformat(head["as_of"]).astimezone(UTC)
        where = BATCH
        batch = TypeAdapter(Batch).validate_json(members[BATCH])
        where = PROFILE
        profile = TypeAdapter(_Kept).validate_json(members[PROFILE]).profile
        where = SITE
        site = _site(TypeAdapter(_Site).validate_json(members[SITE]), profile)
        where = RECORD
        record = TypeAdapter(_Record).validate_json(members[RECORD])
        where = BOOK
        entries = tuple(_entry(e) for e in TypeAdapter(tuple[_Entry, ...]).validate_json(members[BOOK]))
        readings = {}
        for key in site.probes:
            where = _table(key)
            readings[key] = (of_csv(members[where]),)
        where = "kept reports"
        kept = {name: members[name].decode() for name in KEPT}
    except KeyError as error:
        raise ArchiveError(f"{path}: {where}: {error} is missing, expected an archive in whole") from error
    except (ValueError, TypeError, OSError, RecursionError) as error:
        why = " ".join(str(error).split())[:120]
        raise ArchiveError(f"{path}: {where}: {why}, expected what `eggroom archive` writes") from error
    archive = Archive(
        as_of=as_of,
        site=site,
        book=EggBook(batch, entries),
        calibrations=record.calibrations,
        handlings=record.handlings,
        events=record.events,
        gaps=record.gaps,
        alarms=record.alarms,
        transitions=record.transitions,
        notices=record.notices,
        readings=readings,
    )
    return ReadBack(archive, str(head.get("program", "?")), kept)


def members_of(archive: Archive, kept: Mapping[str, str], sources: Mapping[str, str]) -> dict[str, bytes]:
    """The members by name, in their order in the file."""
    a, site = archive, archive.site
    profile = site.profiles[a.batch.profile]
    used = sorted(set(profile.sources.values()) & sources.keys())
    kept_site = _Site(
        site.id, str(site.zone), site.unit, site.pressure_kpa, site.settle_s, site.wick_coefficient_per_k,
        tuple(site.machines.values()), tuple(site.probes.values()), tuple(map(plain_rule, site.rules.values())),
        {id_: dict(own) for id_, own in site.own_rules.items()},
    )  # fmt: skip
    record = _Record(a.calibrations, a.handlings, a.events, a.gaps, a.alarms, a.transitions, a.notices)
    return {
        ABOUT: _TEXT.encode(),
        BATCH: _json(Batch, a.batch),
        PROFILE: _json(_Kept, _Kept(profile, {key: sources[key] for key in used})),
        SITE: _json(_Site, kept_site),
        BOOK: _json(tuple[_Entry, ...], tuple(map(_kept_entry, a.book.entries))),
        RECORD: _json(_Record, record),
        **{name: kept[name].encode() for name in KEPT},
        **{_table(key): to_csv(pieces) for key, pieces in a.readings.items()},
    }


def _json(kind: Any, value: Any) -> bytes:
    data = TypeAdapter(kind).dump_python(value, mode="json")
    return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False).encode() + b"\n"


def _table(probe: str) -> str:
    return f"{READINGS}{probe}.csv"


def _site(kept: _Site, profile: Profile) -> Site:
    probes = {probe.key: probe for probe in kept.probes}
    return Site(
        id=kept.id,
        zone=ZoneInfo(kept.zone),
        unit=kept.unit,
        pressure_kpa=kept.pressure_kpa,
        machines={machine.id: machine for machine in kept.machines},
        probes=probes,
        profiles={profile.id: profile},
        rules={rule.id: rule for rule in (rule_from(each, SITE) for each in kept.rules)},
        settle_s=kept.settle_s,
        wick_coefficient_per_k=kept.wick_coefficient_per_k,
        by_machine=grouped(probes, "machine"),
        by_node=grouped(probes, "node"),
        own_rules=kept.own_rules,
    )


def _kept_entry(e: Entry) -> _Entry:
    return _Entry(
        e.number, e.at, e.written_at, e.who, e.fact.kind, plain(e.fact), e.egg, e.count, e.tray, e.replaces
    )  # fmt: skip


def _entry(e: _Entry) -> Entry:
    return Entry(e.at, e.written_at, e.who, fact_of(e.kind, e.fact), e.egg, e.count, e.tray, e.replaces, e.number)
