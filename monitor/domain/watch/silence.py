"""Who should have spoken by now: a probe, a node, or every node at once, which is said once."""

from __future__ import annotations

from collections.abc import Iterable

from monitor.domain.alarms.alarm import IN, OUT, Judgement
from monitor.domain.needs.rules import ALL_SILENT, NO_DATA, NO_HUMIDITY, NODE_OFFLINE
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now, Presence
from monitor.domain.state.known import NodeState, State
from monitor.domain.state.record import Event, Group
from monitor.domain.watch.deciding import judge
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.plan import SITE_SUBJECT


def take_presence(state: State, site: Site, message: Presence, now: Now, out: Group) -> None:
    """What a node's birth or last will says."""
    known = state.nodes.get(message.node)
    if message.retained and known is not None and known.online == message.online:
        return  # sent again with our own new connection
    if message.node not in site.by_node:
        return
    state.nodes[message.node] = NodeState(message.online, now.mono_s)
    if known is None or known.online != message.online:
        text = "came online" if message.online else "went offline (last will)"
        out.events.append(Event(now.utc, "node", message.node, text))


def heard_again(state: State, site: Site, reading: Fresh, steady: bool, now: Now, out: Group) -> None:
    """Data is proof of life: the silence of this probe, of its node and of the room is over."""
    node = state.nodes.get(reading.probe.node)
    if node is not None and not node.online:
        state.nodes[reading.probe.node] = NodeState(True, now.mono_s)
    keys = [(SITE_SUBJECT, ALL_SILENT), (reading.probe.node, NODE_OFFLINE)]
    if steady:
        keys.append((reading.probe.key, NO_DATA))
    if reading.rh_pct is not None and reading.quality.rh_fit:
        keys.append((reading.probe.key, NO_HUMIDITY))
    for key in keys:
        if key in state.alarms:
            judge(state, site, key, Judgement(IN, now.utc), now, out)


def judge_silence(state: State, site: Site, now: Now, out: Group) -> None:
    """Look at every probe and node. Every node gone at once: the mains or the network, not twelve sensors."""
    silent = [p for p in site.probes.values() if silent_s(state, p.key, now) > p.silence_s]
    keys = {p.key for p in silent}
    gone: dict[str, bool] = {}
    mute = 0
    for node, probes in site.by_node.items():
        said = state.nodes.get(node)
        gone[node] = said is not None and not said.online and _quiet_since(state, (p.key for p in probes), said.mono_s)
        mute += gone[node] or all(p.key in keys for p in probes)
    everybody = mute == len(site.by_node) > 1
    if everybody or (SITE_SUBJECT, ALL_SILENT) in state.alarms:
        about = f"None of {mute} nodes is heard"
        judge(state, site, (SITE_SUBJECT, ALL_SILENT), _silence(everybody, now, about), now, out)
    for node, is_gone in gone.items():
        if is_gone or (node, NODE_OFFLINE) in state.alarms:
            judge(state, site, (node, NODE_OFFLINE), _silence(is_gone, now), now, out)
    for probe in silent:
        judge(state, site, (probe.key, NO_DATA), _silence(True, now), now, out)
    for key, heard in state.heard.items():
        if heard.humid_mono_s is None or key in keys:
            continue  # a probe that never had a humidity to tell is not asked for one
        if now.mono_s - max(heard.humid_mono_s, state.started_mono_s) > site.probes[key].silence_s:
            judge(state, site, (key, NO_HUMIDITY), _silence(True, now), now, out)


def silent_s(state: State, probe: str, now: Now) -> float:
    """Since when a probe has given no sign of life, at most since this run began: before it nobody listened."""
    return now.mono_s - max(state.life.get(probe, state.started_mono_s), state.started_mono_s)


def _silence(silent: bool, now: Now, about: str = "") -> Judgement:
    return Judgement(OUT if silent else IN, now.utc, about=about)


def _quiet_since(state: State, probes: Iterable[str], mono_s: float) -> bool:
    return all((life := state.life.get(p)) is None or life <= mono_s for p in probes)
