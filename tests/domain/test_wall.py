"""A time as on the wall, with its year where it must be told; and what was typed, without what would be obeyed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

import monitor
from monitor.domain.wall import (
    filled,
    folded,
    has_controls,
    local_time,
    printable,
    sheet_time,
    utc_text,
    wall_clock,
    wall_day,
    wall_time,
)

BERLIN = ZoneInfo("Europe/Berlin")
NEW_YEAR = datetime(2026, 12, 31, 23, 30, tzinfo=UTC)  # half past midnight in Berlin


@pytest.mark.parametrize(
    ("now", "seconds", "shown"),
    [
        (datetime(2027, 6, 1, tzinfo=UTC), False, "01 Jan 00:30"),
        (datetime(2026, 12, 31, 22, 59, tzinfo=UTC), False, "01 Jan 2027 00:30"),
        (datetime(2026, 12, 31, 23, 0, tzinfo=UTC), False, "01 Jan 00:30"),  # the year is that of the zone
        (datetime(2028, 1, 1, tzinfo=UTC), True, "01 Jan 2027 00:30:00"),
        (None, False, "01 Jan 2027 00:30"),
        (None, True, "01 Jan 2027 00:30:00"),
    ],
)
def test_the_year_is_told_unless_it_is_this_one(now: datetime | None, seconds: bool, shown: str) -> None:
    """Left out only where now, in the same zone, lies in the same year."""
    assert wall_time(NEW_YEAR, BERLIN, now, seconds=seconds) == shown


def test_seconds_are_told_where_they_are_asked_for() -> None:
    """And nowhere else."""
    assert wall_time(NEW_YEAR, BERLIN) == "01 Jan 2027 00:30"


def test_a_day_has_its_year() -> None:
    """The day in the zone, always with the year."""
    assert wall_day(NEW_YEAR, BERLIN) == "01 Jan 2027"


def test_a_report_has_the_whole_date_and_tells_an_hour_that_comes_twice() -> None:
    """To the minute; where summer time ends each of the two hours has its offset, and no other has."""
    ends = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert [sheet_time(ends + timedelta(hours=n), BERLIN) for n in (-1, 0, 1, 2)] == [
        "2026-10-25 01:30",
        "2026-10-25 02:30+0200",
        "2026-10-25 02:30+0100",
        "2026-10-25 03:30",
    ]
    assert wall_clock(ends, BERLIN) == "02:30"


def test_a_moment_for_programs() -> None:
    """UTC with a Z, whatever zone it came in; to the millisecond, or as fine as is asked for."""
    at = datetime(2026, 3, 1, 18, 0, 0, 123_456, tzinfo=BERLIN)
    assert utc_text(at) == "2026-03-01T17:00:00.123Z"
    assert utc_text(at, "seconds") == "2026-03-01T17:00:00Z"


def test_nowhere_else_is_rfc_3339_written() -> None:
    """No other module of the program turns the offset of UTC into a Z by itself."""
    root = Path(monitor.__file__).parent
    assert [p.name for p in sorted(root.rglob("*.py")) if '"Z")' in p.read_text(encoding="utf-8")] == ["wall.py"]


def test_nowhere_else_is_a_day_put_into_words() -> None:
    """No other module of the program formats a day of a month by itself."""
    root = Path(monitor.__file__).parent
    assert [p.name for p in sorted(root.rglob("*.py")) if "%d %b" in p.read_text(encoding="utf-8")] == ["wall.py"]


def test_a_long_line_is_filled() -> None:
    """Up to 80 columns it stays as it is; beyond, it goes on two columns farther in than it began, and no word with a hyphen is cut."""
    whole = "  " + "ab-cd " * 13  # of 80 columns
    assert len(whole) == 80
    assert filled(whole) == whole
    longer = whole + "ef"
    first, second = filled(longer).split("\n")
    assert (len(first) <= 80, second) == (True, "    ef")
    assert all(len(line) <= 20 for line in filled(longer, 20).split("\n"))
    assert filled(longer, 20).split("\n")[1].startswith("    ab-cd ")
    assert {word for line in filled(longer, 23).split("\n") for word in line.split()} == {"ab-cd", "ef"}


@given(st.text())
def test_what_was_typed_stays_on_its_line(text: str) -> None:
    """Whatever it holds, as many characters come back, each one printable, and those that were so are the same."""
    shown = printable(text)
    assert len(shown) == len(text)
    assert shown.isprintable()
    assert all(new == (old if old.isprintable() else " ") for old, new in zip(text, shown, strict=True))


def test_escapes_and_direction_marks_go() -> None:
    """Line ends, terminal escapes of seven and eight bits, and marks that turn words round become blanks."""
    assert printable("a\r\nb\x1b[31mc\x9b2Jd\u202ee\u2028f\x7f") == "a  b [31mc 2Jd e f "


def test_what_nobody_types() -> None:
    """Escapes, line ends and tabs are control characters; letters of any script, and what joins them, are not."""
    assert [has_controls(text) for text in ("a\nb", "a\tb", "\x1b[31m", "\x7f", "\x85")] == [True] * 5
    assert [has_controls(text) for text in ("", "Grün 鳥 क्‍ष", "a b")] == [False] * 3


def test_a_time_of_another_day_says_which() -> None:
    """Since when is the hour on the wall; with the day when it is most of a day ago, and the date when it is a week."""
    zone = ZoneInfo("America/New_York")
    at = datetime(2026, 7, 1, 23, 30, tzinfo=UTC)
    assert local_time(at, zone, at + timedelta(minutes=1)) == "19:30"
    assert local_time(at, zone, at + timedelta(hours=19)) == "19:30"
    assert local_time(at, zone, at + timedelta(hours=20)) == "Wed 19:30"
    assert local_time(at, zone, at + timedelta(days=2)) == "Wed 19:30"
    assert local_time(at, zone, at + timedelta(days=6, seconds=-1)) == "Wed 19:30"
    assert local_time(at, zone, at + timedelta(days=6)) == "2026-07-01 19:30"
    assert local_time(at, zone, at - timedelta(hours=20)) == "Wed 19:30"  # what is to come likewise
    assert local_time(at, zone, at + timedelta(days=9)) == "2026-07-01 19:30"
    assert local_time(datetime(2026, 12, 1, 12, 0, tzinfo=UTC), zone, at) == "2026-12-01 07:00"


def test_no_line_ends_between_a_number_and_its_thing() -> None:
    """At whatever width; a word too many goes on below, set in, and nothing is lost."""
    line = "  egg about 38.8 °C (38.1 to 40.0 °C) on day 20 at 57 %RH, above it 12 % of 3 d 4 h (No. 17), 52 % RH; 12 eggs, 5.2 g, since 2026-11-24 02:14, to 03:15"
    for width in range(24, 80):
        lines = filled(line, width).split("\n")
        assert " ".join(" ".join(lines).split()) == " ".join(line.split())
        assert max(map(len, lines)) <= width
        ends = " ".join(each.rstrip().rpartition(" ")[2] for each in lines[:-1])
        begins = [each.split()[0] for each in lines[1:]]
        assert not {"°C", "%RH,", "%", "d", "h", "g", "eggs,", "20", "17),", "RH;", "02:14,", "03:15"} & set(begins), (
            width,
            lines,
        )
        assert "(No." not in ends.split()
    assert folded("quiet until 26 Mar, then", 16, "") == ["quiet until", "26 Mar, then"]
    assert folded("a\N{NO-BREAK SPACE}b " * 3, 40, "") == ["a b a b a b"]
