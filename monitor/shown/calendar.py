"""What is due for a batch, as a calendar that any phone reads: iCalendar (RFC 5545), written by hand, for it is a few lines.

What falls on which day is `domain/eggs/dates.py`. Times are UTC; the calendar shows its own zone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from monitor.domain.eggs.book import EggBook, looks
from monitor.domain.eggs.dates import CANDLE, DECLARED, DRAW_DOWN, LOCKDOWN, TASK, Dated, candling_day, dates_of
from monitor.domain.eggs.entry import Entry, LookAgain
from monitor.domain.needs.batch import Batch, day_words
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Site
from monitor.domain.wall import printable
from monitor.shown.entries import eggs_words

LINE_OCTETS = 75  # RFC 5545, 3.1: without the line break
WEIGH = (
    "Common practice: at the set, with each candling and before lockdown; of four weighings a wrong one mostly shows."
)
_ESCAPED = {"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"}


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that is due. key: what makes it the same one when the calendar is read again."""

    key: str
    since: datetime
    until: datetime
    summary: str
    about: str


def due_of(batch: Batch, profile: Profile, store_h: tuple[float, float] = (0.0, 0.0)) -> list[Due]:
    """What is due for a batch, in order: weighing, candling, lockdown, the hatch window. store_h: by how much days in store delay it."""

    eggs = f"{eggs_words(batch.eggs)} of {profile.name}" if batch.eggs is not None else profile.name
    return [
        Due(each.key, each.since, each.until, *_said(each, batch, profile, eggs=eggs, store_h=store_h))
        for each in dates_of(batch, profile, store_h)
    ]


def _said(each: Dated, batch: Batch, profile: Profile, *, eggs: str, store_h: tuple[float, float]) -> tuple[str, str]:
    """(summary, about) of one thing that falls due."""
    if each.key == "weigh-set":
        return f"{batch.id}: weigh", f"{eggs}, when they are set. {WEIGH}"
    if each.key == "weigh-lockdown":
        sign = profile.lockdown_sign is not None and not any(d.stage == "lockdown" for d in batch.declared)
        return f"{batch.id}: weigh", f"{eggs}, before {'draw-down' if sign else 'lockdown'}. {WEIGH}"
    if each.kind == CANDLE:
        third = int(each.key[-1])
        custom = f"A custom, as the hen's day {7 * third} of 21; no source of the profile gives a day."
        return f"{batch.id}: candle and weigh", f"{eggs}, day {candling_day(profile, third)}. {custom}"
    if each.kind == DECLARED:
        return f"{batch.id}: lockdown, declared", f"{eggs}, declared on day {day_words(batch.day(each.since))}."
    if each.kind == DRAW_DOWN:
        sign_words = f"Lockdown begins when {profile.lockdown_sign} is seen, not by the day."
        return f"{batch.id}: draw-down may begin, candle", f"{eggs}, day {profile.lockdown_day:g}. {sign_words}"
    if each.kind == LOCKDOWN:
        return f"{batch.id}: lockdown", f"{eggs}, day {profile.lockdown_day:g}."
    first, last = profile.hatch_day_first, profile.hatch_day_last
    about = f"{eggs}, from day {first:g} to day {last:g}; the term is {profile.days:g} days."
    if store_h[1] > 0.0:
        about += f" Days in store make it up to {store_h[1]:.0f} h later (common practice)."
    return f"{batch.id}: hatch", about


def next_due(batches: Iterable[tuple[Batch, tuple[float, float]]], site: Site, now: datetime) -> list[Due]:
    """What comes next for each open batch, the soonest first; nothing of a batch whose species nobody knows. batches: each with by how much days
    in store delay its hatch, h."""
    found = []
    for batch, store_h in batches:
        if batch.profile in site.profiles:
            to_come = [due for due in due_of(batch, site.profiles[batch.profile], store_h) if due.until > now]
            found += to_come[:1]
    return sorted(found, key=lambda due: due.since)


def looks_of(book: EggBook, egg: int) -> list[Due]:
    """When an egg is to be looked at again, or the whole batch; in order."""
    whole = (None, None)
    return [due for entry, due in _looks(book) if entry.egg == egg or (entry.egg, entry.count) == whole]


def looks_ahead(book: EggBook, now: datetime) -> list[Due]:
    """When eggs of a batch are to be looked at again from now on, in order; what is due by now is an alarm."""
    return [due for _, due in _looks(book) if due.since > now]


def _looks(book: EggBook) -> list[tuple[Entry, Due]]:
    found = []
    for entry in looks(book):
        fact = entry.fact
        if isinstance(fact, LookAgain):
            about = f"{book.batch.id} egg {entry.egg}" if entry.egg is not None else book.batch.id
            key, until = f"look-{entry.number}", fact.look_at + TASK
            found.append((entry, Due(key, fact.look_at, until, f"{about}: look again", fact.text)))
    return sorted(found, key=lambda each: each[1].since)


def to_ics(
    batch: Batch,
    profile: Profile,
    *,
    site_id: str,
    now: datetime,
    more: Sequence[Due] = (),
    store_h: tuple[float, float] = (0.0, 0.0),
) -> str:
    """The calendar of a batch, and what more is due. Written again, it replaces what was read before: each entry keeps its UID, so
    that one which stands in two calendars is the same; DTSTAMP is `now`."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//eggroom//batch calendar//EN"]
    for due in sorted((*due_of(batch, profile, store_h), *more), key=lambda each: each.since):
        lines += [
            "BEGIN:VEVENT",
            f"UID:{batch.id}-{due.key}@{site_id}.eggroom.invalid",
            f"DTSTAMP:{_utc(now)}",
            f"DTSTART:{_utc(due.since)}",
            f"DTEND:{_utc(due.until)}",
            f"SUMMARY:{_text(due.summary)}",
            f"DESCRIPTION:{_text(due.about)}",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _folded(line))


def _utc(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def _text(text: str) -> str:
    """A TEXT value (RFC 5545, 3.3.11): no control characters, four of the others escaped."""
    plain = "\n".join(printable(line) for line in text.split("\n"))
    return "".join(_ESCAPED.get(c, c) for c in plain)


def _folded(line: str) -> Iterator[str]:
    """The line in parts of no more than LINE_OCTETS, no character cut in two; each but the first begins with a space."""
    part, octets = "", 0
    for character in line:
        size = len(character.encode())
        if octets + size > LINE_OCTETS:
            yield part
            part, octets = " ", 1
        part += character
        octets += size
    yield part
