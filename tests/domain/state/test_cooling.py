"""Cooling that was declared for each day: expected at its hours, recorded, and watched for its end."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.needs.batch import Batch
from monitor.domain.signs.cooling import Cooling
from monitor.domain.signs.opening import declare
from monitor.domain.state.cooling import begin_coolings, begins_at, machine_of, next_at
from monitor.domain.state.happened import CoolingSaid, WorkBegun
from monitor.domain.state.known import Look
from monitor.domain.state.record import Group
from monitor.service.watch.requests import RequestError
from monitor.shown.now.room import cooling_words, room_text
from tests.asking import perform
from tests.domain.house import T0, Air, Story, batch, probes, site, there

TOP = "node-a/top"
GOOD: Air = (37.5, 45.0)
LOW_ALARM = "dry-bulb-low-alarm"


def ask(story: Story, **request: object) -> dict[str, object]:
    out = Group()
    answer = perform(story.state, story.site, {"do": "cooling", **request}, story.now(), out)
    story.adopt(out)
    return dict(answer)


def cooled(minutes_ahead: int = 45, for_s: float = 1800.0, **more: object) -> Story:
    """A hen's batch on day 5 that is cooled each day, the first time so many minutes from now: it is 08:15 there."""
    story = Story(batches=(batch(),), air={TOP: GOOD})
    story.run(minutes=15)
    now = story.now().utc
    at_min = (now.hour * 60 + now.minute + minutes_ahead) % 1440
    ask(story, of="hen-1", at_min=[at_min], for_s=for_s, by="sam", **more)
    return story


@pytest.mark.slow
def test_what_is_declared_is_expected_recorded_and_over() -> None:
    """Cold at its hour wakes nobody, is a handling of the record, and over when the air is back; and so the next day."""
    story = cooled()
    for _ in range(2):
        story.run(minutes=45)
        story.air[TOP] = (29.0, 30.0)
        story.run(minutes=30)
        for n in range(1, 11):
            story.air[TOP] = (29.0 + 0.85 * n, 30.0 + 1.5 * n)
            story.run(minutes=1)
        story.run(minutes=24 * 60 - 85)
    assert story.transitions == []
    begun = [e for e in story.events if isinstance(e.what, WorkBegun)]
    assert [(e.subject, e.what) for e in begun] == [("setter-1", WorkBegun(60.0, "sam"))] * 2
    assert (begun[1].at - begun[0].at).total_seconds() == pytest.approx(86_400.0, abs=90.0)
    assert begun[0].at.minute == 45  # a quarter of an hour before it: at 09:00


def test_a_machine_that_is_not_back_is_told() -> None:
    """The window ends a quarter of an hour after it; air that has not turned six minutes later is told."""
    story = cooled()
    story.run(minutes=45)
    story.air[TOP] = (29.0, 30.0)
    story.run(minutes=45 + 5)
    assert story.transitions == []
    story.run(minutes=3)
    assert story.states() == [(LOW_ALARM, UNACKNOWLEDGED)]


@pytest.mark.parametrize("for_s", [1800.0, 3600.0])
@pytest.mark.parametrize("every_s", [10.0, 300.0])
def test_a_heater_that_dies_as_the_window_begins_is_told_after_its_end(for_s: float, every_s: float) -> None:
    """Half an hour of slack and six minutes after the time that was declared, and the two readings that its way home has, by the next."""
    story = Story(site=site(probes((TOP, "setter-1"), interval_s=every_s)), batches=(batch(),), air={TOP: GOOD})
    story.interval_s = every_s
    story.run(minutes=45)  # it is 08:45
    ask(story, of="hen-1", at_min=[9 * 60 + 1], for_s=for_s, by="sam")
    minutes = 0
    while (LOW_ALARM, UNACKNOWLEDGED) not in story.states():
        story.air[TOP] = (20.0 + 17.5 * math.exp(-minutes / 60.0), 45.0)
        story.run(minutes=1)
        minutes += 1
        assert minutes <= for_s / 60.0 + 30.0 + 6.0 + 3.0 * every_s / 60.0 + 2.0


def test_colder_than_they_were_to_become_is_told() -> None:
    """Eggs that are estimated to be colder by a degree than what they are cooled to; heat is told as always."""
    warm, cold = cooled(to_c=25.0), cooled(to_c=33.0)
    for story in (warm, cold):
        story.run(minutes=45)
        story.air[TOP] = (26.0, 30.0)
        story.run(minutes=25)
    assert warm.transitions == []
    assert cold.states() == [(LOW_ALARM, UNACKNOWLEDGED)]
    hot = cooled()
    hot.run(minutes=45)
    hot.air[TOP] = (40.0, 45.0)
    hot.run(minutes=1)
    assert hot.states() == [("dry-bulb-high-alarm", UNACKNOWLEDGED)]


def test_work_that_was_declared_already_counts_as_the_cooling() -> None:
    """Who has said that they work there for longer cools the eggs, too: once, and no further than they were to become."""
    story = cooled(for_s=600.0, to_c=33.0)
    story.run(minutes=20)
    request(story, do="handling", machine="setter-1", for_s=3600.0, by="kim")
    story.run(minutes=12)
    assert [e.what for e in story.events if isinstance(e.what, WorkBegun)] == [WorkBegun(60.0, "kim")]
    assert story.state.machine("setter-1").cool_to_c == 33.0
    story.air[TOP] = (26.0, 30.0)
    story.run(minutes=25)
    assert story.states() == [(LOW_ALARM, UNACKNOWLEDGED)]


def test_nothing_begins_on_other_days_or_once_it_is_ended() -> None:
    """Days are those of the batch; what was ended is only record."""
    for story in (cooled(first_day=8, last_day=9, to_c=30.0), cooled()):
        if story.state.coolings["hen-1"].days:
            said = CoolingSaid("hen-1", "09:00", 30.0, by="sam", to_c=30.0, first_day=8, last_day=9)
            assert story.events[-1].what == said
            (view,) = perform(story.state, story.site, {"do": "room"}, story.now(), Group())["coolings"]
            assert (view["machine"], view["next"]) == ("setter-1", None)
            words = cooling_words(view, story.site, story.now().utc)
            assert words == "hen-1 at 09:00 for 30 min to 30.0 °C, day 8 to 9"
        else:
            ask(story, of="hen-1", end=True, by="ben")
            assert story.events[-1].what == CoolingSaid("hen-1", "09:00", 30.0, ended=True, by="ben")
        story.run(minutes=60)
        assert story.state.machine("setter-1").handling is None
        assert not [e for e in story.events if isinstance(e.what, WorkBegun)]


def test_the_room_says_when_it_comes_next() -> None:
    """By itself, below the machines; and nothing more once the batch is over."""
    story = cooled(to_c=31.0, first_day=3, last_day=26)
    room = perform(story.state, story.site, {"do": "room"}, story.now(), Group())
    text = " ".join(room_text(room, story.site, columns=120).split())  # type: ignore[arg-type]
    assert "Cooled: hen-1 at 09:00 for 30 min to 31.0 °C, day 3 to 26; next 10 Mar 09:00" in text
    out = Group()
    perform(story.state, story.site, {"do": "close", "batch": "hen-1"}, story.now(), out)
    story.adopt(out)
    assert "coolings" not in perform(story.state, story.site, {"do": "room"}, story.now(), Group())


def test_done_early_does_not_begin_again() -> None:
    """Who says that the work is done has ended the window of this time."""
    story = cooled()
    story.run(minutes=50)
    out = Group()
    perform(story.state, story.site, {"do": "handling", "machine": "setter-1", "done": True}, story.now(), out)
    story.adopt(out)
    story.run(minutes=10)
    assert story.state.machine("setter-1").handling is None


@pytest.mark.parametrize(
    ("request_", "complaint"),
    [
        ({"of": "nowhere", "at_min": [480], "for_s": 600.0}, "no such batch or machine"),
        ({"of": "hen-11", "at_min": [480], "for_s": 600.0}, "no such batch or machine, nearest hen-1, expected one of"),
        ({"of": "hen-1", "end": True}, "none is declared"),
        ({"of": "hen-1", "at_min": [480]}, "expected"),
        ({"of": "setter-1", "at_min": [480], "for_s": 600.0, "first_day": 1, "last_day": 2}, "days of a machine"),
        ({"of": "hen-1", "at_min": [480], "for_s": 7200.0}, "120 min, expected 1 to 60 min"),
    ],
)
def test_what_cannot_be_declared_is_refused(request_: dict[str, object], complaint: str) -> None:
    """In one line, and nothing is changed."""
    story = Story(batches=(batch(),), air={TOP: GOOD})
    with pytest.raises(RequestError, match=complaint):
        ask(story, **request_)
    assert story.state.coolings == {}


def test_a_machine_is_cooled_with_what_is_in_it() -> None:
    """Without days; a second word takes the place of the first, and both are in the record."""
    story = Story(batches=(batch(),), air={TOP: GOOD})
    answer = ask(story, of="setter-1", at_min=[1080, 480], for_s=600.0)
    assert (answer["machine"], answer["at"], answer["next"]) == (
        "setter-1",
        ["08:00", "18:00"],
        "2026-03-10T18:00:00.000Z",
    )
    ask(story, of="setter-1", at_min=[600], for_s=600.0)
    assert story.state.coolings["setter-1"].at_min == (600,)


def request(story: Story, **asked: object) -> dict[str, object]:
    """Any other request, met."""
    out = Group()
    answer = perform(story.state, story.site, asked, story.now(), out)
    story.adopt(out)
    return dict(answer)


@pytest.mark.parametrize("do", ["remove", "close"])
def test_a_cooling_ends_with_its_batch(do: str) -> None:
    """It is over in the record, and among the events; the next batch of that name is told of cold air as any other."""
    story = cooled()
    out = Group()
    answer = perform(story.state, story.site, {"do": do, "batch": "hen-1"}, story.now(), out)
    story.adopt(out)
    assert [(c.of, c.until) for c in out.coolings] == [("hen-1", story.now().utc)]
    assert [e.what for e in out.events if e.kind == "cooling"] == [CoolingSaid("hen-1", "09:00", 30.0, ended=True)]
    assert answer.get("cooling_ended", False) is (do == "close")
    if do == "remove":
        set_at = (story.now().utc - timedelta(days=5)).isoformat()
        request(story, do="batch-add", batch="hen-1", profile="hen", machine="setter-1", set_at=set_at)
    else:
        request(story, do="reopen", batch="hen-1")
    story.run(minutes=45)
    story.air[TOP] = (29.0, 30.0)
    story.run(minutes=35)
    assert [e for e in story.events if isinstance(e.what, WorkBegun)] == []
    assert story.states() == [(LOW_ALARM, UNACKNOWLEDGED)]


def test_a_cooling_left_in_an_older_record_is_not_the_next_batchs() -> None:
    """Where a removed batch has left its own, a batch that is set under that name begins without."""
    story = cooled()
    left = story.state.coolings["hen-1"]
    request(story, do="remove", batch="hen-1")
    story.state.coolings["hen-1"] = left
    request(story, do="batch-add", batch="hen-1", profile="hen", set_at=story.now().utc.isoformat())
    assert story.state.coolings == {}


def test_a_batch_has_no_name_of_a_machine() -> None:
    """What is declared for the one would be the other's: nor is it the next free name of a split."""
    story = cooled()
    for asked in (
        {"do": "batch-add", "batch": "setter-1", "profile": "hen", "set_at": story.now().utc.isoformat()},
        {
            "do": "split",
            "batch": "hen-1",
            "count": 2,
            "stage": "lockdown",
            "into": "setter-1",
            "by": "sam",
            "sure": True,
        },
    ):
        with pytest.raises(RequestError, match="batch setter-1: a machine has that name, expected a new name"):
            request(story, **asked)
    story.site = replace(story.site, machines={**story.site.machines, "hen-1-b": story.site.machines["setter-1"]})
    answer = request(story, do="split", batch="hen-1", count=2, stage="lockdown", by="sam", sure=True)
    assert answer["id"] == "hen-1-c"


def test_a_part_split_off_is_cooled_no_more() -> None:
    """Its air at the hour of the others' cooling is judged as ever: only what is declared of its own machine's eggs quiets that."""
    story = cooled(to_c=30.0, first_day=3, last_day=26)
    answer = request(story, do="split", batch="hen-1", count=2, machine="hatcher-1", by="kim")
    assert answer["cooling_ended"] is True
    assert [*story.state.coolings] == ["hen-1"]
    assert [e.subject for e in story.events if isinstance(e.what, CoolingSaid)] == ["hen-1"]
    story.run(minutes=45)
    assert [e.subject for e in story.events if isinstance(e.what, WorkBegun)] == ["setter-1"]
    ask(story, of="hen-1", end=True)
    assert "cooling_ended" not in request(story, do="split", batch="hen-1", count=2, machine="hatcher-1", by="kim")


def said(of: str = "hen-1", *at_min: int, **more: object) -> Cooling:
    """A cooling as it is known, for half an hour, at 09:00 unless said."""
    return replace(Cooling(of, at_min or (540,), 1800.0, None, None, T0 - timedelta(days=1), "sam"), **more)  # type: ignore[arg-type]


def at(hour: int, minute: int = 0, second: int = 0, *, day: int = 10, clock_ok: bool = True, **batches: Batch) -> Look:
    """A look at a house at that time of a day in March; the 10th unless said. Eggs of hens are in setter-1 since the 5th."""
    story = Story(batches=(batch(), *batches.values()), clock_ok=clock_ok)
    story.at_s = (datetime(2026, 3, day, hour, minute, second, tzinfo=UTC) - T0).total_seconds()
    return story.look()


def begun_now(look: Look, *coolings: Cooling) -> dict[str, float]:
    """The machines at which work begins with this look, and for how many seconds."""
    look.state.coolings = {each.of: each for each in coolings}
    begin_coolings(look)
    assert [e.subject for e in look.out.events] == list(look.out.handlings)
    return {m: there(h).until_mono_s - look.now.mono_s for m, h in look.out.handlings.items()}


def test_a_cooling_is_done_where_its_eggs_are() -> None:
    """A machine's in that machine; nowhere once the batch is closed, before it is put in, or in what is no longer configured."""
    look = at(8)
    assert (machine_of(look, said()), machine_of(look, said("hatcher-1"))) == ("setter-1", "hatcher-1")
    assert machine_of(look, said("hen-9")) is None
    for gone in (
        replace(batch(), closed_at=T0),
        batch(machine=None),
        batch(machine="sold-1"),
    ):
        look.state.batches["hen-1"] = gone
        assert machine_of(look, said()) is None


def test_the_hours_of_yesterday_to_the_day_after_tomorrow_are_looked_at() -> None:
    """A window that began before midnight is still open after it; the next may be two days away."""
    hours = [each.day for each in begins_at(at(8), said())]
    assert hours == [9, 10, 11, 12]
    assert [each.day for each in begins_at(at(8), said(days=(6, 6)))] == [11]  # day 5 is over at 08:00 of the 10th
    assert [each.day for each in begins_at(at(8), said("hatcher-1"))] == [9, 10, 11, 12]


def test_the_next_cooling_is_the_first_that_lies_ahead() -> None:
    """Not the one that begins at this very instant; none of eggs that are nowhere, or whose days are over."""
    twice = said("hen-1", 540, 1080)
    for look, day, hour in (
        (at(8), 10, 9),
        (at(8, 59, 59), 10, 9),
        (at(9), 10, 18),
        (at(18), 11, 9),
        (at(23, 59), 11, 9),
    ):
        assert next_at(look, twice) == datetime(2026, 3, day, hour, tzinfo=UTC)
    assert next_at(at(8), said(days=(1, 4))) is None
    assert next_at(at(8), said("hen-9")) is None


@pytest.mark.parametrize(
    ("time", "left_s"),
    [
        ((8, 44, 59), None),
        ((8, 45, 0), 3600.0),
        ((9, 44, 59), 1.0),
        ((9, 45, 0), None),
    ],
)
def test_a_machine_may_be_open_from_a_quarter_of_an_hour_before_to_as_long_after(
    time: tuple[int, int, int], left_s: float | None
) -> None:
    """Half an hour from 09:00: the work is expected from 08:45 on, until 09:45, however late the program looks."""
    assert begun_now(at(*time), said()) == ({} if left_s is None else {"setter-1": left_s})
    assert begun_now(at(*time, clock_ok=False), said()) == {}  # under a clock that nobody set no hour is known


def test_what_is_written_of_a_cooling_is_what_is_left_of_it() -> None:
    """Found at 09:02:20, it is work for 42.7 minutes more, by who declared it, and its eggs go to what was said."""
    look = at(9, 2, 20)
    assert begun_now(look, said(to_c=30.0)) == {"setter-1": 2560.0}
    (event,) = look.out.events
    assert (event.at, event.kind, event.what) == (look.now.utc, "handling", WorkBegun(42.7, "sam"))
    known = look.state.machine("setter-1")
    assert known.handling == look.out.handlings["setter-1"]
    assert (there(known.handling).since, there(known.handling).until) == (
        look.now.utc,
        datetime(2026, 3, 10, 9, 45, tzinfo=UTC),
    )
    assert (known.cool_to_c, known.cooled_at) == (30.0, datetime(2026, 3, 10, 9, tzinfo=UTC))


def test_each_time_of_a_day_begins_once() -> None:
    """What was ended by hand at 09:10 does not begin again, and that of 18:00 does; as does that of the next day."""
    twice = said("hen-1", 540, 1080)
    look = at(9)
    assert begun_now(look, twice) == {"setter-1": 2700.0}
    for hour, day, begins in ((9, 10, False), (18, 10, True), (9, 11, True)):
        later = at(hour, 10, day=day)
        later.state.machines = look.state.machines
        later.state.machine("setter-1").handling = None
        assert bool(begun_now(later, twice)) is begins


def test_work_that_was_declared_for_longer_is_not_cut_short() -> None:
    """Somebody who is at the machine until 10:00 stays so; who would be done at 09:15 has until the window's end."""
    for until_min, begins in ((60.0, False), (45.0, False), (44.0, True)):
        look = at(9)
        work = declare("setter-1", for_s=until_min * 60.0, by="ben", now=look.now)
        look.state.machine("setter-1").handling = work
        assert bool(begun_now(look, said())) is begins
        assert (look.state.machine("setter-1").handling == work) is not begins


def test_one_cooling_that_is_done_nowhere_keeps_no_other_from_its_hour() -> None:
    """Of several each begins for itself, at its own machine."""
    look = at(9, other=batch("hen-2", machine="hatcher-1"))
    coolings = (said("hen-9"), said("hen-1", 660), said("hen-2"), said("still-1", 555))
    assert begun_now(look, *coolings) == {"hatcher-1": 2700.0, "still-1": 3600.0}
