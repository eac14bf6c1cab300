"""All that the sheet of one egg shows: its life, the review of what was found in it, and the house's good batches beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.analysis.history.chart import Chart, Ribbon
from monitor.analysis.history.egg import with_egg
from monitor.analysis.history.environment import BatchHistory
from monitor.analysis.review.house import ASKED
from monitor.analysis.review.whole import BatchReview
from monitor.domain.eggs.book import (
    FreshMass,
    fresh_mass,
    identity,
    last_size,
    of_egg,
)
from monitor.domain.eggs.death import FINDING_OF, Death, death_of
from monitor.domain.eggs.entry import Attached, Entry, Found, Identity, Size
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import LOSS, WHOLE, Catalogue
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.service.across.beside import Beside
from monitor.service.across.review import batch_review
from monitor.service.ports import Labelled, SheetRecord
from monitor.service.reports.batch import batch_charts, batch_lines, site_at_end
from monitor.service.reports.chick import Raised, raised
from monitor.service.reports.egg import EggLife, egg_life
from monitor.service.reports.turning import Turned, turned, turns_by_day, turns_of
from monitor.service.reports.written import stored_days

PHOTOGRAPH_BYTES = 400 * 1024  # as large as a page may carry along: what a telephone calls a small picture
PICTURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")  # JPEG, PNG


@dataclass(frozen=True, slots=True)
class Sensor:
    """One probe that looked at the egg. apart: how far its line lay from the one that was used, on average, by quantity (K, %RH). calibrations:
    those that bear on it; labelled: how its readings were dated."""

    key: str
    coverage: float
    apart: Mapping[str, float]
    calibrations: tuple[Calibration, ...]
    labelled: tuple[Labelled, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that the sheet of one egg shows.

    site, profile: as they were then. death: None where none is written. history, charts: of its life; probes: by quantity each probe's own line; ribbons: by quantity where the
    house's good batches lay. turns: (day of development, how often turned) by its switch. raised: its chick. photograph: (entry, content) of the newest picture that is small enough.
    """

    life: EggLife
    site: Site
    profile: Profile
    death: Death | None
    history: BatchHistory
    charts: tuple[Chart, ...]
    probes: Mapping[str, Mapping[str, Chart]]
    ribbons: Mapping[str, Ribbon]
    review: BatchReview
    sensors: tuple[Sensor, ...]
    who: Identity | None
    stored_days: tuple[float, ...]
    fresh: FreshMass | None
    size: Size | None
    turned: Turned | None
    turns: tuple[tuple[int, int], ...]
    raised: Raised | None
    photograph: tuple[Entry, bytes] | None


def sheet_of(history: SheetRecord, site: Site, batch: Batch, *, egg: int, now: datetime, catalogue: Catalogue) -> Sheet:
    """The sheet of an egg that the batch has. Where it is dead and nobody wrote a finding, the review asks after what its class is called in the
    trade's list. Raises NoRecord."""
    life = egg_life(history, site, batch, egg=egg, now=now)
    book = history.book(batch)
    then = site_at_end(history, site, batch, now=now)
    profile = then.profiles[batch.profile]
    died = death_of(book, egg, profile.days)
    figures, charts = batch_charts(history, site, life.batch, now=life.until)
    own = of_egg(book, egg)
    asked = None if died is None or any(isinstance(e.fact, Found) for e in own) else FINDING_OF.get(died.stage)
    shared = Beside(history, site, now, catalogue.wanted() | {(LOSS, WHOLE)} | frozenset(ASKED))
    review = batch_review(history, site, batch, now=now, catalogue=catalogue, egg=egg, finding=asked, shared=shared)
    good = [(each.stretches, to_ms(each.batch.set_at)) for each in shared.lives(batch) if each.stretches]
    probes, ribbons = batch_lines(history, site, life.batch, charts=charts, now=life.until, good=good)
    return Sheet(
        life=life,
        site=then,
        profile=profile,
        death=died,
        history=with_egg(figures, life.part),
        charts=charts,
        probes=probes,
        ribbons=ribbons,
        review=review,
        sensors=tuple(_sensors(history, charts, probes, calibrations=figures.calibrations)),
        who=identity(book, egg),
        stored_days=stored_days(book, (egg,)) or stored_days(book, None),
        fresh=fresh_mass(book, egg),
        size=last_size(own),
        turned=turned(history, site, book, now=life.until, egg=egg),
        turns=turns_by_day(turns_of(history, site, book, now=life.until), batch),
        raised=raised(history, then, book, egg=egg),
        photograph=_photograph(history, own),
    )


def _sensors(
    history: SheetRecord,
    charts: Sequence[Chart],
    probes: Mapping[str, Mapping[str, Chart]],
    *,
    calibrations: Sequence[Calibration],
) -> Iterator[Sensor]:
    used = {chart.quantity: chart for chart in charts}
    for key, line in probes[DRY_BULB].items():
        off = {quantity: lines[key].above(used[quantity]) for quantity, lines in probes.items()}
        since, until = from_ms(line.since_ms), from_ms(line.until_ms)
        yield Sensor(
            key=key,
            coverage=line.coverage,
            apart={quantity: each for quantity, each in off.items() if each is not None},
            calibrations=tuple(c for c in calibrations if c.probe == key),
            labelled=tuple(history.labelled(key.partition("/")[0], since, until)),
        )


def _photograph(history: SheetRecord, own: Sequence[Entry]) -> tuple[Entry, bytes] | None:
    """Known by how it begins, and not by its name."""
    for entry in reversed(own):
        if isinstance(entry.fact, Attached) and entry.fact.size <= PHOTOGRAPH_BYTES:
            content = history.file(entry.fact.sha256)
            if content is not None and content.startswith(PICTURES):
                return entry, content
    return None
