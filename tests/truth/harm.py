"""The truth about the eggs, independent of the judge: how warm they really are, and when published harm begins.

The eggs are those of the cabinet model: one lump in its air, with the model's own coefficients (61 mW/K for 60 g in
hardly stirred air, so about 50 min to follow; the judge assumes stirred air and 18 min). Eggs in the corners of the
cabinet stand above or below that lump by what the air there does, drawn with the lump's own time constant; the
hottest and the coldest corner count.

Harm begins at the earliest of

    an egg of 39.5 °C: hatch falls above it (TAINIKA-22). Late in the term the model's sound egg is as warm as that
    by its own heat, so never less than 1.1 K above its own normal: a shell so far above the best harmed (LOURENS-05).
    Half an hour of air of 40.6 °C: harms, or kills many (MSU-HMG); longer exposures are published as harmless,
    and the careful text counts.
    3 h of an egg below 32.2 °C: up to 3 to 4 h only slow its growth (MSU-HMG); beyond, it goes from late to lost.

The published eggs are hens'; no figures were found for the others, so these stand for all.

    TAINIKA-22  B. Tainika. Thermal manipulation. IntechOpen 10.5772/intechopen.101894, 2022
    LOURENS-05  Lourens and others. Effect of eggshell temperature. Poultry Science 84:914-920, 2005
    MSU-HMG     T. W. Smith. Hatchery Management Guide. Mississippi State University Extension (copy)
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product

from monitor.rehearse.cabinet import EGG_J_G_K, EGG_STILL_SHARE, EGG_W_K_60G, Cabinet, embryo_w_60g, lagged

HOT_C, HOT_ABOVE_K = 39.5, 1.1
HOT_AIR_C, HOT_AIR_S = 40.6, 1800.0
COLD_C, COLD_S = 32.2, 3.0 * 3600.0
CORNERS = tuple(product((-0.8, 0.8), (-0.8, 0.8)))  # height and side of the eggs farthest from the middle


@dataclass(slots=True)
class Limits:
    """Watches true temperatures until one of the published limits is passed; normal_c: of a sound egg in that machine now."""

    normal_c: float
    hot_air_s: float = 0.0
    cold_s: float = 0.0
    harm_s: float | None = None
    why: str = ""

    @property
    def hot_c(self) -> float:
        """The egg temperature that harms."""
        return max(HOT_C, self.normal_c + HOT_ABOVE_K)

    def look(self, at_s: float, dt_s: float, hottest_c: float, coldest_c: float, hottest_air_c: float) -> None:
        """What it has been like for the last dt_s, to at_s; the first harm is kept."""
        self.hot_air_s = self.hot_air_s + dt_s if hottest_air_c >= HOT_AIR_C else 0.0
        self.cold_s = self.cold_s + dt_s if coldest_c < COLD_C else 0.0
        if self.harm_s is not None:
            return
        if hottest_c >= self.hot_c:
            self.harm_s, self.why = at_s, "egg too hot"
        elif self.hot_air_s >= HOT_AIR_S:
            self.harm_s, self.why = at_s, "hot air for half an hour"
        elif self.cold_s >= COLD_S:
            self.harm_s, self.why = at_s, "egg cold for 3 h"


@dataclass(slots=True)
class Corners:
    """How far the eggs in the corners of one cabinet stand from the middle ones, K."""

    off_k: list[float] = field(default_factory=lambda: [0.0] * len(CORNERS))

    def follow(self, dt_s: float, cabinet: Cabinet) -> None:
        """Let dt_s pass in the air as it is now."""
        tau_s = egg_tau_s(cabinet)
        self.off_k = [
            lagged(off_k, air_c - cabinet.air_c, dt_s=dt_s, lag_s=tau_s)
            for off_k, air_c in zip(self.off_k, corner_airs_c(cabinet), strict=True)
        ]

    def eggs_c(self, cabinet: Cabinet) -> tuple[float, float]:
        """The hottest and the coldest egg."""
        return cabinet.egg_c + max(self.off_k), cabinet.egg_c + min(self.off_k)


def own_heat_k(cabinet: Cabinet) -> float:
    """How far the embryo's heat alone holds a sound egg above its air, with the fan on; grows by the day."""
    heat_w = embryo_w_60g(cabinet.age_days) * cabinet.egg_mass_g / 60.0 * cabinet.spec.embryo_share
    return float(heat_w / (EGG_W_K_60G * (cabinet.egg_mass_g / 60.0) ** (2.0 / 3.0)))


def corner_airs_c(cabinet: Cabinet) -> tuple[float, ...]:
    """The air in each corner."""
    return tuple(cabinet.air_at(height, side)[0] for height, side in CORNERS)


def egg_tau_s(cabinet: Cabinet) -> float:
    """The time constant of the cabinet's eggs, as its own equations have it."""
    w_k = EGG_W_K_60G * (cabinet.egg_mass_g / 60.0) ** (2.0 / 3.0)
    if not (cabinet.fan_on and cabinet.powered):
        w_k *= EGG_STILL_SHARE
    return float(cabinet.egg_mass_g * EGG_J_G_K / w_k)
