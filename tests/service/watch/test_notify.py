"""The notification stages: what one contact's unsent notices become."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.alarms.notice import Notice
from monitor.service.watch.notify import DropSuperseded, GroupRest, Outgoing, pass_through, standard_stages
from monitor.shown.phone.notices import OVER
from tests.delivery_port import SINCE, notice
from tests.told import WORDS, facts


def through(*notices: Notice) -> list[Outgoing]:
    return pass_through(standard_stages(WORDS), notices)


def closing(id_: int, alarm: int, priority: str = "medium") -> Notice:
    return notice(
        id_,
        priority,
        alarm_number=alarm,
        closing=True,
        title=f"Machine {alarm}: no longer too hot",
        text=f"Lasted 4 min. No. {alarm}",
        facts=facts(f"Machine {alarm}", "no longer too hot"),
    )


def test_a_single_notice_passes_unchanged() -> None:
    """What waits alone is sent as it was written."""
    one = notice(1)
    assert through(one) == [Outgoing(one)]


def test_nothing_is_no_message() -> None:
    """Where nothing waits nothing is sent."""
    assert through() == []


@pytest.mark.parametrize("priority", ["low", "medium"])
def test_a_mild_episode_that_is_over_is_told_once(priority: str) -> None:
    """An unsent low or medium opening is folded into its closing notice, which says that it happened and is over."""
    end = closing(2, alarm=7, priority=priority)
    (message,) = through(notice(1, priority, alarm_number=7), end)
    assert message.ids == (2, 1)
    assert message.notice.title == end.title
    assert message.notice.text == OVER + end.text


@pytest.mark.parametrize("priority", ["high", "critical"])
def test_an_urgent_episode_is_told_in_full_though_it_is_over(priority: str) -> None:
    """The opening of what was urgent is never dropped: it comes before its closing notice."""
    start, end = notice(1, priority, alarm_number=7), closing(2, 7, priority)
    kept = DropSuperseded().pass_on([Outgoing(start), Outgoing(end)], ())
    assert kept == [Outgoing(start), Outgoing(end)]


def test_only_the_same_episode_is_folded() -> None:
    """A closing notice takes the openings of its own alarm number, earlier than itself, and no others."""
    other, again = notice(1, "low", alarm_number=8), notice(4, "low", alarm_number=7)
    end = closing(3, 7, "low")
    kept = DropSuperseded().pass_on([Outgoing(n) for n in (other, notice(2, "low", alarm_number=7), end, again)], ())
    assert [o.ids for o in kept] == [(1,), (3, 2), (4,)]


def test_notices_about_no_alarm_are_strangers() -> None:
    """Messages without an alarm number (a test, the daily word) stand for themselves."""
    first, second = notice(1, "low", alarm_number=0), notice(2, "low", alarm_number=0, closing=True)
    assert DropSuperseded().pass_on([Outgoing(first), Outgoing(second)], ()) == [Outgoing(first), Outgoing(second)]


def test_what_goes_together_is_one_message() -> None:
    """Two high notices are one message: the one that came first leads it and is marked first."""
    first, second = notice(1), notice(2)
    (message,) = through(first, second)
    assert message.ids == (1, 2)
    assert message.notice.title == "Urgent: 2 machines too hot"
    assert (message.notice.id, message.notice.link, message.notice.alarm_number) == (1, first.link, 1)


def test_the_most_urgent_that_still_stands_leads() -> None:
    """Neither an older but milder notice, nor an urgent one that is over, takes the lead from what is happening."""
    (message,) = through(closing(1, 31, "high"), notice(2, "low", facts=facts("Machine 2", "dry")), notice(3, "high"))
    assert message.ids == (3, 1, 2)
    assert message.notice.title.startswith("Urgent: Machine 3 too hot, 1 more")
    assert not message.notice.closing


def test_a_first_that_was_told_is_named() -> None:
    """What was told a moment ago is named as the first of the flood, and not marked again."""
    (message,) = pass_through(standard_stages(WORDS), [notice(2), notice(3)], [notice(1)])
    assert message.ids == (2, 3)
    assert message.notice.title == "Urgent: 3 machines too hot"


def test_critical_is_joined_too() -> None:
    """Critical notices that go together are one message, with all that goes with them, led by the first of them."""
    (message,) = through(
        notice(3, "critical"), notice(4, "critical"), notice(1, facts=facts("Machine 1", "cool", SINCE))
    )
    assert message.ids == (3, 4, 1)
    assert message.notice.priority == "critical"
    assert message.notice.title == "Urgent: 2 machines too hot, 1 more"


def test_any_number_is_one_message() -> None:
    """A flood of hundreds is told in one message, and each of them is marked."""
    (message,) = through(*(notice(n) for n in range(1, 400)))
    assert sorted(message.ids) == list(range(1, 400))


def test_a_joined_row_brings_what_was_folded_into_it() -> None:
    """A mild episode told late, then joined with an urgent notice, is marked whole."""
    (message,) = through(notice(1, "low", alarm_number=7), closing(2, 7, "low"), notice(3))
    assert message.ids == (3, 2, 1)


@given(
    st.lists(
        st.tuples(st.sampled_from(["low", "medium", "high", "critical"]), st.integers(0, 6), st.booleans()),
        min_size=1,
        max_size=60,
    )
)
def test_no_notice_is_lost_and_none_is_told_twice(drawn: list[tuple[str, int, bool]]) -> None:
    """Whatever goes together, it is one message that has each id once, its leader's first."""
    notices = [
        notice(i, priority, alarm_number=alarm, closing=end) for i, (priority, alarm, end) in enumerate(drawn, start=1)
    ]
    (message,) = through(*notices)
    assert sorted(message.ids) == [n.id for n in notices]
    assert message.ids[0] == message.notice.id


def test_one_stage_alone_does_its_one_thing() -> None:
    """GroupRest needs no other stage, and leaves a lone notice as it is."""
    given = [Outgoing(notice(1, "critical"), (7,))]
    assert GroupRest(WORDS).pass_on(given, ()) == given
