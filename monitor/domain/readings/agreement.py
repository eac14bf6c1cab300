"""Whether the probes of one machine agree with one another, from a state of fixed size: a `Pair` for any two of them.

XDIS: two probes that differ by too much for minutes. DRIFT: a difference that is no longer what it was, over hours. SHIFT: one that
became another within minutes, however small: where a fan stops, layers form at once, while either probe may read what it should.
Temperatures are compared as they are, humidities as vapour pressure: air that is mixed has one vapour pressure, while its relative humidity
changes with each tenth of a degree. Of three probes and more the odd one out is named; of two the pair, for either may be wrong.

Probes in moving air differ because they lag, not because they are wrong: while either moves, a pair is not compared. Probes also
differ when the fan has stopped and the air no longer mixes: nothing here can tell that from a wrong probe, or one that was moved. In
still air layers come and go by themselves, so that a shift there is nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from itertools import combinations
from statistics import median

from monitor.domain.air.psychrometrics import over_water_per_k
from monitor.domain.fixed import fixed
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.reading import FAIL, SUSPECT

XDIS, DRIFT, SHIFT = "XDIS", "DRIFT", "SHIFT"

Given = tuple[float, float, float | None]  # when (forward clock, s), °C and %RH of a reading that is fit to be judged
Two = tuple[str, str]


@fixed
class Bounds:
    """Of one quantity, K or %RH: apart and drift, each suspect and fail; moving: so far from its last minutes the air moves.

    drift_s: what drift is smoothed over; it is told so much later.
    """

    apart: tuple[float, float]
    drift: tuple[float, float]
    moving: float
    drift_s: float


@fixed
class Limits:
    """Every number that the comparison turns on. "Measured": on the cabinet model, see tests/domain/readings/quality_figures.py."""

    # apart and drift: judgement, from what two probes of a kind may differ by (a DS18B20: 0.5 K, and 0.2 K of drift). Half a kelvin a
    # day is past a quarter of one by noon, and told within fifteen hours (bars of the cabin model).
    dry_bulb: Bounds = Bounds(apart=(0.5, 1.0), drift=(0.25, 0.6), moving=0.4, drift_s=7_200.0)
    # Layers of still air grow and shrink with the room's day. Over a quarter of a day half of that is left.
    still: Bounds = Bounds(apart=(0.5, 1.0), drift=(0.3, 0.6), moving=0.4, drift_s=21_600.0)
    humidity: Bounds = Bounds(apart=(5.0, 10.0), drift=(3.0, 6.0), moving=3.0, drift_s=21_600.0)
    over_share: float = 0.8  # what was told is over at so much of it: machines layered by half a kelvin stand at that limit day and night
    apart_s: float = 600.0  # longer than an opened door keeps probes apart that have the same lag
    # Readings so far apart, or by so much of an interval, are of the same air: nodes speak out of step.
    paired_s: float = 15.0
    paired_intervals: float = 0.55
    smooth_s: float = 120.0  # what a difference is smoothed over: one noisy reading must not start its time anew
    base_s: float = 43_200.0  # over which a pair's usual difference is learnt
    # What a shift is smoothed over, and how long it lasts before it is told. The usual is that of the last three hours, known after one:
    # a probe that drifts by 1.5 K a day stays within it. Judgement, looked at on the cabin model.
    shift_s: float = 300.0
    shift_base_s: float = 10_800.0
    shift_learnt_s: float = 3_600.0
    shift_k: float = 0.15  # a smaller one no fan makes
    shift_scatters: float = (
        6.0  # or so many of what the pair scatters by, each taken as three of them at most, lest a shift teach itself
    )
    gap_intervals: float = 3.0  # what was not heard for longer, and a minute, is not known to have lasted
    gap_s: float = 60.0


LIMITS = Limits()


@fixed
class Gauge:
    """One quantity of a pair, first less second. apart: smoothed; suspect_s, fail_s: for how long beyond each bound.

    base: the usual difference, learnt for learnt_s; drift: how far from it, smoothed over hours.
    """

    apart: float
    suspect_s: float = 0.0
    fail_s: float = 0.0
    base: float = 0.0
    learnt_s: float = 0.0
    drift: float = 0.0


@fixed
class Steady:
    """How steadily a pair differs in temperature, K: lately, and as usual in the last hours, with the variance about that; learnt_s: for how
    long that is known. since_s: since when it differs otherwise; None: it does not. While it does, nothing is learnt."""

    lately: float
    usual: float
    variance: float = 0.0
    learnt_s: float = 0.0
    since_s: float | None = None


@fixed
class Pair:
    """Two probes: when they were last compared, and what they differ by."""

    mono_s: float
    dry_bulb: Gauge
    humidity: Gauge | None = None
    steady: Steady | None = None


@fixed
class Pairs:
    """What is kept of one machine: its pairs, by their probes' names in order, and each probe's last minutes (s, °C, %RH)."""

    pairs: Mapping[Two, Pair] = field(default_factory=dict)
    lately: Mapping[str, Given] = field(default_factory=dict)


_Air = tuple[str, float, float, float | None]  # a reading that is compared: of which probe, when, °C, %RH up to 100
# How a machine's probes are compared: the interval and what counts as a gap, s, whether the air is still, whether shifts are looked for,
# whether its door is open or someone is at work there, and the limits.
_Over = tuple[float, float, bool, bool, bool, Limits]


@fixed
class Difference:
    """A test that did not pass. probes: the odd one out, or the two of which nobody knows which. by: K or %RH; of a shift, from the usual."""

    test: str
    quantity: str
    flag: int
    probes: tuple[str, ...]
    by: float


@fixed
class Agreement:
    """The state to hand in next, what stands against whom, and the probes that were compared just now: of these, what is
    not found is over."""

    pairs: Pairs
    found: tuple[Difference, ...] = ()
    compared: frozenset[str] = frozenset()


def agree(
    state: Pairs,
    mono_s: float,
    readings: Mapping[str, Given],
    *,
    interval_s: float,
    still: bool = False,
    shifts: bool | None = None,
    disturbed: bool = False,
    limits: Limits = LIMITS,
) -> Agreement:
    """Compare the newest readings of a machine's probes.

    interval_s: the longest of the probes'. still: the air is not blown about, or hardly, so that it is layered by nature: a pair is then
    judged by how far it is from its usual difference, once that is learnt. shifts: whether they are looked for, in air that a fan
    moves around eggs; else what was usual is forgotten. None: in air that is not still.
    disturbed: its door is open, or someone is at work there, so that none begins.
    """
    gap_s, near_s = limits.gap_intervals * interval_s, limits.paired_intervals * interval_s
    gap_s = gap_s if gap_s > limits.gap_s else limits.gap_s
    near_s = near_s if near_s > limits.paired_s else limits.paired_s
    lately, moving_k, moving_pct = {**state.lately}, limits.dry_bulb.moving, limits.humidity.moving
    calm: list[_Air] = []
    for name in sorted(readings):
        given_s, dry_bulb_c, rh_pct = given = readings[name]
        if mono_s - given_s > gap_s:
            continue
        before_s, mean_c, mean_pct = lately.get(name, given)
        dt_s = given_s - before_s
        if dt_s > gap_s:
            mean_c, mean_pct = dry_bulb_c, rh_pct
        elif dt_s > 0.0:
            share = dt_s / (limits.smooth_s + dt_s)
            mean_c += share * (dry_bulb_c - mean_c)
            mean_pct = rh_pct if rh_pct is None or mean_pct is None else mean_pct + share * (rh_pct - mean_pct)
        lately[name] = (given_s if dt_s > 0.0 else before_s, mean_c, mean_pct)
        if not -moving_k <= dry_bulb_c - mean_c <= moving_k:
            continue
        if rh_pct is not None:
            if mean_pct is not None and not -moving_pct <= rh_pct - mean_pct <= moving_pct:
                continue
            if rh_pct > 100.0:
                rh_pct = 100.0
        calm.append((name, given_s, dry_bulb_c, rh_pct))
    pairs = {**state.pairs}
    compared: list[str] = []
    over = (interval_s, gap_s, still, not still if shifts is None else shifts, disturbed, limits)
    for one, other in combinations(calm, 2):
        if -near_s <= one[1] - other[1] <= near_s:
            two = (one[0], other[0])
            pairs[two] = _compare(pairs.get(two), one, other, over)
            compared += two
    found: tuple[Difference, ...] = ()
    if _differ(pairs, still, limits):
        heard = [name for name, given in readings.items() if mono_s - given[0] <= gap_s]
        found = _found(pairs, heard, still, limits)
    return Agreement(Pairs(pairs, lately), found, frozenset(compared))


def forget(state: Pairs, probe: str) -> Pairs:
    """The state without what was learnt of a probe: it was calibrated, moved or replaced."""
    kept = {two: pair for two, pair in state.pairs.items() if probe not in two}
    return Pairs(kept, {name: given for name, given in state.lately.items() if name != probe})


def _compare(pair: Pair | None, one: _Air, other: _Air, over: _Over) -> Pair:  # noqa: PLR0917 - with each reading
    """The pair after one more look at both."""
    _, one_s, one_c, one_pct = one
    _, other_s, other_c, other_pct = other
    interval_s, gap_s, still, shifts, disturbed, limits = over
    mono_s = one_s if one_s >= other_s else other_s
    dry, humid, steady, dt_s = None, None, None, 0.0
    if pair is not None:
        dt_s = mono_s - pair.mono_s
        if dt_s <= 0.0:
            return pair
        if dt_s > gap_s:
            dt_s = interval_s
        dry, humid, steady = pair.dry_bulb, pair.humidity, pair.steady
    bounds, by_k = limits.still if still else limits.dry_bulb, one_c - other_c
    shifted = False
    if shifts:
        steady = _steady(steady, by_k, dt_s, mono_s, disturbed, limits, still)
        shifted = steady.since_s is not None
    else:
        steady = None
    dry = _gauge(dry, by_k, dt_s, bounds, still, shifted, limits)
    # Vapour pressure follows from temperature: of probes that do not agree on that nothing is to be learnt about this.
    if one_pct is not None and other_pct is not None and -bounds.apart[0] <= dry.apart <= bounds.apart[0]:
        # As %RH at the temperature between them, where saturated air has, to a thousandth of a per cent, the geometric mean of its pressures at
        # both; either differs from that by so many times.
        times = math.exp(over_water_per_k((one_c + other_c) / 2.0) * by_k / 2.0)
        damper_pct = one_pct * times - other_pct / times
        humid = _gauge(humid, damper_pct, dt_s, limits.humidity, False, False, limits)
    return Pair(mono_s, dry, humid, steady)


def _steady(  # noqa: PLR0917 - with each reading
    steady: Steady | None, by_k: float, dt_s: float, mono_s: float, disturbed: bool, limits: Limits, still: bool
) -> Steady:
    if steady is None:
        return Steady(by_k, by_k)
    since_s = steady.since_s
    if disturbed and (since_s is None or mono_s - since_s < limits.shift_s):
        return Steady(steady.lately, steady.usual, steady.variance, steady.learnt_s)
    usual, variance, learnt_s = steady.usual, steady.variance, steady.learnt_s
    bound = limits.shift_k * limits.shift_k
    scattered = limits.shift_scatters * limits.shift_scatters * variance
    if scattered > bound:
        bound = scattered
    off, known = by_k - usual, learnt_s >= limits.shift_learnt_s
    if known and off * off > 4.0 * bound:  # one far reading, in a door's air, is no shift
        off = math.copysign(2.0 * math.sqrt(bound), off)
    lately = steady.lately + dt_s / (limits.shift_s + dt_s) * (usual + off - steady.lately)
    square = (lately - usual) * (lately - usual)
    if known:
        # What began is over at half of it.
        if square > (bound if since_s is None else bound / 4.0):
            return Steady(lately, usual, variance, learnt_s, mono_s if since_s is None else since_s)
        most = 9.0 * variance + 1e-5
        if square > most:
            square = most
    elif not (still or -limits.dry_bulb.apart[0] <= lately <= limits.dry_bulb.apart[0]):
        return Steady(lately, lately)  # a fault that stood from the start must not become the usual here either
    learnt_s += dt_s
    if learnt_s > limits.shift_base_s:
        learnt_s = limits.shift_base_s
    if learnt_s > 0.0:
        usual += dt_s / learnt_s * off
        variance += dt_s / learnt_s * (square - variance)
    return Steady(lately, usual, variance, learnt_s)


def _gauge(  # noqa: PLR0917 - with each reading
    gauge: Gauge | None, by: float, dt_s: float, bounds: Bounds, still: bool, shifted: bool, limits: Limits
) -> Gauge:
    if gauge is None:
        return Gauge(by)
    near = bounds.apart[0]
    apart, base = gauge.apart, gauge.base
    learnt_s, drift = gauge.learnt_s, gauge.drift
    apart += dt_s / (limits.smooth_s + dt_s) * (by - apart)
    learnt = learnt_s >= limits.base_s
    if shifted or (still and learnt and not -near <= apart - base <= near):
        pass  # what came within minutes is no drift, and not usual either
    elif learnt:
        drift += dt_s / (bounds.drift_s + dt_s) * (by - base - drift)
    elif still or -near <= apart <= near:  # a fault that stood from the start must not become the usual
        learnt_s += dt_s
        base += dt_s / learnt_s * (by - base)
        learnt = learnt_s >= limits.base_s
    off = apart
    if still:
        off = apart - base if learnt else 0.0
    if gauge.suspect_s and gauge.suspect_s >= limits.apart_s:
        near *= limits.over_share
    if -near <= off <= near:
        return Gauge(apart, 0.0, 0.0, base, learnt_s, drift)
    far, most_s = bounds.apart[1], 2.0 * limits.apart_s
    suspect_s = min(gauge.suspect_s + dt_s, most_s)
    fail_s = 0.0 if -far <= off <= far else min(gauge.fail_s + dt_s, most_s)
    return Gauge(apart, suspect_s, fail_s, base, learnt_s, drift)


def _shifted(pair: Pair, limits: Limits) -> bool:
    """Whether a pair has differed otherwise than it usually does for long enough."""
    steady = pair.steady
    return steady is not None and steady.since_s is not None and pair.mono_s - steady.since_s >= limits.shift_s


def _differ(pairs: dict[Two, Pair], still: bool, limits: Limits) -> bool:
    """Whether anything may stand against any pair; nearly always nothing does."""
    dry_bulb = limits.still if still else limits.dry_bulb
    apart_s, drift_k, drift_pct = limits.apart_s, dry_bulb.drift[0], limits.humidity.drift[0]
    for pair in pairs.values():
        dry, humid = pair.dry_bulb, pair.humidity
        if dry.suspect_s >= apart_s or not -drift_k <= dry.drift <= drift_k:  # suspect_s is never less than fail_s
            return True
        if humid is not None and (humid.suspect_s >= apart_s or not -drift_pct <= humid.drift <= drift_pct):
            return True
        steady = pair.steady
        if steady is not None and steady.since_s is not None and _shifted(pair, limits):
            return True
    return False


def _found(pairs: dict[Two, Pair], heard: list[str], still: bool, limits: Limits) -> tuple[Difference, ...]:  # noqa: PLR0917 - as above
    """What stands against the pairs of which both were heard."""
    pairs = {two: pair for two, pair in pairs.items() if two[0] in heard and two[1] in heard}
    dry_of = {two: pair.dry_bulb for two, pair in pairs.items()}
    humid_of = {two: pair.humidity for two, pair in pairs.items() if pair.humidity is not None}
    found: dict[tuple[str, str, tuple[str, ...]], Difference] = {}
    dry_bulb = limits.still if still else limits.dry_bulb
    for quantity, gauges, bounds in ((DRY_BULB, dry_of, dry_bulb), (RH, humid_of, limits.humidity)):
        aside = still and quantity == DRY_BULB
        apart = {two: g.apart - g.base if aside else g.apart for two, g in gauges.items()}
        drift = {two: g.drift for two, g in gauges.items()}
        for two, gauge in gauges.items():
            flag = FAIL if gauge.fail_s >= limits.apart_s else SUSPECT if gauge.suspect_s >= limits.apart_s else 0
            drifted = (
                FAIL if abs(gauge.drift) > bounds.drift[1] else SUSPECT if abs(gauge.drift) > bounds.drift[0] else 0
            )
            for test, worse, by in ((XDIS, flag, apart), (DRIFT, drifted, drift)):
                if worse:
                    named = Difference(test, quantity, worse, _named(two, by), by[two])
                    key = (test, quantity, named.probes)
                    if key not in found or found[key].flag < worse:
                        found[key] = named
    shifts = {two: pair.dry_bulb.apart - pair.steady.usual for two, pair in pairs.items() if pair.steady is not None}
    shifted = [two for two, pair in pairs.items() if _shifted(pair, limits)]
    if shifted:
        two = max(shifted, key=lambda each: abs(shifts[each]))  # those farthest apart in the layers
        found[SHIFT, DRY_BULB, two] = Difference(SHIFT, DRY_BULB, SUSPECT, _named(two, shifts), shifts[two])
    return tuple(found.values())


def _named(two: Two, by: Mapping[Two, float]) -> tuple[str, ...]:
    """Of the two, the one that is twice as far from the middle of all as the other; else both."""
    far = [abs(_from_middle(name, by)) for name in two]
    if far[0] >= 2.0 * far[1]:
        return (two[0],)
    return (two[1],) if far[1] >= 2.0 * far[0] else two


def _from_middle(name: str, by: Mapping[Two, float]) -> float:
    others = [value if two[0] == name else -value for two, value in by.items() if name in two]
    return median([0.0, *others])
