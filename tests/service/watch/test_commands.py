"""What a person can ask: each request's answer, each wrong one's line, and that nothing changes after a wrong one."""

from __future__ import annotations

import copy
import functools
import json
import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.alarm import ACKNOWLEDGED, NORMAL, OUT_OF_SERVICE, SHELVED, UNACKNOWLEDGED, Alarm
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Entry, Note
from monitor.domain.needs.batch import Declared, Stay
from monitor.domain.needs.rules import DISAGREE, EGG_HOT, HANDLING_OVER, LOOK_AGAIN, SENSOR_FAILED
from monitor.domain.state.record import Group
from monitor.domain.wall import utc_text
from monitor.service.watch.commands import MAX_BACKDATE, batch_view
from monitor.service.watch.requests import RequestError
from tests.asking import perform
from tests.domain.house import PROFILES, T0, Air, Story, batch, probes, site, there
from tests.told import event_words

HOT: Air = (39.5, 45.0)
HOLDING = "setter-1, hatcher-1, still-1"


def ask(story: Story, do: str, **request: Any) -> Mapping[str, Any]:
    """A request that is met; what it changed is written down in the story."""
    out = Group()
    answer = perform(story.state, story.site, {"do": do, **request}, story.now(), out)
    story.adopt(out)
    return answer


def refused(story: Story, do: Any, **request: Any) -> str:
    """The line of a request that is not met; nothing may have changed by it, and nothing is to be written."""
    before = copy.deepcopy(story.state)
    out = Group()
    with pytest.raises(RequestError) as raised:
        perform(story.state, story.site, {"do": do, **request}, story.now(), out)
    assert story.state == before
    assert out.empty()
    assert "\n" not in str(raised.value)
    return str(raised.value)


def house() -> Story:
    """A hen's eggs on day 5 in setter-1, and the story an hour along."""
    story = Story(batches=(batch(),))
    story.at_s = 3_600.0
    story.tick()
    story.transitions.clear()
    story.notices.clear()
    return story


def hot() -> Story:
    """A house whose setter is too hot: alarm 1 stands."""
    story = Story(batches=(batch(),), air={"node-a/top": HOT})
    story.run(minutes=1)
    assert story.alarm("dry-bulb-high-alarm").number == 1
    return story


@functools.cache
def hot_once() -> Story:
    """The same house for many examples, none of which changes it."""
    return hot()


# Batches.


def test_a_batch_is_set() -> None:
    """A new batch is in its machine since its set time, and the machine's limits are its own at once."""
    story = Story()
    answer = ask(
        story,
        "batch-add",
        batch="hen-2",
        profile="hen",
        machine="setter-1",
        set_at="2026-03-08T08:00:00Z",
        eggs=24,
        note="ü",
    )
    assert answer["machine"] == "setter-1"
    assert answer["day"] == 2.0
    assert answer["did"] == "set: hen"
    assert json.loads(json.dumps(answer)) == answer
    assert there(story.state.machine("setter-1").plan).limits
    assert [(e.kind, e.subject, event_words(e)) for e in story.events] == [("batch", "hen-2", "set: hen")]


def test_a_batch_may_be_one_egg_or_a_hundred_thousand() -> None:
    """Both ends of what a batch may hold are taken."""
    for eggs in (1, 100_000):
        answer = ask(house(), "batch-add", batch="b", profile="hen", set_at="2026-03-08T08:00:00Z", eggs=eggs)
        assert answer["eggs"] == eggs


def test_programs_are_given_the_day_in_thousandths() -> None:
    """A third of a day is 0.333, cut off and not rounded."""
    third, two_thirds = T0 + timedelta(hours=8), T0 + timedelta(hours=16)
    assert batch_view(batch(day=0.0), third)["day"] == 0.333
    assert batch_view(batch(day=0.0), two_thirds)["day"] == 0.666


def test_a_set_time_has_a_zone() -> None:
    """A time in another zone is the same instant."""
    story = Story()
    answer = ask(story, "batch-add", batch="b", profile="hen", set_at="2026-03-08T10:00:00+02:00")
    assert answer["set_at"] == "2026-03-08T08:00:00.000Z"
    assert answer["machine"] is None


def test_a_batch_moves_is_declared_and_closes() -> None:
    """Move, stage and close, each at a time that is over or now."""
    story = house()
    answer = ask(story, "move", batch="hen-1", machine="hatcher-1", at="2026-03-10T08:30:00Z")
    assert [s["machine"] for s in answer["stays"]] == ["setter-1", "hatcher-1"]
    assert answer["machine"] == "hatcher-1"
    answer = ask(story, "stage", batch="hen-1", stage="lockdown", sure=True)
    assert answer["declared"] == [{"stage": "lockdown", "at": "2026-03-10T09:00:00.000Z"}]
    assert there(story.state.machine("hatcher-1").plan).needs.occupants[0].stage == "lockdown"
    answer = ask(story, "close", batch="hen-1")
    assert (answer["machine"], answer["closed_at"]) == (None, "2026-03-10T09:00:00.000Z")
    assert there(story.state.machine("hatcher-1").plan).limits == ()


def test_closing_ends_what_stands() -> None:
    """Closing the last batch of a machine suppresses its standing alarm, in the same group."""
    story = hot()
    ask(story, "close", batch="hen-1")
    assert story.state_of("dry-bulb-high-alarm") == "suppressed by design"


ADD = {"batch": "b", "profile": "hen", "set_at": "2026-03-08T08:00:00Z"}
NO_TIME = "expected a time such as 2026-03-01T18:00:00Z"


def test_a_machine_goes_out_of_service_as_a_whole_and_back() -> None:
    """With eggs in it only for who is sure; the answer says until when, by whom and what is judged on; the room says it till it is back."""
    story = hot()
    assert refused(story, "take-out", of="setter-1", by="sam") == (
        "setter-1: eggs of hen-1 are in there, and of them only deadly heat, or eggs too hot or too cold, is still told,"
        " expected --sure to do it all the same"
    )
    answer = ask(story, "take-out", of="setter-1", by="sam", for_s=7200.0, sure=True)
    until = utc_text(story.now().utc + timedelta(hours=2))
    assert answer["did"] == f"out of service until {utc_text(story.now().utc + timedelta(hours=2), 'minutes')}"
    view = {
        "subject": "setter-1", "machine": "setter-1", "since": utc_text(story.now().utc), "until": until, "by": "sam",
        "judged_by": ["node-a/top"], "batches": ["hen-1"],
    }  # fmt: skip
    assert answer == {"did": answer["did"], **view}
    assert ask(story, "room")["out_of_service"] == [view]
    assert ask(story, "take-out", of="setter-1", by="kim")["until"] is None  # another end needs nobody to be sure anew
    assert refused(story, "take-out", of="setter-1", out=False, for_s=5.0).startswith("setter-1: put back for a time")
    assert ask(story, "take-out", of="setter-1", out=False, by="kim")["did"] == "back in service"
    assert "out_of_service" not in ask(story, "room")
    assert refused(story, "take-out", of="setter-1", out=False) == "setter-1: not out of service, expected one of: none"
    assert event_words(story.events[-1]).endswith("back in service by kim")


def test_a_probe_goes_out_of_service() -> None:
    """Where it is the only one of a machine with eggs, nobody watches them, and that is asked; beside another it is not, nor of an empty one."""
    story = house()
    assert "nobody watches them then, expected --sure" in refused(story, "take-out", of="node-a/top")
    answer = ask(story, "take-out", of="node-a/top", sure=True)
    assert (answer["judged_by"], answer["batches"]) == ([], ["hen-1"])
    both = {"node-a/top": (37.6, 55.0), "node-a/low": (37.6, 55.0)}
    house_of_two = site(probes(("node-a/top", "setter-1"), ("node-a/low", "setter-1")))
    two = Story(batches=(batch(),), site=house_of_two, air=dict(both))
    two.run(minutes=2)
    answer = ask(two, "take-out", of="node-a/top")
    assert (answer["judged_by"], answer["batches"], answer["until"]) == (["node-a/low"], [], None)
    assert "nobody watches them then" in refused(two, "take-out", of="node-a/low")
    assert "only deadly heat, or eggs" in refused(two, "take-out", of="setter-1")
    ask(two, "take-out", of="node-a/low", sure=True)
    assert "nobody watches them then" in refused(two, "take-out", of="setter-1")
    silent = Story(batches=(batch(),), site=house_of_two, air=dict(both))
    silent.run(minutes=2)
    silent.air["node-a/low"] = None
    silent.run(minutes=30)  # what is not heard watches nothing
    assert "nobody watches them then" in refused(silent, "take-out", of="node-a/top")
    answer = ask(silent, "take-out", of="node-a/top", sure=True)
    assert (answer["judged_by"], answer["batches"]) == ([], ["hen-1"])
    assert ask(Story(), "take-out", of="node-a/top")["batches"] == []
    assert refused(two, "take-out", of="setter-7").startswith("out of service 'setter-7': no such probe or machine")
    for for_s in (0.0, -1.0, 31 * 86_400.0):
        assert "more than 0 and at most 30 days" in refused(two, "take-out", of="setter-1", for_s=for_s)


def test_eggs_that_come_into_what_is_out_of_service() -> None:
    """Set, moved or split into it: the answer says so, for they are watched less there."""
    story = house()
    assert "out_of_service" not in ask(story, "move", batch="hen-1", machine="hatcher-1", at=utc_text(T0))
    ask(story, "take-out", of="setter-1", by="sam")
    set_at = utc_text(T0 - timedelta(days=1))
    added = ask(story, "batch-add", batch="hen-2", profile="hen", machine="setter-1", set_at=set_at, eggs=6)
    assert [(each["subject"], each["batches"]) for each in added["out_of_service"]] == [("setter-1", ["hen-2"])]
    moved = ask(story, "move", batch="hen-1", machine="setter-1")
    assert [each["subject"] for each in moved["out_of_service"]] == ["setter-1"]
    split = ask(story, "split", batch="hen-2", count=2, machine="hatcher-1", by="sam")
    assert "out_of_service" not in split
    again = ask(story, "split", batch=split["batch"], count=1, machine="setter-1", by="sam")
    assert [each["subject"] for each in again["out_of_service"]] == ["setter-1"]
    assert "out_of_service" not in ask(story, "close", batch="hen-2")


@pytest.mark.parametrize(
    ("do", "request_", "complaint"),
    [
        (
            "batch-add",
            {**ADD, "profile": "dodo"},
            f"batch b: unknown species 'dodo', expected one of: {', '.join(sorted(PROFILES))}",
        ),
        (
            "batch-add",
            {**ADD, "set_at": "2026-03-10T09:00:01Z"},
            "batch b: set time 2026-03-10T09:00:01Z is in the future, expected now or before",
        ),
        (
            "batch-add",
            {**ADD, "set_at": "2025-03-08T08:00:00Z"},
            "batch b: set time 2025-03-08T08:00:00Z is more than 200 days ago",
        ),
        ("batch-add", {**ADD, "set_at": "yesterday"}, f"set_at: 'yesterday', {NO_TIME}"),
        ("batch-add", {**ADD, "set_at": "2026-03-08T08:00:00"}, f"set_at: '2026-03-08T08:00:00', {NO_TIME}"),
        ("batch-add", {**ADD, "set_at": 1_700_000_000}, f"set_at: 1700000000, {NO_TIME}"),
        (
            "batch-add",
            {**ADD, "set_at": "0001-01-01T00:00:00+14:00"},
            f"set_at: '0001-01-01T00:00:00+14:00', {NO_TIME}",
        ),
        (
            "batch-add",
            {**ADD, "set_at": "9999-12-31T23:59:59-14:00"},
            f"set_at: '9999-12-31T23:59:59-14:00', {NO_TIME}",
        ),
        (
            "batch-add",
            {**ADD, "batch": "hen-1"},
            "batch hen-1: there is one by that name already, expected a new name",
        ),
        ("batch-add", {**ADD, "batch": "Hen 1"}, "batch 'Hen 1': expected 1 to 32 of a-z, 0-9 and -"),
        ("batch-add", {**ADD, "batch": "b" * 33}, f"batch {'b' * 33!r}: expected 1 to 32 of a-z, 0-9 and -"),
        ("batch-add", {**ADD, "batch": ""}, "batch: '', expected a text of at most 500 characters"),
        ("batch-add", {**ADD, "batch": None}, "batch: None, expected a text of at most 500 characters"),
        ("batch-add", {**ADD, "eggs": 0}, "batch b: eggs 0, expected a whole number from 1 to 100000"),
        ("batch-add", {**ADD, "eggs": True}, "eggs: True, expected a whole number"),
        ("batch-add", {**ADD, "eggs": 2.5}, "eggs: 2.5, expected a whole number"),
        ("batch-add", {**ADD, "note": "\udce4"}, "note: '\\udce4', expected text in UTF-8"),
        ("batch-add", {**ADD, "machine": "cellar"}, f"batch b: no machine 'cellar', expected one of: {HOLDING}"),
        ("batch-add", {**ADD, "machine": "room"}, f"batch b: room is a room, expected one of: {HOLDING}"),
        (
            "move",
            {"batch": "hen-1", "machine": "cellar"},
            f"batch hen-1: no machine 'cellar', expected one of: {HOLDING}",
        ),
        ("move", {"batch": "hen-1", "machine": "room"}, f"batch hen-1: room is a room, expected one of: {HOLDING}"),
        (
            "move",
            {"batch": "hen-1", "machine": "setter-1"},
            "batch hen-1: already in setter-1, expected another machine",
        ),
        (
            "move",
            {"batch": "hen-1", "machine": "hatcher-1", "at": "2026-03-05T07:59:59Z"},
            "batch hen-1: move at 2026-03-05T07:59:59Z is before it came to setter-1 (2026-03-05T08:00:00Z),"
            " expected a later time (a batch cannot be in two machines at once)",
        ),
        (
            "move",
            {"batch": "hen-1", "machine": "hatcher-1", "at": "2026-03-10T09:00:01Z"},
            "batch hen-1: 2026-03-10T09:00:01Z is in the future, expected now or before",
        ),
        (
            "move",
            {"batch": "hen-1", "machine": "hatcher-1", "at": "2025-03-10T09:00:01Z"},
            "batch hen-1: 2025-03-10T09:00:01Z is more than 200 days ago",
        ),
        (
            "move",
            {"batch": "hen-9", "machine": "hatcher-1"},
            "batch 'hen-9': no such batch, nearest hen-1, expected one of: hen-1",
        ),
        (
            "stage",
            {"batch": "hen-1", "stage": "setter"},
            "batch hen-1: stage 'setter', expected one of lockdown, hatch",
        ),
        ("stage", {"batch": "hen-1", "stage": "late"}, "batch hen-1: stage 'late', expected one of lockdown, hatch"),
        (
            "stage",
            {"batch": "hen-1", "stage": "hatch", "at": "2026-03-05T07:00:00Z"},
            "batch hen-1: stage hatch at 2026-03-05T07:00:00Z is before it was set",
        ),
        (
            "close",
            {"batch": "hen-1", "at": "2026-03-05T07:00:00Z"},
            "batch hen-1: close at 2026-03-05T07:00:00Z is before it came to setter-1",
        ),
        ("handling", {"machine": "setter-1", "by": "sam", "done": True}, "handling setter-1: none is declared"),
        ("close", {"batch": "hen-1", "at": 5}, f"at: 5, {NO_TIME}"),
        (
            "fly",
            {},
            "request: 'fly', expected one of acknowledge, attach, batch-add, beyond-pip, calibrate, close, cooling, entry, facts, handling, move, out-of-service, rearrange, remove, reopen, room, shelve, split, stage, table, take-out, unshelve, weighings",
        ),
        (
            ["x"],
            {},
            "request: ['x'], expected one of acknowledge, attach, batch-add, beyond-pip, calibrate, close, cooling, entry, facts, handling, move, out-of-service, rearrange, remove, reopen, room, shelve, split, stage, table, take-out, unshelve, weighings",
        ),
    ],
)
def test_a_request_that_cannot_be_met(do: Any, request_: dict[str, Any], complaint: str) -> None:
    """Each wrong request is answered with one line that says where, what came and what was expected, and changes nothing."""
    assert refused(house(), do, **request_) == complaint


def test_a_batch_cannot_be_moved_out_of_order_or_after_its_end() -> None:
    """A move before the last one, a second closing and a move of a closed batch are refused."""
    story = house()
    ask(story, "move", batch="hen-1", machine="hatcher-1", at="2026-03-10T08:30:00Z")
    line = refused(story, "move", batch="hen-1", machine="still-1", at="2026-03-10T08:15:00Z")
    assert "is before it came to hatcher-1" in line
    ask(story, "stage", batch="hen-1", stage="lockdown", sure=True)
    assert refused(story, "stage", batch="hen-1", stage="lockdown") == "batch hen-1: stage lockdown is declared already"
    ask(story, "close", batch="hen-1")
    assert refused(story, "close", batch="hen-1") == "batch hen-1: closed already, at 2026-03-10T09:00:00Z"
    assert (
        refused(story, "move", batch="hen-1", machine="still-1")
        == "batch hen-1: closed, expected an open batch to move"
    )
    assert refused(story, "stage", batch="hen-1", stage="hatch") == "batch hen-1: closed, expected an open batch"


def test_with_the_clock_not_set_the_line_says_so() -> None:
    """What is refused for its time while the clock is not set says what the clock says."""
    story = Story(batches=(batch(),), clock_ok=False, utc_step=timedelta(days=-9_000))
    for do, request in (
        ("batch-add", ADD),
        ("batch-add", ADD | {"set_at": "2001-07-18T08:00:00Z"}),  # it would be on day 9,000 once the clock is set
        ("move", {"batch": "hen-1", "machine": "hatcher-1"}),
        ("close", {"batch": "hen-1", "at": "2026-03-10T08:00:00Z"}),
    ):
        assert refused(story, do, **request).endswith("(the clock here is not set, it says 2001-07-19T08:00:00Z)")


def test_where_eggs_are_does_not_depend_on_the_clock() -> None:
    """A batch is shown in the machine it was put into, also by a clock that is behind."""
    assert batch_view(batch(), T0 - timedelta(days=9_000))["machine"] == "setter-1"


def test_the_longest_backdate_is_longer_than_any_incubation() -> None:
    """No bird that can be incubated is refused for having been set too long ago."""
    from monitor.adapters.tables.profiles import load_profiles

    assert MAX_BACKDATE.days > 2 * max(p.hatch_day_last for p in load_profiles(None).values())


# Alarms.


def test_an_alarm_is_acknowledged() -> None:
    """The number in the message is the alarm's; who did it is in the row."""
    story = hot()
    answer = ask(story, "acknowledge", alarm=1, by="sam")
    assert (answer["number"], answer["state"]) == (1, ACKNOWLEDGED)
    assert story.transitions[-1].who == "sam"


def test_an_alarm_is_shelved_and_taken_off() -> None:
    """A shelf for a bounded time, and off again by hand: unacknowledged, and told."""
    story = hot()
    ask(story, "acknowledge", alarm=1, by="sam")
    answer = ask(story, "shelve", alarm=1, for_s=600, by="sam")
    assert (answer["state"], answer["shelved_until"]) == (SHELVED, "2026-03-10T08:11:00.000Z")
    notices = len(story.notices)
    assert ask(story, "unshelve", alarm=1, by="sam")["state"] == UNACKNOWLEDGED
    assert len(story.notices) == notices + 1


def test_work_at_a_machine_shelves_what_its_own_air_has_raised() -> None:
    """Cold, dry or damp air of that machine that stands, and what was said at the end of the work before; not heat, nor eggs that
    are too hot, another machine, the room's other alarms, what is over, or what is shelved already."""
    story = house()
    standing = Alarm("setter-1", "dry-bulb-low-alarm", number=1, condition=True)
    alarms = (
        standing,
        replace(standing, rule="humidity-low-alarm", number=2),
        replace(standing, rule=HANDLING_OVER, number=3),
        replace(standing, rule="humidity-high-alarm", number=4, condition=False),
        replace(standing, rule="dry-bulb-high-alarm", number=5),
        replace(standing, rule=EGG_HOT, number=6),
        replace(standing, subject="hatcher-1", number=7),
        replace(standing, subject="node-a/top", rule=SENSOR_FAILED, number=8),
        replace(standing, subject="setter-1", rule=DISAGREE, number=9),
        replace(standing, rule="humidity-low-warning", number=10, suppressed="empty"),
    )
    story.state.alarms = {alarm.key: alarm for alarm in alarms}
    answer = ask(story, "handling", machine="setter-1", for_s=600.0, by="sam")
    assert answer["shelved"] == [1, 2, 3]
    assert answer["did"] == "declared for 10 min"
    assert ask(story, "handling", machine="setter-1", done=True, by="sam")["did"] == "done"


def test_an_alarm_goes_out_of_service_and_back() -> None:
    """Out of service and back; back is unacknowledged while the condition stands."""
    story = hot()
    assert ask(story, "out-of-service", alarm=1, by="sam")["state"] == OUT_OF_SERVICE
    assert ask(story, "out-of-service", alarm=1, out=False, by="sam")["state"] == UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("do", "request_", "complaint"),
    [
        ("acknowledge", {"alarm": 2, "by": "sam"}, "alarm 2: no such alarm, the newest is 1"),
        ("acknowledge", {"alarm": 0, "by": "sam"}, "alarm 0: expected the number in the message"),
        ("acknowledge", {"alarm": -1, "by": "sam"}, "alarm -1: expected the number in the message"),
        (
            "acknowledge",
            {"alarm": 10**60, "by": "sam"},
            f"alarm 1{'0' * 39}: no such alarm, the newest is 1",
        ),
        ("acknowledge", {"alarm": -(10**60), "by": "sam"}, f"alarm -1{'0' * 38}: expected the number in the message"),
        ("acknowledge", {"alarm": True, "by": "sam"}, "alarm: True, expected the number in the message"),
        ("acknowledge", {"alarm": "1", "by": "sam"}, "alarm: '1', expected the number in the message"),
        ("acknowledge", {"by": "sam"}, "alarm: None, expected the number in the message"),
        ("acknowledge", {"alarm": 1}, "by: None, expected a text of at most 500 characters"),
        ("acknowledge", {"alarm": 1, "by": ""}, "by: '', expected a text of at most 500 characters"),
        ("acknowledge", {"alarm": 1, "by": "  "}, "by: '  ', expected a text of at most 500 characters"),
        ("acknowledge", {"alarm": 1, "by": "\udcff"}, "by: '\\udcff', expected text in UTF-8"),
        (
            "shelve",
            {"alarm": 1, "for_s": 3600.1},
            "alarm 1: shelve for 60.0017 min, expected more than 0 and at most 60 min for priority high",
        ),
        (
            "shelve",
            {"alarm": 1, "for_s": 0},
            "alarm 1: shelve for 0 min, expected more than 0 and at most 60 min for priority high",
        ),
        ("shelve", {"alarm": 1, "for_s": math.nan}, "for_s: nan, expected seconds"),
        ("shelve", {"alarm": 1, "for_s": math.inf}, "for_s: inf, expected seconds"),
        ("shelve", {"alarm": 1, "for_s": 10**400}, f"for_s: {'1' + '0' * 59}, expected seconds"),
        ("shelve", {"alarm": 1, "for_s": 1e9}, "alarm 1: for_s 1000000000.0, expected seconds"),
        ("shelve", {"alarm": 1, "for_s": "10m"}, "for_s: '10m', expected seconds"),
        ("shelve", {"alarm": 1, "for_s": True}, "for_s: True, expected seconds"),
        ("shelve", {"alarm": 1}, "for_s: None, expected seconds"),
        ("unshelve", {"alarm": 1}, "alarm 1: not quiet, expected one that was shelved"),
        ("out-of-service", {"alarm": 1, "out": "no"}, "out: 'no', expected true or false"),
    ],
)
def test_a_request_about_an_alarm_that_cannot_be_met(do: str, request_: dict[str, Any], complaint: str) -> None:
    """Each wrong request about an alarm is answered with one line, and the alarm stands as it stood."""
    assert refused(hot(), do, **request_) == complaint


def test_a_number_that_is_over() -> None:
    """Acknowledging twice, what is over and seen, and a number whose alarm came again, are each told what is the matter."""
    story = hot()
    ask(story, "acknowledge", alarm=1, by="sam")
    assert refused(story, "acknowledge", alarm=1, by="sam") == "alarm 1: acknowledged, nothing to acknowledge"
    story.air["node-a/top"] = (37.5, 45.0)
    story.run(minutes=2)
    assert story.state_of("dry-bulb-high-alarm") == NORMAL
    assert refused(story, "acknowledge", alarm=1, by="sam") == "alarm 1: normal, nothing to acknowledge"
    story.air["node-a/top"] = HOT
    story.run(minutes=1)
    assert refused(story, "acknowledge", alarm=1, by="sam") == (
        "alarm 1: over, and come again under another number since; see `eggroom alarms`"
    )
    assert ask(story, "acknowledge", alarm=2, by="sam")["state"] == ACKNOWLEDGED


def test_an_alarm_that_has_not_begun_has_no_number() -> None:
    """While an alarm's on-delay runs nothing can be said to it: number 0 is nobody's."""
    story = Story(batches=(batch(),), air={"node-a/top": HOT})
    story.run(seconds=30)
    assert story.alarm("dry-bulb-high-alarm").pending_mono_s is not None
    assert refused(story, "shelve", alarm=0, for_s=60) == "alarm 0: expected the number in the message"
    story.run(seconds=30)
    assert story.state_of("dry-bulb-high-alarm") == UNACKNOWLEDGED


def test_the_room_is_shown() -> None:
    """Every machine's view, and the alarms that are no machine's, as plain values."""
    story = Story(site=site(probes(("node-a/top", "setter-1"), ("node-b/top", "hatcher-1"))), batches=(batch(),))
    story.run(minutes=2)
    room = ask(story, "room")
    assert [m["machine"] for m in room["machines"]] == list(story.site.machines)
    assert [a["rule"] for a in room["others"]] == ["all-silent"]
    json.dumps(room, allow_nan=False)


VALUES = st.none() | st.booleans() | st.integers(-(10**30), 10**30) | st.floats() | st.text(max_size=8) | st.sampled_from(
    ["hen-1", "hen", "setter-1", "hatcher-1", "lockdown", "2026-03-08T08:00:00Z", "2026-03-10T08:30:00+01:00", "sam", 1, 600]
)  # fmt: skip


@given(
    st.sampled_from(
        [
            "batch-add",
            "move",
            "stage",
            "close",
            "acknowledge",
            "shelve",
            "unshelve",
            "out-of-service",
            "take-out",
            "handling",
            "room",
            "x",
        ]
    ),
    st.dictionaries(
        st.sampled_from(
            [
                "batch",
                "profile",
                "machine",
                "set_at",
                "at",
                "eggs",
                "note",
                "stage",
                "alarm",
                "by",
                "for_s",
                "out",
                "of",
                "sure",
            ]
        ),
        VALUES,
    ),
)
@settings(max_examples=300, deadline=None)
def test_no_request_breaks_the_engine(do: str, request: dict[str, Any]) -> None:
    """Whatever is asked, there is an answer that is JSON, or one line and nothing changed; never another exception."""
    story = hot_once()
    state = copy.deepcopy(story.state)
    before = copy.deepcopy(state)
    out = Group()
    try:
        answer = perform(state, story.site, {"do": do, **request}, story.now(), out)
    except RequestError as error:
        answer = {"error": str(error)}
    line = answer.get("error")
    if line is not None:
        assert "\n" not in line
        assert state == before
        assert out.empty()
    json.dumps(answer, allow_nan=False)


def test_the_same_batch_cannot_be_set_twice_even_when_it_is_closed() -> None:
    """A closed batch keeps its name for its record."""
    story = house()
    ask(story, "close", batch="hen-1")
    assert "expected a new name" in refused(story, "batch-add", **{**ADD, "batch": "hen-1"})


def test_a_batch_that_is_moved_keeps_its_other_facts() -> None:
    """Moving changes nothing but the stays."""
    story = house()
    first = story.state.batches["hen-1"]
    ask(story, "move", batch="hen-1", machine="hatcher-1")
    assert replace(story.state.batches["hen-1"], stays=first.stays) == first


# Eggs that go another way.


def test_eggs_are_split_off() -> None:
    """Three eggs of hen-1 go to the hatcher before the others: a batch of their own, with what was written of them, in both machines'
    limits at once, and as warm as they were."""
    story = Story(batches=(batch(),), air={"node-a/top": (37.6, 55.0)})
    story.run(minutes=1)
    ask(story, "entry", batch="hen-1", by="ada", kind="weighing", fact={"gross_g": 60.0}, egg=7)
    out = Group()
    request = {
        "do": "split",
        "batch": "hen-1",
        "eggs": [7, 3, 4],
        "machine": "hatcher-1",
        "stage": "lockdown",
        "sure": True,
        "by": "ada",
    }
    answer = perform(story.state, story.site, request, story.now(), out)
    assert (answer["batch"], answer["from"], answer["machine"]) == ("hen-1-b", "hen-1", "hatcher-1")
    assert (answer["eggs"], answer["numbers"], answer["note"]) == (3, [3, 4, 7], "split off hen-1")
    assert [s["machine"] for s in answer["stays"]] == ["setter-1", "hatcher-1"]
    assert [d["stage"] for d in answer["declared"]] == ["lockdown"]
    assert json.loads(json.dumps(answer)) == answer
    assert set(out.batches) == {"hen-1", "hen-1-b"}
    assert [(id_, e.number, e.fact.kind, e.egg) for id_, e in out.entries] == [
        ("hen-1", 2, "split", 3),
        ("hen-1", 3, "split", 4),
        ("hen-1", 4, "split", 7),
        ("hen-1-b", 1, "weighing", 7),
    ]
    assert [(e.subject, event_words(e)) for e in out.events] == [
        ("hen-1", "3 eggs went on as batch hen-1-b"),
        ("hen-1-b", "split off hen-1"),
    ]
    assert story.state.eggs["hen-1-b"] == story.state.eggs["hen-1"]
    needed = {(m["machine"], b["batch"], b["stage"]) for m in ask(story, "room")["machines"] for b in m["batches"]}
    assert needed == {("setter-1", "hen-1", "setter"), ("hatcher-1", "hen-1-b", "lockdown")}
    assert ask(story, "split", batch="hen-1", eggs=[1], machine="hatcher-1", by="ada")["batch"] == "hen-1-c"
    assert ask(story, "entry", batch="hen-1-b", by="ada", kind="weighing", fact={"gross_g": 59.9}, egg=7)["number"] == 2


def test_eggs_that_are_split_off_are_no_longer_cooled() -> None:
    """Nobody said so of the machine where they are now, whose other eggs would be quieted too; that is said with the answer."""
    story = Story(batches=(batch(),))
    ask(story, "cooling", of="hen-1", at_min=[540], for_s=1200.0, by="sam")
    answer = ask(story, "split", batch="hen-1", count=3, machine="hatcher-1", by="ada")
    assert list(story.state.coolings) == ["hen-1"]
    assert answer["cooling_ended"]
    over = ask(story, "cooling", of="hen-1", end=True, by="sam")
    assert over == {"of": "hen-1", "did": "cooled daily at 09:00 for 20 min, ended by sam"}
    assert "cooling_ended" not in ask(story, "split", batch="hen-1", count=1, machine="hatcher-1", by="ada")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"closed_at": T0}, "closed"),
        ({"split_from": "hen-0"}, "split"),
        ({"declared": (Declared("lockdown", T0),)}, "it went on"),
        ({"stays": (Stay("setter-1", T0 - timedelta(days=5), T0), Stay("hatcher-1", T0))}, "it went on"),
        ({"written": True}, "something is written about its eggs"),
        ({"written": True, "split_from": "hen-0"}, "split"),
        ({"written": True, "closed_at": T0}, "closed"),
    ],
)
def test_only_a_slip_is_removed(changes: dict[str, Any], why: str) -> None:
    """What is more than that says what it is, and stays."""
    changes = dict(changes)
    written = changes.pop("written", False)
    mine = replace(batch(), **changes)
    story = Story(batches=(mine,))
    if written:
        note = Entry(T0, T0, "ada", Note("all turned"))
        story.state.books["hen-1"] = EggBook(mine, (note,))
    assert refused(story, "remove", batch="hen-1", by="sam").startswith(
        f"batch hen-1: {why}, expected one that was set"
    )
    assert "hen-1" in story.state.batches


def test_a_batch_is_split_until_no_letter_is_left() -> None:
    """Names are given from b to z; after that one has to be chosen, and nothing is changed before it is."""
    story = Story(
        batches=tuple(batch(f"hen-1{end}") for end in ("", *(f"-{letter}" for letter in "bcdefghijklmnopqrstuvwxy")))
    )
    request = {"batch": "hen-1", "machine": "hatcher-1", "by": "ada"}
    assert ask(story, "split", **request, eggs=[1])["batch"] == "hen-1-z"
    complaint = "batch hen-1: split so often that no name is left, expected --name"
    assert refused(story, "split", **request, eggs=[2]) == complaint
    assert ask(story, "split", **request, eggs=[2], into="weak")["batch"] == "weak"


def test_a_reminder_goes_along() -> None:
    """What was to be looked at again is asked once, of the batch that the egg is in now."""
    story = house()
    look = {"look_at": (story.now().utc + timedelta(hours=1)).isoformat(), "text": "weak"}
    ask(story, "entry", batch="hen-1", by="ada", kind="look-again", fact=look, egg=7)
    ask(story, "split", batch="hen-1", eggs=[7], machine="hatcher-1", by="ada")
    story.run(minutes=61)
    begun = [t.alarm.subject for t in story.transitions if t.alarm.rule == "look-again" and t.state == UNACKNOWLEDGED]
    assert begun == ["batch hen-1-b egg 7"]


@pytest.mark.parametrize(
    ("request_", "complaint"),
    [
        ({"eggs": [7]}, None),
        ({"eggs": [7], "into": "hen-1"}, "batch hen-1: there is one by that name already, expected a new name"),
        ({"eggs": [7], "into": "Hen 2"}, "into 'Hen 2': expected 1 to 32 of a-z, 0-9 and -"),
        ({"eggs": [13]}, "batch hen-1: egg 13, expected 1 to 12"),
        ({"eggs": [7], "count": 2}, "batch hen-1: eggs and a count came, expected one of them"),
        ({"eggs": "7"}, "eggs: '7', expected a list of at most 1000 whole numbers"),
        (
            {"eggs": [7], "machine": "no"},
            "batch hen-1-b: no machine 'no', expected one of: setter-1, hatcher-1, still-1",
        ),
        ({"eggs": [7], "stage": "setter"}, "batch hen-1-b: stage 'setter', expected one of lockdown, hatch"),
        (
            {"eggs": [7], "at": "2026-03-01T08:00:00Z"},
            "batch hen-1: split at 2026-03-01T08:00:00Z is before it was set",
        ),
    ],
)
def test_a_split_that_cannot_be(request_: dict[str, Any], complaint: str | None) -> None:
    """One line, and nothing changed; the first is as it should be."""
    request_ = {"batch": "hen-1", "by": "ada", "machine": "hatcher-1"} | request_
    if complaint is None:
        assert ask(house(), "split", **request_)["did"] == "split off hen-1"
    else:
        assert refused(house(), "split", **request_) == complaint


# What was said by mistake.


def test_a_stage_is_taken_back() -> None:
    """The machine needs again what it needed before; what is not declared cannot be taken back."""
    story = house()
    ask(story, "stage", batch="hen-1", stage="lockdown", sure=True)
    assert ask(story, "room")["machines"][0]["batches"][0]["stage"] == "lockdown"
    answer = ask(story, "stage", batch="hen-1", stage="lockdown", back=True)
    assert (answer["did"], answer["declared"]) == ("stage lockdown taken back", [])
    assert ask(story, "room")["machines"][0]["batches"][0]["stage"] == "setter"
    assert (
        refused(story, "stage", batch="hen-1", stage="lockdown", back=True)
        == "batch hen-1: stage lockdown is not declared"
    )


def test_a_reminder_that_rang_when_a_batch_was_closed_by_mistake() -> None:
    """It rings anew when the batch is opened again, once; one that was answered before does not."""
    story = house()
    for egg in (7, 8):
        look = {"look_at": (story.now().utc + timedelta(hours=1)).isoformat(), "text": "weak"}
        ask(story, "entry", batch="hen-1", by="ada", kind="look-again", fact=look, egg=egg)
    story.at_s += 3_700.0
    story.tick()
    ask(story, "entry", batch="hen-1", by="ada", kind="candling", fact={"found": "alive"}, egg=8)
    ask(story, "close", batch="hen-1")
    story.tick()
    assert not story.alarm(LOOK_AGAIN, "batch hen-1 egg 7").condition
    told = len(story.notices)
    ask(story, "reopen", batch="hen-1")
    assert story.state_of(LOOK_AGAIN, "batch hen-1 egg 7") == UNACKNOWLEDGED
    assert story.state_of(LOOK_AGAIN, "batch hen-1 egg 8") == NORMAL
    story.run(minutes=2)
    assert [n.title for n in story.notices[told:]] == ["Soon: hen-1 egg 7 in Setter 1 look again"]


def test_a_batch_closed_by_mistake() -> None:
    """It is back in its machine, which is judged again at once; its stay and its reminders are as if it had never left."""
    story = hot()
    look = {"look_at": (story.now().utc + timedelta(hours=2)).isoformat(), "text": "weak"}
    ask(story, "entry", batch="hen-1", by="ada", kind="look-again", fact=look, egg=7)
    before = story.state.batches["hen-1"]
    ask(story, "close", batch="hen-1")
    story.run(minutes=5)
    assert not story.alarm("dry-bulb-high-alarm").condition
    answer = ask(story, "reopen", batch="hen-1")
    assert (answer["did"], answer["machine"], answer["closed_at"]) == ("opened again", "setter-1", None)
    assert story.state.batches["hen-1"] == before
    assert [e.egg for e in story.state.looks["hen-1"]] == [7]
    story.run(minutes=2)
    assert story.alarm("dry-bulb-high-alarm").condition
    assert refused(story, "reopen", batch="hen-1") == "batch hen-1: open, expected a closed batch"


def test_a_stage_that_was_declared_for_all_goes_along() -> None:
    """Split off with a stage that the batch has already, the eggs have it from when it was declared."""
    story = house()
    ask(story, "stage", batch="hen-1", stage="lockdown", sure=True)
    since = story.state.batches["hen-1"].declared
    answer = ask(story, "split", batch="hen-1", eggs=[7], machine="hatcher-1", stage="lockdown", by="ada")
    assert story.state.batches[answer["batch"]].declared == since
    assert answer["split_from"] == "hen-1"
