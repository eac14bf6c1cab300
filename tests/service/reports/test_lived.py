"""What the eggs of a batch lived through: the batch's air, each egg's own end and its own loss."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Candling, Dead, Fact, Hatched, Removed, Sign, Split, Weighing
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import EARLY, HUMIDITY, LOSS, OPENINGS, SETTER, TEMPERATURE, WHOLE
from monitor.domain.readings.reading import to_ms
from monitor.domain.state.record import Event
from monitor.service.reports.lived import Lived, lived_of, shared_ends
from tests.fakes import MemoryStore
from tests.seasons import SETTER_RH, WARM_C, batch_of, group, make_site, put, set_at

DAY_MS = 86_400_000
WANTED = frozenset({(TEMPERATURE, WHOLE), (HUMIDITY, SETTER), (LOSS, WHOLE), (OPENINGS, SETTER), (TEMPERATURE, EARLY)})
NOW = set_at(3)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


def lived(site: Site, book: EggBook, air: bool = True) -> Lived:
    store = MemoryStore()
    given = group([book])
    if not air:
        given.readings = []
    at = book.batch.set_at
    given.events = [Event(at + timedelta(days=d), "opening", "setter-1", "opened for about 3 min") for d in (1, 2, 9)]
    store.commit(given)
    return lived_of(store, site, book, now=NOW, wanted=WANTED)


def weighed(book: EggBook, egg: int, by_pip_pct: float, until: float = 18.0) -> EggBook:
    """An egg of 60 g that loses evenly, so much by day 18.9."""
    for day in (0.0, 4.0, 9.0, 14.0, 18.0):
        if day <= until:
            book = put(book, day, Weighing(round(60.0 * (1.0 - by_pip_pct / 100.0 * day / 18.9), 3), error_g=0.01), egg)
    return book


def test_the_batch(site: Site) -> None:
    """Its mean temperature, its humidity in the setter against the band, and its openings a day, over all of its life."""
    figures = lived(site, EggBook(batch_of(0))).record(None, loss_pct=None).figures
    assert figures[TEMPERATURE, WHOLE].value == pytest.approx(WARM_C)
    assert figures[HUMIDITY, SETTER].value == pytest.approx(SETTER_RH)
    assert figures[OPENINGS, SETTER].value == pytest.approx(3 / 18)
    assert (LOSS, WHOLE) not in figures


def test_an_egg_lived_until_its_death(site: Site) -> None:
    """Dead on day 4.5: its record ends with that day of incubation; one taken for dead early at the break-out, with the first third."""
    batch = batch_of(0)
    book = put(put(EggBook(batch), 4.5, Dead("early"), 1), 22.0, Dead("early"), 2)
    book = put(put(book, 21.0, Hatched(), 3), 12.1, Removed("broken"), 4)
    one, start = lived(site, book), round(batch.set_at.timestamp() * 1000)
    ends = [one.until_ms(book, egg) for egg in (1, 2, 3, 4, 5)]
    assert [None if e is None else (e - start) / DAY_MS for e in ends] == [5.0, 7.0, None, 13.0, None]
    assert one.record(ends[0], loss_pct=None).figures[OPENINGS, SETTER].value == pytest.approx(2 / 5)
    assert shared_ends(one, book, (1, 4)) == ends[3]
    assert shared_ends(one, book, (1, 3)) is None


def test_the_dead_after_hatching_lived_to_the_end(site: Site) -> None:
    """A chick that died in the brooder had all of the incubation."""
    book = put(put(EggBook(batch_of(0)), 21.0, Hatched(), 1), 22.0, Dead("after hatch"), 1)
    assert lived(site, book).until_ms(book, 1) is None


def test_each_egg_has_its_own_loss(site: Site) -> None:
    """To pip, whatever day it hatched; of an egg that died before there is none; the batch has the middle of them."""
    book = EggBook(batch_of(0))
    for egg, by_pip in ((1, 10.0), (2, 12.0), (3, 15.0)):
        book = weighed(book, egg, by_pip)
    book = put(put(put(book, 19.0, Sign("internal pip"), 1), 21.0, Hatched(), 1), 21.0, Hatched(), 2)
    book = put(weighed(book, 4, 6.0, until=9.0), 10.0, Dead("middle"), 4)
    one = lived(site, book)
    assert one.loss_pct == {
        1: pytest.approx(10.0, abs=0.4),
        2: pytest.approx(12.0, abs=0.4),
        3: pytest.approx(15.0, abs=0.4),
    }
    assert one.middle_loss_pct == one.loss_pct[2]
    figure = one.record(None, loss_pct=one.loss_pct[3]).figures[LOSS, WHOLE]
    assert (figure.value, figure.low, figure.high) == (one.loss_pct[3], 11.0, 14.0)


def test_an_egg_that_died_before_pip_is_carried_there(site: Site) -> None:
    """Dead late on day 16, and one candled dead on day 12: their loss is what it would have come to; the batch's is that of the others."""
    book = weighed(EggBook(batch_of(0)), 1, 12.0)
    book = put(weighed(book, 2, 16.0, until=14.0), 16.0, Dead("late"), 2)
    book = put(weighed(book, 3, 8.0, until=9.0), 12.0, Candling("dead"), 3)
    book = put(weighed(book, 4, 8.0, until=4.0), 9.0, Candling("dead"), 4)  # too short to tell
    one = lived(site, book)
    assert one.loss_pct == {
        1: pytest.approx(12.0, abs=0.4),
        2: pytest.approx(16.0, abs=0.5),
        3: pytest.approx(8.0, abs=0.5),
    }
    assert one.at_pace == {2, 3}
    assert one.middle_loss_pct == one.loss_pct[1]
    assert one.record(None, loss_pct=16.0, at_pace=True).figures[LOSS, WHOLE].at_pace


def test_an_egg_that_went_elsewhere_ends_there(site: Site) -> None:
    """Its record in this batch ends with that day, and its loss is told by the batch that it went on in."""
    book = put(weighed(EggBook(batch_of(0)), 1, 12.0, until=14.0), 16.0, Split("b-0-b"), 1)
    one = lived(site, book)
    assert one.until_ms(book, 1) == round((book.batch.set_at + timedelta(days=16)).timestamp() * 1000)
    assert one.loss_pct == {}


def test_a_tray_speaks_for_the_batch(site: Site) -> None:
    """Where no egg was weighed by itself the batch's loss is that of its trays, and no egg has one."""
    book = EggBook(batch_of(0))
    for day in (0.0, 9.0, 18.0):
        book = put(book, day, Weighing(round(12 * 60.0 * (1.0 - 0.12 * day / 18.9), 2), error_g=0.1), count=12)
    one = lived(site, book)
    assert one.loss_pct == {}
    assert one.middle_loss_pct == pytest.approx(12.0, abs=0.4)


def test_the_record_ends_with_the_hatch(site: Site) -> None:
    """The empty machine runs on, dry and cold, until the batch is closed: that is nothing to the eggs, once a hatch is written."""
    book = EggBook(batch_of(0))
    given = group([book])
    cold = range(round(21.0 * DAY_MS), round(22.0 * DAY_MS) + 1, 600_000)
    last = [replace(r, dry_bulb_c=25.0) if r.up_ms in cold and r.probe == "node-b/top" else r for r in given.readings]
    store = MemoryStore()
    store.commit(replace(given, readings=last))
    means = [
        lived_of(store, site, b, now=NOW, wanted=WANTED).record(None, loss_pct=None).figures[TEMPERATURE, WHOLE].value
        for b in (book, put(book, 21.0, Hatched(), 1))
    ]
    assert means == [pytest.approx(WARM_C - (WARM_C - 25.0) / 22.0, abs=0.01), pytest.approx(WARM_C, abs=0.01)]


def test_a_hatch_ends_with_its_last_chick(site: Site) -> None:
    """Whichever was written first, and whether it lived; before the first there is no end."""
    book = put(put(EggBook(batch_of(0)), 21.5, Hatched(), 2), 20.0, Hatched(), 1)
    book = put(book, 21.8, Dead("after hatch"), 2)
    assert lived(site, book, air=False).hatched_ms == to_ms(set_at(0)) + round(21.5 * DAY_MS)
    assert lived(site, EggBook(batch_of(0)), air=False).hatched_ms is None


def test_silence_is_not_an_unopened_door(site: Site) -> None:
    """Without any reading no opening could be seen, so none is counted."""
    assert lived(site, EggBook(batch_of(0)), air=False).record(None, loss_pct=None).figures == {}


def test_the_air_is_cut_once_for_each_end(site: Site) -> None:
    """Eggs with the same end share their figures, and each keeps its own loss."""
    one = lived(site, EggBook(batch_of(0)))
    first, other = one.record(None, loss_pct=12.0, name="egg 1"), one.record(None, loss_pct=13.0, name="egg 2")
    assert first.figures[TEMPERATURE, WHOLE] is other.figures[TEMPERATURE, WHOLE]
    assert (first.name, first.figures[LOSS, WHOLE].value, other.figures[LOSS, WHOLE].value) == ("egg 1", 12.0, 13.0)


def test_a_batch_that_was_nowhere(site: Site) -> None:
    """In no machine yet: no stretch, and no figure."""
    book = EggBook(Batch("b-0", "chicken", set_at(0), 12))
    assert lived(site, book, air=False).stretches == ()


@pytest.mark.parametrize(
    ("fact", "died_d", "days"),
    [
        (Dead("late"), 0.0, 1),
        (Dead("late"), 4.0, 4),
        (Dead("late"), 4.0 + 1e-7, 5),
        (Dead("late"), 20.5, 21),
        (Dead("early"), 4.0, 4),
        (Dead("early"), 12.0, 7),  # a third of 21
        (Dead("middle"), 12.0, 12),
        (Dead("middle"), 20.0, 16),
        (Removed("broken"), 19.5, 20),
        (Split("b-0-b"), 9.5, 10),
        (Hatched(), 21.0, None),
        (Candling("dead"), 9.0, None),
    ],
)
def test_to_which_day_an_eggs_record_goes(site: Site, fact: Fact, died_d: float, days: int | None) -> None:
    """To the end of the day of its end, and no farther than the stage in which it died; of what hatched, as long as the batch's."""
    book = put(EggBook(batch_of(0)), died_d, fact, 3)
    until_ms = lived(site, EggBook(batch_of(0)), air=False).until_ms(book, 3)
    assert until_ms == (None if days is None else to_ms(set_at(0)) + days * DAY_MS)
