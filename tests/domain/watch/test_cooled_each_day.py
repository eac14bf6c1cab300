"""Eggs that seem to be cooled each day are asked about once, with the command that declares it."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

from monitor.domain.alarms.about import EachDay
from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.needs.rules import COOLED_EACH_DAY
from monitor.domain.signs.cooling import Cooling, declared_cooling
from monitor.domain.signs.opening import DAY_S, Watch
from monitor.domain.state.record import Group
from monitor.service.chores.summary import tell_today, today
from tests.domain.house import T0, Air, Story, batch, probes, site, there

TOP = "node-a/top"
GOOD: Air = (37.5, 45.0)
HALF_AN_HOUR = 1800.0


def seen(*ago_h: float, batches: int = 1, day: float = 8.0, clock_ok: bool = True) -> Story:
    """Eggs of which the machine was open so many hours before now, for half an hour each time; it is 08:02."""
    eggs = tuple(batch(f"hen-{n}", day=day) for n in range(1, batches + 1))
    story = Story(site=site({}), batches=eggs, clock_ok=clock_ok)
    now_s = story.now().mono_s
    visits = tuple((now_s - 3600.0 * hours, HALF_AN_HOUR) for hours in sorted(ago_h, reverse=True))
    story.state.machine("setter-1").watch = Watch(visits=visits)
    return story


def asked(story: Story) -> bool:
    story.run(minutes=2)
    return story.state_of(COOLED_EACH_DAY) == UNACKNOWLEDGED


def test_three_days_running_are_asked_about_with_the_command() -> None:
    """By the batch, at its hour and for as long as it lasted; once, and low."""
    story = seen(1.0, 25.2, 48.9)
    assert asked(story)
    alarm = story.state.alarms["setter-1", COOLED_EACH_DAY]
    assert alarm.about == EachDay("hen-1", (7 * 60,), 1800.0, 3)
    (notice,) = story.notices
    assert notice.title == "When you can: Setter 1 seems cooled each day"
    assert "3 days running, up to 30 min: eggroom cooling hen-1 --at 07:00 --for 30m." in notice.text
    assert notice.priority == "low"
    story.run(minutes=26 * 60)
    assert len(story.notices) == 1


@pytest.mark.parametrize(
    "ago_h",
    [(1.0, 25.0), (1.0, 25.0, 73.0), (1.0, 25.0, 47.0 - 2.5), (1.0, 2.0, 3.0), (30.0 * 24, 31.0 * 24, 32.0 * 24)],
)
def test_what_is_no_habit_is_not_asked_about(ago_h: tuple[float, ...]) -> None:
    """Two days, a day left out, another hour, all on one day, or what was a month ago."""
    assert not asked(seen(*ago_h, day=40.0 if ago_h[0] > 100 else 8.0))


def test_two_batches_are_asked_about_by_their_machine() -> None:
    """And at each of the hours at which it is done."""
    story = seen(1.0, 25.0, 49.0, 10.0, 34.0, 58.0, batches=2)
    assert asked(story)
    about = story.state.alarms["setter-1", COOLED_EACH_DAY].about
    assert about == EachDay("setter-1", (420, 1320), 1800.0, 3)


def test_the_days_summary_holds_the_command() -> None:
    """What is low comes in no other message, so that one has what answers it; and it is in one summary alone."""
    story = seen(1.0, 25.0, 49.0)
    assert asked(story)
    out = Group()
    tell_today(story.look(out), "sam", today(story.look(), "sam"))
    story.adopt(out)
    words = story.notices[-1]
    assert words.text == "Setter 1 seems cooled each day: eggroom cooling hen-1 --at 07:00 --for 30m (No. 1)."


@pytest.mark.parametrize(("apart_h", "hours"), [(1.0, 1), (1.4, 1), (1.6, 2)])
def test_what_is_asked_can_be_declared(apart_h: float, hours: int) -> None:
    """Hours that are nearer than a declaration may have them are told as one."""
    story = seen(*(24.0 * n + 1.0 + more for n in range(3) for more in (0.0, apart_h)))
    assert asked(story)
    about = story.state.alarms["setter-1", COOLED_EACH_DAY].about
    assert isinstance(about, EachDay)
    assert len(about.at_min) == hours
    said = Cooling(about.of, about.at_min, about.for_s, None, None, T0)
    assert declared_cooling(said) == said


def test_what_was_before_these_eggs_came_is_not_theirs() -> None:
    """Three days are asked of eggs that were there on all three."""
    assert not asked(seen(1.0, 25.0, 49.0, day=1.5))


def test_a_clock_that_nobody_set_tells_no_hour() -> None:
    """It is asked once the clock is right."""
    story = seen(1.0, 25.0, 49.0, clock_ok=False)
    assert not asked(story)
    story.clock_ok = story.state.clock_ok = True
    assert asked(story)


def test_eggs_in_lockdown_are_not_asked_about() -> None:
    """There chicks bring people to the door."""
    assert not asked(seen(1.0, 25.0, 49.0, day=19.0))


def test_a_declaration_answers_it_and_its_end_asks_nothing() -> None:
    """What was done while a cooling was declared says nothing of what is done after it."""
    story = seen(1.0, 25.0, 49.0)
    assert asked(story)
    story.state.coolings["hen-1"] = Cooling("hen-1", (420,), 1800.0, None, None, T0, "sam")
    assert not asked(story)
    story = seen(1.0, 25.0, 49.0)
    story.state.machine("setter-1").cooled_at = story.now().utc - timedelta(hours=1)
    assert not asked(story)


def test_a_week_end_without_makes_no_new_question() -> None:
    """It stands for a week after the last time; then it is over, and told to nobody."""
    story = seen(1.0, 25.0, 49.0)
    assert asked(story)
    known = story.state.machine("setter-1")
    was = there(known.watch).visits
    for days, stands in ((5.0, True), (8.0, False)):
        known.watch = Watch(visits=tuple((at_s - days * DAY_S, for_s) for at_s, for_s in was))
        story.run(minutes=2)
        assert story.state.alarms["setter-1", COOLED_EACH_DAY].condition is stands
    assert len(story.notices) == 1


@pytest.mark.slow
def test_a_cooling_that_is_done_is_asked_about_on_the_third_day() -> None:
    """As the air shows it: open for half an hour each morning; on no day before."""
    story = Story(site=site(probes((TOP, "setter-1"), interval_s=60.0)), batches=(batch(),), air={TOP: GOOD})
    story.interval_s = 60.0
    days = []
    for _ in range(4):
        story.run(minutes=60)
        for n in range(30):
            story.air[TOP] = (29.0 + 4.0 * math.exp(-n / 10.0), 30.0)
            story.run(minutes=1)
        for n in range(1, 11):
            story.air[TOP] = (29.0 + 0.85 * n, 30.0 + 1.5 * n)
            story.run(minutes=1)
        story.air[TOP] = GOOD
        story.run(minutes=23 * 60 - 40)
        days.append(len([n for n in story.notices if "cooled each day" in n.title]))
    assert days == [0, 0, 1, 1]
    (told,) = [n for n in story.notices if "cooled each day" in n.title]
    assert "eggroom cooling hen-1 --at 09:00 --for 30m" in told.text
