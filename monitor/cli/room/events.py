"""`eggroom events` and `eggroom refused`: what else happened, and what was not understood."""

from __future__ import annotations

from monitor.cli.frame import Asked, Parsers, command, show
from monitor.cli.record import house_of, opened
from monitor.domain.fixed import fixed
from monitor.domain.state.happened import TURNING
from monitor.shown.terminal import event_table, event_view, refused_text, refused_view


@fixed(kw_only=True)
class Limited(Asked):
    """events, refused"""

    limit: int


def add(parsers: Parsers) -> None:
    """Say what both take."""
    command(parsers["refused"], _refused, Limited).add_argument("--limit", type=int, default=20)
    command(parsers["events"], _events, Limited).add_argument("--limit", type=int, default=50)


def _refused(options: Limited) -> int:
    house = house_of(options.config)
    with opened(house) as history:
        total, rows = history.refused(max(1, options.limit))
        unknown = [u for u in history.unknown() if u.probe not in house.site.probes]
    return show(options.json, refused_view(total, rows, unknown), refused_text(total, rows, unknown, site=house.site))


def _events(options: Limited) -> int:
    house = house_of(options.config)
    with opened(house) as history:
        events = history.events(limit=max(1, options.limit), without=TURNING)  # a turner turns each hour; see egg show
    return show(options.json, [event_view(e) for e in events], event_table(events, house.site))
