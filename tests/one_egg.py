"""A batch of hens with an egg book, for the tests of the history of one egg: two machines, air that a hand can reckon with."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.history.chart import Chart
from monitor.analysis.history.egg import EggPart, with_egg
from monitor.analysis.history.environment import BatchHistory
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Entry, Fact
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import Calibration, by_offset
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import PASS, to_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.state.record import Event, Group, StoredReading
from monitor.service.reports.batch import batch_charts
from monitor.service.reports.egg import egg_life
from monitor.settings import build_house, parse_settings
from monitor.shown.history.report import Header
from tests.fakes import MemoryStore
from tests.hens import with_window

SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
STEP_MS = 600_000
WARM_C, RH_PCT = 37.7, 50.0
MOVE_D, STAGE_D = 18.2, 17.5


def day(days: float) -> datetime:
    """So many days after the set time."""
    return SET + timedelta(days=days)


def make_site(unit: str = "C") -> Site:
    """setter-1 with two probes, and a hatcher."""
    data = {
        "site": {"id": "home", "unit": unit},
        "machine": [{"id": "setter-1"}, {"id": "hatcher-1", "kind": "hatcher"}],
        "probe": [
            {"node": "node-a", "probe": "top", "machine": "setter-1", "interval_s": 600},
            {"node": "node-b", "probe": "top", "machine": "hatcher-1", "interval_s": 600},
        ],
    }
    return with_window(build_house(parse_settings(data, "test"), load_profiles(None), Path("test.toml")).site)


def hens(closed_d: float | None = None) -> Batch:
    """Twelve eggs, in the hatcher from MOVE_D on, lockdown declared on STAGE_D."""
    from monitor.domain.needs.batch import closed, declared, moved

    batch = Batch("hen-1", "chicken", SET, 12, stays=(Stay("setter-1", SET),))
    batch = declared(moved(batch, "hatcher-1", day(MOVE_D)), "lockdown", day(STAGE_D))
    return batch if closed_d is None else closed(batch, day(closed_d))


def written(book: EggBook, days: float, fact: Fact, egg: int | None = None, **about: object) -> EggBook:
    """The book with one more entry."""
    return add(book, Entry(day(days), day(days), "ada", fact, egg=egg, **about))  # type: ignore[arg-type]


def record(
    book: EggBook, dry_bulb_c: Callable[[float], float] = lambda days: WARM_C, until_d: float = 22.0
) -> MemoryStore:
    """Air by the day in both machines, two openings, a handling, a calibration, and the book."""
    line = Line(1, "node-a", 7, UPTIME, 0, to_ms(SET), 0, 0)
    ups = range(0, round(until_d * 86_400_000) + 1, STEP_MS)
    store = MemoryStore()
    store.commit(
        Group(
            lines={1: line},
            readings=[
                StoredReading(probe, 1, up, dry_bulb_c(up / 86_400_000), RH_PCT, PASS, PASS)
                for probe in ("node-a/top", "node-b/top")
                for up in ups
            ],
            batches={book.batch.id: book.batch},
            entries=[(book.batch.id, e) for e in book.entries],
            events=[
                Event(day(4.0), "opening", "setter-1", "opened for about 3 min"),
                Event(day(12.0), "opening", "setter-1", "opened for about 2 min"),
            ],
            handlings={"setter-1": Handling("setter-1", day(7.0), day(7.01), 0.0, "ada")},
            calibrations=[Calibration("node-b/top", day(1), dry_bulb_c=by_offset("dry_bulb_c", 0.1))],
        )
    )
    return store


def report(
    store: MemoryStore, site: Site, batch: Batch, egg: int, now: datetime
) -> tuple[BatchHistory, tuple[Chart, ...], Header]:
    """The history of one egg as the command has it: figures, lines, and what stands over them."""
    life = egg_life(store, site, batch, egg=egg, now=now)
    figures, charts = batch_charts(store, site, life.batch, now=life.until)
    header = Header(batch.id, batch.profile, batch.eggs, batch.set_at, life.part)
    return with_egg(figures, life.part), charts, header


def part_of(header: Header) -> EggPart:
    """The egg's own part."""
    assert header.egg is not None
    return header.egg
