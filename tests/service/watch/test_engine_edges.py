"""The engine at its edges: how a run begins, what it counts, when exactly it waits, writes and tells again."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.domain.alarms.about import BROKER, NETWORK
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.alarms.notice import Notice
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry, Weighing
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site, grouped
from monitor.domain.readings.calibration import Calibration, Correction
from monitor.domain.readings.dating import ARRIVAL, UPTIME, Line, resume_line
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.reading import Now, Pack, Refused, Sample, to_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.signs.seen import NotBack
from monitor.domain.state.happened import CONNECTED, LOST, NOT_THERE, TAKEN, UNTRIED, Broker
from monitor.domain.state.record import Attempt, Event, Group, RefusedRow, Unknown
from monitor.service.ports import WeightAsked, WeightVerdict
from monitor.service.watch import engine as engine_module
from monitor.service.watch.engine import Engine, start_state
from monitor.service.watch.inbox import Arrived, Attempted, Elsewhere, Inbox, Item, Linked, Stop, WeightJudged
from monitor.shown.phone.joined import NoticeWords
from tests.service.watch.test_engine import NOTHING, T0, Desk, at, desk, site

__all__ = ["desk", "site"]  # fixtures


def notice(id_: int = 1, contact: str = "sam", **changes: Any) -> Notice:
    return replace(Notice(id_, f"{id_}", contact, "low", "t", "x", T0, id_), **changes)


def arrived(second: float, seq: int, node: str = "node-a", dry_bulb_c: float = 37.8) -> Arrived:
    return Arrived(
        at(second), Pack(node, (Sample("top", dry_bulb_c, 57.0),), 7, seq, 1_000 + int(second)), (1, seq + 1)
    )


# --- how a run begins


def test_a_forward_clock_may_begin_at_nothing(site: Site) -> None:
    """A run that begins with its clock at 0, as a computer that has just started: machines are shown, and nodes told, at once."""
    desk = Desk(site)
    desk.engine.idle(at(-500))
    assert len(desk.shown) == len(site.machines)
    for seq in range(20):
        desk.engine.work(arrived(-499.5, seq))
    assert "stored" in desk.kinds()


def test_before_the_first_look_the_next_is_due_now(site: Site) -> None:
    """Nothing was looked at yet."""
    assert Desk(site).engine.due_mono_s(at(0)) == at(0).mono_s


def test_nothing_is_counted_before_it_happens(site: Site) -> None:
    """Each count begins at nothing, and is one after the first; the facts tell them."""
    desk = Desk(site)
    names = ("messages", "refused", "groups", "failed_commits", "alarm_transitions", "ticks")
    assert desk.engine.counts == dict.fromkeys(names, 0)
    desk.engine.idle(at(0))
    assert desk.engine.counts == dict.fromkeys(names, 0) | {"ticks": 1}
    desk.engine.work(Arrived(at(0.5), Refused("t", b"x", "why"), None))
    desk.engine.idle(at(5.5))
    assert desk.engine.counts == {**dict.fromkeys(names, 1), "failed_commits": 0, "alarm_transitions": 0, "ticks": 2}
    desk.failing = True
    desk.engine.work(Elsewhere(at(5.6), "node-b", "barn", True))
    desk.engine.idle(at(10.6))
    facts = desk.engine.facts(at(10.6))
    assert (facts["refused"], facts["failed_commits"], facts["groups"], facts["ticks"]) == (2, 1, 1, 3)


def test_a_message_that_is_refused_in_part_is_counted(desk: Desk) -> None:
    """What could be read of it is a message, what could not is refused."""
    whole = Pack("node-a", (Sample("top", 37.8, 57.0),), 7, 0, 100)
    desk.engine.work(Arrived(at(1), whole, None))
    desk.engine.work(
        Arrived(at(2), replace(whole, seq=1, up_s=101, refused=Refused("t", b"x", "low: no number")), None)
    )
    assert (desk.engine.counts["messages"], desk.engine.counts["refused"]) == (2, 1)


def test_the_alarms_that_moved_are_counted(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    """One that begins is one, with a line in the log and its machine shown at once."""
    caplog.set_level(logging.INFO)
    for second in (1, 11, 21):
        desk.reading(second, 39.5)
    desk.engine.idle(at(30.5))
    desk.shown.clear()
    desk.reading(31, 39.5)
    assert desk.engine.counts["alarm_transitions"] == 1
    assert "alarm number=1 subject=setter-1 rule=dry-bulb-high-alarm" in caplog.text
    assert [machine for machine, _ in desk.shown] == ["setter-1"]


def test_before_the_broker_was_tried(site: Site, caplog: pytest.LogCaptureFixture) -> None:
    """It is not connected, which is no news; being connected is told, being lost is warned of."""
    caplog.set_level(logging.INFO)
    desk = Desk(site)
    facts = desk.engine.facts(at(0))
    assert (facts["broker_connected"], facts["broker"], facts["broker_since"]) == (False, "not tried yet", None)
    desk.engine.work(Linked(at(1), False, Broker(UNTRIED)))
    assert desk.engine.facts(at(1))["broker_since"] is None
    desk.engine.work(Linked(at(2), True, Broker(CONNECTED, "b:1")))
    assert desk.engine.facts(at(3))["broker_since"] == "2026-03-01T12:00:02.000Z"
    desk.engine.work(Linked(at(4), False, Broker(NOT_THERE, "b:1", "refused")))
    said = [(r.levelno, r.getMessage()) for r in caplog.records if "broker" in r.getMessage()]
    assert said == [
        (logging.INFO, "broker connected=True detail=broker b:1: connected"),
        (logging.WARNING, "broker connected=False detail=broker b:1: refused, expected an MQTT broker; trying again"),
    ]


@pytest.mark.parametrize(
    ("connected", "here", "lost"), [(True, True, ""), (False, True, BROKER), (False, False, NETWORK), (True, False, "")]
)
def test_what_is_lost_with_the_broker(site: Site, connected: bool, here: bool, lost: str) -> None:
    """One on this machine is gone by itself; the way to one elsewhere is the network, of which nobody knows more."""
    desk = Desk(site)
    desk.engine.work(Linked(at(1), not connected, Broker(UNTRIED), here=here))
    desk.engine.work(Linked(at(2), connected, Broker(CONNECTED if connected else NOT_THERE, "b:1"), here=here))
    assert desk.engine._state.lost == lost


@pytest.mark.parametrize(("acknowledged", "answered"), [(True, True), (False, False)])
def test_who_had_answered_before_a_start_has_answered(site: Site, acknowledged: bool, answered: bool) -> None:
    """A start asks nobody sooner who knows of it, and does not take for answered what nobody has answered."""
    hot = Alarm("setter-1", "dry-bulb-high-alarm", 1, 1, condition=True, acknowledged=acknowledged)
    state = start_state(replace(NOTHING, alarms=(hot,)), site, at(0))
    assert state.alarms[hot.key].answered is answered


SEEN = NotBack("not turned")
WEIGHED = Batch("hen-1", "chicken", T0 - timedelta(days=9), 12)
BOOK = EggBook(WEIGHED, (Entry(T0, T0, "ada", Weighing(60.0), egg=7, number=1),))


def plain_engine(site: Site, ask_weights: Callable[[Any], None] | None, **how: Any) -> tuple[Engine, Desk]:
    """An engine that is told no more than it must be, and who writes for it."""
    desk = Desk(site)
    engine = Engine(
        site=site,
        ledger=desk,
        state=start_state(replace(NOTHING, batches=(WEIGHED,), books=(BOOK,)), site, at(0)),
        words=NoticeWords(site),
        give_receipts=lambda receipts: None,
        tell_stored=lambda rows: None,
        tell_notices=lambda notices: None,
        show_machine=lambda machine, view: None,
        ask_weights=ask_weights,
        **how,
    )
    return engine, desk


@pytest.mark.parametrize(
    ("how", "asks", "remembers"),
    [
        ({}, True, False),
        ({"weighs_daily": True}, True, False),
        ({"weighs_daily": False}, False, False),
        ({"hands_on": True}, True, True),
        ({"hands_on": False}, True, False),
    ],
)
def test_what_a_run_does_unless_told_otherwise(site: Site, how: dict[str, bool], asks: bool, remembers: bool) -> None:
    """It asks for its weights at its start and each day, and hands nothing on."""
    asked: list[WeightAsked] = []
    engine, desk = plain_engine(site, asked.extend, **how)
    engine.idle(at(0))
    assert asked == [WeightAsked("hen-1", 0)] * asks
    engine.idle(at(86_399))
    assert len(asked) == asks
    engine.idle(at(86_400))
    assert len(asked) == 2 * asks
    assert any(group.memory for group in desk.groups) is remembers


def test_who_asks_for_no_weights_waits_for_none(site: Site) -> None:
    """Where nobody judges them nothing is due for their sake, daily or not."""
    for daily in (True, False):
        engine, _ = plain_engine(site, None, weighs_daily=daily)
        for second in range(4):
            engine.idle(at(second))
        assert engine.due_mono_s(at(3)) > at(3).mono_s


def test_a_driver_stops_where_the_weights_are_due(site: Site) -> None:
    """A day after they were asked, to the second; where nothing was weighed that instant is nothing."""
    for ask in (lambda asked: None, None):
        engine, _ = plain_engine(site, ask)
        for second in (17, 18, 19, 86_401, 86_402, 86_403):
            engine.idle(at(second))
        assert (engine.due_mono_s(at(86_404)) == at(86_417).mono_s) is (ask is not None)
        engine._state.books.clear()
        assert engine.due_mono_s(at(86_404)) > at(86_417).mono_s


def test_what_the_weights_say_is_followed_by_a_look_at_once(site: Site) -> None:
    """A verdict that is taken makes the next look due now; of a batch that nobody knows it is none."""
    engine, _ = plain_engine(site, None)
    for second in range(4):
        engine.idle(at(second))
    engine.work(WeightJudged(at(3.1), WeightAsked("hen-9", 0), WeightVerdict(True, "egg 7: loss")))
    assert engine.due_mono_s(at(3.1)) > at(3.1).mono_s
    engine.work(WeightJudged(at(3.2), WeightAsked("hen-1", 0), WeightVerdict(False, "")))
    assert engine.due_mono_s(at(3.2)) == at(3.2).mono_s


def test_a_request_is_followed_by_a_look_at_once(desk: Desk) -> None:
    """Whatever a person asks, what follows from it is looked at now."""
    for second in range(4):
        desk.engine.idle(at(second))
    assert desk.engine.due_mono_s(at(3)) > at(3).mono_s
    desk.ask(3.2, do="facts")
    assert desk.engine.due_mono_s(at(3.2)) == at(3.2).mono_s


# --- what a run takes up


def test_the_parts_of_a_boot_are_taken_up_in_order(site: Site) -> None:
    """By their numbers, each with its own boot, on the forward clock of now; what is only dated by its arrival is not."""
    line = Line(3, "node-a", 7, UPTIME, 0, 1_000, 0, 5_000)
    parts = (
        replace(line, id=5, from_up_ms=9_000),
        line,
        replace(line, id=4, boot=8),
        replace(line, id=6, basis=ARRIVAL),
    )
    state = start_state(replace(NOTHING, lines=parts, last_line=6), site, at(0))
    assert {boot: [li.id for li in lines] for boot, lines in state.node("node-a").lines.items()} == {7: [3, 5], 8: [4]}
    anchor_ms = to_ms(T0) - 500_000.0
    assert state.node("node-a").lines[7][0] == resume_line(line, anchor_ms, 500_000.0)
    assert state.last_line == 6


def test_what_else_is_taken_up(site: Site) -> None:
    """Numberings, strangers, what waits for whom, corrections in their order, work that goes on, and the last numbers."""
    fixes = tuple(
        Calibration("node-a/top", T0 - timedelta(days=n), None, None, "ada", "", Correction(1.0, 0.1 * n), None)
        for n in (2, 1)
    )
    unknown = Unknown("node-x/top", T0, T0, 3, 37.0, None)
    work = Handling("setter-1", T0, T0 + timedelta(seconds=90), 0.0, "sam")
    loaded = replace(
        NOTHING,
        numberings={("node-a", 7): Numbering(41)},
        unknown=(unknown,),
        waiting=(notice(1), notice(2), notice(3, "kim")),
        calibrations=fixes,
        handlings=(work,),
        last_alarm_number=11,
        last_notice=12,
    )
    state = start_state(loaded, site, at(0))
    assert state.node("node-a").numberings == {7: Numbering(41)}
    assert state.unknown == {"node-x/top": unknown}
    assert state.waiting == {"sam": 2, "kim": 1}
    assert state.unsent == {1: ("sam", 1), 2: ("sam", 2), 3: ("kim", 3)}
    assert state.probe("node-a/top").calibrations == fixes
    handling = state.machine("setter-1").handling
    assert handling is not None
    assert handling.until_mono_s == 590.0
    assert (state.last_number, state.last_notice) == (11, 12)


def test_an_alarm_is_taken_up_as_it_stands(site: Site) -> None:
    """One that is on no shelf is on none, whoever was asked last is asked from now on, and what was pending is not."""
    alarm = Alarm("setter-1", "dry-bulb-high-alarm", number=1, condition=True, pending_mono_s=3.0, pending_at=T0)
    (taken,) = start_state(replace(NOTHING, alarms=(alarm,)), site, at(0)).alarms.values()
    assert taken == replace(
        alarm, asked_mono_s=500.0, pending_mono_s=None, pending_at=None, answered=True, begun_mono_s=500.0
    )


# --- when it waits


class Waits(Inbox):
    """An inbox that gives these in turn, and writes down how long it was to be waited for the next."""

    def __init__(self, *items: Item | None) -> None:
        super().__init__()
        self.items = list(items)
        self.waits: list[float] = []

    def take(self, timeout_s: float) -> Item | None:
        self.waits.append(round(timeout_s, 6))
        return self.items.pop(0)


class Hand:
    """A clock that shows these seconds in turn."""

    def __init__(self, *seconds: float) -> None:
        self.seconds = list(seconds)

    def now(self) -> Now:
        return at(self.seconds.pop(0))


def test_a_group_is_not_kept_waiting_for_a_look(desk: Desk) -> None:
    """What came at second 1.3 is written at 6.3, although no look is due before 7."""
    desk.engine.work(arrived(1.3, 0))
    desk.engine.idle(at(6.0))
    inbox = Waits(Stop(at(6.1)))
    desk.engine.run(inbox, Hand(6.0, 6.0))
    assert inbox.waits == [0.3]


def test_a_failing_store_does_not_keep_the_run_awake(desk: Desk) -> None:
    """Between two tries the run rests, however old its group is: until the next try or look, and not at all when that is late."""
    desk.failing = True
    desk.engine.work(arrived(1.3, 0))
    desk.engine.idle(at(6.4))  # is written at last, which fails: tried again at 7.4, and looked at then
    inbox = Waits(None, None, None, Stop(at(7.5)))
    desk.engine.run(inbox, Hand(6.4, 6.4, 6.5, 6.9, 7.0, 7.4, 7.4, 7.4))
    assert inbox.waits == [1.0, 0.5, 0.0, 1.0]


def test_where_something_waits_nothing_is_waited_for(desk: Desk) -> None:
    """An item that lies in the inbox is taken at once."""
    desk.engine.idle(at(1.0))
    inbox = Waits(Linked(at(1.1), True, Broker(CONNECTED, "b:1")), Stop(at(1.2)))
    inbox.put(Linked(at(1.1), True, Broker(CONNECTED, "b:1")))
    desk.engine.run(inbox, Hand(1.0, 1.1, 1.2))
    assert inbox.waits == [0.0, 0.0]


def test_what_is_refused_counts_for_what_may_be_kept(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Readings and refused messages together; while the store works nothing is left out."""
    monkeypatch.setattr(engine_module, "MAX_KEPT", 4)
    refused = RefusedRow(T0, Refused("t", b"x", "why"))
    desk.failing = True
    desk.engine.work(arrived(1.0, 0))
    group = desk.engine._group
    group.refused += [refused] * 4
    desk.engine.idle(at(2.0))
    assert len(group.refused) == 4  # the store was not found failing yet
    desk.engine.idle(at(6.0))
    assert (len(group.readings), len(group.refused)) == (1, 2)
    desk.engine.idle(at(7.0))
    assert (len(group.readings), len(group.refused)) == (1, 2)


# --- when it writes


def begin(group: Group, what: str) -> None:
    match what:
        case "notices":
            group.notices.append(notice())
        case "attempts":
            group.attempts.append(Attempt(1, "later", "", T0, "sam"))
        case "batches":
            group.batches["hen-1"] = WEIGHED
        case "handlings":
            group.handlings["setter-1"] = None
        case "events":
            group.events.append(Event(T0, "clock", "site", "set"))
        case "refused":
            group.refused.append(RefusedRow(T0, Refused("t", b"x", "why")))


@pytest.mark.parametrize(
    ("what", "after_s"),
    [("notices", 0.0), ("attempts", 0.0), ("batches", 0.0), ("handlings", 0.0), ("events", 5.0), ("refused", 5.0)],
)
def test_what_is_written_at_once(desk: Desk, what: str, after_s: float) -> None:
    """What somebody waits for; the rest is kept for company for five seconds, and no longer."""
    desk.engine.idle(at(0.0))
    desk.groups.clear()
    begin(desk.engine._group, what)
    desk.engine.idle(at(1.0))
    desk.engine.idle(at(1.0 + max(0.0, after_s - 0.1)))
    assert bool(desk.groups) is (after_s == 0.0)
    desk.engine.idle(at(1.0 + after_s))
    assert len(desk.groups) == 1


def test_nothing_is_not_written(desk: Desk) -> None:
    """A run in which nothing happens commits nothing; a lone receipt is given without a commit."""
    for second in range(20):
        desk.engine.idle(at(second))
    desk.groups.clear()
    desk.said.clear()
    first = arrived(20.0, 0)
    desk.engine.work(first)
    desk.engine.idle(at(25.0))
    assert desk.kinds() == ["commit", "receipts", "stored"]
    desk.said.clear()
    for second in range(26, 40):
        desk.engine.idle(at(second))
    assert desk.said == []


def test_a_store_that_failed_is_tried_again_after_a_second(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    """Not before, and not later; the log has its failing once, and after how long it worked again."""
    desk.failing = True
    begin(desk.engine._group, "notices")
    desk.engine.idle(at(1.0))
    desk.engine.idle(at(1.9))
    assert desk.engine.counts["failed_commits"] == 1
    desk.engine.idle(at(2.0))
    assert desk.engine.counts["failed_commits"] == 2
    assert desk.engine.facts(at(2.26))["store_failing_s"] == 1.3
    desk.failing = False
    desk.engine.idle(at(3.0))
    assert len(desk.groups) == 1
    assert [r.getMessage().partition(" detail=")[0] for r in caplog.records] == [
        "store failing, nothing is lost, trying again",
        "store working again after_s=2 left_out=0",
    ]


def test_what_has_its_words_keeps_them(site: Site, desk: Desk) -> None:
    """An event that has a text, whatever was seen, or of which nothing was seen, is written as it is; what was seen is put into words."""
    events = [
        Event(T0, "door", "setter-1", "open", SEEN),
        Event(T0, "clock", "site", "set"),
        Event(T0, "clock", "site"),
    ]
    desk.engine._group.events += [*events, Event(T0, "door", "setter-1", what=SEEN)]
    begin(desk.engine._group, "batches")
    desk.engine.idle(at(1.0))
    assert desk.groups[-1].events[-4:-1] == events
    assert desk.groups[-1].events[-1] == Event(T0, "door", "setter-1", NoticeWords(site).happened(SEEN), SEEN)


# --- what is told


def test_a_sending_that_nobody_waits_for_leaves_nobody_waiting(site: Site) -> None:
    """The last of a contact leaves none; one more than that is not less than none; another contact's are its own."""
    desk = Desk(site, replace(NOTHING, waiting=(notice(1), notice(2, "kim")), last_notice=2, last_alarm_number=2))
    facts: Any = desk.engine.facts(at(0))
    assert facts["notices_waiting"] == {"sam": 1, "kim": 1}
    for second in (1, 2):
        desk.engine.work(Attempted(at(second), Attempt(1, "sent", "", T0, "sam")))
        facts = desk.engine.facts(at(second))
        assert facts["notices_waiting"] == {"kim": 1}
        assert desk.engine._state.waiting["sam"] == 0
    desk.engine.work(Attempted(at(3), Attempt(7, "sent", "", T0, "zoe")))
    assert desk.engine._state.waiting["zoe"] == 0


def test_whose_sending_it_was_is_known_from_the_notice(site: Site) -> None:
    """Where notice and outcome are written together the notice says whose it was."""
    desk = Desk(site)
    desk.engine._state.waiting = {"sam": 1, "kim": 1}
    desk.engine._group.notices.append(notice(5, "kim"))
    desk.engine.work(Attempted(at(1), Attempt(5, "sent", "", T0, "sam")))
    assert desk.engine._state.waiting == {"sam": 1, "kim": 0}


def test_what_was_cancelled_is_not_told(desk: Desk) -> None:
    """Of two that are written together only the other goes out."""
    desk.engine._group.notices += [notice(1, title="one"), notice(2, title="two")]
    desk.engine._group.attempts.append(Attempt(1, "cancelled", "outbox full", T0, "sam"))
    desk.engine.idle(at(1))
    assert ("notices", ["two"]) in desk.said


def test_what_never_waited_is_not_counted_as_gone(desk: Desk) -> None:
    """A notice for which the queue was full was never in it: cancelling it makes no room there."""
    desk.engine._state.waiting, desk.engine._state.unsent = {"sam": 2}, {7: ("sam", 3)}
    desk.engine.work(Attempted(at(1), Attempt(8, "cancelled", "outbox full", T0, "sam")))
    desk.engine.idle(at(10))
    assert desk.engine._state.waiting == {"sam": 2}
    desk.engine.work(Attempted(at(11), Attempt(7, "cancelled", "answered", T0, "sam")))
    desk.engine.idle(at(20))
    assert (desk.engine._state.waiting, desk.engine._state.unsent) == ({"sam": 1}, {})


# --- the facts


def test_a_probe_is_silent_beyond_what_it_is_allowed(site: Site) -> None:
    """Three of its intervals after it was heard, to the second, it is not; nor one that was heard since."""
    desk = Desk(site)
    allowed_s = 3.0 * site.probes["node-a/top"].interval_s
    desk.engine._state.probe("node-a/top").life_mono_s = at(0).mono_s
    for second, silent in ((allowed_s, []), (allowed_s + 0.1, ["node-a/top"])):
        assert desk.engine.facts(at(second))["silent_probes"] == silent


def many_probes(site: Site, *keys: str) -> Site:
    probe = site.probes["node-a/top"]
    probes = {key: replace(probe, key=key) for key in keys}
    return replace(site, probes=probes, by_machine=grouped(probes, "machine"), by_node=grouped(probes, "node"))


def test_the_facts_are_in_order(site: Site) -> None:
    """Silent, unusable and unknown probes, and nodes, by name, whatever came first."""
    desk = Desk(many_probes(site, "node-d/top", "node-c/top", "node-b/top", "node-a/top"))
    for node in ("node-d", "node-b"):
        desk.engine.work(Arrived(at(1), Refused("t", b"x", f"{node}: not JSON", node), None))
    for node in ("node-z", "node-y"):
        desk.engine.work(arrived(2, 0, node))
    facts: Any = desk.engine.facts(at(3.26))
    assert facts["silent_probes"] == ["node-a/top", "node-c/top"]
    assert list(facts["unusable_probes"]) == ["node-b/top", "node-d/top"]
    assert facts["unknown_probes"] == ["node-y/top", "node-z/top"]
    assert facts["up_s"] == 3.3


def test_a_node_is_told_of_for_what_it_says_or_for_its_clashes(desk: Desk) -> None:
    """A node that says nothing besides its air is in the facts only if numbers of it stood for two messages."""
    desk.engine.work(arrived(1, 0))
    assert desk.engine.facts(at(1))["nodes"] == {}
    desk.engine.work(Arrived(at(2), Pack("node-a", (Sample("top", 36.0, 57.0),), 7, 0, 1_001), None))
    assert desk.engine.facts(at(2))["nodes"] == {"node-a": {"says": {}, "clashes": 1}}


def test_a_node_that_left_the_other_site_is_there_no_more(desk: Desk) -> None:
    """Its last will under the other name says so: what it is silent for is then no other site's."""
    for online, known in ((True, {"node-a": ("shed", at(1).mono_s)}), (False, {})):
        desk.engine.work(Elsewhere(at(1), "node-a", "shed", online))
        assert desk.engine._state.elsewhere == known


def test_a_message_that_came_before_is_acknowledged_too(desk: Desk) -> None:
    """Nothing of it is written, and its broker would send it for ever."""
    desk.reading(1)
    desk.engine.idle(at(10))
    desk.said.clear()
    desk.seq -= 1
    desk.reading(20)
    assert "receipts" not in desk.kinds()
    desk.engine.idle(at(25))
    assert ("receipts", [1]) in desk.said


def test_one_of_two_daemons_under_one_name_is_heard_in_between(desk: Desk) -> None:
    """Put out by the other and back again, it is not connected, which health says; and no broker has stopped."""
    desk.engine.work(Linked(at(1.0), False, Broker(LOST, "b:1"), here=True))
    assert desk.engine._state.lost == BROKER
    desk.engine.work(Linked(at(2.0), False, Broker(TAKEN, "b:1"), here=True))
    assert desk.engine._state.lost == ""
    assert desk.engine.facts(at(3.0))["broker_connected"] is False
    assert "runs twice" in str(desk.engine.facts(at(3.0))["broker"])
