"""Who should have spoken by now: a probe, a node, or every node at once, which is said once; and that nobody
listened, after a cut that took everything, or does not for long, for the daemon keeps stopping."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta
from itertools import pairwise

from monitor.domain.alarms.about import (
    ABSENT,
    ELSEWHERE,
    MAINS,
    REFUSED,
    RESTARTS,
    UNDATED,
    About,
    Away,
    Fault,
    Restarting,
    Unheard,
    Unusable,
)
from monitor.domain.alarms.alarm import IN, OUT, Judgement, more_urgent
from monitor.domain.needs.rules import (
    ALL_SILENT,
    KEEPS_STOPPING,
    NO_DATA,
    NO_HUMIDITY,
    NODE_OFFLINE,
    NODE_RESTARTS,
    WAS_AWAY,
)
from monitor.domain.needs.site import Probe
from monitor.domain.readings.reading import Now, Presence
from monitor.domain.state.contacts import mains_gone
from monitor.domain.state.happened import NodeSaid
from monitor.domain.state.known import Look, Said, State, Trouble
from monitor.domain.state.record import Event
from monitor.domain.state.service import in_service, nodes_in_service, probe_is_out
from monitor.domain.watch.deciding import judge, settle
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.plan import SITE_SUBJECT

SAYS_NOTHING = Unusable(ABSENT)
# Shares of the allowed silence, which is three intervals. Messages that cannot be judged came in the place of readings if the first of them came
# this soon after the last reading; then two that are this far apart are enough, for by the end of the silence no more need have come (judgement).
IN_PLACE_SHARE, APART_SHARE = 0.5, 0.25
AWAY_S = 600.0  # shorter, and the alarms themselves say what is to be said (judgement)
HEARD_WITHIN_S = 180.0  # so long nodes have to be heard again, after the broker and the network
LAPSE_S = 12 * 3600.0  # then it is an old story, whether anybody answered or not
# Four starts are no update and no plug that was pulled; a node that hangs at each third reading of five minutes has them within this (judgement).
STARTS, STARTS_WITHIN_S = 4, 7200.0
RUNS_ON_S = 1800.0  # without a start, or twice as long as it ran in between
# So many starts of the daemon within so many seconds are no chance: each but the first after a run that was cut off (judgement).
OWN_STARTS = ((3, 300.0), (4, 7200.0))
_AWAY, ITSELF = (SITE_SUBJECT, WAS_AWAY), (SITE_SUBJECT, KEEPS_STOPPING)


def take_presence(look: Look, message: Presence) -> None:
    """What a node's birth or last will says."""
    if message.node not in look.site.by_node:
        return
    node = look.state.node(message.node)
    before = node.said
    if message.retained and before is not None and before.online == message.online:
        return  # sent again with our own new connection
    node.said = Said(message.online, look.now.mono_s)
    if before is None or before.online != message.online:
        look.out.events.append(Event(look.now.utc, "node", message.node, what=NodeSaid(message.online)))


def lives(look: Look, node: str) -> None:
    """Data is proof of life, whatever the node's last will said."""
    known = look.state.node(node)
    if known.said is not None and not known.said.online:
        known.said = Said(True, look.now.mono_s)


def heard_again(look: Look, reading: Fresh, steady: bool) -> None:
    """The silence of this probe, of its node and of the room is over."""
    keys = [(SITE_SUBJECT, ALL_SILENT), (reading.probe.node, NODE_OFFLINE)]
    if steady:
        keys.append((reading.probe.key, NO_DATA))
    if reading.rh_pct is not None and reading.quality.rh_fit:
        keys.append((reading.probe.key, NO_HUMIDITY))
    for key in keys:
        if key in look.state.alarms:
            judge(look, key, Judgement(IN, look.now.utc))


def judge_silence(look: Look) -> None:
    """Look at every probe and node. Every node gone at once: the mains or the network, not twelve sensors."""
    mono_s, known_of = look.now.mono_s, look.state.probes
    silent = [
        p
        for p in look.site.probes.values()
        if (
            (known := known_of.get(p.key)) is None
            or (life_s := known.life_mono_s) is None
            or mono_s - life_s > p.silence_s  # as of hardly any; else it may still be that nobody listened
        )
        and silent_s(look, p.key) > p.silence_s
        and not probe_is_out(look, p)
    ]
    if silent or look.state.alarms or not _all_speak(look):
        _judge_nodes(look, silent)
    listens_s = look.state.listens_mono_s
    for key, known in known_of.items():
        heard = known.heard
        if heard is not None and heard.humid_mono_s == known.life_mono_s:
            continue  # as nearly always: a humidity that came with the last sign of life is lost no sooner
        humid_at_s = known.humid_at_s()
        if humid_at_s is None:
            continue  # a probe that never had a humidity to tell, whether it could be used or not, is not asked for one
        since_s = humid_at_s if humid_at_s > listens_s else listens_s
        if mono_s - since_s > look.site.probes[key].silence_s and all(probe.key != key for probe in silent):
            judge(look, (key, NO_HUMIDITY), _silence(True, look.now))


def _all_speak(look: Look) -> bool:
    """Whether every node was heard, and none said that it goes, or keeps restarting."""
    nodes = look.state.nodes
    for id_ in look.site.by_node:
        node = nodes.get(id_)
        if node is None or (node.said is not None and not node.said.online) or len(node.starts) >= STARTS:
            return False
    return True


def _judge_nodes(look: Look, silent: Sequence[Probe]) -> None:
    """Each node by its probes that are silent and by what it said; and all of them."""
    troubles = {p.key: about for p in silent if (about := trouble_of(look, p)) is not None}
    keys = {p.key for p in silent}
    dumb = keys - troubles.keys()
    gone: dict[str, bool] = {}
    mute = 0
    by_node = nodes_in_service(look)
    for node, probes in by_node.items():
        said = look.state.node(node).said
        gone[node] = (
            said is not None
            and not said.online
            and _quiet_since(look.state, (p.key for p in probes), said.mono_s)
            and _elsewhere(look, node) is None
        )
        mute += gone[node] or (bool(dumb) and all(p.key in dumb for p in probes))
    # Of one node alone it is news of that node, unless this machine knows by itself that it could hear none.
    everybody = 0 < mute == len(by_node) and (mute > 1 or bool(look.state.lost))
    if everybody or (SITE_SUBJECT, ALL_SILENT) in look.state.alarms:
        _judge_all(look, everybody, mute)
    for node, is_gone in gone.items():
        judge_restarts(look, node)
        if is_gone or (node, NODE_OFFLINE) in look.state.alarms:
            judge(look, (node, NODE_OFFLINE), _silence(is_gone, look.now))
    for probe in silent:
        _judge_unheard(look, probe, troubles.get(probe.key))


def _judge_all(look: Look, everybody: bool, nodes: int) -> None:
    """That no node is heard, and why; news once more where what it comes of is found out later."""
    key = (SITE_SUBJECT, ALL_SILENT)
    before = look.state.alarms.get(key)
    known = before.about if before is not None and before.condition and isinstance(before.about, Unheard) else None
    found = MAINS if mains_gone(look) else look.state.lost
    why = found or ("" if known is None else known.why)
    judge(look, key, _silence(everybody, look.now, Unheard(nodes, why)))
    if everybody and known is not None and why != known.why:
        settle(look, key, more_urgent(look.state.alarms[key], look.now))


def _elsewhere(look: Look, node: str) -> Unusable | None:
    """As of which other site a node speaks, where it has not spoken as of this one since."""
    found = look.state.elsewhere.get(node)
    if found is None:
        return None
    lives = (look.state.probe(p.key).life_mono_s for p in look.site.by_node[node])
    here_since = any(life_s is not None and life_s > found[1] for life_s in lives)
    return None if here_since else Unusable(ELSEWHERE, words=found[0])


def _judge_unheard(look: Look, probe: Probe, about: Fault | Unusable | None) -> None:
    """A probe of which nothing can be judged: that nothing comes, or what is wrong with what comes. Where it says that it failed, that is
    judged with its words."""
    key, failed = (probe.key, NO_DATA), isinstance(about, Fault)
    if not failed or key in look.state.alarms:
        judge(look, key, _silence(not failed, look.now, about or ""))


def trouble_of(look: Look, probe: Probe) -> Fault | Unusable | None:
    """What is wrong with the messages that come of a silent probe; None where none comes.

    That they are late, undated or repeated must last: one such message may be the last of a node that is gone.
    """
    known, node = look.state.probe(probe.key), look.state.node(probe.node)
    since_s, heard_s = look.now.mono_s - probe.silence_s, look.now.mono_s - silent_s(look, probe.key)
    found = [
        t
        for t in (known.trouble, node.trouble)
        if t is not None
        and t.mono_s >= since_s
        and (isinstance(t.about, Fault) or t.about.why == REFUSED or _lasts(t, probe, heard_s))
    ]
    if found:
        about = max(found, key=lambda t: t.mono_s).about
        starts = restarting(look, probe.node)
        return (
            Unusable(RESTARTS, by=starts.times)
            if starts and isinstance(about, Unusable) and about.why == UNDATED
            else about
        )
    if (elsewhere := _elsewhere(look, probe.node)) is not None:
        return elsewhere
    return SAYS_NOTHING if spoke(look, probe.node) else None


def _lasts(trouble: Trouble, probe: Probe, heard_s: float) -> bool:
    """Whether messages that cannot be judged have come for long enough to be those of a node that goes on speaking.

    In the place of readings: more than one. After a break: for as long as the silence, for a node that comes back begins with two that
    nobody can date, and with what it had kept. heard_s: when its probe last gave a reading, or since when this run listens.
    """
    # Those before came beside readings, as of a node that sends its messages twice.
    first_s = max(trouble.since_s, heard_s + probe.interval_s)
    in_place = first_s - heard_s <= IN_PLACE_SHARE * probe.silence_s
    return trouble.mono_s - first_s >= (APART_SHARE if in_place else 1.0) * probe.silence_s


def restarting(look: Look, node: str) -> Restarting | None:
    """How often a node has started lately, where that is more than anybody's hand, and it has not run on since."""
    known = look.state.nodes.get(node)
    starts = () if known is None else known.starts
    lately = [at_s for at_s in starts if at_s >= starts[-1] - STARTS_WITHIN_S]
    if len(lately) < STARTS or look.now.mono_s >= runs_on_s(lately):
        return None
    return Restarting(len(lately), lately[-1] - lately[0])


def runs_on_s(starts: Sequence[float]) -> float:
    """When a node that started then, and not again, is said to run on."""
    longest_s = max((later - before for before, later in pairwise(starts[-STARTS:])), default=0.0)
    return starts[-1] + max(RUNS_ON_S, 2.0 * longest_s)


def judge_restarts(look: Look, node: str) -> None:
    """Whether a node keeps restarting."""
    known = look.state.nodes.get(node)
    if (known is None or len(known.starts) < STARTS) and not look.state.alarms:
        return  # as nearly always
    found, key = restarting(look, node), (node, NODE_RESTARTS)
    if found is not None or key in look.state.alarms:
        judge(look, key, _silence(found is not None, look.now, found or ""))


def spoke(look: Look, node: str) -> bool:
    """Whether anything of a node was taken in within the silence that its probes are allowed."""
    at_s = look.state.node(node).spoke_mono_s
    allowed_s = max(p.silence_s for p in look.site.by_node[node])
    return at_s is not None and look.now.mono_s - at_s <= allowed_s


def silent_s(look: Look, probe: str) -> float:
    """For how long a probe has given no sign of life, at most since this run listens."""
    state, listens_s = look.state.probes.get(probe), look.state.listens_mono_s
    life_s = None if state is None else state.life_mono_s
    return look.now.mono_s - (listens_s if life_s is None or life_s < listens_s else life_s)


def _silence(silent: bool, now: Now, about: About = "") -> Judgement:
    return Judgement(OUT if silent else IN, now.utc, about=about)


def _quiet_since(state: State, probes: Iterable[str], mono_s: float) -> bool:
    return all((life := state.probe(p).life_mono_s) is None or life <= mono_s for p in probes)


def judge_away(look: Look) -> None:
    """After a run that was cut off: how long nobody watched, and what the eggs felt meanwhile.

    Said once the label clock is right and every machine with eggs is heard, or was given its time; over when somebody has answered, or by itself.
    """
    state, now = look.state, look.now
    if state.last_watched is None:
        alarm = state.alarms.get(_AWAY)
        if alarm is None or not alarm.condition:
            return
        if alarm.acknowledged or alarm.begun_mono_s is None or now.mono_s - alarm.begun_mono_s >= LAPSE_S:
            judge(look, _AWAY, Judgement(IN, now.utc))
        return
    if not now.clock_ok:
        return
    up_s = now.mono_s - state.started_mono_s
    since = state.last_watched
    away_s = (now.utc - timedelta(seconds=up_s) - since).total_seconds()
    if away_s < AWAY_S:
        state.last_watched = None
        return
    felt = tuple(found for machine in look.site.machines if (found := felt_in(look, machine)) is not None)
    if any(air_c is None for _, air_c, _ in felt) and up_s < HEARD_WITHIN_S:
        return
    state.last_watched = None
    judge(look, _AWAY, Judgement(OUT, now.utc, about=Away(since, round(away_s, 0), felt)))


def felt_in(look: Look, machine: str) -> tuple[str, float | None, float | None] | None:
    """A machine with eggs, its air as heard in this run, and its coldest eggs; None of one that is empty."""
    plan = look.state.plan_of(machine)
    if plan is None or not plan.needs.occupants:
        return None
    heard = [look.state.probe(p.key).heard for p in in_service(look, machine)]
    airs = [h.dry_bulb_c for h in heard if h is not None and h.mono_s >= look.state.started_mono_s]
    if not airs:
        return machine, None, None
    eggs = [look.state.eggs[e.batch].egg_c for e in plan.eggs if e.judged and e.batch in look.state.eggs]
    return machine, round(min(airs), 1), round(min(eggs), 1) if eggs else None


def judge_itself(look: Look) -> None:
    """Whether this run is one of several that were cut off, until it has run on for half an hour."""
    if len(look.state.starts) < 2 and ITSELF not in look.state.alarms:
        return  # as nearly always
    found = keeps_stopping(look)
    if found is not None or ITSELF in look.state.alarms:
        judgement = Judgement(IN if found is None else OUT, look.now.utc, about=found or "")
        judge(look, ITSELF, judgement)


def keeps_stopping(look: Look) -> Restarting | None:
    """How often it has started lately, where that is no chance, and it has not run on since."""
    starts = look.state.starts
    if not starts or look.now.mono_s >= itself_runs_on_s(look):
        return None
    for least, within_s in OWN_STARTS:
        lately = [at_s for at_s in starts if at_s >= starts[-1] - within_s]
        if len(lately) >= least:
            return Restarting(len(lately), lately[-1] - lately[0])
    return None


def itself_runs_on_s(look: Look) -> float:
    """When it is said to run on, unless it falls before."""
    return look.state.started_mono_s + RUNS_ON_S
