"""When passing time alone will next change anything: a driver that plays a record need not stop before it.

The answer may be too early, never too late: `tick` at an instant before it decides nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import datetime

from monitor.domain.alarms.alarm import Alarm, asks_at_s
from monitor.domain.needs.rules import ALL_SILENT, NO_DATA, NO_HUMIDITY, NODE_OFFLINE, NODE_RESTARTS, SWITCH_DOUBTFUL
from monitor.domain.readings.numbering import HOLE_S
from monitor.domain.state.known import Key, Look, rule_of
from monitor.domain.watch.overdue import LOOK_EVERY_S
from monitor.domain.watch.plan import SITE_SUBJECT
from monitor.domain.watch.silence import ITSELF, itself_runs_on_s, runs_on_s

_BY_TIME = (
    NO_DATA,
    NO_HUMIDITY,
    NODE_OFFLINE,
    ALL_SILENT,
    NODE_RESTARTS,
    SWITCH_DOUBTFUL,
)  # alarms whose delays passing time completes


def due_mono_s(look: Look) -> float:
    """The earliest instant of the forward clock, from `now` on, at which a tick may decide something.

    now: of a tick that decided nothing. Where it was due at `now` already, the next tick may decide.
    """
    state, mono_s = look.state, look.now.mono_s
    soonest = min(state.looked_mono_s + LOOK_EVERY_S, _plans_due_s(look), _service_due_s(look))
    standing = state.alarms.get((SITE_SUBJECT, ALL_SILENT))
    all_silent = standing is not None and standing.condition
    listens_s, probes, nodes = state.listens_mono_s, state.probes, state.nodes
    for probe in look.site.probes.values():
        silence_s, known, node = probe.silence_s, probes.get(probe.key), nodes.get(probe.node)
        life_s = heard = None
        if known is not None:
            life_s, heard = known.life_mono_s, known.heard
        alive_s = listens_s if life_s is None or life_s < listens_s else life_s
        if mono_s <= alive_s + silence_s < soonest:
            soonest = alive_s + silence_s
        if node is not None:  # messages of which nothing could be judged
            spoke_s, of_node, of_probe = node.spoke_mono_s, node.trouble, None if known is None else known.trouble
            if (
                (spoke_s != alive_s and spoke_s is not None and mono_s <= spoke_s + silence_s < soonest)
                or (of_node is not None and mono_s <= of_node.mono_s + silence_s < soonest)
                or (of_probe is not None and mono_s <= of_probe.mono_s + silence_s < soonest)
            ):
                came_s = [spoke_s, *(each.mono_s for each in (of_node, of_probe) if each is not None)]
                # Then it is no longer news what is wrong with a message; that no node is heard may be over with any.
                soonest = mono_s if all_silent else _first(came_s, mono_s, silence_s)
        if known is None or (heard is not None and heard.humid_mono_s == life_s):
            continue  # a humidity that came with the last sign of life is lost no sooner
        humid_at_s = known.humid_at_s()
        if humid_at_s is not None:
            lost_at_s = (humid_at_s if humid_at_s > listens_s else listens_s) + silence_s
            if mono_s <= lost_at_s < soonest:
                soonest = lost_at_s
    if look.site.switches:
        soonest = min([soonest, *_switches_due_s(look)])
    for key, alarm in state.alarms.items():
        soonest = min(soonest, _alarm_due_s(look, key, alarm))
    for node in nodes.values():
        for numbering in node.numberings.values():
            if numbering.above and numbering.hole_since_mono_s is not None:
                soonest = min(soonest, numbering.hole_since_mono_s + HOLE_S)
    return soonest


def _first(came_s: Sequence[float | None], mono_s: float, silence_s: float) -> float:
    """Of messages that came then, when the first from now on is no longer news."""
    return min(at_s + silence_s for at_s in came_s if at_s is not None and mono_s <= at_s + silence_s)


def _plans_due_s(look: Look) -> float:
    """When the first plan that stands no longer holds."""
    until: datetime | None = None
    for machine in look.state.machines.values():
        ends = None if machine.plan is None else machine.plan.needs.valid_until
        if ends is not None and (until is None or ends < until):
            until = ends
    return math.inf if until is None else look.now.mono_s + (until - look.now.utc).total_seconds()


def _service_due_s(look: Look) -> float:
    """When the first probe or machine that is out of service comes back by itself."""
    if not look.state.out:
        return math.inf
    ends_s = [out.until_mono_s for out in look.state.out.values() if out.until_mono_s is not None]
    return min(ends_s, default=math.inf)


def _switches_due_s(look: Look) -> Iterator[float]:
    """When each switch will have been silent for too long."""
    for switch in look.site.switches.values():
        contact, heard_s = look.state.contacts.get(switch.key), look.state.listens_mono_s
        silent_at_s = (heard_s if contact is None else max(contact.mono_s, heard_s)) + switch.silence_s
        if look.now.mono_s <= silent_at_s:
            yield silent_at_s


def _alarm_due_s(look: Look, key: Key, alarm: Alarm) -> float:
    soonest = math.inf if alarm.shelved_until_mono_s is None else alarm.shelved_until_mono_s
    if alarm.out_until_mono_s is not None:
        soonest = min(soonest, alarm.out_until_mono_s)
    if alarm.condition:
        soonest = min(soonest, asks_at_s(alarm, rule_of(look, *key)))
    if key == ITSELF and alarm.condition:
        soonest = min(soonest, itself_runs_on_s(look))
    if (
        key[1] == NODE_RESTARTS
        and alarm.condition
        and (node := look.state.nodes.get(key[0])) is not None
        and node.starts
    ):
        soonest = min(soonest, runs_on_s(node.starts))
    if alarm.pending_mono_s is not None and not alarm.condition and key[1] in _BY_TIME:
        soonest = min(soonest, alarm.pending_mono_s + rule_of(look, *key).on_delay_s)
    return soonest
