"""A batch's record, loaded and cut into stretches of one machine and one stage, ready for the figures."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from monitor.analysis.environment import BatchHistory, Stretch, history_of
from monitor.domain.bands import derived_rh
from monitor.domain.batch import Batch, Stay
from monitor.domain.profile import Band, Profile, Stage
from monitor.domain.psychrometrics import wet_bulb_c
from monitor.domain.reading import to_ms
from monitor.domain.site import STILL, Site
from monitor.service.ports import History


def batch_history(history: History, site: Site, batch: Batch, now: datetime) -> BatchHistory:
    """The environment history of a batch through its machines, up to its end or `now`."""
    return history_of(list(stretches_of(history, site, batch, now)))


def stretches_of(history: History, site: Site, batch: Batch, now: datetime) -> Iterator[Stretch]:
    """The batch's life in order: one stretch for each machine and stage, with the bands that this batch needed then."""
    profile = site.profiles[batch.profile]
    for stay in batch.stays:
        until = min(stay.until or now, batch.closed_at or now, now)
        machine = site.machines.get(stay.machine)
        still = machine is not None and machine.air == STILL
        for stage, since, stop in _stages(batch, profile, stay, until):
            if still and profile.still_air_offset_k:
                dry_bulb = stage.dry_bulb_c.shifted(profile.still_air_offset_k)
            else:
                dry_bulb = stage.dry_bulb_c
            rh, wet = humidity_bands(stage, dry_bulb, site.pressure_kpa)
            probes = site.by_machine.get(stay.machine, ())
            yield Stretch(
                machine=stay.machine,
                stage=stage.name,
                since_ms=to_ms(since),
                until_ms=to_ms(stop),
                dry_bulb_c=dry_bulb,
                rh_pct=rh,
                wet_bulb_c=wet,
                air=tuple(
                    history.series(p.key, since - _margin(p.silence_s), stop + _margin(p.silence_s)) for p in probes
                ),
                max_gap_s=max((p.silence_s for p in probes), default=30.0),
                pressure_kpa=site.pressure_kpa,
            )


def humidity_bands(stage: Stage, dry_bulb: Band, pressure_kpa: float) -> tuple[Band | None, Band | None]:
    """(RH, wet bulb) of a stage: the one its source gives, the other derived at the dry-bulb target."""
    target = dry_bulb.target
    if stage.wet_bulb_c is not None:
        return (None if target is None else derived_rh(stage.wet_bulb_c, target, pressure_kpa)), stage.wet_bulb_c
    if stage.rh_pct is None or target is None:
        return stage.rh_pct, None
    derived = {name: float(wet_bulb_c(target, value, pressure_kpa)) for name, value in stage.rh_pct.limits()}
    return stage.rh_pct, Band(**derived)


def _stages(batch: Batch, profile: Profile, stay: Stay, until: datetime) -> Iterator[tuple[Stage, datetime, datetime]]:
    since = stay.since
    everything = batch.declared_days(until)
    while since < until:
        day = max(0.0, batch.day(since))
        stage = profile.stage_at(day, everything)
        change = profile.next_change_day(day, everything)
        stop = until if change is None else min(until, batch.set_at + timedelta(days=change))
        if stop <= since:  # a change within a rounding of now: step over it
            stop = min(until, since + timedelta(milliseconds=1))
        yield stage, since, stop
        since = stop


def _margin(silence_s: float) -> timedelta:
    return timedelta(seconds=silence_s)
