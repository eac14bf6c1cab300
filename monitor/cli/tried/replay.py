"""`eggroom replay`: recorded streams through the same path, also under other rules."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from monitor.cli.frame import Asked, Parsers, Wrong, command, show
from monitor.cli.record import house_of
from monitor.domain.fixed import fixed
from monitor.rehearse import preview, replay
from monitor.settings import House, SettingsError


@fixed(kw_only=True)
class Replay(Asked):
    """replay"""

    files: list[Path]
    rules: Path | None


def add(parsers: Parsers) -> None:
    """Say what `replay` takes."""
    parser = command(parsers["replay"], _replay, Replay)
    parser.add_argument("files", type=Path, nargs="+", metavar="FILE", help="several are played side by side")
    help_ = "other rules: what they would have made of it"
    parser.add_argument("--rules", type=Path, default=None, metavar="FILE", help=help_)


def _replay(options: Replay) -> int:
    house = house_of(options.config)
    play = partial(_played, house, options.rules, several=len(options.files) > 1)
    if len(options.files) == 1:
        return show(options.json, *play(options.files[0]))
    with ProcessPoolExecutor(min(len(options.files), os.cpu_count() or 1)) as pool:
        played = list(pool.map(play, options.files))
    texts = [f"# {file}\n{text}" for file, (_, text) in zip(options.files, played, strict=True)]
    return show(options.json, [data for data, _ in played], "\n\n".join(texts))


def _played(house: House, rules: Path | None, file: Path, *, several: bool) -> tuple[dict[str, object], str]:
    """(plain values, text) of one recording. Raises Wrong."""
    try:
        if rules is None:
            timeline = replay.replay(file, house)
            return replay.as_json(timeline), "\n".join(replay.text_lines(timeline))
        seen = preview.preview(file, house, rules, beside_others=several)
        return preview.as_json(seen), "\n".join(preview.text_lines(seen, house))
    except replay.ReplayError as error:
        raise Wrong(str(error)) from error
    except SettingsError as error:
        raise Wrong(str(error)) from error
