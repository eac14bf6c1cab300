"""`eggroom room`, `alarms`, `ack`, `shelve`, `unshelve`, `out-of-service` and `handling`: what the air is, what stands, what a person says to it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, cast

from monitor.cli.frame import Asked, Failed, Parsers, Wrong, command, show
from monitor.cli.record import ask, ask_daemon, house_of, opened, said
from monitor.cli.typed import typed_while_s
from monitor.domain.alarms.alarm import OUT_OF_SERVICE, state_of
from monitor.domain.fixed import fixed
from monitor.domain.wall import utc_text, wall_time
from monitor.domain.watch.view import alarm_view
from monitor.shown.about import about_words
from monitor.shown.terminal import alarm_table, room_text, transition_table, transition_view

if TYPE_CHECKING:
    from monitor.domain.watch.view import AlarmView, RoomView
    from monitor.service.ports import Watched


@fixed(kw_only=True)
class Alarms(Asked):
    """alarms"""

    all: bool


@fixed(kw_only=True)
class One(Asked):
    """unshelve"""

    alarm: int


@fixed(kw_only=True)
class Ack(One):
    """ack"""

    by: str


@fixed(kw_only=True)
class Shelve(Ack):
    """shelve"""

    span: str


@fixed(kw_only=True)
class OutOfService(Ack):
    """out-of-service"""

    back: bool


@fixed(kw_only=True)
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
    out = command(parsers["out-of-service"], _out_of_service, OutOfService)
    out.add_argument("alarm", type=int, metavar="ID")
    out.add_argument("--by", required=True, metavar="NAME")
    out.add_argument("--back", action="store_true", help="put it back: what stands is told again")
    handling = command(parsers["handling"], _handling, Handling)
    handling.add_argument("machine")
    handling.add_argument("--for", dest="span", default=None, metavar="TIME", help="such as 20m; at most 1h")
    handling.add_argument("--done", action="store_true", help="the machine is shut again")
    handling.add_argument("--by", default="", metavar="NAME")


def _room(options: Asked) -> int:
    house = house_of(options.config)
    answer = ask_daemon(house, {"do": "room"})
    room = cast("RoomView", answer)
    views = [*room["others"], *(alarm for machine in room["machines"] for alarm in machine["alarms"])]
    if any(view["state"] == OUT_OF_SERVICE for view in views):
        with suppress(Failed), opened(house) as history:  # the room is shown also while the record cannot be read
            for view in views:
                view.update(_with_who_took_it_out(history, view))
    return show(options.json, answer, room_text(room, house.site))


def _alarms(options: Alarms) -> int:
    house = house_of(options.config)
    with opened(house) as history:
        if options.all:
            rows = list(history.transitions())
            return show(options.json, [transition_view(r) for r in rows], transition_table(rows, house.site))
        say = partial(about_words, site=house.site)
        views = [alarm_view(a, say) for a in history.alarms() if state_of(a) != "normal"]
        views = [_with_who_took_it_out(history, view) for view in views]
        return show(options.json, views, alarm_table(views, house.site))


def _with_who_took_it_out(history: Watched, view: AlarmView) -> AlarmView:
    """An alarm and, of one out of service, since when it is and who took it out, which its facts do not hold."""
    if view["state"] != OUT_OF_SERVICE:
        return view
    rows = [
        row
        for row in history.transitions(subject=view["subject"])
        if row.rule == view["rule"] and row.state == OUT_OF_SERVICE != row.state_before
    ]
    if not rows:
        return view
    return {**view, "out_of_service_since": utc_text(rows[-1].at), "out_of_service_by": rows[-1].who or None}


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


def _out_of_service(options: OutOfService) -> int:
    request = {"do": "out-of-service", "alarm": options.alarm, "out": not options.back, "by": options.by}
    answer = ask(house_of(options.config), request)
    if options.back:
        return show(options.json, answer, said(answer, "alarm {number}: {state}"))
    back = f"eggroom out-of-service {options.alarm} --back --by NAME"
    return show(options.json, answer, said(answer, f"alarm {{number}}: {{state}}; it tells nobody until: {back}"))


def _handling(options: Handling) -> int:
    if options.done == (options.span is not None):
        raise Wrong("handling: expected either --for TIME or --done")
    request: dict[str, object] = {"do": "handling", "machine": options.machine, "by": options.by}
    request |= {"done": True} if options.span is None else {"for_s": typed_while_s(options.span)}
    answer = ask(house_of(options.config), request)
    return show(options.json, answer, said(answer, "{machine}: handling {did}"))
