"""The flag of one reading, from its own values and from what its probe said before it."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.air.psychrometrics import air_state, pressure_kpa, wet_bulb_c, wick_wet_bulb_c
from monitor.domain.needs.rules import SENSOR_FAILED, SENSOR_SUSPECT
from monitor.domain.readings import quality
from monitor.domain.readings.quality import Assessment, Trail, assess, flag_of, leapt
from monitor.domain.readings.reading import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from monitor.domain.readings.track import LIMITS
from monitor.rehearse.cabinet import OK, STUCK_ON, Cabinet, ProbeSpec
from monitor.rehearse.cabinet import Probe as SimulatedProbe
from monitor.settings import SiteSettings
from tests.domain.house import there
from tests.domain.readings import quiet_rooms
from tests.domain.readings.quality_figures import (
    ABSENT,
    CABINETS,
    OPENINGS_S,
    PROBES,
    WILD,
    Reading,
    Room,
    called_faults,
    false_flags,
    found_dropouts,
    found_out_of_range,
    found_spikes,
    found_stuck,
    room_air,
)

# Written out: taken from the program, they would move with it.
DRY_BULB_C_FAIL = (-20.0, 80.0)
RH_PCT_FAIL = (0.0, 104.0)
DRY_BULB_C_SUSPECT = (5.0, 50.0)
SENTINELS_C = (85.0, 127.9375)  # a DS18B20's power-up value, a weak supply

ANY = st.floats(allow_nan=True, allow_infinity=True)


@pytest.mark.parametrize(
    ("dry_bulb_c", "rh_pct", "flag"),
    [
        (37.5, 50.0, PASS),
        (37.5, None, PASS),
        (None, 50.0, MISSING),
        (None, None, MISSING),
        (37.5, 0.0, PASS),
        (37.5, 104.0, PASS),
        (37.5, 104.01, FAIL),
        (37.5, -0.01, FAIL),
        (5.0, 50.0, PASS),
        (4.99, 50.0, SUSPECT),
        (50.0, 50.0, PASS),
        (50.01, 50.0, SUSPECT),
        (-20.0, 50.0, SUSPECT),
        (-20.01, 50.0, FAIL),
        (80.0, 50.0, SUSPECT),
        (80.01, 50.0, FAIL),
    ],
)
def test_the_gross_range(dry_bulb_c: float | None, rh_pct: float | None, flag: int) -> None:
    """Each border belongs to its range, and one step beyond does not."""
    assert flag_of(dry_bulb_c, rh_pct) == flag


@pytest.mark.parametrize("sentinel", SENTINELS_C)
def test_what_a_chip_gives_in_place_of_a_reading(sentinel: float) -> None:
    """A chip's power-up value or its word for a weak supply is no temperature."""
    assert flag_of(sentinel, 50.0) == FAIL


@pytest.mark.parametrize("odd", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_never_passes(odd: float) -> None:
    """NaN and the infinities fail, as a temperature and as a humidity."""
    assert flag_of(odd, 50.0) == FAIL
    assert flag_of(37.5, odd) == FAIL


@given(ANY, ANY)
@settings(max_examples=500, deadline=None)
def test_only_what_lies_in_a_range_passes(dry_bulb_c: float, rh_pct: float) -> None:
    """Whatever comes, PASS means both within their ranges, and below FAIL means finite."""
    flag = flag_of(dry_bulb_c, rh_pct)
    if flag < FAIL:
        assert math.isfinite(dry_bulb_c)
        assert math.isfinite(rh_pct)
        assert RH_PCT_FAIL[0] <= rh_pct <= RH_PCT_FAIL[1]
    if flag == PASS:
        assert DRY_BULB_C_SUSPECT[0] <= dry_bulb_c <= DRY_BULB_C_SUSPECT[1]


@given(st.floats(*DRY_BULB_C_FAIL), st.floats(0.0, 100.0), st.sampled_from([-430.0, 0.0, 1500.0, 5500.0]))
@settings(max_examples=300, deadline=None)
def test_what_is_judged_can_be_computed(dry_bulb_c: float, rh_pct: float, elevation_m: float) -> None:
    """No reading that may be judged, at any elevation a site may have, is one that the physics cannot answer: an exception there
    would end the engine."""
    kpa = float(pressure_kpa(elevation_m))
    state = air_state(dry_bulb_c, rh_pct, kpa)
    assert math.isfinite(state.wet_bulb_c)
    assert math.isfinite(wet_bulb_c(dry_bulb_c, rh_pct, kpa))
    limits = SiteSettings.model_fields["wick_coefficient_per_k"].metadata
    lowest = next(m.ge for m in limits if hasattr(m, "ge"))
    assert math.isfinite(wick_wet_bulb_c(dry_bulb_c, rh_pct, kpa, coefficient_per_k=lowest))
    assert math.isfinite(wick_wet_bulb_c(dry_bulb_c, rh_pct, kpa, coefficient_per_k=2e-3))


# What the tests make of one probe's readings in their order: `assess`. A story is a list of (s, °C, %RH).

WARM = (37.5, 55.0)


def told(readings: Iterable[Reading], interval_s: float = 10.0, trail: Trail | None = None) -> list[Assessment]:
    """Each reading assessed in its turn."""
    result: list[Assessment] = []
    trail = Trail() if trail is None else trail
    for at_s, dry_bulb_c, rh_pct in readings:
        trail, found = assess(trail, at_s, dry_bulb_c, rh_pct, interval_s=interval_s)
        result.append(found)
    return result


def trail_of(readings: Iterable[Reading], interval_s: float = 10.0) -> Trail:
    """What is kept of the probe after all of them."""
    trail = Trail()
    for at_s, dry_bulb_c, rh_pct in readings:
        trail, _ = assess(trail, at_s, dry_bulb_c, rh_pct, interval_s=interval_s)
    return trail


def lively(
    seconds: float, dry_bulb_c: float = 37.5, rh_pct: float = 55.0, since_s: float = 0.0, every_s: float = 10.0
) -> list[Reading]:
    """Ordinary air: a ripple of a few hundredths, never twice the same."""
    steps = range(round(seconds / every_s))
    return [
        (since_s + i * every_s, dry_bulb_c + 0.03 * math.sin(i) + 0.01 * (i % 2), rh_pct + 0.2 * math.sin(1.7 * i))
        for i in steps
    ]


def then(readings: Sequence[Reading], *airs: tuple[float | None, float | None], every_s: float = 10.0) -> list[Reading]:
    """The story goes on with these."""
    last_s = readings[-1][0]
    return [*readings, *((last_s + (i + 1) * every_s, *air) for i, air in enumerate(airs))]


def test_a_jump_waits_for_the_next_reading_and_is_believed_by_it() -> None:
    """A jump is not judged; one interval later its like is, and the flag of the first is settled as PASS."""
    *_, jump, next_ = told(then(lively(600), (38.7, 52.5), (38.75, 52.4)))
    assert (jump.flag, jump.tests, jump.held, jump.dry_bulb_fit) == (
        NOT_EVALUATED,
        (("SPK-T", NOT_EVALUATED),),
        True,
        False,
    )
    assert jump.rh_fit
    assert (next_.before, next_.flag, next_.dry_bulb_fit) == (PASS, PASS, True)


@pytest.mark.parametrize("k", [-20.0, -1.0, 0.7, 4.0])
def test_a_jump_that_comes_back_was_a_spike(k: float) -> None:
    """One odd reading is never judged, its flag is settled as FAIL, and those around it pass."""
    before, jump, *after = told(then(lively(600), (37.5 + k, 55.0), WARM, (37.52, 55.1)))[-4:]
    assert before.flag == PASS
    assert not jump.dry_bulb_fit
    assert [a.before for a in after] == [FAIL, None]
    assert [a.flag for a in after] == [PASS, PASS]


def test_of_two_jumps_to_either_side_the_second_is_judged() -> None:
    """A probe thrown up and then down is never unjudged twice: the first is settled as a spike, the second is suspect."""
    jump, next_ = told(then(lively(600), (41.0, 55.0), (33.5, 55.0)))[-2:]
    assert jump.held
    assert (next_.before, next_.dry_bulb_flag, next_.dry_bulb_fit) == (FAIL, SUSPECT, True)
    assert ("SPK-T", SUSPECT) in next_.tests


@pytest.mark.parametrize(
    ("interval_s", "k", "rh_pct", "settled"),
    [
        (60.0, -1.5, None, NOT_EVALUATED),
        (60.0, 1.5, None, FAIL),
        (60.0, -4.0, None, FAIL),
        (10.0, -1.5, None, FAIL),
        (60.0, -1.5, 55.0, FAIL),
        (60.0, -1.5, 44.0, PASS),
    ],
)
def test_a_door_between_two_readings(interval_s: float, k: float, rh_pct: float | None, settled: int) -> None:
    """A fall that is gone a minute later is a door if the humidity fell with it, a spike if not; without humidity nobody can know."""
    calm = [(at_s, dry, None if rh_pct is None else rh) for at_s, dry, rh in lively(3600, every_s=interval_s)]
    usual = None if rh_pct is None else 55.0
    *_, after = told(then(calm, (37.5 + k, rh_pct), (37.5, usual), every_s=interval_s), interval_s)
    assert after.before == settled
    assert after.flag == PASS


def test_a_jump_after_two_lost_readings_is_still_settled() -> None:
    """A jump that comes at the very end of what counts as neighbours is believed by the next reading."""
    begun = lively(3600, every_s=60)
    last_s = begun[-1][0]
    jump, next_ = told([*begun, (last_s + 180.0, 39.0, 51.0), (last_s + 240.0, 39.1, 51.0)], 60.0)[-2:]
    assert jump.held
    assert next_.before == PASS


def test_turns_now_and_then_leave_the_watch_as_sharp() -> None:
    """A probe that is off by 0.4 K in every fourth reading is calm at other times: a jump of 0.7 K is held all the same."""
    turning = [(60.0 * i, 37.5 + 0.01 * (i % 3) - (0.4 if i % 4 == 0 else 0.0), None) for i in range(1001)]
    assert told(then(turning, (37.5, None), (37.51, None), (38.2, None), every_s=60.0), 60.0)[-1].held


def test_many_spikes_make_a_probe_suspect() -> None:
    """Four spikes within the hour are a loose wire: the readings between them are suspect, and judged; an hour later all is well."""
    readings = lively(60)
    for _ in range(4):
        readings = then(readings, (45.0, 55.0), WARM, (37.53, 55.2), (37.49, 54.8))
    last = told(readings)[-1]
    assert (last.flag, last.tests, last.dry_bulb_fit) == (SUSPECT, (("SPK-T", SUSPECT),), True)
    assert told([*readings, *lively(3600, since_s=readings[-1][0] + 10.0)])[-1].flag == PASS


def test_a_jump_of_the_humidity_does_not_hold_the_temperature() -> None:
    """While a jump of the humidity waits, the temperature is judged."""
    jump, next_ = told(then(lively(600), (37.5, 80.0), (37.5, 55.0)))[-2:]
    assert (jump.rh_held, jump.rh_fit, jump.dry_bulb_fit) == (True, False, True)
    assert next_.before == FAIL


@given(
    st.lists(st.tuples(st.floats(5.0, 50.0), st.floats(5.0, 99.0)), min_size=2, max_size=60),
    st.sampled_from([10.0, 60.0]),
)
@settings(max_examples=200, deadline=None)
def test_danger_waits_one_interval_at_most(airs: list[tuple[float, float]], interval_s: float) -> None:
    """Whatever the readings jump to, of two in a row at least one may be judged, in both quantities."""
    found = told([(i * interval_s, *air) for i, air in enumerate(airs)], interval_s)
    for one, next_ in itertools.pairwise(found):
        assert one.dry_bulb_fit or next_.dry_bulb_fit
        assert one.rh_fit or next_.rh_fit
        assert (next_.before is not None) == one.held


@given(st.lists(st.tuples(ANY, ANY), max_size=30))
@settings(max_examples=200, deadline=None)
def test_whatever_comes_is_answered(airs: list[tuple[float, float]]) -> None:
    """Any floats give a flag, never less than `flag_of` by itself, and what fails is not fit."""
    for (dry_bulb_c, rh_pct), found in zip(airs, told([(10.0 * i, *a) for i, a in enumerate(airs)]), strict=True):
        assert found.flag >= flag_of(dry_bulb_c, rh_pct)
        assert not (found.dry_bulb_fit and flag_of(dry_bulb_c, None) == FAIL)
        assert not (found.rh_fit and not RH_PCT_FAIL[0] <= rh_pct <= RH_PCT_FAIL[1])


def test_the_heater_stuck_on_is_no_sensor_fault() -> None:
    """While a cabinet's heater burns without end, to 50 °C, no reading is suspect, and each interval but the first is judged."""
    for spec in CABINETS.values():
        probe = SimulatedProbe(ProbeSpec(noise_k=0.03), random.Random(1))
        cabinet = Cabinet(spec, (probe,))
        cabinet.step(6 * 3600.0, room_air(0.0))
        for interval_s in (10, 30, 60):
            readings = []
            for i in range(75 * 60 // interval_s):
                if i == 60 * 60 // interval_s:
                    cabinet.heater = STUCK_ON
                cabinet.step(interval_s, room_air(0.0))
                readings.append((float(i * interval_s), *probe.read()))  # type: ignore[misc]
            found = told(readings, interval_s)
            assert max(a.flag for a in found) <= NOT_EVALUATED
            assert sum(not a.dry_bulb_fit for a in found) <= 2
            assert 40.0 < readings[-1][1] < 50.0
            cabinet.heater = OK
            cabinet.step(6 * 3600.0, room_air(0.0))


def test_a_missing_reading_leaves_the_trail() -> None:
    """A reading without a temperature is MISSING, and the next is taken as if it had not been."""
    readings = lively(600)
    trail = trail_of(readings)
    later, gone = assess(trail, 600.0, None, None, interval_s=10.0)
    assert (gone.flag, gone.tests, later, gone.dry_bulb_fit) == (MISSING, (("GAP", MISSING),), trail, False)
    assert told(then(readings, (None, None), WARM))[-1].flag == PASS


def test_an_older_reading_is_looked_at_by_itself() -> None:
    """A late reading has the flag of its own values, and leaves the trail as it is."""
    trail = trail_of(lively(600))
    later, late = assess(trail, 300.0, 44.0, 55.0, interval_s=10.0)
    assert (late.flag, later) == (PASS, trail)
    assert assess(trail, 300.0, 85.0, 55.0, interval_s=10.0)[1].flag == FAIL


def test_after_a_gap_nothing_jumps() -> None:
    """What a probe says after a silence is judged at once, however far it is from what it said before; a held jump stays suspect."""
    readings = then(lively(600), (30.0, 55.0))
    after = told([*readings, (1800.0, 36.0, 50.0)])[-1]
    assert (after.flag, after.dry_bulb_fit, after.before) == (PASS, True, SUSPECT)


@pytest.mark.parametrize("value", [*ABSENT, *WILD])
def test_what_is_said_in_place_of_a_reading(value: float) -> None:
    """Each code of a chip or library fails at once in a warm machine, the humidity beside it stays fit, and the next reading passes."""
    bad, next_ = told(then(lively(600), (value, 55.0), WARM))[-2:]
    assert (bad.flag, bad.tests, bad.dry_bulb_fit, bad.rh_fit) == (FAIL, (("RNG-T", FAIL),), False, True)
    assert next_.flag == PASS


@pytest.mark.parametrize("rh_pct", [-6.0, -0.01, 104.01, 119.0, math.nan])
def test_a_broken_humidity_hides_no_heat(rh_pct: float) -> None:
    """A humidity that cannot be fails, and the temperature beside it may be judged."""
    bad = told(then(lively(600), (37.5, rh_pct)))[-1]
    assert (bad.flag, bad.tests, bad.dry_bulb_fit, bad.rh_fit) == (FAIL, (("RNG-H", FAIL),), True, False)


def test_frost_is_not_a_broken_line() -> None:
    """Exactly 0.0 fails from a probe that was warm, or with a humidity of 0.0; in a room that was near freezing it passes as 0.1 does."""
    cold = [(10.0 * i, 0.4 - 0.01 * i, 80.0 + 0.1 * (i % 2)) for i in range(40)]
    assert told(then(cold, (0.0, 80.0)))[-1].dry_bulb_fit
    assert told(then(cold, (0.0, 0.0)))[-1].tests == (("RNG-T", FAIL), ("RNG-H", FAIL))
    assert told([(0.0, 0.0, 80.0)])[-1].flag == FAIL


@pytest.mark.parametrize("rh_pct", [99.5, 100.0, 103.0, 3.0])
def test_a_humidity_that_lingers_at_the_end_of_its_scale(rh_pct: float) -> None:
    """At an end of its scale a humidity becomes suspect after half an hour, never stuck; back within it all is well at once."""
    begun = lively(600, rh_pct=98.0 if rh_pct > 50.0 else 7.0)
    found = told(then(begun, *[(37.5 + 0.03 * (i % 3), rh_pct) for i in range(600)], *[r[1:] for r in begun[:2]]))
    flags = [a.rh_flag for a in found]
    assert flags.index(SUSPECT) == 60 + 180
    assert set(flags[240:-2]) == {SUSPECT}
    assert found[300].tests == (("RNG-H", SUSPECT),)
    assert found[-1].rh_flag == PASS


@pytest.mark.parametrize("interval_s", [10, 20, 30, 60])
def test_a_value_that_stands_still(interval_s: int) -> None:
    """The same value is suspect after 15 min and fails after an hour, at any interval; it passes once it moves."""
    begun = lively(7200, every_s=interval_s)
    stuck = then(
        begun, *[(37.51, 55.0 + 0.1 * (i % 2)) for i in range(3700 // interval_s)], (37.48, 55.0), every_s=interval_s
    )
    found = told(stuck, interval_s)
    first = {f: next(i for i, a in enumerate(found) if ("FLAT-T", f) in a.tests) for f in (SUSPECT, FAIL)}
    since_s = begun[-1][0] + interval_s
    assert stuck[first[SUSPECT]][0] - since_s == 900.0
    assert stuck[first[FAIL]][0] - since_s == 3600.0
    assert found[first[SUSPECT]].dry_bulb_fit
    assert not found[first[FAIL]].dry_bulb_fit
    assert found[first[FAIL]].rh_fit
    assert found[-1].flag == PASS


def test_a_humidity_that_stands_still() -> None:
    """A humidity that stays the same to the last digit while the temperature moves is suspect after 15 min and fails after an hour."""
    begun = lively(7200)
    found = told(then(begun, *[(37.5 + 0.03 * (i % 2), 55.05) for i in range(370)]))[len(begun) :]
    first = {f: next(i for i, a in enumerate(found) if ("FLAT-H", f) in a.tests) for f in (SUSPECT, FAIL)}
    assert first == {SUSPECT: 90, FAIL: 360}
    assert {a.dry_bulb_flag for a in found} == {PASS}


def test_air_comes_home_for_ten_minutes() -> None:
    """After an opening the temperature may come back as it likes for ten minutes from when it last moved, and not later."""
    opened = then(lively(600), *[(36.5, 45.0 + 0.1 * (i % 2)) for i in range(3)])
    for wait, suspected in ((56, False), (66, True)):
        calm = [(36.5 + 0.01 * (i % 3), 45.0 + 0.1 * (i % 2)) for i in range(wait)]
        back = [(41.0 + 0.02 * (i % 3), 45.0 + 0.1 * (i % 2)) for i in range(4)]
        found = told(then(opened, *calm, *back))[-4:]
        assert any(("ROC-T", SUSPECT) in a.tests for a in found) is suspected


def test_stillness_of_a_coarse_probe_says_less() -> None:
    """Of a probe that is seen to move in steps of 0.0625 K the same value is suspect after 79 min, not after 15."""
    begun = [(10.0 * i, 37.5 + 0.0625 * (i // 7 % 2), None) for i in range(360)]
    found = told(then(begun, *[(37.5625, None)] * 1000))
    first = next(i for i, a in enumerate(found) if a.flag == SUSPECT)
    assert 10.0 * first - begun[357][0] == pytest.approx(5.25 * 900.0, abs=10.0)


def test_stillness_that_is_usual_is_no_fault() -> None:
    """A probe that always stood still for 10 min and then moved is not suspect after 15; one that hung once, for 8 h, is so after 20."""
    calm = [(10.0 * i, 37.5 + 0.01 * (i // 60 % 2), None) for i in range(3 * 8640)]
    assert told(then(calm, *[(37.5, None)] * 100))[-1].flag == PASS
    hung = then(lively(7200), *[(37.51, 55.0)] * 2880, *[r[1:] for r in lively(600)], *[(37.51, 55.0)] * 120)
    assert ("FLAT-T", SUSPECT) in told(hung)[-1].tests


def test_a_step_that_humidity_does_not_follow_is_suspect() -> None:
    """A temperature that steps by 4 K and stays, with the humidity unmoved, is suspect for as long as it is a rate, and never fails."""
    found = told(then(lively(600), *[(41.5 + 0.02 * (i % 3), 55.0 + 0.1 * (i % 2)) for i in range(30)]))[60:]
    assert ("ROC-T", SUSPECT) in found[1].tests
    assert [a.dry_bulb_fit for a in found] == [False, *[True] * 29]
    assert found[-1].flag == PASS


def test_fast_heat_that_humidity_answers_is_not_suspect() -> None:
    """The same step with a humidity that falls as warmed air's does is the air's own, and passes."""
    found = told(then(lively(600), *[(41.5 + 0.02 * (i % 3), 45.0 + 0.1 * (i % 2)) for i in range(30)]))[60:]
    assert {a.flag for a in found[1:]} == {PASS}


def test_a_humidity_that_falls_by_itself_is_suspect() -> None:
    """20 %RH lost within half a minute, at the same temperature, are suspect: no door does that."""
    found = told(then(lively(600), *[(37.5 + 0.01 * (i % 3), 35.0 + 0.1 * (i % 2)) for i in range(20)]))[60:]
    assert ("ROC-H", SUSPECT) in found[1].tests
    assert FAIL not in [a.flag for a in found]


@pytest.mark.parametrize("interval_s", [10, 60])
def test_a_probe_noisier_than_it_was(interval_s: int) -> None:
    """Noise of 0.3 K from a probe that had 0.02 K is suspect or fails within half an hour, or 60 readings; a calm one passes."""
    rng = random.Random(5)
    calm = [(float(i * interval_s), 37.5 + rng.gauss(0.0, 0.02), None) for i in range(4 * 3600 // interval_s)]
    assert {a.flag for a in told(calm, interval_s)} == {PASS}
    noisy = then(calm, *[(37.5 + rng.gauss(0.0, 0.3), None) for _ in range(max(180, 60))], every_s=interval_s)
    named = {name for a in told(noisy, interval_s)[len(calm) :] for name, flag in a.tests if flag >= SUSPECT}
    assert "NOISE-T" in named


SWINGS = (0.3, 0.6, 1.0)
PERIODS = (2.02, 2.5, 3.03, 4.97)  # in samples: beats of hours


def swinging(swing_k: float, period: float, hours: float) -> list[Reading]:
    """A thermostat's swing, sampled once a minute, in tenths."""
    rng = random.Random(f"{swing_k}/{period}")
    angles = [(60.0 * n, math.sin(2.0 * math.pi * n / period)) for n in range(round(hours * 60.0))]
    return [
        (at_s, round(37.5 + swing_k * by + rng.gauss(0.0, 0.02), 1), 50.0 - 3.0 * swing_k * by) for at_s, by in angles
    ]


@pytest.mark.parametrize("period", PERIODS)
@pytest.mark.parametrize("swing_k", SWINGS)
def test_a_swing_that_is_sampled_slowly_is_no_fault_of_the_sensor(swing_k: float, period: float) -> None:
    """Neither noise nor a row of spikes, in a day; and no reading is held once it is known, or the half of them would be judged."""
    found = told(swinging(swing_k, period, 24.0), 60.0)
    assert {flag for a in found for _, flag in a.tests} <= {PASS, NOT_EVALUATED, SUSPECT}
    assert not [a for a in found[20:] if a.flag != PASS]


@pytest.mark.parametrize("period", PERIODS)
def test_a_loose_wire_in_a_machine_that_swings_is_told(period: float) -> None:
    """Each sixth reading five kelvin off: held, and suspect within the hour."""
    calm = swinging(0.3, period, 12.0)
    wire = [(c + 5.0 if n % 6 == 0 else c, rh) for n, (_, c, rh) in enumerate(calm[:60]) if c is not None]
    found = told(then(calm, *wire, every_s=60.0), 60.0)[len(calm) :]
    assert all(found[n].dry_bulb_held for n in range(0, 60, 6))
    assert [a for a in found if ("SPK-T", SUSPECT) in a.tests]
    assert ("SPK-T", SUSPECT) in [t for a in found[-7:] for t in a.tests]


@pytest.mark.parametrize(("damper", "told_"), [(6.5, False), (0.5, True)])
def test_water_that_is_sprayed_is_no_loose_wire(damper: float, told_: bool) -> None:
    """It cools by 0.6 K what it dampens, once in twelve minutes, between two readings; without the damp air it is a wire."""
    airs = [
        (36.9, 48.0 + damper) if n % 12 == 11 else (37.5 + 0.01 * (n % 3), 48.0 + 0.1 * (n % 4)) for n in range(240)
    ]
    found = told([(60.0 * n, *air) for n, air in enumerate(airs)], 60.0)
    assert any(("SPK-T", SUSPECT) in a.tests for a in found) is told_


def test_of_a_probe_that_was_just_heard_nothing_is_known_yet() -> None:
    """Its first reading is one of a run that begins with it; no noise, no usual stillness, no step, no spikes."""
    trail = trail_of([(20.0, 37.5, 55.0)])
    assert (trail.newest_s, trail.held_flag, trail.event_s, trail.odd_since_s) == (20.0, 0, None, None)
    for track, value in ((trail.dry_bulb, 37.5), (trail.humidity, 55.0)):
        assert track is not None
        assert (track.mono_s, track.value, track.change, track.held) == (20.0, value, 0.0, None)
        assert (track.run_s, track.run_value, track.run_readings, track.usual_s) == (20.0, value, 1, 0.0)
        assert (track.step, track.noise, track.level, track.learnt_s, track.spikes) == (None, 0.0, 0.0, 0.0, 0.0)


def test_what_moves_one_way_has_no_noise() -> None:
    """Noise is to and fro: air that only rises has none, in however large steps; a turn counts as its smaller side."""
    rising = trail_of((10.0 * i, 37.0 + 0.05 * i, None) for i in range(20)).dry_bulb
    assert rising is not None
    assert (rising.noise, rising.level) == (0.0, 0.0)
    turned = trail_of([(0.0, 37.0, None), (10.0, 37.2, None), (20.0, 37.15, None)]).dry_bulb
    assert turned is not None
    assert turned.noise == pytest.approx(0.05 * 10.0 / 600.0)


def test_the_trail_has_one_size() -> None:
    """A day of readings leaves a trail as small as an hour of them does: numbers alone, and two marks."""
    day = trail_of(lively(86_400))
    hour = trail_of(lively(3600))
    assert len(repr(day)) < 1.2 * len(repr(hour)) < 2000


# The figures, in short: see quality_figures.py for all of them.


@pytest.fixture(scope="module")
def opened() -> Room:
    """Two days of both cabinets with 20 openings a day."""
    return Room.watched(48, 20.0, {p: PROBES[p] for p in SOUND})


SOUND = ("quiet", "slow", "noisy")


def test_an_opened_door_is_no_sensor_fault() -> None:
    """Of all readings around openings of 10 s to 5 min, at 10, 30 and 60 s, fine probes and coarse, none is flagged."""
    found = called_faults(2, (10, 30, 60))
    assert len(found) == len(OPENINGS_S) * 3 * len(PROBES)
    assert {key: bad for key, (bad, _) in found.items() if bad} == {}
    assert min(of for _, of in found.values()) > 100


def test_no_false_flag_a_week(opened: Room) -> None:
    """In 3.4 node-weeks at 10 and 60 s, ripple of either kind of control, noise of 0.01 to 0.05 K, at most 3 readings are flagged."""
    looked = [(weeks, flags) for *_, weeks, flags in false_flags(opened, (10, 60))]
    assert sum(weeks for weeks, _ in looked) > 3.4
    assert sum(flags.false for _, flags in looked) <= 3


@pytest.mark.parametrize("interval_s", [10, 60])
def test_faults_are_found(opened: Room, interval_s: int) -> None:
    """Stuck, dropout and out of range are found at 99 % and better, spikes of 0.7 to 20 K at 95 % while no door is open."""
    assert shared(found_stuck(opened, interval_s, 30, SOUND, 960, SUSPECT)) >= 0.99
    assert shared(found_stuck(opened, interval_s, 12, SOUND, 3660, FAIL)) >= 0.99
    assert shared(found_out_of_range(opened, interval_s, SOUND)) >= 0.99
    assert shared(found_dropouts(opened, interval_s, 60, SOUND)) >= 0.99
    calm = Room.watched(6, 0.0, {p: PROBES[p] for p in SOUND}, seed=2)
    assert shared(found_spikes(calm, interval_s, 60, SOUND, (0.7, 1.0, 2.0, 5.0, 20.0))) >= 0.95


def shared(found: tuple[int, int]) -> float:
    """The share that was found."""
    return found[0] / found[1]


# Healthy sensors in quiet rooms, and after how many hours one that is stuck there from day 3.55 on is found. With what the rules
# said before a probe's stillness was learnt these were doubtful or failed up to 11 times.
QUIET = [
    ("office", "tenths, 1 min", 1.5),
    ("office", "mean of four tenths, 1 min", 0.5),
    ("office", "sixteenths, 1 min", 3.5),
    ("office", "whole percents, 30 s", 5.5),
    ("office", "halves and whole percents, 5 min", 15.5),
    ("cellar", "tenths, 1 min", 1.5),
    ("cellar", "mean of four tenths, 1 min", 0.5),
    ("cellar", "sixteenths, 1 min", 12.0),
    ("cellar", "whole percents, 30 s", 12.5),
    ("brooder", "tenths, 1 min", 1.0),
    ("brooder", "mean of four tenths, 1 min", 0.5),
    ("thermostat", "tenths, 1 min", 2.5),
    ("cellar", "sixteenths, 5 min", 12.5),
    ("brooder", "sixteenths, 5 min", 12.5),
    ("store", "sixteenths, 5 min", 5.0),
    ("store", "halves and whole percents, 5 min", 12.5),
    ("machine", "whole percents, 30 s", 7.5),
    ("machine", "halves and whole percents, 5 min", 12.0),
    ("machine", "sixteenths, 5 min", 25.0),
]
# Once a week is over it is known for how long these stand still (day 10.1).
KNOWN = [("machine", "halves and whole percents, 5 min", 6.1), ("store", "halves and whole percents, 5 min", 3.6)]
# Air that stays within one step for days tells of no sensor whether it is stuck.
WITHIN_ONE_STEP = [
    (room, sensor)
    for room, sensors in {
        "thermostat": ("tenths without humidity, 1 min", "sixteenths, 1 min", "sixteenths, 5 min"),
        "cellar": ("tenths without humidity, 1 min", "halves and whole percents, 5 min"),
        "brooder": ("tenths without humidity, 1 min", "sixteenths, 5 min"),
    }.items()
    for sensor in sensors
] + [("thermostat", "halves and whole percents, 5 min")]


@pytest.mark.parametrize(("room", "sensor", "found_h"), QUIET)
def test_a_quiet_room_is_no_doubtful_sensor(room: str, sensor: str, found_h: float) -> None:
    """In two weeks a healthy sensor in a quiet room is called doubtful once a week at most, from the first week on, and never failed;
    stuck there, it is found in so many hours."""
    made = quiet_rooms.SENSORS[sensor]
    readings = quiet_rooms.record(room, made)
    found = quiet_rooms.doubts(readings, made.interval_s)
    assert max(quiet_rooms.weeks_of(found)) <= 1
    assert not [rule for rule, _ in found if rule == SENSOR_FAILED]
    after_s = quiet_rooms.stuck_after(readings[: len(readings) // 3], made.interval_s, 3.55 * quiet_rooms.DAY_S)
    assert after_s is not None
    assert after_s <= found_h * 3600.0


@pytest.mark.parametrize("seed", [5, 19])
def test_a_stillness_that_was_doubted_once_is_not_doubted_again_that_week(seed: int) -> None:
    """In offices where by each Wednesday what Monday had taught was forgotten, and the same was doubted twice within a week."""
    made = quiet_rooms.SENSORS[quiet_rooms.OFFICE]
    readings = quiet_rooms.record("office", made, 7.0, seed=seed)
    assert len(quiet_rooms.doubts(readings, made.interval_s)) == 1


@pytest.mark.parametrize(("room", "sensor", "found_h"), KNOWN)
def test_a_coarse_sensor_is_found_sooner_once_its_week_is_known(room: str, sensor: str, found_h: float) -> None:
    """By half as much again as the longest in that week in which neither quantity moved, in place of half a day."""
    made = quiet_rooms.SENSORS[sensor]
    after_s = quiet_rooms.stuck_after(quiet_rooms.record(room, made), made.interval_s, 10.1 * quiet_rooms.DAY_S)
    assert after_s is not None
    assert after_s <= found_h * 3600.0


@pytest.mark.parametrize(("room", "sensor"), WITHIN_ONE_STEP)
def test_air_that_stays_within_one_step_fails_no_sensor(room: str, sensor: str) -> None:
    """Two words in two weeks at most, and never that it failed; with what was said before, it was failed within the first day."""
    made = quiet_rooms.SENSORS[sensor]
    found = quiet_rooms.doubts(quiet_rooms.record(room, made), made.interval_s)
    assert [rule for rule, _ in found] in ([SENSOR_SUSPECT], [SENSOR_SUSPECT] * 2)


def test_a_probe_that_never_moved_may_have_coarse_steps() -> None:
    """From its first reading on at one value, a probe that has shown no step is judged like one of tenths: doubtful after 2¼ h."""
    found = told([(60.0 * i, 18.0, None) for i in range(200)], 60)
    assert next(i for i, a in enumerate(found) if a.flag == SUSPECT) == 135


def test_how_finely_a_probe_tells_is_half_a_kelvin_until_it_moved() -> None:
    """Of one that was never heard, whose temperature failed from the start, or that stood still; then it is the finest step that was seen."""
    assert [quality.step_k_of(trail) for trail in (None, Trail(), trail_of([(0.0, 37.5, 50.0)]))] == [0.5] * 3
    assert quality.step_k_of(trail_of([(0.0, 37.5, 50.0), (10.0, 37.5625, 50.0)])) == 0.0625


def test_a_probe_stands_still_from_its_fifteenth_equal_reading() -> None:
    """Only then is it held against the others of its machine; one without a temperature is held against nobody."""
    for readings, still in ((14, False), (15, True)):
        assert quality.stands_still(trail_of([(10.0 * n, 37.5, 50.0) for n in range(readings)])) is still
    assert not quality.stands_still(Trail())
    assert quality.among(Trail(), 37.5, 0.1) == Trail()


@pytest.mark.parametrize(("readings", "looked_at"), [(14, False), (15, True)])
def test_what_stands_still_is_held_against_what_moves_from_its_fifteenth_reading(
    readings: int, looked_at: bool
) -> None:
    """A temperature beside its humidity, and the other way round: each alone."""
    dry = trail_of([(10.0 * n, 37.5, 50.0 + n % 2) for n in range(readings)])
    humid = trail_of([(10.0 * n, 37.5 + 0.1 * (n % 2), 50.0) for n in range(readings)])
    for still, moves in ((dry.dry_bulb, dry.humidity), (humid.humidity, humid.dry_bulb)):
        assert (there(still).stillness.beside is not None) is looked_at
        assert there(moves).stillness.beside is None


def test_a_second_reading_of_an_instant_leaves_the_trail() -> None:
    """It is looked at by itself, whatever it says."""
    before = trail_of([(10.0 * n, 37.5, 50.0) for n in range(5)])
    after, found = assess(before, 40.0, 36.0, 50.0, interval_s=10.0)
    assert after is before
    assert found.flag == PASS
    assert assess(before, 40.1, 36.0, 50.0, interval_s=10.0)[0] is not before


def test_stillness_while_the_other_quantity_moves_is_the_rooms() -> None:
    """A temperature of hundredths that stood for an hour while its humidity moved is not doubtful for standing so again; nor is the
    humidity beside it, for as many times its own. Stuck, with both standing still, the sensor is found as soon as ever (7 times its usual stillness, 17 min)."""
    calm = then(lively(7200), *[(37.51, 55.0 + 0.1 * (i // 6 % 2)) for i in range(360)])
    again = then(calm, *[r[1:] for r in lively(600)], *[(37.51, 55.0 + 0.1 * (i // 6 % 2)) for i in range(360)])
    before, after = told(calm), told(again)
    assert ("FLAT-T", SUSPECT) in before[-1].tests
    assert ("FLAT-T", SUSPECT) not in after[-1].tests
    stuck = told(then(calm, *[r[1:] for r in lively(600)], *[(37.51, 55.0)] * 115))
    assert {("FLAT-T", SUSPECT), ("FLAT-H", SUSPECT)} <= set(stuck[-1].tests)


# --- by hand


def test_the_numbers_of_the_gross_range() -> None:
    """What no sensor in a hatching room can say, what chips say in place of a reading, and what a line says that is broken."""
    assert (quality.DRY_BULB_C_FAIL, quality.RH_PCT_FAIL, quality.DRY_BULB_C_SUSPECT) == (
        DRY_BULB_C_FAIL,
        RH_PCT_FAIL,
        DRY_BULB_C_SUSPECT,
    )
    assert quality.SENTINELS_C == SENTINELS_C
    assert quality.LINE_FAULTS_C == (0.0, -0.0625, -0.06)


@pytest.mark.parametrize("fault_c", [0.0, -0.0625, -0.06])
@pytest.mark.parametrize(("before_c", "rh_pct", "flags"), [(5.0, 50.0, (SUSPECT, PASS)), (5.1, 50.0, (FAIL, PASS)), (None, 50.0, (FAIL, PASS)), (1.0, 0.0, (FAIL, FAIL)), (1.0, 0.1, (SUSPECT, PASS)), (1.0, None, (SUSPECT, MISSING))])  # fmt: skip
def test_a_broken_line_and_frost(
    fault_c: float, before_c: float | None, rh_pct: float | None, flags: tuple[int, int]
) -> None:
    """What a line held low says fails from a probe that was warmer than 5 °C, or never heard, or says a humidity of nothing too."""
    trail = Trail() if before_c is None else trail_of([(0.0, before_c, 50.0)])
    found = assess(trail, 1000.0, fault_c, rh_pct, interval_s=10.0)[1]
    assert (found.dry_bulb_flag, found.rh_flag) == flags


@pytest.mark.parametrize(("rh_pct", "flag"), [(0.0, PASS), (104.0, PASS), (104.1, FAIL), (-0.1, FAIL)])
def test_a_humidity_is_looked_at_by_itself_where_the_temperature_is_odd(rh_pct: float, flag: int) -> None:
    """At 60 °C something is wrong with machine or sensor; what its humidity can say is as ever from nothing to a little over saturation."""
    found = assess(Trail(), 1000.0, 60.0, rh_pct, interval_s=10.0)[1]
    assert (found.dry_bulb_flag, found.rh_flag) == (SUSPECT, flag)
    assert found.flag == max(SUSPECT, flag)  # of all that stands against it the worst


def marked(since_s: float = 0.0, event_s: float | None = None) -> Trail:
    """A probe at 37.5 °C and 55 % that was heard 30 s ago and at second 30."""
    begun = trail_of([(since_s, 37.5, 55.0), (since_s + 30.0, 37.5, 55.0)])
    return replace(begun, event_s=event_s)


def rated(c: float, pct: float, *, event_s: float | None = None) -> tuple[set[str], float | None]:
    """The rates that are doubted when a probe that never jumps comes to that within a minute, and when air last moved then."""
    wide = replace(LIMITS, dry_bulb=replace(LIMITS.dry_bulb, jump=99.0), humidity=replace(LIMITS.humidity, jump=99.0))
    trail, found = assess(marked(event_s=event_s), 60.0, c, pct, interval_s=10.0, limits=wide)
    return {test for test, flag in found.tests if test.startswith("ROC") and flag == SUSPECT}, trail.event_s


@pytest.mark.parametrize(
    ("moved_k", "moved_pct", "event_s", "doubted", "later_s"),
    [
        (2.5, 0.0, None, set(), None),  # 5 K a minute, from the mark half a minute ago
        (2.51, 0.0, None, {"ROC-T"}, None),
        (2.51, -2.52, None, set(), None),  # the humidity answers
        (2.51, -2.5, None, {"ROC-T"}, None),
        (2.51, 2.52, None, set(), None),
        (-0.29, 0.0, None, set(), None),
        (-0.31, 0.0, None, set(), 60.0),  # what falls may be a door
        (-9.0, 0.0, None, set(), 60.0),
        (0.0, 15.0, None, set(), None),  # 30 %RH a minute up
        (0.0, 15.1, None, {"ROC-H"}, None),
        (0.0, -5.0, None, set(), None),  # 10 %RH a minute down
        (0.0, -5.1, None, {"ROC-H"}, None),
        (0.05, -5.1, None, set(), None),  # with an answer of 0.008 K a %RH
        (0.04, -5.1, None, {"ROC-H"}, None),
        (-0.05, -5.1, None, set(), None),
        (9.0, 0.0, 0.0, set(), 60.0),  # air that was exchanged comes home, and still moves
        (0.29, 2.9, 0.0, set(), 0.0),
        (0.0, -3.0, 0.0, set(), 60.0),
        (0.31, 0.0, 0.0, set(), 60.0),
        (9.0, 0.0, -540.0, set(), 60.0),  # for ten minutes
        (9.0, 0.0, -541.0, {"ROC-T"}, -541.0),
    ],
)
def test_what_moves_too_fast_for_air(
    moved_k: float, moved_pct: float, event_s: float | None, doubted: set[str], later_s: float | None
) -> None:
    """Faster than any air, and without the other quantity's answer; not where air was exchanged within ten minutes."""
    assert rated(37.5 + moved_k, 55.0 + moved_pct, event_s=event_s) == (doubted, later_s)


@pytest.mark.parametrize(("pct", "doubted"), [(99.0, {"ROC-T", "ROC-H"}), (99.5, {"ROC-H"})])
def test_of_saturated_air_no_answer_is_asked(pct: float, doubted: set[str]) -> None:
    """Over 99 % a humidity cannot follow."""
    trail = replace(trail_of([(0.0, 37.5, pct - 2.0), (30.0, 37.5, pct - 2.0)]))
    wide = replace(LIMITS, dry_bulb=replace(LIMITS.dry_bulb, jump=99.0))
    found = assess(trail, 60.0, 41.0, pct, interval_s=10.0, limits=wide)[1]
    assert {test for test, _ in found.tests} == doubted - {"ROC-H"}


def test_a_rate_is_taken_over_half_a_minute_and_more() -> None:
    """A mark is left each thirty seconds; the rate is from the one before the newest."""
    trail = trail_of([(0.0, 37.5, 55.0), (29.0, 37.51, 55.0)])
    assert (trail.mark, trail.newer_mark) == (None, (0.0, 37.5, 55.0))
    trail = trail_of([(0.0, 37.5, 55.0), (30.0, 37.51, 55.0)])
    assert (trail.mark, trail.newer_mark) == ((0.0, 37.5, 55.0), (30.0, 37.51, 55.0))
    dry = trail_of([(0.0, 37.5, 55.0), (30.0, 37.51, None)])
    assert (dry.mark, dry.newer_mark) == (None, (0.0, 37.5, 55.0))


@pytest.mark.parametrize(
    ("moved_k", "moved_pct", "together"),
    [
        (-0.6, -5.5, True),
        (-0.16, -5.5, True),  # half of what an event is
        (-0.14, -5.5, False),
        (-0.6, -1.5, True),
        (-0.6, -1.4, False),
        (-2.0, -2.0, True),  # a %RH for each K
        (-2.0, -1.9, False),
        (0.6, -5.5, False),
        (-0.6, 5.5, False),
        (-0.6, None, None),
    ],
)
def test_a_jump_that_is_a_doors(moved_k: float, moved_pct: float | None, together: bool | None) -> None:
    """Both fall, the humidity by far; of a probe without one nobody can say."""
    start = [(0.0, 37.5, None if moved_pct is None else 55.0)]
    sharp = replace(LIMITS, dry_bulb=replace(LIMITS.dry_bulb, jump=0.1))
    trail = assess(
        trail_of(start),
        10.0,
        37.5 + moved_k,
        None if moved_pct is None else 55.0 + moved_pct,
        interval_s=10.0,
        limits=sharp,
    )[0]
    assert trail.together is together


@pytest.mark.parametrize(("odd", "lasts"), [(4.99, True), (5.0, False), (99.0, False), (99.01, True)])
def test_where_the_ends_of_a_humiditys_scale_begin(odd: float, lasts: bool) -> None:
    """Under 5 % and over 99 %; suspect from the thirtieth minute there."""
    trail = trail_of([(0.0, 37.5, odd)])
    assert (trail.odd_since_s == 0.0) is lasts
    assert (trail.odd_since_s is None) is not lasts
    if lasts:
        for at_s, flag in ((1799.0, PASS), (1800.0, SUSPECT)):
            assert assess(trail, at_s, 37.5, odd, interval_s=600.0)[1].rh_flag == flag


@pytest.mark.parametrize(("readings", "told_"), [(14, False), (15, True)])
def test_fewer_than_fifteen_equal_readings_come_by_chance(readings: int, told_: bool) -> None:
    """However long they took."""
    found = told([(200.0 * i, 37.5, None) for i in range(readings)], 100.0)[-1]
    assert (found.flag == SUSPECT) is (told_ and 200.0 * (readings - 1) >= 8100.0)
    fine = [(0.0, 37.51, None), *[(200.0 * (i + 1), 37.5, None) for i in range(readings)]]
    assert (told(fine, 100.0)[-1].flag == SUSPECT) is told_


@pytest.mark.parametrize(("spikes", "flag"), [(3.0, PASS), (3.01, SUSPECT)])
def test_more_than_three_spikes_an_hour_are_doubted(spikes: float, flag: int) -> None:
    """Three are nothing."""
    trail = trail_of(lively(600))
    assert trail.dry_bulb is not None
    trail = replace(trail, dry_bulb=replace(trail.dry_bulb, spikes=spikes * 360.0 / 359.0))
    assert assess(trail, 600.0, 37.5, 55.0, interval_s=10.0)[1].flag == flag


@pytest.mark.parametrize(("interval_s", "gap_s"), [(10.0, 60.0), (20.0, 60.0), (30.0, 90.0)])
def test_what_is_no_neighbour(interval_s: float, gap_s: float) -> None:
    """Three intervals, and at least a minute."""
    for after_s, held in ((gap_s, True), (gap_s + 1.0, False)):
        assert assess(trail_of([(0.0, 37.5, None)]), after_s, 39.0, None, interval_s=interval_s)[1].held is held


def test_what_an_answer_is_made_of() -> None:
    """The worst of a quantity's tests is its flag; a held one, doubted or failed, is not fit."""
    well = Assessment(PASS, (), PASS, MISSING)
    assert (well.held, well.dry_bulb_fit, well.rh_fit) == (False, True, False)
    assert Assessment(SUSPECT, (), SUSPECT, SUSPECT).dry_bulb_fit
    assert Assessment(SUSPECT, (), SUSPECT, SUSPECT).rh_fit
    for of in (Assessment(2, (), PASS, PASS, dry_bulb_held=True), Assessment(2, (), PASS, PASS, rh_held=True)):
        assert (of.held, of.dry_bulb_fit, of.rh_fit) == (True, not of.dry_bulb_held, not of.rh_held)
    assert not Assessment(FAIL, (), FAIL, FAIL).dry_bulb_fit
    assert not Assessment(FAIL, (), FAIL, FAIL).rh_fit


def test_a_leap_within_a_wide_swing_is_no_fault_and_is_known() -> None:
    """A machine swings by half a kelvin about its middle; a probe that comes off by 0.9 K at once goes no farther than the air does all the time:
    nothing is held, and that it leapt is known, for another probe may have stood still. No turn of the swing is a leap."""
    trail, leaps = Trail(), 0
    for n in range(1200):
        value = 37.5 + 0.5 * math.sin(n / 4.0)
        trail, found = assess(trail, 30.0 * n, round(value, 2), 55.0, interval_s=30.0)
        leaps += leapt(trail)
        assert not found.held
    assert leaps == 0
    last = 37.5 + 0.5 * math.sin(1199 / 4.0)
    off_k = 0.9 if last < 37.5 else -0.9
    trail, found = assess(trail, 30.0 * 1200, round(last + off_k, 2), 55.0, interval_s=30.0)
    assert not found.dry_bulb_held
    assert leapt(trail)
    trail, _ = assess(trail, 30.0 * 1201, round(last + off_k, 2), 55.0, interval_s=30.0)
    assert not leapt(trail)
    assert not leapt(None)


def test_what_goes_on_as_it_went_is_no_leap() -> None:
    """Calm air that begins to rise: the second step is farther than one reading goes, and beyond what this machine ever swings by; it is believed,
    for it goes on as the first did, and is no sensor that came off."""
    trail = trail_of(then(lively(7200.0), (37.9, 55.0)))
    dry = there(trail.dry_bulb)
    risen, found = assess(trail, dry.mono_s + 10.0, 38.5, 55.0, interval_s=10.0)
    assert not found.dry_bulb_held
    assert not leapt(risen)
    wide = replace(dry, swing=0.5)  # where the air goes there all the time, it may be one
    risen, found = assess(replace(trail, dry_bulb=wide), dry.mono_s + 10.0, 38.5, 55.0, interval_s=10.0)
    assert not found.dry_bulb_held
    assert leapt(risen)
    unknown = replace(there(risen.dry_bulb), middle=None)
    assert not leapt(replace(risen, dry_bulb=unknown))
