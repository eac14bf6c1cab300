"""A physical model of one incubator cabinet, for the demo, the recorded streams and the tests.

Three lumps exchange heat: the air (with the racks and fittings that it blows over), the wall, and the eggs.
The vapour in the air is fed by the humidifier and the eggs and carried off by ventilation. `Cabinet.step`
cuts any time step into pieces of at most STEP_S, because thermostat and humidifier decide that often. Inside a
piece the three temperatures follow the exact solution of their linear equations, and the vapour its exact
exponential. Every flow is summed in a `Ledger`: what came in less what went out must be what is stored.

Figures marked rough are textbook magnitudes from memory. The model shows how cabinets behave; it is no one
cabinet.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from dataclasses import dataclass, field
from typing import NamedTuple

from monitor.domain.air.psychrometrics import saturation_vapour_kpa, vapour_kpa

STEP_S = 2.0  # how often thermostat and humidifier decide
SERIES_TERMS = 9  # in STEP_S the air moves by less than a fifth of its way, and 0.2**9 / 9! is below 1e-11
HYSTERESIS, PROPORTIONAL = "hysteresis", "proportional"
OK, STUCK_ON, DEAD = "ok", "stuck_on", "dead"
VOLUME_L_LOW, VOLUME_L_HIGH = 40.0, 500.0  # the cabinets that the rough figures below were chosen for

ZERO_C_K = 273.15
AIR_KG_M3 = 1.14  # dry air at 37 °C and 101 kPa: ideal gas
AIR_J_KG_K = 1006.0  # ASHRAE Handbook - Fundamentals (2021), ch. 1, eqn 30
VAPOUR_J_KG_K = 461.5  # gas constant of water vapour, same, eqn 2
LATENT_J_G = 2410.0  # heat of evaporation near 38 °C
EGG_J_G_K = 3.18  # whole hen egg: figure of trade literature on cooling eggs
# In an incubator's moving air 90 % of the heat took nearly 2 h (Am. J. Physiol. 1978, on cooled eggs): a time
# constant of 52 min, so 61 mW/K for a 60 g egg. Other published figures lead to up to 1.5 times that.
EGG_W_K_60G = 0.061
EGG_STILL_SHARE = 0.6  # rough: a sphere in free against gently forced convection
EGG_VAPOUR_G_D_KPA_60G = 0.124  # a hen egg that loses 0.36 g a day: 16.5 mg/(d torr)

INTERNALS_J_K_L = 10.0  # rough: racks, element and fittings, per litre of cabinet
WALL_J_M2_K = 5000.0  # rough: 4 kg/m² of plastic or thin wood
WALL_U_W_M2_K = 0.9  # rough: 30 mm of foam and the air film outside
INSIDE_FAN_W_M2_K, INSIDE_STILL_W_M2_K = 10.0, 4.0  # rough: air film inside
CUT_OUT_C = 90.0  # rough: the thermal cut-out that even a heater stuck on has
STILL_VENT_SHARE = 0.3  # rough: without the fan only the draught of warm air is left
DOOR_SHARE = 0.6 / 3.0  # discharge coefficient over three: exchange through one tall opening, from memory
DOOR_DIFFERENCE_K = 15.0  # the difference that the door's draught is worked out for, and then kept
WET_G_S_M2_KPA = 0.03  # rough: evaporation from a free water surface in gentle air
SPREAD_FAN, SPREAD_STILL = 0.003, 0.06  # rough: top above middle, as a share of cabinet above room
SPREAD_S = 90.0  # rough: how long such layers take to form or to mix
SIDE_S = 1200.0  # rough: how long one side takes to warm once something stands in the air's way
THERMOSTAT_LAG_S, HYGROSTAT_LAG_S = 8.0, 10.0
HYSTERESIS_K = 0.03  # either side of the set point
BAND_K, INTEGRAL_S = 1.5, 600.0  # proportional control has an integral part
HUMIDIFIER_BAND_PCT = 8.0

# Heat of a chicken embryo, mW per 60 g egg, by day. Rough: from memory, after Romijn & Lokhorst (1960).
EMBRYO_DAYS = (0.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0, 17.0, 18.0, 19.0, 20.0)
EMBRYO_MW = (0.0, 3.0, 10.0, 22.0, 40.0, 75.0, 115.0, 137.0, 140.0, 145.0, 190.0)

Vector = tuple[float, float, float]
Matrix = tuple[Vector, Vector, Vector]


class _Held(NamedTuple):
    """J/K of air, wall and eggs (without eggs a lone 1 J/K, which nothing touches); A in T' = A T + b, 1/s, for them; air exchanged with the
    room by vents, leaks and the open door, and the heat that goes with it."""

    capacities: Vector
    rates: Matrix
    exchange_m3_s: float
    vent_w_k: float


@dataclass(frozen=True, slots=True)
class Air:
    """The air around the cabinet: °C, and vapour pressure in kPa."""

    dry_bulb_c: float
    vapour_kpa: float


@dataclass(frozen=True, slots=True)
class CabinetSpec:
    """How a cabinet is built and first set. Raises ValueError outside 40 to 500 litres or without vents.

    vent_per_h: changes of air an hour with the fan on. heater_w and humidifier_g_h: the most they give.
    age_days: of the eggs. embryo_share: of the heat of a hen's embryo of that age, per gram of egg.
    """

    volume_l: float
    heater_w: float
    humidifier_g_h: float
    dry_bulb_c: float = 37.8
    rh_pct: float = 57.0
    control: str = HYSTERESIS
    vent_per_h: float = 4.0
    eggs: int = 0
    egg_mass_g: float = 60.0
    age_days: float = 0.0
    embryo_share: float = 1.0

    def __post_init__(self) -> None:
        if not VOLUME_L_LOW <= self.volume_l <= VOLUME_L_HIGH:
            raise ValueError(f"cabinet: volume_l {self.volume_l}, expected {VOLUME_L_LOW:g} to {VOLUME_L_HIGH:g}")
        if not self.vent_per_h > 0.0:
            raise ValueError(f"cabinet: vent_per_h {self.vent_per_h}, expected above 0")
        if self.control not in (HYSTERESIS, PROPORTIONAL):
            raise ValueError(f"cabinet: control {self.control!r}, expected {HYSTERESIS} or {PROPORTIONAL}")


@dataclass(slots=True)
class Ledger:
    """Everything that crossed the cabinet's border since its start, in J and g.

    Heat lost is summed by the trapezium rule, apart from the exact solution, so that the balance checks that.
    """

    heater_j: float = 0.0
    embryo_j: float = 0.0
    wall_j: float = 0.0  # lost through the wall
    vent_j: float = 0.0  # lost by ventilation and door
    latent_j: float = 0.0  # taken up by evaporation, less what condensation gave back
    humidifier_g: float = 0.0  # evaporated from humidifier and free water
    egg_g: float = 0.0  # evaporated from the eggs
    vent_g: float = 0.0  # carried off by ventilation and door
    condensed_g: float = 0.0


@dataclass(frozen=True, slots=True)
class ProbeSpec:
    """A probe: height from -1 (floor) to 1 (top); errors, lags, noise (standard deviation), finest step; side from -1 to 1."""

    height: float = 0.0
    offset_k: float = 0.0
    rh_offset_pct: float = 0.0
    lag_s: float = 12.0
    rh_lag_s: float = 8.0
    noise_k: float = 0.012
    noise_rh_pct: float = 0.04
    step: float = 0.01
    humidity: bool = True
    side: float = 0.0


class Probe:
    """A sensor with lag, noise, offset and finite steps; it can be stuck, drift, jump, fall silent, spike, or say nonsense."""

    def __init__(self, spec: ProbeSpec, rng: random.Random) -> None:
        self.spec = spec
        self.stuck = False
        self.silent = False
        self.drift_k_h = 0.0
        self.spike_k = 0.0  # added to the next reading only
        self.off_k = 0.0  # added to every reading
        self.noise_times = 1.0  # its own noise, so many times
        self.says_c: float | None = None  # in place of every temperature, as a chip says 85 °C when it has none
        self._rng = rng
        self._dry_bulb_c: float | None = None
        self._vapour_kpa = 0.0
        self._drift_k = 0.0
        self._last: tuple[float, float | None] | None = None

    def repair(self) -> None:
        """Put every fault right."""
        self.stuck = self.silent = False
        self.drift_k_h = self._drift_k = self.spike_k = self.off_k = 0.0
        self.noise_times, self.says_c = 1.0, None

    def follow(self, dt_s: float, dry_bulb_c: float, kpa: float) -> None:
        """Let dt_s pass in air of that state."""
        if self._dry_bulb_c is None:
            self._dry_bulb_c, self._vapour_kpa = dry_bulb_c, kpa
        self._dry_bulb_c = lagged(self._dry_bulb_c, dry_bulb_c, dt_s=dt_s, lag_s=self.spec.lag_s)
        self._vapour_kpa = lagged(self._vapour_kpa, kpa, dt_s=dt_s, lag_s=self.spec.rh_lag_s)
        self._drift_k += self.drift_k_h * dt_s / 3600.0

    def read(self) -> tuple[float, float | None] | None:
        """Temperature, °C, and relative humidity, % (None without a humidity sensor); None while silent.

        The humidity is that of the chip: vapour pressure against saturation at the sensor's own temperature.
        """
        noise_k = self._rng.gauss(0.0, self.spec.noise_k) * self.noise_times
        noise_rh_pct = self._rng.gauss(0.0, self.spec.noise_rh_pct) * self.noise_times
        if self.silent or self._dry_bulb_c is None:
            return None
        if self.stuck and self._last is not None:
            return self._last
        shown_c = self._dry_bulb_c + self.spec.offset_k + self.off_k + self._drift_k + self.spike_k + noise_k
        self.spike_k = 0.0
        if self.says_c is not None:
            shown_c = self.says_c
        rh_pct = None
        if self.spec.humidity:
            true_pct = 100.0 * self._vapour_kpa / saturation_vapour_kpa(self._dry_bulb_c)
            rh_pct = min(100.0, max(0.0, self._stepped(true_pct + self.spec.rh_offset_pct + noise_rh_pct)))
        self._last = (self._stepped(shown_c), rh_pct)
        return self._last

    def _stepped(self, value: float) -> float:
        return round(value / self.spec.step) * self.spec.step


@dataclass(slots=True)
class Cabinet:
    """A cabinet and its state; it starts warm, at its set points. Switches are attributes, set between steps.

    heater: ok, stuck_on or dead. water_share: the part of its most that the humidifier can still give (0 dry).
    overfilled: free water over a third of the floor evaporates without control. volts_share: of the mains' nominal; heater
    and humidifier give its square. drift_k_h: how fast the thermostat's set point wanders. side_k: how much warmer than the
    middle one side becomes, and the other colder. vapour_g: counted at the set temperature, because air that warms or cools
    at constant pressure keeps its vapour pressure.
    """

    spec: CabinetSpec
    probes: tuple[Probe, ...] = ()
    powered: bool = True
    heater: str = OK
    fan_on: bool = True
    door_open: bool = False
    water_share: float = 1.0
    overfilled: bool = False
    volts_share: float = 1.0
    drift_k_h: float = 0.0
    side_k: float = 0.0
    dry_bulb_set_c: float = field(init=False)
    rh_set_pct: float = field(init=False)
    air_c: float = field(init=False)
    wall_c: float = field(init=False)
    egg_c: float = field(init=False)
    vapour_g: float = field(init=False)
    eggs: int = field(init=False)
    egg_mass_g: float = field(init=False)
    age_days: float = field(init=False)
    ledger: Ledger = field(default_factory=Ledger)
    _volume_m3: float = field(init=False)
    _side_m: float = field(init=False)
    _wall_m2: float = field(init=False)
    _g_per_kpa: float = field(init=False)
    _thermostat_c: float = field(init=False)
    _hygrostat_pct: float = field(init=False)
    _spread_k: float = 0.0  # top above middle
    _side_k: float = 0.0  # one side above middle
    _heating: bool = False
    _integral: float = 0.3
    _held_for: tuple[object, ...] = ()
    _last_held: _Held = field(init=False)

    def __post_init__(self) -> None:
        spec = self.spec
        self._volume_m3 = spec.volume_l / 1000.0
        self._side_m = self._volume_m3 ** (1.0 / 3.0)
        self._wall_m2 = 6.0 * self._side_m**2
        self._g_per_kpa = 1e6 * self._volume_m3 / (VAPOUR_J_KG_K * (spec.dry_bulb_c + ZERO_C_K))
        self.dry_bulb_set_c = self.air_c = self.wall_c = self._thermostat_c = spec.dry_bulb_c
        self.rh_set_pct = self._hygrostat_pct = spec.rh_pct
        self.vapour_g = vapour_kpa(spec.dry_bulb_c, spec.rh_pct) * self._g_per_kpa
        self.load(spec.eggs, spec.egg_mass_g, spec.age_days, egg_c=spec.dry_bulb_c)

    def load(self, eggs: int, egg_mass_g: float, age_days: float, *, egg_c: float) -> None:
        """Put these eggs in, in place of what was there."""
        self.eggs, self.egg_mass_g, self.age_days, self.egg_c = eggs, egg_mass_g, age_days, egg_c

    @property
    def vapour_kpa(self) -> float:
        """Vapour pressure inside."""
        return self.vapour_g / self._g_per_kpa

    @property
    def rh_pct(self) -> float:
        """Relative humidity in the middle of the cabinet, %."""
        return 100.0 * self.vapour_kpa / saturation_vapour_kpa(self.air_c)

    @property
    def stored_j(self) -> float:
        """Heat held by air, wall and eggs, from 0 °C."""
        air, wall, egg = self._held.capacities
        return air * self.air_c + wall * self.wall_c + egg * self.egg_c

    def air_at(self, height: float, side: float = 0.0) -> tuple[float, float]:
        """Temperature (°C) and vapour pressure (kPa) at a height from -1 (floor) to 1 (top), and a side from -1 to 1."""
        return self.air_c + height * self._spread_k + side * self._side_k, self.vapour_kpa

    def step(self, dt_s: float, room: Air) -> None:
        """Let dt_s seconds pass in that room."""
        pieces = math.ceil(dt_s / STEP_S - 1e-9)
        for _ in range(pieces):
            self._piece(dt_s / pieces, room)

    def _piece(self, dt_s: float, room: Air) -> None:
        heater_w = self._heater_w(dt_s)
        embryo_w = self.eggs * embryo_w_60g(self.age_days) * self.egg_mass_g / 60.0 * self.spec.embryo_share
        evaporated_g, from_eggs_g = self._move_vapour(dt_s, room)
        air_w = heater_w - LATENT_J_G * evaporated_g / dt_s
        egg_w = embryo_w - LATENT_J_G * from_eggs_g / dt_s
        self._move_heat(dt_s, room_c=room.dry_bulb_c, air_w=air_w, egg_w=egg_w)
        self._condense()
        self.ledger.heater_j += heater_w * dt_s
        self.ledger.embryo_j += embryo_w * dt_s
        self.ledger.latent_j += LATENT_J_G * (evaporated_g + from_eggs_g)
        self.age_days += dt_s / 86_400.0
        share = SPREAD_FAN if self.fan_on and self.powered else SPREAD_STILL
        self._spread_k = lagged(self._spread_k, share * (self.air_c - room.dry_bulb_c), dt_s=dt_s, lag_s=SPREAD_S)
        self._side_k = lagged(self._side_k, self.side_k, dt_s=dt_s, lag_s=SIDE_S)
        self.dry_bulb_set_c += self.drift_k_h * dt_s / 3600.0
        self._thermostat_c = lagged(self._thermostat_c, self.air_c, dt_s=dt_s, lag_s=THERMOSTAT_LAG_S)
        self._hygrostat_pct = lagged(self._hygrostat_pct, self.rh_pct, dt_s=dt_s, lag_s=HYGROSTAT_LAG_S)
        for probe in self.probes:
            probe.follow(dt_s, *self.air_at(probe.spec.height, probe.spec.side))

    def _heater_w(self, dt_s: float) -> float:
        """What the heater gives: the thermostat's wish, unless it is stuck, dead, cut out or without power."""
        full_w = self.spec.heater_w * self.volts_share**2
        error_k = self.dry_bulb_set_c - self._thermostat_c
        if not self.powered or self.heater == DEAD or self.air_c > CUT_OUT_C:
            return 0.0
        if self.heater == STUCK_ON:
            return full_w
        if self.spec.control == HYSTERESIS:
            if abs(error_k) >= HYSTERESIS_K:
                self._heating = error_k > 0.0
            return full_w if self._heating else 0.0
        wish = error_k / BAND_K + self._integral
        if 0.0 < wish < 1.0:  # at either end the integral would only wind up
            self._integral += error_k / BAND_K * dt_s / INTEGRAL_S
        return full_w * min(1.0, max(0.0, wish))

    def _humidifier_g_s(self) -> float:
        if not self.powered:
            return 0.0
        wish = (self.rh_set_pct - self._hygrostat_pct) / HUMIDIFIER_BAND_PCT
        return self.spec.humidifier_g_h / 3600.0 * self.water_share * self.volts_share**2 * min(1.0, max(0.0, wish))

    def _move_vapour(self, dt_s: float, room: Air) -> tuple[float, float]:
        """Exact over the piece, with temperatures held; returns the g that water and eggs gave off."""
        per_kpa = self._g_per_kpa
        fed_g_s = self._humidifier_g_s()
        wet_g_s_kpa = WET_G_S_M2_KPA * self._side_m**2 / 3.0 if self.overfilled else 0.0
        egg_g_s_kpa = self.eggs * EGG_VAPOUR_G_D_KPA_60G * self.egg_mass_g / 60.0 / 86_400.0
        # Each way that vapour can go: its rate, 1/s, and the mass at which it would stop.
        vent, vent_g = self._held.exchange_m3_s / self._volume_m3, room.vapour_kpa * per_kpa
        wet, wet_g = wet_g_s_kpa / per_kpa, saturation_vapour_kpa(self.air_c) * per_kpa
        egg, egg_g = egg_g_s_kpa / per_kpa, saturation_vapour_kpa(self.egg_c) * per_kpa
        rate = vent + wet + egg
        settled_g = (fed_g_s + vent * vent_g + wet * wet_g + egg * egg_g) / rate
        before_g = self.vapour_g
        self.vapour_g = lagged(before_g, settled_g, dt_s=dt_s, lag_s=1.0 / rate)
        mean_g = settled_g + (before_g - self.vapour_g) / (rate * dt_s)
        evaporated_g = (fed_g_s + wet * (wet_g - mean_g)) * dt_s
        from_eggs_g = egg * (egg_g - mean_g) * dt_s
        self.ledger.humidifier_g += evaporated_g
        self.ledger.egg_g += from_eggs_g
        self.ledger.vent_g += vent * (mean_g - vent_g) * dt_s
        return evaporated_g, from_eggs_g

    def _move_heat(self, dt_s: float, *, room_c: float, air_w: float, egg_w: float) -> None:
        """Exact with powers held: T' = A T + b moves T by (1 + tA/2 (1 + tA/3 (1 + ...))) t (A T + b)."""
        (air_j_k, wall_j_k, egg_j_k), rates, _, vent_w_k = self._held
        wall_w_k = WALL_U_W_M2_K * self._wall_m2
        (aa, ab, ac), (ba, bb, _), (ca, _, cc) = rates  # wall and eggs do not touch
        air_c, wall_c, egg_c = air_before_c, wall_before_c, _ = self.air_c, self.wall_c, self.egg_c
        x = dt_s * (aa * air_c + ab * wall_c + ac * egg_c + (air_w + vent_w_k * room_c) / air_j_k)
        y = dt_s * (ba * air_c + bb * wall_c + wall_w_k * room_c / wall_j_k)
        z = dt_s * (ca * air_c + cc * egg_c + egg_w / egg_j_k)
        for k in range(2, SERIES_TERMS + 2):
            air_c, wall_c, egg_c = air_c + x, wall_c + y, egg_c + z
            x, y, z = (
                (aa * x + ab * y + ac * z) * dt_s / k,
                (ba * x + bb * y) * dt_s / k,
                (ca * x + cc * z) * dt_s / k,
            )
        self.air_c, self.wall_c, self.egg_c = air_c, wall_c, egg_c
        self.ledger.vent_j += dt_s * vent_w_k * ((air_before_c + self.air_c) / 2.0 - room_c)
        self.ledger.wall_j += dt_s * wall_w_k * ((wall_before_c + self.wall_c) / 2.0 - room_c)

    def _condense(self) -> None:
        """Vapour above saturation at the wall becomes water there at once, and warms it."""
        excess_g = self.vapour_g - saturation_vapour_kpa(self.wall_c) * self._g_per_kpa
        if excess_g > 0.0:
            self.vapour_g -= excess_g
            self.wall_c += LATENT_J_G * excess_g / self._held.capacities[1]
            self.ledger.condensed_g += excess_g
            self.ledger.latent_j -= LATENT_J_G * excess_g

    @property
    def _held(self) -> _Held:
        """What stays as it is while eggs, fan and door do: worked out anew only when one of them has changed."""
        blown = self.fan_on and self.powered
        key = (self.spec, self.eggs, self.egg_mass_g, blown, self.door_open)
        if self._held_for != key:
            self._held_for, self._last_held = key, self._hold(blown)
        return self._last_held

    def _hold(self, blown: bool) -> _Held:
        air = self._volume_m3 * AIR_KG_M3 * AIR_J_KG_K + INTERNALS_J_K_L * self.spec.volume_l
        wall, egg = WALL_J_M2_K * self._wall_m2, self.eggs * self.egg_mass_g * EGG_J_G_K or 1.0
        exchange_m3_s = self._volume_m3 * self.spec.vent_per_h / 3600.0 * (1.0 if blown else STILL_VENT_SHARE)
        if self.door_open:
            draught_m_s = math.sqrt(9.81 * self._side_m * DOOR_DIFFERENCE_K / 300.0)
            exchange_m3_s += DOOR_SHARE * self._side_m**2 * draught_m_s
        vent_w_k = exchange_m3_s * AIR_KG_M3 * AIR_J_KG_K
        film_w_k = (INSIDE_FAN_W_M2_K if blown else INSIDE_STILL_W_M2_K) * self._wall_m2
        egg_w_k = self.eggs * EGG_W_K_60G * (self.egg_mass_g / 60.0) ** (2.0 / 3.0)
        if not blown:
            egg_w_k *= EGG_STILL_SHARE
        rates = (
            (-(film_w_k + egg_w_k + vent_w_k) / air, film_w_k / air, egg_w_k / air),
            (film_w_k / wall, -(film_w_k + WALL_U_W_M2_K * self._wall_m2) / wall, 0.0),
            (egg_w_k / egg, 0.0, -egg_w_k / egg),
        )
        return _Held((air, wall, egg), rates, exchange_m3_s, vent_w_k)


def lagged(value: float, towards: float, *, dt_s: float, lag_s: float) -> float:
    """Where a value is after dt_s, drawn towards another with the time constant lag_s."""
    return towards + (value - towards) * math.exp(-dt_s / lag_s)


def embryo_w_60g(age_days: float) -> float:
    """Heat of a chicken embryo in a 60 g egg, W, from the table; the ends hold beyond it."""
    i = bisect_right(EMBRYO_DAYS, age_days)
    if i == 0 or i == len(EMBRYO_DAYS):
        return EMBRYO_MW[max(0, i - 1)] / 1000.0
    share = (age_days - EMBRYO_DAYS[i - 1]) / (EMBRYO_DAYS[i] - EMBRYO_DAYS[i - 1])
    return (EMBRYO_MW[i - 1] + share * (EMBRYO_MW[i] - EMBRYO_MW[i - 1])) / 1000.0
