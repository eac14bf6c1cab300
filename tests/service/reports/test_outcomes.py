"""How a batch ended, counted by hand from small books."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

from monitor.analysis.across.statistics import Outcome
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Candling, Dead, Found, Hatched, Removed
from monitor.domain.eggs.split import split
from monitor.domain.state.record import Group
from monitor.service.reports.outcomes import UNTOLD, ended_of, outcome_of
from tests.fakes import MemoryStore
from tests.seasons import batch_of, ended, group, make_site, put, set_at

BOOK = EggBook(batch_of(0))  # twelve eggs


def counted(book: EggBook, good_share: float = 0.75) -> tuple[Outcome, int]:
    found = outcome_of(book, UTC, good_share)
    assert not isinstance(found, str), found
    return found


def test_every_egg_by_number() -> None:
    """Eight hatched, one of them dead afterwards, two late, one clear, one candled dead: eleven fertile, and no end is missing."""
    book = ended(BOOK, 8, late=2, clear=1)
    book = put(put(book, 22.0, Dead("after hatch"), 1), 17.0, Candling("dead"), 12)
    outcome, missing = counted(book)
    assert (outcome.eggs, outcome.fertile, outcome.hatched, dict(outcome.lost)) == (12, 11, 8, {"late": 2, UNTOLD: 1})
    assert (outcome.machine, outcome.species, outcome.season, outcome.went_well) == (
        "setter-1",
        "chicken",
        "Dec to Feb",
        False,
    )
    assert missing == 0


def test_eggs_without_numbers() -> None:
    """Counts come to the same; clear eggs that were candled and then removed are counted once."""
    book = put(BOOK, 7.0, Candling("clear"), count=2)
    book = put(put(book, 7.0, Candling("fertile"), count=10), 8.0, Removed("clear"), count=2)
    book = put(put(book, 21.0, Hatched(), count=8), 22.0, Dead("internal pip"), count=2)
    outcome, missing = counted(book)
    assert (outcome.fertile, outcome.hatched, dict(outcome.lost), missing) == (10, 8, {"internal pip": 2}, 0)
    assert outcome.went_well


def test_seen_by_number_and_ended_by_count() -> None:
    """Candled clear and dead by number, then written off together in counts: each egg is counted once."""
    book = put(put(put(BOOK, 7.0, Candling("clear"), 11), 7.0, Candling("clear"), 12), 14.0, Candling("early dead"), 10)
    book = put(put(book, 7.5, Removed("clear"), count=2), 22.0, Dead("early"), count=2)
    outcome, missing = counted(put(book, 21.0, Hatched(), count=8))
    assert (outcome.fertile, outcome.hatched, dict(outcome.lost), missing) == (10, 8, {"early": 2}, 0)


def test_fertile_only_where_all_are_known() -> None:
    """One egg of which nothing is known: how many were fertile is not said, and the batch is judged by all that were set."""
    book = put(BOOK, 21.0, Hatched(), count=9)
    outcome, missing = counted(put(book, 7.0, Candling("clear"), count=2))
    assert (outcome.fertile, outcome.hatched, missing) == (None, 9, 1)
    assert outcome.went_well
    assert not counted(book, 0.76)[0].went_well


def test_eggs_that_went_elsewhere() -> None:
    """One given away counts neither way; a broken one was set, and is neither hatched nor lost as an embryo, nor without an end."""
    book = put(put(ended(BOOK, 8, clear=1), 9.0, Removed("given away"), 10), 9.0, Removed("broken"), 11)
    outcome, missing = counted(book)
    assert (outcome.eggs, outcome.fertile, outcome.hatched, dict(outcome.lost), missing) == (11, 10, 8, {}, 1)


def test_eggs_that_went_on_in_another_batch() -> None:
    """They count there, not here; a batch of which nothing but that is written has no outcome."""
    alive = put(put(EggBook(batch_of(0, closed=False)), 9.0, Candling("alive"), 11), 7.0, Candling("clear"), count=1)
    apart, _ = split(
        alive, (11, 12), count=None, into="b-0-b", at=set_at(0) + timedelta(days=10), written_at=set_at(0), who="ada"
    )
    apart, _ = split(
        apart, (), count=1, into="b-0-c", at=set_at(0) + timedelta(days=10), written_at=set_at(0), who="ada"
    )
    assert outcome_of(apart, UTC) == "no outcome is written"
    outcome, missing = counted(put(apart, 21.0, Hatched(), count=7))
    assert (outcome.eggs, outcome.fertile, outcome.hatched, dict(outcome.lost), missing) == (9, None, 7, {}, 1)


def test_a_finding_of_an_egg_that_went_on_counts_where_it_is() -> None:
    """One wet chick in one egg is one finding over both batches."""
    found = put(EggBook(batch_of(0, closed=False)), 9.0, Found("wet-chick"), 11)
    here, there = (
        replace(each, batch=replace(each.batch, closed_at=set_at(0) + timedelta(days=22)))
        for each in split(
            found,
            (11, 12),
            count=None,
            into="b-0-b",
            at=set_at(0) + timedelta(days=10),
            written_at=set_at(0),
            who="ada",
        )
    )
    store = MemoryStore()
    store.commit(
        Group(
            batches={each.batch.id: each.batch for each in (here, there)},
            entries=[
                (each.batch.id, entry)
                for each in (put(here, 21.0, Hatched(), count=10), put(there, 21.0, Hatched(), count=2))
                for entry in each.entries
            ],
        )
    )
    assert ended_of(store, store.batches(), UTC, finding="wet-chick").written == {"b-0": 0, "b-0-b": 1}


def test_a_finding_of_a_clear_egg_counts_as_clear() -> None:
    """Found clear at the break-out, though never candled; a later candling says otherwise and counts."""
    book = put(BOOK, 21.0, Hatched(), count=11)
    assert counted(put(book, 22.0, Found("clear"), 12))[0].fertile == 11
    assert counted(put(put(book, 7.0, Candling("alive"), 12), 22.0, Found("clear"), 12))[0].fertile == 12


def test_why_a_batch_is_not_counted() -> None:
    """No number of eggs, no end of any, or more than were set: each is said; an open batch is not even looked at."""
    bare = EggBook(replace(batch_of(1), eggs=None))
    many = ended(EggBook(batch_of(3)), 12)
    twice = replace(many, entries=(*many.entries, *put(EggBook(batch_of(3)), 21.0, Hatched(), count=4).entries))
    store = MemoryStore()
    store.commit(
        group(
            [bare, ended(EggBook(batch_of(0)), 10), EggBook(batch_of(2)), ended(EggBook(batch_of(4, closed=False)), 9)]
        )
    )
    found = ended_of(store, store.batches(), make_site().zone)
    assert [o.batch for o in found.outcomes] == ["b-0"]
    assert found.left_out == {"b-1": "how many eggs were set is not written", "b-2": "no outcome is written"}
    assert found.unwritten == 2
    assert outcome_of(twice, UTC) == "more eggs are written than were set"


def test_the_season_is_that_of_the_house() -> None:
    """Set on the last evening of February in one zone, on the first of March in another."""
    late = replace(batch_of(0), set_at=set_at(0).replace(month=2, day=28))
    book = put(EggBook(late), 21.0, Hatched(), 1)
    for zone, season in ((UTC, "Dec to Feb"), (ZoneInfo("Asia/Tokyo"), "Mar to May")):
        outcome = outcome_of(book, zone)
        assert not isinstance(outcome, str)
        assert outcome[0].season == season


def test_a_finding_is_counted_beside() -> None:
    """Eggs with it, each with a number once, in every batch that counts, and none where it was not written; at most all its eggs."""
    twice = put(put(ended(EggBook(batch_of(1)), 9), 21.0, Found("wet-chick"), 3), 21.5, Found("wet-chick"), 3)
    counted_twice = ended(EggBook(batch_of(2)), 10)
    for days in (21.0, 21.5):
        counted_twice = put(counted_twice, days, Found("wet-chick"), count=8)
    other = put(ended(EggBook(batch_of(3)), 12), 21.0, Found("late-hatch"), 1)
    store = MemoryStore()
    store.commit(group([put(EggBook(batch_of(0)), 21.0, Found("wet-chick"), 1), put(twice, 21.0, Found("wet-chick"), count=2), counted_twice, other]))  # fmt: skip
    found = ended_of(store, store.batches(), UTC, finding="wet-chick")
    assert found.written == {"b-1": 3, "b-2": 12, "b-3": 0}
    assert "b-0" in found.left_out
    assert [found.bad(o) for o in found.outcomes] == [True, True, False]
    assert [ended_of(store, store.batches(), UTC).bad(o) for o in found.outcomes] == [False, False, False]
