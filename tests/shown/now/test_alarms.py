"""The list of alarms: what wants an answer first, with the facts of this moment, and whether anybody was told."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from monitor.domain.alarms.about import BROKER, Unheard
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.alarms.notice import Notice
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.wall import utc_text
from monitor.domain.watch.view import alarm_view
from monitor.service.ports import LastAlive, NoticeRow
from monitor.shown.now.alarms import alarms_text, rank, told_of, told_to, told_view, told_words, unwatched_words
from monitor.shown.values import state_words
from tests.shown.test_terminal import ODD, site

NOW = datetime(2026, 3, 1, 12, 45, tzinfo=UTC)  # 18:30 in Kathmandu
SITE = site("C")
HOT = Alarm(
    "setter-1", "dry-bulb-high-alarm", number=3, episode=1, condition=True, acknowledged=False,
    since=NOW - timedelta(minutes=12), value=39.44, worst=39.61, limit=38.9, about=DRY_BULB,
)  # fmt: skip
COOL = replace(HOT, rule="dry-bulb-low-warning", number=2, acknowledged=True, value=36.9, worst=36.8, limit=37.2)
GONE = replace(
    HOT, subject="node-a", rule="node-offline", number=1, condition=False, ended=NOW - timedelta(minutes=2), about=""
)
QUIET = replace(COOL, number=4, shelved_until=NOW + timedelta(minutes=10))


def view(alarm: Alarm, **more: Any) -> Any:
    return {**alarm_view(alarm, str), **more}


def text(*alarms: Alarm, live: bool = True, full: bool = False) -> list[str]:
    return alarms_text([view(alarm) for alarm in alarms], SITE, NOW, live=live, full=full).splitlines()


def test_the_first_line_is_the_answer() -> None:
    """How many want an answer, and how urgent the worst is; then those, the worst first; the others in a line each."""
    lines = text(QUIET, COOL, GONE, HOT)
    assert lines[0] == "2 want you: 2 high; 2 stand, seen or quiet."
    assert lines[1:3] == ["", "HIGH No. 3 Setter 1: too hot"]
    whole = "\n".join(lines).replace("\n  until", " until").replace("\n  18:40", " 18:40").replace("\n  seen", " seen")
    assert whole[whole.index("HIGH No. 1 ") :].splitlines() == [
        "HIGH No. 1 Setter 1 (node-a): node gone",
        "  for 10 min, 18:18 to 18:28",
        "  over, not seen",
        "",
        "low No. 2 Setter 1: cool, 36.9 °C in the mean, for 12 min, since 18:18: seen",
        "low No. 4 Setter 1: cool, 36.9 °C in the mean, for 12 min, since 18:18: quiet until 18:40",
        "",
        "You have seen them: eggroom ack NUMBER, or ack all",
    ]
    assert text(HOT)[0] == "1 wants you: 1 high."
    assert text(COOL)[0] == "Nothing new; 1 stands, seen or quiet."
    assert text(COOL)[-1] == "All of each: eggroom alarms --full"
    assert "  36.9 °C in the mean, worst 36.8 °C, for 12 min, since 18:18" in text(COOL, full=True)
    assert text() == ["Nothing new."]


def test_the_facts_of_this_moment() -> None:
    """The value now, the peak and for how long; where nobody follows it, its worst alone, for a stale value is none of now."""
    assert text(HOT)[3] == "  39.4 °C now, worst 39.6 °C, for 12 min, since 18:18"
    assert text(replace(HOT, value=39.61))[3] == "  39.6 °C now, for 12 min, since 18:18"
    assert text(HOT, live=False)[3] == "  worst 39.6 °C, for 12 min, since 18:18"
    well = view(HOT, well_since=(NOW - timedelta(minutes=1)).isoformat())
    (line,) = alarms_text([well], SITE, NOW, live=True).splitlines()[3:4]
    assert line == "  worst 39.6 °C, for 12 min, since 18:18, well since 18:29"
    over = replace(HOT, condition=False, ended=NOW)
    assert text(over)[3] == "  worst 39.6 °C, for 12 min, 18:18 to 18:30"


def row(
    id_: int, state: str, at: datetime, *, contact: str = "sam", number: int = 3, priority: str = "high", tries: int = 1
) -> NoticeRow:
    notice = Notice(id_, str(id_), contact, priority, "", "", at, number)
    return NoticeRow(notice, state, tries, "", at if tries else None)


def test_whether_anybody_was_told() -> None:
    """When the last message got through to each contact, and since when one has not; what was not delivered comes first."""
    before, after = NOW - timedelta(minutes=11), NOW - timedelta(minutes=1)
    for rows, words in (
        ([], "told nobody"),
        ([row(1, "sent", before)], "told sam 18:19"),
        ([row(1, "sent", before), row(2, "sent", after)], "told sam 18:29"),
        ([row(1, "sent", before), row(2, "waiting", after)], "NOT DELIVERED to sam since 18:29, told sam 18:19"),
        ([row(1, "waiting", before), row(2, "waiting", after)], "NOT DELIVERED to sam since 18:19"),
        ([row(1, "failed", before)], "NOT DELIVERED to sam since 18:19"),
        ([row(1, "failed", before), row(2, "sent", after)], "told sam 18:29"),
        ([row(1, "waiting", before, tries=0)], "told nobody"),
        ([row(1, "cancelled", before)], "told nobody"),
        (
            [row(1, "sent", before), row(2, "waiting", after, contact="kim")],
            "NOT DELIVERED to kim since 18:29, told sam 18:19",
        ),
        (
            [row(n, "waiting", before, contact=who) for n, who in enumerate(("sam", "kim", "ada"))],
            "NOT DELIVERED to sam, kim and ada since 18:19",
        ),
        (
            [row(1, "sent", before), row(2, "sent", before, contact="kim"), row(3, "sent", after, contact="ada")],
            "told sam and kim 18:19, told ada 18:29",
        ),
    ):
        assert told_words(told_view(told_of(rows).get(3, ())), SITE, NOW) == words
    assert told_of([row(1, "sent", NOW), row(2, "sent", NOW, number=4)]).keys() == {3, 4}
    lines = alarms_text(
        [view(HOT, told=told_view(told_of([row(1, "waiting", before)])[3]))], SITE, NOW, live=True
    ).splitlines()
    assert lines[4] == "  new; NOT DELIVERED to sam since 18:19"


def test_what_is_urgent_and_did_not_get_through() -> None:
    """By contact, whatever it was about: bad from its first failure on, until one got through; what is low counts for nothing."""
    at = NOW - timedelta(minutes=5)
    stuck = [row(1, "sent", at), row(2, "waiting", at), row(3, "failed", at, contact="kim", priority="low")]
    assert [(each.contact, each.waiting_since) for each in told_to(stuck)] == [("sam", at)]
    assert told_to([*stuck, row(4, "sent", NOW, number=9)])[0].waiting_since is None
    called_off = [row(1, "cancelled", at), row(2, "cancelled", at, contact="kim", tries=0)]
    assert [(each.contact, each.waiting_since) for each in told_to(called_off)] == [("sam", at)]


@pytest.mark.parametrize(
    ("last", "said"),
    [
        (None, "NOBODY IS WATCHING: no daemon has run here yet."),
        (LastAlive(NOW - timedelta(hours=5), stopped=True), "It was stopped 01 Mar 13:30, 5 h 0 min ago."),
        (LastAlive(NOW - timedelta(days=90), stopped=False), "It was last alive 01 Dec 2025 18:30. Start it"),
    ],
)
def test_nobody_is_watching(last: LastAlive | None, said: str) -> None:
    """Said first, with since when, and how to start it."""
    words = unwatched_words(last, SITE, NOW)
    assert words.startswith("NOBODY IS WATCHING: ")
    assert said in words
    assert words.endswith("Start it: sudo systemctl start eggroom")


def test_states_are_in_words_for_people() -> None:
    """The record's words are those of the standard; nobody has to know them at night."""
    shown = [
        state_words(state)
        for state in ("unacknowledged", "acknowledged", "returned to normal, unacknowledged", "shelved")
    ]
    assert shown == ["new", "seen", "over, not seen", "quiet"]


def test_alarms_fit_the_terminal() -> None:
    """Its words, what it is about and what to do take as many lines as they need, none wider than 80 columns, and lose no word."""
    about = "egg 7: loss by pip 18.2 % (17.6 to 18.8) is outside 11 to 14 %; 71 % RH from now on leads to 13.9 %; also egg 9"
    alarm = Alarm(
        "batch hen-1", "weight-off-track", number=17, condition=True, acknowledged=False, since=NOW, about=about
    )
    lines = text(alarm)
    assert max(map(len, lines)) <= 80
    assert about in " ".join(" ".join(lines).split())
    assert all(line.isprintable() for line in text(replace(alarm, about=ODD)))


def test_a_standing_alarm_has_its_day_where_it_is_another() -> None:
    """A reminder of December that nobody answered says in January which December."""
    old = replace(GONE, since=NOW - timedelta(days=80), ended=None, condition=True)
    assert "since 2025-12-11 18:30" in "\n".join(text(old))
    assert "since Fri 18:30" in "\n".join(text(replace(old, since=NOW - timedelta(days=2))))


def test_a_value_of_a_machine_that_is_not_heard_is_not_called_that_of_now() -> None:
    """When it was last, and that nothing came since."""
    stale = view(HOT, value_at=utc_text(NOW - timedelta(minutes=11)))
    lines = alarms_text([stale], SITE, NOW, live=True).splitlines()
    assert lines[3] == "  39.4 °C at 18:19, no reading since, worst 39.6 °C, for 12 min, since 18:18"
    assert "now" not in lines[3]


def test_the_first_act_is_the_one_that_the_phone_was_told() -> None:
    """A broker that stopped is not the mains: matter, harm and first act are of what the silence comes of."""
    silent = replace(
        HOT, subject="site", rule="all-silent", value=None, worst=None, limit=None, about=Unheard(6, BROKER)
    )
    lines = alarms_text([view(silent)], SITE, NOW, live=True).splitlines()
    assert lines[2].endswith("All machines: the broker on this Pi has stopped")
    assert "sudo systemctl restart mosquitto" in " ".join(" ".join(lines).split())
    assert "mains" not in " ".join(lines)


def test_what_comes_and_goes_and_is_gone_stands_below_what_stands() -> None:
    """It is still one alarm, with its number; that it is well now is said, with since when, and its old words are not."""
    silent = replace(
        HOT, subject="site", rule="all-silent", number=8, value=None, worst=None, limit=None, about=Unheard(6), times=3,
        pending_mono_s=1.0, pending_at=NOW - timedelta(minutes=4),
    )  # fmt: skip
    assert silent.chattering
    lines = alarms_text([view(silent), view(HOT)], SITE, NOW, live=True).splitlines()
    assert lines[2] == "HIGH No. 3 Setter 1: too hot"
    told = " ".join(lines)
    assert "came and went 3 times since 18:18, well since 18:26" in told
    assert "is heard" not in told


def test_what_stands_comes_before_what_is_over_and_what_is_seen_before_what_can_wait() -> None:
    """A critical one that was seen a minute ago is not the last line below what is low and new."""
    low = replace(COOL, number=5, acknowledged=False)
    seen = replace(HOT, number=6, acknowledged=True)
    over = replace(HOT, number=7, condition=False, ended=NOW)
    order = sorted((view(each) for each in (low, over, seen, HOT)), key=lambda each: rank(each, SITE))
    assert [each["number"] for each in order] == [3, 6, 5, 7]
