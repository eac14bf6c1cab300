"""`eggroom cooling`: eggs that are cooled each day, as waterfowl's are: declared once, with their hours."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from monitor.cli.frame import Asked, Parsers, Wrong, command, show
from monitor.cli.record import ask, house_of, said
from monitor.cli.typed import add_by, typed_by, typed_days, typed_minute, typed_temperature, typed_while_s
from monitor.cli.watching import ask_daemon
from monitor.domain.fixed import fixed
from monitor.shown.now.room import cooling_words

if TYPE_CHECKING:
    from monitor.domain.watch.view import CoolingView, RoomView


@fixed(kw_only=True)
class Cooling(Asked):
    """cooling"""

    of: str | None
    at: list[str]
    span: str | None
    days: str | None
    to: str | None
    end: bool
    by: str


def add(parsers: Parsers) -> None:
    """Say what `cooling` takes."""
    cooling = command(parsers["cooling"], _cooling, Cooling)
    cooling.add_argument("of", nargs="?", default=None, metavar="BATCH|MACHINE")
    cooling.add_argument(
        "--at", action="append", default=[], metavar="HH:MM", help="each day at this hour; may be repeated"
    )
    cooling.add_argument("--for", dest="span", default=None, metavar="TIME", help="such as 30m; at most 1h")
    cooling.add_argument("--days", default=None, metavar="N-M", help="on these days of the batch (default: every day)")
    cooling.add_argument(
        "--to", default=None, metavar="T", help="what the eggs are cooled to, such as 30C: colder is told"
    )
    cooling.add_argument("--end", action="store_true", help="it is no longer done")
    add_by(cooling)


def _cooling(options: Cooling) -> int:
    house = house_of(options.config)
    if options.of is None:
        if options.at or options.span or options.days or options.end or options.to is not None:
            raise Wrong("cooling: whose is not said, expected a batch or a machine")
        room = cast("RoomView", ask_daemon(house, {"do": "room"}, options.utc()))
        views, now = room.get("coolings", []), options.utc()
        lines = [cooling_words(view, house.site, now) for view in views]
        return show(options.json, views, "\n".join(lines) or "No cooling is declared.")
    request: dict[str, object] = {"do": "cooling", "of": options.of, "by": typed_by(options.by, house.settings.site.by)}
    if options.end:
        if options.at or options.span or options.days or options.to is not None:
            raise Wrong(f"cooling {options.of}: --end and a schedule, expected one of them")
        answer = ask(house, request | {"end": True})
        return show(options.json, answer, said(answer, "{of}: {did}"))
    if not options.at or options.span is None:
        raise Wrong(f"cooling {options.of}: expected --at HH:MM and --for TIME, or --end")
    request |= {"at_min": [typed_minute(text) for text in options.at], "for_s": typed_while_s(options.span)}
    if options.days is not None:
        first, last = typed_days(options.days)
        request |= {"first_day": first, "last_day": last}
    if options.to is not None:
        request |= {"to_c": typed_temperature(options.to, house.site.unit, "cooling: --to")}
    answer = ask(house, request)
    return show(options.json, answer, cooling_words(cast("CoolingView", answer), house.site, options.utc()))
