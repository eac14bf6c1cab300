"""What an egg loses: its conductance from its weighings, its loss so far and up to pip, and the humidity that would mend it.

    mass(t) = mass at set - G · pull(t)        G: conductance, g/(kPa·d); pull: `water_pull`, what the record shows

The line is fitted to all weighings at once by least squares, so the mass at set is found even when the first weighing came
late. Into the interval go the scale's error and the common scatter of weighings, or the masses' own about the line where that
is greater; of time without record (which is given the mean deficit of the rest) GAP_DOUBT; of the time to come AHEAD_DOUBT.

One bad weighing (the tray left on, 19.3 for 13.9) is found by leaving out each in turn. Least squares with Huber's weights
was thought of: the last weighing has the most leverage, and draws such a line to itself. So were medians of slopes (Theil and
Sen): with four weighings one in four already breaks them, and they have no interval of 95 %. A weighing is left out when the
others agree so much better without it that chance does not explain it, when no other would do as well, and never more than
one in four. With three weighings nobody can say which is wrong: then the interval widens.

Without any record of humidity the same line runs over days instead of pull: the published rule of three, true while the air
stays as it was. No humidity can then be advised.

Valid for a whole shell from set to internal pip. The estimate of the egg's temperature, and a sensor that is always 2 % off,
shift the conductance by 4 % or so, which its interval does not show; the projection hardly, for both sides of it shift alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from monitor.analysis.line.trace import Floats, Integers, Mask
from monitor.analysis.water.pull import DAY_MS, Pull
from monitor.domain.air.psychrometrics import SEA_LEVEL_KPA
from monitor.domain.eggs.book import FreshMass, Mass
from monitor.domain.readings.reading import to_ms

CONFIDENCE = 0.95
# Loss during time without record, as a share of itself (1 sd): under a parent the deficit is 27 torr (Ar & Rahn 1985),
# a quarter above that of a machine at 37.5 °C and 55 %; in a silent machine it is nearer than that.
GAP_DOUBT = 0.25
# Loss yet to come, as a share of itself (1 sd): late in the term the egg's own warmth is known to half of its 0.7 K, and
# that is 4 % of the deficit.
AHEAD_DOUBT = 0.04
# In a store of 15 °C and 75 % the deficit is 0.43 kPa (computed); weighings before the set time are brought to it with this.
STORE_KPA = 0.4
# Masses scatter more than a good scale does: the amazon's daily weights in "Hand-Rearing Birds" (Kasielke, chapter 3) lie
# 0.030 g about their line, 0.11 % of the egg, on a scale of 0.01 g (computed). Draughts, dew, and days that differ.
SCATTER_SHARE = 0.001
# The scale's stated error counts as much as that many weighings' scatter: with two, nothing else is known of it.
ERROR_WORTH = 8
OUTLIER, CLEAR_BY = 16.0, 6.0  # of chi-squared: 4 sd, and e**3 to 1 against the next suspect
ONE_BAD_IN = 4
SHORTEST_KPA_D = 1.0  # weighings nearer to each other than some hours of pull are one weighing


@dataclass(frozen=True, slots=True)
class Interval:
    """A value and the bounds it lies between with CONFIDENCE."""

    value: float
    low: float
    high: float

    def inside(self, low: float, high: float) -> bool:
        """Whether all of it lies from low to high."""
        return low <= self.low and self.high <= high

    def outside(self, low: float, high: float) -> bool:
        """Whether none of it does."""
        return self.high < low or self.low > high


@dataclass(frozen=True, slots=True)
class NoLine:
    """Why nothing can be said of an egg's loss. found: what there is; expected: what is needed; yet: it can still come of itself."""

    found: str
    expected: str
    yet: bool = False

    @property
    def reason(self) -> str:
        """In one line."""
        return f"{self.found}{' yet' if self.yet else ''}, expected {self.expected}"


@dataclass(frozen=True, slots=True)
class LossLine:
    """The fitted line of one egg (or tray, as one egg of it).

    by_days: no humidity was recorded, and what stands for pull is days. used, left_out: weighings, by their entry numbers.
    recorded: share of the time from set to the last weighing with a record. freedom: what is known of the weighings' scatter, as the
    degrees of freedom of its estimate; error_g: of the last weighing. The rest is for the methods.
    """

    by_days: bool
    used: tuple[int, ...]
    left_out: tuple[int, ...]
    recorded: float
    last_ms: int
    pressure_kpa: float
    theta: Floats
    covariance: Floats
    freedom: int
    error_g: float

    @property
    def reach(self) -> float:
        """How many sd the interval reaches to each side."""
        return _student(self.freedom)

    @property
    def mass_at_set_g(self) -> Interval:
        """The egg's mass at the set time."""
        return self._interval(float(self.theta[0]), [1.0])

    @property
    def conductance_mg_d_kpa(self) -> Interval | None:
        """Water-vapour conductance at the site's pressure; None where only days are known."""
        return None if self.by_days else self._scaled(1000.0)

    @property
    def conductance_sea_level_mg_d_kpa(self) -> Interval | None:
        """The same at sea level, to compare with published ones: diffusion goes with one over the pressure (Rahn 1977)."""
        return None if self.by_days else self._scaled(1000.0 * self.pressure_kpa / SEA_LEVEL_KPA)

    def loss_pct(self, pull: float, doubt_g: float = 0.0) -> Interval:
        """Loss in per cent of the mass at set, when the pull since then is this; doubt_g: of the loss, beyond the line's."""
        mass_g, per_pull, extra_g = float(self.theta[0]), float(self.theta[1]), float(self.theta[2:].sum())
        pct = 100.0 * (per_pull * pull + extra_g) / mass_g
        gradient = [-pct / mass_g, 100.0 * pull / mass_g, *[100.0 / mass_g] * (len(self.theta) - 2)]
        return self._interval(pct, gradient, 100.0 * doubt_g / mass_g)

    def pull_for(self, loss_pct: float) -> float:
        """The pull since set that brings the egg to this loss; infinite for an egg that does not lose."""
        mass_g, per_pull, extra_g = float(self.theta[0]), float(self.theta[1]), float(self.theta[2:].sum())
        return (loss_pct / 100.0 * mass_g - extra_g) / per_pull if per_pull > 0.0 else math.inf

    def weighed_again(self, pull: float) -> LossLine:
        """The line as one more weighing like the last will leave it, at that pull since set, where it shows what the line says: only the doubt shrinks."""
        row = np.full(len(self.theta), -1.0)
        row[:2] = 1.0, -pull
        spread = self.covariance @ row
        covariance = self.covariance - np.outer(spread, spread) / (float(row @ spread) + self.error_g**2)
        return replace(self, covariance=covariance, freedom=self.freedom + 1)

    @property
    def g_per_pull(self) -> float:
        """What the egg loses per unit of pull: per kPa·d, or per day where by_days."""
        return float(self.theta[1])

    def _scaled(self, factor: float) -> Interval:
        found = self._interval(float(self.theta[1]) * factor, [0.0, factor])
        return Interval(found.value, max(0.0, found.low), found.high)

    def _interval(self, value: float, gradient: Sequence[float], doubt: float = 0.0) -> Interval:
        g = np.zeros(len(self.theta))
        g[: len(gradient)] = gradient
        half = self.reach * math.sqrt(float(g @ self.covariance @ g) + doubt * doubt)
        return Interval(value, value - half, value + half)


def line_of(
    masses: Sequence[Mass], pull: Pull | None, *, set_ms: int, pressure_kpa: float, fresh: FreshMass | None = None
) -> LossLine | NoLine:
    """The line of one egg.

    Parameters
        masses: its weighings; those left out by the book are not used. pull: what the record shows, None where it has no
            humidity. fresh: mass at lay from length and breadth, for an egg never weighed about then.
    Returns
        The line, or why there is none: it takes two weighings, or one and the fresh mass.
    """
    mean_kpa = None if pull is None else pull.mean_kpa
    use = sorted((m for m in masses if not m.left_out), key=lambda m: (m.at, m.entry))
    if not use:
        return NoLine("not weighed", "two weighings, or one with length and breadth", yet=True)
    at_ms = [to_ms(m.at) for m in use]
    if pull is None or mean_kpa is None:
        x, missing = np.array([(at - set_ms) / DAY_MS for at in at_ms]), np.zeros(len(use))
    else:
        parts = [since_set(pull, mean_kpa, set_ms=set_ms, at_ms=at) for at in at_ms]
        x, missing = np.array([a for a, _ in parts]), np.array([b for _, b in parts])
    span = float(x.max() if fresh is not None else x.max() - x.min())
    if span < SHORTEST_KPA_D and len(use) == 1 and fresh is None:
        return NoLine("weighed once", "again some days later, or length and breadth")
    if span < SHORTEST_KPA_D:
        return NoLine(f"{_counted(len(use))} too close together", "some days between two")
    mass_g = np.array([m.mass_g for m in use])
    error_g = np.array([math.hypot(m.error_g, SCATTER_SHARE * m.mass_g) for m in use])
    gaps = np.diff(np.concatenate(([0.0], missing)))
    table = _Table(x, mass_g, error_g, np.flatnonzero(gaps > 0.0), gaps, fresh)
    fit, kept, freedom = _without_the_bad(table)
    # Where a weighing is wrong and nobody can say which, the scale's error means nothing: the scatter alone counts.
    known = 0 if fit.unclear else ERROR_WORTH
    widened = max(1.0, (known + fit.chi2) / max(1, known + freedom))
    return LossLine(
        by_days=pull is None or mean_kpa is None,
        used=tuple(m.entry for m, keep in zip(use, kept, strict=True) if keep),
        left_out=tuple(m.entry for m, keep in zip(use, kept, strict=True) if not keep),
        recorded=0.0 if pull is None else _share(pull, set_ms, at_ms[-1]),
        last_ms=at_ms[-1],
        pressure_kpa=pressure_kpa,
        theta=fit.theta,
        covariance=fit.covariance * widened,
        freedom=max(1, known + freedom),
        error_g=float(error_g[-1]) * math.sqrt(widened),
    )


def since_set(pull: Pull, mean_kpa: float, *, set_ms: int, at_ms: int) -> tuple[float, float]:
    """(pull from the set time to at_ms, the part of it that is assumed), kPa·d.

    Time without record is given the mean deficit of the rest; time before the set time that of a store.
    """
    if at_ms <= set_ms:
        return STORE_KPA * (at_ms - set_ms) / DAY_MS, 0.0
    (at_end, days_at_end), (at_set, days_at_set) = pull.until(at_ms), pull.until(set_ms)
    unrecorded_d = max(0.0, (at_ms - set_ms) / DAY_MS - (days_at_end - days_at_set))
    if unrecorded_d < 0.01:  # a quarter of an hour: the rounding of the bins
        unrecorded_d = 0.0
    assumed = mean_kpa * unrecorded_d
    return at_end - at_set + assumed, assumed


@dataclass(frozen=True, slots=True)
class _Table:
    """The weighings of a fit: pull, masses, errors; before which of them time is unrecorded, and how much pull that is."""

    x: Floats
    mass_g: Floats
    error_g: Floats
    holes: Integers
    gaps: Floats
    fresh: FreshMass | None


@dataclass(frozen=True, slots=True)
class _Fit:
    theta: Floats
    covariance: Floats
    chi2: float
    unclear: bool = False


def _fit(table: _Table, kept: Mask, slope: float) -> _Fit:
    """Least squares for mass at set, loss per pull, and what each hole in the record took beyond its mean share."""
    n, holes = len(table.x), len(table.holes)
    rows = np.zeros((n, 2 + holes))
    rows[:, 0], rows[:, 1] = 1.0, -table.x
    for column, hole in enumerate(table.holes):
        rows[hole:, 2 + column] = -1.0
    rows, values, errors = rows[kept], table.mass_g[kept], table.error_g[kept]
    if holes:
        prior = np.hstack((np.zeros((holes, 2)), np.eye(holes)))
        doubt_g = np.maximum(GAP_DOUBT * abs(slope) * table.gaps[table.holes], 1e-9)
        rows, values = np.vstack((rows, prior)), np.append(values, np.zeros(holes))
        errors = np.append(errors, doubt_g)
    if table.fresh is not None:
        rows = np.vstack((rows, np.eye(1, 2 + holes)))
        values, errors = np.append(values, table.fresh.mass_g), np.append(errors, table.fresh.doubt_g)
    weighed = rows / errors[:, None]
    inverse = np.linalg.pinv(weighed)
    theta = inverse @ (values / errors)
    left = values / errors - weighed @ theta
    return _Fit(theta, inverse @ inverse.T, float(left @ left))


def _without_the_bad(table: _Table) -> tuple[_Fit, Mask, int]:
    """(fit, which weighings it used, its degrees of freedom), after leaving out those that are clearly wrong."""
    n = len(table.x)
    prior = 0 if table.fresh is None else 1
    kept = np.ones(n, dtype=bool)
    slope = _slope(table)
    fit = _fit(table, kept, slope)
    for _ in range(max(1, n // ONE_BAD_IN)):
        freedom = int(kept.sum()) + prior - 2
        if freedom < 1:
            break
        without = {i: _fit(table, kept & (np.arange(n) != i), slope) for i in np.flatnonzero(kept)}
        ranked = sorted(without, key=lambda i: without[i].chi2)
        best = without[ranked[0]]
        scatter = max(1.0, (ERROR_WORTH + best.chi2) / (ERROR_WORTH + freedom - 1))
        if (fit.chi2 - best.chi2) / scatter <= OUTLIER:
            break
        rival = without[ranked[1]].chi2 - best.chi2 if len(ranked) > 1 else 0.0
        if freedom < 2 or n < ONE_BAD_IN or rival / scatter <= CLEAR_BY:
            fit = _Fit(fit.theta, fit.covariance, fit.chi2, unclear=True)
            break
        kept[ranked[0]] = False
        fit = best
    return fit, kept, max(0, int(kept.sum()) + prior - 2)


def _slope(table: _Table) -> float:
    """A first loss per pull, for the size of the doubt of holes: the median of all pairs (Theil 1950)."""
    first, second = np.triu_indices(len(table.x), k=1)
    run, lost = table.x[second] - table.x[first], table.mass_g[first] - table.mass_g[second]
    if table.fresh is not None:
        run, lost = np.append(run, table.x), np.append(lost, table.fresh.mass_g - table.mass_g)
    far = run >= min(SHORTEST_KPA_D, float(run.max()))
    return float(np.median(lost[far] / run[far]))


def _share(pull: Pull, set_ms: int, at_ms: int) -> float:
    """Share of the time from set to at_ms that is recorded."""
    days = (at_ms - set_ms) / DAY_MS
    return min(1.0, (pull.until(at_ms)[1] - pull.until(set_ms)[1]) / days) if days > 0.0 else 0.0


def _student(freedom: int) -> float:
    """Student's t for CONFIDENCE on both sides: exact for 1 and 2, else Abramowitz & Stegun 26.7.5, within 0.03 from 3 on."""
    if freedom == 1:
        return math.tan(math.pi * CONFIDENCE / 2.0)
    if freedom == 2:
        return CONFIDENCE * math.sqrt(2.0 / (1.0 - CONFIDENCE**2))
    z, n = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2.0), freedom
    return (
        z
        + (z**3 + z) / (4 * n)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * n**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * n**3)
    )


def _counted(weighings: int) -> str:
    return "one weighing" if weighings == 1 else f"{weighings} weighings"
