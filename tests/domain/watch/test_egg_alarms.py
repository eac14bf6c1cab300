"""What a batch's book asks to be told: reminders to look again, weights off track, and how both end."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.domain.alarms.about import Seen
from monitor.domain.alarms.alarm import ACKNOWLEDGED, NORMAL, RETURNED, UNACKNOWLEDGED, acknowledge, shelve
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, Entry, Fact, Laid, LookAgain, Note, Sign, Size
from monitor.domain.needs.batch import Batch, closed, moved, subject_of
from monitor.domain.needs.rules import LOOK_AGAIN, WEIGHT_OFF
from monitor.domain.needs.site import Machine
from monitor.domain.state.record import Group
from monitor.domain.watch.egg_alarms import LAPSE_S, close_book, judge_weight, remind_to_look, reopen_book, take_book
from monitor.domain.watch.evaluate import retire, settle
from monitor.shown.phone.notices import MAX_TEXT, MAX_TITLE
from tests.domain.house import MACHINES, T0, Story, batch, site, there

EGG = subject_of("hen-1", 7)
HEN = subject_of("hen-1")
WORDS = "loss by pip 18.2 % (17.0 to 19.4), target 13 to 16 %; 62 % RH (wet bulb 30.4 °C) from now on, 45 % now, leads to 14.5 %"


def quiet(**about: Any) -> Story:
    """A house without a sensor, so that nothing else is told."""
    return Story(**{"site": site({})} | about)


def write(story: Story, fact: Fact, egg: int | None = 7, who: str = "ada", **changes: object) -> None:
    """An entry made now, as a request makes it."""
    at = story.now().utc
    book = story.state.books.get("hen-1", EggBook(story.state.batches["hen-1"]))
    made = Entry(at, at, who, fact, egg=egg)
    out = Group()
    take_book(story.state, add(book, replace(made, **changes)))  # type: ignore[arg-type]
    remind_to_look(story.look(out), who=who)
    story.adopt(out)


def weigh(story: Story, off: bool | None, about: str = WORDS, id_: str = "hen-1") -> None:
    out = Group()
    judge_weight(story.look(out), story.state.batches[id_], off, about=about)
    story.adopt(out)


def put_back(hours: float = 3.0, text: str = "Weak, put back") -> Story:
    """Egg 7 of hen-1 pipped, and is to be looked at again after some hours."""
    story = quiet(batches=(batch(),))
    story.tick()
    write(story, Sign("external pip"))
    write(story, LookAgain(story.now().utc + timedelta(hours=hours), text))
    return story


def later(story: Story, hours: float) -> Story:
    """Time that passes in ticks of a minute."""
    for _ in range(round(hours * 60)):
        story.at_s += 60.0
        story.tick()
    return story


def ack(story: Story, key: tuple[str, str]) -> None:
    settle(story.look(), key, acknowledge(story.state.alarms[key], "sam", story.now()))


# --- look again


def test_a_reminder_comes_at_its_time() -> None:
    """Not a minute before; one message, which names egg and machine, the breeder's own words and what was seen last."""
    story = later(put_back(), 2.9)
    assert story.notices == []
    later(story, 0.2)
    (notice,) = story.notices
    assert notice.title == "Soon: hen-1 egg 7 in Setter 1 look again"
    assert notice.text == (
        "Since 11:00. Weak, put back. Seen last: external pip at 08:00."
        " Look, and write down what you see. You asked to be reminded. No. 1"
    )
    assert notice.priority == "medium"
    assert story.state_of(LOOK_AGAIN, EGG) == UNACKNOWLEDGED


@pytest.mark.parametrize("text", ["", ".", "  "])
def test_a_reminder_without_a_reason_says_nothing_of_it(text: str) -> None:
    """The text may be left out: no sentence is begun for it, and where nothing was seen yet the batch's day stands in its place."""
    story = quiet(batches=(batch(),))
    story.tick()
    write(story, LookAgain(story.now().utc + timedelta(hours=3), text), egg=8)
    (notice,) = later(story, 3.1).notices
    assert notice.text.startswith("Since 11:00. hen-1 day 5. Look, and write down")
    (seen,) = later(put_back(text=text), 3.1).notices
    assert seen.text.startswith("Since 11:00. Seen last: external pip at 08:00. Look")


def test_what_was_typed_moves_no_phone() -> None:
    """Escapes, line ends and marks that turn words round come to the phone as blanks, in the breeder's words and in what was seen last."""
    odd = "We\x1b[2Jak\r\nput\u202e back"
    story = put_back(text=odd)
    write(story, Note(odd))
    later(story, 3.1)
    (notice,) = story.notices
    assert notice.title.isprintable()
    assert notice.text.isprintable()
    assert "Since 11:00. We [2Jak put back. Seen last: We [2Jak put back at 08:00." in notice.text


def test_what_an_older_program_kept_moves_no_phone() -> None:
    """The words of an alarm that stood before, with an escape in them, are told without it."""
    story = quiet(batches=(batch(),))
    story.tick()
    weigh(story, True, "tray \x1b[2J: loss by pip 9.0 %")
    later(story, 0.1)
    (notice,) = story.notices
    assert "tray  [2J: loss by pip 9.0 %." in notice.text
    assert notice.text.isprintable()


def test_what_is_written_then_answers_it() -> None:
    """An entry about that egg ends the reminder and acknowledges it for who wrote it, without another message."""
    story = later(put_back(), 3.5)
    write(story, Candling("alive"))
    last = [t for t in story.transitions if t.alarm.rule == LOOK_AGAIN][-2:]
    assert [(t.state, t.who) for t in last] == [(ACKNOWLEDGED, "ada"), (NORMAL, "")]
    assert len(story.notices) == 1
    later(story, 24)
    assert len(story.notices) == 1


def test_another_egg_answers_nothing() -> None:
    """Each egg has its own reminder: one of two answered, the other stands, and each had its message."""
    story = put_back()
    write(story, LookAgain(story.now().utc + timedelta(hours=3)), egg=8)
    later(story, 3.1)
    assert [n.title for n in story.notices] == [
        "Soon: hen-1 egg 7 in Setter 1 look again",
        "Soon: hen-1 egg 8 in Setter 1 look again",
    ]
    write(story, Candling("alive"), egg=8)
    assert (story.state_of(LOOK_AGAIN, EGG), story.state_of(LOOK_AGAIN, subject_of("hen-1", 8))) == (
        UNACKNOWLEDGED,
        NORMAL,
    )


def test_a_note_before_its_time_costs_no_reminder() -> None:
    """Something written an hour later is the last thing seen; the reminder comes all the same."""
    story = later(put_back(), 1)
    write(story, Note("moves a little"))
    later(story, 2.1)
    assert "Seen last: moves a little at 09:00." in story.notices[0].text


def test_another_time_takes_its_place() -> None:
    """A new time to look ends the old reminder, before or after it came, and has a message of its own."""
    story = later(put_back(), 1)
    write(story, LookAgain(story.now().utc + timedelta(hours=4)))
    assert len(later(story, 3).notices) == 0
    assert len(later(story, 1.1).notices) == 1
    write(story, LookAgain(story.now().utc + timedelta(hours=2)))
    assert story.state_of(LOOK_AGAIN, EGG) == NORMAL
    assert len(later(story, 2.1).notices) == 2
    assert story.alarm(LOOK_AGAIN, EGG).episode == 2


def test_it_is_told_again_until_somebody_answers() -> None:
    """Unanswered it is told again after re_alarm_s; acknowledged it is quiet, and after LAPSE_S it is over, for good."""
    story = put_back()
    later(story, 3.1)
    for notice in story.notices:
        story.state.unsent.pop(notice.id)
    later(story, 1)
    assert [n.title for n in story.notices] == [
        "Soon: hen-1 egg 7 in Setter 1 look again",
        "Soon: hen-1 egg 7 in Setter 1 STILL look again",
    ]
    ack(story, (EGG, LOOK_AGAIN))
    later(story, 0.9)
    assert story.state_of(LOOK_AGAIN, EGG) == ACKNOWLEDGED
    rule = story.site.rules[LOOK_AGAIN]
    daily = replace(rule, re_alarm_s=86_400.0)
    story.site = replace(story.site, rules={**story.site.rules, LOOK_AGAIN: daily})
    story.state.plan_anew()
    later(story, LAPSE_S / 3600.0)
    assert story.state_of(LOOK_AGAIN, EGG) == NORMAL
    told = len(story.notices)
    later(story, 30)
    assert len(story.notices) == told


def test_one_of_the_whole_batch() -> None:
    """A reminder about the batch is its own alarm; what is written about one egg does not answer it."""
    story = quiet(batches=(batch(),))
    story.tick()
    write(story, LookAgain(story.now().utc + timedelta(hours=1)), egg=None)
    later(story, 1.1)
    assert story.notices[0].title == "Soon: hen-1 in Setter 1 look again"
    write(story, Candling("alive"), egg=3)
    assert story.state_of(LOOK_AGAIN, HEN) == UNACKNOWLEDGED
    write(story, Note("all candled"), egg=None)
    assert story.state_of(LOOK_AGAIN, HEN) == NORMAL


def test_a_clock_that_steps_back_forgets_none() -> None:
    """A reminder that stands goes on standing when the label clock falls back behind its time; it is not told twice."""
    story = later(put_back(), 3.1)
    story.utc_step = timedelta(hours=-10)
    later(story, 2)
    assert story.state_of(LOOK_AGAIN, EGG) == UNACKNOWLEDGED
    story.utc_step = timedelta(0)
    later(story, 2)
    assert [n for n in story.notices if "STILL" not in n.title] == story.notices[:1]


def test_a_new_run_goes_on() -> None:
    """Book and alarm taken up by another run: it stands under its number, and is not told as new."""
    story = later(put_back(), 3.1)
    again = quiet(batches=story.batches, at_s=story.at_s)
    take_book(again.state, story.state.books["hen-1"])
    again.state.alarms[(EGG, LOOK_AGAIN)] = story.alarm(LOOK_AGAIN, EGG)
    retire(again.look())
    later(again, 0.5)
    assert (again.state_of(LOOK_AGAIN, EGG), again.notices) == (UNACKNOWLEDGED, [])


def test_long_words_are_cut_to_fit() -> None:
    """However long the breeder's words and the machine's name, the message holds the beginning of both parts and its number."""
    story = put_back(text="Lorem ipsum dolor sit amet. " * 15)
    write(story, Note("Consectetur adipiscing elit, sed do eiusmod tempor. " * 8))
    later(story, 3.1)
    (notice,) = story.notices
    assert len(notice.text) <= MAX_TEXT
    assert "Lorem ipsum" in notice.text
    assert "Seen last: Consectetur" in notice.text
    assert notice.text.endswith("No. 1")


# --- weights


def test_off_track_is_told_once_and_ends() -> None:
    """Off: one message with what is projected and what would mend it. Unsure keeps it, on track ends it, without a message: it woke nobody."""
    story = quiet(batches=(batch(),))
    story.tick()
    weigh(story, None)
    weigh(story, False)
    assert story.notices == []
    weigh(story, True)
    (notice,) = story.notices
    assert notice.title == "When you can: hen-1 weight loss off track"
    assert WORDS in notice.text
    assert "See which humidity would mend it." in notice.text
    assert len(notice.text) <= MAX_TEXT
    weigh(story, None)
    weigh(story, True, "otherwise")
    assert story.alarm(WEIGHT_OFF, HEN).about == "otherwise"
    assert (story.state_of(WEIGHT_OFF, HEN), len(story.notices)) == (UNACKNOWLEDGED, 1)
    weigh(story, False)
    assert story.state_of(WEIGHT_OFF, HEN) == RETURNED
    assert len(story.notices) == 1


def test_two_batches_in_one_machine() -> None:
    """Each has its own alarm, its own message and its own end."""
    story = quiet(batches=(batch(), batch("hen-2")))
    story.tick()
    weigh(story, True)
    weigh(story, True, id_="hen-2")
    assert [n.title for n in story.notices] == [
        "When you can: hen-1 weight loss off track",
        "When you can: hen-2 weight loss off track",
    ]
    weigh(story, False)
    assert (story.state_of(WEIGHT_OFF, HEN), story.state_of(WEIGHT_OFF, subject_of("hen-2"))) == (
        RETURNED,
        UNACKNOWLEDGED,
    )


def test_a_move_takes_it_along() -> None:
    """After a move the same alarm stands, and its end is one."""
    story = quiet(batches=(batch(),))
    story.tick()
    weigh(story, True)
    story.put(moved(story.state.batches["hen-1"], "hatcher-1", story.now().utc))
    story.tick()
    assert story.state_of(WEIGHT_OFF, HEN) == UNACKNOWLEDGED
    weigh(story, False)
    assert (story.state_of(WEIGHT_OFF, HEN), len(story.notices)) == (RETURNED, 1)


def test_a_batch_in_no_machine() -> None:
    """Eggs that are nowhere can be off track too; the message names no machine."""
    story = quiet(batches=(batch(machine=None),))
    story.tick()
    weigh(story, True)
    assert story.notices[0].title == "When you can: hen-1 weight loss off track"


def test_closing_the_batch_ends_both() -> None:
    """Nothing stands, nothing stays suppressed, nothing comes again; and nothing is told of it, for it woke nobody."""
    story = later(put_back(), 3.1)
    weigh(story, True)
    told = len(story.notices)
    ack(story, (HEN, WEIGHT_OFF))
    ended = closed(story.state.batches["hen-1"], story.now().utc)
    story.put(ended)
    take_book(story.state, EggBook(ended, story.state.books["hen-1"].entries))
    out = Group()
    close_book(story.look(out), ended)
    story.adopt(out)
    assert (story.state_of(WEIGHT_OFF, HEN), story.state_of(LOOK_AGAIN, EGG)) == (NORMAL, RETURNED)
    later(story, 2)
    assert len(story.notices) == told


def test_the_machines_own_numbers_hold() -> None:
    """The rule is that of the machine the batch is in: a machine's own priority is that of the message."""
    own = Machine("setter-1", "Setter 1", rules={WEIGHT_OFF: {"priority": "high"}})
    story = Story(
        site=site(machines={**MACHINES, "setter-1": own}), batches=(batch(), batch("hen-2", machine="still-1"))
    )
    story.tick()
    weigh(story, True)
    weigh(story, True, id_="hen-2")
    assert [n.priority for n in story.notices] == ["high", "low"]


def test_an_unknown_batch_is_retired() -> None:
    """An alarm about a batch that is not in the record (it was damaged, say) ends at the start; one that is known stands on."""
    story = quiet(batches=(batch(),))
    story.tick()
    weigh(story, True)
    out = Group()
    retire(story.look(out))
    assert out.transitions == []
    story.state.batches.clear()
    retire(story.look(out))
    assert [t.alarm.subject for t in out.transitions] == [HEN]


@pytest.mark.parametrize("name", ["S", "Setter one in the cellar, left of the door"])
def test_long_names_fit(name: str) -> None:
    """A long batch id in a machine with a long name: the title keeps what is the matter, the text what would mend it."""
    machines = {**MACHINES, "setter-1": Machine("setter-1", name)}
    long = Batch("h" * 32, "hen", T0 - timedelta(days=5), 12, stays=batch().stays)
    story = quiet(site=site({}, machines=machines), batches=(long,))
    story.tick()
    weigh(story, True, id_=long.id)
    (notice,) = story.notices
    assert len(notice.title) <= MAX_TITLE
    assert notice.title.endswith(" weight loss off track")
    assert WORDS in notice.text
    assert len(notice.text) <= MAX_TEXT


def test_what_a_standing_alarm_is_about_is_written() -> None:
    """When other eggs are off track the alarm stands, rings no more than before, and the record has what it is about now."""
    story = quiet(batches=(batch(),))
    story.tick()
    weigh(story, True, "egg 3: loss by pip 18 %")
    told, said = len(story.notices), len(story.transitions)
    weigh(story, True, "egg 7: loss by pip 17 %")
    assert [(t.state_before, t.state, t.alarm.about) for t in story.transitions[said:]] == [
        (UNACKNOWLEDGED, UNACKNOWLEDGED, "egg 7: loss by pip 17 %")
    ]
    weigh(story, True, "egg 7: loss by pip 17 %")
    assert len(story.transitions) == said + 1
    assert len(story.notices) == told


# --- edges


def test_a_closed_batch_asks_for_nothing() -> None:
    """Its book is kept, and what was to be looked at again in it is not asked for; of one that is open again it is."""
    story = put_back()
    book = story.state.books["hen-1"]
    ended = EggBook(closed(book.batch, story.now().utc), book.entries)
    take_book(story.state, ended)
    assert (story.state.books["hen-1"], story.state.looks) == (ended, {})
    take_book(story.state, book)
    assert [e.egg for e in story.state.looks["hen-1"]] == [7]
    take_book(story.state, EggBook(book.batch))
    assert story.state.looks == {}


@pytest.mark.parametrize(("early_s", "told"), [(1.0, False), (0.0, True)])
def test_a_reminder_is_due_at_its_very_second(early_s: float, told: bool) -> None:
    """Not a second before."""
    story = put_back(hours=3.0)
    story.at_s += 3 * 3600.0 - early_s
    remind_to_look(story.look())
    assert (story.state_of(LOOK_AGAIN, EGG) == UNACKNOWLEDGED) is told


@pytest.mark.parametrize(("after_s", "state"), [(43_199.0, ACKNOWLEDGED), (43_200.0, NORMAL)])
def test_an_answered_reminder_lapses_after_half_a_day(after_s: float, state: str) -> None:
    """Twelve hours after it was acknowledged, to the second, it is over; one that nobody answered never is."""
    for answered in (True, False):
        story = put_back()
        story.at_s += 3 * 3600.0
        remind_to_look(story.look())
        if answered:
            ack(story, (EGG, LOOK_AGAIN))
        story.at_s += after_s
        remind_to_look(story.look())
        assert story.state_of(LOOK_AGAIN, EGG) == (state if answered else UNACKNOWLEDGED)


@pytest.mark.parametrize("cover", ["shelved", "acknowledged", "nobody"])
def test_who_writes_answers_only_what_is_open(cover: str) -> None:
    """A reminder under a shelf, or acknowledged already, ends without another acknowledgement; by nobody's hand none is made."""
    story = put_back()
    story.at_s += 3 * 3600.0
    remind_to_look(story.look())
    key = (EGG, LOOK_AGAIN)
    if cover == "shelved":
        settle(
            story.look(),
            key,
            shelve(story.state.alarms[key], 600.0, "sam", now=story.now(), rule=story.site.rules[LOOK_AGAIN]),
        )
    elif cover == "acknowledged":
        ack(story, key)
    before = len(story.transitions)
    if cover == "nobody":
        take_book(story.state, EggBook(story.state.batches["hen-1"]))
        remind_to_look(story.look())
    else:
        write(story, Candling("alive"))
    assert not story.alarm(LOOK_AGAIN, EGG).condition
    assert [t.state for t in story.transitions[before:] if t.state == ACKNOWLEDGED] == []


@pytest.mark.parametrize(("egg", "seen"), [(7, "the egg"), (None, "all")])
def test_what_was_seen_last_is_of_the_same_eggs(egg: int | None, seen: str) -> None:
    """Of an egg what was written about it, of the batch what was about all: nothing of another egg, nor of a tray; and neither another
    reminder, nor a size, nor when it was laid, is something seen."""
    story = quiet(batches=(batch(),))
    story.tick()
    write(story, Note("the egg"))
    write(story, Note("all"), egg=None)
    write(story, Note("another"), egg=8)
    write(story, Candling("alive"), egg=None, count=4, tray="a")
    write(story, Laid(story.now().utc - timedelta(days=9)))
    write(story, Size(50.0, 40.0))
    write(story, LookAgain(story.now().utc + timedelta(hours=50)), egg=egg)
    write(story, LookAgain(story.now().utc + timedelta(hours=1), "why"), egg=egg)
    story.at_s += 3600.0
    remind_to_look(story.look())
    about = story.alarm(LOOK_AGAIN, subject_of("hen-1", egg)).about
    assert isinstance(about, Seen)
    assert (about.why, about.at) == ("why", story.now().utc)
    last = there(about.last).fact
    assert isinstance(last, Note)
    assert last.text == seen


def test_what_nothing_was_seen_of() -> None:
    """The reminder says so by saying nothing."""
    story = quiet(batches=(batch(),))
    story.tick()
    write(story, LookAgain(story.now().utc, ""), egg=7)
    about = story.alarm(LOOK_AGAIN, EGG).about
    assert isinstance(about, Seen)
    assert about.last is None


def test_a_batch_that_goes_on_after_all_is_reminded_anew() -> None:
    """A reminder that ended with its batch, unanswered, begins again with it; one that stands, or never began, is left alone."""
    story = put_back()
    write(story, LookAgain(story.now().utc + timedelta(hours=50)), egg=8)
    story.at_s += 3 * 3600.0
    remind_to_look(story.look())
    hens = story.state.batches["hen-1"]
    reopen_book(story.look(), hens)
    assert (story.alarm(LOOK_AGAIN, EGG).episode, story.state_of(LOOK_AGAIN, EGG)) == (1, UNACKNOWLEDGED)
    close_book(story.look(), hens)
    assert not story.alarm(LOOK_AGAIN, EGG).condition
    remind_to_look(story.look())
    assert not story.alarm(LOOK_AGAIN, EGG).condition
    reopen_book(story.look(), hens)
    assert (story.alarm(LOOK_AGAIN, EGG).episode, story.state_of(LOOK_AGAIN, EGG)) == (2, UNACKNOWLEDGED)
    assert (subject_of("hen-1", 8), LOOK_AGAIN) not in story.state.alarms


def test_closing_a_batch_leaves_anothers_alarms() -> None:
    """And what of its own is over already gets no new line."""
    story = quiet(batches=(batch(), batch("hen-2")))
    story.tick()
    weigh(story, True)
    weigh(story, True, id_="hen-2")
    weigh(story, False)
    out = Group()
    close_book(story.look(out), story.state.batches["hen-1"])
    assert out.transitions == []
    assert story.state_of(WEIGHT_OFF, subject_of("hen-2")) == UNACKNOWLEDGED


def test_a_line_is_written_only_where_none_was() -> None:
    """When a loss goes off track its beginning is the line; what it is about is written anew only while it stands, and by whom is said."""
    story = quiet(batches=(batch(),))
    story.tick()
    weigh(story, True, "egg 3")
    assert [(t.state_before, t.state) for t in story.transitions] == [(NORMAL, UNACKNOWLEDGED)]
    weigh(story, None, "unsure")
    assert len(story.transitions) == 1
    weigh(story, False, "well")
    assert [t.state for t in story.transitions] == [UNACKNOWLEDGED, RETURNED]
    weigh(story, False, "very well")
    assert len(story.transitions) == 2
    weigh(story, True, "egg 4")
    weigh(story, True, "egg 5")
    assert [(t.state, t.cause, t.alarm.about) for t in story.transitions[2:]] == [
        (UNACKNOWLEDGED, story.transitions[2].cause, "egg 4"),
        (UNACKNOWLEDGED, "what it is about has changed", "egg 5"),
    ]
