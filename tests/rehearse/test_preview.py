"""A recording under other rules: what would have rung, and when."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.domain.alarms.notice import Notice
from monitor.rehearse.preview import BOTH, NEW_ONLY, OLD_ONLY, Preview, as_json, messages, preview, text_lines, words
from monitor.rehearse.replay import replay
from monitor.settings import House, load_house
from tests.delivery_port import notice
from tests.told import WORDS, facts

STREAMS = Path(__file__).parents[2] / "demo_streams"
T0 = datetime(2026, 3, 1, 7, 0, tzinfo=UTC)
Seen = Callable[[str, str], tuple[Preview, House]]


@pytest.fixture
def seen(tmp_path: Path) -> Seen:
    """A demo stream under rules given as text."""

    def run(name: str, text: str) -> tuple[Preview, House]:
        house = load_house(STREAMS / f"{name}.toml")
        rules = tmp_path / "rules.toml"
        rules.write_text(text)
        return preview(STREAMS / f"{name}.jsonl", house, rules), house

    return run


def told(seen: Preview) -> list[tuple[str, str, float]]:
    return [(p.either.rule, p.rings, p.later_s) for p in seen.pairs]


LATER = """
[rules.dry-bulb-high-warning]
on_delay_s = 20
[machine.setter-2.rules.dry-bulb-high-alarm]
on_delay_s = 320
"""


def test_what_would_have_rung_and_what_not(seen: Seen) -> None:
    """Of a heater that sticks on: a warning that comes in time rings first, the alarm rings five minutes later, and what kills as before."""
    made, _ = seen("heater-stuck-on", LATER)
    assert told(made) == [
        ("dry-bulb-high-alarm", BOTH, 300.0),
        ("dry-bulb-high-warning", NEW_ONLY, 0.0),
        ("dry-bulb-lethal", BOTH, 0.0),
    ]
    assert [pair.new.number for pair in made.pairs if pair.new] == [2, 1, 3]
    assert words(made) == "With the new rules 1 more would have rung, 1 would have rung later by 5 min."
    assert (made.old.alarms.get("dry-bulb-high-warning", 0), made.new.alarms["dry-bulb-high-warning"]) == (0, 1)


def test_what_would_not_have_rung(seen: Seen) -> None:
    """An alarm whose delay is made longer than the heat lasted would not have rung, and that is said."""
    made, _ = seen("heater-stuck-on", "[rules.dry-bulb-high-alarm]\non_delay_s = 7000\n")
    assert ("dry-bulb-high-alarm", OLD_ONLY, 0.0) in told(made)
    assert "1 alarm would not have rung" in words(made)


def test_the_old_side_is_the_recording_as_it_is(seen: Seen) -> None:
    """What rings under the old rules, and when, is the recording's own timeline."""
    made, house = seen("heater-stuck-on", LATER)
    plain = replay(STREAMS / "heater-stuck-on.jsonl", house)
    assert [(p.old.number, p.old.rang) for p in made.pairs if p.old] == [
        (n.alarm_number, n.created) for n in plain.notices if not n.closing
    ]


@pytest.mark.parametrize("name", ["heater-stuck-on", "power-cut", "calm-day"])
def test_the_same_rules_give_the_same(seen: Seen, name: str) -> None:
    """Rules that change nothing change nothing, and the line says so."""
    made, _ = seen(name, "[rules.bands-missing]\non_delay_s = 0\n")
    assert {p.rings for p in made.pairs} <= {BOTH}
    assert made.old == made.new
    assert words(made).startswith(("The same rings under both: ", "No alarm rings under either."))
    assert bool(made.pairs) == (name != "calm-day")


def test_a_recording_that_was_cut_off_is_tried_as_far_as_it_goes(seen: Seen, tmp_path: Path) -> None:
    """The last line is a part of one: the table ends by saying so, JSON has its number, and all else is as without it."""
    whole = (STREAMS / "heater-stuck-on.jsonl").read_bytes()
    path, rules = tmp_path / "r.jsonl", tmp_path / "same.toml"
    path.write_bytes(whole + b'{"at":"2026-03-0')
    rules.write_text("[rules.bands-missing]\non_delay_s = 0\n")
    made, house = seen("heater-stuck-on", "[rules.bands-missing]\non_delay_s = 0\n")
    cut = preview(path, house, rules)
    number = whole.count(b"\n") + 1
    lines = [*text_lines(cut, house)]
    said = f"Its line {number}, the last, is cut off: played up to the one before."
    assert [line for line in lines if line != said] == [*text_lines(made, house)]
    assert lines.count(said) == 1
    assert as_json(cut) == as_json(made) | {"cut_off": number}


def test_the_limit_of_an_alarm_can_be_tried(seen: Seen) -> None:
    """A higher limit rings later, or not at all: the alarm is silent with a limit that the heat does not reach."""
    made, _ = seen("heater-stuck-on", "[rules.dry-bulb-high-alarm]\nlimit = 39.8\n")
    (heat,) = [p for p in made.pairs if p.either.rule == "dry-bulb-high-alarm"]
    assert heat.later_s > 0
    made, _ = seen("heater-stuck-on", "[machine.setter-2.rules.dry-bulb-high-alarm]\nlimit = 45.0\n")
    assert ("dry-bulb-high-alarm", OLD_ONLY, 0.0) in told(made)


def test_another_priority_is_said(seen: Seen) -> None:
    """What rings as before with another priority is told as that, and counted under it."""
    made, house = seen("heater-stuck-on", '[rules.dry-bulb-high-alarm]\npriority = "critical"\n')
    assert words(made) == "With the new rules 1 with another priority."
    assert made.old.messages["high"] == 1
    assert made.new.messages["critical"] == made.old.messages["critical"] + 1
    assert any("now critical" in line for line in text_lines(made, house))


def test_an_answer_goes_to_the_same_alarm(seen: Seen) -> None:
    """The breeder of the recording answered the heat as number 1; under rules by which it is number 2 it is answered all the same, and
    asks as often."""
    made, _ = seen("heater-stuck-on", "[rules.dry-bulb-high-warning]\non_delay_s = 0\nlimit = 37.6\n")
    (heat,) = [p for p in made.pairs if p.either.rule == "dry-bulb-high-alarm"]
    assert heat.old is not None
    assert heat.new is not None
    assert (heat.old.number, heat.new.number, heat.later_s) == (1, 2, 0.0)
    assert made.old.messages["critical"] == made.new.messages["critical"]


def test_reminders_are_counted(seen: Seen) -> None:
    """What nobody answers is told again, and the messages say how often: with a longer time to ask again there are fewer."""
    made, _ = seen("heater-stuck-on", "[rules.dry-bulb-lethal]\nre_alarm_s = 900\n")
    assert told(made)[0] == ("dry-bulb-high-alarm", BOTH, 0.0)
    assert made.old.messages["critical"] > made.new.messages["critical"] >= 3
    assert made.new.notices_a_day == pytest.approx(made.new.notices * timedelta(days=1) / made.span)


def test_a_flood_is_counted_as_its_messages() -> None:
    """Of one contact's notices the messages are what reaches a phone: a flood of eight is two, a lone notice is itself."""
    eight = [notice(n, created=T0 + timedelta(seconds=n), facts=facts(f"Setter {n}", "too cold")) for n in range(1, 9)]
    later = notice(9, created=T0 + timedelta(hours=1))
    sent: list[Notice] = messages([*eight, later], WORDS)
    assert [n.id for n in sent] == [1, 2, 9]
    assert messages([], WORDS) == []


@pytest.mark.parametrize("name", ["heater-stuck-on", "power-cut", "dying-node", "calm-day"])
def test_the_table_fits_a_terminal(seen: Seen, name: str) -> None:
    """No line is longer than 80 characters, every episode has its line, and the last line is the words."""
    made, house = seen(name, "[rules.dry-bulb-high-alarm]\non_delay_s = 600\n[rules.node-offline]\non_delay_s = 7200\n")
    lines = list(text_lines(made, house))
    assert max(map(len, lines)) <= 80
    assert lines.index("") == 1 + len(made.pairs)
    assert lines[-1] == words(made)


def test_times_are_those_of_the_site(seen: Seen) -> None:
    """The table's times are on the site's wall, and the zone is named; for a program they are UTC."""
    made, house = seen("heater-stuck-on", LATER)
    assert str(house.site.zone) in list(text_lines(made, house))[-2]
    plain = json.loads(json.dumps(as_json(made)))
    assert plain["episodes"][0] == {
        "subject": "setter-2",
        "rule": "dry-bulb-high-alarm",
        "since": "2026-03-01T07:02:16.292Z",
        "rings": BOTH,
        "later_s": 300.0,
        "old": {"rang": "2026-03-01T07:03:16.157Z", "priority": "high", "number": 1},
        "new": {"rang": "2026-03-01T07:08:16.245Z", "priority": "high", "number": 2},
    }
    assert plain["words"] == words(made)
    assert plain["old"]["messages"].keys() == {"low", "medium", "high", "critical"}
