"""The invented season: what it holds, that it is the same for a seed, and that the review finds what was planted in it."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import combinations
from pathlib import Path

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.review.judged import SUPPORTED
from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.domain.needs.batch import Stay
from monitor.domain.needs.profile import Profile
from monitor.domain.published.causes import CHILL, COLD, HEAT, HIGH, HUMIDITY, LOSS, LOW, OVERHEAT, SETTER, WHOLE
from monitor.domain.readings.reading import from_ms
from monitor.domain.state.record import Group
from monitor.rehearse.season import HATCHER_RH, NODES, PLACES, SETTER_RH, WARM_C, drawn, group_of
from monitor.rehearse.season_demo import configuration, house_of
from monitor.rehearse.season_faults import FAULTS, Fault
from monitor.service.across.review import batch_review
from monitor.service.across.together import across_batches
from tests.fakes import MemoryStore
from tests.planted.recorded import CATALOGUE, LIGHT_S, NOW, Tally, judge, play, question, written

SPECIES = ("chicken", "pekin-duck", "japanese-quail")
SHORT = range(6000, 6006)


@pytest.fixture(scope="module")
def profiles() -> dict[str, Profile]:
    loaded = load_profiles(None)
    return {id_: loaded[id_] for id_ in SPECIES}


@pytest.fixture(scope="module")
def group(profiles: dict[str, Profile]) -> Group:
    return group_of(drawn(3), profiles, step_s=3600.0)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.words)
def test_each_finding_names_the_planted_cause(fault: Fault) -> None:
    """What is written after a fault is a finding for which sources name that cause, in that window."""
    for finding in fault.findings:
        asked = {(c.check, c.direction, c.window) for c in shipped_causes().findings[finding].causes}
        assert (fault.check, fault.direction, fault.window) in asked, finding
    assert (fault.direction == "") == (fault.check in (HEAT, COLD))


def test_a_season(group: Group) -> None:
    """Eight batches of three species, closed, each with weighings, candlings, outcomes and readings; no two in a machine at once."""
    batches = list(group.batches.values())
    assert [len([b for b in batches if b.profile == s]) for s in SPECIES] == [4, 2, 2]
    stays = [stay for batch in batches for stay in batch.stays]
    for one, other in combinations(stays, 2):
        assert one.machine != other.machine or (one.until is not None and other.until is not None)
        assert one.machine != other.machine or one.until <= other.since or other.until <= one.since  # type: ignore[operator]
    for batch in batches:
        kinds = [entry.fact.kind for id_, entry in group.entries if id_ == batch.id]
        assert batch.closed_at is not None
        assert kinds.count("weighing") == 24
        assert kinds.count("candling") == batch.eggs
        assert {"hatched", "dead", "finding"} <= set(kinds)
    assert len({(r.probe, r.up_ms) for r in group.readings}) == len(group.readings)
    assert {r.probe for r in group.readings} == {f"node-{n}/{p}" for n in "abc" for p in ("top", "bottom")}


def test_the_machines_are_set_right(profiles: dict[str, Profile]) -> None:
    """Without a fault and without being off, a machine's air lies inside the bands of every species that is in it."""
    for profile in profiles.values():
        for stage, rh_pct in (("setter", SETTER_RH), ("lockdown", HATCHER_RH)):
            bands = next(s for s in profile.stages if s.name == stage)
            for band, value in ((bands.dry_bulb_c, WARM_C), (bands.wet_bulb_c, wet_bulb_c(WARM_C, rh_pct, 101.325))):
                assert band is not None
                assert band.low_warning is not None
                assert band.high_warning is not None
                assert band.low_warning < value < band.high_warning, (profile.id, stage)


def test_a_seed_is_a_season(group: Group, profiles: dict[str, Profile]) -> None:
    """The same seed makes the same season, another seed another; without its faults only the two batches differ."""
    again = group_of(drawn(3), profiles, step_s=3600.0)
    assert (again.readings, again.entries, again.events) == (group.readings, group.entries, group.events)
    assert group_of(drawn(4), profiles, step_s=3600.0).readings != group.readings
    clean, bad = group_of(drawn(3), profiles, planted=False, step_s=3600.0), drawn(3).faults
    for id_ in group.batches.keys() - bad.keys():
        assert [e for n, e in clean.entries if n == id_] == [e for n, e in group.entries if n == id_]
    spoilt = set(group.readings) - set(clean.readings)
    assert spoilt
    for reading in spoilt:
        line = group.lines[reading.line]
        at = from_ms(line.at_ms(reading.up_ms))
        assert any(NODES[s.machine] == line.node and holds(s, at) for b in bad for s in group.batches[b].stays)


def holds(stay: Stay, at: datetime) -> bool:
    """Whether it was then, or in the hours before the eggs came, in which the machine is warmed up."""
    return stay.since - timedelta(hours=3) <= at and (stay.until is None or at < stay.until)


def test_every_fault_and_every_batch_has_its_turn() -> None:
    """Over a hundred seeds: two different faults each, and none that is never drawn."""
    seasons = [drawn(seed) for seed in range(100)]
    assert all(len(s.faults) == 2 and len({f.words for f in s.faults.values()}) == 2 for s in seasons)
    assert {f.words for s in seasons for f in s.faults.values()} == {f.words for f in FAULTS}
    assert len({name for s in seasons for name in s.faults}) == 8


def test_the_planted_cause_comes_out_first() -> None:
    """In a few seasons: first for nine in ten of the batches that went wrong, and one innocent cause in twenty supported at most."""
    tally = Tally()
    for seed in SHORT:
        play(seed, tally)
    assert tally.planted.total() == 2 * len(SHORT)
    assert tally.first_share >= 0.9, tally
    assert tally.innocent.total() > 200
    assert tally.wrong_share <= 0.05, tally


def test_the_figures_can_tell_wrong_from_right() -> None:
    """A review whose order is turned round does not count as right."""
    season = drawn(1006)  # hen-1: the setter too humid
    fault = season.faults["hen-1"]
    assert (fault.check, fault.direction, fault.window) == (HUMIDITY, HIGH, SETTER)
    with written(1006, True) as (house, history):
        batch = next(b for b in history.batches() if b.id == "hen-1")
        (reviewed, *_) = batch_review(history, house.site, batch, now=NOW, catalogue=shipped_causes()).reviewed
    verdicts = [v for v in reviewed.verdicts if v.check is not None]
    right, turned = Tally(), Tally()
    judge(fault, verdicts, right)
    judge(fault, verdicts[::-1], turned)
    assert (right.first.total(), turned.first.total(), turned.supported.total()) == (1, 0, 1)
    first = verdicts[0]  # its eggs were weighed, so their loss decides, with the humidity beside it
    assert (first.verdict, question(first)) == (SUPPORTED, (LOSS, LOW, WHOLE))
    assert [question(way) for way in first.beside] == [(HUMIDITY, HIGH, SETTER)]


def test_the_table_of_a_season_answers_what_went_wrong(profiles: dict[str, Profile]) -> None:
    """`eggroom outcomes` on four seasons: of each batch with a fault something stands out, of the fault's own quantity but where it swings little;
    of the others hardly anything does."""
    right, innocent = 0, 0
    for seed in range(100, 104):
        season, store = drawn(seed), MemoryStore()
        store.commit(group_of(season, profiles, step_s=LIGHT_S))
        site = house_of(configuration(seed, LIGHT_S), Path()).site
        lines = across_batches(store, site, catalogue=CATALOGUE, now=NOW).lines
        assert len(lines) == len(PLACES)
        for line in lines:
            out = {(o.verdict.asked.check, o.verdict.asked.direction) for o in line.out}
            fault = season.faults.get(line.batch)
            if fault is None:
                innocent += bool(out)
            else:
                beyond = {HEAT: (OVERHEAT, ""), COLD: (CHILL, "")}.get(fault.check, (fault.check, fault.direction))
                right += beyond in out
    assert (right, innocent <= 1) == (8, True)
