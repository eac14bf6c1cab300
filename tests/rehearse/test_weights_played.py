"""Weights in a recording: judged in line by the air that it holds, as the daemon judges them beside its engine."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from monitor.domain.needs.rules import WEIGHT_OFF
from monitor.rehearse.replay import replay, text_lines
from monitor.rehearse.tape import Timeline
from monitor.settings import load_house
from tests.running import SITE, configure

T0 = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
EVERY = timedelta(minutes=30)
PIECE = timedelta(hours=6)


def on(day: float) -> datetime:
    return T0 + timedelta(days=day)


def air(rh_pct: Callable[[float], float], days: float) -> Iterable[dict[str, Any]]:
    """A probe's messages: 37.5 °C, and the humidity of a day."""
    for seq in range(int(days / (EVERY / timedelta(days=1)))):
        at = T0 + seq * EVERY
        day, way = seq * EVERY / timedelta(days=1), seq * 7919 % 5 - 2  # to and fro, as a live sensor
        about = {"bn": "node-a/", "n": "top/t", "u": "Cel", "v": 37.5 + way * 0.003, "boot": 7, "seq": seq}
        about["up"] = 100 + int(seq * EVERY.total_seconds())
        humid = {"n": "top/rh", "u": "%RH", "v": round(rh_pct(day) + way * 0.02, 3)}
        yield {"at": at, "topic": f"eggroom/{SITE}/node-a/air", "payload": json.dumps([about, humid])}


def weighed(day: float, egg: int, mass_g: float) -> dict[str, Any]:
    fact = {"gross_g": mass_g, "error_g": 0.01}
    about = {"do": "entry", "batch": "hen-1", "by": "ada", "kind": "weighing", "egg": egg, "fact": fact}
    return {"at": on(day)} | about


def played(folder: Path, rh_pct: Callable[[float], float], days: float, *requests: dict[str, Any]) -> Timeline:
    """Three eggs set at T0 in setter-1, in such air, and what a person asks."""
    config = configure(folder, 1, machines=("setter-1",), site={"zone": "UTC"})
    set_ = {"do": "batch-add", "batch": "hen-1", "profile": "chicken", "machine": "setter-1", "eggs": 3}
    rows = [{"at": T0, "set_at": T0.isoformat()} | set_, *air(rh_pct, days), *requests, {"at": on(days), "do": "end"}]
    rows.sort(key=lambda row: row["at"])
    file = folder / "recording.jsonl"
    text = [json.dumps(row | {"at": row["at"].isoformat()}) for row in rows]
    file.write_text("\n".join([json.dumps({"recording": "weights", "site": SITE}), *text]) + "\n")
    return replay(file, load_house(config))


def steps(timeline: Timeline) -> list[tuple[float, str]]:
    """(day, state) of what the alarm of the weights did."""
    return [((t.at - T0) / timedelta(days=1), t.state) for t in timeline.transitions if t.alarm.rule == WEIGHT_OFF]


ON_TRACK = (weighed(0.1, 1, 60.0), weighed(5.0, 1, 58.09))  # 13 % of its mass by the twentieth day


def test_eggs_on_track_ring_nothing(tmp_path: Path) -> None:
    """In air as it was when they were weighed, their loss is judged each day and nobody is told."""
    assert steps(played(tmp_path, lambda day: 50.0, 8.0, *ON_TRACK)) == []


def test_air_that_changes_afterwards_is_told_within_a_day(tmp_path: Path) -> None:
    """The machine dries out after the last weighing: the alarm comes by the next day, and nobody weighs again."""
    timeline = played(tmp_path, lambda day: 50.0 if day < 5.1 else 15.0, 8.0, *ON_TRACK)
    (begun, state), *later = steps(timeline)
    assert 5.1 < begun <= 6.1
    assert state == "unacknowledged"
    assert all(state == "unacknowledged" for _, state in later)
    (notice,) = [n for n in timeline.notices if "weight loss off track" in n.title]
    assert "egg 1: loss by pip" in notice.text


def test_air_that_is_put_right_ends_it_within_a_day(tmp_path: Path) -> None:
    """Too quick a loss until the last weighing; the air is made moister, and the alarm ends without another weighing."""
    fast = (weighed(0.1, 1, 60.0), weighed(5.0, 1, 57.2))
    timeline = played(tmp_path, lambda day: 50.0 if day < 5.1 else 71.0, 8.0, *fast)
    first, (ended, state) = steps(timeline)
    assert first == (5.0, "unacknowledged")
    assert state == "returned to normal, unacknowledged"
    assert 5.1 < ended <= 6.1


def test_the_same_recording_gives_the_same_judgement(tmp_path: Path) -> None:
    """Nothing in it depends on threads or on the day."""
    dry = [list(text_lines(played(tmp_path, lambda day: 50.0 if day < 5.1 else 15.0, 7.0, *ON_TRACK))) for _ in "12"]
    assert dry[0] == dry[1]
    assert any(WEIGHT_OFF in line for line in dry[0])
