"""Cooling that was declared for each day: its window becomes work at the machine, which is expected, recorded and watched for its end."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from monitor.domain.signs.cooling import Cooling, held_on, on_day, window_of
from monitor.domain.signs.opening import Handling
from monitor.domain.state.happened import WorkBegun
from monitor.domain.state.known import Look
from monitor.domain.state.record import Event

SAME_S = 1.0  # so near are two ends of one work: a restart works it out anew from its label


def machine_of(look: Look, cooling: Cooling) -> str | None:
    """The machine that it is done at now; None where its batch is over, or in none that is configured."""
    batch = look.state.batches.get(cooling.of)
    if batch is None:
        return cooling.of if cooling.of in look.site.machines else None
    stay = batch.stay_at(batch.not_before(look.now.utc))
    there = None if stay is None or batch.closed_at is not None else stay.machine
    return there if there in look.site.machines else None


def begins_at(look: Look, cooling: Cooling) -> Iterator[datetime]:
    """When it begins, from yesterday on to the day after tomorrow, on days that it is done."""
    batch, today = look.state.batches.get(cooling.of), look.now.utc.astimezone(look.site.zone).date()
    for by in (-1, 0, 1, 2):
        for at in on_day(cooling, today + timedelta(days=by), look.site.zone):
            if held_on(cooling, None if batch is None else batch.day(at)):
                yield at


def next_at(look: Look, cooling: Cooling) -> datetime | None:
    """When it begins next; None where it is not done tomorrow either, or nowhere."""
    if machine_of(look, cooling) is None:
        return None
    return next((at for at in begins_at(look, cooling) if at > look.now.utc), None)


def begin_coolings(look: Look) -> None:
    """Where the window of a cooling has begun, its machine is at work until the window ends. Not under a clock that nobody set."""
    if not look.now.clock_ok:
        return
    now = look.now
    for cooling in look.state.coolings.values():
        machine = machine_of(look, cooling)
        if machine is None:
            continue
        known = look.state.machine(machine)
        for at in begins_at(look, cooling):
            since, until = window_of(cooling, at)
            if not since <= now.utc < until or (known.cooled_at is not None and at <= known.cooled_at):
                continue
            known.cooled_at, known.cool_to_c = at, cooling.to_c
            left_s = (until - now.utc).total_seconds()
            if known.handling is not None and known.handling.until_mono_s >= now.mono_s + left_s - SAME_S:
                continue  # somebody has said more, or the run before has said it
            known.handling = Handling(machine, now.utc, until, now.mono_s + left_s, cooling.by)
            look.out.handlings[machine] = known.handling
            what = WorkBegun(round(left_s / 60.0, 1), cooling.by)
            look.out.events.append(Event(now.utc, "handling", machine, what=what))
