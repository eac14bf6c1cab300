"""How far the embryos should be: hours of incubation at temperature, and the hatch window that the record leads to.

The egg's temperature is estimated from the air (`domain/eggs/temperature`) and compared with normal: the same egg in the same machine,
had it read the profile's target all along. So what the model has wrong about the level an egg stands at falls out, and
only how fast it follows remains. Each hour then counts as so much development:

    normal                     1
    a little warmer or cooler  1, more or less by a published share for each K
    below the linear range     straight down to none at physiological zero
    above the limit            1: no speed-up is claimed

An hour is behind by what it falls short of 1, and the hatch is late by their sum. The time ahead is taken to be normal.

The doubt is reckoned by changing one thing at a time, to either side: the sensitivity with physiological zero, the level
of the air, how fast the egg follows. These come together as the root of the sum of their squares. What a time without a
record may hide is added whole: air as warm as in the study, or the eggs in a cold room. Nothing is made up for such a time: as
found it counts as normal. The bounds are no confidence interval, for most of what they stand on is judgement.

How far this can be trusted: the sensitivity comes from one study of hens in the second and third week. Other birds are
taken to lose or gain the same share of their time, and the first week the same as the others, though it is said to be
slowed most (Lourens and others 2005, no figure found). The warming of cool eggs after the set is part of the profile's days.
Where less than half of the time is on record the hatch is the calendar's: what the rest may hide would be most of what is told.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from monitor.analysis.line.doubt import taken
from monitor.analysis.line.stretch import Air, Stretch
from monitor.analysis.line.trace import Floats, Mask, Samples, trace_of
from monitor.domain.eggs.temperature import EggModel, model_of, run
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import FORCED, STILL
from monitor.domain.readings.reading import DAY_MS

HOUR_MS = 3_600_000

# Share of an hour gained or lost for each K, from Wijnen and others (authors from memory), Poult. Sci. 99:3897-3907, 2020:
# hens' eggs with shells 1.1 K above the best through week 2 hatched at 494 h, against 499; 1.1 K below in week 3 (to the
# hatch) at 501 h, against 493.
STUDY_K = 1.1
PER_K_ABOVE = (499.0 - 494.0) / (STUDY_K * 168.0)  # 0.027
PER_K_BELOW = (501.0 - 493.0) / (STUDY_K * (501.0 - 336.0))  # 0.044
# Their spread. Low: the smaller of the two, less the rounding of its hours (4 h for 5). High: the larger with its rounding
# (9 h for 8: 0.050), and by judgement a fifth more, for the first week, other birds and other lines.
PER_K_LOW, PER_K_HIGH = 0.02, 0.06
# Where development stops. Published: about 80 °F with slow growth still (University of Illinois, extension), 21 to 23 °C
# (FAO Animal Production and Health Paper 144), suspended below 27 °C (Lundy 1969, from memory). Usual: 24 °C, at which
# eggs of days 8 to 18 were late by about the time they spent there (Suarez and others, Poult. Sci. 75:924, 1996).
ZERO_C, ZERO_C_LOW, ZERO_C_HIGH = 24.0, 21.0, 27.0
# Down to here a K counts as above: 35 °C for hens, under which growth becomes uneven (Lundy 1969, from memory).
# The study reaches to 1.1 K; the rest is judgement.
LINEAR_BELOW_K = 2.8
# What cannot be told from a record: a probe's own error after calibration, and the air at the eggs against that at the
# probe. Judgement.
LEVEL_K = 0.2
# The limit: as warm as in the study, and the level. Beyond it embryos weighed less than normal (40.6 °C, 17.3 g against
# 18.5 g; Aust. J. Agric. Res. 28:551-555, 1977), so none is said to be ahead.
LIMIT_K = STUDY_K + LEVEL_K
ROOM_K = 18.0  # a cold room, about 20 °C, against the target: what a time without a record may hide. Judgement
# Half a degree Fahrenheit, the swing printed as allowed (Mississippi State University Extension): what lies farther off
# is told first.
SWING_K = 0.3
LEAST_COVERAGE = 0.5  # of the time on record, under which nothing is told of it. Judgement
STEP_MS = 60_000  # a sixth of the time constant of the smallest eggs in moving air


@dataclass(frozen=True, slots=True)
class Lag:
    """Hours behind (below 0: ahead), and the bounds of the doubt."""

    hours: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Expected:
    """A time, and how early and how late it may be."""

    at_ms: int
    low_ms: int
    high_ms: int


@dataclass(frozen=True, slots=True)
class HatchWindow:
    """The profile's first, usual and last hatch day, shifted by the record."""

    earliest: Expected
    usual: Expected
    latest: Expected


@dataclass(frozen=True, slots=True)
class Spell:
    """The recorded hours in which most of a lag or lead came about: the mean of the air in them, and of the eggs against
    normal (an estimate)."""

    hours: float
    air_c: float
    off_k: float


@dataclass(frozen=True, slots=True)
class Development:
    """How far a batch should be.

    hours: by the clock, from the set. hours_recorded: those with good readings; of them, hours_stopped at or below ZERO_C, where nothing
    grows. hours_beyond: those of them above the limit. spell: None where the lag rounds to 0 h or does not come
    from the record.
    """

    hours: float
    hours_recorded: float
    hours_stopped: float
    hours_beyond: float
    lag: Lag
    hatch: HatchWindow
    spell: Spell | None

    @property
    def coverage(self) -> float:
        """Share of the time that is recorded, 0 to 1; 0 at the set."""
        return _coverage(self.hours_recorded, self.hours)

    @property
    def by_calendar(self) -> bool:
        """Whether too little is on record to tell the hatch by it."""
        return _too_little(self.hours_recorded, self.hours)

    @property
    def day(self) -> float:
        """The day of a normal incubation that the embryos should have reached."""
        return (self.hours - self.lag.hours) / 24.0


def development_of(
    stretches: Sequence[Stretch],
    profile: Profile,
    models_by_machine: Mapping[str, EggModel],
    *,
    set_ms: int,
    now_ms: int,
    store_h: tuple[float, float] = (0.0, 0.0),
) -> Development:
    """How far a batch is, and when it should hatch.

    Parameters
        stretches: of the batch, in order, as for the environment history. A hole between them, before the first or after
            the last is a time in no machine. The target of their dry-bulb band is normal; without one, the profile's is.
        models_by_machine: the egg in each machine, by `Stretch.egg_in`. set_ms: day 0. now_ms: up to when; of a closed batch, its end.
        store_h: how much later the eggs hatch that were in store the shortest, and the longest.
    Raises
        ValueError: now_ms before set_ms, stretches that overlap, or a machine with air and no model.
    """
    _check(stretches, models_by_machine, set_ms=set_ms, now_ms=now_ms)
    parts = tuple(_parts(stretches, profile, models_by_machine, set_ms=set_ms, now_ms=now_ms))
    felt = _felt(parts)
    lags_h = felt.lags_h(_FOUND)
    lag = _in_doubt(parts, felt, lags_h)
    days = profile.hatch_day_first, profile.days, profile.hatch_day_last
    stored_h = store_h[0], sum(store_h) / 2.0, store_h[1]
    recorded_h, hours = felt.hours_where(felt.known), (now_ms - set_ms) / HOUR_MS
    told = Lag(0.0, 0.0, 0.0) if _too_little(recorded_h, hours) else lag
    return Development(
        hours=hours,
        hours_recorded=recorded_h,
        hours_stopped=felt.hours_where(felt.known & ~(felt.egg_c > ZERO_C)),
        hours_beyond=felt.hours_where(felt.known & (felt.off_k > LIMIT_K)),
        lag=lag,
        hatch=HatchWindow(
            *(_expected(set_ms, day + late_h / 24.0, told) for day, late_h in zip(days, stored_h, strict=True))
        ),
        spell=_spell(felt, lags_h, lag.hours) if round(lag.hours) else None,
    )


def _coverage(recorded_h: float, hours: float) -> float:
    return recorded_h / hours if hours else 0.0


def _too_little(recorded_h: float, hours: float) -> bool:
    return _coverage(recorded_h, hours) < LEAST_COVERAGE


@dataclass(frozen=True, slots=True)
class _Rates:
    """One way to count development. level_k: how much warmer the eggs are than estimated. beyond: the rate above the limit."""

    per_k_above: float = PER_K_ABOVE
    per_k_below: float = PER_K_BELOW
    zero_c: float = ZERO_C
    level_k: float = 0.0
    beyond: float = 1.0

    def of(self, egg_c: Floats, off_k: Floats) -> Floats:
        """Development as a share of normal, for eggs at egg_c, which is off_k from normal."""
        by_k = np.clip(off_k + self.level_k, -LINEAR_BELOW_K, LIMIT_K)
        linear = 1.0 + by_k * np.where(by_k > 0.0, self.per_k_above, self.per_k_below)
        # From the end of the linear range straight to zero; at least 1 K apart, for a profile far from any bird's.
        range_k = np.maximum(egg_c - off_k - LINEAR_BELOW_K - self.zero_c, 1.0)
        cold = np.clip((egg_c + self.level_k - self.zero_c) / range_k, 0.0, 1.0)
        shares: Floats = np.where(off_k > LIMIT_K, self.beyond, linear * cold)
        return shares


_FOUND = _Rates()
_BEYOND_K = PER_K_HIGH * LIMIT_K  # above the limit: as far ahead, or behind, as the limit could put an hour
# What makes the hatch early, and late: sensitivity, level.
_EARLY = (_Rates(PER_K_HIGH, PER_K_LOW, ZERO_C_LOW, beyond=1.0 + _BEYOND_K), _Rates(level_k=LEVEL_K))
_LATE = (_Rates(PER_K_LOW, PER_K_HIGH, ZERO_C_HIGH, beyond=1.0 - _BEYOND_K), _Rates(level_k=-LEVEL_K))


@dataclass(frozen=True, slots=True)
class _Part:
    """The air of one stretch as short straight pieces without a hole: at_s and air_c at both ends of each, in turn.

    at_s: from the start of the part, which is day0. air_c: NaN where nothing is recorded. target_c: the normal reading.
    """

    model: EggModel
    target_c: float
    day0: float
    at_s: Floats
    air_c: Floats
    _done: dict[tuple[EggModel, float | None], Floats] = field(default_factory=dict)

    def egg_c(self, model: EggModel, air_c: Floats, fill_k: float) -> Floats:
        """The egg in that air, which is the part's own with fill_k in its holes; once for each, since the doubts ask again and again."""
        return self._once(model, fill_k if np.isnan(self.air_c).any() else 0.0, air_c)

    def normal_c(self, model: EggModel) -> Floats:
        """The egg in air at its target."""
        return self._once(model, None, np.full(self.at_s.shape, self.target_c))

    def _once(self, model: EggModel, fill_k: float | None, air_c: Floats) -> Floats:
        if (model, fill_k) not in self._done:
            self._done[model, fill_k] = run(model, self.at_s, air_c, day0=self.day0)
        return self._done[model, fill_k]


@dataclass(frozen=True, slots=True)
class _Felt:
    """Piece by piece, over the whole time: its hours, whether recorded, air and egg and how far the egg is off normal."""

    hours: Floats
    known: Mask
    air_c: Floats
    egg_c: Floats
    off_k: Floats

    def lags_h(self, rates: _Rates) -> Floats:
        return self.hours * (1.0 - rates.of(self.egg_c, self.off_k))

    def hours_where(self, mask: Mask) -> float:
        return float(self.hours[mask].sum())


def _felt(parts: Sequence[_Part], air: str | None = None, fill_k: float = 0.0) -> _Felt:
    """What the eggs felt over the whole time.

    air: how fast the eggs follow, as in still or in forced air; None: as the models say. fill_k: where the air stands
    against normal while nothing is recorded.
    """
    none = np.empty(0)
    rows: list[tuple[Floats, Mask, Floats, Floats, Floats]] = [(none, none.astype(bool), none, none, none)]
    carried_c: float | None = None
    for part in parts:
        model = part.model if air is None else replace(part.model, air=air)
        known = np.isfinite(part.air_c)
        air_c = np.where(known, part.air_c, part.target_c + fill_k)
        egg_c = part.egg_c(model, air_c, fill_k)
        if carried_c is not None:  # the eggs come as they were: the model is linear, so their difference dies away
            egg_c = egg_c + (carried_c - egg_c[0]) * np.exp(-part.at_s / model.tau_s)
        carried_c = float(egg_c[-1])
        off_k = egg_c - part.normal_c(model)
        hours = np.diff(part.at_s)[::2] / 3600.0
        rows.append((hours, known[::2], _middle(air_c), _middle(egg_c), _middle(off_k)))
    hours, known, air_c, egg_c, off_k = (np.concatenate(each) for each in zip(*rows, strict=True))
    return _Felt(hours, known, air_c, egg_c, off_k)


def _in_doubt(parts: Sequence[_Part], felt: _Felt, lags_h: Floats) -> Lag:
    """The lag with its bounds."""
    lag_h = float(lags_h.sum())
    # One egg's air is never as still or as fast as its machine's kind says: the two kinds span what is published.
    by_air_h = [float(_felt(parts, air=air).lags_h(_FOUND).sum()) - lag_h for air in (FORCED, STILL)]

    def doubt_h(every: Sequence[_Rates], fill_k: float, side: float) -> float:
        changed_h = [float((felt.lags_h(rates) - lags_h)[felt.known].sum()) for rates in every]
        hidden_h = float(_felt(parts, fill_k=fill_k).lags_h(_FOUND).sum()) - lag_h
        worst_h = [max(0.0, side * each) for each in (*changed_h, max(by_air_h, key=lambda h: side * h), hidden_h)]
        return math.hypot(*worst_h[:-1]) + worst_h[-1]

    return Lag(lag_h, lag_h - doubt_h(_EARLY, STUDY_K, -1.0), lag_h + doubt_h(_LATE, -ROOM_K, 1.0))


def _middle(values: Floats) -> Floats:
    middle: Floats = (values[::2] + values[1::2]) * 0.5
    return middle


def _parts(
    stretches: Sequence[Stretch], profile: Profile, models: Mapping[str, EggModel], *, set_ms: int, now_ms: int
) -> Iterator[_Part]:
    """The time from the set to now without a hole."""
    bench = replace(model_of(profile, STILL), layer_k=0.0)
    for since_ms, until_ms, stretch in _whole(stretches, set_ms, now_ms):
        day0 = (since_ms - set_ms) / DAY_MS
        target_c = _target_c(stretch, profile, day0)
        if stretch is None:
            yield _part(_unrecorded(until_ms - since_ms), bench, target_c, day0=day0)
        else:
            pieces = _pieces(replace(stretch, since_ms=since_ms, until_ms=until_ms))
            yield _part(pieces, models.get(stretch.egg_in, bench), target_c, day0=day0)


def _whole(stretches: Sequence[Stretch], set_ms: int, now_ms: int) -> Iterator[tuple[int, int, Stretch | None]]:
    """(since, until, the stretch or None) from the set to now."""
    reached_ms = set_ms
    for stretch in stretches:
        since_ms, until_ms = max(stretch.since_ms, set_ms), min(stretch.until_ms, now_ms)
        if since_ms >= until_ms:
            continue
        if reached_ms < since_ms:
            yield reached_ms, since_ms, None
        yield since_ms, until_ms, stretch
        reached_ms = until_ms
    if reached_ms < now_ms:
        yield reached_ms, now_ms, None


def _check(stretches: Sequence[Stretch], models: Mapping[str, EggModel], *, set_ms: int, now_ms: int) -> None:
    if now_ms < set_ms:
        raise ValueError(f"development: now_ms {now_ms}, expected {set_ms} or later, the set")
    for before, after in pairwise(stretches):
        if after.since_ms < before.until_ms:
            raise ValueError(f"{after.where}: since_ms {after.since_ms}, expected {before.until_ms} or later")
    for stretch in stretches:
        if stretch.air and stretch.egg_in not in models:
            raise ValueError(f"{stretch.where}: no model of its egg, expected one")


def _target_c(stretch: Stretch | None, profile: Profile, day: float) -> float:
    if stretch is not None and stretch.dry_bulb_c is not None and stretch.dry_bulb_c.target is not None:
        return stretch.dry_bulb_c.target
    target_c = profile.stage_at(day).dry_bulb_c.target
    if target_c is None:
        raise ValueError(f"development: profile {profile.id} has no dry_bulb_c.target on day {day:g}, expected one")
    return target_c


_Pieces = tuple[Floats, Floats, Floats, Floats]  # start_ms, end_ms, first, last; NaN where nothing is recorded


def _unrecorded(length_ms: float) -> _Pieces:
    return np.zeros(1), np.array([float(length_ms)]), np.full(1, np.nan), np.full(1, np.nan)


def _pieces(stretch: Stretch) -> _Pieces:
    """The line of the dry bulb in a stretch and its gaps, in order of time."""
    length_ms = stretch.until_ms - stretch.since_ms
    trace = trace_of(
        [_samples(stretch, air) for air in stretch.air], max_gap_ms=stretch.max_gap_s * 1000.0, length_ms=length_ms
    )
    gaps = np.array(trace.gaps(), dtype=np.float64).reshape(-1, 2)
    order = np.argsort(np.concatenate((trace.start_ms, gaps[:, 0])), kind="stable")
    none = np.full(len(gaps), np.nan)
    columns = ((trace.start_ms, gaps[:, 0]), (trace.end_ms, gaps[:, 1]), (trace.first, none), (trace.last, none))
    start_ms, end_ms, first, last = (np.concatenate(column)[order] for column in columns)
    return start_ms, end_ms, first, last


def _samples(stretch: Stretch, air: Air) -> Samples:
    """The dry bulbs of one probe that make the line about a stretch, each time once: of equal ones the last given."""
    reach_ms = 2.0 * stretch.max_gap_s * 1000.0
    near = (air.at_ms >= stretch.since_ms - reach_ms) & (air.at_ms <= stretch.until_ms + reach_ms)
    good = near & taken(air.flag) & np.isfinite(air.dry_bulb_c)
    at_ms, newest = np.unique(air.at_ms[good][::-1], return_index=True)  # which keeps the first, here the last given
    return (at_ms - stretch.since_ms).astype(np.float64), air.dry_bulb_c[good][::-1][newest]


def _part(pieces: _Pieces, model: EggModel, target_c: float, *, day0: float) -> _Part:
    """The pieces, none longer than STEP_MS."""
    start_ms, end_ms, first, last = pieces
    count = np.ceil((end_ms - start_ms) / STEP_MS).astype(np.int64)
    piece = np.repeat(np.arange(count.size), count)
    place = np.arange(piece.size) - np.repeat(np.cumsum(count) - count, count)

    def both_ends(begin: Floats, end: Floats) -> Floats:
        shares = np.column_stack((place, place + 1)) / count[piece][:, None]
        values: Floats = (begin[piece][:, None] * (1.0 - shares) + end[piece][:, None] * shares).ravel()
        return values

    # Rounding must not turn time back where one piece ends and the next starts.
    at_s = np.maximum.accumulate(both_ends(start_ms, end_ms) / 1000.0)
    return _Part(model, target_c, day0, at_s, both_ends(first, last))


def _spell(felt: _Felt, lags_h: Floats, lag_h: float) -> Spell | None:
    """The recorded hours on the side of the lag that lie beyond the swing; where those are not most of it, all on that side."""
    part_of_it = felt.known & (felt.egg_c > ZERO_C) & (lags_h * lag_h > 0.0)
    most_h = abs(float(lags_h[part_of_it].sum())) / 2.0
    for swing_k in (SWING_K, 0.0):
        spell = part_of_it & (np.abs(felt.off_k) > swing_k)
        hours = felt.hours[spell]
        if hours.size and abs(float(lags_h[spell].sum())) >= most_h:
            return Spell(
                float(hours.sum()),
                float(np.average(felt.air_c[spell], weights=hours)),
                float(np.average(felt.off_k[spell], weights=hours)),
            )
    return None


def _expected(set_ms: int, day: float, lag: Lag) -> Expected:
    return Expected(*(round(set_ms + day * DAY_MS + hours * HOUR_MS) for hours in (lag.hours, lag.low, lag.high)))
