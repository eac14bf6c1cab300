"""A day's summary in words."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.notice import Notice, Standing, Task, Today
from monitor.domain.alarms.out import Out
from tests.told import T0, WORDS, about, facts


def told(*standing: tuple[int, str, str], tasks: tuple[Task, ...] = (), out: tuple[Out, ...] = ()) -> Notice:
    """The summary of these: number, machine, what."""
    what = Today(tasks, tuple(Standing(n, facts(name, words)) for n, name, words in standing), out)
    made = Notice(9, "summary/9/owner", "owner", "low", "", "", T0 + timedelta(hours=6), 0, today=what)
    return WORDS.word(made)


CANDLE = Task("candle", "hen-1", T0 + timedelta(hours=9))
LOOK = Task("look", "grey-1", T0 + timedelta(hours=12), 3)


def test_what_to_do_comes_first_then_what_stands() -> None:
    """The title has the first of it and how much more there is; the text all, each alarm with its number."""
    one = told((5, "Setter 1", "dry"), (7, "Hatcher", "humid"), tasks=(CANDLE, LOOK))
    assert one.title == "When you can: candle hen-1, 3 more"
    assert one.text == (
        "Today: candle hen-1, look at grey-1 egg 3 at 14:14. Setter 1 dry since 02:14, 44 %RH now (No. 5)."
        " Hatcher humid since 02:14, 44 %RH now (No. 7)."
    )


def test_what_is_out_of_service_stands_first() -> None:
    """A machine or a probe as a whole, with its end and by whom; alone it is a message, or it would be forgotten."""
    out = (Out("setter-1", T0, T0 + timedelta(hours=9), "sam"), Out("node-x/y", T0))
    words = "setter-1 out of service until 11:14 by sam. node-x/y out of service until it is put back"
    alone = told(out=out[:1])
    assert alone.text == "setter-1 out of service until 11:14 by sam."
    assert alone.title == "When you can: setter-1 out of service"
    assert told((5, "Setter 1", "dry"), tasks=(CANDLE,), out=out).text == (
        f"{words}. Today: candle hen-1. Setter 1 dry since 02:14, 44 %RH now (No. 5)."
    )


def test_a_cooling_of_the_day_has_its_hour() -> None:
    """Of a batch, or of a machine."""
    tasks = (Task("cool", "goose-1", T0 + timedelta(hours=9)), Task("cool", "setter-1", T0 + timedelta(hours=12)))
    assert told(tasks=tasks).text == "Today: cool goose-1 at 11:14, cool setter-1 at 14:14."


def test_of_one_thing_the_title_says_all() -> None:
    """Whether it is something to do or to see."""
    assert told(tasks=(CANDLE,)).title == "When you can: candle hen-1"
    assert told(tasks=(CANDLE,)).text == "Today: candle hen-1."
    assert told((5, "Setter 1", "sensors disagree")).title == "When you can: Setter 1 sensors disagree"


def test_what_has_no_room_is_counted() -> None:
    """Nothing is left out in silence; a first thing too long for the title is counted there."""
    many = told(*((n, f"Setter {n}", "dry") for n in range(1, 21)), tasks=(CANDLE,))
    assert many.text.startswith("Today: candle hen-1. Setter 1 dry since")
    named = many.text.count("(No. ")
    assert many.text.endswith(f" And {20 - named} more: eggroom now.")
    long = told((1, "W" * 24, "eggs do not fit together"), (2, "Setter 2", "dry"))
    assert long.title == "When you can: 2 to see"
    both = told((1, "W" * 24, "dry"), tasks=(replace(CANDLE, batch="w" * 32),))
    assert both.title == "When you can: 1 to do, 1 to see"


def test_what_was_answered_meanwhile_is_left_out() -> None:
    """While it waited; with nothing left it says so, where it is sent all the same."""
    one = told((5, "Setter 1", "dry"), (7, "Hatcher", "humid"))
    assert one.today is not None
    left = WORDS.word(replace(one, today=one.today.without({5})))
    assert left.text == "Hatcher humid since 02:14, 44 %RH now (No. 7)."
    assert WORDS.word(replace(one, today=one.today.without({5, 7}))).title == "When you can: nothing"


def test_the_notices_of_what_is_low_go_along_without_a_word() -> None:
    """The summary says what stands; a notice that waited for it adds nothing."""
    one = told((5, "Setter 1", "dry"))
    assert WORDS.join([about(5, "Setter 1", "dry", "low"), one, about(6, "Hatcher", "humid", "low")]) == one


@given(
    st.lists(
        st.tuples(
            st.integers(1, 10**6),
            st.text("Wi ", min_size=1, max_size=24),
            st.sampled_from(["dry", "warm", "eggs do not fit together"]),
        ),
        max_size=30,
    ),
    st.lists(
        st.tuples(
            st.sampled_from(["candle", "weigh", "lockdown", "hatch", "look"]), st.text("wi", min_size=1, max_size=32)
        ),
        max_size=10,
    ),
)
@settings(deadline=None)
def test_any_day_fits_a_phone(standing: list[tuple[int, str, str]], todo: list[tuple[str, str]]) -> None:
    """Title and text keep to a locked phone, and everything is named or counted."""
    if standing or todo:
        one = told(*standing, tasks=tuple(Task(kind, name, T0) for kind, name in todo))
        assert len(one.title) <= 50
        assert len(one.text) <= 178
        assert one.title.startswith("When you can: ")
        assert one.text
