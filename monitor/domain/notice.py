"""A transition put into words for someone who has just been woken: machine, what, value and band, since when, which batches,
likely harm, first act, and the number to answer with. Under 200 characters before any link.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from monitor.domain.alarm import ACKNOWLEDGED, RETURNED, UNACKNOWLEDGED, Transition
from monitor.domain.rules import Rule
from monitor.domain.units import celsius_to_fahrenheit

MAX_TEXT = 200  # characters before the link: what a lock screen shows without opening (judgement)


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one contact about one transition; it lives in the outbox until delivered.

    id grows by one for each notice. dedupe names the transition, the contact and the step, so meeting it twice changes
    nothing. closing is True for "back to normal".
    """

    id: int
    dedupe: str
    contact: str
    priority: str
    title: str
    text: str
    created: datetime
    alarm_number: int
    closing: bool = False
    link: str = ""
