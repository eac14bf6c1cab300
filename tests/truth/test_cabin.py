"""The second model behaves as its physics says, whatever was drawn: figures worked out by hand beside it."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.domain.air.psychrometrics import saturation_vapour_kpa
from monitor.domain.eggs import temperature
from monitor.domain.needs.profile import Band
from monitor.rehearse import cabinet
from tests.truth import cabin
from tests.truth.cabin import (
    EGG_J_G_K,
    EGG_STILL,
    EGG_W_K_60G,
    FILM_FAN_W_M2_K,
    NO_WATER,
    PI,
    SWITCH,
    Build,
    Cabin,
    RoomAir,
    Sensor,
    saturation_kpa,
)
from tests.truth.machines import KINDS, Bands, Calm, drawn_build, drawn_sensor

PLAIN = Build(
    volume_l=60.0, heater_w=60.0, fittings_j_k_l=10.0, wall_w_m2_k=1.0, wall_j_m2_k=4000.0, vent_per_h=4.0,
    element_s=10.0, thermostat_s=10.0, control=PI, water=NO_WATER, eggs=40, egg_g=60.0,
)  # fmt: skip
BANDS = Bands(Band(36.7, 37.5, 37.8, 38.1, 38.9), "rh_pct", Band(40.0, 45.0, 55.0, 60.0, 70.0))


def machine(build: Build = PLAIN, *, age_days: float = 0.0) -> Cabin:
    """At 37.8 °C in a room of 20 °C, with one probe in the middle."""
    cabin = Cabin(build, [Sensor(random.Random(1))], 37.8, 50.0, age_days)
    cabin.begin(20.0)
    return cabin


def room(mean_c: float = 20.0) -> RoomAir:
    """Without a daily swing."""
    return RoomAir(mean_c, 0.0, 1.2)


def test_saturation_is_that_of_the_domain() -> None:
    """Two formulas, from two sources, for one curve: within a third of a per cent where eggs are."""
    for c in (10.0, 20.0, 30.0, 38.0, 42.0):
        assert saturation_kpa(c) == pytest.approx(saturation_vapour_kpa(c), rel=0.0033)


def test_a_dead_heater_leaves_the_eggs_to_the_room() -> None:
    """After two days all of it is at the room's temperature, for young eggs give no heat; on the way the eggs are last."""
    cabin = machine()
    cabin.heater = "dead"
    cabin.run(3600.0, room(), 0.0)
    assert 20.0 < cabin.air_c < cabin.egg_c < 37.8
    cabin.run(47 * 3600.0, room(), 3600.0)
    assert cabin.air_c == pytest.approx(20.0, abs=0.2)
    assert cabin.egg_c == pytest.approx(20.0, abs=0.4)


def test_a_heater_that_is_stuck_ends_where_its_heat_is_lost() -> None:
    """60 W over the losses of wall (0.92 m², 1 in line with the film's 10 W/(m² K)) and vents (4 changes an hour of 60 l)."""
    cabin = machine(replace(PLAIN, heater_w=25.0, eggs=0))
    cabin.heater = "on"
    cabin.run(48 * 3600.0, room(), 0.0)
    wall_w_k = cabin.wall_m2 / (1.0 / PLAIN.wall_w_m2_k + 1.0 / FILM_FAN_W_M2_K)
    lost_w_k = wall_w_k + 0.06 * 1147.0 * 4.0 / 3600.0
    assert cabin.air_c == pytest.approx(20.0 + 25.0 / lost_w_k, abs=0.3)


def test_an_egg_follows_as_its_own_time_says() -> None:
    """Moved into air that stands still: 63 % of the way after mass times heat over what it exchanges, 90 min for 60 g."""
    cabin = machine(replace(PLAIN, eggs=1, fan=False))
    cabin.egg_c = 27.8
    tau_s = 60.0 * EGG_J_G_K / (EGG_W_K_60G * EGG_STILL)
    cabin.run(tau_s, room(), 0.0)
    assert cabin.egg_c == pytest.approx(37.8 - 10.0 / math.e, abs=0.5)


def test_old_eggs_warm_their_machine() -> None:
    """A full load late in the term needs less heat than the same eggs when they were set."""
    young, old = machine(), machine(age_days=19.0)
    assert young.embryo_w() < 0.05
    assert 3.0 < old.embryo_w() < 7.0  # 40 eggs of 60 g at two mW a gram and more
    young.run(6 * 3600.0, room(), 0.0)
    old.run(6 * 3600.0, room(), 0.0)
    assert young.integral > old.integral


def test_a_switch_swings_and_a_slow_one_swings_slower_and_farther() -> None:
    """The period and the swing of the air grow with what the thermostat lags."""

    def swing(thermostat_s: float) -> tuple[int, float]:
        cabin = machine(replace(PLAIN, control=SWITCH, thermostat_s=thermostat_s))
        cabin.run(7200.0, room(), 0.0)
        cabin.sensors[0].extremes()
        turns, was = 0, cabin.heating
        for _ in range(3600):
            cabin.run(2.0, room(), 0.0)
            turns += cabin.heating and not was
            was = cabin.heating
        low_c, high_c = cabin.sensors[0].extremes()
        return turns, high_c - low_c

    (fast, little), (slow, much) = swing(5.0), swing(200.0)
    assert fast > 2 * slow > 0
    assert much > 2.0 * little


def test_without_a_fan_the_air_stands_in_layers() -> None:
    """A tenth of 17.8 K from the middle to the top, in a quarter of an hour."""
    cabin = machine(replace(PLAIN, still_spread=0.1))
    cabin.run(1800.0, room(), 0.0)
    assert abs(cabin.local_c(1.0) - cabin.local_c(-1.0)) < 0.3
    cabin.fan_on = False
    cabin.run(1800.0, room(), 0.0)
    assert cabin.local_c(1.0) - cabin.air_c == pytest.approx(1.8, abs=0.4)


def test_an_open_door_cools_and_dries_and_both_come_back() -> None:
    """For two minutes."""
    cabin = machine()
    cabin.run(1800.0, room(), 0.0)
    calm_c, calm_kpa = cabin.air_c, cabin.vapour_kpa
    cabin.door_open = True
    cabin.run(120.0, room(), 0.0)
    assert cabin.air_c < calm_c - 1.0
    assert cabin.vapour_kpa < calm_kpa
    cabin.door_open = False
    cabin.run(3600.0, room(), 0.0)
    assert cabin.air_c == pytest.approx(calm_c, abs=0.15)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_drawn_can_warm_itself(kind: str) -> None:
    """Every machine of twenty of each kind keeps near its set point in its room, however it swings, and none is like another."""
    builds = [drawn_build(random.Random(seed), kind, egg_g=60.0, term_days=21.0, room_c=16.0) for seed in range(20)]
    assert len({b.volume_l for b in builds}) >= 4
    assert max(b.fittings_j_k_l for b in builds) > 2.0 * min(b.fittings_j_k_l for b in builds)
    for build in builds:
        cabin = machine(replace(build, water=NO_WATER))
        cabin.run(3 * 3600.0, room(16.0), 0.0)
        airs = []
        for _ in range(120):
            cabin.run(60.0, room(16.0), 0.0)
            airs.append(cabin.air_c)
        assert abs(sum(airs) / len(airs) - 37.8) < 1.5


def test_a_probe_reads_the_air_with_its_own_error() -> None:
    """Stuck it repeats itself, silent it says nothing, off it is off."""
    cabin = machine()
    cabin.run(600.0, room(), 0.0)
    sensor = cabin.sensors[0]
    first = sensor.read()
    assert first is not None
    assert first[0] == pytest.approx(cabin.air_c, abs=0.2)
    sensor.off_k = 2.0
    moved = sensor.read()
    assert moved is not None
    assert moved[0] == pytest.approx(first[0] + 2.0, abs=0.2)
    sensor.stuck = True
    assert sensor.read() == moved
    sensor.silent = True
    assert sensor.read() is None


def test_calm_is_judged_by_means_and_alarms_by_instants() -> None:
    """A swing whose mean lies in the band is calm; a mean beyond the warning is not, nor an instant beyond the alarm."""
    for airs, calm in (
        ([37.2, 38.4] * 40, True),
        ([38.2] * 80, False),
        ([37.8] * 40 + [39.0] + [37.8] * 39, False),
    ):
        watch, sensor = Calm(BANDS, 15.0), drawn_sensor(random.Random(2), 0.0)
        seen = []
        for c in airs:
            sensor.lowest_c = sensor.highest_c = sensor.air_c = c
            seen.append(watch.look(sensor, c, 55.0))
        assert all(seen) is calm
        assert (watch.out_s == 0.0) is calm


def test_the_rooms_walks_add_up() -> None:
    """Half-way of a walk by 10 K in an hour, and its end."""
    air = room()
    air.walks.append((1000.0, 3600.0, 10.0))
    assert [air.at(s)[0] for s in (0.0, 2800.0, 9000.0)] == pytest.approx([20.0, 25.0, 30.0])


def test_what_it_shares_with_the_first_model_is_what_it_says() -> None:
    """It imports nothing of ours; the magnitudes of an egg and of water are the first model's, and the judge's only that of an egg's heat."""
    source = Path(cabin.__file__ or "").read_text(encoding="utf-8")
    assert "import monitor" not in source
    assert "from monitor" not in source
    assert (cabin.EGG_J_G_K, cabin.EGG_W_K_60G, cabin.EGG_STILL) == (
        cabinet.EGG_J_G_K,
        cabinet.EGG_W_K_60G,
        cabinet.EGG_STILL_SHARE,
    )
    assert pytest.approx(cabinet.EGG_VAPOUR_G_D_KPA_60G) == cabin.EGG_G_S_KPA_60G * 86_400.0
    assert (cabin.LATENT_J_G, cabin.WET_G_S_M2_KPA) == (cabinet.LATENT_J_G, cabinet.WET_G_S_M2_KPA)
    assert cabin.EGG_J_G_K == temperature.EGG_J_G_K
    assert cabin.SPREAD_S != cabinet.SPREAD_S
    assert cabin.HOTTEST_C != cabinet.CUT_OUT_C
