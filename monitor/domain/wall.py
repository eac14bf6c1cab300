"""What is shown, on every floor: a moment for people, as on the wall, and for programs; and what somebody typed without what a terminal or a page would obey."""

from __future__ import annotations

import textwrap
import unicodedata
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise

WIDTH = 80  # columns of a terminal
# Between a number and what it counts, between these words and their number, and before an hour, no line ends.
_COUNTED = frozenset(
    ["%", "%RH", "%RH·h", "°C", "°F", "K", "K·h", "kPa", "d", "h", "min", "s", "g", "mg", "mm", "egg", "eggs"]
)
_NUMBERED = ("No.", "day", "Day")
_HARD = "\N{NO-BREAK SPACE}"
# As `wall_time` writes them: from a day to its month no line ends either.
_MONTHS = frozenset(["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"])
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def wall_time(at: datetime, zone: tzinfo, now: datetime | None = None, *, seconds: bool = False) -> str:
    """A time on the wall clock of a zone: `24 Nov 2026 02:14`.

    Parameters
        now: the year is left out where it is that of now, in the same zone; None where the words are kept, or no now is known.
    """
    local = at.astimezone(zone)
    day = "%d %b" if now is not None and now.astimezone(zone).year == local.year else "%d %b %Y"
    return local.strftime(f"{day} %H:%M:%S" if seconds else f"{day} %H:%M")


def local_time(at: datetime, zone: tzinfo, seen_from: datetime) -> str:
    """The time people read on the wall, with the day when it is not obvious from the hour alone: `02:14`, `Tue 02:14`."""
    local, away = at.astimezone(zone), abs(seen_from - at)
    if away < timedelta(hours=20):
        return f"{local:%H:%M}"
    return f"{_DAYS[local.weekday()]} {local:%H:%M}" if away < timedelta(days=6) else f"{local:%Y-%m-%d %H:%M}"


def sheet_time(at: datetime, zone: tzinfo) -> str:
    """The time as a report has it, which is kept and laid beside others: `2026-11-24 02:14`; with its offset in an hour that a change of
    summer time brings twice."""
    local = at.astimezone(zone)
    twice = local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()
    return local.strftime("%Y-%m-%d %H:%M%z" if twice else "%Y-%m-%d %H:%M")


def wall_clock(at: datetime, zone: tzinfo) -> str:
    """The hour and minute alone: `02:14`."""
    return f"{at.astimezone(zone):%H:%M}"


def utc_text(at: datetime, timespec: str = "milliseconds") -> str:
    """The moment for programs: RFC 3339, UTC, `2026-11-24T01:14:00.000Z`; timespec: as of `datetime.isoformat`."""
    return at.astimezone(UTC).isoformat(timespec=timespec).replace("+00:00", "Z")


def wall_day(at: datetime, zone: tzinfo) -> str:
    """The day of it alone: `24 Nov 2026`."""
    return f"{at.astimezone(zone):%d %b %Y}"


def day_month(at: datetime, zone: tzinfo) -> str:
    """The same without its year, where the year stands beside it: `24 Nov`."""
    return f"{at.astimezone(zone):%d %b}"


def printable(text: str) -> str:
    """The same with a blank for each line's end, escape, and mark that turns the direction of words.

    For people only: what a program reads (JSON, CSV) keeps what was typed.
    """
    return "".join(c if c.isprintable() else " " for c in text)


def has_controls(text: str) -> bool:
    """Whether a terminal, a table or a page would act on some of it: no typed words need that."""
    return any(unicodedata.category(char) == "Cc" for char in text)


def filled(line: str, width: int = WIDTH) -> str:
    """A line in as many of the width as it takes, those after the first set in by two more than it is."""
    if len(line) <= width:
        return line
    return "\n".join(folded(line, width, " " * (len(line) - len(line.lstrip()) + 2), on_hyphens=False))


def _held(text: str) -> str:
    """The same with a hard blank where no line may end."""
    words = text.split(" ")
    held = words[0]
    for before, word in pairwise(words):
        counted = before[-1:].isdigit() and word.rstrip(".,;:)") in _COUNTED
        counted = counted or (before == "%" and word.rstrip(".,;:)") == "RH")
        numbered = before.lstrip("(") in _NUMBERED and word[:1].isdigit()
        hour = word[2:3] == ":" and word[:2].isdigit() and word[3:5].isdigit()
        day = before.lstrip("(").isdecimal() and word.rstrip(".,;:)") in _MONTHS
        held += (_HARD if counted or numbered or hour or day else " ") + word
    return held


def folded(text: str, width: int, later: str, *, on_hyphens: bool = True) -> list[str]:
    """The lines that a text takes, those after the first beginning with `later`; no number stands in another line than its unit or its noun.

    on_hyphens: whether a word may be parted at its hyphen.
    """
    lines = textwrap.wrap(_held(text), width, subsequent_indent=later, break_on_hyphens=on_hyphens)
    return [line.replace(_HARD, " ") for line in lines]
