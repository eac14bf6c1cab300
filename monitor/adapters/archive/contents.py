"""What stands in an archive's members: JSON for what was set, said and done, a table for each probe's readings.

The members' own types are in `batch`, `house` and `record`; here they become bytes, and come back. Units are in the names; times are
RFC 3339 in UTC, those of readings milliseconds since 1970.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeVar

from pydantic import TypeAdapter, ValidationError

from monitor.adapters.archive.batch import ArchivedEntry, BatchMember
from monitor.adapters.archive.container import BOOK, MANIFEST, PART, READINGS, RECORD, ArchiveError, pack, unpack
from monitor.adapters.archive.house import ProfileMember, SiteMember, SiteSince
from monitor.adapters.archive.readings import of_csv, to_csv
from monitor.adapters.archive.record import RecordMember
from monitor.adapters.kept.rows import Rows
from monitor.adapters.kept.site import ArchivedProfile
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import OF_CHICK
from monitor.service.reports.archive import Archive

_V = TypeVar("_V")
ABOUT, BATCH, PROFILE, SITE, SITES = "README.txt", "batch.json", "profile.json", "site.json", "sites.json"
FIGURES, REVIEW, REVIEW_TEXT, REVIEW_PAGE = "history.json", "review.json", "review.txt", "review.html"
KEPT = (FIGURES, REVIEW, REVIEW_TEXT, REVIEW_PAGE)  # reports as they were printed when the archive was made
FILES = "files/"
SUSPECT, COUNTED = "suspect_readings", "counted"  # in the manifest, since the figures rest on them, too
# What one member may hold, as a small board reads it: 100,000 eggs with three entries each have 4 million values; no rule or fact has many names.
MAX_VALUES, MAX_KEYS = 4_000_000, 5_000
MAX_LIFE = timedelta(days=20 * 365)  # of a batch with its chicks; one that was forgotten is closed sooner
_TEXT = f"""One batch of eggs, as eggroom kept it. Everything is text in UTF-8; the units stand in the names.

{MANIFEST:<16} what made this, of when it speaks (as_of), and the size and SHA-256 of every other file here
{BATCH:<16} the batch: species, set time, the machines it was in (stays), declared stages
{PROFILE:<16} how its species was incubated then: stages and bands, each value's source, and the sources in full
{SITE:<16} the machines it was in, their probes, the air pressure, and the rules of the alarms
{{sites}}{BOOK:<16} the egg book: weighings, candlings, signs, outcomes, findings; "replaces" names the entry that one corrects
{RECORD:<16} calibrations, handlings, events, alarms with their transitions, and the messages that were sent
{FIGURES:<16} its environment history, as it was worked out when this was made
{REVIEW:<16} what was found in its eggs and the published causes of it, as it was told then, beside other batches that went
                 well, which are not in here; the same for people in {REVIEW_TEXT} and {REVIEW_PAGE}
{{files}}{READINGS:<16} a table for each probe, raw, before any calibration: at_ms (milliseconds since 1970-01-01 UTC), dry_bulb_c,
                 rh_pct (empty: missing), and their flags after IOOS QARTOD: 1 good, 2 not evaluated, 3 suspect, 4 bad, 9 missing
"""


_OF_SITES = (
    f"{SITES:<16} for these, and the profile, were not always the same: what looked at which machine, from when on\n"
)


_OF_FILES = (
    f"{FILES:<16} photographs and other files beside its entries, each called by the SHA-256 that stands in {BOOK}\n"
)


@dataclass(frozen=True, slots=True)
class ReadBack:
    """An archive out of its file. program: what wrote it. kept: the reports of KEPT as they were printed then, by name."""

    archive: Archive
    program: str
    kept: Mapping[str, str]


def write_archive(
    path: Path, archive: Archive, *, program: str, kept: Mapping[str, str], sources: Mapping[str, str]
) -> int:
    """Write the file, whole or not at all, whenever the power fails. Returns its size in bytes.

    kept: the reports of KEPT, printed. sources: what each source key of the profile stands for.

    Raises ArchiveError for a batch that is too big, and for one that does not come back from the file as it went in; OSError.
    """
    head = {"program": program, "batch": archive.batch.id, "as_of": archive.as_of.isoformat()}
    if archive.suspect_counts:
        head[SUSPECT] = COUNTED
    members = members_of(archive, kept, sources)
    if path.exists() and not path.is_file():  # a folder; or a device, which would be replaced by the archive
        raise ArchiveError(str(path), "not a file", "one that can be written")
    part = path.with_name(path.name + PART)
    try:
        size = pack(part, head, members)
        again = read_archive(part)
        if members_of(again.archive, again.kept, sources) != members:
            raise ArchiveError(str(path), "what was written does not come back the same; it was not kept")
        os.replace(part, path)
        _sync(path.parent)
    finally:
        part.unlink(missing_ok=True)
    return size


def _sync(folder: Path) -> None:
    """That a file has its new name is on the disk, too."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def read_archive(path: Path) -> ReadBack:
    """An archive that `write_archive` wrote. Raises ArchiveError."""
    head, members = unpack(path)
    _counted(f"{path}: {REVIEW}", members.get(REVIEW, b""))  # of which nothing is read here
    for name in (BATCH, PROFILE, SITE, SITES, RECORD, BOOK):
        _bounded(f"{path}: {name}", members.get(name, b"null"))
    where = ABOUT
    try:
        where = MANIFEST
        as_of = datetime.fromisoformat(str(head["as_of"])).astimezone(UTC)
        where = BATCH
        batch = TypeAdapter(BatchMember).validate_json(members[BATCH]).back()
        where = PROFILE
        profile = TypeAdapter(ProfileMember).validate_json(members[PROFILE]).profile.back()
        where = SITE
        site = TypeAdapter(SiteMember).validate_json(members[SITE]).back(profile)
        where = RECORD
        record = TypeAdapter(RecordMember).validate_json(members[RECORD])
        where = BOOK
        entries = tuple(e.back() for e in TypeAdapter(Rows[ArchivedEntry]).validate_json(members[BOOK]))
        readings = {}
        where = SITES
        sites = tuple(e.back() for e in TypeAdapter(Rows[SiteSince]).validate_json(members.get(SITES, b"[]")))
        before = {key for then in sites for key in then.probes} - site.probes.keys()
        for key in (*site.probes, *sorted(before)):
            where = _table(key)
            readings[key] = (of_csv(members[where]),)
        where = FILES
        files = {name.removeprefix(FILES): content for name, content in members.items() if name.startswith(FILES)}
        if odd := next((name for name, content in files.items() if hashlib.sha256(content).hexdigest() != name), None):
            raise ValueError(f"{odd[:70]!r} is not called by what is in it")
        where = "kept reports"
        kept = {name: members[name].decode() for name in KEPT}
        where = BOOK
        book = EggBook(batch, entries)
        where = BATCH
        _no_longer_than_a_life(book, as_of)
        where = RECORD
        archive = Archive(
            as_of=as_of,
            site=site,
            book=book,
            calibrations=tuple(each.back() for each in record.calibrations),
            handlings=tuple(each.back() for each in record.handlings),
            events=tuple(each.back() for each in record.events),
            gaps=tuple(each.back() for each in record.gaps),
            alarms=tuple(each.back() for each in record.alarms),
            transitions=tuple(each.back() for each in record.transitions),
            notices=tuple(each.back() for each in record.notices),
            readings=readings,
            sites=sites,
            files=files,
            suspect_counts=head.get(SUSPECT) == COUNTED,
        )
    except KeyError as error:
        raise ArchiveError(f"{path}: {where}", f"{error} is missing", "an archive in whole") from error
    except ValidationError as error:
        raise _first_wrong(f"{path}: {where}", error) from error
    except (ValueError, TypeError, ArithmeticError, OSError, RecursionError) as error:
        why = " ".join(str(error).split())[:120]
        raise ArchiveError(f"{path}: {where}", why, "what `eggroom archive` writes") from error
    return ReadBack(archive, str(head.get("program", "?")), kept)


def _no_longer_than_a_life(book: EggBook, as_of: datetime) -> None:
    """Raises ValueError for a batch that goes on for longer than any: reports look at each hour of it, and of millennia that has no end."""
    batch = book.batch
    moments = [batch.set_at, batch.closed_at or as_of, *(stay.since for stay in batch.stays)]
    moments += [stay.until for stay in batch.stays if stay.until is not None]
    moments += [entry.at for entry in book.entries if isinstance(entry.fact, OF_CHICK)]
    first, last = min(moments), max(moments)
    if last - first > MAX_LIFE:
        raise ValueError(f"from {first:%Y} to {last:%Y}, at most {MAX_LIFE.days // 365} years")


def _bounded(where: str, data: bytes) -> None:
    """See, before it becomes values, that it is JSON of as many as a batch can have. Raises ArchiveError."""
    _counted(where, data)
    try:
        json.loads(data, object_pairs_hook=_few, parse_float=_finite, parse_constant=_finite)
    except RecursionError as error:
        raise ArchiveError(where, "not JSON (nested too deeply)", "what `eggroom archive` writes") from error
    except ValueError as error:
        why = " ".join(str(error).split())[:120]
        raise ArchiveError(where, f"not JSON ({why})", "what `eggroom archive` writes") from error


def _counted(where: str, data: bytes) -> None:
    """A member that is pressed well holds hundreds of millions. Raises ArchiveError."""
    values = sum(map(data.count, (b",", b"[", b"{")))
    if values > MAX_VALUES:
        raise ArchiveError(where, f"{values} values", f"at most {MAX_VALUES}")


def _few(pairs: list[tuple[str, object]]) -> None:
    if len(pairs) > MAX_KEYS:
        raise ValueError(f"{len(pairs)} names in one place, at most {MAX_KEYS}")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:20]} is no number")
    return value


def members_of(archive: Archive, kept: Mapping[str, str], sources: Mapping[str, str]) -> dict[str, bytes]:
    """The members by name, in their order in the file."""
    profile = archive.site.profiles[archive.batch.profile]
    used = sorted(set(profile.sources.values()) & sources.keys())
    explained = ProfileMember(ArchivedProfile.of(profile), {key: sources[key] for key in used})
    return {
        ABOUT: _TEXT.format(
            sites=_OF_SITES if archive.sites else "", files=_OF_FILES if archive.files else ""
        ).encode(),
        BATCH: _json(BatchMember, BatchMember.of(archive.batch)),
        PROFILE: _json(ProfileMember, explained),
        SITE: _json(SiteMember, SiteMember.of(archive.site)),
        **({SITES: _json(tuple[SiteSince, ...], tuple(map(SiteSince.of, archive.sites)))} if archive.sites else {}),
        BOOK: _json(tuple[ArchivedEntry, ...], tuple(map(ArchivedEntry.of, archive.book.entries))),
        RECORD: _json(RecordMember, RecordMember.of(archive)),
        **{name: kept[name].encode() for name in KEPT},
        **{f"{FILES}{name}": content for name, content in sorted(archive.files.items())},
        **{_table(key): to_csv(pieces) for key, pieces in archive.readings.items()},
    }


def _json(kind: type[_V], value: _V) -> bytes:
    data = TypeAdapter(kind).dump_python(value, mode="json")
    return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False).encode() + b"\n"


def _table(probe: str) -> str:
    return f"{READINGS}{probe}.csv"


_WORDS = {"missing": "a value", "timezone_aware": "a time with its zone"}


def _first_wrong(where: str, error: ValidationError) -> ArchiveError:
    """The first thing that is wrong in a member. Further ones are mostly the same again."""
    problem = error.errors(include_url=False)[0]
    key = ".".join(str(part) for part in problem["loc"])
    expected = problem["msg"].removeprefix("Input should ").removeprefix("be ")
    if problem["type"] == "json_invalid":
        return ArchiveError(where, f"not JSON ({problem['ctx']['error']})", "what `eggroom archive` writes")
    came = "missing" if problem["type"] == "missing" else repr(problem["input"])[:60]
    if problem["type"] in _WORDS:
        expected = _WORDS[problem["type"]]
    return ArchiveError(f"{where}: {key}" if key else where, came, expected)
