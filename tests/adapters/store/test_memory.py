"""What a run remembers, as bytes and back: exactly, or not at all."""

from __future__ import annotations

import json
import logging
import math
import random
import sqlite3
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.store.memory import decode, encode
from monitor.domain.air.psychrometrics import vapour_kpa
from monitor.domain.readings.agreement import Given, Pairs, agree
from monitor.domain.readings.quality import Trail, assess
from monitor.domain.signs.heading import Window
from monitor.domain.signs.opening import Watch, watch
from monitor.domain.state.memory import AlarmMemory, EggFelt, Heard, Held, MachineMemory, Memory, NodeFact, ProbeMemory
from monitor.domain.state.record import Group
from monitor.domain.state.remembering import remember, take_up
from tests.domain.house import Story, batch, there
from tests.ports import at

PROBES = ("node-a/low", "node-a/top", "node-b/top")
INTERVAL_S = 10.0


def lived(seed: int, steps: int) -> Memory:
    """What is remembered after so many rounds of readings of three probes: ripple, noise, openings, spikes, silence, lost humidity."""
    draw = random.Random(seed)
    trails = dict.fromkeys(PROBES, Trail())
    heard: dict[str, Heard] = {}
    held: dict[str, Held] = {}
    given_: dict[str, Given] = {}
    pairs, door, windows = Pairs(), Watch(), (Window(), Window())
    fallen = 0.0
    for step in range(steps):
        mono_s = 500.0 + step * INTERVAL_S + draw.random()
        fallen = draw.uniform(1.0, 6.0) if draw.random() < 0.02 else fallen * 0.9
        for probe in PROBES:
            if draw.random() < 0.05:
                continue
            dry_bulb_c = 37.7 + 0.15 * math.sin(step / 9.0) - fallen + draw.gauss(0.0, 0.02)
            rh_pct: float | None = 52.0 - 4.0 * fallen + draw.gauss(0.0, 0.3)
            dry_bulb_c += draw.choice([0.0] * 60 + [8.0, 47.3])
            if draw.random() < 0.1:
                rh_pct = None
            trails[probe], quality = assess(trails[probe], mono_s, dry_bulb_c, rh_pct, interval_s=INTERVAL_S)
            if quality.held:
                held[probe] = Held(
                    at=at(step * 10.0),
                    dry_bulb_c=dry_bulb_c,
                    line=1,
                    up_ms=step,
                    flag=quality.flag,
                    rh_flag=quality.rh_flag,
                    dry_bulb_held=quality.dry_bulb_held,
                    rh_held=quality.rh_held,
                )
            if not quality.dry_bulb_fit:
                continue
            heard[probe] = Heard(mono_s, at(step * 10.0), dry_bulb_c, rh_pct, None if rh_pct is None else mono_s)
            given_[probe] = (mono_s, dry_bulb_c, rh_pct)
            if rh_pct is not None:
                kpa = float(vapour_kpa(dry_bulb_c, min(max(rh_pct, 0.0), 100.0)))
                door, _ = watch(door, mono_s, dry_bulb_c, kpa, interval_s=INTERVAL_S)
            windows = (windows[0].seen(mono_s, dry_bulb_c), windows[1].seen(mono_s, dry_bulb_c))
        pairs = agree(pairs, mono_s, given_, interval_s=INTERVAL_S).pairs
    probes = tuple(ProbeMemory(p, heard.get(p), mono_s if p in heard else None, trails[p], held.get(p)) for p in PROBES)
    machine = MachineMemory(
        machine="setter-1",
        watch=door,
        windows=windows,
        seen_by=PROBES,
        pairs=tuple((one, other, pair) for (one, other), pair in pairs.pairs.items()),
        lately=tuple(pairs.lately.items()),
        reached=("hen-1", "鳥"),
    )
    return Memory(
        mono_s,
        at(steps * 10.0) + timedelta(microseconds=draw.randrange(1_000_000)),
        draw.random() < 0.5,
        probes,
        (machine, MachineMemory("hatcher-1", None, None, None, (), (), ())),
        (("hen-1", EggFelt(mono_s, 37.2, 37.7)),),
        (AlarmMemory("setter-1", "dry-bulb-low-alarm", 2, False, mono_s, at(5), None, at(9), mono_s + 9.0),),
    )


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 400))
def test_what_was_lived_through_comes_back(seed: int, steps: int) -> None:
    """A memory made by the real parts over any readings comes back equal, to the last bit and the kind of each value."""
    memory = lived(seed, steps)
    back = decode(encode(memory))
    assert back == memory
    assert shape(back) == shape(memory)


def shape(value: object) -> object:
    """The kinds of all that a value holds, but for whole numbers given where any may stand."""
    names = getattr(type(value), "__dataclass_fields__", None)
    if names is not None:
        return type(value), [shape(getattr(value, name)) for name in names]
    if isinstance(value, tuple):
        return type(value), [shape(each) for each in value]
    return "datetime" if hasattr(value, "isoformat") else type(value)


def test_what_a_house_remembers_comes_back() -> None:
    """What a run writes down after two hours of eggs, an opening and a hot spell is what the next run reads, and it takes it up."""
    story = Story(batches=(batch(),), air={"node-a/top": (37.7, 52.0), "node-b/top": (37.6, 60.0)})
    story.run(minutes=90)
    story.air["node-a/top"] = (33.0, 35.0)
    story.run(minutes=2)
    story.air["node-a/top"] = (40.5, 52.0)
    story.run(minutes=1)
    said: dict[str, float | str | bool] = {"battery": 88.0, "count": 1.0, "door": True, "version": "1"}
    facts = {name: NodeFact(name, value, "", story.now().utc, 3) for name, value in said.items()}
    story.state.node("node-a").facts, story.state.node("node-a").clashes = facts, 2
    memory = remember(story.look(), final=True)
    assert [type(fact.value) for fact in memory.nodes[0].facts] == [float, float, bool, str]
    assert memory.eggs
    assert memory.alarms
    assert memory.probes[0].trail is not None
    assert memory.machines[0].watch is not None
    back = decode(encode(memory))
    assert back == memory
    assert [type(fact.value) for fact in there(back).nodes[0].facts] == [float, float, bool, str]
    other = Story(batches=(batch(),), at_s=story.at_s)
    told = story.state.alarms.items()
    other.state.alarms = {k: replace(a, pending_mono_s=None, pending_at=None, asked_mono_s=None) for k, a in told}
    take_up(replace(other.look(), now=story.now()), back)
    assert remember(replace(other.look(), now=story.now()), final=True) == memory


def test_the_real_parts_fill_a_memory() -> None:
    """The property above is about something: trails, an opening, a held reading, full windows and pairs are among its examples."""
    memories = [lived(seed, 400) for seed in range(20)]
    machines = [memory.machines[0] for memory in memories]
    assert all(p.trail is not None and p.trail.dry_bulb is not None for m in memories for p in m.probes)
    assert any(m.watch is not None and m.watch.episode is not None for m in machines)
    assert any(m.watch is not None and m.watch.learnt_s > 300.0 for m in machines)
    assert any(p.held is not None for m in memories for p in m.probes)
    assert all(m.windows is not None and len(m.windows[0].points) > 20 for m in machines)
    assert all(len(m.pairs) == 3 for m in machines)
    assert all(pair.humidity is not None for m in machines for _, _, pair in m.pairs)


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan, -0.0, 5e-324, 1.7976931348623157e308, 0.1 + 0.2])
def test_every_number_comes_back(value: float) -> None:
    """Infinities, NaN, a signed zero and the ends of the range are kept as they are."""
    machine = MachineMemory("m", Watch(newest_s=value), None, None, (), (("p", (1.0, value, None)),), ())
    back = decode(encode(Memory(value, at(0), machines=(machine,))))
    assert back is not None
    assert repr(back.machines) == repr((machine,))
    assert repr(back.mono_s) == repr(value)


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"null",
        b"[]",
        b"\xff\xfe",
        b'[{"mono_s":1.0}]',
        b'[{"mono_s":"x","at":"2026-03-01T06:00:00Z"}]',
        b'[{"mono_s":1.0,"at":"2026-03-01T06:00:00Z","moon":"full"}]',
        b'[{"mono_s":1.0,"at":"2026-03-01T06:00:00Z","' + b"moon" * 30 + b'":"full"}]',
        encode(lived(1, 30))[:-20],
        encode(lived(1, 30)).replace(b'"newest_s"', b'"latest_s"'),
    ],
)
def test_what_is_not_understood_is_dropped(text: bytes, caplog: pytest.LogCaptureFixture) -> None:
    """Another version's memory, or a damaged one, is none, and is said in one line of the log."""
    with caplog.at_level(logging.INFO):
        assert decode(text) is None
    assert [(r.levelname, r.name, "\n" in r.getMessage()) for r in caplog.records] == [
        ("WARNING", "eggroom.store", False)
    ]
    said, _, where = caplog.records[0].getMessage().partition(" at=")
    assert said == f"memory dropped bytes={len(text)}"
    assert 0 < len(where) <= 80
    assert b"moonmoon" not in text or len(where) == 80


def test_a_run_starts_without_the_memory_of_another_version(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A record whose memory is not understood opens, starts a run without it, says so once, and takes a new one."""
    path = tmp_path / "eggroom.db"
    opened = open_writer(path)
    memory = lived(3, 50)
    SqliteLedger(opened.connection).commit(Group(memory=memory))
    (text,) = opened.connection.execute("SELECT json FROM memory").fetchone()
    changed = json.loads(text)
    changed[0]["machines"][0]["tides"] = 3
    opened.connection.execute("UPDATE memory SET json = ?", (json.dumps(changed).encode(),))
    opened.close()
    with caplog.at_level(logging.INFO):
        opened = open_writer(path)
        ledger = SqliteLedger(opened.connection)
        loaded = ledger.load()
    assert opened.damaged is None
    assert loaded.memory is None
    assert len(caplog.records) == 1
    later = replace(memory, mono_s=9.0)
    ledger.commit(Group(memory=later))
    assert ledger.load().memory == later
    opened.close()


def test_a_memory_is_small(tmp_path: Path) -> None:
    """Replaced again and again, the memory is one row, of some kilobytes for a machine of three probes."""
    opened = open_writer(tmp_path / "eggroom.db")
    ledger = SqliteLedger(opened.connection)
    for seed in range(5):
        ledger.commit(Group(memory=lived(seed, 60)))
    rows = opened.connection.execute("SELECT length(json) FROM memory").fetchall()
    opened.close()
    assert len(rows) == 1
    assert rows[0][0] < 20_000


def test_nothing_is_built_before_the_first_memory_comes() -> None:
    """Loading the store's modules does not load pydantic: a start pays for it only when there is something to read."""
    code = "import sys; import monitor.adapters.store.ledger; print('pydantic' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_a_text_that_is_no_utf8_is_no_reason_not_to_start(tmp_path: Path) -> None:
    """A memory that a card has damaged is bytes like any other, and is dropped."""
    path = tmp_path / "eggroom.db"
    open_writer(path).close()
    connection = sqlite3.connect(path)
    connection.execute("INSERT INTO memory VALUES (1, ?)", (b"\xff\x00\xfe",))
    connection.commit()
    connection.close()
    opened = open_writer(path)
    assert opened.damaged is None
    assert SqliteLedger(opened.connection).load().memory is None
    opened.close()
