"""What a run hands to the next: written down as a `Memory`, and taken up again where it still fits."""

from __future__ import annotations

from dataclasses import replace

from monitor.domain.alarms.alarm import Alarm
from monitor.domain.readings.agreement import Pairs
from monitor.domain.state.known import Look, State
from monitor.domain.state.memory import AlarmMemory, MachineMemory, Memory, ProbeMemory

_ALONE = Pairs()


def remember(look: Look, final: bool = False) -> Memory:
    """Everything that the next run would otherwise have to learn anew. final: this run stops here."""
    return Memory(
        look.now.mono_s,
        look.now.utc,
        final,
        tuple(
            ProbeMemory(
                p, look.state.heard.get(p), look.state.life.get(p), look.state.trails.get(p), look.state.held.get(p)
            )
            for p in look.site.probes
            if p in look.state.life
        ),
        tuple(_machine(look.state, m) for m in look.site.machines),
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
            )
            for key, a in look.state.alarms.items()
            if a.pending_mono_s is not None or a.condition or a.shelved_until_mono_s is not None
        ),
    )


def take_up(look: Look, memory: Memory) -> None:
    """Go on where the run before stopped.

    Its times are of the forward clock that this run goes on with. Where the label is not to be trusted, or they lie ahead, that
    clock began anew, and nothing of it can be used. Where that run did not stop but was cut off, its delays
    may be over since, so they begin anew.
    """
    if memory.mono_s > look.now.mono_s or not look.now.clock_ok:
        return
    for p in memory.probes:
        if p.probe not in look.site.probes:
            continue
        if p.heard is not None:
            look.state.heard[p.probe] = p.heard
        if p.life_mono_s is not None:
            look.state.life[p.probe] = p.life_mono_s
        if p.trail is not None:
            look.state.trails[p.probe] = p.trail
        if p.held is not None:
            look.state.held[p.probe] = p.held
    for m in memory.machines:
        if m.machine not in look.site.machines:
            continue
        probes = {p.key for p in look.site.by_machine.get(m.machine, ())}
        if m.watch is not None:
            look.state.watches[m.machine] = m.watch
        if m.windows is not None and m.seen_by is not None:
            look.state.windows[m.machine], look.state.seen_by[m.machine] = m.windows, m.seen_by
        pairs = {(one, other): pair for one, other, pair in m.pairs if {one, other} <= probes}
        if pairs:
            look.state.pairs[m.machine] = Pairs(pairs, {p: given for p, given in m.lately if p in probes})
        look.state.reached[m.machine] = frozenset(m.reached)
    look.state.eggs.update((batch, felt) for batch, felt in memory.eggs if batch in look.state.batches)
    for a in memory.alarms:
        key = (a.subject, a.rule)
        alarm = look.state.alarms.get(key) or Alarm(*key)
        if a.shelved_until is not None and alarm.shelved_until == a.shelved_until:
            alarm = replace(alarm, shelved_until_mono_s=a.shelved_until_mono_s)
        if (alarm.episode, alarm.condition) == (a.episode, a.condition):  # else it came or went since
            if memory.final:
                alarm = replace(alarm, pending_mono_s=a.pending_mono_s, pending_at=a.pending_at)
            if a.asked_mono_s is not None:
                alarm = replace(alarm, asked_mono_s=a.asked_mono_s)
        if alarm.number or alarm.pending_mono_s is not None:
            look.state.alarms[key] = alarm


def _machine(state: State, machine: str) -> MachineMemory:
    pairs = state.pairs.get(machine, _ALONE)
    return MachineMemory(
        machine,
        state.watches.get(machine),
        state.windows.get(machine),
        state.seen_by.get(machine),
        tuple((one, other, pair) for (one, other), pair in pairs.pairs.items()),
        tuple(pairs.lately.items()),
        tuple(sorted(state.reached.get(machine, ()))),
    )
