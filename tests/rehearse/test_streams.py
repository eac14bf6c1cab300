"""The recorded streams tell the stories they claim, in the form that is on the wire; the room behind them obeys."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.rehearse.cabinet import CabinetSpec, ProbeSpec
from monitor.rehearse.room import RING, ActionError, MachineSpec, Message, Room
from monitor.rehearse.streams import BEGIN, STORIES, record, write_all

RECORDED = Path(__file__).parents[2] / "demo_streams"
MAX_BYTES = 400_000
PACK = re.compile(
    r'\[\{"bn":"(?P<node>[a-z0-9-]+)/","n":"(?P<probe>[a-z]+)/t","u":"Cel","v":(?P<t>\d+\.\d\d),'
    r'"boot":(?P<boot>\d+),"seq":(?P<seq>\d+),"up":(?P<up>\d+)\},'
    r'\{"n":"(?P=probe)/rh","u":"%RH","v":(?P<rh>\d+\.\d\d)\}'
    r'(?:,\{"n":"[a-z]+","vb":(?:true|false)\})*\]'
)


@dataclass(frozen=True, slots=True)
class Sample:
    """One message of a stream: when it came and was taken (minutes from the beginning), and what it said."""

    came_min: float
    boot: int
    seq: int
    up: int
    dry_bulb_c: float
    rh_pct: float

    @property
    def wet_bulb_c(self) -> float:
        """At sea level."""
        return wet_bulb_c(self.dry_bulb_c, self.rh_pct, 101.325)


@dataclass(frozen=True, slots=True)
class Told:
    """A stream, read."""

    head: dict[str, Any]
    lines: list[dict[str, Any]]
    air: dict[str, list[Sample]]
    status: dict[str, list[tuple[float, str]]]
    size: int

    def during(self, node: str, from_min: float, to_min: float) -> list[Sample]:
        """The node's samples that came in that time."""
        return [s for s in self.air[node] if from_min <= s.came_min < to_min]


def minutes(at: str) -> float:
    """Minutes from the beginning."""
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", at)
    return (datetime.fromisoformat(at) - BEGIN).total_seconds() / 60.0


@cache
def told(name: str) -> Told:
    """The stream as it is generated now, read strictly."""
    text = list(record(name))
    head, *lines = map(json.loads, text)
    air: dict[str, list[Sample]] = defaultdict(list)
    status: dict[str, list[tuple[float, str]]] = defaultdict(list)
    for line in lines:
        if "topic" not in line:
            continue
        root, site, node, kind = line["topic"].split("/")
        assert (root, site) == ("eggroom", "demo")
        if kind == "status":
            status[node].append((minutes(line["at"]), line["payload"]))
            continue
        assert kind == "air"
        found = PACK.fullmatch(line["payload"])
        assert found is not None, line["payload"]
        assert found["node"] == node
        air[node].append(
            Sample(
                minutes(line["at"]),
                int(found["boot"]),
                int(found["seq"]),
                int(found["up"]),
                float(found["t"]),
                float(found["rh"]),
            )
        )
    return Told(head, lines, dict(air), dict(status), sum(len(line.encode()) + 1 for line in text))


@pytest.mark.parametrize("name", STORIES)
def test_form(name: str) -> None:
    """A stream begins with its name, runs in the order of arrival, ends with `end`, and stays small."""
    stream = told(name)
    assert set(stream.head) == {"recording", "about", "site"}
    assert (stream.head["recording"], stream.head["site"]) == (name, "demo")
    assert "nvented" in stream.head["about"]
    times = [minutes(line["at"]) for line in stream.lines]
    assert times == sorted(times)
    assert stream.lines[-1]["do"] == "end"
    assert all(line.get("do") != "end" for line in stream.lines[:-1])
    assert stream.lines[0]["do"] == "batch-add"
    assert stream.size < MAX_BYTES
    for line in stream.lines:
        assert set(line) == {"at", "topic", "payload"} or "do" in line


@pytest.mark.parametrize("name", STORIES)
def test_numbering_and_dating(name: str) -> None:
    """Of each boot the numbers run from 0 without a gap and `up` rises by the interval; only a silenced node is late."""
    step_s = 120 if name == "calm-day" else 60
    for node, samples in told(name).air.items():
        by_boot: dict[int, list[Sample]] = defaultdict(list)
        for sample in samples:
            by_boot[sample.boot].append(sample)
        for boot, of_boot in by_boot.items():
            assert boot > 0
            assert [s.seq for s in of_boot] == list(range(len(of_boot)))
            assert [s.up for s in of_boot] == [step_s * i for i in range(len(of_boot))]
            waits = [60.0 * s.came_min - s.up for s in of_boot[1:]]  # the first waits for the connection
            start = min(waits)
            # Sent within 0.1 to 0.7 s of the sample, and 0.05 to 0.4 s on the way.
            late = sum(wait - start > 1.0 for wait in waits)
            assert (late > 120) if (name, node) == ("dying-node", "node-b") else (late == 0)


@pytest.mark.parametrize("name", ["calm-day", "power-cut"])
def test_nodes_are_staggered(name: str) -> None:
    """No two nodes take their first samples within a second of each other."""
    firsts = sorted(samples[0].came_min for samples in told(name).air.values())
    assert len(firsts) > 1
    assert all(b - a > 1.0 / 60.0 for a, b in pairwise(firsts))


def test_boots_are_not_shared() -> None:
    """No boot number of a node comes in two streams, so that they can be replayed into one record."""
    seen: set[tuple[str, int]] = set()
    for name in STORIES:
        here = {(node, s.boot) for node, samples in told(name).air.items() for s in samples}
        assert not here & seen
        seen |= here


def test_recorded_files_are_what_the_code_tells(tmp_path: Path) -> None:
    """Writing again gives the bytes in demo_streams, for every stream."""
    write_all(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {
        f"{name}{end}" for name in STORIES for end in (".jsonl", ".toml")
    }
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (RECORDED / path.name).read_bytes(), path.name


def test_calm_day() -> None:
    """For 24 hours both setters stay inside the chicken's warning bands but for a sample or two after each opening."""
    stream = told("calm-day")
    assert minutes(stream.lines[-1]["at"]) == 24 * 60
    for node in ("node-a", "node-b"):
        assert len(stream.air[node]) == 720
        out = [s for s in stream.air[node] if not (37.5 < s.dry_bulb_c < 38.1 and 29.44 < s.wet_bulb_c < 30.56)]
        assert 1 <= len(out) <= 3
        assert out[-1].came_min - out[0].came_min < 6.0
        assert min(s.dry_bulb_c for s in out) < 35.0
        values = {s.dry_bulb_c for s in stream.air[node]}
        assert len(values) > 15  # the thermostat's ripple is there


def test_door_left_open() -> None:
    """The setter is below 30 °C for more than half an hour, and back in its band 45 min after the door is shut."""
    stream = told("door-left-open")
    cold = [s for s in stream.air["node-a"] if s.dry_bulb_c < 30.0]
    assert 30 <= len(cold) <= 50
    assert 45.0 < cold[0].came_min < 48.0
    assert all(37.5 < s.dry_bulb_c < 38.1 for s in stream.during("node-a", 130.0, 240.0))


def test_heater_stuck_on() -> None:
    """Past the high alarm of 38.9 °C within 5 min, over it for 45 and more, highest at 42 to 47, right after airing."""
    stream = told("heater-stuck-on")
    hot = [s for s in stream.air["node-b"] if s.dry_bulb_c > 38.9]
    assert 60.0 < hot[0].came_min < 65.0
    assert 45 <= len(hot) <= 55
    assert 42.0 < max(s.dry_bulb_c for s in hot) < 47.0
    assert all(37.5 < s.dry_bulb_c < 38.1 for s in stream.during("node-b", 130.0, 300.0))
    assert all(20.0 < s.dry_bulb_c < 21.0 for s in stream.air["node-room"])


def test_dry_humidifier_at_lockdown() -> None:
    """From an hour after lockdown until the water comes the wet bulb is too low for lockdown and fit for setting.

    Bands of the chicken profile: lockdown low alarm 30.17 °C, low warning 31.67; setter 29.44 to 30.56.
    """
    stream = told("dry-humidifier-at-lockdown")
    added, moved = (line for line in stream.lines if line.get("do") in ("batch-add", "move"))
    assert (datetime.fromisoformat(added["set_at"]) - BEGIN).total_seconds() / 60.0 == 120.0 - 18 * 24 * 60
    assert (minutes(moved["at"]), moved["machine"]) == (125.0, "hatcher-1")
    waiting = stream.during("node-c", 180.0, 300.0)
    assert len(waiting) == 120
    assert all(29.44 < s.wet_bulb_c < 30.17 for s in waiting)
    assert all(31.67 < s.wet_bulb_c < 34.0 for s in stream.during("node-c", 305.0, 480.0))


def test_dying_node() -> None:
    """Two hours of node-b come late, in their old order and with their old `up`, after a last will and a return."""
    stream = told("dying-node")
    assert stream.during("node-b", 120.5, 240.0) == []
    late = stream.during("node-b", 240.0, 240.5)
    assert len(late) >= 120
    assert late[0].up == 7200
    assert [s.seq for s in late] == list(range(late[0].seq, late[0].seq + len(late)))
    offline, online = stream.status["node-b"][-2:]
    assert offline[1] == "offline"
    assert 45.0 <= (offline[0] - 120.0) * 60.0 <= 50.0
    assert online[1] == "online"
    assert 240.0 < online[0] < late[0].came_min
    assert len(stream.status["node-b"]) > 4  # it had come and gone before
    assert len(stream.during("node-a", 0.0, 360.0)) == 360


def test_power_cut() -> None:
    """Every node falls silent for 35 min and is declared offline; all come back with new boots to cooler machines."""
    stream = told("power-cut")
    assert set(stream.air) == {"node-a", "node-b", "node-c", "node-room"}
    for node, samples in stream.air.items():
        assert stream.during(node, 60.02, 95.0) == []
        assert [word for _, word in stream.status[node]] == ["online", "offline", "online"]
        assert 45.0 <= (stream.status[node][1][0] - 60.0) * 60.0 <= 50.0
        back = stream.during(node, 95.0, 240.0)
        assert (back[0].seq, back[0].up) == (0, 0)
        assert len({s.boot for s in samples}) == 2
        if node != "node-room":
            assert 2.0 < 37.8 - back[0].dry_bulb_c < 6.0
            assert all(37.5 < s.dry_bulb_c < 38.1 for s in stream.during(node, 130.0, 240.0))


# The room itself.

SETTER = MachineSpec(
    "setter-1",
    "setter",
    CabinetSpec(50.0, heater_w=40.0, humidifier_g_h=30.0, eggs=12, age_days=10.0),
    {"node-a/top": ProbeSpec(height=0.5), "node-a/floor": ProbeSpec(height=-0.5, humidity=False)},
)
OTHER = MachineSpec(
    "setter-2", "setter", CabinetSpec(50.0, heater_w=40.0, humidifier_g_h=30.0), {"node-b/top": ProbeSpec()}
)
SHELF = MachineSpec("room", "room", None, {"node-room/shelf": ProbeSpec()})


def all_messages(room: Room, hours: float, step_s: float = 10.0) -> list[Message]:
    """Everything that is delivered in that time."""
    messages: list[Message] = []
    for _ in range(round(hours * 3600.0 / step_s)):
        room.step(step_s)
        messages += room.packs(room.now_s)
    return messages


def records(messages: list[Message], node: str) -> Iterator[tuple[Message, list[dict[str, Any]]]]:
    """A node's packs, decoded."""
    for message in messages:
        if message.topic == f"eggroom/demo/{node}/air":
            yield message, json.loads(message.payload)


def test_a_pack_holds_every_probe_of_its_node() -> None:
    """Two probes make one pack, a probe without a humidity sensor one record, and only the first carries the numbers."""
    messages = all_messages(Room([SETTER, SHELF]), 0.1)
    _, pack = next(records(messages, "node-a"))
    assert [entry["n"] for entry in pack] == ["top/t", "top/rh", "floor/t"]
    assert pack[0]["bn"] == "node-a/"
    assert all(not {"bn", "boot", "seq", "up"} & set(entry) for entry in pack[1:])
    assert [m.payload for m in messages if m.topic.endswith("status")] == ["online", "online"]
    assert all(m.retain == m.topic.endswith("status") for m in messages)


def test_a_script_and_doing_by_hand_are_the_same() -> None:
    """What a script does at 600 s and what is done at 600 s give the same messages."""
    scripted = Room([SETTER], script=[(600.0, "heater_stuck_on", {"machine": "setter-1"})])
    by_hand = Room([SETTER])
    first = all_messages(by_hand, 1 / 6)
    by_hand.do("heater_stuck_on", machine="setter-1")
    assert first + all_messages(by_hand, 0.5) == all_messages(scripted, 1 / 6 + 0.5)


def test_only_what_has_arrived_is_handed_over() -> None:
    """`packs` keeps what is still on its way, and gives each message once."""
    room = Room([SETTER, SHELF], interval_s=10.0)
    room.step(3600.0)
    early = list(room.packs(1800.0))
    assert early
    assert max(m.at_s for m in early) <= 1800.0
    rest = list(room.packs(room.now_s))
    assert min(m.at_s for m in rest) > 1800.0
    assert [m.at_s for m in early + rest] == sorted(m.at_s for m in early + rest)
    assert list(room.packs(room.now_s)) == []


def test_the_step_of_the_room_does_not_matter() -> None:
    """Steps of 0.25 s, 7 s and 10 min give the same messages at the same times, their values within the ripple."""
    runs = [all_messages(Room([SETTER, SHELF]), 0.7, step_s) for step_s in (0.25, 7.0, 630.0)]
    for other in runs[1:]:
        assert [(m.at_s, m.topic) for m in runs[0]] == [(m.at_s, m.topic) for m in other]
        for (_, a), (_, b) in zip(records(runs[0], "node-a"), records(other, "node-a"), strict=True):
            assert a[0]["v"] == pytest.approx(b[0]["v"], abs=0.4)
            assert (a[0]["seq"], a[0]["up"]) == (b[0]["seq"], b[0]["up"])
    with pytest.raises(ValueError, match=r"dt_s -1\.0, expected 0 or more"):
        Room([SETTER]).step(-1.0)


def test_a_short_silence_is_only_a_delay() -> None:
    """A link gone for half a minute brings no last will; what was kept comes at once, then the rest as before."""
    room = Room([SETTER], interval_s=10.0)
    before = all_messages(room, 0.1)
    room.do("node_silent", node="node-a")
    during = all_messages(room, 30.0 / 3600.0)
    room.do("node_back", node="node-a")
    after = all_messages(room, 0.1)
    assert len(list(records(during, "node-a"))) <= 1  # one may have been on its way
    assert not [m for m in during + after if m.topic.endswith("status")]
    seqs = [pack[0]["seq"] for _, pack in records(before + during + after, "node-a")]
    assert seqs == list(range(len(seqs)))
    assert after[1].at_s - after[0].at_s < 1.0


def test_a_node_keeps_no_more_than_its_ring() -> None:
    """After a silence longer than the ring the newest samples come, and the oldest are gone."""
    room = Room([SHELF], interval_s=10.0)
    room.step(60.0)
    room.do("node_silent", node="node-room")
    room.step(10.0 * (RING + 100))
    list(room.packs(room.now_s))
    room.do("node_back", node="node-room")
    room.step(60.0)
    seqs = [pack[0]["seq"] for _, pack in records(list(room.packs(room.now_s)), "node-room")]
    assert RING <= len(seqs) <= RING + 7
    assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
    assert seqs[0] > 90


def test_a_power_cut_too_short_to_be_missed_still_shows() -> None:
    """Nodes that start again within their keep-alive take over their connection: offline, online, and a new boot."""
    room = Room([SETTER], interval_s=10.0)
    before = all_messages(room, 0.1)
    room.do("power_cut")
    room.step(20.0)
    room.do("power_back")
    after = list(room.packs(room.now_s)) + all_messages(room, 0.1)
    assert [m.payload for m in after if m.topic.endswith("status")] == ["offline", "online"]
    boots = {pack[0]["boot"] for _, pack in records(before + after, "node-a")}
    assert len(boots) == 2


def test_without_power_nothing_comes_back() -> None:
    """A node cannot return before the power does."""
    room = Room([SHELF])
    room.step(60.0)
    room.do("power_cut")
    room.step(60.0)
    list(room.packs(room.now_s))
    room.do("node_back", node="node-room")
    room.step(600.0)
    assert list(room.packs(room.now_s)) == []


def test_probe_faults_reach_the_wire() -> None:
    """A silent probe is reported as absent beside its healthy neighbour; a stuck one repeats itself; repair ends it."""
    room = Room([SETTER])
    all_messages(room, 0.1)
    room.do("probe_silent", probe="node-a/top")
    room.do("probe_stuck", probe="node-a/floor")
    packs = [pack for _, pack in records(all_messages(room, 0.1), "node-a")][1:]
    assert {(pack[0]["n"], pack[0]["vs"]) for pack in packs} == {("top/fault", "absent")}
    assert all("seq" in pack[0] and "up" in pack[0] for pack in packs)
    assert len({pack[1]["v"] for pack in packs}) == 1
    for probe in ("node-a/top", "node-a/floor"):
        room.do("probe_ok", probe=probe)
    room.do("probe_spike", probe="node-a/top", k=5.0)
    room.do("probe_drift", probe="node-a/floor", k_h=60.0)
    healed = [pack for _, pack in records(all_messages(room, 0.1), "node-a")]
    tops = [pack[0]["v"] for pack in healed if pack[0]["n"] == "top/t"]
    assert sum(v > 41.0 for v in tops) == 1
    assert healed[-1][2]["v"] - healed[1][2]["v"] > 3.0


def test_the_room_warms_as_it_is_told() -> None:
    """Half way through a ramp the room is half way; its probe follows."""
    room = Room([SHELF], dry_bulb_c=20.0)
    room.do("room_temperature", dry_bulb_c=30.0, over_s=3600.0)
    room.step(1800.0)
    assert room.air.dry_bulb_c == pytest.approx(25.0)
    room.step(7200.0)
    assert room.air.dry_bulb_c == 30.0
    *_, (_, pack) = records(list(room.packs(room.now_s)), "node-room")
    assert pack[0]["v"] == pytest.approx(30.0, abs=0.1)


def test_eggs_move_with_their_warmth_and_age() -> None:
    """The target has the source's eggs as they were; the source is empty."""
    room = Room([SETTER, OTHER])
    room.step(3600.0)
    source, target = room.cabinets["setter-1"], room.cabinets["setter-2"]
    egg_c, age_days = source.egg_c, source.age_days
    room.do("move_eggs", source="setter-1", target="setter-2")
    assert (target.eggs, target.egg_c, target.age_days) == (12, egg_c, age_days)
    assert source.eggs == 0


@pytest.mark.parametrize(
    ("action", "switch", "position"),
    [
        ("heater_stuck_on", "heater", "stuck_on"),
        ("heater_dead", "heater", "dead"),
        ("fan_dead", "fan_on", False),
        ("door_open", "door_open", True),
        ("water_dry", "water_share", 0.0),
        ("water_overfilled", "overfilled", True),
        ("machine_off", "powered", False),
    ],
)
def test_actions_turn_switches(action: str, switch: str, position: object) -> None:
    """An action sets its switch, and its opposite sets it back."""
    room = Room([SETTER])
    cabinet = room.cabinets["setter-1"]
    usual = getattr(cabinet, switch)
    room.do(action, machine="setter-1")
    assert getattr(cabinet, switch) == position != usual
    opposites = {"heater": "heater_ok", "fan_on": "fan_ok", "door_open": "door_close", "powered": "machine_on"}
    opposite = opposites.get(switch, "water_ok")
    room.do(opposite, machine="setter-1")
    assert getattr(cabinet, switch) == usual


def test_set_points_can_be_turned() -> None:
    """Set points given to the room are those of the cabinet."""
    room = Room([SETTER])
    room.do("humidity_setpoint", machine="setter-1", rh_pct=70.0)
    room.do("dry_bulb_setpoint", machine="setter-1", dry_bulb_c=37.2)
    room.do("water_low", machine="setter-1", share=0.2)
    room.do("thermostat_drift", machine="setter-1", k_h=0.5)
    room.do("brown_out", machine="setter-1", share=0.6)
    room.do("side_warm", machine="setter-1", k=2.0)
    cabinet = room.cabinets["setter-1"]
    assert (cabinet.rh_set_pct, cabinet.dry_bulb_set_c, cabinet.water_share) == (70.0, 37.2, 0.2)
    assert (cabinet.drift_k_h, cabinet.volts_share, cabinet.side_k) == (0.5, 0.6, 2.0)


def test_probes_can_be_made_wrong_and_eggs_new() -> None:
    """What a probe is told to do reaches it; new eggs are as many, of that age, and as warm as the air."""
    room = Room([SETTER])
    room.do("probe_off", probe="node-a/top", k=1.0)
    room.do("probe_noise", probe="node-a/top", times=2.0)
    room.do("probe_says", probe="node-a/top", dry_bulb_c=85.0)
    probe, cabinet = room.probes["node-a/top"], room.cabinets["setter-1"]
    assert (probe.off_k, probe.noise_times, probe.says_c) == (1.0, 2.0, 85.0)
    room.step(3600.0)
    before = (cabinet.eggs, cabinet.egg_mass_g, cabinet.air_c)
    room.do("new_eggs", machine="setter-1", age_days=0.5)
    assert (cabinet.eggs, cabinet.egg_mass_g, cabinet.egg_c, cabinet.age_days) == (*before, 0.5)


@pytest.mark.parametrize(
    ("action", "args", "said"),
    [
        ("explode", {}, "action 'explode', expected one that a room can do"),
        ("door_open", {"machine": "setter-9"}, "machine with a cabinet 'setter-9', expected one of setter-1"),
        ("door_open", {"machine": "room"}, "machine with a cabinet 'room', expected one of setter-1"),
        ("door_open", {"machine": "setter-1", "wide": True}, "door_open: given machine, wide, expected (machine)"),
        ("door_open", {}, "door_open: given nothing, expected (machine)"),
        ("node_silent", {"node": "node-z"}, "node 'node-z', expected one of node-a, node-room"),
        ("probe_stuck", {"probe": "top"}, "probe 'top', expected one of node-a/top, node-a/floor, node-room/shelf"),
    ],
)
def test_what_a_room_cannot_do_is_said_in_one_line(action: str, args: dict[str, Any], said: str) -> None:
    """A wrong action, name or argument is refused with what came and what was expected."""
    with pytest.raises(ActionError, match=f"^{re.escape(said)}"):
        Room([SETTER, SHELF]).do(action, **args)
