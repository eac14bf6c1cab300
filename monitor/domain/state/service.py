"""What is out of service now: the one question that is asked where alarms are decided, and where the air of a machine is taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from monitor.domain.needs.rules import DISAGREE, DRIFTING, EGG, HANDLING_OVER, LETHAL
from monitor.domain.needs.site import Probe
from monitor.domain.state.known import Key, Look


def is_out(look: Look, key: Key) -> bool:
    """Whether an alarm is not judged now, for its probe or its machine is out of service, or every probe of that machine. What harms the eggs that
    are in a machine all the same, deadly heat, or that they themselves are too hot or too cold, is judged as long as a probe says it."""
    if not look.state.out:
        return False  # as nearly always
    (subject, rule_id), site, out = key, look.site, look.state.out
    if subject in site.probes:
        return probe_is_out(look, site.probes[subject])
    if subject in site.machines:
        rule = site.rules[rule_id]
        if subject in out and rule.level != LETHAL and rule.quantity != EGG:
            return True
        by_probes = rule.of_the_air or rule_id in (DISAGREE, DRIFTING, HANDLING_OVER)
        return by_probes and subject in site.by_machine and not in_service(look, subject)
    if subject in site.switches:
        return site.switches[subject].machine in out
    return subject in site.by_node and all(probe_is_out(look, probe) for probe in site.by_node[subject])


def probe_is_out(look: Look, probe: Probe) -> bool:
    """Whether a probe is out of service, by itself or with its machine: nothing is told of it."""
    return probe.key in look.state.out or probe.machine in look.state.out


def in_service(look: Look, machine: str) -> Sequence[Probe]:
    """The probes that a machine's air is taken from: all but those that are out of service by themselves."""
    probes, out = look.site.by_machine.get(machine, ()), look.state.out
    return [probe for probe in probes if probe.key not in out] if out else probes


def nodes_in_service(look: Look) -> Mapping[str, Sequence[Probe]]:
    """The probes of each node that are in service, of nodes that have any."""
    if not look.state.out:
        return look.site.by_node
    found = {node: [p for p in probes if not probe_is_out(look, p)] for node, probes in look.site.by_node.items()}
    return {node: probes for node, probes in found.items() if probes}


def judging(look: Look, machine: str) -> Sequence[Probe]:
    """Those of them that say anything that can be used now: a neighbour that is silent, or has failed, watches nothing."""
    state, now_s = look.state, look.now.mono_s
    heard = [(probe, state.probe(probe.key).heard) for probe in in_service(look, machine)]
    return [probe for probe, last in heard if last is not None and now_s - last.mono_s <= probe.silence_s]


def watched_less(look: Look, subject: str) -> tuple[str, ...]:
    """The batches that are watched less, or by nobody, while a probe or a machine is out: those in the machine, or in that of the only probe that can
    be used."""
    probe = look.site.probes.get(subject)
    if probe is not None and any(other.key != subject for other in judging(look, probe.machine)):
        return ()
    plan = look.state.plan_of(subject if probe is None else probe.machine)
    return () if plan is None else tuple(o.batch for o in plan.needs.occupants)
