"""Birds that go by the egg, from the day of the reminder to the lockdown that a sign begins, with the shipped profiles."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.alarm import NORMAL, RETURNED, UNACKNOWLEDGED
from monitor.domain.needs.bands import RH, SENSOR_ERROR_K, SENSOR_ERROR_RH_PCT, SENSOR_ERROR_WET_K, needs_of
from monitor.domain.needs.batch import Batch, moved, subject_of
from monitor.domain.needs.rules import CONFLICT, DRAW_DOWN_DUE, LOCKDOWN_OVERDUE, LOOK_AGAIN, NOT_RAISED
from monitor.domain.needs.site import Site
from monitor.domain.state.record import Group
from monitor.domain.wall import utc_text
from monitor.domain.watch.evaluate import retire
from monitor.shown.now.room import room_text
from tests.domain.house import MACHINES, T0, Air, Story, batch, probes, site, there
from tests.service.watch.test_commands import ask, refused
from tests.told import event_words

PROFILES = load_profiles(None)
BY_EGG = sorted(id_ for id_, p in PROFILES.items() if p.lockdown_sign is not None)
TOP = "node-a/top"
HOUSE = site(probes((TOP, "setter-1")), profiles=PROFILES)
UNWATCHED = site({}, profiles=PROFILES)
DRY: Air = (37.4, 48.0)
GREY = subject_of("grey-1")


def aviary(*batches: Batch, air: Air | None = None, house: Site | None = None, minutes: float = 3) -> Story:
    """Batches in their machines, the setter in that air, for some minutes."""
    if house is None:
        house = UNWATCHED if air is None else HOUSE
    story = Story(site=house, batches=batches, air={} if air is None else {TOP: air})
    story.run(minutes=minutes)
    return story


def grey(day: float = 26.0, eggs: int = 4, **changes: Any) -> Batch:
    made = batch("grey-1", "african-grey", day=day, **changes)
    return Batch(made.id, made.profile, made.set_at, eggs, stays=made.stays, declared=made.declared)


def sign(story: Story, egg: int | None, word: str, **more: Any) -> dict[str, Any]:
    request = {"batch": "grey-1", "by": "ada", "kind": "sign", "fact": {"sign": word}, **more}
    return dict(ask(story, "entry", **request | ({} if egg is None else {"egg": egg})))


def stage(story: Story, id_: str, machine: str = "setter-1") -> str:
    needs = there(story.state.plan_of(machine)).needs
    return next(o.stage for o in needs.occupants if o.batch == id_)


def test_a_kestrel_beside_fresh_falcon_eggs_rings_nothing() -> None:
    """A kestrel on day 24.7, 85 % of its 29 days, beside peregrine eggs of day 0, in the 48 % that these want: nobody is asked for water,
    and one message says that draw-down may begin (HRB-K puts only draw-down there)."""
    story = aviary(
        batch("kestrel-1", "american-kestrel", day=24.7),
        batch("falcon-1", "peregrine-falcon", day=0.0),
        air=DRY,
        minutes=130,
    )
    assert stage(story, "kestrel-1") == "setter"
    assert (story.state_of(NOT_RAISED), story.state_of(CONFLICT)) == (NORMAL, NORMAL)
    assert story.titles() == ["When you can: kestrel-1 draw-down may begin"]
    assert "water" not in story.notices[0].text


def test_a_grey_parrot_four_days_before_its_pip_rings_nothing() -> None:
    """Day 23.8 of 28 only reminds: the humidity of a grey parrot rises at its internal pip (EPV), days later."""
    story = aviary(grey(day=23.9), air=DRY, minutes=70)
    assert stage(story, "grey-1") == "setter"
    assert [t.alarm.rule for t in story.transitions] == [DRAW_DOWN_DUE]


@pytest.mark.parametrize(("beside", "told"), [(False, False), (True, True)])
def test_pipping_eggs_are_not_left_beside_eggs_that_want_it_dry(beside: bool, told: bool) -> None:
    """A grey parrot's internal pip in a setter with new peregrine eggs: no setting suits both, so that no dry air is told; half a day later it is as
    overdue as a hen's lockdown. Alone, the air says what is to be done; moved, it is over."""
    falcon = batch("falcon-1", "peregrine-falcon", day=0.0)
    house = replace(HOUSE, machines={id_: HOUSE.machines[id_] for id_ in ("setter-1", "hatcher-1")})
    story = aviary(grey(), *([falcon] if beside else []), house=house)
    sign(story, None, "internal pip", count=4)
    assert stage(story, "grey-1") == "lockdown"
    overdue = "Soon: Setter 1 lockdown overdue"
    story.run(minutes=12 * 60 - 10)
    assert overdue not in story.titles()
    story.run(minutes=20)
    assert (overdue in story.titles()) is told
    story.put(moved(story.state.batches["grey-1"], "hatcher-1", story.now().utc))
    story.run(minutes=3)
    assert story.state_of(LOCKDOWN_OVERDUE) in (NORMAL, RETURNED)


@pytest.mark.parametrize("id_", BY_EGG)
def test_no_day_begins_the_lockdown_of_a_bird_that_goes_by_the_egg(id_: str) -> None:
    """To the last of its normal days: the setter's stage, one reminder, and no lockdown overdue, though there is a hatcher."""
    profile = PROFILES[id_]
    for day in (profile.lockdown_day - 0.01, profile.lockdown_day + 1.0, profile.hatch_day_last - 0.01):
        story = aviary(batch("b-1", id_, day=day), minutes=2)
        assert stage(story, "b-1") == "setter"
        assert story.state_of(LOCKDOWN_OVERDUE) == NORMAL
        reminded = story.state_of(DRAW_DOWN_DUE, subject_of("b-1")) == UNACKNOWLEDGED
        assert reminded is (day >= profile.lockdown_day)


def test_the_reminder_comes_once_and_not_yet_asks_again_then() -> None:
    """It says to candle; a day later it has said nothing more. Not yet, for 12 h, ends it, and asks again after these 12 h."""
    story = aviary(grey(day=23.79))
    assert not story.notices
    story.run(minutes=30)
    (told,) = story.notices
    assert told.title == "When you can: grey-1 draw-down may begin"
    assert told.text.startswith("Since ")
    assert "Candle, write what you see; or: batch not-yet." in told.text
    story.at_s += 86_400.0
    story.run(minutes=2)
    assert len(story.notices) == 1
    then = story.now().utc + timedelta(hours=12)
    later = {"look_at": utc_text(then), "text": "no draw-down yet: candle"}
    ask(story, "entry", batch="grey-1", by="ada", kind="look-again", fact=later)
    story.run(minutes=2)
    assert (story.state_of(DRAW_DOWN_DUE, GREY), story.state_of(LOOK_AGAIN, GREY)) == (NORMAL, NORMAL)
    story.at_s += 12 * 3600.0
    story.run(minutes=2)
    assert story.titles()[1:] == ["Soon: grey-1 in Setter 1 look again"]
    assert "no draw-down yet: candle" in story.notices[1].text


def test_a_sign_of_the_whole_batch_begins_its_lockdown() -> None:
    """Written without eggs it is written of each egg still in it; then the stage is another, since that time, and the humidity with it."""
    story = aviary(grey(), air=DRY)
    ask(story, "entry", batch="grey-1", by="ada", kind="removed", fact={"why": "clear"}, egg=2)
    answer = sign(story, None, "internal pip")
    assert [e["egg"] for e in answer["entries"]] == [1, 3, 4]
    assert answer["signs"]["lockdown"] == utc_text(story.now().utc)
    assert answer["signs"]["alone"] is None
    assert stage(story, "grey-1") == "lockdown"
    wanted = there(PROFILES["african-grey"].stages[1].rh_pct)
    assert there(there(story.state.plan_of("setter-1")).needs.rh_pct).target == wanted.target
    story.run(minutes=2)
    assert story.state_of(DRAW_DOWN_DUE, GREY) == NORMAL
    assert [t.title for t in story.notices] == ["When you can: grey-1 draw-down may begin"]  # its end is told to nobody
    assert event_words(story.events[-1]) == "lockdown began: the sign was seen"


def test_a_sign_without_eggs_needs_to_know_how_many_there_are() -> None:
    """Where nobody wrote how many were set, which eggs showed it must be said."""
    story = aviary(batch("grey-1", "african-grey", day=26.0))
    story.state.batches["grey-1"] = Batch("grey-1", "african-grey", T0 - timedelta(days=26))
    request = {"batch": "grey-1", "by": "ada", "kind": "sign", "fact": {"sign": "internal pip"}}
    assert "of which eggs is not said" in refused(story, "entry", **request)


@pytest.mark.parametrize("id_", BY_EGG)
def test_within_its_normal_hatch_days_what_lockdown_may_have_is_not_too_damp(id_: str) -> None:
    """A beak may be through that nobody wrote down: from the first normal day on the high limits are lockdown's, where these are higher, and
    what is too dry and the temperature are the setter's; a moment before all are. No source says to dry a chick that has pipped."""
    profile = PROFILES[id_]
    setter, lockdown = profile.stages[0], profile.stages[1]
    own = batch("b-1", id_, day=profile.hatch_day_first)
    before = needs_of(MACHINES["setter-1"], [own], HOUSE, at=T0 - timedelta(minutes=1))
    since = needs_of(MACHINES["setter-1"], [own], HOUSE, at=T0)
    assert before.valid_until == T0
    assert (before.rh_pct, before.wet_bulb_c) == (setter.rh_pct, setter.wet_bulb_c)
    assert since.dry_bulb_c == before.dry_bulb_c
    assert [o.stage for o in since.occupants] == ["setter"]
    if setter.rh_pct is None or lockdown.rh_pct is None:
        return
    there_ = there(since.rh_pct)
    assert (there_.low_alarm, there_.low_warning) == (setter.rh_pct.low_alarm, setter.rh_pct.low_warning)
    for name in ("high_warning", "high_alarm"):
        early, late, now = (getattr(band, name) for band in (setter.rh_pct, lockdown.rh_pct, there_))
        assert now == (None if late is None or early is None else max(early, late))


def test_a_sign_before_the_profiles_begins_nothing() -> None:
    """Draw-down of every egg: the reminder is answered, the humidity waits for the pip."""
    story = aviary(grey())
    assert sign(story, None, "draw-down")["signs"]["lockdown"] is None
    assert stage(story, "grey-1") == "setter"
    assert sign(story, None, "external pip")["signs"]["lockdown"] is not None  # later than the one that it names
    assert stage(story, "grey-1") == "lockdown"


def test_a_sign_in_one_egg_of_many_is_that_eggs() -> None:
    """The batch stays as it is; the answer says when that chick is expected, counted from the sign (NSW-SP: 36 to 120 h), and in which
    machine the egg would do. There, split off, it is in lockdown since its sign without another word."""
    story = aviary(grey(), air=DRY)
    answer = sign(story, 3, "internal pip")
    assert stage(story, "grey-1") == "setter"
    assert answer["signs"]["alone"] == {"eggs": [3], "count": None, "machine": "setter-1", "would_do": ["hatcher-1"]}
    seen, hatch = story.now().utc, answer["signs"]["hatch"]
    assert hatch["earliest"] == utc_text(seen + timedelta(hours=36))
    assert hatch["latest"] == utc_text(seen + timedelta(hours=120))
    split = ask(story, "split", batch="grey-1", eggs=[3], machine="hatcher-1", by="ada")
    assert split["declared"] == [{"stage": "lockdown", "at": utc_text(seen)}]
    assert (stage(story, "grey-1-b", "hatcher-1"), stage(story, "grey-1")) == ("lockdown", "setter")
    # and when the others have shown it, they follow
    sign(story, None, "internal pip")
    assert stage(story, "grey-1") == "lockdown"


def test_eggs_that_are_left_after_a_split_may_be_the_ones_that_pip() -> None:
    """The ones without a sign go elsewhere: those that stay have all shown it."""
    story = aviary(grey())
    for egg in (1, 2):
        sign(story, egg, "internal pip")
    ask(story, "split", batch="grey-1", eggs=[3, 4], machine="still-1", by="ada")
    assert stage(story, "grey-1") == "lockdown"
    assert stage(story, "grey-1-b", "still-1") == "setter"


def test_where_no_machine_suits_none_is_named() -> None:
    """A house of one machine: the egg needs one of its own."""
    alone = site(probes((TOP, "setter-1")), profiles=PROFILES, machines={"setter-1": MACHINES["setter-1"]})
    assert sign(aviary(grey(), house=alone), 3, "internal pip")["signs"]["alone"]["would_do"] == []


def test_an_early_pip_of_a_hens_egg_is_that_eggs_too() -> None:
    """A bird by the calendar: on day 17.5 its egg is before the others; from its lockdown day on there is nothing to do about it."""
    for day, alone in ((17.5, True), (18.5, False)):
        story = aviary(batch("grey-1", "chicken", day=day))
        signs = sign(story, 3, "internal pip", sure=True)["signs"]
        assert (signs["alone"] is not None) is alone
        assert signs["lockdown"] is None


def test_a_sign_taken_back_takes_the_lockdown_back() -> None:
    """Written by mistake and withdrawn: the stage is the setter's again."""
    story = aviary(grey(eggs=1))
    number = sign(story, 1, "internal pip")["number"]
    assert stage(story, "grey-1") == "lockdown"
    ask(story, "entry", batch="grey-1", by="ada", kind="withdrawn", fact={"text": ""}, egg=1, replaces=number)
    assert stage(story, "grey-1") == "setter"
    assert story.state.batches["grey-1"].declared == ()


def test_what_a_person_declares_counts_as_ever() -> None:
    """`batch stage lockdown` begins it without a sign."""
    story = aviary(grey())
    ask(story, "stage", batch="grey-1", stage="lockdown")
    assert stage(story, "grey-1") == "lockdown"
    story.run(minutes=2)
    assert story.state_of(DRAW_DOWN_DUE, GREY) == NORMAL


def test_who_brings_eggs_to_the_hatcher_has_said_it() -> None:
    """Moved there about the time of draw-down they are in lockdown: nobody must be told to dry air that pips want. Moved early they are not."""
    story = aviary(grey(day=23.0))
    ask(story, "move", batch="grey-1", machine="hatcher-1")
    assert stage(story, "grey-1", "hatcher-1") == "lockdown"
    story = aviary(grey(day=20.0))
    ask(story, "move", batch="grey-1", machine="hatcher-1")
    assert stage(story, "grey-1", "hatcher-1") == "setter"


def test_a_lockdown_long_before_its_time_is_asked_about() -> None:
    """A slip would ask for damp air in a setter of others: nothing is declared until somebody is sure. What cannot be is said before."""
    asked = (
        "lockdown on day 4.1, African grey parrot hatches on day 26 to 30, expected --sure to declare it all the same"
    )
    story = aviary(grey(day=4.15))
    before = story.state.batches["grey-1"]
    assert refused(story, "stage", batch="grey-1", stage="lockdown") == f"batch grey-1: {asked}"
    assert refused(story, "split", batch="grey-1", eggs=[3], stage="lockdown", by="ada") == f"batch grey-1: {asked}"
    assert story.state.batches == {"grey-1": before}
    ask(story, "split", batch="grey-1", eggs=[3], stage="lockdown", by="ada", sure=True)
    assert stage(story, "grey-1-b") == "lockdown"
    ask(story, "stage", batch="grey-1", stage="lockdown", sure=True)
    assert stage(story, "grey-1") == "lockdown"
    assert (
        refused(story, "stage", batch="grey-1", stage="lockdown") == "batch grey-1: stage lockdown is declared already"
    )


@pytest.mark.parametrize("first", ["cockatiel", "african-grey"])
def test_eggs_that_are_set_late_into_a_hatcher_are_in_lockdown(first: str) -> None:
    """Written down there about the time of draw-down they are held to the hatcher's air, as after a move; long before it, or into a setter,
    they are not. A lockdown that is taken back stays so at a start."""
    lockdown_day = PROFILES[first].lockdown_day

    def added(day: float, machine: str) -> Story:
        story = aviary()
        at = utc_text(story.look().now.utc - timedelta(days=day))
        ask(story, "batch-add", batch="late-1", profile=first, machine=machine, set_at=at)
        return story

    story = added(lockdown_day - 0.9, "hatcher-1")
    assert stage(story, "late-1", "hatcher-1") == "lockdown"
    ask(story, "stage", batch="late-1", stage="lockdown", back=True)
    retire(story.look(Group()))
    assert stage(story, "late-1", "hatcher-1") == "setter"
    assert stage(added(lockdown_day - 1.1, "hatcher-1"), "late-1", "hatcher-1") == "setter"
    assert stage(added(lockdown_day + 1.0, "setter-1"), "late-1") == "setter"


def test_the_room_says_that_draw_down_may_begin() -> None:
    """Beside the stage that it is in, from that day until a lockdown; programs have it as a key that is there only then."""
    for day, told in ((23.0, False), (24.0, True)):
        story = aviary(grey(day=day))
        room = ask(story, "room")
        occupant = room["machines"][0]["batches"][0]
        assert occupant.get("draw_down_due", False) is told
        assert ("day 24 incubation (draw-down may begin)" in room_text(room, story.site)) is told  # type: ignore[arg-type]
    ask(story, "stage", batch="grey-1", stage="lockdown")
    assert "draw_down_due" not in ask(story, "room")["machines"][0]["batches"][0]


def test_what_is_taken_back_in_a_hatcher_stays_taken_back() -> None:
    """A start takes eggs in a hatcher for eggs in lockdown, but not where somebody has said that they are not; a sign begins it all the same."""
    story = aviary(grey(day=23.5))
    ask(story, "move", batch="grey-1", machine="hatcher-1")
    ask(story, "stage", batch="grey-1", stage="lockdown", back=True)
    assert stage(story, "grey-1", "hatcher-1") == "setter"
    out = Group()
    retire(story.look(out))
    assert not out.batches
    assert stage(story, "grey-1", "hatcher-1") == "setter"
    sign(story, None, "internal pip", sure=True)
    assert stage(story, "grey-1", "hatcher-1") == "lockdown"


@pytest.mark.parametrize("first", sorted(PROFILES))
def test_no_two_birds_are_held_to_a_band_that_nobody_can_hold(first: str) -> None:
    """Any bird in lockdown beside any other that was just set: a band at least as wide as two good sensors may differ, or a conflict that is
    told. "Band 60 to 60" is neither."""
    locked = batch(
        "a-1", first, day=PROFILES[first].lockdown_day + 0.1, declared=[("lockdown", PROFILES[first].lockdown_day)]
    )
    for second in PROFILES:
        found = needs_of(HOUSE.machines["setter-1"], [locked, batch("b-1", second, day=0.5)], HOUSE, at=T0)
        if "temperature" not in found.conflict:
            assert there(found.dry_bulb_c).width >= SENSOR_ERROR_K - 1e-6, second
        if "humidity" not in found.conflict and found.humidity is not None:
            kind, band = found.humidity
            assert band.width >= (SENSOR_ERROR_RH_PCT if kind == RH else SENSOR_ERROR_WET_K) - 1e-6, (second, band)


def test_the_sign_that_begins_a_lockdown_says_first_what_is_to_be_moved() -> None:
    """Beside others that want it dry, with a hatcher free, the answer names it; in the hatcher, or alone in a house without one, nothing moves."""
    story = aviary(grey(eggs=1), batch("cockatiel-1", "cockatiel", day=4.0), air=DRY)
    assert sign(story, 1, "internal pip")["signs"]["move_to"] == ["hatcher-1"]
    moved = aviary(grey(eggs=1, machine="hatcher-1"))
    assert sign(moved, 1, "internal pip")["signs"]["move_to"] is None
