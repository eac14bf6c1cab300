"""What a person has taken out of service as a whole: a probe, or a machine."""

from __future__ import annotations

from datetime import datetime

from monitor.domain.fixed import fixed


@fixed
class Out:
    """A probe or a machine, by its id, that is out of service. until: when it comes back by itself; None: when a person puts it back, and each
    day's summary says so till then. It ends by the forward clock (until_mono_s). ended: when it was put back, None while it is out."""

    subject: str
    since: datetime
    until: datetime | None = None
    by: str = ""
    until_mono_s: float | None = None
    ended: datetime | None = None
