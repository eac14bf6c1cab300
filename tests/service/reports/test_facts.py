"""What a review opens with: what the record shows of a batch's eggs, whatever any source names, out of book, air and alarms."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.line.doubt import RANGE
from monitor.analysis.review.facts import Facts
from monitor.analysis.review.judged import CANNOT_SAY, NOT_MEASURED, NOT_SUPPORTED, PART, SUPPORTED
from monitor.analysis.review.whole import BatchReview
from monitor.domain.air.psychrometrics import pressure_kpa
from monitor.domain.alarms.alarm import ACKNOWLEDGED, BACK, BEYOND, NORMAL, RETURNED, UNACKNOWLEDGED, Alarm, Transition
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, Dead, Entry, Found, Laid, Size, Weighing
from monitor.domain.needs.site import OF_TURNING, Site
from monitor.domain.published.exposure import ABOVE, BELOW
from monitor.domain.readings.reading import SUSPECT
from monitor.domain.state.happened import TURNING
from monitor.domain.state.happened import Turned as SwitchTurned
from monitor.domain.state.record import Event, Group, StoredReading
from monitor.service.across.review import batch_review
from monitor.service.reports.written import written_of
from tests.fakes import MemoryStore
from tests.seasons import air, batch_of, ended, group, make_site, put, set_at, with_spell
from tests.service.reports.test_lived import weighed

CATALOGUE = shipped_causes()
NOW = set_at(60)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


def died(number: int, finding: str, stage: str, day: float) -> EggBook:
    """A batch of twelve of which five hatched, and three died of something."""
    book = ended(EggBook(batch_of(number)), 5)
    for egg in (6, 7, 8):
        book = put(put(book, day, Found(finding), egg), day, Dead(stage), egg)
    return book


def kept(
    book: EggBook, readings: list[StoredReading] | None = None, transitions: list[Transition] | None = None
) -> MemoryStore:
    given = group([book])
    store = MemoryStore()
    store.commit(
        Group(
            lines=given.lines,
            readings=given.readings if readings is None else readings,
            batches=given.batches,
            entries=given.entries,
            transitions=transitions or [],
        )
    )
    return store


def reviewed(store: MemoryStore, site: Site, egg: int | None = None) -> BatchReview:
    (batch,) = store.batches()
    return batch_review(store, site, batch, now=NOW, catalogue=CATALOGUE, egg=egg)


def facts_of(store: MemoryStore, site: Site, egg: int | None = None) -> Facts:
    facts = reviewed(store, site, egg).facts
    assert facts is not None
    return facts


def test_four_hours_at_43_degrees_with_blood_rings(site: Site) -> None:
    """Shown first with their day, though the mean of the week lies inside its band; and what names heat is supported, cold is not."""
    store = kept(died(0, "blood-ring", "early", 7.0), with_spell(air(0), 0, 3.3, hours=4.0, to_c=43.5))
    whole = reviewed(store, site)
    facts = facts_of(store, site)
    (hot,) = facts.met
    assert (hot.side, [day for day, _ in hot.by_day]) == (ABOVE, [3])
    assert hot.hours == pytest.approx(4.0, abs=0.2)
    assert hot.reach > 1.0
    verdicts = whole.reviewed[0].verdicts
    assert (verdicts[0].verdict, verdicts[0].asked.check, verdicts[0].by_beyond) == (SUPPORTED, "temperature", True)
    assert [v.verdict for v in verdicts if v.asked.direction == "low"] == [NOT_SUPPORTED]


def test_thirty_hours_at_24_degrees_of_which_no_cause_speaks(site: Site) -> None:
    """Shown first with their days; and asked of the middle third, though no source names cold for deaths in it."""
    store = kept(died(0, "dead-middle-third", "middle", 18.0), with_spell(air(0), 0, 12.1, hours=30.0, to_c=24.0))
    (cold,) = facts_of(store, site).met
    assert (cold.side, [day for day, _ in cold.by_day]) == (BELOW, [12, 13])
    assert cold.hours == pytest.approx(30.0, abs=0.4)
    first = reviewed(store, site).reviewed[0].verdicts[0]
    assert (first.verdict, first.named, first.asked.words) == (SUPPORTED, False, "cold in the middle third")


def test_what_was_calm_has_met_nothing(site: Site) -> None:
    """Neither heat nor cold, no alarm, nothing written of store and loss; who ended how, and when."""
    facts = facts_of(kept(died(0, "blood-ring", "early", 7.0)), site)
    assert facts.met == ()
    assert {each.side for each in facts.beyond} == {ABOVE, BELOW}
    assert (facts.rang, facts.lost, facts.stored_days) == ((), None, ())
    assert [(e.fact.kind, e.eggs, e.first_day, e.last_day) for e in facts.ended] == [
        ("hatched", 5, 21.0, 21.0),
        ("dead", 3, 7.0, 7.0),
    ]
    assert facts.warm.coverage == pytest.approx(1.0)


def test_an_eggs_facts_end_with_it(site: Site) -> None:
    """Heat on day 12 is none of an egg that died on day 7; it is of the batch."""
    store = kept(died(0, "blood-ring", "early", 7.0), with_spell(air(0), 0, 12.1, hours=5.0, to_c=43.5))
    assert [len(facts_of(store, site, egg).met) for egg in (None, 6)] == [1, 0]
    assert [(e.fact.kind, e.eggs) for e in facts_of(store, site, 6).ended] == [("dead", 1)]


def test_doubtful_hours_and_gaps_are_in(site: Site) -> None:
    """A spell of readings that are suspect counts and is told as doubtful; a silence is a gap with its length."""
    spell = with_spell(air(0), 0, 3.3, hours=4.0, to_c=55.0)
    spell = [replace(r, flag=SUSPECT) if r.dry_bulb_c == 55.0 else r for r in spell]
    silent = [r for r in spell if not 9.0 <= r.up_ms / 86_400_000 <= 9.5]
    facts = facts_of(kept(died(0, "blood-ring", "early", 7.0), silent), site)
    assert facts.warm.doubt.hours == pytest.approx(4.0, abs=0.3)
    assert facts.warm.doubt.by[0][0] == RANGE
    assert facts.warm.longest_gap_s == pytest.approx(12 * 3600.0, abs=1300.0)
    assert facts.met[0].dose.dose.peak_c == 55.0


def test_the_alarms_in_their_life_and_who_answered(site: Site) -> None:
    """Of its machine while the eggs were in it, from begin to end, with who answered first; not those of another machine or of before."""
    rows = [
        *episode("setter-1", 7, 3.0, answered=3.2, ended=3.5),
        *episode("setter-1", 8, 5.0, answered=None, ended=None),
    ]
    rows += [
        *episode("setter-2", 9, 4.0, answered=None, ended=4.1),
        *episode("setter-1", 6, -2.0, answered=None, ended=-1.9),
    ]
    rows += episode("hatcher-1", 10, 3.0, answered=None, ended=3.1)  # the eggs were not there yet
    facts = facts_of(kept(died(0, "blood-ring", "early", 7.0), None, sorted(rows, key=lambda row: row.at)), site)
    assert [(r.number, r.answered, r.until) for r in facts.rang] == [
        (7, ("ada", at(3.2)), at(3.5)),
        (8, None, None),
    ]
    assert facts.rang[0].words == site.rules["dry-bulb-high-alarm"].words
    assert (facts.rang[0].since, facts.rang[0].priority) == (at(3.0), site.rules["dry-bulb-high-alarm"].priority)


def test_an_alarm_after_an_eggs_end_is_none_of_its_life(site: Site) -> None:
    """One of day 10 is of the batch and not of an egg that died on day 7; one whose beginning nobody kept is dated by its first row."""
    late = episode("setter-1", 7, 10.0, answered=None, ended=10.1)
    bare = [
        replace(row, alarm=replace(row.alarm, since=None))
        for row in episode("setter-1", 8, 3.0, answered=None, ended=3.1)
    ]
    store = kept(died(0, "blood-ring", "early", 7.0), None, [*bare, *late])
    assert [[r.number for r in facts_of(store, site, egg).rang] for egg in (None, 6)] == [[8, 7], [8]]
    assert facts_of(store, site).rang[0].since == at(3.0)


def test_what_the_machine_does_after_the_last_hatch_is_nothing_to_a_chick(site: Site) -> None:
    """Heat in the hatcher on day 21.5, when the last chick was out: neither of the batch nor of an egg that hatched."""
    hot = [replace(r, dry_bulb_c=45.0) if r.up_ms >= 21.5 * 86_400_000 else r for r in air(0)]
    store = kept(ended(EggBook(batch_of(0)), 12), hot)
    assert [facts_of(store, site, egg).met for egg in (None, 1)] == [(), ()]


def test_ends_on_several_days_are_told_from_first_to_last(site: Site) -> None:
    """Alike ones together, with the first and the last day, the most first."""
    book = put(put(died(0, "blood-ring", "early", 7.0), 5.0, Dead("early"), 9), 20.0, Dead("late"), 10)
    ends = [(e.fact.kind, e.eggs, e.first_day, e.last_day) for e in facts_of(kept(book), site).ended]
    assert ends == [("hatched", 5, 21.0, 21.0), ("dead", 4, 5.0, 7.0), ("dead", 1, 20.0, 20.0)]


def at(day: float) -> datetime:
    return set_at(0) + timedelta(days=day)


def episode(
    machine: str, number: int, since: float, *, answered: float | None, ended: float | None
) -> list[Transition]:
    """One alarm as the record has it."""
    alarm = Alarm(machine, "dry-bulb-high-alarm", number=number, episode=1, condition=True, since=at(since))
    rows = [Transition(alarm, NORMAL, UNACKNOWLEDGED, BEYOND, at(since), 0.0)]
    if answered is not None:
        rows.append(Transition(alarm, UNACKNOWLEDGED, ACKNOWLEDGED, ACKNOWLEDGED, at(answered), 0.0, "ada"))
    if ended is not None:
        state = NORMAL if answered is not None else RETURNED
        rows.append(Transition(alarm, rows[-1].state, state, BACK, at(ended), 0.0))
    return rows


def test_loss_and_days_in_store(site: Site) -> None:
    """Of each egg that was weighed, against the target; days in store of each egg, or of the batch."""
    book = put(died(0, "blood-ring", "early", 7.0), 0.0, Laid(stored_days=12.0))
    for egg, by_pip in ((1, 10.0), (2, 12.5)):
        book = weighed(book, egg, by_pip)
    facts = facts_of(kept(book), site)
    assert facts.lost is not None
    assert facts.lost.values_pct == pytest.approx((10.0, 12.5), abs=0.4)
    assert facts.lost.band == (11.0, 14.0)
    assert facts.stored_days == (12.0,) * len({1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12})
    assert facts_of(kept(book), site, 2).lost == replace(facts.lost, values_pct=(facts.lost.values_pct[1],))


def test_without_anything_found_the_facts_are_told_all_the_same(site: Site) -> None:
    """A batch of which nothing was found in its eggs has no finding to review, and a record."""
    whole = reviewed(kept(ended(EggBook(batch_of(0)), 12), with_spell(air(0), 0, 3.3, hours=4.0, to_c=43.5)), site)
    assert whole.reviewed == ()
    assert whole.facts is not None
    assert [each.side for each in whole.facts.met] == [ABOVE]


def test_what_is_written_of_eggs_that_no_sensor_sees() -> None:
    """Days in store and mass of these eggs, by weighing or by size, and how far the batch's are apart; nothing of what nobody wrote."""
    book = EggBook(batch_of(0))
    assert written_of(book, (50.0, 70.0), None) == {}
    book = put(put(book, 0.0, Laid(stored_days=2.0), 1), 0.0, Laid(stored_days=9.0), 2)
    book = put(put(book, 0.0, Weighing(66.0), 1), 0.0, Size(57.0, 43.0), 2)
    book = put(book, 6.0, Weighing(40.0), 3)  # too late to say what it was at set
    one, every = written_of(book, (50.0, 70.0), (1,)), written_of(book, (50.0, 70.0), None)
    assert one["stored", "before set"].value == 2.0
    assert every["stored", "before set"].value == 5.5
    assert one["stored-apart", "before set"].value == every["stored-apart", "before set"].value == 7.0
    assert one["mass", "before set"].value == pytest.approx(110.0)
    assert (one["mass", "before set"].low, one["mass", "before set"].high) == pytest.approx((250 / 3, 350 / 3))
    sized_g = 0.548 * 5.7 * 4.3**2
    assert every["mass", "before set"].value == pytest.approx(100.0 * (66.0 + sized_g) / 2.0 / 60.0)
    assert every["mass-apart", "before set"].value == pytest.approx(100.0 * (66.0 - sized_g) / ((66.0 + sized_g) / 2.0))
    assert ("mass", "before set") not in written_of(book, (50.0, 70.0), (3,))
    assert ("mass", "before set") not in written_of(book, None, (1,))


def test_what_is_written_of_the_batch_alone() -> None:
    """Days in store of all together, and the eggs' mass by tray: no egg has one of its own, and nothing is known of how far they are apart."""
    book = put(EggBook(batch_of(0)), 0.0, Laid(stored_days=4.0))
    time = book.batch.set_at
    trays = (("a", 0.0, 600.0), ("b", 0.5, 660.0), ("c", 6.0, 500.0))  # the last too late
    for tray, day, gross_g in trays:
        when = time + timedelta(days=day)
        book = add(book, Entry(when, when, "ada", Weighing(gross_g), count=10, tray=tray))
    found = written_of(book, (50.0, 70.0), None)
    assert found["stored", "before set"].value == pytest.approx(4.0)
    assert found["mass", "before set"].value == pytest.approx(100.0 * 63.0 / 60.0)
    assert set(found) == {("stored", "before set"), ("mass", "before set")}
    alone = put(EggBook(batch_of(0)), 0.0, Laid(stored_days=4.0), 1)
    assert set(written_of(alone, None, None)) == {("stored", "before set")}


def test_what_was_written_is_asked_in_a_review(site: Site) -> None:
    """Eggs of which days in store were written: stored too long is judged; without them no sensor sees it."""
    found = died(0, "fertile-undeveloped", "early", 7.0)
    for book, verdict in ((found, NOT_MEASURED), (put(found, 0.0, Laid(stored_days=20.0)), SUPPORTED)):
        told = reviewed(kept(book), site).reviewed[0].verdicts
        (one,) = (v for v in told if any(c.words == "stored too long" for c in v.causes))
        assert one.verdict == verdict


def turned_by_a_switch(book: EggBook, until_day: float) -> MemoryStore:
    """Its setter turns each three hours until then."""
    store = kept(book)
    what = SwitchTurned(OF_TURNING, True)
    events = [
        Event(book.batch.set_at + timedelta(days=n / 8), TURNING, "setter-1", what=what)
        for n in range(1, round(until_day * 8))
    ]
    store.commit(Group(events=events))
    return store


@pytest.mark.parametrize(("until_day", "verdict"), [(18.0, NOT_SUPPORTED), (3.0, SUPPORTED)])
def test_turns_that_were_counted_decide(site: Site, until_day: float, verdict: str) -> None:
    """A turner that stood still from day 3 on is what `turning missed` describes; one that went on is not. Both are counted, and told."""
    whole = reviewed(turned_by_a_switch(died(0, "dead-middle-third", "middle", 12.0), until_day), site)
    (told,) = [v for r in whole.reviewed for v in r.verdicts if v.named and v.first.unseen == "turning"]
    assert told.verdict == verdict
    assert whole.facts is not None
    assert whole.facts.turned is not None
    assert whole.facts.turned.longest_h == pytest.approx((18.0 - until_day) * 24.0 + 3.0, abs=3.1)
    (uncounted,) = [
        v
        for r in reviewed(kept(died(0, "dead-middle-third", "middle", 12.0)), site).reviewed
        for v in r.verdicts
        if v.named and v.first.unseen == "turning"
    ]
    assert (uncounted.verdict, uncounted.figure) == (NOT_MEASURED, None)


@pytest.mark.parametrize(
    ("found", "verdict", "reason"), [("cracked", SUPPORTED, ""), ("alive", CANNOT_SAY, PART), (None, NOT_MEASURED, "")]
)
def test_a_crack_that_was_written_decides(site: Site, found: str | None, verdict: str, reason: str) -> None:
    """Seen in the light it is what `crack after handling` describes; not seen there it may have been too fine; nobody looked, nobody knows."""
    book = EggBook(batch_of(0))
    for egg in (6, 7, 8):
        book = put(book, 9.0, Candling(found), egg) if found else book
        book = put(put(book, 17.0, Found("large-air-cell"), egg), 17.0, Dead("late"), egg)
    verdicts = [v for r in reviewed(kept(book), site).reviewed for v in r.verdicts]
    (told,) = [v for v in verdicts if any(c.words == "crack after handling" for c in v.causes)]
    assert (told.verdict, told.reason) == (verdict, reason)


@pytest.mark.parametrize(
    ("elevation_m", "verdict"), [(0.0, NOT_MEASURED), (200.0, NOT_SUPPORTED), (1000.0, CANNOT_SAY), (2000.0, SUPPORTED)]
)
def test_how_high_the_place_lies_decides(site: Site, elevation_m: float, verdict: str) -> None:
    """Where the configuration says it: `high altitude` of a large air cell. Nothing written is no answer."""
    high = replace(site, pressure_kpa=float(pressure_kpa(elevation_m)))
    verdicts = [v for r in reviewed(kept(died(0, "large-air-cell", "late", 17.0)), high).reviewed for v in r.verdicts]
    (told,) = [v for v in verdicts if any(c.words == "high altitude" for c in v.causes)]
    assert told.verdict == verdict
    if told.figure is not None:
        assert told.figure.value == pytest.approx(elevation_m / 1000.0, abs=1e-6)


def test_no_cause_stands_under_two_verdicts(site: Site) -> None:
    """Turns, cracks and the height of the place known, and every finding asked."""
    book = died(0, "dead-middle-third", "middle", 12.0)
    store, high = turned_by_a_switch(put(book, 9.0, Candling("cracked"), 6), 9.0), replace(site, pressure_kpa=85.0)
    (batch,) = store.batches()
    for finding in CATALOGUE.findings:
        whole = batch_review(store, high, batch, now=NOW, catalogue=CATALOGUE, finding=finding)
        for each in whole.reviewed:
            seen = [
                {(c.words, c.temps_c, c.source, c.evidence) for c in v.causes}
                for v in each.verdicts
                if v.verdict != NOT_MEASURED
            ]
            assert sum(map(len, seen)) == len(set().union(*seen)), finding
