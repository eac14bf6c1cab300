"""What is said of a machine's sensors: of which quantity the doubt is, and probes that speak at different paces."""

from __future__ import annotations

import pytest

from monitor.domain.alarms.about import Apart, Unfit
from monitor.domain.alarms.alarm import NORMAL, RETURNED, UNACKNOWLEDGED, Alarm
from monitor.domain.needs.rules import DISAGREE, SENSOR_FAILED, SENSOR_SUSPECT
from monitor.domain.needs.site import FORCED, GENTLE, STILL, Machine, Probe
from monitor.domain.readings.agreement import Pairs
from monitor.domain.readings.quality import Assessment
from monitor.domain.readings.reading import FAIL, NOT_EVALUATED, PASS, SUSPECT, Sample
from monitor.domain.signs.opening import declare
from monitor.domain.state.known import rule_of
from monitor.domain.state.memory import Heard, Held
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.sensors import compare_sensors, judge_sensor
from tests.domain.house import T0, Story, batch, probes, site

TOP = "node-a/top"


def about(rule: str, *tests: tuple[str, int], calm_s: float = 1200.0) -> str:
    """What is said of a sensor whose readings come to these tests, again and again; "" if nothing is."""
    story = Story(batches=(batch(),))
    probe = story.site.probes[TOP]
    flags = {quantity: max((f for t, f in tests if t.endswith(quantity)), default=PASS) for quantity in "TH"}
    quality = Assessment(max(flags.values()), tests, flags["T"], flags["H"])
    for _ in range(round(calm_s / 10.0)):
        story.at_s += 10.0
        now = story.now()
        judge_sensor(story.look(), Fresh(probe, now.utc, now.mono_s, 37.5, 45.0, quality, story.state.probe(TOP)))
    return story.about(rule, TOP) if story.state_of(rule, TOP) == UNACKNOWLEDGED else ""


def test_a_failed_sensor_is_named_by_the_test_that_failed() -> None:
    """Beside a doubt about another thing, a failure is called by what failed, whichever came first."""
    assert about(SENSOR_FAILED, ("NOISE-T", SUSPECT), ("FLAT-T", FAIL)) == "temperature stands still (FLAT-T)"
    assert about(SENSOR_FAILED, ("FLAT-T", FAIL), ("NOISE-T", SUSPECT)) == "temperature stands still (FLAT-T)"
    assert about(SENSOR_FAILED, ("RNG-T", FAIL)) == "temperature no sensible value (RNG-T)"


def test_air_that_is_far_too_hot_is_no_doubt_about_its_sensor() -> None:
    """A temperature that no egg lives in is the air's own news; a doubt about the humidity beside it is still told, and by its name."""
    assert about(SENSOR_SUSPECT, ("RNG-T", SUSPECT)) == ""
    assert about(SENSOR_SUSPECT, ("RNG-T", SUSPECT), ("FLAT-H", SUSPECT)) == "humidity stands still (FLAT-H)"
    assert about(SENSOR_SUSPECT, ("RNG-H", SUSPECT)) == "humidity no sensible value (RNG-H)"


def test_a_slow_probe_is_compared_with_a_quick_one() -> None:
    """Of one machine's two probes one speaks each ten seconds and one each five minutes: by 0.8 K apart for an hour they disagree, and
    the wait between two words of the slow one is no gap."""
    slow = "node-b/top"
    machine = {TOP: Probe(TOP, "setter-1", 10.0), slow: Probe(slow, "setter-1", 300.0)}
    story = Story(site=site(machine), batches=(batch(),), air={TOP: (37.5, 45.0)})
    for minute in range(0, 60, 5):
        story.send("node-b", Sample("top", 38.3 + 0.003 * (minute % 3), 45.0))
        if minute == 10:
            assert story.state_of(DISAGREE) == NORMAL
        story.run(minutes=5)
    assert story.state_of(DISAGREE) == UNACKNOWLEDGED
    assert "differ by 0.8 °C" in story.about(DISAGREE)


def test_a_reading_that_waits_for_the_next_mends_no_sensor() -> None:
    """A failed sensor is well again after readings that are fit, not after jumps that nobody has confirmed."""
    story = Story(batches=(batch(),))
    failed = Assessment(FAIL, (("FLAT-T", FAIL),), FAIL, PASS)
    jumps = Assessment(NOT_EVALUATED, (("SPK-T", NOT_EVALUATED),), PASS, PASS, dry_bulb_held=True)
    well = Assessment(PASS, (), PASS, PASS)
    for quality, state in ((failed, UNACKNOWLEDGED), (jumps, UNACKNOWLEDGED), (well, RETURNED)):
        for _ in range(120):
            story.at_s += 10.0
            now, known = story.now(), story.state.probe(TOP)
            reading = Fresh(story.site.probes[TOP], now.utc, now.mono_s, 37.5, 45.0, quality, known)
            judge_sensor(story.look(), reading)
        assert story.state_of(SENSOR_FAILED, TOP) == state


@pytest.mark.parametrize("test", ["FLAT-T", "FLAT-H"])
def test_a_doubtful_sensor_that_failed_is_not_believed_again(test: str) -> None:
    """Whoever read so beside "sensor failed" would go back to bed. Once it is well again, both are over."""
    story = Story(batches=(batch(),))
    of_air = test == "FLAT-T"
    doubtful = Assessment(SUSPECT, ((test, SUSPECT),), SUSPECT if of_air else PASS, PASS if of_air else SUSPECT)
    failed = Assessment(FAIL, ((test, FAIL),), FAIL if of_air else PASS, PASS if of_air else FAIL)
    states = []
    for quality in (doubtful, failed, Assessment(PASS, (), PASS, PASS)):
        for _ in range(120):
            story.at_s += 10.0
            now, known = story.now(), story.state.probe(TOP)
            judge_sensor(story.look(), Fresh(story.site.probes[TOP], now.utc, now.mono_s, 37.5, 45.0, quality, known))
        states.append((story.state_of(SENSOR_SUSPECT, TOP), story.state_of(SENSOR_FAILED, TOP)))
    assert states == [
        (UNACKNOWLEDGED, NORMAL),
        (UNACKNOWLEDGED, UNACKNOWLEDGED if of_air else NORMAL),
        (RETURNED, RETURNED if of_air else NORMAL),
    ]


def beside(*airs: tuple[float, float | None], minutes: float = 30.0, still: bool = False) -> Story:
    """Probes of one machine that stand so to one another, each saying its own."""
    names = [f"node-{letter}/top" for letter in "abc"[: len(airs)]]
    machine = "still-1" if still else "setter-1"
    story = Story(site=site(probes(*((name, machine) for name in names))), batches=(batch(machine=machine),))
    story.air = dict(zip(names, airs, strict=True))
    story.run(minutes=minutes)
    return story


@pytest.mark.parametrize("warmer", [0, 1])
def test_by_how_much_two_probes_differ_has_no_sign(warmer: int) -> None:
    """Whichever of them is the warmer: both are named, and the difference as it is."""
    airs = [(37.3, 45.0), (37.3, 45.0)]
    airs[warmer] = (38.0, 45.0)
    story = beside(*airs)
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert (about.probes, about.quantity, about.moved) == (("node-a/top", "node-b/top"), "dry_bulb_c", False)
    assert about.by == pytest.approx(0.7, abs=0.02)


def test_of_several_differences_the_worst_is_told() -> None:
    """A humidity that is far off is told before a temperature that is a little off, though that is found first."""
    story = beside((37.3, 45.0), (37.78, 33.0))
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert about.quantity == "rh_pct"
    story = beside((37.2, 45.0), (37.9, 45.0), minutes=60)
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert about.quantity == "dry_bulb_c"


def test_what_was_found_ends_only_when_it_was_looked_at_again() -> None:
    """Probes in moving air are not compared: what was told of them stands meanwhile, and ends in calm air that they agree about."""
    story = beside((37.3, 45.0), (38.0, 45.0))
    assert story.state_of(DISAGREE) == UNACKNOWLEDGED
    del story.air["node-b/top"]
    story.run(minutes=60)
    assert story.state_of(DISAGREE) == UNACKNOWLEDGED
    story.air["node-b/top"] = (37.3, 45.0)
    story.run(minutes=40)
    assert story.state_of(DISAGREE) == RETURNED


def test_probes_in_still_air_are_layered() -> None:
    """In air that nobody blows about a degree between top and bottom is nature: until a pair's usual difference is learnt, nothing is
    said of it."""
    assert beside((37.3, 45.0), (38.3, 45.0), still=True).state_of(DISAGREE, "still-1") == NORMAL
    assert beside((37.3, 45.0), (38.3, 45.0)).state_of(DISAGREE) == UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("air", "layered", "stopped"), [(FORCED, True, False), (GENTLE, False, True), (STILL, False, False)]
)
def test_how_strongly_a_machine_moves_its_air(air: str, layered: bool, stopped: bool) -> None:
    """Where a fan only just stirs it layers are nature, as without one, and that it stopped is told by how they change, as with a strong one. 0.6 K
    from the first hour on is no fan that stopped, of which a strong one could not say that it did."""
    names = ("node-a/top", "node-b/top")
    places = {"setter-1": Machine("setter-1", "Setter 1", air=air)}
    story = Story(site=site(probes(*((name, "setter-1") for name in names)), machines=places), batches=(batch(),))
    story.air = {"node-a/top": (37.62, 45.0), "node-b/top": (37.05, 45.0)}
    story.run(minutes=150)
    assert (DISAGREE in {rule for rule, _ in story.states()}) is layered
    for step in range(1, 9):
        story.air = {"node-a/top": (37.62 + 0.04 * step, 45.0), "node-b/top": (37.05, 45.0)}
        story.run(seconds=15.0)
    story.run(minutes=15)
    fan = [n for n in story.notices if n.priority == "high" and "Is the fan running?" in n.text]
    assert bool(fan) is stopped


def test_a_probe_alone_is_compared_with_nothing() -> None:
    """Of two probes one was never heard: there is nothing to keep, and nothing to say."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-b/top", "setter-1"))), batches=(batch(),))
    story.air = {TOP: (37.5, 45.0)}
    story.run(minutes=2)
    assert story.state.machine("setter-1").pairs is None


def test_what_a_failed_sensor_sent_is_told_where_it_is_no_temperature() -> None:
    """85 °C is a chip's word for nothing; of one that stands still its value is no news."""
    told = {}
    for test, sent_c in (("RNG-T", 85.0), ("FLAT-T", None)):
        story = Story(batches=(batch(),))
        quality = Assessment(FAIL, ((test, FAIL),), FAIL, PASS)
        for _ in range(60):
            story.at_s += 10.0
            now = story.now()
            reading = Fresh(
                story.site.probes[TOP], now.utc, now.mono_s, 37.5, 45.0, quality, story.state.probe(TOP), None, 85.0
            )
            judge_sensor(story.look(), reading)
        told[test] = story.alarm(SENSOR_FAILED, TOP).about
        assert told[test] == Unfit(test, sent_c)


def test_a_doubt_is_over_with_a_reading_that_is_fit() -> None:
    """Of a suspect sensor, and not while its newest reading waits for the next."""
    story = Story(batches=(batch(),))
    doubt = Assessment(SUSPECT, (("NOISE-T", SUSPECT),), SUSPECT, PASS)
    held = Assessment(NOT_EVALUATED, (), PASS, PASS, dry_bulb_held=True)
    well = Assessment(PASS, (), PASS, PASS)
    for quality, state in ((doubt, UNACKNOWLEDGED), (held, UNACKNOWLEDGED), (well, RETURNED)):
        for _ in range(400):
            story.at_s += 10.0
            now, known = story.now(), story.state.probe(TOP)
            judge_sensor(story.look(), Fresh(story.site.probes[TOP], now.utc, now.mono_s, 37.5, 45.0, quality, known))
        assert story.state_of(SENSOR_SUSPECT, TOP) == state


def test_what_is_no_probe_of_ours_has_not_failed() -> None:
    """A sample without a temperature of a name that is not configured is kept aside, and judged by nobody; nor is one that waited."""
    story = Story(batches=(batch(),), air={TOP: (37.5, 45.0)})
    story.run(minutes=1)
    for _ in range(30):
        story.at_s += 10.0
        story.send("node-a", Sample("top", 37.5, 45.0), Sample("odd", None, None, fault="crc"))
    assert story.state.alarms == {}
    for _ in range(30):
        story.at_s += 10.0
        story.send("node-a", Sample("top", None, 45.0, fault="crc"), up_s=int(story.at_s) + 100 - 600)
    assert (TOP, SENSOR_FAILED) not in story.state.alarms


def test_which_of_two_jumped_is_named() -> None:
    """One moved by a degree from one reading to the next and the other did not: it is named. Where both did, as in a door's air, or
    neither, nobody knows."""
    for moves, said in (
        (((38.5, 45.0), (37.3, 45.0)), "node-a/top jumped and is 1.2 °C from node-b/top, which did not"),
        (((37.3, 45.0), (36.0, 45.0)), "node-b/top jumped and is 1.3 °C from node-a/top, which did not"),
        (((38.9, 45.0), (40.1, 45.0)), "node-a/top and node-b/top differ by 1.2 °C"),
    ):
        story = beside((37.3, 45.0), (37.3, 45.0))
        story.air = dict(zip(story.air, moves, strict=True))
        story.run(minutes=30)
        assert story.about(DISAGREE) == said


def stopped_fan(by_k: float = 0.3, *, minutes: float = 20.0, steps: int = 8) -> Story:
    """Two probes that agree for two hours; within two minutes the layers of air that no longer mixes form, and both stay well in their band."""
    story = beside((37.5, 45.0), (37.4, 45.0), minutes=120)
    for step in range(1, steps + 1):
        part_k = by_k * step / steps / 2.0
        story.air = {"node-a/top": (37.5 + part_k, 45.0), "node-b/top": (37.4 - part_k, 45.0)}
        story.run(seconds=120.0 / steps)
    story.run(minutes=minutes)
    return story


def test_a_fan_that_stopped_wakes_while_the_air_still_looks_well() -> None:
    """Eggs get hot by their own heat in air that does not move, of which neither probe shows anything: so this is as urgent as "too hot", is told
    once, and is over when the air mixes again."""
    story = stopped_fan(minutes=14)
    (told,) = story.notices
    assert (told.priority, story.state_of(DISAGREE)) == ("high", UNACKNOWLEDGED)
    assert story.about(DISAGREE) == "node-a/top and node-b/top differ otherwise than usual, by 0.3 °C"
    assert "Is the fan running?" in told.text
    assert {rule for rule, _ in story.states()} == {DISAGREE}
    story.air = {"node-a/top": (37.5, 45.0), "node-b/top": (37.4, 45.0)}
    story.run(minutes=40)
    assert story.state_of(DISAGREE) == RETURNED
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"


def test_a_fan_that_stopped_is_told_once_also_as_the_air_leaves_its_band() -> None:
    """They differ by more and more, then one of them is out of its band: it was as urgent from the first, and the episode is the same."""
    story = stopped_fan()
    for up in range(1, 8):
        story.air = {"node-a/top": (37.65 + 0.2 * up, 45.0), "node-b/top": (37.25 - 0.05 * up, 45.0)}
        story.run(minutes=3)
    told = [n for n in story.notices if n.facts is not None and n.facts.rule == DISAGREE]
    assert {n.alarm_number for n in told} == {told[0].alarm_number}
    assert len({n.created for n in told if not n.closing and n.alarm_number}) <= 2  # asked again after its time, as any
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert about.outside
    assert about.unmixed


def test_what_disagreed_mildly_wakes_when_the_fan_stops() -> None:
    """Of two that were told as apart for a day, within the band, that is news once more."""
    story = beside((37.2, 45.0), (37.6, 45.0), minutes=120)
    for step in range(1, 60):  # over hours, as a sensor that drifts
        story.air = {"node-a/top": (37.2, 45.0), "node-b/top": (37.6 + 0.004 * step, 45.0)}
        story.run(minutes=4)
    assert [n.priority for n in story.notices] == ["low"]
    for step in range(1, 5):
        story.air = {"node-a/top": (37.2 - 0.04 * step, 45.0), "node-b/top": (37.84 + 0.04 * step, 45.0)}
        story.run(seconds=30)
    story.run(minutes=15)
    assert [n.priority for n in story.notices] == ["low", "high"]


def test_what_alone_jumped_is_no_fan() -> None:
    """Layers form at both, over minutes: of a probe that jumped, as one that was put in another's place, it is said mildly, and by its name."""
    story = beside((37.2, 45.0), (37.2, 45.0), minutes=120)
    story.air["node-a/top"] = (37.9, 45.0)
    story.run(minutes=45)
    assert [n.priority for n in story.notices] == ["low"]
    assert "jumped" in story.about(DISAGREE)


@pytest.mark.parametrize("steps", [1, 8])
def test_one_of_three_that_alone_jumped_is_no_fan(steps: int) -> None:
    """It differs otherwise than usual, by itself, for as long as it stays there: said mildly, and never as air that does not mix. What came apart
    as much within two minutes, and not at once, is that."""
    story = beside((37.2, 45.0), (37.2, 45.0), (37.2, 45.0), minutes=120)
    for step in range(1, steps + 1):
        story.air["node-a/top"] = (37.2 + 0.7 * step / steps, 45.0)
        story.run(seconds=120.0 / steps)
    unmixed = set()
    for _ in range(60):
        story.run(minutes=1)
        unmixed.add(story.state.machine("setter-1").unmixed)
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert about.probes == ("node-a/top",)
    assert (about.jumped, about.unmixed) == (("node-a/top", False) if steps == 1 else ("", True))
    assert (True in unmixed) is about.unmixed
    assert {n.priority for n in story.notices} == ({"low"} if steps == 1 else {"high"})


def test_one_of_three_that_jumped_while_another_did_is_not_named_for_it() -> None:
    """One stays far off and another less far, from the same reading on: so air moves, and it may be the air that does not mix."""
    story = beside((36.6, 45.0), (36.6, 45.0), (36.6, 45.0), minutes=120)
    story.air |= {"node-a/top": (38.6, 45.0), "node-b/top": (37.2, 45.0)}
    story.run(minutes=20)
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert (about.probes, about.jumped, about.unmixed) == (("node-a/top",), "", True)


@pytest.mark.parametrize("machine", ["setter-1", "room"])
def test_no_fan_is_asked_for_where_there_are_no_eggs(machine: str) -> None:
    """In an empty machine, or in a room, air moves as it likes; and what was usual before eggs were put in is forgotten."""
    names = ("node-a/top", "node-b/top")
    story = Story(site=site(probes(*((name, machine) for name in names))), batches=())
    story.air = dict.fromkeys(names, (37.5, 45.0))
    story.run(minutes=120)
    story.air[names[1]] = (37.2, 45.0)
    story.run(minutes=60)
    assert story.notices == []
    pairs = story.state.machine(machine).pairs
    assert pairs is not None
    assert [pair.steady for pair in pairs.pairs.values()] == [None]


@pytest.mark.parametrize("why", ["work", "eggs"])
def test_no_fan_is_asked_for_while_someone_is_at_the_machine(why: str) -> None:
    """With work declared, or eggs just put in, the air does not stand as it does; what is still so later is told."""
    story = beside((37.5, 45.0), (37.4, 45.0), minutes=120)
    known, now = story.state.machine("setter-1"), story.now()
    if why == "work":
        known.handling = declare("setter-1", for_s=3600.0, by="sam", now=now)
    else:
        known.put_in_s = now.mono_s
    story.air = {"node-a/top": (37.65, 45.0), "node-b/top": (37.25, 45.0)}
    story.run(minutes=25)
    assert story.state_of(DISAGREE) == NORMAL
    known.handling = None
    story.run(minutes=40)
    assert story.state_of(DISAGREE) == UNACKNOWLEDGED


@pytest.mark.parametrize(("lower_c", "priority"), [(36.95, "low"), (36.7, "high"), (36.3, "high")])
def test_two_sound_sensors_a_little_out_of_the_band_wake_nobody(lower_c: float, priority: str) -> None:
    """0.6 K is what two of them may differ by: beyond what is only warned of it takes more, beyond an alarm limit nothing."""
    story = beside((37.55, 45.0), (lower_c, 45.0), minutes=40)
    told = [n.priority for n in story.notices if n.facts is not None and n.facts.rule == DISAGREE]
    assert told[:1] == [priority]


def test_a_disagreement_is_news_again_when_it_leaves_the_band() -> None:
    """Within the band it is mild; as soon as the air at one of them is out of it, it is told once more, and wakes; and only once."""
    story = beside((37.2, 45.0), (37.9, 45.0))
    told = [n for n in story.notices if n.facts is not None and n.facts.rule == DISAGREE]
    assert [n.priority for n in told] == ["low"]
    names = list(story.air)
    for up in range(1, 10):
        story.air = {names[0]: (37.2, 45.0), names[1]: (37.9 + 0.1 * up, 45.0)}
        story.run(minutes=5)
    told = [n for n in story.notices if n.facts is not None and n.facts.rule == DISAGREE]
    assert [n.priority for n in told] == ["low", "high"]
    assert {n.alarm_number for n in told} == {told[0].alarm_number}
    assert story.state_of("dry-bulb-high-warning") == NORMAL


def test_one_coarse_probe_of_two_that_is_stuck_is_found_when_the_other_moves() -> None:
    """Steps of half a degree and of one %RH: alone it is waited for half a day. A door that the other shows, and it does not, is enough."""
    for stuck in (True, False):
        house = probes(("node-a/top", "setter-1"), ("node-b/top", "setter-1"), interval_s=60.0)
        story = Story(site=site(house), batches=(batch(),))
        for minute in range(300):
            ripple = 0.5 if minute // 10 % 2 else 0.0
            door = max(0.0, 3.0 - (minute - 270) / 10.0) if minute >= 270 else 0.0
            for node, lives in (("node-a", True), ("node-b", not stuck)):
                at_rest = minute < 60 or minute >= 270  # what moves in the hours between stays within a step
                moved = (ripple if minute < 60 else 0.0) - (round(2.0 * door) / 2.0 if lives else 0.0)
                story.send(node, Sample("top", 37.5 + moved, 50.0 + (2.0 * ripple if at_rest else 0.0)))
            story.at_s += 60.0
            story.tick()
        doubted = [subject for subject, rule in story.state.alarms if rule == SENSOR_SUSPECT]
        assert doubted == (["node-b/top"] if stuck else [])


HOT, COLD = "dry-bulb-high-alarm", "dry-bulb-low-alarm"


def jumping(by_k: float, *, other_k: float = 0.0, minutes: float = 8.0) -> Story:
    """Two probes that agreed for half an hour, of which one moves all at once by so much, and the other by so much."""
    story = beside((37.5, 45.0), (37.5, 45.0))
    assert story.notices == []
    one, other = story.air
    story.air[one], story.air[other] = (37.5 + by_k, 45.0), (37.5 + other_k, 45.0)
    story.run(minutes=minutes)
    return story


def test_a_probe_that_alone_jumps_out_of_the_band_is_told_as_that_and_at_once() -> None:
    """No air does that: the sensors disagree, one is named, as urgently as too hot; and that is told too when its time to respond is over."""
    story = jumping(2.0, minutes=1)
    (told,) = story.notices
    assert (told.priority, told.title) == ("high", "Urgent: Setter 1 sensors disagree")
    assert "jumped and is 2.0 °C from" in told.text
    story.run(minutes=story.site.rules[HOT].respond_min - 2.0)
    assert story.state_of(HOT) == NORMAL
    story.run(minutes=3)
    assert story.state_of(HOT) == UNACKNOWLEDGED


def test_a_probe_that_falls_alone_is_told_before_too_cold() -> None:
    """It has to outlast a door; then it is what is told, and not that the machine is too cold."""
    story = jumping(-2.5, minutes=3)
    assert story.notices == []
    story.run(minutes=5)
    assert [n.title for n in story.notices] == ["Urgent: Setter 1 sensors disagree"]


@pytest.mark.parametrize(("by_k", "other_k", "rule"), [(2.5, 2.2, HOT), (2.5, 0.9, HOT), (-3.0, -1.2, COLD)])
def test_air_that_moves_at_both_probes_is_the_machine(by_k: float, other_k: float, rule: str) -> None:
    """Also where one of them sees less of it: then nothing is said of a sensor that jumped."""
    story = jumping(by_k, other_k=other_k, minutes=12)
    assert story.state_of(rule) == UNACKNOWLEDGED
    assert story.state_of(DISAGREE) == NORMAL


# A visit in the cabinet model, two sensors of unlike lag each ten seconds: when the door is shut the faster one leaps by 1.2 K.
FAST_C = (37.8, 34.61, 33.0, 31.63, 30.58, 29.73, 29.08, 28.56, 28.15, 27.83, 27.53, 27.6, 27.6, 28.81, 29.48, 30.18, 30.89, 31.61, 32.26, 32.85, 33.42, 33.9, 34.34, 34.74, 35.13, 35.49, 35.81, 36.16, 36.39, 36.65, 36.91, 37.13, 37.21, 37.32)  # fmt: skip
SLOW_C = (37.3, 36.43, 35.45, 34.4, 33.36, 32.4, 31.52, 30.74, 30.08, 29.46, 28.94, 28.63, 28.54, 28.71, 28.93, 29.3, 29.74, 30.21, 30.77, 31.3, 31.87, 32.38, 32.88, 33.36, 33.78, 34.23, 34.63, 34.96, 35.33, 35.66, 35.97, 36.27, 36.47, 36.65)  # fmt: skip


def test_one_that_comes_home_faster_from_a_doors_air_has_not_jumped() -> None:
    """It rises, far below the low limit still, while the other, which lags, is for a moment where it was a while ago: both are on their way home."""
    story = beside((37.8, 45.0), (37.8, 45.0), minutes=120)
    story.interval_s = 10.0
    story.run(minutes=10)
    one, other = story.air
    for fast_c, slow_c in zip(FAST_C, SLOW_C, strict=True):
        story.air[one], story.air[other] = (fast_c, 45.0), (slow_c, 45.0)
        story.run(seconds=10)
        assert story.state_of(DISAGREE) == NORMAL


def test_what_jumped_within_the_band_waits_as_ever() -> None:
    """It wakes nobody, so ten minutes may show what it is."""
    story = jumping(0.7, minutes=5)
    assert story.notices == []
    story = jumping(0.7, minutes=20)
    assert story.state_of(DISAGREE) != NORMAL


@pytest.mark.parametrize("to_c", [39.2, 39.6])
def test_one_of_three_that_jumped_hides_no_heat_of_the_others(to_c: float) -> None:
    """It was told that it is off by itself. Then another gets too hot, slowly: the middle of the three is, and that is told at once, though the
    third is well and the two farthest apart are the first and the third."""
    story = beside((37.5, 45.0), (37.5, 45.0), (37.5, 45.0), minutes=120)
    story.air["node-a/top"] = (40.5, 45.0)
    story.run(minutes=20)
    assert [n.title for n in story.notices] == ["Urgent: Setter 1 sensors disagree"]
    for step in range(1, 61):
        story.air["node-b/top"] = (37.5 + (to_c - 37.5) * step / 60.0, 45.0)
        story.run(seconds=10)
    story.run(minutes=2)
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert (about.jumped, about.outside) == ("node-a/top", True)
    assert story.state_of(HOT) == UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, True),
        ({"to_c": 39.0}, False),  # at the limit of too hot, and not beyond it
        ({"to_c": 39.0625}, True),
        ({"to_c": 35.0, "jumped_k": -2.5}, True),
        ({"to_c": 36.0, "jumped_k": -1.5, "other_c": 37.5}, False),  # at that of too cold
        ({"to_c": 35.9375, "jumped_k": -1.5, "other_c": 37.5}, True),
        ({"other_c": 39.0, "jumped_k": 0.5}, True),  # half a kelvin apart
        ({"other_c": 39.0625, "jumped_k": 0.5}, False),
        ({"other_c": 38.0, "jumped_k": 2.5}, True),  # 1.5 K of the 2.5 K stayed, which is three fifths
        ({"other_c": 38.0625, "jumped_k": 2.5}, False),
        ({"other_c": 40.5, "jumped_k": 1.0}, False),  # it is colder than the other, and had jumped up
        ({"since_s": 1800.0}, True),
        ({"since_s": 1801.0}, False),  # that jump is an old story
        ({"since_s": 120.0}, True),
        ({"since_s": 119.0, "other_moved_k": 0.25}, True),
        ({"since_s": 119.0, "other_moved_k": 0.26}, False),  # it may be on its way to the same
        ({"since_s": 119.0, "other_moved_k": -0.26}, False),
        ({"since_s": 120.0, "other_moved_k": 0.26}, True),  # it has had two minutes for that
        ({"to_c": 35.0, "jumped_k": -2.5, "since_s": 240.0}, True),
        ({"to_c": 35.0, "jumped_k": -2.5, "since_s": 239.0}, False),  # a door may have been opened
        ({"other_heard_s": 0.0}, True),  # the other has spoken since it began
        ({"other_heard_s": -1.0}, False),
        ({"other_held": True}, False),  # and may be about to say the same
    ],
)
def test_when_a_jump_of_one_probe_is_told_as_that(changes: dict[str, float], told: bool) -> None:
    """One of two jumped from 37.5 to 39.5 °C five minutes ago, out of a band that ends at 39.0, and stayed there; the other stands at 37.5. What
    must hold for that to be a sensor's word is written out, one change at a time."""
    case = {
        "to_c": 39.5,
        "jumped_k": 2.0,
        "other_c": 37.5,
        "since_s": 300.0,
        "other_heard_s": 60.0,
        "other_moved_k": 0.0,
    }
    case |= changes
    story = Story(site(probes(("node-a/top", "setter-1"), ("node-b/top", "setter-1"))), (batch(),), at_s=7200.0)
    story.tick()
    mono_s = story.now().mono_s
    jumped_s = mono_s - case["since_s"]
    one, other = story.state.probe("node-a/top"), story.state.probe("node-b/top")
    one.heard = Heard(mono_s, T0, case["to_c"], 45.0, mono_s)
    one.jumped_mono_s, one.jumped_k, one.jumped_from_s = jumped_s, case["jumped_k"], jumped_s
    heard_s = min(jumped_s + case["other_heard_s"], mono_s)
    other.heard = Heard(heard_s, T0, case["other_c"], 45.0, mono_s)
    if case.get("other_held"):
        other.held = Held(T0, case["other_c"], 1, 0, PASS, PASS, dry_bulb_held=True, rh_held=False)
    before = (heard_s, case["other_c"] - case["other_moved_k"], 45.0)
    story.state.machine("setter-1").pairs = Pairs(lately={"node-b/top": before})
    compare_sensors(story.look(), "setter-1")
    alarm = story.state.alarms.get(("setter-1", DISAGREE))
    assert (alarm is not None) is told
    if alarm is not None:
        assert isinstance(alarm.about, Apart)
        assert (alarm.about.probes, alarm.about.jumped) == (("node-a/top", "node-b/top"), "node-a/top")
        assert alarm.about.by == abs(case["to_c"] - case["other_c"])


def test_a_probe_that_jumps_while_humidities_disagree_is_named() -> None:
    """What was said of the one quantity says nothing of who jumped in the other."""
    story = Story(site(probes(("node-a/top", "setter-1"), ("node-b/top", "setter-1"))), (batch(),), at_s=7200.0)
    story.tick()
    mono_s, names = story.now().mono_s, ("node-a/top", "node-b/top")
    damp = Alarm("setter-1", DISAGREE, 1, 1, condition=True, acknowledged=False, about=Apart(names, "rh_pct", 12.0))
    story.state.alarms[damp.key] = damp
    one, other = (story.state.probe(name) for name in names)
    one.heard, other.heard = Heard(mono_s, T0, 39.5, 45.0, mono_s), Heard(mono_s, T0, 37.5, 45.0, mono_s)
    one.jumped_mono_s, one.jumped_k, one.jumped_from_s = mono_s - 300.0, 2.0, mono_s - 300.0
    compare_sensors(story.look(), "setter-1")
    about = story.alarm(DISAGREE).about
    assert isinstance(about, Apart)
    assert (about.quantity, about.jumped) == ("dry_bulb_c", "node-a/top")
