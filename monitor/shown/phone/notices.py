"""One notice in words, for someone who has just been woken: how urgent, machine and what in the title; then value and target, since when, the
first act, which batches, likely harm, and the number to answer with.

Critical and high share a word: half asleep one asks only whether to get up, and both say so. What tells them apart is the sound (a contact's
own address for a priority, and the service's own priority).

Another language for the phone is another `NoticeWords` (`shown/phone/joined.py`), in place of the one that `app` hands in. Its words come from:
this module and `joined.py` beside it, sentence by sentence; `values.py`, what a value, a band and a subject are called; and the words,
over, consequence and first_act of each rule in `data/rules.toml`; `about.py`, what an alarm without a value is about and why one is no
longer judged; `happened.py`, what else happened; `entries.py`, what was written of an egg. Not from here: the names of quantities, signs and stages, which are data.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from monitor.domain.alarms.about import Fault, Restarting, Switched, Unfit, Unrecorded, Unusable, why_of
from monitor.domain.alarms.notice import Facts, Notice
from monitor.domain.needs.bands import DRY_BULB, EGG
from monitor.domain.needs.batch import subject_words
from monitor.domain.needs.rules import ABOVE, CRITICAL, HIGH, LETHAL, LOW, MEDIUM, Rule
from monitor.domain.needs.site import Site
from monitor.domain.wall import local_time, printable
from monitor.shown.about import LOST, about_words, advice, matter, moving_words, unjudged_words
from monitor.shown.form import capital, rough_span
from monitor.shown.values import finer_beside, show_band, show_estimate, show_value, subject_name

# What a locked phone shows before it folds, in characters: a line of title and some four of text. Judgement, from what services say of phones:
# texts of 140 to 180 (the newer ones less), titles of 30 to 50. So value and first act come first.
MAX_TEXT = 178
MAX_TITLE = 50
URGENT, SOON, WHEN_YOU_CAN, PAST = "Urgent", "Soon", "When you can", "Over"
_WORD = {CRITICAL: URGENT, HIGH: URGENT, MEDIUM: SOON, LOW: WHEN_YOU_CAN}
STILL_HOT = "no longer deadly, still too hot"
OVER = "It happened and is over; this is the first you hear of it. "


def worded(notice: Notice, site: Site) -> Notice:
    """The notice with its title and text, made of its facts; as it is where it has none.

    The parts come in the order of their worth; what does not fit is cut from the end.
    """
    facts = notice.facts
    if facts is None:
        return notice
    rule, what, how = site.rules[facts.rule], what_is(facts, site), urgency_word(notice)
    number = f"No. {notice.alarm_number}"
    room, about = MAX_TEXT - len(number), ""
    if facts.unjudged:
        parts = [f"Was {matter(rule, facts.about)}; {unjudged_words(facts.unjudged)}."]
    elif facts.over:
        parts = [f"{_value(facts, site, '. ')}Lasted {_lasted(facts, notice.created)}{_worst(facts, site)}."]
        if isinstance(facts.about, Switched) and facts.about.felt:
            parts.append(_about(facts, site))
    else:
        parts = [value_since(notice, facts, site)]
        about = _about(facts, site) if facts.value is None else ""
        if not about or len(parts[0]) + len(about) + 2 > room:  # what it is about names the batches itself, if it fits
            about = _batches(facts)
        parts.append(f"It comes and goes: {facts.times} times." if facts.times else "")
        *harm, act = told_advice(facts, site)
        if facts.value is None and facts.about:
            parts += [about, late_words(notice, facts, site), reached_words(notice, facts, site), act, *harm]
        else:
            doubt = "Sensor doubtful." if facts.doubtful else ""
            parts += [late_words(notice, facts, site), doubt, reached_words(notice, facts, site), act, about, *harm]
    name, place = name_and_place(facts, site, how)
    if place:
        parts.append(f"In {place}.")
    shown_name = _cut(name, MAX_TITLE - len(f"{how}:  {what}"))
    if shown_name != name:
        parts.insert(1, f"{name}.")
    text = ""
    for part in parts:
        forms = (part, _batches(facts), _batches(facts, named=1)) if part and part == about else (part,)
        text = next((longer for form in forms if (longer := added(text, form, room)) != text), text)
    text = capital(text)
    whole = not facts.over and why_of(facts.about) in LOST  # it is the house's, and says so
    whom = "" if whole else f"{shown_name} "
    return replace(notice, title=f"{how}: {whom}{what}", text=text + number)


def urgency_word(notice: Notice) -> str:
    """The first word of the title: whether to get up."""
    return PAST if notice.closing else _WORD[notice.priority]


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


def name_and_place(facts: Facts, site: Site, how: str = URGENT) -> tuple[str, str]:
    """(name, place): what it is about; and of a batch the machine that it is in, where the name in the title has no room for it. how: the title's first word."""
    name, machine = subject_name(facts.subject, site), site.machines.get(facts.place)
    if machine is None or not subject_words(facts.subject):
        return name, ""
    placed = f"{name} in {machine.name}"
    return (placed, "") if len(f"{how}: {placed} {what_is(facts, site)}") <= MAX_TITLE else (name, machine.name)


def value_since(notice: Notice, facts: Facts, site: Site) -> str:
    """`39.5 °C, target 37.5 to 38.1, since 02:14.`; of what was told before `39.1 °C now, worst 40.2 °C, target 37.5 to 38.1, for 25 min.`"""
    if not facts.still:
        return f"{_value(facts, site, ', ')}since {since(notice, facts, site)}."
    value = _value(facts, site, ", ")
    return f"{value}for {_lasted(facts, notice.told_at)}." if value else f"For {_lasted(facts, notice.told_at)}."


def since(notice: Notice, facts: Facts, site: Site) -> str:
    """When it began, as it was said when the notice was made."""
    return local_time(facts.since or notice.created, site.zone, notice.told_at)


def reached_words(notice: Notice, facts: Facts, site: Site) -> str:
    """Who was told, and who could not be: `Told me 18:29; sam NOT DELIVERED since 18:44.`; empty where nothing is known of it."""

    def clock(at: datetime) -> str:
        return local_time(at, site.zone, notice.told_at)

    unheard = [
        f"{r.contact} NOT DELIVERED since {clock(r.unheard_since)}"
        for r in facts.reached
        if r.unheard_since and r.contact != notice.contact  # who reads it has got it
    ]
    told = [f"told {r.contact} {clock(r.told)}" for r in facts.reached if r.told and not r.unheard_since]
    said = "; ".join(unheard + told)
    return f"{said if unheard else capital(said)}." if said else ""


def late_words(notice: Notice, facts: Facts, site: Site) -> str:
    """Since when its reader could not be told: `Could not be told since 08:47.`; empty of what came at once."""
    since = next((r.unheard_since for r in facts.reached if r.contact == notice.contact), None)
    return "" if since is None else f"Could not be told since {local_time(since, site.zone, notice.told_at)}."


def added(text: str, part: str, room: int) -> str:
    """The text and one more part, if it fits into so many characters, the blank after it counted."""
    return f"{text}{part} " if part and len(text) + len(part) + 1 <= room else text


def _value(facts: Facts, site: Site, joint: str) -> str:
    if facts.value is None or not facts.quantity:
        return ""
    finer = 0
    if facts.quantity == EGG:  # an estimate has a limit, and no band that anyone sets
        aim = "" if facts.over or facts.limit is None else f", limit {show_value(DRY_BULB, facts.limit, site.unit)}"
    elif facts.limit is not None and _by_own_limit(facts, site.rules[facts.rule]):
        aim = f", limit {show_value(facts.quantity, facts.limit, site.unit)}"
    elif facts.band is None:
        aim = ""
    else:
        finer = finer_beside(facts.quantity, facts.value, facts.band, unit=site.unit)
        aim = f", target {show_band(facts.quantity, facts.band, site.unit, finer=finer)}"
    shown = (
        show_value(facts.quantity, facts.value, site.unit, finer=finer) if finer else _shown(facts, facts.value, site)
    )
    again = f" now{_worst(facts, site)}" if facts.still and not facts.over else ""
    return f"{shown}{again}{aim}{joint}"


def shown_value(facts: Facts, site: Site) -> str:
    """The value alone; empty where there is none."""
    return "" if facts.value is None or not facts.quantity else _shown(facts, facts.value, site)


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


def _about(facts: Facts, site: Site) -> str:
    """What it is about, as a sentence; empty where there are no words of it, as of a look again for which nobody wrote why."""
    words = printable(about_words(facts.about, site))
    if isinstance(facts.about, Unfit | Fault | Unusable | Restarting | Unrecorded):
        words = capital(words)  # it begins with no name
    return f"{words}." if words else ""


def _batches(facts: Facts, named: int = 2) -> str:
    if not facts.batches:
        return ""
    shown = [f"{b.batch} day {b.day}{'' if b.stage == 'setter' else f' {b.stage}'}" for b in facts.batches[:named]]
    more = len(facts.batches) - len(shown)
    return ", ".join(shown) + (f" and {more} more." if more > 0 else ".")


def _cut(name: str, length: int) -> str:
    """The name, its end cut where it is too long: what is the matter must stay in the title."""
    return name if len(name) <= length else f"{name[: max(0, length - 1)]}…"
