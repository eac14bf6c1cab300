"""What the eggs in a machine need at an instant."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct, wet_bulb_c
from monitor.domain.needs.bands import (
    RH,
    SENSOR_ERROR_K,
    SENSOR_ERROR_RH_PCT,
    SENSOR_ERROR_WET_K,
    WET_BULB,
    Needs,
    derived_rh,
    needs_of,
)
from monitor.domain.needs.batch import Batch, closed, declared, moved
from monitor.domain.needs.profile import Band, Stage
from monitor.domain.needs.rules import LOCKDOWN_OVERDUE
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import from_ms
from tests.domain.house import (
    DRY_RH,
    DRY_WET,
    MACHINES,
    MOIST_RH,
    MOIST_WET,
    PROFILES,
    RULES,
    T0,
    WARM,
    batch,
    profile,
    site,
    there,
)

REFERENCE = Path(__file__).parents[2] / "reference"
SITE = site()
ALONE = site(machines={id_: machine for id_, machine in MACHINES.items() if id_ != "hatcher-1"})


def needs(*batches: Batch, machine: str = "setter-1", hours: float = 0.0, at: Site = SITE) -> Needs:
    return needs_of(MACHINES[machine], batches, at, at=T0 + timedelta(hours=hours))


def settle_hours(where: Site = SITE) -> float:
    return where.settle_s / 3600.0


def test_an_empty_machine_needs_nothing() -> None:
    """No batch, a batch elsewhere and a closed batch: no band at all, and nothing will change by itself."""
    assert needs() == Needs("setter-1")
    assert needs(batch(machine="hatcher-1")) == Needs("setter-1")
    assert needs(closed(batch(), T0)) == Needs("setter-1")
    assert needs(batch(machine=None)) == Needs("setter-1")


def test_one_batch_has_the_bands_of_its_stage() -> None:
    """On day 5 the setter's bands hold, and they hold until day 18."""
    found = needs(batch(day=5.0))
    assert (found.dry_bulb_c, found.rh_pct, found.wet_bulb_c) == (WARM, DRY_RH, None)
    assert found.valid_until == T0 + timedelta(days=13)
    assert found.humidity == (RH, DRY_RH)
    assert (found.occupants[0].day, found.occupants[0].stage) == (5.0, "setter")


def test_wet_bulb_stays_wet_bulb() -> None:
    """A profile that gives wet bulb is judged by wet bulb when it is alone."""
    assert needs(batch(profile_id="wet-hen")).humidity == (WET_BULB, DRY_WET)


def test_several_batches_need_the_intersection() -> None:
    """Two batches that agree by halves: every low limit is the higher one, every high limit the lower one, in either order."""
    other = profile("other", Band(35.0, 42.0, 46.0, 48.0, 70.0), MOIST_RH, warm=Band(36.5, 37.2, 37.4, 37.9, 39.5))
    shared = site(profiles={**PROFILES, "other": other})
    pair = batch(), batch("other-1", "other")
    found = needs(*pair, at=shared)
    assert found.dry_bulb_c == Band(36.5, 37.2, 37.4, 37.9, 39.0)
    assert found.rh_pct == Band(35.0, 42.0, 45.0, 48.0, 60.0)
    assert found.conflict == ()
    swapped = needs(*reversed(pair), at=shared)
    assert (swapped.dry_bulb_c, swapped.rh_pct) == (found.dry_bulb_c, found.rh_pct)


def test_temperatures_that_do_not_meet_are_a_conflict() -> None:
    """Eggs that cannot share a machine: the conflict is named, only what is out of both bands is warned of, the strictest limit of heat stands, and
    the humidity they agree on is still judged."""
    found = needs(batch(), batch("cold-1", "cold-bird"))
    assert found.conflict == ("temperature",)
    assert found.dry_bulb_c == Band(33.0, 35.0, None, 38.0, 38.5)
    assert found.rh_pct == DRY_RH


def test_the_strictest_heat_limit_stands_even_below_the_other_birds_low_limit() -> None:
    """When one bird's heat limit lies under every low limit, the heat limit stands and the low one goes."""
    icy = profile("icy", DRY_RH, MOIST_RH, warm=Band(30.0, 31.0, 31.5, 32.0, 33.0))
    hot = profile("hot", DRY_RH, MOIST_RH, warm=Band(36.0, 37.0, 37.5, 38.0, 39.0))
    both = site(profiles={"icy": icy, "hot": hot})
    found = needs(batch("a", "icy"), batch("b", "hot"), at=both)
    assert found.dry_bulb_c == Band(low_alarm=30.0, low_warning=31.0, high_alarm=33.0)
    only_high = replace(
        icy, stages=tuple(replace(s, dry_bulb_c=Band(None, None, 31.5, None, 33.0)) for s in icy.stages)
    )
    found = needs(batch("a", "icy"), batch("b", "hot"), at=site(profiles={"icy": only_high, "hot": hot}))
    assert found.dry_bulb_c == Band(high_alarm=33.0)


def test_humidities_that_do_not_meet_are_a_conflict() -> None:
    """A hen and a desert bird agree on warmth but not on humidity: only what is out of both bands is judged meanwhile."""
    found = needs(batch(), batch("d-1", "desert-bird"))
    assert found.conflict == ("humidity",)
    assert found.dry_bulb_c == WARM
    assert found.rh_pct == Band(10.0, 20.0, None, 50.0, 60.0)


def test_a_conflict_of_a_low_limit_only_and_a_high_limit_only_does_not_fail() -> None:
    """One bird has only a low humidity limit, the other only a high one below it: nothing is out of both, and nothing breaks."""
    wet = profile("wet", Band(low_alarm=60.0), MOIST_RH)
    dry = profile("dry", Band(high_alarm=40.0), MOIST_RH)
    found = needs(batch("a", "wet"), batch("b", "dry"), at=site(profiles={"wet": wet, "dry": dry}))
    assert found.conflict == ("humidity",)
    assert found.rh_pct == Band()


def test_relative_humidity_and_wet_bulb_are_brought_together() -> None:
    """Beside a bird given as RH, a wet-bulb bird is judged by the RH of its wet bulb at the shared temperature target."""
    found = needs(batch(), batch("w-1", "wet-hen"))
    derived = Band(**{n: rh_from_wet_bulb_pct(37.5, v, SITE.pressure_kpa) for n, v in DRY_WET.limits()})
    assert found.wet_bulb_c is None
    assert found.rh_pct == DRY_RH.intersect(derived)
    assert found.rh_pct is not None


def test_a_mixed_pair_that_cannot_share_the_temperature_still_has_a_humidity() -> None:
    """Without a shared temperature target the wet bulb is turned at its own bird's target."""
    cold = profile("cold-wet", DRY_WET, MOIST_WET, wet=True, warm=Band(33.0, 35.0, 35.5, 36.0, 38.5))
    found = needs(batch(), batch("c", "cold-wet"), at=site(profiles={**PROFILES, "cold-wet": cold}))
    assert "temperature" in found.conflict
    assert found.rh_pct is not None
    assert found.wet_bulb_c is None


@pytest.mark.parametrize("dry_bulb_c", [20.0, 37.5, 50.0, 60.0, 75.0, 80.0])
@given(st.lists(st.floats(5.0, 45.0), min_size=5, max_size=5))
@settings(max_examples=50, deadline=None)
def test_a_wet_bulb_band_has_a_relative_humidity_at_any_temperature(dry_bulb_c: float, limits: list[float]) -> None:
    """In a machine that is far too hot, or cold, the derived band is still one, from 0 to 100 % and in order; an exception there
    would end the engine while the heater is stuck on."""
    derived = derived_rh(Band(*sorted(limits)), dry_bulb_c, SITE.pressure_kpa)
    values = [v for _, v in derived.limits()]
    assert values == sorted(values)
    assert 0.0 <= values[0] <= values[-1] <= 100.0


def test_still_air_lies_higher() -> None:
    """In a still-air machine the dry-bulb band is shifted by the profile's offset; the humidity band is not."""
    found = needs(batch(machine="still-1"), machine="still-1")
    assert found.dry_bulb_c == WARM.shifted(1.0)
    assert found.rh_pct == DRY_RH
    unsaid = site(profiles={"hen": replace(PROFILES["hen"], still_air_offset_k=None)})
    assert needs(batch(machine="still-1"), machine="still-1", at=unsaid).dry_bulb_c == WARM


def test_a_profile_that_is_gone_is_said() -> None:
    """Eggs whose profile is not known are named, and the others are judged as if alone."""
    lost = batch("lost-1", "dodo")
    assert needs(lost) == Needs("setter-1", missing=("lost-1",))
    both = needs(lost, batch())
    assert both.missing == ("lost-1",)
    assert both.dry_bulb_c == WARM
    assert [each.batch for each in both.occupants] == ["hen-1"]


# Settling after lockdown.


def test_lockdown_by_day_settles_for_an_hour() -> None:
    """From day 18, where the eggs stay in their only machine, the lockdown band holds, its low limits eased to the setter's for the settling time,
    and then in full."""
    due = batch(day=18.0)
    before, during, after = (needs(due, hours=hours, at=ALONE) for hours in (-0.01, 0.0, settle_hours()))
    assert before.rh_pct == DRY_RH
    assert before.valid_until == T0
    assert before.settling_until is None
    assert during.rh_pct == replace(MOIST_RH, low_alarm=DRY_RH.low_alarm, low_warning=DRY_RH.low_warning)
    assert during.settling_until == during.valid_until == T0 + timedelta(seconds=SITE.settle_s)
    assert after.rh_pct == MOIST_RH
    assert after.settling_until is None
    assert after.valid_until is None
    assert after.occupants[0].lockdown_since == T0


@pytest.mark.parametrize(("grace_days", "hours"), [(0.5, 12.0), (None, 12.0), (1.0, 24.0), (0.0, 1.0), (5.0, 48.0)])
def test_eggs_that_are_to_be_moved_have_the_time_of_moving(grace_days: float | None, hours: float) -> None:
    """Where there is a hatcher the eggs are late for it half a day after their day, or when the house says, and their air is low no sooner; at the
    latest on the first normal day of their hatch, here the twentieth."""
    rules = {**RULES, LOCKDOWN_OVERDUE: replace(RULES[LOCKDOWN_OVERDUE], limit=grace_days)}
    due, house = batch(day=18.0), site(rules=rules)
    during, after = (needs(due, hours=at, at=house) for at in (hours - 0.01, hours))
    assert during.rh_pct == replace(MOIST_RH, low_alarm=DRY_RH.low_alarm, low_warning=DRY_RH.low_warning)
    assert (during.occupants[0].settling, during.valid_until) == (True, T0 + timedelta(hours=hours))
    assert during.settling_until is None  # nobody is told that the humidity may rise where it is not to be raised
    assert (after.rh_pct, after.occupants[0].settling) == (MOIST_RH, False)
    assert (during.occupants[0].move_by, after.occupants[0].move_by) == (T0 + timedelta(hours=hours), None)


@pytest.mark.parametrize(
    ("house", "inside", "machine", "hours"),
    [
        ("alone", (batch(day=18.0),), "setter-1", 1.0),  # stays where it is
        ("alone", (batch(day=18.0), batch("young", day=3.0)), "setter-1", 12.0),  # away from others that want it dry
        ("alone", (batch(day=18.0), batch("as-old", day=18.0)), "setter-1", 1.0),
        ("hatcher", (moved(batch(day=18.0), "hatcher-1", T0),), "hatcher-1", 1.0),  # is where it belongs
        ("hatcher", (declared(batch(day=18.0), "lockdown", T0),), "setter-1", 1.0),  # somebody has the eggs in hand
    ],
)
def test_whose_first_act_is_moving(house: str, inside: tuple[Batch, ...], machine: str, hours: float) -> None:
    """Half a day where the calendar alone began it and the eggs should be elsewhere; else the hour in which air can follow."""
    at = ALONE if house == "alone" else SITE
    first = [needs(*inside, machine=machine, hours=each, at=at).occupants[0] for each in (hours - 0.01, hours)]
    assert [each.settling for each in first] == [True, False]
    to_move = hours > settle_hours(at)
    assert first[0].move_by == (T0 + timedelta(hours=hours) if to_move else None)


def test_lockdown_by_declaration_settles_from_then() -> None:
    """A pip seen on day 16 is lockdown at once, and the settling time counts from it."""
    early = declared(batch(day=16.0), "lockdown", T0)
    found = needs(early)
    assert found.occupants[0].stage == "lockdown"
    assert found.occupants[0].lockdown_since == T0
    assert found.settling_until == T0 + timedelta(seconds=SITE.settle_s)
    assert needs(early, hours=settle_hours() + 0.01).rh_pct == MOIST_RH


def test_a_late_move_into_the_hatcher_settles_from_the_move() -> None:
    """Eggs moved on day 19, a day after lockdown began, give the hatcher its settling time from the move."""
    late = moved(batch(day=19.0), "hatcher-1", T0)
    found = needs(late, machine="hatcher-1", hours=0.5)
    assert found.occupants[0].lockdown_since == T0
    assert found.settling_until == T0 + timedelta(seconds=SITE.settle_s)
    assert needs(late, machine="hatcher-1", hours=settle_hours()).settling_until is None


def test_only_like_eases_like() -> None:
    """Where setter and lockdown give different kinds of humidity, the lockdown limits hold at once."""
    mixed = replace(
        PROFILES["hen"],
        stages=(Stage("setter", 0.0, WARM, rh_pct=DRY_RH), Stage("lockdown", 18.0, WARM, wet_bulb_c=MOIST_WET)),
    )
    found = needs(batch(day=18.0), at=replace(ALONE, profiles={"hen": mixed}))
    assert found.wet_bulb_c == MOIST_WET
    assert found.settling_until is not None


def test_a_batch_that_settles_does_not_excuse_another() -> None:
    """Eggs that came in a minute ago are settling; the ones whose lockdown began yesterday are not."""
    old, new = batch("old", day=19.0), moved(batch("new", machine="hatcher-1", day=18.5), "setter-1", T0)
    found = needs(old, new, hours=0.1)
    assert {o.batch: o.settling for o in found.occupants} == {"old": False, "new": True}
    assert found.rh_pct is not None
    assert found.rh_pct.low_warning == MOIST_RH.low_warning


# A clock that is wrong.


@pytest.mark.parametrize("back", [timedelta(minutes=5), timedelta(hours=3), timedelta(days=2), timedelta(days=20_000)])
def test_eggs_do_not_vanish_with_the_clock(back: timedelta) -> None:
    """A board that wakes minutes, days or decades ago still knows the eggs that were put into the machine, and which machine."""
    eggs = moved(batch(day=5.0), "hatcher-1", T0)
    there = needs_of(MACHINES["hatcher-1"], [eggs], SITE, at=T0 - back)
    assert there.dry_bulb_c == WARM
    assert there.occupants[0].day == 5.0
    assert needs_of(MACHINES["setter-1"], [eggs], SITE, at=T0 - back) == Needs("setter-1")
    assert needs_of(MACHINES["hatcher-1"], [closed(eggs, T0)], SITE, at=T0 - back) == Needs("hatcher-1")
    kept = moved(batch(machine=None, day=5.0), "hatcher-1", T0)  # set on paper, put in five days later
    assert needs_of(MACHINES["hatcher-1"], [kept], SITE, at=T0 - back).dry_bulb_c == WARM


def test_a_clock_that_went_far_back_does_not_make_the_settling_long() -> None:
    """With the clock days behind, low humidity after lockdown is not expected for days: it is judged at once."""
    late = moved(batch(day=19.0), "hatcher-1", T0)
    found = needs(late, machine="hatcher-1", hours=-48)
    assert found.settling_until is None
    assert found.rh_pct == MOIST_RH
    near = needs(late, machine="hatcher-1", hours=-0.25)
    assert near.settling_until is not None


# valid_until.

SPANS = st.sampled_from([-3.0, 0.0, 5.0, 15.5, 17.9, 18.0, 18.02, 20.0])


@given(
    st.lists(st.tuples(st.sampled_from(sorted(PROFILES)), SPANS, st.booleans()), max_size=3),
    st.lists(st.floats(0.0, 1.0), min_size=1, max_size=8),
    st.sampled_from([0.0, -0.02, -0.5, -30.0]),
)
@settings(max_examples=200, deadline=None)
def test_needs_hold_until_valid_until(
    asked: list[tuple[str, float, bool]], shares: list[float], start_day: float
) -> None:
    """Nothing but the day count changes between an instant and its valid_until, and something does at it."""
    batches = []
    for n, (kind, day, early) in enumerate(asked):
        eggs = batch(f"b-{n}", kind, day=max(day, 0.0))
        batches.append(declared(eggs, "lockdown", eggs.set_at + timedelta(days=day / 2)) if early and day > 0 else eggs)
    at = T0 + timedelta(days=start_day)
    for _ in range(20):
        first = needs_of(MACHINES["setter-1"], batches, SITE, at=at)
        until = first.valid_until
        end = until or at + timedelta(days=400)
        assert at < end
        for share in shares:
            between = min(at + (end - at) * share, end - timedelta(milliseconds=1))
            assert _but_for_days(needs_of(MACHINES["setter-1"], batches, SITE, at=between)) == _but_for_days(first)
        if until is None:
            return
        assert _but_for_days(needs_of(MACHINES["setter-1"], batches, SITE, at=until)) != _but_for_days(first)
        at = until
    pytest.fail("the needs of a few batches change more than 20 times")


def _but_for_days(found: Needs) -> Needs:
    return replace(found, occupants=tuple(replace(o, day=0.0) for o in found.occupants))


def test_the_instant_of_a_stage_has_the_new_stage() -> None:
    """At valid_until itself, to the millisecond that a clock can tell, the new bands hold: no tick falls between."""
    odd = replace(batch(day=5.0), set_at=from_ms(1_772_345_678_901))
    odd = replace(odd, stays=(replace(odd.stays[0], since=odd.set_at),))
    first = needs_of(MACHINES["setter-1"], [odd], SITE, at=odd.set_at + timedelta(days=5))
    assert first.valid_until == odd.set_at + timedelta(days=18)
    assert needs_of(MACHINES["setter-1"], [odd], SITE, at=first.valid_until).occupants[0].stage == "lockdown"


def test_a_clock_that_went_back_is_caught_up_with() -> None:
    """With the label far before a lockdown that was declared, low humidity is not expected yet, and is from so long before it as it
    would be after it."""
    locked = batch(day=18.0, declared=[("lockdown", 18.0)])
    settle = timedelta(hours=settle_hours())
    early = needs(locked, hours=-3.0 * settle_hours())
    assert (early.occupants[0].stage, early.occupants[0].settling) == ("lockdown", False)
    assert early.valid_until == T0 - settle
    there = needs(locked, hours=-settle_hours())
    assert there.occupants[0].settling
    assert there.valid_until == T0 + settle


def errors() -> dict[str, float]:
    """What the sensors may err by, typical, of the SHT40, from its data sheet."""
    with (REFERENCE / "sensors" / "errors.csv").open(newline="", encoding="utf-8") as file:
        row = next(r for r in csv.DictReader(file) if r["sensor"].startswith("SHT40"))
    return {name: float(row[name]) for name in ("dry_bulb_k", "rh_pct")}


def test_the_sensors_errors_are_those_of_their_data_sheet() -> None:
    """0.2 K and 1.8 %RH of an SHT40; of a wet bulb what both come to at 37.5 °C and 50 %: 0.4 K."""
    assert errors() == {"dry_bulb_k": SENSOR_ERROR_K, "rh_pct": SENSOR_ERROR_RH_PCT}
    at = wet_bulb_c(37.5, 50.0, 101.325)
    by_rh = wet_bulb_c(37.5, 50.0 + SENSOR_ERROR_RH_PCT, 101.325) - at
    by_k = wet_bulb_c(37.5 + SENSOR_ERROR_K, 50.0, 101.325) - at
    assert round(math.hypot(by_rh, by_k), 1) == SENSOR_ERROR_WET_K


@pytest.mark.parametrize(("common_k", "agreed"), [(0.0, False), (0.1, False), (0.2, False), (0.21, True), (0.5, True)])
def test_no_more_in_common_than_the_sensors_err_by_is_a_conflict(common_k: float, agreed: bool) -> None:
    """One point, or 0.2 K at most: nobody can hold a machine there, so the eggs cannot share it."""
    cool = profile("cool", DRY_RH, MOIST_RH, warm=Band(35.0, 36.0, 36.5, 37.0 + common_k, 38.5))
    found = needs(batch(), batch("cool-1", "cool"), at=site(profiles={**PROFILES, "cool": cool}))
    assert found.conflict == (() if agreed else ("temperature",))
    assert (found.dry_bulb_c == Band(35.0, 36.0, None, 38.0, 38.5)) is not agreed


@pytest.mark.parametrize(("common_pct", "agreed"), [(0.0, False), (1.8, False), (1.9, True)])
def test_the_same_of_humidity(common_pct: float, agreed: bool) -> None:
    """No more than 1.8 %RH in common, as the 60 to 60 % of a bird in lockdown beside eggs that want it dry."""
    damp = profile("damp", Band(40.0, 50.0 - common_pct, 60.0, 70.0, 80.0), MOIST_RH)
    found = needs(batch(), batch("damp-1", "damp"), at=site(profiles={**PROFILES, "damp": damp}))
    assert found.conflict == (() if agreed else ("humidity",))


@pytest.mark.parametrize(("common_k", "agreed"), [(0.4, False), (0.41, True)])
def test_the_same_of_the_wet_bulb(common_k: float, agreed: bool) -> None:
    """0.4 K at most."""
    damp = profile("damp", Band(25.0, 29.0 - common_k, 30.0, 31.0, 33.0), MOIST_WET, wet=True)
    house = site(profiles={**PROFILES, "damp": damp})
    assert needs(batch("w-1", "wet-hen"), batch("damp-1", "damp"), at=house).conflict == (
        () if agreed else ("humidity",)
    )


def test_temperature_settles_too() -> None:
    """A parrot's internal pip: for the hour the warmer air of its setter is right as well, its limits of danger are the hatcher's; then only that."""
    shipped = site(profiles=load_profiles(None))
    grey = shipped.profiles["african-grey"]
    before, after = (there(stage.dry_bulb_c) for stage in grey.stages[:2])
    late = declared(batch("grey-1", "african-grey", day=26.0), "lockdown", T0)
    assert needs(late, at=shipped).dry_bulb_c == replace(after, high_warning=before.high_warning)
    assert needs(late, at=shipped, hours=settle_hours()).dry_bulb_c == after


@pytest.mark.parametrize("one", ["galah", "cockatiel", "african-grey"])
def test_parrots_in_setter_and_lockdown_are_not_warned_at_their_own_temperature(one: str) -> None:
    """37.2 °C is both the setter's of a parrot and the highest of its hatcher (NSW-SP): 0.2 K in common, which is a conflict, and what suits either
    of them is not warned of."""
    shipped = site(profiles=load_profiles(None))
    inside = declared(batch("late", one, day=21.0), "lockdown", T0), batch("young", "galah", day=3.0)
    assert needs(*inside, at=shipped, hours=0.5).conflict == ()  # there is an hour to move them
    found = needs(*inside, at=shipped, hours=2.0)
    assert found.conflict == ("temperature", "humidity")
    low, high = there(found.dry_bulb_c).calm
    assert there(low) <= 36.7
    assert there(high) >= 37.4


def test_a_narrow_band_by_itself_is_no_conflict() -> None:
    """A profile of somebody's own that allows 0.1 K: two batches of it agree, and one is judged as ever."""
    narrow = profile("narrow", DRY_RH, MOIST_RH, warm=Band(36.0, 37.4, 37.45, 37.5, 39.0))
    house = site(profiles={**PROFILES, "narrow": narrow})
    one, two = batch("n-1", "narrow"), batch("n-2", "narrow")
    for found in (needs(one, at=house), needs(one, two, at=house)):
        assert (found.conflict, found.dry_bulb_c) == ((), narrow.stages[0].dry_bulb_c)


def test_a_hen_and_a_goose_have_one_point_in_common() -> None:
    """Hens 37.5 °C and more, geese 37.5 °C and less, as their charts have it: no machine can be set to that."""
    shipped = site(profiles=load_profiles(None))
    hen, goose = (there(shipped.profiles[id_].stages[0].dry_bulb_c) for id_ in ("chicken", "goose"))
    assert there(hen.intersect(goose)).width < SENSOR_ERROR_K
    assert needs(batch("hen-1", "chicken"), batch("goose-1", "goose"), at=shipped).conflict == ("temperature",)


@pytest.mark.parametrize(
    ("kinds", "of_hens"),
    [((), False), (("fowl",), False), (("parrot",), True), (("fowl", "parrot"), True), (("fowl", None), True)],
)
def test_whose_deadly_heat_it_is(kinds: tuple[str | None, ...], of_hens: bool) -> None:
    """Of no eggs nobody says it; with one bird among them of which no source tells, it is said that it is known of hens alone."""
    birds = {f"bird-{n}": replace(PROFILES["hen"], id=f"bird-{n}", kind=kind) for n, kind in enumerate(kinds)}
    found = needs(*(batch(f"b-{id_}", id_) for id_ in birds), at=site(profiles=birds))
    assert found.of_hens is of_hens
    assert found.lethal_c == (40.6 if kinds else None)  # 105 °F, MSU-HMG
