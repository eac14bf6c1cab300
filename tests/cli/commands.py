"""The commands as their tests type them, and what they print."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from monitor.cli import main
from monitor.domain.wall import filled
from monitor.shown.now.alarms import WRITTEN_ALONE
from tests.running import typed

GOOD_C, HOT_C = 37.8, 39.5
Capture = pytest.CaptureFixture[str]


def commands() -> dict[str, Any]:
    """The parser of each command by its words, such as `batch add`."""

    def below(parser: Any) -> Any:
        return next((a.choices for a in parser._actions if a.__class__.__name__ == "_SubParsersAction"), None)

    found: dict[str, Any] = {}
    for name, parser in below(main.parser_of([*main.COMMANDS])).items():
        verbs = below(parser)
        found |= {name: parser} if verbs is None else {f"{name} {verb}": sub for verb, sub in verbs.items()}
    return found


COMMANDS = commands()


NOBODY = "NOBODY IS WATCHING: "
SAY_SO = (
    ("now",),
    ("alarms",),
    ("ack",),
    ("batch", "list"),
    ("batch", "show"),
    ("egg", "show"),
)  # say first that no daemon runs, and end with 1


def asleep(capsys: Capture, *arguments: str, config: Path | None) -> tuple[int, str, str]:
    """What a command prints where no daemon runs, without what it says first of that, and its exit code as if one ran."""
    code, out, err = typed(capsys, *arguments, config=config)
    err = err.removeprefix(f"{filled(WRITTEN_ALONE)}\n")
    if code != 1 or NOBODY not in out + err or not any(arguments[: len(words)] == words for words in SAY_SO):
        return code, out, err
    told = err.removeprefix("eggroom: ")
    assert (out if "--json" not in arguments else told).startswith(NOBODY)
    return 0, out.partition("\n\n")[2] if "--json" not in arguments else out, ""


def ok(capsys: Capture, *arguments: str, config: Path | None) -> str:
    """What a command prints; it must end with 0 and complain of nothing."""
    code, out, err = asleep(capsys, *arguments, config=config)
    assert (code, err) == (0, ""), err
    return out


def told(capsys: Capture, *arguments: str, config: Path | None) -> Any:
    """The same as plain values, from --json."""
    return json.loads(ok(capsys, *arguments, "--json", config=config))
