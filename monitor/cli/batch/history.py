"""`eggroom history`: what a batch, or one egg of it, lived through, as text, values, a table, a page and a calendar. Reads arguments,
asks, prints."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from monitor.adapters.store.history import SqliteHistory
from monitor.analysis.history.chart import Chart
from monitor.analysis.history.egg import with_egg
from monitor.analysis.history.ended import ended_of
from monitor.cli.frame import (
    DONE,
    PROGRAM,
    Failed,
    Parsers,
    Wrong,
    check_files,
    columns,
    command,
    complain,
    json_text,
    show,
    show_or_written,
    write_file,
)
from monitor.cli.record import Looked, Reported, add_archive_option, looked_at, profile_of
from monitor.cli.typed import typed_whole
from monitor.domain.eggs.book import knows, outcome
from monitor.domain.eggs.hatching import store_delay_h
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Profile
from monitor.domain.published.exposure import EXPOSURES
from monitor.domain.readings.reading import to_ms
from monitor.service.across.beside import Beside as Others
from monitor.service.ports import StoreFailure
from monitor.service.reports.batch import NoRecord, batch_charts, batch_history, batch_lines
from monitor.service.reports.egg import egg_life
from monitor.service.reports.facts import rang_of
from monitor.service.reports.turning import turned, turns_by_day, turns_of
from monitor.shown.calendar import Due, looks_of, to_ics
from monitor.shown.history.brief import brief_text
from monitor.shown.history.ended import EggsPart
from monitor.shown.history.exposures import exposure_text, exposure_view
from monitor.shown.history.files import to_csv, to_json
from monitor.shown.history.report import Beside, Header, to_html, to_text


@fixed(kw_only=True)
class History(Reported):
    """history"""

    egg: int | None
    csv: Path | None
    html: Path | None
    ics: Path | None
    exposures: bool
    full: bool
    good: bool
    sure: bool


def add(parsers: Parsers) -> None:
    """Say what `history` takes."""
    history = command(parsers["history"], _history, History)
    history.add_argument("batch", nargs="?", default=None)
    help_ = "of one egg: up to its own end, with what its book says"
    history.add_argument("--egg", type=typed_whole, default=None, metavar="N", help=help_)
    history.add_argument(
        "--csv", type=Path, default=None, metavar="FILE", help="the figures for a spreadsheet; - is standard output"
    )
    help_ = "a page with drawings, to read and to print"
    history.add_argument("--html", type=Path, default=None, metavar="FILE", help=help_)
    history.add_argument("--ics", type=Path, default=None, metavar="FILE", help="what is due, for a calendar")
    help_ = "what was published of eggs in too hot or too cold air, for this species"
    history.add_argument("--exposures", action="store_true", help=help_)
    help_ = "on the page, where your batches that went well lay on the same days"
    history.add_argument("--good", action="store_true", help=help_)
    help_ = "all of it: every figure, the largest stays off target, what was done"
    history.add_argument("--full", action="store_true", help=help_)
    history.add_argument("--sure", action="store_true", help="write over a file that is there")
    add_archive_option(history)


def _history(options: History) -> int:
    check_files((options.csv, options.html, options.ics), json_wanted=options.json, sure=options.sure)
    if options.good and (options.html is None or options.archive is not None):
        raise Wrong("history: --good, expected it with --html and without --archive, which has one batch")
    try:
        with looked_at(options) as looked:
            batch, profile = looked.batch, profile_of(looked.site, looked.batch)
            if options.egg is not None and not knows(looked.history.book(batch), options.egg):
                raise Wrong(f"batch {batch.id}: egg {options.egg}, expected {batch.numbers_words}")
            if options.ics is not None:
                _calendar(options, looked, profile)
            if options.exposures:
                return _exposures(options, profile, looked.site.unit)
            return _report(options, looked)
    except NoRecord as error:
        if options.ics is not None and options.csv is None and options.html is None and not options.json:
            # what is due is known before there is any air
            return show_or_written(options.json, [options.ics], data=None, text=str)
        raise Failed(str(error)) from error
    except StoreFailure as error:
        raise Failed(str(error)) from error


def _report(options: History, looked: Looked) -> int:
    """Write and print the figures. Raises NoRecord where there are none yet."""
    site, batch, now = looked.site, looked.batch, looked.now
    book = looked.history.book(batch)
    header = Header.of(batch, ended=ended_of(book, now))
    if options.egg is not None:
        life = egg_life(looked.history, site, batch, egg=options.egg, now=now)
        batch, now, header = life.batch, life.until, Header.of(batch, life.part)
    if options.html is not None:
        figures, charts = batch_charts(looked.history, site, batch, now=now)
    else:
        figures, charts = batch_history(looked.history, site, batch, now=now), ()
    if header.egg is not None:
        figures = with_egg(figures, header.egg)
    if options.csv is not None:
        write_file(options.csv, to_csv(figures, header))
    if options.html is not None:
        beside = _beside(looked, header, charts, batch=batch, now=now, good=options.good)
        write_file(options.html, to_html(figures, charts, header, zone=site.zone, unit=site.unit, beside=beside))
    data, told = to_json(figures, header), to_text if options.full else brief_text
    files = (options.ics, options.csv, options.html)
    asked = not options.json and all(file is None for file in files)
    text = told(figures, header, zone=site.zone, unit=site.unit, columns=columns()).rstrip() if asked else ""
    if header.egg is None:  # an archive brings the figures of the batch only
        _tell_other_figures(looked, data)
    return show_or_written(options.json, files, data=data, text=lambda: text)


def _beside(
    looked: Looked, header: Header, charts: Sequence[Chart], *, batch: Batch, now: datetime, good: bool
) -> Beside:
    """Each sensor's own line, turns, alarms, of a batch's page its eggs; good: and the batches that went well, which an archive has not."""
    history, site = looked.history, looked.site
    lives = []
    if good and isinstance(history, SqliteHistory):
        lives = Others(history, site, looked.now, frozenset()).lives(looked.batch)
    rang = tuple(rang_of(history, site, looked.batch, now=looked.now, until_ms=charts[0].until_ms))
    there = [(each.stretches, to_ms(each.batch.set_at)) for each in lives if each.stretches]
    probes, ribbons = batch_lines(history, site, batch, charts=charts, now=now, good=there)
    book = history.book(batch)
    turns = turns_by_day(turns_of(history, site, book, now=now), batch)
    if header.ended is None:
        return Beside(probes, ribbons, turns, rang)
    eggs = EggsPart(book, header.ended, turned(history, site, book, now=now))
    return Beside(probes, ribbons, turns, rang, eggs)


def _tell_other_figures(looked: Looked, data: object) -> None:
    """Say in a line where the figures, worked out anew, are not those that the archive brings: another version counts otherwise."""
    if looked.kept and json_text(data) + "\n" != looked.kept["history.json"]:
        complain(
            f"these figures are by {PROGRAM}; those of the archive, by {looked.program}, differ (history.json in it)",
            DONE,
        )


def _calendar(options: History, looked: Looked, profile: Profile) -> None:
    """Write what is due: for a batch; for an egg also what is to be looked at again. Raises Failed for an egg that has ended."""
    batch = looked.batch
    more: Sequence[Due] = []
    if options.ics is None:
        return
    if options.egg is not None:
        book = looked.history.book(batch)
        end = outcome(book, options.egg)
        if end is not None and end.at <= looked.now:
            raise Failed(
                f"batch {batch.id}: egg {options.egg}: {end.word}, so nothing is due, expected it without --ics"
            )
        more = looks_of(book, options.egg)
    store_h = store_delay_h(looked.history.book(batch))
    write_file(options.ics, to_ics(batch, profile, site_id=looked.site.id, now=looked.now, more=more, store_h=store_h))


def _exposures(options: History, profile: Profile, unit: str) -> int:
    if options.csv is not None or options.html is not None:
        raise Wrong("history: --exposures is a table of its own, expected it without --csv and --html")
    if options.egg is not None:
        raise Wrong("history: --exposures is of a species, expected it without --egg")
    views = [exposure_view(each, profile.days) for each in EXPOSURES]
    return show(options.json, views, exposure_text(profile.name, profile.days, unit, columns=columns()))
