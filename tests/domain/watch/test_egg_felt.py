"""Eggs that are too hot or too cold: at which temperature, how far back, and when they are on their way back already."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.alarm import NORMAL, RETURNED, UNACKNOWLEDGED, Alarm
from monitor.domain.needs.bands import EGG
from monitor.domain.needs.rules import EGG_COLD, EGG_HOT
from monitor.domain.readings.quality import Assessment
from monitor.domain.readings.reading import PASS
from monitor.domain.state.known import Eggs, Plan
from monitor.domain.state.memory import EggFelt
from monitor.domain.state.record import Group
from monitor.domain.watch.egg_felt import judge_eggs
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.planning import plan
from tests.domain.house import PROFILES, Story, batch, site, there

# Written out: taken from the program, they would move with it.
HOT_BACK_K, COLD_BACK_K = 0.2, 0.5  # the deadbands of rules.toml
HOT_S, COLD_S, OVER_S = 60.0, 300.0, 300.0  # its delays
COLD_C = 32.2  # 90 °F, as extension services have it

TOP = "node-a/top"


def eggs(day: float = 12.0, *more: str) -> tuple[Story, Plan]:
    """Hens' eggs on that day, of several batches, and the limits of their machine."""
    story = Story(batches=tuple(batch(id_, day=day) for id_ in ("hen-1", *more)))
    return story, plan(story.look(), "setter-1")


def air_for(of: Eggs, settles_c: float, day: float = 12.0) -> float:
    """The air in which those eggs come to that temperature."""
    return settles_c - of.model.offset_k(day) + of.model.layer_k


def hot_c(of: Eggs, day: float = 12.0) -> float:
    """What is too hot for them."""
    return of.model.hot_limit_c(of.target_c, of.model.offset_k(day), day)


def look(story: Story, plan_: Plan, egg_c: dict[str, float], settles_c: float, held: bool = False) -> None:
    """One reading now, by which the eggs are at those temperatures, in air in which they would settle there."""
    now, out = story.now(), Group()
    air_c = air_for(plan_.eggs[0], settles_c)
    for id_, c in egg_c.items():
        story.state.eggs[id_] = EggFelt(now.mono_s, c, air_c)
    fit = Assessment(PASS, (), PASS, PASS)
    reading = Fresh(story.site.probes[TOP], now.utc, now.mono_s, air_c, 45.0, fit, story.state.probe(TOP))
    judge_eggs(story.look(out), plan_, air_c, reading, held)
    story.adopt(out)


def states(story: Story) -> tuple[str, str]:
    """Of too hot and too cold."""
    return story.state_of(EGG_HOT), story.state_of(EGG_COLD)


def after(rule: str, beyond_k: float, settles_k: float, held: bool = False) -> str:
    """The alarm's state when eggs were so far beyond their limit for its delay, in air in which they would settle so far beyond."""
    story, plan_ = eggs()
    limit_c, way = (hot_c(plan_.eggs[0]), 1.0) if rule == EGG_HOT else (COLD_C, -1.0)
    for at_s in (0.0, HOT_S if rule == EGG_HOT else COLD_S):
        story.at_s = at_s
        look(story, plan_, {"hen-1": limit_c + way * beyond_k}, limit_c + way * settles_k, held)
    return story.state_of(rule)


@pytest.mark.parametrize(
    ("rule", "back_k"), [(EGG_HOT, HOT_BACK_K), (EGG_COLD, COLD_BACK_K)], ids=["too hot", "too cold"]
)
def test_eggs_beyond_their_limit_are_told_unless_they_come_back_by_themselves(rule: str, back_k: float) -> None:
    """They come back by themselves when the air has them settle within the limit, and more than the deadband from where they are."""
    told, quiet = UNACKNOWLEDGED, NORMAL
    assert after(rule, 0.01, 1.0) == told
    assert after(rule, -0.01, 1.0) == quiet
    assert after(rule, back_k, 0.01) == told  # on their way back, to where it is still too hot
    assert after(rule, back_k, -0.01) == quiet
    assert after(rule, back_k - 0.02, -0.01) == told  # so near to where they settle that they will hardly move


def test_a_door_holds_back_what_is_too_cold_alone() -> None:
    """Work at an open machine makes no egg too hot."""
    assert after(EGG_COLD, 1.0, 1.0, held=True) == NORMAL
    assert after(EGG_HOT, 1.0, 1.0, held=True) == UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("rule", "back_k", "delay_s"),
    [(EGG_HOT, HOT_BACK_K, HOT_S), (EGG_COLD, COLD_BACK_K, COLD_S)],
    ids=["too hot", "too cold"],
)
def test_it_is_over_a_deadband_within_the_limit(rule: str, back_k: float, delay_s: float) -> None:
    """Not before, and after five minutes there; what is seen meanwhile stands with the alarm."""
    story, plan_ = eggs()
    limit_c, way = (hot_c(plan_.eggs[0]), 1.0) if rule == EGG_HOT else (COLD_C, -1.0)

    def felt(beyond_k: float, at_s: float) -> str:
        story.at_s = at_s
        look(story, plan_, {"hen-1": limit_c + way * beyond_k}, limit_c + way * beyond_k)
        return story.state_of(rule)

    felt(0.5, 0.0)
    assert felt(0.5, delay_s) == UNACKNOWLEDGED
    alarm = story.alarm(rule)
    assert there(alarm.value) - limit_c == pytest.approx(way * 0.5)
    assert (alarm.limit, alarm.about) == (limit_c, EGG)
    for at_s in (1000.0, 1000.0 + OVER_S):
        assert felt(-back_k + 0.01, at_s) == UNACKNOWLEDGED
    assert there(story.alarm(rule).value) == pytest.approx(limit_c - way * (back_k - 0.01))
    felt(-back_k - 0.01, 2000.0)
    assert felt(-back_k - 0.01, 2000.0 + OVER_S - 1.0) == UNACKNOWLEDGED
    assert felt(-back_k - 0.01, 2000.0 + OVER_S) == RETURNED


def test_of_several_batches_the_worst_off_is_told() -> None:
    """Whichever is furthest beyond its own limit, on either side, whatever the order in which they stand."""
    for worst in ("hen-1", "hen-2"):
        story, plan_ = eggs(12.0, "hen-2")
        limit_c = hot_c(plan_.eggs[0])
        for at_s in (0.0, HOT_S):
            story.at_s = at_s
            look(story, plan_, {"hen-1": limit_c + 0.3, "hen-2": limit_c + 0.3} | {worst: limit_c + 0.7}, limit_c + 1.0)
        assert there(story.alarm(EGG_HOT).value) == pytest.approx(limit_c + 0.7)
        story, plan_ = eggs(12.0, "hen-2")
        for at_s in (0.0, COLD_S):
            story.at_s = at_s
            look(story, plan_, {"hen-1": 31.7, "hen-2": 31.7} | {worst: 31.2}, 30.0)
        assert there(story.alarm(EGG_COLD).value) == pytest.approx(31.2)


def test_one_batch_within_does_not_hide_another_beyond() -> None:
    """Eggs that feel well are no word against those beside them."""
    story, plan_ = eggs(12.0, "hen-2")
    for at_s in (0.0, HOT_S):
        story.at_s = at_s
        look(story, plan_, {"hen-1": 37.5, "hen-2": hot_c(plan_.eggs[1]) + 0.5}, 41.0)
    assert states(story) == (UNACKNOWLEDGED, NORMAL)


def test_a_chick_is_no_egg() -> None:
    """Of a batch that hatches nothing is reckoned any more that would be told."""
    story, plan_ = eggs()
    hatching = replace(plan_, eggs=(replace(plan_.eggs[0], judged=False),))
    for at_s in (0.0, COLD_S):
        story.at_s = at_s
        look(story, hatching, {"hen-1": 45.0}, 45.0)
    assert states(story) == (NORMAL, NORMAL)
    assert story.state.eggs["hen-1"].egg_c == pytest.approx(45.0)


def test_an_alarm_that_stands_is_judged_while_the_eggs_are_well() -> None:
    """Whichever alarm of this air stands: eggs within both limits end what was told of them."""
    story, plan_ = eggs()
    story.state.alarms["setter-1", EGG_HOT] = Alarm("setter-1", EGG_HOT, 1, 1, condition=True, acknowledged=False)
    for at_s in (0.0, OVER_S):
        story.at_s = at_s
        look(story, plan_, {"hen-1": 37.5}, 37.5)
    assert states(story) == (RETURNED, NORMAL)


@pytest.mark.parametrize("hours", [0.1, 6.0, 30.0])
def test_eggs_follow_the_air_as_their_model_says(hours: float) -> None:
    """From what they felt, in air that went straight from what it was to what it is, on the day that it is now."""
    day = 17.3
    story, plan_ = eggs(day)
    model = plan_.eggs[0].model
    story.state.eggs["hen-1"] = EggFelt(story.now().mono_s, 36.0, 36.5)
    story.state.batches["hen-1"] = replace(
        story.state.batches["hen-1"], set_at=story.state.batches["hen-1"].set_at + timedelta(hours=hours)
    )
    story.at_s = hours * 3600.0
    now, fit = story.now(), Assessment(PASS, (), PASS, PASS)
    reading = Fresh(story.site.probes[TOP], now.utc, now.mono_s, 38.0, 45.0, fit, story.state.probe(TOP))
    judge_eggs(story.look(), plan_, 38.0, reading, held=False)
    felt = story.state.eggs["hen-1"]
    assert felt.egg_c == pytest.approx(model.advance(36.0, 36.5, 38.0, seconds=hours * 3600.0, day=day), abs=1e-9)
    assert (felt.mono_s, felt.air_c) == (now.mono_s, 38.0)


def test_eggs_of_which_nothing_is_known_feel_what_they_would_in_the_end() -> None:
    """The first reading takes them as settled; and one that is older than what is known moves them nowhere."""
    story, plan_ = eggs(17.3)
    model = plan_.eggs[0].model
    now, fit = story.now(), Assessment(PASS, (), PASS, PASS)
    reading = Fresh(story.site.probes[TOP], now.utc, now.mono_s, 38.0, 45.0, fit, story.state.probe(TOP))
    judge_eggs(story.look(), plan_, 38.0, reading, held=False)
    assert story.state.eggs["hen-1"].egg_c == pytest.approx(model.start(38.0, 17.3))
    story.state.eggs["hen-1"] = EggFelt(now.mono_s + 3600.0, 36.0, 36.5)
    judge_eggs(story.look(), plan_, 38.0, reading, held=False)
    assert story.state.eggs["hen-1"].egg_c == pytest.approx(36.0)


def test_late_in_the_term_eggs_are_too_hot_that_are_below_the_limit_of_before() -> None:
    """Hens' eggs on day 15, a little more than 1 K above what they would be at their setting: told; on day 12 not."""
    for day, state in ((12.0, NORMAL), (15.0, UNACKNOWLEDGED)):
        hens = {**PROFILES, "hen": replace(PROFILES["hen"], kind="fowl")}
        story = Story(site=site(profiles=hens), batches=(batch("hen-1", day=day),))
        plan_ = plan(story.look(), "setter-1")
        (of,) = plan_.eggs
        egg_c = of.target_c + of.model.offset_k(day) + 1.05
        assert egg_c < of.model.hot_c
        for at_s in (0.0, HOT_S):
            story.at_s = at_s
            look(story, plan_, {"hen-1": egg_c}, egg_c)
        assert story.state_of(EGG_HOT) == state
