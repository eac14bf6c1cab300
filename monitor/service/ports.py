"""What the middle floor asks of its neighbours: small protocols, and the values that cross them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import field
from datetime import datetime
from typing import TYPE_CHECKING, Any, Protocol

from monitor.domain.alarms.about import CARD_FAILING, About
from monitor.domain.alarms.alarm import Alarm, Cause
from monitor.domain.alarms.notice import Answered, Live, Notice, Reach
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.book import EggBook
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.hearing import EVERYTHING, Hearing
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.calibration import Calibration
from monitor.domain.readings.dating import Line
from monitor.domain.readings.numbering import Gap, Numbering
from monitor.domain.readings.reading import MISSING, Now
from monitor.domain.refusal import Failure, Part, Refusal
from monitor.domain.signs.cooling import Cooling
from monitor.domain.signs.opening import Handling
from monitor.domain.state.happened import Happened
from monitor.domain.state.memory import Memory
from monitor.domain.state.record import Attempt as Attempt
from monitor.domain.state.record import ChoreDone as ChoreDone
from monitor.domain.state.record import Event as Event
from monitor.domain.state.record import Group as Group
from monitor.domain.state.record import RefusedRow as RefusedRow
from monitor.domain.state.record import StoredReading as StoredReading
from monitor.domain.state.record import Unknown as Unknown

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Integers = npt.NDArray[np.int64]


Answer = dict[str, Any]  # to a request, as JSON brings it back: what is in it hangs on what was asked


class StoreFailure(Failure):
    """The store could not do it now (disk full, read-only, input/output error); trying again may help. why: as in `Unrecorded`."""

    def __init__(self, where: Part, came: Part = "", expected: Part = "", *, why: str = CARD_FAILING) -> None:
        super().__init__(where, came, expected)
        self.why = why


class Clock(Protocol):
    """The only source of time."""

    def now(self) -> Now:
        """Both clocks, read together."""
        ...


@fixed
class Loaded:
    """What a new run starts from."""

    lines: tuple[Line, ...]  # the newest parts of each (node, boot) still open to messages
    numberings: dict[tuple[str, int], Numbering]
    batches: tuple[Batch, ...]  # open ones, and closed ones too
    alarms: tuple[Alarm, ...]  # the last facts of each alarm
    unknown: tuple[Unknown, ...]
    waiting: tuple[Notice, ...]  # not sent, not failed, not cancelled
    last_line: int
    last_alarm_number: int
    last_notice: int
    newest: datetime | None  # the newest label in the record
    handlings: tuple[Handling, ...] = ()  # those that stand; until_mono_s is 0, for the clock it counted on is gone
    coolings: tuple[Cooling, ...] = ()  # those that stand
    files: Mapping[str, int] = field(default_factory=dict)  # bytes of each file, by what is in it
    outs: tuple[Out, ...] = ()  # what is out of service; until_mono_s is None
    memory: Memory | None = None
    calibrations: tuple[Calibration, ...] = ()
    books: tuple[EggBook, ...] = ()  # of open batches in which anything is written
    chores: tuple[ChoreDone, ...] = ()  # the last of them that were done
    reached: tuple[tuple[int, Reach], ...] = ()  # of episodes that stand, by alarm number: how far their messages came


class Books(Protocol):
    """The egg books."""

    def book(self, batch: Batch) -> EggBook:
        """What was written about a batch's eggs, whether it is open or closed. Raises StoreFailure."""
        ...


class Ledger(Books, Protocol):
    """The write side of the record; one owner, one thread. Books: of closed batches, which `load` leaves out."""

    def load(self) -> Loaded:
        """The state to start from, without `last_site`."""
        ...

    def last_site(self) -> SiteThen | None:
        """What was written down last of what looks at which machine. By itself, for nothing is judged by it. Raises StoreFailure."""
        ...

    def commit(self, group: Group) -> None:
        """Write the group in one durable transaction. Raises StoreFailure; then nothing of it is written."""
        ...


@fixed
class Series:
    """Readings of one probe in time order, raw: at_ms int64; dry_bulb_c, rh_pct float64 (NaN where missing); flag of the dry bulb
    and rh_flag of the humidity int64."""

    at_ms: Integers
    dry_bulb_c: Floats
    rh_pct: Floats
    flag: Integers
    rh_flag: Integers


@fixed
class TransitionRow:
    """One transition as the record keeps it."""

    id: int
    at: datetime
    subject: str
    rule: str
    number: int
    episode: int
    state_before: str
    state: str
    cause: str
    value: float | None
    worst: float | None
    limit: float | None
    since: datetime | None
    who: str


@fixed
class NoticeRow:
    """One notice with what became of it."""

    notice: Notice
    state: str  # 'waiting', 'sent', 'failed', 'cancelled'
    attempts: int
    last_detail: str
    last_at: datetime | None


@fixed
class Latest:
    """A probe's newest reading in the record, raw."""

    probe: str
    at: datetime
    dry_bulb_c: float | None
    rh_pct: float | None
    flag: int
    rh_flag: int = MISSING


@fixed
class LastAlive:
    """When a daemon was last known to run. stopped: whether it was stopped then, and not cut off some time after."""

    at: datetime
    stopped: bool


@fixed
class Written:
    """How much is written about a batch's eggs: the number of its newest entry, and when that which was written last was."""

    entries: int
    at: datetime


class AirRecord(Books, Protocol):
    """The air that eggs were in, and their books: what their loss of water is worked out from."""

    def series(self, probe: str, since: datetime, until: datetime) -> Series:
        """Readings of one probe with since <= label < until."""
        ...

    def calibrations(self) -> list[Calibration]:
        """Every calibration, in the order they were added."""
        ...

    def sites(self) -> list[SiteThen]:
        """What looked at which machine, each time it was written down, in order."""
        ...


class BatchRecord(AirRecord, Protocol):
    """What the reports of one batch ask for. The record answers it, and so does an archive, of its own batch."""

    def events(
        self,
        since: datetime | None = None,
        limit: int = 1000,
        *,
        until: datetime | None = None,
        subject: str | None = None,
    ) -> list[Event]:
        """The newest `limit` events with since <= at < until, oldest first."""
        ...

    def handlings(self, since: datetime | None = None, until: datetime | None = None) -> list[Handling]:
        """Every handling that ended at `since` or later and began before `until`, oldest first; until_mono_s is 0."""
        ...


class Kept(Protocol):
    """The files that were put beside entries."""

    def file(self, sha256: str) -> bytes | None:
        """What is in a file; None where it is not kept, or was lost."""
        ...


class SeasonRecord(BatchRecord, Protocol):
    """What reports ask for that set batches side by side: only a whole record has the others too."""

    def batches(self) -> list[Batch]:
        """Every batch, in the order they were set."""
        ...


class Rung(Protocol):
    """What rang."""

    def transitions(
        self, since: datetime | None = None, subject: str | None = None, *, until: datetime | None = None
    ) -> Iterator[TransitionRow]:
        """Transitions in order, with since <= at < until."""
        ...


class RungRecord(BatchRecord, Rung, Protocol):
    """What the page of one batch asks for: its record, and what rang. An archive answers it as well."""


class ReviewRecord(SeasonRecord, Rung, Protocol):
    """What a review asks for: batches side by side, and the alarms of one."""


@fixed
class Labelled:
    """How the readings of a node were dated for a while. basis: by its counted seconds, its own clock, or their arrival (`readings/dating`);
    trusted: whether our own clock was right then."""

    basis: str
    trusted: bool


class SheetRecord(ReviewRecord, Kept, Protocol):
    """What the sheet of one egg asks for: its review, the files beside its entries, and how sure its times are."""

    def labelled(self, node: str, since: datetime, until: datetime) -> list[Labelled]:
        """How a node's readings in a time were dated, each way once."""
        ...


class Watched(Rung, Protocol):
    """What the watch did, and what it could not do: alarms, messages, and what of the nodes' messages is missing."""

    def alarms(self) -> list[Alarm]:
        """The last facts of each alarm that ever was."""
        ...

    def notices(self, limit: int = 100, *, numbers: Collection[int] | None = None) -> list[NoticeRow]:
        """The newest notices, newest first; numbers: only those about these alarms."""
        ...

    def last_alive(self) -> LastAlive | None:
        """When a daemon last wrote what only a running one writes; None where none ever did."""
        ...

    def gaps(self) -> list[Gap]:
        """Messages that are missing or given up, by node and boot."""
        ...


class Arrivals(Protocol):
    """What came over the wire: the newest of each probe, and what is nobody's."""

    def latest(self, probes: Sequence[str]) -> list[Latest]:
        """The newest reading of each probe that has one: one seek a probe."""
        ...

    def refused(self, limit: int = 100) -> tuple[int, list[RefusedRow]]:
        """How many were ever refused, and the newest that are kept, newest first."""
        ...

    def unknown(self) -> list[Unknown]:
        """Probes that nobody configured."""
        ...


class Record(SheetRecord, Watched, Arrivals, Protocol):
    """The read side of the record, whole; any number of them, none can hold up the writer."""

    def written(self) -> dict[str, Written]:
        """How much is written about each batch's eggs, by batch; nothing of one of which nothing is."""
        ...


@fixed
class WeightVerdict:
    """What the weighings of a batch say. off: whether its loss at pip will be outside the window, None while nobody can say; about: what of it is told."""

    off: bool | None
    about: About


@fixed
class WeightAsked:
    """A batch whose weights are to be judged. revision: how often what is written bore on them, so that an answer that is outdated is known."""

    batch: str
    revision: int


@fixed
class Contact:
    """Whom to tell. url is a secret, and so are those of single priorities, in place of it."""

    id: str
    name: str
    url: str = field(repr=False)
    urls: Mapping[str, str] = field(default_factory=dict, repr=False)
    hearing: Hearing = EVERYTHING

    def url_for(self, notice: Notice) -> str:
        """Where a notice goes. An end has the contact's own address: it is good news, and belongs to where the beginning may have come."""
        return self.url if notice.closing else self.urls.get(notice.priority, self.url)

    def addresses(self) -> tuple[str, ...]:
        """All of them; its own comes first."""
        return (self.url, *self.urls.values())


@fixed
class Delivered:
    """The service accepted the message. Accepted is not heard: only a person's acknowledgement ends an episode."""

    detail: str = ""


@fixed
class TryLater:
    """It may go through later: no network, a busy or failing service, an answer that is not the service's own."""

    detail: str


@fixed
class GiveUp:
    """It will never go through: an address the library does not know."""

    detail: str


Outcome = Delivered | TryLater | GiveUp


class Words(Protocol):
    """What puts notices, alarms and what was done into words, in one language. Pure: the same facts give the same words."""

    def word(self, notice: Notice) -> Notice:
        """The notice with its title and text, as it is told by itself."""
        ...

    def about(self, about: About) -> str:
        """What an alarm is about."""
        ...

    def happened(self, what: Happened) -> str:
        """What happened, as the record and an answer keep it: in °C and UTC."""
        ...

    def cause(self, cause: Cause) -> str:
        """Why an alarm's state changed, as the record keeps it."""
        ...

    def calibration(self, calibration: Calibration) -> str:
        """What a calibration corrects, as the record keeps it: in °C."""
        ...

    def join(self, notices: Sequence[Notice], told: Sequence[Notice] = ()) -> Notice:
        """One notice that tells all of them (at least one). told: what the contact was told lately, oldest first."""
        ...


class Delivery(Protocol):
    """One attempt to send one notice to one contact, with its own timeout. Never raises for a neighbour's failure."""

    def send(self, notice: Notice, contact: Contact) -> Outcome:
        """One attempt."""
        ...

    def problem(self, url: str) -> Refusal | None:
        """Why this address cannot be used at all, with the secret masked; None when the library knows it."""
        ...


Receipt = tuple[int, int]  # the connection's generation and the broker's packet id
TellAnswered = Callable[[Sequence[Answered]], None]
TellLive = Callable[[Sequence[Live]], None]
GiveReceipts = Callable[[Sequence[Receipt]], None]
AskWeights = Callable[[Sequence[WeightAsked]], None]
TellStored = Callable[[Sequence[tuple[str, int, int]]], None]  # (node, boot, contiguous seq)
