"""Machines nobody would have chosen: drawn from wide ranges, trimmed as a breeder trims them, and thrown away where they keep no band.

A machine is *fit* when, run in and left alone, its true air at the probe's place keeps within the alarm limits at every instant, within
the warnings in the mean of any ten minutes, and its humidity within its warnings in the mean of any hour; and the same of what a probe
with that error reads. So nothing that is told of it is needed, however its thermostat swings.
"""

from __future__ import annotations

import math
import random
from collections import deque
from dataclasses import dataclass, replace

from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct, wet_bulb_c
from monitor.domain.needs.profile import Band
from tests.truth.cabin import (
    EGG_G_S_KPA_60G,
    NO_WATER,
    PAN,
    PAN_BELOW_K,
    PI,
    SPRAY,
    SWITCH,
    WET_G_S_M2_KPA,
    Build,
    Cabin,
    RoomAir,
    Sensor,
    saturation_kpa,
)

KPA = 101.325
LEFT_K, LEFT_S = 0.15, 600.0  # so far beyond a warning, and for so long, the true air has left its band
SWITCHING, HUNTING, STEADY_PI = "switching", "hunting", "pi"
KINDS = (SWITCHING, HUNTING, STEADY_PI)
VOLUMES_L = (35.0, 45.0, 60.0, 90.0, 130.0, 200.0, 350.0, 600.0)
MEAN_S, HUMID_S = 600.0, 3600.0
WET_BULB_K_PER_PCT = 0.21  # near 37.5 °C and 55 %RH, by the domain's own psychrometrics


@dataclass(frozen=True, slots=True)
class Bands:
    """What the eggs in a machine need: its dry bulb, and its humidity in the quantity that it is given in ('' for none)."""

    dry: Band
    kind: str
    humid: Band | None

    def humidity(self, air_c: float, rh_pct: float) -> float:
        """The humidity in the band's quantity."""
        return wet_bulb_c(air_c, min(rh_pct, 100.0), KPA) if self.kind == "wet_bulb_c" else rh_pct

    def target_rh_pct(self) -> float | None:
        """What to set, %RH."""
        if self.humid is None or self.humid.target is None or self.dry.target is None:
            return None
        if self.kind == "rh_pct":
            return self.humid.target
        return rh_from_wet_bulb_pct(self.dry.target, self.humid.target, KPA)


class Misfit(Exception):
    """A machine that cannot keep its band."""


class Unfit(Exception):
    """None of many machines keeps its band there: no calm to begin with, so no truth to tell."""


@dataclass(slots=True)
class Calm:
    """Whether the true air of a machine is as it should be: the means over MEAN_S and HUMID_S, and every instant.

    Asked each `every_s`; what it saw out of place is counted, in seconds.
    """

    bands: Bands
    every_s: float
    out_s: float = 0.0
    worst: str = ""
    lowest_mean_c: float = math.inf
    highest_mean_c: float = -math.inf
    _airs: deque[float] = None  # type: ignore[assignment]
    _humid: deque[float] = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        self._airs = deque(maxlen=round(MEAN_S / self.every_s))
        self._humid = deque(maxlen=round(HUMID_S / self.every_s))

    def look(self, sensor: Sensor, air_c: float, rh_pct: float) -> bool:
        """The air where the sensor hangs, now and at its extremes since the last look. Whether it is as it should be."""
        dry, humid = self.bands.dry, self.bands.humid
        low_c, high_c = sensor.extremes()
        self._airs.append(air_c)
        self._humid.append(self.bands.humidity(air_c, rh_pct))
        wrong = ""
        if beyond(dry.low_alarm, dry.high_alarm, low_c) or beyond(dry.low_alarm, dry.high_alarm, high_c):
            wrong = f"air {low_c:.2f} to {high_c:.2f} °C"
        if len(self._airs) == self._airs.maxlen:
            mean_c = sum(self._airs) / len(self._airs)
            self.lowest_mean_c, self.highest_mean_c = min(self.lowest_mean_c, mean_c), max(self.highest_mean_c, mean_c)
            if any(beyond(dry.low_warning, dry.high_warning, c) for c in (mean_c, mean_c + sensor.offset_k)):
                wrong = wrong or f"ten minutes at {mean_c:.2f} °C"
        if humid is not None and len(self._humid) == self._humid.maxlen:
            mean = sum(self._humid) / len(self._humid)
            off = sensor.rh_offset_pct * (WET_BULB_K_PER_PCT if self.bands.kind == "wet_bulb_c" else 1.0)
            if any(beyond(humid.low_warning, humid.high_warning, v) for v in (mean, mean + off)):
                wrong = wrong or f"an hour at {mean:.1f} ({self.bands.kind})"
        if wrong:
            self.out_s += self.every_s
            self.worst = self.worst or wrong
        return not wrong


def beyond(low: float | None, high: float | None, value: float, margin: float = 0.0) -> bool:
    """Whether a value lies outside by that margin, or, below 0, nearer to either end than it."""
    return (low is not None and value < low - margin) or (high is not None and value > high + margin)


def outside(band: Band, value: float, margin: float) -> bool:
    """Whether a value is beyond the warnings of a band by that margin."""
    return beyond(band.low_warning, band.high_warning, value, margin)


def log_uniform(rng: random.Random, low: float, high: float) -> float:
    """A factor as likely as its inverse."""
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def drawn_build(
    rng: random.Random, kind: str, *, egg_g: float, term_days: float, room_c: float, fan: bool = True
) -> Build:
    """A machine of a kind of thermostat, with a sound load of eggs of that mass, that can warm itself in such a room."""
    volume_l = rng.choice([v for v in VOLUMES_L if v >= min(90.0, egg_g / 5.0)])
    wall_w_m2_k = log_uniform(rng, 0.5, 2.5)
    vent_per_h = log_uniform(rng, 1.0, 10.0)
    wall_m2 = 6.0 * (volume_l / 1000.0) ** (2.0 / 3.0)
    need_w = (37.5 - room_c + 4.0) * (wall_w_m2_k * wall_m2 + volume_l / 1000.0 * 1147.0 * vent_per_h / 3600.0)
    heater_w = (need_w + 0.03 * volume_l) * log_uniform(rng, 1.7, 5.0)
    load_g = volume_l * log_uniform(rng, 1.0, 40.0)
    build = Build(
        volume_l=volume_l,
        heater_w=heater_w,
        fittings_j_k_l=log_uniform(rng, 3.0, 25.0),
        wall_w_m2_k=wall_w_m2_k,
        wall_j_m2_k=log_uniform(rng, 1500.0, 12_000.0),
        vent_per_h=vent_per_h,
        element_s=log_uniform(rng, 4.0, 60.0),
        thermostat_s=log_uniform(rng, 4.0, 40.0),
        control=PI if kind == STEADY_PI else SWITCH,
        band_k=log_uniform(rng, 0.02, 0.3),
        gain=log_uniform(rng, 0.15, 3.0),
        integral_s=log_uniform(rng, 120.0, 2400.0),
        window_s=rng.choice((2.0, 4.0, 10.0, 20.0)),
        water=rng.choice((PAN, SPRAY, SPRAY)),
        spray_g_h=volume_l * log_uniform(rng, 0.5, 2.0),
        spray_band_pct=log_uniform(rng, 0.5, 3.0),
        spread=log_uniform(rng, 0.001, 0.02),
        still_spread=log_uniform(rng, 0.03, 0.15),
        draught_w_k=5.0 * log_uniform(rng, 0.5, 2.0) * (volume_l / 60.0) ** 0.8,
        fan=fan,
        eggs=max(2, round(load_g / egg_g)),
        egg_g=egg_g,
        term_days=term_days,
    )
    if kind == HUNTING:
        build = replace(
            build,
            element_s=log_uniform(rng, 30.0, 200.0),
            thermostat_s=log_uniform(rng, 60.0, 300.0),
            band_k=log_uniform(rng, 0.02, 0.2),
        )
    return build


def drawn_sensor(rng: random.Random, height: float, *, humid: bool = True) -> Sensor:
    """A probe after a calibration: what is left of its error, its lag and steps. One in five is a one-wire thermometer without humidity."""
    return Sensor(
        random.Random(rng.random()),
        height=height,
        offset_k=min(0.1, max(-0.1, rng.gauss(0.0, 0.05))),
        rh_offset_pct=min(1.8, max(-1.8, rng.gauss(0.0, 0.7))),
        lag_s=log_uniform(rng, 6.0, 60.0),
        rh_lag_s=log_uniform(rng, 6.0, 40.0),
        noise_k=log_uniform(rng, 0.005, 0.04),
        noise_rh_pct=log_uniform(rng, 0.03, 0.4),
        step_k=rng.choice((0.01, 0.01, 0.01, 0.1)) if humid else 0.0625,
        step_rh_pct=rng.choice((0.01, 0.01, 0.1)),
        humid=humid,
    )


def trimmed(cabin: Cabin, bands: Bands, room: RoomAir) -> None:
    """Run in and set so that the first probe reads the targets. Raises Misfit for what cannot keep its band so."""
    assert bands.dry.target is not None
    rh_pct = bands.target_rh_pct()
    cabin.set_c = bands.dry.target
    if rh_pct is not None:
        cabin.set_rh_pct = rh_pct
    _water(cabin, rh_pct, room)
    sensor = cabin.sensors[0]
    cabin.begin(room.at(0.0)[0])
    cabin.run(3600.0, room, 0.0)
    for _ in range(3):
        c, rh = _read(cabin, room)
        cabin.set_c += bands.dry.target - c - sensor.offset_k
        if rh_pct is not None and cabin.build.water == SPRAY:
            cabin.set_rh_pct += rh_pct - rh - sensor.rh_offset_pct
        elif rh_pct is not None and rh > 0.0:
            cabin.pan_m2 *= min(1.5, max(0.6, 1.0 + 0.04 * (rh_pct - rh - sensor.rh_offset_pct)))
        cabin.run(1200.0, room, 0.0)
    calm = Calm(bands, 30.0)
    for _ in range(round(2.0 * 3600.0 / 30.0)):
        cabin.run(30.0, room, 0.0)
        if not calm.look(sensor, cabin.local_c(sensor.height), cabin.rh_pct):
            raise Misfit(calm.worst)


def _read(cabin: Cabin, room: RoomAir) -> tuple[float, float]:
    """Mean air where the first probe hangs, and humidity, over 80 min."""
    cs, rhs = [], []
    for _ in range(240):
        cabin.run(20.0, room, 0.0)
        cs.append(cabin.local_c(cabin.sensors[0].height))
        rhs.append(cabin.rh_pct)
    return sum(cs) / len(cs), sum(rhs) / len(rhs)


def _water(cabin: Cabin, rh_pct: float | None, room: RoomAir) -> None:
    """A pan and vents that hold that humidity, as a breeder finds them by trying. Raises Misfit where the room's own air is too damp."""
    build = cabin.build
    if rh_pct is None or build.water == NO_WATER:
        return
    saturated = saturation_kpa(cabin.set_c)
    kpa, room_kpa = rh_pct / 100.0 * saturated, room.at(0.0)[1]
    if kpa <= room_kpa * 1.1:
        raise Misfit("the room's own air is as damp")
    g_kpa = 1e6 * cabin.volume_m3 / (461.5 * 310.0)
    eggs_g_s = build.eggs * EGG_G_S_KPA_60G * build.egg_g / 60.0 * (saturated - kpa)
    off_g_s = build.vent_per_h / 3600.0 * (kpa - room_kpa) * g_kpa
    if off_g_s < 1.3 * eggs_g_s:  # the eggs alone would make it damper: the vents are opened
        cabin.vent_share = 1.3 * eggs_g_s / off_g_s
        off_g_s *= cabin.vent_share
    over_kpa = saturation_kpa(cabin.set_c - PAN_BELOW_K) - kpa
    if build.water == PAN:
        if over_kpa < 0.3:
            raise Misfit("no pan makes air so damp")
        cabin.pan_m2 = (off_g_s - eggs_g_s) / (WET_G_S_M2_KPA * over_kpa)
