"""When an egg died: between when it was last seen alive and when it was found dead, for nobody was there."""

from __future__ import annotations

from datetime import datetime, timedelta

from monitor.domain.eggs.book import EggBook, of_egg
from monitor.domain.eggs.entry import (
    AFTER_HATCH,
    ALIVE,
    DEAD,
    EARLY,
    EARLY_DEAD,
    EXTERNAL_PIP,
    FERTILE,
    INTERNAL_PIP,
    LATE,
    MIDDLE,
    OF_CHICK,
    Candling,
    Dead,
    Entry,
    Hatched,
    Helped,
    Sign,
    SignedOff,
)
from monitor.domain.fixed import fixed
from monitor.domain.published.causes import MIDDLE as MIDDLE_THIRD
from monitor.domain.published.causes import TO_MIDDLE, WINDOWS

# Share of the term in which an egg of a class died, the first and the last; a class that knows its pip has no end.
_THIRD, _TO_MIDDLE = WINDOWS[MIDDLE_THIRD][1], WINDOWS[TO_MIDDLE][1]
_LIVED = {EARLY: (0.0, _THIRD), MIDDLE: (_THIRD, _TO_MIDDLE), LATE: (_TO_MIDDLE, None)}
# What an egg that died of a class shows, by the trade's list: what a review is asked for where nobody wrote a finding.
FINDING_OF = {
    EARLY: "dead-first-third",
    MIDDLE: "dead-middle-third",
    LATE: "dead-unpipped",
    INTERNAL_PIP: "dead-internal-pip",
    EXTERNAL_PIP: "pipped-dead",
}


@fixed
class Death:
    """end: what says that it is dead. alive: when it was last seen alive, None where nobody saw it so; dead: when somebody first saw that it is
    dead. stage: the class it was written in. since, until: when it can have died, by both; by_stage: that the class made this narrower than the
    looks did, None where the two contradict each other and the looks alone count."""

    end: Entry
    alive: Entry | None
    dead: Entry
    stage: str
    since: datetime
    until: datetime
    by_stage: bool | None

    def holds(self, since: datetime, until: datetime) -> bool:
        """Whether it can have died in a time."""
        return since < self.until and self.since < until


def death_of(book: EggBook, egg: int, term_days: float) -> Death | None:
    """When an egg, or its chick, died; None of one of which no death is written. term_days: of its profile, above 0."""
    own = of_egg(book, egg)
    end = next((e for e in own if isinstance(e.fact, Dead)), None)
    if end is None or not isinstance(end.fact, Dead):
        return None
    alive = next((e for e in reversed(own) if e.at <= end.at and _alive(e)), None)
    since = book.batch.set_at if alive is None else alive.at
    dead = next((e for e in own if since < e.at <= end.at and _dead(e)), end)
    low, high = _by_stage(end.fact.stage, book.batch.set_at, term_days)
    narrow = max(since, low or since), min(dead.at, high or dead.at)
    agree = narrow[0] <= narrow[1]
    first, last = narrow if agree else (since, dead.at)
    return Death(
        end=end,
        alive=alive,
        dead=dead,
        stage=end.fact.stage,
        since=first,
        until=last,
        by_stage=narrow != (since, dead.at) if agree else None,
    )


def _alive(entry: Entry) -> bool:
    fact = entry.fact
    if isinstance(fact, Candling):
        return fact.found in (ALIVE, FERTILE)
    return isinstance(fact, Sign | Helped | Hatched) or (isinstance(fact, OF_CHICK) and not isinstance(fact, SignedOff))


def _dead(entry: Entry) -> bool:
    fact = entry.fact
    return isinstance(fact, Dead) or (isinstance(fact, Candling) and fact.found in (EARLY_DEAD, DEAD))


def _by_stage(stage: str, set_at: datetime, term_days: float) -> tuple[datetime | None, datetime | None]:
    if stage == AFTER_HATCH:
        return None, None
    low, high = _LIVED.get(stage, (_TO_MIDDLE, None))
    end = None if high is None else set_at + timedelta(days=high * term_days)
    return set_at + timedelta(days=low * term_days), end
