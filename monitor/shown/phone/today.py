"""A day's summary in words: what to do today, then what is low and stands, each with its number; what does not fit is counted."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from monitor.domain.alarms.about import EachDay
from monitor.domain.alarms.notice import COOL, Facts, Notice, Standing, Task, Today
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.dates import CANDLE, HATCH, LOCKDOWN, WEIGH
from monitor.domain.needs.site import Site
from monitor.domain.wall import local_time, printable, wall_clock
from monitor.shown.about import declaring
from monitor.shown.form import until_by
from monitor.shown.phone.notices import MAX_TEXT, MAX_TITLE, WHEN_YOU_CAN, name_and_place, shown_value, what_is
from monitor.shown.values import subject_name

_DO = {CANDLE: "candle", WEIGH: "weigh", LOCKDOWN: "lockdown of", HATCH: "hatch may begin:"}
_MORE = " And 99 more: eggroom now."


def today_worded(notice: Notice, what: Today, site: Site) -> Notice:
    """The notice of a day's summary, with its title and text."""
    tasks = list(dict.fromkeys(_task(task, site) for task in what.tasks))
    standing = [_standing(each, site, notice.created) for each in what.standing]
    out = [_out(each, site, notice.created) for each in what.out]
    if not (tasks or standing or out):
        return replace(notice, title=f"{WHEN_YOU_CAN}: nothing", text="Nothing is left to tell of this day.")
    named = (f"{subject_name(each.subject, site)} out of service" for each in what.out)
    short = [*named, *tasks, *(f"{_name(each.facts, site)} {_what(each.facts, site)}" for each in what.standing)]
    title = f"{WHEN_YOU_CAN}: {short[0]}{f', {len(short) - 1} more' if len(short) > 1 else ''}"
    if len(title) > MAX_TITLE:
        seen = len(standing) + len(out)
        counted = [f"{len(tasks)} to do" if tasks else "", f"{seen} to see" if seen else ""]
        title = f"{WHEN_YOU_CAN}: {', '.join(filter(None, counted))}"
    said = [
        *((". ", each) for each in out),
        *((", " if n else ". Today: ", task) for n, task in enumerate(tasks)),
        *((". ", each) for each in standing),
    ]
    text, left = "", len(said)
    for before, words in said:
        longer = f"{text}{before}{words}".removeprefix(". ")
        if len(longer) + 1 > MAX_TEXT - (len(_MORE) if left > 1 else 0):
            break
        text, left = longer, left - 1
    more = f" And {left} more: eggroom now." if left else ""
    text = f"{text}.{more}" if text else f"{left} things: eggroom now."
    return replace(notice, title=title, text=text)


def _task(task: Task, site: Site) -> str:
    if task.kind == COOL:
        return f"cool {subject_name(task.batch, site)} at {wall_clock(task.at, site.zone)}"
    if task.kind not in _DO:
        egg = f" egg {task.egg}" if task.egg is not None else ""
        return f"look at {task.batch}{egg} at {wall_clock(task.at, site.zone)}"
    return f"{_DO[task.kind]} {task.batch}"


def _out(out: Out, site: Site, at: datetime) -> str:
    """`Setter 1 out of service until 18:00 by sam`; without an end it is said each day until somebody puts it back."""
    until = None if out.until is None else local_time(out.until, site.zone, at)
    return f"{subject_name(out.subject, site)} out of service {until_by(until, printable(out.by))}"


def _standing(each: Standing, site: Site, at: datetime) -> str:
    facts = each.facts
    if facts.out:
        until = "" if facts.out_until is None else f" until {local_time(facts.out_until, site.zone, at)}"
        return f"{_name(facts, site)} {_what(facts, site)}: out of service{until} (No. {each.number})"
    if isinstance(facts.about, EachDay):  # told here alone, so with what answers it
        return f"{_name(facts, site)} {_what(facts, site)}: {declaring(facts.about)} (No. {each.number})"
    value = shown_value(facts, site)
    since = "" if facts.since is None else f" since {local_time(facts.since, site.zone, at)}"
    return f"{_name(facts, site)} {_what(facts, site)}{since}{f', {value} now' if value else ''} (No. {each.number})"


def _name(facts: Facts, site: Site) -> str:
    return name_and_place(facts, site, WHEN_YOU_CAN)[0]


def _what(facts: Facts, site: Site) -> str:
    return what_is(replace(facts, still=False), site)
