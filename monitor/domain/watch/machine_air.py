"""One machine's air against what its eggs need: limits passed, limits that will be passed, a door that is open."""

from __future__ import annotations

from datetime import datetime, timedelta
from statistics import median

from monitor.domain.air.psychrometrics import vapour_kpa, wet_bulb_c
from monitor.domain.air.units import show_temperature
from monitor.domain.alarms.alarm import BETWEEN, IN, OUT, Judgement
from monitor.domain.needs.bands import DRY_BULB, WET_BULB
from monitor.domain.needs.rules import ABOVE, ALARM, HANDLING_OVER, NOT_RAISED, Rule
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import FAIL, Now
from monitor.domain.signs.heading import Window, leaves
from monitor.domain.signs.opening import AT_WORK, AWAITED, BACK, NOT_BACK, Watch, holds, outcome, watch
from monitor.domain.state.known import Limit, Plan, State
from monitor.domain.state.memory import Heard
from monitor.domain.state.record import Event, Group
from monitor.domain.watch.deciding import judge
from monitor.domain.watch.egg_felt import judge_eggs
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.planning import plan
from monitor.domain.watch.sensors import compare_sensors, judge_sensor
from monitor.domain.watch.silence import heard_again

_UNSEEN = Watch()
_NO_WINDOWS = (Window(), Window())
# Dry bulb to judge low limits by and to judge high ones by, then humidity likewise.
_Values = tuple[float | None, float | None, float | None, float | None]


def dangerous_heat(rule: Rule) -> bool:
    """No work at an open machine makes it too hot: this is never held back."""
    return rule.quantity == DRY_BULB and rule.side == ABOVE and rule.level == ALARM


def judge_readings(state: State, site: Site, fresh: list[Fresh], now: Now, out: Group) -> None:
    """What is news: each sensor, then the air of each machine that a fit reading came from."""
    for reading in fresh:
        _adopt(state, site, reading, now, out)
        judge_sensor(state, site, reading, now, out)
    for machine in dict.fromkeys(r.probe.machine for r in fresh):
        plan_ = plan(state, site, machine, now, out)
        here = fresh if len(fresh) == 1 else [r for r in fresh if r.probe.machine == machine]
        if len(site.by_machine[machine]) > 1:
            compare_sensors(state, site, machine, now, out)
        values, seen = _air(state, site, machine, plan_, now)
        door_open = _watch_door(state, site, plan_, values[0], here, now, out)
        newest = next((r for r in reversed(here) if r.quality.dry_bulb_fit), None)
        if (
            newest is not None and plan_.limits
        ):  # what is held or failed proves nothing: the air alarms stay as they are
            _judge_air(state, site, plan_, values, seen, door_open, newest, now, out)


def _adopt(state: State, site: Site, reading: Fresh, now: Now, out: Group) -> None:
    """The reading as the newest of its probe, as far as it is fit; and a sign of life in any case."""
    key, quality = reading.probe.key, reading.quality
    # One reading after a long silence may be the last for as long: it takes two in time to be speaking again.
    life = state.life.get(key)
    steady = life is not None and now.mono_s - life <= reading.probe.silence_s
    state.life[key] = now.mono_s
    if quality.dry_bulb_fit:
        before = state.heard.get(key)
        rh_pct = reading.rh_pct if quality.rh_fit else None
        humid_mono_s = now.mono_s if rh_pct is not None else None if before is None else before.humid_mono_s
        state.heard[key] = Heard(now.mono_s, reading.at, reading.dry_bulb_c, rh_pct, humid_mono_s)
    heard_again(state, site, reading, steady, now, out)


def _watch_door(
    state: State, site: Site, plan_: Plan, dry_bulb_c: float | None, fresh: list[Fresh], now: Now, out: Group
) -> bool:
    """Whether the machine has just been opened, as its air shows: then what is too cold or too dry may wait, but never for long."""
    machine = plan_.needs.machine
    if not plan_.limits:
        return False
    seen = state.watches.get(machine, _UNSEEN)
    # One probe of the machine leads, the first that has a humidity to tell, or the shape would be drawn by two hands.
    leader = next((p for p in site.by_machine[machine] if _has_humidity(state.heard.get(p.key))), None)
    lead = next((r for r in fresh if r.probe == leader), None)
    if lead is None or dry_bulb_c is None or max(lead.quality.dry_bulb_flag, lead.quality.rh_flag) >= FAIL:
        return holds(seen, now.mono_s)
    if lead.quality.held:  # a door's first reading is a jump like any other: it waits to be judged, but not to be seen
        dry_bulb_c = min(dry_bulb_c, lead.dry_bulb_c)
    kpa = vapour_kpa(lead.dry_bulb_c, min(max(lead.rh_pct or 0.0, 0.0), 100.0))
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
    state: State,
    site: Site,
    plan_: Plan,
    values: _Values,
    seen: tuple[str, ...],
    door_open: bool,
    reading: Fresh,
    now: Now,
    out: Group,
) -> None:
    """Compare the machine's air with each of its limits; of what is quiet and within, nothing is made."""
    alarms, machine = state.alarms, plan_.needs.machine
    work = ""
    if machine in state.handlings:
        outside = _outside(plan_, values)
        watched = state.watches.get(machine, _UNSEEN)
        work = outcome(state.handlings[machine], now, outside is not None, watched)
        if work in (BACK, NOT_BACK):
            _end_handling(state, site, plan_, outside, reading, now, out)
    low_held = door_open or work == AWAITED
    for limit in plan_.limits:
        value = values[limit.quantity * 2 + (limit.side > 0)]
        if value is None:
            continue
        verdict = _verdict(limit, value)
        if verdict != OUT and limit.key not in alarms:
            continue
        quantity = DRY_BULB if limit.quantity == 0 else plan_.humid
        judgement = Judgement(verdict, _since(reading, limit, verdict), value, limit.limit, quantity)
        held = (low_held and limit.side < 0) or (work == AT_WORK and not dangerous_heat(limit.rule))
        judge(state, site, limit.key, judgement, now, out, held=held)
    if not door_open and not work:
        _judge_heading(state, site, plan_, values, seen, reading, now, out)
    if plan_.eggs and values[0] is not None and values[1] is not None:
        held = low_held or work == AT_WORK
        judge_eggs(state, site, plan_, (values[0] + values[1]) / 2.0, reading, now, out, held)
    if plan_.awaited:
        _lockdown_humidity(state, site, machine, plan_, values[2], now, out)


def _verdict(limit: Limit, value: float) -> int:
    if limit.side > 0:
        return OUT if value > limit.limit else BETWEEN if value > limit.back else IN
    return OUT if value < limit.limit else BETWEEN if value < limit.back else IN


def _since(reading: Fresh, limit: Limit, verdict: int) -> datetime:
    """When a limit was first seen passed: by the reading before, where that had to wait for this one and was beyond it too."""
    before = reading.confirmed
    if before is None or limit.quantity != 0 or verdict != OUT or not before.dry_bulb_held:
        return reading.at
    return before.at if (before.dry_bulb_c - limit.limit) * limit.side > 0.0 else reading.at


def _judge_heading(
    state: State,
    site: Site,
    plan_: Plan,
    values: _Values,
    seen: tuple[str, ...],
    reading: Fresh,
    now: Now,
    out: Group,
) -> None:
    """Whether a limit will be reached within the time that it takes to respond, if the air goes on as it does."""
    machine, target_c = plan_.needs.machine, None if plan_.needs.dry_bulb_c is None else plan_.needs.dry_bulb_c.target
    windows = state.windows.get(machine, _NO_WINDOWS)
    if seen != state.seen_by.get(machine):  # another set of probes is another line
        windows, state.seen_by[machine] = _NO_WINDOWS, seen
    low_c, high_c = values[0], values[1]
    if low_c is None or high_c is None:
        return
    windows = state.windows[machine] = (windows[0].seen(now.mono_s, low_c), windows[1].seen(now.mono_s, high_c))
    if target_c is None:
        return
    for limit in plan_.headings:
        value_c = high_c if limit.side > 0 else low_c
        within_s = limit.rule.respond_min * 60.0
        ahead = leaves(windows[limit.side > 0], limit.limit, now.mono_s, target_c, within_s)
        if ahead is None and limit.key not in state.alarms:
            continue
        about = ""
        if ahead is not None:
            verdict = OUT
            shown, limit_shown = (show_temperature(c, site.unit) for c in (value_c, limit.limit))
            about = f"{shown} now, {limit_shown} in {max(1.0, ahead.seconds_until / 60.0):.0f} min or more"
        else:
            alarm = state.alarms.get((machine, limit.rule.foretells or ""))
            told = alarm is not None and alarm.condition  # then it is there, and no longer ahead
            verdict = BETWEEN if _verdict(limit, value_c) == OUT and not told else IN
        judge(state, site, limit.key, Judgement(verdict, reading.at, about=about), now, out)


def _outside(plan_: Plan, values: _Values) -> tuple[Limit, float] | None:
    """The first limit that the air is beyond; of humidity only what alarms, for after an opening it takes its time."""
    for limit in plan_.limits:
        value = values[limit.quantity * 2 + (limit.side > 0)]
        mild = limit.quantity == 1 and limit.rule.level != ALARM
        if value is not None and not mild and _verdict(limit, value) == OUT:
            return limit, value
    return None


def _end_handling(
    state: State, site: Site, plan_: Plan, outside: tuple[Limit, float] | None, reading: Fresh, now: Now, out: Group
) -> None:
    """The declared time is over: a person is told that the air did not come back, or nobody is told anything."""
    machine = plan_.needs.machine
    key = (machine, HANDLING_OVER)
    if outside is not None:
        limit, value = outside
        alarm = state.alarms.get(limit.key)
        since_s = None if alarm is None or limit.rule.level != ALARM else alarm.pending_mono_s
        if since_s is not None and now.mono_s - since_s >= limit.rule.on_delay_s:
            return  # its own alarm's delay has run underneath: that one tells it, now
        quantity = DRY_BULB if limit.quantity == 0 else plan_.humid
        judge(state, site, key, Judgement(OUT, reading.at, value, limit.limit, quantity), now, out)
        return
    if key in state.alarms:
        judge(state, site, key, Judgement(IN, reading.at), now, out)
        if state.alarms[key].condition:
            return  # not yet back for long enough
    del state.handlings[machine]
    out.handlings[machine] = None
    out.events.append(Event(now.utc, "handling", machine, "over, the air is back"))


def _air(state: State, site: Site, machine: str, plan_: Plan, now: Now) -> tuple[_Values, tuple[str, ...]]:
    """The values to judge by, and the probes that they are of.

    One probe is itself. Of two the worse counts, for they cannot both be believed. Of three and more, the median.
    """
    dry: list[float] = []
    humid: list[float] = []
    seen: list[str] = []
    for probe in site.by_machine[machine]:
        heard = state.heard.get(probe.key)
        if heard is None or now.mono_s - heard.mono_s > probe.silence_s:
            continue
        dry.append(heard.dry_bulb_c)
        seen.append(probe.key)
        if heard.rh_pct is not None and plan_.humid:
            rh = min(max(heard.rh_pct, 0.0), 100.0)  # a sensor may say a little more than saturation
            humid.append(wet_bulb_c(heard.dry_bulb_c, rh, site.pressure_kpa) if plan_.humid == WET_BULB else rh)
    return (*_low_high(dry), *_low_high(humid)), tuple(seen)


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
