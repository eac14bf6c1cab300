"""The whole decision: what one message, one tick or one change of plan means.

Everything follows from the values handed in: the state, the site, the item and its instant. The state is changed in place and
what must be written is put into `out`; nothing is written, sent or asked here, so the same items give the same decisions.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from statistics import median

from monitor.domain.alarm import (
    BETWEEN,
    IN,
    OUT,
    Alarm,
    Judgement,
    Step,
    pass_time,
    step,
    suppress,
    unanswered,
    unsuppress,
)
from monitor.domain.bands import WET_BULB, needs_of, occupants_text
from monitor.domain.intake import Fresh, follow_clock, give_up_holes, take_in
from monitor.domain.opening import Watch, holds, watch
from monitor.domain.plan import (
    ALL_SILENT,
    CONFLICT,
    MISSING,
    NO_DATA,
    NO_HUMIDITY,
    NODE_OFFLINE,
    NOT_RAISED,
    SITE_SUBJECT,
    plan_of,
)
from monitor.domain.psychrometrics import vapour_kpa, wet_bulb_c
from monitor.domain.reading import Now, Pack, Presence, Refused
from monitor.domain.record import Event, Group, RefusedRow
from monitor.domain.site import Site
from monitor.domain.state import Heard, Key, NodeState, Plan, State
from monitor.domain.telling import remind, said_already, tell

AIR_RULES = ("dry-bulb-", "humidity-")
EMPTY = "no eggs in it"
_UNSEEN = Watch()
_Values = tuple[float | None, float | None, float | None, float | None]
NOT_JUDGED = "no such limit now"
GONE = "no longer configured"


def hear(state: State, site: Site, message: Pack | Presence | Refused, now: Now, out: Group) -> None:
    """One message: stored, and what is news in it judged."""
    follow_clock(state, now, out)
    if isinstance(message, Pack):
        fresh = take_in(state, site, message, now, out)
        if fresh:
            _judge_readings(state, site, fresh, now, out)
    elif isinstance(message, Presence):
        _presence(state, site, message, now, out)
    else:
        out.refused.append(RefusedRow(now.utc, message))


def tick(state: State, site: Site, now: Now, out: Group) -> None:
    """Passing time: stages that begin, silence, shelves that end, alarms that ask again, gaps given up."""
    follow_clock(state, now, out)
    for machine in site.machines:
        plan(state, site, machine, now, out)
    _judge_silence(state, site, now, out)
    for key, alarm in list(state.alarms.items()):
        if alarm.condition or alarm.shelved_until is not None:
            rule = site.rules[alarm.rule]
            settle(state, site, key, pass_time(alarm, now, rule), now, out)
            if unanswered(state.alarms[key], now, rule):
                state.alarms[key] = remind(state, site, state.alarms[key], now, out)
    give_up_holes(state, now, out)


def plan(state: State, site: Site, machine: str, now: Now, out: Group) -> Plan:
    """The machine's limits at this instant, made anew when they no longer hold."""
    standing = state.plans.get(machine)
    if standing is not None and (standing.needs.valid_until is None or now.utc < standing.needs.valid_until):
        return standing
    needs = needs_of(site.machines[machine], state.batches.values(), site, now.utc)
    present = frozenset(o.batch for o in needs.occupants if o.lockdown_since is not None)
    reached = state.reached[machine] = state.reached.get(machine, frozenset()) & present
    fresh = state.plans[machine] = plan_of(needs, site, reached)
    _refit(state, site, fresh, now, out)
    return fresh


def retire(state: State, site: Site, now: Now, out: Group) -> None:
    """Alarms of a run before this one about what is no longer configured: nobody will judge them again, so they end here.

    What is configured again is judged again.
    """
    subjects = {SITE_SUBJECT, *site.machines, *site.probes, *site.by_node}
    for key, alarm in list(state.alarms.items()):
        if alarm.rule not in site.rules:
            del state.alarms[key]
        elif alarm.subject not in subjects and alarm.suppressed != GONE:
            settle(state, site, key, suppress(alarm, GONE, now, over=True), now, out)
        elif alarm.subject in subjects and alarm.suppressed == GONE:
            settle(state, site, key, unsuppress(alarm, now, "configured again"), now, out)
    judge_strays(state, site, now, out)


def judge_strays(state: State, site: Site, now: Now, out: Group) -> None:
    """Eggs in a machine that the configuration no longer has (its id was changed, say) are watched by nobody: that is told."""
    places = {b.id: b.stay_at(b.not_before(now.utc)) for b in state.batches.values() if b.closed_at is None}
    strays = [f"{id_} in {stay.machine}" for id_, stay in places.items() if stay and stay.machine not in site.machines]
    about = f"{', '.join(strays)}: no such machine" if strays else ""
    judge(state, site, (SITE_SUBJECT, MISSING), Judgement(OUT if strays else IN, now.utc, about=about), now, out)


def settle(state: State, site: Site, key: Key, stepped: Step, now: Now, out: Group) -> None:
    """Adopt an alarm's next facts, and write and tell what changed."""
    alarm, transitions = stepped
    if transitions and alarm.number > state.last_number:
        state.last_number = alarm.number
    for transition in transitions:
        alarm = tell(state, site, transition, now, out)
        out.transitions.append(replace(transition, alarm=alarm))
    state.alarms[key] = alarm


def judge(state: State, site: Site, key: Key, judgement: Judgement, now: Now, out: Group, held: bool = False) -> None:
    """One fresh look at one alarm's limit. held: it does not begin now, though its delay counts, so that it begins at once after."""
    alarm = state.alarms.get(key)
    if alarm is None:
        if judgement.verdict != OUT:
            return
        alarm = Alarm(*key)
    if judgement.verdict == OUT and not alarm.condition and said_already(state, site, *key):
        judgement = replace(judgement, verdict=BETWEEN)
    elif judgement.verdict != OUT and not alarm.condition and alarm.pending_mono_s is None:
        return
    rule = site.rules[key[1]]
    if held and not alarm.condition:
        rule = replace(rule, on_delay_s=math.inf)
    settle(state, site, key, step(alarm, judgement, now, rule, state.last_number + 1), now, out)


def _judge_readings(state: State, site: Site, fresh: list[Fresh], now: Now, out: Group) -> None:
    for reading in fresh:
        before = state.heard.get(reading.probe.key)
        # One reading after a long silence may be the last for as long: it takes two in time to be speaking again.
        steady = before is not None and now.mono_s - before.mono_s <= reading.probe.silence_s
        humid_mono_s = now.mono_s if reading.rh_pct is not None else None if before is None else before.humid_mono_s
        heard = Heard(now.mono_s, reading.at, reading.dry_bulb_c, reading.rh_pct, humid_mono_s)
        state.heard[reading.probe.key] = heard
        _heard_again(state, site, reading, steady, now, out)
    for reading in fresh if len(fresh) == 1 else {r.probe.machine: r for r in fresh}.values():
        machine = reading.probe.machine
        plan_ = plan(state, site, machine, now, out)
        if plan_.limits:
            values = _air(state, site, machine, plan_, now)
            door_open = _watch_door(state, site, plan_, values[0], fresh, now, out)
            _judge_air(state, site, plan_, values, door_open, reading, now, out)


def _watch_door(
    state: State, site: Site, plan_: Plan, dry_bulb_c: float | None, fresh: list[Fresh], now: Now, out: Group
) -> bool:
    """Whether the machine has just been opened, as its air shows: then what is too cold or too dry may wait, but never for long."""
    machine = plan_.needs.machine
    seen = state.watches.get(machine, _UNSEEN)
    # One probe of the machine leads, the first that has a humidity to tell, or the shape would be drawn by two hands.
    leader = next((p for p in site.by_machine[machine] if _has_humidity(state.heard.get(p.key))), None)
    lead = next((r for r in fresh if r.probe == leader and r.rh_pct is not None), None)
    if lead is None or dry_bulb_c is None:
        return holds(seen, now.mono_s)
    kpa = vapour_kpa(lead.dry_bulb_c, min(lead.rh_pct or 0.0, 100.0))
    seen, verdict = watch(
        seen, now.mono_s, dry_bulb_c, kpa, interval_s=lead.probe.interval_s, band_low_c=plan_.low_dry_bulb_c
    )
    state.watches[machine] = seen
    if verdict.why:
        out.events.append(Event(now.utc, "opening", machine, f"not coming back after an opening: {verdict.why}"))
    if verdict.opening is not None:
        began = now.utc - timedelta(seconds=now.mono_s - verdict.opening.since_s)
        minutes = (verdict.opening.until_s - verdict.opening.since_s) / 60.0
        text = f"opened for about {minutes:.0f} min, lowest {verdict.opening.deepest_c:.1f} °C"
        out.events.append(Event(began, "opening", machine, text))
    return holds(seen, now.mono_s)


def _has_humidity(heard: Heard | None) -> bool:
    return heard is not None and heard.humid_mono_s is not None


def _judge_air(
    state: State, site: Site, plan_: Plan, values: _Values, door_open: bool, reading: Fresh, now: Now, out: Group
) -> None:
    """Compare the machine's air with each of its limits; of what is quiet and within, nothing is made."""
    alarms = state.alarms
    for limit in plan_.limits:
        value = values[limit.quantity * 2 + (limit.side > 0)]
        if value is None:
            continue
        if limit.side > 0:
            verdict = OUT if value > limit.limit else BETWEEN if value > limit.back else IN
        else:
            verdict = OUT if value < limit.limit else BETWEEN if value < limit.back else IN
        if verdict != OUT and limit.key not in alarms:
            continue
        quantity = "dry_bulb_c" if limit.quantity == 0 else plan_.humid
        judgement = Judgement(verdict, reading.at, value, limit.limit, quantity)
        judge(state, site, limit.key, judgement, now, out, held=door_open and limit.side < 0)
    if plan_.awaited:
        _lockdown_humidity(state, site, plan_.needs.machine, plan_, values[2], now, out)


def _air(state: State, site: Site, machine: str, plan_: Plan, now: Now) -> _Values:
    """Dry bulb to judge low limits by and to judge high ones by, then humidity likewise.

    One probe is itself. Of two the worse counts, for they cannot both be believed. Of three and more, the median.
    """
    dry: list[float] = []
    humid: list[float] = []
    for probe in site.by_machine[machine]:
        heard = state.heard.get(probe.key)
        if heard is None or now.mono_s - heard.mono_s > probe.silence_s:
            continue
        dry.append(heard.dry_bulb_c)
        if heard.rh_pct is not None and plan_.humid:
            rh = min(heard.rh_pct, 100.0)  # a sensor may say a little more than saturation
            humid.append(wet_bulb_c(heard.dry_bulb_c, rh, site.pressure_kpa) if plan_.humid == WET_BULB else rh)
    return (*_low_high(dry), *_low_high(humid))


def _low_high(values: list[float]) -> tuple[float | None, float | None]:
    if not values:
        return None, None
    if len(values) > 2:
        middle = median(values)
        return middle, middle
    return min(values), max(values)


def _lockdown_humidity(
    state: State, site: Site, machine: str, plan_: Plan, humid: float | None, now: Now, out: Group
) -> None:
    """Once the lockdown humidity is reached it was raised: from then on low humidity is only low humidity."""
    key = (machine, NOT_RAISED)
    alarm = state.alarms.get(key)
    limit = next((li for li in plan_.limits if li.key == key), None)
    if humid is None or limit is None or humid < limit.limit or (alarm is not None and alarm.condition):
        return
    state.reached[machine] = state.reached.get(machine, frozenset()) | frozenset(plan_.awaited)
    state.plans.pop(machine, None)
    plan(state, site, machine, now, out)


def _refit(state: State, site: Site, plan_: Plan, now: Now, out: Group) -> None:
    """A machine's limits are new: alarms whose limit is gone are quiet by design, those whose limit is back are judged again."""
    machine = plan_.needs.machine
    limits = {limit.key for limit in plan_.limits}
    for key, alarm in list(state.alarms.items()):
        if key[0] != machine or not key[1].startswith(AIR_RULES):
            continue
        if key in limits:
            settle(state, site, key, unsuppress(alarm, now, "judged again"), now, out)
        elif alarm.condition:
            why = EMPTY if not plan_.needs.occupants else NOT_JUDGED
            settle(state, site, key, suppress(alarm, why, now, over=True), now, out)
        elif alarm.pending_mono_s is not None:
            state.alarms[key] = replace(alarm, pending_mono_s=None, pending_at=None)
    who = occupants_text(plan_.needs)
    for rule, standing in ((CONFLICT, plan_.needs.conflict), (MISSING, plan_.needs.missing)):
        about = f"{' and '.join(standing)}: {who}" if standing else ""
        judge(state, site, (machine, rule), Judgement(OUT if standing else IN, now.utc, about=about), now, out)


def _presence(state: State, site: Site, message: Presence, now: Now, out: Group) -> None:
    known = state.nodes.get(message.node)
    if message.retained and known is not None and known.online == message.online:
        return  # sent again with our own new connection
    if message.node not in site.by_node:
        return
    state.nodes[message.node] = NodeState(message.online, now.mono_s)
    if known is None or known.online != message.online:
        text = "came online" if message.online else "went offline (last will)"
        out.events.append(Event(now.utc, "node", message.node, text))


def _heard_again(state: State, site: Site, reading: Fresh, steady: bool, now: Now, out: Group) -> None:
    """Data is proof of life: the silence of this probe, of its node and of the room is over."""
    node = state.nodes.get(reading.probe.node)
    if node is not None and not node.online:
        state.nodes[reading.probe.node] = NodeState(True, now.mono_s)
    keys = [(SITE_SUBJECT, ALL_SILENT), (reading.probe.node, NODE_OFFLINE)]
    if steady:
        keys.append((reading.probe.key, NO_DATA))
    if reading.rh_pct is not None:
        keys.append((reading.probe.key, NO_HUMIDITY))
    for key in keys:
        if key in state.alarms:
            judge(state, site, key, Judgement(IN, now.utc), now, out)


def _judge_silence(state: State, site: Site, now: Now, out: Group) -> None:
    """Who should have spoken by now. Every node gone at once is said once: the mains or the network, not twelve sensors."""
    silent = [p for p in site.probes.values() if _silent_s(state, p.key, now) > p.silence_s]
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
        # A probe that never had a humidity to tell is not asked for one.
        lost = heard.humid_mono_s is not None and now.mono_s - heard.humid_mono_s > site.probes[key].silence_s
        if lost and key not in keys:
            judge(state, site, (key, NO_HUMIDITY), _silence(True, now), now, out)


def _silence(silent: bool, now: Now, about: str = "") -> Judgement:
    return Judgement(OUT if silent else IN, now.utc, about=about)


def _silent_s(state: State, probe: str, now: Now) -> float:
    heard = state.heard.get(probe)
    return now.mono_s - (heard.mono_s if heard is not None else state.started_mono_s)


def _quiet_since(state: State, probes: Iterable[str], mono_s: float) -> bool:
    return all((heard := state.heard.get(p)) is None or heard.mono_s <= mono_s for p in probes)
