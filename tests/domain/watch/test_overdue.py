"""What should have happened by its day is told when that day is well past, and no sooner."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.about import Overdue
from monitor.domain.alarms.alarm import UNACKNOWLEDGED, Alarm
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import DRAW_DOWN, EXTERNAL_PIP, Entry, Laid, LookAgain, Note, Sign
from monitor.domain.needs.batch import closed, moved, subject_of
from monitor.domain.needs.rules import DRAW_DOWN_DUE, HATCH_OVERDUE, LOCKDOWN_OVERDUE
from monitor.domain.watch.egg_alarms import take_book
from tests.domain.house import MACHINES, PROFILES, RULES, T0, Air, Story, batch, probes, site

SHIPPED = load_profiles(None)
TOP = "node-a/top"
GOOD: Air = (37.5, 45.0)
MOIST: Air = (37.5, 65.0)
LOCKDOWN_DAY, TERM = 18.0, 21.0  # of the hen in these tests


def on_day(day: float, machine: str = "setter-1", **changes: Any) -> Story:
    """A hen's eggs on that day in a machine with good air, for two minutes."""
    story = Story(
        batches=(batch(machine=machine, day=day),), air={TOP: MOIST if day > LOCKDOWN_DAY else GOOD}, **changes
    )
    story.run(minutes=2)
    return story


@pytest.mark.parametrize(("day", "told"), [(17.0, False), (18.4, False), (18.55, True)])
def test_lockdown_is_overdue_half_a_day_after_its_day(day: float, told: bool) -> None:
    """Eggs still in a setter half a day after their lockdown day are told, by batch and day; before that there is time to do it."""
    story = on_day(day)
    assert (story.state_of(LOCKDOWN_OVERDUE) == UNACKNOWLEDGED) is told
    if told:
        assert story.about(LOCKDOWN_OVERDUE) == "hen-1 is on day 18"


def test_eggs_that_are_moved_are_no_longer_overdue() -> None:
    """The move to the hatcher ends it within a minute."""
    story = on_day(18.6)
    assert story.state_of(LOCKDOWN_OVERDUE) == UNACKNOWLEDGED
    story.put(moved(story.state.batches["hen-1"], "hatcher-1", story.now().utc))
    story.run(minutes=2)
    assert story.state_of(LOCKDOWN_OVERDUE) != UNACKNOWLEDGED
    assert story.state_of(LOCKDOWN_OVERDUE, "hatcher-1") == "normal"


def test_eggs_that_lock_down_in_their_setter_by_custom_are_not_overdue() -> None:
    """Who declares their lockdown there has said so, once; who declared it elsewhere, and brought them back, has not."""
    for machine, told in (("setter-1", False), ("hatcher-1", True)):
        mine = batch(machine=machine, day=19.0, declared=[("lockdown", 18.0)])
        if told:
            mine = moved(mine, "setter-1", mine.set_at + timedelta(days=18.5))
        story = Story(batches=(mine,), air={TOP: MOIST})
        story.run(minutes=2)
        assert (story.state_of(LOCKDOWN_OVERDUE) == UNACKNOWLEDGED) is told


def test_who_has_no_hatcher_locks_down_where_the_eggs_are() -> None:
    """Without a hatcher at the site nothing is asked."""
    alone = {name: machine for name, machine in MACHINES.items() if name != "hatcher-1"}
    story = on_day(19.0, site=site(machines=alone))
    assert (("setter-1", LOCKDOWN_OVERDUE)) not in story.state.alarms


@pytest.mark.parametrize(("day", "told"), [(20.5, False), (22.9, False), (23.1, True)])
def test_a_hatch_is_overdue_when_its_last_normal_day_is_over(day: float, told: bool) -> None:
    """Day 22 of a hen is normal to its end; a batch that is still open then is asked about."""
    watched = probes((TOP, "hatcher-1"))
    story = on_day(day, "hatcher-1", site=site(watched))
    assert (story.state_of(HATCH_OVERDUE, "hatcher-1") == UNACKNOWLEDGED) is told


@pytest.mark.parametrize("id_", sorted(SHIPPED))
def test_every_birds_own_normal_days_are_silent(id_: str) -> None:
    """From the set to the end of its last normal day nothing is overdue; after it the batch is asked about."""
    profile = SHIPPED[id_]
    house, last = site({}, profiles=SHIPPED), profile.hatch_day_last
    for day, told in ((profile.days, False), (profile.days + 0.9, False), (last + 0.99, False), (last + 1.01, True)):
        if day > last + 1.0 and not told:
            continue
        story = Story(site=house, batches=(batch("b-1", id_, day=day),))
        story.run(minutes=2)
        assert (story.state_of(HATCH_OVERDUE) == UNACKNOWLEDGED) is told, day


@pytest.mark.parametrize(("stored_days", "late_h"), [(0.0, 0.0), (7.0, 0.0), (21.0, 14.0)])
def test_days_in_store_are_waited_for(stored_days: float, late_h: float) -> None:
    """An hour for each day in store after the first week (common practice): after three weeks the same batch is asked about 14 h later."""
    for hours, told in ((late_h - 0.5, False), (late_h + 0.5, True)):
        mine = batch(day=23.0 + hours / 24.0)
        story = Story(site=site({}), batches=(mine,))
        book = add(EggBook(mine), Entry(mine.set_at, mine.set_at, "ada", Laid(stored_days=stored_days)))
        take_book(story.state, book)
        story.run(minutes=2)
        assert (story.state_of(HATCH_OVERDUE) == UNACKNOWLEDGED) is told


@pytest.mark.parametrize(("after_s", "told"), [(0.0, False), (1.0, True)])
def test_what_is_late_with_its_days_in_store_is_told_after_their_last_instant(after_s: float, told: bool) -> None:
    """A week is free, an hour for each of 24 days more, and a day of grace after the twenty-second: at the end of the twenty-fourth it is due."""
    mine = batch(day=24.0 + after_s / 86_400.0)
    story = Story(site=site({}), batches=(mine,))
    take_book(story.state, add(EggBook(mine), Entry(mine.set_at, mine.set_at, "ada", Laid(stored_days=31.0))))
    story.tick()
    assert (story.state_of(HATCH_OVERDUE) == UNACKNOWLEDGED) is told


@pytest.mark.parametrize(("hours", "told"), [(20.0, False), (47.0, False), (49.0, True)])
def test_a_chick_that_a_sign_leads_to_is_waited_for(hours: float, told: bool) -> None:
    """An external pip at the end of a hen's day 22: half a day to a day from there (HATSIG), and the day of grace."""
    mine = batch(day=23.0 + hours / 24.0)
    story = Story(site=site({}, profiles={**PROFILES, "hen": replace(PROFILES["hen"], kind="fowl")}), batches=(mine,))
    at = mine.set_at + timedelta(days=23.0)
    take_book(story.state, add(EggBook(mine), Entry(at, at, "ada", Sign(EXTERNAL_PIP), egg=3)))
    story.run(minutes=2)
    assert (story.state_of(HATCH_OVERDUE) == UNACKNOWLEDGED) is told


def test_a_closed_batch_is_not_overdue() -> None:
    """Closing it ends the alarm."""
    story = on_day(23.5)
    assert story.state_of(HATCH_OVERDUE) == UNACKNOWLEDGED
    story.put(closed(story.state.batches["hen-1"], story.now().utc))
    story.run(minutes=2)
    assert story.state_of(HATCH_OVERDUE) != UNACKNOWLEDGED


def test_a_breeder_gives_more_time() -> None:
    """The rule's own limit, in days, stands in place of the usual ones."""
    patient = {**RULES, HATCH_OVERDUE: replace(RULES[HATCH_OVERDUE], limit=5.0)}
    story = on_day(23.5, site=site(rules=patient))
    assert story.state_of(HATCH_OVERDUE) == "normal"


def test_what_is_late_by_and_by_is_told_within_a_minute() -> None:
    """A machine that was looked into while nothing of it was late is looked into again once its first batch may be."""
    for first, second in ((18.5, 18.2), (18.2, 18.5)):
        batches = [batch(id_, day=day - 3.0 / 1440.0) for id_, day in (("hen-1", first), ("hen-2", second))]
        story = Story(site=site({}), batches=tuple(batches))
        story.run(minutes=2)
        assert not story.state.alarms
        story.run(minutes=2)
        assert story.about(LOCKDOWN_OVERDUE) == f"hen-{1 if first > second else 2} is on day 18"


def test_until_when_a_machine_need_not_be_looked_into() -> None:
    """Until a second before the first of its batches may be late."""
    story = Story(site=site({}), batches=(batch("hen-1", day=3.0), batch("hen-2", day=4.0)))
    story.run(minutes=2)
    awaits = story.state.machine("setter-1").awaits
    assert awaits is not None
    assert awaits[0] is story.state.machine("setter-1").plan
    assert awaits[1] == story.state.batches["hen-2"].set_at + timedelta(days=18.5, seconds=-1.0)


def test_it_is_looked_for_once_a_minute() -> None:
    """At most so often, and at the full minute again."""
    story = on_day(18.0)
    looked_s = []
    for _ in range(121):
        story.run(seconds=1)
        looked_s.append(story.state.looked_mono_s)
    assert sorted({round(after - looked_s[0]) for after in looked_s}) == [0, 60, 120]


@pytest.mark.parametrize("kind", ["brooder", "room"])
def test_a_machine_that_is_a_setter_no_more_is_not_late(kind: str) -> None:
    """Where the configuration says another kind of machine than before, the alarm that stood is over."""
    story = on_day(18.6)
    assert story.state_of(LOCKDOWN_OVERDUE) == UNACKNOWLEDGED
    machines = {**MACHINES, "setter-1": replace(MACHINES["setter-1"], kind=kind)}
    story.site = replace(story.site, machines=machines)
    story.run(minutes=2)
    assert story.state_of(LOCKDOWN_OVERDUE) != UNACKNOWLEDGED


def test_a_day_that_is_just_come_is_not_late_yet() -> None:
    """Half a day after the lockdown day, to the second, there is still time; a moment later there is none."""
    found = []
    for seconds in (0.0, 1.0):
        story = Story(batches=(batch(day=18.5 + seconds / 86_400.0),))
        story.tick()
        key = ("setter-1", LOCKDOWN_OVERDUE)
        found.append(key in story.state.alarms)
    assert found == [False, True]


def late(story: Story, rule: str, machine: str = "setter-1") -> bool:
    """Whether one look finds it."""
    story.tick()
    return (machine, rule) in story.state.alarms


@pytest.mark.parametrize(
    ("day", "limit", "machine", "rule", "told"),
    [
        (18.5, 0.5, "setter-1", LOCKDOWN_OVERDUE, False),
        (18.5001, 0.5, "setter-1", LOCKDOWN_OVERDUE, True),
        (18.5001, None, "setter-1", LOCKDOWN_OVERDUE, True),  # half a day, where the rule says nothing
        (18.4999, None, "setter-1", LOCKDOWN_OVERDUE, False),
        (20.0, 2.0, "setter-1", LOCKDOWN_OVERDUE, False),
        (20.0001, 2.0, "setter-1", LOCKDOWN_OVERDUE, True),
        (18.0001, 0.0, "setter-1", LOCKDOWN_OVERDUE, True),
        (18.6, None, "hatcher-1", LOCKDOWN_OVERDUE, False),  # where they belong
        (23.0, None, "hatcher-1", HATCH_OVERDUE, False),
        (
            23.0001,
            None,
            "hatcher-1",
            HATCH_OVERDUE,
            True,
        ),  # a day after the twenty-second, which is the last normal one
        (23.0001, None, "setter-1", HATCH_OVERDUE, True),
        (24.0, 2.0, "hatcher-1", HATCH_OVERDUE, False),
        (24.0001, 2.0, "hatcher-1", HATCH_OVERDUE, True),
        (22.0001, 0.0, "hatcher-1", HATCH_OVERDUE, True),
    ],
)
def test_what_is_late_by_more_than_its_grace_is_told(
    day: float, limit: float | None, machine: str, rule: str, told: bool
) -> None:
    """By the rule's own limit in days, and without one by half a day after the lockdown day, a day after the last normal
    one of the hatch."""
    rules = {**RULES, rule: replace(RULES[rule], limit=limit)}
    assert late(Story(site=site(rules=rules), batches=(batch(machine=machine, day=day),)), rule, machine) is told


@pytest.mark.parametrize(
    ("fact", "answered"),
    [
        (None, False),
        (Note("all turned"), False),
        (LookAgain(T0 + timedelta(days=1), "candle"), True),
        (Sign(DRAW_DOWN), True),
    ],
    ids=["nothing", "a note", "look again", "draw-down"],
)
def test_who_has_looked_for_draw_down_has_answered(fact: Any, answered: bool) -> None:
    """The reminder names its batch and day, and asks for no answer besides: what is written of the eggs is one."""
    story = Story(site=site(profiles=SHIPPED), batches=(batch("grey-1", "african-grey", day=25.5),))
    key = (subject_of("grey-1"), DRAW_DOWN_DUE)
    story.tick()
    alarm = story.state.alarms[key]
    assert (alarm.about, alarm.acknowledged) == (Overdue((("grey-1", 25),)), False)
    set_at = story.state.batches["grey-1"].set_at
    assert alarm.since == set_at + timedelta(days=SHIPPED["african-grey"].lockdown_day)
    book = EggBook(story.state.batches["grey-1"])
    story.at_s = 2 * 3600.0
    at = T0 + timedelta(hours=1)
    take_book(story.state, book if fact is None else add(book, Entry(at, at, "ada", fact, egg=1)))
    story.tick()
    alarm = story.state.alarms[key]
    assert (alarm.condition, alarm.acknowledged, alarm.answered) == (not answered, answered, answered)
    if answered:
        assert [t.who for t in story.transitions if t.cause == "acknowledged"] == ["ada"]


def test_of_several_batches_the_late_ones_are_named() -> None:
    """Each with its day, counted in whole ones."""
    story = Story(batches=(batch("early", day=17.9), batch("late", day=18.9), batch("later", day=19.2)))
    story.tick()
    assert story.alarm(LOCKDOWN_OVERDUE).about == Overdue((("late", 18), ("later", 19)))


def test_an_alarm_of_a_machine_that_is_no_setter_now_ends_though_a_batch_is_late_elsewhere() -> None:
    """A hatcher is asked for no move; one that was never asked has no such alarm."""
    story = Story(batches=(batch(machine="hatcher-1", day=19.0),))
    story.tick()
    assert ("hatcher-1", LOCKDOWN_OVERDUE) not in story.state.alarms
    stands = Alarm("hatcher-1", LOCKDOWN_OVERDUE, 1, 1, condition=True, acknowledged=True)
    story.state.alarms[stands.key] = stands
    story.at_s = 60.0
    story.tick()
    assert not story.alarm(LOCKDOWN_OVERDUE, "hatcher-1").condition
