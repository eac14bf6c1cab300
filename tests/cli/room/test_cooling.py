"""`eggroom cooling`, as typed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.commands import Capture, ok, told
from tests.running import typed


def test_a_cooling_is_declared_shown_and_ended(capsys: Capture, config: Path) -> None:
    """It is told as it was understood, in the unit of the house, stands in the list and in the room, and ends by a word."""
    ok(capsys, "batch", "add", "goose-1", "--species", "goose", "--machine", "setter-1", config=config)
    assert ok(capsys, "cooling", config=config) == "No cooling is declared.\n"
    said = ok(
        capsys,
        "cooling",
        "goose-1",
        "--at",
        "18:00",
        "--at",
        "8:00",
        "--for",
        "30m",
        "--days",
        "0-26",
        "--to",
        "86F",
        config=config,
    )
    assert said.startswith("goose-1 at 08:00 and 18:00 for 30 min to 30.0 °C, day 0 to 26; next ")
    (view,) = told(capsys, "cooling", config=config)
    assert (view["of"], view["machine"], view["at"], view["to_c"]) == ("goose-1", "setter-1", ["08:00", "18:00"], 30.0)
    assert ok(capsys, "cooling", config=config) == said
    assert "cooled daily at 08:00 and 18:00 for 30 min" in ok(capsys, "events", config=config)
    assert ok(capsys, "cooling", "goose-1", "--end", "--by", "sam", config=config) == (
        "goose-1: cooled daily at 08:00 and 18:00 for 30 min, ended by sam\n"
    )
    assert ok(capsys, "cooling", config=config) == "No cooling is declared.\n"


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (("--end",), "cooling: whose is not said, expected a batch or a machine"),
        (("setter-1",), "expected --at HH:MM and --for TIME, or --end"),
        (("setter-1", "--at", "24:00", "--for", "30m"), "hour '24:00': expected such as 08:00"),
        (("setter-1", "--at", "8:00", "--for", "30m", "--days", "8"), "days '8': expected such as 8-26"),
        (("setter-1", "--at", "8:00", "--for", "2h"), "cooling setter-1: 120 min, expected 1 to 60 min"),
        (
            ("setter-1", "--at", "8:00", "--for", "30m", "--to", "warm"),
            "cooling: --to: temperature 'warm', expected a number",
        ),
        (("setter-1", "--at", "8:00", "--end"), "--end and a schedule, expected one of them"),
        (("setter-9", "--at", "8:00", "--for", "30m"), "no such machine"),
        (("setter-1", "--end"), "none is declared"),
    ],
)
def test_what_cannot_be_understood(capsys: Capture, config: Path, arguments: tuple[str, ...], complaint: str) -> None:
    """One line, exit 2."""
    code, out, err = typed(capsys, "cooling", *arguments, config=config)
    assert (code, out) == (2, "")
    assert complaint in err
    assert err.count("\n") == 1


def test_closing_says_that_the_cooling_is_over_too(capsys: Capture, config: Path) -> None:
    """A batch that is opened again is not cooled, so closing says so; of one that never was it says nothing of it."""
    for batch in ("goose-1", "goose-2"):
        ok(capsys, "batch", "add", batch, "--species", "goose", "--machine", "setter-1", config=config)
    ok(capsys, "cooling", "goose-1", "--at", "8:00", "--for", "30m", config=config)
    closed = "closed on day 0.0; its record stays"
    assert ok(capsys, "batch", "close", "goose-1", config=config) == (
        f"batch goose-1: {closed}; it is no longer cooled daily\n"
    )
    assert ok(capsys, "batch", "close", "goose-2", config=config) == f"batch goose-2: {closed}\n"
    assert ok(capsys, "cooling", config=config) == "No cooling is declared.\n"
