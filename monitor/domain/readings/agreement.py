"""Whether the probes of one machine agree with one another, from a state of fixed size: a `Pair` for any two of them.

XDIS: two probes that differ by too much for minutes. DRIFT: a difference that is no longer what it was, over hours. Temperatures
are compared as they are, humidities as vapour pressure: air that is mixed has one vapour pressure, while its relative humidity
changes with each tenth of a degree. Of three probes and more the odd one out is named; of two the pair, for either may be wrong.

Probes in moving air differ because they lag, not because they are wrong: while either moves, a pair is not compared. Probes also
differ when the fan has stopped and the air no longer mixes: nothing here can tell that from a wrong probe.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations
from statistics import median
from typing import NamedTuple

from monitor.domain.air.psychrometrics import saturation_vapour_kpa
from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import FAIL, SUSPECT

DRY_BULB, HUMIDITY = "dry_bulb_c", "rh_pct"
XDIS, DRIFT = "XDIS", "DRIFT"

Given = tuple[float, float, float | None]  # when (forward clock, s), °C and %RH of a reading that is fit to be judged
Two = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Of one quantity, K or %RH: apart and drift, each suspect and fail; moving: so far from its last minutes the air moves."""

    apart: tuple[float, float]
    drift: tuple[float, float]
    moving: float


@dataclass(frozen=True, slots=True)
class Limits:
    """Every number that the comparison turns on. "Measured": on the cabinet model, see tests/domain/readings/quality_figures.py."""

    # apart and drift: judgement, from what two probes of a kind may differ by (a DS18B20: 0.5 K, and 0.2 K of drift).
    dry_bulb: Bounds = Bounds(apart=(0.5, 1.0), drift=(0.3, 0.6), moving=0.4)
    humidity: Bounds = Bounds(apart=(5.0, 10.0), drift=(3.0, 6.0), moving=3.0)
    apart_s: float = 600.0  # longer than an opened door keeps probes apart that have the same lag
    paired_s: float = (
        15.0  # readings so far apart, or by so much of an interval, are of the same air: nodes speak out of step
    )
    paired_intervals: float = 0.55
    smooth_s: float = 120.0  # what a difference is smoothed over: one noisy reading must not start its time anew
    base_s: float = 43_200.0  # over which a pair's usual difference is learnt
    drift_s: float = (
        21_600.0  # what drift is smoothed over: with 12 h, of 0.5 K gained in a day that day would show 0.28 K
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
class Pair:
    """Two probes: when they were last compared, and what they differ by."""

    mono_s: float
    dry_bulb: Gauge
    humidity: Gauge | None = None


@fixed
class Pairs:
    """What is kept of one machine: its pairs, by their probes' names in order, and each probe's last minutes (s, °C, %RH)."""

    pairs: Mapping[Two, Pair] = field(default_factory=dict)
    lately: Mapping[str, Given] = field(default_factory=dict)


class _Over(NamedTuple):
    """How a machine's probes are compared."""

    interval_s: float
    gap_s: float
    still: bool
    limits: Limits


@dataclass(frozen=True, slots=True)
class Difference:
    """A test that did not pass. probes: the odd one out, or the two of which nobody knows which. by: K or %RH."""

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
    limits: Limits = LIMITS,
) -> Agreement:
    """Compare the newest readings of a machine's probes.

    interval_s: the longest of the probes'. still: the air is not blown about, so that it is layered by nature: a pair is then
    judged by how far it is from its usual difference, once that is learnt.
    """
    gap_s = max(limits.gap_intervals * interval_s, limits.gap_s)
    heard = {name: given for name, given in sorted(readings.items()) if mono_s - given[0] <= gap_s}
    lately = {name: _lately(state.lately.get(name), given, gap_s, limits) for name, given in heard.items()}
    calm = {name: _calm(lately[name], given, limits) for name, given in heard.items()}
    near_s = max(limits.paired_s, limits.paired_intervals * interval_s)
    pairs = dict(state.pairs)
    compared: set[str] = set()
    kpa: dict[str, float] = {}
    over = _Over(interval_s, gap_s, still, limits)
    for two in combinations(heard, 2):
        one, other = heard[two[0]], heard[two[1]]
        if calm[two[0]] and calm[two[1]] and abs(one[0] - other[0]) <= near_s:
            for name in two:
                if name not in kpa:
                    kpa[name] = _kpa(heard[name])
            pairs[two] = _compare(pairs.get(two), (one, kpa[two[0]]), (other, kpa[two[1]]), over)
            compared.update(two)
    standing = {two: pair for two, pair in pairs.items() if two[0] in heard and two[1] in heard}
    found = _found(standing, still, limits) if standing else ()
    return Agreement(Pairs(pairs, {**state.lately, **lately}), found, frozenset(compared))


def forget(state: Pairs, probe: str) -> Pairs:
    """The state without what was learnt of a probe: it was calibrated, moved or replaced."""
    kept = {two: pair for two, pair in state.pairs.items() if probe not in two}
    return Pairs(kept, {name: given for name, given in state.lately.items() if name != probe})


def _lately(before: Given | None, given: Given, gap_s: float, limits: Limits) -> Given:
    """A probe's mean over its last minutes."""
    if before is None or given[0] - before[0] > gap_s:
        return given
    if given[0] <= before[0]:
        return before
    dt_s = given[0] - before[0]
    share = dt_s / (limits.smooth_s + dt_s)
    rh_pct = given[2]
    if rh_pct is not None and before[2] is not None:
        rh_pct = before[2] + share * (rh_pct - before[2])
    return given[0], before[1] + share * (given[1] - before[1]), rh_pct


def _calm(lately: Given, given: Given, limits: Limits) -> bool:
    if abs(given[1] - lately[1]) > limits.dry_bulb.moving:
        return False
    return given[2] is None or lately[2] is None or abs(given[2] - lately[2]) <= limits.humidity.moving


def _compare(pair: Pair | None, first: tuple[Given, float], second: tuple[Given, float], over: _Over) -> Pair:
    """The pair after one more look at both, each with its vapour pressure, kPa."""
    (one, one_kpa), (other, other_kpa) = first, second
    interval_s, gap_s, still, limits = over
    mono_s = one[0] if one[0] >= other[0] else other[0]
    dt_s = 0.0 if pair is None else mono_s - pair.mono_s
    if pair is not None and dt_s <= 0.0:
        return pair
    if dt_s > gap_s:
        dt_s = interval_s
    dry = _gauge(None if pair is None else pair.dry_bulb, one[1] - other[1], dt_s, limits.dry_bulb, still, limits)
    humid = None if pair is None else pair.humidity
    # Vapour pressure follows from temperature: of probes that do not agree on that nothing is to be learnt about this.
    if one[2] is not None and other[2] is not None and abs(dry.apart) <= limits.dry_bulb.apart[0]:
        humid = _gauge(humid, _damper_pct(one, one_kpa, other, other_kpa), dt_s, limits.humidity, False, limits)
    return Pair(mono_s, dry, humid)


def _kpa(given: Given) -> float:
    """A hundred times the vapour pressure of a probe's air; 0 where it has no humidity, which is then compared with nothing."""
    if given[2] is None:
        return 0.0
    return float(min(given[2], 100.0) * saturation_vapour_kpa(given[1]))


def _damper_pct(one: Given, one_kpa: float, other: Given, other_kpa: float) -> float:
    """By how much one's vapour pressure is above the other's, as %RH at the temperature between them."""
    return (one_kpa - other_kpa) / float(saturation_vapour_kpa((one[1] + other[1]) / 2.0))


def _gauge(gauge: Gauge | None, by: float, dt_s: float, bounds: Bounds, still: bool, limits: Limits) -> Gauge:
    if gauge is None:
        return Gauge(by)
    apart = gauge.apart + dt_s / (limits.smooth_s + dt_s) * (by - gauge.apart)
    base, learnt_s, drift = gauge.base, gauge.learnt_s, gauge.drift
    if learnt_s >= limits.base_s:
        drift += dt_s / (limits.drift_s + dt_s) * (by - base - drift)
    elif still or abs(apart) <= bounds.apart[0]:  # a fault that stood from the start must not become the usual
        learnt_s += dt_s
        base += dt_s / learnt_s * (by - base)
    off = abs(apart - base if still else apart) if learnt_s >= limits.base_s or not still else 0.0
    if off <= bounds.apart[0]:
        return Gauge(apart, 0.0, 0.0, base, learnt_s, drift)
    most_s = 2.0 * limits.apart_s
    suspect_s = min(gauge.suspect_s + dt_s, most_s)
    fail_s = min(gauge.fail_s + dt_s, most_s) if off > bounds.apart[1] else 0.0
    return Gauge(apart, suspect_s, fail_s, base, learnt_s, drift)


def _found(pairs: Mapping[Two, Pair], still: bool, limits: Limits) -> tuple[Difference, ...]:
    dry = {two: pair.dry_bulb for two, pair in pairs.items()}
    humid = {two: pair.humidity for two, pair in pairs.items() if pair.humidity is not None}
    if all(
        _alike(pair.dry_bulb, limits.dry_bulb, limits) and _alike(pair.humidity, limits.humidity, limits)
        for pair in pairs.values()
    ):
        return ()
    found: dict[tuple[str, str, tuple[str, ...]], Difference] = {}
    for quantity, gauges, bounds in ((DRY_BULB, dry, limits.dry_bulb), (HUMIDITY, humid, limits.humidity)):
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
    return tuple(found.values())


def _alike(gauge: Gauge | None, bounds: Bounds, limits: Limits) -> bool:
    """Whether nothing stands against a pair in one quantity."""
    if gauge is None:
        return True
    brief = gauge.suspect_s < limits.apart_s and gauge.fail_s < limits.apart_s
    return brief and -bounds.drift[0] <= gauge.drift <= bounds.drift[0]


def _named(two: Two, by: Mapping[Two, float]) -> tuple[str, ...]:
    """Of the two, the one that is twice as far from the middle of all as the other; else both."""
    far = [abs(_from_middle(name, by)) for name in two]
    if far[0] >= 2.0 * far[1]:
        return (two[0],)
    return (two[1],) if far[1] >= 2.0 * far[0] else two


def _from_middle(name: str, by: Mapping[Two, float]) -> float:
    others = [value if two[0] == name else -value for two, value in by.items() if name in two]
    return median([0.0, *others])
