"""How urgent a rule is at an instant: its own, or as what it comes together with."""

from __future__ import annotations

import pytest

from monitor.domain.alarms.alarm import Alarm
from monitor.domain.needs.rules import DISAGREE, SENSOR_FAILED
from monitor.domain.state.known import Look, rule_of
from tests.domain.house import Story, batch

LOW_ALARM, LOW_WARNING = "dry-bulb-low-alarm", "dry-bulb-low-warning"
HUMID, TOP = "humidity-low-alarm", "node-a/top"


def with_alarm(subject: str, rule: str, condition: bool) -> Look:
    """A house in which one alarm stands, or has come and gone without being seen."""
    story = Story(batches=(batch(),))
    story.put()
    story.state.alarms = {(subject, rule): Alarm(subject, rule, 1, 1, condition, acknowledged=False)}
    return story.look()


@pytest.mark.parametrize(
    ("subject", "standing", "raised"),
    [("setter-1", LOW_ALARM, True), ("setter-1", HUMID, False), ("hatcher-1", LOW_ALARM, False)],
)
def test_probes_that_disagree_are_urgent_while_their_own_air_is_out_of_its_band(
    subject: str, standing: str, raised: bool
) -> None:
    """Either may be right: a temperature that is out, in that very machine, and now; not one that is over."""
    own = rule_of(with_alarm(subject, standing, False), "setter-1", DISAGREE).priority
    assert own == "low"
    now = rule_of(with_alarm(subject, standing, True), "setter-1", DISAGREE).priority
    assert now == ("high" if raised else "low")


def test_air_out_of_its_band_is_urgent_while_probes_disagree() -> None:
    """A warning about temperature is as urgent as an alarm while nobody knows which probe is right, and no longer than that."""
    assert rule_of(with_alarm("setter-1", DISAGREE, True), "setter-1", LOW_WARNING).priority == "high"
    over = rule_of(with_alarm("setter-1", DISAGREE, False), "setter-1", LOW_WARNING)
    assert over == rule_of(Story(batches=(batch(),)).look(), "setter-1", LOW_WARNING)
    assert over.priority != "high"
    humid = rule_of(with_alarm("setter-1", DISAGREE, True), "setter-1", "humidity-low-warning")
    assert humid.priority != "high"


def test_a_failed_sensor_is_as_urgent_as_the_danger_that_it_hides() -> None:
    """Only what stands in its own machine, and of the temperature of air or eggs."""
    own = rule_of(Story(batches=(batch(),)).look(), TOP, SENSOR_FAILED).priority
    hot = "dry-bulb-lethal"
    assert rule_of(with_alarm("setter-1", hot, True), TOP, SENSOR_FAILED).priority == "critical"
    assert rule_of(with_alarm("setter-1", hot, False), TOP, SENSOR_FAILED).priority == own
    assert rule_of(with_alarm("hatcher-1", hot, True), TOP, SENSOR_FAILED).priority == own
    assert rule_of(with_alarm("setter-1", "humidity-high-alarm", True), TOP, SENSOR_FAILED).priority == own
