"""What is drawn is what it says: the same from the same seed, calm before its onset, and in trouble after it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.adapters.link.wire import decode
from monitor.domain.readings.reading import Pack
from tests.truth.faults import (
    APART,
    COLD_BESIDE,
    FAULTS,
    HOT_BESIDE,
    MACHINE_FAULT,
    ONE_FAILED,
    ONE_STUCK,
    SECOND,
    TOP,
    TWO_CANDLING,
    TWO_WEEK,
    profiles,
)
from tests.truth.judges import Deaf, Nervous, Real
from tests.truth.run import STORY, Job, jobs, label_of, play_one, run, scenarios_in
from tests.truth.scenarios import HELD_OUT, TUNING, draw
from tests.truth.score import Row
from tests.truth.world import SITE, built, play


def test_tuning_and_held_out_seeds_are_disjoint() -> None:
    """No seed is both, and the whole run keeps to one of them."""
    assert not set(TUNING) & set(HELD_OUT[:1_000_000])
    for first, seeds in ((TUNING[0], TUNING), (HELD_OUT[0], HELD_OUT)):
        assert all(job.seed in seeds for job in jobs(first))


def test_the_whole_run_is_large_enough() -> None:
    """At least 500 scenarios and every fault among them, in the quick run too."""
    assert scenarios_in(jobs(HELD_OUT[0])) >= 500
    for quick in (False, True):
        assert {job.what for job in jobs(0, quick=quick) if job.kind == STORY} == set(FAULTS)


@pytest.mark.parametrize("name", FAULTS)
def test_the_same_seed_draws_the_same_scenario(name: str) -> None:
    """Drawn twice it is the same, drawn from another seed it is another."""
    assert str(draw(name, 7)) == str(draw(name, 7))
    assert draw(name, 7).script == draw(name, 7).script
    assert str(draw(name, 7)) != str(draw(name, 8))


def test_scenarios_span_what_they_should() -> None:
    """Of one fault's seeds there are several birds, seasons, sizes, controls and intervals."""
    drawn = [draw("heater dead", seed) for seed in range(60)]
    assert len({s.profile for s in drawn}) >= 8
    assert len({s.season for s in drawn}) == 3
    assert len({s.cabinet.volume_l for s in drawn}) == 5
    assert len({s.cabinet.control for s in drawn}) == 2
    assert len({s.interval_s for s in drawn}) == 4


@pytest.mark.parametrize("name", [HOT_BESIDE, COLD_BESIDE, ONE_FAILED, ONE_STUCK, TWO_WEEK, TWO_CANDLING])
def test_two_probes_of_a_node_come_in_one_message(name: str) -> None:
    """Both with temperature and humidity; where one fails, the other goes on in the same messages."""
    room = built(name, 1)[1]
    room.step(1800.0)
    packs = [decode(m.topic, m.payload.encode(), root="eggroom", site=SITE, retained=False) for m in room.packs(1800.0)]
    sound = [pack for pack in packs if isinstance(pack, Pack) and pack.node == "node-a"]
    assert sound
    for pack in sound:
        assert [s.probe for s in pack.samples] == ["top", "low"]
        assert all(s.rh_pct is not None for s in pack.samples if s.dry_bulb_c is not None)


def test_each_of_two_probes_fails_in_turn() -> None:
    """In every way, before the danger, and never both."""
    drawn = [draw(HOT_BESIDE, seed) for seed in range(40)]
    assert {s.failed[0] for s in drawn if s.failed is not None} == {TOP, SECOND}
    assert {s.notes.split()[-1] for s in drawn} == {"says", "silent", "stuck"}
    for s in drawn:
        assert s.failed is not None
        assert s.onset_s - 1500.0 <= s.failed[1] <= s.onset_s
        assert sum(action.startswith("probe_") for _, action, _ in s.script) == 1


@pytest.mark.parametrize(("first", "second"), APART)
def test_birds_that_are_mixed_cannot_share_a_machine(first: str, second: str) -> None:
    """The warnings of one end below where those of the other begin."""
    cool, warm = sorted(
        (profiles()[id_].stages[0].dry_bulb_c for id_ in (first, second)), key=lambda b: b.target or 0.0
    )
    assert cool.high_warning is not None
    assert warm.low_warning is not None
    assert cool.high_warning < warm.low_warning


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("heater stuck on", ("egg too hot", "hot air for half an hour")),
        ("power cut", ("egg cold for 3 h",)),
        ("door left open", ("egg cold for 3 h",)),
    ],
)
def test_a_danger_is_one(name: str, why: tuple[str, ...]) -> None:
    """The true eggs are sound until the onset, the air leaves its band after it, and published harm follows."""
    scenario, truth = play(name, 0, [])
    assert truth.left_s is not None
    assert truth.limits.harm_s is not None
    assert scenario.onset_s < truth.left_s < truth.limits.harm_s
    assert truth.limits.why in why


def test_nothing_happens_to_eggs_in_a_quiet_story() -> None:
    """The true eggs of a day of candling are never harmed, and the story goes to its end."""
    scenario, truth = play("candling 20 times a day", 1, [], at_most_s=6 * 3600.0)
    assert truth.limits.harm_s is None
    assert truth.lived_s == pytest.approx(6 * 3600.0)
    assert sum(action == "door_open" for _, action, _ in scenario.script) == 20


def test_a_quiet_story_that_harms_eggs_is_refused() -> None:
    """Such a story would count alarms that were right as false."""
    scenario, truth = play("heater stuck on", 2, [])
    with pytest.raises(ValueError, match="expected no harm"):
        label_of(replace(scenario, fault=FAULTS["clean month"]), truth)


def test_every_judge_hears_the_same() -> None:
    """One story before three judges gives the real one what it gives alone."""
    real, alone = Real(), Real()
    play("heater stuck on", 2, [real, Deaf(), Nervous()])
    play("heater stuck on", 2, [alone])
    assert real.told == alone.told
    assert real.told


def test_rows_do_not_depend_on_the_processes() -> None:
    """Two processes give the rows that one gives, in the same order."""
    few = [Job(STORY, name, 3) for name in ("heater stuck on", "probe silent", "mixed batches")]
    assert run(few, 1).rows == run(few, 2).rows


def test_the_deaf_and_the_nervous_come_out_badly() -> None:
    """Of one heater stuck on: the deaf one misses it, the nervous one cried before it."""
    rows = {row.judge: row for row in play_one(Job(STORY, "heater stuck on", 5)) if isinstance(row, Row)}
    assert FAULTS["heater stuck on"].kind == MACHINE_FAULT
    assert rows["deaf"].verdict == "missed"
    assert rows["nervous"].false_urgent > 0
