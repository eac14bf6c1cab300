"""The real engine in a small house of its own clocks, and beside it the model, told the same: two machines, a probe each.

What is kept simple, so that the model may be small:

- Air moves by at most 0.3 K or 0.3 %RH from one reading to the next, so that no reading waits to be believed, and no vapour is gone as fast as
  through a door; and only one of the two moves within three minutes, so that nothing looks like an opened door. Of eggs that are set and moved the
  daemon forgets at once that somebody was at the machines. The air is never quite still, so that no sensor passes for one that hangs.
- The profile is invented, its humidity in %RH. Eggs are young, and no clock step takes a batch to its lockdown by itself; a stage is
  declared. The time to settle is longer than any sequence: the lockdown limits of low humidity, and "humidity not raised", stay out.
- node-a counts its messages and its seconds, so its very first reading, and perhaps the first after a restart in a
  long silence or an unheard clock step, proves nothing and is judged by nobody; node-b is of another make.
- Only the rules of `model.MODELLED` are compared. Others (heading, what the eggs feel) come as they like and silence none of these.

A restart is a stop and a new engine on the same record. The forward clock of the new one goes on from the memory's instant, as the
daemon makes it. A crash is a new engine
without the stop: what was committed stands, and delays that were running may have begun anew.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from monitor.adapters.clock import SystemClock
from monitor.adapters.requests import read_request
from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.alarms.alarm import Alarm, Transition, state_of
from monitor.domain.alarms.notice import Notice
from monitor.domain.needs.profile import Band as ProfileBand
from monitor.domain.needs.profile import Profile, Stage
from monitor.domain.needs.rules import Rule
from monitor.domain.needs.site import Machine, Probe, Site, grouped
from monitor.domain.readings.reading import Now, Pack, Sample, to_ms
from monitor.domain.signs.opening import holds
from monitor.domain.state.known import State
from monitor.domain.state.record import Attempt, Group
from monitor.service.ports import Ledger, Loaded
from monitor.service.watch.engine import SOON_S, Engine, start_state
from monitor.service.watch.inbox import Arrived, Asked, Attempted, Item, Stop
from monitor.shown.phone.joined import NoticeWords
from tests.lifecycle.known import KNOWN, UNWRITTEN
from tests.lifecycle.model import MODELLED, NORMAL, Band, Change, Key, Message, Model, ModelAlarm

T0 = datetime(2026, 3, 10, 8, 0, tzinfo=UTC)
PHONE = "sam"
PUTS_IN = ("batch-add", "move", "close")  # requests after which eggs were put in, or taken out
PROBES = {"setter-1": "node-a/top", "hatcher-1": "node-b/air"}
# The setter's is narrow, so that the deadband is cut; lockdown's warnings are the wider, for while the air settles the wider ones hold.
DRY_BULB = {"setter": (36.0, 37.0, 37.6, 39.0), "lockdown": (35.5, 37.0, 38.0, 38.6)}
# The low ones have time to settle.
HUMIDITY = {"setter": (30.0, 40.0, 60.0, 70.0), "lockdown": (30.0, 40.0, 80.0, 90.0)}
STEP_K, STEP_PCT, ONE_AT_A_TIME_S = 0.3, 0.3, 180
BOOT_S = 100  # node-a had been on for so long


def _profile() -> Profile:
    stages = []
    for name, from_day in (("setter", 0.0), ("lockdown", 18.0)):
        low_alarm, low, high, high_alarm = DRY_BULB[name]
        dry_low = 20.0 if name == "lockdown" else 0.0  # what would be due once settled
        rh = HUMIDITY[name]
        stages.append(
            Stage(
                name,
                from_day,
                ProfileBand(low_alarm, low, (low + high) / 2, high, high_alarm),
                ProfileBand(rh[0] + dry_low, rh[1] + dry_low, None, rh[2], rh[3]),
            )
        )
    return Profile("bird", "Bird", "Avis probata", 21.0, 20.0, 22.0, 18.0, tuple(stages))


def _of_single_readings(rules: Mapping[str, Rule]) -> dict[str, Rule]:
    """The rules, with each limit judged by single readings: what a mean of the air does is tested beside it (`signs/lately`)."""
    return {id_: replace(rule, over_s=0.0, sensor_error=0.0) if rule.level else rule for id_, rule in rules.items()}


def _site() -> Site:
    probes = {key: Probe(key, machine, 10.0) for machine, key in PROBES.items()}
    return Site(
        id="home",
        zone=UTC,
        unit="C",
        pressure_kpa=101.325,
        machines={"setter-1": Machine("setter-1", "Setter"), "hatcher-1": Machine("hatcher-1", "Hatcher", "hatcher")},
        probes=probes,
        profiles={"bird": _profile()},
        rules=_of_single_readings(shipped_rules()),
        contacts=(PHONE,),
        settle_s=100 * 86_400.0,
        by_machine=grouped(probes, "machine"),
        by_node=grouped(probes, "node"),
    )


SITE = _site()


class Watched:
    """A ledger that also hands over what each commit holds."""

    def __init__(self, ledger: Ledger, seen: Callable[[Group], None]) -> None:
        self._ledger, self._seen = ledger, seen

    def load(self) -> Loaded:
        return self._ledger.load()

    def commit(self, group: Group) -> None:
        self._ledger.commit(group)
        self._seen(group)

    def __getattr__(self, name: str) -> Any:
        """Whatever else a ledger is asked for."""
        return getattr(self._ledger, name)


class Air:
    """One machine's air on its way to where it is wanted."""

    def __init__(self) -> None:
        self.dry_bulb_c = self.wanted_c = 37.5
        self.rh_pct = self.wanted_pct = 50.0
        self._moved = {"dry_bulb": -ONE_AT_A_TIME_S, "rh": -ONE_AT_A_TIME_S}
        self._count = 0

    def now(self, at_s: int, moves: bool = True) -> tuple[float, float]:
        """The air of the next reading."""
        self._count += 1
        if not moves:
            pass
        elif self.dry_bulb_c != self.wanted_c and at_s - self._moved["rh"] >= ONE_AT_A_TIME_S:
            self.dry_bulb_c = _towards(self.dry_bulb_c, self.wanted_c, STEP_K)
            self._moved["dry_bulb"] = at_s
        elif self.rh_pct != self.wanted_pct and at_s - self._moved["dry_bulb"] >= ONE_AT_A_TIME_S:
            self.rh_pct = _towards(self.rh_pct, self.wanted_pct, STEP_PCT)
            self._moved["rh"] = at_s
        ripple = 0.01 if self._count % 2 else -0.01
        return round(self.dry_bulb_c + ripple, 3), round(self.rh_pct + 10 * ripple, 3)


def _towards(value: float, wanted: float, step: float) -> float:
    return wanted if abs(wanted - value) <= step else round(value + (step if wanted > value else -step), 3)


class Batch:
    """A batch as the person knows it: where, which stage, and the newest label under which anything was said of it."""

    def __init__(self, id_: str, machine: str, set_at: datetime) -> None:
        self.id, self.machine, self.set_at, self.said_at, self.stage = id_, machine, set_at, set_at, "setter"


class Room:
    """See the module. Every method does one thing to both, and fails where they differ."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = Watched(ledger, self._committed)
        self.model = Model(SITE.rules, PROBES)
        self.t_s = 0  # since T0, of the clock that only goes forward
        self.engine: Engine
        self.proven: bool | None
        self._ticked_s: int | None
        self.label_ahead = timedelta(0)
        self.air = {machine: Air() for machine in PROBES}
        self.speaks = dict.fromkeys(PROBES, True)
        self.phone_up = True
        self.batches: dict[str, Batch] = {}
        self.outbox: list[Notice] = []
        self.transitions: list[Transition] = []
        self.notices: list[Notice] = []
        self.last_row: dict[Key, tuple[Any, ...]] = {}  # state, episode, condition
        self.numbers: dict[int, Key] = {}
        self.told: dict[int, list[Notice]] = {}
        self.happened: Counter[str] = Counter()
        self.seq = 0
        self.died_s = 0
        self.since_crash = dict.fromkeys(PROBES, 99)
        self.begin()

    # --- clocks

    def label(self) -> datetime:
        return T0 + timedelta(seconds=self.t_s) + self.label_ahead

    def now(self) -> Now:
        return self.clock.now()

    def _clock(self, loaded: Loaded) -> SystemClock:
        """The clock as the daemon makes it for a new run, on a machine that counts t_s and whose label is right."""
        after = None if loaded.memory is None else (loaded.memory.mono_s, loaded.memory.at)
        return SystemClock(
            loaded.newest, after=after, synchronised=lambda: True, mono_s=lambda: self.t_s, utc=self.label
        )

    def step_clock(self, by: timedelta) -> None:
        """Someone sets the label clock. The engine sees it at its next look, a second later."""
        self.happened["clock steps"] += 1
        self.stepped = True
        self.label_ahead += by
        self.t_s += 1
        self.idle()

    def pass_time(self, for_s: int, stride_s: int = 10) -> None:
        """Readings every stride_s, and a look at the clock half-way between; nobody speaks who is silent."""
        for _ in range(for_s // stride_s):
            self.t_s += stride_s // 2
            self.idle()
            self.t_s += stride_s - stride_s // 2
            for machine in PROBES:
                if self.speaks[machine]:
                    self.reading(machine)
            self.idle()

    # --- what comes in

    def idle(self) -> None:
        """Nothing came. The engine looks at most once a second."""
        self.model.now_s = self.t_s
        if self.t_s != self._ticked_s:
            self._ticked_s = self.t_s
            self.model.tick()
        self.engine.idle(self.now())
        self.compare()

    def reading(self, machine: str) -> None:
        node, _, probe = PROBES[machine].partition("/")
        self.happened["readings"] += 1
        # A reading that proves nothing is not compared with the next, so the air waits for one that is.
        dry_bulb_c, rh_pct = self.air[machine].now(self.t_s, moves=node != "node-a" or self.proven is True)
        counted: dict[str, Any] = {}
        if node == "node-a":
            counted = {"boot": 7, "seq": self.seq, "up_s": self.t_s + BOOT_S}
            self.seq += 1
        self.work(Arrived(self.now(), Pack(node, (Sample(probe, dry_bulb_c, rh_pct),), **counted)))
        if node == "node-a" and self.proven is None:  # either way
            self.proven = self.engine._state.probe(PROBES[machine]).life_mono_s == self.now().mono_s
        if node == "node-a" and not self.proven:
            self.proven = True
        else:
            fit, rh_fit = self._fit(machine)
            self.model.reading(machine, dry_bulb_c, rh_pct if rh_fit else None, fit)
        self.compare()

    def _fit(self, machine: str) -> tuple[bool, bool]:
        """Whether the reading that just came was judged. It always is; but of the first two after a crash, one may be held as a jump."""
        self.since_crash[machine] += 1
        if self.since_crash[machine] > 2:
            return True, True
        heard = self.engine._state.probe(PROBES[machine]).heard
        if heard is None or heard.mono_s != self.now().mono_s:
            return False, False
        return True, heard.rh_pct is not None

    def ask(self, does: Callable[[], bool], **request: Any) -> bool:
        """A person's request, and whether it was met, by both alike."""
        answers: list[Mapping[str, Any]] = []
        self.work(Asked(self.now(), read_request(request), answers.append))
        if request["do"] in PUTS_IN:
            self._without_time_for_eggs()
        expected = does()
        assert len(answers) == 1, f"{request}: {len(answers)} answers"
        assert ("error" not in answers[0]) == expected, f"{request}: expected {expected}, came {answers[0]}"
        self.compare()
        return expected

    def _without_time_for_eggs(self) -> None:
        """The time that low air has after eggs were put in, or taken out, is asked in domain/watch/test_machine_air."""
        for machine in PROBES:
            self.engine._state.machine(machine).put_in_s = -math.inf

    def work(self, item: Item) -> None:
        """One item; what of time passes before it, passes for both."""
        self.idle()
        self.engine.work(item)
        self._without_time_for_doors()

    def _without_time_for_doors(self) -> None:
        """The moment that heat has after a fall is asked in domain/watch/test_machine_air_door."""
        for machine in PROBES:
            known = self.engine._state.machine(machine)
            known.watch = None if known.watch is None else replace(known.watch, dipped_s=-math.inf)

    def set_phone(self, up: bool) -> None:
        self.phone_up = up
        self._send()

    # --- eggs

    def set_eggs(self, machine: str) -> None:
        batch = Batch(f"b{len(self.batches)}", machine, self.label() - timedelta(days=3))

        def does() -> bool:
            self.batches[batch.id] = batch
            return self._refit()

        set_at = batch.set_at.isoformat()
        self.ask(does, do="batch-add", batch=batch.id, profile="bird", machine=machine, set_at=set_at)

    def move(self, batch: Batch, machine: str) -> None:
        label = self.label()

        def does() -> bool:
            if not batch.machine or batch.machine == machine or label < batch.said_at:
                return False
            batch.machine, batch.said_at = machine, label
            return self._refit()

        self.ask(does, do="move", batch=batch.id, machine=machine)

    def declare_lockdown(self, batch: Batch) -> None:
        label = self.label()

        def does() -> bool:
            if not batch.machine or batch.stage == "lockdown" or label < batch.set_at:
                return False
            batch.stage = "lockdown"
            return self._refit()

        self.ask(does, do="stage", batch=batch.id, stage="lockdown", sure=True)

    def close(self, batch: Batch) -> None:
        label = self.label()

        def does() -> bool:
            if not batch.machine or label < batch.said_at:
                return False
            batch.machine = ""
            return self._refit()

        self.ask(does, do="close", batch=batch.id)

    def _refit(self) -> bool:
        for machine in PROBES:
            inside = [b.stage for b in self.batches.values() if b.machine == machine]
            bands = (_shared([DRY_BULB[s] for s in inside]), _shared([HUMIDITY[s] for s in inside])) if inside else None
            self.model.needs(machine, bands)
        return True

    # --- runs

    def begin(self) -> None:
        """A new run on whatever the record holds."""
        loaded = self.ledger.load()
        self.clock = self._clock(loaded)
        self.stepped = False  # whether the label clock was, in this run
        now = self.now()
        self.shift_s = now.mono_s - self.t_s  # what the engine's forward clock has more than ours
        self.outbox = list(loaded.waiting)
        # What node-a counts can be dated by what the record holds of it; perhaps only by its next message, after a long silence or where
        # the label clock was stepped since.
        spoke_s = max((line.last_up_ms / 1000 - BOOT_S for line in loaded.lines if line.node == "node-a"), default=None)
        sure = spoke_s is not None and self.t_s - spoke_s <= 4000 and self.dated(committed=True)
        self.proven = False if spoke_s is None else True if sure else None
        self.engine = Engine(
            site=SITE,
            ledger=self.ledger,
            state=self._state(loaded, now),
            words=NoticeWords(SITE),
            give_receipts=lambda receipts: None,
            tell_stored=lambda rows: None,
            tell_notices=self._tell,
            show_machine=lambda machine, view: None,
            hands_on=True,
        )
        self.model.started_s = self.model.now_s = self.t_s
        self._ticked_s = None
        self._without_time_for_eggs()  # which a memory may have

    def _state(self, loaded: Loaded, now: Now) -> State:
        """As a start has it."""
        state = start_state(loaded, SITE, now)
        state.site_kept = self.ledger.last_site()
        return state

    def all_written(self) -> bool:
        """Whether the record has every alarm's facts as they are."""
        live = self.engine._state.alarms
        stored = (a for a in self.ledger.load().alarms if a.rule in MODELLED)
        return all(_facts(a) == _facts(live[a.key]) for a in stored)

    def dated(self, committed: bool) -> bool:
        """Whether node-a was heard, and that written where asked so, since the label clock was last stepped."""
        lines = (
            self.ledger.load().lines
            if committed
            else [li for n in self.engine._state.nodes.values() for p in n.lines.values() for li in p]
        )
        newest = max((line for line in lines if line.node == "node-a"), key=lambda line: line.id, default=None)
        label_ms = to_ms(self.label()) - (self.t_s + BOOT_S) * 1000
        return newest is None or (newest.trusted and abs(newest.offset_ms - label_ms) < 1000)

    def restart(self, pause_s: int) -> None:
        self.happened["restarts"] += 1
        self.work(Stop(self.now()))
        self.compare()
        self.t_s += pause_s
        self.begin()
        self.idle()

    def crash(self, pause_s: int) -> None:
        """The process is gone. Its model has what was committed, and learns from the new run which delays began anew."""
        self.happened["crashes"] += 1
        self.died_s = self.t_s
        self.t_s += pause_s
        self.begin()
        self.since_crash = dict.fromkeys(PROBES, 0)
        self._learn_delays()
        self.idle()

    def _learn_delays(self) -> None:
        """Take over from the engine what a crash may have cost, each within what it may be."""
        state, model = self.engine._state, self.model
        for key, alarm in model.alarms.items():
            live = state.alarms.get(key)
            counting = (
                None if live is None or live.pending_mono_s is None else round(live.pending_mono_s - self.shift_s)
            )
            if counting is not None:
                began = alarm.counting_s
                if began is None and alarm.counted is not None and self.died_s - alarm.counted[1] < SOON_S:
                    began = alarm.counted[0]  # which was over for too short a time to be written
                assert began is not None, f"{key}: a delay runs after the crash that did not run before it"
                assert began <= counting <= self.t_s, f"{key}: its delay began at {counting}, expected {began} or later"
            alarm.counting_s = counting
            if alarm.stands:
                assert live is not None, f"{key}: lost by the crash"
                assert live.asked_mono_s is not None, f"{key}: stands, and nothing will tell it again"
                asked = round(live.asked_mono_s - self.shift_s)
                assert asked <= self.t_s, f"{key}: last told at {asked}, which is to come"
                alarm.asked_s = asked
                assert live.asked <= alarm.asks, f"{key}: told again {live.asked} times, expected at most {alarm.asks}"
                assert alarm.answered <= live.answered, f"{key}: an answer is forgotten"
                assert live.begun_mono_s is not None, f"{key}: stands, and never began"
                alarm.asks, alarm.known, alarm.begun_s = (
                    live.asked, live.answered, round(live.begun_mono_s - self.shift_s),
                )  # fmt: skip
            if live is not None:
                assert live.rested or not alarm.rested, f"{key}: that it rested is forgotten"
                alarm.rested = live.rested
                assert live.times <= alarm.times, f"{key}: came {live.times} times, expected at most {alarm.times}"
                gone_s = live.gone_mono_s
                alarm.times, alarm.gone_s = live.times, None if gone_s is None else round(gone_s - self.shift_s)
        for key in set(state.alarms) - set(model.alarms):
            assert key[1] not in MODELLED or not state.alarms[key].condition, f"{key}: stands, and never began"
        model.life_s = {
            p: round(known.life_mono_s - self.shift_s)
            for p, known in state.probes.items()
            if known.life_mono_s is not None
        }

    # --- what comes out

    def _committed(self, group: Group) -> None:
        self.transitions += [t for t in group.transitions if t.alarm.rule in MODELLED]
        self.notices += group.notices
        for transition in group.transitions:
            self.numbers[transition.alarm.number] = transition.alarm.key

    def _tell(self, notices: Sequence[Notice]) -> None:
        self.outbox += notices

    def _send(self) -> None:
        """The phone service takes what waits."""
        while self.phone_up and self.outbox:
            notice = self.outbox.pop(0)
            self.engine.work(Attempted(self.now(), Attempt(notice.id, "sent", "", self.label(), PHONE)))
        if self.phone_up:
            self.model.heard()

    def compare(self) -> None:
        """What was written since the last look is what the model says; then the phone gets it."""
        model = self.model
        news = self.transitions or self.notices or model.changes or model.messages
        if not (news or model.unseen or model.perhaps):  # as nearly always
            self._send()
            return
        rows = [t for t in self.transitions if self._follow(t)]
        came = Counter(Change(t.alarm.key, t.state_before, t.state, round(t.mono_s - self.shift_s)) for t in rows)
        expected, unseen = Counter(model.changes), Counter(model.unseen)
        least = expected if UNWRITTEN in KNOWN else expected + unseen
        assert least <= came <= expected + unseen, f"at {self.t_s} s: engine {came}, model {expected}, unseen {unseen}"
        for change in unseen - came:
            state, episode, _ = self.last_row[change.key]
            self.last_row[change.key] = (state, episode, False)
        for transition in rows:
            self._number(transition.alarm)
        told = Counter(Message(self.numbers[n.alarm_number], n.closing) for n in self._modelled())
        wanted, perhaps = Counter(model.messages), Counter(model.perhaps)
        assert wanted <= told <= wanted + perhaps, (
            f"at {self.t_s} s: engine told {told}, model {wanted}, perhaps {perhaps}"
        )
        for notice in self.notices:
            self.told.setdefault(notice.alarm_number, []).append(notice)
        self.transitions, self.notices = [], []
        model.changes, model.unseen, model.messages, model.perhaps = [], [], [], []
        self._send()

    def _modelled(self) -> list[Notice]:
        return [n for n in self.notices if self.numbers[n.alarm_number][1] in MODELLED]

    def _follow(self, transition: Transition) -> bool:
        """Whether a row says more than that some fact under a cover has changed. Each begins where the last one ended."""
        alarm = transition.alarm
        before, *turn_before = self.last_row.get(alarm.key, (NORMAL, 0, False))
        assert transition.state_before == before, f"{alarm.key}: {before!r}, then from {transition.state_before!r}"
        turn = [alarm.episode, alarm.condition]
        self.last_row[alarm.key] = (transition.state, *turn)
        return transition.state != before or turn != turn_before

    def _number(self, alarm: Alarm) -> None:
        """A number names one episode, and is never used again."""
        model = self.model.alarms[alarm.key]
        if alarm.episode == len(model.episodes) and alarm.number != model.number:
            newest = max((a.number for a in self.model.alarms.values()), default=0)
            assert alarm.number > newest, f"{alarm.key}: number {alarm.number} after {newest}"
            model.number = alarm.number
        assert (alarm.episode, alarm.number) == (len(model.episodes), model.number), f"{alarm.key}: another episode"

    # --- what holds after every step

    def check(self) -> None:
        loaded = self.ledger.load()
        stored = {a.key: a for a in loaded.alarms if a.rule in MODELLED}
        live = {k: a for k, a in self.engine._state.alarms.items() if k[1] in MODELLED}
        for key, alarm in self.model.alarms.items():
            if key in live or alarm.episodes:
                self._check_facts(alarm, live[key])
            if alarm.episodes:
                self._check_record(alarm, stored[key])
                self._check_send_due(alarm, live[key])
        for machine in PROBES:
            watch = self.engine._state.machine(machine).watch
            assert watch is None or not holds(watch, self.now().mono_s), f"{machine}: the story looks like an opening"

    def _check_record(self, alarm: ModelAlarm, stored: Alarm) -> None:
        """The record has the state. Whether it has what lies under a cover as well is seen by what a restart makes of it."""
        assert state_of(stored) == alarm.state, f"{alarm.key}: record {state_of(stored)!r}, model {alarm.state!r}"

    def _check_facts(self, alarm: ModelAlarm, real: Alarm) -> None:
        """The separate facts are the model's, and they add up to one state."""
        facts = _facts(real)
        expected = (alarm.stands, alarm.answered, alarm.shelf_ends_s is not None, alarm.no_eggs, alarm.out_of_service)
        assert facts == expected, f"{alarm.key}: engine {facts}, model {expected}"
        assert state_of(real) == alarm.state, f"{alarm.key}: engine {state_of(real)!r}, model {alarm.state!r}"
        if alarm.shelf_ends_s is not None:
            assert real.shelved_until_mono_s is not None
            left_s = real.shelved_until_mono_s - self.now().mono_s
            assert abs(left_s - (alarm.shelf_ends_s - self.t_s)) < 1, f"{alarm.key}: its shelf ends in {left_s} s"

    def _check_send_due(self, alarm: ModelAlarm, real: Alarm) -> None:
        """An urgent alarm that nobody has acknowledged was told since it began, and will be told again within the re-alarm time."""
        if not (alarm.urgent and real.condition and not real.acknowledged and not real.covered):
            return
        rows = [n for n in self.told.get(real.number, []) if not n.closing]
        assert rows, f"{alarm.key}: unacknowledged, and nobody was told"
        assert real.asked_mono_s is not None, f"{alarm.key}: unacknowledged, and nothing will tell it again"
        due_s = real.asked_mono_s + alarm.quiet_s - self.now().mono_s
        assert due_s <= alarm.quiet_s, f"{alarm.key}: its next reminder is due in {due_s} s"
        assert due_s > 0 or self.t_s < alarm.asks_at_s, f"{alarm.key}: its reminder was due {-due_s} s ago"

    def pick(self, place: int) -> ModelAlarm | None:
        """One of the alarms that have a number, by any number."""
        known = [a for _, a in sorted(self.model.alarms.items()) if a.number]
        return known[place % len(known)] if known else None


def _facts(alarm: Alarm) -> tuple[bool, bool, bool, bool, bool]:
    shelved = alarm.shelved_until is not None
    return (alarm.condition, alarm.acknowledged, shelved, bool(alarm.suppressed), alarm.out_of_service)


def _shared(bands: list[Band]) -> Band:
    lows, highs = [b[:2] for b in bands], [b[2:] for b in bands]
    return (max(b[0] for b in lows), max(b[1] for b in lows), min(b[0] for b in highs), min(b[1] for b in highs))
