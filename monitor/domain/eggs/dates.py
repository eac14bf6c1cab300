"""What falls due in a batch by its days: weighing, candling, lockdown, the hatch window; dates alone, without a word.

Lockdown and the hatch window are the profile's; a lockdown that was declared stands at its own time, and of birds that go by the egg the
day says only that draw-down may begin. When to candle no profile says: the hen's customary days 7 and 14 (from memory), as thirds of the
species' term. Nor when to weigh: at the set, with each candling and before lockdown (common practice) are four weighings, the fewest of
which a wrong one is mostly found out.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Profile

WEIGH, CANDLE, LOCKDOWN, DECLARED, DRAW_DOWN, HATCH = (
    "weigh",
    "candle",
    "lockdown",
    "lockdown declared",
    "draw-down",
    "hatch",
)
CANDLE_THIRDS = (1, 2)
TASK = timedelta(minutes=30)  # what takes no time is drawn by many calendars as nothing


@fixed
class Dated:
    """One thing that falls due. key: what makes it the same one when it is worked out again; kind: WEIGH and so on."""

    key: str
    kind: str
    since: datetime
    until: datetime


def dates_of(batch: Batch, profile: Profile, store_h: tuple[float, float] = (0.0, 0.0)) -> list[Dated]:
    """What falls due in a batch, in order. store_h: by how much days in store delay its hatch.

    Each candling is one for weighing too.
    """

    def at(day: float) -> datetime:
        return batch.set_at + timedelta(days=day)

    found = [Dated("weigh-set", WEIGH, at(0.0), at(0.0) + TASK)]
    for third in CANDLE_THIRDS:
        when = at(candling_day(profile, third))
        found.append(Dated(f"candle-{third}", CANDLE, when, when + TASK))
    declared = next((d.at for d in batch.declared if d.stage == "lockdown"), None)
    when = at(profile.lockdown_day) if declared is None else declared
    kind = DECLARED if declared is not None else LOCKDOWN if profile.lockdown_sign is None else DRAW_DOWN
    found.append(Dated("weigh-lockdown", WEIGH, when - TASK, when))
    found.append(Dated("lockdown", kind, when, when + TASK))
    since = at(profile.hatch_day_first + store_h[0] / 24.0)
    until = at(profile.hatch_day_last + store_h[1] / 24.0)
    found.append(Dated("hatch", HATCH, since, max(until, since + TASK)))
    return sorted(found, key=lambda each: each.since)


def candling_day(profile: Profile, third: int) -> int:
    """The day of a candling, as a third of the term."""
    return round(profile.days * third / 3.0)
