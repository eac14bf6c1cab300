"""A transition put into words for someone who has just been woken: machine, what, value and band, since when, which batches,
likely harm, first act, and the number to answer with. Under 200 characters before any link.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from monitor.domain.air.units import celsius_to_fahrenheit
from monitor.domain.alarms.alarm import SUPPRESSED, Alarm, Transition
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB, Needs
from monitor.domain.needs.batch import subject_words
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Site
from monitor.domain.wall import printable

MAX_TEXT = 200  # characters before the link: about what a locked phone shows (judgement)
MAX_TITLE = 64  # a machine's longest name and the longest words about it
STILL_STANDING = "still standing"  # the cause of a transition, or of a reminder, that says nothing new
_VALUES = (DRY_BULB, RH, WET_BULB, EGG)
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one contact about one transition; it lives in the outbox until delivered.

    id grows by one for each notice. dedupe names the transition, the contact and the step, so meeting it twice changes
    nothing. closing is True for "back to normal".
    """

    id: int
    dedupe: str
    contact: str
    priority: str
    title: str
    text: str
    created: datetime
    alarm_number: int
    closing: bool = False
    link: str = ""


def word(transition: Transition, site: Site, needs: Needs | None, doubtful: bool = False) -> tuple[str, str]:
    """(title, text) of a transition. The parts come in the order of their worth; what does not fit is cut from the end.

    doubtful: a sensor behind it may be wrong; it is told, with that said.
    """
    alarm, rule = transition.alarm, site.rules[transition.alarm.rule]
    name = subject_name(alarm.subject, site)
    number = f"No. {alarm.number}"
    room = MAX_TEXT - len(number)
    if transition.state == SUPPRESSED:
        what = "no longer judged"
        parts = [f"Was {rule.words}; {alarm.suppressed}."]
    elif not alarm.condition:
        what = rule.over
        parts = [f"{_now_value(alarm, site, needs, '. ')}Lasted {_lasted(alarm, transition.at)}{_worst(alarm, site)}."]
    else:
        what = f"STILL {rule.words}" if transition.cause == STILL_STANDING else rule.words
        since = local_time(alarm.since or transition.at, site.zone, transition.at)
        parts = [f"{_now_value(alarm, site, needs, ', ')}since {since}."]
        about = f"{printable(alarm.about)}." if alarm.value is None and alarm.about else ""
        if not about or len(parts[0]) + len(about) + 2 > room:  # what it is about names the batches itself, if it fits
            about = _batches(needs)
        parts += ["Sensor doubtful." if doubtful else "", about, rule.consequence, rule.first_act]
    if needs is not None and subject_words(alarm.subject):  # of a batch: in which machine, where there is room
        place = site.machines[needs.machine].name
        if len(f"{name} in {place}: {what}") <= MAX_TITLE:
            name = f"{name} in {place}"
        else:
            parts.append(f"In {place}.")
    title = f"{_cut(name, MAX_TITLE - len(what) - 2)}: {what}"
    if not title.startswith(name):
        parts.insert(1, f"{name}.")
    text = ""
    for part in parts:
        if part and len(text) + len(part) + 1 <= room:
            text += f"{part} "
    return title, text + number


def subject_name(subject: str, site: Site) -> str:
    """What people call it: a machine's name, a probe in its machine, a node, a batch or an egg of it, or the room as a whole."""
    machine = site.machines.get(subject)
    if machine is not None:
        return machine.name
    probe = site.probes.get(subject)
    if probe is not None:
        return f"{site.machines[probe.machine].name} ({subject})"
    if subject in site.by_node:
        machines = sorted({site.machines[p.machine].name for p in site.by_node[subject]})
        return f"{', '.join(machines)} ({subject})"
    return "All machines" if subject == "site" else subject_words(subject) or subject


def show_value(quantity: str, value: float, unit: str) -> str:
    """A value with its unit, as precise as it is worth: 37.8 °C, 100.0 °F, 55 %RH, wet bulb 29.4 °C."""
    if quantity == RH:
        return f"{value:.0f} %RH"
    shown = f"{celsius_to_fahrenheit(value):.1f} °F" if unit == "F" else f"{value:.1f} °C"
    if quantity == EGG:
        return f"egg about {shown}"
    return f"wet bulb {shown}" if quantity == WET_BULB else shown


def show_band(quantity: str, band: Band, unit: str) -> str:
    """The band a person aims for, its warning limits (else its alarm limits): `37.5 to 38.1`."""
    low = band.low_warning if band.low_warning is not None else band.low_alarm
    high = band.high_warning if band.high_warning is not None else band.high_alarm

    def figure(value: float) -> str:
        if quantity == RH:
            return f"{value:.0f}"
        return f"{celsius_to_fahrenheit(value) if unit == 'F' else value:.1f}"

    if low is None and high is None:
        return "none"
    if low is None:
        return f"under {figure(high)}" if high is not None else "none"
    return f"over {figure(low)}" if high is None else f"{figure(low)} to {figure(high)}"


def local_time(at: datetime, zone: tzinfo, seen_from: datetime) -> str:
    """The time people read on the wall, with the day when it is not obvious from the hour alone."""
    local, away = at.astimezone(zone), abs(seen_from - at)
    if away < timedelta(hours=20):
        return f"{local:%H:%M}"
    return f"{_DAYS[local.weekday()]} {local:%H:%M}" if away < timedelta(days=6) else f"{local:%Y-%m-%d %H:%M}"


def _now_value(alarm: Alarm, site: Site, needs: Needs | None, joint: str) -> str:
    if alarm.value is None or alarm.about not in _VALUES:
        return ""
    if alarm.about == EGG:  # an estimate has a limit, and no band that anyone sets
        limit = "" if alarm.limit is None else f", limit {show_value(DRY_BULB, alarm.limit, site.unit)}"
        return f"{show_value(EGG, alarm.value, site.unit)}{limit if alarm.condition else ''}{joint}"
    band = None
    if needs is not None:
        band = {DRY_BULB: needs.dry_bulb_c, RH: needs.rh_pct, WET_BULB: needs.wet_bulb_c}[alarm.about]
    aim = f", band {show_band(alarm.about, band, site.unit)}" if band is not None else ""
    return f"{show_value(alarm.about, alarm.value, site.unit)}{aim}{joint}"


def _worst(alarm: Alarm, site: Site) -> str:
    if alarm.worst is None or alarm.about not in _VALUES:
        return ""
    return f", worst {show_value(alarm.about, alarm.worst, site.unit)}"


def _lasted(alarm: Alarm, at: datetime) -> str:
    if alarm.since is None:
        return "a while"
    minutes = max(0.0, ((alarm.ended or at) - alarm.since).total_seconds() / 60.0)
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60.0:.1f} h"


def _batches(needs: Needs | None) -> str:
    if needs is None or not needs.occupants:
        return ""
    shown = [f"{o.batch} day {int(o.day)} {o.stage}" for o in needs.occupants[:2]]
    more = len(needs.occupants) - len(shown)
    return ", ".join(shown) + (f" and {more} more." if more > 0 else ".")


def _cut(name: str, length: int) -> str:
    """The name, its end cut where it is too long: what is the matter must stay in the title."""
    return name if len(name) <= length else f"{name[: length - 1]}…"
