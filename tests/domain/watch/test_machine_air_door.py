"""While a door is open nothing is foretold of the air and no mean takes it in; the same temperatures from a shut machine are told."""

from __future__ import annotations

import math

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.signs.opening import holds
from tests.domain.house import MONO0_S, T0, Story, batch, probes, site, there

TOP, LOW = "node-a/top", "node-b/low"
TOO_HOT, DEADLY = "dry-bulb-high-alarm", "dry-bulb-lethal"
HIGH_HEADING, LOW_HEADING, LOW_WARNING = "dry-bulb-high-heading", "dry-bulb-low-heading", "dry-bulb-low-warning"
TOO_COLD, FAR_TOO_DRY, DRY = "dry-bulb-low-alarm", "humidity-low-alarm", "humidity-low-warning"
SHUT_PCT, OPEN_PCT = 45.0, 36.0


def watched(at_c: float = 37.5) -> Story:
    """A hen's egg on day 5 after three hours in good air."""
    story = Story(batches=(batch(),), air={TOP: (at_c, SHUT_PCT)})
    story.run(minutes=180)
    return story


def go(story: Story, to_c: float, minutes: float, rh_pct: float = SHUT_PCT, *names: str) -> None:
    """The air goes straight to another temperature, in steps of ten seconds; its humidity is there at once. names: at which probes; at all."""
    from_c = {name: there(there(story.air[name])[0]) for name in names or story.air}
    steps = round(minutes * 6)
    for n in range(1, steps + 1):
        story.air |= {name: (was_c + (to_c - was_c) * n / steps, rh_pct) for name, was_c in from_c.items()}
        story.run(seconds=10)


def told(story: Story) -> set[str]:
    """The rules that somebody was told of."""
    return {t.alarm.rule for t in story.transitions if t.state == UNACKNOWLEDGED}


def door_shows(story: Story) -> bool:
    """Whether the air is taken for that of an open door now."""
    return holds(there(story.state.machine("setter-1").watch), story.now().mono_s)


@pytest.mark.parametrize("opened", [False, True])
def test_nothing_is_foretold_of_an_opening_that_nobody_declared(opened: bool) -> None:
    """A machine cools by 0.8 K an hour and is about to be told as heading for too cold, when a door lets it fall by a degree; it then
    comes back a little. As long as the air shows the door nothing is foretold; the same temperatures at a humidity that stays where it
    was, which no door does, are foretold."""
    story = watched()
    go(story, 37.0, 36.0)
    assert told(story) == set()
    go(story, 36.1, 0.5, OPEN_PCT if opened else SHUT_PCT)
    go(story, 36.5, 8.0, OPEN_PCT if opened else SHUT_PCT)
    assert door_shows(story) is opened
    assert (LOW_HEADING in told(story)) is not opened


@pytest.mark.parametrize("opened", [False, True])
def test_the_air_of_an_open_door_is_in_no_mean(opened: bool) -> None:
    """A machine at 37.1 °C falls to 36.1 °C at a door, and is then 0.1 K under its warning of 37.0 °C. Its half hour of being cool begins
    with what came after the door, and not with the door's own air; of the same temperatures in a machine that stayed shut, with those."""
    story = watched(37.1)
    go(story, 36.1, 0.5, OPEN_PCT if opened else SHUT_PCT)
    go(story, 36.3, 6.0, OPEN_PCT if opened else SHUT_PCT)
    go(story, 36.9, 0.5)
    story.run(minutes=29)  # 36 since it fell
    assert not door_shows(story)
    assert (LOW_WARNING in told(story)) is not opened
    story.run(minutes=15)
    assert LOW_WARNING in told(story)


def passed_a_door(story: Story) -> None:
    """Somebody opens the machine for two minutes and shuts it; its air is back within the quarter of an hour."""
    at_c = there(there(story.air[TOP])[0])
    go(story, at_c - 4.0, 0.5, 25.0)
    story.run(minutes=2)
    go(story, at_c, 8.0)
    story.run(minutes=5)


def test_what_was_calm_before_a_door_still_tells_of_slow_heat_after_it() -> None:
    """A machine that was calm for three hours is opened, and while it settles it begins to warm by 0.7 K an hour: what it held before
    the door is still what it is compared with, so that the heat is foreseen. None of the air from in between is kept."""
    story = watched()
    passed_a_door(story)
    kept = there(story.state.machine("setter-1").windows)
    go(story, 37.8, 26.0)
    assert story.state.machine("setter-1").windows == kept
    go(story, 38.9, 94.0)
    assert HIGH_HEADING in told(story)


def test_where_the_air_goes_while_it_settles_foretells_nothing() -> None:
    """As far and as fast as slow heat, for as long as the machine settles after the door, or as long again, and then it stays there."""
    story = watched()
    passed_a_door(story)
    go(story, 37.6, 25.0)
    go(story, 38.0, 35.0)
    story.run(minutes=60)
    assert not told(story) & {HIGH_HEADING, LOW_HEADING}


def test_heat_is_not_foretold_of_eggs_that_were_cooled_at_a_door_that_nobody_saw() -> None:
    """A tray is candled at a door that is hardly open, so that its vapour stays; the eggs that it cooled keep the controller a little too warm for
    three quarters of an hour. Without the fall before it the same is foretold, and so it is once half of the way to too hot is gone."""
    for fell_k in (0.9, 0.0):
        story = watched()
        go(story, 37.5 - fell_k, 1.0)
        go(story, 37.5, 2.0)
        assert not door_shows(story)
        story.run(minutes=5)
        go(story, 38.1, 36.0)
        assert (HIGH_HEADING in told(story)) is (fell_k == 0.0)
    story = watched()
    go(story, 36.6, 1.0)
    go(story, 37.5, 2.0)
    go(story, 38.85, 30.0)
    assert HIGH_HEADING in told(story)


def hot_after_a_door(story: Story, to_c: float, minutes: float, *alone: str) -> float:
    """Somebody opens the machine, and its air comes back too far, at these probes alone or at all of them. How long after it had it was told
    that it is too hot, in minutes; infinite where it was not."""
    passed_a_door(story)
    go(story, to_c, 3.0, SHUT_PCT, *alone)
    before, since_s = len(story.transitions), story.now().mono_s
    story.run(minutes=minutes)
    told_s = [t.mono_s for t in story.transitions[before:] if (t.alarm.rule, t.state) == (TOO_HOT, UNACKNOWLEDGED)]
    return (min(told_s, default=math.inf) - since_s) / 60.0


def test_a_heater_that_failed_after_a_door_and_was_mended_is_told_when_it_fails_again() -> None:
    """Too hot for more than an hour, until somebody mended it, is learnt like what came back by itself: after the next door it may wait for
    half an hour, and no longer."""
    story = watched()
    first_min = hot_after_a_door(story, 39.4, 70.0)
    assert first_min < 10.0
    go(story, 37.5, 5.0)
    story.run(minutes=180)
    assert there(story.state.machine("setter-1").watch).over_s > 3600.0
    assert first_min < hot_after_a_door(story, 39.4, 60.0) < 30.0


@pytest.mark.parametrize(
    ("minutes", "to_c", "rings"),
    [(8.0, 39.5, False), (12.0, 39.5, True), (1.5, 39.9, False), (4.0, 39.9, True), (1.0, 40.5, True)],
)
def test_a_controller_that_goes_too_far_after_a_door_has_ten_minutes(minutes: float, to_c: float, rings: bool) -> None:
    """The first time, when nothing is known of it, and the eggs are warm: where it is slight. Farther than 0.75 K beyond the limit it has two, and
    farther than 1.5 K none."""
    story = watched()
    passed_a_door(story)
    story.run(minutes=20)
    go(story, to_c, 1.0)
    story.run(minutes=minutes)
    go(story, 37.5, 1.0)
    assert (TOO_HOT in told(story)) is rings


def test_one_of_two_probes_that_is_too_hot_after_a_door_does_not_wait_for_what_was_learnt() -> None:
    """After one door both went too far for a quarter of an hour. After the next the air is back, and only one probe gets too hot: that is told as
    if nothing had been learnt, within ten minutes; of both it waits as long as it is known to last."""
    for alone, told in (((TOP,), True), ((), False)):
        story = Story(site(probes((TOP, "setter-1"), (LOW, "setter-1"))), (batch(),))
        story.air = dict.fromkeys((TOP, LOW), (37.5, SHUT_PCT))
        story.run(minutes=180)
        hot_after_a_door(story, 39.3, 15.0)
        go(story, 37.5, 3.0)
        story.run(minutes=180)
        assert there(story.state.machine("setter-1").watch).over_s > 900.0
        assert (hot_after_a_door(story, 39.3, 20.0, *alone) < 10.0) is told


def told_min(story: Story, rule: str, since_s: float) -> float:
    """How many minutes after that second of the story somebody was first told of this; infinite where nobody was."""
    at_s = [t.mono_s - MONO0_S for t in story.transitions if (t.alarm.rule, t.state) == (rule, UNACKNOWLEDGED)]
    return (min((s for s in at_s if s >= since_s), default=math.inf) - since_s) / 60.0


def day_after(cold_min: float, *keys: str) -> Story:
    """A day ago a machine, whose door nobody saw, was too cold for that long and came back by itself; or it was as always, where that is none."""
    keys = keys or (TOP,)
    story = Story(
        site(probes(*((key, "setter-1") for key in keys))), (batch(),), air=dict.fromkeys(keys, (37.5, SHUT_PCT))
    )
    story.run(minutes=180)
    since_s = story.at_s
    if cold_min:
        go(story, 35.0, 5.0)
        story.run(minutes=cold_min)
        go(story, 37.5, 5.0)
    story.run(seconds=since_s + 86_400.0 - story.at_s)
    return story


def test_what_was_too_cold_yesterday_at_this_hour_is_no_alarm_today() -> None:
    """The first day it is told after ten minutes, the second it is not, though nobody saw a door; nor that it is far too dry meanwhile, where
    its vents took the vapour."""
    story = day_after(25.0)
    assert 10.0 < told_min(story, TOO_COLD, 3.0 * 3600.0) < 15.0
    since_s = story.at_s
    go(story, 35.0, 5.0)
    for rh_pct in range(45, 25, -2):
        go(story, 35.0, 1.0, rh_pct)
    story.run(minutes=14)
    assert not door_shows(story)
    go(story, 37.5, 5.0, 27.0)
    story.run(minutes=15)
    go(story, 37.5, 1.0)
    story.run(minutes=30)
    assert told_min(story, TOO_COLD, since_s) == told_min(story, FAR_TOO_DRY, since_s) == math.inf


@pytest.mark.parametrize(
    ("cold_min", "least_min", "most_min"),
    [
        (0.0, 9.0, 11.0),  # its own ten minutes
        (25.0, 40.0, 50.0),  # as long as yesterday, and a quarter of an hour
        (80.0, 59.0, 61.0),  # an hour at most
    ],
)
def test_a_heater_that_dies_at_the_hour_of_a_cooling_is_told_within_the_hour(
    cold_min: float, least_min: float, most_min: float
) -> None:
    """It looks like the cooling of yesterday, until it lasts longer."""
    story = day_after(cold_min)
    go(story, 36.0, 5.0)
    since_s = story.at_s
    go(story, 33.0, 15.0)
    story.run(minutes=60)
    assert least_min < told_min(story, TOO_COLD, since_s) < most_min


@pytest.mark.parametrize("names", [(LOW,), ()])
def test_heat_is_told_at_the_hour_of_a_cooling_as_at_any_other(names: tuple[str, ...]) -> None:
    """Of two probes one is cold as yesterday and the other gets too hot: that is told within its seconds. Or the machine itself does as it comes
    back: then it waits two minutes, as after any fall, and not for what was learnt of doors, for none was seen."""
    story = day_after(25.0, TOP, LOW)
    go(story, 35.0, 5.0, SHUT_PCT, TOP if names else LOW)
    story.run(minutes=20)
    go(story, 38.9, 5.0, SHUT_PCT, *names)
    since_s = story.at_s
    go(story, 39.4, 1.0, SHUT_PCT, *names)
    story.run(minutes=5)
    assert told_min(story, TOO_HOT, since_s) < (2.0 if names else 4.0)


@pytest.mark.parametrize(
    ("fell_k", "to_c", "waits_s"),
    [(1.5, 39.9, 120.0), (1.5, 40.4, 120.0), (1.5, 40.6, 50.0), (0.3, 39.9, 20.0), (0.3, 40.4, 20.0)],
)
def test_heat_a_moment_after_a_fall_waits_two_minutes(fell_k: float, to_c: float, waits_s: float) -> None:
    """In a room as moist as the machine its door is not seen, and its controller goes too far like any other. Far beyond the limit nothing waits."""
    story = watched()
    go(story, 37.5 - fell_k, 1.0)
    assert not door_shows(story)
    go(story, 38.7, 2.0)
    go(story, to_c, 1.0)
    story.run(minutes=4)
    alarm = story.alarm(TOO_HOT)
    assert there(alarm.begun_mono_s) - MONO0_S - (there(alarm.since) - T0).total_seconds() == waits_s


def test_what_would_be_deadly_waits_two_minutes_after_a_door_and_no_longer() -> None:
    """41 °C for a minute and a half after somebody looked in is what a controller does, and harms nothing; for longer it is told, and so it is
    without a door, or far beyond."""
    for door, to_c, minutes, rings in (
        (True, 40.9, 1.5, False),
        (True, 40.9, 4.0, True),
        (True, 42.6, 1.5, True),
        (False, 40.9, 1.5, True),
    ):
        story = watched()
        if door:
            passed_a_door(story)
        go(story, to_c, 1.0)
        story.run(minutes=minutes)
        go(story, 37.5, 0.5)
        story.run(minutes=3)
        assert (DEADLY in told(story)) is rings


def looked_into(story: Story, hours: int, pan_pct: float, each_min: int = 29, was_pct: float = SHUT_PCT) -> None:
    """The machine is opened for a minute each half hour or so; its heater keeps the air warm meanwhile, and its pan needs the half hour to make it as
    moist as that again."""
    rh_pct = was_pct
    for _ in range(round(hours * 60 / each_min)):
        for n in range(each_min * 6):
            rh_pct = max(15.0, rh_pct - 12.0) if n < 6 else rh_pct + (pan_pct - rh_pct) * 0.01
            story.air[TOP] = (37.2 if n < 6 else 37.5, rh_pct)
            story.run(seconds=10)


def test_a_machine_that_is_opened_each_half_hour_is_not_far_too_dry() -> None:
    """Each time most of its vapour comes back before the next: that it is dry in the mean of the hours is told all the same, as what can wait."""
    story = watched()
    looked_into(story, 8, SHUT_PCT)
    assert FAR_TOO_DRY not in told(story)
    assert DRY in told(story)


def test_a_pan_that_ran_dry_is_told_in_a_machine_that_is_opened_each_half_hour() -> None:
    """Its vapour does not come home: an hour and a half after the first door that it did not come back from, and its delay."""
    story = watched()
    looked_into(story, 2, SHUT_PCT)
    since_s = story.at_s
    looked_into(story, 4, 22.0)
    assert 85.0 < told_min(story, FAR_TOO_DRY, since_s) < 105.0


def test_looks_hide_no_dry_air_for_longer_than_one_of_them() -> None:
    """A pan that dries up over hours brings back most of what each look lets out, as it is by then, so that each look had its own time for as long as
    somebody looked in each hour: an hour and a half without a break is told, as after one look."""
    story = watched()
    for pan_pct in (45.0, 42.0, 39.0, 36.0, 33.0):
        looked_into(story, 1, pan_pct, 58)
    since_s = story.at_s
    for pan_pct in (30.0, 28.5, *[27.0] * 7):
        looked_into(story, 1, pan_pct, 58, max(pan_pct, 27.0))
    assert told_min(story, FAR_TOO_DRY, since_s) < 95.0
