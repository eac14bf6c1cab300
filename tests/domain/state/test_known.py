"""How urgent a rule is at an instant: its own, or as what it comes together with."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.domain.alarms.about import Apart
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.needs.rules import DISAGREE, SENSOR_FAILED
from monitor.domain.state.known import Look, did_not_get_through, rule_of, waits_no_more
from tests.domain.house import T0, Story, batch, probes, site

LOW_WARNING, TOP = "dry-bulb-low-warning", "node-a/top"


def with_alarm(subject: str, rule: str, condition: bool) -> Look:
    """A house in which one alarm stands, or has come and gone without being seen."""
    story = Story(batches=(batch(),))
    story.put()
    story.state.alarms = {(subject, rule): Alarm(subject, rule, 1, 1, condition, acknowledged=False)}
    return story.look()


@pytest.mark.parametrize(
    ("machine", "air", "raised"),
    [("setter-1", (36.2, 45.0), True), ("setter-1", (37.5, 20.0), False), ("hatcher-1", (36.2, 45.0), False)],
)
def test_probes_that_disagree_are_urgent_while_their_own_air_is_out_of_its_band(
    machine: str, air: tuple[float, float], raised: bool
) -> None:
    """Either may be right: a temperature that is out, in that very machine, and of a probe that speaks."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-b/top", machine))), batches=(batch(),))
    story.air = {TOP: (37.5, 45.0), "node-b/top": (37.5, 45.0)}
    story.run(minutes=1)
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"
    story.air["node-b/top"] = air
    story.run(minutes=1)
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == ("high" if raised else "low")
    story.air["node-b/top"] = None
    story.run(minutes=2)
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"


def test_a_disagreement_of_probes_that_are_no_longer_there_is_as_mild_as_it_is() -> None:
    """The record may know of one in a machine from which every probe was taken since."""
    story = Story(site=site({}), batches=(batch(),))
    story.put()
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"


def test_what_was_called_off_is_owed_to_nobody() -> None:
    """Of an episode of which another notice waits for the same contact that one is still owed; of one that nobody was told of, nothing is noted."""
    state = Story().state
    did_not_get_through(state, 3, "sam", since=T0)
    state.unsent = {8: ("sam", 3), 9: ("kim", 3)}
    waits_no_more(state, 3, "sam")
    assert state.reached[3, "sam"].unheard_since == T0
    del state.unsent[8]
    waits_no_more(state, 3, "sam")
    assert state.reached[3, "sam"].unheard_since is None
    waits_no_more(state, 4, "sam")
    assert (4, "sam") not in state.reached


def test_what_was_urgent_stays_so_while_it_stands() -> None:
    """A disagreement that had left the band is no milder when it is back within it: it is told in one voice."""
    look = with_alarm("setter-1", DISAGREE, True)
    alarm = look.state.alarms["setter-1", DISAGREE]
    for outside, priority in ((False, "low"), (True, "high")):
        about = Apart((TOP,), "dry_bulb_c", 1.0, outside=outside)
        look.state.alarms["setter-1", DISAGREE] = replace(alarm, about=about)
        assert rule_of(look, "setter-1", DISAGREE).priority == priority


def test_a_warning_stays_as_mild_as_it_is() -> None:
    """That the sensors disagree is told as urgently as it is; one cause raises no second high."""
    assert rule_of(with_alarm("setter-1", DISAGREE, True), "setter-1", LOW_WARNING).priority == "low"


def test_a_failed_sensor_is_as_urgent_as_the_danger_that_it_hides() -> None:
    """Only what stands in its own machine, and of the temperature of air or eggs."""
    own = rule_of(Story(batches=(batch(),)).look(), TOP, SENSOR_FAILED).priority
    hot = "dry-bulb-lethal"
    assert rule_of(with_alarm("setter-1", hot, True), TOP, SENSOR_FAILED).priority == "critical"
    assert rule_of(with_alarm("setter-1", hot, False), TOP, SENSOR_FAILED).priority == own
    assert rule_of(with_alarm("hatcher-1", hot, True), TOP, SENSOR_FAILED).priority == own
    assert rule_of(with_alarm("setter-1", "humidity-high-alarm", True), TOP, SENSOR_FAILED).priority == own
