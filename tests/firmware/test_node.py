"""The node's decisions, with a clock that is moved and a client that keeps a list."""

from __future__ import annotations

import json
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import pytest

from tests.firmware.port import WARM_AND_DAMP, firmware

node_module = firmware("node")
drivers = firmware("drivers")
settings_module = firmware("settings")

BOOT = 91


class FakeClient:
    """Stands where mqtt.Client stands; while `up`, every message gets its receipt at once."""

    def __init__(self, room: Room, will: tuple[str, str], on_message: Any, idle: Any) -> None:
        self.room, self.will, self.on_message, self.idle = room, will, on_message, idle
        self.up = True
        self.connected = False
        self.topics: list[str] = []
        self.sent: list[tuple[int, str, bytes, bool]] = []

    def connect(self) -> bool:
        self.connected = self.up
        self.topics.clear()
        return self.up

    def subscribe(self, topic: str) -> bool:
        self.topics.append(topic)
        return True

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> bool:
        self.room.pass_ms(5)
        self.idle()
        if not self.up:
            self.connected = False
            return False
        self.sent.append((self.room.now_ms, topic, payload, retain))
        return True

    def serve(self, wait_ms: int) -> bool:
        self.room.pass_ms(wait_ms)
        self.connected = self.up
        return self.up


class Room:
    """A node with one scripted probe, its clock and its client."""

    def __init__(self, ticks_ms: int = 0, **settings: Any) -> None:
        self.now_ms = 0
        self._ticks_start = ticks_ms
        self.epoch_ms: int | None = None  # Unix time at the node's start, when it has a clock
        self.linked = True
        self.buzzer: list[tuple[int, bool]] = []
        self.fed = 0
        self.facts: list[tuple[str, str, int]] = []
        self.contacts: dict[str, int] = dict.fromkeys((each[0] for each in settings.get("SWITCHES", ())), 0)
        example = {name: value for name, value in vars(settings_module).items() if name.isupper()}
        self.settings = SimpleNamespace(**(example | {"SITE": "barn", "PROBES": WARM_AND_DAMP} | settings))
        uptime = node_module.Uptime(
            lambda: (self._ticks_start + self.now_ms) % 2**30,
            lambda new, old: (new - old + 2**29) % 2**30 - 2**29,
        )
        self.node = node_module.Node(
            self.settings,
            [drivers.ScriptedSensor(where) for _, _, where in self.settings.PROBES],
            self._make_client,
            uptime=uptime,
            boot=BOOT,
            buzzer=lambda on: self.buzzer.append((self.now_ms, on)),
            link=lambda: self.linked,
            unix_s=lambda: None if self.epoch_ms is None else (self.epoch_ms + self.now_ms) // 1000,
            feed=self._feed,
            jitter_ms=lambda limit: limit,  # the longest jitter
            sleep_ms=self.pass_ms,
            switches=[(name, lambda name=name: self.contacts[name]) for name, _, _ in self.settings.SWITCHES],
            facts=lambda: tuple(self.facts),
        )

    def _make_client(self, will: tuple[str, str], on_message: Any, idle: Any) -> FakeClient:
        self.client = FakeClient(self, will, on_message, idle)
        return self.client

    def _feed(self) -> None:
        self.fed += 1

    def pass_ms(self, ms: int) -> None:
        self.now_ms += ms

    def run(self, seconds: float) -> None:
        end_ms = self.now_ms + int(seconds * 1000)
        while self.now_ms < end_ms:
            self.node.step()
            self.now_ms += 1

    def airs(self) -> list[tuple[int, dict[str, Any]]]:
        """What went out on the air topic: (when in ms, first record)."""
        mine = f"{self.settings.ROOT}/{self.settings.SITE}/{self.settings.NODE}/air"
        return [(at, json.loads(payload)[0]) for at, topic, payload, _ in self.client.sent if topic == mine]

    def seqs(self) -> list[int]:
        return [record["seq"] for _, record in self.airs()]

    def hear(self, topic: str, payload: bytes, retained: bool = False) -> None:
        self.client.on_message(f"eggroom/barn/{topic}", payload, retained)

    def stored(self, seq: int, boot: int = BOOT) -> None:
        self.hear("node-a/stored", json.dumps({"boot": boot, "seq": seq}).encode())


def test_a_sample_each_interval_numbered_from_0() -> None:
    """A sample goes out every 10 s, numbered from 0, each with the uptime of its own instant."""
    room = Room()
    room.run(35)
    assert [(record["boot"], record["seq"], record["up"]) for _, record in room.airs()] == [
        (BOOT, seq, 10 * seq) for seq in range(4)
    ]


def test_birth_comes_first_and_the_will_matches() -> None:
    """On joining, the node listens to both topics and says online, retained; its will says offline there."""
    room = Room()
    room.run(1)
    assert room.client.topics == ["eggroom/barn/node-a/stored", "eggroom/barn/service/alive"]
    assert room.client.sent[0][1:] == ("eggroom/barn/node-a/status", b"online", True)
    assert room.client.will == ("eggroom/barn/node-a/status", "offline")
    assert [retain for _, topic, _, retain in room.client.sent if topic.endswith("/air")] == [False]


def test_uptime_goes_on_over_the_wrap_of_the_tick_counter() -> None:
    """A node whose tick counter wraps after 15 s goes on sampling, and `up` goes on rising."""
    room = Room(ticks_ms=2**30 - 15000)
    room.run(35)
    assert [record["up"] for _, record in room.airs()] == [0, 10, 20, 30]


def test_uptime_over_forty_days() -> None:
    """Over forty days, three wraps, not a millisecond is lost."""
    ticks = 2**30 - 1
    uptime = node_module.Uptime(lambda: ticks % 2**30, lambda new, old: (new - old + 2**29) % 2**30 - 2**29)
    for hour in range(1, 961):
        ticks += 3600000
        assert uptime.ms() == hour * 3600000


def test_stored_is_forgotten_and_never_sent_again() -> None:
    """What is stored leaves the ring; what is above it is sent again, oldest first, after 30 s or more."""
    room = Room()
    room.run(35)
    assert room.seqs() == [0, 1, 2, 3]
    room.stored(1)
    assert room.node.ring.first == 2
    room.run(30)
    assert room.seqs() == [0, 1, 2, 3, 4, 5, 6]
    room.run(9)
    again = room.seqs()[7:]
    assert again[:6] == [7, 2, 3, 4, 5, 6]
    assert not {0, 1} & set(again)


def test_a_message_keeps_its_uptime_however_often_it_is_sent() -> None:
    """The same seq always carries the same `up`, and the same bytes."""
    room = Room()
    room.run(200)
    by_seq: dict[int, set[bytes]] = {}
    for _, topic, payload, _ in room.client.sent:
        if topic.endswith("/air"):
            by_seq.setdefault(json.loads(payload)[0]["seq"], set()).add(payload)
    assert all(len(payloads) == 1 for payloads in by_seq.values())
    assert room.seqs().count(0) >= 3


def test_waits_for_the_service_grow_and_are_cut_short_when_it_is_back() -> None:
    """Unstored messages come again after growing waits; the service's first sign of life ends the wait."""
    room = Room(INTERVAL_MS=60000)
    room.run(3600)
    sent = [at for at, record in room.airs() if record["seq"] == 0]
    waits = [(later - earlier) // 1000 for earlier, later in pairwise(sent)]
    assert waits == [37, 75, 150, 300, 600, 1200]  # 30 s and a quarter of jitter, doubled each time
    room.hear("service/alive", b"1")
    before = room.seqs().count(0)
    room.run(8)
    assert room.seqs().count(0) == before + 1


def test_the_wait_for_the_service_to_the_millisecond() -> None:
    """With nothing stored and samples quicker than the wait, the oldest comes again when wait and jitter are over: not a ms before, and at the node's next look."""
    room = Room(RESEND_MS=1100, RESEND_MAX_MS=1100, INTERVAL_MS=400)
    room.run(10)
    sent = [at for at, record in room.airs() if record["seq"] == 0]
    waits = [later - earlier for earlier, later in pairwise(sent)]
    assert len(waits) >= 5
    assert min(waits) >= 1100 + 275
    assert max(waits) <= 1100 + 275 + 50 + 5  # it looks each 50 ms, and a message on its way takes 5 here


def test_a_slow_rhythm_is_not_sent_twice() -> None:
    """With a minute between samples, each stored 5 s after it was sent, nothing is sent a second time."""
    room = Room(INTERVAL_MS=60000)
    for _ in range(10):
        room.run(5)
        room.stored(room.node.ring.next - 1)
        room.run(54.9)
    assert room.seqs() == list(range(10))


def test_a_reconnect_sends_all_that_is_not_stored_oldest_first() -> None:
    """After an outage all that is not stored goes out at once, in order, what was sent before it too."""
    room = Room(RESEND_MS=10**6)
    room.run(15)
    room.stored(0)
    room.client.up = False
    room.run(60)
    room.client.up = True
    room.run(45)
    later = [(record["seq"], record["up"]) for at, record in room.airs() if at > 75000]
    assert later[:8] == [(seq, 10 * seq) for seq in range(1, 9)]


def test_a_full_ring_drops_the_oldest() -> None:
    """After an outage longer than the ring its newest samples go out, and the ring has counted the others."""
    room = Room(RING=4)
    room.run(1)
    room.client.up = False
    room.run(100)
    room.client.up = True
    before = len(room.airs())
    while len(room.airs()) < before + 4:
        room.run(0.01)
    dropped = room.node.ring.dropped
    assert dropped >= 7
    assert room.seqs()[before:] == [dropped, dropped + 1, dropped + 2, dropped + 3]


def test_twelve_hours_without_a_broker_are_kept() -> None:
    """Nearly as many samples as twelve hours at 10 s hold (taken at 1 s here): each comes afterwards, oldest first, with the time it was taken."""
    room = Room(INTERVAL_MS=1000)
    room.client.up = False
    room.run(4239.5)
    kept = len(room.node.ring)
    assert (kept, room.node.ring.dropped) == (4240, 0)
    room.client.up = True
    before, sent = len(room.airs()), len(room.client.sent)
    while len(room.client.sent) < sent + 1 + kept:  # that it is online is one of them
        room.node.step()
    assert [(r["seq"], r["up"]) for _, r in room.airs()[before : before + kept]] == [(n, n) for n in range(kept)]


def test_what_it_says_of_itself_goes_with_one_sample_in_ten_minutes() -> None:
    """With the sample that is due then, as often as that is sent; nothing of a board that cannot say."""
    room = Room(RESEND_MS=10**7)
    room.facts = [("signal", "dBm", -61000), ("battery", "V", 3912)]
    room.run(1225)
    packs = [json.loads(payload) for _, topic, payload, _ in room.client.sent if topic.endswith("/air")]
    said = {pack[0]["seq"]: pack[-2:] for pack in packs if len(pack) > 2}
    assert said == {
        seq: [{"n": "signal", "u": "dBm", "v": -61}, {"n": "battery", "u": "V", "v": 3.912}] for seq in (0, 60, 120)
    }


def test_the_console_says_that_nothing_is_stored(capsys: pytest.CaptureFixture[str]) -> None:
    """After three minutes, and again each ten: whether eggroom is there and does not want it, or has not been heard at its site."""
    room = Room()
    room.run(179)
    assert "nothing stored" not in capsys.readouterr().out
    room.run(602)
    told = [line for line in capsys.readouterr().out.splitlines() if "buzzer" not in line]
    assert told == [
        "nothing stored for 180 s",
        '  no word of eggroom at site "barn": does it run, and is its id under [site] that?',
        "nothing stored for 780 s",
        '  no word of eggroom at site "barn": does it run, and is its id under [site] that?',
    ]
    for count in range(70):
        room.hear("service/alive", str(count).encode())
        room.run(10)
    told = [line for line in capsys.readouterr().out.splitlines() if "buzzer" not in line]
    assert told == [
        "nothing stored for 1380 s",
        "  eggroom is there: `eggroom health` and `eggroom refused` say what is wrong with it",
    ]
    room.stored(room.node.ring.next - 1)
    room.run(170)
    assert "nothing stored" not in capsys.readouterr().out


def test_the_console_is_quiet_where_all_is_stored(capsys: pytest.CaptureFixture[str]) -> None:
    """Each sample within its time, however seldom they come."""
    room = Room(INTERVAL_MS=600000)
    for count in range(6):
        room.hear("service/alive", str(count).encode())
        room.run(2)
        room.stored(room.node.ring.next - 1)
        room.run(598)
    assert "nothing stored" not in capsys.readouterr().out


@pytest.mark.parametrize(
    "payload",
    [b"", b"{", b"[]", b"7", b"null", b'{"boot":91}', b'{"boot":90,"seq":1}', b'{"boot":91,"seq":3}',
     b'{"boot":91,"seq":-1}', b'{"boot":91,"seq":"1"}', b'{"boot":91,"seq":1.0}', b'{"boot":91,"seq":true}',
     b'{"boot":91,"seq":null}', b'{"boot":91,"seq":99999999999999999999}', b"\xff\xfe"],
)  # fmt: skip
def test_nonsense_on_stored_forgets_nothing(payload: bytes) -> None:
    """Another boot, a number not yet sent, or what is not the agreed JSON leaves the ring as it was."""
    room = Room()
    room.run(25)
    room.hear("node-a/stored", payload)
    assert (room.node.ring.first, room.node.ring.next) == (0, 3)


def test_stored_never_goes_back() -> None:
    """An older `stored` after a newer one changes nothing."""
    room = Room()
    room.run(25)
    room.stored(1)
    room.stored(0)
    assert room.node.ring.first == 2


def test_the_buzzer_sounds_after_180_s_without_a_sign_of_life() -> None:
    """A counter that moves keeps it silent; at 180 s of standing still it sounds; moving again stops it."""
    room = Room()
    for count in range(30):
        room.hear("service/alive", str(count).encode())
        room.run(10)
    assert room.buzzer == []
    last_moved = room.now_ms - 10000
    for _ in range(20):
        room.hear("service/alive", b"29")
        room.run(10)
    ((at, on),) = room.buzzer
    assert on
    assert 180000 <= at - last_moved <= 181000
    room.hear("service/alive", b"30")
    room.run(1)
    assert [on for _, on in room.buzzer] == [True, False]


@pytest.mark.parametrize(("payload", "retained"), [(b"5", True), (b"offline", False), (b"", False), (b"\xff", False)])
def test_what_is_no_sign_of_life(payload: bytes, retained: bool) -> None:
    """A retained counter, a last will or noise does not put the buzzer off."""
    room = Room()
    room.run(170)
    room.hear("service/alive", payload, retained)
    room.run(11)
    assert [on for _, on in room.buzzer] == [True]


def test_the_buzzer_sounds_without_any_network() -> None:
    """A node that never found its network sounds the buzzer after 180 s, and has gone on measuring."""
    room = Room()
    room.linked = False
    room.run(181)
    assert [on for _, on in room.buzzer] == [True]
    assert room.node.ring.next == 19
    assert room.client.sent == []


def test_waits_before_connecting_again_grow() -> None:
    """Attempts to connect come after 1, 2, 4 s and so on, with jitter, and never more than 60 s apart."""
    room = Room()
    room.client.up = False
    tried: list[int] = []
    room.client.connect = lambda: bool(tried.append(room.now_ms))  # type: ignore[method-assign,func-returns-value]
    room.run(300)
    waits = [(later - earlier) / 1000 for earlier, later in pairwise(tried)]
    assert waits[:5] == pytest.approx([2, 4, 8, 16, 32], abs=0.2)
    assert waits[5:] == pytest.approx([60] * len(waits[5:]), abs=0.2)


def test_a_clock_gives_the_time_of_the_sample_not_of_the_sending() -> None:
    """With a clock `bt` is the Unix time of the sample, when sent again too; without one it is left out."""
    room = Room()
    room.run(5)
    assert "bt" not in room.airs()[0][1]
    room.epoch_ms = 1800000000700  # its seconds turn at another instant than ours
    room.run(100)
    times = [(record["seq"], record["bt"]) for _, record in room.airs() if "bt" in record]
    assert [seq for seq, _ in times].count(0) == 1
    assert {unix_s - 10 * seq for seq, unix_s in times} in ({1800000000}, {1800000001})


def test_a_clock_that_is_put_right_moves_the_times() -> None:
    """When the clock is corrected by more than rounding, later messages carry the corrected time."""
    room = Room()
    room.epoch_ms = 1000000
    room.run(5)
    room.epoch_ms = 1800000000000
    room.run(6)
    assert [record["bt"] for _, record in room.airs()] == [1000, 1800000010]


def test_faults_take_the_place_of_values() -> None:
    """A failed read leaves the value out and tells the fault; a temperature that is sound stays."""
    probes = (
        ("top", "scripted", ((None, None, "crc"), (37500, None, "range"))),
        ("egg", "scripted", ((37562, None, None),)),
    )
    room = Room(PROBES=probes)
    room.run(11)
    packs = [json.loads(payload) for _, topic, payload, _ in room.client.sent if topic.endswith("/air")]
    told = [[(record["n"], record.get("v", record.get("vs"))) for record in pack] for pack in packs]
    assert told == [
        [("top/fault", "crc"), ("egg/t", 37.562)],
        [("top/t", 37.5), ("top/fault", "range"), ("egg/t", 37.562)],
    ]


def test_a_switch_that_turned_is_told_at_once_and_one_that_bounces_once() -> None:
    """What it says goes with every sample; once it has turned, and stayed so for 50 ms, a sample goes out before its time."""
    room = Room(SWITCHES=(("door", 32, 1),))
    room.run(3)
    for level in (1, 0, 1):
        room.contacts["door"] = level
        room.run(0.02)
    room.run(9)
    packs = [json.loads(payload) for _, topic, payload, _ in room.client.sent if topic.endswith("/air")]
    assert [(pack[0]["up"], pack[-1]) for pack in packs] == [
        (0, {"n": "door", "vb": False}),
        (3, {"n": "door", "vb": True}),
        (10, {"n": "door", "vb": True}),
    ]


def test_a_switch_that_chatters_does_not_crowd_out_the_air() -> None:
    """At most one message a second, however often it turns."""
    room = Room(SWITCHES=(("door", 32, 1),))
    for _ in range(50):
        room.contacts["door"] = 1 - room.contacts["door"]
        room.run(0.2)
    assert 2 < len(room.airs()) <= 11


def test_the_watchdog_is_fed_while_the_client_waits() -> None:
    """The client's idle call feeds the watchdog and takes the sample that falls due meanwhile."""
    room = Room()
    room.run(1)
    fed, taken = room.fed, room.node.ring.next
    room.pass_ms(10000)
    room.client.idle()
    assert (room.fed, room.node.ring.next) == (fed + 1, taken + 1)
