"""A notice: one message to one contact about one transition. It carries facts; words are made of them last (`shown/phone/notices.py`)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime

from monitor.domain.alarms.about import About, Moving
from monitor.domain.alarms.alarm import STILL_STANDING, SUPPRESSED, Alarm, Transition
from monitor.domain.alarms.out import Out
from monitor.domain.fixed import fixed
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB, Needs
from monitor.domain.needs.batch import batch_of, whole_day
from monitor.domain.needs.profile import Band

LOOK = "look"  # at an egg, or a batch, as somebody asked to be reminded
COOL = "cool"  # the eggs of a batch, or of a machine, as somebody declared for each day
QUANTITIES = (DRY_BULB, RH, WET_BULB, EGG)


@fixed
class Told:
    """A batch that a notice is about, as it was when the notice was made; day: whole days since it was set."""

    batch: str
    day: int
    stage: str


@fixed
class Reach:
    """How far the messages of one episode came to one contact: when the last got through; since when one does not. None: none did; none waits."""

    contact: str
    told: datetime | None = None
    unheard_since: datetime | None = None


@fixed
class Answered:
    """Nobody is to be told of an episode any more: of its notices up to this id. seen: a person has answered; else it is over, and was mild."""

    number: int
    upto: int
    seen: bool = False


@fixed
class Facts:
    """What one notice tells.

    subject: the machine, probe, node, batch or egg it is about, or the site. still: it only says again what stands.
    unjudged: why it is no longer judged; empty where it is. Of what stands, `over` is False and `unjudged` empty.
    quantity: what value (the newest), worst, limit and band are of, °C or %RH; empty where none is told, then `about` may be what it is
    about. since: when the condition began; ended: when it passed.
    batches: those that it is about. place: the machine that a batch or its egg is in. doubtful: a sensor behind it may be wrong.
    move: what is to be moved before anything else; None: the rule's own first act stands.
    reached: of a reminder, who was told, and who could not be.
    respond_min: minutes from the alarm to the harm, of what is medium: it may wait for a contact's hours.
    times: how often it came, of what comes and goes; 0 of anything else.
    out: whether it is out of service, and until when; None: until somebody puts it back.
    range_c: between which temperatures an estimated value may be. of_hens: the limit is published of hens alone, and it is told of other birds.
    """

    subject: str
    rule: str
    still: bool = False
    over: bool = False
    unjudged: str = ""
    quantity: str = ""
    value: float | None = None
    worst: float | None = None
    limit: float | None = None
    band: Band | None = None
    since: datetime | None = None
    ended: datetime | None = None
    about: About = ""
    batches: tuple[Told, ...] = ()
    place: str = ""
    doubtful: bool = False
    move: Moving | None = None
    of_hens: bool = False
    range_c: tuple[float, float] | None = None
    reached: tuple[Reach, ...] = ()
    respond_min: float | None = None
    times: int = 0
    out: bool = False
    out_until: datetime | None = None

    @property
    def tells_value(self) -> bool:
        """Whether a value of the air, or of the eggs in it, is told."""
        return self.value is not None and bool(self.quantity) and not self.unjudged


@fixed
class Task:
    """Something to be done today. kind: as in `eggs/dates.py`, LOOK or COOL; batch: of COOL it may be a machine. egg: of one egg alone."""

    kind: str
    batch: str
    at: datetime
    egg: int | None = None


@fixed
class Standing:
    """What is low and stands, with the number to answer with."""

    number: int
    facts: Facts


@fixed
class Today:
    """What a contact is told once a day: what is to be done on that day, and what is low and stands, the oldest first; and what is out of
    service as a whole."""

    tasks: tuple[Task, ...] = ()
    standing: tuple[Standing, ...] = ()
    out: tuple[Out, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.tasks or self.standing or self.out)

    def without(self, numbers: Collection[int]) -> Today:
        """The same but for these alarms."""
        return replace(self, standing=tuple(each for each in self.standing if each.number not in numbers))


@fixed
class Notice:
    """It lives in the outbox until delivered.

    id grows by one for each notice. dedupe names the transition, the contact and the step, so meeting it twice changes
    nothing. closing is True for "back to normal". title and text: its words when it is told by itself, as the record keeps them;
    empty until they are made. facts: None of what is about no alarm, and of what an older program wrote: it has its words alone.
    late: it closes an episode whose beginning was never told. as_of: when its facts were so, where it waited and they are newer than itself. today: of a day's summary, what it says; it is about no alarm.
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
    facts: Facts | None = None
    late: bool = False
    today: Today | None = None
    as_of: datetime | None = None

    @property
    def told_at(self) -> datetime:
        """The instant at which what it says is so."""
        return self.as_of or self.created


@fixed
class Live:
    """What stands of an episode that somebody is still to be told of, as it is at an instant."""

    number: int
    facts: Facts
    at: datetime


def quantity_of(about: About) -> str:
    """The quantity that an alarm's value is of; empty where it is about something else."""
    return about if isinstance(about, str) and about in QUANTITIES else ""


def of_hens(alarm: Alarm, needs: Needs | None) -> bool:
    """Whether the limit of an alarm is published of hens alone, and it is told of other birds. needs: of the machine that it is about."""
    return needs is not None and needs.of_hens and alarm.limit == needs.lethal_c and alarm.about == DRY_BULB


def facts_of(transition: Transition, needs: Needs | None, doubtful: bool = False) -> Facts:
    """What a transition tells. needs: of the machine that it is about, with the batches that it is about; None where there is none."""
    alarm = transition.alarm
    quantity = quantity_of(alarm.about)
    bands = {} if needs is None else {DRY_BULB: needs.dry_bulb_c, RH: needs.rh_pct, WET_BULB: needs.wet_bulb_c}
    unjudged = alarm.suppressed if transition.state == SUPPRESSED else ""
    return Facts(
        subject=alarm.subject,
        rule=alarm.rule,
        still=alarm.condition and not unjudged and transition.cause == STILL_STANDING,
        over=not alarm.condition and not unjudged,
        unjudged=unjudged,
        quantity=quantity,
        value=alarm.value,
        worst=alarm.worst,
        limit=alarm.limit,
        band=bands.get(quantity),
        since=alarm.since,
        ended=alarm.ended,
        about="" if quantity else alarm.about,
        batches=() if needs is None else tuple(Told(o.batch, whole_day(o.day), o.stage) for o in needs.occupants),
        place="" if needs is None or not batch_of(alarm.subject) else needs.machine,
        doubtful=doubtful,
        of_hens=of_hens(alarm, needs),
        times=alarm.times if alarm.chattering and alarm.condition else 0,
    )
