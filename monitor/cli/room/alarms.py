"""`eggroom room`, `alarms`, `ack`, `shelve`, `unshelve`, `out-of-service` and `handling`: what the air is, what stands, what a person says to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, cast

from monitor.cli.frame import DONE, FAILED, WRONG, Asked, Failed, Parsers, Wrong, columns, command, complain, show
from monitor.cli.record import Answer, Hangs, ask, house_of, opened, said
from monitor.cli.typed import add_by, typed_by, typed_numbers, typed_span_s, typed_while_s
from monitor.cli.watching import ask_daemon, heard, show_watched, unwatched
from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    NORMAL,
    OUT_OF_SERVICE,
    RETURNED,
    SHELVED,
    UNACKNOWLEDGED,
    state_of,
)
from monitor.domain.eggs.dates import TASK
from monitor.domain.eggs.hatching import store_delay_h
from monitor.domain.fixed import fixed
from monitor.domain.wall import filled, utc_text, wall_time
from monitor.domain.watch.view import alarm_view
from monitor.shown.about import about_words
from monitor.shown.calendar import looks_ahead, next_due
from monitor.shown.now.alarms import HANGS, alarms_text, out_line, out_told, told_of, told_view
from monitor.shown.now.room import room_text
from monitor.shown.terminal import in_no_machine, transition_table, transition_view, unplaced_words
from monitor.shown.values import state_words, subject_name

if TYPE_CHECKING:
    from monitor.domain.needs.site import Site
    from monitor.domain.watch.view import AlarmView, OutView, RoomView
    from monitor.service.ports import Watched
    from monitor.settings import House

ALL = "all"
MAX_NOTICES = 1000  # of the alarms that stand: months of reminders of each
MAX_NUMBER = 10**9  # that a message may have


@fixed(kw_only=True)
class Alarms(Asked):
    """alarms"""

    all: bool
    full: bool


@fixed(kw_only=True)
class Full(Asked):
    """room"""

    full: bool


@fixed(kw_only=True)
class One(Asked):
    """unshelve"""

    alarms: list[str]


@fixed(kw_only=True)
class Ack(One):
    """ack"""

    by: str


@fixed(kw_only=True)
class Shelve(One):
    """shelve"""

    by: str
    span: str


@fixed(kw_only=True)
class OutOfService(One):
    """out-of-service"""

    by: str
    back: bool
    span: str | None
    sure: bool


@fixed(kw_only=True)
class Handling(Asked):
    """handling"""

    machine: str
    span: str | None
    done: bool
    by: str


def add(parsers: Parsers) -> None:
    """Say what each of them takes."""
    command(parsers["now"], _now, Asked)
    room = command(parsers["room"], _room, Full)
    room.add_argument("--full", action="store_true", help="all of each machine, also where nothing is wrong")
    alarms = command(parsers["alarms"], _alarms, Alarms)
    alarms.add_argument("--all", action="store_true", help="every transition in the record")
    alarms.add_argument("--full", action="store_true", help="all of each, also of those that are seen or quiet")
    ack = command(parsers["ack"], _ack, Ack)
    ack.add_argument("alarms", nargs="+", metavar="NUMBER", help=f"of the alarm, one or more, or {ALL}")
    add_by(ack)
    shelve = command(parsers["shelve"], _shelve, Shelve)
    shelve.add_argument("alarms", nargs="+", metavar="NUMBER", help=f"of the alarm, one or more, or {ALL}")
    shelve.add_argument("--for", dest="span", required=True, metavar="TIME", help="such as 20m")
    add_by(shelve)
    unshelve = command(parsers["unshelve"], _unshelve, One)
    unshelve.add_argument("alarms", nargs="+", metavar="NUMBER", help=f"of the alarm, one or more, or {ALL}")
    out = command(parsers["out-of-service"], _out_of_service, OutOfService)
    out.add_argument(
        "alarms", nargs="+", metavar="NUMBER|MACHINE|PROBE", help="of the alarm; or a machine or a probe as a whole"
    )
    add_by(out)
    out.add_argument(
        "--for", dest="span", default=None, metavar="TIME", help="such as 8h or 3d; it comes back by itself then"
    )
    out.add_argument("--back", action="store_true", help="put it back: what stands is told again")
    out.add_argument(
        "--sure", action="store_true", help="of a machine or probe: also where eggs are watched less for it"
    )
    handling = command(parsers["handling"], _handling, Handling)
    handling.add_argument("machine")
    handling.add_argument("--for", dest="span", default=None, metavar="TIME", help="such as 20m; at most 1h")
    handling.add_argument("--done", action="store_true", help="the machine is shut again")
    add_by(handling)


def _room(options: Full) -> int:
    house = house_of(options.config)
    answer = ask_daemon(house, {"do": "room"}, options.utc())
    room = cast("RoomView", answer)
    lost: list[str] = []
    with suppress(Failed), opened(house) as history:  # the room is shown also while the record cannot be read
        lost = [batch.id for batch in in_no_machine(history.batches(), options.utc())]
        for machine in room["machines"]:
            machine["alarms"] = _with_record(history, machine["alarms"])
        room["others"] = _with_record(history, room["others"])
    text = _with_lost(room_text(room, house.site, full=options.full, columns=columns()), lost)
    text = _with_out(text, answer, site=house.site, now=options.utc())
    return show(options.json, {**answer, "in_no_machine": lost}, text)


def _with_lost(text: str, lost: Sequence[str]) -> str:
    """The text, and before it which batches nobody watches."""
    return f"{filled(unplaced_words(lost), columns())}\n\n{text}" if lost else text


def _with_out(text: str, room: Answer | None, *, site: Site, now: datetime) -> str:
    """The text, and first of all what is out of service."""
    lines = [filled(out_line(out, site, now), columns()) for out in _out(room)]
    return "\n".join([*lines, "", text]) if lines else text


def _out(room: Answer | None) -> list[OutView]:
    return [] if room is None or "error" in room else cast("RoomView", room).get("out_of_service", [])


def _alarms(options: Alarms) -> int:
    house, now = house_of(options.config), options.utc()
    if options.all:
        nobody = unwatched(house, now)
        with opened(house) as history:
            rows = list(history.transitions())
        text = transition_table(rows, house.site)
        return show_watched(options.json, [transition_view(r) for r in rows], text, unwatched=nobody)
    room = heard(house, "room")
    nobody = unwatched(house, now, room)
    with opened(house) as history:
        views = _with_record(history, _standing(house, history, room))
    text = alarms_text(views, house.site, now, live=not nobody, full=options.full, columns=columns())
    text = _with_out(text, room, site=house.site, now=now)
    return show_watched(options.json, views, text, unwatched=nobody)


def _now(options: Asked) -> int:
    house, now = house_of(options.config), options.utc()
    room = heard(house, "room")
    nobody = unwatched(house, now, room)
    with opened(house) as history:
        views = _with_record(history, _standing(house, history, room))
        batches = [batch for batch in history.batches() if batch.closed_at is None]
        books = [history.book(each) for each in batches]
        due = next_due([(book.batch, store_delay_h(book)) for book in books], house.site, now)
        due += [look for book in books for look in looks_ahead(book, now)]
    lost = [batch.id for batch in in_no_machine(batches, now)]
    text = _with_lost(alarms_text(views, house.site, now, live=not nobody, columns=columns()), lost)
    text = _with_out(text, room, site=house.site, now=now)
    to_do = sorted([*((each.since, each.summary, each.until) for each in due), *_coolings(room)])
    moves = _moves(room)
    due_ = [{"what": what, "at": utc_text(at)} for at, what, _ in [*moves, *to_do]]
    data: dict[str, object] = {"alarms": views, "in_no_machine": lost, "due": due_}
    data |= {"out_of_service": out} if (out := _out(room)) else {}
    lines = [f"{what} by {wall_time(at, house.site.zone, now)}" for at, what, _ in moves]
    lines += [_due_words(each, house.site, now) for each in to_do]
    text = "\n".join([text, "", *(lines or ["Nothing more is due." if batches else "No eggs are set."])])
    return show_watched(options.json, data, text, unwatched=nobody)


def _due_words(due: tuple[datetime, str, datetime], site: Site, now: datetime) -> str:
    """`hen-1: weigh, 24 Nov 02:14`; of what has begun `hen-1: hatch, since 24 Nov 02:14, to 26 Nov 02:14`."""
    since, what, until = due
    if since > now:
        return f"{what}, {wall_time(since, site.zone, now)}"
    to = f", to {wall_time(until, site.zone, now)}" if until - since > TASK else ""
    return f"{what}, since {wall_time(since, site.zone, now)}{to}"


def _moves(room: Answer | None) -> list[tuple[datetime, str, datetime]]:
    """By when eggs whose lockdown has begun are to be moved."""
    machines = () if room is None or "error" in room else cast("RoomView", room)["machines"]
    inside = [occupant for machine in machines for occupant in machine["batches"]]
    by = sorted((datetime.fromisoformat(each["move_by"]), each["batch"]) for each in inside if "move_by" in each)
    return [(at, f"{batch}: move it for its lockdown", at) for at, batch in by]


def _coolings(room: Answer | None) -> list[tuple[datetime, str, datetime]]:
    """When eggs are cooled next, and whose, of what is declared for each day."""
    coolings = () if room is None or "error" in room else cast("RoomView", room).get("coolings", ())
    at = [(datetime.fromisoformat(each["next"]), each["of"]) for each in coolings if each["next"]]
    return [(each, f"{of}: cool", each) for each, of in at]


def _standing(house: House, history: Watched, room: Answer | None) -> list[AlarmView]:
    """Every alarm that is not normal, by whom it is about: as the running daemon has them now; where none runs, as the record has them."""
    if room is None or "error" in room:
        say = partial(about_words, site=house.site)
        views = [alarm_view(a, say) for a in history.alarms() if state_of(a) != NORMAL]
    else:
        found = cast("RoomView", room)
        views = [*(alarm for machine in found["machines"] for alarm in machine["alarms"]), *found["others"]]
    return sorted({view["number"]: view for view in views}.values(), key=lambda v: (v["subject"], v["rule"]))


def _with_record(history: Watched, views: Sequence[AlarmView]) -> list[AlarmView]:
    """The same with what only the record knows: who took them out of service, and whether anybody was told."""
    told = told_of(history.notices(MAX_NOTICES, numbers={view["number"] for view in views})) if views else {}
    return [{**_with_who_took_it_out(history, view), "told": told_view(told.get(view["number"], ()))} for view in views]


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
    house = house_of(options.config)
    nobody, by = unwatched(house, options.utc()), typed_by(options.by, house.settings.site.by)
    if nobody == HANGS:
        raise Failed(nobody)

    def seen(number: int) -> tuple[Answer, str]:
        try:
            answer = ask(house, {"do": "acknowledge", "alarm": number, "by": by}, said_so=bool(nobody))
        except Wrong:
            known = _seen_already(house, number)
            if known is None:
                raise
            over = "over and seen" if known["state"] == NORMAL else "seen already; it still stands"
            return known, f"No. {number} is {over}"
        return answer, _seen_words(answer, by)

    return _of_each(
        options, _meant(house, options.alarms, "ack", states=(UNACKNOWLEDGED, RETURNED)), seen, nobody=nobody
    )


def _of_each(options: One, numbers: Sequence[int], do: Callable[[int], tuple[Answer, str]], *, nobody: str = "") -> int:
    """Do it to each of them, whatever becomes of the others, and print it; the worst of what came of it. A daemon that hangs is asked once."""
    answers, lines, refused, code = [], [], [], DONE
    for number in dict.fromkeys(numbers):
        try:
            answer, line = do(number)
            answers.append(answer)
            lines.append(line)
        except (Wrong, Failed) as error:
            refused.append(str(error))
            code = max(code, WRONG if isinstance(error, Wrong) else FAILED)
            if isinstance(error, Hangs):
                break
    if answers or not refused:
        one = len(options.alarms) == 1 and options.alarms[0].isdigit()
        data = answers[0] if one and answers else answers
        code = max(
            code,
            show_watched(
                options.json,
                data,
                "\n".join(lines) or ("Nothing stood." if nobody else "Nothing new."),
                unwatched=nobody,
            ),
        )
    elif nobody:
        refused = [nobody, *refused]
    return complain("\n".join(refused), code)


def _meant(house: House, words: Sequence[str], where: str, *, states: Sequence[str]) -> list[int]:
    """The numbers that are typed; of `all`, and from one to another, those of them that are in one of the states."""
    if list(words) == [ALL]:
        return _within(house, 1, MAX_NUMBER, states=states)
    found: list[int] = []
    for first, last in typed_numbers(words, where):
        found += [first] if first == last else _within(house, first, last, states=states)
    return found


def _within(house: House, first: int, last: int, *, states: Sequence[str]) -> list[int]:
    with opened(house) as history:
        known = sorted(alarm.number for alarm in history.alarms() if state_of(alarm) in states)
    return [number for number in known if first <= number <= last]


def _seen_already(house: House, number: int) -> Answer | None:
    """The alarm of that number where a person has seen it, over or not: to see it once more is no mistake."""
    with opened(house) as history:
        found = [a for a in history.alarms() if a.number == number and state_of(a) in (NORMAL, ACKNOWLEDGED)]
    return dict(alarm_view(found[0], partial(about_words, site=house.site))) if found else None


def _seen_words(answer: Answer, by: str) -> str:
    """`No. 3: seen by sam; it still stands`."""
    return f"No. {answer['number']}: seen by {by}; {'it is over' if answer['state'] == NORMAL else 'it still stands'}"


def _one_number(words: Sequence[str], where: str) -> int:
    found = [] if list(words) == [ALL] else typed_numbers(words, where, "the number in the message")
    if len(found) != 1 or found[0][0] != found[0][1]:
        raise Wrong(f"{where}: {' '.join(words)[:40]!r}, expected one number, or a machine or probe")
    return found[0][0]


def _shelve(options: Shelve) -> int:
    house, for_s = house_of(options.config), typed_while_s(options.span)
    by, quieted = _by(options, house), list[int]()

    def quiet(number: int) -> tuple[Answer, str]:
        answer = ask(house, {"do": "shelve", "alarm": number, "for_s": for_s, "by": by}, said_so=bool(quieted))
        quieted.append(number)
        until = wall_time(datetime.fromisoformat(answer["shelved_until"]), house.site.zone, options.utc())
        return answer, f"No. {answer['number']}: quiet until {until}"

    numbers = _meant(house, options.alarms, "shelve", states=(UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED))
    return _of_each(options, numbers, quiet, nobody="" if numbers else unwatched(house, options.utc()))


def _unshelve(options: One) -> int:
    house, asked = house_of(options.config), list[int]()

    def back(number: int) -> tuple[Answer, str]:
        answer = ask(house, {"do": "unshelve", "alarm": number}, said_so=bool(asked))
        asked.append(number)
        return answer, f"No. {answer['number']}: {state_words(answer['state'])}"

    numbers = _meant(house, options.alarms, "unshelve", states=(SHELVED,))
    return _of_each(options, numbers, back, nobody="" if numbers else unwatched(house, options.utc()))


def _out_of_service(options: OutOfService) -> int:
    if options.back and options.span is not None:
        raise Wrong("out-of-service: expected either --for TIME or --back")
    house = house_of(options.config)
    if of := _whole(options.alarms, house.site):
        return _take_out(options, house, of)
    number = _one_number(options.alarms, "out-of-service")
    request: dict[str, object] = {"do": "out-of-service", "alarm": number, "out": not options.back}
    request |= {"by": _by(options, house)} | ({} if options.span is None else {"for_s": typed_span_s(options.span)})
    answer = ask(house, request)
    if options.back:
        return show(options.json, answer, f"No. {answer['number']}: {state_words(answer['state'])}")
    back = f"eggroom out-of-service {number} --back"
    if (until := answer.get("out_of_service_until")) is not None:
        words = wall_time(datetime.fromisoformat(until), house.site.zone, options.utc())
        said_ = f"No. {answer['number']}: {state_words(answer['state'])} until {words}, or: {back}"
        return show(options.json, answer, said_)
    return show(
        options.json,
        answer,
        f"No. {answer['number']}: {state_words(answer['state'])}; it tells nobody, and stands in each day's summary, until: {back}",
    )


def _whole(words: Sequence[str], site: Site) -> str:
    """The machine or probe that is meant, by its id or as screens call it; what is neither, as it was typed. Empty of `all` and of numbers, which are
    of alarms."""
    typed = " ".join(words)
    with suppress(Wrong):
        return "" if typed == ALL or typed_numbers(words, "") else typed
    called = [id_ for id_ in (*site.machines, *site.probes) if subject_name(id_, site).casefold() == typed.casefold()]
    return called[0] if len(called) == 1 else typed


def _take_out(options: OutOfService, house: House, of: str) -> int:
    request: dict[str, object] = {"do": "take-out", "of": of, "out": not options.back, "by": _by(options, house)}
    if not options.back:
        request |= {"sure": options.sure} | ({} if options.span is None else {"for_s": typed_span_s(options.span)})
    answer = ask(house, request)
    name = subject_name(of, house.site)
    if options.back:
        return show(options.json, answer, f"{name}: back in service; what stands is told as soon as it is judged")
    out, back = cast("OutView", answer), f"eggroom out-of-service {of} --back"
    now = options.utc()
    if out["until"] is None:
        until = f"until: {back}; each day's summary says so"
    else:
        until = f"until {wall_time(datetime.fromisoformat(out['until']), house.site.zone, now)}, or: {back}"
    text = f"{name}: out of service {until}\n{out_told(out, house.site)}"
    return show(options.json, answer, text)


def _handling(options: Handling) -> int:
    if options.done == (options.span is not None):
        raise Wrong("handling: expected either --for TIME or --done")
    house = house_of(options.config)
    request: dict[str, object] = {"do": "handling", "machine": options.machine, "by": _by(options, house)}
    request |= {"done": True} if options.span is None else {"for_s": typed_while_s(options.span)}
    answer = ask(house, request)
    return show(options.json, answer, said(answer, "{machine}: handling {did}"))


def _by(options: Shelve | OutOfService | Handling, house: House) -> str:
    return typed_by(options.by, house.settings.site.by)
