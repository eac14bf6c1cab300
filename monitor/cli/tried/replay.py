"""`eggroom replay`: a recorded stream through the same path, also under other rules."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from monitor.cli.frame import Asked, Parsers, Wrong, command, show
from monitor.cli.record import house_of
from monitor.rehearse import preview, replay
from monitor.settings import SettingsError


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay(Asked):
    """replay"""

    file: Path
    rules: Path | None


def add(parsers: Parsers) -> None:
    """Say what `replay` takes."""
    parser = command(parsers["replay"], _replay, Replay)
    parser.add_argument("file", type=Path)
    help_ = "other rules: what they would have made of it"
    parser.add_argument("--rules", type=Path, default=None, metavar="FILE", help=help_)


def _replay(options: Replay) -> int:
    house = house_of(options.config)
    try:
        if options.rules is None:
            timeline = replay.replay(options.file, house)
            return show(options.json, replay.as_json(timeline), "\n".join(replay.text_lines(timeline)))
        seen = preview.preview(options.file, house, options.rules)
        return show(options.json, preview.as_json(seen), "\n".join(preview.text_lines(seen, house)))
    except replay.ReplayError as error:
        raise Wrong(str(error)) from error
    except SettingsError as error:
        raise Wrong("\n".join(error.lines)) from error
