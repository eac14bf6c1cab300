"""One machine's air against what its eggs need: limits passed, limits that will be passed, a door that is open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.domain.air.psychrometrics import vapour_kpa, wet_bulb_c
from monitor.domain.alarms.about import About, Heading
from monitor.domain.alarms.alarm import BETWEEN, IN, OUT, Judgement
from monitor.domain.needs.bands import DRY_BULB, WET_BULB
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.rules import ABOVE, ALARM, HANDLING_OVER, LETHAL, NOT_RAISED, Rule
from monitor.domain.needs.site import Probe
from monitor.domain.readings.quality import leapt
from monitor.domain.readings.reading import FAIL
from monitor.domain.signs.heading import GONE, LATE_S, STEP_S, TAIL_S, Window, leaves
from monitor.domain.signs.lately import SWAY_LEAST_S, Mean, changed, follow, middle
from monitor.domain.signs.opening import (
    AT_WORK,
    AWAITED,
    BACK,
    BORNE_S,
    FALL_INTERVALS,
    FALL_S,
    MAX_HOLD_S,
    NOT_BACK,
    SETTLE_S,
    Watch,
    cold_as_usual,
    dipped,
    holds,
    outcome,
    overshoots,
    settles,
    usual_overshoot,
    watch,
)
from monitor.domain.signs.seen import NotBack, Opened
from monitor.domain.state.contacts import door_open, told_of_door
from monitor.domain.state.happened import WorkOver
from monitor.domain.state.known import Limit, Look, MachineState, Plan
from monitor.domain.state.memory import Heard
from monitor.domain.state.record import Event
from monitor.domain.state.service import in_service
from monitor.domain.watch.deciding import judge
from monitor.domain.watch.egg_felt import eggs_are_cold, eggs_below, judge_eggs
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.planning import plan
from monitor.domain.watch.sensors import compare_sensors, judge_sensor
from monitor.domain.watch.silence import heard_again, lives

# A controller that was cold for a while goes too far. Two minutes of that, so far beyond the limit, are no news; nor are ten of half as far where
# a door was seen; nor half an hour while the eggs are still colder than they should be: hens' eggs bore hours of 38.5 to 39.5 °C (TAINIKA-22), and
# deadly heat is told by itself.
OVERSHOOT_K, OVERSHOOT_S, OVERSHOOT_COLD_S = 1.5, 120.0, 1800.0
SLIGHT_K, SLIGHT_S = 0.75, 600.0
# From target to limit: a controller that heavy eggs keep warm for a while stays on this side (judgement).
HALFWAY = 0.5
_UNSEEN = Watch()
_NO_WINDOW = Window()
# Dry bulb to judge low limits by and to judge high ones by, then humidity likewise.
_Values = tuple[float | None, float | None, float | None, float | None]
_Each = tuple[list[float], list[float]]  # of each probe: dry bulb, and humidity


def dangerous_heat(rule: Rule) -> bool:
    """No work at an open machine makes it too hot: held back is only what a controller goes too far after a door or a fall, and what would be deadly for
    two minutes at most."""
    return rule.quantity == DRY_BULB and rule.side == ABOVE and rule.level in (ALARM, LETHAL)


def put_in(look: Look, before: Batch | None, after: Batch) -> None:
    """A batch goes to another machine, or from one, as somebody says now: whoever did it had the machines open then. before: None of a new one."""
    at = after.not_before(look.now.utc)
    there = after.stay_at(at)
    was = None if before is None else before.stay_at(at)
    here = {stay.machine for stay in (was, there) if stay is not None}
    if there is not None and len(here) == 1 and was is not None:
        return
    since = at if there is None else there.since
    for id_ in here & look.site.machines.keys():
        known = look.state.machine(id_)
        known.put_in_s = max(known.put_in_s, look.now.mono_s - (at - since).total_seconds())


def judge_readings(look: Look, fresh: list[Fresh]) -> None:
    """What is news: each sensor, then the air of each machine that a fit reading came from."""
    by_machine: dict[str, list[Fresh]] = {}
    lives(look, fresh[0].probe.node)  # all are of one message
    alarms, out, mono_s = look.state.alarms, look.state.out, look.now.mono_s
    for reading in fresh:
        of_it, probe = reading.known, reading.probe
        quality, confirmed, before = reading.quality, reading.confirmed, of_it.heard
        _adopt(look, reading)
        if confirmed is not None and confirmed.dry_bulb_held:
            of_it.jumped_mono_s = mono_s
            of_it.jumped_from_s = reading.mono_s - (reading.at - confirmed.at).total_seconds()
            of_it.jumped_k = 0.0 if before is None else reading.dry_bulb_c - before.dry_bulb_c
        elif before is not None and quality.dry_bulb_fit and leapt(of_it.trail):
            of_it.jumped_mono_s, of_it.jumped_from_s = mono_s, reading.mono_s
            of_it.jumped_k = reading.dry_bulb_c - before.dry_bulb_c
        if quality.tests or alarms:  # else nothing is wrong, and nothing was
            judge_sensor(look, reading)
        if probe.key in out:
            continue  # its machine is judged by the others
        if probe.machine in by_machine:
            by_machine[probe.machine].append(reading)
        else:
            by_machine[probe.machine] = [reading]
    for machine, here in by_machine.items():
        plan_ = plan(look, machine)
        probes = in_service(look, machine)
        if len(probes) > 1:
            compare_sensors(look, machine)
        if not plan_.limits:
            continue
        values, seen, each = _air(look, plan_, probes)
        known = look.state.machine(machine)
        door_open = (
            _watch_door(look, known, plan_, values[0], here, probes) or look.now.mono_s < known.put_in_s + BORNE_S
        )
        newest = None
        for reading in here:
            if reading.quality.dry_bulb_fit:
                newest = reading
        if newest is not None:  # what is held or failed proves nothing: the air alarms stay as they are
            _judge_air(look, known, plan_, values, seen, door_open, newest, each=each)


def _adopt(look: Look, reading: Fresh) -> None:
    """The reading as the newest of its probe, as far as it is fit; and a sign of life in any case."""
    known, quality = reading.known, reading.quality
    mono_s, before_s = look.now.mono_s, known.life_mono_s
    known.life_mono_s = mono_s
    if quality.dry_bulb_fit:
        before = known.heard
        rh_pct = reading.rh_pct if quality.rh_fit else None
        humid_mono_s = mono_s if rh_pct is not None else None if before is None else before.humid_mono_s
        known.heard = Heard(mono_s, reading.at, reading.dry_bulb_c, rh_pct, humid_mono_s)
    if look.state.alarms:
        # One reading after a long silence may be the last for as long: it takes two in time to be speaking again.
        steady = before_s is not None and mono_s - before_s <= reading.probe.silence_s
        heard_again(look, reading, steady)


def _watch_door(  # noqa: PLR0917 - with each reading
    look: Look, known: MachineState, plan_: Plan, dry_bulb_c: float | None, fresh: list[Fresh], probes: Sequence[Probe]
) -> bool:
    """Whether the machine has just been opened: then what is too cold or too dry may wait, but never for long. A contact says when it was,
    or its air shows it; for how long that holds the air says in any case."""
    machine = plan_.needs.machine
    seen, lead = known.watch or _UNSEEN, _lead(look, probes, fresh)
    interval_s = 0.0 if lead is None else lead.probe.interval_s
    contact = None
    if machine in look.site.doors:
        contact = door_open(look, machine, max(FALL_S, FALL_INTERVALS * interval_s))
        _note_door(look, machine, fresh, believed=contact is not None)
    if lead is None or dry_bulb_c is None or lead.quality.dry_bulb_flag >= FAIL:
        return _holds(look, machine, seen, contact=contact)
    heard = lead.known.heard
    dumb = lead.quality.rh_flag >= FAIL and heard is not None and heard.humid_mono_s is not None
    if dumb and contact is None:
        return holds(seen, look.now.mono_s)
    if lead.quality.held:  # a door's first reading is a jump like any other: it waits to be judged, but not to be seen
        dry_bulb_c = min(dry_bulb_c, lead.dry_bulb_c)
    rh_pct = lead.rh_pct if lead.quality.rh_flag < FAIL else None
    kpa = 0.0 if rh_pct is None else vapour_kpa(lead.dry_bulb_c, _scaled(rh_pct))
    if dumb:  # a contact says what is a fall, without the vapour
        kpa = seen.usual_kpa
    if (kpa > 0.0) is not (seen.usual_kpa > 0.0):  # a humidity for the first time, or no longer one
        seen = Watch(recovery_s=seen.recovery_s)
    mono_s, handling = look.now.mono_s, known.handling
    declared = handling is not None and mono_s < handling.until_mono_s
    seen, verdict = watch(
        seen,
        look.now.mono_s,
        dry_bulb_c,
        kpa,
        interval_s=interval_s,
        band_low_c=plan_.low_dry_bulb_c,
        cold_c=plan_.cold_c,
        at_work=declared or mono_s < known.put_in_s + BORNE_S,
        door_open=contact is True,
    )
    known.watch = seen
    if verdict.why and (contact is None or _told(look, machine, seen)):
        look.out.events.append(Event(look.now.utc, "opening", machine, what=NotBack(verdict.why)))
    if verdict.opening is not None and contact is not None:
        _missed(look, machine, verdict.opening.since_s)
    elif verdict.opening is not None:
        began = look.now.utc - timedelta(seconds=look.now.mono_s - verdict.opening.since_s)
        minutes = (verdict.opening.until_s - verdict.opening.since_s) / 60.0
        opened = Opened(round(minutes), round(verdict.opening.deepest_c, 1))
        look.out.events.append(Event(began, "opening", machine, what=opened))
    return _holds(look, machine, seen, contact=contact)


def _holds(look: Look, machine: str, seen: Watch, *, contact: bool | None) -> bool:
    """Whether low alarms are held back for a door: with a contact that is believed, only of an opening that it told of."""
    return holds(seen, look.now.mono_s) and (contact is None or _told(look, machine, seen))


def _told(look: Look, machine: str, seen: Watch) -> bool:
    return seen.episode is not None and told_of_door(look, machine, seen.episode.since_s)


def _note_door(look: Look, machine: str, fresh: list[Fresh], *, believed: bool) -> None:
    """How cold it came while a contact of its door says that it is open is noted, and written once it is shut."""
    known = look.state.machine(machine)
    said = [c for s in look.site.doors[machine] if (c := look.state.contacts.get(s.key)) is not None]
    if any(c.said for c in said) and believed:
        before_c = math.inf if known.door_lowest_c is None else known.door_lowest_c
        known.door_lowest_c = min([before_c, *(r.dry_bulb_c for r in fresh if r.quality.dry_bulb_fit)])
    elif known.door_lowest_c is not None:
        lowest_c, known.door_lowest_c = known.door_lowest_c, None
        shut = max(said, key=lambda c: c.turned_mono_s)
        if believed and len(shut.turns) > 1 and math.isfinite(lowest_c):
            open_s = shut.turns[-1] - shut.turns[-2]
            opened = Opened(round(open_s / 60.0), round(lowest_c, 1))
            look.out.events.append(Event(shut.since - timedelta(seconds=open_s), "opening", machine, what=opened))


def _missed(look: Look, machine: str, since_s: float) -> None:
    """The air shows an opening that no contact of the door has told: by the third they are not believed."""
    if told_of_door(look, machine, since_s):
        return
    for switch in look.site.doors[machine]:
        contact = look.state.contacts[switch.key]
        look.state.contacts[switch.key] = replace(contact, missed=contact.missed + 1)


def _lead(look: Look, probes: Sequence[Probe], fresh: list[Fresh]) -> Fresh | None:
    """One probe of the machine leads, the first that has a humidity to tell, or the shape would be drawn by two hands. Where none has,
    the first that speaks: of it an opening is known that was declared."""
    first, states = "", look.state.probes
    for probe in probes:
        known = states.get(probe.key)
        heard = None if known is None else known.heard
        if heard is not None and heard.humid_mono_s is not None:
            first = probe.key
            break
        if heard is not None and not first and look.now.mono_s - heard.mono_s <= probe.silence_s:
            first = probe.key
    for reading in fresh:
        if reading.probe.key == first:
            return reading
    return None


def _judge_air(  # noqa: PLR0917 - with each reading
    look: Look,
    known: MachineState,
    plan_: Plan,
    values: _Values,
    seen: tuple[str, ...],
    door_open: bool,
    reading: Fresh,
    *,
    each: _Each,
) -> None:
    """Compare the machine's air with each of its limits; of what is quiet and within, nothing is made."""
    work = ""
    # As nearly always, no alarm of this air stands or waits, and then only what is passed is news.
    standing = not plan_.keys.isdisjoint(look.state.alarms)
    if known.handling is not None:
        outside = _outside(plan_, values)
        awaited = outside is not None and _waits(look, plan_, outside)
        work = outcome(known.handling, look.now, outside is not None, awaited=awaited)
        if work in (BACK, NOT_BACK):
            _end_handling(look, plan_, outside, reading=reading)
    low_held = door_open or work == AWAITED
    if seen != known.seen_by:  # another set of probes is another line
        known.means, known.windows, known.seen_by = (), None, seen
    undisturbed = not (door_open or work)
    settling = known.watch is not None and settles(known.watch, look.now.mono_s)
    if undisturbed:
        known.means = follow(known.means, plan_.spans, look.now.mono_s, values, reading.probe.interval_s, each)
    if standing or _passed(plan_, values, known.means if undisturbed else ()):
        means = known.means if undisturbed else ()
        at_work = work == AT_WORK
        low_held = low_held or (known.watch is not None and cold_as_usual(known.watch, look.now.mono_s))
        cold_held = (low_held or at_work) and not (
            known.cool_to_c is not None and eggs_below(look, plan_, known.cool_to_c)
        )
        dry_held = low_held or at_work or settling
        _judge_limits(look, plan_, values, reading, waits=(cold_held, dry_held, at_work), means=means)
    if undisturbed:
        # Where the air goes after a door is not where it goes by itself: none of it is kept, and what was before stays.
        pauses = settling and not any(_stands(look, limit) for limit in plan_.headings)
        windows = known.windows if pauses else _window(look, known, plan_, values=values)
        if windows is not None and (standing or _off_target(plan_, windows)):
            # Heavy eggs that were cooled keep a controller a little too warm for as long again.
            late = known.watch is not None and look.now.mono_s < known.watch.opened_s + 2.0 * SETTLE_S
            _judge_heading(look, plan_, values, windows, reading, held=late)
    if plan_.eggs and values[0] is not None and values[1] is not None:
        held = low_held or work == AT_WORK
        judge_eggs(look, plan_, (values[0] + values[1]) / 2.0, reading, held)
    if plan_.awaited:
        _lockdown_humidity(look, plan_.needs.machine, plan_, values[2])


def _passed(plan_: Plan, values: _Values, means: Sequence[Mean | None]) -> bool:
    """Whether any limit is passed."""
    spans = plan_.spans
    for i, mean in enumerate(means[: len(spans)]):
        if mean is not None and (mean.low < spans[i].least or mean.high > spans[i].most):
            return True
    low_c, high_c, dry, damp = values
    least_c, most_c, driest, dampest = plan_.within
    if low_c is not None and high_c is not None and (low_c < least_c or high_c > most_c):
        return True
    return dry is not None and damp is not None and (dry < driest or damp > dampest)


def _judge_limits(  # noqa: PLR0917 - with each reading
    look: Look,
    plan_: Plan,
    values: _Values,
    reading: Fresh,
    *,
    waits: tuple[bool, bool, bool],
    means: Sequence[Mean | None],
) -> None:
    """Each limit that is passed, or has an alarm. waits: whether cold is held back, and dry air, and all but heat for work at the machine.

    means: over the plan's spans; empty while the machine is open, when no mean says anything.
    """
    *low_held, at_work = waits
    for limit in plan_.limits:
        young = False
        if limit.span < 0:
            value = values[limit.quantity * 2 + (limit.side > 0)]
        else:
            mean = means[limit.span] if means else None
            value = None if mean is None else mean.high if limit.side > 0 else mean.low
            young = mean is not None and not mean.judged(plan_.spans[limit.span])
            sudden = changed(means, plan_.spans, limit.span, side=limit.side)
            if sudden is not None and (value is None or young or (sudden - value) * limit.side > 0.0):
                value, young = sudden, False
        if value is None:
            continue
        verdict = _verdict(limit, value)
        if verdict != IN and limit.span >= 0 and means and _wanders(means[limit.span], limit, value):
            verdict = IN
        if limit.key not in look.state.alarms and (young or verdict != OUT):
            continue
        if young and verdict == OUT:
            verdict = BETWEEN  # it begins nothing, and ends nothing
        quantity = DRY_BULB if limit.quantity == 0 else plan_.humid
        since = _since(reading, limit, verdict)
        judgement = Judgement(verdict, since, value, limit.limit, quantity)
        if limit.side < 0:
            held = low_held[limit.quantity if limit.span < 0 else 0]  # a mean takes the time by itself
            held = held and (at_work or not _dry_for_long(look, limit))
        elif dangerous_heat(limit.rule):
            held = verdict == OUT and _overshoots(look, plan_, (limit, value))
        else:
            held = at_work
        if limit.span >= 0 and not held:
            # A mean outlasts its cause: what is back within the band by now is not told any more.
            newest = values[limit.quantity * 2 + (limit.side > 0)]
            held = newest is None or (newest - limit.edge) * limit.side <= 0.0
        # Of a slow probe the jump that waited for this reading was minutes ago: that is its delay.
        lasted_s = (reading.at - since).total_seconds() if dangerous_heat(limit.rule) else 0.0
        judge(look, limit.key, judgement, held=held, lasted_s=lasted_s)


def _dry_for_long(look: Look, limit: Limit) -> bool:
    """Whether it is too dry without a break for longer than a door holds that back: each next one does anew, once most of its vapour was back, and what
    makes the air moist would have had it within the limit between two of them."""
    alarm = look.state.alarms.get(limit.key)
    if limit.quantity != 1 or alarm is None or alarm.pending_mono_s is None:
        return False
    return look.now.mono_s - alarm.pending_mono_s >= MAX_HOLD_S


def _overshoots(look: Look, plan_: Plan, passed: tuple[Limit, float]) -> bool:
    """Whether it is too hot only because the machine was open: not far, not for long, or the eggs are still cold. What would be deadly waits two
    minutes at most, and so does heat after a fall of which nobody knows that it was a door."""
    (limit, value_c), mono_s = passed, look.now.mono_s
    seen, alarm = look.state.machine(plan_.needs.machine).watch, look.state.alarms.get(limit.key)
    if seen is None:
        return False
    lasted_s = 0.0 if alarm is None or alarm.pending_mono_s is None else mono_s - alarm.pending_mono_s
    brief = lasted_s < OVERSHOOT_S and value_c <= limit.limit + OVERSHOOT_K
    opened = overshoots(seen, mono_s)
    if not opened or limit.rule.level == LETHAL:
        return brief and (opened or dipped(seen, mono_s))
    as_long, up_to_c = usual_overshoot(seen, mono_s)
    if value_c > max(limit.limit + OVERSHOOT_K, up_to_c):
        return False
    if as_long and mono_s - seen.above_s < OVERSHOOT_COLD_S:
        return True  # what a person had to mend is learnt like what came back by itself
    # What is hot where the watched probe is well has seen no door.
    slight = seen.above_s < math.inf and value_c <= limit.limit + SLIGHT_K
    borne_s = SLIGHT_S if slight else OVERSHOOT_S
    return lasted_s < borne_s or (lasted_s < OVERSHOOT_COLD_S and eggs_are_cold(look, plan_))


def _verdict(limit: Limit, value: float) -> int:
    if limit.side > 0:
        return OUT if value > limit.limit else BETWEEN if value > limit.back else IN
    return OUT if value < limit.limit else BETWEEN if value < limit.back else IN


def _wanders(mean: Mean | None, limit: Limit, value: float) -> bool:
    """Whether a mean is beyond a limit no farther than it goes to and fro by itself, about a middle that is within."""
    if mean is None or mean.sway is None or limit.quantity != 0 or _verdict(limit, mean.sway.middle) == OUT:
        return False
    return _verdict(limit, value - limit.side * mean.sway.reach) != OUT


def _since(reading: Fresh, limit: Limit, verdict: int) -> datetime:
    """When a limit was first seen passed: by the reading before, where that had to wait for this one and was beyond it too."""
    before = reading.confirmed
    if before is None or limit.quantity != 0 or limit.span >= 0 or verdict != OUT or not before.dry_bulb_held:
        return reading.at
    return before.at if (before.dry_bulb_c - limit.limit) * limit.side > 0.0 else reading.at


def _window(look: Look, known: MachineState, plan_: Plan, *, values: _Values) -> tuple[Window, Window] | None:
    """The machine's air of the last hours, as means over the span of its headings; None where they are not known, or too young."""
    if not plan_.headings:
        return None
    mono_s, windows = look.now.mono_s, known.windows
    if windows is not None and mono_s - windows[0].points[-1][0] < STEP_S:
        return windows
    span = plan_.headings[0].span
    mean = known.means[span] if span < len(known.means) else None
    low_c, high_c = values[0], values[1]
    if mean is None or not mean.judged(plan_.spans[span]) or low_c is None or high_c is None:
        return None
    cold, warm = windows or (_NO_WINDOW, _NO_WINDOW)
    # Of one probe, or of three and more, what is judged low is what is judged high.
    one = cold is warm and mean.low == mean.high
    cold = cold.seen(mono_s, mean.low, mean.away_low)
    windows = known.windows = cold, cold if one else warm.seen(mono_s, mean.high, mean.away_high)
    return windows


def _off_target(plan_: Plan, windows: tuple[Window, Window]) -> bool:
    """Whether the air is far enough from its target to be on its way to a limit."""
    (cold, warm), (least_c, most_c) = windows, plan_.off_target_c
    if not (cold.points and warm.points):
        return True
    return cold.points[-1][1] - GONE * cold.swing <= least_c or warm.points[-1][1] + GONE * warm.swing >= most_c


def _judge_heading(  # noqa: PLR0917 - with each reading
    look: Look, plan_: Plan, values: _Values, windows: tuple[Window, Window], reading: Fresh, *, held: bool
) -> None:
    """Whether a limit will be reached within the time that it takes to respond, if the air goes on as it does. held: it settles after a door."""
    machine, target_c = plan_.needs.machine, None if plan_.needs.dry_bulb_c is None else plan_.needs.dry_bulb_c.target
    low_c, high_c = values[0], values[1]
    if low_c is None or high_c is None or target_c is None:
        return
    for limit in plan_.headings:
        value_c = high_c if limit.side > 0 else low_c
        within_s = limit.rule.respond_min * 60.0
        ahead = None
        # The window's means outlast their cause: air that is home by now, swing and all, or beyond the limit, heads nowhere.
        window = windows[limit.side > 0]
        if (value_c - target_c) * limit.side > -window.swing and (value_c - limit.limit) * limit.side <= 0.0:
            ahead = leaves(window, limit.limit, look.now.mono_s, target_c, within_s)
        if ahead is None and limit.key not in look.state.alarms:
            continue
        about: About = ""
        if ahead is not None:
            verdict = OUT
            about = Heading(value_c, limit.limit, ahead.seconds_until)
        else:
            alarm = look.state.alarms.get((machine, limit.rule.foretells or ""))
            told = alarm is not None and alarm.condition  # then it is there, and no longer ahead
            verdict = BETWEEN if _verdict(limit, value_c) == OUT and not told else IN
        known = ahead is not None and (
            _was_there(look, limit)
            or _stands_still(look, machine, value_c)
            or _goes_there(look, limit, windows[limit.side > 0])
            or _comes_home(
                look,
                limit,
                gone_k=(windows[limit.side > 0].points[-1][1] - target_c) * limit.side,
                of_k=(limit.limit - target_c) * limit.side,
            )
        )
        judge(look, limit.key, Judgement(verdict, reading.at, about=about), held=held or known)


def _was_there(look: Look, limit: Limit) -> bool:
    """Whether what lies ahead was told within the time that the line is drawn through: it comes and goes, and is no longer ahead."""
    alarm = look.state.alarms.get((limit.key[0], limit.rule.foretells or ""))
    return alarm is not None and alarm.gone_mono_s is not None and look.now.mono_s - alarm.gone_mono_s <= LATE_S


def _stands_still(look: Look, machine: str, value_c: float) -> bool:
    """Whether the probe whose value is judged has said nothing else for as long as a tail is: only its mean still goes on, to there."""
    for probe in in_service(look, machine):
        known = look.state.probe(probe.key)
        track = None if known.trail is None else known.trail.dry_bulb
        if known.heard is not None and known.heard.dry_bulb_c == value_c and track is not None:
            return track.mono_s - track.run_s >= TAIL_S
    return False


def _goes_there(look: Look, limit: Limit, window: Window) -> bool:
    """Whether the means go as far by themselves: of a machine that is sampled about as often as it switches they wander for hours."""
    means = look.state.machine(limit.key[0]).means
    mean = means[limit.span] if limit.span < len(means) else None
    if mean is None or mean.sway is None or mean.sway.held_s < SWAY_LEAST_S:
        return False
    return (window.points[-1][1] - mean.sway.middle) * limit.side <= mean.sway.reach


def _comes_home(look: Look, limit: Limit, *, gone_k: float, of_k: float) -> bool:
    """Whether the air fell so lately, though no door was seen, that warm means may be of its way home: until half of the way to the limit is gone."""
    seen = look.state.machine(limit.key[0]).watch
    if limit.side < 0 or seen is None or look.now.mono_s >= seen.dipped_s + SETTLE_S:
        return False
    return gone_k < HALFWAY * of_k


def _stands(look: Look, limit: Limit) -> bool:
    alarm = look.state.alarms.get(limit.key)
    return alarm is not None and alarm.condition


def _waits(look: Look, plan_: Plan, outside: tuple[Limit, float]) -> bool:
    """Whether air beyond that limit is what a door did to it, and still on its way back."""
    limit, mono_s = outside[0], look.now.mono_s
    seen = look.state.machine(plan_.needs.machine).watch or _UNSEEN
    if limit.quantity == 1:  # also of what is too damp: eggs are sprayed while it is open
        return settles(seen, mono_s) or (limit.side < 0 and holds(seen, mono_s))
    if limit.side > 0:
        return dangerous_heat(limit.rule) and _overshoots(look, plan_, outside)
    return holds(seen, mono_s)


def _outside(plan_: Plan, values: _Values) -> tuple[Limit, float] | None:
    """The first limit of an alarm that the air is beyond: after an opening a warning may take its time."""
    for limit in plan_.limits:
        value = values[limit.quantity * 2 + (limit.side > 0)]
        if value is not None and limit.rule.level in (ALARM, LETHAL) and _verdict(limit, value) == OUT:
            return limit, value
    return None


def _end_handling(look: Look, plan_: Plan, outside: tuple[Limit, float] | None, *, reading: Fresh) -> None:
    """The declared time is over: a person is told that the air did not come back, or nobody is told anything."""
    machine = plan_.needs.machine
    key = (machine, HANDLING_OVER)
    if outside is not None:
        limit, value = outside
        alarm = look.state.alarms.get(limit.key)
        if alarm is not None and alarm.condition:
            return  # which tells it
        since_s = None if alarm is None else alarm.pending_mono_s
        if since_s is not None and look.now.mono_s - since_s >= limit.rule.on_delay_s:
            return  # its own alarm's delay has run underneath: that one tells it, now
        quantity = DRY_BULB if limit.quantity == 0 else plan_.humid
        judge(look, key, Judgement(OUT, reading.at, value, limit.limit, quantity))
        return
    if key in look.state.alarms:
        judge(look, key, Judgement(IN, reading.at))
        if look.state.alarms[key].condition:
            return  # not yet back for long enough
    known = look.state.machine(machine)
    known.handling = known.cool_to_c = None
    look.out.handlings[machine] = None
    look.out.events.append(Event(look.now.utc, "handling", machine, what=WorkOver()))


def _air(look: Look, plan_: Plan, probes: Sequence[Probe]) -> tuple[_Values, tuple[str, ...], _Each]:
    """The values to judge by, the probes that they are of, and those of each.

    One probe is itself. Of two the worse counts, for they cannot both be believed. Of three and more, the median.
    """
    dry: list[float] = []
    humid: list[float] = []
    seen: list[str] = []
    states, mono_s, by = look.state.probes, look.now.mono_s, plan_.humid
    for probe in probes:
        key = probe.key
        known = states.get(key)
        heard = None if known is None else known.heard
        if heard is None or mono_s - heard.mono_s > probe.silence_s:
            continue
        dry_bulb_c, rh = heard.dry_bulb_c, heard.rh_pct
        dry.append(dry_bulb_c)
        seen.append(key)
        if rh is not None and by:
            if not 0.0 <= rh <= 100.0:
                rh = _scaled(rh)
            humid.append(wet_bulb_c(dry_bulb_c, rh, look.site.pressure_kpa) if by == WET_BULB else rh)
    low_c, high_c = _low_high(dry)
    driest, dampest = _low_high(humid)
    return (low_c, high_c, driest, dampest), tuple(seen), (dry, humid)


def _scaled(rh_pct: float) -> float:
    """A humidity as air can have it: a sensor may say a little more than saturation."""
    return 0.0 if rh_pct < 0.0 else 100.0 if rh_pct > 100.0 else rh_pct


def _low_high(values: list[float]) -> tuple[float | None, float | None]:
    if len(values) == 1:
        return values[0], values[0]
    if not values:
        return None, None
    if len(values) > 2:
        found = middle(values)
        return found, found
    return min(values), max(values)


def _lockdown_humidity(look: Look, machine: str, plan_: Plan, humid: float | None) -> None:  # noqa: PLR0917 - with each reading
    """Once the lockdown humidity is reached it was raised: from then on low humidity is only low humidity."""
    key = (machine, NOT_RAISED)
    alarm = look.state.alarms.get(key)
    limit = next((li for li in plan_.limits if li.key == key), None)
    if humid is None or limit is None or humid < limit.limit or (alarm is not None and alarm.condition):
        return
    known = look.state.machine(machine)
    known.reached |= frozenset(plan_.awaited)
    known.plan = None
    plan(look, machine)
