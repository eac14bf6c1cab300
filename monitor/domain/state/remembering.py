"""What a run hands to the next: written down as a `Memory`, and taken up again where it still fits."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from monitor.domain.alarms.alarm import CHATTER_S, Alarm
from monitor.domain.needs.rules import CRITICAL, HIGH
from monitor.domain.readings.agreement import Pairs
from monitor.domain.state.known import Look, MachineState, rule_of
from monitor.domain.state.memory import AlarmMemory, MachineMemory, Memory, NodeMemory, ProbeMemory

# For so long at most after its last word a run that was cut off counts on in the next: what was out of bounds before and is so after was so
# meanwhile. Judgement: a door is shut, and a machine is cold without mains, by then.
CUT_S = 600.0
STARTS_KEPT = 16
_ALONE = Pairs()


def remember(look: Look, final: bool = False) -> Memory:
    """Everything that the next run would otherwise have to learn anew. final: this run stops here."""
    return Memory(
        look.now.mono_s,
        look.now.utc,
        final,
        tuple(
            ProbeMemory(key, known.heard, known.life_mono_s, known.trail, known.held)
            for key in look.site.probes
            if (known := look.state.probe(key)).life_mono_s is not None
        ),
        tuple(_machine(look.state.machine(m), m) for m in look.site.machines),
        tuple(look.state.eggs.items()),
        tuple(
            AlarmMemory(
                *key,
                a.episode,
                a.condition,
                a.pending_mono_s,
                a.pending_at,
                a.asked_mono_s,
                a.shelved_until,
                a.shelved_until_mono_s,
                a.times,
                a.gone_mono_s,
                a.asked,
                a.answered,
                a.begun_mono_s,
                a.out_until,
                a.out_until_mono_s,
                a.rested,
            )
            for key, a in look.state.alarms.items()
            if _ends_by_itself(a) or a.condition or _lately(look, a)
        ),
        nodes=_nodes(look),
        last_watched=look.state.last_watched,
        contacts=tuple(look.state.contacts.items()),
        starts=look.state.starts,
    )


def _ends_by_itself(alarm: Alarm) -> bool:
    """Whether a delay of it runs, or its shelf, or its time out of service."""
    return any(each is not None for each in (alarm.pending_mono_s, alarm.shelved_until_mono_s, alarm.out_until_mono_s))


def _lately(look: Look, alarm: Alarm) -> bool:
    """Whether it went so short a time ago that, come again, it would be chattering."""
    return alarm.gone_mono_s is not None and look.now.mono_s - alarm.gone_mono_s <= CHATTER_S


def _nodes(look: Look) -> tuple[NodeMemory, ...]:
    known = ((node, look.state.nodes[node]) for node in look.site.by_node if node in look.state.nodes)
    return tuple(NodeMemory(node, tuple(of.facts.values()), of.clashes) for node, of in known if of.facts or of.clashes)


def take_up(look: Look, memory: Memory, *, watched: datetime | None = None) -> None:
    """Go on where the run before stopped. watched: the last that is known of it; None: the memory itself.

    Its times are of the forward clock that this run goes on with. Where the label is not to be trusted, or they lie ahead, that
    clock began anew, and nothing of it can be used. Where that run was cut off longer ago than CUT_S, its delays
    may be over since, so they begin anew; so do those of what is not urgent, for which no memory was written in time. How often an alarm came, and that it rested since, is no time, and holds whatever the clocks say.
    """
    goes_on = (look.now.utc - (watched or memory.at)).total_seconds() <= CUT_S
    for a in memory.alarms:
        alarm = look.state.alarms.get((a.subject, a.rule))
        if alarm is not None and a.rested and (alarm.episode, alarm.condition) == (a.episode, a.condition):
            look.state.alarms[alarm.key] = replace(alarm, times=a.times, rested=True)
    if memory.mono_s > look.now.mono_s or not look.now.clock_ok:
        return
    if not memory.final:
        look.state.starts = (*memory.starts, *look.state.starts)[-STARTS_KEPT:]
    for p in memory.probes:
        if p.probe not in look.site.probes:
            continue
        known = look.state.probe(p.probe)
        known.heard = p.heard or known.heard
        known.life_mono_s = known.life_mono_s if p.life_mono_s is None else p.life_mono_s
        known.trail = p.trail or known.trail
        known.held = p.held or known.held
    _take_up_nodes(look, memory)
    look.state.contacts.update((key, of) for key, of in memory.contacts if key in look.site.switches)
    for m in memory.machines:
        if m.machine not in look.site.machines:
            continue
        probes = {p.key for p in look.site.by_machine.get(m.machine, ())}
        machine = look.state.machine(m.machine)
        machine.watch = m.watch or machine.watch
        if m.seen_by is not None:
            machine.windows, machine.seen_by, machine.means = m.windows, m.seen_by, m.means
        pairs = {(one, other): pair for one, other, pair in m.pairs if {one, other} <= probes}
        if pairs:
            machine.pairs = Pairs(pairs, {p: given for p, given in m.lately if p in probes})
        machine.reached = frozenset(m.reached)
        machine.put_in_s, machine.cooled_at, machine.door_lowest_c = m.put_in_s, m.cooled_at, m.door_lowest_c
        machine.cool_to_c = None if machine.handling is None else m.cool_to_c  # the work may be over since
    look.state.eggs.update((batch, felt) for batch, felt in memory.eggs if batch in look.state.batches)
    for a in memory.alarms:
        key = (a.subject, a.rule)
        alarm = look.state.alarms.get(key) or Alarm(*key)
        urgent = a.rule in look.site.rules and rule_of(look, *key).priority in (HIGH, CRITICAL)
        alarm = _as_it_was(alarm, a, goes_on=memory.final or (goes_on and urgent))
        if alarm.number or alarm.pending_mono_s is not None:
            look.state.alarms[key] = alarm


def _as_it_was(alarm: Alarm, a: AlarmMemory, *, goes_on: bool) -> Alarm:
    """What the record has of an alarm, with what the run before knew besides. goes_on: whether its delays do."""
    if a.shelved_until is not None and alarm.shelved_until == a.shelved_until:
        alarm = replace(alarm, shelved_until_mono_s=a.shelved_until_mono_s)
    if a.out_until is not None and alarm.out_until == a.out_until:
        alarm = replace(alarm, out_until_mono_s=a.out_until_mono_s)
    if (alarm.episode, alarm.condition) == (a.episode, a.condition):  # else it came or went since
        if goes_on:
            alarm = replace(alarm, pending_mono_s=a.pending_mono_s, pending_at=a.pending_at)
        if a.asked_mono_s is not None:
            alarm = replace(alarm, asked_mono_s=a.asked_mono_s)
        alarm = replace(
            alarm,
            times=a.times,
            gone_mono_s=a.gone_mono_s,
            asked=a.asked if a.answered or not alarm.answered else 0,  # the answer is in the record, and came after
            answered=alarm.answered or a.answered,
            begun_mono_s=alarm.begun_mono_s if a.begun_mono_s is None else a.begun_mono_s,
        )
    return alarm


def _take_up_nodes(look: Look, memory: Memory) -> None:
    for n in memory.nodes:
        if n.node in look.site.by_node:
            node = look.state.node(n.node)
            node.facts, node.clashes = {fact.name: fact for fact in n.facts}, n.clashes


def _machine(known: MachineState, machine: str) -> MachineMemory:
    pairs = known.pairs or _ALONE
    return MachineMemory(
        machine,
        known.watch,
        known.windows,
        known.seen_by,
        tuple((one, other, pair) for (one, other), pair in pairs.pairs.items()),
        tuple(pairs.lately.items()),
        tuple(sorted(known.reached)),
        known.means,
        known.put_in_s,
        known.cooled_at,
        known.cool_to_c,
        known.door_lowest_c,
    )
