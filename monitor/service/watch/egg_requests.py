"""What a person can ask to be written into the egg book: one entry, or a table of weighings.

Nothing is written that cannot be true beside the rest (`egg_book.add`); what is only odd (`egg_doubts`) is asked, unless the
request says that it is sure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.doubts import doubts
from monitor.domain.eggs.entry import EggError, Entry, Fact, Laid, LookAgain, Weighing, fact_of, moment
from monitor.domain.eggs.many import Odd, add_each
from monitor.domain.eggs.split import split
from monitor.domain.eggs.words import entry_view
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now, from_ms, to_ms
from monitor.domain.state.known import Look, State
from monitor.domain.state.record import Group
from monitor.domain.wall import has_controls
from monitor.domain.watch.egg_alarms import remind_to_look, take_book

MAX_ROWS = 1000  # of one table: a large tray, and several; more is another file
SHOWN = 10  # complaints about eggs of one request; more are the same again
SURE = "say it is sure to write it all the same (--sure)"
_NUMBER_HIGH = 10**9


def write_entry(
    state: State, site: Site, batch: Batch, request: Mapping[str, Any], now: Now, out: Group
) -> dict[str, Any]:
    """One entry, written; or the same of each of several eggs, all of them or none.

    Raises EggError, a line for each: what cannot be true, or what is odd and nobody said that it is sure; then nothing is written.
    """
    where = f"batch {batch.id}"
    fact = _fact(request.get("kind"), request.get("fact"), where)
    if isinstance(fact, LookAgain) and fact.look_at <= now.utc:
        raise EggError(f"{where}: look again at {moment(fact.look_at)}, expected a time to come")
    entry = Entry(
        at=_time(request.get("at"), f"{where}: at", now.utc),
        written_at=_whole_ms(now.utc),
        who=plain_text(request.get("by", ""), f"{where}: by"),
        fact=fact,
        egg=_whole(request.get("egg"), f"{where}: egg"),
        count=_whole(request.get("count"), f"{where}: count"),
        tray=plain_text(request.get("tray") or "", f"{where}: tray"),
        replaces=_whole(request.get("replaces"), f"{where}: replaces"),
    )
    book = state.books.get(batch.id, EggBook(batch))
    if request.get("eggs") is not None:
        longer = _of_several(book, entry, _numbers(request["eggs"], where), _odd(request, site, batch), where)
        new = longer.entries[len(book.entries) :]
        _adopt(state, site, longer, new, now, out)
        return {"batch": batch.id, "did": "written", "entries": [entry_view(each) for each in new]}
    longer = add(book, entry)
    entry = longer.entries[-1]
    odd = _odd(request, site, batch)(book, entry)
    if odd:
        raise EggError(f"{where}: {'; '.join(odd)}; {SURE}")
    _adopt(state, site, longer, (entry,), now, out)
    return {"batch": batch.id, "did": "written", **entry_view(entry)}


def _of_several(book: EggBook, entry: Entry, eggs: Sequence[int], odd: Odd, where: str) -> EggBook:
    if not eggs or entry.egg is not None or entry.replaces is not None:
        raise EggError(f"{where}: eggs, expected one or more of them, and neither egg nor replaces beside them")
    longer, wrong = add_each(book, [replace(entry, egg=egg) for egg in eggs], odd)
    if wrong:
        lines = [why if why.startswith(where) else f"{where}: {why}" for _, why in wrong[:SHOWN]]
        more = [f"{where}: and {len(wrong) - SHOWN} more"] if len(wrong) > SHOWN else []
        none = f"{where}: nothing was written about any of {len(eggs)} eggs; {SURE}, where it is only odd"
        raise EggError("\n".join([*lines, *more, none]))
    return longer


def _odd(request: Mapping[str, Any], site: Site, batch: Batch) -> Odd:
    """What should be asked about an entry; nothing where someone said that it is sure."""
    if _sure(request):
        return lambda book, entry: ()
    profile = site.profiles.get(batch.profile)
    return lambda book, entry: doubts(book, entry, profile)


def write_weighings(
    state: State, site: Site, batch: Batch, request: Mapping[str, Any], now: Now, out: Group
) -> dict[str, Any]:
    """A table of weighings of numbered eggs, rows of (line, egg, gross_g, at or None): all of them, or none.

    Raises EggError with a line for each row that is wrong, or odd and nobody said that it is sure.
    """
    where = f"batch {batch.id}"
    rows = request.get("rows")
    if not isinstance(rows, Sequence) or isinstance(rows, str) or not 1 <= len(rows) <= MAX_ROWS:
        raise EggError(f"{where}: rows, expected a list of 1 to {MAX_ROWS}")
    who, at = plain_text(request.get("by", ""), f"{where}: by"), _time(request.get("at"), f"{where}: at", now.utc)
    tare_g, error_g = request.get("tare_g") or 0.0, request.get("error_g")
    book = state.books.get(batch.id, EggBook(batch))
    entries: list[Entry] = []
    lines: dict[int, Any] = {}  # by what `id` says of an entry: two rows may be the same
    wrong: list[tuple[Any, str]] = []
    for row in rows:
        try:
            line, egg, gross_g, when = row
            fact = _fact(Weighing.kind, {"gross_g": gross_g, "tare_g": tare_g, "error_g": error_g}, "weighing")
            entry = Entry(_time(when, "at", at), _whole_ms(now.utc), who, fact, _whole(egg, "egg"))
            if entry.egg is None:
                raise EggError("no egg, expected its number")
        except EggError as error:
            wrong.append((line, str(error)))
            continue
        except (TypeError, ValueError):
            raise EggError(f"{where}: row {str(row)[:40]}, expected line, egg, gross_g and a time or null") from None
        entries.append(entry)
        lines[id(entry)] = line
    longer, odd = add_each(book, entries, _odd(request, site, batch))
    wrong += [(lines[id(entry)], why) for entry, why in odd]
    if wrong:
        said = [f"line {line}: {why}" for line, why in sorted(wrong, key=lambda each: str(each[0]).zfill(9))]
        tail = f"nothing was written; {SURE}, where it is only odd"
        raise EggError("\n".join([*said, f"{where}: {len(wrong)} of {len(rows)} lines: {tail}"]))
    new = longer.entries[len(book.entries) :]
    _adopt(state, site, longer, new, now, out)
    return {"batch": batch.id, "did": "written", "entries": [entry_view(entry) for entry in new]}


def split_books(
    state: State, batch: Batch, into: str, request: Mapping[str, Any], at: datetime, now: Now
) -> tuple[EggBook, EggBook]:
    """The books of a batch and of the one that some of its eggs become; nothing is written yet. Raises BatchError and EggError."""
    where = f"batch {batch.id}"
    numbers = _numbers(request.get("eggs") or (), where)
    count = _whole(request.get("count"), f"{where}: count")
    if numbers and count is not None:
        raise EggError(f"{where}: eggs and a count came, expected one of them")
    who = plain_text(request.get("by", ""), f"{where}: by")
    book = state.books.get(batch.id, EggBook(batch))
    return split(book, numbers, count, into, _whole_ms(at), _whole_ms(now.utc), who)


def write_split(state: State, site: Site, old: EggBook, new: EggBook, now: Now, out: Group) -> None:
    """Write what `split_books` gave: what is new in the one, and all of the other."""
    known = len(state.books.get(old.batch.id, EggBook(old.batch)).entries)
    state.batches[new.batch.id] = out.batches[new.batch.id] = new.batch
    _adopt(state, site, old, old.entries[known:], now, out)
    if new.entries:
        take_book(state, new)
        out.entries += [(new.batch.id, entry) for entry in new.entries]


def _adopt(state: State, site: Site, book: EggBook, new: Sequence[Entry], now: Now, out: Group) -> None:
    take_book(state, book)
    out.entries += [(book.batch.id, entry) for entry in new]
    remind_to_look(Look(state, site, now, out), who=new[-1].who)


def _fact(kind: object, data: object, where: str) -> Fact:
    if not isinstance(kind, str) or not isinstance(data, Mapping):
        raise EggError(f"{where}: kind {kind!r:.40} and fact {data!r:.40}, expected a kind and its fields")
    for name, value in data.items():
        if isinstance(value, bool) or not isinstance(value, str | int | float | None):
            raise EggError(f"{where}: {kind:.40}: {name!s:.40} {value!r:.40}, expected a text, a number or null")
        if isinstance(value, str):
            plain_text(value, f"{where}: {kind:.40}: {name!s:.40}")
    fact = fact_of(kind, data)
    if isinstance(fact, LookAgain):
        return replace(fact, look_at=_whole_ms(fact.look_at))
    if isinstance(fact, Laid) and fact.laid_at is not None:
        return replace(fact, laid_at=_whole_ms(fact.laid_at))
    return fact


def _sure(request: Mapping[str, Any]) -> bool:
    return request.get("sure") is True


def plain_text(value: object, where: str) -> str:
    """What somebody typed, in one line and without anything that a terminal would act on. Raises EggError, one line."""
    if not isinstance(value, str):
        raise EggError(f"{where}: {value!r:.60}, expected a text")
    try:
        value.encode()
    except UnicodeEncodeError:  # half a character, as from a terminal in another encoding: no table can hold it
        raise EggError(f"{where}: {value[:40]!r}, expected text in UTF-8") from None
    if has_controls(value):
        raise EggError(f"{where}: {value[:40]!r}, expected text in one line, without control characters")
    return value


def _whole(value: object, where: str) -> int | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= _NUMBER_HIGH:
        raise EggError(f"{where} {value!r:.40}, expected a whole number from 1")
    return value


def _numbers(value: object, where: str) -> list[int]:
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) > MAX_ROWS:
        raise EggError(f"{where}: eggs, expected a list of at most {MAX_ROWS} numbers")
    numbers = [_whole(each, f"{where}: egg") for each in value]
    return list(dict.fromkeys(number for number in numbers if number is not None))


def _time(value: object, where: str, default: datetime) -> datetime:
    if value is None:
        return _whole_ms(default)
    try:
        at = datetime.fromisoformat(value) if isinstance(value, str) else None
        if at is not None and at.tzinfo is not None:
            return _whole_ms(at)
    except (ValueError, OverflowError):  # no time, or one at the edge of the calendar in another zone
        pass
    raise EggError(f"{where} {value!r:.60}, expected a time such as 2026-03-01T18:00:00Z")


def _whole_ms(at: datetime) -> datetime:
    """As the record keeps it."""
    return from_ms(to_ms(at.astimezone(UTC)))
