"""`eggroom egg ...`: what a breeder writes about eggs (see `written`), and their book. Reads arguments, asks, prints."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from monitor.cli.egg import chicks, files, identity, sheet, shell
from monitor.cli.egg import written as write
from monitor.cli.egg.given import (
    DONE,
    ENDS,
    FOUND,
    SEEN,
    STAGES,
    WHY,
    Attach,
    Cell,
    Counted,
    Event,
    Identify,
    Laid,
    LookAgain,
    Outcome,
    Raise,
    Save,
    Turn,
    Weigh,
    Written,
)
from monitor.cli.frame import (
    AnyOrder,
    Failed,
    Parser,
    Parsers,
    Verbs,
    Wrong,
    check_files,
    columns,
    show_or_written,
    write_file,
)
from monitor.cli.record import Reported, add_archive_option, book_and_water, grown, house_of, looked_at, turns
from monitor.cli.typed import add_by, names_eggs, typed_amount, typed_egg, typed_grams, typed_whole
from monitor.cli.watching import show_watched, unwatched
from monitor.domain.eggs.book import EggBook, knows
from monitor.domain.fixed import fixed
from monitor.shown.book import book_csv
from monitor.shown.eggs import (
    book_text,
    book_view,
    chicks_view,
    egg_text,
    raised_view,
    turned_view,
    water_view,
    weighed_view,
    who_view,
)

W = TypeVar("W", bound=Written)


@fixed(kw_only=True)
class Show(Reported):
    """egg show"""

    egg: int | None
    csv: Path | None
    sure: bool


def add(parsers: Parsers) -> None:
    """Say what `egg` and its verbs take."""
    verbs = Verbs(parsers["egg"], AnyOrder)
    weigh = _verb(verbs, "weigh", write.weigh, kind=Weigh, about="write down a mass, in grams", words="[EGG] [GRAMS]")
    weigh.add_argument("--tray", default="", metavar="NAME", help="the eggs on this tray, weighed together")
    help_ = "how many eggs lie on the scale"
    weigh.add_argument("--count", type=typed_whole, default=None, metavar="N", help=help_)
    help_ = "a table with the columns egg,mass_g[,at]"
    weigh.add_argument("--csv", type=Path, default=None, metavar="FILE", help=help_)
    weigh.add_argument("--tare", type=typed_grams, default=0.0, metavar="G", help="the empty tray, grams")
    help_ = "the scale's own error (1 sd), grams"
    weigh.add_argument("--error", type=typed_grams, default=None, metavar="G", help=help_)
    help_ = "the scale, of those in the configuration (default: the first)"
    weigh.add_argument("--scale", default=None, metavar="ID", help=help_)
    candle = _verb(
        verbs,
        "candle",
        write.candle,
        kind=Counted,
        about="what was seen against the light",
        words=f"[EGGS] {'|'.join(FOUND)}",
    )
    help_ = "a sign of the hatch, that the chick was assisted, or a crack sealed"
    event = _verb(verbs, "event", write.event, kind=Event, about=help_, words=f"[EGGS] {'|'.join((*SEEN, *DONE))}")
    event.add_argument("--note", default="", help="how it was assisted, or sealed")
    outcome = _verb(
        verbs, "outcome", write.outcome, kind=Outcome, about="how it ended", words=f"[EGGS] {'|'.join(ENDS)}"
    )
    outcome.add_argument("--stage", default=None, metavar="STAGE", help=f"when it died: {', '.join(STAGES)}")
    outcome.add_argument(
        "--why", default=None, metavar="WHY", help=f"why it was removed: {', '.join(WHY)} (default: other)"
    )
    help_ = "what a problem hatch shows, from the trade's list: eggroom egg finding list"
    finding = _verb(verbs, "finding", write.finding, kind=Counted, about=help_, words="[EGGS] FINDING")
    help_ = "so many eggs without numbers"
    for counted in (candle, event, outcome, finding):
        counted.add_argument("--count", type=typed_whole, default=None, metavar="N", help=help_)
    _verb(
        verbs, "size", write.size, kind=Written, about="length and largest breadth, in mm", words="EGG LENGTH BREADTH"
    )
    laid = _verb(
        verbs, "laid", write.laid, kind=Laid, about="when it was laid, or how long it was stored", words="[EGGS]"
    )
    laid.add_argument("--on", default=None, metavar="TIME", help="a date, or a date and time")
    laid.add_argument("--stored", type=typed_amount, default=None, metavar="DAYS", help="before it was set")
    help_ = "who the eggs are: pair, clutch, label, tray, ring; each option says one thing"
    who = _verb(verbs, "identity", identity.identity, kind=Identify, about=help_, words="[EGGS]")
    for name, metavar, about in (
        ("pair", "NAME", "the pair that laid it, or --cock and --hen"),
        ("cock", "NAME", "the father"),
        ("hen", "NAME", "the mother"),
        ("clutch", "NAME", "which of their clutches, such as 2"),
        ("label", "TEXT", "your own, as it stands on the shell or on a card"),
        ("under-bird-until", "TIME", "when it was taken from under the bird that sat on it"),
        ("tray", "NAME", "the tray that it lies on"),
        ("place", "TEXT", "where on it"),
        ("ring", "TEXT", "the ring of its chick"),
    ):
        who.add_argument(f"--{name}", default=None, metavar=metavar, help=about)
    help_ = "a table: egg and any of these, laid, stored_days, length_mm, breadth_mm, mass_g, at"
    who.add_argument("--csv", type=Path, default=None, metavar="FILE", help=help_)
    help_ = "how far the edge of the air cell lies from the blunt end, in mm; NEAR and FAR where it slants"
    cell = _verb(verbs, "air-cell", shell.air_cell, kind=Cell, about=help_, words="EGG NEAR [FAR]")
    cell.add_argument("--across", default=None, metavar="MM", help="how wide it is")
    help_ = "a table with the columns egg,near_mm[,far_mm,across_mm,at]"
    cell.add_argument("--csv", type=Path, default=None, metavar="FILE", help=help_)
    help_ = "how often they were turned in the last day, or that they are turned no more"
    turn = _verb(verbs, "turned", shell.turned, kind=Turn, about=help_, words="[EGGS] TIMES|stopped")
    turn.add_argument("--over", default=None, metavar="TIME", help="in how long, such as 12h (default: 24h)")
    turn.add_argument("--note", default="", help="why they are turned no more")
    help_ = "a photograph, or any other file, beside an entry, an egg or the batch"
    attached = _verb(verbs, "file", files.attach, kind=Attach, about=help_, words="[EGG] FILE [TEXT]")
    attached.add_argument("--entry", type=typed_whole, default=None, metavar="N", help="the entry that it belongs to")
    saved = verbs.command("save", files.save, Save, about="a file that an entry keeps, into a file again")
    saved.add_argument("batch", nargs="?", default=None)
    saved.add_argument("entry", type=typed_whole)
    saved.add_argument("file", type=Path)
    saved.add_argument("--sure", action="store_true", help="write over a file that is there")
    add_archive_option(saved)
    help_ = "what came out of it: its mass by day, its brooder, and that it is signed off"
    chick = _verb(verbs, "chick", chicks.chick, kind=Raise, about=help_, words="[EGGS] [GRAMS]")
    chick.add_argument("--brooder", default=None, metavar="MACHINE", help="it is in this machine from now on")
    help_ = "it needs its brooder no more; where it went"
    chick.add_argument("--signed-off", nargs="?", const="", default=None, metavar="TEXT", help=help_)
    chick.add_argument("--scale", default=None, metavar="ID", help="as with weigh")
    chick.add_argument("--error", type=typed_grams, default=None, metavar="G", help="as with weigh")
    help_ = "a table with the columns egg,mass_g[,at]"
    chick.add_argument("--csv", type=Path, default=None, metavar="FILE", help=help_)
    _verb(verbs, "note", write.note, kind=Written, about="anything else, in your own words", words="[EGGS] TEXT")
    help_ = "a message when it is time to look again"
    look = _verb(verbs, "look-again", write.look_again, kind=LookAgain, about=help_, words="[EGGS] [TEXT]")
    look.add_argument("--in", dest="span", default=None, metavar="TIME", help="such as 3h, 90m or 2d from now")
    look.add_argument("--when", default=None, metavar="TIME", help="a date and time")
    help_ = "put an entry right; the old one stays in the record"
    _verb(verbs, "correct", write.correct, kind=Written, about=help_, words="ENTRY NAME=VALUE ...")
    _verb(
        verbs, "withdraw", write.withdraw, kind=Written, about="an entry was a mistake altogether", words="ENTRY [TEXT]"
    )
    _verb(verbs, "undo", write.undo, kind=Written, about="take back what was written last", words="")
    sheeted = verbs.command(
        "sheet", sheet.sheet, sheet.Sheeted, about="the sheet of one egg: what became of it, and how sure that is"
    )
    sheeted.set_defaults(archive=None)  # which brings no alarms and no other batches along
    sheeted.add_argument("batch")
    sheeted.add_argument("egg", type=typed_whole)
    sheeted.add_argument(
        "--html",
        type=Path,
        default=None,
        metavar="FILE",
        help="a page with its life on one drawing, to read and to print",
    )
    sheeted.add_argument("--sure", action="store_true", help="write over a file that is there")
    help_ = "the book of a batch, or of one egg: loss so far, where it leads, what mends it"
    shown = verbs.command("show", _show, Show, about=help_)
    shown.add_argument("batch", nargs="?", default=None)
    shown.add_argument("egg", nargs="?", type=typed_whole, default=None)
    shown.add_argument("--csv", type=Path, default=None, metavar="FILE", help="each entry as a line of a table")
    shown.add_argument("--sure", action="store_true", help="write over a file that is there")
    add_archive_option(shown)


def _verb(verbs: Verbs, name: str, act: Callable[[W], int], *, kind: type[W], about: str, words: str) -> Parser:
    parser = verbs.command(name, act, kind, about=about)
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument("words", nargs="*", metavar=words)
    parser.usage = f"{parser.prog} BATCH {words} [options]"
    parser.add_argument("--at", default="now", metavar="TIME", help="when it was so (default: now)")
    add_by(parser)
    parser.add_argument("--sure", action="store_true", help="write it although it looks like a slip of the pen")
    return parser


def _show(options: Show) -> int:
    if options.archive is not None and options.egg is None and names_eggs(options.batch or ""):
        # the archive says of which batch it is
        options = replace(options, batch=None, egg=typed_egg(options.batch or ""))
    check_files((options.csv,), json_wanted=options.json, sure=options.sure)
    with looked_at(options) as looked:
        book, water = book_and_water(looked, only_book=options.csv is not None)
        turned = None if water is None else turns(looked, book, options.egg)
        raised = None if water is None or options.egg is None else grown(looked, book, options.egg)
    if options.csv is not None:
        _check_egg(book, options.egg)
        write_file(options.csv, book_csv(book, looked.site.zone, options.egg))
        return show_or_written(
            options.json,
            [options.csv],
            data={"batch": book.batch.id, "entries": book_view(book, options.egg)},
            text=str,
        )
    watched = options.archive is not None or book.batch.closed_at is not None  # nothing is left to watch
    nobody = "" if watched else unwatched(house_of(options.config), looked.now)
    if water is None:
        raise Failed(
            f"batch {book.batch.id}: profile {book.batch.profile!r} is not among the profiles, expected its file"
        )
    egg = options.egg
    if egg is None:
        data: dict[str, object] = {
            "batch": book.batch.id,
            "entries": book_view(book),
            "water": water_view(water, looked.site),
            **who_view(book),
            **chicks_view(book),
            **turned_view(turned),
        }
        told = book_text(book, water, looked.site, now=looked.now, turned=turned, columns=columns())
        return show_watched(options.json, data, told, unwatched=nobody)
    _check_egg(book, egg)
    weighed = water.eggs.get(egg)
    data = {
        "batch": book.batch.id,
        "egg": egg,
        "entries": book_view(book, egg),
        **who_view(book, egg),
        **raised_view(raised),
        **turned_view(turned),
    }
    data["water"] = None if weighed is None else weighed_view(weighed)
    return show_watched(
        options.json,
        data,
        egg_text(book, egg, water, site=looked.site, raised=raised, turned=turned, columns=columns()),
        unwatched=nobody,
    )


def _check_egg(book: EggBook, egg: int | None) -> None:
    """Raises Wrong for an egg that the batch never had."""
    if egg is not None and not knows(book, egg):
        raise Wrong(f"batch {book.batch.id}: egg {egg}, expected {book.batch.numbers_words}")
