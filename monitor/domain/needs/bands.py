"""What the eggs in a machine need at an instant: one band per quantity, and until when that holds.

Several batches in one machine need the intersection of their bands. Where that is empty the eggs cannot share a machine: the
breeder is told, naming the batches, and meanwhile the limits of danger stand (the strictest high-temperature limit), and warnings of what is out of
every band. So it is where they have no more in common than a sensor errs by: no machine can be set to one point.

A humidity band is relative humidity or wet bulb, as its source gives it; batches that mix the two are brought to relative
humidity at their dry-bulb target and the site's pressure, which does not move with the reading.

At lockdown the humidity band rises. For the settling time the low limits of the stage before still stand, and the warnings of its temperature too
where they are wider, for the air cannot follow at once; past it, low humidity is "not raised for lockdown" until it has been high enough once (see `evaluate`). Eggs whose lockdown
the calendar alone began, and which are to be moved first, have the time that moving them has: until they are overdue for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Band, Profile, Stage
from monitor.domain.needs.rulebook import rules_of
from monitor.domain.needs.rules import DRY_BULB as DRY_BULB
from monitor.domain.needs.rules import EGG as EGG
from monitor.domain.needs.rules import LOCKDOWN_GRACE_DAYS, LOCKDOWN_OVERDUE
from monitor.domain.needs.site import HATCHER, SETTER, STILL, Machine, Site

# What two good sensors may differ from the truth, typical for the SHT4x (its data sheet; ±1.8 %RH, ±0.2 °C): no machine can be held within
# less. A wet bulb has both: ±0.4 K at 37.5 °C and 50 %.
SENSOR_ERROR_K, SENSOR_ERROR_RH_PCT, SENSOR_ERROR_WET_K = 0.2, 1.8, 0.4

_ROUNDING = 1e-6  # of differences of limits

# Beside DRY_BULB, and what the eggs feel (EGG): reckoned, and with no band of its own.
RH, WET_BULB = "rh_pct", "wet_bulb_c"

# Air of 105 °F for half an hour harms hens' eggs, or kills many (MSU-HMG, an extension guide): the least that any source says kills within
# the hour. Experiments on hens bore more (`published/exposure.py`). Of other birds nobody was found to say.
HEN_LETHAL_C = 40.6
WITHIN_HOUR_MIN = 60.0


@fixed
class Occupant:
    """One batch in a machine at an instant: its day, its stage, and since when the lockdown humidity is due here.

    settling: the air is still given time to reach it, or the eggs to be moved first; move_by: by when they are to be, while that time runs.
    """

    batch: str
    profile: str
    day: float
    stage: str
    lockdown_since: datetime | None
    settling: bool = False
    move_by: datetime | None = None


@fixed
class Needs:
    """What the eggs in one machine need; a band is None where nothing is judged.

    At most one of rh_pct and wet_bulb_c is given. settling_until: when the air has had its time to settle for the last of the batches; None too
    while they are to be moved.
    lethal_c: air that kills within the hour, by the strictest source for those in there; None where nobody is. of_hens: it is known of
    hens alone, and there are other birds. conflict: the quantities for which no value suits all batches. missing: batches whose profile is not known.
    valid_until: when any of this changes by itself; None when only a person can change it.
    """

    machine: str
    occupants: tuple[Occupant, ...] = ()
    dry_bulb_c: Band | None = None
    rh_pct: Band | None = None
    wet_bulb_c: Band | None = None
    settling_until: datetime | None = None
    conflict: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    valid_until: datetime | None = None
    lethal_c: float | None = None
    of_hens: bool = False

    @property
    def humidity(self) -> tuple[str, Band] | None:
        """The humidity quantity that is judged, and its band."""
        if self.rh_pct is not None:
            return RH, self.rh_pct
        if self.wet_bulb_c is not None:
            return WET_BULB, self.wet_bulb_c
        return None


def needs_of(machine: Machine, batches: Iterable[Batch], site: Site, *, at: datetime, settled: bool = False) -> Needs:
    """The needs of whatever is in the machine at `at`, which is now; an empty machine needs nothing. settled: as they will be when it has settled."""
    present = [b for b in batches if (stay := b.stay_at(b.not_before(at))) is not None and stay.machine == machine.id]
    known = [(b, site.profiles[b.profile]) for b in present if b.profile in site.profiles]
    missing = tuple(b.id for b in present if b.profile not in site.profiles)
    if not known:
        return Needs(machine.id, missing=missing)
    stages: list[Stage] = []
    occupants: list[Occupant] = []
    changes: list[datetime] = []
    settling: list[datetime] = []
    settle = timedelta(seconds=site.settle_s)
    elsewhere = _elsewhere(machine, known, site, at=at)
    for batch, profile in known:
        now = batch.not_before(at)
        day = batch.day(now)
        declared = batch.declared_days(now)
        stage = profile.stage_at(day, declared)
        since = _lockdown_since(batch, profile, now) if stage.name != "setter" else None
        until = None if since is None else since + settle
        to_move = since is not None and elsewhere and _by_calendar_alone(batch, profile)
        if since is not None and until is not None and to_move:
            until = max(until, _overdue_at(batch, profile, machine=machine, site=site))
        settles = not settled and since is not None and until is not None and since - settle <= at < until
        if since is not None and at < since - settle:
            changes.append(
                since - settle
            )  # the label clock went back: low humidity is expected for a while, never for long
        occupants.append(
            Occupant(
                batch=batch.id,
                profile=profile.id,
                day=day,
                stage=stage.name,
                lockdown_since=since,
                settling=settles,
                move_by=until if to_move and settles else None,
            )
        )
        following = profile.next_change_day(day, declared)
        if following is not None:
            changes.append(batch.set_at + timedelta(days=following))
        if until is not None and settles:
            (changes if to_move else settling).append(until)
            before = profile.stage_at(0.0)
            warm = _outer([stage.dry_bulb_c, before.dry_bulb_c], stage.dry_bulb_c)
            stage = replace(_eased(stage, before, _lower_lows), dry_bulb_c=warm)
        if stage.name == "setter" and profile.lockdown_sign is not None:
            if day < profile.hatch_day_first:
                changes.append(batch.set_at + timedelta(days=profile.hatch_day_first))
            else:
                stage = _eased(stage, profile.stages[1], _higher_highs)
        if machine.air == STILL and profile.still_air_offset_k:
            stage = replace(stage, dry_bulb_c=stage.dry_bulb_c.shifted(profile.still_air_offset_k))
        stages.append(stage)
    dry_bulb = _shared([s.dry_bulb_c for s in stages], SENSOR_ERROR_K, _danger_of_heat)
    conflict = [] if dry_bulb[1] else ["temperature"]
    kind, humidity_bands = _humidity(stages, dry_bulb[0], site.pressure_kpa)
    humidity: Band | None = None
    if humidity_bands:
        error = SENSOR_ERROR_RH_PCT if kind == RH else SENSOR_ERROR_WET_K
        humidity, agreed = _shared(humidity_bands, error, _danger_either_way)
        if not agreed:
            conflict.append("humidity")
    lethal_c, of_hens = _lethal([profile for _, profile in known])
    return Needs(
        machine=machine.id,
        occupants=tuple(occupants),
        dry_bulb_c=dry_bulb[0],
        rh_pct=humidity if kind == RH else None,
        wet_bulb_c=humidity if kind == WET_BULB else None,
        settling_until=max(settling) if settling else None,
        conflict=tuple(conflict),
        missing=missing,
        valid_until=min((*changes, *settling), default=None),
        lethal_c=lethal_c,
        of_hens=of_hens,
    )


def _lethal(profiles: Sequence[Profile]) -> tuple[float, bool]:
    """(air that kills within the hour by the strictest source, whether that is the hen's for another bird).

    A profile's own counts if it kills in an hour or less: longer is what "too hot" asks about in time. It is not moved in a still-air
    machine: the guides speak of small machines, and of what the thermometer at the eggs reads.
    """
    known = {
        p.id: p.lethal_heat[0] for p in profiles if p.lethal_heat is not None and p.lethal_heat[1] <= WITHIN_HOUR_MIN
    }
    own = set(known.values())
    lacking = [profile for profile in profiles if profile.id not in known]
    strictest = min({*own, HEN_LETHAL_C} if lacking else own)
    of_others = any(profile.kind != "fowl" for profile in lacking)  # the guide is one for game birds and small poultry
    return strictest, of_others and strictest not in own


def derived_rh(band: Band, dry_bulb_c: float, pressure_kpa: float) -> Band:
    """A wet-bulb band as relative humidity at one dry bulb: a limit above it becomes 100 %, one that even dry air exceeds 0 %."""

    def relative(wet_bulb_c: float) -> float:
        try:
            return rh_from_wet_bulb_pct(dry_bulb_c, min(wet_bulb_c, dry_bulb_c), pressure_kpa)
        except ValueError:  # the wet bulb of air without any water is higher, as in a machine that is far too hot
            return 0.0

    return Band(**{name: relative(value) for name, value in band.limits()})


def _elsewhere(machine: Machine, inside: Sequence[tuple[Batch, Profile]], site: Site, *, at: datetime) -> bool:
    """Whether eggs that come to their lockdown in this machine are to be moved before its air is made moister: to a hatcher, or away from others
    that want it dry."""
    if machine.kind != SETTER:
        return False
    if any(each.kind == HATCHER for each in site.machines.values()):
        return True
    stages = [p.stage_at(b.day(now := b.not_before(at)), b.declared_days(now)).name for b, p in inside]
    return len(stages) > 1 and "setter" in stages


def _by_calendar_alone(batch: Batch, profile: Profile) -> bool:
    """Whether nobody said that its lockdown began: who writes a pip, or the lockdown itself, has the eggs in hand."""
    return profile.lockdown_sign is None and not any(each.stage != "setter" for each in batch.declared)


def _overdue_at(batch: Batch, profile: Profile, *, machine: Machine, site: Site) -> datetime:
    """When it is told that the batch was not moved for its lockdown; before the first chick of a normal hatch in any case."""
    limit = rules_of(site, machine.id, (profile.id,))[LOCKDOWN_OVERDUE].limit
    day = profile.lockdown_day + (LOCKDOWN_GRACE_DAYS if limit is None else limit)
    return batch.set_at + timedelta(days=min(day, profile.hatch_day_first))


def _lockdown_since(batch: Batch, profile: Profile, at: datetime) -> datetime:
    """When lockdown humidity became due where the batch is at `at`: its lockdown began, or it came here since."""
    begun = [declared.at for declared in batch.declared if declared.stage != "setter"]
    if profile.lockdown_sign is None:
        begun.append(batch.set_at + timedelta(days=profile.lockdown_day))
    began = min(begun)
    stay = batch.stay_at(at)
    return max(began, stay.since) if stay is not None else began


def _eased(stage: Stage, other: Stage, ease: Callable[[Band, Band], Band]) -> Stage:
    """The stage with its humidity band eased by that of another; only like can ease like."""
    if stage.rh_pct is not None and other.rh_pct is not None:
        return replace(stage, rh_pct=ease(stage.rh_pct, other.rh_pct))
    if stage.wet_bulb_c is not None and other.wet_bulb_c is not None:
        return replace(stage, wet_bulb_c=ease(stage.wet_bulb_c, other.wet_bulb_c))
    return stage


def _lower_lows(band: Band, before: Band) -> Band:
    """The band with the low limits of the stage before, where these are lower or there are none: while the air follows."""

    def lower(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None else min(a, b)

    return replace(
        band,
        low_alarm=lower(band.low_alarm, before.low_alarm),
        low_warning=lower(band.low_warning, before.low_warning),
    )


def _higher_highs(band: Band, later: Band) -> Band:
    """The band with the high limits of the lockdown, where these are higher or there are none: of eggs that may have pipped unwritten.

    Birds that go by the egg come to their normal hatch days without a sign; who raised the water because a beak is through must not be
    told to take it away.
    """

    def higher(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None else max(a, b)

    return replace(
        band,
        high_warning=higher(band.high_warning, later.high_warning),
        high_alarm=higher(band.high_alarm, later.high_alarm),
    )


def _humidity(stages: list[Stage], dry_bulb: Band | None, pressure_kpa: float) -> tuple[str, list[Band]]:
    """The one humidity quantity that these stages are judged by, and their bands in it."""
    wet = [s.wet_bulb_c for s in stages if s.wet_bulb_c is not None]
    relative = [s.rh_pct for s in stages if s.rh_pct is not None]
    if not relative:
        return WET_BULB, wet
    target = dry_bulb.target if dry_bulb is not None else None
    for stage in stages:
        if stage.wet_bulb_c is not None:
            at_c = target if target is not None else stage.dry_bulb_c.target
            if at_c is not None:
                relative.append(derived_rh(stage.wet_bulb_c, at_c, pressure_kpa))
    return RH, relative


def _shared(bands: list[Band], error: float, danger: Callable[[list[Band]], Band]) -> tuple[Band | None, bool]:
    """The bands' intersection, and True; or, where it is empty or no wider than the sensors' error, the limits of danger, with warnings of what
    is out of every band, and False.

    A band that is as narrow by itself is its profile's own affair.
    """
    shared: Band | None = bands[0]
    for band in bands[1:]:
        if shared is not None:
            shared = shared.intersect(band)
    if shared is None or shared.width < min(error + _ROUNDING, *(band.width - _ROUNDING for band in bands)):
        return _outer(bands, danger(bands)), False
    return shared, True


def _outer(bands: list[Band], danger: Band) -> Band:
    """These limits of danger, and between them a warning of what is out of every band; none on a side where one of them is open."""
    lows, highs = [band.calm[0] for band in bands], [band.calm[1] for band in bands]
    floor = -math.inf if danger.low_alarm is None else danger.low_alarm
    ceiling = math.inf if danger.high_alarm is None else danger.high_alarm
    low = min((each for each in lows if each is not None), default=floor) if None not in lows else floor
    high = max((each for each in highs if each is not None), default=ceiling) if None not in highs else ceiling
    return replace(
        danger,
        low_warning=low if floor < low < ceiling else None,
        high_warning=high if floor < high < ceiling else None,
    )


def _danger_of_heat(bands: list[Band]) -> Band:
    """The strictest high limit, and the lowest low one: no setting is right, but too hot for one is too hot."""
    highs = [b.high_alarm for b in bands if b.high_alarm is not None]
    lows = [b.low_alarm for b in bands if b.low_alarm is not None]
    high = min(highs, default=None)
    low = min(lows, default=None)
    if low is not None and high is not None and low > high:
        low = None
    return Band(low_alarm=low, high_alarm=high)


def _danger_either_way(bands: list[Band]) -> Band:
    """For humidity, only what is out of every band: hours of it do little harm, and no setting is right."""
    highs = [b.high_alarm for b in bands if b.high_alarm is not None]
    lows = [b.low_alarm for b in bands if b.low_alarm is not None]
    low, high = min(lows, default=None), max(highs, default=None)
    if low is not None and high is not None and low > high:
        return Band()  # one batch has only a low limit, the other only a high one below it: no value is out of both
    return Band(low_alarm=low, high_alarm=high)
