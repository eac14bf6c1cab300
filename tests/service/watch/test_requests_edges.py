"""What a person can ask, at its edges: the first and the last that is taken, names, times, and what may be missing."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.domain.alarms.alarm import MAX_SHELF_S, Alarm
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Weighing, fact_of
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.rules import HANDLING_OVER
from monitor.domain.refusal import Sure
from monitor.domain.state.known import Look
from monitor.domain.state.record import Group
from monitor.domain.wall import utc_text
from monitor.service.watch.commands import batch_view
from monitor.service.watch.egg_requests import on_scale
from monitor.service.watch.requests import RequestError
from tests.asking import perform
from tests.domain.house import T0, Story, batch, site
from tests.service.watch.test_commands import ask, hot, house, refused
from tests.service.watch.test_egg_requests import SCALES, WEIGHED, written
from tests.told import event_words

NOW = T0 + timedelta(hours=1)  # of `house`
MS = timedelta(milliseconds=1)
LONGEST = timedelta(days=200)
BIG = 10**9  # the highest number of anything


def text(at: Any) -> str:
    return utc_text(at)


# --- times


@pytest.mark.parametrize(
    ("set_at", "taken"), [(NOW, True), (NOW + MS, False), (NOW - LONGEST, True), (NOW - LONGEST - MS, False)]
)
def test_when_a_batch_may_have_been_set(set_at: Any, taken: bool) -> None:
    """This very moment, and two hundred days ago; neither later nor earlier."""
    request = {"batch": "b", "profile": "hen", "set_at": text(set_at)}
    if taken:
        assert ask(house(), "batch-add", **request)["set_at"] == text(set_at)
    else:
        assert refused(house(), "batch-add", **request)


@pytest.mark.parametrize(
    ("at", "taken"), [(NOW, True), (NOW + MS, False), (NOW - LONGEST, True), (NOW - LONGEST - MS, False), (None, True)]
)
def test_when_something_may_have_been_done_to_a_batch(at: Any, taken: bool) -> None:
    """As when it was set; now where no time came."""
    story = Story(batches=(batch(day=400.0),))
    story.at_s = 3_600.0
    request = {"batch": "hen-1", "machine": "hatcher-1"} | ({} if at is None else {"at": text(at)})
    if taken:
        assert ask(story, "move", **request)["stays"][-1]["since"] == text(at or NOW)
    else:
        assert refused(story, "move", **request)


def test_a_calibration_may_be_made_now_and_no_later() -> None:
    """A time that came is its own; without one it is made now."""
    for at, kept in ((NOW, NOW), (NOW - timedelta(hours=3), NOW - timedelta(hours=3)), (None, NOW)):
        story = house()
        ask(
            story,
            "calibrate",
            probe="node-a/top",
            dry_bulb_c={"offset": 0.3},
            **({} if at is None else {"at": text(at)}),
        )
        (made,) = story.state.probe("node-a/top").calibrations
        assert made.at == kept
    assert refused(house(), "calibrate", probe="node-a/top", dry_bulb_c={"offset": 0.3}, at=text(NOW + MS))


DATED: tuple[tuple[str, dict[str, Any]], ...] = (
    ("move", {"batch": "hen-9", "machine": "setter-1"}),
    ("stage", {"batch": "hen-9", "stage": "lockdown"}),
    ("close", {"batch": "hen-9"}),
    ("split", {"batch": "hen-9", "eggs": [1], "by": "ada"}),
    ("calibrate", {"probe": "node-q/x"}),
    ("entry", WEIGHED | {"batch": "hen-9"}),
    ("weighings", {"batch": "hen-9", "by": "ada", "rows": [[2, 7, 60.0, None]]}),
)


def test_only_what_has_a_time_blames_the_clock() -> None:
    """With the clock not set, what is refused and has no time says nothing of it; with it set nothing does."""
    unset = Story(batches=(batch(),), clock_ok=False)
    for do, request in (
        ("acknowledge", {"alarm": 5, "by": "sam"}),
        ("shelve", {"alarm": 5, "for_s": 60}),
        ("reopen", {"batch": "hen-1"}),
        ("handling", {"machine": "cellar", "for_s": 60}),
    ):
        assert "clock" not in refused(unset, do, **request)
    for do, request in DATED:
        assert "(the clock here is not set, it says " in refused(unset, do, **request)
        assert "clock" not in refused(house(), do, **request)


def test_a_reminder_is_of_a_time_to_come() -> None:
    """A thousandth of a second from now is; now is not."""
    for at, taken in ((NOW, False), (NOW + MS, True)):
        request = {
            "batch": "hen-1",
            "by": "ada",
            "kind": "look-again",
            "fact": {"look_at": text(at), "text": ""},
            "egg": 7,
        }
        if taken:
            assert ask(house(), "entry", **request)["did"] == "written"
        else:
            assert "expected a time to come" in refused(house(), "entry", **request)


@pytest.mark.parametrize("at", [None, "2026-03-09T10:00:00.000Z"])
def test_an_entry_has_its_own_time_or_that_of_now(at: str | None) -> None:
    """And when it was written down is told beside it."""
    answer = ask(house(), "entry", **WEIGHED, **({} if at is None else {"at": at}))
    assert (answer["at"], answer["written_at"]) == (at or text(NOW), text(NOW))


def test_when_an_egg_was_laid_is_kept_to_the_millisecond() -> None:
    """Where it is known; days in store alone are kept as they came."""
    story = house()
    laid = {"batch": "hen-1", "by": "ada", "kind": "laid", "egg": 7}
    answer = ask(story, "entry", **laid, fact={"laid_at": "2026-03-01T10:00:00.123456+02:00"})
    assert answer["fact"]["laid_at"] == "2026-03-01T08:00:00.123Z"
    assert ask(story, "entry", **laid | {"egg": 8}, fact={"stored_days": 3})["fact"]["stored_days"] == 3


# --- numbers


@pytest.mark.parametrize(
    ("number", "complaint"),
    [
        (1, None),
        (100_000, None),
        (0, "{what} 0, expected a whole number from 1"),
        (BIG, "expected 1 to 100000"),  # a number, but of no egg
        (BIG + 1, "{what} 1000000001, expected a whole number from 1"),
    ],
)
@pytest.mark.parametrize("what", ["egg", "count"])
def test_how_high_a_number_may_be(what: str, number: int, complaint: str | None) -> None:
    """One to a hundred thousand, where nobody wrote how many eggs there are."""
    story = Story(site=site({}), batches=(replace(batch(), eggs=None),))
    request = {"batch": "hen-1", "by": "ada", "kind": "candling", "fact": {"found": "clear"}, what: number}
    if complaint is None:
        assert ask(story, "entry", **request)[what] == number
    else:
        assert complaint.format(what=what) in refused(story, "entry", **request)


def test_a_tray_is_kept() -> None:
    """The one that came with a count, or none."""
    some = {"batch": "hen-1", "by": "ada", "kind": "candling", "fact": {"found": "clear"}, "count": 2}
    assert ask(house(), "entry", **some, tray="3b")["tray"] == "3b"
    assert not ask(house(), "entry", **some).get("tray")


def test_what_is_taken_off_a_table_is_its_own() -> None:
    """A table's tare is taken off each row, and nothing where none came."""
    for tare, mass in (({}, 60.0), ({"tare_g": 2.5}, 57.5), ({"tare_g": 0.0}, 60.0)):
        story = house()
        answer = ask(story, "weighings", batch="hen-1", by="ada", rows=[[2, 7, 60.0, None]], **tare)
        (entry,) = answer["entries"]
        fact = fact_of(entry["kind"], entry["fact"])
        assert isinstance(fact, Weighing)
        assert fact.gross_g - fact.tare_g == mass
        assert entry["at"] == text(NOW)


def test_wrong_rows_are_told_in_the_order_of_the_table() -> None:
    """By the number of their lines, the ninth before the tenth, whatever is wrong in them."""
    table = [[line, egg, 60.0, None] for line, egg in ((10, 99), (9, 0), (2, 98))]
    lines = refused_lines(table)
    assert [line.partition(":")[0] for line in lines] == ["batch hen-1", "line 2", "line 9", "line 10"]


def refused_lines(table: list[list[Any]]) -> list[str]:
    out, story = Group(), house()
    with pytest.raises(ValueError, match="line") as raised:
        written(story, "weighings", batch="hen-1", by="ada", rows=table)
    assert out.empty()
    return str(raised.value).splitlines()


def test_of_several_eggs_what_is_odd_and_what_cannot_be_is_told_apart() -> None:
    """Both name the batch once; the same, said to be sure, is written where it was only odd."""
    story = house()
    many = {"batch": "hen-1", "by": "ada", "kind": "weighing", "fact": {"gross_g": 60.0}}
    ask(story, "entry", **many, eggs=[1, 2], at=text(NOW - timedelta(days=1)))
    light = many | {"fact": {"gross_g": 50.0}}
    lines = several(story, **light, eggs=[1, 2, 13])
    assert [line.count("batch hen-1") for line in lines] == [1, 1, 1, 1]
    assert [e["egg"] for e in ask(story, "entry", **light, eggs=[1, 2, 1], sure=True)["entries"]] == [1, 2]


def several(story: Story, **request: Any) -> list[str]:
    with pytest.raises(ValueError, match="nothing was written") as raised:
        written(story, **request)
    return str(raised.value).splitlines()


@pytest.mark.parametrize(
    "beside", [{"eggs": []}, {"eggs": [1], "egg": 2}, {"eggs": [1], "replaces": 1}, {"eggs": [], "egg": 2}]
)
def test_several_eggs_are_named_by_themselves(beside: dict[str, Any]) -> None:
    """At least one, and neither an egg nor a replaced entry beside them."""
    story = house()
    ask(story, "entry", **WEIGHED | {"egg": 1})
    request = {name: value for name, value in WEIGHED.items() if name != "egg"} | beside
    assert "expected one or more of them, and neither egg nor replaces beside them" in refused(
        story, "entry", **request
    )


# --- scales


DIGIT = 0.1
FINE, OF_ITS_OWN = Weighing(60.0, scale="fine"), Weighing(60.0, error_g=0.2, digit_g=DIGIT)


@pytest.mark.parametrize(
    ("scales", "fact", "kept"),
    [
        (SCALES, Weighing(60.0, digit_g=DIGIT), Weighing(60.0, scale="fine", error_g=0.01)),
        (SCALES, FINE, Weighing(60.0, scale="fine", error_g=0.01)),
        (SCALES, replace(FINE, error_g=0.3, digit_g=DIGIT), Weighing(60.0, scale="fine", error_g=0.3)),
        (SCALES, Weighing(60.0, scale="kitchen"), Weighing(60.0, scale="kitchen", error_g=1.0)),
        (SCALES, OF_ITS_OWN, Weighing(60.0, error_g=0.2)),
        ({}, Weighing(60.0, digit_g=DIGIT), Weighing(60.0, digit_g=DIGIT)),
        ({}, OF_ITS_OWN, Weighing(60.0, error_g=0.2)),
    ],
)
def test_which_scale_a_weighing_has(scales: dict[str, float], fact: Weighing, kept: Weighing) -> None:
    """The one that is named, else the house's first unless an error came; and an error, else the scale's, else what its digits say."""
    assert on_scale(fact, replace(site({}), scales=scales)) == kept


@pytest.mark.parametrize(
    ("fact", "scale"),
    [({}, None), ({"scale": "kitchen"}, "kitchen"), ({"scale": "kitchen", "error_g": 0.5}, "kitchen")],
)
def test_a_correction_is_given_no_scale(fact: dict[str, Any], scale: str | None) -> None:
    """What replaces a weighing keeps to what it says itself; a scale that it names is looked up."""
    story = Story(site=replace(site({}), scales=SCALES), batches=(batch(),))
    number = ask(story, "entry", **WEIGHED)["number"]
    answer = ask(story, "entry", **WEIGHED | {"fact": {"gross_g": 59.9, **fact}}, replaces=number)
    assert answer["fact"].get("scale") == scale
    assert (answer["fact"].get("error_g") is None) is (scale is None)


# --- batches


@pytest.mark.parametrize("length", [1, 29, 30, 31, 32])
def test_a_split_has_a_name_that_is_a_name(length: int) -> None:
    """Thirty-two letters at most: of a longer name the first thirty are kept, and as many go with a letter."""
    name = "a" * length
    story = Story(site=site({}), batches=(batch(name),))
    answer = ask(story, "split", batch=name, eggs=[1], machine="hatcher-1", by="ada")
    assert answer["batch"] == "a" * min(length, 30) + "-b"
    assert len(answer["batch"]) <= 32


def test_a_split_into_the_same_machine_needs_a_stage() -> None:
    """Without one nothing would be another; with one it stays where it is."""
    story = house()
    complaint = "batch hen-1: in setter-1 already, expected another machine or a stage"
    request = {"batch": "hen-1", "eggs": [1], "machine": "setter-1", "by": "ada"}
    assert refused(story, "split", **request) == complaint
    answer = ask(story, "split", **request, stage="lockdown", sure=True)
    assert [s["machine"] for s in answer["stays"]] == ["setter-1"]
    assert answer["declared"] == [{"stage": "lockdown", "at": text(NOW)}]


def test_eggs_that_are_nowhere_are_split_into_a_machine() -> None:
    """A batch in no machine: some of it goes into one, some of it into none."""
    story = Story(site=site({}), batches=(batch(machine=None),))
    answer = ask(story, "split", batch="hen-1", eggs=[1], machine="hatcher-1", by="ada")
    assert answer["machine"] == "hatcher-1"
    answer = ask(story, "split", batch="hen-1", count=2, stage="lockdown", sure=True, by="ada")
    assert (answer["machine"], answer["eggs"], answer["stay"]) == (None, 2, 9)
    assert "hen-1-b" not in story.state.eggs


def test_one_of_two_declared_stages_goes_along() -> None:
    """Both were declared for all: asked for one of them, nothing is declared a second time."""
    story = house()
    ask(story, "stage", batch="hen-1", stage="lockdown", sure=True)
    story.at_s += 60.0
    ask(story, "stage", batch="hen-1", stage="hatch", sure=True)
    before = story.state.batches["hen-1"].declared
    for stage in ("lockdown", "hatch"):
        answer = ask(story, "split", batch="hen-1", count=1, machine="hatcher-1", stage=stage, by="ada")
        assert story.state.batches[answer["batch"]].declared == before


def test_each_may_have_the_name_that_is_asked_for() -> None:
    """A split is named as it is said, else by the next letter."""
    story = house()
    request = {"batch": "hen-1", "machine": "hatcher-1", "by": "ada"}
    assert ask(story, "split", **request, eggs=[1], into="weak")["batch"] == "weak"
    assert ask(story, "split", **request, eggs=[2])["batch"] == "hen-1-b"


def test_a_bird_that_is_no_longer_known_can_be_declared() -> None:
    """Its profile may be gone from the configuration: nobody knows what would be early then, and a person's word is taken."""
    story = Story(site=site({}), batches=(batch(profile_id="dodo"),))
    assert ask(story, "stage", batch="hen-1", stage="lockdown")["did"] == "stage lockdown declared"
    sign = {"batch": "hen-1", "by": "ada", "kind": "sign", "fact": {"sign": "internal pip"}, "egg": 7}
    assert "signs" not in ask(story, "entry", **sign)


def test_only_signs_are_answered_with_what_follows() -> None:
    """A weighing is not."""
    story = house()
    assert "signs" not in ask(story, "entry", **WEIGHED)
    sign = {"batch": "hen-1", "by": "ada", "kind": "sign", "fact": {"sign": "internal pip"}, "egg": 7, "sure": True}
    assert "signs" in ask(story, "entry", **sign)


def test_what_was_removed_leaves_nothing_to_the_next_of_its_name() -> None:
    """Set by mistake beside cold eggs and removed: whoever sets a batch of that name anew has warm eggs, and a book with nothing in it."""
    story = Story(batches=(batch(),), air={"node-a/top": (30.0, 45.0)})
    story.run(minutes=90)
    assert "hen-1" in story.state.eggs
    ask(story, "remove", batch="hen-1", by="sam")
    state = story.state
    assert (list(state.batches), list(state.books), list(state.eggs)) == ([], [], [])
    story.air["node-a/top"] = (37.5, 45.0)
    story.run(minutes=1)
    set_at = text(story.now().utc)
    ask(story, "batch-add", batch="hen-1", profile="hen", machine="setter-1", set_at=set_at)
    story.run(minutes=2)
    assert state.eggs["hen-1"].egg_c == pytest.approx(37.5, abs=0.5)


def test_batches_are_named_in_order() -> None:
    """Where one is not there those that are, are named; and where there is none, that."""
    story = Story(site=site({}), batches=(batch("hen-2"), batch("hen-1")))
    assert refused(story, "close", batch="x") == "batch 'x': no such batch, expected one of: hen-1, hen-2"
    assert refused(Story(site=site({})), "close", batch="x") == "batch 'x': no such batch, expected one of: none yet"


def test_a_batch_as_programs_are_given_it() -> None:
    """What is not known of it is none; its day stands still when it is closed."""
    made = batch()
    view = batch_view(made, T0)
    assert (view["numbers"], view["split_from"], view["closed_at"], view["machine"]) == (None, None, None, "setter-1")
    moved = replace(made, stays=(replace(made.stays[0], until=T0), Stay("hatcher-1", T0)))
    assert [s["until"] for s in batch_view(moved, T0)["stays"]] == [text(T0), None]
    known = replace(made, numbers=(3, 4), split_from="hen-0", closed_at=T0 + timedelta(days=1))
    later = batch_view(known, T0 + timedelta(days=3))
    assert (later["numbers"], later["split_from"], later["day"]) == ([3, 4], "hen-0", 6.0)
    assert later["closed_at"] == text(T0 + timedelta(days=1))
    assert batch_view(Batch("b", "hen", T0), T0)["machine"] is None


# --- alarms and work


def test_an_alarm_under_a_number_is_found_beside_others() -> None:
    """The one asked about, whichever stands first."""
    story = hot()
    first = story.alarm("dry-bulb-high-alarm")
    second = replace(first, rule="humidity-low-alarm", number=2)
    story.state.alarms[second.key] = second
    story.state.last_number = 2
    assert ask(story, "acknowledge", alarm=2, by="sam")["rule"] == "humidity-low-alarm"
    assert ask(story, "acknowledge", alarm=1, by="sam")["rule"] == "dry-bulb-high-alarm"
    assert refused(story, "acknowledge", alarm=3, by="sam") == "alarm 3: no such alarm, the newest is 2"


@pytest.mark.parametrize(("by", "ending"), [("sam", " by sam"), ("", "")])
def test_work_is_written_down_with_who_does_it(by: str, ending: str) -> None:
    """Its length in minutes, and its end; who, where it is said."""
    story = house()
    ask(story, "handling", machine="setter-1", for_s=90.0, by=by)
    ask(story, "handling", machine="setter-1", done=True, by=by)
    assert [event_words(e) for e in story.events if e.kind == "handling"] == [
        f"declared for 1.5 min{ending}",
        f"done{ending}",
    ]


def test_work_that_is_over_shelves_nothing() -> None:
    """What stands when it ends stands."""
    story = house()
    ask(story, "handling", machine="setter-1", for_s=600.0, by="sam")
    standing = Alarm("setter-1", "dry-bulb-low-alarm", number=1, condition=True)
    story.state.alarms = {standing.key: standing}
    assert ask(story, "handling", machine="setter-1", done=True, by="sam")["shelved"] == []
    assert story.state.alarms[standing.key].shelved_until is None


@pytest.mark.parametrize("for_s", [300.0, 900.0, 1200.0, 3600.0])
def test_work_shelves_for_as_long_as_it_takes_and_an_alarm_bears(for_s: float) -> None:
    """Until the work is to end, and no longer than one of its urgency may be quiet."""
    story = house()
    standing = Alarm("setter-1", "dry-bulb-low-alarm", number=1, condition=True)
    also = replace(standing, rule=HANDLING_OVER, number=2)
    story.state.alarms = {a.key: a for a in (standing, also)}
    assert ask(story, "handling", machine="setter-1", for_s=for_s, by="sam")["shelved"] == [1, 2]
    for alarm in (standing, also):
        until = story.state.alarms[alarm.key].shelved_until
        longest = MAX_SHELF_S[story.site.rules[alarm.rule].priority]
        assert until == NOW + timedelta(seconds=min(for_s, longest))


def test_a_machine_at_which_nobody_works() -> None:
    """One of which nothing was ever heard has no work that could be done; one that is not there is named as such."""
    story = Story(site=site({}))
    assert refused(story, "handling", machine="still-1", done=True) == "handling still-1: none is declared"
    assert refused(story, "handling", machine="cellar", for_s=60.0).startswith("machine 'cellar': no such machine")


@pytest.mark.parametrize("for_s", [-1e9, 1e9])
def test_seconds_have_an_end(for_s: float) -> None:
    """A thousand million seconds are none, either way."""
    assert refused(hot(), "shelve", alarm=1, for_s=for_s) == f"alarm 1: for_s {for_s!r}, expected seconds"
    assert "expected more than 0" in refused(hot(), "shelve", alarm=1, for_s=-999_999_999.0)


def test_of_two_corrections_one_that_changes_something_is_enough() -> None:
    """What was learnt of a machine's air begins anew where the temperature is another, though the humidity is the same; not of a reference that
    was read two hours ago and changes nothing."""
    story = house()
    read_at = (story.now().utc - timedelta(hours=2)).isoformat()
    ask(story, "calibrate", probe="node-a/top", dry_bulb_c={"offset": 0.3}, rh_pct={"offset": 1.0})
    for dry, humid, anew in ((0.3, 1.0, False), (0.2, 1.0, True), (0.2, 2.0, True)):
        out = Group()
        look = {
            "do": "calibrate",
            "probe": "node-a/top",
            "dry_bulb_c": {"offset": dry},
            "rh_pct": {"offset": humid},
            "at": read_at,
        }
        perform(story.state, story.site, look, story.now(), out)
        assert (out.memory is not None) is anew


def test_only_what_stands_is_among_the_rooms_others() -> None:
    """An alarm of no machine that is over is not; one of a machine is told there."""
    story = hot()
    elsewhere = Alarm("batch x", "weight-off", number=5)
    story.state.alarms[elsewhere.key] = elsewhere
    assert ask(story, "room")["others"] == []
    story.state.alarms[elsewhere.key] = replace(elsewhere, condition=True)
    assert [a["number"] for a in ask(story, "room")["others"]] == [5]


def test_a_book_that_is_not_there_yet_begins_empty() -> None:
    """A first table, a first split and a first entry each begin a book."""
    for do, request in (
        ("entry", WEIGHED),
        ("weighings", {"batch": "hen-1", "by": "ada", "rows": [[2, 7, 60.0, None]]}),
        ("split", {"batch": "hen-1", "by": "ada", "eggs": [7], "machine": "hatcher-1"}),
    ):
        story = house()
        assert not story.state.books
        ask(story, do, **request)
        book = story.state.books["hen-1"]
        assert isinstance(book, EggBook)
        assert len(book.entries) == 1
        look: Look = story.look()
        assert look.state.batches["hen-1"] == book.batch


def test_a_refusal_is_answered_in_its_words() -> None:
    """Texts as they are, each moment apart, and what is done once somebody is sure: whoever reads it is told the moment on the clock of the house."""
    error = RequestError("egg 1", ("weighed ", T0, ", before it was set"), ("another day, or ", Sure("write")))
    answer = error.answer()
    said = "egg 1: weighed 2026-03-10T08:00:00Z, before it was set, expected another day, or "
    assert str(answer["error"]).startswith(said)
    words = answer["words"]
    assert isinstance(words, list)
    assert words[0].startswith("egg 1: weighed")
    assert [word for word in words if not isinstance(word, str)] == [
        {"at": "2026-03-10T08:00:00.000Z"},
        {"sure": "write"},
    ]
    assert error.failed() == {**answer, "failed": True}


@pytest.mark.parametrize(("number", "said"), [(5, "over, and come again"), (6, "no such alarm, the newest is 5")])
def test_a_number_up_to_the_newest_was_given_once(number: int, said: str) -> None:
    """Who answers an old message is told that it is over; who mistypes, that there is no such one."""
    story = house()
    story.state.last_number = 5
    assert said in refused(story, "acknowledge", alarm=number, by="sam")


def test_a_calibration_makes_what_was_learnt_of_the_air_begin_anew() -> None:
    """Its readings step then, and that is no change of the air: no mean, line or door of before goes on."""
    story = Story(batches=(batch(),), air={"node-a/top": (37.5, 45.0)})
    story.run(minutes=15)

    def learnt() -> list[bool]:
        machine = story.state.machine("setter-1")
        return [bool(machine.means), machine.windows is not None, machine.watch is not None]

    assert learnt() == [True, True, True]
    ask(story, "calibrate", probe="node-a/top", dry_bulb_c={"offset": 0.3}, by="sam")
    assert learnt() == [False, False, False]


def test_what_is_seen_beyond_pip_is_noted_and_the_pip_with_it() -> None:
    """Once for each egg: a second pip would be a later one. Without eggs it is of all that are still in, and the note of the batch."""
    story = Story(site=site({}), batches=(batch(day=20.5),))
    story.tick()

    def entries(**request: Any) -> list[tuple[str, int | None]]:
        answer = ask(story, "beyond-pip", batch="hen-1", text="zip half way", by="ada", sure=True, **request)
        assert (answer["batch"], answer["did"]) == ("hen-1", "written")
        return [(entry["kind"], entry["egg"]) for entry in answer["entries"]]

    assert entries(eggs=[7]) == [("sign", 7), ("note", 7)]
    assert entries(eggs=[7]) == [("note", 7)]
    assert entries(eggs=[7, 8]) == [("sign", 8), ("note", 7), ("note", 8)]
    ask(story, "entry", batch="hen-1", by="ada", kind="removed", fact={"why": "clear"}, egg=2)
    others = [1, *range(3, 7), *range(9, 13)]
    assert entries() == [*(("sign", egg) for egg in others), ("note", None)]
