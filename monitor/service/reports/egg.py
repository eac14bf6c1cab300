"""What one egg of a batch lived through: the batch as it stood when that egg's own life ended, and what was written of the egg; and all that
its sheet shows.

The figures are those of the batch up to that instant, by the same way: nothing is worked out otherwise for one egg.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from monitor.analysis.history.chart import Chart, Ribbon
from monitor.analysis.history.egg import EggPart, left_out, lost_pct, with_egg
from monitor.analysis.history.environment import BatchHistory
from monitor.analysis.history.felt import Happening, Written
from monitor.analysis.review.whole import BatchReview
from monitor.analysis.water.ahead import EggLoss
from monitor.domain.eggs.book import (
    EggBook,
    FreshMass,
    Mass,
    fresh_mass,
    identity,
    laid_at,
    last_size,
    of_egg,
    standing,
)
from monitor.domain.eggs.death import FINDING_OF, Death, death_of
from monitor.domain.eggs.entry import Attached, Entry, Found, Identity, Laid, Size, Weighing
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Site
from monitor.domain.needs.target import pip_day, target_of
from monitor.domain.published.causes import Catalogue
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.service.ports import BatchRecord, Labelled, SheetRecord
from monitor.service.reports.batch import NoRecord, batch_charts, batch_lines, site_at_end
from monitor.service.reports.chick import Raised, raised
from monitor.service.reports.lived import Lived
from monitor.service.reports.review import batch_review
from monitor.service.reports.turning import Turned, turned, turns_by_day, turns_of
from monitor.service.reports.water import water_of
from monitor.service.reports.weighed import Weighed
from monitor.service.reports.written import stored_days

PHOTOGRAPH_BYTES = 400 * 1024  # as large as a page may carry along: what a telephone calls a small picture
PICTURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")  # JPEG, PNG


@dataclass(frozen=True, slots=True)
class EggLife:
    """The batch cut at the egg's own end, ready for `batch_history` and `batch_charts` with `until` as now; and the egg's own part."""

    batch: Batch
    until: datetime
    part: EggPart


def egg_life(history: BatchRecord, site: Site, batch: Batch, *, egg: int, now: datetime) -> EggLife:
    """The life of one egg that the batch has, up to its own end, the batch's or `now`.

    Its end is the first that was written of it: a chick that died after the hatch had left the shell. Raises NoRecord for one that
    was never in a machine.
    """
    book, until = history.book(batch), min(batch.closed_at or now, now)
    own = [e for e in of_egg(book, egg) if e.at <= now]
    end = next((e for e in own if e.ends), None)
    cut = batch
    if end is not None and end.at < until:
        until, cut = end.at, at_instant(batch, end.at)
        if batch.stays and not cut.stays:
            raise NoRecord(f"egg {egg} of batch {batch.id}", f"{end.word} before it was in a machine", "one that was")
    profile = site_at_end(history, site, batch, now=now).profiles[batch.profile]
    weighed, lost_by = Weighed(()), until
    if any(isinstance(e.fact, Weighing) for e in own):
        water = water_of(history, site, book, now=now)
        weighed = water.eggs.get(egg, weighed)
        lost_by = water.at if weighed.until is None else weighed.until
    entries = tuple(sorted(_entries(book, egg, own, until=until), key=lambda e: (_at(book, e, egg), e.number)))
    part = EggPart(
        batch=batch,
        egg=egg,
        until=until,
        end=end,
        entries=entries,
        done=_done(book, egg, entries, weighed=weighed),
        zone=site.zone,
        masses=weighed.masses,
        loss=weighed.loss,
        unknown=weighed.unknown,
        lost_by=lost_by,
        target=target_of(profile),
        pip_day=pip_day(profile),
        by_pip_pct=weighed.by_pip_pct,
    )
    return EggLife(cut, until, part)


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
    beside: list[Lived] = []
    own = of_egg(book, egg)
    asked = None if died is None or any(isinstance(e.fact, Found) for e in own) else FINDING_OF.get(died.stage)
    review = batch_review(history, site, batch, now=now, catalogue=catalogue, egg=egg, finding=asked, beside=beside)
    good = [(each.stretches, to_ms(each.batch.set_at)) for each in beside if each.stretches]
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


def at_instant(batch: Batch, at: datetime) -> Batch:
    """The batch as it stood at an instant: not closed yet, and nothing known of later moves and stages."""
    stays = tuple(replace(s, until=min(s.until or at, at)) for s in batch.stays if s.since < at)
    return replace(batch, stays=stays, declared=tuple(d for d in batch.declared if d.at <= at), closed_at=None)


def _entries(book: EggBook, egg: int, own: Sequence[Entry], *, until: datetime) -> list[Entry]:
    """What stands of the egg, also after its end, and of the whole batch until then; of the day it was laid the egg's own counts."""
    laid = any(isinstance(e.fact, Laid) for e in own)
    whole = [e for e in standing(book) if e.egg is None and e.count is None and not (laid and isinstance(e.fact, Laid))]
    return [*own, *(e for e in whole if _at(book, e, egg) <= until)]


def _at(book: EggBook, entry: Entry, egg: int) -> datetime:
    """When it was so; an egg was laid before anybody wrote it down."""
    return (laid_at(book, egg) or entry.at) if isinstance(entry.fact, Laid) else entry.at


def _done(book: EggBook, egg: int, entries: Sequence[Entry], *, weighed: Weighed) -> tuple[Happening, ...]:
    masses, batch = {m.entry: m for m in weighed.masses}, book.batch
    done = []
    for entry in entries:
        at = _at(book, entry, egg)
        stay = batch.stay_at(at)
        machine = "" if stay is None else stay.machine
        written = _written(entry, masses.get(entry.number), weighed.loss, batch=batch)
        done.append(Happening(to_ms(at), entry.fact.kind, machine, by=entry.who, entry=entry.number, written=written))
    return tuple(done)


def _written(entry: Entry, mass: Mass | None, loss: EggLoss | None, *, batch: Batch) -> Written:
    """With what a weighing comes to."""
    if mass is None:
        return Written(entry)
    why, lost = left_out(mass, loss), lost_pct(mass, loss, batch)
    told = lost is not None and lost >= 0.05 and not why
    return Written(entry, why, lost if told else None)
