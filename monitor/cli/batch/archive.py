"""`eggroom archive` and `eggroom backup`: one batch, or each that is closed, with everything about it in a file; and a whole copy of the record."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from html import escape
from pathlib import Path

from monitor.adapters.archive.container import ArchiveError
from monitor.adapters.archive.contents import write_archive
from monitor.adapters.archive.history import ArchivedHistory
from monitor.adapters.store.ledger import backup
from monitor.adapters.tables.causes import shipped_causes
from monitor.adapters.tables.profiles import load_sources
from monitor.app import store_path
from monitor.cli.batch.closed import archive_closed
from monitor.cli.frame import PROGRAM, STDOUT, Asked, Failed, Parsers, Wrong, check_files, command, json_text, show
from monitor.cli.record import house_of, one_batch, opened, profile_of, site_of
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.wall import utc_text
from monitor.service.across.review import batch_review
from monitor.service.ports import BatchRecord, ReviewRecord, StoreFailure
from monitor.service.reports.archive import Archive, archive_of
from monitor.service.reports.batch import NoRecord, batch_history
from monitor.shown.about import about_words
from monitor.shown.form import Shown
from monitor.shown.history.files import to_json
from monitor.shown.history.report import Header
from monitor.shown.review.whole import whole_html, whole_json, whole_text


@fixed(kw_only=True)
class Backup(Asked):
    """backup"""

    command: str
    file: Path
    sure: bool


@fixed(kw_only=True)
class Keep(Asked):
    """archive"""

    command: str
    batch: str | None
    file: Path | None
    closed: bool
    sure: bool


def add(parsers: Parsers) -> None:
    """Say what both take."""
    keep = command(parsers["archive"], _archive, Keep)
    keep.add_argument("batch", nargs="?")
    keep.add_argument("file", type=Path, nargs="?")
    of_all = "each closed batch that has no archive of all that is written of it, into the folder of archives"
    keep.add_argument("--closed", action="store_true", help=of_all)
    copy = command(parsers["backup"], _backup, Backup)
    copy.add_argument("file", type=Path)
    for each in (keep, copy):
        each.add_argument("--sure", action="store_true", help="write over a file that is there")


def _archive(options: Keep) -> int:
    if options.closed:
        if options.batch is not None or options.sure:
            raise Wrong("archive: --closed, expected it alone: it takes every closed batch, and writes over nothing")
        house, now = house_of(options.config), options.utc()
        return archive_closed(house, partial(_kept, now=now), now=now, json_wanted=options.json)
    if options.batch is None or options.file is None:
        raise Wrong("archive: expected BATCH and FILE, or --closed")
    _new_file(options.command, options.file, json_wanted=options.json, sure=options.sure)
    made = _made(options.config, options.batch, options.file, now=options.utc())
    data: dict[str, object] = {"file": str(options.file), "batch": options.batch, "as_of": utc_text(made.as_of)}
    data |= {"readings": made.readings, "entries": made.entries, "bytes": made.bytes}
    data |= {"review": made.review} if made.review else {}
    text = f"{options.file}: batch {options.batch}, {made.readings} readings, {_entries(made.entries)} of its book, {made.bytes} bytes"
    said = "; read back, and its figures are the same"
    return show(options.json, data, f"{text}{said}{'; ' * bool(made.review)}{made.review}")


def _kept(config: Path, name: str, file: Path, *, now: datetime) -> tuple[int, str]:
    """One of several, for `archive_closed`."""
    made = _made(config, name, file, now=now)
    return made.bytes, made.review


@fixed
class _Made:
    """An archive that was written. review: why it has none."""

    as_of: datetime
    readings: int
    entries: int
    bytes: int
    review: str


def _made(config: Path, name: str, file: Path, *, now: datetime) -> _Made:
    """Write the archive of a batch. Raises Wrong and Failed."""
    house = house_of(config)
    try:
        with opened(house) as history:
            batch = one_batch(history, name)
            profile_of(site_of(house.site, history, batch, now=now), batch)
            with history.instant():  # a reading that comes in between would be in the one and not in the other
                archive = archive_of(history, house.site, batch, now=now, say=partial(about_words, site=house.site))
                figures = _figures(history, house.site, batch, now=now)
                review, why = _review(history, house.site, batch, now=now)
                kept = {"history.json": figures, **review}
        _same_again(archive, figures)
        size = write_archive(file, archive, program=PROGRAM, kept=kept, sources=load_sources())
    except ArchiveError as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"{file}: {error.strerror}, expected a file that can be written") from error
    count = sum(int(piece.at_ms.size) for pieces in archive.readings.values() for piece in pieces)
    return _Made(archive.as_of, count, len(archive.book.entries), size, why)


def _entries(count: int) -> str:
    return "1 entry" if count == 1 else f"{count} entries"


def _new_file(what: str, file: Path, *, json_wanted: bool, sure: bool) -> None:
    if file == STDOUT:
        raise Wrong(f"{what}: -, expected a file: it is read back before it is kept")
    check_files((file,), json_wanted=json_wanted, sure=sure)


def _same_again(archive: Archive, figures: str) -> None:
    """See that the archive gives the figures of the record, before it is written."""
    if _figures(ArchivedHistory(archive), archive.site, archive.batch, now=archive.as_of) != figures:
        raise ArchiveError(
            f"batch {archive.batch.id}", "its archive would not give the same figures; it was not written"
        )


def _figures(history: BatchRecord, site: Site, batch: Batch, *, now: datetime) -> str:
    try:
        return _printed(to_json(batch_history(history, site, batch, now=now), Header.of(batch)))
    except NoRecord as error:
        raise Failed(str(error)) from error


def _review(history: ReviewRecord, site: Site, batch: Batch, *, now: datetime) -> tuple[dict[str, str], str]:
    """(the review in each form, why there is none). A mistake in it must not cost the record of the batch."""
    catalogue, shown = shipped_causes(), Shown(site.zone, site.unit)
    try:
        whole = batch_review(history, site, batch, now=now, catalogue=catalogue)
        return {
            "review.json": _printed(whole_json(whole, catalogue)),
            "review.txt": whole_text(whole, catalogue, shown).rstrip() + "\n",
            "review.html": whole_html(whole, catalogue, shown),
        }, ""
    except (ArithmeticError, AssertionError, AttributeError, LookupError, RuntimeError, TypeError, ValueError) as error:
        why = f"the review could not be made: {' '.join(str(error).split())[:200]}"
        return {
            "review.json": _printed({"error": why}),
            "review.txt": why + "\n",
            "review.html": f"<!doctype html><meta charset=utf-8><title>review</title><p>{escape(why)}</p>\n",
        }, why


def _printed(data: object) -> str:
    """Plain values as --json prints them."""
    return json_text(data) + "\n"


def _backup(options: Backup) -> int:
    house = house_of(options.config)
    if options.file.resolve() != store_path(house).resolve():  # onto itself it is refused, however sure
        _new_file(options.command, options.file, json_wanted=options.json, sure=options.sure)
    try:
        size = backup(store_path(house), options.file)
    except StoreFailure as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"{options.file}: {error.strerror}, expected a file that can be written") from error
    return show(
        options.json, {"file": str(options.file), "bytes": size}, f"{options.file}: whole and checked, {size} bytes"
    )
