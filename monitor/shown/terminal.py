"""Text for the terminal: one screen wide, times on the wall clock of the site, the unit of the site. Values in, text out."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from monitor.domain.alarms.alarm import ACKNOWLEDGED, OUT_OF_SERVICE, UNACKNOWLEDGED
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.batch import Batch, day_words, whole_day
from monitor.domain.needs.profile import Band, Profile
from monitor.domain.needs.rules import EGG_COLD, EGG_HOT, NOT_RAISED, PRIORITIES, Rule
from monitor.domain.needs.site import HATCHER, Site
from monitor.domain.wall import filled, printable, utc_text, wall_time
from monitor.service.ports import Event, RefusedRow, TransitionRow, Unknown
from monitor.shown.about import NOT_USABLE, SEE_DOCTOR
from monitor.shown.entries import eggs_words
from monitor.shown.openings import opening_words
from monitor.shown.values import (
    QUANTITIES,
    finer_beside,
    harm_words,
    show_band,
    show_estimate,
    show_figure,
    show_value,
    subject_name,
)

if TYPE_CHECKING:
    from monitor.domain.watch.view import AlarmView, BatchView, MachineView, OccupantView, RoomView

DRAW_DOWN_WORDS = "draw-down may begin"  # of birds that go by the egg, where others have their lockdown's day


def local(at: datetime | str, site: Site, now: datetime | str | None = None, *, seconds: bool = False) -> str:
    """A time on the wall clock of the site: `24 Nov 02:14`, with its year where that is not the one of now."""
    return wall_time(_instant(at), site.zone, None if now is None else _instant(now), seconds=seconds)


def _instant(at: datetime | str) -> datetime:
    return datetime.fromisoformat(at) if isinstance(at, str) else at


def room_text(room: RoomView, site: Site) -> str:
    """Each machine: what it reads against what its eggs need, and what is wrong."""
    lines: list[str] = []
    for view in room["machines"]:
        lines += [*machine_lines(view, site), ""]
    now = room["machines"][0]["at"] if room["machines"] else None
    for alarm in room["others"]:
        lines.append(f"! {alarm_line(alarm, site, now)}")
    return "\n".join(map(filled, lines)).rstrip()


def machine_lines(view: MachineView, site: Site) -> list[str]:
    """One machine in a few lines of at most 72 characters."""
    now = view["at"]
    batches = ", ".join(f"{b['batch']} day {whole_day(b['day'])} {b['stage']}{_reminded(b)}" for b in view["batches"])
    watched = "watched only" if view["kind"] not in ("setter", "hatcher") else "empty"
    lines = [f"{view['name']} ({batches or watched})"]
    bands = {name: Band(**limits) for name, limits in view["bands"].items()}
    for probe in view["probes"]:
        if probe["dry_bulb_c"] is None:
            lines.append(f"  {probe['probe']}: {NOT_USABLE if probe.get('unusable') else 'no reading yet'}")
            continue
        what = "NOTHING USABLE" if probe.get("unusable") else "NO READING"
        old = f"  {what} for {(probe['age_s'] or 0.0) / 60:.0f} min" if probe["silent"] else ""
        for quantity, words in QUANTITIES:
            value = probe.get(quantity)
            if not isinstance(value, int | float):
                continue
            band = bands.get(quantity)
            if quantity == RH and band is None and "rh_band_pct" in probe:
                band = Band(**probe["rh_band_pct"])
            finer = 0 if band is None else finer_beside(quantity, value, band, unit=site.unit)
            shown = show_figure(quantity, value, site.unit, finer=finer)
            lines.append(
                f"  {words:<12} {shown:>9}   {against(value, band, quantity=quantity, unit=site.unit)}{old}".rstrip()
            )
            old = ""
        if probe.get("wick_wet_bulb_c") is not None:
            shown = show_value(DRY_BULB, probe["wick_wet_bulb_c"], site.unit)
            lines.append(f"  {'on a wick':<12} {shown:>9}")
    for egg in view["eggs"]:
        shown = show_estimate(egg["egg_c"], (egg["egg_low_c"], egg["egg_high_c"]), site.unit)
        lines.append(f"  {egg['batch']}: {shown}, estimate; follows the air within {egg['tau_min']} min")
    if view["handling_until"] is not None:
        lines.append(
            f"  handling declared until {local(view['handling_until'], site, now)}: air alarms wait, heat does not"
        )
    if view["settling_until"] is not None:
        lines.append(f"  lockdown began: humidity may rise until {local(view['settling_until'], site, now)}")
    lines += [f"  ! {alarm_line(alarm, site, now)}" for alarm in view["alarms"]]
    return lines


def _reminded(occupant: OccupantView) -> str:
    return f" ({DRAW_DOWN_WORDS})" if occupant.get("draw_down_due") else ""


def against(value: float, band: Band | None, *, quantity: str, unit: str) -> str:
    """A value against its band, in words: `band 37.5 to 38.1`, `0.8 over, band 37.5 to 38.1`."""
    if band is None:
        return ""
    low, high = band.calm
    scale = 1.8 if unit == "F" and quantity != RH else 1.0
    finer = finer_beside(quantity, value, band, unit=unit)
    digits = finer + (0 if quantity == RH else 1)
    words = f"band {show_band(quantity, band, unit, finer=finer)}"
    if high is not None and value > high:
        return f"{(value - high) * scale:.{digits}f} over, {words}"
    if low is not None and value < low:
        return f"{(low - value) * scale:.{digits}f} under, {words}"
    return words


def alarm_line(alarm: AlarmView, site: Site, now: datetime | str | None = None) -> str:
    """One standing alarm in a line; now: as for `local`."""
    rule = site.rules[alarm["rule"]]
    ended = alarm["ended"]
    over = ended is not None
    value, figure = "", alarm["worst" if over else "value"]
    if figure is not None and alarm["quantity"] is not None:
        shown = show_value(alarm["quantity"], figure, site.unit)
        if not over and "value_range" in alarm:
            low_c, high_c = alarm["value_range"]
            shown = show_estimate(figure, (low_c, high_c), site.unit)
        value = f" {'worst ' if over else ''}{shown},"
    about = f" ({printable(alarm['about'])})" if alarm["about"] else ""
    until = f" until {local(alarm['shelved_until'], site, now)}" if alarm["shelved_until"] else ""
    since = f" since {local(alarm['since'], site, now)}" if alarm["since"] else ""
    if ended is not None and alarm["since"]:
        since = f" {local(alarm['since'], site, now)} to {local(ended, site, now)}"
    name = subject_name(alarm["subject"], site)
    return f"No. {alarm['number']} {name}: {NOT_USABLE if alarm.get('unusable') and not over else rule.words}{about},{value}{since}: {alarm['state']}{until}{_out(alarm, site, now)}"


def _out(alarm: AlarmView, site: Site, now: datetime | str | None) -> str:
    """Of an alarm out of service: since when, by whom, and that it stays so."""
    if alarm["state"] != OUT_OF_SERVICE:
        return ""
    at, who = alarm.get("out_of_service_since"), alarm.get("out_of_service_by")
    taken = (f" since {local(at, site, now)}" if at else "") + (f" by {printable(who)}" if who else "")
    return f"{taken}, tells nobody until it is put back"


def alarm_table(alarms: Sequence[AlarmView], site: Site) -> str:
    """What stands, worst first. alarms: as `alarm_view` gives them."""
    if not alarms:
        return "nothing: every alarm is normal"
    ordered = sorted(alarms, key=lambda a: (-PRIORITIES.index(site.rules[a["rule"]].priority), a["number"]))
    lines = []
    for alarm in ordered:
        rule = site.rules[alarm["rule"]]
        lines.append(f"[{rule.priority}] {alarm_line(alarm, site)}")
        if alarm["state"] in (UNACKNOWLEDGED, ACKNOWLEDGED):
            harm = harm_words(rule, alarm.get("of_hens", False))
            lines.append(f"    {harm} {_first_act(alarm, rule, site)}")
    how = ["acknowledge with: eggroom ack NUMBER"]
    if any(alarm["state"] == OUT_OF_SERVICE for alarm in alarms):
        how.append("put back with: eggroom out-of-service NUMBER --back")
    return "\n".join([*map(filled, lines), "", *how])


def _first_act(alarm: AlarmView, rule: Rule, site: Site) -> str:
    """The rule's own, or the doctor; where there is a hatcher, eggs in lockdown elsewhere are to be moved before anything is made moister."""
    if alarm.get("unusable"):
        return SEE_DOCTOR
    machine = site.machines.get(alarm["subject"])
    hatcher = next((m for m in site.machines.values() if m.kind == HATCHER), None)
    if rule.id != NOT_RAISED or machine is None or hatcher is None or machine.kind == HATCHER:
        return rule.first_act
    return f"Move the eggs in lockdown to {hatcher.name}."


def transition_view(row: TransitionRow) -> dict[str, object]:
    """One transition as a plain mapping; an estimate with one decimal, which is all that it is worth."""
    digits = 1 if row.rule in (EGG_HOT, EGG_COLD) else None
    value, worst, limit = (
        each if each is None or digits is None else round(each, digits) for each in (row.value, row.worst, row.limit)
    )
    return {
        "at": utc_text(row.at),
        "number": row.number,
        "subject": row.subject,
        "rule": row.rule,
        "from": row.state_before,
        "to": row.state,
        "cause": row.cause,
        "value": value,
        "worst": worst,
        "limit": limit,
        "who": row.who or None,
    }


def transition_table(rows: Sequence[TransitionRow], site: Site) -> str:
    """Every transition, oldest first."""
    if not rows:
        return "nothing in the record yet"
    lines = []
    for row in rows:
        rule = site.rules.get(row.rule)
        words = rule.words if rule is not None else row.rule
        why = printable(f"{row.cause} by {row.who}" if row.who else row.cause)
        name, at = subject_name(row.subject, site), local(row.at, site, seconds=True)
        lines.append(f"{at}  No. {row.number} {name}: {words}: {row.state} ({why})")
    return "\n".join(lines)


def event_view(event: Event) -> dict[str, object]:
    """One event as a plain mapping."""
    return {"at": utc_text(event.at), "kind": event.kind, "subject": event.subject, "text": event.text}


def event_table(events: Sequence[Event], site: Site) -> str:
    """What happened besides alarms, oldest first."""
    if not events:
        return "nothing in the record yet"
    lines = []
    for event in events:
        name = "" if event.subject == "site" else f" {subject_name(event.subject, site)}"
        text = event.text if event.seen is None else opening_words(event.seen, site.unit)
        lines.append(f"{local(event.at, site, seconds=True)}  {event.kind}{name}: {printable(text)}")
    return "\n".join(lines)


def batch_table(views: Sequence[BatchView], site: Site, now: datetime) -> str:
    """The batches, one a line."""
    if not views:
        return "no batch yet: eggroom batch add NAME --species SPECIES --machine MACHINE"
    lines = [f"{'batch':<16} {'species':<18} {'day':>5}  {'stage':<9} {'eggs':>5}  machine"]
    for view in views:
        profile = site.profiles.get(view["profile"])
        stage = "closed" if view["closed_at"] else _stage(view, profile, now)
        eggs = "-" if view["eggs"] is None else view["eggs"]
        machine = view["machine"] or "-"
        lines.append(
            f"{view['id']:<16} {view['profile']:<18} {day_words(view['day']):>5}  {stage:<9} {eggs:>5}  {machine}"
        )
    return "\n".join(lines)


def batch_text(batch: Batch, site: Site, now: datetime, *, store_h: tuple[float, float] = (0.0, 0.0)) -> str:
    """One batch: where it was, and what comes when; at most 80 columns. store_h: by how much days in store delay its hatch."""
    profile = site.profiles.get(batch.profile)
    eggs = "" if batch.eggs is None else f", {eggs_words(batch.eggs)}"
    over = batch.closed_at is not None
    day = (
        f"closed on day {day_words(batch.day(batch.closed_at or now))}" if over else f"day {day_words(batch.day(now))}"
    )
    lines = [f"{batch.id}: {batch.profile}{eggs}, set {local(batch.set_at, site, now)}, {day}"]
    if batch.numbers:
        lines += textwrap.wrap(
            f"egg{'s' if len(batch.numbers) > 1 else ''} {batch.numbers_words}",
            80,
            initial_indent="  ",
            subsequent_indent="  ",
        )
    if batch.note:
        lines.append(f"  {printable(batch.note)}")
    for stay in batch.stays:
        until = "now" if stay.until is None else local(stay.until, site, now)
        lines.append(f"  in {stay.machine} from {local(stay.since, site, now)} to {until}")
    lines += [f"  {d.stage} declared {local(d.at, site, now)}" for d in batch.declared]
    if batch.closed_at is not None:
        lines.append(f"  closed {local(batch.closed_at, site, now)}")
    elif profile is not None:
        lockdown = batch.set_at + timedelta(days=profile.lockdown_day)
        first = batch.set_at + timedelta(days=profile.hatch_day_first, hours=store_h[0])
        last = batch.set_at + timedelta(days=profile.hatch_day_last, hours=store_h[1])
        window = f"hatch {local(first, site, now)} to {local(last, site, now)}"
        begins = "lockdown" if profile.lockdown_sign is None else DRAW_DOWN_WORDS
        lines.append(f"  {window}" if batch.declared else f"  {begins} {local(lockdown, site, now)}, {window}")
    return "\n".join(filled(line) for line in lines)


def moved_lines(answer: BatchView, site: Site) -> list[str]:
    """What is to be known after a batch that goes by the egg was brought to a hatcher; nothing of any other."""
    profile, machine = site.profiles.get(answer["profile"]), site.machines.get(answer["machine"] or "")
    if profile is None or machine is None or profile.lockdown_sign is None or machine.kind != HATCHER:
        return []
    began = next((d["at"] for d in answer["declared"] if d["stage"] != "setter"), None)
    if began is not None:
        return [f"in lockdown since {local(began, site)}"]
    return [
        f"no sign is written yet, so its air is judged as in the setter; when one is seen: eggroom egg event {answer['id']} {_sign_word(profile)}"
    ]


def _sign_word(profile: Profile) -> str:
    return (profile.lockdown_sign or "").replace(" ", "-")


def refused_view(total: int, rows: Sequence[RefusedRow], unknown: Sequence[Unknown]) -> dict[str, object]:
    """What was not understood, as a plain mapping."""
    return {
        "refused_total": total,
        "newest": [
            {
                "at": utc_text(r.at),
                "topic": r.refused.topic,
                "reason": r.refused.reason,
                "payload": r.refused.payload.decode("utf-8", "backslashreplace"),
            }
            for r in rows
        ],
        "unknown_probes": [
            {"probe": u.probe, "first_at": utc_text(u.first_at), "last_at": utc_text(u.last_at), "count": u.count}
            for u in unknown
        ],
    }


def refused_text(total: int, rows: Sequence[RefusedRow], unknown: Sequence[Unknown], *, site: Site) -> str:
    """What was not understood, and who is not known, with the lines that would make them known."""
    lines = [f"{total} messages refused" + (", newest first:" if rows else "")]
    for row in rows:
        start = row.refused.payload[:60].decode("utf-8", "backslashreplace")
        dotted = "".join(c if c.isprintable() else "·" for c in start)
        where = printable(f"{row.refused.topic}: {row.refused.reason}")
        lines += [f"  {local(row.at, site, seconds=True)} {where}", f"      {dotted}"]
    if unknown:
        lines += ["", "probes that nobody configured; to watch one, put this into the configuration:"]
    for u in unknown:
        node, _, probe = u.probe.partition("/")
        lines.append(f"  # heard {u.count} times, last {local(u.last_at, site, seconds=True)}")
        lines.append(f'  [[probe]]\n  node = "{node}"\n  probe = "{probe}"\n  machine = "..."')
    return "\n".join(lines)


def _stage(view: BatchView, profile: Profile | None, now: datetime) -> str:
    if profile is None:
        return "unknown"
    set_at = datetime.fromisoformat(view["set_at"])
    declared = tuple(
        (d["stage"], (datetime.fromisoformat(d["at"]) - set_at).total_seconds() / 86_400) for d in view["declared"]
    )
    # Not the view's: cut off, it can lie before what was declared just now.
    day = (now - set_at).total_seconds() / 86_400
    return profile.stage_at(max(0.0, day), declared).name
