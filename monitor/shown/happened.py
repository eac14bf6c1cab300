"""What happened, in words: why an alarm's state changed; and besides alarms, of a door, nodes and clocks, batches, people's work."""

from __future__ import annotations

from datetime import tzinfo
from typing import assert_never

from monitor.domain.air.units import Unit
from monitor.domain.alarms.alarm import Cause, Chattering, Shelved, Suppressed
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.site import OF_DOOR, OF_MAINS, OF_TURNING, OF_WATER
from monitor.domain.signs.seen import LATE, NOT_CLIMBING, NOT_TURNED, NotBack, Opened, Seen
from monitor.domain.state.happened import (
    AGREES,
    BY_ITS_COUNT,
    BY_OURS,
    CONNECTED,
    ENDED,
    HATCHER,
    HEARD_AGAIN,
    LOST,
    NO_EAR,
    NO_ENTRY,
    NO_SIGN,
    NOT_THERE,
    SIGN,
    TAKEN,
    UNHEARD,
    UNTRIED,
    Arranged,
    Broker,
    Calibrated,
    Change,
    Clash,
    ClockSet,
    Closed,
    CoolingSaid,
    Happened,
    Lockdown,
    MovedTo,
    NeverCame,
    NodeClockSet,
    NodeSaid,
    NotRecorded,
    OutOf,
    PutBack,
    Removed,
    SetOf,
    StageSaid,
    TakenOut,
    Turned,
    WentOn,
    WorkBegun,
    WorkDone,
    WorkOver,
)
from monitor.domain.wall import utc_text, wall_time
from monitor.shown.calibrations import corrected_words
from monitor.shown.entries import went_on_words
from monitor.shown.form import duration, until_by
from monitor.shown.values import show_figure

_NOT_BACK = {
    LATE: "not back in time",
    NOT_TURNED: "the temperature has not turned",
    NOT_CLIMBING: "the temperature does not come back",
}
_DATED = {
    AGREES: " and agrees with ours",
    BY_ITS_COUNT: ", its readings are dated by its own count",
    BY_OURS: ", its readings are dated by ours",
}
_BROKER = {
    CONNECTED: "connected",
    HEARD_AGAIN: "connected; our own ping comes back again",
    NOT_THERE: "{said}, expected an MQTT broker; trying again",
    NO_ENTRY: "{said}, expected a broker that lets us in; trying again",
    NO_EAR: "may not listen to {said}, expected an account that may",
    LOST: "connection lost ({said}), expected it to stay; trying again",
    UNHEARD: "connected, but nothing comes back, expected our own ping within {said} s",
    TAKEN: "connected, and put out again each time, expected to be alone under this name: eggroom runs twice for this site",
    ENDED: "the network thread had ended, expected it to run; started again",
}
_LOCKDOWN = {
    SIGN: "lockdown began: the sign was seen",
    NO_SIGN: "no lockdown: the sign was not seen",
    HATCHER: "lockdown declared: it was brought to a hatcher",
}

# What a switch says, and when that is over.
TURNED = {
    OF_MAINS: ("no mains", "mains back"),
    OF_DOOR: ("door open", "door shut"),
    OF_WATER: ("water low", "water filled"),
    OF_TURNING: ("turning", "at rest"),
}
WELL = {OF_MAINS: "mains there", OF_DOOR: "door shut", OF_WATER: "water enough", OF_TURNING: "at rest"}


def opening_words(seen: Seen, unit: str = "C") -> str:
    """`opened for about 2 min, lowest 34.0 °C`, `not coming back after an opening: the temperature has not turned`."""
    if isinstance(seen, Opened):
        return f"opened for about {seen.minutes:.0f} min, lowest {show_figure(DRY_BULB, seen.lowest_c, unit)}"
    return f"not coming back after an opening: {_NOT_BACK.get(seen.why, seen.why)}"


def happened_words(what: Happened, unit: Unit = "C", zone: tzinfo | None = None) -> str:  # noqa: C901 - one line for each thing that can happen
    """`moved to hatcher-1`, `the clock was set by +3.0 s`; zone: None for the record and for programs, which have UTC."""
    match what:
        case Opened() | NotBack():
            return opening_words(what, unit)
        case Turned():
            return TURNED[what.kind][not what.wrong]
        case NodeSaid():
            return "came online" if what.online else "went offline (last will)"
        case Clash():
            return f"message {what.seq} of boot {what.boot} came again with other values: two nodes of one name, or a boot number used again"
        case NeverCame():
            return f"boot {what.boot}: messages {what.first} to {what.last} never came"
        case ClockSet():
            return f"the clock was set by {what.by_s:+.1f} s{', labels of this run mended' if what.mended else ''}"
        case NodeClockSet():
            return f"the node's clock was set by {what.by_s:+.0f} s{_DATED[what.dated]}"
        case NotRecorded():
            left = f"; {what.left_out:,} readings were left out" if what.left_out else ""
            return f"nothing could be written down for {duration(what.for_s)}{left}"
        case Broker():
            return _broker_words(what)
        case SetOf():
            return f"set: {what.species}"
        case MovedTo():
            return f"moved to {what.machine}"
        case StageSaid():
            return f"stage {what.stage} {'taken back' if what.back else 'declared'}"
        case Lockdown():
            return _LOCKDOWN[what.why]
        case WentOn():
            return went_on_words(what.into, what.eggs)
        case OutOf():
            return f"split off {what.batch}"
        case Closed():
            return "opened again" if what.again else "closed"
        case Removed():
            eggs = "" if what.eggs is None else f", {what.eggs} eggs"
            at = utc_text(what.set_at, "minutes") if zone is None else wall_time(what.set_at, zone)
            return f"removed{_by(what.by)}: {what.species}{eggs}, set {at}"
        case WorkBegun():
            return f"declared for {what.minutes:g} min{_by(what.by)}"
        case WorkDone():
            return f"done{_by(what.by)}"
        case CoolingSaid():
            hours = what.hours.replace(", ", " and ")
            until = "" if what.to_c is None else f" to {show_figure(DRY_BULB, what.to_c, unit)}"
            days = "" if what.first_day is None else f", day {what.first_day} to {what.last_day}"
            over = ", ended" if what.ended else ""
            return f"cooled daily at {hours} for {what.minutes:g} min{until}{days}{over}{_by(what.by)}"
        case TakenOut():
            ends = what.until
            when = None if ends is None else utc_text(ends, "minutes") if zone is None else wall_time(ends, zone)
            return f"out of service {until_by(when, what.by)}"
        case PutBack():
            return f"back in service{', its time is over' if what.over else ''}{_by(what.by)}"
        case WorkOver():
            return "over, the air is back"
        case Calibrated():
            each = [(q, c) for q, c in ((DRY_BULB, what.dry_bulb_c), (RH, what.rh_pct)) if c is not None]
            return f"{corrected_words(each, unit)}{_by(what.by)}"
        case Arranged():
            return "; ".join(map(_change_words, what.changes)) or (
                "what looks at which machine is written down from now on; all that was before is taken as it stands"
            )
        case _:
            assert_never(what)


_CHANGED = {
    "kind": "{of} is a {now} (before: {was})",
    "air": "the air of {of} is {now} (before: {was})",
    "interval_s": "{of} speaks each {now} s (before: {was} s)",
    "position": "{of} hangs at {now} (before: {was})",
    "pressure_kpa": "air pressure {now} kPa (before: {was} kPa)",
    "zone": "zone {now} (before: {was})",
    "profile": "the profile {of} has changed",
}


def _change_words(change: Change) -> str:
    """`node-a/top looks at setter-2 (before: setter-1)`."""
    if change.what == "machine":
        return f"{change.of} is new, a {change.now}" if change.now else f"{change.of} is configured no longer"
    if change.what == "probe":
        before = f" (before: {change.was})" if change.was else ""
        return (
            f"{change.of} looks at {change.now}{before}"
            if change.now
            else f"{change.of} looks at {change.was} no longer"
        )
    return _CHANGED[change.what].format(
        of=change.of, was=change.was or "not said", now=change.now or "no place that is said"
    )


def _broker_words(what: Broker) -> str:
    """`broker 127.0.0.1:1883: connected`."""
    return (
        "not tried yet" if what.what == UNTRIED else f"broker {what.where}: {_BROKER[what.what].format(said=what.said)}"
    )


def cause_words(cause: Cause) -> str:
    """`beyond its limit`, `shelved for 20 min`, `suppressed: no eggs in it`, `chattering: 3 times`."""
    if isinstance(cause, Shelved):
        return f"shelved for {cause.for_s / 60:g} min"
    if isinstance(cause, Suppressed):
        return f"suppressed: {cause.why}"
    return f"chattering: {cause.times} times" if isinstance(cause, Chattering) else cause


def _by(who: str) -> str:
    return f" by {who}" if who else ""
