"""The record of a batch's eggs: every entry ever written about them, and what follows from those that stand.

Nothing is overwritten. A correction is a new entry that names the one it replaces; both stay, and `standing` gives those
that count. `add` refuses what cannot be true beside the rest, in one line; what may be a slip of the pen is asked by
`doubts`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any, TypeAlias

from monitor.domain.eggs.entry import (
    AFTER_HATCH,
    CRACKED,
    DIGIT_SHARE,
    EGG_G,
    OF_CHICK,
    AirCell,
    Attached,
    Candling,
    Dead,
    EggError,
    Entry,
    Found,
    Hatched,
    Helped,
    Identity,
    Laid,
    LookAgain,
    Note,
    Removed,
    Sealed,
    Sign,
    Size,
    Split,
    Turning,
    TurningStopped,
    Weighing,
    Withdrawn,
)
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import MAX_EGGS, Batch

# W = 0.548 L B², L and B in cm: Hoyt (1979), Auk 96, "about 2 %" across species; from memory. Pear-shaped eggs of waders
# weigh 8 to 9 % less (Governali and others 2012), so the doubt told here, as one sd, is wider.
HOYT_G_CM3, HOYT_DOUBT_SHARE = 0.548, 0.03

_FROM_SET = (
    Candling,
    Sign,
    Helped,
    Sealed,
    Hatched,
    Dead,
    Removed,
    Split,
    *OF_CHICK,
)  # what cannot be before the eggs were set
_OF_SOME = (Weighing, Found, *_FROM_SET)
_OF_ONE = (Size, AirCell, *OF_CHICK)
_OF_ONE_EGG_OR_ALL = (Note, LookAgain, Laid, Identity, Turning, TurningStopped, Attached)
_OF_ONE_ALONE = ("label", "place", "ring")  # of an identity: what no two eggs share
_NO_LOOK = (Identity, Turning, TurningStopped)  # nobody looked at an egg for it


@dataclass(frozen=True)
class EggBook:
    """A batch and what was written about its eggs, in the order in which it was written."""

    batch: Batch
    entries: tuple[Entry, ...] = ()

    # Worked out once for a book: a report asks for each of its eggs in turn.
    @cached_property
    def standing(self) -> tuple[Entry, ...]:
        """The entries that count; see `standing`."""
        gone = {entry.replaces for entry in self.entries}
        left = [e for e in self.entries if e.number not in gone and not isinstance(e.fact, Withdrawn)]
        return tuple(sorted(left, key=lambda e: (e.at, e.number)))

    @cached_property
    def typed_error_g(self) -> float:
        """The error of the scale that nobody named, of the eggs weighed one by one; see `typed_error_g`."""
        return typed_error_g(e for e in self.standing if e.egg is not None)

    @cached_property
    def of_all(self) -> tuple[Entry, ...]:
        """Those about the whole batch, by time."""
        return tuple(e for e in self.standing if e.egg is None and e.count is None)

    @cached_property
    def of_egg(self) -> Mapping[int, tuple[Entry, ...]]:
        """Those about each egg by number; see `of_egg`."""
        found: dict[int, list[Entry]] = {}
        for entry in self.standing:
            if entry.egg is not None:
                found.setdefault(entry.egg, []).append(entry)
        return {egg: tuple(found[egg]) for egg in sorted(found)}


@fixed
class After:
    """Weighed after its shell was whole no more. end: the sign or the end of it, as an entry has it in a word."""

    end: str


@fixed
class OtherEggs:
    """Weighed with others than the first time: so many, and so many then."""

    eggs: int
    first: int


LeftOut: TypeAlias = After | OtherEggs


@fixed
class Mass:
    """A weighing as mass per egg. entry: its number in the book. eggs: how many lay on the scale.

    left_out: why it says nothing about the loss through the shell; None where it does. scale: which of the house's, empty where nobody said.
    """

    entry: int
    at: datetime
    mass_g: float
    error_g: float
    eggs: int = 1
    left_out: LeftOut | None = None
    scale: str = ""


@fixed
class FreshMass:
    """Mass at lay, with its doubt (1 sd), from length and breadth."""

    mass_g: float
    doubt_g: float


def add(book: EggBook, entry: Entry) -> EggBook:
    """The book with the entry in it, numbered next. Raises EggError for what cannot be true, in one line."""
    where = f"batch {book.batch.id}: {entry.where}"
    others = [e for e in standing(book) if e.number != entry.replaces]
    _check_gone(book.batch, entry, others)
    _check_replaces(book, entry, where)
    _check_subject(book.batch, entry, where)
    _check_beside(book, entry, where)
    _check_times(book.batch, entry, others, where=where)
    _check_outcome(book.batch, entry, others, where=where)
    if isinstance(entry.fact, Weighing):
        each_g = entry.fact.net_g / entry.eggs
        if not EGG_G[0] <= each_g <= EGG_G[1]:
            raise EggError(where, f"{each_g:g} g an egg", f"{EGG_G[0]:g} to {EGG_G[1]:g}")
    number = book.entries[-1].number + 1 if book.entries else 1
    return replace(book, entries=(*book.entries, replace(entry, number=number)))


def standing(book: EggBook) -> tuple[Entry, ...]:
    """The entries that count: neither replaced nor withdrawn, by the time of which they speak."""
    return book.standing


def history(book: EggBook, entry: Entry) -> tuple[Entry, ...]:
    """An entry and those it replaces, newest first."""
    by_number = {e.number: e for e in book.entries}
    found = [entry]
    while (before := found[-1].replaces) is not None and before in by_number:
        found.append(by_number[before])
    return tuple(found)


def of_egg(book: EggBook, egg: int) -> tuple[Entry, ...]:
    """What stands about one egg, by its number."""
    return book.of_egg.get(egg, ())


def numbers(book: EggBook) -> tuple[int, ...]:
    """The eggs of which something was written by number."""
    return tuple(book.of_egg)


def knows(book: EggBook, egg: int) -> bool:
    """Whether an egg of that number is in the batch, or was before it went on in another."""
    return book.batch.has(egg) or egg in book.of_egg


def trays(book: EggBook) -> tuple[str, ...]:
    """The names of the trays that were weighed; the empty name stands for eggs weighed together on none."""
    return tuple(sorted({e.tray for e in standing(book) if isinstance(e.fact, Weighing) and e.egg is None}))


def outcome(book: EggBook, egg: int) -> Entry | None:
    """How it ended for an egg: hatched, dead, removed, or gone on in another batch; the last of these, None so far."""
    return next((e for e in reversed(of_egg(book, egg)) if e.ends), None)


def went_on(book: EggBook, egg: int) -> str | None:
    """The batch in which an egg went on; None for an egg that did not leave."""
    return next((e.fact.into for e in of_egg(book, egg) if isinstance(e.fact, Split)), None)


def candled(book: EggBook, egg: int) -> tuple[datetime | None, str]:
    """When an egg was candled last, and what was found; None and "" before that."""
    last = next((e for e in reversed(of_egg(book, egg)) if isinstance(e.fact, Candling)), None)
    return (last.at, last.fact.found) if last is not None and isinstance(last.fact, Candling) else (None, "")


def sign_at(book: EggBook, egg: int, sign: str) -> datetime | None:
    """When a sign was seen on an egg."""
    return next((e.at for e in of_egg(book, egg) if isinstance(e.fact, Sign) and e.fact.sign == sign), None)


def laid_at(book: EggBook, egg: int | None) -> datetime | None:
    """When an egg (None: the batch) was laid: as written, or by its days in store; None where neither is known."""
    return _laid(book.batch, standing(book), egg)


def identity(book: EggBook, egg: int | None) -> Identity | None:
    """Who an egg is (None: what all of the batch have in common): of each field what was written last, of the egg itself or else of the batch."""
    said: dict[str, Any] = {}
    for entry in (*book.of_all, *(of_egg(book, egg) if egg is not None else ())):
        if isinstance(entry.fact, Identity):
            said |= {each.name: v for each in fields(Identity) if (v := getattr(entry.fact, each.name)) is not None}
    return Identity(**said) if said else None


def files(book: EggBook) -> Mapping[str, int]:
    """The size in bytes of each file that was ever put beside the batch's eggs, by its content: what is withdrawn is kept, as all else is."""
    return {e.fact.sha256: int(e.fact.size) for e in book.entries if isinstance(e.fact, Attached)}


def masses(book: EggBook, egg: int) -> tuple[Mass, ...]:
    """The weighings of one egg, by time. Where one does not give the scale's own error (1 sd), that of `typed_error_g` stands."""
    entries = of_egg(book, egg)
    ends = [(e.at, e.word) for e in entries if e.ends or e.pipped]
    return tuple(_masses(entries, ends, book.typed_error_g))


def typed_error_g(weighed: Iterable[Entry]) -> float:
    """The error (1 sd) of the scale that nobody named, from the finest digit that was written of any of these weighings: of all together, for a
    zero at the end of one is not kept."""
    digits = [e.fact.shown_g for e in weighed if isinstance(e.fact, Weighing) and e.fact.error_g is None]
    return DIGIT_SHARE * min(digits, default=1.0)


def tray_masses(book: EggBook, tray: str) -> tuple[Mass, ...]:
    """The weighings of the eggs on one tray, as mass per egg. One that holds other eggs than the first is left out."""
    entries = tuple(e for e in standing(book) if e.egg is None and e.tray == tray and isinstance(e.fact, Weighing))
    found = tuple(_masses(entries, [], typed_error_g(entries)))
    return tuple(
        mass if mass.eggs == found[0].eggs else replace(mass, left_out=OtherEggs(mass.eggs, found[0].eggs))
        for mass in found
    )


@fixed
class ShellBreak:
    """When an egg's shell was another from then on: found cracked, or sealed again."""

    at: datetime
    sealed: bool


def shell_breaks(book: EggBook, egg: int) -> tuple[ShellBreak, ...]:
    """What was written of an egg's shell that ends one line of its loss and begins another, by time; a crack once, until it is sealed."""
    found: list[ShellBreak] = []
    for entry in of_egg(book, egg):
        cracked = isinstance(entry.fact, Candling) and entry.fact.found == CRACKED
        if isinstance(entry.fact, Sealed) or (cracked and not (found and not found[-1].sealed)):
            found.append(ShellBreak(entry.at, isinstance(entry.fact, Sealed)))
    return tuple(found)


def fresh_mass(book: EggBook, egg: int) -> FreshMass | None:
    """The mass at lay that length and breadth lead to; None where they were not measured."""
    size = last_size(of_egg(book, egg))
    return None if size is None else hoyt(size.length_mm, size.breadth_mm)


def hoyt(length_mm: float, breadth_mm: float) -> FreshMass:
    """Mass at lay from length and largest breadth: W = 0.548 L B² (cm, g), Hoyt 1979 (from memory)."""
    mass_g = HOYT_G_CM3 * length_mm * breadth_mm**2 / 1000.0
    return FreshMass(mass_g, HOYT_DOUBT_SHARE * mass_g)


def looks(book: EggBook) -> tuple[Entry, ...]:
    """What is still to be looked at again, due or not.

    Whatever is written about that egg (or batch) from its time on answers it. Before, only another time to look, or how it ended:
    a note made in between must not cost a reminder.
    """
    found = [e for e in standing(book) if isinstance(e.fact, LookAgain)]
    return tuple(e for e in found if not any(_answers(o, e) for o in _beside(book, e)))


def _beside(book: EggBook, look: Entry) -> tuple[Entry, ...]:
    return standing(book) if look.egg is None else of_egg(book, look.egg)


def _answers(later: Entry, look: Entry) -> bool:
    if later.number <= look.number or not later.same_subject(look) or isinstance(later.fact, _NO_LOOK):
        return False
    if isinstance(
        later.fact, Split
    ):  # whenever it left: the batch that it went on in asks now; of some the others stay to be looked at
        return later.egg is not None
    if later.at < look.at:
        return False
    assert isinstance(look.fact, LookAgain)
    ended = later.ends and later.egg is not None  # that some ended is no end of all
    return later.written_at >= look.fact.look_at or ended or isinstance(later.fact, LookAgain)


def _check_subject(batch: Batch, entry: Entry, where: str) -> None:
    size = MAX_EGGS if batch.eggs is None else batch.eggs
    if entry.egg is not None and not batch.has(entry.egg):
        raise EggError(f"batch {batch.id}", f"egg {entry.egg}", batch.numbers_words)
    if entry.count is not None and not 1 <= entry.count <= size:
        raise EggError(where, f"{entry.count} eggs", f"1 to {size}")
    if isinstance(entry.fact, _OF_ONE) and entry.egg is None:
        raise EggError(where, "no egg", "the number of one")
    if isinstance(entry.fact, _OF_ONE_EGG_OR_ALL) and entry.egg is None and entry.count is not None:
        raise EggError(where, "a count came", "the number of one egg, or none for the batch")
    if isinstance(entry.fact, Identity) and entry.egg is None:
        own = next((name for name in _OF_ONE_ALONE if getattr(entry.fact, name) is not None), None)
        if own is not None:
            raise EggError(where, f"{own} and no egg", "the number of one")
    if isinstance(entry.fact, _OF_SOME) and entry.egg is None and entry.count is None:
        raise EggError(where, "of which eggs is not said", "their numbers, such as 7 or 1-6, or --count")


def _check_replaces(book: EggBook, entry: Entry, where: str) -> None:
    if entry.replaces is None:
        if isinstance(entry.fact, Withdrawn):
            raise EggError(where, "no entry named", "the number of the one that is withdrawn")
        return
    named = next((e for e in book.entries if e.number == entry.replaces), None)
    if named is None:
        raise EggError(where, f"replaces entry {entry.replaces}", "one that is in the book")
    newer = next((e.number for e in book.entries if e.replaces == entry.replaces), None)
    if newer is not None:
        raise EggError(where, f"replaces entry {entry.replaces}, which entry {newer} replaced", f"{newer}")
    if isinstance(named.fact, Split):
        raise EggError(where, "replaces a split", f"it to stand: batch {named.fact.into} has that egg's record now")
    if not isinstance(entry.fact, (Withdrawn, type(named.fact))):
        raise EggError(where, f"replaces a {named.fact.kind}", f"a {named.fact.kind} again, or to withdraw it")


def _check_beside(book: EggBook, entry: Entry, where: str) -> None:
    """A file lies beside an entry about the same egg, or about all of them."""
    beside = entry.fact.beside if isinstance(entry.fact, Attached) else None
    if beside is None:
        return
    named = next((e for e in book.entries if e.number == beside), None)
    if named is None or isinstance(named.fact, Withdrawn):
        raise EggError(where, f"beside entry {beside:g}", "one that is in the book")
    if named.egg != entry.egg:
        raise EggError(where, f"beside entry {beside:g}, {named.where}", "one about the same egg")


def _check_times(batch: Batch, entry: Entry, others: list[Entry], *, where: str) -> None:
    if isinstance(entry.fact, _FROM_SET) and entry.at < batch.set_at:
        raise EggError(where, (entry.at, ", before it was set (", batch.set_at, ")"))
    if not isinstance(entry.fact, Laid):
        laid = _laid(batch, others, entry.egg)
        if laid is not None and entry.at < laid and not isinstance(entry.fact, Note | Withdrawn | Attached):
            raise EggError(where, (entry.at, ", before it was laid (", laid, ")"))
        taken = entry.fact.taken_at if isinstance(entry.fact, Identity) else None
        if laid is not None and taken is not None and taken < laid:
            raise EggError(where, ("under a bird until ", taken, ", before it was laid (", laid, ")"))
        return
    laid = entry.fact.laid_at or batch.set_at - timedelta(days=entry.fact.stored_days or 0.0)
    if laid > batch.set_at:
        raise EggError(where, ("laid ", laid, ", after it was set (", batch.set_at, ")"))
    own = {e.egg for e in others if isinstance(e.fact, Laid)} - {entry.egg}
    about = [e for e in others if e.egg not in own and entry.egg in (None, e.egg)]
    early = next((e for e in about if e.at < laid and not isinstance(e.fact, Laid | Note | Attached)), None)
    if early is not None:
        raise EggError(where, ("laid ", laid, f", after {early.where} (", early.at, ")"))
    for e in about:
        if isinstance(e.fact, Identity) and e.fact.taken_at is not None and e.fact.taken_at < laid:
            raise EggError(where, ("laid ", laid, ", after it was taken from under the bird (", e.fact.taken_at, ")"))


def _check_gone(batch: Batch, entry: Entry, others: list[Entry]) -> None:
    """What is written about an egg that went on in another batch belongs there."""
    if entry.egg is None:
        return
    gone = next((e for e in others if e.egg == entry.egg and isinstance(e.fact, Split)), None)
    if gone is not None and isinstance(gone.fact, Split):
        raise EggError(f"batch {batch.id}", f"egg {entry.egg} went on as batch {gone.fact.into}", "that batch")


def _check_outcome(batch: Batch, entry: Entry, others: list[Entry], *, where: str) -> None:
    fact = entry.fact
    if not entry.ends:
        return
    ended = [e for e in others if e.ends]
    if isinstance(fact, Dead) and fact.stage == AFTER_HATCH:
        hatched = [e for e in ended if isinstance(e.fact, Hatched) and (entry.egg is None or e.egg == entry.egg)]
        if not hatched or min(e.at for e in hatched) > entry.at:
            raise EggError(where, "after hatch", "an egg that has hatched")
        ended = [e for e in ended if not isinstance(e.fact, Hatched)]
        if any(e.egg is not None and e.egg == entry.egg for e in ended):
            raise EggError(where, "dead already")
        return
    ended = [e for e in ended if not (isinstance(e.fact, Dead) and e.fact.stage == AFTER_HATCH)]
    before = next((e for e in ended if e.egg is not None and e.egg == entry.egg), None)
    if before is not None and isinstance(fact, Split):
        raise EggError(where, f"{before.word} already", "eggs that have not ended")
    if before is not None:
        raise EggError(where, f"{before.word} already", f"a correction that names entry {before.number}")
    # Those that went on in another batch are not among its eggs any more.
    total = sum(e.eggs for e in ended if not isinstance(e.fact, Split)) + entry.eggs
    if batch.eggs is not None and total > batch.eggs:
        raise EggError(where, f"makes {total} eggs that ended", f"at most {batch.eggs}")


def _laid(batch: Batch, entries: list[Entry] | tuple[Entry, ...], egg: int | None) -> datetime | None:
    for subject in dict.fromkeys((egg, None)):
        for e in reversed(entries):
            if not isinstance(e.fact, Laid) or e.egg != subject:
                continue
            if e.fact.laid_at is not None:
                return e.fact.laid_at
            return batch.set_at - timedelta(days=e.fact.stored_days or 0.0)
    return None


def _masses(entries: tuple[Entry, ...], ends: list[tuple[datetime, str]], error_g: float) -> Iterator[Mass]:
    for e in entries:
        if isinstance(e.fact, Weighing):
            mass_g, own_g = e.each_g(error_g)
            ended = next((After(word) for at, word in ends if at < e.at), None)
            yield Mass(
                entry=e.number,
                at=e.at,
                mass_g=mass_g,
                error_g=own_g,
                eggs=e.eggs,
                left_out=ended,
                scale=e.fact.scale or "",
            )


def last_size(entries: tuple[Entry, ...] | list[Entry]) -> Size | None:
    """The newest length and breadth among the entries."""
    return next((e.fact for e in reversed(entries) if isinstance(e.fact, Size)), None)
