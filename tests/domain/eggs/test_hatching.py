"""What signs in the eggs say of their batch and of each chick."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import (
    AFTER_HATCH,
    Candling,
    Dead,
    Entry,
    Fact,
    Hatched,
    Laid,
    LookAgain,
    Removed,
    Sign,
    Split,
    Withdrawn,
)
from monitor.domain.eggs.hatching import (
    draw_down_seen,
    expected,
    followed,
    lockdown_seen,
    looked_for,
    still_in,
    store_delay_h,
    telling,
)
from monitor.domain.needs.batch import Batch, closed, declared
from monitor.domain.needs.profile import DRAW_DOWN, EXTERNAL_PIP, INTERNAL_PIP, Profile
from tests.domain.house import T0, there

PROFILES: Mapping[str, Profile] = load_profiles(None)
GREY, KESTREL, HEN = (PROFILES[id_] for id_ in ("african-grey", "american-kestrel", "chicken"))
INTERNAL, EXTERNAL, DOWN = Sign(INTERNAL_PIP), Sign(EXTERNAL_PIP), Sign(DRAW_DOWN)
CLUTCH = Batch("grey-1", "african-grey", T0 - timedelta(days=26), 3)

Line = tuple[float, Fact, int | None] | tuple[float, Fact, int | None, int]  # hour, fact, egg, count


def at(hour: float) -> datetime:
    return T0 + timedelta(hours=hour)


def book(*lines: Line, batch: Batch = CLUTCH) -> EggBook:
    """A batch's book with these lines in it."""
    found = EggBook(batch)
    for hour, fact, egg, *count in lines:
        found = add(found, Entry(at(hour), at(hour), "ada", fact, egg=egg, count=count[0] if count else None))
    return found


def test_which_signs_tell_of_a_lockdown() -> None:
    """From the profile's sign on: a parrot's internal pip (EPV), a falcon's external pip (HRB-K); of other birds each pip."""
    assert telling(GREY) == (INTERNAL_PIP, EXTERNAL_PIP)
    assert telling(KESTREL) == (EXTERNAL_PIP,)
    assert telling(HEN) == (INTERNAL_PIP, EXTERNAL_PIP)


@pytest.mark.parametrize(
    ("lines", "since"),
    [
        ((), None),
        (((0, DOWN, 1), (0, DOWN, 2), (0, DOWN, 3)), None),  # a sign before the profile's says nothing yet
        (((0, INTERNAL, 1), (5, INTERNAL, 2)), None),
        (((0, INTERNAL, 1), (5, INTERNAL, 2), (9, INTERNAL, 3)), 9),
        (((0, INTERNAL, 1), (5, EXTERNAL, 2), (9, INTERNAL, 3)), 9),  # a later sign says that the earlier one has been
        (((0, INTERNAL, 1), (0.5, Removed("clear"), 2), (1, Removed("clear"), 3)), 1),  # the one that is left
        (((-90, Removed("clear"), 2), (-80, Dead("early"), 3), (0, INTERNAL, 1)), 0),
        (((0, Removed("clear"), 1), (0, Removed("clear"), 2), (1, Removed("clear"), 3)), None),  # nobody showed a sign
        (((0, INTERNAL, 1), (5, Hatched(), 2), (9, INTERNAL, 3)), 9),
        (((5, Hatched(), 2), (6, Dead(AFTER_HATCH), 2), (9, INTERNAL, 3)), None),
        (((3, INTERNAL, None, 3),), 3),  # all of them, without numbers
        (((3, INTERNAL, None, 2), (4, EXTERNAL, None, 2)), None),  # the same two, as far as anybody knows
        (((3, INTERNAL, None, 2), (4, INTERNAL, None, 1)), 4),
        (((1, Removed("broken"), None, 1), (3, INTERNAL, None, 2)), 3),
    ],
)
def test_since_when_every_egg_has_shown_its_sign(lines: tuple[Line, ...], since: float | None) -> None:
    """The lockdown of the batch begins when each egg still in it has shown the sign of the profile, or a later one."""
    assert lockdown_seen(book(*lines), GREY) == (None if since is None else at(since))


@pytest.mark.parametrize(
    ("lines", "seen"),
    [
        ((), False),
        (((0, DOWN, 1), (0, INTERNAL, 2)), False),
        (((0, DOWN, 1), (0, INTERNAL, 2), (0, EXTERNAL, 3)), True),
        (((0, DOWN, 1), (0, Removed("clear"), 2), (0, Dead("early"), 3)), True),
        (((0, DOWN, None, 3),), True),
    ],
)
def test_whether_draw_down_was_seen_in_every_egg(lines: tuple[Line, ...], seen: bool) -> None:
    """Or what comes after it, in each egg still in the batch; of any bird, and not known where nobody wrote how many were set."""
    assert draw_down_seen(book(*lines)) is seen
    assert not draw_down_seen(book(*lines, batch=replace(CLUTCH, eggs=None)))


def test_a_batch_of_one_egg_goes_with_its_egg() -> None:
    """Its one sign is the batch's."""
    alone = replace(CLUTCH, eggs=1)
    assert lockdown_seen(book((2, INTERNAL, 1), batch=alone), GREY) == at(2)


def test_what_is_not_known_begins_nothing() -> None:
    """A bird that goes by the calendar; a batch of which nobody wrote how many eggs it has."""
    all_three: tuple[Line, ...] = ((0, INTERNAL, 1), (0, INTERNAL, 2), (0, INTERNAL, 3))
    assert lockdown_seen(book(*all_three), HEN) is None
    assert lockdown_seen(book(*all_three, batch=replace(CLUTCH, eggs=None)), GREY) is None


def test_eggs_that_went_on_elsewhere_are_not_waited_for() -> None:
    """Two went on as a batch of their own with their signs; the one that stays is asked alone."""
    left = replace(CLUTCH, eggs=1, numbers=(3,))
    lines: tuple[Line, ...] = ((0, INTERNAL, 1), (0, INTERNAL, 2), (1, Split("grey-1-b"), 1), (1, Split("grey-1-b"), 2))
    gone = EggBook(left, book(*lines).entries)
    assert lockdown_seen(gone, GREY) is None
    assert lockdown_seen(add(gone, Entry(at(8), at(8), "ada", INTERNAL, egg=3)), GREY) == at(8)


def test_the_stage_follows_what_is_written() -> None:
    """The last sign declares the lockdown since then; withdrawn, it is declared no longer; what a person declared stays."""
    two = book((0, INTERNAL, 1), (0, INTERNAL, 2))
    three = add(two, Entry(at(9), at(9), "ada", INTERNAL, egg=3))
    begun = followed(two, three, GREY)
    assert begun.declared == declared(CLUTCH, "lockdown", at(9)).declared
    whole = EggBook(begun, three.entries)
    mistaken = add(whole, Entry(at(10), at(10), "ada", Withdrawn(), egg=3, replaces=3))
    assert followed(whole, mistaken, GREY).declared == ()
    by_hand = declared(CLUTCH, "lockdown", at(-3))
    assert followed(EggBook(by_hand, two.entries), EggBook(by_hand, three.entries), GREY) == by_hand
    over = closed(CLUTCH, at(20))
    assert followed(EggBook(over, two.entries), EggBook(over, three.entries), GREY) == over


@pytest.mark.parametrize(
    ("profile", "sign", "low_h", "high_h", "own"),
    [
        (HEN, INTERNAL, 24, 36, True),  # 24 to 26 h before the hatch (HATSIG); on the mean at 19 d 12 h of 21 d (PW)
        (HEN, EXTERNAL, 12, 24, True),  # half a day of rest and an hour of cutting (HATSIG); 12 to 24 h (memory)
        (GREY, INTERNAL, 36, 120, True),  # 24 to 48, sometimes 12 h to external pip; 24 to 72 h from there (NSW-SP)
        (GREY, EXTERNAL, 24, 72, True),  # NSW-SP
        (GREY, DOWN, 48, 120, True),  # 24 to 48 h before pip (EPV)
        (PROFILES["african-penguin"], EXTERNAL, 48, 50, True),  # HRB-P
        (KESTREL, EXTERNAL, 12, 72, False),  # nobody says it of birds of prey: hens and parrots together
    ],
)
def test_when_a_chick_is_expected(profile: Profile, sign: Sign, low_h: float, high_h: float, own: bool) -> None:
    """Counted from the sign, as hatch_events has it of that kind of bird; what nobody says is marked."""
    found = there(expected(book((5, sign, 1)), 1, profile))
    assert (found.at, found.earliest, found.latest) == (at(5), at(5 + low_h), at(5 + high_h))
    assert (found.sign, found.own) == (sign.sign, own)


def test_the_latest_sign_counts_until_it_is_out() -> None:
    """An external pip is nearer than the internal one before it; what has hatched is expected no longer, nor one without a sign."""
    both = book((5, INTERNAL, 1), (20, EXTERNAL, 1))
    assert there(expected(both, 1, GREY)).at == at(20)
    assert expected(both, 2, GREY) is None
    assert expected(add(both, Entry(at(60), at(60), "ada", Hatched(), egg=1)), 1, GREY) is None


def test_who_is_still_in_it() -> None:
    """By number while the book knows which have ended; else only how many."""
    assert still_in(book()) == ((1, 2, 3), 3)
    assert still_in(book((0, Removed("clear"), 2))) == ((1, 3), 2)
    assert still_in(book((0, Removed("clear"), None, 1))) == ((), 2)
    assert still_in(book(batch=replace(CLUTCH, eggs=None))) == ((), None)
    assert still_in(book(batch=replace(CLUTCH, numbers=(4, 5), eggs=2))) == ((4, 5), 2)


@pytest.mark.parametrize(
    ("line", "looked"),
    [
        ((1, Candling("alive"), 1), True),
        ((1, DOWN, 1), True),
        ((1, LookAgain(at(40), "not yet"), None), True),
        ((-1, Candling("alive"), 1), False),  # before the day
    ],
)
def test_who_has_looked(line: Line, looked: bool) -> None:
    """A candling, a sign, or a time to look again, written of these eggs since."""
    assert looked_for(book(line), T0) is looked


@pytest.mark.parametrize(
    ("lines", "delay_h"),
    [
        ((), (0, 0)),
        (((0, Laid(stored_days=5), None),), (0, 0)),  # a week costs nothing
        (((0, Laid(stored_days=17), None),), (10, 10)),
        (((0, Laid(stored_days=17), 1),), (0, 10)),  # nobody wrote it of the others
        (((0, Laid(stored_days=17), 1), (0, Laid(stored_days=9), None)), (2, 10)),
        (((0, Laid(stored_days=17), 1), (0, Laid(stored_days=9), 2), (0, Laid(stored_days=10), 3)), (2, 10)),
        (((0, Laid(laid_at=CLUTCH.set_at - timedelta(days=8)), None),), (1, 1)),
    ],
)
def test_days_in_store_make_the_hatch_later(lines: tuple[Line, ...], delay_h: tuple[float, float]) -> None:
    """An hour for each day after the first week (common practice), of the egg that was there the shortest and of the longest."""
    assert store_delay_h(book(*lines)) == pytest.approx(delay_h)
