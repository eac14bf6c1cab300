"""A breeder's made-up seasons, for the tests of what is told across batches: a setter, a hatcher, a batch each month, one with damp air."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, Dead, Entry, Fact, Found, Hatched, Removed
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import Site
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import PASS, to_ms
from monitor.domain.state.record import Group, StoredReading
from monitor.settings import build_house, parse_settings
from tests.hens import with_window

FIRST = datetime(2025, 1, 5, 18, 0, tzinfo=UTC)
APART_D, TERM_D, EGGS = 30.0, 22.0, 12
LOCKDOWN_DAY, STEP_S = 18.0, 600
WARM_C, SETTER_RH, HATCHER_RH = 37.6, 57.0, 68.0  # inside the shipped chicken's bands
DAMP_RH = 14.0
DAMP, WET = (1, 3, 5, 7, 9), (1, 3, 5, 7, 15)  # batches of `two_setters`, by number
SETTERS = {"setter-1": ("node-a", 1), "setter-2": ("node-c", 3)}


def make_site() -> Site:
    """The house of these seasons, as a configuration makes it."""
    data = {
        "site": {"id": "home", "zone": "UTC"},
        "machine": [{"id": "setter-1"}, {"id": "setter-2"}, {"id": "hatcher-1", "kind": "hatcher"}],
        "probe": [
            {"node": "node-a", "probe": "top", "machine": "setter-1", "interval_s": 600},
            {"node": "node-c", "probe": "top", "machine": "setter-2", "interval_s": 600},
            {"node": "node-b", "probe": "top", "machine": "hatcher-1", "interval_s": 600},
        ],
    }
    return with_window(build_house(parse_settings(data, "test"), load_profiles(None), Path("test.toml")).site)


def set_at(number: int) -> datetime:
    """When the batch of that number was set."""
    return FIRST + timedelta(days=APART_D * number)


def batch_of(number: int, species: str = "chicken", closed: bool = True, setter: str = "setter-1") -> Batch:
    """A batch of twelve: 18 days in its setter, then in hatcher-1."""
    begin = set_at(number)
    turn, end = begin + timedelta(days=LOCKDOWN_DAY), begin + timedelta(days=TERM_D)
    stays = (Stay(setter, begin, turn), Stay("hatcher-1", turn, end if closed else None))
    return Batch(f"b-{number}", species, begin, EGGS, stays=stays, closed_at=end if closed else None)


def air(
    number: int, warmer_k: float = 0.0, damper_rh: float = 0.0, until_d: float = TERM_D, setter: str = "setter-1"
) -> list[StoredReading]:
    """The readings of both machines over the life of a batch; the setter warmer or damper by so much."""
    node, line = SETTERS[setter]
    found, start = [], round(APART_D * number * 86_400_000)
    for step in range(round(until_d * 86_400 / STEP_S) + 1):
        days, up = step * STEP_S / 86_400, start + step * STEP_S * 1000
        if days <= LOCKDOWN_DAY:
            found.append(StoredReading(f"{node}/top", line, up, WARM_C + warmer_k, SETTER_RH + damper_rh, PASS, PASS))
        if days >= LOCKDOWN_DAY - 0.1:
            found.append(StoredReading("node-b/top", 2, up, WARM_C, HATCHER_RH, PASS, PASS))
    return found


def with_spell(
    readings: Sequence[StoredReading], number: int, since_d: float, *, hours: float, to_c: float
) -> list[StoredReading]:
    """The same readings, but for a time in which the setter stood at one temperature."""
    start = round(APART_D * number * 86_400_000)
    until_d = since_d + hours / 24.0
    return [
        replace(r, dry_bulb_c=to_c)
        if r.probe in {f"{node}/top" for node, _ in SETTERS.values()}
        and since_d <= (r.up_ms - start) / 86_400_000 <= until_d
        else r
        for r in readings
    ]


def lines() -> dict[int, Line]:
    """Of the nodes."""
    nodes = ((1, "node-a"), (2, "node-b"), (3, "node-c"))
    return {i: Line(i, node, 7, UPTIME, 0, to_ms(FIRST), 0, 0) for i, node in nodes}


def ended(book: EggBook, hatched: int, late: int = 0, clear: int = 0) -> EggBook:
    """Every egg in turn: hatched, dead late, clear at candling; what is left was candled alive."""
    day, eggs = 0.0, iter(range(1, EGGS + 1))
    for fact, count, day in ((Hatched(), hatched, 21.0), (Dead("late"), late, 20.0), (Candling("clear"), clear, 7.0)):
        for _ in range(count):
            book = put(book, day, fact, next(eggs))
    for egg in eggs:
        book = put(book, 7.0, Candling("alive"), egg)
    return book


def put(book: EggBook, days: float, fact: Fact, egg: int | None = None, count: int | None = None) -> EggBook:
    """The book with one more entry."""
    at = book.batch.set_at + timedelta(days=days)
    return add(book, Entry(at, at, "ada", fact, egg=egg, count=count))


def group(
    books: Sequence[EggBook], damp: Mapping[int, float] | None = None, more: Sequence[StoredReading] = ()
) -> Group:
    """One transaction with all of it. damp: by batch number, how much damper its setter was."""
    damp = damp or {}
    readings = []
    for book in books:
        number = int(book.batch.id[2:])
        setter = book.batch.stays[0].machine if book.batch.stays else "setter-1"
        readings += air(number, damper_rh=damp.get(number, 0.0), setter=setter)
    return Group(
        lines=lines(),
        readings=[*readings, *more],
        batches={b.batch.id: b.batch for b in books},
        entries=[(b.batch.id, e) for b in books for e in b.entries],
    )


def five_seasons() -> Group:
    """Four batches that went well, b-0 to b-3, and b-4 in damp air: wet chicks in eggs 9 and 10, egg 11 dead early, egg 12 clear."""
    books = [ended(EggBook(batch_of(n)), 10 + n % 2, clear=1) for n in range(4)]
    bad = ended(EggBook(batch_of(4)), 6, late=2)
    for egg in (9, 10):
        bad = put(bad, 20.5, Found("wet-chick"), egg)
        bad = put(bad, 20.6, Dead("late"), egg)
    bad = put(put(bad, 22.0, Dead("early"), 11), 22.0, Found("dead-first-third"), 11)
    bad = put(bad, 7.0, Removed("clear"), 12)
    return group([*books, bad], {4: DAMP_RH})


def two_setters() -> Group:
    """Sixteen batches, the even ones in setter-1, which went well, the odd ones in setter-2. Of these b-1 to b-9 were damp and went badly,
    all but b-9 with a wet chick in egg 1 and one more without a number; b-11 to b-15 were dry, went well, and b-15 has a wet chick in
    egg 1, written twice."""
    books = []
    for n in range(16):
        damp = n in DAMP
        book = ended(EggBook(batch_of(n, setter=f"setter-{1 + n % 2}")), 4 if damp else 11, late=7 if damp else 0)
        if n in WET:
            book = put(book, 21.5, Found("wet-chick"), 1)
            book = put(book, 21.6, Found("wet-chick"), **({"count": 1} if damp else {"egg": 1}))
        books.append(book)
    return group(books, dict.fromkeys(DAMP, DAMP_RH))
