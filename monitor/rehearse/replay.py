"""A recorded stream through the same path as live, on its own clock, as fast as it goes; and the timeline that it gives.

A recording is JSON lines in the order of arrival: a head, then messages ({"at", "topic", "payload"}) and requests ({"at", "do", ...}),
as a person would give them; {"do": "end"} lets the clock run on to its time. Both clocks come from the recording, so the
same recording gives the same timeline, to the byte.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from monitor.adapters.requests import BadRequest, read_request
from monitor.app import StartError, decoder
from monitor.domain.alarms.alarm import Transition
from monitor.domain.needs.bands import EGG
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Message, Now
from monitor.domain.refusal import Failure
from monitor.domain.state.record import Attempt
from monitor.domain.wall import utc_text
from monitor.rehearse.tape import Tape, Timeline
from monitor.service.ports import WeightAsked, WeightVerdict
from monitor.service.watch.engine import Engine, start_state
from monitor.service.watch.inbox import Arrived, Asked, Attempted, Stop
from monitor.service.watch.weights import Judge, judge_at_once
from monitor.settings import House
from monitor.shown.phone.joined import NoticeWords

MONO_START_S = 1000.0  # any number: nothing may depend on where the forward clock starts
TICK_S = 1.0
MAX_PAUSE = timedelta(days=120)  # the longest incubation: a later time is a slip, and each second would be played
_SECOND = timedelta(seconds=TICK_S)
NOBODY = "phone"  # who is told when the configuration names no contact: the notices are shown all the same


class ReplayError(Failure):
    """A recording that cannot be read: file and line, what came, what was expected."""


def replay(path: Path, house: House, *, delivered: bool = False, answering: Timeline | None = None) -> Timeline:
    """Run a recording through a fresh engine. Raises ReplayError.

    delivered: every notice gets through at once, so that what nobody answers is told again; without, each contact is still waiting
    for the first. answering: the same recording under other rules, whose alarms the recording's requests name by number; they are done
    to the alarm of the same subject and rule here.
    """
    if not house.site.contacts:
        house = replace(house, site=replace(house.site, contacts=(NOBODY,)))
    timeline = Timeline()
    lines = _lines(path, timeline)
    _, head = next(lines, (0, {}))
    if "recording" not in head:
        raise ReplayError(f"{path}: line 1", 'no "recording"', "the head of a recording")
    timeline.about = str(head.get("about", ""))
    tape = Tape(timeline, keeps_air=_weighs(path))
    asked: list[WeightAsked] = []
    first: datetime | None = None
    now = Now(MONO_START_S, datetime.fromtimestamp(0, tz=UTC))
    engine: Engine | None = None
    decode = _decoder(house, str(head.get("site", house.site.id)))
    for number, line in lines:
        at = _time(path, number, line)
        if first is None:
            first = at
        elif at < now.utc:
            raise ReplayError(f"{path}: line {number}", f"at {line['at']}", "not before the line above")
        elif at - now.utc > MAX_PAUSE:
            expected = f"within {MAX_PAUSE.days} days of the line above"
            raise ReplayError(f"{path}: line {number}", f"at {line['at']}", expected)
        target = MONO_START_S + (at - first).total_seconds()
        if engine is None:
            now = Now(target, at)
            engine = _engine(house, tape, now, asked=asked)
            after = partial(_follow, engine, tape, judge=_judge(house.site, tape), asked=asked, delivered=delivered)
        _let_pass(engine, now, target, after=after)
        now = Now(target, at)
        if "topic" in line:
            payload = str(line.get("payload", "")).encode("utf-8", "surrogatepass")  # half a character is refused below
            engine.work(Arrived(now, decode(str(line["topic"]), payload, bool(line.get("retain")))))
        elif line.get("do") == "end":
            engine.idle(now)
        elif "do" in line:
            request = {key: value for key, value in line.items() if key != "at"}
            if answering is not None and "alarm" in request:
                request["alarm"] = _number_here(request["alarm"], answering, timeline)
            answers: list[Mapping[str, object]] = []
            try:
                engine.work(Asked(now, read_request(request), answers.append))
            except BadRequest as error:
                answers.append(error.answer())
            timeline.answers += [(at, request, answer) for answer in answers]
        else:
            raise ReplayError(f"{path}: line {number}", 'neither "topic" nor "do"', "a message or a request")
        after(now)
    if engine is not None:
        engine.work(Stop(now))
        timeline.span = now.utc - (first or now.utc)
    return timeline


def _follow(engine: Engine, tape: Tape, now: Now, *, judge: Judge, asked: list[WeightAsked], delivered: bool) -> None:
    """What threads do beside the engine when it is live: judge the weights that it asks for, and say that what it told got through."""
    judge_at_once(engine.work, asked, now, judge=judge)
    for notice in tape.untold() if delivered else ():
        engine.work(Attempted(now, Attempt(notice.id, "sent", "replayed", now.utc, notice.contact)))


def _judge(site: Site, tape: Tape) -> Judge:
    """From what was played so far."""

    def judge(name: str, now: datetime) -> WeightVerdict | None:
        from monitor.service.reports.water import weight_verdict  # loaded with the first weighing

        return weight_verdict(tape, site, tape.batches[name], now=now, batches=tuple(tape.batches.values()))

    return judge


def _weighs(path: Path) -> bool:
    """Whether anything is weighed in a recording: only then is its air kept, for a year of it is much."""
    try:
        with path.open("rb") as file:
            return any(b'"weighing' in text for text in file)
    except OSError:  # told when it is played
        return False


def _number_here(number: object, there: Timeline, here: Timeline) -> object:
    """The number that the alarm of this number has in another timeline; 0, which is none, where it never began."""
    keys = [t.alarm.key for t in there.transitions if t.alarm.number == number]
    return next((t.alarm.number for t in reversed(here.transitions) if t.alarm.key in keys), 0)


def _let_pass(engine: Engine, now: Now, target_s: float, *, after: Callable[[Now], None]) -> None:
    """Every second up to the target in which passing time may decide something: a calm hour is one step."""
    while now.mono_s + TICK_S <= target_s:
        due_s = engine.due_mono_s(now)
        if due_s > target_s:
            return
        most = math.floor((target_s - now.mono_s) / TICK_S)
        steps = max(1, min(math.ceil((due_s - now.mono_s) / TICK_S), most))
        now = Now(now.mono_s + steps * TICK_S, now.utc + steps * _SECOND)
        engine.idle(now)
        after(now)


def text_lines(timeline: Timeline) -> Iterator[str]:
    """The timeline as lines, UTC to the second."""
    if timeline.about:
        yield f"# {timeline.about}"
    for entry in timeline.entries:
        if isinstance(entry, Transition):
            alarm = entry.alarm
            digits = 1 if alarm.about == EGG else 2
            value = "" if alarm.value is None else f" value {alarm.value:.{digits}f} limit {alarm.limit:.{digits}f}"
            who = f" by {entry.who}" if entry.who else ""
            yield f"{stamp(entry.at)} {alarm.subject} {alarm.rule} {entry.state_before} -> {entry.state}: {entry.cause}{who}{value} No. {alarm.number}"
        else:
            yield f"{stamp(entry.created)}   to {entry.contact} [{entry.priority}] {entry.title} | {entry.text}"
    for at, request, answer in timeline.answers:
        if "error" in answer:
            yield f"{stamp(at)} {request.get('do')}: not done: {answer['error']}"
    if timeline.cut_off is not None:
        yield f"# {cut_off_words(timeline.cut_off)}"
    yield f"# {timeline.readings} readings, {timeline.refused} refused, {len(timeline.transitions)} transitions, {len(timeline.notices)} notices"


def cut_off_words(line: int) -> str:
    """That a recording ends in the middle of a line."""
    return f"line {line}, the last, is cut off: played up to the one before"


def as_json(timeline: Timeline) -> dict[str, object]:
    """The timeline as a plain mapping."""
    return {
        "about": timeline.about,
        "readings": timeline.readings,
        "refused": timeline.refused,
        "transitions": [
            {
                "at": utc_text(t.at), "subject": t.alarm.subject, "rule": t.alarm.rule, "from": t.state_before, "to": t.state,
                "cause": t.cause, "who": t.who or None, "value": t.alarm.value, "limit": t.alarm.limit, "number": t.alarm.number,
            }
            for t in timeline.transitions
        ],
        "notices": [
            {"at": utc_text(n.created), "to": n.contact, "priority": n.priority, "title": n.title, "text": n.text, "number": n.alarm_number}
            for n in timeline.notices
        ],
    } | ({} if timeline.cut_off is None else {"cut_off": timeline.cut_off})  # fmt: skip


def _engine(house: House, tape: Tape, now: Now, *, asked: list[WeightAsked]) -> Engine:
    return Engine(
        site=house.site,
        ledger=tape,
        state=start_state(tape.load(), house.site, now),
        words=NoticeWords(house.site),
        give_receipts=lambda receipts: None,
        tell_stored=lambda rows: None,
        tell_notices=lambda notices: None,
        show_machine=lambda machine, view: None,
        ask_weights=asked.extend,
    )


def _decoder(house: House, site: str) -> Callable[[str, bytes, bool], Message]:
    try:
        return decoder(house, site)
    except StartError as error:
        raise ReplayError.of(error) from error


def _lines(path: Path, timeline: Timeline) -> Iterator[tuple[int, dict[str, object]]]:
    """(number, line), of each that is whole; a part of one at the end is none, and the timeline has its number."""
    try:
        with path.open("rb") as file:
            for number, bytes_ in enumerate(file, start=1):
                try:
                    line = json.loads(text := bytes_.decode())
                except (ValueError, RecursionError):
                    if number > 1 and not bytes_.endswith(b"\n"):
                        timeline.cut_off = number
                        return
                    text, line = bytes_.decode(), None
                if not isinstance(line, dict):
                    raise ReplayError(f"{path}: line {number}", repr(text.strip()[:40]), "a JSON object")
                yield number, line
    except OSError as error:
        raise ReplayError(str(path), str(error.strerror), "a recording") from error
    except UnicodeDecodeError as error:
        raise ReplayError(str(path), "not text", "a recording") from error


def _time(path: Path, number: int, line: Mapping[str, object]) -> datetime:
    try:
        at = datetime.fromisoformat(str(line["at"]))
    except (KeyError, ValueError):
        at = None
    if at is None or at.tzinfo is None:
        came = f"at {line.get('at')!r}"
        raise ReplayError(f"{path}: line {number}", came, "a time such as 2026-03-01T06:00:00Z")
    return at


def stamp(at: datetime) -> str:
    """A time as the timeline has it: UTC, to the second."""
    return utc_text(at, "seconds")
