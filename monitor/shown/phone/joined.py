"""Several notices in one message, in words; which of them go together, and which leads, is `domain/alarms/joined.py`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from monitor.domain.alarms.about import About
from monitor.domain.alarms.joined import Alike, Joined, gather
from monitor.domain.alarms.notice import Notice
from monitor.domain.fixed import fixed
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import Calibration
from monitor.domain.signs.seen import Seen
from monitor.shown.about import about_words
from monitor.shown.calibrations import said
from monitor.shown.entries import went_on_words
from monitor.shown.openings import opening_words
from monitor.shown.phone.notices import (
    MAX_TEXT,
    MAX_TITLE,
    added,
    name_and_place,
    since,
    still,
    told_advice,
    value_since,
    what_is,
    with_lateness,
    worded,
)
from monitor.shown.values import subject_name

_LEAD_ROOM = 110  # characters for the names of the worst, when other things must be told too
_SHOWN_NUMBERS = 5


@fixed
class _Said:
    """Alike episodes in words. what: empty of one that has its words alone: they are its name."""

    alike: Alike
    what: str
    names: list[str]


class NoticeWords:
    """The port `Words` in English, for what one site's contacts are told."""

    def __init__(self, site: Site) -> None:
        self._site = site

    def word(self, notice: Notice) -> Notice:
        """See the port."""
        return worded(notice, self._site)

    def about(self, about: About) -> str:
        """See the port."""
        return about_words(about, self._site)

    def seen(self, seen: Seen) -> str:
        """See the port."""
        return opening_words(seen)

    def calibration(self, calibration: Calibration) -> str:
        """See the port."""
        return said(calibration)

    def went_on(self, into: str, eggs: int) -> str:
        """See the port."""
        return went_on_words(into, eggs)

    def join(self, notices: Sequence[Notice], told: Sequence[Notice] = ()) -> Notice:
        """See the port. Led by the most urgent that still stands; of what was told, those are named that belong to the same flood."""
        one = gather([self._sayable(n) for n in notices], [self._sayable(n) for n in told])
        if isinstance(one, Notice):
            return with_lateness(one)
        lead = self._said(one.lead)
        first = self._first(one)
        title, in_title = self._title(one, lead, first)
        text = self._text(one, lead, "" if in_title else first)
        return replace(one.lead.head, title=title, text=text)

    def _sayable(self, notice: Notice) -> Notice:
        """The notice; without its facts where they are about a rule that this program does not have: then it has its words alone."""
        return notice if notice.facts is None or notice.facts.rule in self._site.rules else replace(notice, facts=None)

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
        if first is None or first.facts is None:
            return ""
        name = self._name(first)
        said = name if one.began_alike else f"{name} {self._what(first)}"
        return f"{said} at {since(first, first.facts, self._site)}"

    def _title(self, one: Joined, lead: _Said, first: str) -> tuple[str, bool]:
        """(title, whether it names the first)."""
        tail = f", {one.more} more" if one.more else ""
        alike = (*one.lead.notices, *one.fellows)
        names = self._names(alike)
        if len(names) > 1:
            count = f"{len(names)} machines" if all(map(self._of_a_machine, alike)) else f"{len(names)} ×"
        else:
            count = names[0]
        said = f"{count} {lead.what}".rstrip() + tail
        if len(said) > MAX_TITLE:
            room = max(1, MAX_TITLE - (len(said) - len(count)) - 1)
            said = f"{count[:room]}… {lead.what}{tail}"[:MAX_TITLE]
        full = f"{said}: first {first}"
        return (full, True) if first and len(full) <= MAX_TITLE else (said, not first)

    def _rest(self, one: Joined, lead: _Said) -> tuple[str, list[str]]:
        """Whom the title does not name, of those that are told now; with "Then " where it names the first of them."""
        if one.began is not None and one.began_alike:
            named = self._name(one.began)
            return "Then ", [name for name in lead.names if name != named]
        return "", lead.names if len(self._names((*one.lead.notices, *one.fellows))) > 1 else []

    def _text(self, one: Joined, lead: _Said, first: str) -> str:
        """The parts in the order of their worth, as many as fit; what is not named is counted."""
        numbers = _numbers(one.numbers)
        room = MAX_TEXT - 1 - len(numbers)  # under MAX_TEXT
        text = f"First {first}. " if first else ""
        then, names = self._rest(one, lead)
        if names:
            space = (_LEAD_ROOM if one.others else room) - len(text) - len(f"{then}. ")
            text = added(text, f"{then}{_listed(names, space)}.", room)
        if len(one.lead.notices) == 1 and not one.lead.closing:
            text = added(text, self._alone(one.lead.head), room)
        unnamed = 0
        for group in map(self._said, one.others):
            space = room - len(text) - len(f"{group.what}: . And 99 more. ")
            what = f"{group.what[:1].upper()}{group.what[1:]}: " if group.what else ""
            longer = added(text, f"{what}{_listed(group.names, space)}.", room - len("And 99 more. "))
            unnamed += len(group.alike.notices) if longer == text else 0
            text = longer
        if unnamed:
            text = added(text, f"And {unnamed} more.", room)
        for sentence in self._advice(one.lead):
            text = added(text, sentence, room)
        return text + numbers

    def _alone(self, notice: Notice) -> str:
        """What is told of the only one that is worst: its value, band and time."""
        return notice.text if notice.facts is None else value_since(notice, notice.facts, self._site)

    def _advice(self, lead: Alike) -> list[str]:
        """Likely harm and first act."""
        if lead.closing or lead.head.facts is None:
            return []
        of_hens = any(notice.facts is not None and notice.facts.of_hens for notice in lead.notices)
        return told_advice(replace(lead.head.facts, of_hens=of_hens), self._site)


def _listed(names: Sequence[str], room: int) -> str:
    """As many names as fit, at least one, and how many more."""
    shown = list(names[:1])
    for place, name in enumerate(names[1:], start=2):
        tail = f" and {len(names) - place} more" if place < len(names) else ""
        if len(", ".join([*shown, name]) + tail) > room:
            break
        shown.append(name)
    left = len(names) - len(shown)
    return ", ".join(shown) + (f" and {left} more" if left else "")


def _numbers(numbers: Sequence[int]) -> str:
    """`No. 1 to 6`, `No. 2, 3, 9`; empty where there is nothing to answer."""
    if not numbers:
        return ""
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"No. {numbers[0]} to {numbers[-1]}"
    left = len(numbers) - _SHOWN_NUMBERS
    return "No. " + ", ".join(str(n) for n in numbers[:_SHOWN_NUMBERS]) + (f" and {left} more" if left > 0 else "")
