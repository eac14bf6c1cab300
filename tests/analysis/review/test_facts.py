"""The air of a life, from the set to its end: cut there, and judged by its alarm limits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.analysis.review.facts import Facts, air_of
from monitor.analysis.review.record import lived_until
from monitor.domain.published.exposure import ABOVE, BELOW
from tests.analysis.review.test_record import T0, air, at_day, life, steady, stepped


def test_a_life_is_cut_at_the_set_and_at_its_end() -> None:
    """What came before the set and after the end is none of it; without an end it goes as far as the stretches."""
    given = life(air(steady(37.8), steady(55.0)), since=-1.0)
    for until, end in ((None, 21.0), (at_day(5.0), 5.0), (at_day(19.0), 19.0), (at_day(40.0), 21.0)):
        cut = lived_until(given, T0, until)
        assert (cut[0].since_ms, cut[-1].until_ms) == (T0, at_day(end))
    assert [s.stage for s in lived_until(given, T0, at_day(19.0))] == ["setter", "lockdown"]
    late = life(air(steady(37.8), steady(55.0)), since=2.0)
    assert lived_until(late, T0, None)[0].since_ms == at_day(2.0)
    assert lived_until(late, T0, at_day(1.0)) == [late[0]]  # it ended before it came to a watched machine


def test_the_figures_of_a_life_and_what_lay_beyond_its_limits() -> None:
    """Heat on day 3 and cold on day 12: an egg that died between has the heat alone; of a side without an alarm limit nothing is told."""
    spells = stepped((-2.0, 37.8), (3.1, 43.5), (3.3, 37.8), (12.1, 24.0), (12.6, 37.8))
    given = life(air(spells, steady(55.0)))
    for until, sides in ((None, [ABOVE, BELOW]), (at_day(8.0), [ABOVE])):
        warm, humid, beyond = air_of(given, set_ms=T0, term_days=21.0, until_ms=until)
        assert warm.until_ms == humid.until_ms == (until or at_day(21.0))
        assert [b.side for b in beyond] == [ABOVE, BELOW]
        facts = Facts(T0, (), beyond, (), warm, humid, None, ())
        assert sorted(b.side for b in facts.met) == sides
        assert facts.met[0].side == ABOVE  # it reached farther towards what did harm
        assert facts.day(at_day(3.5)) == pytest.approx(3.5)
    open_above = [
        replace(s, dry_bulb_c=replace(s.dry_bulb_c, high_alarm=None)) for s in given if s.dry_bulb_c is not None
    ]
    _, _, beyond = air_of(open_above, set_ms=T0, term_days=21.0, until_ms=None)
    assert [b.side for b in beyond] == [BELOW]
