"""The engine: what is written when, what is said when, and what a failing store does."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.requests import read_request
from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.about import CARD_FAILING, Damaged
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.alarms.notice import Notice
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry, Hatched
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site, grouped
from monitor.domain.needs.then import SiteThen
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import Now, Other, Pack, Refused, Sample, to_ms
from monitor.domain.state.happened import CONNECTED, LOST, NO_ENTRY, Broker
from monitor.domain.state.memory import Memory
from monitor.domain.state.record import Attempt, Group
from monitor.service.ports import Loaded, Receipt, StoreFailure
from monitor.service.watch import commands, egg_requests, engine, inbox, weights
from monitor.service.watch.engine import Engine, start_state
from monitor.service.watch.inbox import Arrived, Asked, Attempted, Elsewhere, Inbox, Linked, Opened, Stop
from monitor.settings import build_house, parse_settings
from monitor.shown.phone.joined import NoticeWords
from tests.domain.house import there

# Written out: taken from the program, they would move with it.
GROUP_MESSAGES = 20  # the window of a broker as it comes
GROUP_AGE_S = 5.0
MAX_ELSEWHERE = 64
STORE_PATIENCE_S = 10.0  # longer, and urgent notices go out from memory

T0 = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
NOTHING = Loaded((), {}, (), (), (), (), 0, 0, 0, None)


def at(second: float) -> Now:
    return Now(500.0 + second, T0 + timedelta(seconds=second))


class Desk:
    """An engine with everything it says written down in one list, in order."""

    def __init__(self, site: Site, loaded: Loaded = NOTHING, *, hands_on: bool = False) -> None:
        self.said: list[tuple[str, Any]] = []
        self.groups: list[Group] = []
        self.shown: list[tuple[str, str]] = []
        self.books: dict[str, EggBook] = {}
        self.failing, self.why = False, CARD_FAILING
        self.engine = Engine(
            site=site,
            ledger=self,
            state=start_state(loaded, site, at(0)),
            words=NoticeWords(site),
            give_receipts=self._receipts,
            tell_stored=lambda rows: self.said.append(("stored", list(rows))),
            tell_notices=self._notices,
            show_machine=lambda machine, view: self.shown.append((machine, str(view["at"]))),
            hands_on=hands_on,
        )
        self.seq = 0

    def load(self) -> Loaded:
        return NOTHING

    def last_site(self) -> SiteThen | None:
        return None

    def book(self, batch: Batch) -> EggBook:
        if self.failing:
            raise StoreFailure("disk full")
        self.said.append(("book", batch.id))
        return self.books.get(batch.id, EggBook(batch))

    def commit(self, group: Group) -> None:
        if self.failing:
            raise StoreFailure("disk full", why=self.why)
        self.groups.append(group)
        self.said.append(("commit", len(group.readings)))

    def _receipts(self, receipts: Sequence[Receipt]) -> None:
        self.said.append(("receipts", [mid for _, mid in receipts]))

    def _notices(self, notices: Sequence[Notice]) -> None:
        if notices:
            self.said.append(("notices", [n.title for n in notices]))

    def reading(self, second: float, dry_bulb_c: float = 37.8, node: str = "node-a") -> None:
        pack = Pack(node, (Sample("top", dry_bulb_c, 57.0),), boot=7, seq=self.seq, up_s=int(second) + 100)
        self.engine.work(Arrived(at(second), pack, (1, self.seq + 1)))
        self.seq += 1

    def ask(self, second: float, **request: Any) -> list[Mapping[str, Any]]:
        answers: list[Mapping[str, Any]] = []
        self.engine.work(Asked(at(second), read_request(request), answers.append))
        return answers

    def kinds(self) -> list[str]:
        return [kind for kind, _ in self.said]


@pytest.fixture
def site() -> Site:
    data = tomllib.loads((Path(__file__).parents[3] / "deploy" / "eggroom.toml").read_text())
    house = build_house(parse_settings(data, "deploy/eggroom.toml"), load_profiles(None), Path("deploy/eggroom.toml"))
    probes = {"node-a/top": house.site.probes["node-a/top"]}  # the others would be silent, which is another story
    by_machine, by_node = grouped(probes, "machine"), grouped(probes, "node")
    return replace(house.site, contacts=("sam",), probes=probes, by_machine=by_machine, by_node=by_node)


@pytest.fixture
def desk(site: Site) -> Desk:
    desk = Desk(site)
    desk.ask(0, do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at="2026-02-19T12:00:00Z")
    desk.said.clear()
    desk.groups.clear()
    return desk


def test_a_group_is_written_at_the_window_of_a_strict_broker(desk: Desk) -> None:
    """The twentieth unacknowledged message commits the group, and only then are the twenty acknowledged, in order."""
    for i in range(GROUP_MESSAGES - 1):
        desk.reading(1 + i * 0.01)
    assert desk.said == []
    desk.reading(1.5)
    assert desk.kinds() == ["commit", "receipts", "stored"]
    assert desk.said[1][1] == list(range(1, GROUP_MESSAGES + 1))
    assert desk.said[2][1] == [("node-a", 7, GROUP_MESSAGES - 1)]


def test_the_facts_say_what_is_wrong_with_messages_and_what_a_node_says_besides(desk: Desk) -> None:
    """For `eggroom health`: probes of which nothing comes, those whose messages cannot be judged with why, what a node says besides its air,
    and how many numbers stood for two messages."""
    sample = Sample("top", 37.5, 50.0)
    for n, second in enumerate((1, 2, 3)):
        others = (Other("battery", 88.0 - n, "%EL"),)
        desk.engine.work(Arrived(at(second), Pack("node-a", (sample,), 7, n, second, others=others)))
    desk.engine.work(Arrived(at(4), Pack("node-a", (replace(sample, dry_bulb_c=36.0),), 7, 2, 3)))
    desk.engine.work(Arrived(at(100), Refused("t", b"x", "node-a: not JSON", "node-a")))
    facts = desk.engine.facts(at(101))
    assert facts["nodes"] == {"node-a": {"says": {"battery": {"value": 86.0, "unit": "%EL", "count": 3}}, "clashes": 1}}
    unusable = facts["unusable_probes"]
    assert isinstance(unusable, dict)
    assert unusable["node-a/top"] == "its messages are not understood: node-a: not JSON"
    assert "node-a/top" not in facts["silent_probes"]  # type: ignore[operator]  # a list
    assert "node-a/top" in desk.engine.facts(at(200))["silent_probes"]  # type: ignore[operator]


def test_a_group_is_written_when_it_is_old(desk: Desk) -> None:
    """A lone reading waits GROUP_AGE_S for company and is then written and acknowledged, by passing time alone."""
    desk.reading(1.0)
    desk.engine.idle(at(1.0 + GROUP_AGE_S - 0.1))
    assert desk.said == []
    desk.engine.idle(at(1.0 + GROUP_AGE_S))
    assert desk.kinds() == ["commit", "receipts", "stored"]


def test_an_alarm_is_written_at_once_and_told_after(desk: Desk) -> None:
    """A transition commits its group at once; the notice is handed over only after the commit that holds it and its readings."""
    for second in (1, 11, 21, 31):
        desk.reading(second, 39.5)
    assert desk.kinds()[-4:] == ["commit", "receipts", "stored", "notices"]
    assert desk.said[-1][1] == ["Urgent: Setter 1 too hot"]
    last = desk.groups[-1]
    assert [t.state for t in last.transitions] == ["unacknowledged"]
    assert last.readings
    assert last.notices


def test_a_refused_message_is_kept_and_acknowledged(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    """A poison message is written to the refused table and acknowledged like any other, so it blocks nothing; the log names it."""
    desk.engine.work(Arrived(at(1), Refused("t", b"x", "why"), (1, 9)))
    desk.engine.idle(at(1 + GROUP_AGE_S))
    assert desk.groups[0].refused[0].refused.reason == "why"
    assert ("receipts", [9]) in desk.said
    assert [r.getMessage() for r in caplog.records] == ["refused topic=t reason=why"]


def test_a_node_of_another_site_is_said_once(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    """It stands among the refused and in the log once, however often it comes and goes; the facts say who speaks so now; nothing
    of it is judged."""
    for second, online in ((1, True), (2, False), (3, True)):
        desk.engine.work(Elsewhere(at(second), "node-a", "barn", online))
    desk.engine.idle(at(3 + GROUP_AGE_S))
    (row,) = [row for group in desk.groups for row in group.refused]
    assert row.refused.reason == "node-a speaks, but as site 'barn', expected 'home'"
    assert caplog.text.count("elsewhere node=node-a site=barn expected=home") == 1
    assert desk.engine.facts(at(9))["elsewhere"] == {"node-a": "barn"}
    assert [group.transitions for group in desk.groups if group.transitions] == []
    desk.engine.work(Elsewhere(at(10), "node-a", "barn", False))
    assert desk.engine.facts(at(11))["elsewhere"] == {}


def test_a_broker_of_another_house_does_not_fill_the_record(desk: Desk) -> None:
    """Beyond a bounded number of such nodes nothing more is kept."""
    for number in range(MAX_ELSEWHERE + 5):
        desk.engine.work(Elsewhere(at(1), f"node-{number}", "barn", True))
    desk.engine.idle(at(1 + GROUP_AGE_S))
    assert sum(len(group.refused) for group in desk.groups) == MAX_ELSEWHERE
    facts: Any = desk.engine.facts(at(9))
    assert len(facts["elsewhere"]) == MAX_ELSEWHERE


def test_a_request_is_answered_after_the_commit(desk: Desk) -> None:
    """The answer to a request comes once what it changed is durable, and an error changes and writes nothing."""
    desk.failing = True
    answers = desk.ask(1, do="move", batch="hen-1", machine="hatcher-1")
    assert answers == []
    desk.failing = False
    desk.engine.idle(at(3))
    assert answers[0]["machine"] == "hatcher-1"
    groups = len(desk.groups)
    wrong = desk.ask(4, do="move", batch="hen-1", machine="cellar")
    assert "no machine 'cellar'" in wrong[0]["error"]
    assert len(desk.groups) == groups


def test_a_failing_store_loses_nothing(desk: Desk) -> None:
    """While the store fails nothing is acknowledged or said; when it works again, everything is written in one piece."""
    desk.failing = True
    for i in range(50):
        desk.reading(1 + i * 0.1)
    assert desk.said == []
    desk.failing = False
    desk.engine.idle(at(10))
    assert desk.said[0] == ("commit", 50)
    assert desk.said[1] == ("receipts", list(range(1, 51)))


def test_a_failing_store_does_not_silence_an_alarm(desk: Desk) -> None:
    """Past STORE_PATIENCE_S an urgent notice goes out from memory, once; after the late commit it is not handed over again."""
    desk.failing = True
    for second in range(1, 60, 10):
        desk.reading(second, 39.5)
    told = [what for kind, what in desk.said if kind == "notices"]
    assert told == [["When you can: All machines not being recorded"], ["Urgent: Setter 1 too hot"]]
    assert "receipts" not in desk.kinds()
    desk.failing = False
    desk.engine.idle(at(70 + STORE_PATIENCE_S))
    assert "commit" in desk.kinds()
    assert [what for kind, what in desk.said if kind == "notices"] == told


def kept(desk: Desk, *notices: Notice) -> None:
    """Notices that were decided, and cannot be written."""
    desk.failing = True
    desk.engine._group.notices.extend(notices)


def test_who_is_told_from_memory(desk: Desk) -> None:
    """While the store fails for ten seconds nobody is told; from then on the high and the critical are, each contact its own, and each
    once; what is mild waits until it is written."""
    made = [
        Notice(n, f"{n}", contact, priority, f"{priority} for {contact}", "x", T0, n)
        for n, (priority, contact) in enumerate(
            (("critical", "sam"), ("high", "kim"), ("medium", "sam"), ("low", "kim")), start=1
        )
    ]
    kept(desk, *made)
    for second in range(11):
        desk.engine.idle(at(second))
        assert ("notices" in desk.kinds()) == (second == 10), second
    kept(desk, Notice(5, "5", "kim", "high", "later for kim", "x", T0, 5))
    for second in range(11, 15):
        desk.engine.idle(at(second))
    first = ["critical for sam", "high for kim", "When you can: All machines not being recorded"]
    urgent = [("notices", first), ("notices", ["later for kim"])]
    assert desk.said == urgent
    desk.failing = False
    desk.engine.idle(at(20))
    assert desk.said == [*urgent, ("commit", 0), ("notices", ["medium for sam", "low for kim"])]
    assert [n.id for n in desk.groups[-1].notices if "record" not in n.title] == [1, 2, 3, 4, 5]


def test_a_store_that_works_in_between_is_given_its_patience_anew(desk: Desk) -> None:
    """Two short failures are not one long one: the ten seconds begin with each."""
    for before, begin in enumerate((0, 9)):
        kept(desk, Notice(begin + 1, f"{begin}", "sam", "high", "t", "x", T0, 1))
        for second in range(begin, begin + 8):
            desk.engine.idle(at(second))
        assert desk.kinds().count("notices") == before
        desk.failing = False
        desk.engine.idle(at(begin + 8.5))
    assert desk.kinds() == ["commit", "notices", "commit", "notices"]


def waiting(desk: Desk) -> dict[str, int]:
    """How many notices wait for each contact, as the daemon says it."""
    facts: Any = desk.engine.facts(at(100))
    found: dict[str, int] = facts["notices_waiting"]
    return found


@pytest.mark.parametrize(("outcome", "left"), [("sent", 1), ("failed", 1), ("later", 2)])
def test_what_came_of_a_sending_is_counted(site: Site, outcome: str, left: int) -> None:
    """What was sent, and what failed for good, waits no longer; what is tried later does."""
    loaded = tuple(Notice(n, f"{n}", "sam", "low", "t", "x", T0, n) for n in (1, 2))
    desk = Desk(site, replace(NOTHING, waiting=loaded, last_notice=2, last_alarm_number=2))
    desk.engine.work(Attempted(at(1), Attempt(1, outcome, "", T0, "sam")))
    assert waiting(desk) == {"sam": left}
    assert (1 in desk.engine._state.unsent) == (outcome == "later")
    assert 2 in desk.engine._state.unsent


def test_after_a_failed_sending_the_next_reminder_goes_out(site: Site) -> None:
    """An alarm that nobody answers is told again to whom its last message got through or failed for good, not to who still waits for it."""
    for outcome, again in (("sent", 1), ("failed", 1), ("later", 0)):
        desk = Desk(replace(site, contacts=("sam",)))
        desk.ask(0, do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at="2026-02-19T12:00:00Z")
        for second in range(1, 40, 10):
            desk.reading(second, 39.5)
        (first,) = [n for g in desk.groups for n in g.notices]
        desk.engine.work(Attempted(at(41), Attempt(first.id, outcome, "", T0, "sam")))
        for second in range(51, 1_000, 10):
            desk.reading(second, 39.5)
        told = [told for kind, told in desk.said if kind == "notices"]
        assert told == [["Urgent: Setter 1 too hot"], *[["Urgent: Setter 1 STILL too hot"]] * again], outcome


def test_notices_are_written_in_words_and_with_their_facts(desk: Desk) -> None:
    """What the record keeps is what the phone is told, and what it was made of."""
    for second in range(1, 40, 10):
        desk.reading(second, 39.5)
    (notice,) = [n for g in desk.groups for n in g.notices]
    assert notice.title == "Urgent: Setter 1 too hot"
    assert notice.text.startswith("39.5 °C, target ")
    assert notice.facts is not None
    assert (notice.facts.subject, notice.facts.rule, notice.facts.value) == ("setter-1", "dry-bulb-high-alarm", 39.5)


def test_a_run_that_dies_before_the_commit_is_as_if_the_messages_had_not_come(site: Site, desk: Desk) -> None:
    """The same messages, delivered again to a new run, give the same transition: nothing of the lost run was said."""
    for second in (1, 11):
        desk.reading(second, 39.5)
    assert not any(g.transitions for g in desk.groups)
    again = Desk(site, replace(NOTHING, batches=tuple(desk.engine._state.batches.values())))
    for second in (1, 11, 21, 31, 41):
        again.reading(second, 39.5)
    assert [t.state for g in again.groups for t in g.transitions] == ["unacknowledged"]


@pytest.mark.parametrize("final", [True, False])
def test_two_cuts_are_told_from_the_first(site: Site, final: bool) -> None:
    """The mains come back for seconds and go again, or somebody stops the run at once: nobody watched since before the first cut."""
    cut_at, again = T0 - timedelta(hours=6), T0 - timedelta(minutes=1)
    short = Memory(400.0, again, final=final, last_watched=cut_at)
    assert start_state(replace(NOTHING, memory=short, newest=again), site, at(0)).last_watched == cut_at
    cut = replace(NOTHING, memory=Memory(400.0, cut_at, final=final), newest=None)
    assert start_state(cut, site, at(0)).last_watched == (None if final else cut_at)
    read = replace(cut, newest=again)  # readings were written after the memory: till then somebody watched
    assert start_state(read, site, at(0)).last_watched == (None if final else again)
    assert Desk(site, cut, hands_on=True).engine._state.last_watched == (None if final else cut_at)
    assert Desk(site, cut).engine._state.last_watched is None  # a single request is nobody's return


def test_what_was_called_off_is_owed_to_nobody(site: Site) -> None:
    """A message that failed for an hour and was then answered leaves no contact that could not be reached."""
    desk = Desk(replace(site, contacts=("sam", "kim")))
    desk.ask(0, do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at="2026-02-19T12:00:00Z")
    for second in range(1, 40, 10):
        desk.reading(second, 39.5)
    first, second_ = [n for g in desk.groups for n in g.notices]
    reached = desk.engine._state.reached
    assert (first.alarm_number, first.contact) not in reached  # it only waits
    for told in (first, second_):
        desk.engine.work(Attempted(at(41), Attempt(told.id, "later", "no answer", T0, told.contact)))
    assert [there(reached[first.alarm_number, who].unheard_since) for who in ("sam", "kim")] == [T0, T0]
    desk.engine.work(Attempted(at(50), Attempt(first.id, "cancelled", "answered", T0, first.contact)))
    assert reached[first.alarm_number, first.contact].unheard_since is None
    assert reached[first.alarm_number, second_.contact].unheard_since == T0


def test_a_standing_alarm_survives_a_restart(site: Site, desk: Desk) -> None:
    """A new run takes the standing alarm from the record: it is not raised again, and its end is told."""
    for second in (1, 11, 21, 31):
        desk.reading(second, 39.5)
    alarms = tuple(t.alarm for g in desk.groups for t in g.transitions)
    batches = tuple(desk.engine._state.batches.values())
    again = Desk(site, replace(NOTHING, batches=batches, alarms=alarms, last_alarm_number=1, last_notice=1))
    for second in range(1, 120, 10):
        again.reading(second, 39.5 if second < 40 else 37.8)
    assert [(t.state, t.alarm.number) for g in again.groups for t in g.transitions] == [
        ("returned to normal, unacknowledged", 1)
    ]
    assert ("notices", ["Over: Setter 1 no longer too hot"]) in again.said


def test_a_full_outbox_drops_only_what_is_not_urgent_and_says_so(site: Site) -> None:
    """With MAX_WAITING notices unsent, a low one is cancelled with a reason in the record, a critical one still goes."""
    from monitor.domain.watch.telling import MAX_WAITING

    waiting = tuple(Notice(i, f"d{i}", "sam", "low", "t", "x", T0, i) for i in range(1, MAX_WAITING + 1))
    desk = Desk(site, replace(NOTHING, waiting=waiting, last_notice=MAX_WAITING, last_alarm_number=MAX_WAITING))
    desk.ask(0, do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at="2026-02-19T12:00:00Z")
    for second in range(1, 1300, 10):
        desk.reading(second, 38.5)
    cancelled = [a for g in desk.groups for a in g.attempts]
    assert [a.outcome for a in cancelled] == ["cancelled"]
    assert "outbox full: 500 notices wait for sam, expected under 500" in cancelled[0].detail
    assert "notices" not in desk.kinds()
    for second in range(401, 450, 10):
        desk.reading(second, 39.9)
    assert ("notices", ["Urgent: Setter 1 too hot"]) in desk.said


def test_what_came_of_a_sending_is_written_at_once(desk: Desk) -> None:
    """A delivered notice is marked in the record at once, so that a restart does not tell it again."""
    desk.engine.work(Attempted(at(1), Attempt(1, "sent", "", T0, "sam")))
    assert desk.groups[-1].attempts[0].outcome == "sent"


def test_a_lost_broker_is_said_once(desk: Desk) -> None:
    """The same news of the broker twice is one event; the other news is another."""
    for second, up in ((1, False), (2, False), (3, True)):
        desk.engine.work(Linked(at(second), up, Broker(CONNECTED if up else NO_ENTRY)))
    desk.engine.idle(at(20))
    assert [e.what for g in desk.groups for e in g.events if e.kind == "broker"] == [
        Broker(NO_ENTRY),
        Broker(CONNECTED),
    ]


def test_a_link_that_comes_and_goes_with_the_same_words_is_told_each_time(desk: Desk) -> None:
    """Whether it is connected is news by itself, and so is why it is not."""
    tls, refused = Broker(LOST, said="tls"), Broker(LOST, said="refused")
    for second, (up, why) in enumerate([(False, tls), (True, tls), (False, tls), (False, refused)]):
        desk.engine.work(Linked(at(second), up, why))
        assert desk.engine.link == (up, why, at(second).utc)
    desk.engine.idle(at(20))
    assert [e.what for g in desk.groups for e in g.events if e.kind == "broker"] == [tls, tls, tls, refused]


@pytest.mark.parametrize(("stands_s", "told"), [(90.0, []), (0.0, ["no-data"])])
def test_a_run_that_stood_still_heard_nothing_and_says_nothing_of_it(
    site: Site, stands_s: float, told: list[str]
) -> None:
    """The process does not run for a minute and a half (a card that stalls, a swap): what its nodes said then is still to come, and no probe was silent."""
    desk = Desk(site)
    desk.ask(0, do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at="2026-02-19T12:00:00Z")
    for second in range(1, 100, 10):
        desk.reading(second)

    class Rounds:
        """A clock that goes on by a second each time, and once by as long as the process stood still; the end comes half a minute later."""

        seconds = iter([*range(92, 95), *(94.0 + stands_s + n for n in range(25))] if stands_s else [*range(92, 200)])
        last = 92.0

        def now(self) -> Now:
            return at(self.last)

        def take(self, timeout_s: float) -> None:
            self.last = float(next(self.seconds, -1.0))
            if self.last < 0.0:
                self.last = 200.0
                desk.engine._stopped = True

        def waiting(self) -> int:
            return 0

        pace = 1.0

    rounds: Any = Rounds()
    desk.engine.run(rounds, rounds)
    assert [t.alarm.rule for g in desk.groups for t in g.transitions] == told


@pytest.mark.parametrize("item", [None, Linked(at(190), True, Broker(CONNECTED))])
def test_a_run_that_stood_still_while_it_waited_knows_it_before_it_judges(desk: Desk, item: Linked | None) -> None:
    """It sleeps a second till something comes, and ninety pass: what it does first already knows that it heard nothing meanwhile."""
    known: list[float] = []

    class Sleeps:
        pace, second = 1.0, 100.0

        def now(self) -> Now:
            return at(self.second)

        def take(self, timeout_s: float) -> Linked | None:
            self.second = 190.0
            return item

        def waiting(self) -> int:
            return 0

    def first(*_: object, **__: object) -> None:
        known.append(desk.engine._state.stood_until_mono_s)
        desk.engine._stopped = True

    desk.engine.idle = desk.engine.work = first  # type: ignore[method-assign]
    sleeps: Any = Sleeps()
    desk.engine.run(sleeps, sleeps)
    assert known == [at(190).mono_s]


def test_silence_after_standing_still_again_and_again_is_silence(site: Site) -> None:
    """A card that stalls each half minute excuses nobody for ever."""
    desk = Desk(site)
    for stood_until_s, before_s, until_s in ((0.0, 30.0, 45.0), (100.0, 130.0, 145.0)):
        desk.engine._state.stood_until_mono_s = 500.0 + stood_until_s if stood_until_s else -math.inf
        desk.engine._listened(at(until_s), 500.0 + before_s, 10.0)
        assert (desk.engine._state.stood_until_mono_s == 500.0 + until_s) is (stood_until_s == 0.0)


@pytest.mark.parametrize(
    ("stood_before_s", "for_s", "excused"),
    [(-1000.0, 10.0, False), (-1000.0, 10.1, True), (-60.0, 10.1, False), (-60.1, 10.1, True)],
)
def test_how_long_it_must_stand_still_and_run_between(
    site: Site, stood_before_s: float, for_s: float, excused: bool
) -> None:
    """More than the ten seconds that are given here, and more than a minute after it stood still before."""
    assert engine.LISTENS_S == 60.0
    desk = Desk(site)
    desk.engine._state.stood_until_mono_s = 500.0 + stood_before_s
    assert desk.engine._listened(at(for_s), 500.0, 10.0) == 500.0 + for_s
    assert (desk.engine._state.stood_until_mono_s == 500.0 + for_s) is excused


def test_stopping_writes_what_is_left(desk: Desk) -> None:
    """A Stop item commits and acknowledges the last group before the engine ends."""
    inbox = Inbox()
    inbox.put(Arrived(at(1), Pack("node-a", (Sample("top", 37.8, 57.0),), 7, 0, 100), (1, 1)))
    inbox.close(at(2))

    class Standing:
        def now(self) -> Now:
            return at(2)

    desk.engine.run(inbox, Standing())
    assert desk.kinds() == ["commit", "receipts", "stored"]
    assert isinstance(Stop(at(2)).now, Now)


def test_an_alarm_about_what_is_no_longer_configured_ends(site: Site, desk: Desk) -> None:
    """A standing alarm of a machine that the new configuration does not know is suppressed at the start, and asks no more."""
    for second in (1, 11, 21, 31):
        desk.reading(second, 39.5)
    alarms = tuple(replace(t.alarm, subject="cellar") for g in desk.groups for t in g.transitions)
    stranger = replace(alarms[0], rule="a-rule-of-another-version")
    again = Desk(site, replace(NOTHING, alarms=(*alarms, stranger), last_alarm_number=1))
    again.engine.idle(at(2000))
    assert [(t.state, t.alarm.suppressed) for g in again.groups for t in g.transitions] == [
        ("suppressed by design", "no longer configured")
    ]


def test_a_damaged_record_wakes_someone(site: Site) -> None:
    """A record that had to be set aside is told at once, for its batches may be missing; a start with a whole one ends the alarm."""
    desk = Desk(site)
    damaged = Damaged("/data/record.db", "record.db.damaged-1")
    desk.engine.work(Opened(at(1), damaged))
    (alarm,) = (alarm for alarm in desk.engine._state.alarms.values() if alarm.condition)
    assert (alarm.subject, alarm.about) == ("site", damaged)
    assert ("notices", ["Urgent: All machines record was damaged"]) in desk.said
    alarms = tuple(t.alarm for g in desk.groups for t in g.transitions)
    again = Desk(site, replace(NOTHING, alarms=alarms, last_alarm_number=1, last_notice=1))
    again.engine.work(Opened(at(2), None))
    assert [t.state for g in again.groups for t in g.transitions] == ["returned to normal, unacknowledged"]


CLOSED = Batch("hen-0", "chicken", T0 - timedelta(days=30), 6, closed_at=T0 - timedelta(days=5))
FINDING = {"do": "entry", "batch": "hen-0", "by": "ada", "kind": "finding", "fact": {"finding": "runt"}, "egg": 2}


def test_the_book_of_a_closed_batch_is_fetched_when_it_is_written_into(site: Site) -> None:
    """Its entries go on from the last number; it is fetched once, for no other request, and the answer comes when it is durable."""
    desk = Desk(site, replace(NOTHING, batches=(CLOSED,)))
    hatched = Entry(T0 - timedelta(days=6), T0 - timedelta(days=6), "ada", Hatched(), egg=2, number=4)
    desk.books["hen-0"] = EggBook(CLOSED, (hatched,))
    desk.ask(0, do="room")
    desk.ask(0, do="move", batch="hen-0", machine="setter-1")
    assert "book" not in desk.kinds()
    assert desk.ask(1, **FINDING)[0]["number"] == 5
    assert desk.ask(2, **FINDING, sure=True)[0]["number"] == 6
    assert desk.kinds().count("book") == 1
    assert [entry.number for group in desk.groups for _, entry in group.entries] == [5, 6]


def test_a_book_that_cannot_be_read_now(site: Site) -> None:
    """The request fails with the store's own words, and the engine goes on; later the same request is met."""
    desk = Desk(site, replace(NOTHING, batches=(CLOSED,)))
    desk.failing = True
    assert desk.ask(0, **FINDING) == [{"error": "disk full", "words": ["disk full"], "failed": True}]
    desk.failing = False
    assert desk.ask(20, **FINDING)[0]["number"] == 1


def test_a_run_takes_up_the_books(site: Site) -> None:
    """What was written before goes on under the next number."""
    open_ = replace(CLOSED, id="hen-1", closed_at=None)
    book = EggBook(open_, (Entry(T0 - timedelta(days=6), T0, "ada", Hatched(), egg=2, number=1),))
    desk = Desk(site, replace(NOTHING, batches=(open_,), books=(book,)))
    assert desk.ask(0, **FINDING | {"batch": "hen-1"})[0]["number"] == 2
    assert "book" not in desk.kinds()


def test_each_machine_is_shown_every_half_minute_unless_the_store_fails(site: Site, desk: Desk) -> None:
    """At the start, and 30 s after each time; in the first ten seconds in which nothing can be written nothing is shown either, and then, or
    afterwards, at once."""
    desk.shown.clear()

    def shown(*seconds: int) -> int:
        """How many times each machine was shown in the ticks of these seconds."""
        for second in seconds:
            desk.engine.idle(at(second))
        times, desk.shown[:] = len(desk.shown), []
        assert times % len(site.machines) == 0
        return times // len(site.machines)

    assert shown(*range(1, 31)) == 1
    assert shown(*range(31, 91)) == 2
    desk.failing = True
    desk.reading(91.0)
    assert shown(*range(95, 130, 5)) == 1  # at 106
    desk.failing = False
    assert shown(*range(130, 160, 5)) == 1
    desk.failing = True
    desk.reading(160.0)
    assert shown(*range(165, 170)) == 0
    desk.failing = False
    assert shown(*range(170, 205, 5)) == 1


def test_a_shelf_that_ended_while_nobody_watched_is_over_at_the_first_look(site: Site, desk: Desk) -> None:
    """A shelf keeps its end by the label over a restart: what is left of it goes on, and one that is over is not a second longer."""
    for second in (1, 11, 21, 31):
        desk.reading(second, 39.5)
    alarm = desk.groups[-1].transitions[-1].alarm
    for left_s, mono_s in ((-3600.0, 500.0), (0.0, 500.0), (90.0, 590.0)):
        shelved = replace(alarm, shelved_until=at(left_s).utc)
        state = start_state(replace(NOTHING, alarms=(shelved,)), site, at(0))
        assert state.alarms[alarm.key].shelved_until_mono_s == pytest.approx(mono_s)


def test_what_was_decided_is_followed_by_a_look_at_once(desk: Desk) -> None:
    """Where a reading begins an alarm, or a message is no reading, the next look is due now; after calm air it is not."""
    calm, hot = desk, 40.5
    for n in range(9):
        calm.reading(10.0 * n)
    calm.engine.idle(at(91))
    assert calm.engine.due_mono_s(at(91)) > at(91).mono_s
    calm.engine.work(Arrived(at(91.2), Refused("eggroom/home/node-a/air", b"x", "not JSON"), None))
    assert calm.engine.due_mono_s(at(91.2)) == at(91.2).mono_s
    calm.engine.idle(at(93))
    assert calm.engine.due_mono_s(at(93)) > at(93).mono_s
    decided, second = len(calm.groups), 93.0
    while not any(group.transitions for group in calm.groups[decided:]):
        calm.engine.idle(at(second))  # the look of this second has been, so what follows is the reading's own doing
        second += 0.5
        calm.reading(second, hot)
        second += 0.5
        assert second < 200.0
    assert calm.engine.due_mono_s(at(second)) == at(second).mono_s


def test_what_was_learnt_is_written_every_five_minutes_and_when_the_clock_is_set(site: Site) -> None:
    """A daemon writes its memory at its first look, when the delay of what is urgent begins (the only probe says nothing), five minutes after
    the last, at once when the label moved, and last of all at its end; a replay never does."""
    desk = Desk(site, hands_on=True)
    for second in range(333):
        desk.engine.idle(at(second))
    times_s = [group.memory.mono_s - 500.0 for group in desk.groups if group.memory is not None]
    assert times_s == [0.0, 31.0, 331.0]
    set_on = replace(at(340), utc=at(340).utc + timedelta(hours=1))
    desk.engine.idle(set_on)
    assert there(desk.groups[-1].memory).mono_s == set_on.mono_s
    written = len(desk.groups)
    desk.engine.idle(replace(at(342), utc=at(342).utc + timedelta(hours=1)))
    assert len(desk.groups) == written
    desk.engine.work(Stop(replace(at(350), utc=at(350).utc + timedelta(hours=1))))
    assert there(desk.groups[-1].memory).final
    played = Desk(site)
    for second in range(302):
        played.engine.idle(at(second))
    played.engine.work(Stop(at(310)))
    assert not any(group.memory for group in played.groups)


def test_the_numbers_that_a_run_turns_on() -> None:
    """Groups, ticks, how long a store may fail, and how often what goes on is handed on (see the module): none moves unseen."""
    assert (engine.GROUP_MESSAGES, engine.GROUP_BACKLOG, engine.GROUP_AGE_S) == (20, 200, 5.0)
    assert (engine.TICK_S, engine.RETRY_S, engine.STORE_PATIENCE_S) == (1.0, 1.0, 10.0)
    assert (engine.MAX_KEPT, engine.HELD, engine.MAX_ELSEWHERE) == (20_000, 10, 64)
    assert (engine.SOON_S, engine.MEMORY_EVERY_S) == (10.0, 300.0)
    assert (engine.STATE_EVERY_S, engine.STORED_EVERY_S) == (30.0, 1.0)
    assert (engine.MEMORY_EVERY_S, engine.WEIGHTS_EVERY_S) == (300.0, 86_400.0)  # five minutes, a day
    assert (weights.RETRY_S, inbox.MAX_ITEMS) == (30.0, 50_000)
    assert (timedelta(days=200), 1e9, 10) == (commands.MAX_BACKDATE, commands.MAX_SECONDS, egg_requests.SHOWN)


def test_what_is_overdue_is_not_waited_for(desk: Desk) -> None:
    """Until the next tick is due the run waits for the next item, and not at all when it is late already."""
    waits: list[float] = []

    class Noted(Inbox):
        def take(self, timeout_s: float) -> Stop | None:
            waits.append(timeout_s)
            return Stop(at(9)) if len(waits) == 3 else None

    class Hand:
        """Looked at as the run begins, before each wait, and after it."""

        seconds = iter([1.0, 1.0, 1.0, 1.25, 1.5, 2.5])

        def now(self) -> Now:
            return at(next(self.seconds))

    desk.engine.run(Noted(), Hand())
    assert waits == [0.0, 0.75, 0.0]


def test_the_daemons_own_word_of_a_silent_probe(desk: Desk) -> None:
    """Heard thirty seconds ago, as its interval allows, it is not silent; a second later it is; one that was never heard is."""
    for second in range(1, 40, 10):
        desk.reading(second, 37.5)
    for at_s, silent in ((61.0, False), (62.0, True)):
        facts: Any = desk.engine.facts(at(at_s))
        assert ("node-a/top" in facts["silent_probes"]) is silent
        assert facts["up_s"] == at_s


def test_a_run_takes_up_the_lines_that_it_can_trust(site: Site) -> None:
    """The label clock is where it is; a line that was labelled by a right clock goes on under one, any other is left as it was."""
    line = Line(1, "node-a", 7, UPTIME, 0, 1_000, 0, 5_000)
    for clock_ok, trusted, taken_up in ((True, True, True), (False, True, False), (True, False, False)):
        known = replace(line, trusted=trusted)
        now = replace(at(0), clock_ok=clock_ok)
        state = start_state(replace(NOTHING, lines=(known,)), site, now)
        assert state.anchor_ms == to_ms(now.utc) - 500_000.0
        (parts,) = state.node("node-a").lines.values()
        assert (parts[-1].mono_offset_ms is not None) is taken_up


def test_an_entry_for_a_batch_that_is_not_there_is_refused(desk: Desk) -> None:
    """A slip of the pen is one line, and nothing is fetched for it."""
    (answer,) = desk.ask(1, **{**FINDING, "batch": "hen-9"})
    assert "batch 'hen-9': no such batch" in str(answer["error"])
    assert "book" not in desk.kinds()


@pytest.mark.parametrize("hands_on", [False, True])
def test_a_calibration_leaves_when_anybody_watched_as_it_was(site: Site, hands_on: bool) -> None:
    """Of a run that goes on, what is handed on is of now; of a request without one, still of when the last run ended, though what it learnt of
    that probe is gone."""
    memory = Memory(100.0, T0 - timedelta(hours=1), True)
    desk = Desk(site, replace(NOTHING, memory=memory), hands_on=hands_on)
    desk.reading(1)
    desk.ask(2, do="calibrate", probe="node-a/top", dry_bulb_c={"offset": 0.3}, at=T0.isoformat())
    desk.engine.idle(at(10))
    kept = there(next(group.memory for group in reversed(desk.groups) if group.memory is not None))
    now = at(2)
    assert (kept.mono_s, kept.at) == ((now.mono_s, now.utc) if hands_on else (memory.mono_s, memory.at))


@pytest.mark.parametrize("hands_on", [True, False])
def test_what_a_person_answers_is_remembered_with_it(site: Site, hands_on: bool) -> None:
    """A row says how an alarm stands, and not that it was answered: after a power cut that is known of the memory, so a run that hands one on
    writes it then; and not with each request that changes no alarm."""
    failed = Alarm("node-a/top", "sensor-failed", 7, 1, condition=True, acknowledged=False)
    desk = Desk(site, replace(NOTHING, alarms=(failed,), last_alarm_number=7), hands_on=hands_on)
    desk.engine.idle(at(0))
    desk.ask(1, do="batch-add", batch="hen-1", profile="chicken", set_at="2026-02-19T12:00:00Z")
    for second in range(2, 12):
        desk.engine.idle(at(second))
    written = len(desk.groups)
    desk.ask(20, do="batch-add", batch="hen-2", profile="chicken", set_at="2026-02-19T12:00:00Z")
    for second in range(20, 30):
        desk.engine.idle(at(second))
    assert not any(group.memory for group in desk.groups[written:])
    desk.ask(40, do="acknowledge", alarm=7, by="sam")
    for second in range(40, 50):
        desk.engine.idle(at(second))
    memories = [there(group.memory) for group in desk.groups[written:] if group.memory is not None]
    assert len(memories) == hands_on
    assert all(memory.mono_s == at(40).mono_s for memory in memories)


def test_a_daemon_writes_down_what_looks_at_which_machine(site: Site) -> None:
    """Ten seconds into its run, and not again while nothing changes; a replay, or a single request, never does."""
    desk = Desk(site, hands_on=True)
    for second in (0, 9):
        desk.engine.idle(at(second))
        assert not [then for group in desk.groups for then in group.sites]
    for second in (10, 16):
        desk.engine.idle(at(second))
    assert [then.probes for group in desk.groups for then in group.sites] == [site.probes]
    desk.engine.work(Stop(at(60)))
    (written,) = [then for group in desk.groups for then in group.sites]
    assert (written.since, written.probes) == (None, site.probes)
    again = Desk(site, hands_on=True)
    again.engine._state.site_kept = written
    again.engine.idle(at(0))
    again.engine.work(Stop(at(60)))
    assert not [then for group in again.groups for then in group.sites]
    other = Desk(site)
    other.engine.idle(at(0))
    other.engine.work(Stop(at(60)))
    assert not [then for group in other.groups for then in group.sites]
