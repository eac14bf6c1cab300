"""One life told in full: what was true each quarter of an hour, what was told, and what rang."""

from __future__ import annotations

import logging
import sys
import tempfile
from pathlib import Path

from tests.truth.ear import Daemon
from tests.truth.families import drawn
from tests.truth.judges import REAL
from tests.truth.machines import Unfit
from tests.truth.marks import marked, night, true_word, words_of
from tests.truth.score import URGENT


def tell(name: str, seed: int, *, every: bool = False) -> int:
    """Print it. every: the air each minute."""
    logging.disable(logging.CRITICAL)
    with tempfile.TemporaryDirectory() as folder:
        ear = Daemon(Path(folder) if name == "cut with the daemon" else None)
        try:
            story = drawn(name, seed, ear)
        except Unfit as unfit:
            print(unfit, file=sys.stderr)
            return 1
        story.world.live()
    world = story.world
    row = marked(story, REAL)
    print(story.text)
    dry, humid = world.bands.dry, world.bands.humid
    print(
        f"needs {dry.low_alarm} / {dry.low_warning} / {dry.target} / {dry.high_warning} / {dry.high_alarm} °C", end=""
    )
    print(
        ""
        if humid is None
        else f"; {world.bands.kind} {humid.low_alarm} / {humid.low_warning} / {humid.target} / {humid.high_warning} / {humid.high_alarm}"
    )
    lines: list[tuple[float, str]] = []
    for told, rang_s in words_of(world):
        wrong = (
            "" if told.at_s < world.onset_s or told.priority not in URGENT or true_word(world, told) else "   UNTRUE"
        )
        lines.append(
            (
                told.at_s,
                f"  word {told.priority:9}{told.rule} of {told.subject}{'' if rang_s is not None else ' (never rang)'}{wrong}",
            )
        )
    for rung in world.ear.rung:
        lines.append(
            (
                rung.at_s,
                f"RANG {'by night ' if night(world, rung.at_s) else ''}{rung.priority}: {rung.title} | {rung.text}".replace(
                    "\n", " / "
                ),
            )
        )
    for at_s, low_c, high_c, _, rh_pct, cold_c, hot_c, apart_k in world.trail.rows[:: 1 if every else 15]:
        lines.append(
            (
                at_s,
                f"    air {low_c:.2f} to {high_c:.2f} °C, {rh_pct:.1f} %RH ({apart_k:.1f} K in layers), eggs {cold_c:.2f} to {hot_c:.2f} °C",
            )
        )
    for at_s, text in sorted(lines, key=lambda line: line[0]):
        print(f"{(at_s - world.onset_s) / 60.0:+8.1f} min  {text}")
    if world.calm is not None:
        print(
            f"out of place for {world.calm.out_s:.0f} s {world.calm.worst}; ten minutes' means {world.calm.lowest_mean_c:.2f} to {world.calm.highest_mean_c:.2f} °C"
        )
    print(
        f"onset 0; harm {world.limits.why or 'none'}; {row.messages} messages; right cause: {row.right}; told after {row.found_s} s; {row.refused or ''}"
    )
    return 0
