"""A run that ends and the one that follows it are one run: what was learnt is handed on."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED, Alarm
from monitor.domain.needs.rules import NOT_RAISED
from monitor.domain.needs.site import OF_DOOR, Switch
from monitor.domain.readings.agreement import Gauge, Pair, Pairs
from monitor.domain.readings.reading import Now, to_ms
from monitor.domain.signs.opening import Watch, resume
from monitor.domain.signs.switch import Contact
from monitor.domain.state.happened import WorkBegun
from monitor.domain.state.known import Look, State
from monitor.domain.state.memory import (
    AlarmMemory,
    EggFelt,
    Heard,
    Held,
    MachineMemory,
    Memory,
    NodeFact,
    NodeMemory,
    ProbeMemory,
)
from monitor.domain.state.record import Group
from monitor.domain.state.remembering import remember, take_up
from tests.asking import perform
from tests.domain.house import T0, Air, Story, batch, probes, site, there

TOP, LOW = "node-a/top", "node-a/low"
GOOD: Air = (37.5, 45.0)


def restarted(story: Story, clock_ok: bool = True) -> Story:
    """The same house in a new run: everything but the record and the memory is gone; the forward clock goes on."""
    now = replace(story.now(), clock_ok=clock_ok)
    memory = remember(story.look(), final=True)
    before = story.state
    story.state = State(to_ms(now.utc) - now.mono_s * 1000.0, clock_ok, now.mono_s)
    story.state.batches, story.state.coolings = before.batches, before.coolings
    story.state.waiting = before.waiting
    for id_, machine in before.machines.items():
        if machine.handling is not None:
            story.state.machine(id_).handling = resume(machine.handling, now)
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
    for probe in before.probes.values():
        probe.trouble = None  # what was wrong with a message is news for as long as a silence is allowed
        probe.humid_from_s = None  # the first message says it again
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
    story.air[TOP] = (37.5, 54.0)
    story.run(minutes=330)
    begun = {rule for rule, state in story.states() if state == UNACKNOWLEDGED}
    assert "humidity-low-warning" in begun
    assert NOT_RAISED not in begun


@pytest.mark.parametrize("done", [False, True])
@pytest.mark.parametrize("after_min", [16, 40])
def test_a_cooling_goes_on_over_a_restart(after_min: int, done: bool) -> None:
    """One in the middle of it begins no second one, nor one that is over, and the eggs are watched for what they are cooled to."""
    story = house()
    at_min = story.now().utc.hour * 60 + story.now().utc.minute + 30
    perform(story.state, story.site, {"do": "cooling", "of": "hen-1", "at_min": [at_min], "for_s": 1800.0, "to_c": 33.0}, story.now(), Group())  # fmt: skip
    story.run(minutes=after_min)
    if done:
        perform(story.state, story.site, {"do": "handling", "machine": "setter-1", "done": True}, story.now(), Group())
        story.run(minutes=1)
    restarted(story)
    assert story.state.machine("setter-1").cool_to_c == (None if done else 33.0)
    story.air = {TOP: (26.0, 30.0), LOW: (26.0, 30.0)}
    story.run(minutes=25)
    assert sum(isinstance(e.what, WorkBegun) for e in story.events) == 1
    assert (("dry-bulb-low-alarm", UNACKNOWLEDGED) in story.states()) is not done


def test_what_was_done_at_a_machine_is_remembered() -> None:
    """When eggs were put in, and how cold its air came while its door is open; what eggs were cooled to not where that work is over since."""
    story = house()
    machine = story.state.machine("setter-1")
    machine.put_in_s, machine.door_lowest_c, machine.cool_to_c = 4_321.0, 31.5, 33.0
    after = restarted(story).state.machine("setter-1")
    assert (after.put_in_s, after.door_lowest_c, after.cool_to_c) == (4_321.0, 31.5, None)


KEY = ("setter-1", "dry-bulb-high-alarm")


def taken_up(
    known: Alarm | None,
    kept: AlarmMemory,
    final: bool = True,
    clock_ok: bool = True,
    written_s: float = 4_900.0,
    *,
    cut_s: float = 100.0,
) -> Alarm | None:
    """What becomes of an alarm of the record, and of what the run before remembered of it; written_s: when, on its forward clock; cut_s: so long
    ago by the label."""
    state = State(0.0, True, 5_000.0)
    if known is not None:
        state.alarms[KEY] = known
    now = Now(5_000.0, T0, clock_ok)
    take_up(Look(state, site(), now), Memory(written_s, T0 - timedelta(seconds=cut_s), final, alarms=(kept,)))
    return state.alarms.get(KEY)


STANDS = Alarm(*KEY, number=3, episode=2, condition=True, asked_mono_s=5_000.0)
KEPT = AlarmMemory(*KEY, 2, True, None, None, 4_700.0, None, None)


def test_a_shelf_goes_on_by_the_forward_clock() -> None:
    """A shelf ends when the run before would have ended it, though the label was put right in between; another shelf has its own end."""
    until, later = T0 + timedelta(minutes=10), T0 + timedelta(minutes=20)
    shelved = replace(STANDS, shelved_until=until, shelved_until_mono_s=5_600.0)
    kept = replace(KEPT, shelved_until=until, shelved_until_mono_s=5_550.0)
    assert there(taken_up(shelved, kept)).shelved_until_mono_s == 5_550.0
    again = replace(shelved, shelved_until=later, shelved_until_mono_s=6_200.0)
    assert there(taken_up(again, kept)).shelved_until_mono_s == 6_200.0
    assert there(taken_up(shelved, KEPT)).shelved_until_mono_s == 5_600.0


def test_a_time_out_of_service_goes_on_by_the_forward_clock() -> None:
    """Where its end is the one that is known; another end, declared since, stays as it is."""
    until, later = T0 + timedelta(seconds=500), T0 + timedelta(seconds=900)
    kept = replace(KEPT, out_until=until, out_until_mono_s=5_550.0)
    for end, mono_s in ((until, 5_550.0), (later, 6_200.0)):
        out = replace(STANDS, out_of_service=True, out_until=end, out_until_mono_s=6_200.0)
        assert there(taken_up(out, kept)).out_until_mono_s == mono_s
    look = house().look()
    look.state.alarms = {KEY: Alarm(*KEY, 1, out_of_service=True, out_until=until, out_until_mono_s=5_550.0)}
    (told,) = remember(look).alarms
    assert (told.out_until, told.out_until_mono_s) == (until, 5_550.0)


def test_a_delay_goes_on_only_of_the_same_alarm_and_after_a_stop_or_a_cut_just_now() -> None:
    """Not of one that came or went since, nor of a run that was cut off over ten minutes ago; when it was last told is known in any case."""
    kept = replace(KEPT, pending_mono_s=4_800.0, pending_at=T0 - timedelta(seconds=200))
    stopped, cut_off = there(taken_up(STANDS, kept)), there(taken_up(STANDS, kept, final=False, cut_s=601.0))
    for goes_on in (stopped, *(there(taken_up(STANDS, kept, final=False, cut_s=cut_s)) for cut_s in (0.0, 600.0))):
        assert (goes_on.pending_mono_s, goes_on.pending_at) == (4_800.0, T0 - timedelta(seconds=200))
    assert (cut_off.pending_mono_s, cut_off.pending_at) == (None, None)
    assert stopped.asked_mono_s == cut_off.asked_mono_s == 4_700.0
    for other in (replace(STANDS, episode=3), replace(STANDS, condition=False)):
        assert taken_up(other, kept) == other
    untold = there(taken_up(STANDS, replace(kept, asked_mono_s=None)))
    assert untold.asked_mono_s == 5_000.0


@pytest.mark.parametrize("final", [True, False])
@pytest.mark.parametrize(("clock_ok", "written_s"), [(True, 4_900.0), (False, 4_900.0), (True, 5_100.0)])
def test_that_it_rested_outlives_a_cut(clock_ok: bool, written_s: float, final: bool) -> None:
    """How often it came, and that it was well since, is no time: a run that was cut off in its rest hands that on, also to one whose clock is not
    set, or began anew; of when it was asked, such a one takes up nothing."""
    kept = replace(KEPT, times=2, rested=True)
    found = there(taken_up(STANDS, kept, final, clock_ok, written_s))
    assert (found.times, found.rested) == (2, True)
    assert found.asked_mono_s == (4_700.0 if clock_ok and written_s < 5_000.0 else 5_000.0)


@pytest.mark.parametrize("clock_ok", [True, False])
def test_what_came_or_went_since_did_not_rest(clock_ok: bool) -> None:
    """Another episode than the one that was remembered, or one that is over, has nothing of its rest; nor has what did not rest."""
    kept = replace(KEPT, times=2, rested=True)
    for other in (replace(STANDS, episode=3), replace(STANDS, condition=False)):
        assert taken_up(other, kept, False, clock_ok) == other
    assert not there(taken_up(STANDS, replace(kept, rested=False), False, clock_ok)).rested
    assert taken_up(None, kept, False, clock_ok) is None


def test_that_it_rested_is_remembered() -> None:
    """Of what stands; of another it is not so."""
    look = house().look()
    rests = Alarm(*KEY, 1, 1, condition=True, times=2, rested=True)
    look.state.alarms = {KEY: rests, ("setter-1", "a"): replace(rests, rule="a", rested=False)}
    assert [(a.rule, a.times, a.rested) for a in remember(look).alarms] == [(KEY[1], 2, True), ("a", 2, False)]


@pytest.mark.parametrize(
    ("recorded", "remembered", "answered", "asked"),
    [(False, False, False, 3), (False, True, True, 3), (True, True, True, 3), (True, False, True, 0)],
)
def test_an_answer_outlives_a_restart(recorded: bool, remembered: bool, answered: bool, asked: int) -> None:
    """Whoever answered is asked in long steps by the next run too; an answer of which the memory did not know yet begins them anew."""
    found = there(taken_up(replace(STANDS, answered=recorded), replace(KEPT, asked=3, answered=remembered)))
    assert (found.answered, found.asked) == (answered, asked)


def test_what_an_older_memory_does_not_say_was_not_so() -> None:
    """One from before answers and repetitions were kept: nobody had answered, it was asked once, and came once; when it began is the record's."""
    began = replace(STANDS, begun_mono_s=4_500.0)
    found = there(taken_up(began, KEPT))
    assert (found.times, found.asked, found.answered, found.gone_mono_s) == (0, 0, False, None)
    assert found.begun_mono_s == 4_500.0
    later = there(taken_up(began, replace(KEPT, begun_mono_s=4_600.0, times=3, gone_mono_s=4_700.0)))
    assert (later.begun_mono_s, later.times, later.gone_mono_s) == (4_600.0, 3, 4_700.0)


def test_what_nodes_say_besides_their_air_is_handed_on() -> None:
    """And how many of their messages bore the number of another: each where there is something to tell, of nodes that are still there."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-b/top", "setter-1"), ("node-c/top", "setter-1"))))
    battery = NodeFact("battery", 88.0, "%", T0, 3)
    story.state.node("node-a").facts = {"battery": battery}
    story.state.node("node-b").clashes = 2
    story.state.node("node-gone").clashes = 5
    memory = remember(story.look())
    assert memory.nodes == (NodeMemory("node-a", (battery,), 0), NodeMemory("node-b", (), 2))
    story.state.node("node-c")
    assert remember(story.look()).nodes == memory.nodes
    after = Story(site=story.site)
    take_up(after.look(), replace(memory, nodes=(*memory.nodes, NodeMemory("node-gone", (), 5))))
    assert after.state.node("node-a").facts == {"battery": battery}
    assert after.state.node("node-b").clashes == 2
    assert "node-gone" not in after.state.nodes


def test_an_alarm_that_never_began_is_known_only_while_its_delay_runs() -> None:
    """A delay that ran before the alarm's first time goes on; without one there is nothing to know of it."""
    never = replace(KEPT, episode=0, condition=False, asked_mono_s=None)
    assert taken_up(None, never) is None
    assert there(taken_up(None, replace(never, pending_mono_s=4_800.0))).pending_mono_s == 4_800.0
    assert taken_up(None, replace(never, pending_mono_s=4_800.0), final=False, cut_s=601.0) is None


def test_a_reading_that_waited_for_the_next_still_does() -> None:
    """What the run before held back is settled by this one's first reading."""
    held = Held(T0, 41.0, 1, 1_000, 1, 1, True, False)
    state = State(0.0, True, 5_000.0)
    take_up(
        Look(state, site(), Now(5_000.0, T0)), Memory(4_900.0, T0, probes=(ProbeMemory(TOP, None, None, None, held),))
    )
    assert state.probe(TOP).held == held


def test_a_memory_is_not_final_unless_a_run_stopped_with_it() -> None:
    """Nothing that is not said to be final hands a delay on after a quarter of an hour."""
    kept = replace(KEPT, pending_mono_s=4_800.0)
    state = State(0.0, True, 5_000.0)
    state.alarms[KEY] = STANDS
    take_up(Look(state, site(), Now(5_000.0, T0)), Memory(4_100.0, T0 - timedelta(minutes=15), alarms=(kept,)))
    assert state.alarms[KEY].pending_mono_s is None


def test_the_clock_of_a_memory_may_be_the_present() -> None:
    """A run that begins at the very instant of the last memory takes it up; one that begins before it does not."""
    kept = replace(KEPT, pending_mono_s=4_800.0)
    for began_s, pending_mono_s in ((4_900.0, 4_800.0), (4_899.9, None)):
        state = State(0.0, True, began_s)
        state.alarms[KEY] = STANDS
        take_up(Look(state, site(), Now(began_s, T0)), Memory(4_900.0, T0, True, alarms=(kept,)))
        assert state.alarms[KEY].pending_mono_s == pending_mono_s


def test_what_stands_or_waits_is_remembered_of_an_alarm() -> None:
    """One that stands, one whose delay runs, one that is shelved; not one that is over."""
    story = house()
    over = Alarm("setter-1", "a", number=1)
    kinds = (
        replace(over, rule="stands", condition=True),
        replace(over, rule="waits", pending_mono_s=0.0),
        replace(over, rule="shelved", shelved_until_mono_s=0.0),
    )
    story.state.alarms = {alarm.key: alarm for alarm in (over, *kinds)}
    assert [a.rule for a in remember(story.look()).alarms] == ["stands", "waits", "shelved"]
    assert not remember(story.look()).final


def test_what_went_so_lately_that_it_may_chatter_is_remembered() -> None:
    """For two hours: what comes again within them chatters; of what went before nobody asks."""
    story = house()
    now_s = story.now().mono_s
    gone = [Alarm("setter-1", f"{ago_s:g}", number=1, gone_mono_s=now_s - ago_s) for ago_s in (0.0, 7200.0, 7200.1)]
    story.state.alarms = {alarm.key: alarm for alarm in gone}
    assert [a.rule for a in remember(story.look()).alarms] == [a.rule for a in gone[:2]]


def test_of_what_a_memory_does_not_say_the_record_is_kept() -> None:
    """A probe, a machine and an alarm of which the run before had learnt nothing are as the record has them."""
    story = house()
    probe, machine = story.state.probe(TOP), story.state.machine("setter-1")
    before = replace(probe, held=Held(T0, 41.0, 1, 1_000, 1, 1, True, False))
    story.state.probes[TOP] = replace(before)
    learnt = (machine.watch, machine.windows, machine.seen_by, machine.means, machine.pairs)
    assert None not in (before.heard, before.life_mono_s, before.trail, *learnt)
    nothing = MachineMemory("setter-1", None, None, None, (), (), ())
    now = story.now()
    take_up(
        story.look(),
        Memory(now.mono_s, now.utc, probes=(ProbeMemory(TOP, None, None, None, None),), machines=(nothing,)),
    )
    assert story.state.probe(TOP) == before
    assert (machine.watch, machine.windows, machine.seen_by, machine.means, machine.pairs) == learnt


def test_what_is_no_longer_there_is_not_taken_up() -> None:
    """A probe, a machine and a switch that were taken from the configuration, a batch that was removed, and a pair of which one probe is gone;
    what stands after it in the memory is."""
    story = house()
    pair = Pair(0.0, Gauge(0.1))
    last = (0.0, 37.5, 45.0)
    heard_ = Heard(0.0, T0, 37.5, 45.0)
    door = Contact(True, T0, T0, (1, 1), 0.0, 0.0)
    memory = Memory(
        0.0,
        T0,
        probes=(ProbeMemory("node-x/top", heard_, 0.0, None, None), ProbeMemory(LOW, heard_, 0.0, None, None)),
        machines=(
            MachineMemory("sold-1", Watch(), None, None, (), (), ()),
            MachineMemory("setter-1", None, None, None, (("node-x/top", TOP, pair),), (), ("hen-1",)),
            MachineMemory("hatcher-1", None, None, None, ((LOW, TOP, pair),), ((LOW, last),), ()),
        ),
        eggs=(("hen-9", EggFelt(0.0, 37.0, 37.0)), ("hen-1", EggFelt(0.0, 37.2, 37.0))),
        contacts=(("node-a/gone", door), ("node-a/door", door)),
    )
    after = Story(
        site=site(probes((TOP, "setter-1"), (LOW, "hatcher-1")), switches=(Switch("node-a/door", OF_DOOR, "setter-1"),))
    )
    after.state.batches = story.state.batches
    take_up(after.look(), memory)
    assert set(after.state.probes) == {LOW}
    assert after.state.probes[LOW].life_mono_s == 0.0
    assert "sold-1" not in after.state.machines
    assert after.state.machine("setter-1").reached == {"hen-1"}
    assert not after.state.machine("setter-1").pairs
    assert not after.state.machine("hatcher-1").pairs  # the other probe hangs elsewhere now
    assert set(after.state.eggs) == {"hen-1"}
    assert after.state.contacts == {"node-a/door": door}


def test_a_pair_is_taken_up_with_what_both_said_last() -> None:
    """Of the two probes of a machine; a third that is gone leaves no trace."""
    pair, last = Pair(0.0, Gauge(0.1)), (0.0, 37.5, 45.0)
    kept = MachineMemory(
        "setter-1",
        None,
        None,
        None,
        ((LOW, TOP, pair), (LOW, "node-x/top", pair)),
        ((LOW, last), ("node-x/top", last)),
        (),
    )
    after = Story(site=site(probes((TOP, "setter-1"), (LOW, "setter-1"))))
    take_up(after.look(), Memory(0.0, T0, machines=(kept,)))
    assert after.state.machine("setter-1").pairs == Pairs({(LOW, TOP): pair}, {LOW: last})


def test_the_same_knowledge_is_the_same_memory() -> None:
    """Which batches had their humidity is written in one order, whatever the run has them in."""
    story = Story()
    names = [f"hen-{n}" for n in range(9)]
    story.state.machine("setter-1").reached = frozenset(reversed(names))
    assert list(remember(story.look()).machines[0].reached) == names


def test_what_was_not_told_yet_is_handed_on() -> None:
    """Since when nobody had watched: a run too short to say it leaves that to the next one."""
    story = house()
    story.state.last_watched = T0 - timedelta(hours=6)
    assert remember(story.look()).last_watched == T0 - timedelta(hours=6)
    assert remember(house().look()).last_watched is None
