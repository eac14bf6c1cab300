"""How a batch ended, counted by hand from small books, and what its air goes together with."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.adapters.profile_files import load_profiles
from monitor.analysis.review import shipped_causes
from monitor.analysis.statistics import Outcome
from monitor.domain.egg_book import EggBook
from monitor.domain.egg_entry import Candling, Dead, Found, Hatched, Removed
from monitor.domain.site import Site
from monitor.service.outcomes import LOOKED_AT, UNTOLD, ended_of, outcome_of, together_of
from monitor.service.ports import Series
from monitor.settings import build_house, parse_settings
from tests.fakes import MemoryStore
from tests.seasons import DAMP_RH, batch_of, ended, five_seasons, group, put, set_at

BOOK = EggBook(batch_of(0))  # twelve eggs
NOW = set_at(60)


def make_site() -> Site:
    data = {
        "site": {"id": "home", "zone": "UTC"},
        "machine": [{"id": "setter-1"}, {"id": "hatcher-1", "kind": "hatcher"}],
        "probe": [
            {"node": "node-a", "probe": "top", "machine": "setter-1", "interval_s": 600},
            {"node": "node-b", "probe": "top", "machine": "hatcher-1", "interval_s": 600},
        ],
    }
    return build_house(parse_settings(data, "test"), load_profiles(None), Path("test.toml")).site


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


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


def test_a_finding_of_a_clear_egg_counts_as_clear() -> None:
    """Found clear at the break-out, though never candled; a later candling says otherwise and counts."""
    book = put(BOOK, 21.0, Hatched(), count=11)
    assert counted(put(book, 22.0, Found("clear"), 12))[0].fertile == 11
    assert counted(put(put(book, 7.0, Candling("alive"), 12), 22.0, Found("clear"), 12))[0].fertile == 12


def test_why_a_batch_is_not_counted(site: Site) -> None:
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
    found = ended_of(store, store.batches(), UTC)
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


def test_damp_air_goes_together_with_a_bad_end(site: Site) -> None:
    """Six batches in damp air that ended badly and six in good air that did not: told from chance, with its count, and nothing else is."""
    books = [ended(EggBook(batch_of(n)), 4 if n % 2 else 11, late=7 if n % 2 else 0) for n in range(12)]
    store = MemoryStore()
    store.commit(group(books, dict.fromkeys(range(1, 12, 2), DAMP_RH)))
    together = together_of(store, site, ended_of(store, store.batches(), UTC), shipped_causes(), NOW)
    first, *others = together.found
    assert (first.exposure, first.table.counts) == ("too humid in the setter", (6, 0, 0, 6))
    assert first.p_corrected == pytest.approx(2 / 924)  # of 12 over 6, the two clearest
    assert first.low is not None
    assert first.low > 1.0
    assert "that names no cause" in first.words()
    assert [a.too_few for a in others] == [True] * (len(LOOKED_AT) - 1)
    assert (together.batches, together.left_out) == (12, 0)


def test_only_the_newest_are_read(site: Site) -> None:
    """With a bound of three the air of the three newest is looked at, and it says how many were not."""
    store = MemoryStore()
    store.commit(five_seasons())
    together = together_of(store, site, ended_of(store, store.batches(), UTC), shipped_causes(), NOW, most=3)
    assert (together.batches, together.left_out) == (3, 2)
    humid = next(a for a in together.found if a.exposure == "too humid in the setter")
    assert humid.table.counts == (1, 0, 0, 2)
    assert humid.too_few


class Deaf(MemoryStore):
    """A record whose air nobody may ask for."""

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        raise AssertionError(probe)


def test_where_all_ended_alike_no_air_is_read(site: Site) -> None:
    """No batch, or only such as went well: nothing to compare, and the weeks of readings are left alone."""
    store = Deaf()
    store.commit(group([ended(EggBook(batch_of(n)), 12) for n in range(3)]))
    assert together_of(store, site, ended_of(store, [], UTC), shipped_causes(), NOW).batches == 0
    alike = together_of(store, site, ended_of(store, store.batches(), UTC), shipped_causes(), NOW)
    assert (alike.found, alike.batches, alike.left_out) == ((), 3, 0)
