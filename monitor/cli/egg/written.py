"""The verbs of `eggroom egg` that write: each reads its words, asks for an entry, and prints what was written and what it says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import timedelta
from pathlib import Path

from monitor.cli.egg.given import (
    DONE,
    ENDS,
    FOUND,
    MEANT,
    MEANT_STAGE,
    MEANT_WHY,
    SEEN,
    STAGES,
    WHY,
    ZIP,
    Counted,
    Event,
    Laid,
    LookAgain,
    Outcome,
    Weigh,
    Written,
)
from monitor.cli.egg.table import EGG, read_table, refuse
from monitor.cli.frame import Failed, Wrong, at_terminal, columns, show, tell, typed_at_terminal
from monitor.cli.record import Answer, ask, house_of, weighed_now
from monitor.cli.typed import (
    names_eggs,
    typed_by,
    typed_digit,
    typed_egg,
    typed_eggs,
    typed_finding,
    typed_mm,
    typed_number,
    typed_past,
    typed_span_s,
    typed_table,
    typed_when,
    typed_word,
)
from monitor.domain.eggs.book import EggBook, of_egg
from monitor.domain.eggs.entry import EXTERNAL_PIP, Entry, Weighing, plain
from monitor.domain.eggs.hatching import still_in
from monitor.domain.eggs.undo import Undoing, last_writing
from monitor.domain.published.findings import FINDINGS
from monitor.domain.wall import filled
from monitor.settings import House
from monitor.shown.eggs import signs_lines, undone_text, verdict_text, water_view, weighed_text, written_text
from monitor.shown.entries import eggs_words

Facts = Callable[[Mapping[str, str]], Iterable[tuple[str, Mapping[str, object]]]]
LIST = "list"
UNDONE = "undone"
# At the scale, in a session.
BACK, END = ("<", "back"), (".", "q", "quit", "end")
KEYS = "< goes back to put one right, . ends"
KINDS = {"assisted": "helped"}  # as the record has it
# What can change where an egg's loss leads: only after these is that shown, which reads the batch's whole record.
_BEARS = ("weighing", "size", "candling", "sign", "sealed", "hatched", "dead", "removed", "withdrawn")


def weigh(options: Weigh) -> int:
    """A mass, of one egg, of some together, or of each in a table."""
    house = house_of(options.config)
    if options.csv is not None:
        if options.words or options.tray or options.count is not None:
            raise Wrong("weigh: --csv, expected nothing beside it but --at, --tare, --error, --scale, --by and --sure")
        rows, digit_g = typed_table(options.csv, house.site.zone, options.utc)
        request = _common(options, house) | {"do": "weighings", "rows": rows, "digit_g": digit_g}
        return _told(options, house, _asked(house, request | _scale(options), f"{options.csv}: "))
    together = options.count is not None
    if not (options.words or options.tray or together) and at_terminal():
        return _session(options, house)
    if options.tray and not together:
        raise Wrong("weigh: --tray, expected --count with it: how many eggs lie on the tray")
    words = words_of(options, ("GRAMS",) if together else ("EGG", "GRAMS"))
    fact = {"gross_g": _grams(words[-1], "weigh"), "digit_g": typed_digit(words[-1])} | _scale(options)
    about = {"count": options.count, "tray": options.tray} if together else {"egg": typed_egg(words[0])}
    return write_one(options, "weighing", fact=fact, about=about, house=house)


def _session(options: Weigh, house: House) -> int:
    """Each egg that is still in, asked for one after the other, as one stands at the scale; each is written at once. An egg that one goes back
    to is put right: what is typed then stands in place of what was. Raises Wrong."""
    book, _ = weighed_now(house, options.batch, options.utc, only_book=True)
    eggs, _ = still_in(book)
    if not eggs:
        raise Wrong(f"weigh: which eggs of {options.batch} are still in is not known by number, expected EGG GRAMS")
    tell(f"{options.batch}, {eggs_words(len(eggs))}: grams and Enter. Enter alone leaves an egg out, {KEYS}.")
    written: dict[int, Answer] = {}  # by egg, in the order in which they were first weighed
    place = 0
    while place < len(eggs):
        egg = eggs[place]
        before = _last_g(book, egg) if egg not in written else f" (now {_typed_g(written[egg])})"
        typed = typed_at_terminal(f"egg {egg}{before}: ")
        if typed is None or typed.lower() in END:
            break
        if typed.lower() in BACK:
            place = max(0, place - 1)
            continue
        try:
            if typed:
                fact = {"gross_g": _grams(typed, f"egg {egg}", KEYS), "digit_g": typed_digit(typed)} | _scale(options)
                again = {"replaces": written[egg]["number"]} if egg in written else {}
                request = {"do": "entry", "kind": "weighing", "fact": fact, "egg": egg, **again}
                written[egg] = _asked(house, _common(options, house) | request, said_so=bool(written))
        except (Wrong, Failed) as error:  # said, and asked again
            tell(str(error))
            continue
        place += 1
    if not written:
        return show(options.json, {"batch": options.batch, "entries": [], "water": None}, "nothing was written")
    return _told(options, house, {"entries": [*written.values()]})


def _typed_g(answer: Answer) -> str:
    """`58.40 g` of a weighing just written, less the tray, as it is told afterwards."""
    fact = answer["fact"]
    return f"{fact['gross_g'] - fact['tare_g']:.2f} g"


def _last_g(book: EggBook, egg: int) -> str:
    """` (last 58.42 g)`, to see a slip by."""
    weighed = [e for e in of_egg(book, egg) if isinstance(e.fact, Weighing)]
    return f" (last {weighed[-1].each_g()[0]:.2f} g)" if weighed else ""


def undo(options: Written) -> int:
    """What was written last about the batch, taken back: of several eggs at once all of it; then what was written before that."""
    if options.words:
        raise Wrong(f"undo: {' '.join(options.words)[:60]!r}, expected BATCH alone; see also eggroom egg withdraw")
    house = house_of(options.config)
    book, _ = weighed_now(house, options.batch, options.utc, only_book=True)
    last = last_writing(book)
    if not last:
        raise Wrong(f"batch {options.batch}: nothing is written that stands, expected an entry to undo")
    written = [
        _asked(house, _common(options, house) | {"do": "entry"} | _undoing(each), said_so=each is not last[0])
        for each in last
    ]
    after, _ = weighed_now(house, options.batch, options.utc, only_book=True)
    data = {"batch": options.batch, "entries": written}
    return show(options.json, data, undone_text(last, after, house.site))


def _undoing(undoing: Undoing) -> dict[str, object]:
    """What is written to undo an entry: of a correction what stood before it, of any other that it is withdrawn."""
    entry, before = undoing.stands, undoing.again
    if before is None:
        about = {"egg": entry.egg, "count": entry.count, "tray": entry.tray, "replaces": entry.number}
        return {"kind": "withdrawn", "fact": {"text": UNDONE}, **about}
    about = {"egg": before.egg, "count": before.count, "tray": before.tray, "replaces": entry.number}
    return {"kind": before.fact.kind, "fact": plain(before.fact), "at": before.at.isoformat(), "sure": True, **about}


def candle(options: Counted) -> int:
    """What was seen against the light."""
    *eggs, found = words_of(options, ("[EGGS]", "FOUND"))
    found = typed_word("candle", _meant(options, found), FOUND, understood=MEANT["candle"])
    return write_one(
        options, "candling", fact={"found": found.replace("-", " ")}, about=about_of(options, eggs, options.count)
    )


def event(options: Event) -> int:
    """A sign of the hatch, help, or a crack that was sealed."""
    *eggs, sign = words_of(options, ("[EGGS]", "EVENT"))
    zipped = sign.lower() == ZIP
    sign = (
        EXTERNAL_PIP
        if zipped
        else typed_word("event", _meant(options, sign), (*SEEN, *DONE), understood=(*MEANT["event"], ZIP))
    )
    if sign in DONE:
        return write_one(
            options, KINDS.get(sign, sign), fact={"text": options.note}, about=about_of(options, eggs, options.count)
        )
    if options.note:
        raise Wrong("event: --note, expected it with assisted or sealed only; for anything else see eggroom egg note")
    if zipped:
        return _zipped(options, eggs)
    words = sign if sign == SEEN[0] else sign.replace("-", " ")
    return write_one(options, "sign", fact={"sign": words}, about=about_of(options, eggs, options.count))


def _zipped(options: Event, eggs: Sequence[str]) -> int:
    """It was seen to cut round its shell: kept in that word. Such a chick has pipped, so that is written too where it is not."""
    house, about = house_of(options.config), about_of(options, eggs, options.count)
    text = ZIP if options.count is None else f"{ZIP}: {eggs_words(options.count)}"
    numbers = [about["egg"]] if "egg" in about else about.get("eggs")
    request = {"do": "beyond-pip", "text": text, "eggs": numbers, "count": options.count}
    return _told(options, house, _asked(house, _common(options, house) | request))


def outcome(options: Outcome) -> int:
    """How it ended."""
    *eggs, word = words_of(options, ("[EGGS]", "OUTCOME"))
    if word.lower() in DONE:
        raise Wrong(
            f"outcome: {word!r} is no end, expected it as an event: eggroom egg event {options.batch} EGG {word}"
        )
    end = typed_word("outcome", _meant(options, word), ENDS, understood=MEANT["outcome"])
    fact: dict[str, object] = {}
    if end == "dead":
        fact = {
            "stage": typed_word(
                f"outcome {word.lower()}: --stage", options.stage or MEANT_STAGE.get(word.lower()), STAGES
            ).replace("-", " ")
        }
    elif options.stage is not None:
        raise Wrong(f"outcome {end}: --stage, expected it with dead only")
    if end == "removed":
        meant = MEANT_WHY.get(word.lower())
        if meant is not None and options.why not in (None, meant):
            raise Wrong(f"outcome {word.lower()}: --why {options.why!r}, expected none: the word says {meant}")
        why = meant or options.why or "other"
        fact = {"why": typed_word("outcome removed: --why", why, WHY).replace("-", " ")}
    return write_one(options, end, fact=fact, about=about_of(options, eggs, options.count))


def finding(options: Counted) -> int:
    """What a problem hatch shows; or the list of all of it."""
    if options.batch == LIST and not options.words:
        return _findings(options)
    *eggs, found = words_of(options, ("[EGGS]", "FINDING"))
    return write_one(
        options, "finding", fact={"finding": typed_finding(found)}, about=about_of(options, eggs, options.count)
    )


def _findings(options: Counted) -> int:
    rows = [{"id": each.id, "words": each.words} for each in FINDINGS]
    return show(options.json, rows, "\n".join(f"{each.id:<21} {each.words}" for each in FINDINGS))


def size(options: Written) -> int:
    """Length and breadth."""
    egg, length, breadth = words_of(options, ("EGG", "LENGTH", "BREADTH"))
    fact = {"length_mm": typed_mm(length, "size"), "breadth_mm": typed_mm(breadth, "size")}
    return write_one(options, "size", fact=fact, about={"egg": typed_egg(egg)})


def laid(options: Laid) -> int:
    """When it was laid, or how long it was stored."""
    house, eggs = house_of(options.config), words_of(options, ("[EGGS]",))
    if options.on is None and options.stored is None:
        raise Wrong("laid: expected --on TIME, --stored DAYS, or both")
    on = None if options.on is None else typed_when(options.on, house.site.zone, options.utc).isoformat()
    return write_one(
        options, "laid", fact={"laid_at": on, "stored_days": options.stored}, about=about_of(options, eggs), house=house
    )


def note(options: Written) -> int:
    """Anything else."""
    *eggs, text = words_of(options, ("[EGGS]", "TEXT"))
    if not eggs and names_eggs(text):
        raise Wrong(f"note: {text!r} and no text, expected [EGGS] TEXT, a text of several words in quotes")
    return write_one(options, "note", fact={"text": text}, about=about_of(options, eggs))


def look_again(options: LookAgain) -> int:
    """When to look again."""
    house, words = house_of(options.config), list(options.words)
    if (options.span is None) == (options.when is None):
        raise Wrong("look-again: expected either --in TIME or --when TIME")
    if len(words) > 2:
        raise Wrong(f"look-again: {' '.join(words)[:60]!r}, expected [EGGS] [TEXT], a text of several words in quotes")
    eggs = [words.pop(0)] if words and (names_eggs(words[0]) or len(words) == 2) else []
    if options.span is not None:
        at = (options.utc() + timedelta(seconds=typed_span_s(options.span))).isoformat()
    else:
        at = typed_when(options.when or "", house.site.zone, options.utc, ahead=True).isoformat()
    return write_one(
        options, "look-again", fact={"look_at": at, "text": "".join(words)}, about=about_of(options, eggs), house=house
    )


def correct(options: Written) -> int:
    """An entry put right."""
    if len(options.words) < 2:
        raise Wrong("correct: expected ENTRY NAME=VALUE, such as 17 gross_g=26.94")
    number, *changes = options.words
    house, entry = _entry(options, number)
    about: dict[str, object] = {"egg": entry.egg, "count": entry.count, "tray": entry.tray, "at": entry.at.isoformat()}
    fact: dict[str, object] = {field.name: None for field in fields(entry.fact)} | dict(plain(entry.fact))
    for change in changes:
        name, equals, value = change.partition("=")
        if not equals or name not in {*about, *fact}:
            raise Wrong(
                f"correct: {change[:40]!r}, expected NAME=VALUE with {', '.join(dict.fromkeys([*fact, *about]))}"
            )
        place = fact if name in fact else about
        if name == "at" or name.endswith("_at"):
            place[name] = typed_when(value, house.site.zone, options.utc).isoformat()
        elif not value:
            place[name] = None
        elif name in ("egg", "count"):
            place[name] = typed_egg(value)
        elif name.endswith("_mm"):
            place[name] = typed_mm(value, name)
        elif name.endswith(("_g", "_days")):
            place[name] = typed_number(value, name, unit=name.rpartition("_")[2])
        else:
            place[name] = value
    if any(change.startswith("scale=") for change in changes) and not any(c.startswith("error_g=") for c in changes):
        fact["error_g"] = None  # that of the scale now named
    typed_g = [change.partition("=")[2] for change in changes if change.startswith("gross_g=")]
    if typed_g and typed_g[-1] and not any(change.startswith("digit_g=") for change in changes):
        fact["digit_g"] = typed_digit(typed_g[-1])  # as finely as it is typed now
    return write_one(options, entry.fact.kind, fact=fact, about=about | {"replaces": entry.number}, house=house)


def withdraw(options: Written) -> int:
    """An entry that was a mistake."""
    if not 1 <= len(options.words) <= 2:
        raise Wrong("withdraw: expected ENTRY [TEXT], a text of several words in quotes")
    house, entry = _entry(options, options.words[0])
    about = {"egg": entry.egg, "count": entry.count, "tray": entry.tray, "replaces": entry.number}
    return write_one(options, "withdrawn", fact={"text": "".join(options.words[1:])}, about=about, house=house)


# --- what they share


def _meant(options: Written, word: str) -> str:
    """The word as ours: somebody of the trade says infertile, and means clear."""
    return MEANT.get(options.verb, {}).get(word.lower(), word)


def write_one(
    options: Written, kind: str, *, fact: Mapping[str, object], about: Mapping[str, object], house: House | None = None
) -> int:
    """Ask for one entry, or one of each of several eggs; print what was written, and what the weighings say now."""
    house = house_of(options.config) if house is None else house
    request = _common(options, house) | {"do": "entry", "kind": kind, "fact": dict(fact)}
    return _told(options, house, _asked(house, request | dict(about)))


def asked(options: Written, house: House, request: Mapping[str, object]) -> int:
    """Ask for what is no plain entry; print what was written."""
    return _told(options, house, _asked(house, _common(options, house) | dict(request)))


def entry_of(options: Written, house: House, number: str) -> Entry:
    """The entry of that number. Raises Wrong."""
    _, found = _entry(options, number, house)
    return found


def from_table(
    options: Written, house: House, path: Path, *, columns: Sequence[str], least: Sequence[str] = (), facts: Facts
) -> int:
    """Write what a table says of eggs, all or none. facts: of the cells of a line (kind, fields) of each entry that they make. Raises Wrong."""
    table = read_table(path, columns, least=least)
    rows: list[object] = []
    wrong: list[str] = []
    for line, cells in table.rows:
        try:
            egg = typed_egg(cells[EGG])
            at = typed_when(cells["at"], house.site.zone, options.utc).isoformat() if "at" in cells else None
            rows += [[line, egg, kind, fact, at] for kind, fact in facts(cells)]
        except Wrong as error:
            wrong.append(f"line {line}: {error}")
    refuse(path, wrong)
    if not rows:
        raise Wrong(f"{path}: nothing about any egg, expected columns of {','.join((EGG, *columns))}")
    request = _common(options, house) | {"do": "table", "rows": rows}
    code = _told(options, house, _asked(house, request, f"{path}: "))
    if table.left_out:
        tell(f"left out, for nothing here asks for it: {', '.join(table.left_out)[:200]}")
    return code


def _told(options: Written, house: House, answer: Answer) -> int:
    """Print what was written; where it bears on what the eggs lose, work that out and print it too."""
    entries = answer.get("entries", [answer])
    bears = any(e["kind"] in _BEARS for e in entries)
    book, water = weighed_now(house, options.batch, options.utc, only_book=not bears)
    written = {e["number"] for e in entries}
    text = written_text(book.batch.id, [e for e in book.entries if e.number in written], house.site)
    if water is not None:
        seen = [e for e in entries if e["kind"] in ("weighing", "size")]
        about = {(e["egg"], e["tray"] or "") for e in seen}
        verdict = verdict_text(about, water)
        text = "\n".join(
            [
                *([verdict] if verdict else []),
                text,
                *([weighed_text(about, water, house.site, columns=columns())] if about else []),
            ]
        )
    view = None if water is None else water_view(water, house.site)
    data = {"batch": book.batch.id, "entries": entries, "water": view}
    if "signs" in answer:
        data["signs"] = answer["signs"]
        text = "\n".join(
            [text, *(filled(f"  {line}", columns()) for line in signs_lines(answer["signs"], book.batch, house.site))]
        )
    return show(options.json, data, text)


def _asked(house: House, request: Mapping[str, object], where: str = "", *, said_so: bool = False) -> Answer:
    """The answer; each line of a no begins with `where`."""
    try:
        return ask(house, request, said_so=said_so)
    except Wrong as error:
        raise Wrong("\n".join(f"{where}{line}" for line in str(error).splitlines())) from error


def _common(options: Written, house: House) -> dict[str, object]:
    at = typed_past(options.at, house.site.zone, options.utc)
    return {"batch": options.batch, "by": typed_by(options.by, house.settings.site.by), **at, "sure": options.sure}


def _grams(text: str, where: str, keys: str = "") -> float:
    """A mass as people write it, its unit too. keys: what else may be typed there. Raises Wrong."""
    try:
        return typed_number(text, where, unit="g")
    except Wrong as error:
        raise Wrong(f"{error}{f'; {keys}' if keys else ''}") from error


def _scale(options: Weigh) -> dict[str, object]:
    return {"tare_g": options.tare, "error_g": options.error, "scale": options.scale}


def _entry(options: Written, number: str, house: House | None = None) -> tuple[House, Entry]:
    """(house, the entry of that number)."""
    house = house_of(options.config) if house is None else house
    book, _ = weighed_now(house, options.batch, options.utc, only_book=True)
    found = next((e for e in book.entries if str(e.number) == number), None)
    if found is None:
        last = book.entries[-1].number if book.entries else 0
        expected = f"1 to {last}; see eggroom egg show {options.batch}" if last else "none, for nothing is written yet"
        raise Wrong(f"batch {options.batch}: entry {number[:40]!r}, expected {expected}")
    return house, found


def words_of(options: Written, names: tuple[str, ...]) -> list[str]:
    """The words of a verb; those whose names stand in brackets may be missing."""
    words, least = list(options.words), sum(not name.startswith("[") for name in names)
    if not least <= len(words) <= len(names):
        came = repr(" ".join(words)[:60]) if words else f"nothing after {options.batch}"
        quotes = ", a text of several words in quotes" if "TEXT" in names else ""
        raise Wrong(f"{options.verb}: {came}, expected {' '.join(names)}{quotes}")
    return words


def about_of(options: Written, eggs: Sequence[str], count: int | None = None) -> dict[str, object]:
    """Whom it is about: eggs by number, so many without numbers, or (neither) the batch."""
    if not eggs:
        return {"count": count}
    if count is not None:
        raise Wrong(f"{options.verb}: eggs {eggs[0][:40]!r} and --count, expected one of them")
    numbers = typed_eggs(eggs[0], options.verb)
    return {"egg": numbers[0]} if len(numbers) == 1 else {"eggs": numbers}
