"""What goes together across batches, on made-up seasons whose damp air is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.across.looked_at import USUAL, every_one
from monitor.analysis.across.season import keys_of
from monitor.analysis.across.together import CHOSEN, PUBLISHED, SET_BEFORE, Exposed
from monitor.analysis.review.judged import SUPPORTED
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Hatched, Identity
from monitor.domain.needs.site import Site
from monitor.domain.state.record import Group
from monitor.service.across.beside import Beside
from monitor.service.across.outcomes import NO_OUTCOME, Ended, ended_of
from monitor.service.across.together import Together, across_batches, together_of
from monitor.service.ports import Series
from monitor.shown.outcomes import Told, association_words, outcomes_json, outcomes_text
from tests.fakes import MemoryStore
from tests.seasons import DAMP_RH, batch_of, ended, five_seasons, group, make_site, put, set_at, two_setters

NOW = set_at(60)
CATALOGUE = shipped_causes()
EVERY = every_one(CATALOGUE)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


@pytest.fixture(scope="module")
def two() -> MemoryStore:
    """Sixteen batches in two setters: all five in damp air were in setter-2, and went badly."""
    store = MemoryStore()
    store.commit(two_setters())
    return store


def usual(store: MemoryStore, site: Site, **other: Any) -> Together:
    return compared(store, site, ended_of(store, store.batches(), UTC), **other)


def compared(store: MemoryStore, site: Site, ended: Ended, **other: Any) -> Together:
    looked_at = [EVERY[id_] for id_ in USUAL]
    beside = Beside(store, site, NOW, keys_of(looked_at))
    return together_of(beside, ended, catalogue=CATALOGUE, looked_at=looked_at, **other)


def test_damp_air_goes_together_with_a_bad_end(site: Site) -> None:
    """Six batches in damp air that ended badly and six in good air that did not: told from chance, with its count, and nothing else is."""
    books = [ended(EggBook(batch_of(n)), 4 if n % 2 else 11, late=7 if n % 2 else 0) for n in range(12)]
    store = MemoryStore()
    store.commit(group(books, dict.fromkeys(range(1, 12, 2), DAMP_RH)))
    together = usual(store, site)
    first, *others = together.found
    assert (first.exposure.id, first.table.counts) == ("humidity-high-setter", (6, 0, 0, 6))
    assert first.p_corrected == pytest.approx(2 / 924)  # of 12 over 6, the two clearest
    assert first.low is not None
    assert first.low > 1.0
    assert "that names no cause" in association_words(first, "too humid")
    assert [a.too_few for a in others] == [True] * (len(USUAL) - 1)
    assert together.batches == 12
    assert first.ranks is not None
    assert [first.ranks.middle, first.ranks.other_middle] == pytest.approx([4 / 12, 11 / 12])


def test_a_clutch_is_one_case(site: Site) -> None:
    """Four batches, each with half of its eggs split off, are four cases and not eight, each with the hatch of all its eggs, in the rates as
    well as where they are compared."""
    books = [ended(EggBook(batch_of(n)), 4 if n % 2 else 11, late=7 if n % 2 else 0) for n in range(4)]
    halves = [replace(b, batch=replace(b.batch, id=f"b-{4 + n}", split_from=b.batch.id)) for n, b in enumerate(books)]
    store = MemoryStore()
    store.commit(group([*books, *halves], {1: DAMP_RH, 3: DAMP_RH}))
    together = usual(store, site)
    humid = next(a for a in together.found if a.exposure.id == "humidity-high-setter")
    assert (humid.table.total, humid.too_few) == (4, True)
    across = across_batches(store, site, catalogue=CATALOGUE, now=NOW, by="machine", finding="wet-chick")
    assert (across.every.batches, across.split_off, across.read) == (8, 4, 4)
    assert across.finding is not None
    assert (across.finding.eggs.of, across.finding.batches.of) == (96, 4)
    lines = {line.batch: (line.split_from, line.hatched, line.good) for line in across.lines}
    assert (len(lines), lines["b-4"], lines["b-5"]) == (8, ("b-0", 11, True), ("b-1", 4, False))
    words = " ".join(outcomes_text(Told.of(across, "C")).split())
    assert "Judged with the clutch that they were set with, as one: 4 batches split off another." in words


def test_a_clutch_is_judged_whole(site: Site) -> None:
    """The half that stayed hatched, the half that was split off died, in the same damp air: one bad end, of all its eggs; and of two halves
    in different air nothing is said. While a half is open the other is compared with nothing."""
    stayed, went = ended(EggBook(batch_of(1)), 11), ended(EggBook(batch_of(3)), 2, late=9)
    went = replace(went, batch=replace(went.batch, split_from="b-1"))
    others = [ended(EggBook(batch_of(n)), 11) for n in (0, 2)]

    def told(damp: dict[int, float], *books: EggBook) -> tuple[MemoryStore, Ended]:
        store = MemoryStore()
        store.commit(group([*others, *books], damp))
        return store, ended_of(store, store.batches(), UTC)

    store, of_both = told({1: DAMP_RH, 3: DAMP_RH}, stayed, went)
    (whole,) = [o for o in of_both.cases if o.batch == "b-1"]
    assert (whole.eggs, whole.hatched, whole.went_well) == (24, 13, False)
    humid = next(a for a in compared(store, site, of_both).found if a.exposure.id == "humidity-high-setter")
    assert humid.table.counts == (1, 0, 0, 2)
    store, of_both = told({1: DAMP_RH}, stayed, went)
    humid = next(a for a in compared(store, site, of_both).found if a.exposure.id == "humidity-high-setter")
    assert humid.table.counts == (0, 0, 0, 2)
    open_half = EggBook(replace(batch_of(3, closed=False), split_from="b-1"))
    _, of_one = told({}, stayed, open_half)
    assert ([o.batch for o in of_one.cases], of_one.waiting) == (["b-0", "b-2"], ("b-1",))


class Deaf(MemoryStore):
    """A record whose air nobody may ask for."""

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        raise AssertionError(probe)


def test_where_all_ended_alike_no_air_is_read(site: Site) -> None:
    """No batch, or only such as hatched alike: nothing to compare, and for that the weeks of readings are left alone."""
    store = Deaf()
    store.commit(group([ended(EggBook(batch_of(n)), 12) for n in range(3)]))
    assert compared(store, site, ended_of(store, [], UTC)).batches == 0
    alike = usual(store, site)
    assert (alike.found, alike.batches) == ((), 3)


class Counting(MemoryStore):
    """A record that counts how often air is asked for, by probe and when."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[tuple[str, datetime]] = []

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        self.asked.append((probe, since))
        return super().series(probe, since, until)


def test_each_batch_is_read_once_whatever_is_compared(site: Site) -> None:
    """By machine, for a finding with four things to look at: no stretch of air is asked for more often than for a single thing."""
    asked = []
    ways: tuple[dict[str, Any], ...] = ({}, {"by": "machine"})
    for more in ways:
        store = Counting()
        store.commit(two_setters())
        exposures = () if more else ("humidity-high-setter",)
        across_batches(store, site, catalogue=CATALOGUE, now=NOW, finding="wet-chick", exposures=exposures, **more)
        asked.append(sorted(store.asked))
    assert asked[0] == asked[1]
    assert len({since for _, since in asked[0]}) >= 16
    assert len(asked[0]) == len(set(asked[0]))


def test_the_machine_and_within_it(site: Site, two: MemoryStore) -> None:
    """Five of eight in setter-2 ended badly, none in setter-1: one comparison, not two; and damp against dry within setter-2 alone."""
    told = usual(two, site, by="machine")
    (member,) = told.members
    assert (member.exposure, member.table.counts) == (Exposed(group="setter-1", rather_than="setter-2"), (0, 8, 5, 3))
    humid = {a.exposure: a for a in told.within}[Exposed("humidity-high-setter", "setter-2")]
    assert (humid.table.counts, humid.too_few) == ((5, 0, 0, 3), False)
    assert len(told.within) == 2 * len(USUAL)
    damp = told.found[0]
    # By hand, both ways: 5 of 16 over 5, 5 of 8 over 3 and over none at all; three can tell, so the smallest p counts three times.
    assert [damp.p, humid.p, member.p] == pytest.approx([2 / 4368, 2 / 56, 2 * 56 / 4368])
    assert damp.p_corrected == pytest.approx(6 / 4368)
    # The next counts twice, and none after it less than that.
    assert [humid.p_corrected, member.p_corrected] == pytest.approx([2 * 112 / 4368] * 2)
    assert {a.looked_at for a in (*told.found, *told.members, *told.within)} == {3}


def test_one_group_is_not_compared_with_itself(site: Site, two: MemoryStore) -> None:
    """All of one species: no group against others, and nothing a second time within it."""
    told = usual(two, site, by="species")
    assert (told.members, told.within) == ((), ())
    assert told.found == usual(two, site).found


def test_seasons_are_told_one_by_one(site: Site, two: MemoryStore) -> None:
    """Four quarters of the year, each against the rest; together they hold every batch once."""
    told = usual(two, site, by="season")
    assert sorted(a.exposure.group for a in told.members) == ["dec-feb", "jun-aug", "mar-may", "sep-nov"]
    assert sum(a.table.exposed_bad for a in told.members) == 5
    assert all(a.table.total == 16 for a in told.members)
    assert {a.exposure.rather_than for a in told.members} == {""}  # of more than two, none is the other


def test_a_finding_in_place_of_how_they_ended(site: Site, two: MemoryStore) -> None:
    """Wet chicks in four of the five damp batches and in one dry one: 9 eggs of 5 batches, against what is published of wet chicks."""
    told = across_batches(two, site, catalogue=CATALOGUE, now=NOW, finding="wet-chick", by="machine")
    assert told.finding is not None
    assert (told.finding.eggs.count, told.finding.eggs.of) == (9, 192)
    assert (told.finding.batches.count, told.finding.batches.of) == (5, 16)
    assert told.finding.names == ("b-1", "b-3", "b-5", "b-7", "b-15")
    assert [r.count for r in told.finding.groups["setter-2"]] == [9, 5]
    assert [r.count for r in told.finding.groups["setter-1"]] == [0, 0]
    assert (told.why, set(told.looked_at)) == (PUBLISHED, {"humidity-high-setter", "temperature-low-whole", "temperature-high-whole", "loss-low-whole"})  # fmt: skip
    assert told.found[0].exposure.id == "humidity-high-setter"
    assert told.found[0].table.counts == (4, 1, 1, 10)
    assert told.members[0].table.counts == (0, 8, 5, 3)
    alone = {a.exposure: a.table.counts for a in told.within}
    assert alone[Exposed("humidity-high-setter", "setter-2")] == (4, 1, 1, 2)
    assert alone[Exposed("humidity-high-setter", "setter-1")] == (0, 0, 0, 8)


def test_a_finding_nobody_wrote_or_no_sensor_sees(site: Site) -> None:
    """There is nothing to compare, or nothing to look at."""
    store = MemoryStore()
    store.commit(five_seasons())
    never = across_batches(store, site, catalogue=CATALOGUE, now=NOW, finding="late-hatch")
    assert (never.found, len(never.looked_at)) == ((), 5)
    unseen = across_batches(store, site, catalogue=CATALOGUE, now=NOW, finding="rotten")
    assert (unseen.found, unseen.looked_at) == ((), {})


def test_every_closed_batch_has_its_line(site: Site) -> None:
    """Four that went well, and one in damp air, which stands out; one without an end says so, one in no machine too, an open one has none."""
    store = MemoryStore()
    store.commit(five_seasons())
    store.commit(
        Group(
            batches={
                b.id: b
                for b in (replace(batch_of(5), id="b-5"), batch_of(6, closed=False), replace(batch_of(7), stays=()))
            }
        )
    )
    told = across_batches(store, site, catalogue=CATALOGUE, now=NOW)
    lines = {line.batch: line for line in told.lines}
    assert list(lines) == ["b-0", "b-1", "b-2", "b-3", "b-4", "b-5", "b-7"]
    bad = lines["b-4"]
    assert (bad.eggs, bad.fertile, bad.hatched, bad.lost, bad.good) == (12, 11, 6, {"early": 1, "late": 4}, False)
    assert [(out.id, out.verdict.verdict) for out in bad.out] == [("humidity-high-setter", SUPPORTED)]
    assert all(not line.out for id_, line in lines.items() if id_ != "b-4")
    assert (lines["b-5"].uncounted, lines["b-7"].asked) == (NO_OUTCOME, False)
    text = outcomes_text(Told.of(told, "C"))
    head, *rows = text.partition("HOW 5 BATCHES ENDED")[0].splitlines()
    assert head == "YOUR CLOSED BATCHES"
    assert any(row.split() == ["b-3", "2025-04-05", "12", "11", "11", "0", "0", "-", "-"] for row in rows)
    words = " ".join(text.split())
    assert "b-4 2025-05-05 12 11 6 1 4 - too humid in incubation, 71 %RH" in words
    assert "no outcome is written" in words
    assert "no air to ask" in words
    rows_told: Any = outcomes_json(Told.of(told, "C"))["batches"]
    assert [row["batch"] for row in rows_told] == list(lines)
    assert rows_told[4]["stood_out"][0]["value"] == pytest.approx(71.0)


def test_a_large_house_is_told_whole(site: Site) -> None:
    """1,500 closed batches without air: a line each, in the rates all of them, and the table is no cut of them."""
    books = [ended(EggBook(replace(batch_of(n % 40), id=f"b-{n}", stays=())), 12) for n in range(1_500)]
    store = MemoryStore()
    store.commit(
        Group(batches={b.batch.id: b.batch for b in books}, entries=[(b.batch.id, e) for b in books for e in b.entries])
    )
    told = across_batches(store, site, catalogue=CATALOGUE, now=NOW)
    assert (len(told.lines), told.every.batches, told.every.hatch_of_set.of) == (1_500, 1_500, 18_000)


def test_what_the_breeder_chose(site: Site, two: MemoryStore) -> None:
    """Only these, each once, in place of the usual ones and of a finding's; one alone is not corrected."""
    ids = ("humidity-high-setter", "humidity-low-setter", "humidity-high-setter")
    ways: tuple[dict[str, Any], ...] = ({}, {"finding": "wet-chick"})
    for more in ways:
        told = across_batches(two, site, catalogue=CATALOGUE, now=NOW, exposures=ids, **more)
        assert (told.why, list(told.looked_at)) == (CHOSEN, ["humidity-high-setter", "humidity-low-setter"])
        assert len(told.found) == 2
        assert told.found[0].p_corrected == told.found[0].p
    assert across_batches(two, site, catalogue=CATALOGUE, now=NOW).why == SET_BEFORE
    with pytest.raises(KeyError):
        across_batches(two, site, catalogue=CATALOGUE, now=NOW, exposures=("moonlight",))


def test_pairs_are_counted_by_egg_and_compared_by_batch(site: Site) -> None:
    """Batches of one pair stand against those of another; one of both counts in each one's rates alone, and is told."""
    store = MemoryStore()
    pairs = {n: "P1" if n % 2 else "P2" for n in range(12)}
    books = [
        put(ended(EggBook(batch_of(n)), 4 if n % 2 else 11, late=7 if n % 2 else 0), 0.0, Identity(pair=pair))
        for n, pair in pairs.items()
    ]
    mixed = ended(EggBook(batch_of(12)), 6, late=6)
    for egg in range(1, 13):
        mixed = put(mixed, 0.0, Identity(pair="P2" if egg <= 6 else "P1"), egg)
    store.commit(group([*books, mixed]))
    across = across_batches(store, site, catalogue=CATALOGUE, now=NOW, by="pair")
    assert {name: (r.batches, r.hatch_of_set.count, r.hatch_of_set.of) for name, r in across.groups.items()} == {
        "P1": (7, 24, 78),
        "P2": (7, 72, 78),
    }
    (member,) = across.members
    assert (member.exposure, member.table.counts) == (Exposed(group="P1", rather_than="P2"), (6, 0, 0, 6))
    assert (across.mixed, across.untold) == (1, ())
    assert all(a.exposure.group in ("P1", "P2") for a in across.within)
    words = " ".join(outcomes_text(Told.of(across, "C")).split())
    assert "eggs of P1 rather than P2: 6 of 6 batches ended badly, otherwise 0 of 6." in words
    assert "Of several pairs, so not compared, for they shared their air: 1 batch." in words
    assert outcomes_json(Told.of(across, "C"))["mixed_not_compared"] == 1


def test_what_nobody_knows_whose_it_was_is_told(site: Site) -> None:
    """Eggs of several pairs that ended in counts are named, and counted in no pair."""
    store = MemoryStore()
    book = put(put(EggBook(batch_of(0)), 0.0, Identity(pair="P1"), 1), 21.0, Hatched(), count=8)
    store.commit(group([book]))
    across = across_batches(store, site, catalogue=CATALOGUE, now=NOW, by="pair")
    assert (dict(across.groups), across.mixed, across.untold) == ({}, 1, ("b-0",))
    words = " ".join(outcomes_text(Told.of(across, "C")).split())
    assert "ended in counts, so that nobody knows whose they were: b-0." in words
    assert across.every.hatch_of_set.count == 8
