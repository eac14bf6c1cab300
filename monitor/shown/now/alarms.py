"""What stands, for people: what wants an answer first, with the facts of this moment; and what is quiet, in a line each."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    OUT_OF_SERVICE,
    RETURNED,
    SHELVED,
    SUPPRESSED,
    UNACKNOWLEDGED,
)
from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import CRITICAL, HIGH, NOT_RAISED, PRIORITIES, Rule
from monitor.domain.needs.site import HATCHER, Site
from monitor.domain.wall import WIDTH, filled, local_time, printable, utc_text, wall_time
from monitor.service.ports import LastAlive, NoticeRow
from monitor.shown.about import advice_by, matter_by
from monitor.shown.form import duration, listed, until_by
from monitor.shown.values import show_estimate, show_value, state_words, subject_name

if TYPE_CHECKING:
    from monitor.domain.watch.view import AlarmView, OutView, ToldView

WANTS_YOU = (UNACKNOWLEDGED, RETURNED)  # nobody has answered
LONG_AGO_S = 2 * 86_400.0  # from then on the day says more than the hours since
START = "Start it: sudo systemctl start eggroom"
WRITTEN_ALONE = f"NOBODY IS WATCHING: no daemon runs here. This is written, and counts once one runs. {START}"
HANGS = "NOBODY IS WATCHING: the daemon here does not answer. Restart it: sudo systemctl restart eggroom"


def unwatched_words(last: LastAlive | None, site: Site, now: datetime) -> str:
    """Of a house in which no daemon runs: that nobody is watching, since when, and what to do first."""
    if last is None:
        return f"NOBODY IS WATCHING: no daemon has run here yet.\n{START}"
    at = wall_time(last.at, site.zone, now)
    for_s = max(0.0, (now - last.at).total_seconds())
    ago = f", {duration(for_s)} ago" if for_s < LONG_AGO_S else ""
    how = f"It was stopped {at}{ago}." if last.stopped else f"It was last alive {at}{ago}."
    return f"NOBODY IS WATCHING: no daemon runs here.\n{how} {START}"


# --- what is out of service as a whole


def out_line(out: OutView, site: Site, now: datetime) -> str:
    """`Setter 1 out of service until 18:00 by sam`, and of eggs that are watched less for it, or by nobody, that they are."""
    until = None if out["until"] is None else _hour(out["until"], site, now)
    return f"{subject_name(out['subject'], site)} out of service {until_by(until, printable(out['by']))}{out_eggs(out)}"


def out_eggs(out: OutView) -> str:
    """`; nobody watches hen-1`; empty where no eggs are watched less."""
    eggs = listed(out["batches"])
    if not eggs:
        return ""
    if not out["judged_by"]:
        return f"; nobody watches {eggs}"
    return f"; of {eggs} only deadly heat, or eggs too hot or too cold, is told"


def out_told(out: OutView, site: Site) -> str:
    """What is told while it is out: `its machine is judged by Setter 1 low`, `nothing of it is told`."""
    if out["batches"]:
        return out_eggs(out).removeprefix("; ")
    if out["subject"] in site.machines:
        return "nothing of it is told"
    beside = listed([subject_name(key, site) for key in out["judged_by"]])
    name = subject_name(out["machine"], site)
    return f"{name} is judged by {beside}" if beside else f"nothing of {name} is told"


# --- whether anybody was told


@fixed
class Told:
    """What became of an episode's messages to one contact. at: when the last got through, None for none; waiting_since: since when one has
    been tried, and has not got through."""

    contact: str
    at: datetime | None
    waiting_since: datetime | None


def told_of(rows: Collection[NoticeRow]) -> dict[int, list[Told]]:
    """What became of each episode's messages, by its number, contact by contact."""
    found: dict[int, dict[str, list[NoticeRow]]] = {}
    for row in sorted(rows, key=lambda row: row.notice.id):
        if not row.notice.closing and row.state != "cancelled":
            found.setdefault(row.notice.alarm_number, {}).setdefault(row.notice.contact, []).append(row)
    return {number: [_told(contact, each) for contact, each in of.items()] for number, of in found.items()}


def told_to(rows: Collection[NoticeRow]) -> list[Told]:
    """What became of the messages that are high or critical, contact by contact, whatever they were about: also of one that was called off after it had failed."""
    found: dict[str, list[NoticeRow]] = {}
    for row in sorted(rows, key=lambda row: row.notice.id):
        if row.notice.priority in (HIGH, CRITICAL) and (row.state != "cancelled" or row.attempts > 0):
            found.setdefault(row.notice.contact, []).append(row)
    return [_told(contact, each) for contact, each in found.items()]


def _told(contact: str, rows: Sequence[NoticeRow]) -> Told:
    sent = [row for row in rows if row.state == "sent"]
    after = sent[-1].notice.id if sent else -1
    stuck = [row for row in rows if row.notice.id > after and (row.state == "failed" or row.attempts > 0)]
    return Told(contact, sent[-1].last_at if sent else None, stuck[0].notice.created if stuck else None)


def told_view(told: Sequence[Told]) -> list[ToldView]:
    """The same for programs."""
    return [
        {
            "contact": each.contact,
            "at": None if each.at is None else utc_text(each.at),
            "not_delivered_since": None if each.waiting_since is None else utc_text(each.waiting_since),
        }
        for each in told
    ]


def told_words(told: Sequence[ToldView], site: Site, now: datetime) -> str:
    """`told sam 18:29`, `NOT DELIVERED to kim and ada since 18:44`; what did not get through comes first; of one minute all at once."""
    failed: dict[str, list[str]] = {}
    sent: dict[str, list[str]] = {}
    for each in told:
        for at, to in ((each["not_delivered_since"], failed), (each["at"], sent)):
            if at is not None:
                to.setdefault(_hour(at, site, now), []).append(each["contact"])
    words = [f"NOT DELIVERED to {listed(whom)} since {at}" for at, whom in failed.items()]
    words += [f"told {listed(whom)} {at}" for at, whom in sent.items()]
    return ", ".join(words) or "told nobody"


# --- the list


def alarms_text(
    alarms: Sequence[AlarmView],
    site: Site,
    now: datetime,
    *,
    live: bool,
    full: bool = False,
    how: bool = True,
    columns: int = WIDTH,
) -> str:
    """What stands, what wants an answer first and the worst of it on top.

    Parameters
        live: whether the values are of this moment, from a running daemon.
        full: tell all of each; else only of what wants an answer, and the others in a line each.
        how: end with what to type.
    """
    if not alarms:
        return "Nothing new." if live else "Nothing stood."
    ordered = sorted(alarms, key=lambda a: rank(a, site))
    lines, told = [_head(ordered, site)], False
    for alarm in ordered:
        if alarm["state"] in WANTS_YOU or full:
            lines += ["", *alarm_lines(alarm, site, now, live=live)]
            told = True
        else:
            lines += (
                ["", _in_one_line(alarm, site, now, live=live)] if told else [_in_one_line(alarm, site, now, live=live)]
            )
            told = False
    if how:
        lines += ["", *_how(ordered)]
    return "\n".join(filled(line, columns) for line in lines)


def rank(alarm: AlarmView, site: Site) -> tuple[bool, bool, int, bool, int]:
    """The order of alarms: what stands and is urgent, or wants somebody, before the rest; of these what stands before what is over, then the worst."""
    priority, over = site.rules[alarm["rule"]].priority, alarm["ended"] is not None or "well_since" in alarm
    urgent = priority in (HIGH, CRITICAL) and not over and alarm["state"] in (UNACKNOWLEDGED, ACKNOWLEDGED)
    wanted = alarm["state"] in WANTS_YOU
    return (not (wanted or urgent), over, -PRIORITIES.index(priority), not wanted, alarm["number"])


def _head(alarms: Sequence[AlarmView], site: Site) -> str:
    """`2 want you: 1 high, 1 low; 3 others seen or quiet.`"""
    wanted = [a for a in alarms if a["state"] in WANTS_YOU]
    rest = len(alarms) - len(wanted)
    others = "" if not rest else f"{rest} {'stands' if rest == 1 else 'stand'}, seen or quiet"
    if not wanted:
        return f"Nothing new; {others}."
    priorities = [site.rules[a["rule"]].priority for a in wanted]
    counted = ", ".join(f"{priorities.count(p)} {p}" for p in reversed(PRIORITIES) if p in priorities)
    return f"{len(wanted)} want{'s' if len(wanted) == 1 else ''} you: {counted}{f'; {others}' if others else ''}."


def alarm_lines(alarm: AlarmView, site: Site, now: datetime, *, live: bool) -> list[str]:
    """One alarm in full: what it is, the value now and at its worst, for how long, whether anybody was told, and what to do."""
    rule = site.rules[alarm["rule"]]
    over = alarm["ended"] is not None or "well_since" in alarm
    lines = [
        f"{rule.priority.upper()} No. {alarm['number']} {subject_name(alarm['subject'], site)}: {matter_now(alarm, rule)}"
    ]
    facts = [each for each in (_value(alarm, site, now, live=live), lasted_words(alarm, site, now)) if each]
    if facts:
        lines.append(f"  {', '.join(facts)}")
    if alarm["about"] and "well_since" not in alarm:
        lines.append(f"  {printable(alarm['about'])}")
    lines.append(f"  {_state(alarm, site, now)}{_whether_told(alarm, site, now)}")
    if not over and alarm["state"] in (UNACKNOWLEDGED, ACKNOWLEDGED):
        lines.append(f"  {_advice(alarm, rule, site)}")
    return lines


def _in_one_line(alarm: AlarmView, site: Site, now: datetime, *, live: bool) -> str:
    return f"{site.rules[alarm['rule']].priority} {alarm_line(alarm, site, now, live=live)}"


def alarm_line(alarm: AlarmView, site: Site, now: datetime, *, live: bool) -> str:
    """One alarm in a line: `No. 3 Setter 1: cool, 36.9 °C now, for 25 min: seen`; live: as for the list."""
    name, matter = subject_name(alarm["subject"], site), matter_now(alarm, site.rules[alarm["rule"]])
    about = f" ({printable(alarm['about'])})" if alarm["about"] else ""
    facts = [
        each
        for each in (
            f"{matter}{about}",
            _value(alarm, site, now, live=live, peaks=False),
            lasted_words(alarm, site, now),
        )
        if each
    ]
    return f"No. {alarm['number']} {name}: {', '.join(facts)}: {_state(alarm, site, now)}"


def matter_now(alarm: AlarmView, rule: Rule) -> str:
    """What is the matter; of what is over, what it was."""
    over = alarm["ended"] is not None
    return rule.words if over else matter_by(rule, alarm.get("why", ""), alarm.get("unusable", False))


def _value(alarm: AlarmView, site: Site, now: datetime, *, live: bool, peaks: bool = True) -> str:
    """`39.4 °C now, worst 39.6 °C`, or without its peak; a value that is no longer followed, or a mean, is not called that of now."""
    quantity, value, worst = alarm["quantity"], alarm["value"], alarm["worst"]
    if quantity is None or value is None:
        return ""
    peak = show_value(quantity, value if worst is None else worst, site.unit)
    if not live or alarm["ended"] is not None or alarm["state"] == SUPPRESSED or "well_since" in alarm:
        return f"worst {peak}"  # its value is of when it was beyond its limit last
    shown = show_value(quantity, value, site.unit)
    if "value_range" in alarm:
        low_c, high_c = alarm["value_range"]
        shown = show_estimate(value, (low_c, high_c), site.unit)
    at = (
        f"{shown} {'in the mean' if site.rules[alarm['rule']].over_s else 'now'}"
        if "value_at" not in alarm
        else f"{shown} at {_hour(alarm['value_at'], site, now)}, no reading since"
    )
    return f"{at}{f', worst {peak}' if peaks and peak not in shown else ''}"


def lasted_words(alarm: AlarmView, site: Site, now: datetime) -> str:
    """`for 25 min, since 18:17`; of what is over `for 25 min, 18:17 to 18:42`; nothing where it is not known since when."""
    if alarm["since"] is None:
        return ""
    since, ended = datetime.fromisoformat(alarm["since"]), alarm["ended"]
    until = now if ended is None else datetime.fromisoformat(ended)
    lasted = f"for {duration(max(0.0, (until - since).total_seconds()))}"
    if "well_since" in alarm and "chattering_times" in alarm:
        return f"came and went {alarm['chattering_times']} times since {_hour(alarm['since'], site, now)}, well since {_hour(alarm['well_since'], site, now)}"
    if ended is None:
        well = f", well since {_hour(alarm['well_since'], site, now)}" if "well_since" in alarm else ""
        return f"{lasted}, since {_hour(alarm['since'], site, now)}{well}"
    return f"{lasted}, {_hour(alarm['since'], site, now)} to {_hour(ended, site, now)}"


def _state(alarm: AlarmView, site: Site, now: datetime) -> str:
    """`new`, `quiet until 18:40`, `out of service since 18:20 by sam, tells nobody until it is put back`."""
    words = state_words(alarm["state"])
    if alarm["shelved_until"] is not None and alarm["state"] == SHELVED:
        return f"{words} until {_hour(alarm['shelved_until'], site, now)}"
    if alarm["state"] == SUPPRESSED and alarm["suppressed"]:
        return f"{words}: {printable(alarm['suppressed'])}"
    if alarm["state"] != OUT_OF_SERVICE:
        return words
    at, who = alarm.get("out_of_service_since"), alarm.get("out_of_service_by")
    taken = (f" since {_hour(at, site, now)}" if at else "") + (f" by {printable(who)}" if who else "")
    until = alarm.get("out_of_service_until")
    back = f"until {_hour(until, site, now)}" if until else "until it is put back"
    return f"{words}{taken}, tells nobody {back}"


def _whether_told(alarm: AlarmView, site: Site, now: datetime) -> str:
    told = alarm.get("told")
    return "" if told is None else f"; {told_words(told, site, now)}"


def _advice(alarm: AlarmView, rule: Rule, site: Site) -> str:
    """Likely harm and first act; where there is a hatcher, eggs in lockdown elsewhere are to be moved before anything is made moister."""
    harm, act = advice_by(rule, alarm.get("why", ""), alarm.get("unusable", False), of_hens=alarm.get("of_hens", False))
    machine = site.machines.get(alarm["subject"])
    hatcher = next((m for m in site.machines.values() if m.kind == HATCHER), None)
    if rule.id == NOT_RAISED and machine is not None and hatcher is not None and machine.kind != HATCHER:
        act = f"Move the eggs in lockdown to {hatcher.name}."
    return f"{harm} {act}"


def _how(alarms: Sequence[AlarmView]) -> list[str]:
    lines = []
    if any(alarm["state"] in WANTS_YOU for alarm in alarms):
        lines.append("You have seen them: eggroom ack NUMBER, or ack all")
    if any(alarm["state"] == OUT_OF_SERVICE for alarm in alarms):
        lines.append("Put back: eggroom out-of-service NUMBER --back")
    return lines or ["All of each: eggroom alarms --full"]


def _hour(at: str | None, site: Site, now: datetime) -> str:
    return "" if at is None else local_time(datetime.fromisoformat(at), site.zone, now)
