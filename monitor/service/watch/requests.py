"""What a person can ask of the watch: one frozen value for each verb. The command line, a recorded stream and the door speak the same ones.

On the wire a request is one JSON object with its verb under "do" and the fields below as keys (`adapters/requests.py` reads them).
Moments are aware UTC. A field without a default has to be given. What is true of a request only beside the rest (that a batch is there,
that a time is past) is judged when it is performed, in `commands.py`.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from monitor.domain.eggs.entry import Fact
from monitor.domain.fixed import fixed
from monitor.domain.refusal import Refusal, Sure
from monitor.domain.wall import utc_text

# Line of the table, egg, gross mass in g, when (None: as the table).
Row = tuple[int | str, int, float, datetime | None]
# Line of the table, egg, what is written of it, when (None: as the table).
FactRow = tuple[int | str, int, Fact, datetime | None]


class RequestError(Refusal):
    """A request that cannot be met: one line, or one for each thing that cannot be."""

    def answer(self) -> dict[str, object]:
        """What the one who asked is answered. words: the same as `error`, each moment apart from the texts, as {"at": moment},
        and so what is done once somebody says that it is sure, as {"sure": "write"}."""
        return {"error": str(self), "words": [_plain(part) for part in self.words]}

    def failed(self) -> dict[str, object]:
        """The same of a request that was good, and could not be met."""
        return {**self.answer(), "failed": True}


def _plain(part: str | datetime | Sure) -> str | dict[str, str]:
    if isinstance(part, str):
        return part
    return {"sure": part.does} if isinstance(part, Sure) else {"at": utc_text(part)}


@fixed(kw_only=True)
class BatchAdd:
    """Eggs are set together. eggs: how many; machine: None for a batch that is in none yet."""

    do: Literal["batch-add"] = "batch-add"
    batch: str
    profile: str
    set_at: datetime
    eggs: int | None = None
    machine: str | None = None
    note: str = ""


@fixed(kw_only=True)
class Move:
    """A batch goes to another machine."""

    do: Literal["move"] = "move"
    batch: str
    machine: str
    at: datetime | None = None


@fixed(kw_only=True)
class Stage:
    """A stage is declared early, or what was declared is taken back. sure: also long before its time."""

    do: Literal["stage"] = "stage"
    batch: str
    stage: str
    at: datetime | None = None
    back: bool = False
    sure: bool = False


@fixed(kw_only=True)
class Close:
    """The hatch of a batch is over."""

    do: Literal["close"] = "close"
    batch: str
    at: datetime | None = None


@fixed(kw_only=True)
class Reopen:
    """A batch was closed by mistake."""

    do: Literal["reopen"] = "reopen"
    batch: str


@fixed(kw_only=True)
class Remove:
    """A batch was written down by mistake, and nothing about its eggs yet."""

    do: Literal["remove"] = "remove"
    batch: str
    by: str = ""


@fixed(kw_only=True)
class SplitOff:
    """Some eggs of a batch, by number or so many, go on as a batch of their own. into: its name, "" for the next that is free.
    sure: also a stage long before its time."""

    do: Literal["split"] = "split"
    batch: str
    eggs: tuple[int, ...] | None = None
    count: int | None = None
    machine: str | None = None
    stage: str | None = None
    into: str = ""
    at: datetime | None = None
    by: str = ""
    sure: bool = False


@fixed(kw_only=True)
class Acknowledge:
    """Somebody knows of an alarm, by the number in its message."""

    do: Literal["acknowledge"] = "acknowledge"
    alarm: int
    by: str


@fixed(kw_only=True)
class Shelve:
    """An alarm is quiet for so long."""

    do: Literal["shelve"] = "shelve"
    alarm: int
    for_s: float
    by: str = ""


@fixed(kw_only=True)
class Unshelve:
    """An alarm comes off its shelf."""

    do: Literal["unshelve"] = "unshelve"
    alarm: int
    by: str = ""


@fixed(kw_only=True)
class OutOfService:
    """An alarm is taken out of service, or put back. for_s: it comes back by itself after so long."""

    do: Literal["out-of-service"] = "out-of-service"
    alarm: int
    out: bool = True
    for_s: float | None = None
    by: str = ""


@fixed(kw_only=True)
class TakeOut:
    """A probe or a machine, by its id, is taken out of service as a whole, or put back. for_s: it comes back by itself after so long. sure: also
    where eggs are then watched less, or by nobody."""

    do: Literal["take-out"] = "take-out"
    of: str
    out: bool = True
    for_s: float | None = None
    by: str = ""
    sure: bool = False


@fixed(kw_only=True)
class Work:
    """Somebody works at an open machine for so long, or is done."""

    do: Literal["handling"] = "handling"
    machine: str
    for_s: float | None = None
    done: bool = False
    by: str = ""


@fixed(kw_only=True)
class Cool:
    """Eggs of a batch, or what is in a machine, are cooled each day at these minutes after midnight, for so long, on these days of the
    batch; or (end) no longer."""

    do: Literal["cooling"] = "cooling"
    of: str
    at_min: tuple[int, ...] = ()
    for_s: float | None = None
    to_c: float | None = None
    first_day: int | None = None
    last_day: int | None = None
    end: bool = False
    by: str = ""


@fixed(kw_only=True)
class ByOffset:
    """Reference minus reading, K or %RH."""

    offset: float


@fixed(kw_only=True)
class ByPoints:
    """(reading, reference) pairs, °C or %RH."""

    points: tuple[tuple[float, float], ...]


@fixed(kw_only=True)
class BySalts:
    """(salt, reading in %RH) pairs over saturated salts at that temperature."""

    salts: tuple[tuple[str, float], ...]
    temperature_c: float


@fixed(kw_only=True)
class Calibrate:
    """A probe was held against a reference. since: from when on it holds, "start" for the whole record. back: instead, the last
    one of the probe is taken back."""

    do: Literal["calibrate"] = "calibrate"
    probe: str
    dry_bulb_c: ByOffset | ByPoints | None = None
    rh_pct: ByOffset | ByPoints | BySalts | None = None
    at: datetime | None = None
    since: datetime | Literal["start"] | None = None
    due: datetime | None = None
    by: str = ""
    note: str = ""
    back: bool = False


@fixed(kw_only=True)
class OfEntry:
    """What is said of an entry of a batch's egg book beside its fact: whether it is about one egg, each of several, so many, or (none of these)
    the batch. sure: also what is odd."""

    do: Literal["entry"] = "entry"
    batch: str
    egg: int | None = None
    eggs: tuple[int, ...] | None = None
    count: int | None = None
    tray: str | None = None
    replaces: int | None = None
    at: datetime | None = None
    by: str = ""
    sure: bool = False


@fixed(kw_only=True)
class Write(OfEntry):
    """One entry."""

    fact: Fact


@fixed(kw_only=True)
class WriteBeyondPip:
    """Something was seen that only a chick does which has pipped: it is kept in these words, and the pip of those of which none is written. About
    each of several eggs, so many, or (neither) the batch."""

    do: Literal["beyond-pip"] = "beyond-pip"
    batch: str
    text: str
    eggs: tuple[int, ...] | None = None
    count: int | None = None
    at: datetime | None = None
    by: str = ""
    sure: bool = False


@fixed(kw_only=True)
class WriteWeighings:
    """A table of weighings of numbered eggs: all of them, or none."""

    do: Literal["weighings"] = "weighings"
    batch: str
    rows: tuple[Row, ...]
    tare_g: float | None = None
    error_g: float | None = None
    scale: str | None = None
    digit_g: float | None = None
    at: datetime | None = None
    by: str = ""
    sure: bool = False


@fixed(kw_only=True)
class Attach:
    """A file beside what is written of one egg, or of the batch. content: its bytes in base64; beside: the number of an entry. sure: also what is odd."""

    do: Literal["attach"] = "attach"
    batch: str
    name: str
    content: str
    text: str = ""
    egg: int | None = None
    beside: int | None = None
    at: datetime | None = None
    by: str = ""
    sure: bool = False


@fixed(kw_only=True)
class OfTable:
    """What is said of a table of entries about numbered eggs, of which all are written or none, beside its rows. sure: also what is odd."""

    do: Literal["table"] = "table"
    batch: str
    at: datetime | None = None
    by: str = ""
    sure: bool = False


@fixed(kw_only=True)
class WriteTable(OfTable):
    """A table of entries of any kind; several rows may be about one egg."""

    rows: tuple[FactRow, ...]


@fixed(kw_only=True)
class LookRoom:
    """Each machine against what its eggs need now."""

    do: Literal["room"] = "room"


@fixed(kw_only=True)
class LookFacts:
    """How the daemon itself is doing."""

    do: Literal["facts"] = "facts"


@fixed(kw_only=True)
class Rearrange:
    """The configuration was changed: it is read anew. at: from when on the house is as it says now; was, now: a machine, and the one that took
    its place, to which the batches go."""

    do: Literal["rearrange"] = "rearrange"
    at: datetime | None = None
    was: str = ""
    now: str = ""


# Whose fields are their keys on the wire.
ByFields = (
    BatchAdd | Move | Stage | Close | Reopen | Remove | SplitOff | Acknowledge | Shelve | Unshelve | OutOfService | TakeOut | Work | Cool
    | Calibrate | WriteBeyondPip | WriteWeighings | Attach | LookRoom
)  # fmt: skip
Performed = ByFields | Write | WriteTable
Request = Performed | Rearrange | LookFacts
