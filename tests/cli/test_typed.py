"""What a person types about eggs: numbers of eggs, figures, times from now, tables."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.clock import utc_now
from monitor.cli.frame import Wrong
from monitor.cli.typed import (
    MAX_EGGS_AT_ONCE,
    typed_digit,
    typed_egg,
    typed_eggs,
    typed_number,
    typed_span_s,
    typed_table,
    typed_temperature,
    typed_when,
    typed_while_s,
)
from tests.running import typed


@pytest.mark.parametrize(
    ("text", "eggs"), [("7", [7]), ("1-3", [1, 2, 3]), ("9,1-3,2", [9, 1, 2, 3]), ("4-4", [4]), ("1,1", [1])]
)
def test_eggs(text: str, eggs: list[int]) -> None:
    """One, a row, or both, each egg once and in the order given."""
    assert typed_eggs(text, "x") == eggs


@pytest.mark.parametrize(
    "text", ["", "a", "1-", "-1", "3-1", "1,,2", "1 2", f"1-{MAX_EGGS_AT_ONCE + 1}", "1.5", "9999999"]
)
def test_what_are_no_eggs(text: str) -> None:
    """Anything else is one line."""
    with pytest.raises(Wrong, match="x: eggs"):
        typed_eggs(text, "x")


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("3h", 10_800), ("90m", 5_400), ("2d", 172_800), ("1.5d", 129_600), ("1,5 h", 5_400), ("366d", 31_622_400)],
)
def test_times_from_now(text: str, seconds: float) -> None:
    """Hours and minutes as everywhere, and days."""
    assert typed_span_s(text) == seconds


@pytest.mark.parametrize("text", ["3", "d", "-1d", "367d", "9" * 400 + "d", "9" * 400 + "h", "h3"])
def test_what_is_no_time_from_now(text: str) -> None:
    """No unit, a year and more, or nonsense: one line."""
    with pytest.raises(Wrong, match="time"):
        typed_span_s(text)


def test_a_while() -> None:
    """As people say how long they work at a machine: a number alone is minutes."""
    assert [typed_while_s(text) for text in ("20", "20m", "3 h", "2d", "90s")] == [1_200, 1_200, 10_800, 172_800, 90]
    with pytest.raises(Wrong, match="time 'soon': expected such as 20m, 90s or 1h"):
        typed_while_s("soon")


def test_a_time_too_far_away() -> None:
    """How far back may be is said by whoever is asked; how far ahead, here, by what it is."""
    now = datetime(2026, 11, 30, tzinfo=UTC)
    assert (now - typed_when("-400d", UTC, lambda: now)).days == 400
    with pytest.raises(Wrong, match=r"^time '400d': expected at most 366d$"):
        typed_when("+400d", UTC, lambda: now, ahead=True)


@pytest.mark.parametrize(
    ("words", "such"),
    [
        (["batch", "add", "b", "--species", "chicken", "--set", "yesterday", "22:00"], '--set "yesterday 22:00"'),
        (["batch", "move", "b", "setter-1", "--at", "9.11.", "7:00"], '--at "9.11. 7:00"'),
        (["handling", "setter-1", "--for", "3", "h"], '--for "3 h"'),
        (["history", "hen-1", "--csv", "my", "eggs.csv"], '--csv "my eggs.csv"'),
    ],
)
def test_words_that_belong_together(capsys: pytest.CaptureFixture[str], words: list[str], such: str) -> None:
    """Typed without quotes, it is said that they need them, and how that looks."""
    code, out, err = typed(capsys, *words)
    assert (code, out) == (2, "")
    assert f"{words[-1]!r} stands by itself, expected several words in quotes: {such} (see" in err
    assert "unrecognized arguments: --of" in typed(capsys, *words[:-1], "--of")[2]


@pytest.mark.parametrize(
    "words",
    [
        ["handling", "--done", "setter-1", "now"],
        ["batch", "split", "hen-1", "1-3", "--stage", "hatch", "now"],
        ["batch", "add", "hen-1", "--species", "chicken", "--eggs", "24", "large"],
        ["alarms", "--json", "1", "2"],
    ],
)
def test_a_word_too_many_behind_an_option_that_holds_none(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    """What takes no value, a number or one of a few words is not helped by quotes: the word is one too many."""
    code, out, err = typed(capsys, *words)
    assert (code, out) == (2, "")
    assert "unrecognized arguments: " in err
    assert "quotes" not in err


@given(st.text(max_size=12))
@settings(max_examples=300, deadline=None)
def test_no_figure_raises_otherwise(text: str) -> None:
    """Whatever is typed for a number or an egg is a finite number, a whole one, or Wrong."""
    for read in (lambda: typed_number(text, "x"), lambda: typed_egg(text)):
        complaint, value = "", 0.0
        try:
            value = read()
        except Wrong as error:
            complaint = str(error)
        assert math.isfinite(value)
        assert "\n" not in complaint


@given(
    st.binary(max_size=200) | st.text(max_size=200).map(lambda t: f"egg,mass_g\n{t}".encode("utf-8", "surrogatepass"))
)
@settings(max_examples=300, deadline=None)
def test_no_table_raises_otherwise(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    """Whatever a file holds, it is rows of line, egg, grams and time, or Wrong with the file in each line."""
    path: Path = tmp_path_factory.getbasetemp() / "table.csv"
    path.write_bytes(content)
    rows: list[list[Any]] = []
    finest_g, complaint = 1.0, str(path)
    try:
        rows, finest_g = typed_table(path, UTC, utc_now)
    except Wrong as error:
        complaint = str(error)
    assert complaint.startswith(str(path))
    assert 0.0 < finest_g <= 1.0
    assert all(line >= 2 and egg >= 0 and math.isfinite(mass_g) for line, egg, mass_g, _ in rows)


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        ("", "empty, expected a table with the columns egg,mass_g[,at]"),
        ("\ufeff\r\n", "empty, expected a table with the columns egg,mass_g[,at]"),
        ("egg,mass_g\n", "no line under its head, expected one for each egg"),
        ("egg;mass_g\n1;2;3\n", "1 line that cannot be read, nothing was written\nFILE: line 2: 3 columns, expected 2"),
        ("egg,mass_g,at\n1,57,5,now,x\n2\n", "2 lines that cannot be read, nothing was written\n"
                                           "FILE: line 2: 5 columns, expected 3\nFILE: line 3: 1 columns, expected 3"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_table(tmp_path: Path, content: str, complaint: str) -> None:
    """An empty file, a head alone, and too few or too many columns each say what came and what was expected."""
    path = tmp_path / "tray.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(Wrong) as told:
        typed_table(path, UTC, utc_now)
    assert str(told.value) == f"{path}: {complaint.replace('FILE', str(path))}"


def test_a_table_in_another_encoding(tmp_path: Path) -> None:
    """As a spreadsheet's "Unicode text" writes it: which encoding is expected is said."""
    path = tmp_path / "tray.csv"
    path.write_bytes("egg,mass_g\n1,57.5\n".encode("utf-16"))
    with pytest.raises(Wrong, match="not text in UTF-8, expected a table"):
        typed_table(path, UTC, utc_now)


@pytest.mark.parametrize(
    ("given", "utc"),
    [
        ("2026-07-01T18:00Z", "2026-07-01T18:00:00Z"),
        ("2026-07-01T18:00+09:30", "2026-07-01T08:30:00Z"),
        ("2026-07-01T18:00", "2026-07-01T16:00:00Z"),  # summer time in Berlin
        ("2026-01-15T18:00", "2026-01-15T17:00:00Z"),  # winter time
        ("2026-01-15 18:00:30", "2026-01-15T17:00:30Z"),
        ("2026-01-15", "2026-01-14T23:00:00Z"),
    ],
)
def test_times_as_people_write_them(given: str, utc: str) -> None:
    """A time with an offset is that instant; without one it is the wall clock of the site; a date is its midnight."""
    assert typed_when(given, ZoneInfo("Europe/Berlin"), utc_now) == datetime.fromisoformat(utc)


@pytest.mark.parametrize(
    ("given", "was", "comes"),
    [
        ("22:00", "2026-11-29 22:00", "2026-11-30 22:00"),
        ("3:40", "2026-11-30 03:40", "2026-12-01 03:40"),  # now, in Berlin
        ("03:41", "2026-11-29 03:41", "2026-11-30 03:41"),
        ("-2h", "2026-11-30 01:40", "2026-11-30 01:40"),
        ("+90m", "2026-11-30 05:10", "2026-11-30 05:10"),
        ("-1.5d", "2026-11-28 15:40", "2026-11-28 15:40"),
        ("yesterday 22:00", "2026-11-29 22:00", "2026-11-29 22:00"),
        ("yesterday", "2026-11-29 00:00", "2026-11-29 00:00"),
        (" tomorrow  7:05 ", "2026-12-01 07:05", "2026-12-01 07:05"),
        ("9.11.", "2026-11-09 00:00", "2027-11-09 00:00"),
        ("9.11. 22:00", "2026-11-09 22:00", "2027-11-09 22:00"),
        ("24.12.", "2025-12-24 00:00", "2026-12-24 00:00"),
        ("29.2.", "2024-02-29 00:00", "2028-02-29 00:00"),
        ("9.11.2025 8:00", "2025-11-09 08:00", "2025-11-09 08:00"),
    ],
)
def test_times_that_leave_something_unsaid(given: str, was: str, comes: str) -> None:
    """On the wall's clock: the last such time that was; for what is to come, the next one."""
    zone = ZoneInfo("Europe/Berlin")
    for ahead, expected in ((False, was), (True, comes)):
        at = typed_when(given, zone, lambda: datetime(2026, 11, 30, 2, 40, tzinfo=UTC), ahead=ahead)
        assert f"{at.astimezone(zone):%Y-%m-%d %H:%M}" == expected


@pytest.mark.parametrize(
    ("now", "ahead", "utc"),
    [
        ("2026-10-25T01:35Z", False, "2026-10-25T01:30Z"),  # 02:35 the second time, in winter time
        ("2026-10-25T00:35Z", False, "2026-10-25T00:30Z"),  # 02:35 the first time
        ("2026-10-25T00:35Z", True, "2026-10-25T01:30Z"),
        ("2026-10-25T12:00Z", False, "2026-10-25T01:30Z"),
        ("2026-03-29T00:59Z", False, "2026-03-28T01:30Z"),  # a minute before the hour that is left out
    ],
)
def test_an_hour_that_comes_twice_or_never(now: str, ahead: bool, utc: str) -> None:
    """02:30 in the nights in which the clock is set: the one that is nearest."""
    at = typed_when("2:30", ZoneInfo("Europe/Berlin"), lambda: datetime.fromisoformat(now), ahead=ahead)
    assert at == datetime.fromisoformat(utc)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "25:00",
        "22:60",
        "22",
        "9.11",
        "31.2.",
        "9.13.",
        "yesterday 9",
        "-2",
        "-x",
        "+",
        "soon",
        "22:00 9.11.",
        "9.11.0000",
    ],
)
def test_what_is_no_time(text: str) -> None:
    """One line, with what would be one."""
    with pytest.raises(Wrong, match=r"^time .*expected now, 22:00, yesterday 22:00, -2h, 9.11., 2026-03-01"):
        typed_when(text, UTC, utc_now)


@given(st.text(max_size=12) | st.from_regex(r"[-+]?\d{1,3}[.:hd]\d{0,3}[.]?\d{0,4}", fullmatch=True), st.booleans())
@settings(max_examples=300, deadline=None)
def test_no_time_raises_otherwise(text: str, ahead: bool) -> None:
    """Whatever is typed is an aware time, or Wrong."""
    complaint, at = "", utc_now()
    try:
        at = typed_when(text, ZoneInfo("Europe/Berlin"), utc_now, ahead=ahead)
    except Wrong as error:
        complaint = str(error)
    assert at.utcoffset() is not None
    assert "\n" not in complaint


def test_a_temperature_as_typed_halfway() -> None:
    """A point without a figure behind it is a number; what is none is told as it came."""
    assert typed_temperature("37.", "C") == 37.0
    with pytest.raises(Wrong, match="'abc3'"):
        typed_temperature("abc3", "C")


@pytest.mark.parametrize(
    ("text", "digit_g"),
    [("58", 1.0), ("58.4", 0.1), ("2.40", 0.01), ("2,400", 0.001), ("2.40000", 0.001), ("1e3", 1.0)],
)
def test_the_last_digit_as_typed(text: str, digit_g: float) -> None:
    """A zero at the end was read off the scale, and says what it shows; more decimals than a scale has say no more."""
    assert typed_digit(text) == pytest.approx(digit_g)
