"""The day's summary: what is to be done today, what is low and stands, and what is out of service. Facts; the words are made last (`shown/phone/today.py`)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from monitor.domain.alarms.alarm import OUT_OF_SERVICE, UNACKNOWLEDGED, state_of
from monitor.domain.alarms.notice import COOL, LOOK, Standing, Task, Today
from monitor.domain.eggs.book import EggBook, looks, standing
from monitor.domain.eggs.dates import CANDLE, HATCH, LOCKDOWN, WEIGH, dates_of
from monitor.domain.eggs.entry import Candling, LookAgain, Weighing
from monitor.domain.eggs.hatching import store_delay_h
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.rules import LOW
from monitor.domain.state.cooling import begins_at, machine_of
from monitor.domain.state.known import Look, rule_of
from monitor.domain.watch.telling import facts_now, put, said_already

_WRITTEN = {CANDLE: Candling, WEIGH: Weighing}  # what shows that it was done


def today(look: Look, contact: str) -> Today:
    """What a contact's summary says now; of alarms that are told once, those that it was not told of yet."""
    out = (replace(each, until_mono_s=None) for each in look.state.out.values())
    return Today(tuple(_tasks(look)), tuple(_standing(look, contact)), tuple(out))


def tell_today(look: Look, contact: str, what: Today) -> None:
    """Put the notice of it into `out`."""
    put(look, contact, LOW, what, about="summary")


def _tasks(look: Look) -> Iterator[Task]:
    """What falls on this local date in the open batches, and was not done yet, in order of time."""
    found: list[Task] = []
    for batch in look.state.batches.values():
        if batch.closed_at is None:
            found += _tasks_of(look, batch)
    found += _coolings(look)
    yield from sorted(found, key=lambda task: (task.at, task.batch, task.kind, task.egg or 0))


def _tasks_of(look: Look, batch: Batch) -> Iterator[Task]:
    zone, profile = look.site.zone, look.site.profiles.get(batch.profile)
    this_day = look.now.utc.astimezone(zone).date()
    book = look.state.books.get(batch.id) or EggBook(batch, ())
    if profile is not None:
        for each in dates_of(batch, profile, store_delay_h(book)):
            if each.since.astimezone(zone).date() != this_day or each.kind not in (CANDLE, WEIGH, LOCKDOWN, HATCH):
                continue
            if each.kind == WEIGH and not any(isinstance(entry.fact, Weighing) for entry in standing(book)):
                continue  # who never weighed this batch does not go by weight
            kind = _WRITTEN.get(each.kind)
            done = kind is not None and any(
                isinstance(e.fact, kind) and e.at.astimezone(zone).date() == this_day for e in standing(book)
            )
            if not done:
                yield Task(each.kind, batch.id, each.since)
    for entry in looks(book):
        if isinstance(entry.fact, LookAgain) and entry.fact.look_at.astimezone(zone).date() == this_day:
            yield Task(LOOK, batch.id, entry.fact.look_at, entry.egg)


def _coolings(look: Look) -> Iterator[Task]:
    """The coolings of this local date that are still to come."""
    zone = look.site.zone
    for cooling in look.state.coolings.values():
        if machine_of(look, cooling) is None:
            continue
        for at in begins_at(look, cooling):
            if at > look.now.utc and at.astimezone(zone).date() == look.now.utc.astimezone(zone).date():
                yield Task(COOL, cooling.of, at)


def _standing(look: Look, contact: str) -> Iterator[Standing]:
    """What is low, stands, and nobody has answered, the oldest first; nothing of which something worse says it already. And what is out of
    service, each day, or it would be forgotten."""
    unheard = {number for to, number in look.state.unsent.values() if to == contact}
    for key, alarm in sorted(look.state.alarms.items(), key=lambda item: item[1].number):
        if state_of(alarm) == OUT_OF_SERVICE and alarm.number:
            yield Standing(alarm.number, replace(facts_now(look, alarm), out=True, out_until=alarm.out_until))
            continue
        if state_of(alarm) != UNACKNOWLEDGED or not alarm.number:
            continue
        rule = rule_of(look, *key)
        if (
            rule.priority != LOW
            or (rule.re_alarm_s is None and alarm.number not in unheard)
            or said_already(look, *key)
        ):
            continue
        yield Standing(alarm.number, facts_now(look, alarm))
