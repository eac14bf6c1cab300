"""A second model of an incubator, apart from the one that the demo and its streams are made with, so that no rule is fitted to one cabinet.

Four lumps (heating element, air with its fittings, wall, eggs) and the vapour of the air, stepped by Euler at DT_S. What the first model
holds fixed is drawn here from wide ranges (`machines.py`): how long element and thermostat lag, what the thermostat is, how the water
gets into the air, how unevenly the air stands. It imports nothing of ours.

It is not independent of the first in its magnitudes. Both have, with the sources that `monitor/rehearse/cabinet.py` names: the heat of an egg
(3.18 J/(g K), which the judge reckons with too), what one of 60 g exchanges in moving air (61 mW/K) and loses (0.124 g a day and kPa), the
heat of evaporation; and, rough and from memory, the share in still air, the films of air inside, a wet surface, and how far top and middle
are apart. Of its own are the saturation pressure, the embryo's heat, how long layers take to form, the cut-out, and what `machines.py` draws.
At what an egg is harmed is `harm.py`'s for both, of each its own egg.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

DT_S = 2.0
SWITCH, PI = "switch", "pi"
PAN, SPRAY, NO_WATER = "pan", "spray", "none"
EGG_J_G_K, EGG_W_K_60G, EGG_STILL = 3.18, 0.061, 0.6
EGG_G_S_KPA_60G = 0.124 / 86_400.0
LATENT_J_G = 2410.0
WET_G_S_M2_KPA = 0.03  # rough: a free water surface in gentle air
PAN_BELOW_K = 3.0  # rough: water stands so much cooler than the air that it evaporates into
FILM_FAN_W_M2_K, FILM_STILL_W_M2_K = 10.0, 4.0  # rough
SPREAD_S = 120.0  # rough: how long layers take to form
HOTTEST_C = 85.0  # rough: the thermal cut-out
PIP_W_G = 0.0027  # rough: heat of an embryo before pip, W a gram; half of it at seven tenths of the term, hardly any before the middle
HALF_TERM, STEEPNESS = 0.7, 13.0


def saturation_kpa(c: float) -> float:
    """Magnus, with the constants of Alduchov and Eskridge (1996), from memory."""
    return 0.61094 * math.exp(17.625 * c / (243.04 + c))


@dataclass(frozen=True, slots=True)
class Build:
    """How a machine is built. band_k: half the thermostat's hysteresis; gain, integral_s, window_s: of PI, per K, and of its pulses.

    spread: top above middle, as a share of machine above room. draught_w_k: by the open door. term_days: of its eggs.
    """

    volume_l: float
    heater_w: float
    fittings_j_k_l: float
    wall_w_m2_k: float
    wall_j_m2_k: float
    vent_per_h: float
    element_s: float
    thermostat_s: float
    control: str
    band_k: float = 0.05
    gain: float = 0.5
    integral_s: float = 600.0
    window_s: float = 4.0
    water: str = SPRAY
    spray_g_h: float = 60.0
    spray_band_pct: float = 2.0
    spread: float = 0.003
    still_spread: float = 0.06
    draught_w_k: float = 10.0
    fan: bool = True
    eggs: int = 40
    egg_g: float = 60.0
    term_days: float = 21.0


@dataclass(slots=True)
class RoomAir:
    """The air around: a mean with a daily swing and its vapour, and slow walks from one temperature to another."""

    mean_c: float
    swing_k: float
    vapour_kpa: float
    warmest_s: float = 32_400.0
    vapour_swing: float = 0.0
    walks: list[tuple[float, float, float]] = field(default_factory=list)  # from s, over s, by K

    def at(self, at_s: float) -> tuple[float, float]:
        """°C and kPa at a second of the story."""
        turn = 2.0 * math.pi * (at_s - self.warmest_s) / 86_400.0
        c = self.mean_c + self.swing_k * math.cos(turn)
        for from_s, over_s, by_k in self.walks:
            c += by_k * min(1.0, max(0.0, (at_s - from_s) / over_s))
        return c, self.vapour_kpa * (1.0 + self.vapour_swing * math.cos(turn / 2.7 + 1.0))


@dataclass(slots=True)
class Sensor:
    """One probe with its own lag, noise, error and steps; what is wrong with it are attributes, set between steps."""

    rng: random.Random
    height: float = 0.0
    offset_k: float = 0.0
    rh_offset_pct: float = 0.0
    lag_s: float = 15.0
    rh_lag_s: float = 10.0
    noise_k: float = 0.015
    noise_rh_pct: float = 0.1
    step_k: float = 0.01
    step_rh_pct: float = 0.01
    humid: bool = True
    off_k: float = 0.0
    off_rh_pct: float = 0.0
    drift_k_h: float = 0.0
    stuck: bool = False
    silent: bool = False
    air_c: float = math.nan
    vapour_kpa: float = 0.0
    lowest_c: float = math.inf  # of the true air where it hangs, since it was last asked
    highest_c: float = -math.inf
    _last: tuple[float, float | None] | None = None

    def read(self) -> tuple[float, float | None] | None:
        """What it says now; None while it is silent."""
        noise_k, noise_rh_pct = self.rng.gauss(0.0, self.noise_k), self.rng.gauss(0.0, self.noise_rh_pct)
        if self.silent:
            return None
        if self.stuck and self._last is not None:
            return self._last
        shown_c = _stepped(self.air_c + self.offset_k + self.off_k + noise_k, self.step_k)
        rh_pct = None
        if self.humid:
            true_pct = 100.0 * self.vapour_kpa / saturation_kpa(self.air_c)
            said = true_pct + self.rh_offset_pct + self.off_rh_pct + noise_rh_pct
            rh_pct = min(100.0, max(0.0, _stepped(said, self.step_rh_pct)))
        self._last = shown_c, rh_pct
        return self._last

    def extremes(self) -> tuple[float, float]:
        """The coldest and the hottest that the true air was there since this was last asked."""
        result = (self.air_c, self.air_c) if self.lowest_c > self.highest_c else (self.lowest_c, self.highest_c)
        self.lowest_c, self.highest_c = math.inf, -math.inf
        return result


def _stepped(value: float, step: float) -> float:
    return round(round(value / step) * step, 4)


@dataclass(slots=True)
class Cabin:
    """A machine and its state. Switches are attributes, set between steps."""

    build: Build
    sensors: Sequence[Sensor]
    set_c: float
    set_rh_pct: float
    age_days: float
    powered: bool = True
    heater: str = "ok"  # or "on", "dead"
    fan_on: bool = True
    door_open: bool = False
    door_share: float = 1.0
    eggs_out: bool = False
    water_share: float = 1.0
    free_water_m2: float = 0.0
    set_drift_k_h: float = 0.0
    wet_g: float = 0.0  # water on eggs and chicks, which dries
    wet_m2: float = 0.0
    chick_w: float = 0.0
    pan_m2: float = 0.0
    vent_share: float = 1.0
    air_c: float = 0.0
    wall_c: float = 0.0
    egg_c: float = 0.0
    vapour_kpa: float = 0.0
    element_w: float = 0.0
    spread_k: float = 0.0
    egg_spread_k: float = 0.0
    felt_c: float = 0.0  # by the thermostat
    felt_rh_pct: float = 50.0
    heating: bool = False
    spraying: bool = False
    integral: float = 0.3
    clock_s: float = 0.0

    def begin(self, room_c: float) -> None:
        """Warm, at its set points, in a room of that temperature."""
        build = self.build
        self.air_c = self.egg_c = self.felt_c = self.set_c
        film = FILM_FAN_W_M2_K if build.fan else FILM_STILL_W_M2_K
        self.wall_c = self.set_c - (self.set_c - room_c) * build.wall_w_m2_k / (build.wall_w_m2_k + film)
        self.vapour_kpa = self.set_rh_pct / 100.0 * saturation_kpa(self.set_c)
        self.felt_rh_pct = self.set_rh_pct
        self.fan_on = build.fan
        need_w = (self.set_c - room_c) * (
            self.vent_w_k + build.wall_w_m2_k * film / (build.wall_w_m2_k + film) * self.wall_m2
        )
        self.integral = min(1.0, max(0.0, need_w / build.heater_w))
        self.element_w = self.integral * build.heater_w
        for sensor in self.sensors:
            sensor.air_c, sensor.vapour_kpa = self.air_c, self.vapour_kpa

    @property
    def volume_m3(self) -> float:
        """Of the inside."""
        return self.build.volume_l / 1000.0

    @property
    def wall_m2(self) -> float:
        """Of the inside, taken as a cube."""
        return 6.0 * math.pow(self.volume_m3, 2.0 / 3.0)

    @property
    def rh_pct(self) -> float:
        """Of the air in the middle."""
        return 100.0 * self.vapour_kpa / saturation_kpa(self.air_c)

    @property
    def stirred(self) -> bool:
        """Whether the fan blows."""
        return self.fan_on and self.powered

    @property
    def vent_w_k(self) -> float:
        """Heat carried off through vents and door, W/K."""
        per_s = self.build.vent_per_h * self.vent_share / 3600.0 * (1.0 if self.stirred or not self.build.fan else 0.3)
        return self.volume_m3 * 1147.0 * per_s + (self.build.draught_w_k * self.door_share if self.door_open else 0.0)

    def embryo_w(self) -> float:
        """Of all eggs."""
        share = 1.0 / (1.0 + math.exp(-STEEPNESS * (self.age_days / self.build.term_days - HALF_TERM)))
        return self.build.eggs * self.build.egg_g * PIP_W_G * share + self.chick_w

    def egg_w_k(self) -> float:
        """All eggs to the air."""
        one = EGG_W_K_60G * math.pow(self.build.egg_g / 60.0, 2.0 / 3.0) * (1.0 if self.stirred else EGG_STILL)
        return one * self.build.eggs

    def local_c(self, height: float) -> float:
        """The air at a height from -1 (floor) to 1 (top)."""
        return self.air_c + height * self.spread_k

    def run(self, seconds: float, room: RoomAir, at_s: float) -> None:
        """Let seconds pass from a second of the story on; switches stay as they are."""
        pieces = max(1, round(seconds / DT_S))
        dt_s = seconds / pieces
        build, sensors = self.build, self.sensors
        room_c, room_kpa = room.at(at_s)
        air_j_k = build.volume_l * (1.147 + build.fittings_j_k_l)
        wall_j_k = build.wall_j_m2_k * self.wall_m2
        egg_j_k = max(1.0, build.eggs * build.egg_g * EGG_J_G_K)
        film_w_k = (FILM_FAN_W_M2_K if self.stirred else FILM_STILL_W_M2_K) * self.wall_m2
        out_w_k = build.wall_w_m2_k * self.wall_m2
        vent_w_k, egg_w_k, embryo_w = self.vent_w_k, self.egg_w_k(), self.embryo_w()
        g_kpa = 1e6 * self.volume_m3 / (461.5 * 310.0)
        vent_s = vent_w_k / (self.volume_m3 * 1147.0)
        egg_g_s_kpa = build.eggs * EGG_G_S_KPA_60G * build.egg_g / 60.0
        share = build.spread if self.stirred else build.still_spread
        feels = [(s, 1.0 - math.exp(-dt_s / s.lag_s), 1.0 - math.exp(-dt_s / s.rh_lag_s)) for s in sensors]
        egg_tau_s = egg_j_k / egg_w_k if build.eggs else 1e9
        eggs_in = 0.0 if self.eggs_out else 1.0
        pan_g_s_kpa = WET_G_S_M2_KPA * (self.pan_m2 * (self.water_share if build.water == PAN else 0.0))
        free_g_s_kpa = WET_G_S_M2_KPA * self.free_water_m2
        heats, warms = min(1.0, dt_s / build.element_s), min(1.0, dt_s / build.thermostat_s)
        damps = min(1.0, dt_s / 15.0)
        # What changes with each piece is held here until the end: this is most of the work of a life.
        air_c, wall_c, egg_c, vapour_kpa = self.air_c, self.wall_c, self.egg_c, self.vapour_kpa
        element_w, spread_k, egg_spread_k = self.element_w, self.spread_k, self.egg_spread_k
        saturated = saturation_kpa(air_c)
        for _ in range(pieces):
            element_w += (self._heat_w(air_c) - element_w) * heats
            kpa, before_c = vapour_kpa, air_c
            wet_g_s = pan_g_s_kpa * (saturation_kpa(air_c - PAN_BELOW_K) - kpa) if pan_g_s_kpa else 0.0
            wet_g_s += self._spray_g_s() + free_g_s_kpa * (saturated - kpa)
            if wet_g_s < 0.0:
                wet_g_s = 0.0
            from_egg_kpa = saturation_kpa(egg_c) - kpa
            dried_g_s = 0.0
            if self.wet_g > 0.0:
                dried_g_s = min(self.wet_g / dt_s, WET_G_S_M2_KPA * self.wet_m2 * max(0.0, from_egg_kpa))
                self.wet_g -= dried_g_s * dt_s
            lost_g_s = egg_g_s_kpa * from_egg_kpa
            inside = eggs_in * (lost_g_s + dried_g_s)
            kpa += dt_s * ((wet_g_s + inside) / g_kpa + vent_s * (room_kpa - kpa))
            vapour_kpa = min(kpa, saturation_kpa(wall_c))
            to_wall_w = film_w_k * (air_c - wall_c)
            to_eggs_w = egg_w_k * ((air_c if eggs_in else room_c) - egg_c)
            air_w = element_w - to_wall_w - eggs_in * to_eggs_w - vent_w_k * (air_c - room_c) - LATENT_J_G * wet_g_s
            air_c = before_c + dt_s * air_w / air_j_k
            wall_c += dt_s * (to_wall_w - out_w_k * (wall_c - room_c)) / wall_j_k
            egg_c += dt_s * (to_eggs_w + embryo_w - LATENT_J_G * (lost_g_s + dried_g_s)) / egg_j_k
            spread_k += (share * (air_c - room_c) - spread_k) * dt_s / SPREAD_S
            egg_spread_k += (spread_k - egg_spread_k) * dt_s / egg_tau_s
            saturated = saturation_kpa(air_c)
            self.felt_c += (air_c - self.felt_c) * warms
            self.felt_rh_pct += (100.0 * vapour_kpa / saturated - self.felt_rh_pct) * damps
            self.clock_s += dt_s
            if build.control == PI:
                self._integrate(dt_s)
            for sensor, near, near_rh in feels:
                local_c = air_c + sensor.height * spread_k
                sensor.air_c += (local_c - sensor.air_c) * near
                sensor.vapour_kpa += (vapour_kpa - sensor.vapour_kpa) * near_rh
                if local_c < sensor.lowest_c:
                    sensor.lowest_c = local_c
                if local_c > sensor.highest_c:
                    sensor.highest_c = local_c
        self.air_c, self.wall_c, self.egg_c, self.vapour_kpa = air_c, wall_c, egg_c, vapour_kpa
        self.element_w, self.spread_k, self.egg_spread_k = element_w, spread_k, egg_spread_k
        self.set_c += self.set_drift_k_h * seconds / 3600.0
        self.age_days += seconds / 86_400.0
        for sensor in sensors:
            sensor.off_k += sensor.drift_k_h * seconds / 3600.0

    def _heat_w(self, air_c: float) -> float:
        build = self.build
        if not self.powered or self.heater == "dead" or air_c > HOTTEST_C:
            return 0.0
        if self.heater == "on":
            return build.heater_w
        error_k = self.set_c - self.felt_c
        if build.control == SWITCH:
            if abs(error_k) >= build.band_k:
                self.heating = error_k > 0.0
            return build.heater_w if self.heating else 0.0
        duty = min(1.0, max(0.0, build.gain * error_k + self.integral))
        return build.heater_w if self.clock_s % build.window_s < duty * build.window_s else 0.0

    def _integrate(self, dt_s: float) -> None:
        error_k = self.set_c - self.felt_c
        if (
            self.powered
        ):  # held within what the heater can give, and no more: it winds up while the door is open, as cheap ones do
            self.integral = min(1.0, max(0.0, self.integral + self.build.gain * error_k * dt_s / self.build.integral_s))

    def _spray_g_s(self) -> float:
        build = self.build
        if build.water != SPRAY or not self.powered:
            return 0.0
        error = self.set_rh_pct - self.felt_rh_pct
        if abs(error) >= build.spray_band_pct:
            self.spraying = error > 0.0
        return build.spray_g_h / 3600.0 * self.water_share if self.spraying else 0.0
