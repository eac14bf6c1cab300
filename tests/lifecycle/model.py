"""What the alarms of a small house must do: a second, independent telling of the life-cycle, for the engine to be held against.

It is written from ANSI/ISA-18.2 / IEC 62682 and from what a breeder is promised, not from `monitor/domain/alarms/alarm.py`:

- An alarm is normal, unacknowledged, acknowledged, or returned to normal and unacknowledged; over these lie a person's shelf, a machine
  without eggs (suppressed by design), and out of service. What lies over it does not stop it: its condition is followed on.
- It comes once every fresh look over the on-delay said "out", and goes once every look over the off-delay said "well within": back by
  the deadband (reset only), which is at most a quarter of the band. A look in between is neither, and begins the count anew.
- A shelf ends after its time. What comes out of a shelf, or back into service, and still stands is unacknowledged; out of a shelf by itself it
  is told only where nothing says it already, and what was ever answered counts as seen where it is well at the moment, or was told again
  since it was first answered: then it asks in the steps of an answer alone.
- Of one cause one alarm is told: a warning does not begin while the alarm of its side stands, nor a humidity alarm while the machine is
  far too hot or cold, nor a silent probe while every node is silent. It must have outlasted the other by its own on-delay.
- What nobody answered is told again after the rule's re-alarm time, three times as soon, then after twice as long each time, to an hour (of
  medium four), unless it is of low priority, or the phone has not got what was last said of it. What was answered asks again after its time to
  respond, then after four hours, then each eight. Neither while what is worse, or what it comes of, says it.
- Where something of a machine asks again, what else stands there that is urgent, is not well at the moment, and is in the second half of its own
  wait, asks along: what nobody answered with anything, what was answered with what was answered.
- What came three times, each within two hours of the time before, is chattering: it is over only when it was well for two hours, and while it
  is well it hides nothing and is not told again. What came a second time is over when it was well for a quarter of an hour; what comes a third
  time before that is news.
- Nothing hides a humidity longer than a third of what there is of time to respond to that.
- What was told of high or critical is closed when it is over: not while something lies over it (a shelf closes it when it ends), nor while
  something else that stands says it. Of what is milder no end is told.

Only the delays, deadbands and priorities are read from the shipped rules. Time is one clock that only goes forward, in whole seconds. No
alarm latches.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from monitor.domain.needs.rules import Rule

NORMAL = "normal"
UNACKNOWLEDGED = "unacknowledged"
ACKNOWLEDGED = "acknowledged"
RETURNED = "returned to normal, unacknowledged"
SHELVED = "shelved"
SUPPRESSED = "suppressed by design"
OUT_OF_SERVICE = "out of service"
STATES = (NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, SHELVED, SUPPRESSED, OUT_OF_SERVICE)

WITHIN, BETWEEN, OUT = "within", "between", "out"
LONGEST_SHELF_S = {"low": 8 * 3600, "medium": 2 * 3600, "high": 3600, "critical": 900}  # no shelf is permanent
SILENCE_S = 30  # three readings of a probe that speaks every ten seconds

NO_DATA, ALL_SILENT, SITE = "no-data", "all-silent", "site"
AIR = tuple(
    f"{quantity}-{side}-{level}"
    for quantity in ("dry-bulb", "humidity")
    for level in ("alarm", "warning")
    for side in ("high", "low")
)
MODELLED = frozenset({*AIR, NO_DATA, ALL_SILENT})

Key = tuple[str, str]
Band = tuple[float, float, float, float]  # low alarm, low warning, high warning, high alarm
_PLACE = {"low-alarm": 0, "low-warning": 1, "high-warning": 2, "high-alarm": 3}


@dataclass(frozen=True)
class Change:
    """One row of the story: an alarm's state before and after, and when. An episode's begin and end are rows in any state."""

    key: Key
    before: str
    after: str
    at_s: int


@dataclass(frozen=True)
class Message:
    """One notice to the phone."""

    key: Key
    closing: bool


@dataclass
class ModelAlarm:
    """One alarm's facts. counting_s: since when every look has said the opposite of `stands`. told, unheard: whether its beginning was
    told, and its end not yet; whether the phone still waits for its last message. episodes: (began, ended or None)."""

    key: Key
    rule: Rule
    stands: bool = False
    answered: bool = True
    shelf_ends_s: int | None = None
    no_eggs: bool = False
    out_of_service: bool = False
    counting_s: int | None = None
    counted: tuple[int, int] | None = None  # since when the last one ran that came to nothing, and when it did
    rested: bool = False
    asked_s: int = 0
    told: bool = False
    unheard: bool = False
    number: int = 0
    asks: int = 0
    known: bool = False
    times: int = 0
    gone_s: int | None = None
    begun_s: int = 0
    episodes: list[tuple[int, int | None]] = field(default_factory=list)

    @property
    def covered(self) -> bool:
        return self.out_of_service or self.no_eggs or self.shelf_ends_s is not None

    @property
    def state(self) -> str:
        if self.out_of_service:
            return OUT_OF_SERVICE
        if self.no_eggs:
            return SUPPRESSED
        if self.shelf_ends_s is not None:
            return SHELVED
        if self.stands:
            return ACKNOWLEDGED if self.answered else UNACKNOWLEDGED
        return NORMAL if self.answered else RETURNED

    @property
    def came_back(self) -> bool:
        return self.times >= 2

    @property
    def resting(self) -> bool:
        return self.stands and self.counting_s is not None

    @property
    def off_s(self) -> float:
        return max(self.rule.off_delay_s, {0: 0.0, 1: 0.0, 2: 900.0}.get(self.times, 7200.0))

    @property
    def asks_at_s(self) -> float:
        """When it is told again: not while it is well, unless nothing more is heard of it for as long as that takes to be over, and 900 s."""
        rests_s = 0.0 if self.counting_s is None else self.counting_s + self.off_s + 900.0
        return max(self.asked_s + self.quiet_s, rests_s)

    @property
    def quiet_s(self) -> float:
        """How long it waits before it is told again."""
        if self.rule.re_alarm_s is None:
            return 1e9
        if self.known:
            first = max(self.rule.re_alarm_s, 60 * self.rule.respond_min)
            return float(max(first, {0: 0, 1: 4 * 3600}.get(self.asks, 8 * 3600)))
        soon = self.gone_s is not None and 0 <= self.begun_s - self.gone_s <= 7200  # its first minutes it has had
        first, doubled = self.rule.re_alarm_s, max(0, self.asks - (0 if soon else 2))
        most = {"low": 86_400, "medium": 14_400}.get(self.rule.priority, 3600)
        return float(max(first, min(most, first * 2 ** min(doubled, 10))))

    @property
    def urgent(self) -> bool:
        return self.rule.priority in ("high", "critical")


@dataclass
class Model:
    """The house. machines: the probe in each."""

    rules: Mapping[str, Rule]
    machines: Mapping[str, str]
    now_s: int = 0
    started_s: int = 0
    bands: dict[str, tuple[Band, Band] | None] = field(default_factory=dict)  # machine: dry bulb, humidity
    life_s: dict[str, int] = field(default_factory=dict)  # probe: when it was last heard
    alarms: dict[Key, ModelAlarm] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    unseen: list[Change] = field(default_factory=list)  # ends under a cover, because the machine was emptied
    messages: list[Message] = field(default_factory=list)
    perhaps: list[Message] = field(default_factory=list)  # that may be told or not

    # --- what happens in the house

    def tick(self) -> None:
        """Passing time: silence, shelves, what asks again."""
        silent = [p for p in self.machines.values() if self._silent_s(p) > SILENCE_S]
        self._look((SITE, ALL_SILENT), OUT if len(silent) == len(self.machines) else WITHIN)
        for probe in silent:
            self._look((probe, NO_DATA), OUT)
        anew: list[ModelAlarm] = []
        unseen: list[ModelAlarm] = []
        for alarm in self.alarms.values():
            if alarm.shelf_ends_s is not None and self.now_s >= alarm.shelf_ends_s:
                self._lift(alarm, "shelf_ends_s", None, asks=True)
            elif alarm.stands and not alarm.covered and self.now_s >= alarm.asks_at_s:
                (anew if alarm.answered else unseen).append(alarm)
                self._ask_again(alarm)
        of_the_answered = {self._place(a.key) for a in anew if not self._said_elsewhere(a.key)}
        of_all = of_the_answered | {self._place(a.key) for a in unseen if not self._said_elsewhere(a.key)}
        for answered, places in ((True, of_the_answered), (False, of_all)):
            for alarm in self.alarms.values():
                if alarm.answered is answered and self._place(alarm.key) in places - {None} and self._may_ask(alarm):
                    self._ask_again(alarm)

    def reading(self, machine: str, dry_bulb_c: float, rh_pct: float | None, fit: bool = True) -> None:
        """A probe speaks. fit: False when its value waits for the next to be believed, and is only a sign of life."""
        probe = self.machines[machine]
        steady = probe in self.life_s and self.now_s - self.life_s[probe] <= SILENCE_S
        self.life_s[probe] = self.now_s
        self._look((SITE, ALL_SILENT), WITHIN)
        if steady:  # one reading after a long silence may be the last for as long
            self._look((probe, NO_DATA), WITHIN)
        bands = self.bands.get(machine)
        if bands is None or not fit:
            return
        for quantity, band, value in (("dry-bulb", bands[0], dry_bulb_c), ("humidity", bands[1], rh_pct)):
            if value is not None:
                for level in ("high-alarm", "low-alarm", "high-warning", "low-warning"):
                    rule = self.rules[f"{quantity}-{level}"]
                    self._look((machine, rule.id), verdict(value, band, level, rule.deadband))

    def needs(self, machine: str, bands: tuple[Band, Band] | None) -> None:
        """What is in the machine has changed: its bands now, None when no eggs are in it."""
        had, self.bands[machine] = self.bands.get(machine), bands
        said = {a.key for a in self._of(machine) if self._said_elsewhere(a.key)}
        for alarm in self._of(machine):
            if bands is None and alarm.stands:
                before = alarm.state
                alarm.stands, alarm.no_eggs, alarm.rested = False, True, False
                self._ended(alarm)
                self._changed(alarm, before, turned=True, may_be_silent=alarm.key in said)
            elif bands is not None and alarm.no_eggs:
                self._lift(alarm, "no_eggs", False)
            if (bands is None or had is None) and alarm.counting_s is not None:
                alarm.counted, alarm.counting_s = (alarm.counting_s, self.now_s), None  # nobody looked meanwhile

    def acknowledge(self, alarm: ModelAlarm) -> bool:
        """Whether it could be acknowledged; so with the other requests."""
        if alarm.answered or alarm.covered:
            return False
        before = alarm.state
        alarm.answered, alarm.asked_s = True, self.now_s
        alarm.asks = alarm.asks if alarm.known else 0
        alarm.known = True
        self._changed(alarm, before)
        return True

    def shelve(self, alarm: ModelAlarm, for_s: int) -> bool:
        if not 0 < for_s <= LONGEST_SHELF_S[alarm.rule.priority]:
            return False
        before = alarm.state
        alarm.shelf_ends_s = self.now_s + for_s
        self._changed(alarm, before)
        return True

    def unshelve(self, alarm: ModelAlarm) -> bool:
        if alarm.shelf_ends_s is None:
            return False
        self._lift(alarm, "shelf_ends_s", None)
        return True

    def service(self, alarm: ModelAlarm, out: bool) -> bool:
        if out and not alarm.out_of_service:
            before = alarm.state
            alarm.out_of_service = True
            self._changed(alarm, before)
        elif not out and alarm.out_of_service:
            self._lift(alarm, "out_of_service", False)
        return True

    def heard(self) -> None:
        """The phone has got everything."""
        for alarm in self.alarms.values():
            alarm.unheard = False

    # --- what follows

    def _look(self, key: Key, said: str) -> None:
        """One fresh look at one alarm's limit."""
        alarm = self.alarms.get(key)
        if alarm is None:
            if said != OUT:
                return
            alarm = self.alarms[key] = ModelAlarm(key, self.rules[key[1]])
        well_s = -1 if alarm.counting_s is None else self.now_s - alarm.counting_s
        if alarm.stands and alarm.came_back and well_s >= alarm.rule.off_delay_s:
            alarm.rested = True  # however slowly it goes out again
        if said == OUT and alarm.rested:
            alarm.times += 1
            alarm.rested = False
            if alarm.times == 3 or (
                alarm.times > 3 and not alarm.told
            ):  # comes and goes: news, whoever had answered it
                before = alarm.state
                alarm.answered = alarm.known = False
                alarm.asks, alarm.asked_s = 0, self.now_s
                self._changed(alarm, before)
                if before == alarm.state == UNACKNOWLEDGED:
                    self._say(alarm, closing=False)
        if said != (WITHIN if alarm.stands else OUT) or (not alarm.stands and self._said_elsewhere(key)):
            if alarm.counting_s is not None:
                alarm.counted, alarm.counting_s = (alarm.counting_s, self.now_s), None
            return
        if alarm.counting_s is None:
            alarm.counting_s = self.now_s
        if self.now_s - alarm.counting_s < (alarm.off_s if alarm.stands else alarm.rule.on_delay_s):
            return
        before = alarm.state
        alarm.counting_s = None
        alarm.stands = not alarm.stands
        if alarm.stands:
            alarm.answered, alarm.asked_s = False, self.now_s
            alarm.told = alarm.unheard = alarm.known = False
            alarm.asks, alarm.begun_s = 0, self.now_s
            alarm.times = alarm.times + 1 if alarm.gone_s is not None and self.now_s - alarm.gone_s <= 7200 else 1
            alarm.episodes.append((self.now_s, None))
        else:
            alarm.gone_s = self.now_s
            alarm.rested = False
            self._ended(alarm)
        self._changed(alarm, before, turned=True)

    def _place(self, key: Key) -> str | None:
        """The machine that an alarm is about."""
        of_probes = {probe: machine for machine, probe in self.machines.items()}
        return key[0] if key[0] in self.machines else of_probes.get(key[0])

    def _may_ask(self, alarm: ModelAlarm) -> bool:
        """Whether it may ask before its time, with another one of its machine."""
        ready = alarm.stands and not alarm.covered and not alarm.resting and alarm.urgent
        return ready and 2 * (self.now_s - alarm.asked_s) >= alarm.quiet_s and not self._said_elsewhere(alarm.key)

    def _ask_again(self, alarm: ModelAlarm) -> None:
        before = alarm.state
        alarm.asked_s, alarm.asks = self.now_s, alarm.asks + 1
        if alarm.answered:
            alarm.answered = False
            self._changed(alarm, before, asks=True)
        elif alarm.rule.priority != "low" and not alarm.unheard and not self._said_elsewhere(alarm.key):
            self._say(alarm, closing=False)

    def _lift(self, alarm: ModelAlarm, what: str, to: object, *, asks: bool = False) -> None:
        """Something no longer lies over it. asks: it came off by itself, so what says it already says it."""
        before = alarm.state
        setattr(alarm, what, to)
        quiet = asks and alarm.known and (alarm.asks > 0 or alarm.resting)
        if quiet and alarm.stands and not alarm.covered:
            alarm.answered = True  # whoever shelved it again has seen it
        elif alarm.stands and not alarm.covered:
            alarm.answered, alarm.asked_s = False, self.now_s
            alarm.asks += 1 if asks and alarm.known else 0
        self._changed(alarm, before, asks=asks)

    def _ended(self, alarm: ModelAlarm) -> None:
        alarm.episodes[-1] = (alarm.episodes[-1][0], self.now_s)

    def _changed(
        self, alarm: ModelAlarm, before: str, *, turned: bool = False, may_be_silent: bool = False, asks: bool = False
    ) -> None:
        """turned: an episode began or ended, which is a row of the story even where the state stays what it was.

        may_be_silent: what says it ends at this same instant, so one closing message is as good as two.
        """
        after = alarm.state
        if before == after and not turned:
            return
        hidden = before == after and alarm.no_eggs
        (self.unseen if hidden else self.changes).append(Change(alarm.key, before, after, self.now_s))
        if after == UNACKNOWLEDGED and not (asks and self._said_elsewhere(alarm.key)):
            self._say(alarm, closing=False)
        over = after in (NORMAL, RETURNED) and before in (UNACKNOWLEDGED, ACKNOWLEDGED, SHELVED)
        over = over or (after == SUPPRESSED and before in (UNACKNOWLEDGED, ACKNOWLEDGED))
        if over and alarm.told:
            alarm.told = False
            if not alarm.urgent:
                return  # it woke nobody
            if may_be_silent:
                self.perhaps.append(Message(alarm.key, True))
            elif not self._said_elsewhere(alarm.key):
                self._say(alarm, closing=True)

    def _say(self, alarm: ModelAlarm, closing: bool) -> None:
        alarm.told = not closing
        alarm.unheard = True
        self.messages.append(Message(alarm.key, closing))

    def _said_elsewhere(self, key: Key) -> bool:
        subject, rule = key
        if rule == NO_DATA:
            return self._tells((SITE, ALL_SILENT))
        hidden_s = 20 * self.rules[rule].respond_min
        for side in ("high", "low"):
            by = (subject, f"dry-bulb-{side}-alarm")
            if rule.startswith("humidity-") and self._tells(by) and self.now_s - self.alarms[by].begun_s <= hidden_s:
                return True
        return rule.endswith("-warning") and self._tells((subject, rule.replace("-warning", "-alarm")))

    def _tells(self, key: Key) -> bool:
        other = self.alarms.get(key)
        return (
            other is not None
            and other.stands
            and not ((other.came_back and other.resting) or other.no_eggs or other.out_of_service)
        )

    def _silent_s(self, probe: str) -> int:
        return self.now_s - max(self.life_s.get(probe, self.started_s), self.started_s)

    def _of(self, machine: str) -> Iterator[ModelAlarm]:
        return (alarm for (subject, rule), alarm in self.alarms.items() if subject == machine and rule in AIR)


def verdict(value: float, band: Band, level: str, deadband: float) -> str:
    """What one look says of one limit. The deadband is cut to a quarter of the band between the warnings."""
    limit = band[_PLACE[level]]
    back = min(deadband, (band[2] - band[1]) / 4)
    beyond = value - limit if level.startswith("high") else limit - value
    return OUT if beyond > 0 else BETWEEN if beyond > -back else WITHIN
