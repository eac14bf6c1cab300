"""Which chore is due now: pure, asked of the label clock alone.

A chore has a wall-clock time and is done once a local date. So whatever clocks do (an hour that comes twice, one that is missing, a
label that was ten years ahead), what was missed is done once when the clock is right, and nothing twice. Dates are compared for being the
same, never for being later: a label that was far ahead must not keep what is due now from being done.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime, time

from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import LOW
from monitor.domain.needs.site import Site

LATEST = time.fromisoformat("21:00")  # a summary that was missed rings at no night (judgement)


@fixed
class Chore:
    """Something to be done once a local date, from `at` on the wall clock on; missed, until `until` and no later. contact: whom it is for."""

    name: str
    at: time
    until: time
    contact: str


def chores_of(site: Site) -> list[Chore]:
    """The day's summary for each contact that hears what is low."""
    found = []
    for contact in site.contacts:
        hearing = site.hearing_of(contact)
        if hearing.hears(LOW):
            until = max(LATEST, hearing.summary.replace(minute=59, second=59, microsecond=999_999))
            found.append(Chore(f"summary {contact}", hearing.summary, until, contact))
    return found


def is_due(chore: Chore, wall: datetime, done: Collection[date]) -> bool:
    """Whether it is to be done now. wall: now, in the zone of the house. done: the local dates on which it was."""
    return chore.at <= wall.time() <= chore.until and wall.date() not in done
