"""One look at one alarm: what a held judgement does, what another alarm says already, and which number comes next."""

from __future__ import annotations

import pytest

from monitor.domain.alarms.alarm import BETWEEN, IN, NORMAL, OUT, RETURNED, UNACKNOWLEDGED, Judgement, state_of
from monitor.domain.state.record import Group
from monitor.domain.watch.deciding import judge
from tests.domain.house import T0, Story, batch

KEY = ("setter-1", "dry-bulb-low-alarm")  # told after ten minutes, over after one
WARNING = ("setter-1", "dry-bulb-low-warning")


def looked(story: Story, verdict: int, *, at_s: float, held: bool = False, key: tuple[str, str] = KEY) -> str:
    """The alarm's state after one judgement at that second."""
    story.at_s = at_s
    out = Group()
    judge(story.look(out), key, Judgement(verdict, story.now().utc, 35.0, 36.0, "dry_bulb_c"), held=held)
    story.adopt(out)
    return state_of(story.state.alarms[key]) if key in story.state.alarms else "none"


@pytest.mark.parametrize("verdict", [IN, BETWEEN])
def test_nothing_is_made_of_what_is_within(verdict: int) -> None:
    """An alarm that never was is not made by air that is in its band, nor by air that is in a deadband."""
    assert looked(Story(batches=(batch(),)), verdict, at_s=1.0) == "none"


def test_the_delay_is_ten_minutes_to_the_second() -> None:
    """A second before it is over nobody is told."""
    story = Story(batches=(batch(),))
    assert [looked(story, OUT, at_s=s) for s in (0.0, 599.0, 600.0)] == [NORMAL, NORMAL, UNACKNOWLEDGED]
    assert story.alarm(KEY[1]).since == T0


def test_what_is_held_begins_at_once_when_it_is_held_no_more() -> None:
    """An opened door holds the cold back for as long as it is open, and the delay runs underneath."""
    story = Story(batches=(batch(),))
    assert [looked(story, OUT, at_s=s, held=True) for s in (0.0, 600.0, 3000.0)] == [NORMAL] * 3
    assert looked(story, OUT, at_s=3001.0) == UNACKNOWLEDGED


def test_what_stands_already_is_held_by_nothing() -> None:
    """A door that is opened while it is too cold ends nothing, and holds no end back."""
    story = Story(batches=(batch(),))
    for s in (0.0, 600.0):
        looked(story, OUT, at_s=s)
    assert looked(story, OUT, at_s=610.0, held=True) == UNACKNOWLEDGED
    assert [looked(story, IN, at_s=s, held=True) for s in (620.0, 679.0, 680.0)] == [UNACKNOWLEDGED] * 2 + [RETURNED]


def test_what_is_said_already_waits_from_anew() -> None:
    """While "too cold" stands its warning does not begin, and its delay does not run; one that stood before goes on."""
    story = Story(batches=(batch(),))
    for s in (0.0, 600.0):
        looked(story, OUT, at_s=s)
    assert [looked(story, OUT, at_s=s, key=WARNING) for s in (610.0, 9000.0)] == [NORMAL, NORMAL]
    assert story.alarm(WARNING[1]).pending_mono_s is None
    for s in (9010.0, 9070.0):
        looked(story, IN, at_s=s)
    assert [looked(story, OUT, at_s=s, key=WARNING) for s in (9080.0, 10879.0, 10880.0)] == [
        NORMAL,
        NORMAL,
        UNACKNOWLEDGED,
    ]
    looked(story, OUT, at_s=10890.0)
    looked(story, OUT, at_s=11490.0)
    assert story.state_of(KEY[1]) == UNACKNOWLEDGED
    assert looked(story, OUT, at_s=11500.0, key=WARNING) == UNACKNOWLEDGED


def test_each_episode_has_the_next_number() -> None:
    """Numbers follow the last one that was given, whichever alarm had it; and a look that begins nothing takes none."""
    story = Story(batches=(batch(),))
    story.state.last_number = 41
    for s in (0.0, 600.0):
        looked(story, OUT, at_s=s)
    assert (story.alarm(KEY[1]).number, story.state.last_number) == (42, 42)
    looked(story, OUT, at_s=610.0)
    for s in (620.0, 680.0):
        looked(story, IN, at_s=s)
    assert story.state.last_number == 42
    looked(story, OUT, at_s=0.0, key=("setter-1", "dry-bulb-high-alarm"))
    looked(story, OUT, at_s=20.0, key=("setter-1", "dry-bulb-high-alarm"))
    assert story.state.last_number == 43


def test_what_an_older_episode_does_gives_no_number_again() -> None:
    """Cold is number 1, heat at another machine 2; that the cold is over then does not make the next thing another number 2."""
    story = Story(batches=(batch(),))
    for s in (0.0, 600.0):
        looked(story, OUT, at_s=s)
    for s in (610.0, 630.0):
        looked(story, OUT, at_s=s, key=("hatcher-1", "dry-bulb-high-alarm"))
    for s in (640.0, 700.0):
        looked(story, IN, at_s=s)
    for s in (710.0, 730.0):
        looked(story, OUT, at_s=s, key=("still-1", "dry-bulb-high-alarm"))
    assert [story.alarm("dry-bulb-high-alarm", machine).number for machine in ("hatcher-1", "still-1")] == [2, 3]


def test_what_is_written_bears_whether_it_was_told() -> None:
    """The row of a transition knows that somebody was told, so that a run after this one closes it."""
    story = Story(batches=(batch(),))
    for s in (0.0, 600.0):
        looked(story, OUT, at_s=s)
    assert [(t.alarm.told, t.state) for t in story.transitions] == [(True, UNACKNOWLEDGED)]
    assert story.alarm(KEY[1]).told
    for s in (610.0, 670.0):
        looked(story, IN, at_s=s)
    assert [t.alarm.told for t in story.transitions] == [True, False]
