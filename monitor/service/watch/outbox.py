"""One contact's unsent notices: which is next, and when. No thread and no clock: time is handed in.

`Queue` keeps what waits and what was tried; `Pace` says how long a notice that was never tried is held back, so that a flood of
alarms is a first message at once and then a few that tell the rest, and not a rattle.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.domain.alarms.joined import episode, reminds
from monitor.domain.alarms.notice import Answered, Live, Notice
from monitor.domain.fixed import fixed, kept
from monitor.domain.needs.hearing import EVERYTHING, WAIT_SHARE, Hearing
from monitor.domain.needs.rules import CRITICAL, HIGH, LOW, MEDIUM, PRIORITIES

BASE_WAIT_S = 2.0  # a passing fault is over in seconds
MAX_WAIT_URGENT_S = 60.0  # while something high or critical waits: what it is about may kill within the hour
# low and medium: minutes do not matter to them, and a service that limits its callers is left in peace
MAX_WAIT_S = 300.0
MAX_TRIES = 20  # on average half an hour without a phone service: then the news of what is medium, or over, is old
_MAX_DOUBLINGS = 10  # past both limits; keeps the power small
_REMEMBERED = 1000  # ids already dealt with: meeting one again changes nothing

# Alarms that have one cause come within seconds to minutes, and whoever is woken reads one message, not thirty (judgement).
WINDOW_S = 600.0
MAX_MESSAGES = 3  # to one contact within the window; only a new critical alarm may be one more
GAPS_S = (30.0, 60.0)  # after the first message of the window, after the second
# After the first, second, and each further message as urgent: heat harms within half an hour.
CRITICAL_GAPS_S = (30.0, 60.0, 120.0)
OVER_COUNTS = 4  # attempts for what stands, to one for what is over
GATHER_S = 30.0  # in a flood, what says nothing new waits so long for its like: six reminders are one message
# What is low waits for the day's summary; by itself it goes only where none came for so long: no clock, or a day that has 25 hours.
LOW_WAIT_S = 26 * 3600.0
STALE = timedelta(seconds=20)  # older, and a value that is told may be another by now (judgement)
_TOLD = 200  # notices kept for the words of the next message


@fixed
class _Message:
    """A message that was sent, as far as its contact's pace asks."""

    at_s: float
    urgency: int  # of what is new in it
    several: bool  # whether it told of more than one episode


class Pace:
    """When one contact may be told of what. Only messages that got through count, those of the last WINDOW_S.

    News is held back by messages as urgent only: what is new and critical goes at once where none was in the window, whatever was just
    told; other news 30 s after any message; further ones wait for a place among MAX_MESSAGES of news as urgent. What says nothing new (a reminder, a
    closing notice), however urgent its alarm, waits for a place among all. With no message in the window nothing waits.
    """

    def __init__(self) -> None:
        self._messages: deque[_Message] = deque()
        self._told: deque[tuple[float, Notice]] = deque(maxlen=_TOLD)

    def went(self, notices: Sequence[Notice], now_s: float) -> None:
        """One message got through, which told these."""
        if any(n.priority != LOW or n.closing for n in notices):  # what is low takes no place from another
            # What is over, and what was told before and stands, keeps no news back.
            urgency = max(0 if n.closing or reminds(n) else _urgency(n) for n in notices)
            self._messages.append(_Message(now_s, urgency, len({episode(n) for n in notices}) > 1))
        self._told.extend((now_s, n) for n in notices)

    def forget(self, now_s: float) -> None:
        """Time has come to now_s."""
        while self._messages and self._messages[0].at_s + WINDOW_S <= now_s:
            self._messages.popleft()
        while self._told and self._told[0][0] + WINDOW_S <= now_s:
            self._told.popleft()

    def told(self) -> list[Notice]:
        """What was told in the window, oldest first."""
        return [notice for _, notice in self._told]

    def breaks_in(self, notice: Notice) -> bool:
        """Whether it is new, critical, and more urgent than anything told in the window: it goes at once, by itself."""
        return _new_and_critical(notice) and not self._as_urgent(notice)

    def free_s(self, notice: Notice, arrived_s: float) -> float:
        """From when on a notice that was never tried may be told; minus infinity for at once."""
        sent, as_urgent = self._messages, self._as_urgent(notice)
        if not sent or self.breaks_in(notice):
            return float("-inf")
        if _new_and_critical(notice):
            return as_urgent[-1].at_s + CRITICAL_GAPS_S[min(len(as_urgent), len(CRITICAL_GAPS_S)) - 1]
        news = not notice.closing and not reminds(notice)
        free_s = sent[-1].at_s + GAPS_S[0]
        places = as_urgent if news else [*sent]
        if len(places) >= MAX_MESSAGES:
            free_s = max(free_s, places[-MAX_MESSAGES].at_s + WINDOW_S)
        elif places:
            free_s = max(free_s, places[-1].at_s + GAPS_S[len(places) - 1])
        if not news and any(m.several for m in sent):
            free_s = max(free_s, arrived_s + GATHER_S)
        return free_s

    def _as_urgent(self, notice: Notice) -> list[_Message]:
        return [m for m in self._messages if m.urgency >= _urgency(notice)]


@kept
class _Waiting:
    """A notice that is still to be sent."""

    notice: Notice
    arrived_s: float
    held_until_s: float  # for the contact's hours
    behind: int = 0  # the tries of the least tried urgent one when it came: from there counts what is over
    tries: int = 0
    with_others: bool = False  # whether the last attempt told other episodes too

    @property
    def urgent(self) -> bool:
        return self.notice.priority in (HIGH, CRITICAL)


class Queue:
    """One contact's unsent notices. Pure but for its own state; time is handed in, seconds, forward only.

    What was never tried waits as `Pace` says; when it goes, all of its kind that waits goes with it, as one message: what stands; what is low,
    once a day, with that day's summary; and what is over. So nothing that is over stands beside what is not. What breaks in goes by itself, in
    full. What is medium may first wait for the contact's hours (`Hearing.waits_s`), and goes with no other till then.
    After a failure the contact rests, for it is the service that fails, not the notice: full jitter, U(0, w), with w from 2 s doubling to
    60 s while anything urgent waits, else to 300 s. A high or critical notice that was never tried does not wait for that.
    Order: least tried, then most urgent, then oldest. "Least tried" comes first so that a notice which the service will never
    take cannot stand in the way of the others for ever; it costs the urgent little, for after a success what was tried follows at once.
    An attempt for what is over counts as OVER_COUNTS: after an outage it does not come before what stands.

    jitter: called with w, gives the wait, from 0 to w.
    """

    def __init__(self, jitter: Callable[[float], float], hearing: Hearing = EVERYTHING) -> None:
        self._jitter = jitter
        self._hearing = hearing
        self._waiting: dict[int, _Waiting] = {}
        self._done: deque[int] = deque(maxlen=_REMEMBERED)
        self._answered: list[Answered] = []
        self._back: dict[int, int] = {}  # ends of what has come again meanwhile, with the episode's number
        self._begun: dict[tuple[str, str], int] = {}  # the newest notice that an alarm stands, by (subject, rule)
        self._summary = 0  # the id of the summary that waits; 0 for none
        self._pace = Pace()
        self._failures = 0
        self._rest_until_s = float("-inf")

    def __len__(self) -> int:
        return len(self._waiting)

    def offer(self, notice: Notice, now_s: float, wall: datetime | None = None) -> None:
        """Take a notice in; one that waits or was dealt with already changes nothing.

        wall: now on the wall clock of the house; None while that is not known, then nothing waits for the contact's hours.
        """
        if notice.id not in self._waiting and notice.id not in self._done:
            behind = min((w.tries for w in self._waiting.values() if w.urgent and not w.notice.closing), default=0)
            self._note_what_came_again(notice)
            self._waiting[notice.id] = _Waiting(notice, now_s, now_s + self._held_s(notice, wall), behind)

    def _note_what_came_again(self, notice: Notice) -> None:
        """Whichever of the two is offered first: while the store fails what is news may overtake the end before it."""
        if notice.facts is None:
            return
        alarm = notice.facts.subject, notice.facts.rule
        if notice.closing:
            if notice.id < self._begun.get(alarm, 0):
                self._back[notice.id] = notice.alarm_number
            return
        self._begun[alarm] = max(notice.id, self._begun.get(alarm, 0))
        for id_, waiting in self._waiting.items():
            if waiting.notice.closing and id_ < notice.id and _of_one_alarm(waiting.notice, notice):
                self._back[id_] = waiting.notice.alarm_number

    def answered(self, answered: Iterable[Answered]) -> None:
        """Of these episodes nobody is to be told any more; what waits of them is called off next."""
        self._answered.extend(answered)

    def renew(self, live: Iterable[Live]) -> None:
        """What waits is told as it is when it is told. What was made just now is; of what is over, the end is told."""
        now = {each.number: each for each in live}
        for waiting in self._waiting.values() if now else ():
            notice = waiting.notice
            each = now.get(notice.alarm_number)
            if each is None or notice.facts is None or notice.closing or each.at - notice.created < STALE:
                continue
            still = notice.facts.still
            own = tuple(r for r in each.facts.reached if still or r.contact == notice.contact)
            waiting.notice = replace(notice, facts=replace(each.facts, still=still, reached=own), as_of=each.at)

    def call_off(self) -> list[tuple[int, str]]:
        """What need not be told any more is done with: (id, why). Asked while no attempt is under way.

        What a person has answered is told to nobody else, however urgent. What is over by itself is told all the same if it was urgent,
        with its end. An end is called off where the same has come again: "no longer too hot" beside it would be untrue; and with it what is
        still to be told of that episode, for it would be read as what stands now.
        """
        over = {number for id_, number in self._back.items() if id_ in self._waiting}
        gone = {id_: "come again" for id_, w in self._waiting.items() if w.notice.alarm_number in over}
        self._back.clear()
        for each in self._answered:
            for notice in (w.notice for w in self._waiting.values() if w.notice.alarm_number == each.number):
                if notice.id <= each.upto and not notice.closing and (each.seen or notice.priority in (LOW, MEDIUM)):
                    gone[notice.id] = "answered" if each.seen else "over"
        numbers = {each.number: each.seen for each in self._answered}
        self._answered.clear()
        self.dropped(gone)
        for waiting in list(self._waiting.values()):
            if (today := waiting.notice.today) is not None:
                of_it = [numbers[s.number] for s in today.standing if s.number in numbers]
                waiting.notice = replace(waiting.notice, today=today.without(numbers.keys()))
                if not waiting.notice.today:
                    gone[waiting.notice.id] = "answered" if any(of_it) else "over"
                    self.dropped([waiting.notice.id])
        return [(id_, f"{why} before it was told") for id_, why in gone.items()]

    def due_s(self) -> float | None:
        """When the next attempt may be made, as far as `next_due` was asked last; None when nothing waits."""
        return min((self._free_s(tries, self._waiting[id_]) for tries, id_ in self._ranks()), default=None)

    def next_due(self, now_s: float) -> list[Notice]:
        """What may be told now, the one whose turn it is first; empty when nothing is due.

        While the service fails, what was refused as one message with others is next offered by itself (all of its episode).
        """
        self._pace.forget(now_s)
        self._summary = max((w.notice.id for w in self._waiting.values() if w.notice.today is not None), default=0)
        ranked = [(tries, self._waiting[id_]) for tries, id_ in self._ranks()]
        due = [(tries, w) for tries, w in ranked if self._free_s(tries, w) <= now_s]
        if not due:
            return []
        tries, first = due[0]
        kinds = self._kinds()
        fellows = {id_ for id_, kind in kinds.items() if kind == kinds[episode(first.notice)]}
        if tries == 0 and self._pace.breaks_in(first.notice):
            fellows = {episode(w.notice) for t, w in due if t == 0 and self._pace.breaks_in(w.notice)}
        elif self._failures > 0 and first.with_others and not self._of_summary(first.notice):
            fellows = {episode(first.notice)}
        ordered = [first, *(w for _, w in ranked if w is not first and self._may_join(w, now_s))]
        return [w.notice for w in ordered if episode(w.notice) in fellows]

    def told(self) -> list[Notice]:
        """What got through in the last ten minutes, oldest first."""
        return self._pace.told()

    def sent(self, ids: Sequence[int], now_s: float) -> None:
        """These got through as one message: the service works, so what was tried may follow at once."""
        self._pace.went([self._waiting[id_].notice for id_ in ids], now_s)
        self.dropped(ids)
        self._failures = 0
        self._rest_until_s = float("-inf")

    def failed(self, ids: Sequence[int], now_s: float) -> list[int]:
        """These did not get through now. Returns those that have been tried often enough, and are not urgent: they are dropped."""
        tried = [self._waiting[id_] for id_ in ids]
        with_others = len({episode(w.notice) for w in tried}) > 1
        for waiting in tried:
            waiting.tries += 1
            waiting.with_others = with_others
        over: list[int] = []
        if not any(w.urgent for w in tried):
            over = [w.notice.id for w in tried if w.tries >= MAX_TRIES and self._is_old(w, now_s)]
            self.dropped(over)
        limit_s = MAX_WAIT_URGENT_S if any(w.urgent for w in self._waiting.values()) else MAX_WAIT_S
        wait_s = min(limit_s, BASE_WAIT_S * 2.0 ** min(self._failures, _MAX_DOUBLINGS))
        self._failures += 1
        self._rest_until_s = now_s + self._jitter(wait_s)
        return over

    @staticmethod
    def _is_old(waiting: _Waiting, now_s: float) -> bool:
        """Of what may wait for the next day's summary, and of the summary, only once that day is over."""
        of_the_day = waiting.notice.priority == LOW and not waiting.notice.closing
        return not of_the_day or now_s - waiting.arrived_s >= LOW_WAIT_S

    def dropped(self, ids: Iterable[int]) -> None:
        """These are done with."""
        for id_ in ids:
            del self._waiting[id_]
            self._done.append(id_)

    def _held_s(self, notice: Notice, wall: datetime | None) -> float:
        """How long it waits for the contact's hours; of what another run made, the time since then counts as waited."""
        respond_min = None if notice.facts is None else notice.facts.respond_min
        if wall is None or respond_min is None:
            return 0.0
        waited_min = max(0.0, (wall - notice.created).total_seconds() / 60.0)
        return self._hearing.waits_s(notice.priority, respond_min - waited_min / WAIT_SHARE, wall)

    def _may_join(self, waiting: _Waiting, now_s: float) -> bool:
        """Whether what waits may go along: not before its contact's hours, nor, if it is low, with a summary that does not tell it."""
        if waiting.held_until_s > now_s:
            return False
        return not (self._summary and self._low(waiting.notice)) or self._of_summary(waiting.notice)

    def _of_summary(self, notice: Notice) -> bool:
        """Whether it is the summary that waits, or what that says already: they are one message, whatever became of the first attempt."""
        return notice.today is not None or (self._low(notice) and notice.id <= self._summary)

    @staticmethod
    def _low(notice: Notice) -> bool:
        return notice.priority == LOW and not notice.closing and notice.today is None

    def _free_s(self, tries: int, waiting: _Waiting) -> float:
        """When this one may be told; a notice that was tried has waited for its flood already."""
        if tries > 0:
            return self._rest_until_s
        if self._low(waiting.notice) and waiting.notice.id > self._summary:
            return max(waiting.arrived_s + LOW_WAIT_S, self._rest_until_s)
        free_s = max(waiting.held_until_s, self._pace.free_s(waiting.notice, waiting.arrived_s))
        return free_s if waiting.urgent else max(free_s, self._rest_until_s)

    def _kinds(self) -> dict[int, str]:
        """What each episode goes together with: `over` where that is its last word, else whether it is low."""
        kinds: dict[int, str] = {}
        for notice in sorted((w.notice for w in self._waiting.values()), key=lambda n: n.id):
            known = kinds.get(episode(notice), LOW)
            if notice.closing:
                known = "over"
            elif notice.priority != LOW:
                known = "standing"
            kinds[episode(notice)] = known
        return kinds

    def _ranks(self) -> list[tuple[int, int]]:
        """(tries, id) of everything that waits, in order. A notice counts at least the tries of the earlier ones of its
        episode: "no longer too hot" must not overtake the "too hot" that would then read as new.
        """
        most: dict[int, int] = {}
        kinds = self._kinds()
        ranks = []
        for waiting in sorted(self._waiting.values(), key=lambda w: w.notice.id):
            notice = waiting.notice
            tries = most[episode(notice)] = max(most.get(episode(notice), 0), waiting.tries)
            over = kinds[episode(notice)] == "over"
            counted = waiting.behind + OVER_COUNTS * (tries + 1) - 1 if over else tries
            ranks.append((counted, 0 if over else -_urgency(notice), notice.id, tries))
        return [(tries, id_) for _, _, id_, tries in sorted(ranks)]


def _new_and_critical(notice: Notice) -> bool:
    return notice.priority == CRITICAL and not notice.closing and not reminds(notice)


def _of_one_alarm(one: Notice, other: Notice) -> bool:
    """Whether both tell of the same alarm, maybe of two episodes of it."""
    if one.facts is None or other.facts is None:
        return False
    return (one.facts.subject, one.facts.rule) == (other.facts.subject, other.facts.rule)


def _urgency(notice: Notice) -> int:
    return PRIORITIES.index(notice.priority)
