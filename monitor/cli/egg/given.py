"""What the verbs of `eggroom egg` are given: their arguments as typed values, and the words that they know."""

from __future__ import annotations

from pathlib import Path

from monitor.cli.frame import Asked
from monitor.cli.record import Reported
from monitor.domain.fixed import fixed

SEEN = ("draw-down", "internal-pip", "external-pip")
DONE = ("assisted", "sealed")  # to an egg, with a note of how
FOUND = ("clear", "fertile", "alive", "early-dead", "dead", "cracked", "not-sure")
ENDS = ("hatched", "dead", "removed")
STAGES = ("early", "middle", "late", "internal-pip", "external-pip", "after-hatch")
# The trade's own words, and those of before, by the verb that they are typed to: understood, and told as ours.
MEANT = {
    "candle": {"infertile": "clear", "quitter": "dead"},
    "event": {"pip": "external-pip", "helped": "assisted"},
    "outcome": {"quitter": "dead", "dead-in-shell": "dead", "infertile": "removed"},
}
ZIP = "zip"  # a chick that cuts round its shell: hours after its pip, so no time of that
# What such a word says besides: dead in the shell is full grown and not pipped (common practice); a quitter's age nobody knows by the word.
MEANT_STAGE = {"dead-in-shell": "late"}
MEANT_WHY = {"infertile": "clear"}
WHY = ("clear", "broken", "rotten", "given-away", "other")


@fixed(kw_only=True)
class Written(Asked):
    """What every verb that writes is given."""

    verb: str
    batch: str
    words: list[str]
    at: str
    by: str
    sure: bool


@fixed(kw_only=True)
class Weigh(Written):
    """egg weigh"""

    tray: str
    count: int | None
    csv: Path | None
    tare: float
    error: float | None
    scale: str | None


@fixed(kw_only=True)
class Counted(Written):
    """egg candle, egg finding"""

    count: int | None


@fixed(kw_only=True)
class Event(Counted):
    """egg event"""

    note: str


@fixed(kw_only=True)
class Outcome(Counted):
    """egg outcome"""

    stage: str | None
    why: str | None


@fixed(kw_only=True)
class Laid(Written):
    """egg laid"""

    on: str | None
    stored: float | None


@fixed(kw_only=True)
class Identify(Written):
    """egg identity"""

    pair: str | None
    cock: str | None
    hen: str | None
    clutch: str | None
    label: str | None
    under_bird_until: str | None
    tray: str | None
    place: str | None
    ring: str | None
    csv: Path | None


@fixed(kw_only=True)
class Raise(Written):
    """egg chick"""

    brooder: str | None
    signed_off: str | None
    scale: str | None
    error: float | None
    csv: Path | None


@fixed(kw_only=True)
class Cell(Written):
    """egg air-cell"""

    across: str | None
    csv: Path | None


@fixed(kw_only=True)
class Turn(Written):
    """egg turned"""

    over: str | None
    note: str


@fixed(kw_only=True)
class Attach(Written):
    """egg file"""

    entry: int | None


@fixed(kw_only=True)
class LookAgain(Written):
    """egg look-again"""

    span: str | None
    when: str | None


@fixed(kw_only=True)
class Save(Reported):
    """egg save"""

    entry: int
    file: Path
    sure: bool
