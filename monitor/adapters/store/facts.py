"""The facts of a notice, what an alarm is about and what happened besides, as a row keeps them: JSON, where forms may change with a version.

What is not understood is None, or the words that stand beside it: then these are all there is.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from dataclasses import is_dataclass
from datetime import datetime
from typing import Any, TypeVar

from monitor.domain.alarms.about import (
    KINDS,
    About,
    Apart,
    Astray,
    Away,
    Damaged,
    Disbelieved,
    EachDay,
    Fault,
    Heading,
    Losing,
    Moving,
    Overdue,
    Projection,
    Regained,
    Restarting,
    Seen,
    Setting,
    Switched,
    Unfit,
    Unheard,
    Unmet,
    Unrecorded,
    Unusable,
    Weighed,
)
from monitor.domain.alarms.notice import Facts, Reach, Standing, Task, Today, Told
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.entry import Entry, fact_of, plain
from monitor.domain.needs.profile import Band
from monitor.domain.readings.calibration import Correction, Point
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.signs.seen import NotBack, Opened, seen_of_words, why_of_words
from monitor.domain.state import happened
from monitor.domain.state.happened import Happened

# Of the forms below: in the first, what it is about is words. Another one's facts are not understood.
WORDS_ALONE, VERSION = 1, 2
T = TypeVar("T")


def _same(names: str) -> dict[str, str]:
    return {name: name for name in names.split()}


# What a row calls each field of a value, which stays: a field that is renamed keeps its name in rows, as `_same("…") | {"rule": "rule_id"}`.
_COLUMNS: Mapping[type, Mapping[str, str]] = {
    Facts: _same(
        "subject rule still over unjudged quantity value worst limit band since ended about batches place doubtful move of_hens range_c reached"
        " respond_min times out out_until"
    ),
    Told: _same("batch day stage"),
    Reach: _same("contact told unheard_since"),
    Task: _same("kind batch at egg"),
    Band: _same("low_alarm low_warning target high_warning high_alarm"),
    Moving: _same("batches to"),
    Unfit: _same("test sent"),
    Fault: _same("word"),
    Unusable: _same("why by words"),
    Restarting: _same("times within_s"),
    Apart: _same("probes quantity by moved outside jumped unmixed"),
    Heading: _same("now_c limit_c in_s"),
    Unheard: _same("nodes why"),
    Away: _same("since for_s felt"),
    Damaged: _same("path aside why taken"),
    Regained: _same("path how aside whole back"),
    Unrecorded: _same("why unread"),
    Switched: {"switch": "switch", "of": "kind"} | _same("felt warm"),
    Disbelieved: {"switch": "switch", "of": "kind", "why": "why"},
    Overdue: _same("batches"),
    EachDay: _same("of at_min for_s days"),
    Astray: _same("batches"),
    Unmet: _same("what batches unknown places groups"),
    Seen: _same("why last at"),
    Losing: _same("who where_to also"),
    Weighed: _same("egg tray"),
    Projection: _same("pip_pct low_pct high_pct window_pct on_track setting unsure again"),
    Setting: _same("rh_pct wet_bulb_c now_pct loss_pct reachable served eggs do_pct others others_now others_then"),
    Opened: _same("minutes lowest_c"),
    NotBack: _same("why"),
    happened.NodeSaid: _same("online"),
    happened.Clash: _same("seq boot"),
    happened.NeverCame: _same("boot first last"),
    happened.ClockSet: _same("by_s mended"),
    happened.NodeClockSet: _same("by_s dated"),
    happened.Broker: _same("what where said"),
    happened.NotRecorded: _same("for_s left_out"),
    happened.SetOf: _same("species"),
    happened.MovedTo: _same("machine"),
    happened.StageSaid: _same("stage back"),
    happened.Lockdown: _same("why"),
    happened.WentOn: _same("into eggs"),
    happened.OutOf: _same("batch"),
    happened.Closed: _same("again"),
    happened.Removed: _same("species set_at eggs by"),
    happened.WorkBegun: _same("minutes by"),
    happened.WorkDone: _same("by"),
    happened.WorkOver: {},
    happened.TakenOut: _same("until by"),
    happened.PutBack: _same("over by"),
    happened.CoolingSaid: _same("of hours minutes ended by to_c first_day last_day"),
    happened.Calibrated: _same("dry_bulb_c rh_pct by"),
    happened.Turned: {"of": "kind", "wrong": "wrong"},
    happened.Arranged: _same("changes"),
    happened.Change: _same("what of was now"),
    Correction: _same("slope offset points"),
}
_NAMES = {kind: name for name, kind in KINDS.items()}
_HAPPENED = {kind: name for name, kind in happened.KINDS.items()}
# To a loss that is told, since the first rows.
_ADDED = ("unsure", "again", "do_pct", "others", "others_now", "others_then")
_ENTRY = ("egg", "count", "tray", "replaces", "number")  # fields of an entry that are kept as they are
_log = logging.getLogger("eggroom.store")


def facts_text(facts: Facts | None) -> str | None:
    """Times are whole milliseconds, values °C and %RH; what is empty is left out."""
    if facts is None:
        return None
    version = WORDS_ALONE if isinstance(facts.about, str) else VERSION
    return json.dumps({"version": version, **_facts_data(facts)}, ensure_ascii=False)


def _facts_data(facts: Facts) -> dict[str, Any]:
    told = _data(facts) | {"about": _about_data(facts.about)}
    kept = {
        name: each
        for name, each in told.items()
        if each is not None and each is not False and each not in ("", ()) and (name, each) != ("times", 0)
    }
    for name in ("since", "ended", "out_until"):
        if name in kept:
            kept[name] = to_ms(kept[name])
    if "reached" in kept:
        kept["reached"] = [{n: _moment(at) for n, at in reach.items()} for reach in kept["reached"]]
    return kept


def _moment(value: Any) -> Any:  # noqa: ANN401 - a field of a reach: a contact, or a time that may be missing
    return to_ms(value) if isinstance(value, datetime) else value


def today_text(today: Today | None) -> str | None:
    """What a day's summary says; in place of facts, of which a program of before makes nothing: it has its words."""
    if today is None:
        return None
    tasks = [_data(task) | {"at": to_ms(task.at)} for task in today.tasks]
    standing = [{"number": each.number, "facts": _facts_data(each.facts)} for each in today.standing]
    out = [_out_data(each) for each in today.out]
    told = {"tasks": tasks, "standing": standing} | ({"out": out} if out else {})
    return json.dumps({"version": VERSION, "today": told}, ensure_ascii=False)


def _out_data(out: Out) -> dict[str, Any]:
    """As it was told; a time of the forward clock is no other run's."""
    until = None if out.until is None else to_ms(out.until)
    return {"subject": out.subject, "since": to_ms(out.since), "until": until, "by": out.by}


def _out(kept: dict[str, Any]) -> Out:
    until = None if kept["until"] is None else from_ms(kept["until"])
    return Out(kept["subject"], from_ms(kept["since"]), until, kept["by"])


def told_of_text(text: str | None) -> Facts | Today | None:
    """What `facts_text` or `today_text` was given; None for a row from before facts were kept, or of another form."""
    if text is None:
        return None
    try:
        kept = _understood(text)
        return _facts_of(kept) if "today" not in kept else _today_of(kept["today"])
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
        _log.warning("facts of a notice not understood detail=%s", str(error)[:120])
        return None


def _today_of(kept: dict[str, Any]) -> Today:
    tasks = (_made(Task, task | {"at": from_ms(task["at"])}) for task in kept["tasks"])
    standing = (Standing(s["number"], _facts_of(s["facts"])) for s in kept["standing"])
    return Today(tuple(tasks), tuple(standing), tuple(map(_out, kept.get("out", ()))))


def _facts_of(kept: dict[str, Any]) -> Facts:
    """Raises whatever a form that is not understood comes to."""
    for name in ("since", "ended", "out_until"):
        if name in kept:
            kept[name] = from_ms(kept[name])
    if "band" in kept:
        kept["band"] = _made(Band, kept["band"])
    if "move" in kept:
        kept["move"] = Moving(tuple(kept["move"]["batches"]), kept["move"]["to"])
    if "range_c" in kept:
        low_c, high_c = kept["range_c"]
        kept["range_c"] = (low_c, high_c)
    if "reached" in kept:
        times = ("told", "unheard_since")
        kept["reached"] = tuple(
            _made(Reach, r | {n: from_ms(r[n]) for n in times if r.get(n) is not None}) for r in kept["reached"]
        )
    kept["about"] = _about(kept.get("about", ""))
    return _made(Facts, kept | {"batches": tuple(_made(Told, told) for told in kept.get("batches", ()))})


def about_text(about: About) -> str | None:
    """What an alarm is about; None of a quantity and of words, which the row has without it."""
    if isinstance(about, str):
        return None
    return json.dumps({"version": VERSION, "about": _about_data(about)}, ensure_ascii=False)


def about_of_text(text: str | None, said: str) -> About:
    """What `about_text` was given; `said`, the words beside it, for a row without, or of another form."""
    if text is None:
        return said
    try:
        return _about(_understood(text)["about"])
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
        _log.warning("facts of an alarm not understood detail=%s", str(error)[:120])
        return said


def happened_text(what: Happened | None) -> str | None:
    """What happened; None of an event that has its words alone."""
    if what is None:
        return None
    data = {name: to_ms(value) if isinstance(value, datetime) else value for name, value in _data(what).items()}
    return json.dumps({"version": VERSION, "kind": _HAPPENED[type(what)], **data}, ensure_ascii=False)


def happened_of_text(text: str | None, kind: str, *, said: str) -> Happened | None:
    """What `happened_text` was given; of a row from before, or of another form, what its words say of an opening, the kind of event that they
    were read of, and nothing of another."""
    if text is not None:
        try:
            return _happened(_understood(text, unsaid=VERSION))  # the first rows of a door have no version
        except (ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
            _log.warning("facts of an event not understood detail=%s", str(error)[:120])
    return seen_of_words(said) if kind == "opening" else None


def _happened(kept: dict[str, Any]) -> Happened:
    kind = happened.KINDS[kept.pop("kind")]
    if kind is NotBack:
        kept["why"] = why_of_words(kept["why"])
    elif kind is happened.Removed:
        kept["set_at"] = from_ms(kept["set_at"])
    elif kind is happened.TakenOut:
        kept["until"] = None if kept["until"] is None else from_ms(kept["until"])
    elif kind is happened.Calibrated:
        for quantity in ("dry_bulb_c", "rh_pct"):
            kept[quantity] = None if kept[quantity] is None else _corrected(kept[quantity])
    elif kind is happened.Arranged:
        kept["changes"] = tuple(_made(happened.Change, change) for change in kept["changes"])
    return _made(kind, kept)


def _corrected(kept: dict[str, Any]) -> Correction:
    return _made(Correction, kept | {"points": tuple(Point(*point) for point in kept["points"])})


def _understood(text: str, *, unsaid: int | None = None) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(text)
    if kept.pop("version", unsaid) not in (WORDS_ALONE, VERSION):
        raise ValueError("another version's")
    return kept


def _about_data(about: About) -> str | dict[str, Any]:
    if isinstance(about, str):
        return about
    data = _data(about)
    if isinstance(about, Away):
        data |= {"since": to_ms(about.since)}
    elif isinstance(about, Seen):
        data |= {"last": None if about.last is None else _entry_data(about.last), "at": to_ms(about.at)}
    elif isinstance(about, Losing):
        where_to = _said(data["where_to"])
        data["where_to"] = where_to | {"setting": None if where_to["setting"] is None else _said(where_to["setting"])}
    return {"kind": _NAMES[type(about)], **data}


def _said(data: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in data.items() if name not in _ADDED or value not in (None, False)}


def _about(data: str | dict[str, Any]) -> About:
    if isinstance(data, str):
        return data
    values = _tupled({name: value for name, value in data.items() if name != "kind"})
    kind = KINDS[data["kind"]]
    if kind is Losing:
        values["who"], values["also"] = _made(Weighed, data["who"]), tuple(_made(Weighed, w) for w in data["also"])
        where_to = data["where_to"]
        setting = None if where_to["setting"] is None else _made(Setting, _tupled(where_to["setting"]))
        window_pct = tuple(where_to["window_pct"])
        values["where_to"] = _made(Projection, where_to | {"window_pct": window_pct, "setting": setting})
    elif kind is Away:
        values["since"] = from_ms(data["since"])
    elif kind is Seen:
        values["last"] = None if data["last"] is None else _entry(data["last"])
        values["at"] = from_ms(data["at"])
    return _made(kind, values)


def _data(value: Any) -> Any:  # noqa: ANN401 - a value becomes JSON
    """A value as a row has it; an entry of an egg book has a form of its own."""
    if isinstance(value, tuple):
        return tuple(map(_data, value))
    if not is_dataclass(value) or isinstance(value, Entry):
        return value
    return {column: _data(getattr(value, field)) for column, field in _COLUMNS[type(value)].items()}


def _made(kind: type[T], row: Mapping[str, Any]) -> T:
    """The value that `_data` was given. Raises KeyError for a name that no row has, TypeError for one that is missing."""
    columns = _COLUMNS[kind]
    return kind(**{columns[name]: value for name, value in row.items()})


def _entry_data(entry: Entry) -> dict[str, Any]:
    times = {"at": to_ms(entry.at), "written_at": to_ms(entry.written_at)}
    beside = {name: getattr(entry, name) for name in _ENTRY}
    return {**times, "who": entry.who, "kind": entry.fact.kind, "fact": plain(entry.fact), **beside}


def _entry(data: dict[str, Any]) -> Entry:
    beside = {name: data[name] for name in _ENTRY}
    fact = fact_of(data["kind"], data["fact"])
    return Entry(from_ms(data["at"]), from_ms(data["written_at"]), data["who"], fact, **beside)


def _tupled(data: dict[str, Any]) -> dict[str, Any]:
    return {name: _tuples(value) for name, value in data.items()}


def _tuples(value: Any) -> Any:  # noqa: ANN401 - JSON as it comes
    """Lists, also in lists, as the tuples that they were."""
    return tuple(map(_tuples, value)) if isinstance(value, list) else value
