"""Several notices in one message."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.joined import RUN_GAP, episode, reminds, told_late
from monitor.domain.alarms.notice import Notice, Reach
from monitor.shown.phone.notices import MAX_TEXT, MAX_TITLE, OVER
from tests.delivery_port import NOTICE
from tests.told import HOUSE, T0, WORDS, about

ACT = "Look now: heater, thermostat, fan and vents."
join = WORDS.join


def ended(id_: int, of: Notice) -> Notice:
    """Its closing notice."""
    assert of.facts is not None
    return about(id_, of.facts.subject, "no longer too hot", "low", alarm_number=of.alarm_number)


SIX = [about(n, f"Setter {n}", after_s=n) for n in range(1, 7)]


def test_a_flood_names_count_first_and_rest() -> None:
    """Six machines too hot: how many; the first in full, what to do; the others each with its number, and how many there was no room for."""
    told = join(SIX)
    assert told.title == "Urgent: 6 machines too hot"
    assert told.text == (
        f"Setter 1: 39.5 °C, target 37.5 to 38.1, since 02:14. No. 1. {ACT}"
        " Also Setter 2 (No. 2), Setter 3 (No. 3), Setter 4 (No. 4). And 2 more."
    )
    assert (told.id, told.priority, told.alarm_number, told.link) == (1, "critical", 1, SIX[0].link)


def test_deadly_heat_of_several_machines_says_of_whom_it_is_known() -> None:
    """Once for all of them, where it is the hen's figure for at least one."""
    two = [about(n, f"Setter {n}", "deadly heat", of_hens=n == 2) for n in (1, 2)]
    assert "Open the machine, switch its heater off. Also Setter 2 (No. 2)." in join(two).text
    again = [about(n, "Setter 1", "deadly heat", alarm_number=1, of_hens=n == 2) for n in (1, 2)]
    assert "It can kill within the hour (known of hens)." in join(again).text


def test_a_first_that_was_told_by_itself_is_counted_and_named() -> None:
    """All are counted, though the first went ahead; in full is told what is new, and when it began where there is room."""
    told = join(SIX[1:], SIX[:1])
    assert told.title == join(SIX).title
    assert told.text.startswith("Setter 2: 39.5 °C, target 37.5 to 38.1, since 02:14. No. 2. ")
    assert join(SIX[1:2], SIX[:1]) == SIX[1]
    assert join(SIX[1:3], SIX[:1]).title == "Urgent: 3 machines too hot"
    assert join(SIX[1:3], SIX[:1]).text.endswith("Also Setter 3 (No. 3). First Setter 1 at 02:14 (No. 1).")
    assert told.id == 2


def test_a_first_that_is_over_is_named_and_not_counted() -> None:
    """What was told to be over is no longer one of the machines that are too hot, but it was the first all the same."""
    told = join(SIX[1:4], [SIX[0], ended(9, SIX[0])])
    assert told.title == "Urgent: 3 machines too hot"
    assert told.text.startswith("Setter 2: 39.5 °C")
    assert "Also Setter 3 (No. 3), Setter 4 (No. 4)." in told.text


def test_the_worst_leads_and_the_first_is_named_with_what_it_was() -> None:
    """A node's silence came first, the heat is worse: the message is about the heat, and says what came first."""
    silent = about(1, "node-a/top", "no reading", "high")
    dry = [about(n, f"Setter {n - 5}", "dry", "low", 70) for n in (8, 9)]
    told = join([*dry, *(about(n, f"Setter {n}", after_s=60) for n in (2, 3))], [silent])
    assert told.title == "Urgent: 2 machines too hot, 2 more"
    assert told.text == (
        f"Setter 2: 39.5 °C, target 37.5 to 38.1, since 02:15. No. 2. {ACT}"
        " Also Setter 3 (No. 3). Dry: Setter 3 (No. 8). And 1 more."
    )


def test_one_machine_that_is_worst_is_told_with_its_value() -> None:
    """Where only one is worst, its value, band and time are told, then the others."""
    told = join([about(2, "Setter 2"), about(3, "Setter 3", "dry", "low")])
    assert told.title == "Urgent: Setter 2 too hot, 1 more"
    assert told.text == f"39.5 °C, target 37.5 to 38.1, since 02:14. No. 2. {ACT} Dry: Setter 3 (No. 3)."


def test_one_more_machine_is_named_and_told_with_its_value() -> None:
    """Where one joins those that were told, it is named, with its value."""
    told = join([SIX[2], about(9, "Hatcher", "dry", "low", 20)], SIX[:2])
    assert told.title == "Urgent: 3 machines too hot, 1 more"
    assert told.text.startswith("Setter 3: 39.5 °C, target 37.5 to 38.1, since 02:14. No. 3. ")
    assert "Dry: Hatcher (No. 9)." in told.text


def test_a_machine_with_four_silent_probes_is_one_machine() -> None:
    """Probes are told as their machines, each once."""
    told = join([about(n, f"node-a/p{n}", "no reading", "high") for n in range(1, 7)])
    assert told.title == "Urgent: 2 machines no reading"
    assert told.text.endswith("Also Setter 1 (No. 2, 4, 6), Setter 2 (No. 3, 5).")


def test_what_are_no_machines_are_not_called_so() -> None:
    """Nodes, batches and whatever else alarms are about are counted without a word for what they are."""
    told = join([about(n, f"Setter {n} (node-{n})", "node gone", "high") for n in (1, 2)])
    assert told.title == "Urgent: 2 × node gone"


def test_alarms_far_apart_are_no_flood() -> None:
    """After an outage of the phone, an alarm from hours before is told with the rest, but not as what a new flood began with."""
    old = about(1, "Setter 9", "dry", "low", after_s=-9000)
    told = join([old, *SIX[1:]])
    assert told.title == "Urgent: 5 machines too hot, 1 more"
    assert "First" not in told.text


@pytest.mark.parametrize(
    ("apart_s", "first"),
    [(RUN_GAP.total_seconds(), " First: Box 1 dry at 02:14."), (RUN_GAP.total_seconds() + 1, "")],
)
def test_a_flood_is_a_chain(apart_s: float, first: str) -> None:
    """Alarms no further apart than RUN_GAP, one from the next, are one flood."""
    told = join([about(1, "Box 1", "dry", "low"), *(about(n, f"Box {n}", after_s=apart_s) for n in (2, 3))])
    assert told.text.endswith(first)
    assert ("First" in told.text) == bool(first)


def test_reminders_are_one_and_say_so() -> None:
    """Six that still stand are one message with STILL, and the first of them as it was told at the time."""
    still = [about(10 + n, f"Setter {n}", "STILL too hot", alarm_number=n, after_s=300) for n in range(1, 7)]
    assert all(map(reminds, still))
    assert not any(map(reminds, SIX))
    told = join(still, SIX)
    assert told.title == "Urgent: 6 machines STILL too hot"
    assert told.text.startswith("Setter 1: 39.5 °C now, worst 44.5 °C, target 37.5 to 38.1, for 0 min. No. 1.")
    assert join([*still[:1], about(7, "Setter 7", after_s=300)]).title.startswith("Urgent: 2 machines too hot")


def test_ends_are_one() -> None:
    """Six that are over are one message of good news, that is no alarm."""
    told = join([ended(10 + n, one) for n, one in enumerate(SIX)], SIX)
    assert told.title == "Over: 6 machines no longer too hot"
    assert told.text == ", ".join(f"Setter {n} (No. {n})" for n in range(1, 7)) + "."
    assert (told.closing, told.priority) == (True, "low")


def test_what_stands_comes_before_what_is_over() -> None:
    """An end beside a standing alarm, however mild, is told after it."""
    told = join([ended(9, SIX[0]), about(10, "Hatcher", "dry", "low")], SIX[:1])
    assert told.title == "When you can: Hatcher dry"
    assert "No longer too hot: Setter 1 (No. 1)." in told.text
    assert not told.closing


def test_one_episode_is_told_by_its_last_word() -> None:
    """A beginning and a reminder are the reminder; a beginning and its end are the end, which says that it is the first one hears of it."""
    first = SIX[0]
    still = about(8, "Setter 1", "STILL too hot", alarm_number=1)
    assert join([first, still]) == still
    end = ended(9, first)
    assert join([first, end]) == replace(end, text=OVER + end.text, late=True)
    assert join([first, still, end]).text.count(OVER) == 1
    assert told_late(told_late(end)) == told_late(end)


def test_a_message_about_no_alarm_stands_beside_the_rest() -> None:
    """What has no alarm number and no usual title is named, and has no number to answer with."""
    word = replace(
        NOTICE, id=50, priority="low", title="All is well", text="Nothing stands.", alarm_number=0, facts=None
    )
    assert episode(word) == -50
    told = join([word, *SIX[:2]])
    assert told.title == "Urgent: 2 machines too hot, 1 more"
    assert told.text.endswith("Also Setter 2 (No. 2). All is well.")


def test_what_does_not_fit_is_counted() -> None:
    """With forty machines of long names the message names what fits, and says how many more there are."""

    def sixty(what: str) -> Notice:
        many = [about(n, f"{'W' * 22}{n:02}", what, "high") for n in range(1, 41)]
        return join([*many, *(about(n, f"{'V' * 22}{n:02}", "far too humid", "medium") for n in range(41, 61))])

    assert sixty("eggs do not fit together").title == "Urgent: 40 × eggs do not fit together, 20 more"
    told = sixty("humidity not raised")
    assert told.title == "Urgent: 40 machines humidity not raised, 20 more"
    assert told.text.startswith(f"{'W' * 22}01: 44 %RH, since 02:14. No. 1. Fill the water, raise the humidity. ")
    assert told.text.endswith(f"Also {'W' * 22}02 (No. 2), {'W' * 22}03 (No. 3). And 57 more.")


WHAT = [
    "too hot",
    "warm",
    "STILL too cold",
    "humidity not raised",
    "eggs do not fit together",
    "node gone",
    "no reading",
    "no longer too hot",
    "",
]


NAME = st.integers(1, 20).map(lambda n: "W" * n) | st.sampled_from(sorted(HOUSE.probes)) | st.just("batch hen-1 egg 7")


@given(
    st.lists(
        st.tuples(
            NAME,
            st.sampled_from(WHAT),
            st.sampled_from(["low", "medium", "high", "critical"]),
            st.integers(0, 10**9),
            st.floats(0, 3_000),
        ),
        min_size=2,
        max_size=60,
    ),
    st.integers(0, 20),
)
@settings(deadline=None)
def test_any_mixture_fits_a_phone(drawn: list[tuple[str, str, str, int, float]], split: int) -> None:
    """Whatever is joined, whatever was told before: text and title within bounds, the number at the end, and as urgent as the most urgent
    that stands."""
    made = [
        about(i, name, what, priority, after_s, alarm_number=number)
        if what
        else replace(NOTICE, id=i, priority=priority, title=name, facts=None, alarm_number=number)
        for i, (name, what, priority, number, after_s) in enumerate(drawn, start=1)
    ]
    told, notices = made[: min(split, len(made) - 2)], made[min(split, len(made) - 2) :]
    one = join(notices, told)
    assert one.id in {n.id for n in notices}
    if len({episode(n) for n in notices}) == 1:
        return
    assert len(one.text) <= MAX_TEXT
    assert 0 < len(one.title) <= MAX_TITLE
    last = {episode(n): n for n in notices}.values()
    standing = [n.priority for n in last if not n.closing]
    assert one.closing == (not standing)
    if standing:
        assert one.priority == max(standing, key=["low", "medium", "high", "critical"].index)
    if any(n.alarm_number for n in last if n.facts is not None):
        assert "No. " in one.text or one.closing or "more." in one.text


def test_probes_with_long_names_are_their_machines_too() -> None:
    """However long a probe's key, two machines without a reading are counted, and named without it."""
    long = next(key for key in HOUSE.probes if len(key) > MAX_TITLE)
    told = join([about(1, long, "no reading", "high"), about(2, "node-a/p1", "no reading", "high")])
    assert told.title == "Urgent: 2 machines no reading"
    assert told.text.startswith(f"{'W' * 24}: since 02:14. No. 1. ")
    assert told.text.endswith("Also Setter 2 (No. 2).")


def test_advice_that_is_a_question_brings_no_number_along() -> None:
    """The numbers to answer with stand once, at the end."""
    told = join([about(1, "node-a/p1", "no humidity reading", "high"), about(2, "Setter 9", "dry", "low")])
    assert told.text.endswith("No. 1. Check the humidity sensor: dry, plugged in? Dry: Setter 9 (No. 2).")


def test_ends_told_late_are_of_machines_all_the_same() -> None:
    """What says that it is the first to be heard of it says it of machines, as it would of what was told."""
    ends = [told_late(about(n, f"Setter {n}", "no longer warm", "low")) for n in (1, 2)]
    assert join(ends).title == "Over: 2 machines no longer warm"


def test_what_an_older_program_left_is_told_beside_the_rest() -> None:
    """A notice that has its words alone leads with its own title and text; beside what is worse it is named by its title."""
    old = replace(about(1, "Setter 1", "warm", "medium"), facts=None)
    dry = about(2, "Setter 2", "dry", "low")
    assert join([old]) == old
    led = join([old, dry])
    assert led.title == "Soon: Setter 1 warm, 1 more"
    assert led.text.startswith("39.5 °C, target 37.5 to 38.1, since 02:14.")
    beside = join([old, about(3, "Setter 3")])
    assert beside.title == "Urgent: Setter 3 too hot, 1 more"
    assert beside.text.endswith("Soon: Setter 1 warm (No. 1).")


def test_a_rule_that_this_program_does_not_have_leaves_the_words() -> None:
    """A notice of another version, about a rule that is unknown here, is told in the words it has."""
    strange = about(1, "Setter 1", "warm", "medium")
    assert strange.facts is not None
    strange = replace(strange, facts=replace(strange.facts, rule="another"))
    assert join([strange, SIX[1]]).title == "Urgent: Setter 2 too hot, 1 more"


@pytest.mark.parametrize(
    ("many", "shown"),
    [(1, "(No. 2)"), (3, "(No. 2, 3, 4)"), (4, "(No. 2, 3, 4, 5)"), (6, "(No. 2, 3, 4, 5 and 2 more)")],
)
def test_a_machine_has_all_its_numbers_beside_it(many: int, shown: str) -> None:
    """Several alarms of one machine are one name with its numbers; of many the first four, and how many more."""
    told = join([about(1, "Hatcher"), *(about(n, "Setter 2", "dry", "medium") for n in range(2, 2 + many))])
    assert told.text.endswith(f"Dry: Setter 2 {shown}.")


def test_the_first_is_named_in_the_title_where_it_fits() -> None:
    """To the title's last character; else in the text, where there is room."""
    for length, whole in ((8, True), (9, False)):
        first = about(1, "W" * length, "dry", "low")
        told = (
            join([about(2, "Setter 2", after_s=1)], [first]),
            join([about(2, "A", "warm", "medium", after_s=1), about(3, "B", "warm", "medium", after_s=1)], [first]),
        )
        assert told[0] == about(2, "Setter 2", after_s=1)
        in_title = told[1].title.endswith(f", first {'W' * length} dry at 02:14")
        assert in_title == whole
        assert told[1].text.endswith(f"First: {'W' * length} dry at 02:14 (No. 1).") != whole
        assert len(told[1].title) == (50 if whole else len("Soon: 2 machines warm"))


@pytest.mark.parametrize(("length", "cut"), [(26, False), (27, True)])
def test_a_name_too_long_for_the_title_is_cut_in_it(length: int, cut: bool) -> None:
    """How much more there is goes first, then the name gives way, so that what is the matter stays whole, in 50 characters."""
    one = join([about(1, "W" * length), about(2, "Setter 2", "dry", "low")])
    assert one.title == f"Urgent: {'W' * length} too hot{'' if cut else ', 1 more'}"
    long = join([about(1, "W" * 60), about(2, "Setter 2", "dry", "low")])
    assert long.title == f"Urgent: {'W' * 33}… too hot"
    assert len(long.title) == 50


def test_one_that_is_worst_is_not_named_twice() -> None:
    """Where the title names the only one that is worst, the text begins with its value, whatever came first."""
    told = join([about(2, "Setter 2", after_s=60)], [about(1, "Setter 1", "dry", "low")])
    assert told == about(2, "Setter 2", after_s=60)
    told = join(
        [about(2, "Setter 2", after_s=60), about(3, "Setter 3", "warm", "low")], [about(1, "Setter 1", "dry", "low")]
    )
    assert told.title == "Urgent: Setter 2 too hot, 1 more"
    assert told.text.startswith("39.5 °C, target 37.5 to 38.1, since 02:15. No. 2. ")
    assert told.text.endswith("Warm: Setter 3 (No. 3). First: Setter 1 dry at 02:14 (No. 1).")


def test_what_is_alone_the_matter_is_told_with_its_harm() -> None:
    """Of a single episode among others that are over, or of one, nothing is left out that fits."""
    told = join([about(2, "Setter 2"), about(8, "Setter 2", "STILL too hot", alarm_number=2)])
    assert told.text.startswith("39.5 °C now, worst 44.5 °C, target 37.5 to 38.1, for 0 min. Look now: ")
    assert "Days of it cost chicks" in told.text


def test_a_reminder_of_several_says_who_was_told() -> None:
    """Who was reached and who was not stands at the end, where there is room: what to do and what else there is come before it."""
    again = [about(n, f"Setter {n}", "STILL far too dry", "medium", alarm_number=n) for n in (1, 2)]
    reached = (Reach("me", T0 + timedelta(minutes=15)), Reach("sam", None, T0 + timedelta(minutes=30)))
    assert again[0].facts is not None
    again[0] = replace(again[0], facts=replace(again[0].facts, reached=reached))
    assert join(again).text.endswith("Also Setter 2 (No. 2). sam NOT DELIVERED since 02:44; told me 02:29.")
    many = [*again, *(about(n, f"Setter {n}", "STILL far too dry", "medium", alarm_number=n) for n in (3, 4, 5))]
    assert "DELIVERED" not in join(many).text


def test_what_is_new_leads_what_is_only_told_again() -> None:
    """Of two as urgent: whoever is woken looks at the machine of the title, and knows of the other already."""
    known = about(8, "Setter 4", "STILL too hot", alarm_number=2)
    news = about(9, "Setter 2", "too cold", alarm_number=4)
    told = join([known, news])
    assert told.title.startswith("Urgent: Setter 2 too cold")
    assert "STILL too hot: Setter 4 (No. 2)" in told.text


def test_each_urgent_kind_is_named() -> None:
    """Four that are new and high, each another thing, and a reminder: each has its name and number, even where no room is left for the first act."""
    kinds = ("too cold", "node gone", "no reading", "sensor failed")
    news = [about(n, f"Setter {n}", what) for n, what in enumerate(kinds, 1)]
    reminder = about(9, "Setter 5", "STILL too hot", alarm_number=5)
    told = join([reminder, *news])
    for number in range(1, 5):
        assert f"No. {number}" in told.text
    assert "Setter 5" in told.text or "And 1 more." in told.text


def test_a_joined_text_uses_its_room() -> None:
    """The longest texts have 178 characters, and none more; nothing that stands is neither named nor counted."""
    crowd = [join([about(n, "W" * length + str(n)) for n in range(1, 30)]) for length in range(1, 40)]
    assert 170 < max(len(one.text) for one in crowd) <= 178
    for one in crowd:
        named = one.text.count("(No. ") + 1
        assert one.text.endswith(f" And {29 - named} more.")


def test_what_waited_says_what_is_and_since_when_it_waited() -> None:
    """Made at 39.5 °C and sent when the service takes messages again: the value of then, and since when its reader could not be told."""
    late = about(1, "Setter 1")
    assert late.facts is not None
    late = replace(late, facts=replace(late.facts, value=40.4, reached=(Reach("owner", unheard_since=T0),)))
    one, two = (replace(late, id=id_, as_of=T0 + timedelta(minutes=13)) for id_ in (1, 2))
    assert one.facts is not None
    now = "40.4 °C, target 37.5 to 38.1, since 02:14."
    assert join([one]).text.startswith(f"{now} Could not be told since 02:14. {ACT}")
    assert f"{now} No. 1. Could not be told since 02:14." in join([two, about(3, "Setter 3")]).text
    again = replace(one, facts=replace(one.facts, still=True))
    assert "for 13 min." in join([again]).text
