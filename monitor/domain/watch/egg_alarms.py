"""What a batch's egg book asks to be told: that an egg be looked at again, and that its eggs lose too much water or too little.

Both are alarms of the batch, or of one of its eggs (`batch.subject_of`), not of a machine: so each egg has a message of its own,
and a move ends none. They end with the batch.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from monitor.domain.alarms.about import About, Seen
from monitor.domain.alarms.alarm import (
    BETWEEN,
    CLOSED,
    IN,
    OTHER_ABOUT,
    OUT,
    Alarm,
    Judgement,
    Transition,
    acknowledge,
    state_of,
    suppress,
    unsuppress,
)
from monitor.domain.eggs.book import EggBook, looks, of_egg, standing
from monitor.domain.eggs.entry import Attached, Entry, Identity, Laid, LookAgain, Size, Turning, TurningStopped
from monitor.domain.needs.batch import Batch, batch_of, subject_of
from monitor.domain.needs.rules import LOOK_AGAIN, WEIGHT_OFF
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import Look, State
from monitor.domain.watch.deciding import judge, settle

# A reminder that was acknowledged, and then nothing was written: the next look at the machine is past.
LAPSE_S = 12 * 3600.0


def take_book(state: State, book: EggBook) -> None:
    """Adopt a batch's book, and what it asks to be looked at again; of a closed batch nothing."""
    id_ = book.batch.id
    state.books[id_] = book
    state.looks.pop(id_, None)
    open_ = looks(book) if book.batch.closed_at is None else ()
    if open_:
        state.looks[id_] = open_


def remind_to_look(look: Look, who: str = "") -> None:
    """Begin the reminders that are due, and end those that are answered; by `who`, whose entry then acknowledges them, too."""
    waiting = {subject_of(id_, e.egg): (id_, e) for id_, entries in look.state.looks.items() for e in entries}
    for key, alarm in list(look.state.alarms.items()):
        if key[1] != LOOK_AGAIN or not alarm.condition:
            continue
        _, entry = waiting.get(key[0], ("", None))
        if entry is None or alarm.since != _look_at(entry) or _lapsed(alarm, look.now):
            if who and not alarm.acknowledged and not alarm.covered:
                settle(look, key, acknowledge(alarm, who, look.now))
            judge(look, key, Judgement(IN, look.now.utc))
    for subject, (id_, entry) in waiting.items():
        known, look_at = look.state.alarms.get((subject, LOOK_AGAIN)), _look_at(entry)
        # What it was since tells one that was told, and is over, from the next.
        if look_at <= look.now.utc and (known is None or known.since != look_at):
            about = _seen(look.state.books[id_], entry, look.now)
            judge(look, (subject, LOOK_AGAIN), Judgement(OUT, look_at, about=about))


def judge_weight(look: Look, batch: Batch, off: bool | None, *, about: About) -> None:
    """What the weighings say of the loss at pip: off its window, on track, or (None) neither for sure."""
    verdict, key = BETWEEN if off is None else OUT if off else IN, (subject_of(batch.id), WEIGHT_OFF)
    before, written = look.state.alarms.get(key), len(look.out.transitions)
    judge(look, key, Judgement(verdict, look.now.utc, about=about))
    alarm = look.state.alarms.get(key)
    if alarm is None or before is None or not alarm.condition or alarm.about == before.about:
        return
    if (
        len(look.out.transitions) == written
    ):  # or the record, and the next run, would go on with what it was about at first
        is_ = state_of(alarm)
        look.out.transitions.append(Transition(alarm, is_, is_, OTHER_ABOUT, look.now.utc, look.now.mono_s))


def close_book(look: Look, batch: Batch) -> None:
    """The batch is over: what stands about it ends, as no longer judged."""
    for key, alarm in list(look.state.alarms.items()):
        if alarm.condition and batch_of(key[0]) == batch.id:
            settle(look, key, suppress(alarm, CLOSED, now=look.now, over=True))
            settle(look, key, unsuppress(look.state.alarms[key], look.now, CLOSED))


def reopen_book(look: Look, batch: Batch) -> None:
    """The batch goes on after all: a reminder that ended with it, and that nothing has answered, begins anew."""
    for entry in look.state.looks.get(batch.id, ()):
        key = subject_of(batch.id, entry.egg), LOOK_AGAIN
        alarm = look.state.alarms.get(key)
        if alarm is not None and not alarm.condition:
            look.state.alarms[key] = replace(alarm, since=None)  # or it would be taken for told, and over
    remind_to_look(look)


def _look_at(entry: Entry) -> datetime:
    assert isinstance(entry.fact, LookAgain)
    return entry.fact.look_at


def _lapsed(alarm: Alarm, now: Now) -> bool:
    return alarm.acknowledged and alarm.asked_mono_s is not None and now.mono_s - alarm.asked_mono_s >= LAPSE_S


def _seen(book: EggBook, look: Entry, now: Now) -> Seen:
    """Why it is to be looked at again, and what was seen last."""
    assert isinstance(look.fact, LookAgain)
    entries = standing(book) if look.egg is None else of_egg(book, look.egg)
    seen = [
        e
        for e in entries
        if not isinstance(e.fact, LookAgain | Laid | Size | Identity | Turning | TurningStopped | Attached)
        and e.same_subject(look)
    ]
    return Seen(look.fact.text, seen[-1] if seen else None, now.utc)
