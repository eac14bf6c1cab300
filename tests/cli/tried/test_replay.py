"""`eggroom replay`, alone and under other rules."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from monitor.rehearse.preview import preview
from monitor.settings import load_house
from tests.cli.commands import Capture, ok, told
from tests.running import ROOT, configure, typed


def test_replay(capsys: Capture) -> None:
    """`replay` prints the timeline of a recording, the same each time, as text or JSON."""
    config = ROOT / "demo_streams" / "power-cut.toml"
    file = str(ROOT / "demo_streams" / "power-cut.jsonl")
    assert ok(capsys, "replay", file, config=config) == (ROOT / "demo_streams" / "power-cut.timeline").read_text()
    assert told(capsys, "replay", file, config=config).keys() == {
        "about",
        "readings",
        "refused",
        "transitions",
        "notices",
    }


def test_several_recordings(capsys: Capture, tmp_path: Path) -> None:
    """Several recordings are played in one call and told in the order in which they were given, each as it is told alone."""
    config = ROOT / "demo_streams" / "power-cut.toml"
    files = [str(ROOT / "demo_streams" / f"{name}.jsonl") for name in ("power-cut", "calm-day", "power-cut")]
    alone = [ok(capsys, "replay", file, config=config) for file in files]
    assert alone[0] != alone[1]
    expected = "\n".join(f"# {file}\n{text}" for file, text in zip(files, alone, strict=True))
    assert ok(capsys, "replay", *files, config=config) == expected
    assert told(capsys, "replay", *files, config=config) == [told(capsys, "replay", f, config=config) for f in files]
    code, out, err = typed(capsys, "replay", files[0], str(tmp_path / "none.jsonl"), config=config)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "none.jsonl: No such file" in err


def test_several_recordings_under_bad_rules(capsys: Capture, tmp_path: Path) -> None:
    """Each complaint about the rules is one line, as with one recording."""
    config = ROOT / "demo_streams" / "power-cut.toml"
    file = str(ROOT / "demo_streams" / "power-cut.jsonl")
    rules = tmp_path / "rules.toml"
    rules.write_text("[rules.all-silent]\non_delay_s = 'long'\n")
    alone = typed(capsys, "replay", file, "--rules", str(rules), config=config)
    assert alone[0] == 2
    assert typed(capsys, "replay", file, file, "--rules", str(rules), config=config) == alone


def test_both_sides_of_a_preview_are_played_beside_each_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no request names an alarm the two replays do not wait for each other, and the comparison is the one they give in turn."""
    house, file = load_house(ROOT / "demo_streams" / "power-cut.toml"), ROOT / "demo_streams" / "power-cut.jsonl"
    rules = tmp_path / "rules.toml"
    rules.write_text("[rules.all-silent]\non_delay_s = 86400\n")
    beside = preview(file, house, rules)
    monkeypatch.setattr("monitor.rehearse.preview._may_name_alarms", lambda recording: True)
    assert preview(file, house, rules) == beside


def test_previews_of_several_recordings_start_no_more_processes(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Several recordings have a core each already: none of them starts a process of its own, and each is told as it is alone."""
    config = ROOT / "demo_streams" / "power-cut.toml"
    file = str(ROOT / "demo_streams" / "power-cut.jsonl")
    rules = tmp_path / "rules.toml"
    rules.write_text("[rules.all-silent]\non_delay_s = 86400\n")
    alone = ok(capsys, "replay", file, "--rules", str(rules), config=config)

    class Threads(ThreadPoolExecutor):
        """In the place of processes, so that what is patched is met in them too."""

    monkeypatch.setattr("monitor.cli.tried.replay.ProcessPoolExecutor", Threads)
    monkeypatch.setattr("monitor.rehearse.preview.ProcessPoolExecutor", lambda workers: pytest.fail("one more process"))
    together = ok(capsys, "replay", file, file, "--rules", str(rules), config=config)
    assert together == f"# {file}\n{alone}\n# {file}\n{alone}"


def test_replay_under_other_rules(capsys: Capture, tmp_path: Path) -> None:
    """`replay --rules` sets what would have rung against what rang, as text within 80 columns or JSON; a bad file is one line, exit 2."""
    config = ROOT / "demo_streams" / "power-cut.toml"
    file = str(ROOT / "demo_streams" / "power-cut.jsonl")
    rules = tmp_path / "rules.toml"
    rules.write_text("[rules.all-silent]\non_delay_s = 86400\n")
    text = ok(capsys, "replay", file, "--rules", str(rules), config=config)
    assert max(map(len, text.splitlines())) <= 80
    assert text.splitlines()[-1].startswith("With the new rules 1 alarm would not have rung")
    plain = told(capsys, "replay", file, "--rules", str(rules), config=config)
    assert plain.keys() == {"span_s", "episodes", "old", "new", "words"}
    assert plain["words"] == text.splitlines()[-1]
    rules.write_text("[rules.all-silent]\non_delay_s = 'long'\n")
    code, out, err = typed(capsys, "replay", file, "--rules", str(rules), config=config)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "rules.toml: rules.all-silent.on_delay_s: 'long', expected a number from 0 to 604800" in err


def test_replay_reads_nodes_of_other_makes(capsys: Capture, tmp_path: Path) -> None:
    """A recording is decoded as live messages are, by the configuration's [[payload]] rules too."""
    rule = '[[payload]]\ntopic = "shed/+/climate"\nnode = "{2}"\nprobe = "top"\ndry_bulb = "/t"\nunit = "F"\n'
    config = configure(tmp_path, 1, more=rule)
    lines: list[dict[str, Any]] = [{"recording": "x", "site": "elsewhere"}]
    lines += [
        {"at": f"2026-03-01T06:00:{s}Z", "topic": "shed/node-a/climate", "payload": '{"t":99.5}'} for s in (10, 20)
    ]
    lines += [{"at": "2026-03-01T06:01:00Z", "topic": "eggroom/elsewhere/node-a/status", "payload": "\ud800"}]
    recording = tmp_path / "r.jsonl"
    recording.write_text("".join(json.dumps(line) + "\n" for line in lines))
    timeline = told(capsys, "replay", str(recording), config=config)
    assert (timeline["readings"], timeline["refused"]) == (2, 1)


def test_a_slip_of_years_in_a_recording(capsys: Capture, tmp_path: Path, config: Path) -> None:
    """A time years after the line above is a mistake of the recording, exit 2, and not hours of silence to play."""
    recording = tmp_path / "r.jsonl"
    recording.write_text(
        '{"recording":"x"}\n{"at":"2026-03-01T06:00:00Z","do":"room"}\n{"at":"2062-03-01T06:00:00Z","do":"end"}\n'
    )
    code, _, err = typed(capsys, "replay", str(recording), config=config)
    assert code == 2
    assert "line 3: at 2062-03-01T06:00:00Z, expected within 120 days" in err
