"""Whether anybody is watching: said first by what would else look as if all were normal."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.adapters.door import DoorClosed, DoorSilent, ask_door, check_door
from monitor.app import door_path
from monitor.cli.frame import FAILED, Failed, complain, show
from monitor.cli.record import Answer, done, opened
from monitor.settings import House
from monitor.shown.now.alarms import HANGS, unwatched_words

if TYPE_CHECKING:
    from monitor.service.ports import LastAlive


def heard(house: House, do: str) -> Answer | None:
    """What the running daemon answers; None where none runs, or it hangs."""
    try:
        return ask_door(door_path(house), {"do": do})
    except DoorClosed:
        return None


def unwatched(house: House, now: datetime, answer: Answer | None = None) -> str:
    """Where no daemon runs: that nobody is watching, since when, and what to do first; else nothing. answer: what it has just answered, if it was
    asked."""
    if answer is not None:
        return ""
    try:
        check_door(door_path(house))
    except DoorSilent:
        return HANGS
    except DoorClosed:
        last: LastAlive | None = None
        with suppress(Failed), opened(house) as history:  # said also while the record cannot be read
            last = history.last_alive()
        return unwatched_words(last, house.site, now)
    return ""


def ask_daemon(house: House, request: Mapping[str, object], now: datetime) -> Answer:
    """Ask the running daemon. Raises Wrong for its no, Failed when it cannot, and with what to do first where none runs or it hangs."""
    try:
        answer = ask_door(door_path(house), request)
    except DoorClosed as error:
        if isinstance(error.__cause__, PermissionError):  # whether one runs cannot be seen
            raise Failed(str(DoorClosed(error.where, error.came, "an account that may ask the daemon"))) from error
        raise Failed(unwatched(house, now) or str(DoorClosed(str(error), "the daemon is busy", "an answer"))) from error
    return done(answer, house.site.zone)


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
