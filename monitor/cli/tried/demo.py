"""`eggroom demo`: a simulated room, end to end; or an invented season written into a folder."""

from __future__ import annotations

from pathlib import Path

from monitor.cli.frame import DONE, Failed, Given, Parsers, Wrong, command
from monitor.domain.fixed import fixed
from monitor.rehearse.demo import DemoError, run_demo
from monitor.rehearse.season_demo import SeasonError, tell_season, write_season


@fixed(kw_only=True)
class Demo(Given):
    """demo. season: True for --season without a folder."""

    speed: float | None
    for_s: float | None
    port: int | None
    season: Path | bool | None
    seed: int | None
    tell: bool


def add(parsers: Parsers) -> None:
    """Say what `demo` takes."""
    demo = command(parsers["demo"], _demo, Demo)
    demo.add_argument("--speed", type=float, default=None, help="how many times as fast as life")
    demo.add_argument("--for", dest="for_s", type=float, default=None, metavar="SECONDS", help="end after so long")
    demo.add_argument("--port", type=int, default=None, help="port of the demo's broker (default: a free one)")
    help_ = "an invented season written into a new folder, to try the review on (default: eggroom-season/seed-N)"
    demo.add_argument("--season", type=Path, nargs="?", const=True, default=None, metavar="DIR", help=help_)
    demo.add_argument("--seed", type=int, default=None, metavar="N", help="another number, another season (default: 1)")
    demo.add_argument("--tell", action="store_true", help="what went wrong in a season that was written")


def _demo(options: Demo) -> int:
    if options.season is not None:
        return _season(options)
    if options.seed is not None or options.tell:
        raise Wrong("demo: --seed or --tell came without --season, expected them with it")
    try:
        return run_demo(speed=options.speed, for_s=options.for_s, port=options.port)
    except DemoError as error:
        raise Failed(str(error)) from error


def _season(options: Demo) -> int:
    if (options.speed, options.for_s, options.port) != (None, None, None):
        raise Wrong("demo --season: --speed, --for or --port came with it, expected none: nothing is played")
    folder = options.season if isinstance(options.season, Path) else None
    seed = 1 if options.seed is None else options.seed
    try:
        print(tell_season(folder, seed) if options.tell else write_season(folder, seed))
    except SeasonError as error:
        raise Failed(str(error)) from error
    return DONE
