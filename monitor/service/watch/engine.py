"""The one worker: takes an item, decides what it means, writes everything that follows in one transaction, and only then says it.

The state moves on as soon as a decision is made; nothing outside hears of it before the transaction holds. So a group that cannot
be written is kept and tried again, and a process that dies in between is as if the undecided messages had never come: the
broker still has them, for none was acknowledged.

A group is written at GROUP_MESSAGES unacknowledged messages (the window of a strict broker), at GROUP_AGE_S, or at once when
something is to be said. While more messages wait already, as after an outage, it grows to GROUP_BACKLOG: a commit costs much, a
message in it little.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.domain.alarms.about import BROKER, NETWORK, Unrecorded
from monitor.domain.alarms.alarm import IN, OUT, TAKEN_WHOLE, UNACKNOWLEDGED, Alarm, Chattering, Judgement, state_of
from monitor.domain.alarms.notice import Answered, Notice
from monitor.domain.needs.rules import CRITICAL, HIGH, NOT_RECORDED, RECORD_DAMAGED
from monitor.domain.needs.site import Site
from monitor.domain.readings.dating import ARRIVAL, Line, resume_line
from monitor.domain.readings.reading import NOT_EVALUATED, Now, Pack, Refused, to_ms
from monitor.domain.refusal import Refusal
from monitor.domain.signs.opening import resume
from monitor.domain.state.happened import TAKEN, UNTRIED, Broker, NotRecorded
from monitor.domain.state.known import Key, Look, State, did_not_get_through, got_through, rule_of, waits_no_more
from monitor.domain.state.record import Attempt, Event, Group, RefusedRow, StoredReading
from monitor.domain.state.remembering import remember, take_up
from monitor.domain.state.service import probe_is_out
from monitor.domain.state.site_kept import keep_site
from monitor.domain.wall import utc_text
from monitor.domain.watch.due import due_mono_s
from monitor.domain.watch.egg_alarms import judge_weight, take_book
from monitor.domain.watch.evaluate import hear, judge, retire, tick
from monitor.domain.watch.plan import SITE_SUBJECT
from monitor.domain.watch.planning import resume as resume_out
from monitor.domain.watch.silence import trouble_of
from monitor.domain.watch.telling import live
from monitor.domain.watch.view import machine_view, out_view
from monitor.service.chores.due import chores_of, is_due
from monitor.service.chores.summary import tell_today, today
from monitor.service.ports import (
    AskWeights,
    ChoreDone,
    Clock,
    GiveReceipts,
    Ledger,
    Loaded,
    Receipt,
    StoreFailure,
    TellAnswered,
    TellLive,
    TellStored,
    WeightAsked,
    Words,
)
from monitor.service.watch.inbox import (
    Arrived,
    Asked,
    Attempted,
    CalendarDue,
    Elsewhere,
    Inbox,
    Item,
    Linked,
    Networked,
    Opened,
    Rearranged,
    WeightJudged,
)
from monitor.service.watch.requests import LookFacts, LookRoom, Performed, Rearrange, RequestError
from monitor.service.watch.weights import bearing, weighed

GROUP_MESSAGES = 20  # the in-flight window of a broker at its default: waiting for more would wait for ever
GROUP_BACKLOG = 200  # ten windows: 2 ms of deciding, and a commit hardly longer than one of twenty
# what a power cut may cost in readings not yet durable (the node still has them), against wear of the card
GROUP_AGE_S = 5.0
# From one round of the run to the next, mostly a second at most: longer, and the process did not run, or its card did not answer.
STOOD_S = 10.0
LISTENS_S = 60.0  # of listening in between, and silence is a silence
TICK_S = 1.0
RETRY_S = 1.0
# A store that fails longer than this must not silence an alarm: what is urgent is told from memory, and written when it can be.
STORE_PATIENCE_S = 10.0
# Rows kept in memory while the store fails: of a full room each 10 s, four hours. Then every second reading of a probe is left out, as often as need be.
MAX_KEPT = 20_000
HELD = 10  # receipts that are kept back then: half of a strict broker's window, which would else be used up, and nothing more be heard
MAX_SITE = 32  # characters of another site's name
MAX_ELSEWHERE = 64  # nodes under other sites' names that are told of; more is another house's broker
STATE_EVERY_S = 30.0
# After a power cut so much of running delays and of what was learnt is lost; each writing costs the card some pages.
MEMORY_EVERY_S = 300.0
SOON_S = 10.0  # and so often at most for a delay that begins or ends, and for a reading that waits for the next
SITE_KEPT_S = 10.0  # what looks at which machine is written down then, of the run's begin: a start waits for no library that this alone needs
# The air goes on changing where an egg's loss leads, without anything being written; days are its pace.
WEIGHTS_EVERY_S = 86_400.0
# a node sends again after 30 s; told after each group, a backlog would cost as many answers as messages
STORED_EVERY_S = 1.0
_NOT_RECORDED = (SITE_SUBJECT, NOT_RECORDED)

_log = logging.getLogger("eggroom.engine")


def start_state(loaded: Loaded, site: Site, now: Now) -> State:
    """The state of a new run, from what the record holds."""
    anchor_ms = to_ms(now.utc) - now.mono_s * 1000.0
    state = State(anchor_ms, now.clock_ok, now.mono_s)
    parts: dict[tuple[str, int], list[Line]] = {}
    for line in loaded.lines:
        if line.basis != ARRIVAL:
            resumed = resume_line(line, anchor_ms, now.mono_s * 1000.0) if now.clock_ok and line.trusted else line
            parts.setdefault((line.node, line.boot), []).append(resumed)
    for (node, boot), lines in parts.items():
        state.node(node).lines[boot] = tuple(sorted(lines, key=lambda li: li.id))
    for (node, boot), numbering in loaded.numberings.items():
        state.node(node).numberings[boot] = numbering
    state.batches = {b.id: b for b in loaded.batches}
    for book in loaded.books:
        take_book(state, book)
    for alarm in loaded.alarms:
        state.alarms[alarm.key] = _resumed(alarm, now)
    state.unknown = {u.probe: u for u in loaded.unknown}
    for notice in loaded.waiting:
        state.waiting[notice.contact] = state.waiting.get(notice.contact, 0) + 1
        state.unsent[notice.id] = (notice.contact, notice.alarm_number)
    for chore in loaded.chores:
        state.chores[chore.name] = state.chores.get(chore.name, frozenset()) | {chore.day}
    state.reached = {(number, reach.contact): reach for number, reach in loaded.reached}
    for calibration in loaded.calibrations:
        probe = state.probe(calibration.probe)
        probe.calibrations = (*probe.calibrations, calibration)
    state.out = {out.subject: resume_out(out, now) for out in loaded.outs}
    state.files = dict(loaded.files)
    state.coolings = {cooling.of: cooling for cooling in loaded.coolings}
    for handling in loaded.handlings:
        state.machine(handling.machine).handling = resume(handling, now)
    state.starts = (now.mono_s,)
    if loaded.memory is not None:
        state.handed_on = loaded.memory.mono_s, loaded.memory.at, loaded.memory.final
        # Readings may have been written after the memory; what a node sends later is dated before, but is not in the record yet.
        watched = max(loaded.memory.at, min(loaded.newest or loaded.memory.at, now.utc))
        take_up(Look(state, site, now), loaded.memory, watched=watched)
        if loaded.memory.last_watched is not None:  # the run before was too short to say it, however it ended
            state.last_watched = loaded.memory.last_watched
        elif not loaded.memory.final:
            state.last_watched = watched
    state.had_record = loaded.newest is not None or bool(loaded.batches)
    state.last_line = loaded.last_line
    state.last_number = loaded.last_alarm_number
    state.last_notice = loaded.last_notice
    return state


def _resumed(alarm: Alarm, now: Now) -> Alarm:
    """An alarm's facts in a new run: a shelf, and a time out of service, keep their end by the label, for the forward clock began anew."""

    def mono_s(until: datetime | None) -> float | None:
        return None if until is None else now.mono_s + max(0.0, (until - now.utc).total_seconds())

    return replace(
        alarm,
        shelved_until_mono_s=mono_s(alarm.shelved_until),
        out_until_mono_s=mono_s(alarm.out_until),
        asked_mono_s=now.mono_s,
        pending_mono_s=None,
        pending_at=None,
        answered=alarm.condition and alarm.acknowledged,
        begun_mono_s=now.mono_s if alarm.condition else None,
    )


def answered_before(loaded: Loaded) -> list[Answered]:
    """Of what a new run finds unsent, the episodes of which nobody is to be told any more: they were answered while no daemon ran."""
    numbers = {notice.alarm_number for notice in loaded.waiting}
    numbers |= {each.number for notice in loaded.waiting if notice.today is not None for each in notice.today.standing}
    return _answered((alarm for alarm in loaded.alarms if alarm.number in numbers), loaded.last_notice)


def _answered(alarms: Iterable[Alarm], upto: int) -> list[Answered]:
    """Those that need nobody any more: a person has answered, or it is over. upto: the newest notice's id."""
    return [
        Answered(
            a.number,
            upto,
            seen=a.acknowledged or a.shelved_until is not None or a.out_of_service or a.suppressed == TAKEN_WHOLE,
        )
        for a in alarms
        if a.number and state_of(a) != UNACKNOWLEDGED
    ]


def _of_requests() -> tuple[
    Callable[[Performed], str | None], Callable[[Look, Performed, Words], Mapping[str, object]]
]:
    """What a request is answered by: loaded with the first, and not before the air is listened to, at a start after a power cut."""
    from monitor.service.watch.commands import of_book, perform

    return of_book, perform


class Engine:
    """See the module. Every method but `counts` belongs to the engine's own thread (or to the one driver of a replay)."""

    def __init__(  # noqa: PLR0913 - it is given all that it touches, by name
        self,
        *,
        site: Site,
        ledger: Ledger,
        state: State,
        words: Words,
        give_receipts: GiveReceipts,
        tell_stored: TellStored,
        tell_notices: Callable[[Sequence[Notice]], None],
        tell_answered: TellAnswered | None = None,
        tell_live: TellLive | None = None,
        show_machine: Callable[[str, Mapping[str, object]], None],
        ask_weights: AskWeights | None = None,
        weighs_daily: bool = True,
        hands_on: bool = False,
    ) -> None:
        """ask_weights: asks for weights to be judged, which comes back as an item. weighs_daily: also at the start and each day, not only
        after what is written; not of a single request. hands_on: what this run learns is written down for the next; not of a replay,
        nor of a single request.
        """
        self._site = site
        self._ledger = ledger
        self._state = state
        self._words = words
        self._give_receipts = give_receipts
        self._tell_stored = tell_stored
        self._tell_notices = tell_notices
        self._tell_answered = tell_answered
        self._tell_live = tell_live
        self._show_machine = show_machine
        self._ask_weights = ask_weights
        self._group = Group()
        self._receipts: list[Receipt] = []
        self._stored: dict[tuple[str, int], int] = {}  # (node, boot): the highest number, still to be told
        self._next_stored = 0.0
        self._replies: list[tuple[Callable[[Mapping[str, object]], None], Mapping[str, object]]] = []
        self._group_since: float | None = None
        self._next_tick: float | None = None
        self._next_states = 0.0
        # From the first look on: what the run before handed over is then no longer how things stand.
        self._next_memory = -math.inf if hands_on else math.inf
        self._next_weights = -math.inf if weighs_daily and ask_weights is not None else math.inf
        self._bore: dict[str, int] = {}  # by batch: how often what was written bore on its weights
        self._anchor_ms = state.anchor_ms
        self._rested: set[Key] = set()
        self._waits: dict[Key, float] = {}  # since when the delays of what is urgent run
        self._kept_s = -math.inf  # when this run wrote down what it learnt
        self._settled = False  # whether the last tick decided nothing
        self._failing_since: float | None = None
        self._failing_why, self._left_out = "", 0
        self._retry_at = 0.0
        self._told_early: set[int] = set()
        self._stopped = False
        self.moved_mono_s: float | None = None  # when this run last went round: any thread may look
        self.link: tuple[bool, Broker, datetime | None] = (False, Broker(UNTRIED), None)
        self._broker_lost, self._network_up = "", True
        if not hands_on:  # a single request is nobody's return
            state.last_watched = None
        self._elsewhere: dict[str, str] = {}  # node -> the other site as which it speaks now
        self._told_elsewhere: set[tuple[str, str]] = set()
        self.counts = {
            "messages": 0,
            "refused": 0,
            "groups": 0,
            "failed_commits": 0,
            "alarm_transitions": 0,
            "ticks": 0,
        }

    def run(self, inbox: Inbox, clock: Clock) -> None:
        """Work until a Stop item comes; then write what is left."""
        listened_s = clock.now().mono_s
        while not self._stopped:
            now = clock.now()
            self.moved_mono_s = now.mono_s
            listened_s = self._listened(now, listened_s, STOOD_S * inbox.pace)
            item = inbox.take(0.0 if inbox.waiting() else self._wait_s(now))
            # Asked again before anything is judged: it may have stood still just while it waited here.
            now = clock.now() if item is None else item.now
            listened_s = max(listened_s, self._listened(now, listened_s, STOOD_S * inbox.pace))
            if item is None:
                self.idle(now)
            else:
                self.work(item, more=inbox.waiting() > 0)

    def _listened(self, now: Now, before_s: float, stood_s: float) -> float:
        """The forward clock, each time round; note where the process itself stood still since: a card that stalls, a machine that swaps or sleeps.

        What it did not hear then, nobody failed to say. One that stands still again and again has no such excuse the second time.
        """
        stood = self._state.stood_until_mono_s
        if now.mono_s - before_s > stood_s and before_s - stood > LISTENS_S:
            _log.warning("stood still for=%.0fs", now.mono_s - before_s)
            self._state.stood_until_mono_s = now.mono_s
        return now.mono_s

    def work(self, item: Item, more: bool = False) -> None:
        """One item, and the tick that was due before it. more: others wait already."""
        now = item.now
        if self._next_tick is None or now.mono_s >= self._next_tick:
            self._tick(now)
        if isinstance(item, Arrived):
            self._arrived(item)
        elif isinstance(item, Asked):
            self._asked(item)
        elif isinstance(item, Attempted):
            self._attempted(item.attempt)
        elif isinstance(item, Linked):
            self._linked(item)
        elif isinstance(item, Networked):
            self._network_up = item.up
            self._say_what_is_lost()
        elif isinstance(item, Elsewhere):
            self._heard_elsewhere(item)
        elif isinstance(item, WeightJudged):
            self._weight_judged(item)
        elif isinstance(item, CalendarDue):
            self._do_chores(item.now)
        elif isinstance(item, Opened):
            verdict = IN if item.trouble is None else OUT
            about = item.trouble or ""
            judge(self._look(now), (SITE_SUBJECT, RECORD_DAMAGED), Judgement(verdict, now.utc, about=about))
            self._judge_recorded(now)  # it stands where the run before was cut off as it began to write again
        elif isinstance(item, Rearranged):
            self._rearrange(item)
        else:
            self._stop(now)
        full = len(self._receipts) >= (GROUP_BACKLOG if more else GROUP_MESSAGES)
        self._commit_if_due(now, full or self._stopped)
        if self._failing_since is not None:
            self._make_do(now)

    def due_mono_s(self, now: Now) -> float:
        """When passing time alone next changes anything; a driver that owns the clock need not stop before."""
        if self._group.transitions or not self._settled:
            return now.mono_s
        due = due_mono_s(self._look(now))
        return min(due, self._next_weights) if weighed(self._state) else due

    def idle(self, now: Now) -> None:
        """Nothing came: let time pass."""
        if self._next_tick is None or now.mono_s >= self._next_tick:
            self._tick(now)
        self._commit_if_due(now, False)
        if self._failing_since is not None:
            self._make_do(now)

    def _look(self, now: Now) -> Look:
        return Look(self._state, self._site, now, self._group)

    def _arrived(self, item: Arrived) -> None:
        self.counts["messages"] += 1
        message, group = item.message, self._group
        pack = message if isinstance(message, Pack) else None
        refused = message if pack is None else pack.refused
        if isinstance(refused, Refused):
            self.counts["refused"] += 1
            _log.warning("refused topic=%s reason=%s", refused.topic, refused.reason)
        decided, read = len(group.transitions), len(group.readings)
        hear(Look(self._state, self._site, item.now, group), message)
        if pack is None or len(group.transitions) != decided:
            self._settled = False
        held = any(reading.flag == NOT_EVALUATED for reading in group.readings[read:])
        if held or self._state.alarms:
            self._remember_in_time(decided, item.now, held=held)
        if item.receipt is not None:
            self._receipts.append(item.receipt)

    def _remember_in_time(self, decided: int, now: Now, *, held: bool = False) -> None:
        """What came again is news under the number that it has, of which an older memory would say that it was answered, or asked for; what
        rests, that it never did; and of a danger whose delay runs, that it was never seen: a daemon that keeps dying would never tell it.
        held: a reading waits for the next."""
        if self._next_memory == math.inf:
            return
        rested, waits = set[Key](), dict[Key, float]()
        for key, alarm in self._state.alarms.items():
            if alarm.rested:
                rested.add(key)
            if alarm.pending_mono_s is not None and rule_of(self._look(now), *key).priority in (HIGH, CRITICAL):
                waits[key] = alarm.pending_mono_s
        again = any(isinstance(transition.cause, Chattering) for transition in self._group.transitions[decided:])
        again = again or not rested <= self._rested
        begun = any(self._waits.get(key) != since_s for key, since_s in waits.items())
        ended = any(key not in waits and not self._state.alarms[key].condition for key in self._waits)
        if held or begun or ended:  # what goes to and fro about a limit must not write all of it each time
            self._next_memory = min(self._next_memory, max(now.mono_s, self._kept_s + SOON_S))
        self._rested, self._waits = rested, waits
        if again or now.mono_s >= self._next_memory:
            self._remember(now)

    def _remember(self, now: Now) -> None:
        if self._next_memory > -math.inf:  # that of the start says what the run before knew
            self._kept_s = now.mono_s
        self._next_memory = now.mono_s + MEMORY_EVERY_S
        self._group.memory = remember(self._look(now))

    @staticmethod
    def get_ready_to_answer() -> None:
        """Load what requests need, so that the first need not wait for it."""
        _of_requests()

    def _asked(self, item: Asked) -> None:
        of_book, perform = _of_requests()
        self._settled = False
        request, decided = item.request, len(self._group.transitions)
        if isinstance(request, LookFacts):
            item.reply(self.facts(item.now))
            return
        if isinstance(request, Rearrange):  # which whoever reads the configuration brings as an item of its own
            item.reply(RequestError("rearrange", "no configuration came with it").answer())
            return
        try:
            if (name := of_book(request)) is not None:
                self._open_book(name)
            answer = perform(self._look(item.now), request, self._words)
        except RequestError as error:
            item.reply(error.answer())
            return
        except StoreFailure as failure:
            item.reply(RequestError.of(failure).failed())
            return
        if len(self._group.transitions) != decided and self._next_memory < math.inf:
            # A row says how an alarm stands, and not that it ever was answered, nor how often it asked: after a power cut that is asked of the memory.
            self._group.memory = remember(self._look(item.now))
        self._keep_the_past()
        if isinstance(request, LookRoom):  # changes nothing, so that its answer need not wait until anything is durable
            item.reply(answer)
            return
        self._replies.append((item.reply, answer))

    def _stop(self, now: Now) -> None:
        self._stopped = True
        if self._next_memory < math.inf:
            self._group.memory = remember(self._look(now), final=True)

    def _rearrange(self, item: Rearranged) -> None:
        """Ends the run where it is done: what comes now belongs to a house that this run does not know."""
        from monitor.service.watch.rearranging import rearrange  # hardly ever needed

        self._settled = False
        if self._failing_since is not None:
            item.reply(RequestError("the record", "cannot be written now, nothing was changed").failed())
            return
        try:
            answer = rearrange(self._look(item.now), item.request, site=item.site, words=self._words)
        except RequestError as error:
            item.reply(error.answer())
            return
        self._replies.append((item.reply, answer))
        self._stop(item.now)
        self._keep_the_past()

    def _keep_the_past(self) -> None:
        """What a request has the next run forget is no sign that anybody watched: where no run goes on, when the last one did stays as it was."""
        if self._group.memory is None or self._next_memory < math.inf:
            return
        known = self._state.handed_on
        if known is None:
            self._group.memory = None
        else:
            mono_s, at, final = known
            self._group.memory = replace(self._group.memory, mono_s=mono_s, at=at, final=final)

    def _open_book(self, name: str) -> None:
        """Fetch a book that was not loaded: of a batch that was closed before this run, into which a late finding is still written."""
        batch = self._state.batches.get(name)
        if batch is not None and batch.id not in self._state.books:
            take_book(self._state, self._ledger.book(batch))

    def _attempted(self, attempt: Attempt) -> None:
        self._group.attempts.append(attempt)

    def _linked(self, item: Linked) -> None:
        if item.connected == self.link[0] and item.detail == self.link[1]:
            return
        self.link = (item.connected, item.detail, item.now.utc)
        heard = item.connected or item.detail.what == TAKEN  # between two times of being put out it is heard
        self._broker_lost = "" if heard else BROKER if item.here else NETWORK
        self._say_what_is_lost()
        (_log.info if item.connected else _log.warning)(
            "broker connected=%s detail=%s", item.connected, self._words.happened(item.detail)
        )
        self._group.events.append(Event(item.now.utc, "broker", "site", what=item.detail))

    def _say_what_is_lost(self) -> None:
        """For the judge of silence. Where the network of this machine is gone a broker elsewhere is too, and one here hears nobody."""
        self._state.lost = self._broker_lost or ("" if self._network_up else NETWORK)
        self._settled = False

    def _heard_elsewhere(self, item: Elsewhere) -> None:
        """Kept once among the refused, and judged by nobody: it may be right, and another site's."""
        self._settled = False
        if not item.online:
            self._elsewhere.pop(item.node, None)
            self._state.elsewhere.pop(item.node, None)
            return
        if item.node in self._site.by_node:
            self._state.elsewhere.setdefault(item.node, (item.site[:MAX_SITE], item.now.mono_s))
        if len(self._told_elsewhere) >= MAX_ELSEWHERE:
            return
        self._elsewhere[item.node] = item.site
        if (item.node, item.site) in self._told_elsewhere:
            return
        self._told_elsewhere.add((item.node, item.site))
        why = Refusal("", f"{item.node} speaks, but as site {item.site!r}", repr(self._site.id))
        _log.warning("elsewhere node=%s site=%s expected=%s", item.node, item.site, self._site.id)
        self.counts["refused"] += 1
        self._group.refused.append(
            RefusedRow(item.now.utc, Refused(f"{item.site}/{item.node}/status", b"online", str(why)))
        )

    def _weight_judged(self, item: WeightJudged) -> None:
        """Take what the weights say, unless more was written about them since it was asked: then that is asked, or will be."""
        batch, asked = self._state.batches.get(item.asked.batch), item.asked
        outdated = asked.revision != self._bore.get(asked.batch, 0)
        if batch is None or batch.closed_at is not None or outdated:
            return
        if asked.batch in bearing(self._look(item.now)):
            return
        self._settled = False
        verdict = item.verdict
        judge_weight(self._look(item.now), batch, verdict.off, about=verdict.about)

    def _do_chores(self, now: Now) -> None:
        """What is due by the calendar, once a local date. That it is done is written with what it tells: a restart does not tell it again."""
        if not now.clock_ok:
            return
        look, wall = self._look(now), now.utc.astimezone(self._site.zone)
        for chore in chores_of(self._site):
            done = self._state.chores.get(chore.name, frozenset())
            if not is_due(chore, wall, done):
                continue
            self._state.chores[chore.name] = done | {wall.date()}
            self._group.chores.append(ChoreDone(chore.name, wall.date(), now.utc))
            if what := today(look, chore.contact):
                tell_today(look, chore.contact, what)

    def _ask_weights_of(self, batches: Iterable[str]) -> None:
        asked = [WeightAsked(batch, self._bore.get(batch, 0)) for batch in batches]
        if asked and self._ask_weights is not None:
            self._ask_weights(asked)

    def _tick(self, now: Now) -> None:
        if self._next_tick is None:
            retire(self._look(now))
        self._next_tick = now.mono_s + TICK_S
        self.counts["ticks"] += 1
        decided = len(self._group.transitions), len(self._group.events)
        tick(self._look(now))
        self._remember_in_time(decided[0], now)
        if self._next_memory < math.inf and now.mono_s >= self._state.started_mono_s + SITE_KEPT_S:
            keep_site(self._look(now))
        if (
            self._anchor_ms != self._state.anchor_ms
        ):  # a later run tells its forward clock from the label: it must know of this
            self._anchor_ms = self._state.anchor_ms
            self._next_memory = self._next_memory if self._next_memory == math.inf else now.mono_s
        self._settled = decided == (len(self._group.transitions), len(self._group.events))
        self._tell_stored_if_due(now)
        if self._tell_live is not None and self._state.unsent:
            self._tell_live(live(self._look(now)))
        if now.mono_s >= self._next_weights:
            self._next_weights = now.mono_s + WEIGHTS_EVERY_S
            self._ask_weights_of(weighed(self._state))
        if now.mono_s >= self._next_memory:
            self._remember(now)
        if now.mono_s >= self._next_states and (self._failing_since is None or self._from_memory(now)):
            self._next_states = now.mono_s + STATE_EVERY_S
            for machine in self._site.machines:
                self._show_machine(machine, machine_view(self._look(now), machine, self._words.about))

    def _wait_s(self, now: Now) -> float:
        due = self._next_tick if self._next_tick is not None else now.mono_s
        if self._group_since is not None:
            # While the store fails nothing is to be done before it is tried again: an old group must not keep the run awake.
            due = min(due, max(self._group_since + GROUP_AGE_S, self._retry_at))
        return max(0.0, due - now.mono_s)

    def _from_memory(self, now: Now) -> bool:
        """Whether the store has failed for so long that it is told, and gone on without."""
        return self._failing_since is not None and now.mono_s - self._failing_since >= STORE_PATIENCE_S

    def _make_do(self, now: Now) -> None:
        """While the store fails: stay within memory, and hear on. A broker that gets no receipt sends nothing more, and none of its nodes would be
        heard; a receipt is no promise to them: they keep what they are not told is stored."""
        if self._from_memory(now) and len(self._receipts) > HELD:
            self._give_receipts(self._receipts[:-HELD])
            self._receipts = self._receipts[-HELD:]
        group = self._group
        if len(group.readings) + len(group.refused) < MAX_KEPT:
            return
        kept, left_out = list[StoredReading](), dict[str, bool]()
        for reading in group.readings:
            left_out[reading.probe] = not left_out.get(reading.probe, True)
            if not left_out[reading.probe]:
                kept.append(reading)
        self._left_out += len(group.readings) - len(kept)
        group.readings, group.refused = kept, group.refused[len(group.refused) // 2 :]

    def _commit_if_due(self, now: Now, full: bool) -> None:
        group = self._group
        if self._group_since is None:
            if group.empty() and not self._replies and not self._receipts:
                return
            self._group_since = now.mono_s
        if not full and now.mono_s - self._group_since < GROUP_AGE_S and not self._urgent():
            return
        if self._failing_since is not None and now.mono_s < self._retry_at and not self._stopped:
            return
        self._word()
        try:
            if not group.empty():
                self._ledger.commit(group)
        except StoreFailure as failure:
            self._store_failed(failure, now)
            return
        self._after_commit(now)

    def _word(self) -> None:
        """Make the words of what is to be written, or said."""
        group = self._group
        group.notices = [n if n.title else self._words.word(n) for n in group.notices]
        group.events = [
            e if e.text or e.what is None else replace(e, text=self._words.happened(e.what)) for e in group.events
        ]
        group.transitions = [
            t if t.said else replace(t, said=self._words.about(t.alarm.about), cause=self._words.cause(t.cause))
            for t in group.transitions
        ]

    def _urgent(self) -> bool:
        """Whether somebody waits for what the group holds."""
        group = self._group
        told = group.transitions or group.notices or group.attempts or group.chores
        return bool(
            told
            or self._replies
            or group.batches
            or group.removed
            or group.handlings
            or group.coolings
            or group.outs
            or group.memory
        )

    def _after_commit(self, now: Now) -> None:
        group, receipts, replies = self._group, self._receipts, self._replies
        self._group, self._receipts, self._replies, self._group_since = Group(), [], [], None
        self.counts["groups"] += 1
        self.counts["alarm_transitions"] += len(group.transitions)
        if self._failing_since is not None:
            self._works_again(now, now.mono_s - self._failing_since)
        if receipts:
            self._give_receipts(receipts)
        self._stored.update((key, numbering.contiguous) for key, numbering in group.numberings.items())
        self._tell_stored_if_due(now)
        for transition in group.transitions:
            alarm = transition.alarm
            _log.info(
                "alarm number=%d subject=%s rule=%s from=%r to=%r cause=%r value=%s limit=%s who=%s",
                alarm.number, alarm.subject, alarm.rule, transition.state_before, transition.state, transition.cause,
                alarm.value, alarm.limit, transition.who,
            )  # fmt: skip
            if alarm.subject in self._site.machines:
                self._show_machine(alarm.subject, machine_view(self._look(now), alarm.subject, self._words.about))
        self._release(group)
        bore = bearing(Look(self._state, self._site, now, group))
        self._bore.update({batch: self._bore.get(batch, 0) + 1 for batch in bore})
        self._ask_weights_of(bore)
        for reply, answer in replies:
            reply(answer)

    def _tell_stored_if_due(self, now: Now) -> None:
        if self._stored and (now.mono_s >= self._next_stored or self._stopped):
            self._next_stored = now.mono_s + STORED_EVERY_S
            told, self._stored = self._stored, {}
            self._tell_stored([(node, boot, seq) for (node, boot), seq in told.items()])

    def _release(self, group: Group) -> None:
        """Hand the notices that are now written to the dispatcher, and count those that are done with."""
        dropped = {a.notice for a in group.attempts if a.outcome == "cancelled"}
        self._tell_notices([n for n in group.notices if n.id not in dropped and n.id not in self._told_early])
        # After them, so that what is answered in the same group is called off too.
        if self._tell_answered is not None and group.transitions:
            last = {t.alarm.number: t.alarm for t in group.transitions}
            self._tell_answered(_answered(last.values(), self._state.last_notice))
        self._told_early.difference_update(n.id for n in group.notices)
        contacts = {n.id: n.contact for n in group.notices}
        for attempt in group.attempts:
            unsent = self._state.unsent.get(attempt.notice)
            if attempt.outcome in ("sent", "failed") or (attempt.outcome == "cancelled" and unsent is not None):
                contact = contacts.get(attempt.notice) or attempt.contact
                self._state.waiting[contact] = max(0, self._state.waiting.get(contact, 0) - 1)
                self._state.unsent.pop(attempt.notice, None)
            if unsent is None or not unsent[1]:
                continue
            contact, number = unsent
            if attempt.outcome == "sent":
                got_through(self._state, number, contact, at=attempt.at)
            elif attempt.outcome == "cancelled":
                waits_no_more(self._state, number, contact)
            else:
                did_not_get_through(self._state, number, contact, since=attempt.at)

    def _store_failed(self, failure: StoreFailure, now: Now) -> None:
        self.counts["failed_commits"] += 1
        self._retry_at = now.mono_s + RETRY_S
        self._failing_why = failure.why
        if self._failing_since is None:
            self._failing_since = now.mono_s
            _log.error("store failing, nothing is lost, trying again detail=%s", failure)
        if self._from_memory(now):
            since = now.utc - timedelta(seconds=now.mono_s - self._failing_since)
            judge(self._look(now), _NOT_RECORDED, Judgement(OUT, since, about=Unrecorded(failure.why)))
            self._word()
            itself = {t.alarm.number for t in self._group.transitions if t.alarm.key == _NOT_RECORDED}
            early = [
                n
                for n in self._group.notices
                if n.id not in self._told_early
                and (n.priority in (HIGH, CRITICAL) or n.alarm_number in itself or n.today is not None)
            ]
            self._told_early.update(n.id for n in early)
            self._tell_notices(early)

    def _works_again(self, now: Now, after_s: float) -> None:
        """What happened is written with the next group, into a record that takes it again."""
        _log.warning("store working again after_s=%.0f left_out=%d", after_s, self._left_out)
        if after_s >= STORE_PATIENCE_S:
            since = now.utc - timedelta(seconds=after_s)
            what = NotRecorded(round(after_s, 0), self._left_out)
            self._group.events.append(Event(since, "record", "site", what=what))
        self._failing_since, self._failing_why, self._left_out = None, "", 0
        self._judge_recorded(now)

    def _judge_recorded(self, now: Now) -> None:
        if _NOT_RECORDED in self._state.alarms:
            judge(self._look(now), _NOT_RECORDED, Judgement(IN, now.utc))

    def facts(self, now: Now) -> dict[str, object]:
        """How the daemon itself is doing, for `eggroom health`."""
        connected, detail, since = self.link
        look, silent = self._look(now), dict[str, str]()
        for p in self._site.probes.values():
            life = self._state.probe(p.key).life_mono_s
            if (life is None or now.mono_s - life > p.silence_s) and not probe_is_out(look, p):
                trouble = trouble_of(look, p)
                silent[p.key] = "" if trouble is None else self._words.about(trouble)
        return {
            "at": utc_text(now.utc),
            "clock_ok": now.clock_ok,
            "up_s": round(now.mono_s - self._state.started_mono_s, 1),
            "broker_connected": connected,
            "broker": self._words.happened(detail),
            "broker_since": None if since is None else utc_text(since),
            "store_failing_s": None if self._failing_since is None else round(now.mono_s - self._failing_since, 1),
            "store_failing_why": self._words.about(Unrecorded(self._failing_why)) if self._failing_why else "",
            "unwritten_readings": len(self._group.readings),
            "left_out_readings": self._left_out,
            "contacts": list(self._site.contacts),
            "notices_waiting": {c: n for c, n in self._state.waiting.items() if n},
            "elsewhere": dict(self._elsewhere),
            "unknown_probes": sorted(self._state.unknown),
            "nodes": {
                id_: {
                    "says": {f.name: {"value": f.value, "unit": f.unit, "count": f.count} for f in node.facts.values()},
                    "clashes": node.clashes,
                }
                for id_, node in sorted(self._state.nodes.items())
                if node.facts or node.clashes
            },
            "silent_probes": sorted(key for key, about in silent.items() if not about),
            "unusable_probes": {key: about for key, about in sorted(silent.items()) if about},
            **(
                {"out_of_service": [out_view(look, out) for out in self._state.out.values()]} if self._state.out else {}
            ),
            **self.counts,
        }
