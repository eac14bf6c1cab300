"""What a person can ask to be written into the egg book: one entry, or a table of weighings.

Nothing is written that cannot be true beside the rest (`domain/eggs/book`); what is only odd (`domain/eggs/doubts`) is asked, unless the
request says that it is sure.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import TypeVar

from monitor.domain.eggs.book import EggBook, add, files, of_egg
from monitor.domain.eggs.doubts import doubts, shared
from monitor.domain.eggs.entry import (
    BATCH_BYTES,
    BATCH_FILES,
    EXTERNAL_PIP,
    FILE_BYTES,
    RECORD_BYTES,
    Attached,
    Brooded,
    ChickMass,
    EggError,
    Entry,
    Fact,
    Identity,
    Laid,
    LookAgain,
    Note,
    Sign,
    Weighing,
)
from monitor.domain.eggs.hatching import still_in
from monitor.domain.eggs.many import Odd, add_each
from monitor.domain.eggs.split import split
from monitor.domain.eggs.view import entry_view
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.refusal import Sure, Words, joined, sought
from monitor.domain.state.known import Look
from monitor.domain.watch.egg_alarms import remind_to_look, take_book
from monitor.service.watch.requests import Attach, SplitOff, Write, WriteBeyondPip, WriteTable, WriteWeighings

_Given = TypeVar("_Given")  # what a row of a table says of its egg

SHOWN = 10  # complaints about eggs of one request; more are the same again
_SURE = Sure("write")
_NUMBER_HIGH = 10**9


def write_entry(look: Look, request: Write, batch: Batch) -> dict[str, object]:
    """One entry, written; or the same of each of several eggs, all of them or none.

    Raises EggError, a line for each: what cannot be true, or what is odd and nobody said that it is sure; then nothing is written.
    """
    book = look.state.books.get(batch.id, EggBook(batch))
    longer, several = _with(look, request, book)
    new = longer.entries[len(book.entries) :]
    _adopt(look, longer, new)
    if several:
        return {"batch": batch.id, "did": "written", "entries": [entry_view(each) for each in new]}
    return {"batch": batch.id, "did": "written", **entry_view(new[0])}


def write_beyond_pip(look: Look, request: WriteBeyondPip, batch: Batch) -> dict[str, object]:
    """A note of what was seen, and before it the pip of those eggs of which none is written: a second one would be a later one.

    Raises EggError as `write_entry`; then nothing is written.
    """
    book = look.state.books.get(batch.id, EggBook(batch))
    eggs = request.eggs or (still_in(book)[0] if request.count is None else ())
    unwritten = tuple(n for n in eggs if all(e.fact != Sign(EXTERNAL_PIP) for e in of_egg(book, n)))
    # A note is of eggs by number, or of the batch.
    note = Write(
        batch=batch.id, fact=Note(request.text), eggs=request.eggs, at=request.at, by=request.by, sure=request.sure
    )
    asked = [note]
    if unwritten or not eggs:
        asked.insert(0, replace(note, fact=Sign(EXTERNAL_PIP), eggs=unwritten or None, count=request.count))
    longer = book
    for each in asked:
        longer, _ = _with(look, each, longer)
    new = longer.entries[len(book.entries) :]
    _adopt(look, longer, new)
    return {"batch": batch.id, "did": "written", "entries": [entry_view(each) for each in new]}


def _with(look: Look, request: Write, book: EggBook, *, kept: Mapping[str, int] | None = None) -> tuple[EggBook, bool]:
    """(the book with what a request writes, whether that is of each of several eggs); nothing is written yet. Raises EggError.

    kept: the files that the record keeps, None for those that it does now.
    """
    batch = book.batch
    where = f"batch {batch.id}"
    fact = _whole_times(request.fact)
    if isinstance(fact, Weighing | ChickMass) and (request.replaces is None or fact.scale is not None):
        fact = on_scale(fact, look.site)
    _check_machine(fact, look.site)
    _check_kept(fact, look.state.files if kept is None else kept)
    if isinstance(fact, LookAgain) and fact.look_at <= look.now.utc:
        raise EggError(where, ("look again at ", fact.look_at), "a time to come")
    entry = Entry(
        at=_whole_ms(request.at or look.now.utc),
        written_at=_whole_ms(look.now.utc),
        who=request.by,
        fact=fact,
        egg=_counted(request.egg, f"{where}: egg"),
        count=_counted(request.count, f"{where}: count"),
        tray=request.tray or "",
        replaces=_counted(request.replaces, f"{where}: replaces"),
    )
    odd = _odd(request.sure, look.site, batch)
    request = _of_all(request, book, entry)
    if request.eggs is not None:
        longer = _of_several(book, entry, _numbers(request.eggs, where), odd=odd, where=where)
        _ask_of_all(book, longer, where=where, sure=request.sure)
        return longer, True
    longer = add(book, replace(entry, count=request.count))
    if said := odd(book, longer.entries[-1]):
        raise EggError(where, (*joined(list(said), "; "), _SURE))
    _ask_of_all(book, longer, where=where, sure=request.sure)
    return longer, False


def _ask_of_all(book: EggBook, longer: EggBook, *, where: str, sure: bool) -> None:
    """Ask what is odd of what was said of some eggs beside all others. Raises EggError."""
    if not sure and (said := shared(longer, longer.entries[len(book.entries) :])):
        lines: list[Words] = [(f"{where}: ", *each) for each in said[:SHOWN]]
        if len(said) > SHOWN:
            lines.append((f"{where}: and {len(said) - SHOWN} more",))
        lines[-1] = (*lines[-1], _SURE)
        raise EggError("", joined(lines))


def _of_all(request: Write, book: EggBook, entry: Entry) -> Write:
    """A sign that names no egg is one of the whole batch: of each egg still in it, by number where the book knows which those are."""
    if not isinstance(entry.fact, Sign) or (request.egg, request.eggs, request.count) != (None, None, None):
        return request
    eggs, count = still_in(book)
    return replace(request, eggs=tuple(eggs) or None, count=None if eggs else count)


def _of_several(book: EggBook, entry: Entry, eggs: Sequence[int], *, odd: Odd, where: str) -> EggBook:
    if not eggs or entry.egg is not None or entry.replaces is not None:
        raise EggError(where, "eggs", "one or more of them, and neither egg nor replaces beside them")
    longer, wrong = add_each(book, [replace(entry, egg=egg) for egg in eggs], odd)
    if wrong:
        # What cannot be says itself of which batch.
        lines: list[Words] = [(f"{where}: ", *each.words) if each.only_odd else each.words for each in wrong[:SHOWN]]
        if len(wrong) > SHOWN:
            lines.append((f"{where}: and {len(wrong) - SHOWN} more",))
        sure = (_SURE,) if all(each.only_odd for each in wrong) else ()
        of_all = f" about any of {len(eggs)} eggs" if len(eggs) > 1 else ""
        lines.append((f"{where}: nothing was written{of_all}", *sure))
        raise EggError("", joined(lines))
    return longer


def _odd(sure: bool, site: Site, batch: Batch) -> Odd:
    """What should be asked about an entry; nothing where someone said that it is sure."""
    if sure:
        return lambda book, entry: ()
    profile = site.profiles.get(batch.profile)
    return lambda book, entry: doubts(book, entry, profile)


def write_weighings(look: Look, request: WriteWeighings, batch: Batch) -> dict[str, object]:
    """A table of weighings of numbered eggs: all of them, or none.

    Raises EggError with a line for each row that is wrong, or odd and nobody said that it is sure.
    """

    def weighed(gross_g: float) -> Fact:
        shown = Weighing(gross_g, request.tare_g or 0.0, request.error_g, scale=request.scale, digit_g=request.digit_g)
        return on_scale(shown, look.site)

    return _written(look, request, batch, rows=request.rows, fact_of=weighed)


def attach(look: Look, request: Attach, batch: Batch) -> dict[str, object]:
    """A file beside what is written, kept once whatever it is called. Raises EggError for one that is none, or too many."""
    where = f"batch {batch.id}: file {request.name!r:.60}"
    try:
        content = base64.b64decode(request.content, validate=True)
    except ValueError:
        raise EggError(where, "its content is no base64", "that of a file") from None
    if not 1 <= len(content) <= FILE_BYTES:
        raise EggError(where, f"{len(content)} bytes", f"1 to {FILE_BYTES}")
    sha256 = hashlib.sha256(content).hexdigest()
    book = look.state.books.get(batch.id, EggBook(batch))
    _check_room(look, files(book), sha256=sha256, size=len(content), where=where)
    fact = Attached(request.name, sha256, len(content), request.text, request.beside)
    # Known only once it is to be written: or an entry that is refused would leave it known, and not kept.
    known = {**look.state.files, sha256: len(content)}
    write = Write(batch=batch.id, fact=fact, egg=request.egg, at=request.at, by=request.by, sure=request.sure)
    longer, _ = _with(look, write, book, kept=known)
    if sha256 not in look.state.files:
        look.out.files[sha256] = content
    look.state.files = known
    new = longer.entries[len(book.entries) :]
    _adopt(look, longer, new)
    return {"batch": batch.id, "did": "written", **entry_view(new[0])}


def _check_room(look: Look, of_batch: Mapping[str, int], *, sha256: str, size: int, where: str) -> None:
    """Raises EggError where a file that is new to the batch, or to the record, is more than either takes."""
    if sha256 not in of_batch and len(of_batch) >= BATCH_FILES:
        raise EggError(where, f"{len(of_batch)} files are in this batch", f"at most {BATCH_FILES}")
    for known, most, what in ((of_batch, BATCH_BYTES, "this batch"), (look.state.files, RECORD_BYTES, "the record")):
        if sha256 not in known and sum(known.values()) + size > most:
            came = f"{size} bytes beside {sum(known.values())} in {what}"
            raise EggError(where, came, f"at most {most} together")


def write_table(look: Look, request: WriteTable, batch: Batch) -> dict[str, object]:
    """A table of entries about numbered eggs: all of them, or none. Raises EggError as `write_weighings`."""

    def said(given: Fact) -> Fact:
        fact = _whole_times(on_scale(given, look.site) if isinstance(given, Weighing | ChickMass) else given)
        _check_machine(fact, look.site)
        _check_kept(fact, look.state.files)
        return fact

    return _written(look, request, batch, rows=request.rows, fact_of=said)


def _written(
    look: Look,
    request: WriteWeighings | WriteTable,
    batch: Batch,
    *,
    rows: Iterable[tuple[int | str, int, _Given, datetime | None]],
    fact_of: Callable[[_Given], Fact],
) -> dict[str, object]:
    """Both tables. rows: (line, egg, what is said of it, when); fact_of: what is written of that, or raises EggError."""
    at, book = request.at or look.now.utc, look.state.books.get(batch.id, EggBook(batch))
    entries: list[Entry] = []
    lines: dict[int, int | str] = {}  # by what `id` says of an entry: two rows may be the same
    wrong: list[tuple[int | str, Words]] = []
    for line, egg, given, when in rows:
        try:
            entry = Entry(
                _whole_ms(when or at), _whole_ms(look.now.utc), request.by, fact_of(given), _counted(egg, "egg")
            )
        except EggError as error:
            wrong.append((line, error.words))
            continue
        entries.append(entry)
        lines[id(entry)] = line
    return _all_or_none(look, book, entries, wrong=wrong, lines=lines, sure=request.sure)


def _all_or_none(
    look: Look,
    book: EggBook,
    entries: Sequence[Entry],
    *,
    wrong: list[tuple[int | str, Words]],
    lines: Mapping[int, int | str],
    sure: bool,
) -> dict[str, object]:
    """Write the entries of a table where nothing is wrong. lines: of each, by its `id`. Raises EggError with a line for each that is."""
    where = f"batch {book.batch.id}"
    longer, odd = add_each(book, entries, _odd(sure, look.site, book.batch))
    only_odd = not wrong and all(each.only_odd for each in odd)
    wrong += [(lines[id(each.entry)], each.words) for each in odd]
    if wrong:
        said: list[Words] = [
            (f"line {line}: ", *why) for line, why in sorted(wrong, key=lambda each: str(each[0]).zfill(9))
        ]
        rows = len({*lines.values(), *(line for line, _ in wrong)})
        of = len({line for line, _ in wrong})
        count = f"{of} of {rows} lines are {'odd' if only_odd else 'wrong'}"
        head: Words = (f"{where}: {count}, nothing was written", *([_SURE] if only_odd else []))
        more: list[Words] = [(f"{where}: and {len(wrong) - SHOWN} more",)] if len(wrong) > SHOWN else []
        raise EggError("", joined([head, *said[:SHOWN], *more]))
    _ask_of_all(book, longer, where=where, sure=sure)
    new = longer.entries[len(book.entries) :]
    _adopt(look, longer, new)
    return {"batch": book.batch.id, "did": "written", "entries": [entry_view(entry) for entry in new]}


def on_scale(fact: Weighing | ChickMass, site: Site) -> Weighing | ChickMass:
    """The weighing with its scale, the house's first where none is named, and that scale's error where none is given. It keeps both, for scales come and go.

    Raises EggError for a scale that the house has not.
    """
    scale = fact.scale or (next(iter(site.scales), None) if fact.error_g is None else None)
    if scale is not None and scale not in site.scales:
        known = ", ".join(site.scales) or "none yet: [[scale]] in the configuration"
        raise EggError(fact.kind, f"scale {scale!r:.40}", f"one of: {known}")
    error_g = site.scales[scale] if scale is not None and fact.error_g is None else fact.error_g
    if isinstance(fact, ChickMass):
        return replace(fact, scale=scale, error_g=error_g)
    return replace(fact, scale=scale, error_g=error_g, digit_g=fact.digit_g if error_g is None else None)


def _check_machine(fact: Fact, site: Site) -> None:
    """Raises EggError for a chick in a machine that the house has not."""
    if isinstance(fact, Brooded) and fact.machine not in site.machines:
        near, known = sought(fact.machine, site.machines)
        raise EggError("brooder", f"no machine {fact.machine!r:.40}{near}", known)


def _check_kept(fact: Fact, kept: Mapping[str, int]) -> None:
    """Raises EggError for a file that the record has not: it is brought by itself."""
    if isinstance(fact, Attached) and kept.get(fact.sha256) != fact.size:
        raise EggError("file", f"{fact.sha256[:12]} of {fact.size:g} bytes is not in the record", "one that is")


def split_books(look: Look, request: SplitOff, batch: Batch, *, at: datetime) -> tuple[EggBook, EggBook]:
    """The books of a batch and of the one that some of its eggs become; nothing is written yet. Raises BatchError and EggError.

    at: when they went, whole milliseconds.
    """
    where = f"batch {batch.id}"
    numbers = _numbers(request.eggs or (), where)
    count = _counted(request.count, f"{where}: count")
    if numbers and count is not None:
        raise EggError(where, "eggs and a count came", "one of them")
    book = look.state.books.get(batch.id, EggBook(batch))
    return split(
        book, numbers, count=count, into=request.into, at=at, written_at=_whole_ms(look.now.utc), who=request.by
    )


def write_split(look: Look, old: EggBook, new: EggBook) -> None:
    """Write what `split_books` gave: what is new in the one, and all of the other."""
    known = len(look.state.books.get(old.batch.id, EggBook(old.batch)).entries)
    look.state.batches[new.batch.id] = look.out.batches[new.batch.id] = new.batch
    _adopt(look, old, old.entries[known:])
    if new.entries:
        take_book(look.state, new)
        look.out.entries += [(new.batch.id, entry) for entry in new.entries]


def _adopt(look: Look, book: EggBook, new: Sequence[Entry]) -> None:
    take_book(look.state, book)
    look.out.entries += [(book.batch.id, entry) for entry in new]
    remind_to_look(look, who=new[-1].who)


def _whole_times(fact: Fact) -> Fact:
    """Its own times as the record keeps them."""
    if isinstance(fact, LookAgain):
        return replace(fact, look_at=_whole_ms(fact.look_at))
    if isinstance(fact, Laid) and fact.laid_at is not None:
        return replace(fact, laid_at=_whole_ms(fact.laid_at))
    if isinstance(fact, Identity) and fact.taken_at is not None:
        return replace(fact, taken_at=_whole_ms(fact.taken_at))
    return fact


def _counted(value: int | None, where: str) -> int | None:
    if value is not None and not 1 <= value <= _NUMBER_HIGH:
        raise EggError("", f"{where} {value!r:.40}", "a whole number from 1")
    return value


def _numbers(eggs: Sequence[int], where: str) -> list[int]:
    numbers = [_counted(each, f"{where}: egg") for each in eggs]
    return list(dict.fromkeys(number for number in numbers if number is not None))


def _whole_ms(at: datetime) -> datetime:
    """As the record keeps it."""
    return from_ms(to_ms(at.astimezone(UTC)))
