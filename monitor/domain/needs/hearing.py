"""What one contact is told, and at which hours: its own choice, within what the eggs allow."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import LOW, MEDIUM, PRIORITIES

# Of the time from an alarm to its harm so much may pass before anyone is told: the rest is for going there and acting (judgement).
WAIT_SHARE = 1.0 / 3.0
SUMMARY_AT = time.fromisoformat("08:00")  # the morning round (judgement)


@fixed
class Hearing:
    """What one contact hears.

    from_priority: the mildest that it is told. hours: from and to on the wall clock, over midnight where they say so; None: at any hour.
    summary: when it is told what is low, once a day.
    """

    from_priority: str = LOW
    hours: tuple[time, time] | None = None
    summary: time = SUMMARY_AT

    def hears(self, priority: str) -> bool:
        """Whether what is so urgent is told to this contact at all."""
        return PRIORITIES.index(priority) >= PRIORITIES.index(self.from_priority)

    def within(self, at: time) -> bool:
        """Whether the hours allow it then."""
        if self.hours is None:
            return True
        since, until = self.hours
        return since <= at < until if since < until else at >= since or at < until

    def waits_s(self, priority: str, respond_min: float, wall: datetime) -> float:
        """How long a notice made now waits for the hours, s: 0 for at once.

        Only medium ever waits, and only where the hours begin before a third of its time to respond is gone. Otherwise it is told at
        once: later it would ring in the middle of the night all the same. What is low waits for its summary, whatever the hour.
        wall: now, in the zone of the house.
        """
        if priority != MEDIUM or self.hours is None or self.within(wall.timetz().replace(tzinfo=None)):
            return 0.0
        begins = wall.replace(hour=self.hours[0].hour, minute=self.hours[0].minute, second=0, microsecond=0, fold=0)
        if begins <= wall:
            begins += timedelta(days=1)  # on the wall: a change of summer time moves the instant, not the hour
        away_s = (begins.astimezone(UTC) - wall.astimezone(UTC)).total_seconds()
        return away_s if away_s <= respond_min * 60.0 * WAIT_SHARE else 0.0


EVERYTHING = Hearing()
