"""What was written of eggs, in words: an entry of the egg book, and what went on in another batch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from typing import TypeAlias, assert_never, get_args

from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import (
    AirCell,
    Attached,
    Brooded,
    Candling,
    ChickMass,
    Dead,
    Entry,
    Fact,
    Found,
    Helped,
    Identity,
    Laid,
    LookAgain,
    Note,
    Removed,
    Sealed,
    Sign,
    SignedOff,
    Size,
    Split,
    Turning,
    TurningStopped,
    Weighing,
    Withdrawn,
)
from monitor.domain.eggs.hatching import still_in
from monitor.domain.published.findings import FINDING
from monitor.domain.wall import printable, wall_day, wall_time

NAMED = 12  # eggs that are told one by one; of more only how many


def said(entry: Entry, zone: tzinfo) -> str:
    """What was found, in words on one line: `26.49 g`, `40 eggs, 57.76 g each`, `candled: fertile`, `dead (early)`."""
    fact = entry.fact
    if isinstance(fact, Weighing):
        return _weighed(entry, fact)
    words = _said(fact, zone)
    return f"{eggs_words(entry.count)} {words}" if entry.count is not None and entry.egg is None else words


def _weighed(entry: Entry, fact: Weighing) -> str:
    tare = f" ({fact.gross_g:g} less {fact.tare_g:g} of the tray)" if fact.tare_g else ""
    each_g, _ = entry.each_g()
    return f"{entry.eggs} eggs, {each_g:.2f} g each{tare}" if entry.eggs > 1 else f"{each_g:.2f} g{tare}"


def _said(fact: Fact, zone: tzinfo) -> str:
    if isinstance(fact, Laid):
        laid = "" if fact.laid_at is None else f"laid {wall_day(fact.laid_at, zone)}"
        stored = "" if fact.stored_days is None else f"stored {fact.stored_days:g} days"
        return ", ".join(part for part in (laid, stored) if part)
    if isinstance(fact, Identity):
        return identity_words(fact, zone)
    if isinstance(fact, Size):
        return f"{fact.length_mm:g} x {fact.breadth_mm:g} mm"
    if isinstance(fact, LookAgain):
        return f"look again {wall_time(fact.look_at, zone)}{_after(fact.text)}"
    if isinstance(fact, Candling):
        return f"candled: {fact.found}"
    if isinstance(fact, Sign):
        return fact.sign
    if isinstance(fact, Dead):
        return f"dead ({fact.stage})"
    if isinstance(fact, Removed):
        return f"removed: {fact.why}"
    if isinstance(fact, Split):
        return went_on_words(fact.into)
    if isinstance(fact, Found):
        return FINDING[fact.finding].words
    if isinstance(fact, _MEASURED):
        return _said_of_measured(fact)
    if isinstance(fact, Note):
        return printable(fact.text)
    if isinstance(fact, Helped | Sealed | Withdrawn):
        return ("assisted" if isinstance(fact, Helped) else fact.kind) + _after(fact.text)
    return fact.kind


_Measured: TypeAlias = Attached | AirCell | Turning | TurningStopped | ChickMass | Brooded | SignedOff
_MEASURED = get_args(_Measured)


def _said_of_measured(fact: _Measured) -> str:
    match fact:
        case AirCell():
            far = "" if fact.far_mm is None else f" to {fact.far_mm:g}"
            across = "" if fact.across_mm is None else f", {fact.across_mm:g} mm across"
            return f"air cell {fact.near_mm:g}{far} mm{across}"
        case Turning():
            return f"turned {times_words(fact.times)} in {fact.hours:g} h"
        case TurningStopped():
            return f"stopped turning{_after(fact.text)}"
        case ChickMass():
            return f"chick {fact.mass_g:.2f} g"
        case Brooded():
            return f"chick in {printable(fact.machine)}"
        case Attached():
            beside = "" if fact.beside is None else f", beside entry {fact.beside:g}"
            return f"file {printable(fact.name)}, {size_words(fact.size)}{beside}{_after(fact.text)}"
        case SignedOff():
            return f"chick signed off{_after(fact.text)}"
        case _:
            assert_never(fact)


def size_words(size: float) -> str:
    """`840 bytes`, `12 kB`, `2.4 MB`."""
    if size < 1000.0:
        return f"{size:.0f} bytes"
    return f"{size / 1e3:.0f} kB" if size < 1e6 else f"{size / 1e6:.1f} MB"


def times_words(times: float) -> str:
    """`once`, `5 times`."""
    return "once" if times == 1 else f"{times:g} times"


def identity_words(who: Identity, zone: tzinfo) -> str:
    """`pair P3, clutch 2, label A7, under a bird until 9.11. 08:00, tray B place 3, ring 17`: what is known of it."""
    birds = {"pair": who.pair, "cock": who.cock, "hen": who.hen, "clutch": who.clutch, "label": who.label}
    told = [f"{name} {printable(value)}" for name, value in birds.items() if value is not None]
    if who.taken_at is not None:
        told.append(f"under a bird until {wall_time(who.taken_at, zone)}")
    lies = {"tray": who.tray, "place": who.place}
    told.append(" ".join(f"{name} {printable(value)}" for name, value in lies.items() if value is not None))
    told.append("" if who.ring is None else f"ring {printable(who.ring)}")
    return ", ".join(filter(None, told))


def eggs_words(count: int) -> str:
    """So many eggs, in words."""
    return "1 egg" if count == 1 else f"{count} eggs"


def numbers_words(eggs: Sequence[int]) -> str:
    """`1-24, 30` of rising numbers."""
    runs: list[list[int]] = []
    for egg in eggs:
        if runs and egg == runs[-1][1] + 1:
            runs[-1][1] = egg
        else:
            runs.append([egg, egg])
    return ", ".join(f"{first}-{last}" if first < last else f"{first}" for first, last in runs)


def without_an_end(book: EggBook) -> str:
    """`eggs 4, 7, 9`, `3 eggs`: those that neither hatched nor died nor were taken out; empty where there is none, or nobody knows how many eggs
    there were."""
    left, count = still_in(book)
    if not (left or count):
        return ""
    if not left or len(left) > NAMED:
        return eggs_words(count or len(left))
    return f"egg{'s' if len(left) > 1 else ''} {', '.join(map(str, left))}"


def went_on_words(into: str, count: int | None = None) -> str:
    """`went on as batch hen-1-b`, `3 eggs went on as batch hen-1-b`."""
    return f"{'' if count is None else f'{eggs_words(count)} '}went on as batch {into}"


def _after(text: str) -> str:
    return f": {printable(text)}" if text else ""
