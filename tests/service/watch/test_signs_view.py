"""What a table of signs leads to: from the first chick to the last, what follows the last sign, and which eggs are before the others."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry, Hatched, Note, Sign
from monitor.domain.needs.batch import Batch
from monitor.domain.state.known import Look
from monitor.domain.state.record import Group
from monitor.domain.wall import utc_text
from monitor.service.watch.signs import signs_view
from tests.domain.house import T0, Story, batch, site

HOUSE = site({}, profiles=load_profiles(None))


def of(egg: int | None, word: str, hours: float = 0.0, count: int | None = None) -> Entry:
    at = T0 - timedelta(hours=hours)
    return Entry(at, at, "ada", Sign(word), egg=egg, count=count)


def view(*entries: Entry, of_: Batch | None = None, began: datetime | None = None) -> dict[str, object] | None:
    made = batch("grey-1", "african-grey", day=26.0) if of_ is None else of_
    look: Look = Story(site=HOUSE, batches=(made,)).look(Group())
    return signs_view(look, EggBook(made), entries, began=began)


def part(found: dict[str, object] | None, name: str) -> dict[str, object]:
    assert found is not None
    value = found[name]
    assert isinstance(value, dict)
    return value


def test_chicks_are_expected_from_the_first_sign_to_the_last() -> None:
    """Seen ten, one and five hours ago: out from 36 h after the first, until 120 h after the last."""
    seen = [of(egg, "internal pip", hours) for egg, hours in ((1, 5.0), (2, 10.0), (3, 1.0))]
    hatch = part(view(*seen), "hatch")
    assert hatch["earliest"] == utc_text(T0 + timedelta(hours=26))
    assert hatch["latest"] == utc_text(T0 + timedelta(hours=119))


@pytest.mark.parametrize("last", ["draw-down", "internal pip", "external pip"])
def test_the_last_sign_is_named(last: str) -> None:
    """Of several its own hours' source is told, alone or behind others."""
    others = [word for word in ("draw-down", "internal pip", "external pip") if word != last]
    alone = part(view(of(1, last)), "hatch")
    behind = part(view(of(1, others[0]), of(2, others[1]), of(3, last)), "hatch")
    assert behind["sign"] == alone["sign"] == last
    assert (behind["source"], behind["own"]) == (alone["source"], alone["own"])
    assert alone["source"]


def test_hours_of_another_kind_of_bird_are_no_own_ones() -> None:
    """Whose hours they are is of the last sign, too."""
    found = {word: part(view(of(1, word)), "hatch") for word in ("draw-down", "internal pip", "external pip")}
    for first in found:
        for last in found:
            both = part(view(of(1, first), of(2, last)), "hatch")
            assert (both["sign"], both["source"], both["own"]) == (last, found[last]["source"], found[last]["own"])


def test_what_is_no_sign_leads_to_nothing() -> None:
    """Neither an empty table, nor a note and a hatched egg; beside a sign they count for nothing."""
    others = (Entry(T0, T0, "ada", Note("x"), egg=9), Entry(T0, T0, "ada", Hatched(), egg=8))
    assert view() is None
    assert view(*others) is None
    assert view(others[0], of(3, "internal pip"), others[1]) == view(of(3, "internal pip"))


def test_of_a_bird_that_nobody_knows_nothing_is_said() -> None:
    """Its profile may be gone from the configuration; its signs are written all the same."""
    assert view(of(3, "internal pip"), of_=batch("grey-1", "dodo", day=26.0)) is None


def test_since_when_a_lockdown_began_is_told() -> None:
    """As a time, or as none."""
    for began, told in ((None, None), (T0, utc_text(T0))):
        found = view(of(3, "internal pip"), began=began)
        assert found is not None
        assert found["lockdown"] == told


@pytest.mark.parametrize(
    ("signs", "eggs", "count"),
    [
        ([of(3, "internal pip")], [3], None),
        ([of(3, "internal pip"), of(None, "internal pip", count=2)], [3], 2),
        ([of(None, "internal pip", count=2), of(None, "external pip", count=1)], [], 3),
        ([of(1, "draw-down"), of(4, "external pip"), of(2, "internal pip")], [4, 2], None),
    ],
)
def test_which_eggs_are_before_the_others(signs: list[Entry], eggs: list[int], count: int | None) -> None:
    """Those that have shown what their lockdown waits for: by number, the others counted."""
    alone = part(view(*signs), "alone")
    assert (alone["eggs"], alone["count"]) == (eggs, count)


def test_nobody_is_before_the_others() -> None:
    """Where the sign comes before the one that the lockdown waits for, or the batch is in it already."""
    made = batch("grey-1", "african-grey", day=26.0)
    for sign, of_ in (
        (of(3, "draw-down"), made),
        (of(3, "internal pip"), batch("grey-1", "african-grey", day=26.0, declared=[("lockdown", 25.0)])),
    ):
        found = view(sign, of_=of_)
        assert found is not None
        assert found["alone"] is None


def test_eggs_in_no_machine_are_told_where_they_would_do() -> None:
    """What is nowhere yet has no machine to leave."""
    nowhere = batch("grey-1", "african-grey", machine=None, day=26.0)
    alone = part(view(of(3, "internal pip"), of_=nowhere), "alone")
    assert alone["machine"] is None
    assert alone["would_do"]
    here = part(view(of(3, "internal pip"), of_=replace(nowhere, stays=batch(day=26.0).stays)), "alone")
    assert here["machine"] == "setter-1"
