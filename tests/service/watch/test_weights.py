"""Weights judged beside the engine: what asks for it, what is taken of it, and that nothing waits for it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from monitor.adapters.requests import read_request
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.needs.batch import subject_of
from monitor.domain.needs.rules import WEIGHT_OFF
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.service.ports import StoreFailure, WeightAsked, WeightVerdict
from monitor.service.watch.engine import Engine, start_state
from monitor.service.watch.inbox import Asked, WeightJudged
from monitor.service.watch.weights import Weights, judge_at_once
from monitor.shown.phone.joined import NoticeWords
from tests.domain.house import probes, site
from tests.fakes import MemoryStore
from tests.receivers import eventually

# Written out: taken from the program, they would move with it.
WEIGHTS_EVERY_S = 86_400.0  # once a day

T0 = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
KEY = (subject_of("hen-1"), WEIGHT_OFF)
OFF, FINE = WeightVerdict(True, "egg 7: loss by pip 18 %"), WeightVerdict(False, "")


class Room:
    """An engine on a record, with what it asks to be judged."""

    def __init__(
        self,
        site_: Site | None = None,
        store: MemoryStore | None = None,
        *,
        at_s: float = 0.0,
        weighs_daily: bool = True,
    ) -> None:
        self.store = MemoryStore() if store is None else store
        self.asked: list[WeightAsked] = []
        self.at_s = at_s
        self.site = site() if site_ is None else site_
        self.engine = Engine(
            site=self.site,
            ledger=self.store,
            state=start_state(self.store.load(), self.site, self.now()),
            give_receipts=lambda receipts: None,
            tell_stored=lambda rows: None,
            tell_notices=lambda notices: None,
            show_machine=lambda machine, view: None,
            words=NoticeWords(self.site),
            ask_weights=self.asked.extend,
            weighs_daily=weighs_daily,
        )

    def now(self) -> Now:
        return Now(500.0 + self.at_s, T0 + timedelta(seconds=self.at_s))

    def ask(self, do: str, batch: str | None = "hen-1", **request: Any) -> Mapping[str, Any]:
        about = {} if batch is None else {"batch": batch}
        answers: list[Mapping[str, Any]] = []
        self.engine.work(Asked(self.now(), read_request({"do": do} | about | request), answers.append))
        return answers[0] if answers else {}

    def write(self, kind: str, egg: int | None = 7, **fact: Any) -> Mapping[str, Any]:
        return self.ask("entry", by="ada", kind=kind, egg=egg, sure=True, fact=fact)

    def taken(self) -> list[str]:
        """The batches that were asked about since this was called last."""
        asked = [each.batch for each in self.asked]
        self.asked.clear()
        return asked

    def hear(self, asked: WeightAsked, verdict: WeightVerdict) -> None:
        self.engine.work(WeightJudged(self.now(), asked, verdict))

    def pass_(self, seconds: float) -> None:
        self.at_s += seconds
        self.engine.idle(self.now())

    def alarm(self) -> Alarm | None:
        return next((alarm for alarm in self.store.alarms() if alarm.key == KEY), None)

    def rings(self) -> bool:
        alarm = self.alarm()
        return alarm is not None and alarm.condition


@pytest.fixture
def room() -> Room:
    """hen-1 on day 9, in which egg 7 was weighed; what that asked is answered: on track."""
    room = Room()
    set_at = (T0 - timedelta(days=9)).isoformat()
    room.ask("batch-add", profile="hen", machine="setter-1", eggs=12, set_at=set_at)
    assert room.taken() == []  # nothing is weighed yet
    room.write("weighing", gross_g=60.0)
    (asked,) = room.asked
    room.hear(asked, FINE)
    room.asked.clear()
    return room


# --- what asks


@pytest.mark.parametrize(
    "write",
    [
        lambda room: room.write("weighing", gross_g=58.0),
        lambda room: room.write("size", length_mm=57.0, breadth_mm=43.0),
        lambda room: room.write("laid", stored_days=3),
        lambda room: room.write("candling", found="clear"),
        lambda room: room.write("sign", sign="internal pip"),
        lambda room: room.write("hatched"),
        lambda room: room.write("dead", stage="late"),
        lambda room: room.ask(
            "entry", by="ada", kind="weighing", fact={"gross_g": 59.0}, egg=7, replaces=1, sure=True
        ),
        lambda room: room.ask("entry", by="ada", kind="withdrawn", fact={"text": ""}, egg=7, replaces=1),
        lambda room: room.ask("weighings", by="ada", rows=[["2", 8, 58.0, None]], sure=True),
        lambda room: room.ask("move", machine="hatcher-1"),
        lambda room: room.ask("stage", stage="lockdown", sure=True),
        lambda room: room.ask("calibrate", None, probe="node-a/top", dry_bulb_c={"offset": 0.3}, by="ada"),
    ],
)  # fmt: skip
def test_what_bears_on_a_loss_has_it_judged(room: Room, write: Callable[[Room], Mapping[str, Any]]) -> None:
    """Each such request asks once, as soon as it is in the record."""
    answer = write(room)
    assert "error" not in answer, answer
    assert room.taken() == ["hen-1"]


@pytest.mark.parametrize(
    "write",
    [
        lambda room: room.write("note", text="quiet"),
        lambda room: room.write("look-again", look_at=(T0 + timedelta(days=2)).isoformat(), text=""),
        lambda room: room.write("finding", finding="sticky-chick"),
        lambda room: room.ask("close"),
        lambda room: room.ask("batch-add", batch="hen-2", profile="hen", machine="setter-1", set_at=T0.isoformat()),
        lambda room: room.ask("room", None),
    ],
)
def test_what_does_not_bear_on_it_asks_nothing(room: Room, write: Callable[[Room], Mapping[str, Any]]) -> None:
    """A note, a finding, a closing and another batch change no egg's loss."""
    assert "error" not in write(room)
    assert room.taken() == []


def test_a_calibration_asks_where_its_air_was() -> None:
    """Only the batches that were in that probe's machine."""
    watched = probes(("node-a/top", "setter-1"), ("node-b/top", "hatcher-1"))
    room = Room(site(watched))
    for batch, machine in (("hen-1", "setter-1"), ("hen-2", "hatcher-1")):
        room.ask(
            "batch-add", batch, profile="hen", machine=machine, eggs=12, set_at=(T0 - timedelta(days=9)).isoformat()
        )
        room.ask("entry", batch, by="ada", kind="weighing", fact={"gross_g": 60.0}, egg=7)
    room.asked.clear()
    room.ask("calibrate", None, probe="node-b/top", rh_pct={"offset": 5.0}, by="ada")
    assert room.taken() == ["hen-2"]


def test_a_split_asks_for_both(room: Room) -> None:
    """What each loses, and is heading for, is another matter now."""
    room.ask("split", eggs=[7], machine="hatcher-1", by="ada")
    assert sorted(room.taken()) == ["hen-1", "hen-1-b"]


def test_a_batch_opened_again_is_judged(room: Room) -> None:
    """The alarm that a closing by mistake ended comes back."""
    room.write("weighing", gross_g=50.0)
    room.hear(room.asked[-1], OFF)
    assert room.rings()
    room.ask("close")
    assert not room.rings()
    room.asked.clear()
    room.ask("reopen")
    (asked,) = room.asked
    room.hear(asked, OFF)
    assert room.rings()


def test_each_day_it_is_judged_anew(room: Room) -> None:
    """By passing time alone, once a day; a driver that owns the clock is told that it is due."""
    room.pass_(WEIGHTS_EVERY_S - 60.0)
    assert room.taken() == []
    assert room.engine.due_mono_s(room.now()) <= room.now().mono_s + 60.0
    room.pass_(60.0)
    assert room.taken() == ["hen-1"]
    room.pass_(1.0)
    assert room.taken() == []


# --- what is taken


def test_a_single_request_asks_only_about_what_it_wrote(room: Room) -> None:
    """Without a daemon nothing is judged for the day alone: only what was just written is."""
    once = Room(store=room.store, at_s=room.at_s + 60.0, weighs_daily=False)
    once.pass_(2 * WEIGHTS_EVERY_S)
    assert once.taken() == []
    once.write("weighing", gross_g=58.0)
    assert once.taken() == ["hen-1"]


def test_where_nothing_bears_nobody_is_asked() -> None:
    """A day that passes in a house where nothing was weighed wakes nobody."""
    room, calls = Room(), list[Sequence[WeightAsked]]()
    room.engine._ask_weights = calls.append
    room.pass_(0.0)
    room.pass_(2 * WEIGHTS_EVERY_S)
    assert calls == []


def test_a_verdict_begins_and_ends_the_alarm(room: Room) -> None:
    """Off begins it with its words, in the record at once; nobody can say keeps it; on track ends it."""
    asked = WeightAsked("hen-1", 1)
    room.hear(asked, OFF)
    alarm = room.alarm()
    assert alarm is not None
    assert (room.rings(), alarm.about) == (True, OFF.about)
    room.hear(asked, WeightVerdict(None, ""))
    assert room.rings()
    room.hear(asked, FINE)
    assert not room.rings()


def test_what_is_outdated_is_dropped(room: Room) -> None:
    """A verdict from before the last entry changes nothing; the one that entry asked for does."""
    room.write("weighing", gross_g=50.0)
    (first,) = room.asked
    room.write("weighing", gross_g=58.0, egg=8)
    room.hear(first, OFF)
    assert room.alarm() is None
    room.hear(room.asked[-1], OFF)
    assert room.rings()


def test_what_is_about_to_be_written_outdates_it_too(room: Room) -> None:
    """While an entry waits for a record that cannot be written, what was read without it is not taken."""
    room.write("weighing", gross_g=50.0)
    (asked,) = room.asked
    room.store.failing = "disk full"
    room.write("withdrawn", text="")  # refused: it names no entry
    room.ask("entry", by="ada", kind="withdrawn", fact={"text": ""}, egg=7, replaces=2)
    room.hear(asked, OFF)
    room.store.failing = ""
    room.pass_(5.0)
    assert room.alarm() is None
    room.hear(room.asked[-1], FINE)
    assert room.alarm() is None


def test_a_closed_batch_is_not_judged(room: Room) -> None:
    """What was asked before it was closed begins nothing."""
    room.write("weighing", gross_g=50.0)
    (asked,) = room.asked
    room.ask("close")
    room.hear(asked, OFF)
    assert room.alarm() is None


def test_the_room_shows_it_once(room: Room) -> None:
    """An alarm about a batch stands with its machine, and not a second time among the others; of a batch in none, among those."""
    room.ask("batch-add", "hen-2", profile="hen", eggs=12, set_at=(T0 - timedelta(days=9)).isoformat())
    room.ask("entry", "hen-2", by="ada", kind="weighing", fact={"gross_g": 60.0}, egg=7)
    room.hear(WeightAsked("hen-1", 1), OFF)
    room.hear(room.asked[-1], OFF)
    shown = room.ask("room", None)
    here = {view["machine"]: [a["subject"] for a in view["alarms"]] for view in shown["machines"]}
    assert here["setter-1"] == ["batch hen-1"]
    assert [a["subject"] for a in shown["others"]] == ["batch hen-2"]


def test_killed_between_writing_and_judging(room: Room) -> None:
    """A process that dies when the entry is written and not yet judged: the next one asks at its start, and the alarm comes."""
    room.write("weighing", gross_g=50.0)
    assert room.asked
    after = Room(room.site, room.store, at_s=60.0)
    after.pass_(0.0)
    (asked,) = after.asked
    after.hear(asked, OFF)
    assert after.rings()


def test_in_line(room: Room) -> None:
    """A driver without threads judges what was asked before it goes on; what nobody can judge by leaves all as it is."""
    room.write("weighing", gross_g=50.0)
    judge_at_once(room.engine.work, room.asked, room.now(), judge=lambda batch, now: None)
    assert (room.asked, room.alarm()) == ([], None)
    room.write("weighing", gross_g=49.0)
    judge_at_once(room.engine.work, room.asked, room.now(), judge=lambda batch, now: OFF)
    assert room.asked == []
    assert room.rings()


# --- on a thread of its own


class Desk:
    """Weights on a thread, with a record that does what a test wants."""

    def __init__(self, judge: Callable[[str], WeightVerdict | None], pace: float = 1000.0) -> None:
        self.reported: list[tuple[WeightAsked, WeightVerdict]] = []
        self.weights = Weights(judge=judge, report=lambda *told: self.reported.append(told), pace=pace)
        self._thread = threading.Thread(target=self.weights.run)

    def __enter__(self) -> Desk:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.weights.stop()
        self._thread.join(5.0)
        assert not self._thread.is_alive()


def test_a_slow_record_holds_up_nothing(room: Room) -> None:
    """While a loss is worked out, asking returns at once, readings and requests are done, and a newer question takes the older one's place."""
    begun, go_on = threading.Event(), threading.Event()
    done: list[str] = []

    def slow(batch: str) -> WeightVerdict:
        begun.set()
        assert go_on.wait(20.0)
        done.append(batch)
        return FINE

    with Desk(slow) as desk:
        desk.weights.ask([WeightAsked("hen-1", 1)])
        assert begun.wait(20.0)
        desk.weights.ask([WeightAsked("hen-1", 2), WeightAsked("hen-2", 1)])
        desk.weights.ask([WeightAsked("hen-1", 3)])
        assert room.write("note", text="meanwhile")["did"] == "written"
        assert desk.reported == []
        go_on.set()
        assert eventually(lambda: len(desk.reported) == 3, 20.0)
    asked = [each for each, _ in desk.reported]
    assert asked == [WeightAsked("hen-1", 1), WeightAsked("hen-1", 3), WeightAsked("hen-2", 1)]


def test_a_failing_record_is_tried_again(caplog: pytest.LogCaptureFixture) -> None:
    """As often as it takes, with one line in the log; what was asked meanwhile is not forgotten."""
    failures = [StoreFailure("disk input/output error")] * 3

    def failing(batch: str) -> WeightVerdict:
        if failures:
            raise failures.pop()
        return OFF

    with Desk(failing) as desk:
        desk.weights.ask([WeightAsked("hen-1", 1), WeightAsked("hen-2", 1)])
        assert eventually(lambda: len(desk.reported) == 2, 20.0)
    assert {each.batch for each, _ in desk.reported} == {"hen-1", "hen-2"}
    assert [r.message.split(" ")[0] for r in caplog.records] == ["weights", "record"]


def test_a_newer_question_outlives_a_failure() -> None:
    """What is asked while an older one fails is what is judged next, once."""
    failed = threading.Event()
    calls: list[str] = []

    def once(batch: str) -> WeightVerdict:
        calls.append(batch)
        if len(calls) == 1:
            desk.weights.ask([WeightAsked("hen-1", 2)])
            failed.set()
            raise StoreFailure("busy")
        return OFF

    with Desk(once) as desk:
        desk.weights.ask([WeightAsked("hen-1", 1)])
        assert failed.wait(20.0)
        assert eventually(lambda: desk.reported != [], 20.0)
    assert [each for each, _ in desk.reported] == [WeightAsked("hen-1", 2)]


def test_a_fault_of_its_own_ends_nothing(caplog: pytest.LogCaptureFixture) -> None:
    """A figure that cannot be worked out is logged with its trace, and the next batch is judged; the air is watched on."""

    def wrong(batch: str) -> WeightVerdict:
        if batch == "hen-1":
            raise ZeroDivisionError("a figure")
        return OFF

    with Desk(wrong) as desk:
        desk.weights.ask([WeightAsked("hen-1", 1), WeightAsked("hen-2", 1)])
        assert eventually(lambda: desk.reported != [], 20.0)
    assert [each.batch for each, _ in desk.reported] == ["hen-2"]
    assert "ZeroDivisionError" in caplog.text


def test_it_stops_while_the_record_fails() -> None:
    """A stop does not wait for the next try."""

    def failing(batch: str) -> WeightVerdict:
        raise StoreFailure("gone")

    with Desk(failing, pace=1.0) as desk:
        desk.weights.ask([WeightAsked("hen-1", 1)])
    assert desk.reported == []


@pytest.mark.parametrize(("pace", "rest_s"), [({}, 30.0), ({"pace": 1.0}, 30.0), ({"pace": 60.0}, 0.5)])
def test_how_long_a_failing_record_is_left_alone(pace: dict[str, float], rest_s: float) -> None:
    """Half a minute of the clock's time; unless told otherwise that is half a minute of life's."""
    rests: list[float] = []

    class Stopping(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            assert timeout is not None
            rests.append(timeout)
            return True

    def failing(batch: str) -> WeightVerdict:
        if len(rests) == 2:
            weights.stop()
            return OFF
        raise StoreFailure("gone")

    weights = Weights(judge=failing, report=lambda asked, verdict: None, **pace)
    weights._stopping = Stopping()
    weights.ask([WeightAsked("hen-1", 1)])
    weights.run()
    assert rests == [rest_s, rest_s]


def test_each_failing_of_a_record_is_said(caplog: pytest.LogCaptureFixture) -> None:
    """Once when it begins and once when it is over, and anew when it fails anew; where it never failed nothing is said."""
    answers: list[WeightVerdict | None] = [OFF, None, None, FINE, None, FINE]  # none: it fails

    def judge(batch: str) -> WeightVerdict:
        answer = answers.pop(0)
        if answer is None:
            raise StoreFailure("gone")
        return answer

    with Desk(judge) as desk:
        for n in (1, 2, 3):
            desk.weights.ask([WeightAsked("hen-1", n)])
            assert eventually(lambda n=n: len(desk.reported) == n, 20.0)  # type: ignore[misc]
    said = [record.getMessage().split(" ")[0] for record in caplog.records]
    assert said == ["weights", "record", "weights", "record"]


def test_what_nobody_can_judge_is_not_reported() -> None:
    """And the next one is judged."""
    with Desk(lambda batch: None if batch == "hen-1" else OFF) as desk:
        desk.weights.ask([WeightAsked("hen-1", 1), WeightAsked("hen-2", 1)])
        assert eventually(lambda: desk.reported != [], 20.0)
    assert [asked.batch for asked, _ in desk.reported] == ["hen-2"]


def test_all_that_was_asked_in_line_is_judged_in_its_order() -> None:
    """The first first; one of which nothing can be said is passed over, and each is handed on as of now."""
    asked = [WeightAsked(name, n) for n, name in enumerate(("hen-1", "hen-2", "hen-3"))]
    wanted, judged, now = list(asked), list[Any](), Now(1.0, T0)

    def judge(batch: str, at: datetime) -> WeightVerdict | None:
        assert at == T0
        return None if batch == "hen-2" else OFF

    judge_at_once(judged.append, asked, now, judge=judge)
    assert asked == []
    assert judged == [WeightJudged(now, wanted[0], OFF), WeightJudged(now, wanted[2], OFF)]


def test_a_note_beside_a_weighing_does_not_hide_it(room: Room) -> None:
    """A book in which not every entry is a weighing is one of a batch that is weighed; one without any is not."""
    room.write("note", text="quiet")
    room.write("weighing", gross_g=58.0)
    assert room.taken() == ["hen-1"]
    room.ask(
        "batch-add", "hen-2", profile="hen", machine="setter-1", eggs=12, set_at=(T0 - timedelta(days=9)).isoformat()
    )
    room.ask("entry", "hen-2", by="ada", kind="candling", fact={"found": "clear"}, egg=7)
    assert room.taken() == []


def test_a_calibration_asks_where_its_air_ever_was(room: Room) -> None:
    """Eggs that have moved on lost some of their water in that air."""
    room.ask("move", machine="hatcher-1")
    room.asked.clear()
    room.ask("calibrate", None, probe="node-a/top", dry_bulb_c={"offset": 0.3}, by="ada")
    assert room.taken() == ["hen-1"]


def test_a_verdict_of_the_first_question_of_a_run_is_taken(room: Room) -> None:
    """Where nothing was written in this run yet what was asked at its start counts; after an entry it does not."""
    again = Room(room.site, room.store, at_s=60.0)
    again.pass_(0.0)
    (asked,) = again.asked
    again.write("weighing", gross_g=50.0)
    again.hear(asked, OFF)
    assert not again.rings()
    again.hear(again.asked[-1], OFF)
    assert again.rings()
