"""The cabinet keeps its books, follows closed forms where there are any, and behaves as cabinets do."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from monitor.domain.air.psychrometrics import saturation_vapour_kpa, vapour_kpa
from monitor.rehearse import cabinet as model
from monitor.rehearse.cabinet import (
    DEAD,
    PROPORTIONAL,
    STUCK_ON,
    Air,
    Cabinet,
    CabinetSpec,
    Probe,
    ProbeSpec,
    embryo_w_60g,
)

ROOM = Air(20.0, vapour_kpa(20.0, 50.0))
SMALL = CabinetSpec(45.0, heater_w=30.0, humidifier_g_h=25.0, eggs=12, age_days=10.0)
MIDDLE = CabinetSpec(60.0, heater_w=45.0, humidifier_g_h=40.0, eggs=24, age_days=10.0)
LARGE = CabinetSpec(400.0, heater_w=400.0, humidifier_g_h=250.0, control=PROPORTIONAL, eggs=300, age_days=16.0)

# A day with everything that can happen to a cabinet: (minute, switch, position).
EVENTFUL = (
    (60, "door_open", True),
    (61, "door_open", False),
    (120, "fan_on", False),
    (150, "fan_on", True),
    (180, "heater", STUCK_ON),
    (210, "heater", "ok"),
    (300, "overfilled", True),
    (400, "powered", False),
    (440, "powered", True),
    (460, "overfilled", False),
    (500, "water_share", 0.0),
)


def run(
    spec: CabinetSpec, dt_s: float, minutes: int = 720, room: Air = ROOM
) -> tuple[Cabinet, list[tuple[float, ...]]]:
    """The cabinet after an eventful time, and air °C, %RH and egg °C at each minute."""
    cabinet = Cabinet(spec)
    trace: list[tuple[float, ...]] = []
    for minute in range(minutes):
        for at, switch, position in EVENTFUL:
            if at == minute:
                setattr(cabinet, switch, position)
        for _ in range(round(60.0 / dt_s)):
            cabinet.step(dt_s, room)
        trace.append((cabinet.air_c, cabinet.rh_pct, cabinet.egg_c))
    return cabinet, trace


def settled(spec: CabinetSpec, hours: float = 6.0, room: Air = ROOM) -> Cabinet:
    """The cabinet once it has run in."""
    cabinet = Cabinet(spec)
    cabinet.step(hours * 3600.0, room)
    return cabinet


@pytest.mark.parametrize("spec", [SMALL, MIDDLE, LARGE])
def test_energy_balance(spec: CabinetSpec) -> None:
    """What heater and embryos gave is what wall, ventilation and evaporation took and the lumps hold, within 10 ppm."""
    start_j = Cabinet(spec).stored_j
    cabinet, _ = run(spec, 2.0)
    books = cabinet.ledger
    kept_j = books.heater_j + books.embryo_j - books.wall_j - books.vent_j - books.latent_j
    # Losses are summed by the trapezium rule at 2 s: measured 2 to 3 ppm off the exact solution.
    assert cabinet.stored_j - start_j == pytest.approx(kept_j, abs=1e-5 * books.heater_j)
    assert min(books.heater_j, books.embryo_j, books.wall_j, books.vent_j, books.latent_j) > 0.0


def test_energy_of_a_steady_day() -> None:
    """Over a steady day the heater gives what goes through wall and vents and into evaporation, within 1 %."""
    cabinet = settled(replace(MIDDLE, age_days=0.0, eggs=0))
    before = replace(cabinet.ledger)
    cabinet.step(86_400.0, ROOM)
    heater_j = cabinet.ledger.heater_j - before.heater_j
    wall_j = cabinet.ledger.wall_j - before.wall_j
    # By hand: 0.9 W/m²K of wall in series with the 10 W/m²K film, over 6 sides, at 17.8 K.
    sides_m2 = 6.0 * 0.06 ** (2.0 / 3.0)
    assert wall_j == pytest.approx(86_400.0 * sides_m2 * 17.8 / (1 / 0.9 + 1 / 10.0), rel=0.01)
    lost_j = wall_j + cabinet.ledger.vent_j - before.vent_j + cabinet.ledger.latent_j - before.latent_j
    assert heater_j == pytest.approx(lost_j, rel=0.01)


@pytest.mark.parametrize("spec", [SMALL, LARGE])
def test_vapour_balance(spec: CabinetSpec) -> None:
    """What humidifier and eggs gave off is what left by the vents, condensed, or is in the air, to rounding."""
    start_g = Cabinet(spec).vapour_g
    cabinet, _ = run(spec, 2.0, room=Air(5.0, vapour_kpa(5.0, 60.0)))
    books = cabinet.ledger
    kept_g = books.humidifier_g + books.egg_g - books.vent_g - books.condensed_g
    assert cabinet.vapour_g - start_g == pytest.approx(kept_g, abs=1e-9 * books.humidifier_g)
    assert books.condensed_g > 0.0  # overfilled and then without heat in a cold room


def test_step_response_is_the_closed_form() -> None:
    """Cooling air and wall follow the two exponentials of the closed solution, to a millionth of a kelvin."""
    cabinet = Cabinet(CabinetSpec(100.0, heater_w=0.0, humidifier_g_h=0.0, rh_pct=20.0))
    side_m = 0.1 ** (1.0 / 3.0)
    wall_m2 = 6.0 * side_m**2
    air_j_k = 0.1 * model.AIR_KG_M3 * model.AIR_J_KG_K + model.INTERNALS_J_K_L * 100.0
    wall_j_k = model.WALL_J_M2_K * wall_m2
    film, outer = model.INSIDE_FAN_W_M2_K * wall_m2, model.WALL_U_W_M2_K * wall_m2
    vent = 0.1 * 4.0 / 3600.0 * model.AIR_KG_M3 * model.AIR_J_KG_K
    # x' = -a x + b y, y' = c x - d y for air and wall above room; both start 17.8 K above.
    a, b, c, d = (film + vent) / air_j_k, film / air_j_k, film / wall_j_k, (film + outer) / wall_j_k
    root = math.sqrt((a - d) ** 2 / 4.0 + b * c)
    fast, slow = -(a + d) / 2.0 - root, -(a + d) / 2.0 + root
    start = 37.8 - 20.0
    of_slow = start * ((-a + b) - fast) / (slow - fast)
    for minutes in (1, 10, 100):
        cabinet = Cabinet(cabinet.spec)
        cabinet.step(60.0 * minutes, ROOM)
        t = 60.0 * minutes
        expected = 20.0 + of_slow * math.exp(slow * t) + (start - of_slow) * math.exp(fast * t)
        assert cabinet.air_c == pytest.approx(expected, abs=1e-6)


def test_vapour_without_water_goes_to_the_rooms() -> None:
    """Dry, empty and vented, the vapour pressure falls to the room's with the time constant of the ventilation."""
    cabinet = Cabinet(CabinetSpec(60.0, heater_w=60.0, humidifier_g_h=40.0, vent_per_h=4.0), water_share=0.0)
    start_kpa = cabinet.vapour_kpa
    cabinet.step(900.0, ROOM)  # a quarter of an hour is one time constant at 4 changes an hour
    expected = ROOM.vapour_kpa + (start_kpa - ROOM.vapour_kpa) * math.exp(-1.0)
    assert cabinet.vapour_kpa == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("spec", [replace(MIDDLE, control=PROPORTIONAL), LARGE])
@pytest.mark.parametrize("dt_s", [3.75, 30.0])
def test_the_time_step_does_not_matter(spec: CabinetSpec, dt_s: float) -> None:
    """Through an eventful half day, other steps give the 1 s course within 0.02 K and 0.1 %RH at every minute."""
    _, fine = run(spec, 1.0)
    _, coarse = run(spec, dt_s)
    for a, b in zip(fine, coarse, strict=True):
        assert a[0] == pytest.approx(b[0], abs=0.02)
        assert a[1] == pytest.approx(b[1], abs=0.1)
        assert a[2] == pytest.approx(b[2], abs=0.02)


def test_the_time_step_does_not_matter_on_average_with_a_switching_thermostat() -> None:
    """With on and off at other instants, the means over an hour agree within 0.02 K and 0.1 %RH."""
    means = []
    for dt_s in (1.0, 30.0):
        cabinet = settled(MIDDLE)
        trace = []
        for _ in range(round(3600.0 / dt_s)):
            cabinet.step(dt_s, ROOM)
            trace.append((cabinet.air_c, cabinet.rh_pct))
        means.append([sum(column) / len(trace) for column in zip(*trace, strict=True)])
    assert means[0][0] == pytest.approx(means[1][0], abs=0.02)
    assert means[0][1] == pytest.approx(means[1][1], abs=0.1)


def test_a_step_of_hours_is_many_short_ones() -> None:
    """One step of six hours ends where 10 800 steps of 2 s end."""
    at_once, by_pieces = Cabinet(MIDDLE), Cabinet(MIDDLE)
    at_once.step(6 * 3600.0, ROOM)
    for _ in range(10_800):
        by_pieces.step(2.0, ROOM)
    assert at_once.air_c == pytest.approx(by_pieces.air_c, abs=1e-9)
    assert at_once.rh_pct == pytest.approx(by_pieces.rh_pct, abs=1e-9)


@pytest.mark.parametrize("spec", [SMALL, MIDDLE, LARGE])
def test_it_holds_its_set_points(spec: CabinetSpec) -> None:
    """A settled cabinet stays within 0.28 K of its temperature and 2 % of its humidity.

    0.28 K is the swing of 0.5 °F either way that extension guides allow a forced-air machine.
    """
    cabinet = settled(spec)
    for _ in range(1800):
        cabinet.step(2.0, ROOM)
        assert abs(cabinet.air_c - spec.dry_bulb_c) < 0.28
        assert abs(cabinet.rh_pct - spec.rh_pct) < 2.0


def test_a_stuck_heater_makes_a_small_cabinet_dangerous_soon() -> None:
    """A small cabinet rises more than 3 K in 20 min and 5 K in 40 min, and then on."""
    cabinet = settled(SMALL)
    cabinet.heater = STUCK_ON
    start_c = cabinet.air_c
    rises = []
    for _ in range(3):
        cabinet.step(1200.0, ROOM)
        rises.append(cabinet.air_c - start_c)
    assert rises[0] > 3.0
    assert rises[1] > 5.0
    assert rises[2] > rises[1] + 0.5


def test_even_a_stuck_heater_has_a_cut_out() -> None:
    """A heater of five times the usual power, stuck for two hours, brings the air above 85 °C and never above 95."""
    cabinet = Cabinet(replace(SMALL, heater_w=150.0), heater=STUCK_ON)
    hottest_c = 0.0
    for _ in range(3600):
        cabinet.step(2.0, ROOM)
        hottest_c = max(hottest_c, cabinet.air_c)
    assert 85.0 < hottest_c < 95.0


def test_a_dead_heater_and_a_power_cut_cool_the_cabinet_slowly() -> None:
    """In 35 min the air of a small cabinet loses 2 to 6 K, its eggs less; in two days it is at the room's temperature.

    A humidifier that still runs keeps it a little below that.
    """
    for switch, position, below_k in (("heater", DEAD, 0.5), ("powered", False, 0.05)):
        cabinet = settled(SMALL)
        setattr(cabinet, switch, position)
        cabinet.step(35 * 60.0, ROOM)
        assert 2.0 < 37.8 - cabinet.air_c < 6.0
        assert cabinet.air_c < cabinet.egg_c
        cabinet.eggs = 0
        cabinet.step(48 * 3600.0, ROOM)
        assert 20.0 - below_k < cabinet.air_c < 20.05


@pytest.mark.parametrize("spec", [SMALL, MIDDLE, replace(LARGE, volume_l=250.0), LARGE])
def test_an_open_door_is_felt_at_once_and_forgotten_in_minutes(spec: CabinetSpec) -> None:
    """Half a minute of open door costs 3 to 10 K and 15 to 50 %RH; 8 min later both are back within 0.5 K and 3 %."""
    cabinet = settled(spec)
    before_c, before_pct = cabinet.air_c, cabinet.rh_pct
    cabinet.door_open = True
    cabinet.step(30.0, ROOM)
    assert 3.0 < before_c - cabinet.air_c < 10.0
    assert 15.0 < before_pct - cabinet.rh_pct < 50.0
    cabinet.door_open = False
    cabinet.step(480.0, ROOM)
    assert cabinet.air_c == pytest.approx(before_c, abs=0.5)
    assert cabinet.rh_pct == pytest.approx(before_pct, abs=3.0)


def test_an_egg_takes_nearly_two_hours_for_nine_tenths_of_its_heat() -> None:
    """A 60 g egg put in cold has 90 % of the heat after 110 to 130 min.

    Published: nearly 2 h for 90 % back in the incubator, Am. J. Physiol. 1978 (abstract).
    """
    cabinet = settled(CabinetSpec(250.0, heater_w=400.0, humidifier_g_h=150.0))
    cabinet.load(6, 60.0, 0.0, egg_c=25.0)
    minutes = 0
    while cabinet.egg_c < 25.0 + 0.9 * (37.8 - 25.0):
        cabinet.step(60.0, ROOM)
        minutes += 1
    assert 110 <= minutes <= 130


def test_an_egg_without_an_embryo_loses_what_is_published() -> None:
    """A 60 g egg loses about 0.36 g a day near 55 %RH, and stands 0.1 to 0.25 K under the air for it.

    Published: 0.36 g/d cools a 60 g egg by about 0.3 °F, 0.17 K (trade literature on egg cooling).
    """
    cabinet = settled(replace(MIDDLE, age_days=-10.0, rh_pct=56.0))
    before_g = cabinet.ledger.egg_g
    below_k = 0.0
    for _ in range(1440):
        cabinet.step(60.0, ROOM)
        below_k += (cabinet.air_c - cabinet.egg_c) / 1440
    assert (cabinet.ledger.egg_g - before_g) / 24 == pytest.approx(0.36, abs=0.02)
    assert 0.1 < below_k < 0.25


def test_a_dead_fan_leaves_layers() -> None:
    """Without its fan the top stands 1 K or more above the floor; with it, less than 0.2 K."""
    cabinet = settled(MIDDLE)
    assert cabinet.air_at(1.0)[0] - cabinet.air_at(-1.0)[0] < 0.2
    cabinet.fan_on = False
    cabinet.step(900.0, ROOM)
    assert cabinet.air_at(1.0)[0] - cabinet.air_at(-1.0)[0] > 1.0


def test_late_embryos_stand_above_the_air_and_more_so_without_a_fan() -> None:
    """On day 18 an egg is warmer than the air, and a dead fan adds to it."""
    cabinet = settled(replace(MIDDLE, age_days=18.0))
    blown_k = cabinet.egg_c - cabinet.air_c
    cabinet.fan_on = False
    cabinet.step(4 * 3600.0, ROOM)
    assert 1.0 < blown_k < cabinet.egg_c - cabinet.air_c


@pytest.mark.parametrize(
    ("switch", "position", "judged"),
    [
        ("water_share", 0.0, lambda now, before: now < before - 20.0),
        ("overfilled", True, lambda now, before: now > before + 15.0),
        ("rh_set_pct", 70.0, lambda now, before: 66.0 < now < 70.0),
    ],
)
def test_water(switch: str, position: object, judged: Callable[[float, float], bool]) -> None:
    """Two hours dry cost over 20 %RH, an overfilled tray adds over 15, a raised set point is reached within 4."""
    cabinet = settled(MIDDLE)
    before = cabinet.rh_pct
    setattr(cabinet, switch, position)
    cabinet.step(7200.0, ROOM)
    assert judged(cabinet.rh_pct, before)
    assert cabinet.rh_pct <= 100.0


def test_a_cabinet_outside_the_models_range_is_refused() -> None:
    """A volume, control or ventilation that the figures are not for is refused with what was expected."""
    with pytest.raises(ValueError, match="volume_l 10, expected 40 to 500"):
        CabinetSpec(10, heater_w=1.0, humidifier_g_h=1.0)
    with pytest.raises(ValueError, match="control 'magic', expected hysteresis or proportional"):
        CabinetSpec(50.0, heater_w=1.0, humidifier_g_h=1.0, control="magic")
    with pytest.raises(ValueError, match=r"vent_per_h 0\.0, expected above 0"):
        CabinetSpec(50.0, heater_w=1.0, humidifier_g_h=1.0, vent_per_h=0.0)


def test_embryo_heat_lies_on_and_between_the_tables_points() -> None:
    """The table's days give its values, days between lie between, and days beyond hold its ends."""
    assert [embryo_w_60g(day) for day in (-1.0, 0.0, 11.0, 18.0, 25.0)] == [0.0, 0.0, 0.04, 0.14, 0.19]
    assert embryo_w_60g(12.0) == pytest.approx(0.0575)


def quiet(**changes: Any) -> Probe:
    """A probe without noise."""
    return Probe(replace(ProbeSpec(noise_k=0.0, noise_rh_pct=0.0), **changes), random.Random(1))


def test_a_probe_lags_and_steps() -> None:
    """After one time constant a probe has gone 63 % of the way, and shows whole hundredths."""
    probe = quiet(lag_s=10.0)
    probe.follow(1.0, 20.0, 1.0)
    for _ in range(5):
        probe.follow(2.0, 40.0, 1.0)
    reading = probe.read()
    assert reading is not None
    assert reading[0] == pytest.approx(20.0 + 20.0 * (1.0 - math.exp(-1.0)), abs=0.005 + 1e-9)
    assert reading[0] * 100 == pytest.approx(round(reading[0] * 100), abs=1e-6)


def test_a_probes_humidity_is_that_of_its_own_temperature() -> None:
    """While a sensor is still warm in cooled air it reads drier than the air is."""
    probe = quiet(lag_s=60.0, rh_lag_s=1.0)
    probe.follow(1.0, 38.0, 3.0)
    probe.follow(10.0, 30.0, 3.0)
    reading = probe.read()
    assert reading is not None
    assert reading[0] > 36.0
    assert reading[1] == pytest.approx(
        100.0 * 3.0 / saturation_vapour_kpa(38.0 - 8.0 * (1 - math.exp(-1 / 6))), abs=0.01
    )


def test_probe_faults() -> None:
    """Stuck repeats itself, a spike is gone after one reading, drift grows, silence is None; repair ends them all."""
    probe = quiet(offset_k=0.5)
    probe.follow(1.0, 37.0, 3.0)
    heard = probe.read()
    assert heard is not None
    assert heard[0] == 37.5
    assert heard[1] == pytest.approx(100.0 * 3.0 / saturation_vapour_kpa(37.0), abs=0.006)
    probe.stuck = True
    probe.follow(3600.0, 39.0, 3.0)
    assert shown(probe) == 37.5
    probe.stuck = False
    probe.spike_k = -20.0
    assert (shown(probe), shown(probe)) == (19.5, 39.5)
    probe.drift_k_h = 0.6
    probe.follow(1800.0, 39.0, 3.0)
    assert shown(probe) == pytest.approx(39.8)
    probe.silent = True
    assert probe.read() is None
    probe.repair()
    assert shown(probe) == 39.5


def test_a_probe_without_a_humidity_sensor_says_nothing_of_it() -> None:
    """Only the temperature is read."""
    probe = Probe(ProbeSpec(humidity=False), random.Random(1))
    probe.follow(1.0, 37.0, 3.0)
    reading = probe.read()
    assert reading is not None
    assert reading[1] is None


def test_noise_has_the_size_it_says() -> None:
    """The spread of many readings of steady air is the noise, widened by the step."""
    probe = Probe(ProbeSpec(noise_k=0.02), random.Random(7))
    probe.follow(1.0, 37.5, 3.0)
    values = [shown(probe) for _ in range(4000)]
    mean = sum(values) / len(values)
    spread = math.sqrt(sum((v - mean) ** 2 for v in values) / len(values))
    assert mean == pytest.approx(37.5, abs=0.002)
    assert spread == pytest.approx(math.hypot(0.02, 0.01 / math.sqrt(12.0)), rel=0.05)


def shown(probe: Probe) -> float:
    """The temperature that it reads, to the hundredth that it prints."""
    reading = probe.read()
    assert reading is not None
    return round(reading[0], 2)


def test_a_probe_can_be_off_restless_or_talk_nonsense() -> None:
    """An offset is added, noise is multiplied, what a chip says for no reading stands alone; repair ends all three."""
    probe = quiet()
    probe.follow(1.0, 37.0, 3.0)
    probe.off_k = -0.7
    assert shown(probe) == 36.3
    probe.says_c = 85.0
    assert (shown(probe), shown(probe)) == (85.0, 85.0)
    probe.repair()
    assert shown(probe) == 37.0
    restless = Probe(ProbeSpec(noise_k=0.02), random.Random(7))
    restless.follow(1.0, 37.0, 3.0)
    restless.noise_times = 2.0
    values = [shown(restless) - 37.0 for _ in range(4000)]
    assert math.sqrt(sum(v**2 for v in values) / len(values)) == pytest.approx(0.04, rel=0.05)


def test_one_side_becomes_warm_and_the_other_cold() -> None:
    """A side that stands apart does so with a lag of 20 min, the middle stays, and a probe there reads it."""
    probe = quiet(side=1.0)
    cabinet = Cabinet(MIDDLE, (probe,))
    cabinet.side_k = 2.0
    cabinet.step(1200.0, ROOM)
    apart_k = 2.0 * (1.0 - math.exp(-1.0))
    assert cabinet.air_at(0.0, 1.0)[0] - cabinet.air_c == pytest.approx(apart_k)
    assert cabinet.air_at(0.0, -1.0)[0] - cabinet.air_c == pytest.approx(-apart_k)
    assert shown(probe) == pytest.approx(
        cabinet.air_at(0.0, 1.0)[0], abs=0.15
    )  # it lags behind the thermostat's ripple


def test_half_the_volts_are_a_quarter_of_the_heat() -> None:
    """In the same minutes a stuck heater gives the square of the share, and nothing changes at the full volts."""
    heats = []
    for share in (1.0, 0.5):
        cabinet = Cabinet(MIDDLE, heater=STUCK_ON, volts_share=share)
        cabinet.step(600.0, ROOM)
        heats.append(cabinet.ledger.heater_j)
    assert heats[0] == pytest.approx(MIDDLE.heater_w * 600.0)
    assert heats[1] == pytest.approx(heats[0] / 4.0)


def test_a_drifting_thermostat_takes_the_air_along() -> None:
    """Half a kelvin an hour, for two hours, is one kelvin."""
    cabinet = settled(MIDDLE)
    before_c, set_c = cabinet.air_c, cabinet.dry_bulb_set_c
    cabinet.drift_k_h = -0.5
    cabinet.step(7200.0, ROOM)
    assert cabinet.dry_bulb_set_c == pytest.approx(set_c - 1.0)
    assert cabinet.air_c == pytest.approx(before_c - 1.0, abs=0.25)
