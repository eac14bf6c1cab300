"""Each machine against what its eggs need now: what wants somebody first, then the machines; where nothing is wrong in a line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.batch import whole_day
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import FORETELLS_S, OF_TURNING, SLOW_S, STILL, Probe, Site
from monitor.domain.wall import WIDTH, filled, local_time, wall_time
from monitor.shown.about import NOT_USABLE, SWITCH_WORDS
from monitor.shown.form import rough_span
from monitor.shown.happened import TURNED, WELL
from monitor.shown.now.alarms import WANTS_YOU, alarm_line, alarm_lines, matter_now, rank
from monitor.shown.values import (
    DRAW_DOWN_WORDS,
    QUANTITIES,
    finer_beside,
    probe_words,
    show_band,
    show_estimate,
    show_figure,
    show_value,
    stage_words,
    subject_name,
)

if TYPE_CHECKING:
    from monitor.domain.watch.view import (
        AlarmView,
        CoolingView,
        MachineView,
        OccupantView,
        ProbeView,
        RoomView,
        SwitchView,
    )

_NOTHING = (True, True, 0, True, 0)  # the rank of no alarm: after the mildest
_NAMED = 3  # alarms in the first line; each stands with its machine as well


def slow_lines(site: Site) -> list[str]:
    """A line for each interval at which probes of machines with eggs speak so seldom that heat is told late, with those probes."""
    alike: dict[str, list[str]] = {}
    for probe in site.probes.values():
        if probe.slow and site.machines[probe.machine].holds_eggs:
            costs = _slow(probe, f" (at {SLOW_S:g} s, 2)", f" (at {FORETELLS_S:g} s it is)")
            alike.setdefault(costs, []).append(probe_words(probe.key, site))
    return [
        f"{names[0]} {costs}"
        if len(names) == 1
        else f"{len(names)} probes {costs.replace('speaks', 'speak', 1)}: {', '.join(names)}"
        for costs, names in alike.items()
    ]


def _slow(probe: Probe, in_time: str = "", in_advance: str = "") -> str:
    """What its interval costs; in_time, in_advance: what would do, for whoever sets it."""
    late = f'speaks each {probe.interval_s:g} s: "too hot" may come {probe.hot_within_s / 60.0:.0f} min late{in_time}'
    return late if probe.foretells else f"{late}, and slow heat is hardly ever foretold{in_advance}"


def fan_lines(site: Site) -> list[str]:
    """A line with each machine that has a fan, eggs and one probe."""
    alone = [
        id_
        for id_, machine in site.machines.items()
        if machine.holds_eggs and machine.air != STILL and len(site.by_machine.get(id_, ())) == 1
    ]
    return [f"one sensor each in {', '.join(alone)}: only two, at two heights, see a fan that stopped"] if alone else []


def gone_lines(gone: Mapping[str, str], site: Site) -> list[str]:
    """A line for each probe that is configured no longer, by the machine that it looked at."""
    return [
        f"{key} looked at {site.machines[machine].name if machine in site.machines else machine} and is configured no longer:"
        " what it said then stays in the batches' figures"
        for key, machine in gone.items()
    ]


def room_text(room: RoomView, site: Site, *, full: bool = False, columns: int = WIDTH) -> str:
    """The room, so many columns wide. full: all of each machine, also where nothing is wrong."""
    views = sorted(
        room["machines"],
        key=lambda view: (_calm(view), min((rank(a, site) for a in view["alarms"]), default=_NOTHING)),
    )
    now = datetime.fromisoformat(views[0]["at"])
    lines = [_answer(room, site), ""]
    for view in views:
        calm = _calm(view)
        lines += [_folded(view, site)] if calm and not full else [*machine_lines(view, site), ""]
    lines += [f"! {alarm_line(alarm, site, now, live=True)}" for alarm in room["others"]]
    if coolings := room.get("coolings"):
        lines += ["", *(f"Cooled: {cooling_words(each, site, now)}" for each in coolings)]
    if not full and any(map(_calm, views)):
        lines += ["", "All of each machine: eggroom room --full"]
    text = "\n".join(filled(line, columns) for line in lines).rstrip()
    return text.replace("\n\n\n", "\n\n")


def _calm(view: MachineView) -> bool:
    """Whether there is nothing about a machine that somebody should read."""
    said = view["alarms"] or view["handling_until"] or view["settling_until"]
    due = any(occupant.get("draw_down_due") or occupant.get("move_by") for occupant in view["batches"])
    unseen = not view["probes"] or any(probe["silent"] for probe in view["probes"])
    turned = any(switch["wrong"] and switch["of"] != OF_TURNING for switch in view.get("switches", ()))
    return not (said or due or unseen or turned or any(_beyond(probe, view["bands"]) for probe in view["probes"]))


def _beyond(probe: ProbeView, bands: Mapping[str, Mapping[str, float]]) -> bool:
    """Whether its air is out of what is told as the target, though no alarm says so yet."""
    for quantity, band in bands.items():
        value = probe.get(quantity)
        low, high = Band(**band).calm
        if isinstance(value, int | float) and (
            (low is not None and value < low) or (high is not None and value > high)
        ):
            return True
    return False


def _answer(room: RoomView, site: Site) -> str:
    """`Setter 1: too hot (No. 1). And 2 more.`, the worst first; else that nothing is new."""
    alarms = [*(a for view in room["machines"] for a in view["alarms"]), *room["others"]]
    wanted = {a["number"]: a for a in alarms if a["state"] in WANTS_YOU}
    if wanted:
        worst = sorted(wanted.values(), key=lambda a: rank(a, site))
        more = [f"And {len(worst) - _NAMED} more."] if len(worst) > _NAMED else []
        return " ".join([*(f"{_matter(a, site)} (No. {a['number']})." for a in worst[:_NAMED]), *more])
    out = {each["subject"] for each in room.get("out_of_service", ())}
    silent = [
        view["name"]
        for view in room["machines"]
        if view["machine"] not in out and any(probe["silent"] and probe["probe"] not in out for probe in view["probes"])
    ]
    if silent:
        return f"No reading: {', '.join(silent)}."
    others = len({a["number"] for a in alarms})
    stand = "stands" if others == 1 else "stand"
    return f"Nothing new; {others} {stand}, seen or quiet." if others else "Nothing new."


def _matter(alarm: AlarmView, site: Site) -> str:
    end = ", over" if alarm["ended"] is not None else ", well now" if "well_since" in alarm else ""
    return f"{subject_name(alarm['subject'], site)}: {matter_now(alarm, site.rules[alarm['rule']])}{end}"


def _folded(view: MachineView, site: Site) -> str:
    """`Hatcher 1: 37.5 °C, 62 %RH; hen-2 day 19 lockdown`."""
    shown = []
    for probe in view["probes"]:
        figures = [(q, probe.get(q)) for q in (DRY_BULB, RH)]
        told = ", ".join(show_figure(q, value, site.unit) for q, value in figures if isinstance(value, int | float))
        shown.append(f"{_place(probe, view['probes'])}{told}")
    return f"{view['name']}: {', '.join(shown)}; {_inside(view)}"


def _inside(view: MachineView) -> str:
    batches = ", ".join(
        f"{b['batch']} day {whole_day(b['day'])} {stage_words(b['stage'])}{_reminded(b)}" for b in view["batches"]
    )
    return batches or ("watched only" if view["kind"] not in ("setter", "hatcher") else "empty")


def _reminded(occupant: OccupantView) -> str:
    return f" ({DRAW_DOWN_WORDS})" if occupant.get("draw_down_due") else ""


def _place(probe: ProbeView, beside: Sequence[ProbeView]) -> str:
    """Where it is, as the house calls it; nothing of the only one of its machine."""
    return f"{probe['position'] or probe['probe']} " if len(beside) > 1 else ""


def machine_lines(view: MachineView, site: Site) -> list[str]:
    """One machine in full, what is wrong first; lines of at most 72 characters, but for those of alarms."""
    now, lines = datetime.fromisoformat(view["at"]), [f"{view['name']}: {_inside(view)}"]
    for alarm in sorted(view["alarms"], key=lambda a: rank(a, site)):
        wanted = alarm["state"] in WANTS_YOU
        lines += [
            f"  {line}"
            for line in (
                alarm_lines(alarm, site, now, live=True) if wanted else [alarm_line(alarm, site, now, live=True)]
            )
        ]
    if view["handling_until"] is not None:
        until = _time(view["handling_until"], site, now)
        lines.append(f"  you work at it until {until}: air alarms wait, heat does not")
    if view["settling_until"] is not None:
        until = _time(view["settling_until"], site, now)
        lines.append(f"  lockdown began: humidity may rise until {until}")
    for occupant in view["batches"]:
        if (by := occupant.get("move_by")) is not None:
            lines.append(f"  {occupant['batch']}: move it for its lockdown by {_time(by, site, now)}")
    lines += [f"  {_switch(switch, site, now)}" for switch in view.get("switches", ())]
    bands = {name: Band(**limits) for name, limits in view["bands"].items()}
    for probe in view["probes"]:
        place = _place(probe, view["probes"]).strip()
        if place:
            lines.append(f"  {place}:")
        lines += [f"{'    ' if place else '  '}{line}" for line in _probe_lines(probe, bands, site)]
    for egg in view["eggs"]:
        shown = show_estimate(egg["egg_c"], (egg["egg_low_c"], egg["egg_high_c"]), site.unit)
        lines.append(f"  {egg['batch']}: {shown}, estimate; follows the air within {egg['tau_min']} min")
    return lines


def cooling_words(cooling: CoolingView, site: Site, now: datetime) -> str:
    """`goose-1 at 08:00 and 18:00 for 30 min to 30.0 °C, day 8 to 26; next 18:00`; without the last where it is not done today or tomorrow."""
    until = "" if cooling["to_c"] is None else f" to {show_figure(DRY_BULB, cooling['to_c'], site.unit)}"
    days = "" if cooling["first_day"] is None else f", day {cooling['first_day']} to {cooling['last_day']}"
    at = "" if cooling["next"] is None else f"; next {_time(cooling['next'], site, now)}"
    return f"{cooling['of']} at {' and '.join(cooling['at'])} for {cooling['for_min']:g} min{until}{days}{at}"


def _switch(view: SwitchView, site: Site, now: datetime) -> str:
    """`door open since 10:42`, `mains there`, `water: its switch is not believed`."""
    if view["wrong"] is None or view["since"] is None:
        return f"{SWITCH_WORDS[view['of']]}: its switch ({view['switch']}) is not believed, or says nothing"
    if not view["wrong"] and view["of"] != OF_TURNING:
        return WELL[view["of"]]
    since = local_time(datetime.fromisoformat(view["since"]), site.zone, now)
    return f"{TURNED[view['of']][not view['wrong']]} since {since}"


def _time(utc: str, site: Site, now: datetime) -> str:
    return wall_time(datetime.fromisoformat(utc), site.zone, now)


def _probe_lines(probe: ProbeView, bands: dict[str, Band], site: Site) -> Iterator[str]:
    """Its air against what is needed. What it read before it fell silent is told as that, and never first."""
    if probe["dry_bulb_c"] is None:
        yield NOT_USABLE if probe.get("unusable") else "no reading yet"
        return
    if probe["silent"]:
        figures = [(q, probe.get(q)) for q in (DRY_BULB, RH)]
        last = ", ".join(show_figure(q, value, site.unit) for q, value in figures if isinstance(value, int | float))
        what = "NOTHING USABLE" if probe.get("unusable") else "NO READING"
        yield f"{what} for {rough_span(probe['age_s'] or 0.0)}; the last was {last}"
        return
    for quantity, words in QUANTITIES:
        value, band = probe.get(quantity), bands.get(quantity)
        if not isinstance(value, int | float):
            continue
        if quantity == RH and band is None and "rh_band_pct" in probe:
            band = Band(**probe["rh_band_pct"])
        finer = 0 if band is None else finer_beside(quantity, value, band, unit=site.unit)
        shown = show_figure(quantity, value, site.unit, finer=finer)
        yield f"{words:<11} {shown:>8}  {against(value, band, quantity=quantity, unit=site.unit)}".rstrip()
    if probe.get("wick_wet_bulb_c") is not None:
        yield f"{'on a wick':<11} {show_value(DRY_BULB, probe['wick_wet_bulb_c'], site.unit):>8}"
    known = site.probes.get(probe["probe"])
    if known is not None and known.slow and site.machines[known.machine].holds_eggs:
        yield _slow(known)


def against(value: float, band: Band | None, *, quantity: str, unit: str) -> str:
    """A value against its target, in words: `target 37.5 to 38.1`, `0.8 over, target 37.5 to 38.1`."""
    if band is None:
        return ""
    low, high = band.calm
    scale = 1.8 if unit == "F" and quantity != RH else 1.0
    finer = finer_beside(quantity, value, band, unit=unit)
    digits = finer + (0 if quantity == RH else 1)
    words = f"target {show_band(quantity, band, unit, finer=finer)}"
    if high is not None and value > high:
        return f"{(value - high) * scale:.{digits}f} over, {words}"
    if low is not None and value < low:
        return f"{(low - value) * scale:.{digits}f} under, {words}"
    return words
