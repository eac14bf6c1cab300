"""What a node said: readings, and what could not be understood.

A node sends packs. A pack holds the samples of its probes at one instant (or several, when it catches up) and the three
integers that make it safe to repeat and possible to date: `boot`, `seq` and `up`. See `dating` for what they become.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from monitor.domain.fixed import fixed

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)

# Flags of IOOS QARTOD, real-time quality control: the roll-up of a reading's tests.
PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9

DAY_MS = 86_400_000


def to_ms(at: datetime) -> int:
    """Whole milliseconds since 1970-01-01 UTC, the form of every time in tables and arrays."""
    return (at - EPOCH) // _MS


def ceil_ms(at: datetime) -> int:
    """The first whole millisecond not before an instant: labels are whole, so that since and until cut exactly there."""
    return -((EPOCH - at) // _MS)


def from_ms(at_ms: int) -> datetime:
    """The aware UTC time that `to_ms` gave."""
    return EPOCH + at_ms * _MS


@fixed
class Now:
    """The instant of one item of work, on both clocks, read once and passed along.

    mono_s: a clock that only goes forward; delays, silence and shelves count on it.
    utc: the label people read; aware UTC.
    clock_ok: False while the label is known to be wrong (a board without a battery clock).
    """

    mono_s: float
    utc: datetime
    clock_ok: bool = True


@fixed
class Sample:
    """One probe at one instant, as sent: units already °C and %RH, nothing judged yet.

    offset_s is the SenML time relative to the pack's base (0 or below); at_ms is an absolute time, from a node with a
    clock, and then offset_s is 0. A missing quantity is None; fault says why: the node's own word, or what was wrong with its record. rh_wrong: a humidity
    came that cannot be read.
    """

    probe: str
    dry_bulb_c: float | None
    rh_pct: float | None
    offset_s: float = 0.0
    at_ms: int | None = None
    fault: str = ""
    rh_wrong: bool = False


@fixed
class Other:
    """What a node says besides its air: a battery's level, say. name: below the node's own; unit: as sent, "" where none was."""

    name: str
    value: float | str | bool
    unit: str = ""


@fixed
class Refused:
    """A message, or some records of one, that was not understood: kept, counted and shown, never raised. node: "" where it names none."""

    topic: str
    payload: bytes
    reason: str
    node: str = ""


@fixed
class Pack:
    """One understood message of a node. boot, seq and up_s are None for nodes of other makes. refused: what of it was not understood."""

    node: str
    samples: tuple[Sample, ...]
    boot: int | None = None
    seq: int | None = None
    up_s: int | None = None
    retained: bool = False
    others: tuple[Other, ...] = ()
    refused: Refused | None = None


@fixed
class Presence:
    """A node's birth or last will."""

    node: str
    online: bool
    retained: bool = False


Message = Pack | Presence | Refused
