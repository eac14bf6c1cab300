"""A simulated room, end to end: an embedded broker, the daemon on the same code path as in production, nodes that publish over real
TCP, and a "phone" that is a local HTTP receiver, so that each message really travels through the outbox and the delivery library.

Everything that happens is invented. Time runs fast; what is measured in seconds (delays, silence) runs fast with it.
"""

from __future__ import annotations

import contextlib
import socket
import sys
import tempfile
import textwrap
import time
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from monitor.adapters.clock import PacedClock
from monitor.adapters.demo_broker import BrokerError, DemoBroker
from monitor.adapters.door import ask_door
from monitor.adapters.tables.profiles import load_profiles
from monitor.app import Daemon, door_path, open_history
from monitor.domain.needs.batch import Batch, whole_day
from monitor.domain.needs.site import OF_DOOR
from monitor.domain.refusal import Failure
from monitor.rehearse.phone import Phone
from monitor.rehearse.room import Message, Room
from monitor.rehearse.streams import HATCHER_1, ROOM, SETTER_1, SETTER_2
from monitor.service.ports import Answer
from monitor.service.reports.batch import batch_history
from monitor.settings import House, build_house, parse_settings
from monitor.shown.history.brief import brief_text
from monitor.shown.history.report import Header
from monitor.shown.now.room import machine_lines
from monitor.shown.values import state_words, subject_name

SPEED = 120.0
STORY_MIN = 330.0  # the story's length on its own clock
BEGIN = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
INTERVAL_S = 60.0  # a node's interval: at 120 times life, a busy computer's hiccup must not look like silence
SHOW_EVERY_MIN = 45.0
SITE = "demo"
BREEDER = "sam"

_NAMES = {"setter-1": "Setter 1", "setter-2": "Setter 2", "hatcher-1": "Hatcher", "room": "Room"}


class DemoError(Failure):
    """The demo cannot run."""


@dataclass(slots=True)
class Scene:
    """One thing that happens: at_min on the story's clock, what the terminal says, what is done in the room or asked of the daemon."""

    at_min: float
    words: str
    room: tuple[tuple[str, Mapping[str, object]], ...] = ()
    ask: Mapping[str, object] | None = None
    acknowledge: tuple[str, str] | None = None  # (subject, rule) of the alarm that the breeder answers


@dataclass(slots=True)
class Stage:
    """What the demo holds while it runs."""

    house: House
    daemon: Daemon
    room: Room
    publish: Callable[[Message], None]
    say: Callable[[str], None]
    scenes: list[Scene]
    shown: int = 0


def run_demo(*, speed: float | None = None, for_s: float | None = None, port: int | None = None) -> int:
    """Play the story; 0 at its end, or after for_s seconds. Raises DemoError."""
    speed = SPEED if speed is None else speed
    if not 1.0 <= speed <= 600.0:
        raise DemoError("", f"--speed {speed:g}", "1 to 600")
    if for_s is not None and not 1.0 <= for_s <= 86_400.0:
        raise DemoError("", f"--for {for_s:g}", "1 to 86400 seconds")
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="eggroom-demo-")))
        broker_port = _start_broker(port, stack)
        phone_url = _start_phone(stack)
        house = _house(folder, broker_port, phone_url)
        clock = PacedClock(speed, BEGIN)
        daemon = Daemon(house, clock)
        daemon.start()
        stack.callback(daemon.stop)
        stage = Stage(
            house=house, daemon=daemon, room=_room(), publish=_publisher(broker_port, stack), say=_say, scenes=_story()
        )
        _prologue(stage, speed)
        try:
            _play(stage, clock, for_s)
        except KeyboardInterrupt:
            _say("\nstopped")
            return 0
        _epilogue(stage, clock)
    return 0


def _play(stage: Stage, clock: PacedClock, for_s: float | None) -> None:
    began_s = clock.now().mono_s
    next_show_min = 5.0
    seen = 0
    while True:
        now = clock.now()
        story_s = (now.utc - BEGIN).total_seconds()
        stage.room.step(max(0.0, story_s - stage.room.now_s))
        for message in stage.room.packs(stage.room.now_s):
            stage.publish(message)
        while stage.scenes and stage.scenes[0].at_min * 60.0 <= story_s:
            _act(stage, stage.scenes.pop(0), now.utc)
        seen = _tell_transitions(stage, seen)
        if story_s / 60.0 >= next_show_min:
            next_show_min += SHOW_EVERY_MIN
            _show_room(stage, now.utc)
        if stage.daemon.failed.is_set():
            raise DemoError("the daemon ended by a fault of its own; see the lines above")
        if story_s >= STORY_MIN * 60.0 or (for_s is not None and (now.mono_s - began_s) / clock.speed >= for_s):
            return
        time.sleep(0.02)


def _act(stage: Stage, scene: Scene, utc: datetime) -> None:
    if scene.acknowledge is not None:
        alarms = [a for a in open_history(stage.house).alarms() if a.key == scene.acknowledge and not a.acknowledged]
        if not alarms:
            return
        request: dict[str, object] = {"do": "acknowledge", "alarm": alarms[0].number, "by": BREEDER}
        stage.say(f"\n{_clock(utc)}  {scene.words.format(number=alarms[0].number)}")
        _ask(stage, request)
        return
    stage.say(f"\n{_clock(utc)}  {scene.words}")
    for action, arguments in scene.room:
        stage.room.do(action, **arguments)
    if scene.ask is not None:
        _ask(stage, scene.ask)


def _ask(stage: Stage, request: Mapping[str, object]) -> Answer:
    """Ask as the command line would, through the daemon's own door."""
    answer = ask_door(door_path(stage.house), request)
    if "error" in answer:
        raise DemoError(str(answer["error"]))
    return answer


def _tell_transitions(stage: Stage, seen: int) -> int:
    """Say what the record has taken in since: the terminal shows nothing that is not durable."""
    rows = [row for row in open_history(stage.house).transitions() if row.id > seen]
    for row in rows:
        name = subject_name(row.subject, stage.house.site)
        words = stage.house.site.rules[row.rule].words
        stage.say(f"{_clock(row.at)}    alarm No. {row.number}  {name}: {words}: {state_words(row.state)}")
    return max([seen, *(row.id for row in rows)])


def _show_room(stage: Stage, utc: datetime) -> None:
    stage.say(f"\n{_clock(utc)}  the room")
    for view in _ask(stage, {"do": "room"})["machines"]:
        for line in machine_lines(view, stage.house.site):
            stage.say(f"         {line}")


def _prologue(stage: Stage, speed: float) -> None:

    stage.say("eggroom demo: an invented room, an invented night. Nothing here is real but the program.")
    stage.say(f"Broker, daemon, nodes and phone run in this process; time runs {speed:g} times as fast.\n")
    for batch, species, machine, day, eggs in (
        ("hen-1", "chicken", "setter-1", 10.0, 24),
        ("duck-1", "pekin-duck", "setter-1", 25.0 - 105.0 / 1440.0, 12),
        ("quail-1", "japanese-quail", "setter-2", 15.0 - 150.0 / 1440.0, 40),
    ):
        set_at = (BEGIN - timedelta(days=day)).isoformat()
        _ask(stage, {"do": "batch-add", "batch": batch, "profile": species, "machine": machine, "set_at": set_at, "eggs": eggs})  # fmt: skip
        stage.say(f"  {batch}: {eggs} eggs of {species}, day {whole_day(day)}, in {_NAMES[machine]}")


def _epilogue(stage: Stage, clock: PacedClock) -> None:

    site = stage.house.site
    history = open_history(stage.house)
    now = clock.now().utc
    batch = next(b for b in history.batches() if b.id == "duck-1")
    stage.say(f"\n{_clock(now)}  what duck-1 lived through tonight, in two machines (eggroom history duck-1)\n")
    watched = _since(batch, BEGIN)
    stage.say(
        brief_text(batch_history(history, site, watched, now=now), Header.of(batch), zone=site.zone, unit=site.unit)
    )
    stage.say("\nThe end. What you saw is in README.md; `eggroom run --config FILE` does the same with real nodes.")


def _since(batch: Batch, begin: datetime) -> Batch:
    """The batch's stays from the moment the demo began to watch: its earlier days are not in this record."""
    stays = tuple(replace(s, since=max(s.since, begin)) for s in batch.stays)
    return replace(batch, stays=stays)


def _story() -> list[Scene]:
    return [
        Scene(20, "The heater of Setter 1 sticks on. Nobody is in the room.", (("heater_stuck_on", {"machine": "setter-1"}),)),
        Scene(26, "Sam, woken by the phone, answers No. {number} and gets up.", acknowledge=("setter-1", "dry-bulb-high-alarm")),
        Scene(27, "By now it is deadly. Sam answers No. {number} and goes to look.", acknowledge=("setter-1", "dry-bulb-lethal")),
        Scene(27.6, "Sam opens Setter 1 for two minutes and frees the heater's relay.",
              (("heater_ok", {"machine": "setter-1"}), ("door_open", {"machine": "setter-1"}))),
        Scene(29.6, "Setter 1 is shut again.", (("door_close", {"machine": "setter-1"}),)),
        Scene(100, "Lockdown for duck-1 comes at 19:45: Sam moves it to the Hatcher, whose humidity is up already.",
              (("move_eggs", {"source": "setter-1", "target": "hatcher-1"}),),
              {"do": "move", "batch": "duck-1", "machine": "hatcher-1"}),
        Scene(150, "Lockdown for quail-1 has come too. Sam says that it stays in Setter 2, and forgets to raise the humidity there.",
              ask={"do": "stage", "batch": "quail-1", "stage": "lockdown"}),
        Scene(228, "Sam answers No. {number}: the eggs stay where they are. He fills the water of Setter 2.", acknowledge=("setter-2", "humidity-not-raised")),
        Scene(229, "The humidity of Setter 2 is set higher.", (("humidity_setpoint", {"machine": "setter-2", "rh_pct": 71.0}),)),
        Scene(275, "node-c, in the Hatcher, loses its radio link. It goes on measuring.", (("node_silent", {"node": "node-c"}),)),
        Scene(278, "Sam answers No. {number}: the Hatcher itself is well.", acknowledge=("node-c", "node-offline")),
        Scene(285, "node-c is back, and brings what it had kept.", (("node_back", {"node": "node-c"}),)),
    ]  # fmt: skip


def _room() -> Room:
    room = Room(
        (replace(SETTER_1, switches={"node-a/door": OF_DOOR}), SETTER_2, HATCHER_1, ROOM),
        site=SITE,
        seed="demo",
        interval_s=INTERVAL_S,
        dry_bulb_c=21.0,
        rh_pct=45.0,
    )
    room.settle(6 * 3600.0)
    return room


def _house(folder: Path, broker_port: int, phone_url: str) -> House:
    data = {
        "site": {"id": SITE, "name": "Demo", "data": "record", "elevation_m": 0.0},
        "broker": {"host": "127.0.0.1", "port": broker_port},
        "machine": [
            {"id": "setter-1", "name": "Setter 1", "kind": "setter"},
            {"id": "setter-2", "name": "Setter 2", "kind": "setter"},
            {"id": "hatcher-1", "name": "Hatcher", "kind": "hatcher"},
            {"id": "room", "name": "Room", "kind": "room"},
        ],
        "probe": [
            {"node": "node-a", "probe": "top", "machine": "setter-1", "interval_s": INTERVAL_S},
            {"node": "node-b", "probe": "top", "machine": "setter-2", "interval_s": INTERVAL_S},
            {"node": "node-c", "probe": "top", "machine": "hatcher-1", "interval_s": INTERVAL_S},
            {"node": "node-room", "probe": "shelf", "machine": "room", "interval_s": INTERVAL_S},
        ],
        "switch": [{"node": "node-a", "name": "door", "of": OF_DOOR, "machine": "setter-1"}],
        "contact": [{"id": BREEDER, "url": phone_url}],
    }
    settings = parse_settings(data, "demo")
    return build_house(settings, load_profiles(None), folder / "demo.toml")


def _start_broker(port: int | None, stack: ExitStack) -> int:
    chosen = port if port is not None else _free_port()
    broker = DemoBroker(chosen)
    try:
        broker.start()
    except BrokerError as error:
        raise DemoError.of(error) from error
    stack.callback(broker.stop)
    return chosen


def _start_phone(stack: ExitStack) -> str:
    phone = Phone(lambda message: _say(_on_the_phone(message.title, message.text)))
    phone.start()
    stack.callback(phone.stop)
    return phone.url


def _on_the_phone(title: str, text: str) -> str:
    """A message as it shows, in a column of its own."""
    lines = [title, *(line for part in text.splitlines() for line in textwrap.wrap(part, 56))]
    return "\n".join(f"           {'PHONE' if i == 0 else '     '} | {line}" for i, line in enumerate(lines))


def _publisher(port: int, stack: ExitStack) -> Callable[[Message], None]:
    """A client for each node, as each node is one; all of them speak to the broker over TCP."""
    clients: dict[str, mqtt.Client] = {}

    def publish(message: Message) -> None:
        node = message.topic.split("/")[2]
        client = clients.get(node)
        if client is None:
            client = clients[node] = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=node)
            client.connect("127.0.0.1", port)
            client.loop_start()
            stack.callback(client.loop_stop)
            stack.callback(client.disconnect)
        client.publish(message.topic, message.payload, qos=1, retain=message.retain)

    return publish


def _free_port() -> int:
    with contextlib.closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _clock(at: datetime) -> str:
    return at.strftime("%H:%M")


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()
