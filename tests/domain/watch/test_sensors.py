"""What is said of a machine's sensors: of which quantity the doubt is, and probes that speak at different paces."""

from __future__ import annotations

from monitor.domain.alarms.alarm import NORMAL, RETURNED, UNACKNOWLEDGED
from monitor.domain.needs.rules import DISAGREE, SENSOR_FAILED, SENSOR_SUSPECT
from monitor.domain.needs.site import Probe
from monitor.domain.readings.quality import Assessment
from monitor.domain.readings.reading import FAIL, NOT_EVALUATED, PASS, SUSPECT, Sample
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.sensors import judge_sensor
from tests.domain.house import Story, batch, site

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
