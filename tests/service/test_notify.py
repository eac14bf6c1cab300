"""The notification stages: what one contact's unsent notices become."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.notice import Notice
from monitor.service.notify import (
    MAX_JOINED,
    OVER,
    DropSuperseded,
    GroupRest,
    Outgoing,
    episode,
    pass_through,
    standard_stages,
)
from tests.delivery_port import notice

NOW = datetime(2026, 5, 4, 1, 30, tzinfo=UTC)


def through(*notices: Notice) -> list[Outgoing]:
    return pass_through(standard_stages(), notices, NOW)


def closing(id_: int, alarm: int, priority: str = "medium") -> Notice:
    return notice(
        id_,
        priority,
        alarm_number=alarm,
        closing=True,
        title=f"Machine {alarm}: no longer too hot",
        text=f"Lasted 4 min. No. {alarm}",
    )


def test_a_single_notice_passes_unchanged() -> None:
    """What waits alone is sent as it was written."""
    one = notice(1)
    assert through(one) == [Outgoing(one)]


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
    kept = DropSuperseded().pass_on([Outgoing(start), Outgoing(end)], NOW)
    assert kept == [Outgoing(start), Outgoing(end)]


def test_only_the_same_episode_is_folded() -> None:
    """A closing notice takes the openings of its own alarm number, earlier than itself, and no others."""
    other, again = notice(1, "low", alarm_number=8), notice(4, "low", alarm_number=7)
    end = closing(3, 7, "low")
    kept = DropSuperseded().pass_on([Outgoing(n) for n in (other, notice(2, "low", alarm_number=7), end, again)], NOW)
    assert [o.ids for o in kept] == [(1,), (3, 2), (4,)]


def test_notices_about_no_alarm_are_strangers() -> None:
    """Messages without an alarm number (a test, the daily word) stand for themselves."""
    first, second = notice(1, "low", alarm_number=0), notice(2, "low", alarm_number=0, closing=True)
    assert episode(first) != episode(second)
    assert DropSuperseded().pass_on([Outgoing(first), Outgoing(second)], NOW) == [Outgoing(first), Outgoing(second)]


def test_what_waits_together_goes_together() -> None:
    """Two high notices are one message: the leader in full, the other as a line with its number."""
    first, second = notice(1), notice(2)
    (message,) = through(first, second)
    assert message.ids == (1, 2)
    assert message.notice.title == "Machine 1: too hot (2 notices)"
    assert message.notice.text == f"{first.text}\nMachine 2: too hot. No. 2"
    assert (message.notice.id, message.notice.link, message.notice.alarm_number) == (1, first.link, 1)


@pytest.mark.parametrize(("count", "last"), [(3, "Machine 3: too hot. No. 3"), (4, "and 1 more"), (9, "and 6 more")])
def test_at_most_three_lines_and_a_count(count: int, last: str) -> None:
    """Three notices are three lines; of more the first three are told and the rest counted; all of them are marked."""
    (message,) = through(*(notice(n) for n in range(1, count + 1)))
    lines = message.notice.text.split("\n")
    assert len(lines) == min(count, 4)
    assert lines[-1] == last
    assert sorted(message.ids) == list(range(1, count + 1))


def test_the_most_urgent_that_still_stands_leads() -> None:
    """Neither an older but milder notice, nor an urgent one that is over, takes the first line from what is happening."""
    (message,) = through(closing(1, 31, "high"), notice(2, "low"), notice(3, "high"))
    assert message.notice.id == 3
    assert message.notice.text.split("\n")[1:] == ["Machine 2: too hot. No. 2", "Machine 31: no longer too hot. No. 31"]
    assert not message.notice.closing


def test_critical_is_never_joined() -> None:
    """Critical notices go by themselves, in full, in the place they had; the rest are joined."""
    given = [notice(3, "critical"), notice(4, "critical"), notice(1), notice(2, "low")]
    messages = through(*given)
    assert messages[:2] == [Outgoing(given[0]), Outgoing(given[1])]
    assert [m.ids for m in messages[2:]] == [(1, 2)]


def test_a_message_joins_no_more_than_its_limit() -> None:
    """A flood is told in messages of MAX_JOINED notices."""
    messages = through(*(notice(n) for n in range(1, MAX_JOINED + 6)))
    assert len(messages[0].ids) == MAX_JOINED
    assert sorted(i for m in messages for i in m.ids) == list(range(1, MAX_JOINED + 6))


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
    """Whatever waits, each id is in exactly one message, and every critical one leads its own."""
    notices = [
        notice(i, priority, alarm_number=alarm, closing=end) for i, (priority, alarm, end) in enumerate(drawn, start=1)
    ]
    messages = through(*notices)
    assert sorted(id_ for m in messages for id_ in m.ids) == [n.id for n in notices]
    assert [m.ids[0] for m in messages if m.notice.priority == "critical"] == [
        n.id for n in notices if n.priority == "critical"
    ]


def test_one_stage_alone_does_its_one_thing() -> None:
    """GroupRest needs no other stage, and leaves a lone notice beside criticals as it is."""
    given = [Outgoing(notice(1, "critical")), Outgoing(notice(2))]
    assert GroupRest().pass_on(given, NOW) == given
