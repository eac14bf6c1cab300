"""A switch as it was lately: which word of it is the newest, when it turned, and when it turns too often to be believed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.signs.switch import Contact, chatters, follow

T0 = datetime(2026, 3, 10, 8, 0, tzinfo=UTC)


def word(before: Contact | None, said: bool, at_s: float, *, line: int = 1, up_ms: int | None = None) -> Contact:
    """One word that was taken so many seconds after T0, and comes then."""
    order = (line, round(at_s * 1000.0) if up_ms is None else up_ms)
    return follow(before, said, at=T0 + timedelta(seconds=at_s), order=order, mono_s=5000.0 + at_s)


def turned(*at_s: float) -> Contact:
    """A contact that was shut at 0 s and turned at these."""
    contact = word(None, False, 0.0)
    for n, each_s in enumerate(at_s):
        contact = word(contact, n % 2 == 0, each_s)
    return contact


def test_the_first_word_is_no_turn() -> None:
    """A door that stood open when the program began was not opened then."""
    first = word(None, True, 0.0)
    assert (first.said, first.at, first.since, first.mono_s, first.turned_mono_s) == (True, T0, T0, 5000.0, 5000.0)
    assert (first.turns, first.kept, first.missed) == ((), False, 0)


def test_since_when_it_says_so_is_when_it_turned() -> None:
    """The same word again is only newer; another is a turn, and what it had missed before is forgotten with it."""
    open_ = turned(30.0)
    again = word(open_, True, 90.0)
    assert (again.at, again.since) == (T0 + timedelta(seconds=90), T0 + timedelta(seconds=30))
    assert (again.mono_s, again.turned_mono_s, again.turns) == (5090.0, 5030.0, (5030.0,))
    shut = turned(30.0, 95.0)
    assert (shut.said, shut.since, shut.turns) == (False, T0 + timedelta(seconds=95), (5030.0, 5095.0))


def test_of_one_start_of_a_node_the_count_says_which_word_is_newer() -> None:
    """Its label may be off by a little; what has a lower count changes nothing, the same count once more does."""
    known = word(turned(30.0), True, 60.0, up_ms=60_000)
    assert word(known, False, 61.0, up_ms=59_999) is known
    assert word(known, False, 59.0, up_ms=60_000).said is False
    assert word(known, False, 59.0, up_ms=60_001).said is False


def test_of_two_starts_the_time_says_which_word_is_newer() -> None:
    """A node that starts anew counts from 0; what was taken before the newest word is history, whatever its count."""
    known = word(turned(30.0), True, 60.0, up_ms=60_000)
    assert word(known, False, 59.9, line=2, up_ms=90_000) is known
    assert word(known, False, 60.0, line=2, up_ms=0).said is False
    assert word(known, False, 60.1, line=2, up_ms=0).said is False


def test_only_the_last_eight_turns_are_kept() -> None:
    """What is known of a switch does not grow with its age."""
    assert turned(*(float(n) for n in range(1, 21))).turns == tuple(5000.0 + n for n in range(13, 21))


@pytest.mark.parametrize(
    ("at_s", "asked_s", "believed"),
    [
        ((0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0), 121.0, True),  # seven
        ((0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0, 180.0), 181.0, False),  # eight in three minutes
        ((0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0, 180.1), 181.0, True),  # in a little more
        ((0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0, 140.0), 440.0, False),  # and five minutes of calm
        ((0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0, 140.0), 440.1, True),
    ],
)
def test_a_contact_chatters_from_its_eighth_turn_in_three_minutes_until_it_was_calm_for_five(
    at_s: tuple[float, ...], asked_s: float, believed: bool
) -> None:
    """Nobody's hand turns a door's contact so often; a worn one, or a loose wire, does."""
    contact = turned(*(1.0 + each_s for each_s in at_s))
    assert chatters(contact, 5001.0 + asked_s) is not believed
