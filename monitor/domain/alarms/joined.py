"""Several notices in one message: what is the matter with how many, which came first, which else, and the numbers to answer with.

A flood of alarms mostly has one cause, and the alarm that came first points at it (the first-out of a group: OPC UA Part 9,
FirstInGroup). So the message is led by the worst, and names the first: "6 machines too hot: first Setter 1 at 02:14". A first that was
told by itself a moment ago is named, and counted, all the same.

What is needed is read back from the notices' own words (`notice.word`): the title is "name: what", the text has "since 02:14.".
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from monitor.domain.alarms.notice import MAX_TEXT, MAX_TITLE, Notice
from monitor.domain.needs.rules import PRIORITIES

RUN_GAP = timedelta(
    minutes=2
)  # alarms closer than this are one flood: a room warms its machines one after the other (judgement)
OVER = "It happened and is over; this is the first you hear of it. "
STILL = "STILL "
_LEAD_ROOM = 110  # characters for the names of the worst, when other things must be told too
_SHOWN_NUMBERS = 5
_SINCE = re.compile(r"\bsince ((?:\w{3} |\d{4}-\d\d-\d\d )?\d\d:\d\d)\b")
_OF_PROBE = re.compile(r" \([a-z0-9-]{1,32}/[a-z0-9-]{1,32}\)$")
_VALUE = re.compile(r"^[a-z ]*-?[0-9.]+ (°C|°F|%RH)")  # with this, an alarm's text is about the air of one machine
_SENTENCE = re.compile(r"(?<=\.) ")


@dataclass(frozen=True, slots=True)
class _Item:
    """One episode as it is told: its notice, and what its title says of whom."""

    notice: Notice
    name: str
    what: str
    machine: bool


@dataclass(frozen=True, slots=True)
class _Group:
    """Episodes of which the same is said; the first to come first."""

    what: str
    items: tuple[_Item, ...]

    @property
    def head(self) -> Notice:
        """The most urgent, of equals the first."""
        return max(self.items, key=lambda i: (_urgency(i.notice), -i.notice.id)).notice

    @property
    def names(self) -> list[str]:
        """Each name once: a machine with four silent probes is one machine."""
        return list(dict.fromkeys(i.name for i in self.items))


def episode(notice: Notice) -> int:
    """What belongs together: an alarm's number names one episode; a notice about no alarm stands for itself."""
    return notice.alarm_number or -notice.id


def reminds(notice: Notice) -> bool:
    """Whether it only says again what stands."""
    return f": {STILL}" in notice.title


def told_late(closing: Notice) -> Notice:
    """The closing notice of an episode whose beginning was never told."""
    if closing.text.startswith(OVER) or len(OVER) + len(closing.text) > MAX_TEXT:
        return closing
    return replace(closing, text=OVER + closing.text)


def join(notices: Sequence[Notice], told: Sequence[Notice] = ()) -> Notice:
    """One notice that tells all of them (at least one), led by the most urgent that still stands; its text is under MAX_TEXT.

    told: what the contact was told in the last minutes; of it only those are named that belong to the same flood.
    """
    newest = {episode(n): n for n in sorted(notices, key=lambda n: n.id)}
    if len(newest) == 1:
        (last,) = newest.values()
        began_unheard = last.closing and any(not n.closing for n in notices)
        return told_late(last) if began_unheard else last
    lead, *others = _groups(newest.values())
    run = [] if lead.head.closing else _run(lead, (*told, *notices))
    count = _Group(lead.what, (*lead.items, *_fellows(lead, run, told, newest)))
    standing = [*count.items, *(i for g in others if not g.head.closing for i in g.items)]
    first = _first(lead, run) if run and len(standing) > 1 else ""
    title, in_title = _title(count, others, first)
    numbers = sorted({n.alarm_number for n in newest.values()} - {0})
    text = _text(lead, others, _rest(lead, count, run), "" if in_title else first, _numbers(numbers))
    return replace(lead.head, title=title, text=text)


def _groups(notices: Iterable[Notice]) -> list[_Group]:
    """What still stands before what is over, the most urgent before the mild, of equals the one that came first."""
    by_what: dict[tuple[bool, str], list[_Item]] = {}
    for notice in sorted(notices, key=_came):
        item = _item(notice)
        by_what.setdefault((notice.closing, item.what.removeprefix(STILL)), []).append(item)
    groups = []
    for (_, what), items in by_what.items():
        still = STILL if all(i.what.startswith(STILL) for i in items) else ""
        groups.append(_Group(still + what, tuple(items)))
    return sorted(groups, key=lambda g: (g.head.closing, -_urgency(g.head), _came(g.items[0].notice)))


def _item(notice: Notice) -> _Item:
    name, found, what = notice.title.rpartition(": ")
    if not found:
        return _Item(notice, notice.title, "", False)
    machine = _OF_PROBE.sub("", name)
    return _Item(notice, machine, what, machine != name or _VALUE.match(notice.text) is not None)


def _run(lead: _Group, known: Iterable[Notice]) -> list[Notice]:
    """The beginnings of the flood that the worst belongs to, the first first: each came within RUN_GAP of the one before."""
    began: dict[int, Notice] = {}
    for notice in sorted((n for n in known if not n.closing and n.alarm_number), key=lambda n: n.id):
        began.setdefault(episode(notice), notice)
    ordered = sorted(began.values(), key=_came)
    mine = episode(lead.items[0].notice)
    run: list[Notice] = []
    for notice in ordered:
        if run and notice.created - run[-1].created > RUN_GAP:
            if any(episode(n) == mine for n in run):
                break
            run = []
        run.append(notice)
    return run if any(episode(n) == mine for n in run) else []


def _fellows(lead: _Group, run: Iterable[Notice], told: Iterable[Notice], newest: dict[int, Notice]) -> list[_Item]:
    """Those of the same flood of which the same was told already, and which were not told to be over."""
    over = {episode(n) for n in told if n.closing}
    return [
        item
        for item in map(_item, run)
        if item.what.removeprefix(STILL) == lead.what.removeprefix(STILL)
        and episode(item.notice) not in newest
        and episode(item.notice) not in over
    ]


def _first(lead: _Group, run: Sequence[Notice]) -> str:
    """Which came first, and when: "Setter 1 at 02:14"; with what, if that is another thing than the worst."""
    first = _item(run[0])
    what = first.what.removeprefix(STILL)
    since = _SINCE.search(first.notice.text)
    said = first.name if what == lead.what.removeprefix(STILL) else f"{first.name} {what}"
    return f"{said} at {since[1]}" if since else said


def _title(lead: _Group, others: Sequence[_Group], first: str) -> tuple[str, bool]:
    """(title, whether it names the first)."""
    more = sum(len(g.items) for g in others if not g.head.closing)
    tail = f", {more} more" if more else ""
    names = lead.names
    if len(names) > 1:
        count = f"{len(names)} machines" if all(i.machine for i in lead.items) else f"{len(names)} ×"
    else:
        count = names[0]
    said = f"{count} {lead.what}".rstrip() + tail
    if len(said) > MAX_TITLE:
        room = max(1, MAX_TITLE - (len(said) - len(count)) - 1)
        said = f"{count[:room]}… {lead.what}{tail}"[:MAX_TITLE]
    full = f"{said}: first {first}"
    return (full, True) if first and len(full) <= MAX_TITLE else (said, not first)


def _rest(lead: _Group, count: _Group, run: Sequence[Notice]) -> tuple[str, list[str]]:
    """Whom the title does not name, of those that are told now; with "Then " where it names the first of them."""
    opened = _item(run[0]) if run else None
    if opened is not None and opened.what.removeprefix(STILL) == lead.what.removeprefix(STILL):
        return "Then ", [name for name in lead.names if name != opened.name]
    return "", lead.names if len(count.names) > 1 else []


def _text(lead: _Group, others: Sequence[_Group], rest: tuple[str, list[str]], first: str, numbers: str) -> str:
    """The parts in the order of their worth, as many as fit; what is not named is counted."""
    room = MAX_TEXT - 1 - len(numbers)  # under MAX_TEXT
    text = f"First {first}. " if first else ""
    then, names = rest
    if names:
        space = (_LEAD_ROOM if others else room) - len(text) - len(f"{then}. ")
        text = _added(text, f"{then}{_listed(names, space)}.", room)
    if len(lead.items) == 1 and not lead.head.closing:
        text = _added(text, _SENTENCE.split(lead.head.text)[0], room)
    unnamed = 0
    for group in others:
        space = room - len(text) - len(f"{group.what}: . And 99 more. ")
        line = f"{group.what[:1].upper()}{group.what[1:]}: {_listed(group.names, space)}."
        longer = _added(text, line, room - len("And 99 more. ")) if space > 0 else text
        unnamed += len(group.items) if longer == text else 0
        text = longer
    if unnamed:
        text = _added(text, f"And {unnamed} more.", room)
    for sentence in _advice(lead.head):
        text = _added(text, sentence, room)
    return text + numbers


def _added(text: str, part: str, room: int) -> str:
    return f"{text}{part} " if len(text) + len(part) + 1 <= room else text


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


def _advice(notice: Notice) -> list[str]:
    """Likely harm and first act: of an alarm's sentences the last that are no list of batches."""
    if notice.closing:
        return []
    said = _SENTENCE.split(notice.text)[1:]
    return [s for s in said if s[:1].isupper() and not s.startswith("No.")][-2:]


def _numbers(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"No. {numbers[0]} to {numbers[-1]}"
    left = len(numbers) - _SHOWN_NUMBERS
    return "No. " + ", ".join(str(n) for n in numbers[:_SHOWN_NUMBERS]) + (f" and {left} more" if left > 0 else "")


def _came(notice: Notice) -> tuple[float, int]:
    """Alarms are numbered in the order in which they begin; what is about no alarm comes last."""
    return (notice.alarm_number or float("inf"), notice.id)


def _urgency(notice: Notice) -> int:
    return PRIORITIES.index(notice.priority)
