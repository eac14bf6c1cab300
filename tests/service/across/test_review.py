"""The review of a batch from its record: whose finding, which record, which eggs and which batches beside it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.review.judged import CANNOT_SAY, NOT_MEASURED, NOT_SUPPORTED, SUPPORTED, Verdict
from monitor.analysis.review.whole import BatchReview, Subject
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Candling, Dead, Fact, Found, Hatched, Removed, Sign
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import HIGH, HUMIDITY, LOSS, SETTER, WHOLE
from monitor.domain.state.record import Group
from monitor.service.across import beside
from monitor.service.across import review as review_module
from monitor.service.across.beside import Beside
from monitor.service.across.review import batch_review
from monitor.service.ports import Series
from monitor.service.reports.batch import NoRecord
from monitor.service.reports.egg import egg_life
from monitor.service.reports.water import water_of
from monitor.shown.eggs import book_text, egg_text, water_view
from monitor.shown.form import Shown
from monitor.shown.history.egg import water_section
from monitor.shown.report.tree import Report
from monitor.shown.review.whole import subject_words, whole_text
from tests.fakes import MemoryStore
from tests.seasons import DAMP_RH, SETTER_RH, batch_of, ended, five_seasons, group, make_site, put, set_at
from tests.service.reports.test_lived import weighed

CATALOGUE = shipped_causes()
NOW = set_at(60)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


@pytest.fixture(scope="module")
def seasons() -> MemoryStore:
    return kept(five_seasons())


def kept(given: Group) -> MemoryStore:
    store = MemoryStore()
    store.commit(given)
    return store


def reviewed(
    store: MemoryStore,
    site: Site,
    name: str = "b-4",
    finding: str | None = None,
    egg: int | None = None,
    share: float = 0.75,
) -> BatchReview:
    batch = next(b for b in store.batches() if b.id == name)
    return batch_review(store, site, batch, now=NOW, catalogue=CATALOGUE, finding=finding, egg=egg, good_share=share)


def asked(whole: BatchReview, check: str, direction: str, window: str, place: int = 0) -> Verdict:
    return next(
        v
        for v in whole.reviewed[place].verdicts
        if (v.first.check, v.first.direction, v.first.window) == (check, direction, window)
    )


def test_damp_air_comes_out_first(site: Site, seasons: MemoryStore) -> None:
    """Wet chicks after a damp setter: that is supported, first, with its figure, the same in the other eggs, and less in good batches."""
    whole = reviewed(seasons, site)
    assert [(r.finding, subject_words(r.subject, whole.eggs), r.written) for r in whole.reviewed] == [
        ("wet-chick", "2 of 12 eggs (9, 10)", True),
        ("dead-first-third", "egg 11", True),
    ]
    first = whole.reviewed[0].verdicts[0]
    assert (first.verdict, first.first.check, first.first.direction, first.first.window) == (
        SUPPORTED,
        HUMIDITY,
        HIGH,
        SETTER,
    )
    assert first.figure is not None
    assert first.figure.value == pytest.approx(SETTER_RH + DAMP_RH)
    # Eggs 1 to 8 and 11; 12 never held an embryo. Egg 11 died in the first third, in the same air.
    assert first.siblings == pytest.approx((SETTER_RH + DAMP_RH,) * 9)
    assert first.good == pytest.approx((SETTER_RH,) * 4)
    assert whole.good == ("b-3", "b-2", "b-1", "b-0")
    assert {v.verdict for r in whole.reviewed for v in r.verdicts} == {SUPPORTED, NOT_SUPPORTED, NOT_MEASURED}


def test_what_good_batches_had_too_sets_nothing_apart(site: Site) -> None:
    """The same damp air in batches that went well: no longer supported; with fewer than it takes it still is."""
    bad = put(ended(EggBook(batch_of(4)), 4, late=4), 20.5, Found("wet-chick"), 9)
    good = [ended(EggBook(batch_of(n)), 12) for n in range(4)]
    damp = dict.fromkeys(range(5), DAMP_RH)
    told = asked(reviewed(kept(group([*good, bad], damp)), site), HUMIDITY, HIGH, SETTER)
    assert (told.verdict, told.reason) == (CANNOT_SAY, "common")
    few = reviewed(kept(group([*good[:2], bad], damp)), site)
    assert (asked(few, HUMIDITY, HIGH, SETTER).verdict, few.good) == (SUPPORTED, ("b-1", "b-0"))


def test_which_batches_stand_beside_it(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """All closed ones of the same species from that share on, and not itself, as far as the bound; a higher share leaves fewer."""
    bad = put(ended(EggBook(batch_of(12)), 12), 21.0, Found("wet-chick"), 1)
    books = [ended(EggBook(batch_of(n)), 12 if n % 2 else 9) for n in range(9)]
    books += [ended(EggBook(batch_of(9, species="pekin-duck")), 12), ended(EggBook(batch_of(10, closed=False)), 12)]
    given = group([*books, EggBook(batch_of(11)), bad])
    given.readings = []
    store = kept(given)
    assert reviewed(store, site, "b-12").good == tuple(f"b-{n}" for n in range(8, -1, -1))
    assert reviewed(store, site, "b-12", share=0.9).good == ("b-7", "b-5", "b-3", "b-1")
    monkeypatch.setattr(beside, "MOST_GOOD", 2)
    assert reviewed(store, site, "b-12").good == ("b-8", "b-7")


def test_a_clutch_that_was_split_went_well_as_a_whole_or_not(site: Site) -> None:
    """The part that stayed hatched and the part that was split off died: together under the share, so neither stands beside."""
    bad = put(ended(EggBook(batch_of(4)), 4, late=4), 20.5, Found("wet-chick"), 9)
    stayed, went = ended(EggBook(batch_of(0)), 12), ended(EggBook(batch_of(1)), 3, late=9)
    went = replace(went, batch=replace(went.batch, split_from="b-0"))
    assert reviewed(kept(group([stayed, went, bad])), site).good == ()
    assert reviewed(kept(group([stayed, bad])), site).good == ("b-0",)


class Counting(MemoryStore):
    """A record that counts how often air is asked for, by probe and when."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[tuple[str, datetime]] = []

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        self.asked.append((probe, since))
        return super().series(probe, since, until)


def test_reviews_that_share_what_stands_beside_say_the_same_and_read_it_once(site: Site) -> None:
    """Two reviews of five batches: with one `Beside` each batch's figures are worked out once, and no word differs."""
    store = Counting()
    store.commit(five_seasons())
    alone = [reviewed(store, site, id_) for id_ in ("b-4", "b-4")]
    apart = len(store.asked)
    store.asked.clear()
    shared = Beside(store, site, NOW, CATALOGUE.wanted() | {(LOSS, WHOLE)})
    batches = {b.id: b for b in store.batches()}
    together = [
        batch_review(store, site, batches[id_], now=NOW, catalogue=CATALOGUE, shared=shared) for id_ in ("b-4", "b-4")
    ]
    assert together == alone
    assert apart - len(store.asked) == 4 * 2  # four good batches, a probe in each of two machines


def test_its_own_clutch_does_not_stand_beside_it(site: Site) -> None:
    """Neither the batch it was split off, nor what was split off with it or off another, however well they hatched."""
    well = [ended(EggBook(batch_of(n)), 11) for n in range(3)]
    bad = put(ended(EggBook(replace(batch_of(4), split_from="b-0")), 4, late=4), 20.5, Found("wet-chick"), 9)
    well[2] = replace(well[2], batch=replace(well[2].batch, split_from="b-1"))
    assert reviewed(kept(group([*well, bad])), site).good == ("b-1",)


def test_an_egg_that_died_is_judged_by_its_own_days(site: Site, seasons: MemoryStore) -> None:
    """Egg 11 died in the first third: nothing is said of the hatcher, which it did not live to see; eggs 9 and 10 did."""
    dry_hatcher = [
        asked(reviewed(seasons, site, finding="shrink-wrapped", egg=e), HUMIDITY, "low", "hatcher") for e in (9, 11)
    ]
    assert [(v.verdict, v.reason) for v in dry_hatcher] == [(NOT_SUPPORTED, ""), (CANNOT_SAY, "missing")]


def test_each_egg_by_its_own_loss(site: Site) -> None:
    """An egg that lost too little among others that did not: its own loss is judged, theirs stand beside it."""
    book = ended(EggBook(batch_of(0)), 10)
    for egg, by_pip in ((1, 12.0), (2, 12.5), (3, 13.0), (11, 7.0)):
        book = weighed(book, egg, by_pip)
    book = put(book, 21.5, Found("wet-chick"), 11)
    told = asked(reviewed(kept(group([book])), site, "b-0"), LOSS, "low", "whole")
    assert told.verdict == SUPPORTED
    assert told.figure is not None
    assert told.figure.value == pytest.approx(7.0, abs=0.4)
    assert told.figure.low == 11.0
    assert told.siblings == pytest.approx((12.0, 12.5, 13.0), abs=0.4)


def test_an_eggs_loss_is_the_same_wherever_it_is_told(site: Site) -> None:
    """Hatched, hatched after a pip that was seen, dead after the day of pip, and one of which no end is written: the review's figure,
    the list of the batch, the egg's own text, its JSON and its history say one number by pip, and the egg's text another for later."""
    book = EggBook(batch_of(0))
    for egg, by_pip in ((1, 10.0), (2, 12.5), (3, 13.2), (4, 15.0)):
        book = weighed(book, egg, by_pip)
    book = put(put(put(book, 19.6, Sign("internal pip"), 2), 21.0, Hatched(), 1), 21.2, Hatched(), 2)
    book = put(book, 21.4, Dead("late"), 3)
    store = kept(group([book]))
    water = water_of(store, site, book, now=NOW)
    listed = {
        line.split()[0]: line for line in book_text(book, water, site, now=NOW).splitlines() if line[:1].isdigit()
    }
    shown = Shown(site.zone, site.unit)
    view: Any = water_view(water, site)["eggs"]
    for egg in (1, 2, 3, 4):
        told = asked(reviewed(store, site, "b-0", finding="wet-chick", egg=egg), LOSS, "low", "whole")
        weighed_egg = water.eggs[egg]
        by_pip_pct = weighed_egg.by_pip_pct
        assert told.figure is not None
        assert by_pip_pct is not None
        assert weighed_egg.loss is not None
        assert by_pip_pct.value == told.figure.value
        assert by_pip_pct.value < weighed_egg.loss.now_pct.value - 0.1
        words = f"{told.figure.value:.1f}"
        assert f" {words} (" in listed[str(egg)]
        own = egg_text(book, egg, water, site=site)
        assert f"\nby pip        {words} % (" in own
        assert ", target 11 to 14 %\n" in own
        assert f" {weighed_egg.loss.now_pct.value:.1f} % (" in own.split("\nby pip")[1].splitlines()[1]
        assert view[str(egg)]["loss"]["by_pip_pct"]["value"] == round(told.figure.value, 3)
        part = egg_life(store, site, book.batch, egg=egg, now=NOW).part
        assert any(
            line.startswith(f"lost by pip {words} % (")
            for line in Report("", sections=(water_section(part, shown),)).words()
        )
        review_text = whole_text(reviewed(store, site, "b-0", finding="wet-chick", egg=egg), CATALOGUE, shown)
        assert f"{words} %" in review_text


@pytest.mark.parametrize(("fact", "at"), [(Dead("late"), 15.0), (Dead("middle"), 12.0), (Candling("clear"), 7.0)])
def test_an_egg_that_died_before_pip_has_none_by_pip(site: Site, fact: Fact, at: float) -> None:
    """What it lost until its end is told, and no loss by pip: to the review it is one at a pace, or none at all."""
    book = put(weighed(EggBook(batch_of(0)), 1, 12.0, until=at), at, fact, 1)
    store = kept(group([book]))
    water = water_of(store, site, book, now=NOW)
    assert water.eggs[1].loss is not None
    assert water.eggs[1].by_pip_pct is None
    assert "\nlost in all " in egg_text(book, 1, water, site=site)


def test_before_the_day_of_pip_nothing_has_been_lost_by_it(site: Site) -> None:
    """An egg that goes on has its projection, and no loss by pip yet; one that pipped early has."""
    book = put(
        weighed(weighed(EggBook(batch_of(0, closed=False)), 1, 12.0, 9.0), 2, 12.0, 14.0), 16.0, Sign("internal pip"), 2
    )
    water = water_of(kept(group([book])), site, book, now=book.batch.set_at + timedelta(days=16.5))
    assert water.eggs[1].by_pip_pct is None
    assert water.eggs[2].loss is not None
    assert water.eggs[2].by_pip_pct == water.eggs[2].loss.now_pct


def test_eggs_without_numbers_are_judged_by_the_batch(site: Site) -> None:
    """Which of them it was is not written: the batch's record and its middle loss, and no other eggs beside it."""
    book = ended(EggBook(batch_of(0)), 8)
    for egg, by_pip in ((1, 12.0), (2, 12.5), (3, 16.0)):
        book = weighed(book, egg, by_pip)
    book = put(put(book, 21.5, Found("wet-chick"), count=3), 21.6, Found("wet-chick"), 12)
    whole = reviewed(kept(group([book])), site, "b-0")
    assert [subject_words(r.subject, whole.eggs) for r in whole.reviewed] == ["4 of 12 eggs (12, 3 without number)"]
    told = asked(whole, LOSS, "low", "whole")
    assert told.figure is not None
    assert told.figure.value == pytest.approx(12.5, abs=0.4)
    assert told.siblings == ()


def test_of_eggs_with_and_without_numbers_the_batch_s_whole_record_is_asked(site: Site) -> None:
    """Egg 11 died in the first third, and by itself says nothing of the hatcher; where two more have no number, the hatcher is judged as the batch had it."""
    alone = put(put(ended(EggBook(batch_of(0)), 8), 5.0, Dead("early"), 11), 21.5, Found("shrink-wrapped"), 11)
    mixed = put(alone, 21.6, Found("shrink-wrapped"), count=2)
    told = [asked(reviewed(kept(group([book])), site, "b-0"), HUMIDITY, "low", "hatcher") for book in (alone, mixed)]
    assert [(v.verdict, v.reason) for v in told] == [(CANNOT_SAY, "missing"), (NOT_SUPPORTED, "")]


def test_only_what_is_asked_for(site: Site, seasons: MemoryStore) -> None:
    """By egg, by finding; a finding that nobody wrote is reviewed too, and told as such; a replaced entry is none."""
    assert [r.finding for r in reviewed(seasons, site, egg=11).reviewed] == ["dead-first-third"]
    assert [r.finding for r in reviewed(seasons, site, finding="wet-chick").reviewed] == ["wet-chick"]
    (one,) = reviewed(seasons, site, finding="late-hatch").reviewed
    assert (subject_words(one.subject, 12), one.written) == ("the batch", False)
    (one,) = reviewed(seasons, site, finding="wet-chick", egg=3).reviewed
    assert (subject_words(one.subject, 12), one.written) == ("egg 3", False)
    assert reviewed(seasons, site, "b-1").reviewed == ()
    assert reviewed(seasons, site, egg=2).reviewed == ()


def test_a_batch_in_no_machine(site: Site) -> None:
    """What was found in eggs that never were in a machine cannot be set against a record, and says so in one line."""
    nowhere = Batch("b-0", "chicken", set_at(0), 12)
    book = put(EggBook(nowhere), 7.0, Found("clear"), 1)
    given = group([book])
    given.readings = []
    with pytest.raises(NoRecord, match="batch b-0: in no machine yet, expected `eggroom batch move b-0 MACHINE` first"):
        reviewed(kept(given), site, "b-0")


def test_a_batch_in_no_machine_of_which_nothing_was_found(site: Site) -> None:
    """There is nothing to set against a record, and nothing to complain of."""
    given = group([EggBook(Batch("b-0", "chicken", set_at(0), 12))])
    given.readings = []
    assert reviewed(kept(given), site, "b-0").reviewed == ()


def test_an_open_batch(site: Site) -> None:
    """A finding at candling while the eggs go on: its record is that up to now."""
    batch = batch_of(0, closed=False)
    book = put(EggBook(replace(batch, stays=(Stay("setter-1", batch.set_at),))), 7.0, Found("small-air-cell"), 1)
    whole = batch_review(kept(group([book])), site, book.batch, now=set_at(0).replace(day=17), catalogue=CATALOGUE)
    told = asked(whole, HUMIDITY, HIGH, SETTER)
    assert told.verdict == NOT_SUPPORTED
    assert whole.closed_at is None


@pytest.mark.parametrize(
    ("eggs", "count", "words"),
    [
        ((), 0, "the batch"),
        ((7,), 0, "egg 7"),
        ((3, 7), 0, "2 of 12 eggs (3, 7)"),
        ((3,), 2, "3 of 12 eggs (3, 2 without number)"),
        ((), 4, "4 of 12 eggs"),
        (tuple(range(1, 15)), 0, "14 eggs (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12 and 2 more)"),
    ],
)
def test_whose_finding_it_is(eggs: tuple[int, ...], count: int, words: str) -> None:
    """In words, with the numbers where there are any, and of how many where that is known."""
    batch = batch_of(0) if len(eggs) < 12 else replace(batch_of(0), eggs=None)
    assert subject_words(Subject(eggs, count), batch.eggs) == words


def test_eggs_found_clear_are_no_siblings(site: Site) -> None:
    """What never held an embryo does not stand beside one; what hatched and what died do."""
    book = put(put(EggBook(batch_of(0)), 7.0, Candling("clear"), 1), 21.0, Hatched(), 2)
    book = put(put(book, 20.0, Dead("late"), 3), 21.0, Found("wet-chick"), 4)
    told = asked(reviewed(kept(group([book])), site, "b-0"), HUMIDITY, HIGH, SETTER)
    assert len(told.siblings) == 12 - 1 - 1


def test_how_many_are_read() -> None:
    """Sixty batches that went well, and two hundred eggs: each batch is weeks of readings."""
    assert (beside.MOST_GOOD, review_module.MOST_SIBLINGS) == (60, 200)
    book = EggBook(replace(batch_of(0), eggs=250))
    assert review_module._siblings(book, (2,)) == [1, *range(3, 201)]
    some = EggBook(replace(batch_of(0), eggs=3, numbers=(4, 7, 9)))
    assert review_module._siblings(put(some, 7.0, Candling("clear"), 9), (4,)) == [7]
    unknown = EggBook(replace(batch_of(0), eggs=None))
    assert review_module._siblings(put(put(unknown, 7.0, Candling("alive"), 2), 7.0, Candling("alive"), 5), (2,)) == [5]


@pytest.mark.parametrize(
    ("facts", "clear"),
    [
        ([], False),
        ([Candling("clear")], True),
        ([Candling("alive")], False),
        ([Candling("clear"), Candling("alive")], False),
        ([Candling("alive"), Candling("clear")], True),
        ([Candling("alive"), Removed("clear")], True),
        ([Removed("broken")], False),
    ],
)
def test_which_egg_never_held_an_embryo(facts: list[Fact], clear: bool) -> None:
    """The last candling counts, or that it was taken out as clear."""
    book = EggBook(batch_of(0))
    for n, fact in enumerate(facts):
        book = put(book, 7.0 + n, fact, 3)
    assert review_module._clear(book, 3) is clear
