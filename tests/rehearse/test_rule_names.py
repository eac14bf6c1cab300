"""Nothing hangs on how a rule's name is spelled: with every name another, a recording gives the same timeline but for the names."""

from __future__ import annotations

import json
import math
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.adapters.tables.rules import shipped_rules
from monitor.rehearse.replay import as_json, replay
from monitor.settings import load_house

MONITOR = Path(__file__).parents[2] / "monitor"
T0 = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
HOUSE = """
[site]
id = "x"
[[machine]]
id = "setter-1"
name = "Setter 1"
[[machine]]
id = "hatcher-1"
name = "Hatcher 1"
kind = "hatcher"
[[probe]]
node = "node-a"
probe = "top"
machine = "setter-1"
interval_s = 60
[[probe]]
node = "node-a"
probe = "low"
machine = "setter-1"
interval_s = 60
[[probe]]
node = "node-c"
probe = "top"
machine = "hatcher-1"
interval_s = 60
"""
ADD = {"do": "batch-add", "profile": "chicken", "eggs": 24}
DECIDED = 20  # rules, of which something is heard in the recording


def _recording(hours: int = 46) -> Iterator[dict[str, object]]:
    """A house in which much goes wrong: air that drifts far both ways, sensors apart and failing, silence, work at a machine."""
    chance = random.Random(3)
    yield {"recording": "names", "about": "Invented.", "site": "x"}
    for batch, set_at, machine in (
        ("hen-1", "2026-02-20T06:00:00Z", "setter-1"),
        ("hen-2", "2026-02-11T04:00:00Z", "hatcher-1"),
        ("hen-3", "2026-02-07T06:00:00Z", "setter-1"),
    ):
        yield {"at": T0.isoformat(), **ADD, "batch": batch, "set_at": set_at, "machine": machine}
    for minute in range(1, hours * 60):
        at = (T0 + timedelta(minutes=minute)).isoformat()
        if minute % 700 == 300:
            yield {"at": at, "do": "handling", "machine": "setter-1", "for_s": 1800, "by": "sam"}
        hot_k, humid = 2.2 * math.sin(minute / 240.0), 30.0 * math.sin(minute / 130.0)
        for node, probes in (("node-a", ("top", "low")), ("node-c", ("top",))):
            if minute % 900 > 850 or (node == "node-c" and minute % 500 > 470):
                continue  # nobody speaks, or one node does not
            records: list[dict[str, object]] = [{"bn": f"{node}/", "boot": 7, "seq": minute, "up": minute * 60}]
            for probe in probes:
                apart_k = 2.0 if probe == "low" and 1500 < minute < 1700 else 0.0
                if probe == "low" and minute <= 1500:  # half a kelvin a day and more, until it is put right
                    apart_k = 0.8 * max(0, minute - 200) / 1300.0
                stuck = probe == "low" and 2000 < minute < 2300
                at_c = 37.5 if stuck else 37.6 + hot_k + apart_k + chance.gauss(0.0, 0.03)
                records.append({"n": f"{probe}/t", "u": "Cel", "v": round(at_c, 2)})
                if not 2500 < minute < 2700:
                    rh_pct = 50.0 + humid + chance.gauss(0.0, 0.3)
                    records.append({"n": f"{probe}/rh", "u": "%RH", "v": round(rh_pct, 2)})
            records[0] |= records.pop(1)
            yield {"at": at, "topic": f"eggroom/x/{node}/air", "payload": json.dumps(records)}
    yield {"at": (T0 + timedelta(hours=hours)).isoformat(), "do": "end"}


def _renamed(folder: Path) -> dict[str, str]:
    """A copy of the program in which every rule has a name that says nothing; new name: old name."""
    shutil.copytree(MONITOR, folder / "monitor", ignore=shutil.ignore_patterns("__pycache__"))
    names = {id_: f"r{n}" for n, id_ in enumerate(sorted(shipped_rules(), key=lambda id_: id_[::-1]))}
    data, code = (folder / "monitor" / name for name in ("data/rules.toml", "domain/needs/rules.py"))
    for path, shape in ((data, r'^(\[|foretells = ")([a-z-]+)(\]|")'), (code, r'(")([a-z-]+)(")')):
        text = path.read_text(encoding="utf-8")
        path.write_text(
            re.sub(shape, lambda m: f"{m[1]}{names.get(m[2], m[2])}{m[3]}", text, flags=re.MULTILINE), encoding="utf-8"
        )
    return {new: old for old, new in names.items()}


def test_a_rule_may_be_called_anything(tmp_path: Path) -> None:
    """The same transitions and notices, of the same rules, whatever these are called."""
    house, recording = tmp_path / "house.toml", tmp_path / "names.jsonl"
    house.write_text(HOUSE)
    recording.write_text("".join(json.dumps(line) + "\n" for line in _recording()))
    expected = json.loads(json.dumps(as_json(replay(recording, load_house(house)))))
    heard = {t["rule"] for t in expected["transitions"]}
    assert len(heard) >= DECIDED, sorted(heard)
    old = _renamed(tmp_path)
    command = [sys.executable, "-m", "monitor", "replay", str(recording), "--config", str(house), "--json"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    told = json.loads(done.stdout)
    assert not {t["rule"] for t in told["transitions"]} & set(shipped_rules())
    for transition in told["transitions"]:
        transition["rule"] = old[transition["rule"]]
    assert told == expected
