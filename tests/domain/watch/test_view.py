"""One machine as it stands, as plain values."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.air.psychrometrics import air_state
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.needs.bands import derived_rh
from monitor.domain.needs.batch import subject_of
from monitor.domain.needs.profile import Band
from monitor.domain.readings.quality import DRY_BULB_C_FAIL, RH_PCT_FAIL
from monitor.domain.readings.reading import Refused
from monitor.domain.state.memory import Heard
from monitor.domain.state.record import Group
from monitor.domain.watch.view import alarm_view, machine_view, rfc3339
from tests.asking import perform
from tests.domain.house import T0, Air, Story, batch, probes, site, there

TOP = "node-a/top"
GOOD: Air = (37.5, 45.0)


def story_of(kind: str = "hen", air: Air | None = (37.5, 45.0), **changes: object) -> Story:
    story = Story(batches=(batch(profile_id=kind),), air={TOP: air}, **changes)  # type: ignore[arg-type]
    story.run(seconds=30)
    return story


def test_a_machine_as_it_stands() -> None:
    """Air with everything that follows from it, batches, bands and alarms; unit in each name, times RFC 3339."""
    story = story_of()
    view = machine_view(story.look(), "setter-1", str)
    full = air_state(37.5, 45.0, story.site.pressure_kpa)
    assert (view["machine"], view["name"], view["kind"], view["at"]) == (
        "setter-1",
        "Setter 1",
        "setter",
        "2026-03-10T08:00:30.000Z",
    )
    (probe,) = view["probes"]
    assert probe == {
        "probe": TOP,
        "position": "",
        "dry_bulb_c": 37.5,
        "rh_pct": 45.0,
        "wet_bulb_c": round(full.wet_bulb_c, 3),
        "dew_point_c": round(full.dew_point_c or math.nan, 3),
        "vapour_kpa": round(full.vapour_kpa, 4),
        "deficit_kpa": round(full.deficit_kpa, 4),
        "age_s": 0.0,
        "silent": False,
    }
    assert view["batches"] == [{"batch": "hen-1", "profile": "hen", "day": 5.0, "stage": "setter"}]
    assert view["bands"]["dry_bulb_c"]["high_alarm"] == 39.0
    assert set(view["bands"]) == {"dry_bulb_c", "rh_pct"}
    assert view["alarms"] == []
    assert view["settling_until"] is None


def test_before_anything_is_known() -> None:
    """A machine that nobody heard of yet is shown as silent, without bands."""
    story = Story()
    view = machine_view(story.look(), "setter-1", str)
    assert view["probes"] == [
        {"probe": TOP, "position": "", "dry_bulb_c": None, "rh_pct": None, "age_s": None, "silent": True}
    ]
    assert (view["batches"], view["bands"]) == ([], {})


def test_a_reading_that_is_old_is_shown_as_old() -> None:
    """The last value of a probe that fell silent stands with its age, marked silent."""
    story = story_of()
    story.air[TOP] = None
    story.run(minutes=5)
    (probe,) = machine_view(story.look(), "setter-1", str)["probes"]
    assert (probe["age_s"], probe["silent"]) == (300.0, True)


def test_alarms_of_the_machine_its_probes_and_its_nodes() -> None:
    """What stands for the machine, its probe or its node is shown with its number; another machine's is not; nor what is normal."""
    story = story_of(air=(39.5, 45.0))
    story.run(minutes=1)
    alarms = machine_view(story.look(), "setter-1", str)["alarms"]
    assert [(a["rule"], a["state"], a["number"], a["quantity"], a["about"]) for a in alarms] == [
        ("dry-bulb-high-alarm", "unacknowledged", 1, "dry_bulb_c", None)
    ]
    assert alarms[0]["since"] == "2026-03-10T08:00:20.000Z"  # the first message of a boot proves nothing of its age
    assert machine_view(story.look(), "hatcher-1", str)["alarms"] == []
    story.air[TOP] = None
    story.run(minutes=2)
    rules = {a["rule"] for a in machine_view(story.look(), "setter-1", str)["alarms"]}
    assert rules == {"dry-bulb-high-alarm", "no-data"}


def test_settling_is_shown() -> None:
    """After lockdown began the view says until when low humidity is expected; not where the eggs are to be moved first."""
    moving = Story(batches=(batch(day=18.0),), air={TOP: (37.5, 45.0)})
    moving.run(seconds=30)
    assert machine_view(moving.look(), "setter-1", str)["settling_until"] is None
    story = Story(batches=(batch(day=18.0, declared=[("lockdown", 18.0)]),), air={TOP: (37.5, 45.0)})
    story.run(seconds=30)
    assert machine_view(story.look(), "setter-1", str)["settling_until"] == "2026-03-10T09:00:00.000Z"


def test_an_old_wick_is_shown_when_asked_for() -> None:
    """A site that chose a wick's coefficient is shown what the wick would say, beside the thermodynamic wet bulb, and above it."""
    plain = story_of()
    story = story_of(site=replace(site(), wick_coefficient_per_k=8e-4))
    (probe,) = machine_view(story.look(), "setter-1", str)["probes"]
    assert probe["wick_wet_bulb_c"] > probe["wet_bulb_c"]
    assert "wick_wet_bulb_c" not in machine_view(plain.look(), "setter-1", str)["probes"][0]


@pytest.mark.parametrize("kind", ["hen", "wet-hen"])
@given(st.floats(*DRY_BULB_C_FAIL), st.none() | st.floats(*RH_PCT_FAIL), st.sampled_from([50.6, 85.0, 101.325, 106.5]))
@settings(max_examples=100, deadline=None)
def test_any_air_that_is_stored_can_be_shown(kind: str, dry_bulb_c: float, rh_pct: float | None, kpa: float) -> None:
    """Whatever reading may stand, a machine on fire as well, the view is made and is JSON without NaN; an exception here would end the
    engine."""
    story = Story(
        site=replace(site(), pressure_kpa=kpa, wick_coefficient_per_k=6e-4), batches=(batch(profile_id=kind),)
    )
    story.air = {TOP: (dry_bulb_c, rh_pct)}
    story.run(seconds=30)
    view = machine_view(story.look(), "setter-1", str)
    json.dumps(view, allow_nan=False)
    (probe,) = view["probes"]
    assert probe["dry_bulb_c"] is None or abs(probe["dry_bulb_c"] - dry_bulb_c) <= 0.00051


def test_a_wet_bulb_band_is_shown_as_humidity_too() -> None:
    """Beside a wet-bulb band each probe is shown what that band is in RH at its own temperature."""
    story = story_of("wet-hen")
    (probe,) = machine_view(story.look(), "setter-1", str)["probes"]
    assert 40.0 < probe["rh_band_pct"]["low_warning"] < probe["rh_band_pct"]["high_warning"] < 60.0


@pytest.mark.parametrize(("dry_bulb_c", "at_c"), [(34.0, 37.0), (41.6, 38.0), (37.7, 37.7)])
def test_the_humidity_that_is_wanted_does_not_follow_a_wrong_temperature(dry_bulb_c: float, at_c: float) -> None:
    """Outside the target temperature it is that of the nearest temperature within: of a cold machine not twice as much, of a hot one not less."""
    story = Story(site=site(), batches=(batch(profile_id="wet-hen"),))
    story.air = {TOP: (dry_bulb_c, 52.0)}
    story.run(seconds=30)
    view = machine_view(story.look(), "setter-1", str)
    needs = view["bands"]
    assert (needs["dry_bulb_c"]["low_warning"], needs["dry_bulb_c"]["high_warning"]) == (37.0, 38.0)
    expected = derived_rh(Band(**needs["wet_bulb_c"]), at_c, story.site.pressure_kpa)
    assert view["probes"][0]["rh_band_pct"] == pytest.approx(dict(expected.limits()), abs=0.01)


def test_every_probe_of_the_machine_is_there() -> None:
    """Two probes, two rows, in the order of the configuration."""
    both = site(probes((TOP, "setter-1"), ("node-b/low", "setter-1"), ("node-b/door", "hatcher-1")))
    story = Story(site=both)
    view = machine_view(story.look(), "setter-1", str)
    assert [p["probe"] for p in view["probes"]] == [TOP, "node-b/low"]


def test_a_label_is_utc() -> None:
    """Times shown to programs end in Z."""
    assert rfc3339(Story().now()) == T0.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def test_what_an_alarm_is_about() -> None:
    """A quantity stands under its own name with value, worst and limit; words stand as words; what is not there is null."""
    hot = Alarm(
        "setter-1", "dry-bulb-high-alarm", 3, 1, True, False, since=T0, value=39.51239, worst=40.0, limit=39.0,
        about="dry_bulb_c", shelved_until=T0 + timedelta(hours=1),
    )  # fmt: skip
    failed = Alarm(
        TOP,
        "sensor-failed",
        4,
        1,
        True,
        False,
        since=T0,
        ended=T0 + timedelta(hours=2),
        about="temperature stands still",
    )
    nothing = dict.fromkeys(("ended", "quantity", "about", "value", "worst", "limit", "shelved_until", "suppressed"))
    assert alarm_view(hot, str) == nothing | {
        "number": 3, "subject": "setter-1", "rule": "dry-bulb-high-alarm", "state": "shelved",
        "since": "2026-03-10T08:00:00.000Z", "quantity": "dry_bulb_c", "value": 39.512, "worst": 40.0, "limit": 39.0,
        "shelved_until": "2026-03-10T09:00:00.000Z",
    }  # fmt: skip
    assert alarm_view(failed, str) == nothing | {
        "number": 4, "subject": TOP, "rule": "sensor-failed", "state": "unacknowledged",
        "since": "2026-03-10T08:00:00.000Z", "ended": "2026-03-10T10:00:00.000Z", "about": "temperature stands still",
    }  # fmt: skip
    quiet = alarm_view(Alarm("setter-1", "handling-over", suppressed="no eggs in it"), str)
    assert (quiet["about"], quiet["since"], quiet["suppressed"]) == (None, None, "no eggs in it")


def test_figures_are_rounded_to_what_they_are_worth() -> None:
    """Temperatures to thousandths, humidity to hundredths, vapour to ten-thousandths of a kPa, an age to tenths of a second, the
    day to thousandths and cut, and for how long the eggs follow to whole minutes."""
    story = Story(
        site=replace(site(), wick_coefficient_per_k=7.3e-4),
        batches=(batch(day=5.123987),),
        air={TOP: GOOD},
    )
    story.run(seconds=30)
    heard = there(story.state.probe(TOP).heard)
    story.state.probe(TOP).heard = replace(heard, dry_bulb_c=37.51238, rh_pct=44.12678, mono_s=heard.mono_s - 3.14159)
    story.state.eggs["hen-1"] = replace(story.state.eggs["hen-1"], egg_c=37.45678)
    view = machine_view(story.look(), "setter-1", str)
    (probe,) = view["probes"]
    full = air_state(37.51238, 44.13, 101.325)
    assert {name: value for name, value in probe.items() if name not in ("probe", "position", "silent")} == {
        "dry_bulb_c": 37.512,
        "rh_pct": 44.13,
        "wet_bulb_c": pytest.approx(full.wet_bulb_c, abs=0.002),
        "dew_point_c": pytest.approx(there(full.dew_point_c), abs=0.002),
        "vapour_kpa": pytest.approx(full.vapour_kpa, abs=3e-4),
        "deficit_kpa": pytest.approx(full.deficit_kpa, abs=3e-4),
        "wick_wet_bulb_c": pytest.approx(full.wet_bulb_c + 0.4, abs=0.4),
        "age_s": 3.1,
    }
    digits = {name: len(f"{value}".partition(".")[2]) for name, value in probe.items() if isinstance(value, float)}
    assert digits == {
        "dry_bulb_c": 3, "rh_pct": 2, "wet_bulb_c": 3, "dew_point_c": 3, "vapour_kpa": 4, "deficit_kpa": 4,
        "wick_wet_bulb_c": 3, "age_s": 1,
    }  # fmt: skip
    assert view["batches"][0]["day"] == 5.124  # half a minute on, whenever the limits were made
    plan = there(story.state.plan_of("setter-1"))
    tau_min = plan.eggs[0].model.tau_s / 60.0
    assert view["eggs"] == [
        {"batch": "hen-1", "egg_c": 37.5, "egg_low_c": 37.2, "egg_high_c": 37.7, "tau_min": round(tau_min)}
    ]
    assert 10 < tau_min < 60  # the egg of a small bird, as none is given here, in blown air


def test_a_sensor_beyond_saturation_is_shown_as_saturated() -> None:
    """What a sensor says over 100 % is its error."""
    story = story_of(air=(37.5, 100.0))
    heard = there(story.state.probe(TOP).heard)
    story.state.probe(TOP).heard = replace(heard, rh_pct=102.5)
    (probe,) = machine_view(story.look(), "setter-1", str)["probes"]
    assert (probe["rh_pct"], probe["deficit_kpa"]) == (100.0, 0.0)


@pytest.mark.parametrize(("age_s", "silent"), [(30.0, False), (30.1, True)])
def test_a_probe_is_silent_after_three_of_its_intervals(age_s: float, silent: bool) -> None:
    """Thirty seconds are allowed at ten-second readings, and no more."""
    story = story_of()
    heard = there(story.state.probe(TOP).heard)
    story.state.probe(TOP).heard = replace(heard, mono_s=story.now().mono_s - age_s)
    (probe,) = machine_view(story.look(), "setter-1", str)["probes"]
    assert (probe["silent"], probe["age_s"]) == (silent, age_s)


def test_bands_are_shown_each_under_its_name() -> None:
    """Of a machine judged by wet bulb the temperature and the wet bulb, limit by limit; what is not judged is not there."""
    story = story_of("wet-hen")
    bands = machine_view(story.look(), "setter-1", str)["bands"]
    assert bands == {
        "dry_bulb_c": {
            "low_alarm": 36.0,
            "low_warning": 37.0,
            "target": 37.5,
            "high_warning": 38.0,
            "high_alarm": 39.0,
        },
        "wet_bulb_c": {
            "low_alarm": 25.0,
            "low_warning": 27.0,
            "target": 28.0,
            "high_warning": 29.0,
            "high_alarm": 31.0,
        },
    }


def test_work_at_the_machine_is_shown_with_its_end() -> None:
    """Until when it was declared; nothing while there is none, or of another machine."""
    story = story_of()
    assert machine_view(story.look(), "setter-1", str)["handling_until"] is None
    perform(story.state, story.site, {"do": "handling", "machine": "setter-1", "for_s": 600.0}, story.now(), Group())
    assert machine_view(story.look(), "setter-1", str)["handling_until"] == "2026-03-10T08:10:30.000Z"
    assert machine_view(story.look(), "hatcher-1", str)["handling_until"] is None


def test_of_a_hatching_batch_no_egg_is_shown() -> None:
    """Nor of one whose eggs have felt nothing yet."""
    story = story_of()
    plan = there(story.state.plan_of("setter-1"))
    story.state.machine("setter-1").plan = replace(plan, eggs=(replace(plan.eggs[0], judged=False),))
    assert machine_view(story.look(), "setter-1", str)["eggs"] == []
    story.state.machine("setter-1").plan = plan
    story.state.eggs.clear()
    assert machine_view(story.look(), "setter-1", str)["eggs"] == []


def test_alarms_of_a_machines_batches_are_its_own() -> None:
    """What stands for an egg is shown with the machine that it is in; what is at rest is not shown."""
    story = story_of()
    egg = Alarm(subject_of("hen-1", 7), "look-again", 5, 1, True, False, since=T0)
    over = replace(egg, subject=subject_of("hen-1", 8), number=6, condition=False, acknowledged=True)
    story.state.alarms |= {a.key: a for a in (egg, over)}
    assert [a["number"] for a in machine_view(story.look(), "setter-1", str)["alarms"]] == [5]
    assert machine_view(story.look(), "hatcher-1", str)["alarms"] == []


def test_heat_that_is_known_to_kill_hens_is_said_to_be_the_hens() -> None:
    """Where the limit is published of hens and others are in there; not of another limit, nor where it is their own."""
    story = story_of()
    plan = there(story.state.plan_of("setter-1"))
    for of_hens, limit, shown in ((True, 40.6, True), (True, 39.0, False), (False, 40.6, False)):
        story.state.machine("setter-1").plan = replace(plan, needs=replace(plan.needs, lethal_c=40.6, of_hens=of_hens))
        hot = Alarm("setter-1", "dry-bulb-lethal", 1, 1, True, False, value=41.0, limit=limit, about="dry_bulb_c")
        story.state.alarms = {hot.key: hot}
        (alarm,) = machine_view(story.look(), "setter-1", str)["alarms"]
        assert alarm.get("of_hens", False) is shown


@pytest.mark.parametrize("heard_", [True, False])
@pytest.mark.parametrize(("at_s", "shown"), [(30.0, False), (31.0, True)])
def test_what_comes_and_cannot_be_used_is_shown_of_a_silent_probe(heard_: bool, at_s: float, shown: bool) -> None:
    """A probe of whose node a message was not understood is shown as such once it is silent, whether it was ever heard or not."""
    story = Story(batches=(batch(),))
    known = story.state.probe(TOP)
    known.life_mono_s = story.now().mono_s
    if heard_:
        known.heard = Heard(story.now().mono_s, T0, 37.5, 45.0)
    story.at_s = at_s - 1.0
    story.hear(Refused("t", b"x", "why", "node-a"))
    story.at_s = at_s
    (probe,) = machine_view(story.look(), "setter-1", str)["probes"]
    assert probe.get("unusable", False) is shown


def test_what_is_shown_of_an_alarm_only_where_it_is_so() -> None:
    """How often it came, since when it is well, until when it is out of service, and of when its value is."""
    hour = T0 + timedelta(hours=1)
    hot = Alarm(
        "setter-1", "dry-bulb-high-alarm", 1, 3, True, False, value=39.5, limit=39.0, about="dry_bulb_c", times=3
    )
    plain = alarm_view(replace(hot, times=2), str)
    assert not plain.keys() & {"chattering_times", "well_since", "out_of_service_until", "value_at", "value_range"}
    assert alarm_view(hot, str)["chattering_times"] == 3
    assert "chattering_times" not in alarm_view(replace(hot, condition=False), str)
    well = replace(hot, pending_at=T0, pending_mono_s=1.0)
    assert alarm_view(well, str)["well_since"] == "2026-03-10T08:00:00.000Z"
    assert "well_since" not in alarm_view(replace(well, condition=False), str)
    out = replace(hot, out_of_service=True, out_until=hour)
    assert alarm_view(out, str)["out_of_service_until"] == "2026-03-10T09:00:00.000Z"
    assert "out_of_service_until" not in alarm_view(replace(out, out_until=None), str)
    assert alarm_view(hot, str, value_at=T0)["value_at"] == "2026-03-10T08:00:00.000Z"
    assert "value_at" not in alarm_view(replace(hot, about="words"), str, value_at=T0)
    assert alarm_view(hot, str, (37.04, 38.06))["value_range"] == [37.0, 38.1]
