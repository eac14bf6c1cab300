"""What the switches of a house are taken to say: which of them are believed, and for how long."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.needs.site import OF_DOOR, OF_MAINS, OF_WATER, Switch
from monitor.domain.signs.switch import Contact
from monitor.domain.state.contacts import believed, door_open, mains_gone, told_of_door
from monitor.domain.state.known import Look
from tests.domain.house import MONO0_S, T0, Story, site

FRONT, BACK = Switch("node-a/front", OF_DOOR, "setter-1"), Switch("node-b/back", OF_DOOR, "setter-1", interval_s=60.0)
MAINS = Switch("node-a/mains", OF_MAINS)
SPARE = Switch("node-b/mains", OF_MAINS)
WATER = Switch("node-a/water", OF_WATER, "setter-1")


def contact(said: bool, *turned_ago_s: float, heard_ago_s: float = 0.0, missed: int = 0) -> Contact:
    """A switch that was last heard so long ago, and turned so long ago, the latest last."""
    heard_s = MONO0_S - heard_ago_s
    turns = tuple(MONO0_S - ago_s for ago_s in turned_ago_s)
    at = T0 - timedelta(seconds=heard_ago_s)
    return Contact(said, at, at, (1, 1), heard_s, turns[-1] if turns else heard_s, turns, said, missed)


def house(**contacts: Contact) -> Look:
    """A house with two doors at one machine, mains that two nodes watch, and water; and what is heard of them."""
    story = Story(site(switches=(FRONT, BACK, MAINS, SPARE, WATER)))
    for name, known in contacts.items():
        story.state.contacts[
            {"front": FRONT, "back": BACK, "mains": MAINS, "spare": SPARE, "water": WATER}[name].key
        ] = known
    return story.look()


@pytest.mark.parametrize(("switch", "name", "silence_s"), [(FRONT, "front", 60.0), (BACK, "back", 180.0)])
def test_a_switch_is_believed_until_its_node_misses_three_messages(switch: Switch, name: str, silence_s: float) -> None:
    """Three intervals, and a minute at least: at that age it still counts, a moment later it does not."""
    for ago_s, counts in ((silence_s, True), (silence_s + 0.1, False)):
        look = house(**{name: contact(True, heard_ago_s=ago_s)})
        assert (believed(look, switch) is not None) is counts
    assert believed(house(), switch) is None


def test_a_contact_is_given_up_by_the_third_opening_that_it_missed() -> None:
    """Two may be chance; with the third the air is believed."""
    assert believed(house(front=contact(False, missed=2)), FRONT) is not None
    assert believed(house(front=contact(False, missed=3)), FRONT) is None


def test_what_is_believed_is_what_was_heard() -> None:
    """The very contact, whether it says that something is wrong or not; one that turned eight times in a minute says nothing."""
    for said in (True, False):
        known = contact(said)
        assert believed(house(front=known), FRONT) is known
    assert believed(house(front=contact(True, *(5.0 * n for n in range(8, 0, -1)))), FRONT) is None


def test_the_mains_are_gone_when_either_of_two_switches_said_so_however_long_ago() -> None:
    """Without them nobody speaks: silence takes nothing back. A door or a dry pan is no word of the mains."""
    assert mains_gone(house(mains=contact(True, heard_ago_s=7200.0), spare=contact(False)))
    assert mains_gone(house(spare=contact(True)))
    assert not mains_gone(house(mains=contact(False), spare=contact(False), front=contact(True), water=contact(True)))
    assert not mains_gone(house())


def test_a_machine_is_open_when_one_of_its_doors_is() -> None:
    """Shut it is only where each door's contact says so."""
    assert door_open(house(front=contact(True), back=contact(False)), "setter-1", 120.0) is True
    assert door_open(house(front=contact(False), back=contact(True)), "setter-1", 120.0) is True
    assert door_open(house(front=contact(False), back=contact(False)), "setter-1", 120.0) is False


def test_while_the_contact_of_one_of_its_doors_is_silent_nobody_knows_of_a_machine() -> None:
    """Nor of one that has no such contact: then the air has to say it."""
    assert door_open(house(front=contact(False)), "setter-1", 120.0) is None
    assert door_open(house(front=contact(True), back=contact(True, heard_ago_s=181.0)), "setter-1", 120.0) is None
    assert door_open(house(front=contact(True), back=contact(True)), "hatcher-1", 120.0) is None


def test_a_door_that_was_shut_just_now_still_explains_the_air() -> None:
    """So long as was asked for, from when it turned. One that was only ever heard shut has not been open, however new that word is."""
    for ago_s, was_open in ((120.0, True), (120.1, False)):
        look = house(front=contact(False, 500.0, ago_s), back=contact(False))
        assert door_open(look, "setter-1", 120.0) is was_open
    assert door_open(house(front=contact(False), back=contact(False)), "setter-1", 120.0) is False


def test_a_contact_has_told_of_an_opening_that_it_turned_for_two_minutes_before_or_since() -> None:
    """The air falls, and its probe lags: a turn up to two minutes before the fall is of the same opening, an older one of another."""
    fell_s = MONO0_S - 300.0
    for ago_s, told in ((420.0, True), (421.0, False), (10.0, True)):
        assert told_of_door(house(front=contact(False, ago_s), back=contact(False)), "setter-1", fell_s) is told
    assert told_of_door(house(front=contact(False, 9000.0, 100.0), back=contact(False)), "setter-1", fell_s)


def test_a_door_that_stands_open_has_told_of_it_however_long_ago() -> None:
    """Nor need each door have: which one was opened the air does not know. Where nothing was heard of any, nothing was told."""
    long_open = contact(True, 9000.0)
    assert told_of_door(house(front=long_open, back=contact(False)), "setter-1", MONO0_S - 60.0)
    assert told_of_door(house(back=long_open), "setter-1", MONO0_S - 60.0)
    assert not told_of_door(house(front=replace(long_open, said=False)), "setter-1", MONO0_S - 60.0)
    assert not told_of_door(house(), "setter-1", MONO0_S - 60.0)
    assert not told_of_door(house(front=long_open), "hatcher-1", MONO0_S - 60.0)
