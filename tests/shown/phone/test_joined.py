"""Several notices in one message."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.joined import RUN_GAP, episode, reminds, told_late
from monitor.domain.alarms.notice import Notice
from monitor.shown.phone.notices import MAX_TEXT, MAX_TITLE, OVER
from tests.delivery_port import NOTICE
from tests.told import HOUSE, WORDS, about

ADVICE = "Days of it cost chicks; it may go on rising. Look now: heater, thermostat, fan and vents."
join = WORDS.join


def ended(id_: int, of: Notice) -> Notice:
    """Its closing notice."""
    assert of.facts is not None
    return about(id_, of.facts.subject, "no longer too hot", "low", alarm_number=of.alarm_number)


SIX = [about(n, f"Setter {n}", after_s=n) for n in range(1, 7)]


def test_a_flood_names_count_first_and_rest() -> None:
    """Six machines too hot: how many, which was first and when, the others, what to do, and the numbers to answer with."""
    told = join(SIX)
    assert told.title == "6 machines too hot: first Setter 1 at 02:14"
    assert told.text == f"Then Setter 2, Setter 3, Setter 4, Setter 5, Setter 6. {ADVICE} No. 1 to 6"
    assert (told.id, told.priority, told.alarm_number, told.link) == (1, "critical", 1, SIX[0].link)


def test_deadly_heat_of_several_machines_says_of_whom_it_is_known() -> None:
    """Once for all of them, where it is the hen's figure for at least one."""
    two = [about(n, f"Setter {n}", "deadly heat", of_hens=n == 2) for n in (1, 2)]
    assert "It can kill within the hour (known of hens). Open the machine, switch its heater off." in join(two).text
    assert "It can kill within the hour. Open" in join([two[0], about(3, "Setter 3", "deadly heat")]).text


def test_a_first_that_was_told_by_itself_is_counted_and_named() -> None:
    """The message for the rest is the same, though the first went ahead of it."""
    told = join(SIX[1:], SIX[:1])
    assert told.title == join(SIX).title
    assert told.text == join(SIX).text.replace("No. 1 to 6", "No. 2 to 6")
    assert told.id == 2


def test_a_first_that_is_over_is_named_and_not_counted() -> None:
    """What was told to be over is no longer one of the machines that are too hot, but it was the first all the same."""
    told = join(SIX[1:4], [SIX[0], ended(9, SIX[0])])
    assert told.title == "3 machines too hot: first Setter 1 at 02:14"
    assert told.text.startswith("Then Setter 2, Setter 3, Setter 4.")


def test_the_worst_leads_and_the_first_is_named_with_what_it_was() -> None:
    """A node's silence came first, the heat is worse: the message is about the heat, and says what came first."""
    silent = about(1, "node-a/top", "no reading", "high")
    dry = [about(n, f"Setter {n - 5}", "dry", "low", 70) for n in (8, 9)]
    told = join([*dry, *(about(n, f"Setter {n}", after_s=60) for n in (2, 3))], [silent])
    assert told.title == "2 machines too hot, 2 more: first Hatcher no reading at 02:14"
    assert told.text == f"Setter 2, Setter 3. Dry: Setter 3, Setter 4. {ADVICE} No. 2, 3, 8, 9"


def test_one_machine_that_is_worst_is_told_with_its_value() -> None:
    """Where only one is worst, its value, band and time are told, then the others."""
    told = join([about(2, "Setter 2"), about(3, "Setter 3", "dry", "low")])
    assert told.title == "Setter 2 too hot, 1 more: first Setter 2 at 02:14"
    assert told.text == f"39.5 °C, band 37.5 to 38.1, since 02:14. Dry: Setter 3. {ADVICE} No. 2, 3"


def test_one_more_machine_is_named_and_told_with_its_value() -> None:
    """Where one joins those that were told, it is named, with its value."""
    told = join([SIX[2], about(9, "Hatcher", "dry", "low", 20)], SIX[:2])
    assert told.title == "3 machines too hot, 1 more: first Setter 1 at 02:14"
    assert told.text.startswith("Then Setter 3. 39.5 °C, band 37.5 to 38.1, since 02:14. Dry: Hatcher.")


def test_a_machine_with_four_silent_probes_is_one_machine() -> None:
    """Probes are told as their machines, each once."""
    told = join([about(n, f"node-a/p{n}", "no reading", "high") for n in range(1, 7)])
    assert told.title == "2 machines no reading: first Setter 2 at 02:14"
    assert told.text.startswith("Then Setter 1. ")


def test_what_are_no_machines_are_not_called_so() -> None:
    """Nodes, batches and whatever else alarms are about are counted without a word for what they are."""
    told = join([about(n, f"Setter {n} (node-{n})", "node gone", "high") for n in (1, 2)])
    assert told.title == "2 × node gone: first Setter 1 (node-1) at 02:14"


def test_alarms_far_apart_are_no_flood() -> None:
    """After an outage of the phone, an alarm from hours before is told with the rest, but not as what a new flood began with."""
    old = about(1, "Setter 9", "dry", "low", after_s=-9000)
    told = join([old, *SIX[1:]])
    assert told.title == "5 machines too hot, 1 more: first Setter 2 at 02:14"
    assert "Dry: Setter 9." in told.text


@pytest.mark.parametrize(
    ("apart_s", "first"), [(RUN_GAP.total_seconds(), "Setter 1 dry"), (RUN_GAP.total_seconds() + 1, "Setter 2")]
)
def test_a_flood_is_a_chain(apart_s: float, first: str) -> None:
    """Alarms no further apart than RUN_GAP, one from the next, are one flood."""
    told = join([about(1, "Setter 1", "dry", "low"), *(about(n, f"Setter {n}", after_s=apart_s) for n in (2, 3))])
    assert f"first {first} at " in told.title


def test_reminders_are_one_and_say_so() -> None:
    """Six that still stand are one message with STILL, and the first of them as it was told at the time."""
    still = [about(10 + n, f"Setter {n}", "STILL too hot", alarm_number=n, after_s=300) for n in range(1, 7)]
    assert all(map(reminds, still))
    assert not any(map(reminds, SIX))
    told = join(still, SIX)
    assert told.title == "6 machines STILL too hot: first Setter 1 at 02:14"
    assert told.text.endswith("No. 1 to 6")
    assert join([*still[:1], about(7, "Setter 7", after_s=300)]).title.startswith("2 machines too hot")


def test_ends_are_one() -> None:
    """Six that are over are one message of good news, that is no alarm."""
    told = join([ended(10 + n, one) for n, one in enumerate(SIX)], SIX)
    assert told.title == "6 machines no longer too hot"
    assert told.text == "Setter 1, Setter 2, Setter 3, Setter 4, Setter 5, Setter 6. No. 1 to 6"
    assert (told.closing, told.priority) == (True, "low")


def test_what_stands_comes_before_what_is_over() -> None:
    """An end beside a standing alarm, however mild, is told after it."""
    told = join([ended(9, SIX[0]), about(10, "Hatcher", "dry", "low")], SIX[:1])
    assert told.title == "Hatcher dry"
    assert "No longer too hot: Setter 1." in told.text
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
    assert told.title == "2 machines too hot, 1 more: first Setter 1 at 02:14"
    assert told.text.endswith("No. 1, 2")


def test_what_does_not_fit_is_counted() -> None:
    """With forty machines of long names the message names what fits, and says how many more there are."""
    many = [about(n, f"{'W' * 22}{n:02}", "humidity not raised for lockdown", "high") for n in range(1, 41)]
    told = join([*many, *(about(n, f"{'V' * 22}{n:02}", "far too humid", "medium") for n in range(41, 61))])
    assert told.title == "40 machines humidity not raised for lockdown, 20 more"
    assert told.text.startswith(
        f"First {'W' * 22}01 at 02:14. Then {'W' * 22}02, {'W' * 22}03 and 37 more. Far too humid: "
    )
    assert told.text.endswith("No. 1 to 60")


WHAT = [
    "too hot",
    "warm",
    "STILL too cold",
    "humidity not raised for lockdown",
    "eggs that cannot share a machine",
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
    if any(n.alarm_number for n in last):
        assert "No. " in one.text


def test_probes_with_long_names_are_their_machines_too() -> None:
    """However long a probe's key, two machines without a reading are counted, and named without it."""
    long = next(key for key in HOUSE.probes if len(key) > MAX_TITLE)
    told = join([about(1, long, "no reading", "high"), about(2, "node-a/p1", "no reading", "high")])
    assert told.title == f"2 machines no reading: first {'W' * 24} at 02:14"
    assert told.text.startswith("Then Setter 2. ")


def test_advice_that_is_a_question_brings_no_number_along() -> None:
    """The numbers to answer with stand once, at the end."""
    told = join([about(1, "node-a/p1", "no humidity reading", "high"), about(2, "Setter 9", "dry", "low")])
    assert told.text.endswith("Check the humidity sensor: dry, plugged in? No. 1, 2")


def test_ends_told_late_are_of_machines_all_the_same() -> None:
    """What says that it is the first to be heard of it says it of machines, as it would of what was told."""
    ends = [told_late(about(n, f"Setter {n}", "no longer warm", "low")) for n in (1, 2)]
    assert join(ends).title == "2 machines no longer warm"


def test_what_an_older_program_left_is_told_beside_the_rest() -> None:
    """A notice that has its words alone leads with its own title and text; beside what is worse it is named by its title."""
    old = replace(about(1, "Setter 1", "warm", "medium"), facts=None)
    dry = about(2, "Setter 2", "dry", "low")
    assert join([old]) == old
    led = join([old, dry])
    assert led.title == "Setter 1: warm, 1 more"
    assert led.text.startswith("39.5 °C, band 37.5 to 38.1, since 02:14.")
    beside = join([old, about(3, "Setter 3")])
    assert beside.title == "Setter 3 too hot, 1 more"
    assert "Setter 1: warm." in beside.text
    assert beside.text.endswith("No. 1, 3")


def test_a_rule_that_this_program_does_not_have_leaves_the_words() -> None:
    """A notice of another version, about a rule that is unknown here, is told in the words it has."""
    strange = about(1, "Setter 1", "warm", "medium")
    assert strange.facts is not None
    strange = replace(strange, facts=replace(strange.facts, rule="another"))
    assert join([strange, SIX[1]]).title == "Setter 2 too hot, 1 more"


@pytest.mark.parametrize(
    ("numbers", "shown"),
    [
        ((1, 2), "No. 1, 2"),
        ((1, 2, 3), "No. 1 to 3"),
        ((1, 2, 4), "No. 1, 2, 4"),
        ((1, 3, 5, 7, 9), "No. 1, 3, 5, 7, 9"),
        ((1, 3, 5, 7, 9, 11), "No. 1, 3, 5, 7, 9 and 1 more"),
    ],
)
def test_numbers_are_listed_or_spanned(numbers: tuple[int, ...], shown: str) -> None:
    """Three and more in a row are a span; of others five are shown, and how many more there are."""
    told = join([about(n, f"Setter {n}", "dry", "low") for n in numbers])
    assert told.text.endswith(f"water. {shown}")


@pytest.mark.parametrize(("length", "whole"), [(33, True), (34, False)])
def test_a_title_that_just_fits_is_whole(length: int, whole: bool) -> None:
    """With all of its 64 characters a title names the first; with one more it is the text that does."""
    first = "W" * (length - len("2 machines too hot: first "))
    told = join([about(1, first + "W" * 22), about(2, "Setter 2")])
    assert (len(told.title) == 64) == whole
    assert told.title.startswith("2 machines too hot")
    assert told.text.startswith("Then Setter 2." if whole else f"First {first}")


@pytest.mark.parametrize(("length", "cut"), [(48, False), (49, True)])
def test_a_name_too_long_for_the_title_is_cut_in_it(length: int, cut: bool) -> None:
    """The name gives way, so that what is the matter and how much more there is stay whole, in 64 characters."""
    one = join([about(1, "W" * length), about(2, "Setter 2", "dry", "low")])
    assert len(one.title) == 64
    assert one.title == f"{'W' * (47 if cut else 48)}{'…' if cut else ''} too hot, 1 more"


def test_one_that_is_worst_is_not_named_twice() -> None:
    """Where the title names the only one that is worst, the text begins with its value, whatever came first."""
    told = join([about(2, "Setter 2", after_s=60)], [about(1, "Setter 1", "dry", "low")])
    assert told == about(2, "Setter 2", after_s=60)
    told = join(
        [about(2, "Setter 2", after_s=60), about(3, "Setter 3", "warm", "low")], [about(1, "Setter 1", "dry", "low")]
    )
    assert told.title == "Setter 2 too hot, 1 more: first Setter 1 dry at 02:14"
    assert told.text.startswith("39.5 °C, band 37.5 to 38.1, since 02:15. Warm: Setter 3.")


def test_names_are_listed_while_they_fit_and_the_rest_counted() -> None:
    """Beside other things the names of the worst have 110 characters; those that have no room are counted to the last one."""
    hot = [about(n, f"Machine number {n:02}") for n in range(1, 9)]
    told = join([*hot, about(9, "Setter 9", "dry", "low")])
    assert told.text.startswith(
        "Then Machine number 02, Machine number 03, Machine number 04, Machine number 05 and 3 more. Dry: Setter 9. "
    )
    alone = join(hot)
    assert alone.text.startswith(
        "Then "
        + ", ".join(f"Machine number {n:02}" for n in range(2, 9))
        + ". Days of it cost chicks; it may go on rising. "
    )


def test_a_joined_text_is_under_its_room_by_one() -> None:
    """The longest text has 199 characters: what a phone shows, and one to spare."""
    made = [join([about(1, "W" * length), about(2, "V" * 24, "dry", "low")]) for length in range(1, 160)]
    assert max(len(one.text) for one in made) <= 199
    crowd = [join([about(n, "W" * length + str(n)) for n in range(1, 30)]) for length in range(1, 40)]
    assert max(len(one.text) for one in crowd) == 199


@pytest.mark.parametrize(("longer", "shown"), [(0, "{0}, {1}, {2}."), (1, "{0}, {1} and 1 more.")])
def test_the_last_name_is_listed_where_it_just_fits(longer: int, shown: str) -> None:
    """Three names that fill their room to the last character are all told; with one character more the last is counted."""
    names = ["A" * 33, "B" * 33, "C" * (33 + longer)]
    hot = [about(1, "Setter 1"), *(about(n, name) for n, name in enumerate(names, start=2))]
    told = join([*hot, about(9, "Setter 9", "dry", "low")])
    assert told.title == "4 machines too hot, 1 more: first Setter 1 at 02:14"
    assert told.text.startswith("Then " + shown.format(*names))
