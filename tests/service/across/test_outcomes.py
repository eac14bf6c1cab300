"""How a batch ended, counted by hand from small books."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.analysis.across.statistics import Outcome
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Candling, Dead, Found, Hatched, Identity, Removed
from monitor.domain.eggs.split import split
from monitor.domain.state.record import Group
from monitor.service.across.outcomes import NO_EGGS, NO_OUTCOME, TOO_MANY, UNTOLD, clutches_of, ended_of, outcome_of
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
        "dec-feb",
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
    assert outcome_of(apart, UTC) == NO_OUTCOME
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


def test_an_egg_that_was_taken_out_as_clear_was_clear() -> None:
    """By its number, whether it was candled before or not, and whatever a candling had said: eleven fertile, and no end is missing."""
    book = put(BOOK, 21.0, Hatched(), count=11)
    for before in (book, put(book, 7.0, Candling("clear"), 12), put(book, 7.0, Candling("alive"), 12)):
        outcome, missing = counted(put(before, 8.0, Removed("clear"), 12))
        assert (outcome.eggs, outcome.fertile, outcome.hatched, missing) == (12, 11, 11, 0)


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
    assert found.left_out == {"b-1": NO_EGGS, "b-2": NO_OUTCOME}
    assert found.unwritten == 2
    assert outcome_of(twice, UTC) == TOO_MANY


def test_the_season_is_that_of_the_house() -> None:
    """Set on the last evening of February in one zone, on the first of March in another."""
    late = replace(batch_of(0), set_at=set_at(0).replace(month=2, day=28))
    book = put(EggBook(late), 21.0, Hatched(), 1)
    for zone, season in ((UTC, "dec-feb"), (ZoneInfo("Asia/Tokyo"), "mar-may")):
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


@pytest.mark.parametrize(
    ("month", "season"),
    [
        *((month, "dec-feb") for month in (12, 1, 2)),
        *((month, "mar-may") for month in (3, 4, 5)),
        *((month, "jun-aug") for month in (6, 7, 8)),
        *((month, "sep-nov") for month in (9, 10, 11)),
    ],
)
def test_the_season_of_each_month(month: int, season: str) -> None:
    """The quarters of the year that mean the same on both halves of the earth."""
    book = put(EggBook(replace(batch_of(0), set_at=set_at(0).replace(month=month))), 21.0, Hatched(), 1)
    assert counted(book)[0].season == season


def test_a_batch_of_clear_eggs_did_not_go_well() -> None:
    """Nothing was fertile, so no share of it hatched; nor did one of which every egg was given away."""
    outcome, missing = counted(put(BOOK, 8.0, Removed("clear"), count=12))
    assert (outcome.eggs, outcome.fertile, outcome.hatched, outcome.went_well, missing) == (12, 0, 0, False, 0)
    assert counted(put(BOOK, 9.0, Removed("broken"), count=12))[0].went_well is False


@pytest.mark.parametrize(("hatched", "late", "well"), [(9, 3, True), (8, 4, False), (3, 1, True), (12, 0, True)])
def test_from_which_share_on_a_batch_went_well(hatched: int, late: int, well: bool) -> None:
    """Three quarters of the fertile eggs, and no less."""
    assert counted(ended(BOOK, hatched, late=late, clear=12 - hatched - late))[0].went_well is well


def test_what_was_seen_alive_and_ended_in_a_count() -> None:
    """Of candlings of one instant the eggs add up, of several the most counts; those that ended since are no others; the dead after the
    hatch had hatched."""
    book = put(put(BOOK, 7.0, Candling("fertile"), count=6), 7.0, Candling("alive"), count=4)
    book = put(put(book, 14.0, Candling("alive"), count=9), 7.0, Candling("clear"), count=2)
    book = put(put(book, 21.0, Hatched(), count=8), 22.0, Dead("late"), count=1)
    outcome, missing = counted(put(book, 23.0, Dead("after hatch"), count=3))
    assert (outcome.fertile, outcome.hatched, dict(outcome.lost), missing) == (10, 8, {"late": 1}, 1)


def test_seen_dead_by_number_beside_deaths_in_counts() -> None:
    """Each death that was counted stands for one egg seen dead, the early ones first; those beyond are of their own."""
    book = BOOK
    for egg, found in ((9, "early dead"), (10, "early dead"), (11, "dead"), (12, "dead")):
        book = put(book, 14.0, Candling(found), egg)
    book = put(book, 21.0, Hatched(), count=8)
    for deaths, lost in ((1, {"late": 1, "early": 1, UNTOLD: 2}), (3, {"late": 3, UNTOLD: 1}), (4, {"late": 4})):
        assert dict(counted(put(book, 22.0, Dead("late"), count=deaths))[0].lost) == lost
    assert dict(counted(book)[0].lost) == {"early": 2, UNTOLD: 2}


def test_an_egg_seen_alive_and_taken_out() -> None:
    """It was fertile, and it did not hatch; one of which nothing was seen may have been clear. In a count, too, it has an end."""
    book = put(put(ended(BOOK, 10), 7.0, Candling("alive"), 11), 9.0, Removed("broken"), 11)
    outcome, missing = counted(put(put(book, 7.0, Candling("fertile"), 12), 9.0, Removed("broken"), 12))
    assert (outcome.fertile, outcome.hatched, missing) == (12, 10, 0)
    unseen, missing = counted(put(put(BOOK, 21.0, Hatched(), count=11), 9.0, Removed("broken"), 12))
    assert (unseen.fertile, missing) == (None, 0)
    assert counted(put(put(BOOK, 21.0, Hatched(), count=10), 9.0, Removed("broken"), count=2))[1] == 0


def test_a_batch_that_was_in_no_machine_is_counted_by_itself() -> None:
    """Its eggs hatched all the same."""
    assert counted(ended(EggBook(replace(batch_of(0), stays=())), 12))[0].machine == "no machine"


def test_a_finding_once_is_enough() -> None:
    """Where a finding is asked for a batch counts by whether it was written at all."""
    store = MemoryStore()
    store.commit(
        group([put(ended(EggBook(batch_of(1)), 12), 21.0, Found("wet-chick"), 3), ended(EggBook(batch_of(2)), 2)])
    )
    found = ended_of(store, store.batches(), UTC, finding="wet-chick")
    assert (found.written, found.clutches, found.unwritten) == ({"b-1": 1, "b-2": 0}, {}, 10)
    assert [found.bad(o) for o in found.outcomes] == [True, False]
    assert [replace(found, written=None).bad(o) for o in found.outcomes] == [False, True]


def whose(book: EggBook, *pairs: tuple[str, str, range]) -> EggBook:
    """The book with each pair and clutch written of its eggs."""
    for pair, clutch, eggs in pairs:
        for egg in eggs:
            book = put(book, 0.0, Identity(pair=pair, clutch=clutch), egg)
    return book


def test_each_pair_by_itself() -> None:
    """Of a batch of two pairs each one's eggs are counted with their own ends, the finding too; those of nobody apart."""
    book = whose(ended(BOOK, 7, late=2, clear=1), ("P1", "1", range(1, 6)), ("P2", "1", range(6, 11)))
    book = put(book, 20.5, Found("wet-chick"), 9)
    store = MemoryStore()
    store.commit(group([book]))
    found = ended_of(store, store.batches(), UTC, by="pair", finding="wet-chick")
    parts = {o.pair: (o.eggs, o.hatched, dict(o.lost), o.went_well) for o in found.parts["b-0"] or ()}
    assert parts == {"P1": (5, 5, {}, True), "P2": (5, 2, {"late": 2}, False), "": (2, 0, {}, False)}
    assert sum(eggs for eggs, *_ in parts.values()) == found.outcomes[0].eggs == 12
    assert found.outcomes[0].pair == ""
    assert found.part_written == {("b-0", "P1"): 0, ("b-0", "P2"): 1, ("b-0", ""): 0}
    clutches = ended_of(store, store.batches(), UTC, by="clutch")
    assert {o.clutch for o in clutches.parts["b-0"] or ()} == {"P1, clutch 1", "P2, clutch 1", ""}


def test_eggs_of_one_pair_may_end_in_counts() -> None:
    """What all of a batch have in common holds for counts as well; of two pairs nobody knows whose they were."""
    book = put(put(BOOK, 0.0, Identity(pair="P1")), 21.0, Hatched(), count=8)
    store = MemoryStore()
    store.commit(group([book, whose(EggBook(batch_of(1)), ("P1", "1", range(1, 6)))]))
    found = ended_of(store, store.batches(), UTC, by="pair")
    assert found.outcomes[0].pair == "P1"
    assert found.parts == {"b-0": (found.outcomes[0],)}
    mixed = put(whose(EggBook(batch_of(1)), ("P1", "1", range(1, 6))), 21.0, Hatched(), count=8)
    store = MemoryStore()
    store.commit(group([mixed]))
    assert ended_of(store, store.batches(), UTC, by="pair").parts == {"b-1": None}


def test_a_pair_follows_its_eggs_into_another_batch() -> None:
    """Of a split each batch counts the pairs of its own eggs."""
    book = whose(EggBook(batch_of(0, closed=False)), ("P1", "1", range(1, 7)), ("P2", "1", range(7, 13)))
    at = set_at(0) + timedelta(days=10)
    stay, went = split(book, [1, 7], count=None, into="b-90", at=at, written_at=at, who="ada")
    books = [put(put(went, 21.0, Hatched(), 1), 21.0, Dead("late"), 7), put(stay, 21.0, Hatched(), 2)]
    store = MemoryStore()
    store.commit(group([replace(each, batch=replace(each.batch, closed_at=at + timedelta(days=12))) for each in books]))
    parts = ended_of(store, store.batches(), UTC, by="pair").parts
    assert {(o.batch, o.pair): (o.eggs, o.hatched) for each in parts.values() for o in each or ()} == {
        ("b-90", "P1"): (1, 1),
        ("b-90", "P2"): (1, 0),
        ("b-0", "P1"): (5, 1),
        ("b-0", "P2"): (5, 0),
    }


def test_a_clutch_begins_with_the_batch_that_was_set() -> None:
    """In whatever order its parts come; a batch that was never split is no clutch."""
    whole, other = batch_of(0), batch_of(1)
    parts = [replace(whole, id=id_, split_from=whole.id) for id_ in ("a-part", "z-part")]
    found = clutches_of([parts[0], other, whole, parts[1]])
    assert found == dict.fromkeys(("a-part", whole.id, "z-part"), (whole.id, "a-part", "z-part"))
