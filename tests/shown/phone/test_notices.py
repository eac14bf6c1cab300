"""A transition in words, for someone who was just woken."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.air.units import Unit
from monitor.domain.alarms.about import BROKER, MAINS, NETWORK, Unheard
from monitor.domain.alarms.alarm import NORMAL, RETURNED, SUPPRESSED, UNACKNOWLEDGED, Alarm, Transition
from monitor.domain.alarms.notice import Notice, facts_of
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB, Needs, Occupant
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Machine, Site
from monitor.shown.phone.notices import MAX_TEXT, MAX_TITLE, OVER, with_lateness, worded
from monitor.shown.values import MOST_FINER, show_value
from tests.domain.house import DRY_RH, DRY_WET, RULES, T0, WARM, probes, site

SILENCE = {"no-data", "no-humidity", "node-offline", "all-silent"}
LONG_NAME, LONG_ID = "W" * 24, "w" * 32
LONG_KEY = f"{LONG_ID}/{LONG_ID}"


def word(transition: Transition, house: Site, needs: Needs | None, doubtful: bool = False) -> tuple[str, str]:
    """(title, text) of what a transition tells."""
    alarm = transition.alarm
    facts = facts_of(transition, needs, doubtful)
    made = Notice(
        1,
        "1/1/sam",
        "sam",
        "high",
        "",
        "",
        transition.at,
        alarm.number,
        facts.over or bool(facts.unjudged),
        facts=facts,
    )
    told = worded(made, house)
    return told.title, told.text


def quantity(rule: str, wet: bool) -> str:
    if rule.startswith("dry-bulb-"):
        return DRY_BULB
    return (WET_BULB if wet else RH) if rule.startswith("humidity-") else ""


def begun(rule: str, subject: str = "setter-1", **changes: Any) -> Transition:
    """A beginning, two minutes after the condition did."""
    about = quantity(rule, False)
    alarm = Alarm(
        subject, rule, 12, 1, condition=True, acknowledged=False, since=T0, value=39.6 if about else None, limit=39.0, about=about
    )  # fmt: skip
    alarm = replace(alarm, worst=alarm.value)
    return Transition(
        replace(alarm, **changes), NORMAL, UNACKNOWLEDGED, "beyond its limit", T0 + timedelta(minutes=2), 1.0
    )


def over(transition: Transition, minutes: float = 40.0) -> Transition:
    """The same alarm, over since `minutes` after it began."""
    at = T0 + timedelta(minutes=minutes)
    alarm = replace(transition.alarm, condition=False, ended=at, value=37.5 if transition.alarm.about else None)
    return replace(
        transition, alarm=alarm, state_before=UNACKNOWLEDGED, state=RETURNED, cause="back within its limit", at=at
    )


NEEDS = Needs("setter-1", (Occupant("hen-1", "hen", 5.2, "setter", None),), WARM, DRY_RH)


def test_a_message_reads_well() -> None:
    """The title says machine and what; the text value and band, since when, which batch, what it does, what to do, and the number."""
    title, text = word(begun("dry-bulb-high-alarm"), site(), NEEDS)
    assert title == "Urgent: Setter 1 too hot"
    assert text == (
        "39.6 °C, target 37.0 to 38.0, since 08:00. Look now: heater, thermostat, fan and vents."
        " hen-1 day 5. Days of it cost chicks; it may go on rising. No. 12"
    )


def test_deadly_heat_says_of_whom_it_is_known() -> None:
    """Of a bird with a figure of its own it can kill within the hour; with the hen's in place of one, that is said in the same breath."""
    deadly = begun("dry-bulb-lethal", value=40.8, worst=40.8, limit=40.6)
    title, text = word(deadly, site(), replace(NEEDS, lethal_c=40.6))
    assert title == "Urgent: Setter 1 deadly heat"
    assert text == (
        "40.8 °C, target 37.0 to 38.0, since 08:00. Open the machine, switch its heater off."
        " hen-1 day 5. It can kill within the hour. No. 12"
    )
    of_hens = replace(NEEDS, lethal_c=40.6, of_hens=True)
    assert " It can kill within the hour (known of hens). No." in word(deadly, site(), of_hens)[1]
    # A house's own limit: nothing was published of it.
    own = begun("dry-bulb-lethal", value=40.8, worst=40.8, limit=40.0)
    assert "hens" not in word(own, site(), of_hens)[1]
    hot = begun("dry-bulb-high-alarm", value=40.8, worst=40.8, limit=40.6)  # another rule that has the same limit
    assert "hens" not in word(hot, site(), of_hens)[1]


@pytest.mark.parametrize(
    ("value", "said"),
    [(39.2, "no longer deadly, still too hot"), (38.4, "no longer deadly heat"), (37.5, "no longer deadly heat")],
)
def test_what_is_no_longer_deadly_and_still_too_hot_says_so(value: float, said: str) -> None:
    """Read half asleep, "no longer" is heard as all is well."""
    past = over(begun("dry-bulb-lethal", worst=41.0, limit=40.6))
    past = replace(past, alarm=replace(past.alarm, value=value))
    needs = replace(NEEDS, dry_bulb_c=Band(low_warning=37.0, target=37.5, high_warning=38.0, high_alarm=38.9))
    assert word(past, site(), needs)[0] == f"Over: Setter 1 {said}"


def test_a_message_in_fahrenheit() -> None:
    """A site in F is told in F, value and band."""
    _, text = word(begun("dry-bulb-high-alarm"), site(unit="F"), NEEDS)
    assert text.startswith("103.3 °F, target 98.6 to 100.4, since 08:00.")


def test_a_wet_bulb_is_called_one() -> None:
    """Wet bulb is named, so that nobody takes it for the temperature."""
    wet = replace(NEEDS, rh_pct=None, wet_bulb_c=DRY_WET)
    _, text = word(begun("humidity-low-warning", value=26.2, limit=27.0, about=WET_BULB), site(), wet)
    assert text.startswith("Wet bulb 26.2 °C, target 27.0 to 29.0, since 08:00.")


def test_a_closing_message_says_how_long_and_how_far() -> None:
    """The end tells the value now, how long it lasted and the worst."""
    title, text = word(over(begun("dry-bulb-high-alarm", worst=40.2)), site(), NEEDS)
    assert title == "Over: Setter 1 no longer too hot"
    assert text == "37.5 °C, target 37.0 to 38.0. Lasted 40 min, worst 40.2 °C. No. 12"
    _, text = word(over(begun("no-data", "node-a/top"), 200), site(), None)
    assert text == "Lasted 3.3 h. No. 12"


def test_what_the_eggs_feel_is_told_with_its_limit_while_it_stands() -> None:
    """An estimate has a limit and no band; over, only the value now and the worst are told; without a limit none."""
    hot = begun("egg-too-hot", value=39.64, worst=39.64, limit=39.2, about=EGG)
    title, text = word(hot, site(), NEEDS)
    assert title == "Urgent: Setter 1 eggs too hot (estimate)"
    assert text.startswith(
        "Egg about 39.6 °C, limit 39.2 °C, since 08:00. Lower the heat, check fan and vents. hen-1 day 5. "
    )
    _, text = word(over(hot), site(), NEEDS)
    assert text == "Egg about 37.5 °C. Lasted 40 min, worst egg about 39.6 °C. No. 12"
    facts = replace(facts_of(hot, NEEDS), range_c=(39.2, 40.44))
    made = Notice(1, "1/1/sam", "sam", "high", "", "", hot.at, 12, facts=facts)
    assert worded(made, site()).text.startswith("Egg about 39.6 °C (39.2 to 40.4), limit 39.2 °C, since 08:00. ")
    closing = replace(facts, over=True, value=38.0, range_c=(37.7, 38.5), ended=T0 + timedelta(minutes=40))
    assert worded(replace(made, facts=closing), site()).text == (
        "Egg about 38.0 °C (37.7 to 38.5). Lasted 40 min, worst egg about 39.6 °C (39.3 to 40.1). No. 12"
    )
    bare = replace(hot, alarm=replace(hot.alarm, limit=None))
    assert word(bare, site(), NEEDS)[1].startswith("Egg about 39.6 °C, since 08:00. ")


@pytest.mark.parametrize(("minutes", "shown"), [(0.4, "0 min"), (119.4, "119 min"), (120, "2.0 h"), (200, "3.3 h")])
def test_how_long_it_lasted_is_told_in_minutes_then_hours(minutes: float, shown: str) -> None:
    """Minutes up to two hours, then hours with a tenth."""
    assert word(over(begun("no-data", "node-a/top"), minutes), site(), None)[1] == f"Lasted {shown}. No. 12"


def test_it_lasted_until_it_passed_not_until_it_is_told() -> None:
    """The delay after which it is told to be over is no part of it; where it is not known when it passed, it lasted until now."""
    ended = replace(over(begun("no-data", "node-a/top"), 40), at=T0 + timedelta(minutes=55))
    assert word(ended, site(), None)[1] == "Lasted 40 min. No. 12"
    unknown = replace(ended, alarm=replace(ended.alarm, ended=None))
    assert word(unknown, site(), None)[1] == "Lasted 55 min. No. 12"


def test_what_has_no_figure_at_its_end_tells_none() -> None:
    """An end without a value (its sensor is silent, say) is how long it lasted, and what was worst."""
    ended = over(begun("dry-bulb-high-alarm", worst=40.2))
    gone = replace(ended, alarm=replace(ended.alarm, value=None))
    assert word(gone, site(), NEEDS)[1] == "Lasted 40 min, worst 40.2 °C. No. 12"
    bare = replace(gone, alarm=replace(gone.alarm, worst=None, since=None))
    assert word(bare, site(), NEEDS)[1] == "Lasted a while. No. 12"
    strange = replace(ended, alarm=replace(ended.alarm, about="the vents"))
    assert word(strange, site(), NEEDS)[1] == "Lasted 40 min. No. 12"


def test_two_batches_are_both_named_and_no_more_is_counted() -> None:
    """Two are named with day and stage; a third is counted."""
    two = (*NEEDS.occupants, Occupant("hen-2", "hen", 0.9, "setter", None))
    _, text = word(begun("dry-bulb-high-alarm"), site(), replace(NEEDS, occupants=two))
    assert " hen-1 day 5, hen-2 day 0. Days of it" in text
    three = (*two, Occupant("hen-3", "hen", 1.0, "setter", None))
    _, text = word(begun("dry-bulb-high-alarm"), site(), replace(NEEDS, occupants=three))
    assert " hen-1 day 5, hen-2 day 0 and 1 more. Days of it" in text


def test_what_it_is_about_stands_in_place_of_the_batches_where_it_fits() -> None:
    """Beside a value nothing else is told of it; without one it is, as long as there is room for it, to the last character."""
    _, text = word(begun("dry-bulb-high-alarm", about="the vents"), site(), NEEDS)
    assert "the vents" not in text
    assert "hen-1 day 5." in text
    room = MAX_TEXT - len("No. 12") - len("since 08:00. ")
    for length, told in ((room - 2, True), (room - 1, False)):
        _, text = word(begun("sensor-suspect", "node-a/top", about="x" * length), site(), NEEDS)
        assert ("xxx" in text) == told
        assert ("hen-1 day 5." in text) != told
        assert len(text) <= MAX_TEXT


@pytest.mark.parametrize("spare", [0, 1])
def test_a_batch_is_told_with_its_place_where_the_title_has_room(spare: int) -> None:
    """In the title, to its last character; else in the text."""
    words = " weight loss off track"
    name = "n" * (MAX_TITLE - len("Urgent: ") - len(words) - len(" in Setter 1") + 1 - spare)
    title, text = word(begun("weight-off-track", f"batch {name}"), site(), NEEDS)
    assert title == (f"Urgent: {name} in Setter 1{words}" if spare else f"Urgent: {name}{words}")
    assert ("In Setter 1." in text) == (not spare)


def test_a_machine_that_is_gone_is_no_place() -> None:
    """A notice that waited over a change of the configuration names the batch alone, where its machine is no longer known."""
    needs = replace(NEEDS, machine="cellar")
    assert word(begun("weight-off-track", "batch hen-1"), site(), needs)[0] == "Urgent: hen-1 weight loss off track"


def test_a_message_has_the_room_of_a_locked_phone() -> None:
    """A title of 50 characters and a text of 178."""
    assert (MAX_TITLE, MAX_TEXT) == (50, 178)


def test_a_name_that_is_cut_stands_whole_right_after_the_value() -> None:
    """The value first, then whom it is about, then the rest."""
    title, text = word(begun("dry-bulb-high-alarm", "s" * 80), site(), NEEDS)
    assert title == f"Urgent: {'s' * (MAX_TITLE - len('Urgent:  too hot') - 1)}… too hot"
    assert text.startswith(f"39.6 °C, target 37.0 to 38.0, since 08:00. {'s' * 80}. Look now: ")
    _, text = word(begun("dry-bulb-high-alarm", "s" * 80), site(), NEEDS, doubtful=True)
    assert text.startswith(f"39.6 °C, target 37.0 to 38.0, since 08:00. {'s' * 80}. Sensor doubtful. ")


def test_a_message_that_asks_again_says_so() -> None:
    """What still stands is told with STILL, and with the present value."""
    title, text = word(
        replace(begun("dry-bulb-high-alarm", value=39.1, worst=41.0), cause="still standing"), site(), NEEDS
    )
    assert title == "Urgent: Setter 1 STILL too hot"
    assert text.startswith("39.1 °C")


def test_what_is_no_longer_judged_says_why() -> None:
    """Suppression is told with what it was and why it is quiet."""
    quiet = begun("dry-bulb-high-alarm", condition=False, suppressed="no eggs in it")
    title, text = word(replace(quiet, state=SUPPRESSED, state_before=UNACKNOWLEDGED), site(), None)
    assert (title, text) == ("Over: Setter 1 no longer judged", "Was too hot; no eggs in it. No. 12")


def test_a_conflict_names_the_batches_once() -> None:
    """Eggs that cannot share a machine are named, and not twice over."""
    pair = replace(NEEDS, occupants=(*NEEDS.occupants, Occupant("cold-1", "cold", 3.0, "setter", None)))
    about = "temperature: hen-1 day 5 setter, cold-1 day 3 setter"
    _, text = word(begun("bands-in-conflict", about=about), site(), pair)
    assert text.count("hen-1") == text.count("cold-1") == 1
    assert text.startswith(f"Since 08:00. {about}.")


def test_a_conflict_too_long_to_tell_in_full_still_names_two() -> None:
    """With too many batches for one message, the first two are named, and how many more there are."""
    many = replace(NEEDS, occupants=tuple(Occupant(f"{n}{LONG_ID[1:]}", "hen", 5.0, "setter", None) for n in range(5)))
    about = ", ".join(f"{o.batch} day 5" for o in many.occupants)
    _, text = word(begun("bands-in-conflict", about=about), site(), many)
    assert many.occupants[0].batch in text
    assert many.occupants[1].batch in text
    assert "and 3 more." in text


def test_a_clock_that_went_back_gives_no_negative_time() -> None:
    """An alarm that, by the labels, ended before it began, lasted no time."""
    assert "Lasted 0 min" in word(over(begun("no-data", "node-a/top"), -500), site(), None)[1]


def long_house(unit: Unit) -> Site:
    machines = {LONG_ID: Machine(LONG_ID, LONG_NAME), "other": Machine("other", LONG_NAME[:-1] + "V")}
    watched = probes((LONG_KEY, LONG_ID), (f"{LONG_ID}/{'v' * 32}", "other"))
    return site(watched, machines=machines, unit=unit)


LONG_BAND = Band(-40.55, -39.55, -38.0, 119.95, 149.95)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("unit", ["C", "F"])
@given(
    number=st.integers(1, 10**9),
    value=st.floats(-40, 149.95),
    wet=st.booleans(),
    day=st.floats(0, 120),
    eggs=st.integers(0, 6),
    again=st.booleans(),
    ago_h=st.floats(0, 3_000),
    ending=st.sampled_from(["", "over", "quiet"]),
)
@settings(max_examples=25, deadline=None)
def test_the_longest_message_fits(
    rule: str,
    unit: Unit,
    number: int,
    value: float,
    wet: bool,
    day: float,
    eggs: int,
    again: bool,
    ago_h: float,
    ending: str,
) -> None:
    """With the longest names of machines (24), nodes, probes and batches (32), in C and F, every rule's message has at most MAX_TEXT
    characters, a title that says what, and always the number; a beginning always has value, target and since."""
    house = long_house(unit)
    subject = LONG_ID
    if rule in SILENCE:
        subject = {"no-data": LONG_KEY, "no-humidity": LONG_KEY, "all-silent": "site"}.get(rule, LONG_ID)
        house = _node_only(unit) if rule == "node-offline" else house
    of = quantity(rule, wet)
    occupants = tuple(Occupant(f"{n}{LONG_ID[1:]}", "hen", day, "lockdown", None) for n in range(eggs))
    needs = Needs(LONG_ID, occupants, LONG_BAND, None if wet else Band(0, 0, 50, 100, 100), LONG_BAND if wet else None)
    who = ", ".join(f"{o.batch} day {int(o.day)} lockdown" for o in occupants)
    about = of or {"all-silent": "None of 64 nodes is heard"}.get(rule, f"temperature and humidity: {who}")
    made = begun(rule, subject, number=number, value=value if of else None, worst=149.95 if of else None, about=about)
    made = replace(made, at=T0 + timedelta(hours=ago_h), cause="still standing" if again else made.cause)
    if ending == "over":
        made = over(made, ago_h * 60)
    elif ending == "quiet":
        quiet = replace(made.alarm, condition=False, suppressed="no longer configured")
        made = replace(made, alarm=quiet, state=SUPPRESSED)
    title, text = word(made, house, needs)
    how = "Over" if ending else "Urgent"
    assert len(text) <= MAX_TEXT
    assert len(title) <= MAX_TITLE
    assert text.endswith(f"No. {number}")
    words = {"over": RULES[rule].over, "quiet": "no longer judged"}.get(ending, RULES[rule].words)
    assert title.endswith(words)
    assert title.startswith((f"{how}: All machines", f"{how}: {LONG_NAME[:2]}"))
    if not ending:
        assert ("for " if again else "since ") in text.lower()
        assert not again or "STILL" in title
        if of:
            assert text.lower().startswith(
                tuple(show_value(of, value, unit, finer=finer).lower() for finer in range(MOST_FINER + 1))
            )
            assert ", target " in text or ", limit " in text
        if eggs and rule not in SILENCE:
            assert occupants[0].batch in text or len(text) > MAX_TEXT - 85


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize(("rule", "limit"), [("dry-bulb-high-warning", 37.2), ("dry-bulb-low-warning", 37.0)])
@given(beyond=st.floats(0.01, 0.3))
@settings(max_examples=50, deadline=None)
def test_what_is_out_of_its_band_never_reads_as_if_it_were_in_it(
    rule: str, limit: float, beyond: float, unit: Unit
) -> None:
    """37.24 against 37.2 is told with as many decimals as show it: nobody understands a value inside the band that it is told to be out of."""
    band = Band(36.1, 37.0, 37.1, 37.2, 38.3)
    value = limit + beyond if "high" in rule else limit - beyond
    _, text = word(begun(rule, value=value, limit=limit), site(unit=unit), Needs("setter-1", (), band))
    told, edges = text.split(", since")[0].split(", target ")
    low, high = (float(each) for each in edges.split(" to "))
    assert not low <= float(told.split()[0]) <= high


def test_a_limit_of_the_house_that_lies_within_the_band_is_told_in_its_place() -> None:
    """Who wishes to be woken at 37.3 °C is told of that, and not of a band that the air is still in."""
    needs = Needs("setter-1", (), Band(36.1, 37.0, 37.2, 37.6, 38.3))
    _, text = word(begun("dry-bulb-high-warning", value=37.4, limit=37.3), site(), needs)
    assert text.startswith("37.4 °C, limit 37.3 °C, since ")
    _, text = word(begun("dry-bulb-high-warning", value=37.8, limit=37.6), site(), needs)
    assert text.startswith("37.8 °C, target 37.0 to 37.6, since ")


def _node_only(unit: Unit) -> Site:
    """A house in which the longest id names a node and not a machine."""
    machines = {"m": Machine("m", LONG_NAME), "other": Machine("other", LONG_NAME[:-1] + "V")}
    return site(probes((LONG_KEY, "m"), (f"{LONG_ID}/{'v' * 32}", "other")), machines=machines, unit=unit)


def test_a_probe_with_a_long_name_is_named_in_full_in_the_text() -> None:
    """Where the title has no room for the whole name, the text has it."""
    house = long_house("C")
    title, text = word(begun("no-data", LONG_KEY), house, None)
    assert title.endswith("… no reading")
    assert f"{LONG_NAME} ({LONG_KEY})." in text


def test_a_notice_without_facts_has_its_words_alone() -> None:
    """What is about no alarm, and what an older program wrote, is told in the words it has."""
    bare = Notice(1, "1/1/sam", "sam", "low", "All is well", "Nothing stands.", T0, 0)
    assert worded(bare, site()) == bare


def test_an_end_of_what_was_never_told_says_so_where_it_fits() -> None:
    """Who was not told of the beginning reads that it is the first to be heard of; a text that would grow too long stays as it is."""
    end = replace(Notice(1, "1/1/sam", "sam", "low", "t", "x" * (MAX_TEXT - len(OVER)), T0, 1, closing=True), late=True)
    assert with_lateness(end).text == OVER + end.text
    longer = replace(end, text=end.text + "x")
    assert with_lateness(longer) == longer
    assert with_lateness(replace(end, late=False)) == replace(end, late=False)


@pytest.mark.parametrize(
    ("why", "title"),
    [
        (BROKER, "Urgent: the broker on this Pi has stopped"),
        (NETWORK, "Urgent: the network is gone"),
        (MAINS, "Urgent: the mains have failed"),
        ("", "Urgent: All machines every node silent"),
    ],
)
def test_what_is_the_houses_is_told_without_a_machine(why: str, title: str) -> None:
    """The cause has the whole title: "All mac…" before it said nothing."""
    made = begun("all-silent", "site", value=None, worst=None, about=Unheard(6, why))
    assert word(made, long_house("C"), None)[0] == title
