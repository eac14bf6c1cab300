"""`eggroom room`, `alarms`, `ack`, `shelve`, `unshelve` and `handling`: what the air is now, what stands, and what a person says to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from monitor.cli.frame import Asked, Parsers, Wrong, command, show
from monitor.cli.record import ask, ask_daemon, house_of, opened, said
from monitor.cli.typed import typed_while_s
from monitor.domain.alarms.alarm import state_of
from monitor.domain.wall import wall_time
from monitor.domain.watch.view import alarm_view
from monitor.shown.terminal import alarm_table, room_text, transition_table, transition_view


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarms(Asked):
    """alarms"""

    all: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class One(Asked):
    """unshelve"""

    alarm: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ack(One):
    """ack"""

    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelve(Ack):
    """shelve"""

    span: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling(Asked):
    """handling"""

    machine: str
    span: str | None
    done: bool
    by: str


def add(parsers: Parsers) -> None:
    """Say what each of them takes."""
    command(parsers["room"], _room, Asked)
    alarms = command(parsers["alarms"], _alarms, Alarms)
    alarms.add_argument("--all", action="store_true", help="every transition in the record")
    ack = command(parsers["ack"], _ack, Ack)
    ack.add_argument("alarm", type=int, metavar="ID")
    ack.add_argument("--by", required=True, metavar="NAME")
    shelve = command(parsers["shelve"], _shelve, Shelve)
    shelve.add_argument("alarm", type=int, metavar="ID")
    shelve.add_argument("--for", dest="span", required=True, metavar="TIME", help="such as 20m")
    shelve.add_argument("--by", default="", metavar="NAME")
    unshelve = command(parsers["unshelve"], _unshelve, One)
    unshelve.add_argument("alarm", type=int, metavar="ID")
    handling = command(parsers["handling"], _handling, Handling)
    handling.add_argument("machine")
    handling.add_argument("--for", dest="span", default=None, metavar="TIME", help="such as 20m; at most 1h")
    handling.add_argument("--done", action="store_true", help="the machine is shut again")
    handling.add_argument("--by", default="", metavar="NAME")


def _room(options: Asked) -> int:
    house = house_of(options.config)
    answer = ask_daemon(house, {"do": "room"})
    return show(options.json, answer, room_text(answer, house.site))


def _alarms(options: Alarms) -> int:
    house = house_of(options.config)
    with opened(house) as history:
        if options.all:
            rows = list(history.transitions())
            return show(options.json, [transition_view(r) for r in rows], transition_table(rows, house.site))
        alarms = [a for a in history.alarms() if state_of(a) != "normal"]
        return show(options.json, [alarm_view(a) for a in alarms], alarm_table(alarms, house.site))


def _ack(options: Ack) -> int:
    answer = ask(house_of(options.config), {"do": "acknowledge", "alarm": options.alarm, "by": options.by})
    return show(options.json, answer, said(answer, f"alarm {{number}}: acknowledged by {options.by}; now {{state}}"))


def _shelve(options: Shelve) -> int:
    request = {"do": "shelve", "alarm": options.alarm, "for_s": typed_while_s(options.span), "by": options.by}
    house = house_of(options.config)
    answer = ask(house, request)
    until = wall_time(datetime.fromisoformat(answer["shelved_until"]), house.site.zone, options.utc())
    return show(options.json, answer, f"alarm {answer['number']}: shelved until {until}")


def _unshelve(options: One) -> int:
    answer = ask(house_of(options.config), {"do": "unshelve", "alarm": options.alarm})
    return show(options.json, answer, said(answer, "alarm {number}: {state}"))


def _handling(options: Handling) -> int:
    if options.done == (options.span is not None):
        raise Wrong("handling: expected either --for TIME or --done")
    request: dict[str, Any] = {"do": "handling", "machine": options.machine, "by": options.by}
    request |= {"done": True} if options.span is None else {"for_s": typed_while_s(options.span)}
    answer = ask(house_of(options.config), request)
    return show(options.json, answer, said(answer, "{machine}: handling {did}"))
