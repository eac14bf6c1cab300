"""`eggroom history`: what a batch, or one egg of it, lived through, as text, values, a table, a page and a calendar. Reads arguments,
asks, prints."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Any

from monitor.cli import main as cli
from monitor.cli.archive import add_archive_option, looked_at, tell_other_figures
from monitor.cli.main import Failed, Wrong
from monitor.cli.typed import typed_whole


def add_history_command(commands: Any) -> None:
    """Add `history` to the command line."""
    history = cli._command(commands, "history", _history, "what a batch lived through, or one egg of it")
    history.add_argument("batch", nargs="?", default=None)
    history.add_argument(
        "--egg",
        type=typed_whole,
        default=None,
        metavar="N",
        help="of one egg: up to its own end, with what its book says",
    )
    history.add_argument("--csv", type=Path, default=None, metavar="FILE", help="the figures for a spreadsheet")
    history.add_argument(
        "--html", type=Path, default=None, metavar="FILE", help="a page with drawings, to read and to print"
    )
    history.add_argument("--ics", type=Path, default=None, metavar="FILE", help="what is due, for a calendar")
    history.add_argument(
        "--exposures",
        action="store_true",
        help="what was published of eggs in too hot or too cold air, for this species",
    )
    add_archive_option(history)


def _history(options: Any) -> int:
    from monitor.domain.eggs.book import knows
    from monitor.service.ports import StoreFailure
    from monitor.service.reports.batch import NoRecord

    looked = looked_at(options)
    batch, profile = looked.batch, cli._profile_of(looked.site, looked.batch)
    try:
        with contextlib.closing(looked.history):
            if options.egg is not None and not knows(looked.history.book(batch), options.egg):
                raise Wrong(f"batch {batch.id}: egg {options.egg}, expected {batch.numbers_words}")
            if options.ics is not None:
                _calendar(options, looked, profile)
            if options.exposures:
                return _exposures(options, profile, looked.site.unit)
            return _report(options, looked)
    except NoRecord as error:
        if options.ics is not None and options.csv is None and options.html is None and not options.json:
            cli.print_or_written(options, [options.ics], None, str)  # what is due is known before there is any air
            return cli.DONE
        raise Failed(str(error)) from error
    except StoreFailure as error:
        raise Failed(str(error)) from error


def _report(options: Any, looked: Any) -> int:
    """Write and print the figures. Raises NoRecord where there are none yet."""
    from monitor.service.reports.batch import batch_charts, batch_history
    from monitor.shown.history.files import to_csv, to_json
    from monitor.shown.history.report import Header, to_text

    site, batch, now, header = looked.site, looked.batch, looked.now, Header.of(looked.batch)
    if options.egg is not None:
        from monitor.service.reports.egg import egg_life

        life = egg_life(looked.history, site, batch, options.egg, now)
        batch, now, header = life.batch, life.until, Header.of(batch, life.part)
    if options.html is not None:
        figures, charts = batch_charts(looked.history, site, batch, now)
    else:
        figures = batch_history(looked.history, site, batch, now)
    if header.egg is not None:
        from monitor.analysis.history.egg import with_egg

        figures = with_egg(figures, header.egg)
    if options.csv is not None:
        cli._write(options.csv, to_csv(figures, header))
    if options.html is not None:
        from monitor.shown.history.report import to_html

        cli._write(options.html, to_html(figures, charts, header, site.zone, site.unit))
    data = to_json(figures, header)
    if header.egg is None:  # an archive brings the figures of the batch only
        tell_other_figures(looked, data)
    files = (options.ics, options.csv, options.html)
    cli.print_or_written(options, files, data, lambda: to_text(figures, header, site.zone, site.unit))
    return cli.DONE


def _calendar(options: Any, looked: Any, profile: Any) -> None:
    """Write what is due: for a batch; for an egg also what is to be looked at again. Raises Failed for an egg that has ended."""
    from monitor.shown.calendar import looks_of, to_ics

    batch, more = looked.batch, []
    if options.egg is not None:
        from monitor.domain.eggs.book import outcome

        book = looked.history.book(batch)
        end = outcome(book, options.egg)
        if end is not None and end.at <= looked.now:
            raise Failed(
                f"batch {batch.id}: egg {options.egg}: {end.word}, so nothing is due, expected it without --ics"
            )
        more = looks_of(book, options.egg)
    cli._write(options.ics, to_ics(batch, profile, looked.site.id, looked.now, more))


def _exposures(options: Any, profile: Any, unit: str) -> int:
    from monitor.domain.published.exposure import EXPOSURES
    from monitor.domain.published.exposure_table import exposure_text, exposure_view

    if options.csv is not None or options.html is not None:
        raise Wrong("history: --exposures is a table of its own, expected it without --csv and --html")
    if options.egg is not None:
        raise Wrong("history: --exposures is of a species, expected it without --egg")
    views = [exposure_view(each, profile.days) for each in EXPOSURES]
    cli._print(options, views, exposure_text(profile.name, profile.days, unit))
    return cli.DONE
