"""A cut that took everything: on return it is told how long nobody watched, and what the eggs felt."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.about import Away
from monitor.domain.alarms.alarm import NORMAL, UNACKNOWLEDGED, acknowledge
from monitor.domain.needs.rules import WAS_AWAY
from monitor.domain.state.memory import EggFelt
from monitor.domain.watch.evaluate import settle
from tests.domain.house import Story, batch

TOP = "node-a/top"
SITE_KEY = ("site", WAS_AWAY)


def back_after(hours: float, air_c: float | None = 24.0) -> Story:
    """A run that begins so long after the one before was cut off, with eggs that were well then."""
    story = Story(batches=(batch(),))
    now = story.now()
    story.state.last_watched = now.utc - timedelta(hours=hours)
    story.state.started_mono_s = now.mono_s
    story.state.eggs["hen-1"] = EggFelt(now.mono_s - hours * 3600.0, 37.6, 37.5)
    story.air = {TOP: None if air_c is None else (air_c, 45.0)}
    return story


def test_how_long_nobody_watched_is_told_with_what_the_eggs_felt() -> None:
    """Once, as soon as the machine is heard: how long, the air now, and the eggs as reckoned, between the air and what they were."""
    story = back_after(6.0)
    story.run(minutes=2)
    about = story.alarm(WAS_AWAY, "site").about
    assert isinstance(about, Away)
    assert about.for_s == pytest.approx(6 * 3600.0, abs=2.0)
    ((machine, air_c, egg_c),) = about.felt
    assert machine == "setter-1"
    assert air_c == pytest.approx(24.0, abs=0.1)
    assert egg_c is not None
    assert 24.0 < egg_c < 37.0
    (told,) = [n for n in story.notices if n.facts is not None and n.facts.rule == WAS_AWAY]
    assert "for 6.0 h" in told.text
    assert f"eggs about {egg_c:.1f}" in told.text


@pytest.mark.parametrize(("away_s", "told"), [(599.0, False), (600.0, True)])
def test_a_short_cut_is_no_news(away_s: float, told: bool) -> None:
    """Under ten minutes what stands wrong says it by itself."""
    story = back_after(away_s / 3600.0, 37.5)
    story.run(minutes=5)
    assert (SITE_KEY in story.state.alarms) is told


def test_a_machine_that_is_not_heard_is_waited_for_and_then_named() -> None:
    """Nodes have three minutes to come back; then it is told without them."""
    story = back_after(2.0, None)
    story.run(seconds=179)
    assert SITE_KEY not in story.state.alarms
    story.run(seconds=1)
    about = story.alarm(WAS_AWAY, "site").about
    assert isinstance(about, Away)
    assert about.felt == (("setter-1", None, None),)


def test_a_clock_that_is_not_right_yet_counts_nothing() -> None:
    """Without a clock of its own the machine does not know how long it was away, until it is told the time."""
    story = back_after(6.0)
    story.clock_ok = False
    story.run(minutes=5)
    assert SITE_KEY not in story.state.alarms


def test_it_is_over_when_somebody_answers_or_by_the_next_morning() -> None:
    """Without another message in either case."""
    for answers in (True, False):
        story = back_after(6.0, 37.5)
        story.run(minutes=2)
        assert story.state_of(WAS_AWAY, "site") == UNACKNOWLEDGED
        before = len([n for n in story.notices if n.facts is not None and n.facts.rule == WAS_AWAY])
        if answers:
            look = story.look()
            settle(look, SITE_KEY, acknowledge(story.state.alarms[SITE_KEY], "sam", story.now()))
            story.run(minutes=1)
            assert story.state_of(WAS_AWAY, "site") == NORMAL
        else:
            alarm = story.state.alarms[SITE_KEY]
            story.state.alarms[SITE_KEY] = replace(alarm, begun_mono_s=story.now().mono_s - 12 * 3600.0)
            story.run(minutes=1)
            assert not story.state.alarms[SITE_KEY].condition
        assert len([n for n in story.notices if n.facts is not None and n.facts.rule == WAS_AWAY]) == before
