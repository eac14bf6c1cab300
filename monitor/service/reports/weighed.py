"""The water of a batch's eggs at an instant: from its weighings and the air it was in, what each has lost and what lies ahead of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial

from monitor.analysis.history.environment import Stretch
from monitor.analysis.water.ahead import HELD_RH_PCT, Ahead, EggLoss, Mend, ahead_of, egg_loss
from monitor.analysis.water.batch import FEWEST, UNSURE, BatchLoss, Track, batch_loss, batch_track, track
from monitor.analysis.water.loss import Interval, LossLine, NoLine, ScalesApart, line_of, pooled_offset, scales_apart
from monitor.analysis.water.pull import Pull, mean_air, pull_of
from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct
from monitor.domain.air.units import Unit, celsius_to_fahrenheit, fahrenheit_to_celsius
from monitor.domain.alarms import about
from monitor.domain.alarms.about import Losing, Projection
from monitor.domain.eggs.book import (
    EggBook,
    FreshMass,
    LeftOut,
    Mass,
    ShellBreak,
    candled,
    fresh_mass,
    masses,
    numbers,
    outcome,
    shell_breaks,
    sign_at,
    tray_masses,
    trays,
)
from monitor.domain.eggs.entry import (
    CLEAR,
    DEAD,
    EARLY_DEAD,
    EXTERNAL_PIP,
    INTERNAL_PIP,
)
from monitor.domain.eggs.temperature import EggModel, model_of
from monitor.domain.needs.bands import RH, SENSOR_ERROR_RH_PCT, SENSOR_ERROR_WET_K, needs_of
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Band, Profile
from monitor.domain.needs.site import FORCED, STILL, Machine, Site
from monitor.domain.needs.target import Target, lockdown_day, pip_day, target_of
from monitor.domain.readings.reading import DAY_MS, to_ms
from monitor.domain.refusal import Refusal
from monitor.domain.watch.plan import USUAL_C
from monitor.service.reports.batch import egg_models

_NO_OFFSETS: Mapping[str, tuple[float, float]] = {}
LATELY_MS = DAY_MS  # the machine as it is set now; less is one refill or opening, more is how it was set before
BACK_WITHIN = 2.0  # an interval wider than so many windows ends no alarm (judgement)


class NoWater(Refusal):
    """A batch whose water cannot be worked out; one line."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """The water of one egg, or of a tray as one egg of it.

    loss: None where `unknown` says why: no line, or the last weighing of those that all are left out. track: None without a loss or a window.
    until: when it pipped, hatched, died or was taken out, None while it goes on; its loss is of then, and nothing is projected beyond. by_pip_pct: what it had lost at pip, for which the
    window is; None while that lies ahead, and where it died before.
    """

    masses: tuple[Mass, ...]
    loss: EggLoss | None = None
    unknown: NoLine | LeftOut | None = None
    track: Track | None = None
    until: datetime | None = None
    by_pip_pct: Interval | None = None


@dataclass(frozen=True, slots=True)
class Water:
    """The water of a batch at an instant.

    machine: "" while it is in none. target: what its species should lose, None where no source says. lately_c,
    lately_rh_pct: the machine's air over the last day, None where it was not measured. together, track: of the eggs that go on.
    off: what is to be judged, None where nobody can say; about: what of it is told, None where there is nothing.
    """

    at: datetime
    day: float
    machine: str
    pip_day: float
    target: Target | None
    lately_c: float | None
    lately_rh_pct: float | None
    eggs: Mapping[int, Weighed]
    trays: Mapping[str, Weighed]
    together: BatchLoss | None
    track: Track | None
    off: bool | None
    about: Losing | None

    @property
    def window_pct(self) -> tuple[float, float] | None:
        """The loss at pip that its eggs are judged by; None where no source says."""
        return None if self.target is None else self.target.by_pip_pct


@dataclass(frozen=True, slots=True)
class _Record:
    """What every egg of the batch has in common."""

    site: Site
    batch: Batch
    profile: Profile
    model: EggModel
    pull: Pull | None
    dry_bulb_c: float
    rh_pct: float | None
    held_pct: tuple[float, float]

    def ahead(self, at: datetime, pip: float | None = None) -> Ahead:
        lockdowns = [day for stage, day in self.batch.looked_back_days(at, self.profile) if stage != "setter"]
        ahead = ahead_of(
            self.profile,
            self.model,
            set_ms=to_ms(self.batch.set_at),
            now_ms=to_ms(at),
            dry_bulb_c=self.dry_bulb_c,
            rh_pct=self.rh_pct,
            pressure_kpa=self.site.pressure_kpa,
            lockdown_day=min([lockdown_day(self.profile), *lockdowns]),
            pip=pip,
        )
        return replace(ahead, held_pct=self.held_pct)

    def weighed(
        self,
        found: tuple[Mass, ...],
        ahead: Ahead,
        fresh: FreshMass | None = None,
        *,
        until: datetime | None = None,
        breaks: Sequence[ShellBreak] = (),
        offsets_g: Mapping[str, tuple[float, float]] = _NO_OFFSETS,
    ) -> Weighed:
        set_ms = to_ms(self.batch.set_at)
        if found and all(mass.left_out for mass in found):
            return Weighed(found, unknown=found[-1].left_out, until=until)
        line = line_of(
            found,
            self.pull,
            set_ms=set_ms,
            pressure_kpa=self.site.pressure_kpa,
            fresh=fresh,
            breaks=breaks,
            offsets_g=offsets_g,
        )
        if not isinstance(line, LossLine):
            return Weighed(found, unknown=line, until=until)
        return Weighed(found, egg_loss(line, self.pull, set_ms=set_ms, ahead=ahead), until=until)


def when(batch: Batch, now: datetime) -> datetime:
    """The instant that the water of a batch is of: now, or when it was closed."""
    return batch.closed_at or batch.not_before(now)


def water_at(
    site: Site,
    book: EggBook,
    now: datetime,
    *,
    stretches: Sequence[Stretch],
    beside: Sequence[Batch] = (),
    elsewhere: Sequence[ScalesApart] = (),
) -> Water:
    """The water now, or when the batch of the book was closed. stretches: of that time, or longer. beside: the other batches of the
    house, for what may be set in a machine is bounded by all that are in it. elsewhere: what eggs of other batches say of their scales. Raises NoWater."""
    batch = book.batch
    if batch.profile not in site.profiles:
        raise NoWater(f"batch {batch.id}", f"profile {batch.profile!r} is not among the profiles", "its file")
    at = when(batch, now)
    at_ms = to_ms(at)
    stretches = [replace(s, until_ms=min(s.until_ms, at_ms)) for s in stretches if s.since_ms < at_ms]
    record, lately = _record(site, batch, at, stretches=stretches, beside=beside)
    ahead, profile = record.ahead(at), record.profile
    eggs = {egg: _egg(record, book, egg, at=at, ahead=ahead) for egg in numbers(book)}
    eggs |= {
        egg: _egg(record, book, egg, at=at, ahead=ahead, offsets_g=offsets_g)
        for egg, offsets_g in _offsets(eggs, elsewhere).items()
    }
    of_trays = {name: record.weighed(tray_masses(book, name), ahead) for name in trays(book)}
    going = {egg: w.loss for egg, w in eggs.items() if w.loss is not None and w.until is None}
    together = batch_loss(going, ahead)
    stay = batch.stay_at(at) or (batch.stays[-1] if batch.stays else None)
    water = Water(
        at=at,
        day=batch.day(at),
        machine=stay.machine if stay is not None else "",
        pip_day=pip_day(profile),
        target=target_of(profile),
        lately_c=lately[0],
        lately_rh_pct=lately[1],
        eggs=eggs,
        trays=of_trays,
        together=together,
        track=None,
        off=None,
        about=None,
    )
    return judged(water, site.unit)


def judged(water: Water, unit: Unit, beside: Sequence[Mend] = ()) -> Water:
    """The water with what is to be said of each egg, tray and the batch, and what is to be judged. beside: what weighed eggs of other
    batches in the machine want."""
    window, rh_now = water.window_pct, water.lately_rh_pct
    if window is None:
        return water
    wants = {e: w.loss.mend for e, w in water.eggs.items() if w.until is None and w.loss is not None and w.loss.mend}

    def told(weighed: Weighed, egg: int | None = None) -> Weighed:
        if weighed.loss is None:
            return weighed
        others = [*(mend for other, mend in wants.items() if other != egg), *beside]
        return replace(weighed, track=track(weighed.loss, window, rh_now_pct=rh_now, others=others))

    together = water.together
    water = replace(
        water,
        eggs={egg: told(w, egg) for egg, w in water.eggs.items()},
        trays={name: told(w) for name, w in water.trays.items()},
        track=None if together is None else batch_track(together, window, rh_now, others=beside),
    )
    off, about = _verdict(water, unit)
    return replace(water, off=off, about=about)


def _record(
    site: Site, batch: Batch, at: datetime, *, stretches: Sequence[Stretch], beside: Sequence[Batch] = ()
) -> tuple[_Record, tuple[float | None, float | None]]:
    profile, stay = site.profiles[batch.profile], batch.stay_at(at)
    machine = site.machines.get(stay.machine) if stay is not None else None
    pull = pull_of(stretches, egg_models(profile), to_ms(batch.set_at)) if stretches else None
    here = [s for s in stretches if machine is not None and s.machine == machine.id]
    lately_c, lately_rh = mean_air(here, to_ms(at) - LATELY_MS)
    dry_bulb_c = lately_c
    if dry_bulb_c is None:
        stage = profile.stage_at(max(0.0, batch.day(at)), batch.looked_back_days(at, profile))
        still = machine is not None and machine.air == STILL
        dry_bulb_c = (stage.dry_bulb_c.target or USUAL_C) + ((profile.still_air_offset_k or 0.0) if still else 0.0)
    # Where this machine's humidity is not known, the eggs are taken to go on as they have been.
    rh_pct = mean_air(stretches, 0)[1] if lately_rh is None else lately_rh
    model = model_of(profile, FORCED if machine is None else machine.air)
    held_pct = (
        HELD_RH_PCT if machine is None else _may_be_set(site, machine, (batch, *beside), at=at, dry_bulb_c=dry_bulb_c)
    )
    return _Record(
        site=site,
        batch=batch,
        profile=profile,
        model=model,
        pull=pull,
        dry_bulb_c=dry_bulb_c,
        rh_pct=rh_pct,
        held_pct=held_pct,
    ), (lately_c, lately_rh)


def _may_be_set(
    site: Site, machine: Machine, batches: Sequence[Batch], *, at: datetime, dry_bulb_c: float
) -> tuple[float, float]:
    """The RH that a machine holds and all that is in it may have: up to the warnings of their bands, or to the alarms where the warnings leave
    no more room than sensors err by. Where these have nothing in common, those of the first."""
    for present in (batches, batches[:1]):
        needs = needs_of(machine, present, site, at=at)
        if needs.humidity is None or "humidity" in needs.conflict:
            continue
        quantity, band = needs.humidity
        error = SENSOR_ERROR_RH_PCT if quantity == RH else SENSOR_ERROR_WET_K
        low, high = _edges(band, error)
        if quantity != RH:
            low, high = (
                None if wet is None else rh_from_wet_bulb_pct(dry_bulb_c, min(wet, dry_bulb_c), site.pressure_kpa)
                for wet in (low, high)
            )
        both = max(HELD_RH_PCT[0], low or 0.0), min(HELD_RH_PCT[1], 100.0 if high is None else high)
        if both[0] <= both[1]:
            return both
    return HELD_RH_PCT


def _edges(band: Band, error: float) -> tuple[float | None, float | None]:
    """Low and high of what may be advised: what would be warned of is not, where anything else can be held."""
    low, high = band.calm
    if band.width > error:
        return low, high
    return (
        low if band.low_alarm is None else band.low_alarm,
        high if band.high_alarm is None else band.high_alarm,
    )


def _offsets(
    eggs: Mapping[int, Weighed], elsewhere: Sequence[ScalesApart] = ()
) -> dict[int, dict[str, tuple[float, float]]]:
    """Of each egg that was weighed on several scales: what each shows more than its first, as the other eggs say that were weighed on both."""
    said = {
        egg: apart
        for egg, w in eggs.items()
        if w.loss is not None and (apart := scales_apart(w.loss.line, w.masses)) is not None
    }
    found: dict[int, dict[str, tuple[float, float]]] = {}
    for egg, mine in said.items():
        others = [*(other for each, other in said.items() if each != egg), *elsewhere]
        if others:
            found[egg] = {
                scale: pooled_offset(others, mine.mass_g, scale=scale, than=mine.first) for scale in mine.offsets_g
            }
    return found


def mixed_scales(book: EggBook) -> bool:
    """Whether any egg of a book was weighed on several scales that have names."""
    return any(len({m.scale for m in masses(book, egg) if m.scale}) > 1 for egg in numbers(book))


def scales_of(book: EggBook, site: Site) -> list[ScalesApart]:
    """What the eggs of a book say of the scales that they were weighed on; over days alone, for between two weighings the air hardly matters."""
    found: list[ScalesApart] = []
    for egg in numbers(book):
        weighed = masses(book, egg)
        if len({m.scale for m in weighed if m.scale}) < 2:
            continue
        line = line_of(
            weighed,
            None,
            set_ms=to_ms(book.batch.set_at),
            pressure_kpa=site.pressure_kpa,
            breaks=shell_breaks(book, egg),
        )
        apart = scales_apart(line, weighed) if isinstance(line, LossLine) else None
        found += [] if apart is None else [apart]
    return found


def _egg(
    record: _Record,
    book: EggBook,
    egg: int,
    *,
    at: datetime,
    ahead: Ahead,
    offsets_g: Mapping[str, tuple[float, float]] = _NO_OFFSETS,
) -> Weighed:
    found, fresh, breaks = masses(book, egg), fresh_mass(book, egg), shell_breaks(book, egg)
    pipped = [t for sign in (INTERNAL_PIP, EXTERNAL_PIP) if (t := sign_at(book, egg, sign)) is not None]
    end, gone_at = outcome(book, egg), _gone_at(book, egg)
    until = min([*pipped, *([] if end is None else [end.at]), *([] if gone_at is None else [gone_at])], default=at)
    if until >= at and end is None:
        return record.weighed(found, ahead, fresh, breaks=breaks, offsets_g=offsets_g)
    then = record.ahead(until, pip=record.batch.day(until))
    return record.weighed(found, then, fresh, until=until, breaks=breaks, offsets_g=offsets_g)


def _gone_at(book: EggBook, egg: int) -> datetime | None:
    """When the last candling found that there is no chick to be; None where it found one, or none was made."""
    at, found = candled(book, egg)
    return at if found in (CLEAR, EARLY_DEAD, DEAD) else None


def _verdict(water: Water, unit: Unit) -> tuple[bool | None, Losing | None]:
    """(off, about): the batch, where its eggs together are off; else each egg that is told apart, or that has too few beside it; a tray."""
    looked: list[tuple[about.Weighed, Weighed]] = [(about.Weighed(tray=name), w) for name, w in water.trays.items()]
    together, window = water.together, water.window_pct
    if window is None:
        return None, None
    if together is not None:
        few = len(together.eggs) < FEWEST
        if len(together.eggs) > 1 and water.track is not None and water.track.off:
            return True, Losing(about.Weighed(), _as_told(water.track.where_to, unit))
        single = [e for e in together.eggs if few or e in together.outliers]
        looked += [(about.Weighed(egg=e), water.eggs[e]) for e in single]
    tracks = [(who, w.track, w.loss) for who, w in looked if w.track is not None and w.loss is not None]
    off = sorted(((_miss(loss, window), who, t) for who, t, loss in tracks if t.off), key=lambda row: -row[0])
    if off:
        (_, worst, track_), *others = off
        return True, Losing(worst, _as_told(track_.where_to, unit), tuple(who for _, who, _ in others))
    every = [t for _, t, _ in tracks] + ([water.track] if water.track is not None else [])
    # One that is unsure keeps what stands, and begins nothing. Where nothing goes on any more, nothing is off.
    return (None if any(t.state == UNSURE and not _back(t.where_to) for t in every) else False), None


def _back(found: Projection) -> bool:
    """Whether a loss is back in its window by its value, with an interval that says something of it: enough to end what stands."""
    low, high = found.window_pct
    return low <= found.pip_pct <= high and found.high_pct - found.low_pct <= BACK_WITHIN * (high - low)


def _as_told(found: Projection, unit: Unit) -> Projection:
    """As precise as it is told, so that an alarm is not about something else each time that the air is worked out again."""
    setting, one = found.setting, partial(round, ndigits=1)
    if setting is not None:
        wet_c, now, loss = setting.wet_bulb_c, setting.now_pct, setting.loss_pct
        setting = replace(
            setting,
            rh_pct=round(setting.rh_pct),
            wet_bulb_c=one(wet_c) if unit == "C" else fahrenheit_to_celsius(one(celsius_to_fahrenheit(wet_c))),
            now_pct=None if now is None else round(now),
            loss_pct=None if loss is None else one(loss),
            do_pct=None if setting.do_pct is None else (round(setting.do_pct[0]), round(setting.do_pct[1])),
        )
    return replace(
        found, pip_pct=one(found.pip_pct), low_pct=one(found.low_pct), high_pct=one(found.high_pct), setting=setting
    )


def _miss(loss: EggLoss, window_pct: tuple[float, float]) -> float:
    """How far the projected loss lies outside the window."""
    return max(window_pct[0] - loss.pip_pct.value, loss.pip_pct.value - window_pct[1])
