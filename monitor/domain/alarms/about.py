"""What an alarm is about, beside a value against its limit: facts, of which words are made last (`shown/about.py`)."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TypeAlias

from monitor.domain.eggs.entry import Entry
from monitor.domain.fixed import fixed

OFF_SCALE = "RNG-T"  # the test that a temperature fails which is none that the sensor, or the air, can have


@fixed
class Unfit:
    """A sensor fails one of the tests that it is put to by itself, by the test's name. sent: what it gave, where that is no sensible value."""

    test: str
    sent: float | None = None


@fixed
class Fault:
    """A probe is heard, and says that it has no temperature: the node's own word for why, or what was wrong with its record; or neither."""

    word: str


LATE, UNDATED, REPEATED, REFUSED, ABSENT = "late", "undated", "repeated", "refused", "absent"
ELSEWHERE, RESTARTS = "elsewhere", "restarts"
BROKER, NETWORK, MAINS = "broker", "network", "mains"
POWERLESS = "powerless"  # a chip that says its start value each time, or that its supply sagged
_POWERLESS_C, _POWERLESS_WORDS = (
    (85.0, 127.9375, 127.94),
    ("power-up", "weak-supply"),
)  # tests/reference/sensors/failed_reads.csv


@fixed
class Unusable:
    """Messages come, and nothing in them can be judged.

    why: LATE, by so many seconds; UNDATED: nobody knows yet when they were taken; REPEATED: under numbers of boot `by` that came before;
    REFUSED, for the reason in `words`; ABSENT: they say nothing of this probe; ELSEWHERE: its node speaks as of the site in `words`;
    RESTARTS: nobody knows when they were taken, for the node has started `by` times lately.
    """

    why: str
    by: float = 0.0
    words: str = ""


def unusable(about: About) -> bool:
    """Whether messages come, and nothing in them can be judged: then it is not silence that is told."""
    return isinstance(about, Unusable) and about.why != ABSENT


def why_of(about: About) -> str:
    """What a silence comes of, what became of a record, and POWERLESS of a sensor; empty where nothing is known of it, and of all else."""
    if isinstance(about, Regained):
        return about.how
    if isinstance(about, Unfit | Fault):
        told = about.sent in _POWERLESS_C if isinstance(about, Unfit) else about.word in _POWERLESS_WORDS
        return POWERLESS if told else ""
    if isinstance(about, Unrecorded):
        return UNREAD if about.unread else ""
    return about.why if isinstance(about, Unheard | Unusable) else ""


@fixed
class Restarting:
    """A node has started so many times within so long, s."""

    times: int
    within_s: float


@fixed
class Apart:
    """A probe is off the others of its machine, or two are apart, and nobody knows which is right; or have moved apart over days.

    quantity: the one that they disagree in. by: K or %RH, 0 or more. outside: whether one of them is out of the band of what is in there.
    jumped: which of them moved all at once, and the others did not; empty where none or several did. unmixed: within minutes they came to
    differ otherwise than they do, as where a fan stopped; by is then how far from what is usual of them.
    """

    probes: tuple[str, ...]
    quantity: str
    by: float
    moved: bool = False
    outside: bool = False
    jumped: str = ""
    unmixed: bool = False


@fixed
class Heading:
    """Where the air stands, °C, and the limit that it will reach in so many seconds if it goes on as it does."""

    now_c: float
    limit_c: float
    in_s: float


@fixed
class Unheard:
    """So many nodes, and none of them is heard. why: where that is known, BROKER (on this machine), NETWORK (of this machine, or the way to a
    broker elsewhere) or MAINS."""

    nodes: int
    why: str = ""


@fixed
class Away:
    """Nobody watched, since then and for so long, s. felt: of each machine with eggs its air now and its coldest batch's eggs as reckoned, °C;
    None where nothing is heard of it."""

    since: datetime
    for_s: float
    felt: tuple[tuple[str, float | None, float | None], ...] = ()


SILENT, CHATTERING, CONTRADICTED = "silent", "chattering", "contradicted"


@fixed
class Switched:
    """What a switch says, by its key and kind. felt: of no mains, each machine with eggs as in `Away`. warm: whether it has lasted for long, and the
    machines are warm all the same: then something else feeds them, or the switch is wrong."""

    switch: str
    kind: str
    felt: tuple[tuple[str, float | None, float | None], ...] = ()
    warm: bool = False


@fixed
class Disbelieved:
    """A switch that is not believed, and what it is of. why: SILENT: its node says nothing of it; CHATTERING; CONTRADICTED: by the air."""

    switch: str
    kind: str
    why: str


@fixed
class Damaged:
    """The record at `path` was damaged and lies beside it as `aside` now. why: as its library says it, empty where a start before this one found
    it. taken: the tables that the new one has from it; None where nobody knows any more."""

    path: str
    aside: str
    why: str = ""
    taken: tuple[str, ...] | None = None


RECORD_GONE, RECORD_EXCHANGED, RECORD_BEHIND = "record-gone", "record-exchanged", "record-behind"


@fixed
class Regained:
    """How the record at `path` was found: RECORD_GONE; RECORD_EXCHANGED for another file, which lies beside it as `aside` now; or RECORD_BEHIND, for an
    older one, or one whose newest part was damaged. whole: it was put back from the file that was still open; else only what stands twice came back into it.
    back: how many rows of which table."""

    path: str
    how: str
    aside: str = ""
    whole: bool = False
    back: tuple[tuple[str, int], ...] = ()


CARD_FULL, READ_ONLY, CARD_FAILING = "full", "read-only", "failing"
UNREAD = "unread"


@fixed
class Unrecorded:
    """Nothing is written down. why: the card is CARD_FULL, READ_ONLY, or it is CARD_FAILING, or does not answer. unread: nor could be read what was
    written before, so that nobody knows which eggs there are."""

    why: str
    unread: bool = False


@fixed
class Overdue:
    """Batches whose day has passed, each with the day that it is on."""

    batches: tuple[tuple[str, int], ...]


@fixed
class EachDay:
    """A machine was open, or too cold, at these hours of the house's clock (minutes after midnight), so many days running, and nobody declared it.

    of: whose cooling it would be, a batch or the machine; for_s: the longest that it lasted. Hours and length are such as can be declared.
    """

    of: str
    at_min: tuple[int, ...]
    for_s: float
    days: int


@fixed
class Astray:
    """Batches, each with the machine that it is in and that the configuration no longer has."""

    batches: tuple[tuple[str, str], ...]


@fixed
class Unmet:
    """What no setting of a machine can meet: quantities in which its batches want different things, or batches of unknown species.

    batches: all that are in it, each with day and stage; unknown: those whose species is not known. places: of each of the batches the
    other machines in which it would do; none of one that needs a machine of its own. groups: those that fit together, the most first.
    """

    what: tuple[str, ...]
    batches: tuple[tuple[str, int, str], ...]
    unknown: tuple[str, ...]
    places: tuple[tuple[str, tuple[str, ...]], ...] = ()
    groups: tuple[tuple[str, ...], ...] = ()


@fixed
class Moving:
    """Batches that should go to another machine before anything else is done; to: none where they need one of their own."""

    batches: tuple[str, ...]
    to: str = ""


@fixed
class Seen:
    """Eggs that are to be looked at again: why, in the breeder's own words, and what was written of them last. at: when that was found out."""

    why: str
    last: Entry | None
    at: datetime


@fixed
class Setting:
    """A humidity from now on: RH and its wet bulb. loss_pct: the loss at pip that one egg has with it, and whether that lies in the window;
    served, eggs: how many of a batch's it brings there. now_pct: the machine's RH, None where it is not known. do_pct: the range that would do as
    well, None where nothing may be set. others: the other weighed eggs of the machine, others_now, others_then: how many of them are heading into
    their window as it is, and with it; None where none was weighed."""

    rh_pct: float
    wet_bulb_c: float
    now_pct: float | None = None
    loss_pct: float | None = None
    reachable: bool = True
    served: int | None = None
    eggs: int | None = None
    do_pct: tuple[float, float] | None = None
    others: int | None = None
    others_now: int | None = None
    others_then: int | None = None


@fixed
class Projection:
    """The loss that leads to pip, in per cent of the mass at set, with the bounds that hold it (95 %), and the window for it.

    on_track: whether all of that lies in the window. unsure: whether it lies across an edge of it; then nothing is to be set, and again is when one
    more weighing will show which, None where none will. Else setting is what would mend it, None where no humidity can be told.
    """

    pip_pct: float
    low_pct: float
    high_pct: float
    window_pct: tuple[float, float]
    on_track: bool
    setting: Setting | None = None
    unsure: bool = False
    again: datetime | None = None


@fixed
class Weighed:
    """What was weighed: an egg by its number, a tray by its name, which may be empty; neither where it is a batch's eggs together."""

    egg: int | None = None
    tray: str | None = None


@fixed
class Losing:
    """Eggs that lose too much water, or too little: the worst, and which others do. Figures are as precise as they are told, so that what
    is told alike is equal."""

    who: Weighed
    where_to: Projection
    also: tuple[Weighed, ...] = ()


Facts: TypeAlias = (
    Unfit
    | Fault
    | Unusable
    | Restarting
    | Apart
    | Heading
    | Unheard
    | Away
    | Damaged
    | Regained
    | Unrecorded
    | Switched
    | Disbelieved
    | Overdue
    | EachDay
    | Astray
    | Unmet
    | Seen
    | Losing
)
# A quantity, for a value against its limit; facts; or words, of what comes from outside and of what an older program wrote.
About: TypeAlias = str | Facts
Say: TypeAlias = Callable[[About], str]
KINDS: dict[str, type[Facts]] = {
    "unfit": Unfit,
    "fault": Fault,
    "unusable": Unusable,
    "restarting": Restarting,
    "apart": Apart,
    "heading": Heading,
    "unheard": Unheard,
    "away": Away,
    "damaged": Damaged,
    "regained": Regained,
    "unrecorded": Unrecorded,
    "switched": Switched,
    "disbelieved": Disbelieved,
    "overdue": Overdue,
    "each-day": EachDay,
    "astray": Astray,
    "unmet": Unmet,
    "seen": Seen,
    "losing": Losing,
}  # by the names that a record keeps
