"""What an egg feels: its temperature, estimated from the air by a first-order model of its mass and the embryo's heat.

    dT/dt = (air + offset(day) - T) / tau      tau = m c / K      offset = (embryo heat - evaporation) / K

The form is that of French (1997). An egg is taken as one lump: it follows the air as a low-pass filter does, so a
short, sharp excursion moves it less than a long, shallow one, and late in the term it stands above the air by what the
embryo gives off.

How far this can be trusted. For a 60 g egg in still air, textbook coefficients give K = 73 mW/K; a published warming
curve leads to 61 and a published shell temperature on day 18 to 93, so tau and offset are good to a factor of 1.3. In
moving air K hangs on the air's speed: from 61 (hardly stirred) to 200 mW/K, so there the factor is 2 and more. The
embryo's heat is rough and from memory, and means a living embryo; after pipping the model says nothing. On day 18 in
still air it leads to 1.8 K above the air, where 1.3 to 1.5 were measured (Romijn & Lokhorst, in LOURENS-TH): the middle is
high there, and the measured lies at the lower edge of the doubt. It is not scaled to that: the warming curve would then
be met worse, and the pull on the egg's water hangs on the same table. The result is an estimate and is shown as one,
with its doubt: that of steady air. How fast it follows is said beside it.

Units: °C, K, g, s, mW; days of incubation from the set time.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import field
from itertools import pairwise
from typing import TYPE_CHECKING

from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import FORCED, GENTLE, STILL

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

EGG_J_G_K = 3.18  # whole hen egg: trade literature on cooling eggs; 3.3 is used too (from memory)
SURFACE_CM2, SURFACE_POWER = 4.835, 0.662  # of the mass in g: Paganelli and others (1974), coefficients from memory
# Heat that a surface exchanges, W/(m2 K), convection and radiation, from memory. They agree with textbook correlations
# for a sphere of 45 mm: 4 + 6 in still air that is 1.4 K cooler, 18 + 6 in air of 1 m/s.
# Air that is hardly stirred lies between the two: their middle by ratio (judgement), and doubted as far as either.
SURFACE_W_M2_K = {STILL: 10.0, GENTLE: 16.0, FORCED: 25.0}

TERM_DAYS, HEN_MASS_G = 21.0, 60.0  # what the table below stands for
# Heat of a chicken embryo by day, mW per 60 g egg. Rough: from memory, after Romijn & Lokhorst (1960); held after
# the last.
EMBRYO_DAYS = (0.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0, 17.0, 18.0, 19.0, 20.0)
EMBRYO_MW = (0.0, 3.0, 10.0, 22.0, 40.0, 75.0, 115.0, 137.0, 140.0, 145.0, 190.0)
# The same by its stretches, before the first day and after the last too: from which day, for how many, from how much, by how much more.
_STRETCHES = (
    (0.0, 1.0, EMBRYO_MW[0], 0.0),
    *(
        (day, later - day, mw, more - mw)
        for (day, mw), (later, more) in pairwise(zip(EMBRYO_DAYS, EMBRYO_MW, strict=True))
    ),
    (EMBRYO_DAYS[-1], 1.0, EMBRYO_MW[-1], 0.0),
)
# A hen egg that loses 0.36 g a day (trade literature), at 2.41 kJ/g. As much as the embryo's heat on day 7, so never
# left out.
EVAPORATION_MW = 10.0

# The middle, by ratio, of the shipped profiles, for a profile that gives no mass. tau and offset go with about
# the cube root of the mass: a 3 g egg and a 200 g egg are both within a factor of 2 of it.
FALLBACK_MASS_G = 28.0

# By which factor the offset may be smaller or larger: see above.
DOUBT = {STILL: 1.3, GENTLE: 1.6, FORCED: 2.0}
# And what a good sensor may be off at least: so near is no estimate (judgement).
DOUBT_AT_LEAST_K = 0.2

# Limits on the egg itself. Of hens hatch falls above 39.5 °C (Tainika 2022, a review), a trade handbook calls an embryo of
# 40 °C lost. That is 1.7 K above the best shell (37.8 °C, Lourens and others 2005), to which hens' machines are set. Of other
# birds no figure was found: as far above their own setting is a judgement.
HOT_C = 39.5
HOT_ABOVE_BEST_K = 1.7
# A shell 1.1 K above the best one harmed in the last week (Lourens and others 2005): under this above normal is no
# news, even where the estimate of the normal is itself high, as late in the term in still air.
HOT_ABOVE_NORMAL_K = 1.0
# In the last week itself so far above normal is too hot, whatever lies below hot_c: the source's week is the last third of a hen's term. It is of
# hens; for other fowl and for waterfowl it is taken over (judgement), and for no other: ostriches' eggs were set at 1.1 K above the setting here.
LATE_SHARE = 2.0 / 3.0
LIKE_HENS = frozenset(("fowl", "waterfowl"))
# 90 °F for 3 to 4 h only slows growth; below it the published results go from late to lost (extension services).
COLD_C = 32.2

DAY_S = 86_400.0
BLOCK = 300.0  # time constants worked on at once: e**300 is far inside what a float holds


@fixed
class EggModel:
    """An egg of that fresh mass and species in that air.

    mass_g: 0.1 to 3000. term_days: length of incubation, above 0 to 120. air: one of AIRS, as a machine has it.
    layer_k: how much higher the probe reads than the air around the egg: the reading at egg top in a still-air machine.
    hot_c: the egg temperature that is too hot for it; from late_day on what is 1 K above its normal, if that is less.
    tau_s: the time constant, in which the egg goes 63 % of its way. Raises ValueError for what is out of range.
    """

    mass_g: float
    term_days: float
    air: str = FORCED
    layer_k: float = 0.0
    hot_c: float = HOT_C
    late_day: float = math.inf
    tau_s: float = field(init=False)
    k_mw_k: float = field(init=False)
    scale: float = field(init=False)

    def __post_init__(self) -> None:
        if not 0.1 <= self.mass_g <= 3000.0:
            raise ValueError(f"egg: mass_g {self.mass_g:g}, expected 0.1 to 3000")
        if not 0.0 < self.term_days <= 120.0:
            raise ValueError(f"egg: term_days {self.term_days:g}, expected above 0 to 120")
        if self.air not in SURFACE_W_M2_K:
            raise ValueError(f"egg: air {self.air!r}, expected {' or '.join(SURFACE_W_M2_K)}")
        if not 0.0 <= self.layer_k <= 5.0:
            raise ValueError(f"egg: layer_k {self.layer_k:g}, expected 0 to 5")
        surface_cm2 = SURFACE_CM2 * self.mass_g**SURFACE_POWER
        k_mw_k = SURFACE_W_M2_K[self.air] * surface_cm2 / 10.0  # W/(m2 K) on 1 cm2 is 0.1 mW/K
        object.__setattr__(self, "k_mw_k", k_mw_k)
        object.__setattr__(self, "scale", self.mass_g / HEN_MASS_G * TERM_DAYS / self.term_days)
        object.__setattr__(self, "tau_s", 1000.0 * self.mass_g * EGG_J_G_K / k_mw_k)

    def heat_mw(self, day: float) -> float:
        """The embryo's heat less what evaporation takes, mW; held beyond both ends of the table.

        Of another species the same share of the term is read, and both go with mass over term: an embryo costs about
        the same energy per gram of egg, and an egg loses about the same share of its mass, whether it has 17 days for
        it or 42.
        """
        hen_day = day * TERM_DAYS / self.term_days
        from_day, for_days, from_mw, rise_mw = _STRETCHES[bisect_right(EMBRYO_DAYS, hen_day)]
        embryo_mw = from_mw + (hen_day - from_day) / for_days * rise_mw
        return (embryo_mw - EVAPORATION_MW) * self.scale

    def offset_k(self, day: float) -> float:
        """How far the egg stands above the air around it when nothing changes; below 0 early, by evaporation."""
        return self.heat_mw(day) / self.k_mw_k

    def start(self, air_c: float, day: float) -> float:
        """The egg's temperature after a long time in air that reads air_c: assumed where nothing else is known."""
        return self.settled(air_c, self.offset_k(day))

    def settled(self, air_c: float, offset_k: float) -> float:
        """The same, of an offset that is known."""
        return air_c - self.layer_k + offset_k

    def advance(self, egg_c: float, before_c: float, air_c: float, *, seconds: float, day: float) -> float:
        """The egg's temperature after `seconds` in which the reading went straight from before_c to air_c.

        day: of incubation at the end of the step. Exact for a straight line of the air and of the offset, so stable for
        any step, and the same in one step or in many (a step across a corner of the heat table: within 0.03 K). Raises
        ValueError when time goes back or a value is not a number.
        """
        return self.approach(egg_c, (before_c, day - seconds / DAY_S), self.start(air_c, day), seconds)

    def approach(self, egg_c: float, before: tuple[float, float], settled_c: float, seconds: float) -> float:  # noqa: PLR0917 - with each reading
        """The same, of what is known: the air before and the day then, and where the egg settles in the air now."""
        if not seconds >= 0.0 or not math.isfinite(egg_c + before[0] + settled_c + seconds + before[1]):
            came = f"{egg_c:g}, settling at {settled_c:g}, before in {before[0]:g} °C, {seconds:g} s, day {before[1]:g}"
            raise ValueError(f"egg: {came}, expected finite values and 0 s or more")
        before_c, before_day = before
        settled_before_c = before_c - self.layer_k + self.heat_mw(before_day) / self.k_mw_k  # as `start` has it
        x = seconds / self.tau_s
        behind_k = (egg_c - settled_before_c) * math.exp(-x) - (settled_c - settled_before_c) * _lag_share(x)
        return settled_c + behind_k

    def hot_limit_c(self, target_c: float, offset_k: float, day: float) -> float:
        """The egg temperature that is too hot on a day, at the offset of that day: hot_c, never within 1 K of the egg's own in a machine that
        reads target_c, and late in the term that alone."""
        hot_c = self.settled(target_c, offset_k) + HOT_ABOVE_NORMAL_K
        return hot_c if hot_c > self.hot_c or day >= self.late_day else self.hot_c

    def doubt_k(self, offset_k: float) -> tuple[float, float]:
        """By how much an estimate may be too high and too low, K, in steady air at that offset."""
        factor = DOUBT[self.air]
        ends = (offset_k / factor, offset_k * factor)
        return offset_k - min(ends) + DOUBT_AT_LEAST_K, max(ends) - offset_k + DOUBT_AT_LEAST_K


def model_of(profile: Profile, air: str) -> EggModel:
    """The egg of a profile in a machine with that air: the middle of its range of masses."""
    low_g, high_g = profile.egg_mass_g if profile.egg_mass_g is not None else (FALLBACK_MASS_G, FALLBACK_MASS_G)
    layer_k = profile.still_air_offset_k if air == STILL else None
    best_c = profile.stage_at(0.0).dry_bulb_c.target
    hot_c = HOT_C if best_c is None else round(best_c + HOT_ABOVE_BEST_K, 2)
    late_day = LATE_SHARE * profile.days if profile.kind in LIKE_HENS else math.inf
    mass_g = (low_g + high_g) / 2.0
    return EggModel(mass_g, profile.days, air, layer_k=layer_k or 0.0, hot_c=hot_c, late_day=late_day)


def run(model: EggModel, at_s: Floats, air_c: Floats, *, day0: float) -> Floats:
    """The egg's temperature along a line of readings, equal to `advance` from one to the next.

    Parameters
        at_s: times, s, rising or equal; day0: the day of incubation at the first. air_c: readings, of the same length.
    Returns
        egg_c at each time; the first is `start`. The line of the air is taken as straight between readings, gaps too.
    Raises
        ValueError: lengths differ, time goes back, or a value is not a number.
    """
    import numpy as np

    at, air = np.asarray(at_s, dtype=float), np.asarray(air_c, dtype=float)
    if at.ndim != 1 or at.shape != air.shape:
        raise ValueError(f"egg: times {at.shape} and readings {air.shape}, expected two rows of one length")
    if not at.size:
        return np.empty(0)
    steps = np.diff(at) / model.tau_s
    if not (np.isfinite(at).all() and np.isfinite(air).all() and (steps >= 0.0).all()):
        raise ValueError(
            "egg: readings or times that are not finite or go back, expected finite values in order of time"
        )
    hen_days = (day0 + (at - at[0]) / DAY_S) * TERM_DAYS / model.term_days
    heat_mw = np.interp(hen_days, EMBRYO_DAYS, EMBRYO_MW) - EVAPORATION_MW
    settled: Floats = air - model.layer_k + heat_mw * (model.scale / model.k_mw_k)
    small = steps < 1e-6
    share = np.where(small, 1.0 - steps / 2.0, -np.expm1(-steps) / np.where(small, 1.0, steps))
    return settled + _decayed(steps, np.diff(settled) * -share)


def _decayed(steps: Floats, pushes: Floats) -> Floats:
    """y[0] = 0, y[i] = y[i-1] exp(-steps[i-1]) + pushes[i-1], in blocks whose weights a float can hold."""
    import numpy as np

    y = np.zeros(steps.size + 1)
    passed = np.cumsum(steps)
    i = 0
    while i < steps.size:
        end = max(i + 1, int(np.searchsorted(passed, passed[i] + BLOCK, side="right")))
        first = y[i] * math.exp(-steps[i]) + pushes[i]
        since = passed[i:end] - passed[i]
        weighed = pushes[i:end] * np.exp(since)
        weighed[0] = first
        y[i + 1 : end + 1] = np.cumsum(weighed) * np.exp(-since)
        i = end
    return y


def _lag_share(x: float) -> float:
    """(1 - exp(-x)) / x: the share of a straight change, x time constants long, that the egg is behind at its end."""
    return 1.0 - x / 2.0 if x < 1e-6 else -math.expm1(-x) / x
