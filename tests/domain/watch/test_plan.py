"""Needs turned into limits: what comes at which value, and where it goes again."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.needs.bands import Needs, Occupant
from monitor.domain.needs.profile import Band
from monitor.domain.needs.rules import NOT_RAISED
from monitor.domain.state.known import Limit, Plan
from monitor.domain.watch.plan import error_of, plan_of
from tests.domain.house import DRY_RH, DRY_WET, MOIST_RH, RULES, T0, WARM, probes, profile, site

# Written out: taken from the program, they would move with it.
BAND_SHARE = 0.25

SITE = site()
NONE: frozenset[str] = frozenset()


def limits(plan: Plan) -> dict[str, Limit]:
    return {limit.rule.id: limit for limit in plan.limits}


def occupant(name: str = "hen-1", *, due: bool = True, settling: bool = False) -> Occupant:
    return Occupant(name, "hen", 18.5, "lockdown", T0 if due else None, settling)


def test_an_empty_machine_has_no_limits() -> None:
    """Nothing is compared, nothing is awaited."""
    assert plan_of(Needs("setter-1"), SITE, NONE) == Plan(Needs("setter-1"), (), "", (), RULES)


def test_every_limit_of_a_band_is_compared() -> None:
    """Four limits a quantity, each at its value, on its side, by its rule."""
    found = limits(plan_of(Needs("setter-1", dry_bulb_c=WARM, rh_pct=DRY_RH), SITE, NONE))
    values = {name: (limit.quantity, limit.side, limit.limit) for name, limit in found.items()}
    assert values == {
        "dry-bulb-high-alarm": (0, 1, 39.0),
        "dry-bulb-high-warning": (0, 1, 38.0),
        "dry-bulb-low-warning": (0, -1, 37.0),
        "dry-bulb-low-alarm": (0, -1, 36.0),
        "humidity-high-alarm": (1, 1, 60.0),
        "humidity-high-warning": (1, 1, 52.5),  # 50 and 40, and 2.5 that a sensor may be off
        "humidity-low-warning": (1, -1, 37.5),
        "humidity-low-alarm": (1, -1, 30.0),
    }
    assert all(limit.key == ("setter-1", name) for name, limit in found.items())


def test_alarms_stand_before_their_warnings() -> None:
    """At one reading the alarm of a side begins first, so that its warning is not told beside it."""
    order = [limit.rule.id for limit in plan_of(Needs("setter-1", dry_bulb_c=WARM, rh_pct=DRY_RH), SITE, NONE).limits]
    for quantity in ("dry-bulb", "humidity"):
        for side in ("high", "low"):
            assert order.index(f"{quantity}-{side}-alarm") < order.index(f"{quantity}-{side}-warning")


def test_the_way_back_is_inside_the_limit() -> None:
    """An alarm goes at its limit less the rule's deadband, on the side of the band."""
    found = limits(plan_of(Needs("setter-1", dry_bulb_c=WARM, rh_pct=DRY_RH), SITE, NONE))
    assert found["dry-bulb-high-alarm"].back == pytest.approx(39.0 - RULES["dry-bulb-high-alarm"].deadband)
    assert found["dry-bulb-low-alarm"].back == pytest.approx(36.0 + RULES["dry-bulb-low-alarm"].deadband)
    assert found["humidity-low-warning"].back == pytest.approx(37.5 + RULES["humidity-low-warning"].deadband)


@pytest.mark.parametrize("band", [Band(36.0, 37.4, 37.5, 37.6, 39.0), Band(low_alarm=37.3, high_alarm=37.5), DRY_WET])
def test_a_deadband_leaves_room_in_the_band(band: Band) -> None:
    """However narrow the band, and whether it has warnings or alarms alone, every alarm can go: each way back is inside the other."""
    for needs in (Needs("setter-1", dry_bulb_c=band), Needs("setter-1", wet_bulb_c=band)):
        found = plan_of(needs, SITE, NONE).limits
        highest_low = max(limit.back for limit in found if limit.side < 0)
        lowest_high = min(limit.back for limit in found if limit.side > 0)
        assert highest_low <= lowest_high
        low, high = band.low_warning or band.low_alarm, band.high_warning or band.high_alarm
        assert low is not None
        assert high is not None
        assert all((limit.edge - limit.back) * limit.side <= BAND_SHARE * (high - low) + 1e-9 for limit in found)


def test_lockdown_humidity_is_awaited_once_the_settling_is_over() -> None:
    """Past the settling, and until it was reached once, low humidity is 'not raised' and the batch is named."""
    needs = Needs("setter-1", (occupant(),), WARM, MOIST_RH)
    awaited = plan_of(needs, SITE, NONE)
    assert awaited.awaited == ("hen-1",)
    assert limits(awaited)[NOT_RAISED].limit == 60.0 - RULES[NOT_RAISED].sensor_error
    order = [limit.rule.id for limit in awaited.limits]
    assert order.index(NOT_RAISED) < order.index("humidity-low-alarm")  # it begins first, and says it for both
    reached = plan_of(needs, SITE, frozenset({"hen-1"}))
    assert reached.awaited == ()
    assert NOT_RAISED not in limits(reached)


@pytest.mark.parametrize("who", [occupant(due=False), occupant(settling=True)])
def test_before_it_is_due_nothing_is_awaited(who: Occupant) -> None:
    """In the setter stage, and while the air settles, there is no 'not raised'."""
    plan = plan_of(Needs("setter-1", (who,), WARM, MOIST_RH, settling_until=T0 + timedelta(hours=1)), SITE, NONE)
    assert plan.awaited == ()
    assert NOT_RAISED not in limits(plan)


def test_one_batch_that_settles_does_not_end_the_wait_for_another() -> None:
    """With a newcomer settling, the batch whose humidity is overdue is still awaited, and it alone."""
    both = Needs("setter-1", (occupant("old"), occupant("new", settling=True)), WARM, MOIST_RH, settling_until=T0)
    assert plan_of(both, SITE, NONE).awaited == ("old",)


def test_a_band_without_a_low_warning_awaits_but_cannot_ask() -> None:
    """Without a low warning there is no value that counts as raised, so there is no such alarm."""
    plan = plan_of(Needs("setter-1", (occupant(),), WARM, Band(high_warning=80.0)), SITE, NONE)
    assert NOT_RAISED not in limits(plan)


def test_only_one_humidity_is_judged() -> None:
    """The plan names the quantity that its humidity limits are in; without one it names none."""
    assert plan_of(Needs("setter-1", rh_pct=DRY_RH), SITE, NONE).humid == "rh_pct"
    assert plan_of(Needs("setter-1", wet_bulb_c=DRY_WET), SITE, NONE).humid == "wet_bulb_c"
    assert plan_of(Needs("setter-1", dry_bulb_c=WARM), SITE, NONE).humid == ""


@pytest.mark.parametrize(
    ("needs", "change"),
    [
        (Needs("setter-1", dry_bulb_c=WARM, rh_pct=DRY_RH), 6.0),
        (Needs("setter-1", dry_bulb_c=WARM, wet_bulb_c=DRY_WET), 1.333),
    ],
)
def test_a_change_of_humidity_is_seen_in_two_means_more(needs: Needs, change: float) -> None:
    """Half an hour and a day, each as the air is, behind all others; 6 %RH are 1.3 K of wet bulb, as 1.8 %RH are 0.4 K.
    Of temperature there are none."""
    spans = plan_of(needs, SITE, NONE).spans
    of = spans[1]
    assert spans[0].change == 0.0
    assert of.change == pytest.approx(change, abs=0.001)
    assert of.brief == 2
    brief, usual = spans[2:]
    assert (brief.over_s, usual.over_s) == (1800.0, 86_400.0)
    assert (brief.usual, usual.usual) == (False, True)
    assert {(s.quantity, s.least, s.most, s.limits) for s in spans[1:]} == {(1, of.least, of.most, of.limits)}
    assert {(s.edge_low, s.edge_high, s.change) for s in spans[2:]} == {(math.inf, -math.inf, 0.0)}


def test_of_two_changes_the_smaller_is_looked_for() -> None:
    """A house that wants to hear of damp air sooner than of dry air has it looked for from the smaller of the two on."""
    for low, high in ((4.0, 6.0), (6.0, 4.0), (0.0, 4.0)):
        changes = {"humidity-low-warning": low, "humidity-high-warning": high}
        house = replace(SITE, rules={**RULES, **{id_: replace(RULES[id_], change=by) for id_, by in changes.items()}})
        assert plan_of(Needs("setter-1", rh_pct=DRY_RH), house, NONE).spans[0].change == 4.0


@pytest.mark.parametrize(
    ("every_s", "warned_s", "foretold_s"), [(10.0, 1200.0, 1200.0), (60.0, 1200.0, 1200.0), (300.0, 6000.0, 1200.0)]
)
def test_a_warning_is_of_twenty_readings_at_least(every_s: float, warned_s: float, foretold_s: float) -> None:
    """Twenty minutes of a probe that speaks each minute; of one that speaks each five, as many readings; the slowest of a machine counts.
    What lies ahead is read from twenty minutes all the same."""
    slow = probes(("node-a/top", "setter-1"), interval_s=every_s)
    both = {**slow, **probes(("node-a/low", "setter-1"), ("node-b/top", "hatcher-1"))}
    plan = plan_of(Needs("setter-1", dry_bulb_c=WARM, rh_pct=DRY_RH), site(both), NONE)
    over = {limit.key[1]: plan.spans[limit.span].over_s for limit in (*plan.limits, *plan.headings) if limit.span >= 0}
    assert over["dry-bulb-high-warning"] == over["dry-bulb-low-warning"] == warned_s
    assert over["dry-bulb-high-heading"] == over["dry-bulb-low-heading"] == foretold_s
    assert over["humidity-low-warning"] == 21_600.0


@pytest.mark.parametrize(
    ("own_c", "machine", "offset_k", "target_c"),
    [
        (37.2, "still-1", 1.0, 38.2),
        (37.2, "still-1", None, 37.2),
        (37.2, "setter-1", 1.0, 37.2),
        (None, "setter-1", None, 37.5),  # what most species' machines are set to, within 0.5 K
    ],
)
def test_eggs_without_a_common_temperature_are_reckoned_by_their_own(
    own_c: float | None, machine: str, offset_k: float | None, target_c: float
) -> None:
    """Where a machine's batches share no temperature, each has that of its own stage, or the usual one if it has none; in still air as
    much more as its profile says: nothing, if it does not."""
    warm = Band(36.0, 37.0, own_c, 38.0, 39.0)
    bird = profile("hen", DRY_RH, MOIST_RH, warm=warm, still_air_offset_k=offset_k)
    plan = plan_of(Needs(machine, (occupant(),)), site(profiles={"hen": bird}), NONE)
    assert [eggs.target_c for eggs in plan.eggs] == [target_c]


def test_what_the_eggs_feel_is_of_the_machines_air() -> None:
    """Where the eggs' own temperature is judged its alarms are among those of the air, so that they end with it; of a chick they are not."""
    bird = profile("hen", DRY_RH, MOIST_RH)
    for stage, judged in (("setter", True), ("hatch", False)):
        of = replace(occupant(), stage=stage)
        plan = plan_of(Needs("setter-1", (of,), dry_bulb_c=WARM), site(profiles={"hen": bird}), NONE)
        air = {("setter-1", name) for name in limits(plan)} | {limit.key for limit in plan.headings}
        eggs = {("setter-1", "egg-too-hot"), ("setter-1", "egg-too-cold")} if judged else set()
        assert plan.keys == air | eggs


def test_a_breeders_own_humidity_is_a_wet_bulb_at_the_usual_temperature() -> None:
    """Limits of one's own are given as %RH; in a machine judged by wet bulb whose temperature nobody says, it is the wet bulb at
    37.5 °C: of 50 %RH 28.2 °C by the psychrometric tables at sea level."""
    rules = {**RULES, "humidity-low-alarm": replace(RULES["humidity-low-alarm"], limit=50.0)}
    plan = plan_of(Needs("setter-1", wet_bulb_c=DRY_WET), site(rules=rules), NONE)
    assert limits(plan)["humidity-low-alarm"].limit == pytest.approx(28.2, abs=0.15)


@pytest.mark.parametrize(("band", "low_c"), [(WARM, 37.0), (Band(low_alarm=36.0), 36.0), (Band(high_alarm=39.0), None)])
def test_trouble_with_cold_begins_at_the_highest_low_limit(band: Band, low_c: float | None) -> None:
    """Air above it needs no hold after an opening, and does not have to come back; humidity's limits are no part of it."""
    assert plan_of(Needs("setter-1", dry_bulb_c=band, rh_pct=DRY_RH), SITE, NONE).low_dry_bulb_c == low_c


def test_between_which_values_nothing_is_passed() -> None:
    """From the highest low limit to the lowest high one, of temperature and of humidity; where there are none, anywhere. The warnings
    are judged by the means over their spans."""
    none = (float("-inf"), float("inf"))
    both = plan_of(Needs("setter-1", dry_bulb_c=WARM, rh_pct=DRY_RH), SITE, NONE)
    assert both.within == (37.0, 38.0, 37.5, 52.5)
    assert [(s.quantity, s.least, s.most) for s in both.spans[:2]] == [(0, 37.0, 38.0), (1, 37.5, 52.5)]
    assert [(s.edge_low, s.edge_high) for s in both.spans[:2]] == [(math.inf, -math.inf), (40.0, 50.0)]
    assert plan_of(Needs("setter-1", dry_bulb_c=WARM), SITE, NONE).within == (37.0, 38.0, *none)
    assert plan_of(Needs("setter-1", rh_pct=DRY_RH), SITE, NONE).within == (*none, 37.5, 52.5)


@pytest.mark.parametrize(
    ("band", "own_c", "between"),
    [
        (WARM, None, (37.5 - 0.2475 * 1.5, 37.5 + 0.2475 * 1.5)),
        (Band(None, None, 37.5, None, 39.0), None, (-math.inf, 37.5 + 0.2475 * 1.5)),
        (Band(36.0, None, 37.5, None, None), None, (37.5 - 0.2475 * 1.5, math.inf)),
        (WARM, 37.5, (math.inf, -math.inf)),  # a limit of one's own at the target: any air may be on its way to it
        (WARM, 37.8, (math.inf, -math.inf)),  # and one beyond it
        (WARM, 37.0, (37.5 - 0.2475 * 0.5, 37.5 + 0.2475 * 1.5)),
        (Band(36.0, 37.0, None, 38.0, 39.0), None, (-math.inf, math.inf)),  # no target, nothing ahead
        (None, None, (-math.inf, math.inf)),
    ],
)
def test_near_its_target_the_air_is_on_its_way_to_no_limit(
    band: Band | None, own_c: float | None, between: tuple[float, float]
) -> None:
    """Under a quarter of the way from the target to a limit, less a hundredth of that for rounding, nothing is foretold: 0.2475 of it."""
    rules = {**RULES, "dry-bulb-low-alarm": replace(RULES["dry-bulb-low-alarm"], limit=own_c)}
    plan = plan_of(Needs("setter-1", dry_bulb_c=band, rh_pct=DRY_RH), site(rules=rules), NONE)
    assert plan.off_target_c == pytest.approx(between)
    ahead = {limit.rule.id for limit in plan.headings}
    has = set() if band is None or band.target is None else {"high": band.high_alarm, "low": band.low_alarm}.items()
    assert ahead == {f"dry-bulb-{side}-heading" for side, value in has if value is not None}


def test_what_lies_ahead_is_the_alarms_own_limit() -> None:
    """The same values, sides and machine, under the rules that foretell."""
    plan = plan_of(Needs("setter-1", dry_bulb_c=WARM), SITE, NONE)
    found = {limit.key: (limit.quantity, limit.side, limit.limit, limit.rule.id) for limit in plan.headings}
    assert found == {
        ("setter-1", f"dry-bulb-{side}-heading"): (0, way, value, f"dry-bulb-{side}-heading")
        for side, way, value in (("high", 1, 39.0), ("low", -1, 36.0))
    }
    assert {limit.key for limit in plan.headings} <= plan.keys


@pytest.mark.parametrize("share", [0.25])
def test_a_deadband_is_a_quarter_of_a_narrow_band(share: float) -> None:
    """Of a band 0.4 K wide 0.1 K, on either side; of one that has no other side it is the rule's."""
    narrow = limits(plan_of(Needs("setter-1", dry_bulb_c=Band(36.0, 37.3, 37.5, 37.7, 39.0)), SITE, NONE))
    for name in ("dry-bulb-high-alarm", "dry-bulb-low-warning"):
        assert abs(narrow[name].limit - narrow[name].back) == pytest.approx(share * 0.4)
    for band in (Band(high_alarm=39.0), Band(low_alarm=36.0)):
        (alone,) = plan_of(Needs("setter-1", dry_bulb_c=band), SITE, NONE).limits
        assert alone.limit - alone.back == pytest.approx(alone.side * alone.rule.deadband)


def test_a_deadband_is_measured_between_warnings_where_there_are_any() -> None:
    """A warning's side is the nearer one: of 37.3 to 37.7 °C it is a quarter, however far the alarms lie."""
    mixed = limits(plan_of(Needs("setter-1", dry_bulb_c=Band(36.0, 37.3, 37.5, None, 37.7)), SITE, NONE))
    assert mixed["dry-bulb-high-alarm"].back == pytest.approx(37.6)
    assert mixed["dry-bulb-low-alarm"].back == pytest.approx(36.1)


def test_a_breeders_own_humidity_is_taken_at_the_machines_temperature() -> None:
    """Judged by wet bulb, a limit given as 50 %RH is the wet bulb of such air at the target: at 30.0 °C 22.0 °C, by the tables."""
    rules = {**RULES, "humidity-low-alarm": replace(RULES["humidity-low-alarm"], limit=50.0)}
    cool = Band(28.0, 29.0, 30.0, 31.0, 32.0)
    plan = plan_of(Needs("setter-1", dry_bulb_c=cool, wet_bulb_c=DRY_WET), site(rules=rules), NONE)
    assert limits(plan)["humidity-low-alarm"].limit == pytest.approx(22.0, abs=0.15)
    humid = plan_of(Needs("setter-1", dry_bulb_c=cool, rh_pct=DRY_RH), site(rules=rules), NONE)
    assert limits(humid)["humidity-low-alarm"].limit == 50.0


def test_what_was_not_raised_is_a_low_humidity_of_the_machine() -> None:
    """Judged like any other low limit, with its own way back."""
    plan = plan_of(Needs("setter-1", (occupant(),), WARM, MOIST_RH), SITE, NONE)
    limit = limits(plan)[NOT_RAISED]
    assert (limit.key, limit.quantity, limit.side) == (("setter-1", NOT_RAISED), 1, -1)
    assert limit.back == pytest.approx(57.5 + 1.25)  # by half of what a sensor may be off
    assert plan.low_dry_bulb_c == 37.0


def test_nothing_is_asked_of_eggs_without_any_humidity() -> None:
    """Where no humidity is judged nothing is awaited, though lockdown is due."""
    plan = plan_of(Needs("setter-1", (occupant(),), WARM), SITE, NONE)
    assert (plan.awaited, plan.humid) == ((), "")
    assert not [limit for limit in plan.limits if limit.quantity == 1]


@pytest.mark.parametrize(
    ("alarm", "own", "error"),
    [(30.0, None, 2.5), (38.5, None, 1.5), (41.0, None, 1.0), (None, None, 2.5), (30.0, 40.0, 0.0)],
)
def test_a_sensors_error_is_no_news_up_to_the_alarm(alarm: float | None, own: float | None, error: float) -> None:
    """What may be the sensor's 2.5 %RH is not told at 40 %; but the alarm behind it is, and a breeder's own limit is meant as it stands."""
    rule = replace(RULES["humidity-low-warning"], sensor_error=2.5, limit=own)
    assert error_of(rule, 40.0, alarm, kind="rh_pct") == error
