"""`eggroom archive` and `eggroom backup`: one batch with everything about it in a file, and a whole copy of the record."""

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
from monitor.cli.frame import PROGRAM, STDOUT, Asked, Failed, Parsers, Wrong, check_files, command, json_text, show
from monitor.cli.record import house_of, one_batch, opened, profile_of, site_of
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.wall import utc_text
from monitor.service.ports import BatchRecord, ReviewRecord, StoreFailure
from monitor.service.reports.archive import Archive, archive_of
from monitor.service.reports.batch import NoRecord, batch_history
from monitor.service.reports.review import batch_review
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
class Keep(Backup):
    """archive"""

    batch: str


def add(parsers: Parsers) -> None:
    """Say what both take."""
    keep = command(parsers["archive"], _archive, Keep)
    keep.add_argument("batch")
    copy = command(parsers["backup"], _backup, Backup)
    for each in (keep, copy):
        each.add_argument("file", type=Path)
        each.add_argument("--sure", action="store_true", help="write over a file that is there")


def _archive(options: Keep) -> int:
    _new_file(options)
    house, now = house_of(options.config), options.utc()
    try:
        with opened(house) as history:
            batch = one_batch(history, options.batch)
            profile_of(site_of(house.site, history, batch, now=now), batch)
            with history.instant():  # a reading that comes in between would be in the one and not in the other
                archive = archive_of(history, house.site, batch, now=now, say=partial(about_words, site=house.site))
                figures = _figures(history, house.site, batch, now=now)
                review, why = _review(history, house.site, batch, now=now)
                kept = {"history.json": figures, **review}
        _same_again(archive, figures)
        size = write_archive(options.file, archive, program=PROGRAM, kept=kept, sources=load_sources())
    except ArchiveError as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"{options.file}: {error.strerror}, expected a file that can be written") from error
    count = sum(int(piece.at_ms.size) for pieces in archive.readings.values() for piece in pieces)
    said = {"file": str(options.file), "batch": batch.id, "as_of": utc_text(archive.as_of)}
    data = {**said, "readings": count, "entries": len(archive.book.entries), "bytes": size} | (
        {"review": why} if why else {}
    )
    text = f"{options.file}: batch {batch.id}, {count} readings, {_entries(len(archive.book.entries))} of its book, {size} bytes"
    return show(options.json, data, f"{text}; read back, and its figures are the same{'; ' * bool(why)}{why}")


def _entries(count: int) -> str:
    return "1 entry" if count == 1 else f"{count} entries"


def _new_file(options: Backup) -> None:
    if options.file == STDOUT:
        raise Wrong(f"{options.command}: -, expected a file: it is read back before it is kept")
    check_files((options.file,), json_wanted=options.json, sure=options.sure)


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
    except (ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError) as error:
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
        _new_file(options)
    try:
        size = backup(store_path(house), options.file)
    except StoreFailure as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"{options.file}: {error.strerror}, expected a file that can be written") from error
    return show(
        options.json, {"file": str(options.file), "bytes": size}, f"{options.file}: whole and checked, {size} bytes"
    )
