"""What the first lines of an egg's sheet say: what happened to it and on which day, and how sure that is. For whoever reads no figures."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from monitor.analysis.history.chart import at_once
from monitor.analysis.history.excursions import ABOVE, BELOW, HOUR_MS
from monitor.analysis.review.beyond import Beyond, by_day
from monitor.domain.eggs.death import Death
from monitor.domain.eggs.entry import AFTER_HATCH, Candling, Entry, Hatched
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.needs.batch import Batch, day_words
from monitor.domain.readings.dating import ARRIVAL
from monitor.domain.readings.reading import to_ms
from monitor.domain.wall import wall_day, wall_time
from monitor.service.across.sheet import Sensor, Sheet
from monitor.shown.entries import numbers_words, said
from monitor.shown.form import Shown, capital, duration, listed
from monitor.shown.history.draw import lasting
from monitor.shown.review.beyond import hours_words
from monitor.shown.review.facts import answer_words
from monitor.shown.review.whole import found_answers
from monitor.shown.values import per_cent, show_interval

LONG_OFF_H = 12.0  # off target, in all, before the first lines tell of it (judgement)
LONG_PAUSE_H = 12.0  # without a turn: a night; as the check of it is not supported up to
CLASSES = {
    "early": "the first third of its time",
    "middle": "the middle of its time",
    "late": "the last days before the pip",
    "internal pip": "the shell, after its beak was in the air cell",
    "external pip": "the shell, after it had pipped it",
    AFTER_HATCH: "the first time after its hatch",
}
INFORMS = (
    "This sheet informs and decides nothing: it says what was recorded, and what other people published. What an egg died of an avian"
    " veterinarian may find, by looking at it."
)


def answer(sheet: Sheet, shown: Shown) -> Iterator[str]:
    """Plain sentences: the end; what went beyond its limits, and whether before its death; what else was off; what is published; how sure."""
    yield from _end(sheet, shown)
    facts = sheet.review.facts
    if facts is not None:
        told = list(answer_words(facts, shown))
        beside = [_when(beyond, sheet.death) for beyond in facts.met] or [""] * len(told)
        yield from (f"{words}{more}" for words, more in zip(told, beside, strict=True))
        yield from _off_target(sheet, shown)
        yield from _also(sheet)
    yield from map(capital, found_answers(sheet.review, shown))
    yield _sure(sheet, shown)


def _end(sheet: Sheet, shown: Shown) -> Iterator[str]:
    part = sheet.life.part
    name = f"Egg {part.egg} of {part.batch.id}"
    if sheet.death is not None:
        when, known = _died(sheet.death, part.batch, shown)
        yield f"{name} {when}."
        yield known
    elif part.end is None:
        yield f"{name} has no end written; this is its record up to {_day(part.batch, part.until, shown)}."
    else:
        what = "hatched" if isinstance(part.end.fact, Hatched) else f"ended: {said(part.end, shown.zone)},"
        yield f"{name} {what} on {_day(part.batch, part.end.at, shown)}, as it was written."


def _died(death: Death, batch: Batch, shown: Shown) -> tuple[str, str]:
    """(when, in a few words; how that is known)."""
    first, last = day_words(batch.day(death.since)), day_words(batch.day(death.until))
    span = f"on day {first}" if first == last else f"between day {first} and day {last}"
    since, until = (wall_day(at, shown.zone) for at in (death.since, death.until))
    when = f"died {span}, {since if since == until else f'{since} to {until}'}"
    if death.alive is None:
        seen = "Nobody wrote that it was seen alive"
    else:
        seen = f"It was last seen alive on {_day(batch, death.alive.at, shown, how=_how(death.alive, shown))}"
    found = f"found dead on {_day(batch, death.dead.at, shown, how=_how(death.dead, shown))}"
    of = f"it was written as dead in {CLASSES[death.stage]}"
    more = {True: f"{of}, which makes that narrower", False: of, None: f"{of}, with which these looks do not agree"}
    return when, f"{seen}, and {found}; {more[death.by_stage]}."


def _day(batch: Batch, at: datetime, shown: Shown, *, how: str = "") -> str:
    return f"day {day_words(batch.day(at))} ({wall_time(at, shown.zone)}{f', {how}' if how else ''})"


def _how(entry: Entry, shown: Shown) -> str:
    return (
        said(entry, shown.zone).replace("candled: ", "candled ")
        if isinstance(entry.fact, Candling)
        else said(entry, shown.zone)
    )


def _when(beyond: Beyond, death: Death | None) -> str:
    """Whether it was while the egg may have died, or while it was still seen alive afterwards."""
    if death is None:
        return ""
    since_ms, until_ms = to_ms(death.since), to_ms(death.until)
    inside = [s for s in beyond.dose.spans if s[0] < until_ms and since_ms < s[1]]
    if len(inside) == len(beyond.dose.spans):
        return " That was in the time in which it died."
    if inside:
        hours = sum(min(until, until_ms) - max(since, since_ms) for since, until in inside) / 3_600_000.0
        return f" Of that {hours_words(hours)} were in the time in which it died."
    before = all(until <= since_ms for _, until in beyond.dose.spans)
    return (
        " It was alive after that."
        if before and death.alive is not None
        else " That was not in the time in which it died."
    )


def _off_target(sheet: Sheet, shown: Shown) -> Iterator[str]:
    """Temperature that stayed off what it needed within the alarm limits: a little, and long."""
    figures = sheet.history.whole.dry_bulb_c
    for side, word in ((ABOVE, "warm"), (BELOW, "cool")):
        spans = lasting(figures, DRY_BULB, side)
        inside = [
            e
            for e in figures.excursions
            if e.side == side and any(s <= e.since_ms and e.until_ms <= u for s, u in spans)
        ]
        hours = sum(e.until_ms - e.since_ms for e in inside) / HOUR_MS
        if hours < LONG_OFF_H:
            continue
        days = [
            day
            for day, h in by_day([(e.since_ms, e.until_ms) for e in inside], to_ms(sheet.life.batch.set_at))
            if h >= 1.0
        ]
        when = f"on day{'s' if len(days) > 1 else ''} {numbers_words(days)}"
        by = shown.difference(DRY_BULB, sum(e.area for e in inside) / hours)
        yield f"Too {word}: {duration(hours * 3600.0)} off what it needed, {when}, by {by} °{shown.unit} on average."


def _also(sheet: Sheet) -> Iterator[str]:
    """What was weighed, or counted, and is not as it should be; nothing of what is."""
    part = sheet.life.part
    if part.loss is not None and part.line_pct is not None:
        now, (low, high) = part.loss.now_pct, part.line_pct
        side = "more" if now.low > high else "less" if now.high < low else ""
        if side:
            by = day_words(part.batch.day(part.lost_by))
            yield f"Water: by day {by} it had lost {show_interval(now)} of its mass, {side} than its species should by then ({low:.1f} to {high:.1f} %)."
    facts = sheet.review.facts
    if facts is not None and facts.turned is not None and facts.turned.longest_h > LONG_PAUSE_H:
        yield f"Turning: the longest time without a turn was {hours_words(facts.turned.longest_h)}."


def _sure(sheet: Sheet, shown: Shown) -> str:
    """The record behind all of it, in a line."""
    figures = sheet.history.whole.dry_bulb_c
    many, together = len(sheet.sensors), at_once(sheet.probes[DRY_BULB].values())
    by = f"{together} sensors" if together > 1 else "one sensor at a time, which nothing beside it could contradict"
    told = [
        f"the temperature is on record for {per_cent(figures.coverage)} of its life, by {by if many else 'no sensor'}"
    ]
    never = [s.key for s in sheet.sensors if not any(c.dry_bulb_c is not None for c in s.calibrations)]
    if never and len(never) == many:
        told.append("never held against a thermometer")
    elif never:
        told.append(f"{listed(never)} never held against a thermometer")
    elif many:
        told.append(
            "corrected by what it read beside a thermometer"
            if many == 1
            else "each corrected by what it read beside a thermometer"
        )
    doubtful = figures.doubt.hours
    told.append(f"{hours_words(doubtful)} of it are doubtful" if doubtful else "none of it is doubtful")
    if any(each.basis == ARRIVAL or not each.trusted for s in sheet.sensors for each in s.labelled):
        told.append("some of its times rest on a clock that was not right")
    return f"How sure: {'; '.join(told)}."


def sensor_words(sensor: Sensor, sheet: Sheet, shown: Shown) -> str:
    """One sensor: how much of the time it saw, how far from the line it lay, its corrections, its times."""
    told = [f"saw {per_cent(sensor.coverage)} of its life"]
    if len(sheet.sensors) > 1 and DRY_BULB in sensor.apart:
        off = sensor.apart[DRY_BULB]
        told.append(
            f"on average {shown.difference(DRY_BULB, abs(off))} {'K' if shown.unit == 'C' else '°F'} {'above' if off > 0 else 'below'} the line that was used"
        )
    if sensor.calibrations:
        told += [f"calibrated {wall_time(c.at, shown.zone)}" for c in sensor.calibrations]
    else:
        told.append("never calibrated: taken as it came")
    told += dict.fromkeys(
        BASES[each.basis] + ("" if each.trusted else ", while our own clock was not right") for each in sensor.labelled
    )
    return capital("; ".join(told))


BASES = {
    "uptime": "its times worked out from what it counted since its start, and mended as messages came sooner",
    "clock": "its times by a clock of its own",
    "arrival": "its times by when its messages came",
}
