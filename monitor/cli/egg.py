"""`eggroom egg ...`: what a breeder writes about eggs, and what their weighings say. Reads arguments, asks, prints."""

from __future__ import annotations

import argparse
import contextlib
import getpass
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from monitor.cli import main as cli
from monitor.cli.archive import add_archive_option, looked_at
from monitor.cli.main import Failed, Wrong
from monitor.cli.typed import (
    names_eggs,
    typed_amount,
    typed_egg,
    typed_eggs,
    typed_finding,
    typed_number,
    typed_span_s,
    typed_table,
    typed_whole,
    typed_word,
)

LIST = "list"
_SIGNS = ("draw-down", "internal-pip", "external-pip")
_FOUND = ("clear", "fertile", "alive", "early-dead", "dead", "cracked", "not-sure")
_ENDS = ("hatched", "dead", "removed")
_STAGES = ("early", "middle", "late", "internal-pip", "external-pip", "after-hatch")
_WHY = ("clear", "broken", "rotten", "given-away", "other")
# What can change where an egg's loss leads: only after these is that worked out anew, which reads the batch's whole record.
_BEARS = ("weighing", "size", "candling", "sign", "hatched", "dead", "removed", "withdrawn")


class AnyOrder(cli._Parser):
    """Takes words and options in any order: `egg weigh hen-1 --tray A --count 40 2310.5`."""

    _inside = False

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        if self._inside:
            return super().parse_known_args(args, namespace)
        self._inside = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._inside = False


def add_egg_commands(commands: Any) -> None:
    """Add `egg` and its verbs to the command line."""
    egg = commands.add_parser("egg", help="weigh, candle and follow eggs; what they lose, and what would mend it")
    verbs = egg.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=AnyOrder)
    weigh = _verb(verbs, "weigh", _weigh, "write down a mass, in grams", "[EGG] [GRAMS]")
    weigh.add_argument("--tray", default="", metavar="NAME", help="the eggs on this tray, weighed together")
    weigh.add_argument("--count", type=typed_whole, default=None, metavar="N", help="how many eggs lie on the scale")
    weigh.add_argument(
        "--csv", type=Path, default=None, metavar="FILE", help="a table with the columns egg,mass_g[,at]"
    )
    weigh.add_argument("--tare", type=typed_amount, default=0.0, metavar="G", help="the empty tray, grams")
    weigh.add_argument(
        "--error", type=typed_amount, default=None, metavar="G", help="the scale's own error (1 sd), grams"
    )
    candle = _verb(verbs, "candle", _candle, "what was seen against the light", f"[EGGS] {'|'.join(_FOUND)}")
    event = _verb(verbs, "event", _event, "a sign of the hatch, or that the chick was helped", f"[EGGS] {'|'.join(_SIGNS)}|helped")  # fmt: skip
    event.add_argument("--note", default="", help="how it was helped")
    outcome = _verb(verbs, "outcome", _outcome, "how it ended", f"[EGGS] {'|'.join(_ENDS)}")
    outcome.add_argument("--stage", default=None, metavar="STAGE", help=f"when it died: {', '.join(_STAGES)}")
    outcome.add_argument("--why", default="other", metavar="WHY", help=f"why it was removed: {', '.join(_WHY)}")
    help_ = "what a problem hatch shows, from the trade's list: eggroom egg finding list"
    finding = _verb(verbs, "finding", _finding, help_, "[EGGS] FINDING")
    for counted in (candle, event, outcome, finding):
        counted.add_argument(
            "--count", type=typed_whole, default=None, metavar="N", help="so many eggs without numbers"
        )
    _verb(verbs, "size", _size, "length and largest breadth, in mm", "EGG LENGTH BREADTH")
    laid = _verb(verbs, "laid", _laid, "when it was laid, or how long it was stored", "[EGGS]")
    laid.add_argument("--on", default=None, metavar="TIME", help="a date, or a date and time")
    laid.add_argument("--stored", type=typed_amount, default=None, metavar="DAYS", help="before it was set")
    _verb(verbs, "note", _note, "anything else, in your own words", "[EGGS] TEXT")
    look = _verb(verbs, "look-again", _look_again, "a message when it is time to look again", "[EGGS] [TEXT]")
    look.add_argument("--in", dest="span", default=None, metavar="TIME", help="such as 3h, 90m or 2d from now")
    look.add_argument("--when", default=None, metavar="TIME", help="a date and time")
    _verb(verbs, "correct", _correct, "put an entry right; the old one stays in the record", "ENTRY NAME=VALUE ...")
    _verb(verbs, "withdraw", _withdraw, "an entry was a mistake altogether", "ENTRY [TEXT]")
    show = cli._command(
        verbs, "show", _show, "the book of a batch, or of one egg: loss so far, where it leads, what mends it"
    )
    show.add_argument("batch", nargs="?", default=None)
    show.add_argument("egg", nargs="?", type=typed_whole, default=None)
    add_archive_option(show)


def add_split_command(verbs: Any) -> None:
    """Add `split` to the verbs of a batch."""
    split = cli._command(verbs, "split", _split, "some eggs go another way, as a batch of their own")
    split.add_argument("batch")
    split.add_argument("eggs", nargs="?", default=None, metavar="EGGS", help="such as 7, 1-6 or 1-6,9")
    split.add_argument("--count", type=typed_whole, default=None, metavar="N", help="so many eggs without numbers")
    split.add_argument("--to", dest="machine", default=None, metavar="MACHINE", help="(default: where they are)")
    split.add_argument("--stage", choices=("lockdown", "hatch"), default=None, help="declare it for these eggs")
    split.add_argument("--name", default="", metavar="NAME", help="of the new batch (default: such as hen-1-b)")
    split.add_argument("--at", default="now", metavar="TIME", help="when they went (default: now)")
    split.add_argument("--by", default="", metavar="NAME", help="who writes this (default: your account)")


def _verb(verbs: Any, name: str, act: Callable[[Any], int], help_: str, words: str) -> argparse.ArgumentParser:
    parser = cli._command(verbs, name, act, help_)
    parser.add_argument("batch", metavar="BATCH")
    parser.add_argument("words", nargs="*", metavar=words)
    parser.usage = f"{parser.prog} BATCH {words} [options]"
    parser.add_argument("--at", default="now", metavar="TIME", help="when it was so (default: now)")
    parser.add_argument("--by", default="", metavar="NAME", help="who writes this (default: your account)")
    parser.add_argument("--sure", action="store_true", help="write it although it looks like a slip of the pen")
    return parser


# --- what each verb does


def _weigh(options: Any) -> int:
    house = cli._house(options)
    if options.csv is not None:
        if options.words or options.tray or options.count is not None:
            raise Wrong("weigh: --csv, expected nothing beside it but --at, --tare, --error, --by and --sure")
        rows = typed_table(options.csv, house.site.zone)
        request = _common(options, house) | {"do": "weighings", "rows": rows}
        return _told(options, house, _asked(house, request | _scale(options), f"{options.csv}: "))
    together = options.count is not None
    if options.tray and not together:
        raise Wrong("weigh: --tray, expected --count with it: how many eggs lie on the tray")
    words = _words(options, ("GRAMS",) if together else ("EGG", "GRAMS"))
    fact = {"gross_g": typed_number(words[-1], "weigh")} | _scale(options)
    about = {"count": options.count, "tray": options.tray} if together else {"egg": typed_egg(words[0])}
    return _write(options, house, "weighing", fact, about)


def _split(options: Any) -> int:
    from monitor.domain.needs.batch import day_words
    from monitor.domain.wall import filled

    house = cli._house(options)
    if options.machine is None and options.stage is None:
        raise Wrong(
            "split: expected --to MACHINE or --stage, for eggs that go on as the others do need no batch of their own"
        )
    eggs = [] if options.eggs is None else typed_eggs(options.eggs, "split")
    request = _asking(options, house) | {
        "do": "split", "eggs": eggs, "count": options.count, "machine": options.machine, "stage": options.stage,
        "into": options.name,
    }  # fmt: skip
    answer = _asked(house, request)
    for name in (options.batch, answer["id"]):  # what each loses, and is heading for, is another matter now
        judge_anew(house, name)
    eggs_words = f"egg{'s' if answer['eggs'] > 1 else ''}"
    which = f"{eggs_words} {options.eggs}" if eggs else f"{answer['eggs']} {eggs_words}"
    text = f"batch {answer['id']}: {which} of {options.batch}, day {day_words(answer['day'])}, in {answer['machine'] or 'no machine'}"
    if options.stage is not None:
        text += f", {options.stage} declared"
    if answer["stay"] is not None:
        text += f"; {answer['stay']} {'stays' if answer['stay'] == 1 else 'stay'} in {options.batch}"
    cli._print(options, answer, f"{filled(text)}\nfrom now on write about these eggs under {answer['id']}")
    return cli.DONE


def _candle(options: Any) -> int:
    *eggs, found = _words(options, ("[EGGS]", "FOUND"))
    typed_word("candle", found, _FOUND)
    return _write(options, None, "candling", {"found": found.replace("-", " ")}, _about(options, eggs))


def _event(options: Any) -> int:
    *eggs, sign = _words(options, ("[EGGS]", "EVENT"))
    typed_word("event", sign, (*_SIGNS, "helped"))
    if sign == "helped":
        return _write(options, None, "helped", {"text": options.note}, _about(options, eggs))
    if options.note:
        raise Wrong("event: --note, expected it with helped only; for anything else see eggroom egg note")
    words = sign if sign == _SIGNS[0] else sign.replace("-", " ")
    return _write(options, None, "sign", {"sign": words}, _about(options, eggs))


def _outcome(options: Any) -> int:
    *eggs, end = _words(options, ("[EGGS]", "OUTCOME"))
    typed_word("outcome", end, _ENDS)
    fact: dict[str, Any] = {}
    if end == "dead":
        typed_word("outcome dead: --stage", options.stage, _STAGES)
        fact = {"stage": options.stage.replace("-", " ")}
    elif options.stage is not None:
        raise Wrong(f"outcome {end}: --stage, expected it with dead only")
    if end == "removed":
        typed_word("outcome removed: --why", options.why, _WHY)
        fact = {"why": options.why.replace("-", " ")}
    return _write(options, None, end, fact, _about(options, eggs))


def _finding(options: Any) -> int:
    if options.batch == LIST and not options.words:
        return _findings(options)
    *eggs, finding = _words(options, ("[EGGS]", "FINDING"))
    return _write(options, None, "finding", {"finding": typed_finding(finding)}, _about(options, eggs))


def _findings(options: Any) -> int:
    from monitor.domain.published.findings import FINDINGS

    rows = [{"id": each.id, "words": each.words} for each in FINDINGS]
    cli._print(options, rows, "\n".join(f"{each.id:<21} {each.words}" for each in FINDINGS))
    return cli.DONE


def _size(options: Any) -> int:
    egg, length, breadth = _words(options, ("EGG", "LENGTH", "BREADTH"))
    fact = {"length_mm": typed_number(length, "size"), "breadth_mm": typed_number(breadth, "size")}
    return _write(options, None, "size", fact, {"egg": typed_egg(egg)})


def _laid(options: Any) -> int:
    house, eggs = cli._house(options), _words(options, ("[EGGS]",))
    if options.on is None and options.stored is None:
        raise Wrong("laid: expected --on TIME, --stored DAYS, or both")
    on = None if options.on is None else cli._when(options.on, house.site.zone)
    return _write(options, house, "laid", {"laid_at": on, "stored_days": options.stored}, _about(options, eggs))


def _note(options: Any) -> int:
    *eggs, text = _words(options, ("[EGGS]", "TEXT"))
    if not eggs and names_eggs(text):
        raise Wrong(f"note: {text!r} and no text, expected [EGGS] TEXT, a text of several words in quotes")
    return _write(options, None, "note", {"text": text}, _about(options, eggs))


def _look_again(options: Any) -> int:
    house, words = cli._house(options), list(options.words)
    if (options.span is None) == (options.when is None):
        raise Wrong("look-again: expected either --in TIME or --when TIME")
    if len(words) > 2:
        raise Wrong(f"look-again: {' '.join(words)[:60]!r}, expected [EGGS] [TEXT], a text of several words in quotes")
    eggs = [words.pop(0)] if words and (names_eggs(words[0]) or len(words) == 2) else []
    if options.span is not None:
        at = (datetime.now(UTC) + timedelta(seconds=typed_span_s(options.span))).isoformat()
    else:
        at = cli._when(options.when, house.site.zone)
    return _write(options, house, "look-again", {"look_at": at, "text": "".join(words)}, _about(options, eggs))


def _correct(options: Any) -> int:
    if len(options.words) < 2:
        raise Wrong("correct: expected ENTRY NAME=VALUE, such as 17 gross_g=26.94")
    number, *changes = options.words
    house, entry = _entry(options, number)
    about: dict[str, Any] = {"egg": entry.egg, "count": entry.count, "tray": entry.tray, "at": entry.at.isoformat()}
    from monitor.domain.eggs.entry import plain

    fact: dict[str, Any] = dict(plain(entry.fact))
    for change in changes:
        name, equals, value = change.partition("=")
        if not equals or name not in {*about, *fact}:
            raise Wrong(f"correct: {change[:40]!r}, expected NAME=VALUE with {', '.join([*fact, *about])}")
        place = fact if name in fact else about
        if name == "at" or name.endswith("_at"):
            place[name] = cli._when(value, house.site.zone)
        elif name in ("egg", "count"):
            place[name] = typed_egg(value) if value else None
        else:
            place[name] = (
                typed_number(value, name) if name.endswith(("_g", "_mm", "_days")) and value else value or None
            )
    return _write(options, house, entry.fact.kind, fact, about | {"replaces": entry.number})


def _withdraw(options: Any) -> int:
    if not 1 <= len(options.words) <= 2:
        raise Wrong("withdraw: expected ENTRY [TEXT], a text of several words in quotes")
    house, entry = _entry(options, options.words[0])
    about = {"egg": entry.egg, "count": entry.count, "tray": entry.tray, "replaces": entry.number}
    return _write(options, house, "withdrawn", {"text": "".join(options.words[1:])}, about)


def _show(options: Any) -> int:
    from monitor.domain.eggs.book import knows
    from monitor.shown.eggs import book_text, book_view, egg_text, water_view, weighed_view

    if options.archive is not None and options.egg is None and names_eggs(options.batch or ""):
        options.batch, options.egg = None, typed_egg(options.batch)  # the archive says of which batch it is
    looked = looked_at(options)
    with contextlib.closing(looked.history):
        book, water = _book_and_water(looked.history, looked.site, looked.batch, looked.now)
    if water is None:
        raise Failed(
            f"batch {book.batch.id}: profile {book.batch.profile!r} is not among the profiles, expected its file"
        )
    egg = options.egg
    if egg is None:
        data = {"batch": book.batch.id, "entries": book_view(book), "water": water_view(water)}
        cli._print(options, data, book_text(book, water, looked.site, looked.now))
        return cli.DONE
    if not knows(book, egg):
        raise Wrong(f"batch {book.batch.id}: egg {egg}, expected {book.batch.numbers_words}")
    weighed = water.eggs.get(egg)
    data = {"batch": book.batch.id, "egg": egg, "entries": book_view(book, egg)}
    data["water"] = None if weighed is None else weighed_view(weighed)
    cli._print(options, data, egg_text(book, egg, water, looked.site))
    return cli.DONE


# --- what they share


def _write(options: Any, house: Any, kind: str, fact: Mapping[str, Any], about: Mapping[str, Any]) -> int:
    """Ask for one entry, or one of each of several eggs; print what was written, and what the weighings say now."""
    house = cli._house(options) if house is None else house
    request = _common(options, house) | {"do": "entry", "kind": kind, "fact": dict(fact)}
    return _told(options, house, _asked(house, request | dict(about)))


def _told(options: Any, house: Any, answer: Mapping[str, Any]) -> int:
    """Print what was written; where it bears on what the eggs lose, work that out, have it judged, and print it too."""
    from monitor.shown.eggs import water_view, weighed_text, written_text

    entries = answer.get("entries", [answer])
    book, water = _water(house, options.batch, only_book=not any(e["kind"] in _BEARS for e in entries))
    written = {e["number"] for e in entries}
    text = written_text(book.batch.id, [e for e in book.entries if e.number in written], house.site)
    if water is not None:
        _judge(house, book.batch, water)
        seen = [e for e in entries if e["kind"] in ("weighing", "size")]
        about = {(e["egg"], e["tray"] or "") for e in seen}
        text = "\n".join([text, *([weighed_text(about, water, house.site)] if about else [])])
    view = None if water is None else water_view(water)
    cli._print(options, {"batch": book.batch.id, "entries": entries, "water": view}, text)
    return cli.DONE


def judge_anew(house: Any, name: str) -> None:
    """Have it judged where the loss of a batch leads, after something other than a weighing has changed that."""
    book, water = _water(house, name)
    if water is not None and book.entries:
        _judge(house, book.batch, water)


def _judge(house: Any, batch: Any, water: Any) -> None:
    """Hand the daemon what the weighings say, for an alarm to begin or end."""
    if batch.closed_at is not None or water.window_pct is None:
        return
    try:
        cli._ask(house, {"do": "judge-weight", "batch": batch.id, "off": water.off, "about": water.about})
    except (Wrong, Failed) as error:
        raise Failed(f"it is written, but whether the loss is off track was not judged: {error}") from error


def _water(house: Any, name: str, only_book: bool = False) -> tuple[Any, Any]:
    """(book, water) of a batch; the water only where it is asked for and the batch's species is known."""
    batch = cli._one_batch(house, name)
    with contextlib.closing(cli._history_of(house)) as history:
        return _book_and_water(history, house.site, batch, datetime.now(UTC), only_book)


def _book_and_water(history: Any, site: Any, batch: Any, now: datetime, only_book: bool = False) -> tuple[Any, Any]:
    from monitor.service.ports import StoreFailure
    from monitor.service.reports.water import water_of
    from monitor.service.reports.weighed import NoWater

    try:
        book = history.book(batch)
        return book, None if only_book else water_of(history, site, book, now)
    except NoWater:
        return book, None
    except StoreFailure as error:
        raise Failed(str(error)) from error


def _asked(house: Any, request: Mapping[str, Any], where: str = "") -> dict[str, Any]:
    """The answer; each line of a no begins with `where`."""
    try:
        return cli._ask(house, request)
    except Wrong as error:
        raise Wrong("\n".join(f"{where}{line}" for line in str(error).splitlines())) from error


def _common(options: Any, house: Any) -> dict[str, Any]:
    return _asking(options, house) | {"sure": options.sure}


def _asking(options: Any, house: Any) -> dict[str, Any]:
    request: dict[str, Any] = {"batch": options.batch, "by": options.by or _account()}
    if options.at != "now":  # the daemon's own now lies a moment later than ours, or on another clock
        request["at"] = cli._when(options.at, house.site.zone)
    return request


def _account() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # an account without a name, as in a container
        return "?"


def _scale(options: Any) -> dict[str, Any]:
    return {"tare_g": options.tare, "error_g": options.error}


def _entry(options: Any, number: str) -> tuple[Any, Any]:
    """(house, the entry of that number)."""
    house = cli._house(options)
    book, _ = _water(house, options.batch, only_book=True)
    found = next((e for e in book.entries if str(e.number) == number), None)
    if found is None:
        last = book.entries[-1].number if book.entries else 0
        expected = f"1 to {last}; see eggroom egg show {options.batch}" if last else "none, for nothing is written yet"
        raise Wrong(f"batch {options.batch}: entry {number[:40]!r}, expected {expected}")
    return house, found


def _words(options: Any, names: tuple[str, ...]) -> list[str]:
    """The words of a verb; those whose names stand in brackets may be missing."""
    words, least = list(options.words), sum(not name.startswith("[") for name in names)
    if not least <= len(words) <= len(names):
        came = " ".join(words)[:60] or "nothing"
        raise Wrong(f"{options.verb}: {came!r}, expected {' '.join(names)}, a text of several words in quotes")
    return words


def _about(options: Any, eggs: Sequence[str]) -> dict[str, Any]:
    """Whom it is about: eggs by number, so many without numbers, or (neither) the batch."""
    count = getattr(options, "count", None)
    if not eggs:
        return {"count": count}
    if count is not None:
        raise Wrong(f"{options.verb}: eggs {eggs[0][:40]!r} and --count, expected one of them")
    numbers = typed_eggs(eggs[0], options.verb)
    return {"egg": numbers[0]} if len(numbers) == 1 else {"eggs": numbers}
