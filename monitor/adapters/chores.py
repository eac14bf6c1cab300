"""The calendar's alarm clock, through the library APScheduler (3.x): a thread of its own that says when something may be due by the clock on
the wall. What is due, and whether it was done, is decided elsewhere (`service/chores`); nothing is lost when this says too much.

Measured of the library, and so met here:
- It sleeps on the forward clock. When the label is set it must be woken: set forward it would sleep on, set back it would wait for the time
  that it had reckoned, be that ten years ahead. So after each step every job is reckoned anew, and one look is due at once.
- Jobs of the minute or the hour are run one by one through years when the label jumps: daily ones only, and `coalesce` makes them one.
- A job that comes late is dropped after a second: `misfire_grace_time=None` drops none.
- On the night when an hour comes twice a job in that hour runs twice, and where the missing hour is at midnight a day may be left out: so a second
  job looks at noon, and who is asked keeps the dates.
- 3.11.0 hangs on such a night; hence at least 3.11.1.
It is started when the label clock is right for the first time, and loaded then: a start does not wait for it.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from datetime import time, tzinfo
from typing import TYPE_CHECKING

from monitor.domain.readings.reading import Now

if TYPE_CHECKING:
    from apscheduler.schedulers.background import BackgroundScheduler

NOON = time.fromisoformat("12:00")
STEP_S = 2.0  # by so much the label moves against the forward clock within a second or so when it is set, and not when it is slewed

_log = logging.getLogger("eggroom.chores")


class Calendar:
    """Says `look` at each of the times of day, after a start, and after each step of the label clock. `watch` is asked each second, by one thread."""

    def __init__(self, times: Iterable[time], zone: tzinfo, look: Callable[[], None]) -> None:
        """times: on the wall clock of the zone. look: returns at once; called from the library's threads as well."""
        self._times = sorted({*times, NOON})
        self._zone = zone
        self._look = look
        self._scheduler: BackgroundScheduler | None = None
        self._right = False
        self._ahead_s = 0.0

    def watch(self, now: Now) -> None:
        """Start when the label clock is right; reckon anew, and look, when it was set."""
        ahead_s = now.utc.timestamp() - now.mono_s
        set_anew = abs(ahead_s - self._ahead_s) > STEP_S or not self._right
        self._ahead_s, self._right = ahead_s, now.clock_ok
        if not (now.clock_ok and set_anew):
            return
        if self._scheduler is None:
            self._start()
        else:
            for job in self._scheduler.get_jobs():
                job.reschedule(job.trigger)
            self._scheduler.wakeup()
        self._look()

    def stop(self) -> None:
        """End the library's threads."""
        if self._scheduler is not None:
            self._scheduler.shutdown(wait=False)
            self._scheduler = None

    def _start(self) -> None:
        from apscheduler.executors.pool import ThreadPoolExecutor
        from apscheduler.schedulers.background import BackgroundScheduler
        from apscheduler.triggers.cron import CronTrigger

        logging.getLogger("apscheduler").setLevel(logging.ERROR)
        scheduler = BackgroundScheduler(
            timezone=self._zone,
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        for at in self._times:
            scheduler.add_job(self._look, CronTrigger(hour=at.hour, minute=at.minute, timezone=self._zone))
        scheduler.start()
        self._scheduler = scheduler
        _log.info("calendar times=%s", ",".join(f"{at:%H:%M}" for at in self._times))
