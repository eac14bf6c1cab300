"""A run that ends and the one that follows it are one run: what was learnt is handed on."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.needs.rules import NOT_RAISED
from monitor.domain.readings.reading import to_ms
from monitor.domain.state.known import Look, State
from monitor.domain.state.remembering import remember, take_up
from tests.domain.house import Air, Story, batch, probes, site, there

TOP, LOW = "node-a/top", "node-a/low"
GOOD: Air = (37.5, 45.0)


def restarted(story: Story, clock_ok: bool = True) -> Story:
    """The same house in a new run: everything but the record and the memory is gone; the forward clock goes on."""
    now = replace(story.now(), clock_ok=clock_ok)
    memory = remember(story.look(), final=True)
    before = story.state
    story.state = State(to_ms(now.utc) - now.mono_s * 1000.0, clock_ok, now.mono_s)
    story.state.batches = before.batches
    story.state.waiting = before.waiting
    story.state.unsent = before.unsent
    for id_, node in before.nodes.items():
        known = story.state.node(id_)
        known.lines, known.numberings = node.lines, node.numberings
    story.state.last_line, story.state.last_number = before.last_line, before.last_number
    for key, alarm in before.alarms.items():
        if alarm.number:  # what has begun is in the record, without the delays that run
            story.state.alarms[key] = replace(alarm, pending_mono_s=None, pending_at=None, asked_mono_s=now.mono_s)
    take_up(replace(story.look(), now=now), memory)
    return story


def house() -> Story:
    """Two probes in a machine with a hen's eggs, in good air for half an hour."""
    watched = probes((TOP, "setter-1"), (LOW, "setter-1"))
    story = Story(site=site(watched), batches=(batch(),), air={TOP: GOOD, LOW: GOOD})
    story.run(minutes=30)
    return story


def story_of(restart_at_s: int | None) -> Story:
    """A machine that gets cold, is told, and warms again; perhaps with a restart in between."""
    story = house()
    for second in range(0, 3600, 10):
        if second == restart_at_s:
            restarted(story)
        cold = 600 <= second < 2400
        story.air[TOP] = (35.5, 45.0) if cold else GOOD
        story.air[LOW] = (35.4, 45.0) if cold else GOOD
        story.run(seconds=10)
    return story


@pytest.mark.parametrize("at_s", [0, 600, 610, 700, 880, 900, 910, 1500, 2400, 2410, 2440, 3000])
def test_a_restart_changes_nothing(at_s: int) -> None:
    """Whenever the program is stopped and started, also while a delay runs, the same alarms come and go at the same instants."""
    straight, broken = story_of(None), story_of(at_s)
    assert [(t.alarm.rule, t.state, t.at, t.alarm.number) for t in broken.transitions] == [
        (t.alarm.rule, t.state, t.at, t.alarm.number) for t in straight.transitions
    ]
    assert [n.text for n in broken.notices] == [n.text for n in straight.notices]
    assert any(state == UNACKNOWLEDGED for _, state in straight.states())


def test_what_was_learnt_is_the_same() -> None:
    """Trails, the usual air, pairs, windows and eggs are taken up as they were."""
    story = house()
    before = story.state
    restarted(story)
    assert story.state.probes == before.probes
    for name in ("watch", "windows", "seen_by"):
        assert getattr(story.state.machine("setter-1"), name) == getattr(before.machine("setter-1"), name), name
    assert story.state.eggs == before.eggs
    assert there(story.state.machine("setter-1").pairs).pairs == there(before.machine("setter-1").pairs).pairs


def test_a_memory_that_does_not_fit_is_left() -> None:
    """Under a label clock that is not set, or one that lies before the memory, nothing is taken up; nor is what is no longer configured."""
    story = house()
    assert not any(p.trail for p in restarted(story, clock_ok=False).state.probes.values())
    story = house()
    memory = remember(story.look(), final=True)
    earlier = replace(story.now(), mono_s=story.now().mono_s - 3600.0)
    fresh = State(0.0, True, 0.0)
    take_up(Look(fresh, story.site, earlier), memory)
    assert fresh.probes == {}
    take_up(Look(fresh, site(probes((TOP, "setter-1"))), story.now()), memory)
    assert set(fresh.probes) == {TOP}
    assert not any(m.pairs for m in fresh.machines.values())


def test_silence_counts_from_the_start_of_a_run() -> None:
    """After ten minutes without the program nobody has been silent to it: no alarm at the start, one when nothing comes."""
    story = house()
    memory = remember(story.look(), final=True)
    story.at_s += 600.0
    now = story.now()
    story.state = State(to_ms(now.utc) - now.mono_s * 1000.0, True, now.mono_s)
    story.state.batches = {"hen-1": batch()}
    take_up(replace(story.look(), now=now), memory)
    story.air = {TOP: None, LOW: None}
    story.run(seconds=25)
    assert story.transitions == []
    story.run(seconds=60)
    assert story.transitions != []


def test_humidity_that_was_raised_stays_raised_over_a_restart() -> None:
    """Eggs in lockdown whose humidity was reached before the stop: when it sinks after it, that is low humidity, not "not raised"."""
    due = batch(day=18.5, declared=[("lockdown", 18.0)])
    story = Story(site=site(), batches=(due,), air={TOP: (37.5, 65.0)})
    story.run(minutes=30)
    assert story.state.machine("setter-1").reached == {"hen-1"}
    restarted(story)
    story.air[TOP] = (37.5, 55.0)
    story.run(minutes=45)
    begun = {rule for rule, state in story.states() if state == UNACKNOWLEDGED}
    assert "humidity-low-warning" in begun
    assert NOT_RAISED not in begun
