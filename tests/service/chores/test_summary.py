"""The day's summary: what is in it, that it is told once a local date, and that a restart does not tell it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from monitor.domain.alarms.alarm import NORMAL, SUPPRESSED, TAKEN_WHOLE, Alarm, Transition, acknowledge, state_of
from monitor.domain.alarms.notice import Answered, Facts, Notice, Standing, Task, Today
from monitor.domain.alarms.out import Out
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Candling, Entry, LookAgain, Note, Weighing
from monitor.domain.needs.batch import Batch, subject_of
from monitor.domain.needs.hearing import Hearing
from monitor.domain.needs.rules import WEIGHT_OFF
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.domain.signs.cooling import Cooling
from monitor.domain.state.record import Attempt, Group
from monitor.domain.watch.egg_alarms import judge_weight
from monitor.domain.watch.evaluate import settle
from monitor.service.chores.summary import today
from monitor.service.watch.engine import Engine, answered_before, start_state
from monitor.service.watch.inbox import Attempted, CalendarDue
from monitor.shown.phone.joined import NoticeWords
from tests.domain.house import PROFILES, Story, batch, site
from tests.fakes import MemoryStore

EIGHT = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
LOW = ("setter-1", "humidity-high-warning")
URGENT = ("setter-1", "dry-bulb-high-alarm")


def alarm(key: tuple[str, str], number: int, **facts: Any) -> Alarm:
    given: dict[str, Any] = {
        "condition": True,
        "acknowledged": False,
        "since": EIGHT - timedelta(hours=6),
        "value": 71.0,
    }
    return Alarm(*key, number=number, episode=1, about="rh_pct", **{**given, **facts})


class Day:
    """An engine over a record in memory, at the times that it is given. told: what it handed to the phone; called_off: whom nobody needs to tell."""

    def __init__(self, store: MemoryStore, at: datetime = EIGHT, house: Site | None = None) -> None:
        self.store, self.house = store, house or site()
        self.told: list[Notice] = []
        self.called_off: list[Answered] = []
        self.loaded = store.load()
        self.engine = Engine(
            site=self.house,
            ledger=store,
            state=start_state(self.loaded, self.house, self.now(at)),
            words=NoticeWords(self.house),
            give_receipts=lambda receipts: None,
            tell_stored=lambda rows: None,
            tell_notices=self.told.extend,
            tell_answered=self.called_off.extend,
            show_machine=lambda machine, view: None,
        )

    @staticmethod
    def now(at: datetime, clock_ok: bool = True) -> Now:
        return Now((at - EIGHT).total_seconds() + 10_000.0, at, clock_ok)

    def look(self, at: datetime, clock_ok: bool = True) -> list[Notice]:
        """The calendar says that something may be due; what is told then."""
        before = len(self.told)
        self.engine.work(CalendarDue(self.now(at, clock_ok)))
        return self.told[before:]


def with_alarms(*alarms: Alarm) -> MemoryStore:
    store = MemoryStore()
    group = Group(batches={"hen-1": batch()})
    group.transitions = [Transition(a, "normal", "unacknowledged", "because", EIGHT, 1.0) for a in alarms]
    store.commit(group)
    return store


def test_it_is_told_once_a_date_and_written_before() -> None:
    """At its hour, not before, once; the record knows the date, so that a new run does not tell it again, and the next day does."""
    store = with_alarms(alarm(LOW, 5))
    day = Day(store)
    assert day.look(EIGHT - timedelta(minutes=1)) == []
    (told,) = day.look(EIGHT)
    assert (told.priority, told.alarm_number, told.title) == ("low", 0, "When you can: Setter 1 humid")
    assert told.text == "Setter 1 humid since 02:00, 71 %RH now (No. 5)."
    assert [row.notice for row in store.notices()] == [told]
    assert day.look(EIGHT + timedelta(hours=1)) == []
    assert Day(store, EIGHT + timedelta(hours=2)).look(EIGHT + timedelta(hours=2)) == []
    later = EIGHT + timedelta(days=1)
    assert len(Day(store, later).look(later)) == 1


def test_a_store_that_fails_tells_it_when_it_is_written() -> None:
    """What cannot be written is not said; it is when it can be, and once."""
    store = with_alarms(alarm(LOW, 5))
    day = Day(store)
    store.failing = "disk full"
    assert day.look(EIGHT) == []
    store.failing = ""
    assert len(day.look(EIGHT + timedelta(seconds=2))) == 1


def test_without_a_clock_there_is_no_summary() -> None:
    """While the label is not to be trusted nothing is done; when it is, what is due is."""
    day = Day(with_alarms(alarm(LOW, 5)))
    assert day.look(EIGHT, clock_ok=False) == []
    assert len(day.look(EIGHT + timedelta(seconds=5))) == 1


def test_nothing_to_tell_is_no_message() -> None:
    """What is urgent, answered, over or suppressed is not in it; with nothing in it, it is not sent, and not asked for again."""
    over = {"condition": False}
    quiet = [
        alarm(("hatcher-1", "sensor-drift"), 0),  # without a number, by which it could be answered
        alarm(("hatcher-1", URGENT[1]), 0, out_of_service=True),
        alarm(URGENT, 1),
        alarm(LOW, 2, acknowledged=True),
        alarm(("hatcher-1", LOW[1]), 3, **over),
        alarm(("setter-1", "sensor-drift"), 5, suppressed="no eggs in it"),
    ]
    day = Day(with_alarms(*quiet))
    assert day.look(EIGHT) == []
    assert [chore.name for chore in day.store.load().chores] == ["summary sam"]


def test_what_is_out_of_service_is_told_each_day() -> None:
    """Whatever its priority, and whether it stands or not, with its end where it has one: or it would be forgotten."""
    day = Day(
        with_alarms(
            alarm(URGENT, 1, out_of_service=True),
            alarm(LOW, 2, out_of_service=True, out_until=EIGHT + timedelta(hours=30)),
        )
    )
    for n in range(2):
        (told,) = day.look(EIGHT + timedelta(days=n))
        assert told.today is not None
        assert [(s.number, s.facts.out, s.facts.out_until) for s in told.today.standing][:1] == [(1, True, None)]
        assert told.text.count(": out of service") == 2
        assert ": out of service until " in told.text


def test_a_machine_that_is_out_of_service_is_told_each_day() -> None:
    """Alone, too, until it is put back: or it would be forgotten."""
    store = MemoryStore()
    store.commit(Group(outs=[Out("setter-1", EIGHT, by="sam"), Out("node-a/top", EIGHT, EIGHT + timedelta(hours=30))]))
    day = Day(store)
    for n in range(2):
        (told,) = day.look(EIGHT + timedelta(days=2 * n))
        assert told.text.startswith("Setter 1 out of service until it is put back, by sam.")
        assert ("node-a/top" in told.text) == (n == 0)


def test_a_restart_keeps_what_is_out_of_service_out_until_its_end() -> None:
    """What stood when it was taken out stays covered in the next run, also where that starts after the end; then it is judged afresh."""
    covered = alarm(URGENT, 1, condition=False, acknowledged=True, suppressed=TAKEN_WHOLE)
    store = with_alarms(covered)
    store.commit(Group(outs=[Out("setter-1", EIGHT, EIGHT + timedelta(hours=30), "sam")]))
    for hours, state in ((1, SUPPRESSED), (29, SUPPRESSED), (31, NORMAL)):
        day = Day(store, EIGHT + timedelta(hours=hours))
        day.engine.idle(day.now(EIGHT + timedelta(hours=hours)))
        day.engine.idle(day.now(EIGHT + timedelta(hours=hours, seconds=2)))
        assert [state_of(each) for each in store.load().alarms] == [state], hours
    assert store.load().outs == ()


def test_whom_it_is_for() -> None:
    """Each contact at its own hour; who hears nothing low gets none."""
    hearing = {"kim": Hearing("high"), "ann": Hearing(summary=(EIGHT + timedelta(hours=1)).time())}
    house = replace(site(contacts=("sam", "kim", "ann")), hearing=hearing)
    day = Day(with_alarms(alarm(LOW, 5)), house=house)
    assert [n.contact for n in day.look(EIGHT)] == ["sam"]
    assert [n.contact for n in day.look(EIGHT + timedelta(hours=1))] == ["ann"]


def test_what_is_told_once_is_in_one_summary() -> None:
    """Eggs that cannot share a machine, say: once it was told, it is not repeated; what asks again each day stands in each."""
    once = ("setter-1", "bands-in-conflict")
    story = Story(batches=(batch(),))
    story.state.alarms = {once: alarm(once, 3), LOW: alarm(LOW, 5)}
    story.state.unsent = {1: ("sam", 3)}
    assert [each.number for each in today(story.look(), "sam").standing] == [3, 5]
    assert [each.number for each in today(story.look(), "kim").standing] == [5]


def test_a_weight_off_track_is_in_each_days_summary() -> None:
    """With the number to answer with, each day for as long as it stands; answered, or on track again, in no more of them."""
    story = Story(site=site({}), batches=(batch(day=11.0),))
    for off, number in ((True, 1), (False, None), (True, 2)):
        judge_weight(
            story.look(), story.state.batches["hen-1"], off, about="tray 7: loss by pip 9.0 %, target 13 to 16 %"
        )
        for _ in range(2):
            story.at_s += 86_400.0
            found = today(story.look(), "sam")
            assert [each.number for each in found.standing] == ([] if number is None else [number])
            if number is not None:
                notice = Notice(9, "summary", "sam", "low", "", "", story.now().utc, 0, today=found)
                worded = NoticeWords(story.site).word(notice)
                assert worded.title == "When you can: hen-1 weight loss off track"
                assert f"(No. {number})." in worded.text
    key = (subject_of("hen-1"), WEIGHT_OFF)
    settle(story.look(), key, acknowledge(story.state.alarms[key], "sam", story.now()))
    assert not today(story.look(), "sam")


def tasks(days: float, *facts: tuple[Any, float], eggs: Sequence[int | None] = (None,)) -> list[Task]:
    """What is to do in a hen's batch of that age; of facts, each with the hours since it was written."""
    story = Story(batches=(batch(day=days),))
    at = story.now().utc
    entries = tuple(
        Entry(at - timedelta(hours=h), at - timedelta(hours=h), "ada", fact, egg=egg, number=n)
        for n, ((fact, h), egg) in enumerate(zip(facts, list(eggs) * len(facts), strict=False), 1)
    )
    story.state.books["hen-1"] = EggBook(story.state.batches["hen-1"], entries)
    return list(today(story.look(), "sam").tasks)


def kinds(found: list[Task]) -> list[str]:
    return [task.kind for task in found]


def test_what_is_to_be_done_today() -> None:
    """Candling on its day, lockdown and hatch on theirs; weighing where the batch was ever weighed; nothing that was done today, and nothing on other days."""
    weighed = (Weighing(60.0), 24.0 * 5)
    assert kinds(tasks(7.0)) == ["candle"]
    assert kinds(tasks(7.0, (Candling("fertile"), 1.0))) == []
    assert kinds(tasks(7.0, (Candling("fertile"), 30.0))) == ["candle"]
    assert kinds(tasks(7.0, (Note("turned by hand"), 1.0))) == ["candle"]  # something else was written today
    assert kinds(tasks(5.0)) == kinds(tasks(8.0)) == []
    assert kinds(tasks(18.0)) == ["lockdown"]
    assert kinds(tasks(18.0, weighed)) == ["weigh", "lockdown"]
    assert kinds(tasks(18.0, weighed, (Weighing(55.0), 1.0))) == ["lockdown"]
    assert kinds(tasks(20.0)) == ["hatch"]
    assert kinds(tasks(21.0)) == []


def test_what_was_declared_or_has_its_own_reminder_is_no_task() -> None:
    """A lockdown that somebody declared this morning is done; that draw-down may begin in a parrot's eggs is told by an alarm of its own."""
    by_egg = replace(PROFILES["hen"], id="parrot", lockdown_by="internal pip")
    house = site(profiles={**PROFILES, "parrot": by_egg})
    for mine in (batch(day=18.0, declared=[("lockdown", 17.9)]), batch("grey-1", "parrot", day=18.0)):
        assert kinds(list(today(Story(site=house, batches=(mine,)).look(), "sam").tasks)) == []


def test_the_day_is_that_of_the_wall() -> None:
    """At 22:00 on the 10th fourteen hours east of Greenwich, what fell at one in the morning there is today's, what falls at two next morning is not;
    and a candling at two this morning was today's."""
    story = Story(site=replace(site(), zone=ZoneInfo("Pacific/Kiritimati")))
    now = story.now().utc
    for ago_h, egg_candled, expected in ((21, False, ["candle"]), (-4, False, []), (21, True, [])):
        mine = batch(day=7.0 + ago_h / 24.0)
        at = now - timedelta(hours=20)
        written = Entry(at, now, "ada", Candling("fertile"), egg=1, number=1)
        story.state.batches = {mine.id: mine}
        story.state.books[mine.id] = EggBook(mine, (written,) if egg_candled else ())
        assert kinds(list(today(story.look(), "sam").tasks)) == expected
    story.state.batches = {"hen-1": batch(day=3.0)}
    for in_h, expected in ((-21, ["look"]), (1, ["look"]), (4, []), (-23, [])):
        again = Entry(now - timedelta(days=2), now, "ada", LookAgain(now + timedelta(hours=in_h)), egg=1, number=1)
        story.state.books["hen-1"] = EggBook(story.state.batches["hen-1"], (again,))
        assert kinds(list(today(story.look(), "sam").tasks)) == expected


def test_the_day_s_tasks_are_in_order_of_time() -> None:
    """What falls at one time goes by batch and egg, whichever was set or written first; and what stands, the oldest alarm first."""
    story = Story(batches=(batch("hen-2", day=7.0), batch("hen-1", day=7.0), batch("late", day=18.0)))
    at = story.now().utc
    again = LookAgain(at + timedelta(hours=5))
    entries = tuple(Entry(at, at, "ada", again, egg=egg, number=n) for n, egg in enumerate((7, 3), 1))
    story.state.books["hen-2"] = EggBook(story.state.batches["hen-2"], entries)
    story.state.alarms = {key: alarm(key, number) for key, number in ((LOW, 9), (("hatcher-1", LOW[1]), 4))}
    found = today(story.look(), "sam")
    assert [(task.kind, task.batch, task.egg) for task in found.tasks] == [
        ("candle", "hen-1", None),
        ("candle", "hen-2", None),
        ("lockdown", "late", None),
        ("look", "hen-2", 3),
        ("look", "hen-2", 7),
    ]
    assert [each.number for each in found.standing] == [4, 9]


def test_what_somebody_wished_to_be_reminded_of() -> None:
    """A look again of today, by its egg."""
    at = Story().now().utc
    soon, tomorrow = LookAgain(at + timedelta(hours=5)), LookAgain(at + timedelta(days=1))
    assert tasks(5.0, (soon, 1.0), eggs=(7,)) == [Task("look", "hen-1", at + timedelta(hours=5), 7)]
    assert tasks(5.0, (tomorrow, 1.0), eggs=(7,)) == []


def test_a_closed_batch_has_nothing_to_do() -> None:
    """Nor one whose species is no longer configured."""
    closed = Batch("old", "hen", EIGHT - timedelta(days=7), 12, closed_at=EIGHT)
    story = Story(batches=(closed, Batch("lost", "unknown", EIGHT - timedelta(days=7), 12)))
    assert list(today(story.look(), "sam").tasks) == []


def test_an_answer_is_handed_on() -> None:
    """What a person answers, and what is over, is called off with the notices made so far; what begins is not."""
    day = Day(with_alarms(alarm(URGENT, 1), alarm(LOW, 2)))
    answered, ended = alarm(URGENT, 1), alarm(LOW, 2, condition=False)
    seen, transitions = acknowledge(answered, "sam", day.now(EIGHT))
    day.engine._group.transitions += [*transitions, Transition(ended, "unacknowledged", "returned", "over", EIGHT, 1.0)]
    day.engine._group.transitions.append(
        Transition(alarm(("hatcher-1", LOW[1]), 3), "normal", "unacknowledged", "", EIGHT, 1.0)
    )
    day.look(EIGHT - timedelta(hours=1))
    assert seen.acknowledged
    assert [(each.number, each.seen) for each in day.called_off] == [(1, True), (2, False)]


def test_what_was_answered_while_no_daemon_ran_is_not_told() -> None:
    """Of what a start finds unsent, only what still needs somebody."""
    store = with_alarms(
        alarm(URGENT, 1, acknowledged=True), alarm(LOW, 2), alarm(("hatcher-1", LOW[1]), 3, condition=False)
    )
    waiting = [Notice(n, f"{n}/{n}/sam", "sam", "low", "t", "x", EIGHT, n) for n in (1, 2, 3, 9)]
    store.commit(Group(notices=waiting))
    assert sorted((a.number, a.upto, a.seen) for a in answered_before(store.load())) == [(1, 9, True), (3, 9, False)]


def test_a_summary_that_waits_says_nothing_that_was_answered_meanwhile() -> None:
    """What only a waiting summary tells was answered while no daemon ran, or is over: a start knows it, though no notice of it waits."""
    store = with_alarms(alarm(LOW, 1, acknowledged=True), alarm(("hatcher-1", LOW[1]), 2))
    standing = tuple(Standing(number, Facts("setter-1", "humidity-low")) for number in (1, 2))
    store.commit(Group(notices=[Notice(9, "0/9/sam", "sam", "low", "t", "x", EIGHT, 0, today=Today((), standing))]))
    assert [(a.number, a.seen) for a in answered_before(store.load())] == [(1, True)]


def test_how_far_messages_came_outlives_a_restart() -> None:
    """Who was told, and since when one could not be, of what stands; a summary counts for no alarm."""
    store = with_alarms(alarm(URGENT, 1))
    made = [Notice(n, f"1/{n}/{who}", who, "high", "t", "x", EIGHT, 1) for n, who in ((1, "sam"), (2, "kim"))]
    store.commit(Group(notices=made))
    day = Day(store)
    day.engine.work(Attempted(day.now(EIGHT), Attempt(1, "sent", "", EIGHT + timedelta(minutes=1), "sam")))
    day.look(EIGHT + timedelta(seconds=6))
    for known in (day.engine._state.reached, Day(store).engine._state.reached):
        assert (1, "kim") not in known  # it waits for its turn, and no service refused it
    day.engine.work(Attempted(day.now(EIGHT), Attempt(2, "later", "no answer", EIGHT, "kim")))
    day.look(EIGHT + timedelta(seconds=12))
    for known in (day.engine._state.reached, Day(store).engine._state.reached):
        assert known[1, "sam"].told == EIGHT + timedelta(minutes=1)
        assert known[1, "sam"].unheard_since is None
        assert (known[1, "kim"].told, known[1, "kim"].unheard_since) == (None, EIGHT)


def test_a_cancelled_notice_waits_no_longer() -> None:
    """What was called off is cancelled in the record, and no contact is taken for unheard because of it."""
    store = with_alarms(alarm(LOW, 2))
    store.commit(Group(notices=[Notice(1, "2/1/sam", "sam", "low", "t", "x", EIGHT, 2)]))
    day = Day(store)
    assert day.engine._state.waiting == {"sam": 1}
    day.engine.work(Attempted(day.now(EIGHT), Attempt(1, "cancelled", "over before it was told", EIGHT, "sam")))
    day.look(EIGHT - timedelta(hours=1))
    assert (day.engine._state.waiting, day.engine._state.unsent) == ({"sam": 0}, {})
    assert [row.state for row in store.notices()] == ["cancelled"]


def test_coolings_of_the_day_are_in_it_while_they_are_to_come() -> None:
    """Those that begin later on this local date; of a batch that is over none."""
    story = Story(batches=(batch(),))
    now = story.now().utc
    minute = now.hour * 60 + now.minute
    cooling = Cooling("hen-1", (minute - 120, minute + 120), 600.0, None, None, now)
    story.state.coolings = {"hen-1": cooling, "gone": replace(cooling, of="gone")}
    tasks = [task for task in today(story.look(Group()), "phone").tasks if task.kind == "cool"]
    assert tasks == [Task("cool", "hen-1", now.replace(second=0, microsecond=0) + timedelta(hours=2))]
