"""`eggroom cooling`, as typed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.commands import Capture, ok, told
from tests.running import typed


def test_a_cooling_is_declared_and_ended(capsys: Capture, config: Path) -> None:
    """It is told as it was understood, in the unit of the house, and ends by a word."""
    ok(capsys, "batch", "add", "goose-1", "--species", "goose", "--machine", "setter-1", config=config)
    hours = ("--at", "18:00", "--at", "8:00", "--for", "30m", "--days", "0-26", "--to", "86F")
    said = ok(capsys, "cooling", "goose-1", *hours, config=config)
    assert said.startswith("goose-1 at 08:00 and 18:00 for 30 min to 30.0 °C, day 0 to 26; next ")
    assert "cooled daily at 08:00 and 18:00 for 30 min" in ok(capsys, "events", config=config)
    assert ok(capsys, "cooling", "goose-1", "--end", "--by", "sam", config=config) == (
        "goose-1: cooled daily at 08:00 and 18:00 for 30 min to 30.0 °C, day 0 to 26, ended by sam\n"
    )


def test_what_is_declared_is_listed(capsys: Capture, running: Path) -> None:
    """As it was told: of a batch, and of a machine."""
    assert ok(capsys, "cooling", config=running) == "No cooling is declared.\n"
    said = [
        ok(capsys, "cooling", of, "--at", "8:00", "--for", "30m", *more, config=running)
        for of, more in (("hen-1", ("--days", "0-26", "--to", "86F")), ("setter-1", ()))
    ]
    assert said[0].startswith("hen-1 at 08:00 for 30 min to 86.0 °F, day 0 to 26; next ")
    assert ok(capsys, "cooling", config=running) == "".join(said)
    first, _ = told(capsys, "cooling", config=running)
    assert (first["of"], first["machine"], first["at"], first["to_c"]) == ("hen-1", "setter-1", ["08:00"], 30.0)
    for of in ("hen-1", "setter-1"):
        ok(capsys, "cooling", of, "--end", config=running)
    assert ok(capsys, "cooling", config=running) == "No cooling is declared.\n"


def test_of_one_that_is_not_declared_the_near_ones_are_named(capsys: Capture, config: Path) -> None:
    """As of any name that is not there; where none at all is declared there is none to name."""
    assert typed(capsys, "cooling", "goos-1", "--end", config=config)[2] == (
        "eggroom: cooling 'goos-1': none is declared\n"
    )
    ok(capsys, "batch", "add", "goose-1", "--species", "goose", "--machine", "setter-1", config=config)
    ok(capsys, "cooling", "goose-1", "--at", "8:00", "--for", "30m", config=config)
    assert typed(capsys, "cooling", "goos-1", "--end", config=config)[2] == (
        "eggroom: cooling 'goos-1': none is declared, nearest goose-1, expected one of: goose-1\n"
    )


def test_a_bare_temperature_is_understood_as_anywhere_else(capsys: Capture, config: Path, running: Path) -> None:
    """In °C where the house shows °C; in a house of °F it could be either."""
    hours = ("--at", "8:00", "--for", "30m", "--to", "30")
    assert "to 30.0 °C" in ok(capsys, "cooling", "setter-1", *hours, config=config)
    assert typed(capsys, "cooling", "setter-1", *hours, config=running) == (
        2,
        "",
        "eggroom: cooling: --to: temperature '30', expected a number and its unit, such as 37.5C or 99.5F\n",
    )


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
        (("setter-9", "--at", "8:00", "--for", "30m"), "no such batch or machine, nearest setter-1, expected one of"),
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
    assert "none is declared" in typed(capsys, "cooling", "goose-1", "--end", config=config)[2]


def test_a_split_says_that_its_eggs_are_no_longer_cooled(capsys: Capture, config: Path) -> None:
    """In the batch that they leave it goes on."""
    ok(capsys, "batch", "add", "goose-1", "--species", "goose", "--machine", "setter-1", "--eggs", "6", config=config)
    ok(capsys, "cooling", "goose-1", "--at", "8:00", "--for", "30m", "--days", "8-26", config=config)
    said = ok(capsys, "batch", "split", "goose-1", "1-2", "--to", "hatcher-1", config=config)
    assert "no longer cooled daily; if they are to be, declare it of goose-1-b" in " ".join(said.split())
    assert ok(capsys, "cooling", "goose-1", "--end", config=config)
