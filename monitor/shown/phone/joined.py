"""Several notices in one message, in words; which of them go together, and which leads, is `domain/alarms/joined.py`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from monitor.domain.alarms.about import About
from monitor.domain.alarms.alarm import Cause
from monitor.domain.alarms.joined import Alike, Joined, episode, gather, reminds
from monitor.domain.alarms.notice import Notice, Today
from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import CRITICAL, HIGH
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import Calibration
from monitor.domain.state.happened import Happened
from monitor.shown.about import about_words
from monitor.shown.calibrations import said
from monitor.shown.form import capital
from monitor.shown.happened import cause_words, happened_words
from monitor.shown.phone.notices import (
    MAX_TEXT,
    MAX_TITLE,
    added,
    late_words,
    name_and_place,
    reached_words,
    since,
    still,
    told_advice,
    urgency_word,
    value_since,
    what_is,
    with_lateness,
    worded,
)
from monitor.shown.phone.today import today_worded
from monitor.shown.values import subject_name

_SHOWN_NUMBERS = 4  # of one machine
_COUNT = "And 999 more. "  # room is kept for it: what is not named is counted


@fixed
class _Said:
    """Alike episodes in words. what: empty of one that has its words alone: they are its name. names: each once, without numbers."""

    alike: Alike
    what: str
    names: list[str]


@fixed
class _Told:
    """Things to name after the same words. things: (name with its numbers, how many alarms that is). urgent: whether it is news that wants
    somebody now, and of another kind than the worst: then one of them at least should be named."""

    before: str
    things: list[tuple[str, int]]
    urgent: bool


@fixed
class _Whole:
    """A text that names others too. passed_over: of how many urgent kinds it names none."""

    text: str
    passed_over: int


class NoticeWords:
    """The port `Words` in English, for what one site's contacts are told."""

    def __init__(self, site: Site) -> None:
        self._site = site

    def word(self, notice: Notice) -> Notice:
        """See the port."""
        if notice.today is not None:
            return today_worded(notice, self._sayable_today(notice.today), self._site)
        return worded(notice, self._site)

    def about(self, about: About) -> str:
        """See the port."""
        return about_words(about, self._site)

    def happened(self, what: Happened) -> str:
        """See the port."""
        return happened_words(what)

    def cause(self, cause: Cause) -> str:
        """See the port."""
        return cause_words(cause)

    def calibration(self, calibration: Calibration) -> str:
        """See the port."""
        return said(calibration)

    def join(self, notices: Sequence[Notice], told: Sequence[Notice] = ()) -> Notice:
        """See the port. Led by the most urgent that still stands; of what was told, those are named that belong to the same flood."""
        summaries = [n for n in notices if n.today is not None]
        if (
            summaries
        ):  # it says itself what is low, as that was when it was made: the notices of those go along without a word
            return self.word(max(summaries, key=lambda n: n.id))
        one = gather([self._sayable(n) for n in notices], [self._sayable(n) for n in told])
        if isinstance(one, Notice):
            return with_lateness(one if one.as_of is None else self.word(one))
        lead = self._said(one.lead)
        first = self._first(one)
        title, in_title = self._title(one, lead, first)
        text = self._text(one, lead, "" if in_title else first)
        return replace(one.lead.head, title=title, text=text)

    def _sayable(self, notice: Notice) -> Notice:
        """The notice; without its facts where they are about a rule that this program does not have: then it has its words alone."""
        return notice if notice.facts is None or notice.facts.rule in self._site.rules else replace(notice, facts=None)

    def _sayable_today(self, today: Today) -> Today:
        """What of it this program has a rule for."""
        return replace(today, standing=tuple(s for s in today.standing if s.facts.rule in self._site.rules))

    def _said(self, alike: Alike) -> _Said:
        return _Said(alike, self._what(alike.head, again=alike.still), self._names(alike.notices))

    def _what(self, notice: Notice, again: bool = False) -> str:
        if notice.facts is None:
            return ""
        what = what_is(replace(notice.facts, still=False), self._site)
        return still(what) if again else what

    def _name(self, notice: Notice) -> str:
        """Whom it is about; of a probe its machine, for whoever is woken goes to that."""
        facts = notice.facts
        if facts is None:
            return notice.title
        probe = self._site.probes.get(facts.subject)
        return name_and_place(facts, self._site)[0] if probe is None else subject_name(probe.machine, self._site)

    def _names(self, notices: Iterable[Notice]) -> list[str]:
        """Each name once: a machine with four silent probes is one machine."""
        return list(dict.fromkeys(map(self._name, notices)))

    def _of_a_machine(self, notice: Notice) -> bool:
        """Whether it tells of one machine: of its air, or of a probe in it."""
        facts = notice.facts
        return facts is not None and (facts.tells_value or facts.subject in self._site.probes)

    def _first(self, one: Joined) -> str:
        """Which came first, and when: "Setter 1 at 02:14"; with what, if that is another thing than the worst."""
        first = one.first
        if first is None or first.facts is None or episode(first) == episode(one.lead.head):
            return ""  # the worst is told with its time
        name = self._name(first)
        said = name if one.began_alike else f"{name} {self._what(first)}"
        return f"{said} at {since(first, first.facts, self._site)}"

    def _title(self, one: Joined, lead: _Said, first: str) -> tuple[str, bool]:
        """(title, whether it names the first)."""
        how, tail = urgency_word(one.lead.head), f", {one.more} more" if one.more else ""
        alike = (*one.lead.notices, *one.fellows)
        names = self._names(alike)
        shorter = f"{len(names)} ×"
        if len(names) > 1:
            count = f"{len(names)} machines" if all(map(self._of_a_machine, alike)) else shorter
        else:
            count = shorter = names[0] if lead.what else names[0].removeprefix(f"{how}: ")
        forms = [f"{how}: {f'{who} {lead.what}'.rstrip()}{more}" for more in (tail, "") for who in (count, shorter)]
        said = next((form for form in forms if len(form) <= MAX_TITLE), forms[-1])
        if len(said) > MAX_TITLE:
            room = max(1, MAX_TITLE - (len(said) - len(shorter)) - 1)
            said = f"{how}: {shorter[:room]}… {lead.what}".rstrip()[:MAX_TITLE]
        full = f"{said}, first {first}"
        return (full, True) if first and len(full) <= MAX_TITLE else (said, not first)

    def _text(self, one: Joined, lead: _Said, first: str) -> str:
        """The worst in full; then the others, each with its number, as many as fit; what is not named is counted."""
        head = one.lead.head
        if one.lead.closing:
            text, left = "", [*one.lead.notices]
        else:
            text, left = self._in_full(one, lead), [n for n in one.lead.notices if n is not head]
        parts = [("" if one.lead.closing or not lead.what else "Also ", left)] if left else []
        parts += [
            ("", [*group.notices]) if not what else (f"{capital(what)}: ", [*group.notices])
            for group in one.others
            for what in (self._what(group.head, again=group.still),)
        ]
        told = [
            _Told(before, self._things(notices), notices is not left and any(map(_urgent, notices)))
            for before, notices in parts
        ]
        whole = _with_others(text, told)
        if not one.lead.closing and whole.passed_over:
            # Whoever is woken must hear of each thing that wants her now; the first act can be read on the screen.
            whole = min(whole, _with_others(self._in_full(one, lead, act=False), told), key=lambda w: w.passed_over)
        text = whole.text
        if first:
            text = added(text, f"First{'' if one.began_alike else ':'} {first}{_told_number(one)}.", MAX_TEXT + 1)
        if not one.lead.closing and head.facts is not None:
            text = added(text, reached_words(head, head.facts, self._site), MAX_TEXT + 1)
        return text.rstrip()

    def _in_full(self, one: Joined, lead: _Said, *, act: bool = True) -> str:
        """The worst by itself, as much of it as leaves room to count the rest: whom, value, number, first act, likely harm."""
        head, room = one.lead.head, MAX_TEXT - len(_COUNT)
        named = len(self._names((*one.lead.notices, *one.fellows))) > 1
        whom, number = (
            (f"{self._name(head)}: " if named else ""),
            (f"No. {head.alarm_number}." if head.alarm_number else ""),
        )
        if head.facts is None:
            return _cut(f"{whom}{head.text} ", room)
        value = f"{whom}{value_since(head, head.facts, self._site)}"
        text = added(added("", capital(value), room), number, room)
        text = added(text, late_words(head, head.facts, self._site), room)
        *harm, first_act = self._advice(one.lead)
        alone = len(one.lead.notices) + one.more == 1
        for sentence in ((first_act, *harm) if alone else (first_act,)) if act else ():
            text = added(text, sentence, room)
        return text

    def _things(self, notices: Sequence[Notice]) -> list[tuple[str, int]]:
        """(name with the numbers to answer with, how many alarms that is), each name once."""
        numbers: dict[str, list[int]] = {}
        for notice in notices:
            numbers.setdefault(self._name(notice), []).append(notice.alarm_number)
        return [(f"{name}{_numbers(sorted(found))}", len(found)) for name, found in numbers.items()]

    def _advice(self, lead: Alike) -> list[str]:
        """Likely harm and first act."""
        facts = lead.head.facts
        if facts is None:
            return [""]
        of_hens = any(notice.facts is not None and notice.facts.of_hens for notice in lead.notices)
        return told_advice(replace(facts, of_hens=of_hens), self._site)


def _told_number(one: Joined) -> str:
    """The number of the first where it was told before this message."""
    first = one.first
    return (
        ""
        if first is None or not first.alarm_number or first.alarm_number in one.numbers
        else f" (No. {first.alarm_number})"
    )


def _urgent(notice: Notice) -> bool:
    return notice.priority in (HIGH, CRITICAL) and not notice.closing and not reminds(notice)


def _with_others(text: str, others: Sequence[_Told]) -> _Whole:
    """The text, and as many of the others as fit; what is not named is counted."""
    unnamed = passed_over = 0
    for each in others:
        shown = _fitting(each.before, each.things, MAX_TEXT - len(text) - len(_COUNT))
        left = sum(many for _, many in each.things[shown:])
        unnamed += left
        passed_over += each.urgent and not shown
        if shown:
            text += f"{each.before}{', '.join(thing for thing, _ in each.things[:shown])}. "
    return _Whole(f"{text}And {unnamed} more. " if unnamed else text, passed_over)


def _fitting(before: str, things: Sequence[tuple[str, int]], room: int) -> int:
    """How many of them fit behind these words."""
    length = len(before) + len(". ")
    for place, (thing, _) in enumerate(things):
        length += len(thing) + (len(", ") if place else 0)
        if length > room:
            return place
    return len(things)


def _numbers(numbers: Sequence[int]) -> str:
    """` (No. 3)`, ` (No. 2, 5)`, of many the first and how many; empty where there is nothing to answer."""
    known = [n for n in numbers if n]
    if not known:
        return ""
    left = len(known) - _SHOWN_NUMBERS
    more = f" and {left} more" if left > 0 else ""
    return f" (No. {', '.join(map(str, known[:_SHOWN_NUMBERS]))}{more})"


def _cut(text: str, room: int) -> str:
    return text if len(text) <= room else f"{text[: room - 2].rstrip()}… "
