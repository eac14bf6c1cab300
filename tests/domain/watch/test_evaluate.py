"""The whole decision, as stories: what a house's air and its people's acts come to."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.about import REFUSED, Astray, Unusable
from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    NORMAL,
    RETURNED,
    SUPPRESSED,
    UNACKNOWLEDGED,
    Alarm,
    acknowledge,
    shelve,
)
from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.batch import Batch, closed, declared, moved
from monitor.domain.needs.rules import (
    ALL_SILENT,
    CONFLICT,
    MISSING,
    NO_DATA,
    NO_HUMIDITY,
    NODE_OFFLINE,
    NOT_RAISED,
    SENSOR_FAILED,
    SWITCH_DOUBTFUL,
)
from monitor.domain.needs.site import OF_DOOR, Switch
from monitor.domain.readings.reading import FAIL, Presence, Refused, Sample
from monitor.domain.signs.seen import Opened
from monitor.domain.signs.switch import Contact
from monitor.domain.state.known import Trouble
from monitor.domain.state.record import Group
from monitor.domain.watch.evaluate import retire, settle
from monitor.shown.happened import opening_words
from tests.domain.house import PROFILES, RULES, T0, Air, Story, batch, probes, site, there

TOP, LOW, THIRD = "node-a/top", "node-a/low", "node-a/back"
GOOD: Air = (37.5, 45.0)
LIMITS = {
    # rule: a value just beyond its limit, quantity 0 dry bulb, 1 humidity
    "dry-bulb-lethal": (40.65, 0),
    "dry-bulb-high-alarm": (39.05, 0),
    "dry-bulb-low-alarm": (35.95, 0),
    "humidity-high-alarm": (60.5, 1),
    "humidity-low-alarm": (29.5, 1),
}


def one_probe(**changes: object) -> Story:
    """A hen's egg on day 5 under one probe, in good air for a minute."""
    story = Story(batches=(batch(),), air={TOP: GOOD}, **changes)  # type: ignore[arg-type]
    story.run(minutes=1)
    assert story.transitions == []
    return story


def several(*names: str) -> Story:
    """The same under several probes of one machine."""
    watched = probes(*((name, "setter-1") for name in names))
    story = Story(site=site(watched), batches=(batch(),), air=dict.fromkeys(names, GOOD))
    story.run(minutes=1)
    return story


# Out of band.


@pytest.mark.parametrize(("rule", "beyond"), LIMITS.items())
def test_each_limit_has_its_alarm(rule: str, beyond: tuple[float, int]) -> None:
    """A value just beyond a limit raises that limit's alarm when its on-delay is over, and not before; back in the band it goes. The
    first reading after a jump counts for nothing until the next confirms it."""
    story = one_probe()
    value, quantity = beyond
    story.air[TOP] = (value, 45.0) if quantity == 0 else (37.5, value)
    wait_s = 10.0 + RULES[rule].on_delay_s
    story.run(seconds=wait_s)
    assert story.states(rule) == []
    story.run(seconds=10)
    assert story.states(rule) == [("setter-1", UNACKNOWLEDGED)]
    alarm = story.alarm(rule)
    assert alarm.value == pytest.approx(value, abs=0.05)
    assert alarm.since == T0 + timedelta(seconds=70 if quantity == 0 else 80)
    story.air[TOP] = GOOD
    story.run(seconds=RULES[rule].off_delay_s + 20)
    assert story.states(rule) == [("setter-1", UNACKNOWLEDGED), ("setter-1", RETURNED)]


LATELY = {
    # rule: a value beyond its limit, quantity; of humidity more than a sensor may be off (2.5 %RH) beyond the hen's 40 to 50 %
    "dry-bulb-high-warning": (38.3, 0),
    "dry-bulb-low-warning": (36.7, 0),
    "humidity-high-warning": (56.0, 1),
    "humidity-low-warning": (34.0, 1),
}


@pytest.mark.parametrize(("rule", "beyond"), LATELY.items())
def test_a_warning_is_of_how_the_air_was_lately(rule: str, beyond: tuple[float, int]) -> None:
    """A warning comes once its span's mean has been beyond its limit for its on-delay, tells that mean, and goes when the mean is back."""
    story = one_probe()
    judged, (value, quantity) = RULES[rule], beyond
    story.air[TOP] = (value, 45.0) if quantity == 0 else (37.5, value)
    story.run(seconds=judged.on_delay_s)
    assert story.states(rule) == []
    story.run(seconds=judged.over_s)
    assert story.states(rule) == [("setter-1", UNACKNOWLEDGED)]
    told, limit = story.alarm(rule).value, story.alarm(rule).limit
    assert told is not None
    assert limit is not None
    assert min(limit, value) - 0.01 < told < max(limit, value) + 0.01
    story.air[TOP] = GOOD
    story.run(seconds=2.0 * judged.over_s + judged.off_delay_s)
    assert story.states(rule) == [("setter-1", UNACKNOWLEDGED), ("setter-1", RETURNED)]


@pytest.mark.parametrize(("swing_k", "every_s"), [(0.9, 1500), (1.4, 800)])
def test_a_swing_about_the_target_is_no_warning(swing_k: float, every_s: int) -> None:
    """A thermostat's swing that a slow sampling draws out, beyond both warnings (±0.5 K) and within the alarms (±1.5 K), is not the air."""
    story = one_probe()
    for n in range(8 * 360):
        story.air[TOP] = (37.5 + swing_k * math.sin(2.0 * math.pi * n * 10.0 / every_s), 45.0)
        story.run(seconds=10)
    assert [s for s in story.states() if s[0].endswith("-warning")] == []


@pytest.mark.parametrize("rh_pct", [38.0, 52.0])
def test_humidity_within_a_sensors_error_is_no_news(rh_pct: float) -> None:
    """Two %RH beyond a warning for a day are what a good sensor may be off (SHT3x, typical: 2 %RH, and 0.8 of hysteresis)."""
    story = Story(
        site=site(probes((TOP, "setter-1"), interval_s=60.0)), batches=(batch(),), air={TOP: GOOD}, interval_s=60.0
    )
    story.run(minutes=60)
    story.air[TOP] = (37.5, rh_pct)
    story.run(minutes=24 * 60)
    assert story.transitions == []


@pytest.mark.parametrize(("air"), [(39.0, 60.0), (36.0, 30.0), (38.0, 50.0), (37.0, 40.0)])
def test_a_value_on_its_limit_is_in(air: Air) -> None:
    """The limit itself belongs to the band."""
    story = one_probe()
    story.air[TOP] = air
    story.run(minutes=60)
    assert not {r for r, _ in story.states() if r.endswith("-alarm")}
    if air in ((38.0, 50.0), (37.0, 40.0)):
        assert story.transitions == []


def test_an_empty_machine_is_judged_by_nobody() -> None:
    """Without eggs any air is stored and raises nothing."""
    story = Story(air={TOP: (20.0, 90.0)})
    story.run(minutes=30)
    assert story.transitions == []
    assert len(story.readings) == 180


def test_wet_bulb_is_judged_as_wet_bulb() -> None:
    """Eggs whose profile gives wet bulb are judged by the wet bulb of the air: 37.5 °C at 40 % has about 26 °C, below 27 and what a sensor may
    be off."""
    story = Story(batches=(batch(profile_id="wet-hen"),), air={TOP: (37.5, 40.0)})
    story.run(minutes=200)
    assert story.states("humidity-low-warning") == [("setter-1", UNACKNOWLEDGED)]
    assert story.alarm("humidity-low-warning").about == "wet_bulb_c"
    assert story.alarm("humidity-low-warning").value == pytest.approx(26.0, abs=0.5)


def test_a_sensor_a_little_above_saturation_is_at_saturation() -> None:
    """Humidity of 103 % counts as 100 %: it is far too humid, and nothing breaks, by RH and by wet bulb."""
    for kind in ("hen", "wet-hen"):
        story = Story(batches=(batch(profile_id=kind),), air={TOP: (37.5, 103.0)})
        story.run(minutes=6)
        assert story.states("humidity-high-alarm") == [("setter-1", UNACKNOWLEDGED)]


def test_one_reading_and_silence_raise_no_air_alarm() -> None:
    """A single hot reading followed by silence raises 'no reading', not 'deadly heat'; a standing 'deadly heat' stands through silence."""
    story = one_probe()
    story.air[TOP] = (45.0, 45.0)
    story.run(seconds=10)
    story.air[TOP] = None
    story.run(minutes=30)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]
    story.air[TOP] = (45.0, 45.0)
    story.run(minutes=1)
    story.air[TOP] = None
    story.run(minutes=5)
    assert story.state_of("dry-bulb-lethal") == UNACKNOWLEDGED


# Several probes in one machine.


def test_of_two_probes_the_worse_counts() -> None:
    """Two probes, one of which jumped out of band, disagree at once, as urgently; the alarm of either side follows when its time to respond is over."""
    for value, rule in ((40.0, "dry-bulb-high-alarm"), (34.0, "dry-bulb-low-alarm")):
        story = several(TOP, LOW)
        story.air[LOW] = (value, 45.0)
        story.run(minutes=6)
        assert story.states() == [("probes-disagree", UNACKNOWLEDGED)]
        assert story.notices[0].priority == "high"
        story.run(minutes=story.site.rules[rule].respond_min + 11.0)
        assert story.states(rule) == [("setter-1", UNACKNOWLEDGED)]
        assert story.alarm(rule).value == pytest.approx(value, abs=0.01)
    story = several(TOP, LOW)
    story.air = {TOP: (40.0, 45.0), LOW: (34.0, 45.0)}
    story.run(minutes=11)
    assert {r for r, _ in story.states()} == {"dry-bulb-high-alarm", "dry-bulb-low-alarm"}


def test_of_three_probes_the_median_counts() -> None:
    """One of three that lies is outvoted; two of three out of band are an alarm, at the median's value."""
    story = several(TOP, LOW, THIRD)
    story.air[THIRD] = (45.0, 10.0)
    story.run(minutes=20)
    assert story.states() == [("probes-disagree", UNACKNOWLEDGED)]
    assert story.about("probes-disagree") == f"{THIRD} is 7.5 °C off"
    story.air[LOW] = (40.0, 45.0)
    story.run(minutes=1)
    assert story.states()[1:] == [("dry-bulb-high-alarm", UNACKNOWLEDGED)]
    assert "Sensor doubtful." in story.notices[-1].text
    assert story.alarm("dry-bulb-high-alarm").value == pytest.approx(40.0, abs=0.01)


def test_a_silent_third_probe_has_no_vote() -> None:
    """When one of three falls silent, the worse of the two that speak counts."""
    story = several(TOP, LOW, THIRD)
    story.air |= {THIRD: None, LOW: (40.0, 45.0)}
    story.run(minutes=1)
    assert story.state_of("dry-bulb-high-alarm") == UNACKNOWLEDGED


def test_probes_of_two_nodes_are_one_machine() -> None:
    """Probes on different nodes are judged together, each message anew."""
    watched = probes((TOP, "setter-1"), ("node-b/top", "setter-1"))
    story = Story(site=site(watched), batches=(batch(),), air={TOP: GOOD, "node-b/top": (40.0, 45.0)})
    story.run(minutes=1)
    assert story.states() == [("dry-bulb-high-alarm", UNACKNOWLEDGED)]


# What is no reading.


@pytest.mark.parametrize("odd", [math.nan, math.inf, -math.inf, 85.0, 127.9375, 200.0, None])
def test_what_is_no_temperature_neither_calms_nor_alarms(odd: float | None) -> None:
    """NaN, infinities, a chip's stand-ins and messages without a temperature are stored with their flag, judged by nobody, and are soon a
    failed sensor. A standing alarm is not ended by them, and the sensor's is as urgent."""
    story = one_probe()
    story.air[TOP] = (40.9, 45.0)
    story.run(minutes=1)
    story.air[TOP] = (odd, 45.0)
    story.run(minutes=4)
    assert story.states() == [("dry-bulb-lethal", UNACKNOWLEDGED), (SENSOR_FAILED, UNACKNOWLEDGED)]
    assert all(r.flag >= FAIL for r in story.readings[-24:])
    assert story.notices[-1].priority == "critical"


@pytest.mark.parametrize("odd", [-127.0, 85.0, 998.0])
def test_a_failed_probe_does_not_hide_the_heat_of_the_one_beside_it(odd: float) -> None:
    """Of two probes that share a message, one fails: the other's heat is told as soon as if it were alone, and the failed one is told as failed. While
    both are sound, and one alone jumps, that is what is told."""
    low = "node-a/low"
    told = []
    for failing in (GOOD, (odd, None)):
        watched = probes((TOP, "setter-1"), (low, "setter-1"))
        story = Story(site=site(watched), batches=(batch(),), air={TOP: GOOD, low: GOOD})
        story.run(minutes=1)
        story.air = {TOP: (39.5, 45.0), low: failing}
        story.run(minutes=2)
        told.append([(t.alarm.rule, t.at) for t in story.transitions if t.alarm.rule != SENSOR_FAILED])
    (sound, at_once), (alone, then) = told[0][0], told[1][0]
    assert (sound, alone) == ("probes-disagree", "dry-bulb-high-alarm")
    assert at_once <= then <= at_once + timedelta(seconds=20)
    assert story.states(SENSOR_FAILED) == [(low, UNACKNOWLEDGED)]


@pytest.mark.parametrize("odd", [math.nan, math.inf, -5.0, 110.0])
def test_a_broken_humidity_sensor_does_not_hide_the_heat(odd: float) -> None:
    """A humidity that cannot be is not judged, and the temperature beside it is."""
    story = one_probe()
    story.air[TOP] = (40.0, odd)
    story.run(minutes=1)
    assert story.states() == [("dry-bulb-high-alarm", UNACKNOWLEDGED)]
    assert not {r for r, _ in story.states() if r.startswith("humidity")}


@pytest.mark.parametrize(
    ("first", "told"),
    [
        (Sample("top", 37.5, 998.9), True),
        (Sample("top", 37.5, -6.0), True),
        (Sample("top", 37.5, math.nan), True),
        (Sample("top", 37.5, None, fault="top/rh 'nan', expected one number", rh_wrong=True), True),
        (Sample("top", 37.5, None), False),
        (Sample("top", 37.5, 104.0), False),
    ],
)
def test_a_humidity_that_is_broken_from_the_first_word_on_is_told(first: Sample, told: bool) -> None:
    """What is there and cannot be used has failed, in its own time; a probe that has no humidity has none to miss."""
    story = Story(batches=(batch(),))
    for _ in range(66):
        story.at_s += 10.0
        story.tick()
        story.send("node-a", first)
    assert (story.states(NO_HUMIDITY) == [(TOP, UNACKNOWLEDGED)]) == told
    story.air[TOP] = GOOD
    story.run(seconds=20)
    assert (story.states(NO_HUMIDITY)[-1:] == [(TOP, RETURNED)]) == told


@pytest.mark.parametrize("odd", [-127.0, 85.0])
@pytest.mark.parametrize("rh_pct", [None, 45.0])
def test_a_failed_sensor_is_one_cause(odd: float, rh_pct: float | None) -> None:
    """Its humidity is gone with it: that is not told again, but when the temperature comes back alone."""
    story = one_probe()
    story.air[TOP] = (odd, rh_pct)
    story.run(minutes=40)
    assert {rule for rule, _ in story.states()} == {SENSOR_FAILED}
    story.air[TOP] = (37.5, None)
    story.run(minutes=15)
    assert story.states(NO_HUMIDITY) == [(TOP, UNACKNOWLEDGED)]


@pytest.mark.parametrize("gone", [None, 110.0, math.nan])
def test_a_humidity_that_stops_coming_is_told(gone: float | None) -> None:
    """A probe that told humidity and now tells only temperature is 'no humidity reading' after its delay, and over when it is back."""
    story = one_probe()
    story.air[TOP] = (37.5, gone)
    story.run(minutes=10)
    assert story.transitions == []
    story.run(minutes=1)
    assert story.states() == [(NO_HUMIDITY, UNACKNOWLEDGED)]
    story.air[TOP] = GOOD
    story.run(seconds=10)
    assert story.states(NO_HUMIDITY)[-1] == (TOP, RETURNED)


def test_a_probe_without_humidity_is_not_asked_for_one() -> None:
    """A probe that only ever told temperature is no news; one that is wholly silent is 'no reading' and not both."""
    story = Story(batches=(batch(),), air={TOP: (37.5, None)})
    story.run(minutes=60)
    assert story.transitions == []
    story = one_probe()
    story.air[TOP] = None
    story.run(minutes=30)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]


@given(
    st.lists(st.tuples(st.floats(allow_nan=True) | st.none(), st.floats(allow_nan=True) | st.none()), max_size=30),
    st.sampled_from(["hen", "wet-hen"]),
)
@settings(max_examples=100, deadline=None)
def test_no_reading_breaks_the_decision(airs: list[Air], kind: str) -> None:
    """Whatever numbers come, the decision answers, stores each reading once, and judges only finite values."""
    story = Story(batches=(batch(profile_id=kind),))
    for air in airs:
        story.at_s += 10.0
        story.tick()
        story.air = {TOP: air}
        story.speak()
    assert len(story.readings) == len(airs)
    heard = story.state.probe(TOP).heard
    assert heard is None or (math.isfinite(heard.dry_bulb_c) and math.isfinite(heard.rh_pct or 0.0))
    for transition in story.transitions:
        assert transition.alarm.value is None or math.isfinite(transition.alarm.value)


# Silence.


def test_no_data_from_a_probe() -> None:
    """A probe that stops is told once its allowed silence and the on-delay are over; two readings in time end it."""
    story = one_probe()
    story.air[TOP] = None
    story.run(seconds=story.site.probes[TOP].silence_s + RULES[NO_DATA].on_delay_s)
    assert story.transitions == []
    story.run(seconds=2)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]
    story.air[TOP] = GOOD
    story.run(seconds=10)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]
    story.run(seconds=10)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED), (NO_DATA, RETURNED)]


def test_a_probe_that_never_spoke_is_silent_from_the_start() -> None:
    """A configured probe that was never heard is told as soon as one that stopped, also in a machine without eggs."""
    story = Story()
    story.run(minutes=1)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]


def test_late_data_is_not_data() -> None:
    """Of a node whose readings are all old nothing can be judged, for history is no news; but it is not silent, and that is told."""
    story = one_probe()
    for _ in range(60):
        story.at_s += 10.0
        story.tick()
        story.send("node-a", Sample("top", 37.5, 45.0), up_s=int(story.at_s) + 100 - 3_600)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]
    assert story.about(NO_DATA, TOP) == "its messages come 60 min late"
    assert story.titles() == ["Urgent: Setter 1 (node-a/top) readings not usable"]


def two_nodes() -> Story:
    watched = probes((TOP, "setter-1"), ("node-b/top", "setter-1"), ("node-c/top", "hatcher-1"))
    story = Story(site=site(watched), batches=(batch(),), air=dict.fromkeys(watched, GOOD))
    story.run(minutes=1)
    assert story.transitions == []
    return story


def test_a_node_that_goes_is_told_once() -> None:
    """A last will without data after it is 'node gone', and its probes are not told beside it; data ends it."""
    story = two_nodes()
    story.air[TOP] = None
    story.hear(Presence("node-a", False))
    story.run(minutes=10)
    assert story.states() == [(NODE_OFFLINE, UNACKNOWLEDGED)]
    story.air[TOP] = GOOD
    story.run(seconds=10)
    assert story.states() == [(NODE_OFFLINE, UNACKNOWLEDGED), (NODE_OFFLINE, RETURNED)]
    story.run(minutes=5)
    assert len(story.transitions) == 2


def test_data_outranks_the_will() -> None:
    """A will from an old connection, while the node goes on speaking, is no news."""
    story = two_nodes()
    story.hear(Presence("node-a", False))
    story.run(minutes=10)
    assert story.transitions == []
    assert there(story.state.node("node-a").said).online


def test_a_node_that_comes_back_at_once_is_no_news() -> None:
    """A will and a birth within the on-delay raise nothing."""
    story = two_nodes()
    story.air[TOP] = None
    story.hear(Presence("node-a", False))
    story.run(seconds=20)
    story.hear(Presence("node-a", True))
    story.air[TOP] = GOOD
    story.run(minutes=10)
    assert story.transitions == []


def test_a_birth_without_data_is_not_the_end_of_silence() -> None:
    """A node that says it is online and sends nothing ends 'node gone', and its probe is told as silent."""
    story = two_nodes()
    story.air[TOP] = None
    story.hear(Presence("node-a", False))
    story.run(minutes=2)
    story.hear(Presence("node-a", True))
    story.run(minutes=2)
    assert story.states() == [(NODE_OFFLINE, UNACKNOWLEDGED), (NODE_OFFLINE, RETURNED), (NO_DATA, UNACKNOWLEDGED)]


def test_a_retained_status_is_no_news_of_its_own() -> None:
    """A retained status that only repeats what is known changes nothing; a retained last will that was missed is believed until data
    comes; a node of nobody is not kept."""
    story = two_nodes()
    story.hear(Presence("node-a", True))
    since = story.state.node("node-a").said
    story.at_s += 5.0
    story.hear(Presence("node-a", True, retained=True))
    assert story.state.node("node-a").said == since
    story.hear(Presence("node-b", False, retained=True))
    assert not there(story.state.node("node-b").said).online
    story.run(seconds=10)
    assert there(story.state.node("node-b").said).online  # it speaks
    story.hear(Presence("node-of-nobody", False))
    assert "node-of-nobody" not in story.state.nodes


def test_every_node_silent_is_said_once() -> None:
    """When all nodes stop at once one critical alarm is told; no probe and no node is told beside it, and each that does not come back
    is told after it."""
    story = two_nodes()
    story.air = dict.fromkeys(story.air)
    story.run(minutes=20)
    assert story.states() == [(ALL_SILENT, UNACKNOWLEDGED)]
    assert story.about(ALL_SILENT, "site") == "None of 3 nodes is heard"
    assert story.titles() == ["Urgent: All machines every node silent"]
    story.air[TOP] = GOOD
    story.run(minutes=2)
    assert story.states()[1] == (ALL_SILENT, RETURNED)
    assert sorted(story.states()[2:]) == [(NO_DATA, UNACKNOWLEDGED)] * 2


def test_every_node_gone_by_its_will_is_said_once() -> None:
    """All wills at once are the room, not three nodes."""
    story = two_nodes()
    story.air = dict.fromkeys(story.air)
    for node in ("node-a", "node-b", "node-c"):
        story.hear(Presence(node, False))
    story.run(minutes=10)
    assert story.states() == [(ALL_SILENT, UNACKNOWLEDGED)]


def test_one_node_alone_is_no_room() -> None:
    """With a single node its silence is 'no reading', and not 'every node'."""
    story = one_probe()
    story.air[TOP] = None
    story.run(minutes=20)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]


# Humidity at lockdown.


def test_humidity_that_is_raised_in_time_is_no_news() -> None:
    """Low humidity within the settling time after lockdown is expected; raised before its end, nothing is told."""
    story = Story(batches=(batch(day=17.99),), air={TOP: GOOD})
    story.run(minutes=60)
    story.air[TOP] = (37.5, 65.0)
    story.run(minutes=60)
    assert story.transitions == []


def test_not_raised_raised_and_low_again() -> None:
    """The whole story of one batch in the hatcher."""
    watched = probes((TOP, "hatcher-1"))
    story = Story(site=site(watched), batches=(batch("due", machine="hatcher-1", day=18.0),), air={TOP: GOOD})
    story.run(minutes=60)
    assert story.transitions == []
    story.run(minutes=30)
    assert story.states() == [(NOT_RAISED, UNACKNOWLEDGED)]
    assert story.titles() == ["Soon: Hatcher humidity not raised"]
    assert "due day 18 lockdown" in story.notices[0].text
    since = story.alarm(NOT_RAISED, "hatcher-1").since
    assert since is not None
    assert timedelta(minutes=60) <= since - T0 <= timedelta(minutes=60, seconds=10)
    story.air[TOP] = (37.5, 65.0)
    story.run(minutes=3)
    assert story.states()[-1] == (NOT_RAISED, RETURNED)
    assert len(story.titles()) == 1  # that it was raised is no message
    story.air[TOP] = (37.5, 54.0)
    story.run(minutes=300)
    assert story.states()[-1] == ("humidity-low-warning", UNACKNOWLEDGED)
    assert [s for s in story.states() if s[0] == NOT_RAISED] == [(NOT_RAISED, UNACKNOWLEDGED), (NOT_RAISED, RETURNED)]


def test_a_late_move_has_its_settling_time() -> None:
    """Eggs moved to the hatcher a day late have the full settling time there, and then the alarm."""
    watched = probes((TOP, "hatcher-1"))
    story = Story(site=site(watched), air={TOP: GOOD})
    story.run(minutes=1)
    story.put(moved(batch("late", day=19.0), "hatcher-1", story.now().utc))
    story.run(minutes=59)
    assert story.transitions == []
    story.run(minutes=5)
    assert story.states() == [(NOT_RAISED, UNACKNOWLEDGED)]


def test_a_newcomer_does_not_excuse_the_overdue() -> None:
    """While the alarm stands for one batch, another that moves in and settles does not end it."""
    watched = probes((TOP, "hatcher-1"))
    old = batch("old", machine="hatcher-1", day=19.0)
    story = Story(site=site(watched), batches=(old,), air={TOP: GOOD})
    story.run(minutes=5)
    assert story.states() == [(NOT_RAISED, UNACKNOWLEDGED)]
    story.put(moved(batch("new", machine="setter-1", day=18.5), "hatcher-1", story.now().utc))
    story.run(minutes=50)
    assert story.states() == [(NOT_RAISED, UNACKNOWLEDGED)]


def test_lockdown_that_was_declared_early_counts_from_then() -> None:
    """A pip on day 16: nothing for the settling time, and then the alarm."""
    story = Story(batches=(batch(day=16.0),), air={TOP: GOOD})
    story.run(minutes=1)
    story.put(declared(story.state.batches["hen-1"], "lockdown", story.now().utc))
    story.run(minutes=59)
    assert story.transitions == []
    story.run(minutes=5)
    assert story.states() == [(NOT_RAISED, UNACKNOWLEDGED)]


# People and plans.


def test_an_emptied_machine_is_quiet_by_design() -> None:
    """When the eggs leave, what stands is suppressed and says so once; when eggs come back it is judged anew."""
    story = one_probe()
    story.air[TOP] = (39.5, 45.0)
    story.run(minutes=1)
    story.put(closed(story.state.batches["hen-1"], story.now().utc))
    assert [(t.state_before, t.state) for t in story.transitions] == [
        (NORMAL, UNACKNOWLEDGED),
        (UNACKNOWLEDGED, SUPPRESSED),
    ]
    assert story.titles() == ["Urgent: Setter 1 too hot", "Over: Setter 1 no longer judged"]
    assert story.notices[-1].text == "Was too hot; no eggs in it. No. 1"
    story.run(minutes=30)
    assert len(story.transitions) == 2
    story.put(moved(batch("hen-2", machine=None), "setter-1", story.now().utc))
    story.run(minutes=1)
    assert [s for r, s in story.states()[2:] if r == "dry-bulb-high-alarm"] == [RETURNED, UNACKNOWLEDGED]
    assert story.alarm("dry-bulb-high-alarm").number == 2


def test_bands_in_conflict_are_told_and_cleared() -> None:
    """Eggs that cannot share a machine are told at once, naming both; moving one ends it; meanwhile the strictest heat limit stands."""
    story = one_probe()
    story.put(moved(batch("cold-1", "cold-bird", machine=None), "setter-1", story.now().utc))
    assert story.states() == [(CONFLICT, UNACKNOWLEDGED)]
    assert "temperature: hen-1 day 5 incubation, cold-1 day 5 incubation" in story.notices[0].text
    story.air[TOP] = (38.6, 45.0)
    story.run(minutes=2)
    assert story.states()[-1] == ("dry-bulb-high-alarm", UNACKNOWLEDGED)
    assert story.alarm("dry-bulb-high-alarm").limit == 38.5
    story.put(moved(story.state.batches["cold-1"], "hatcher-1", story.now().utc))
    assert story.state_of(CONFLICT) == RETURNED


def test_a_conflict_that_stands_names_whom_it_is_about_now() -> None:
    """When a third batch joins a conflict, the alarm that asks again names it too."""
    story = one_probe()
    story.put(moved(batch("cold-1", "cold-bird", machine=None), "setter-1", story.now().utc))
    story.put(moved(batch("cold-2", "cold-bird", machine=None), "setter-1", story.now().utc))
    assert "cold-2" in story.about(CONFLICT)


def test_eggs_without_a_profile_are_told() -> None:
    """A batch whose profile is gone is told at once: nothing is judged for it."""
    story = Story(batches=(batch(profile_id="dodo"),), air={TOP: (20.0, 10.0)})
    story.run(minutes=30)
    assert story.states() == [(MISSING, UNACKNOWLEDGED)]
    assert "hen-1 (profile unknown)" in story.notices[0].text


def test_a_stage_that_begins_changes_the_limits_by_itself() -> None:
    """At the minute of lockdown the setter's high humidity limit is gone, without anybody's act."""
    story = Story(batches=(batch(day=18.0 - 240 / 1440),), air={TOP: (37.5, 56.0)})
    story.run(minutes=239)
    assert story.states() == [("humidity-high-warning", UNACKNOWLEDGED)]
    story.run(minutes=130)
    assert story.state_of("humidity-high-warning") == RETURNED


def test_an_acknowledged_alarm_asks_again() -> None:
    """A standing alarm that was acknowledged is told again after its time to respond, with STILL."""
    story = one_probe()
    story.air[TOP] = (39.5, 45.0)
    story.run(minutes=1)
    key = ("setter-1", "dry-bulb-high-alarm")
    out = Group()
    settle(story.look(out), key, acknowledge(story.state.alarms[key], "sam", story.now()))
    story.adopt(out)
    assert story.state_of("dry-bulb-high-alarm") == ACKNOWLEDGED
    story.run(minutes=RULES["dry-bulb-high-alarm"].respond_min - 1)
    assert story.titles() == ["Urgent: Setter 1 too hot"]
    story.run(minutes=1)
    assert story.titles() == ["Urgent: Setter 1 too hot", "Urgent: Setter 1 STILL too hot"]


def test_a_shelf_ends_by_passing_time() -> None:
    """A shelved alarm that still stands is told when the shelf ends."""
    story = one_probe()
    story.air[TOP] = (39.5, 45.0)
    story.run(minutes=1)
    key = ("setter-1", "dry-bulb-high-alarm")
    out = Group()
    stepped = shelve(story.state.alarms[key], 600.0, "sam", now=story.now(), rule=story.site.rules[key[1]])
    settle(story.look(out), key, stepped)
    story.adopt(out)
    story.run(minutes=9)
    assert len(story.notices) == 1
    story.run(minutes=2)
    assert story.titles() == ["Urgent: Setter 1 too hot", "Urgent: Setter 1 too hot"]


def test_an_alarm_about_what_is_gone_does_not_stand_for_ever() -> None:
    """After a restart with another configuration, an alarm of the record about a probe that is gone is ended, with a row that joins the
    one before, and said; one by a rule that is gone is forgotten; neither breaks the decision."""
    before = Story(site=site(probes((TOP, "setter-1"), ("node-z/top", "setter-1"))), air={TOP: GOOD})
    before.run(minutes=2)
    assert before.states() == [(NO_DATA, UNACKNOWLEDGED)]
    gone = before.state.alarms[("node-z/top", NO_DATA)]
    odd = replace(gone, subject="setter-1", rule="no-such-rule", number=7)
    after = Story(air={TOP: GOOD})
    after.state.alarms = {gone.key: gone, odd.key: odd}
    out = Group()
    retire(after.look(out))
    after.adopt(out)
    after.run(minutes=60)
    assert [(t.alarm.key, t.state_before, t.state) for t in after.transitions] == [
        (gone.key, UNACKNOWLEDGED, SUPPRESSED)
    ]
    assert after.titles() == ["Over: node-z/top no longer judged"]
    assert not after.transitions[0].alarm.condition


def test_what_is_configured_again_is_judged_again() -> None:
    """A probe that was taken out of the configuration and put back is told when it is silent, like any other."""
    both = site(probes((TOP, "setter-1"), ("node-z/top", "setter-1")))
    story = Story(site=both, air={TOP: GOOD})
    story.run(minutes=2)
    for house in (site(), both):
        story.site = house
        out = Group()
        retire(replace(story.look(out), site=house))
        story.adopt(out)
    story.run(minutes=2)
    assert story.state_of(NO_DATA, "node-z/top") == UNACKNOWLEDGED
    assert story.titles()[-1] == "Urgent: Setter 1 (node-z/top) no reading"


def test_starting_again_and_again_changes_no_alarm() -> None:
    """What is no longer configured is said once, not at every start; and what rests because its machine is empty rests on."""
    both = site(probes((TOP, "setter-1"), ("node-z/top", "setter-1")))
    story = Story(site=both, batches=(batch(),), air={TOP: (40.0, 45.0)})
    story.run(minutes=2)
    story.put(closed(story.state.batches["hen-1"], story.now().utc))
    story.site = site()
    assert story.state_of("dry-bulb-high-alarm") == SUPPRESSED
    for start in range(3):
        out = Group()
        retire(story.look(out))
        story.adopt(out)
        gone = [] if start else [("node-z/top", NO_DATA)]
        assert [t.alarm.key for t in out.transitions] == gone
    assert story.state_of("dry-bulb-high-alarm") == SUPPRESSED


def test_eggs_in_a_machine_that_is_not_configured_are_told() -> None:
    """Eggs whose machine is gone from the configuration are told at once: nobody watches them."""
    story = Story(batches=(batch(machine="setter-of-old"),), air={TOP: GOOD})
    out = Group()
    retire(story.look(out))
    story.adopt(out)
    story.run(minutes=5)
    assert any("hen-1" in n.text for n in story.notices)


def test_an_alarm_is_told_again_until_somebody_answers() -> None:
    """A standing critical alarm is told after re_alarm_s, and in ever longer steps, as STILL standing, under its one number."""
    story = one_probe()
    story.air[TOP] = (40.9, 45.0)
    for _ in range(46):
        story.run(minutes=1)
        story.state.waiting.clear()  # each message got through
        story.state.unsent.clear()
    told = [n.title for n in story.notices]
    assert told[0] == "Urgent: Setter 1 deadly heat"
    assert told[1:] == ["Urgent: Setter 1 STILL deadly heat"] * 5  # after 5, 10, 15, 25 and 45 minutes
    assert {n.alarm_number for n in story.notices} == {1}
    assert story.states() == [("dry-bulb-lethal", UNACKNOWLEDGED)]


def test_a_mild_alarm_is_told_once() -> None:
    """What is low is told once and then waits on the list, however long it stands."""
    story = one_probe()
    story.air[TOP] = (36.8, 45.0)
    for _ in range(30):
        story.run(minutes=10)
        story.state.waiting.clear()
        story.state.unsent.clear()
    assert [n.priority for n in story.notices] == ["low"]


def test_a_probe_slower_than_it_should_be_is_one_alarm() -> None:
    """A probe that speaks each minute where each ten seconds are configured is one standing alarm, not one each minute."""
    story = one_probe()
    story.run(minutes=1)
    for _ in range(60):
        story.air[TOP] = None
        story.run(seconds=50)
        story.air[TOP] = GOOD
        story.run(seconds=10)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]


def test_what_is_refused_is_kept() -> None:
    """A message that was not understood becomes a row with its time."""
    story = one_probe()
    out = story.hear(Refused("a/b", b"x", "why"))
    assert [(r.at, r.refused.reason) for r in out.refused] == [(story.now().utc, "why")]


def test_numbers_are_never_used_again() -> None:
    """Every episode of every alarm has its own number, rising."""
    story = one_probe()
    for value in (39.5, 37.5, 35.0, 37.5, 39.5, 37.5):
        story.air[TOP] = (value, 45.0)
        story.run(minutes=12)
    begun = [t.alarm.number for t in story.transitions if t.state == UNACKNOWLEDGED]
    assert len(begun) >= 3
    assert begun == sorted(set(begun))


@pytest.mark.parametrize("step_h", [-20_000.0, -30.0, -3.0, 3.0, 24.0])
@pytest.mark.parametrize("clock_ok", [False, True])
def test_a_clock_that_is_set_moves_no_alarm(step_h: float, clock_ok: bool) -> None:
    """However the label clock is set, no alarm fires, ends, repeats or is lost by it; a standing one stands, a pending one goes on."""
    story = Story(batches=(batch(day=5.0),), air={TOP: (39.5, 45.0)}, clock_ok=clock_ok)
    story.run(minutes=1)
    story.air[TOP] = (39.5, 35.0)
    story.run(minutes=10)
    before = list(story.states())
    assert before == [("dry-bulb-high-alarm", UNACKNOWLEDGED)]
    story.utc_step, story.clock_ok = timedelta(hours=step_h), True
    story.run(minutes=10)
    assert story.states() == before
    assert story.alarm("dry-bulb-high-alarm").condition


def test_monitoring_does_not_wait_for_the_right_time() -> None:
    """A board that wakes decades ago, with eggs in its machines, judges their temperature from the second reading on."""
    story = Story(batches=(batch(day=5.0),), air={TOP: (40.0, 45.0)}, clock_ok=False, utc_step=timedelta(days=-20_000))
    story.run(minutes=1)
    assert story.states() == [("dry-bulb-high-alarm", UNACKNOWLEDGED)]
    assert "hen-1" in story.notices[0].text


def test_times_told_after_the_clock_is_set_are_right() -> None:
    """An alarm that began under a wrong clock is told, once the clock is set, with the time at which it began by the right one."""
    story = Story(batches=(batch(),), air={TOP: (39.5, 45.0)}, clock_ok=False, utc_step=timedelta(days=-9_000))
    story.run(minutes=1)
    story.utc_step, story.clock_ok = timedelta(0), True
    story.run(minutes=1)
    since = story.alarm("dry-bulb-high-alarm").since
    assert since is not None
    assert abs(since - T0) < timedelta(minutes=1)
    story.air[TOP] = GOOD
    story.run(minutes=2)
    assert "Lasted 2 min" in story.notices[-1].text


def test_the_same_items_give_the_same_decisions() -> None:
    """The decision reads no clock and draws no number: two runs are equal."""

    def run() -> Story:
        story = Story(site=site(profiles=PROFILES), batches=(batch(),), air={TOP: GOOD})
        for value in (39.5, 37.5, 35.0):
            story.air[TOP] = (value, 45.0)
            story.run(minutes=7)
        return story

    first, second = run(), run()
    assert first.transitions == second.transitions
    assert first.notices == second.notices
    assert first.state == second.state


def test_a_limit_that_is_not_there_now_suppresses_only_what_stands() -> None:
    """When a batch leaves nothing is written about the alarms that were at rest."""
    story = one_probe()
    story.put(closed(story.state.batches["hen-1"], story.now().utc))
    assert story.transitions == []
    assert story.state_of("dry-bulb-high-alarm") == NORMAL


def minutes_open(length: float, back: bool) -> Story:
    """A settled machine whose door is opened for so many minutes, its air falling to the room's; then back, or not."""
    story = one_probe()
    story.run(minutes=15)
    story.air[TOP] = (30.0, 35.0)
    story.run(minutes=length)
    if back:
        for share in (0.5, 0.8, 0.95, 1.0):
            story.air[TOP] = (30.0 + 7.5 * share, 35.0 + 10.0 * share)
            story.run(seconds=60)
    story.run(minutes=12)
    return story


def test_an_opening_is_recorded_and_wakes_nobody() -> None:
    """A door that is open for four minutes and whose air comes back is a line in the record, and no alarm."""
    story = minutes_open(4, back=True)
    assert story.states() == []
    assert [e.kind for e in story.events if e.kind == "opening"] == ["opening"]
    assert "lowest 30.0 °C" in next(opening_words(e.what) for e in story.events if isinstance(e.what, Opened))


def test_air_that_does_not_come_back_is_told_after_half_an_hour() -> None:
    """What looked like an opening and stays cold rings half an hour after the fall, with the time of the fall."""
    story = minutes_open(1, back=False)
    story.run(minutes=15)
    assert story.transitions == []
    story.run(minutes=4)
    first = story.transitions[0]
    assert first.alarm.rule == "dry-bulb-low-alarm"
    fell_at = T0 + timedelta(minutes=16)  # the story begins a minute after T0
    assert first.at - fell_at <= timedelta(minutes=30, seconds=10)
    assert first.alarm.since is not None
    assert first.alarm.since - fell_at <= timedelta(seconds=20)


def test_eggs_that_were_brought_to_a_hatcher_before_an_update_stay_in_lockdown() -> None:
    """A parrot's batch that the calendar had put into lockdown: in the hatcher it is declared at the start, once; in the setter it waits
    for a sign and reminds; a hen's is left alone."""
    parrot = replace(PROFILES["hen"], id="parrot", lockdown_by="internal pip")
    house = site({}, profiles={**PROFILES, "parrot": parrot})
    moved_ = [
        moved(batch(id_, kind, day=19.0), "hatcher-1", T0 - timedelta(days=1))
        for id_, kind in (("p-1", "parrot"), ("hen-1", "hen"))
    ]
    story = Story(site=house, batches=(*moved_, batch("p-2", "parrot", day=19.0)))
    story.state.books = {id_: EggBook(story.state.batches[id_]) for id_ in story.state.batches}
    for start in range(2):
        out = Group()
        retire(story.look(out))
        story.adopt(out)
        assert list(out.batches) == ([] if start else ["p-1"])
    assert [(d.stage, d.at) for d in story.state.batches["p-1"].declared] == [("lockdown", T0 - timedelta(days=1))]
    assert story.state.batches["hen-1"].declared == story.state.batches["p-2"].declared == ()
    assert {
        id_: book.batch for id_, book in story.state.books.items()
    } == story.state.batches  # each book goes on with its batch
    story.run(minutes=2)
    assert story.titles() == ["When you can: p-2 in Setter 1 draw-down may begin"]


# What stood before, what is not ours, what passing time does.


def stands(subject: str, rule: str, **facts: object) -> Alarm:
    """An alarm that somebody was told of."""
    alarm = Alarm(subject, rule, 7, 1, condition=True, acknowledged=False, told=True)
    return replace(alarm, **facts)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("alarm", "suppressed"),
    [
        (stands("setter-1", "dry-bulb-high-alarm"), ""),
        (stands("node-a", NODE_OFFLINE), ""),
        (stands(TOP, NO_DATA), ""),
        (stands("site", ALL_SILENT), ""),
        (stands("batch hen-1", "weight-off-track"), ""),
        (stands("batch gone", "weight-off-track"), "no longer configured"),
        (stands("setter-9", "dry-bulb-high-alarm"), "no longer configured"),
        (stands("node-x", NODE_OFFLINE), "no longer configured"),
        (stands("node-a/gone", NO_DATA), "no longer configured"),
        (stands("setter-1", "dry-bulb-high-alarm", suppressed="no eggs in it", condition=False), "no eggs in it"),
        (stands("setter-1", "dry-bulb-high-alarm", suppressed="no longer configured", condition=False), ""),
    ],
)
def test_at_a_start_only_what_is_not_configured_ends(alarm: Alarm, suppressed: str) -> None:
    """Its machine, probe, node or batch is not there: nobody will judge it again. What is quiet for another reason stays so, and what
    is configured again is open again."""
    story = Story(batches=(batch(),))
    story.state.alarms[alarm.key] = alarm
    retire(story.look())
    found = story.state.alarms[alarm.key]
    assert found.suppressed == suppressed
    assert found.condition is (alarm.condition and not suppressed)


def test_an_alarm_of_a_rule_that_is_gone_is_forgotten() -> None:
    """There is nothing to judge it by, nor to say it with."""
    story = Story(batches=(batch(),))
    for alarm in (stands("setter-1", "no-such-rule"), stands("setter-1", "dry-bulb-high-alarm")):
        story.state.alarms[alarm.key] = alarm
    retire(story.look())
    assert list(story.state.alarms) == [("setter-1", "dry-bulb-high-alarm")]


@pytest.mark.parametrize(
    ("of", "stray"),
    [
        (batch(machine="setter-9"), True),
        (batch(), False),
        (batch(machine=None), False),
        (closed(batch(machine="setter-9"), T0), False),
    ],
)
def test_only_open_eggs_in_no_machine_of_ours_are_astray(of: Batch, stray: bool) -> None:
    """Named by batch and machine, and over when they are put into one that is watched."""
    story = Story(batches=(of,))
    retire(story.look())
    assert (("site", MISSING) in story.state.alarms) is stray
    if stray:
        assert story.alarm(MISSING, "site").about == Astray((("hen-1", "setter-9"),))
        story.state.batches = {"hen-1": moved(of, "setter-1", story.now().utc)}
        retire(story.look())
        assert not story.alarm(MISSING, "site").condition


@pytest.mark.parametrize(("node", "ours"), [("node-a", True), ("node-x", False), ("", False)])
def test_a_message_that_was_not_understood_is_trouble_of_its_node(node: str, ours: bool) -> None:
    """With the reason, from now; of a node that is not ours only the row is kept."""
    story = Story()
    story.hear(Refused("t", b"x", "why", node))
    assert len(story.refused) == 1
    assert (node in story.state.nodes) is ours
    if ours:
        now_s = story.now().mono_s
        assert story.state.node(node).trouble == Trouble(now_s, Unusable(REFUSED, words="why"), now_s)


def test_passing_time_ends_a_shelf_over_what_is_at_rest() -> None:
    """A shelf ends at its second, whether its alarm stands or not; an alarm at rest without one is left alone."""
    story = Story(batches=(batch(),))
    story.tick()
    end_s = story.now().mono_s + 60.0
    for condition in (True, False):
        alarm = stands("setter-1", "dry-bulb-high-alarm", condition=condition, asked_mono_s=end_s)
        shelved = replace(alarm, shelved_until=T0 + timedelta(seconds=60), shelved_until_mono_s=end_s)
        for at_s, covered in ((59.0, True), (60.0, False)):
            story.at_s = at_s
            story.state.alarms[alarm.key] = shelved
            story.tick()
            assert story.alarm("dry-bulb-high-alarm").covered is covered


@pytest.mark.parametrize(("ago_s", "again"), [(599.0, False), (600.0, True)])
@pytest.mark.parametrize("acknowledged", [True, False])
def test_what_stands_is_told_again_after_its_time(ago_s: float, again: bool, acknowledged: bool) -> None:
    """Too hot is told again each ten minutes, answered or not, to the second; and from then the time begins anew."""
    story = Story(batches=(batch(),))
    story.tick()
    alarm = stands("setter-1", "dry-bulb-high-alarm", acknowledged=acknowledged, value=39.5, limit=39.0)
    story.state.alarms[alarm.key] = replace(alarm, asked_mono_s=story.now().mono_s - ago_s)
    story.tick()
    assert [n.title for n in story.notices] == (["Urgent: Setter 1 STILL too hot"] if again else [])
    assert story.alarm("dry-bulb-high-alarm").asked_mono_s == story.now().mono_s - (0.0 if again else ago_s)


def test_passing_time_alone_makes_a_silent_switch_doubtful() -> None:
    """Its node goes on telling of the air, and no longer of its door."""
    door = Switch("node-a/door", OF_DOOR, "setter-1")
    story = Story(site(switches=(door,)))
    story.at_s = 100.0
    mono_s = story.now().mono_s
    story.state.contacts[door.key] = Contact(False, T0, T0, (1, 0), mono_s - 61.0, mono_s - 61.0)
    story.state.node("node-a").spoke_mono_s = mono_s
    story.tick()
    assert (door.key, SWITCH_DOUBTFUL) in story.state.alarms
