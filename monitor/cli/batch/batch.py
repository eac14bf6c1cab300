"""`eggroom batch ...`: set, move, split, declare, list and close. Reads arguments, asks, prints."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, cast

from monitor.cli.frame import AnyOrder, Asked, Parsers, Verbs, Wrong, columns, go_on, show
from monitor.cli.record import Answer, ask, house_of, one_batch, opened, said
from monitor.cli.typed import add_by, typed_by, typed_eggs, typed_past, typed_span_s, typed_when, typed_whole
from monitor.cli.watching import show_watched, unwatched
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.hatching import draw_down_seen, store_delay_h
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import day_words
from monitor.domain.needs.profile import STAGE_NAMES
from monitor.domain.wall import filled
from monitor.service.watch.commands import batch_view
from monitor.settings import House
from monitor.shown.entries import without_an_end
from monitor.shown.form import Shown
from monitor.shown.now.alarms import out_line
from monitor.shown.terminal import batch_table, batch_text, in_no_machine, local, moved_lines, unplaced_words

if TYPE_CHECKING:
    from monitor.domain.watch.view import BatchView

NOT_YET = "no draw-down yet: candle"
_ANY = " (any eggs are looked at again by: eggroom egg look-again)"


@fixed(kw_only=True)
class Add(Asked):
    """batch add"""

    batch: str
    species: str
    machine: str | None
    set_at: str
    eggs: int | None
    note: str


@fixed(kw_only=True)
class List(Asked):
    """batch list"""

    all: bool


@fixed(kw_only=True)
class One(Asked):
    """batch show, batch reopen"""

    batch: str


@fixed(kw_only=True)
class Close(One):
    """batch close"""

    at: str
    sure: bool


@fixed(kw_only=True)
class Remove(One):
    """batch remove"""

    by: str
    sure: bool


@fixed(kw_only=True)
class At(One):
    """What is done at a time"""

    at: str


@fixed(kw_only=True)
class Move(At):
    """batch move"""

    machine: str


@fixed(kw_only=True)
class Stage(At):
    """batch stage"""

    stage: str
    take_back: bool
    sure: bool


@fixed(kw_only=True)
class NotYet(One):
    """batch not-yet"""

    span: str
    by: str


@fixed(kw_only=True)
class Split(At):
    """batch split"""

    eggs: str | None
    count: int | None
    machine: str | None
    stage: str | None
    name: str
    by: str
    sure: bool


def add(parsers: Parsers) -> None:
    """Say what `batch` and its verbs take."""
    verbs = Verbs(parsers["batch"], AnyOrder)
    new = verbs.command("add", _add, Add, about="eggs set together")
    new.add_argument("batch", metavar="NAME", help="a-z, 0-9 and -, such as hen-1")
    new.add_argument("--species", required=True, metavar="PROFILE", help="see eggroom profiles")
    new.add_argument("--machine", default=None)
    new.add_argument("--set", dest="set_at", default="now", metavar="TIME", help="when incubation began (default: now)")
    new.add_argument("--eggs", type=int, default=None)
    new.add_argument("--note", default="")
    listing = verbs.command("list", _list, List, about="the batches")
    listing.add_argument("--all", action="store_true", help="closed ones too")
    verbs.command("show", _show, One, about="one batch").add_argument("batch")
    move = verbs.command("move", _move, Move, about="to another machine")
    move.add_argument("batch")
    move.add_argument("machine")
    move.add_argument("--at", default="now", metavar="TIME")
    split = verbs.command("split", _split, Split, about="some eggs go another way, as a batch of their own")
    split.add_argument("batch")
    split.add_argument("eggs", nargs="?", default=None, metavar="EGGS", help="such as 7, 1-6 or 1-6,9")
    split.add_argument("--count", type=typed_whole, default=None, metavar="N", help="so many eggs without numbers")
    split.add_argument("--to", dest="machine", default=None, metavar="MACHINE", help="(default: where they are)")
    split.add_argument("--stage", choices=("lockdown", "hatch"), default=None, help="declare it for these eggs")
    split.add_argument("--name", default="", metavar="NAME", help="of the new batch (default: such as hen-1-b)")
    split.add_argument("--at", default="now", metavar="TIME", help="when they went (default: now)")
    add_by(split)
    split.add_argument("--sure", action="store_true", help="declare it although it is long before its time")
    wait = verbs.command("not-yet", _not_yet, NotYet, about="candled, no draw-down yet: ask again then")
    wait.add_argument("batch")
    wait.add_argument("--for", dest="span", required=True, metavar="TIME", help="such as 12h or 1d")
    add_by(wait)
    stage = verbs.command("stage", _stage, Stage, about="declare a stage early: draw-down or pip seen")
    stage.add_argument("batch")
    stage.add_argument("stage", choices=("lockdown", "hatch"))
    stage.add_argument("--at", default="now", metavar="TIME")
    stage.add_argument("--take-back", action="store_true", help="it was declared by mistake: it comes on its day")
    stage.add_argument("--sure", action="store_true", help="declare it although it is long before its time")
    close = verbs.command("close", _close, Close, about="the hatch is over")
    close.add_argument("batch")
    close.add_argument("--at", default="now", metavar="TIME")
    close.add_argument("--sure", action="store_true", help="also with eggs that have no end yet")
    remove = verbs.command("remove", _remove, Remove, about="it was set by mistake, and nothing is written about it")
    remove.add_argument("batch")
    add_by(remove)
    remove.add_argument("--sure", action="store_true", help="without asking")
    verbs.command("reopen", _reopen, One, about="it was closed by mistake: back where it was").add_argument("batch")


def _add(options: Add) -> int:
    house = house_of(options.config)
    request = {
        "do": "batch-add", "batch": options.batch, "profile": options.species, "machine": options.machine,
        "set_at": typed_when(options.set_at, house.site.zone, options.utc).isoformat(),
        "eggs": options.eggs, "note": options.note,
    }  # fmt: skip
    answer = ask(house, request)
    return show(
        options.json,
        answer,
        _with_stage(answer, house, options.utc(), words="batch {id}: {profile}, day {day}, in {machine}"),
    )


def _move(options: Move) -> int:
    house = house_of(options.config)
    request = {"do": "move", "batch": options.batch, "machine": options.machine, "at": _at(options, house)}
    answer = ask(house, request)
    return show(
        options.json, answer, _with_stage(answer, house, options.utc(), words="batch {id}: now in {machine}, day {day}")
    )


def _stage(options: Stage) -> int:
    house = house_of(options.config)
    at = _at(options, house)
    request = {
        "do": "stage", "batch": options.batch, "stage": options.stage, "at": at, "back": options.take_back,
        "sure": options.sure,
    }  # fmt: skip
    did = "taken back" if options.take_back else "declared"
    return _did(options, house, request, words=f"batch {{id}}: {options.stage} {did}, day {{day}}")


def _not_yet(options: NotYet) -> int:
    """An entry in the egg book, as of any eggs that are to be looked at again: a shelf would end within hours, and be told nowhere."""
    house = house_of(options.config)
    with opened(house) as history:
        batch = one_batch(history, options.batch)
        _check_asked(history.book(batch), house, options.utc())
    at = (options.utc() + timedelta(seconds=typed_span_s(options.span))).isoformat()
    request = {
        "do": "entry", "batch": options.batch, "by": typed_by(options.by, house.settings.site.by), "kind": "look-again",
        "fact": {"look_at": at, "text": NOT_YET},
    }  # fmt: skip
    answer = ask(house, request)
    return show(options.json, answer, f"batch {options.batch}: no draw-down yet; to look again {local(at, house.site)}")


def _check_asked(book: EggBook, house: House, now: datetime) -> None:
    """Raises Wrong for a batch of which nobody asks whether draw-down has begun: "not yet" would be no answer."""
    batch, profile = book.batch, house.site.profiles.get(book.batch.profile)
    if profile is None:
        return
    if profile.lockdown_sign is None:
        raise Wrong(
            f"batch {batch.id}: {batch.profile} goes by the calendar, expected a bird that goes by the egg{_ANY}"
        )
    now = batch.not_before(now)
    stage = profile.stage_at(batch.day(now), batch.declared_days(now)).name
    if stage != STAGE_NAMES[0]:
        raise Wrong(f"batch {batch.id}: in {stage} already, expected one before its lockdown{_ANY}")
    if draw_down_seen(book):
        raise Wrong(f"batch {batch.id}: a sign is written of each egg still in it, expected one without{_ANY}")


def _close(options: Close) -> int:
    house = house_of(options.config)
    request = {"do": "close", "batch": options.batch, "at": _at(options, house)}
    with opened(house) as history:
        batch = one_batch(history, options.batch)
        open_ended = without_an_end(history.book(batch)) if batch.closed_at is None else ""
    if open_ended:
        go_on(
            f"batch {batch.id}: {open_ended} without an end, which counts as not hatched",
            f"close {batch.id} all the same",
            sure=options.sure,
        )
    answer = ask(house, request)
    ended = "; it is no longer cooled daily" if answer.get("cooling_ended") else ""
    text = said(answer, "batch {id}: closed on day {day}; its record stays") + ended
    return show(options.json, answer, filled(text, columns()))


def _remove(options: Remove) -> int:
    house = house_of(options.config)
    with opened(house) as history:
        batch = one_batch(history, options.batch)
    text = batch_text(batch, house.site, options.utc()).splitlines()[0]
    go_on(text, f"remove {batch.id}", sure=options.sure)
    request = {"do": "remove", "batch": options.batch, "by": typed_by(options.by, house.settings.site.by)}
    return _did(options, house, request, words="batch {id}: removed; that it was there stays among the events")


def _reopen(options: One) -> int:
    house = house_of(options.config)
    answer = ask(house, {"do": "reopen", "batch": options.batch})
    return show(
        options.json,
        answer,
        _with_stage(answer, house, options.utc(), words="batch {id}: open again, day {day}, in {machine}"),
    )


def _split(options: Split) -> int:
    house = house_of(options.config)
    if options.machine is None and options.stage is None:
        raise Wrong(
            "split: expected --to MACHINE or --stage, for eggs that go on as the others do need no batch of their own"
        )
    eggs = [] if options.eggs is None else typed_eggs(options.eggs, "split")
    request = {
        "do": "split", "batch": options.batch, "by": typed_by(options.by, house.settings.site.by),
        **typed_past(options.at, house.site.zone, options.utc),
        "eggs": eggs, "count": options.count, "machine": options.machine, "stage": options.stage, "into": options.name,
        "sure": options.sure,
    }  # fmt: skip
    answer = ask(house, request)
    began = any(d["stage"] == "lockdown" for d in answer["declared"])
    eggs_words = f"egg{'s' if answer['eggs'] > 1 else ''}"
    which = f"{eggs_words} {options.eggs}" if eggs else f"{answer['eggs']} {eggs_words}"
    text = f"batch {answer['id']}: {which} of {options.batch}, day {day_words(answer['day'])}, in {answer['machine'] or 'no machine'}"
    if options.stage is not None:
        text += f", {options.stage} declared"
    elif began:
        text += ", in lockdown"
    if answer["stay"] is not None:
        text += f"; {answer['stay']} {'stays' if answer['stay'] == 1 else 'stay'} in {options.batch}"
    lines = [filled(text, columns())]
    if answer["machine"] is None:
        lines.append(filled(unplaced_words([answer["id"]]), columns()))
    lines += [filled(out_line(out, house.site, options.utc()), columns()) for out in answer.get("out_of_service", ())]
    if answer.get("cooling_ended"):
        lines.append(filled(f"no longer cooled daily; if they are to be, declare it of {answer['id']}", columns()))
    lines.append(f"from now on write about these eggs under {answer['id']}")
    return show(options.json, answer, "\n".join(lines))


def _list(options: List) -> int:
    house, now = house_of(options.config), options.utc()
    with opened(house) as history:
        known = history.batches()
    batches = [b for b in known if options.all or b.closed_at is None]
    views = [batch_view(b, now) for b in batches]
    text = batch_table(views, house.site, now, columns=columns())
    if known and not batches:
        text = f"no open batch; {len(known)} closed: eggroom batch list --all"
    if lost := unplaced_words([b.id for b in in_no_machine(batches, now)]):
        text = f"{filled(lost, columns())}\n\n{text}"
    return show_watched(options.json, views, text, unwatched=unwatched(house, now))


def _show(options: One) -> int:
    # Here, and not above: with them comes numpy, which the other verbs do without.
    from monitor.service.reports.batch import batch_development
    from monitor.shown.eggs import expected_lines
    from monitor.shown.history.development import development_lines, development_record

    house, now = house_of(options.config), options.utc()
    with opened(house) as history:
        batch = one_batch(history, options.batch)
        found = batch_development(history, house.site, batch, now=now)
        book = history.book(batch)
    view = batch_view(batch, now) | {"development": None if found is None else development_record(found)}
    lines = [] if found is None else [*development_lines(found, Shown(house.site.zone, house.site.unit, now))]
    lines += expected_lines(book, house.site, now)
    lost = unplaced_words([b.id for b in in_no_machine([batch], now)])
    text = "\n".join(
        [
            *([filled(lost, columns())] if lost else []),
            batch_text(batch, house.site, now, store_h=store_delay_h(book), columns=columns()),
            *(filled(f"  {line}", columns()) for line in lines),
        ]
    )
    nobody = "" if batch.closed_at is not None else unwatched(house, now)
    return show_watched(options.json, view, text, unwatched=nobody)


def _at(options: At | Close, house: House) -> str:
    return typed_when(options.at, house.site.zone, options.utc).isoformat()


def _with_stage(answer: Answer, house: House, now: datetime, *, words: str) -> str:
    """An answer in words; of eggs in no machine that nobody watches them, of those in a hatcher now whether they are in lockdown by that; and
    that where they are is out of service."""
    lines = moved_lines(cast("BatchView", answer), house.site)
    if answer["machine"] is None:
        lines = [unplaced_words([answer["id"]]), *lines]
    lines += [out_line(out, house.site, now) for out in answer.get("out_of_service", ())]
    return said(answer, words) + "".join(f"\n{filled(f'  {line}', columns())}" for line in lines)


def _did(options: Asked, house: House, request: Mapping[str, object], *, words: str) -> int:
    answer = ask(house, request)
    return show(options.json, answer, said(answer, words))
