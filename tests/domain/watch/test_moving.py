"""What is to be moved, and to where: before a humidity is raised, and where no setting suits all eggs of a machine."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.adapters.store.facts import facts_text, told_of_text
from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.about import Moving, Unmet
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.needs.batch import Batch, moved
from monitor.domain.needs.profile import Band
from monitor.domain.needs.rules import CONFLICT, LOCKDOWN_OVERDUE, NOT_RAISED
from monitor.domain.needs.site import Machine, Site, grouped
from monitor.domain.watch.view import alarm_view, machine_view
from monitor.shown.about import about_words
from monitor.shown.now.alarms import alarms_text
from monitor.shown.now.room import room_text
from tests.domain.house import MACHINES, PROFILES, Air, Story, batch, probes, profile, site, there

TOP = "node-a/top"
# Their setter air and a hen's lockdown have 60 to 70 % in common: nothing is in conflict, and yet these want it drier.
MILD = profile("mild-bird", Band(30.0, 40.0, 55.0, 70.0, 75.0), Band(50.0, 60.0, 65.0, 80.0, 90.0))
BIRDS = {**PROFILES, "mild-bird": MILD}
LOCKED, MILDER = batch(day=18.4, declared=[("lockdown", 18.0)]), batch("mild-1", "mild-bird", day=3.0)
DRY: Air = (37.5, 48.0)


def home(*machines: str, **changes: object) -> Site:
    """These machines, and a probe in the first."""
    here = {id_: MACHINES.get(id_, Machine(id_, id_.title())) for id_ in machines}
    return replace(site(probes((TOP, machines[0])), profiles=BIRDS, machines=here), **changes)  # type: ignore[arg-type]


def slow(house: Site) -> Site:
    """The same with a reading every five minutes."""
    seldom = {key: replace(probe, interval_s=300.0) for key, probe in house.probes.items()}
    return replace(house, probes=seldom, by_machine=grouped(seldom, "machine"), by_node=grouped(seldom, "node"))


def dry(house: Site, *batches: Batch) -> Story:
    """An hour and more of air that is dry for a lockdown in the first machine."""
    first = next(iter(house.machines))
    here = tuple(replace(b, stays=(replace(b.stays[0], machine=first),)) for b in batches)
    story = Story(site=house, batches=here, air={TOP: DRY})
    story.run(minutes=10)
    return story


@pytest.mark.parametrize(
    ("house", "inside", "act", "move"),
    [
        (home("setter-1", "hatcher-1"), (LOCKED,), "Move hen-1 to Hatcher.", Moving(("hen-1",), "hatcher-1")),
        (home("setter-1", "hatcher-1"), (LOCKED, MILDER), "Move hen-1 to Hatcher.", Moving(("hen-1",), "hatcher-1")),
        (home("setter-1"), (LOCKED, MILDER), "Move hen-1 to a machine of its own.", Moving(("hen-1",))),
        (home("setter-1", "still-1"), (LOCKED, MILDER), "Move hen-1 to Still 1.", Moving(("hen-1",), "still-1")),
        (home("hatcher-1", "setter-1"), (LOCKED, MILDER), "Move mild-1 to Setter 1.", Moving(("mild-1",), "setter-1")),
        (home("setter-1"), (LOCKED,), "Fill the water, raise the humidity.", None),
        (home("hatcher-1", "setter-1"), (LOCKED,), "Fill the water, raise the humidity.", None),
    ],
)
def test_moving_comes_before_raising(house: Site, inside: tuple[Batch, ...], act: str, move: Moving | None) -> None:
    """Eggs in lockdown beside others that want it dry, or where there is a hatcher: these are moved, or in a hatcher the others; only
    where they are alone in their place is the humidity raised. The notice goes through the record as it was."""
    story = dry(house, *inside)
    (told,) = [n for n in story.notices if there(n.facts).rule == NOT_RAISED]
    assert act in told.text
    assert ("raise" in told.text) is (move is None)
    assert there(told.facts).move == move
    assert told_of_text(facts_text(told.facts)) == told.facts
    if move is not None:
        story.at_s += 1800.0  # told again, it says the same
        story.run(minutes=2)
        assert all(act in n.text for n in story.notices if there(n.facts).rule == NOT_RAISED)


@pytest.mark.parametrize(
    ("house", "act"),
    [
        (home("setter-1", "hatcher-1"), "Move the eggs in lockdown to Hatcher."),
        (home("setter-1"), "raise the humidity"),
        (home("hatcher-1", "setter-1"), "raise the humidity"),
    ],
)
def test_the_list_of_alarms_says_so_too(house: Site, act: str) -> None:
    """`eggroom alarms` knows no batches, and names the hatcher where there is one and they are not in it."""
    story = dry(house, LOCKED)
    alarm = story.alarm(NOT_RAISED, next(iter(house.machines)))
    view = alarm_view(alarm, lambda about: about_words(about, house))
    assert act in alarms_text([view], house, story.now().utc, live=True)


@pytest.mark.parametrize("others", [(), (MILDER,)])
def test_moving_is_told_once_and_not_before_it_is_overdue(others: tuple[Batch, ...]) -> None:
    """Dry air over the whole of half a day after the lockdown day of eggs that the calendar alone locks down: silent as long as there is time to move
    them; then one message, of the same act, and of the dry air nothing more as long as it stands."""
    story = Story(
        site=slow(home("setter-1", "hatcher-1")), batches=(batch(day=17.99), *others), air={TOP: DRY}, interval_s=300.0
    )
    story.run(minutes=12.2 * 60)
    assert story.titles() == []
    story.run(minutes=6 * 60)
    assert story.titles() == ["Soon: Setter 1 lockdown overdue"]
    story.put(moved(story.state.batches["hen-1"], "hatcher-1", story.now().utc))
    story.run(minutes=10)
    assert story.titles() == ["Soon: Setter 1 lockdown overdue"]


def test_who_declares_the_lockdown_is_told_of_moving_once_too() -> None:
    """A pip written, and the eggs not moved: after the hour of settling, and half a day after the lockdown day nothing more."""
    inside = batch(day=18.2, declared=[("lockdown", 18.1)])
    story = Story(site=slow(home("setter-1", "hatcher-1")), batches=(inside,), air={TOP: DRY}, interval_s=300.0)
    story.run(minutes=10 * 60)
    rules = {there(n.facts).rule for n in story.notices}
    assert rules == {NOT_RAISED}


def test_where_lockdown_overdue_is_out_of_service_the_air_is_told() -> None:
    """What nobody is told by one alarm the other does not keep to itself: of the eggs that are late the dry air rings."""
    story = Story(site=home("setter-1", "hatcher-1"), batches=(batch(day=18.6),), air={TOP: DRY})
    quiet = Alarm("setter-1", LOCKDOWN_OVERDUE, 1, 1, condition=True, acknowledged=True, out_of_service=True)
    story.state.alarms[quiet.key] = quiet
    story.run(minutes=10)
    assert story.titles() == ["Soon: Setter 1 humidity not raised"]


def test_eggs_that_cannot_share_are_told_once_and_where_they_would_do() -> None:
    """A hen beside a goose, one point in common: once, with the machine in which one would do; two days later nothing more was said."""
    shipped = site(probes((TOP, "setter-1")), profiles=load_profiles(None))
    inside = batch("hen-1", "chicken", day=5.0), batch("goose-1", "goose", day=5.0)
    story = Story(site=shipped, batches=inside, air={TOP: (37.6, 55.0)})
    story.run(minutes=5)
    (told,) = story.notices
    assert told.title == "When you can: Setter 1 eggs do not fit together"
    assert "temperature: hen-1 day 5 incubation, goose-1 day 5 incubation; hen-1 would do in Still 1." in told.text
    about = story.alarm(CONFLICT).about
    assert isinstance(about, Unmet)
    assert dict(about.places) == {"hen-1": ("still-1",), "goose-1": ("still-1",)}
    story.air.clear()
    story.state.alarms = {key: a for key, a in story.state.alarms.items() if key[1] == CONFLICT}
    story.at_s += 2 * 86_400.0
    story.tick()
    assert [n.title for n in story.notices if there(n.facts).rule == CONFLICT] == [told.title]


def test_where_no_machine_suits_either_one_needs_its_own() -> None:
    """The only other setter holds eggs that suit neither."""
    inside = batch(), batch("cold-1", "cold-bird"), batch("desert-1", "desert-bird", "still-1")
    house = home("setter-1", "still-1", probes={}, by_machine={}, by_node={})
    story = Story(site=house, batches=inside)
    story.run(minutes=2)
    assert story.about(CONFLICT).endswith("; one of them needs a machine of its own")


@pytest.mark.parametrize(
    ("species", "elsewhere", "told"),
    [
        (
            ("chicken", "pekin-duck", "ostrich"),
            True,
            "; b2 would do in Still 1",
        ),  # the odd one, not the first that has a place
        (("chicken", "pekin-duck", "ostrich"), False, "; b2 needs a machine of its own"),
        (("ostrich", "cassowary", "chicken", "pekin-duck"), False, ": 4 batches fit in 3 machines: b2 + b3, b0, b1"),
        (
            ("african-grey", "galah", "goose", "ostrich", "chicken"),
            False,
            ": 5 batches fit in 4 machines: b0 + b1, b2, b3, b4",
        ),
    ],
)
def test_of_many_that_cannot_share_it_is_told_which(species: tuple[str, ...], elsewhere: bool, told: str) -> None:
    """Three and more in one machine: the one that fits with none of the others, or which of them fit together."""
    inside = [batch(f"b{n}", each, day=5.0) for n, each in enumerate(species)]
    others = [] if elsewhere else [batch("penguin-1", "african-penguin", "still-1", day=5.0)]
    shipped = replace(home("setter-1", "still-1", probes={}, by_machine={}, by_node={}), profiles=load_profiles(None))
    story = Story(site=shipped, batches=(*inside, *others))
    story.run(minutes=2)
    assert story.about(CONFLICT).endswith(told)
    (notice,) = [n for n in story.notices if there(n.facts).rule == CONFLICT and there(n.facts).subject == "setter-1"]
    assert told.removeprefix(": ") in notice.text


def test_the_room_says_by_when_eggs_are_to_be_moved() -> None:
    """In the half day after their day, when nothing rings yet: the machine is not folded away, and the time is told."""
    house = home("setter-1", "hatcher-1")
    story = Story(site=house, batches=(batch(day=17.9),), air={TOP: DRY})
    told: list[str] = []
    for days in (0.0, 0.2, 0.5):
        story.at_s += days * 86_400.0
        story.run(minutes=2)
        room = {"machines": [machine_view(story.look(), "setter-1", str)], "others": []}
        told.append(room_text(room, story.site))  # type: ignore[arg-type]
    assert ["move it for its lockdown by" in text for text in told] == [False, True, False]
    assert "  hen-1: move it for its lockdown by 10 Mar" in told[1]


def test_the_room_folds_no_machine_that_is_out_of_its_band() -> None:
    """While a delay or a mean still runs nothing rings, and whoever looks sees that the air is out of what its eggs need."""
    folded = []
    for dry_bulb_c in (37.6, 36.8):
        story = Story(batches=(batch(),), air={TOP: (dry_bulb_c, 45.0)})
        story.run(minutes=2)
        room = {"machines": [machine_view(story.look(), "setter-1", str)], "others": []}
        text = room_text(room, story.site)  # type: ignore[arg-type]
        assert text.startswith("Nothing new.")
        folded.append("All of each machine" in text)
    assert folded == [True, False]


def test_the_day_that_is_told_is_todays() -> None:
    """A machine's limits hold for days; the room and the messages say which day it is now, and the reminder shows when its day is there."""
    grey = batch("grey-1", "african-grey", day=22.5)
    story = Story(site=site(probes((TOP, "setter-1")), profiles=load_profiles(None)), batches=(grey,), air={TOP: DRY})
    story.run(minutes=2)
    view = machine_view(story.look(), "setter-1", lambda about: about_words(about, story.site))
    assert [(b["day"], b.get("draw_down_due", False)) for b in view["batches"]] == [(22.501, False)]
    story.at_s += 2 * 86_400.0
    view = machine_view(story.look(), "setter-1", lambda about: about_words(about, story.site))
    assert [(b["day"], b.get("draw_down_due", False)) for b in view["batches"]] == [(24.501, True)]
    story.air[TOP] = (40.5, 48.0)
    story.run(minutes=3)
    assert any("grey-1 day 24." in n.text for n in story.notices)
    assert not any("day 22" in n.text for n in story.notices)
