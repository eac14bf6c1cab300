"""Cooling that was declared for each day: expected at its hours, recorded, and watched for its end."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.state.happened import CoolingSaid, WorkBegun
from monitor.domain.state.record import Group
from monitor.service.watch.requests import RequestError
from monitor.shown.now.room import cooling_words, room_text
from tests.asking import perform
from tests.domain.house import Air, Story, batch

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


def test_a_part_split_off_is_cooled_as_before() -> None:
    """In its own machine, at the same hours and days: who split it says so, it is told, and ends by itself."""
    story = cooled(to_c=30.0, first_day=3, last_day=26)
    answer = request(story, do="split", batch="hen-1", count=2, machine="hatcher-1", by="kim")
    handed = story.state.coolings["hen-1-b"]
    assert (
        replace(handed, of="hen-1", since=story.state.coolings["hen-1"].since, by="sam")
        == story.state.coolings["hen-1"]
    )
    assert (handed.since, handed.by) == (story.now().utc, "kim")
    assert isinstance(answer["cooling"], dict)
    assert (answer["cooling"]["of"], answer["cooling"]["machine"]) == ("hen-1-b", "hatcher-1")
    assert [e.subject for e in story.events if isinstance(e.what, CoolingSaid)] == ["hen-1", "hen-1-b"]
    ask(story, of="hen-1", end=True)
    story.run(minutes=45)
    assert [e.subject for e in story.events if isinstance(e.what, WorkBegun)] == ["hatcher-1"]
    assert "cooling" not in request(cooled_no_more(), do="split", batch="hen-1", count=2, machine="hatcher-1", by="kim")


def cooled_no_more() -> Story:
    story = cooled()
    ask(story, of="hen-1", end=True)
    return story
