"""The recordings of demo_streams/ through the whole path: each gives its timeline, to the byte."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.rehearse.replay import ReplayError, as_json, replay, text_lines
from monitor.rehearse.streams import STORIES
from monitor.settings import load_house

STREAMS = Path(__file__).parents[2] / "demo_streams"


def timeline(name: str, folder: Path = STREAMS) -> str:
    """The timeline of a stream as text."""
    return "".join(
        f"{line}\n" for line in text_lines(replay(folder / f"{name}.jsonl", load_house(STREAMS / f"{name}.toml")))
    )


@pytest.mark.parametrize("name", STORIES)
def test_each_recording_gives_its_timeline(name: str) -> None:
    """Transitions and notices of a recording are those written down beside it, to the byte."""
    assert timeline(name) == (STREAMS / f"{name}.timeline").read_text(encoding="utf-8")


def test_two_runs_give_the_same_bytes() -> None:
    """Nothing in a replay depends on the day or on what ran before."""
    assert timeline("power-cut") == timeline("power-cut")


def test_the_calm_day_is_calm() -> None:
    """A day with two candlings wakes nobody."""
    calm = replay(STREAMS / "calm-day.jsonl", load_house(STREAMS / "calm-day.toml"))
    assert calm.readings == 1440
    assert calm.notices == []
    assert calm.refused == 0


def test_a_backlog_is_stored_and_judged_by_nobody() -> None:
    """Readings that waited two hours in a node are all in the record, and none of them raises or clears an air alarm."""
    dying = replay(STREAMS / "dying-node.jsonl", load_house(STREAMS / "dying-node.toml"))
    lines = (STREAMS / "dying-node.jsonl").read_text().splitlines()
    packs = [json.loads(line) for line in lines if "/air" in line]
    assert dying.readings == len({(p["topic"], p["payload"]) for p in packs}) == 720
    assert {t.alarm.rule for t in dying.transitions} == {"node-offline"}


def test_a_timeline_for_programs_is_json() -> None:
    """The same timeline is there as plain values."""
    told = as_json(replay(STREAMS / "heater-stuck-on.jsonl", load_house(STREAMS / "heater-stuck-on.toml")))
    assert json.loads(json.dumps(told))["notices"][0]["title"] == "Urgent: Setter 2 too hot"


@pytest.mark.parametrize("end", [b'{"at":"2026-03-0', b'{"topic', b"\x00\x00", b'"', "ü".encode()[:1]])
def test_a_recording_that_was_cut_off_is_played_as_far_as_it_goes(tmp_path: Path, end: bytes) -> None:
    """Whatever recorded it lost its power in the middle of the last line: that line is left out, and told with its number; what was told before
    is as without it."""
    whole = (STREAMS / "heater-stuck-on.jsonl").read_bytes()
    path = tmp_path / "r.jsonl"
    path.write_bytes(whole + end)
    house = load_house(STREAMS / "heater-stuck-on.toml")
    played, cut = replay(STREAMS / "heater-stuck-on.jsonl", house), replay(path, house)
    number = whole.count(b"\n") + 1
    *before, said, last = text_lines(cut)
    assert [*before, last] == [*text_lines(played)]
    assert said == f"# line {number}, the last, is cut off: played up to the one before"
    assert as_json(cut) == as_json(played) | {"cut_off": number}


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", 'line 1: no "recording", expected the head of a recording'),
        ('{"recording":"x"}\nnonsense\n', "line 2: 'nonsense', expected a JSON object"),
        ('{"recording":"x"}\n{"at":"noon","do":"end"}\n', "line 2: at 'noon', expected a time such as"),
        ('{"recording":"x"}\n{"at":"2026-03-01T06:00:00Z"}\n', 'line 2: neither "topic" nor "do"'),
        (
            '{"recording":"x"}\n{"at":"2026-03-01T06:00:00Z","do":"room"}\n{"at":"2026-03-01T05:00:00Z","do":"end"}\n',
            "line 3: at 2026-03-01T05:00:00Z, expected not before the line above",
        ),
    ],
)
def test_a_recording_that_cannot_be_read_says_where(tmp_path: Path, text: str, complaint: str) -> None:
    """A damaged recording is one line: file, line, what came, what was expected."""
    path = tmp_path / "r.jsonl"
    path.write_text(text)
    with pytest.raises(ReplayError) as caught:
        replay(path, load_house(STREAMS / "calm-day.toml"))
    assert complaint in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_forgotten_door_is_told_after_half_an_hour() -> None:
    """A fall that looks like an opened door holds the alarm back for half an hour, as eggs are cooled on purpose, and no longer where the air
    does not come back."""
    forgotten = replay(STREAMS / "door-left-open.jsonl", load_house(STREAMS / "door-left-open.toml"))
    opened_at = datetime(2026, 3, 1, 6, 45, tzinfo=UTC)
    first = forgotten.transitions[0]
    assert first.alarm.rule == "dry-bulb-low-alarm"
    assert timedelta(minutes=29) < first.at - opened_at <= timedelta(minutes=31)
    assert first.alarm.since is not None
    assert first.alarm.since - opened_at < timedelta(minutes=2)
