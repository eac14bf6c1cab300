"""One machine as it stands: its air against what its eggs need, and its alarms. Looks on; changes nothing."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from monitor.domain.air.psychrometrics import air_state, wick_wet_bulb_c
from monitor.domain.alarms.about import Say, unusable, why_of
from monitor.domain.alarms.alarm import Alarm, state_of
from monitor.domain.alarms.notice import of_hens, quantity_of
from monitor.domain.alarms.out import Out
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB, Needs, Occupant, derived_rh
from monitor.domain.needs.batch import batch_of, counted
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Probe, Site, Switch
from monitor.domain.readings.reading import Now
from monitor.domain.signs.cooling import Cooling, hours_of
from monitor.domain.state.contacts import believed
from monitor.domain.state.cooling import machine_of, next_at
from monitor.domain.state.known import Look, Plan, doubt_of, egg_range_c
from monitor.domain.state.service import judging, watched_less
from monitor.domain.wall import utc_text
from monitor.domain.watch.plan import occupants
from monitor.domain.watch.silence import SAYS_NOTHING, silent_s, trouble_of

if TYPE_CHECKING:  # what a program is told, known to the type checker alone: at run time these are plain mappings
    from typing import NotRequired, TypedDict

    class ToldView(TypedDict):
        """What became of an alarm's messages to one contact: when the last got through, and since when one has not."""

        contact: str
        at: str | None
        not_delivered_since: str | None

    class AlarmView(TypedDict):
        """One alarm: times RFC 3339, None for what it has not."""

        number: int
        subject: str
        rule: str
        state: str
        since: str | None
        ended: str | None
        quantity: str | None
        about: str | None
        value: float | None
        worst: float | None
        limit: float | None
        shelved_until: str | None
        suppressed: str | None
        why: NotRequired[str]  # of a silence, where it is known what it comes of
        value_at: NotRequired[str]  # only of a value that is not of now: when the machine was last heard
        unusable: NotRequired[bool]  # only where messages come, and nothing in them can be judged
        value_range: NotRequired[list[float]]  # of an estimate, where its eggs are followed
        chattering_times: NotRequired[int]  # only of what comes and goes: how often it came
        well_since: NotRequired[str]  # while it is gone: it is over once it was well for long enough
        of_hens: NotRequired[bool]  # only where its limit is published of hens alone, and others are in there
        out_of_service_until: NotRequired[str]  # only where it comes back by itself
        out_of_service_since: NotRequired[str]  # these two only where they were asked for
        out_of_service_by: NotRequired[str | None]
        told: NotRequired[list[ToldView]]  # only where it was asked for

    class AirView(TypedDict):
        """The newest air at a probe; what follows from a humidity only where there is one."""

        dry_bulb_c: float | None
        rh_pct: float | None
        wet_bulb_c: NotRequired[float]
        dew_point_c: NotRequired[float | None]
        vapour_kpa: NotRequired[float]
        deficit_kpa: NotRequired[float]
        wick_wet_bulb_c: NotRequired[float]
        rh_band_pct: NotRequired[dict[str, float]]

    class ProbeView(AirView):
        """One probe."""

        probe: str
        position: str
        age_s: float | None
        silent: bool
        unusable: NotRequired[bool]

    class OccupantView(TypedDict):
        """A batch in a machine."""

        batch: str
        profile: str
        day: float
        stage: str
        draw_down_due: NotRequired[bool]  # only where it is so
        move_by: NotRequired[str]  # only while that time runs

    class EggsView(TypedDict):
        """What a batch's eggs feel."""

        batch: str
        egg_c: float
        egg_low_c: float
        egg_high_c: float
        tau_min: int

    class MachineView(TypedDict):
        """One machine as it stands."""

        machine: str
        name: str
        kind: str
        at: str
        probes: list[ProbeView]
        batches: list[OccupantView]
        bands: dict[str, dict[str, float]]
        eggs: list[EggsView]
        handling_until: str | None
        settling_until: str | None
        alarms: list[AlarmView]
        switches: NotRequired[list[SwitchView]]  # only where it has any

    class SwitchView(TypedDict):
        """What a switch of a machine, or of the house, says; None where it is not believed."""

        switch: str
        of: str
        wrong: bool | None
        since: str | None

    class StayView(TypedDict):
        """A batch's time in one machine."""

        machine: str
        since: str
        until: str | None

    class DeclaredView(TypedDict):
        """A stage that was declared early."""

        stage: str
        at: str

    class BatchView(TypedDict):
        """One batch. day: since the set, cut off at thousandths; of a closed one, at its end."""

        id: str
        profile: str
        set_at: str
        day: float
        eggs: int | None
        numbers: list[int] | None
        split_from: str | None
        note: str
        machine: str | None
        stays: list[StayView]
        declared: list[DeclaredView]
        closed_at: str | None

    class OutView(TypedDict):
        """A probe or a machine that is out of service. until: None where a person puts it back. judged_by: the probes that its machine is still
        judged by, of a machine for what is deadly alone. batches: that are watched less for it, or by nobody."""

        subject: str
        machine: str
        since: str
        until: str | None
        by: str
        judged_by: list[str]
        batches: list[str]

    class RoomView(TypedDict):
        """Every machine, and the alarms that are of none."""

        machines: list[MachineView]
        others: list[AlarmView]
        coolings: NotRequired[list[CoolingView]]  # only where any is declared
        out_of_service: NotRequired[list[OutView]]  # only where anything is, as a whole

    class CoolingView(TypedDict):
        """A cooling of each day: its hours on the house's clock, and when it begins next; None where it does not."""

        of: str
        machine: str | None
        at: list[str]
        for_min: float
        to_c: float | None
        first_day: int | None
        last_day: int | None
        next: str | None
        by: str


def machine_view(look: Look, machine: str, say: Say) -> MachineView:
    """A plain mapping, ready for JSON: unit in each name, RFC 3339 times, None for what is not known. say: words of what an alarm is about."""
    about = look.site.machines[machine]
    known = look.state.machine(machine)
    plan = known.plan
    inside = set() if plan is None else {o.batch for o in plan.needs.occupants}
    subjects = {machine, *_keys(look.site, machine)}
    alarms = [a for a in look.state.alarms.values() if a.subject in subjects or batch_of(a.subject) in inside]
    silent_since = _silent_since(look, machine)
    view: MachineView = {
        "machine": machine,
        "name": about.name,
        "kind": about.kind,
        "at": rfc3339(look.now),
        "probes": [_probe_view(look, probe, plan) for probe in look.site.by_machine.get(machine, ())],
        "batches": [] if plan is None else [_occupant(look.site, o) for o in occupants(look, plan.needs)],
        "bands": {} if plan is None else _bands(plan),
        "eggs": [] if plan is None else _eggs(look, plan),
        "handling_until": None if known.handling is None else utc_text(known.handling.until),
        "settling_until": None
        if plan is None or plan.needs.settling_until is None
        else utc_text(plan.needs.settling_until),
        "alarms": [
            alarm_view(a, say, doubt_of(look, a), needs=None if plan is None else plan.needs, value_at=silent_since)
            for a in alarms
            if state_of(a) != "normal"
        ],
    }
    if switches := [_switch(look, s) for s in look.site.switches.values() if s.machine in ("", machine)]:
        view["switches"] = switches
    return view


def _silent_since(look: Look, machine: str) -> datetime | None:
    """When a machine of which no probe is heard any more last was; None of one that is heard, or never was."""
    probes = look.site.by_machine.get(machine, ())
    if any(silent_s(look, probe.key) <= probe.silence_s for probe in probes):
        return None
    heard = [known.at for probe in probes if (known := look.state.probe(probe.key).heard) is not None]
    return max(heard, default=None)


def cooling_view(look: Look, cooling: Cooling) -> CoolingView:
    """A cooling of each day as a plain mapping."""
    first, last = (None, None) if cooling.days is None else cooling.days
    at = next_at(look, cooling)
    return {
        "of": cooling.of,
        "machine": machine_of(look, cooling),
        "at": hours_of(cooling).split(", "),
        "for_min": round(cooling.for_s / 60.0, 1),
        "to_c": cooling.to_c,
        "first_day": first,
        "last_day": last,
        "next": None if at is None else utc_text(at),
        "by": cooling.by,
    }


def out_view(look: Look, out: Out) -> OutView:
    """What is out of service as a plain mapping."""
    probe = look.site.probes.get(out.subject)
    machine = out.subject if probe is None else probe.machine
    return {
        "subject": out.subject,
        "machine": machine,
        "since": utc_text(out.since),
        "until": None if out.until is None else utc_text(out.until),
        "by": out.by,
        "judged_by": [each.key for each in judging(look, machine)],
        "batches": list(watched_less(look, out.subject)),
    }


def _switch(look: Look, switch: Switch) -> SwitchView:
    contact = believed(look, switch)
    if contact is None:
        return {"switch": switch.key, "of": switch.kind, "wrong": None, "since": None}
    return {"switch": switch.key, "of": switch.kind, "wrong": contact.said, "since": utc_text(contact.since)}


def alarm_view(
    alarm: Alarm,
    say: Say,
    range_c: tuple[float, float] | None = None,
    *,
    needs: Needs | None = None,
    value_at: datetime | None = None,
) -> AlarmView:
    """One alarm as a plain mapping. say: words of what it is about. range_c: between which temperatures an estimated value may be. needs:
    of the machine that it is about. value_at: of when its value is, where that is not now."""
    quantity = quantity_of(alarm.about)
    digits = 1 if quantity == EGG else 3  # an estimate is not worth more
    view: AlarmView = {
        "number": alarm.number,
        "subject": alarm.subject,
        "rule": alarm.rule,
        "state": state_of(alarm),
        "since": None if alarm.since is None else utc_text(alarm.since),
        "ended": None if alarm.ended is None else utc_text(alarm.ended),
        "quantity": quantity or None,
        "about": None if quantity else say(alarm.about) or None,
        "value": _rounded(alarm.value, digits),
        "worst": _rounded(alarm.worst, digits),
        "limit": _rounded(alarm.limit, digits),
        "shelved_until": None if alarm.shelved_until is None else utc_text(alarm.shelved_until),
        "suppressed": alarm.suppressed or None,
    }
    if unusable(alarm.about):
        view["unusable"] = True
    if why_of(alarm.about):
        view["why"] = why_of(alarm.about)
    if value_at is not None and quantity and alarm.condition:
        view["value_at"] = utc_text(value_at)
    if alarm.chattering and alarm.condition:
        view["chattering_times"] = alarm.times
    if alarm.condition and alarm.pending_at is not None:
        view["well_since"] = utc_text(alarm.pending_at)
    if alarm.out_of_service and alarm.out_until is not None:
        view["out_of_service_until"] = utc_text(alarm.out_until)
    if range_c is not None:
        view["value_range"] = [round(end_c, 1) for end_c in range_c]
    if of_hens(alarm, needs):
        view["of_hens"] = True
    return view


def rfc3339(now: Now) -> str:
    """The label of an instant, UTC."""
    return utc_text(now.utc)


def _keys(site: Site, machine: str) -> set[str]:
    probes = site.by_machine.get(machine, ())
    switches = {s.key for s in site.switches.values() if s.machine == machine}
    return {p.key for p in probes} | {p.node for p in probes} | switches


def _probe_view(look: Look, probe: Probe, plan: Plan | None) -> ProbeView:
    heard = look.state.probe(probe.key).heard
    name, position = probe.key, probe.position
    comes = silent_s(look, probe.key) > probe.silence_s and trouble_of(look, probe) not in (None, SAYS_NOTHING)
    if heard is None:
        view: ProbeView = {
            "probe": name,
            "position": position,
            "dry_bulb_c": None,
            "rh_pct": None,
            "age_s": None,
            "silent": True,
        }
        if comes:
            view["unusable"] = True
        return view
    air: AirView = {"dry_bulb_c": round(heard.dry_bulb_c, 3), "rh_pct": None}
    if heard.rh_pct is not None:
        rh = min(heard.rh_pct, 100.0)
        full = air_state(heard.dry_bulb_c, rh, look.site.pressure_kpa)
        air |= {
            "rh_pct": round(rh, 2),
            "wet_bulb_c": round(full.wet_bulb_c, 3),
            "dew_point_c": _rounded(full.dew_point_c),
            "vapour_kpa": round(full.vapour_kpa, 4),
            "deficit_kpa": round(full.deficit_kpa, 4),
        }
        if look.site.wick_coefficient_per_k is not None:
            wick = wick_wet_bulb_c(
                heard.dry_bulb_c, rh, look.site.pressure_kpa, coefficient_per_k=look.site.wick_coefficient_per_k
            )
            air["wick_wet_bulb_c"] = round(wick, 3)
        if plan is not None and plan.needs.wet_bulb_c is not None:
            at_c = _nearest(plan.needs.dry_bulb_c, heard.dry_bulb_c)
            derived = derived_rh(plan.needs.wet_bulb_c, at_c, look.site.pressure_kpa)
            air["rh_band_pct"] = _band(derived)
    age_s = look.now.mono_s - heard.mono_s
    silent = age_s > probe.silence_s
    view = {"probe": name, "position": position, **air, "age_s": round(age_s, 1), "silent": silent}  # type: ignore[typeddict-item]  # of the air, only keys that are there
    if comes:
        view["unusable"] = True
    return view


def _nearest(band: Band | None, dry_bulb_c: float) -> float:
    """The temperature at which a humidity is wanted: that of now, or the nearest that the eggs need. At the one that a heater has failed to
    hold, a target would have somebody fill water where it is cold, and dry out what is hot."""
    low, high = (None, None) if band is None else band.calm
    at_c = dry_bulb_c if low is None else max(dry_bulb_c, low)
    return at_c if high is None else min(at_c, high)


def _occupant(site: Site, occupant: Occupant) -> OccupantView:
    view: OccupantView = {
        "batch": occupant.batch,
        "profile": occupant.profile,
        "day": counted(occupant.day, 3),
        "stage": occupant.stage,
    }
    if site.profiles[occupant.profile].reminds(occupant.day, occupant.stage):
        view["draw_down_due"] = True
    if occupant.move_by is not None:
        view["move_by"] = utc_text(occupant.move_by)
    return view


def _eggs(look: Look, plan: Plan) -> list[EggsView]:
    """What the eggs of each batch feel, an estimate with its doubt, and how long they take to follow the air."""
    found: list[EggsView] = []
    for eggs in plan.eggs:
        felt = look.state.eggs.get(eggs.batch)
        if felt is not None and eggs.judged:
            low_c, high_c = egg_range_c(look, eggs, felt.egg_c)
            found.append({
                "batch": eggs.batch, "egg_c": round(felt.egg_c, 1), "egg_low_c": round(low_c, 1), "egg_high_c": round(high_c, 1),
                "tau_min": round(eggs.model.tau_s / 60.0),
            })  # fmt: skip
    return found


def _bands(plan: Plan) -> dict[str, dict[str, float]]:
    needs = plan.needs
    return {
        name: _band(band)
        for name, band in ((DRY_BULB, needs.dry_bulb_c), (RH, needs.rh_pct), (WET_BULB, needs.wet_bulb_c))
        if band is not None
    }


def _band(band: Band) -> dict[str, float]:
    return {name: round(value, 3) for name, value in band.limits()}


def _rounded(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(value, digits)
