"""A batch's record, loaded and cut into stretches of one machine and one stage, and worked out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.analysis.history.chart import Chart, Ribbon, charts_of, probe_charts, ribbon_of
from monitor.analysis.history.development import Development, development_of
from monitor.analysis.history.environment import BatchHistory, Stretch, history_of
from monitor.analysis.history.felt import DECLARED, HANDLING, MOVE, OPENING, SPLIT, Happening
from monitor.analysis.history.felt_figures import felt_of
from monitor.analysis.line.calibrated import corrected_air
from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.domain.eggs.book import standing
from monitor.domain.eggs.entry import Split
from monitor.domain.eggs.hatching import store_delay_h
from monitor.domain.eggs.temperature import EggModel, model_of
from monitor.domain.needs.bands import DRY_BULB, RH, WET_BULB, derived_rh
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Band, Profile, Stage
from monitor.domain.needs.site import AIRS, STILL, Probe, Site
from monitor.domain.needs.then import Sites
from monitor.domain.readings.calibration import Calibration, applied
from monitor.domain.readings.reading import to_ms
from monitor.domain.refusal import Refusal
from monitor.domain.signs.seen import NotBack, Opened
from monitor.service.ports import AirRecord, BatchRecord

Lives = Sequence[tuple[Sequence[Stretch], int]]  # of each batch its stretches, and day 0 in ms
ALL = 10_000_000  # events: more than a batch can have, so that none is left out
DEFAULT_SILENCE_S = 30.0  # for a time in no machine, where there is nothing to be silent


class NoRecord(Refusal):
    """A batch that has no history yet; one line."""


def batch_history(history: BatchRecord, site: Site, batch: Batch, *, now: datetime) -> BatchHistory:
    """The environment history of a batch through its machines, up to its end or `now`. Raises NoRecord."""
    return _worked_out(history, site, batch, now=now, stretches=_loaded(history, site, batch, now=now))


def batch_charts(
    history: BatchRecord, site: Site, batch: Batch, *, now: datetime
) -> tuple[BatchHistory, tuple[Chart, ...]]:
    """The same history, and its lines as a page draws them, from one look at the record. Raises NoRecord."""
    stretches = _loaded(history, site, batch, now=now)
    models = egg_models(site_at_end(history, site, batch, now=now).profiles[batch.profile])
    charts = charts_of(stretches, models, to_ms(batch.set_at))
    return _worked_out(history, site, batch, now=now, stretches=stretches), charts


def batch_lines(
    history: BatchRecord, site: Site, batch: Batch, *, charts: Sequence[Chart], now: datetime, good: Lives = ()
) -> tuple[dict[str, dict[str, Chart]], dict[str, Ribbon]]:
    """(each probe's own line by quantity and key, where the lives of good batches lay by quantity) beside charts of the same life.

    good: the stretches of each, and its day 0 in ms.
    """
    stretches = _loaded(history, site, batch, now=now)
    probes = {quantity: probe_charts(stretches, quantity) for quantity in (DRY_BULB, RH)}
    ribbons = {}
    for chart in charts:
        ribbon = (
            ribbon_of(good, chart.quantity, chart, set_ms=to_ms(batch.set_at)) if chart.quantity in probes else None
        )
        if ribbon is not None:
            ribbons[chart.quantity] = ribbon
    return probes, ribbons


def _loaded(history: BatchRecord, site: Site, batch: Batch, *, now: datetime) -> list[Stretch]:
    stretches = list(stretches_of(history, site, batch, now=now))
    if not stretches:
        raise NoRecord(f"batch {batch.id}", "in no machine yet", f"`eggroom batch move {batch.id} MACHINE` first")
    return stretches


def _worked_out(
    history: BatchRecord, site: Site, batch: Batch, *, now: datetime, stretches: Sequence[Stretch]
) -> BatchHistory:
    sites, done = sites_of(history, site), tuple(happenings_of(history, batch, now))
    profile = _at_end(sites, batch, now).profiles[batch.profile]
    return replace(
        history_of(stretches),
        calibrations=tuple(_applied(history, sites, batch, now=now)),
        felt=felt_of(
            stretches, egg_models(profile), set_ms=to_ms(batch.set_at), term_days=profile.days, happenings=done
        ),
        happenings=done,
        given=WET_BULB if any(stage.wet_bulb_c is not None for stage in profile.stages) else RH,
        development=_developed(history, profile, batch, now=now, stretches=stretches),
    )


def batch_development(history: BatchRecord, site: Site, batch: Batch, *, now: datetime) -> Development | None:
    """How far a batch should be, up to its end or `now`; None before it was set, in no machine, or without a target to go by."""
    profile = site_at_end(history, site, batch, now=now).profiles.get(batch.profile)
    if profile is None:
        return None
    stretches = list(stretches_of(history, site, batch, now=now))
    return _developed(history, profile, batch, now=now, stretches=stretches) if stretches else None


def _developed(
    history: BatchRecord, profile: Profile, batch: Batch, *, now: datetime, stretches: Sequence[Stretch]
) -> Development | None:
    end = min(batch.closed_at or now, now)
    if end < batch.set_at or any(stage.dry_bulb_c.target is None for stage in profile.stages):
        return None
    store_h = store_delay_h(history.book(batch))
    set_ms, now_ms, models = to_ms(batch.set_at), to_ms(end), egg_models(profile)
    return development_of(stretches, profile, models, set_ms=set_ms, now_ms=now_ms, store_h=store_h)


def sites_of(history: AirRecord, site: Site) -> Sites:
    """The site at each moment, by what the record says of it."""
    return Sites(site, tuple(history.sites()))


def site_at_end(history: AirRecord, site: Site, batch: Batch, *, now: datetime) -> Site:
    """The site as it was when the batch's time ended, or is now as the daemon took it up, with its profile as it was then."""
    return _at_end(sites_of(history, site), batch, now)


def _at_end(sites: Sites, batch: Batch, now: datetime) -> Site:
    return sites.at(min(batch.closed_at or now, now), batch.profile)


def egg_models(profile: Profile) -> dict[str, EggModel]:
    """The batch's egg in a machine of either kind of air, as `Stretch.egg_in` of `stretches_of` asks for it."""
    return {air: model_of(profile, air) for air in AIRS}


def happenings_of(history: BatchRecord, batch: Batch, now: datetime) -> list[Happening]:
    """What was done to a batch, in order: moves, declared stages, eggs that went elsewhere, openings and handlings of its machine."""
    places = list(_places(batch, now))
    if not places:
        return []
    begin, end = places[0][1], places[-1][2]

    def there(machine: str, since: datetime, until: datetime) -> bool:
        return any(place == machine and begun <= until and since < ended for place, begun, ended in places)

    found = [Happening(to_ms(since), MOVE, place) for place, since, _ in places]
    if batch.closed_at is not None and batch.closed_at <= now:
        found.append(Happening(to_ms(batch.closed_at), MOVE, "", closed=True))
    found += [
        Happening(to_ms(d.at), DECLARED, _place_at(places, d.at), d.stage)
        for d in batch.declared
        if begin <= d.at < end
    ]
    found += [
        Happening(
            to_ms(e.at), OPENING, e.subject, e.text, seen=e.what if isinstance(e.what, Opened | NotBack) else None
        )
        for e in history.events(begin, ALL, until=end)
        if e.kind == OPENING and there(e.subject, e.at, e.at)
    ]
    found += [
        Happening(
            at_ms=to_ms(h.since),
            kind=HANDLING,
            machine=h.machine,
            text="declared",
            until_ms=to_ms(min(h.until, end)),
            by=h.by,
        )
        for h in history.handlings(begin, end)
        if there(h.machine, h.since, h.until)
    ]
    left: Counter[tuple[datetime, str]] = Counter()
    for e in standing(history.book(batch)):
        if isinstance(e.fact, Split) and begin <= e.at < end:
            left[e.at, e.fact.into] += e.eggs
    found += [
        Happening(to_ms(at), SPLIT, _place_at(places, at), split=(count, into)) for (at, into), count in left.items()
    ]
    return sorted(found, key=lambda each: each.at_ms)


def stretches_of(history: AirRecord, site: Site, batch: Batch, *, now: datetime) -> Iterator[Stretch]:
    """The batch's life in order: one stretch for each machine and stage, with the bands that this batch needed then.

    Each is cut where what looked at the machine, its air, the profile or the air pressure changed. Its air is corrected by the
    calibrations of its probes; the record itself is raw.
    """
    sites = sites_of(history, site)
    calibrations = by_probe(history.calibrations())
    for place, since_stay, until_stay in _places(batch, now):
        for since_span, until_span, then in sites.spans(place, batch.profile, (since_stay, until_stay)):
            machine, profile = then.machines.get(place), then.profiles[batch.profile]
            probes = then.by_machine.get(place, ())
            silence_s = _silence_s(probes)
            margin = margin_of(probes)
            for stage, since, until in _stages(batch, profile, since=since_span, until=until_span):
                dry_bulb = stage.dry_bulb_c
                if machine is not None and machine.air == STILL and profile.still_air_offset_k:
                    dry_bulb = dry_bulb.shifted(profile.still_air_offset_k)
                rh, wet = humidity_bands(stage, dry_bulb, then.pressure_kpa)
                if to_ms(since) < to_ms(until):
                    yield Stretch(
                        machine=place,
                        stage=stage.name,
                        since_ms=to_ms(since),
                        until_ms=to_ms(until),
                        dry_bulb_c=dry_bulb,
                        rh_pct=rh,
                        wet_bulb_c=wet,
                        air=tuple(
                            corrected_air(
                                history.series(p.key, *sites.reach(p, (since, until), margin)),
                                calibrations.get(p.key, ()),
                            )
                            for p in probes
                        ),
                        max_gap_s=silence_s,
                        pressure_kpa=then.pressure_kpa,
                        cabinet="" if machine is None else machine.air,
                        probes=tuple(p.key for p in probes),
                    )


def margin_of(probes: Sequence[Probe]) -> timedelta:
    """How far beyond both ends of a stretch a machine's readings are taken, so that the line reaches them."""
    return timedelta(seconds=2.0 * _silence_s(probes))


def _silence_s(probes: Sequence[Probe]) -> float:
    return max((p.silence_s for p in probes), default=DEFAULT_SILENCE_S)


def _place_at(places: Sequence[tuple[str, datetime, datetime]], at: datetime) -> str:
    return next((place for place, since, until in places if since <= at < until), "")


def by_probe(calibrations: Sequence[Calibration]) -> Mapping[str, tuple[Calibration, ...]]:
    """The calibrations of each probe, in the order in which they were added."""
    found: dict[str, tuple[Calibration, ...]] = {}
    for each in calibrations:
        found[each.probe] = (*found.get(each.probe, ()), each)
    return found


def _applied(history: BatchRecord, sites: Sites, batch: Batch, *, now: datetime) -> Iterator[Calibration]:
    """The calibrations that bear on the batch's figures, probe by probe, each once."""
    calibrations = by_probe(history.calibrations())
    stays = dict[str, list[tuple[datetime, datetime]]]()
    for place, since_stay, until_stay in _places(batch, now):
        for since, until, then in sites.spans(place, batch.profile, (since_stay, until_stay)):
            for probe in then.by_machine.get(place, ()):
                stays.setdefault(probe.key, []).append((since, until))
    for key, times in stays.items():
        known = calibrations.get(key, ())
        found = [c for since, until in times for c in applied(known, since, until)]
        yield from (c for c in known if any(c is one for one in found))


def _places(batch: Batch, now: datetime) -> Iterator[tuple[str, datetime, datetime]]:
    """(machine, from, until) without a hole; the machine is "" while the eggs were in none."""
    end = min(batch.closed_at or now, now)
    reached: datetime | None = None
    for stay in batch.stays:
        until = min(stay.until or end, end)
        if reached is not None and reached < stay.since:
            yield "", reached, stay.since
        yield stay.machine, stay.since, until
        reached = until


def humidity_bands(stage: Stage, dry_bulb: Band, pressure_kpa: float) -> tuple[Band | None, Band | None]:
    """(RH, wet bulb) of a stage: the one its source gives, the other derived at the dry-bulb target."""
    target = dry_bulb.target
    if stage.wet_bulb_c is not None:
        return (None if target is None else derived_rh(stage.wet_bulb_c, target, pressure_kpa)), stage.wet_bulb_c
    if stage.rh_pct is None or target is None:
        return stage.rh_pct, None
    derived = {name: float(wet_bulb_c(target, value, pressure_kpa)) for name, value in stage.rh_pct.limits()}
    return stage.rh_pct, Band(**derived)


def _stages(
    batch: Batch, profile: Profile, *, since: datetime, until: datetime
) -> Iterator[tuple[Stage, datetime, datetime]]:
    declared = batch.looked_back_days(until, profile)
    while since < until:
        day = max(0.0, batch.day(since))
        stage = profile.stage_at(day, declared)
        change = profile.next_change_day(day, declared)
        stop = until if change is None else min(until, batch.set_at + timedelta(days=change))
        stop = max(stop, min(until, since + timedelta(milliseconds=1)))  # a change within a rounding of now
        yield stage, since, stop
        since = stop
