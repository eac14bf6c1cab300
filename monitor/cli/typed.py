"""What a person types, read: times and spans, numbers of eggs, figures, findings, and a table of weighings."""

from __future__ import annotations

import argparse
import calendar
import contextlib
import csv
import difflib
import getpass
import io
import math
import re
import sys
from collections.abc import Collection, Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

from monitor.cli.frame import Utc, Wrong
from monitor.domain.air.units import parse_temperature
from monitor.domain.eggs.entry import FINEST_DIGITS
from monitor.domain.published.findings import FINDING
from monitor.domain.refusal import one_of

_EGGS = re.compile(r"\d{1,6}(?:-\d{1,6})?(?:,\d{1,6}(?:-\d{1,6})?)*")
_SPAN = re.compile(r"(\d{1,9}(?:[.,]\d{1,9})?) ?(s|m|min|h|d)?")
_SPAN_S = {"s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}
_NUMBER = r"(?:(?:no\.?|nr\.?|#) ?)?(\d{1,9})(?: ?[-–] ?(\d{1,9}))?"  # of an alarm, or from one to another
_NUMBERS = re.compile(rf"{_NUMBER}(?:[ ,;]+{_NUMBER})*[ ,;]*", re.IGNORECASE)
_AWAY = re.compile(r"([+-]) ?(\S+)")
_NAMED_DAYS = {"yesterday": -1, "today": 0, "tomorrow": 1}
_DATE = re.compile(r"(\d{1,2})\. ?(\d{1,2})\.(?: ?(\d{4}))?")
_FROM_TO = re.compile(r"(\d{1,3})-(\d{1,3})")
_HOUR = re.compile(r"(\d{1,2}):(\d\d)")
MAX_EGGS_AT_ONCE = 1000
SHOWN = 10  # lines of a table that are wrong; more are the same again
MAX_SPAN_S = 366 * 86_400.0  # a later time is a slip of the finger


def typed_when(text: str, zone: tzinfo, utc: Utc, *, ahead: bool = False) -> datetime:
    """A person's time, in UTC. Raises Wrong.

    `now`; a date and time on the wall clock, or with its own offset; `22:00`, the last one or the next; `yesterday 22:00`; `9.11.` with or
    without its year and hour; `-2h` and `+3d` from now; a day alone is its midnight.

    Parameters
        ahead: whether a time that says less than its year is one to come; else it is the last that was.
    """
    now, words = utc(), " ".join(text.split())
    if words == "now":
        return now
    try:
        if away := _AWAY.fullmatch(words):
            if (seconds := _seconds(away[2])) is not None and away[
                1
            ] == "-":  # how far back is judged by whoever is asked
                return now - timedelta(seconds=seconds)
            return now + timedelta(seconds=float(f"{away[1]}1") * typed_span_s(away[2]))
        if found := _on_the_wall(words, zone, now, ahead=ahead):
            return found
        at = datetime.fromisoformat(words)
        return (at if at.tzinfo is not None else at.replace(tzinfo=zone)).astimezone(UTC)
    except _TooLong:
        raise
    except (Wrong, ValueError, OverflowError):  # no time; or one that in UTC lies before the year 1 or after 9999
        such = "tomorrow 7:00, +3h" if ahead else "yesterday 22:00, -2h"
        raise Wrong(f"time {text[:40]!r}: expected now, 22:00, {such}, 9.11., 2026-03-01 or 2026-03-01T18:00") from None


def _on_the_wall(words: str, zone: tzinfo, now: datetime, *, ahead: bool) -> datetime | None:
    """A time that leaves something unsaid: the last such that was, or the next to come; None for one in another form. Raises ValueError."""
    *before, last = words.split(" ")
    hour = _HOUR.fullmatch(last)
    day = " ".join(before) if hour is not None else words
    today, dated = now.astimezone(zone).date(), _DATE.fullmatch(day)
    if day in _NAMED_DAYS:
        days = [today + timedelta(days=_NAMED_DAYS[day])]
    elif dated is not None and dated[3] is not None:
        days = [date(int(dated[3]), int(dated[2]), int(dated[1]))]
    elif dated is not None:
        days = _each_year(int(dated[1]), int(dated[2]), today.year)
    elif hour is not None and not day:
        days = [today + timedelta(days=by) for by in (-1, 0, 1)]
    else:
        return None
    at = time() if hour is None else time(int(hour[1]), int(hour[2]))
    # An hour that a change of summer time brings twice is tried as both; of one that it leaves out there is none.
    tried = [datetime.combine(each, at, zone).replace(fold=fold).astimezone(UTC) for each in days for fold in (0, 1)]
    found = sorted(each for each in tried if each.astimezone(zone).time() == at) or tried
    if len(days) == 1:
        return found[0]
    return next(each for each in found if each > now) if ahead else [each for each in found if each <= now][-1]


def _each_year(day: int, month: int, year: int) -> list[date]:
    """That day in the years around this one; 29 February lies up to eight years away. Raises ValueError where no year has it."""
    date(2000, month, day)
    years = range(year - 8, year + 9)
    return [date(each, month, day) for each in years if (month, day) != (2, 29) or calendar.isleap(each)]


def typed_past(text: str, zone: tzinfo, utc: Utc) -> dict[str, str]:
    """{"at": a person's time} for a request, or nothing where it is now: the daemon's own now lies a moment later than ours, or on another
    clock. Raises Wrong."""
    return {} if text == "now" else {"at": typed_when(text, zone, utc).isoformat()}


def add_by(parser: argparse.ArgumentParser) -> None:
    """Add --by to a command that changes something."""
    help_ = "who says so (default: by in [site], else your account)"
    parser.add_argument("--by", default="", metavar="NAME", help=help_)


def typed_by(text: str, usual: str = "") -> str:
    """Who writes this: as typed, or else the one that the configuration names, or else the account."""
    try:
        return text or usual or getpass.getuser()
    except (KeyError, OSError):  # an account without a name, as in a container
        return "?"


class _TooLong(Wrong):
    """A span that is one, and is too long."""


def _seconds(text: str, bare_s: float | None = None) -> float | None:
    """Seconds of such as 20m, 90s, 1.5 h or 2d; None for what is none. bare_s: what a number alone counts, None where it is none."""
    match = _SPAN.fullmatch(text.strip())
    unit_s = None if match is None else _SPAN_S[match[2]] if match[2] else bare_s
    return None if match is None or unit_s is None else float(match[1].replace(",", ".")) * unit_s


def typed_while_s(text: str) -> float:
    """Seconds of such as 20m, 90s or 1h; a number alone is minutes. Raises Wrong."""
    seconds = _seconds(text, _SPAN_S["m"])
    if seconds is None:
        raise Wrong(f"time {text[:40]!r}: expected such as 20m, 90s or 1h")
    return seconds


def typed_numbers(
    words: Sequence[str], where: str, such: str = "the number in the message, or all"
) -> list[tuple[int, int]]:
    """(first, last) of the numbers that people write of alarms: `3`, `3,4`, `No. 3`, `#3`, `1-4`. Raises Wrong."""
    text = " ".join(words)
    if _NUMBERS.fullmatch(text.strip()) is None:
        raise Wrong(f"{where}: {text[:40]!r}, expected {such}")
    found = [(int(each[1]), int(each[2] or each[1])) for each in re.finditer(_NUMBER, text, re.IGNORECASE)]
    for first, last in found:
        if last < first:
            raise Wrong(f"{where}: {first}-{last}, expected rising")
    return found


def typed_minute(text: str) -> int:
    """Minutes after midnight of an hour of each day, such as `8:00`. Raises Wrong."""
    hour = _HOUR.fullmatch(text.strip())
    if hour is None or int(hour[1]) > 23 or int(hour[2]) > 59:
        raise Wrong(f"hour {text[:40]!r}: expected such as 08:00")
    return int(hour[1]) * 60 + int(hour[2])


def typed_days(text: str) -> tuple[int, int]:
    """The first and last of days of incubation, such as `8-26`. Raises Wrong."""
    days = _FROM_TO.fullmatch(text.strip())
    if days is None:
        raise Wrong(f"days {text[:40]!r}: expected such as 8-26")
    return int(days[1]), int(days[2])


def names_eggs(text: str) -> bool:
    """Whether a word stands for eggs: `7`, `1-6`, `1-6,9`."""
    return _EGGS.fullmatch(text) is not None


def typed_eggs(text: str, where: str) -> list[int]:
    """The numbers that `1-6,9` stands for, each once, in the order given. Raises Wrong."""
    if not names_eggs(text):
        raise Wrong(f"{where}: eggs {text[:40]!r}, expected such as 7, 1-6 or 1-6,9")
    found: dict[int, None] = {}
    for part in text.split(","):
        first, _, last = part.partition("-")
        high = int(last or first)
        if not int(first) <= high < int(first) + MAX_EGGS_AT_ONCE:
            raise Wrong(f"{where}: eggs {part}, expected rising, and at most {MAX_EGGS_AT_ONCE} at once")
        found |= dict.fromkeys(range(int(first), high + 1))
    return list(found)


def typed_egg(text: str) -> int:
    """The number of one egg. Raises Wrong."""
    if not text.isascii() or not text.isdigit() or len(text) > 6:
        raise Wrong(f"egg {text[:40]!r}, expected its number")
    return int(text)


def typed_number(text: str, where: str, *, unit: str = "") -> float:
    """A figure as people write it, with a point or a comma, and with its unit or without. Raises Wrong."""
    figure = text.strip()
    if unit and figure.lower().endswith(unit):
        figure = figure[: -len(unit)].rstrip()
    try:
        value = float(figure.replace(",", "."))
        if math.isfinite(value):
            return value
    except ValueError:
        pass
    raise Wrong(f"{where}: {text[:40]!r}, expected a number, such as 26.49")


def typed_amount(text: str, unit: str = "", such_as: str = "1.5") -> float:
    """A figure behind an option, with its unit or without. Raises argparse's own error, which names the option."""
    try:
        return typed_number(text, "", unit=unit)
    except Wrong:
        raise argparse.ArgumentTypeError(f"{text[:40]!r}, expected a number, such as {such_as}") from None


def typed_grams(text: str) -> float:
    """A mass behind an option. Raises argparse's own error."""
    return typed_amount(text, "g")


def typed_percent(text: str) -> float:
    """A relative humidity behind an option, %RH. Raises argparse's own error."""
    value = typed_amount(re.sub(r" ?% ?(?:rh)?$", "", text.strip(), flags=re.IGNORECASE), such_as="55")
    if not 0.0 <= value <= 100.0:
        raise argparse.ArgumentTypeError(f"{text[:40]!r}, expected 0 to 100 %RH")
    return value


def typed_temperature(text: str, unit: str, where: str = "") -> float:
    """°C of a temperature as people write it, with its unit; a bare number is °C where the site shows °C. Where it shows °F nobody can know
    which was meant. Raises Wrong."""
    typed = text.strip()
    try:
        if unit == "C" and typed.removesuffix(".")[-1:].isdecimal():
            with contextlib.suppress(ValueError):
                return parse_temperature(f"{typed} C")
        return parse_temperature(text)
    except ValueError as error:
        raise Wrong(f"{where}: {error}" if where else str(error)) from error


def typed_mm(text: str, where: str) -> float:
    """A length as people write it, in mm, or in cm where they say so. Raises Wrong."""
    if text.strip().lower().endswith("cm"):
        return 10.0 * typed_number(text, where, unit="cm")
    return typed_number(text, where, unit="mm")


def typed_whole(text: str) -> int:
    """A number of eggs, or the number of one, behind an option. Raises argparse's own error, which names the option."""
    try:
        return typed_egg(text)
    except Wrong:
        raise argparse.ArgumentTypeError(f"{text[:40]!r}, expected a whole number") from None


def typed_finding(text: str) -> str:
    """A finding by its id. Raises Wrong with those that are near, and where all of them stand."""
    if text in FINDING:
        return text
    near = [id_ for id_, each in FINDING.items() if text.lower() in f"{id_} {each.words}".lower()][:4]
    near = near or difflib.get_close_matches(text.lower(), FINDING, n=3, cutoff=0.5)
    such = f"expected such as {', '.join(near)}; " if near else "expected one of the trade's list; "
    raise Wrong(f"finding {text[:40]!r}: {such}all of them: eggroom egg finding list")


def typed_span_s(text: str) -> float:
    """Seconds of such as 3h, 90m or 2d. Raises Wrong."""
    seconds = _seconds(text)
    if seconds is None:
        raise Wrong(f"time {text[:40]!r}: expected a number and its unit, such as 12h, 90m or 2d")
    if not seconds <= MAX_SPAN_S:
        raise _TooLong(f"time {text[:40]!r}: expected at most {MAX_SPAN_S / 86_400.0:g}d")
    return seconds


def typed_word(where: str, value: str | None, known: Sequence[str], *, understood: Collection[str] = ()) -> str:
    """The word. Raises Wrong for one that is none of the known. understood: other words that are told as well, for they are taken as these."""
    if value is None:
        raise Wrong(f"{where}: nothing, expected one of {', '.join(known)}")
    if value not in known:
        raise Wrong(f"{where}: {value[:40]!r}, {one_of(value, [*known, *understood])}")
    return value


def typed_digit(text: str) -> float:
    """What the last digit of a number stands for, as it was typed: 0.01 of 58.40, 1 of 58."""
    decimals = re.search(r"[.,]([0-9]+) ?g?$", text.strip().lower())
    return float(10.0 ** -min(len(decimals[1]) if decimals else 0, FINEST_DIGITS))


def typed_table(path: Path, zone: tzinfo, utc: Utc) -> tuple[list[list[Any]], float]:
    """(rows of (line, egg, grams, time or None) from a table with a head, its finest digit). Raises Wrong with every line that is no such row."""
    try:
        text = sys.stdin.read().removeprefix("\ufeff") if path == Path("-") else path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not text in UTF-8"
        raise Wrong(f"{path}: {reason}, expected a table with the columns egg,mass_g[,at]") from error
    if not text.strip():
        raise Wrong(f"{path}: empty, expected a table with the columns egg,mass_g[,at]")
    head = text.partition("\n")[0]
    reader = csv.DictReader(io.StringIO(text), delimiter=";" if ";" in head else ",", skipinitialspace=True)
    columns = [(name or "").strip() for name in reader.fieldnames or ()]
    if not {"egg", "mass_g"} <= set(columns) <= {"egg", "mass_g", "at"}:
        raise Wrong(f"{path}: line 1: columns {','.join(columns)[:60]!r}, expected egg,mass_g or egg,mass_g,at")
    reader.fieldnames = columns
    rows: list[list[Any]] = []
    wrong: list[str] = []
    finest_g = 1.0
    for row in _each(reader, path):
        line = reader.line_num
        try:
            if None in row or None in row.values():
                came = len(columns) + len(row.get(None, ())) - list(row.values()).count(None)
                raise Wrong(f"{came} columns, expected {len(columns)}")
            at = row.get("at", "").strip()
            mass_g = typed_number(row["mass_g"].strip(), "mass_g")
            finest_g = min(finest_g, typed_digit(row["mass_g"]))
            rows.append(
                [line, typed_egg(row["egg"].strip()), mass_g, typed_when(at, zone, utc).isoformat() if at else None]
            )
        except Wrong as error:
            wrong.append(f"{path}: line {line}: {error}")
    if wrong:
        lines = "1 line" if len(wrong) == 1 else f"{len(wrong)} lines"
        more = [f"{path}: and {len(wrong) - SHOWN} more"] if len(wrong) > SHOWN else []
        raise Wrong("\n".join([f"{path}: {lines} that cannot be read, nothing was written", *wrong[:SHOWN], *more]))
    if not rows:
        raise Wrong(f"{path}: no line under its head, expected one for each egg")
    return rows, finest_g


def _each(reader: csv.DictReader[str], path: Path) -> Iterator[dict[Any, Any]]:
    try:
        yield from reader
    except csv.Error as error:
        raise Wrong(f"{path}: line {reader.line_num}: {error}, expected a table") from error
