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
    typed_when,
)


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
    ("text", "seconds"), [("3h", 10_800), ("90m", 5_400), ("2d", 172_800), ("1.5d", 129_600), ("366d", 31_622_400)]
)
def test_times_from_now(text: str, seconds: float) -> None:
    """Hours and minutes as everywhere, and days."""
    assert typed_span_s(text) == seconds


@pytest.mark.parametrize("text", ["3", "d", "-1d", "367d", "9" * 400 + "d", "9" * 400 + "h", "h3"])
def test_what_is_no_time_from_now(text: str) -> None:
    """No unit, a year and more, or nonsense: one line."""
    with pytest.raises(Wrong, match="time"):
        typed_span_s(text)


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
        ("egg;mass_g\n1;2;3\n", "line 2: 3 columns, expected 2\nFILE: 1 line that cannot be read, nothing was written"),
        ("egg,mass_g,at\n1,57,5,now,x\n2\n", "line 2: 5 columns, expected 3\nFILE: line 3: 1 columns, expected 3\n"
                                           "FILE: 2 lines that cannot be read, nothing was written"),
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
    ("text", "digit_g"),
    [("58", 1.0), ("58.4", 0.1), ("2.40", 0.01), ("2,400", 0.001), ("2.40000", 0.001), ("1e3", 1.0)],
)
def test_the_last_digit_as_typed(text: str, digit_g: float) -> None:
    """A zero at the end was read off the scale, and says what it shows; more decimals than a scale has say no more."""
    assert typed_digit(text) == pytest.approx(digit_g)
