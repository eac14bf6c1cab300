"""One notice in words, for someone who has just been woken: machine, what, value and band, since when, which batches,
likely harm, first act, and the number to answer with. Under 200 characters before any link.

Another language for the phone is another `NoticeWords` (`shown/phone/joined.py`), in place of the one that `app` hands in. Its words come from:
this module and `joined.py` beside it, sentence by sentence; `values.py`, what a value, a band and a subject are called; and the words,
over, consequence and first_act of each rule in `data/rules.toml`; `about.py`, what an alarm without a value is about and why one is no
longer judged; `entries.py`, what was written of an egg. Not from here: the names of quantities, signs and stages, which are data.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from monitor.domain.alarms.notice import Facts, Notice
from monitor.domain.needs.bands import DRY_BULB, EGG
from monitor.domain.needs.batch import subject_words
from monitor.domain.needs.rules import ABOVE, LETHAL, Rule
from monitor.domain.needs.site import Site
from monitor.domain.wall import local_time, printable
from monitor.shown.about import about_words, advice, matter, moving_words, unjudged_words
from monitor.shown.form import rough_span
from monitor.shown.values import finer_beside, show_band, show_estimate, show_value, subject_name

MAX_TEXT = 200  # characters before the link: about what a locked phone shows (judgement)
MAX_TITLE = 64  # a machine's longest name and the longest words about it
STILL_HOT = "no longer deadly, still too hot"
OVER = "It happened and is over; this is the first you hear of it. "


def worded(notice: Notice, site: Site) -> Notice:
    """The notice with its title and text, made of its facts; as it is where it has none.

    The parts come in the order of their worth; what does not fit is cut from the end.
    """
    facts = notice.facts
    if facts is None:
        return notice
    rule, what = site.rules[facts.rule], what_is(facts, site)
    number = f"No. {notice.alarm_number}"
    room = MAX_TEXT - len(number)
    if facts.unjudged:
        parts = [f"Was {matter(rule, facts.about)}; {unjudged_words(facts.unjudged)}."]
    elif facts.over:
        parts = [f"{_value(facts, site, '. ')}Lasted {_lasted(facts, notice.created)}{_worst(facts, site)}."]
    else:
        parts = [value_since(notice, facts, site)]
        about = f"{printable(about_words(facts.about, site))}." if facts.value is None and facts.about else ""
        if not about or len(parts[0]) + len(about) + 2 > room:  # what it is about names the batches itself, if it fits
            about = _batches(facts)
        parts.append(f"It comes and goes: {facts.times} times." if facts.times else "")
        parts += ["Sensor doubtful." if facts.doubtful else "", about, *told_advice(facts, site)]
    name, place = name_and_place(facts, site)
    if place:
        parts.append(f"In {place}.")
    shown_name = _cut(name, MAX_TITLE - len(what) - 2)
    if shown_name != name:
        parts.insert(1, f"{name}.")
    text = ""
    for part in parts:
        text = added(text, part, room)
    return replace(notice, title=f"{shown_name}: {what}", text=text + number)


def with_lateness(notice: Notice) -> Notice:
    """The notice, that says so if it closes what nobody was told of, where that fits."""
    if not notice.late or len(OVER) + len(notice.text) > MAX_TEXT:
        return notice
    return replace(notice, text=OVER + notice.text)


def what_is(facts: Facts, site: Site) -> str:
    """What is the matter, or no longer: `too hot`, `STILL too hot`, `no longer judged`."""
    rule = site.rules[facts.rule]
    if facts.unjudged:
        return "no longer judged"
    if facts.over and rule.level == LETHAL and _still_outside(facts):
        return STILL_HOT
    what = matter(rule, facts.about, facts.over)
    return still(what) if facts.still and not facts.over else what


def told_advice(facts: Facts, site: Site) -> list[str]:
    """Likely harm and first act: the rule's own, or what is to be moved before that."""
    found = advice(site.rules[facts.rule], facts.about, of_hens=facts.of_hens)
    return found if facts.move is None else [*found[:-1], moving_words(facts.move, site)]


def _still_outside(facts: Facts) -> bool:
    """Whether what passed leaves the air beyond the alarm limit of its band: read half asleep, "no longer" is heard as all is well."""
    high_alarm = None if facts.band is None else facts.band.high_alarm
    return facts.value is not None and high_alarm is not None and facts.value > high_alarm


def still(what: str) -> str:
    """The same, of what was told before and stands."""
    return f"STILL {what}"


def name_and_place(facts: Facts, site: Site) -> tuple[str, str]:
    """(name, place): what it is about; and of a batch the machine that it is in, where the name in the title has no room for it."""
    name, machine = subject_name(facts.subject, site), site.machines.get(facts.place)
    if machine is None or not subject_words(facts.subject):
        return name, ""
    placed = f"{name} in {machine.name}"
    return (placed, "") if len(f"{placed}: {what_is(facts, site)}") <= MAX_TITLE else (name, machine.name)


def value_since(notice: Notice, facts: Facts, site: Site) -> str:
    """`39.5 °C, band 37.5 to 38.1, since 02:14.`"""
    return f"{_value(facts, site, ', ')}since {since(notice, facts, site)}."


def since(notice: Notice, facts: Facts, site: Site) -> str:
    """When it began, as it was said when the notice was made."""
    return local_time(facts.since or notice.created, site.zone, notice.created)


def added(text: str, part: str, room: int) -> str:
    """The text and one more part, if it fits into so many characters, the blank after it counted."""
    return f"{text}{part} " if part and len(text) + len(part) + 1 <= room else text


def _value(facts: Facts, site: Site, joint: str) -> str:
    if facts.value is None or not facts.quantity:
        return ""
    if facts.quantity == EGG:  # an estimate has a limit, and no band that anyone sets
        told = None if facts.over else facts.limit
        limit = "" if told is None else f", limit {show_value(DRY_BULB, told, site.unit)}"
        return f"{_shown(facts, facts.value, site)}{limit}{joint}"
    if facts.limit is not None and _by_own_limit(facts, site.rules[facts.rule]):
        return f"{_shown(facts, facts.value, site)}, limit {show_value(facts.quantity, facts.limit, site.unit)}{joint}"
    if facts.band is None:
        return f"{_shown(facts, facts.value, site)}{joint}"
    finer = finer_beside(facts.quantity, facts.value, facts.band, unit=site.unit)
    shown = show_value(facts.quantity, facts.value, site.unit, finer=finer)
    return f"{shown}, band {show_band(facts.quantity, facts.band, site.unit, finer=finer)}{joint}"


def _by_own_limit(facts: Facts, rule: Rule) -> bool:
    """Whether the value is beyond the house's own limit, and within the band: beside that it would say nothing."""
    if facts.over or facts.band is None or facts.value is None or facts.limit is None:
        return False
    low, high = facts.band.calm
    within = (low is None or low <= facts.value) and (high is None or facts.value <= high)
    return within and (facts.value > facts.limit if rule.side == ABOVE else facts.value < facts.limit)


def _worst(facts: Facts, site: Site) -> str:
    if facts.worst is None or not facts.quantity:
        return ""
    return f", worst {_shown(facts, facts.worst, site)}"


def _shown(facts: Facts, value: float, site: Site) -> str:
    """A value, the newest or the worst; an estimate with as much doubt as the newest has."""
    if facts.range_c is None or facts.value is None:
        return show_value(facts.quantity, value, site.unit)
    low_c, high_c = facts.range_c
    return show_estimate(value, (low_c - facts.value + value, high_c - facts.value + value), site.unit)


def _lasted(facts: Facts, at: datetime) -> str:
    if facts.since is None:
        return "a while"
    return rough_span(((facts.ended or at) - facts.since).total_seconds())


def _batches(facts: Facts) -> str:
    if not facts.batches:
        return ""
    shown = [f"{b.batch} day {b.day} {b.stage}" for b in facts.batches[:2]]
    more = len(facts.batches) - len(shown)
    return ", ".join(shown) + (f" and {more} more." if more > 0 else ".")


def _cut(name: str, length: int) -> str:
    """The name, its end cut where it is too long: what is the matter must stay in the title."""
    return name if len(name) <= length else f"{name[: length - 1]}…"
