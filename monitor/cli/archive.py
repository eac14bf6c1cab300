"""`eggroom archive`, and the reports that read from an archive instead of the record: `history`, `egg show` and `review` with
--archive."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import monitor
from monitor.cli import main as cli
from monitor.cli.main import Failed, Wrong

PROGRAM = f"eggroom {monitor.__version__}"


@dataclass(frozen=True, slots=True)
class Looked:
    """One batch to report on: out of the record now, or out of an archive as it was. kept: the reports that the archive brings, by name."""

    site: Any
    history: Any
    batch: Any
    now: datetime
    kept: Mapping[str, str] = field(default_factory=dict)
    program: str = ""


def add_archive_command(commands: Any) -> None:
    """Add `archive` to the command line."""
    help_ = "one batch with everything about it in one file, to keep or to read elsewhere"
    archive = cli._command(commands, "archive", _archive, help_)
    archive.add_argument("batch")
    archive.add_argument("file", type=Path)


def add_archive_option(parser: Any) -> None:
    """Add --archive to a command that reports on one batch."""
    help_ = "read from a file that `eggroom archive` wrote; no configuration is needed"
    parser.add_argument("--archive", type=Path, default=None, metavar="FILE", help=help_)


def looked_at(options: Any) -> Looked:
    """The batch that is asked for. Raises Wrong and Failed."""
    if options.archive is None:
        if options.batch is None:
            raise Wrong(f"{options.command}: no batch, expected BATCH or --archive FILE")
        house = cli._house(options)
        batch = cli._one_batch(house, options.batch)
        return Looked(house.site, cli._history_of(house), batch, datetime.now(UTC))
    from monitor.adapters.archive.container import ArchiveError
    from monitor.adapters.archive.contents import read_archive
    from monitor.adapters.archive.history import ArchivedHistory

    try:
        found = read_archive(options.archive)
    except ArchiveError as error:
        raise Wrong(str(error)) from error
    archive = found.archive
    if options.batch not in (None, archive.batch.id):
        raise Wrong(f"{options.archive}: the archive of {archive.batch.id}, expected that of {options.batch}")
    history = ArchivedHistory(archive)
    return Looked(archive.site, history, archive.batch, archive.as_of, found.kept, found.program)


def tell_other_figures(looked: Looked, data: Any) -> None:
    """Say in a line where the figures, worked out anew, are not those that the archive brings: another version counts otherwise."""
    if looked.kept and _printed(data) != looked.kept["history.json"]:
        cli._complain(
            f"these figures are by {PROGRAM}; those of the archive, by {looked.program}, differ (history.json in it)",
            cli.DONE,
        )


def print_kept_review(options: Any) -> int:
    """Print the review that the archive brings, as `eggroom review` printed it when the archive was made. Raises Wrong, also without one.

    It is not worked out anew: the batches that stood beside this one are not in its archive.
    """
    if options.archive is not None and any(x is not None for x in (options.egg, options.finding, options.good)):
        raise Wrong(
            "review: --archive brings one review, as it was made, expected nothing beside it but --json and --html"
        )
    looked = looked_at(options)
    try:
        data = json.loads(looked.kept["review.json"])
    except (ValueError, RecursionError) as error:
        raise Wrong(f"{options.archive}: review.json: {error}, expected what `eggroom archive` writes") from error
    if options.html is not None:
        cli._write(options.html, looked.kept["review.html"])
    cli.print_or_written(options, [options.html], data, lambda: looked.kept["review.txt"].removesuffix("\n"))
    return cli.DONE


def _archive(options: Any) -> int:
    from monitor.adapters.archive.container import ArchiveError
    from monitor.adapters.archive.contents import write_archive
    from monitor.adapters.profile_files import load_sources
    from monitor.service.ports import StoreFailure
    from monitor.service.reports.archive import archive_of

    house = cli._house(options)
    batch, history, now = cli._one_batch(house, options.batch), cli._history_of(house), datetime.now(UTC)
    cli._profile_of(house.site, batch)
    try:
        with history.instant():  # a reading that comes in between would be in the one and not in the other
            archive = archive_of(history, house.site, batch, now)
            figures = _figures(history, house.site, batch, now)
            kept = {"history.json": figures, **_review(history, house.site, batch, now)}
        _same_again(archive, figures)
        size = write_archive(options.file, archive, program=PROGRAM, kept=kept, sources=load_sources())
    except (ArchiveError, StoreFailure) as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"{options.file}: {error.strerror}, expected a file that can be written") from error
    count = sum(int(piece.at_ms.size) for pieces in archive.readings.values() for piece in pieces)
    said = {"file": str(options.file), "batch": batch.id, "as_of": archive.as_of.isoformat()}
    data = {**said, "readings": count, "entries": len(archive.book.entries), "bytes": size}
    text = f"{options.file}: batch {batch.id}, {count} readings, {len(archive.book.entries)} entries of its book, {size} bytes"
    cli._print(options, data, f"{text}; read back, and its figures are the same")
    return cli.DONE


def _same_again(archive: Any, figures: str) -> None:
    """See that the archive gives the figures of the record, before it is written."""
    from monitor.adapters.archive.container import ArchiveError
    from monitor.adapters.archive.history import ArchivedHistory

    if _figures(ArchivedHistory(archive), archive.site, archive.batch, archive.as_of) != figures:
        raise ArchiveError(f"batch {archive.batch.id}: its archive would not give the same figures; it was not written")


def _figures(history: Any, site: Any, batch: Any, now: datetime) -> str:
    from monitor.service.reports.batch import NoRecord, batch_history
    from monitor.shown.history.files import to_json
    from monitor.shown.history.report import Header

    try:
        return _printed(to_json(batch_history(history, site, batch, now), Header.of(batch)))
    except NoRecord as error:
        raise Failed(str(error)) from error


def _review(history: Any, site: Any, batch: Any, now: datetime) -> dict[str, str]:
    from monitor.analysis.review.judged import shipped_causes
    from monitor.service.reports.review import batch_review
    from monitor.shown.form import Shown
    from monitor.shown.review.whole import whole_html, whole_json, whole_text

    catalogue = shipped_causes()
    whole = batch_review(history, site, batch, now, catalogue)
    shown = Shown(site.zone, site.unit)
    return {
        "review.json": _printed(whole_json(whole, catalogue)),
        "review.txt": whole_text(whole, catalogue, shown).rstrip() + "\n",
        "review.html": whole_html(whole, catalogue, shown),
    }


def _printed(data: Any) -> str:
    """Plain values as --json prints them."""
    return cli.json_text(data) + "\n"
