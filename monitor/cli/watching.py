"""Whether anybody is watching: said first by what would else look as if all were normal."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.adapters.door import DoorClosed, ask_door
from monitor.app import door_path
from monitor.cli.frame import FAILED, Failed, complain, show
from monitor.cli.record import Answer, opened
from monitor.settings import House
from monitor.shown.now.alarms import unwatched_words

if TYPE_CHECKING:
    from monitor.service.ports import LastAlive


def heard(house: House, do: str = "facts") -> Answer | None:
    """What the running daemon answers; None where none runs."""
    try:
        return ask_door(door_path(house), {"do": do})
    except DoorClosed:
        return None


def unwatched(house: House, now: datetime, answer: Answer | None = None) -> str:
    """Where no daemon runs: that nobody is watching, and since when; else nothing. answer: what it has just answered, if it was asked."""
    if answer is not None or heard(house) is not None:
        return ""
    last: LastAlive | None = None
    with suppress(Failed), opened(house) as history:  # said also while the record cannot be read
        last = history.last_alive()
    return unwatched_words(last, house.site, now)


def show_watched(json_wanted: bool, data: object, text: str, *, unwatched: str) -> int:
    """Print what was found, and before it that nobody is watching, where that is so: then it has failed, whatever was found."""
    if not unwatched:
        return show(json_wanted, data, text)
    if json_wanted:
        complain(unwatched, FAILED)
        show(json_wanted, data, "")
    else:
        show(json_wanted, data, f"{unwatched}\n\n{text}")
    return FAILED
