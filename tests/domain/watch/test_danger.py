"""What is called deadly, over every species: only where a source gives the temperature and the time, and never what is judgement."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.alarms.alarm import ACKNOWLEDGED, BACK, NORMAL, Alarm, Transition
from monitor.domain.needs.bands import HEN_LETHAL_C, needs_of
from monitor.domain.needs.hearing import Hearing
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.rules import ABOVE, CRITICAL
from monitor.domain.published.exposure import EXPOSURES
from monitor.domain.state.record import Group
from monitor.domain.watch.plan import plan_of
from monitor.domain.watch.telling import tell
from monitor.domain.watch.view import machine_view
from monitor.shown.now.alarms import alarm_lines
from tests.asking import perform
from tests.domain.house import MACHINES, PROFILES, RULES, T0, Story, batch, probes, site, there

SHIPPED = load_profiles(None)
TOP = "node-a/top"
# MSU-HMG and MSU-4H (seen): "105 °F for 30 min" harms or kills many, of hens; guides for game birds and small poultry.
GUIDE_C, GUIDE_H = 40.6, 0.5


def test_the_hens_figure_is_the_published_one() -> None:
    """It stands among the published exposures with its time and source, and nothing milder within the hour is called harmful there."""
    (guide,) = [e for e in EXPOSURES if e.temp_c == HEN_LETHAL_C and e.hours == GUIDE_H]
    assert (HEN_LETHAL_C, guide.harm, guide.source) == (GUIDE_C, True, "MSU-HMG")
    milder = [e for e in EXPOSURES if e.side == ABOVE and e.harm and e.temp_c is not None and e.temp_c < GUIDE_C]
    assert [e.id for e in milder if e.hours is not None and e.hours <= 1.0] == []


@pytest.mark.parametrize("air", ["setter-1", "still-1"])
@pytest.mark.parametrize("profile", SHIPPED.values(), ids=SHIPPED.keys())
def test_no_limit_of_judgement_is_critical(profile: Profile, air: str) -> None:
    """At every stage the one critical limit is a published one: the profile's with its source, or the hen's, and then it says so."""
    house = site(profiles={profile.id: profile})
    for stage in profile.stages:
        laid = batch(profile_id=profile.id, day=stage.from_day + 0.01, machine=air)
        needs = needs_of(house.machines[air], (laid,), house, at=T0)
        limits = plan_of(needs, house, frozenset((laid.id,))).limits
        (lethal,) = [limit for limit in limits if limit.rule.priority == CRITICAL]
        if profile.lethal_heat is None:
            assert (lethal.limit, needs.of_hens) == (GUIDE_C, profile.kind != "fowl")
        else:
            temp_c, minutes = profile.lethal_heat
            assert (lethal.limit, needs.of_hens, minutes <= 60.0) == (temp_c, False, True)
            assert profile.sources["lethal_heat"] == "MSU-HMG"
        assert all(limit.limit < lethal.limit for limit in limits if limit.quantity == 0 and limit is not lethal)


@pytest.mark.parametrize(
    ("species", "air_c"),
    [
        ("african-grey", 38.1),  # its limit is judgement: NSW-SP gives 37.2 +/- 0.2 °C, and no figure of what kills
        ("emu", 37.45),  # judgement
        (
            "ostrich",
            37.35,
        ),  # HASSAN-04 (seen) ran whole incubations at 37.5 °C: fewer hatched than at 36.5, they did not die of it
    ],
)
def test_warm_air_for_a_cool_bird_is_no_deadly_heat(species: str, air_c: float) -> None:
    """It may wake, as high; it never says that it kills within the hour, nor sends a hand to the heater's switch."""
    house = site(profiles={species: SHIPPED[species]})
    story = Story(site=house, batches=(batch(profile_id=species),), air={TOP: (air_c, 40.0)})
    story.run(minutes=30)
    hot = [n for n in story.notices if there(n.facts).rule.startswith("dry-bulb-high")]
    assert hot
    assert {n.priority for n in story.notices} <= {"high", "medium", "low"}
    assert not any("kill" in n.text or "switch" in n.text for n in story.notices)
    alarm = [n for n in hot if there(n.facts).rule == "dry-bulb-high-alarm"]
    assert all("Days of it cost chicks; it may go on rising." in n.text for n in alarm)


def test_the_hens_figure_is_told_of_a_parrot_as_the_hens() -> None:
    """40.8 °C is critical for it too, and the message says of whom that is known."""
    house = site(profiles={"african-grey": SHIPPED["african-grey"]})
    story = Story(site=house, batches=(batch(profile_id="african-grey"),), air={TOP: (40.8, 40.0)})
    story.run(minutes=1)
    (notice,) = [n for n in story.notices if n.priority == CRITICAL]
    assert "It can kill within the hour (known of hens)." in notice.text


def test_a_heat_that_takes_hours_to_kill_is_no_figure_of_the_hour() -> None:
    """A profile whose source speaks of ten hours has the hen's half hour; of two figures within the hour the strictest counts."""
    slow = replace(SHIPPED["chicken"], id="slow", kind="parrot", lethal_heat=(39.5, 600.0))
    quick = replace(slow, id="quick", lethal_heat=(40.0, 60.0))
    house = site(profiles={"slow": slow, "quick": quick})
    of = [
        needs_of(MACHINES["setter-1"], batches, house, at=T0)
        for batches in ((batch("a", "slow"),), (batch("b", "quick"),), (batch("a", "slow"), batch("b", "quick")))
    ]
    assert [(n.lethal_c, n.of_hens) for n in of] == [(40.6, True), (40.0, False), (40.0, False)]
    assert RULES["dry-bulb-lethal"].respond_min <= 60.0


def test_a_message_about_the_eggs_tells_their_doubt() -> None:
    """`egg about 39.4 °C (38.8 to 40.6)`: as far as the model's factor goes, which in moving air is two; again while it stands."""
    hen = replace(PROFILES["hen"], egg_mass_g=(55.0, 65.0))
    story = Story(site=site(profiles={"hen": hen}), batches=(batch(day=17.2),), air={TOP: (37.5, 45.0)})
    story.run(minutes=30)
    for minute in range(240):
        story.air[TOP] = (37.5 + 1.45 * minute / 240, 45.0)
        story.run(minutes=1)
        story.state.waiting.clear()
        story.state.unsent.clear()
    story.run(minutes=60)
    told = [n for n in story.notices if there(n.facts).rule == "egg-too-hot" and not n.closing]
    assert len(told) > 1
    for notice in told:
        facts = there(notice.facts)
        low_c, high_c = there(facts.range_c)
        model = there(story.state.plan_of("setter-1")).eggs[0].model
        down_k, up_k = model.doubt_k(model.offset_k(17.35))
        assert there(facts.value) - low_c == pytest.approx(down_k, abs=0.05)
        assert high_c - there(facts.value) == pytest.approx(up_k, abs=0.05)
        shown = f"Egg about {facts.value:.1f} °C ({low_c:.1f} to {high_c:.1f})"
        assert notice.text.startswith(f"{shown} now, worst " if facts.still else f"{shown}, limit 39.2 °C, since ")
    view = machine_view(story.look(), "setter-1", lambda about: "")
    (alarm,) = [a for a in view["alarms"] if a["rule"] == "egg-too-hot"]
    low_c, high_c = alarm["value_range"]
    lines = alarm_lines(alarm, story.site, story.now().utc, live=True)
    assert lines[0].endswith(": eggs too hot (estimate)")
    assert lines[1].startswith(f"  egg about {alarm['value']:.1f} °C ({low_c:.1f} to {high_c:.1f}) now")
    assert [a["rule"] for a in view["alarms"] if a["rule"] != "egg-too-hot" and "value_range" in a] == []
    air = [n for n in story.notices if there(n.facts).rule.startswith("dry-bulb")]
    assert [n for n in air if there(n.facts).range_c is not None] == []


@pytest.mark.parametrize("interval_s", [10.0, 60.0, 120.0, 300.0, 900.0])
@pytest.mark.parametrize("k_per_h", [4.0, 12.0, 30.0, 60.0])
def test_heat_is_told_within_two_readings_of_its_limit(interval_s: float, k_per_h: float) -> None:
    """However fast it comes and however seldom the probe speaks, "too hot" is no later than `check` says; a minute more for its own delay."""
    watched = probes((TOP, "setter-1"), interval_s=interval_s)
    story = Story(site=site(watched), batches=(batch(),), air={TOP: (37.5, 45.0)}, interval_s=interval_s)
    story.run(seconds=6.0 * interval_s)
    begun_s = story.at_s + 0.4 * interval_s
    passed_s = begun_s + (39.0 - 37.5) / k_per_h * 3600.0
    while not {rule for rule, _ in story.states()} & {"dry-bulb-high-alarm", "dry-bulb-lethal"}:
        story.air[TOP] = (37.5 + max(0.0, story.at_s + 1.0 - begun_s) * k_per_h / 3600.0, 45.0)
        story.run(seconds=1)
        assert story.at_s <= passed_s + watched[TOP].hot_within_s + 60.0
    assert story.at_s > passed_s


def heated(*steps: tuple[float, float]) -> Story:
    """One probe of a hen's machine, in air of so many °C for so many minutes each; sam hears everything, kim what is critical alone."""
    house = replace(site(contacts=("sam", "kim")), hearing={"kim": Hearing(CRITICAL)})
    story = Story(site=house, batches=(batch(),), air={TOP: (37.5, 45.0)})
    story.run(minutes=30)
    for air_c, minutes in steps:
        story.air[TOP] = (air_c, 45.0)
        story.run(minutes=minutes)
    return story


def ask(story: Story, **request: object) -> None:
    """A person's request, now."""
    out = Group()
    answer = perform(story.state, story.site, request, story.now(), out)
    story.adopt(out)
    assert "error" not in answer


def ends(story: Story) -> list[tuple[str, str]]:
    """(contact, rule) of each message that something is over."""
    return [(n.contact, there(n.facts).rule) for n in story.notices if n.closing]


def test_one_heat_has_one_end() -> None:
    """No longer too hot is no longer deadly: whoever heard the first hears no second, and who hears deadly heat alone hears that it is over."""
    story = heated((39.5, 3), (41.5, 10), (39.5, 3), (37.6, 40))
    assert ends(story) == [("sam", "dry-bulb-high-alarm"), ("kim", "dry-bulb-lethal")]
    begun, over = (story.alarm("dry-bulb-lethal"), story.alarm("dry-bulb-high-alarm"))
    assert not (begun.condition)
    assert not (begun.told)
    assert not (over.condition)


@pytest.mark.parametrize(("cooled_c", "first"), [(39.5, 0), (37.6, 1)])
def test_deadly_heat_that_is_still_too_hot_has_not_ended(cooled_c: float, first: int) -> None:
    """Who hears that it is no longer too hot hears no end before that; who hears deadly heat alone hears the end of that."""
    story = heated((39.5, 3), (41.5, 10), (cooled_c, 30))
    assert ends(story) == [("sam", "dry-bulb-high-alarm"), ("kim", "dry-bulb-lethal")][1 - first :]
    story.air[TOP] = (37.6, 45.0)
    story.run(minutes=10)
    assert sorted(ends(story)) == [("kim", "dry-bulb-lethal"), ("sam", "dry-bulb-high-alarm")]


def test_the_end_of_deadly_heat_is_the_end_of_what_comes_and_goes() -> None:
    """Too hot for the third time is over hours after it was well: who hears that it is no longer deadly, in air that is well, hears no second end."""
    story = heated(*(step for _ in range(2) for step in ((39.5, 3), (37.6, 20))), (39.5, 3), (41.5, 10), (37.6, 20))
    assert story.alarm("dry-bulb-high-alarm").chattering
    assert ends(story)[-2:] == [("sam", "dry-bulb-lethal"), ("kim", "dry-bulb-lethal")]
    count = len(ends(story))
    story.run(minutes=150)
    assert not story.alarm("dry-bulb-high-alarm").condition
    assert len(ends(story)) == count


def test_what_comes_and_goes_is_told_again_after_the_end_of_deadly_heat() -> None:
    """Who heard that it is no longer deadly takes all for well: too hot for the fourth time is told at once, under the number that it has."""
    story = heated(*(step for _ in range(2) for step in ((39.5, 3), (37.6, 20))), (39.5, 3), (41.5, 10), (37.6, 20))
    number, count = story.alarm("dry-bulb-high-alarm").number, len(story.notices)
    assert story.alarm("dry-bulb-high-alarm").condition
    story.air[TOP] = (39.5, 45.0)
    story.run(minutes=1)
    told = [(n.contact, there(n.facts).rule, n.closing, n.alarm_number) for n in story.notices[count:]]
    assert told == [("sam", "dry-bulb-high-alarm", False, number)]


def test_what_is_too_hot_on_the_way_down_is_no_news() -> None:
    """Heat that came in one jump was told as deadly: that it is too hot on its way home is not told beside that, and where it stays so, it asks."""
    story = heated((41.5, 10), (39.5, 14))
    assert [there(n.facts).rule for n in story.notices if there(n.facts).rule == "dry-bulb-high-alarm"] == []
    assert story.alarm("dry-bulb-high-alarm").condition
    story.state.unsent.clear()
    story.run(minutes=30)
    assert {there(n.facts).still for n in story.notices if there(n.facts).rule == "dry-bulb-high-alarm"} == {True}
    story.air[TOP] = (37.6, 45.0)
    story.run(minutes=10)
    assert ends(story) == [("kim", "dry-bulb-lethal"), ("sam", "dry-bulb-high-alarm")]


def test_the_end_of_too_hot_speaks_for_its_own_machine_alone() -> None:
    """Setter 1 is no longer too hot, and at the same instant setter 2 no longer deadly: both are told to whoever heard them."""
    story = heated((37.6, 1))
    out = Group()
    look = story.look(out)
    for number, (machine, rule) in enumerate(
        [("setter-1", "dry-bulb-high-alarm"), ("setter-2", "dry-bulb-high-alarm"), ("setter-2", "dry-bulb-lethal")], 1
    ):
        alarm = Alarm(machine, rule, number, 1, condition=False, acknowledged=True, told=True)
        story.state.alarms[alarm.key] = alarm
        if number != 2:  # which is over since long ago
            tell(look, Transition(alarm, ACKNOWLEDGED, NORMAL, BACK, look.now.utc, look.now.mono_s))
    assert [(n.contact, n.alarm_number) for n in out.notices] == [("sam", 1), ("sam", 3), ("kim", 3)]


def test_deadly_heat_that_was_told_alone_is_over_by_itself() -> None:
    """Heat that came in one jump, and went in one, was never "too hot": its end is its own, a quarter of an hour later."""
    story = heated((41.5, 10), (37.6, 14))
    assert ends(story) == []
    story.run(minutes=3)
    assert ends(story) == [("sam", "dry-bulb-lethal"), ("kim", "dry-bulb-lethal")]


def test_the_end_of_deadly_heat_is_told_while_the_end_of_too_hot_is_not() -> None:
    """Too hot was made quiet by a person: nobody hears that it is over, so of deadly heat everybody does."""
    story = heated((39.5, 3), (41.5, 10))
    number = story.alarm("dry-bulb-high-alarm").number
    ask(story, do="shelve", alarm=number, for_s=1800.0, by="sam")
    story.air[TOP] = (37.6, 45.0)
    story.run(minutes=20)
    assert ends(story) == [("sam", "dry-bulb-lethal"), ("kim", "dry-bulb-lethal")]


@pytest.mark.parametrize("answered", [False, True])
def test_what_is_deadly_again_after_no_longer_too_hot_is_told_at_once(answered: bool) -> None:
    """Minutes after "no longer too hot" nobody waits for a reminder, nor for somebody's answer of before."""
    story = heated((39.5, 3), (41.5, 10))
    if answered:
        ask(story, do="acknowledge", alarm=story.alarm("dry-bulb-lethal").number, by="sam")
    before = story.alarm("dry-bulb-lethal").number
    story.air[TOP] = (37.6, 45.0)
    story.run(minutes=4)
    assert ("sam", "dry-bulb-high-alarm") in ends(story)
    count = len(story.notices)
    story.air[TOP] = (41.5, 45.0)
    story.run(minutes=1)
    told = [n for n in story.notices[count:] if n.priority == CRITICAL]
    assert {n.contact for n in told} == {"sam", "kim"}
    assert {n.alarm_number for n in told} == {story.alarm("dry-bulb-lethal").number} != {before}
